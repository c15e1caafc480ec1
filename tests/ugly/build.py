"""How a case of the corpus of ugly files is written down, and how its folder is written."""

import datetime as dt
import json
from pathlib import Path

HERE = Path(__file__).parent
CASES = []
DAY = dt.date(2025, 4, 3)
SOLD = "date channel product pieces price"


def case(name, files, **expected):
    """One case: files by name, text, bytes or sheets; what must come out."""
    CASES.append((name, files, expected))


def rows(*given, columns="date step minutes", log="timesheet", **more):
    """Rows that must come out: the row in the file (or file:row), then values by column; None where it is blank."""
    return {"log": log, "columns": columns.split(), "rows": [list(row) for row in given], **more}


def sheet_times(*lines):
    """A timesheet as text."""
    return "\n".join(("date,step,minutes", *lines)) + "\n"


def timesheet(name, *lines, **expected):
    """A case of one timesheet as text."""
    case(name, {"timesheet.csv": sheet_times(*lines)}, **expected)


def workbook(path, sheets):
    """Write sheets of rows with openpyxl, or with pandas for ODS."""
    import pandas as pd
    from openpyxl import Workbook

    sheets = sheets if isinstance(sheets, dict) else {"Sheet1": sheets}
    if path.suffix == ".ods":
        with pd.ExcelWriter(path, engine="odf") as writer:
            for name, lines in sheets.items():
                pd.DataFrame(lines).to_excel(writer, sheet_name=name, header=False, index=False)
        return
    book = Workbook()
    book.remove(book.active)
    for name, lines in sheets.items():
        sheet = book.create_sheet(name)
        for line in lines:
            sheet.append(line)
        if lines[0][0] and lines[0][1:] == [None] * len(lines[0][1:]) and len(lines[0]) > 1:
            sheet.merge_cells(start_row=1, start_column=1, end_row=1, end_column=len(lines[0]))
    book.save(path)


def write(name, files, expected):
    """Write the folder of one case."""
    folder = HERE / name / "records"
    folder.mkdir(parents=True)
    for file, content in files.items():
        if isinstance(content, (list, dict)):
            workbook(folder / file, content)
        else:
            (folder / file).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    if "lines" not in expected and "rows" in expected:
        [content] = files.values()
        content = next(iter(content.values())) if isinstance(content, dict) else content
        text = isinstance(content, (str, bytes))
        expected["lines"] = len(_text(content).splitlines()) if text else len(content)
    (HERE / name / "expected.json").write_text(json.dumps(expected, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


def _text(content):
    """Text of a file, decoded only to count its lines."""
    if isinstance(content, str):
        return content
    for codec in ("utf-32", "utf-16", "utf-8", "cp1252"):
        try:
            text = content.decode(codec)
        except UnicodeDecodeError:
            continue
        if "date" in text or "Datum" in text:
            return text
    return content.decode("utf-16-le")
