"""Orders one by one, in clusters and by season: against closed forms, also through a study file."""

import numpy as np
import pytest
from scipy import special, stats

from casting_econ.draws.sampling import points
from casting_econ.faults import StudyError
from casting_econ.kit import open_study
from casting_econ.models.months import chance_of_none, orders_at, pieces_at, season_shares
from casting_econ.running.results import results

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


def test_pieces_of_orders_that_are_not_whole():
    """2.2, 2.7 and 2.9 orders, as an average may have them: each the gamma of its own shape, by another library."""
    orders = np.array([2.2, 2.7, 2.9])

    assert pieces_at(0.3, orders, 4.0, 1.0) == pytest.approx(stats.gamma.ppf(0.3, orders * 16.0, scale=0.25), rel=1e-12)


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


def test_sobol_points_do_as_well():
    """The quantiles take Sobol points: 12 months of 4,096 draws have a mean nearer the truth than their standard error."""
    u = points(12, 4096, 7)
    year = orders_at(u, 2.0 / 12).sum(axis=1)

    assert abs(year.mean() - 2.0) < np.sqrt(2.0 / 4096) / 3
    assert np.mean(year == 0) == pytest.approx(np.exp(-2), abs=0.01)


# Through a study file --------------------------------------------------------------------------------------------------

PEGS = """
[study]
name = "Pegs"
question = "Invented: do pegs pay?"
craft = "epoxy"
currency = "EUR"
invented = true
variation = "{variation}"
draws = {draws}
seed = 3

[time]
weeks = "46 week/year"
hours = "20 h/week"
fixed_hours = "1 h/week"

[calendar]
monday = "09:00-17:00"
tuesday = "09:00-17:00"

[target]
per_hour = "15 EUR/h"
full_week = "37.5 h/week"

[stations.pot]

[products.peg]
casts_per_load = 1
steps.carve.minutes = "6 min"

[channels.shop]
product = "peg"
orders = "2 order/year"
pieces_per_order = 8
price = "160 EUR"
"""
DRAWS = 65_536
VARIES = pytest.mark.parametrize("variation", ["counts", "months"])


def opened(tmp_path, variation, more="", draws=DRAWS):
    """The open study of pegs with more lines, which go on with its channel."""
    folder = tmp_path / f"{variation}-{len(list(tmp_path.iterdir()))}"
    folder.mkdir()
    (folder / "study.toml").write_text(PEGS.format(variation=variation, draws=draws) + more, encoding="utf-8")
    return open_study(folder)


def orders(kit, name="shop", **how):
    """Orders that came in each year drawn."""
    return kit.monte_carlo(**how).draws[f"orders/{name}"]


def near(share, draws=DRAWS):
    """Within three and a half standard errors of a share of the draws."""
    return pytest.approx(share, abs=3.5 * np.sqrt(share * (1 - share) / draws))


@VARIES
def test_two_a_year_and_nothing_else_uncertain(tmp_path, variation):
    """No order in e^-2 = 13.53 % of years, three or more in 1 - 5 e^-2 = 32.33 %, mean and variance 2 (Poisson, own arithmetic)."""
    kit = opened(tmp_path, variation)
    came = orders(kit)
    told = results(kit, kit.monte_carlo())

    assert not kit.assumed.uncertain
    assert np.mean(came == 0) == near(0.1353) and np.mean(came >= 3) == near(0.3233)
    assert came.mean() == pytest.approx(2.0, abs=3.5 * np.sqrt(2.0 / DRAWS))
    assert came.var() == pytest.approx(2.0, abs=3.5 * np.sqrt((2.0 + 2 * 2.0**2) / DRAWS))  # fourth moment m + 3 m²
    assert told["variation"] == variation and told["chances"]["channels"]["shop"]["no_order"] == np.mean(came == 0)
    assert told["draws"]["channels"]["shop"]["orders_per_year"]["mean"] == came.mean()


def test_rates_alone_leave_every_year_alike(tmp_path):
    """Without luck two a year come in every year, and it is certain."""
    kit = opened(tmp_path, "rates", draws=128)

    assert kit.certain and set(orders(kit)) == {2.0}


@VARIES
def test_clustered_orders_of_differing_size_through_a_study(tmp_path, variation):
    """A year's orders vary by m + d Σ(m s)², pieces by that times size² and m sd² more, by the season s; negative binomial and compound.

    Own arithmetic: months are independent, each of variance m s + d (m s)²; pieces of N orders have the variance N sd².
    """
    season = np.array([0, 0, 1, 1, 1, 1, 2, 2, 1, 1, 4, 6]) / 20
    more = f"clustering = 1.5\nsize_spread = 0.75\n[cash]\nseason = {[int(20 * s) for s in season]}\n"
    kit = opened(tmp_path, variation, more)
    came = orders(kit)
    variance = 2.0 + 1.5 * 4.0 * np.sum(season**2)
    pieces = kit.monte_carlo().draws["pieces_sold_per_year"]

    assert season.sum() == 1
    assert came.mean() == pytest.approx(2.0, abs=3.5 * np.sqrt(variance / DRAWS))
    assert came.var() == pytest.approx(variance, rel=0.03)
    assert pieces.mean() == pytest.approx(16.0, abs=3.5 * np.sqrt((64 * variance + 2 * 36) / DRAWS))
    assert pieces.var() == pytest.approx(64 * variance + 2.0 * 6.0**2, rel=0.03)
    revenue = kit.monte_carlo().draws["revenue_per_year"]
    assert revenue == pytest.approx(20 * pieces, rel=1e-9, abs=1e-9)  # an order as large as it has pieces


def test_counts_and_months_have_the_same_years(tmp_path):
    """As many orders in a year whether it is drawn in one piece or month by month, clustered or not: no share differs beyond its error.

    Clustered, both have the same mean and variance, and years without an order within two in a hundred: a sum of clustered months is
    no one clustered year (the approximation stands in `with_luck`).
    """
    alike = [orders(opened(tmp_path, variation)) for variation in ("counts", "months")]
    for number in range(7):
        one, other = (np.mean(came == number) for came in alike)
        assert one == pytest.approx(other, abs=3.5 * np.sqrt(2 * one * (1 - one) / DRAWS))
    bunched = [orders(opened(tmp_path, variation, "clustering = 2.0\n")) for variation in ("counts", "months")]
    assert bunched[0].var() == pytest.approx(bunched[1].var(), rel=0.03) == pytest.approx(2.0 + 2.0 * 4.0 / 12, rel=0.03)
    assert np.mean(bunched[0] == 0) == pytest.approx(np.mean(bunched[1] == 0), abs=0.02)


@VARIES
def test_a_rare_event_comes_as_often_as_stated_and_costs_so_many_weeks(tmp_path, variation):
    """A risk of 10 %, three weeks and 400: in 10 % of years 400 more overhead and three weeks' fixed hours fewer; never two in a year."""
    kit = opened(tmp_path, variation, '[risks.ill]\nchance = "10 %"\nweeks = "3 week"\ncost = "400 EUR"\n')
    found = kit.monte_carlo().draws

    ill = found["overhead_per_year"] == 400.0
    assert set(found["overhead_per_year"]) == {0.0, 400.0}
    assert ill.mean() == near(0.10)
    assert found["fixed_hours_per_year"][ill] == pytest.approx(43.0) and found["fixed_hours_per_year"][~ill] == pytest.approx(
        46.0
    )
    point = kit.point().totals
    assert (point["overhead_per_year"], point["fixed_hours_per_year"]) == pytest.approx((40.0, 45.7))


@pytest.mark.parametrize(("size", "sd"), [(6.0, 3.0), (3.0, 9.0), (14.0, 0.1), (1.0, 0.02)])
def test_pieces_of_equal_sizes_in_a_series_are_the_gamma_quantiles(size, sd):
    """Pieces of a month's orders are SciPy's quantiles of the gamma to 1e-12, in the tails too, one at a time or many at once."""
    uniform = np.concatenate([special.ndtr(np.linspace(-7.5, 7.5, 301)), [0.0, 1e-300, 1.0 - 2.0**-53]])
    orders = np.array([0.0, 1.0, 2.0, 9.0, 40.0, 230.0])[:, None]
    each = orders[1:] * size**2 / sd**2

    found = pieces_at(uniform, orders, size, sd)

    assert (found[0] == 0.0).all()
    np.testing.assert_allclose(found[1:], special.gammaincinv(each, uniform) * sd**2 / size, rtol=1e-12, atol=0.0)
    assert np.array_equal(found[:, 7], pieces_at(uniform[7], orders[:, 0], size, sd))


@VARIES
def test_chunks_and_workers_do_not_move_a_bit(tmp_path, variation):
    """Drawn at once, or in chunks by two workers: the same bytes, with every kind of luck at work."""
    more = 'clustering = { low = 0.1, likely = 0.5, high = 2.0 }\nsize_spread = 0.5\n[risks.ill]\nchance = "30 %"\nweeks = "9 week"\n'
    kit = opened(tmp_path, variation, more, draws=1024)
    found = [kit.monte_carlo(chunk=chunk, workers=workers).draws for chunk, workers in ((1024, 1), (100, 1), (300, 2))]

    assert len(set(orders(kit))) > 3
    for other in found[1:]:
        assert {key for key in found[0] if found[0][key].tobytes() != other[key].tobytes()} == set()


@VARIES
def test_another_channel_does_not_move_the_luck_of_this_one(tmp_path, variation):
    """The orders of a channel are the same in every year drawn, whatever other channels and risks the study has; another seed moves them."""
    stall = '[channels.a-stall]\nproduct = "peg"\norders = "30 order/year"\npieces_per_order = 1\nprice = "20 EUR"\n'
    alone, both = (opened(tmp_path, variation, more, draws=1024) for more in ("", stall))

    assert np.array_equal(orders(alone), orders(both))
    assert not np.array_equal(orders(both), orders(both, "a-stall"))
    assert not np.array_equal(orders(alone), orders(alone, seed=4))


def test_season_shares_out_the_orders_of_a_study(tmp_path):
    """Twelve weights, whatever they add up to, share out the year's orders, and none is lost of them."""
    kit = opened(tmp_path, "months", "[cash]\nseason = [0, 1, 2, 3, 4, 5, 6, 5, 4, 3, 2, 1]\n", draws=128)
    came = [float(month.came["shop"]) for month in kit.point().months]

    assert kit.inputs().months.season.sum() == pytest.approx(1.0, rel=1e-14)
    assert came == pytest.approx([2.0 * weight / 36 for weight in (0, 1, 2, 3, 4, 5, 6, 5, 4, 3, 2, 1)], rel=1e-12)


def test_weeks_off_are_no_weeks_of_work(tmp_path):
    """46 weeks with three off in August, and with the whole of it: what August lacks lies in the other months, 46 as before.

    A month has 365.2425 / 84 = 4.348 weeks, so August keeps (4.348 - 3) of every (52.177 - 3) weeks that are open, and no less than none.
    """
    for off, kept in (("3 week", 46 * (365.2425 / 84 - 3) / (365.2425 / 7 - 3)), ("4.5 week", 0.0)):
        kit = opened(tmp_path, "months", f'[time.weeks_off]\naugust = "{off}"\n', draws=128)
        working = kit.inputs().months.working

        assert (46 * working[7], working.sum()) == pytest.approx((kept, 1.0), abs=1e-12)
        assert kit.point().totals["fixed_hours_per_year"] == pytest.approx(46.0)


def test_more_weeks_off_than_the_year_leaves_are_refused(tmp_path):
    """Of 52.2 weeks 46 are worked, so that seven off do not fit."""
    with pytest.raises(StudyError, match="more weeks off than the year leaves"):
        opened(tmp_path, "months", '[time.weeks_off]\naugust = "4 week"\ndecember = "3 week"\n', draws=128)
