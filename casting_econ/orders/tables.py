"""One function a table of an order; raw numbers, written by the page."""

from datetime import timedelta
from math import ceil

import numpy as np
import pandas as pd
from babel.dates import format_skeleton, format_time

from ..faults import counted
from ..formatting import Format
from ..models.counts import loads_for
from ..models.schedule import DAY, NEVER
from ..pages.table import shown
from .buying import buying_list
from .plan import OrderPlan
from .price import Quoted
from .spec import AT_ONCE

CONFIDENCES = (0.80, 0.90, 0.95, 0.99)
DISCOUNTS = (0.05, 0.10, 0.20)
MARGIN = 0.25  # casts beyond the order that a by-feel plan adds: common practice, no source


def day(fmt: Format, when, *, year: bool = True) -> str:
    """A date with its weekday, as the study's locale writes it, in tables without its year."""
    return "not within the calendar" if when is None else format_skeleton("yMMMEd" if year else "MMMEd", when, locale=fmt.locale)


@shown(
    "order-confidence",
    "What other certainties would take",
    "confidence: sure; casts: 0; in time: chance; date that holds: text; enough good: chance; loads: 0",
)
def confidence_table(plan: OrderPlan, fmt: Format) -> pd.DataFrame:
    """What other confidences would ask for: casts, loads [load], chances [-]."""
    rows = []
    for confidence in sorted({*CONFIDENCES, plan.order.confidence}):
        other = plan if confidence == plan.order.confidence else plan.with_order(confidence=confidence)
        date = other.course.in_time, day(fmt, other.arrives)
        rows.append((confidence, other.casts, *date, other.chance_of_enough, other.new_loads))
    return rows


@shown("order-curve", "The curve in figures", "casts: 0; chance: chance", fold=True)
def curve_table(plan: OrderPlan) -> pd.DataFrame:
    """Chance of enough good pieces [-] by number of new casts."""
    low = max(sum(plan.order.needed.values()) * plan.order.matched - plan.order.poured, 0)
    high = max(ceil(1.12 * plan.casts), plan.casts + 4)
    casts = np.unique(np.linspace(low, high, 41).round().astype(int))
    return list(zip(casts, plan.curve(casts), strict=True))


@shown(
    "order-rules",
    "Ways of choosing the number of casts, and the chance of enough good pieces",
    "rule: text; casts: 0; loads: 0; chance: chance",
)
def rule_table(plan: OrderPlan) -> pd.DataFrame:
    """Ways of choosing the number of casts still to start, and the chance [-] that each gives."""
    planner, order, once = plan.planner, plan.order, plan.policies[AT_ONCE]
    wanted = [sets * order.set_of for sets in order.needed.values()]
    share = float(planner.point.good_share[0])
    rules = {
        "as many as are wanted": sum(wanted),
        "wanted ÷ yield": sum(ceil(n / share - 1e-9) for n in wanted),
        "a quarter more than wanted": sum(ceil(n * (1 + MARGIN) - 1e-9) for n in wanted),
    }
    rules = {rule: max(casts - order.poured, 0) for rule, casts in rules.items()}
    rules[AT_ONCE if plan.tops_up else "this plan"] = once.casts
    casts = list(rules.values())
    chances = [*once.curve(casts[:-1]), once.chance_of_enough]
    loads = [len(loads_for(n, planner.load_sizes)) for n in casts]
    return list(zip(rules, casts, loads, chances, strict=True))


def load_numbers(plan: OrderPlan) -> dict[int, int]:
    """Every load's number in tables, chart and `order.json`: those under way first, then by their pour in a typical course, then what it does not pour."""
    poured = range(plan.loads.promised, plan.loads.promised + plan.loads.started)
    in_turn = sorted(range(plan.loads.planned), key=lambda load: -1 if load in poured else plan.pours.get(load, NEVER))
    return {load: number for number, load in enumerate(in_turn, 1)}


@shown(
    "order-loads",
    "Loads: poured and through in a typical course; when eight in ten of the courses that need them have them "
    "through; and the chance that the order is not complete before",
    "load: 0; kind: text; casts: 0; of which: text; poured: text; through: text; early: text; late: text; needed: chance",
)
def load_table(plan: OrderPlan, fmt: Format) -> pd.DataFrame:
    """When each load is poured and through, in a typical course and in eight of ten of the draws that need it.

    `needed` is the share of draws whose order is not complete before the load is through. [-]
    """
    typical, course, loads, opened = plan.typical, plan.course, plan.loads, plan.typical.opened

    def ending(moment):
        return day(fmt, opened.date_of(moment), year=False)

    order_ends = course.schedule.complete < NEVER  # else what is not through is beyond the calendar, not unneeded

    rows = []
    for load, number in load_numbers(plan).items():
        kind = "under way" if load < loads.new.start else f"round {loads.rounds[load]}" if plan.tops_up else "new"
        casts = int(loads.size[load])
        if load in loads.made:
            made = loads.made[load]
            kind = counted(made.count, "mould") if made.kind == "moulds" else "copies of the masters"
            casts = made.count if made.kind == "copies" else 0
        if load < loads.promised:
            product = loads.promised_products[load]
            kind = "promised before" if product == plan.order.product else f"promised before: {product}"
        pot = course.pot(load)
        kind += f", {pot}" if pot and pot not in plan.planner.kit.study.file.stations else ""  # one of several that differ
        parts = [f"{count} {name}" for name, count in zip(plan.order.items, loads.casts[load], strict=True) if name and count]
        parts = parts if load >= loads.promised else []  # what was promised before has no variants of this order
        some = loads.by_draw[:, load].any(axis=1) | (load in loads.made)  # a later round may have no such load
        cast = np.broadcast_to(some, len(course.weights))
        ends = np.where(cast, course.schedule.done[:, load], NEVER)
        through = np.sort(ends[ends < NEVER])
        early, late = (ending(through[int(q * through.size)]) if through.size else "–" for q in (0.1, 0.9))
        here = typical.schedule.done[0, load]
        missing = "complete before" if typical.schedule.complete[0] < NEVER else "not within the calendar"
        when = opened.moment(plan.pours[load]) if load in plan.pours else None
        at = "–" if when is None else f"{day(fmt, when.date(), year=False)}, {format_time(when, 'short', locale=fmt.locale)}"
        nothing = load >= loads.new.start and not loads.size[load]  # in the typical course, of a later round
        done = missing if here == NEVER else "–" if nothing else ending(here)
        needed = float(course.weights[cast & ((ends < NEVER) | ~order_ends)].sum())
        rows.append((number, kind, casts, ", ".join(parts), at, done, early, late, needed))
    return rows


@shown(
    "order-days",
    "Day by day in a typical course; hours are hands",
    "day: text; loads poured: text; hours: 1; sanding: 1; work: text",
    fold=True,
)
def day_table(plan: OrderPlan, fmt: Format) -> pd.DataFrame:
    """Every day from the start to the parcel in a typical course: loads poured, hours of hands and of sanding [hour], what is done, and days that are closed."""
    typical, opened, stages = plan.typical, plan.typical.opened, plan.stage_names
    worked = list(typical.by_day())
    by_day, numbers = {n: [] for n in range(max((n for n, *_ in worked), default=0) + 1)}, load_numbers(plan)
    for n, *part in worked:
        by_day[n].append(part)
    rows = []
    for n, parts in by_day.items():
        when, work = opened.first + timedelta(days=n), {}
        for _, stage, _, hours in parts:
            work[stage] = work.get(stage, 0.0) + hours
        poured = [str(numbers[load]) for load, stage, start, _ in parts if stage in plan.casting_stages and start >= n * DAY]
        closed = opened.closed.get(when, "")
        if not work and closed in ("", "day off") and not opened.day_open(when):
            continue
        what = ", ".join(f"{stages[s]} {fmt.number(h, 1)} h" for s, h in sorted(work.items()))
        total, sanded = sum((part[3] for part in parts), 0.0), plan.typical.sanding_by_day.get(n, 0.0)
        rows.append((day(fmt, when, year=False), ", ".join(poured), total, sanded, what or closed or "waiting"))
    return rows


@shown(
    "order-hours",
    "Hours of the order, all its loads cast and finished and those that follow where they fall short, with eight in ten draws between low and high",
    "what: text; hours: 1; low: 1; high: 1; share: percent",
)
def hours_table(plan: OrderPlan, quoted: Quoted) -> pd.DataFrame:
    """Hours of the order by step, the ones that no bench sees too, on average over the draws. [hour]"""
    by_step = plan.step_minutes.sum(axis=1) / 60
    parts = {name: by_step[:, k] for k, name in enumerate(plan.planner.entry.steps)} | {
        "what is in hand already": quoted.done_hours,
        "making moulds that wear out": quoted.bench_hours - quoted.done_hours - by_step.sum(axis=1),
        "enquiry, packing and posting": quoted.order_hours,
        "its share of the weekly hours": quoted.hidden_hours,
    }
    means = {name: hours.mean() for name, hours in parts.items() if hours.mean() > 1e-9}  # less is rounding
    total = sum(hours.mean() for hours in parts.values())
    rows = [(name, mean, *np.quantile(parts[name], [0.1, 0.9]), mean / total if total else 0.0) for name, mean in means.items()]
    return [*rows, ("all of it", total, *np.quantile(quoted.hours, [0.1, 0.9]), 1.0)]


@shown(
    "order-materials",
    "For all new loads in 95 of 100 draws, losses in it; stock is taken off, packs are the cheapest that cover it",
    "item: text; to buy: text; cost: money; needed: text; in stock: text; left over: text",
)
def material_table(plan: OrderPlan, fmt: Format) -> pd.DataFrame:
    """What to buy: amounts as they are written, and what it costs [money]."""
    rows = []
    for row in buying_list(plan):
        packs = " + ".join(f"{n} × {_amount(fmt, size, row.unit)}" for size, n in row.packs)
        if not packs:
            missing = max(row.needed - row.stock, 0.0)
            packs = f"{_amount(fmt, missing, row.unit)} (no packs in the study)" if missing > 1e-9 else "nothing, in stock"
        amounts = [_amount(fmt, value, row.unit) for value in (row.needed, row.stock, row.left)]
        if not row.unit and not row.priced:  # priced by the piece it goes into, in no amount of its own
            count = amounts[0].removesuffix(" pieces")
            amounts = [f"for {count} {row.goes_into}{'' if count == '1' else 's'}", "", ""]
            packs = amounts[0]
        rows.append((row.item.replace("-", " "), packs, row.cost, *amounts))
    return rows


_SHORT = {"gram": "g", "milliliter": "ml", "kilogram": "kg", "liter": "l", "ounce": "oz", "pound": "lb", "": "pieces"}


def _amount(fmt, value, unit):
    large = {"gram": "kg", "milliliter": "l"}.get(unit)
    if large and value >= 1000.0:
        return f"{fmt.number(value / 1000.0, 2)} {large}"
    return f"{fmt.number(value, 0 if value >= 10 or value == round(value) else 1)} {_SHORT.get(unit, unit)}"


@shown(
    "order-prices",
    "Prices, and what they pay for every hour, hidden ones too",
    "price: text; order: money; piece: money; pay an hour: money; chance of target: chance",
)
def price_table(plan: OrderPlan, quoted: Quoted) -> pd.DataFrame:
    """Prices of the order and a piece [money], what each pays an hour [money/hour], and its chance of the target [-]."""
    pieces = plan.order.pieces
    rows = [
        ("bills only: its hours earn nothing", quoted.bills_only),
        ("extra cost: bills, and the target for its own hours", quoted.extra_cost),
        ("full cost: every hour earns the target on average", quoted.full_cost),
        ("target pay in eight cases of ten", quoted.at_chance(0.8)),
        ("target pay in nineteen cases of twenty", quoted.at_chance(0.95)),
    ]
    if quoted.moulds_unworn > 0:
        rows.insert(3, ("full cost, with all moulds made for it paid now", quoted.moulds_paid))
    if plan.order.price is not None:
        rows.append(("the price of the order", plan.order.price))
    return [(name, price, price / pieces, quoted.pay(price).mean(), quoted.chance(price)) for name, price in rows]


@shown(
    "order-discounts",
    "What giving way on the asked price costs",
    "discount: percent; order: money; pay an hour: money; change: money; chance of target: chance; given away: money",
)
def discount_table(quoted: Quoted, price: float) -> pd.DataFrame:
    """What giving way on a price costs: price [money], pay [money/hour], chance [-], and what is given away [money]."""
    base = quoted.pay(price).mean()
    rows = []
    for share in (0.0, *DISCOUNTS):
        lower = price * (1 - share)
        pay = quoted.pay(lower).mean()
        rows.append((share, lower, pay, pay - base, quoted.chance(lower), (base - pay) * quoted.hours.mean()))
    return rows


@shown("order-options", "What a change of the plan does to the date", "change: text; in time: chance; date that holds: text")
def option_table(plan: OrderPlan, fmt: Format) -> pd.DataFrame:
    """What a change of the plan does to the chance of the date [-], and the date that it makes possible."""
    return [(what, chance, day(fmt, arrives)) for what, chance, arrives in plan.options]


@shown("order-start", "The chance of the date if the work starts later", "first day: text; days later: 0; in time: chance")
def start_table(plan: OrderPlan, fmt: Format) -> pd.DataFrame:
    """The chance of the date [-] when the work starts later, by one load at a time; the last safe start among them."""
    starts = plan.starts(plan.start_days)
    return [(day(fmt, begin), (begin - plan.order.start).days, in_time) for begin, in_time in starts.items()]
