"""One move of the explorer's sliders against one plain `evaluate` of as many draws, in the same run.

    python tests/benchmarks/explorer.py [STUDY] [DRAWS]

Prints the ratio for each kind of lever, numbers alone and with the sentence and both charts; processor time, so that a busy machine changes it little.
"""

import sys
from pathlib import Path
from statistics import median
from time import process_time

import numpy as np

from casting_econ.assumptions import key_points, values_at, workshop_at
from casting_econ.explore.widgets import ExplorerView
from casting_econ.kit import open_study
from casting_econ.models import evaluate

ROUNDS = 9


def seconds(work) -> float:
    """Median of some rounds. [s]"""
    taken = []
    for turn in range(ROUNDS):
        start = process_time()
        work(turn)
        taken.append(process_time() - start)
    return median(taken)


def main(study: str, draws: int) -> None:
    """Print the table."""
    kit = open_study(study)
    view = ExplorerView(kit, draws=draws)
    explorer = view.explorer
    points = key_points(kit.assumed.uncertain, explorer.draws, explorer.seed)
    drawn = values_at(kit.assumed, np.column_stack([points[key] for key in kit.assumed.uncertain]))
    inputs = workshop_at(kit.study, drawn)
    plain = seconds(lambda _: evaluate(inputs))
    print(f"{kit.study.file.study.name}, {explorer.draws} draws; one plain evaluate {1e3 * plain:.1f} ms")
    for group in dict.fromkeys(lever.group for lever in explorer.levers):
        lever = next(own for own in explorer.levers if own.group == group)

        def value(turn, lever=lever):  # never the same twice, so that nothing is remembered
            return min(lever.now + (turn + 1) * lever.step, lever.high)

        look = seconds(lambda turn, lever=lever, value=value: explorer.look({lever.key: value(turn)}))
        shown = seconds(lambda turn, lever=lever, value=value: view.move(lever.key, value(turn)))
        view.back()
        print(
            f"{group:9} numbers {look / plain:5.1f} x ({1e3 * look:.0f} ms)   shown {shown / plain:5.1f} x ({1e3 * shown:.0f} ms)"
        )


if __name__ == "__main__":
    home = Path(__file__).parents[2] / "data" / "kelpmoor-handles"
    main(sys.argv[1] if len(sys.argv) > 1 else str(home), int(sys.argv[2]) if len(sys.argv) > 2 else 4000)
