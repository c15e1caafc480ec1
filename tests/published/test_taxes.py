"""Contributions and tax against published rates and worked amounts of the named year."""

from dataclasses import replace

import numpy as np
import pytest
from printed import printed

from casting_econ.models.tax import by_bands, charges, take_home
from casting_econ.reference import taxes, wages

# totals of one self-employed person with no other income, each read in a stored copy of the page; none is the authority's own
GRANT_THORNTON = "Grant Thornton Ireland, How the Budget will affect you and your family (Budget 2025), 'High Income Single'"
CLASS_S = "Department of Social Protection, PRSI Class S rates (gov.ie, 8 January 2025)"
US_2024 = "Self-Employment Tax Calculator, 2024, worked example at 80,000 (estinest.pages.dev)"
US_2025 = "How much tax will you pay on $100,000 as a single filer? 2025 (e.file-tax.net), a wage, so without contributions"
US_2026 = "Freelance Effective Tax Rate Calculator, tax year 2026, worked example at 80,000 (calcsumly.com)"
UK_2024 = "Sole Trader Tax Calculator, 2024/25, worked example at 50,000 (calculatorlib.com)"
UK_2025 = "Self-Employed Tax Calculator, 2025/26, worked example at 45,000 (financecalc.co.uk)"
UK_2026 = "Sole Trader Tax, 2026/27, worked example at 42,500 (bracketmath.co.uk), without its voluntary contributions"
BUDGET_2026 = "Grant Thornton Ireland, How the Budget will affect you and your family (Budget 2026), 'High Income Single'"
UK_60 = "What is 60k after tax (theaccountancy.co.uk), income tax of a salary, which is that of a profit"
SSA = "SSA, Contribution and Benefit Base, ssa.gov/oact/cola/cbb.html"
SECA = "allthecalculations.com, self-employment tax, worked example"
HUB = "thefriendlyhub.co.uk, second-hand copy"
GOV = "gov.uk, income tax rates; from memory"
IRS = "IRS, tax rate schedule X, from memory; 2025 to 40,199 in bmsmanagement.net/tax-facts"


def contributions(scheme, profit):
    """All contributions of a scheme, and what each is."""
    due = charges(profit, scheme)
    parts = [due[part.name] for part in scheme.parts if part.kind == "contribution"]
    return sum(parts), parts


@pytest.mark.parametrize(
    ("year", "base", "source"),
    [("2024", 168_600, SSA), ("2025", 176_100, SSA), ("2026", 184_500, SSA + ", from memory")],
)
def test_wage_base_published(year, base, source):
    """T01, T02: 12.4 % stops at the base, so that a profit just above base / .9235 pays no more of it."""
    scheme = taxes()[f"us-{year}"]
    at, far = (contributions(scheme, profit)[1][0] for profit in (base / 0.9235, 10 * base))

    assert at == pytest.approx(0.124 * base, rel=1e-12), source
    assert far == pytest.approx(at, rel=1e-12), source


@pytest.mark.parametrize(
    ("name", "profit", "parts", "total", "source"),
    [
        ("us-2024", 80_000, {"social security": "9,161.12", "hospital insurance": "2,142.52", "income tax": "8,197.60"}, "19,501.24", US_2024),
        ("us-2026", 80_000, {"income tax": "7,527"}, "18,830", US_2026),
        ("uk-2024", 50_000, {"Class 4 contributions": "2,245.8", "income tax": "7,486"}, "9,731.8", UK_2024),
        ("uk-2025", 45_000, {"Class 4 contributions": "1,945.80", "income tax": "6,486.00"}, "8,431.80", UK_2025),
        (
            "ie-2025",
            100_000,
            {"social insurance, class S": "4,125", "universal social charge": "4,044", "income tax": "27,200"},
            "35,369",
            GRANT_THORNTON,
        ),
        ("uk-2026", 42_500, {"Class 4 contributions": "1,796", "income tax": "5,986"}, "7,782", UK_2026),
        # the charge of 4,030.62 (own arithmetic: 60.06 + 333.76 + 1,240.32 + 2,396.48) is printed cut off, as 4,030; the total is not
        (
            "ie-2026",
            100_000,
            {"social insurance, class S": "4,238", "universal social charge": "4,030.62", "income tax": "27,200"},
            "35,468",
            BUDGET_2026,
        ),
    ],
)  # fmt: skip
def test_total_of_a_year_published(name, profit, parts, total, source):
    """One worked example a scheme: each part printed, all of it together, and what is left."""
    scheme = taxes()[name]
    due = charges(profit, scheme)

    assert {part: due[part] for part in parts} == {part: printed(figure) for part, figure in parts.items()}, source
    assert sum(due.values()) == printed(total), source
    assert profit - take_home(profit, scheme) == printed(total), source


@pytest.mark.parametrize(
    ("name", "wage", "due", "source"),
    [("us-2025", 100_000, "13,449.00", US_2025), ("uk-2024", 60_000, "11,432", UK_60), ("uk-2025", 60_000, "11,432", UK_60)],
)
def test_income_tax_alone_published(name, wage, due, source):
    """Where the worked example is of a wage: the income tax without contributions to deduct."""
    scheme = taxes()[name]
    alone = replace(scheme, parts=tuple(part for part in scheme.parts if part.name == "income tax"))

    assert charges(wage, alone)["income tax"] == printed(due), source


@pytest.mark.parametrize(
    ("profit", "due"), [(4_999, "0"), (5_000, "650"), (15_757, "650"), (15_758, "650.02"), (36_000, "1,485")]
)
def test_irish_social_insurance_published(profit, due):
    """4.125 % of all, 650 at least, from 5,000 on: 650 / .04125 = 15,757.6 is where the rate takes over, by hand."""
    assert contributions(taxes()["ie-2025"], profit)[0] == printed(due), CLASS_S


@pytest.mark.parametrize(
    ("year", "profit", "total"),
    [
        (
            "2025",
            80_000,
            "11,303.64",
        ),  # 15.3 % of 73,880; 11,304 is printed by ifiletax.com, Self-Employment Tax Calculator, 2025
        ("2024", 200_000, "26,262.70"),  # 12.4 % of the base and 2.9 % of 184,700
        ("2025", 200_000, "27,192.70"),
        ("2026", 200_000, "28,234.30"),
    ],
)
def test_self_employment_tax_by_hand(year, profit, total):
    """Own arithmetic on the bases of SSA, below the base and above it."""
    assert contributions(taxes()[f"us-{year}"], profit)[0] == printed(total)


def test_self_employment_tax_with_the_base_of_2023_published():
    """T06: 85,000 with base 160,200 pays 9,734 and 2,276, 12,010 in all, half of it 6,005."""
    parts = taxes()["us-2024"].parts
    scheme = replace(taxes()["us-2024"], parts=(replace(parts[0], bands=((0, 0.124), (160_200, 0.0))), *parts[1:]))
    total, (social, hospital, more) = contributions(scheme, 85_000)

    assert (social, hospital, more) == (printed("9,734"), printed("2,276"), 0.0), SECA
    assert total == printed("12,010") and total / 2 == printed("6,005"), SECA


def test_half_of_the_contributions_is_no_income():
    """Own arithmetic: half of 14,129.55 (7,064.78) comes off before income tax; 100,000 - 7,064.775 - 14,600 = 78,335.225 is taxed.

    10 % of 11,600, 12 % of 35,550 and 22 % of the 31,185.225 above 47,150: 1,160 + 4,266 + 6,860.7495.
    """
    assert charges(100_000, taxes()["us-2024"])["income tax"] == printed("12,286.7495")


def test_nothing_is_due_under_four_hundred_counted():
    """IRS, Schedule SE, line 4c, from memory: under 400 nothing; own arithmetic: 400 / .9235 = 433.135 is where 61.20 falls due at once."""
    scheme = taxes()["us-2024"]

    assert contributions(scheme, 433.13)[0] == 0.0
    assert contributions(scheme, 433.14)[0] == pytest.approx(61.2, abs=0.001)


def test_additional_contribution_starts_at_two_hundred_thousand():
    """IRS, Form 8959, from memory: .9 % of what counts above 200,000; own arithmetic: 300,000 counts as 277,050, so 693.45."""
    scheme = taxes()["us-2024"]

    assert contributions(scheme, 300_000)[1][2] == printed("693.45")
    assert contributions(scheme, 216_000)[1][2] == 0.0


@pytest.mark.parametrize("year", ["2024", "2025"])
@pytest.mark.parametrize(
    ("profit", "due", "source"),
    [(35_000, "1,345.80", HUB), (51_000, "2,276.60", HUB), (12_570, "0", "gov.uk, limit, second-hand copy")],
)
def test_class_4_published(year, profit, due, source):
    """T10, T12: printed 1,346 and 2,277 for 2024/25; limits and rates of 2025/26 are the same."""
    total = contributions(taxes()[f"uk-{year}"], profit)[0]

    assert total == printed(due), source


@pytest.mark.parametrize(
    ("profit", "due"), [(12_570, "0"), (50_270, "7,540"), (100_000, "27,432"), (125_140, "42,516"), (150_000, "53,703")]
)
@pytest.mark.parametrize("year", ["2024", "2025"])
def test_uk_income_tax(year, profit, due):
    """From memory of gov.uk: 20 % to 50,270, 40 % to 125,140 with the allowance gone by then, 45 % above."""
    assert charges(profit, taxes()[f"uk-{year}"])["income tax"] == printed(due), GOV


@pytest.mark.parametrize(
    ("year", "amounts"),
    [
        (
            "2024",
            {47_150: 5_426, 100_525: 17_168.5, 191_950: 39_110.5, 243_725: 55_678.5, 609_350: 183_647.25, 709_350: 220_647.25},
        ),
        ("2025", {48_475: 5_578.5, 103_350: 17_651, 197_300: 40_199, 250_525: 57_231, 626_350: 188_769.75, 726_350: 225_769.75}),
        ("2026", {50_400: 5_800, 105_700: 17_966, 201_775: 41_024, 256_225: 58_448, 640_600: 192_979.25, 740_600: 229_979.25}),
    ],
)
def test_us_income_tax_schedule(year, amounts):
    """The amounts that the schedules print at the start of each band, and 37 % of another 100,000 by hand."""
    bands = next(part.bands for part in taxes()[f"us-{year}"].parts if part.kind == "tax")

    assert {base: by_bands(base, bands) for base in amounts} == pytest.approx(amounts, rel=1e-12), IRS


def test_irish_universal_social_charge_by_hand():
    """1,091.00 at 51,500 is printed by PwC, Worldwide Tax Summaries, Ireland, sample of 2025; the others are own arithmetic on its bands."""
    due = charges(np.array([13_000, 13_000.01, 27_382, 51_500, 70_044, 80_044]), taxes()["ie-2025"])["universal social charge"]

    assert due.tolist() == [0.0, *(printed(figure) for figure in ("79.82", "367.46", "1,091.00", "1,647.32", "2,447.32"))]


@pytest.mark.parametrize(
    ("kind", "amounts"),
    [
        ("uk-minimum", ("11.44", "12.21", "12.71")),  # T13
        ("uk-minimum-18-to-20", ("8.60", "10.00", "10.85")),  # T14
        ("uk-minimum-under-18", ("6.40", "7.55", "8.00")),  # T14
    ],
)
def test_minimum_wages_published(kind, amounts):
    """T13, T14: gov.uk figures in howespercival.com, second-hand copy; each rate from April to March."""
    rows = wages().loc[[f"{kind}-{year}" for year in (2024, 2025, 2026)]]

    assert rows.amount.tolist() == [float(amount) for amount in amounts]
    assert rows.valid_from.tolist() == ["2024-04-01", "2025-04-01", "2026-04-01"]
    assert (rows.status == "second-hand copy").all() and (rows.currency == "GBP").all()


def test_other_minimum_wages_published():
    """Ireland 13.50 in 2025, which is 1.90 below the living wage of that year, and 14.15 from 2026; Ontario 17.60, 9.60 below Toronto's living wage.

    Rates and differences as the pages in the table's links print them.
    """
    amount = wages().amount

    assert amount[["ie-minimum-2025", "ie-minimum-2026", "ca-ontario-minimum-2025"]].tolist() == [13.50, 14.15, 17.60]
    assert amount["ie-living-wage-2025"] - amount["ie-minimum-2025"] == printed("1.90")
    assert amount["ca-toronto-living-wage-2025"] - amount["ca-ontario-minimum-2025"] == printed("9.60")


def test_class_s_of_2026_by_hand():
    """Nine months at 4.2 % and three at 4.35 %, read at gov.ie for another class that has the same two rates: 4.2375 % in the mean."""
    assert contributions(taxes()["ie-2026"], 40_000)[0] == pytest.approx(40_000 * (9 * 0.042 + 3 * 0.0435) / 12)


def test_living_wages_published():
    """T15, Living Wage Foundation; T19, Living Wage Technical Group; T20, Ontario Living Wage Network: second-hand copies."""
    expected = {"uk-living-wage-2024": 12.60, "london-living-wage-2024": 13.85, "uk-living-wage-2025": 13.45}
    expected |= {"london-living-wage-2025": 14.80, "ie-living-wage-2022": 13.85, "ie-living-wage-2023": 14.80}
    expected |= {"ie-living-wage-2024": 14.75, "ca-toronto-living-wage-2024": 26.00}
    expected |= {"ie-living-wage-2025": 15.40, "ca-toronto-living-wage-2025": 27.20}  # each read at its link

    assert wages().amount[list(expected)].to_dict() == expected


@pytest.mark.parametrize(
    ("wage", "year", "source"),
    [
        ("uk-living-wage-2025", "26,227.50", "13.45 for 37.5 h a week, public guide of 2026, second-hand copy"),  # T17
        ("london-living-wage-2025", "28,860", "14.80 for 37.5 h a week, the same"),
        ("us-minimum-2009", "15,080", "US Department of Labor, 7.25 for 2,080 h, second-hand copy"),  # T18
    ],
)
def test_year_at_a_published_wage(wage, year, source):
    """T17, T18: a table's wage for the hours it is paid for makes the year's pay that its source prints."""
    row = wages().loc[wage]

    assert row.amount * row.paid_hours_per_year == printed(year), source
