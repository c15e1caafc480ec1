"""Pages where chance has a part: what a draw is, orders of a year, luck beside not knowing, what is full by month, years without an hour."""

import warnings
from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np
import pytest
from commands import edited
from scipy import stats

from casting_econ.assumptions import draw_values
from casting_econ.charts import pay_histogram
from casting_econ.kit import Answer, format_of, open_study
from casting_econ.models import evaluate
from casting_econ.pages import change, channels, curing, deciding, living, mix, monte_carlo, sensitivity, waiting
from casting_econ.reference import wages
from casting_econ.sharing.compare import compare_studies

DRAWS = 4096
ONE = """
[study]
name = "One"
question = "Is it luck?"
currency = "EUR"
locale = "en_IE"
variation = "VARIATION"
draws = 4096
seed = 20
[time]
weeks = "48 week/year"
hours = "60 h/week"
fixed_hours = "FIXED h/week"
[calendar]
monday = "00:00-24:00"
[target]
per_hour = "15 EUR/h"
full_week = "35 h/week"
[stations.pot]
count = 1
[products.knob]
casts_per_load = 10
[products.knob.steps.pour]
minutes = "6 min"
load_minutes = "30 min"
wait = "20 h"
wait_in = "pot"
[channels.shop]
product = "knob"
orders = ORDERS
pieces_per_order = 2
price = "50 EUR"
[overheads]
rent = "100 EUR/year"
"""


@pytest.fixture
def one(tmp_path):
    """A study of one channel: each order leaves 50, rent is 100, and nothing is ever full."""

    def make(
        variation="months",
        orders='{ low = "2 orders/year", likely = "4 orders/year", high = "9 orders/year" }',
        fixed="0",
        *edits,
    ):
        text = ONE.replace("VARIATION", variation).replace("ORDERS", orders).replace("FIXED", fixed)
        (tmp_path / "study.toml").write_text(edited(text, *edits), encoding="utf-8")
        return open_study(tmp_path)

    return make


# ---- luck and not knowing ----


def error_of(share, pairs):
    """Standard error of one less a correlation r of so many pairs: (1 - r²) / √pairs (Kenney & Keeping, from memory)."""
    return (1.0 - (1.0 - share) ** 2) / pairs**0.5


@pytest.mark.parametrize("variation", ["counts", "months"])
def test_luck_is_what_the_law_of_total_variance_has(one, variation):
    """Orders Poisson about an uncertain rate r, 50 left of each: luck has 2,500 E[r] of the variance, not knowing 2,500 Var[r].

    Within four standard errors of the share; the rates run has just the part of not knowing.
    """
    kit = one(variation)
    rate = draw_values(kit.assumed, DRAWS, 20)["channels.shop.orders"]
    luck = monte_carlo.luck_of(kit, DRAWS, 20)
    known = one("rates").monte_carlo(DRAWS, 20).draws["residual_pay_per_year"].var()
    every = kit.monte_carlo(DRAWS, 20).draws["residual_pay_per_year"].var()

    truth = rate.mean() / (rate.mean() + rate.var())
    assert 0.5 < truth < 0.9 and luck == pytest.approx(truth, abs=4 * error_of(luck, DRAWS))
    assert known == pytest.approx(2500 * rate.var()) and 1 - known / every == pytest.approx(luck, abs=0.05)


def test_luck_at_both_ends(one):
    """All certain: all that scatters is luck; chance left out: none is, and without any scatter there is no share to tell."""
    certain, rates, nothing = one("months", '"4 orders/year"'), one("rates"), one("rates", '"4 orders/year"')
    all_luck = monte_carlo.luck_of(one("months", '"4 orders/year"'), DRAWS, 20)

    said = monte_carlo.luck_sentence(certain, all_luck)
    assert all_luck == 1.0 and "**all is luck**" in said and "all stated as certain" in said
    assert monte_carlo.luck_of(one("rates"), DRAWS, 20) == 0.0 and rates.variation == "rates"
    assert monte_carlo.luck_of(nothing, DRAWS, 20) is None and monte_carlo.luck_sentence(nothing, None) == ""


def test_luck_with_levers_is_of_that_year(one):
    """With half of the casts scrapped each order leaves as much here, and takes longer: the share stays, of the levers' own draws."""
    kit = one(
        "months",
        '{ low = "2 orders/year", likely = "4 orders/year", high = "9 orders/year" }',
        "0",
        ('minutes = "6 min"', 'minutes = "6 min"\npass_share = "95 %"\nmaterials.resin = { price = "5 EUR" }'),
    )
    usual, scrapped = (
        monte_carlo.luck_of(kit, 512, 20),
        monte_carlo.luck_of(kit, 512, 20, product=None, scrap=0.5, cure_hours=None),
    )

    assert usual == pytest.approx(scrapped, abs=4 * error_of(usual, 512))


def test_luck_in_words(one):
    """One number in words, its other side beside it, and neither ever certain."""
    kit = one()
    said = monte_carlo.luck_sentence(kit, 0.8).replace("\u00a0", " ")

    assert "about **80 % is luck**" in said and "The rest is what you do not know yet" in said
    sure = monte_carlo.luck_sentence(kit, 1.0)
    assert "over 99" in sure and "about" not in sure


# ---- orders of a year ----


def test_orders_table_has_the_poisson_of_the_year(one):
    """Two orders a year, certain: none in e^-2 = 13.53 %, fewer than half as many (none) as often, one in ten 0 or fewer and above 4."""
    kit = one("months", '"2 orders/year"')
    [row] = monte_carlo.orders_table(kit, kit.monte_carlo(DRAWS, 20)).to_dict("records")
    error = 4 * np.sqrt(0.1353 * 0.8647 / DRAWS)

    assert row["none"] == row["fewer than half"] == pytest.approx(np.exp(-2), abs=error)
    assert (row["expected"], row["half below"], row["1 in 10 above"]) == (
        2.0,
        stats.poisson.ppf(0.5, 2),
        stats.poisson.ppf(0.9, 2),
    )


def test_a_year_of_no_orders_is_said_with_what_it_leaves(one):
    """Without an order the rent of 100 is lost; where orders always come nothing of the kind is said."""
    few = one("months", '"2 orders/year"')
    said = monte_carlo.orders_sentence(few, few.monte_carlo(DRAWS, 20)).replace("\u00a0", " ")
    many = one("months", '"60 orders/year"')
    often = monte_carlo.orders_sentence(many, many.monte_carlo(DRAWS, 20))

    assert "% of the years drawn not one order comes**" in said and "such a year loses €100 on average" in said
    assert "not one order" not in often and often == "There are orders in nearly every year drawn."


def test_orders_of_several_channels(one):
    """All channels together stand last; a channel without an order is named although the year has others."""
    second = (
        "[overheads]",
        '[channels.fair]\nproduct = "knob"\norders = "1 orders/year"\npieces_per_order = 2\nprice = "50 EUR"\n[overheads]',
    )
    kit = one("months", '"60 orders/year"', "0", second)
    answer = kit.monte_carlo(DRAWS, 20)
    table = monte_carlo.orders_table(kit, answer)

    assert table.channel.tolist() == ["shop", "fair", "all channels"] and table.expected.tolist() == [60.0, 1.0, 61.0]
    said = monte_carlo.orders_sentence(kit, answer)
    assert said.startswith("Years without one order: by fair in 3") and "shop in" not in said


def test_what_a_draw_is_and_what_it_leaves_out(one):
    """Each kind of draw in its own words; rates say nothing new. Illness is unknown only where no risk is stated."""
    words = {kind: monte_carlo.draw_words(one(kind)) for kind in ("rates", "counts", "months")}
    risk = ("[overheads]", '[risks.broken-pump]\nchance = "10 %"\nweeks = "2 week"\n[overheads]')

    assert words["rates"] == "" and "number of orders of its own" in words["counts"] and "months of its own" in words["months"]
    assert "knows of illness, a breakdown" in monte_carlo.limits_sentence(one())
    stated = {kind: monte_carlo.limits_sentence(one(kind, '"4 orders/year"', "0", risk)) for kind in ("rates", "months")}
    assert "only broken pump count, on average" in stated["rates"] and "as chance has it" in stated["months"]
    assert "illness" not in stated["months"]


# ---- years without an hour ----


def test_years_without_an_hour_are_left_out_everywhere(one):
    """Two orders a year and no weekly hours: 13.5 % of years have no hour. Histogram, tables, sentences and chances stay finite and say so."""
    kit = one("months", '"2 orders/year"')
    answer = kit.monte_carlo(DRAWS, 20)
    pay, idle = answer.draws["pay_per_hour"], answer.draws["hours_per_year"] == 0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = pay_histogram(pay, answer.target, format_of(kit))
        table, bases = monte_carlo.pay_table(answer), living.bases_table(kit, answer)
        words = [monte_carlo.verdict(kit, answer), figure.get_label(), monte_carlo.error_sentence(kit, answer)]
        words += [living.bases_sentence(kit, answer), living.set_aside_sentence(kit, answer)]
        wages = monte_carlo.wage_table(kit, answer)
    plt.close("all")

    assert np.array_equal(np.isnan(pay), idle) and idle.mean() == pytest.approx(np.exp(-2), abs=0.025)
    # an order of two pieces takes 12 minutes and its part of a load: money of a year over its hours, own arithmetic
    worked = answer.draws["residual_pay_per_year"][~idle] / answer.draws["hours_per_year"][~idle]
    assert table["half below"][0] == pytest.approx(np.median(worked)) and bases["pay an hour"][0] == pytest.approx(
        np.median(worked)
    )
    assert "of the years drawn no hour is worked at all" in words[0] and "years drawn with any work bring" in words[0]
    assert sum(bar.get_height() for bar in figure.axes[0].patches[:36]) == pytest.approx(1.0)
    assert not any("nan" in text or "none" in text for text in words) and wages["hour reached"].notna().all()


MAYBE = '{ distribution = "discrete", values = ["0 orders/year", "50 orders/year", "400 orders/year"], weights = [1, 1, 1] }'


def test_what_moves_a_year_that_may_have_no_hour(one):
    """No, 50 or 400 orders, and nothing else unsure: pay an hour has no shares, as a third of the draws have none; the year owes
    all to the orders, and no share is more than all of it. 50 left of an order less 100 of rent and 12 minutes at 15: own arithmetic."""
    kit = one("rates", MAYBE)
    table, found = sensitivity.sobol_table(kit, 1024)

    assert table[["alone", "total", "low", "high"]].isna().all(axis=None) and np.isnan(found.half[0])
    assert table["on the year"][0] == pytest.approx(1.0, abs=0.05) and table["on the year high"][0] <= 1.0
    assert "moves most with shop: orders" in sensitivity.sensitivity_sentence(table, found, format_of(kit))
    # an order takes 18 minutes: from 2,400 over 15 hours with 50 of them, as there is no hour with none, to 19,900 over 120 with 400
    [swing] = sensitivity.swing_table(kit).to_dict("records")
    assert np.isnan(swing["pay_low"]) and swing["swing"] == pytest.approx(19_900 / 120 - 2400 / 15)


def test_orders_of_a_range_are_waited_for_about_its_mean(one):
    """A pert has the mean (low + 4 likely + high) / 6 (Malcolm et al., Operations Research 7 (1959), from memory): 70 of 0, 30 and 300. What is
    taken at the middle is what is likeliest; a year without orders loses, so that looking again is worth something."""
    kit = one("rates", '{ low = "0 orders/year", likely = "30 orders/year", high = "300 orders/year" }', "8")
    decision = deciding.decision_of(kit, 1024, 20)
    found = waiting.waiting_of(kit, float(decision.benefit.mean()))

    assert found.shape / found.exposure == pytest.approx(70.0, rel=1e-3) and found.taken == 30.0
    assert "the study takes 30." in waiting.width_sentence(kit, found)
    maybe = one("rates", MAYBE, "8")
    worth = waiting.waiting_of(maybe, float(deciding.decision_of(maybe, 1024, 20).benefit.mean()))
    assert worth.best is not None and "whatever the orders" not in waiting.waiting_sentence(maybe, worth)


UNSURE = (
    'weeks = "48 week/year"',
    'weeks = { low = "30 week/year", likely = "46 week/year", high = "50 week/year" }',
)
WAGE = ('per_hour = "15 EUR/h"', 'wage = "ie-minimum-2025"\nset_aside = { low = "10 %", likely = "20 %", high = "40 %" }')


def test_a_wage_is_reached_as_often_wherever_it_stands(one):
    """Where weeks are unsure a wage becomes another target in each draw: its row of the table has the chance of the verdict. A target that is
    typed moves with nothing, but the wages beside it do: 12 an hour for 1,950 hours, over the weeks of the draw (own arithmetic)."""
    kit = one("rates", '{ low = "100 orders/year", likely = "200 orders/year", high = "900 orders/year" }', "20", UNSURE, WAGE)
    answer = kit.monte_carlo(DRAWS, 20)
    row = monte_carlo.wage_table(kit, answer).set_index("key").loc["ie-minimum-2025"]
    chances = {what: found["chance"] for what, found in answer.chances.items()}
    assert 0.2 < chances["hour_pays_living_wage"] < 0.8
    assert row["hour reached"] == chances["hour_pays_living_wage"] and row["year reached"] == chances["year_pays_living_wage"]

    typed = one("rates", '{ low = "100 orders/year", likely = "200 orders/year", high = "900 orders/year" }', "20", UNSURE)
    answer = typed.monte_carlo(DRAWS, 20)
    row = monte_carlo.wage_table(typed, answer).set_index("key").loc["ie-minimum-2026"]
    weeks = draw_values(typed.assumed, DRAWS, 20)["time.weeks"]
    needed = row.published * wages().loc["ie-minimum-2026"].paid_hours_per_year
    assert row["hour reached"] == (answer.draws["pay_per_hour"] >= needed / (weeks * 35)).mean()
    assert row["year reached"] == (answer.draws["residual_pay_per_year"] >= needed).mean()


def test_hands_that_learn_in_a_year_without_orders(one):
    """A draw without an order has nothing to learn from: its year loses the rent of 100, and the others are as they are. Of 6 minutes after a first
    of 12 at 80 % the first two pieces take 12 and 9.6 on average 10.8 (unit model, own arithmetic)."""
    learns = ('minutes = "6 min"', 'minutes = "6 min"\nfirst_minutes = "12 min"\nlearning_rate = "80 %"')
    for variation in ("rates", "counts", "months"):
        kit = one(variation, MAYBE if variation == "rates" else '"1 orders/year"', "0", learns)
        draws = kit.monte_carlo(DRAWS, 20).draws
        idle = draws["hours_per_year"] == 0
        assert 0.2 < idle.mean() < 0.5 and (draws["residual_pay_per_year"][idle] == -100).all()
        assert np.isnan(draws["knob/minutes_per_good_piece"][idle]).all()
        once = draws["orders/shop"] == 1
        if variation != "rates":  # 30 minutes a load of ten besides
            assert draws["knob/minutes_per_good_piece"][once] == pytest.approx((12 + 12 * 0.8) / 2 + 3)
        assert np.isfinite(deciding.decision_of(kit, 256, 20).benefit).all()


@pytest.mark.parametrize("variation", ["rates", "months"])
def test_tables_that_change_places_change_nothing(one, variation):
    """Two channels with ranges of their own, the one before the other or behind it: the same results in every draw, but for the order of sums."""
    fair = """[channels.fair]
product = "knob"
orders = { low = "2 orders/year", likely = "9 orders/year", high = "20 orders/year" }
pieces_per_order = 3
price = { low = "60 EUR", likely = "70 EUR", high = "90 EUR" }
"""
    first, last = (
        one(variation, '{ low = "2 orders/year", likely = "4 orders/year", high = "9 orders/year" }', "2", (at, fair + at))
        for at in ("[channels.shop]", "[overheads]")
    )
    each = [answer.draws for answer in (first.monte_carlo(DRAWS, 20), last.monte_carlo(DRAWS, 20))]
    for quantity in each[0]:
        assert each[1][quantity] == pytest.approx(each[0][quantity], rel=1e-9, abs=1e-9, nan_ok=True), quantity


def test_set_aside_that_is_unsure_is_one_share_in_a_draw(one):
    """After set-aside an hour brings the same on the first page and on the one on a living, draw by draw."""
    kit = one("rates", '{ low = "100 orders/year", likely = "200 orders/year", high = "900 orders/year" }', "20", UNSURE, WAGE)
    answer = kit.monte_carlo(DRAWS, 20)
    after = living.bases_table(kit, answer).set_index("basis").loc["after set-aside"]
    first = monte_carlo.pay_table(answer).set_index("quantity").loc["after set-aside"]
    assert (after["1 in 10 below"], after["pay an hour"], after["1 in 10 above"]) == pytest.approx(
        (first["1 in 10 below"], first["half below"], first["1 in 10 above"])
    )


def test_no_hour_in_any_draw(one):
    """Hardly any buyers: no draw has an hour; no warning, no traceback, and the words say none."""
    kit = one("months", '"0.00001 orders/year"')
    answer = kit.monte_carlo(256, 20)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = pay_histogram(answer.draws["pay_per_hour"], answer.target, format_of(kit))
        said = monte_carlo.verdict(kit, answer) + monte_carlo.error_sentence(kit, answer)
    plt.close("all")

    assert "no hour is worked in any draw" in figure.get_label() and "**does not pay**" in said and "nan" not in said


def test_scenarios_and_channels_with_years_without_an_hour(one):
    """Means of pay an hour are over the years that have an hour both with a change and without it."""
    more = (
        "[overheads]",
        '[channels.fair]\nproduct = "knob"\norders = "1 orders/year"\npieces_per_order = 2\nprice = "60 EUR"\n[overheads]',
    )
    dearer = (
        ("rent =", "rent ="),
        (
            'rent = "100 EUR/year"\n',
            'rent = "100 EUR/year"\n[scenarios.dearer]\nwhat = "dearer"\nchange.channels.shop.price = "55 EUR"\n',
        ),
    )
    kit = one("months", '"2 orders/year"', "0", more, *dearer)
    [row] = change.changed(kit, 512, 20)
    table, without = change.scenario_table([row]), channels.drop_table(kit, 512, 20)
    both = ~np.isnan(row.pay)

    assert not both.all() and table["change in pay an hour"][0] == pytest.approx((row.pay - row.base_pay)[both].mean())
    assert np.isfinite(without["change in pay an hour"]).all() and np.isfinite(without["change beyond the target"]).all()


def test_comparison_leaves_years_without_a_piece_out(one, tmp_path):
    """Cost of a piece in years that make one: the same in both, so it has a mean and no difference."""
    first = one("months", '"2 orders/year"').study.folder
    rows = {result.what: result for result in compare_studies(first, first).results}
    piece = next(result for what, result in rows.items() if what.startswith("knob: "))

    assert piece.before is not None and piece.before == piece.after


# ---- what is full, by month ----


def test_month_table_against_each_draw(one):
    """Scarce hands: orders, sent, and full months are those of the outcome of each draw, counted one by one."""
    kit = one("months", '"40 orders/year"', "2", ('"60 h/week"', '"2.2 h/week"'))
    frame = curing.month_table(kit, 256, 20)
    months = []
    kit.by_draw(lambda a: months.append(evaluate(a).months) or {"n": np.zeros(256)}, 256, 20)
    [months] = months
    for m, month in enumerate(months[1:], start=1):
        waiting = months[m - 1].waits["shop"]
        assert frame.sent[m] == pytest.approx(month.met["shop"].sum() / (month.came["shop"] + waiting).sum())
        assert frame["something full"][m] == pytest.approx((month.binding > 0).mean())
    assert frame.month.tolist()[::11] == ["January", "December"] and frame.orders.sum() == pytest.approx(40.0)
    assert (frame["most often"] == "hands").all() and (frame["needed most"] == "hands").all() and (frame.sent < 1).all()
    assert 0.3 < frame["something full"].mean() < 1 and frame.needed[0] == pytest.approx(
        float(kit.point().months[0].utilisation["hands"])
    )
    limit = curing.limit_sentence(kit, kit.monte_carlo(256, 20))
    assert "is **hands**" in limit and f"In {sum((month.binding > 0).mean() for month in months):.1f} months of a year" in limit


def test_month_table_where_nothing_is_full_and_where_months_do_not_differ(one):
    """Room for all: nothing is full, all is sent at once, and the sentence says so; without months there is neither table nor sentence."""
    kit = one("months", '"4 orders/year"')
    frame = curing.month_table(kit, 256, 20)

    assert (frame["something full"] == 0).all() and frame.sent.dropna().eq(1).all() and frame["most often"].eq("").all()
    assert "nothing is full in any month" in curing.month_sentence(kit, frame)
    rates = one("rates", '"4 orders/year"')
    empty = curing.month_table(rates, 256, 20)
    assert empty.empty and curing.month_sentence(rates, empty) == ""


def test_busiest_month_of_a_season(one):
    """Half of the year's orders in December: that month is named as the one in which something is full most often, and needs most."""
    season = ("[overheads]", f"[cash]\nseason = {[1] * 11 + [11]}\n[overheads]")
    kit = one("months", '"60 orders/year"', "2", ('"60 h/week"', '"3 h/week"'), season)
    frame = curing.month_table(kit, 256, 20)
    said = curing.month_sentence(kit, frame)

    assert frame.needed.idxmax() == 11 and frame.orders[11] == pytest.approx(30.0) and frame["something full"].idxmax() == 11
    assert "in **December** something is full in over 99" in said and "most often hands" in said
    limit = curing.limit_sentence(kit, kit.monte_carlo(256, 20))
    assert (
        "**demand**: in most months all that is asked for can be made" in limit
        and "months of a year, on average, something is full" in limit
    )


def test_limit_sentence_says_more_room_helps_not_only_where_months_have_it(one):
    """Full in fewer than one month of two years: more room would not help; in the first demo's words of rates nothing is said of months."""
    kit = one("months", '"4 orders/year"')
    year = kit.monte_carlo(256, 20)
    busy = replace(year, draws=year.draws | {"full_months": np.full(256, 2.0)})

    assert "more room to make would not help" in curing.limit_sentence(kit, year) and "months" not in curing.limit_sentence(
        kit, year
    )
    assert "would not help" not in curing.limit_sentence(kit, busy) and "In 2.0 months of a year" in curing.limit_sentence(
        kit, busy
    )
    rates = one("rates", '"4 orders/year"')
    assert "month" not in curing.limit_sentence(rates, rates.monte_carlo(256, 20))


@pytest.mark.parametrize("variation", ["rates", "counts", "months"])
def test_expected_orders_are_said_where_chance_is_left_out(one, variation):
    """Pages that work with expected orders say so where chance exists, and only there."""
    kit = one(variation)
    fmt, chance = format_of(kit), variation != "rates"
    decision = deciding.decision_of(kit, 256, 20)

    assert ("expected" in monte_carlo.without_luck(kit)) is chance
    assert ("orders as expected" in deciding.decision_sentence(decision, fmt)) == (chance and not decision.untold)
    assert ("single months" in mix.mix_sentences(kit, fmt)) is (variation == "months")
    assert isinstance(channels.hidden_hours(kit), str)


def test_cold_months_are_in_the_year_only_where_months_are(one):
    """'Every month alike' is said of rates only."""
    cold = (
        ("wait_in", "wait_at = 22\nwait_in"),
        (
            "[overheads]",
            "[temperature]\n"
            + "\n".join(f"{m} = {t}" for m, t in zip(curing.MONTHS, [8] * 4 + [22] * 8, strict=True))
            + "\n[overheads]",
        ),
    )
    text = {}
    for variation in ("rates", "months"):
        kit = one(
            variation,
            '"4 orders/year"',
            "0",
            *cold,
            ('"00:00-24:00"', '"09:00-17:00"\ntuesday = "09:00-17:00"\nwednesday = "09:00-17:00"'),
        )
        wait = curing.load_wait(kit)
        text[variation] = curing.cure_by_season(kit, wait, curing.temperature_table(kit, wait))

    assert "takes every month alike" in text["rates"] and "takes every month alike" not in text["months"]
    assert "and the year's result has them so" in text["months"]


def test_answer_of_draws_that_have_no_value():
    """A quantity without a value in any draw has a summary of nothing, without a warning."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = Answer(draws={"x": np.full(16, np.nan)}, resources=[], target=1.0, living=1.0).summary("x")

    assert set(found.values()) == {None} and "p50" in found
