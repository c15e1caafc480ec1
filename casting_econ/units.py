"""Units of the study file and of the logs, and the ratios between them."""

import re
from functools import cache, lru_cache
from tokenize import TokenError

from .faults import close_match

__all__ = ["is_mass", "is_volume", "ratio_of_units", "unit_registry"]

_USUAL_UNITS = ("min", "minute", "h", "hour", "day", "week", "month", "year", "g", "gram", "kg", "kilogram", "oz", "ounce", "lb")
_USUAL_UNITS += ("pound", "mL", "L", "liter", "litre", "pint", "gallon", "piece", "cast", "load", "order")
UNIT_TEXT = re.compile(r"(?!.*[\d⁰¹²³⁴-⁹]\s*(?:\*\*|\^|[\d⁰¹²³⁴-⁹]))[\w\s%°/*^.·-]{0,60}")  # no powers of powers, which never end
_FLUID_OUNCE = re.compile(r"\bfl(?:uid)?\.?[ _]*(?:oz|ounces?)\b\.?", re.IGNORECASE)


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


@lru_cache(maxsize=4096)
def ratio_of_units(unit: str, wanted: str, currency: str) -> float:
    """Factor that turns a figure in `unit` into one in `wanted`; raises ValueError when they do not fit."""
    import pint

    registry = unit_registry(currency)
    unit = _FLUID_OUNCE.sub("fluid_ounce", unit)  # which pint would take for a femtolitre times an ounce
    if not UNIT_TEXT.fullmatch(unit):
        raise ValueError(f"a unit that cannot be read as {wanted}")
    try:
        given = registry.parse_units(unit.removeprefix("/")) ** (-1 if unit.startswith("/") else 1)
        return float(registry.Quantity(1.0, given).to(wanted).magnitude)
    except pint.UndefinedUnitError as error:
        unknown = error.unit_names if isinstance(error.unit_names, str) else ", ".join(error.unit_names)
        raise ValueError(f"unknown unit {unknown!r}{close_match(unknown, (currency, *_USUAL_UNITS))}") from None
    except (
        pint.PintError,
        ValueError,
        AttributeError,
        TypeError,
        AssertionError,
        ArithmeticError,
        SyntaxError,
        TokenError,
    ) as error:
        raise ValueError(f"a unit that cannot be read as {wanted}") from error


def is_volume(unit: str) -> bool:
    """Whether a unit measures volume."""
    return measures_as(unit, "milliliter")


def is_mass(unit: str) -> bool:
    """Whether a unit measures mass."""
    return measures_as(unit, "gram")


def measures_as(unit, base):
    try:
        return bool(unit) and ratio_of_units(unit, base, "EUR") > 0
    except ValueError:
        return False
