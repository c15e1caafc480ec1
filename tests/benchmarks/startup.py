"""Time commands that answer at once, the least of some rounds of each in one run; processor time, that of children among it.

    python tests/benchmarks/startup.py [STUDY ORDER]

Each is given in times an empty interpreter, and in times the libraries that whatever opens a study stands on.
"""

import os
import pty
import resource
import signal
import subprocess
import sys
from pathlib import Path

ROUNDS = 5
HOME = Path(__file__).parents[2] / "data" / "kelpmoor-handles"
COMMAND = "-m", "casting_econ.cli"


def whole(*arguments):
    """Processor seconds of Python with some arguments; raises if it fails."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def first_question():
    """Processor seconds until `new` has asked its first question at a terminal."""
    pid, terminal = pty.fork()
    if not pid:
        os.execv(sys.executable, [sys.executable, *COMMAND, "new", "no-such-folder"])
    said = b""
    while b"[workshop]" not in said:  # OSError where it ended before
        said += os.read(terminal, 4096)
    os.kill(pid, signal.SIGKILL)
    used = os.wait4(pid, 0)[2]
    os.close(terminal)
    return used.ru_utime + used.ru_stime


def main(study=HOME, order="kitchen"):
    """Print the seconds of each command, and its ratios."""
    print(f"load {os.getloadavg()[0]:.1f}")
    asked = (["--help"], ["explain", "channels.NAME.orders"], ["demo"], ["check", study], ["compare", study, study])
    asked += (["order", study, order, "--answer-only"],)
    works = {"python -c pass": lambda: whole("-c", "pass"), "libraries": lambda: whole("-c", "import numpy, pandas, scipy.stats")}
    works |= {words[0]: lambda words=words: whole(*COMMAND, *words) for words in asked} | {"new, first question": first_question}
    seconds = {name: min(work() for _ in range(ROUNDS)) for name, work in works.items()}
    empty, alone, *_ = seconds.values()
    for name, taken in seconds.items():
        print(f"{name:20} {taken:6.3f} s {taken / empty:7.1f} x an empty interpreter {taken / alone:5.2f} x the libraries")


if __name__ == "__main__":
    main(*sys.argv[1:])
