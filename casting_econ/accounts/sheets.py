"""Plain tables as a workbook and as text files: the same cells, nothing that a spreadsheet would run."""

import csv
import datetime as dt
import io
import re
import unicodedata
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

Cell = str | int | Decimal | dt.date | None
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufffe\uffff]")  # XML or a line of text cannot hold them
_LONGEST = 32_767  # characters that a spreadsheet cell holds


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One table: texts, whole numbers, exact amounts, days, and None for a cell to be filled in or not known."""

    name: str
    header: Sequence[str]
    rows: list[Sequence[Cell]] = field(default_factory=list)


def plain_text(text: str) -> str:
    """One line without control characters, no longer than a cell."""
    return _CONTROL.sub(" ", text)[:_LONGEST]


def looks_like_formula(text: str) -> bool:
    """Whether a spreadsheet might take a text for a formula: = + - or @ first, also full-width or behind quotes and blanks.

    >>> [looks_like_formula(text) for text in ("=1+1", " '-2", "＝1", '"@x', "knob", "sea-weed")]
    [True, True, True, True, False, False]
    """
    return re.match(r"[\W_]*?[=+\-@]", unicodedata.normalize("NFKC", text)) is not None


def as_csv(sheet: Sheet) -> bytes:
    """A table as the bytes of a text file: UTF-8 with its mark, commas, decimal points, ISO days.

    An apostrophe stands before what a spreadsheet might take for a formula; a cell that is None is empty.
    """

    def shown(cell):
        if isinstance(cell, str):
            text = plain_text(cell)
            return f"'{text}" if looks_like_formula(text) else text
        return "" if cell is None else f"{cell:f}" if isinstance(cell, Decimal) else str(cell)

    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerows([shown(cell) for cell in row] for row in (sheet.header, *sheet.rows))
    return text.getvalue().encode("utf-8-sig")


def as_xlsx(sheets: Sequence[Sheet], day: dt.date) -> bytes:
    """Tables as the bytes of one workbook: numbers as numbers, every text as text.

    `day` stands as the day it was made, so that the same tables give the same bytes.
    """
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font

    book = Workbook()
    book.remove(book.active)
    book.properties.creator = "casting_econ"
    for sheet in sheets:
        page = book.create_sheet(sheet.name)
        for at, row in enumerate((sheet.header, *sheet.rows), 1):
            total = at > 1 and isinstance(row[0], str) and row[0].startswith("total")
            for column, value in enumerate(row, 1):
                cell = page.cell(at, column)
                if isinstance(value, str):
                    text = plain_text(value)
                    cell.value, cell.data_type = text, "s"
                    cell.quotePrefix = looks_like_formula(text)
                    cell.alignment = Alignment(wrap_text=True, vertical="top")
                elif value is not None:
                    cell.value = value
                    digits = -value.as_tuple().exponent if isinstance(value, Decimal) else 0
                    figure = "#,##0" + ("." + "0" * digits if digits > 0 else "")
                    cell.number_format = "yyyy-mm-dd" if isinstance(value, dt.date) else figure
                    cell.alignment = Alignment(vertical="top")
                if at == 1 or total:
                    cell.font = Font(bold=True)
        for column, letters in enumerate(zip(sheet.header, *sheet.rows), 1):
            longest = max(len(str(cell)) for cell in letters if cell is not None)
            page.column_dimensions[page.cell(1, column).column_letter].width = min(max(longest + 2, 9), 90 if column == 1 else 44)
        page.freeze_panes = "A2"
        page.print_title_rows = "1:1"
        page.page_setup.orientation = "landscape"
        page.page_setup.fitToHeight = 0
        page.sheet_properties.pageSetUpPr.fitToPage = True
    raw, fixed = io.BytesIO(), io.BytesIO()
    book.save(raw)
    with zipfile.ZipFile(raw) as old, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", f"{day}T00:00:00Z".encode(), content)
            new.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
    return fixed.getvalue()
