"""One function a table of a project, raw numbers written by the page; and its numbers for `project.json`."""

from collections import Counter
from math import nan

import pandas as pd

from ..assumptions import as_shown, label
from ..evidence import learning_table
from ..evidence.equipment import bought_as
from ..formatting import Format
from ..kit import format_of
from ..models.labour import practised_minutes
from ..orders.making import mean_age
from ..orders.spec import picked
from ..orders.tables import day
from ..pages.table import shown
from .account import BASES, DIGITS, Account, equipment
from .lessons import Lessons
from .logged import ORDERS, WEEKLY
from .project import Project

LIKELY = 0.5  # weight of learning against constant minutes, above which the curve is believed
KINDS = {ORDERS: "enquiry, packing and posting", WEEKLY: "weekly hours"}  # as the plan of an order calls them
# rows of the whole order, where those by step, check and material are folded
SHORT = (
    "good pieces; delivered; casts; loads; moulds made; days, first to last; hours in all; price, postage charged in it; "
    "fees, packing and postage; materials, parts and moulds used; overheads; equipment by use; pay an hour"
).split("; ")
TOLD = {  # what each basis means
    "by_use": "by use: its life's loads or hours that the order took, or else its part of the year",
    "by_time": "by time: straight line over the days of the order",
    "at_once": "all at once: all that it cost",
}


@shown(
    "project", "Planned and actual", "what: text; planned: figure; actual: figure; difference: figure; unit: text; remark: text"
)
def project_table(project: Project) -> pd.DataFrame:
    """The whole order in one table: pieces, loads, days, minutes and hours by step, what checks found, materials, money."""
    planned, actual, money = project.planned, project.actual, project.kit.study.currency
    found, account = [], actual or project.planned

    def beside(what, unit, before, after, remark=""):
        found.append((what, before, after, after - before, unit, remark))

    def row(what, unit, of, remark=""):
        values = [of(one) if one is not None else None for one in (planned, actual)]
        beside(what, unit, *(nan if value is None else float(value) for value in values), remark)

    row("good pieces", "piece", lambda a: a.pieces)
    row("delivered", "piece", lambda a: a.paid)
    row("casts", "cast", lambda a: a.casts)
    sizes = [round(a.casts / a.loads) for a in (planned, actual) if a is not None and a.loads]
    fuller = len(sizes) == 2 and max(sizes) > 1.25 * min(sizes)  # their number alone would look like so much more or less work
    row("loads", "load", lambda a: a.loads, "casts a load: {} planned, {} poured".format(*sizes) if fuller else "")
    row("moulds made", "mould" if project.plan.planner.moulds else "set", lambda a: a.moulds)
    row("days, first to last", "day", lambda a: a.days, "" if project.log.begun or not actual else "in no log: as planned")
    for step in planned.entering:
        remark = "in no log: as planned" if step in project.not_logged else ""
        row(f"{step}: a piece", "min", lambda a, step=step: a.minutes_each(step), remark)
        row(f"{step}: hours", "h", lambda a, step=step: a.hours.get(step, 0.0), remark)
    for kind in dict.fromkeys([*planned.hours, *account.hours]):
        if kind not in planned.entering:
            remark = "in no log: as planned" if kind in project.not_logged else "" if planned.hours.get(kind) else "not planned"
            row(KINDS.get(kind, kind), "h", lambda a, kind=kind: a.hours.get(kind, 0.0), remark)
    row("hours in all", "h", lambda a: a.total_hours)
    for step in planned.entering:
        if planned.lost[step] > 0.005 or account.lost.get(step, 0.0) > 0:
            row(f"{step}: lost at the check", "piece", lambda a, step=step: a.lost[step])
            row(f"{step}: what they had cost", money, lambda a, step=step: a.lost_money(project.wage)[step])
    buy = project.planned_purchases
    for item in project.items:
        remark = "" if item.bought > 0 else "nothing bought for it: at the price of the plan"
        if item.bought != item.bought:  # nan
            remark = f"bought by another unit than {item.unit or 'piece'}: at the price of the plan"
        used, bought, paid = (item.used, item.bought, item.paid) if actual else (nan, nan, nan)
        amount, cost = buy.get(item.item, (0.0, 0.0))
        beside(f"{item.item}: used", item.unit or "piece", item.planned, used)
        beside(f"{item.item}: bought", item.unit or "piece", amount, bought)
        beside(f"{item.item}: paid", money, cost, paid, remark)
    row("bought beside the plan", money, lambda a: a.other, ", ".join(project.bought_beside))
    row("price, postage charged in it", money, lambda a: a.gross)
    row("fees, packing and postage", money, lambda a: None if a.gross is None else a.gross - a.receipts)
    row("materials, parts and moulds used", money, lambda a: a.spent)
    row("overheads", money, lambda a: a.overhead)
    bought = {name: bought_as(project.log.study, name) for name in project.kit.study.file.equipment}
    remark = "; ".join(
        f"{' and '.join(map(repr, items))} of the purchases taken for {name}"
        for name, items in bought.items()
        if items and actual
    )
    row("equipment by use", money, lambda a: a.equipment("by_use"), remark)
    row("pay an hour", money, lambda a: a.pay(), "equipment by use")
    return [line for line in found if any(value == value and value != 0 for value in line[1:3])]


@shown(
    "project-pay",
    "Pay an hour on three bases",
    "equipment: text; charged: money; planned: money; actual: money",
)
def pay_table(project: Project) -> pd.DataFrame:
    """Equipment charged to the order [money] and pay an hour [money/hour] on each basis."""
    planned, actual = project.planned, project.actual
    rows = []
    for basis, told in TOLD.items():
        after = None if actual is None else actual.pay(basis)
        rows.append((told, (actual or planned).equipment(basis), planned.pay(basis), after))
    return rows


@shown("project-bridge", "From planned to actual pay an hour, by cause; the parts add up", "cause: text; money an hour: money")
def bridge_table(project: Project) -> pd.DataFrame:
    """Planned pay, the part of each cause, actual pay; exact in whole cents. [money/hour]"""
    return list(project.cents.items())


@shown("project-cost", "What a delivered piece really cost", "kind: text; planned: money; actual: money; difference: money")
def cost_table(project: Project) -> pd.DataFrame:
    """Cost of a delivered piece by kind, an hour at the target. [money/piece]"""
    kinds = {
        "materials": lambda a: sum(a.materials.values()) + a.other,
        "parts": lambda a: a.parts,
        "moulds": lambda a: a.mould_money,
        "your time at the target": lambda a: a.total_hours * project.wage,
        "fees, packing and postage": lambda a: 0.0 if a.gross is None else a.gross - a.receipts,
        "equipment by use": lambda a: a.equipment("by_use"),
        "overheads": lambda a: a.overhead,
    }
    accounts = [account if account is not None and account.paid > 0 else None for account in (project.planned, project.actual)]
    rows = [(kind, *(nan if a is None else float(of(a) / a.paid) for a in accounts)) for kind, of in kinds.items()]
    rows = [row for row in rows if any(abs(value) >= 0.005 for value in row[1:])]
    rows.append(("all of it", *(sum(row[n] for row in rows) for n in (1, 2))))
    return [(kind, before, after, after - before) for kind, before, after in rows]


@shown(
    "project-lessons",
    "What the order teaches the study",
    "number: text; unit: text; old: significant; measured: significant; new: significant; from: text; key: kept",
    fold=True,
)
def lesson_table(lessons: Lessons) -> pd.DataFrame:
    """Each number that the order measures: before it, by its rows alone, and from now on."""
    kit = lessons.project.kit
    rows = {(label(row.key, each=False), row.old, row.new): row for row in lessons.rows}  # a material once
    names, found, fmt = Counter(what for what, *_ in rows), [], format_of(kit)
    for (what, *_), row in rows.items():
        unit, factor = as_shown(row.key, row.unit, kit.study.currency)
        aside = row.beside.format(fmt.significant((row.middle or 0.0) * factor))
        data, name = f"{row.data}; {aside}" if aside else row.data, what if names[what] == 1 else label(row.key)
        found.append((name, unit, *(value * factor for value in (row.old, row.measured, row.new)), data, row.key))
    return found


@shown(
    "project-practice",
    "This time, and as many pieces again by the learning curve of the rows",
    "step: text; hours: 1; minutes a piece: 2; left after twice as many: percent; next time: 2",
    fold=True,
)
def practice_table(lessons: Lessons) -> pd.DataFrame:
    """Hours and minutes a piece of each step, and minutes the next time where the rows show learning. [hour, min/piece, -]"""
    project, account = lessons.project, lessons.project.actual
    curves = learning_table(lessons.counted_logs(project.log.study, parted=False))
    own = curves[curves["product"] == project.order.product].set_index("step") if len(curves) else curves
    before, found = project.kit.study.file.products[project.order.product].made_before.value, []
    for step, entering in account.entering.items() if account is not None else ():
        hours = project.log.hours.get(step, 0.0)
        if hours <= 0 or entering <= 0:
            continue
        minutes = nexts = hours * 60 / entering
        rate = None
        if step in own.index and own.weight[step] > LIKELY:
            fit = own.loc[step]
            rate, floor = float(fit.rate), float(fit.practised) if fit.floor_reached else 0.0
            curve = [practised_minutes(floor, fit["first"], rate, at, fit.pieces) for at in (before, before + fit.pieces)]
            nexts = minutes * float(curve[1] / curve[0])
        found.append((step, hours, minutes, rate, nexts))
    return found


@shown("project-kept", "What need not be bought again", "what: text; why: text; worth: money")
def kept_table(lessons: Lessons) -> pd.DataFrame:
    """Equipment, moulds and materials that are left, with what they are worth by their cost. [money]"""
    project, account = lessons.project, lessons.project.actual
    if account is None:
        return []
    rows = []
    for tool in account.tools:
        if tool.life_years:
            worn = equipment((tool,), "by_time", days=account.days or 0.0)
            rows.append((tool.name, f"serves {tool.life_years:.3g} years", tool.price - worn))
    for row in project.items:
        left = row.bought - row.used
        if left > 1e-9 * max(row.bought, 1.0):
            rows.append((row.item, f"{left:,.0f} {row.unit or 'left'} over", left * row.price))
    mould, planner = project.kit.study.file.products[project.order.product].mould, project.plan.planner
    if mould is not None and account.casts > 0:
        model = planner.point_product.mould
        mean, sets = float(model.life_casts), max(account.moulds, 0.0 if planner.moulds else float(mould.sets.value))
        cavities = planner.moulds.cavities if planner.moulds else planner.casts_per_load
        age = mean_age(project.kit.study, project.order.product) or account.casts / max(sets * cavities, 1.0)
        cost = account.mould_money or float(model.material_cost) * sets
        if sets and age < mean:
            rows.append(("moulds", f"about {mean - age:.0f} more casts a cavity", (1 - age / mean) * cost))
    return rows


@shown("project-again", "The same order again", "what: text; first plan: text; as it was: text; again: text")
def again_table(lessons: Lessons, fmt: Format) -> pd.DataFrame:
    """The first plan, what became of it, and the same order on what is known now, side by side; as written."""
    project = lessons.project
    plan, quoted = lessons.again
    first, actual = project.plan, project.actual
    price = project.order.price
    pay = [None if price is None else float(one.pay(price).mean()) for one in (project.quoted, quoted)]

    def told(write, *values):
        return ["–" if value is None else write(value) for value in values]

    return [
        ("casts", *told(fmt.number, project.planned.casts, actual and actual.casts, plan.casts_in_loads)),
        ("loads", *told(fmt.number, project.planned.loads, actual and actual.loads, plan.loads_in_all)),
        ("hours", *told(fmt.significant, project.quoted.hours.mean(), actual and actual.total_hours, quoted.hours.mean())),
        ("price that earns the target", *told(fmt.money, project.quoted.full_cost, None, quoted.full_cost)),
        ("such that eight in ten do", *told(fmt.money, project.quoted.at_chance(0.8), None, quoted.at_chance(0.8))),
        ("pay an hour at the old price", *told(fmt.money, pay[0], actual and actual.pay(), pay[1])),
        ("begun", *told(lambda when: day(fmt, when), first.order.start, project.log.begun, plan.order.start)),
        ("date that holds", *told(lambda when: day(fmt, when), first.arrives, project.log.ended, plan.arrives)),
    ]


def project_results(lessons: Lessons) -> dict:
    """Everything project.json holds, in the units of the tables; None stands for what is not known."""
    project = lessons.project
    order, log, actual, causes = project.order, project.log, project.actual, project.causes
    hours, stated, (plan, quoted) = project.counted_hours, log.stated_total, lessons.again
    if causes is not None:
        causes = causes | {"total": round(actual.pay(), DIGITS) - round(project.planned.pay(), DIGITS)}
    return {
        "order": picked(order, "name product pieces complete")
        | {
            "finished": order.finished,
            "plan_start": project.plan.order.start,
            "first_day": log.begun,
            "last_day": log.ended,
            "one_off": "included" if project.one_off_counts else "left out",
        },
        "planned": _account(project.planned, project.wage),
        "actual": None if actual is None else _account(actual, project.wage),
        "bridge": causes,
        "pay_per_hour": {basis: None if actual is None else actual.pay(basis) for basis in BASES},
        "hours": project.logged_hours | ({} if stated is None else {"stated_total": stated}),
        "hours_not_logged": project.not_logged,
        "materials": {row.item: picked(row, "unit planned used bought paid") for row in project.items},
        "against_wage": {
            "wage": project.wage,
            "outlay": project.outlay,
            "hours": hours,
            "per_piece": project.by_division(hours) if hours else None,
            "per_piece_with_stated_total": None if stated is None else project.by_division(stated),
        },
        "lessons": {row.key: picked(row, "unit old measured new") for row in lessons.rows},
        "again": {
            "casts": plan.casts_in_loads,
            "hours": float(quoted.hours.mean()),
            "full_cost": quoted.full_cost,
            "start": plan.order.start,
            "honest_arrival": plan.arrives,
        },
    }


def _account(account: Account, wage: float) -> dict:
    pay = account.pay()
    return picked(account, "pieces casts loads moulds days entering lost hours total_hours spent") | {
        "delivered": account.paid,
        "minutes_per_piece": {step: account.minutes_each(step) for step in account.entering},
        "lost_money": account.lost_money(wage),
        "price": account.gross,
        "received": account.receipts,
        "overheads": account.overhead,
        "equipment": {basis: account.equipment(basis) for basis in BASES},
        "pay_per_hour": None if pay is None else round(pay, DIGITS),
    }
