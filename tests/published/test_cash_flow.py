"""Present worth, rates of return and payback against textbooks, interest tables and a reference library."""

import numpy as np
import numpy_financial
import pytest
from cash_studies import level_flows
from printed import printed

from casting_econ.models.cash import cash_path, irr, npv, payback, rate_per_month

TABLE_10 = "NCEES, FE Reference Handbook, interest rate table for 10 %, from memory"
TABLE_025 = "compound-interest table for 0.25 %, read in scribd 413220553; as in Blank & Tarquin, Engineering Economy, Table 1, from memory"
OWN = "own arithmetic: annuity and gradient formulas"
OSF = "OpenStax, Principles of Finance, chapter 16"
OSM = "OpenStax, Principles of Accounting vol. 2 Managerial, section 11.3"
NPF = "numpy-financial docs and tests (f47e8af)"
GARRISON = (
    "Garrison, Noreen & Brewer, Managerial Accounting, master budget, schedule of expected cash collections (papertowriters.com)"
)
WARREN = "cash budget of a student for four months, solution at quesba.com/questions, 1342352"
PROJECT = [-16_000, 2_000, 4_000, 5_000, 5_000, 5_000, 5_000]  # E08


@pytest.mark.parametrize(
    ("rate", "flows", "expected", "source"),
    [
        (0.10, [0, 1, 1, 1, 1, 1], "3.7908", TABLE_10),  # E01, P/A
        (0.10, [0, 0, 0, 0, 0, 1], "0.6209", TABLE_10),  # E01, P/F
        (0.0025, [0] + [1] * 10, "9.8639", TABLE_025),  # E02, P/A
        (0.0025, [0] * 10 + [1], "0.9753", TABLE_025),  # E02, P/F
        (0.0025, [0, *range(10)], "44.1842", TABLE_025),  # E02, P/G: a gradient starts in the second period
        (0.08, [0] + [2_000 + 300 * year for year in range(8)], "16,835.11", OWN),  # E07
        (0.09, PROJECT, "2,835.62", OSF),  # E08
        (0.08, [-40_000, 5_000, 8_000, 12_000, 30_000], "3,065.22", NPF),  # E15
    ],
)
def test_npv_published(rate, flows, expected, source):
    """E01, E02, E07, E08, E15."""
    assert npv(rate, flows) == printed(expected), source


def test_npv_at_a_printed_factor():
    """E11, OSM: 200,000 for 40,000 in each of ten years at 8 %: the book's 68,400 is 40,000 x its factor 6.710, to half a digit of that."""
    assert npv(0.08, [-200_000] + [40_000] * 10) == pytest.approx(68_400, abs=40_000 * 0.0005), OSM


def test_npv_of_a_loan_is_the_loan():
    """E03, own arithmetic: five payments of 5,934.91 at 6 % are worth 25,000, to five half pennies."""
    assert npv(0.06, [0] + [5_934.91] * 5) == pytest.approx(25_000, abs=0.025)


def test_future_worth_published():
    """E16, NPF: 100 now and 100 a month for 120 months at 5 %/12 grow to 15,692.93."""
    assert npv(0.05 / 12, [100] * 121) * (1 + 0.05 / 12) ** 120 == printed("15,692.93")


@pytest.mark.parametrize(
    ("flows", "expected", "source"),
    [
        (PROJECT, "0.1409", OSF),  # E08
        ([-312_000] + [49_944] * 9, "0.08", OSM),  # E12
        ([-100, 39, 59, 55, 20], "0.28095", NPF),  # E14
        ([-100, 0, 0, 74], "-0.0955", NPF),  # E14
    ],
)
def test_irr_published(flows, expected, source):
    """E08, E12, E14: one rate each, below zero too."""
    [rate] = irr(flows)

    assert rate == printed(expected), source


def test_irr_within_published_limits():
    """E13, OSM: 50,000 for 10,000 in each of seven years earns between 8 and 10 %; there the annuity factor is 5."""
    [rate] = irr([-50_000] + [10_000] * 7)

    assert 0.08 < rate < 0.10 and (1 - (1 + rate) ** -7) / rate == pytest.approx(5.0, rel=1e-12)


def test_irr_reports_both_rates():
    """E10, from memory of OSF chapter 16: -350, 950, -620 is worth nothing at 9.180 % and at 62.249 %."""
    low, high = irr([-350, 950, -620])

    assert (low, high) == (printed("0.09180"), printed("0.62249"))


def test_payback_published():
    """E08, OSF: back after 4 years, discounted at 9 % after 5.05."""
    assert payback(PROJECT) == 4.0 and payback(PROJECT, 0.09) == printed("5.05")


def test_rate_per_month_by_hand():
    """E05, E06, own arithmetic: 12 % by the month is 12.6825 % a year; 18 % by the month is 19.5618 %."""
    assert rate_per_month(0.126825) == pytest.approx(0.01, abs=5e-8)
    assert rate_per_month(0.195618) == pytest.approx(0.015, abs=5e-8)


def test_factors_are_those_of_the_identities():
    """(P/A)(A/P) = 1 with A/P the library's payment; (F/A)(P/F) = (P/A), on a grid of rates and lives."""
    for rate in (0.0, 0.0025, 0.08, 0.9):
        for life in (1, 5, 40):
            worth = npv(rate, [0] + [1] * life)
            grown = sum((1 + rate) ** year for year in range(life))

            assert worth * -numpy_financial.pmt(rate, life, 1) == pytest.approx(1.0, rel=1e-12)
            assert grown * npv(rate, [0] * life + [1]) == pytest.approx(worth, rel=1e-12)


def test_receipts_of_a_cash_path_published():
    """Sales of 200, 600, 800 and 400 thousand, 70 % paid at once and 30 % a period later: 140, 480, 740 and 520, and 120 still owed.

    The schedule's first period also has 90 from the year before, so that 230 is printed.
    """
    sales = np.array([200_000, 600_000, 800_000, 400_000])
    path = cash_path(
        level_flows(share=sales / sales.sum(), outlays=np.zeros(5), receipts=((1_400_000, 0), (600_000, 1)), opening=90_000)
    )

    assert path.received[1:].tolist() == [230_000 - 90_000, 480_000, 740_000, 520_000], GARRISON
    assert path.balance[-1] == pytest.approx(1_970_000), GARRISON  # all collected in the year, with the 90
    assert path.owed[-1] == pytest.approx(120_000)  # 30 % of 400, by hand


def test_balances_of_a_cash_path_published():
    """5,750 there; 1,400 a month and 500 more in the fourth; 4,410 paid once and 1,110 a month: 1,630, 1,920, 2,210 and 3,000 are left."""
    earned = np.array([1_400, 1_400, 1_400, 1_900])
    once = [0, 210 + 3_700 + 500, 0, 0, 0]  # tickets, fees and a deposit of the first month
    plan = level_flows(
        share=earned / earned.sum(), outlays=once, receipts=((earned.sum(), 0),), overhead=12 * (275 + 600 + 235), opening=5_750
    )
    path = cash_path(plan)

    assert path.balance[1:] == pytest.approx([1_630, 1_920, 2_210, 3_000], rel=1e-12), WARREN
    assert (path.free.min(), path.free.argmin()) == (pytest.approx(1_630), 1), WARREN


@pytest.fixture(scope="module")
def random_flows():
    """Two hundred rows of 12 flows, an outlay first and signs as they fall after it."""
    rng = np.random.default_rng(5)
    return np.column_stack([-rng.uniform(50, 500, 200), rng.normal(40, 60, (200, 12))])


def test_npv_equals_reference_library(random_flows):
    """Same as numpy_financial.npv on 200 rows at rates from -30 % to 90 %."""
    rates = np.random.default_rng(6).uniform(-0.3, 0.9, 200)
    expected = [numpy_financial.npv(rate, flows) for rate, flows in zip(rates, random_flows, strict=True)]

    assert npv(rates, random_flows) == pytest.approx(np.array(expected), rel=1e-11)


def test_irr_holds_the_rate_of_the_reference_library(random_flows):
    """The one rate that numpy_financial.irr gives is among ours on 200 rows, each of ours is worth nothing, and several occur."""
    several = 0
    for flows in random_flows:
        rates, other = irr(flows), numpy_financial.irr(flows)
        size = np.abs(flows).sum()
        several += len(rates) > 1

        assert all(abs(npv(rate, flows)) <= 1e-9 * size * max(1.0, (1 + rate) ** -12.0) for rate in rates)
        if np.isfinite(other):
            assert min(abs(rate - other) for rate in rates) < 1e-6
    assert several > 0
