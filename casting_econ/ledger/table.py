"""One file or sheet as the typed rows of a log, with every decision, change and fault."""

import json
import re
import sys
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from ..faults import Fault, Question, close_match, counted, cut
from ..units import question_of
from .cells import SPELLING, UNIT_NAMES, Cell, Unreadable, read_cell
from .dates import possible_orders
from .files import Grid
from .headings import in_words_like, paired, unit_of
from .logs import LOGS, NUMBERS, in_words, plain
from .rows import ABOVE, Column, SetAside, blocks_of
from .rules import rules_of


@dataclass(frozen=True, kw_only=True)
class Change:
    """A cell that was read as something else than it says."""

    row: int
    column: str
    before: str
    after: str
    how: str


@dataclass(kw_only=True, eq=False)
class FileReading:
    """How one file or sheet was read; the join adds what it sets aside, and lets go of the cells."""

    place: str
    log: str
    frame: pd.DataFrame | None = field(default=None, repr=False)  # canonical columns by row of the file; None without a header
    raw: dict[str, list[Any]] = field(default_factory=dict, repr=False)  # cells as they stand, in the order of the frame
    told: set[tuple[int, str]] = field(default_factory=set)  # row and column of cells at fault
    sound: bool = False
    empty: bool = False  # a header and nothing under it yet
    blocks: list[int] = field(default_factory=list)  # which header each row of the frame stands under
    decisions: list[str] = field(default_factory=list)
    set_aside: list[SetAside] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    read: int = 0  # rows without the header
    totals: list[tuple[int, str, float]] = field(default_factory=list)  # stated ones: row, column, figure in the column's unit
    unequal: list[str] = field(default_factory=list)  # totals that are not the sum of their rows, as sentences
    columns: list[Column] = field(default_factory=list)  # as headed, those left out too
    unread: dict[str, set[str]] = field(default_factory=dict, repr=False)  # header of a column left out -> what stands in it

    @property
    def used(self) -> int:
        """Rows that are events."""
        return self.read - len(self.set_aside)


def read_table(
    grid: Grid, log: str, settings: Any, names: Any, currency: str, locale: str | None
) -> tuple[FileReading, list[Fault]]:
    """Read one file or sheet as a log; arguments as of `join.read_logs`. The table is not sound if there are faults."""
    blocks, aside = blocks_of(grid.rows, log, settings)
    table = FileReading(place=grid.place, log=log, set_aside=aside, decisions=list(grid.decisions))
    table.read = len(grid.rows) - min(len(blocks), 1)
    rows = [row for block in blocks for row, _ in block.rows]
    table.empty = not rows
    if not any(column.known for block in blocks for column in block.columns) and not rows:
        return table, [Fault(grid.place, "empty log", "at least a header, or no such file", found="no header")]
    faults = [fault for block in blocks for fault in _header_faults(grid, block, log, blocks[0], names, currency)]
    faults += [fault for block in blocks for row, cells in block.rows for fault in _width_faults(grid, block, row, cells)]
    faults += _above_faults(grid, aside, blocks)
    if faults:
        return table, faults
    if table.empty:
        table.decisions.append("no rows yet")
        return table, []
    table.decisions[0] += f"; header in row {blocks[0].row}"
    if left := [column.header for column in blocks[0].columns if column.name is None]:
        table.decisions.append(f"left out, as study.toml says: {', '.join(left)}")
    for block in blocks:
        table.columns += block.columns
        for column in block.columns:
            if column.name is None:
                cells = {str(cells[column.at]) for _, cells in block.rows if column.at < len(cells)}
                table.unread.setdefault(column.header, set()).update(cells)
    table.blocks = [number for number, block in enumerate(blocks) for _ in block.rows]
    columns = {column.name: column for column in blocks[0].columns if column.name}
    for name in columns:
        at_of = [(next((column.at for column in block.columns if column.name == name), sys.maxsize), block) for block in blocks]
        table.raw[name] = [cells[at] if at < len(cells) else "" for at, block in at_of for _, cells in block.rows]
    rules, said, faults = rules_of(grid, log, rows, table.raw, columns, settings, names, currency, locale)
    table.decisions += said
    alone = {name: word for name, word in _alone(log, names).items() if name not in columns}
    table.decisions += [
        f"{name}: {word} in every row, the only one of the study, as no column says" for name, word in alone.items()
    ]
    frame, more = _frame(table, rows, rules, faults, alone)
    frame, more = _without_bare_totals(table, frame, more)
    more += _ounces(grid, log, frame, names, currency)
    faults += more
    table.frame, table.sound = frame, not faults
    table.totals = _stated_totals(table, rules)
    table.unequal = _unequal(table)
    table.told = {(fault.row, fault.column) for fault in more} | {(None, fault.column) for fault in faults if fault not in more}
    asked = {fault.wrong: fault for fault in reversed(faults) if isinstance(fault, Question)}  # once, as one answer answers all
    return table, [fault for fault in faults if asked.get(fault.wrong, fault) is fault]


def _without_bare_totals(table, frame, faults):
    """The frame and its faults without rows of figures alone: set aside where they are sums of the rows above, else asked about."""
    kinds = LOGS[table.log].items()
    names = [name for name, (kind, needed) in kinds if needed and kind != "date" and kind != "id" and kind not in NUMBERS]
    numbers = [name for name, (kind, _) in kinds if kind in NUMBERS]
    bare = frame[names].isna().all(axis=1) & frame[numbers].notna().any(axis=1)
    before, gone = 0, []
    for row in frame.index[bare]:
        above, stated = frame[~bare & (frame.index < row)], frame.loc[row, numbers].dropna().astype(float)
        dated = "date" in frame and pd.notna(frame.date[row])
        sums = [abs(stated - part[stated.index].sum()) < 0.011 for part in (above, above[above.index > before])]
        if any(same.all() if dated else same.any() for same in sums) and len(above) > dated:
            figures = tuple((name, raw[frame.index.get_loc(row)]) for name, raw in table.raw.items())
            reason = "total: figures alone, the sums of the rows above; with its names it would be an event"
            table.set_aside.append(SetAside(row=row, reason=reason, figures=figures))
            before, gone = row, [*gone, row]
        elif not dated:
            right = "the word total in the row if it is a sum, or the date and the names of an event"
            faults.append(Fault(table.place, "figures alone", right, row=row, found=", ".join(map("{:g}".format, stated))))
            gone.append(row)
    kept = ~frame.index.isin(gone)
    table.raw = {name: [raw for raw, keep in zip(cells, kept) if keep] for name, cells in table.raw.items()}
    table.blocks = [block for block, keep in zip(table.blocks, kept) if keep]
    table.changes = [one for one in table.changes if one.row not in gone]
    return frame[kept], [fault for fault in faults if fault.row not in gone or not fault.column]


def _stated_totals(table, rules):
    """Figures of the totals that were set aside, as (row, column, figure in the unit of the column), row by row."""
    found = []
    for total in sorted((aside for aside in table.set_aside if aside.figures), key=lambda aside: aside.row):
        for name, raw in total.figures:
            with suppress(Unreadable):
                stated = read_cell(raw, rules[name]).value if rules[name].kind in NUMBERS else None
                found += [] if stated is None else [(total.row, name, float(stated))]
    return found


def _unequal(table):
    """Totals that differ from the sum of all rows above them, and of those since the total before."""
    said = []
    for row, name, stated in table.totals:
        before = max((one.row for one in table.set_aside if one.figures and one.row < row), default=0)
        above = table.frame[name][table.frame.index < row]
        sums = [float(above.sum()), float(above[above.index > before].sum())]
        if len(above) and all(abs(stated - parts) > max(0.011, 1e-5 * abs(parts)) for parts in sums):
            says = f"the total says {stated:.10g} {name.replace('_', ' ')}"
            said.append(f"{table.place}, row {row}: {says}, the rows above it add up to {sums[0]:.10g}.")
    return said


def _header_faults(grid, block, log, first, names, currency):
    """Columns that are unknown, named twice or missing; a missing one with the headings that may be it."""
    known, faults = LOGS[log], []
    alone = _alone(log, names)

    def fault(wrong, found, right, column=""):
        faults.append(Fault(grid.place, wrong, right, row=block.row, column=column, found=found))

    seen = [column.name for column in block.columns if column.name]
    missing = [name for name, (_, needed) in known.items() if needed and name not in seen and name not in alone]
    if not seen and (len(block.columns) == 1 or any(re.match(r"\d", column.header) for column in block.columns)):
        right = f"a row above the events that names the columns, a cell each: {', '.join(missing)}"
        fault("no row names the columns", cut(repr(block.columns[0].header)), right)
        return faults
    unknown = [column for column in block.columns if not column.known]
    cells = {column.at: [cells[column.at] for _, cells in block.rows if column.at < len(cells)] for column in unknown}
    pairs = paired(missing, unknown, cells, log, names, currency) if missing and unknown else {}
    told = {likely[0].at for likely in pairs.values()}
    left = [name for name in known if name not in seen and name not in pairs]
    rest = paired(left, [column for column in unknown if column.at not in told], cells, log, names, currency)
    nearest = {likely[0].at: name for name, likely in rest.items() if in_words_like(likely[0].header, name)}
    for column in block.columns:
        if not column.known and column.at not in told:
            near = nearest.get(column.at)
            hint = f" (did you mean {near!r}?)" if near else ""
            line = f'"{near}" (or "ignore")' if hint else '"ignore" (or one of them)'
            declare = f"or {quoted(column.header)} = {line} under [records.columns.{log}] in study.toml"
            fault("unknown column", repr(column.header), f"one of {', '.join(left)}{hint}, {declare}")
        elif column.name and seen.count(column.name) > 1:
            fault("column twice", repr(column.header), "each column once", column.name)
    units = {column.name: column.unit for column in first.columns}
    for column in block.columns:
        if column.name and units.get(column.name, column.unit) != column.unit:
            fault("header again with another unit", repr(column.header), "one unit a column in a file", column.name)
    for name in missing:
        right = f"a column {name} with {in_words(known[name][0])}"
        if not (likely := pairs.get(name)):
            fault("column is missing", "", right, name)
            continue
        unit = unit_of(likely[0].header, name, log, currency)
        line = f'{{ column = "{name}", unit = "{unit}" }}' if unit else f'"{name}"'
        renamed = f"{name} ({unit})" if unit else name
        right = f"{renamed} as its heading, or {quoted(likely[0].header)} = {line} under [records.columns.{log}] in study.toml"
        others = f", then {' or '.join(repr(one.header) for one in likely[1:3])}" if likely[1:] else ""
        fault("column is missing", f"{likely[0].header!r}, the unknown heading most like it{others}", right, name)
    named = {column.at for column in block.columns}
    for at in range(block.width):
        if at not in named and (row := next((r for r, cells in block.rows if at < len(cells) and cells[at] != ""), None)):
            fault("column without a name", f"cells from row {row} on, in column {at + 1}", "a name in the header")
    return faults


def _above_faults(grid, aside, blocks):
    """Rows above the header that read as events under it: a table cut in two, or an older one."""
    above = [one.row for one in aside if one.reason == ABOVE]
    if not above:
        return []
    first = next(cells for row, cells in grid.rows if row == above[0])
    wrong = f"question: are rows above the header in row {blocks[0].row} events?"
    found = f"{counted(len(above), 'row')} that read as one, such as {', '.join(shown(cell) for cell in first if cell != '')}"
    right = "the header moved above them in the file if so, or '# ' put before each of them if not"
    return [Question(grid.place, wrong, right, row=above[0], found=found)]


def _width_faults(grid, block, row, cells):
    """Rows of a text file with more or fewer cells than the header."""
    extra = any(cell != "" for cell in cells[block.width :])
    if not extra and (len(cells) >= block.width or grid.separator == ""):
        return []
    comma = " (a decimal comma or a comma in a text, between commas, needs quotes)" if extra and grid.separator == "," else ""
    right = f"{block.width}, as in the header{comma}"
    return [Fault(grid.place, "wrong number of cells", right, row=row, found=str(len(cells)))]


def _alone(log, names):
    """What a column that a log needs says where none is there: the product of a study that has only one."""
    only = sorted(names.products) if names is not None else []
    return {"product": only[0]} if len(only) == 1 and LOGS[log].get("product", ("", False))[1] else {}


def _frame(table, rows, rules, open_faults, alone):
    """Canonical columns from the cells, with changes and what cannot be read; each distinct cell is read once."""
    log, faults, data, units, lines = table.log, [], {}, None, np.array(rows)
    undecided = {fault.column for fault in open_faults}
    for name, rule in rules.items():
        found: dict[Any, Cell] = {}
        number = {raw: at for at, raw in enumerate(dict.fromkeys(table.raw[name]))}
        which = np.array([number[raw] for raw in table.raw[name]])
        for raw in number:
            try:
                found[raw] = read_cell(raw, rule)
            except Unreadable as error:
                found[raw] = Cell(value=None)
                if name in undecided and possible_orders(raw):
                    continue  # once the order is known it may be a date
                hint = close_match(raw, rule.kind) if isinstance(rule.kind, tuple) else ""
                right = error.right or f"{in_words(rule.kind)}{hint}"
                if isinstance(rule.kind, tuple):
                    right += f", or {quoted(cut(str(raw)))} = one of them in quotes, under [records.words.{name}] in study.toml"
                at_fault = lines[which == number[raw]].tolist()
                faults += [Fault(table.place, error.wrong, right, row=row, column=name, found=shown(raw)) for row in at_fault]

        table.changes += _changes(name, lines, which, found)
        if name not in undecided:  # else what it would be read as is not decided yet
            table.decisions += _spelled(name, rule, which, found)
        whole = all(isinstance(raw, int) or (isinstance(raw, str) and raw.isdigit()) for raw in found)
        data[name] = _typed([cell.value for cell in found.values()], rule.kind, whole)[which]
        if any(cell.low is not None for cell in found.values()):
            for end in ("low", "high"):
                data[f"{name}_{end}"] = _typed([getattr(cell, end) for cell in found.values()], rule.kind)[which]
        if rule.kind == "quantity":
            units = _typed([cell.unit for cell in found.values()], "text")[which]
    if units is not None and any(units):
        faults += _fill_units(table, data, units, rows, rules)
    ordered = {}
    for name, (kind, _) in LOGS[log].items():
        ordered[name] = data[name] if name in data else _typed([alone.get(name)] * len(rows), kind)
        ordered |= {key: data[key] for key in (f"{name}_low", f"{name}_high") if key in data}
    return pd.DataFrame(ordered, index=rows), faults


def shown(raw: Any) -> str:
    """A cell for a fault, cut if it is long."""
    return cut(repr(str(raw)))


def _typed(values, kind, whole=False):
    """Values as the evidence expects them: times, figures, or text with None for blanks."""
    if kind == "date":
        return pd.to_datetime(pd.Series(values, dtype=object)).to_numpy("datetime64[ns]")
    if kind in NUMBERS:
        figures = np.array(values, dtype=float)
        return figures.astype("int64") if whole and np.abs(figures).max() < 2**53 and (figures % 1 == 0).all() else figures
    return np.array(values, dtype=object)


def _changes(name, rows, which, found):
    """Cells that were interpreted beyond the rule of their column, each by itself."""
    cells = list(found.items())
    changed = [at for at, (_, cell) in enumerate(cells) if cell.how not in ("", SPELLING)]
    return [
        Change(row=int(row), column=name, before=str(raw), after=_after(cell), how=cell.how)
        for row, (raw, cell) in ((rows[at], cells[which[at]]) for at in np.flatnonzero(np.isin(which, changed)))
    ]


def _after(cell):
    value = cell.value
    if value is None:
        return "not known"
    text = f"{value:%Y-%m-%d}" if isinstance(value, pd.Timestamp) else f"{value:.10g}" if isinstance(value, float) else str(value)
    return f"{text} {cell.unit}".strip()


def _spelled(name, rule, which, found):
    """One line for all cells that only a column's rule spells otherwise."""
    spelled = [at for at, cell in enumerate(found.values()) if cell.how == SPELLING]
    if not spelled:
        return []
    count, one = int(np.isin(which, spelled).sum()), list(found)[spelled[0]]
    unit = NUMBERS[rule.kind].unit if rule.kind in NUMBERS else ""
    unit = f", {rule.unit} as {UNIT_NAMES[unit]}" if rule.unit and unit else ""
    return [f"{name}: {count} {'cell' if count == 1 else 'cells'} respelled{unit}, such as {one} to {_after(found[one])}"]


def _fill_units(table, data, units, rows, rules):
    """Units that stand with the quantity go to the unit's column, unless another stands there."""
    faults, words = [], dict(rules["quantity"].words) | dict(rules["unit"].words if "unit" in rules else ())
    stated = data.get("unit", [None] * len(rows))
    filled = []
    for row, unit, own, raw in zip(rows, units, stated, table.raw["quantity"]):
        unit = words.get(plain(unit), unit)
        given = unit and isinstance(raw, str) and raw.strip().endswith(unit)
        if given and own and plain(own) != plain(unit):
            found = f"{raw!r} beside the unit {own!r}"
            faults.append(Fault(table.place, "has two units", "one of them", row=row, column="quantity", found=found))
        filled.append(own or unit or None)
    data["unit"] = _typed(filled, "text")
    return faults


def _ounces(grid, log, frame, names, currency):
    """Ounces of an item that the study measures by volume may be either; pints and tons those of two countries."""
    if log != "purchases" or names is None:
        return []
    used = frame[frame.item.isin(list(names.items)) & frame.unit.notna()].drop_duplicates("unit")
    open_ = [(row, unit, asked) for row, unit in used.unit.items() if (asked := question_of(unit, currency))]
    if open_:
        row, unit, asked = open_[0]
        question, _, answers = asked.partition(" -> ")
        right = f'one line under [records.words.unit] in study.toml, such as "{unit}" = one of {answers}'
        return [Question(grid.place, question, right, row=int(row), column="unit", found=repr(unit))]
    liquid = frame.item.isin([item for item, volume in names.items.items() if volume])
    unsure = frame.index[liquid & frame.unit.isin(["oz", "oz.", "OZ"])]
    right = 'one line under [records.words.unit] in study.toml: "oz" = "US fl oz" or "imperial fl oz" for volume, or "oz" = "ounce" for weight'
    return [
        Question(grid.place, "question: ounces by weight or by volume?", right, row=int(row), column="unit", found=found)
        for row in unsure[:1]
        for found in [f"{frame.quantity[row]:g} {frame.unit[row]} of {frame.item[row]}"]
    ]


def quoted(text: str) -> str:
    """A text or a key of TOML."""
    return json.dumps(text, ensure_ascii=False)
