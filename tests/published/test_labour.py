"""Learning curves against published worked examples and table values."""

import numpy as np
import pytest

from casting_econ.models import learning_exponent, practised_minutes, unit_total

AFIT = "AFIT-R/learningCurve, documentation and tests (4e7be18)"
CPRG = "US Department of Defense, Contract Pricing Reference Guide vol. 2 (2011), ch. 7"
STEV = "Stevenson, Operations Management, Table 7S.1, second-hand copy"
TABLES = "Heizer & Render, Operations Management, module E, and Stevenson, Table 7S.1, from memory"
JET = "textbook jet problem, from memory"


def printed(text):
    """A number as printed: right to half a unit of its last digit."""
    figures = text.replace(",", "")
    return pytest.approx(float(figures), rel=0, abs=0.500001 * 10.0 ** -len(figures.partition(".")[2]))


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
        (2, ("0.8000", "1.8000"), ("0.8500", "1.8500"), ("0.9000", "1.9000")),
        (4, ("0.6400", "3.1421"), ("0.7225", "3.3454"), ("0.8100", "3.5562")),
        (5, ("0.5956", "3.7377"), ("0.6857", "4.0311"), ("0.7830", "4.3392")),
        (10, ("0.4765", "6.3154"), ("0.5828", "7.1161"), ("0.7047", "7.9945")),
        (15, ("0.4182", "8.5105"), ("0.5300", "9.8611"), ("0.6626", "11.3837")),
        (20, ("0.3812", "10.4849"), ("0.4954", "12.4023"), ("0.6342", "14.6078")),
        (25, ("0.3548", "12.3086"), ("0.4701", "14.8007"), ("0.6131", "17.7132")),
        (50, ("0.2838", "20.1217"), ("0.3996", "25.5131"), ("0.5518", "32.1420")),
        (100, ("0.2271", "32.6508"), ("0.3397", "43.7539"), ("0.4966", "58.1410")),
    ],
)
def test_unit_model_tables_published(n, at_80, at_85, at_90):
    """L20 to L28: the printed learning curve tables, unit and cumulative, at three rates."""
    for rate, (unit, cumulative) in zip((0.80, 0.85, 0.90), (at_80, at_85, at_90)):
        assert unit_minutes(1.0, n, rate) == printed(unit), TABLES
        assert unit_total(n, rate) == printed(cumulative), TABLES
