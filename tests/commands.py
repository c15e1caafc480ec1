"""The command as tests give it, copies of demos, and what a folder holds."""

import atexit
import hashlib
import re
import shutil
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from click.testing import CliRunner

from casting_econ.cli import main

ROOT = Path(__file__).parents[1]
DATA, NOTEBOOKS = ROOT / "data", ROOT / "notebooks"


def command(*words):
    """Run casting-econ in this process; its exit code, output and error output. An error it does not tell is raised."""
    done = CliRunner().invoke(main, [str(word) for word in words], prog_name="casting-econ")
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.stdout, done.stderr


def copy_of(study, folder):
    """A study without what earlier commands wrote into it."""
    return Path(shutil.copytree(DATA / study, folder / study, ignore=shutil.ignore_patterns("report*", "sweep*", "orders")))


def without_chance(text):
    """A demo's study file as it is where years differ by what is not known alone: its months, risks and waits left out."""
    text = re.sub(r"\n(variation|weeks_off|waits) = [^\n]*", "", text)
    return re.sub(r"\n(# What may happen[^\n]*\n)?\[risks\.[^\[]*?(?=\n# |\n\[|\Z)", "\n", text)


def edited(text, *edits):
    """A text with its first piece of each pair, which must be there, replaced by the second."""
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new)
    return text


_RATES = "casting-rates-"


@cache
def rates_copy(study):
    """The folder of a copy of a demo in which years differ by what is not known alone."""
    folder = copy_of(study, Path(mkdtemp(prefix=_RATES)))
    atexit.register(shutil.rmtree, folder.parent, ignore_errors=True)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    (folder / "study.toml").write_text(without_chance(text), encoding="utf-8")
    return folder


def is_rates_copy(folder):
    """Whether a folder is one of those copies."""
    return folder.parent.name.startswith(_RATES)


def hashes(folder):
    """Content of every file of a folder."""
    return {
        path.relative_to(folder): hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*") if path.is_file()
    }


def each(cases):
    """Turn a test of a case into one of many, in turn; the one that fails is named below its failure."""

    def over(test):
        def every():
            for case in cases:
                try:
                    test(case)
                except BaseException as error:
                    error.add_note(f"case: {case!r}")
                    raise

        every.__name__, every.__doc__, every.__module__ = test.__name__, test.__doc__, test.__module__
        return every

    return over


def table(text):
    """Cases from a table in text, one a row, its cells between bars; `\\n` is the end of a line, and rows that begin with # are left out."""
    rows = [row for row in text.strip().splitlines() if not row.startswith("# ")]
    return [tuple(None if cell == "None" else cell.replace("\\n", "\n") for cell in row.split(" | ")) for row in rows]


def lay_out(folder, *names):
    """Write small files of someone else."""
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text("{}", encoding="utf-8")


def only_pages(patch, *pages, folder=NOTEBOOKS):
    """Let a run have some pages only, or those of another folder."""
    from casting_econ.running import folders, run, store

    def sources():
        return {page: folder / f"{page}.ipynb" for page in pages}

    for module in (run, store):
        patch.setattr(module, "PAGES", pages)
        patch.setattr(module, "page_sources", sources)
    patch.setattr(folders, "kit_folder", lambda name: folder if name == "notebooks" else DATA)
