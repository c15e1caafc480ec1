"""Control charts, run rules and drift against handbook examples, tables and statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm
from printed import printed
from scipy import stats

from casting_econ.evidence.control import D2, p_chart, run_rules, trend

NIST = "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2, from memory"
MONTGOMERY = "Montgomery, Introduction to Statistical Quality Control, ch. 7, p charts, from memory"
TABLE = "constants of control charts, for instance Montgomery, appendix VI, from memory"
CHAMP = "Champ & Woodall, Technometrics 29 (1987) 393-399, from memory; 91.75 also in the NIST e-Handbook, 6.3.2, from memory"
ONE = "one load beyond the usual range"
TWO = "2 of 3 loads beyond two thirds of it on one side"
FOUR = "4 of 5 loads beyond a third of it on one side"
EIGHT = "8 loads in a row on one side of the middle"

WAFERS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6]
LATER = [9, 6, 12, 5, 6, 4, 6, 3, 7, 6, 2, 4, 3, 6, 5, 4, 8, 5, 6, 7, 5, 6, 3, 5]
ORDERS = [12, 8, 6, 9, 10, 12, 11, 16, 10, 6, 20, 15, 9, 8, 6, 8, 10, 7, 5, 8, 5, 8, 10, 6, 9]
ORDER_SIZES = [100, 80, 80, 100, 110, 110, 100, 100, 90, 90, 110, 120, 120, 120, 110, 80, 80, 80, 90, 100, 100, 100, 100, 90, 90]


def beyond(chart):
    """Loads outside the limits, counted from 1 as books do."""
    return [int(i) + 1 for i in np.flatnonzero((chart.share > chart.upper) | (chart.share < chart.lower))]


def test_p_chart_wafers_published():
    """30 wafers of 50 chips: centre .2313, limits .0524 and .4102; wafers 15 and 23 are beyond."""
    chart = p_chart(WAFERS, 50, laney=False)

    assert chart.centre[0] == printed("0.2313"), NIST
    assert chart.lower[0] == printed("0.0524"), NIST
    assert chart.upper[0] == printed("0.4102"), NIST
    assert beyond(chart) == [15, 23], NIST
    assert [at + 1 for rule, at in run_rules(chart.z) if rule == ONE] == [15, 23], NIST


def test_p_chart_without_two_samples_published():
    """The same without samples 15 and 23: 301 of 1,400, centre .2150, limits .0407 and .3893; sample 21 is then beyond."""
    kept = [count for i, count in enumerate(WAFERS, 1) if i not in (15, 23)]
    chart = p_chart(kept, 50, laney=False)

    assert chart.centre[0] == printed("0.2150"), MONTGOMERY
    assert chart.lower[0] == printed("0.0407"), MONTGOMERY
    assert chart.upper[0] == printed("0.3893"), MONTGOMERY
    assert beyond(chart) == [20], MONTGOMERY  # sample 21 before one was left out ahead of it


def test_p_chart_lower_limit_is_cut_at_zero_published():
    """24 samples after a machine was adjusted: 133 of 1,200, centre .1108, upper .2440, lower below zero and cut."""
    chart = p_chart(LATER, 50, laney=False)

    assert chart.centre[0] == printed("0.1108"), MONTGOMERY
    assert chart.upper[0] == printed("0.2440"), MONTGOMERY
    assert chart.lower[0] == 0.0, MONTGOMERY


def test_p_chart_of_unequal_loads_published():
    """25 weeks of purchase orders: 234 of 2,450, centre .096; limits at 100 are .007 and .184; only week 11 is beyond."""
    chart = p_chart(ORDERS, ORDER_SIZES, laney=False)

    assert chart.centre[0] == printed("0.096"), MONTGOMERY
    assert chart.lower[0] == printed("0.007"), MONTGOMERY
    assert chart.upper[0] == printed("0.184"), MONTGOMERY
    assert chart.lower[1] == 0.0, MONTGOMERY  # 80 orders
    assert beyond(chart) == [11], MONTGOMERY


def test_d2_of_two_published():
    """Mean range of two standard normals: 1.128 in the tables; twice the mean of the larger, by scipy."""
    found, larger = D2, stats.norm.expect(lambda x: 2 * x * stats.norm.cdf(x))

    assert found == printed("1.128"), TABLE
    assert found == pytest.approx(2 * larger, rel=1e-9)


def test_sigma_z_by_hand():
    """10, 20, 10, 20 lost of 100: z are 5/3.571 apart from the centre, ranges 10/3.571 = 2.801, over 1.128 = 2.482."""
    chart = p_chart([10, 20, 10, 20], 100)

    assert chart.sigma_z[0] == printed("2.482")
    assert chart.upper[0] == printed("0.4159")  # .15 + 3 x 2.482 x .035707
    assert chart.z.tolist() == pytest.approx([-0.5642, 0.5642, -0.5642, 0.5642], abs=5e-5)  # 1.4003 / 2.4820


def test_sigma_z_is_one_for_independent_pieces():
    """Loads of independent pieces: sigma_z is 1 within four standard errors, .8264 / sqrt(loads) for moving ranges of two."""
    chart = p_chart(np.random.default_rng(5).binomial(200, 0.2, 20_000), 200)

    # variance of a sigma from moving ranges of two: .8264 over their number, Cryer & Ryan, J. Qual. Technol. 22 (1990), from memory
    assert chart.sigma_z[0] == pytest.approx(1.0, abs=4 * np.sqrt(0.8264 / 20_000))


def test_sigma_z_of_beta_binomial_loads():
    """Loads with intra-load correlation rho scatter sqrt(1 + (n - 1) rho) times as much (Williams' variance)."""
    rng, rho = np.random.default_rng(6), 0.05
    worth = 1 / rho - 1
    chart = p_chart(rng.binomial(40, rng.beta(0.3 * worth, 0.7 * worth, 40_000)), 40)

    assert chart.sigma_z[0] == pytest.approx(np.sqrt(1 + 39 * rho), rel=0.02)  # not quite normal: 2 %
    assert p_chart([3, 4], 40, laney=False).sigma_z[0] == 1.0


@pytest.mark.parametrize(
    ("z", "expected"),
    [
        ([0, 3.1, 0], [(ONE, 1)]),
        ([0, -3.1, 0], [(ONE, 1)]),
        ([0, 3.0, 0], []),  # on the line is not beyond it
        ([2.1, 0, 2.1], [(TWO, 2)]),
        ([2.1, 0, 0, 2.1], []),
        ([2.1, 0, -2.1], []),  # not on one side
        ([-2.1, -2.1, 0.5], [(TWO, 1)]),
        ([1.1, 1.1, 0, 1.1, 1.1], [(FOUR, 4)]),
        ([1.1, 1.1, 0, 0, 1.1, 1.1], []),
        ([1.1, 1.1, 0, 1.1, -1.1], []),
        ([0.999] * 5, []),  # the zones begin where they are said to
        ([1.001] * 4, [(FOUR, 3)]),
        ([1.999, 1.999], []),
        ([2.001, 2.001], [(TWO, 1)]),
        ([2.999], []),
        ([0.1] * 7, []),
        ([0.1] * 8, [(EIGHT, 7)]),
        ([-0.1] * 9, [(EIGHT, 7), (EIGHT, 8)]),
        ([0.1] * 4 + [0.0] + [0.1] * 4, []),  # a load on the centre is on neither side
        ([0.1] * 4 + [np.nan] + [0.1] * 4, [(EIGHT, 8)]),  # a load of no pieces never was
        ([], []),
    ],
)
def test_run_rules_on_obvious_sequences(z, expected):
    """Each rule fires on its own pattern, at the load that completes it, and not on the nearest miss."""
    assert run_rules(z) == expected


def test_run_rules_false_alarm_chances():
    """Own arithmetic for steady normal loads: rule 1 at .0027 a load; 8 in a row on one side at 2 x .5 ** 8; within four standard errors."""
    count = 400_000
    found = run_rules(np.random.default_rng(7).standard_normal(count))
    alarms = {rule: sum(name == rule for name, _ in found) / count for rule in (ONE, TWO, EIGHT)}

    single = 2 * stats.norm.sf(3)
    assert alarms[ONE] == pytest.approx(single, abs=4 * np.sqrt(single / count))
    # runs overlap: one alarm is followed by another with chance 1/2, so the variance is about 3 times Poisson's
    assert alarms[EIGHT] == pytest.approx(2 * 0.5**8, abs=4 * np.sqrt(3 * 2 * 0.5**8 / count))
    # by hand: the load is beyond, and at least one of the two before it is, on either side
    q = stats.norm.sf(2)
    assert alarms[TWO] == pytest.approx(2 * q * (1 - (1 - q) ** 2), abs=4 * np.sqrt(2 * 2 * q * 2 * q / count))


@pytest.mark.parametrize(
    ("rules", "expected"),
    [
        ((ONE,), "370.40"),
        ((ONE, TWO), "225.44"),
        ((ONE, FOUR), "166.05"),
        ((ONE, EIGHT), "152.73"),
        ((ONE, TWO, FOUR, EIGHT), "91.75"),
    ],
)
def test_run_rules_steady_run_lengths_published(rules, expected):
    """Loads until the first false alarm, over up to 6,000 fresh starts: the published mean within four standard errors."""
    rng = np.random.default_rng(8)
    z, lengths, start = rng.standard_normal(1_000_000), [], 0
    at = np.array(sorted({load for rule, load in run_rules(z) if rule in rules}))
    # a run starts afresh after each alarm, so its loads are judged without those before it
    while len(lengths) < 6_000 and start < z.size - 10_000:
        end = int(at[np.searchsorted(at, start + 8)])  # an alarm by then needs none of them
        fresh = [load for rule, load in run_rules(z[start : end + 1]) if rule in rules]
        lengths.append(min(fresh) + 1)
        start += lengths[-1]
    error = np.std(lengths) / np.sqrt(len(lengths))

    assert np.mean(lengths) == pytest.approx(float(expected), abs=4 * error), CHAMP


WHEN = np.arange(30.0)


def quasi_binomial(counts, sizes, x):
    """statsmodels' fit with scale='X2': shares weighted by sizes, as pairs of counts leave the sizes out of that scale (0.15.0)."""
    model = sm.GLM(counts / sizes, sm.add_constant(x), family=sm.families.Binomial(), var_weights=sizes)
    return model.fit(scale="X2", use_t=True, tol=1e-14, maxiter=200)


@pytest.mark.parametrize(
    ("counts", "sizes", "when"),
    [
        (WAFERS, [50] * 30, WHEN),
        (ORDERS, ORDER_SIZES, np.arange(25.0)),
        (ORDERS, ORDER_SIZES, 739_000 + 7.0 * np.arange(25)),  # days since long ago
        (LATER, [50] * 24, np.arange(24.0) ** 2),
        ([0, 0, 1, 0, 5, 20], [20] * 6, np.arange(6.0)),
        ([0, 20, 1, 0, 20, 20], [20] * 6, np.array([0.0, 0.0, 1.0, 2.0, 2.0, 3.0])),
    ],
)
def test_trend_equals_statsmodels(counts, sizes, when):
    """Slope, standard error, p-value and scale of statsmodels' binomial GLM with scale='X2' and t distribution."""
    counts, sizes = np.array(counts), np.array(sizes)
    expected = quasi_binomial(counts, sizes, when - when.mean())
    result = trend(counts, sizes, when)

    assert result.slope == pytest.approx(expected.params[1], rel=1e-7)
    assert result.error == pytest.approx(expected.bse[1], rel=1e-7)
    assert result.p_value == pytest.approx(expected.pvalues[1], rel=1e-6)
    assert result.dispersion == pytest.approx(expected.scale, rel=1e-7)


def test_trend_of_programme_effects_bundled():
    """statsmodels' bundled star98 (303 districts, shares of pupils): the share above on one covariate, by the package's GLM."""
    data = sm.datasets.star98.load_pandas()
    above, below, low_income = (data.endog.NABOVE.to_numpy(), data.endog.NBELOW.to_numpy(), data.exog.LOWINC.to_numpy())
    expected = quasi_binomial(above, above + below, low_income)
    result = trend(above, above + below, low_income)

    assert result.loads == 303
    assert (result.slope, result.error) == pytest.approx((expected.params[1], expected.bse[1]), rel=1e-7)
    assert result.dispersion == pytest.approx(expected.scale, rel=1e-7)


def test_trend_challenger_published():
    """Challenger o-rings: 23 flights, distress of 6 rings on joint temperature; slope -.1156, standard error .0470 (binomial)."""
    temperature = [53, 57, 58, 63, 66, 67, 67, 67, 68, 69, 70, 70, 70, 70, 72, 73, 75, 75, 76, 76, 78, 79, 81]
    distress = [2, 1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0, 2, 0, 0, 0, 0, 0, 0]
    result = trend(distress, 6, temperature)

    source = "Dalal, Fowlkes & Hoadley, J. Am. Stat. Assoc. 84 (1989) 945-957, from memory"
    assert result.slope == printed("-0.1156"), source
    assert result.error / np.sqrt(result.dispersion) == printed("0.0470"), source
