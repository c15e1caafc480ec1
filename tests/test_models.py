"""Yields, labour, costs, selling, the year and its levers: values by hand, limits, faults and properties."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from casting_econ.models import (
    Channel,
    Equipment,
    InMoulds,
    Material,
    Mould,
    Overhead,
    Product,
    Rack,
    Station,
    Step,
    Workshop,
    at_scrap_rate,
    cheapest_replacement_age,
    entering_per_good,
    evaluate,
    expected_casts,
    full_sets_per_load,
    good_per_load,
    learning_exponent,
    loads_per_week,
    longest_wait,
    moved_at,
    order_contribution,
    orders_at_price,
    piece_cost,
    places_needed,
    practised_minutes,
    rolled_yield,
    scrapped_per_good,
    self_employed_target,
    unit_total,
    with_levers,
    yearly_charge,
)
from casting_econ.models.costs import material_cost
from casting_econ.models.levers import practised_between
from casting_econ.models.moulds import mean_to_scale
from casting_econ.models.yields import surviving_share

WEEKDAYS = tuple((24 * day + 9, 24 * day + 17) for day in range(5))
SHARES = st.lists(st.floats(0.05, 1.0), min_size=1, max_size=6)


# the workshop that is worked out by hand below: 0.4 good, 2.5 casts a good piece
KNOB = Product(
    name="knob",
    casts_per_load=10,
    unsold_share=0.2,
    steps=(
        Step(
            name="pour",
            minutes=1.0,
            load_minutes=20.0,
            pass_share=0.8,
            wait_hours=18.0,
            wait_in="pot",
            materials=(Material(name="resin", cost=0.9, loss_share=0.1),),
        ),
        Step(
            name="sand",
            minutes=4.0,
            pass_share=0.5,
            rework_share=0.5,
            rework_minutes=2.0,
            materials=(Material(name="paper", cost=0.2, kind="consumable"),),
        ),
        Step(name="fit", minutes=2.0, materials=(Material(name="insert", cost=0.5, recovered_share=1.0),)),
    ),
    parts=(Material(name="box", cost=0.25),),
    mould=Mould(material_cost=60.0, minutes=100.0, life_casts=20.0),
)
SHOP = Channel(
    name="shop",
    product="knob",
    orders_per_year=100.0,
    pieces_per_order=2.0,
    price=60.0,
    postage_charged=5.0,
    fee_share=0.1,
    fee_fixed=0.5,
    postage_paid=6.0,
    packaging=1.0,
    refund_share=0.04,
    minutes_per_order=30.0,
    days_per_year=10.0,
    hours_per_day=6.0,
    fee_per_day=20.0,
)
BY_HAND = Workshop(
    weeks_per_year=50.0,
    hours_per_week=30.0,
    fixed_hours_per_week=4.0,
    windows=WEEKDAYS,
    target_per_hour=12.0,
    living_per_year=22_500.0,
    set_aside_share=0.25,
    products=(KNOB,),
    channels=(SHOP,),
    overheads=(Overhead(name="rent", per_year=500.0),),
    equipment=(Equipment(name="pot", price=1200.0, life_years=5.0, resale=200.0),),
    stations=(Station(name="pot"),),
)


def with_product(a=BY_HAND, **changes):
    """The workshop with its one product changed."""
    return replace(a, products=(replace(a.products[0], **changes),))


def with_channel(a=BY_HAND, **changes):
    """The workshop with its one channel changed."""
    return replace(a, channels=(replace(a.channels[0], **changes),))


def with_step(index, product=KNOB, **changes):
    """The product with one step changed."""
    steps = list(product.steps)
    steps[index] = replace(steps[index], **changes)
    return replace(product, steps=tuple(steps))


# a workshop with two products that share a kiln, a rack, learning, rework, ruined loads and three channels
RANGES = {
    "weeks": (40, 50), "hours": (10, 60), "fixed": (0.5, 5), "target": (5, 25), "interest": (0, 0.1), "set_aside": (0, 0.4),
    "pass_1": (0.5, 1), "pass_2": (0.5, 1), "pass_3": (0.5, 1), "minutes": (0.1, 5), "load_minutes": (10, 60),
    "rework": (0, 0.5), "rework_minutes": (0, 5), "cure": (0.5, 60), "rest": (0, 24), "dry": (1, 300), "resin": (0.1, 5),
    "loss": (0, 0.3), "recovered": (0, 1), "paper": (0, 1), "firing": (0, 20), "mould_cost": (5, 100), "mould_minutes": (0, 200),
    "life": (5, 100), "shape": (1, 4), "replace_at": (5, 100), "unsold": (0, 0.3), "before": (0, 500), "first": (1, 20),
    "rate": (0.7, 1), "orders_1": (1, 300), "orders_2": (1, 100), "orders_3": (1, 300), "pieces_1": (1, 6), "pieces_2": (1, 30),
    "price_1": (5, 100), "price_2": (5, 300), "price_3": (5, 60), "charged": (0, 8), "fee": (0, 0.4), "fee_fixed": (0, 1),
    "paid": (0, 10), "packing": (0, 3), "refund": (0, 0.2), "order_minutes": (0, 60), "days": (0, 10), "day_hours": (4, 12),
    "day_fee": (0, 80), "overhead": (0, 3000), "tool": (0, 3000), "resale": (0, 100), "tool_life": (1, 10), "places": (20, 2000),
    "elasticity": (0, 2), "reference": (5, 100),
}  # fmt: skip
VALUES = st.fixed_dictionaries({key: st.floats(*limits) for key, limits in RANGES.items()})
SEEDED = [{key: rng.uniform(*limits) for key, limits in RANGES.items()} for rng in map(np.random.default_rng, range(12))]


def two_products(v, kilns=1, ruined=0.0):
    """Workshop at these values, scalars or arrays."""
    mould = Mould(
        material_cost=v["mould_cost"],
        minutes=v["mould_minutes"],
        life_casts=v["life"],
        life_shape=v["shape"],
        replace_at=v["replace_at"],
        sets=2,
        rest_hours=v["rest"],
    )
    resin = Material(name="resin", cost=v["resin"], loss_share=v["loss"], recovered_share=v["recovered"])
    fuel = Material(name="fuel", cost=v["firing"], per="load", kind="consumable")
    bowl = Product(
        name="bowl",
        casts_per_load=12,
        unsold_share=v["unsold"],
        made_before=v["before"],
        ruined_loads_per_year=ruined,
        mould=mould,
        parts=(Material(name="box", cost=v["packing"]),),
        steps=(
            Step(name="pour", minutes=v["minutes"], materials=(resin,)),
            Step(
                name="fire",
                load_minutes=v["load_minutes"],
                wait_hours=v["cure"],
                wait_in="kiln",
                pass_share=v["pass_1"],
                materials=(fuel,),
            ),
            Step(name="dry", pass_share=v["pass_2"], wait_hours=v["dry"], wait_in="rack"),
            Step(
                name="paint",
                minutes=v["minutes"],
                first_minutes=v["first"],
                learning_rate=v["rate"],
                pass_share=v["pass_3"],
                rework_share=v["rework"],
                rework_minutes=v["rework_minutes"],
                materials=(Material(name="paper", cost=v["paper"], kind="consumable", recovered_share=v["recovered"]),),
            ),
        ),
    )
    tile = Product(
        name="tile",
        casts_per_load=20,
        steps=(
            Step(name="press", minutes=1.5, pass_share=v["pass_2"], materials=(resin,)),
            Step(name="fire", load_minutes=20.0, wait_hours=9.0, wait_in="kiln", pass_share=v["pass_1"], load_size=16.0),
        ),
    )
    selling = {"fee_share": v["fee"], "fee_fixed": v["fee_fixed"], "postage_paid": v["paid"], "refund_share": v["refund"]}
    return Workshop(
        weeks_per_year=v["weeks"],
        hours_per_week=v["hours"],
        fixed_hours_per_week=v["fixed"],
        windows=WEEKDAYS,
        target_per_hour=v["target"],
        living_per_year=20_000.0,
        set_aside_share=v["set_aside"],
        interest=v["interest"],
        products=(bowl, tile),
        channels=(
            Channel(
                name="online",
                product="bowl",
                orders_per_year=v["orders_1"],
                pieces_per_order=v["pieces_1"],
                price=v["price_1"],
                postage_charged=v["charged"],
                packaging=v["packing"],
                minutes_per_order=v["order_minutes"],
                elasticity=v["elasticity"],
                reference_price=v["reference"],
                **selling,
            ),
            Channel(
                name="shops",
                product="bowl",
                orders_per_year=v["orders_2"],
                pieces_per_order=v["pieces_2"],
                price=v["price_2"],
                fee_on_postage=False,
                postage_charged=v["charged"],
                **selling,
            ),
            Channel(
                name="fair",
                product="tile",
                orders_per_year=v["orders_3"],
                pieces_per_order=2,
                price=v["price_3"],
                days_per_year=v["days"],
                hours_per_day=v["day_hours"],
                fee_per_day=v["day_fee"],
            ),
        ),
        overheads=(Overhead(name="rent", per_year=v["overhead"]), Overhead(name="site", per_year=100)),
        equipment=(Equipment(name="tools", price=v["tool"], life_years=v["tool_life"], resale=v["resale"]),),
        stations=(Station(name="kiln", count=kilns),),
        racks=(Rack(name="rack", places=v["places"]),),
    )


def flat(outcome):
    """Every number of an outcome by a path, the parts of the piece cost among them."""
    groups = {
        "totals": outcome.totals,
        "use": outcome.utilisation,
        "use at demand": outcome.utilisation_at_demand,
        "": {"binding": outcome.binding},
    }
    groups |= {f"channel {name}": channel for name, channel in outcome.channels.items()}
    result = {}
    for name, product in outcome.products.items():
        groups[f"product {name}"] = {k: v for k, v in product.items() if k not in ("piece", "cost_by_kind")}
        groups[f"kinds {name}"] = product["cost_by_kind"]
        for step in product["piece"].steps:
            groups[f"step {name} {step.name}"] = {f.name: getattr(step, f.name) for f in fields(step) if f.name != "name"}
    for group, entries in groups.items():
        result |= {f"{group}: {key}": value for key, value in entries.items() if key != "product"}
    return result


# --- yields ---


def test_yields_by_hand():
    """.8, .5 and 1 in a row: .4 good, 2.5, 2 and 1 entering, .5, 1 and 0 scrapped, 1, .8 and .4 surviving."""
    shares = [0.8, 0.5, 1.0]

    assert rolled_yield(shares) == pytest.approx(0.4)
    assert entering_per_good(shares) == pytest.approx([2.5, 2.0, 1.0])
    assert scrapped_per_good(shares) == pytest.approx([0.5, 1.0, 0.0])
    assert surviving_share(shares) == pytest.approx([1.0, 0.8, 0.4])


def test_yields_at_full_yield():
    """Nothing scrapped: one cast a piece at every step, in whole numbers too; no steps at all is full yield."""
    for shares in ([1.0, 1.0], [1, 1]):
        assert (rolled_yield(shares), entering_per_good(shares), scrapped_per_good(shares)) == (1.0, [1.0, 1.0], [0.0, 0.0])
    assert (rolled_yield([]), entering_per_good([])) == (1.0, [])


@given(SHARES)
def test_rolled_yield_is_at_most_the_worst_step(shares):
    """A routing is never better than its worst step; starts x rolled yield = good; scrap and good make up the casts."""
    rolled = rolled_yield(shares)

    assert 0 < rolled <= min(shares)
    assert entering_per_good(shares)[0] * rolled == pytest.approx(1.0, rel=1e-12)
    assert sum(scrapped_per_good(shares)) + 1 == pytest.approx(entering_per_good(shares)[0], rel=1e-12)
    assert surviving_share(shares)[-1] * shares[-1] == pytest.approx(rolled, rel=1e-12)


@given(SHARES, st.floats(0.0, 0.95))
def test_at_scrap_rate_reaches_the_rate_in_proportion(shares, scrap):
    """The new routing scrapps the rate asked for; steps keep their part of the logarithm of the yield."""
    assume(rolled_yield(shares) < 0.999)
    moved = at_scrap_rate(shares, scrap)
    part = np.log(shares) / np.log(rolled_yield(shares))

    assert rolled_yield(moved) == pytest.approx(1 - scrap, rel=1e-9)
    assert np.log(np.array(moved, float)) == pytest.approx(part * np.log(1 - scrap), rel=1e-9, abs=1e-12)


@given(st.integers(1, 30), st.floats(0.01, 0.99), st.floats(0.001, 0.9))
def test_good_per_load_moments(casts, share, rho):
    """Beta-binomial: sums to 1, mean n y, variance n y (1 - y)(1 + (n - 1) rho)."""
    chances, counts = good_per_load(casts, share, rho), np.arange(casts + 1)
    mean = chances @ counts

    assert chances.sum() == pytest.approx(1.0, rel=1e-9)
    assert mean == pytest.approx(casts * share, rel=1e-7)
    variance = casts * share * (1 - share) * (1 + (casts - 1) * rho)
    assert chances @ (counts - mean) ** 2 == pytest.approx(variance, rel=1e-6)


def test_good_per_load_limits():
    """No correlation is binomial; nearly 1 is all or nothing; 0 and 1 are certain."""
    assert good_per_load(3, 0.6, 1e-6) == pytest.approx([0.064, 0.288, 0.432, 0.216], rel=1e-5)  # .4^3, 3 x .6 x .16, ...
    assert good_per_load(3, 0.6, 1 - 1e-6) == pytest.approx([0.4, 0.0, 0.0, 0.6], abs=1e-5)
    assert good_per_load(2, 1.0, 0.3).tolist() == [0.0, 0.0, 1.0]
    assert good_per_load(2, 0, 0.3).tolist() == [1.0, 0.0, 0.0]


@pytest.mark.parametrize("rho", [1e-10, 1e-12, 1e-16, 1e-300])
def test_good_per_load_nearly_without_correlation_is_binomial(rho):
    """A correlation too small to matter changes nothing: chances still sum to 1 and agree with no correlation."""
    chances = good_per_load(14, 0.828768, rho)

    assert chances.sum() == pytest.approx(1.0, abs=1e-9)
    assert chances == pytest.approx(good_per_load(14, 0.828768), rel=1e-6)


@given(
    st.integers(1, 30),
    st.sampled_from([0.0, 1.0]) | st.floats(1e-6, 1 - 1e-6),
    st.integers(1, 8),
    st.just(0.0) | st.floats(1e-5, 0.9),
)
def test_full_sets_per_load_is_below_good_over_set_size(casts, share, size, rho):
    """Sets of one are the good pieces; larger sets never make more than good / size."""
    assert full_sets_per_load(casts, share, 1, rho) == pytest.approx(casts * share, rel=1e-7, abs=1e-12)
    assert full_sets_per_load(casts, share, size, rho) <= casts * share / size + 1e-9


# --- labour ---


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
    bowl = _unlearnt(two_products(v)).products[0]
    sound = replace(bowl, steps=tuple(replace(step, pass_share=1.0) for step in bowl.steps))
    costs = [piece_cost(product, v["target"]) for product in (bowl, sound)]
    now, best = (cost.minutes * v["target"] / 60 + cost.material for cost in costs)

    assert costs[0].scrap_cost == pytest.approx(now - best, rel=1e-9, abs=1e-9)


@settings(deadline=None)
@given(VALUES, st.sampled_from(["pass_1", "pass_2", "pass_3"]), st.floats(0.5, 1))
def test_piece_cost_never_falls_as_rejects_rise(v, check, other):
    """A worse check never makes minutes, material, scrap or cost a good piece smaller."""
    worse, better = (
        piece_cost(_unlearnt(two_products(v | {check: share})).products[0], v["target"]) for share in sorted([v[check], other])
    )
    for part in ("casts", "minutes", "material", "scrap_cost", "mould_material"):
        assert getattr(worse, part) >= getattr(better, part) - 1e-9


def _unlearnt(a):
    """The workshop with everything learnt: minutes that do not depend on how much is made."""
    steps = tuple(replace(step, first_minutes=None) for step in a.products[0].steps)
    return replace(a, products=(replace(a.products[0], steps=steps), *a.products[1:]))


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


# --- selling ---


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


# --- the year ---


def test_evaluate_by_hand():
    """The whole year of the hand-worked workshop."""
    year = evaluate(BY_HAND)
    make_hours = 250 * 20.75 / 60
    hours = make_hours + 100 * 30 / 60 + 10 * 6 + 4 * 50
    residual = 100 * 48.16 - 10 * 20 - 250 * 4.60 - 500 - 200  # 2,766
    expected = {
        "good_pieces_per_year": 200 / 0.8,
        "pieces_sold_per_year": 200,
        "casts_per_year": 250 * 2.5,
        "loads_per_year": 62.5,
        "loads_per_week": 1.25,
        "hours_per_year": hours,
        "revenue_per_year": 6500,
        "fees_per_year": 700,
        "postage_per_year": 600,
        "packaging_per_year": 100,
        "refunds_per_year": 284,
        "stall_fees_per_year": 200,
        "material_per_year": 1150,
        "overhead_per_year": 500,
        "equipment_per_year": (1200 - 200) / 5,
        "residual_pay_per_year": residual,
        "pay_per_hour": residual / hours,
        "pay_per_hour_after_set_aside": 0.75 * residual / hours,
        # fixed 900 and 260 h at 12; an order of two brings 48.16 - 2.5 x 4.6 and takes 2.5 x 20.75 + 30 min
        "cash_break_even_share_of_demand": 900 / (4816 - 1150),
        "pay_break_even_share_of_demand": (900 + 260 * 12) / (4816 - 1150 - (make_hours + 50) * 12),
    }
    knob = year.products["knob"]

    assert {key: year.totals[key] for key in expected} == pytest.approx(expected)
    # 100 x 60 x (1 - .1 - .04) stays of a price; 30 a piece
    assert knob["break_even_price"] == pytest.approx(30 * (1 + (12 * hours - residual) / 5160))
    assert knob["cash_break_even_price"] == pytest.approx(30 * (1 - residual / 5160))
    # 20.75 min and 4.60, then (500 + 200 + 200 h at 12) over 250
    assert knob["cost_per_good_piece"] == pytest.approx(20.75 * 0.2 + 4.60 + (500 + 200 + 2400) / 250)
    # one pot turns round once each weekday; so does one set of moulds; 1,500 h less 260 fixed
    assert year.utilisation == pytest.approx({"pot": 0.25, "moulds for knob": 0.25, "hands": (make_hours + 50) / 1240})
    assert year.resources[year.binding] == "demand"


def test_evaluate_station_binds_by_hand():
    """Ten times the demand needs 12.5 loads a week of 5: .4 of it is made, and use is full."""
    year = evaluate(with_levers(BY_HAND, demand=10.0))

    assert year.utilisation_at_demand["pot"] == pytest.approx(2.5)
    assert year.totals["pieces_sold_per_year"] == pytest.approx(0.4 * 2000)
    assert year.totals["loads_per_week"] == pytest.approx(5.0)
    assert year.utilisation["pot"] == pytest.approx(1.0)
    assert year.resources[year.binding] == "pot"


def test_evaluate_mould_rest_binds_by_hand():
    """Poured Mon 9:00, out Tue 9:40 (8 pieces of 5 min), rested by Wed: 2.5 loads a week, where the pot does 5; three sets would do 7.5."""
    resting = with_product(with_levers(BY_HAND, demand=10.0), mould=replace(KNOB.mould, rest_hours=12.0))
    one = evaluate(resting)
    three = evaluate(with_product(resting, mould=replace(resting.products[0].mould, sets=3)))

    assert one.totals["loads_per_week"] == pytest.approx(2.5)
    assert one.resources[one.binding] == "moulds for knob"
    assert three.totals["loads_per_week"] == pytest.approx(5.0)
    assert three.utilisation["moulds for knob"] == pytest.approx(5 / 7.5)


DEMOULD = Product(
    name="knob",
    casts_per_load=10,
    steps=(
        Step(name="pour", load_minutes=60.0, wait_hours=12.0, wait_in="pot"),
        Step(name="demould", minutes=10.0, load_minutes=0.0),
        Step(name="polish", minutes=3.0),
    ),
    mould=KNOB.mould,
)


def loads_of(product, pots=1):
    """Loads a week that pot and moulds let through."""
    shop = replace(BY_HAND, products=(product,), stations=(Station(name="pot", count=pots),))
    year = evaluate(with_levers(shop, demand=10.0))
    asked = year.products["knob"]["loads_per_year"] / year.totals["pieces_sold_per_year"] * 2000 / 50
    return asked / max(year.utilisation_at_demand["pot"], year.utilisation_at_demand["moulds for knob"])


@pytest.mark.parametrize(("minutes", "sets", "expected"), [(12.0, 1, 5.0), (45.0, 1, 2.5), (45.0, 2, 40 / 8.5)])
def test_evaluate_moulds_are_full_until_demoulded(minutes, sets, expected):
    """9 to 17, an hour's pour, 12 h of cure. 2 h to demould: out and poured again by 12:00 each day. 7.5 h: poured one day, out the next.
    Two sets then share 40 h a week with 8.5 h of work a load. Own arithmetic."""
    product = replace(DEMOULD, steps=(DEMOULD.steps[0], replace(DEMOULD.steps[1], minutes=minutes), DEMOULD.steps[2]))
    assert loads_of(replace(product, mould=replace(KNOB.mould, sets=sets))) == pytest.approx(expected)


def test_evaluate_follows_pot_and_moulds_together_where_moulds_are_more():
    """6 h of cure, 2 h to demould, one pot, two sets: either alone lets ten loads a week through, both together 7.5 (as the simulation of
    `loads_per_week` has it); two pots for two sets let through what the sets alone do."""
    steps = (replace(DEMOULD.steps[0], wait_hours=6.0), replace(DEMOULD.steps[1], minutes=12.0), DEMOULD.steps[2])
    product = replace(DEMOULD, steps=steps, mould=replace(KNOB.mould, sets=2))
    held = InMoulds(sets=2, steps=((2.0, False, 0.0),))

    assert loads_of(product) == pytest.approx(7.5) == pytest.approx(loads_per_week(6.0, 1.0, 1, WEEKDAYS, held))
    assert loads_of(product, pots=2) == pytest.approx(loads_per_week(6.0, 1.0, 2, WEEKDAYS, held)) == pytest.approx(10.0)


def test_evaluate_moulds_are_free_after_the_step_that_the_study_names():
    """4 h in the pot, moved to a shelf still in the mould, 20 h there, demoulded: the moulds are free a day after the pot is."""
    steps = (
        replace(DEMOULD.steps[0], wait_hours=4.0),
        Step(name="move", minutes=0.5, wait_hours=20.0),
        replace(DEMOULD.steps[1], minutes=3.0),
        DEMOULD.steps[2],
    )
    moved = replace(DEMOULD, steps=steps)
    # Mon 9-10 poured, out of the pot 14:00; moved 14:00-14:05 and, if that got the pieces out, poured again to 15:05
    assert loads_of(moved) == pytest.approx(10.0)
    # else 20 h on the shelf, demoulded Tue 10:05-10:35, poured to 11:35, moved 15:35-15:40; Wed ready 11:40, out 12:10, poured to 13:10,
    # out of the pot after closing; moved Thu 9:00, ready Fri 5:05, out 9:00-9:30, poured; out again Mon 9:00-9:30: Mon, Tue, Wed, Fri
    named = replace(moved, mould=replace(KNOB.mould, free_after="demould"))
    assert loads_of(named) == pytest.approx(4.0)
    # where nothing waits in between, two steps are as one with the work of both
    apart = replace(DEMOULD, mould=replace(KNOB.mould, free_after="polish"))
    together = replace(DEMOULD, steps=(DEMOULD.steps[0], replace(DEMOULD.steps[1], minutes=13.0)))
    assert loads_of(apart) == pytest.approx(loads_of(together))


def test_evaluate_rack_binds_by_hand():
    """12.5 casts a week dry for two weeks on two places each: 50 places; with 20 of them 40 % of demand is made."""
    product = with_step(0, wait_hours=336.0, wait_in="rack", places_per_piece=2.0)
    rack = replace(BY_HAND, products=(product,), racks=(Rack(name="rack", places=20.0),))
    year = evaluate(with_product(rack, mould=None))

    assert year.utilisation_at_demand["rack"] == pytest.approx(50 / 20)
    assert year.totals["pieces_sold_per_year"] == pytest.approx(80)
    assert year.resources[year.binding] == "rack"


def test_evaluate_hands_bind_by_hand():
    """5 h a week, 4 of them fixed, leave no time beside 60 stall hours; with 6 h there are 40 for 136.46 wanted."""
    wanted = 250 * 20.75 / 60 + 50
    year = evaluate(replace(BY_HAND, hours_per_week=6.0))

    assert year.totals["pieces_sold_per_year"] == pytest.approx(200 * 40 / wanted)
    assert year.totals["hours_per_year"] == pytest.approx(300)
    assert year.utilisation["hands"] == pytest.approx(1.0)
    assert year.utilisation_at_demand["hands"] == pytest.approx(wanted / 40)
    assert year.resources[year.binding] == "hands"


@pytest.mark.parametrize("hours", [3.0, 4.0, 5.0])
def test_evaluate_without_time_sells_nothing(hours):
    """Fixed and stall hours at or above what the week has: nothing made or sold, fixed costs lost all the same."""
    year = evaluate(replace(BY_HAND, hours_per_week=hours))

    assert year.totals["pieces_sold_per_year"] == year.totals["casts_per_year"] == year.totals["revenue_per_year"] == 0
    assert year.totals["residual_pay_per_year"] == pytest.approx(-900)
    assert year.totals["pay_per_hour"] == pytest.approx(-900 / 260)
    assert year.resources[year.binding] == "hands"


BOUGHT = tuple(Product(name=name, casts_per_load=1, steps=(Step(name="buy"),)) for name in ("bowl", "tile"))
IDLE = replace(
    BY_HAND,
    products=BOUGHT,
    channels=tuple(Channel(name=p.name, product=p.name, orders_per_year=5, pieces_per_order=1, price=3) for p in BOUGHT),
    stations=(),
)


@pytest.mark.parametrize(
    "a",
    [
        replace(BY_HAND, hours_per_week=4.0),
        with_channel(orders_per_year=0.0),
        with_channel(refund_share=1.0),
        with_channel(price=0.0),
        IDLE,
        replace(IDLE, overheads=(), equipment=()),
    ],
    ids=["no time", "no orders", "all refunded", "given away", "no minutes", "no minutes, no overhead"],
)
def test_evaluate_returns_no_nan_where_there_is_nothing_to_divide_by(a):
    """Break-even figures and costs may be infinite, never not-a-number."""
    assert {key: value for key, value in flat(evaluate(a)).items() if np.isnan(value)} == {}


def test_evaluate_refuses_a_year_without_hours():
    """No minutes and no fixed hours: pay an hour has no meaning."""
    free = Product(name="knob", casts_per_load=1, steps=(Step(name="buy"),))
    idle = replace(with_channel(minutes_per_order=0, days_per_year=0), products=(free,), fixed_hours_per_week=0)
    with pytest.raises(ValueError, match="hours"):
        evaluate(idle)


def test_evaluate_two_products_share_a_station_by_hand():
    """Knobs need .6 of the kiln (18 h: 5 a week), tiles .8 (6 h: 10 a week): both are cut to 1 / 1.4."""
    steps = {hours: (Step(name="fire", load_minutes=24.0, wait_hours=hours, wait_in="pot"),) for hours in (18.0, 6.0)}
    knob = Product(name="knob", casts_per_load=10, steps=steps[18.0])
    tile = Product(name="tile", casts_per_load=20, steps=steps[6.0])
    channels = tuple(
        Channel(name=name, product=name, orders_per_year=50.0 * loads, pieces_per_order=pieces, price=9.0)
        for name, loads, pieces in (("knob", 3, 10), ("tile", 8, 20))
    )
    year = evaluate(replace(BY_HAND, products=(knob, tile), channels=channels))

    assert year.utilisation_at_demand["pot"] == pytest.approx(1.4)
    assert year.utilisation["pot"] == pytest.approx(1.0)
    assert year.products["knob"]["loads_per_year"] == pytest.approx(150 / 1.4)
    assert year.products["tile"]["loads_per_year"] == pytest.approx(400 / 1.4)
    assert year.resources[year.binding] == "pot"


def test_evaluate_ruined_loads_by_hand():
    """Two loads ruined in the pot: 20 casts of 1.30 and 3.5 min apart from normal scrap, and no less sold."""
    plain, ruined = evaluate(BY_HAND), evaluate(with_product(ruined_loads_per_year=2.0))

    assert ruined.totals["ruined_loss_per_year"] == pytest.approx(20 * 1.3)
    assert ruined.totals["ruined_hours_per_year"] == pytest.approx(20 * 3.5 / 60)
    assert ruined.products["knob"]["ruined_loss_per_year"] == pytest.approx(26 + 12 * 20 * 3.5 / 60)
    assert ruined.totals["casts_per_year"] == pytest.approx(625 + 20)
    assert ruined.totals["pieces_sold_per_year"] == plain.totals["pieces_sold_per_year"]
    assert ruined.products["knob"]["scrap_cost_per_good_piece"] == plain.products["knob"]["scrap_cost_per_good_piece"]
    assert ruined.utilisation["pot"] == pytest.approx((1.25 + 2 / 50) / 5)
    assert ruined.utilisation["moulds for knob"] == pytest.approx(
        (1.25 + 2 / 50) / 5
    )  # a ruined load wears the mould as any other does


def test_evaluate_ruined_loads_stay_within_the_station():
    """A pot that does 5 loads a week does no more, ruined ones among them."""
    year = evaluate(with_product(with_levers(BY_HAND, demand=20.0), ruined_loads_per_year=50.0))

    assert year.totals["loads_per_week"] <= 5 * (1 + 1e-9)


def test_evaluate_ruined_loads_do_not_reach_the_second_station():
    """Lost where it first waits, so the glaze kiln never sees it."""
    steps = tuple(
        Step(name=name, load_minutes=24.0, wait_hours=18.0, wait_in=name, pass_share=0.9)
        for name in ("biscuit kiln", "glaze kiln")
    )
    product = Product(name="knob", casts_per_load=10, steps=steps)
    stations = (Station(name="biscuit kiln"), Station(name="glaze kiln"))
    uses = [
        evaluate(replace(BY_HAND, products=(replace(product, ruined_loads_per_year=r),), stations=stations)).utilisation_at_demand
        for r in (0.0, 25.0)
    ]

    assert uses[1]["biscuit kiln"] - uses[0]["biscuit kiln"] == pytest.approx(25 / 50 / 5)
    assert uses[1]["glaze kiln"] == pytest.approx(uses[0]["glaze kiln"])


def test_evaluate_elasticity_by_hand():
    """Price 10 % up at elasticity 2: 100 / 1.21 orders; the counted price is the reference."""
    year = evaluate(with_levers(with_channel(elasticity=2.0), price=1.1))

    assert year.channels["shop"]["orders"] == pytest.approx(100 / 1.21)
    assert year.channels["shop"]["revenue"] == pytest.approx(100 / 1.21 * (66 + 5))


def test_evaluate_learning_averages_over_the_casts_demand_needs():
    """625 casts, 500 sanded: mean of 500 unit times at 80 % from 20, floor 4 minutes; practised already, only the floor."""
    learning = with_step(1, first_minutes=20.0, learning_rate=0.8, rework_share=0.0)
    times = [max(4.0, 20 * n ** np.log2(0.8)) for n in range(1, 501)]
    year = evaluate(replace(BY_HAND, products=(learning,)))
    later = evaluate(replace(BY_HAND, products=(replace(learning, made_before=1e4),)))

    assert year.products["knob"]["piece"].steps[1].minutes == pytest.approx(np.mean(times), rel=1e-9)
    assert later.products["knob"]["piece"].steps[1].minutes == pytest.approx(4.0)


@settings(deadline=None, max_examples=60)
@given(VALUES, st.integers(1, 3), st.floats(0, 3))
def test_evaluate_totals_equal_the_sum_of_parts(v, kilns, ruined):
    """Money, hours, pieces and costs by kind add up, whatever binds."""
    year = evaluate(two_products(v, kilns, ruined))
    s, products, channels = year.totals, year.products, year.channels.values()
    costs = ("fees", "postage", "packaging", "refunds", "stall_fees", "material", "ruined_loss", "overhead", "equipment")
    hours = ("make_hours", "order_hours", "stall_hours", "fixed_hours", "ruined_hours")
    near = {"rel": 1e-9, "abs": 1e-6}

    assert s["revenue_per_year"] - sum(s[f"{c}_per_year"] for c in costs) == pytest.approx(s["residual_pay_per_year"], **near)
    assert sum(s[f"{h}_per_year"] for h in hours) == pytest.approx(s["hours_per_year"], **near)
    assert s["pay_per_hour"] * s["hours_per_year"] == pytest.approx(s["residual_pay_per_year"], **near)
    for kind in ("revenue", "fees", "postage", "packaging", "refunds"):
        assert sum(c[kind] for c in channels) == pytest.approx(s[f"{kind}_per_year"], **near)
    for c in channels:
        parts = c["fees"] + c["postage"] + c["packaging"] + c["refunds"]
        assert c["revenue"] - parts == pytest.approx(c["net"], **near)
    assert sum(c["pieces"] for c in channels) == pytest.approx(s["pieces_sold_per_year"], **near)
    assert sum(p["made_per_year"] for p in products.values()) == pytest.approx(s["good_pieces_per_year"], **near)
    assert sum(p["casts_per_year"] for p in products.values()) == pytest.approx(s["casts_per_year"], **near)
    for p in products.values():
        assert sum(p["cost_by_kind"].values()) == pytest.approx(p["cost_per_good_piece"], **near)
        assert p["made_per_year"] * p["casts_per_good_piece"] == pytest.approx(p["casts_per_year"], abs=12 * ruined + 1e-6)
    # over all products the cost of good pieces is material, making time, overhead, equipment and weekly hours
    cost = sum(p["cost_per_good_piece"] * p["made_per_year"] for p in products.values())
    time = (s["make_hours_per_year"] + s["fixed_hours_per_year"]) * v["target"]
    spent = s["material_per_year"] + s["overhead_per_year"] + s["equipment_per_year"] + time
    assert cost == pytest.approx(spent, **near)


@settings(deadline=None, max_examples=60)
@given(VALUES, st.integers(1, 3), st.floats(0, 40))
def test_evaluate_use_is_at_most_one_at_what_is_made(v, kilns, ruined):
    """No resource is overbooked, no more is sold than asked, hours given are kept, and places in use follow Little's law."""
    year = evaluate(two_products(v, kilns, ruined))
    bowl, tile = year.products["bowl"], year.products["tile"]
    dried = bowl["made_per_year"] * bowl["casts_per_good_piece"] * v["pass_1"] / v["weeks"]
    # a kiln's share of the week: loads of each over the loads it would do of that one alone; tiles are fired 16 at a time
    alone = [loads_per_week(hours, minutes / 60, kilns, WEEKDAYS) for hours, minutes in ((v["cure"], v["load_minutes"]), (9, 20))]
    tiles = tile["casts_per_year"] * v["pass_2"] / 16 / v["weeks"]
    assert bowl["loads_per_year"] / v["weeks"] / alone[0] + tiles / alone[1] == pytest.approx(year.utilisation["kiln"], rel=1e-9)

    assert all(use <= 1 + 1e-9 for use in year.utilisation.values())
    assert all(year.utilisation[name] <= year.utilisation_at_demand[name] * (1 + 1e-9) for name in year.utilisation)
    assert year.totals["hours_per_year"] <= v["hours"] * v["weeks"] * (1 + 1e-9)
    assert year.channels["shops"]["orders"] <= v["orders_2"] * (1 + 1e-12)
    assert dried * v["dry"] / 168 == pytest.approx(year.utilisation["rack"] * v["places"], rel=1e-9)
    binding = year.resources[year.binding]
    assert year.utilisation.get(binding, 1.0) == pytest.approx(1.0, rel=1e-9)
    assert (binding == "demand") == all(use <= 1 for use in year.utilisation_at_demand.values())


@settings(deadline=None, max_examples=40)
@given(VALUES, st.integers(1, 4), st.integers(1, 4))
def test_evaluate_more_stations_never_sell_fewer(v, one, other):
    """For one product; with two, the share freed of hands by a short kiln may sell more pieces of the other."""
    a = two_products(v, min(one, other))
    single = replace(a, products=a.products[:1], channels=a.channels[:2])
    more = replace(single, stations=(Station(name="kiln", count=max(one, other)),))

    assert evaluate(more).totals["pieces_sold_per_year"] >= evaluate(single).totals["pieces_sold_per_year"] * (1 - 1e-12)


@settings(deadline=None, max_examples=60)
@given(VALUES, st.sampled_from(["bowl", "tile"]), st.floats(0, 3))
def test_evaluate_break_even_price_makes_pay_meet_the_target(v, name, ruined):
    """With every price of a product moved to its break-even price pay an hour is the target; to the cash one, pay is nothing."""
    a = two_products(v | {"elasticity": 0.0}, ruined=ruined)
    product = evaluate(a).products[name]
    for key, pay in (("break_even_price", v["target"]), ("cash_break_even_price", 0.0)):
        factor = product[key] / product["mean_price_per_piece"]
        assume(factor > 0)
        channels = tuple(replace(c, price=c.price * factor) if c.product == name else c for c in a.channels)
        moved = evaluate(replace(a, channels=channels))

        assert moved.totals["pay_per_hour"] == pytest.approx(pay, rel=1e-7, abs=1e-7)
        assert moved.products[name]["mean_price_per_piece"] == pytest.approx(product[key], rel=1e-9)


@settings(deadline=None, max_examples=40)
@given(VALUES, st.floats(0, 3))
def test_evaluate_break_even_demand_makes_pay_meet_the_target(v, ruined):
    """Demand moved to its break-even share makes pay the target, or nothing in cash, where nothing binds before or after."""
    roomy = {"hours": 168.0, "places": 1e9, "cure": 1.0, "load_minutes": 12.0}
    a = two_products(v | roomy, kilns=4, ruined=ruined)
    bowl, tile = _unlearnt(a).products
    a = replace(a, products=(replace(bowl, mould=None), tile))
    year = evaluate(a)
    assume(year.binding == 0)
    for kind, pay in (("pay", v["target"]), ("cash", 0.0)):
        share = year.totals[f"{kind}_break_even_share_of_demand"]
        if not 0 < share < np.inf:
            continue
        moved = evaluate(with_levers(a, demand=share))
        if moved.binding == 0:
            assert moved.totals["pay_per_hour"] == pytest.approx(pay, rel=1e-7, abs=1e-7)
            pieces = year.totals[f"{kind}_break_even_pieces_per_year"]
            assert moved.totals["pieces_sold_per_year"] == pytest.approx(pieces, rel=1e-9)


def test_evaluate_break_even_demand_is_infinite_where_each_piece_loses():
    """A piece that loses on its own has no break-even quantity, and raising the price is the only way out."""
    year = evaluate(with_channel(price=1.0))

    assert year.totals["pay_break_even_share_of_demand"] == year.totals["cash_break_even_share_of_demand"] == np.inf
    assert year.products["knob"]["break_even_price"] > 1


def test_evaluate_break_even_price_is_infinite_where_nothing_stays_of_a_price():
    """Fees of 95 % and refunds of 10 %: no price pays."""
    assert evaluate(with_channel(fee_share=0.95, refund_share=0.10)).products["knob"]["break_even_price"] == np.inf


@pytest.mark.parametrize("some", [SEEDED[:4], SEEDED[4:]])
def test_evaluate_arrays_equal_scalars(some):
    """Workshops stacked into arrays, kilns and ruined loads too, give element by element what each gives alone."""
    kilns, ruined = np.arange(len(some)) % 3 + 1, np.linspace(0, 3, len(some))
    together = flat(evaluate(two_products({key: np.array([v[key] for v in some]) for key in RANGES}, kilns, ruined)))
    for i, v in enumerate(some):
        alone = flat(evaluate(two_products(v, int(kilns[i]), float(ruined[i]))))

        assert alone.keys() == together.keys()
        assert {key: np.broadcast_to(value, len(some))[i] for key, value in together.items()} == pytest.approx(alone, rel=1e-10)


def test_evaluate_grid_equals_scalars():
    """Scrap down, cure across: a grid from broadcasting, as a chart over both needs it."""
    scrap, cure = np.array([[0.1], [0.4], [0.7]]), np.array([6.0, 18.0, 30.0, 80.0])
    a = with_levers(BY_HAND, demand=10.0)
    grid = evaluate(with_levers(a, scrap=scrap, cure_hours=cure)).totals["pay_per_hour"]
    alone = [[evaluate(with_levers(a, scrap=s, cure_hours=c)).totals["pay_per_hour"] for c in cure] for s in scrap[:, 0]]

    assert grid.shape == (3, 4)
    assert grid == pytest.approx(np.array(alone), rel=1e-12)


@pytest.mark.parametrize(
    ("mould", "quantity"),
    [
        (None, "totals: ruined_hours_per_year"),
        (replace(KNOB.mould, rest_hours=4.0), "use at demand: moulds for knob"),
    ],
)
def test_evaluate_arrays_equal_scalars_where_some_draws_do_not_wait(mould, quantity):
    """A first wait of none in one draw moves ruined loads and the mould's wait to the next step there, and only there."""

    def shop(wait):
        steps = (
            Step(name="pour", minutes=1.0, load_minutes=20.0, wait_hours=wait),
            Step(name="fill", minutes=5.0, load_minutes=20.0, wait_hours=18.0),
        )
        product = Product(name="knob", casts_per_load=10, ruined_loads_per_year=5.0, steps=steps, mould=mould)
        return flat(evaluate(replace(BY_HAND, products=(product,))))[quantity]

    waits = np.array([0.0, 5.0])
    assert np.broadcast_to(shop(waits), 2).tolist() == pytest.approx([shop(wait) for wait in waits])


def test_evaluate_integers_equal_floats():
    """Whole numbers of any kind give what the same floats give."""
    whole = {key: int(np.ceil(v)) for key, v in SEEDED[0].items()}
    whole |= {"loss": 0, "fee": 0, "refund": 0, "unsold": 0, "set_aside": 0, "interest": 0}
    as_int = flat(evaluate(two_products(whole)))
    as_array = flat(evaluate(two_products({key: np.array([v, v]) for key, v in whole.items()})))
    as_float = flat(evaluate(two_products({key: float(v) for key, v in whole.items()})))

    assert as_float == pytest.approx(as_int, rel=1e-12)
    assert {key: np.broadcast_to(v, 2)[1] for key, v in as_array.items()} == pytest.approx(as_float, rel=1e-12)


def test_evaluate_and_with_levers_change_no_input():
    """Arrays that cannot be written pass through both and keep their values."""
    v = {key: np.array([one[key] for one in SEEDED[:3]]) for key in RANGES}
    before = {key: array.copy() for key, array in v.items()}
    for array in v.values():
        array.setflags(write=False)
    a = two_products(v, np.array([1, 2, 3]))
    first = flat(evaluate(a))
    evaluate(with_levers(a, product="bowl", scrap=0.3, cure_hours=12.0, price=1.2, demand=0.5))

    assert all(np.array_equal(before[key], v[key]) for key in v)
    assert all(np.array_equal(value, first[key]) for key, value in flat(evaluate(a)).items())


# --- levers ---


def test_with_levers_scrap_by_hand():
    """.36 scrapped over two equal checks of .9: .8 each; a routing without a check gets it at the last step."""
    product = with_step(1, with_step(0, pass_share=0.9), pass_share=0.9)
    moved = with_levers(replace(BY_HAND, products=(product,)), scrap=0.36).products[0]
    unchecked = with_step(1, with_step(0, pass_share=1.0), pass_share=1.0)

    assert [step.pass_share for step in moved.steps] == pytest.approx([0.8, 0.8, 1.0])
    assert [s.pass_share for s in with_levers(replace(BY_HAND, products=(unchecked,)), scrap=0.25).products[0].steps] == [
        1,
        1,
        0.75,
    ]
    assert evaluate(with_levers(BY_HAND, scrap=0.1)).products["knob"]["yield"] == pytest.approx(0.9)


def test_with_levers_moves_only_its_own():
    """Scrap and cure of one product leave the other alone; price and demand move every channel; none leaves all as it was."""
    a = two_products(SEEDED[1])
    moved = with_levers(a, product="tile", scrap=0.2, cure_hours=40.0, price=2.0, demand=0.5)

    assert moved.products[0] == a.products[0]
    assert rolled_yield([s.pass_share for s in moved.products[1].steps]) == pytest.approx(0.8)
    assert longest_wait(moved, "tile") == ("fire", 40.0)
    assert [c.price for c in moved.channels] == [2 * c.price for c in a.channels]
    assert [c.orders_per_year for c in moved.channels] == [0.5 * c.orders_per_year for c in a.channels]
    assert moved.channels[0].reference_price == a.channels[0].reference_price  # as counted
    assert moved.channels[1].reference_price == a.channels[1].price
    assert with_levers(a) == a


def test_moved_at_by_hand():
    """One step, every step, an empty place and a name that is not there; the workshop itself is left as it is."""
    minutes = [step.minutes for step in KNOB.steps]

    def moved(place):
        return [step.minutes for step in moved_at(BY_HAND, place, lambda now: now / 2).products[0].steps]

    first = KNOB.steps[0].name
    assert moved(f"products.knob.steps.{first}.minutes") == [minutes[0] / 2, *minutes[1:]]
    assert moved("products.*.steps.*.minutes") == [m / 2 for m in minutes]
    assert moved_at(with_product(mould=None), "products.knob.mould.minutes", lambda now: now / 2) == with_product(mould=None)
    assert moved_at(BY_HAND, "products.bowl.steps.*.minutes", lambda now: now / 2) == BY_HAND
    assert moved("fixed_hours_per_week") == minutes == [step.minutes for step in BY_HAND.products[0].steps]


def test_first_wait_by_hand():
    """The first of two steps that wait; none where nothing waits; a wait in some draws counts."""
    assert with_step(1, wait_hours=5.0).first_wait == KNOB.first_wait == 0
    dry = with_step(0, wait_hours=0.0)
    assert dry.first_wait is None
    assert with_step(2, dry, wait_hours=np.array([0.0, 3.0])).first_wait == 2


def test_an_order_of_a_channel_by_hand():
    """At its own price it is the order of the year; at no price it holds what does not follow the price, and the rest is kept."""
    c = replace(SHOP, postage_charged=4.0, postage_paid=5.0, fee_share=0.1, refund_share=0.02, packaging=1.0, fee_fixed=0.3)
    fixed = c.order(0.0)["net"]

    assert fixed == pytest.approx(4.0 - (0.1 * 4.0 * c.fee_on_postage + 0.3) - 5.0 - 1.0 - 0.02 * 9.0)
    assert c.order()["net"] == pytest.approx(c.kept_share * c.price + fixed) == c.order(c.price)["net"]
    year = evaluate(replace(BY_HAND, channels=(c,))).channels[c.name]
    assert year["net_per_order"] == c.order()["net"]


def test_longest_wait_by_hand():
    """The pot's 18 h; the mean of an array; none where nothing waits."""
    assert longest_wait(BY_HAND) == longest_wait(BY_HAND, "knob") == ("pour", 18.0)
    assert longest_wait(replace(BY_HAND, products=(with_step(0, wait_hours=np.array([10.0, 20.0])),))) == ("pour", 15.0)
    assert longest_wait(replace(BY_HAND, products=(with_step(0, wait_hours=0.0),))) == (None, 0.0)


@settings(deadline=None, max_examples=30)
@given(VALUES, st.floats(0.05, 0.5), st.floats(0.05, 0.5))
def test_more_scrap_never_pays_better(v, one, other):
    """For one product that no maker's limit frees from making losses: at demand, pay a year never rises with scrap."""
    a = _unlearnt(two_products(v | {"hours": 168.0, "places": 1e9, "recovered": 0.0}, kilns=5))
    single = replace(a, products=(replace(a.products[0], mould=None),), channels=a.channels[:2])
    less, more = (evaluate(with_levers(single, scrap=scrap)) for scrap in sorted([one, other]))
    assume(more.binding == 0)

    assert more.totals["residual_pay_per_year"] <= less.totals["residual_pay_per_year"] + 1e-6
    assert more.totals["hours_per_year"] >= less.totals["hours_per_year"] - 1e-6
    assert more.products["bowl"]["break_even_price"] >= less.products["bowl"]["break_even_price"] - 1e-6


# --- every function: arrays, integers, faults ---

ARRAYS = [
    (lambda y, z: rolled_yield([y, z]), ([0.9, 0.5], [1.0, 0.7])),
    (lambda y, z: entering_per_good([y, z])[0], ([0.9, 0.5], [1.0, 0.7])),
    (lambda y, z: scrapped_per_good([y, z])[0], ([0.9, 0.5], [1.0, 0.7])),
    (lambda y, z: at_scrap_rate([y, 0.9], z)[0], ([0.9, 0.5], [0.1, 0.7])),
    (learning_exponent, ([0.8, 1.0],)),
    (unit_total, ([0.0, 3.0, 16.0, 400.0], [0.8, 0.9, 1.0, 0.7])),
    (practised_minutes, ([3.0, 9.0, 0.0], [10.0, 2.0, 8.0], [0.8, 0.8, 1.0], [0.0, 5.0, 70.0], [10.0, 400.0, 1.0])),
    (material_cost, ([1.0, 2.0], [0.0, 0.2])),
    (orders_at_price, ([10.0, 100.0], [5.0, 6.0], [5.0, 9.0], [0.0, 2.0])),
    (lambda p, f: order_contribution(p, fee_share=f)["net"], ([10.0, 100.0], [0.1, 0.0])),
    (yearly_charge, ([100.0, 500.0], [0.0, 50.0], [2.0, 5.0], [0.0, 0.1])),
    (self_employed_target, ([13.0, 14.0], [1950.0, 2080.0], [0.0, 0.2], [46.0, 50.0], [37.5, 40.0])),
    (mean_to_scale, ([35.0, 50.0], [1.0, 2.5])),
    (expected_casts, ([35.0, 50.0], [1.0, 2.5], [10.0, 80.0])),
    (places_needed, ([100.0, 5.0], [10.0, 840.0], [1.0, 2.0])),
]


@pytest.mark.parametrize(("function", "columns"), ARRAYS)
def test_functions_on_arrays_equal_scalars(function, columns):
    """Element by element the same; scalars in, scalar out."""
    together = function(*(np.array(column) for column in columns))
    alone = [function(*row) for row in zip(*columns)]

    assert together.tolist() == pytest.approx(alone, rel=1e-13)
    assert all(np.ndim(value) == 0 for value in alone)


@pytest.mark.parametrize(("function", "columns"), ARRAYS)
def test_functions_take_whole_numbers_as_floats(function, columns):
    """The first row rounded up to whole numbers gives what the same floats give."""
    row = [int(np.ceil(column[0])) for column in columns]
    if function is ARRAYS[3][0]:
        row = [1, 0]  # a scrap rate of 1 is refused

    assert function(*row) == function(*(float(value) for value in row))


@pytest.mark.parametrize(
    "function",
    [
        lambda: scrapped_per_good([[0.9, 0.5], 0.8])[0],
        lambda: surviving_share([[0.9, 0.5], 0.8])[1],
        lambda: places_needed(10.0, 168.0, [1, 2]),
        lambda: expected_casts(35.0, [1.0, 2.5], 20.0),
    ],
)
def test_functions_take_lists_where_array_like_is_promised(function):
    """Lists count as arrays."""
    assert np.shape(function()) == (2,)


FAULTS = [
    (lambda: rolled_yield([0.9, 0.0]), "pass share must be above 0 and at most 1; got 0.0"),
    (lambda: rolled_yield([0.9, np.array([0.5, 1.2])]), "pass share must be above 0 and at most 1; got 1.2 at index 1"),
    (lambda: rolled_yield([np.nan]), "pass share must be above 0 and at most 1; got nan"),
    (lambda: rolled_yield([np.array([])]), "pass share must hold at least one number; got an empty array"),
    (lambda: entering_per_good([1.1]), "pass share must be above 0 and at most 1; got 1.1"),
    (lambda: scrapped_per_good([-0.1]), "pass share must be above 0 and at most 1; got -0.1"),
    (lambda: at_scrap_rate([0.9], 1.0), "scrap rate must be at least 0 and at most 1; got 1.0"),
    (lambda: good_per_load(0, 0.9), "casts must be at least 1; got 0.0"),
    (lambda: good_per_load(4, 1.1), "good share must be at least 0 and at most 1; got 1.1"),
    (lambda: good_per_load(4, 0.9, -0.1), "load correlation must be at least 0 and at most 1; got -0.1"),
    (lambda: full_sets_per_load(4, 0.9, 0), "set size must be at least 1; got 0.0"),
    (lambda: learning_exponent(0.0), "learning rate must be above 0 and at most 1; got 0.0"),
    (lambda: learning_exponent(1.2), "learning rate must be above 0 and at most 1; got 1.2"),
    (lambda: unit_total(-1, 0.8), "pieces must be at least 0; got -1.0"),
    (lambda: practised_minutes(-1, 1, 0.8, 0, 1), "practised minutes must be at least 0; got -1.0"),
    (lambda: practised_minutes(1, 1, 0.8, -1, 1), "pieces made before must be at least 0; got -1.0"),
    (lambda: practised_minutes(1, 1, 0.8, 0, 0), "pieces must be above 0; got 0.0"),
    (lambda: material_cost(-1), "material cost must be at least 0; got -1.0"),
    (lambda: material_cost(1, 1.0), "loss share must be at least 0 and at most 0.99; got 1.0"),
    (lambda: piece_cost(KNOB, -1), "target pay must be at least 0; got -1.0"),
    (lambda: piece_cost(with_step(0, minutes=-1), 1), "minutes of pour must be at least 0; got -1.0"),
    (lambda: piece_cost(with_step(0, load_minutes=-1), 1), "load minutes of pour must be at least 0; got -1.0"),
    (lambda: piece_cost(with_step(0, load_size=0), 1), "load size of pour must be above 0; got 0.0"),
    (lambda: piece_cost(with_step(1, rework_share=1.5), 1), "rework share of sand must be at least 0 and at most 1; got 1.5"),
    (lambda: piece_cost(with_step(1, rework_minutes=-1), 1), "rework minutes of sand must be at least 0; got -1.0"),
    (lambda: piece_cost(with_step(1, first_minutes=9), 1), "casts per year must be given where a step learns; got none for 'sand'"),
    (lambda: expected_casts(0), "mean life must be above 0; got 0.0"),
    (lambda: expected_casts(35, 2.5, 0), "replacement age must be above 0; got 0.0"),
    (lambda: mean_to_scale(35, 0), "life shape must be above 0; got 0.0"),
    (lambda: cheapest_replacement_age(35, 2.5, -1, 1), "planned cost must be at least 0; got -1.0"),
    (lambda: cheapest_replacement_age(35, 2.5, 1, -1), "failure cost must be at least 0; got -1.0"),
    (lambda: cheapest_replacement_age(35, 2.5, 1, 1, -1), "wear cost must be at least 0; got -1.0"),
    (lambda: orders_at_price(-1, 1), "orders per year must be at least 0; got -1.0"),
    (lambda: orders_at_price(1, 0, 1, elasticity=1), "price must be above 0; got 0.0"),
    (lambda: orders_at_price(1, 1, 0, elasticity=1), "reference price must be above 0; got 0.0"),
    (lambda: orders_at_price(1, 1, 1, -1), "elasticity must be at least 0; got -1.0"),
    (lambda: order_contribution(-1), "price must be at least 0; got -1.0"),
    (lambda: order_contribution(1, postage_charged=-1), "postage charged must be at least 0; got -1.0"),
    (lambda: order_contribution(1, postage_paid=-1), "postage paid must be at least 0; got -1.0"),
    (lambda: order_contribution(1, packaging=-1), "packaging must be at least 0; got -1.0"),
    (lambda: order_contribution(1, fee_fixed=-1), "fixed fee must be at least 0; got -1.0"),
    (lambda: order_contribution(1, fee_share=2), "fee share must be at least 0 and at most 1; got 2.0"),
    (lambda: order_contribution(1, refund_share=2), "refund share must be at least 0 and at most 1; got 2.0"),
    (lambda: yearly_charge(-1, 0, 1), "price must be at least 0; got -1.0"),
    (lambda: yearly_charge(1, -1, 1), "resale must be at least 0; got -1.0"),
    (lambda: yearly_charge(1, 0, 0), "life must be above 0; got 0.0"),
    (lambda: yearly_charge(1, 0, 1, -0.1), "interest must be at least 0; got -0.1"),
    (lambda: self_employed_target(-1, 1, 0, 1, 1), "wage must be at least 0; got -1.0"),
    (lambda: self_employed_target(1, 0, 0, 1, 1), "paid hours must be above 0; got 0.0"),
    (lambda: self_employed_target(1, 1, 2, 1, 1), "employer share must be at least 0 and at most 1; got 2.0"),
    (lambda: self_employed_target(1, 1, 0, 0, 1), "weeks worked must be above 0; got 0.0"),
    (lambda: self_employed_target(1, 1, 0, 1, 0), "full week must be above 0; got 0.0"),
    (lambda: evaluate(replace(BY_HAND, weeks_per_year=0)), "weeks per year must be above 0 and at most 53; got 0.0"),
    (lambda: evaluate(replace(BY_HAND, hours_per_week=169)), "hours per week must be above 0 and at most 168; got 169.0"),
    (lambda: evaluate(replace(BY_HAND, fixed_hours_per_week=-1)), "fixed hours per week must be at least 0 and at most 168; got -1.0"),
    (lambda: evaluate(replace(BY_HAND, target_per_hour=-1)), "target pay must be at least 0; got -1.0"),
    (lambda: evaluate(replace(BY_HAND, set_aside_share=2)), "set-aside share must be at least 0 and at most 1; got 2.0"),
    (lambda: evaluate(replace(BY_HAND, overheads=(Overhead(name="rent", per_year=-1),))), "overhead rent must be at least 0; got -1.0"),
    (lambda: evaluate(with_product(unsold_share=1.0)), "unsold share must be at least 0 and at most 0.99; got 1.0"),
    (lambda: evaluate(with_product(ruined_loads_per_year=-1)), "ruined loads must be at least 0; got -1.0"),
    (lambda: evaluate(with_channel(pieces_per_order=0)), "pieces per order must be above 0; got 0.0"),
    (lambda: evaluate(with_channel(minutes_per_order=-1)), "minutes per order must be at least 0; got -1.0"),
    (lambda: evaluate(with_channel(days_per_year=367)), "stall days must be at least 0 and at most 366; got 367.0"),
    (lambda: evaluate(with_channel(hours_per_day=25)), "stall hours a day must be at least 0 and at most 24; got 25.0"),
    (lambda: evaluate(with_channel(fee_per_day=-1)), "stall fee must be at least 0; got -1.0"),
    (lambda: evaluate(replace(BY_HAND, products=(with_step(0, load_minutes=600.0),))), "load minutes of 'pour' must fit one working window; got 10 h"),
    (lambda: with_channel(product="bowl"), "channel 'shop' must sell a known product; got 'bowl'"),
    (lambda: replace(BY_HAND, stations=()), "step 'pour' must wait in a known station or rack; got 'pot'"),
    (lambda: with_levers(BY_HAND, scrap=1.0), "scrap rate must be at least 0 and at most 1; got 1.0"),
    (lambda: with_levers(BY_HAND, price=0.0), "price factor must be above 0; got 0.0"),
    (lambda: with_levers(BY_HAND, demand=-1.0), "demand factor must be at least 0; got -1.0"),
    (lambda: with_levers(BY_HAND, cure_hours=-1.0), "cure hours must be at least 0; got -1.0"),
    (
        lambda: with_levers(replace(BY_HAND, products=(with_step(0, wait_hours=0.0),)), cure_hours=1.0),
        "cure hours need a step that waits; 'knob' has none",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("call", "message"), FAULTS, ids=[message.partition(";")[0] for _, message in FAULTS])
def test_faults_by_message(call, message):
    """Each fault names the value, what is required, what arrived and, in an array, where."""
    with pytest.raises(ValueError) as caught:
        call()

    assert str(caught.value) == message


@pytest.mark.parametrize(
    "call",
    [lambda: with_levers(BY_HAND, product="knbo", scrap=0.3), lambda: longest_wait(BY_HAND, "knbo")],
    ids=["scrap", "wait"],
)
def test_levers_refuse_an_unknown_product(call):
    """A misspelt product is a fault, not a lever that does nothing."""
    with pytest.raises(ValueError, match="knbo"):
        call()


@pytest.mark.parametrize("first", [{"load_minutes": 30.0}, {"load_minutes": 30.0, "wait_hours": 24.0}])
def test_evaluate_moulds_limit_whether_the_load_is_handled_before_or_with_its_wait(first):
    """One set taken 24 h gives five loads a week, on the step that fills it or on the next; 25 orders of ten need half a load."""
    second = {} if "wait_hours" in first else {"wait_hours": 24.0}
    steps = (Step(name="pour", **first), Step(name="stand", **second))
    mould = Mould(material_cost=10.0, minutes=0.0, life_casts=50.0)
    product = Product(name="knob", casts_per_load=10, steps=steps, mould=mould)
    shop = Channel(name="shop", product="knob", orders_per_year=25.0, pieces_per_order=10, price=50.0)
    year = evaluate(replace(BY_HAND, products=(product,), channels=(shop,)))

    # 24 h and half an hour to turn round: from 9:00 to 9:30 the next day, then to 10:00 and so on; four fit five days of 8 h
    rate = loads_per_week(24.0, 0.5, 1, BY_HAND.windows)
    assert year.utilisation_at_demand["moulds for knob"] == pytest.approx(25 / BY_HAND.weeks_per_year / rate)


def test_evaluate_what_one_product_lacks_leaves_a_shared_station_to_the_other():
    """A and B each need 0.8 of a kiln, A's rack holds half of it: 0.4 + 0.8 still is 1.2, so both are cut to 1 / 1.2 of that."""
    kiln = Step(name="fire", load_minutes=24.0, wait_hours=18.0, wait_in="pot")
    rack = Step(name="dry", wait_hours=168.0, wait_in="shelf")
    products = (Product(name="a", casts_per_load=10, steps=(kiln, rack)), Product(name="b", casts_per_load=10, steps=(kiln,)))
    channels = tuple(Channel(name=n, product=n, orders_per_year=200.0, pieces_per_order=10, price=90.0) for n in ("a", "b"))
    a = replace(BY_HAND, products=products, channels=channels, racks=(Rack(name="shelf", places=20.0),))
    year = evaluate(a)

    assert year.utilisation_at_demand["pot"] == pytest.approx(1.6) and year.utilisation_at_demand["shelf"] == pytest.approx(2.0)
    assert year.utilisation["pot"] == pytest.approx(1.0)
    assert [float(year.products[n]["loads_per_year"]) for n in ("a", "b")] == pytest.approx([100 / 1.2, 200 / 1.2])


def test_evaluate_break_even_beyond_what_can_be_made_is_no_break_even():
    """What demand needs of the fullest resource leaves room for so much more: a rent that asks beyond it has no break-even."""

    def share(rent):
        year = evaluate(replace(BY_HAND, overheads=(Overhead(name="rent", per_year=rent),)))
        return float(year.totals["cash_break_even_share_of_demand"])

    slope = (share(1500.0) - share(500.0)) / 1000.0  # the share needed is linear in the rent
    room = 1.0 / max(evaluate(BY_HAND).utilisation_at_demand.values())

    assert room > 1
    assert share(500.0 + (room * 0.99 - share(500.0)) / slope) == pytest.approx(room * 0.99)
    assert share(500.0 + (room * 1.01 - share(500.0)) / slope) == np.inf


def test_evaluate_set_aside_is_taken_of_a_gain_only():
    """A loss is not made smaller by what would be set aside of a gain."""
    year = evaluate(with_channel(price=1.0))

    assert year.totals["pay_per_hour_after_set_aside"] == year.totals["pay_per_hour"] < 0
