"""Charts of an order."""

from datetime import timedelta

import matplotlib.dates as mdates
import numpy as np
import pandas as pd
from babel.dates import format_skeleton
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from ..charts import key, new_axes, over, says, ticks, wrapped
from ..formatting import Format
from ..models.schedule import DAY, NEVER
from ..palette import BLUE, GREEN, GREY, INK, ORANGE, SKY
from .plan import OrderPlan
from .spec import AT_ONCE
from .tables import load_numbers
from .timetable import steps_taken

READY = "#D9D9D9"  # colour of a load that waits for hands


def chance_chart(curve: pd.DataFrame, rules: pd.DataFrame, confidence: float, fmt: Format) -> Figure:
    """Chance of enough good pieces over casts, with the ways of choosing a number marked."""
    figure, axes = new_axes(3.8)
    axes.plot(curve.casts, curve.chance, color=BLUE, linewidth=2)
    axes.axhline(confidence, color=GREY, linewidth=1.2, linestyle="--", label=f"wanted: {fmt.sure(confidence)}")
    shown = rules[(rules.casts >= curve.casts.iloc[0]) & (rules.casts <= curve.casts.iloc[-1]) & (rules.chance > 0.005)]
    same = shown.groupby("casts", sort=True).agg(rule=("rule", " and ".join), chance=("chance", "max")).reset_index()
    for row, mark in zip(same.itertuples(), "s^DvP", strict=False):
        mark, colour, size = ("o", ORANGE, 9) if row.rule.endswith(("this plan", AT_ONCE)) else (mark, INK, 6)
        label = wrapped(f"{row.rule}: {fmt.number(row.casts)}", 44)
        axes.plot([row.casts], [row.chance], mark, color=colour, markersize=size, zorder=5, label=label)
    key(figure, columns=1)
    axes.set_ylim(-0.03, 1.06)
    axes.xaxis.set_major_locator(MaxNLocator(5, integer=True))
    axes.set_xlabel("casts started")
    axes.set_ylabel("chance of enough good pieces")
    ticks(axes.yaxis, fmt.percent)
    told = (f"{row.rule} {fmt.number(row.casts)} casts, {fmt.chance(row.chance)}" for row in same.itertuples())
    return says(figure, *told)


def calendar_chart(plan: OrderPlan, fmt: Format) -> Figure:
    """A typical course over the days: each load from pour to its last check, waits and hand work apart, and hours of hands a day."""
    course, order = plan.typical, plan.order
    segments, steps, opened = course.schedule.segments, list(steps_taken(plan)), course.opened
    shown = {s[0] for s in segments} | {plan.loads.promised + n for n in range(len(order.under_way))}
    loads = {load: number for load, number in load_numbers(plan).items() if load in shown}
    height = 1.4 + 0.17 * min(len(loads), 40)
    figure, (axes, hands) = new_axes(height + 1.3, rows=2, height_ratios=[height, 1.3])
    origin = mdates.date2num(opened.first)
    last = max([s[3] for s in segments] + [int(course.schedule.finish[0]) if course.schedule.finish[0] < NEVER else 0])
    due = opened.seconds(order.due) + DAY
    end = max(last, min(due, last + 21 * DAY)) / DAY + 1
    names = {}
    least = end / 150  # of a mark, that it can be seen

    def colour_of(stage):
        return ORANGE if stage in plan.casting_stages else GREEN if course.sands(stage) else BLUE

    def bar(place, begin, length, colour):
        axes.barh(place, length, left=origin + begin, height=0.62, color=colour, edgecolor="none")

    for place, (load, number) in enumerate(loads.items()):
        mine = [s for s in segments if s[0] == load]
        under_way = course.plan.under_way.get(load) if load >= plan.loads.promised else None
        begin = 0.0 if under_way else min(s[2] for s in mine) / DAY
        through = course.schedule.done[0, load]
        until = (through if through < NEVER else max((s[3] for s in mine), default=under_way[1] if under_way else 0)) / DAY
        bar(place, begin, until - begin, READY)
        waits = [(0, under_way[1])] if under_way else []
        waits += [(stop, ready) for other, _, _, stop, ready in steps if other == load and ready > stop]
        for start, stop in waits:
            bar(place, start / DAY, (stop - start) / DAY, SKY)
        for _, stage, start, stop in mine:
            bar(place, start / DAY, max((stop - start) / DAY, least), colour_of(stage))
        made = f" ({plan.loads.made[load].kind})" if load in plan.loads.made else ""
        kind = " (promised)" if load < plan.loads.promised else " (under way)" if under_way else made
        names[place] = f"{number}{kind}"
    step = max(1, len(loads) // 20)
    axes.set_yticks(list(names)[::step], [names[n] for n in list(names)[::step]])
    axes.invert_yaxis()
    axes.set_ylabel("load")
    if not loads:
        axes.set_title("no load is left to make")
    days = int(np.ceil(end))
    for n in range(days):
        if not opened.day_open(opened.first + timedelta(days=n)):
            for part in (axes, hands):
                part.axvspan(origin + n, origin + n + 1, color="#EDEDED", zorder=0, linewidth=0)
    totals = {colour: np.zeros(days) for colour in (ORANGE, BLUE, GREEN)}
    for n, _, stage, _, worked in course.by_day():
        totals[colour_of(stage)][n] += worked
    bottom = np.zeros(days)
    for colour, row in totals.items():
        hands.bar(origin + np.arange(days) + 0.5, row, width=0.8, bottom=bottom, color=colour, edgecolor="none")
        bottom += row
    hands.set(ylabel="hours a day", ylim=(0, max(1.0, 1.05 * bottom.max())))
    for part in (axes, hands):
        part.set_xlim(origin, origin + end)
        part.grid(visible=False, axis="y")
        if due / DAY <= end:
            part.axvline(origin + due / DAY, color=INK, linewidth=1.6)
    if due / DAY <= end:
        over(axes, "due", origin + due / DAY, weight="bold")
    axes.set_xticklabels([])
    weeks, few = mdates.WeekdayLocator(byweekday=0, interval=-(-days // 35)), mdates.DayLocator(interval=max(1, days // 5))
    for part in (hands, axes):
        part.xaxis.set_major_locator(weeks if days > 12 else few)
    ticks(hands.xaxis, lambda x: format_skeleton("MMMd", mdates.num2date(x), locale=fmt.locale))
    kinds = {ORANGE: "casting", SKY: "curing, drying, tumbling", READY: "lying ready", BLUE: "other work by hand"}
    kinds |= {GREEN: "sanding by hand"} if any(stage.sanding for stage in course.plan.stages) else {}
    key(figure, [Patch(color=colour, label=label) for colour, label in kinds.items()])
    hours = f"{fmt.number(np.sum([*totals.values()]), 1)} hours of hands, at most {fmt.number(bottom.max(), 1)} a day"
    return says(figure, f"{len(loads)} loads over {fmt.number(last / DAY, 0)} days", hours)


def date_chart(plan: OrderPlan, fmt: Format) -> Figure:
    """Chance of being packed by each day, against the day by which it must be."""
    course = plan.course
    by_time = np.argsort(course.schedule.finish, kind="stable")
    times, reached = course.schedule.finish[by_time], np.concatenate([[0.0], np.cumsum(course.weights[by_time])])
    known = times[times < NEVER]
    figure, axes = new_axes(3.2)
    origin = mdates.date2num(course.opened.first)
    days = np.arange(known.min() // DAY, min(known[int(0.995 * (known.size - 1))] // DAY, known.min() // DAY + 120) + 2)
    axes.step(origin + days, reached[np.searchsorted(known, days * DAY, side="left")], where="post", color=BLUE, linewidth=2)
    axes.axvline(origin + course.deadline / DAY, color=INK, linewidth=1.6)
    side = "right" if course.deadline / DAY > (days[0] + days[-1]) / 2 else "left"
    over(axes, "must be packed", origin + course.deadline / DAY, ha=side)
    wanted = fmt.sure(plan.order.confidence)
    axes.axhline(plan.order.confidence, color=GREY, linewidth=1.2, linestyle="--", label=f"wanted: {wanted}")
    key(figure)
    axes.set_ylim(-0.03, 1.05)
    axes.set_xlim(origin + min(days[0], course.deadline // DAY) - 1, origin + max(days[-1], course.deadline / DAY) + 1)
    axes.set_ylabel("chance of being packed")
    ticks(axes.yaxis, fmt.percent)
    low, high = axes.get_xlim()
    axes.xaxis.set_major_locator(mdates.DayLocator(interval=max(1, int(-(-(high - low) // 3)))))
    ticks(axes.xaxis, lambda x: format_skeleton("MMMd", mdates.num2date(x), locale=fmt.locale))
    return says(figure, f"packed in time: {fmt.chance(course.in_time)}", f"wanted {wanted}")
