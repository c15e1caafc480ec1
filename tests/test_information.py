"""Sobol indices and values of information: errors that are what they say, nested draws, and sentences on both sides of each switch."""

import re
from functools import cache
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from commands import rates_copy
from scipy import stats

from casting_econ.assumptions import values_at, workshop_at
from casting_econ.draws import points
from casting_econ.draws.information import partial_information, perfect_information
from casting_econ.draws.sobol import Indices, sobol_indices
from casting_econ.evidence import Finding
from casting_econ.kit import format_of, open_study
from casting_econ.models import evaluate
from casting_econ.pages.deciding import Decision, decision_of, information_table, month_share, next_to_measure
from casting_econ.pages.sensitivity import groups_of, sensitivity_sentence, sobol_table
from casting_econ.study.told import TOLD, log_of

TOTALS = np.array([0.557589, 0.442411, 0.243684])  # of the Ishigami function, a = 7, b = 0.1: by its formulas, from memory


@cache
def demo(name="ninepenny-lather"):
    return open_study(rates_copy(name))


@cache
def decided():
    decision = decision_of(demo())
    return decision, information_table(decision)


# ------------------------------------------------------------------ indices


def ishigami(u):
    x = np.pi * (2 * u - 1)
    return np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


def test_intervals_hold_what_they_should_at_least_as_often_as_they_say():
    """Of 90 % intervals; Sobol points scatter less than the rows that are drawn again, so that they may hold it more often."""
    held = []
    for seed in range(40):
        found = sobol_indices(ishigami, 3, 1024, seed)
        held.append((found.total_low[:, 0] <= TOTALS) & (found.total_high[:, 0] >= TOTALS))
    # 120 intervals; fewer than 98 have a chance of 1 % if 90 % hold
    assert np.sum(held) >= stats.binom.ppf(0.01, 120, 0.9)


def test_more_rows_settle_and_narrow_the_indices():
    few, many = (sobol_indices(ishigami, 3, rows, 7) for rows in (512, 16384))
    assert ((many.total_high - many.total_low) < 0.4 * (few.total_high - few.total_low)).all()
    assert many.half[0] < few.half[0]
    assert np.abs(many.total[:, 0] - TOTALS).max() < 0.01


def test_several_outputs_are_as_each_alone():
    both = sobol_indices(lambda u: np.column_stack([ishigami(u), u[:, 1]]), 3, 1024, 3)
    alone = sobol_indices(ishigami, 3, 1024, 3)
    assert both.total[:, 0] == pytest.approx(alone.total[:, 0], abs=1e-12)
    assert both.total_low[:, 0] == pytest.approx(alone.total_low[:, 0], abs=1e-12)
    assert both.first[:, 1] == pytest.approx([0, 1, 0], abs=0.05)
    assert sobol_indices(lambda u: np.ones(len(u)), 2, 512, 1).total.tolist() == [[0.0], [0.0]]


def test_inputs_drawn_first_are_as_a_model_that_draws_its_own():
    """Inputs made once of the two samples, each group of its own columns, give the indices of a model of the points."""

    def drawn(u):
        return np.column_stack([u[:, 0] ** 2, u[:, 1] + u[:, 2], u[:, 2]])

    def product(x):
        return x[:, 0] * x[:, 1] + x[:, 2]

    first = sobol_indices(product, 3, 512, 1, [[0], [1, 2]], drawn)
    each = sobol_indices(lambda u: product(drawn(u)), 3, 512, 1, [[0], [1, 2]])
    assert np.array_equal(first.total, each.total) and np.array_equal(first.first, each.first)
    assert 0.1 < first.total[0, 0] < 0.9 < first.total.sum()


def test_what_indices_cannot_be_made_of_is_told():
    with pytest.raises(ValueError, match="16 times a power of two, such as 1024; got 1000"):
        sobol_indices(ishigami, 3, 1000, 1)
    with pytest.raises(ValueError, match="outputs must be finite; got inf"):
        sobol_indices(lambda u: np.where(u[:, 0] > 0.5, np.inf, 0.0), 2, 512, 1)


def test_an_output_that_some_rows_lack_has_no_indices():
    """Those of another output are as without it."""
    alone = sobol_indices(ishigami, 3, 512, 1)
    both = sobol_indices(lambda u: np.column_stack([ishigami(u), np.where(u[:, 0] > 0.5, np.nan, u[:, 1])]), 3, 512, 1)
    for one, other in ((both.total, alone.total), (both.first_high, alone.first_high)):
        assert one[:, 0] == pytest.approx(other[:, 0], rel=1e-12)  # sums of two outputs go in another order
    assert np.isnan(both.total[:, 1]).all() and np.isnan(both.first_low[:, 1]).all() and np.isnan(both.half[1])


def test_shares_of_the_year_lie_within_their_ends():
    frame, found = sobol_table(demo(), 1024)
    assert found.variance[1] == pytest.approx(decided()[0].benefit.var(), rel=0.1)
    assert (frame["on the year low"] <= frame["on the year"]).all() and (frame["on the year"] <= frame["on the year high"]).all()
    assert sobol_table(demo("hollin-quay-pulls"), 1024)[0]["on the year"].notna().all()


def made_table(rows, half=0.01):
    """Rows of name, low and high on the year, and the indices behind them."""
    frame = pd.DataFrame(rows, columns=["number", "on the year low", "on the year high"])
    frame["on the year"] = (frame["on the year low"] + frame["on the year high"]) / 2
    none = np.zeros((len(frame), 3))
    plain = {n: none for n in ("first", "first_low", "first_high", "total", "total_low", "total_high")}
    return frame, Indices(**plain, variance=np.ones(3), half=np.full(3, half))


def test_numbers_are_ranked_only_where_their_intervals_lie_apart():
    fmt = format_of(demo())
    apart = sensitivity_sentence(*made_table([("sanding", 0.5, 0.6), ("fettling", 0.3, 0.4)]), fmt)
    assert "The year moves most with sanding" in apart and "50\u00a0% to 60\u00a0%" in apart and "fettling" not in apart
    level = sensitivity_sentence(*made_table([("sanding", 0.5, 0.6), ("fettling", 0.4, 0.51), ("glue", 0.1, 0.2)]), fmt)
    assert "cannot tell whether fettling accounts for as much" in level and "most" not in level and "glue" not in level
    three = sensitivity_sentence(*made_table([("sanding", 0.5, 0.6), ("fettling", 0.4, 0.51), ("glue", 0.4, 0.52)]), fmt)
    assert "whether fettling or glue accounts" in three
    assert "have not settled" in sensitivity_sentence(*made_table([("a", 0.5, 0.6)], half=0.06), fmt)
    frame, found = made_table([])
    assert "Nothing that is uncertain" in sensitivity_sentence(frame, found, fmt)
    assert "moves most with markets: orders" in sensitivity_sentence(*sobol_table(demo()), fmt)


# ------------------------------------------------------------------ information


def unit_normal_loss(u):
    """Expected shortfall of a standard normal below u."""
    return stats.norm.pdf(u) - u * stats.norm.sf(u)


def normal_case(mean, share, draws, seed, idle=0):
    """Benefits N(mean, 1), a share of the variance told by the first of the inputs, the others saying nothing."""
    rng = np.random.default_rng(seed)
    x, noise = rng.normal(size=(draws, 1 + idle)), rng.normal(size=draws)
    benefit = mean + np.sqrt(share) * x[:, 0] + np.sqrt(1 - share) * noise
    return np.column_stack([np.zeros(draws), benefit]), x


@pytest.mark.parametrize(("mean", "share"), [(0.5, 0.5), (-0.5, 0.5), (2.0, 0.9), (-1.0, 0.3)])
def test_the_value_and_its_error_are_what_they_say(mean, share):
    """Over a hundred sets of draws against the closed form, Raiffa & Schlaifer 1961, ch. 5: s L(|m| / s)."""
    found = [partial_information(*normal_case(mean, share, 1000, seed)) for seed in range(100)]
    values, errors = np.array([[w.value, w.error] for w in found]).T
    closed = np.sqrt(share) * unit_normal_loss(abs(mean) / np.sqrt(share))
    scatter = values.std(ddof=1)
    assert values.mean() == pytest.approx(closed, abs=4 * scatter / 10)
    # a scatter of a hundred is known to 7 %
    assert errors.mean() == pytest.approx(scatter, rel=0.3)


def test_inputs_that_say_nothing_add_nothing():
    """With five idle inputs a fit that profited from its own noise would find more than there is."""
    values = np.array([partial_information(*normal_case(0.5, 0.3, 1000, seed, idle=5)).value for seed in range(30)])
    closed = np.sqrt(0.3) * unit_normal_loss(0.5 / np.sqrt(0.3))
    error = values.std(ddof=1) / np.sqrt(30)
    assert 0.7 * closed < values.mean() < closed + 3 * error
    idle = [
        partial_information(normal_case(0.3, 0.5, 1000, seed)[0], normal_case(0, 0, 1000, seed + 999, 4)[1]) for seed in range(40)
    ]
    # nothing is worth measuring: as seldom as chance has it
    assert np.mean([w.value > 2 * w.error for w in idle]) <= 0.1


def test_part_of_what_two_inputs_say():
    """Two independent normal inputs, of which parts become known: the mean benefit then moves by the root of the sum of both parts."""
    z = stats.norm.ppf(points(3, 16384, 4))
    benefit = 0.4 + 0.8 * z[:, 0] - 0.5 * z[:, 1] + 0.6 * z[:, 2]
    actions = np.column_stack([np.zeros(len(z)), benefit])
    for removed in ([1.0, 1.0], [0.75, 0.2], [0.0, 0.9], [0.3, 0.0]):
        reach = np.sqrt(0.64 * removed[0] + 0.25 * removed[1])
        found = partial_information(actions, z[:, :2], removed=removed)
        assert found.value == pytest.approx(reach * unit_normal_loss(0.4 / reach), abs=3 * found.error)
    assert partial_information(actions, z[:, :2], removed=0.0).value == 0.0


@pytest.mark.parametrize("removed", [[1.0, 1.0], [0.5, 0.4], [0.9, 0.0]])
def test_part_of_what_two_inputs_say_only_together(removed):
    """Benefit the product of two standard normal inputs: the mean moves by the root of both parts, and half of E|xy| = 2 / pi is gained."""
    z = stats.norm.ppf(points(2, 16384, 4))
    found = partial_information(np.column_stack([np.zeros(len(z)), z[:, 0] * z[:, 1]]), z, removed=removed)
    assert found.value == pytest.approx(np.sqrt(np.prod(removed)) / np.pi, abs=max(4 * found.error, 0.005))


def test_identities_of_information():
    """EVPI >= EVPPI >= 0; more known is worth no less; EVPI >= what a sample is worth (section 14 of the reference values)."""
    actions, x = normal_case(0.3, 0.6, 4096, 1, idle=1)
    three = np.column_stack([actions, actions[:, 1] * 0.5 + 0.1 * x[:, 1]])
    everything = perfect_information(three)
    values = [partial_information(three, x, removed=share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)]
    assert values[0].value == 0.0
    for less, more in pairwise(values):
        assert less.value <= more.value + 2 * np.hypot(less.error, more.error)
        assert 0.0 <= more.value <= everything.value
    assert partial_information(three, np.column_stack([x, three])).value == pytest.approx(everything.value, rel=0.05)
    # adding the same to every action, or putting them in another order, changes nothing
    moved = partial_information(three[:, [2, 0, 1]] + 7.0 * x[:, [1]] + 100.0, x[:, :1])
    assert moved.value == pytest.approx(partial_information(three, x[:, :1]).value, abs=3 * moved.error)


def test_an_input_of_two_values_or_of_one():
    rng = np.random.default_rng(2)
    flag, noise = rng.integers(0, 2, 4000).astype(float), rng.normal(size=4000)
    actions = np.column_stack([np.zeros(4000), np.where(flag > 0, 1.0, -2.0) + noise])
    found = partial_information(actions, flag)
    assert found.value == pytest.approx(0.5, abs=4 * found.error)  # half of the times one more
    assert partial_information(actions, np.ones(4000)).value == 0.0


@pytest.mark.parametrize(
    ("benefit", "inputs", "removed", "told"),
    [
        (np.zeros((200, 2)), np.zeros(199), 1.0, "as many inputs as benefits"),
        (np.zeros((50, 2)), np.zeros(50), 1.0, "at least 100; got 50"),
        (np.full((200, 2), np.nan), np.zeros(200), 1.0, "benefit must be finite"),
        (np.zeros((200, 2)), np.full(200, np.inf), 1.0, "inputs must be finite"),
        (np.zeros((200, 2)), np.zeros(200), 1.5, "removed must lie in 0 to 1"),
    ],
)
def test_what_information_cannot_be_made_of_is_told(benefit, inputs, removed, told):
    with pytest.raises(ValueError, match=told):
        partial_information(benefit, inputs, removed=removed)


def test_a_number_of_a_study_against_nested_draws():
    """The shared factor of prices in the third demo: inner draws of all else for each of its values, by the study's own model."""
    kit = demo()
    column = kit.assumed.uncertain.index("spread.price")
    assert [column] in groups_of(kit)
    outer, inner = (np.arange(128) + 0.5) / 128, points(len(kit.assumed.uncertain), 1024, 11)
    means = []
    for level in outer:
        u = inner.copy()
        u[:, column] = level
        a = workshop_at(kit.study, values_at(kit.assumed, u))
        totals = evaluate(a).totals
        means.append(np.mean(totals["residual_pay_per_year"] - a.target_per_hour * totals["hours_per_year"]))
    nested = np.maximum(means, 0).mean() - max(np.mean(means), 0)
    decision = decision_of(kit, 131072)
    found = partial_information(decision.actions, decision.values["spread.price"])
    assert nested > 20 and found.error < 0.05 * nested
    assert found.value == pytest.approx(nested, abs=3 * found.error)


# ------------------------------------------------------------------ logs


def known(worth, amount, **more):
    return Finding(
        posterior=None,
        prior=None,
        observed=1.0,
        data="",
        prior_weight=worth,
        amount=amount,
        counted="rows",
        **more,
    )


def test_what_a_month_more_removes():
    """A mean of rows of one scatter: its variance is 1 / (guess + rows), so m more rows remove m / (guess + rows + m). From memory."""
    found = known(10.0, 30.0)
    before, after = 1 / 40.0, 1 / 45.0  # 30 rows in six months: five more
    assert month_share(found, 6.0) == pytest.approx(1 - after / before)
    # as many as halve the width remove three quarters
    assert month_share(known(10.0, 120.0), 1.0) == pytest.approx(120 / 250)
    assert month_share(known(0.0, 40.0, to_halve=120.0), 1.0) == pytest.approx(0.5)
    assert month_share(known(10.0, 30.0, to_halve=np.inf), 6.0) == 0.0


@pytest.mark.parametrize(
    ("key", "log"),
    [
        ("time.fixed_hours", "timesheet"),
        ("products.a.steps.b.minutes", "timesheet"),
        ("products.a.steps.b.load_minutes", "timesheet"),
        ("channels.a.minutes_per_order", "timesheet"),
        ("products.a.ruined_loads", "batches and faults"),
        ("products.a.steps.b.pass_share", "batches and faults"),
        ("products.a.steps.b.rework_share", "batches and faults"),
        ("products.a.steps.b.rework_minutes", "batches and faults"),
        ("products.a.steps.b.wait", "batches and faults"),
        ("products.a.steps.b.materials.c.loss", "batches and faults"),
        ("products.a.mould.life", "moulds"),
        ("products.a.mould.life_shape", "moulds"),
        ("products.a.mould.minutes", "moulds"),
        ("products.a.steps.b.materials.c.price", "purchases"),
        ("products.a.parts.c.price", "purchases"),
        ("products.a.mould.materials.c.price", "purchases"),
        *((f"channels.a.{kind}", "sales") for kind in ("orders", "price", "pieces_per_order", "refund_share", "packaging")),
        *((f"channels.a.{kind}", "sales") for kind in ("postage_charged", "postage_paid")),
        *((key, None) for key in ("channels.a.elasticity", "channels.a.hours_per_day", "channels.a.fee_per_day", "time.hours")),
        *(
            (key, None)
            for key in ("products.a.mould.rest", "equipment.a.price", "spread.price", "products.a.steps.b.first_minutes")
        ),
    ],
)
def test_each_number_is_told_by_one_log_or_none(key, log):
    assert [name for name, (_, pattern) in TOLD.items() if re.fullmatch(pattern, key)] == ([log] if log else [])
    assert log_of(key) == log


def test_a_month_more_of_a_log_is_worth_no_more_than_all_of_it():
    decision, frame = decided()
    logs = frame[frame.kind == "log"]
    assert set(logs.what) <= set(TOLD) and logs["worth of a month more"].notna().all()
    assert (logs["worth of a month more"] <= logs.worth + 2 * logs.error + 1e-9).all()
    assert frame[frame.kind == "number"]["worth of a month more"].isna().all()
    assert (frame.worth <= decision.all_known.value).all()


def test_a_log_of_a_choice_that_is_even_is_worth_the_root_of_what_it_removes():
    """Where both choices bring the same on average, worth goes with the width of what becomes known: s L(0), Raiffa & Schlaifer 1961."""
    decision, _ = decided()
    even = Decision(kit=decision.kit, benefit=decision.benefit - decision.benefit.mean(), values=decision.values)
    logs = information_table(even).set_index("what")
    sales, numbers = logs.loc["sales"], decision.kit.assumed.evidence
    assert sales["worth of half the width"] == pytest.approx(np.sqrt(0.75) * sales.worth, abs=sales.error)
    shares = [month_share(numbers[f"channels.{name}.orders"], 5.65) for name in ("markets", "online", "wholesale")]
    assert np.ptp(shares) < 0.04 and min(shares) > 0.1  # of six or eight months, one more
    low, high = np.sqrt([min(shares), max(shares)]) * sales.worth
    assert low - sales.error < sales["worth of a month more"] < high + sales.error
    assert sales["worth of a month more"] > 5 * sales.error


def information(rows):
    """A table of information with these rows of kind, name, worth, error, month."""
    frame = pd.DataFrame(rows, columns=["kind", "what", "worth", "error", "worth of a month more"])
    return frame.assign(takes="")


def test_a_log_is_said_to_tell_most_only_where_it_surely_does():
    kit, fmt = demo(), format_of(demo())
    decision = Decision(kit=kit, benefit=decided()[0].benefit, values={})
    number = ("number", "a", 60.0, 4.0, np.nan)

    def said(*logs):
        return next_to_measure(decision, information([number, *logs]), fmt)

    apart = said(("log", "sales", 60.0, 4.0, 9.0), ("log", "timesheet", 20.0, 4.0, 1.0))
    assert "sales would tell most" in apart and "$60 a year if kept to the end, $9 for a month more" in apart
    close = said(("log", "sales", 30.0, 4.0, 7.0), ("log", "timesheet", 20.0, 4.0, 1.0))
    assert "sales would tell much" in close and "not surely more than timesheet" in close and "tell most" not in close
    assert "month more" not in close  # 7 is within twice the error of 4
    alone = said(("log", "sales", 30.0, 4.0, 7.0))
    assert "sales would tell most" in alone
    assert "Of the logs" not in said(("log", "sales", 7.0, 4.0, 7.0))  # itself within twice its error
