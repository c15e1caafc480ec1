"""How each column of a table is read: decimal mark, order of dates, money, units and words."""

import re
from functools import cache
from typing import Any

from babel import Locale
from babel.numbers import get_decimal_symbol

from ..faults import Fault
from .cells import Rule
from .columns import MARK_NAMES, decide_marks, decide_order
from .dates import month_names
from .files import Grid
from .logs import LOGS, NUMBERS, plain
from .rows import Column


@cache
def currency_signs(currency: str, locale: str) -> tuple[frozenset[str], frozenset[str]]:
    """How the study's currency may be written, and how the others are, in plain form."""
    signs: dict[str, set[str]] = {}
    for place in (Locale.parse("en"), Locale.parse(locale)):
        for code, sign in place.currency_symbols.items():
            short = sign.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ") or sign
            written = code, sign, short, code[:2] + short, place.currencies.get(code, code)
            signs.setdefault(code, set()).update(map(plain, written))
    for code in ("SEK", "NOK", "DKK", "ISK"):
        signs.setdefault(code, {plain(code)}).add("kr")
    signs.setdefault("CHF", {"chf"}).update({"fr", "sfr"})
    own = frozenset(signs.get(currency, set()) | {plain(currency)} | ({"euro", "euros"} if currency == "EUR" else set()))
    return own, frozenset(set().union(*signs.values()) - own)


def distinct(cells: list[Any], rows: list[int]) -> list[tuple[int, Any]]:
    """Each distinct cell once, with the row it is first in."""
    first: dict[Any, int] = {}
    for cell, row in zip(cells, rows):
        if cell not in first:
            first[cell] = row
    return [(row, cell) for cell, row in first.items()]


def rules_of(
    grid: Grid,
    log: str,
    rows: list[int],
    raw: dict[str, list[Any]],
    columns: dict[str, Column],
    settings: Any,
    names: Any,
    currency: str,
    locale: str | None,
) -> tuple[dict[str, Rule], list[str], list[Fault]]:
    """How each column is read, the decisions in words, and what its header or its cells leave open."""
    signs, foreign = currency_signs(currency, locale or "en")
    seen = {name: distinct(cells, rows) for name, cells in raw.items()}
    figures = {name: cells for name, cells in seen.items() if LOGS[log][name][0] in NUMBERS}
    local = get_decimal_symbol(locale) if locale else None
    marks, faults = decide_marks(grid.place, figures, settings.decimal if settings else None, grid.separator, local)
    rules, orders, decisions = {}, [], []
    said: dict[tuple[str, str], list[str]] = {}
    for name, (_, basis) in marks.items():
        if basis:  # columns that tell by a cell of their own have one line, with the first such cell
            said.setdefault((marks[name][0], "" if " in row " in basis else basis), []).append(name)
    for (mark, _), alike in said.items():
        decisions.append(f"decimal {MARK_NAMES[mark]} in {', '.join(alike)}: {marks[alike[0]][1]}")
    for name, column in columns.items():
        kind, order = LOGS[log][name][0], "dmy"
        if kind == "date":
            order, why, question = decide_order(grid.place, name, seen[name], settings.dates if settings else None)
            orders += [question] if question else []
            decisions += [f"{name}: {why}"] if why else []
        money = kind in NUMBERS and NUMBERS[kind].money
        unit = column.unit or _foreign_in(column.header, foreign)
        if money and unit and plain(unit) not in signs:
            stated = f'unit = "{currency}" beside its column under [records.columns.{log}] in study.toml if they are'
            right = f"prices in {currency}, or {stated}"
            faults.append(Fault(grid.place, "is in another currency or unit", right, column=name, found=repr(column.header)))
        rules[name] = Rule(
            kind=kind,
            currency=currency,
            mark=marks.get(name, (".",))[0],
            order=order,
            first_day=settings.first_day if settings else None,
            unit="" if money else column.unit,
            density=column.density,
            signs=signs,
            foreign=foreign,
            months=month_names(locale or "en"),
            words=_words(name, log, kind, settings, names),
        )
    return rules, decisions, faults + orders


def _foreign_in(header, foreign):
    """The sign or code of another currency in a header, such as 'paid in USD', nothing where there is none."""
    words = (word for word in re.findall(r"\w+|[^\w\s]", header) if re.fullmatch("[A-Z]{3}|[^a-zA-Z]+", word))
    return next((word for word in words if plain(word) in foreign), "")


def _words(name, log, kind, settings, names):
    """Her words for this column, and the study's own in other capitals or with spaces for hyphens or the other way."""
    known: set[str] = set(kind) if isinstance(kind, tuple) else set()
    if names is not None:
        known |= names.of_columns(log).get(name, set())
        known |= set(names.items) if name == "item" else set()
        known |= set(names.order_names) if name == "order" and log != "sales" else set()
    plains: dict[str, set[str]] = {}
    for word in known:
        alone = (
            word.rpartition(" / ")[2] if name == "order" else word
        )  # a colour that only one order has needs no order beside it
        for spelt in (word, word.replace("-", " "), word.replace(" ", "-"), alone):
            plains.setdefault(plain(spelt), set()).add(word)
    words = {key: next(iter(found)) for key, found in plains.items() if len(found) == 1}
    words |= {plain(her): ours for her, ours in (settings.words.get(name, {}) if settings else {}).items()}
    return tuple(words.items())
