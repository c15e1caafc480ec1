"""The records as they go into a pack: the logs as they were read, in plain CSV, without the columns that name people."""

import re
import tomllib
import unicodedata
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..faults import Fault, StudyError, close_match, refusal
from ..ledger import LOGS
from ..ledger.logs import FREE, NUMBERS, plain
from ..ledger.table import quoted
from ..reference import words
from ..study import STUDY_FILE, Study


@dataclass(kw_only=True)
class Records:
    """The logs for a pack, and what was decided about their columns."""

    files: dict[str, bytes] = field(default_factory=dict)  # by name in records/
    frames: dict[str, pd.DataFrame] = field(default_factory=dict)  # what is in them, by log
    left_out: dict[str, str] = field(default_factory=dict)  # LOG.COLUMN, file or sheet -> why
    kept: list[str] = field(default_factory=list)  # LOG.COLUMN
    values: dict[str, str] = field(default_factory=dict)  # what stood in columns that name people -> LOG.COLUMN


def _is_named(header, buyers=False):
    """Whether a heading speaks of people; with `buyers`, plainly of buyers."""
    text = unicodedata.normalize("NFC", header).casefold()
    parts = [part.strip("-") for part in re.split(r"[^\w-]+|_", text)]
    named = words("people")
    if buyers:
        return any(word in parts for word in named["buyers"])
    return any(part in named["words"] for part in parts) or any(word in text for word in named["parts"])


def packed_records(study: Study, keep: tuple[str, ...] = ()) -> Records:
    """The records of a study for a pack: a file a log, with the columns that the study reads and no other; those named in `keep` stay though
    they may name people, as LOG.COLUMN, by their heading or by the log's own name.

    StudyError for a column to keep that is not there or that the study does not read, and one that cannot be left out.
    """
    unread = [file.place.removeprefix("records/") for file in study.reading.files if file.log == "ignore"]
    found = Records(left_out=dict.fromkeys(unread, "the study does not read it"))
    logs, gone, faults = study.whole_logs, set(), []
    wanted, met = {_key(name): name for name in keep}, set()
    headed = [(file, column, f"{file.log}.{column.header}") for file in study.reading.files for column in file.columns]
    names = {place: {_key(place), f"{file.log}.{column.name or place}"} for file, column, place in headed}
    kept = {(file.log, column.name) for file, column, place in headed if column.name and names[place] & wanted.keys()}
    for file, column, place in headed:
        kind, needed = LOGS[file.log][column.name] if column.name else (FREE, False)
        named = column.name == "note" or (kind not in NUMBERS and _is_named(column.header, buyers=kind != FREE))
        if column.name and not named:
            continue
        met |= names[place] & wanted.keys()
        at = {"file": file.place, "column": column.header}
        if (file.log, column.name) in kept:
            found.kept += [place] if place not in found.kept else []
        elif needed:
            right = f'other words in the column, or --keep-column "{place}" if your partner may see it'
            wrong = "may name customers and cannot be left out"
            faults.append(Fault(**at, wrong=wrong, found=f"the study reads it as {column.name}", right=right))
        elif names[place] & wanted.keys():
            right = f'it read as a note, {quoted(column.header)} = "note" under [records.columns.{file.log}] in study.toml'
            faults.append(Fault(**at, wrong="cannot be kept, as the study does not read it", right=right))
        else:
            gone.add((file.log, column.name))
            found.left_out.setdefault(place, "may name people or tell about them" if named else "the study does not read it")
            if named and column.name != "note":
                cells = logs[file.log][column.name].dropna() if column.name else sorted(file.unread[column.header])
                found.values |= {str(cell): place for cell in cells if len(str(cell)) >= 4} | found.values
    known = sorted({*found.left_out, *found.kept})
    for name in (name for key, name in wanted.items() if key not in met):
        right = f"LOG.COLUMN, one of {', '.join(known)}" if known else "nothing, as no column names people"
        right += close_match(name, known)
        faults.append(Fault("--keep-column", "no such column", right, found=repr(name)))
    if faults:
        raise StudyError(faults)
    for log, frame in logs.items():
        left = {f"{name}{end}" for other, name in gone if other == log for end in ("", "_low", "_high")}
        found.frames[log] = frame.drop(columns=left & set(frame.columns))
        found.files[f"{log}.csv"] = _as_csv(log, found.frames[log])
    return found


def _key(name):
    log, _, column = name.partition(".")
    return f"{plain(log)}.{plain(column)}"


def _as_csv(log, frame):
    """A log in plain CSV, as it is read again whatever the study's locale; its date first, as no remark or total begins with one."""
    columns = [name for name, (_, needed) in LOGS[log].items() if name in frame and (needed or frame[name].notna().any())]
    columns.sort(key=lambda name: LOGS[log][name] != ("date", True))
    cells = {name: [_cell(value) for value in frame[name]] for name in columns}
    for name in columns:
        if f"{name}_low" in frame:
            ends = zip(cells[name], frame[f"{name}_low"], frame[f"{name}_high"])
            cells[name] = [cell if low != low else f"{_cell(low)} to {_cell(high)}" for cell, low, high in ends]
    return pd.DataFrame(cells, dtype=str).to_csv(index=False, lineterminator="\n").encode()


def _cell(value):
    """One cell, empty where there is no value; no figure looks as if its decimal mark could part thousands."""
    if pd.isna(value):
        return ""
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    if not isinstance(value, float):
        return str(value)
    text = np.format_float_positional(value, trim="0")
    return text + "0" if len(text.partition(".")[2]) == 3 else text


def packed_study_file(study: Study) -> bytes:
    """The study file for a pack: as it is, but for how records of other forms are read; StudyError where that cannot be parted from it."""
    data = (study.folder / STUDY_FILE).read_bytes()
    if "records" not in study.raw:
        return data
    lines, inside, headed = [], False, False
    for line in data.decode("utf-8-sig").split("\n"):
        if re.match(r"\s*\[", line):
            headed, inside = True, re.match(r"""\s*\[\s*["']?records["']?\s*[].]""", line) is not None
        own = inside or (not headed and re.match(r"\s*records\s*[.=]", line))
        if not own or not line.strip() or line.lstrip().startswith("#"):
            lines.append(line)
    # words that stay as they are, such as a code that could be a date
    alike = [(column, word) for column, words in study.file.records.words.items() for word, ours in words.items() if word == ours]
    lines[:0] = [f"records.words.{column}.{text} = {text}" for column, word in alike if (text := quoted(word))]
    text = "\n".join(lines)
    rest = {key: value for key, value in study.raw.items() if key != "records"}
    try:
        parted = {key: value for key, value in tomllib.loads(text).items() if key != "records"} == rest
    except tomllib.TOMLDecodeError:
        parted = False
    if not parted:
        right = "[records] and the tables in it under headings of their own, each line one key"
        wrong = "cannot be parted from the rest of the file"
        raise refusal(STUDY_FILE, wrong, right, column="records")
    return text.encode()
