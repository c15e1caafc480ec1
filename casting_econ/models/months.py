"""Orders as they come: their number a month about the season's mean, their pieces, and stock carried from month to month.

Nothing here draws at random: what chance decides comes in as uniforms, so that Sobol points do as well as any other.
"""

from dataclasses import dataclass

import numpy as np
import scipy
from scipy import special

from .checks import checked

MONTHS_IN_YEAR = 12


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
    chance, orders, k = np.asarray(chance_of_none(m, d)), np.zeros(u.size), 0
    far = np.flatnonzero(chance < 1e-290)  # so many orders that the sum below would start from nothing
    size = 1.0 / np.maximum(d[far], 1e-9)
    orders[far] = scipy.stats.nbinom.ppf(u[far], size, size / (size + m[far]))
    at = np.flatnonzero((chance >= 1e-290) & (u > chance))
    u, m, d, chance = u[at], m[at], d[at], chance[at]
    below, ratio = chance.copy(), m / (1.0 + d * m)
    while at.size:  # a chance after the other, for those not there yet: far quicker than a library's quantile
        chance = chance * ratio * (1.0 + d * k) / (k + 1.0)
        below, k = below + chance, k + 1
        orders[at] = k
        # the sum may stay a rounding short of one
        left = (u > below) & ((chance > 1e-17) | (k < m))
        at, u, m, d, chance, below, ratio = (part[left] for part in (at, u, m, d, chance, below, ratio))
    return orders.reshape(shape)[()]


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
    Gamma with the mean and variance that the sum of as many independent sizes has, so that with Poisson orders the variance is the
    compound one, rate x (mean² + sd²). What comes out need not be whole.

    Examples
    --------
    >>> pieces_at(0.5, [0, 3], 4.0)
    array([ 0., 12.])
    """
    uniform, orders, mean_size, sd_size = np.broadcast_arrays(
        checked("uniform", uniform, low=0.0, high=np.nextafter(1.0, 0.0)),
        checked("orders", orders, low=0.0),
        checked("pieces in an order", mean_size, above=0.0),
        checked("spread of the pieces in an order", sd_size, low=0.0),
    )
    pieces, differ = orders * mean_size, (orders > 0) & (sd_size > 0)
    scale = sd_size[differ] ** 2 / mean_size[differ]
    pieces[differ] = special.gammaincinv(pieces[differ] / scale, uniform[differ]) * scale
    return pieces[()]


@dataclass(frozen=True, kw_only=True)
class Carried:
    """Pieces month by month, arrays with months last. [piece/month; stock: piece]"""

    made: np.ndarray
    sold: np.ndarray
    unmet: np.ndarray  # wanted, and neither on the shelf nor made in time; such orders are lost
    stock: np.ndarray  # on the shelf at the end of each month


def carried(wanted, capacity, cap=0.0, start=0.0, *, ahead=False):
    """What is made, sold and left on the shelf from month to month.

    Parameters
    ----------
    wanted : array_like, shape (..., months)
        Pieces asked for. [piece/month]
    capacity : array_like, broadcasts to `wanted`
        Good pieces that can be made; what a month does not use is gone. [piece/month]
    cap : array_like, broadcasts to one a row, optional
        Pieces that the shelf is filled up to, and no further. [piece]
    start : array_like, broadcasts to one a row, optional
        Pieces on the shelf at the start; more than `cap` is sold off, not topped up. [piece]
    ahead : bool, optional
        Whether a month's pieces must be made before its orders are known, as for a fair; else orders are made first, then the shelf is
        filled with what capacity is left.

    Raises
    ------
    ValueError
        If an input is below zero.

    Examples
    --------
    >>> found = carried([2.0, 9.0, 0.0], 5.0, cap=3.0)
    >>> found.made.tolist(), found.sold.tolist(), found.stock.tolist()
    ([5.0, 5.0, 3.0], [2.0, 8.0, 0.0], [3.0, 0.0, 3.0])
    """
    wanted = np.atleast_1d(checked("pieces wanted", wanted, low=0.0))
    capacity = np.asarray(checked("capacity", capacity, low=0.0))
    wanted, capacity = np.broadcast_arrays(wanted, capacity)
    cap, stock = checked("cap of the stock", cap, low=0.0), checked("stock at the start", start, low=0.0)
    rows: list[tuple] = []
    for month in range(wanted.shape[-1]):
        asked = wanted[..., month]
        room = cap - stock + (0.0 if ahead else asked)
        made = np.clip(room, 0.0, capacity[..., month])
        sold = np.minimum(asked, stock + made)
        stock = stock + made - sold
        rows.append(np.broadcast_arrays(made, sold, asked - sold, stock))
    found = (np.stack(kind, axis=-1) for kind in zip(*rows, strict=True))
    return Carried(**dict(zip(("made", "sold", "unmet", "stock"), found, strict=True)))
