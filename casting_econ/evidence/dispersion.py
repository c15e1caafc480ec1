"""Counts of loads, and limits of one share."""

import numpy as np
import scipy

from ..models.checks import checked

__all__ = ["binomial_limits", "counts_and_sizes"]


def counts_and_sizes(counts, sizes):
    """Counts and sizes of loads as float arrays of one shape, checked.

    Parameters
    ----------
    counts : array_like, shape (n_loads,)
        Pieces of the kind counted. [piece]
    sizes : float or array_like, shape (n_loads,)
        Pieces in each load; zero is allowed. [piece]

    Returns
    -------
    counts, sizes : ndarray, shape (n_loads,)
        [piece]

    Raises
    ------
    ValueError
        If a count is below zero or above its size.

    Examples
    --------
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


def binomial_limits(hits, n, level=0.8, kind="wilson", side="both"):
    """Limits of a share from hits among n independent pieces.

    Parameters
    ----------
    hits, n : float or array_like
        Pieces of the kind counted, and pieces looked at. [piece]
    level : float, optional
        Confidence level, in (0, 1). [-]
    kind : {"wilson", "exact", "jeffreys"}, optional
        Wilson's score limits, Clopper and Pearson's exact ones, or quantiles of Beta(hits + 1/2, misses + 1/2).
    side : {"both", "lower", "upper"}, optional
        Both limits, or only one of them, which then takes the whole error.

    Returns
    -------
    low, high : float or ndarray
        The limit not asked for is 0 or 1, and so are both where nothing was looked at. [-]

    Raises
    ------
    ValueError
        If hits exceed n, or level, kind or side is none of the above.

    References
    ----------
    .. [1] Brown, Cai & DasGupta, *Statistical Science* 16 (2001) 101-133; Jeffreys' lower limit at no hits is 0 and
       its upper one at no misses is 1.

    Examples
    --------
    >>> low, high = binomial_limits(4, 20, level=0.90, kind="exact")
    >>> round(float(low), 4), round(float(high), 4)
    (0.0714, 0.401)
    """
    level = checked("level", level, above=0.0, high=1.0 - 1e-12)
    if kind not in ("wilson", "exact", "jeffreys") or side not in ("both", "lower", "upper"):
        raise ValueError(f"limits are wilson, exact or jeffreys, for both, lower or upper; got {kind!r}, {side!r}")
    hits, n = np.broadcast_arrays(np.asarray(checked("hits", hits, low=0.0)), np.asarray(checked("pieces", n, low=0.0)))
    if np.any(hits > n):
        raise ValueError("hits must be at most the pieces looked at")
    tail = (1.0 - level) / (2.0 if side == "both" else 1.0)
    if kind == "wilson":
        # scipy's binomtest gives the same for one pair of whole numbers; here counts may be weighted, and many
        z = scipy.stats.norm.isf(tail)
        with np.errstate(invalid="ignore"):
            middle = (hits + z**2 / 2) / (n + z**2)
            half = z / (n + z**2) * np.sqrt(hits * (n - hits) / np.where(n > 0, n, 1.0) + z**2 / 4)
        low, high = middle - half, middle + half
    else:
        more = 0.5 if kind == "jeffreys" else 0.0
        with np.errstate(invalid="ignore"):
            low = scipy.stats.beta.ppf(tail, hits + more, n - hits + 1 - more)
            high = scipy.stats.beta.isf(tail, hits + 1 - more, n - hits + more)
    low = np.where((hits == 0) | (side == "upper"), 0.0, low)
    high = np.where((hits == n) | (side == "lower"), 1.0, high)
    return low[()], high[()]
