"""What a mould costs each cast, when to replace it, and how many an order wears out."""

from collections import Counter
from math import ceil

import numpy as np
from scipy import special

from .checks import checked, checked_whole


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
    """Age at which replacing a mould costs least per cast, infinity when running to failure is as cheap [cast], and that cost [money/cast].

    Mean casts until worn out, and Weibull shape [cast, -]; cost of a replacement before, and at, failure [money]; `wear_cost` is the
    extra finishing and scrap a cast costs for each cast of age (linear) [money/cast²]. ValueError if one is outside its range.

    Minimises [planned S(a) + failure F(a) + wear x integral of t S(t)] / integral of S(t) over a grid refined around its least value.

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


def moulds_worn(loads, sets, life_casts, life_shape, age=0.0, replace_at=None):
    """Expected sets of moulds that an order wears out or has replaced, a fresh one taking the place of each. [set]

    ValueError if an input is outside its range.

    Parameters
    ----------
    loads, sets : int
        Loads, shared round over the sets in use, one or more; each gives every cavity of its set one cast. [load, set]
    life_casts, life_shape : float or array_like
        Mean casts until a set is worn out, and Weibull shape; the result has their shape. [cast, -]
    age : int or array_like, shape (sets,), optional
        Casts each set has given before; parts of a cast are rounded. [cast]
    replace_at : float, optional
        Age at which a set is replaced anyway, rounded up to whole casts; None or infinity runs it until worn out. [cast]

    Notes
    -----
    The renewal function M of the equation M(t) = F(t) + integral of M(t - x) dF(x), F the distribution of the life: Tijms, *A First
    Course in Stochastic Models*, 2003, ch. 8. The integral is summed over whole casts with the mean of M over each, its error
    falling with the square of 1 / mean life; where replacements are planned F and M jump, and the jumps are kept apart. A set of
    age a begins with the distribution of the life it has left.

    Examples
    --------
    >>> round(moulds_worn(70, 2, life_casts=35.0, life_shape=1.0), 3)  # no memory: casts / mean life
    2.0
    >>> round(moulds_worn(70, 2, life_casts=1e6, life_shape=2.5, age=[0, 30], replace_at=35), 3)  # each once
    2.0
    """
    loads, sets = checked_whole("loads", loads), checked_whole("sets of moulds", sets, low=1)
    mean, shape = np.broadcast_arrays(checked("mean life", life_casts, above=0.0), checked("life shape", life_shape, above=0.0))
    scale = mean_to_scale(mean, shape)
    never = replace_at is None or replace_at == np.inf
    ages = np.asarray(checked("age", age, low=0.0))
    limit = loads + ceil(ages.max()) + 1 if never else ceil(checked("replacement age", replace_at, above=0.0))
    if ages.shape not in ((), (sets,)):
        raise ValueError(f"age must be one number or one for each of {sets} sets; got shape {ages.shape}")
    each, more = divmod(loads, sets)

    def worn_by(casts, age):
        """Chance of being worn out within 0, 1, ... casts from this age on, where nothing is replaced."""
        ages = np.reshape(age + np.arange(casts + 1.0), (-1,) + (1,) * mean.ndim)
        return -np.expm1((age / scale) ** shape - (ages / scale) ** shape)

    most = each + (more > 0)
    worn = worn_by(most, 0)
    steps = np.diff(worn, axis=0)
    spared = 1.0 - worn[limit] if limit <= most else 0.0  # alive when its replacement is due
    worn_sets = np.zeros((most + 1, *mean.shape))  # M after 0, 1, ... casts
    before = np.zeros_like(worn_sets)  # M just before the replacements then due
    within = np.zeros((most, *mean.shape))  # its mean over each cast
    for i in range(1, most + 1):
        reach = min(i, limit)
        known = (within[i - reach : i - 1] * steps[1:reach][::-1]).sum(axis=0) + 0.5 * steps[0] * worn_sets[i - 1]
        renewed = 1.0 + spared * before[i - limit] if i > limit else worn[i]
        before[i] = (renewed + known) / (1.0 - 0.5 * steps[0])
        worn_sets[i] = before[i] + (spared ** (i // limit) if i % limit == 0 else 0.0)
        within[i - 1] = 0.5 * (worn_sets[i - 1] + before[i])
    total = np.zeros(mean.shape)
    shared = [(each + (i < more), round(a)) for i, a in enumerate(np.broadcast_to(ages, sets).tolist())]
    for (casts, old), count in Counter(shared).items():
        first, left = worn_by(casts, old), max(limit - old, 0)
        used = (within[max(casts - left, 0) : casts] * np.diff(first, axis=0)[:left][::-1]).sum(axis=0)
        used = used + (1.0 + (1.0 - first[left]) * worn_sets[casts - left] if left <= casts else first[casts])
        total = total + count * used * (casts > 0)  # what no load uses is not replaced
    return total[()] if mean.ndim else float(total)
