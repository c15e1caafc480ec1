"""Sentences about a project, each written from its numbers."""

from ..formatting import Format
from ..kit import format_of
from .account import CAUSES
from .lessons import Lessons
from .logged import ONE_OFF
from .project import Project
from .tables import KINDS, practice_table

LEAST = 0.01  # share of the sum of parts by which a stated total may miss it without a word


def headline(project: Project, fmt: Format) -> str:
    """What it was, what an hour paid, and what was planned."""
    order, planned, actual = project.order, project.planned.pay(), project.actual
    what = f"**{fmt.count(order.pieces, 'piece')}{order.of_product}, order {order.name}**"
    if actual is None:
        pay = "No price is stated, so no pay an hour follows" if planned is None else f"Planned pay an hour: {fmt.money(planned)}"
        return f"{what}: nothing of it is logged, so there is only the plan. {pay}."
    state = "said to be over" if order.ended_short else "complete" if order.complete else "not complete yet"
    casts = fmt.count(actual.casts, "cast")
    casts = f"about {casts}, as planned, as no load of it is counted" if project.log.entering is None else casts
    text = f"{what}: {state}, {fmt.count(actual.pieces, 'good piece')} from {casts}"
    than = "ordered" if order.to_post else "delivered"
    text += f", {fmt.number(actual.pieces - actual.paid)} more than were {than}" if actual.pieces - actual.paid >= 0.5 else ""
    text += f", {fmt.number(order.pieces - actual.paid)} short" if actual.paid < order.pieces else ""
    pay = actual.pay()
    if pay is None:
        lacking = "No price is stated: give the `price` of the order" if actual.receipts is None else "No hours are known"
        return f"{text}. {lacking}, to see what an hour of it pays."
    side = "as planned" if planned is not None and round(pay, 2) == round(planned, 2) else ""
    if not side and planned is not None:
        side = f"{fmt.money(abs(pay - planned))} {'more' if pay > planned else 'less'} than the {fmt.money(planned)} planned"
    versus = "reaches" if pay >= project.wage else "does not reach"
    left = round(actual.paid - order.sold)
    rest = f" The {fmt.count(left, 'piece')} that no sale names yet {'counts' if left == 1 else 'count'} at what is left of its price."
    rest = _would(project, "", rest) if left > 0 and order.price is not None else ""
    paid = _would(project, "paid", "would pay")
    return f"{text}. **An hour of it {paid} {fmt.money(pay)}**{f', {side}' if side else ''}; that {versus} the target of {fmt.money(project.wage)}.{rest}"


def _would(project, paid, still_to):
    """What is said of an order whose pieces are sold, or that is over with what it sold; what of one that still has to bring its price."""
    return paid if project.order.sold and not project.order.to_post else still_to


def hours_sentence(project: Project, fmt: Format) -> str:
    """Hours logged against a stated total, and hours in no log."""
    logged, stated, actual = sum(project.logged_hours.values()), project.log.stated_total, project.actual
    rows, said = f"The rows add up to {fmt.significant(logged)} h", "" if stated is None else f"{fmt.significant(stated)} h"
    if stated is None:
        text = f"{rows}." if logged > 0 else "" if actual is None else "No hours of it are logged."
    elif logged <= 0:
        text = f"No row has hours; the stated total of {said} is parted over the steps as the plan's hours are."
    elif abs(logged - stated) > LEAST * logged:
        text = f"**{rows}; the total that is stated says {said}.** The rows count here."
    else:
        text = f"{rows}, as the stated total says."
    if project.not_logged:
        missing = sum(project.not_logged.values())
        names = ", ".join(KINDS.get(name, name) for name in project.not_logged)
        text += (
            f" **About {fmt.significant(missing)} h of {names} are in the plan and in no log**; they count as planned. Log them"
        )
        did_without = any(name in project.planned.entering for name in project.not_logged)
        text += ", or, if you did without a step, take it out of `study.toml`." if did_without else "."
    return text.strip()


def one_off_sentence(project: Project, fmt: Format) -> str:
    """Whether work done once only counts, and what the other way would say; nothing where there is none."""
    hours, actual = project.logged_hours.get(ONE_OFF, 0.0), project.actual
    if not hours or actual is None:
        return ""
    other = actual.total_hours + (-hours if project.one_off_counts else hours)
    text = f"{fmt.significant(hours)} h of work done once only (photographs, filming, trying things out) {'are included' if project.one_off_counts else 'are left out'}"
    if actual.pay() is not None and other > 0:
        way = "without them" if project.one_off_counts else "with them"
        text += f"; {way} an hour {_would(project, 'paid', 'would pay')} {fmt.money(actual.pay() * actual.total_hours / other)}"
    return f'{text}. `one_off = "{"left out" if project.one_off_counts else "included"}"` of the commission counts the other way.'


def rows_sentence(project: Project, fmt: Format) -> str:
    """Rows that name no order: counted, or left out; loads that were never counted. Nothing where there are none."""
    parts = []
    unnamed = [f"{fmt.count(count, 'row')} of the {log}" for log, count in project.log.unnamed.items() if count]
    if unnamed:
        why = "counted, as nothing else was poured" if project.log.alone else "left out, as loads that do not name it were poured"
        parts.append(
            f"{' and '.join([', '.join(unnamed[:-1])] * (len(unnamed) > 1) + unnamed[-1:])} in its days name no order: {why} in its days. The order's name in the column `order` says it."
        )
    if project.log.uncounted:
        loads = fmt.count(project.log.uncounted, "load")
        parts.append(f"{loads} of it never got a count of good pieces and is in no figure here.")
    return " ".join(parts)


def division_sentence(project: Project, fmt: Format) -> str:
    """(Outlay + hours x wage) / pieces, and what such a division leaves out; nothing where nothing was paid or worked yet."""
    if project.actual is None:
        return ""
    account, hours = project.actual, project.counted_hours or (project.log.stated_total or 0.0)
    hours = hours or account.total_hours
    if account.paid <= 0:
        return "No piece was delivered, so nothing can be divided by them."
    each = project.by_division(hours)
    text = (
        f"As makers often count: ({fmt.money(project.outlay)} paid out + {fmt.significant(hours)} h × {fmt.money(project.wage)}) ÷ "
        f"{fmt.count(account.paid, 'piece')} = **{fmt.money(each)} a piece**"
    )
    stated = project.log.stated_total
    if stated is not None and project.counted_hours and abs(stated - hours) > LEAST * hours:
        text += f" ({fmt.money(project.by_division(stated))} with the stated {fmt.significant(stated)} h)"
    missing = ["overheads", "fees and postage that are in no purchase", "contributions and tax"]
    missing = ([f"{fmt.significant(sum(project.not_logged.values()))} h in no log"] if project.not_logged else []) + missing
    bought = project.log.study.records.get("purchases") is not None
    heavy = "equipment, moulds and left-over material" if bought else "all equipment"
    return f"{text}. That division charges {heavy} to these pieces alone, and leaves out {', '.join(missing[:-1])} and {missing[-1]}."


def planned_sentence(project: Project, fmt: Format) -> str:
    """What the logged hours alone would seem to pay, and why the plan's own page said another pay; nothing where neither differs, or there is no price."""
    price, here, actual, text = project.order.price, project.planned.pay(), project.actual, ""
    logged = 0.0 if actual is None else actual.total_hours - sum(project.not_logged.values())
    if project.not_logged and logged > 0 and actual.pay() is not None:
        seemed = fmt.money(actual.pay() * actual.total_hours / logged)
        text = f"By the logged hours alone an hour would seem to bring {seemed}. "
    there = None if price is None or here is None else float(project.quoted.pay(price).mean())
    if there is None or fmt.money(there) == fmt.money(here):
        return text.rstrip()
    return (
        f"{text}The plan itself said {fmt.money(there)} an hour: it divides draw by draw, with moulds by what the order wears of them and all equipment by its part "
        "of the year. Here the means are divided, moulds count in full, and equipment whose life is in loads or hours goes by that, planned and "
        f"actual alike, which makes {fmt.money(here)} of the same plan."
    )


def bridge_sentence(project: Project, fmt: Format) -> str:
    """What moved the pay most, or why it cannot be said."""
    if project.actual is None:
        return "Nothing is logged yet that the plan could be compared with."
    causes = project.cents
    if not causes:
        return "Plan and outcome cannot be compared by the hour: one of them has no price, no hours or no pieces."
    rank = [cause for cause in sorted(CAUSES, key=lambda cause: -abs(causes[cause])) if abs(causes[cause]) >= 0.005]
    if not rank:
        return "It went as planned: no cause moved the pay by a cent an hour."
    told = ", ".join(f"{cause} {'+' if causes[cause] > 0 else '−'}{fmt.money(abs(causes[cause]))}" for cause in rank[:3])
    return (
        f"What moved the pay an hour most: **{told}**. Each cause is averaged over all orders in which they could have changed one after the other, "
        "so the parts add up. Volume is pieces made and delivered; scrap what enters each step for a good piece; minutes the time of work that was planned; "
        "materials amounts and prices, moulds and equipment beyond the plan, and what more or fewer days make of the year's overheads and equipment; price what came in for a delivered piece after fees and postage."
    )


def practice_sentence(lessons: Lessons, fmt: Format) -> str:
    """How long as many pieces again would take by the timesheet's rows, where that shows, and what to do about it."""
    rows = practice_table(lessons)
    if rows.empty:
        return "No hours by step are in the timesheet, so nothing says how much faster the next time would be: write a row a sitting, with its step."
    now, then = rows.hours.sum(), (rows.hours * rows["next time"] / rows["minutes a piece"]).sum()
    learnt = rows.step[rows["left after twice as many"].notna()]
    once = lessons.project.logged_hours.get(ONE_OFF, 0.0)
    tail = f" The {fmt.significant(once)} h done once only need not be done again." if once else ""
    if learnt.empty:
        return (
            f"**Plan the next one with the same minutes a piece**: in the timesheet no step got clearly faster from row to row (six rows a step, each with "
            f"its pieces, are the least that can tell).{tail}"
        )
    return (
        f"**As many pieces again take about {fmt.significant(then)} h at the bench instead of {fmt.significant(now)}**, {fmt.percent(then / now)} of this time: in "
        f"the timesheet minutes a piece fell from row to row at {', '.join(learnt)}; every other step is taken as it was. Count on no more than that.{tail}"
    )


def again_sentence(lessons: Lessons, fmt: Format) -> str:
    """How to begin the next one."""
    order = lessons.project.order
    return (
        f"`casting-econ learn STUDY {order.name} --to NEW` writes these numbers to a new study, beside this one. The table sets the first plan beside the "
        "same order on what is known now; materials, moulds and equipment that are left are not taken off its price."
    )


def project_lines(lessons: Lessons) -> list[str]:
    """An order afterwards for a terminal, without Markdown: its headline, and the rest under a heading. Other pays than that of the headline are on the page."""
    project = lessons.project
    fmt = format_of(project.kit, year=False)
    sentences = hours_sentence, one_off_sentence, rows_sentence, bridge_sentence, division_sentence
    said = [*(sentence(project, fmt) for sentence in sentences), practice_sentence(lessons, fmt)]
    lines = [headline(project, fmt), "", "Looked back on", *(line for sentence in said if sentence for line in ("", sentence))]
    return [line.replace("**", "").replace("`", "") for line in lines]
