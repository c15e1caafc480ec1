"""All at once, or count and then top up: both plans side by side, and which to take."""

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from ..formatting import Format
from ..pages.table import shown
from .plan import OrderPlan
from .price import price_of
from .spec import AT_ONCE, TOP_UP
from .tables import day

ALIKE = 0.01  # of a cost, within which the simpler way of casting is as good


@dataclass(frozen=True)
class Policy:
    """One way of casting an order, in numbers."""

    plan: OrderPlan

    @property
    def casts(self) -> float:
        """Casts still to start, those of later rounds too, on average. [cast]"""
        return float(self.plan.topped.total.mean()) if self.plan.tops_up else self.plan.casts

    @property
    def casts_surely(self) -> int:
        """Casts that are enough with the wanted certainty. [cast]"""
        return self.plan.topped.total_at(self.plan.order.confidence) if self.plan.tops_up else self.plan.casts

    @property
    def rounds(self) -> float:
        """Rounds still to cast, on average. [round]"""
        return float(self.plan.topped.rounds.mean()) if self.plan.tops_up else float(self.plan.casts > 0)

    @property
    def within_two(self) -> float:
        """Chance of enough within two rounds, or in the one. [-]"""
        return self.plan.topped.within(2) if self.plan.tops_up else self.plan.chance_of_enough

    @cached_property
    def cost(self) -> float:
        """Price that pays its bills, and the target for its own hours. [money]"""
        return price_of(self.plan).extra_cost

    def of_lot(self, item: str) -> float:
        """Casts of one colour or form still to start, on average. [cast]"""
        if not self.plan.tops_up:
            return self.plan.casts_by_item[item]
        return float(self.plan.topped.casts[..., list(self.plan.casts_by_item).index(item)].sum(axis=0).mean())


def compared(plan: OrderPlan) -> dict[str, Policy]:
    """Both ways of casting an order, on the same draws."""
    return {name: Policy(one) for name, one in plan.policies.items()}


def advised(plan: OrderPlan) -> str:
    """The way that holds the date with the wanted certainty; of two that do, or of two as early, the cheaper; if in doubt, all at once.

    Where nothing is left to cast, the way that it was cast.
    """
    if plan.order.closed:
        return plan.order.policy or AT_ONCE
    once, topped = compared(plan).values()
    if once.plan.meets_date != topped.plan.meets_date:
        return AT_ONCE if once.plan.meets_date else TOP_UP
    first, second = once.plan.arrives, topped.plan.arrives
    if not once.plan.meets_date and first != second:
        return TOP_UP if first is None or (second and second < first) else AT_ONCE
    return TOP_UP if topped.cost < (1 - ALIKE) * once.cost else AT_ONCE


@shown(
    "order-policies",
    "Ways of casting; the later rounds of topping up are in it on average, and for the wanted certainty",
    "way: text; casts now: 0; casts in all: 1; surely enough: 0; loads: 1; rounds: 1; in time: chance; date that holds: text; "
    "cost: money",
)
def policy_table(plan: OrderPlan, fmt: Format) -> pd.DataFrame:
    """Both ways of casting: casts and loads still to come, the chance of the date [-], and bills with the target for its hours [money]."""
    rows = []
    for name, one in compared(plan).items():
        counts = (one.plan.casts, one.casts, one.casts_surely, one.plan.loads_in_all, one.rounds)
        rows.append((name, *counts, one.plan.course.in_time, day(fmt, one.plan.arrives), one.cost))
    return rows


@shown(
    "order-top-up",
    "Counting and topping up, by colour or form",
    "what: text; ordered: 0; in hand: 0; under way: 0; cast now: 0; casts in all: 1; all at once: 0",
)
def colour_table(plan: OrderPlan) -> pd.DataFrame:
    """By colour or form: pieces ordered, in hand and under way, casts to start now and on average in all, and all at once."""
    once, topped = compared(plan).values()
    rows = []
    for name, row in zip(plan.order.items, _lots(plan), strict=True):
        stands = row["lot"], row["wanted"], row["in_hand"], row["under_way"]
        rows.append((*stands, topped.plan.casts_by_item[name], topped.of_lot(name), once.of_lot(name)))
    return rows


def _lots(plan):
    """Each colour or form of the order as it stands and as the plan goes on."""
    order, one = plan.order, Policy(plan)
    return [
        {
            "lot": name or order.product,
            "wanted": wanted,
            "in_hand": order.in_hand.get(name, 0),
            "under_way": sum(load.casts for load in order.under_way if load.variant == name),
            "short": order.short[name],
            "cast_now": plan.casts_by_item[name],
            "expected_casts": one.of_lot(name),
        }
        for name, wanted in order.items.items()
    ]


def policy_results(plan: OrderPlan) -> dict:
    """The way of casting that the plan follows, the one advised, both in numbers, and the lots; for `order.json`."""
    both = {
        name: {
            "casts_now": one.plan.casts,
            "expected_casts": one.casts,
            "casts_at_confidence": one.casts_surely,
            "expected_loads": one.plan.loads_in_all,
            "expected_rounds": one.rounds,
            "chance_within_two_rounds": one.within_two,
            "chance_of_date": one.plan.course.in_time,
            "honest_arrival": one.plan.arrives,
            "cost": one.cost,
        }
        for name, one in compared(plan).items()
    }
    return {"policy": plan.order.policy or AT_ONCE, "policy_advised": advised(plan), "policies": both, "lots": _lots(plan)}


def cast_now_sentence(plan: OrderPlan, fmt: Format) -> str:
    """What to cast now where the plan counts and tops up, by colour."""
    order, casts = plan.order, {name: count for name, count in plan.casts_by_item.items() if count}
    if not casts:
        return f"**Cast nothing until the {fmt.number(order.poured)} casts under way are counted**; then what is short."
    what = ", ".join(f"{fmt.number(count)} {name}".rstrip() for name, count in casts.items())
    loads = fmt.count(plan.new_loads, "load")
    return f"**Cast {what} now** ({fmt.number(plan.casts)} in {loads}), count what is good, and cast what is short."


def policy_sentence(plan: OrderPlan, fmt: Format) -> str:
    """Which way of casting is advised, and why; nothing where all is in hand."""
    if plan.order.closed:
        return ""
    once, topped = compared(plan).values()
    best = advised(plan)
    saved = once.casts - topped.casts
    sure = fmt.sure(plan.order.confidence)
    text = (
        f"Counting and topping up takes {fmt.count(round(topped.casts), 'cast')} on average, {fmt.number(topped.casts_surely)} for {sure}, "
        f"and ends within two rounds in {fmt.chance(topped.within_two)} of cases; all at once takes {fmt.number(once.casts)} for {sure}. "
    )
    chances = f"{fmt.chance(topped.plan.course.in_time)} against {fmt.chance(once.plan.course.in_time)}"
    costs = f"{fmt.money(topped.cost)} against {fmt.money(once.cost)} with the target for its hours"
    text += f"In time: {chances}; cost: {costs}. **{best.capitalize()} is advised**"
    met = [one.plan.meets_date for one in (once, topped)]
    if met[0] != met[1]:
        text += f", since only so the date holds with {sure}."
    elif best == TOP_UP and saved > 0:
        text += ": fewer casts, and the date holds as well." if all(met) else ": fewer casts, and none the later."
    elif best == TOP_UP:
        text += ", as it costs less." if all(met) else ", as it is earlier."
    else:
        text += (
            ", since counting first would not pay for the wait."
            if all(met)
            else ", as counting first would only be later or dearer."
        )
    if plan.order.policy is None:
        text += " The plan here is all at once, as no `policy` of the commission is stated"
        text += f'; `policy = "{best}"` there plans as advised.' if best != AT_ONCE else "."
    elif plan.order.policy != best:
        text += " The plan here is the other way, as the commission's `policy` says."
    return text
