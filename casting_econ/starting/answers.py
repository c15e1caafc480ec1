"""Answers in writing: '2', '1.5 2 3' or 'don't know', each with its unit if it is not the usual one."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ..faults import Fault, StudyError, close_match
from ..units import ratio_of_units
from .crafts import Craft, Guess, crafts, rough_rates
from .questions import QUESTIONS, Part, parts_of

__all__ = ["Answers", "known_currency", "read_answer", "read_answers"]

UNKNOWN = ("", "don't know", "dont know", "don’t know", "?", "unknown")
_SIGNS = {"€": "EUR", "£": "GBP", "$": "USD"}
_FIGURE = r"[0-9]+(?:[.,][0-9]+)?"
_ANSWER = re.compile(rf"({_FIGURE})(?:[\s;/-]+(?:to\s+)?({_FIGURE})[\s;/-]+(?:to\s+)?({_FIGURE}))?\s*(.*)")


@dataclass(frozen=True, kw_only=True)
class Answers:
    """What was answered, the craft and currency among it; what is not in `figures` is not known."""

    craft: Craft
    piece: str
    currency: str
    figures: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)  # low, likely, high by key, in the usual unit

    def guess(self, key: str) -> Guess:
        """The craft's guess of a key; money in the study's currency."""
        guess = self.craft.guess(key)
        money = any(part.key == key and "{money}" in part.unit for q in QUESTIONS for part in q.parts)
        return self.in_money(guess) if money else guess

    def in_money(self, guess: Guess) -> Guess:
        """A guess in euros as a rounded one in the study's currency."""
        factor = rough_rates()["EUR"] / rough_rates()[self.currency]
        return Guess(*(_rounded(figure * factor) for figure in (guess.low, guess.likely, guess.high)), guess.kind)


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
    """Low, likely and high of one answer in the part's unit; None for 'don't know'; ValueError says what is wrong.

    Examples
    --------
    >>> price = Part(key="price", ask="Price?", unit="{money}")
    >>> read_answer(price, "1,5 2 3 EUR", "EUR"), read_answer(price, 2, "EUR"), read_answer(price, "don't know", "EUR")
    ((1.5, 2.0, 3.0), (2.0, 2.0, 2.0), None)
    """
    unit = part.unit.format(money=currency)
    right = "one figure, or low, likely and high such as '2 3 5', or don't know"
    text = str(text).strip()
    if text.casefold() in UNKNOWN:
        return None
    for sign, code in _SIGNS.items():
        text = text.replace(sign, f" {code} ") if sign in text else text
    text = re.sub(r"^\s*([A-Z]{3})\s+(.*)$", r"\2 \1", text)
    match = _ANSWER.fullmatch(text)
    if match is None:
        raise ValueError(f"not an answer that can be read -> {right}")
    figures = [float(figure.replace(",", ".")) for figure in match.groups()[:3] if figure]
    factor = _factor(match[4].strip(), unit, currency)
    low, likely, high = (figure * factor for figure in (figures if len(figures) == 3 else figures * 3))
    if not low <= likely <= high:
        raise ValueError(f"low, likely and high out of order -> {right}")
    if low < part.low or high > part.high or (part.above and low <= part.low):
        least = f"above {part.low:g}" if part.above else f"at least {part.low:g}"
        raise ValueError(f"outside what it can be -> {least} and at most {part.high:,.15g} {unit}".rstrip())
    if part.whole and (low != high or low != int(low)):
        raise ValueError("one whole number is needed here -> such as 12")
    return low, likely, high


def _factor(given: str, unit: str, currency: str) -> float:
    """From the unit that was written to the one that is asked for."""
    given = re.sub(r"^(?:an?|per|/)\s*\w+$", "", given)  # '12 a month' says again what was asked
    if given in ("", unit, unit + "s"):
        return 1.0
    if unit == "%":
        raise ValueError("a unit where a percentage is asked for -> figures of a hundred, such as 80 85 90")
    if len(given) == 3 and given.isupper() and unit == currency:
        raise ValueError(f"money in {given} while the study counts in {currency} -> the same currency throughout")
    if not unit:
        return 1.0  # 'pieces', 'orders': a counting word
    try:
        return ratio_of_units(given, unit, currency)
    except ValueError as error:
        raise ValueError(f"{error} -> {unit}s, or a unit that can be turned into them") from None


def read_answers(texts: Mapping[str, Any], currency: str | None = None, place: str = "answers") -> Answers:
    """All answers of a file or of options, every fault in one go.

    Parameters
    ----------
    texts : mapping of str to str, int or float
        By key, such as `craft`, `casts_per_load` or `minutes.sand`; what is missing is not known.
    currency : str, optional
        Code; if not given that of the price, else EUR.
    place : str, optional
        Named in faults.

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
        wrong, _, right = str(error).partition(" -> ")
        faults.append(Fault(file=place, column=key, wrong=wrong, found=repr(found), right=right))

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
    parts = {part.key: part for question in QUESTIONS for part in parts_of(question, craft) if part.kind == "figure"}
    figures = {}
    for key, text in texts.items():
        if key not in parts:
            fault(key, f"unknown question -> one of craft, piece, {', '.join(parts)}{close_match(key, parts)}", key)
            continue
        try:
            answer = read_answer(parts[key], text, currency)
        except ValueError as error:
            fault(key, error, text)
            continue
        if answer is not None:
            figures[key] = answer
    hours, hidden = figures.get("weekly_hours"), figures.get("hidden_hours")
    if hours and hidden and hidden[2] >= hours[0]:
        fault("hidden_hours", "no hours are left to make anything -> fewer than the hours you can give", texts["hidden_hours"])
    if faults:
        raise StudyError(faults)
    return Answers(craft=craft, piece=re.sub(r"\s+", "-", piece.lower()), currency=currency, figures=figures)


def _crafts(text: str) -> list[Craft]:
    """Crafts of an id, or with all its words in the name."""
    words = text.casefold().split()
    if text.casefold() in UNKNOWN:
        return []
    exact = [craft for craft in crafts().values() if craft.id == text.casefold()]
    return exact or [craft for craft in crafts().values() if all(word in craft.name.casefold() for word in words)]
