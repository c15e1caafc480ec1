"""A number in a study file: value, unit, certainty and reason."""

import math
import re
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..draws.distributions import DISTRIBUTIONS, Distribution, distribution
from ..faults import close_match
from ..units import UNIT_TEXT, is_mass, is_volume, measures_as, ratio_of_units

__all__ = ["BASES", "UNKNOWN", "Amount", "Number", "Quantity", "given_unit", "split_figure"]

BASES = ("guess", "measured", "published", "agreed", "decided")
_NUMBER = re.compile(r"([-+]?(?:\d[\d_]*\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*)")
_LONGEST = 200  # characters of a figure with its unit, with which no expression can go on for long
_EXTRAS = {"from", "worth", "note", "source", "basis", "value", "low", "likely", "high", "distribution"}
_WORDS = ("from", "worth", "note", "source", "basis", "distribution")  # of those, what holds no figure in the number's unit
UNKNOWN = object()  # stands for a value that could not be read, while the rest of the file is checked


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
    worth: float | None = None  # of the stated value against records, in pieces, rows, months or moulds
    worth_unit: str = ""  # of the worth, as written

    def scaled(self, factor: float, unit: str) -> "Number":
        """The same number in another unit."""
        spread = self.distribution
        if spread is not None:
            inner = spread.quantile
            spread = replace(spread, quantile=lambda p: inner(p) * factor, middle=spread.middle * factor)
        return replace(self, value=self.value * factor, unit=unit, distribution=spread)

    def failing(self, factor: float) -> "Number":
        """A share that passes, with so many times as much of it failing; at least a thousandth passes."""

        def passing(share):
            return np.maximum(1.0 - factor * (1.0 - share), 1e-3)

        spread = self.distribution
        if spread is not None:
            inner = spread.quantile
            spread = replace(spread, quantile=lambda p: passing(inner(p)), middle=float(passing(spread.middle)))
        return replace(self, value=float(passing(self.value)), distribution=spread)


@dataclass(frozen=True)
class Quantity:
    """What a key of the study file takes: unit, limits and the usual basis."""

    unit: str = ""  # "" for a share or a count; {money} stands for the study's currency
    low: float = 0.0
    high: float = math.inf
    above: float | None = None
    basis: str = "guess"
    whole: bool = False

    def in_words(self, currency: str) -> str:
        """The limits and unit as a maker would write them."""
        unit = self.unit.format(money=currency)
        example = f" with a unit such as '{2:g} {unit}'" if unit else (" such as 0.25 or '25 %'" if self.high == 1 else "")
        lower = f"above {self.above:g}" if self.above is not None else f"at least {self.low:g}"
        upper = "" if math.isinf(self.high) else f" and at most {self.high:g}"
        return f"a {'whole ' if self.whole else ''}number {lower}{upper}{example}"

    def read(self, raw: Any, currency: str) -> Number:
        """Turn a value of the study file into a Number; ValueError says what was wrong."""
        unit = self.unit.format(money=currency)
        if not isinstance(raw, dict):
            return Number(self.read_figure(raw, currency), unit, basis=self.basis)
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
                worth = Quantity(low=1e-3, high=1e9).read_figure(_leading_number(worth), currency)
            except ValueError as error:
                raise ValueError(f"worth is {error}; it needs a count above 0, such as 10 or '10 pieces'") from None
        return replace(
            number, basis=basis, from_records="from" in raw, worth=worth, worth_unit=given_unit(raw.get("worth")), **extras
        )

    def _with_certainty(self, raw: dict, currency: str) -> Number:
        unit = self.unit.format(money=currency)
        name = raw.pop("distribution", None)
        if name is None and set(raw) == {"value"}:
            return Number(self.read_figure(raw["value"], currency), unit)
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
                raise ValueError(
                    f"{name} takes {', '.join((*in_unit, *plain))}; unknown {key!r}{close_match(key, in_unit + plain)}"
                )
            reader = Quantity() if key in plain else (replace(self, low=0, above=None) if key == "sd" else self)
            if isinstance(figure, list) != (name == "discrete"):
                raise ValueError(f"{name} needs {'lists' if name == 'discrete' else 'single figures'}; {key} is {figure!r}")
            many = isinstance(figure, list)
            parameters[key] = (
                [reader.read_figure(one, currency) for one in figure] if many else reader.read_figure(figure, currency)
            )
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

    def read_figure(self, raw: Any, currency: str) -> float:
        """One figure in the base unit."""
        unit = self.unit.format(money=currency)
        if isinstance(raw, bool) or not isinstance(raw, (int, float, str)):
            raise ValueError("not a number")
        if isinstance(raw, str):
            match = _parts(raw)
            if not match:
                comma = " (use a decimal point)" if re.search(r"\d,\d", raw) else ""
                raise ValueError(f"not a number{comma}")
            figure, given = float(match[1].replace("_", "")), match[2]
        elif abs(raw) > 1e300:
            raise ValueError("not a finite number")
        else:
            figure, given = float(raw), ""
        if given and given[0] in ",.":
            raise ValueError("not a number (use a decimal point)")
        if given == "%":
            if unit:
                raise ValueError(f"a percentage where a unit is needed, such as {unit}")
            figure /= 100.0
        elif unit and not given:
            raise ValueError(f"no unit where one is needed, such as {unit}")
        elif given:
            figure *= ratio_of_units(given, unit or "dimensionless", currency)
        if not math.isfinite(figure):
            raise ValueError("not a finite number")
        outside = figure < self.low or figure > self.high or (self.above is not None and figure <= self.above)
        if outside or (self.whole and figure != round(figure)):
            raise ValueError("outside the limits")
        return figure


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
        fits = (base for base in ("gram", "milliliter", "dimensionless") if measures_as(given, base))
        unit = next(fits, given).replace("dimensionless", "")
        number = Quantity(unit, above=above).read(raw, currency)
        if number.distribution is not None or number.from_records:
            raise ValueError("a range, a distribution or records where one amount is needed")
        return cls(number.value, unit)

    def in_unit(self, unit: str, currency: str, density: float | None = None) -> float:
        """The amount in another unit.

        Parameters
        ----------
        unit : str
            As a number of the study has it; '' for counted things.
        currency : str
            Code of the study's currency.
        density : float, optional
            Between mass and volume. [g/ml]

        Returns
        -------
        float

        Raises
        ------
        ValueError
            What is missing: a density, or a unit of the same kind.

        Examples
        --------
        >>> Amount(1000.0, "milliliter").in_unit("kg", "EUR", density=1.1)
        1.1
        """
        own, wanted = self.unit or "dimensionless", unit or "dimensionless"
        said = f"{self.unit or 'a count'} cannot be turned into {unit or 'a count'}"
        with suppress(ValueError):
            return self.value * ratio_of_units(own, wanted, currency)
        other = {"gram": "milliliter", "milliliter": "gram"}.get(self.unit)
        if other is None or not (is_volume(unit) or is_mass(unit)):
            raise ValueError(said)
        if density is None:
            raise ValueError(f"{said} without a density")
        return self.value * (1 / density if other == "milliliter" else density) * ratio_of_units(other, wanted, currency)


def _parts(raw):
    """Figure and unit of a text, as groups 1 and 2; None for anything else."""
    text = raw.strip() if isinstance(raw, str) else ""
    return _NUMBER.fullmatch(text) if len(text) <= _LONGEST else None


def given_unit(raw: Any) -> str:
    """Unit that a value of the study file is written in; '' for a bare number."""
    if isinstance(raw, dict):
        stated = [value for key, value in raw.items() if key not in _WORDS]
        figures = [one for value in stated for one in (value if isinstance(value, list) else [value])]
        return next((given_unit(figure) for figure in figures if given_unit(figure)), "")
    match = _parts(raw)
    return "" if match is None or match[2] == "%" or not UNIT_TEXT.fullmatch(match[2]) else match[2]


def split_figure(raw: Any) -> tuple[float | None, str]:
    """Figure and unit of a plain value of the study file; None where it is no finite figure.

    Examples
    --------
    >>> split_figure("22 °C"), split_figure(22)
    ((22.0, '°C'), (22.0, ''))
    """
    match = _parts(raw)
    if match is None and (isinstance(raw, bool | str) or not isinstance(raw, int | float) or abs(raw) > 1e300):
        return None, ""
    figure, unit = (float(match[1].replace("_", "")), match[2]) if match else (float(raw), "")
    return (figure if math.isfinite(figure) else None), unit


def _leading_number(worth):
    """'10 pieces' counts as 10: the counting word is for the reader."""
    figure = split_figure(worth)[0] if isinstance(worth, str) else None
    return worth if figure is None else figure
