"""Learning curves against published worked examples and table values."""

import numpy as np
import pytest
from printed import printed

from casting_econ.models import learning_exponent, practised_minutes, unit_total

AFIT = "AFIT-R/learningCurve, documentation and tests (4e7be18)"
CPRG = "US Department of Defense, Contract Pricing Reference Guide vol. 2 (2011), ch. 7"
STEV = "Stevenson, Operations Management, Table 7S.1, second-hand copy; a page quoting it prints .583 for 80 %, which is 85 %"
TABLES = "Heizer & Render, Operations Management, module E, table of learning curve coefficients, and Stevenson, Table 7S.1, from memory"
JET = "own arithmetic: the sum of 300 x n ** log2(.8)"


def unit_minutes(first, piece, rate):
    """Minutes of one piece, all before it made and no floor."""
    return practised_minutes(0.0, first, rate, piece - 1, 1)


@pytest.mark.parametrize(("rate", "expected"), [(0.80, "-0.3219281"), (0.85, "-0.2344653"), (0.90, "-0.1520031")])
def test_learning_exponent_published(rate, expected):
    """L01, source AFIT."""
    assert learning_exponent(rate) == printed(expected), AFIT


@pytest.mark.parametrize(
    ("first", "rate", "piece", "expected", "source"),
    [
        (100, 0.85, 125, "32.23647", AFIT),  # L02
        (3000, 0.80, 2, "2400", CPRG),  # L11
        (3000, 0.80, 4, "1920", CPRG),
        (3000, 0.80, 8, "1536", CPRG),
        (1, 0.90, 20, "0.634", STEV),  # L15
        (1, 0.85, 10, "0.583", STEV),
        (1, 0.80, 10, "0.477", STEV),  # misprinted as .583 in a page quoting the table
        (300, 0.80, 5, "178.69", JET),  # L16
    ],
)
def test_unit_minutes_published(first, rate, piece, expected, source):
    """Time for one unit by the unit model: L02, L11, L15, L16."""
    assert unit_minutes(first, piece, rate) == printed(expected), source


@pytest.mark.parametrize(
    ("rate", "known_unit", "known_hours", "unit", "expected"),
    [(0.83, 1, 100, 80, "30.79056"), (0.92, 20, 120, 150, "94.17084"), (0.87, 10, 90, 175, "50.64078")],
)
def test_unit_minutes_from_another_unit_published(rate, known_unit, known_hours, unit, expected):
    """L10, source AFIT: one unit from another."""
    first = known_hours / unit_minutes(1.0, known_unit, rate)

    assert unit_minutes(first, unit, rate) == printed(expected), AFIT


@pytest.mark.parametrize(
    ("first", "rate", "pieces", "expected", "source"),
    [
        (100, 0.85, 125, "5,201.085", AFIT),  # L02, exact
        (100, 0.85, 1_000_000, "5,119,612", AFIT),  # L05, exact
        (300, 0.80, 5, "1,121.32", JET),  # L16
        (300, 0.80, 18, "2,914.85", JET),
    ],
)
def test_unit_total_published(first, rate, pieces, expected, source):
    """Total of the first units by the unit model; the mean of unit times over a year is the same sum."""
    assert first * unit_total(pieces, rate) == printed(expected), source
    assert pieces * practised_minutes(0.0, first, rate, 0, pieces) == printed(expected), source


def test_practised_minutes_of_a_lot_by_hand():
    """L06, source AFIT, prints 334.6103 by the midpoint approximation; the plain sum over units 201 to 500 gives 334.6105."""
    mean = practised_minutes(0.0, 1.0, 0.75, 200, 300)
    by_hand = sum(n ** np.log2(0.75) for n in range(201, 501)) / 300

    assert mean == pytest.approx(by_hand, rel=1e-11)
    assert mean ** (1 / np.log2(0.75)) == printed("334.6105")


@pytest.mark.parametrize(
    ("n", "at_80", "at_85", "at_90"),
    [  # L20 to L28: unit, cumulative
        (2, ("0.800", "1.800"), ("0.850", "1.850"), ("0.900", "1.900")),
        (4, ("0.640", "3.142"), ("0.722", "3.345"), ("0.810", "3.556")),
        (5, ("0.596", "3.738"), ("0.686", "4.031"), ("0.783", "4.339")),
        (10, ("0.477", "6.315"), ("0.583", "7.116"), ("0.705", "7.994")),
        (15, ("0.418", "8.511"), ("0.530", "9.861"), ("0.663", "11.384")),
        (20, ("0.381", "10.485"), ("0.495", "12.402"), ("0.634", "14.608")),
        (25, ("0.355", "12.309"), ("0.470", "14.801"), ("0.613", "17.713")),
        (50, ("0.284", "20.122"), ("0.400", "25.513"), ("0.552", "32.142")),
        (100, ("0.227", "32.651"), ("0.340", "43.754"), ("0.497", "58.141")),
    ],
)
def test_unit_model_tables_published(n, at_80, at_85, at_90):
    """L20 to L28: the printed learning curve tables, unit and cumulative, to their three decimals, at three rates."""
    for rate, (unit, cumulative) in zip((0.80, 0.85, 0.90), (at_80, at_85, at_90)):
        assert unit_minutes(1.0, n, rate) == printed(unit), TABLES
        assert unit_total(n, rate) == printed(cumulative), TABLES
