"""What each load does when, in a typical course: step by step, in which station, from which moment to which; and days off, gone by or shared."""

from datetime import date
from math import ceil

from ..formatting import Format
from ..models.schedule import DAY, NEVER
from .dates import days_off_unsaid
from .spec import open_beside, unnamed_loads
from .tables import day, load_numbers


def steps_taken(plan):
    """Load, stage, when its work begins and ends, and when it is ready for the next, of every stage that hands worked on. [-, -, s, s, s]"""
    course, spans = plan.typical, {}
    for load, stage, start, end in course.schedule.segments:
        begin, _ = spans.get((load, stage), (start, end))
        spans[load, stage] = begin, end
    for (load, stage), (begin, end) in spans.items():
        later = any(other == load and after > stage for other, after in spans)
        # a stage that the end of the order cut short has no wait yet
        finished = later or course.schedule.done[0, load] < NEVER or stage in plan.casting_stages
        yield load, stage, begin, end, end + course.waited(load, stage, end) * finished


def _lot(plan, load):
    """What a load is of: the colours in it, moulds, copies of the masters, or another product."""
    loads = plan.typical_loads
    if load < loads.promised:
        return loads.promised_products[load]
    if load in loads.made:
        return loads.made[load].kind
    return " + ".join(name for name, count in zip(plan.order.items, loads.casts[load], strict=True) if count and name)


def schedule_results(plan) -> list[dict]:
    """The typical course for `order.json`: moments in local time."""
    moment, product, numbers = plan.typical.opened.moment, plan.order.product, load_numbers(plan)
    return [
        {
            "load": numbers[load],
            "lot": _lot(plan, load) or product,
            "station": plan.typical.pot(load, stage),
            "step": plan.stage_names[stage],
            "start": moment(begin),
            "end": moment(end),
        }
        for load, stage, begin, _, end in steps_taken(plan)
    ]


def days_off_sentence(plan, fmt: Format) -> str:
    """Days off that a typical course works on as the study states none, and how to state them; nothing where it meets none."""
    opened = plan.typical.opened
    worked = sorted({opened.date_of(number * DAY) for number, *_ in plan.typical.by_day()})
    off, country = days_off_unsaid(plan.planner.kit.study, worked)
    if not off:
        return ""
    more = f" and {len(off) - 3} more" if off[3:] else ""
    said = "; ".join(day(fmt, one) for one in off[:3]) + more
    whose = f" (holidays of {country}, by the study's locale; if you live elsewhere, state yours)" if country else ""
    line = f'`holidays = "{country or "DE-BY"}"` under `[orders]` leaves out the public ones of a country'
    return f'**No days off are stated, so the plan works on {said}**{whose}. {line}, `days_off = ["{off[0]}"]` any day or span of your own.'


def beside_sentence(plan, fmt: Format) -> str:
    """Commissions of the study that are still to be made, as the plan leaves them out, and what puts them first; nothing where some are promised."""
    kit, order = plan.planner.kit, plan.order
    open_ones = [] if order.closed or kit.study.file.orders.promised else open_beside(kit, order)
    if not open_ones:
        return ""
    told, rows = " and ".join(f"{other.name} (by {day(fmt, other.due)})" for other in open_ones), []
    for other in open_ones:
        casts = ceil(sum(other.short.values()) / float(kit.point().products[other.product]["yield"]) - 1e-9)
        rows.append(f'{{ what = "{other.name}", product = "{other.product}", casts = {casts} }}')
    return f" **{told} {'is' if len(open_ones) == 1 else 'are'} not in this plan**, though the same hands and places are to do that work too: `promised = [{', '.join(rows)}]` under `[orders]` puts that first."


def unnamed_sentence(plan, fmt: Format) -> str:
    """Loads that name no order and may be of this one, and the cell that makes them so; nothing where there are none, or a count says what is in hand."""
    kit, order = plan.planner.kit, plan.order
    loads, named = unnamed_loads(kit, order), sum(good for _, good in order.checked)
    if not loads or named >= order.pieces or (order.good > named and not (order.sold or order.finished)):
        return ""
    counts = [int(row.good) for row in loads if row.good == row.good]
    good, first = sum(counts), min(row.date for row in loads).date()
    what = [f"{fmt.count(good, 'good piece')}"] if counts else []
    what += [f"{fmt.count(len(loads) - len(counts), 'load')} not yet checked"] if len(counts) < len(loads) else []
    one, item = len(loads) == 1, next(iter(order.variants), "")
    cell, hand = f"{order.name} / {item}" if item else order.name, ""
    if not (item or order.closed) and good:
        hand = f", or ask with `--in-hand {good + order.good}`"
    return (
        f"**{fmt.count(len(loads), 'load')}{order.of_product} since {day(fmt, first)} {'names' if one else 'name'} no order of the study and "
        f"{'is' if one else 'are'} not counted here** ({' and '.join(what)}): if {'it is' if one else 'they are'} of this order, write `{cell}` "
        f"in {'its' if one else 'their'} column `order` of the batches log{', each with its own colour or form' if item else ''}{hand}."
    )


def days_gone(plan, today: date, fmt: Format) -> str:
    """What to ask for where the first day of the plan has gone by; nothing where it has not or nothing is left to do."""
    order = plan.order
    if today <= order.start or order.closed:
        return ""
    text = f"Today is {day(fmt, today)}, and this plan begins on {day(fmt, order.start)}. "
    if today > order.due:
        text += f"The due date, {day(fmt, order.due)}, has gone by"
        if order.begun:
            return f"{text}. --start {today} plans what is left from today."
        return f"{text}, so this is how it would have stood on that first day. --start and --by take new days; --finished looks back on it."
    return text + f"--start {today} plans from today{'' if order.begun else ', as the quote does'}."
