"""Mould life and replacement against published survival data, closed forms and lot-size examples."""

import numpy as np
import pytest
from lifelines import WeibullFitter
from printed import printed
from scipy import integrate, special, stats

from casting_econ.draws import distribution
from casting_econ.evidence import mould_life_posterior
from casting_econ.models import cheapest_replacement_age, expected_casts
from casting_econ.models.moulds import mean_to_scale

NIST = "NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3"
RELPKG = "MatthewReid854/reliability docs (86c9330)"
KC = "Krivtsov & Case, SAE 1999-01-3220, values in MatthewReid854/reliability docs, second-hand copy"
LZ = "Lieblein & Zelen, J. Res. NBS 57 (1956) 273-316, second-hand copy; Lawless prints 2.10 and 81.88"
REL = "own arithmetic: 2 x 5,000 / chi-square of 2 x events"
SS = "Snyder & Shen, Fundamentals of Supply Chain Theory (2nd ed. 2019), Ex. 3.1 and problem 3.1"

S05_FAILED = (5248, 7454, 16890, 17200, 38700, 45000, 49390, 69040, 72280, 131900)
S05_LIVE = (3961, 4007, 4734, 6054, 7298, 10190, 23060, 27160, 28690, 37100, 40060, 45670, 53000)
S05_LIVE += (67000, 69630, 77350, 78470, 91680, 105700, 106300, 150400)
S07_FAILED, S07_LIVE = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386), (500,) * 10
S11_FAILED = (17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88)
S11_FAILED += (84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40)
NO_PRIOR = 1e-9  # retired moulds


def scale_of(posterior):
    """Maximum likelihood scale (sum of casts ** shape / failures) ** (1 / shape) that the posterior carries."""
    p = posterior.parameters
    return (p["exposure"] / p["events"]) ** (1 / p["power"])


def test_mean_to_scale_published():
    """S07: mean 540.737 at shape 1.7208 is scale 606.5280; the distribution of that mean has sd 323.806."""
    quantile = distribution("weibull", mean=540.737, shape=1.7208).quantile
    square, _ = integrate.quad(lambda p: (quantile(p) - 540.737) ** 2, 0, 1, limit=200)

    assert mean_to_scale(540.737, 1.7208) == pytest.approx(606.5280, abs=0.0015), NIST  # half a digit in mean and shape each
    assert np.sqrt(square) == pytest.approx(323.806, abs=0.0095), NIST  # half a digit of the shape moves it by .0085


def test_cheapest_replacement_age_published():
    """S17: T* printed 493.19, rate .0035. The printed T* is the cheapest of 10,000 points from 1 to 3 x 1,000, read in its code."""
    mean = 1000 * special.gamma(1 + 1 / 2.5)
    age, cost = cheapest_replacement_age(mean, 2.5, planned_cost=1, failure_cost=5)
    grid = np.linspace(1, 3000, 10_000)
    survive = np.exp(-((grid / 1000) ** 2.5))
    printed_age = grid[np.argmin((survive + 5 * (1 - survive)) / expected_casts(mean, 2.5, grid))]

    assert printed_age == printed("493.19"), RELPKG
    assert abs(age - 493.19) < 2999 / 9999 / 2 + 0.005, RELPKG  # half a grid step and half a digit
    assert cost == printed("0.0035"), RELPKG
    # first-order condition at the age found, by hand: hazard x mean life used - F = planned / (failure - planned)
    used, _ = integrate.quad(lambda t: np.exp(-((t / 1000) ** 2.5)), 0, age)
    hazard = 2.5 / 1000 * (age / 1000) ** 1.5
    assert hazard * used - (1 - np.exp(-((age / 1000) ** 2.5))) == pytest.approx(1 / 4, rel=1e-5)


@pytest.mark.parametrize(
    ("order_cost", "demand", "holding", "quantity", "cost"),
    [(8, 1_300, 0.225, "304.0468", "68.4105"), (2_250, 182_500, 275, "1,728.1098", "475,230.21")],
)
def test_cheapest_replacement_age_with_wear_is_lot_size_published(order_cost, demand, holding, quantity, cost):
    """O01, O02: without failures planned / age + wear x age / 2 is the lot-size cost; K x lambda for planned, h for wear."""
    age, least = cheapest_replacement_age(6_000.0, 60.0, order_cost * demand, order_cost * demand, wear_cost=holding)

    assert age == pytest.approx(float(quantity.replace(",", "")), rel=1e-6), SS  # the cost is flat about its least
    assert least == printed(cost), SS


@pytest.mark.parametrize("failure_cost", [1.0, 5.0, 500.0])
def test_cheapest_replacement_age_is_never_for_chance_failures(failure_cost):
    """Exponential life has no memory: replacing early never pays, and a cast costs failure cost / mean life."""
    assert cheapest_replacement_age(40.0, 1.0, 1.0, failure_cost) == (np.inf, pytest.approx(failure_cost / 40.0, rel=1e-4))


@pytest.mark.parametrize("age", [1.0, 20.0, 35.0, 90.0])
def test_expected_casts_exponential_limit(age):
    """Shape 1: mean x (1 - exp(-age / mean)), by hand."""
    assert expected_casts(35.0, 1.0, age) == pytest.approx(35 * (1 - np.exp(-age / 35)), rel=1e-12)


@pytest.mark.parametrize("shape", [0.8, 2.5, 6.0])
@pytest.mark.parametrize("age", [10.0, 33.0, 60.0])
def test_expected_casts_is_the_area_under_survival(shape, age):
    """E min(T, age) is the integral of the survival function, by numerical integration of scipy's; with no age it is the mean."""
    life = stats.weibull_min(shape, scale=35 / special.gamma(1 + 1 / shape))
    expected, _ = integrate.quad(life.sf, 0, age, epsabs=1e-12)

    assert expected_casts(35.0, shape, age) == pytest.approx(expected, rel=1e-9)
    assert expected_casts(35.0, shape, 1e4) == pytest.approx(expected_casts(35.0, shape), rel=1e-9)


@pytest.mark.parametrize(("failed", "live"), [(S05_FAILED, S05_LIVE), (S07_FAILED, S07_LIVE)])
def test_mould_life_posterior_without_prior_equals_survival_package(failed, live):
    """S05 and S07 data: with no prior, at lifelines' shape, the scale is lifelines' maximum likelihood scale."""
    seen = np.array([True] * len(failed) + [False] * len(live))
    fit = WeibullFitter().fit(np.array([*failed, *live], float), event_observed=seen)
    posterior = mould_life_posterior(40.0, NO_PRIOR, fit.rho_, failed, live)[0]

    assert scale_of(posterior) == pytest.approx(fit.lambda_, rel=1e-4)
    # d / ratio of the median: Gamma(d) has its median near d - 1/3, so the middle lies a little above the likeliest mean
    d = len(failed)
    likeliest = fit.lambda_ * special.gamma(1 + 1 / fit.rho_)
    assert posterior.middle == pytest.approx(likeliest * (d / (d - 1 / 3)) ** (1 / fit.rho_), rel=1e-3)


@pytest.mark.parametrize(
    ("failed", "live", "shape", "scale", "source"),
    [
        (S07_FAILED, S07_LIVE, "1.7208", "606.5280", NIST),  # S07
        (S05_FAILED, S05_LIVE, "1.15443", "134,651", KC + "; the fit is own arithmetic"),  # S06
        (S11_FAILED, (), "2.10", "81.88", LZ),  # S11
    ],
)
def test_mould_life_posterior_scale_published(failed, live, shape, scale, source):
    """S06, S07, S11: maximum likelihood scale at the published shape, to half a digit of the scale and of the shape."""
    half = 0.5 * 10.0 ** -len(shape.partition(".")[2])
    low, at, high = (scale_of(mould_life_posterior(40.0, NO_PRIOR, float(shape) + h, failed, live)[0]) for h in (-half, 0, half))
    expected = printed(scale)

    assert at == pytest.approx(expected.expected, rel=0, abs=expected.abs + abs(high - low) / 2), source


def test_mould_life_posterior_is_exact_for_exponential_lives():
    """S13: 8 failures in 5,000, mean life 625; 90 % limits 380.283 (failure ended), 1,256.022, and 346.389 with one more event."""
    posterior = mould_life_posterior(600.0, NO_PRIOR, 1.0, [625.0] * 8, [])[0]
    one_more = distribution("inverse gamma life", events=9, exposure=5000, power=1, factor=1)

    assert scale_of(posterior) == pytest.approx(625.0, rel=1e-8), REL
    assert posterior.quantile(0.05) == printed("380.283"), REL
    assert posterior.quantile(0.95) == printed("1,256.022"), REL
    assert one_more.quantile(0.05) == printed("346.389"), REL


def test_mould_life_posterior_median_closed_form():
    """No prior, no censoring: median mean life = Gamma(1 + 1/b) x (2 sum t ** b / chi-square median of 2 d) ** (1/b)."""
    lives = np.array([22.0, 31.0, 35.0, 47.0, 52.0])
    by_hand = special.gamma(1.4) * (2 * np.sum(lives**2.5) / stats.chi2.median(10)) ** 0.4

    assert mould_life_posterior(35.0, NO_PRIOR, 2.5, lives, [])[0].middle == pytest.approx(by_hand, rel=1e-8)


def test_mould_life_posterior_moves_from_guess_to_data():
    """A guess worth more holds the middle nearer to itself; moulds still alive beyond the guess only ever raise it."""
    lives = [50.0, 55.0, 60.0]
    middles = [mould_life_posterior(30.0, worth, 2.5, lives, [])[0].middle for worth in (0.1, 1, 10, 100)]

    assert middles == sorted(middles, reverse=True)
    assert 30 < middles[-1] < middles[0]
    assert mould_life_posterior(30.0, 4, 2.5, [], [45.0, 45.0])[0].middle > mould_life_posterior(30.0, 4, 2.5, [], [])[0].middle
    assert mould_life_posterior(30.0, 4, 2.5, [], [])[0].middle == pytest.approx(30.0, rel=1e-12)
