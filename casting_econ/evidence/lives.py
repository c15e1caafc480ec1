"""How long things last, from those that failed and those still going."""

import numpy as np
import pandas as pd
import scipy
from scipy import optimize

from ..models.checks import checked


def _lives(times, events):
    """Times and whether each ended in a failure, as arrays of one shape, checked."""
    times, events = np.broadcast_arrays(np.atleast_1d(np.asarray(times, float)), np.asarray(events))
    if times.ndim != 1 or not np.all(np.isin(events, (0, 1))):
        raise ValueError("lives need one row of times, and events that are true (failed) or false (still good)")
    return times, events.astype(bool)


def kaplan_meier(times, events):
    """Share still good at each age, without assuming a law of wear: Kaplan & Meier, *J. Am. Stat. Assoc.* 53 (1958) 457-481.

    `times`, shape (n_items,), one or more, are casts at failure, or so far [cast]; `events` are true where the item failed, false where it
    was still good when last seen, and then counts as at risk at that age. Index `time`: ages at which something failed or was last seen
    [cast]; columns `events` and `still_good` [item], and `survival` just after [-]. ValueError if there is no item, a time is below zero
    or not finite, or an event is neither true nor false.

    >>> kaplan_meier([10, 20, 20, 30], [True, True, False, True]).survival.tolist()
    [0.75, 0.5, 0.0]
    """
    times, events = _lives(times, events)
    curve = scipy.stats.ecdf(scipy.stats.CensoredData.right_censored(checked("times", times, low=0.0), ~events)).sf
    counts = pd.DataFrame({"events": events, "still_good": ~events}).groupby(times).sum()
    return counts.assign(survival=curve.probabilities).rename_axis("time")


def weibull_fit(times, events):
    """Shape [-] and scale [cast] of the maximum likelihood Weibull law of lives with right censoring.

    `times` and `events`, shape (n_items,), are those of `kaplan_meier`; items not used yet (0 casts, still good) say nothing and are left
    out. A shape above 1 wears, 1 fails by chance only; the scale is the age by which 63 % have failed. None in place of both where no
    law can be told: fewer than two failed, or all that did at one age that no other passed. ValueError if a failure is at an age of
    zero, a time is not finite, or an event is neither true nor false.

    The scale follows from the shape, and the shape is the one root of the profile score, which only rises (Lawless, *Statistical Models
    and Methods for Lifetime Data*, 2nd ed., 2003, section 5.2). scipy's own fit searches both numbers at once and leaves the sixth digit
    open.

    >>> shape, scale = weibull_fit([54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10, [True] * 10 + [False] * 10)
    >>> round(shape, 4), round(scale, 2)
    (1.7208, 606.53)
    """
    times, events = _lives(times, events)
    times, events = times[(times != 0.0) | events], events[(times != 0.0) | events]
    count = int(events.sum())
    if count < 2:
        return None
    logs = np.log(checked("times", times, above=0.0))
    longest = logs.max()
    logs = logs - longest  # powers of times over the longest cannot overflow
    mean = logs[events].mean()
    if mean > -1e-9:
        return None

    def score(shape):
        weights = np.exp(shape * logs)
        return weights @ logs / weights.sum() - mean - 1.0 / shape

    low = high = 1.0
    while score(low) > 0.0:
        low /= 2.0
    while score(high) < 0.0:
        high *= 2.0
    shape = optimize.brentq(score, low, high, xtol=1e-13, rtol=1e-13) if low < high else low
    return float(shape), float(np.exp(np.log(np.exp(shape * logs).sum() / count) / shape + longest))


def remaining(shape, scale, age, ahead):
    """Chance that an item which is still good fails within the next casts [-], and casts left that half reach [cast].

    `shape` [-] and `scale` [cast] are those of the Weibull, above zero, `age` the casts made so far and `ahead` those to
    come, zero or more [cast]; all broadcast. ValueError outside these ranges. Meeker & Escobar, *Statistical Methods for
    Reliability Data*, 1998, ch. 2 and 4 (conditional life).

    >>> chance, median = remaining(1.0, 50.0, age=30.0, ahead=10.0)  # no memory: 1 - exp(-10/50), 50 ln 2
    >>> round(float(chance), 4), round(float(median), 3)
    (0.1813, 34.657)
    """
    shape, scale = checked("life shape", shape, above=0.0), checked("life scale", scale, above=0.0)
    age, ahead = checked("age", age, low=0.0), checked("casts ahead", ahead, low=0.0)
    age, ahead = np.asarray(age), np.asarray(ahead)
    with np.errstate(over="ignore", invalid="ignore"):
        used = (age / scale) ** shape
        chance = -np.expm1(used - ((age + ahead) / scale) ** shape)
        median = scale * (used + np.log(2.0)) ** (1.0 / np.asarray(shape)) - age
    # an age that no such item reaches: the next cast ends it
    chance, median = np.where(np.isinf(used), ahead > 0.0, chance), np.where(np.isinf(used), 0.0, median)
    return chance[()], (median + np.zeros_like(chance))[()]
