"""What a report was made from, kept inside it, so that nothing that did not change is worked out again.

Nothing here imports the kit's other rooms: an unchanged study is told before they are loaded.
"""

import hashlib
import json
import os
import shutil
import sys
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from pathlib import Path

PAGES = (
    "01_answer",
    "02_records",
    "03_cost",
    "04_scrap",
    "05_curing",
    "06_channels",
    "07_monte_carlo",
    "08_sensitivity",
    "09_change",
    "10_cash",
    "11_living",
)
MADE = ".made.json"  # in the report folder: key and files of each page, and key and files of all
PANEL = ".panel.json"  # there too: what the panel shows, kept as a page is under the name "panel"
VERSIONS = tuple("casting_econ numpy pandas scipy matplotlib seaborn papermill pint pydantic babel bokeh holidays".split())
_NOTED = "products channels equipment stations racks overheads time target".split()  # tables in which numbers have notes
NOTES = "02_records"  # the page that shows them, and names orders of the logs that are no commission
# tables of the study file that no other pages look at, but for the season under [cash]; test_store.py has what would notice
READERS = {table: {NOTES} for table in ("orders", "quote", "supplies")} | {"commissions": {"01_answer", NOTES, "11_living"}}
READERS |= {table: {"01_answer", "09_change"} for table in ("scenarios", "decision")} | {
    "cash": {"01_answer", "08_sensitivity", "10_cash", "11_living"}
}


def file_hash(path: Path) -> str:
    """SHA-256 of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _home() -> Path:
    """Folder that holds `notebooks` and `data`: beside the package in a clone, inside it when installed."""
    package = Path(__file__).resolve().parents[1]
    return package / "_kit" if (package / "_kit").is_dir() else package.parent


def page_sources() -> dict[str, Path]:
    """The notebook of each page."""
    return {page: _home() / "notebooks" / f"{page}.ipynb" for page in PAGES}


@cache
def _code() -> str:
    """Changes with the kit: code, templates, reference tables, and the libraries it stands on."""
    package, tables = Path(__file__).resolve().parents[1], (_home() / "data" / "reference").iterdir()
    files = [*tables, *(path for kind in ("*.py", "*.j2", "*.js") for path in package.rglob(kind))]
    found = [file_hash(path) for path in sorted(files)] + [f"{name} {version(name)}" for name in VERSIONS] + [sys.version]
    return hashlib.sha256("\n".join(found).encode()).hexdigest()


def inputs_of(folder: Path) -> dict[str, str]:
    """Hash of every file that could be an input of a study, by its place in the folder."""
    records = (folder / "records").rglob("*") if (folder / "records").is_dir() else ()
    return {
        path.relative_to(folder).as_posix(): file_hash(path)
        for path in sorted([folder / "study.toml", *records])
        if path.is_file()
    }


def hash_of(*parts: object) -> str:
    """SHA-256 of anything that JSON can say."""
    return hashlib.sha256(json.dumps(parts, sort_keys=True, default=str).encode()).hexdigest()


def cells_hash(notebook: Mapping) -> str:
    """Changes with what the cells of a notebook say, not with what they show."""
    return hash_of(["".join(cell["source"]) for cell in notebook["cells"]])


def key_of_kit() -> str:
    """Changes with the kit, its notebooks and the libraries it stands on."""
    return hash_of(_code(), {path.name: file_hash(path) for path in (_home() / "notebooks").glob("*.ipynb")})


def key_of_all(folder: Path) -> str:
    """Changes with anything that a report may depend on, to the last comment in the study file."""
    return hash_of(key_of_kit(), inputs_of(folder))


def page_keys(folder: Path, parameters: dict[str, object]) -> dict[str, str]:
    """For each page and the panel what changes with anything that it may depend on; remarks move no page, and tables that `READERS` names theirs alone."""
    records = {name: digest for name, digest in inputs_of(folder).items() if name != "study.toml"}
    raw = tomllib.loads((folder / "study.toml").read_text(encoding="utf-8-sig"))
    bare = {table: _without_notes(found) if table in _NOTED else found for table, found in raw.items()}

    def read_by(page):
        tables = (raw if page == NOTES else bare).items()
        found = {table: node for table, node in tables if table not in READERS or page in READERS[table]}
        return found, raw.get("cash", {}).get("season")

    sources = {page: file_hash(path) for page, path in page_sources().items()} | {"panel": ""}
    return {page: hash_of(_code(), source, parameters, records, *read_by(page)) for page, source in sources.items()}


def _without_notes(node, inside=False):
    """A table without the notes and sources of its numbers; a note that is itself an entry of the table stays."""
    if not isinstance(node, dict):
        return node
    return {
        key: _without_notes(found, True)
        for key, found in node.items()
        if not (inside and key in ("note", "source") and isinstance(found, str))
    }


def _read(report: Path) -> dict:
    """What a report says it was made from; nothing where that cannot be trusted."""
    try:
        made = json.loads((report / MADE).read_text(encoding="utf-8"))
        return made if isinstance(made, dict) else {}
    except (OSError, ValueError, RecursionError):
        return {}


def _whole(report: Path, files: object) -> bool:
    """Whether every file is there as it was written."""
    try:
        return bool(files) and all(
            ".." not in Path(name).parts and file_hash(report / name) == digest for name, digest in files.items()
        )
    except (OSError, AttributeError, TypeError):
        return False


def unchanged(report: Path, key: str) -> bool:
    """Whether a report was made from just this, and stands as it was written."""
    made = _read(report)
    return made.get("key") == key and _whole(report, made.get("files"))


def take(report: Path, keys: dict[str, str], target: Path) -> list[str]:
    """Copy the pages of a report that were made from just this to another folder; their names."""
    taken = []
    pages = _read(report).get("pages")
    for page, key in keys.items():
        made = pages.get(page) if isinstance(pages, dict) else None
        if isinstance(made, dict) and made.get("key") == key and _whole(report, made.get("files")):
            for name in made["files"]:
                (target / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(report / name, target / name)
            taken.append(page)
    return taken


def said_first(report: Path) -> list[str]:
    """The lines that the first page of a finished report begins with."""
    cells = json.loads((report / "notebooks" / f"{PAGES[0]}.ipynb").read_text(encoding="utf-8"))["cells"]
    said = ("".join(output.get("data", {}).get("text/markdown", "")) for cell in cells for output in cell.get("outputs", []))
    return [line.removeprefix("- ") for line in next(filter(None, said), "").splitlines()]


def keep(report: Path, key: str, keys: dict[str, str], files: dict[str, list[str]]) -> None:
    """Write into a finished report what it, and each of its pages with its files, was made from."""
    everything = sorted(path.relative_to(report).as_posix() for path in report.rglob("*") if path.is_file() and path.name != MADE)
    hashes = {name: file_hash(report / name) for name in everything}
    pages = {page: {"key": keys[page], "files": {name: hashes[name] for name in files[page]}} for page in keys}
    temporary = report / f"{MADE}.part"
    temporary.write_text(json.dumps({"key": key, "files": hashes, "pages": pages}, sort_keys=True), encoding="utf-8")
    os.replace(temporary, report / MADE)
