"""`python -m casting_econ.running.tied MODULE …`: run a module in a process that ends when the one that started it does."""

import ctypes
import os
import runpy
import signal
import sys
from threading import Thread


def command(module: str, *words: str) -> list[str]:
    """Words that run a module tied to this process, which must keep the other end of its standard input."""
    return [sys.executable, "-P", "-m", "casting_econ.running.tied", module, *words]


def tie() -> None:
    """End this process, as by a termination, when its standard input closes: the system closes it, however the parent ends."""

    def watch() -> None:
        while os.read(0, 1024):
            pass
        os.kill(os.getpid(), signal.SIGTERM)

    if sys.platform == "linux":  # at once, also while a long call keeps the thread below from its turn
        ctypes.CDLL(None).prctl(1, signal.SIGTERM)  # PR_SET_PDEATHSIG
    Thread(target=watch, daemon=True).start()


if __name__ == "__main__":
    tie()
    del sys.argv[0]
    runpy.run_module(sys.argv[0], run_name="__main__", alter_sys=True)
