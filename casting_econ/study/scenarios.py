"""Numbers of a study file, what is wrong between its keys, and the file as its scenarios would have it."""

import re
from contextlib import suppress
from dataclasses import replace

from pydantic import BaseModel, ValidationError

from ..faults import Fault
from . import consistency
from .consistency import STUDY_FILE, UNUSED, Enough, Faults
from .faulty import faults_of
from .numbers import Number
from .schema import MaterialEntry, StudyFile
from .text import copied, within

SCRAP, PASS_SHARE = ".scrap", ".pass_share"  # a scenario scales what a check scraps; the file states what it passes
ORDER_TABLES = ("orders", "supplies", "quote")  # of orders by a date, with no bearing on a year
# what a scenario does not touch; of the cash it drops those who pay late in a channel that is gone
_LEFT_OUT = ("scenarios", "decision", "records", "commissions")
_NUMBER_KEYS = {"value", "low", "likely", "high", "distribution"}


def checked(file):
    """Working windows and numbers of a file, and the faults between its keys."""
    windows, numbers, between = (), dict(numbers_of(file, ())) | _asked_too(file), Faults()
    with suppress(Enough):
        windows = consistency.working_windows(file.calendar, between)
        consistency.cross_checks(file, windows, between)
        consistency.check_correlations(file, numbers, between)
        consistency.check_time(numbers, between)
        consistency.check_asked(numbers, between)
        consistency.check_worth(file, numbers, between)
        consistency.check_commissions(file, between)
    return windows, numbers, between


def scenario_file(raw, currency, entries, *, orders=False):
    """The study file with some scenarios, for a year or for orders, its windows and numbers, and the faults; `entries` are by the key that the
    faults of each stand below, '' for a change of the file itself."""
    left_out = _LEFT_OUT if orders else _LEFT_OUT + ORDER_TABLES
    patched = copied({key: value for key, value in raw.items() if key not in left_out})
    context, faults, file, windows, numbers = {"currency": currency}, [], None, (), {}
    last_key = next(reversed(entries), "")
    for nth, (key_of, entry) in enumerate(entries.items()):
        place = f"{key_of}." if key_of else ""
        for key in entry.drop:
            *path, last = key.split(".")
            node = within(patched, path)
            if not isinstance(node, dict) or last not in node:
                right = "a dotted key of this file, such as channels.NAME"
                faults.append(Fault(STUDY_FILE, "no such key", right, column=f"{place}drop", found=repr(key)))
            else:
                del node[last]
        change = copied(entry.change)
        stations = within(change, ["stations"])
        for station in stations if isinstance(stations, dict) else ():
            there, places = within(patched, ["stations", station]), within(stations, [station, "places"])
            if isinstance(places, list) and isinstance(there, dict):  # which says how many there are
                there.pop("count", None)
        _merge(patched, change)
        late, channels = within(patched, ["cash", "payment_delay"]), patched.get("channels", {})
        if isinstance(late, dict):
            patched["cash"]["payment_delay"] = {name: months for name, months in late.items() if name in channels}
        if key_of != last_key and not entry.scale:
            continue
        try:
            file = StudyFile.model_validate(patched, context=context)
            windows, numbers, found = checked(file)
            found = [fault for fault in found if fault.wrong != UNUSED]  # a supply may be of what is no longer used
        except ValidationError as error:
            file, found = None, faults_of(error)
        if found and nth:  # what does not go together is told at the first that makes it so
            before = scenario_file(raw, currency, dict(list(entries.items())[:nth]), orders=orders)
            if before[-1]:
                return before
        faults += [replace(f, column=f"{place}{f.column}") for f in found]
        stated = dict(numbers_of(file, ())) if file is not None and entry.scale else {}
        for pattern in entry.scale if file is not None else ():
            if not _matching(pattern, stated):
                right = "a dotted key of a number that the file states, with * for any name, such as channels.*.orders"
                faults.append(Fault(STUDY_FILE, "no such number", right, column=f"{place}scale", found=repr(pattern)))
    return file, windows, numbers, faults


def nested(flat):
    """Dotted keys as tables within tables."""
    tables = {}
    for key, value in flat.items():
        *path, last = key.split(".")
        node = tables
        for part in path:
            node = node.setdefault(part, {})
        node[last] = value
    return tables


def dotted(tables, path=()):
    """Tables within tables as dotted keys, each with what stands there; a number written as a table stays whole."""
    for key, value in tables.items():
        if isinstance(value, dict) and not _NUMBER_KEYS & set(value):
            yield from dotted(value, (*path, key))
        else:
            yield ".".join((*path, key)), value


def _merge(node, change):
    """Put a change into the keys of a file; a number is replaced whole, a table key by key."""
    for key, value in change.items():
        inner = node.get(key)
        if isinstance(value, dict) and isinstance(inner, dict) and not _NUMBER_KEYS & (set(value) | set(inner)):
            _merge(inner, value)
        else:
            node[key] = value


def _matching(pattern, numbers):
    """Keys of numbers that a dotted pattern names; * stands for one name, and .scrap for what a check does not pass."""
    if pattern.endswith(SCRAP):
        shares = _matching(pattern.removesuffix(SCRAP) + PASS_SHARE, numbers)
        return [share.removesuffix(PASS_SHARE) + SCRAP for share in shares]
    expression = re.compile(r"\.".join("[^.]+" if part == "*" else re.escape(part) for part in pattern.split(".")))
    return [key for key in numbers if expression.fullmatch(key)]


def factors_of(entries, numbers):
    """Factors on numbers by dotted key, of all scenarios together."""
    factors = {}
    for pattern, factor in ((pattern, factor) for entry in entries for pattern, factor in entry.scale.items()):
        factors |= {key: factors.get(key, 1.0) * factor for key in _matching(pattern, numbers)}
    return factors


def numbers_of(node, path):
    """Every number that the file states, by dotted key."""
    if isinstance(node, Number):
        yield ".".join(path), node
    elif isinstance(node, MaterialEntry):
        price = replace(node.price, note=node.price.note or node.note)  # a note beside the material explains its price
        stated = {name: getattr(node, name) for name in type(node).model_fields if name in node.model_fields_set}
        yield from numbers_of(stated | {"price": price}, path)
    elif isinstance(node, BaseModel):
        for name in type(node).model_fields:
            if name in node.model_fields_set:
                yield from numbers_of(getattr(node, name), (*path, name))
    elif isinstance(node, dict):
        for key, value in node.items():
            yield from numbers_of(value, (*path, key))


_COMES_WITH = {"orders": "clustering", "pieces_per_order": "size_spread"}


def _asked_too(file):
    """How orders differ, asked of the records with what they are where years differ by chance and the file does not say it."""
    asked = {}
    for name, channel in file.channels.items() if file.study.variation != "rates" else ():
        for key, scatter in _COMES_WITH.items():
            if getattr(channel, key).from_records and scatter not in channel.model_fields_set:
                asked[f"channels.{name}.{scatter}"] = Number(0.0, "", from_records=True, note=f"asked of the records with {key}")
    return asked
