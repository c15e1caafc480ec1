"""The models of an order afterwards: parts of a difference, and what a piece and equipment are charged, by hand."""

from decimal import Decimal
from math import factorial

import numpy as np
import pytest

from casting_econ.models.money import charged_by_use, straight_line
from casting_econ.models.projects import bridge, in_digits, piece_by_division


def test_parts_of_a_difference_are_the_mean_over_all_orders_of_changing():
    """Each part is the mean of its step over all n! orders, worked out one order after the other (own arithmetic)."""
    from itertools import permutations

    rng = np.random.default_rng(3)
    before, after = (dict(zip("abcd", rng.uniform(1, 9, 4), strict=True)) for _ in range(2))

    def work(v):
        return v["a"] * v["b"] / v["c"] - v["d"] ** 2

    means = dict.fromkeys(before, 0.0)
    for order in permutations(before):
        state = dict(before)
        for cause in order:
            was = work(state)
            state[cause] = after[cause]
            means[cause] += (work(state) - was) / factorial(4)
    parts = bridge(work, before, after)
    assert parts == pytest.approx(means) and sum(parts.values()) == pytest.approx(work(after) - work(before), abs=1e-12)
    assert bridge(work, before, before) == dict.fromkeys(before, 0.0)
    with pytest.raises(ValueError, match="same in both"):
        bridge(work, before, {"a": 1.0})


def test_rounded_parts_add_up_to_the_rounded_total():
    """As decimals, whatever is rounded away; the largest part takes it. No parts at all stay none."""
    rng = np.random.default_rng(5)
    for _ in range(500):
        parts = dict(zip("abcdef", rng.normal(0, 10, 6), strict=True))
        found = in_digits(parts, sum(parts.values()), 4)
        total = Decimal(repr(float(sum(parts.values())))).quantize(Decimal("0.0001"))
        assert sum(Decimal(repr(part)) for part in found.values()) == total
        assert all(abs(found[name] - parts[name]) < 4e-4 for name in parts)
    assert in_digits({}, 0.0, 2) == {}


def test_a_stated_wage_over_pieces():
    """155 h at 7.25 and 850 of outlay over 280 pieces are 7.05 a piece, 160 h make 7.18 (common practice, no source)."""
    assert [round(piece_by_division(850, hours, 7.25, 280), 2) for hours in (155, 160)] == [7.05, 7.18]
    with pytest.raises(ValueError, match="pieces"):
        piece_by_division(850, 155, 7.25, 0)


def test_equipment_is_never_charged_more_than_it_loses():
    """At the end of its life and beyond all but the resale is gone, and a resale above the price charges nothing."""
    assert charged_by_use(300, 60, 100, 100) == charged_by_use(300, 60, 100, 1e6) == 240
    assert straight_line(300, 60, 2, 2) == pytest.approx(240) == straight_line(300, 60, 2, 1e6)
    assert charged_by_use(300, 400, 100, 50) == straight_line(300, 400, 2, 0.3) == 0
