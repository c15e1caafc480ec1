"""Records are read from any sensible file, and what they leave open is asked."""

import csv
import datetime as dt
import hashlib
import importlib.util
import io
import json
import tomllib
import zipfile
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from ugly.build import workbook

from casting_econ.evidence import update
from casting_econ.faults import Question
from casting_econ.ledger import LOGS, sheets
from casting_econ.ledger.columns import marks_of
from casting_econ.ledger.dates import possible_orders
from casting_econ.ledger.preview import preview
from casting_econ.study import read_study
from casting_econ.study.reading import RecordsTable
from casting_econ.study.records import Names, read_records

HERE = Path(__file__).parent
DATA = HERE.parent / "data"
TWINS = ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather")
UGLY = sorted(path.parent for path in (HERE / "ugly").glob("*/expected.json"))


def load(path):
    """A script as a module."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def settings_of(text):
    """The [records] table that these lines make."""
    table = tomllib.loads(f"[records]\n{text}").get("records", {})
    return RecordsTable.model_validate(table, context={"currency": "EUR"})


def read(folder, expected):
    """Read the records of a case."""
    names = None
    if "items" in expected:
        names = Names(products={}, channels=frozenset(), places=frozenset(), tasks=frozenset(), items=expected["items"])
    table = settings_of(expected.get("settings", ""))
    return read_records(folder / "records", names, table, expected.get("currency", "EUR"), expected.get("locale"))


def hashes(folder):
    """Contents of every file."""
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in (folder / "records").iterdir()}


def value(cell):
    """A value of a frame as the expectations write it."""
    if pd.isna(cell):
        return None
    return f"{cell:%Y-%m-%d}" if isinstance(cell, pd.Timestamp) else cell


def test_corpus_is_large():
    """At least sixty cases, each with its expectation."""
    assert len(UGLY) >= 60


@pytest.mark.parametrize("folder", UGLY, ids=lambda folder: folder.name)
def test_ugly_file(folder):
    """Each ugly file gives the rows a maker meant, or says what is wrong or open; no row is lost, no byte changed."""
    expected, before = json.loads((folder / "expected.json").read_text(encoding="utf-8")), hashes(folder)

    records, reading, faults = read(folder, expected)

    assert hashes(folder) == before
    for file in reading.files:
        assert file.read == file.used + len(file.set_aside)
    text = preview(reading, full=True)
    assert all(len(line) <= 80 for line in text.splitlines())
    if "faults" in expected:
        told = "\n".join(map(str, faults))
        assert faults and [part for part in expected["faults"] if part not in told] == []
        assert any(isinstance(fault, Question) for fault in faults) == ("question" in told)
        return
    assert [str(fault) for fault in faults] == []
    assert set(records) == {expected["log"]}
    frame, columns = records[expected["log"]], expected["columns"]
    assert [str(label) for label in frame.index] == [str(row[0]) for row in expected["rows"]]
    for found, wanted in zip(frame[columns].to_numpy(object), expected["rows"], strict=True):
        for cell, want in zip(map(value, found), wanted[1:], strict=True):
            assert cell == (pytest.approx(want, rel=1e-9) if isinstance(want, float) else want)
    assert frame.drop(columns=columns).isna().all().all()
    aside = {str(one.row): one.reason for file in reading.files for one in file.set_aside}
    assert set(aside) == set(expected.get("aside", {}))
    assert [row for row, reason in expected.get("aside", {}).items() if reason not in aside[row]] == []
    said = "\n".join(decision for file in reading.files for decision in file.decisions)
    assert [part for part in expected.get("decisions", []) if part not in said] == []
    joined = " ".join(text.split())
    assert [part for part in expected.get("changes", []) if part not in joined] == []
    if expected["lines"]:  # every line but the header is a row that is used or set aside
        assert sum(file.read for file in reading.files) == expected["lines"] - 1
        assert len(frame) + len(aside) == expected["lines"] - 1


def test_columns_are_as_evidence_expects(tmp_path):
    """Every log has all its columns, in order, with times, figures and text."""
    (tmp_path / "purchases.csv").write_text("date;item;kind;quantity;paid\n2025-04-03;wax;material;1,5 kg;9\n", encoding="utf-8")

    records, _, _ = read_records(tmp_path, None)

    assert list(records["purchases"]) == list(LOGS["purchases"])
    kinds = {name: records["purchases"][name].dtype.kind for name in ("date", "item", "unit", "quantity", "resale")}
    assert kinds == {"date": "M", "item": "O", "unit": "O", "quantity": "f", "resale": "f"}


def test_workbook_with_cells_far_apart_is_told(tmp_path):
    """A sheet that spans billions of cells is a fault before any memory is asked for."""
    book = Workbook()
    book.active["A1"], book.active["XFD1048576"] = "date", 1
    book.save(tmp_path / "sales.xlsx")

    [fault] = read_records(tmp_path, None)[2]

    assert (fault.file, fault.wrong) == ("records/sales.xlsx", "has cells too far apart")


def far_cell(written):
    """A workbook of two good rows and one cell that its sheet's XML writes in its own way."""
    book, out = Workbook(), io.BytesIO()
    book.active.append(["date", "step", "minutes"])
    book.active.append(["2025-04-03", "pour", 12])
    plain = io.BytesIO()
    book.save(plain)
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            new.writestr(
                name, old.read(name).replace(b"</sheetData>", written + b"</sheetData>") if "sheet1" in name else old.read(name)
            )
    return out.getvalue()


FAR = {
    "double quotes": b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>',
    "single quotes": b"<row r='1048576'><c r='XFD1048576'><v>1</v></c></row>",
    "small letters": b'<row r="1048576"><c r="xfd1048576"><v>1</v></c></row>',
    "spaces": b'<row r="1048576"><c r = "XFD1048576"><v>1</v></c></row>',
    "beyond every sheet": b'<row r="4294967295"><c r="ZZZZZZ4294967295"><v>1</v></c></row>',
}


@pytest.mark.parametrize("name", FAR)
def test_one_cell_far_away_is_told_however_it_is_written(tmp_path, name):
    """A cell in the last column and row, which would need hundreds of gigabytes, is one message; this process lives on."""
    (tmp_path / "timesheet.xlsx").write_bytes(far_cell(FAR[name]))

    [fault] = read_records(tmp_path, None)[2]

    assert (fault.file, fault.wrong) == ("records/timesheet.xlsx", "has cells too far apart")
    assert "20 million cells" in fault.right


def test_far_cell_that_only_the_library_finds_is_told(tmp_path):
    """In a sheet that stands in a folder of another name: the process that reads it dies, and says so."""
    moved = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(far_cell(FAR["double quotes"]))) as old, zipfile.ZipFile(moved, "w") as new:
        for name in old.namelist():
            new.writestr(name.replace("worksheets", "elsewhere"), old.read(name).replace(b"worksheets/", b"elsewhere/"))
    (tmp_path / "timesheet.xlsx").write_bytes(moved.getvalue())

    assert [fault.wrong for fault in read_records(tmp_path, None)[2]] == ["has cells too far apart"]


def test_workbook_whose_reader_dies_is_told(tmp_path, monkeypatch):
    """Whatever ends the process that reads a workbook, the answer is a fault; one that answers with code is not obeyed."""
    (tmp_path / "timesheet.xlsx").write_bytes(far_cell(b""))
    assert read_records(tmp_path, None)[2] == []
    script = tmp_path / "reader.py"
    monkeypatch.setattr(sheets, "__file__", str(script))
    for text in ("import os; os.abort()", "import pickle, sys; sys.stdout.buffer.write(pickle.dumps(print))", ""):
        script.write_text(text, encoding="utf-8")
        [fault] = read_records(tmp_path, None)[2]
        assert fault.wrong == "has cells too far apart"


def test_events_above_the_header_are_asked(tmp_path):
    """Fifteen good rows above a header that stands in the middle are no titles: one question, with how many and which."""
    rows = "".join(f"2025-04-{day:02d},pour,12\n" for day in range(1, 31))
    half = len("2025-04-01,pour,12\n") * 15
    (tmp_path / "timesheet.csv").write_text(
        f"My hours of 2025,,\n{rows[:half]}date,step,minutes\n{rows[half:]}", encoding="utf-8"
    )

    records, _, [fault] = read_records(tmp_path, None)

    assert records == {} and isinstance(fault, Question)
    assert (fault.row, fault.wrong) == (2, "question: are rows above the header in row 17 events?")
    assert fault.found.startswith("15 rows that read as one, such as '2025-04-01', 'pour', '12'")


@pytest.mark.parametrize(
    "above",
    [
        "Hours 2025,,\n",
        "Datum,Schritt,Minuten\n",  # a header of her own over ours
        "Week 14,pouring,none\n",
        "# 2025-04-01,pour,12\n",  # the answer to the question
        ",pour,12\n",
    ],
)
def test_titles_above_the_header_stay_titles(tmp_path, above):
    """What lacks a date or a number of an event, or is marked as no event, is set aside by name as before."""
    (tmp_path / "timesheet.csv").write_text(f"{above}date,step,minutes\n2025-04-03,pour,12\n", encoding="utf-8")

    records, reading, faults = read_records(tmp_path, None)

    assert faults == [] and len(records["timesheet"]) == 1
    assert [one.row for one in reading.files[0].set_aside] == [1]


BLANKS = {  # two exports of one log, in the second of which an event has no date
    "batches": ("batch,date,product,casts,good", "B1,2025-01-03,tile,10-12,9", "B2,,tile,,9\nB3,2025-01-02,tile,10,8"),
    "sales": ("date,channel,product,pieces,price", "2025-01-03,shop,tile,2-3,10", ",shop,tile,,10\n2025-01-02,shop,tile,1,10"),
    "timesheet": ("date,step,minutes,pieces_handled", "2025-01-03,a,10,2-3", ",a,10,\n2025-01-02,a,10,1"),
}


@pytest.mark.parametrize("log", BLANKS)
def test_blank_date_in_one_of_two_exports_is_one_fault(tmp_path, log, recwarn):
    """Each blank is told once with its file and row, every row is read once, and no library says anything."""
    header, first, second = BLANKS[log]
    (tmp_path / f"{log}-1.csv").write_text(f"{header}\n{first}\n", encoding="utf-8")
    (tmp_path / f"{log}-2.csv").write_text(f"{header}\n{second}\n", encoding="utf-8")

    faults = read_records(tmp_path, None)[2]

    assert {(fault.file, fault.row, fault.column, fault.wrong) for fault in faults} >= {
        (f"records/{log}-2.csv", 2, "date", "empty cell")
    }
    assert {fault.column for fault in faults} <= {"date", "casts", "pieces"} and len(recwarn) == 0
    assert all((fault.file, fault.row) == (f"records/{log}-2.csv", 2) for fault in faults)


@pytest.mark.filterwarnings("ignore::FutureWarning")  # which would hide the traceback
def test_blank_dates_and_a_blank_count_in_three_exports_are_faults(tmp_path):
    """Several rows without a date, one without its count, numbers written as intervals: each blank is told, none twice."""
    exports = ["2025-01-02,,shop,tile,,9-10", ",,shop,tile,2-3,\n2025-01-03,O1,shop,tile,1,9-10"]
    exports.append(",,shop,tile,2-3,9-10\n,O1,shop,tile,2-3,9-10")
    for at, rows in enumerate(exports):
        (tmp_path / f"sales-{at}.csv").write_text(f"date,order,channel,product,pieces,price\n{rows}\n", encoding="utf-8")

    faults = read_records(tmp_path, None)[2]

    told = [(fault.file[-11:], fault.row, fault.column) for fault in faults if fault.wrong == "empty cell"]
    assert sorted(told) == [
        ("sales-0.csv", 2, "pieces"),
        ("sales-1.csv", 2, "date"),
        ("sales-1.csv", 2, "price"),
        ("sales-2.csv", 2, "date"),
        ("sales-2.csv", 3, "date"),
    ]


def test_all_faults_of_a_log_come_at_once(tmp_path, recwarn):
    """Cells that cannot be read, are blank or out of bounds are told together, without warnings of libraries."""
    rows = "date,step,minutes\n2025-01-01,pour,oops\n2025-01-01,,5\n2025-01-01,pour,-5\n"
    (tmp_path / "timesheet.csv").write_text(rows, encoding="utf-8")

    _, _, faults = read_records(tmp_path, None)

    assert [(fault.row, fault.column) for fault in faults] == [(2, "minutes"), (3, "step"), (4, "minutes")]
    assert [str(warning.message) for warning in recwarn] == []


@pytest.mark.parametrize(
    ("cell", "marks"),
    [
        ("1.200", {"?"}),
        ("0.200", {"."}),
        ("1200.500", {"."}),
        ("12,5", {","}),
        ("1.200,5", {","}),
        ("1,200.5", {"."}),
        ("1.200.000", {","}),
        ("1 200.500", {"."}),
        ("10-1.200", {"?"}),
        ("€ 7", set()),
        ("1:30", set()),
    ],
)
def test_marks_of_a_cell(cell, marks):
    """What a figure gives away of its decimal mark, by the rules of grouping in threes."""
    assert marks_of(cell) == marks


@pytest.mark.parametrize(
    ("cell", "orders"),
    [
        ("3/4/2025", {"dmy", "mdy"}),
        ("13/4/2025", {"dmy"}),
        ("4/13/2025", {"mdy"}),
        ("13/13/2025", set()),
        ("2025-03-04", None),
        ("3.4.25", {"dmy", "mdy"}),
        ("45750", None),
        ("3 Apr 2025", None),
    ],
)
def test_possible_orders(cell, orders):
    """Orders in which a date can be read: a month is at most 12, a day at most 31."""
    assert possible_orders(cell) == orders


# properties: a clean table in a random dialect comes back as it was, or a question is asked


@st.composite
def purchases(draw):
    """Rows of a clean log of purchases, within twenty years: in more, a day and a year of two figures look alike."""
    first = draw(st.integers(2001, 2030))
    day = st.dates(dt.date(first, 1, 1), dt.date(first + 19, 12, 31))
    figure = (
        st.integers(1, 5_000_000).map(lambda n: n / 1000)
        | st.integers(1, 400_000).map(float)
        | st.integers(1, 40_000).map(lambda n: n / 100)
    )
    item = st.sampled_from(["wax", "grüner Ton", "lye; flakes", "dye, red", 'a "fine" sieve', "wick\tthin"])
    row = st.tuples(day, item, figure, figure, st.none() | figure)
    return draw(st.lists(row, min_size=1, max_size=6, unique_by=lambda row: row[:3]))


@st.composite
def dialects(draw):
    """A way to write a table."""
    mark = draw(st.sampled_from(".,"))
    return {
        "mark": mark,
        "thousands": draw(st.sampled_from(["", " ", "\u00a0", "'", {".": ",", ",": "."}[mark]])),
        "date": draw(
            st.sampled_from(
                [
                    "%Y-%m-%d",
                    "%d.%m.%Y",
                    "%d/%m/%Y",
                    "%m/%d/%Y",
                    "%d/%m/%y",
                    "%m/%d/%y",
                    "%y-%m-%d",
                    "%Y/%m/%d",
                    "%d %B %Y",
                    "%b %d, %Y",
                ]
            )
        ),
        "money": draw(st.sampled_from(["{}", "€{}", "{} €", "EUR {}", "{}EUR"])),
        "encoding": draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])),
        "separator": draw(st.sampled_from(";,\t|")),
        "case": draw(st.sampled_from([str.lower, str.upper, str.title, lambda name: name.replace("_", " ")])),
        "order": draw(st.permutations(range(6))),
        "locale": draw(st.sampled_from([None, {".": "en_IE", ",": "de_DE"}[mark]])),
        "ends": draw(st.sampled_from(["\n", "\r\n"])),
    }


def written(rows, dialect, typed=False):
    """The table as cells of a dialect; dates and figures of their own kind if `typed`."""

    def number(figure, form="{}"):
        if figure is None or typed:
            return figure if typed else ""
        text = f"{figure:,.3f}".rstrip("0").rstrip(".") if figure % 1 else f"{figure:,.0f}"
        return form.format(text.translate({ord(","): dialect["thousands"], ord("."): dialect["mark"]}))

    names = ["date", "item", "kind", "quantity", "paid", "resale"]
    lines = [[dialect["case"](name) for name in names]]
    for day, item, quantity, cost, resale in rows:
        date = day if typed else day.strftime(dialect["date"])
        lines.append([date, item, "material", number(quantity), number(cost, dialect["money"]), number(resale, dialect["money"])])
    return [[line[at] for at in dialect["order"]] for line in lines]


def check_back(folder, rows, dialect):
    """What is read is what was written, or a question is asked, never anything else."""
    records, _, faults = read_records(folder, None, RecordsTable(), "EUR", dialect["locale"])
    if faults:
        assert all(isinstance(fault, Question) for fault in faults), [str(fault) for fault in faults]
        event("a question")
        return
    event("the same table")
    frame = records["purchases"]
    assert [day.date() for day in frame.date] == [row[0] for row in rows]
    assert frame.item.tolist() == [row[1] for row in rows]
    for at, name in ((2, "quantity"), (3, "paid"), (4, "resale")):
        assert [value(cell) for cell in frame[name]] == [row[at] for row in rows]


@settings(max_examples=120, deadline=None)
@given(purchases(), dialects())
def test_any_text_dialect_comes_back_or_asks(rows, dialect):
    """Encoding, separator, decimal mark, thousands, dates, currency and header vary; no number is ever wrong."""
    with TemporaryDirectory() as name:
        out = io.StringIO()
        csv.writer(out, delimiter=dialect["separator"], lineterminator=dialect["ends"]).writerows(written(rows, dialect))
        (Path(name) / "purchases.csv").write_bytes(out.getvalue().encode(dialect["encoding"]))
        check_back(Path(name), rows, dialect)


@settings(max_examples=15, deadline=None)
@given(purchases(), dialects(), st.booleans(), st.sampled_from(["xlsx", "ods"]))
def test_any_workbook_comes_back_or_asks(rows, dialect, typed, kind):
    """The same in workbooks, with cells of text or of their own kinds."""
    with TemporaryDirectory() as name:
        workbook(Path(name) / f"purchases.{kind}", written(rows, dialect, typed))
        check_back(Path(name), rows, dialect)


@settings(max_examples=30, deadline=None)
@given(purchases(), st.data())
def test_overlapping_exports_add_nothing(rows, data):
    """Two exports of overlapping stretches give each row once."""
    first, second = sorted(data.draw(st.tuples(st.integers(0, len(rows)), st.integers(0, len(rows)))))
    lines = [f"{day},{item!r},material,{quantity},{paid}" for day, item, quantity, paid, _ in ((*row[:4], None) for row in rows)]
    lines = [line.replace("\t", " ").replace('"', "").replace(", red", "") for line in lines]
    with TemporaryDirectory() as name:
        for file, part in (("a", lines[:second] or lines), ("b", lines[first:] or lines)):
            text = "\n".join(["date,item,kind,quantity,paid", *part]) + "\n"
            (Path(name) / f"purchases-{file}.csv").write_text(text, encoding="utf-8")
        records, reading, faults = read_records(Path(name), None, RecordsTable(decimal="point"))

    assert faults == []
    assert len(records["purchases"]) == len(rows)
    assert sum(file.used for file in reading.files) == len(rows)


@settings(max_examples=80, deadline=None)
@given(st.binary(max_size=300) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_any_bytes_give_faults_and_no_error(data):
    """Whatever stands in a file, the answer is a table or faults."""
    with TemporaryDirectory() as name:
        for file in ("sales.csv", "timesheet.xlsx"):
            (Path(name) / file).write_bytes(data)
        records, _, faults = read_records(Path(name), None)

    assert faults and not records
    assert [str(fault) for fault in faults if "; right would be " not in str(fault)] == []


@pytest.mark.parametrize("name", TWINS)
def test_messy_twin_tells_the_evidence_the_same(name):
    """The same workshop in another form gives the same measured numbers, to the last digit, in the same words."""
    clean, messy = update(read_study(DATA / name)), update(read_study(DATA / "messy-twins" / name))

    assert clean.keys() == messy.keys() and clean
    points = np.linspace(0.01, 0.99, 9)
    for key, evidence in clean.items():
        twin = messy[key]
        assert (evidence.observed, evidence.data, evidence.posterior.middle) == (twin.observed, twin.data, twin.posterior.middle)
        assert evidence.posterior.quantile(points).tolist() == twin.posterior.quantile(points).tolist()


def test_twins_are_what_their_script_writes(tmp_path, monkeypatch):
    """The committed twins come from the committed script; workbooks are compared by their cells elsewhere."""
    twins = load(DATA / "make_messy_twins.py")
    monkeypatch.setattr(twins, "TWINS", tmp_path)
    twins.main()
    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    kept = {
        path.relative_to(DATA / "messy-twins"): path.read_bytes() for path in (DATA / "messy-twins").rglob("*") if path.is_file()
    }

    assert made.keys() == kept.keys()
    assert [path for path in made if path.suffix != ".xlsx" and made[path] != kept[path]] == []


@pytest.mark.parametrize(
    ("dates", "read"),
    [
        (["13-01-01", "14-01-01"], None),  # 13 and 14 January 2001, or New Year's Day of 2013 and 2014
        (["03-01-26", "28-01-26"], ["2026-01-03", "2026-01-28"]),  # no log spans from 2003 to 2028
        (["3-01-26", "14-01-26"], ["2026-01-03", "2026-01-14"]),  # no year has one figure
        (["26-01-03", "26-01-28"], ["2026-01-03", "2026-01-28"]),
    ],
)
def test_years_of_two_figures(tmp_path, dates, read):
    """Which end is the year is asked unless one way of reading is none."""
    (tmp_path / "purchases.csv").write_text(
        "date,item,kind,quantity,unit,paid\n" + "".join(f"{day},wax,material,1,kg,5\n" for day in dates), encoding="utf-8"
    )
    records, _, faults = read_records(tmp_path, None, RecordsTable(), "EUR", "en_IE")
    if read is None:
        assert [isinstance(fault, Question) for fault in faults] == [True]
        assert 'dates = "year first"' in faults[0].right and 'dates = "day first"' in faults[0].right
    else:
        assert not faults and [f"{day:%Y-%m-%d}" for day in records["purchases"].date] == read


@pytest.mark.parametrize(
    ("dates", "said", "told"),
    [
        (["30.11", "2.12.", "5 Jan", "3.1.2027"], ["2026-11-30", "2026-12-02", "2027-01-05", "2027-01-03"], ""),
        (["29.2.", "1.3."], [], "cannot be used"),  # neither 2026 nor 2027 has that day
        (["3/4"], [], "which comes first"),
    ],
)
def test_a_day_without_its_year_is_the_first_from_a_stated_day_on(dates, said, told, tmp_path):
    """Phone notes name no year: with `first_day` the winter goes on into the next one; without it the line that is missing is named."""
    (tmp_path / "timesheet.csv").write_text(
        "date,step,minutes\n" + "".join(f"{day},sand,30\n" for day in dates), encoding="utf-8"
    )
    records, _, faults = read_records(tmp_path, None, settings_of("first_day = 2026-11-15"))
    assert [f"{day:%Y-%m-%d}" for day in records["timesheet"].date] == said if said else told in str(faults[0])
    _, _, unsaid = read_records(tmp_path, None, RecordsTable())
    assert all("first_day = " in fault.right for fault in unsaid if "has no year" in fault.wrong) and unsaid
    assert any("has no year" in fault.wrong for fault in unsaid) == (dates != ["3/4"])


ONE = Names(products={"tile": frozenset({"sand"})}, channels=frozenset(), places=frozenset(), tasks=frozenset())


def test_a_study_of_one_product_needs_no_column_of_it(tmp_path):
    """Whoever casts one thing names it in no row; with two products the column is missing, and with one that is named that stands."""
    (tmp_path / "batches.csv").write_text("batch,date,casts,good\nB1,2026-01-05,8,6\n", encoding="utf-8")
    records, reading, faults = read_records(tmp_path, ONE)
    assert not faults and list(records["batches"]["product"]) == ["tile"] and "the only one of the study" in preview(reading)
    [fault] = read_records(tmp_path, replace(ONE, products=ONE.products | {"hook": frozenset()}))[2]
    assert (fault.column, fault.wrong) == ("product", "column is missing")


def test_a_colour_that_one_order_has_names_that_order(tmp_path):
    """With one order a maker writes only the colour; one that two orders have, or none, is left as it is written."""
    (tmp_path / "batches.csv").write_text(
        "batch,date,casts,good,order\nB1,2026-01-05,8,6,Sage green\nB2,2026-01-06,8,6,blue\nB3,2026-01-07,8,6,red\nB4,2026-01-08,8,6,bar\n",
        encoding="utf-8",
    )
    names = replace(ONE, orders={"bar": frozenset({"sage green", "blue"}), "inn": frozenset({"blue"})})
    records, _, faults = read_records(tmp_path, names)
    assert not faults and list(records["batches"].order) == ["bar / sage green", "blue", "red", "bar"]


def test_spaces_stand_for_the_hyphens_of_a_name(tmp_path):
    """A step as a person writes it, with spaces and a capital, is the study's own; nothing need be set for it."""
    names = Names(
        products={"coaster": frozenset({"grind-and-seal"})},
        channels=frozenset({"web-shop"}),
        places=frozenset(),
        tasks=frozenset({"shop-upkeep"}),
    )
    (tmp_path / "timesheet.csv").write_text(
        "date,step,minutes\n2026-02-03,Grind and seal,35\n2026-02-04,shop upkeep,20\n2026-02-05,web shop,10\n", encoding="utf-8"
    )
    records, _, faults = read_records(tmp_path, names)
    assert not faults and list(records["timesheet"].step) == ["grind-and-seal", "shop-upkeep", "web-shop"]


SPAN = "date,step,minutes,until,days\n2025-03-03,sand,38 h,2025-03-07,\n2025-03-10,sand,30 h,,2\n"


def test_a_row_of_several_days_is_read_and_its_minutes_are_those_of_its_days(tmp_path):
    """38 h from Monday until Friday and 30 h in two days are rows; 38 h of one day are told once with the remedy."""
    (tmp_path / "timesheet.csv").write_text(SPAN, encoding="utf-8")
    records, _, faults = read_records(tmp_path, None)
    assert faults == [] and records["timesheet"].minutes.tolist() == [2280, 1800]

    rows = "".join(f"2025-03-{day:02d},sand,{day + 30} h\n" for day in range(1, 15))
    (tmp_path / "timesheet.csv").write_text(f"date,step,minutes\n{rows}", encoding="utf-8")
    [fault] = read_records(tmp_path, None)[2]
    assert (fault.row, fault.column) == (2, "minutes") and "`until` or `days`" in fault.right
    assert "the same in rows 3, 4, 5, 6, 7, 8, 9, 10 and 5 more" in fault.found


@pytest.mark.parametrize(
    ("row", "column", "wrong"),
    [
        ("2025-03-07,sand,60,2025-03-03,", "until", "dates out of order"),
        ("2025-03-03,sand,60,2025-03-04,3", "days", "more days than there are"),
        ("2025-03-03,sand,60,,0", "days", "cannot be used"),
        ("2025-03-03,sand,60,,1.5", "days", "cannot be used"),
        ("2025-03-03,sand,40 h,2025-03-07,1", "minutes", "cannot be used"),  # one day of those five
    ],
)
def test_a_span_that_cannot_be_is_told(tmp_path, row, column, wrong):
    """Days that end before they begin, are more than there are or are none, and more hours than their days have."""
    (tmp_path / "timesheet.csv").write_text(f"date,step,minutes,until,days\n{row}\n", encoding="utf-8")
    [fault] = read_records(tmp_path, None)[2]
    assert (fault.column, fault.wrong) == (column, wrong)


def test_a_total_that_was_set_aside_is_kept_beside_the_sum_of_its_parts(tmp_path):
    """5, 10, 20, 40, 40 and 45 h under a total of 155 h add up to 160 (common practice, no source)."""
    rows = "".join(
        f"2025-03-{3 + n:02d},{step},{hours} h,{n + 3}\n"
        for n, (step, hours) in enumerate(zip("abcdef", (5, 10, 20, 40, 40, 45)))
    )
    (tmp_path / "timesheet.csv").write_text(f"date,step,minutes,days\n{rows}Total,,155 h,\n", encoding="utf-8")
    records, reading, faults = read_records(tmp_path, None)
    [file] = reading.files
    assert faults == [] and records["timesheet"].minutes.sum() == 160 * 60
    assert file.totals == [(8, "minutes", 155 * 60.0)] and "9300 minutes" in file.unequal[0] and "9600" in file.unequal[0]


def test_a_row_is_told_with_its_own_sheet_beside_an_empty_file_of_the_same_log(tmp_path):
    """A header alone in timesheet.csv beside a sheet with rows: the sheet is named, and the timesheet is not said to lack rows."""
    (tmp_path / "timesheet.csv").write_text("date,step,minutes\n# 2026-01-15,sand,45\n", encoding="utf-8")
    book = Workbook()
    book.active.title = "timesheet"
    for row in (["date", "step", "minutes"], [dt.date(2026, 5, 4), "sand", 40], [dt.date(2026, 5, 5), "sawing", 20]):
        book.active.append(row)
    book.save(tmp_path / "my notes.xlsx")
    names = Names(products={"coaster": frozenset({"sand"})}, channels=frozenset(), places=frozenset(), tasks=frozenset())
    _, reading, [fault] = read_records(tmp_path, names)
    assert (fault.file, fault.row, fault.wrong) == ("records/my notes.xlsx/timesheet", 3, "unknown step")
    assert "No rows yet" not in preview(reading)
    (tmp_path / "my notes.xlsx").unlink()
    _, reading, _ = read_records(tmp_path, names)
    assert reading.places("timesheet") == ["records/timesheet.csv"] and "No rows yet in: timesheet" in preview(reading)


def test_rows_of_one_fault_are_told_in_their_order(tmp_path):
    """An unknown step of two products by turns is one fault with its rows in order."""
    (tmp_path / "timesheet.csv").write_text(
        "date,step,minutes,product\n" + "".join(f"2026-05-0{n},sawing,20,{'ab'[n % 2]}\n" for n in range(1, 5)), encoding="utf-8"
    )
    steps = frozenset({"sand"})
    names = Names(products={"a": steps, "b": steps}, channels=frozenset(), places=frozenset(), tasks=frozenset())
    [fault] = read_records(tmp_path, names)[2]
    assert fault.row == 2 and fault.found.endswith("the same in rows 3, 4, 5")


def test_a_named_column_that_no_file_has_is_told(tmp_path):
    """Of three names under [records.columns.prices_seen] two stand in the headers of two files, one of them with its unit; the third in none."""
    (tmp_path / "prices_seen-1.csv").write_text(
        "Tag,place,description,pieces,price,Wetter\n2025-01-12,shop,hook,1,9,fair\n", "utf-8"
    )
    (tmp_path / "prices_seen-2.csv").write_text("date,place,description,pieces,Betrag (EUR)\n2025-01-13,fair,hook,1,9\n", "utf-8")
    lines = '[records.columns.prices_seen]\nTag = "date"\nBetrag = "price"\nWetter = "ignore"\nWeter = "ignore"'
    _, reading, faults = read_records(tmp_path, None, settings_of(lines))
    told = [said for file in reading.files for said in file.decisions if said.startswith("under [records.columns")]
    assert not faults and told == ["under [records.columns.prices_seen], but in no file of it: 'Weter'"]
