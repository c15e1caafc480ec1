"""Orders by month to a posterior of their rate, and of how far they come in clusters; their pieces to how far orders differ."""

import numpy as np
from scipy import special

from ..draws.distributions import Distribution, distribution
from .posteriors import rate_posterior, weighed

# median of the clustering within months where there is any, its log sd, and the chance that orders come one by one: common practice, no source
PRIOR_DISPERSION = (0.3, 1.0, 0.5)
PRIOR_SIZES = (0.3, 1.0)  # the same of how far orders differ in pieces: common practice, no source
_REACH = np.linspace(-6.0, 4.0, 76)  # of a log-normal prior, in its standard deviations; months quite alike take it far down
_ONE_BY_ONE = 1e-8  # a dispersion that is none


def counts_posterior(
    stated, prior_weight, counts, exposure=1.0, clustering=PRIOR_DISPERSION, *, firm=False
) -> tuple[Distribution, Distribution | None, float]:
    """Posterior of a monthly rate of orders [order/month], of their dispersion within months where they come in clusters [-], and the
    chance that they come one by one [-], from counts month by month.

    The stated rate, above zero, counts for so many months [order/month, month]. `counts`, shape (months,), are orders of each month, a
    month without one being a zero, not left out [order]; `exposure` is how much of each month orders could come in, above zero [month].
    `clustering` is the median of the dispersion and its log standard deviation: where that is zero it is known, and comes back as None;
    and the chance that there is none [-]. A `firm` guess is as sure as so many months of orders one by one; else as so many months like
    those seen.

    A month's count is negative binomial with variance m + dispersion x m² about its mean m = rate x exposure. Prior: no
    dispersion with a chance, else a log-normal one (were it never none, bands of orders that come one by one would be too wide by
    far); the rate gamma about the stated one with the variance that a mean of so many months has, so that
    guess and months weigh by their number however clustered they are (credibility theory: Bühlmann & Gisler, *A Course in
    Credibility Theory*, 2005, from memory). Posterior by quadrature over both, thrice, each time
    nearer to where they lie. Where months differ more than chance would have it, the rate is less sure than their sum makes it.

    >>> steady, clustered = ([3, 4, 3, 2, 3, 3], [0, 12, 0, 1, 5, 0])
    >>> bands = [np.diff(counts_posterior(3.0, 1.0, seen)[0].quantile(np.array([0.1, 0.9])))[0] for seen in (steady, clustered)]
    >>> bool(bands[1] > 1.5 * bands[0])
    True
    """
    counts = np.atleast_1d(np.asarray(counts, float))
    exposure, (middle, spread, none) = np.broadcast_to(np.asarray(exposure, float), counts.shape), clustering
    if middle == 0.0:
        return rate_posterior(stated, prior_weight, counts.sum(), exposure.sum()), None, 1.0
    reach = _REACH if spread > 0 else np.zeros(1)
    alike, chances = middle * np.exp(spread * reach), np.exp(-(reach**2) / 2)
    chances = np.append(none, (1.0 - none) * chances / chances.sum())
    here = chances > 0
    size, chances = 1.0 / np.append(_ONE_BY_ONE, alike)[here, None], chances[here, None]
    events = stated * prior_weight / (1.0 if firm else 1.0 + stated / size)
    fixed = np.log(chances) + events * np.log(events / stated) - special.gammaln(events)
    fixed = fixed + np.sum(special.gammaln(counts + size) - special.gammaln(size) - counts * np.log(size), axis=1, keepdims=True)
    parts, which = np.unique(exposure, return_inverse=True)
    months, seen = (np.bincount(which, of, parts.size) for of in (None, counts))
    centre = (stated * prior_weight + counts.sum()) / (prior_weight + exposure.sum())
    # beyond lies one in 10,000, of a guess of hardly an order too
    far = np.clip(9.0 / (stated * prior_weight + counts.sum()), 16.0, 400.0)
    ends = np.log(centre) + np.array([-far, 8.0])
    for points in (81, 81, 401):
        line = np.linspace(*ends, points)
        joint = fixed + (events + counts.sum()) * line - events / stated * np.exp(line)
        for part, often, orders in zip(parts, months, seen, strict=True):
            joint = joint - (orders + often * size) * np.log1p(np.exp(line) * part / size)
        by_rate = np.exp(joint - joint.max()).sum(axis=0)  # even in logarithms of both
        there = np.flatnonzero(by_rate > 1e-8 * by_rate.max())
        ends = line[np.array([max(there[0] - 1, 0), min(there[-1] + 1, line.size - 1)])]
    rate, alone = weighed(np.exp(line), by_rate / np.exp(line), "mean"), special.logsumexp(joint, axis=1)
    if spread == 0:
        return rate, None, 0.0
    chance = float(np.exp(alone[0] - special.logsumexp(alone))) if none > 0 else 0.0
    alone = alone[-alike.size :]
    return rate, weighed(alike, np.exp(alone - alone.max()) / alike, "mean"), chance


def sizes_posterior(sizes, prior=PRIOR_SIZES) -> Distribution:
    """Posterior of the standard deviation of pieces between orders over their mean, from the pieces of each order. [-]

    `sizes`, shape (orders,), are above zero [piece]; `prior` is the median, and log standard deviation above zero, of a log-normal [-].
    Sizes are gamma, as in `models.months.pieces_at`; their mean, with a prior flat in its logarithm, is integrated out.

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
    p10, p90 = middle * np.exp(spread * special.ndtri((0.1, 0.9)))
    return distribution("lognormal", p10=p10, p90=p90)
