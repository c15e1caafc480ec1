"""How long a sweep of 60 points takes beside 60 empty notebooks run by papermill two at a time: python tests/benchmarks/sweep.py [POINTS]."""

import os
import sys
import tempfile
from pathlib import Path

from run import COMMAND, base, seconds, told

from casting_econ.study.inputs import copy_demo


def main(points: int) -> None:
    """Print the ratio of the clock, and that of the processor, for so many points and for a tenth of them."""
    with tempfile.TemporaryDirectory() as place:
        study = copy_demo("kelpmoor-handles", Path(place) / "study")
        for count in (points, max(points // 10, 2)):
            empty = base(Path(place), count)
            words = [*COMMAND[:-1], "sweep", str(study), "--vary", f"channels.online.price=20 EUR..60 EUR/{count}"]
            taken = seconds([*words, "--out", f"{place}/sweep-{count}"])
            print(
                f"{count} points: {told(taken)} s, {told(taken / empty)} x as many empty notebooks (load {os.getloadavg()[0]:.1f})"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
