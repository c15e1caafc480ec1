"""How long things last, from those that failed and those still going."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy
from scipy import optimize

from ..models.checks import checked
from ..models.moulds import mean_to_scale

__all__ = ["WeibullFit", "kaplan_meier", "remaining", "weibull_fit"]


def _lives(times, events):
    """Times and whether each ended in a failure, as arrays of one shape, checked."""
    times, events = np.broadcast_arrays(np.atleast_1d(np.asarray(times, float)), np.asarray(events))
    if times.ndim != 1 or not np.all(np.isin(events, (0, 1))):
        raise ValueError("lives need one row of times, and events that are true (failed) or false (still good)")
    return times, events.astype(bool)


def kaplan_meier(times, events, level=0.8):
    """Share still good at each age, without assuming a law of wear.

    Parameters
    ----------
    times : array_like, shape (n_items,)
        Casts at failure, or so far. [cast]
    events : array_like of bool, shape (n_items,)
        True where the item failed, false where it was still good when last seen.
    level : float, optional
        Level of the band. [-]

    Returns
    -------
    DataFrame
        Index `time`: ages at which something failed or was last seen. Columns `at_risk`, `events` [item], `survival`
        just after, its Greenwood standard `error`, and the log-log band `lower`, `upper`. [-] The band is 1 before the
        first failure, and it and the error are nan once none is left.

    Raises
    ------
    ValueError
        If a time is below zero or not finite, or an event is neither true nor false.

    Notes
    -----
    An item last seen at the age of a failure counts as at risk there.

    References
    ----------
    .. [1] Kaplan & Meier, *J. Am. Stat. Assoc.* 53 (1958) 457-481.
    .. [2] Kalbfleisch & Prentice, *The Statistical Analysis of Failure Time Data*, 2nd ed., 2002, section 1.4.

    Examples
    --------
    >>> kaplan_meier([10, 20, 20, 30], [True, True, False, True]).survival.tolist()
    [0.75, 0.5, 0.0]
    """
    times, events = _lives(times, events)
    if times.size:
        checked("times", times, low=0.0)
    ages, at = np.unique(times, return_inverse=True)
    ended = np.bincount(at, minlength=ages.size)
    failed = np.bincount(at, weights=events, minlength=ages.size)
    at_risk = times.size - np.concatenate([[0], np.cumsum(ended)[:-1]]) if ages.size else ended
    with np.errstate(divide="ignore", invalid="ignore"):
        survival = np.cumprod(1.0 - failed / at_risk)
        greenwood = np.sqrt(np.cumsum(failed / (at_risk * (at_risk - failed))))
        reach = scipy.stats.norm.isf((1.0 - level) / 2.0) * greenwood / np.log(survival)
        band = [np.where(survival == 1.0, 1.0, survival ** np.exp(sign * reach)) for sign in (-1.0, 1.0)]
        error = survival * greenwood
    return pd.DataFrame(
        {
            "at_risk": at_risk,
            "events": failed.astype(int),
            "survival": survival,
            "error": error,
            "lower": np.where(survival > 0.0, band[0], np.nan),
            "upper": np.where(survival > 0.0, band[1], np.nan),
        },
        index=pd.Index(ages, name="time"),
    )


@dataclass(frozen=True, kw_only=True)
class WeibullFit:
    """Likeliest Weibull law of lives, some of them still going."""

    shape: float  # [-] above 1 wears, 1 fails by chance only
    scale: float  # [cast] by which 63 % have failed
    mean_life: float  # [cast]
    log_likelihood: float  # natural logarithm, of lives in casts
    log_shape_error: float  # [-] standard error of ln shape, so about the relative one of the shape
    log_scale_error: float  # [-]
    failed: int
    items: int


def weibull_fit(times, events):
    """Maximum likelihood Weibull law of lives with right censoring.

    Parameters
    ----------
    times : array_like, shape (n_items,)
        Casts at failure, or so far; items not used yet (0 casts, still good) say nothing and are left out. [cast]
    events : array_like of bool, shape (n_items,)
        True where the item failed, false where it was still good when last seen.

    Returns
    -------
    WeibullFit

    Raises
    ------
    ValueError
        If none failed, only one did, all that failed did so at one age that no other passed, or a failure is at an age
        of zero.

    Notes
    -----
    The scale follows from the shape, and the shape is the one root of the profile score, which only rises.

    References
    ----------
    .. [1] Lawless, *Statistical Models and Methods for Lifetime Data*, 2nd ed., 2003, section 5.2.

    Examples
    --------
    >>> fit = weibull_fit([54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10, [True] * 10 + [False] * 10)
    >>> round(fit.shape, 4), round(fit.scale, 2)
    (1.7208, 606.53)
    """
    times, events = _lives(times, events)
    times, events = times[(times != 0.0) | events], events[(times != 0.0) | events]
    count = int(events.sum())
    if count == 0:
        raise ValueError("a law of lives needs failures; none has failed yet")
    if count == 1:
        raise ValueError("a law of lives needs at least two failures; only one has failed yet")
    logs = np.log(checked("times", times, above=0.0))
    longest = logs.max()
    logs = logs - longest  # powers of times over the longest cannot overflow
    mean = logs[events].mean()
    if mean > -1e-9:
        raise ValueError("a law of lives needs failures at different ages, or items that outlived them; all failed at one age")

    def score(shape):
        weights = np.exp(shape * logs)
        return weights @ logs / weights.sum() - mean - 1.0 / shape

    low = high = 1.0
    while score(low) > 0.0:
        low /= 2.0
    while score(high) < 0.0:
        high *= 2.0
    shape = optimize.brentq(score, low, high, xtol=1e-13, rtol=1e-13) if low < high else low
    log_scale = np.log(np.exp(shape * logs).sum() / count) / shape
    z = shape * (logs - log_scale)
    likelihood = np.sum(np.log(shape) + z[events] - logs[events] - longest) - np.sum(np.exp(z))
    # observed information for ln shape and ln scale
    across = -shape * np.sum(z * np.exp(z))
    information = np.array([[count + np.sum(z**2 * np.exp(z)), across], [across, shape**2 * count]])
    errors = np.sqrt(np.diag(np.linalg.inv(information)))
    scale = float(np.exp(log_scale + longest))
    return WeibullFit(
        shape=float(shape),
        scale=scale,
        mean_life=float(scale / mean_to_scale(1.0, float(shape))),
        log_likelihood=float(likelihood),
        log_shape_error=float(errors[0]),
        log_scale_error=float(errors[1]),
        failed=count,
        items=int(times.size),
    )


def remaining(shape, scale, age, ahead):
    """Chance of failing within the next casts, and casts left, of an item of some age that is still good.

    Parameters
    ----------
    shape : float or array_like
        Weibull shape. [-]
    scale : float or array_like
        Weibull scale. [cast]
    age : float or array_like
        Casts made so far. [cast]
    ahead : float or array_like
        Casts to come. [cast]

    Returns
    -------
    chance : float or ndarray
        Of failing within `ahead` more casts; inputs broadcast. [-]
    median : float or ndarray
        Casts left that half of such items reach. [cast]

    Raises
    ------
    ValueError
        If shape or scale is not above zero, or age or ahead is below zero.

    References
    ----------
    .. [1] Meeker & Escobar, *Statistical Methods for Reliability Data*, 1998, ch. 2 and 4 (conditional life).

    Examples
    --------
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
