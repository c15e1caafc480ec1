"""Write the corpus of ugly files: one folder a case, with what must come out beside it.

    python tests/ugly/make.py

All data is invented. What must come out was worked out by hand from what a maker would mean, never by running the reader.
"""

import datetime as dt
import json
import shutil
from pathlib import Path

HERE = Path(__file__).parent
CASES = []
DAY = dt.date(2025, 4, 3)


def case(name, files, **expected):
    """One case: files by name, text, bytes or sheets; what must come out."""
    CASES.append((name, files, expected))


def rows(*given, columns="date step minutes", log="timesheet", **more):
    """Rows that must come out: the row in the file (or file:row), then values by column; None where it is blank."""
    return {"log": log, "columns": columns.split(), "rows": [list(row) for row in given], **more}


def sheet_times(*lines):
    """A timesheet as text."""
    return "\n".join(("date,step,minutes", *lines)) + "\n"


# encodings
case("utf-8-mark", {"timesheet.csv": "\ufeffdate,step,minutes\n2025-04-03,pour,12\n"}, **rows((2, "2025-04-03", "pour", 12)))
ACCENTS = "date;step;minutes;note\n2025-04-03;pour;12;grün gefärbt\n2025-04-04;pour;7;Möwe Nr. 3\n"
ACCENT_ROWS = rows(
    (2, "2025-04-03", "pour", 12, "grün gefärbt"), (3, "2025-04-04", "pour", 7, "Möwe Nr. 3"), columns="date step minutes note"
)
case("cp1252", {"timesheet.csv": ACCENTS.encode("cp1252")}, **ACCENT_ROWS, decisions=["cp1252", "semicolons"])
case("latin-1", {"timesheet.csv": ACCENTS.encode("latin-1")}, **ACCENT_ROWS)
case("utf-16-mark", {"timesheet.csv": ACCENTS.encode("utf-16")}, **ACCENT_ROWS, decisions=["UTF-16"])
case("utf-16-big", {"timesheet.csv": b"\xfe\xff" + ACCENTS.encode("utf-16-be")}, **ACCENT_ROWS)
case("utf-16-no-mark", {"timesheet.csv": ACCENTS.encode("utf-16-le")}, **ACCENT_ROWS)
case("utf-32", {"timesheet.txt": ACCENTS.encode("utf-32")}, **ACCENT_ROWS)
EURO = "date;channel;product;pieces;price\n2025-04-13;fair;planter;2;€ 14,50\n"
SOLD = "date channel product pieces price"
PLANTER = rows((2, "2025-04-13", "fair", "planter", 2, 14.5), columns=SOLD, log="sales")
case("cp1252-euro", {"sales.csv": EURO.encode("cp1252")}, **PLANTER)
# how many, in dozens: twelve each, common practice, no source
case(
    "dozens",
    {
        "timesheet.csv": "date,step,minutes,pieces_handled\n2025-04-03,pour,12,4 doz\n2025-04-04,pour,7,a dozen\n2025-04-05,pour,7,1½ dozen\n2025-04-06,pour,7,half a dozen\n"
    },
    **rows(
        (2, "2025-04-03", "pour", 48, 12),
        (3, "2025-04-04", "pour", 12, 7),
        (4, "2025-04-05", "pour", 18, 7),
        (5, "2025-04-06", "pour", 6, 7),
        columns="date step pieces_handled minutes",
    ),
)
case(
    "dozens-that-are-no-whole-number",
    {"timesheet.csv": "date,step,minutes,pieces_handled\n2025-04-03,pour,12,1/5 dozen\n"},
    faults=["pieces_handled"],
    log="timesheet",
)
# what parts the cells
case("tabs", {"timesheet.tsv": sheet_times("2025-04-03,pour,12").replace(",", "\t")}, **rows((2, "2025-04-03", "pour", 12)))
case("bars", {"timesheet.txt": sheet_times("2025-04-03,pour,12").replace(",", "|")}, **rows((2, "2025-04-03", "pour", 12)))
case(
    "sep-line",
    {"timesheet.csv": "sep=;\n" + sheet_times("2025-04-03,pour,12").replace(",", ";")},
    **rows((3, "2025-04-03", "pour", 12), aside={"1": "spreadsheet program"}),
)
case(
    "semicolons-with-commas-in-notes",
    {"timesheet.csv": "date;step;minutes;note\n2025-04-03;pour;12;red, blue, green\n2025-04-04;pour;1,5;a, b, c, d\n"},
    **rows(
        (2, "2025-04-03", "pour", 12, "red, blue, green"),
        (3, "2025-04-04", "pour", 1.5, "a, b, c, d"),
        columns="date step minutes note",
    ),
)
case(
    "comma-file-quoted-decimal-commas",
    {"timesheet.csv": sheet_times('2025-04-03,pour,"12,5"', '2025-04-04,pour,"7,25"')},
    **rows((2, "2025-04-03", "pour", 12.5), (3, "2025-04-04", "pour", 7.25)),
)
case(
    "comma-file-bare-decimal-commas",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12,5")},
    faults=["timesheet.csv:2: wrong number of cells", "needs quotes"],
)
case(
    "line-break-in-a-cell",
    {"timesheet.csv": 'date,step,minutes,note\n2025-04-03,pour,12,"one\ntwo"\n2025-04-04,pour,7,x\n'},
    **rows((2, "2025-04-03", "pour", 12, "one\ntwo"), (4, "2025-04-04", "pour", 7, "x"), columns="date step minutes note"),
    lines=0,
)
case(
    "carriage-returns",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12").replace("\n", "\r")},
    **rows((2, "2025-04-03", "pour", 12)),
)
case(
    "trailing-semicolons", {"timesheet.csv": "date;step;minutes;;\n2025-04-03;pour;12;;\n"}, **rows((2, "2025-04-03", "pour", 12))
)
# decimal marks and thousands
PAID = "date;item;kind;quantity;paid\n"
BUY = "date item kind quantity paid"


def paid(*cells):
    """Purchases that only differ in what was paid."""
    return PAID + "".join(f"2025-04-{13 + i};wax;material;1;{cell}\n" for i, cell in enumerate(cells))


def paid_rows(*values, **more):
    """The rows of `paid`."""
    given = [(i + 2, f"2025-04-{13 + i}", "wax", "material", 1, value) for i, value in enumerate(values)]
    return rows(*given, columns=BUY, log="purchases", **more)


case("thousands-point-decimal-comma", {"purchases.csv": paid("1.200,50", "1.200")}, **paid_rows(1200.5, 1200))
case("thousands-comma-decimal-point", {"purchases.csv": paid("1,200.50", "1,200")}, **paid_rows(1200.5, 1200))
case("thousands-thin-space", {"purchases.csv": paid("1\u2009200,50", "12\u202f000")}, **paid_rows(1200.5, 12000))
case("thousands-no-break-space", {"purchases.csv": paid("1\u00a0200,50").encode("cp1252")}, **paid_rows(1200.5))
case("thousands-apostrophe", {"purchases.csv": paid("1'200.50", "2’000.–")}, currency="CHF", **paid_rows(1200.5, 2000))
case("millions", {"purchases.csv": paid("1.234.567")}, **paid_rows(1234567))
case("currency-after", {"purchases.csv": paid("12,50 €", "3,00 EUR")}, **paid_rows(12.5, 3))
case("currency-before", {"purchases.csv": paid("£12.50", "GBP 3.00")}, currency="GBP", locale="en_GB", **paid_rows(12.5, 3))
case("kroner", {"purchases.csv": paid("1 200,50 kr", "kr. 40")}, currency="DKK", locale="da_DK", **paid_rows(1200.5, 40))
case("dollars", {"purchases.csv": paid("$1,200.50", "US$ 3.10")}, currency="USD", locale="en_US", **paid_rows(1200.5, 3.1))
case(
    "other-currency",
    {"purchases.csv": paid("12,50", "£3,00")},
    faults=["purchases.csv:3:paid: is money of another currency", "EUR"],
)
case("dash-for-no-cents", {"purchases.csv": paid("12,-", "7,50")}, **paid_rows(12, 7.5))
case(
    "open-thousands-asks",
    {"purchases.csv": paid("1.200")},
    faults=[
        "purchases.csv:2:paid: question: is this 1.200 or 1200?",
        'decimal = "point" for 1.200',
        'decimal = "comma" for 1200',
    ],
)
case("open-thousands-answered", {"purchases.csv": paid("1.200")}, settings='decimal = "comma"', **paid_rows(1200))
case(
    "open-thousands-other-column",
    {"purchases.csv": PAID + "2025-04-13;wax;material;2,5;1.200\n"},
    **rows((2, "2025-04-13", "wax", "material", 2.5, 1200), columns=BUY, log="purchases"),
    decisions=["decimal comma in paid: like the other columns"],
)
case(
    "open-thousands-by-locale",
    {"purchases.txt": paid("1.200").replace(";", "\t")},
    locale="de_DE",
    **paid_rows(1200),
    decisions=["after the locale"],
)
case(
    "open-thousands-locale-contradicted",
    {"purchases.csv": paid("1.200")},
    locale="en_GB",
    faults=["purchases.csv:2:paid: question: is this 1.200 or 1200?"],
)
case(
    "both-marks-unmistakable",
    {"purchases.csv": paid("12,5", "12.75")},
    **paid_rows(12.5, 12.75),
    decisions=["each cell by itself"],
)
case("both-marks-and-an-open-one", {"purchases.csv": paid("12,5", "12.75", "1.200")}, faults=["question: is this 1.200 or 1200?"])
case("minus-sign-of-printers", {"purchases.csv": paid("−12,50")}, faults=["purchases.csv:2:paid: cannot be used"])
# dates
case(
    "day-first-points",
    {"timesheet.csv": sheet_times("3.4.2025,pour,12", "13.4.2025,pour,7")},
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-13", "pour", 7)),
    decisions=["day first, because of 13.4.2025 in row 3"],
)
case(
    "month-first",
    {"timesheet.csv": sheet_times("4/3/2025,pour,12", "4/13/2025,pour,7")},
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-13", "pour", 7)),
    decisions=["month first"],
)
case(
    "dates-open-ask",
    {"timesheet.csv": sheet_times("3/4/2025,pour,12", "5/4/2025,pour,7")},
    faults=[
        "timesheet.csv:2:date: question: which comes first, the day or the month?",
        'dates = "day first"',
        'dates = "month first"',
    ],
)
case(
    "dates-open-ask-whatever-the-locale",
    {"timesheet.csv": sheet_times("3.4.25,pour,12")},
    locale="de_DE",
    faults=["which comes first"],
)
case(
    "dates-answered",
    {"timesheet.csv": sheet_times("3/4/2025,pour,12")},
    settings='dates = "month first"',
    **rows((2, "2025-03-04", "pour", 12)),
)
case(
    "two-digit-years",
    {"timesheet.csv": sheet_times("3.4.25,pour,12", "13.4.25,pour,7", "14.5.25,pour,7")},
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-13", "pour", 7), (4, "2025-05-14", "pour", 7)),
)
case(
    "two-digit-years-first",
    {"timesheet.csv": sheet_times("25-04-03,pour,12")},
    settings='dates = "year first"',
    **rows((2, "2025-04-03", "pour", 12)),
)
case(
    "dates-in-two-orders",
    {"timesheet.csv": sheet_times("13/4/2025,pour,12", "4/13/2025,pour,7")},
    faults=["dates in two orders", "13/4/2025 in row 2", "4/13/2025 in row 3"],
)
case(
    "dates-with-times",
    {"timesheet.csv": sheet_times("2025-04-03 09:15,pour,12", "2025-04-03T17:00:00Z,pour,7")},
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-03", "pour", 7)),
)
case(
    "month-names",
    {"timesheet.csv": sheet_times("3 Apr 2025,pour,12", '"Apr 4, 2025",pour,7', "5th April 2025,pour,1")},
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-04", "pour", 7), (4, "2025-04-05", "pour", 1)),
)
case(
    "month-names-of-the-locale",
    {"timesheet.csv": sheet_times("3. März 2025,pour,12", "4. Dez. 2025,pour,7")},
    locale="de_AT",
    **rows((2, "2025-03-03", "pour", 12), (3, "2025-12-04", "pour", 7)),
)
case(
    "day-numbers",
    {"timesheet.csv": sheet_times("45750,pour,12", "45751,pour,7")},
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-04", "pour", 7)),
    changes=["45750 -> 2025-04-03"],
)
case("slashes-year-first", {"timesheet.csv": sheet_times("2025/4/3,pour,12")}, **rows((2, "2025-04-03", "pour", 12)))
case(
    "no-such-day",
    {"timesheet.csv": sheet_times("31.4.2025,pour,12", "13.4.2025,pour,7")},
    faults=["timesheet.csv:2:date: cannot be used; found '31.4.2025'"],
)
# times, fractions, doubts, intervals
case(
    "hours-and-minutes",
    {
        "timesheet.csv": sheet_times(
            "2025-04-03,pour,1h30", "2025-04-03,pour,1:30", "2025-04-03,pour,1 h 30 min", "2025-04-03,pour,0:45"
        )
    },
    **rows(
        (2, "2025-04-03", "pour", 90), (3, "2025-04-03", "pour", 90), (4, "2025-04-03", "pour", 90), (5, "2025-04-03", "pour", 45)
    ),
    changes=["1h30 -> 90", "0:45 -> 45"],
)
case(
    "time-units",
    {
        "timesheet.csv": sheet_times(
            "2025-04-03,pour,90 min", '2025-04-03,pour,"1,5 h"', "2025-04-03,pour,0.5 hours", "2025-04-03,pour,2 Std."
        )
    },
    **rows(
        (2, "2025-04-03", "pour", 90),
        (3, "2025-04-03", "pour", 90),
        (4, "2025-04-03", "pour", 30),
        (5, "2025-04-03", "pour", 120),
    ),
)
case(
    "halves",
    {
        "timesheet.csv": sheet_times(
            "2025-04-03,pour,½ h", "2025-04-03,pour,1½ h", "2025-04-03,pour,1 1/2 h", "2025-04-03,pour,7½"
        )
    },
    **rows(
        (2, "2025-04-03", "pour", 30),
        (3, "2025-04-03", "pour", 90),
        (4, "2025-04-03", "pour", 90),
        (5, "2025-04-03", "pour", 7.5),
    ),
)
case(
    "about-and-unsure",
    {
        "timesheet.csv": sheet_times(
            "2025-04-03,pour,~12", "2025-04-03,pour,12?", "2025-04-03,pour,ca. 20 min", "2025-04-03,pour,about 9"
        )
    },
    **rows(
        (2, "2025-04-03", "pour", 12), (3, "2025-04-03", "pour", 12), (4, "2025-04-03", "pour", 20), (5, "2025-04-03", "pour", 9)
    ),
    changes=["~12 -> 12", "12? -> 12"],
)
case(
    "intervals",
    {"timesheet.csv": sheet_times("2025-04-03,pour,10-12", "2025-04-03,pour,1–2 h", "2025-04-03,pour,9")},
    **rows(
        (2, "2025-04-03", "pour", 11, 10, 12),
        (3, "2025-04-03", "pour", 90, 60, 120),
        (4, "2025-04-03", "pour", 9, None, None),
        columns="date step minutes minutes_low minutes_high",
    ),
)
case(
    "interval-backwards",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12-10")},
    faults=["timesheet.csv:2:minutes: is no interval from less to more"],
)
case(
    "unit-of-another-kind",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12 g")},
    faults=["timesheet.csv:2:minutes: has a unit, 'g', that is no time"],
)
case(
    "blank-is-not-zero",
    {"timesheet.csv": "date,step,minutes,pieces_handled,pieces_passed\n2025-04-03,pour,12,,0\n2025-04-03,pour,12,-,n/a\n"},
    **rows(
        (2, "2025-04-03", "pour", 12, None, 0),
        (3, "2025-04-03", "pour", 12, None, None),
        columns="date step minutes pieces_handled pieces_passed",
    ),
    changes=["- -> not known"],
)
# units of mass, temperature, long times
BATCH = "batch,date,product,casts,good,mixed_mass_g,room_c,cure_h\n"
BATCHES = "batch date product casts good mixed_mass_g room_c cure_h"
case(
    "mass-and-temperature",
    {
        "batches.csv": BATCH
        + "S1,2025-04-03,bar,10,9,12 oz,68 °F,8:30\nS2,2025-04-04,bar,10,9,1.5 kg,20 °C,1 day\nS3,2025-04-05,bar,10,9,2 lb,19,24\n"
    },
    **rows(
        (2, "S1", "2025-04-03", "bar", 10, 9, 340.19427750, 20, 8.5),
        (3, "S2", "2025-04-04", "bar", 10, 9, 1500, 20, 24),
        (4, "S3", "2025-04-05", "bar", 10, 9, 907.18474, 19, 24),
        columns=BATCHES,
        log="batches",
    ),
)
case(
    "units-in-the-header",
    {"batches.csv": "Batch;Date;Product;Casts;Good;Mixed mass (oz);Room [°F];Cure (days)\nS1;2025-04-03;bar;10;9;10;68;2\n"},
    **rows((2, "S1", "2025-04-03", "bar", 10, 9, 283.49523125, 20, 48), columns=BATCHES, log="batches"),
)
case(
    "volume-without-density",
    {"batches.csv": BATCH + "S1,2025-04-03,bar,10,9,500 ml,,\n"},
    faults=["batches.csv:2:mixed_mass_g: is a volume where a mass is needed", 'density = "1.1 g/ml"'],
)
case(
    "volume-with-density",
    {"batches.csv": "batch,date,product,casts,good,cup\nS1,2025-04-03,bar,10,9,500 ml\n"},
    settings='[records.columns.batches]\ncup = { column = "mixed_mass_g", density = "1.1 g/ml" }',
    **rows((2, "S1", "2025-04-03", "bar", 10, 9, 550), columns="batch date product casts good mixed_mass_g", log="batches"),
    changes=["1.1 g/ml"],
)
case("grains-or-grams", {"batches.csv": BATCH + "S1,2025-04-03,bar,10,9,500 gr,,\n"}, faults=["is gr grams or grains?"])
case(
    "good-above-casts",
    {"batches.csv": BATCH + "S1,2025-04-03,bar,10,19,,,\n"},
    faults=["batches.csv:2:good: more good than casts"],
)
case(
    "dates-where-numbers-belong",
    {"timesheet.xlsx": [["date", "step", "minutes"], [DAY, "pour", dt.date(2025, 12, 10)]]},
    faults=["timesheet.xlsx/Sheet1:2:minutes: may be a number that a spreadsheet turned into a date"],
)
# purchases
case(
    "quantity-with-unit",
    {
        "purchases.csv": "date,item,kind,quantity,unit,paid\n2025-04-03,lye,material,1.5 kg,,9\n2025-04-03,oil,material,5 fl oz,,9\n2025-04-03,glaze,material,half a bottle,,9\n2025-04-03,wick,material,12,piece,9\n2025-04-03,dye,material,3 bottles,,9\n"
    },
    **rows(
        (2, "2025-04-03", "lye", "material", 1.5, "kg", 9),
        (3, "2025-04-03", "oil", "material", 5, "fl oz", 9),
        (4, "2025-04-03", "glaze", "material", 0.5, "bottle", 9),
        (5, "2025-04-03", "wick", "material", 12, "piece", 9),
        (6, "2025-04-03", "dye", "material", 3, "bottles", 9),
        columns="date item kind quantity unit paid",
        log="purchases",
    ),
)
case(
    "two-units",
    {"purchases.csv": "date,item,kind,quantity,unit,paid\n2025-04-03,lye,material,1.5 kg,g,9\n"},
    faults=["purchases.csv:2:quantity: has two units"],
)
case(
    "ounces-of-a-liquid-ask",
    {"purchases.csv": "date,item,kind,quantity,unit,paid\n2025-04-03,scent,material,5,oz,9\n"},
    items={"scent": True},
    faults=["purchases.csv:2:unit: question: ounces by weight or by volume?", '"oz" = "US fl oz"'],
)
case(
    "ounces-of-a-liquid-answered",
    {"purchases.csv": "date,item,kind,quantity,unit,paid\n2025-04-03,scent,material,5,oz,9\n"},
    items={"scent": True},
    settings='[records.words.unit]\noz = "US fl oz"',
    **rows(
        (2, "2025-04-03", "scent", "material", 5, "US fl oz", 9), columns="date item kind quantity unit paid", log="purchases"
    ),
)
# sales
SALE = "date,order,channel,product,pieces,price,refund\n"
SALES = "date order channel product pieces price refund"
case(
    "negative-refund",
    {"sales.csv": SALE + "2025-04-03,A1,fair,candle,1,12,-12.00\n"},
    **rows((2, "2025-04-03", "A1", "fair", "candle", 1, 12, 12), columns=SALES, log="sales"),
    changes=["-12.00 -> 12"],
)
case(
    "refund-in-brackets",
    {"sales.csv": SALE + "2025-04-03,A1,fair,candle,1,12,(12.00)\n"},
    **rows((2, "2025-04-03", "A1", "fair", "candle", 1, 12, 12), columns=SALES, log="sales"),
)
case(
    "negative-price",
    {"sales.csv": SALE + "2025-04-03,A1,fair,candle,1,-12,\n"},
    faults=["sales.csv:2:price: cannot be used; found '-12'"],
)
case(
    "code-as-date-in-workbook",
    {
        "sales.xlsx": [
            ["date", "order", "channel", "product", "pieces", "price"],
            [DAY, dt.date(2025, 4, 3), "fair", "candle", 1, 12],
        ]
    },
    faults=["sales.xlsx/Sheet1:2:order: may be a code that a spreadsheet turned into a date"],
)
case(
    "code-as-date-in-text",
    {"sales.csv": SALE + "2025-04-03,03-Apr,fair,candle,1,12,\n"},
    faults=["sales.csv:2:order: may be a code"],
)
case(
    "capitals-and-spaces-in-words",
    {"sales.csv": "Date,Channel,PRODUCT,pieces,Price,kind\n2025-04-03, fair ,candle,1,12,Sample\n"},
    **rows((2, "2025-04-03", "fair", "candle", 1, 12, "sample"), columns=SOLD + " kind", log="sales"),
)
# titles, totals, notes, headers again
case(
    "title-total-note",
    {
        "timesheet.csv": "My workshop hours,,\n,,\ndate,step,minutes\n2025-04-03,pour,12\n,,\n2025-04-04,trim,7\nTotal,,19\n* without the fair,,\n"
    },
    **rows((4, "2025-04-03", "pour", 12), (6, "2025-04-04", "trim", 7)),
    aside={"1": "title", "2": "blank", "5": "blank", "7": "total", "8": "note"},
)
case(
    "total-in-the-second-column",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12", ",Summe:,12")},
    **rows((2, "2025-04-03", "pour", 12)),
    aside={"3": "total"},
)
case(
    "subtotals",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12", "Subtotal April,,12", "2025-05-03,pour,7", "Grand total,,19")},
    **rows((2, "2025-04-03", "pour", 12), (4, "2025-05-03", "pour", 7)),
    aside={"3": "total", "5": "total"},
)
case(
    "note-of-one-cell",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12") + "\nNote: the week of the fair is missing\n"},
    **rows((2, "2025-04-03", "pour", 12)),
    aside={"3": "blank", "4": "note"},
)
case(
    "header-again",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12", "date,step,minutes", "2025-05-03,pour,7")},
    **rows((2, "2025-04-03", "pour", 12), (4, "2025-05-03", "pour", 7)),
    aside={"3": "header again"},
)
case(
    "header-again-in-another-order",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12", "minutes,date,step", "7,2025-05-03,pour")},
    **rows((2, "2025-04-03", "pour", 12), (4, "2025-05-03", "pour", 7)),
    aside={"3": "header again"},
)
case("empty-file", {"timesheet.csv": ""}, faults=["timesheet.csv: empty log"])
case("no-header", {"timesheet.csv": "2025-04-03,pour,12\n2025-04-04,pour,12\n"}, faults=["column is missing"])
# her own columns, words, files
OWN = """[records.files]
"Stunden 2025.csv" = "timesheet"
[records.columns.timesheet]
"Datum" = "date"
"Tätigkeit" = "step"
"Dauer (h)" = { column = "minutes", unit = "h" }
"Wetter" = "ignore"
[records.words.step]
"Schleifen" = "sand"
"""
case(
    "her-columns-and-words",
    {
        "Stunden 2025.csv": "Datum;Tätigkeit;Dauer (h);Wetter\n13.4.2025;schleifen;1,5;Regen\n14.4.2025;pour;0,5;\n".encode(
            "cp1252"
        )
    },
    settings=OWN,
    **rows((2, "2025-04-13", "sand", 90), (3, "2025-04-14", "pour", 30)),
    decisions=["left out, as study.toml says: Wetter"],
    changes=["schleifen -> sand"],
)
case(
    "unknown-column",
    {"timesheet.csv": "date,step,minuets\n2025-04-03,pour,12\n"},
    faults=["unknown column; found 'minuets'", "did you mean 'minutes'?", "[records.columns.timesheet]", "column is missing"],
)
case(
    "unknown-file",
    {"hours.csv": sheet_times("2025-04-03,pour,12")},
    faults=["records/hours.csv: unknown log", '"hours.csv" = one of timesheet', "[records.files]"],
)
case(
    "file-left-alone",
    {
        "hours.csv": sheet_times("2025-04-03,pour,12"),
        "timesheet.csv": sheet_times("2025-04-03,pour,12"),
        "README.txt": "x",
        "~$timesheet.xlsx": "x",
        ".hidden.csv": "x",
        "photo.jpg": "x",
    },
    settings='[records.files]\n"hours.csv" = "ignore"',
    **rows((2, "2025-04-03", "pour", 12)),
    lines=0,
)
case(
    "declared-file-not-there",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12")},
    settings='[records.files]\n"houres.csv" = "timesheet"',
    faults=["no such file or sheet in records/; found 'houres.csv'"],
)
# several files, and the same rows twice
case(
    "two-files",
    {"timesheet-2024.csv": sheet_times("2024-04-03,pour,12"), "Timesheet 2025 export.csv": sheet_times("2025-04-03,pour,7")},
    **rows(
        ("records/timesheet-2024.csv:2", "2024-04-03", "pour", 12),
        ("records/Timesheet 2025 export.csv:2", "2025-04-03", "pour", 7),
    ),
    lines=0,
)
case(
    "overlapping-exports",
    {
        "timesheet-a.csv": sheet_times("2025-04-03,pour,12", "2025-04-04,pour,7"),
        "timesheet-b.csv": "date;step;minutes\n4.4.2025;pour;7,0\n15.4.2025;pour;8,5\n",
    },
    **rows(
        ("records/timesheet-a.csv:2", "2025-04-03", "pour", 12),
        ("records/timesheet-a.csv:3", "2025-04-04", "pour", 7),
        ("records/timesheet-b.csv:3", "2025-04-15", "pour", 8.5),
    ),
    aside={"2": "the same as row 3 of records/timesheet-a.csv"},
    lines=0,
)
case(
    "same-rows-in-one-file-count-twice",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12", "2025-04-03,pour,12")},
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-03", "pour", 12)),
    decisions=["rows 2 and 3 are the same; both counted"],
)
case(
    "same-order-twice-counts-once",
    {"sales.csv": SALE + "2025-04-03,A1,fair,candle,1,12,\n2025-04-03,A1,fair,candle,1,12,\n"},
    **rows((2, "2025-04-03", "A1", "fair", "candle", 1, 12, None), columns=SALES, log="sales"),
    aside={"3": "the same as row 2"},
)
case(
    "twice-here-and-three-times-there",
    {"timesheet-a.csv": sheet_times(*["2025-04-03,pour,12"] * 2), "timesheet-b.csv": sheet_times(*["2025-04-03,pour,12"] * 3)},
    **rows(
        ("records/timesheet-a.csv:2", "2025-04-03", "pour", 12),
        ("records/timesheet-a.csv:3", "2025-04-03", "pour", 12),
        ("records/timesheet-b.csv:4", "2025-04-03", "pour", 12),
    ),
    aside={"2": "the same as", "3": "the same as"},
    lines=0,
)
# workbooks
BOOK = [
    ["Workshop hours 2025", None, None],
    [None, None, None],
    ["date", "step", "minutes"],
    [DAY, "pour", 12.5],
    [dt.datetime(2025, 4, 4, 9, 30), "trim", dt.time(1, 30)],
    ["Total", None, 102.5],
]
BOOK_ROWS = rows((4, "2025-04-03", "pour", 12.5), (5, "2025-04-04", "trim", 90), aside={"1": "title", "2": "blank", "6": "total"})
case("workbook", {"timesheet.xlsx": BOOK}, **BOOK_ROWS)
case(
    "workbook-open",
    {"timesheet.ods": [*BOOK[:4], BOOK[5]]},
    **rows((4, "2025-04-03", "pour", 12.5), aside={"1": "title", "2": "blank", "5": "total"}),
)
case(
    "workbook-sheets",
    {"book.xlsx": {"Timesheet": [["date", "step", "minutes"], [DAY, "pour", 12]], "Plans": [["x", "y"], ["a", "b"]]}},
    settings='[records.files]\n"book.xlsx/Plans" = "ignore"',
    **rows((2, "2025-04-03", "pour", 12)),
)
case(
    "workbook-sheet-unknown",
    {"book.xlsx": {"Timesheet": [["date", "step", "minutes"], [DAY, "pour", 12]], "Plans": [["x", "y"], ["a", "b"]]}},
    faults=["records/book.xlsx/Plans: unknown log", '"book.xlsx/Plans" = one of'],
)
case(
    "workbook-ids-as-numbers",
    {"batches.xlsx": [["batch", "date", "product", "casts", "good"], [17, DAY, "bar", 10, 9], [18.0, DAY, "bar", 10, 10]]},
    **rows(
        (2, "17", "2025-04-03", "bar", 10, 9),
        (3, "18", "2025-04-03", "bar", 10, 10),
        columns="batch date product casts good",
        log="batches",
    ),
)
case(
    "workbook-and-text-of-the-same",
    {
        "timesheet.xlsx": [["date", "step", "minutes"], [DAY, "pour", 12.5]],
        "timesheet.csv": "date;step;minutes\n2025-04-03;pour;12,5\n",
    },
    **rows(("records/timesheet.csv:2", "2025-04-03", "pour", 12.5)),
    aside={"2": "the same as row 2 of records/timesheet.csv"},
    lines=0,
)
case(
    "workbook-damaged",
    {"timesheet.xlsx": b"PK\x03\x04" + b"\x07" * 200},
    faults=["timesheet.xlsx: cannot be opened as a workbook"],
)
case("workbook-empty", {"timesheet.xlsx": [[None]]}, faults=["empty log; found no cells in any sheet"])
case(
    "workbook-that-is-text",
    {"timesheet.xls": sheet_times("2025-04-03,pour,12").replace(",", "\t")},
    **rows((2, "2025-04-03", "pour", 12)),
)
case(
    "workbook-error-cell",
    {"timesheet.csv": sheet_times("2025-04-03,pour,#REF!")},
    faults=["timesheet.csv:2:minutes: is an error of the spreadsheet"],
)
case("junk", {"timesheet.csv": bytes(range(256)) * 4}, faults=["timesheet.csv: is not a table; found no text"])
case("web-page", {"timesheet.csv": "<!DOCTYPE html><html><table></table></html>"}, faults=["is not a table; found a web page"])


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


def main():
    """Write every case anew."""
    for old in HERE.iterdir():
        if old.is_dir() and (old / "expected.json").is_file():
            shutil.rmtree(old)
    for name, files, expected in CASES:
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


if __name__ == "__main__":
    main()
