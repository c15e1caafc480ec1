"""Yield, scrap chains and counts of good pieces against published worked examples."""

import math

import numpy as np
import pytest
from printed import printed

from casting_econ.draws import distribution
from casting_econ.evidence import share_posterior
from casting_econ.models import (
    Product,
    Step,
    at_scrap_rate,
    entering_per_good,
    full_sets_per_load,
    good_per_load,
    piece_cost,
    rolled_yield,
    scrapped_per_good,
)

KELLER = "Keller, Six Sigma Demystified (2nd ed. 2011), pp. 93-94"
PYZDEK = "Pyzdek, The Six Sigma Project Planner (2003), Table 24, second-hand copy"
TOMPKINS = "Tompkins et al., Facilities Planning (4th ed. 2010), ch. 2, second-hand copy"
NIST = "NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1"
R_LIMITS = "statsmodels tests (82c59e3), values from R"
NEWCOMBE = "Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, from memory"
OEE = "overall equipment effectiveness, example 1 (waycalculator.com): 400 made, 380 good, quality .95"
APO = "Asian Productivity Organization, Manual on Material Flow Cost Accounting: ISO 14051 (2014), from memory"


@pytest.mark.parametrize(
    ("shares", "expected", "source"),
    [
        ([0.997, 0.995, 0.95, 0.89, 0.923, 0.94], "0.728", KELLER),  # Y13
        ([1 - dpmo / 1e6 for dpmo in (5_000, 15_000, 1_000, 50)], "0.979", PYZDEK),  # Y16
    ],
)
def test_rolled_yield_published(shares, expected, source):
    """Y13, Y16: rolled throughput yield."""
    assert rolled_yield(shares) == printed(expected), source


@pytest.mark.parametrize(
    ("shares", "expected", "misprint"),
    [
        ([0.85, 0.90, 0.95], "0.72675", ".612 in an answer at isixsigma.com"),
        (
            [1 - bad / n for bad, n in ((75, 850), (72, 1202), (83, 943), (70, 894), (88, 1200))],
            "0.66766",
            ".582 in a public question",
        ),
    ],
)
def test_rolled_yield_by_hand(shares, expected, misprint):
    """Own arithmetic, the plain product, where what is printed is wrong."""
    assert rolled_yield(shares) == printed(expected), misprint


def test_at_scrap_rate_is_normalised_yield_published():
    """Y14: .73 ** (1/6) = .95 a step, the same for six equal steps with .27 scrapped over all."""
    shares = at_scrap_rate([0.9] * 6, 0.27)

    assert shares == [printed("0.95")] * 6, KELLER
    assert shares == [pytest.approx(0.9489, abs=5e-5)] * 6  # .73 ** (1/6) to four digits, by hand


def test_entering_per_good_scrap_chain_published():
    """Y19: 97,000 good with scrap .04, .01, .03, last step first, needs 100,000; 101,010; 105,219 (rounded up at each step)."""
    entering = [97_000 * n for n in entering_per_good([0.96, 0.99, 0.97])]

    assert entering == [pytest.approx(105_219, abs=1), printed("101,010"), pytest.approx(100_000, rel=1e-12)], TOMPKINS
    assert entering[0] == printed("105,218.86")  # 97,000 / (.97 x .99 x .96), by hand
    assert 97_000 * sum(scrapped_per_good([0.96, 0.99, 0.97])) == printed("8,218.86")  # 105,218.86 - 97,000


def test_entering_per_good_starts_published():
    """Y16: 1,022 whole starts for 1,000 good."""
    shares = [1 - dpmo / 1e6 for dpmo in (5_000, 15_000, 1_000, 50)]

    assert math.ceil(1000 * entering_per_good(shares)[0]) == 1022, PYZDEK


@pytest.mark.parametrize(
    ("casts", "share", "at_least", "expected"),
    [
        (2, 0.9, 1, "0.99"),  # 1 - .1 ** 2
        (3, 0.9, 2, "0.972"),  # .9 ** 3 + 3 x .9 ** 2 x .1
    ],
)
def test_good_per_load_chance_of_enough_by_hand(casts, share, at_least, expected):
    """Y20, own arithmetic: one of two, two of three."""
    assert good_per_load(casts, share)[at_least:].sum() == printed(expected)


def test_good_per_load_reject_allowance_published():
    """R03: chances of 0 to 4 good castings of 4 at .9; 120,000 for a whole lot of 4 less 4 x 15,000 leaves 18,732 expected."""
    chances = good_per_load(4, 0.9)

    assert list(chances) == [printed(p) for p in ("0.0001", "0.0036", "0.0486", "0.2916", "0.6561")], TOMPKINS
    assert 120_000 * full_sets_per_load(4, 0.9, 4) - 4 * 15_000 == printed("18,732"), TOMPKINS


@pytest.mark.parametrize(
    ("good", "of", "confidence", "low", "high", "source"),
    [
        (100, 200, 0.95, "0.4286584", "0.5713416", R_LIMITS),  # Y03
        (81, 263, 0.95, "0.2527", "0.3676", NEWCOMBE),  # Y09
        (15, 148, 0.95, "0.0578", "0.1617", NEWCOMBE),
        (1, 29, 0.95, "0.0009", "0.1776", NEWCOMBE),
        (4, 20, 0.90, "0.07135", "0.40103", NIST),  # Y01: printed to six digits, the last of them off by one
    ],
)
def test_beta_quantiles_are_exact_binomial_limits_published(good, of, confidence, low, high, source):
    """Exact limits are quantiles of Beta(good, bad + 1) and Beta(good + 1, bad)."""
    tail = (1 - confidence) / 2
    lower = distribution("beta", mean=good / (of + 1), worth=of + 1).quantile(tail)
    upper = distribution("beta", mean=(good + 1) / (of + 1), worth=of + 1).quantile(1 - tail)

    assert (lower, upper) == (printed(low), printed(high)), source


def test_share_posterior_is_jeffreys_interval_published():
    """Y05: a guess of one half worth one piece, then 100 good of 200, gives the 95 % Jeffreys interval."""
    posterior = share_posterior(0.5, 1, 100, 100)

    assert list(posterior.quantile(np.array([0.025, 0.975]))) == [printed("0.4311217"), printed("0.5688783")], R_LIMITS


def test_piece_cost_quality_published():
    """Q19: 20 of 400 rejected at a check leave .95 good, and 380 good take 400 casts."""
    cost = piece_cost(Product(name="piece", casts_per_load=1, steps=(Step(name="check", pass_share=1 - 20 / 400),)), 0.0)

    assert cost.good_share == printed("0.95"), OEE
    assert 380 * cost.casts == pytest.approx(400, rel=1e-12), OEE


def test_piece_cost_splits_loss_as_material_flow_costing_published():
    """B19: 100 kg in, 70 good; material 1,000, energy 50, system 800: product 1,295, loss 635 of which 80 waste treatment."""
    # a piece is a kilogram: material 10, energy .50 as a consumable, system 8 as minutes at 1 a minute
    from casting_econ.models import Material

    used = (Material(name="material", cost=10.0), Material(name="energy", cost=0.5, kind="consumable"))
    step = Step(name="process", minutes=8.0, pass_share=0.7, materials=used)
    cost = piece_cost(Product(name="kilogram", casts_per_load=100, steps=(step,)), target_per_hour=60.0)

    assert 70 * cost.steps[0].spent_when_found == printed("1,295"), APO
    assert 70 * cost.scrap_cost == pytest.approx(635 - 80, rel=1e-12), APO
