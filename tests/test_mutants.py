"""The table of faults that the checks were tried on."""

import csv

from mutants import HEADER, ROOT, TABLE, listed, mutated


def test_table_of_mutants_is_that_of_the_list():
    """Every fault of the list was tried; at least 60 of them, 95 in 100 noticed, and why not the others."""
    header, *rows = csv.reader(TABLE.read_text(encoding="utf-8").splitlines())
    missed = [row for row in rows if row[4] != "noticed"]

    assert tuple(header) == HEADER and [tuple(row[:4]) for row in rows] == listed()
    assert len(rows) >= 60 and len(missed) <= 0.05 * len(rows)
    assert [row for row in missed if not row[5]] == []
    gone = [place for place in listed() if mutated((ROOT / place[0]).read_text(encoding="utf-8"), *place[1:]) is None]
    assert gone == []  # each still has its place


def test_a_fault_is_put_where_it_belongs():
    """The only place, or the first after a text; a place that is gone, or one of several, is told."""
    assert mutated("a < b", "<", "<=", "") == "a <= b"
    assert mutated("[x] k = 1 [y] k = 1", "k = 1", "k = 2", "[y]") == "[x] k = 1 [y] k = 2"
    assert mutated("k = 1 k = 1", "k = 1", "k = 2", "") is None
    assert mutated("a > b", "<", "<=", "") is mutated("k = 1", "k = 1", "k = 2", "[y]") is None
