"""The open study: its numbers at a point and as draws, and the year that comes of them."""

import datetime as dt
import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np

from .assumptions import StudyWithEvidence, assume, assume_changed, draw_values, point_values, with_luck, workshop_at
from .draws import QUANTILES, chance, in_chunks, round_up_draws, summarise
from .faults import Fault, StudyError, refusal
from .formatting import Format
from .models import Outcome, Workshop, beyond_target, evaluate, longest_wait, with_levers
from .models.windows import merged_windows
from .study import STUDY_FILE, Study, read_study, study_with
from .study.fields import as_date
from .study.inputs import input_files
from .study.schema import ScenarioEntry

_OF_PRODUCT = {  # results of a product by unit
    "share": "yield",
    "cast/piece": "casts_per_good_piece",
    "minute/piece": "minutes_per_good_piece",
    "{money}/piece": "material_per_good_piece cost_per_good_piece scrap_cost_per_good_piece break_even_price cash_break_even_price",
}
PRODUCT_UNITS = {name: unit for unit, names in _OF_PRODUCT.items() for name in names.split()}


@dataclass(frozen=True, kw_only=True)
class Answer:
    """Monte Carlo of a study: draws by quantity, in the order they were made."""

    draws: dict[str, np.ndarray] = field(repr=False)  # totals of the year, then `product/quantity`
    resources: list[str]  # names that draws["binding"] points into
    target: float  # pay an hour aimed at [money/hour]
    living: float  # a year's living [money/year]

    def summary(self, quantity: str) -> dict[str, float | None]:
        """Summary of one quantity; what is infinite in it ('no value does') comes back as None."""
        values = self.draws[quantity]
        if np.isnan(values).all():  # no draw has one
            return dict.fromkeys(["mean", "sd", *QUANTILES, "mean_error", "p50_error"])
        if np.isfinite(values[~np.isnan(values)]).all():
            return summarise(values)
        ranks = np.nanquantile(values, list(QUANTILES.values()), method="inverted_cdf")
        found = {name: float(q) if np.isfinite(q) else None for name, q in zip(QUANTILES, ranks, strict=True)}
        return {"mean": None, "sd": None, **found, "mean_error": None, "p50_error": None}

    @property
    def pays(self) -> dict[str, np.ndarray]:
        """Whether an hour, and whether a year, pays the living wage, draw by draw."""
        hour = self.draws["pay_per_hour"] >= self.draws["target_per_hour"]
        return {"hour": hour, "year": self.draws["residual_pay_per_year"] >= self.draws["living_per_year"]}

    @property
    def chances(self) -> dict[str, dict[str, float]]:
        """Chance that an hour, and that a year, pays the living wage, each with its error."""
        return {f"{what}_pays_living_wage": chance(pays) for what, pays in self.pays.items()}

    @property
    def bottleneck(self) -> dict[str, float]:
        """Share of draws in which each resource, or demand, is what limits."""
        counts = np.bincount(self.draws["binding"].astype(int), minlength=len(self.resources))
        return {name: float(count / counts.sum()) for name, count in zip(self.resources, counts, strict=True)}


@dataclass(frozen=True, kw_only=True, eq=False)
class OpenStudy:
    """An open study: its numbers, point results and Monte Carlo. Equal to itself alone, so that results can be kept by it."""

    study: Study
    assumed: StudyWithEvidence
    digest: str = ""  # of the files it was read from, records among them
    origin: "OpenStudy | None" = None  # as it was read, where this is that with changes
    changes: tuple[ScenarioEntry, ...] = ()
    # what was worked out of it, found where it is asked for again: years by what was asked of `monte_carlo`, plan and lessons of an order
    kept: dict[object, object] = field(default_factory=dict, init=False, repr=False)

    def __repr__(self) -> str:
        pay = format_of(self).money(float(self.point().totals["pay_per_hour"]))
        return f"{self.study.file.study.name}: {pay} an hour with every number at its middle, {len(self.assumed.uncertain)} of them uncertain"

    @property
    def certain(self) -> bool:
        """Whether every number is stated as certain and nothing is left to chance, so that all draws are alike."""
        return not self.assumed.uncertain and self.variation == "rates"

    @property
    def variation(self) -> str:
        """What differs between the draws: 'rates', 'counts' or 'months'."""
        return self.study.file.study.variation

    @lru_cache(maxsize=64)  # noqa: B019  a few studies are open at a time, and each is small
    def inputs(self, *, stated: bool = False) -> Workshop:
        """Model inputs at the point."""
        return workshop_at(self.study, point_values(self.assumed, stated=stated))

    @lru_cache(maxsize=64)  # noqa: B019
    def point(self, *, stated: bool = False) -> Outcome:
        """Result at the point: with the evidence in place of guesses, or as stated."""
        return evaluate(self.inputs(stated=stated))

    def changed(self, change: dict[str, object]) -> "OpenStudy":
        """The study with keys of its file as a change has them; what it leaves alone keeps its evidence. StudyError for faults."""
        return self.with_scenarios({"": ScenarioEntry(what="a change", change=change)}) if change else self

    def with_scenarios(self, entries: dict[str, ScenarioEntry], *, orders: bool = False) -> "OpenStudy":
        """The study with some scenarios, as `study_with` takes them, on top of those it has; StudyError where they do not go together."""
        as_read, before = self.origin or self, {f"before {n}": entry for n, entry in enumerate(self.changes)}
        assumed = assume_changed(*study_with(as_read.study, before | entries, orders=orders), as_read.assumed)
        return OpenStudy(study=assumed.study, assumed=assumed, origin=as_read, changes=(*self.changes, *entries.values()))

    def plan_of_draws(self, draws: int | None = None, seed: int | None = None) -> tuple[int, int]:
        """Draws, rounded up to 16 powers of two, and seed: as the study says where not given."""
        table = self.study.file.study
        return round_up_draws(draws or table.draws), table.seed if seed is None else seed

    def by_draw(
        self,
        work: Callable[..., Mapping[object, object]],
        draws: int | None = None,
        seed: int | None = None,
        *,
        base: "OpenStudy | None" = None,
        years: int = 1,
        chunk: int = 8_192,
        workers: int = 1,
        axes: int = 0,
    ) -> dict[object, np.ndarray]:
        """What `work` finds in the workshop of every draw, arrays of length draws by name: the one loop over draws.

        `work` takes a workshop of arrays of some rows, one for each of the `years`, alike in all but their luck; its values broadcast to one a
        row, or have rows first. In what both share the draws are those of `base`, so that two studies can be compared row by row. The result
        does not depend on `chunk`, rows a time, nor on `workers`, threads. With `axes` the rows have so many axes behind them, for levers that
        `work` moves.
        """
        draws, seed = self.plan_of_draws(draws, seed)

        def rows(start, stop):
            values = draw_values(self.assumed, draws, seed, start, stop, base=(base or self).assumed)
            behind = (..., *[None] * axes)
            a = workshop_at(self.study, {key: value[behind] if np.ndim(value) else value for key, value in values.items()})
            each = (with_luck(a, self.study, seed, start, stop, year, axes) for year in range(years))
            found = {key: np.asarray(value) for key, value in work(*each).items()}
            found = {key: value if value.dtype == bool else value.astype(float, copy=False) for key, value in found.items()}
            return {key: np.broadcast_to(value, (stop - start, *value.shape[1:])) for key, value in found.items()}

        return in_chunks(rows, draws, chunk, workers)

    def monte_carlo(self, draws=None, seed=None, *, base: "OpenStudy | None" = None, chunk=8_192, workers=1, **levers) -> Answer:
        """Monte Carlo of the year; `draws` to `workers` as in `by_draw`, the levers of `with_levers` the same in every draw."""
        draws, seed = self.plan_of_draws(draws, seed)
        asked = draws, seed, None if base is self else base, chunk, *sorted(levers.items())
        if asked in self.kept:
            return self.kept[asked]
        resources: list[str] = []

        def work(a):
            a = with_levers(a, **levers)
            outcome = evaluate(a)
            resources[:] = outcome.resources
            found = {**outcome.totals, "binding": outcome.binding, "beyond_target": beyond_target(a, outcome)}
            found |= {key: getattr(a, key) for key in ("target_per_hour", "living_per_year", "set_aside_share")}
            for name, result in outcome.products.items():
                none = np.asarray(result["made_per_year"]) == 0  # a year without orders has no cost of a piece
                found |= {f"{name}/{quantity}": np.where(none, np.nan, result[quantity]) for quantity in PRODUCT_UNITS}
            found["full_months"] = sum(np.greater(month.binding, 0) for month in outcome.months)
            return found | {f"orders/{name}": channel["came"] for name, channel in outcome.channels.items()}

        found = self.by_draw(work, draws, seed, base=base, chunk=chunk, workers=workers)
        point = self.inputs()
        target, living = float(point.target_per_hour), float(point.living_per_year)
        self.kept[asked] = Answer(draws=found, resources=resources, target=target, living=living)
        return self.kept[asked]


def open_study(folder, *, with_records: bool = True, as_of: dt.date | str | None = None) -> OpenStudy:
    """Read a study folder, its logs up to a day if one is given, and put its evidence to work; the same object while its files
    stay the same. StudyError has every fault."""
    folder, as_of = Path(folder).resolve(), known_day(as_of)
    files = [path for path in input_files(folder) if path.is_file()]
    parts = (path.name.encode() + hashlib.sha256(path.read_bytes()).digest() for path in files)
    digest = hashlib.sha256(b"".join(parts)).hexdigest()
    return _copies.get((folder, with_records, as_of, digest)) or _opened(folder, with_records, as_of, digest)


def known_day(text: dt.date | str | None) -> dt.date | None:
    """The day that `--as-of` names, if any; StudyError for what is none."""
    try:
        return None if text is None else as_date(text)
    except ValueError as error:
        raise refusal("--as-of", str(error), "a date such as 2026-03-14", found=repr(str(text))) from None


_copies: dict[tuple[Path, bool, dt.date | None, str], OpenStudy] = {}  # studies open already, by where a copy of their files is


def open_copy(kit: OpenStudy, folder: Path) -> None:
    """Let `open_study` give this study for a copy of its folder too, as long as its files are the same; in this process only."""
    _copies[folder.resolve(), True, kit.study.as_of, kit.digest] = kit


@lru_cache(maxsize=4)
def _opened(folder: Path, with_records: bool, as_of: dt.date | None, digest: str) -> OpenStudy:
    study = read_study(folder, with_records=with_records, as_of=as_of)
    kit = OpenStudy(study=study, assumed=assume(study), digest=digest)
    a = kit.inputs()
    busy = a.fixed_hours_per_week + sum(c.days_per_year * c.hours_per_day for c in a.channels) / a.weeks_per_year
    faults = []
    if busy >= a.hours_per_week:  # what is stated was checked before; the logs may say otherwise
        wrong, right = "leaves no hours to make anything", "the hours really given"
        found = f"{busy:.1f} fixed and stall hours a week in the logs, {a.hours_per_week:g} given"
        faults.append(Fault(STUDY_FILE, wrong, right, column="time.hours", found=found))
    longest = max(end - start for start, end in merged_windows(study.windows)) / 60.0
    for key, known in kit.assumed.evidence.items():
        if key.endswith(".load_minutes") and known.observed > longest:
            found = f"about {known.observed:.0f} minutes a load in the logs"
            right = f"longer working hours, or loads within {longest:g} minutes"
            faults.append(Fault(STUDY_FILE, "does not fit a working window", right, column=key, found=found))
    if faults:
        raise StudyError(faults)
    return kit


def grid(kit: OpenStudy, scrap, cure_hours=None, *, product=None) -> Outcome:
    """Outcome at the point over scrap rates (rows) and, if given, cure hours (columns)."""
    levers = {"scrap": np.asarray(scrap, float)}
    if cure_hours is not None:
        levers = {"scrap": levers["scrap"][:, None], "cure_hours": np.asarray(cure_hours, float)[None, :]}
    return evaluate(with_levers(kit.inputs(), product=product, **levers))


def main_wait(kit: OpenStudy, product=None):
    """Name and hours of the wait that cure studies change."""
    return longest_wait(kit.inputs(), product)


def basis_counts(kit: OpenStudy) -> dict[str, list[str]]:
    """Keys of the study's numbers by what they rest on; shared spreads left out."""
    groups: dict[str, list[str]] = {}
    for key, number in kit.assumed.numbers.items():
        if not key.startswith("spread."):
            groups.setdefault(number.basis, []).append(key)
    return groups


def format_of(kit: OpenStudy, *, year: bool = True) -> Format:
    """The format of a study's year; for an order, whose pieces pass or fail even if every number is certain, `year` is False."""
    return Format(kit.study.currency, kit.study.file.study.locale, year and kit.certain)
