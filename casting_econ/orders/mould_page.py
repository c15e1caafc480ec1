"""The moulds of an order that counts them one by one: table, chart and sentences of how many pay."""

import matplotlib.dates as mdates
import pandas as pd
from babel.dates import format_skeleton
from matplotlib.figure import Figure

from ..charts import new_axes, ticks
from ..faults import counted
from ..formatting import Format
from ..pages.table import shown
from ..palette import BLUE, INK, ORANGE
from .mould_choice import mould_cost
from .plan import OrderPlan
from .tables import day

__all__ = ["choice_chart", "choice_table", "mould_results", "moulds_said", "ways_said"]


@shown(
    "order-moulds",
    "Numbers of moulds for this order: what they take, what it costs with all hours at the target, and the date (fewer draws)",
    "moulds in use: 0; to make: 0; generations: 0; loads: 0; hours of moulds: 1; hours in all: 1; material of moulds: money; "
    "cost: money; in time: chance; date that holds: text",
)
def choice_table(plan: OrderPlan, fmt: Format) -> pd.DataFrame:
    """Numbers of moulds: generations, loads [load], hours of hands for moulds and in all [hour], material of the moulds and that with all hours at the target [money], chance of the date [-], and the date that each makes possible."""
    rows = []
    for one in plan.choices:
        making, arrives = one.plan.loads.making, day(fmt, one.arrives)
        counts = one.moulds, making.to_make, making.total("generations"), one.plan.new_loads
        rows.append((*counts, one.cost.hours, one.hours, one.cost.material, one.in_all, one.in_time, arrives))
    return rows


def choice_chart(plan: OrderPlan, fmt: Format) -> Figure:
    """What each number of moulds costs, against the date that holds with it; the one of the plan and the date asked for are marked."""
    figure, axes = new_axes(3.6)
    dated = [one for one in plan.choices if one.arrives]
    days = [mdates.date2num(one.arrives) for one in dated]
    axes.plot(days, [one.in_all for one in dated], color="#BBBBBB", linewidth=1.2, zorder=1)
    for when, one in zip(days, dated, strict=True):
        mine = one.moulds == plan.planner.moulds.in_use
        axes.plot([when], [one.in_all], "o", color=ORANGE if mine else BLUE, markersize=9 if mine else 6, zorder=5)
        words = f"{fmt.number(one.moulds)} mould{'' if one.moulds == 1 else 's'}" if mine else fmt.number(one.moulds)
        axes.annotate(
            words, (when, one.in_all), xytext=(6, 5), textcoords="offset points", color=INK, weight="bold" if mine else None
        )
    due, spread = mdates.date2num(plan.order.due), (max(days) - min(days) if days else 0.0) or 7.0
    if days and due <= max(days) + 2 * spread:
        axes.axvline(due, color=INK, linewidth=1.6)
        place = {"xytext": (-4, -12), "textcoords": "offset points", "xycoords": ("data", "axes fraction"), "ha": "right"}
        axes.annotate("due", (due, 1.0), color=INK, **place)
    axes.set(xlabel="date that holds with the wanted certainty", ylabel=f"moulds and hours, {fmt.currency}")
    axes.margins(x=0.12, y=0.18)
    axes.xaxis.set_major_locator(mdates.AutoDateLocator(minticks=2, maxticks=5))
    ticks(axes.xaxis, lambda x: format_skeleton("MMMd", mdates.num2date(x), locale=fmt.locale))
    ticks(axes.yaxis, lambda y: fmt.money(y, 0))
    return figure


def _counted(fmt, count, word="mould"):
    return f"{fmt.number(count)} {word}{'' if count == 1 else 's'}"


def ways_said(plan: OrderPlan, fmt: Format) -> str:
    """The generations in words: moulds poured over the masters, copies cast in them, and so on; nothing where none are made."""
    making, parts = plan.loads.making, []
    for way in making.found:
        for one in way.rounds:
            if one.kind == "copies":
                what = f"{_counted(fmt, one.count, 'cast')} for {counted(one.gained, 'copy', 'copies')} of the masters"
            else:
                small = f" of {counted(one.cavities, 'cavity', 'cavities')}" if not one.gained else ""
                what = f"{_counted(fmt, one.count)}{small}{' in place of worn ones' if way is making.found[-1] else ''}"
            parts.append(what)
    return ", then ".join(parts)


def moulds_said(plan: OrderPlan, fmt: Format) -> str:
    """Moulds in hand and to make, how, what they cost now and what the order wears of them, and what other numbers would do."""
    moulds, order = plan.planner.moulds, plan.order
    masters = f"{_counted(fmt, moulds.masters, 'master')}; a mould gives {_counted(fmt, moulds.cavities, 'cast')} at once. "
    text = f"In hand: {_counted(fmt, moulds.in_hand) if moulds.in_hand else 'no mould'}, {masters}"
    if not plan.new_loads:
        return text + "No load of this order is left to pour, so it asks for no more."
    making, cost = plan.loads.making, mould_cost(plan)
    if making.to_make:
        waiting = sum(way.waiting_hours for way in making.found) / 24
        generations = making.total("generations")
        text += (
            f"**Make {_counted(fmt, making.to_make)}** in {_counted(fmt, generations, 'generation')}: {ways_said(plan, fmt)}. "
            f"That takes {fmt.number(cost.hours, 1)} hours of hands and at the least {fmt.number(waiting, 1)} days of curing. "
            f"It costs {fmt.money(cost.now)} now, {fmt.money(cost.material)} of it material and the rest hours at the target; "
            f"**the order wears {fmt.money(cost.worn)} of its moulds**, which is what its prices carry. "
        )
    else:
        text += f"None needs to be made for this order, which wears {fmt.money(cost.worn)} of them. "
    return text + _recommended(plan, order, fmt)


def _recommended(plan, order, fmt):
    """Why so many moulds, and what the next ones below and above would do."""
    here = next((one for one in plan.choices if one.moulds == plan.planner.moulds.in_use), None)
    if here is None:
        return ""
    meets = any(one.in_time >= order.confidence for one in plan.choices)
    text = f"**{_counted(fmt, here.moulds)} in use {'is the cheapest number that holds the date' if meets else 'comes nearest to the date, which no number holds'}**."
    at = plan.choices.index(here)
    for other in (*plan.choices[max(at - 1, 0) : at], *plan.choices[at + 1 : at + 2]):
        more = other.in_all - here.in_all
        word = "more" if more >= 0 else "less"
        text += f" With {fmt.number(other.moulds)} it would cost {fmt.money(abs(more))} {word} and the date that holds would be {day(fmt, other.arrives)}."
    return text


def mould_results(plan: OrderPlan) -> dict | None:
    """The moulds of an order for `order.json`; None where the study has none for it. [mould or set, hour, money]"""
    planner = plan.planner
    if planner.entry.mould is None:
        return None
    making, cost, choices = plan.loads.making, mould_cost(plan), []
    for one in plan.choices:
        taken = {"to_make": one.plan.loads.making.to_make, "generations": one.plan.loads.making.total("generations")}
        taken |= {"loads": one.plan.new_loads, "hours": one.cost.hours, "hours_in_all": one.hours, "cost": one.in_all}
        taken |= {"cost_now": one.cost.now, "cost_worn": one.cost.worn, "chance_of_date": one.in_time}
        choices.append({"moulds": one.moulds, **taken, "arrival": one.arrives and one.arrives.isoformat()})
    if making is None:
        rows = plan.mould_choices
        choices = [{"moulds": n, "chance_of_date": p, "arrival": d and d[1].isoformat()} for n, p, d in rows]
    return {
        "counted_in": "sets" if making is None else "moulds",
        "in_hand": planner.mould_sets if making is None else making.in_hand,
        "in_use": plan.sets_wanted if making is None else making.moulds,
        "to_make": plan.moulds_to_make if making is None else making.to_make,
        "generations": 0 if making is None else making.total("generations"),
        "masters_copied": 0 if making is None else making.total("copied"),
        "hours": cost.hours,
        "material_now": cost.material,
        "cost_now": cost.now,
        "cost_worn": cost.worn,
        "choices": choices,
    }
