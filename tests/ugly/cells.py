"""Cells and what parts them: encodings, separators, marks, dates, times, doubts and units."""

import datetime as dt

from build import DAY, SOLD, case, rows, sheet_times, timesheet

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
timesheet(
    "comma-file-quoted-decimal-commas",
    '2025-04-03,pour,"12,5"',
    '2025-04-04,pour,"7,25"',
    **rows((2, "2025-04-03", "pour", 12.5), (3, "2025-04-04", "pour", 7.25)),
)
timesheet(
    "comma-file-bare-decimal-commas",
    "2025-04-03,pour,12,5",
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
timesheet(
    "day-first-points",
    "3.4.2025,pour,12",
    "13.4.2025,pour,7",
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-13", "pour", 7)),
    decisions=["day first, because of 13.4.2025 in row 3"],
)
timesheet(
    "month-first",
    "4/3/2025,pour,12",
    "4/13/2025,pour,7",
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-13", "pour", 7)),
    decisions=["month first"],
)
timesheet(
    "dates-open-ask",
    "3/4/2025,pour,12",
    "5/4/2025,pour,7",
    faults=[
        "timesheet.csv:2:date: question: which comes first, the day or the month?",
        'dates = "day first"',
        'dates = "month first"',
    ],
)
timesheet(
    "dates-open-ask-whatever-the-locale",
    "3.4.25,pour,12",
    locale="de_DE",
    faults=["which comes first"],
)
timesheet(
    "dates-answered",
    "3/4/2025,pour,12",
    settings='dates = "month first"',
    **rows((2, "2025-03-04", "pour", 12)),
)
timesheet(
    "two-digit-years",
    "3.4.25,pour,12",
    "13.4.25,pour,7",
    "14.5.25,pour,7",
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-13", "pour", 7), (4, "2025-05-14", "pour", 7)),
)
timesheet(
    "two-digit-years-first",
    "25-04-03,pour,12",
    settings='dates = "year first"',
    **rows((2, "2025-04-03", "pour", 12)),
)
timesheet(
    "dates-in-two-orders",
    "13/4/2025,pour,12",
    "4/13/2025,pour,7",
    faults=["dates in two orders", "13/4/2025 in row 2", "4/13/2025 in row 3"],
)
timesheet(
    "dates-with-times",
    "2025-04-03 09:15,pour,12",
    "2025-04-03T17:00:00Z,pour,7",
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-03", "pour", 7)),
)
timesheet(
    "month-names",
    "3 Apr 2025,pour,12",
    '"Apr 4, 2025",pour,7',
    "5th April 2025,pour,1",
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-04", "pour", 7), (4, "2025-04-05", "pour", 1)),
)
timesheet(
    "month-names-of-the-locale",
    "3. März 2025,pour,12",
    "4. Dez. 2025,pour,7",
    locale="de_AT",
    **rows((2, "2025-03-03", "pour", 12), (3, "2025-12-04", "pour", 7)),
)
timesheet(
    "day-numbers",
    "45750,pour,12",
    "45751,pour,7",
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-04", "pour", 7)),
    changes=["45750 -> 2025-04-03"],
)
timesheet("slashes-year-first", "2025/4/3,pour,12", **rows((2, "2025-04-03", "pour", 12)))
timesheet(
    "no-such-day",
    "31.4.2025,pour,12",
    "13.4.2025,pour,7",
    faults=["timesheet.csv:2:date: cannot be used; found '31.4.2025'"],
)
# times, fractions, doubts, intervals
timesheet(
    "hours-and-minutes",
    "2025-04-03,pour,1h30",
    "2025-04-03,pour,1:30",
    "2025-04-03,pour,1 h 30 min",
    "2025-04-03,pour,0:45",
    **rows(
        (2, "2025-04-03", "pour", 90), (3, "2025-04-03", "pour", 90), (4, "2025-04-03", "pour", 90), (5, "2025-04-03", "pour", 45)
    ),
    changes=["1h30 -> 90", "0:45 -> 45"],
)
timesheet(
    "time-units",
    "2025-04-03,pour,90 min",
    '2025-04-03,pour,"1,5 h"',
    "2025-04-03,pour,0.5 hours",
    "2025-04-03,pour,2 Std.",
    **rows(
        (2, "2025-04-03", "pour", 90),
        (3, "2025-04-03", "pour", 90),
        (4, "2025-04-03", "pour", 30),
        (5, "2025-04-03", "pour", 120),
    ),
)
timesheet(
    "halves",
    "2025-04-03,pour,½ h",
    "2025-04-03,pour,1½ h",
    "2025-04-03,pour,1 1/2 h",
    "2025-04-03,pour,7½",
    **rows(
        (2, "2025-04-03", "pour", 30),
        (3, "2025-04-03", "pour", 90),
        (4, "2025-04-03", "pour", 90),
        (5, "2025-04-03", "pour", 7.5),
    ),
)
timesheet(
    "about-and-unsure",
    "2025-04-03,pour,~12",
    "2025-04-03,pour,12?",
    "2025-04-03,pour,ca. 20 min",
    "2025-04-03,pour,about 9",
    **rows(
        (2, "2025-04-03", "pour", 12), (3, "2025-04-03", "pour", 12), (4, "2025-04-03", "pour", 20), (5, "2025-04-03", "pour", 9)
    ),
    changes=["~12 -> 12", "12? -> 12"],
)
timesheet(
    "intervals",
    "2025-04-03,pour,10-12",
    "2025-04-03,pour,1–2 h",
    "2025-04-03,pour,9",
    **rows(
        (2, "2025-04-03", "pour", 11, 10, 12),
        (3, "2025-04-03", "pour", 90, 60, 120),
        (4, "2025-04-03", "pour", 9, None, None),
        columns="date step minutes minutes_low minutes_high",
    ),
)
timesheet(
    "interval-backwards",
    "2025-04-03,pour,12-10",
    faults=["timesheet.csv:2:minutes: is no interval from less to more"],
)
timesheet(
    "unit-of-another-kind",
    "2025-04-03,pour,12 g",
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
