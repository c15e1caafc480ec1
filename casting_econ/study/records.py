"""Workshop logs in their clean form: UTF-8, commas, ISO dates, decimal points, one row an event."""

import csv
import io
import re
from dataclasses import dataclass

import pandas as pd

from ..faults import Fault, close_match

__all__ = ["LOGS", "Names", "read_records"]

_DATE = re.compile(r"(19|20)\d{2}-\d{2}-\d{2}", re.ASCII)
# log -> its columns, each with its kind; ! marks the ones it needs
_COLUMNS = {
    "timesheet": "date!:date step!:text minutes!:minutes product:text pieces_handled:whole pieces_passed:whole note:text",
    "batches": "batch!:text date!:date product!:text station:text moulds:text casts!:whole good!:whole mixed_mass_g:amount "
    "room_c:temperature cure_h:amount note:text",
    "faults": "date!:date batch:text product:text step!:text cause!:text pieces!:whole fate!:fate extra_minutes:amount",
    "moulds": "mould!:text product!:text cavities!:whole made!:date material_g:amount minutes:amount retired:date "
    "casts_at_retirement:whole reason:text",
    "purchases": "date!:date item!:text kind!:purchase quantity!:positive unit:text paid!:amount tax_included:yes_no "
    "useful_years:positive resale:amount",
    "sales": "date!:date order:text channel!:text product!:text pieces!:whole price!:amount postage_charged:amount "
    "postage_paid:amount packaging:amount fees:amount refund:amount kind:sale",
    "prices_seen": "date!:date place!:text description!:text pieces!:positive price!:positive sold:sold",
}
_WORDS = {
    "fate": ("scrap", "rework", "second"),
    "sale": ("sale", "replacement", "sample", "gift"),
    "purchase": ("material", "consumable", "equipment", "overhead"),
    "yes_no": ("yes", "no"),
    "sold": ("yes", "no", "unknown"),
}


def _columns(text):
    pairs = (column.split(":") for column in text.split())
    return {name.rstrip("!"): (_WORDS.get(kind, kind), name.endswith("!")) for name, kind in pairs}


LOGS: dict[str, dict[str, tuple[str | tuple[str, ...], bool]]] = {log: _columns(text) for log, text in _COLUMNS.items()}
# far beyond any workshop, so that no figure overflows
_LIMITS = {
    "amount": (0, 1e9),
    "positive": (1e-9, 1e9),
    "whole": (0, 1e9),
    "minutes": (1e-9, 1440),
    "temperature": (-30, 60),
}
_UNIQUE = {"batches": "batch", "moulds": "mould"}
_IN_WORDS = {
    "date": "a date such as 2025-04-03",
    "text": "some text",
    "amount": "a number of zero or more with a decimal point",
    "positive": "a number above zero with a decimal point",
    "whole": "a whole number of zero or more",
    "minutes": "minutes above zero and at most the 1440 of a day, with a decimal point",
    "temperature": "degrees Celsius between -30 and 60",
}


@dataclass(frozen=True, kw_only=True)
class Names:
    """Names of the study file that its logs may use."""

    products: dict[str, frozenset[str]]  # with the steps of each
    channels: frozenset[str]
    places: frozenset[str]  # stations and racks
    tasks: frozenset[str]  # weekly tasks


def read_records(folder, names):
    """Read every log of a study.

    Parameters
    ----------
    folder : Path
        The study's `records` folder; it need not exist.
    names : Names or None
        Names that the logs must use; None leaves them unchecked.

    Returns
    -------
    records : dict of str to DataFrame
        Logs that are there; blank cells are missing values, never zero.
    notes : tuple of str
        What is odd without being a fault.
    faults : list of Fault
    """
    records, faults, notes = {}, [], []
    if not folder.is_dir():
        return records, (), faults
    for path in sorted(folder.iterdir()):
        if path.suffix != ".csv" or path.stem not in LOGS:  # in small letters, as runs look for them
            if path.suffix.lower() == ".csv":
                right = f"one of {', '.join(f'{name}.csv' for name in LOGS)}{close_match(path.stem, LOGS)}"
                faults.append(Fault(file=f"records/{path.name}", wrong="unknown log", found=path.name, right=right))
            continue
        log, more = _read_log(path)
        faults += more
        if log is not None:
            records[path.stem] = log
    if names is not None:
        for name, log in records.items():
            faults += _unknown_names(name, log, names)
    more, notes = _between_logs(records, names)
    faults += more
    return records, tuple(notes), faults


def _read_log(path):
    """One log as a typed frame, or its faults."""
    import pandera.pandas as pa

    place, columns = f"records/{path.name}", LOGS[path.stem]
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        return None, [Fault(file=place, wrong="cannot be read", found=str(error.strerror), right="a file you may read")]
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        return None, [
            Fault(file=place, row=line, wrong="is not UTF-8", found=str(error.reason), right="the file saved as CSV UTF-8")
        ]
    try:
        rows = [(number, row) for number, row in _numbered(text) if any(cell.strip() for cell in row)]
    except csv.Error as error:
        return None, [Fault(file=place, wrong="is not a table", found=str(error), right="rows of cells with commas between them")]
    if len(rows) < 2:
        found = "no header" if not rows else "a header and no rows"
        return None, [Fault(file=place, wrong="empty log", found=found, right="at least one row, or no such file")]
    header = [cell.strip() for cell in rows[0][1]]
    faults = _header_faults(place, header, columns)
    for number, row in rows[1:]:
        if len(row) != len(header):
            faults.append(
                Fault(
                    file=place,
                    row=number,
                    wrong="wrong number of cells",
                    found=str(len(row)),
                    right=f"{len(header)}, as in the header",
                )
            )
    if faults:
        return None, faults
    frame = pd.DataFrame([[cell.strip() for cell in row] for _, row in rows[1:]], columns=header, index=[n for n, _ in rows[1:]])
    frame = frame.replace("", None)
    schema = pa.DataFrameSchema({name: _column(pa, *columns[name], name == _UNIQUE.get(path.stem)) for name in header})
    try:
        schema.validate(frame, lazy=True)
    except pa.errors.SchemaErrors as error:
        return None, [_cell_fault(place, case, columns) for case in error.failure_cases.to_dict("records")]
    for name in header:
        kind = columns[name][0]
        if kind == "date":
            frame[name] = pd.to_datetime(frame[name], format="%Y-%m-%d")
        elif kind in _LIMITS:
            frame[name] = pd.to_numeric(frame[name])
    for name in set(columns) - set(header):
        kind = {"date": "datetime64[ns]", **dict.fromkeys(_LIMITS, float)}.get(columns[name][0], object)
        frame[name] = pd.Series([None] * len(frame), index=frame.index, dtype=kind)
    return frame, []


def _numbered(text):
    """CSV rows with the line each starts on."""
    reader, line = csv.reader(io.StringIO(text, newline="")), 1
    for row in reader:
        yield line, row
        line = reader.line_num + 1


def _header_faults(place, header, columns):
    faults = []
    for name in header:
        if name not in columns:
            hint = (
                " (cells parted by ';' or tabs?)"
                if len(header) == 1 and re.search(r"[;\t]", name)
                else close_match(name, columns)
            )
            faults.append(
                Fault(file=place, row=1, wrong="unknown column", found=repr(name), right=f"one of {', '.join(columns)}{hint}")
            )
        elif header.count(name) > 1:
            faults.append(Fault(file=place, row=1, column=name, wrong="column twice", found=repr(name), right="each column once"))
    for name, (_, needed) in columns.items():
        if needed and name not in header:
            faults.append(
                Fault(
                    file=place,
                    row=1,
                    column=name,
                    wrong="column is missing",
                    right=f"a column {name} with {_words(columns[name][0])}",
                )
            )
    return faults


def _column(pa, kind, needed, unique):
    """Pandera column for one kind of cell, on the text as it stands in the file."""

    def good(cell):
        return _fits(kind, cell)

    return pa.Column(object, pa.Check(good, element_wise=True, name="fits"), nullable=not needed, unique=unique)


def _fits(kind, cell):
    if isinstance(kind, tuple):
        return cell in kind
    if kind == "text":
        return True
    if kind == "date":
        try:
            return bool(_DATE.fullmatch(cell)) and pd.Timestamp(cell) is not pd.NaT
        except ValueError:
            return False
    try:
        figure = float(cell)
    except ValueError:
        return False
    low, high = _LIMITS[kind]
    return low <= figure <= high and cell.isascii() and "_" not in cell and (kind != "whole" or figure == int(figure))


def _words(kind):
    return f"one of {', '.join(kind)}" if isinstance(kind, tuple) else _IN_WORDS[kind]


def _cell_fault(place, case, columns):
    column, check = case["column"], str(case["check"])
    kind = columns[column][0]
    row = None if case["index"] is None else int(case["index"])
    if "not_nullable" in check:
        return Fault(file=place, row=row, column=column, wrong="empty cell", right=_words(kind))
    if "unique" in check:
        return Fault(
            file=place, row=row, column=column, wrong="the same id twice", found=repr(case["failure_case"]), right="each id once"
        )
    hint = close_match(case["failure_case"], kind) if isinstance(kind, tuple) else ""
    return Fault(
        file=place, row=row, column=column, wrong="cannot be used", found=repr(case["failure_case"]), right=_words(kind) + hint
    )


def _unknown_names(log, frame, study):
    """Names in a log that the study file does not know."""
    other = study.tasks | study.channels if log == "timesheet" else frozenset()
    known = {
        "product": study.products,
        "channel": study.channels,
        "station": study.places,
        "step": other.union(*study.products.values()),
    }
    faults = []
    for column, names in known.items():
        if column not in frame or (column == "station" and not names):
            continue
        for row, name in frame[column].items():
            if column == "step" and frame["product"][row] in study.products:
                names = study.products[frame["product"][row]] | other
            if isinstance(name, str) and name not in names:
                where = "a step, channel or weekly task" if column == "step" and log == "timesheet" else f"a {column}"
                right = f"{where} of the study file: {', '.join(sorted(names))}{close_match(name, names)}"
                faults.append(
                    Fault(
                        file=f"records/{log}.csv",
                        row=row,
                        column=column,
                        wrong=f"unknown {column}",
                        found=repr(name),
                        right=right,
                    )
                )
    return faults


def _between_logs(records, names):
    """Faults and oddities that only show between columns or logs."""
    faults, notes = [], []

    def fault(log, row, column, wrong, found, right):
        faults.append(Fault(file=f"records/{log}.csv", row=row, column=column, wrong=wrong, found=str(found), right=right))

    for log, less, more in (("batches", "good", "casts"), ("timesheet", "pieces_passed", "pieces_handled")):
        frame = records.get(log, pd.DataFrame({less: [], more: []}))
        for row, line in frame[frame[less] > frame[more]].iterrows():
            fault(log, row, less, f"more {less} than {more}", f"{line[less]:g} of {line[more]:g}", f"at most {line[more]:g}")
    moulds = records.get("moulds")
    if moulds is not None:
        for row, line in moulds[moulds.retired < moulds.made].iterrows():
            fault(
                "moulds",
                row,
                "retired",
                "dates out of order",
                f"retired {line.retired:%Y-%m-%d}, made {line.made:%Y-%m-%d}",
                "a date on or after the one it was made",
            )
        for row, line in moulds[moulds.retired.notna() & moulds.casts_at_retirement.isna()].iterrows():
            fault("moulds", row, "casts_at_retirement", "retired without its casts", line.mould, "casts a cavity had given")
    batches, found = records.get("batches"), records.get("faults")
    if batches is not None and found is not None:
        by_id = batches.set_index("batch")
        for row, line in found[found.batch.notna()].iterrows():
            if line.batch not in by_id.index:
                fault(
                    "faults",
                    row,
                    "batch",
                    "unknown batch",
                    repr(line.batch),
                    f"a batch of batches.csv{close_match(line.batch, by_id.index)}",
                )
            elif line.date < by_id.date[line.batch]:
                fault(
                    "faults",
                    row,
                    "date",
                    "dates out of order",
                    f"{line.date:%Y-%m-%d}, batch poured {by_id.date[line.batch]:%Y-%m-%d}",
                    "a date on or after the pour",
                )
            elif isinstance(line["product"], str) and line["product"] != by_id["product"][line.batch]:
                own = by_id["product"][line.batch]
                fault(
                    "faults", row, "product", "not the product of its batch", repr(line["product"]), f"{own!r}, as in batches.csv"
                )
        lost = found[(found.fate != "rework") & found.batch.isin(by_id.index)].groupby("batch").pieces.sum()
        missing = (by_id.casts - by_id.good).reindex(lost.index)
        for batch in lost.index[(lost > missing) & (missing >= 0)]:  # good beyond casts has a fault of its own
            row = found.index[found.batch == batch][-1]
            fault(
                "faults",
                row,
                "pieces",
                f"more faults than losses in batch {batch}",
                f"{lost[batch]:g} scrapped or seconds, {missing[batch]:g} not good",
                f"at most {missing[batch]:g} in all",
            )
        loose = found[(found.fate != "rework") & found.batch.isna()]
        for name, rows in loose.groupby("product"):
            mine = by_id[by_id["product"] == name]
            room = (mine.casts - mine.good).sum() - lost[lost.index.isin(mine.index)].sum()
            if len(mine) and rows.pieces.sum() > room:
                some = f"{rows.pieces.sum():g} scrapped or seconds of no batch, room for {room:g}"
                fault("faults", rows.index[-1], "pieces", f"more faults than losses of {name}", some, f"at most {room:g} in all")
        unexplained = (by_id.casts - by_id.good).sum() - lost.sum()
        if unexplained > 0 and not faults:
            notes.append(
                f"{unexplained:g} pieces are not good in batches.csv but have no row in faults.csv; they are booked to the first check."
            )
    if found is not None and names is not None and len(names.products) > 1:
        for row in found.index[found.batch.isna() & found["product"].isna()]:
            fault("faults", row, "product", "neither batch nor product", "blank", "one of them, as there are several products")
    return faults, notes
