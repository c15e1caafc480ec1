"""The best mix of what can be sold, when it shares stations, racks and hands."""

from dataclasses import dataclass

import numpy as np
from scipy import optimize

from .checks import checked

__all__ = ["Mix", "best_mix"]


@dataclass(frozen=True, kw_only=True)
class Mix:
    """A linear programme's answer."""

    amounts: np.ndarray  # of each activity; shape (n,)
    contribution: float  # of all together [money]
    worth_of_resource: np.ndarray  # one more unit of each resource; shape (m,) [money/unit]
    worth_of_demand: np.ndarray  # one more of each activity's most; shape (n,) [money]
    cost_of_least: np.ndarray  # one more of each activity's least; shape (n,) [money]


def best_mix(contribution, use, capacity, most, least=0.0):
    """Amounts of activities that bring most within what the resources hold.

    Parameters
    ----------
    contribution : array_like, shape (n,)
        Of one unit of each activity. [money]
    use : array_like, shape (m, n)
        Of each resource by one unit of each activity, zero or more.
    capacity : array_like, shape (m,)
        Of each resource, zero or more.
    most : array_like, shape (n,)
        Of each activity that can be sold; infinity is no limit.
    least : array_like, shape (n,), optional
        Of each activity that must be done.

    Returns
    -------
    Mix

    Raises
    ------
    ValueError
        If an input is outside its range, the least asks more than a resource holds, or nothing limits an activity that pays.

    Notes
    -----
    Maximises contribution @ x subject to use @ x <= capacity and least <= x <= most, by HiGHS. The worths are the dual
    values: they hold for small changes, up to where something else becomes full.

    References
    ----------
    .. [1] Hillier & Lieberman, *Introduction to Operations Research*, ch. 3-4 and 6 (product mix, shadow prices).

    Examples
    --------
    >>> mix = best_mix([3.0, 5.0], [[1, 0], [0, 2], [3, 2]], [4.0, 12.0, 18.0], [np.inf, np.inf])
    >>> mix.amounts.round(6).tolist(), round(mix.contribution, 6), mix.worth_of_resource.round(6).tolist()
    ([2.0, 6.0], 36.0, [0.0, 1.5, 1.0])
    """
    gain = np.asarray(checked("contribution", contribution), float)
    use, capacity = (
        np.atleast_2d(np.asarray(checked("use", use, low=0.0), float)),
        np.asarray(checked("capacity", capacity, low=0.0)),
    )
    most = np.asarray(most, float)
    least = np.broadcast_to(np.asarray(checked("least", least, low=0.0), float), gain.shape)
    if np.isnan(most).any() or (most < least).any():
        raise ValueError("the most of an activity must not be below its least")
    over = use @ least - capacity
    if (over > 1e-9 * np.maximum(capacity, 1.0)).any():
        worst = int(np.argmax(over / np.maximum(capacity, 1e-12)))
        raise ValueError(
            f"least amounts must fit every resource; resource {worst} would need {use[worst] @ least:g} of {capacity[worst]:g}"
        )
    found = optimize.linprog(-gain, A_ub=use, b_ub=capacity, bounds=np.column_stack([least, most]), method="highs")
    if found.status == 3:
        raise ValueError("an activity that pays must be limited by a resource or by what can be sold")
    if not found.success:
        raise ValueError(f"the mix could not be worked out: {found.message}")
    return Mix(
        amounts=found.x,
        contribution=float(-found.fun),
        worth_of_resource=-found.ineqlin.marginals + 0.0,
        worth_of_demand=-found.upper.marginals + 0.0,
        cost_of_least=found.lower.marginals + 0.0,
    )
