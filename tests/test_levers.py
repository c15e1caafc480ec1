"""Levers of a year and places of a workshop: by hand, and more scrap never pays better."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from workshops_by_hand import (
    BY_HAND,
    KNOB,
    SEEDED,
    SHOP,
    VALUES,
    two_products,
    unlearnt,
    with_product,
    with_step,
)

from casting_econ.models import (
    evaluate,
    longest_wait,
    moved_at,
    rolled_yield,
    with_levers,
)


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
    """Scrap, cure and price of one product leave the other alone; demand moves every channel; none leaves all as it was."""
    a = two_products(SEEDED[1])
    moved = with_levers(a, product="tile", scrap=0.2, cure_hours=40.0, price=2.0, demand=0.5)

    assert moved.products[0] == a.products[0]
    assert rolled_yield([s.pass_share for s in moved.products[1].steps]) == pytest.approx(0.8)
    assert longest_wait(moved, "tile") == ("fire", 40.0)
    assert [c.price for c in moved.channels] == [(1 + (c.product == "tile")) * c.price for c in a.channels]
    assert [c.orders_per_year for c in moved.channels] == [0.5 * c.orders_per_year for c in a.channels]
    assert [c.reference_price for c in moved.channels if c.product == "tile"] == [
        c.price if c.reference_price is None else c.reference_price for c in a.channels if c.product == "tile"
    ]
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
    a = unlearnt(two_products(v | {"hours": 168.0, "places": 1e9, "recovered": 0.0, "elasticity": 0.0}, kilns=5))
    single = replace(a, products=(replace(a.products[0], mould=None),), channels=a.channels[:2])
    less, more = (evaluate(with_levers(single, scrap=scrap)) for scrap in sorted([one, other]))
    assume(more.binding == 0)

    assert more.totals["residual_pay_per_year"] <= less.totals["residual_pay_per_year"] + 1e-6
    assert more.totals["hours_per_year"] >= less.totals["hours_per_year"] - 1e-6
    assert more.products["bowl"]["break_even_price"] >= less.products["bowl"]["break_even_price"] - 1e-6


@pytest.mark.parametrize(
    "call",
    [lambda: with_levers(BY_HAND, product="knbo", scrap=0.3), lambda: longest_wait(BY_HAND, "knbo")],
    ids=["scrap", "wait"],
)
def test_levers_refuse_an_unknown_product(call):
    """A misspelt product is a fault, not a lever that does nothing."""
    with pytest.raises(ValueError, match="knbo"):
        call()
