"""The best mix of what can be sold, when it shares stations, racks and hands."""

from dataclasses import dataclass

import numpy as np
import scipy

from .checks import checked

_NEAR = 1e-9  # share of a limit below which it counts as reached


@dataclass(frozen=True, kw_only=True)
class Mix:
    """A linear programme's answer; worths hold for small changes, up to where something else becomes full."""

    amounts: np.ndarray  # of each activity; shape (n,)
    contribution: float  # of all together [money]
    spare: np.ndarray  # of each resource; shape (m,) [unit]
    worth_of_resource: np.ndarray  # one more unit of each resource; shape (m,) [money/unit]
    worth_of_demand: np.ndarray  # one more of each activity's most; shape (n,) [money]
    reduced_cost: np.ndarray  # what a unit lacks before another is taken, infinite where none can be; shape (n,) [money]
    others_as_good: bool  # whether other amounts bring as much


def best_mix(contribution, use, capacity, most) -> Mix:
    """Amounts of activities that bring most within what the resources hold.

    ValueError if an input is outside its range, shapes do not agree, or nothing limits an activity that pays.

    Parameters
    ----------
    contribution : array_like, shape (n,)
        Of one unit of each activity. [money]
    use : array_like, shape (m, n)
        Of each resource by one unit of each activity, zero or more.
    capacity : array_like, shape (m,)
        Of each resource, zero or more.
    most : array_like, shape (n,)
        Of each activity that can be sold, zero or more, infinity being no limit.

    Notes
    -----
    Maximises contribution @ x subject to use @ x <= capacity and 0 <= x <= most, by HiGHS. Where more limits meet than
    there are activities (a degenerate answer) the solver's dual values are one set of many; the worth of one more is then the
    smallest, and what a unit lacks the largest, over all sets that are optimal. Hillier & Lieberman, *Introduction to Operations
    Research*, ch. 3-4 and 6 (product mix, shadow prices).

    Examples
    --------
    >>> mix = best_mix([3.0, 5.0], [[1, 0], [0, 2], [3, 2]], [4.0, 12.0, 18.0], [np.inf, np.inf])
    >>> mix.amounts.round(6).tolist(), round(mix.contribution, 6), mix.worth_of_resource.round(6).tolist()
    ([2.0, 6.0], 36.0, [0.0, 1.5, 1.0])
    """
    gain, use, capacity, most = _checked(contribution, use, capacity, most)
    bounds = np.column_stack([np.zeros_like(most), most])
    found = scipy.optimize.linprog(-gain, A_ub=use, b_ub=capacity, bounds=bounds, method="highs")
    if not found.success:
        raise ValueError(f"the mix could not be worked out: {found.message}")
    x, spare = np.clip(found.x, 0.0, most), capacity - use @ found.x
    reached = spare <= _NEAR * np.maximum(capacity, 1.0)
    at_most, at_none = (np.isclose(x, limit, rtol=_NEAR, atol=_NEAR) for limit in (most, 0.0))
    duals = -np.concatenate([found.ineqlin.marginals, found.upper.marginals, -found.lower.marginals]) + 0.0
    free = np.concatenate([reached, at_most, at_none])  # what may have a worth: limits that are reached
    low, high = (duals, duals) if free.sum() <= gain.size else _span(gain, use, free, duals)
    m, n = use.shape
    held = np.vstack([use, np.eye(n), np.eye(n)])[high > 1e-7 * max(np.abs(gain).max(), 1.0)]  # HiGHS's own tolerance
    return Mix(
        amounts=x,
        contribution=float(gain @ x),
        spare=np.where(reached, 0.0, spare),
        worth_of_resource=low[:m],
        worth_of_demand=low[m : m + n],
        reduced_cost=high[m + n :],
        others_as_good=bool(np.linalg.matrix_rank(held) < n),
    )


def _checked(contribution, use, capacity, most):
    """Inputs as arrays that agree and have an end."""
    gain = np.atleast_1d(np.asarray(checked("contribution", contribution), float))
    use = np.atleast_2d(np.asarray(checked("use", use, low=0.0), float))
    capacity = np.atleast_1d(np.asarray(checked("capacity", capacity, low=0.0), float))
    if use.shape != (capacity.size, gain.size):
        raise ValueError(f"use must have shape {(capacity.size, gain.size)}, resources by activities; got {use.shape}")
    try:
        most = np.broadcast_to(np.asarray(most, float), gain.shape)
    except ValueError as error:
        raise ValueError(f"most must be one number or {gain.size}, one for each activity") from error
    wrong = np.flatnonzero(~(most >= 0.0))  # refuses not-a-number too
    if wrong.size:
        raise ValueError(f"most must be at least 0; got {most[wrong[0]]:g} at index {wrong[0]}")
    endless = np.flatnonzero((gain > 0) & np.isinf(most) & ~(use > 0).any(axis=0))
    if endless.size:
        raise ValueError(
            f"an activity that pays must be limited by a resource or by what can be sold; got none at index {endless[0]}"
        )
    return gain, use, capacity, most


def _span(gain, use, free, duals):
    """Lowest and highest worth of every limit over all optimal dual values, those that complement the answer."""
    n = gain.size
    equal = np.hstack([use.T, np.eye(n), -np.eye(n)])
    bounds = np.column_stack([np.zeros(free.size), np.where(free, np.inf, 0.0)])
    low, high = duals.copy(), duals.copy()
    for at in np.flatnonzero(free):
        for sign, side in ((1.0, low), (-1.0, high)):
            aim = np.zeros(free.size)
            aim[at] = sign
            found = scipy.optimize.linprog(aim, A_eq=equal, b_eq=gain, bounds=bounds, method="highs")
            if found.status in (0, 3):  # 3: without end
                side[at] = found.x[at] if found.status == 0 else np.inf
    return low, high
