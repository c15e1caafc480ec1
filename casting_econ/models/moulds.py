"""What a mould costs each cast, and when to replace it."""

import numpy as np
from scipy import special

from .checks import checked


def mean_to_scale(mean_life, shape):
    """Scale of the Weibull distribution with this mean [cast] and shape [-], both above zero or ValueError. [cast]

    Above a shape of 1 moulds wear; at 1 only chance ends them.

    >>> float(mean_to_scale(35.0, 1.0))
    35.0
    """
    shape = checked("life shape", shape, above=0.0)
    return checked("mean life", mean_life, above=0.0) / special.gamma(1.0 + 1.0 / shape)


def expected_casts(mean_life, shape=2.5, replace_at=None):
    """Casts a mould gives on average, E[min(T, replacement age)], with T Weibull of a mean [cast] and shape [-]. [cast]

    `replace_at` is the age at which it is replaced anyway; None runs it until worn out. [cast] All are above zero, else
    ValueError. By renewal reward the mould cost of a cast is the mould's cost over this number: Tijms, *A First Course in
    Stochastic Models*, 2003, ch. 2.

    >>> expected_casts(35.0), round(float(expected_casts(35.0, shape=1.0, replace_at=35.0)), 4)  # 35 (1 - 1/e)
    (35.0, 22.1242)
    """
    mean = checked("mean life", mean_life, above=0.0)
    if replace_at is None:
        return mean
    age, shape = checked("replacement age", replace_at, above=0.0), checked("life shape", shape, above=0.0)
    reached = (age / mean_to_scale(mean, shape)) ** shape
    return mean * special.gammainc(1.0 / shape, reached)


def cheapest_replacement_age(mean_life, shape, planned_cost, failure_cost, wear_cost=0.0):
    """Age at which replacing a mould costs least per cast, and that cost.

    Parameters
    ----------
    mean_life, shape : float
        Mean casts until worn out, and Weibull shape. [cast, -]
    planned_cost, failure_cost : float
        Cost of a replacement before, and at, failure. [money]
    wear_cost : float, optional
        Extra finishing and scrap a cast costs for each cast of age (linear). [money/cast²]

    Returns
    -------
    age, cost : float
        Age, or infinity when running to failure is as cheap [cast], and the long-run cost a cast at it [money/cast].

    Raises
    ------
    ValueError
        If an input is outside its range.

    Notes
    -----
    Minimises [planned S(a) + failure F(a) + wear x integral of t S(t)] / integral of S(t) over a
    grid refined around its least value.

    Examples
    --------
    >>> age, cost = cheapest_replacement_age(887.264, 2.5, planned_cost=1, failure_cost=5)
    >>> round(age), round(cost, 5)
    (493, 0.00346)
    """
    scale = mean_to_scale(mean_life, shape)
    planned = checked("planned cost", planned_cost, low=0.0)
    failure = checked("failure cost", failure_cost, low=0.0)
    wear = checked("wear cost", wear_cost, low=0.0)

    def rate(ages):
        reached = (ages / scale) ** shape
        survive = np.exp(-reached)
        mean_age = 0.5 * scale**2 * special.gamma(1 + 2 / shape) * special.gammainc(2 / shape, reached)
        spent = planned * survive + failure * (1 - survive) + wear * mean_age
        return spent / expected_casts(mean_life, shape, ages)

    low, high = 1e-4 * scale, 6.0 * scale
    for _ in range(4):
        ages = np.linspace(low, high, 4001)
        best = int(np.argmin(rate(ages)))
        low, high = ages[max(best - 1, 0)], ages[min(best + 1, 4000)]
    age = float(ages[best])
    at_failure = float(rate(np.array([12.0 * scale]))[0])
    cost = float(rate(np.array([age]))[0])
    return (np.inf, at_failure) if at_failure <= cost * (1 + 1e-9) else (age, cost)
