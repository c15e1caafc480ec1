"""Sensitivity indices and values of information against published values and SALib."""

import numpy as np
import pytest
from SALib.analyze import sobol as salib_sobol
from SALib.test_functions import Ishigami, Sobol_G
from scipy import stats
from statsmodels.gam.api import BSplines, GLMGam

from casting_econ.draws import points
from casting_econ.draws.information import partial_information, perfect_information
from casting_econ.draws.sobol import sobol_indices

PI = np.pi


def unit_normal_loss(u):
    """Expected shortfall of a standard normal below u."""
    return stats.norm.pdf(u) - u * stats.norm.sf(u)


def ishigami(u):
    return Ishigami.evaluate(PI * (2 * u - 1), A=7, B=0.1)


def g_function(u):
    return Sobol_G.evaluate(u, a=np.array([0, 1, 4.5, 9, 99, 99, 99, 99]))


def test_ishigami():
    """First order .3139 .4424 0: SALib documentation and Saltelli et al. 2008. Totals and variance from their formulas."""
    found = sobol_indices(ishigami, 3, 16384, seed=1)
    assert found.first[:, 0] == pytest.approx([0.3139, 0.4424, 0.0], abs=0.01)
    assert found.total[:, 0] == pytest.approx([0.557589, 0.442411, 0.243684], abs=0.01)  # F: formula of the source, digits ours
    assert found.variance[0] == pytest.approx(13.844588, rel=0.01)
    assert (found.total_low[:, 0] <= [0.5576, 0.4424, 0.2437]).all() and (
        found.total_high[:, 0] >= [0.5576, 0.4424, 0.2437]
    ).all()
    assert found.half[0] < 0.02


def test_g_function():
    """First order .7162 .1790 .0237 .0072 .0001 with all eight factors (the header of SALib prints those of the first four); totals by the closed form, from memory."""
    found = sobol_indices(g_function, 8, 16384, seed=2)
    assert found.first[:2, 0] == pytest.approx([0.7162, 0.1790], abs=0.01)
    assert found.first[2:5, 0] == pytest.approx(
        [0.0237, 0.0072, 0.0001], abs=0.002
    )  # small ones scatter by .0005 from scramble to scramble
    assert found.total[:4, 0] == pytest.approx([0.7871, 0.2422, 0.0343, 0.0105], abs=0.01)
    assert found.variance[0] == pytest.approx(0.4654244, rel=0.02)


def test_indices_agree_with_a_reference_library_on_the_same_sample():
    """SALib's estimators on the same base samples: both are consistent, so they differ by their own errors only."""
    rows, d = 4096, 3
    both = points(2 * d, rows, 5)
    a, b = both[:, :d], both[:, d:]
    blocks = []
    for j in range(rows):  # SALib's order without second order: A, AB_1 .. AB_d, B, row by row
        blocks.append(a[j])
        for i in range(d):
            mixed = a[j].copy()
            mixed[i] = b[j, i]
            blocks.append(mixed)
        blocks.append(b[j])
    problem = {"num_vars": d, "names": ["x1", "x2", "x3"], "bounds": [[0, 1]] * d}
    theirs = salib_sobol.analyze(problem, ishigami(np.array(blocks)), calc_second_order=False, seed=1)
    ours = sobol_indices(ishigami, d, rows, seed=5)
    assert ours.first[:, 0] == pytest.approx(theirs["S1"], abs=0.02)
    assert ours.total[:, 0] == pytest.approx(theirs["ST"], abs=0.02)
    widths = (ours.total_high - ours.total_low)[:, 0] / 2
    # SALib prints half widths of 95 %; ours are of 90 %
    assert widths == pytest.approx(theirs["ST_conf"] * stats.norm.ppf(0.95) / stats.norm.ppf(0.975), rel=0.25)


def test_drilling_or_selling():
    """Drill for 700 or -100, or sell for 90, oil with a chance of one in four: knowing is worth 142.5. Hillier & Lieberman, Introduction to
    Operations Research, ch. on decision analysis (the oil prospect), second-hand copy.

    A survey that is right with .6 where there is oil and .8 where there is none is worth 53 before its cost.
    """
    oil = np.repeat([True, False], [250, 750])
    benefit = np.column_stack([np.where(oil, 700.0, -100.0), np.full(1000, 90.0)])
    assert perfect_information(benefit).value == pytest.approx(142.5)
    assert partial_information(benefit, oil.astype(float)).value == pytest.approx(142.5, rel=0.02)
    survey = np.concatenate([np.repeat([1.0, 0.0], [150, 100]), np.repeat([0.0, 1.0], [600, 150])])
    assert partial_information(benefit, survey).value == pytest.approx(
        53.0, abs=3 * partial_information(benefit, survey).error + 1
    )


def test_two_normal_inputs():
    """p1 ~ N(1, 1), p2 ~ N(0, 2), choose 0 or p1 - p2: EVPI .4798107 (vignette of the R package voi). EVPPI .0833155 and .3955931: own arithmetic.

    Four scrambles of the points; even points scatter far less than independent draws, so their own scatter is the tolerance.
    """
    found, known = [], []
    for seed in range(4):
        u = points(2, 16384, seed)
        p1, p2 = 1 + stats.norm.ppf(u[:, 0]), 2 * stats.norm.ppf(u[:, 1])
        benefit = np.column_stack([np.zeros(p1.size), p1 - p2])
        known.append(perfect_information(benefit).value)
        worths = [partial_information(benefit, inputs) for inputs in (p1, p2, np.column_stack([p1, p2]))]
        found.append([worth.value for worth in worths])
        assert max(worth.error for worth in worths) < 0.01
    assert np.mean(known) == pytest.approx(0.4798107, abs=5e-4)
    means, scatter = np.mean(found, axis=0), np.std(found, axis=0, ddof=1)
    assert (scatter < [0.002, 0.001, 0.0005]).all()
    assert (np.abs(means - [0.0833155, 0.3955931, 0.4798107]) < 4 * scatter).all()


def test_knowing_a_mean_of_a_linear_normal_benefit():
    """Benefit N(m, s): EVPI = s L(|m| / s), Raiffa & Schlaifer 1961, ch. 5; with a share of the variance known, own arithmetic: sqrt(share) s L(...)."""
    z, noise = stats.norm.ppf(points(2, 32768, 9)).T
    for mean, share in ((0.5, 0.5), (-1.0, 0.8)):
        benefit = mean + np.sqrt(share) * z + np.sqrt(1 - share) * noise
        actions = np.column_stack([np.zeros(z.size), benefit])
        found = partial_information(actions, z)
        closed = np.sqrt(share) * unit_normal_loss(abs(mean) / np.sqrt(share))
        assert found.value == pytest.approx(closed, abs=max(4 * found.error, 0.002))
        halved = partial_information(actions, z, removed=0.75)
        reach = np.sqrt(0.75 * share)
        assert halved.value == pytest.approx(reach * unit_normal_loss(abs(mean) / reach), abs=max(4 * halved.error, 0.003))


@pytest.mark.parametrize("bend", [0.0, 0.6])
def test_knowing_an_input_agrees_with_a_reference_regression(bend):
    """Penalised B-splines of statsmodels (GLMGam) on the same draws: the mean of the better of the two fitted benefits.

    That mean profits from its own noise, by at most the root of its parameters over the draws, so it may lie above by that; ours decides on
    parts it has not seen, so it may lie below.
    """
    z, noise = stats.norm.ppf(points(2, 8192, 4)).T
    benefit = 0.3 + z + bend * (z**2 - 1.0) + 1.5 * noise
    spline = BSplines(z[:, None], df=[8], degree=[3])
    fitted = GLMGam(benefit, np.ones((z.size, 1)), smoother=spline, alpha=0.1).fit().fittedvalues
    theirs = np.maximum(fitted, 0.0).mean() - max(benefit.mean(), 0.0)
    ours = partial_information(np.column_stack([np.zeros(z.size), benefit]), z)
    assert ours.value == pytest.approx(theirs, abs=3.0 * ours.error + 1.5 * 8 / z.size)
    assert theirs > 10 * ours.error  # so that the agreement says something
