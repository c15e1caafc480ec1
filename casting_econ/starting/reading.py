"""One answer in writing: figures such as '2' or '1.5 2 3', with a unit if it is not the usual one, days, colours, pots, or times."""

import datetime as dt
import re
from typing import Any

from ..faults import counted
from ..ledger.cells import clean
from ..ledger.dates import month_names, possible_orders, read_date
from ..ledger.logs import plain
from ..ledger.rules import currency_signs
from ..study.consistency import DAYS, Faults, working_windows
from ..study.numbers import read_figure, told, written
from ..units import COUNTED, Unclear, ratio_of_units
from .questions import Part

UNKNOWN = ("", "don't know", "dont know", "don’t know", "?", "unknown")
_RIGHT = "one figure, or low, likely and high such as '2 3 5', or don't know"
_PERIODS = ("hour", "day", "week", "month", "year")
_PER = re.compile(r"(.*?)\s*(?:/|\bper\b|\ban?\b|\beach\b|\bevery\b|\bin an?\b)\s*(\w+)")
_EVERY = {"hourly": "hour", "daily": "day", "weekly": "week", "monthly": "month", "yearly": "year", "annually": "year"}
_EVERY |= {"each": "piece", "apiece": "piece"}
_SAME = {"h": "hour", "hr": "hour", "d": "day", "wk": "week", "mo": "month", "yr": "year", "annum": "year"}
_SAME |= {"cast": "piece", "pc": "piece"}
_MOST_COLOURS, _MOST_POTS = 60, 20
STAND_IN = "mon-fri 9-17"  # times at the bench where nobody says any
_CLOCK = r"(\d{1,2})(?:[:.h](\d\d))?\s*(am|pm)?"
_TIMES = re.compile(rf"{_CLOCK}\s*(?:-|–|to)\s*{_CLOCK}|([a-z]+)(?:\s*(?:-|–|to)\s*([a-z]+))?|[\s,;:&/+]+|(.)", re.IGNORECASE)


def read_answer(part: Part, text: Any, currency: str) -> tuple[float, float, float] | None:
    """Low, likely and high of one answer as the study counts it, in the part's unit and period times its scale; None for 'don't know'.

    ValueError says what is wrong, and Unclear asks where two conventions read the text differently.

    >>> price = Part(key="price", ask="Price?", unit="{money}", per="piece")
    >>> read_answer(price, "1,5 2 3 EUR", "EUR"), read_answer(price, "2 160", "EUR"), read_answer(price, "don't know", "EUR")
    ((1.5, 2.0, 3.0), (2160.0, 2160.0, 2160.0), None)
    """
    unit = part.in_words(currency)
    # a space that does not break stands between thousands, never between figures
    text = clean(re.sub(r"(?<=\d)[\u00a0\u2009\u202f](?=\d{3})", "'", str(text)))
    if text.casefold() in UNKNOWN:
        return None
    match = re.fullmatch(r"([^\d.,]*?)\s*([\d.,](?:.*\d)?[.,]?)\s*(\D*)", text)
    if match is None or match[1] in ("-", "+"):
        example = f"{'60' if part.whole else '2 3 5'} {unit.partition('/')[0]}"
        raise ValueError(f"not an answer that can be read -> figures, and behind them their unit, such as {example!r}")
    # a sign of money may stand before each figure, and what the answer is for behind them: $18 $20 $24/hour
    text, given = match[2].replace(match[1] or " ", " "), f"{match[1]} {match[3]}".strip()
    factor = _factor(given, part, currency)
    found = {tuple(figure * factor for figure in figures) for figures in _readings(text, given)}
    shares = {tuple(figure * 100.0 for figure in figures) for figures in found} if unit == "%" and not given else set()
    possible = {figures for figures in found | shares if not _outside(part, figures, unit)}
    if len(possible) > 1:
        figures = [" ".join(map(written, dict.fromkeys(one))) for one in sorted(possible)]
        right = ", or ".join(repr(f"{one} {unit}") for one in figures)
        raise Unclear(f"question: is this {' or '.join(figures)} {unit}? -> {right}")
    if not possible:
        raise ValueError(_outside(part, min(found), unit))
    figures = tuple(figure * part.scale for figure in possible.pop())
    # what was turned into another unit keeps no more digits than were meant: 14 oz are 396.89 g
    return figures if factor == 1.0 else tuple(float(f"{figure:.5g}") for figure in figures)


def _readings(text, unit):
    """Every way to read figures that stand apart by spaces, which also stand between thousands: one figure, or three."""
    parts = [part for part in re.split(r"\s*(?:[;/-]|,\s|\bto\b)\s*", text) if part]
    words, found, reason = text.split(), set(), f"not an answer that can be read -> {_RIGHT}"
    # more than three plain figures in order are no thousands
    many = len(words) > 3 and all(word.isdecimal() for word in words) and sorted(words, key=int) == words
    if len(parts) == 3:
        groups = [parts]
    elif len(parts) == 1 and not many:
        cuts = [(i, j) for i in range(1, len(words)) for j in range(i + 1, len(words))]
        groups = [[" ".join(words[:i]), " ".join(words[i:j]), " ".join(words[j:])] for i, j in cuts] + [[text]]
    else:
        raise ValueError(reason)
    for group in groups:
        try:
            figures = [read_figure(figure, unit) for figure in group]
        except Unclear as error:
            if len(group) == len(words) or len(parts) == 3:
                raise
            reason = str(error)
        except ValueError:
            continue
        else:
            found.add(tuple(figures * (3 // len(figures))))
    if not found:
        raise ValueError(reason)
    return {figures for figures in found if figures[0] <= figures[1] <= figures[2]} or found


def _outside(part, figures, unit):
    """What is wrong with low, likely and high; '' where nothing is."""
    low, likely, high = figures
    if not low <= likely <= high:
        return f"low, likely and high out of order -> {_RIGHT}"
    if low < part.low or high > part.high or (part.above and low <= part.low):
        least = f"above {part.low:g}" if part.above else f"at least {part.low:g}"
        return f"outside what it can be -> {least} and at most {part.high:,.15g} {unit}"
    if part.whole and (low != high or low != int(low)):
        return "one whole number is needed here -> such as 12"
    return ""


def _factor(given, part, currency):
    """From the unit and period that were written to those that are asked for."""
    if given == "" or plain(given).rstrip("s") == part.unit:
        return 1.0
    wanted, unit = part.in_words(currency), part.in_words(currency, per=False)
    asked = "a percentage, such as '85 %'" if unit == "%" else wanted
    what, per = given, ""
    if match := _PER.fullmatch(given):
        what, per = match[1], match[2]
    elif given.split()[-1].casefold() in _EVERY:
        *words, last = given.split()
        what, per = " ".join(words), _EVERY[last.casefold()]
    per = per.casefold() if per.casefold() in COUNTED else per.casefold().removesuffix("s")
    per = _SAME.get(per, per) or part.per
    own, foreign = currency_signs(currency, "en")
    if plain(what) in own:
        what = currency
    elif plain(what) in foreign:
        right = f"{currency} throughout, or the price with another currency's code"
        raise ValueError(f"money in {what} while the study counts in {currency} -> {right}")
    periods = per in _PERIODS and part.per in _PERIODS
    if per != part.per and not periods:
        raise ValueError(f"an answer for each {per} where {asked} is asked for -> {asked}")
    what = what or unit
    try:
        if unit in ("%", *COUNTED):
            if what.casefold().rstrip("s") not in ({"%"} if unit == "%" else {unit, *({"piece"} if unit == "cast" else ())}):
                raise ValueError("a percentage is asked for" if unit == "%" else f"{unit}s are asked for")
            what = unit = "percent" if unit == "%" else "order"
        return ratio_of_units(f"{what}/{per}" if periods else what, f"{unit}/{part.per}" if periods else unit, currency)
    except Unclear:
        raise
    except ValueError as error:
        said = str(error) if repr(given) in str(error) else f"{error}, not {given!r}"
        raise told(ValueError(said), f"{asked}, or a unit that can be turned into it") from None


def read_day(text: str) -> dt.date:
    """A day as people write it; ValueError for none, Unclear with a question where day and month could be either.

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

    >>> read_times("mon-tue 9-12, 13:30-17 and sat 6pm-9pm")
    {'monday': '09:00-12:00, 13:30-17:00', 'tuesday': '09:00-12:00, 13:30-17:00', 'saturday': '18:00-21:00'}
    >>> read_times("mo-fr 9-15") == read_times("mon-fri 9-15")
    True
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
    working_windows(found, faults := Faults())
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
    at = [[n for n, day in enumerate(DAYS) if len(word) > 1 and f"{day}s".startswith(word)] for word in (first, last)]
    if [len(one) for one in at] != [1, 1]:
        raise ValueError(f"not days of a week -> {right}")
    (begin,), (end,) = at
    return [DAYS[(begin + n) % 7] for n in range((end - begin) % 7 + 1)]


_KINDS = {"date": read_day, "colours": read_colours, "places": read_places, "times": read_times}


def read_part(part: Part, text: Any, currency: str) -> Any:
    """One answer of whatever kind; None for 'don't know', ValueError where it cannot be read."""
    if part.kind not in _KINDS:
        return read_answer(part, text, currency)
    text = str(text).strip()
    return None if text.casefold() in UNKNOWN else _KINDS[part.kind](text)
