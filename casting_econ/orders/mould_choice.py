"""How many moulds pay for an order: what it costs in full with each number of them, and by when it is there."""

from bisect import bisect
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

import numpy as np

from ..faults import refusal
from ..study import STUDY_FILE
from .making import casting_rooms, early_loads, planner_with
from .plan import OrderPlan
from .price import MouldCost, Quoted, mould_cost, price_of

CHOICES = 8  # numbers of moulds that are looked at in any case
LOOKED_AT = 40  # that may be
MOST_LOADS = 80  # that a plan with few moulds may take, where more of them are allowed
ALIKE = 0.01  # of a cost, within which the simpler plan is as good
SOONER = timedelta(days=7)  # that a customer would notice


@dataclass(frozen=True, kw_only=True)
class MouldChoice:
    """An order with so many moulds."""

    plan: OrderPlan
    moulds: int  # in use, with those in hand [mould]
    cost: MouldCost
    quoted: Quoted
    tried: bool  # whether its days are from some of the draws
    hours: float  # of hands at the bench, on average: moulds, casting and finishing [hour]
    in_time: float  # [-]
    arrives: date | None  # that holds with the wanted certainty; None within the calendar

    @classmethod
    def of(cls, plan: OrderPlan, days: str = "tried") -> "MouldChoice":
        """The choice that a plan makes."""
        course, cost = getattr(plan, days), mould_cost(plan)
        hours = cost.hours + float(plan.step_minutes.sum(axis=(1, 2)).mean()) / 60.0
        found = {"cost": cost, "quoted": price_of(plan, days), "tried": days == "tried", "hours": hours}
        return cls(plan=plan, moulds=plan.planner.moulds.in_use, in_time=course.in_time, arrives=plan.arrives_in(course), **found)

    @property
    def full_cost(self) -> float:
        """All that the maker pays for the order, every hour at the target, moulds by what is paid for them now. [money]"""
        return self.quoted.moulds_paid


def with_moulds_chosen(plan: OrderPlan) -> OrderPlan:
    """The plan with as many moulds as pay: the number that holds the date at the least full cost, or else the one that is earliest.

    StudyError where there is neither a mould nor a master to make one from.
    """
    moulds, product = plan.planner.moulds, plan.order.product
    if moulds is None or not plan.casts:
        return plan
    if not moulds.in_hand + moulds.masters:
        column, right = f"products.{product}.mould.masters", "1 or more: a master is needed before a mould can be made"
        raise refusal(STUDY_FILE, "neither a mould nor a master in hand", right, column=column, found="0 and 0")
    first, every = (_numbers(plan, most) for most in (CHOICES, LOOKED_AT))
    plans = {count: OrderPlan(planner=planner_with(plan.planner, count), order=plan.order) for count in sorted({*first, *every})}
    choices, bare, best, sure = {count: _choice(plans[count]) for count in first}, {}, None, plan.order.confidence
    while best is None or best.tried:  # what seems best, what may be better still, then the best on all draws
        best = _best(choices.values(), sure)
        if best.in_time >= sure and not bare:
            bare = {count: price_of(one, "none").moulds_paid for count, one in plans.items() if count not in choices}
        if more := _worth_a_look(best, choices, bare) if best.in_time >= sure else _beside(best, choices, plans):
            choices |= {count: _choice(plans[count]) for count in more}
            best = None
        elif best.tried:
            choices[best.moulds] = MouldChoice.of(best.plan, "course")
    vars(best.plan)["choices"] = tuple(one for _, one in sorted(choices.items()))  # in place: what is worked out of it is kept
    return best.plan


def _worth_a_look(best, choices, bare):
    """The number that would cost least, and less than the best, if the year laid no more on it than on those beside it that were looked at."""
    counts, found = sorted(choices), {}
    for count in bare.keys() - choices.keys():
        at = bisect(counts, count)
        found[count] = bare[count] + min(choices[beside].quoted.shared for beside in counts[max(at - 1, 0) : at + 1])
    return [count for count in found if found[count] < best.full_cost and found[count] == min(found.values())]


def _best(choices, confidence):
    """What holds the date at the least full cost; of several that cost about as much the fewest moulds, but none a week later than another."""
    cheapest = sorted(choices, key=lambda one: (one.full_cost, one.moulds))
    safe = [one for one in cheapest if one.in_time >= confidence]
    if not safe:
        return min([one for one in cheapest if one.arrives] or cheapest, key=_lateness)
    alike = [one for one in safe if one.full_cost - safe[0].full_cost <= ALIKE * abs(safe[0].full_cost)]
    soon = min(one.arrives for one in alike) + SOONER
    return min((one for one in alike if one.arrives < soon), key=lambda one: one.moulds)


def _beside(best, choices, plans):
    """Of the numbers between the best and those looked at below and above it the ones half-way."""
    counts, found = sorted(choices), set()
    at = counts.index(best.moulds)
    for other in counts[max(at - 1, 0) : at + 2]:
        low, high = sorted((best.moulds, other))
        between = [count for count in plans if low < count < high]
        found |= {*between[len(between) // 2 : len(between) // 2 + 1]}
    return found


def _choice(plan):
    """The order with so many moulds; where it is late so, with casting in those that are there while others are made, if that is earlier."""
    planner, found = plan.planner, MouldChoice.of(plan)
    early = () if plan.tops_up or found.in_time >= plan.order.confidence else early_loads(planner)
    if not early:
        return found
    return min(
        found, MouldChoice.of(OrderPlan(planner=planner_with(planner, found.moulds, early), order=plan.order)), key=_lateness
    )


def _lateness(one):
    """By which the earlier choice, or else the surer one, comes first."""
    return one.arrives or date.max, -one.in_time


def _numbers(plan, most):
    """Numbers of moulds worth a look: from those in hand, or few, to what all stations take while as many are emptied; what fills one or all too."""
    planner, moulds = plan.planner, plan.planner.moulds
    pots = list(map(moulds.fills, casting_rooms(planner)))
    few = max(moulds.in_hand, ceil(plan.order.set_of / moulds.cavities), ceil(plan.casts / (MOST_LOADS * moulds.cavities)), 1)
    many = max(few, min(moulds.fills(plan.casts), 2 * sum(pots)))
    found = range(few, many + 1) if many - few < most else np.geomspace(few, many, most).round().astype(int).tolist()
    return sorted({*found, *(min(max(count, few), many) for count in (max(pots), sum(pots)))})
