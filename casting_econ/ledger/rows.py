"""Where the header is, what the columns are, and which rows are no events."""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from ..faults import cut
from .logs import FREE, LOGS, NUMBERS, OPEN, plain

_HEADER = re.compile(r"(.*?)\s*[(\[]\s*([^)\]]*?)\s*[)\]]\s*")
_TOTAL = re.compile(
    r"(grand |sub-?)?(total|totals|sum)\b|(zwischen|gesamt)?summe\b|gesamt\b|insgesamt\b|totaux\b|somme\b|totale\b|suma\b|totaal\b|yhteens|celkem\b",
    re.IGNORECASE,
)
_BARE = re.compile(rf"(?:{_TOTAL.pattern})[\s:.]*(?:\d{{4}})?", re.IGNORECASE)  # and no more: no name of anything
ABOVE = "reads as an event, above the header"
_REMARK = re.compile(r"#\s+(?!\d+$)")  # '# 12' may be a number of an order
_NOTE = re.compile(r"\*|(?:nb|n\.b|notes?|anm(?:erkung(?:en)?)?|hinweise?|stand|source|quelle|remarks?)\s*[:.]", re.IGNORECASE)
_WITH_UNIT = {name: re.sub(r"_(g|c|h|km)$", "", name) for log in LOGS.values() for name in log}


@dataclass(frozen=True, kw_only=True)
class SetAside:
    """A row that is no event of the log."""

    row: int
    reason: str
    figures: tuple[tuple[str, Any], ...] = ()  # of a total: its cells by column


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a table, as taken."""

    at: int  # in the row
    header: str  # as written
    name: str | None  # of the log; None if it is left out
    unit: str = ""
    density: float | None = None
    known: bool = True


@dataclass(kw_only=True)
class Block:
    """A header and the rows under it."""

    row: int  # of the header
    width: int  # of the header in cells
    columns: list[Column]
    rows: list[tuple[int, list[Any]]]


def columns_of(cells: list[Any], log: str, settings: Any) -> list[Column]:
    """The columns that a header names, by the study file's table first, then by the log's own names."""
    own = {plain(header): entry for header, entry in (settings.columns.get(log, {}) if settings else {}).items()}
    found = []
    for at, header in enumerate(map(str, cells)):
        if not header:
            continue
        forms, unit, name = _named(header, log)
        entry = next((own[form] for form in forms if form in own), None)
        if entry is not None:
            name = None if entry.column == "ignore" else entry.column
        kind = LOGS[log][name][0] if name else FREE
        if not (kind in NUMBERS and (NUMBERS[kind].unit or NUMBERS[kind].money or kind == "quantity")):
            unit = ""  # what stands in brackets after a name that can have none
        unit, density = (unit, None) if entry is None else (entry.unit or unit, entry.density)
        found.append(Column(at=at, header=header, name=name, unit=unit, density=density, known=bool(entry or name)))
    return found


@lru_cache(maxsize=8192)
def _named(header, log):
    """A header as it is compared, whole and without its brackets; what stands in them; the column, as 'mixed mass (oz)' is mixed_mass_g."""
    match = _HEADER.fullmatch(header) if len(header) < 200 else None
    base, unit = (match[1], match[2]) if match else (header, "")
    forms = plain(header), plain(base)
    by_unit = (name for name in LOGS[log] if unit and forms[1] == _WITH_UNIT[name])
    return forms, unit, next((form for form in forms if form in LOGS[log]), None) or next(by_unit, None)


def score_of(cells: list[Any], log: str, settings: Any) -> int:
    """How many cells of a row name a column."""
    return sum([column.known for column in columns_of([c if isinstance(c, str) else "" for c in cells], log, settings)])


def blocks_of(rows: list[tuple[int, list[Any]]], log: str, settings: Any) -> tuple[list[Block], list[SetAside]]:
    """Part a table into a header and its rows, setting aside by name what is neither.

    There is more than one block where the header is repeated, none without a header.
    """
    filled, aside = [], []
    for row, cells in rows:
        first = next((cell for cell in cells if cell != ""), None)
        if first is None or _REMARK.match(str(first)):
            aside.append(SetAside(row=row, reason="blank line" if first is None else "a remark, after #"))
        else:
            filled.append((row, cells))
    if not filled:
        return [], aside
    best = max(range(min(len(filled), 40)), key=lambda i: (score_of(filled[i][1], log, settings), -i))
    if score_of(filled[best][1], log, settings) < 2:  # no names we know: the first row that could be a header
        best = next((i for i, (_, cells) in enumerate(filled) if sum(cell != "" for cell in cells) > 1), 0)
    needed = {name for name, (_, need) in LOGS[log].items() if need}
    first = _block(*filled[best], log, settings)
    for row, cells in filled[:best]:
        mark = re.fullmatch(r"sep=.?", str(cells[0])) if cells else None
        title = ABOVE if _reads_as_event(cells, first, log) else "title above the header"
        aside.append(SetAside(row=row, reason="a line for the spreadsheet program" if mark else title))
    headers = {form for column in first.columns for form in (column.header, column.header.casefold())} | needed
    blocks = [first]
    for row, cells in filled[best + 1 :]:
        again = _block(row, cells, log, settings) if len(headers.intersection(cells)) > 1 else None
        if again is not None and needed <= {column.name for column in again.columns}:
            aside.append(SetAside(row=row, reason="header again"))
            blocks.append(again)
        else:
            blocks[-1].rows.append((row, cells))
    for block in blocks:
        more, block.rows = _no_events(block, log)
        aside += more
    return blocks, aside


def _reads_as_event(cells, block, log):
    """Whether a row has all that an event under this header needs, with figures where dates and numbers belong."""
    kinds = LOGS[log]
    needed = [(c.at, kinds[c.name][0]) for c in block.columns if c.name and kinds[c.name][1] and c.name != OPEN.get(log)]
    return len(needed) > 1 and all(
        at < len(cells) and cells[at] != "" and (re.search(r"\d", str(cells[at])) or not (kind == "date" or kind in NUMBERS))
        for at, kind in needed
    )


def _block(row, cells, log, settings):
    return Block(row=row, width=len(cells), columns=columns_of(cells, log, settings), rows=[])


def _no_events(block, log):
    """Totals and lines of text between or under the events."""
    used = {column.at: column.name for column in block.columns if column.name}
    needed = [at for at, name in used.items() if LOGS[log][name][1]]
    dates = [at for at, name in used.items() if LOGS[log][name] == ("date", True)]
    aside, fine = [], []
    for row, cells in block.rows:
        last = len(cells)
        named = any(_BARE.fullmatch(str(cells[at])) for at in needed if at < last)
        if all(at < last and cells[at] != "" for at in needed) and not (
            named or any(_TOTAL.match(str(cells[at])) for at in dates)
        ):
            fine.append((row, cells))
            continue
        full = [at for at, cell in enumerate(cells) if cell != ""]
        texts = [cells[at] for at in full if isinstance(cells[at], str)]
        dated = any(re.search(r"\d", str(cells[at])) and not _TOTAL.match(str(cells[at])) for at in dates if at in full)
        if (named or not dated) and any(_TOTAL.match(text) for text in texts):
            figures = tuple((name, cells[at]) for at, name in used.items() if at in full)
            aside.append(SetAside(row=row, reason=f"total: {cut(' '.join(texts), 40)}", figures=figures))
        elif not dated and texts and _is_note(cells, full, used, log):
            aside.append(SetAside(row=row, reason=f"note: {cut(' '.join(texts), 40)}"))
        else:
            fine.append((row, cells))
    return aside, fine


def _is_note(cells, full, used, log):
    """Words where a date or number belongs, or a line that says it is a note."""
    first = cells[full[0]]
    if not isinstance(first, str):
        return False
    kind = LOGS[log][used[full[0]]][0] if full[0] in used else FREE
    words = len(re.findall(r"[^\W\d_]{2,}", first))
    in_words = words >= 3 or (kind == "date" and words and not re.search(r"\d", first))
    return bool(_NOTE.match(first) or (len(full) == 1 and in_words))
