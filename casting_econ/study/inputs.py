"""The files that a study consists of."""

import shutil
from pathlib import Path

from ..ledger import record_files
from .consistency import STUDY_FILE


def input_files(folder: Path) -> list[Path]:
    """Files that a study's results depend on."""
    return [folder / STUDY_FILE, *(path for path in record_files(folder / "records") if path.is_file())]


def copy_inputs(folder: Path, target: Path) -> None:
    """Copy a study's inputs, so that notebooks work on a snapshot and no path of this machine gets into them."""
    for path in input_files(folder):
        copy = target / path.relative_to(folder)
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, copy)
