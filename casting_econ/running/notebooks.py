"""Papermill over the kit's notebooks, with the checks it does not make itself."""

import contextlib
import os
import sys
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import nbformat
import numpy as np

from ..faults import close_match

__all__ = ["CELL_SECONDS", "Job", "NotebookError", "check_parameters", "finished", "run_jobs"]

CELL_SECONDS = 600  # longest a cell may take
_PLAIN = (str, bool, int, float, type(None), list, dict)


@dataclass(frozen=True, kw_only=True)
class Job:
    """One notebook to run: where it comes from, where it goes, and with which parameters."""

    source: Path
    target: Path
    parameters: dict[str, object]
    cwd: Path


class NotebookError(Exception):
    """A notebook that did not finish: which, in which cell, why, and where its remains are."""

    def __init__(self, notebook: str, cell: int | None, cause: str, saved: Path) -> None:
        self.notebook, self.cell, self.cause, self.saved = notebook, cell, cause, saved
        where = f"{notebook}, cell {cell}" if cell is not None else notebook
        super().__init__(f"{where}: {cause} (as far as it got: {saved})")


def check_parameters(source: Path, parameters: dict[str, object]) -> dict[str, object]:
    """Parameters that papermill carries over unchanged, all of them known to the notebook.

    Parameters
    ----------
    source : Path
        Notebook with a `parameters` cell.
    parameters : dict
        NumPy scalars become plain numbers.

    Returns
    -------
    dict

    Raises
    ------
    ValueError
        For a name the notebook does not have.
    TypeError
        For a value that would not arrive as it was sent.
    """
    import papermill

    known = papermill.inspect_notebook(str(source))
    plain = {}
    for name, value in parameters.items():
        if name not in known:
            raise ValueError(f"{source.name} has no parameter {name!r}{close_match(name, known)}")
        value = value.item() if isinstance(value, np.generic) else value
        if type(value) not in _PLAIN:
            raise TypeError(
                f"parameter {name!r} must be text, a number, true or false, a list or a dict; got {type(value).__name__}"
            )
        plain[name] = value
    return plain


def finished(path: Path) -> bool:
    """Whether an executed notebook is there and every code cell of it ran to its end."""
    try:
        notebook = nbformat.read(path, as_version=4)
    except Exception:  # absent, cut short or not a notebook: not finished, whatever the reason
        return False
    return bool(notebook.metadata.get("casting_econ", {}).get("finished"))


def run_jobs(
    jobs: Iterable[Job], workers: int, done: Callable[[Job, float, NotebookError | None], None], log: Path
) -> list[NotebookError]:
    """Run notebooks side by side; one that fails does not stop the others.

    Parameters
    ----------
    jobs : iterable of Job
        Each with its own output file.
    workers : int
        Processes, one kernel each.
    done : callable
        Told about each job as it ends: job, seconds, error or None.
    log : Path
        File that takes what kernels print outside notebooks.

    Returns
    -------
    list of NotebookError
        Jobs that failed.
    """
    errors = []
    # spawned, because a forked worker would share the parent's event loop and locks
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_quiet, initargs=(str(log),)) as pool:
        futures = {pool.submit(_run, job): job for job in jobs}
        try:
            for future in as_completed(futures):
                seconds, failure = future.result()
                job = futures[future]
                error = NotebookError(job.source.stem, *failure, job.target) if failure else None
                errors += [error] if error else []
                done(job, seconds, error)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    return errors


def _quiet(log):
    """Send a worker's error stream, and so its kernels', to a file."""
    with open(log, "ab") as stream:
        os.dup2(stream.fileno(), 2)
    sys.stderr = os.fdopen(2, "w", closefd=False)


def _run(job):
    """Execute one notebook; seconds, and cell and cause of a failure or None."""
    started = time.monotonic()
    for attempt in range(2):
        failure = _execute(job)
        if failure is None or failure[0] is not None or attempt:  # only a kernel that never started is tried again
            return time.monotonic() - started, failure


def _execute(job):
    import papermill
    from papermill.exceptions import PapermillExecutionError

    if "{" in str(job.target):
        return None, f"the output folder must not hold braces, which papermill reads as a template: {job.target}"
    job.target.parent.mkdir(parents=True, exist_ok=True)
    try:
        papermill.execute_notebook(
            str(job.source),
            str(job.target),
            parameters=job.parameters,
            kernel_name="python3",
            cwd=str(job.cwd),
            progress_bar=False,
            execution_timeout=CELL_SECONDS,
            start_timeout=120,
        )
    except PapermillExecutionError as error:
        return error.cell_index, f"{error.ename}: {error.evalue}"
    except Exception as error:  # a dead kernel, a time limit, a full disk: named, not hidden
        first = (str(error).strip().splitlines() or [""])[0]
        return None, f"{type(error).__name__}: {first}"
    return _tidy(job.target)


def _tidy(path):
    """Refuse cells that never ran, and take clock times and paths of this machine out of the notebook."""
    notebook = nbformat.read(path, as_version=4)
    for index, cell in enumerate(notebook.cells):
        status = cell.metadata.pop("papermill", {}).get("status")
        cell.metadata.pop("execution", None)
        if cell.cell_type == "code" and cell.source.strip() and status != "completed":
            return index, "the cell did not run to its end"
    notebook.metadata.pop("papermill", None)
    for index, cell in enumerate(notebook.cells):
        cell["id"] = f"cell-{index}"  # papermill gives the cell it adds a random id
    notebook.metadata["casting_econ"] = {"finished": True}
    part = path.with_suffix(".tmp")
    nbformat.write(notebook, part)
    with contextlib.suppress(OSError):
        os.chmod(part, 0o644)
    os.replace(part, path)
    return None
