"""A number in a study file: value, unit, certainty and reason."""

import math
import re
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from ..faults import close_match
from ..uncertainty.distributions import DISTRIBUTIONS, Distribution, distribution

__all__ = ["BASES", "Number", "Quantity", "given_unit", "ratio_of_units", "unit_registry"]

BASES = ("guess", "measured", "published", "agreed", "decided")
_NUMBER = re.compile(r"^\s*([-+]?(?:\d[\d_]*\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
_EXTRAS = {"from", "worth", "note", "source", "basis", "value", "low", "likely", "high", "distribution"}


@cache
def unit_registry(currency: str):
    """Pint units with the study's currency and the trade's counting words."""
    import pint

    registry = pint.UnitRegistry(cache_folder=None)
    registry.define(f"{currency} = [money]")
    for word in ("piece", "cast", "load", "order", "cavity", "place", "event"):
        registry.define(f"{word} = 1 = {word} = _ = {word}s")
    registry.define("set_of_moulds = 1 = mould_set")
    return registry


def ratio_of_units(unit: str, wanted: str, currency: str) -> float:
    """Factor that turns a figure in `unit` into one in `wanted`; raises ValueError when they do not fit."""
    import pint

    registry = unit_registry(currency)
    try:
        given = registry.parse_units(unit.removeprefix("/")) ** (-1 if unit.startswith("/") else 1)
        return float(registry.Quantity(1.0, given).to(wanted).magnitude)
    except pint.UndefinedUnitError as error:
        raise ValueError(f"unknown unit {error.unit_names!r}{close_match(error.unit_names, dir(registry))}") from None
    except (pint.DimensionalityError, pint.PintError, AttributeError, TypeError, AssertionError) as error:
        raise ValueError(f"a unit that cannot be read as {wanted}") from error


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

    def scaled(self, factor: float, unit: str) -> "Number":
        """The same number in another unit."""
        spread = self.distribution
        if spread is not None:
            inner = spread.quantile
            spread = replace(spread, quantile=lambda p: inner(p) * factor, middle=spread.middle * factor)
        return replace(self, value=self.value * factor, unit=unit, distribution=spread)


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
            return Number(self._figure(raw, currency), unit, basis=self.basis)
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
            worth = Quantity(above=0.0)._figure(_leading_number(worth), currency)
        return replace(number, basis=basis, from_records="from" in raw, worth=worth, **extras)

    def _with_certainty(self, raw: dict, currency: str) -> Number:
        unit = self.unit.format(money=currency)
        name = raw.pop("distribution", None)
        if name is None and set(raw) == {"value"}:
            return Number(self._figure(raw["value"], currency), unit)
        if name is None and set(raw) == {"low", "likely", "high"}:
            name = "pert"
        if name is None:
            unknown = sorted(set(raw) - _EXTRAS)
            hint = f"; unknown {', '.join(map(repr, unknown))}{close_match(unknown[0], _EXTRAS)}" if unknown else ""
            raise ValueError(f"a number needs 'value', or 'low', 'likely' and 'high', or 'distribution'{hint}")
        if name not in DISTRIBUTIONS or name == "inverse gamma life":
            raise ValueError(f"unknown distribution {name!r}{close_match(name, DISTRIBUTIONS)}")
        _, in_unit, plain = DISTRIBUTIONS[name]
        stated = raw.pop("value", None)
        parameters: dict[str, Any] = {}
        for key, figure in raw.items():
            if key not in (*in_unit, *plain):
                raise ValueError(
                    f"{name} takes {', '.join((*in_unit, *plain))}; unknown {key!r}{close_match(key, in_unit + plain)}"
                )
            reader = Quantity() if key in plain else (replace(self, low=0, above=None) if key == "sd" else self)
            if isinstance(figure, list):
                parameters[key] = [reader._figure(item, currency) for item in figure]
            else:
                parameters[key] = reader._figure(figure, currency)
        made = distribution(name, **parameters)
        for edge in (1e-6, 1 - 1e-6):
            reached = float(made.quantile(edge))
            if not (self.low <= reached <= self.high):
                raise ValueError(f"{name} reaches {reached:.4g}, outside the limits")
        middle = made.middle if stated is None else self._figure(stated, currency)
        return Number(middle, unit, distribution=made)

    def _figure(self, raw: Any, currency: str) -> float:
        """One figure in the base unit."""
        unit = self.unit.format(money=currency)
        if isinstance(raw, bool) or not isinstance(raw, (int, float, str)):
            raise ValueError("not a number")
        if isinstance(raw, str):
            match = _NUMBER.match(raw)
            if not match:
                comma = " (use a decimal point)" if re.search(r"\d,\d", raw) else ""
                raise ValueError(f"not a number{comma}")
            figure, given = float(match[1].replace("_", "")), match[2]
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


def given_unit(raw: Any) -> str:
    """Unit that a value of the study file is written in; '' for a bare number."""
    if isinstance(raw, dict):
        return next((given_unit(figure) for figure in raw.values() if given_unit(figure)), "")
    match = _NUMBER.match(raw) if isinstance(raw, str) else None
    return "" if match is None or match[2] == "%" else match[2]


def _leading_number(worth):
    """'10 pieces' counts as 10: the counting word is for the reader."""
    match = _NUMBER.match(worth) if isinstance(worth, str) else None
    return float(match[1]) if match else worth
