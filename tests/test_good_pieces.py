"""Yields: values by hand, limits and properties."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from casting_econ.models import (
    at_scrap_rate,
    entering_per_good,
    full_sets_per_load,
    good_per_load,
    rolled_yield,
    scrapped_per_good,
)
from casting_econ.models.yields import surviving_share

SHARES = st.lists(st.floats(0.05, 1.0), min_size=1, max_size=6)


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
