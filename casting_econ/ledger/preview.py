"""How the records were read, in lines for a terminal of 80 columns."""

import textwrap
from collections.abc import Iterable
from itertools import groupby

import numpy as np

from ..faults import counted, cut
from .join import FileReading, Reading

_WIDTH, _MOST = 79, 20  # columns; lines of a list unless all are asked for
_FIRST = ("timesheet", "batches", "sales")  # logs that tell most, as the page on what to write down has it


def preview(reading: Reading | None, *, full: bool = False, wall: bool = False) -> str:
    """Every decision, row set aside and changed cell, file by file, in lines of at most 80 columns; '' where nothing was read.

    Long lists are shown to their end, and files without a row one by one, where `full`. `wall` tells that the study has a page on what
    to write down.
    """
    if reading is None or not reading.files:
        return ""
    empty = [] if full else [file for file in reading.files if _blank(file)]
    without = [file for file in empty if not any(other.log == file.log for other in reading.files if other not in empty)]
    parts = ["How the records were read (the files themselves are never changed)"]
    parts += ["\n".join(_file(file, full)) for file in reading.files if file not in empty]
    return "\n\n".join([*parts, *(["\n".join(_lines(_no_rows(without, wall), ""))] if without else [])]) + "\n\n"


def _blank(file):
    """Whether a log has nothing but its header, and remarks."""
    return "no rows yet" in file.decisions and all("remark" in one.reason for one in file.set_aside) and not file.unequal


def _no_rows(files, wall):
    """The logs without a row in one sentence, and which to begin with."""
    logs = list(dict.fromkeys(file.log for file in files))
    page = "; see what-to-write-down.md for what goes where" if wall else ""
    first = [log for log in _FIRST if log in logs]
    begin = f". Write down first: {', '.join(first)}" if first else ""
    return f"No rows yet in: {', '.join(log.replace('_', ' ') for log in logs)}{page}{begin}."


def _file(file: FileReading, full: bool) -> list[str]:
    """Lines about one file or sheet."""
    if file.log == "ignore":
        return _lines(f"{file.place}: left alone, as study.toml says", "")
    counts = f"{counted(file.read, 'row')} read = {file.used} used + {len(file.set_aside)} set aside"
    lines = _lines(f"{file.place}, taken as {file.log}: {counts}", "")
    for decision in file.decisions:
        lines += _lines(decision, "  ")
    for sentence in file.unequal:
        lines += _lines(f"does not add up: {sentence}", "  ")
    aside = [
        f"row{'s' * (len(rows) > 1)} {_ranges([one.row for one in rows])}: {reason}"
        for reason, rows in ((reason, list(same)) for reason, same in groupby(file.set_aside, key=lambda one: one.reason))
    ]
    alike: dict[tuple[str, ...], list[int]] = {}
    for one in file.changes:
        alike.setdefault((one.column, one.before, one.after, one.how), []).append(one.row)
    changed = [
        f"row{'s' * (len(rows) > 1)} {_ranges(rows, None if full else 8)}, {column}: {_line(before)} -> {_line(after)} ({how})"
        for (column, before, after, how), rows in alike.items()
    ]
    for title, items in (("Set aside:", aside), (f"{counted(len(file.changes), 'cell')} read as something else:", changed)):
        if items:
            shown = items if full or len(items) <= _MOST else items[:_MOST]
            lines.append(f"  {title}")
            for item in shown:
                lines += _lines(item, "    ")
            if len(shown) < len(items):
                lines.append(f"    and {len(items) - len(shown)} more (--full shows all)")
    return lines


def _line(text: str) -> str:
    return cut(" ".join(text.split()), 40)


def _lines(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=indent + "  ") or [indent]


def runs(rows: Iterable[int]) -> list[tuple[int, int]]:
    """First and last of each run of rows that follow each other, in order."""
    rows = sorted(rows)
    parts = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    return [(int(part[0]), int(part[-1])) for part in parts]


def _ranges(rows: list[int], most: int | None = None) -> str:
    """'3, 5-9' for rows."""
    found = runs(rows)
    said = ", ".join(f"{a}" if a == b else f"{a}-{b}" for a, b in found[:most])
    return said if most is None or len(found) <= most else f"{said} and {sum(b - a + 1 for a, b in found[most:])} more"
