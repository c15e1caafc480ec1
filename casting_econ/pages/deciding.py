"""Go on or not, and what is worth measuring before that is decided."""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd

from ..assumptions import draw_values, takes_factor, workshop_at
from ..draws.information import InformationValue, partial_information, perfect_information
from ..evidence import Finding
from ..evidence.market import DAYS_PER_MONTH
from ..formatting import Format, too_long
from ..kit import OpenStudy, format_of
from ..models import beyond_target, evaluate
from ..study.told import TOLD, log_of
from .sensitivity import groups_of, names_of
from .table import shown
from .waiting import worth_waiting_for


@dataclass(frozen=True, kw_only=True, eq=False)
class Decision:
    """Go on, or do something else that pays the target for every hour; by draw."""

    kit: OpenStudy
    benefit: np.ndarray  # of a year of going on: pay less the target for every hour [money/year]
    values: dict[str, np.ndarray]  # of every uncertain number

    @property
    def goes(self) -> bool:
        """Whether going on brings more on average."""
        return float(self.benefit.mean()) > 0

    @property
    def right(self) -> float:
        """Chance that what is better on average is better. [-]"""
        return float((self.benefit > 0).mean() if self.goes else (self.benefit <= 0).mean())

    @property
    def even(self) -> bool:
        """Whether both are certain to bring the same."""
        return self.kit.certain and abs(float(self.benefit.mean())) < 0.005

    @property
    def untold(self) -> bool:
        """Whether the mean benefit is within two of its standard errors of nothing."""
        return abs(float(self.benefit.mean())) <= 2.0 * float(self.benefit.std(ddof=1) / np.sqrt(self.benefit.size))

    @cached_property
    def actions(self) -> np.ndarray:
        """Benefit of stopping and of going on; shape (draws, 2). [money/year]"""
        return np.column_stack([np.zeros(self.benefit.size), self.benefit])

    @cached_property
    def all_known(self) -> InformationValue:
        """What it would be worth a year to know everything first."""
        return perfect_information(self.actions)


def expected_benefit(kit: OpenStudy, draws: int, seed: int, base: OpenStudy | None = None) -> np.ndarray:
    """What a year brings beyond its target by draw, with as many orders as expected; `base` as in `OpenStudy.by_draw`. [money/year]"""
    if kit.variation == "rates":
        return kit.monte_carlo(draws, seed, base=base).draws["beyond_target"]
    a = workshop_at(kit.study, draw_values(kit.assumed, draws, seed, base=(base or kit).assumed))
    return np.broadcast_to(np.asarray(beyond_target(a, evaluate(a)), float), (draws,))


@lru_cache(maxsize=4)  # several pages ask for it
def decision_of(kit: OpenStudy, draws: int | None = None, seed: int | None = None) -> Decision:
    """The decision on the draws of the study, with as many orders as expected: what is left to chance nobody can know first."""
    draws, seed = kit.plan_of_draws(draws, seed)
    values, numbers = draw_values(kit.assumed, draws, seed), kit.assumed.numbers

    def seen(key):
        """A number's draws; those of a shared factor up to scale and bend, as any number that takes it moves with nothing else."""
        kind = key.removeprefix("spread.")
        found = values[key if kind == key else next(k for k in numbers if takes_factor(numbers, k) == kind)]
        return np.broadcast_to(np.asarray(found, float), (draws,))

    benefit = expected_benefit(kit, draws, seed)
    return Decision(kit=kit, benefit=benefit, values={key: seen(key) for key in kit.assumed.uncertain})


@lru_cache(maxsize=4)  # several pages ask for it
@shown(
    "sensitivity-information",
    "What knowing a number, or all that a log tells, would be worth a year before deciding",
    "kind: text; what: text; worth: money; error: money; worth of half the width: money; takes: text; "
    "worth of a month more: money",
    fold=True,
)
def information_table(decision: Decision) -> pd.DataFrame:
    """What it would be worth to know each number, and all that each log tells, before deciding; the most first. [money/year]

    `error` is the standard error of the worth; what halving the width `takes` is said where records tell; a month more of a log is at the
    pace so far, and its numbers without records yet count as not learned in it. No rows where the choice is the same in every draw.
    """
    kit, rows, actions = decision.kit, [], decision.actions
    uncertain, evidence = kit.assumed.uncertain, kit.assumed.evidence
    if not decision.all_known.value:
        return []

    def row(kind, name, keys, removed=None):
        inputs = np.column_stack([decision.values[key] for key in keys])
        known, halved = (partial_information(actions, inputs, removed=share) for share in (1.0, 0.75))
        more = [evidence[key] for key in keys if key in evidence]
        finite = len(more) == len(keys) == 1 and np.isfinite(more[0].more_to_halve)
        takes = f"{more[0].more_to_halve:.0f} more {more[0].counted}" if finite else ""
        if finite and too_long(more[0].more_to_halve, more[0].counted):
            takes = format_of(kit).time(np.floor(more[0].more_to_halve), more[0].counted.removesuffix("s"))
        month = np.nan if removed is None else partial_information(actions, inputs, removed=removed).value
        rows.append((kind, name, known.value, known.error, halved.value, takes, month))

    for group in groups_of(kit):
        keys = [uncertain[n] for n in group]
        row("number", names_of(keys), keys)
    for log, (tables, _) in TOLD.items():
        keys = [key for key in uncertain if log_of(key) == log]
        if keys:
            months = _months(kit.study.records, tables)
            row("log", log, keys, [month_share(evidence[key], months) if key in evidence and months else 0.0 for key in keys])
    return sorted(rows, key=lambda row: -row[2])


def month_share(found: Finding, months: float) -> float:
    """Share of a number's variance that a month more of a log would remove, which has run for so many months. [-]

    It is m / (m + n): a width falls with the root of what is counted, so the count n there already is a third of what would halve it.

    A guess worth 4 weeks and 20 weeks in 5 months; a month more brings 4: 4 / 28.

    >>> month_share(Finding(None, None, observed=1.0, data="", prior_weight=4.0, amount=20.0, counted="weeks"), 5.0)
    0.14285714285714285
    """
    if not np.isfinite(found.more_to_halve):
        return 0.0
    month = found.amount / months
    return month / (month + found.more_to_halve / 3.0)


def _months(records, tables):
    """Months from the first to the last date of some tables; none where they hold no dates."""
    dates = [records[name].date for name in tables if name in records and "date" in records[name] and len(records[name])]
    days = (max(d.max() for d in dates) - min(d.min() for d in dates)).days + 1 if dates else 0
    return days / DAYS_PER_MONTH


def decision_word(decision: Decision) -> str:
    """What to do in a few words, no surer than the draws allow."""
    if decision.even:
        return "Go on or not, it comes to the same."
    if decision.untold:
        return "These numbers cannot tell whether to go on."
    if decision.right >= 0.9:
        return "Go on." if decision.goes else "Stop, or change something."
    return "Go on, but watch it." if decision.goes else "Rather not as it is."


def decision_sentence(decision: Decision, fmt: Format) -> str:
    """Go on or not, and the chance that it is right; claims no more than the draws allow."""
    if decision.even:
        return "**Neither:** a year brings just what its hours would bring at the target."
    if decision.untold:
        return "**Neither: these numbers cannot tell** whether going on brings more than the same hours at the target."
    sure = "" if decision.kit.certain else f", and that is the right choice with a chance of {fmt.chance(decision.right)}"
    return f"**{decision_word(decision)}** {brings_words(decision, fmt)}{sure}."


def brings_words(decision: Decision, fmt: Format) -> str:
    """What a year brings beside its hours at the target, on average."""
    how = "On average a" if decision.kit.variation == "rates" else "With as many orders as expected a"
    size, more = fmt.money(abs(float(decision.benefit.mean())), 0), "more" if decision.goes else "less"
    return f"{'A' if decision.kit.certain else how} year brings {size} {more} than its hours at the target"


def next_to_measure(decision: Decision, frame: pd.DataFrame, fmt: Format) -> str:
    """What to measure next, or that nothing more is worth it."""
    everything = decision.all_known
    if not decision.kit.assumed.uncertain:
        return "Every number is stated as certain, so nothing is left to measure for the choice; a guess is never certain, so give guesses a range."
    if everything.value <= 2.0 * everything.error or everything.value < 0.001 * abs(float(decision.benefit.mean())):
        worth = fmt.money(everything.value, 0)
        return f"Knowing every number exactly would hardly change the choice: it is worth {worth} a year."
    text = f"Knowing everything first would be worth {fmt.money(everything.value, 0)} a year. "
    known = frame[(frame.worth > 2.0 * frame.error) & (frame.kind == "number")]
    told = worth_waiting_for(decision.kit, known, float(decision.benefit.mean()))
    sure = told.head(3)
    if sure.empty:
        none = "No single number is worth measuring for the decision alone"
        alone = "Only orders would be worth knowing, and the months that tell them cost more than they tell (page on the job)"
        return f"{text}{none if known.empty else alone}."
    takes = [f"; {row.takes} would halve its width" if row.takes else "" for row in sure.itertuples()]
    parts = [f"{row.what} ({fmt.money(row.worth, 0)}{more})" for row, more in zip(sure.itertuples(), takes)]
    text += f"**Measure next: {'; '.join(parts)}.**"
    if len(told) < len(known):
        text += " Orders are not among them: the months that tell them cost more than they tell (page on the job)."
    logs = frame[(frame.kind == "log") & (frame.worth > 2.0 * frame.error)]
    if logs.empty:
        return text
    first, kept = logs.iloc[0], f"{fmt.money(logs.worth.iloc[0], 0)} a year if kept to the end"
    if first["worth of a month more"] > 2.0 * first.error:
        kept += f", {fmt.money(first['worth of a month more'], 0)} for a month more"
    others = frame[(frame.kind == "log") & (frame.what != first.what)]
    apart = first.worth - others.worth > 2.0 * np.hypot(first.error, others.error)
    tells = f"most ({kept})" if apart.all() else f"much ({kept}), though not surely more than {', '.join(others.what[~apart])}"
    return f"{text} Of the logs, {first.what} would tell {tells}."
