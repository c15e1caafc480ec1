"""The questions a study answers: point, Monte Carlo, what moves pay most, scrap and cure sweeps."""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from .assumptions import Assumed, assume, assumptions_at, draw_values, label, point_values, spread_values
from .faults import Fault, StudyError
from .models import Assumptions, Outcome, evaluate, loads_per_week, longest_wait, with_levers
from .models.curing import merged_windows
from .study import STUDY_FILE, Study, read_study
from .uncertainty import QUANTILES, chance, in_chunks, round_up_draws, summarise

__all__ = [
    "Answer",
    "Kit",
    "LoadWait",
    "basis_counts",
    "break_even_scrap",
    "evidence_steps",
    "grid",
    "load_wait",
    "main_wait",
    "open_study",
    "swings",
    "waits_around",
]

_BY_PRODUCT = (
    "yield",
    "casts_per_good_piece",
    "minutes_per_good_piece",
    "material_per_good_piece",
    "cost_per_good_piece",
    "scrap_cost_per_good_piece",
    "break_even_price",
    "cash_break_even_price",
)
CHANCES = ("hour_pays_living_wage", "year_pays_living_wage")


@dataclass(frozen=True, kw_only=True)
class Answer:
    """Monte Carlo of a study: draws by quantity, in the order they were made."""

    draws: dict[str, np.ndarray]  # studio quantities, then `product/quantity`
    resources: list[str]  # names that draws["binding"] points into
    target: float  # pay an hour aimed at [money/hour]
    living: float  # a year's living [money/year]

    def summary(self, quantity: str) -> dict[str, float | None]:
        """Summary of one quantity; what is infinite in it ('no value does') comes back as None."""
        values = self.draws[quantity]
        if np.isfinite(values).all():
            return summarise(values)
        ranks = np.quantile(values, list(QUANTILES.values()), method="inverted_cdf")
        found = {name: float(q) if np.isfinite(q) else None for name, q in zip(QUANTILES, ranks, strict=True)}
        return {"mean": None, "sd": None, **found, "mean_error": None, "p50_error": None}

    @property
    def chances(self) -> dict[str, dict[str, float]]:
        """Chance that an hour, and that a year, pays the living wage, each with its error."""
        hour = self.draws["pay_per_hour"] >= self.draws["target_per_hour"]
        year = self.draws["residual_pay_per_year"] >= self.draws["living_per_year"]
        return dict(zip(CHANCES, (chance(hour), chance(year)), strict=True))

    @property
    def bottleneck(self) -> dict[str, float]:
        """Share of draws in which each resource, or demand, is what limits."""
        counts = np.bincount(self.draws["binding"].astype(int), minlength=len(self.resources))
        return {name: float(count / counts.sum()) for name, count in zip(self.resources, counts, strict=True)}


@dataclass(frozen=True, kw_only=True)
class Kit:
    """An open study: its numbers, its point results and its Monte Carlo."""

    study: Study
    assumed: Assumed

    def inputs(self, *, stated: bool = False) -> Assumptions:
        """Model inputs at the point."""
        return assumptions_at(self.study, point_values(self.assumed, stated=stated))

    def point(self, *, stated: bool = False) -> Outcome:
        """Result at the point: with the evidence in place of guesses, or as stated."""
        return evaluate(self.inputs(stated=stated))

    def monte_carlo(self, draws=None, seed=None, *, chunk=8_192, workers=1, product=None, scrap=None, cure_hours=None) -> Answer:
        """Monte Carlo of the year.

        Parameters
        ----------
        draws, seed : int, optional
            As the study says if not given; draws are rounded up to 16 powers of two.
        chunk, workers : int, optional
            Rows a time and threads; the result does not depend on them.
        product, scrap, cure_hours : optional
            Levers of `with_levers`, the same in every draw.

        Returns
        -------
        Answer
        """
        draws = round_up_draws(draws or self.study.file.study.draws)
        seed = self.study.file.study.seed if seed is None else seed
        resources: list[str] = []

        def work(start, stop):
            a = assumptions_at(self.study, draw_values(self.assumed, draws, seed, start, stop))
            a = with_levers(a, product=product, scrap=scrap, cure_hours=cure_hours)
            outcome = evaluate(a)
            resources[:] = outcome.resources
            found = {**outcome.studio, "binding": outcome.binding}
            found |= {"target_per_hour": a.target_per_hour, "living_per_year": a.living_per_year}
            for name, result in outcome.products.items():
                found |= {f"{name}/{quantity}": result[quantity] for quantity in _BY_PRODUCT}
            return {key: np.broadcast_to(np.asarray(value, float), (stop - start,)) for key, value in found.items()}

        found = in_chunks(work, draws, chunk, workers)
        base = self.inputs()
        return Answer(draws=found, resources=resources, target=float(base.target_per_hour), living=float(base.living_per_year))


def open_study(folder, *, with_records: bool = True) -> Kit:
    """Read a study folder and put its evidence to work; raises StudyError with every fault."""
    study = read_study(folder, with_records=with_records)
    kit = Kit(study=study, assumed=assume(study))
    a = kit.inputs()
    busy = a.fixed_hours_per_week + sum(c.days_per_year * c.hours_per_day for c in a.channels) / a.weeks_per_year
    faults = []
    if busy >= a.hours_per_week:  # what is stated was checked before; the logs may say otherwise
        found = f"{busy:.1f} fixed and stall hours a week in the logs, {a.hours_per_week:g} given"
        faults.append(
            Fault(
                file=STUDY_FILE,
                column="time.hours",
                wrong="leaves no hours to make anything",
                found=found,
                right="the hours really given",
            )
        )
    longest = max(end - start for start, end in merged_windows(study.windows)) / 60.0
    for key, known in kit.assumed.evidence.items():
        if key.endswith(".load_minutes") and known.observed > longest:
            found = f"about {known.observed:.0f} minutes a load in the logs"
            faults.append(
                Fault(
                    file=STUDY_FILE,
                    column=key,
                    wrong="does not fit a working window",
                    found=found,
                    right=f"longer working hours, or loads within {longest:g} minutes",
                )
            )
    if faults:
        raise StudyError(faults)
    return kit


def swings(kit: Kit, low: float = 0.1, high: float = 0.9) -> list[dict[str, object]]:
    """What each uncertain number alone does to pay an hour, the others at their point.

    Parameters
    ----------
    kit : Kit
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
    pay = evaluate(assumptions_at(kit.study, spread_values(assumed, values, factors))).studio["pay_per_hour"]
    pay = np.broadcast_to(pay, (size,))
    for i, row in enumerate(rows):
        row |= {"pay_low": float(pay[2 * i]), "pay_high": float(pay[2 * i + 1]), "swing": float(abs(pay[2 * i + 1] - pay[2 * i]))}
    return sorted(rows, key=lambda row: -row["swing"])


def grid(kit: Kit, scrap, cure_hours=None, *, product=None, stated: bool = False) -> Outcome:
    """Outcome at the point over scrap rates (rows) and, if given, cure hours (columns)."""
    scrap = np.asarray(scrap, float)
    if cure_hours is None:
        return evaluate(with_levers(kit.inputs(stated=stated), product=product, scrap=scrap))
    cure = np.asarray(cure_hours, float)[None, :]
    return evaluate(with_levers(kit.inputs(stated=stated), product=product, scrap=scrap[:, None], cure_hours=cure))


@dataclass(frozen=True, kw_only=True)
class LoadWait:
    """The first wait of a load: in which step and place, how long, and how it is turned round."""

    product: str
    step: str
    resource: str  # name in Outcome.use
    wait_hours: float  # in station or mould [hour]
    rest_hours: float  # of the mould after it [hour]
    turnaround_hours: float  # [hour]
    count: int  # stations, or sets of moulds

    def loads(self, windows, hours=None, count=None):
        """Loads a week that it lets through, as it is or with other hours or another count. [load/week]"""
        hours = self.wait_hours if hours is None else hours
        return loads_per_week(hours + self.rest_hours, self.turnaround_hours, count or self.count, windows)


def load_wait(kit: Kit) -> LoadWait | None:
    """The wait of a load that the staircase is about: of those that limit loads, the one demand fills most.

    Parameters
    ----------
    kit : Kit
        Open study.

    Returns
    -------
    LoadWait or None
        None when no load waits in a station or a mould.
    """
    a, use = kit.inputs(), kit.point().use_at_demand
    stations, found = {s.name: int(s.count) for s in a.stations}, []
    for p in a.products:
        loading = 0.0
        first = True
        for step in p.steps:
            loading += step.load_minutes / 60.0
            if step.wait_in in stations and step.load_minutes > 0:
                turn, count = step.load_minutes / 60.0, stations[step.wait_in]
                found.append(
                    LoadWait(
                        product=p.name,
                        step=step.name,
                        resource=step.wait_in,
                        wait_hours=step.wait_hours,
                        rest_hours=0.0,
                        turnaround_hours=turn,
                        count=count,
                    )
                )
            if first and step.wait_hours > 0:
                first, mould = False, f"moulds for {p.name}"
                if mould in use:
                    rest, sets = p.mould.rest_hours, int(p.mould.sets)
                    found.append(
                        LoadWait(
                            product=p.name,
                            step=step.name,
                            resource=mould,
                            wait_hours=step.wait_hours,
                            rest_hours=rest,
                            turnaround_hours=loading,
                            count=sets,
                        )
                    )
    return max(found, key=lambda wait: float(use[wait.resource]), default=None)


def main_wait(kit: Kit, product=None):
    """Name and hours of the wait that cure studies change."""
    return longest_wait(kit.inputs(), product)


def waits_around(hours: float) -> list[float]:
    """Waits to try around a study's own: a half to two and a half times, whole hours, its own among them."""
    tries = {round(hours * share) for share in (0.5, 0.75, 1.25, 1.5, 2.0, 2.5)}
    return sorted({float(t) for t in tries if t > 0} | {float(hours)}) or [0.0]


def break_even_scrap(kit: Kit, product: str) -> float | None:
    """Scrap rate at which an hour pays the target; None when even none at all does not. [-]"""

    def short(rate):
        outcome = grid(kit, [rate], product=product)
        return float(np.ravel(outcome.studio["pay_per_hour"])[0]) - float(kit.inputs().target_per_hour)

    if short(0.0) < 0:
        return None
    return 0.98 if short(0.98) > 0 else float(optimize.brentq(short, 0.0, 0.98, xtol=1e-6))


def evidence_steps(kit: Kit) -> list[dict[str, object]]:
    """What each measured number alone changes in the stated pay an hour, largest first. [money/hour]"""
    stated = point_values(kit.assumed, stated=True)
    base = float(kit.point(stated=True).studio["pay_per_hour"])
    rows = []
    for key, found in kit.assumed.evidence.items():
        pay = evaluate(assumptions_at(kit.study, stated | {key: found.number.value})).studio["pay_per_hour"]
        rows.append({"key": key, "label": label(key), "change": float(pay) - base})
    return sorted(rows, key=lambda row: -abs(row["change"]))


def basis_counts(kit: Kit) -> dict[str, list[str]]:
    """Keys of the study's numbers by what they rest on; shared spreads left out."""
    groups: dict[str, list[str]] = {}
    for key, number in kit.assumed.numbers.items():
        if not key.startswith("spread."):
            groups.setdefault(number.basis, []).append(key)
    return groups
