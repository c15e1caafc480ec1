"""What each load does when, in a typical course: step by step, in which station, from which moment to which."""

import pandas as pd
from babel.dates import format_time

from ..formatting import Format
from ..models.schedule import DAY, NEVER
from ..pages.table import shown
from .dates import days_off_unsaid
from .tables import day


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
    moment, product = plan.typical.opened.moment, plan.order.product
    return [
        {
            "load": load + 1,
            "lot": _lot(plan, load) or product,
            "station": plan.typical.pot(load, stage),
            "step": plan.stage_names[stage],
            "start": moment(begin),
            "end": moment(end),
        }
        for load, stage, begin, _, end in steps_taken(plan)
    ]


@shown(
    "order-schedule",
    "What each load does when, in a typical course: from the first touch of the hands to the end of its wait",
    "load: 0; lot: text; station: text; step: text; start: text; end: text",
    fold=True,
)
def schedule_table(plan, fmt: Format) -> pd.DataFrame:
    """Every load, step by step in order of time, with its station."""
    opened = plan.typical.opened

    def at(moment):
        when = opened.moment(moment)
        return f"{day(fmt, when.date())}, {format_time(when, 'short', locale=fmt.locale)}"

    return [
        (load + 1, _lot(plan, load), plan.typical.pot(load, stage) or "", plan.stage_names[stage], at(begin), at(end))
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
