"""Read a study folder: the study file, its logs, and every fault in either."""

import copy
import re
import tomllib
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd
from babel import Locale, UnknownLocaleError
from babel.numbers import list_currencies
from pydantic import BaseModel, ValidationError

from ..faults import Fault, StudyError, close_match, fault_of
from ..ledger import LOGS, Reading
from ..units import Unclear, is_volume
from .consistency import STUDY_FILE, check_asked, check_commissions, check_correlations, cross_checks, working_windows
from .numbers import UNKNOWN, BareFigure, Number, given_unit, read_figure
from .records import Names, part_in_work, read_records
from .schema import MaterialEntry, RecordsTable, StudyFile

__all__ = ["Study", "faults_of", "read_study", "study_with"]

# of a study file; what is within them takes seconds to check, whatever stands in it
MOST_BYTES, MOST_LEVELS, MOST_DOTS = 250_000, 20, 400  # in all; tables within tables; dots in a line, as each may open a table
MOST_FAULTS = 500  # told in one round
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
# what a table that is missing looks like, by its dotted key; X stands for the currency
_EXAMPLES = {
    "study": 'lines such as [study], name = "My study", currency = "X"',
    "time": 'lines such as [time], weeks = "46 week/year", hours = "30 h/week", fixed_hours = "6 h/week"',
    "time.weeks": 'weeks worked a year, such as weeks = "46 week/year"',
    "time.hours": 'hours a week you can give, such as hours = "30 h/week"',
    "time.fixed_hours": 'hours a week no customer sees, such as fixed_hours = "6 h/week"',
    "calendar": 'lines such as [calendar], monday = "09:00-17:00", a line for each day of work',
    "target": 'lines such as [target], per_hour = "16 X/h"',
    "products": 'lines such as [products.NAME], casts_per_load = 12, [products.NAME.steps.pour], minutes = "2 min"',
    "channels": 'lines such as [channels.NAME], product = "…", orders = "60 orders/year", pieces_per_order = 2, price = "30 X"',
}
_KEY = re.compile(r"[\w.\"' \t-]+")
_NAME = "a name of letters, digits, spaces, hyphens and underscores, at most 60, beginning with a letter or digit"


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
    text, raw, file, faults, doubtful, readable = _read_file(folder)
    windows: tuple[tuple[float, float], ...] = ()
    if file is not None:
        windows, numbers, between = _checked(file)
        # where a key was left out for its fault, what follows from its absence is not worth saying
        faults += [fault for fault in between if ".".join(fault.column.split(".")[:2]) not in doubtful]
    if file is not None:
        known = {fault.column for fault in faults}
        for name in file.scenarios:  # what is wrong without them is told once
            if len(faults) >= MOST_FAULTS:
                break
            place, more = f"scenarios.{name}.", _scenario_file(readable, file.study.currency, [name])[1]
            more = [fault for fault in more if fault.column.removeprefix(place) not in known]
            faults += [f for f in more if ".".join(f.column.removeprefix(place).split(".")[:2]) not in doubtful]
    faults, lines = _told(faults), _lines(text)
    faults = [_with_line(fault, lines) for fault in faults]
    records, reading = {}, Reading()
    if with_records:
        records, reading, more = read_records(folder / "records", _names(raw, file), *_records_settings(raw))
        faults += [_with_line(fault, lines) if fault.file == STUDY_FILE else fault for fault in more]
    if faults:
        raise StudyError(faults, reading)
    records, in_work, in_work_faults = part_in_work(records)
    return Study(
        folder=folder,
        file=file,
        raw=raw,
        numbers=numbers,
        windows=windows,
        records=records,
        in_work=in_work,
        in_work_faults=in_work_faults,
        notes=reading.notes,
        reading=reading,
    )


class _EnoughFaults(Exception):
    """No more faults are looked for."""


class _Faults(list):
    """Faults up to as many as are told."""

    def append(self, fault):
        super().append(fault)
        if len(self) >= MOST_FAULTS:
            raise _EnoughFaults


def _told(faults):
    """The faults of a file in one round, and that there may be more."""
    if len(faults) < MOST_FAULTS:
        return faults
    right = "these mended, then checked again"
    return [
        Fault(file=STUDY_FILE, wrong="more faults than are told at once", found=f"the first {MOST_FAULTS} of them", right=right),
        *faults[:MOST_FAULTS],
    ]


def _checked(file):
    """Working windows and numbers of a file, and the faults between its keys."""
    windows, numbers, between = (), dict(_numbers(file, ())), _Faults()
    with suppress(_EnoughFaults):
        windows = working_windows(file.calendar, between)
        cross_checks(file, windows, between)
        check_correlations(file, numbers, between)
        check_asked(numbers, between)
        check_commissions(file, between)
    return windows, numbers, between


def study_with(study: Study, scenarios: list[str]) -> tuple[Study, dict[str, float]]:
    """The study as it would be with some of its scenarios.

    Parameters
    ----------
    study : Study
        With its logs, which stay as they are.
    scenarios : list of str
        Names of its scenarios; later ones change what earlier ones leave.

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
    file, faults = _scenario_file(study.raw, study.currency, scenarios)
    if faults:
        raise StudyError(faults)
    windows, numbers, _ = _checked(file)
    factors = {}
    for name in scenarios:
        for pattern, factor in study.file.scenarios[name].scale.items():
            factors |= {key: factors.get(key, 1.0) * factor for key in _matching(pattern, numbers)}
    return replace(study, file=file, numbers=numbers, windows=windows), factors


def _scenario_file(raw, currency, scenarios):
    """The study file with some scenarios, and their faults; each fault at the scenario it comes from."""
    patched = copy.deepcopy({key: value for key, value in raw.items() if key not in _LEFT_OUT})
    context, faults, file = {"currency": currency}, [], None
    for name in scenarios:
        entry, place = raw["scenarios"][name], f"scenarios.{name}"
        for key in entry.get("drop", []):
            *path, last = key.split(".")
            node = patched
            for part in path:
                node = node.get(part) if isinstance(node, dict) else None
            if not isinstance(node, dict) or last not in node:
                right = "a dotted key of this file, such as channels.NAME"
                faults.append(Fault(file=STUDY_FILE, column=f"{place}.drop", wrong="no such key", found=repr(key), right=right))
            else:
                del node[last]
        _merge(patched, copy.deepcopy(entry.get("change", {})))
        try:
            file = StudyFile.model_validate(patched, context=context)
            found = _checked(file)[2]
        except ValidationError as error:
            file, found = None, faults_of(error)
        faults += [replace(f, column=f"{place}.{f.column}") for f in found]
        if file is not None:
            numbers = dict(_numbers(file, ()))
            for pattern in entry.get("scale", {}):
                if not _matching(pattern, numbers):
                    right = "a dotted key of a number that the file states, with * for any name, such as channels.*.orders"
                    fault = Fault(
                        file=STUDY_FILE, column=f"{place}.scale", wrong="no such number", found=repr(pattern), right=right
                    )
                    faults.append(fault)
    return file, faults


SCRAP, PASS_SHARE = ".scrap", ".pass_share"  # a scenario scales what a check scraps; the file states what it passes
# what a scenario does not touch, and what has no bearing on a year
_LEFT_OUT = ("scenarios", "cash", "decision", "records", "commissions", "orders", "supplies", "quote", "temperature")
_NUMBER_KEYS = {"value", "low", "likely", "high", "distribution"}


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


def _read_file(folder):
    """The study file's text, keys, contents as far as they can be read, faults, tables read without a faulty key, keys without faults."""
    path = folder / STUDY_FILE

    def refused(text="", **fault):
        return text, None, None, [Fault(file=STUDY_FILE, **fault)], frozenset(), None

    try:
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            right = f"at most {MOST_BYTES // 1000} kB, which is thirty times a usual one"
            return refused(wrong="is too large", found=f"{path.stat().st_size / 1000:,.0f} kB", right=right)
        text = data.decode("utf-8-sig")
    except (FileNotFoundError, NotADirectoryError):
        where = "folder without it" if folder.is_dir() else "a file" if folder.exists() else "no such folder"
        return refused(wrong="study file is missing", found=f"{where}: {folder}", right=f"a folder with a {STUDY_FILE}")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        found = "a letter saved in another way than the rest"
        return refused(
            row=line, wrong="cannot be read as text", found=found, right="the file saved as UTF-8, as text editors offer"
        )
    except OSError as error:
        return refused(wrong="cannot be read", found=str(error.strerror), right="a file you may read")
    deep = {"wrong": "too many names or brackets within each other", "right": f"at most {MOST_LEVELS} levels"}
    for number, line in enumerate(text.splitlines(), start=1):
        if line.count(".") > MOST_DOTS:  # a key of a thousand names keeps the parser for hours
            return refused(text, row=number, **deep, found=f"{line.count('.'):,} dots in a line")
    try:
        raw = tomllib.loads(text, parse_float=BareFigure)
    except RecursionError:
        return refused(text, **deep)
    except ValueError as error:  # TOMLDecodeError, a figure of thousands of digits
        line = re.search(r"line (\d+)", str(error))
        row = int(line[1]) if line else None
        return refused(text, row=row, wrong="is not valid TOML", found=str(error), right=_toml_remedy(text, row, str(error)))
    if path := _too_deep(raw):
        row = next((line for keys, line in _lines(text).items() if keys[:MOST_LEVELS] == path), None)
        return refused(text, **deep, row=row, column=".".join(path[:4]), found=f"{_short('.'.join(path))[1:-1]} and on")
    unclear, context = list(_unclear(raw, ())), {"currency": _currency_of(raw, text)}
    try:
        return text, raw, StudyFile.model_validate(raw, context=context), unclear, frozenset(), raw
    except ValidationError as error:
        file, doubtful, readable = _without_faulty(raw, error, context)
        faults = unclear + faults_of(error, context["currency"])
        return text, raw, file, faults, doubtful, readable


def _toml_remedy(text, row, said):
    """What would be right where the file is no TOML, as far as the line shows why."""
    line = text.splitlines()[row - 1] if row and row <= len(text.splitlines()) else ""
    if re.search("[“”„‟]", line):
        return 'straight quotes "…", as a plain text editor writes them; curly ones come from a word processor'
    if "twice" in said or "overwrite" in said:
        name = line.strip().strip("[]").partition("=")[0].strip()
        first = next(
            (n for n, other in enumerate(text.splitlines(), start=1) if other.strip() == line.strip() and n != row), None
        )
        return f"each name once: {name} stands{f' in line {first}' if first else ''} already; another name, such as {name}-2"
    if comma := re.search(r"=\s*([-+]?\d+),(\d+)\s*(?=[}#,]|$)", line):
        return f"a decimal point in a figure without quotes, {comma[1]}.{comma[2]}, or quotes around it and its unit"
    return "key = value lines under [table] headings, texts between straight quotes"


def _unclear(node, path):
    """A question for each bare figure that two conventions read differently."""
    if isinstance(node, dict | list):
        for key, inner in node.items() if isinstance(node, dict) else enumerate(node):
            yield from _unclear(inner, (*path, str(key)))
    elif isinstance(node, BareFigure):
        try:
            read_figure(node.text)
        except Unclear as error:
            said = str(error).replace("'", "")  # without quotes, as the figure stands
            yield fault_of(said, file=STUDY_FILE, column=".".join(path), found=node.text)
        except ValueError:  # inf and nan, which each key refuses itself
            return


def _currency_of(raw, text=""):
    """Currency that the file's money is read in; where the file does not say, the code that its figures have most often."""
    study = raw.get("study") if isinstance(raw, dict) else None
    stated = study.get("currency") if isinstance(study, dict) else None
    if stated in list_currencies():
        return stated
    codes = Counter(code for code in re.findall(r"\d\s*([A-Z]{3})\b", text) if code in list_currencies())
    return codes.most_common(1)[0][0] if codes else "EUR"


# in place of a table that is missing or none, so that what stands beside it can be checked
_STAND_INS = {
    ("time",): {"weeks": UNKNOWN, "hours": UNKNOWN, "fixed_hours": UNKNOWN},
    ("calendar",): {"monday": "00:00-24:00"},
    ("target",): {"per_hour": UNKNOWN},
}


def _too_deep(raw):
    """Keys that lead further down than a file may, or nothing."""
    open_ = [((), raw)]
    while open_:
        path, node = open_.pop()
        items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
        if items and len(path) >= MOST_LEVELS:
            return path
        open_ += [((*path, str(key)), inner) for key, inner in items if isinstance(inner, dict | list)]
    return ()


def _without_faulty(raw, error, context):
    """The file with what is faulty in it unknown or left out, so that the rest can still be checked; None if that fails.

    Also the tables, by their first two keys, in which something was left out, and the keys that the file was read from.
    """
    patched, tries, left_out = copy.deepcopy(raw), Counter(), set()
    currency = context["currency"]
    stand_ins = _STAND_INS | {("study",): {"name": "study", "currency": currency}, ("study", "currency"): currency}
    for _ in range(6):  # a value made unknown may need its neighbour made unknown, or be no number after all
        for item in error.errors():
            path = _keys(item["loc"])
            numbered = next((at for at, part in enumerate(path) if isinstance(part, int)), None)
            node = _within(patched, path[:-1])
            if numbered is not None and (tries[path] or not isinstance(node, dict)):
                path = path[:numbered]  # an entry of a list that cannot be mended is left out with its list
                node = _within(patched, path[:-1])
            if not path or not isinstance(node, dict):
                return None, frozenset(), patched
            gone = item["type"] == "extra_forbidden" or tries[path] == 1 or numbered == len(path)
            stand_in = stand_ins.get(path) or ({"step": {}} if path[0] == "products" and path[-1] == "steps" else UNKNOWN)
            tries[path] += 1
            if gone and (item["type"] != "missing" or numbered == len(path)):
                node.pop(path[-1], None)
            else:  # a text that is needed and cannot be unknown
                node[path[-1]] = "unknown" if tries[path] > 1 and stand_in is UNKNOWN else stand_in
            if gone or stand_in is not UNKNOWN or tries[path] > 1:
                left_out.add(".".join(map(str, path[:2])))
        try:
            return StudyFile.model_validate(patched, context=context), frozenset(left_out), patched
        except ValidationError as again:
            error = again
    return None, frozenset(), patched


def _within(node, path):
    """What stands at a path of keys and places in lists; None where nothing does."""
    for part in path:
        if isinstance(node, dict):
            node = node.get(part)
        else:
            node = node[part] if isinstance(node, list) and isinstance(part, int) and part < len(node) else None
    return node


def _keys(location):
    """Keys of the file in the place that pydantic gives."""
    return tuple(part for part in location if part not in ("function-before", "[key]"))


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
    currency, locale = _currency_of(raw), study.get("locale")
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


def faults_of(error, currency="EUR"):
    """The first faults of a validation, in the kit's words."""
    return [_fault(item, currency) for item in error.errors(include_url=False)[:MOST_FAULTS]]


def _fault(item, currency="EUR"):
    """One pydantic error in the kit's words."""
    keys = [str(part) for part in _keys(item["loc"])]
    found = "" if item["type"] == "missing" else _short(item.get("input"))
    message = item["msg"].removeprefix("Value error, ")
    wrong, _, right = message.partition(" -> ")
    if item["type"] == "extra_forbidden":
        known = _fields_at(item["loc"][:-1])
        wrong, right = "unknown key", f"one of {', '.join(known)}{close_match(keys[-1], known)}"
        found = repr(keys[-1])
    elif item["type"] == "missing":
        wrong, right = "is missing", _EXAMPLES.get(".".join(keys), "this key with a value").replace("X", currency)
    elif item["type"] == "too_long":
        wrong, found, right = "too many entries", f"{len(item['input']):,}", f"at most {item['ctx']['max_length']}"
    elif not right:
        wrong, right = "cannot be used", message.replace("Input should", "should").removeprefix("should be ")
        if item["type"] in ("string_pattern_mismatch", "string_too_long"):
            right = _NAME
        elif item["type"] == "literal_error":
            right += close_match(item["input"], re.findall("'([^']+)'", message))
        right = _TYPES.get(item["type"], right)
    return fault_of(f"{wrong} -> {right}", file=STUDY_FILE, column=".".join(keys), found=found)


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
    return [field.alias or name for name, field in model.model_fields.items()]


def _lines(text):
    """Lines of a study file's tables and keys, as far as they can be found, by the names that lead there."""
    found, section, tables = {}, [], Counter()
    for number, line in enumerate(map(str.strip, text.splitlines()), start=1):
        key, equals, _ = line.partition("=")
        if line.startswith("["):
            header = line.lstrip("[").partition("]")[0]
            section = [part.strip("\"' ") for part in header.split(".")[:MOST_LEVELS]]
            if line.startswith("[["):  # the entries of a list are counted from 0
                section.append(str(tables[header]))
                tables[header] += 1
            path = section
        elif equals and _KEY.fullmatch(key):
            path = section + [part.strip("\"' ") for part in key.split(".")]
        else:
            continue
        found.setdefault(tuple(path), number)
    return found


def _with_line(fault, lines):
    """Point a fault of the study file at the line its key stands in, or that of the table around it."""
    keys = fault.column.split(".")
    paths = (tuple(keys[:count]) for count in range(len(keys), 0, -1))
    row = next((lines[path] for path in paths if path in lines), None) if fault.row is None else fault.row
    return replace(fault, row=row)


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
