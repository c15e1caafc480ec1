"""Records are read from any sensible file, and what they leave open is asked."""

import hashlib
import json
from pathlib import Path

import pandas as pd
import pytest

from casting_econ.faults import Question
from casting_econ.preview import preview
from casting_econ.study.reading import LOGS
from casting_econ.study.records import Names, read_records
from casting_econ.study.schema import RecordsTable

HERE = Path(__file__).parent
UGLY = sorted(path.parent for path in (HERE / "ugly").glob("*/expected.json"))


def settings_of(text):
    """The [records] table that these lines make."""
    import tomllib

    table = tomllib.loads(f"[records]\n{text}").get("records", {})
    return RecordsTable.model_validate(table, context={"currency": "EUR"})


def read(folder, expected):
    """Read the records of a case."""
    names = None
    if "items" in expected:
        names = Names(products={}, channels=frozenset(), places=frozenset(), tasks=frozenset(), items=expected["items"])
    settings = settings_of(expected.get("settings", ""))
    return read_records(folder / "records", names, settings, expected.get("currency", "EUR"), expected.get("locale"))


def hashes(folder):
    """Contents of every file."""
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in (folder / "records").iterdir()}


def value(cell):
    """A value of a frame as the expectations write it."""
    if pd.isna(cell):
        return None
    return f"{cell:%Y-%m-%d}" if isinstance(cell, pd.Timestamp) else cell


def test_corpus_is_large():
    """At least sixty cases, each with its expectation."""
    assert len(UGLY) >= 60


@pytest.mark.parametrize("folder", UGLY, ids=lambda folder: folder.name)
def test_ugly_file(folder):
    """Each ugly file gives the rows a maker meant, or says what is wrong or open; no row is lost, no byte changed."""
    expected, before = json.loads((folder / "expected.json").read_text(encoding="utf-8")), hashes(folder)

    records, reading, faults = read(folder, expected)

    assert hashes(folder) == before
    for file in reading.files:
        assert file.read == file.used + len(file.set_aside)
    text = preview(reading, full=True)
    assert all(len(line) <= 80 for line in text.splitlines())
    if "faults" in expected:
        told = "\n".join(map(str, faults))
        assert faults and [part for part in expected["faults"] if part not in told] == []
        assert any(isinstance(fault, Question) for fault in faults) == ("question" in told)
        return
    assert [str(fault) for fault in faults] == []
    assert set(records) == {expected["log"]}
    frame, columns = records[expected["log"]], expected["columns"]
    assert [str(label) for label in frame.index] == [str(row[0]) for row in expected["rows"]]
    for found, wanted in zip(frame[columns].to_numpy(object), expected["rows"], strict=True):
        for cell, want in zip(map(value, found), wanted[1:], strict=True):
            assert cell == (pytest.approx(want, rel=1e-9) if isinstance(want, float) else want)
    assert frame.drop(columns=columns).isna().all().all()
    aside = {str(one.row): one.reason for file in reading.files for one in file.set_aside}
    assert set(aside) == set(expected.get("aside", {}))
    assert [row for row, reason in expected.get("aside", {}).items() if reason not in aside[row]] == []
    said = "\n".join(decision for file in reading.files for decision in file.decisions)
    assert [part for part in expected.get("decisions", []) if part not in said] == []
    joined = " ".join(text.split())
    assert [part for part in expected.get("changes", []) if part not in joined] == []
    if expected["lines"]:  # every line but the header is a row that is used or set aside
        assert sum(file.read for file in reading.files) == expected["lines"] - 1
        assert len(frame) + len(aside) == expected["lines"] - 1


def test_columns_are_as_evidence_expects(tmp_path):
    """Every log has all its columns, in order, with times, figures and text."""
    (tmp_path / "purchases.csv").write_text("date;item;kind;quantity;paid\n2025-04-03;wax;material;1,5 kg;9\n", encoding="utf-8")

    records, _, _ = read_records(tmp_path, None)

    assert list(records["purchases"]) == list(LOGS["purchases"])
    kinds = {name: records["purchases"][name].dtype.kind for name in ("date", "item", "unit", "quantity", "resale")}
    assert kinds == {"date": "M", "item": "O", "unit": "O", "quantity": "f", "resale": "f"}
