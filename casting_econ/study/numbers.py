"""A number in a study file: value, unit, certainty and reason."""

import math
import re
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from ..draws.distributions import DISTRIBUTIONS, Distribution, distribution
from ..faults import close_match
from ..ledger.cells import clean
from ..ledger.cells import figure as figure_by_mark
from ..ledger.columns import marks_of
from ..units import COUNTED, UNIT, Unclear, check_counted, measures, ratio_of_units, ratio_through

BASES = ("guess", "answered", "measured", "published", "agreed", "decided")
_LONGEST = 200  # characters of a figure with its unit, with which no expression can go on for long
_LEADING = re.compile(r"([-+]?[\d.,][\d.,'_ ]*(?:[eE][-+]?\d+)?)(.*)", re.DOTALL)
_ONE_OVER = re.compile(r"\s1\s*/(?=\s*[^\W\d])")  # "0.05 1/year" is 0.05/year
_EXTRAS = {"from", "worth", "note", "source", "basis", "value", "low", "likely", "high", "distribution"}
_WORDS = ("from", "worth", "note", "source", "basis", "distribution")  # of those, what holds no figure in the number's unit


UNKNOWN = object()  # stands for a value that could not be read, while the rest of the file is checked


@lru_cache(maxsize=4096)  # a study is read again with each scenario
def read_figure(text: str, unit: str = "") -> float:
    """The figure that a text is, in whichever way a country writes it; `unit` only shows in what is said.

    Unclear where two conventions read the text differently: 2.160 and 2,160 are two thousand for some and two for others; ValueError for no
    figure at all.

    >>> read_figure("2 160"), read_figure("2.160,50"), read_figure("2'160.50"), read_figure("12,5")
    (2160.0, 2160.5, 2160.5, 12.5)
    """
    text = clean(text)
    if "?" in marks_of(text):
        small, large = re.sub("[.,]", ".", text), re.sub("[.,]", "", text)
        right = f"{f'{large} {unit}'.strip()!r}, or {f'{small}0 {unit}'.strip()!r}"
        raise Unclear(f"question: is this {large} or {small}? -> {right}")
    try:
        return figure_by_mark(text.replace("_", "") if re.search(r"\d_\d", text) else text, ".")[0]
    except ValueError:
        raise ValueError("not a number") from None


def written(value: float, digits: int = 12) -> str:
    """A figure as a study file writes it, which can be read in one way only."""
    text = repr(float(f"{value:.{digits}g}")).removesuffix(".0")
    return f"{text}0" if "?" in marks_of(text) else text


def told(error: ValueError, right: str) -> ValueError:
    """An error with its remedy: its own where it has one."""
    return error if " -> " in str(error) else ValueError(f"{error} -> {right}")


def _split(raw):
    """Figure of a text as it is written, and its unit; None where it begins with no figure."""
    match = _LEADING.fullmatch(_ONE_OVER.sub(" /", clean(raw))) if isinstance(raw, str) and len(raw) <= _LONGEST else None
    return (None, "") if match is None else (match[1].strip(), match[2].strip())


@dataclass(frozen=True)
class Number:
    """One assumption in its base unit, with how sure it is and why."""

    value: float  # stated: what the point result uses, in `unit`
    unit: str  # base unit, for example "minute" or "EUR/year"
    distribution: Distribution | None = None  # None: certain as stated
    basis: str = "guess"  # one of BASES
    note: str = ""
    source: str = ""
    from_records: bool = False  # whether the workshop logs may replace it
    prior_weight: float | None = None  # of the value against records, in pieces, rows, months or moulds: the file's `worth`
    prior_weight_unit: str = ""  # as written

    @property
    def most(self) -> float:
        """The largest value that it can take by its own spread; not a number where the file has it wrong."""
        return self.value if self.distribution is None else float(self.distribution.quantile(1 - 0.5**31))

    def scaled(self, factor: float, unit: str) -> "Number":
        """The same number in another unit."""
        return self._moved(lambda value: value * factor, unit)

    def failing(self, factor: float) -> "Number":
        """A share that passes, with so many times as much of it failing; at least a thousandth passes."""
        return self._moved(lambda share: np.maximum(1.0 - factor * (1.0 - share), 1e-3), self.unit)

    def _moved(self, move, unit):
        """Value and spread moved alike by a rising function."""
        spread = self.distribution and self.distribution.mapped(move)
        return replace(self, value=float(move(self.value)), unit=unit, distribution=spread)


@dataclass(frozen=True)
class Quantity:
    """What a key of the study file takes: unit, limits and the usual basis."""

    unit: str = ""  # "" for a share or a count; {money} stands for the study's currency
    low: float = 0.0
    high: float = math.inf
    above: float | None = None
    basis: str = "guess"
    whole: bool = False
    counts: str | None = None  # words that its unit may count, such as "piece cast"; None: those of `unit`
    per: str = ""  # words that a figure may be for each of
    such: str = ""  # an example, where the usual one would not do

    def in_words(self, currency: str) -> str:
        """The limits and unit as a maker would write them."""
        unit = self.unit.format(money=currency)
        example = f" with a unit such as '{2:g} {unit}'" if unit else (" such as 0.25 or '25 %'" if self._is_share else "")
        example = f" such as {self.such}" if self.such else example
        lower = f"above {self.above:g}" if self.above is not None else f"at least {self.low:g}"
        upper = "" if math.isinf(self.high) else f" and at most {self.high:g}"
        return f"a {'whole ' if self.whole else ''}number {lower}{upper}{example}"

    @property
    def _is_share(self) -> bool:
        return not self.unit and self.high <= 1 and not self.whole

    def read(self, raw: Any, currency: str) -> Number:
        """Turn a value of the study file into a Number; ValueError says what was wrong."""
        unit = self.unit.format(money=currency)
        if not isinstance(raw, dict):
            return Number(self._alone(raw, currency), unit, basis=self.basis)
        extras = {key: raw[key] for key in ("note", "source") if key in raw}
        for key, text in extras.items():
            if not isinstance(text, str):
                raise ValueError(f"{key} must be text")
        basis = raw.get("basis", self.basis if "source" not in raw else "published")
        if basis not in BASES:
            raise ValueError(f"basis must be one of {', '.join(BASES)}{close_match(basis, BASES)}")
        if raw.get("from", "records") != "records":
            raise ValueError("'from' can only be \"records\"")
        number = self._with_certainty({k: v for k, v in raw.items() if k not in {"from", "worth", *extras, "basis"}}, currency)
        worth = raw.get("worth")
        if worth is not None:
            try:
                figure = split_figure(worth)[0] if isinstance(worth, str) else None  # '10 pieces' counts as 10
                worth = Quantity(low=1e-3, high=1e9).read_figure(worth if figure is None else figure, currency)
            except Unclear:
                raise
            except ValueError as error:
                raise ValueError(f"worth is {error}; it needs a count above 0, such as 10 or '10 pieces'") from None
        weight = {"prior_weight": worth, "prior_weight_unit": given_unit(raw.get("worth"))}
        return replace(number, basis=basis, from_records="from" in raw, **weight, **extras)

    def _with_certainty(self, raw: dict, currency: str) -> Number:
        unit = self.unit.format(money=currency)
        name = raw.pop("distribution", None)
        if name is None and set(raw) == {"value"}:
            return Number(self._alone(raw["value"], currency), unit)
        if name is None and set(raw) == {"low", "likely", "high"}:
            name = "pert"
        if name is None:
            unknown = sorted(set(raw) - _EXTRAS)
            hint = f"; unknown {', '.join(map(repr, unknown))}{close_match(unknown[0], _EXTRAS)}" if unknown else ""
            raise ValueError(f"a number needs 'value', or 'low', 'likely' and 'high', or 'distribution'{hint}")
        known = list(DISTRIBUTIONS)[:-2]  # the others are posteriors
        if name not in known:
            raise ValueError(f"unknown distribution {name!r}, none of {', '.join(known)}{close_match(name, known)}")
        if self.whole and name != "discrete":
            raise ValueError("a whole number can only be spread over 'discrete' values")
        _, in_unit, plain = DISTRIBUTIONS[name]
        stated = raw.pop("value", None)
        parameters: dict[str, Any] = {}
        for key, figure in raw.items():
            if key not in (*in_unit, *plain):
                hint = f"unknown {key!r}{close_match(key, in_unit + plain)}"
                raise ValueError(f"{name} takes {', '.join((*in_unit, *plain))}; {hint}")
            reader = Quantity() if key in plain else (replace(self, low=0, above=None) if key == "sd" else self)
            if isinstance(figure, list) != (name == "discrete"):
                raise ValueError(f"{name} needs {'lists' if name == 'discrete' else 'single figures'}; {key} is {figure!r}")
            read = [reader.read_figure(one, currency) for one in (figure if isinstance(figure, list) else [figure])]
            parameters[key] = read if isinstance(figure, list) else read[0]
        ends = [parameters[key] for key in ("low", "likely", "high") if key in parameters]
        if ends != sorted(ends):
            raise ValueError("a range out of order -> low <= likely <= high, the smallest figure first")
        if len(ends) > 1 and ends[0] == ends[-1]:
            raise ValueError("a range without width -> one value where it is certain, or low below high")
        try:
            with np.errstate(all="ignore"):  # what cannot be worked out is refused below
                made = distribution(name, **parameters)
                reach = [float(made.quantile(edge)) for edge in (0.5**31, 1 - 0.5**31)]  # the outermost Sobol points
        except ArithmeticError:
            raise ValueError(f"{name} cannot be worked out with these parameters") from None
        for reached in reach:
            if not (self.low <= reached <= self.high and math.isfinite(reached)):
                raise ValueError(f"{name} reaches {reached:.4g}, outside the limits")
        middle = made.middle if stated is None else self.read_figure(stated, currency)
        return Number(middle, unit, distribution=made)

    def _alone(self, raw: Any, currency: str) -> float:
        """One figure that stands for itself: a share of 1 may be one in a hundred, or all."""
        found = self.read_figure(raw, currency)
        if self._is_share and self.high == found == 1 and "%" not in str(raw):
            raise Unclear("question: is this 1 % or 100 %? -> '1 %', or '100 %'")
        return found

    def read_figure(self, raw: Any, currency: str) -> float:
        """One figure in the base unit; ValueError says what is wrong with it."""
        unit = self.unit.format(money=currency)
        found, given = split_figure(raw)
        if found is None or not math.isfinite(found):
            raise ValueError("not a number" if found is None else "not a finite number")
        bare = found
        if given == "%":
            if unit and unit != "1/year":  # what is for each of a year is a year's percentage
                raise ValueError(f"a percentage where a unit is needed, such as {unit}")
            found /= 100.0
        elif unit and not given:
            raise ValueError(f"no unit where one is needed, such as {'%' if unit == '1/year' else unit}")
        elif given:
            found *= ratio_of_units(given, unit or "dimensionless", currency)
            counted = " ".join(word for word in COUNTED if word in unit) if self.counts is None else self.counts
            check_counted(given, counted, self.per, currency)
        if not math.isfinite(found):
            raise ValueError("not a finite number")
        outside = found < self.low or found > self.high or (self.above is not None and found <= self.above)
        if outside and self._is_share and not given and self.low <= bare / 100 <= self.high and bare >= 1:
            raise ValueError(f"outside the limits -> {f'{bare:g} %'!r} if that is meant; {self.in_words(currency)}")
        if outside or (self.whole and found != round(found)):
            raise ValueError("outside the limits")
        return found


@dataclass(frozen=True)
class Amount:
    """So much of something: mass in gram, volume in milliliter, counted things with '', anything else in its own unit."""

    value: float
    unit: str

    @classmethod
    def read(cls, raw: Any, currency: str, above: float | None = 0.0) -> "Amount":
        """Turn a value of the study file into an amount, above 0 unless told otherwise; ValueError says what was wrong."""
        if isinstance(raw, str) and raw.rstrip().endswith("%"):
            raise ValueError("a percentage where an amount is needed")
        given = given_unit(raw)
        fits = (base for base in ("gram", "milliliter", "dimensionless") if measures(given, base))
        unit = next(fits, given).replace("dimensionless", "")
        number = Quantity(unit, above=above, counts=" ".join(COUNTED)).read(raw, currency)
        if number.distribution is not None or number.from_records:
            raise ValueError("a range, a distribution or records where one amount is needed")
        return cls(number.value, unit)

    def in_unit(self, unit: str, currency: str, density: float | None = None) -> float:
        """The amount in another unit, '' for counted things, by a density between mass and volume [g/ml] where one is needed; ValueError says
        what is missing: a density, or a unit of the same kind.

        >>> Amount(1000.0, "milliliter").in_unit("kg", "EUR", density=1.1)
        1.1
        """
        try:
            return self.value * ratio_through(self.unit or "dimensionless", unit or "dimensionless", currency, density)
        except ValueError:
            said = f"{self.unit or 'a count'} cannot be turned into {unit or 'a count'}"
            lacking = density is None and all(measures(one, "gram") or measures(one, "milliliter") for one in (self.unit, unit))
            raise ValueError(said + " without a density" * lacking) from None


def given_unit(raw: Any) -> str:
    """Unit that a value of the study file is written in; '' for a bare number."""
    if isinstance(raw, dict):
        stated = [value for key, value in raw.items() if key not in _WORDS]
        figures = [one for value in stated for one in (value if isinstance(value, list) else [value])]
        return next((given_unit(figure) for figure in figures if given_unit(figure)), "")
    unit = _split(raw)[1]
    return unit if unit != "%" and UNIT.fullmatch(unit) else ""


def split_figure(raw: Any) -> tuple[float | None, str]:
    """Figure and unit of a plain value of the study file; None where it is no figure, infinite where it is too large for one.

    >>> split_figure("22 °C"), split_figure(22)
    ((22.0, '°C'), (22.0, ''))
    """
    text, unit = _split(raw)
    if text is None:
        plain = isinstance(raw, int | float) and not isinstance(raw, bool)
        return (None if not plain else float(raw) if abs(raw) <= 1e300 else math.inf), ""
    try:
        return read_figure(text, unit), unit
    except Unclear:
        raise
    except ValueError:
        return None, unit
