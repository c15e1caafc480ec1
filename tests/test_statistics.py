"""Control charts, drift, lives, learning and load correlation where there is little or nothing to tell."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from casting_econ.evidence import binomial_limits, fit_learning, kaplan_meier, p_chart, remaining, run_rules, trend, weibull_fit
from casting_econ.models.yields import beta_binomial_logpmf

LOADS = st.lists(st.integers(0, 30).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=1, max_size=12)


# --- control charts ---


@pytest.mark.parametrize(("counts", "centre"), [([0, 0, 0], 0.0), ([8, 8, 8], 1.0)])
def test_p_chart_of_all_good_or_all_bad(counts, centre):
    """Nothing or everything lost: limits are the centre itself, no load stands out, and the scatter cannot be told."""
    chart = p_chart(counts, 8)

    assert chart[["share", "centre", "lower", "upper"]].to_numpy() == pytest.approx(centre)
    assert chart.z.tolist() == [0.0, 0.0, 0.0]
    assert chart.sigma_z.tolist() == [1.0, 1.0, 1.0]
    assert run_rules(chart.z) == []


def test_p_chart_of_one_load():
    """One load is its own centre, with classical limits: .3 and 3 sqrt(.21 / 10) = .4347, cut at 0."""
    chart = p_chart([3], [10])

    assert chart.loc[0].tolist() == pytest.approx([0.3, 0.3, 0.0, 0.7347, 0.0, 1.0], abs=5e-5)


def test_p_chart_leaves_loads_of_zero_out():
    """A load of no pieces has no share, z or limits, and changes nothing for the others."""
    with_zero, without = p_chart([3, 0, 5, 1], [10, 0, 20, 10]), p_chart([3, 5, 1], [10, 20, 10])

    assert with_zero.loc[1, ["share", "lower", "upper", "z"]].isna().all()
    assert with_zero.drop(1).to_numpy() == pytest.approx(without.to_numpy())
    assert p_chart([0, 0], 0)[["share", "centre", "z"]].isna().all(axis=None)
    assert len(p_chart([], [])) == 0


def test_p_chart_without_any_scatter():
    """Equal shares in every load: no scatter, so the limits close on the centre and no load signals."""
    chart = p_chart([2, 2, 4], [10, 10, 20])

    assert (chart.sigma_z[0], chart.lower[0], chart.upper[0]) == pytest.approx((0.0, 0.2, 0.2))
    assert chart.z.tolist() == [0.0, 0.0, 0.0]


@given(LOADS)
def test_p_chart_limits_are_shares_about_the_centre(loads):
    """Limits lie in [0, 1] about the centre, whole numbers equal floats, and the input is not changed."""
    counts, sizes = (np.array(column) for column in zip(*loads))
    chart = p_chart(counts, sizes)
    told = chart[sizes > 0]

    assert ((told.lower >= 0) & (told.lower <= told.centre) & (told.centre <= told.upper) & (told.upper <= 1)).all()
    pd.testing.assert_frame_equal(chart, p_chart(counts.astype(float), sizes.astype(float)))
    assert [tuple(pair) for pair in zip(counts, sizes)] == loads


@pytest.mark.parametrize("function", [p_chart, lambda c, s: trend(c, s, np.arange(len(c)))])
def test_counts_above_sizes_are_refused(function):
    """A load cannot lose more than it holds, nor less than nothing."""
    with pytest.raises(ValueError, match="counts must be at most the sizes; got 9 of 8 at index 1"):
        function([1, 9], 8)
    with pytest.raises(ValueError, match="counts must be at least 0; got -1"):
        function([1, -1], 8)


@given(st.lists(st.floats(-4, 4), max_size=30))
def test_run_rules_do_not_know_up_from_down(z):
    """Turned upside down the same loads signal; each signal lies in its own zone."""
    assert run_rules(z) == run_rules(-np.array(z))
    assert all(abs(z[at]) > 0 for _, at in run_rules(z))


# --- drift ---


@pytest.mark.parametrize(
    ("counts", "sizes", "when"),
    [
        ([0, 0, 0, 0], 10, [1, 2, 3, 4]),  # all good
        ([10, 10, 10, 10], 10, [1, 2, 3, 4]),  # all bad
        ([1, 2], 10, [1, 2]),  # two loads
        ([1, 2, 0], [10, 10, 0], [1, 2, 3]),  # two with pieces
        ([1, 2, 3], 10, [5, 5, 5]),  # all at one time
        ([0, 0, 10, 10], 10, [1, 2, 3, 4]),  # the slope would be infinite
        ([0, 0, 3, 10], 10, [1, 2, 3, 4]),
        ([10, 3, 0], 10, [1, 2, 3]),
        ([], [], []),
    ],
)
def test_trend_is_nan_where_it_cannot_be_told(counts, sizes, when):
    """Not an error, and not a slope either."""
    result = trend(counts, sizes, when)

    assert np.isnan([result.slope, result.error, result.p_value, result.dispersion]).all()


def test_trend_of_equal_shares_is_flat():
    """The same share everywhere: no slope, no scatter, and so no p-value."""
    result = trend([2, 4, 2, 6], [10, 20, 10, 30], [1, 2, 3, 4])

    assert result.slope == pytest.approx(0.0, abs=1e-9)
    assert result.error == pytest.approx(0.0, abs=1e-6)
    assert np.isnan(result.p_value)


@settings(deadline=None)
@given(LOADS, st.integers(0, 5))
@example([(0, 5), (21, 23), (17, 26), (3, 28), (0, 1), (2, 3)], 3)  # the same share on both sides, but for rounding
def test_trend_never_fails_and_turns_with_time(loads, spread):
    """Any loads give numbers or nan; time run backwards turns the sign, another unit of time scales it."""
    counts, sizes = (np.array(column) for column in zip(*loads))
    when = np.arange(len(loads)) // (spread + 1)
    result, backwards, days = (trend(counts, sizes, w) for w in (when, -when, 7.0 * when))

    assert np.isnan(result.slope) == np.isnan(backwards.slope)
    if np.isfinite(result.slope):
        assert backwards.slope == pytest.approx(-result.slope, rel=1e-6, abs=1e-9)
        assert 7 * days.slope == pytest.approx(result.slope, rel=1e-6, abs=1e-9)
        assert result.error >= 0


def test_trend_wants_one_time_a_load():
    """A time for each load, and finite."""
    with pytest.raises(ValueError, match="when must be one finite number for each load"):
        trend([1, 2, 3], 10, [1, 2])
    with pytest.raises(ValueError, match="when must be one finite number for each load"):
        trend([1, 2, 3], 10, [1, 2, np.nan])


# --- lives ---


def test_kaplan_meier_with_ties_by_hand():
    """5 at risk at age 10: two fail, one is only seen: 3/5; the last fails at 20 with another seen there: 3/10."""
    curve = kaplan_meier([10, 10, 10, 20, 20], [1, 1, 0, 1, 0])

    assert curve.events.tolist() == [2, 1] and curve.still_good.tolist() == [1, 1]
    assert curve.survival.tolist() == pytest.approx([0.6, 0.3])


def test_kaplan_meier_at_the_ends():
    """Nothing failed: all survive. One item that failed: none does. No item is no curve."""
    assert kaplan_meier([5, 9], [False, False]).survival.tolist() == [1.0, 1.0]
    assert kaplan_meier([7], [True]).survival.tolist() == [0.0]
    with pytest.raises(ValueError, match="times must hold at least one"):
        kaplan_meier([], [])


@pytest.mark.parametrize(
    ("times", "events"),
    [([5, 9], [0, 0]), ([], []), ([5, 9], [1, 0]), ([9, 9, 9], [1, 1, 1]), ([9, 9, 4], [1, 1, 0])],
)
def test_no_law_of_lives_without_failures_at_two_ages(times, events):
    """None failed, one did, or all at one age that nothing outlived."""
    assert weibull_fit(times, events) is None


@pytest.mark.parametrize(
    ("times", "events", "message"),
    [
        ([0, 9, 4], [1, 1, 0], "times must be above 0"),
        ([5, 9], [2, 0], "events that are true"),
        ([5, np.nan], [1, 1], "times must be above 0"),
    ],
)
def test_weibull_fit_refuses_what_is_no_life(times, events, message):
    """Each fault in words."""
    with pytest.raises(ValueError, match=message):
        weibull_fit(times, events)


def test_weibull_fit_of_equal_failures_that_others_outlived():
    """Two at one age and one beyond is enough; an item not used yet says nothing."""
    fit = weibull_fit([9, 9, 20], [1, 1, 0])

    assert fit[0] > 0
    assert weibull_fit([9, 9, 20, 0], [1, 1, 0, 0]) == fit


@given(st.lists(st.floats(1, 1000), min_size=3, max_size=15, unique=True), st.floats(0.01, 100))
def test_weibull_fit_knows_no_unit(times, unit):
    """Ages in another unit scale the scale and leave the shape."""
    times = np.array(times)
    if np.ptp(np.log(times)) < 0.1:
        return
    events = np.arange(times.size) > 0
    fit, other = weibull_fit(times, events), weibull_fit(unit * times, events)

    assert other[0] == pytest.approx(fit[0], rel=1e-6)
    assert other[1] == pytest.approx(unit * fit[1], rel=1e-6)


def test_remaining_limits():
    """No casts ahead, no chance; wear makes the old likelier to fail; arrays equal scalars; absurd ages fail at once."""
    chance, median = remaining(2.5, 40.0, np.array([0.0, 20.0, 60.0]), 5.0)

    assert (np.diff(chance) > 0).all()
    assert (np.diff(median) < 0).all()
    assert remaining(2.5, 40.0, 20.0, 5.0) == pytest.approx((chance[1], median[1]))
    assert remaining(2.5, 40.0, 20.0, 0.0)[0] == 0.0
    assert remaining(80.0, 40.0, 1e9, 1.0) == (1.0, 0.0)
    assert np.shape(remaining(2.5, 40.0, 1.0, np.zeros(3))[1]) == (3,)


def test_remaining_refuses_what_is_no_life():
    """Shape and scale above zero, ages not below it."""
    for arguments, message in (((0.0, 40.0, 1.0, 1.0), "life shape"), ((2.0, 40.0, -1.0, 1.0), "age")):
        with pytest.raises(ValueError, match=message):
            remaining(*arguments)


# --- learning ---


def test_fit_learning_wants_six_rows():
    """Five rows tell nothing; six do; no row at all tells nothing either."""
    assert fit_learning([10.0] * 5, [5] * 5) is None
    assert fit_learning([10.0], [5]) is None
    assert fit_learning([], []) is None
    assert fit_learning([10, 9, 8, 8, 7, 7], [5] * 6).rows == 6


def test_fit_learning_of_constant_minutes():
    """Always the same: rate 1, no scatter, and the odds of the simpler law, 1 to sqrt(rows)."""
    fit = fit_learning([10] * 9, [5] * 9)

    assert (fit.rate, fit.high, fit.scatter) == pytest.approx((1.0, 1.0, 0.0), abs=1e-6)
    assert (fit.first, fit.practised) == pytest.approx((2.0, 2.0), rel=1e-6)
    assert fit.weight == pytest.approx(1 / (1 + np.sqrt(9)), rel=1e-6)


def test_fit_learning_of_rising_minutes():
    """Minutes that rise are no learning: the rate stays at 1."""
    fit = fit_learning([10, 11, 12, 13, 14, 15, 16], [5] * 7)

    assert (fit.rate, fit.high) == pytest.approx((1.0, 1.0))
    assert fit.weight < 0.5


def test_fit_learning_of_a_fall_beyond_halving():
    """A fall steeper than half a doubling is held at one half."""
    fit = fit_learning(100.0 * np.arange(1, 9) ** -1.6, [1] * 8)

    assert (fit.rate, fit.low) == pytest.approx((0.5, 0.5))


@settings(deadline=None, max_examples=15)
@given(st.lists(st.tuples(st.floats(1, 100), st.integers(1, 20)), min_size=6, max_size=15), st.floats(0, 300))
def test_fit_learning_keeps_its_word(rows, before):
    """Any rows: the rate within its interval within [0.5, 1], practised at most first, weight a probability."""
    minutes, pieces = zip(*rows)
    fit = fit_learning(minutes, pieces, before=before)

    assert 0.5 <= fit.low <= fit.rate + 1e-9 <= fit.high + 2e-9 <= 1 + 2e-9
    assert 0 < fit.practised <= fit.first * (1 + 1e-9)
    assert 0 <= fit.weight <= 1
    assert fit.pieces == sum(pieces)
    hours = fit_learning(np.array(minutes) / 60, pieces, before=before)
    assert (hours.weight, 60 * hours.practised) == pytest.approx((fit.weight, fit.practised), rel=1e-4, abs=1e-4)


@pytest.mark.parametrize(
    ("minutes", "pieces", "message"),
    [
        ([10] * 6, [5] * 5 + [0], "pieces must be above 0; got 0.0 at index 5"),
        ([10] * 5 + [0], [5] * 6, "minutes must be above 0; got 0.0 at index 5"),
        ([10] * 6, [5] * 7, "rows of one length; got 6 and 7"),
    ],
)
def test_fit_learning_refuses_rows_without_work(minutes, pieces, message):
    """A row needs minutes and pieces."""
    with pytest.raises(ValueError, match=message):
        fit_learning(minutes, pieces)


# --- loads that share their fate ---


def test_beta_binomial_logpmf_shapes_and_limits():
    """Scalars give a scalar, arrays broadcast; impossible counts have no chance; an empty load has one outcome."""
    assert np.ndim(beta_binomial_logpmf(1, 3, 0.5, 0.1)) == 0
    assert beta_binomial_logpmf(np.arange(4)[:, None], 3, [0.2, 0.5, 0.9], 0.1).shape == (4, 3)
    assert beta_binomial_logpmf([-1, 4], 3, 0.5, 0.1).tolist() == [-np.inf, -np.inf]
    assert beta_binomial_logpmf(0, 0, 0.5, 0.1) == 0.0
    assert beta_binomial_logpmf([0, 1], 1, [0.0, 1.0], 0.3).tolist() == [0.0, 0.0]
    with pytest.raises(ValueError, match="whole numbers"):
        beta_binomial_logpmf(0.5, 3, 0.5, 0.1)


@given(st.integers(1, 25), st.floats(0, 1), st.floats(0, 0.99))
def test_beta_binomial_chances_sum_to_one(n, share, rho):
    """All counts together are certain."""
    assert np.exp(beta_binomial_logpmf(np.arange(n + 1), n, share, rho)).sum() == pytest.approx(1.0, rel=1e-9)


# --- limits of a share ---


def test_binomial_limits_at_the_ends():
    """No hits start at 0, no misses end at 1, nothing looked at could be anything."""
    assert binomial_limits(0, 5)[0] == 0.0
    assert binomial_limits(5, 5)[1] == 1.0
    assert binomial_limits(0, 0) == (0.0, 1.0)


@given(st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_binomial_limits_hold_the_share(pair):
    """Limits lie in [0, 1] about the share seen, and mirror when hits and misses change places."""
    hits, n = pair
    low, high = binomial_limits(hits, n)
    mirrored = binomial_limits(n - hits, n)

    assert 0.0 <= low <= hits / n <= high <= 1.0
    assert (1 - mirrored[1], 1 - mirrored[0]) == pytest.approx((low, high), abs=1e-9)


def test_binomial_limits_refuse_what_is_no_share():
    """More hits than pieces, and a level that there is not."""
    for arguments, message in (
        ((6, 5), "hits must be at most"),
        ((1, 5, 1.0), "level must be"),
    ):
        with pytest.raises(ValueError, match=message):
            binomial_limits(*arguments)
