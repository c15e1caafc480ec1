"""Moulds, lots and supplies of an order: values by hand, limits, faults, properties, and independent counts of the same."""

import itertools
from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from casting_econ.models import (
    cheapest_lots,
    cheapest_packs,
    expected_casts,
    good_per_load,
    load_cost,
    mixed_masses,
    moulds_worn,
)
from casting_econ.models import lots as lots_module
from casting_econ.models.moulds import mean_to_scale

# --- moulds of an order ---


@pytest.mark.parametrize("sets", [1, 3])
@pytest.mark.parametrize("age", [0, 17])
def test_moulds_worn_without_memory_is_casts_over_mean_life(sets, age):
    """Shape 1: the renewal function is t / mean exactly, at any age."""
    assert moulds_worn(90, sets, 30.0, 1.0, age) == pytest.approx(3.0, rel=2e-4)  # of sums on whole casts


@pytest.mark.parametrize("casts", [10, 17, 18, 19, 30, 35, 36])
def test_moulds_worn_without_memory_and_replaced_at_18(casts):
    """Lives of mean 20 without memory wear at 1 / 20 a cast; replaced too are those 18 casts after the last change, worn or not.

    By hand: e = exp(-18 / 20) reach 18 from new at 18, then e / 20 a cast from those worn, and e ** 2 at 36.
    """
    e = np.exp(-18 / 20)
    planned = (casts >= 18) * e * (1 + (casts - 18) / 20) + (casts == 36) * e**2

    trapezoid = (1 / 20) ** 2 / 12  # relative error of the sum over whole casts, from step and mean life
    assert moulds_worn(casts, 1, 20.0, 1.0, replace_at=18) == pytest.approx(casts / 20 + planned, rel=1.01 * trapezoid)


@pytest.mark.parametrize(
    ("loads", "sets", "age", "expected"),
    [
        (34, 1, 0, 0), (35, 1, 0, 1), (69, 1, 0, 1), (70, 1, 0, 2), (5, 1, 30, 1), (4, 1, 30, 0), (40, 1, 30, 2), (1, 1, 35, 1),
        (0, 1, 35, 0), (11, 3, [31, 31, 32], 3), (10, 3, [31, 31, 32], 2), (2, 3, [40, 0, 40], 1),
    ],
)  # fmt: skip
def test_moulds_worn_counts_planned_replacements(loads, sets, age, expected):
    """Moulds that never wear out, replaced at 35: counted on fingers, round over the sets; one due already is replaced at first use."""
    assert moulds_worn(loads, sets, 1e9, 2.5, age, replace_at=35) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("age", "replace_at"), [(0, None), (12, None), (0, 18), (12, 18)])
def test_moulds_worn_agrees_with_direct_simulation(age, replace_at):
    """Lives drawn one after another until 50 casts are past: within four standard errors and the error of whole casts."""
    trials, rng, mean, shape, casts = 40_000, np.random.default_rng(7), 20.0, 2.5, 50
    scale, limit = mean_to_scale(mean, shape), replace_at or np.inf
    first = scale * ((age / scale) ** shape + rng.exponential(size=trials)) ** (1 / shape)  # given that it reached its age
    gone, worn = np.minimum(first, limit) - age, np.zeros(trials)
    while np.any(gone <= casts):
        worn += gone <= casts
        gone += np.minimum(scale * rng.weibull(shape, trials), limit)

    found = moulds_worn(casts, 1, mean, shape, age, replace_at)
    assert abs(worn.mean() - found) < 4 * worn.std() / np.sqrt(trials) + 1e-3


def test_moulds_worn_in_the_long_run_is_casts_over_expected_casts():
    """Elementary renewal theorem, between two distant moments, with a replacement age too."""
    for replace_at in (None, 25.0):
        rate = (
            moulds_worn(900, 1, 30.0, 2.5, replace_at=replace_at) - moulds_worn(600, 1, 30.0, 2.5, replace_at=replace_at)
        ) / 300
        assert rate == pytest.approx(1 / expected_casts(30.0, 2.5, replace_at), rel=1e-3)


def test_moulds_worn_early_is_the_life_distribution():
    """Long before the mean life hardly any set is worn twice: 1 - exp(-(t / scale) ** shape), of old ones given their age."""
    scale = mean_to_scale(100.0, 3.0)

    assert moulds_worn(10, 1, 100.0, 3.0) == pytest.approx(1 - np.exp(-((10 / scale) ** 3)), rel=2e-4)
    assert moulds_worn(10, 1, 100.0, 3.0, 90) == pytest.approx(1 - np.exp((90 / scale) ** 3 - (100 / scale) ** 3), rel=2e-4)


def test_moulds_worn_vectors_and_sets_add_up():
    """Lives by draw equal scalars; sets of different ages add up; older sets wear out sooner."""
    lives, shapes = np.array([20.0, 35.0, 50.0]), np.array([1.5, 2.5, 4.0])
    found = moulds_worn(61, 2, lives, shapes, [3, 20], replace_at=40)

    assert found == pytest.approx([moulds_worn(61, 2, m, s, [3, 20], 40) for m, s in zip(lives, shapes, strict=True)], rel=1e-12)
    assert found == pytest.approx(moulds_worn(31, 1, lives, shapes, 3, 40) + moulds_worn(30, 1, lives, shapes, 20, 40), rel=1e-12)
    assert np.all(np.diff([moulds_worn(20, 1, 35.0, 2.5, age) for age in range(0, 60, 5)]) > 0)
    assert moulds_worn(61, 2, 35, 2.5, replace_at=np.inf) == moulds_worn(61, 2, 35.0, 2.5)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((5, 0, 35, 2.5), "sets of moulds must be at least 1; got 0"),
        ((5, 2, 35, 2.5, [1, 2, 3]), r"age must be one number or one for each of 2 sets; got shape \(3,\)"),
        ((5, 2, 0, 2.5), "mean life must be above 0; got 0"),
        ((5, 2, 35, 2.5, 0, 0), "replacement age must be above 0; got 0"),
        ((5.5, 2, 35, 2.5), "loads must be a whole number; got 5.5"),
    ],
)
def test_moulds_worn_refuses(arguments, message):
    """Each fault by name."""
    with pytest.raises(ValueError, match=message):
        moulds_worn(*arguments)


# --- lots ---


def every_policy(needed, rounds, share, setup, unit, penalty, leftover, most):
    """Least expected cost over all policies of up to `most` casts a lot, each policy weighed outcome by outcome.

    A policy names a lot for every (rounds left, still needed); nothing is taken from the programme tested.
    """
    states = [(r, k) for r in range(1, rounds + 1) for k in range(1, needed + 1) if r < rounds or k == needed]

    def weigh(policy, r, k):
        if k <= 0:
            return -leftover * -k, 1.0
        if r == 0:
            return penalty[k - 1], 0.0
        q = policy[r, k]
        money, met = (setup + unit * q if q else 0.0), 0.0
        for good in range(q + 1):
            p = comb(q, good) * share**good * (1 - share) ** (q - good)
            rest = weigh(policy, r - 1, k - good)
            money, met = money + p * rest[0], met + p * rest[1]
        return money, met

    found = []
    for lots in itertools.product(range(most + 1), repeat=len(states)):
        policy = dict(zip(states, lots, strict=True))
        found.append((*weigh(policy, rounds, needed), policy[rounds, needed]))
    return found


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from([(1, 1), (1, 2), (1, 3), (2, 1), (2, 2)]),
    st.floats(0.1, 0.95),
    st.integers(0, 8),
    st.integers(1, 6),
    st.lists(st.floats(0, 1), min_size=2, max_size=2),
    st.floats(0, 0.9),
)
def test_cheapest_lots_equals_every_policy(size, share, setup, unit, shares_of_penalty, leftover):
    """All policies enumerated: the same least cost, the same cheapest first lots, the chance of one of the cheapest."""
    needed, rounds = size
    leftover *= unit  # below what a cast costs, so that a lot of five, dearer than the penalty, is never cheapest
    penalty = [5 * (unit - leftover) * part for part in sorted(shares_of_penalty)]
    plan = cheapest_lots(
        needed, rounds, lambda q: good_per_load(q, share), load_cost(setup, unit, 10_000), lambda k: penalty[k - 1], leftover
    )
    found = every_policy(needed, rounds, share, setup, unit, penalty, leftover, 4)
    least = min(money for money, _, _ in found)

    assert plan.expected_cost == pytest.approx(least, rel=1e-9, abs=1e-9)
    best = [(met, first) for money, met, first in found if money <= least + 1e-7]
    assert set(plan.first) <= {first for _, first in best}
    assert min(abs(met - plan.chance_met) for met, first in best if first == plan.first[0]) < 1e-9
    assert {first for money, _, first in found if money <= least * (1 + 1e-12)} <= set(plan.first)


def test_cheapest_lots_looks_far_enough():
    """A dear penalty calls for many casts: the least over 0 to 200 in each round, one state after another, by scipy's binomial."""
    share, unit, setup, full = 0.4, 1.0, 7.0, 12
    plan = cheapest_lots(6, 3, lambda q: good_per_load(q, share), load_cost(setup, unit, full), lambda k: 5000.0 * k, 0.3)
    value = {(0, k): 5000.0 * k for k in range(1, 7)}
    chances = [stats.binom(q, share).pmf(np.arange(q + 1)) for q in range(201)]
    for r in range(1, 4):
        for k in range(1, 7):
            totals = []
            for q, p in enumerate(chances):
                good = np.arange(q + 1)
                rest = sum(p[g] * value[r - 1, k - g] for g in range(min(k, q + 1)))
                totals.append(setup * np.ceil(q / full) + unit * q + rest - 0.3 * (p @ np.maximum(good - k, 0)))
            value[r, k] = min(totals)
            assert plan.table[r, k][0] == pytest.approx(value[r, k], rel=1e-9)
            assert plan.table[r, k][1] == tuple(np.flatnonzero(np.array(totals) <= value[r, k] * (1 + 1e-9)))
    assert plan.expected_cost == plan.table[3, 6][0]
    assert plan.first == plan.table[3, 6][1]


def test_cheapest_lots_by_hand():
    """Half good, 1 a cast, 10 if short, one round: q + 10 / 2 ** q is 4.5 at 2, 4.25 at 3, 4.625 at 4."""
    plan = cheapest_lots(1, 1, lambda q: good_per_load(q, 0.5), load_cost(0.0, 1.0, 10_000), lambda short: 10.0)

    assert (plan.expected_cost, plan.first, plan.chance_met) == (pytest.approx(4.25), (3,), pytest.approx(0.875))
    # a piece left over brings .5: 3 casts leave (3 x 1/8 - 1 + 1/8 ... ) E(g - 1)+ = 1.5 - 7/8 = .625; 4 leave 2 - 15/16 = 1.0625
    with_value = cheapest_lots(1, 1, lambda q: good_per_load(q, 0.5), load_cost(0.0, 1.0, 10_000), lambda short: 10.0, 0.5)
    assert with_value.expected_cost == pytest.approx(min(4.25 - 0.3125, 4.625 - 0.53125))
    assert with_value.first == (3,)


def test_cheapest_lots_limits():
    """Nothing is started for a penalty that costs nothing; perfect casts are started once, now or later; more rounds never cost more."""
    half = lambda q: good_per_load(q, 0.5)  # noqa: E731
    nothing = cheapest_lots(3, 2, half, load_cost(1.0, 1.0, 10_000), lambda short: 0.0)
    perfect = cheapest_lots(3, 2, lambda q: good_per_load(q, 1.0), load_cost(1.0, 2.0, 10_000), lambda short: 100.0)
    costs = [
        cheapest_lots(3, r, half, load_cost(4.0, 1.0, 10_000), lambda short: 30.0 * short).expected_cost for r in range(1, 6)
    ]

    assert (nothing.expected_cost, nothing.first, nothing.chance_met) == (0.0, (0,), 0.0)
    assert (perfect.expected_cost, perfect.first, perfect.chance_met) == (7.0, (0, 3), 1.0)  # now or in the last round
    assert costs == sorted(costs, reverse=True)
    assert costs[0] > costs[1]


def test_load_cost_by_hand():
    """36 casts by 14 are three set-ups; by default one a lot."""
    assert [load_cost(6, 1.5, 14)(n) for n in (0, 1, 14, 15, 36)] == [0.0, 7.5, 27.0, 34.5, 72.0]
    assert [load_cost(6, 1.5, 10_000)(n) for n in (0, 1, 36)] == [0.0, 7.5, 60.0]


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"needed": 0}, "needed must be at least 1; got 0"),
        ({"rounds": 0}, "rounds must be at least 1; got 0"),
        ({"leftover_value": 2.0}, "one cast more than 1 must cost more than it can bring as a piece left over"),  # .5 x 2 = 1
        ({"cost": lambda q: 5.0}, "one cast more than 1 must cost more"),
        ({"cost": lambda q: -1.0}, "cost of 1 casts must be at least 0; got -1.0"),
        ({"penalty": lambda k: -1.0}, "penalty must be at least 0; got -1.0"),
        (
            {"outcome": lambda q: np.full(q + 1, 0.4)},
            "outcome of 1 casts must be the chances of 0 to 1 good pieces, which sum to 1",
        ),
        ({"outcome": lambda q: np.ones(1)}, "outcome of 1 casts must be"),
        ({"outcome": lambda q: np.array([1.5] + [0.0] * (q - 1) + [-0.5])}, "outcome of 1 casts must be"),
    ],
)
def test_cheapest_lots_refuses(changed, message):
    """Each fault by name, and no search without an end."""
    sound = {
        "needed": 1,
        "rounds": 2,
        "outcome": lambda q: good_per_load(q, 0.5),
        "cost": load_cost(1, 1, 10_000),
        "penalty": lambda k: 9.0,
    }
    with pytest.raises(ValueError, match=message):
        cheapest_lots(**(sound | changed))


def test_cheapest_lots_ends_a_search_too_long(monkeypatch):
    """Casts that cost next to nothing beside a vast penalty and hardly ever succeed: an error, not an hour."""
    monkeypatch.setattr(lots_module, "_MOST_CASTS", 50)
    with pytest.raises(
        ValueError, match="cheapest lots must be found within 50 casts; the casts cost too little beside the penalty"
    ):
        cheapest_lots(1, 1, lambda q: good_per_load(q, 0.001), load_cost(0, 0.01, 10_000), lambda short: 1e9)


@pytest.mark.parametrize(
    ("arguments", "message"), [((-1, 1, 9), "set-up"), ((1, 0, 9), "unit cost must be above 0"), ((1, 1, 0), "casts per load")]
)
def test_load_cost_refuses(arguments, message):
    """No negative set-up, no free cast, no load of nothing."""
    with pytest.raises(ValueError, match=message):
        load_cost(*arguments)


# --- supplies ---


def test_mixed_masses_by_hand():
    """2:1 by volume of 300 ml at 1.13 and .98 g/ml: 226 and 98 g; 2:1 by mass of 300 g: 200 g are 200 / 1.13 ml."""
    masses, volumes = mixed_masses(300, (2, 1), (1.13, 0.98), by="volume")
    assert (masses.tolist(), volumes.tolist()) == (pytest.approx([226.0, 98.0]), pytest.approx([200.0, 100.0]))
    masses, volumes = mixed_masses(300, (2, 1), (1.13, 0.98), by="mass")
    assert (masses.tolist(), volumes.tolist()) == (pytest.approx([200.0, 100.0]), pytest.approx([176.99115, 102.04082]))


@given(
    st.lists(st.tuples(st.floats(0.1, 100), st.floats(0.5, 8)), min_size=1, max_size=4),
    st.lists(st.floats(0, 1e4), min_size=1, max_size=3),
)
def test_mixed_masses_add_up_and_turn_round(components, amounts):
    """Volumes add up to the amount; the masses found, taken as a ratio by mass, give the same volumes; vector equals scalar."""
    parts, densities = map(list, zip(*components, strict=True))
    masses, volumes = mixed_masses(amounts, parts, densities, by="volume")

    assert masses.shape == (len(parts), len(amounts))
    assert volumes.sum(axis=0) == pytest.approx(amounts, rel=1e-12)
    by_mass = np.array(parts) * densities
    for i, amount in enumerate(amounts):
        again = mixed_masses(masses[:, i].sum(), by_mass, densities, by="mass")
        assert again[0] == pytest.approx(masses[:, i], rel=1e-9)
        assert again[1] == pytest.approx(volumes[:, i], rel=1e-9)
        assert mixed_masses(amount, parts, densities, by="volume")[0] == pytest.approx(masses[:, i], rel=1e-12)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((1, (2, 1), (1.1, 1.0), "weight"), "a mix is by 'volume' or by 'mass'; got 'weight'"),
        ((1, (2, 1), (1.1,), "mass"), "parts and densities must be one of each a component; got 2 and 1"),
        ((1, (2, 0), (1.1, 1.0), "mass"), "parts must be above 0; got 0.0 at index 1"),
        ((1, (2, 1), (1.1, 0.0), "mass"), "densities must be above 0; got 0.0 at index 1"),
        ((-1, (2, 1), (1.1, 1.0), "mass"), "amount must be at least 0; got -1.0"),
    ],
)
def test_mixed_masses_refuse(arguments, message):
    """Each fault by name."""
    with pytest.raises(ValueError, match=message):
        mixed_masses(*arguments)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 4000), st.integers(0, 3000)), min_size=1, max_size=3),
    st.integers(0, 12_000),
    st.sampled_from([1, 100, 7]),
)
def test_cheapest_packs_equal_every_combination(packs, hundredths, per):
    """Every combination tried in whole numbers: the same least cost, and enough in the packs."""
    sizes, prices = [size for size, _ in packs], [price for _, price in packs]
    sizes = [max(size, 1 + hundredths // 8) for size in sizes]  # at most eight of a kind
    counts, cost = cheapest_packs(hundredths / per, [size / per for size in sizes], [price / 100 for price in prices])
    enough = [
        tried
        for tried in itertools.product(*(range(-(-hundredths // size) + 1) for size in sizes))
        if np.dot(tried, sizes) >= hundredths
    ]

    assert np.dot(counts, sizes) >= hundredths
    assert cost == pytest.approx(min(np.dot(tried, prices) for tried in enough) / 100, abs=1e-9)
    assert cost == pytest.approx(np.dot(counts, prices) / 100, abs=1e-9)


@pytest.mark.parametrize("over", [1e-5, 1e-6, 1e-7, 1e-8, 1e-9])
def test_cheapest_packs_are_never_short_by_the_tolerance(over):
    """A hair more than three packs needs a fourth, though the solver's tolerance would let it pass; less than a trillionth is noise."""
    assert cheapest_packs(3 * 453.59237 * (1 + over), (453.59237,), (8.0,)) == ((4,), 32.0)
    assert cheapest_packs(3 * 453.59237 * (1 + 1e-15), (453.59237,), (8.0,)) == ((3,), 24.0)
    sizes = (np.pi, np.e, 1.7320508)  # with no common measure that is not far finer than the tolerance
    need = np.dot((2, 1, 3), sizes) * (1 + over)
    assert np.dot(cheapest_packs(need, sizes, (3.0, 2.6, 1.7))[0], sizes) >= need


def test_cheapest_packs_are_cheapest_to_the_penny():
    """Many packs of nearly one price a gram, by a plain table of the least pence for each 10 g: 736.40, where .06 more is near."""
    sizes, pence = (246, 316, 140, 145), (4939, 6303, 2789, 2894)
    least = [0]
    for tens in range(1, 3693):
        least.append(min(price + least[max(tens - size, 0)] for size, price in zip(sizes, pence, strict=True)))

    counts, cost = cheapest_packs(36_917, [10 * size for size in sizes], [price / 100 for price in pence])
    assert cost == pytest.approx(least[3692] / 100, abs=1e-9)
    assert np.dot(counts, sizes) >= 3692


def test_cheapest_packs_limits():
    """Nothing needed, free packs, a size far above the need, and the same answer twice."""
    assert cheapest_packs(0, (250, 1000), (9, 24)) == ((0, 0), 0.0)
    assert cheapest_packs(3, (1,), (0,))[1] == 0.0
    assert cheapest_packs(1e-3, (5000.0, 1e6), (99.0, 98.0)) == ((0, 1), 98.0)
    tied = [cheapest_packs(2, (1, 2), (5, 10)) for _ in range(3)]
    assert tied[0][1] == 10.0
    assert tied[1:] == tied[:-1]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((-1, (1,), (1,)), "needed must be at least 0"),
        ((1, (0,), (1,)), "sizes must be above 0"),
        ((1, (1,), (-1,)), "prices must be at least 0"),
        ((1, (1, 2), (1,)), "sizes and prices must be one of each a kind of pack; got 2 and 1"),
        ((1, (), ()), "sizes must hold at least one number"),
    ],
)
def test_cheapest_packs_refuse(arguments, message):
    """Each fault by name."""
    with pytest.raises(ValueError, match=message):
        cheapest_packs(*arguments)
