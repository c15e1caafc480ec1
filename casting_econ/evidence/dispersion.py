"""Counts of loads, and limits of one share."""

import numpy as np
import scipy

from ..models.checks import checked


def counts_and_sizes(counts, sizes):
    """Counts of loads and their sizes as arrays of one shape (n_loads,); ValueError if below zero, or above its size. [piece]

    >>> [part.tolist() for part in counts_and_sizes([1, 2], 10)]
    [[1.0, 2.0], [10.0, 10.0]]
    """
    counts, sizes = np.broadcast_arrays(np.atleast_1d(np.asarray(counts, float)), np.asarray(sizes, float))
    if counts.size:
        checked("counts", counts, low=0.0)
        checked("sizes", sizes, low=0.0)
    over = np.flatnonzero(counts > sizes)
    if over.size:
        first = over[0]
        raise ValueError(f"counts must be at most the sizes; got {counts[first]:g} of {sizes[first]:g} at index {first}")
    return counts, sizes


def binomial_limits(hits, n, level=0.8):
    """Limits of a share from hits among n independent pieces: quantiles of Beta(hits + 1/2, misses + 1/2), after Jeffreys. [-]

    `hits` and `n` are pieces [piece], `level` is the confidence, in (0, 1) [-]. The lower limit is 0 at no hits, the upper 1
    at no misses. ValueError if hits exceed n, or the level is outside its range. Brown, Cai & DasGupta, *Statistical Science*
    16 (2001) 101-133.

    >>> [round(float(limit), 3) for limit in binomial_limits(4, 20)]
    [0.108, 0.33]
    """
    tail = (1.0 - checked("level", level, above=0.0, high=1.0 - 1e-12)) / 2.0
    hits, n = np.broadcast_arrays(np.asarray(checked("hits", hits, low=0.0)), np.asarray(checked("pieces", n, low=0.0)))
    if np.any(hits > n):
        raise ValueError("hits must be at most the pieces looked at")
    shape = hits + 0.5, n - hits + 0.5
    return np.where(hits == 0, 0.0, scipy.stats.beta.ppf(tail, *shape))[()], np.where(
        hits == n, 1.0, scipy.stats.beta.isf(tail, *shape)
    )[()]
