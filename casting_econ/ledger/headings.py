"""Which heading that is no column may be which column: by its words, and by what its cells look like."""

import re
from contextlib import suppress
from typing import Any

from ..faults import likeness
from ..reference import words
from .cells import BLANKS, Rule, Unreadable, read_cell
from .logs import LOGS, NUMBERS, plain
from .rows import Column

_LIKELY, _LOOKED_AT = 0.5, 30  # of a pair at least; cells of a column
_PARTED = re.compile(r"[;|\t]")  # a header that its separator has not parted is no heading


def paired(
    missing: list[str], unknown: list[Column], cells: dict[int, list[Any]], log: str, names: Any, currency: str
) -> dict[str, list[Column]]:
    """Columns that a log misses, each with the headings that may be it, the likeliest first, of which no other column has the first.

    `cells` are those of each unknown column, by its place in the row; `names` are the study's, or None.
    """
    known = names.of_columns(log) if names is not None else {}
    likely = [
        (_likely(name, one, cells[one.at], log, known.get(name, ()), currency), name, one) for name in missing for one in unknown
    ]
    best = [pair for pair in sorted(likely, key=lambda pair: -pair[0]) if pair[0] >= _LIKELY]
    found: dict[str, list[Column]] = {}
    for _, name, one in best:
        if name not in found and [one] not in found.values():
            found[name] = [one]
    taken = [likeliest for [likeliest] in found.values()]
    for _, name, one in best:
        found.get(name, []).extend([] if one in taken else [one])
    return found


def in_words_like(header: str, name: str) -> float:
    """How much a heading is like a column in its words, those that makers write for it too. [-]"""
    return max(likeness(header, word) for word in (name, *words("column")["columns"].get(name, ())))


def _likely(name, column, cells, log, known, currency):
    """How likely a heading is a column: as many points of one as its words and its cells each give. [-]"""
    seen = [cell for cell in dict.fromkeys(cells) if cell not in BLANKS][:_LOOKED_AT]
    fit = sum(_fits(cell, LOGS[log][name][0], known, currency) for cell in seen) / len(seen) if seen else 0.2
    return 0.0 if _PARTED.search(column.header) else (in_words_like(column.header, name) + fit) * (fit > 0 or 0.5)


def _fits(cell, kind, known, currency):
    """How well a cell goes with a kind of column: from 0 to 1, half where it could be many another."""
    names = kind if isinstance(kind, tuple) else known
    if kind == "date" or kind in NUMBERS:
        for order in ("dmy", "mdy", "ymd"):
            with suppress(Unreadable):
                value = read_cell(cell, Rule(kind=kind, currency=currency, order=order)).value
                limits = NUMBERS.get(kind)
                return 1.0 if limits is None else 0.5 * (limits.low <= value <= limits.high and not (limits.whole and value % 1))
        return 0.0
    if names:
        return max((likeness(plain(cell), plain(name)) for name in names), default=0.0)
    return 0.5 * (kind == "id" or bool(re.match(r"[^\W\d]", str(cell))))


def unit_of(header: str, name: str, log: str, currency: str) -> str:
    """The unit that a heading says in words where it is not the column's own, such as h of 'Hours' over minutes; '' for none."""
    kind = LOGS[log][name][0]
    for word in re.findall(r"[^\W\d_]+", header) if kind in NUMBERS and NUMBERS[kind].unit else ():
        with suppress(Unreadable):
            if read_cell(f"1 {word}", Rule(kind=kind, currency=currency)).value != 1.0:
                return word.lower()
    return ""
