"""One cell: text or spreadsheet value, and the rule of its column, to a value and how it came about."""

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import pandas as pd

from ..units import Unclear, measures, ratio_through
from .dates import read_date, with_year
from .logs import NUMBERS, plain

SPELLING = "spelling"  # changed by the rule of the whole column only
BLANKS = {"", "-", "–", "—", "?", "n/a", "...", "…"}  # all but the first are listed as 'not known'
_FIGURE = r"[+-]?[0-9.,][0-9.,' ]*(?:[eE][+-]?[0-9]+)?"
_UNIT = r"[^\d\s.,?~+-][^\d?~]*"
_PLAIN = re.compile(rf"({_FIGURE})\s*({_UNIT})?")
_INTERVAL = re.compile(rf"({_FIGURE}?)\s*(?:-|–|—|\bto\b|\bbis\b|\bà\b)\s*({_FIGURE}?)\s*({_UNIT})?")
_CLOCK = re.compile(r"([0-9]{1,4}):([0-5][0-9])(?::([0-5][0-9]))?\s*(?:h|hrs?|std\.?)?")
_HOURS_AND = re.compile(r"([0-9]{1,3})\s*(?:h|hrs?|hours?|std)\.?\s*([0-5]?[0-9])\s*(?:m|min|mins|minutes)?\.?", re.IGNORECASE)
_FRACTION = re.compile(rf"([0-9]+\s+)?([0-9]{{1,2}})/([0-9]{{1,2}})\s*({_UNIT})?")
_MONEY = re.compile(r"(-?)\s*([^\d\s.,'+~-][^\d.,'+-]*?\.?)?\s*(-?)\s*([\d.,' –+-]*?\d[\d.,' ]*)\s*([^\d\s.,'?][^\d]*)?")
_HALF = re.compile(r"(half|quarter)(?: of)?(?: an?)?\s+(\D+)|(?:an?|one)\s+(half|quarter)?(?: of)?(?: an?)?\s*(\D+)", re.I)
_A_DOZEN, _DOZENS = re.compile(r"(half )?(?:an? |one )?doz(?:en)?\.?", re.IGNORECASE), {"doz", "doz.", "dozen", "dozens"}
# what a count may say after its figure
_ONES = set("x pc pcs piece pieces cast casts stk stück st pièces pièce piezas pezzi".split())
_ABOUT = re.compile(r"^(?:~|≈|about\s|approx\.?\s|ca\.?\s|circa\s)\s*", re.IGNORECASE)
_CODE_AS_DATE = re.compile(r"[0-9]{1,2}[-. ]{1,2}([^\W\d_]{3,4})\.?|([^\W\d_]{3})\.?-[0-9]{2}")
_YES = {"y": "yes", "true": "yes", "n": "no", "false": "no"}
_WORDS_FOR_UNITS = {"mins": "minute", "minuten": "minute", "minutos": "minute", "lbs": "pound", "lb": "pound", "gm": "gram"}
_WORDS_FOR_UNITS |= dict.fromkeys("std hrs hr stunde stunden heure heures hora horas ora ore uur uren".split(), "hour")
_LONGEST = 100  # characters of a date or number
UNIT_NAMES = {"minute": "minutes", "hour": "hours", "gram": "grams", "year": "years", "kilometer": "km", "degC": "°C"}
_FAHRENHEIT, _CELSIUS = {"f", "fahrenheit", "degf"}, {"", "c", "celsius", "degc"}


class Unreadable(ValueError):
    """A cell that cannot be read; `right` overrides what its kind would ask for."""

    def __init__(self, wrong: str = "cannot be used", right: str = "") -> None:
        super().__init__(wrong)
        self.wrong, self.right = wrong, right


@dataclass(frozen=True, kw_only=True)
class Cell:
    """What a cell holds, and how it was read: '' as it stands, SPELLING by its column's rule, or in words."""

    value: Any
    how: str = ""
    low: float | None = None  # ends of an interval
    high: float | None = None
    unit: str = ""  # of a quantity


@dataclass(frozen=True, kw_only=True)
class Rule:
    """How the cells of one column are read."""

    kind: str | tuple[str, ...]
    currency: str
    mark: str = "."  # decimal mark
    order: str = "ymd"
    first_day: dt.date | None = None  # from which on days without a year are
    unit: str = ""  # of the header or the study file
    density: float | None = None  # [g/ml]
    signs: frozenset[str] = frozenset()  # of the study's own currency
    foreign: frozenset[str] = frozenset()  # of the others
    months: tuple[tuple[str, int], ...] = ()
    words: tuple[tuple[str, str], ...] = ()  # her word, in its plain form -> the study's


@lru_cache(maxsize=4096)
def clean(text: str) -> str:
    """Spaces, dashes and apostrophes in one form; fractions such as 1½ written out as 1 1/2."""
    text = re.sub(r"[\s\u00a0\u2000-\u200a\u202f\u205f\u2060\ufeff]+", " ", text).strip()
    text = text.replace("−", "-").replace("’", "'").replace("`", "'")
    for char in set(text):
        if unicodedata.category(char) == "No" and "\u2044" in unicodedata.normalize("NFKC", char):
            text = text.replace(char, " " + unicodedata.normalize("NFKC", char).replace("\u2044", "/") + " ")
    return re.sub(r" +", " ", text).strip()


def figure(text: str, mark: str) -> tuple[float, str]:
    """A figure written with one decimal mark, and how it was read; the other mark is tried where it is the only one possible.

    Unreadable for what is no figure.
    """
    for use, how in ((mark, ""), ("," if mark == "." else ".", "with the other decimal mark")):
        other = "," if use == "." else "."
        for thousands in (" ", "'", other):
            sep, dot = re.escape(thousands), re.escape(use)
            grouped = rf"[+-]?[1-9][0-9]{{0,2}}(?:{sep}[0-9]{{3}})+(?:{dot}[0-9]*)?"
            if re.fullmatch(grouped, text):
                return float(text.replace(thousands, "").replace(use, ".")), how or SPELLING
        if re.fullmatch(rf"[+-]?(?:[0-9]+(?:{re.escape(use)}[0-9]*)?|{re.escape(use)}[0-9]+)(?:[eE][+-]?[0-9]+)?", text):
            return float(text.replace(use, ".")), how or (SPELLING if use == "," and use in text else "")
    raise Unreadable


def read_cell(raw: Any, rule: Rule) -> Cell:
    """One cell as it stands in the file ('' for a blank) by the rule of its column; its value is in the unit of the frame, None for a blank.

    Unreadable with what is wrong and, if its kind does not say it, what would be right.
    """
    text = raw.strip() if isinstance(raw, str) else raw
    if isinstance(text, str) and text in BLANKS and (text == "" or rule.kind != "free"):
        return Cell(value=None, how="not known" if text else "")
    if isinstance(text, str) and len(text) > _LONGEST and rule.kind not in ("text", "id", "free"):
        raise Unreadable
    if isinstance(text, str) and text.startswith("#") and text.rstrip("!?").isupper():
        raise Unreadable("is an error of the spreadsheet", "the value that should stand there, or a blank")
    if rule.kind == "date":
        found, how = read_date(text, rule.order, dict(rule.months), rule.first_day)
        if found is None:
            yearless = isinstance(text, str) and rule.first_day is None and with_year(text, 2000) != text
            line = "first_day = 2025-04-01 under [records] in study.toml, with a day not after the first of the log"
            raise Unreadable(
                *(("has no year", f"a date such as 2025-04-03, or for the whole column one line {line}") if yearless else ())
            )
        return Cell(value=pd.Timestamp(found), how=how)
    if rule.kind in NUMBERS:
        return _number(text, NUMBERS[rule.kind], rule)
    return _text(text, rule)


def _text(raw, rule):
    """A cell of words: names, ids, or free text."""
    if isinstance(raw, (dt.date, dt.time, dt.timedelta)) or (rule.kind == "id" and _code_as_date(raw, rule)):
        if rule.kind == "free":
            return Cell(value=str(raw))
        right = f'the code itself, in a cell formatted as text (or "{raw}" = "{raw}" under [records.words.…] if it is the code)'
        raise Unreadable("may be a code that a spreadsheet turned into a date", right)
    text = f"{raw:.15g}" if isinstance(raw, float) else str(raw)
    mapped = dict(rule.words).get(plain(text))
    if mapped is None and isinstance(rule.kind, tuple) and "yes" in rule.kind:
        mapped = _YES.get(plain(text))
    if mapped is not None and mapped != text:
        return Cell(value=mapped, how="a word of the study file")
    if isinstance(rule.kind, tuple) and text not in rule.kind:
        raise Unreadable
    return Cell(value=text)


def _code_as_date(raw, rule):
    """Whether an id looks like 3-Apr or Apr-25, and the study does not say that it is one."""
    match = _CODE_AS_DATE.fullmatch(str(raw))
    return match and (match[1] or match[2]).casefold() in dict(rule.months) and plain(raw) not in dict(rule.words)


def _number(raw, kind, rule):
    """A number with all that may stand around it."""
    if isinstance(raw, (dt.time, dt.timedelta)) and kind.unit in ("minute", "hour"):
        time = raw if isinstance(raw, dt.timedelta) else dt.timedelta(hours=raw.hour, minutes=raw.minute, seconds=raw.second)
        return Cell(value=time.total_seconds() / (60 if kind.unit == "minute" else 3600), how="hours and minutes")
    if isinstance(raw, (dt.date, dt.time, dt.timedelta)):
        raise Unreadable("may be a number that a spreadsheet turned into a date")
    if isinstance(raw, (int, float)):
        return signed(_in_unit(float(raw), "", kind, rule), rule)
    text, hows = clean(raw), []
    if match := _ABOUT.match(text):
        text, hows = text[match.end() :], ["about"]
    if text.endswith("?"):
        text, hows = text[:-1].strip(), [*hows, "not sure"]
    if kind.money:
        text = _without_currency(text, rule)
    if kind.whole and (match := _A_DOZEN.fullmatch(text)):
        text = f"{'1/2' if match[1] else '1'} dozen"
    cell = _clock(text, kind) or _figures(text, kind, rule)
    how = ", ".join([*hows, *([cell.how] if cell.how and not (hows and cell.how == SPELLING) else [])])
    return signed(replace(cell, how=how), rule)


def signed(cell, rule):
    """Refunds below zero are money paid back all the same."""
    if rule.kind == "refund" and cell.value < 0:
        return Cell(value=-cell.value, how="a refund below zero counts as paid back")
    return cell


def _clock(text, kind):
    """`1:30`, `1h30` or `1 h 30 min` in a column of time."""
    match = (_CLOCK.fullmatch(text) or _HOURS_AND.fullmatch(text)) if kind.unit in ("minute", "hour") else None
    if match is None:
        return None
    seconds = int(match[3]) if match.re is _CLOCK and match[3] else 0
    hours = int(match[1]) + int(match[2]) / 60 + seconds / 3600
    minutes = int(match[1]) * 60 + int(match[2]) + seconds / 60
    return Cell(value=minutes if kind.unit == "minute" else hours, how="hours and minutes")


def _figures(text, kind, rule):
    """A plain figure, a fraction or an interval, each with or without a unit."""
    if match := _HALF.fullmatch(text) if rule.kind == "quantity" or kind.unit else None:
        part, unit = (match[1] or match[3] or "").lower(), (match[2] or match[4]).strip()
        amount = {"half": 0.5, "quarter": 0.25}.get(part, 1.0)
        return replace(_in_unit(amount, unit, kind, rule), how="an amount in words")
    if match := _FRACTION.fullmatch(text):
        if not int(match[2]) < int(match[3]) <= 16:
            raise Unreadable
        return _in_unit(int(match[1] or 0) + int(match[2]) / int(match[3]), match[4], kind, rule, "a fraction")
    if match := _PLAIN.fullmatch(text):
        value, spelling = figure(match[1].strip(), rule.mark)
        return _in_unit(value, match[2], kind, rule, spelling)
    if match := _INTERVAL.fullmatch(text):
        ends = [_in_unit(figure(match[i].strip(), rule.mark)[0], match[3], kind, rule) for i in (1, 2)]
        low, high = (end.value for end in ends)
        if not 0 <= low < high or (kind.whole and (low != int(low) or high != int(high))):
            raise Unreadable("is no interval from less to more")
        return Cell(
            value=(low + high) / 2, low=low, high=high, unit=ends[0].unit, how=f"from {low:g} to {high:g}, the middle used"
        )
    raise Unreadable


def _without_currency(text, rule):
    """The figure without signs of the study's money; money of another country is never converted."""
    text = re.sub(r"[.,]\s?[-–—]+$", "", text)
    if match := re.fullmatch(r"\((.+)\)", text) or re.fullmatch(r"([^-]+[0-9])-", text):  # as accountants write what is owed
        text = "-" + match[1].strip()
    match = _MONEY.fullmatch(text)
    if match is None:
        return text
    for sign in (match[2], match[5]):
        word = plain(sign or "")
        if word and word not in rule.signs:
            if word in rule.foreign:
                raise Unreadable("is money of another currency", f"{rule.currency}, converted by hand at the rate you were given")
            return text
    return f"{match[1] or match[3]}{match[4]}".strip()


def _in_unit(value, unit, kind, rule, otherwise=""):
    """A figure in the unit of the frame, with the unit of a quantity; how, or `otherwise` where its unit says no more than its column does."""
    given, kept, how = (unit or "").strip(), "", ""
    unit = given or rule.unit
    if rule.kind == "quantity":
        kept, how = unit, "quantity and unit" if given else ""
    elif kind.unit and unit:
        if kind.unit == "degC":
            converted, changed = celsius(value, plain(unit)), "degrees Fahrenheit"
        else:
            converted = value * _factor(unit, kind.unit, rule.currency, rule.density)
            by_density = f" at {rule.density:g} g/ml" if rule.density and kind.unit == "gram" else ""
            changed = f"{given} in {UNIT_NAMES[kind.unit]}{by_density}"
        how = (changed if given else SPELLING) if converted != value else "its unit" if given else ""
        value = converted
    elif kind.whole and given.casefold() in _DOZENS:
        value, how = 12.0 * value, "dozens"
    elif kind.whole and given.casefold().strip(".") in _ONES:
        how = "its unit"
    elif given:
        raise Unreadable(f"has a unit, {given!r}, where none is asked for")
    return Cell(value=value, unit=kept, how=how if how not in ("", SPELLING) else otherwise or how)


def celsius(value: float, unit: str) -> float:
    """A temperature in °C, from °C or °F; `unit` in its plain form, '' for °C; Unreadable for another unit."""
    if unit in _FAHRENHEIT:
        return (value - 32.0) / 1.8
    if unit not in _CELSIUS:
        raise Unreadable(f"has a unit, {unit!r}, that is no temperature", "°C or °F")
    return value


@lru_cache(maxsize=4096)
def _factor(unit, wanted, currency, density):
    """From a unit as makers write it to the frame's."""
    word = unit.strip(" .")
    short = {"m": "minute"} if wanted == "minute" else {}
    tried = [(short | _WORDS_FOR_UNITS).get(word.lower(), word), word.lower()]
    for name in tried:
        try:
            return round(ratio_through(name, wanted, currency, density), 12)
        except Unclear as error:
            wrong, _, right = str(error).partition(" -> ")
            raise Unreadable(wrong.removeprefix("question: "), right) from None
        except ValueError:
            if wanted == "gram" and measures(name, "milliliter"):
                raise Unreadable("is a volume where a mass is needed", _DENSITY) from None
    raise Unreadable(f"has a unit, {unit!r}, that is no {_MEASURE[wanted]}", _USUAL[wanted])


_MEASURE = {"minute": "time", "hour": "time", "gram": "mass", "year": "time", "kilometer": "distance"}
_USUAL = {"minute": "min or h", "hour": "h or min", "gram": "g, kg, oz or lb", "year": "years", "kilometer": "km or mile"}
_DENSITY = 'its density in study.toml, such as { column = "mixed_mass_g", density = "1.1 g/ml" } under [records.columns.batches]'
