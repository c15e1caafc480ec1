"""Time `casting-econ --help` against an empty interpreter, best of ten of each in one run.

python tests/benchmarks/startup.py
"""

import subprocess
import sys
from time import perf_counter

TIMES = 10


def best(arguments):
    """Least seconds of ten runs; raises if the command fails."""
    seconds = []
    for _ in range(TIMES):
        begun = perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
        seconds.append(perf_counter() - begun)
    return min(seconds)


if __name__ == "__main__":
    nothing, help_text = best(["-c", "pass"]), best(["-m", "casting_econ.cli", "--help"])
    print(f"python -c pass       {nothing:.3f} s")
    print(f"casting-econ --help  {help_text:.3f} s   {help_text / nothing:.1f} x")
