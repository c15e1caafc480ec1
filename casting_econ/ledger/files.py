"""From the bytes of a file to rows of cells, and what was decided on the way."""

import csv
import io
import pickle
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..faults import Fault
from . import sheets

TEXTS, WORKBOOKS = (".csv", ".tsv", ".txt", ".tab"), (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")
_SEPARATORS = {";": "semicolons", "\t": "tabs", ",": "commas", "|": "bars"}
_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig", "UTF-8 with a mark"),
    (b"\xff\xfe\0\0", "utf-32", "UTF-32"),
    (b"\0\0\xfe\xff", "utf-32", "UTF-32"),
)
_MARKS += ((b"\xff\xfe", "utf-16", "UTF-16"), (b"\xfe\xff", "utf-16", "UTF-16"))
_BOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")  # of XLSX and ODS, and of XLS
_SPREAD = f"one table a sheet, near its top, of at most {sheets.MOST_CELLS / 1e6:.0f} million cells with the blank ones between"
_CLOSED = "cannot be opened as a workbook"
_UNREAD = {  # what is wrong, found, and would be right
    sheets.LARGE: ("has cells too far apart", "a sheet too large to hold", _SPREAD),
    sheets.LOCKED: (_CLOSED, "a password", "a copy saved without a password"),
    sheets.DAMAGED: (_CLOSED, "a damaged or unfinished file", "the workbook saved anew, or its sheet as CSV"),
}
_CONTROL = bytes([*range(9), *range(14, 32)])  # bytes that no text has
_MORE = "a table of the workshop: CSV, text with tabs, XLSX or ODS"


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Rows of one text file or sheet, numbered as the file has them."""

    place: str  # for faults
    sheet: str | None
    rows: list[tuple[int, list[Any]]]
    decisions: tuple[str, ...] = ()
    separator: str = ""  # "" for a sheet


def record_files(folder: Path) -> list[Path]:
    """Files of a `records` folder that look like tables, in order; hidden files, lock files and others are left alone."""
    if not folder.is_dir():
        return []
    found = [path for path in folder.iterdir() if path.suffix.lower() in TEXTS + WORKBOOKS]
    return sorted(path for path in found if path.name[0] not in "~." and not path.name.lower().startswith("readme"))


def read_file(path: Path, score: Callable[[list[Any]], int]) -> tuple[list[Grid], list[Fault]]:
    """Every table in a file, one of a text file, one a sheet of a workbook, and what is wrong with it.

    `score` tells how many cells of a row are column names, which decides what parts the cells of a text file.
    """
    place = f"records/{path.name}"
    try:
        if path.stat().st_size > sheets.MOST_BYTES:
            return [], [Fault(place, "is too large", "at most 200 MB", found=f"{path.stat().st_size / 1e6:.0f} MB")]
        data = path.read_bytes()
    except OSError as error:
        return [], [Fault(place, "cannot be read", "a file you may read", found=str(error.strerror))]
    if data.startswith(_BOOKS):  # whatever the name says: some exports call text a workbook, and the other way round
        return _workbook(place, data)
    text, encoding = decoded(data)
    if text is None or re.match(r"\s*<[!?a-zA-Z]", text):
        found = "no text" if text is None else "a web page"
        return [], [Fault(place, "is not a table", _MORE, found=found)]
    return _text_grid(place, text, encoding, score)


def decoded(data):
    """Text and the name of its encoding; None for what is no text."""
    start = data[:4000]
    no_text = 0 in data or len(start) - len(start.translate(None, _CONTROL)) > len(start) / 50
    codecs = [(codec, name) for mark, codec, name in _MARKS if data.startswith(mark)][:1]
    if start.count(0) > len(start) / 4:  # every other byte of plain text in UTF-16 is zero
        order = "le" if start[1::2].count(0) > start[::2].count(0) else "be"
        codecs.append((f"utf-16-{order}", "UTF-16 without a mark"))
    elif not no_text:
        codecs += [("utf-8", "UTF-8"), ("cp1252", "Windows Western (cp1252)")]
    for codec, name in codecs:
        with suppress(UnicodeDecodeError):
            return data.decode(codec), name
    if no_text:
        return None, ""
    from charset_normalizer import from_bytes

    best = from_bytes(data[:200_000]).best()
    with suppress(UnicodeDecodeError):
        if best:
            return data.decode(best.encoding), f"{best.encoding}, the likeliest"
    return data.decode("latin-1"), "Latin-1"


def _numbered(text, separator):
    """Rows of cells with the line each starts on."""
    reader, line = csv.reader(io.StringIO(text, newline=""), delimiter=separator), 1
    for row in reader:
        yield line, row
        line = reader.line_num + 1


def _text_grid(place, text, encoding, score):
    """The rows of a text file, parted by what makes the best header."""
    first = re.match(r"sep=(.)\r?\n", text)  # a line that some spreadsheet programs write for themselves
    sample = "".join(text.splitlines(keepends=True)[:60]) if len(text) < 1e7 else text[:20_000]
    try:
        separator = first[1] if first else max(_SEPARATORS, key=lambda one: _fit(sample, one, score))
        rows = list(_numbered(text, separator))
    except csv.Error as error:
        cells = f"a cell of more than {csv.field_size_limit():,} characters"
        found = cells if "field larger" in str(error) else "quotes or characters that part no cells"
        return [], [Fault(place, "is not a table", "rows of cells; look for a quote that never closes", found=found)]
    if rows and len(rows[0][1]) == 0 and text.startswith("\ufeff"):
        rows = rows[1:]
    said = f"{encoding}; cells parted by {_SEPARATORS.get(separator, repr(separator))}"
    rows = [(number, [cell.strip() for cell in row]) for number, row in rows]
    return [Grid(place=place, sheet=None, rows=rows, decisions=(said,), separator=separator)], []


def _fit(sample, separator, score):
    """Column names found with a separator, then rows of one width, then width."""
    try:
        rows = [row for _, row in _numbered(sample, separator) if "".join(row).strip()]
    except csv.Error:
        return (0, 0, 0)
    if not rows:
        return (0, 0, 0)
    width, alike = Counter(len(row) for row in rows).most_common(1)[0]
    return (max(score(row) for row in rows), alike if width > 1 else 0, width)


def _workbook(place, data):
    """Every sheet of a workbook that holds anything."""
    found = _sheets(data)
    if isinstance(found, str):
        wrong, found, right = _UNREAD[found]
        return [], [Fault(place, wrong, right, found=found)]
    grids = []
    for name, hidden, top, left, cells in found:
        rows = [(top + i + 1, [""] * left + [_cell(cell) for cell in row]) for i, row in enumerate(cells)]
        decisions = ("a sheet of a workbook", *(("the sheet is hidden",) if hidden else ()))
        if any(cell != "" for _, row in rows for cell in row):
            grids.append(Grid(place=f"{place}/{name}", sheet=name, rows=rows, decisions=decisions))
    if not grids:
        return [], [Fault(place, "empty log", "at least one row, or no such file", found="no cells in any sheet")]
    return grids, []


class _Plain(pickle.Unpickler):
    """Takes days and times beside plain values, and nothing else."""

    def find_class(self, module, name):
        if module == "datetime":
            return super().find_class(module, name)
        raise pickle.UnpicklingError(f"{module}.{name}")


def _sheets(data):
    """What `sheets` makes of a workbook in a process of its own, whose death says that the workbook asked for too much."""
    try:
        done = subprocess.run([sys.executable, "-P", sheets.__file__], input=data, capture_output=True, timeout=600)
        return _Plain(io.BytesIO(done.stdout)).load()
    except (subprocess.TimeoutExpired, EOFError, pickle.UnpicklingError):
        return sheets.LARGE


def _cell(cell):
    """A cell of a sheet: text trimmed, truth in words, whole floats as integers so that ids stay ids."""
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, str):
        return cell.strip()
    return int(cell) if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15 else cell
