"""How many casts to start first, and how many more if too few come out: the reject-allowance programme."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from .checks import checked, checked_whole
from .counts import full_loads, loads_for

_TIE = 1e-9  # of the money at stake: lots whose expected costs differ by less are equally cheap
_MOST_CASTS = 10_000  # a search that comes so far has casts that cost next to nothing


@dataclass(frozen=True, kw_only=True)
class LotPlan:
    """The cheapest lots, from the first to the last round."""

    expected_cost: float  # [money], of lots to come and of ending short, less what is left over brings
    first: tuple[int, ...]  # [cast], every first lot that is as cheap; 0 among them says that waiting a round loses nothing
    chance_met: float  # [-], that nothing is short at the end, always taking the smallest of the cheapest lots
    table: Mapping[tuple[int, int], tuple[float, tuple[int, ...]]]  # (rounds left, pieces needed): [money], [cast]


def cheapest_lots(
    needed: int,
    rounds: int,
    outcome: Callable[[int], np.ndarray],
    cost: Callable[[int], float],
    penalty: Callable[[int], float],
    leftover_value: float = 0.0,
) -> LotPlan:
    """Lots that cost least when rejects are seen only after each lot and time allows so many.

    ValueError if an input is outside its range, an outcome is no distribution, or more casts cost no more.

    Parameters
    ----------
    needed : int
        Good pieces wanted, one or more. [piece]
    rounds : int
        Lots that time allows one after another, one or more. [lot]
    outcome : callable
        From casts of a lot to the chance of 0, 1, ... good pieces among them, an array of one more entry than
        casts; lots are independent of one another. [cast] to [-]
    cost : callable
        From casts of a lot, one or more, to what starting it costs; each further cast must cost more than
        it can bring as a piece left over. [cast] to [money]
    penalty : callable
        From pieces short after the last lot, one or more, to what that costs, zero or more. [piece] to [money]
    leftover_value : float, optional
        What each good piece beyond the needed brings. [money/piece]

    Returns
    -------
    LotPlan
        The plan, and in its `table` what is cheapest in every later state.

    Notes
    -----
    Dynamic programme over rounds left r and pieces still needed k [1]_:

    V_r(k) = least over q of cost(q) + sum over good g < k of P_q(g) V_{r-1}(k - g) - leftover value x E (g - k)+,

    with V_r(0) = 0 and V_0(k) = penalty(k); starting nothing (q = 0) costs nothing.
    The search over q ends by itself. What a lot of q costs less what is left over of it never falls as q grows,
    since the left over grows by at most the good of the next cast; and what follows costs nothing or more,
    since no lot brings more than it costs. So once the first is above the cheapest found, no larger lot is cheaper.
    The share of good casts may be uncertain within `outcome`, but what one lot teaches about it
    is not carried to the next.

    References
    ----------
    .. [1] Hillier & Lieberman, *Introduction to Operations Research*, 5th ed., 1990, ch. 11 (reject allowances).

    Examples
    --------
    One good piece, half of all casts good, 300 a lot and 100 a cast, 1,600 if none is good after three lots:

    >>> from casting_econ.models import good_per_load
    >>> plan = cheapest_lots(1, 3, lambda q: good_per_load(q, 0.5), load_cost(300, 100, 99), lambda short: 1600 * short)
    >>> round(plan.expected_cost, 6), plan.first, plan.table[2, 1][1], plan.table[1, 1][1]
    (675.0, (2,), (2, 3), (3, 4))
    """
    needed, rounds = checked_whole("needed", needed, low=1), checked_whole("rounds", rounds, low=1)
    value = checked("leftover value", leftover_value, low=0.0)
    lot = cache(lambda casts: _lot(casts, needed, outcome, cost, value))
    later = np.array([0.0, *(checked("penalty", float(penalty(k)), low=0.0) for k in range(1, needed + 1))])
    met = np.array([1.0] + [0.0] * needed)
    table = {}
    for left in range(1, rounds + 1):
        totals, chances = [], []  # by casts started and pieces needed
        best = np.full(needed + 1, np.inf)
        for casts in range(_MOST_CASTS + 1):
            good, net = lot(casts)
            if casts and net[0] - lot(casts - 1)[1][0] <= _TIE * abs(net[0]):
                raise ValueError(f"one cast more than {casts - 1} must cost more than it can bring as a piece left over")
            if casts and np.all((net > best + _slack(best))[1:]):
                break
            totals.append(net + np.convolve(good, later)[: needed + 1])
            chances.append(np.convolve(good, met)[: needed + 1] + 1.0 - np.cumsum(good))
            best = np.minimum(best, totals[-1])
        else:
            raise ValueError(
                f"cheapest lots must be found within {_MOST_CASTS:,} casts; the casts cost too little beside the penalty"
            )
        near = np.array(totals) <= best + _slack(best)
        table |= {(left, k): (float(best[k]), tuple(np.flatnonzero(near[:, k]).tolist())) for k in range(1, needed + 1)}
        later, met = best, np.array(chances)[near.argmax(axis=0), np.arange(needed + 1)]
    expected, first = table[rounds, needed]
    return LotPlan(expected_cost=expected, first=first, chance_met=float(met[needed]), table=table)


def load_cost(setup: float, unit: float, casts_per_load: int | tuple[int, ...]) -> Callable[[int], float]:
    """Cost of a lot poured in loads, as a callable from casts to money: a set-up for every load begun, and each cast.

    `setup` is the cost of one load however full, zero or more [money/load], `unit` that of each cast, above zero
    [money/cast], and `casts_per_load` a full load, or full loads in turn [cast/load]. ValueError outside these ranges.

    >>> cost = load_cost(6.0, 1.5, casts_per_load=14)
    >>> cost(0), cost(14), cost(15)
    (0.0, 27.0, 34.5)
    """
    setup, unit = checked("set-up", setup, low=0.0), checked("unit cost", unit, above=0.0)
    sizes = full_loads(casts_per_load)

    def cost(casts):
        return setup * len(loads_for(casts, sizes)) + unit * casts

    return cost


def _lot(casts, needed, outcome, cost, value):
    """Chances of 0 to `needed` good of a lot, and its cost less what is left over brings, by pieces needed."""
    good = np.asarray(checked("chance of good pieces", outcome(casts) if casts else [1.0]))
    if good.shape != (casts + 1,) or good.min() < 0.0 or abs(good.sum() - 1.0) > 1e-9:
        raise ValueError(f"outcome of {casts} casts must be the chances of 0 to {casts} good pieces, which sum to 1")
    over = np.maximum(np.arange(casts + 1) - np.arange(needed + 1)[:, None], 0) @ good
    spent = checked(f"cost of {casts} casts", float(cost(casts)), low=0.0) if casts else 0.0
    return np.pad(good, (0, needed))[: needed + 1], spent - value * over


def _slack(money):
    return _TIE * np.abs(money)
