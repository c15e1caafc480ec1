"""Answers in writing: '2', '1.5 2 3' or 'don't know', each with its unit if it is not the usual one."""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from babel.dates import format_skeleton

from ..faults import Fault, StudyError, close_match, fault_of
from ..formatting import Format
from ..ledger.cells import clean
from ..ledger.logs import plain
from ..ledger.rules import currency_signs
from ..study.numbers import read_figure, told, written
from ..study.stations import whole_moulds
from ..units import COUNTED, Unclear, ratio_of_units
from .crafts import Craft, Guess, crafts, rough_rates
from .order_answers import STAND_IN, pieces_by_colour, read_colours, read_day, read_places, read_times
from .questions import BEGIN, QUESTIONS, Part, parts_of, questions

_READ = {"date": read_day, "colours": read_colours, "places": read_places, "times": read_times}
UNKNOWN = ("", "don't know", "dont know", "don’t know", "?", "unknown")
_SIGNS = {"€": "EUR", "£": "GBP", "$": "USD"}
# of currencies that one country has; a study in another states none, so that no country's holidays are taken for the maker's
LOCALES = {"GBP": "en_GB", "USD": "en_US", "CAD": "en_CA", "AUD": "en_AU", "NZD": "en_NZ", "CHF": "de_CH"}
LOCALES |= {"SEK": "sv_SE", "NOK": "nb_NO", "DKK": "da_DK", "PLN": "pl_PL", "CZK": "cs_CZ"}


@dataclass(frozen=True, kw_only=True)
class Answers:
    """What was answered, the craft and currency among it; what is not in `figures` is not known."""

    craft: Craft
    piece: str
    currency: str
    figures: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)  # low, likely, high by key, in the usual unit
    order: bool = False  # whether it is a first order, with what follows
    due: dt.date | None = None
    colours: Mapping[str, int] = field(default_factory=dict)  # pieces of each; none where all are alike
    pots: tuple[int, ...] = ()  # places of each
    bench_times: Mapping[str, str] = field(default_factory=dict)  # working hours by day; none where nobody said any

    @property
    def steps(self) -> list[dict[str, Any]]:
        """The routing; of a first order with every hand step that it does not answer with 0."""
        if not self.order:
            return self.craft.steps
        done = self.craft.table["steps"]
        return [step for step in done if not step.get("order") or any(self.figures.get(f"minutes.{step['name']}", (1,)))]

    @property
    def parts(self) -> list[Part]:
        """All that is asked."""
        return [part for question in questions(self.order) for part in parts_of(question, self.craft)]

    @property
    def places(self) -> int:
        """Casts that a load has room for, as answered, as the largest pot holds, or as usual in the craft. [cast]"""
        answered = self.figures.get("casts_per_load")
        return int(answered[1] if answered else max(self.pots, default=self.craft.table["casts_per_load"]))

    @property
    def masters(self) -> int:
        """Masters there are, as answered or as usual. [master]"""
        return int((self.figures.get("masters") or self.craft.table["masters"])[1])

    @property
    def cavities(self) -> int | None:
        """Casts that a mould of a first order gives at once, as answered or of one over all masters; None where none is made. [cast]"""
        if not (self.order and self.craft.mould_steps):
            return None
        return int((self.figures.get("cavities") or (0, min(self.masters, self.places), 0))[1])

    @property
    def casts_a_load(self) -> int:
        """Casts a load: as there is room for, in a pot in whole moulds. [cast]"""
        return int(whole_moulds(self.places, self if self.craft.pots else None))

    def guess(self, key: str) -> Guess:
        """The craft's guess of a key; money in the study's currency."""
        guess, given = self.craft.guess(key), self.figures.get("weekly_hours")
        if key == "hidden_hours" and given and guess.high >= given[0]:  # of few hours not all can be hidden
            return guess.times(given[0] / 3 / guess.high)
        money = any(part.key == key and "{money}" in part.unit for q in QUESTIONS for part in q.parts)
        return self.in_money(guess) if money else guess

    def in_money(self, guess: Guess) -> Guess:
        """A guess in euros as a rounded one in the study's currency."""
        factor = rough_rates()["EUR"] / rough_rates()[self.currency]
        return Guess(*(_rounded(figure * factor) for figure in (guess.low, guess.likely, guess.high)), guess.kind)


def asks_order(texts: Mapping[str, Any]) -> bool:
    """Whether answers are those of a first order: as they say, else by what they answer; ValueError where they say neither."""
    said = str(texts.get(BEGIN.key, "")).strip().casefold()
    if said in UNKNOWN:
        every = [
            {part.key for q in questions(order) for c in crafts().values() for part in parts_of(q, c)} for order in (False, True)
        ]
        return bool((every[1] - every[0]) & set(texts))
    kinds = [kind for kind in ("order", "workshop") if kind in said or said == kind[0]]
    if len(kinds) != 1:
        raise ValueError("neither of the two -> order, or workshop")
    return kinds == ["order"]


def _rounded(figure: float) -> float:
    """Two figures that count: a guess has no more."""
    return float(f"{figure:.2g}")


def known_currency(text: str) -> str:
    """Code of a currency that there are guesses in; ValueError for another."""
    code = _SIGNS.get(text.strip(), text.strip().upper())
    if code not in rough_rates():
        known = ", ".join(rough_rates())
        raise ValueError(f"no starting guesses in this currency -> one of {known}; write the study file by hand for another")
    return code


def read_answer(part: Part, text: Any, currency: str) -> tuple[float, float, float] | None:
    """Low, likely and high of one answer in the part's unit and period; None for 'don't know'.

    ValueError says what is wrong, and Unclear asks where two conventions read the text differently.

    Examples
    --------
    >>> price = Part(key="price", ask="Price?", unit="{money}", per="piece")
    >>> read_answer(price, "1,5 2 3 EUR", "EUR"), read_answer(price, "2 160", "EUR"), read_answer(price, "don't know", "EUR")
    ((1.5, 2.0, 3.0), (2160.0, 2160.0, 2160.0), None)
    """
    unit = part.in_words(currency)
    right = "one figure, or low, likely and high such as '2 3 5', or don't know"
    # a space that does not break stands between thousands, never between figures
    text = clean(re.sub(r"(?<=\d)[\u00a0\u2009\u202f](?=\d{3})", "'", str(text)))
    if text.casefold() in UNKNOWN:
        return None
    text, given = _without_unit(text)
    factor = _factor(given, part, currency)
    found = {tuple(figure * factor for figure in figures) for figures in _readings(text, given, right)}
    shares = {tuple(figure * 100.0 for figure in figures) for figures in found} if unit == "%" and not given else set()
    possible = {figures for figures in found | shares if not _outside(part, figures)}
    if len(possible) > 1:
        figures = [" ".join(map(written, dict.fromkeys(one))) for one in sorted(possible)]
        raise Unclear(
            f"question: is this {' or '.join(figures)} {unit}? -> " + ", or ".join(repr(f"{one} {unit}") for one in figures)
        )
    if not possible:
        raise ValueError(_outside(part, min(found)).format(right=right, unit=unit))
    return possible.pop()


def _without_unit(text):
    """Figures of an answer, and the unit before or behind them."""
    match = re.fullmatch(r"([^\d.,]*?)\s*([\d.,](?:.*\d)?[.,]?)\s*(\D*)", text)
    if match is None or (match[1] and match[3]) or match[1] in ("-", "+"):
        raise ValueError("not an answer that can be read -> figures, and behind them their unit, such as '2 3 5 h'")
    return match[2], (match[1] or match[3]).strip()


def _readings(text, unit, right):
    """Every way to read figures that stand apart by spaces, which also stand between thousands: one figure, or three."""
    parts = [part for part in re.split(r"\s*(?:[;/-]|,\s|\bto\b)\s*", text) if part]
    if len(parts) == 3:
        groups = [parts]
    elif len(parts) == 1 and not _four_figures(text.split()):
        words = text.split()
        cuts = [(i, j) for i in range(1, len(words)) for j in range(i + 1, len(words))]
        groups = [[" ".join(words[:i]), " ".join(words[i:j]), " ".join(words[j:])] for i, j in cuts] + [[text]]
    else:
        raise ValueError(f"not an answer that can be read -> {right}")
    found, reason = set(), f"not an answer that can be read -> {right}"
    for group in groups:
        try:
            figures = [read_figure(figure, unit) for figure in group]
        except Unclear as error:
            if len(group) == len(text.split()) or len(parts) == 3:
                raise
            reason = str(error)
        except ValueError:
            continue
        else:
            found.add(tuple(figures * (3 // len(figures))))
    ordered = {figures for figures in found if figures[0] <= figures[1] <= figures[2]}
    if not found:
        raise ValueError(reason)
    return ordered or found


def _four_figures(words):
    """Whether words are more than three plain figures in order, which are no thousands."""
    return len(words) > 3 and all(word.isdecimal() for word in words) and sorted(words, key=int) == words


def _outside(part, figures):
    """What is wrong with low, likely and high; '' where nothing is."""
    low, likely, high = figures
    if not low <= likely <= high:
        return "low, likely and high out of order -> {right}"
    if low < part.low or high > part.high or (part.above and low <= part.low):
        least = f"above {part.low:g}" if part.above else f"at least {part.low:g}"
        return f"outside what it can be -> {least} and at most {part.high:,.15g} {{unit}}"
    if part.whole and (low != high or low != int(low)):
        return "one whole number is needed here -> such as 12"
    return ""


_PER = re.compile(r"(.*?)\s*(?:/|\bper\b|\ban?\b|\beach\b|\bevery\b|\bin an?\b)\s*(\w+)")
_EVERY = {"hourly": "hour", "daily": "day", "weekly": "week", "monthly": "month", "yearly": "year", "annually": "year"}
_EVERY |= {"each": "piece", "apiece": "piece"}
_SAME = {"h": "hour", "hr": "hour", "d": "day", "wk": "week", "mo": "month", "yr": "year", "annum": "year"}
_SAME |= {"cast": "piece", "pc": "piece"}


def _factor(given: str, part: Part, currency: str) -> float:
    """From the unit and period that were written to those that are asked for."""
    if given == "" or plain(given).rstrip("s") == part.unit:
        return 1.0
    wanted, unit = part.in_words(currency), part.in_words(currency, per=False)
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
        raise ValueError(
            f"money in {what} while the study counts in {currency} -> {currency} throughout, or the price with another currency's code"
        )
    if per != part.per and (per not in _PERIODS or part.per not in _PERIODS):
        raise ValueError(
            f"an answer for each {per} where {_asked_for(wanted, unit, part)} is asked for -> {_asked_for(wanted, unit, part)}"
        )
    what = what or unit
    try:
        if unit in ("%", *COUNTED):
            if what.casefold().rstrip("s") not in ({"%"} if unit == "%" else {unit, *({"piece"} if unit == "cast" else ())}):
                raise ValueError("a percentage is asked for" if unit == "%" else f"{unit}s are asked for")
            what = "order" if unit != "%" else "percent"
        base = {"%": "percent"}.get(unit, "order" if unit in COUNTED else unit)
        periods = per in _PERIODS and part.per in _PERIODS
        return ratio_of_units(f"{what}/{per}" if periods else what, f"{base}/{part.per}" if periods else base, currency)
    except Unclear:
        raise
    except ValueError as error:
        raise told(
            ValueError(str(error) if repr(given) in str(error) else f"{error}, not {given!r}"),
            f"{_asked_for(wanted, unit, part)}, or a unit that can be turned into it",
        ) from None


_PERIODS = ("hour", "day", "week", "month", "year")


def _asked_for(wanted, unit, part):
    return "a percentage, such as '85 %'" if unit == "%" else wanted


def read_answers(
    texts: Mapping[str, Any], currency: str | None = None, place: str = "answers", *, partly: bool = False
) -> Answers:
    """All answers of a file or of options, every fault in one go.

    Parameters
    ----------
    texts : mapping of str to str, int or float
        By key, such as `craft`, `casts_per_load` or `minutes.sand`; what is missing is not known.
    currency : str, optional
        Code; if not given that of the price, else EUR.
    place : str, optional
        Named in faults.
    partly : bool, optional
        Whether more answers are to come, so that none is missing yet.

    Returns
    -------
    Answers

    Raises
    ------
    StudyError
        For unknown keys and for answers that cannot be read.
    """
    faults = []

    def fault(key, error, found):
        faults.append(fault_of(error, file=place, column=key, found=repr(found)))

    texts = dict(texts)
    named = str(texts.pop("craft", "")).strip()
    fits = _crafts(named)
    if len(fits) != 1:
        known = ", ".join(craft.id for craft in fits) or ", ".join(crafts())
        wrong = "no craft is named" if named.casefold() in UNKNOWN else "more than one craft" if fits else "unknown craft"
        fault("craft", f"{wrong} -> one of {known}{'' if fits else close_match(named, crafts())}", named)
    craft = fits[0] if fits else next(iter(crafts().values()))  # so that the other answers are looked at too
    if currency is None:
        written = re.findall(r"[€£$]|\b[A-Z]{3}\b", str(texts.get("price", "")))
        currency = written[0] if written else "EUR"
    try:
        currency = known_currency(currency)
    except ValueError as error:
        fault("currency", error, currency)
        currency = "EUR"
    piece = str(texts.pop("piece", "")).strip()
    if piece.casefold() in UNKNOWN:
        piece = craft.table["piece"]
    elif not re.fullmatch(r"[A-Za-z][A-Za-z0-9 -]{0,40}", piece):
        fault("piece", "a name that cannot be used -> a word of plain letters, such as knob", piece)
    try:
        order = asks_order(texts)
    except ValueError as error:
        fault(BEGIN.key, error, texts[BEGIN.key])
        order = False
    texts.pop(BEGIN.key, None)
    parts = {part.key: part for q in questions(order) for part in parts_of(q, craft) if part.kind not in ("craft", "word")}
    figures, others = {}, {}
    also = "" if order else "; begin=order takes the answers of a first order"
    for key, text in texts.items():
        if key not in parts:
            fault(key, f"unknown question -> one of begin, craft, piece, {', '.join(parts)}{close_match(key, parts)}{also}", key)
            continue
        part, read = parts[key], _READ.get(parts[key].kind)
        try:
            if order and key == "price":
                answer = _offer(part, text, currency, parts["pieces"], texts.get("pieces", ""))
            elif read is None:
                answer = read_answer(part, text, currency)
                answer = answer and tuple(figure * part.scale for figure in answer)
            else:
                answer = None if str(text).strip().casefold() in UNKNOWN else read(str(text).strip())
        except ValueError as error:
            fault(key, error, text)
            continue
        if answer is not None:
            (figures if read is None else others)[key] = answer
    wrong = {found.column for found in faults}
    for key, part in parts.items():
        if part.needed and not partly and key not in wrong | set(figures) | set(others):
            faults.append(Fault(place, "is needed, and no guess can stand in for it", part.ask, column=key))
    hours, hidden = figures.get("weekly_hours"), figures.get("hidden_hours")
    if hours and hidden and hidden[2] >= hours[0]:
        fault("hidden_hours", "no hours are left to make anything -> fewer than the hours you can give", texts["hidden_hours"])
    room = max(others.get("pots", ()), default=craft.table["casts_per_load"])
    if craft.pots and "cavities" in figures and figures["cavities"][1] > room:
        fault("cavities", f"a mould of more casts than the largest pot holds -> at most {room}", texts["cavities"])
    colours = others.pop("colours", {})
    try:
        others["colours"] = pieces_by_colour(colours, int(figures["pieces"][1])) if "pieces" in figures and colours else {}
    except ValueError as error:
        fault("colours", error, texts["colours"])
    if faults:
        raise StudyError(faults)
    name = re.sub(r"\s+", "-", piece.lower())
    return Answers(craft=craft, piece=name, currency=currency, figures=figures, order=order, **others)


def _offer(part, text, currency, pieces, how_many):
    """What is offered for a whole order; of each piece where it is said so."""
    try:
        return read_answer(part, text, currency)
    except ValueError as error:
        if not str(error).startswith("an answer for each piece"):
            raise
    each, count = read_answer(replace(part, per="piece"), text, currency), read_answer(pieces, how_many, currency)
    return None if count is None else tuple(figure * count[1] for figure in each)


def understood(answers: Answers, locale: str | None = None) -> list[str]:
    """Each answer as it was read, with unit and period, or that it is not known, by the question it answers."""
    fmt = Format(answers.currency, locale or LOCALES.get(answers.currency, "en_GB"))  # as of a study that states none
    lines = [f"The craft: {answers.craft.name}.", f"A piece: {answers.piece}."]
    for part in (part for part in answers.parts if part.kind not in ("craft", "word")):
        if part.kind != "figure":
            lines.append(f"{part.ask} {_heard(part, answers, fmt)}.")
            continue
        figures = answers.figures.get(part.key)
        if figures is None:
            lines.append(f"{part.ask} Not known: a guess of the trade stands in.")
            continue
        low, likely, high = (fmt.exactly(figure / part.scale) for figure in figures)
        unit = part.in_words(answers.currency, per=False)
        unit = f"{unit}s" if unit in (*COUNTED, "day", "hour", "minute", "master") and likely != fmt.exactly(1) else unit
        period = f" {'an' if part.per in ('hour', 'order') else 'a'} {part.per}" if unit != "%" and part.per else ""
        all_pass = part.key == "yield" and figures[0] == 100.0
        aside = (
            " None fails, by that, so no cast is planned beyond those asked for until your log of batches says otherwise."
            if all_pass
            else ""
        )
        lines.append(f"{part.ask} {likely if low == high else f'{low} to {high}, most likely {likely},'} {unit}{period}.{aside}")
    return lines


def _heard(part, answers, fmt):
    """A day, colours or pots as they were read."""
    if part.kind == "date":
        gone = answers.due < dt.date.today()
        return format_skeleton("yMMMEd", answers.due, locale=fmt.locale) + (
            ". That day has gone by, so the order is looked back on" if gone else ""
        )
    if part.kind == "places":
        whole = answers.casts_a_load < answers.places
        aside = f". Moulds of {answers.cavities} casts go in whole, so a load is {answers.casts_a_load}" if whole else ""
        return (", ".join(map(str, answers.pots)) or "Not known: a guess of the trade stands in") + aside
    if part.kind == "times":
        return "; ".join(f"{day} {hours}" for day, hours in answers.bench_times.items()) or f"Not known: {STAND_IN} stands in"
    return ", ".join(f"{name} {count}" for name, count in answers.colours.items()) or "All alike"


def _crafts(text: str) -> list[Craft]:
    """Crafts of an id, or with all its words in the name."""
    words = text.casefold().split()
    if text.casefold() in UNKNOWN:
        return []
    exact = [craft for craft in crafts().values() if craft.id == text.casefold()]
    return exact or [craft for craft in crafts().values() if all(word in craft.name.casefold() for word in words)]
