"""Whatever is wrong with a log is told by its name, row and column, and harmless oddities are no fault."""

import re

import numpy as np
import pytest
from broken import HOOK, STUDIES, append, edit, faults_of, first_rows, put

from casting_econ.assumptions import assume
from casting_econ.faults import StudyError
from casting_econ.kit import OpenStudy, open_study
from casting_econ.ledger.logs import LOGS
from casting_econ.study import read_study


def split(faults):
    """The first fault and the others."""
    first, *others = faults
    return first, others


# log, id, old text, new text (in the same row), column at fault, what the line must say
LOG_EDITS = [
    (
        "sales",
        "semicolons in the header only",
        "date,order,channel",
        "date;order;channel",
        None,
        "unknown column",
        "one of date, order",
    ),
    ("sales", "unknown column", ",fees,", ",feees,", None, "unknown column", "found 'feees'", "did you mean 'fees'?"),
    ("sales", "column twice", ",fees,", ",price,", "price", "column twice", "each column once"),
    ("sales", "needed column left out", "date,order,channel,", "date,order,kind,", "channel", "column is missing", "some text"),
    ("sales", "too few cells", ",K-0001", "", None, "wrong number of cells", "found 11", "12, as in the header"),
    ("sales", "too many cells", ",K-0001", ",K-0001,x", None, "wrong number of cells", "found 13"),
    ("sales", "quote that never closes", ",K-0001", ',"K-0001', None, "wrong number of cells"),
]
# log, id, column, new content of its first cell, what the line must say
CELLS = [
    ("sales", "needed cell empty", "channel", "", "empty cell", "some text"),
    ("sales", "needed cell of spaces", "channel", "   ", "empty cell"),
    ("sales", "no such date", "date", "2025-02-30", "found '2025-02-30'", "a date such as 2025-04-03"),
    ("sales", "day first", "date", "06/01/2025", "the day or the month?", "found '06/01/2025'", 'dates = "day first"'),
    ("sales", "month 13 both ways", "date", "13/13/2025", "found '13/13/2025'", "a date such as"),
    ("sales", "date of another age", "date", "0025-01-06", "found '0025-01-06'"),
    ("sales", "date after all clocks", "date", "9999-12-31", "found '9999-12-31'"),
    ("sales", "thousands", "price", "1_128.0", "found '1_128.0'"),
    ("sales", "money of another country", "price", "£128", "money of another currency", "found '£128'", "EUR"),
    ("sales", "figures of another script", "price", "١٢٨", "found '١٢٨'"),
    ("sales", "not a number", "price", "nan", "found 'nan'", "zero or more"),
    ("sales", "infinity", "price", "inf", "found 'inf'"),
    ("sales", "negative price", "price", "-128.0", "found '-128.0'", "zero or more"),
    ("sales", "half a piece", "pieces", "8.5", "found '8.5'", "a whole number"),
    (
        "sales",
        "unknown kind",
        "kind",
        "sael",
        "found 'sael'",
        "did you mean 'sale'?",
        '"sael" = one of them',
        "[records.words.kind]",
    ),
    (
        "sales",
        "unknown channel",
        "channel",
        "onlien",
        "found 'onlien'",
        "did you mean 'online'?",
        "[records.words.channel]",
        '[channels."onlien"]',
    ),
    ("sales", "unknown product", "product", "knop", "found 'knop'", "did you mean 'knob'?"),
    ("timesheet", "step by its noun", "step", "doing the sanding", "did you mean 'sand'?"),
    ("timesheet", "negative minutes", "minutes", "-6", "found '-6'", "above zero"),
    ("timesheet", "no minutes", "minutes", "0", "found '0'", "above zero"),
    ("timesheet", "more minutes than a day", "minutes", "1441", "found '1441'", "1440 of a day"),
    ("timesheet", "fractional pieces", "pieces_handled", "14.5", "found '14.5'", "a whole number"),
    ("timesheet", "unknown step", "step", "poor", "a step, channel, weekly or one-off task", "did you mean 'pour'?"),
    ("timesheet", "more passed than handled", "pieces_passed", "99", "more pieces_passed than pieces_handled", "found 99 of 14"),
    ("batches", "more good than casts", "good", "15", "found 15 of 14", "at most 14"),
    ("batches", "batch id twice", "batch", "K002", "the same id twice", "found 'K002'", "each id once"),
    ("batches", "unknown station", "station", "pot", "found 'pot'", "pressure-pot"),
    ("batches", "hotter than any room", "room_c", "170", "found '170'", "between -30 and 60"),
    ("faults", "unknown batch", "batch", "K0001", "found 'K0001'", "did you mean 'K001'?"),
    ("faults", "unknown fate", "fate", "scarp", "found 'scarp'", "did you mean 'scrap'?"),
    ("faults", "step of no product", "step", "books", "unknown step", "found 'books'"),
    ("faults", "fault before pour", "date", "2025-01-05", "batch poured 2025-01-06", "on or after the pour"),
    ("faults", "half a fault", "pieces", "0.5", "found '0.5'", "a whole number"),
    ("moulds", "mould id twice", "mould", "KM2", "the same id twice", "found 'KM2'"),
    ("moulds", "retired before made", "retired", "2024-12-31", "found retired 2024-12-31, made 2025-01-02"),
    ("moulds", "retired without casts", "casts_at_retirement", "", "found KM1", "casts a cavity"),
    (
        "moulds",
        "casts at retirement of a mould in use",
        "retired",
        "",
        "found 26 casts of KM1, and no date",
        "the date, or no casts",
    ),
    ("purchases", "nothing bought", "quantity", "0", "found '0'", "above zero"),
    ("purchases", "unknown kind", "kind", "overheads", "found 'overheads'", "did you mean 'overhead'?"),
    ("prices_seen", "sold or not", "sold", "ja", "found 'ja'", "one of yes, no, unknown"),
]


def keep(folder, log):
    """Leave only this log and the batches, which are quicker to read."""
    for path in (folder / "records").glob("*.csv"):
        if path.stem not in (log, "batches"):
            path.unlink()


def told_once(fault, more, row, column, known):
    """The fault in this row and column; it is the only one unless its kind is known to leave a second behind."""
    if not known:
        assert more == []
        return fault
    return next(one for one in (fault, *more) if one.row == row and one.column == (column or ""))


@pytest.mark.parametrize("case", LOG_EDITS, ids=lambda case: f"{case[0]}: {case[1]}")
def test_wrong_row_is_told(case, with_logs):
    """A header or row that cannot be used is told by its log and its row in the file."""
    log, kind, old, new, column, *texts = case
    keep(with_logs, log)
    row = edit(with_logs, f"records/{log}.csv", old, new)

    fault = told_once(*split(faults_of(with_logs)), row, column, kind in KNOCK_ON)

    assert (fault.file, fault.row, fault.column) == (f"records/{log}.csv", row, column or "")
    assert [text for text in texts if text not in str(fault)] == []


@pytest.mark.parametrize("case", CELLS, ids=lambda case: f"{case[0]}: {case[1]}")
def test_wrong_cell_is_told(case, with_logs):
    """A cell that cannot be used is told by its log, its row in the file and its column."""
    log, kind, column, new, *texts = case
    keep(with_logs, log)
    row = put(with_logs, log, column, new)

    fault = told_once(*split(faults_of(with_logs)), row, column, kind in KNOCK_ON)

    assert (fault.file, fault.row, fault.column) == (f"records/{log}.csv", row, column)
    assert [text for text in texts if text not in str(fault)] == []


# edits that leave a second fault behind: the column that is missing now, the other row of an id, the rows after a quote
KNOCK_ON = ("semicolons in the header only", "column twice", "needed column left out", "batch id twice", "mould id twice")

# id, what is done to the folder, file at fault, row, column, what the line must say
LOG_ACTS = [
    (
        "unknown log",
        lambda f: (f / "records/sales.csv").rename(f / "records/sale.csv"),
        "sale.csv",
        None,
        "did you mean 'sales'?",
    ),
    ("empty log", lambda f: (f / "records/sales.csv").write_text(""), "sales.csv", None, "empty log", "no header"),
    ("blank lines only", lambda f: (f / "records/sales.csv").write_text("\n , \n"), "sales.csv", None, "empty log", "no header"),
    (
        "header only, without what it needs",
        lambda f: (f / "records/sales.csv").write_text("date,channel,product,pieces\n"),
        "sales.csv",
        1,
        "price",
    ),
    (
        "folder of the name",
        lambda f: ((f / "records/sales.csv").unlink(), (f / "records/sales.csv").mkdir()),
        "sales.csv",
        None,
        "read",
    ),
    ("cell without end", lambda f: edit(f, "records/sales.csv", "K-0001", "x" * 200_000), "sales.csv", None, "is not a table"),
    (
        "no text at all",
        lambda f: (f / "records/sales.csv").write_bytes(bytes(range(256)) * 9),
        "sales.csv",
        None,
        "is not a table",
        "found no text",
    ),
    (
        "damaged workbook under the name of a text file",
        lambda f: (f / "records/sales.csv").write_bytes(b"PK\x03\x04" + bytes(90)),
        "sales.csv",
        None,
        "cannot be opened as a workbook",
        "saved anew",
    ),
    (
        "neither batch nor product",
        lambda f: (append(f, HOOK), edit(f, "records/faults.csv", ",K001,knob,", ",,,")),
        "faults.csv",
        2,
        "neither batch nor product",
    ),
    (
        "product of another batch",
        lambda f: (
            append(f, HOOK.replace("steps.cast", "steps.demould")),
            edit(f, "records/faults.csv", ",K001,knob,", ",K001,hook,"),
        ),
        "faults.csv",
        2,
        "not the product of its batch",
        "'knob', as in batches.csv",
    ),
    (
        "step of another product",
        lambda f: (append(f, HOOK), edit(f, "records/timesheet.csv", ",pour,6,knob", ",cast,6,knob")),
        "timesheet.csv",
        3,
        "unknown step",
        "found 'cast'",
    ),
    (
        "more faults than losses",
        lambda f: (f / "records/faults.csv").write_text(
            "date,batch,step,cause,pieces,fate\n2025-02-01,K001,demould,voids,1,scrap\n2025-02-01,K001,demould,air,14,second\n"
        ),
        "faults.csv",
        3,
        "more faults than losses in batch K001",
        "found 15 scrapped or seconds",
    ),
    (
        "more faults of no batch than losses",
        lambda f: (f / "records/faults.csv").write_text(
            "date,product,step,cause,pieces,fate\n2025-02-01,knob,demould,voids,10000,scrap\n"
        ),
        "faults.csv",
        2,
        "more faults than losses of knob",
    ),
]


@pytest.mark.parametrize("case", LOG_ACTS, ids=lambda case: case[0])
def test_wrong_log_is_told(case, with_logs):
    """What is wrong with a log as a whole, or between logs, is told by its name and row."""
    _, act, file, row, *texts = case
    act(with_logs)

    [fault] = faults_of(with_logs)

    assert (fault.file, fault.row) == (f"records/{file}", row)
    assert [text for text in texts if text not in str(fault)] == []


@pytest.mark.parametrize(
    "act",
    [
        lambda path: path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n")),
        lambda path: path.write_bytes(path.read_bytes().replace(b"\n", b"\r")),
        lambda path: path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes()),
        lambda path: path.write_bytes(path.read_bytes().replace(b",", b" , ")),
        lambda path: path.write_bytes(path.read_text(encoding="utf-8").encode("utf-16")),
        lambda path: path.rename(path.with_suffix(".CSV")),
        lambda path: path.write_bytes(path.read_bytes().replace(b",", b";").replace(b".", b",")),
        lambda path: path.write_bytes(path.read_bytes().replace(b",128.0,", b",\xe2\x82\xac128,")),
        lambda path: path.write_bytes(path.read_bytes().replace(b"\n", b"\n\n,,,,,,,,,,,\n")),
    ],
    ids=[
        "carriage return and line feed",
        "carriage return",
        "byte order mark",
        "spaces",
        "UTF-16",
        "capital letters",
        "semicolons and decimal commas",
        "currency sign",
        "blank rows",
    ],
)
def test_harmless_oddities_are_no_fault(act, with_logs):
    """Line ends, a byte order mark, spaces and blank rows of spreadsheet programs change nothing."""
    expected = read_study(with_logs).records["sales"]
    act(with_logs / "records" / "sales.csv")

    found = read_study(with_logs).records["sales"]

    assert found.reset_index(drop=True).equals(expected.reset_index(drop=True))


@pytest.mark.parametrize(
    ("log", "column"), [(log, column) for log, columns in LOGS.items() for column, (_, needed) in columns.items() if not needed]
)
def test_column_that_is_not_needed_may_be_left_out(log, column, with_logs):
    """A study with a column left out reads the same as with that column blank."""
    path = with_logs / "records" / f"{log}.csv"
    for other in path.parent.glob("*.csv"):
        if other.stem not in (log, "batches"):  # what others say of it is checked between logs, by batch alone
            other.unlink()
    rows = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()]
    if column not in rows[0]:  # no demo has it
        rows = [[*row, "" if n else column] for n, row in enumerate(rows)]
    at = rows[0].index(column)
    pair = {"casts_at_retirement": "retired", "retired": "casts_at_retirement"} if log == "moulds" else {}  # both or neither
    others = [at, *([rows[0].index(pair[column])] if column in pair else [])]
    read = []
    for blank in (True, False):
        kept = [
            [("" if i in others and n and (blank or i != at) else cell) for i, cell in enumerate(row) if blank or i != at]
            for n, row in enumerate(rows)
        ]
        path.write_text("\n".join(map(",".join, kept)) + "\n", encoding="utf-8", newline="")
        read.append(read_study(with_logs))

    assert read[0].numbers == read[1].numbers and read[0].records.keys() == read[1].records.keys()
    assert [name for name, frame in read[0].records.items() if not frame.equals(read[1].records[name])] == []
    kit = OpenStudy(study=read[1], assumed=assume(read[1]))
    assert np.isfinite(kit.point().totals["pay_per_hour"])


def test_logs_of_loads_longer_than_any_window_are_told(tmp_path):
    """Load minutes that the timesheet shows to fit no working window are a fault, as they are in the study file."""
    path = first_rows(STUDIES[0], tmp_path / "study", rows=200) / "records" / "timesheet.csv"
    path.write_text(re.sub(r",pot,\d+,", ",pot,700,", path.read_text(encoding="utf-8")), encoding="utf-8")

    with pytest.raises(StudyError):
        open_study(tmp_path / "study").point()


@pytest.mark.parametrize("header", ["price in $", "Paid USD", "£"])
def test_header_in_another_currency_is_told_wherever_it_says_so(header, tmp_path):
    """Taken as the price by [records.columns], it is still no price in EUR, until the study file says that it is."""
    folder = first_rows(STUDIES[0], tmp_path / "study")
    edit(folder, "records/sales.csv", ",price,", f",{header},")
    append(folder, f'\n[records.columns.sales]\n"{header}" = "price"\n')
    (fault,) = faults_of(folder)
    assert (fault.file, fault.column, fault.found) == ("records/sales.csv", "price", repr(header))
    assert fault.wrong == "is in another currency or unit" and 'unit = "EUR" beside its column' in fault.right

    edit(folder, "study.toml", f'"{header}" = "price"', f'"{header}" = {{ column = "price", unit = "EUR" }}')
    assert len(open_study(folder).study.records["sales"]) == 10


def test_word_for_an_item_that_is_nearly_one_of_the_study_is_told(tmp_path):
    """Her epoxy as 'resn' would let no purchase of it count; as 'stamps', which the study does not have, it joins what has two names."""
    folder = first_rows(STUDIES[0], tmp_path / "study")
    append(folder, '\n[records.words.item]\n"Epoxy A+B" = "resn"\nstickers = "stamps"\n')
    (fault,) = faults_of(folder)

    assert (fault.file, fault.column, fault.found) == ("study.toml", "records.words.item.Epoxy A+B", "'resn'")
    assert fault.wrong == "unknown item" and "did you mean 'resin'?" in fault.right
