"""Papermill over the kit's notebooks, with the checks it does not make itself."""

import contextlib
import os
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, field
from functools import cache
from logging import NullHandler, getLogger
from pathlib import Path
from subprocess import PIPE
from threading import Event
from uuid import uuid4

import numpy as np

from ..faults import close_match
from . import ONE_THREAD
from .store import cells_hash
from .tied import command
from .warm import CAN_FORK, NO_HISTORY, Forked, Warm

CELL_SECONDS = 600  # longest a cell may take
NAMED_SOCKETS = sys.platform == "linux"  # sockets with a name instead of a port, for which no file stands
_PLAIN = (str, bool, int, float, type(None), list, dict)


@dataclass(frozen=True, kw_only=True)
class Job:
    """One notebook to run: where it comes from, where it goes, and with which parameters, as `check_parameters` gives them.

    Whoever opens it later runs it again with those in `again`, which hold where it then lies.
    """

    source: Path
    target: Path
    parameters: dict[str, object]
    again: dict[str, object] = field(default_factory=dict)


def from_there(study: Path, out: Path) -> dict[str, object]:
    """Parameters with which the notebooks of a folder `out` run again from where they lie, by hand: on the study itself, keeping no files.

    Where the way to it leads through other folders it is the study's name alone, as notebooks are handed on and those names are nobody's business.
    """
    way = study = study.resolve()
    with contextlib.suppress(ValueError):  # on another drive
        way = Path(os.path.relpath(study, out.resolve() / "notebooks"))
    named = set(way.parts) - {"..", study.name}
    return {"study": study.name if named else way.as_posix(), "out": ""}


class NotebookError(Exception):
    """A notebook that did not finish: which, in which cell, why, and where its remains are."""

    def __init__(self, notebook: str, cell: int | None, cause: str, saved: Path) -> None:
        self.notebook, self.cell, self.cause, self.saved = notebook, cell, cause, saved
        where = f"{notebook}, cell {cell}" if cell is not None else notebook
        super().__init__(f"{where}: {cause} (as far as it got: {saved})")


def check_parameters(source: Path, parameters: dict[str, object]) -> dict[str, object]:
    """Parameters that papermill carries over unchanged, all of them known to the notebook; NumPy scalars become plain numbers.

    The notebook has a `parameters` cell. ValueError for a name that it does not have, TypeError for a value that would not arrive as it
    was sent.
    """
    known, plain = _known(source), {}
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


@cache
def _known(source):
    """Parameters of a notebook; a sweep asks at every point."""
    import papermill

    return tuple(papermill.inspect_notebook(str(source)))


def finished(path: Path) -> bool:
    """Whether an executed notebook is there and every code cell of it ran to its end."""
    if not path.is_file():
        return False
    import nbformat

    try:
        notebook = nbformat.read(path, as_version=4)
    except Exception:  # cut short or not a notebook: not finished, whatever the reason
        return False
    return bool(notebook.metadata.get("casting_econ", {}).get("finished"))


def run_jobs(
    jobs: list[Job],
    workers: int,
    say: Callable[[str], None],
    folder: Path,
    kept: int = 0,
    ready: Callable | None = None,
    meanwhile: Callable[[], None] | None = None,
    *,
    ended: Callable[[Job], None] = lambda _: None,
    cluster=None,
) -> list[NotebookError]:
    """Run notebooks side by side; one that fails does not stop the others, and no kernel outlives this process.

    Parameters
    ----------
    jobs : list of Job
        Each with its own output file.
    workers : int
        Kernels at a time.
    say : callable
        Takes a line about each job as it ends.
    folder : Path
        Where notebooks run; its `kernels.log` takes what kernels print outside them.
    kept : int, optional
        Notebooks finished before, which the lines count too.
    ready : callable, optional
        As `Warm` takes it.
    meanwhile : callable, optional
        What else is to be worked out, here, while kernels run.
    ended : callable, optional
        Takes each job that did not fail, before the line about it.
    cluster : Cluster, optional
        Runs the jobs instead of kernels here.

    Returns
    -------
    list of NotebookError
        Jobs that failed.
    """
    errors, at_work, stopped, first = [], [], Event(), Event()

    def in_turn(job):
        # a warm process forks for the first before it works out what the others share
        while job is not jobs[0] and not (at_work or first.is_set() or stopped.is_set()):
            time.sleep(0.01)
        try:
            return run_one(job, kernels, say, stopped)
        finally:
            first.set()

    getLogger("papermill").addHandler(NullHandler())  # what it tells is in the errors
    with open(folder / "kernels.log", "ab") as log, ThreadPoolExecutor(workers) as pool:
        warm = (
            Warm(folder, log, jobs[0].parameters, os.environ | ONE_THREAD, ready) if CAN_FORK and jobs and not cluster else None
        )
        kernels = kernels_of(folder, log, at_work, stopped, warm)
        try:
            futures = {cluster.submit(job) if cluster else pool.submit(in_turn, job): job for job in jobs}
            if meanwhile:
                meanwhile()
            for count, future in enumerate(as_completed(futures), start=1 + kept):
                job, (seconds, failure) = futures[future], future.result()
                errors += [NotebookError(job.source.stem, *failure, job.target)] if failure else []
                if not failure:
                    ended(job)
                told = "FAILED" if failure else "ok"
                say(f"[{count}/{len(jobs) + kept}] {job.target.stem}  {seconds:.1f} s  {told}")
        except BaseException:
            stopped.set()
            for process in at_work:
                process.kill()
            pool.shutdown(cancel_futures=True)
            raise
        finally:
            if warm:
                warm.close()
    return errors


def kernels_of(folder, log, at_work, stopped, warm):
    """A kind of kernel that works in a folder, prints to a log, and ends with this process, also when that is killed."""
    from jupyter_client.asynchronous.client import AsyncKernelClient
    from jupyter_client.channels import AsyncZMQSocketChannel
    from jupyter_client.manager import AsyncKernelManager
    from traitlets import Type, default

    class Prompt(AsyncZMQSocketChannel):
        async def get_msg(self, timeout=None):
            # a client that starts listens a fifth of a second whether its kernel has more to say
            return await super().get_msg(timeout and min(timeout, 0.02))

    class Client(AsyncKernelClient):
        iopub_channel_class = Type(Prompt)

    class Tied(AsyncKernelManager):
        client_factory = Type(Client)

        @default("connection_file")
        def _in_folder(self):  # which is cleared, also after a kill
            return str(folder.resolve() / f"kernel-{uuid4().hex}.json")

        @default("transport")
        def _without_ports(self):  # a free port may be another's by the time it is taken
            return "ipc" if NAMED_SOCKETS else "tcp"

        @default("ip")
        def _named(self):
            return f"@{uuid4().hex}" if self.transport == "ipc" else "127.0.0.1"

        def format_kernel_cmd(self, extra_arguments=None):
            return command("ipykernel_launcher", "-f", self.connection_file, NO_HISTORY, *(extra_arguments or ()))

        async def start_kernel(self, **options):
            if warm and warm.process.poll() is None:
                self.provisioner = Forked(kernel_spec=self.kernel_spec, parent=self, warm=warm)
            await super().start_kernel(cwd=str(folder), stdin=PIPE, stderr=log, env=os.environ | ONE_THREAD, **options)
            at_work.append(self.provisioner.process)
            if stopped.is_set():
                self.provisioner.process.kill()

    return Tied


_ENDED = "its process was ended from outside, as a system does that runs out of memory"


def run_one(job, kernels, say, stopped):
    """Execute one notebook; seconds, and cell and cause of a failure or None."""
    if "{" in str(job.target):
        return 0.0, (None, f"the output folder must not hold braces, which papermill reads as a template: {job.target}")
    started = time.monotonic()
    failure = _execute(job, kernels)
    if failure and failure[0] is None and not stopped.is_set():  # its kernel never started, or was ended from outside
        say(f"{job.target.stem}: {failure[1]}; it is tried once more")
        failure = _execute(job, kernels)
    return time.monotonic() - started, failure


def _execute(job, kernels):
    import papermill
    from nbclient.exceptions import DeadKernelError
    from papermill.engines import NBClientEngine, papermill_engines
    from papermill.exceptions import PapermillExecutionError
    from papermill.iorw import write_ipynb

    class SavedOnce(NBClientEngine):
        """Writes a notebook whose kernel is lost as far as it got; papermill writes those that end, when they do."""

        @classmethod
        def execute_managed_notebook(cls, nb_man, *args, **options):
            try:
                super().execute_managed_notebook(nb_man, *args, **options)
            except Exception:
                write_ipynb(nb_man.nb, nb_man.nb.metadata.papermill["output_path"])
                raise

    papermill_engines.register("saved once", SavedOnce)
    job.target.parent.mkdir(parents=True, exist_ok=True)
    try:
        notebook = papermill.execute_notebook(
            str(job.source),
            str(job.target),
            parameters=job.parameters,
            engine_name="saved once",
            request_save_on_cell_execute=False,
            kernel_name="python3",
            kernel_manager_class=kernels,
            shutdown_kernel="immediate",  # it keeps nothing that a farewell could save
            progress_bar=False,
            execution_timeout=CELL_SECONDS,
            start_timeout=120,
        )
    except PapermillExecutionError as error:
        return error.cell_index, f"{error.ename}: {error.evalue}"
    except DeadKernelError:
        return None, _ENDED
    except Exception as error:  # a time limit, a full disk: named, not hidden
        if str(error).startswith("Kernel died"):  # before its first answer
            return None, _ENDED
        first = (str(error).strip().splitlines() or [""])[0]
        return None, f"{type(error).__name__}: {first}"
    return _tidy(notebook, job)


def _tidy(notebook, job):
    """Refuse cells that never ran, and write the notebook without clock times and paths of this machine, ready to be run again by hand."""
    import nbformat
    from papermill.translators import PythonTranslator

    for index, cell in enumerate(notebook.cells):
        status = cell.metadata.pop("papermill", {}).get("status")
        cell.metadata.pop("execution", None)
        if cell.cell_type == "code" and cell.source.strip() and status != "completed":
            return index, "the cell did not run to its end"
    notebook.metadata.pop("papermill", None)
    for index, cell in enumerate(notebook.cells):
        cell["id"] = f"cell-{index}"  # papermill gives the cell it adds a random id
        if "injected-parameters" in cell.metadata.get("tags", []):
            cell.source = PythonTranslator.codify(
                job.parameters | job.again, "What counts instead of the cell above; change it here"
            ).strip()
    notebook.metadata["casting_econ"] = {"finished": True, "cells": cells_hash(notebook)}
    part = job.target.with_suffix(".tmp")
    nbformat.write(notebook, part)
    with contextlib.suppress(OSError):
        os.chmod(part, 0o644)
    os.replace(part, job.target)
    return None
