"""What doing things differently would change, on the same draws as the study itself."""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations, product

import numpy as np
import pandas as pd

from ..faults import StudyError
from ..formatting import Format
from ..kit import OpenStudy
from ..models import yearly_charge
from ..models.capacity import share_of
from ..models.year import DEMAND, HANDS
from ..study.scenarios import dotted
from .job import full_words
from .table import shown

SURE = 0.8  # chance from which on a scenario is called better
_FREED = 0.1  # share of draws less that a resource limits, from which it is called the reason
MOST_COMBINED = 10  # scenarios whose combinations are all tried


@dataclass(frozen=True, kw_only=True)
class Changed:
    """A scenario, or several together, beside the study as it is; arrays by draw."""

    names: tuple[str, ...]
    what: str
    outlay: float  # once [money]
    hours_once: float  # [hour]
    charge: float  # of the outlay, a year [money/year]
    set_up: float  # of the hours to set it up, at the target, a year of its life [money/year]
    life: float  # of the outlay, the shortest of several [year]
    interest: float  # [1/year]
    pay: np.ndarray  # an hour, the charge taken off; not a number in a year without any [money/hour]
    base_pay: np.ndarray  # [money/hour]
    residual: np.ndarray  # pay a year, the charge taken off [money/year]
    base_residual: np.ndarray  # [money/year]
    over_target: np.ndarray  # pay a year less the target for every hour, charge and set-up taken off [money/year]
    base_over_target: np.ndarray  # [money/year]
    limits: dict[str, float]  # share of draws in which each resource, or demand, is what limits
    base_limits: dict[str, float]
    target: float  # [money/hour]

    @cached_property
    def gain(self) -> np.ndarray:
        """What a year brings more, own hours at the target taken off. [money/year]"""
        return self.over_target - self.base_over_target

    @property
    def better(self) -> float:
        """Chance that it brings more. [-]"""
        return float((self.gain > 0).mean())

    @property
    def error(self) -> float:
        """Standard error of the mean gain over the draws. [money/year]"""
        return float(self.gain.std(ddof=1) / np.sqrt(self.gain.size))

    @property
    def clear(self) -> bool:
        """Whether its mean gain is other than nothing beyond what the draws may err, and beyond half a hundredth of the money."""
        return abs(float(self.gain.mean())) > max(2.0 * self.error, 0.005)

    @property
    def certain(self) -> bool:
        """Whether it brings the same in every draw."""
        return bool(np.ptp(self.gain) <= 1e-9 * max(1.0, float(np.abs(self.over_target).max())))

    @property
    def clearly_better(self) -> bool:
        """Whether it brings more, surely enough to be called better."""
        return self.clear and self.gain.mean() > 0 and self.better >= SURE

    @property
    def perhaps_better(self) -> bool:
        """Whether it brings more on average, but not surely."""
        return self.clear and self.gain.mean() > 0 and self.better < SURE

    @property
    def first_cost(self) -> float:
        """Outlay, and the hours to set it up at the target. [money]"""
        return self.outlay + self.hours_once * self.target

    @property
    def payback(self) -> float:
        """Years until the mean gain before the charge has paid the first cost; infinite where it never does. [year]"""
        gain = float(self.gain.mean()) + self.charge + self.set_up
        # a gain that only rounding makes pays nothing back
        return 0.0 if not self.first_cost else self.first_cost / gain if gain > 1e-9 * self.first_cost else np.inf

    @property
    def present_value(self) -> np.ndarray:
        """Gains before the charge over its life, at the study's interest, less the first cost. [money]"""
        of_one = float(yearly_charge(1.0, 0.0, self.life, self.interest))
        return (self.gain + self.charge + self.set_up) / of_one - self.first_cost

    @property
    def now_limits(self) -> str:
        """What limits most often with it."""
        return max(self.limits, key=self.limits.get)

    @property
    def limited_before(self) -> str:
        """What limits most often without it."""
        return max(self.base_limits, key=self.base_limits.get)


def best_of(rows: list[Changed], *, sure: bool = True) -> Changed | None:
    """Of scenarios that are clearly better, or only perhaps, the one that brings most on average; None where none is."""
    good = (row for row in rows if (row.clearly_better if sure else row.perhaps_better))
    return max(good, key=lambda row: row.gain.mean(), default=None)


def study_with_scenarios(kit: OpenStudy, names: list[str], *, orders: bool = False) -> OpenStudy:
    """The study with some scenarios, as a kit of its own; StudyError where they do not go together."""
    return kit.with_scenarios({f"scenarios.{name}": kit.study.file.scenarios[name] for name in names}, orders=orders)


def compared(kit: OpenStudy, names: list[str], draws: int | None = None, seed: int | None = None) -> Changed:
    """Put scenarios that are done together beside the study, on common draws, those of the study if not given.

    StudyError if the scenarios do not go together; ValueError if a year with them cannot be worked out, such as one without hours.
    """
    entries = [kit.study.file.scenarios[name] for name in names]
    other = study_with_scenarios(kit, names)
    draws, seed = kit.plan_of_draws(draws, seed)
    before, after = kit.monte_carlo(draws, seed), other.monte_carlo(draws, seed, base=kit)
    interest, target = float(kit.inputs().interest), float(kit.inputs().target_per_hour)
    charge = sum(float(yearly_charge(entry.outlay, 0.0, entry.life, interest)) for entry in entries)
    set_up = sum(float(yearly_charge(entry.hours * target, 0.0, entry.life, interest)) for entry in entries)
    return Changed(
        names=tuple(names),
        what=" + ".join(entry.what for entry in entries),
        outlay=sum(entry.outlay for entry in entries),
        hours_once=sum(entry.hours for entry in entries),
        charge=charge,
        set_up=set_up,
        life=min(entry.life for entry in entries),
        interest=interest,
        pay=share_of(after.draws["residual_pay_per_year"] - charge, after.draws["hours_per_year"], np.nan),
        base_pay=share_of(before.draws["residual_pay_per_year"], before.draws["hours_per_year"], np.nan),
        residual=after.draws["residual_pay_per_year"] - charge,
        base_residual=before.draws["residual_pay_per_year"],
        over_target=after.draws["beyond_target"] - charge - set_up,
        base_over_target=before.draws["beyond_target"],
        limits=after.bottleneck,
        base_limits=before.bottleneck,
        target=target,
    )


@lru_cache(maxsize=4)  # several pages ask for it
def changed(kit: OpenStudy, draws: int | None = None, seed: int | None = None) -> list[Changed]:
    """Every scenario of the study beside it, the one that brings most first."""
    rows = [compared(kit, [name], draws, seed) for name in kit.study.file.scenarios]
    return sorted(rows, key=lambda row: -float(row.gain.mean()))


def best_set(kit: OpenStudy, draws: int = 512) -> tuple[Changed | None, int]:
    """The scenarios that together bring most a year within the budget of `[decision]` for outlays, None where doing nothing does; and how many sets were tried.

    Every combination that goes together is tried, on few draws, of the ten scenarios that bring most alone; the best is worked out again on
    the study's own.
    """
    budget = kit.study.file.decision.budget
    alone = {row.names: row for row in changed(kit, draws)[:MOST_COMBINED]}
    names = [name for name in kit.study.file.scenarios if (name,) in alone]
    best, most, tried = None, 0.0, 0
    for chosen in (chosen for count in range(len(names)) for chosen in combinations(names, count + 1)):
        entries = [kit.study.file.scenarios[name] for name in chosen]
        if (budget is not None and sum(entry.outlay for entry in entries) > budget) or _clash(entries):
            continue
        try:
            gain = float((alone.get(chosen) or compared(kit, list(chosen), draws)).gain.mean())
        except (StudyError, ValueError):  # they do not go together
            continue
        tried += 1
        if gain > most:
            best, most = chosen, gain
    return (None if best is None else compared(kit, list(best))), tried


def _clash(entries):
    """Whether two of the scenarios change the same key, or one within it, so that only one can be done."""
    keys = [[f"{key}." for key in (*dict(dotted(entry.change)), *entry.drop)] for entry in entries]
    pairs = (pair for two in combinations(keys, 2) for pair in product(*two))
    return any(one.startswith(other) or other.startswith(one) for one, other in pairs)


@shown(
    "change-scenarios",
    "Scenarios beside the study: what each costs once, and the changes it brings; the gain a year lies between low and high in eight draws of ten, "
    "payback is in months and counts the hours once at the target, worth is over the life of the outlay, 5 years where none is stated",
    "scenario: text; outlay: money0; hours once: 0; change in pay an hour: money; change in pay a year: kept; gain a year: money0; low: money0; "
    "high: money0; "
    "chance: chance; payback: months; worth: money0; limits then: text",
    fold=True,
)
def scenario_table(rows: list[Changed]) -> pd.DataFrame:
    """Scenarios beside the study: cost once, change in pay and in the year with the middle eight in ten, chance, payback, worth. [money, hour, money/hour, money/year, month]"""
    frame = []
    for row in rows:
        low, high = np.quantile(row.gain, [0.1, 0.9])
        # of draws that have both
        pay, year = (pd.Series(more).mean() for more in (row.pay - row.base_pay, row.residual - row.base_residual))
        months = row.payback * 12.0 if row.first_cost else np.nan  # nothing to be paid back
        gain, worth = float(row.gain.mean()), float(row.present_value.mean())
        limits = row.now_limits.replace("-", " ")
        frame.append((row.what, row.outlay, row.hours_once, pay, year, gain, low, high, row.better, months, worth, limits))
    return frame


def scenario_sentence(row: Changed, fmt: Format) -> str:
    """One scenario in a sentence that claims no more than its draws allow."""
    gain = float(row.gain.mean())
    name = row.what[:1].upper() + row.what[1:]
    size = f"{fmt.money(abs(gain), 0)} a year"
    if row.clearly_better:
        text = f"**{name}: worth it.** It brings about {size} more, its own hours paid the target"
        text += "." if row.certain else f"; the chance that it brings anything is {fmt.chance(row.better)}."
        if row.first_cost:
            months = row.payback * 12.0
            text += f" {cost_words(row, fmt)} are back in about {f'{fmt.number(months)} months' if months >= 1.5 else 'a month'}."
    elif row.perhaps_better:
        text = f"**{name}: open.** On average it brings {size}, but the chance that it brings anything is only {fmt.chance(row.better)}; better numbers are worth having first."
    elif not row.clear:
        text = f"**{name}: no difference{'' if row.certain else ' that these draws can tell'}.**"
    else:
        start, why = "It" if row.certain else "On average it", _because(row)
        short = "" if why else _short_of_target(row, fmt)
        text = f"**{name}: not worth it.** {start} {short or f'costs {size} more than it brings{why}'}."
    if row.now_limits != row.limited_before:
        text += f" With it, {_limit(row.now_limits)} would be what limits, not {_limit(row.limited_before)}."
    return text


def best_sentence(best: Changed | None, tried: int, budget: float | None, fmt: Format) -> str:
    """What to do together within the budget."""
    within = "without a limit on outlays" if budget is None else f"within {fmt.money(budget, 0)} of outlays"
    if best is None:
        return f"Of {tried} combinations {within}, none brings more than leaving things as they are."
    brings = f"about {fmt.money(float(best.gain.mean()), 0)} a year more, with every hour paid the target"
    sure = f", better than now with a chance of {fmt.chance(best.better)}. The best of many flatters itself a little."
    text = f"Of {tried} combinations {within}, the best is **{best.what}**: {cost_words(best, fmt)}; {brings}"
    return text + ("." if best.certain else sure)


def together_sentence(best: Changed | None, rows: list[Changed], fmt: Format) -> str:
    """What scenarios done together bring beyond the sum of each alone, with the reason where what limits shows one; nothing of one alone, or
    where the draws could not tell."""
    alone = [row for row in rows if best and row.names[0] in best.names]
    if len(alone) < 2:
        return ""
    more = float(best.gain.mean()) - sum(float(row.gain.mean()) for row in alone)
    if abs(more) < max(2.0 * sum(row.error for row in (best, *alone)), 1.0):
        return ""
    freed = {name: max(row.limits.get(name, 0.0) for row in alone) - share for name, share in best.limits.items()}
    room = max((name for name in freed if name != DEMAND), key=freed.get, default="")
    busy, why = min(freed, key=freed.get), ""
    if more > 0 and room and freed[room] >= _FREED:
        why = f", because one makes room where others alone fill {_limit(room)}"
    if more < 0 and -freed[busy] >= _FREED:
        why = f", because with all of them {_limit(busy)} {'limit' if busy == HANDS else 'limits'} more often"
    size = f"{fmt.money(abs(more), 0)} {'more' if more > 0 else 'less'}"
    return f"Each alone, they would bring {fmt.money(float(best.gain.mean()) - more, 0)} in all; together they bring {size}{why}."


def cost_words(row: Changed, fmt: Format) -> str:
    """What a scenario costs once: its outlay, and the hours to set it up, which count at the target."""
    parts = [f"{fmt.money(row.outlay, 0)} of outlays"] if row.outlay or not row.hours_once else []
    parts += [f"{fmt.number(row.hours_once)} hours to set it up"] if row.hours_once else []
    return " and ".join(parts)


def _because(row):
    """Why a scenario does not pay, where what limits explains it."""
    sold = float((row.residual + row.charge - row.base_residual).mean())
    if abs(sold) >= 0.02 * abs(float(row.base_residual.mean())):
        return ""
    reason = "buyers limit already" if row.now_limits == DEMAND else full_words(row.now_limits)
    return f", because {reason} and it hardly changes what is sold"


def _short_of_target(row, fmt):
    """That a scenario brings money, and less than its hours at the target are worth; nothing where it brings none, or takes none."""
    brings, loses = float((row.residual - row.base_residual).mean()), -float(row.gain.mean())
    hours = (brings + loses - row.set_up) / row.target
    if brings < 0.5 or hours < 0.5:
        return ""
    once = ", with those to set it up," if row.set_up >= 0.5 else ""
    return f"brings {fmt.money(brings, 0)} a year, but its {fmt.count(round(hours), 'hour')}{once} are worth {fmt.money(brings + loses, 0)} at the target"


def _limit(name):
    return {DEMAND: "demand", HANDS: "your hands"}.get(name, f"the {name.replace('-', ' ')}")
