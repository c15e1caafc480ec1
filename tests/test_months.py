"""Orders one by one, in clusters and by season: against closed forms, also through a study file."""

import numpy as np
import pytest
from scipy import stats

from casting_econ.draws.sampling import points
from casting_econ.evidence.months import PRIOR_DISPERSION, counts_posterior
from casting_econ.evidence.posteriors import rate_posterior
from casting_econ.models.months import chance_of_none, orders_at, pieces_at, season_shares

EVEN = (np.arange(200_000) + 0.5) / 200_000


def test_no_order_and_many_at_two_a_year():
    """Poisson of 2: no order in e^-2 = 13.53 % of years, three or more in 1 - 5 e^-2 = 32.33 %, by hand; also as twelve months summed."""
    year = orders_at(EVEN, 2.0)

    assert np.mean(year == 0) == pytest.approx(np.exp(-2), abs=1e-5) == pytest.approx(0.1353, abs=5e-5)
    assert np.mean(year >= 3) == pytest.approx(0.3233, abs=5e-5)
    assert chance_of_none(2.0) == pytest.approx(0.1353, abs=5e-5)
    assert np.prod(chance_of_none(2.0 * season_shares([0, 0, 1, 1, 1, 1, 2, 2, 1, 1, 4, 5]))) == pytest.approx(np.exp(-2))


@pytest.mark.parametrize("dispersion", [0.0, 0.25, 1.0, 4.0])
@pytest.mark.parametrize("mean", [0.2, 2.0, 30.0])
def test_mean_and_variance_of_the_orders(mean, dispersion):
    """Mean m and variance m + d m² of the negative binomial (McCullagh & Nelder, Generalized Linear Models, 6.2.3, from memory)."""
    orders = orders_at(EVEN, mean, dispersion)

    assert np.array_equal(orders, np.rint(orders))
    assert orders.mean() == pytest.approx(mean, rel=2e-3)
    assert orders.var() == pytest.approx(mean + dispersion * mean**2, rel=1e-2)
    assert np.mean(orders == 0) == pytest.approx(chance_of_none(mean, dispersion), abs=1e-5)


def test_compound_poisson_mean_and_variance():
    """Orders of differing size: mean l m and variance l (m² + s²), the compound Poisson's (Ross, Introduction to Probability Models, 5.4.2, from memory)."""
    even = np.random.default_rng(5).random((400_000, 2))
    pieces = pieces_at(even[:, 1], orders_at(even[:, 0], 3.0), 6.0, 4.0)

    error = 3.0 * np.sqrt(3.0 * (6.0**2 + 4.0**2) / len(pieces))  # three standard errors
    assert pieces.mean() == pytest.approx(18.0, abs=error)
    assert pieces.var() == pytest.approx(3.0 * (6.0**2 + 4.0**2), rel=0.015)
    assert pieces_at(0.9, [0.0, 2.0], 320.0).tolist() == [0.0, 640.0]


def test_nothing_expected_brings_nothing():
    """Without demand no order comes, clustered or not, and the smallest uniform gives none rather than less than none."""
    assert orders_at([0.0, 0.999], 0.0).tolist() == orders_at([0.0, 0.999], 0.0, 2.0).tolist() == [0.0, 0.0]
    assert orders_at(0.0, [1.0, 1.0], [0.0, 1.0]).tolist() == [0.0, 0.0]


def test_quantiles_as_another_library_has_them():
    """The same whole numbers as a general library's Poisson and negative binomial, for few orders and for more than 700 a month."""
    rng = np.random.default_rng(6)
    u, mean = rng.random((50, 12)), rng.gamma(1.0, 8.0, (50, 12))
    size = 1 / 0.4

    assert np.array_equal(orders_at(u, mean), stats.poisson.ppf(u, mean))
    assert np.array_equal(orders_at(u, mean, 0.4), stats.nbinom.ppf(u, size, size / (size + mean)))
    assert np.array_equal(orders_at(u, 2000.0, 0.001), stats.nbinom.ppf(u, 1000.0, 1000.0 / 3000.0))
    assert orders_at(u, 2000.0) == pytest.approx(stats.poisson.ppf(u, 2000.0), abs=1)


def test_largest_uniform_ends():
    """The uniform next to one gives a far, but finite, number of orders."""
    assert 10 < orders_at(np.nextafter(1.0, 0.0), 2.0) < 40
    assert np.isfinite(orders_at(np.nextafter(1.0, 0.0), 2.0, 4.0))


def test_draws_by_months_equal_one_by_one():
    """Draws x months at once are what each gives alone, whatever the dispersion of its row."""
    u = np.random.default_rng(1).random((5, 12))
    mean, dispersion = season_shares(np.arange(12.0)) * 40, np.array([0.0, 0.1, 0.0, 2.0, 0.5])[:, None]
    together = orders_at(u, mean, dispersion)

    assert together.tolist() == [[float(orders_at(u[i, j], mean[j], dispersion[i, 0])) for j in range(12)] for i in range(5)]


@pytest.mark.parametrize("weights", [[1] * 11, [0] * 12, [-1] + [1] * 11])
def test_wrong_season_is_refused(weights):
    """Twelve weights of zero or more, not all zero."""
    with pytest.raises(ValueError, match="season weights must be"):
        season_shares(weights)


def test_season_shares_make_a_year():
    """Shares add up to one for every row, and an even season gives each month a twelfth."""
    rows = np.random.default_rng(0).random((7, 12))

    assert season_shares(rows).sum(axis=1) == pytest.approx(np.ones(7), rel=1e-14)
    assert season_shares([3.0] * 12).tolist() == [1 / 12] * 12


@pytest.mark.parametrize("clustering", [None, "as the prior has it"])
def test_bands_of_the_rate_hold_clustered_orders(clustering):
    """2,500 invented workshops whose rates come from the prior: the middle eight in ten holds the truth in 77 to 83 %, clustered ones too.

    Where buyers come one by one, a prior that thinks of clusters is somewhat too wide; it must not be too narrow.
    """
    rng = np.random.default_rng(1)
    inside, simple, dispersions = [], [], []
    for _ in range(2500 if clustering else 400):
        stated, months = 4.0, int(rng.integers(4, 19))
        truth = rng.gamma(stated * 2.0, 1 / 2.0)
        far = 0.0 if clustering is None else PRIOR_DISPERSION[0] * np.exp(PRIOR_DISPERSION[1] * rng.normal())
        counts = orders_at(rng.random(months), truth, far)
        rate, alike = counts_posterior(stated, 2.0, counts)
        for kept, told, real in ((inside, rate, truth), (dispersions, alike, far)):
            low, high = told.quantile(np.array([0.1, 0.9]))
            kept.append(low <= real <= high)
        low, high = rate_posterior(stated, 2.0, counts.sum(), months).quantile(np.array([0.1, 0.9]))
        simple.append(low <= truth <= high)

    if clustering is None:
        assert 0.77 <= np.mean(inside) <= 0.93
        return
    assert 0.77 <= np.mean(inside) <= 0.83 and 0.77 <= np.mean(dispersions) <= 0.83
    assert np.mean(simple) < 0.74  # what taking buyers as independent makes of it


def test_posterior_without_months_is_its_guess():
    """With no month seen the rate is the guess with its own width, and the dispersion its prior."""
    rate, alike = counts_posterior(4.0, 2.0, [])
    guess = rate_posterior(4.0, 2.0, 0, 0.0)
    p = np.array([0.1, 0.5, 0.9])

    assert rate.quantile(p) == pytest.approx(guess.quantile(p), rel=0.01)
    assert alike.middle == pytest.approx(PRIOR_DISPERSION[0], rel=0.01)


def test_sobol_points_do_as_well():
    """The quantiles take Sobol points: 12 months of 4,096 draws have a mean nearer the truth than their standard error."""
    u = points(12, 4096, 7)
    year = orders_at(u, 2.0 / 12).sum(axis=1)

    assert abs(year.mean() - 2.0) < np.sqrt(2.0 / 4096) / 3
    assert np.mean(year == 0) == pytest.approx(np.exp(-2), abs=0.01)
