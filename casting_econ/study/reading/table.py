"""One file or sheet as the typed rows of a log, with every decision, change and fault."""

from dataclasses import dataclass, field
from functools import cache
from typing import Any

import pandas as pd
from babel import Locale
from babel.numbers import get_decimal_symbol

from ...faults import Fault, Question, close_match
from .cells import SPELLING, Cell, Rule, Unreadable, read_cell
from .columns import MARK_NAMES, decide_marks, decide_order
from .dates import month_names, possible_orders
from .files import Grid
from .logs import LOGS, NUMBERS, in_words, plain
from .rows import SetAside, blocks_of

__all__ = ["Change", "Table", "currency_signs", "read_table"]

_SHOWN = 80  # characters of a cell in a fault


@dataclass(frozen=True, kw_only=True)
class Change:
    """A cell that was read as something else than it says."""

    row: int
    column: str
    before: str
    after: str
    how: str


@dataclass(kw_only=True)
class Table:
    """What was read from one file or sheet; the join adds what it sets aside."""

    grid: Grid
    log: str
    frame: pd.DataFrame | None = None  # canonical columns; None where there is no header to go by, index the rows of the file
    raw: dict[str, list[Any]] = field(default_factory=dict)  # cells as they stand, in the order of the frame
    told: set[tuple[int, str]] = field(default_factory=set)  # row and column of cells at fault
    sound: bool = False
    blocks: list[int] = field(default_factory=list)  # which header each row of the frame stands under
    decisions: list[str] = field(default_factory=list)
    aside: list[SetAside] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    read: int = 0  # rows without the header


@cache
def currency_signs(currency: str, locale: str) -> tuple[frozenset[str], frozenset[str]]:
    """How the study's currency may be written, and how the others are, in plain form."""
    signs: dict[str, set[str]] = {}
    for place in (Locale.parse("en"), Locale.parse(locale)):
        for code, sign in place.currency_symbols.items():
            short = sign.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ") or sign
            signs.setdefault(code, {plain(code)}).update(
                {plain(sign), plain(short), plain(code[:2] + short), plain(place.currencies.get(code, code))}
            )
    for code in ("SEK", "NOK", "DKK", "ISK"):
        signs.setdefault(code, {plain(code)}).add("kr")
    signs.setdefault("CHF", {"chf"}).update({"fr", "sfr"})
    own = frozenset(signs.get(currency, set()) | {plain(currency)} | ({"euro", "euros"} if currency == "EUR" else set()))
    return own, frozenset(set().union(*signs.values()) - own)


def read_table(grid: Grid, log: str, settings: Any, names: Any, currency: str, locale: str | None) -> tuple[Table, list[Fault]]:
    """Read one file or sheet as a log.

    Parameters
    ----------
    grid : Grid
    log : str
    settings : RecordsTable or None
        What the study file says about records.
    names : Names or None
        Names of the study, which may be written in other capitals.
    currency : str
    locale : str or None
        Of the study; None where it states none.

    Returns
    -------
    table : Table
        Not sound if there are faults.
    faults : list of Fault
    """
    blocks, aside = blocks_of(grid.rows, log, settings)
    table = Table(grid=grid, log=log, aside=aside, decisions=list(grid.decisions))
    table.read = len(grid.rows) - min(len(blocks), 1)
    rows = [(number, block, cells) for number, one in enumerate(blocks) for block, cells in one.rows]
    if not rows:
        found = "a header and no rows" if any(column.known for block in blocks for column in block.columns) else "no header"
        return table, [Fault(file=grid.place, wrong="empty log", found=found, right="at least one row, or no such file")]
    faults = [fault for block in blocks for fault in _header_faults(grid, block, log, blocks[0])]
    faults += [fault for block in blocks for row, cells in block.rows for fault in _width_faults(grid, block, row, cells)]
    if faults:
        return table, faults
    table.decisions[0] += f"; header in row {blocks[0].row}"
    if left := [column.header for column in blocks[0].columns if column.name is None]:
        table.decisions.append(f"left out, as study.toml says: {', '.join(left)}")
    table.blocks = [number for number, _, _ in rows]
    columns = {column.name: column for column in blocks[0].columns if column.name}
    places = [{column.name: column.at for column in block.columns} for block in blocks]
    for name in columns:
        ats = [place.get(name) for place in places]
        table.raw[name] = [
            cells[ats[number]] if ats[number] is not None and ats[number] < len(cells) else "" for number, _, cells in rows
        ]
    rules, faults = _rules(table, [row for _, row, _ in rows], columns, settings, names, currency, locale)
    frame, more = _frame(table, [row for _, row, _ in rows], rules, faults)
    more += _ounces(grid, log, frame, names)
    faults += more
    table.frame, table.sound = frame, not faults
    table.told = {(fault.row, fault.column) for fault in more} | {(None, fault.column) for fault in faults if fault not in more}
    return table, _asked_once(faults)


def _asked_once(faults):
    """Faults without the questions that the same answer answers."""
    first: dict[str, Fault] = {}
    for fault in faults:
        if isinstance(fault, Question):
            first.setdefault(fault.wrong, fault)
    return [fault for fault in faults if first.get(fault.wrong, fault) is fault]


def _header_faults(grid, block, log, first):
    """Columns that are unknown, named twice or missing."""
    known, faults = LOGS[log], []

    def fault(wrong, found, right, column=""):
        faults.append(Fault(file=grid.place, row=block.row, column=column, wrong=wrong, found=found, right=right))

    seen = [column.name for column in block.columns if column.name]
    for column in block.columns:
        if not column.known:
            declare = f'or {_quoted(column.header)} = "ignore" (or one of them) under [records.columns.{log}] in study.toml'
            fault(
                "unknown column", repr(column.header), f"one of {', '.join(known)}{close_match(column.header, known)}, {declare}"
            )
        elif column.name and seen.count(column.name) > 1:
            fault("column twice", repr(column.header), "each column once", column.name)
    units = {column.name: column.unit for column in first.columns}
    for column in block.columns:
        if column.name and units.get(column.name, column.unit) != column.unit:
            fault("header again with another unit", repr(column.header), "one unit a column in a file", column.name)
    for name, (kind, needed) in known.items():
        if needed and name not in seen:
            fault("column is missing", "", f"a column {name} with {in_words(kind)}", name)
    named = {column.at for column in block.columns}
    for at in range(block.width):
        if at not in named and (row := next((r for r, cells in block.rows if at < len(cells) and cells[at] != ""), None)):
            fault("column without a name", f"cells from row {row} on, in column {at + 1}", "a name in the header")
    return faults


def _width_faults(grid, block, row, cells):
    """Rows of a text file with more or fewer cells than the header."""
    extra = any(cell != "" for cell in cells[block.width :])
    if not extra and (len(cells) >= block.width or grid.separator == ""):
        return []
    comma = " (a decimal comma or a comma in a text, between commas, needs quotes)" if extra and grid.separator == "," else ""
    right = f"{block.width}, as in the header{comma}"
    return [Fault(file=grid.place, row=row, wrong="wrong number of cells", found=str(len(cells)), right=right)]


def _distinct(cells, rows):
    """Each distinct cell once, with the row it is first in."""
    first: dict[Any, int] = {}
    for cell, row in zip(cells, rows):
        if cell not in first:
            first[cell] = row
    return [(row, cell) for cell, row in first.items()]


def _rules(table, rows, columns, settings, names, currency, locale):
    """How each column is read, and what its header or its cells leave open."""
    grid, log = table.grid, table.log
    signs, foreign = currency_signs(currency, locale or "en")
    distinct = {name: _distinct(cells, rows) for name, cells in table.raw.items()}
    figures = {name: cells for name, cells in distinct.items() if LOGS[log][name][0] in NUMBERS}
    local = get_decimal_symbol(locale) if locale else None
    marks, faults = decide_marks(grid.place, figures, settings.decimal if settings else None, grid.separator, local)
    rules, orders = {}, []
    said: dict[tuple[str, str], list[str]] = {}
    for name, (_, basis) in marks.items():
        if basis:  # columns that tell by a cell of their own have one line, with the first such cell
            said.setdefault((marks[name][0], "" if " in row " in basis else basis), []).append(name)
    for (mark, _), alike in said.items():
        table.decisions.append(f"decimal {MARK_NAMES[mark]} in {', '.join(alike)}: {marks[alike[0]][1]}")
    for name, column in columns.items():
        kind, order = LOGS[log][name][0], "dmy"
        if kind == "date":
            order, why, question = decide_order(grid.place, name, distinct[name], settings.dates if settings else None)
            orders += [question] if question else []
            table.decisions += [f"{name}: {why}"] if why else []
        money = kind in NUMBERS and NUMBERS[kind].money
        if money and column.unit and plain(column.unit) not in signs:
            right = f"prices in {currency}, or a header without {column.unit!r}"
            faults.append(
                Fault(
                    file=grid.place, column=name, wrong="is in another currency or unit", found=repr(column.header), right=right
                )
            )
        rules[name] = Rule(
            kind=kind,
            currency=currency,
            mark=marks.get(name, (".",))[0],
            order=order,
            unit="" if money else column.unit,
            density=column.density,
            signs=signs,
            foreign=foreign,
            months=month_names(locale or "en"),
            words=_words(name, log, kind, settings, names),
        )
    return rules, faults + orders


def _words(name, log, kind, settings, names):
    """Her words for this column, and the study's own in other capitals."""
    known: set[str] = set(kind) if isinstance(kind, tuple) else set()
    if names is not None:
        steps = set().union(*names.products.values()) | (names.tasks | names.channels if log == "timesheet" else set())
        known |= {"product": set(names.products), "channel": names.channels, "station": names.places, "step": steps}.get(
            name, set()
        )
        known |= set(names.items) if name == "item" else set()
    plains: dict[str, set[str]] = {}
    for word in known:
        plains.setdefault(plain(word), set()).add(word)
    words = {key: next(iter(found)) for key, found in plains.items() if len(found) == 1}
    words |= {plain(her): ours for her, ours in (settings.words.get(name, {}) if settings else {}).items()}
    return tuple(words.items())


def _frame(table, rows, rules, open_faults):
    """Canonical columns from the cells, with changes and what cannot be read."""
    log, faults, data, units = table.log, [], {}, None
    undecided = {fault.column for fault in open_faults}
    for name, rule in rules.items():
        found: dict[Any, Cell] = {}
        for raw in dict.fromkeys(table.raw[name]):
            try:
                found[raw] = read_cell(raw, rule)
            except Unreadable as error:
                found[raw] = Cell(value=None)
                if name in undecided and possible_orders(raw):
                    continue  # once the order is known it may be a date
                hint = close_match(raw, rule.kind) if isinstance(rule.kind, tuple) else ""
                right = error.right or f"{in_words(rule.kind)}{hint}"
                faults += [
                    Fault(file=table.grid.place, row=at, column=name, wrong=error.wrong, found=shown(raw), right=right)
                    for at, cell in zip(rows, table.raw[name])
                    if cell == raw and type(cell) is type(raw)
                ]
        cells = [found[raw] for raw in table.raw[name]]
        table.changes += _changes(name, rows, table.raw[name], found)
        table.decisions += _spelled(name, rule, table.raw[name], found)
        data[name] = _series([cell.value for cell in cells], rule.kind, rows, all(_is_integer(raw) for raw in found))
        if any(cell.low is not None for cell in found.values()):
            for end in ("low", "high"):
                data[f"{name}_{end}"] = pd.Series([getattr(cell, end) for cell in cells], index=rows, dtype=float)
        if rule.kind == "quantity":
            units = [cell.unit for cell in cells]
    if units is not None and any(units):
        faults += _fill_units(table, data, units, rows, rules)
    ordered = {}
    for name, (kind, _) in LOGS[log].items():
        ordered[name] = data.get(name, _series([None] * len(rows), kind, rows, False))
        ordered |= {key: data[key] for key in (f"{name}_low", f"{name}_high") if key in data}
    return pd.DataFrame(ordered, index=rows), faults


def shown(raw: Any) -> str:
    """A cell for a fault, cut if it is long."""
    text = repr(str(raw))
    return text if len(text) <= _SHOWN else f"{text[: _SHOWN - 3]}..."


def _is_integer(raw):
    return isinstance(raw, int) or (isinstance(raw, str) and raw.isdigit())


def _series(values, kind, rows, whole):
    """Values as the evidence expects them: times, figures, or text with None for blanks."""
    if kind == "date":
        return pd.Series(pd.to_datetime(pd.Series(values, dtype=object)).astype("datetime64[ns]").to_numpy(), index=rows)
    if kind in NUMBERS:
        figures = pd.Series(values, index=rows, dtype=float)
        return figures.astype("int64") if whole and figures.abs().max() < 2**53 and (figures % 1 == 0).all() else figures
    return pd.Series(values, index=rows, dtype=object)


def _changes(name, rows, raw, found):
    """Cells that were interpreted beyond the rule of their column, each by itself."""
    how = {cell: value.how for cell, value in found.items() if value.how not in ("", SPELLING)}
    if not how:
        return []
    return [
        Change(row=row, column=name, before=str(cell), after=_after(found[cell]), how=how[cell])
        for row, cell in zip(rows, raw)
        if cell in how
    ]


def _after(cell):
    value = cell.value
    if value is None:
        return "not known"
    text = f"{value:%Y-%m-%d}" if isinstance(value, pd.Timestamp) else f"{value:.10g}" if isinstance(value, float) else str(value)
    return f"{text} {cell.unit}".strip()


def _spelled(name, rule, raw, found):
    """One line for all cells that only a column's rule spells otherwise."""
    spelled = {cell for cell, value in found.items() if value.how == SPELLING}
    if not spelled:
        return []
    count, one = sum(cell in spelled for cell in raw), next(cell for cell in raw if cell in spelled)
    unit = (
        f", {rule.unit} to {NUMBERS[rule.kind].unit}s" if rule.kind in NUMBERS and rule.unit and NUMBERS[rule.kind].unit else ""
    )
    return [f"{name}: {count} {'cell' if count == 1 else 'cells'} respelled{unit}, such as {one} to {_after(found[one])}"]


def _fill_units(table, data, units, rows, rules):
    """Units that stand with the quantity go to the unit's column, unless another stands there."""
    faults, words = [], dict(rules["quantity"].words) | dict(rules["unit"].words if "unit" in rules else ())
    stated = data["unit"].tolist() if "unit" in data else [None] * len(rows)
    filled = []
    for row, unit, own, raw in zip(rows, units, stated, table.raw["quantity"]):
        unit = words.get(plain(unit), unit)
        given = unit and isinstance(raw, str) and raw.strip().endswith(unit)
        if given and own and plain(own) != plain(unit):
            found = f"{raw!r} beside the unit {own!r}"
            faults.append(
                Fault(file=table.grid.place, row=row, column="quantity", wrong="has two units", found=found, right="one of them")
            )
        filled.append(own or unit or None)
    data["unit"] = pd.Series(filled, index=rows, dtype=object)
    return faults


def _ounces(grid, log, frame, names):
    """Ounces of an item that the study measures by volume may be either."""
    if log != "purchases" or names is None or not any(names.items.values()):
        return []
    liquid = frame.item.isin([item for item, volume in names.items.items() if volume])
    unsure = frame.index[liquid & frame.unit.isin(["oz", "oz.", "OZ"])]
    return [
        Question(
            file=grid.place,
            row=int(row),
            column="unit",
            wrong="question: ounces by weight or by volume?",
            found=f"{frame.quantity[row]:g} {frame.unit[row]} of {frame.item[row]}",
            right='one line under [records.words.unit] in study.toml: "oz" = "fl oz" for volume, or "oz" = "ounce" for weight',
        )
        for row in unsure[:1]
    ]


def _quoted(text):
    """A key of TOML."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
