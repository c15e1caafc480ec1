"""Casts of an order: values by hand, limits, faults, properties, and independent counts of the same."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from casting_econ.models import (
    casts_by_variant,
    casts_for,
    chance_of,
    counts_from_loads,
    full_sets_per_load,
    good_per_load,
    hours_at_temperature,
    loads_for,
)
from casting_econ.models import counts as counts_module

SHARE = st.floats(0.02, 0.99)
RHO = st.just(0.0) | st.floats(0.005, 0.8)
DRAWS = np.random.default_rng(11)
SHARES, RHOS = DRAWS.beta(40, 8, 64), DRAWS.beta(1, 19, 64)


def convolved(loads, share, rho, set_size=1):
    """Distribution of pieces or sets of the loads by scipy's distributions and plain convolution."""
    result = np.ones(1)
    for load in loads:
        counts = np.arange(load + 1)
        # scipy's beta-binomial has no limit at rho = 0
        law = stats.betabinom(load, share * (1 / rho - 1), (1 - share) * (1 / rho - 1)) if rho else stats.binom(load, share)
        in_sets = np.bincount(counts // set_size, weights=law.pmf(counts))
        result = np.convolve(result, in_sets)
    return result


# --- chance of enough ---


@pytest.mark.parametrize(
    ("casts", "full", "expected"),
    [(36, 14, (14, 14, 8)), (28, 14, (14, 14)), (3, 14, (3,)), (0, 14, ()), (3, 1, (1, 1, 1)), (3.0, 2.0, (2, 1))],
)
def test_loads_for_by_hand(casts, full, expected):
    """Full loads, then the rest; nothing is no load."""
    assert loads_for(casts, full) == expected


@pytest.mark.parametrize(
    ("loads", "share", "rho", "set_size"),
    [
        ((14, 14, 8), 0.83, 0.1, 1),
        ((14, 14, 8), 0.83, 0.0, 6),
        ((72,) * 5, 0.3, 0.02, 1),
        ((5, 14, 5), 0.6, 0.4, 3),
        ((1,) * 40, 0.9, 0.5, 1),
    ],
)
def test_counts_from_loads_equal_plain_convolution(loads, share, rho, set_size):
    """The same distribution by scipy.stats.betabinom and np.convolve, and it sums to 1."""
    found = counts_from_loads(loads, share, rho, set_size)

    assert found.shape == (sum(n // set_size for n in loads) + 1,)
    assert found == pytest.approx(convolved(loads, share, rho, set_size), abs=1e-12)
    assert found.sum() == pytest.approx(1.0, abs=1e-12)
    assert found.min() >= 0.0


def test_counts_from_loads_by_draw_equal_scalars():
    """Row by row what each draw gives alone; whole numbers and floats alike; one correlation serves all draws."""
    found = counts_from_loads((6, 6, 2), SHARES, RHOS)

    assert found.shape == (64, 15)
    for row, share, rho in zip(found, SHARES, RHOS, strict=True):
        assert row == pytest.approx(counts_from_loads((6.0, 6.0, 2.0), share, rho), abs=1e-14)
    assert counts_from_loads((6,), SHARES, 0.1)[3] == pytest.approx(good_per_load(6, SHARES[3], 0.1), abs=1e-14)
    assert counts_from_loads((6,), 0.5, [0.0, 0.1]).shape == (2, 7)


def test_counts_from_loads_limits():
    """No load gives nothing; loads too small for a set give no set; shares 0 and 1 are certain; no correlation pools loads."""
    assert counts_from_loads((), 0.5, 0.1).tolist() == [1.0]
    assert counts_from_loads((3, 3), 0.9, 0.1, set_size=4).tolist() == [1.0]
    assert counts_from_loads((2, 3), [0.0, 1.0], 0.2) == pytest.approx(
        np.array([[1, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 1]]), abs=1e-15
    )
    assert counts_from_loads((4, 7, 2), 0.7, 0.0) == pytest.approx(stats.binom(13, 0.7).pmf(np.arange(14)), abs=1e-14)
    # nearly full correlation: each load all or nothing, so .3 ** 2, 2 x .3 x .7, .7 ** 2 of two loads
    assert counts_from_loads((3, 3), 0.7, 1 - 1e-7)[[0, 3, 6]] == pytest.approx([0.09, 0.42, 0.49], abs=1e-5)


@pytest.mark.parametrize(("load", "size", "rho"), [(14, 6, 0.0), (16, 6, 0.1), (14, 1, 0.3)])
def test_counts_from_loads_mean_is_that_of_full_sets(load, size, rho):
    """Three loads make three times the sets that full_sets_per_load expects of one."""
    found = counts_from_loads((load,) * 3, 0.83, rho, size)

    assert found @ np.arange(found.size) == pytest.approx(3 * full_sets_per_load(load, 0.83, size, rho), rel=1e-12)


def test_chance_of_averages_over_draws():
    """Average of the tails by draw; of two, by hand: .5 x .5 + .5 x .9."""
    tails = counts_from_loads((14, 14, 8), SHARES, RHOS)[:, 28:].sum(axis=1)

    assert chance_of(28, 36, 14, SHARES, RHOS) == pytest.approx(tails.mean(), abs=1e-13)
    assert chance_of(28, 22, 14, SHARES, RHOS, started=(14,)) == pytest.approx(tails.mean(), abs=1e-13)
    assert chance_of(1, 1, 14, [0.5, 0.9], 0.0) == pytest.approx(0.7, abs=1e-14)


def test_chance_of_does_not_depend_on_how_draws_are_parted(monkeypatch):
    """Parts of one draw each give what all draws at once give."""
    whole = chance_of(28, 36, 14, SHARES, RHOS)
    monkeypatch.setattr(counts_module, "_MOST_NUMBERS", 1)

    assert chance_of(28, 36, 14, SHARES, RHOS) == pytest.approx(whole, abs=1e-14)


@pytest.mark.parametrize("share", [0.3, 0.828768, 0.97])
@pytest.mark.parametrize("needed", [1, 12, 60])
def test_chance_of_is_waiting_for_the_last_good_piece(share, needed):
    """Casts until the N-th good are N and scipy's negative binomial: P(casts <= n) = P(good among n >= N)."""
    casts = np.arange(needed, 3 * needed + 20)
    waiting = stats.nbinom(needed, share)

    assert [chance_of(needed, n, 7, share, 0.0) for n in casts.tolist()] == pytest.approx(waiting.cdf(casts - needed), abs=1e-12)
    for confidence in (0.5, 0.9, 0.95, 0.99):
        assert casts_for(needed, confidence, 7, share, 0.0) == needed + waiting.ppf(confidence)


@settings(max_examples=40, deadline=None)
@given(
    st.integers(1, 12),
    st.integers(1, 9),
    st.lists(SHARE, min_size=1, max_size=4),
    RHO,
    st.integers(1, 4),
    st.lists(st.integers(0, 9), max_size=2),
)
def test_chance_of_never_falls_with_one_more_cast(needed, full, shares, rho, size, started):
    """Also in sets, across the end of a load and beside loads already started."""
    chances = np.array([chance_of(needed, n, full, shares, rho, set_size=size, started=started) for n in range(30)])

    assert np.diff(chances).min() >= -1e-12
    assert chances.min() >= 0.0
    assert chances.max() <= 1.0


@settings(max_examples=40, deadline=None)
@given(
    st.integers(1, 8),
    st.floats(0.3, 0.98),
    st.integers(1, 14),
    st.lists(st.floats(0.3, 0.99), min_size=1, max_size=4),
    RHO,
    st.integers(1, 3),
)
def test_casts_for_is_the_fewest_that_is_enough(needed, confidence, full, shares, rho, size):
    """Enough at the number found and short at one less, by scipy's distributions and plain convolution."""
    full = max(full, size)
    casts = casts_for(needed, confidence, full, shares, rho, set_size=size)

    def chance(n):
        return np.mean([convolved(loads_for(n, full), share, rho, size)[needed:].sum() for share in shares])

    assert chance(casts) >= confidence - 1e-9
    assert chance(casts - 1) < confidence + 1e-9


def test_casts_for_limits():
    """Perfect casts, nothing needed, enough started, a chance of exactly the confidence, hopeless draws beside good ones."""
    assert casts_for(28, 0.95, 14, 1.0, 0.2) == 28
    assert casts_for(3, 0.95, 14, 1.0, 0.2, set_size=6) == 14 + 6  # two sets of a load of 14, a third of another
    assert casts_for(0, 0.95, 14, 0.5, 0.0) == 0
    assert casts_for(5, 0.95, 14, 1.0, 0.0, started=(3, 2)) == 0
    assert casts_for(5, 0.95, 14, 1.0, 0.0, started=(3,)) == 2
    assert casts_for(1, 0.75, 1, 0.5, 0.0) == 2  # 1 - .5 ** 2
    # a tenth of the draws gives one good in 1,000: half of them by 693 casts, log(.5) / log(.999), 600 of them started
    assert casts_for(1, 0.95, 14, [0.001] + [1.0] * 9, 0.0, started=(600,)) == 93
    assert casts_for(1, 0.9, 14, [0.0] + [1.0] * 9, 0.0) == 1
    assert casts_for(1, 0.5, 14, 0.8, 1 - 1e-8) == 1


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            (28, 0.95, 14, [0.0] + [0.8] * 9, 0.0),
            r"confidence 0.95 for 28 good pieces is more than 1,755 casts can give; .* 0.9 or less",
        ),
        ((28, 0.99, 14, [0.018] + [0.8] * 9, 0.0), r"more than 1,751 casts can give; their chance is 0.9761 or less"),
        ((28, 0.95, 14, 0.0, 0.0), "good share must be above 0 in some draw"),
        ((28, 1.0, 14, 0.8, 0.0), "confidence must be above 0 and at most 1; got 1.0"),
        ((28, 0.95, 0, 0.8, 0.0), "casts per load must be at least 1; got 0"),
        ((28.5, 0.95, 14, 0.8, 0.0), "needed must be a whole number; got 28.5"),
        (([28], 0.95, 14, 0.8, 0.0), r"needed must be one whole number; got an array of shape \(1,\)"),
        ((28, 0.95, 14, 1.2, 0.0), "good share must be at least 0 and at most 1; got 1.2"),
        ((28, 0.95, 14, 0.8, 1.0), "load correlation must be at least 0 and at most 1; got 1.0"),
        (
            (28, 0.95, 14, [[0.8]], 0.0),
            r"good share and load correlation must be numbers or one array of draws; got shape \(1, 1\)",
        ),
        ((28, 0.95, 14, float("nan"), 0.0), "good share must be at least 0 and at most 1; got nan"),
    ],
)
def test_casts_for_refuses(arguments, message):
    """Each fault says what, how far, and what arrived."""
    with pytest.raises(ValueError, match=message):
        casts_for(*arguments)


def test_sets_refuse():
    """A load that never holds a set; a broken load."""
    with pytest.raises(ValueError, match="casts per load must be at least the set size of 6, whose pieces match; got 4"):
        casts_for(1, 0.95, 4, 0.8, 0.0, set_size=6)
    with pytest.raises(ValueError, match="load must be at least 0; got -1"):
        counts_from_loads((3, -1), 0.5, 0.0)
    with pytest.raises(ValueError, match="set size must be at least 1; got 0"):
        counts_from_loads((3,), 0.5, 0.0, 0)


# --- several variants ---


def test_casts_by_variant_of_one_is_casts_for():
    """One variant, also in sets and over draws; variants of which none is wanted add nothing."""
    for size, needed in ((1, 28), (6, 3)):
        casts = casts_for(needed, 0.95, 14, SHARES, RHOS, set_size=size)
        assert casts_by_variant((needed,), 0.95, 14, SHARES, RHOS, size) == (
            (casts,),
            pytest.approx(chance_of(needed, casts, 14, SHARES, RHOS, set_size=size), abs=1e-12),
        )
    assert casts_by_variant((0, 28, 0), 0.95, 14, SHARES, RHOS)[0] == (0, casts_for(28, 0.95, 14, SHARES, RHOS), 0)
    assert casts_by_variant((0, 0), 0.95, 14, 0.8, 0.0) == ((0, 0), 1.0)


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
@pytest.mark.parametrize(
    ("needed", "share", "rho"), [((6, 3), 0.8, 0.0), ((4, 4, 1), 0.6, 0.0), ((5, 2), 0.85, 0.1), ((3, 3), SHARES[:6], RHOS[:6])]
)
def test_casts_by_variant_takes_the_fewest_in_all(needed, share, rho, confidence):
    """No combination of fewer casts in all is enough: every one of them tried, by plain convolution."""
    casts, chance = casts_by_variant(needed, confidence, 6, share, rho)
    most, draws = sum(casts), list(np.broadcast(share, rho))
    tails = [np.array([[convolved(loads_for(n, 6), *draw)[k:].sum() for draw in draws] for n in range(most + 1)]) for k in needed]

    def joint(tried):
        return np.prod([tail[n] for tail, n in zip(tails, tried, strict=True)], axis=0).mean()

    assert chance >= confidence
    assert chance == pytest.approx(joint(casts), abs=1e-12)
    fewer = [tried for tried in itertools.product(*(range(k, most) for k in needed)) if sum(tried) < most]
    assert max(joint(tried) for tried in fewer) < confidence


@pytest.mark.parametrize(
    ("needed", "confidence", "full", "share", "rho", "size"),
    [((3, 2), 0.8, 7, 0.65, 0.1, 4), ((3, 3), 0.9, 5, 0.67, 0.1, 2), ((2, 1), 0.95, 8, 0.9, 0.0, 5)],
)
def test_casts_by_variant_takes_the_fewest_in_sets(needed, confidence, full, share, rho, size):
    """Where single casts in a load too small for a set raise nothing: no combination of fewer casts in all is enough."""
    casts, chance = casts_by_variant(needed, confidence, full, share, rho, size)
    most = sum(casts)
    first, second = (
        np.array([convolved(loads_for(n, full), share, rho, size)[k:].sum() for n in range(most + 1)]) for k in needed
    )

    assert chance == pytest.approx(first[casts[0]] * second[casts[1]], abs=1e-12)
    assert chance >= confidence
    assert max(first[n] * second[: most - n].max() for n in range(most)) < confidence


def test_casts_by_variant_agrees_with_direct_simulation():
    """A share drawn for all, then a share for each load, then each cast: within four standard errors; above the product."""
    needed, trials, rng = (9, 6), 100_000, np.random.default_rng(5)
    shares, rho = np.array([0.6, 0.75, 0.9]), 0.15
    casts, chance = casts_by_variant(needed, 0.9, 8, shares, rho)
    share = rng.choice(shares, trials)
    met = np.ones(trials, bool)
    for wanted, n in zip(needed, casts, strict=True):
        loads = loads_for(n, 8)
        of_load = rng.beta((share * (1 / rho - 1))[:, None], ((1 - share) * (1 / rho - 1))[:, None], (trials, len(loads)))
        met &= rng.binomial(loads, of_load).sum(axis=1) >= wanted

    assert chance >= 0.9
    assert abs(met.mean() - chance) < 4 * np.sqrt(chance * (1 - chance) / trials)
    assert chance > chance_of(9, casts[0], 8, shares, rho) * chance_of(6, casts[1], 8, shares, rho) + 0.003


def test_casts_by_variant_with_own_loads_is_the_cautious_side():
    """Two loads shared half and half by both variants, against two loads of half the size for each: simulated, shared is surer."""
    trials, rng, share, rho = 100_000, np.random.default_rng(6), 0.8, 0.3
    a, b = share * (1 / rho - 1), (1 - share) * (1 / rho - 1)
    of_load = rng.beta(a, b, (trials, 2))
    both = [rng.binomial(7, of_load).sum(axis=1) >= 10 for _ in range(2)]
    shared = (both[0] & both[1]).mean()
    own = chance_of(10, 14, 7, share, rho) ** 2

    assert shared - own > 4 * np.sqrt(shared * (1 - shared) / trials)


def test_casts_by_variant_in_sets_crosses_loads():
    """Perfect casts, loads of 8, sets of 5: one set a load, so 2 and 1 sets are loads of 8 + 5 and of 5."""
    assert casts_by_variant((2, 1), 0.95, 8, 1.0, 0.0, set_size=5) == ((13, 5), pytest.approx(1.0))
    casts, chance = casts_by_variant((2, 1), 0.95, 8, 0.9, 0.0, set_size=5)
    assert chance >= 0.95
    assert all(n % 8 == 0 or n % 8 >= 5 for n in casts)  # no cast in a load too small for a set


@pytest.mark.parametrize(
    ("needed", "confidence", "share", "message"),
    [
        ((9, 9), 0.95, [0.0] + [0.8] * 9, "confidence 0.95 for 9 good pieces"),
        (
            (11, 11),
            0.959,
            [0.0] * 4 + [0.02] + [0.8] * 95,
            r"confidence 0.959 for 11 \+ 11 good pieces is more than 1,\d+ casts can give",
        ),
        ((9, -1), 0.95, 0.8, "needed must be at least 0; got -1"),
    ],
)
def test_casts_by_variant_refuses(needed, confidence, share, message):
    """Where no number tried is enough for one, or for one but not for all together, it says so."""
    with pytest.raises(ValueError, match=message):
        casts_by_variant(needed, confidence, 14, share, 0.0)


def test_a_ruined_load_gives_nothing_whatever_its_pieces():
    """Two loads of three, one in five ruined, against every outcome written out."""
    alone = counts_from_loads((3,), 0.8, 0.1)
    by_hand = np.zeros(7)
    for first, second in itertools.product((True, False), repeat=2):
        chance = (0.8 if first else 0.2) * (0.8 if second else 0.2)
        by_hand += chance * np.pad(np.convolve(alone if first else [1.0, 0, 0, 0], alone if second else [1.0, 0, 0, 0]), (0, 0))
    assert counts_from_loads((3, 3), 0.8, 0.1, ruined=0.2) == pytest.approx(by_hand, abs=1e-12)
    assert chance_of(4, 6, 3, [0.8, 0.8], 0.1, ruined=0.2) == pytest.approx(by_hand[4:].sum(), abs=1e-12)
    assert casts_for(4, 0.9, 3, 0.8, 0.1, ruined=0.2) > casts_for(4, 0.9, 3, 0.8, 0.1)
    assert casts_by_variant((4, 2), 0.8, 3, 0.8, 0.1, ruined=0.2)[0] >= casts_by_variant((4, 2), 0.8, 3, 0.8, 0.1)[0]
    with pytest.raises(ValueError, match="ruined"):
        chance_of(1, 1, 1, 0.8, 0.0, ruined=1.0)


def test_hours_at_temperature_by_hand():
    """Ten cooler doubles, ten warmer halves; factor 1 changes nothing; there and back again; vector equals scalar."""
    assert [hours_at_temperature(24, 23, t) for t in (23, 13, 33, 3)] == pytest.approx([24, 48, 12, 96])
    assert hours_at_temperature(24, 23, 5, factor=1) == 24
    assert hours_at_temperature(hours_at_temperature(24, 23, 16.3, 1.7), 16.3, 23, 1.7) == pytest.approx(24)
    assert hours_at_temperature([24, 6], 23, [13, 33], 2) == pytest.approx([48, 3])
    for arguments, message in (
        ((-1, 23, 20), "hours"),
        ((1, 23, -300), "temperature"),
        ((1, 23, 20, 0.5), "factor must be at least 1"),
    ):
        with pytest.raises(ValueError, match=message):
            hours_at_temperature(*arguments)
