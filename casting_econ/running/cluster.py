"""Points of a sweep on a Dask cluster: inputs go there with each point, the executed notebook comes back.

A worker keeps one process that has opened the study and forks its kernels. What runs on a worker that is lost runs again on another.
"""

import os
import tempfile
from concurrent.futures import Future
from functools import lru_cache
from pathlib import Path
from threading import Event

from ..faults import refusal
from ..reference import kit_folder
from ..study.inputs import read_inputs, write_files
from ..templates import write_whole
from . import ONE_THREAD
from .notebooks import Job, kernels_of, run_one
from .store import key_of_kit
from .warm import CAN_FORK, Warm


class Cluster:
    """A place to send jobs to, as a pool of threads is: a scheduler's address, such as tcp://192.0.2.7:8786, and the folder whose `study` is
    sent along. StudyError where nothing answers there, nobody works for it, or what answers runs another version of the kit.
    """

    def __init__(self, address: str, folder: Path) -> None:
        try:
            from distributed import Client
        except ImportError:
            raise refusal("--scheduler", "needs the library distributed", "pip install 'casting_econ[cluster]'") from None
        right = "the address of a running scheduler with workers, such as tcp://192.0.2.7:8786"
        try:
            self.client = Client(address, timeout=10, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            first = (str(error).strip().splitlines() or [type(error).__name__])[0]
            raise refusal("--scheduler", "does not answer", right, found=f"{address!r}: {first}") from None
        self.pool = self.client.get_executor(pure=False)
        there = self.client.run(key_of_kit)
        if not there or set(there.values()) != {key_of_kit()}:
            self.__exit__()
            others = sum(key != key_of_kit() for key in there.values())
            found = f"{others} of {len(there)} workers with another kit or other libraries" if there else "no workers"
            right = "workers that all have this version of the kit, installed with -c data/constraints.txt"
            raise refusal("--scheduler", "cannot give the same results", right, found=found)
        self.inputs = read_inputs(folder / "study")

    def submit(self, job: Job) -> Future:
        """Seconds, and cell and cause of a failure or None, once the notebook has been written to its target."""
        there = self.pool.submit(_point, self.inputs, job.source.stem, job.target.name, job.parameters, job.again)
        here: Future = Future()

        def arrived(done):
            try:
                seconds, failure, notebook = done.result()
                if notebook:
                    job.target.parent.mkdir(parents=True, exist_ok=True)
                    write_whole(job.target, notebook)
                here.set_result((seconds, failure))
            except Exception as error:  # every worker lost, a full disk
                here.set_result((0.0, (None, f"{type(error).__name__}: {error}")))

        there.add_done_callback(arrived)
        return here

    def __enter__(self) -> "Cluster":
        return self

    def __exit__(self, *_) -> None:
        """Take back what has not begun, and leave the cluster as it was."""
        self.pool.shutdown(wait=False)
        self.client.close()


def _point(inputs, page, name, parameters, again):
    """On a worker: execute a notebook; seconds, failure and what came of it."""
    opened = _opened(tuple(sorted(inputs.items())), tuple((key, parameters[key]) for key in ("study", "draws", "seed")))
    with tempfile.TemporaryDirectory(dir=opened.folder) as place:
        source = kit_folder("notebooks") / f"{page}.ipynb"
        job = Job(source=source, target=Path(place) / name, parameters=parameters, again=again)
        seconds, failure = run_one(job, opened.kernels, lambda _: None, Event())
        return seconds, failure, job.target.read_bytes() if job.target.exists() else b""


@lru_cache(maxsize=1)
class _opened:
    """A worker's folder with some inputs, and kernels that know the study; both go when another study is asked about."""

    def __init__(self, inputs, parameters) -> None:
        from distributed import get_worker

        self.place = tempfile.TemporaryDirectory(dir=get_worker().local_directory)  # which the next worker clears if this is lost
        self.folder = Path(self.place.name)
        write_files(dict(inputs), self.folder / "study")
        self.log = open(self.folder / "kernels.log", "ab")  # noqa: SIM115  as long as its kernels
        self.warm = Warm(self.folder, self.log, dict(parameters), os.environ | ONE_THREAD) if CAN_FORK else None
        self.kernels = kernels_of(self.folder, self.log, [], Event(), self.warm)
