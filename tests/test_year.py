"""The year and its levers: values by hand, limits and properties."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from workshops_by_hand import (
    BY_HAND,
    KNOB,
    RANGES,
    SEEDED,
    VALUES,
    WEEKDAYS,
    flat,
    two_products,
    unlearnt,
    with_channel,
    with_product,
    with_step,
)

from casting_econ.models import (
    Channel,
    InMoulds,
    Mould,
    Overhead,
    Product,
    Rack,
    Station,
    Step,
    evaluate,
    loads_per_week,
    with_levers,
)


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


# moulds of one product want 3 in 100 more than there are, and the kiln that it shares 2: the kiln is what is full in the end
KILN_FULL = dict(
    zip(
        (
            "weeks hours fixed target interest set_aside pass_1 pass_2 pass_3 minutes load_minutes rework rework_minutes cure "
            "rest resin dry loss recovered rate firing mould_cost shape life mould_minutes replace_at unsold before first "
            "paper orders_1 orders_2 orders_3 pieces_1 pieces_2 price_1 price_2 price_3 charged fee fee_fixed paid packing "
            "refund order_minutes days day_hours day_fee overhead tool resale tool_life places elasticity reference "
        ).split(),
        map(
            float,
            (
                "40 10 1 6 0 0 0.5 0.5 0.5 1 10 0 0 4 22 5 12 0 1 1 4 5 4 16 3 5 0 0 1 1 1 17 161 1 29 5 5 5 0 0 0 0 0 0 0 0 4 0 "
                "0 0 0 1 20 0 5 "
            ).split(),
        ),
        strict=True,
    )
)


@settings(deadline=None, max_examples=60)
@given(VALUES, st.integers(1, 3), st.floats(0, 40))
@example(KILN_FULL, 1, 0.0)
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
    bowl, tile = unlearnt(a).products
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
        assert {key: np.broadcast_to(value, len(some))[i] for key, value in together.items()} == pytest.approx(
            alone, rel=1e-10, nan_ok=True
        )


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


def test_evaluate_draws_of_one_product_beside_a_certain_one():
    """Orders of bowls in an array, of tiles one number: each element is what it gives alone."""
    orders = np.array([10.0, 200.0])
    together = flat(evaluate(two_products(SEEDED[0] | {"orders_1": orders})))
    for i in range(2):
        alone = flat(evaluate(two_products(SEEDED[0] | {"orders_1": orders[i]})))
        assert {key: np.broadcast_to(v, 2)[i] for key, v in together.items()} == pytest.approx(alone, rel=1e-10, nan_ok=True)


def test_evaluate_integers_equal_floats():
    """Whole numbers of any kind give what the same floats give."""
    whole = {key: int(np.ceil(v)) for key, v in SEEDED[0].items()}
    whole |= {"loss": 0, "fee": 0, "refund": 0, "unsold": 0, "set_aside": 0, "interest": 0}
    as_int = flat(evaluate(two_products(whole)))
    as_array = flat(evaluate(two_products({key: np.array([v, v]) for key, v in whole.items()})))
    as_float = flat(evaluate(two_products({key: float(v) for key, v in whole.items()})))

    assert as_float == pytest.approx(as_int, rel=1e-12, nan_ok=True)
    assert {key: np.broadcast_to(v, 2)[1] for key, v in as_array.items()} == pytest.approx(as_float, rel=1e-12, nan_ok=True)


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
    assert all(np.array_equal(value, first[key], equal_nan=True) for key, value in flat(evaluate(a)).items())


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
