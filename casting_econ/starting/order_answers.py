"""Answers that are no figures: the day of a first order, its colours, the places of each pot, and the times at the bench."""

import datetime as dt
import re

from ..faults import counted
from ..ledger.dates import month_names, possible_orders, read_date
from ..study.consistency import DAYS, working_windows
from ..units import Unclear

_MOST_COLOURS, _MOST_POTS = 60, 20
STAND_IN = "mon-fri 9-17"  # times at the bench where nobody says any
_CLOCK = r"(\d{1,2})(?:[:.h](\d\d))?\s*(am|pm)?"
_TIMES = re.compile(rf"{_CLOCK}\s*(?:-|–|to)\s*{_CLOCK}|([a-z]+)(?:\s*(?:-|–|to)\s*([a-z]+))?|[\s,;:&/+]+|(.)", re.IGNORECASE)


def read_day(text: str) -> dt.date:
    """A day as people write it; ValueError for none, Unclear with a question where day and month could be either.

    Examples
    --------
    >>> read_day("20 March 2027") == read_day("2027-03-20") == read_day("20.3.2027") == dt.date(2027, 3, 20)
    True
    """
    days = {read_date(text, order, dict(month_names("en")))[0] for order in possible_orders(text) or {"ymd"}}
    if None in days:
        raise ValueError("not a date -> a day such as 2027-03-20")
    if len(days) > 1:
        one, other = sorted(days)
        raise Unclear(f"question: is this {one:%d %B %Y} or {other:%d %B %Y}? -> '{one}', or '{other}'")
    return days.pop()


def read_colours(text: str) -> dict[str, int | None]:
    """Names of colours or forms with their pieces, or None of each where they share the order evenly; a number makes as many.

    ValueError for a name or a number of pieces that cannot be.

    Examples
    --------
    >>> read_colours("sea green 40, slate=20"), read_colours("red and blue"), read_colours("2 colours")
    ({'sea green': 40, 'slate': 20}, {'red': None, 'blue': None}, {'colour 1': None, 'colour 2': None})
    """
    right = "names such as 'red, blue', each with its pieces such as 'red 40, blue 20', or how many colours there are"
    if match := re.fullmatch(r"(\d+)\s*(?:colou?rs?|forms?)?", text):
        many = int(match[1])
        if not 1 <= many <= _MOST_COLOURS:
            raise ValueError(f"not a number of colours -> 1 to {_MOST_COLOURS}")
        return {} if many == 1 else {f"colour {number}": None for number in range(1, many + 1)}
    found: dict[str, int | None] = {}
    for part in re.split(r"\s*(?:[,;]|\band\b)\s*", text):
        match = re.fullmatch(r"([^\W\d_](?:[\w -]*[^\W\d_])?)\s*[=:]?\s*(\d*)", part)
        if match is None or len(match[1]) > 60 or (match[2] and int(match[2]) == 0):
            raise ValueError(f"not names of colours -> {right}")
        if match[1] in found:
            raise ValueError(f"{match[1]!r} is there twice -> each colour once, with all its pieces")
        found[match[1]] = int(match[2]) if match[2] else None
    if len({count is None for count in found.values()}) > 1 or len(found) > _MOST_COLOURS:
        raise ValueError(f"some colours have their pieces and some not -> {right}")
    return found


def pieces_by_colour(colours: dict[str, int | None], pieces: int) -> dict[str, int]:
    """Pieces of each colour, evenly where none are said; ValueError where they are not the whole order.

    Examples
    --------
    >>> pieces_by_colour({"red": None, "blue": None, "grey": None}, 32)
    {'red': 11, 'blue': 11, 'grey': 10}
    """
    if None in colours.values():
        if len(colours) > pieces:
            raise ValueError(f"{len(colours)} colours of {counted(pieces, 'piece')} -> at most a colour a piece")
        each, over = divmod(pieces, len(colours))
        return {name: each + (at < over) for at, name in enumerate(colours)}
    if colours and sum(colours.values()) != pieces:
        raise ValueError(f"{sum(colours.values())} pieces in colours, {pieces} in all -> colours that add up to the pieces")
    return dict(colours)


def read_places(text: str) -> tuple[int, ...]:
    """Places of each pot; ValueError where they are no whole numbers above zero.

    Examples
    --------
    >>> read_places("12, 20"), read_places("2 x 16"), read_places("20")
    ((12, 20), (16, 16), (20,))
    """
    right = "the casts that each holds, such as '20', or '12, 20' for two"
    found: list[int] = []
    for part in re.split(r"\s*(?:[,;+]|\band\b)\s*", re.sub(r"\s+(?:casts|pieces|places)$", "", text)):
        match = re.fullmatch(r"(?:(\d+)\s*[x×]\s*)?(\d+)", part)
        if match is None or not 1 <= int(match[2]) <= 5000 or not 1 <= int(match[1] or 1) <= _MOST_POTS:
            raise ValueError(f"not the places of pots -> {right}")
        found += [int(match[2])] * int(match[1] or 1)
    if len(found) > _MOST_POTS:
        raise ValueError(f"more than {_MOST_POTS} pots -> {right}")
    return tuple(found)


def read_times(text: str) -> dict[str, str]:
    """Working hours by day of the week, as the study file writes them; ValueError for what cannot be read.

    Examples
    --------
    >>> read_times("mon-tue 9-12, 13:30-17 and sat 6pm-9pm")
    {'monday': '09:00-12:00, 13:30-17:00', 'tuesday': '09:00-12:00, 13:30-17:00', 'saturday': '18:00-21:00'}
    """
    right = "days and hours of a clock with 24, such as 'mon-fri 9-17' or 'tue thu 18-21, sat 10-16'"
    days, timed, found = [], False, {}
    for match in _TIMES.finditer(re.sub(r"\b(?:and|from|on|every)\b", ",", text)):
        *clock, first, last, wrong = match.groups()
        if wrong or (clock[0] and (not days or bool(clock[2]) != bool(clock[5]))):
            raise ValueError(f"not days and hours -> {right}")
        if first:
            days = ([] if timed else days) + _days(first.casefold(), (last or first).casefold(), right)
            timed = False
        elif clock[0]:
            start, end = (f"{_hour(hour, half):02d}:{minute or '00'}" for hour, minute, half in (clock[:3], clock[3:]))
            timed = True
            for day in days:
                found[day] = f"{found[day]}, {start}-{end}" if day in found else f"{start}-{end}"
    if not timed:
        raise ValueError(f"days without hours -> {right}")
    working_windows(found, faults := [])
    if faults:
        raise ValueError(f"{faults[0].wrong} -> {right}")
    return {day: found[day] for day in DAYS if day in found}


def _hour(text, half):
    """Hour of a day of 24; above it what no clock with am and pm shows."""
    return int(text) if not half else int(text) % 12 + 12 * (half.casefold() == "pm") if 1 <= int(text) <= 12 else 99


def _days(first, last, right):
    """Days of the week from one word to another."""
    named = {"weekday": DAYS[:5], "weekend": DAYS[5:], "daily": DAYS, "day": DAYS}
    if first == last and first.removesuffix("s") in named:
        return list(named[first.removesuffix("s")])
    at = [[n for n, day in enumerate(DAYS) if len(word) > 2 and f"{day}s".startswith(word)] for word in (first, last)]
    if [len(one) for one in at] != [1, 1]:
        raise ValueError(f"not days of a week -> {right}")
    (begin,), (end,) = at
    return [DAYS[(begin + n) % 7] for n in range((end - begin) % 7 + 1)]
