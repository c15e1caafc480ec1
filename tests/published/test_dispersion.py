"""Limits of a share and beta-binomial loads against handbooks, published tables, a classic data set and scipy."""

import numpy as np
import pytest
from printed import printed
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from casting_econ.evidence import binomial_limits
from casting_econ.evidence.posteriors import load_share_posterior
from casting_econ.models import good_per_load
from casting_econ.models.yields import beta_binomial_logpmf

GEISSLER = "Geissler (1889), 6,115 families of 12 children in Saxony, in Lindsey, Modelling Frequency and Count Data (1995), fit from memory"

BOYS = np.repeat(np.arange(13), [3, 24, 104, 286, 670, 1033, 1343, 1112, 829, 478, 181, 45, 7])


@pytest.mark.parametrize("level", [0.5, 0.8, 0.99])
def test_limits_equal_statsmodels(level):
    """Every count of 1 to 24 among 25 at once: statsmodels' proportion_confint."""
    hits = np.arange(1, 25)
    low, high = proportion_confint(hits, 25, alpha=1 - level, method="jeffreys")

    assert binomial_limits(hits, 25, level) == (pytest.approx(low, rel=1e-9), pytest.approx(high, rel=1e-9))


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
