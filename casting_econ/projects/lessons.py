"""What an order teaches: each number old, measured and new, what practice supports, and the same order again."""

from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cached_property

import numpy as np
import pandas as pd

from ..assumptions import assume
from ..evidence import update
from ..evidence.labour import by_day
from ..faults import counted
from ..kit import OpenStudy
from ..orders import OrderPlan, Quoted, open_order, price_of
from ..study import Number, Study
from ..study.records import steps_of
from ..study.told import log_of
from .logged import MOULDS
from .project import Project, order_then, project_of

SHOWN = 5e-4  # of a figure, which no table shows


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """One number of the study, in its unit."""

    key: str  # dotted
    unit: str
    old: float  # in force before the order
    measured: float  # by the rows of the order alone
    new: float  # in force from now on
    data: str  # what measured it, in words
    counted: float | None  # pieces that its hours are spread over, where its rows do not say, so that no log can tell it [piece]
    middle: float | None = None  # of the range that was stated, by which a guess counts; None of a single figure
    others: bool = False  # whether rows of other work measure it too

    @property
    def beside(self) -> str:
        """Why what is in force from now on lies neither on guess and measurement nor between; '' where it does."""
        if self._between(self.old):
            return ""
        if self.others:
            return "rows of other work count too"
        if self.middle is not None and self._between(self.middle):
            return "a range counts by its middle, {}"
        return f"{'loads' if self.key.endswith('pass_share') else 'rows'} count one by one, whatever their size"

    def _between(self, guess):
        low, high = sorted((guess, self.measured))
        return low * (1 - SHOWN) <= self.new <= high * (1 + SHOWN)


@dataclass(frozen=True, kw_only=True)
class Lessons:
    """What one order teaches its study."""

    project: Project

    @cached_property
    def counts(self) -> dict[str, float]:
        """What hours without a count are spread over: pieces that entered a step, or one order, by step or channel."""
        project, product = self.project, self.project.order.product
        shape, channel = project.actual, project.order.channel
        sheet = project.log.study.records.get("timesheet")
        if sheet is None or shape is None:
            return {}
        counted = sheet[sheet.pieces_handled > 0]
        steps = project.kit.study.file.products[product].steps
        told = {name for text in counted.step.unique() for name in steps_of(text, set(steps))} | set(counted.step)
        found = {step: shape.entering[step] for step in steps if step in project.log.hours and step not in told}
        found |= {channel: 1.0} if channel and channel in set(sheet.step) and channel not in told else {}
        return {name: count for name, count in found.items() if count > 0}

    def counted_logs(self, study: Study, *, parted: bool = True) -> Study:
        """The logs of a study with what is known of the order written beside hours that have no count, and those parted by day."""
        own, sheet = self.project.log.study.records, study.records.get("timesheet")
        records = dict(study.records)
        if sheet is not None and "timesheet" in own:
            handled = sheet.pieces_handled.astype(float).copy()
            blank = pd.Series(False, index=sheet.index)
            for name, count in self.counts.items():
                mine = own["timesheet"].index[own["timesheet"].step == name].intersection(sheet.index)
                handled[mine] = count * sheet.minutes[mine] / sheet.minutes[mine].sum() if len(mine) else handled[mine]
                blank |= sheet.index.isin(mine)
            sheet = sheet.assign(pieces_handled=handled)
            days = by_day(sheet[blank]) if parted else sheet[blank]  # the work of five days tells more than that of one
            days = days.assign(pieces_handled=days.pieces_handled / days.index.value_counts().reindex(days.index).to_numpy())
            records["timesheet"] = pd.concat([sheet[~blank], days]).sort_values("date", kind="stable").reset_index(drop=True)
        moulds, hours = records.get("moulds"), self.project.log.hours.get(MOULDS, 0.0)
        if self._mould_hours_spread:
            mine = own["moulds"].index.intersection(moulds.index)
            cavities = moulds.cavities[mine]
            spread = moulds.minutes.astype(float).copy()
            spread[mine] = hours * 60 * cavities / cavities.sum()
            records["moulds"] = moulds.assign(minutes=spread)
        return replace(study, records=records)

    @property
    def _mould_hours_spread(self):
        """Whether the timesheet has hours of making moulds, and the log of moulds has none."""
        moulds = self.project.log.study.records.get("moulds")
        return moulds is not None and MOULDS in self.project.log.hours and not (moulds.minutes > 0).any()

    @cached_property
    def rows(self) -> list[Lesson]:
        """Every number of the product, and of its channel's orders, that the order's rows measure."""
        project, study = self.project, self.project.kit.study
        product, channel = project.order.product, project.order.channel
        ours = f"products.{product}.", f"channels.{channel}.minutes_per_order"
        keys = [key for key in study.numbers if key.startswith(ours) and log_of(key)]
        own, new = update(self.counted_logs(project.log.study), keys), update(self.counted_logs(study), keys)
        found, before = [], project.plan.planner.kit.assumed.numbers
        for key in (key for key in keys if key in own and key in new):
            number, over, now = before.get(key, study.numbers[key]), self._spread_over(key), float(new[key].posterior.middle)
            told = {"old": number.value, "measured": float(own[key].observed), "new": now if over is None else _four_digits(now)}
            told |= {"middle": None if number.distribution is None else float(new[key].prior.middle)}
            others = not np.isclose(own[key].observed, new[key].observed, rtol=SHOWN)
            found.append(Lesson(key=key, unit=number.unit, **told, data=own[key].data, counted=over, others=others))
        return found + self._unplanned(study, product) + self._mould_steps(study, product)

    def _spread_over(self, key):
        """Pieces, or the one order, that hours without a count are spread over; None where the logs say it themselves."""
        path = key.split(".")
        if path[-1] in ("minutes", "load_minutes", "minutes_per_order") and path[-2] in self.counts:
            return max(float(self.project.log.loads), 1.0) if path[-1] == "load_minutes" else self.counts[path[-2]]
        return 1.0 if path[2:] == ["mould", "minutes"] and self._mould_hours_spread else None

    def _unplanned(self, study, product):
        """Steps that took hours and have none in the study."""
        account, rows = self.project.actual, []
        for step, count in self.counts.items() if account is not None else ():
            keys = [f"products.{product}.steps.{step}.{name}" for name in ("minutes", "load_minutes")]
            if step in account.entering and not any(study.numbers[key].value > 0 for key in keys if key in study.numbers):
                hours = self.project.log.hours[step]
                rows.append(_minutes_lesson(keys[0], 0.0, hours * 60, count, f"{hours:.1f} h over {count:.0f} pieces"))
        return rows

    def _mould_steps(self, study, product):
        """Steps of making moulds one by one, from their hours and the moulds that were made."""
        mould, sheet = study.file.products[product].mould, self.project.log.study.records.get("timesheet")
        made, rows = self.project.log.study.records.get("moulds"), []
        for step in mould.steps if mould is not None and sheet is not None and made is not None else ():
            minutes, key = float(sheet.minutes[sheet.step == step].sum()), f"products.{product}.mould.steps.{step}.minutes"
            if minutes > 0 and mould.steps[step].load_minutes.value == 0:
                data, count = f"{minutes:.0f} min over {counted(len(made), 'mould')}", float(len(made))
                rows.append(_minutes_lesson(key, mould.steps[step].minutes.value, minutes, count, data))
        return rows

    @cached_property
    def taught(self) -> OpenStudy:
        """The study with what the order teaches in force."""
        study = self.counted_logs(self.project.kit.study)
        numbers = dict(study.numbers)
        for row in self.rows:
            known = numbers.get(row.key)
            if known is None or known.value == 0 or ".mould.steps." in row.key:  # which no log tells
                numbers[row.key] = Number(row.new, row.unit, basis="measured")
            else:
                numbers[row.key] = replace(known, from_records=True)
        study = replace(study, numbers=numbers)
        return OpenStudy(study=study, assumed=assume(study))

    @cached_property
    def again(self) -> tuple[OrderPlan, Quoted]:
        """The same order again, begun the day after the last row, on what is known now."""
        project, order = self.project, self.project.order
        begin = (project.log.ended or order.start) + timedelta(days=1)
        due = begin + timedelta(days=max((order.due - project.plan.order.start).days, 1))
        kept = "product", "variants", "pieces", "set_of", "confidence", "channel", "price", "policy", "match_within"
        asked = {key: getattr(order, key) for key in kept}
        plan = open_order(self.taught, start=begin, by=due, **asked)
        return plan, price_of(plan)


def _four_digits(value):
    return float(f"{value:.4g}")


def _minutes_lesson(key, old, minutes, count, data):
    """Minutes spread over so many, which no log counts."""
    each = _four_digits(minutes / count)
    return Lesson(key=key, unit="minute", old=old, measured=each, new=each, data=data, counted=count)


def look_back(kit: OpenStudy, name: str, **asked) -> Lessons:
    """An order afterwards with what it teaches; arguments and errors as of `project_of`."""
    order, known = order_then(kit, name, **asked), kit.kept.get(Lessons)
    if known and replace(order, start=known.project.order.start) == known.project.order:
        return known
    return Lessons(project=project_of(kit, name, **asked))
