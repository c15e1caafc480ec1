"""The moulds of an order: what is said of them, and the table of how many pay where they are counted one by one."""

from itertools import groupby

import pandas as pd

from ..faults import counted
from ..formatting import Format
from ..pages.table import shown
from .making import casting_rooms, mean_age, room_in
from .mould_choice import ALIKE
from .plan import OrderPlan
from .price import mould_cost
from .tables import day


@shown(
    "order-moulds",
    "Numbers of moulds for this order: its full cost with all moulds paid now, the date, and what they take (of other numbers from fewer draws)",
    "moulds in use: 0; full cost: money; date that holds: text; in time: chance; to make: 0; generations: 0; loads now: 0; hours of moulds: 1; "
    "hours in all: 1; material of moulds: money",
)
def choice_table(plan: OrderPlan, fmt: Format) -> pd.DataFrame:
    """Numbers of moulds: full cost of the order [money], the date that each makes possible, chance of the date [-], generations, loads to pour now [load], hours of hands for moulds and in all [hour], and material of the moulds [money]."""
    rows = []
    for one in plan.choices:
        making = one.plan.loads.making
        told = one.moulds, one.full_cost, day(fmt, one.arrives), one.in_time
        counts = making.to_make, making.generations, one.plan.new_loads
        rows.append((*told, *counts, one.cost.hours, one.hours, one.cost.material))
    return rows


def ways_said(plan: OrderPlan, fmt: Format) -> str:
    """The generations in words: moulds poured over the masters, copies cast in them, moulds over these; nothing where none are made."""
    masters, parts = plan.planner.moulds.masters, []
    over = "the master" if masters == 1 else "the masters"
    for way in plan.loads.making.found:
        for one in way.rounds:
            if one.kind == "copies":
                parts.append(f"{fmt.count(one.count, 'cast')} for {counted(one.gained, 'copy', 'copies')}")
                over = "masters and copies" if masters > 1 else "master and copies" if masters else "the copies"
                continue
            small = "" if one.gained else f" of {counted(one.cavities, 'cavity', 'cavities')}"
            anew = " in place of worn ones" if way is plan.loads.making.found[-1] else ""
            parts.append(f"{fmt.count(one.count, 'mould')}{small} over {over}{anew}")
    runs = [(said, len(list(same))) for said, same in groupby(parts)]
    times = {1: "", 2: "twice "}
    return ", then ".join(times.get(often, f"{often} times ") + said for said, often in runs)


def moulds_sentence(plan: OrderPlan, fmt: Format) -> str:
    """Moulds for the date, worn out and to make, in sets or one by one as the study counts them."""
    mould = plan.planner.entry.mould
    if mould is None:
        return "The study has no moulds for this product, so none limit the order."
    if plan.planner.moulds is not None:
        return _one_by_one(plan, fmt)
    have, want = int(mould.sets.value), plan.sets_wanted
    text = f"In use: {fmt.count(have, 'set')}. "
    loads = round(plan.loads_in_all)
    if not loads:
        return text + "No load of this order is left to pour, so it asks for no more."
    if not (plan.meets_date or any(chance >= plan.order.confidence for _, chance, _ in plan.mould_choices)):
        text += f"No number of sets makes the date{f', {want} come nearest to it' if want > have else ''}; "
    elif want > have:
        text += f"**The date wants {fmt.count(want, 'set')}**, and "
    else:
        text += f"{fmt.count(want, 'set')} would do for the date, and "
    more, wear = " more" if plan.order.under_way else "", "wears" if loads == 1 else "wear"
    worn = f"which {wear} out {fmt.number(plan.sets_worn, 2)} sets on average"
    text += f"the order pours {fmt.count(loads, 'load')}{more}, {worn}. "
    make, age = plan.moulds_to_make, mean_age(plan.planner.kit.study, plan.order.product)
    text += f"**Make {fmt.count(make, 'set')}.**" if make else "None needs to be made for this order."
    if age is None:
        return text + " Without a moulds log they are taken as new."
    return text + f" The moulds in use have given {fmt.number(age)} casts a cavity on average."


def _one_by_one(plan, fmt):
    """Moulds in hand and to make, how, what they cost now and what the order wears of them, and what other numbers would do."""
    moulds, order = plan.planner.moulds, plan.order
    counts = (moulds.in_hand, "mould"), (moulds.masters, "master")
    there = ", ".join(fmt.count(count, word) if count else f"no {word}" for count, word in counts)
    if moulds.unlogged:
        there = f"at least {there}: so many filled the largest load of the batches log, and no row of the moulds log nor `in_hand` tells of any"
    text = f"In hand: {there}; a mould gives {fmt.count(moulds.cavities, 'cast')} at once{_in_pots(plan.planner, fmt)}. "
    if not plan.new_loads:
        return text + "No load of this order is left to pour, so it asks for no more."
    making, cost = plan.loads.making, mould_cost(plan)
    wears = "what is left of the order" if order.good else "the order"
    if making.to_make:
        waiting = sum(way.waiting_hours for way in making.found) / 24
        generations = making.generations
        text += (
            f"**Make {fmt.count(making.to_make, 'mould')}** in {fmt.count(generations, 'generation')}: {ways_said(plan, fmt)}. "
            f"That takes {fmt.number(cost.hours, 1)} hours of hands and at the least {fmt.number(waiting, 1)} days of curing. "
            f"It costs {fmt.money(cost.now)} now, {fmt.money(cost.material)} of it material and the rest hours at the target; "
            f"**{wears} wears {fmt.money(cost.worn)} of its moulds**, which is what its prices carry. "
        )
    else:
        text += f"None needs to be made: {wears} wears {fmt.money(cost.worn)} of them. "
    return text + _recommended(plan, order, fmt)


def _in_pots(planner, fmt):
    """How many moulds go whole into each station, where they leave places empty, and whether a full load leaves cavities empty."""
    cavities, said = planner.moulds.cavities, ""
    station = planner.point_product.steps[planner.first_wait].wait_in
    places = room_in(planner, station, 1)
    if any(room % cavities for room in places):
        fits = ", ".join(f"{fmt.number(room // cavities)} into {fmt.number(room)} places" for room in dict.fromkeys(places))
        said = f"; moulds go into the {station.replace('-', ' ')} whole, {fits}, and what is left of the places stays empty"
    full = casting_rooms(planner)
    if odd := [load for load in dict.fromkeys(full) if load % cavities]:
        said += "".join(
            f"; {fmt.number(load)} casts fill {fmt.count(planner.moulds.fills(load), 'mould')}, one in part" for load in odd
        )
    return said


def _recommended(plan, order, fmt):
    """Why so many moulds, and what the next ones below and above would do."""
    here = next((one for one in plan.choices if one.moulds == plan.planner.moulds.in_use), None)
    if here is None:
        return ""
    text, come, holds = fmt.count(here.moulds, "mould"), *(("comes", "holds") if here.moulds == 1 else ("come", "hold"))
    less = any(one.full_cost < here.full_cost and one.in_time >= order.confidence for one in plan.choices)
    near = f", within {fmt.percent(ALIKE)}" if less else ""
    text = f"**Of the numbers looked at, {text} in use {holds} the date at the least full cost{near}.**"
    if not plan.meets_date:
        text = (
            f"**None of the numbers of moulds looked at holds the date; {fmt.number(here.moulds)} in use {come} nearest to it.**"
        )
    at = plan.choices.index(here)
    for other in (*plan.choices[max(at - 1, 0) : at], *plan.choices[at + 1 : at + 2]):
        more = other.full_cost - here.full_cost
        word = "more" if more >= 0 else "less"
        text += f" With {fmt.number(other.moulds)} it would cost {fmt.money(abs(more))} {word} and the date that holds would be {day(fmt, other.arrives)}."
    return text


def mould_results(plan: OrderPlan) -> dict | None:
    """The moulds of an order for `order.json`; None where the study has none for it. [mould or set, hour, money]"""
    planner = plan.planner
    if planner.entry.mould is None:
        return None
    making, cost, choices = plan.loads.making, mould_cost(plan), []
    taken = {"hours": cost.hours, "material_now": cost.material, "cost_now": cost.now, "cost_worn": cost.worn}
    if making is None:
        choices = [{"moulds": n, "chance_of_date": p, "arrival": d} for n, p, d in plan.mould_choices]
        counts = {"counted_in": "sets", "in_hand": planner.mould_sets, "in_use": plan.sets_wanted, "worn": plan.sets_worn}
        return counts | {"to_make": plan.moulds_to_make, "generations": 0, "masters_copied": 0, **taken, "choices": choices}
    for one in plan.choices:
        each = {"to_make": one.plan.loads.making.to_make, "generations": one.plan.loads.making.generations}
        each |= {"loads": one.plan.new_loads, "hours": one.cost.hours, "hours_in_all": one.hours, "cost": one.full_cost}
        each |= {"cost_now": one.cost.now, "cost_worn": one.cost.worn, "chance_of_date": one.in_time}
        choices.append({"moulds": one.moulds, **each, "arrival": one.arrives})
    counts = {"counted_in": "moulds", "in_hand": planner.moulds.in_hand, "in_use": planner.moulds.in_use, "worn": making.worn}
    ways = {"to_make": making.to_make, "generations": making.generations, "masters_copied": making.total("copies", "gained")}
    return counts | ways | taken | {"choices": choices}
