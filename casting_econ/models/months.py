"""Orders as they come: their number a month about the season's mean, and their pieces; and weeks that rare events take.

Nothing here draws at random: what chance decides comes in as uniforms, so that Sobol points do as well as any other.
"""

from functools import lru_cache

import numpy as np
import scipy
from numpy.polynomial import chebyshev
from scipy import special

from .checks import checked, checked_share

MONTHS_IN_YEAR = 12
_BLOCK = 16_384  # numbers that fit a processor's cache
_FAR = 6.4  # normal score up to which a series gives gamma quantiles
_SHAPES = 4.0, 1e5  # of gammas that it does so for


def season_shares(weights):
    """Share of the year's orders that each month has, from twelve weights, last axis months; ValueError for others. [-]

    Weights are zero or more, not all zero.

    >>> season_shares([1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 14]).tolist()[-1]
    0.56
    """
    weights = np.asarray(checked("season weights", weights, low=0.0))
    if weights.shape[-1:] != (MONTHS_IN_YEAR,) or not np.all(weights.sum(axis=-1) > 0):
        raise ValueError(f"season weights must be twelve, not all zero; got an array of shape {weights.shape}")
    return weights / weights.sum(axis=-1, keepdims=True)


def orders_at(uniform, mean, dispersion=0.0):
    """Whole orders of a month at a uniform number: the quantile of a Poisson or, clustered, a negative binomial count. [order/month]

    Parameters
    ----------
    uniform : array_like
        In [0, 1). [-]
    mean : array_like
        Orders expected, zero or more. [order/month]
    dispersion : array_like, optional
        Variance beyond the Poisson's, over the squared mean: the variance is mean + dispersion x mean². Zero is the Poisson. [-]

    Raises
    ------
    ValueError
        If an input is outside its range.

    Notes
    -----
    Months are independent: clusters within a month, not seasons, are what the dispersion is for.

    Examples
    --------
    >>> orders_at([0.1, 0.5, 0.9], 2.0), orders_at([0.1, 0.5, 0.9], 2.0, dispersion=1.0)
    (array([0., 2., 4.]), array([0., 1., 5.]))
    """
    given = (
        checked("uniform", uniform, low=0.0, high=np.nextafter(1.0, 0.0)),
        checked("orders", mean, low=0.0),
        checked("dispersion", dispersion, low=0.0),
    )
    shape = np.broadcast_shapes(*(np.shape(one) for one in given))
    u, m, d = (np.broadcast_to(one, shape).ravel() for one in given)
    none, orders = np.asarray(chance_of_none(m, d)), np.zeros(u.size)
    far = np.flatnonzero(none < 1e-290)  # so many orders that the sum below would start from nothing
    if far.size:
        size = 1.0 / np.maximum(d[far], 1e-9)
        orders[far] = scipy.stats.nbinom.ppf(u[far], size, size / (size + m[far]))
    near = np.flatnonzero((none >= 1e-290) & (u > none))
    for at in np.array_split(near, -(-near.size // _BLOCK) or 1):
        orders[at] = _counted(u[at], m[at], d[at], none[at])
    return orders.reshape(shape)[()]


def _counted(u, m, d, chance):
    """Orders at uniforms above the chance of none: a chance after the other, far quicker than a library's quantile."""
    orders, at, found, left, k = np.zeros(u.size), np.arange(u.size), np.zeros(u.size), np.ones(u.size, bool), 0
    below, ratio = chance.copy(), m / (1.0 + d * m)
    grows = ratio * d
    while at.size:
        chance = chance * (ratio + grows * k) / (k + 1.0)
        below, found, k = below + chance, found + left, k + 1
        # the sum may stay a rounding short of one
        left = left & (u > below) & ((chance > 1e-17) | (k < m))
        if 2 * np.count_nonzero(left) <= at.size:  # those that are there are put aside not each time, which takes longer
            orders[at] = found
            at, u, m, chance, below, ratio, grows, found = (a[left] for a in (at, u, m, chance, below, ratio, grows, found))
            left = np.ones(at.size, bool)
    return orders


def chance_of_none(mean, dispersion=0.0):
    """Chance that no order comes where so many are expected; arguments as in `orders_at`. [-]

    >>> round(float(chance_of_none(2.0)), 4), round(float(chance_of_none(2.0, 1.0)), 4)
    (0.1353, 0.3333)
    """
    mean, dispersion = checked("orders", mean, low=0.0), checked("dispersion", dispersion, low=0.0)
    size = 1.0 / np.maximum(dispersion, 1e-300)
    return np.where(
        np.asarray(dispersion) > 0, np.exp(-size * np.log1p(dispersion * np.asarray(mean))), np.exp(-np.asarray(mean))
    )[()]


def pieces_at(uniform, orders, mean_size, sd_size=0.0):
    """Pieces of so many orders together at a uniform number, when sizes of orders differ. [piece/month]

    Parameters
    ----------
    uniform : array_like
        In [0, 1); not used where sizes are all alike. [-]
    orders : array_like
        Whole, zero or more. [order/month]
    mean_size, sd_size : array_like
        Of the pieces in an order: mean, above zero, and standard deviation between orders. [piece/order]

    Raises
    ------
    ValueError
        If an input is outside its range.

    Notes
    -----
    Gamma with the mean and variance that the sum of as many independent sizes has, so that with Poisson orders the variance is
    the compound one, rate x (mean² + sd²). What comes out need not be whole.

    Examples
    --------
    >>> pieces_at(0.5, [0, 3], 4.0)
    array([ 0., 12.])
    """
    given = (
        checked("uniform", uniform, low=0.0, high=np.nextafter(1.0, 0.0)),
        checked("orders", orders, low=0.0),
        checked("pieces in an order", mean_size, above=0.0),
        checked("spread of the pieces in an order", sd_size, low=0.0),
    )
    uniform, orders, mean_size, sd_size = np.broadcast_arrays(*given)
    pieces, differ = orders * mean_size, (orders > 0) & (sd_size > 0)
    scale = sd_size[differ] ** 2 / mean_size[differ]
    # where all orders are whole, of one mean and spread, many months are of one shape
    alike = orders[differ] if np.size(given[2]) == np.size(given[3]) == 1 and not np.any(orders % 1.0) else None
    pieces[differ] = _gamma_at(uniform[differ], pieces[differ] / scale, alike) * scale
    return pieces[()]


def _gamma_at(uniform, shape, number):
    """Quantiles of standard gammas; those with an equal whole `number` share a shape, where it is not None."""
    found, score = np.full(uniform.shape, np.nan), special.ndtri(uniform) / _FAR
    for at in [] if number is None else _alike(number):
        if at.size and _SHAPES[0] <= shape[at[0]] <= _SHAPES[1]:
            line, near = _gamma_line(shape[at[0]]), at[np.abs(score[at]) < 1.0]
            found[near] = np.exp(chebyshev.chebval(score[near], line))
    at = np.flatnonzero(np.isnan(found))
    found[at] = special.gammaincinv(shape[at], uniform[at])
    return found


def _alike(number):
    """Places of equal whole numbers, together."""
    small = number.astype(np.min_scalar_type(int(number.max(initial=0))))  # which are sorted several times as fast
    counts = np.bincount(small)
    return np.split(np.argsort(small, kind="stable"), np.cumsum(counts[counts > 0])[:-1])


@lru_cache(maxsize=512)
def _gamma_line(shape):
    """Logarithm of a gamma quantile over normal scores, as a Chebyshev series: ten times as fast, a relative error below 2e-13."""

    def exact(score):
        tail = special.ndtr(-_FAR * np.abs(score))
        return np.log(np.where(score < 0, special.gammaincinv(shape, tail), special.gammainccinv(shape, tail)))

    return chebyshev.chebinterpolate(exact, 31 if shape < 20.0 else 23 if shape < 40.0 else 15)


def weeks_lost(risk, weeks, uniform=None):
    """Weeks of work that a rare event takes from each month: on average, or as a uniform number decides. [week/month]

    Parameters
    ----------
    risk : Risk
    weeks : array_like, shape (..., months)
        Worked in each month; a month cannot lose more. [week/month]
    uniform : array_like, shape (...), optional
        In [0, 1); below the chance of the event it comes, and where it lies there says in which month it starts. What goes
        on beyond December counts in January, of an event that came the year before. [-]

    Raises
    ------
    ValueError
        If an input is outside its range.
    """
    weeks, chance = np.asarray(weeks, float), np.asarray(checked_share("chance of a risk", risk.chance))
    takes = np.asarray(checked("weeks that a risk takes", risk.weeks, low=0.0, high=53.0))
    if uniform is None:
        whole = weeks.sum(axis=-1)
        share = np.where(whole > 0, chance * np.minimum(takes, whole) / np.where(whole > 0, whole, 1.0), 0.0)
        return share[..., None] * weeks
    months = weeks.shape[-1]
    start = _starts(chance, uniform, months)[..., None]
    left, lost, at = np.where(uniform < chance, takes, 0.0), 0.0, np.arange(months)
    for after in range(months):
        if after and not np.any(left):
            break
        here = at == (start + after) % months
        taken = np.minimum(left, np.sum(here * weeks, axis=-1))
        lost, left = lost + here * taken[..., None], left - taken
    return lost


def _starts(chance, uniform, months):
    """Index of the month in which a rare event that comes would start."""
    return np.floor(months * uniform / np.maximum(chance, 1e-300)).clip(max=months - 1)


def risk_cost_by_month(risk, months, uniform=None):
    """The same cost in the month in which the event starts, spread evenly on average; last axis months. [money/month]"""
    cost = np.asarray(risk_cost(risk, uniform))[..., None]
    if uniform is None:
        return cost / months * np.ones(months)
    return cost * (np.arange(months) == _starts(np.asarray(risk.chance), uniform, months)[..., None])


def risk_cost(risk, uniform=None):
    """What a rare event costs in a year; arguments as in `weeks_lost`. [money/year]"""
    chance = checked_share("chance of a risk", risk.chance)
    return (chance if uniform is None else np.less(uniform, chance)) * checked("cost of a risk", risk.cost, low=0.0)
