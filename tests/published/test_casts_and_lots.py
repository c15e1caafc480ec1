"""Promises, lots, moulds and supplies of an order against published worked examples and outside libraries."""

import math

import numpy as np
import pint
import pytest
from printed import printed
from scipy import stats

from casting_econ.models import (
    casts_for,
    chance_of,
    cheapest_lots,
    cheapest_packs,
    counts_from_loads,
    good_per_load,
    hours_at_temperature,
    load_cost,
    mixed_masses,
    moulds_worn,
)

HL = "Hillier & Lieberman, Introduction to Operations Research (5th ed. 1990), Ex. 11.6, inputs second-hand, values from memory"
HL_PROBLEM = "own arithmetic on Hillier & Lieberman's example with two thirds good"
TOMPKINS = "Tompkins et al., Facilities Planning (4th ed. 2010), ch. 2, second-hand copy"
SUCCESS_RUN = "own arithmetic: the least n with reliability ** n of at most 1 - confidence"
TIJMS = "Tijms, A First Course in Stochastic Models (2003), Table 8.1.1, p. 312, columns of exact values"
OWN = "own arithmetic"
WATER = "density of water at 25 degC, CRC Handbook of Chemistry and Physics, from memory"
UNITS = pint.UnitRegistry()


# --- casts for a promise ---


@pytest.mark.parametrize(
    ("needed", "casts_at"),
    [
        (6, (12, 11, 10, 9, 8)),
        (12, (22, 20, 19, 17, 16)),
        (20, (35, 32, 29, 27, 25)),
        (32, (53, 49, 46, 42, 39)),
        (50, (81, 75, 69, 64, 60)),
        (100, (156, 145, 135, 125, 117)),
    ],
)
def test_casts_for_table_by_hand(needed, casts_at):
    """Casts for N good with a chance of 95 % at yields of 70 to 90 %; the same by scipy's binomial."""
    yields = (0.70, 0.75, 0.80, 0.85, 0.90)

    assert tuple(casts_for(needed, 0.95, 14, y, 0.0) for y in yields) == casts_at, OWN
    for casts, y in zip(casts_at, yields, strict=True):
        assert stats.binom.sf(needed - 1, casts, y) >= 0.95 > stats.binom.sf(needed - 1, casts - 1, y)


@pytest.mark.parametrize(
    ("casts", "rho", "expected"), [(34, 0, "0.64"), (36, 0, "0.85"), (38, 0, "0.95"), (42, 0, "0.997"), (42, 0.1, "0.96")]
)
def test_chance_of_28_good_by_hand(casts, rho, expected):
    """28 good at .89 x .96 x .97 = .828768, in loads of 14."""
    assert chance_of(28, casts, 14, 0.89 * 0.96 * 0.97, rho) == printed(expected), OWN


def test_casts_for_28_good_by_hand():
    """38 casts for 95 %; three loads of 14 at a correlation of .1, four at .2."""
    share = 0.89 * 0.96 * 0.97
    loads = [math.ceil(casts_for(28, 0.95, 14, share, rho) / 14) for rho in (0.0, 0.1, 0.2)]

    assert casts_for(28, 0.95, 14, share, 0.0) == 38, OWN
    assert loads == [3, 3, 4], OWN


@pytest.mark.parametrize(("load", "expected"), [(14, "0.67"), (16, "0.70")])
def test_counts_from_loads_in_sets_by_hand(load, expected):
    """Share of casts that end in a full set of 6 from one load of 14, and of 16."""
    sets = counts_from_loads((load,), 0.89 * 0.96 * 0.97, 0.0, set_size=6)

    assert 6 * (sets @ np.arange(sets.size)) / load == printed(expected), OWN


@pytest.mark.parametrize(
    ("confidence", "reliability", "runs"),
    [(0.90, 0.95, 45), (0.95, 0.95, 59), (0.95, 0.90, 29), (0.90, 0.90, 22), (0.95, 0.99, 299)],
)
def test_casts_for_is_the_success_run(confidence, reliability, runs):
    """Y11, Y12: trials until one failure shows with a chance; one 'good' at a share of 1 - reliability."""
    assert casts_for(1, confidence, 10, 1 - reliability, 0.0) == runs, SUCCESS_RUN


@pytest.mark.parametrize("rho", [0.02, 0.1, 0.3])
def test_chance_of_one_load_is_scipys_beta_binomial(rho):
    """One load of 36: scipy.stats.betabinom's tail at mean .83."""
    a, b = 0.83 * (1 / rho - 1), 0.17 * (1 / rho - 1)

    assert chance_of(28, 36, 36, 0.83, rho) == pytest.approx(stats.betabinom.sf(27, 36, a, b), rel=1e-10)


def test_chance_of_averaged_over_beta_shares_is_scipys_beta_binomial():
    """Shares at 2,000 even quantiles of Beta(40, 8), loads independent: the beta-binomial of all casts together."""
    shares = stats.beta(40, 8).ppf((np.arange(2000) + 0.5) / 2000)

    assert chance_of(28, 36, 14, shares, 0.0) == pytest.approx(stats.betabinom.sf(27, 36, 40, 8), abs=2e-6)


def test_casts_for_is_scipys_negative_binomial():
    """Casts until the 28th good piece are 28 and the bad ones before it: the 90, 95 and 99 % points."""
    for confidence in (0.90, 0.95, 0.99):
        assert casts_for(28, confidence, 14, 0.83, 0.0) == 28 + stats.nbinom(28, 0.83).ppf(confidence)


# --- lots ---


def test_cheapest_lots_published():
    """R01: one good item, half good, set-up 300, unit 100, 1,600 if short after three lots: 675; start 2, then 2 or 3, then 3 or 4."""
    plan = cheapest_lots(1, 3, lambda q: good_per_load(q, 0.5), load_cost(300, 100, 10_000), lambda short: 1600)

    assert plan.expected_cost == printed("675.00"), HL
    assert plan.first == (2,), HL
    assert plan.table[2, 1] == (printed("700.00"), (2, 3)), HL
    assert plan.table[1, 1] == (printed("800.00"), (3, 4)), HL


def test_cheapest_lots_problem_by_hand():
    """R02: the same with two thirds good and two lots: 573.25, start 2, then 3; by hand the last lot costs 600 + 1,600 / 27."""
    plan = cheapest_lots(1, 2, lambda q: good_per_load(q, 2 / 3), load_cost(300, 100, 10_000), lambda short: 1600)

    assert plan.expected_cost == printed("573.25"), HL_PROBLEM
    assert plan.first == (2,), HL_PROBLEM
    assert plan.table[1, 1] == (pytest.approx(600 + 1600 / 27, rel=1e-12), (3,)), HL_PROBLEM


@pytest.mark.parametrize(
    ("casts", "profit", "source"),
    [
        (4, "18,732", TOMPKINS),
        (5, "35,224.80", TOMPKINS + ", from memory"),
        (6, "28,098.00", TOMPKINS + ", from memory"),
        (7, "14,672.64", TOMPKINS + ", from memory"),
        (8, "-51.80", TOMPKINS + ", from memory"),
    ],
)
def test_chance_of_reject_allowance_published(casts, profit, source):
    """R03, R04: 120,000 for four good castings, none if short, 15,000 a casting, .9 good."""
    assert 120_000 * chance_of(4, casts, 14, 0.9, 0.0) - 15_000 * casts == printed(profit), source


def test_cheapest_lots_reject_allowance_published():
    """R03, R04: best start 5, profit 35,224.80, a loss with chance .08146."""
    plan = cheapest_lots(4, 1, lambda q: good_per_load(q, 0.9), load_cost(0, 15_000, 10_000), lambda short: 120_000)

    assert 120_000 - plan.expected_cost == printed("35,224.80"), TOMPKINS
    assert plan.first == (5,), TOMPKINS
    assert 1 - plan.chance_met == printed("0.08146"), TOMPKINS


# --- moulds ---


@pytest.mark.parametrize("sets", [1, 3])
@pytest.mark.parametrize(
    ("shape", "exact"),
    [
        (
            2.1013,  # squared coefficient of variation .25
            "0.1:0.0061 0.2:0.0261 0.4:0.1087 0.6:0.2422 0.8:0.4141 1.0:0.6091 1.2:0.8143 1.5:1.124 2.0:1.627 2.5:2.125",
        ),
        (0.7209047, "0.2:0.3841 0.5:0.7785 1.0:1.357 1.5:1.901 2.0:2.428 2.5:2.947 3.0:3.460 3.5:3.969 5.0:5.485 7.5:7.995"),
    ],
)
def test_moulds_worn_is_the_renewal_function_published(shape, exact, sets):
    """S14, S16: the exact columns for Weibull lives of mean 1 and squared coefficients of variation .25 and 2; a mean life is 400 casts here."""
    for time, renewals in (pair.split(":") for pair in exact.split()):
        casts = round(400 * float(time))
        assert moulds_worn(sets * casts, sets, 400.0, shape) / sets == printed(renewals), (TIJMS, time)


# --- supplies, pressure, temperature ---


@pytest.mark.parametrize(("temperature", "hours"), [(17, "36"), (13, "48"), (30, "15"), (23, "24")])
def test_hours_at_temperature_by_hand(temperature, hours):
    """A demould of 24 h at 23 degC, twice as quick for 10 degrees more."""
    assert hours_at_temperature(24, 23, temperature) == printed(hours), OWN


def test_hours_at_temperature_is_arrhenius_law():
    """Twice for ten degrees about 23 degC is an activation energy of 50 kJ/mol; over 13 to 33 degC the two differ by 3 % at most."""
    gas_constant = 8.314462618  # J/(mol K), CODATA 2018, from memory
    energy = gas_constant * np.log(2) / (1 / 291.15 - 1 / 301.15)  # from 18 to 28 degC
    temperatures = np.array([13.0, 18.0, 23.0, 28.0, 33.0])
    arrhenius = 24 * np.exp(energy / gas_constant * (1 / (temperatures + 273.15) - 1 / 296.15))

    assert energy == pytest.approx(50_500, rel=0.01)
    assert hours_at_temperature(24, 23, temperatures) == pytest.approx(arrhenius, rel=0.03)


def test_mixed_masses_of_water():
    """.997047 g/ml: a US gallon, 3,785.411784 ml (M01), of 1:1 by volume weighs 8.3208 lb (M04), by hand."""
    gallon, pound = UNITS.Quantity(1, "gallon").m_as("ml"), UNITS.Quantity(1, "lb").m_as("g")
    masses, volumes = mixed_masses(gallon, (1, 1), (0.997047, 0.997047), by="volume")

    assert masses.sum() / pound == printed("8.3208"), WATER
    assert volumes.tolist() == pytest.approx([gallon / 2] * 2, rel=1e-15)


@pytest.mark.parametrize(("resin", "hardener", "error"), [(1.10, 1.00, 0.10), (1.13, 0.985, 0.15), (1.14, 0.95, 0.20)])
def test_mixed_masses_taken_for_volumes_err(resin, hardener, error):
    """Resin 1.1 to 1.16, hardener .95 to 1.02 g/ml: weighing out a ratio that is by volume is off by 10 to 20 %."""
    masses, _ = mixed_masses(100.0, (1, 1), (resin, hardener), by="volume")

    assert masses[0] / masses[1] - 1 == pytest.approx(error, abs=0.005), OWN


@pytest.mark.parametrize(
    ("need", "pack", "counts"),
    [
        ("1 gallon", "128 fluid_ounce", 1),  # M01, M02: 231 in3 are 128 fl oz
        ("4.54609 liter", "160 imperial_fluid_ounce", 1),  # M03
        ("1 lb", "16 oz", 1),  # M04
        ("1 lb", "453.59237 g", 1),
        ("1 gallon", "127.999 fluid_ounce", 2),
        ("1 lb", "453.592 g", 2),
    ],
)
def test_cheapest_packs_fit_units_exactly(need, pack, counts):
    """Packs that hold exactly what is needed, in other units, are enough; a hair less is not."""
    pack = UNITS.Quantity(pack)
    size = pack.m_as("ml") if pack.is_compatible_with("ml") else pack.m_as("g")
    need = UNITS.Quantity(need).m_as("ml" if pack.is_compatible_with("ml") else "g")

    assert cheapest_packs(need, (size,), (1.0,)) == ((counts,), counts)
