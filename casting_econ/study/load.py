"""Read a study folder: the study file, its logs, and every fault in either."""

from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd
from babel import Locale, UnknownLocaleError
from pydantic import ValidationError

from ..faults import Fault, StudyError
from ..ledger import LOGS, Reading
from ..units import is_volume
from .consistency import STUDY_FILE
from .faulty import MOST_FAULTS, validated
from .numbers import Number, given_unit
from .records import Names, part_in_work, read_records
from .scenarios import checked, factors_of, scenario_file
from .schema import RecordsTable, StudyFile
from .text import currency_of, lines_of, read_text, with_line

__all__ = ["Study", "read_study", "study_changed", "study_with"]


@dataclass(frozen=True, kw_only=True)
class Study:
    """A study folder, read and free of faults."""

    folder: Path
    file: StudyFile
    numbers: dict[str, Number]  # every number stated in the file, by dotted key
    windows: tuple[tuple[float, float], ...]  # working windows of the week [hour]
    records: dict[str, pd.DataFrame] = field(default_factory=dict)  # logs that are there, by name
    in_work: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(LOGS["batches"])))  # loads without a count
    in_work_faults: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(LOGS["faults"])))  # of those loads
    notes: tuple[str, ...] = ()  # what is odd in the logs without being a fault
    raw: dict = field(default_factory=dict)  # the file's keys as they stand in it
    reading: Reading = field(default_factory=Reading)  # how the logs were read: every decision, change and row set aside

    @property
    def currency(self) -> str:
        """Currency code of the study."""
        return self.file.study.currency


def read_study(folder: str | Path, *, with_records: bool = True) -> Study:
    """Read and check a study folder.

    Parameters
    ----------
    folder : str or Path
        Folder with `study.toml` and, if there are logs, `records/`.
    with_records : bool, optional
        Whether to read the logs.

    Returns
    -------
    Study

    Raises
    ------
    StudyError
        With every fault found in the study file and the logs.
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
        for name in file.scenarios:  # what is wrong without them is told once
            if len(faults) >= MOST_FAULTS:
                break
            place, more = f"scenarios.{name}.", scenario_file(readable, file.study.currency, [name])[1]
            more = [fault for fault in more if fault.column.removeprefix(place) not in known]
            faults += [f for f in more if ".".join(f.column.removeprefix(place).split(".")[:2]) not in doubtful]
    faults, lines = _told(faults), lines_of(text)
    faults = [with_line(fault, lines) for fault in faults]
    records, reading = {}, Reading()
    if with_records:
        records, reading, more = read_records(folder / "records", _names(raw, file), *_records_settings(raw))
        faults += [with_line(fault, lines) if fault.file == STUDY_FILE else fault for fault in more]
    if faults:
        raise StudyError(faults, reading)
    parted = dict(zip(("records", "in_work", "in_work_faults"), part_in_work(records)))
    return Study(
        folder=folder, file=file, raw=raw, numbers=numbers, windows=windows, notes=reading.notes, reading=reading, **parted
    )


def _told(faults):
    """The faults of a file in one round, and that there may be more."""
    if len(faults) < MOST_FAULTS:
        return faults
    right = "these mended, then checked again"
    return [
        Fault(STUDY_FILE, "more faults than are told at once", right, found=f"the first {MOST_FAULTS} of them"),
        *faults[:MOST_FAULTS],
    ]


def study_with(study: Study, scenarios: list[str], *, orders: bool = False) -> tuple[Study, dict[str, float]]:
    """The study as it would be with some of its scenarios.

    Parameters
    ----------
    study : Study
        With its logs, which stay as they are.
    scenarios : list of str
        Names of its scenarios; later ones change what earlier ones leave.
    orders : bool, optional
        Whether it is for an order, which has tables that a year does without.

    Returns
    -------
    study : Study
        Changed, its numbers not scaled yet.
    factors : dict of str to float
        On numbers of the changed study, by dotted key.

    Raises
    ------
    StudyError
        If the scenarios do not go together.
    """
    file, faults = scenario_file(study.raw, study.currency, scenarios, orders=orders)
    if faults:
        raise StudyError(faults)
    windows, numbers, _ = checked(file)
    if orders:
        file = file.model_copy(update={"commissions": study.file.commissions})
    factors = factors_of([study.file.scenarios[name] for name in scenarios], numbers)
    return replace(study, file=file, numbers=numbers, windows=windows), factors


def study_changed(study: Study, change: dict[str, object]) -> Study:
    """The study with tables and keys of its file as a change has them, its logs as they are; StudyError with every fault of it."""
    name = "change"
    file, faults = scenario_file(study.raw | {"scenarios": {name: {"change": change}}}, study.currency, [name])
    if faults:
        raise StudyError([replace(fault, column=fault.column.removeprefix(f"scenarios.{name}.")) for fault in faults])
    windows, numbers, _ = checked(file)
    return replace(study, file=file, numbers=numbers, windows=windows)


def _names(raw, file):
    """Names that the logs may use, as far as the study file can be read; None where it cannot."""

    def table(node, key):
        inner = node.get(key) if isinstance(node, dict) else None
        return inner if isinstance(inner, dict) else {}

    if raw is None:
        return None
    tasks = table(raw, "time").get("weekly_tasks")
    return Names(
        products={name: frozenset(table(product, "steps")) for name, product in table(raw, "products").items()},
        channels=frozenset(table(raw, "channels")),
        offered={name: channel.offered_since for name, channel in file.channels.items() if channel.offered_since} if file else {},
        places=frozenset(table(raw, "stations")) | frozenset(table(raw, "racks")),
        items=dict.fromkeys(table(raw, "equipment"), False) | _volumes(table(raw, "products")),
        orders={name: frozenset(table(entry, "variants")) for name, entry in table(raw, "commissions").items()},
        tasks=frozenset(task for task in tasks if isinstance(task, str)) if isinstance(tasks, list) else frozenset(),
    )


def _records_settings(raw):
    """The [records] table, currency and locale, as far as the study file can be read: its own faults are told elsewhere."""
    study = raw.get("study") if isinstance(raw, dict) and isinstance(raw.get("study"), dict) else {}
    currency, locale = currency_of(raw), study.get("locale")
    try:
        locale = locale if locale is None else str(Locale.parse(locale))
    except (UnknownLocaleError, ValueError, TypeError):
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
                found[item] = found.get(item, False) or (is_volume(unit) and "density" not in entry)
        else:
            found |= _volumes(inner)
    return found
