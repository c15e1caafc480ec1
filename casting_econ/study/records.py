"""The logs of a study: read from any sensible files, then checked against its names and against each other."""

import datetime as dt
import re
from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from ..faults import Fault, close_match, counted, some_of
from ..ledger import LOGS, place_of, read_logs
from ..ledger.logs import last_day_of, plain

MOULD, ONE_OFF = "mould", "one-off"  # steps of the timesheet that every study knows
MOST_ROWS, FEW = 8, 3  # rows that a fault lists beside its own; cells with the same fault that are told one by one
_LONE, _FEWEST_DAYS = dt.timedelta(days=300), 5  # that part a day from all others; days in the logs before one can be alone
_BETWEEN = re.compile(r"\s*(?:[+&/,]|\band\b)\s*")  # steps of one row of the timesheet


@dataclass(frozen=True, kw_only=True)
class Names:
    """Names of the study file that its logs may use."""

    products: dict[str, frozenset[str]]  # with the steps of each
    channels: frozenset[str]
    places: frozenset[str]  # stations and racks
    tasks: frozenset[str]  # of the timesheet, beside steps and channels: weekly ones, making moulds, what is done once only
    items: dict[str, bool] = field(default_factory=dict)  # materials, parts and equipment, and whether by volume
    orders: dict[str, frozenset[str]] = field(default_factory=dict)  # commissions, with the variants of each
    offered: dict[str, dt.date] = field(default_factory=dict)  # channels that say since when
    sells: dict[str, str] = field(default_factory=dict)  # product of each channel

    @property
    def beside(self) -> frozenset[str]:
        """What a row of the timesheet may be about beside the steps of a product."""
        return self.tasks | self.channels

    def of_columns(self, log: str) -> dict[str, frozenset[str]]:
        """Names that may stand in the columns of a log."""
        steps = frozenset(self.beside if log == "timesheet" else ()).union(*self.products.values())
        return {"product": frozenset(self.products), "channel": self.channels, "station": self.places, "step": steps}

    @property
    def order_names(self) -> list[str]:
        """What a batch may name as its order: a commission, or one and a variant of it."""
        parts = (f"{order} / {variant}" for order, variants in self.orders.items() for variant in sorted(variants))
        return [*self.orders, *parts]


def read_records(folder, names, settings=None, currency="EUR", locale=None):
    """Read every log of a study's `records` folder, which need not exist: the logs that are there, how they were read, and faults.

    `names` are those that the logs must use, None leaves them unchecked; `settings` say how files are to be read, where they do not say it
    themselves. Blank cells are missing values, never zero; `part_in_work` parts off the loads still worked on.
    """
    records, reading, faults = read_logs(folder, settings, names, currency, locale)
    _tell_unused_columns(settings.columns if settings else {}, reading)
    if names is not None:
        for log, frame in (records | reading.unsound).items():
            faults += _unknown_names(log, frame, names, reading)
        faults += _unknown_items(settings.words.get("item", {}) if settings else {}, names)
    more, notes = _between_logs(records, names, reading)
    return records, replace(reading, notes=tuple(notes)), _once_a_cause(faults + more)


def _tell_unused_columns(named, reading):
    """Say with a log's first file which columns the study file names that no file of that log has."""
    for log, columns in named.items():
        files = [file for file in reading.files if file.log == log]
        headings = {column.header for file in files for column in file.columns}
        there = {plain(form) for heading in headings for form in (heading, *re.split(r"[(\[]", heading)[:1])}
        unused = [repr(name) for name in columns if plain(name) not in there]
        if unused and files and all(file.columns or file.empty for file in files):
            files[0].decisions.append(f"under [records.columns.{log}], but in no file of it: {', '.join(unused)}")


def known_on(records, day):
    """The logs that have a row by the evening of a day, as they stood then: without later rows, ends of moulds, and counts of loads `checked`
    later; a load whose `checked` is blank counts from its date on."""
    evening, found = pd.Timestamp(day), {}
    for log, frame in records.items():
        written = last_day_of(frame) if log == "timesheet" else frame["made" if log == "moulds" else "date"]
        frame = frame[written <= evening]
        for event, known in {"checked": ["good", "checked"], "retired": ["retired", "casts_at_retirement", "reason"]}.items():
            if event in frame and (later := frame[event] > evening).any():
                frame = frame.assign(**{column: frame[column].mask(later) for column in known})
        found |= {log: frame} if len(frame) else {}
    return found


def part_in_work(records):
    """The logs without loads that have no count of good pieces yet, and without their faults, a log that has no other rows left out; and those
    rows of the batches and of the faults log apart, with the same columns."""
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

    >>> steps_of("sand + polish", {"sand", "polish"})
    ['sand', 'polish']
    """
    if text in known:
        return [text]
    parts = _BETWEEN.split(text)
    return parts if len(parts) > 1 and all(part in known for part in parts) else []


def _unknown_items(words, names):
    """Words of the study file for an item of the purchases that are nearly a name of it: by them no purchase would count."""
    near = {hers: close_match(ours, names.items) for hers, ours in words.items() if ours not in names.items}
    right = "the study's name of a material, a part or equipment{}, or no such line"
    return [
        Fault("study.toml", "unknown item", right.format(hint), column=f"records.words.item.{hers}", found=repr(words[hers]))
        for hers, hint in near.items()
        if hint
    ]


def _unknown_names(log, frame, study, reading):
    """Names in a log that the study file does not know."""
    other = study.beside if log == "timesheet" else frozenset()
    faults = []
    for column, names in study.of_columns(log).items():
        if column not in frame or (column == "station" and not names):
            continue
        products = frame["product"] if column == "step" else [None] * len(frame)
        pairs = {}  # rows of each name and, of steps, product
        for label, name, product in zip(frame.index, frame[column], products):
            if name is not None:
                pairs.setdefault((name, product), []).append(label)
        for (name, product), rows in pairs.items():
            allowed = study.products[product] | other if column == "step" and product in study.products else names
            if name not in allowed and not (column == "step" and log == "timesheet" and steps_of(name, allowed)):
                where = "a step, channel, weekly or one-off task" if column == "step" and log == "timesheet" else f"a {column}"
                right = f"{where} of the study file: {', '.join(sorted(allowed))}{close_match(name, sorted(allowed))}, "
                right += f'or "{name}" = one of them in quotes, under [records.words.{column}] in study.toml'
                if column == "channel":  # another way of selling than those of the study, which none of them can stand for
                    right += f', or [channels."{name}"] with its own product, orders, pieces_per_order and price there'
                for label in rows:
                    file, row = place_of(reading, log, label)
                    faults.append(Fault(file, f"unknown {column}", right, row=row, column=column, found=repr(name)))
    return faults


def _once_a_cause(faults):
    """One fault for all rows of a column in which the same is wrong: the first row's, with the others' numbers."""

    def cause(fault):
        return fault.file, fault.column, fault.wrong, fault.right

    many, told = Counter(map(cause, faults)), {}
    for fault in faults:  # the same cell once; many different ones once too
        few = many[cause(fault)] <= FEW
        once = fault.row is not None and fault.column and (fault.found or not few)
        told.setdefault((*cause(fault), fault.found if few else "") if once else (id(fault),), []).append(fault)
    return [_with_rows(*sorted(same, key=lambda fault: fault.row or 0)) for same in told.values()]


def _with_rows(first, *more):
    rows = [str(fault.row) for fault in more]
    found = f"{first.found or 'a blank'}; the same in row{'s' * (len(rows) > 1)} {some_of(rows, MOST_ROWS)}"
    return replace(first, found=found) if more else first


# frame | column of the fault | what no row of the frame may be | wrong | found | right; the last three name columns of the frame
_RULES = """
batches | good | good > casts | more good than casts | {good:g} of {casts:g} | at most {casts:g}
batches | checked | checked < date | dates out of order | checked {checked:%Y-%m-%d}, poured {date:%Y-%m-%d} | a date on or after the pour
timesheet | until | until < date | dates out of order | until {until:%Y-%m-%d}, date {date:%Y-%m-%d} | a last day on or after the date
timesheet | days | (until >= date) & (days > span) | more days than there are | {days:g} days from {date:%Y-%m-%d} until {until:%Y-%m-%d} | at most {span:g}
timesheet | pieces_passed | pieces_passed > pieces_handled | more pieces_passed than pieces_handled | {pieces_passed:g} of {pieces_handled:g} | at most {pieces_handled:g}
moulds | retired | retired < made | dates out of order | retired {retired:%Y-%m-%d}, made {made:%Y-%m-%d} | a date on or after the one it was made
moulds | casts_at_retirement | retired.notna() & casts_at_retirement.isna() | retired without its casts | {mould} | casts a cavity had given
moulds | retired | retired.isna() & casts_at_retirement.notna() | casts at retirement without the date | {casts_at_retirement:g} casts of {mould}, and no date | the date, or no casts while it is in use
sales | date | (date < offered) & (kind != "nothing") | sold before {channel} was offered | {date:%Y-%m-%d}, offered since {offered:%Y-%m-%d} | offered_since in study.toml on or before the first sale
sales | buyers | (buyers > pieces) & order.isna() | more buyers than pieces | {buyers:g} for {pieces:g} pieces | at most {pieces:g}, each with an order of theirs
sales | buyers | (buyers < 1) & (pieces + price > 0) | something sold to no buyer | {pieces:g} for {price:g} | how many bought, or a blank for one
sales | pieces | (kind == "nothing") & (pieces + price > 0) | something sold in a row of kind nothing | {pieces:g} for {price:g} | 0 for 0, or another kind
faults | product | several & batch.isna() & product.isna() | neither batch nor product | blank | one of them, as there are several products
faults of batches | batch | batch.notna() & poured.isna() | unknown batch | {batch!r} | a batch of {file}{hint}
faults of batches | date | date < poured | dates out of order | {date:%Y-%m-%d}, batch poured {poured:%Y-%m-%d} | a date on or after the pour
faults of batches | product | (date >= poured) & product.notna() & (product != made) | not the product of its batch | {product!r} | {made!r}, as in {file}
faults by batch | pieces | (lost > room) & (room >= 0) | more faults than losses in batch {batch} | {lost:g} scrapped or seconds, {room:g} {kind} | at most {room:g} in all
faults by product | pieces | lost > room | more faults than losses of {product} | {lost:g} scrapped or seconds of no batch, room for {room:g} | at most {room:g} in all
"""


def _between_logs(records, names, reading):
    """Faults and oddities that only show between columns or logs."""
    frames, faults, notes = _frames(records, names, reading), [], []
    for rule in _RULES.strip().splitlines():
        name, column, broken, *words = rule.split(" | ")
        frame = frames.get(name)
        for label, line in () if frame is None else frame[eval(broken, {}, frame)].iterrows():
            file, row = place_of(reading, name.partition(" ")[0], label)
            wrong, found, right = (text.format_map(line) for text in words)
            faults.append(Fault(file, wrong, right, row=row, column=column, found=found))
    batches, found = records.get("batches"), records.get("faults")
    if batches is not None:
        notes += _open_notes(batches, found, reading)
    notes += _sold_elsewhere(records, names, reading) + _strange_orders(records, names, reading) + _lone_days(records, reading)
    if batches is not None and found is not None and not faults:
        done = batches[batches.good.notna()]
        unexplained = (done.casts - done.good).sum() - found.pieces[(found.fate != "rework") & found.batch.isin(done.batch)].sum()
        if unexplained > 0:
            files = f"in {_file(reading, 'batches')}, without a row in {_file(reading, 'faults')}"
            notes.append(f"{counted(int(unexplained), 'piece')} not good {files}; booked to the first check.")
    return faults, notes


def _frames(records, names, reading):
    """The logs with what they name in the study file and in each other, and the faults summed by batch and by product."""
    frames = {log: frame for log, frame in reading.unsound.items() if log in ("batches", "timesheet")} | records
    offered, several = ({}, False) if names is None else (names.offered, len(names.products) > 1)
    if "timesheet" in frames:
        sheet = frames["timesheet"]
        frames["timesheet"] = sheet.assign(span=(sheet.until - sheet.date).dt.days + 1)
    if "sales" in frames:
        frames["sales"] = frames["sales"].assign(offered=pd.to_datetime(frames["sales"].channel.map(offered)))
    if "faults" not in frames:
        return frames
    frames["faults"] = frames["faults"].assign(several=several)
    if "batches" not in records:
        return frames
    by_id = records["batches"].set_index("batch")[["date", "product", "casts", "good"]]
    found = frames["faults"].join(by_id.set_axis(["poured", "made", "casts", "good"], axis=1), on="batch")
    strange = found.batch[found.batch.notna() & found.poured.isna()][:20]  # of thousands each hint costs as many steps
    hints = pd.Series({row: close_match(batch, by_id.index, None) for row, batch in strange.items()}, dtype=object)
    frames["faults of batches"] = found.assign(hint=hints.reindex(found.index, fill_value=""), file=_file(reading, "batches"))
    lost = found[found.fate != "rework"].reset_index(names="row")
    sums = {"lost": ("pieces", "sum"), "row": ("row", "last")}
    each = lost[lost.poured.notna()].groupby("batch").agg(**sums, casts=("casts", "first"), good=("good", "first")).reset_index()
    # of a load still in work any piece may be lost
    each = each.assign(room=each.casts - each.good.fillna(0), kind=np.where(each.good.isna(), "cast", "not good"))
    done = by_id[by_id.good.notna()]
    left = done.casts - done.good - each.set_index("batch").lost.reindex(done.index).fillna(0)
    loose = lost[lost.batch.isna()].groupby("product").agg(**sums)
    of_product = loose.join(left.groupby(done["product"]).sum().rename("room"), how="inner").reset_index()
    return frames | {"faults by batch": each.set_index("row"), "faults by product": of_product.set_index("row")}


def _open_notes(batches, found, reading):
    """Loads that are still in work."""
    file, still = _file(reading, "batches"), batches.good.isna()
    if not still.any():
        return []
    theirs = 0 if found is None else int((found.batch.notna() & found.batch.isin(batches.batch[still])).sum())
    with_faults = f", with their {counted(theirs, 'row')} of {_file(reading, 'faults')}" if theirs else ""
    has, counts = ("has", "it counts") if still.sum() == 1 else ("have", "they count")
    loads = counted(int(still.sum()), "load")
    return [f"{loads} of {file} {has} no count of good pieces yet; {counts} as in work{with_faults}."]


def _sold_elsewhere(records, names, reading):
    """Sales in a channel that states another product, which no channel counts; those of a commission are its own."""
    notes, sales = [], records.get("sales")
    if sales is None or names is None:
        return notes
    sells, commissions = sales.channel.map(names.sells), {order.casefold() for order in names.orders}
    other = sells.notna() & (sells != sales["product"]) & (sales.kind.fillna("sale") == "sale")
    other &= ~sales.order.fillna("").map(lambda order: split_order(order)[0]).isin(commissions)
    for (channel, product), rows in sales[other].groupby(["channel", "product"], sort=False):
        places = sorted(place_of(reading, "sales", label) for label in rows.index)
        for file in reading.files:
            if mine := [str(row) for place, row in places if place == file.place]:
                counts = (
                    f"{counted(len(mine), 'row')} of these of {product} in {channel} {'counts' if len(mine) == 1 else 'count'}"
                )
                file.decisions.append(f"{counts} in no channel: {some_of(mine, MOST_ROWS)}")
        own = [name for name, sold in names.sells.items() if sold == product]
        table = f"a table [channels.{channel}-{product}] with this product into study.toml, and it as their channel"
        told = some_of([f"{place.removeprefix('records/')}:{row}" for place, row in places], FEW)
        are = "is" if rows.pieces.sum() == 1 else "are"
        notes.append(
            f"{rows.pieces.sum():g} of {product}, for {rows.price.sum():,.2f} in all, {are} sold in {channel}, which sells {names.sells[channel]}: "
            f"{counted(len(rows), 'row')} of the sales log not counted in any channel ({told}). "
            f"Write {f'{some_of(own, MOST_ROWS)} as their channel, or ' if own else ''}{table}."
        )
    return notes


def _lone_days(records, reading):
    """The first and the last day of all logs, where nearly a year parts it from every other: the year may be typed wrong."""
    days = {log: frame.date for log, frame in records.items() if "date" in frame}
    known, notes = sorted({day for dates in days.values() for day in dates.dropna().unique()}), []
    if len(known) < _FEWEST_DAYS:
        return notes
    for lone, near, side in ((known[0], known[1], "before"), (known[-1], known[-2], "after")):
        there = sorted((log, str(label)) for log, dates in days.items() for label in dates.index[dates == lone])
        bought = side == "before" and {log for log, _ in there} == {"purchases"}  # as a tool may be, long before
        if abs(lone - near) > _LONE and not bought:
            log, label = there[0]
            file, row = place_of(reading, log, label if ":" in label else int(label))
            notes.append(
                f"{file}:{row} is dated {lone:%Y-%m-%d}, {abs(lone - near).days:,} days {side} any other row: if the year is a slip, put it right, since "
                "orders a year and weekly hours reckon with it."
            )
    return notes


def still_to_come(study, today):
    """Sentences of the logs that have rows dated after a day, one a log."""
    found = {log: frame.date[frame.date > pd.Timestamp(today)] for log, frame in study.records.items() if "date" in frame}
    for log, days in found.items():
        if len(days):
            file, row = place_of(study.reading, log, days.index[0])
            more = f", and {len(days) - 1} more of its rows with such a day" if len(days) > 1 else ""
            yield (
                f"{file}:{row} is dated {days.iloc[0]:%Y-%m-%d}, a day still to come{more}: put it right, since orders a year and weekly hours reckon "
                "with the time until then."
            )


def _strange_orders(records, names, reading):
    """Orders of the logs that no commission of the study file has; those of the sales log are a shop's own numbers."""
    known, notes = {split_order(name) for name in names.order_names} if names is not None else set(), []
    for log in ("batches", "timesheet", "purchases") if names is not None else ():
        said = set(records[log].order.dropna()) if log in records else set()
        strange = [name for name in sorted(said) if split_order(name) not in known]
        if log != "batches":  # hours and purchases may be of an order as a whole
            strange = [name for name in strange if split_order(name)[0] not in {order for order, _ in known}]
        if strange:
            listed = some_of([f"{name!r}{close_match(name, names.order_names)}" for name in strange], 3)
            file = f"{_file(reading, log)} names orders that are no commission of study.toml"
            notes.append(f"{file}: {listed}. An order that is over may stay.")
    return notes


def split_order(text):
    """Commission and variant, in small letters, of what a batch names as its order: 'Hotel / sea green'."""
    order, _, variant = text.casefold().partition("/")
    return order.strip(), variant.strip()


def _file(reading, log):
    """The file of a log, as it is named in sentences."""
    return " and ".join(place.removeprefix("records/") for place in reading.places(log)) or f"{log}.csv"
