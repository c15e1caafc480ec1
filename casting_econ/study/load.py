"""Read a study folder: the study file, its logs, and every fault in either."""

import math
import re
import tomllib
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd
from pydantic import BaseModel, ValidationError

from ..faults import Fault, StudyError, close_match
from ..models.curing import merged_windows
from ..reference import wages
from ..uncertainty.draws import copula_matrix
from .numbers import Number
from .records import Names, read_records
from .schema import DAYS, MaterialEntry, StudyFile

__all__ = ["STUDY_FILE", "Study", "read_study"]

STUDY_FILE = "study.toml"
_HOURS = re.compile(r"^(\d{1,2}):([0-5]\d)\s*-\s*(\d{1,2}):([0-5]\d)$", re.ASCII)
# kinds of pydantic error, in words that do not need its manual
_TYPES = {
    "string_type": "text in quotes",
    "string_too_short": "some text",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "list_type": "a list in square brackets",
    "tuple_type": "a list in square brackets",
    "dict_type": "a [table] of keys with values",
    "model_type": "a [table] of keys with values",
    "too_short": "at least one entry",
}
_PATTERNS = {"currency": "a currency code of three capitals, such as EUR"}
_NAME = "a name of letters, digits, spaces, hyphens and underscores, at most 60, beginning with a letter or digit"


@dataclass(frozen=True, kw_only=True)
class Study:
    """A study folder, read and free of faults."""

    folder: Path
    file: StudyFile
    numbers: dict[str, Number]  # every number stated in the file, by dotted key
    windows: tuple[tuple[float, float], ...]  # working windows of the week [hour]
    records: dict[str, pd.DataFrame] = field(default_factory=dict)  # logs that are there, by name
    notes: tuple[str, ...] = ()  # what is odd in the logs without being a fault

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
    text, raw, file, faults = _read_file(folder)
    windows: tuple[tuple[float, float], ...] = ()
    if file is not None:
        windows = _windows(file.calendar, faults)
        _cross_checks(file, windows, faults)
        numbers = dict(_numbers(file, ()))
        _check_correlations(file, numbers, faults)
    faults = [_with_line(fault, text) for fault in faults]
    records, notes = {}, ()
    if with_records:
        records, notes, more = read_records(folder / "records", _names(raw))
        faults += more
    if faults:
        raise StudyError(faults)
    return Study(folder=folder, file=file, numbers=numbers, windows=windows, records=records, notes=notes)


def _read_file(folder):
    """The study file's text, its keys, its contents if they could be read, and its faults."""
    path = folder / STUDY_FILE
    place = {"file": STUDY_FILE}
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (FileNotFoundError, NotADirectoryError):
        where = "folder without it" if folder.is_dir() else "a file" if folder.exists() else "no such folder"
        return (
            "",
            None,
            None,
            [Fault(**place, wrong="study file is missing", found=f"{where}: {folder}", right=f"a folder with a {STUDY_FILE}")],
        )
    except (UnicodeDecodeError, OSError) as error:
        return (
            "",
            None,
            None,
            [Fault(**place, wrong="cannot be read as text", found=str(error), right="a text file saved as UTF-8")],
        )
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # TOMLDecodeError, a figure of thousands of digits, endless brackets
        line = re.search(r"line (\d+)", str(error))
        row = int(line[1]) if line else None
        return (
            text,
            None,
            None,
            [
                Fault(
                    **place,
                    row=row,
                    wrong="is not valid TOML",
                    found=str(error),
                    right="key = value lines under [table] headings; a decimal comma or a missing quote is the usual cause",
                )
            ],
        )
    currency = raw.get("study", {}).get("currency") if isinstance(raw.get("study"), dict) else None
    known = isinstance(currency, str) and re.fullmatch(r"[A-Z]{3}", currency)
    try:
        return text, raw, StudyFile.model_validate(raw, context={"currency": currency if known else "EUR"}), []
    except ValidationError as error:
        return text, raw, None, [_fault(item) for item in error.errors()]


def _names(raw):
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
        places=frozenset(table(raw, "stations")) | frozenset(table(raw, "racks")),
        tasks=frozenset(task for task in tasks if isinstance(task, str)) if isinstance(tasks, list) else frozenset(),
    )


def _fault(item):
    """One pydantic error in the kit's words."""
    keys = [str(part) for part in item["loc"] if part not in ("function-before", "[key]")]
    found = "" if item["type"] == "missing" else _short(item.get("input"))
    message = item["msg"].removeprefix("Value error, ")
    wrong, _, right = message.partition(" -> ")
    if item["type"] == "extra_forbidden":
        known = _fields_at(item["loc"][:-1])
        wrong, right = "unknown key", f"one of {', '.join(known)}{close_match(keys[-1], known)}"
        found = repr(keys[-1])
    elif item["type"] == "missing":
        wrong, right = "is missing", "this key with a value"
    elif not right:
        wrong, right = "cannot be used", message.replace("Input should", "should").removeprefix("should be ")
        if item["type"] in ("string_pattern_mismatch", "string_too_long"):
            right = _PATTERNS.get(keys[-1], _NAME)
        elif item["type"] == "literal_error":
            right += close_match(item["input"], re.findall("'([^']+)'", message))
        right = _TYPES.get(item["type"], right)
    return Fault(file=STUDY_FILE, column=".".join(keys), wrong=wrong, found=found, right=right)


def _short(value):
    text = repr(value)
    return text if len(text) <= 80 else text[:77] + "..."


def _fields_at(location):
    """Keys that the table at a location may have."""
    model = StudyFile
    for part in location:
        inner = model.model_fields.get(part) if isinstance(model, type) and issubclass(model, BaseModel) else None
        annotation = inner.annotation if inner is not None else model
        args = [a for a in getattr(annotation, "__args__", ()) if isinstance(a, type) and issubclass(a, BaseModel)]
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            model = annotation
        elif args:
            model = args[0]
    return list(model.model_fields)


def _windows(calendar, faults):
    """Working windows of the week in hours, Monday 0:00 being 0."""
    windows = []
    for day, text in calendar.items():
        for part in (p.strip() for p in text.split(",") if p.strip()):
            match = _HOURS.match(part)
            start, end = (int(match[1]) + int(match[2]) / 60, int(match[3]) + int(match[4]) / 60) if match else (0, 0)
            if not match or not 0 <= start < end <= 24:
                faults.append(
                    Fault(
                        file=STUDY_FILE,
                        column=f"calendar.{day}",
                        wrong="not working hours",
                        found=repr(part),
                        right="'09:00-12:30', later after earlier, several with a comma",
                    )
                )
            else:
                base = 24.0 * DAYS.index(day)
                windows.append((base + start, base + end))
    try:
        if windows:
            merged_windows(windows)
        elif not faults:
            right = "at least one day with hours such as '09:00-12:30'"
            faults.append(Fault(file=STUDY_FILE, column="calendar", wrong="no working hours at all", right=right))
    except ValueError as error:
        faults.append(Fault(file=STUDY_FILE, column="calendar", wrong=str(error), right="windows that do not overlap"))
    return tuple(windows)


def _most(number):
    """The largest value that a number can take in a draw."""
    return number.value if number.distribution is None else float(number.distribution.quantile(1 - 0.5**31))


def _longest_window(windows):
    """Length of the longest working window, touching ones joined. [hour]"""
    try:
        return max(end - start for start, end in merged_windows(windows)) / 3600.0
    except ValueError:  # overlapping or none, which has a fault of its own
        return max((end - start for start, end in windows), default=0.0)


def _cross_checks(file, windows, faults):
    """What no single key can know."""

    def fault(column, wrong, found, right):
        faults.append(Fault(file=STUDY_FILE, column=column, wrong=wrong, found=found, right=right))

    places = {**file.stations, **file.racks}
    for name in set(file.stations) & set(file.racks):
        fault(f"racks.{name}", "same name as a station", repr(name), "a name of its own")
    longest = _longest_window(windows) * 60
    for name, product in file.products.items():
        first = next((key for key, step in product.steps.items() if _most(step.wait) > 0), None)
        if product.cure_step is not None and product.cure_step not in product.steps:
            right = f"one of {', '.join(product.steps)}{close_match(product.cure_step, product.steps)}"
            fault(f"products.{name}.cure_step", "unknown step", repr(product.cure_step), right)
        handled = (
            sum(_most(step.load_minutes) for key, step in list(product.steps.items())[: 1 + list(product.steps).index(first)])
            if first
            else 0
        )
        if product.mould is not None and first and handled <= 0 and product.steps[first].wait_in not in file.stations:
            right = (
                "load_minutes, the hands-on minutes to fill and empty a load, on the step that waits in the mould or before it"
            )
            fault(
                f"products.{name}.steps.{first}.wait",
                "waits in the mould but no step loads it",
                f"{product.steps[first].wait.value:g} h",
                right,
            )
        for key, step in product.steps.items():
            column = f"products.{name}.steps.{key}"
            if step.wait_in is not None and step.wait_in not in places:
                known = f"one of {', '.join(places) or 'the stations and racks, none yet'}"
                fault(
                    f"{column}.wait_in", "unknown station or rack", repr(step.wait_in), known + close_match(step.wait_in, places)
                )
            # a load turns round at a station, and in the moulds up to the first step that waits
            most = (
                _most(step.load_minutes) if step.wait_in in file.stations else handled if key == first and product.mould else None
            )
            if most is not None and windows and not 0 < most <= longest and (most > 0 or step.wait_in in file.stations):
                right = f"minutes to unload and load on the step that waits, above 0 and within the longest window of {longest:g} minutes"
                fault(f"{column}.load_minutes", "does not fit a working window", f"{most:g} minutes", right)
            station = file.stations.get(step.wait_in)
            size = step.load_size or product.casts_per_load
            if station is not None and station.places is not None and size.value > station.places.value:
                fault(
                    f"{column}.wait_in",
                    "load larger than the station",
                    f"{size.value:g} pieces",
                    f"at most {station.places.value:g}",
                )
            weights = step.causes.values()
            if weights and not (all(0 <= weight < math.inf for weight in weights) and sum(weights) > 0):
                fault(f"{column}.causes", "not weights", str(step.causes), "numbers of zero or more, not all zero")
    for name, channel in file.channels.items():
        if channel.product not in file.products:
            right = f"one of {', '.join(file.products)}{close_match(channel.product, file.products)}"
            fault(f"channels.{name}.product", "unknown product", repr(channel.product), right)
    if not any(channel.orders.value > 0 for channel in file.channels.values()):
        fault("channels", "nothing is sold", "no orders in any channel", "at least one channel with orders above 0")
    for name in file.products:
        if not any(c.product == name and c.orders.value > 0 for c in file.channels.values()):
            fault(f"products.{name}", "is sold nowhere", repr(name), "at least one channel with orders above 0")
    stall = sum(c.days.value * c.hours_per_day.value for c in file.channels.values())
    fixed = file.time.fixed_hours.value * file.time.weeks.value + stall
    if fixed >= file.time.hours.value * file.time.weeks.value:
        fault(
            "time.hours",
            "no hours left to make anything",
            f"{fixed:.0f} fixed and stall hours a year",
            "more hours a week, or fewer fixed ones",
        )
    _check_target(file, fault)


def _varies(key, number):
    """Whether a number is drawn by itself: by its own spread, by what the logs say, or as a shared factor."""
    return number.distribution is not None or number.from_records or (key.startswith("spread.") and number.value > 0)


def _check_correlations(file, numbers, faults):
    """Pairs must name two different numbers of the file, each pair once, and agree with each other."""
    pairs, before = [], len(faults)
    for index, pair in enumerate(file.correlations):
        place = {"file": STUDY_FILE, "column": f"correlations.{index}.between"}
        for key in pair.between:
            if key not in numbers:
                right = f"the dotted key of a number in the file{close_match(key, numbers)}"
                faults.append(Fault(**place, wrong="unknown number", found=repr(key), right=right))
            elif not _varies(key, numbers[key]):
                right = "a number with a range, a distribution or from records"
                faults.append(Fault(**place, wrong="a number that never varies", found=repr(key), right=right))
        if pair.between[0] == pair.between[1] or set(pair.between) in (set(other[:2]) for other in pairs):
            faults.append(Fault(**place, wrong="pair twice, or a number with itself", right="two different numbers, once"))
        pairs.append((*pair.between, pair.rank))
    if len(faults) > before:
        return
    try:
        copula_matrix(sorted({key for pair in pairs for key in pair[:2]}), pairs)
    except ValueError as error:
        place = {"file": STUDY_FILE, "column": "correlations.0"}
        faults.append(Fault(**place, wrong=str(error), right="fewer or weaker correlations"))


def _check_target(file, fault):
    target = file.target
    if (target.per_hour is None) == (target.wage is None):
        found = "both" if target.wage else "neither"
        fault("target", "needs one target", found, "either per_hour, or wage with an id of the wage table")
    elif target.wage is not None:
        table = wages()
        if target.wage not in table.index:
            fault(
                "target.wage",
                "unknown wage",
                repr(target.wage),
                f"one of {', '.join(table.index)}{close_match(target.wage, table.index)}",
            )
        elif table.currency[target.wage] != file.study.currency:
            fault(
                "target.wage",
                "wage in another currency",
                table.currency[target.wage],
                f"a wage in {file.study.currency}, or per_hour",
            )


def _with_line(fault, text):
    """Point a fault of the study file at the line its key stands in, as far as it can be found."""
    if fault.row is not None or not text:
        return fault
    keys, lines, best, section, tables = fault.column.split("."), text.splitlines(), None, [], Counter()
    for number, line in enumerate(lines, start=1):
        header = re.match(r"^\s*\[+\s*([^\]]+?)\s*\]+", line)
        key = re.match(r"^\s*([\w.\"' -]+?)\s*=", line)
        if header:
            section = [part.strip("\"' ") for part in header[1].split(".")]
            if line.lstrip().startswith("[["):  # the entries of a list are counted from 0
                section = [*section, str(tables[header[1]])]
                tables[header[1]] += 1
            path = section
        elif key:
            path = section + [part.strip("\"' ") for part in key[1].split(".")]
        else:
            continue
        if keys[: len(path)] == path and (best is None or len(path) > best[1]):
            best = (number, len(path))
    return Fault(**{**fault.__dict__, "row": best[0] if best else None})


def _numbers(node, path):
    """Every number that the file states, by dotted key."""
    if isinstance(node, Number):
        yield ".".join(path), node
    elif isinstance(node, MaterialEntry):
        price = replace(node.price, note=node.price.note or node.note)  # a note beside the material explains its price
        stated = {name: getattr(node, name) for name in type(node).model_fields if name in node.model_fields_set}
        yield from _numbers(stated | {"price": price}, path)
    elif isinstance(node, BaseModel):
        for name in type(node).model_fields:
            if name in node.model_fields_set:
                yield from _numbers(getattr(node, name), (*path, name))
    elif isinstance(node, dict):
        for key, value in node.items():
            yield from _numbers(value, (*path, key))
