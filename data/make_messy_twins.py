"""Write messy twins of the three demo studies: the same invented workshops, kept as people keep their notes.

ALL OF IT IS INVENTED, as the demos are. Each twin must tell the evidence exactly what its clean demo does; only the form
differs: another spreadsheet's dialect, own words, titles, totals, notes, units, and an export that overlaps another.

    python data/make_messy_twins.py
"""

import csv
import datetime as dt
import io
import random
import zipfile
from pathlib import Path

DATA = Path(__file__).parent
TWINS = DATA / "messy-twins"
SEED = 20
GERMAN = {
    "timesheet": ("Stunden", "Datum|Tätigkeit|Dauer|Produkt|Stück|davon gut|Bemerkung"),
    "batches": ("Chargen", "Charge|Datum|Produkt|Topf|Formen|gegossen|gut|Masse (g)|Raum (°C)|Aushärtung|Bemerkung"),
    "faults": ("Fehler", "Datum|Charge|Produkt|gefunden bei|Ursache|Stück|Verbleib|Mehrarbeit"),
    "moulds": ("Formen", "Form|Produkt|Nester|gemacht am|Silikon (g)|Dauer|ersetzt am|Abgüsse|Grund"),
    "purchases": ("Einkauf", "Datum|Was|Art|Menge|Einheit|bezahlt|mit MwSt|Jahre|Restwert"),
    "sales": (
        "Verkauf",
        "Datum|Auftrag|Kanal|Produkt|Stück|Preis (€)|Versand berechnet|Porto|Verpackung|Gebühren|Erstattung|Art",
    ),
    "prices_seen": ("Preise gesehen", "Datum|Wo|Was|Stück|Preis|verkauft"),
}
WORDS = {
    "fate": {"Ausschuss": "scrap", "Nacharbeit": "rework", "zweite Wahl": "second"},
    "tax_included": {"ja": "yes", "nein": "no"},
    "sold": {"ja": "yes", "nein": "no", "weiß nicht": "unknown"},
}


def clean(name, log):
    """Header and rows of a clean log."""
    header, *rows = csv.reader((DATA / name / "records" / f"{log}.csv").read_text(encoding="utf-8").splitlines())
    return header, rows


def spread(rng, lines, blanks=3):
    """The same lines with some blank ones between."""
    lines = list(lines)
    for _ in range(blanks):
        lines.insert(rng.randrange(len(lines)), [""] * len(lines[0]))
    return lines


def text(lines, separator):
    """Lines as a text file of that separator."""
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator="\r\n").writerows(lines)
    return out.getvalue()


def kelpmoor(rng):
    """Semicolons, decimal commas, D.M.Y, cp1252, German columns and words, totals and notes."""
    for log, (file, columns) in GERMAN.items():
        header, rows = clean("kelpmoor-handles", log)
        back = {column: {ours: hers for hers, ours in words.items()} for column, words in WORDS.items()}

        def cell(column, value, back=back):
            if not value or column in ("note", "description"):
                return value
            if column in ("date", "made", "retired"):
                return f"{dt.date.fromisoformat(value):%d.%m.%Y}"
            if column in ("price", "paid", "resale"):
                grouped = f"{float(value):,.2f}".translate(str.maketrans(",.", ".,"))
                return rng.choice([f"{grouped} €", grouped, f"€ {grouped}"])
            if column == "minutes" and rng.random() < 0.3:
                return rng.choice(
                    [f"{int(value) // 60}:{int(value) % 60:02}", f"{value} min", f"{int(value) // 60}h{int(value) % 60:02}"]
                )
            number = value.replace(".", "").isdigit() and column not in ("batch", "mould", "order", "moulds")
            return value.replace(".", ",") if number else back.get(column, {}).get(value, value)

        lines = [[cell(*pair) for pair in zip(header, row)] for row in rows]
        wide = [""] * (len(header) - 1)
        top = [["Kelpmoor (ERFUNDEN)", *wide], ["", *wide], columns.split("|")]
        total = ["Summe", *wide]
        table = [*top, *spread(rng, lines), total, ["", *wide], ["* alles erfunden, ohne Gewähr", *wide]]
        save("kelpmoor-handles", f"{file} 2025.csv", text(table, ";").encode("cp1252"))
    study("kelpmoor-handles", kelpmoor_table(), ('locale = "en_IE"', 'locale = "de_DE"'))


def kelpmoor_table():
    """What the study file says about these files."""
    lines = ["[records]", 'dates = "day first"  # no mould was made after the 12th of a month', "[records.files]"]
    lines += [f'"{file} 2025.csv" = "{log}"' for log, (file, _) in GERMAN.items()]
    for log, (_, columns) in GERMAN.items():
        header, _ = clean("kelpmoor-handles", log)
        lines += [f"[records.columns.{log}]"]
        lines += [f'"{hers.partition(" (")[0]}" = "{ours}"' for hers, ours in zip(columns.split("|"), header)]
    for column, words in WORDS.items():
        lines += [f"[records.words.{column}]", *(f'"{hers}" = "{ours}"' for hers, ours in words.items())]
    return "\n".join(lines)


def gannet(rng):
    """A workbook with a sheet a log, merged titles, real dates among written ones, D/M/Y, and totals."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    book.properties.created = book.properties.modified = dt.datetime(2025, 7, 1)
    for log in GERMAN:
        header, rows = clean("gannet-lane-figures", log)
        sheet = book.create_sheet(log.replace("_", " ").title())
        sheet.append([f"{log.replace('_', ' ')} of an INVENTED workshop, first half of 2025"])
        sheet.merge_cells(start_row=1, start_column=1, end_row=1, end_column=len(header))
        sheet.append([])
        sheet.append([name.replace("_", " ").capitalize() for name in header])
        dates = [at for at, name in enumerate(header) if name in ("date", "made", "retired")]
        for row in rows:
            line = [_typed(name, value) for name, value in zip(header, row)]
            for at in dates:
                day = dt.date.fromisoformat(row[at]) if row[at] else None
                line[at] = day and (day if log != "sales" else f"{day.day}/{day.month}/{day.year}")
            if log == "sales" and line[header.index("refund")]:
                line[header.index("refund")] *= -1
            if log == "timesheet" and rng.random() < 0.2:
                line[header.index("minutes")] = dt.time(*divmod(int(row[header.index("minutes")]), 60))
            sheet.append(line)
        sheet.append([])
        sheet.append(["Total", *[None] * (len(header) - 2), 1])
        sheet.append(["Note: typed up from the wall calendar"])
    out = io.BytesIO()
    book.save(out)
    save("gannet-lane-figures", "Workshop book.xlsx", undated(out.getvalue()))
    study("gannet-lane-figures", "")


def _typed(name, value):
    """A cell as a spreadsheet has it."""
    if name in ("batch", "mould", "order", "moulds", "note", "description", "reason") or not value:
        return value or None
    try:
        return float(value) if "." in value else int(value)
    except ValueError:
        return value


def undated(data):
    """The same archive without the time it was made, so that it is the same bytes whenever it is made."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for item in old.infolist():
            new.writestr(zipfile.ZipInfo(item.filename, (2025, 7, 1, 0, 0, 0)), old.read(item), zipfile.ZIP_DEFLATED)
    return out.getvalue()


def ninepenny(rng):
    """Tabs, UTF-16, M/D/Y, dollars, ounces, 1:30, and a second export of the sales that overlaps the first."""
    for log in GERMAN:
        header, rows = clean("ninepenny-lather", log)

        def cell(column, value):
            if not value:
                return value
            if column in ("date", "made", "retired"):
                day = dt.date.fromisoformat(value)
                return f"{day.month}/{day.day}/{day.year}"
            if column in ("price", "paid", "fees", "packaging", "resale"):
                return f"${float(value):,.2f}"
            if column == "minutes" and int(value) >= 60:
                return f"{int(value) // 60}:{int(value) % 60:02}"
            if column == "mixed_mass_g":
                return f"{float(value) / 28.349523125:.12f}".rstrip("0")
            return value

        lines = [[cell(*pair) for pair in zip(header, row)] for row in rows]
        if log == "purchases":  # the unit beside the figure, as on a receipt
            quantity, unit = header.index("quantity"), header.index("unit")
            for line in lines:
                if line[unit] and rng.random() < 0.5:
                    line[quantity], line[unit] = f"{line[quantity]} {line[unit]}", ""
        names = ["Mixed mass (oz)" if name == "mixed_mass_g" else name.replace("_", " ") for name in header]
        half = len(lines) // 2
        parts = {"sales 2025 a": lines[: half + 40], "sales 2025 b": lines[half:]} if log == "sales" else {log: lines}
        for file, part in parts.items():
            table = [["Ninepenny, an INVENTED workshop"], names, *spread(rng, part), ["Totals"]]
            wide = [row + [""] * (len(names) - len(row)) for row in table]
            save("ninepenny-lather", f"{file}.txt", text(wide, "\t").encode("utf-16"))
    study("ninepenny-lather", '[records]\ndates = "month first"  # the one mould was made on a day that leaves it open')


def save(name, file, data):
    """Write one file of records."""
    folder = TWINS / name / "records"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / file).write_bytes(data)


def study(name, table, *edits):
    """The demo's study file, marked as a twin, with a table about its records."""
    content = (DATA / name / "study.toml").read_text(encoding="utf-8")
    for old, new in edits:
        content = content.replace(old, new, 1)
    note = "# A messy twin of the demo of this name, made by data/make_messy_twins.py: INVENTED as that is.\n"
    (TWINS / name / "study.toml").write_text(f"{note}{content}\n{table}".rstrip() + "\n", encoding="utf-8", newline="\n")


def main():
    """Write all three."""
    for name, make in (("kelpmoor", kelpmoor), ("gannet", gannet), ("ninepenny", ninepenny)):
        make(random.Random(f"{SEED} {name}"))


if __name__ == "__main__":
    main()
