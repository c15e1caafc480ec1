"""The table of the study file that says how the files in records/ are to be read, where they do not say it themselves."""

import datetime as dt
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator

from ..faults import close_match
from ..ledger.logs import LOGS, NUMBERS
from .fields import Node, PlainDensity, key


def _known_log(name: str) -> str:
    """A log, or 'ignore'."""
    if name not in (*LOGS, "ignore"):
        raise ValueError(f"unknown log -> one of {', '.join(LOGS)}, or ignore{close_match(name, LOGS)}")
    return name


class RecordColumn(Node):
    """What one of her columns is."""

    column: str = key("column of the log, or ignore")
    unit: str = key("unit of its figures", "")
    density: PlainDensity | None = key("turns its volume into a mass", None)


def _known_columns(tables: dict[str, dict[str, RecordColumn]]) -> dict[str, dict[str, RecordColumn]]:
    """Columns that their log has."""
    for log, columns in tables.items():
        if log not in LOGS:
            raise ValueError(f"unknown log {log!r} -> one of {', '.join(LOGS)}{close_match(log, LOGS)}")
        for header, entry in columns.items():
            if entry.column not in (*LOGS[log], "ignore"):
                right = f"one of {', '.join(LOGS[log])}, or ignore{close_match(entry.column, LOGS[log])}"
                raise ValueError(f"unknown column {entry.column!r} for {header!r} -> {right}")
    return tables


def _known_word_columns(tables: dict[str, dict[str, str]]) -> dict[str, dict[str, str]]:
    """Columns of words that some log has."""
    texts = {name for log in LOGS.values() for name, (kind, _) in log.items() if kind not in NUMBERS and kind != "date"}
    for name in tables:
        if name not in texts:
            raise ValueError(f"unknown column {name!r} of words -> one of {', '.join(sorted(texts))}{close_match(name, texts)}")
    return tables


class RecordsTable(Node):
    """How the files in records/ are to be read, where they do not say it themselves."""

    dates: Literal["day first", "month first", "year first"] | None = key("what comes first in a date such as 3/4/2025", None)
    first_day: dt.date | None = key("days written without a year are the first such days from this one on", None)
    decimal: Literal["comma", "point"] | None = key("decimal mark of a figure such as 1.200", None)
    files: dict[str, Annotated[str, AfterValidator(_known_log)]] = key("which log a file, or workbook/sheet, is", {})
    columns: Annotated[
        dict[
            str, dict[str, Annotated[RecordColumn, BeforeValidator(lambda raw: {"column": raw} if isinstance(raw, str) else raw)]]
        ],
        AfterValidator(_known_columns),
    ] = key("by log: your column, and which of the log's it is", {})
    words: Annotated[dict[str, dict[str, str]], AfterValidator(_known_word_columns)] = key(
        "by column: your word, and the study's for it", {}
    )
