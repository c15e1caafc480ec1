"""Which rows of the logs are of one order, and what they say: days, hours, pieces, purchases."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd

from ..evidence import load_counts, loads_poured, usual_load
from ..evidence.labour import KINDS_OF_STEPS, kinds_of_steps
from ..ledger.logs import last_day_of
from ..study import Study
from ..study.records import known_on, part_in_work, split_order, steps_of

_, MOULDS, ORDERS, WEEKLY, ONE_OFF, _OTHER = KINDS_OF_STEPS


@dataclass(frozen=True, kw_only=True)
class Logged:
    """What the logs say of one order."""

    study: Study  # with the rows of the order alone
    first: date | None  # day of its first row of any log, or its stated start; None where neither is there
    begun: date | None  # first day of work or pouring; None where neither is logged
    ended: date | None  # last day of work, pouring or checking
    unnamed: dict[str, int]  # rows of the days of the order that name none, by log: counted where it was alone, else left out
    alone: bool  # whether nothing else was poured in its days, so that what names no order is of it
    hours: dict[str, float]  # by step of the product, then by kind [hour]
    stated_total: float | None  # by the study or a total row that is of this order alone [hour]
    casts: float  # of its counted loads [cast]
    loads: int
    uncounted: int  # loads that never got a count
    good: float  # [piece]
    entering: dict[str, float] | None  # pieces by step; None without a counted load [piece]
    lost: dict[str, float] | None  # pieces by check [piece]

    @property
    def nothing(self) -> bool:
        """Whether the logs have nothing of the order, and no total is stated."""
        return not self.study.records and not self.uncounted and self.stated_total is None


def _named(frame, name):
    """Which rows of a log name the order, as a mask."""
    if "order" not in frame or not name:
        return pd.Series(False, index=frame.index)
    return frame.order.map(lambda text: isinstance(text, str) and split_order(text)[0] == name.casefold()).astype(bool)


def logged(study: Study, name: str, product: str, start: date | None) -> Logged:
    """The rows of an order of a product, whose first day of work is stated or not.

    Rows that name the order are of it. Hours and purchases that name none are too where no load of anything else was poured
    in its days; where no load of anything else is in the logs at all, its days begin with their first row.
    """
    ours = ("timesheet", "batches", "purchases", "moulds", "faults")
    logs = {log: frame for log, frame in study.records.items() if log in ours}
    poured = study.whole_logs.get("batches", study.in_work.assign(date=pd.to_datetime(study.in_work.date)))
    others = poured.date[~_named(poured, name)]
    dated = [poured, *(frame for log, frame in logs.items() if log in ("timesheet", "purchases"))]
    days = [frame.date[_named(frame, name)] for frame in dated]
    days.append(pd.Series(pd.to_datetime([start] if start else [])))
    if not len(others) and any(len(frame) for frame in logs.values()):  # nothing but this order was ever made
        days += [frame["made" if log == "moulds" else "date"] for log, frame in logs.items()]
    days = pd.to_datetime(pd.concat(days))
    first, last = days.min(), days.max()  # no time at all where nothing is of the order: no day is within

    def within(dates):
        return (dates >= first) & (dates <= last)

    alone, kept, unnamed = not within(others).any(), {}, {}
    for log, frame in logs.items():
        mine, inside = _named(frame, name), within(frame["made" if log == "moulds" else "date"])
        if log == "moulds":
            mine = inside & (frame["product"] == product)  # whatever else was poured: no mould names an order
        elif log != "faults":
            free = inside & frame.order.isna() if "order" in frame else inside
            free &= frame.kind != "overhead" if log == "purchases" else (frame["product"] == product) | frame["product"].isna()
            unnamed[log] = int(free.sum())
            mine |= free & alone  # no load is: one that names no order is what makes it not alone
        kept[log] = frame[mine]
    if "faults" in logs:
        faults, batches = logs["faults"], kept.get("batches")
        mine = faults.batch.isin([] if batches is None else batches.batch)
        loose = faults.batch.isna() & ((faults["product"] == product) | faults["product"].isna())
        kept["faults"] = faults[mine | (loose & within(faults.date) & alone)]
    kept = {log: frame for log, frame in kept.items() if len(frame)}
    still = study.in_work[_named(study.in_work, name)]
    own = replace(study, records=kept, in_work=still, in_work_faults=study.in_work_faults.iloc[:0])
    counts = load_counts(own, product)
    worked = [*still.date, *still.checked.dropna()]
    for log in ("batches", "timesheet"):
        frame = kept.get(log)
        worked += [] if frame is None else [*frame.date, *(frame.checked.dropna() if log == "batches" else last_day_of(frame))]
    return Logged(
        study=own,
        first=None if days.empty else first.date(),
        begun=min(worked).date() if worked else None,
        ended=max(worked).date() if worked else None,
        unnamed=unnamed,
        alone=alone,
        hours=_hours(own, product),
        stated_total=_stated_total(study, name, kept),
        casts=0.0 if counts is None else float(counts.batches.casts.sum()),
        loads=0 if counts is None else loads_poured(study, counts.batches),
        uncounted=len(still),
        good=0.0 if counts is None else float(counts.batches.good.sum()),
        entering=None if counts is None else counts.totals.entering.astype(float).to_dict(),
        lost=None if counts is None else counts.totals.lost.astype(float).to_dict(),
    )


def _hours(study, product):
    """Hours of the order's timesheet by step and by kind. [hour]"""
    sheet, steps = study.records.get("timesheet"), study.file.products[product].steps
    if sheet is None:
        return {}
    hours = dict.fromkeys(steps, 0.0)
    kinds, load = kinds_of_steps(study, sheet.step.unique()), usual_load(study, product)
    lots = study.file.products[product].lots_per_load.value

    def a_piece(step):  # minutes by the study, those of a load spread over it
        turn = step.load_minutes.value + lots * step.lot_minutes.value
        return step.minutes.value + turn / (load if step.load_size is None else step.load_size.value)

    for text, minutes in zip(sheet.step, sheet.minutes, strict=True):
        named = steps_of(text, set(steps))
        if not named:
            hours[kinds[text]] = hours.get(kinds[text], 0.0) + minutes / 60
            continue
        weights = np.array([a_piece(steps[name]) for name in named], float)  # what a row of several steps is parted by
        weights = weights / weights.sum() if weights.sum() > 0 else np.full(len(named), 1 / len(named))
        for name, weight in zip(named, weights, strict=True):
            hours[name] += minutes / 60 * weight
    return {name: float(value) for name, value in hours.items() if value > 0}


def _stated_total(study, name, kept):
    """Hours that the study states for the order, else the last total row of a timesheet all of whose rows are of the order."""
    commission = study.file.commissions.get(name)
    if commission is not None and commission.stated_hours is not None:
        return float(commission.stated_hours)
    sheet, all_rows = kept.get("timesheet"), study.records.get("timesheet")
    if sheet is None or len(sheet) != len(all_rows):
        return None
    last = [file.totals[-1] for file in study.reading.files if file.log == "timesheet" and file.totals]
    totals = [figure for _, column, figure in last if column == "minutes"]
    return sum(totals) / 60 if totals else None


def study_before(study: Study, name: str, first: date) -> Study:
    """The study as it was before an order began: its logs up to the evening before, without any row that names the order."""
    records = {log: frame[~_named(frame, name)] for log, frame in study.records.items()}
    evening = first - timedelta(days=1)
    parted = dict(zip(("records", "in_work", "in_work_faults"), part_in_work(known_on(records, evening)), strict=True))
    return replace(study, as_of=evening, **parted)
