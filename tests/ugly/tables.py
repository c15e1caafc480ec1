"""What stands in and around tables: purchases, sales, titles, totals, own words, several files and workbooks."""

import datetime as dt

from build import DAY, SOLD, case, rows, sheet_times, timesheet

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
timesheet(
    "total-in-the-second-column",
    "2025-04-03,pour,12",
    ",Summe:,12",
    **rows((2, "2025-04-03", "pour", 12)),
    aside={"3": "total"},
)
timesheet(
    "subtotals",
    "2025-04-03,pour,12",
    "Subtotal April,,12",
    "2025-05-03,pour,7",
    "Grand total,,19",
    **rows((2, "2025-04-03", "pour", 12), (4, "2025-05-03", "pour", 7)),
    aside={"3": "total", "5": "total"},
)
timesheet(
    "totals-without-the-word",
    "2025-04-03,pour,12",
    "2025-04-04,pour,8",
    ",,20",
    "2025-05-03,pour,7",
    ",,27",
    **rows((2, "2025-04-03", "pour", 12), (3, "2025-04-04", "pour", 8), (5, "2025-05-03", "pour", 7)),
    aside={"4": "total: figures alone", "6": "total: figures alone"},
)
timesheet(
    "figures-alone-that-are-no-sum",
    "2025-04-03,pour,12",
    "2025-04-04,pour,8",
    ",,25",
    faults=["timesheet.csv:4: figures alone; found 25; right would be the word total in the row"],
)
case(
    "totals-with-a-date",
    {
        "purchases.csv": "date,item,kind,quantity,paid\n2025-04-03,lye,material,1,9\n2025-04-05,oil,material,2,10\n2025-04-30,,,3,19\n2025-05-03,oil,material,2,10\n2025-05-31,TOTAL 2025,material,5,29\n"
    },
    **rows(
        (2, "2025-04-03", "lye", "material", 1, 9),
        (3, "2025-04-05", "oil", "material", 2, 10),
        (5, "2025-05-03", "oil", "material", 2, 10),
        columns="date item kind quantity paid",
        log="purchases",
    ),
    aside={"4": "total: figures alone", "6": "total: 2025-05-31 TOTAL"},
)
case(
    "dated-figures-that-are-no-sum",
    {"purchases.csv": "date,item,kind,quantity,paid\n2025-04-03,lye,material,1,9\n2025-04-05,,,1,12\n"},
    faults=["purchases.csv:3:item: empty cell", "purchases.csv:3:kind: empty cell"],
)
case(
    "note-of-one-cell",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12") + "\nNote: the week of the fair is missing\n"},
    **rows((2, "2025-04-03", "pour", 12)),
    aside={"3": "blank", "4": "note"},
)
timesheet(
    "header-again",
    "2025-04-03,pour,12",
    "date,step,minutes",
    "2025-05-03,pour,7",
    **rows((2, "2025-04-03", "pour", 12), (4, "2025-05-03", "pour", 7)),
    aside={"3": "header again"},
)
timesheet(
    "header-again-in-another-order",
    "2025-04-03,pour,12",
    "minutes,date,step",
    "7,2025-05-03,pour",
    **rows((2, "2025-04-03", "pour", 12), (4, "2025-05-03", "pour", 7)),
    aside={"3": "header again"},
)
case("empty-file", {"timesheet.csv": ""}, faults=["timesheet.csv: empty log"])
case(
    "no-header",
    {"timesheet.csv": "2025-04-03,pour,12\n2025-04-04,pour,12\n"},
    faults=["timesheet.csv:1: no row names the columns; found '2025-04-03'"],
)
case(
    "phone-note",
    {"timesheet.txt": "Mon 4 May - sanded ten, 50 min\nTue - polished, half an hour\n"},
    faults=["timesheet.txt:1: no row names the columns", "a cell each: date, step, minutes"],
)
case(
    "date-once-a-day",
    {"timesheet.csv": sheet_times("2025-04-03,pour,12", ",trim,7")},
    faults=["timesheet.csv:3:date: empty cell; right would be a date such as 2025-04-03, in every row"],
)
timesheet(
    "times-in-words",
    "2025-04-03,pour,half an hour",
    "2025-04-04,pour,an hour",
    "2025-04-05,pour,2 h 15",
    **rows((2, "2025-04-03", "pour", 30), (3, "2025-04-04", "pour", 60), (4, "2025-04-05", "pour", 135)),
)
case(
    "counts-with-their-word",
    {"sales.csv": f"{SOLD.replace(' ', ',')}\n2025-04-03,fair,candle,2 pcs,12\n2025-04-03,fair,bowl,3 Stück,12\n"},
    **rows((2, "2025-04-03", "fair", "candle", 2, 12), (3, "2025-04-03", "fair", "bowl", 3, 12), columns=SOLD, log="sales"),
)
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
    faults=[
        "timesheet.csv:1:minutes: column is missing; found 'minuets', the",
        '"minuets" = "minutes" under [records.columns.timesheet]',
    ],
)
case(
    "unknown-columns-of-each-kind",
    {"timesheet.csv": "Tag,Stunden,Wetter,Arbeit,gut\n03.04.2025,1.5,12 %,gießen,-\n14.04.2025,?,90 %,gießen,3\n"},
    faults=[
        "timesheet.csv:1:date: column is missing; found 'Tag', the",
        'minutes (stunden) as its heading, or "Stunden" = { column = "minutes", unit = "stunden" }',
        "step: column is missing; found 'Arbeit', the",
        "unknown column; found 'Wetter'",
        '(did you mean \'pieces_passed\'?), or "gut" = "pieces_passed" (or',
    ],
)
case(
    "unknown-file",
    {"hours.csv": sheet_times("2025-04-03,pour,12")},
    faults=[
        "records/hours.csv: unknown log",
        '"hours.csv" = one of timesheet',
        "(did you mean 'timesheet'? It has those headings)",
    ],
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
timesheet(
    "declared-file-not-there",
    "2025-04-03,pour,12",
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
timesheet(
    "same-rows-in-one-file-count-twice",
    "2025-04-03,pour,12",
    "2025-04-03,pour,12",
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
timesheet(
    "workbook-error-cell",
    "2025-04-03,pour,#REF!",
    faults=["timesheet.csv:2:minutes: is an error of the spreadsheet"],
)
case("junk", {"timesheet.csv": bytes(range(256)) * 4}, faults=["timesheet.csv: is not a table; found no text"])
case("web-page", {"timesheet.csv": "<!DOCTYPE html><html><table></table></html>"}, faults=["is not a table; found a web page"])
