"""The files that a study consists of."""

import shutil
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from ..faults import Fault, one_of, refusal, refusals_told
from ..ledger import record_files
from ..reference import kit_folder
from .consistency import STUDY_FILE


def input_files(folder: Path) -> list[Path]:
    """Files that a study's results depend on."""
    return [folder / STUDY_FILE, *(path for path in record_files(folder / "records") if path.is_file())]


def read_inputs(folder: Path) -> dict[str, bytes]:
    """The same by their places in the study's folder."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in input_files(folder)}


def write_files(files: Mapping[str, bytes], folder: Path) -> None:
    """Write files by their places below a folder."""
    for place, data in files.items():
        target = folder / place
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)


def copy_inputs(folder: Path, target: Path) -> None:
    """Copy a study's inputs, so that notebooks work on a snapshot and no path of this machine gets into them."""
    write_files(read_inputs(folder), target)


def demo_names() -> list[str]:
    """Demo studies that travel with the kit."""
    return sorted(path.parent.name for path in kit_folder("data").glob(f"*/{STUDY_FILE}"))


def copy_demo(name: str, folder: Path | str) -> Path:
    """Copy a demo study's inputs to a new folder, whole or not at all; StudyError for an unknown name or a folder that cannot be made."""
    if name not in demo_names():
        raise refusal("demo", "unknown demo", one_of(name, demo_names()), found=repr(name))
    made_whole(Path(folder), lambda whole: copy_inputs(kit_folder("data") / name, whole), parents=True)
    return Path(folder)


def must_be_new(folder: Path | str) -> None:
    """StudyError for a folder that is there already."""
    if Path(folder).exists():
        raise refusal(str(folder), "is there already", "a folder that does not exist yet")


def place_for_copy(source: Path, folder: Path | str) -> tuple[Path, list[Fault]]:
    """Where a copy of a study goes, a name alone being beside it, and what speaks against the place."""
    source, text = source.resolve(), str(folder).strip()
    target = source.parent / Path(text).expanduser()
    if not text or "\0" in text or len(target.name) > 200:
        right = "the name of a new folder, such as what-if"
        return target, [Fault("copy of the study", "no name of a folder", right, found=repr(text[:40]))]
    if target.exists():
        return target, [Fault(str(target), "is there already", "a folder that does not exist yet")]
    if source in target.resolve().parents:
        return target, [Fault(str(target), "is within the study itself", "a folder of its own")]
    return target, []


def changed_copy(source: Path, target: Path, change: Callable[[str], str], check: Callable[[Path], object]) -> Path:
    """Copy a study's inputs to a new folder with the text of its file changed, and `check` it; StudyError as of `made_whole`."""

    def copied(whole):
        copy_inputs(source, whole)
        text = (whole / STUDY_FILE).read_bytes().decode("utf-8-sig")
        (whole / STUDY_FILE).write_bytes(change(text).encode())
        check(whole)

    made_whole(target, copied)
    return target


def made_whole(target: Path, fill: Callable[[Path], Any], *, parents: bool = False) -> Any:
    """What `fill` gives for a new folder that it fills, made beside its place, with its `parents` too if asked, and moved there whole.

    StudyError where it is there already or cannot be written, or as `fill` raises it; nothing is left behind then.
    """
    must_be_new(target)
    with refusals_told(target, "cannot be made", "a folder that you may write to"):
        if parents:
            target.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".new-study-") as part:
            found = fill(whole := Path(part) / "study")
            shutil.move(whole, target)
            return found
