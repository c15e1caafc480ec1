"""`casting-econ explore`: the explorer's notebook for one study, in JupyterLab."""

import subprocess
from pathlib import Path

import nbformat
from papermill.iorw import load_notebook_node
from papermill.parameterize import parameterize_notebook

from ..kit import open_study
from ..reference import kit_folder
from ..running.tied import command


def explorer_notebook(study: Path | str, folder: Path) -> Path:
    """Write the explorer's notebook with a study filled in; StudyError for a study with faults."""
    kit = open_study(study)
    book = load_notebook_node(str(kit_folder("notebooks") / "explore.ipynb"))
    filled = parameterize_notebook(book, {"study": str(Path(study).resolve()), "seed": kit.study.file.study.seed})
    target = folder / "explore.ipynb"
    nbformat.write(filled, target)
    return target


def start_jupyter(notebook: Path, port: int | None = None) -> int:
    """JupyterLab on a notebook, until it is stopped; its exit code."""
    words = command("jupyterlab", str(notebook), "--ServerApp.root_dir", str(notebook.parent))
    process = subprocess.Popen(words + ([f"--port={port}"] if port else []), stdin=subprocess.PIPE)
    try:
        return process.wait()
    except KeyboardInterrupt:
        return 0
    finally:
        if process.poll() is None:
            process.terminate()
            process.wait()
