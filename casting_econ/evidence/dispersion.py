"""Shares that scatter from load to load: limits of one share, and how much the pieces of one load share their fate."""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from ..models.checks import checked
from ..models.yields import beta_binomial_logpmf

__all__ = ["BetaBinomialFit", "beta_binomial_fit", "beta_binomial_logpmf", "binomial_limits", "counts_and_sizes"]

MOST_RHO = 1.0 - 1e-6  # the search ends just short of 1, where a load is all good or all bad
TRIED = np.concatenate([[0.0], np.geomspace(1e-5, 0.5, 40), np.linspace(0.52, 0.98, 24), [0.99, 0.999, MOST_RHO]])


@dataclass(frozen=True, kw_only=True)
class BetaBinomialFit:
    """Likeliest beta-binomial for loads of pieces."""

    share: float  # [-] of hits in the long run
    rho: float  # [-] intra-load correlation
    log_likelihood: float  # natural logarithm
    low: float  # [-] profile interval of rho
    high: float  # [-]
    loads: int  # with any pieces
    pieces: int


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


def beta_binomial_fit(hits, sizes, level=0.8):
    """Maximum likelihood share and intra-load correlation.

    Parameters
    ----------
    hits : array_like, shape (n_loads,)
        Pieces of the kind counted in each load; whole. [piece]
    sizes : float or array_like, shape (n_loads,)
        Pieces in each load; whole, loads of zero are left out. [piece]
    level : float, optional
        Level of the profile-likelihood interval for the correlation. [-]

    Returns
    -------
    BetaBinomialFit
        Where the loads cannot tell (all hits, none, or one piece a load) rho is 0 and its interval [0, 1].

    Raises
    ------
    ValueError
        If no load has a piece, a count is not whole, or counts exceed sizes.

    Notes
    -----
    For each rho the log-likelihood is concave in the share, so the profile is exact; it is searched on a grid
    of rho and refined around its best point. At rho = 0, the edge of what is possible, the interval covers more
    often than its level says.

    References
    ----------
    .. [1] Griffiths, *Biometrics* 29 (1973) 637-648 (maximum likelihood of the beta-binomial).

    Examples
    --------
    >>> fit = beta_binomial_fit([0, 1, 9, 2, 10, 0], 10)
    >>> round(fit.share, 2), round(fit.rho, 2)
    (0.39, 0.64)
    """
    hits, sizes = counts_and_sizes(hits, sizes)
    hits, sizes = hits[sizes > 0], sizes[sizes > 0]
    if sizes.size == 0:
        raise ValueError("a correlation within loads needs at least one load with a piece; got none")
    rows, times = np.unique(np.stack([hits, sizes]), axis=1, return_counts=True)

    def likelihood(share, rho):
        return float(times @ beta_binomial_logpmf(rows[0], rows[1], share, rho))

    pieces = np.arange(int(sizes.max()))
    more_hits = times @ (rows[0][:, None] > pieces)  # loads with more than 0, 1, ... hits
    more_misses = times @ (rows[1] - rows[0] > pieces[:, None]).T

    def likeliest_share(rho):
        if hits.sum() in (0.0, sizes.sum()):
            return float(hits.sum() > 0)
        steps = pieces * rho / (1.0 - rho)
        # the slope of the log-likelihood, which only falls: its root keeps twice the digits that its top would
        return optimize.brentq(
            lambda y: more_hits @ (1.0 / (y + steps)) - more_misses @ (1.0 / (1.0 - y + steps)), 1e-12, 1.0 - 1e-12, xtol=1e-14
        )

    def profile(rho):
        return likelihood(likeliest_share(rho), rho)

    heights = np.array([profile(rho) for rho in TRIED])
    best = int(np.argmax(heights))  # the smallest rho where the profile is flat
    rho, top = float(TRIED[best]), float(heights[best])
    if best > 0:
        bounds = (TRIED[best - 1], TRIED[min(best + 1, TRIED.size - 1)])
        found = optimize.minimize_scalar(lambda r: -profile(r), bounds=bounds, method="bounded", options={"xatol": 1e-12})
        if -found.fun > top:
            rho, top = float(found.x), -float(found.fun)
    order = np.argsort(np.append(TRIED, rho), kind="stable")
    low, high = _interval(
        profile, np.append(TRIED, rho)[order], np.append(heights, top)[order], top - stats.chi2.ppf(level, 1) / 2
    )
    return BetaBinomialFit(
        share=float(likeliest_share(rho)),
        rho=float(rho),
        log_likelihood=float(top),
        low=low,
        high=high,
        loads=int(sizes.size),
        pieces=int(sizes.sum()),
    )


def _interval(profile, tried, heights, cut):
    """Outermost points where the profile comes down to `cut`; 0 or 1 where it stays above."""
    inside = np.flatnonzero(heights >= cut)
    first, last = inside[0], inside[-1]
    low = optimize.brentq(lambda r: profile(r) - cut, tried[first - 1], tried[first]) if first > 0 else 0.0
    high = optimize.brentq(lambda r: profile(r) - cut, tried[last], tried[last + 1]) if last < tried.size - 1 else 1.0
    return float(low), float(high)


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
        z = stats.norm.isf(tail)
        with np.errstate(invalid="ignore"):
            middle = (hits + z**2 / 2) / (n + z**2)
            half = z / (n + z**2) * np.sqrt(hits * (n - hits) / np.where(n > 0, n, 1.0) + z**2 / 4)
        low, high = middle - half, middle + half
    else:
        more = 0.5 if kind == "jeffreys" else 0.0
        with np.errstate(invalid="ignore"):
            low = stats.beta.ppf(tail, hits + more, n - hits + 1 - more)
            high = stats.beta.isf(tail, hits + 1 - more, n - hits + more)
    low = np.where((hits == 0) | (side == "upper"), 0.0, low)
    high = np.where((hits == n) | (side == "lower"), 1.0, high)
    return low[()], high[()]
