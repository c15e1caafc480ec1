"""Orders by month to a posterior of their rate, and of how far they come in clusters."""

import numpy as np
from scipy import special

from ..draws.distributions import Distribution
from .posteriors import weighed

PRIOR_DISPERSION = (0.3, 1.0)  # median of the clustering within months, and its log sd: common practice, no source


def counts_posterior(stated, prior_weight, counts, exposure=1.0) -> tuple[Distribution, Distribution]:
    """Posterior of a monthly rate of orders, and of their dispersion, from counts month by month. [order/month, -]

    Parameters
    ----------
    stated, prior_weight : float
        Stated rate, above zero, and the months it counts for. [order/month, month]
    counts : array_like, shape (months,)
        Orders of each month; a month without one is a zero, not left out. [order]
    exposure : float or array_like, shape (months,), optional
        How much of each month orders could come in. [month]

    Notes
    -----
    A month's count is negative binomial with variance m + dispersion x m² about its mean m = rate x exposure. Prior: the rate
    gamma as in `rate_posterior`, the dispersion log-normal (`PRIOR_DISPERSION`); posterior by quadrature over both. Where months
    differ more than chance would have it, the rate is less sure than their sum alone makes it.

    Examples
    --------
    >>> steady, clustered = ([3, 4, 3, 2, 3, 3], [0, 12, 0, 1, 5, 0])
    >>> bands = [np.diff(counts_posterior(3.0, 1.0, seen)[0].quantile(np.array([0.1, 0.9])))[0] for seen in (steady, clustered)]
    >>> bool(bands[1] > 1.5 * bands[0])
    True
    """
    counts = np.atleast_1d(np.asarray(counts, float))
    exposure = np.broadcast_to(np.asarray(exposure, float), counts.shape)
    events, time = stated * prior_weight + counts.sum(), prior_weight + exposure.sum()
    middle, spread = PRIOR_DISPERSION
    alike = np.log(middle) + spread * np.linspace(-4.0, 4.0, 61)
    # far beyond any mass: as if the months were one cluster each, and the prior's own tail
    reach = 6.0 * np.sqrt(1.0 / events + np.exp(alike[-1]) / (counts.size + 1.0)) if counts.size else 12.0 / np.sqrt(events)
    line = np.log(events / time) + np.linspace(-min(reach, 14.0), min(reach, 8.0), 401)
    pairs, times = np.unique(np.column_stack([counts, exposure]), axis=0, return_counts=True)
    size = np.exp(-alike)[:, None]
    joint = stated * prior_weight * line - prior_weight * np.exp(line) - ((alike[:, None] - np.log(middle)) / spread) ** 2 / 2
    for (count, part), often in zip(pairs, times, strict=True):
        mean = np.exp(line) * part
        chance = special.gammaln(count + size) - special.gammaln(size) - (size + count) * np.log1p(mean / size)
        joint = joint + often * (chance + count * (np.log(mean) - np.log(size)))
    joint = np.exp(joint - joint.max())  # even in logarithms of both
    rate = weighed(np.exp(line), joint.sum(axis=0) / np.exp(line), "mean")
    return rate, weighed(np.exp(alike), joint.sum(axis=1) / np.exp(alike), "median")
