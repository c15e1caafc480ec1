"""Kernels that start warm: one process imports the kit and opens the study, then forks a kernel for each notebook.

What it works out before the first fork is there in every kernel, through memory that all share; whatever a notebook does after that stays its own.
Only Linux forks: where there is none, and where frameworks forbid it, ordinary kernels run and give the same bytes.
"""

import asyncio
import ctypes
import gc
import importlib
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from jupyter_client.provisioning import LocalProvisioner

from . import ONE_THREAD, keep_memory

_NEEDED = """ipykernel.ipkernel ipykernel.kernelapp ipykernel.zmqshell ipykernel.debugger psutil tornado.platform.asyncio
    IPython.core.completerlib IPython.core.oinspect IPython.core.debugger IPython.extensions.storemagic pandas.io.formats.csvs
    matplotlib.pyplot matplotlib.backends.backend_agg matplotlib.backends.backend_svg casting_econ.charts casting_econ.pages.page"""
CAN_FORK = sys.platform == "linux"
NO_HISTORY = "--HistoryManager.enabled=False"  # what notebooks ask is no part of what their maker typed, nor kept in a file outside the study


class Warm:
    """The process that forks kernels, as a run holds it; it ends, and all its kernels with it, when the run does.

    Parameters
    ----------
    folder : Path
        Where notebooks run.
    log : file
        Takes what kernels print outside their notebooks.
    parameters : dict
        Of one of the notebooks: `study`, and `draws` and `seed` where they have them.
    environment : dict
        Of the kernels.
    ready : callable, optional
        Makes what this process has worked out known to notebooks; the warm process is then a fork of this one. It returns what is to be
        done once the first kernel is on its way, so that the others find it done, or None.
    """

    def __init__(self, folder: Path, log, parameters, environment, ready: Callable | None = None) -> None:
        environment = environment | {"MPLBACKEND": "agg"}
        # a fork has no other threads, what they hold is never let go, and its linear algebra keeps the number it has
        if ready and threading.active_count() == 1 and ONE_THREAD.items() <= os.environ.items():
            self.process = _Served(folder, log, parameters, environment, ready)
        else:
            words = [sys.executable, "-P", "-m", "casting_econ.running.warm", json.dumps(parameters)]
            pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": log}
            self.process = subprocess.Popen(words, cwd=folder, env=environment, text=True, **pipes)
        self._one_at_a_time = threading.Lock()

    def kernel(self, connection_file: str) -> "ForkedProcess":
        """A new kernel for a connection file; ChildProcessError where the process is gone."""
        with self._one_at_a_time, suppress(BrokenPipeError, ValueError):
            self.process.stdin.write(connection_file + "\n")
            self.process.stdin.flush()
            return ForkedProcess(int(self.process.stdout.readline()))
        raise ChildProcessError("the process that starts kernels was ended from outside")

    def close(self) -> None:
        """End it and its kernels."""
        with suppress(BrokenPipeError):
            self.process.stdin.close()
        self.process.wait()
        self.process.stdout.close()


class _Served:
    """A fork of this process that serves kernels, as far as Warm asks for a process."""

    def __init__(self, folder, log, parameters, environment, ready) -> None:
        (asked, asks), (told, tells) = os.pipe(), os.pipe()
        self.pid = os.fork()
        if not self.pid:
            try:
                for number, place in ((asked, 0), (tells, 1), (log.fileno(), 2)):
                    os.dup2(number, place)
                os.closerange(3, max(asked, asks, told, tells) + 1)
                os.environ.update(environment)
                os.chdir(folder)
                signal.signal(signal.SIGINT, signal.default_int_handler)
                signal.signal(signal.SIGTERM, signal.SIG_DFL)
                _serve(parameters, ready())
            finally:
                os._exit(0)
        os.close(asked)
        os.close(tells)
        self.stdin, self.stdout, self._ended = os.fdopen(asks, "w"), os.fdopen(told), None

    def poll(self) -> int | None:
        """None while it runs."""
        if self._ended is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            self._ended = status if pid else None
        return self._ended

    def wait(self) -> None:
        """Wait for its end."""
        if self._ended is None:
            self._ended = os.waitpid(self.pid, 0)[1]


class ForkedProcess:
    """A forked kernel, as far as a provisioner asks for a process: its parent reaps it, so it is gone once it has ended."""

    stdin = stdout = stderr = None

    def __init__(self, pid: int) -> None:
        self.pid = pid

    def poll(self) -> int | None:
        """None while it runs."""
        try:
            os.kill(self.pid, 0)
        except ProcessLookupError:
            return 0
        return None

    def wait(self) -> int:
        """Wait for its end."""
        while self.poll() is None:
            time.sleep(0.01)
        return 0

    def send_signal(self, number: int) -> None:
        """Send a signal to it."""
        with suppress(ProcessLookupError):
            os.kill(self.pid, number)

    def kill(self) -> None:
        """End it at once."""
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)


class Forked(LocalProvisioner):
    """Provides a kernel by a fork of a warm process."""

    def __init__(self, *, warm: Warm, **options) -> None:
        super().__init__(**options)
        self.warm = warm

    async def launch_kernel(self, cmd, **_):
        """Fork instead of running a command."""
        self.process = self.warm.kernel(self.parent.connection_file)
        self.pid = self.pgid = self.process.pid
        return self.connection_info

    async def kill(self, restart=False):
        """End it and see that it has ended, which is looked for only ten times a second otherwise."""
        await super().kill(restart=restart)
        self.process.wait()


def _serve(parameters: dict[str, object], later: Callable[[], None] | None = None) -> None:
    """Import, open, then fork a kernel for each line on standard input, until it closes; after the first do what is for later."""
    ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG: at once when the run is killed
    keep_memory()
    commands, answers = os.fdopen(os.dup(0)), os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # what a kernel prints past its notebook is no answer
    sys.modules.setdefault("debugpy", None)  # nobody debugs these kernels, and it takes long to load
    for name in _NEEDED.split():
        importlib.import_module(name)
    from ..kit import open_study

    with suppress(Exception):  # a notebook tells it better
        kit = open_study(parameters["study"])
        kit.point()
        if "draws" in parameters:
            kit.monte_carlo(parameters["draws"], parameters["seed"])
    gc.freeze()  # collecting must not touch, and so copy, what kernels share
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # the system reaps kernels that have ended
    kernels = []
    for line in commands:
        pid = os.fork()
        if not pid:
            answers.close()
            _become_kernel(line.strip())
        kernels.append(pid)
        answers.write(f"{pid}\n")
        answers.flush()
        if later:
            with suppress(Exception):  # a page tells it better
                later()
            later = None
            gc.freeze()
    for pid in kernels:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)


def _become_kernel(connection_file: str) -> None:
    """Turn this fork into the kernel of a connection file; does not come back."""
    ctypes.CDLL(None).prctl(1, signal.SIGKILL)
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.setsid()
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    asyncio.set_event_loop(asyncio.new_event_loop())  # that of the process forked from is of no use here
    from ipykernel.kernelapp import IPKernelApp

    try:
        IPKernelApp.launch_instance(argv=["-f", connection_file, NO_HISTORY])
    finally:
        os._exit(0)


if __name__ == "__main__":
    _serve(json.loads(sys.argv[1]))
