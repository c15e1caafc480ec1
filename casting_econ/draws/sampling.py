"""Scrambled Sobol draws: one seed, the same numbers for any chunk size and any number of workers."""

import warnings
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import scipy
from scipy import special

REPLICATES = 16  # independent scrambles; their scatter is the Monte Carlo error
_BITS = 30


def round_up_draws(draws: int) -> int:
    """Smallest number of draws, not below `draws`, that gives each replicate a power of two.

    >>> round_up_draws(8000)
    8192
    """
    return REPLICATES * 2 ** max(3, int(np.ceil(np.log2(max(draws, 1) / REPLICATES))))


def points(dimensions: int, draws: int, seed: int, start: int = 0, stop: int | None = None) -> np.ndarray:
    """Rows `start` to `stop` of scrambled Sobol points: shape (stop - start, dimensions), strictly between 0 and 1. [-]

    `draws` are the rows of the whole, as `round_up_draws` gives them, and `seed` any whole number of zero or more; what a row
    holds does not depend on how the whole is cut.
    """
    each = draws // REPLICATES
    stop = draws if stop is None else stop
    children = np.random.SeedSequence(seed).spawn(REPLICATES)
    parts = []
    for replicate in range(start // each, -(-stop // each)):
        first, last = max(start - replicate * each, 0), min(stop - replicate * each, each)
        rng = np.random.default_rng(children[replicate])
        engine = scipy.stats.qmc.Sobol(dimensions, scramble=True, bits=_BITS, rng=rng)
        if first:
            engine.fast_forward(first)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # the whole has a size of a power of two, a chunk need not
            block = engine.random(last - first)
        parts.append(block + 0.5 ** (_BITS + 1))  # half a step in, so that 0 never comes
    return np.concatenate(parts) if parts else np.empty((0, dimensions))


def copula_matrix(names: list[str], pairs: list[tuple[str, str, float]]) -> np.ndarray | None:
    """Lower triangular root of the correlations of normal scores, shape (names, names); None when there are none. [-]

    `pairs` are two of the `names` and their rank correlation in (-1, 1), Spearman's r, turned into the normal score correlation
    2 sin(pi r / 6). ValueError if a pair is of one number alone, or correlations contradict each other.
    """
    if not pairs:
        return None
    matrix = np.eye(len(names))
    for one, other, rank in pairs:
        i, j = names.index(one), names.index(other)
        if i == j:
            raise ValueError(f"a correlation needs two numbers; got {one!r} twice")
        matrix[i, j] = matrix[j, i] = 2.0 * np.sin(np.pi * rank / 6.0)
    try:
        return np.linalg.cholesky(matrix)
    except np.linalg.LinAlgError:
        raise ValueError("correlations must agree with each other; these cannot all hold at once") from None


def correlate(uniform: np.ndarray, root: np.ndarray | None) -> np.ndarray:
    """Give independent uniform points the correlation of `root` (Gaussian copula)."""
    if root is None:
        return uniform
    tied = np.flatnonzero((np.abs(root) > 0).sum(axis=1) + (np.abs(root) > 0).sum(axis=0) > 2)
    scores = special.ndtri(uniform[:, tied])
    result = uniform.copy()
    # one row at a time from the root, so that a point never depends on its neighbours in memory
    for column, row in zip(tied, root[np.ix_(tied, tied)], strict=True):
        result[:, column] = special.ndtr(sum(scores[:, k] * row[k] for k in range(len(tied)) if row[k]))
    return np.clip(result, 0.5**53, 1 - 0.5**53)


def in_chunks(
    work: Callable[[int, int], dict[str, np.ndarray]], draws: int, chunk: int = 8_192, workers: int = 1
) -> dict[str, np.ndarray]:
    """Run `work(start, stop)` over all rows, `chunk` a time in so many threads, and join the arrays it returns by name.

    The default keeps an array below 128 KiB, from which on allocators fetch fresh pages for each.
    """
    spans = [(start, min(start + chunk, draws)) for start in range(0, draws, chunk)]
    with ThreadPoolExecutor(max_workers=workers) as pool:
        parts = list(pool.map(lambda span: work(*span), spans))
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
