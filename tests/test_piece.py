"""What a piece takes, costs and brings: labour, cost by step, selling; values by hand, limits and properties."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from workshops_by_hand import KNOB, VALUES, two_products, unlearnt, with_step

from casting_econ.models import (
    Material,
    Product,
    Step,
    order_contribution,
    orders_at_price,
    piece_cost,
    practised_minutes,
    unit_total,
)
from casting_econ.models.costs import material_cost
from casting_econ.models.levers import practised_between


def test_practised_minutes_by_hand():
    """80 %, first 10: 10, 8, then 10 x 3 ** b = 7.021, 6.4; a floor of 7.5 stops after piece 2: (18 + 2 x 7.5) / 4."""
    assert 4 * practised_minutes(0, 10, 0.8, 0, 4) == pytest.approx(10 + 8 + 10 * 3 ** np.log2(0.8) + 6.4, rel=1e-10)
    assert practised_minutes(7.5, 10, 0.8, 0, 4) == pytest.approx((18 + 2 * 7.5) / 4, rel=1e-10)
    assert practised_minutes(7.5, 10, 0.8, 1, 4) == pytest.approx((8 + 3 * 7.5) / 4, rel=1e-10)  # the first made before


@pytest.mark.parametrize(
    ("floor", "first", "rate", "before", "pieces", "expected"),
    [
        (3.0, 3.0, 0.8, 0, 50, 3.0),  # practised from the start
        (3.0, 2.0, 0.8, 0, 50, 3.0),  # a first time below the floor counts for nothing
        (3.0, 9.0, 1.0, 0, 50, 9.0),  # no learning never reaches the floor
        (3.0, 9.0, 0.8, 10_000, 50, 3.0),  # learnt long ago
        (0.0, 0.0, 0.8, 0, 50, 0.0),
    ],
)
def test_practised_minutes_limits(floor, first, rate, before, pieces, expected):
    """Limits that need no sum."""
    assert practised_minutes(floor, first, rate, before, pieces) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("rate", [0.3, 0.499, 0.5, 0.501, 0.8, 0.999, 1.0])
@pytest.mark.parametrize("pieces", [1, 2, 15, 16, 17, 100, 3000])
def test_unit_total_equals_the_plain_sum(rate, pieces):
    """Sum of n ** b over whole pieces, term by term."""
    assert unit_total(pieces, rate) == pytest.approx(sum(n ** np.log2(rate) for n in range(1, pieces + 1)), rel=1e-10)


@given(st.floats(0, 20), st.floats(0.1, 40), st.floats(0.55, 1), st.floats(0, 1e4), st.floats(0.5, 1e4))
def test_practised_minutes_stay_between_floor_and_first(floor, first, rate, before, pieces):
    """The mean lies between the floor and the first piece's time, and never rises with what was made before."""
    mean = practised_minutes(floor, first, rate, before, pieces)

    assert floor * (1 - 1e-9) <= mean <= max(floor, first) * (1 + 1e-9)
    assert practised_minutes(floor, first, rate, np.floor(before) + 1e3, pieces) <= mean * (1 + 1e-9)


def test_piece_cost_by_hand():
    """The hand-worked knob, step by step; an hour is 12, a minute .20."""
    cost = piece_cost(KNOB, 12.0)
    pour, sand, fit = cost.steps

    # mould on a cast: 100 min and 60 over 20 x 10 casts = .5 min and .30, that is .40 in all
    assert (pour.minutes, sand.minutes, fit.minutes) == pytest.approx((1 + 20 / 10, 4 + 0.5 * 2, 2))
    assert (pour.material, sand.consumables, fit.material) == pytest.approx((0.9 / 0.9, 0.2 * 1.5, 0.5))
    assert pour.spent_when_found == pytest.approx(0.4 + 3 * 0.2 + 1.0)  # 2.00
    assert sand.spent_when_found == pytest.approx(2.0 + 5 * 0.2 + 0.3)  # 3.30
    assert fit.spent_when_found == pytest.approx(3.3 + 2 * 0.2 + 0.5)  # 4.20
    assert cost.casts == pytest.approx(2.5)
    assert cost.minutes == pytest.approx(2.5 * 3 + 2 * 5 + 2 + 2.5 * 0.5)  # 20.75
    assert cost.material == pytest.approx(2.5 * 1.0 + 2 * 0.3 + 0.5 + 2.5 * 0.3 + 0.25)  # 4.60
    assert cost.scrap_cost == pytest.approx(0.5 * 2.0 + 1.0 * 3.3)  # 4.30
    # of what passes 4 of 5, then 1 of 2, then all; parts of .25 come after the last check
    assert [money for _, money in cost.carried] == pytest.approx([(0.3 + 1.0) / 0.8, (1.625 + 0.3) / 0.5, 3.85 + 0.5])
    assert (cost.carried[-1][0], cost.carried[-1][1] + 0.25) == pytest.approx((20.75, 4.60))


def test_piece_cost_recovered_material_by_hand():
    """Scrapped at the last step with half passing: of an insert at .50 all comes back, .50 for each good piece."""
    cost = piece_cost(with_step(2, pass_share=0.5), 12.0)

    assert cost.recovered == pytest.approx(1 * 0.5)
    assert cost.steps[2].scrap_cost == pytest.approx(1 * (4.2 - 0.5))
    # twice the casts of before, the insert paid once: 2 x (2.5 + .6 + .5 + .75) - .5 + .25
    assert cost.material == pytest.approx(2 * 4.35 - 0.5 + 0.25)


def test_piece_cost_load_material_by_hand():
    """Fuel at 6 a load: on 10 pieces at the first step .60 each; at a later step on the 8 left .75; on a stated load of 20 .30."""
    fuel = (Material(name="fuel", cost=6.0, per="load"),)

    assert piece_cost(with_step(0, materials=fuel), 0.0).steps[0].material == pytest.approx(0.60)
    assert piece_cost(with_step(1, materials=fuel), 0.0).steps[1].material == pytest.approx(0.75)
    assert piece_cost(with_step(1, materials=fuel, load_size=20), 0.0).steps[1].material == pytest.approx(0.30)


def test_piece_cost_at_full_yield_has_no_scrap():
    """Every check passed: cost of the one cast, no scrap cost."""
    product = KNOB
    for index in range(3):
        product = with_step(index, product, pass_share=1)
    cost = piece_cost(product, 12.0)

    assert (cost.casts, cost.scrap_cost, cost.recovered) == (1.0, 0.0, 0.0)
    assert cost.minutes == pytest.approx(0.5 + 3 + 5 + 2)
    assert cost.material == pytest.approx(0.3 + 1 + 0.3 + 0.5 + 0.25)


def test_piece_cost_learning_by_hand():
    """Four good of ten cast: 8 pieces reach the sanding and take 80 % unit times from 10, a total of 53.459 (table, 5.3459 x 10)."""
    product = with_step(1, first_minutes=10.0, learning_rate=0.8, minutes=0.0, rework_share=0.0)
    total = sum(10 * n ** np.log2(0.8) for n in range(1, 9))

    assert 8 * piece_cost(product, 12.0, casts_per_year=10.0).steps[1].minutes == pytest.approx(total, rel=1e-10)
    assert 4 * piece_cost(product, 12.0, 10.0).steps[1].minutes_per_good == pytest.approx(total, rel=1e-10)


@settings(deadline=None)
@given(VALUES)
def test_piece_cost_of_good_and_scrap_is_all_that_was_spent(v):
    """Cost of good + cost of scrap = total spent, at the wage, before parts."""
    bowl = two_products(v).products[0]
    cost = piece_cost(bowl, v["target"], 500.0)
    spent = cost.minutes * v["target"] / 60 + cost.material - cost.parts

    assert cost.steps[-1].spent_when_found + cost.scrap_cost == pytest.approx(spent, rel=1e-9)


def test_scrap_cost_is_what_a_piece_costs_less_without_scrap():
    """Half lost before a firing of ten places at 60 a load: its piece pays 12, two for the place of the lost one.

    Own arithmetic, no time at all: a good piece without scrap costs the firing's 6; with half lost and as many loads it costs 12, so scrap
    costs 6, all of it the place left empty; a reject after the firing costs its own place, 6, and no more.
    """
    gas = Material(name="gas", cost=60.0, per="load")
    steps = (Step(name="pour", pass_share=0.5), Step(name="fire", materials=(gas,)), Step(name="check", pass_share=0.8))
    early, both = (piece_cost(Product(name="tile", casts_per_load=10, steps=part), 10.0) for part in (steps[:2], steps))

    assert (early.material, early.scrap_cost, early.steps[0].spent_when_found) == pytest.approx((12.0, 6.0, 6.0))
    assert (both.material, both.scrap_cost) == pytest.approx((15.0, 9.0))
    assert both.steps[2].spent_when_found == pytest.approx(6.0)
    stated = piece_cost(Product(name="tile", casts_per_load=10, steps=(steps[0], replace(steps[1], load_size=10.0))), 10.0)
    assert (stated.material, stated.scrap_cost) == pytest.approx((6.0, 0.0))  # loads are filled up from others


@settings(deadline=None)
@given(VALUES)
def test_scrap_cost_is_the_difference_to_full_yield(v):
    """Everything learnt: cost of a piece less its cost if every check passed is what scrap costs."""
    bowl = unlearnt(two_products(v)).products[0]
    sound = replace(bowl, steps=tuple(replace(step, pass_share=1.0) for step in bowl.steps))
    costs = [piece_cost(product, v["target"]) for product in (bowl, sound)]
    now, best = (cost.minutes * v["target"] / 60 + cost.material for cost in costs)

    assert costs[0].scrap_cost == pytest.approx(now - best, rel=1e-9, abs=1e-9)


@settings(deadline=None)
@given(VALUES, st.sampled_from(["pass_1", "pass_2", "pass_3"]), st.floats(0.5, 1))
def test_piece_cost_never_falls_as_rejects_rise(v, check, other):
    """A worse check never makes minutes, material, scrap or cost a good piece smaller."""
    worse, better = (
        piece_cost(unlearnt(two_products(v | {check: share})).products[0], v["target"]) for share in sorted([v[check], other])
    )
    for part in ("casts", "minutes", "material", "scrap_cost", "mould_material"):
        assert getattr(worse, part) >= getattr(better, part) - 1e-9


def test_material_cost_by_hand():
    """90 left of 100 opened: .90 costs 1.00; no loss changes nothing."""
    assert (material_cost(0.9, 0.1), material_cost(3)) == (pytest.approx(1.0), 3.0)


def test_practised_between_counts_the_pieces_that_enter():
    """Half pass the pour, so 60 casts done and 20 to come are pieces 31 to 40 at the second step, beside 4 made before: own sum of n ** log2(.8)."""
    steps = (
        Step(name="pour", pass_share=0.5, minutes=0.0, first_minutes=8.0, learning_rate=0.8),
        Step(name="sand", minutes=0.0, first_minutes=10.0, learning_rate=0.8),
    )
    pour, sand = practised_between(Product(name="knob", casts_per_load=10, made_before=4.0, steps=steps), 60.0, 20.0).steps

    assert pour.minutes == pytest.approx(8 * sum(n ** np.log2(0.8) for n in range(65, 85)) / 20, rel=1e-9)
    assert sand.minutes == pytest.approx(10 * sum(n ** np.log2(0.8) for n in range(35, 45)) / 10, rel=1e-9)
    assert pour.first_minutes is sand.first_minutes is None


def test_order_money_by_hand():
    """60 + 5: fees .1 x 65 + .5, refunds .04 x (65 + 6), net 48.16; with the fee on the price alone 48.66."""
    order = order_contribution(
        60, postage_charged=5, fee_share=0.1, fee_fixed=0.5, postage_paid=6, packaging=1, refund_share=0.04
    )
    parts = {"revenue": 65.0, "fees": 7.0, "postage": 6.0, "packaging": 1.0, "refunds": 2.84, "net": 48.16}
    price_only = order_contribution(
        60, postage_charged=5, fee_share=0.1, fee_on_postage=False, fee_fixed=0.5, postage_paid=6, packaging=1, refund_share=0.04
    )

    assert order == pytest.approx(parts)
    assert price_only["net"] == pytest.approx(48.66)
    assert order_contribution(60) == {"revenue": 60.0, "fees": 0.0, "postage": 0.0, "packaging": 0.0, "refunds": 0.0, "net": 60.0}


def test_orders_at_price_by_hand():
    """Elasticity 2 at double the price leaves a quarter; 0 or no reference leaves all."""
    assert orders_at_price(100, 20, 10, 2) == pytest.approx(25)
    assert orders_at_price(100, 20, 10, 0) == orders_at_price(100, 20, None, 2) == 100
    assert orders_at_price(100, 10, 10, 2) == 100


@given(st.floats(1, 100), st.floats(1, 100), st.floats(0, 5))
def test_orders_at_price_never_rise_with_price(one, other, elasticity):
    """A dearer order never sells more often."""
    low, high = sorted([one, other])
    assert orders_at_price(10, high, 20, elasticity) <= orders_at_price(10, low, 20, elasticity)
