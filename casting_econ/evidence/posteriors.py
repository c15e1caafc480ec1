"""Prior guess and data to posterior: shares, rates, means and lives; `rows` has the means of rows that share a total.

A guess counts for its prior weight, the `worth` of the study file, beside data of the same unit. Numbers out of their range raise
nothing here: the study file has been checked.
"""

import numpy as np
from scipy import optimize, special

from ..draws.distributions import Distribution, distribution

PRIOR_SPREAD = 0.30  # of a guess, as a share of it: scatter of minutes between rows, common practice, no source
PRIOR_LOADS = (1.0, 19.0)  # beta prior of the correlation within a load, mean 0.05: common practice, no source
PRIOR_SHAPE_FACTOR = 0.30  # log sd of a stated Weibull shape: common practice, no source
_EVEN = (np.arange(512) + 0.5) / 512
_INNER = np.array([0.1, 0.9, 0.05, 0.95])  # ends of the middle eight and nine in ten


def stated_range(spread, logarithms=False):
    """Mean and standard deviation of a stated range, by which a posterior's family takes its place.

    The deviation is the smallest of its own and of those that the middle eight and nine in ten would have if it were normal, so
    that the family is no wider than what was stated. `logarithms` gives the log of the median and the deviation of a log-normal.

    >>> median, sd = stated_range(distribution("lognormal", p10=0.5, p90=2.0), logarithms=True)
    >>> round(float(np.exp(median)), 3), round(float(sd), 2)
    (1.0, 0.54)
    """
    even, middle = np.asarray(spread.quantile(_EVEN), float), float(spread.quantile(np.array([0.5]))[0])
    wide, normal = np.diff(spread.quantile(_INNER))[[0, 2]], 2 * special.ndtri([0.9, 0.95])
    if logarithms:
        middle = max(middle, 1e-3 * even.mean())
        widths = np.append(2 * np.arcsinh(wide / middle / 2) / normal, np.log(np.maximum(even, 1e-3 * middle)).std())
        return float(np.log(middle)), max(min(widths[widths > 0], default=0.0), 1e-3)
    mean, widths = float(even.mean()), np.append(wide / normal, even.std())
    return mean, max(min(widths[widths > 0], default=0.0), 1e-3 * mean, 1e-9)  # values that are all the same leave some width


def contradicts(found, spread):
    """Whether what the logs make of a guess without its range lies beyond the ends of the range, but for one in a hundred."""
    low, high = found.quantile(np.array([0.01, 0.99]))
    least, most = spread.quantile(np.array([0.01, 0.99]))
    return bool(high < least or low > most)


# The guess of each case in the form that its posterior takes it: as stated and weighed, or by the Distribution `spread` of its range, which
# counts for at least what its width says.


def share_prior(stated, prior_weight, spread=None):
    """Mean of a share [-] and its prior weight [piece]."""
    if spread is None:
        return stated, prior_weight
    mean, sd = stated_range(spread)
    return mean, max(prior_weight, mean * (1 - mean) / sd**2 - 1, 1.0)


def rate_prior(stated, prior_weight, spread=None):
    """Mean of an event rate [1/exposure] and its prior weight [exposure]; a stated none must still be able to learn."""
    if spread is None:
        return stated or 0.25 / prior_weight, prior_weight
    mean, sd = stated_range(spread)
    return mean, max(prior_weight, mean / sd**2)


def life_prior(stated, prior_weight, shape, shape_spread, spread=None):
    """Median of a mould's life [cast] and its prior weight [mould worn out], for a Weibull shape and its log sd [-].

    A range counts for the events that make its middle as wide.
    """
    if spread is None:
        return stated, prior_weight
    middle, power = max(float(spread.quantile(np.array([0.5]))[0]), 1e-9), shape * np.exp(-(shape_spread**2))

    def lack(line, ends, wanted):
        edges = (special.gammainccinv(np.exp(line), 0.5) / special.gammainccinv(np.exp(line), ends)) ** (1 / power)
        return np.log(np.diff(edges)[0] / wanted)

    counts = [prior_weight]
    for ends in (_INNER[:2], _INNER[2:]):
        wanted = max(np.diff(spread.quantile(ends))[0] / middle, 1e-3)
        counts.append(np.exp(optimize.brentq(lack, -2.0, 18.0, args=(ends, wanted))))
    return middle, float(max(counts))


def mean_prior(stated, prior_weight, totals, weights, spread=None):
    """Mean a unit, its prior weight [unit] and standard deviation, from rows of totals and units (`weights`), shape (rows,).

    A range counts for what the rows' scatter makes of it.
    """
    if spread is None:
        return stated, prior_weight, PRIOR_SPREAD * stated
    mean, sd = stated_range(spread)
    totals, weights = np.asarray(totals, float), np.asarray(weights, float)
    return mean, max(prior_weight, _row_variance(mean, totals, weights) * totals.size / weights.sum() / sd**2), sd


def share_posterior(stated, prior_weight, hits, misses) -> Distribution:
    """Beta posterior of a share: (stated x weight + hits, (1 - stated) x weight + misses); its middle is its mean. [-]

    `stated` is in [0, 1] [-]; the others are pieces, taken as independent: loads that fail together make the truth wider than
    this.

    >>> posterior = share_posterior(0.8, 10, 17, 3)
    >>> [round(float(q), 2) for q in posterior.quantile(np.array([0.1, 0.9]))]
    [0.74, 0.91]
    """
    stated = min(max(stated, 1e-3), 1 - 1e-3)  # a stated 0 or 1 must still be able to learn
    total = prior_weight + hits + misses
    return distribution("beta", mean=(stated * prior_weight + hits) / total, worth=total)


def load_share_posterior(stated, prior_weight, hits, sizes, pooled=0.0):
    """Posterior of a share when pieces of one load are alike, and of the correlation between two of them. [-]

    The stated share, in [0, 1], counts for its prior weight [piece]. `hits` and `sizes` are pieces that passed, and that entered, by load
    [piece]; `pooled` is the usual pieces of a load when a single row stands for many loads, zero when rows are loads [piece].

    Hits of a load are beta-binomial (Skellam, *J. R. Stat. Soc. B* 10 (1948) 257-261). Prior: share beta(stated x weight,
    (1 - stated) x weight), correlation beta(1, 19); posterior by quadrature over both. A pooled row of T pieces in loads of n has the
    variance of one load whose correlation is (n - 1) / (T - 1) times as large.

    >>> share, _ = load_share_posterior(0.8, 10, [12, 14, 6, 13], [14, 14, 14, 14])
    >>> wide = np.diff(share.quantile(np.array([0.1, 0.9])))
    >>> alone = np.diff(share_posterior(0.8, 10, 45, 11).quantile(np.array([0.1, 0.9])))
    >>> bool(wide > alone)
    True
    """
    stated = min(max(stated, 1e-3), 1 - 1e-3)
    hits, sizes = np.asarray(hits, float), np.asarray(sizes, float)
    # loads that share a correlation, with its ratio to that of two pieces of a load
    groups = [((pooled - 1) / (max(n, 2.0) - 1), [at]) for at, n in enumerate(sizes)] if pooled else [(1.0, slice(None))]
    total = prior_weight + float(np.sum(sizes))
    middle = special.logit((stated * prior_weight + float(np.sum(hits))) / total)
    reach = 9.0 * np.hypot(2.0 / np.sqrt(total), 0.35)  # far beyond any mass, loads alike or not
    share = special.expit(np.linspace(middle - reach, middle + reach, 601))
    alike = special.expit(np.linspace(-9.0, 1.5, 71))
    joint = np.empty((alike.size, share.size))
    for row, rho in enumerate(alike):
        joint[row] = _log_beta(rho, *PRIOR_LOADS) + np.log(rho * (1 - rho))  # even in log-odds
        for ratio, loads in groups:
            strength, hit, of = (1 - rho * ratio) / (rho * ratio), hits[loads], sizes[loads]
            joint[row] += _log_risen(share * strength, hit) - _log_risen(strength, of)
            joint[row] += _log_risen((1 - share) * strength, of - hit)
    joint += _log_beta(share, stated * prior_weight, (1 - stated) * prior_weight)
    joint = np.exp(joint - joint.max())
    found = weighed(share, joint.sum(axis=0), "mean")
    density = joint @ np.gradient(share) / (alike * (1 - alike))
    return found, weighed(alike, density, "mean")


def weighed(values, weights, middle):
    """Distribution of rising values with a density each, three or more of them above zero; `middle` is 'mean' or 'median'.

    >>> round(weighed(np.linspace(0.0, 1.0, 101), np.linspace(0.0, 2.0, 101), "median").middle, 3)  # a triangle: the root of a half
    0.707
    """
    return distribution("weighed", values=tuple(map(float, values)), weights=tuple(map(float, weights)), middle=middle)


def _log_risen(a, counts):
    """Log of the product, over all counts, of Gamma(a + count) / Gamma(a)."""
    found, often = np.unique(counts, return_counts=True)
    return often @ special.gammaln(found[:, None] + a) - counts.size * special.gammaln(a)


def _log_beta(x, a, b):
    return (a - 1) * np.log(x) + (b - 1) * np.log1p(-x)


def rate_posterior(stated, prior_weight, events, exposure) -> Distribution:
    """Gamma posterior of an event rate: (stated x prior weight + events) events in (prior weight + exposure). [event/exposure]

    `stated` is above 0 [event/exposure], the prior weight and `exposure` are in one unit of exposure.

    >>> round(rate_posterior(18.0, 2.0, 114, 6.0).middle, 2)
    18.75
    """
    count = stated * prior_weight + events
    mean = count / (prior_weight + exposure)
    return distribution("gamma", mean=mean, sd=mean / np.sqrt(count))


def _row_variance(mean, totals, weights):
    """Variance of a row's total about its units' mean, drawn towards a scatter of 30 % that counts for two rows."""
    residuals = totals - totals.sum() / weights.sum() * weights
    usual = (PRIOR_SPREAD * mean) ** 2 * np.mean(weights**2)
    return (np.sum(residuals**2) + 2 * usual) / (totals.size + 1)


def mean_posterior(stated, prior_weight, totals, weights, sd=None) -> Distribution:
    """Posterior of a mean per unit, such as minutes a piece, from rows of totals and units.

    The stated mean a unit, above 0, counts for so many units, with a standard deviation of `sd`, 30 % of it if not given; `totals` and
    `weights`, shape (rows,), are what was spent, and on how many of the same units.

    Gamma about the mean of guess and rows, each weighing by its units. Its spread joins the guess's own and the standard error of the
    rows' ratio, by the same weights: Cochran, *Sampling Techniques*, 3rd ed., 1977, section 2.11. The scatter between rows is drawn
    towards 30 %, which counts for two rows, so one row still has a width.

    >>> round(mean_posterior(2.0, 10, [30.0, 50.0], [10, 20]).middle, 3)
    2.5
    """
    totals, weights = np.asarray(totals, float), np.asarray(weights, float)
    units, rows = prior_weight + weights.sum(), totals.size
    mean = (stated * prior_weight + totals.sum()) / units
    error = np.sqrt(_row_variance(mean, totals, weights) * rows) / units if rows else 0.0
    guess = (PRIOR_SPREAD * stated if sd is None else sd) * prior_weight / units
    return distribution("gamma", mean=float(mean), sd=float(max(np.hypot(error, guess), 1e-6 * mean)))


def mould_life_posterior(stated, prior_weight, shape, retired, live, shape_spread=0.0):
    """Posterior of the mean life of moulds whose lives are Weibull [cast], and of the shape, None where it is known [-].

    The stated mean casts a cavity is the prior's median, and counts for so many retired moulds [cast, mould]; `shape` is that of the
    Weibull, and `shape_spread` its log standard deviation, zero where it is known [-]. `retired` are casts at retirement, above 0, `live`
    casts so far of moulds still in use (censored) [cast].

    For a known shape, scale ** shape is inverse gamma with (weight + retired) events and the summed casts ** shape; shapes are weighed
    by how well they explain the casts: Meeker & Escobar, *Statistical Methods for Reliability Data*, 1998, ch. 14.

    >>> round(mould_life_posterior(35.0, 1e6, 2.5, [], [])[0].middle, 2)
    35.0
    """
    retired, live = np.asarray(retired, float), np.asarray(live, float)
    events, casts = prior_weight + retired.size, np.concatenate([retired, live])

    def gamma_of(shape):
        factor = float(special.gamma(1 + 1 / shape))
        # so that the prior's median is the stated life
        centre = special.gammainccinv(prior_weight, 0.5) * (stated / factor) ** shape
        return factor, centre, centre + float(np.sum(casts**shape))

    if shape_spread == 0.0:
        factor, _, exposure = gamma_of(shape)
        return distribution("inverse gamma life", events=events, exposure=exposure, power=shape, factor=factor), None
    shapes, logs = shape * np.exp(np.linspace(-4, 4, 61) * shape_spread), np.sum(np.log(retired))
    found = [gamma_of(one) for one in shapes]
    chances = -(np.log(shapes / shape) ** 2) / (2 * shape_spread**2)
    for at, (one, (_, centre, exposure)) in enumerate(zip(shapes, found, strict=True)):
        seen = retired.size * np.log(one) + (one - 1) * logs
        chances[at] += seen + prior_weight * np.log(centre) - events * np.log(exposure)
    chances = np.exp(chances - chances.max())
    likely = chances > 1e-9 * chances.max()
    ends = [
        factor * (exposure / special.gammainccinv(events, p)) ** (1 / one)
        for one, (factor, _, exposure), seen in zip(shapes, found, likely, strict=True)
        if seen
        for p in (1e-9, 1 - 1e-9)
    ]
    line = np.linspace(np.log(min(ends)), np.log(max(ends)), 1201)
    density = np.zeros(line.size)
    for one, (factor, _, exposure), chance in zip(shapes, found, chances, strict=True):
        power = np.log(exposure) - one * (line - np.log(factor))  # log of exposure / scale ** shape
        density += chance * one * np.exp(events * power - np.exp(power) - special.gammaln(events))
    life = weighed(np.exp(line), density / np.exp(line), "median")
    return life, weighed(shapes, chances / shapes, "median")
