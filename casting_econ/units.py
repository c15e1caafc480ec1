"""Units of the study file and of the logs, and the ratios between them."""

import re
from functools import cache, lru_cache, reduce
from operator import truediv
from tokenize import TokenError

from babel.numbers import list_currencies

from .faults import close_match

COUNTED = ("piece", "cast", "load", "lot", "order", "cavity", "place", "event", "master", "mould", "set_of_moulds")
UNIT = re.compile(r"(?!.*[\d⁰¹²³⁴-⁹]\s*(?:\*\*|\^|[\d⁰¹²³⁴-⁹]))[\w\s%°/*^.·-]{0,60}")  # no powers of powers, which never end
_USUAL = ("min", "minute", "h", "hour", "day", "week", "month", "year", "g", "gram", "kg", "kilogram", "oz", "ounce", "lb")
_USUAL += ("pound", "mL", "L", "liter", "litre", "pint", "gallon", "piece", "cast", "load", "order")
# words that most studies make do with, each with its base and so many of that: whoever needs another waits for pint to load
_UNPREFIXED = ("minute", "hour", "day", "week", "month", "year", *COUNTED)
_PLAIN = {f"{base}{s}": (base, 1.0) for base in (*_UNPREFIXED[:-1], "gram", "milliliter") for s in ("", "s")}
_PLAIN |= {"dimensionless": ("dimensionless", 1.0)}
_PLAIN |= {"min": ("minute", 1.0), "h": ("hour", 1.0), "g": ("gram", 1.0), "kg": ("gram", 1000.0)}
_PLAIN |= {"ml": ("milliliter", 1.0), "l": ("milliliter", 1000.0), "L": ("milliliter", 1000.0)}
_FLUID_OUNCE = re.compile(r"\bfl(?:uid)?\.?[ _]*(?:oz|ounces?)\b\.?", re.IGNORECASE)
_WHOSE = re.compile(r"\b(us|uk|imperial)[ _](pint|quart|gallon|cup|gill|fluid_ounce)s?\b", re.IGNORECASE)
_WORKED = {"second", "minute", "hour", "day"}  # periods that one counts as worked and another by the calendar
_UNREADABLE = ValueError, AttributeError, TypeError, AssertionError, ArithmeticError, SyntaxError, TokenError  # from pint too


class Unclear(ValueError):
    """What two conventions read differently; 'question: … -> what to write for either'."""


@cache
def unit_registry(currency: str):
    """Pint units with the study's currency, if there is one, and the trade's counting words."""
    import pint

    try:
        registry = pint.UnitRegistry(cache_folder=":auto:")
    except Exception:  # what pint kept was cut short, or there is nowhere to keep it
        registry = pint.UnitRegistry()
    for word in COUNTED[:-1]:
        registry.define(f"{word} = 1 = {word} = _ = {word}s")
    registry.define("set_of_moulds = 1 = mould_set")
    for name in ("quart", "gallon", "cup", "gill"):
        registry.define(f"US_{name} = {name}")
    if currency:
        registry.define(f"{currency} = [money]")
    return registry


@lru_cache(maxsize=4096)
def ratio_of_units(unit: str, wanted: str, currency: str) -> float:
    """Factor that turns a figure in `unit` into one in `wanted`; raises ValueError when they do not fit.

    Unclear, a ValueError, where two conventions read the unit differently: `gr`, pints and tons outside the US, and periods
    that one counts as worked time and another by the calendar.
    """
    said = "a unit where a plain number is needed" if wanted == "dimensionless" else f"a unit that cannot be read as {wanted}"
    own, asked = (_plain(text or "dimensionless", currency) for text in (unit, wanted))
    if own and (list(own) == list(asked) or (wanted == "dimensionless" and own.keys() <= {*COUNTED, wanted})):
        return reduce(truediv, (own[base] / asked.get(base, 1.0) for base in own))
    if len(own) == len(asked) == 1 and own.keys() | asked.keys() <= {"gram", "milliliter", "dimensionless"}:
        raise ValueError(said)

    import pint

    registry = unit_registry(currency)
    given = _parsed(unit, currency, said)
    target = registry.parse_units(wanted)
    _asked(unit, given, wanted, target, currency)
    try:
        if registry.get_base_units(given / target)[1] != registry.dimensionless:  # angles and bits pass for numbers in pint
            raise ValueError(said)
        return float(registry.Quantity(1.0, given).to(target).magnitude)
    except (pint.PintError, *_UNREADABLE) as error:
        raise ValueError(said) from error


def ratio_through(unit: str, wanted: str, currency: str, density: float | None) -> float:
    """The same, also from volume to mass or back by a density, if there is one. [g/ml]"""
    try:
        return ratio_of_units(unit, wanted, currency)
    except ValueError:
        for one, other, factor in (("milliliter", "gram", density), ("gram", "milliliter", density and 1 / density)):
            if factor and measures(unit, one) and measures(wanted, other):
                return ratio_of_units(unit, one, currency) * factor * ratio_of_units(other, wanted, currency)
        raise


def _plain(unit, currency):
    """Bases of a unit of the usual words alone, at most one over another, each with how many of it; none of any other unit."""
    words = [word.strip() for word in unit.split("/")]
    found = dict(_PLAIN.get(word) or (word == currency and word, 1.0) for word in words)
    return found if len(found) == len(words) <= 2 and all(found) else {}


@lru_cache(maxsize=4096)
def _parsed(unit, currency, said):
    """Pint's units of a text; '/year' is one over a year."""
    import pint

    registry = unit_registry(currency)
    unit = _FLUID_OUNCE.sub("fluid_ounce", unit)  # which pint would take for a femtolitre times an ounce
    unit = _WHOSE.sub(lambda m: f"{'US' if m[1].lower() == 'us' else 'imperial'}_{m[2].lower()}", unit)
    if not UNIT.fullmatch(unit):
        raise ValueError(said)
    try:
        parsed = registry.parse_units(unit.removeprefix("/")) ** (-1 if unit.startswith("/") else 1)
        for name in parsed._units:  # no hectohours, which is a slip; thousands of money may be
            prefix, plain, _ = registry.parse_unit_name(name)[0]
            if prefix and plain in (*_UNPREFIXED, currency) and (plain, prefix) != (currency, "kilo"):
                raise pint.UndefinedUnitError(unit)
        return parsed
    except pint.UndefinedUnitError as error:
        unknown = error.unit_names if isinstance(error.unit_names, str) else ", ".join(error.unit_names)
        if unknown in list_currencies():
            raise ValueError(
                f"money in {unknown} while the study counts in {currency} -> {currency}, converted by hand at the rate you were given"
            ) from None
        raise ValueError(f"unknown unit {unknown!r}{close_match(unknown, (currency, *_USUAL))}") from None
    except (pint.PintError, *_UNREADABLE) as error:
        raise ValueError(said) from error


def _asked(unit, given, wanted, target, currency):
    """Unclear for a unit that two conventions read differently."""
    registry = unit_registry(currency)
    if re.search(r"\bgr\b", unit):
        raise Unclear("question: is gr grams or grains? -> g, or grain")
    for name in given._units:
        other = next((f"{prefix}_{name}" for prefix in ("imperial", "long") if f"{prefix}_{name}" in registry), None)
        if other and currency != "USD" and not re.search(r"US|short", unit, re.IGNORECASE):
            mine = f"US_{name}" if other.startswith("imperial") else f"short_{name}"
            metric = " (of 1000 kg: tonne)" if name == "ton" else ""
            raise Unclear(f"question: which {name.replace('_', ' ')} is this? -> {mine} or {other}{metric}")
    own, asked = (
        next((n for n, power in u._units.items() if power < 0 and _is_time(n, registry)), None) for u in (given, target)
    )
    worked_time = any(power > 0 and _is_time(name, registry) for name, power in target._units.items())
    if own and asked and own != asked and ({own, asked} & _WORKED or (worked_time and "week" in (own, asked))):
        raise Unclear(
            f"question: a figure for each {own} where one for each {asked} is needed: by the calendar, or as worked?"
            f" -> the figure in {wanted}"
        )


def question_of(unit: str, currency: str) -> str:
    """What is to be asked about a unit, with its answers behind ' -> '; '' where it can be read in one way only, or in none."""
    try:
        if not _plain(unit, currency):
            _asked(unit, _parsed(unit, currency, ""), "", unit_registry(currency).dimensionless, currency)
    except Unclear as error:
        return str(error)
    except ValueError:
        pass
    return ""


def _is_time(name, registry):
    return registry.get_dimensionality(name) == registry.get_dimensionality("second")


def check_counted(unit: str, counts: str, per: str, currency: str) -> None:
    """ValueError where a unit counts or is 'per' something else than the words of `counts` and `per`, such as a load for a piece."""
    plain = dict(zip(_plain(unit, currency), (1, -1)))
    for name, power in (plain or _parsed(unit, currency, "a unit that cannot be read")._units).items():
        words = (counts if power > 0 else per).split()
        if name in COUNTED and name not in words:
            right, what = " or ".join(word.replace("_", " ") for word in words), name.replace("_", " ")
            if power < 0:
                raise ValueError(f"a figure for each {what}{f' where one for each {right} is needed' if right else ''}")
            raise ValueError(f"a number of {what}s {f'where {right}s' if right else 'where none'} are counted")


def measures(unit: str, base: str) -> bool:
    """Whether a unit is of one kind with another, such as a milliliter or a gram."""
    try:
        return bool(unit) and ratio_of_units(unit, base, "") > 0
    except Unclear:
        return base == ("gram" if re.search(r"gr\b|ton|cwt|weight", unit) else "milliliter")
    except ValueError:
        return False
