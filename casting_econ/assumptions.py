"""From a study and its evidence to the numbers the models take: at a point, or as draws."""

import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache, reduce

import numpy as np
from scipy import special

from .draws import copula_matrix, correlate, points, round_up_draws
from .evidence import DAYS_PER_MONTH, SCATTERS, Finding, moulds_in_hand, season_weights, update
from .models import hours_at_temperature
from .models import workshop as model
from .models.costs import material_cost
from .models.money import self_employed_target
from .models.months import MONTHS_IN_YEAR
from .models.mould_making import moulds_for_load
from .reference import wages
from .study import Number, Study
from .study.fields import MONTHS
from .study.scenarios import PASS_SHARE, SCRAP
from .study.stations import pot_loads

_SHARED = {  # factors that numbers of a kind share, as a reader would say them
    "demand": "how many buyers come",
    "minutes": "how long all work takes",
    "pass_odds": "how many pieces pass their checks",
    "material": "what all materials cost",
    "price": "what buyers will pay",
}
_HOW = {"clustering": "how bunched orders come", "size spread": "how orders differ in pieces"}
_UNIT = re.compile("_(hours|casts|years|per_year|share)$")  # which names of models end in and those of the study file do not
_ORDERS, _SIZES, _RISK = range(3)  # streams of chance
NEW_SEED = 1_000_003  # added to the seed for numbers that only a changed study is unsure of


@dataclass(frozen=True, kw_only=True)
class StudyWithEvidence:
    """A study with what its logs say, and the plan for drawing from it."""

    study: Study
    evidence: dict[str, Finding]
    numbers: dict[str, Number]  # in force: measured where the logs know, stated otherwise
    uncertain: tuple[str, ...]  # keys that are drawn, then shared factors as `spread.<kind>`
    root: np.ndarray | None  # correlation of the normal scores of `uncertain`


def assume(study: Study) -> StudyWithEvidence:
    """Put the evidence in place of guesses and list what is uncertain, of a study with or without logs."""
    evidence = update(study)
    return _assumed(study, evidence, _with(study, evidence))


def _with(study, evidence):
    """Numbers of a study with what the logs say in their place."""
    return study.numbers | {key: found.in_place_of(study.numbers[key]) for key, found in evidence.items()}


def assume_changed(study: Study, factors: Mapping[str, float], base: StudyWithEvidence) -> StudyWithEvidence:
    """A changed study that keeps what the logs of `base`, the study before, said about the numbers it leaves as they are.

    `factors` by key, as `study_with` gives them, scale what the logs say too. Changed numbers are as the change states them;
    no log knows them yet.
    """
    stated = base.study.numbers
    kept = {key: found for key, found in base.evidence.items() if study.numbers.get(key) == stated[key]}
    numbers = _with(study, kept)

    def scaled(values):
        found = dict(values)
        for key, factor in factors.items():
            if key.endswith(SCRAP):
                share = key.removesuffix(SCRAP) + PASS_SHARE
                found[share] = found[share].failing(factor)
            else:
                found[key] = found[key].scaled(factor, found[key].unit)
        return found

    return _assumed(replace(study, numbers=scaled(study.numbers)), kept, scaled(numbers))


def _assumed(study, evidence, numbers):
    """Numbers in force with the list of those that are drawn and how they are tied."""
    # in an order of their own, so that tables of the file may change places and no draw moves
    own = sorted(key for key, number in numbers.items() if number.distribution is not None and not key.startswith("spread."))
    shared = [
        f"spread.{kind}"
        for kind in _SHARED
        if getattr(study.file.spread, kind).value > 0 and any(takes_factor(numbers, key) == kind for key in numbers)
    ]
    uncertain = (*own, *shared)
    pairs = [(*pair.between, pair.rank) for pair in study.file.correlations if set(pair.between) <= set(uncertain)]
    root = _root(uncertain, pairs, evidence)
    return StudyWithEvidence(study=study, evidence=evidence, numbers=numbers, uncertain=uncertain, root=root)


def _root(uncertain, stated, evidence):
    """Correlations that the study states, and those of numbers that the same rows of a log tell, where they can all hold."""
    known, told = {frozenset(pair[:2]) for pair in stated}, []
    for key, found in evidence.items():
        for other, normal in found.tied.items():
            if other in uncertain and frozenset((key, other)) not in known:
                known.add(frozenset((key, other)))
                told.append((key, other, 6.0 / np.pi * np.arcsin(normal / 2.0)))  # rank correlation of a normal one
    try:
        return copula_matrix(list(uncertain), [*stated, *told])
    except ValueError:
        return copula_matrix(list(uncertain), stated)


def takes_factor(numbers, key):
    """Kind of shared factor that a number takes: none where it states a spread of its own."""
    if numbers[key].distribution is not None or key.startswith("spread."):
        return None
    last = key.rsplit(".", 1)[-1]
    if last in ("minutes", "load_minutes", "lot_minutes", "rework_minutes", "minutes_per_order", "first_minutes"):
        return "minutes"
    if last == "price":
        return "price" if key.startswith("channels.") else (None if key.startswith("equipment.") else "material")
    return {"orders": "demand", "pass_share": "pass_odds"}.get(last)


def point_values(assumed: StudyWithEvidence, *, stated: bool = False) -> dict[str, object]:
    """One value a number: as stated in the file, or with the evidence in place of guesses."""
    numbers = assumed.study.numbers if stated else assumed.numbers
    return {key: number.value for key, number in numbers.items()}


def draw_values(
    assumed: StudyWithEvidence,
    draws: int,
    seed: int,
    start: int = 0,
    stop: int | None = None,
    *,
    base: StudyWithEvidence | None = None,
) -> dict[str, object]:
    """Values of every number for some rows of the draws: arrays of length stop - start where it is uncertain, else floats.

    `draws` rows of the whole and its seed; the values do not depend on how the whole is cut into rows `start` to `stop`. On
    the draws of another study, `base`, what both share is the same in every row; numbers that only this one is unsure of get
    points of their own.
    """
    if not assumed.uncertain:
        return point_values(assumed)
    known, draws = (base or assumed).uncertain, round_up_draws(draws)
    new = tuple(key for key in assumed.uncertain if key not in known)
    # how orders differ apart, so that every other number is the same in a row whether or not years differ by chance
    apart = tuple(key for key in known if key.endswith(SCATTERS))
    known = tuple(key for key in known if key not in apart)
    columns = key_points(known, draws, seed, start, stop) | key_points(apart, draws, seed + 2 * NEW_SEED, start, stop)
    columns |= key_points(new, draws, seed + NEW_SEED, start, stop)
    return values_at(assumed, np.column_stack([columns[key] for key in assumed.uncertain]))


@lru_cache(maxsize=16)  # changed studies stand on the same points, look after look
def key_points(keys: tuple[str, ...], draws: int, seed: int, start: int = 0, stop: int | None = None) -> dict[str, np.ndarray]:
    """Points of the unit interval for each key."""
    return dict(zip(keys, points(len(keys), draws, seed, start, stop).T, strict=True)) if keys else {}


def values_at(assumed: StudyWithEvidence, uniform: np.ndarray) -> dict[str, object]:
    """Values of every number at points of the unit cube, one column a key of `uncertain`, before they are correlated."""
    return spread_values(assumed, dict(zip(assumed.uncertain, drawn_at(assumed, uniform).T, strict=True)))


def drawn_at(assumed: StudyWithEvidence, uniform: np.ndarray) -> np.ndarray:
    """Uncertain numbers and shared factors at such points, in the same rows and columns."""
    uniform = correlate(uniform, assumed.root)
    drawn = np.empty(uniform.shape, order="F")  # columns are what models work with
    for column, key in enumerate(assumed.uncertain):
        drawn[:, column] = quantile_of(assumed, key, np.ascontiguousarray(uniform[:, column]))
    return drawn


def quantile_of(assumed: StudyWithEvidence, key: str, p: np.ndarray) -> np.ndarray:
    """Values of an uncertain number, in its unit, or of a shared factor, that such shares of the draws stay below."""
    if not key.startswith("spread."):
        return assumed.numbers[key].distribution.quantile(p)
    return np.exp(assumed.numbers[key].value * special.ndtri(p))


def spread_values(assumed: StudyWithEvidence, drawn: Mapping[str, object]) -> dict[str, object]:
    """Values of every number where some keys of `uncertain` are drawn, shared factors among them; odds are scaled for shares of pieces
    that pass."""
    result = point_values(assumed) | {key: value for key, value in drawn.items() if not key.startswith("spread.")}
    for key in assumed.numbers:
        kind = takes_factor(assumed.numbers, key)
        if (factor := drawn.get(f"spread.{kind}")) is not None:
            value = result[key]
            # what fails is summed first: of a share of 1 nothing does, to the last digit
            result[key] = value * factor / (value * factor + (1.0 - value)) if kind == "pass_odds" else value * factor
    return result


def workshop_at(study: Study, values: Mapping[str, object]) -> model.Workshop:
    """Model inputs with these values by dotted key; numbers that neither they nor the file state keep their defaults."""
    file = study.file

    def filled(kind, path, entry, **given):
        """Model inputs from an entry of the file: each that it has under its own name, or under that without the unit which the model adds."""
        for name in (field.name for field in fields(kind) if field.name not in given):
            key = name if hasattr(entry, name) else _UNIT.sub("", name)
            if hasattr(entry, key):
                number = getattr(entry, key)
                given[name] = values.get(f"{path}.{key}", number.value) if isinstance(number, Number) else number
        return kind(**given)

    def each(kind, table, entries):
        return tuple(filled(kind, f"{table}.{name}", entry, name=name) for name, entry in entries.items())

    def at(path, node, name):
        return values.get(f"{path}.{name}", getattr(node, name).value)

    def materials(path, entries):
        def material(name, entry):
            place = f"{path}.{name}"
            cost = at(place, entry, "quantity") * at(place, entry, "price")
            return filled(model.Material, place, entry, name=name, cost=cost)

        return tuple(material(name, entry) for name, entry in entries.items())

    def step(path, name, entry):
        used, causes = materials(f"{path}.materials", entry.materials), tuple(entry.causes.items())
        loads = () if entry.load_size is None else loads_in(entry, at(path, entry, "load_size"))
        mean = {"load_size": sum(loads) / len(loads)} if loads else {}
        return filled(model.Step, path, entry, name=name, materials=used, causes=causes, **mean)

    def loads_in(step, most):
        """Loads of a step in turn, at most so large each, where its stations differ in size; none where they do not. [piece]"""
        station = file.stations.get(step.wait_in)
        return () if station is None else tuple(np.minimum(most, places) for places in station.sizes)

    def mould(path, entry, name, casts_per_load):
        """The moulds that fill a load: stated as such a set, or the sum over moulds made one by one in one pour."""
        if entry is None:
            return None
        if not entry.steps:
            cost = sum((material_cost(m.cost, m.loss_share) for m in materials(f"{path}.materials", entry.materials)), 0.0)
            return filled(model.Mould, path, entry, material_cost=cost, steps=())
        steps = tuple(mould_step(f"{path}.steps.{key}", key, one) for key, one in entry.steps.items())
        count = moulds_for_load(casts_per_load, entry.cavities)
        minutes = sum((part for one in steps for part in (count * one.minutes, one.load_minutes)), 0.0)
        taken = [(m, count if m.per == "piece" else 1.0) for one in steps for m in one.materials]
        cost = sum((material_cost(m.cost, m.loss_share) * times for m, times in taken), 0.0)
        stated = "sets" in entry.model_fields_set
        in_use = {} if stated else {"sets": np.maximum(moulds_in_hand(study, name) // count, 1.0)}
        return filled(model.Mould, path, entry, material_cost=cost, minutes=minutes, steps=steps, **in_use)

    def mould_step(path, name, entry):
        return filled(model.Step, path, entry, name=name, materials=materials(f"{path}.materials", entry.materials))

    def product(name, entry):
        path = f"products.{name}"
        steps = tuple(step(f"{path}.steps.{key}", key, one) for key, one in entry.steps.items())
        parts, loads = materials(f"{path}.parts", entry.parts), pot_loads(file, name, at(path, entry, "casts_per_load"))
        moulds = mould(f"{path}.mould", entry.mould, name, reduce(np.maximum, loads))
        own = entry.steps.get(entry.first_wait)
        pots = () if own is None or own.load_size is not None or not loads_in(own, np.inf) else loads
        made = {"steps": steps, "parts": parts, "casts_per_load": sum(loads) / len(loads)}
        return filled(model.Product, path, entry, name=name, mould=moulds, pots=pots, **made)

    def channel(name, entry):
        # orders were counted or guessed at the stated price
        stated = {} if entry.reference_price is not None else {"reference_price": entry.price.value}
        path, on_postage = f"channels.{name}", entry.fee_base == "price and postage"
        waits = at(path, entry, "days") == 0 if entry.waits is None else entry.waits
        return filled(model.Channel, path, entry, name=name, fee_on_postage=on_postage, waits=bool(np.all(waits)), **stated)

    weeks, full_week = at("time", file.time, "weeks"), at("target", file.target, "full_week")
    if file.target.per_hour is not None:
        target = at("target", file.target, "per_hour")
    else:  # a published wage turned into a self-employed hour
        wage, share = wages().loc[file.target.wage], at("target", file.target, "employer_share")
        target = self_employed_target(wage.amount, wage.paid_hours_per_year, share, weeks, full_week)
    return model.Workshop(
        weeks_per_year=weeks,
        hours_per_week=at("time", file.time, "hours"),
        fixed_hours_per_week=at("time", file.time, "fixed_hours"),
        windows=study.windows,
        target_per_hour=target,
        living_per_year=target * weeks * full_week,
        set_aside_share=at("target", file.target, "set_aside"),
        interest=values.get("interest", file.interest.value),
        products=tuple(product(name, entry) for name, entry in file.products.items()),
        channels=tuple(channel(name, entry) for name, entry in file.channels.items()),
        risks=each(model.Risk, "risks", file.risks),
        months=months_of(study),
        overheads=tuple(model.Overhead(name=name, per_year=values[f"overheads.{name}"]) for name in file.overheads),
        equipment=each(model.Equipment, "equipment", file.equipment),
        stations=each(model.Station, "stations", file.stations),
        racks=each(model.Rack, "racks", file.racks),
    )


@lru_cache(maxsize=64)
def months_of(study: Study) -> model.Months:
    """How the study's year comes: month by month with its season, weeks off and cold months, or in one piece."""
    file = study.file
    if file.study.variation != "months":
        return model.Months()
    season = season_weights(study) / MONTHS_IN_YEAR
    open_weeks = np.array([max(DAYS_PER_MONTH / 7.0 - file.time.weeks_off.get(month, 0.0), 0.0) for month in MONTHS])
    slower, climate = {}, file.temperature
    if climate.months:
        for name, product in file.products.items():
            for key, step in product.steps.items():
                if step.wait_at is not None and step.wait.most > 0:
                    slower[name, key] = hours_at_temperature(1.0, step.wait_at, np.array(climate.months), climate.factor)
    return model.Months(working=open_weeks / open_weeks.sum(), season=season, slower=slower)


def with_luck(a: model.Workshop, study: Study, seed: int, start: int, stop: int, year: int = 0, axes: int = 0) -> model.Workshop:
    """The same workshop with what chance decides in rows `start` to `stop` of the draws, and so many axes of one after them; as it is where
    rates alone vary.

    What a row holds does not depend on how the whole is cut, nor on the other channels; `year` 1 and later are further years of
    the same draws. Of a year in one piece, clusters count as they do over the twelve months of the season.
    """
    if study.file.study.variation == "rates":
        return a

    def uniforms(name, kind, months):
        stream = np.random.PCG64(np.random.SeedSequence([seed, zlib.crc32(name.encode()), kind, year])).advance(start * months)
        return np.random.Generator(stream).random((stop - start, months)).reshape(-1, *[1] * axes, months)

    months, channels = a.months.season.size, a.channels
    if months == 1:
        clusters = np.sum(np.square(season_weights(study) / MONTHS_IN_YEAR))
        channels = tuple(replace(c, clustering=c.clustering * clusters) for c in channels)
    orders, sizes = ({c.name: uniforms(c.name, kind, months) for c in channels} for kind in (_ORDERS, _SIZES))
    luck = model.Luck(orders=orders, sizes=sizes, risks={r.name: uniforms(r.name, _RISK, 1)[..., 0] for r in a.risks})
    return replace(a, channels=channels, months=replace(a.months, luck=luck))


def label(key: str, *, each: bool = True) -> str:
    """A dotted key as a reader would say it: 'knob: minutes of sand'.

    A material of making moulds is named with its step, where it is one of `each` and not the material wherever it goes.
    """
    words = [part.replace("-", " ").replace("_", " ") for part in key.split(".")]
    match words:
        case ["spread", kind]:
            return _SHARED[kind.replace(" ", "_")]
        case ["products", product, "steps", step, "materials", item, what]:
            return f"{product}: {what} of {item}"
        case ["products", product, "steps", step, what]:
            return f"{product}: {what} of {step}"
        case ["products", product, "mould", "steps", step, "materials", item, what]:
            return f"{product}: {what} of {item}{f' ({step})' if each else ''}"
        case ["products", product, "parts" | "mould", *rest]:
            return f"{product}: {rest[-1]} of {rest[-2] if len(rest) > 1 else 'the moulds'}"
        case ["channels", channel, what]:
            return f"{channel}: {_HOW.get(what, what)}"
        case [_, *rest] if rest:
            return ": ".join(rest)
    return key


def as_shown(key: str, unit: str, currency: str) -> tuple[str, float]:
    """Unit in which a reader sees a number, and the factor to it: prices by the kilogram, shares and counts by name."""
    unit = unit.format(money=currency)
    if unit.endswith(("/g", "/gram")):
        return f"{currency}/kg", 1000.0
    if key.endswith(".mould.life"):
        return "casts", 1.0
    share = key.rsplit(".", 1)[-1].endswith(("share", "loss", "recovered", "set_aside", "rate", "elasticity"))
    return unit or ("share" if share else "count"), 1.0
