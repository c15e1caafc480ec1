"""Time Sobol indices with intervals for 20 inputs against SALib on the same model and the same sample, in one run.

    python tests/benchmarks/sobol.py [ROWS]

Seconds are processor time, so that a busy machine changes them little; compare ratios between machines. Both draw as many resamples
for intervals. The design is made by both too; evaluating the model is the same for both and timed apart.
"""

import sys
from time import process_time

import numpy as np
from SALib.analyze import sobol as reference
from SALib.sample import sobol as reference_design

from casting_econ.uncertainty import points
from casting_econ.uncertainty.sobol import RESAMPLES, sobol_indices

INPUTS, SEED, TIMES = 20, 3, 5
WEIGHTS = np.concatenate([[0.0, 1.0, 4.5, 9.0], np.geomspace(10.0, 99.0, INPUTS - 4)])


def model(u):
    """The g-function of 20 inputs, first order (1 / 3) / (1 + a)^2 over the product's variance."""
    return np.prod((np.abs(4.0 * u - 2.0) + WEIGHTS) / (1.0 + WEIGHTS), axis=1)


def exact():
    """First-order and total indices by the closed form."""
    alone = 1.0 / 3.0 / (1.0 + WEIGHTS) ** 2
    variance = np.prod(1.0 + alone) - 1.0
    return alone / variance, alone / (1.0 + alone) * (variance + 1.0) / variance


def best(work):
    """Least seconds of some runs, and what the last gave."""
    seconds = []
    for _ in range(TIMES):
        begun = process_time()
        found = work()
        seconds.append(process_time() - begun)
    return min(seconds), found


def same_sample(rows):
    """Rows of the same two samples in the order that the reference wants: A, each mixed, B."""
    both = points(2 * INPUTS, rows, SEED)
    a, b = both[:, :INPUTS], both[:, INPUTS:]
    block = np.repeat(a[:, None, :], INPUTS + 2, axis=1)
    for i in range(INPUTS):
        block[:, i + 1, i] = b[:, i]
    block[:, -1] = b
    return block.reshape(-1, INPUTS)


def main(rows):
    """Print times, their ratio, and how far both are from the closed form and from each other."""
    problem = {"num_vars": INPUTS, "names": [f"x{i}" for i in range(INPUTS)], "bounds": [[0.0, 1.0]] * INPUTS}
    sample = same_sample(rows)
    evaluating, outputs = best(lambda: model(sample))
    drawing, _ = best(lambda: reference_design.sample(problem, rows, calc_second_order=False, seed=SEED))

    def analyse():
        return reference.analyze(problem, outputs, calc_second_order=False, num_resamples=RESAMPLES, conf_level=0.9, seed=SEED)

    analysing, theirs = best(analyse)
    ours_all, ours = best(lambda: sobol_indices(model, INPUTS, rows, SEED))
    all_theirs = drawing + evaluating + analysing
    print(f"{INPUTS} inputs, {rows:,} rows, {RESAMPLES} resamples, processor time")
    print(f"  ours, design, model and intervals    {ours_all:8.3f} s")
    print(f"  SALib, design, model and intervals   {all_theirs:8.3f} s   ({drawing:.3f} + {evaluating:.3f} + {analysing:.3f})")
    print(f"  ours / SALib                         {ours_all / all_theirs:8.2f}")
    print(f"  ours without the model / SALib's intervals alone {(ours_all - evaluating) / analysing:.2f}")
    for name, mine, other, true in (
        ("first", ours.first, theirs["S1"], exact()[0]),
        ("total", ours.total, theirs["ST"], exact()[1]),
    ):
        off = np.abs(mine[:, 0] - true).max(), np.abs(np.asarray(other) - true).max(), np.abs(mine[:, 0] - other).max()
        print(f"  {name}: largest error ours {off[0]:.4f}, SALib {off[1]:.4f}; largest difference {off[2]:.4f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4096)
