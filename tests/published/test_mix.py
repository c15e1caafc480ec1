"""Product mix against published examples."""

import numpy as np
import pytest

from casting_econ.models.mix import best_mix


def test_glass_works():
    """3 x + 5 y, x <= 4, 2 y <= 12, 3 x + 2 y <= 18: make 2 and 6 for 36; shadow prices 0, 1.5, 1. Hillier & Lieberman, ch. 3-4, from memory."""
    mix = best_mix([3, 5], [[1, 0], [0, 2], [3, 2]], [4, 12, 18], [np.inf, np.inf])
    assert mix.amounts == pytest.approx([2, 6]) and mix.contribution == pytest.approx(36)
    assert mix.worth_of_resource == pytest.approx([0, 1.5, 1.0])


def test_one_scarce_resource_is_given_by_what_it_brings_an_hour():
    """Margins an hour of bookcase 192, desk 185, chair 110, and 80,000 hours: bookcases first, then desks, then chairs. OpenStax Managerial Accounting, constraint example (B15).

    Demand taken as 40,000, 60,000 and 20,000 hours of each, as the example's order of making implies.
    """
    hours = np.ones((1, 3))
    mix = best_mix([192, 185, 110], hours, [80_000], [40_000, 60_000, 20_000])
    assert mix.amounts == pytest.approx([40_000, 40_000, 0])
    assert mix.worth_of_resource == pytest.approx([185.0]) and mix.worth_of_demand == pytest.approx([7.0, 0.0, 0.0])
    assert best_mix([192, 185, 110], hours, [110_000], [40_000, 60_000, 20_000]).amounts == pytest.approx(
        [40_000, 60_000, 10_000]
    )


def test_a_mix_sold_in_a_fixed_ratio():
    """Mix 3:1, composite margin 22, fixed cost 220,000: 10,000 composites to break even. OpenStax Managerial Accounting (B13)."""
    mix = best_mix([22.0], [[1.0]], [10_000], [np.inf])
    assert mix.contribution == pytest.approx(220_000)
