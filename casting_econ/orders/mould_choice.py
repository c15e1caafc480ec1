"""How many moulds pay for an order: what each number of them costs, and by when the order is there with it."""

from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from math import ceil

import numpy as np

from ..faults import refusal
from ..models.costs import mould_per_cast
from ..study import STUDY_FILE
from .buying import mould_uses, purchases
from .making import casting_rooms, early_loads, planner_with, taken_out
from .plan import OrderPlan

CHOICES = 8  # numbers of moulds that are looked at
TRIES = 128  # draws of a trial of another number
MOST_LOADS = 80  # that a plan with few moulds may take, where more of them are allowed


@dataclass(frozen=True, kw_only=True)
class MouldCost:
    """What the moulds of an order take, on average."""

    hours: float  # of hands, to make moulds and copies [hour]
    material: float  # bought for it, in packs [money]
    now: float  # that and the hours at the target: what must be paid before they serve [money]
    worn: float  # of all moulds by the casts of the order, hours at the target in it [money]


@lru_cache(maxsize=16)  # its price, its page and the choice among several ask for it
def mould_cost(plan: OrderPlan) -> MouldCost:
    """What an order's moulds cost, paid now and by what it wears."""
    planner, product = plan.planner, plan.planner.inputs.product(plan.order.product)
    target = float(planner.point_inputs.target_per_hour) / 60.0
    if product.mould is None:
        return MouldCost(hours=0.0, material=0.0, now=0.0, worn=0.0)
    making, material = plan.loads.making, sum(row.cost for row in purchases(planner, mould_uses(plan)))
    if making is None:
        hours = plan.moulds_to_make * float(np.mean(product.mould.minutes)) / 60.0
    else:
        draws, until = planner.draws, taken_out(planner) + 1
        each = draws.mould_steps[..., :2].sum(axis=1).T
        copying = (kind[:, :until].sum(axis=1) for kind in (draws.minutes, draws.load_minutes + draws.lot_minutes))
        minutes = [float(value.mean()) for value in (*each, *copying)]
        hours = sum(way.hands_on_hours(*minutes) for way in making.found)
    each, used = mould_per_cast(product)
    worn = float((plan.casts_by_draw.sum(axis=(1, 2)) * (each * target + used)).mean())  # as the prices carry it
    return MouldCost(hours=hours, material=float(material), now=float(material + hours * 60.0 * target), worn=worn)


@dataclass(frozen=True, kw_only=True)
class MouldChoice:
    """An order with so many moulds; its chance and date are from some of the draws."""

    plan: OrderPlan
    moulds: int  # in use, with those in hand [mould]
    cost: MouldCost
    hours: float  # of hands at the bench, on average: moulds, casting and finishing [hour]
    in_all: float  # materials of the moulds, and all those hours at the target [money]
    in_time: float  # [-]
    arrives: date | None  # that holds with the wanted certainty; None within the calendar

    @classmethod
    def of(cls, plan: OrderPlan) -> "MouldChoice":
        """The choice that a plan makes."""
        planner, cost, draws = plan.planner, mould_cost(plan), plan.planner.draws.part(TRIES)
        tried = planner.course(plan.order, plan.loads, draws)
        hours = cost.hours + float(plan.step_minutes.sum(axis=(1, 2)).mean()) / 60.0
        in_all = cost.material + hours * float(planner.point_inputs.target_per_hour)
        when = {"in_time": tried.in_time, "arrives": plan.arrives_in(tried)}
        return cls(plan=plan, moulds=planner.moulds.in_use, cost=cost, hours=hours, in_all=in_all, **when)


def with_moulds_chosen(plan: OrderPlan) -> OrderPlan:
    """The plan with as many moulds as pay: the cheapest number that holds the date, or else the one that is earliest.

    StudyError where there is neither a mould nor a master to make one from.
    """
    moulds, product = plan.planner.moulds, plan.order.product
    if moulds is None or not plan.casts:
        return plan
    if not moulds.in_hand + moulds.masters:
        column, right = f"products.{product}.mould.masters", "1 or more: a master is needed before a mould can be made"
        raise refusal(STUDY_FILE, "neither a mould nor a master in hand", right, column=column, found="0 and 0")
    choices = [_choice(plan, count) for count in _numbers(plan)]
    cheapest = sorted(choices, key=lambda one: (one.in_all, one.moulds))
    safe = (one for one in cheapest if one.in_time >= plan.order.confidence and one.plan.meets_date)
    dated = [one for one in cheapest if one.arrives]
    best = next(safe, None) or min(dated or cheapest, key=_lateness)
    return replace(best.plan, choices=tuple(choices))


def _choice(plan, count):
    """The order with so many moulds; where it is late so, with casting in those that are there while others are made, if that is earlier."""
    planner = planner_with(plan.planner, count)
    found = MouldChoice.of(OrderPlan(planner=planner, order=plan.order))
    early = () if plan.tops_up or found.in_time >= plan.order.confidence else early_loads(planner)
    if not early:
        return found
    return min(found, MouldChoice.of(OrderPlan(planner=planner_with(planner, count, early), order=plan.order)), key=_lateness)


def _lateness(one):
    """By which the earlier choice, or else the surer one, comes first."""
    return one.arrives or date.max, -one.in_time


def _numbers(plan):
    """Numbers of moulds worth a look: from those in hand, or few, to what all stations take while as many are emptied."""
    planner, moulds = plan.planner, plan.planner.moulds
    rooms = casting_rooms(planner)
    few = max(moulds.in_hand, ceil(plan.order.set_of / moulds.cavities), ceil(plan.casts / (MOST_LOADS * moulds.cavities)))
    many = max(few, min(moulds.fills(plan.casts), 2 * sum(map(moulds.fills, rooms))))
    found = np.geomspace(max(few, 1), max(many, 1), min(CHOICES, many - few + 1)).round().astype(int).tolist()
    return sorted({*found, min(max(moulds.fills(max(rooms)), few, 1), max(many, 1))})
