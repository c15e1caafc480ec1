"""Every function of the models: arrays, integers, lists, and what each fault says."""

from dataclasses import replace

import numpy as np
import pytest
from workshops_by_hand import BY_HAND, KNOB, with_channel, with_product, with_step

from casting_econ.models import (
    Overhead,
    at_scrap_rate,
    cheapest_replacement_age,
    entering_per_good,
    evaluate,
    expected_casts,
    full_sets_per_load,
    good_per_load,
    learning_exponent,
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
from casting_econ.models.moulds import mean_to_scale
from casting_econ.models.yields import surviving_share

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
