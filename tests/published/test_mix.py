"""Product mix against published examples: amounts, contribution, shadow prices, reduced costs."""

import numpy as np
import pytest

from casting_econ.models.mix import best_mix

INF = np.inf
HL = "Hillier & Lieberman, Introduction to Operations Research, ch. 3-4 and 6, from memory"
TAHA = "Taha, Operations Research: An Introduction, ch. 2-3, from memory"
WINSTON = "Winston, Operations Research: Applications and Algorithms, ch. 4 and 6, from memory"
TAYLOR = "Taylor, Introduction to Management Science, ch. 2-3, from memory"
ASW = "Anderson, Sweeney & Williams, An Introduction to Management Science, ch. 2-3, from memory"
OSM = "OpenStax, Principles of Accounting vol. 2 Managerial (2165bf6)"

EXAMPLES = {
    # source, contribution, use, capacity, most, amounts, contribution of all, worth of resources, what an order lacks
    "doors and windows": (HL, [3, 5], [[1, 0], [0, 2], [3, 2]], [4, 12, 18], INF, [2, 6], 36, [0, 1.5, 1], [0, 0]),
    "two paints": (TAHA, [5, 4], [[6, 4], [1, 2]], [24, 6], [INF, 2], [3, 1.5], 21, [0.75, 0.5], [0, 0]),
    "three toys": (
        TAHA,
        [3, 2, 5],
        [[1, 2, 1], [3, 0, 2], [1, 4, 0]],
        [430, 460, 420],
        INF,
        [0, 100, 230],
        1350,
        [1, 2, 0],
        [4, 0, 0],
    ),
    "desk, table, chair": (
        WINSTON,
        [60, 30, 20],
        [[8, 6, 1], [4, 2, 1.5], [2, 1.5, 0.5]],
        [48, 20, 8],
        [INF, 5, INF],
        [2, 0, 8],
        280,
        [0, 10, 10],
        [0, 5, 0],
    ),
    "bowls and mugs": (TAYLOR, [40, 50], [[1, 2], [4, 3]], [40, 120], INF, [24, 8], 1360, [16, 6], [0, 0]),
    "two bags": (
        ASW,
        [10, 9],
        [[7 / 10, 1], [1 / 2, 5 / 6], [1, 2 / 3], [1 / 10, 1 / 4]],
        [630, 600, 708, 135],
        INF,
        [540, 252],
        7668,
        [4.375, 0, 6.9375, 0],
        [0, 0],
    ),
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_product_mix_published(name):
    source, gain, use, capacity, most, amounts, total, worth, lacks = EXAMPLES[name]
    mix = best_mix(gain, use, capacity, most)

    assert mix.amounts == pytest.approx(amounts, abs=1e-9), source
    assert mix.contribution == pytest.approx(total, rel=1e-12), source
    assert mix.worth_of_resource == pytest.approx(worth, abs=1e-9), source
    assert mix.reduced_cost == pytest.approx(lacks, abs=1e-9), source
    assert not mix.others_as_good


def test_a_table_would_be_made_from_its_reduced_cost_on():
    """Reduced cost 5: at 35 a table is worth making, at 34.9 it is not."""
    _, gain, use, capacity, most, *_ = EXAMPLES["desk, table, chair"]

    assert best_mix([gain[0], 34.9, gain[2]], use, capacity, most).amounts[1] == pytest.approx(0, abs=1e-9), WINSTON
    assert best_mix([gain[0], 35.1, gain[2]], use, capacity, most).amounts[1] > 1, WINSTON
    assert best_mix([gain[0], 35.0, gain[2]], use, capacity, most).others_as_good, WINSTON


def test_degenerate_mix_published():
    """3 x + 9 y, x + 4 y <= 8, x + 2 y <= 4: 0 and 2 bring 18, both limits and x = 0 meet there.

    Worths a, b of the limits by hand: 4 a + 2 b = 9 and a + b >= 3, so b lies in 1.5 to 4.5 and a in 0 to 1.5. A
    solver may print any of them.
    """
    mix = best_mix([3, 9], [[1, 4], [1, 2]], [8, 4], INF)

    assert mix.amounts == pytest.approx([0, 2], abs=1e-9) and mix.contribution == pytest.approx(18), TAHA
    assert not mix.others_as_good
    assert mix.worth_of_resource == pytest.approx([0, 1.5], abs=1e-9)


def test_mixes_as_good_published():
    """2 x + 4 y, x + 2 y <= 5, x + y <= 4: all between (0, 2.5) and (3, 1) bring 10."""
    mix = best_mix([2, 4], [[1, 2], [1, 1]], [5, 4], INF)

    assert mix.contribution == pytest.approx(10) and mix.others_as_good, TAHA
    assert mix.amounts[0] + 2 * mix.amounts[1] == pytest.approx(5), TAHA


def test_one_scarce_resource_is_given_by_what_it_brings_an_hour():
    """Margins an hour of bookcase 192, desk 185, chair 110, and 80,000 hours: bookcases first, then desks, then chairs (B15).

    Demand taken as 40,000, 60,000 and 20,000 hours of each, as the example's order of making implies.
    """
    hours = np.ones((1, 3))
    mix = best_mix([192, 185, 110], hours, [80_000], [40_000, 60_000, 20_000])
    assert mix.amounts == pytest.approx([40_000, 40_000, 0]), OSM
    assert mix.worth_of_resource == pytest.approx([185.0]) and mix.worth_of_demand == pytest.approx([7.0, 0.0, 0.0])
    assert best_mix([192, 185, 110], hours, [110_000], [40_000, 60_000, 20_000]).amounts == pytest.approx(
        [40_000, 60_000, 10_000]
    )
