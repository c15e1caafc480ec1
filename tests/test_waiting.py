"""From few orders to a year: what further months tell, and what waiting for them is worth, against closed forms and by brute force."""

from itertools import pairwise

import numpy as np
import pytest
import verdicts
from scipy import integrate, stats

from casting_econ.draws.information import best_after_counting, expected_of_rate, width_left
from casting_econ.pages import deciding, records, waiting
from casting_econ.study.schema import ScenarioEntry

RATES, BENEFIT = (
    np.array([0.0, 3.0, 8.0, 20.0]),
    np.array([-900.0, -100.0, 1400.0, 2000.0]),
)  # flattens where the workshop is full


def test_mean_over_a_gamma_is_the_integral():
    """Straight lines over a gamma rate, worked out in closed form, are what numerical integration finds, also beyond the last knot."""
    for shape, exposure in ((0.7, 0.5), (3.0, 0.4), (40.0, 4.0)):
        gamma = stats.gamma(shape, scale=1 / exposure)

        def paid(rate, gamma=gamma):
            line = np.interp(rate, RATES, BENEFIT) + max(rate - 20.0, 0.0) * 50.0  # the last part goes on: 600 over 12
            return line * gamma.pdf(rate)

        parts = [0.0, 1e-6, 3.0, 8.0, 20.0, float(gamma.isf(1e-13)) + 21.0]
        whole = sum(integrate.quad(paid, low, high, limit=200)[0] for low, high in pairwise(parts))
        assert expected_of_rate(RATES, BENEFIT, shape, exposure) == pytest.approx(whole, abs=0.01)


def test_preposterior_variance_of_a_gamma_rate():
    """The mean believed after t more years has variance a / b² x t / (b + t), and what is left is a / (b (b + t)): closed form of gamma and
    Poisson, worked out over scipy's negative binomial (law of total variance, own arithmetic)."""
    a, b = 2.5, 0.8
    for t in (0.25, 1.0, 3.0):
        counts = np.arange(0, 400)
        chances = stats.nbinom.pmf(counts, a, b / (b + t))
        believed = expected_of_rate([0.0, 1.0], [0.0, 1.0], a + counts, b + t)  # of the rate itself
        mean = believed @ chances
        assert mean == pytest.approx(a / b)
        assert believed**2 @ chances - mean**2 == pytest.approx(a / b**2 * t / (b + t))
        left = (a + counts) / (b + t) ** 2 @ chances
        assert left == pytest.approx(a / (b * (b + t)))
        assert width_left(b, t) == pytest.approx(np.sqrt(left / (a / b**2)))


@pytest.mark.parametrize(("shape", "exposure", "more"), [(1.0, 0.4, 0.25), (2.0, 0.5, 1.0), (60.0, 12.0, 2.0)])
def test_worth_by_brute_force(shape, exposure, more):
    """Rates drawn, orders counted, the choice made by the mean of all draws with that count: within four standard errors of the sum."""
    rng = np.random.default_rng(7)
    rate = rng.gamma(shape, 1 / exposure, 400_000)
    seen = rng.poisson(rate * more)
    paid = np.interp(rate, RATES, BENEFIT) + np.maximum(rate - 20.0, 0.0) * 50.0
    half = np.arange(rate.size) < rate.size // 2  # one half teaches what a count means, the other is decided by it
    means = np.bincount(seen[half], paid[half], seen.max() + 1) / np.maximum(np.bincount(seen[half], minlength=seen.max() + 1), 1)
    brought = np.where(means[seen[~half]] > 0, paid[~half], 0.0)
    found = best_after_counting(RATES, BENEFIT, shape, exposure, more)
    assert found == pytest.approx(brought.mean(), abs=4 * brought.std() / np.sqrt(brought.size))


def test_worth_lies_between_now_and_knowing():
    """Nothing counted leaves the better of both now, ever more brings what knowing the rate would, and more is never worse."""
    shape, exposure = 2.0, 0.5
    now = expected_of_rate(RATES, BENEFIT, shape, exposure)
    worth = [best_after_counting(RATES, BENEFIT, shape, exposure, more) for more in (0.0, 0.1, 0.5, 2.0, 20.0, 2000.0)]
    rate = stats.gamma(shape, scale=1 / exposure)
    knowing = integrate.quad(
        lambda r: max(np.interp(r, RATES, BENEFIT) + max(r - 20, 0) * 50, 0) * rate.pdf(r), 0, 60, points=[3, 8, 20], limit=200
    )[0]
    assert worth[0] == pytest.approx(max(now, 0.0))
    assert (np.diff(worth) >= -1e-6).all() and worth[-1] == pytest.approx(knowing, rel=2e-3)


def test_many_counts_are_thinned_without_harm():
    """With thousands of likely counts the belief between 400 of them is straight: a sum over all of them agrees to a ten-thousandth."""
    shape, exposure, more = 30.0, 0.01, 1.0
    rates = np.array([0.0, 3000.0, 9000.0])
    benefit = np.array([-9000.0, 0.0, 12_000.0])
    counts = np.arange(0, 20_000)
    chances = stats.nbinom.pmf(counts, shape, exposure / (exposure + more))
    whole = np.maximum(expected_of_rate(rates, benefit, shape + counts, exposure + more), 0.0) @ chances
    assert best_after_counting(rates, benefit, shape, exposure, more) == pytest.approx(whole, rel=1e-4)


@pytest.mark.parametrize("rates", [[1.0], [1.0, 1.0], [2.0, 1.0]])
def test_rates_that_do_not_rise_are_refused(rates):
    """Fewer than two rates, or such as do not rise, are named."""
    with pytest.raises(ValueError, match="rates must be two or more that rise"):
        expected_of_rate(rates, [0.0] * len(rates), 1.0, 1.0)


# on a study


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """One of the small studies with its waiting, at a mean of the decision or its own."""
    base, count = tmp_path_factory.mktemp("small"), iter(range(100))

    def opened(now=None, **what):
        kit = verdicts.open_small(base / str(next(count)), **what)
        mean = float(deciding.decision_of(kit, 512, 3).benefit.mean()) if now is None else now
        return kit, waiting.waiting_of(kit, mean)

    return opened


ONE = {"orders": 2, "price": 420, "spread": True, **verdicts._ONE}


def test_what_one_order_says(small):
    """Two a year for two months of guess, and one order in 60 days (60 / 30.44 = 1.971 months): 1.333 orders in .3309 years, by hand."""
    _, found = small(channel="clustering = 0", **ONE)  # known to come one by one
    months = 60 / (365.2425 / 12)
    assert (found.seen, found.months_seen) == (1, pytest.approx(months))
    # within a hundredth, as the posterior of the log is a table of quantiles
    assert found.exposure == pytest.approx((2 + months) / 12, rel=0.01)
    assert found.shape == pytest.approx(2 * 2 / 12 + 1, rel=0.01)
    assert found.band == pytest.approx(tuple(stats.gamma.ppf([0.1, 0.9], found.shape) / found.exposure))
    assert found.wide and found.width[5] == pytest.approx(np.sqrt(found.exposure / (found.exposure + 0.5)))


def test_a_guess_without_a_log(small):
    """A guess with a stated spread of 20 % counts for 25 orders where that is wider than its ten months; without one for its ten months.
    A scenario that doubles the spread leaves it as 1 / 0.4² = 6.25 orders (own arithmetic)."""
    kit, stated = small(orders=300, spread=True)
    assert stated.shape == pytest.approx(25.0) and stated.seen is None
    scale = ScenarioEntry.model_validate({"what": "less sure", "scale": {"spread.demand": 2.0}}, context={"currency": "EUR"})
    doubled = kit.with_scenarios({"": scale})
    assert waiting.waiting_of(doubled, 0.0).shape == pytest.approx(6.25)
    _, bare = small(orders=12, spread=False, variation="counts")
    assert bare.shape == pytest.approx(10.0) and bare.exposure == pytest.approx(10 / 12)


def test_clusters_tell_less(small):
    """Months of clustered orders, variance (1 + d m) times the Poisson's, narrow the guess as so many times fewer months do."""
    (_, alone), (_, bunched) = (small(orders=300, spread=True, channel=c) for c in ("", "clustering = 3"))
    assert bunched.width[0] == pytest.approx(width_left(alone.exposure, 1 / 12 / (1 + 3 * 25)))


@pytest.mark.parametrize("now", [None, 300.0])  # of the point itself, and of draws whose mean is another
def test_what_waiting_is_worth_adds_up(small, now):
    """Over 24 months: t months as they go, then the better of both for the rest, less the better of both now; worked out with other means."""
    kit, found = small(now=now, **ONE)
    rng, t = np.random.default_rng(3), 6
    rate = rng.gamma(found.shape, 1 / found.exposure, 60_000)
    # an order leaves 420 - 1 - 2.105 less (4 x 9.4 / .95 + 15) minutes at 16; the year has 300 of rent and 92 hours at 16: own arithmetic
    left = rate * (420 - 1 - 4 * 0.5 / 0.95 - (4 * 9.4 / 0.95 + 15) / 60 * 16) - 300 - 92 * 16
    left = left + found.now - left.mean()
    seen = rng.poisson(rate * t / 12)
    means = np.bincount(seen, left) / np.maximum(np.bincount(seen), 1)
    worth = (t * found.now + 18 * np.maximum(means, 0.0)[seen].mean() - 24 * max(found.now, 0.0)) / 12
    assert found.worth[t - 1] == pytest.approx(worth, rel=0.03)
    assert kit.study.file.cash.months == found.horizon == 24


def test_what_changes_no_choice_is_worth_nothing(small):
    """Where going on pays whatever is seen, the mean believed later is on average the mean now (law of total expectation), to a tenth of a cent."""
    assert small(now=9000.0, **ONE)[1].worth == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize(
    ("now", "best", "words"),
    [
        (-150.0, True, "**Try "),
        (150.0, True, "**Go on, and decide anew after "),
        (-4000.0, False, "**Decide now:** trying for some months costs more than their orders could tell"),
        (9000.0, False, "**Decide now:** whatever the orders of the next months show, going on brings more"),
    ],
)
def test_waiting_in_words(small, now, best, words):
    """To try, to look again, to stop and to go on at once, each where it is worth most; only trying that costs something speaks of costs."""
    kit, found = small(now=now, **ONE)
    said = waiting.waiting_sentence(kit, found)
    assert (found.best is not None) == best
    assert said.startswith(words)
    assert ("themselves cost about" in said) == (now < 0 and best)
    assert ("Waiting costs nothing" in said) == (now > 0 and best)
    assert bool(waiting.try_words(found, kit_format(kit))) == (now < 0 and best)


def kit_format(kit):
    """The format of the study."""
    return waiting.format_of(kit)


def test_orders_have_the_same_band_wherever_they_stand(small):
    """One order, and a figure that states no range and asks no log: the table of numbers has the band that the first page speaks of."""
    kit, found = small(**ONE | {"told": False})
    table = records.assumption_table(kit).set_index("key")
    orders = table.loc["channels.shop.orders"]
    assert kit.study.numbers["channels.shop.orders"].distribution is None
    assert (orders.low, orders.high) == pytest.approx(found.band, rel=1e-6) and orders.low < orders.value < orders.high
    certain = records.assumption_table(small(orders=300)[0]).set_index("key")
    assert np.isnan(float(certain.low["channels.shop.orders"] or np.nan))


def test_guess_or_not_in_words(small):
    """Few orders are called a guess, with how many and in how long; many are not; the log that is not asked is named; certain orders tell nothing."""
    one, many = small(**ONE), small(orders=300, spread=True, log=90, since=verdicts._ONE["since"], days=110)
    asked, certain = small(**ONE | {"told": False}), small(orders=300)
    assert waiting.guess_words(one[1], kit_format(one[0])).startswith("Orders are a guess after 1 order in 2.0 months: ")
    assert waiting.guess_words(many[1], kit_format(many[0])) == ""
    assert "little more than a guess" in waiting.width_sentence(*one) and "little more" not in waiting.width_sentence(*many)
    assert "beside the orders of shop lets the log count" in waiting.width_sentence(*asked)
    assert 'from = "records"' not in waiting.width_sentence(*one)
    assert certain[1] is None and waiting.waiting_sentence(*certain) == "" and len(waiting.waiting_table(None)) == 0
    assert waiting.width_sentence(*certain).startswith("The orders of this study are stated as certain")


def test_table_of_months(small):
    """The page's table has the months that it names, of those that were worked out."""
    _, found = small(**ONE)
    frame = waiting.waiting_table(found)
    assert list(frame.months) == [1, 2, 3, 6, 9, 12, 18, 24]
    assert len(found.worth) == 24 and found.worth[-1] == pytest.approx(
        2 * (found.now - max(found.now, 0.0))
    )  # nothing is left to decide
    assert frame.worth[3] == found.worth[5] and frame.width[3] == found.width[5]
