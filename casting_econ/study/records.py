"""The logs of a study: read from any sensible files, then checked against its names and against each other."""

import datetime as dt
import re
from dataclasses import dataclass, field, replace

import pandas as pd

from ..faults import Fault, close_match, counted
from ..ledger import LOGS, place_of, read_logs

__all__ = ["Names", "part_in_work", "read_records", "split_order", "steps_of"]

_BETWEEN = re.compile(r"\s*(?:[+&/,]|\band\b)\s*")  # steps of one row of the timesheet


@dataclass(frozen=True, kw_only=True)
class Names:
    """Names of the study file that its logs may use."""

    products: dict[str, frozenset[str]]  # with the steps of each
    channels: frozenset[str]
    places: frozenset[str]  # stations and racks
    tasks: frozenset[str]  # weekly tasks
    items: dict[str, bool] = field(
        default_factory=dict
    )  # materials, parts and equipment, and whether they are measured by volume
    orders: dict[str, frozenset[str]] = field(default_factory=dict)  # commissions, with the variants of each
    offered: dict[str, dt.date] = field(default_factory=dict)  # channels that say since when

    @property
    def order_names(self) -> list[str]:
        """What a batch may name as its order: a commission, or one and a variant of it."""
        return [
            *self.orders,
            *(f"{order} / {variant}" for order, variants in self.orders.items() for variant in sorted(variants)),
        ]


def read_records(folder, names, settings=None, currency="EUR", locale=None):
    """Read every log of a study.

    Parameters
    ----------
    folder : Path
        The study's `records` folder; it need not exist.
    names : Names or None
        Names that the logs must use; None leaves them unchecked.
    settings : RecordsTable, optional
        How the files are to be read, where they do not say it themselves.
    currency : str, optional
        Code of the study's currency.
    locale : str, optional
        Of the study, if it states one.

    Returns
    -------
    records : dict of str to DataFrame
        Logs that are there; blank cells are missing values, never zero. `part_in_work` parts off the loads still worked on.
    reading : Reading
        Every decision, changed cell and row set aside; its notes tell what is odd without being a fault.
    faults : list of Fault
    """
    records, reading, faults = read_logs(folder, settings, names, currency, locale)
    if names is not None:
        for log, frame in (records | reading.unsound).items():
            faults += _unknown_names(log, frame, names, reading)
    more, notes = _between_logs(records, names, reading)
    return records, replace(reading, notes=tuple(notes)), faults + more


def part_in_work(records):
    """Part the loads that are still worked on from the logs.

    Parameters
    ----------
    records : dict of str to DataFrame
        As read.

    Returns
    -------
    records : dict of str to DataFrame
        Without loads that have no count of good pieces yet, and without their faults; a log that has no other rows is left out.
    in_work, faults : DataFrame
        Those rows of the batches and of the faults log, with the same columns.
    """
    batches, faults = (records.get(log, pd.DataFrame(columns=list(LOGS[log]))) for log in ("batches", "faults"))
    still = batches.good.isna()
    theirs = faults.batch.notna() & faults.batch.isin(batches.batch[still])
    if not still.any():
        return records, batches[still], faults[theirs]
    over = batches[~still]
    if (over.good % 1 == 0).all():
        over = over.assign(good=over.good.astype("int64"))  # as it would be without blanks
    parted = records | {"batches": over} | ({"faults": faults[~theirs]} if "faults" in records else {})
    return {log: frame for log, frame in parted.items() if len(frame)}, batches[still], faults[theirs]


def steps_of(text: str, known) -> list[str]:
    """Steps that a cell of the timesheet names: one, or several joined by + & / , or 'and'; empty where one is unknown.

    Examples
    --------
    >>> steps_of("sand + polish", {"sand", "polish"})
    ['sand', 'polish']
    """
    if text in known:
        return [text]
    parts = _BETWEEN.split(text)
    return parts if len(parts) > 1 and all(part in known for part in parts) else []


def _unknown_names(log, frame, study, reading):
    """Names in a log that the study file does not know."""
    other = study.tasks | study.channels if log == "timesheet" else frozenset()
    steps = other.union(*study.products.values())
    known = {"product": frozenset(study.products), "channel": study.channels, "station": study.places, "step": steps}
    faults = []
    for column, names in known.items():
        if column not in frame or (column == "station" and not names):
            continue
        for (name, product), rows in _pairs(frame, column):
            allowed = study.products[product] | other if column == "step" and product in study.products else names
            if name not in allowed and not (column == "step" and log == "timesheet" and steps_of(name, allowed)):
                where = "a step, channel or weekly task" if column == "step" and log == "timesheet" else f"a {column}"
                right = (
                    f"{where} of the study file: {', '.join(sorted(allowed))}{close_match(name, sorted(allowed))}, "
                    f'or "{name}" = one of them in quotes, under [records.words.{column}] in study.toml'
                )
                for label in rows:
                    file, row = place_of(reading, log, label)
                    faults.append(
                        Fault(file=file, row=row, column=column, wrong=f"unknown {column}", found=repr(name), right=right)
                    )
    return faults


def _pairs(frame, column):
    """Rows of each pair of a name and a product, None where there is none."""
    products = frame["product"] if column == "step" else pd.Series([None] * len(frame), index=frame.index, dtype=object)
    named = frame[column].notna()
    codes = pd.DataFrame({"name": frame[column][named], "product": products[named].fillna("")})
    return codes.groupby(["name", "product"], sort=False).groups.items()


def _between_logs(records, names, reading):
    """Faults and oddities that only show between columns or logs."""
    faults, notes = [], []

    def fault(log, row, column, wrong, found, right):
        file, row = place_of(reading, log, row)
        faults.append(Fault(file=file, row=row, column=column, wrong=wrong, found=str(found), right=right))

    for log, less, more in (("batches", "good", "casts"), ("timesheet", "pieces_passed", "pieces_handled")):
        frame = (records | reading.unsound).get(log, pd.DataFrame({less: [], more: []}))
        frame = frame.assign(**{column: pd.to_numeric(frame[column], errors="coerce") for column in (less, more)})
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
        for row, line in moulds[moulds.retired.isna() & moulds.casts_at_retirement.notna()].iterrows():
            found = f"{line.casts_at_retirement:g} casts of {line.mould}, and no date"
            fault(
                "moulds",
                row,
                "retired",
                "casts at retirement without the date",
                found,
                "the date, or no casts while it is in use",
            )
    sales = records.get("sales")
    if sales is not None and names is not None:
        since = pd.to_datetime(sales.channel.map(names.offered))
        for row, line in sales[sales.date < since].iterrows():
            wrong, found = f"sold before {line.channel} was offered", f"{line.date:%Y-%m-%d}, offered since {since[row]:%Y-%m-%d}"
            fault("sales", row, "date", wrong, found, "offered_since in study.toml on or before the first sale")
    batches, found = records.get("batches"), records.get("faults")
    if batches is not None:
        notes += _open_notes(batches, found, names, reading)
    if batches is not None and found is not None:
        by_id = batches.set_index("batch")
        named = found[found.batch.notna()]
        strange = named[~named.batch.isin(by_id.index)]
        for number, (row, batch) in enumerate(strange.batch.items()):
            hint = close_match(batch, by_id.index, None if number < 20 else 0)  # of thousands each costs as many steps
            right = f"a batch of {_file(reading, 'batches')}{hint}"
            fault("faults", row, "batch", "unknown batch", repr(batch), right)
        named = named[named.batch.isin(by_id.index)]
        poured, made = named.batch.map(by_id.date), named.batch.map(by_id["product"])
        for row, line in named[named.date < poured].iterrows():
            dates = f"{line.date:%Y-%m-%d}, batch poured {poured[row]:%Y-%m-%d}"
            fault("faults", row, "date", "dates out of order", dates, "a date on or after the pour")
        other = named[(named.date >= poured) & named["product"].notna() & (named["product"] != made)]
        for row, product in other["product"].items():
            right = f"{made[row]!r}, as in {_file(reading, 'batches')}"
            fault("faults", row, "product", "not the product of its batch", repr(product), right)
        lost = found[(found.fate != "rework") & found.batch.isin(by_id.index)].groupby("batch").pieces.sum()
        missing = (by_id.casts - by_id.good.fillna(0)).reindex(lost.index)  # of a load still in work any piece may be lost
        for batch in lost.index[(lost > missing) & (missing >= 0)]:  # good beyond casts has a fault of its own
            row = found.index[found.batch == batch][-1]
            fault(
                "faults",
                row,
                "pieces",
                f"more faults than losses in batch {batch}",
                f"{lost[batch]:g} scrapped or seconds, {missing[batch]:g} {'cast' if pd.isna(by_id.good[batch]) else 'not good'}",
                f"at most {missing[batch]:g} in all",
            )
        by_id = by_id[by_id.good.notna()]
        lost = lost[lost.index.isin(by_id.index)]
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
                f"{unexplained:g} pieces are not good in {_file(reading, 'batches')} but have no row in {_file(reading, 'faults')}; "
                "they are booked to the first check."
            )
    if found is not None and names is not None and len(names.products) > 1:
        for row in found.index[found.batch.isna() & found["product"].isna()]:
            fault("faults", row, "product", "neither batch nor product", "blank", "one of them, as there are several products")
    return faults, notes


def _open_notes(batches, found, names, reading):
    """Loads that are still in work, and orders that no commission of the study file has."""
    file, notes, still = _file(reading, "batches"), [], batches.good.isna()
    if still.any():
        theirs = 0 if found is None else int((found.batch.notna() & found.batch.isin(batches.batch[still])).sum())
        with_faults = f", with their {counted(theirs, 'row')} of {_file(reading, 'faults')}" if theirs else ""
        has, counts = ("has", "it counts") if still.sum() == 1 else ("have", "they count")
        loads = counted(int(still.sum()), "load")
        notes.append(f"{loads} of {file} {has} no count of good pieces yet; {counts} as in work{with_faults}.")
    known = {split_order(name) for name in names.order_names} if names is not None else set()
    strange = [name for name in sorted(set(batches.order.dropna())) if names is not None and split_order(name) not in known]
    if strange:
        listed = ", ".join(f"{name!r}{close_match(name, names.order_names)}" for name in strange[:3])
        more = f" and {len(strange) - 3} more" if len(strange) > 3 else ""
        notes.append(f"{file} names orders that are no commission of study.toml: {listed}{more}. An order that is over may stay.")
    return notes


def split_order(text):
    """Commission and variant, in small letters, of what a batch names as its order: 'Hotel / sea green'."""
    order, _, variant = text.casefold().partition("/")
    return order.strip(), variant.strip()


def _file(reading, log):
    """The file of a log, as it is named in sentences."""
    return " and ".join(place.removeprefix("records/") for place in reading.places(log)) or f"{log}.csv"
