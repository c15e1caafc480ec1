"""Dates as people and spreadsheets write them; the order of day and month comes from the whole column."""

import datetime as dt
import re
from functools import cache

from babel import dates as babel_dates

ORDERS = {"day first": "dmy", "month first": "mdy", "year first": "ymd"}
_ZONE = r"(?: ?(?:Z|UTC|[+-][0-9]{2}:?[0-9]{2}))?"
_TIME = re.compile(rf"[ T,]+[0-9]{{1,2}}[:.h][0-9]{{2}}(?::[0-9]{{2}}(?:[.,][0-9]+)?)?(?: ?[ap]\.?m\.?)?{_ZONE}$", re.I)
_THREE = re.compile(r"([0-9]{1,4})\s?([./-])\s?([0-9]{1,2})\s?\2\s?([0-9]{1,4})\.?")
_TWO = re.compile(r"([0-9]{1,2})\s?[./-]\s?([0-9]{1,2})\.?")
_NAMED = re.compile(r"(?:[^\W\d]+\.?,? )?([0-9]{1,2})(?:st|nd|rd|th)?[. -]*([^\W\d]+)[.,]?[. ,-]*([0-9]{4}|[0-9]{2})")
_NAMED_FIRST = re.compile(r"(?:[^\W\d]+\.?,? )?([^\W\d]+)\.? ([0-9]{1,2})(?:st|nd|rd|th)?,? +([0-9]{4})")
_DAY_NUMBER = re.compile(r"[0-9]{5}(?:\.[0-9]+)?")
_FIRST_DAY, _EARLIEST, _LATEST = dt.date(1899, 12, 30), 1900, 2099  # day 0 of spreadsheets; years a workshop could mean


@cache
def month_names(locale: str) -> tuple[tuple[str, int], ...]:
    """Month names and short names, of a locale and in English, in small letters."""
    found = {}
    for place in ("en", locale):
        for width in ("wide", "abbreviated"):
            for context in ("format", "stand-alone"):
                names = babel_dates.get_month_names(width, context, place)
                found |= {name.casefold().strip("."): number for number, name in names.items()}
    return tuple(found.items())


def possible_orders(text: object) -> set[str] | None:
    """Orders in which a text is a date; None where its order is no question."""
    text = _TIME.sub("", text.strip()) if isinstance(text, str) else ""
    if match := _TWO.fullmatch(text):
        return {order for order, at in (("dmy", (2, 1)), ("mdy", (1, 2))) if _date((2000, *(int(match[part]) for part in at)))}
    match = _THREE.fullmatch(text)
    if match is None or len(match[1]) >= 3:
        return None
    # nobody writes a year with one figure
    orders = ("dmy", "mdy") if len(match[4]) == 4 or len(match[1]) == 1 else ("dmy", "mdy", "ymd")
    return {order for order in orders if _date(_ordered(match, order))}


def _ordered(match, order):
    figures = dict(zip(order, (match[1], match[3], match[4]), strict=True))
    year = int(figures["y"]) + (2000 if len(figures["y"]) <= 2 else 0)
    return year, int(figures["m"]), int(figures["d"])


def _date(parts):
    try:
        found = dt.date(*parts)
    except ValueError:
        return None
    return found if _EARLIEST <= found.year <= _LATEST else None


def read_date(raw: object, order: str, months: dict[str, int], first_day: dt.date | None = None) -> tuple[dt.date | None, str]:
    """A date of a cell, None for what is none, and how it was read; without a year the first such day from `first_day` on."""
    if first_day is not None and isinstance(raw, str):
        for year in (first_day.year, first_day.year + 1):
            found = _written(with_year(raw, year, order), order, months)[0]
            if found is not None and found >= first_day and with_year(raw, year, order) != raw:
                return found, "spelling"
    if isinstance(raw, dt.date):
        return _date((raw.year, raw.month, raw.day)), ""
    if isinstance(raw, (int, float)) or (isinstance(raw, str) and _DAY_NUMBER.fullmatch(raw)):
        number = float(raw)
        found = _FIRST_DAY + dt.timedelta(days=int(number)) if 36526 <= number < 73051 else None  # from 2000 to 2099
        return found, "a day number of a spreadsheet"
    return _written(raw, order, months) if isinstance(raw, str) else (None, "")


def with_year(text: str, year: int, order: str = "dmy") -> str:
    """A day written without a year, such as 16.6. or 3 May, with one; any other text as it is.

    >>> with_year("16.6.", 2026), with_year("3 May", 2026), with_year("6.7.26", 2026)
    ('16/6/2026', '3 May 2026', '6.7.26')
    """
    text = _TIME.sub("", text.strip())
    if match := _TWO.fullmatch(text):
        return f"{year}/{match[1]}/{match[2]}" if order == "ymd" else f"{match[1]}/{match[2]}/{year}"
    named = re.fullmatch(r"(?:[^\W\d]+\.?,? )?[0-9]{1,2}(?:st|nd|rd|th)?[. -]*[^\W\d]+\.?", text)
    return f"{text} {year}" if named else text


def _written(raw, order, months):
    """A date in writing, and whether it is spelled otherwise than 2025-04-03."""
    text = _TIME.sub("", raw.strip())
    how = "" if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", raw.strip()) else "spelling"
    if match := _THREE.fullmatch(text):
        year_first = len(match[1]) == 4
        if order == "ymd" and not year_first and len(match[4]) == 4:
            return None, how
        return (None if len(match[1]) == 3 else _date(_ordered(match, "ymd" if year_first else order))), how
    for pattern, day, month in ((_NAMED, 1, 2), (_NAMED_FIRST, 2, 1)):
        match = pattern.fullmatch(text)
        if match and match[month].casefold().strip(".") in months:
            year = int(match[3]) + (2000 if len(match[3]) == 2 else 0)
            return _date((year, months[match[month].casefold().strip(".")], int(match[day]))), how
    return None, how
