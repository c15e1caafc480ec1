"""The records as they go into a pack: without the columns that name customers, all else as it was."""

import csv
import datetime as dt
import functools
import io
import re
import tomllib
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path

from charset_normalizer import from_bytes

from ..faults import Fault, StudyError, close_match
from ..ledger.files import Grid, decoded, read_file, record_files
from ..ledger.logs import FREE, LOGS, plain
from ..ledger.rows import blocks_of, score_of
from ..reference import kit_folder
from ..study import Study
from .archive import unzipped, zipped

__all__ = ["Records", "packed_records", "workbook_member"]

_LEFT_OUT = "left out of this pack"
_WORKBOOK = re.compile(
    r"\[Content_Types\]\.xml|_rels/\.rels|docProps/(app|core)\.xml|xl/(_rels/)?\w+\.xml(\.rels)?|xl/(theme|worksheets)/\w+\.xml"
)


@dataclass(kw_only=True)
class Records:
    """Files of the records for a pack, and what was decided about their columns."""

    files: dict[str, bytes] = field(default_factory=dict)  # by name in records/
    left_out: dict[str, str] = field(default_factory=dict)  # LOG.COLUMN, file or sheet -> why
    kept: list[str] = field(default_factory=list)  # LOG.COLUMN
    values: dict[str, str] = field(default_factory=dict)  # what stood in columns that name people -> LOG.COLUMN


@functools.cache
def _words() -> dict[str, list[str]]:
    return tomllib.loads((kit_folder("data") / "reference" / "people-words.toml").read_text(encoding="utf-8"))


def _is_named(header: str, buyers: bool = False) -> bool:
    """Whether a heading speaks of people; with `buyers`, plainly of buyers."""
    text = unicodedata.normalize("NFC", header).casefold()
    parts = [part.strip("-") for part in re.split(r"[^\w-]+|_", text)]
    if buyers:
        return any(word in parts for word in _words()["buyers"])
    return any(part in _words()["words"] for part in parts) or any(word in text for word in _words()["parts"])


def packed_records(study: Study, keep: tuple[str, ...] = ()) -> Records:
    """The records of a study for a pack.

    Parameters
    ----------
    study : Study
        Free of faults.
    keep : tuple of str
        Columns that stay though they may name people, as LOG.COLUMN.

    Returns
    -------
    Records

    Raises
    ------
    StudyError
        For a column to keep that is not there, one that cannot be left out, or a file that cannot be rewritten exactly.
    """
    settings, found, wanted, faults = study.file.records, Records(), {_key(name): name for name in keep}, []
    logs = {file.place: file.log for file in study.reading.files}
    for path in record_files(study.folder / "records"):
        if logs.get(f"records/{path.name}") == "ignore":
            found.files[path.name] = f"{_LEFT_OUT}\n".encode()
            found.left_out[path.name] = "the study does not read this file"
            continue
        own = logs.get(f"records/{path.name}")
        names = [own] if own else list(LOGS)
        score = functools.partial(_score, names, settings)
        grids, cuts = read_file(path, score)[0], {}
        for grid in grids:
            log = logs[grid.place]
            if log == "ignore":
                found.left_out[grid.place.removeprefix("records/")] = "the study does not read this sheet"
            else:
                cuts[grid.place] = _cuts(grid, log, settings, wanted, found, faults)
        if faults:
            continue
        data = path.read_bytes()
        if grids[0].sheet is None:
            drop = cuts[grids[0].place]
            found.files[path.name] = _text_without(data, grids[0], drop) if any(drop.values()) else data
        else:
            found.files[path.name] = _workbook_without(path, grids, cuts)
    known = sorted({*found.left_out, *found.kept})
    for key, name in wanted.items():
        if key not in {_key(one) for one in known}:
            right = f"LOG.COLUMN, one of {', '.join(known)}" if known else "nothing, as no column names people"
            faults.append(
                Fault(file="--keep-column", wrong="no such column", found=repr(name), right=right + close_match(name, known))
            )
    if faults:
        raise StudyError(faults)
    return found


def _score(logs, settings, cells):
    return max(score_of(cells, log, settings) for log in logs)


def _key(name):
    log, _, column = name.partition(".")
    return f"{plain(log)}.{plain(column)}"


def _cuts(grid, log, settings, wanted, found, faults):
    """Cells to leave out, by row of the file."""
    blocks, _ = blocks_of(grid.rows, log, settings)
    headers = {block.row: {column.at: column for column in block.columns} for block in blocks}
    gone = {
        row: {at for at, column in columns.items() if _decide(grid, log, column, wanted, found, faults)}
        for row, columns in headers.items()
    }
    cuts, events = {}, {row for block in blocks for row, _ in block.rows}
    for row, cells in grid.rows:
        start = max((first for first in headers if first <= row), default=None)
        if start is None:  # a title above the header
            continue
        cuts[row] = gone[start]
        for at in gone[start] if row in events else ():
            column = headers[start][at]
            if at < len(cells) and len(str(cells[at])) >= 4 and _is_named(column.header) and column.name != "note":
                found.values.setdefault(str(cells[at]), f"{log}.{column.header}")
    return cuts


def _decide(grid, log, column, wanted, found, faults):
    """Whether a column is left out; notes it either way where it is a question at all."""
    kind, needed = LOGS[log][column.name] if column.name else (None, False)
    unread = column.name is None
    named = _is_named(column.header) or column.name == "note"
    if not unread and kind != FREE:
        named = _is_named(column.header, buyers=True)
    if not (unread or named):
        return False
    place = f"{log}.{column.header}"
    if _key(place) in wanted:
        if place not in found.kept:
            found.kept.append(place)
        return False
    if needed:
        faults.append(
            Fault(
                file=grid.place,
                column=column.header,
                wrong="may name customers and cannot be left out",
                found=f"the study reads it as {column.name}",
                right=f'other words in the column, or --keep-column "{place}" if your partner may see it',
            )
        )
        return False
    why = "may name people or tell about them" if named else "the study does not read it"
    found.left_out.setdefault(place, why)
    return True


def _text_without(data, grid, cuts):
    """The bytes of a text file without some cells; everything else byte for byte."""
    text, separator = decoded(data)[0], grid.separator
    cell = re.compile(rf'(?:"(?:[^"]|"")*(?:"|\Z))?[^{re.escape(separator)}\r\n]*')
    pieces, at, reader, line = [], 0, csv.reader(io.StringIO(text, newline=""), delimiter=separator), 1
    shift = len(text) - len(text.lstrip("\ufeff"))
    kept = []
    for row in reader:
        drop, cells = cuts.get(line, ()), []
        line = reader.line_num + 1
        start = at
        while at <= len(text):
            match = cell.match(text, at)
            cells.append(match[0])
            at = match.end()
            if text[at : at + 1] != separator:
                break
            at += 1
        end = "\r\n" if text.startswith("\r\n", at) else text[at : at + 1]
        at += len(end)
        whole = text[start : at - len(end)]
        pieces.append((separator.join(c for i, c in enumerate(cells) if i not in drop) if drop else whole) + end)
        kept.append([c for i, c in enumerate(row) if i not in drop])
    new = "".join(pieces)
    again = list(csv.reader(io.StringIO(new, newline=""), delimiter=separator))
    if shift == 0 and [row or [""] for row in again] != [row or [""] for row in kept]:
        right = "quotes that open and close around a whole cell"
        raise StudyError([Fault(file=grid.place, wrong="a column cannot be left out without changing others", right=right)])
    return _encoded(text, new, data)


def _encoded(text, new, data):
    """Changed text in the encoding that its bytes had."""
    marks = (
        (b"\xef\xbb\xbf", "utf-8"),
        (b"\xff\xfe\0\0", "utf-32-le"),
        (b"\0\0\xfe\xff", "utf-32-be"),
        (b"\xff\xfe", "utf-16-le"),
    )
    marks += ((b"\xfe\xff", "utf-16-be"), *((b"", codec) for codec in ("utf-8", "cp1252", "utf-16-le", "utf-16-be")))
    best = from_bytes(data[:200_000]).best()
    for mark, codec in (*marks, *(((b"", best.encoding),) if best else ()), (b"", "latin-1")):
        try:
            if data.startswith(mark) and mark + text.encode(codec) == data:
                return mark + new.encode(codec)
        except UnicodeError:
            continue
    return new.encode("utf-8")


def _workbook_without(path, grids, cuts):
    """A plain workbook of the cells that were read: no hidden sheets, comments, formulas or names of authors go along."""
    from openpyxl import Workbook
    from openpyxl.utils.exceptions import IllegalCharacterError

    book = Workbook()
    book.remove(book.active)
    wanted = {}
    for grid in grids:
        sheet, cut = book.create_sheet(grid.sheet), cuts.get(grid.place)
        rows = (
            [(grid.rows[0][0], [_LEFT_OUT])]
            if cut is None
            else [(n, [c for i, c in enumerate(cells) if i not in cut.get(n, ())]) for n, cells in grid.rows]
        )
        wanted[grid.sheet] = _filled(rows)
        for number, cells in rows:
            for at, value in enumerate(cells, start=1):
                if value != "":
                    one = sheet.cell(number, at)
                    try:
                        one.value = value
                    except (IllegalCharacterError, ValueError):
                        raise _unwritable(grid) from None
                    if isinstance(value, str):
                        one.data_type = "s"  # never a formula
                    elif isinstance(value, dt.date) and not isinstance(value, dt.datetime):
                        one.number_format = "yyyy-mm-dd"
    saved = io.BytesIO()
    book.save(saved)
    members = unzipped(saved.getvalue(), path.name, lambda _: True)
    date = rb"1980-01-01T00:00:00Z"  # the library writes the clock's
    members["docProps/core.xml"] = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", date, members["docProps/core.xml"])
    data = zipped(members)
    for grid in _read_again(path, data):
        if _filled(grid.rows) != wanted[grid.sheet]:
            raise _unwritable(grid)
    return data


def _read_again(path, data):
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / path.name
        copy.write_bytes(data)
        return read_file(copy, lambda _: 0)[0]


def _filled(rows):
    """Rows with any cell, without the empty ones at their end."""
    found = []
    for number, cells in rows:
        cells = list(cells)
        while cells and cells[-1] == "":
            cells.pop()
        if cells:
            found.append((number, cells))
    return found


def _unwritable(grid: Grid) -> StudyError:
    right = "the sheet saved as CSV"
    return StudyError([Fault(file=grid.place, wrong="holds cells that cannot be copied exactly", right=right)])


def workbook_member(data: bytes, place: str) -> None:
    """Refuse a workbook that is other than a pack holds them; StudyError says why."""
    unzipped(data, place, lambda name: _WORKBOOK.fullmatch(name) is not None)
