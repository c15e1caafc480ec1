"""Orders as they come: their number a month about the season's mean, and their pieces; and weeks that rare events take.

Nothing here draws at random: what chance decides comes in as uniforms, so that Sobol points do as well as any other.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy
from numpy.polynomial import chebyshev, polynomial
from scipy import special

from .checks import checked, checked_share, share_of

MONTHS_IN_YEAR = 12
_BLOCK = 32_768  # numbers that fit a processor's cache
_FAR = 4.0  # normal score up to which a series gives gamma quantiles
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

    The `uniform` number is in [0, 1) [-], `mean` the orders expected, zero or more [order/month], and `dispersion` the variance beyond the
    Poisson's over the squared mean, zero or more: the variance is mean + dispersion x mean² [-]. They broadcast; ValueError outside these
    ranges. Months are independent: clusters within a month, not seasons, are what the dispersion is for.

    >>> orders_at([0.1, 0.5, 0.9], 2.0), orders_at([0.1, 0.5, 0.9], 2.0, dispersion=1.0)
    (array([0., 2., 4.]), array([0., 1., 5.]))
    """
    given = (
        checked("uniform", uniform, low=0.0, high=np.nextafter(1.0, 0.0)),
        checked("orders", mean, low=0.0),
        checked("dispersion", dispersion, low=0.0),
    )
    shape = np.broadcast_shapes(*(np.shape(one) for one in given))
    none, ratio = chance_of_none(*given[1:]), given[1] / (1.0 + given[1] * given[2])
    flat = (np.broadcast_to(one, shape).ravel() for one in (given[0], none, ratio, ratio * given[2]))
    blocks = zip(*(np.split(one, range(_BLOCK, one.size, _BLOCK)) for one in flat), strict=True)
    orders = np.concatenate([_counted(*block) for block in blocks]).reshape(shape)
    far = np.broadcast_to(none < 1e-290, shape)  # so many orders that the sum starts from nothing
    if far.any():
        u, m, d = (np.broadcast_to(one, shape)[far] for one in given)
        size = 1.0 / np.maximum(d, 1e-9)
        orders[far] = scipy.stats.nbinom.ppf(u, size, size / (size + m))
    return orders[()]


def _counted(u, none, ratio, grows):
    """Orders at uniforms, from the chance of none a chance after the other: far quicker than a library's quantile."""
    orders, rest, k = np.zeros(u.size), u - none, 0
    at = np.flatnonzero((rest > 0) & (none >= 1e-290))
    rest, chance, ratio, grows = (one[at] for one in (rest, none, ratio, grows))
    while at.size:
        start, found, left = k, np.zeros(at.size, np.int8), np.ones(at.size, bool)
        # those that are there are put aside not each time, which takes longer
        while 2 * np.count_nonzero(left) > at.size and k < start + 100:
            found += left.view(np.int8)
            chance *= (ratio + grows * k) * (1.0 / (k + 1))
            rest -= chance
            left, k = rest > 1e-15, k + 1
        orders[at] = start + found.astype(float)
        # the sum may stay a rounding short of one
        on = np.flatnonzero(left & ((chance > 1e-17) | (ratio + grows * k > k)))
        at, rest, chance, ratio, grows = (one[on] for one in (at, rest, chance, ratio, grows))
    return orders


def chance_of_none(mean, dispersion=0.0):
    """Chance that no order comes where so many are expected; arguments as in `orders_at`. [-]

    >>> round(float(chance_of_none(2.0)), 4), round(float(chance_of_none(2.0, 1.0)), 4)
    (0.1353, 0.3333)
    """
    mean, dispersion = checked("orders", mean, low=0.0), checked("dispersion", dispersion, low=0.0)
    size = 1.0 / np.maximum(dispersion, 1e-300)
    return np.exp(-np.where(np.asarray(dispersion) > 0, size * np.log1p(dispersion * np.asarray(mean)), mean))[()]


def pieces_at(uniform, orders, mean_size, sd_size=0.0):
    """Pieces of so many orders together at a uniform number, when sizes of orders differ. [piece/month]

    The `uniform` number is in [0, 1), and not used where sizes are all alike [-]; `orders` are whole, zero or more [order/month];
    `mean_size`, above zero, and `sd_size` are mean and standard deviation of the pieces in an order [piece/order]. They broadcast;
    ValueError outside these ranges.

    Gamma with the mean and variance that the sum of as many independent sizes has, so that with Poisson orders the variance is
    the compound one, rate x (mean² + sd²). What comes out need not be whole.

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
    pieces, differ, scale = orders * mean_size, (orders > 0) & (sd_size > 0), given[3] ** 2 / given[2]
    # where all orders are whole, of one mean and spread, many months are of one shape
    alike = orders[differ] if np.size(scale) == 1 and np.all(orders == np.floor(orders)) else None
    scale = np.ravel(scale) if np.size(scale) == 1 else np.broadcast_to(scale, orders.shape)[differ]
    pieces[differ] = _gamma_at(uniform[differ], pieces[differ] / scale, alike) * scale
    return pieces[()]


def _gamma_at(uniform, shape, number):
    """Quantiles of standard gammas; those with an equal whole `number` share a shape, where it is not None."""
    found, score = np.full(uniform.shape, np.nan), np.clip(special.ndtri(uniform) / _FAR, -1.0, 1.0)
    for at in [] if number is None else _alike(number):
        if at.size and _SHAPES[0] <= shape[at[0]] <= _SHAPES[1]:
            found[at] = polynomial.polyval(score[at], _gamma_line(shape[at[0]]))
    found = np.exp(found)
    at = np.flatnonzero(np.isnan(found) | (np.abs(score) >= 1.0))
    found[at] = special.gammaincinv(shape[at], uniform[at])
    return found


def _alike(number):
    """Places of equal whole numbers, together."""
    small = number.astype(np.min_scalar_type(int(number.max(initial=0))))  # which are sorted several times as fast
    counts = np.bincount(small)
    return np.split(np.argsort(small, kind="stable"), np.cumsum(counts[counts > 0])[:-1])


@lru_cache(maxsize=512)
def _gamma_line(shape):
    """Logarithm of a gamma quantile over normal scores, as a polynomial: ten times as fast, a relative error below 2e-13."""

    def exact(score):
        tail = special.ndtr(-_FAR * np.abs(score))
        return np.log(np.where(score < 0, special.gammaincinv(shape, tail), special.gammainccinv(shape, tail)))

    return chebyshev.cheb2poly(chebyshev.chebtrim(chebyshev.chebinterpolate(exact, 23 if shape < 20.0 else 13), 1e-14))


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What buyers ask of a year: by channel, then month. Values are floats or arrays."""

    orders: dict[str, list]  # [order/month]
    pieces: dict[str, list]  # [piece/month]
    usual: dict[str, Any]  # pieces by channel that are expected of the year [piece/year]


def _kept(work: Callable) -> Callable:
    """The same work, done once for inputs that are alike to the last bit: scenarios leave most channels as they are."""

    @lru_cache(maxsize=8)
    def done(*inputs):
        return work(*(np.frombuffer(data).reshape(shape) for data, shape in inputs))

    return lambda *inputs: done(*((one.tobytes(), one.shape) for one in (np.asarray(one, float) for one in inputs)))


@_kept
def _luck_of(orders, sizes, rate, share, clustering, size, spread):
    """Orders and pieces of a channel by month, at uniform numbers; `share` of a year's orders are expected each month."""
    number = orders_at(orders, rate[..., None] * share, clustering[..., None])
    return tuple(map(side_by_side, (number, pieces_at(sizes, number, size[..., None], (size * spread)[..., None]))))


def asked_for(a, orders) -> Asked:
    """What comes each month: as luck has it, else as expected. `orders` by channel are those of a year at its price. [order/year]"""
    luck, share, came, pieces, usual = a.months.luck, a.months.season * a.months.grown, {}, {}, {}
    for c in a.channels:
        rate, size = orders[c.name], checked("pieces per order", c.pieces_per_order, above=0.0)
        usual[c.name] = rate * size
        if luck is None:
            found = (side_by_side(np.asarray(one)[..., None] * share) for one in (rate, usual[c.name]))
        else:
            found = _luck_of(luck.orders[c.name], luck.sizes[c.name], rate, share, c.clustering, size, c.size_spread)
        came[c.name], pieces[c.name] = ([one[..., m][()] for m in range(share.size)] for one in found)
    return Asked(orders=came, pieces=pieces, usual=usual)


def side_by_side(numbers):
    """The same numbers, last axis months, each month's next to each other in memory: they are asked for month by month."""
    return np.moveaxis(np.ascontiguousarray(np.moveaxis(numbers, -1, 0)), 0, -1)


def weeks_lost(risk, weeks, uniform=None):
    """Weeks of work that a rare event takes from each month: on average, or as a uniform number decides. [week/month]

    `weeks`, shape (..., months), are worked in each month, which cannot lose more [week/month]; the `uniform` number, shape (...), is in
    [0, 1): below the chance of the event it comes, and where it lies there says in which month it starts [-]. What goes on beyond December
    counts in January, of an event that came the year before. ValueError if a number of the risk is outside its range.
    """
    weeks, chance = np.asarray(weeks, float), np.asarray(checked_share("chance of a risk", risk.chance))
    takes = np.asarray(checked("weeks that a risk takes", risk.weeks, low=0.0, high=53.0))
    if uniform is None:
        whole = weeks.sum(axis=-1)
        return np.asarray(share_of(chance * np.minimum(takes, whole), whole, 0.0))[..., None] * weeks
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
