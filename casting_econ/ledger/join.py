"""Every file of `records/` as the logs of the study: which file is which log, several files as one, duplicates once."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ..faults import Fault, close_match, counted, some_of
from .files import TEXTS, read_file, record_files
from .logs import IDS, LOGS, NUMBERS, OPEN, UNIQUE, days_of, in_words, log_named, plain
from .rows import SetAside, score_of
from .table import FileReading, read_table, shown


@dataclass(frozen=True, kw_only=True)
class Reading:
    """How the records were read."""

    files: tuple[FileReading, ...] = ()
    notes: tuple[str, ...] = ()  # what is odd in the logs without being a fault
    unsound: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)  # logs with faults: cells at fault missing

    def places(self, log: str) -> list[str]:
        """Files and sheets that a log was read from; those with a header alone only where no other has a row."""
        mine = [file for file in self.files if file.log == log]
        return [file.place for file in mine if not file.empty] or [file.place for file in mine]


def place_of(reading: Reading, log: str, label: Any) -> tuple[str, int]:
    """File and row of a label in the index of a log: a row of its only file, or 'file:row'."""
    if isinstance(label, str):
        place, _, row = label.rpartition(":")
        return place, int(row)
    return next(iter(reading.places(log)), f"records/{log}.csv"), int(label)


def read_logs(folder: Path, settings: Any, names: Any, currency: str, locale: str | None) -> tuple[dict, Reading, list[Fault]]:
    """Read every table in a folder of records, which need not exist and in which no file is changed: logs, how they were read, and faults.

    `settings` (a RecordsTable) and `names` (Names) are those of the study, None without them, as is its locale where it states none. The index
    of a log is the row in the file, or 'file:row' where there are several.
    """
    tables, files, faults, entries = [], [], [], set()
    declared = settings.files if settings else {}
    for path in record_files(folder):
        if declared.get(path.name) == "ignore":
            files.append(FileReading(place=f"records/{path.name}", log="ignore"))
            entries.add(path.name)
            continue
        of_file = declared.get(path.name) or log_named(path.stem)
        likely = [of_file] if of_file in LOGS else list(LOGS)
        grids, more = read_file(path, lambda cells, likely=likely: max(score_of(cells, one, settings) for one in likely))
        if path.suffix.lower() in TEXTS and of_file is None:
            grids, more = [], [_undeclared(path.name, path.stem, grids, settings)]
        faults += more
        for grid in grids:
            entry = path.name if grid.sheet is None else f"{path.name}/{grid.sheet}"
            log = declared.get(entry) or log_named(grid.sheet or path.stem) or (of_file if len(grids) == 1 else None)
            if log is None:
                faults.append(_undeclared(entry, grid.sheet, [grid], settings))
            elif log == "ignore":
                files.append(FileReading(place=grid.place, log="ignore"))
            else:
                table, more = read_table(grid, log, settings, names, currency, locale)
                tables.append(table)
                faults += more
        entries |= {path.name if grids else f"{path.name}?", path.name, *(f"{path.name}/{grid.sheet}" for grid in grids)}
    faults += _not_there(declared, entries, folder)
    records, unsound = {}, {}
    for log in LOGS:
        mine = [table for table in tables if table.log == log and not table.empty]
        if mine and all(table.frame is not None for table in mine):
            frame = _joined(mine, log)
            told = {(table.place, *cell) for table in mine for cell in table.told}
            more = _checked(frame, log, mine)
            faults += [f for f in more if (f.file, f.row, f.column) not in told and (f.file, None, f.column) not in told]
            (unsound if more or not all(table.sound for table in mine) else records)[log] = frame
    for table in tables:
        table.frame, table.raw = None, {}
        table.changes.sort(key=lambda one: one.row)
        table.set_aside.sort(key=lambda one: one.row)
    return records, Reading(files=tuple(sorted(files + tables, key=lambda file: file.place)), unsound=unsound), faults


def _undeclared(entry, stem, grids, settings):
    """A file or sheet of no log's name, with the log whose headings it has, or else whose name is near."""
    right = f'"{entry}" = one of {", ".join(LOGS)} under [records.files] in study.toml, or = "ignore"'
    heads = [cells for grid in grids for _, cells in grid.rows[:40]]
    named = {log: max((score_of(cells, log, settings) for cells in heads), default=0) for log in LOGS}
    like = max(LOGS, key=named.get)
    hint = f" (did you mean {like!r}? It has those headings)" if named[like] > 1 else close_match(plain(stem), LOGS)
    return Fault(f"records/{entry}", "unknown log", right + hint, found=repr(entry))


def _not_there(declared, entries, folder):
    """Files and sheets that the study file names and that are not there, as far as the files could be opened."""
    faults, wrong = [], "no such file or sheet in records/"
    for entry in declared if folder.is_dir() else ():
        book, sheet, _ = entry.partition("/")
        if entry not in entries and not (sheet and f"{book}?" in entries):
            right = f"a file of the folder, or workbook/sheet{close_match(entry, entries)}, or no such line"
            faults.append(Fault("study.toml", wrong, right, column=f"records.files.{entry}", found=repr(entry)))
    return faults


def _joined(tables, log):
    """One frame of all files of a log, each event once."""
    rows = [row for table in tables for row in table.frame.index]
    blocks = [f"{table.place}:{block}" for table in tables for block in table.blocks]
    owners = [table for table in tables for _ in table.blocks]
    single = len(tables) == 1
    frame = tables[0].frame if single else pd.concat([table.frame for table in tables])
    if not single:
        frame.index = [f"{table.place}:{row}" for table, row in zip(owners, rows)]
    keep = _once(frame, blocks, owners, rows, tables, log)
    if log in OPEN:
        keep &= ~_overtaken(frame, keep, owners, rows, log)
        _say_open(frame, keep, owners, rows, tables, log)
    frame = frame[keep]
    # blank dates last; pandas would put the last row in their place
    return frame if single or "date" not in frame else frame.iloc[frame.date.to_numpy().argsort(kind="stable")]


def _once(frame, blocks, owners, rows, tables, log):
    """Which rows count; the others are set aside by name.

    A row k times under one header and m times under another counts max(k, m) times: the first `k` of both are the same.
    """
    comparable = {name: column.astype(float).round(9) if column.dtype.kind in "fi" else column for name, column in frame.items()}
    codes = pd.DataFrame({name: pd.factorize(column)[0] for name, column in comparable.items()})
    if not codes.duplicated().any():  # as in most
        return np.ones(len(frame), bool)
    same = codes.groupby(list(codes.columns), sort=False).ngroup().to_numpy()
    keys = pd.DataFrame({"same": same, "block": blocks, "at": range(len(frame))})
    nth = keys.groupby(["same", "block"]).cumcount()
    before = keys.groupby(["same", nth])["at"].transform("first").to_numpy()
    first = keys.groupby("same")["at"].transform("first").to_numpy()
    keep = before == keys["at"].to_numpy()
    again = (log in IDS and frame[IDS[log]].notna().to_numpy()) & (nth.to_numpy() > 0)
    for at in np.flatnonzero(~keep | again):
        where = _row(first[at] if keep[at] or again[at] else before[at], at, owners, rows)
        owners[at].set_aside.append(SetAside(row=rows[at], reason=f"the same as {where}, counted once"))
    twice = np.flatnonzero(keep & ~again & (nth.to_numpy() > 0))
    for table in tables:
        pairs = [f"{rows[first[at]]} and {rows[at]}" for at in twice if owners[at] is table]
        if pairs:
            said = ", ".join(pairs[:3]) + (f" and {len(pairs) - 3} more pairs" if len(pairs) > 3 else "")
            table.decisions.append(f"rows {said} are the same; both counted, as nothing says they are one event")
    return keep & ~again


def _row(at, other, owners, rows):
    """A row as one of another file, or of the same, is told of it."""
    return f"row {rows[at]}" + ("" if owners[at] is owners[other] else f" of {owners[at].place}")


def _overtaken(frame, keep, owners, rows, log):
    """Open rows that another row of the same event has closed, or says again with more; they are set aside by name."""
    open_column, needed = OPEN[log], [name for name, (_, need) in LOGS[log].items() if need and name != OPEN[log]]
    gone = pd.Series(False, index=range(len(frame))).to_numpy()
    plain_index = frame.reset_index(drop=True)
    candidates = plain_index[keep & plain_index[needed].notna().all(axis=1).to_numpy()]
    candidates = candidates[candidates.duplicated(needed, keep=False)]
    for _, same in candidates.groupby(needed, sort=False):
        closed = same.index[same[open_column].notna()]
        for at in same.index[same[open_column].isna()]:
            own = same.loc[at]
            fuller = [other for other in same.index if other != at and (own.isna() | (same.loc[other] == own)).all()]
            if len(closed) or fuller:
                where = _row(closed[0] if len(closed) else fuller[-1], at, owners, rows)
                reason = f"counted since, in {where}" if len(closed) else f"said again with more in {where}"
                owners[at].set_aside.append(SetAside(row=rows[at], reason=reason))
                gone[at] = True
    return gone


def _say_open(frame, keep, owners, rows, tables, log):
    """One line a file for the rows that are still open."""
    still = keep & frame[OPEN[log]].isna().to_numpy()
    for table in tables:
        mine = [rows[at] for at in still.nonzero()[0] if owners[at] is table]
        if mine:
            places = f"row{'s' * (len(mine) > 1)} {some_of(list(map(str, mine)), 8)}"
            table.decisions.append(f"{counted(len(mine), 'load')} without a count in {OPEN[log]}, still in work: {places}")


def _checked(frame, log, tables):
    """Blanks where something is needed, ids that repeat, and figures outside their limits or not whole."""
    faults = []
    for name, (kind, needed) in LOGS[log].items():
        if not any(name in table.raw for table in tables):
            continue
        column, right = frame[name], in_words(kind)
        each = ", in every row, also under one of the same day" if kind == "date" else ""
        rules = [("empty cell", right + each, column.isna())] if needed and name != OPEN.get(log) else []
        if UNIQUE.get(log) == name:
            rules.append(("the same id twice", "each id once", column.notna() & column.duplicated(keep=False)))
        if kind in NUMBERS:
            most = NUMBERS[kind].high * (days_of(frame) if kind == "minutes" else 1.0)
            wrong = ~((column >= NUMBERS[kind].low) & (column <= most))
            if NUMBERS[kind].whole:  # but for the middle of an interval
                wrong |= (column % 1 != 0) & (frame[f"{name}_low"].isna() if f"{name}_low" in frame else True)
            rules.append(("cannot be used", right, column.notna() & wrong))
        for wrong, right, where in rules:
            for label in column.index[where]:
                place, row = label.rsplit(":", 1) if isinstance(label, str) else (tables[0].place, label)
                table = next(table for table in tables if table.place == place)
                found = "" if wrong == "empty cell" else shown(table.raw[name][table.frame.index.get_loc(int(row))])
                faults.append(Fault(place, wrong, right, row=int(row), column=name, found=found))
    return faults
