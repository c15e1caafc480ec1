"""Time of Sobol indices with intervals for 20 inputs, against SALib on the same model and sample: python tests/benchmarks/sobol.py."""

import time

import numpy as np
from SALib.analyze import sobol as salib_sobol

from casting_econ.draws import points
from casting_econ.draws.sobol import RESAMPLES, sobol_indices

DIMENSIONS, ROWS = 20, 8192
WEIGHTS = np.linspace(1.0, 0.05, DIMENSIONS)


def model(u):
    """Cheap, with interactions: what is timed is the estimation."""
    return u @ WEIGHTS + u[:, 0] * u[:, 1] + np.sin(6.0 * u[:, 2])


def theirs():
    """SALib's indices with intervals from as many resamples, on the same base samples."""
    both = points(2 * DIMENSIONS, ROWS, 1)
    a, b = both[:, :DIMENSIONS], both[:, DIMENSIONS:]
    block = np.empty((ROWS, DIMENSIONS + 2, DIMENSIONS))
    block[:, 0], block[:, -1] = a, b
    for i in range(DIMENSIONS):
        block[:, i + 1] = a
        block[:, i + 1, i] = b[:, i]
    problem = {"num_vars": DIMENSIONS, "names": [str(n) for n in range(DIMENSIONS)], "bounds": [[0, 1]] * DIMENSIONS}
    outputs = model(block.reshape(-1, DIMENSIONS))
    return salib_sobol.analyze(problem, outputs, calc_second_order=False, num_resamples=RESAMPLES, seed=1)


def best(work, times=5):
    """Least seconds of several, and the last result."""
    seconds = []
    for _ in range(times):
        started = time.perf_counter()
        found = work()
        seconds.append(time.perf_counter() - started)
    return min(seconds), found


def main() -> None:
    """Print both times, their ratio, and how far the indices lie apart."""
    ours, found = best(lambda: sobol_indices(model, DIMENSIONS, ROWS, 1))
    reference, known = best(theirs)
    apart = max(np.abs(found.first[:, 0] - known["S1"]).max(), np.abs(found.total[:, 0] - known["ST"]).max())
    print(
        f"{DIMENSIONS} inputs, {ROWS} rows, {RESAMPLES} resamples: {ours:.2f} s, SALib {reference:.2f} s, {ours / reference:.2f} x; apart {apart:.4f}"
    )


if __name__ == "__main__":
    main()
