"""Break-even, target profit, mix, Little's law and quality ratios against published worked examples."""

import pytest

from casting_econ.models import (
    Channel,
    Material,
    Overhead,
    Product,
    Step,
    Workshop,
    evaluate,
    piece_cost,
    places_needed,
    with_levers,
)

OSM = "OpenStax, Principles of Accounting vol. 2 Managerial (2165bf6), ch. 3"
HH = "Heisinger & Hoyle, Managerial Accounting (2012), ch. 6"
FP = "Hopp & Spearman, Factory Physics, ch. 7, second-hand copy"
NOTES = "own arithmetic: rate x time"
ISO22400 = "ISO 22400-2:2014, formulas in the public ontology hsu-aut/IndustrialStandard-ODP-ISO22400-2 (54c749b)"


def firm(lines, fixed, profit=0.0):
    """A workshop of textbook lines (price, variable cost, units): no fees, no minutes, 500 fixed hours carrying the profit."""
    return Workshop(
        weeks_per_year=50,
        hours_per_week=40,
        fixed_hours_per_week=10,
        windows=((9, 17),),
        target_per_hour=profit / 500,
        living_per_year=0.0,
        set_aside_share=0.0,
        products=tuple(
            Product(
                name=f"line {i}",
                casts_per_load=1,
                steps=(Step(name="buy", minutes=1e-9, materials=(Material(name="all", cost=v),)),),
            )
            for i, (_, v, _) in enumerate(lines)
        ),
        channels=tuple(
            Channel(name=f"shop {i}", product=f"line {i}", orders_per_year=units, pieces_per_order=1, price=p)
            for i, (p, _, units) in enumerate(lines)
        ),
        overheads=(Overhead(name="fixed", per_year=fixed),),
    )


@pytest.mark.parametrize(
    ("price", "variable", "fixed", "units", "sales", "source"),
    [
        (100, 20, 18_000, 225, 22_500, OSM),  # B01
        (400, 150, 14_000, 56, None, OSM),  # B06
        (1_250, 850, 16_800, 42, 52_500, OSM),  # B07
        (90, 40, 85_000, 1_700, 153_000, OSM),  # B08
        (250, 150, 50_000, 500, None, HH),  # B14
    ],
)
@pytest.mark.parametrize("demand", [37, 1_000])
def test_cash_break_even_published(price, variable, fixed, units, sales, source, demand):
    """B01, B06, B07, B08, B14: break-even units and sales, whatever demand is expected."""
    year = evaluate(firm([(price, variable, demand)], fixed)).totals
    actual = year["cash_break_even_pieces_per_year"]

    assert actual == pytest.approx(units, rel=1e-12), source
    assert sales is None or actual * price == pytest.approx(sales, rel=1e-12), source


@pytest.mark.parametrize(
    ("price", "variable", "fixed", "units", "income", "source"),
    [
        (100, 20, 18_000, 175, -4_000, OSM),  # B02
        (100, 20, 18_000, 300, 6_000, OSM),
        (100, 20, 23_000, 500, 17_000, OSM),  # B04
        (100, 20, 23_000, 750, 37_000, OSM),
        (25, 15.50, 700, 100, 250, OSM),  # B05
        (25, 15.50, 700, 200, 1_200, OSM),
    ],
)
def test_residual_pay_is_income_published(price, variable, fixed, units, income, source):
    """B02, B04, B05: income at a volume."""
    assert evaluate(firm([(price, variable, units)], fixed)).totals["residual_pay_per_year"] == pytest.approx(income), source


@pytest.mark.parametrize(
    ("price", "variable", "fixed", "profit", "units", "source"),
    [
        (100, 20, 18_000, 16_000, 425, OSM),  # B03
        (100, 20, 18_000, 24_000 / (1 - 0.40), 725, OSM),  # B03, after tax at 40 %
        (400, 150, 14_000, 10_000, 96, OSM),  # B06
        (90, 40, 85_000, 10_000, 1_900, OSM),  # B08
        (250, 150, 50_000, 30_000, 800, HH),  # B14
    ],
)
def test_pay_break_even_is_target_profit_published(price, variable, fixed, profit, units, source):
    """B03, B06, B08, B14: the profit wanted is the pay that 500 fixed hours must bring."""
    year = evaluate(firm([(price, variable, 1_000)], fixed, profit)).totals

    assert year["pay_break_even_pieces_per_year"] == pytest.approx(units, rel=1e-9), source  # 1e-9 minutes a piece


def test_margin_of_safety_published():
    """B09, source OSM: B08 at 2,500 units is safe by 72,000 of sales, 32 %."""
    year = evaluate(firm([(90, 40, 2_500)], 85_000)).totals
    share = 1 - year["cash_break_even_share_of_demand"]

    assert (share, share * year["revenue_per_year"]) == (pytest.approx(0.32), pytest.approx(72_000)), OSM


@pytest.mark.parametrize(("contribution", "leverage", "after"), [(148_000, 1.74, 55_400), (210_000, 2.47, 43_000)])
def test_operating_leverage_published(contribution, leverage, after):
    """B10, B11, source OSM: income 85,000, income once sales fall by 20 %, and its leverage: income falls by so many times the share."""
    before = firm([(500, 500 - contribution / 1_000, 1_000)], contribution - 85_000)
    income, less = (evaluate(with_levers(before, demand=share)).totals["residual_pay_per_year"] for share in (1.0, 0.8))

    assert (income, less) == (pytest.approx(85_000), pytest.approx(after)), OSM
    assert (1 - less / income) / 0.2 == pytest.approx(leverage, abs=0.005), OSM


def test_mix_break_even_published():
    """B13, source OSM: 3 to 1, composite margin 22, fixed 220,000: 10,000 composites of 4 pieces."""
    mix = firm([(11, 7, 300), (30, 20, 100)], 220_000)  # 3 x 4 + 10 = 22, our split of the margin

    assert evaluate(mix).totals["cash_break_even_pieces_per_year"] == pytest.approx(4 * 10_000), OSM


@pytest.mark.parametrize(
    ("pieces_per_week", "hours", "expected", "digits", "source"),
    [
        (10 * 7, 4.2, 1.75, 0.005, NOTES),  # Q09: 10 a day
        (10 * 7, 5.3, 2.21, 0.005, NOTES),
        (10 * 7, 4.2 + 5.3, 3.96, 0.005, NOTES),
        (4 * 168, 6.25, 25, 1e-9, NOTES),  # Q10: 4 an hour
        (71.8 * 168, 663, 47_600, 50, FP),  # Q07: 71.8 an hour
        (45.8 * 168, 816, 37_000, 500, FP),  # Q08, an earlier edition, printed as about 37,000
    ],
)
def test_places_needed_is_littles_law_published(pieces_per_week, hours, expected, digits, source):
    """Q07 to Q10: work in progress = rate x time."""
    assert places_needed(pieces_per_week, hours) == pytest.approx(expected, abs=digits), source


def test_quality_ratios_of_piece_cost():
    """ISO 22400: scrap ratio SQ/PQ, quality ratio GQ/PQ and their sum; fall-off SQ/PQ of the first step; rework by hand."""
    steps = (
        Step(name="demould", minutes=1.0, pass_share=0.89, rework_share=0.25),
        Step(name="sand", minutes=2.0, pass_share=0.96),
        Step(name="check", minutes=0.5, pass_share=0.97),
    )
    cost = piece_cost(Product(name="knob", casts_per_load=14, steps=steps), 10.0)
    produced, scrapped = cost.casts, [step.scrapped for step in cost.steps]

    assert 1 / produced == pytest.approx(0.89 * 0.96 * 0.97, rel=1e-14), ISO22400  # quality ratio, GQ = 1
    assert sum(scrapped) / produced == pytest.approx(1 - 0.89 * 0.96 * 0.97, rel=1e-12), ISO22400  # scrap ratio
    assert (sum(scrapped) + 1) / produced == pytest.approx(1.0, rel=1e-14), ISO22400
    assert scrapped[0] / produced == pytest.approx(0.11, rel=1e-12), ISO22400  # fall-off of the first operation
    # 100 into the first step: 25 are done again (rework ratio .25), so 125 minutes
    assert 100 * cost.steps[0].minutes == pytest.approx(125.0, rel=1e-14), ISO22400
