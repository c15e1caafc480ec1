"""Named distributions and whole draws against published moments, scipy and the examples of JCGM 101."""

import numpy as np
import pytest
from printed import printed
from scipy import integrate, stats

from casting_econ.draws import chance, distribution, points, round_up_draws, summarise

MALC = "own arithmetic, (low + 4 likely + high) / 6 of Malcolm, Roseboom, Clark & Fazar, Operations Research 7 (1959) 646-669"
STDLIB = "stdlib-js documentation, @stdlib/stats/base/dists/triangular/variance"
JCGM = "JCGM 101:2008, clause 9.2, in sandialabs/suncal tests (d44c2cc), second-hand copy"
JCGM_MEMORY = "JCGM 101:2008, clause 9, from memory"
NPL = "NPL report DEM-ES-011, Best practice guide 6, section 9.2, second-hand copy"
DRAWS = round_up_draws(1_000_000)
P = np.array([1e-9, 1e-4, 0.05, 0.1, 0.37, 0.5, 0.81, 0.9, 0.95, 1 - 1e-4, 1 - 1e-9])


def moments(made):
    """Mean and variance by numerical integration of the quantile function."""
    mean, _ = integrate.quad(lambda p: float(made.quantile(np.array(p))), 0, 1, limit=500, epsabs=1e-12)
    variance, _ = integrate.quad(lambda p: float(made.quantile(np.array(p)) - mean) ** 2, 0, 1, limit=500, epsabs=1e-12)
    return mean, variance


def drawn(seed, *inputs):
    """Draws of independent inputs, each by its quantile function, as a study draws them."""
    uniform = points(len(inputs), DRAWS, seed)
    return [made.quantile(uniform[:, column]) for column, made in enumerate(inputs)]


@pytest.mark.parametrize(
    ("low", "likely", "high", "expected"),
    [(2, 5, 8, "5"), (1, 4, 7, "4"), (2, 4, 6, "4"), (5, 7, 12, "7.5"), (3, 5, 10, "5.5"), (3, 6, 9, "6"), (4, 6, 10, "6.33")],
)
def test_pert_mean_published(low, likely, high, expected):
    """D06: mean (low + 4 likely + high) / 6; D07: the variance is the beta's (mean - low)(high - mean) / 7, not (range / 6) ** 2."""
    mean, variance = moments(distribution("pert", low=low, likely=likely, high=high))
    exact = (low + 4 * likely + high) / 6

    assert mean == pytest.approx(exact, rel=1e-9)
    assert mean == printed(expected), MALC
    assert variance == pytest.approx((exact - low) * (high - exact) / 7, rel=1e-8)


def test_pert_variance_published():
    """D07: (5, 7, 12) has variance 1.6071 as a beta, where the rule of thumb prints 1.36."""
    _, variance = moments(distribution("pert", low=5, likely=7, high=12))

    assert variance == printed("1.6071"), "own arithmetic: (7.5 - 5)(12 - 7.5) / 7"


@pytest.mark.parametrize(("low", "likely", "high", "expected"), [(0, 0.8, 1, "0.047"), (4, 5, 12, "3.167"), (2, 5, 8, "1.5")])
def test_triangular_variance_published(low, likely, high, expected):
    """D08; the mean is (low + likely + high) / 3."""
    mean, variance = moments(distribution("triangular", low=low, likely=likely, high=high))

    assert variance == printed(expected), STDLIB
    assert mean == pytest.approx((low + likely + high) / 3, rel=1e-9)


SIGMA = np.log(4 / 2) / (2 * stats.norm.ppf(0.9))  # p10 2, p90 4


@pytest.mark.parametrize(
    ("name", "parameters", "reference"),
    [
        ("uniform", {"low": 2, "high": 5}, stats.uniform(2, 3)),
        ("normal", {"mean": 3, "sd": 0.5}, stats.norm(3, 0.5)),
        ("lognormal", {"p10": 2, "p90": 4}, stats.lognorm(SIGMA, scale=np.sqrt(8))),
        ("beta", {"mean": 0.83, "worth": 12}, stats.beta(0.83 * 12, 0.17 * 12)),
        ("gamma", {"mean": 40, "sd": 8}, stats.gamma(25, scale=1.6)),
        ("weibull", {"mean": 35, "shape": 2.5}, stats.weibull_min(2.5, scale=35 / stats.weibull_min(2.5).mean())),
        ("triangular", {"low": 2, "likely": 3, "high": 7}, stats.triang(0.2, 2, 5)),
        ("triangular", {"low": 2, "likely": 2, "high": 7}, stats.triang(0.0, 2, 5)),
        ("triangular", {"low": 2, "likely": 7, "high": 7}, stats.triang(1.0, 2, 5)),
        ("pert", {"low": 2, "likely": 3, "high": 7}, stats.beta(1.8, 4.2, 2, 5)),
        ("discrete", {"values": [1, 2, 5], "weights": [2, 1, 1]}, stats.rv_discrete(values=([1, 2, 5], [0.5, 0.25, 0.25]))),
        (
            "inverse gamma life",  # shape 1: an inverse gamma itself
            {"events": 8, "exposure": 5000, "power": 1, "factor": 1},
            stats.invgamma(8, scale=5000),
        ),
    ],
)
def test_quantile_equals_scipy(name, parameters, reference):
    """Same quantiles as scipy's distribution of the same name, tails included, to the 1e-8 that tables are promised to."""
    p = P[P != 0.5] if name == "discrete" else P  # at the jump itself either value is a quantile

    assert distribution(name, **parameters).quantile(p) == pytest.approx(reference.ppf(p), rel=1e-8)


@pytest.mark.parametrize(
    ("name", "parameters", "middle"),
    [
        ("triangular", {"low": 2, "likely": 3, "high": 7}, 3),
        ("pert", {"low": 2, "likely": 3, "high": 7}, 3),
        ("uniform", {"low": 2, "high": 5}, 3.5),
        ("normal", {"mean": 3, "sd": 1}, 3),
        ("lognormal", {"p10": 2, "p90": 8}, 4),  # geometric mean of the two
        ("beta", {"mean": 0.83, "worth": 12}, 0.83),
        ("gamma", {"mean": 40, "sd": 8}, 40),
        ("weibull", {"mean": 35, "shape": 2.5}, 35),
        ("discrete", {"values": [1, 2, 5], "weights": [1, 3, 1]}, 2),  # median
    ],
)
def test_middle_is_the_stated_value(name, parameters, middle):
    """A point result uses the likely value, the mean, or the median where neither is stated."""
    assert distribution(name, **parameters).middle == pytest.approx(middle, rel=1e-14)


def test_sum_of_four_normals_published():
    """D01: standard uncertainty 2.0, 95 % within 3.92."""
    total = sum(drawn(1, *[distribution("normal", mean=0, sd=1)] * 4))
    _agrees(total, "2.0", "3.92", JCGM)


def test_sum_of_four_rectangular_published():
    """D02: standard uncertainty 2.0, 95 % within 3.88, which a normal would put at 3.92."""
    half = np.sqrt(3)
    total = sum(drawn(2, *[distribution("uniform", low=-half, high=half)] * 4))
    _agrees(total, "2.0", "3.88", JCGM)


def test_sum_of_unequal_rectangular_published():
    """D03: one of four ten times as wide: standard uncertainty 10.1, 95 % within 17.0, which a normal would put at 19.9."""
    half = np.sqrt(3)
    narrow, wide = distribution("uniform", low=-half, high=half), distribution("uniform", low=-10 * half, high=10 * half)
    _agrees(sum(drawn(3, narrow, narrow, narrow, wide)), "10.1", "17.0", JCGM_MEMORY)


def _agrees(total, uncertainty, half_width, source):
    """Variance about 0 and share within the half width, within four Monte Carlo errors of what the printed digits allow."""
    u, width = float(uncertainty), float(half_width)
    variance = summarise(total**2)
    half_digit = 0.05  # of the uncertainty, printed to one decimal
    assert variance["mean"] + 4 * variance["mean_error"] > (u - half_digit) ** 2, source
    assert variance["mean"] - 4 * variance["mean_error"] < (u + half_digit) ** 2, source
    half_digit = 0.05 if half_width == "17.0" else 0.005
    inside, outside = chance(np.abs(total) <= width - half_digit), chance(np.abs(total) <= width + half_digit)
    assert inside["chance"] - 4 * inside["error"] < 0.95 < outside["chance"] + 4 * outside["error"], source


def test_mass_calibration_published():
    """D04: difference from nominal 1.2341 mg with standard uncertainty .0754, where first order gives .0539."""
    made = drawn(
        4,
        distribution("normal", mean=100_000, sd=0.050),
        distribution("normal", mean=1.234, sd=0.020),
        distribution("uniform", low=1.10, high=1.30),
        distribution("uniform", low=7_000, high=9_000),
        distribution("uniform", low=7_950, high=8_050),
    )
    reference, difference, air, weights, density = made
    result = (reference + difference) * (1 + (air - 1.2) * (1 / weights - 1 / density)) - 100_000
    mean, square = summarise(result), summarise((result - 1.234) ** 2)
    # closed form by hand: E = 1.234 since E(air) = 1.2; the square of the buoyancy term adds Var(air) E(1/w - 1/d) ** 2
    inverse = {(a, b): np.log(b / a) / (b - a) for a, b in ((7_000, 9_000), (7_950, 8_050))}
    buoyancy = 1 / (7_000 * 9_000) + 1 / (7_950 * 8_050) - 2 * np.prod(list(inverse.values()))
    extra = (0.2**2 / 12) * buoyancy
    exact = (0.050**2 + 0.020**2) * (1 + extra) + 100_001.234**2 * extra

    assert mean["mean"] == pytest.approx(1.234, abs=4 * mean["mean_error"])
    assert square["mean"] == pytest.approx(exact, abs=4 * square["mean_error"])
    # the printed figures come from a run of their own of about 720,000 draws: three of its errors and half a digit
    assert mean["mean"] == pytest.approx(1.2341, abs=5e-5 + 3 * 0.0754 / np.sqrt(7.2e5)), JCGM_MEMORY
    assert np.sqrt(square["mean"]) == pytest.approx(0.0754, abs=5e-5 + 3 * 0.0754 / np.sqrt(2 * 7.2e5)), JCGM_MEMORY


def test_logarithm_of_rectangular_published():
    """D05: ln x, x from .1 to 1.1: mean -.665, sd .606, where first order gives -.511 and .481."""
    (x,) = drawn(5, distribution("uniform", low=0.1, high=1.1))
    result = summarise(np.log(x))

    assert result["mean"] == printed("-0.665"), NPL
    assert result["sd"] == printed("0.606"), NPL
    # integral of ln x by hand: 1.1 ln 1.1 - .1 ln .1 - 1
    exact = 1.1 * np.log(1.1) - 0.1 * np.log(0.1) - 1
    assert result["mean"] == pytest.approx(exact, abs=4 * result["mean_error"] + 1e-12)


@pytest.mark.parametrize(
    ("name", "parameters", "message"),
    [
        ("pert", {"low": 2, "likely": 9, "high": 8}, "pert needs low <= likely <= high, low < high; got 2, 9, 8"),
        ("triangular", {"low": 2, "likely": 2, "high": 2}, "triangular needs low <= likely <= high, low < high; got 2, 2, 2"),
        ("uniform", {"low": 3, "high": 3}, "uniform needs low < high; got 3, 3"),
        ("normal", {"mean": 3, "sd": 0}, "normal needs sd above 0; got 0"),
        ("lognormal", {"p10": 0, "p90": 2}, "lognormal needs 0 < p10 < p90; got 0, 2"),
        ("beta", {"mean": 1.0, "worth": 5}, "beta needs mean between 0 and 1, worth above 0; got 1, 5"),
        ("gamma", {"mean": -1, "sd": 1}, "gamma needs mean and sd above 0; got -1, 1"),
        ("weibull", {"mean": 1, "shape": 0}, "weibull needs mean and shape above 0; got 1, 0"),
        ("discrete", {"values": [1, 2], "weights": [1]}, "discrete needs as many weights as values, at least one"),
        ("discrete", {"values": [1], "weights": [0]}, "discrete needs weights of zero or more with a sum above 0"),
        ("uniform", {"low": 3, "hihg": 5}, "uniform needs high, low; got hihg, low"),
        ("normal", {"mean": np.nan, "sd": 1}, "normal needs finite parameters"),
        ("normal", {"mean": 1, "sd": np.inf}, "normal needs finite parameters"),
        ("uniform", {"low": 1, "high": np.inf}, "uniform needs finite parameters"),
    ],
)
def test_distribution_refuses_what_describes_none(name, parameters, message):
    """Each refusal says what the distribution needs and what arrived."""
    with pytest.raises(ValueError) as caught:
        distribution(name, **parameters)

    assert message in str(caught.value)
