"""The folder that a run, a sweep, an order or a year end writes: worked on beside its place, and put there whole."""

import json
import os
import platform
import shutil
from collections.abc import Callable
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows, where two commands at once are not told apart
    fcntl = None

from ..draws import round_up_draws
from ..faults import refusal, refusals_told
from ..kit import OpenStudy
from ..reference import kit_folder
from ..study import STUDY_FILE
from ..study.inputs import input_files
from . import store

_LOCKS: dict[Path, int] = {}  # open files of working folders that this process works in; the system ends them with it


def manifest(kit: OpenStudy, folder: Path) -> dict[str, object]:
    """What a rerun needs to be the same: seed, draws, hashes of inputs and notebooks, versions."""
    table, notebooks = kit.study.file.study, kit_folder("notebooks")
    return {
        "study": table.name,
        "seed": table.seed,
        "draws": round_up_draws(table.draws),
        "inputs": {path.relative_to(folder).as_posix(): store.file_hash(path) for path in input_files(folder)},
        "notebooks": {page: store.file_hash(notebooks / f"{page}.ipynb") for page in store.PAGES},
        "versions": {"python": platform.python_version()} | {name: version(name) for name in store.VERSIONS},
    }


def write_manifest(folder: Path, content: dict[str, object]) -> None:
    """Write what a rerun needs into a finished folder, which tells it and the files in it, as they are, as ours; `files` of `content` are ours
    too, and stay if the last one has them."""
    files = {path.relative_to(folder).as_posix(): store.file_hash(path) for path in folder.rglob("*") if path.is_file()}
    content = content | {"files": content.get("files", {}) | files}
    (folder / "manifest.json").write_text(json.dumps(content, indent=1, sort_keys=True) + "\n", encoding="utf-8", newline="\n")


def working_folder(out: Path, folder: Path, key: str) -> Path:
    """Folder beside `out` to work in; what a run with the same key finished there is kept, at whatever moment it was ended.

    StudyError where `out` is the study itself, the folder is in the way, another command works in it, or it cannot be written to.
    """
    out = out.resolve()
    if (folder / STUDY_FILE).resolve().parent == out:
        raise refusal(str(out), "is the study itself", "another folder to write to")
    part = out.with_name(out.name + ".part")
    mark = part / "key.txt"
    if part.exists() and not mark.is_file() and not (part.is_dir() and not any(part.iterdir())):
        raise refusal(str(part), "is in the way, and not of our making", "this name free to work in, or another --out")
    with refusals_told(part, "cannot be written", "a folder you may write to, with --out"):
        if out.exists() and (not out.is_dir() or (any(out.iterdir()) and not told_by(out))):
            right = "a new or empty folder, or one that an earlier run wrote"
            raise refusal(str(out), "holds other things, which would be lost", right, found=f"no manifest.json in {out}")
        part.mkdir(parents=True, exist_ok=True)
        mark.touch()
        _lock(part, out)
        if (part / "old").is_dir():  # ended while this was replaced
            if told_by(part / "old") and not out.exists():
                os.replace(part / "old", out)
            else:
                _forget(part / "old")
        if mark.read_text(encoding="utf-8", errors="replace") != key:
            _empty(part)
        mark.write_text(key, encoding="utf-8")
    return part


def _lock(part, out):
    """Keep other commands out of a working folder; StudyError where one is in it."""
    if fcntl is None:
        return
    _unlock(part)  # first, as closing any of the same file ends the lock
    _LOCKS[part] = os.open(part / "lock", os.O_RDWR | os.O_CREAT)
    try:
        fcntl.lockf(_LOCKS[part], fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        raise refusal(str(out), "is being written by another command", "its end awaited, or another folder with --out") from None
    except OSError:  # a file system without locks
        pass


def _unlock(part):
    if (file := _LOCKS.pop(part, None)) is not None:
        os.close(file)


def told_by(out: Path) -> dict[str, object]:
    """The manifest of a folder that an earlier run or sweep wrote; of any other nothing."""
    try:
        found = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
        return found if {"inputs", "notebooks", "versions"} <= set(found) else {}
    except (OSError, ValueError, TypeError):
        return {}


def replace_folder(new: Path, out: Path, part: Path, say: Callable[[str], None]) -> None:
    """Put a finished folder in the place of the old one, then clear the working folder; `working_folder` mends what was cut short.

    What its maker put into the old one, or changed there, is in the new one too; `say` takes a line about each that has another name there.
    """
    _carry(out, new, say)
    if out.exists():
        os.replace(out, part / "old")
    os.replace(new, out)
    with suppress(OSError):
        _forget(part / "old")
        _clear(part)


def keep_beside(out: Path, what: str, say: Callable[[str], None]) -> None:
    """Give what stands in a place a name beside it; `say` takes the line that tells it."""
    number = 1
    while (kept := out.with_name(f"{out.name}-before{'' if number == 1 else -number}")).exists():
        number += 1
    os.replace(out, kept)
    say(f"{out.name} held {what}; that is kept as {kept.name} beside it")


def _carry(out, new, say):
    """Copy what no run wrote, or somebody changed, from an old folder into a new one."""
    if (written := told_by(out).get("files")) is None:  # of an earlier version of the kit
        return
    stays = told_by(new).get("files", {})
    for path in sorted(out.rglob("*")):
        name = path.relative_to(out)
        if not path.is_file() or any(part.startswith(".") for part in name.parts) or name.as_posix() == "manifest.json":
            continue
        target, number = new / name, 1
        ours = name.as_posix() in written and (store.file_hash(path) == written[name.as_posix()] or _only_run(path))
        if ours and (target.exists() or name.as_posix() not in stays):
            continue
        while target.exists():
            target, number = new / name.with_stem(f"{name.stem}-changed{'' if number == 1 else -number}"), number + 1
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(path, target)
        if target.name != name.name:
            say(f"{name.as_posix()} was changed by hand; that is kept as {target.name} beside it")


def _only_run(path):
    """Whether nothing was done to a notebook but to run it."""
    try:
        notebook = json.loads(path.read_text(encoding="utf-8")) if path.suffix == ".ipynb" else {}
        return notebook["metadata"]["casting_econ"]["cells"] == store.cells_hash(notebook)
    except (OSError, ValueError, LookupError, TypeError):
        return False


def _forget(old: Path) -> None:
    """Remove a replaced folder, first what makes it ours, so that a remnant is never put back."""
    if old.is_dir():
        (old / "manifest.json").unlink(missing_ok=True)
        shutil.rmtree(old)


def _empty(part: Path) -> None:
    """Remove what is in a working folder, so that no run goes on from it."""
    (part / "key.txt").write_text("", encoding="utf-8")
    for path in part.iterdir():
        if path.is_dir():
            shutil.rmtree(path)
        elif path.name not in ("key.txt", "lock"):
            path.unlink()


def _clear(part: Path) -> None:
    """Remove a working folder, its mark last, so that a remnant is known to be ours."""
    _empty(part)
    _unlock(part)
    (part / "lock").unlink(missing_ok=True)
    (part / "key.txt").unlink()
    part.rmdir()


def work_key(folder: Path, *asked: object) -> str:
    """Changes whenever anything changes that a page may depend on: the inputs, the kit and what is asked for."""
    return store.hash_of(store.key_of_all(folder), *asked)
