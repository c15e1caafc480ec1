"""Limits of a share and beta-binomial loads against handbooks, published tables, a classic data set and scipy."""

import numpy as np
import pytest
from printed import printed
from scipy import special, stats
from statsmodels.stats.proportion import proportion_confint

from casting_econ.evidence.dispersion import binomial_limits
from casting_econ.evidence.posteriors import load_share_posterior
from casting_econ.models import good_per_load
from casting_econ.models.yields import beta_binomial_logpmf

NIST = "NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1"
R_LIMITS = "statsmodels tests (82c59e3), values from R"
NEWCOMBE = "Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, second-hand copy"
NEWCOMBE_MEMORY = "Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, from memory"
SUCCESS_RUN = "own arithmetic: the least n with reliability ** n of at most 1 - level"
GEISSLER = "Geissler (1889), 6,115 families of 12 children in Saxony, in Lindsey, Modelling Frequency and Count Data (1995), fit from memory"
TRIPLE = "rule of three, Hanley & Lippman-Hand, JAMA 249 (1983) 1743-1745, from memory"

BOYS = np.repeat(np.arange(13), [3, 24, 104, 286, 670, 1033, 1343, 1112, 829, 478, 181, 45, 7])


def test_exact_limits_published():
    """Y01: 4 of 20, 90 %: .071354 and .401029, whose last digit is off by one: .4010281 by scipy's beta quantile."""
    low, high = binomial_limits(4, 20, level=0.90, kind="exact")

    assert low == printed("0.071354"), NIST
    assert high == printed("0.401028"), NIST  # printed .401029
    assert high == pytest.approx(special.betaincinv(5, 16, 0.95), rel=1e-12)
    # a limit is where the tail is 5 %, by scipy's binomial
    assert stats.binom.sf(3, 20, low) == pytest.approx(0.05, rel=1e-9)
    assert stats.binom.cdf(4, 20, high) == pytest.approx(0.05, rel=1e-9)


def test_wilson_lower_limit_published():
    """Y02: 26 of 200, one-sided 95 %: .09577."""
    low, high = binomial_limits(26, 200, level=0.95, side="lower")

    assert low == printed("0.09577"), NIST
    assert high == 1.0


def test_wilson_limits_from_r_published():
    """Y04: 100 of 200, 95 %."""
    assert list(binomial_limits(100, 200, level=0.95)) == [printed("0.4313609"), printed("0.5686391")], R_LIMITS


@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [
        (81, 263, ".2553", ".3662"),
        (15, 148, ".0624", ".1605"),
        (0, 20, "0", ".1611"),
        (1, 29, ".0061", ".1718"),
        (29, 29, ".8830", "1"),
    ],
)
def test_wilson_limits_published(hits, n, low, high):
    """Y08: Wilson's limits, 95 %."""
    assert binomial_limits(hits, n, level=0.95) == (printed(low) if low != "0" else 0.0, printed(high) if high != "1" else 1.0), (
        NEWCOMBE
    )


@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [(0, 20, "0", ".1684"), (29, 29, ".8806", "1")],  # the others of Y09 are checked in test_yields.py
)
def test_exact_limits_at_the_ends_published(hits, n, low, high):
    """Y09: Clopper and Pearson's limits, 95 %, where nothing or everything was hit."""
    found = binomial_limits(hits, n, level=0.95, kind="exact")

    assert found == (printed(low) if low != "0" else 0.0, printed(high) if high != "1" else 1.0), NEWCOMBE_MEMORY


@pytest.mark.parametrize(
    ("n", "level", "reliability"),
    [
        (45, 0.90, 0.95),  # Y11
        (59, 0.95, 0.95),  # Y12
        (29, 0.95, 0.90),
        (22, 0.90, 0.90),
        (299, 0.95, 0.99),
    ],
)
def test_exact_one_sided_limit_of_a_run_without_failure(n, level, reliability):
    """Y11, Y12: the smallest run without failure that shows a reliability; one piece fewer does not."""
    assert binomial_limits(n, n, level, "exact", "lower")[0] >= reliability, SUCCESS_RUN
    assert binomial_limits(n - 1, n - 1, level, "exact", "lower")[0] < reliability, SUCCESS_RUN


def test_exact_one_sided_limit_digits():
    """Y11: 22 without failure at confidence .90 show a reliability of .90063; .10 ** (1/22) by hand."""
    assert binomial_limits(22, 22, 0.90, "exact", "lower")[0] == printed("0.90063"), SUCCESS_RUN
    assert binomial_limits(0, 300, 0.95, "exact", "upper")[1] == pytest.approx(3 / 300, rel=0.01), TRIPLE


@pytest.mark.parametrize(("kind", "other"), [("wilson", "wilson"), ("exact", "beta"), ("jeffreys", "jeffreys")])
@pytest.mark.parametrize("level", [0.5, 0.8, 0.99])
def test_limits_equal_statsmodels(kind, other, level):
    """Every count of 1 to 24 among 25 at once: statsmodels' proportion_confint."""
    hits = np.arange(1, 25)
    low, high = proportion_confint(hits, 25, alpha=1 - level, method=other)

    assert binomial_limits(hits, 25, level, kind) == (pytest.approx(low, rel=1e-9), pytest.approx(high, rel=1e-9))


@pytest.mark.parametrize(("kind", "other"), [("wilson", "wilson"), ("exact", "exact")])
@pytest.mark.parametrize("hits", [0, 3, 12])
def test_limits_equal_scipy(kind, other, hits):
    """scipy's binomtest: both sides and one."""
    for side, alternative in (("both", "two-sided"), ("lower", "greater"), ("upper", "less")):
        expected = stats.binomtest(hits, 12, alternative=alternative).proportion_ci(0.8, method=other)
        assert list(binomial_limits(hits, 12, 0.8, kind, side)) == pytest.approx([expected.low, expected.high], abs=1e-9)


@pytest.mark.parametrize("share", [0.03, 0.5, 0.83])
@pytest.mark.parametrize("rho", [0.001, 0.05, 0.4, 0.95])
def test_beta_binomial_equals_scipy(share, rho):
    """scipy's betabinom with a = y (1 - rho) / rho, b = (1 - y)(1 - rho) / rho, over loads of 1 to 60."""
    n = np.arange(1, 61)[:, None]
    k = np.arange(61)[None, :]
    worth = 1 / rho - 1
    expected = stats.betabinom.logpmf(k, n, share * worth, (1 - share) * worth)
    found = beta_binomial_logpmf(k, n, share, rho)

    assert np.isneginf(found).tolist() == (k > n).tolist()
    assert found[k <= n] == pytest.approx(expected[k <= n], rel=1e-7, abs=1e-9)  # scipy's own beta functions lose digits


@pytest.mark.parametrize("rho", [0.0, 1e-14, 1e-12])
def test_beta_binomial_without_correlation_is_scipys_binomial(rho):
    """As rho goes to 0, scipy's binom to ten digits, where betabinom has lost them all."""
    k = np.arange(41)

    assert beta_binomial_logpmf(k, 40, 0.9, rho) == pytest.approx(stats.binom.logpmf(k, 40, 0.9), rel=1e-9)


def test_beta_binomial_is_good_per_load():
    """The chances of good pieces in a load are the same law."""
    assert good_per_load(14, 0.83, 0.2) == pytest.approx(np.exp(beta_binomial_logpmf(np.arange(15), 14, 0.83, 0.2)), rel=1e-13)


def test_beta_binomial_of_families_published():
    """Boys among 12 children: log-likelihood -12,492.9 at a 34.09558, b 31.5715; AIC 24,989.74 against the binomial's 25,070.34.

    So many families leave the guess no weight: the posterior of share and correlation lies where the likelihood peaks.
    """
    a, b = 34.09558, 31.5715
    fitted = beta_binomial_logpmf(BOYS, 12, a / (a + b), 1 / (1 + a + b)).sum()
    binomial = beta_binomial_logpmf(BOYS, 12, BOYS.mean() / 12, 0.0).sum()
    share, alike = load_share_posterior(0.5, 0.01, BOYS, np.full(BOYS.size, 12))

    assert fitted == printed("-12,492.9"), GEISSLER
    assert 2 * 2 - 2 * fitted == printed("24,989.74"), GEISSLER
    assert 2 * 1 - 2 * binomial == printed("25,070.34"), GEISSLER
    assert share.middle == pytest.approx(a / (a + b), abs=0.1 * 0.002)  # a tenth of its standard error
    assert alike.middle == pytest.approx(1 / (1 + a + b), abs=0.2 * 0.0018)  # a fifth of it; the posterior is skewed
