"""All answers to the questions, read together, and how they were understood."""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from babel.dates import format_skeleton

from ..faults import Fault, StudyError, close_match, fault_of
from ..formatting import Format
from ..study.stations import whole_moulds
from ..units import COUNTED
from .crafts import Craft, Guess, crafts, rough_rates
from .questions import BEGIN, PARTS, Part, parts_of, questions
from .reading import STAND_IN, UNKNOWN, pieces_by_colour, read_answer, read_part

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
        return self.in_money(guess) if key in PARTS and "{money}" in PARTS[key].unit else guess

    def in_money(self, guess: Guess) -> Guess:
        """A guess in euros in the study's currency, of two figures that count: it has no more."""
        factor = rough_rates()["EUR"] / rough_rates()[self.currency]
        return Guess(*(float(f"{figure * factor:.2g}") for figure in (guess.low, guess.likely, guess.high)), guess.kind)


def asks_order(texts: Mapping[str, Any]) -> bool:
    """Whether answers are those of a first order: as they say, else by what they answer; ValueError where they say neither."""
    said = str(texts.get(BEGIN.key, "")).strip().casefold()
    if said in UNKNOWN:
        workshop, order = (
            {part.key for q in questions(order) for craft in crafts().values() for part in parts_of(q, craft)}
            for order in (False, True)
        )
        return bool((order - workshop) & set(texts))
    kinds = [kind for kind in ("order", "workshop") if kind in said or said == kind[0]]
    if len(kinds) != 1:
        raise ValueError("neither of the two -> order, or workshop")
    return kinds == ["order"]


def known_currency(text: str) -> str:
    """Code of a currency that there are guesses in; ValueError for another."""
    code = _SIGNS.get(text.strip(), text.strip().upper())
    if code not in rough_rates():
        known = ", ".join(rough_rates())
        raise ValueError(f"no starting guesses in this currency -> one of {known}; write the study file by hand for another")
    return code


def _crafts(text):
    """Crafts of an id, or with all its words in the name."""
    named, known = text.casefold(), crafts().values()
    fits = [craft for craft in known if craft.id == named]
    if fits or named in UNKNOWN:
        return fits
    return [craft for craft in known if all(word in craft.name.casefold() for word in named.split())]


def _only(fits, text):
    """The one craft that fits; ValueError where there is none, or another."""
    if len(fits) != 1:
        wrong = "no craft is named" if text.casefold() in UNKNOWN else "more than one craft" if fits else "unknown craft"
        known = ", ".join(craft.id for craft in fits) or f"{', '.join(crafts())}{close_match(text, crafts())}"
        raise ValueError(f"{wrong} -> one of {known}")
    return fits[0]


def _piece(text, craft):
    """What a piece is called, by itself as the craft has it; ValueError for what no study file can call it."""
    if text.casefold() in UNKNOWN:
        return craft.table["piece"]
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9 -]{0,40}", text):
        raise ValueError("a name that cannot be used -> a word of plain letters, such as knob")
    return text


def read_answers(
    texts: Mapping[str, Any], currency: str | None = None, place: str = "answers", *, partly: bool = False
) -> Answers:
    """All answers of a file or of options, every fault in one go.

    `texts` are by key, such as `craft`, `casts_per_load` or `minutes.sand`, as text or figures; what is missing is not known. The code of
    the `currency` is that of the first sum of money if not given, else EUR; `place` is named in faults; `partly` says that more answers are to come,
    so that none is missing yet. StudyError for unknown keys and for answers that cannot be read.
    """
    faults, texts = [], dict(texts)

    def fault(key, error, found):
        faults.append(fault_of(error, file=place, column=key, found=repr(found)))

    def tried(key, found, otherwise, read, *of):
        """What is read; what cannot be is a fault, and something stands in so that the rest is looked at too."""
        try:
            return read(*of)
        except ValueError as error:
            fault(key, error, found)
            return otherwise

    named, piece = (str(texts.pop(key, "")).strip() for key in ("craft", "piece"))
    fits = _crafts(named)
    craft = tried("craft", named, (fits or [*crafts().values()])[0], _only, fits, named)
    if currency is None:
        money = (str(texts.get(key, "")) for key, part in PARTS.items() if "{money}" in part.unit)  # whichever names one first
        written = re.findall(r"[€£$]|\b[A-Z]{3}\b", " ".join(money))
        currency = written[0] if written else "EUR"
    currency = tried("currency", currency, "EUR", known_currency, currency)
    piece = tried("piece", piece, piece, _piece, piece, craft)
    order = tried(BEGIN.key, texts.get(BEGIN.key), False, asks_order, texts)
    texts.pop(BEGIN.key, None)
    parts = {part.key: part for q in questions(order) for part in parts_of(q, craft) if part.kind not in ("craft", "word")}
    found = {}
    also = "" if order else "; begin=order takes the answers of a first order"
    for key, text in texts.items():
        if key not in parts:
            fault(key, f"unknown question -> one of begin, craft, piece, {', '.join(parts)}{close_match(key, parts)}{also}", key)
        elif order and key == "price":
            found[key] = tried(key, text, None, _offer, parts[key], text, currency, parts["pieces"], texts.get("pieces", ""))
        else:
            found[key] = tried(key, text, None, read_part, parts[key], text, currency)
    found, wrong = {key: answer for key, answer in found.items() if answer is not None}, {fault.column for fault in faults}
    for key, part in parts.items():
        if part.needed and not partly and key not in wrong | found.keys():
            faults.append(Fault(place, "is needed, and no guess can stand in for it", part.ask, column=key))
    figures = {key: answer for key, answer in found.items() if parts[key].kind == "figure"}
    others = {key: answer for key, answer in found.items() if key not in figures}
    hours, hidden = figures.get("weekly_hours"), figures.get("hidden_hours")
    if hours and hidden and hidden[2] >= hours[0]:
        fault("hidden_hours", "no hours are left to make anything -> fewer than the hours you can give", texts["hidden_hours"])
    room = max(others.get("pots", ()), default=craft.table["casts_per_load"])
    if craft.pots and "cavities" in figures and figures["cavities"][1] > room:
        fault("cavities", f"a mould of more casts than the largest pot holds -> at most {room}", texts["cavities"])
    colours = others.pop("colours", {})
    if colours and "pieces" in figures:
        others["colours"] = tried("colours", texts["colours"], {}, pieces_by_colour, colours, int(figures["pieces"][1]))
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
    heard = [f"{part.ask} {_heard(part, answers, fmt)}." for part in answers.parts if part.kind not in ("craft", "word")]
    return [f"The craft: {answers.craft.name}.", f"A piece: {answers.piece}.", *heard]


def _heard(part, answers, fmt):
    """One answer as it was read, and what follows from it."""
    unknown = "Not known: a guess of the trade stands in"
    if part.kind == "date":
        gone = ". That day has gone by, so the order is looked back on" if answers.due < dt.date.today() else ""
        return format_skeleton("yMMMEd", answers.due, locale=fmt.locale) + gone
    if part.kind == "places":
        loads = {pot: int(whole_moulds(pot, answers)) for pot in answers.pots or [answers.places]}
        each = ", ".join(f"{load or 'none'} in the pot of {pot}" for pot, load in loads.items())
        load = each if len(loads) > 1 else answers.casts_a_load
        told = any(load < pot for pot, load in loads.items())
        aside = f". Moulds of {answers.cavities} casts go in whole, so a load is {load}" if told else ""
        return (", ".join(map(str, answers.pots)) or unknown) + aside
    if part.kind == "times":
        return "; ".join(f"{day} {hours}" for day, hours in answers.bench_times.items()) or f"Not known: {STAND_IN} stands in"
    if part.kind == "colours":
        return ", ".join(f"{name} {count}" for name, count in answers.colours.items()) or "All alike"
    if (figures := answers.figures.get(part.key)) is None:
        return unknown
    low, likely, high = (fmt.exactly(figure / part.scale) for figure in figures)
    unit = part.in_words(answers.currency, per=False)
    unit = f"{unit}s" if unit in (*COUNTED, "day", "hour", "minute") and likely != fmt.exactly(1) else unit
    period = f" {'an' if part.per in ('hour', 'order') else 'a'} {part.per}" if unit != "%" and part.per else ""
    none = ". None fails, by that, so no cast is planned beyond those asked for until your log of batches says otherwise"
    aside = none if part.key == "yield" and figures[0] == 100.0 else ""
    return f"{likely if low == high else f'{low} to {high}, most likely {likely},'} {unit}{period}{aside}"
