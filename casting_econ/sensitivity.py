"""Which numbers move the result and the decision, and what it would be worth to know them better."""

import re
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from .analysis import Kit
from .assumptions import assumptions_at, draw_values, label, takes_factor, values_at
from .formatting import Format
from .models import evaluate
from .uncertainty import round_up_draws
from .uncertainty.information import Worth, partial_information, perfect_information
from .uncertainty.sobol import Indices, sobol_indices

__all__ = ["Decision", "decision_of", "decision_sentence", "groups_of", "information_table", "next_to_measure", "sobol_table"]

ROWS = 2048  # of each base sample of the indices
# which log tells a number, by its dotted key
_LOGS = (
    ("timesheet", r"time\.fixed_hours|.*\.(minutes|load_minutes|minutes_per_order|rework_minutes)"),
    ("moulds", r".*\.mould\.(life|life_shape|minutes)"),
    ("batches and faults", r".*\.(pass_share|rework_share|wait|loss|ruined_loads)"),
    ("purchases", r"products\..*\.price"),
    ("sales", r"channels\..*"),
)


@dataclass(frozen=True, kw_only=True)
class Decision:
    """Go on, or do something else that pays the target for every hour; by draw."""

    kit: Kit
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
    def all_known(self) -> Worth:
        """What it would be worth a year to know everything first."""
        return perfect_information(self.actions)


def decision_of(kit: Kit, draws: int | None = None, seed: int | None = None) -> Decision:
    """The decision on the draws of the study."""
    draws = round_up_draws(draws or kit.study.file.study.draws)
    seed = kit.study.file.study.seed if seed is None else seed
    values = draw_values(kit.assumed, draws, seed)
    a = assumptions_at(kit.study, values)
    studio = evaluate(a).studio
    benefit = studio["residual_pay_per_year"] - a.target_per_hour * studio["hours_per_year"]
    uncertain = {key: np.asarray(values[key]) for key in kit.assumed.uncertain if not key.startswith("spread.")}
    shared = [key for key in kit.assumed.uncertain if key.startswith("spread.")]
    for key in shared:  # the factor itself, seen on a number that takes it
        kind = key.removeprefix("spread.")
        uncertain[key] = _factor_seen(kit, values, kind, draws)
    return Decision(kit=kit, benefit=np.broadcast_to(np.asarray(benefit, float), (draws,)), values=uncertain)


def groups_of(kit: Kit) -> list[list[int]]:
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


def sobol_table(kit: Kit, rows: int = ROWS, seed: int | None = None) -> tuple[pd.DataFrame, Indices]:
    """First-order and total indices of pay an hour, and of the benefit of going on, by group; the largest on the decision first."""
    seed = kit.study.file.study.seed if seed is None else seed
    uncertain, groups = kit.assumed.uncertain, groups_of(kit)

    def model(u):
        a = assumptions_at(kit.study, values_at(kit.assumed, u))
        studio = evaluate(a).studio
        over = studio["residual_pay_per_year"] - a.target_per_hour * studio["hours_per_year"]
        return np.column_stack([np.broadcast_to(x, (u.shape[0],)) for x in (studio["pay_per_hour"], over)])

    found = sobol_indices(model, len(uncertain), round_up_draws(rows), seed, groups)
    frame = pd.DataFrame(
        {
            "number": [_names([uncertain[n] for n in group]) for group in groups],
            "alone": found.first[:, 0],
            "total": found.total[:, 0],
            "low": found.total_low[:, 0],
            "high": found.total_high[:, 0],
            "on the year": found.total[:, 1],
        }
    )
    return frame.sort_values("on the year", ascending=False, ignore_index=True), found


def information_table(decision: Decision) -> pd.DataFrame:
    """What it would be worth a year to know each number, and each log's numbers, before deciding; the most first."""
    kit, rows, actions = decision.kit, [], decision.actions
    uncertain = kit.assumed.uncertain
    if not decision.all_known.value:  # the choice is the same in every draw
        return pd.DataFrame(columns=["kind", "what", "worth", "error", "worth of half the width", "takes"])

    def row(name, keys, kind):
        inputs = np.column_stack([decision.values[key] for key in keys])
        known, halved = (partial_information(actions, inputs, removed=share) for share in (1.0, 0.75))
        more = [kit.assumed.evidence[key] for key in keys if key in kit.assumed.evidence]
        takes = (
            f"{more[0].more_to_halve:.0f} more {more[0].counted}" if len(more) == 1 and np.isfinite(more[0].more_to_halve) else ""
        )
        rows.append(
            {
                "kind": kind,
                "what": name,
                "worth": known.value,
                "error": known.error,
                "worth of half the width": halved.value,
                "takes": takes,
            }
        )

    for group in groups_of(kit):
        keys = [uncertain[n] for n in group]
        row(_names(keys), keys, "number")
    for log, pattern in _LOGS:
        keys = [key for key in uncertain if re.fullmatch(pattern, key)]
        if keys:
            row(log, keys, "log")
    frame = pd.DataFrame(rows, columns=["kind", "what", "worth", "error", "worth of half the width", "takes"])
    return frame.sort_values("worth", ascending=False, kind="stable", ignore_index=True)


def decision_sentence(decision: Decision, fmt: Format) -> str:
    """Go on or not, and the chance that it is right; claims no more than the draws allow."""
    mean, right = float(decision.benefit.mean()), decision.right
    size = fmt.money(abs(mean), 0)
    if abs(mean) <= 2.0 * decision.error:
        return "**Neither: these numbers cannot tell** whether going on brings more than the same hours at the target."
    if decision.goes and right >= 0.9:
        text = f"**Go on.** On average a year brings {size} more than its hours at the target"
    elif decision.goes:
        text = f"**Go on, but watch it.** On average a year brings {size} more than its hours at the target"
    elif right >= 0.9:
        text = f"**Stop, or change something.** On average a year brings {size} less than its hours at the target"
    else:
        text = f"**Rather not as it is.** On average a year brings {size} less than its hours at the target"
    return f"{text}, and that is the right choice with a chance of {fmt.chance(right)}."


def next_to_measure(decision: Decision, frame: pd.DataFrame, fmt: Format) -> str:
    """What to measure next, or that nothing more is worth it."""
    everything = decision.all_known
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
    return text + (
        f" Of the logs, {logs.what.iloc[0]} would tell most ({fmt.money(logs.worth.iloc[0], 0)} a year if kept to the end)."
        if len(logs)
        else ""
    )


def _names(keys):
    """Labels of a group; a long one by its first and how many more."""
    names = [label(key) for key in keys]
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} tied to it"


def _factor_seen(kit, values, kind, draws):
    """A shared factor's draws up to scale and bend: any number that takes it moves with nothing else."""
    key = next(key for key in kit.assumed.numbers if takes_factor(kit.assumed.numbers, key) == kind)
    return np.broadcast_to(np.asarray(values[key], float), (draws,))
