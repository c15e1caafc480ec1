"""Orders by month to a posterior of their rate, and of how far they come in clusters; their pieces to how far orders differ."""

import numpy as np
from scipy import special

from ..draws.distributions import Distribution, distribution
from .posteriors import rate_posterior, weighed

PRIOR_DISPERSION = (0.3, 1.0)  # median of the clustering within months, and its log sd: common practice, no source
PRIOR_SIZES = (0.3, 1.0)  # the same of how far orders differ in pieces: common practice, no source
_REACH = np.linspace(-6.0, 4.0, 76)  # of a log-normal prior, in its standard deviations; months quite alike take it far down


def counts_posterior(
    stated, prior_weight, counts, exposure=1.0, clustering=PRIOR_DISPERSION, *, firm=False
) -> tuple[Distribution, Distribution | None]:
    """Posterior of a monthly rate of orders, and of their dispersion within months, from counts month by month. [order/month, -]

    Parameters
    ----------
    stated, prior_weight : float
        Stated rate, above zero, and the months it counts for. [order/month, month]
    counts : array_like, shape (months,)
        Orders of each month; a month without one is a zero, not left out. [order]
    exposure : float or array_like, shape (months,), optional
        How much of each month orders could come in, above zero. [month]
    clustering : tuple of float, optional
        Median of the dispersion, and its log standard deviation; where that is zero it is known, and comes back as None. [-]
    firm : bool, optional
        Whether the guess is as sure as so many months of orders one by one; else as so many months like those seen.

    Notes
    -----
    A month's count is negative binomial with variance m + dispersion x m² about its mean m = rate x exposure. Prior: the
    dispersion log-normal, the rate gamma about the stated one with the variance that a mean of so many months has, so that
    guess and months weigh by their number however clustered they are (credibility theory: Bühlmann & Gisler, *A Course in
    Credibility Theory*, 2005, from memory). Posterior by quadrature over both, thrice, each time
    nearer to where they lie. Where months differ more than chance would have it, the rate is less sure than their sum makes it.

    Examples
    --------
    >>> steady, clustered = ([3, 4, 3, 2, 3, 3], [0, 12, 0, 1, 5, 0])
    >>> bands = [np.diff(counts_posterior(3.0, 1.0, seen)[0].quantile(np.array([0.1, 0.9])))[0] for seen in (steady, clustered)]
    >>> bool(bands[1] > 1.5 * bands[0])
    True
    """
    counts = np.atleast_1d(np.asarray(counts, float))
    exposure, (middle, spread) = np.broadcast_to(np.asarray(exposure, float), counts.shape), clustering
    if middle == 0.0:
        return rate_posterior(stated, prior_weight, counts.sum(), exposure.sum()), None
    alike = np.log(middle) + spread * (_REACH if spread > 0 else np.zeros(1))
    dispersion = np.exp(alike)[:, None]
    events = stated * prior_weight / (1.0 if firm else 1.0 + dispersion * stated)
    centre = (stated * prior_weight + counts.sum()) / (prior_weight + exposure.sum())
    ends = np.log(centre) + np.array([-16.0, 8.0])  # far beyond any mass
    pairs, times = np.unique(np.column_stack([counts, exposure]), axis=0, return_counts=True)
    for _ in range(3):
        line = np.linspace(*ends, 401)
        joint = events * (line + np.log(events / stated)) - events / stated * np.exp(line) - special.gammaln(events)
        joint = joint + (-(_REACH[:, None] ** 2) / 2 if spread > 0 else 0.0)
        for (count, part), often in zip(pairs, times, strict=True):
            mean, size = np.exp(line) * part, 1.0 / dispersion
            chance = special.gammaln(count + size) - special.gammaln(size) - (size + count) * np.log1p(mean / size)
            joint = joint + often * (chance + count * (np.log(mean) - np.log(size)))
        joint = np.exp(joint - joint.max())  # even in logarithms of both
        there = np.flatnonzero(joint.sum(axis=0) > 1e-12 * joint.sum(axis=0).max())
        ends = line[np.array([max(there[0] - 1, 0), min(there[-1] + 1, line.size - 1)])]
    rate = weighed(np.exp(line), joint.sum(axis=0) / np.exp(line), "mean")
    return rate, weighed(np.exp(alike), joint.sum(axis=1) / np.exp(alike), "median") if spread > 0 else None


def sizes_posterior(sizes, prior=PRIOR_SIZES) -> Distribution:
    """Posterior of the standard deviation of pieces between orders over their mean, from the pieces of each order. [-]

    Parameters
    ----------
    sizes : array_like, shape (orders,)
        Above zero. [piece]
    prior : tuple of float, optional
        Median, and log standard deviation above zero, of a log-normal. [-]

    Notes
    -----
    Sizes are gamma, as in `models.months.pieces_at`; their mean, with a prior flat in its logarithm, is integrated out.

    Examples
    --------
    >>> alike, apart = (sizes_posterior(sizes).middle for sizes in ([6, 6, 6, 6, 6, 6], [1, 2, 2, 4, 8, 20]))
    >>> bool(alike < 0.15 < 0.7 < apart)
    True
    """
    sizes, (middle, spread) = np.asarray(sizes, float), prior
    apart = np.log(middle) + spread * np.linspace(_REACH[0], _REACH[-1], 401)
    shape, n, total = np.exp(-2.0 * apart), sizes.size, sizes.sum()
    joint = -((apart - np.log(middle)) ** 2) / (2 * spread**2)
    if n:
        joint += special.gammaln(n * shape) - n * special.gammaln(shape) + shape * np.sum(np.log(sizes / total))
    return weighed(np.exp(apart), np.exp(joint - joint.max()) / np.exp(apart), "median")


def prior_of(middle, spread) -> Distribution:
    """The log-normal prior of a dispersion or of how far orders differ, by its median and log standard deviation. [-]"""
    return distribution(
        "lognormal", p10=middle * np.exp(spread * special.ndtri(0.1)), p90=middle * np.exp(spread * special.ndtri(0.9))
    )
