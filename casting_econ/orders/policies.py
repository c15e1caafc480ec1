"""All at once, or count and then top up: both plans side by side, and which to take."""

from datetime import date

import pandas as pd

from ..formatting import Format
from ..pages.table import shown
from .mould_choice import ALIKE
from .plan import OrderPlan
from .price import price_of
from .spec import AT_ONCE, TOP_UP
from .tables import day


def advised(plan: OrderPlan) -> str:
    """The way that holds the date with the wanted certainty; of two that do, or of two as early, the cheaper; if in doubt, all at once.

    Where nothing is left to cast, the way that it was cast.
    """
    if plan.order.closed:
        return plan.order.policy or AT_ONCE
    once, topped = plan.policies.values()
    if once.meets_date != topped.meets_date:
        return AT_ONCE if once.meets_date else TOP_UP
    if not once.meets_date and once.arrives != topped.arrives:
        return min((once.arrives or date.max, AT_ONCE), (topped.arrives or date.max, TOP_UP))[1]
    return TOP_UP if cost_of(topped) < (1 - ALIKE) * cost_of(once) else AT_ONCE


def cost_of(plan: OrderPlan) -> float:
    """Price that pays the bills of a plan, and the target for its own hours. [money]"""
    return price_of(plan).extra_cost


@shown(
    "order-policies",
    "Ways of casting; later rounds and loads that follow are in it on average, and for the wanted certainty",
    "way: text; casts now: 0; cost: money; in time: chance; date that holds: text; casts in all: 1; surely enough: 0; loads: 1; "
    "rounds: 1",
)
def policy_table(plan: OrderPlan, fmt: Format) -> pd.DataFrame:
    """Both ways of casting: casts and loads still to come, the chance of the date [-], and bills with the target for its hours [money]."""
    rows = []
    for name, one in plan.policies.items():
        counts = one.casts_in_all, one.casts_surely, one.loads_in_all, one.rounds_in_all
        rows.append((name, one.casts, cost_of(one), one.course.in_time, day(fmt, one.arrives), *counts))
    return rows


@shown(
    "order-top-up",
    "Casts by colour or form: all at once, or counting and topping up",
    "what: text; ordered: 0; all at once: 0; cast now: 0; casts in all: 1; in hand: 0; under way: 0",
)
def colour_table(plan: OrderPlan) -> pd.DataFrame:
    """By colour or form: pieces ordered, casts all at once, those to start now and on average in all where they are counted, and pieces in hand
    and under way."""
    once, topped = plan.policies.values()
    rows = []
    for name, row in zip(plan.order.items, _lots(plan), strict=True):
        casts = once.casts_by_item[name], topped.casts_by_item[name], topped.casts_of(name)
        rows.append((row["lot"], row["wanted"], *casts, row["in_hand"], row["under_way"]))
    return rows


def _lots(plan):
    """Each colour or form of the order as it stands and as the plan goes on."""
    order = plan.order
    return [
        {
            "lot": name or order.product,
            "wanted": wanted,
            "in_hand": order.in_hand.get(name, 0),
            "under_way": sum(order.started[name]),
            "short": order.short[name],
            "cast_now": plan.casts_by_item[name],
            "expected_casts": plan.casts_of(name),
        }
        for name, wanted in order.items.items()
    ]


def policy_results(plan: OrderPlan) -> dict:
    """The way of casting that the plan follows, the one advised, both in numbers, and the lots; for `order.json`."""
    both = {
        name: {
            "casts_now": one.casts,
            "expected_casts": one.casts_in_all,
            "casts_at_confidence": one.casts_surely,
            "expected_loads": one.loads_in_all,
            "expected_rounds": one.rounds_in_all,
            "chance_within_two_rounds": one.within_two,
            "chance_of_date": one.course.in_time,
            "honest_arrival": one.arrives,
            "cost": cost_of(one),
        }
        for name, one in plan.policies.items()
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


def way_words(plan: OrderPlan, fmt: Format) -> str:
    """That a number to start is that of all at once, where the other way is the one advised; else nothing."""
    if plan.tops_up or advised(plan) != TOP_UP:
        return ""
    once, topped = plan.policies.values()
    # alone: either cost would be read as a price to ask, and carries no share of the workshop
    less = cost_of(once) - cost_of(topped)
    why = f"{fmt.money(less)} cheaper" if less > 0 else "advised"
    return f' That is all at once; **counting, then topping up is {why}** (`policy = "{TOP_UP}"`).'


def policy_sentence(plan: OrderPlan, fmt: Format) -> str:
    """Which way of casting is advised, and why; nothing where all is in hand."""
    if plan.order.closed:
        return ""
    once, topped = plan.policies.values()
    best = advised(plan)
    saved = once.casts - topped.casts_in_all
    sure = fmt.sure(plan.order.confidence)
    average = fmt.count(round(topped.casts_in_all), "cast")
    if round(topped.casts_in_all) == once.casts and abs(saved) >= 0.05:  # of few casts the difference shows in tenths
        average = f"{fmt.number(topped.casts_in_all, 1)} casts"
    text = (
        f"Counting and topping up takes {average} on average, {fmt.number(topped.casts_surely)} for {sure}, "
        f"and ends within two rounds in {fmt.chance(topped.within_two)} of cases; all at once takes {fmt.number(once.casts)} for {sure}. "
    )
    chances = f"{fmt.chance(topped.course.in_time)} against {fmt.chance(once.course.in_time)}"
    costs_of = cost_of(topped), cost_of(once)
    costs = f"{' against '.join(map(fmt.money, costs_of))} with the target for its hours"
    text += f"In time: {chances}; cost: {costs}. **{best.capitalize()} is advised**"
    met = [one.meets_date for one in (once, topped)]
    if met[0] != met[1]:
        text += f", since only so the date holds with {sure}."
    elif best == TOP_UP and saved > 0:
        text += ": fewer casts, and the date holds as well." if all(met) else ": fewer casts, and none the later."
    elif best == TOP_UP:
        text += ", as it costs less." if all(met) else ", as it is earlier."
    elif abs(costs_of[0] - costs_of[1]) < 0.005 and once.arrives == topped.arrives:
        text += ": both come to the same."
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
