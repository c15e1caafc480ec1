"""Year-end sheets against sums of the logs made without the kit, boundaries of tax years, and cells that pose as formulas."""

import csv
import datetime as dt
import io
import shutil
from collections import defaultdict
from decimal import Decimal
from itertools import pairwise

import openpyxl
import pytest
from click.testing import CliRunner
from commands import DATA

from casting_econ.accounts.sheets import Sheet, as_csv, as_xlsx, looks_like_formula
from casting_econ.accounts.tax_years import Period, periods_of, tax_year_start
from casting_econ.accounts.year_end import run_year_end, year_end_sheets
from casting_econ.cli import main
from casting_econ.faults import StudyError
from casting_econ.kit import open_study
from casting_econ.models.money import straight_line
from casting_econ.reference import kit_folder
from casting_econ.study import read_study

TODAY = dt.date(2026, 2, 1)
CALENDAR = Period(first=dt.date(2025, 1, 1), last=dt.date(2025, 12, 31))
# log column -> column of the sheet
MONEY = {
    "price": "sales",
    "postage_charged": "postage charged",
    "fees": "fees",
    "postage_paid": "postage paid",
    "packaging": "packaging",
    "refund": "refunds",
}


def log_of(study, log):
    """A log by the csv module alone."""
    with (DATA / study / "records" / f"{log}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def table(folder, label, name):
    """Rows of a text file that was written, by header."""
    text = (folder / label / f"{name}.csv").read_bytes().decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def sheets_of(folder, period=CALENDAR):
    return {sheet.name: sheet for sheet in year_end_sheets(open_study(folder), period)}


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The three demos, each written once; gannet-lane-figures has two tax years, from 6 April on."""
    out = tmp_path_factory.mktemp("years")
    for name in ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather"):
        run_year_end(DATA / name, today=TODAY, out=out / name, say=lambda line: None)
    return out


@pytest.fixture
def bare(tmp_path):
    """A demo's study file alone, logs to be added."""
    (tmp_path / "records").mkdir()
    shutil.copyfile(DATA / "kelpmoor-handles" / "study.toml", tmp_path / "study.toml")
    return tmp_path


def put(folder, log, text):
    (folder / "records" / f"{log}.csv").write_text(text, encoding="utf-8", newline="")


# ------------------------------------------------------------------ totals

YEARS = [
    ("kelpmoor-handles", "2025", "2025-01-01", "2025-12-31"),
    ("ninepenny-lather", "2025", "2025-01-01", "2025-12-31"),
    ("gannet-lane-figures", "2024-25", "2024-04-06", "2025-04-05"),
    ("gannet-lane-figures", "2025-26", "2025-04-06", "2026-04-05"),
]


@pytest.mark.parametrize(("study", "label", "first", "last"), YEARS)
def test_sales_equal_the_log_to_the_cent(study, label, first, last, written):
    """By channel and kind, and in all, against sums by the csv module."""
    sums, counts = defaultdict(Decimal), defaultdict(int)
    for row in log_of(study, "sales"):
        if first <= row["date"] <= last:
            for key in ((row["channel"], row["kind"]), ("total", "")):
                counts[key] += 1
                for column, shown in MONEY.items():
                    sums[*key, shown] += Decimal(row[column] or "0")
    found = table(written / study, label, "sales")

    assert len(counts) > 3 and {(row["channel"], row["kind"]) for row in found} == set(counts)
    for row in found:
        key = row["channel"], row["kind"]
        assert int(row["orders"]) == counts[key]
        assert {shown: Decimal(row[shown]) for shown in MONEY.values()} == {shown: sums[*key, shown] for shown in MONEY.values()}
        left = sums[*key, "sales"] + sums[*key, "postage charged"] - sum(sums[*key, shown] for shown in list(MONEY.values())[2:])
        assert Decimal(row["left after these"]) == left


@pytest.mark.parametrize(("study", "label", "first", "last"), YEARS)
def test_expenses_and_hours_equal_the_logs(study, label, first, last, written):
    paid, minutes = defaultdict(Decimal), defaultdict(Decimal)
    for row in log_of(study, "purchases"):
        if first <= row["date"] <= last:
            for key in ((row["kind"], row["item"]), (f"total {row['kind']}", ""), ("total", "")):
                paid[key] += Decimal(row["paid"])
    for row in log_of(study, "timesheet"):
        if first <= row["date"] <= last:
            for key in (row["step"], "total"):
                minutes[key] += Decimal(row["minutes"])
    found = {(row["kind"], row["item"]): Decimal(row["paid"]) for row in table(written / study, label, "expenses")}
    hours = table(written / study, label, "hours")

    assert {key: amount for key, amount in found.items() if amount} == {key: amount for key, amount in paid.items() if amount}
    by_step = {row["step"] or row["kind"]: Decimal(row["minutes"]) for row in hours}
    assert {step: by_step[step] for step in minutes} == minutes
    parts = sum(Decimal(row["minutes"]) for row in hours if row["kind"].startswith("total "))
    assert parts == minutes["total"]
    assert all(abs(Decimal(row["hours"]) - Decimal(row["minutes"]) / 60) <= Decimal("0.005") for row in hours)


def test_summary_and_caution(written):
    rows = {row["what"]: row for row in table(written / "kelpmoor-handles", "2025", "summary")}
    how = (written / "kelpmoor-handles" / "2025" / "how.csv").read_text(encoding="utf-8-sig")

    assert rows["refunds"]["amount"] == "460.30" and rows["refunds"]["unit"] == "EUR"
    assert any(what.startswith("Invented") for what in rows) and any("no tax advice" in what for what in rows)
    assert "qualified adviser" in how and "IAS 2" in how and "revenue.ie" in how


def test_messy_twin_of_a_demo_gives_the_same_totals(written):
    """The twin has other separators, decimal marks, dates and units than the log that the tests above sum by the csv module."""
    twin = sheets_of(DATA / "messy-twins" / "kelpmoor-handles")["sales"]
    clean = table(written / "kelpmoor-handles", "2025", "sales")[-1]

    assert [f"{cell}" for cell in twin.rows[-1]] == list(clean.values())


# ------------------------------------------------------------------ workbook and text


def test_workbook_equals_the_text_files(written):
    for book_path in sorted(written.glob("*/*.xlsx")):
        book = openpyxl.load_workbook(book_path)
        folder = book_path.with_suffix("")
        assert {f"{name}.csv" for name in book.sheetnames} == {path.name for path in folder.iterdir()}
        for page in book:
            rows = list(csv.reader(io.StringIO((folder / f"{page.title}.csv").read_bytes().decode("utf-8-sig"))))
            assert page.max_row == len(rows)
            for cells, texts in zip(page.iter_rows(), rows):
                for cell, text in zip(cells, texts):
                    if cell.value is None:
                        assert text == ""
                    elif isinstance(cell.value, dt.datetime):
                        assert f"{cell.value:%Y-%m-%d}" == text
                    elif isinstance(cell.value, str):
                        assert cell.data_type == "s" and text.removeprefix("'") == cell.value
                    else:
                        assert cell.data_type == "n" and Decimal(str(cell.value)) == Decimal(text)
        assert not any(cell.data_type == "f" for page in book for row in page.iter_rows() for cell in row)
        assert book.properties.creator == "casting_econ" and book.properties.lastModifiedBy is None


def test_the_same_study_gives_the_same_bytes(written, tmp_path):
    run_year_end(DATA / "kelpmoor-handles", today=dt.date(2031, 1, 1), out=tmp_path / "again", say=lambda line: None)
    first = {path.relative_to(written / "kelpmoor-handles"): path for path in (written / "kelpmoor-handles").rglob("*.*")}
    again = {path.relative_to(tmp_path / "again"): path for path in (tmp_path / "again").rglob("*.*")}

    assert first.keys() == again.keys() and len(first) > 8
    assert [name for name in first if first[name].read_bytes() != again[name].read_bytes()] == []


HOSTILE = [
    '=HYPERLINK("http://example.invalid","x")',
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1+1",
    "\r=1+1",
    "\n=1",
    "'=1+1",
    '"=1+1',
    "\uff1d1+1",
    "\uff0b1",
    "\uff0d1",
    "\uff20x",
    "\ufeff=1",
    "\u200b=1",
    " =1",
    "\u201c=1",
    "#=1",
    "_=1",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_cells_that_begin_like_a_formula_are_text_in_both(text):
    sheet = Sheet(name="x", header=["a", "b"], rows=[(text, Decimal("-1.50"))])
    written = list(csv.reader(io.StringIO(as_csv(sheet).decode("utf-8-sig"))))
    cell, number = next(openpyxl.load_workbook(io.BytesIO(as_xlsx([sheet], dt.date(2025, 12, 31))))["x"].iter_rows(min_row=2))

    assert looks_like_formula(text)
    assert written[1][0].startswith("'") and "\t" not in written[1][0] and "\r" not in written[1][0]
    assert written[1][1] == "-1.50"  # a negative number stays a number
    assert cell.data_type == "s" and cell.quotePrefix and f"'{cell.value}" == written[1][0]
    assert number.data_type == "n" and number.value == -1.5


@pytest.mark.parametrize("text", ["knob", "sea-weed", "7 x 2 = 14", "Ærø", "50 % cotton", "#N/A", "(small)"])
def test_plain_words_stay_as_they_are(text):
    sheet = Sheet(name="x", header=["a"], rows=[(text,)])
    cell = openpyxl.load_workbook(io.BytesIO(as_xlsx([sheet], dt.date(2025, 12, 31))))["x"]["A2"]

    assert next(csv.reader(io.StringIO(as_csv(sheet).decode("utf-8-sig").split("\n", 1)[1]))) == [text]
    assert cell.value == text and cell.data_type == "s"


def test_hostile_item_of_a_log_reaches_no_spreadsheet_as_a_formula(bare, tmp_path):
    put(bare, "purchases", "date,item,kind,quantity,paid\n2025-02-01,\"=cmd|' /C x'!A0\",material,1,2.50\n")
    put(bare, "mileage", "date,purpose,distance_km\n2025-02-01,@home,3\n")
    out = run_year_end(bare, today=TODAY, out=tmp_path / "out", say=lambda line: None)
    item, purpose = table(out, "2025", "expenses")[0]["item"], table(out, "2025", "mileage")[0]["purpose"]
    book = openpyxl.load_workbook(out / "2025.xlsx")

    assert item.startswith("'=") and purpose == "'@home"
    assert book["expenses"]["B2"].data_type == "s" and book["mileage"]["A2"].value == "@home"


# ------------------------------------------------------------------ tax years


def with_start(folder, starts=None, locale="en_IE", currency="EUR"):
    path = folder / "study.toml"
    text = path.read_text(encoding="utf-8").replace('locale = "en_IE"', f'locale = "{locale}"' if locale else "")
    text = text.replace('tax = "ie-2025"\n', "").replace(
        "[time]\n", f'[time]\ntax_year_starts = "{starts}"\n' if starts else "[time]\n"
    )
    path.write_text(text.replace("EUR", currency), encoding="utf-8", newline="")


@pytest.mark.parametrize(
    ("locale", "currency", "starts"),
    [
        ("en_GB", "GBP", "04-06"),  # gov.uk: the tax year is 6 April to 5 April (from memory)
        ("en_AU", "AUD", "07-01"),  # ato.gov.au: 1 July to 30 June (from memory)
        ("en_US", "USD", "01-01"),  # IRS Publication 538 (from memory)
        ("en_IE", "EUR", "01-01"),  # revenue.ie (from memory)
        ("en_NZ", "NZD", "04-01"),  # ird.govt.nz (from memory)
        (None, "GBP", "04-06"),  # by the currency, as no locale is stated
        (None, "EUR", "01-01"),
        ("sv_SE", "SEK", "01-01"),  # not in the table
    ],
)
def test_tax_year_starts_by_country(locale, currency, starts, bare):
    with_start(bare, locale=locale, currency=currency)

    assert tax_year_start(read_study(bare))[0] == starts


def test_every_row_of_the_table_names_its_source():
    rows = list(csv.DictReader(line for line in (kit_folder("data") / "reference" / "tax_years.csv").open() if line[0] != "#"))

    assert {"GB", "IE", "US", "AU"} <= {row["country"] for row in rows}
    assert all(row["source"] and row["status"] in ("from memory", "verified") for row in rows)
    assert all(dt.date.fromisoformat(f"2001-{row['starts']}") for row in rows)


def test_rows_on_either_side_of_the_6th_of_april(bare):
    """The last day of one tax year and the first of the next; what is outside is counted and named by its row."""
    with_start(bare, locale="en_GB")
    put(
        bare,
        "sales",
        "date,channel,product,pieces,price\n2025-04-05,online,knob,1,10.01\n2025-04-06,online,knob,1,20.02\n2026-04-05,online,knob,1,40.04\n2026-04-06,online,knob,1,80.08\n",
    )
    periods = periods_of(read_study(bare), today=TODAY)
    totals = {period.label: sheets_of(bare, period)["sales"].rows[-1][4] for period in periods}

    assert [(p.label, str(p.first), str(p.last)) for p in periods] == [
        ("2024-25", "2024-04-06", "2025-04-05"),
        ("2025-26", "2025-04-06", "2026-04-05"),
        ("2026-27", "2026-04-06", "2027-04-05"),
    ]
    assert totals == {"2024-25": Decimal("10.01"), "2025-26": Decimal("60.06"), "2026-27": Decimal("80.08")}
    how = "\n".join(row[0] for row in sheets_of(bare, periods[1])["how"].rows)
    assert "4 rows in the log, 2 in this period; 2 rows outside it" in how and "records/sales.csv rows 2, 5" in how


@pytest.mark.parametrize(
    ("starts", "year", "last"), [("03-01", 2023, "2024-02-29"), ("03-01", 2024, "2025-02-28"), ("01-01", 2024, "2024-12-31")]
)
def test_leap_years(starts, year, last, bare):
    """A sale of 29 February is in the year that holds the day, and in no other."""
    with_start(bare, starts=starts)
    put(bare, "sales", "date,channel,product,pieces,price\n2024-02-29,online,knob,1,10.00\n")
    [period] = periods_of(read_study(bare), today=TODAY, year=year)

    assert str(period.last) == last
    inside = period.first <= dt.date(2024, 2, 29) <= period.last
    assert sheets_of(bare, period)["sales"].rows[-1][4] == (10 if inside else 0)


@pytest.mark.parametrize("starts", ["02-29", "13-01", "4-6", "06/04", "04-31"])
def test_start_that_is_no_day_of_every_year_is_a_fault(starts, bare):
    with_start(bare, starts=starts)
    with pytest.raises(StudyError, match=r"time\.tax_year_starts: not a day of every year"):
        read_study(bare)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"first": "2025-01-01"}, "--to: not a day"),
        ({"first": "2025-13-01", "last": "x"}, "--from: not a day"),
        ({"first": "0001-01-01", "last": "2025-01-01"}, "--from: not a day of 2000"),
        ({"first": "2025-01-01", "last": "9999-12-31"}, "--to: not a day of 2000"),
        ({"first": "2025-02-29", "last": "2025-03-01"}, "--from: not a day"),
        ({"first": "2025-02-01", "last": "2025-01-01"}, "--to: is before the first day"),
        ({"first": "2025-01-01", "last": "2025-02-01", "year": 2025}, "--year: given beside"),
    ],
)
def test_days_that_cannot_be_are_told(asked, said, bare):
    with pytest.raises(StudyError, match=said):
        periods_of(read_study(bare), today=TODAY, **asked)


# ------------------------------------------------------------------ sales of other kinds


def test_refunds_and_replacements(bare):
    """A refund with a minus is paid back all the same; replacements bring nothing and cost postage; blank is not zero."""
    put(
        bare,
        "sales",
        "date;channel;product;pieces;price;postage_charged;postage_paid;refund;kind\n"
        "01.02.2025;online;knob;6;96,00;5,90;6,30;;sale\n"
        "13.02.2025;online;knob;6;96,00;;6,30;-101,90;\n"
        "20.02.2025;online;knob;6;0;0;7,15;;replacement\n"
        "21.02.2025;joiner;knob;1;0;0;;;gift\n"
        "28.02.2025;online;knob;0;0;;;;nothing\n",  # that nothing was sold is no order
    )
    sheets = sheets_of(bare)
    rows = {row[:2]: row for row in sheets["sales"].rows}
    how = "\n".join(row[0] for row in sheets["how"].rows)

    assert rows["online", "sale"][2:] == tuple(map(Decimal, ("2", "12", "192", "5.90", "0", "12.60", "0", "101.90", "83.40")))
    assert rows["online", "replacement"][-1] == Decimal("-7.15") and rows["joiner", "gift"][-1] == 0
    assert rows["total", ""][-1] == Decimal("76.25") and rows["total", ""][2] == 4
    assert "postage_charged is not known in 1 row" in how and "postage_paid is not known in 1 row" in how


def test_what_the_logs_left_for_an_hour(bare):
    """One knob of 100 less 10 of fees and 20 of resin, and a pot of 360 over three years: of the logs' two months, not the year's twelve,
    20 are charged. 50 over the 2.5 hours logged are 20 an hour (own arithmetic); a year without hours has none, and says what it takes."""
    put(bare, "sales", "date,channel,product,pieces,price,fees\n2025-01-05,online,knob,1,100.00,10.00\n")
    put(
        bare,
        "purchases",
        "date,item,kind,quantity,unit,paid,useful_years,resale\n2025-01-02,resin,material,1,kg,20.00,,\n2025-01-02,pot-compressor-and-tools,equipment,1,,360,3,0\n",
    )
    put(bare, "timesheet", "date,step,minutes\n2025-01-07,polish,90\n2025-02-03,books,60\n")
    rows = {row[0]: row[1] for row in sheets_of(bare)["summary"].rows}
    assert rows["left for every hour, by the logs"] == Decimal("50.00")
    assert rows["left an hour, over the hours in all"] == Decimal("20.00")
    before = sheets_of(bare, Period(first=dt.date(2024, 1, 1), last=dt.date(2024, 12, 31)))
    assert not any("an hour" in row[0] for row in before["summary"].rows)
    assert any("it takes sales, purchases and hours of the period" in row[0] for row in before["how"].rows)


def test_fractions_of_a_cent_are_rounded_once(bare):
    """Three times 0.335 is 1.005, written 1.01; binary figures or rounding by row would give 1.00 or 1.02."""
    rows = "".join(f"2025-02-0{day},box,material,1,0.335\n" for day in (1, 2, 3))
    put(bare, "purchases", "date,item,kind,quantity,paid\n" + rows)

    assert sheets_of(bare)["expenses"].rows[0] == ("material", "box", 3, Decimal("1.01"))


def test_money_without_cents(bare):
    """Yen have no decimals (ISO 4217, minor unit 0)."""
    with_start(bare, locale="ja_JP", currency="JPY")
    put(bare, "purchases", "date,item,kind,quantity,paid\n2025-02-01,box,material,1,1200\n")

    assert str(sheets_of(bare)["expenses"].rows[0][3]) == "1200"


# ------------------------------------------------------------------ equipment


def test_straight_line_of_a_part_of_a_year_published():
    """IRS Publication 946 (from memory): 5,100 over 17 years, in use for 9 months of the first: 225, then 300."""
    assert straight_line(5100, 0, 17, 9 / 12) == 225
    assert straight_line(5100, 0, 17, 21 / 12) - straight_line(5100, 0, 17, 9 / 12) == 300


@pytest.mark.parametrize(("cost", "resale", "charge"), [(58_000, 10_000, 9_600), (10_000, 1_000, 1_800)])
def test_straight_line_of_whole_years_published(cost, resale, charge):
    """OpenStax Principles of Accounting vol. 1, section 11.3: printing press and kiosk, five years each."""
    assert straight_line(cost, resale, 5, 1) == charge
    assert straight_line(cost, resale, 5, 5) == straight_line(cost, resale, 5, 50) == cost - resale


def equipment(folder, period=CALENDAR):
    sheet = sheets_of(folder, period)["equipment"]
    return {row[0]: dict(zip(sheet.header, row)) for row in sheet.rows}


def test_charge_from_the_month_of_purchase_and_back_to_the_resale(bare):
    """The patent of Publication 946 as a purchase in April: 225, then 300 a year; over its life all of the cost, once."""
    put(
        bare,
        "purchases",
        "date,item,kind,quantity,paid,useful_years,resale\n2025-04-20,kiln,equipment,1,5100,17,0\n2025-05-02,lamp,equipment,1,100.00,3,10.00\n",
    )
    years = [Period(first=dt.date(y, 1, 1), last=dt.date(y, 12, 31)) for y in range(2025, 2030)]
    found = [equipment(bare, year) for year in years]

    assert [year["kiln"]["charge"] for year in found[:2]] == [225, 300]
    assert [year["lamp"]["charge"] for year in found] == [20, 30, 30, 10, 0]
    assert [year["lamp"]["months charged"] for year in found] == [8, 12, 12, 4, 0]
    assert found[-1]["lamp"]["left at the end"] == 10


@pytest.mark.parametrize("spelt", ["pot-compressor-and-tools", "Pot compressor and tools", "POT_COMPRESSOR_AND_TOOLS"])
def test_equipment_of_the_study_file_and_the_purchases_is_counted_once(spelt, bare):
    """Bought under the study's name, however it is spelt: charged once, 1200 / 6 x 6/12; what the study does not know has no life."""
    put(
        bare,
        "purchases",
        f"date,item,kind,quantity,paid,useful_years,resale\n2025-07-01,{spelt},equipment,1,1200,,\n2025-08-01,lamp,equipment,1,80,,\n",
    )
    found = sheets_of(bare)["equipment"].rows

    pots = [(row[1], row[7]) for row in found if row[0] == "pot-compressor-and-tools"]
    assert pots == [("records/purchases.csv row 2", Decimal("100.00"))]
    lamp = next(row for row in found if row[0] == "lamp")
    assert lamp[7] is None and "useful years not known" in lamp[9]
    assert found[-1][7] == 100


def test_what_was_never_bought_is_no_charge_of_an_accountant(bare):
    """A range is what the trade guesses, and so is one figure that says so: told below the total, not in it. Nearly the name of a purchase is
    told too, until a day says that it is another thing. 210 / 6 x 8/12 is 23.33, and 90 / 5 for a whole year 18 (own arithmetic)."""
    path = bare / "study.toml"
    before = path.read_text(encoding="utf-8").replace(
        '[equipment.pot-compressor-and-tools]\nprice = "1780 EUR"\nlife = "6 year"\n', ""
    )
    guesses = """
[equipment.scales]
price = { low = "150 EUR", likely = "300 EUR", high = "600 EUR" }
life = "5 year"
[equipment.rack]
price = { value = "80 EUR", basis = "guess", note = "trade default (P)" }
life = "5 year"
[equipment.drill]
price = "90 EUR"
life = "5 year"
[equipment.stall-and-gazebo]
price = "210 EUR"
life = "6 year"
"""
    path.write_text(before + guesses, encoding="utf-8", newline="")
    put(bare, "purchases", "date,item,kind,quantity,paid,useful_years\n2025-05-20,stall table + gazebo,equipment,1,210.00,6\n")
    sheets = sheets_of(bare)
    items = [row[0] for row in sheets["equipment"].rows]
    notes = {row[0]: row[9] for row in sheets["equipment"].rows}

    assert items == ["stall table + gazebo", "drill", "total", "scales", "rack", "stall-and-gazebo"]
    assert sheets["equipment"].rows[2][7] == Decimal("41.33")
    assert notes["scales"] == notes["rack"] == "not in the total: a guess, not what was paid"
    assert "like 'stall table + gazebo' of the purchases: give both one name, or say when" in notes["stall-and-gazebo"]
    assert any("stall-and-gazebo, not in the total: like" in row[0] for row in sheets["summary"].rows)

    path.write_text(before + guesses + "bought = 2025-11-02\n", encoding="utf-8", newline="")
    assert equipment(bare)["stall-and-gazebo"]["charge"] == Decimal("5.83")  # 210 / 6 x 2/12


def test_nothing_but_equipment_where_there_are_no_logs(bare):
    """The study's equipment for all of the year, 1780 / 6, and a line that says so; sheets without a log say no log, not zero."""
    kit = open_study(bare)
    [period] = periods_of(kit.study, today=TODAY)
    sheets = {sheet.name: sheet for sheet in year_end_sheets(kit, period)}
    summary = {row[0]: row for row in sheets["summary"].rows}

    assert period.label == "2026"
    assert sheets["equipment"].rows[-1][7] == Decimal("296.67")
    assert "There are no logs: nothing here but the equipment of study.toml." in summary
    assert [summary[name][1:3] for name in ("sales", "expenses", "hours", "mileage")] == [(None, "no log")] * 4
    assert all(not sheets[name].rows for name in ("sales", "expenses", "hours", "mileage"))


def test_equipment_of_the_study_file_with_its_day(bare):
    path = bare / "study.toml"
    text = path.read_text(encoding="utf-8").replace('life = "6 year"\n', 'life = "6 year"\nbought = 2025-10-15\n', 1)
    path.write_text(text, encoding="utf-8", newline="")

    row = equipment(bare)["pot-compressor-and-tools"]
    assert (row["charge"], row["months charged"], row["left at the end"]) == (
        Decimal("74.17"),
        3,
        Decimal("1705.83"),
    )  # 1780 / 6 / 4
    earlier = Period(first=dt.date(2024, 1, 1), last=dt.date(2024, 12, 31))
    assert "pot-compressor-and-tools" not in equipment(bare, earlier)


def test_parts_of_a_year_add_up_to_the_year(bare):
    put(bare, "purchases", "date,item,kind,quantity,paid,useful_years\n2025-02-10,lamp,equipment,1,100.00,7\n")
    cuts = [dt.date(2025, 1, 1), dt.date(2025, 3, 17), dt.date(2025, 9, 30), dt.date(2026, 1, 1)]
    parts = [
        equipment(bare, Period(first=a, last=b - dt.timedelta(days=1)))["lamp"]["charge"]
        for a, b in pairwise(cuts)
        if b > dt.date(2025, 2, 10)
    ]

    assert sum(parts) == equipment(bare)["lamp"]["charge"] == Decimal("13.10")  # 100 / 7 x 11 / 12


# ------------------------------------------------------------------ stock and mileage


def test_blank_count_sheet_costs_what_was_spent_so_far(bare):
    """By hand from the study file: seaweed 0.12; pour 21.6 g / 0.9 at 0.024, pigment 0.05, abrasives 0.14; mould 660 g at 0.03 over
    35 x 14 casts; of 100 casts 89 are good when demoulded, 96 % of those when sanded and 97 % when checked, and what is good carries what all
    of them took. The insert, 0.42, comes back whole from a reject. What each good piece takes in all the year is the same figure."""
    sheet = sheets_of(bare)["stock"]
    cost = {row[:2]: row[4] for row in sheet.rows}
    mould = 660 * 0.03 / (35 * 14)

    cast = mould + 0.12 + 21.6 / 0.9 * 0.024 + 0.05 + 0.14
    assert float(cost["knob", "press-weed"]) == pytest.approx(mould + 0.12, abs=5e-5)
    assert float(cost["knob", "pot"]) == pytest.approx(cast, abs=5e-5)
    assert float(cost["knob", "demould"]) == pytest.approx(cast / 0.89, abs=5e-5)
    assert float(cost["knob", "polish"]) == pytest.approx(cast / 0.89 / 0.96, abs=5e-5)
    assert float(cost["knob", "finished"]) == pytest.approx(cast / 0.89 / 0.96 / 0.97 + 0.42, abs=5e-5)
    year = open_study(bare).point().products["knob"]
    assert float(cost["knob", "finished"]) == pytest.approx(year["material_per_good_piece"], abs=5e-5)
    assert all(row[2] is None and row[5] is None for row in sheet.rows)
    own = [row[6] for row in sheet.rows if row[0] == "knob"]
    assert own == sorted(own) and own[0] > 0


def test_silicone_of_a_set_is_counted_by_the_set(bare):
    """A price without a unit is of what takes the material once: two sets of moulds at 19.80, and no gram of it can be valued."""
    path = bare / "study.toml"
    text = path.read_text(encoding="utf-8").replace(
        'silicone = { quantity = "660 g", price = "30.00 EUR/kg"', 'silicone = { price = "19.80 EUR"'
    )
    path.write_text(text, encoding="utf-8", newline="")
    assert next(row for row in sheets_of(bare)["stock"].rows if row[0] == "silicone")[3:5] == (
        "set of moulds' worth",
        Decimal("19.8000"),
    )

    put(bare, "stock_count", "date,item,quantity,unit\n2025-12-31,silicone,2,\n2025-12-31,silicone,500,g\n")
    sets, grams, _ = sheets_of(bare)["stock"].rows
    assert sets[3:6] == ("set of moulds' worth", Decimal("19.8000"), Decimal("39.60"))
    assert grams[5] is None and "no fit for a price by the set of moulds' worth" in grams[7]


def test_a_count_is_valued_at_cost(bare):
    """Only the last count of the period; units by conversion, words by spelling; what is not in the study is left to her."""
    put(
        bare,
        "stock_count",
        "date,item,quantity,unit,stage\n2025-06-30,knob,99,,finished\n2025-12-31,knob,40,,finished\n2025-12-31,Knob,10,pieces,Sand\n"
        "2025-12-31,resin,1.5 kg,,\n2025-12-31,insert,200,,material\n2025-12-31,glitter,3,jars,\n",
    )
    sheets = sheets_of(bare)
    rows = {row[:2]: dict(zip(sheets["stock"].header, row)) for row in sheets["stock"].rows}
    each = rows["knob", "finished"]["cost each"]

    assert rows["knob", "finished"]["value at cost"] == (40 * each).quantize(Decimal("0.01"))
    assert rows["resin", "material"]["value at cost"] == Decimal("36.00") and rows["insert", "material"]["value at cost"] == 84
    assert rows["glitter", ""]["value at cost"] is None and "value by hand" in rows["glitter", ""]["note"]
    valued = [row["value at cost"] for key, row in rows.items() if key[0] != "total" and row["value at cost"] is not None]
    assert len(valued) == 4 and rows["total", ""]["value at cost"] == sum(valued)
    assert "1 row of earlier days is not" in "\n".join(row[0] for row in sheets["how"].rows)


def test_cost_each_stands_in_the_unit_that_was_counted(bare):
    """1.5 kg at 0.0248677 a gram is 37.30 by hand; quantity x cost each as shown gives the value shown."""
    path = bare / "study.toml"
    text = path.read_text(encoding="utf-8").replace('value = "24.00 EUR/kg"', 'value = "24.8677 EUR/kg"')
    path.write_text(text, encoding="utf-8", newline="")
    put(bare, "stock_count", "date,item,quantity,unit\n2025-12-31,resin,1.5,kg\n2025-12-31,resin,1500,g\n")
    kg, g, _ = sheets_of(bare)["stock"].rows

    assert kg[4:6] == (Decimal("24.8680"), Decimal("37.30")) and g[4:6] == (Decimal("0.024868"), Decimal("37.30"))


def test_a_material_that_the_study_prices_twice_is_valued_by_hand(bare):
    """Resin at 24 EUR/kg in the pour and 18 in a top coat: neither is what the count cost (IAS 2: cost is what was paid, from memory)."""
    path = bare / "study.toml"
    coat = '\nmaterials.resin = { quantity = "2 g", price = "18.00 EUR/kg" }\n'
    text = path.read_text(encoding="utf-8").replace("[products.knob.steps.polish]\n", f"[products.knob.steps.polish]{coat}")
    path.write_text(text, encoding="utf-8", newline="")
    note = "at 0.024000 and 0.018000 by the g in study.toml: value by hand, at what was paid"
    blank = {row[0]: row for row in sheets_of(bare)["stock"].rows}["resin"]
    put(bare, "stock_count", "date,item,quantity,unit\n2025-12-31,Resin,1.5,kg\n2025-12-31,insert,200,\n")
    resin, insert, total = sheets_of(bare)["stock"].rows

    assert (blank[4], blank[7]) == (resin[4], resin[7]) == (None, note) and resin[5] is None
    assert insert[5] == total[5] == Decimal("84.00") and total[7] == "without 1 row"


def test_mileage_in_km_and_miles(bare):
    """1 mile = 1.609344 km exactly (international yard and pound agreement of 1959)."""
    put(bare, "mileage", "date,purpose,distance (mile)\n2025-02-01,fair,10\n2025-02-08,fair,15\n2025-02-09,post,2.5\n")
    assert sheets_of(bare)["mileage"].rows == [
        ("fair", 2, Decimal("40.2"), Decimal("25.0")),
        ("post", 1, Decimal("4.0"), Decimal("2.5")),
        ("total", 3, Decimal("44.3"), Decimal("27.5")),
    ]


def test_mileage_in_no_distance_is_a_fault(bare):
    put(bare, "mileage", "date,purpose,distance_km\n2025-02-01,fair,10 kg\n")
    with pytest.raises(StudyError, match=r"mileage.csv:2:distance_km: .*that is no distance"):
        read_study(bare)


# ------------------------------------------------------------------ command


def test_command_writes_beside_the_study_and_changes_no_input(bare):
    put(bare, "purchases", "date,item,kind,quantity,paid\n2025-02-01,box,material,1,2.50\n2026-02-01,box,material,1,2.50\n")
    before = {path: path.read_bytes() for path in bare.rglob("*") if path.is_file()}
    for _ in range(2):  # again over its own work
        found = CliRunner().invoke(main, ["year-end", str(bare), "--year", "2025"])
        assert found.exit_code == 0 and "no tax advice" in found.output and "2025 (2025-01-01 to 2025-12-31)" in found.output
    assert sorted(path.name for path in (bare / "year-end").iterdir()) == ["2025", "2025.xlsx", "manifest.json"]
    assert {path: path.read_bytes() for path in before} == before


def test_other_years_stay_with_what_was_changed_in_them(bare):
    """A year made up later stands beside those before, which stay as they are; made up again, a workbook changed by hand is kept beside it."""

    def made(year):
        found = CliRunner().invoke(main, ["year-end", str(bare), "--year", year])
        assert found.exit_code == 0
        return found.output

    out = bare / "year-end"
    assert "stays" not in made("2024")
    (out / "2024.xlsx").write_bytes(b"with a remark")
    old = (out / "2024" / "how.csv").read_bytes()
    assert "2024 stays as it was made before." in made("2025")
    assert {path.name for path in out.iterdir()} == {"2024", "2024.xlsx", "2025", "2025.xlsx", "manifest.json"}
    assert (out / "2024.xlsx").read_bytes() == b"with a remark" and (out / "2024" / "how.csv").read_bytes() == old
    assert "2024.xlsx was changed by hand; that is kept as 2024-changed.xlsx beside it" in made("2024")
    assert (out / "2024-changed.xlsx").read_bytes() == b"with a remark" and (out / "2025.xlsx").is_file()


def test_command_tells_faults_and_leaves_other_folders_alone(bare):
    (bare / "mine").mkdir()
    (bare / "mine" / "letter.txt").write_text("x")
    for options in (["--out", str(bare / "mine")], ["--from", "2025-01-01", "--out", str(bare / "new")]):
        found = CliRunner().invoke(main, ["year-end", str(bare), *options])
        assert found.exit_code == 2 and "Traceback" not in found.output
    assert {path.name for path in bare.rglob("*")} == {"study.toml", "records", "mine", "letter.txt"}
