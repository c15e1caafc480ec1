"""Equipment charges and hourly targets against interest tables, textbooks and published wages."""

import numpy as np
import numpy_financial
import pytest
from printed import printed

from casting_econ.models import self_employed_target, yearly_charge

TABLE_10 = "NCEES, FE Reference Handbook, interest rate table for 10 %, from memory"
TABLE_025 = "compound-interest table for 0.25 %, read in scribd 413220553; as in Blank & Tarquin, Engineering Economy, Table 1, from memory"
OWN = "own arithmetic: price x i / (1 - (1 + i) ** -n)"
OSA = "OpenStax, Principles of Accounting vol. 1 Financial, section 11.3"
NPF = "numpy-financial docs and tests (f47e8af)"
LADUKE = "LaDuke, bill rates in the gig economy, quoted at nathansgibson.org/dont-sell-short-gig-economy"
CONTRACTOR = "Contractor vs employee pay, worked example at 80,000 (calculatorlib.com)"


@pytest.mark.parametrize(
    ("price", "resale", "life", "interest", "expected", "source"),
    [
        (1, 0, 5, 0.10, "0.2638", TABLE_10),  # E01, A/P
        (1, 0, 10, 0.0025, "0.10138", TABLE_025),  # E02, A/P
        (25_000, 0, 5, 0.06, "5,934.91", OWN),  # E03
        (30_000, 0, 4, (1 + 0.18 / 12) ** 12 - 1, "11,492.57", OWN),  # E06, 18 % a year compounded monthly
        (200_000, 0, 180, 0.075 / 12, "1,854.02", NPF),  # E16, by the month
        (58_000, 10_000, 5, 0.0, "9,600", OSA),  # E18, straight line
        (10_000, 1_000, 5, 0.0, "1,800", OSA),  # E20, straight line
    ],
)
def test_yearly_charge_published(price, resale, life, interest, expected, source):
    """Capital recovery E01, E02, E03, E06, E16; straight line E18, E20."""
    assert yearly_charge(price, resale, life, interest) == printed(expected), source


@pytest.mark.parametrize(
    ("life", "interest", "expected", "source"), [(5, 0.10, "0.1638", TABLE_10), (10, 0.0025, "0.09888", TABLE_025)]
)
def test_yearly_charge_less_interest_is_sinking_fund_published(life, interest, expected, source):
    """(A/P) - (A/F) = i: A/F of E01 and E02; what is sold for its price in the end costs its interest alone."""
    assert yearly_charge(1, 0, life, interest) - interest == printed(expected), source
    assert yearly_charge(1, 1, life, interest) == pytest.approx(interest, rel=1e-12)


def test_yearly_charge_equals_reference_library():
    """Same as numpy_financial.pmt on a grid of price, resale, life and interest, zero interest included."""
    price, resale = np.array([1780.0, 620.0, 50_000.0])[:, None, None], np.array([0.0, 55.0])[:, None, None, None]
    life, interest = np.array([1.0, 6.0, 7.5, 40.0])[:, None], np.array([0.0, 1e-9, 0.0025, 0.08, 0.9])
    expected = -numpy_financial.pmt(interest, life, price, -resale)

    assert yearly_charge(price, resale, life, interest) == pytest.approx(expected, rel=1e-6)
    # away from 1e-9, where the reference itself loses digits, to rounding
    assert yearly_charge(price, resale, life, interest[2:]) == pytest.approx(expected[..., 2:], rel=1e-12)


@pytest.mark.parametrize(
    ("salary", "employer_share", "hours", "expected", "source"),
    [
        # 50,000 a year is 2.44 more an hour over the 1,888 that are left of 2,080 after holidays and sick days
        (50_000, 0.0, 1_888, "2.44", LADUKE),
        (80_000, 0.3765, 1_800, "22.72", CONTRACTOR),  # printed as 61.18 an hour, 38.46 of it the wage
    ],
)
def test_self_employed_target_beyond_the_wage_published(salary, employer_share, hours, expected, source):
    """What an hour must bring beyond an employed one, as its source prints it."""
    wage = salary / 2_080

    assert self_employed_target(wage, 2_080, employer_share, hours / 40, 40) - wage == printed(expected), source


def test_nothing_costs_nothing_a_year():
    """Own arithmetic: what was free has no charge, at interest or not."""
    assert yearly_charge(0, 0, 5) == yearly_charge(0, 0, 5, 0.1) == 0.0


def test_self_employed_target_hand_worked():
    """Own arithmetic: 13.45 x 1,950 x 1.15 / (46 x 37.5) = 30,161.625 / 1,725 = 17.485."""
    assert self_employed_target(13.45, 1950, 0.15, 46, 37.5) == pytest.approx(17.485, rel=1e-12)
