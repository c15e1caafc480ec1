"""Contributions and tax against published rates and worked amounts of the named year."""

from dataclasses import replace

import pytest

from casting_econ.models.tax import by_bands, charges
from casting_econ.reference import taxes, wages

GUIDE = "public guide to self-employment tax, second-hand copy"
PE = "PolicyEngine/policyengine-us tests (8914f89)"
SSA = "SSA, ssa.gov/OACT/COLA/autoAdj.html"
HUB = "thefriendlyhub.co.uk, second-hand copy"
GOV = "gov.uk, income tax rates; from memory"
IRS = "IRS, tax rate schedule for one person; from memory"


def printed(text):
    """A number as printed: right to half a unit of its last digit."""
    figures = text.replace(",", "")
    return pytest.approx(float(figures), rel=0, abs=0.500001 * 10.0 ** -len(figures.partition(".")[2]))


def contributions(scheme, profit):
    """All contributions of a scheme, and what each is."""
    due = charges(profit, scheme)
    parts = [due[part.name] for part in scheme.parts if part.kind == "contribution"]
    return sum(parts), parts


@pytest.mark.parametrize(
    ("year", "base", "source"),
    [("2024", 168_600, SSA), ("2025", 176_100, SSA), ("2026", 184_500, "press quoting SSA, second-hand copy")],
)
def test_wage_base_published(year, base, source):
    """T01, T02: 12.4 % stops at the base, so that a profit just above base / .9235 pays no more of it."""
    scheme = taxes()[f"us-{year}"]
    at, far = (contributions(scheme, profit)[1][0] for profit in (base / 0.9235, 10 * base))

    assert at == pytest.approx(0.124 * base, rel=1e-12), source
    assert far == pytest.approx(at, rel=1e-12), source


@pytest.mark.parametrize(
    ("year", "profit", "total", "source"),
    [
        ("2024", 100_000, "14,129.55", "recomputed from GUIDE, which prints 14,129"),  # T04
        ("2024", 50_000, "7,064.775", "recomputed from GUIDE, which prints 7,065"),  # T05
        ("2024", 200_000, "26,262.70", "recomputed from GUIDE"),  # T08
        ("2025", 200_000, "27,192.70", "recomputed with the base of SSA"),  # T08
        ("2026", 200_000, "28,234.30", "recomputed with the base of the press"),  # T08
        ("2024", 399, "0", PE),  # T09
    ],
)
def test_self_employment_tax_published(year, profit, total, source):
    """T04, T05, T08, T09; T04 cut to 14,129 and T05 rounded to 7,065 as printed."""
    assert contributions(taxes()[f"us-{year}"], profit)[0] == printed(total), source


def test_self_employment_tax_parts_published():
    """T04, GUIDE: of 100,000 in 2024, 11,451 and 2,678 (12.4 % and 2.9 % of 92,350); T08: 20,906 at 200,000."""
    scheme = taxes()["us-2024"]

    assert contributions(scheme, 100_000)[1][:2] == [printed("11,451"), printed("2,678")], GUIDE
    assert contributions(scheme, 200_000)[1][0] == printed("20,906"), GUIDE
    assert printed("92,350") == scheme.parts[0].share * 100_000


def test_self_employment_tax_with_the_base_of_2023_published():
    """T06, allthecalculations.com: 85,000 with base 160,200 pays 9,734 and 2,276, 12,010 in all, half of it 6,005."""
    parts = taxes()["us-2024"].parts
    scheme = replace(taxes()["us-2024"], parts=(replace(parts[0], bands=((0, 0.124), (160_200, 0.0))), *parts[1:]))
    total, (social, hospital, more) = contributions(scheme, 85_000)

    assert (social, hospital, more) == (printed("9,734"), printed("2,276"), 0.0)
    assert total == printed("12,010") and total / 2 == printed("6,005")


def test_half_of_the_contributions_is_no_income():
    """T03, T04: half of 14,129.55 (7,064.78) comes off before income tax; 100,000 - 7,064.775 - 14,600 = 78,335.225 is taxed.

    10 % of 11,600, 12 % of 35,550 and 22 % of the 31,185.225 above 47,150: 1,160 + 4,266 + 6,860.7495.
    """
    assert charges(100_000, taxes()["us-2024"])["income tax"] == printed("12,286.7495")


def test_nothing_is_due_under_four_hundred_counted():
    """T03, T09, PE: 399 counts as 368.48 and owes nothing; 400 / .9235 = 433.135 is where 15.3 % of 400 falls due at once."""
    scheme = taxes()["us-2024"]

    assert contributions(scheme, 433.13)[0] == 0.0
    assert contributions(scheme, 433.14)[0] == pytest.approx(61.2, abs=0.001)


def test_additional_contribution_starts_at_two_hundred_thousand():
    """T03: .9 % of what counts above 200,000; 300,000 counts as 277,050, so 693.45; below, nothing."""
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
        ("2024", {47_150: 5_426, 100_525: 17_168.5, 191_950: 39_110.5, 243_725: 55_678.5, 609_350: 183_647.25}),
        ("2025", {48_475: 5_578.5, 103_350: 17_651, 197_300: 40_199, 250_525: 57_231, 626_350: 188_769.75}),
        ("2026", {50_400: 5_800, 105_700: 17_966, 201_775: 41_024, 256_225: 58_448, 640_600: 192_979.25}),
    ],
)
def test_us_income_tax_schedule(year, amounts):
    """The amounts that the schedules print at the start of each band, from memory."""
    bands = next(part.bands for part in taxes()[f"us-{year}"].parts if part.kind == "tax")

    assert {base: by_bands(base, bands) for base in amounts} == pytest.approx(amounts, rel=1e-12), IRS


def test_irish_income_tax():
    """From memory of Revenue's rates of 2025: 44,000 at 20 % is 8,800, less credits of 4,000; 50,000 adds 40 % of 6,000."""
    scheme = taxes()["ie-2025"]

    assert charges(44_000, scheme)["income tax"] == 4_800.0 and charges(50_000, scheme)["income tax"] == 7_200.0
    assert charges(13_000, scheme)["universal social charge"] == 0.0
    # 60.06 of the first 12,012 and 2 % of the next 15,370
    assert charges(27_382, scheme)["universal social charge"] == printed("367.46")


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


def test_living_wages_published():
    """T15, Living Wage Foundation; T19, Living Wage Technical Group; T20, Ontario Living Wage Network: second-hand copies."""
    expected = {"uk-living-wage-2024": 12.60, "london-living-wage-2024": 13.85, "uk-living-wage-2025": 13.45}
    expected |= {"london-living-wage-2025": 14.80, "ie-living-wage-2022": 13.85, "ie-living-wage-2023": 14.80}
    expected |= {"ie-living-wage-2024": 14.75, "ca-toronto-living-wage-2024": 26.00}

    assert wages().amount[list(expected)].to_dict() == expected
