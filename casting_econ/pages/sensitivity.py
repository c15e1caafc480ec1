"""The sensitivity page: which numbers move pay most, and which are worth measuring before deciding."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy import special

from ..assumptions import draw_values, label, point_values, spread_values, takes_factor, values_at, workshop_at
from ..draws import round_up_draws
from ..draws.information import InformationValue, partial_information, perfect_information
from ..draws.sobol import Indices, sobol_indices
from ..evidence import Evidence
from ..evidence.market import DAYS_PER_MONTH
from ..formatting import Format
from ..kit import OpenStudy, format_of, grid, main_wait
from ..models import beyond_target, evaluate
from ..study.told import TOLD, log_of
from .table import shown

__all__ = [
    "Decision",
    "decision_of",
    "decision_sentence",
    "grid_table",
    "groups_of",
    "information_table",
    "largest_shares",
    "month_share",
    "next_to_measure",
    "sensitivity_sentence",
    "sobol_table",
    "swing_table",
    "tornado",
]

ROWS = 2048  # of each base sample of the indices
RARE = 0.02  # least share of either choice for indices of the choice
STEADY = 0.05  # most that a total index may move from half of the rows to all before numbers are ranked
_COLUMNS = ("kind", "what", "worth", "error", "worth of half the width", "takes", "worth of a month more")


def tornado(kit: OpenStudy, low: float = 0.1, high: float = 0.9) -> list[dict[str, object]]:
    """What each uncertain number alone does to pay an hour, the others at their point.

    Parameters
    ----------
    kit : OpenStudy
        Open study.
    low, high : float, optional
        Probabilities at which each number is tried. [-]

    Returns
    -------
    list of dict
        `key`, `label`, `low` and `high` (the number itself), `pay_low`, `pay_high` and `swing`
        (the absolute difference, money/hour), largest swing first.
    """
    keys, assumed = kit.assumed.uncertain, kit.assumed
    values: dict[str, object] = dict(point_values(assumed))
    rows = []
    # row 2 i tries number i low, row 2 i + 1 tries it high: one evaluation for all
    size = 2 * len(keys)
    factors = {}
    for i, key in enumerate(keys):
        if key.startswith("spread."):
            sd = getattr(kit.study.file.spread, key.removeprefix("spread.")).value
            tried = np.exp(sd * special.ndtri([low, high]))
            column = np.ones(size)
            factors[key.removeprefix("spread.")] = column
        else:
            tried = assumed.numbers[key].distribution.quantile(np.array([low, high]))
            column = np.full(size, assumed.numbers[key].value)
            values[key] = column
        column[2 * i : 2 * i + 2] = tried
        rows.append({"key": key, "label": label(key), "low": float(tried[0]), "high": float(tried[1])})
    if not rows:
        return []
    pay = evaluate(workshop_at(kit.study, spread_values(assumed, values, factors))).totals["pay_per_hour"]
    pay = np.broadcast_to(pay, (size,))
    for i, row in enumerate(rows):
        row |= {"pay_low": float(pay[2 * i]), "pay_high": float(pay[2 * i + 1]), "swing": float(abs(pay[2 * i + 1] - pay[2 * i]))}
    return sorted(rows, key=lambda row: -row["swing"])


@dataclass(frozen=True, kw_only=True)
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
    def error(self) -> float:
        """Standard error of the mean benefit. [money/year]"""
        return float(self.benefit.std(ddof=1) / np.sqrt(self.benefit.size))

    @cached_property
    def actions(self) -> np.ndarray:
        """Benefit of stopping and of going on; shape (draws, 2). [money/year]"""
        return np.column_stack([np.zeros(self.benefit.size), self.benefit])

    @cached_property
    def all_known(self) -> InformationValue:
        """What it would be worth a year to know everything first."""
        return perfect_information(self.actions)


def decision_of(kit: OpenStudy, draws: int | None = None, seed: int | None = None) -> Decision:
    """The decision on the draws of the study."""
    draws, seed = kit.plan_of_draws(draws, seed)
    values = draw_values(kit.assumed, draws, seed)
    a = workshop_at(kit.study, values)
    benefit = beyond_target(a, evaluate(a))
    uncertain = {key: np.asarray(values[key]) for key in kit.assumed.uncertain if not key.startswith("spread.")}
    shared = [key for key in kit.assumed.uncertain if key.startswith("spread.")]
    for key in shared:  # the factor itself, seen on a number that takes it
        kind = key.removeprefix("spread.")
        uncertain[key] = _factor_seen(kit, values, kind, draws)
    return Decision(kit=kit, benefit=np.broadcast_to(np.asarray(benefit, float), (draws,)), values=uncertain)


def groups_of(kit: OpenStudy) -> list[list[int]]:
    """Columns of the uncertain numbers that depend on each other, as groups."""
    root, count = kit.assumed.root, len(kit.assumed.uncertain)
    group = list(range(count))
    if root is not None:
        tied = np.abs(root @ root.T) > 1e-12
        for i in range(count):
            for j in range(i):
                if tied[i, j]:
                    old, new = group[i], group[j]
                    group = [new if g == old else g for g in group]
    return [[n for n in range(count) if group[n] == g] for g in dict.fromkeys(group)]


def sobol_table(kit: OpenStudy, rows: int = ROWS, seed: int | None = None) -> tuple[pd.DataFrame, Indices]:
    """Sobol indices by number, or by numbers that depend on each other, of what the hour, the year and the choice owe to each.

    Parameters
    ----------
    kit : OpenStudy
        Open study.
    rows : int, optional
        Of each base sample, rounded up to sixteen times a power of two.
    seed : int, optional
        As the study says if not given.

    Returns
    -------
    DataFrame
        `number`; first-order index `alone` and `total` index of pay an hour, `total` with the ends `low` and `high` of its middle 90 %;
        total of the benefit of going on, `on the year`, and of whether it is above zero, `on the choice`. The others' ends are the column
        with ` low` and ` high`. Largest `on the year` first: that is the decision's own scale, while indices of a choice
        that is nearly always the same are noise, and left out where it falls the other way in fewer than 2 % of cases. [-]
    Indices
        Behind it, in the order of `groups_of`; outputs pay an hour, benefit a year, choice.
    """
    seed = kit.plan_of_draws(seed=seed)[1]
    uncertain, groups = kit.assumed.uncertain, groups_of(kit)

    def model(u):
        a = workshop_at(kit.study, values_at(kit.assumed, u))
        outcome = evaluate(a)
        over = beyond_target(a, outcome)
        return np.column_stack(
            [np.broadcast_to(x, (u.shape[0],)) for x in (outcome.totals["pay_per_hour"], over, np.greater(over, 0))]
        )

    found = sobol_indices(model, len(uncertain), round_up_draws(rows), seed, groups)
    columns = {"number": [_names([uncertain[n] for n in group]) for group in groups]}
    columns |= {"alone": found.first[:, 0], "alone low": found.first_low[:, 0], "alone high": found.first_high[:, 0]}
    columns |= {"total": found.total[:, 0], "low": found.total_low[:, 0], "high": found.total_high[:, 0]}
    for output, name in ((1, "on the year"), (2, "on the choice")):
        ends = {f"{name} low": found.total_low[:, output], f"{name} high": found.total_high[:, output]}
        columns |= {name: found.total[:, output]} | ends
    if found.variance[2] < RARE * (1.0 - RARE):
        columns |= {name: np.nan for name in columns if name.startswith("on the choice")}
    return pd.DataFrame(columns).sort_values("on the year", ascending=False, ignore_index=True), found


@shown(
    "sensitivity-shares",
    "Shares of the scatter of pay an hour (alone, total with its middle 90 %), and total share of what a year brings beyond the target and of "
    "the choice to go on (none where it is nearly always the same); the twelve largest",
    "number: text; alone: percent; total: percent; low: percent; high: percent; on the year: percent; on the choice: percent",
)
def largest_shares(shares: pd.DataFrame) -> pd.DataFrame:
    """The twelve largest shares of `sobol_table`. [-]"""
    return shares.head(12)


def sensitivity_sentence(frame: pd.DataFrame, found: Indices, fmt: Format) -> str:
    """What moves the year most, as far as the indices of `sobol_table` can tell."""
    if frame.empty or not found.variance[1]:
        return "Nothing that is uncertain moves the year."
    if found.half[1] > STEADY:
        return "These indices have not settled: **more rows are needed** before the numbers can be ranked."
    first = frame.iloc[0]
    share = f"{fmt.percent(first['on the year low'])} to {fmt.percent(first['on the year high'])} of the variance of what a year brings"
    level = frame[frame["on the year high"] >= first["on the year low"]]
    if len(level) == 1:
        return f"**The year moves most with {first.number}**: it has a part in {share}."
    others = " or ".join(level.number.iloc[1:])
    return (
        f"**{first.number}** has a part in {share}; these draws cannot tell whether the part of {others} is as large or larger."
    )


@shown(
    "sensitivity-information",
    "What knowing a number, or all that a log tells, would be worth a year before deciding",
    "what: text; kind: text; worth: money; error: money; worth of half the width: money; takes: text; "
    "worth of a month more: money",
)
def information_table(decision: Decision) -> pd.DataFrame:
    """What it would be worth a year to know each number, and each log's numbers, before deciding; the most first.

    Parameters
    ----------
    decision : Decision
        Draws of the benefit and of every uncertain number.

    Returns
    -------
    DataFrame
        `kind` (number or log), `what`, `worth` of knowing it with its standard `error`, and `worth of half the width` [money/year]; what
        halving `takes`, in words, where records tell; for a log, the `worth of a month more` of it, at the pace so far [money/year].
        No rows where the choice is the same in every draw. A log's numbers without records yet count as not learned in that month.
    """
    kit, rows, actions = decision.kit, [], decision.actions
    uncertain, evidence = kit.assumed.uncertain, kit.assumed.evidence
    if not decision.all_known.value:
        return pd.DataFrame(columns=_COLUMNS)

    def row(kind, name, keys, removed=None):
        inputs = np.column_stack([decision.values[key] for key in keys])
        known, halved = (partial_information(actions, inputs, removed=share) for share in (1.0, 0.75))
        more = [evidence[key] for key in keys if key in evidence]
        finite = len(more) == len(keys) == 1 and np.isfinite(more[0].more_to_halve)
        takes = f"{more[0].more_to_halve:.0f} more {more[0].counted}" if finite else ""
        month = np.nan if removed is None else partial_information(actions, inputs, removed=removed).value
        rows.append((kind, name, known.value, known.error, halved.value, takes, month))

    for group in groups_of(kit):
        keys = [uncertain[n] for n in group]
        row("number", _names(keys), keys)
    for log, (tables, _) in TOLD.items():
        keys = [key for key in uncertain if log_of(key) == log]
        if keys:
            months = _months(kit.study.records, tables)
            row("log", log, keys, [month_share(evidence[key], months) if key in evidence and months else 0.0 for key in keys])
    return pd.DataFrame(rows, columns=_COLUMNS).sort_values("worth", ascending=False, kind="stable", ignore_index=True)


def month_share(found: Evidence, months: float) -> float:
    """Share of a number's variance that another month of its log would remove.

    Parameters
    ----------
    found : Evidence
        What the log has said in its time.
    months : float
        That the log has run. [month]

    Returns
    -------
    float
        m / (m + n): a width falls with the root of what is counted, so the count n that is there already is a third of what
        would halve it [-]

    Examples
    --------
    A guess worth 4 weeks and 20 weeks in 5 months; a month more brings 4: 4 / 28.

    >>> month_share(Evidence(key="k", number=None, prior=None, observed=1.0, data="", worth=4.0, amount=20.0, counted="weeks"), 5.0)
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


def decision_sentence(decision: Decision, fmt: Format) -> str:
    """Go on or not, and the chance that it is right; claims no more than the draws allow."""
    mean, right = float(decision.benefit.mean()), decision.right
    size = fmt.money(abs(mean), 0)
    certain = decision.kit.certain
    if certain and abs(mean) < 0.005:
        return "**Neither:** a year brings just what its hours would bring at the target."
    if abs(mean) <= 2.0 * decision.error:
        return "**Neither: these numbers cannot tell** whether going on brings more than the same hours at the target."
    if decision.goes:
        text = "**Go on.**" if right >= 0.9 else "**Go on, but watch it.**"
    else:
        text = "**Stop, or change something.**" if right >= 0.9 else "**Rather not as it is.**"
    brings = f"brings {size} {'more' if decision.goes else 'less'} than its hours at the target"
    if certain:
        return f"{text} A year {brings}."
    return f"{text} On average a year {brings}, and that is the right choice with a chance of {fmt.chance(right)}."


def next_to_measure(decision: Decision, frame: pd.DataFrame, fmt: Format) -> str:
    """What to measure next, or that nothing more is worth it."""
    everything = decision.all_known
    if decision.kit.certain:
        return "Every number is stated as certain, so nothing is left to measure for the choice; a guess is never certain, so give guesses a range."
    if everything.value <= 2.0 * everything.error or everything.value < 0.001 * abs(float(decision.benefit.mean())):
        return (
            f"Knowing every number exactly would hardly change the choice: it is worth {fmt.money(everything.value, 0)} a year."
        )
    text = f"Knowing everything first would be worth {fmt.money(everything.value, 0)} a year. "
    sure = frame[(frame.worth > 2.0 * frame.error) & (frame.kind == "number")].head(3)
    if sure.empty:
        return text + "No single number is worth measuring for the decision alone."
    parts = [
        f"{row.what} ({fmt.money(row.worth, 0)}" + (f"; {row.takes} would halve its width" if row.takes else "") + ")"
        for row in sure.itertuples()
    ]
    text += f"**Measure next: {'; '.join(parts)}.**"
    logs = frame[(frame.kind == "log") & (frame.worth > 2.0 * frame.error)]
    if logs.empty:
        return text
    first, kept = logs.iloc[0], f"{fmt.money(logs.worth.iloc[0], 0)} a year if kept to the end"
    if first["worth of a month more"] > 2.0 * first.error:
        kept += f", {fmt.money(first['worth of a month more'], 0)} for a month more"
    others = frame[(frame.kind == "log") & (frame.what != first.what)]
    apart = first.worth - others.worth > 2.0 * np.hypot(first.error, others.error)
    if apart.all():
        return text + f" Of the logs, {first.what} would tell most ({kept})."
    return (
        text
        + f" Of the logs, {first.what} would tell much ({kept}), though not surely more than {', '.join(others.what[~apart])}."
    )


def _names(keys):
    """Labels of a group; a long one by its first and how many more."""
    names = [label(key) for key in keys]
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} tied to it"


def _factor_seen(kit, values, kind, draws):
    """A shared factor's draws up to scale and bend: any number that takes it moves with nothing else."""
    key = next(key for key in kit.assumed.numbers if takes_factor(kit.assumed.numbers, key) == kind)
    return np.broadcast_to(np.asarray(values[key], float), (draws,))


@shown(
    "sensitivity-swings",
    "Pay an hour with one number at its low and high value (one time in ten beyond it)",
    "label: text; low: significant; high: significant; pay low: money; pay high: money; swing: money",
)
def swing_table(kit: OpenStudy) -> pd.DataFrame:
    """What each uncertain number alone does to pay an hour, largest first."""
    return pd.DataFrame(tornado(kit), columns=["label", "low", "high", "pay_low", "pay_high", "swing", "key"])


@shown(
    "sensitivity-scrap-and-cure-{product}",
    "Pay an hour by scrap rate (rows) and hours of cure (columns)",
    "scrap rate: percent; *: money",
)
def grid_table(kit: OpenStudy, scrap, cure_hours, *, product: str) -> pd.DataFrame:
    """Pay an hour over scrap rates (rows) and cure hours (columns). [money/hour]"""
    waits = main_wait(kit, product)[0] is not None
    pay = grid(kit, scrap, cure_hours if waits else None, product=product).totals["pay_per_hour"]
    pay = np.broadcast_to(np.reshape(pay, (len(scrap), -1)), (len(scrap), len(cure_hours)))
    return pd.DataFrame(pay, index=pd.Index(scrap, name="scrap rate"), columns=pd.Index(cure_hours, name="cure hours"))


def three_numbers(kit: OpenStudy, tornado) -> str:
    """The three uncertain numbers with the largest swing, and what each rests on."""
    if not len(tornado):
        return "Every number of this study is stated as certain, so none can move the result."
    fmt, rows = format_of(kit), []
    for place, row in enumerate(tornado.head(3).itertuples(), start=1):
        number = kit.assumed.numbers.get(row.key)
        rests = "stated" if number is None or row.key.startswith("spread.") else number.basis
        rows.append(f"{place}. **{row.label}** ({rests}): from low to high it moves pay an hour by {fmt.money(row.swing)}.")
    return "\n".join(rows)


def grid_sentence(kit: OpenStudy, waiting, hours) -> str:
    """What the grid moves and what it holds still."""
    fmt = format_of(kit)
    if waiting is None:
        return "No step of this product waits, so only the scrap rate matters here."
    return (
        f"The longest wait of this product is {fmt.number(hours, 1)} hours at **{waiting}**. Cells in bold meet the target. "
        f"Where a row does not change, waiting is not what limits. The check at each step keeps its part of the losses."
    )
