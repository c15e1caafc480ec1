"""Time commands that answer at once against what Python itself takes, the least of some rounds of each in one run; processor time.

    python tests/benchmarks/startup.py [STUDY ORDER]

`--help` against an empty interpreter; `check` and the answer to an order against the libraries alone that both stand on.
"""

import os
import resource
import subprocess
import sys
from pathlib import Path

ROUNDS = 5
HOME = Path(__file__).parents[2] / "data" / "kelpmoor-handles"


def least(*arguments):
    """Least processor seconds of some rounds, those of its children among them; raises if the command fails."""
    seconds = []
    for _ in range(ROUNDS):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        seconds.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(seconds)


if __name__ == "__main__":
    study, order = sys.argv[1:] or (str(HOME), "kitchen")
    command = "-m", "casting_econ.cli"
    print(f"load {os.getloadavg()[0]:.1f}")
    for bare, words in (
        ("pass", [["--help"]]),
        ("import numpy, pandas, scipy.stats", [["check", study], ["order", study, order, "--answer-only"]]),
    ):
        alone = least("-c", bare)
        print(f"python -c {bare!r:36} {alone:.3f} s")
        for said in words:
            taken = least(*command, *said)
            print(f"casting-econ {said[0]:34} {taken:.3f} s   {taken / alone:.1f} x")
