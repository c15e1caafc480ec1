"""Date order and decimal mark, from whole columns; what they leave open is asked, never guessed."""

import datetime as dt
import re
from collections.abc import Iterable
from typing import Any

from ..faults import Fault, Question
from .cells import clean
from .dates import ORDERS, possible_orders

_TOKEN = re.compile(r"[0-9.,][0-9.,' ]*[0-9]|[0-9]")
_YEARS = 20  # that a log spans at most
_NAMES = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}
MARK_NAMES = {".": "point", ",": "comma"}


def decide_order(place: str, column: str, cells: Iterable[tuple[int, Any]], stated: str | None) -> tuple[str, str, Fault | None]:
    """Order of day, month and year in a column: 'dmy', 'mdy' or 'ymd'; why, in words, '' where it is no question; and a Question, or a plain
    Fault where no order fits all dates.

    `place` and `column` are for the question; each distinct cell comes once, with its first row; `stated` is what the study file says, such
    as 'day first'.
    """
    cells = list(cells)
    open_cells = [(row, cell, orders) for row, cell in cells if (orders := possible_orders(cell)) is not None]
    typed = [(row, cell) for row, cell in cells if isinstance(cell, dt.date)]

    def left_open(kind, row, wrong, found, right):
        return "dmy", "", kind(place, wrong, right, row=row, column=column, found=found)

    if typed and open_cells and all(cell.day <= 12 for _, cell in typed):
        row, cell = typed[0]
        found = f"{cell:%Y-%m-%d} as a date, beside {open_cells[0][1]!r} as text"
        right = "all dates of the column written like 2025-04-03, or exported anew as text"
        return left_open(Fault, row, "dates that the spreadsheet may have turned round", found, right)
    if stated is not None:
        return ORDERS[stated], f"{stated}, as study.toml says" if open_cells else "", None
    known = [(row, cell, orders) for row, cell, orders in open_cells if orders]  # what is no date at all is told later
    if not known:
        return "dmy", "", None
    left = set.intersection(*(orders for _, _, orders in known))
    spans = {order: _span(known, 0 if order == "ymd" else -1) for order in left}
    left = {order for order in left if spans[order] <= _YEARS} or left
    if len(left) == 1:
        order, (row, cell, orders) = next(iter(left)), min(known, key=lambda one: len(one[2]))
        why = f"because of {cell} in row {row}" if len(orders) == 1 else "as no other order fits all dates"
        return order, f"{_NAMES[order]}, {why}", None
    row, cell, _ = known[0]
    if not left:
        two = [next(f"{cell} in row {row}" for row, cell, orders in known if order not in orders) for order in ("mdy", "dmy")]
        right = "all dates of a column in one order, or written like 2025-04-03"
        return left_open(Fault, row, "dates in two orders", " and ".join(dict.fromkeys(two)), right)
    choices = " or ".join(f'dates = "{name}"' for order, name in _NAMES.items() if order in left)
    wrong, found = "question: which comes first, the day or the month?", f"{cell!r}, and no date in the column that tells"
    return left_open(Question, row, wrong, found, f"one line under [records] in study.toml: {choices}")


def _span(known, at):
    """Years from the first to the last date, were the first or last figure of each the year."""
    dates = [re.split(r"[./-]", re.sub(r"[ T].*", "", cell.strip(" ."))) for _, cell, _ in known]
    years = [int(parts[at]) % 100 for parts in dates if len(parts) == 3]
    return max(years, default=0) - min(years, default=0)


def marks_of(cell: Any) -> set[str]:
    """Decimal marks that a cell gives away: '.' or ','; '?' for one such as 1.200, which leaves it open."""
    found = set()
    for token in _TOKEN.findall(clean(cell)) if isinstance(cell, str) else ():
        points, commas = token.count("."), token.count(",")
        if points and commas:
            found.add("." if token.rindex(".") > token.rindex(",") else ",")
        elif points + commas > 1:
            found.add("," if points else ".")
        elif points + commas == 1:
            mark = "." if points else ","
            whole, _, rest = token.partition(mark)
            open_ = re.fullmatch(r"[1-9][0-9]{0,2}", whole) and re.fullmatch(r"[0-9]{3}", rest)
            found.add("?" if open_ else mark)
    return found


def decide_marks(
    place: str, columns: dict[str, list[tuple[int, Any]]], stated: str | None, separator: str, local: str | None
) -> tuple[dict[str, tuple[str, str]], list[Question]]:
    """Decimal mark of each column of numbers, and why, '' where no cell has either mark; and the questions that are left.

    Each distinct cell of a column comes once, with its first row; `stated` is 'point' or 'comma' of the study file, `separator` what parts the
    cells of a text file, which may speak against the mark of the study's locale, `local`.
    """
    seen = {name: [(row, cell, marks) for row, cell in cells if (marks := marks_of(cell))] for name, cells in columns.items()}
    proofs = {name: {mark for _, _, marks in found for mark in marks - {"?"}} for name, found in seen.items()}
    in_file = set().union(*proofs.values()) if proofs else set()
    decided, questions, answer = {}, [], {"comma": ",", "point": "."}.get(stated)
    for name, found in seen.items():
        own, unclear = proofs[name], next(((row, cell) for row, cell, marks in found if "?" in marks), None)
        proof = next(iter(own or in_file)) if len(own or in_file) == 1 else None
        row, cell = next(((row, cell) for row, cell, marks in found if proof in marks), (0, ""))
        no_other = f"{cell} in row {row} can be read no other way"
        if unclear is None:
            both = "or comma, each cell by itself, as none is open to doubt" if found else ""
            decided[name] = (proof if proof in own else ".", no_other if len(own) == 1 else both)
        elif proof is not None and answer in (None, proof):
            decided[name] = (proof, no_other if own else "like the other columns of the file")
        elif answer is not None and proof is None:
            decided[name] = (answer, "as study.toml says")
        elif not in_file and local in (",", ".") and {";": ",", ",": "."}.get(separator, local) == local:
            decided[name] = (local, "after the locale of the study, as no cell tells and nothing speaks against it")
        else:
            row, cell = unclear
            figure = re.sub(r"[^0-9.,]", "", cell)
            small, large = re.sub(r"[.,]", ".", figure), re.sub(r"[.,]", "", figure)
            point, comma = ("point", "comma") if "." in figure else ("comma", "point")
            decided[name] = (".", "")
            right = f'one line under [records] in study.toml: decimal = "{point}" for {small}, decimal = "{comma}" for {large}'
            if answer is not None:
                right = f"one decimal mark in the file: other cells speak against the decimal {stated} of study.toml"
            wrong = f"question: is this {small} or {large}?"
            questions.append(Question(place, wrong, right, row=row, column=name, found=repr(cell)))
    return decided, questions
