"""Sheets of a workbook as rows of plain cells, read in a process of its own.

A hostile or damaged workbook may ask for any amount of memory and end the process that opens it; this file is run as a script,
with bounds, by `files.read_file`, and imports nothing of the kit.
"""

import io
import pickle
import re
import sys
import zipfile
from functools import reduce

MOST_BYTES, MOST_CELLS = 200_000_000, 20_000_000  # of a file, and between the first and last cell of a sheet
_MOST_MEMORY, _MOST_SECONDS = 4_000_000_000, 300  # of the process
_NAMED = re.compile(rb"""<(?:\w+:)?(?:c|row)\b[^<>]*?\sr\s*=\s*["']([A-Za-z]{0,9})([0-9]{1,12})["']""")  # a cell or row
LARGE, LOCKED, DAMAGED = "large", "locked", "damaged"  # why nothing was read


def sheets_of(data: bytes):
    """Every sheet of a workbook as (name, hidden, first row, cells left out at the left, rows), or why nothing was read."""
    from python_calamine import load_workbook

    if too_spread(data):
        return LARGE
    found = []
    try:
        book = load_workbook(io.BytesIO(data))
        if len({about.name for about in book.sheets_metadata}) < len(book.sheets_metadata):
            return DAMAGED  # of two sheets of one name only the first could be read
        for about in book.sheets_metadata:
            sheet = book.get_sheet_by_name(about.name)
            if (sheet.height or 0) * (sheet.width or 0) > MOST_CELLS:
                return LARGE
            top, left = sheet.start or (0, 0)
            found.append((about.name, str(about.visible) != "SheetVisibleEnum.Visible", top, left, sheet.to_python()))
    except MemoryError:
        return LARGE
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # the library can also panic, which is no Exception
        return LOCKED if "Password" in type(error).__name__ or "encrypt" in str(error).lower() else DAMAGED
    return found


def too_spread(data: bytes) -> bool:
    """Whether a sheet of an XLSX spans too many cells by its own cell names, which the library would reserve at once."""
    if not data.startswith(b"PK"):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            if sum(item.file_size for item in book.infolist()) > 5 * MOST_BYTES:
                return True
            for name in book.namelist():
                if name.startswith("xl/worksheets/") and name.endswith(".xml"):
                    ends = _NAMED.findall(book.read(name))
                    columns, rows = {letters for letters, _ in ends}, [int(row) for _, row in ends]
                    # 1 for A, 27 for AA
                    width = max((reduce(lambda n, letter: 26 * n + letter - 64, one.upper(), 0) for one in columns), default=0)
                    if width * (max(rows, default=0) - min(rows, default=0) + 1) > MOST_CELLS:
                        return True
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, RuntimeError):
        pass  # what is damaged is found again below
    return False


def _bound():
    """Bound this process where the system can; elsewhere the system's own memory is the bound."""
    try:
        import resource
    except ImportError:
        return
    for kind, most in (("RLIMIT_AS", _MOST_MEMORY), ("RLIMIT_CPU", _MOST_SECONDS), ("RLIMIT_CORE", 0)):
        try:
            hard = resource.getrlimit(getattr(resource, kind))[1]
            resource.setrlimit(getattr(resource, kind), (most if hard < 0 else min(most, hard), hard))
        except (AttributeError, OSError, ValueError):  # not every system has each bound
            continue


if __name__ == "__main__":
    _bound()
    try:
        pickle.dump(sheets_of(sys.stdin.buffer.read()), sys.stdout.buffer, protocol=5)
    except MemoryError:
        sys.exit(1)
