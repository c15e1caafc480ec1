"""Orders one by one, in clusters and by season, and stock carried from month to month: against closed forms."""

import numpy as np
import pytest
from scipy import stats

from casting_econ.draws.sampling import points
from casting_econ.models.months import carried, chance_of_none, orders_at, pieces_at, season_shares

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


@pytest.mark.parametrize("holding", [0.5, 2.0, 6.0])
def test_newsvendor_with_stock_carried(holding):
    """What is left is there next month, so that it costs its keeping alone: best is the least S with F(S) >= (p - c) / (p - c + h).

    Snyder & Shen, Fundamentals of Supply Chain Theory, ch. 4, base stock over many periods with lost sales and no lead time, from
    memory; own arithmetic: a month's margin is (p - c) min(D, S) - h (S - D)+ once what is left is worth what it cost.
    """
    price, cost, rate = 10.0, 4.0, 5.0
    u = (
        np.random.default_rng(2).permuted(np.tile((np.arange(4000) + 0.5) / 4000, (12, 1)), axis=1).T
    )  # each month exact by itself
    wanted = orders_at(u, rate)
    money = {}
    for shelf in range(16):
        found = carried(wanted, 1e9, shelf, ahead=True)
        held = price * found.sold.sum(axis=1) - cost * found.made.sum(axis=1) - holding * found.stock.sum(axis=1)
        money[shelf] = float((held + cost * found.stock[:, -1]).mean())

    ratio = (price - cost) / (price - cost + holding)
    assert max(money, key=money.get) == stats.poisson.ppf(ratio, rate)


def test_stock_is_conserved_and_capped():
    """Start + made = sold + left; no month makes beyond its capacity, the shelf never grows beyond its cap, and unmet is what was not sold."""
    rng = np.random.default_rng(3)
    wanted, capacity, cap = rng.poisson(6, (500, 12)), rng.integers(0, 12, (500, 12)), rng.integers(0, 9, 500)
    for ahead in (False, True):
        found = carried(wanted, capacity, cap, 2.0, ahead=ahead)

        assert np.array_equal(2.0 + found.made.sum(axis=1), found.sold.sum(axis=1) + found.stock[:, -1])
        assert (found.made <= capacity).all() and (found.made >= 0).all()
        assert (found.stock <= np.maximum(cap, 2.0)[:, None]).all() and np.array_equal(found.unmet, wanted - found.sold)


def test_stock_of_the_beginning_and_the_end():
    """No shelf: each month for itself; no capacity: the shelf runs out; more than the cap at the start is sold off first."""
    assert carried([3.0, 8.0], 5.0).sold.tolist() == [3.0, 5.0]
    empty = carried([3.0, 3.0], 0.0, cap=4.0, start=4.0)
    assert (empty.sold.tolist(), empty.unmet.tolist(), empty.made.tolist()) == ([3.0, 1.0], [0.0, 2.0], [0.0, 0.0])
    assert carried([3.0, 3.0], 9.0, cap=1.0, start=8.0).made.tolist() == [0.0, 0.0]


def test_sobol_points_do_as_well():
    """The quantiles take Sobol points: 12 months of 4,096 draws have a mean nearer the truth than their standard error."""
    u = points(12, 4096, 7)
    year = orders_at(u, 2.0 / 12).sum(axis=1)

    assert abs(year.mean() - 2.0) < np.sqrt(2.0 / 4096) / 3
    assert np.mean(year == 0) == pytest.approx(np.exp(-2), abs=0.01)
