"""Equipment charges and hourly targets against interest tables, textbooks and published wages."""

import numpy as np
import numpy_financial
import pytest

from casting_econ.models import self_employed_target, yearly_charge

FE = "public FE-exam course file; standard compound-interest tables, second-hand copy"
TABLE = "compound-interest tables (scribd 413220553)"
OSM = "OpenStax, Principles of Accounting vol. 2 Managerial, section 11.3"
OSA = "OpenStax, Principles of Accounting vol. 1 Financial, section 11.3"
NPF = "numpy-financial docs and tests (f47e8af)"
LWF = "Living Wage Foundation in employeebenefits.co.uk, second-hand copy"
GUIDE = "public guide, 2026, second-hand copy"
DOL = "US Department of Labor figures, second-hand copy"


def printed(text):
    """A number as printed: right to half a unit of its last digit."""
    figures = text.replace(",", "")
    return pytest.approx(float(figures), rel=0, abs=0.500001 * 10.0 ** -len(figures.partition(".")[2]))


@pytest.mark.parametrize(
    ("price", "resale", "life", "interest", "expected", "source"),
    [
        (1, 0, 5, 0.10, "0.2637975", FE),  # E01, A/P
        (1, 0, 10, 0.0025, "0.10138", TABLE),  # E02, A/P
        (25_000, 0, 5, 0.06, "5,934.91", FE),  # E03
        (30_000, 0, 4, (1 + 0.18 / 12) ** 12 - 1, "11,492.57", FE),  # E06, 18 % a year compounded monthly
        (200_000, 0, 180, 0.075 / 12, "1,854.02", NPF),  # E16, by the month
        (58_000, 10_000, 5, 0.0, "9,600", OSA),  # E18, straight line
        (10_000, 1_000, 5, 0.0, "1,800", OSA),  # E20, straight line
    ],
)
def test_yearly_charge_published(price, resale, life, interest, expected, source):
    """Capital recovery E01, E02, E03, E06, E16; straight line E18, E20."""
    assert yearly_charge(price, resale, life, interest) == printed(expected), source


@pytest.mark.parametrize(
    ("life", "interest", "expected", "source"),
    [
        (5, 0.10, "3.7907868", FE),  # E01
        (10, 0.0025, "9.8639", TABLE),  # E02
        (10, 0.08, "6.710", OSM),  # E11
        (9, 0.079996, "6.247", OSM),  # E12
    ],
)
def test_yearly_charge_inverts_present_worth_published(life, interest, expected, source):
    """P/A of E01, E02, E11, E12 is one over the charge for 1."""
    assert 1 / yearly_charge(1, 0, life, interest) == printed(expected), source


def test_yearly_charge_loan_interest_published():
    """E03: five payments on 25,000 at 6 % hold 4,674.55 of interest."""
    assert 5 * yearly_charge(25_000, 0, 5, 0.06) - 25_000 == printed("4,674.55"), FE


@pytest.mark.parametrize(("life", "interest", "expected", "source"), [(5, 0.10, "0.1637975", FE), (10, 0.0025, "0.09888", TABLE)])
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
    ("wage", "paid_hours", "expected", "source"),
    [
        (13.45, 37.5 * 52, "26,227.50", GUIDE),  # T17, UK
        (14.80, 37.5 * 52, "28,860", GUIDE),  # T17, London
        (7.25, 2080, "15,080", DOL),  # T18
        (13.45 - 12.21, 37.5 * 52, "2,418", LWF),  # T16, real living wage T15 over legal minimum T13, UK
        (14.80 - 12.21, 37.5 * 52, "5,050.50", LWF),  # T16, London; printed as 5,050
    ],
)
@pytest.mark.parametrize(("weeks", "full_week"), [(52, 37.5), (46, 37.5), (44, 30)])
def test_self_employed_target_brings_the_published_year(wage, paid_hours, expected, source, weeks, full_week):
    """T16 to T18: whatever weeks are worked, a full year at the target brings the published year's pay."""
    target = self_employed_target(wage, paid_hours, 0.0, weeks, full_week)

    assert target * weeks * full_week == printed(expected), source


@pytest.mark.parametrize("wage", [12.60, 13.85, 13.45, 14.80])
def test_self_employed_target_of_an_employed_year_is_the_wage(wage):
    """T15 wages, source LWF: with 52 weeks of 37.5 h and no contributions the target is the wage itself."""
    assert self_employed_target(wage, 1950, 0.0, 52, 37.5) == pytest.approx(wage, rel=1e-14), LWF


def test_self_employed_target_hand_worked():
    """13.45 x 1,950 x 1.15 / (46 x 37.5) = 30,161.625 / 1,725 = 17.485."""
    assert self_employed_target(13.45, 1950, 0.15, 46, 37.5) == pytest.approx(17.485, rel=1e-12)
