"""The learning fit against printed learning curve tables and worked examples, read back to the rate they were made with."""

import numpy as np
import pytest
from printed import printed
from scipy import stats

from casting_econ.evidence.learning import fit_learning
from casting_econ.models import practised_minutes

TABLES = "Heizer & Render, Operations Management, module E, table of learning curve coefficients, from memory"
CPRG = "US Department of Defense, Contract Pricing Reference Guide vol. 2 (2011), ch. 7"
AFIT = "AFIT-R/learningCurve, documentation and tests (4e7be18)"
JET = "own arithmetic: 300 x 5 ** log2(.8)"

ENDS = [1, 2, 4, 5, 10, 15, 20, 25, 50, 100]
LAST = {0.80: "0.227", 0.85: "0.340", 0.90: "0.497"}  # unit 100
CUMULATIVE = {  # L20 to L28, first piece 1
    0.80: [1.0, 1.8, 3.142, 3.738, 6.315, 8.511, 10.485, 12.309, 20.122, 32.651],
    0.85: [1.0, 1.85, 3.345, 4.031, 7.116, 9.861, 12.402, 14.801, 25.513, 43.754],
    0.90: [1.0, 1.9, 3.556, 4.339, 7.994, 11.384, 14.608, 17.713, 32.142, 58.141],
}


def rows(rate, first, floor, sizes, before=0.0):
    """Timesheet rows without scatter: minutes and pieces."""
    sizes = np.asarray(sizes, float)
    return sizes * practised_minutes(floor, first, rate, before + np.cumsum(sizes) - sizes, sizes), sizes


def scattered(rng, scatter, *made):
    """The same with log-normal scatter."""
    minutes, sizes = rows(*made)
    return minutes * rng.lognormal(0.0, scatter, minutes.size), sizes


@pytest.mark.parametrize("rate", [0.80, 0.85, 0.90])
def test_fit_reads_printed_tables_back(rate):
    """L20 to L28: rows between the printed cumulative values give the table's rate and first piece back."""
    fit = fit_learning(np.diff([0.0, *CUMULATIVE[rate]]), np.diff([0, *ENDS]))

    assert fit.first == printed("1.000"), TABLES
    assert fit.practised == printed(LAST[rate]), TABLES
    # half a digit of a total of 1.8 pieces is .03 %, and an exponent is told by the whole table
    assert fit.rate == pytest.approx(rate, abs=1e-4), TABLES
    assert not fit.floor_reached
    assert fit.weight > 0.999


@pytest.mark.parametrize(
    ("first", "rate", "last", "expected", "source"),
    [
        (3000, 0.80, 8, "1536", CPRG),  # L11
        (3000, 0.80, 100, "681.185", "own arithmetic: 3000 x 100 ** log2(.8); CPRG reads about 680 off its graph"),
        (100, 0.85, 125, "32.23647", AFIT),  # L02
        (100, 0.83, 80, "30.79056", AFIT),  # L10
        (300, 0.80, 5, "178.69", JET),  # L16
    ],
)
def test_fit_reads_the_last_unit_back_published(first, rate, last, expected, source):
    """L02, L10, L11, L16: rows of 1, 1, ... and the rest; the practised minutes are the printed last unit's."""
    ends = np.unique(np.rint(np.geomspace(1, last, 9))) if last > 8 else np.arange(1, last + 1)
    sizes = np.diff([0, *ends])
    if sizes.size < 6:  # more rows than the example has units: each unit on two rows would be no row, so go on to 8
        made = rows(rate, first, 0.0, [1] * 8)
        fit = fit_learning(*made)
        assert float(practised_minutes(0.0, fit.first, fit.rate, last - 1, 1)) == printed(expected), source
        return
    fit = fit_learning(*rows(rate, first, 0.0, sizes))

    assert fit.rate == pytest.approx(rate, abs=1e-7), source
    assert fit.first == pytest.approx(first, rel=1e-6), source
    assert fit.practised == printed(expected), source


def test_fit_after_pieces_made_before_published():
    """L10: 92 %, unit 20 takes 120, unit 150 takes 94.17084; rows from unit 21 on know of the 20 before."""
    first = 120 / practised_minutes(0.0, 1.0, 0.92, 19, 1)
    fit = fit_learning(*rows(0.92, first, 0.0, [13] * 10, before=20), before=20)

    assert fit.rate == pytest.approx(0.92, abs=1e-7), AFIT
    assert practised_minutes(0.0, fit.first, fit.rate, 19, 1) == pytest.approx(120, rel=1e-6), AFIT
    assert fit.practised == printed("94.17084"), AFIT


@pytest.mark.parametrize(("rate", "floor"), [(0.80, 4.0), (0.85, 5.0), (0.90, 7.0)])
def test_fit_finds_the_floor(rate, floor):
    """Rows without scatter that learn down to a floor: rate, first piece and floor come back."""
    fit = fit_learning(*rows(rate, 10.0, floor, [2] * 20))

    assert fit.floor_reached
    assert (fit.rate, fit.first, fit.practised) == pytest.approx((rate, 10.0, floor), rel=1e-4)


def test_fit_of_single_pieces_is_log_log_regression():
    """One piece a row and no floor: the regression line of log minutes on log piece number, by scipy."""
    rng = np.random.default_rng(3)
    minutes, sizes = scattered(rng, 0.1, 0.8, 50.0, 0.0, [1] * 30)
    line = stats.linregress(np.log(np.arange(1, 31)), np.log(minutes))
    fit = fit_learning(minutes, sizes)
    residuals = np.log(minutes) - line.intercept - line.slope * np.log(np.arange(1, 31))

    assert not fit.floor_reached
    assert np.log2(fit.rate) == pytest.approx(line.slope, rel=1e-6)
    assert fit.first == pytest.approx(np.exp(line.intercept), rel=1e-6)
    assert fit.scatter == pytest.approx(np.sqrt(np.sum(residuals**2) / 28), rel=1e-9)
    # the interval holds the line's own t interval, since it allows for a floor too
    reach = stats.t.ppf(0.9, 28) * line.stderr
    assert fit.low <= 2 ** (line.slope - reach) * (1 + 1e-6)
    assert fit.high >= 2 ** (line.slope + reach) * (1 - 1e-6)


def test_weight_is_the_posterior_probability():
    """1 / (1 + exp(half the difference of BIC)), Kass & Raftery, J. Am. Stat. Assoc. 90 (1995) 773-795; the line of single pieces by scipy."""
    minutes, sizes = scattered(np.random.default_rng(4), 0.2, 0.9, 10.0, 0.0, [1] * 9)
    line = stats.linregress(np.log(np.arange(1, 10)), np.log(minutes))
    residuals = np.log(minutes) - line.intercept - line.slope * np.log(np.arange(1, 10))
    # by hand: rows x (ln(2 pi variance) + 1) + numbers fitted x ln rows, the scatter one of them
    learning = 9 * (np.log(2 * np.pi * np.mean(residuals**2)) + 1) + 3 * np.log(9)
    steady = 9 * (np.log(2 * np.pi * np.var(np.log(minutes))) + 1) + 2 * np.log(9)
    fit = fit_learning(minutes, sizes)

    assert 0.0 < fit.weight < 1.0 and not fit.floor_reached
    assert np.log(fit.weight / (1 - fit.weight)) == pytest.approx((steady - learning) / 2, rel=1e-9)


@pytest.mark.parametrize(("rate", "count"), [(0.8, 20), (0.9, 10)])
def test_interval_covers(rate, count):
    """80 % intervals of 25 timesheets cover the true rate at least as often, within four standard errors."""
    rng = np.random.default_rng(10)
    fits = [fit_learning(*scattered(rng, 0.15, rate, 10.0, 0.0, [12] * count)) for _ in range(25)]
    covered = np.mean([fit.low <= rate <= fit.high for fit in fits])

    assert covered > 0.8 - 4 * np.sqrt(0.8 * 0.2 / 25)
    assert np.mean([fit.rate for fit in fits]) == pytest.approx(rate, abs=0.03)


def test_weight_is_low_without_learning_and_high_with_it():
    """Twenty rows at 15 % scatter: constant minutes mostly speak against learning, 80 % rows for it."""
    rng = np.random.default_rng(11)
    weights = {
        rate: [fit_learning(*scattered(rng, 0.15, rate, 10.0, 0.0, [12] * 20)).weight for _ in range(9)] for rate in (1, 0.8)
    }

    assert np.median(weights[1]) < 0.3
    assert min(weights[0.8]) > 0.9
