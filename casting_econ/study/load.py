"""Read a study folder: the study file, its logs, and every fault in either."""

import datetime as dt
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import pandas as pd
from pydantic import ValidationError

from ..faults import Fault, StudyError
from ..ledger import LOGS, Reading
from ..units import measures
from .consistency import MOST_FAULTS, STUDY_FILE
from .faulty import validated
from .fields import known_locale
from .numbers import Number, given_unit
from .reading import RecordsTable
from .records import MOULD, ONE_OFF, Names, known_on, part_in_work, read_records
from .scenarios import checked, factors_of, scenario_file
from .schema import ScenarioEntry, StudyFile
from .stations import pot_name
from .text import currency_of, lines_of, read_text, with_line, within


@dataclass(frozen=True, kw_only=True, eq=False)
class Study:
    """A study folder, read and free of faults."""

    folder: Path
    file: StudyFile
    numbers: dict[str, Number]  # every number stated in the file, by dotted key
    windows: tuple[tuple[float, float], ...]  # working windows of the week [hour]
    records: dict[str, pd.DataFrame] = field(default_factory=dict)  # logs that are there, by name
    in_work: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(LOGS["batches"])))  # loads without a count
    in_work_faults: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(LOGS["faults"])))  # of those loads
    raw: dict = field(default_factory=dict)  # the file's keys as they stand in it
    reading: Reading = field(default_factory=Reading)  # how the logs were read: every decision, change and row set aside
    as_of: dt.date | None = None  # the last day whose rows were read, where not all were

    @property
    def currency(self) -> str:
        """Currency code of the study."""
        return self.file.study.currency

    @cached_property
    def whole_logs(self) -> dict[str, pd.DataFrame]:
        """Every row of the logs that counts, loads still worked on and their faults after the others."""
        logs = {log: [self.records[log]] for log in LOGS if log in self.records}
        for log, more in (("batches", self.in_work), ("faults", self.in_work_faults)):
            if len(more):
                logs.setdefault(log, []).append(more)
        return {log: parts[0] if len(parts) == 1 else pd.concat(parts) for log, parts in logs.items()}

    @cached_property
    def dates(self) -> pd.Series:
        """Days of every row of every log. What a log says beside its date, such as when a mould was made, may be older than it."""
        dated = [log.date for log in self.whole_logs.values() if "date" in log]
        return pd.concat(dated) if dated else pd.Series(dtype="datetime64[ns]")

    @property
    def day(self) -> dt.date | None:
        """Day that the study speaks of, for want of a clock: the newest row of its logs, else the day it was changed, where stated."""
        return self.file.study.changed_on if self.dates.empty else self.dates.max().date()


def read_study(folder: str | Path, *, with_records: bool = True, as_of: dt.date | None = None) -> Study:
    """Read and check a folder with `study.toml` and, if there are logs, `records/`; StudyError with every fault found in either.

    As of a day, only what the logs had by its evening counts; all are checked.
    """
    folder = Path(folder)
    text, raw, faults = read_text(folder)
    currency, file = currency_of(raw, text), None
    if raw is not None:
        file, more, doubtful, readable = validated(raw, currency)
        faults += more
    if file is not None:
        windows, numbers, between = checked(file)
        # where a key was left out for its fault, what follows from its absence is not worth saying
        faults += [fault for fault in between if ".".join(fault.column.split(".")[:2]) not in doubtful]
        known = {fault.column for fault in faults}
        for name, entry in file.scenarios.items():  # what is wrong without them is told once
            if len(faults) >= MOST_FAULTS:
                break
            place, more = f"scenarios.{name}.", scenario_file(readable, file.study.currency, {f"scenarios.{name}": entry})[-1]
            more = [fault for fault in more if fault.column.removeprefix(place) not in known]
            faults += [f for f in more if ".".join(f.column.removeprefix(place).split(".")[:2]) not in doubtful]
    if len(faults) >= MOST_FAULTS:
        wrong, right = "more faults than are told at once", "these mended, then checked again"
        faults = [Fault(STUDY_FILE, wrong, right, found=f"the first {MOST_FAULTS} of them"), *faults[:MOST_FAULTS]]
    lines = lines_of(text)
    faults = [with_line(fault, lines) for fault in faults]
    records, reading = {}, Reading()
    if with_records:
        records, reading, more = read_records(folder / "records", _names(raw, file), *_records_settings(raw))
        faults += [with_line(fault, lines) if fault.file == STUDY_FILE else fault for fault in more]
    if faults:
        raise StudyError(faults, reading)
    parted = dict(zip(("records", "in_work", "in_work_faults"), part_in_work(known_on(records, as_of) if as_of else records)))
    read = {"file": file, "raw": raw, "numbers": numbers, "windows": windows, "reading": reading}
    return Study(folder=folder, as_of=as_of, **read, **parted)


def study_with(study: Study, entries: dict[str, ScenarioEntry], *, orders: bool = False) -> tuple[Study, dict[str, float]]:
    """The study with some scenarios, its logs as they are and its numbers not scaled yet; and the factors on those by dotted key.

    Each entry is by the key that its faults stand below; later ones change what earlier ones leave. StudyError if they do not go together. For
    `orders` it keeps the tables that a year does without.
    """
    file, windows, numbers, faults = scenario_file(study.raw, study.currency, entries, orders=orders)
    if faults:
        raise StudyError(faults)
    # orders hold at the price that the study itself states, whatever a change makes of it
    here, now = study.file.channels, file.channels
    unsaid = [name for name in now if now[name].reference_price is None and name in here]
    held = {name: now[name].model_copy(update={"reference_price": here[name].price}) for name in unsaid}
    file = file.model_copy(update={"channels": now | held})
    if orders:
        file = file.model_copy(update={"commissions": study.file.commissions})
    return replace(study, file=file, numbers=numbers, windows=windows), factors_of(entries.values(), numbers)


def _names(raw, file):
    """Names that the logs may use, as far as the study file can be read; None where it cannot."""

    def table(node, *path):
        inner = within(node, path)
        return inner if isinstance(inner, dict) else {}

    def words(node):
        return frozenset(word for word in node if isinstance(word, str)) if isinstance(node, list) else frozenset()

    if raw is None:
        return None
    products, time, stations = (table(raw, name) for name in ("products", "time", "stations"))
    listed = {name: places for name in stations if isinstance(places := table(stations, name).get("places"), list)}
    pots = {pot_name(name, n) for name, places in listed.items() for n in range(1, len(places) + 1)}
    mould_steps = (table(product, "mould", "steps") for product in products.values())
    return Names(
        products={name: frozenset(table(product, "steps")) for name, product in products.items()},
        channels=frozenset(table(raw, "channels")),
        offered={name: channel.offered_since for name, channel in file.channels.items() if channel.offered_since} if file else {},
        sells={name: channel.product for name, channel in file.channels.items()} if file else {},
        places=frozenset(stations).union(table(raw, "racks"), pots),
        items=dict.fromkeys(table(raw, "equipment"), False) | _volumes(products),
        orders={name: frozenset(table(entry, "variants")) for name, entry in table(raw, "commissions").items()},
        tasks=words(time.get("weekly_tasks")).union(words(time.get("one_off_tasks")), {MOULD, ONE_OFF}, *mould_steps),
    )


def _records_settings(raw):
    """The [records] table, currency and locale, as far as the study file can be read: its own faults are told elsewhere."""
    currency, locale = currency_of(raw), within(raw, ["study", "locale"])
    try:
        locale = locale if locale is None else known_locale(locale)
    except ValueError:
        locale = None
    try:
        settings = RecordsTable.model_validate((raw or {}).get("records", {}), context={"currency": currency})
    except ValidationError:
        settings = RecordsTable()
    return settings, currency, locale


def _volumes(node):
    """Items of a study file, and whether their quantity is a volume."""
    if not isinstance(node, dict):
        return {}
    found = {}
    for key, inner in node.items():
        if key in ("materials", "parts") and isinstance(inner, dict):
            for item, entry in inner.items():
                unit = given_unit(entry.get("quantity")) if isinstance(entry, dict) else ""
                found[item] = found.get(item, False) or (measures(unit, "milliliter") and "density" not in entry)
        else:
            found |= _volumes(inner)
    return found
