"""The kinds of keys that a study file has: what reads each, in which unit and within which limits."""

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Annotated, Any

from babel import Locale, UnknownLocaleError
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainValidator, ValidationInfo

from ..ledger.cells import celsius
from ..ledger.logs import plain
from ..units import COUNTED, ratio_through
from .numbers import UNKNOWN, Amount, Number, Quantity, given_unit, split_figure, told

DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
MONTHS = ("january", "february", "march", "april", "may", "june")
MONTHS += ("july", "august", "september", "october", "november", "december")
# any letters, but no dots, which part the keys of a dotted name
Key = Annotated[str, Field(pattern=r"^[\p{L}\p{N}][\p{L}\p{M}\p{N} _-]*$", max_length=60)]


@dataclass(frozen=True)
class Reads:
    """Validator that reads a number of one quantity; a decided one, on which no draw rests, as a plain figure in its unit."""

    quantity: Quantity
    decided: bool = False
    why: str = ""

    def __call__(self, raw: Any, info: ValidationInfo) -> Any:
        if raw is None or isinstance(raw, Number):
            return raw
        if raw is UNKNOWN:
            return math.nan if self.decided else Number(math.nan, self.quantity.unit)
        currency = info.context["currency"]
        try:
            found = self.quantity.read(raw, currency)
            if self.decided and (found.distribution is not None or found.from_records):
                raise ValueError("a range, a distribution or records where one figure is needed")
        except ValueError as error:
            holds = " needs " in str(error) and not self.decided
            right = "parameters for which that holds" if holds else self.quantity.in_words(currency)
            raise told(error, right + self.why) from None
        if not self.decided:
            return found
        return int(found.value) if self.quantity.whole else found.value


class ReadsEach(Reads):
    """The same, or a list of plain whole figures, one for each of several."""

    def __call__(self, raw: Any, info: ValidationInfo) -> Any:
        if not isinstance(raw, list | tuple):
            return super().__call__(raw, info)
        if not raw:
            raise ValueError("a list of nothing -> one figure, or a list with one for each, such as [12, 20]")
        each = replace(self, decided=True)
        return tuple(each(one, info) for one in raw)


def number(unit: str = "", **limits: Any) -> Any:
    """A number that may have a range, a distribution or records behind it, in `unit`; `limits` are those of a Quantity."""
    return Annotated[Number, BeforeValidator(Reads(Quantity(unit, **limits)))]


def decided(unit: str = "", why: str = "", **limits: Any) -> Any:
    """A decided figure as a plain float in `unit` (an int where it is whole); such a figure is none of the study's numbers."""
    return Annotated[int | float, PlainValidator(Reads(Quantity(unit, **limits), decided=True, why=why))]


def reads(read: Callable[[Any, ValidationInfo], Any], right: str, unknown: Any = None) -> PlainValidator:
    """Reads a key by a function; `right` is told where its ValueError names no remedy, `unknown` stands for what could not be read before."""

    def validated(raw: Any, info: ValidationInfo) -> Any:
        if raw is None or raw is UNKNOWN:
            return None if raw is None else unknown
        try:
            return read(raw, info)
        except ValueError as error:
            raise told(error, right) from None

    return PlainValidator(validated)


def _celsius(raw, _):
    """A temperature in °C, from a plain number or a text with °C or °F."""
    figure, unit = split_figure(raw)
    if figure is None or math.isinf(figure):
        raise ValueError("not a temperature")
    degrees = celsius(figure, plain(unit))
    if not -30.0 <= degrees <= 60.0:
        raise ValueError("outside the limits")
    return degrees


Celsius = Annotated[float, reads(_celsius, "degrees Celsius between -30 and 60, such as 22, '22 °C' or '72 °F'", math.nan)]
PlainMoney, PlainDensity = decided("{money}"), decided("gram/milliliter", above=0.0, high=30.0)
PlainShare = decided(high=1.0)


def as_date(raw: Any) -> dt.date:
    """A day of a TOML date or an ISO text; ValueError for anything else."""
    if isinstance(raw, str):
        try:
            raw = dt.date.fromisoformat(raw.strip())
        except ValueError:
            raise ValueError("not a date") from None
    if not isinstance(raw, dt.date) or isinstance(raw, dt.datetime):
        raise ValueError("not a date")
    if not 2000 <= raw.year <= 2099:
        raise ValueError("a date of another century")
    return raw


def known_locale(text: Any) -> str:
    """A locale that numbers can be written in, as its language, script and country are usually written; ValueError for another."""
    try:
        return str(Locale.parse(text))
    except (UnknownLocaleError, ValueError, TypeError):
        raise ValueError("unknown locale -> a language and country such as en_IE, de_DE or en_US") from None


Date = Annotated[dt.date, reads(lambda raw, _: as_date(raw), "a day such as 2026-12-24")]
Share = number(high=1.0)
PassShare = number(high=1.0, above=0.0)
Minutes = number("minute", per="piece cast")
Hours = number("hour", high=100_000.0, per="load")
Money = number("{money}")
MoneyAnOrder, Price = number("{money}", per="order"), number("{money}", basis="decided", per="order")
PIECES_A_LOAD = {"above": 0.0, "counts": "piece cast", "per": "load"}
_PLACES = Quantity(above=0.0, basis="decided", whole=True, counts="place piece cast")
Places = Annotated[Number, BeforeValidator(Reads(_PLACES))]
PlacesOfEach = Annotated[Number | tuple[int, ...], PlainValidator(ReadsEach(_PLACES))]


ZERO, ONE = Number(0.0, "", basis="decided"), Number(1.0, "", basis="decided")  # of a number that is not given


def key(line: str, default: Any = ..., **limits: Any) -> Any:
    """One key of a table: a line of help, what it is if not given (... where it must be), and limits of text and lists."""
    return Field(default, description=line, **limits)


class Node(BaseModel):
    """A table of the study file: what it does not know is a fault, and nothing in it changes."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, defer_build=True)


def _given(raw: Any, info: ValidationInfo) -> Number:
    """A quantity in the unit it is given in; in grams where a density is, which turns volumes into them."""
    unit, currency, density = given_unit(raw), info.context["currency"], info.data.get("density")
    number = Quantity(unit, above=0.0, counts=" ".join(COUNTED)).read(raw, currency)
    if density is None:
        return number
    return number.scaled(ratio_through(unit, "gram", currency, density.value), "gram")


def _price_of_unit(raw: Any, info: ValidationInfo) -> Number:
    """A price in money per unit of the quantity."""
    currency, amount = info.context["currency"], info.data.get("quantity")
    if amount is None:  # a quantity that is at fault is reported there
        return _UNKNOWN
    quantity = Quantity(f"{currency}/{amount.unit}" if amount.unit else currency, per=" ".join(COUNTED))
    try:
        return quantity.read(raw, currency)
    except ValueError as error:
        raise told(error, quantity.in_words(currency)) from None


_UNKNOWN = Number(math.nan, "")
Given = Annotated[Number, reads(_given, "an amount above 0 with a unit, such as '24 g'", _UNKNOWN)]
PriceOfUnit = Annotated[Number, reads(_price_of_unit, "", _UNKNOWN)]


def _amount(above: float | None, limits: str) -> Any:
    """An amount in gram, milliliter, pieces, or the unit it is given in."""
    right = f"an amount {limits} with its unit, such as '5 kg', '750 ml' or 100 (pieces)"
    return Annotated[Amount, reads(lambda raw, info: Amount.read(raw, info.context["currency"], above), right)]


PackSize, Stock = _amount(0.0, "above 0"), _amount(None, "of 0 or more")
