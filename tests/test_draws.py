"""Draws, their correlation and their summaries: repeatable, in their margins, and honest about their error."""

import numpy as np
import pytest
from scipy import optimize, special, stats

from casting_econ.draws import (
    QUANTILES,
    REPLICATES,
    chance,
    copula_matrix,
    correlate,
    distribution,
    in_chunks,
    points,
    round_up_draws,
    summarise,
)

DRAWS = 512


@pytest.fixture(scope="module")
def whole():
    """All rows at once: three numbers, seed 20."""
    return points(3, DRAWS, 20)


@pytest.mark.parametrize(("asked", "given"), [(1, 128), (128, 128), (129, 256), (8000, 8192), (8192, 8192), (1_000_000, 2**20)])
def test_round_up_draws_by_hand(asked, given):
    """16 scrambles of a power of two each, at least 8."""
    assert round_up_draws(asked) == given
    assert given % REPLICATES == 0


@pytest.mark.parametrize("chunk", [1, 7, 100, 4096])
def test_points_do_not_depend_on_chunk_size(whole, chunk):
    """The same rows to the last bit however the whole is cut, also beyond its end."""
    parts = [points(3, DRAWS, 20, start, min(start + chunk, DRAWS)) for start in range(0, DRAWS, chunk)]

    assert np.array_equal(whole, np.concatenate(parts))


@pytest.mark.parametrize(("start", "stop"), [(0, 1), (31, 33), (32, 64), (125, 375), (511, 512), (5, 5)])
def test_points_from_start_to_stop(whole, start, stop):
    """Any rows alone are those rows of the whole, across the ends of scrambles too."""
    part = points(3, DRAWS, 20, start, stop)

    assert part.shape == (stop - start, 3)
    assert np.array_equal(whole[start:stop], part)


@pytest.mark.parametrize(("chunk", "workers"), [(1, 1), (7, 3), (100, 2), (4096, 4)])
def test_in_chunks_does_not_depend_on_chunks_or_workers(whole, chunk, workers):
    """Joined in order whatever finishes first; correlated numbers keep their bits too."""
    root = copula_matrix(["a", "b", "c"], [("a", "b", 0.6), ("b", "c", -0.3)])

    def work(start, stop):
        drawn = points(3, DRAWS, 20, start, stop)
        return {"rows": correlate(drawn, root), "first": drawn[:, 0]}

    together = in_chunks(work, DRAWS, chunk=chunk, workers=workers)

    assert np.array_equal(correlate(whole, root), together["rows"])
    assert np.array_equal(whole[:, 0], together["first"])


def test_points_repeat_by_seed():
    """Zero is a seed like any other: it repeats, and every seed gives numbers of its own."""
    assert np.array_equal(points(2, 128, 0), points(2, 128, 0))
    seeds = [points(2, 128, seed)[0, 0] for seed in (0, 1, 2, 2**63 - 1)]
    assert len(set(seeds)) == 4


def test_points_of_scrambles_differ():
    """The sixteen scrambles are not copies of each other."""
    blocks = points(1, DRAWS, 3).reshape(REPLICATES, -1)

    assert len({block[0] for block in blocks}) == REPLICATES


@pytest.mark.parametrize("seed", range(5))
def test_points_lie_strictly_inside(seed):
    """Never 0 or 1, so that no quantile is infinite: every point is an odd number of steps of 2**-31."""
    drawn = points(8, round_up_draws(60_000), seed)

    assert drawn.min() > 0
    assert drawn.max() < 1
    assert np.isfinite(special.ndtri(drawn)).all()
    assert np.all((drawn * 2**31) % 2 == 1)


def test_points_are_balanced():
    """Each scramble of 128 puts one point in each of 128 equal strips of every number, as Sobol points must."""
    for block in points(4, 2048, 9).reshape(REPLICATES, 128, 4):
        for column in block.T:
            assert sorted((column * 128).astype(int)) == list(range(128))


@pytest.mark.parametrize("rank", [-0.9, -0.3, 0.2, 0.7, 0.95])
def test_copula_gives_the_stated_rank_correlation(rank):
    """Spearman's correlation of each scramble is the stated one within four standard errors of their mean."""
    root = copula_matrix(["a", "b", "c"], [("a", "c", rank)])
    tied = correlate(points(3, round_up_draws(60_000), 11), root).reshape(REPLICATES, -1, 3)
    seen = {
        pair: [stats.spearmanr(block[:, pair[0]], block[:, pair[1]])[0] for block in tied] for pair in ((0, 2), (0, 1), (1, 2))
    }

    for pair, expected in (((0, 2), rank), ((0, 1), 0.0), ((1, 2), 0.0)):
        error = np.std(seen[pair], ddof=1) / np.sqrt(REPLICATES)
        assert error < 0.005
        assert np.mean(seen[pair]) == pytest.approx(expected, abs=4 * error)


def test_copula_keeps_margins_uniform():
    """Kolmogorov-Smirnov distance below its 1 % point for independent draws; untied numbers keep their bits."""
    drawn = points(4, round_up_draws(30_000), 5)
    tied = correlate(drawn, copula_matrix(["a", "b", "c", "d"], [("a", "b", 0.8), ("b", "d", 0.5)]))

    assert np.array_equal(drawn[:, 2], tied[:, 2])
    assert tied[:, 0] == pytest.approx(drawn[:, 0], rel=1e-12)  # the first of those tied leads
    for column in tied.T:
        assert stats.kstest(column, "uniform").statistic < 1.63 / np.sqrt(len(column))
    assert tied.min() > 0
    assert tied.max() < 1


def test_copula_of_nothing_is_none():
    """Without correlations the points pass as they are."""
    drawn = points(2, 128, 1)

    assert copula_matrix(["a", "b"], []) is None
    assert correlate(drawn, None) is drawn


def test_copula_changes_no_input():
    """Points given are left as they were."""
    drawn = points(2, 128, 1)
    before = drawn.copy()
    drawn.setflags(write=False)
    correlate(drawn, copula_matrix(["a", "b"], [("a", "b", 0.5)]))

    assert np.array_equal(before, drawn)


def test_copula_refuses_contradictions():
    """a follows b, b follows c, and a opposes c: no such numbers exist."""
    with pytest.raises(ValueError, match="correlations must agree with each other; these cannot all hold at once"):
        copula_matrix(["a", "b", "c"], [("a", "b", 0.9), ("b", "c", 0.9), ("a", "c", -0.9)])


def test_copula_refuses_a_number_tied_to_itself():
    """A number's correlation with itself is one and cannot be stated."""
    with pytest.raises(ValueError, match="a correlation needs two numbers; got 'a' twice"):
        copula_matrix(["a", "b"], [("a", "a", 0.5)])


def test_discrete_values_in_any_order_have_one_quantile_function():
    """Quantiles rise, and the middle is the median, in whatever order the values are written."""
    written, sorted_ = (distribution("discrete", values=v, weights=[1, 1, 1]) for v in ([10, 1, 5], [1, 5, 10]))

    assert written.middle == sorted_.middle == 5
    assert np.all(np.diff(written.quantile(np.linspace(0.01, 0.99, 50))) >= 0)


@pytest.mark.parametrize(
    ("name", "parameters", "exact"),
    [
        *(
            ("gamma", {"mean": 1.0, "sd": sd}, lambda p, k=sd**-2: special.gammaincinv(k, p) / k)
            for sd in (0.01, 0.1, 0.5, 1.0, 2.0, 10.0)
        ),
        *(
            ("beta", {"mean": m, "worth": w}, lambda p, m=m, w=w: special.betaincinv(m * w, (1 - m) * w, p))
            for m, w in ((0.5, 0.5), (0.5, 2.0), (0.83, 60.0), (0.97, 1e5), (0.999, 1e3), (0.02, 200.0))
        ),
        *(
            ("pert", {"low": 0, "likely": m, "high": 1}, lambda p, m=m: special.betaincinv(1 + 4 * m, 5 - 4 * m, p))
            for m in (0.0, 0.01, 0.4, 1.0)
        ),
        *(
            (
                "inverse gamma life",
                {"events": n, "exposure": 5000.0, "power": b, "factor": 0.9},
                lambda p, n=n, b=b: 0.9 * (5000.0 / special.gammainccinv(n, p)) ** (1 / b),
            )
            for n, b in ((0.5, 0.8), (1.0, 2.5), (8.0, 2.5), (400.0, 1.2))
        ),
    ],
)
def test_tabulated_quantiles_equal_exact_ones(name, parameters, exact):
    """To 1e-8 of the exact inverse, and what one step of p itself is worth, over all that draws reach: 2**-31 to 1 - 2**-31."""
    edge = 2.0**-31 + np.arange(40) * 2.0**-30
    p = np.concatenate([np.random.default_rng(0).random(5000), edge, 1 - edge, 10 ** np.linspace(-9.3, -1, 400)])
    step = np.abs(exact(np.nextafter(p, 1)) - exact(np.nextafter(p, 0)))
    error = np.abs(distribution(name, **parameters).quantile(p) - exact(p))

    assert np.all(error <= 1e-8 * exact(p) + step)


def test_summarise_by_hand():
    """0 to 31: mean 15.5, sd sqrt(32 x 33 / 12), quartile 7.75; scramble means .5, 2.5 ... 30.5 give the error."""
    summary = summarise(range(32))

    assert summary["mean"] == summary["p50"] == 15.5
    assert summary["sd"] == pytest.approx(np.sqrt(32 * 33 / 12))
    assert summary["p25"] == pytest.approx(7.75)
    # sixteen means two apart: sd 2 x sqrt(16 x 17 / 12), over the root of 16
    assert summary["mean_error"] == summary["p50_error"] == pytest.approx(2 * np.sqrt(16 * 17 / 12) / 4)
    assert set(QUANTILES) < set(summary)


def test_summarise_of_a_constant():
    """No spread, no error."""
    summary = summarise(np.full(160, 3.25))

    assert (summary["mean"], summary["sd"], summary["mean_error"], summary["p50_error"]) == (3.25, 0, 0, 0)
    assert all(summary[name] == 3.25 for name in QUANTILES)


@pytest.mark.parametrize(("bad", "shown"), [(np.inf, "inf"), (-np.inf, "-inf")])
def test_summarise_refuses_what_is_not_finite(bad, shown):
    """The first bad draw is named with its place."""
    values = np.ones(32)
    values[[7, 20]] = bad
    with pytest.raises(ValueError, match=f"draws must be finite; got {shown} at 7"):
        summarise(values)
    with pytest.raises(ValueError, match="draws must be finite; got nan at 0"):
        summarise(np.full(32, np.nan))


def test_a_draw_without_a_value_is_left_out():
    """Of 1, 3 and none: the mean of those that are there is 2, and so is what half of them stay below."""
    values = np.tile([1.0, 3.0, np.nan, 1.0, 3.0], 32)
    there = values[~np.isnan(values)]

    found = summarise(values)

    assert (found["mean"], found["p50"]) == (2.0, 2.0) and found["sd"] == pytest.approx(there.std(ddof=1), rel=1e-14)
    assert np.isfinite(found["mean_error"])


def test_chance_by_hand():
    """Every second draw hits: a half in each scramble, so no error; hits in 4 of 16 scrambles: sd .4472 / 4."""
    assert chance([True, False] * 16) == {"chance": 0.5, "error": 0.0}
    result = chance(np.repeat([True] * 4 + [False] * 12, 8))
    # mean .25, sum of squares 4 x .75 ** 2 + 12 x .25 ** 2 = 3, sd sqrt(3 / 15)
    assert result == pytest.approx({"chance": 0.25, "error": np.sqrt(3 / 15) / 4})


@pytest.mark.parametrize(
    ("function", "exact"),
    [
        (lambda u: np.exp(u).prod(axis=1), (np.e - 1) ** 3),
        (lambda u: (u.sum(axis=1) > 1.2).astype(float), 1 - (1.2**3 - 3 * 0.2**3) / 6),  # Irwin-Hall
        (lambda u: special.ndtri(u).sum(axis=1) ** 2, 3.0),
    ],
    ids=["smooth", "step", "tails"],
)
def test_summarise_error_is_honest(function, exact):
    """Over 200 seeds the mean lies within two stated errors of the truth about as often as it should.

    The error is the scatter of 16 scrambles, so 93.6 % (Student, 15 degrees) rather than 95.4 % lie within two:
    187 of 200, give or take three binomial standard deviations of 3.5.
    """
    expected = 1 - 2 * stats.t.sf(2, REPLICATES - 1)
    low, high = (200 * expected + k * np.sqrt(200 * expected * (1 - expected)) for k in (-3, 3))
    within = 0
    for seed in range(200):
        summary = summarise(function(points(3, 1024, seed)))
        within += abs(summary["mean"] - exact) <= 2 * summary["mean_error"]

    assert low <= within <= high


def test_median_error_is_honest():
    """The same for the median of a product of two uniform numbers, m (1 - ln m) = 1/2."""
    exact = optimize.brentq(lambda m: m * (1 - np.log(m)) - 0.5, 0.01, 0.9)
    within = 0
    for seed in range(200):
        summary = summarise(points(2, 4096, seed).prod(axis=1))
        within += abs(summary["p50"] - exact) <= 2 * summary["p50_error"]

    assert 187 - 3 * 3.5 <= within <= 187 + 3 * 3.5


def test_product_of_lognormals_equals_closed_form():
    """Mean and sd of a product of three log-normals: exp(m + s2 / 2) and mean x sqrt(exp(s2) - 1), within four errors."""
    made = [distribution("lognormal", p10=a, p90=b) for a, b in ((2, 4), (10, 13), (0.5, 0.9))]
    uniform = points(3, round_up_draws(260_000), 8)
    product = np.prod([d.quantile(uniform[:, i]) for i, d in enumerate(made)], axis=0)
    bounds = np.log([[2, 4], [10, 13], [0.5, 0.9]])
    centre, square = bounds.mean(), ((bounds[:, 1] - bounds[:, 0]) / (2 * stats.norm.ppf(0.9))) ** 2
    mean = np.exp(3 * centre + square.sum() / 2)
    variance = mean**2 * np.expm1(square.sum())
    first, second = summarise(product), summarise((product - mean) ** 2)

    assert first["mean"] == pytest.approx(mean, abs=4 * first["mean_error"])
    assert second["mean"] == pytest.approx(variance, abs=4 * second["mean_error"])
    assert first["sd"] == pytest.approx(np.sqrt(variance), abs=4 * second["mean_error"] / (2 * np.sqrt(variance)) + 1e-9)
    # the 90 % point too: log-normal again
    p90 = np.exp(3 * centre + np.sqrt(square.sum()) * stats.norm.ppf(0.9))
    share = chance(product <= p90)
    assert share["chance"] == pytest.approx(0.9, abs=4 * share["error"])
    assert first["mean_error"] < 1e-3 * mean


def test_what_is_never_drawn_from_has_no_table(monkeypatch):
    """A prior that only says its middle makes no spline; the first draw makes it, and the second takes the same."""
    made = []
    monkeypatch.setattr("casting_econ.draws.distributions._on_scores", lambda nodes, *_: made.append(nodes) or (lambda p: p))
    even = distribution("weighed", values=(1, 2, 3, 4, 5), weights=(1, 1, 1, 1, 1), middle="mean")
    found = [distribution("gamma", mean=7.25, sd=1.5), even]
    assert not made and [one.middle for one in found] == [7.25, 3.0]
    for one in found * 2:
        one.quantile(np.array([0.5]))
    assert len(made) == 2
