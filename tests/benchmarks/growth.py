"""How processor time and memory grow with the draws of a study: python tests/benchmarks/growth.py [STUDY].

Eight times the draws, since they are powers of two; memory is the peak of what one chunk after another takes, results left aside.
"""

import os
import sys
import tracemalloc
from pathlib import Path
from time import process_time

from evaluate import STUDY, study_seconds

from casting_econ.assumptions import assume
from casting_econ.study import read_study


def measured(assumed, draws):
    """Seconds, and peak of memory in bytes."""
    begun = process_time()
    study_seconds(assumed, draws)
    taken = process_time() - begun
    tracemalloc.start()
    study_seconds(assumed, draws)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return taken, peak


if __name__ == "__main__":
    assumed = assume(read_study(Path(sys.argv[1]) if len(sys.argv) > 1 else STUDY))
    study_seconds(assumed, 1 << 13)  # warm
    (few, low), (many, high) = measured(assumed, 1 << 14), measured(assumed, 1 << 17)
    print(f"8 x the draws: {many / few:.1f} x the time, {high / low:.2f} x the memory of {low / 1e6:.0f} MB", end="")
    print(f" (load {os.getloadavg()[0]:.1f})")
