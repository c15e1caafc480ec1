"""Cash of months as they come: against a plain walk through every draw and month, and the year's own sums."""

import re
from dataclasses import replace

import numpy as np
import pytest
from commands import edited, rates_copy
from scipy import stats

from casting_econ.assumptions import draw_values, with_luck, workshop_at
from casting_econ.kit import open_study
from casting_econ.models import evaluate
from casting_econ.models.flows import flows_of
from casting_econ.pages.cash import assumed_sentence, limits_sentence, lines_table, path_table, reserve_sentence
from casting_econ.pages.cash_paths import NO_PAY, STATED_PAY, TARGET_PAY, cash_draws, tax_months

DRAWS = 128
SEASON = [0.5, 0.5, 1, 1, 1, 1, 0.5, 0.5, 1, 1, 2, 2]
TINY = f"""
[study]
name = "Tiny"
question = "Does the money last?"
currency = "GBP"
locale = "en_GB"
variation = "months"
draws = {DRAWS}
seed = 4
[time]
weeks = "40 week/year"
hours = "5 h/week"
fixed_hours = "1 h/week"
weeks_off = {{ august = "4 week" }}
[calendar]
monday = "09:00-17:00"
[target]
per_hour = "15 GBP/h"
full_week = "35 h/week"
set_aside = "25 %"
tax = "uk-2025"
[products.knob]
casts_per_load = 4
[products.knob.steps.pour]
minutes = "40 min"
pass_share = "80 %"
materials.resin = {{ price = "5 GBP" }}
[channels.shop]
product = "knob"
orders = "20 orders/year"
pieces_per_order = 3
price = "120 GBP"
fee_share = "10 %"
postage_paid = "5 GBP"
packaging = "1 GBP"
minutes_per_order = "30 min"
[channels.fair]
product = "knob"
orders = "12 orders/year"
pieces_per_order = 1
price = "30 GBP"
days = "4 day/year"
hours_per_day = "5 h/day"
fee_per_day = "25 GBP/day"
[overheads]
rent = "240 GBP/year"
[equipment.press]
price = "300 GBP"
life = "4 year"
[risks.flu]
chance = "40 %"
weeks = "5 week"
cost = "80 GBP"
[cash]
reserve = "500 GBP"
season = {SEASON}
start_month = "october"
ramp_months = 3
months = 24
payment_delay = {{ shop = 1 }}
pay_taken = "30 GBP/month"
"""


@pytest.fixture
def tiny(tmp_path):
    """The tiny study, with parts of its text replaced."""

    def make(*edits):
        (tmp_path / "study.toml").write_text(edited(TINY, *edits), encoding="utf-8")
        return open_study(tmp_path)

    return make


def walked(kit, row):
    """Free money of one draw under each rule of pay, walked month by month from the statement of the rules.

    October first, Poisson orders about season and ramp; what hands cannot make is cut evenly, an order that is begun being made before
    a month's own, and these before others that wait; buyers of the shop wait a month, from one year into the next too, and the oldest
    order goes out first; an order that is begun by then is done; nobody waits at the start; the flu takes its weeks from the month in
    which it starts; the shop pays a
    month late; a quarter of the surplus of each tax year (to the end of March) is not free.
    """
    season = np.array(SEASON) / sum(SEASON)
    days = 365.2425 / 12 / 7  # weeks in a month
    working = np.array([days - 4 * (month == 7) for month in range(12)])
    working /= working.sum()
    ramp = {0: (0 + 1 / 3) / 2, 1: (1 / 3 + 2 / 3) / 2, 2: (2 / 3 + 1) / 2}  # mean of the month: demand grows evenly
    months, queue = [], []  # what is left of each order that waits, the oldest first
    for year in range(2):
        luck = with_luck(kit.inputs(), kit.study, 4, 0, DRAWS, year).months.luck
        sick, starts, left = luck.risks["flu"][row], None, 0.0
        if sick < 0.4:
            starts, left = int(12 * sick / 0.4), 5.0
        lost = [0.0] * 12
        for after in range(12 if left else 0):
            at = (starts + after) % 12
            lost[at] = min(left, 40 * working[(9 + at) % 12])
            left -= lost[at]
        for month in range(12):
            calendar = (9 + month) % 12
            share = season[calendar] * (ramp.get(month, 1.0) if year == 0 else 1.0)
            came, fair = (
                stats.poisson.ppf(luck.orders[c][row, calendar], rate * share) for c, rate in (("shop", 20), ("fair", 12))
            )
            weeks = 40 * working[calendar] - lost[month]
            needed = (3 * came + fair) / 0.8 * 40 / 60 + came / 2
            spare = max(4 * weeks - 20 * season[calendar], 0.0)
            each, begun = 3 / 0.8 * 40 / 60 + 1 / 2, sum(left for left in queue[:1] if left < 1 - 1e-9)
            first = min(begun, spare / each)
            spare -= first * each
            done = min(1.0, spare / needed) if needed else 1.0
            spare -= needed * done
            there = first + came * done + (min(sum(queue) - begun, spare / each) if done == 1.0 else 0.0)
            fair, sent, waited = fair * done, there, len(queue)
            for at, left in enumerate([*queue, *[1.0] * int(came)]):
                sent, left = max(sent - left, 0.0), max(left - sent, 0.0)
                if left > 1e-9 and (at >= waited or left < 1 - 1e-9):
                    queue.append(left)
            queue = queue[waited:]
            casts = (3 * there + fair) / 0.8
            paid = 6 * there + 5 * casts + 20 + 100 * season[calendar] + 80 * (month == starts)
            hours = weeks + 20 * season[calendar] + there / 2 + casts * 40 / 60
            months.append((108 * there, 30 * fair, paid, hours))
    paths = {}
    for name in (NO_PAY, TARGET_PAY, STATED_PAY):
        bank, late, due, surplus, free = 500 - 300.0, 0.0, 0.0, 0.0, [200.0]
        for number, (shop, fair, paid, hours) in enumerate(months, start=1):
            pay = {NO_PAY: 0.0, TARGET_PAY: 15 * hours * 0.75, STATED_PAY: 30.0}[name]
            bank += late + fair - paid - pay
            surplus += late + fair - paid - 300 / 4 / 12
            late = shop
            free.append(bank - due - 0.25 * max(surplus, 0.0))
            if number in (6, 18):  # the end of March
                due, surplus = due + 0.25 * max(surplus, 0.0), 0.0
        paths[name] = free
    return paths, months


def test_paths_as_walked_month_by_month(tiny):
    """128 draws of 24 months: free money under each rule of pay is what a plain walk finds, in draws where orders wait or are lost too."""
    kit = tiny()
    answer, seen = cash_draws(kit), []
    for row in range(DRAWS):
        paths, months = walked(kit, row)
        for name, free in paths.items():
            assert answer.cases[name].free[row] == pytest.approx(free, rel=1e-9, abs=1e-9), (row, name)
        seen.append([shop % 108 > 1e-6 for shop, *_ in months])
    assert np.mean(seen) > 0.02  # months in which hands could not make all
    assert answer.by_chance and np.ptp(answer.cases[NO_PAY].free[:, 12]) > 100
    out = np.mean([min(walked(kit, row)[0][STATED_PAY]) < 0 for row in range(DRAWS)])
    assert answer.cases[STATED_PAY].runs_out["chance"] == out and 0 < out < 1


def test_result_depends_neither_on_chunks_nor_on_workers(tiny):
    """Same bits however the draws are cut."""
    kit = tiny()
    one, other = cash_draws(kit), cash_draws(kit, chunk=7, workers=2)

    assert all(np.array_equal(one.cases[name].free, other.cases[name].free) for name in one.cases)


EVERYTHING = (
    ("[study]", '[study]\nvariation = "months"'),
    ("[channels.online]", "[channels.online]\nclustering = 0.4\nsize_spread = 0.5\nwaits = true"),
    ("[products.knob]\n", '[products.knob]\nshelf = 30\nshelf_cost = "1 EUR/year"\nruined_loads = "3 load/year"\n'),
    ('minutes = { value = "3.4 min", from = "records", worth = "30 pieces" }', 'minutes = "3 min"\nfirst_minutes = "12 min"'),
    ("[overheads]", '[risks.flu]\nchance = "40 %"\nweeks = "3 week"\ncost = "90 EUR"\n\n[overheads]'),
)


@pytest.fixture(scope="module")
def everything(tmp_path_factory):
    """The first demo with all that can differ between months."""
    text = (rates_copy("kelpmoor-handles") / "study.toml").read_text(encoding="utf-8")
    for old, new in EVERYTHING:
        assert old in text
        text = text.replace(old, new, 1)
    folder = tmp_path_factory.mktemp("everything")
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return open_study(folder)


@pytest.mark.parametrize("luck", [False, True])
def test_months_add_up_to_the_year(everything, luck):
    """With shelf, clusters, sizes, flu, moulds, ruined loads and learning: money and hours of twelve months are the year's, draw by draw."""
    a = everything.inputs()
    if luck:
        values = draw_values(everything.assumed, 256, 20, 0, 256)
        a = with_luck(workshop_at(everything.study, values), everything.study, 20, 0, 256)
    outcome = evaluate(a)
    year, found = outcome.totals, flows_of(a, outcome)

    def total(*flows):
        return sum(np.sum(flow, axis=-1) for flow in flows)

    assert found.hours.shape[-1] == 12 and total(found.hours) == pytest.approx(year["hours_per_year"], rel=1e-12)
    assert total(found.overhead) == pytest.approx(year["overhead_per_year"], rel=1e-12)
    costs = total(found.with_sales, found.stalls, found.material, *found.moulds.values(), found.overhead, found.wear)
    assert total(*found.receipts.values()) - costs == pytest.approx(year["residual_pay_per_year"], rel=1e-9, abs=1e-7)


def test_first_year_of_the_path_is_the_year_of_the_draw(everything):
    """Twelve months from January: free money gains residual pay less its set-aside, wear and what the first moulds bore coming back.

    Of a start at which nobody waits yet, which in the year of the draw some may.
    """

    def first_of_all(a):
        return evaluate(replace(a, months=replace(a.months, before=({}, {})))).totals

    year, case = everything.by_draw(first_of_all, 256), cash_draws(everything, 256).cases[NO_PAY]
    residual, wear = year["residual_pay_per_year"], float(everything.point().totals["equipment_per_year"])
    moulds = -case.free[:, 0] - 1780.0

    assert case.free[:, 12] - case.free[:, 0] == pytest.approx(
        residual - 0.28 * np.maximum(residual, 0.0) + wear + moulds, rel=1e-9
    )


def test_years_have_luck_of_their_own(tiny):
    """Every number certain: what one year brings tells nothing of the next (2,048 draws: correlation within three standard errors)."""
    free = cash_draws(tiny(("ramp_months = 3\n", "")), 2048).cases[NO_PAY].free
    first, second = free[:, 12] - free[:, 0], free[:, 24] - free[:, 12]

    assert abs(np.corrcoef(first, second)[0, 1]) < 3 / np.sqrt(2048) + 0.05  # the last month of one is paid in the next
    assert first.std() == pytest.approx(second.std(), rel=0.15) and not np.array_equal(first, second)


def test_nothing_sold(tiny):
    """No buyers: rent, fairs and, where it comes, the flu go out, in every month the same but for these, and all numbers are finite."""
    orders = (
        ('orders = "20 orders/year"', 'orders = "0.000001 orders/year"'),
        ('orders = "12 orders/year"', 'orders = "0.000001 orders/year"'),
    )
    kit = tiny(*orders, ('chance = "40 %"', 'chance = "0 %"'))
    case = cash_draws(kit).cases[NO_PAY]
    spent = 20 + 100 * np.roll(SEASON, -9) / sum(SEASON)

    assert case.free == pytest.approx(np.tile(200 - np.concatenate([[0], np.cumsum(np.tile(spent, 2))]), (DRAWS, 1)))
    assert not np.isfinite(case.back).any() and case.path.received.max() < 1e-4


def test_draw_without_an_order_for_a_year(tiny):
    """One order a year and no fair: in e^-1 = 36.8 % of draws none comes in twelve months, which cost rent, and nothing else."""
    fair = TINY[TINY.index("[channels.fair]") : TINY.index("[overheads]")]
    edits = ('orders = "20 orders/year"', 'orders = "1 orders/year"'), (fair, ""), ("ramp_months = 3\n", ""), ('"40 %"', '"0 %"')
    kit = tiny(*edits, ("payment_delay = { shop = 1 }\n", ""))
    case, came = cash_draws(kit, 2048).cases[NO_PAY], kit.monte_carlo(2048).draws["orders/shop"]
    none = came == 0

    assert none.mean() == pytest.approx(np.exp(-1), abs=4 * np.sqrt(0.3679 * 0.6321 / 2048))
    assert case.free[none, 12] == pytest.approx(200.0 - 240.0) and (case.free[~none, 12] > -40.0).all()


def test_reserve_of_nothing(tiny):
    """Without a reserve the whole outlay is short at once; what is needed is said, and that no reserve is stated."""
    kit = tiny(('reserve = "500 GBP"\n', ""))
    answer = cash_draws(kit)
    case = answer.cases[STATED_PAY]

    assert case.runs_out["chance"] == 1.0 and case.free[:, 0] == pytest.approx(-300.0)
    assert "states no reserve" in reserve_sentence(kit, answer, STATED_PAY)


def test_material_bought_ahead_is_for_expected_orders(tiny):
    """Two months ahead: stock covers the next two months' expected sales, or more where fewer orders came; what is in it is not free.

    Own arithmetic: (3 x 20 + 12) pieces a year by season and ramp, 0.8 of casts good, 5.00 of resin a cast.
    """
    edits = ('hours = "5 h/week"', 'hours = "30 h/week"'), ('set_aside = "25 %"', 'set_aside = "0 %"')
    now = cash_draws(tiny(*edits)).cases[NO_PAY]
    ahead = cash_draws(tiny(*edits, ("[cash]", "[cash]\nmaterial_lead = 2"))).cases[NO_PAY]
    grown = np.minimum((np.arange(26) + 0.5) / 3, 1.0)
    used = 72 / 0.8 * 5 * np.tile(np.roll(SEASON, -9), 3)[:26] / sum(SEASON) * grown
    planned = used[:25] + np.append(used[1:], 72 / 0.8 * 5 * SEASON[11] / sum(SEASON))[:25]

    assert ahead.path.in_stock == pytest.approx(planned) and now.path.in_stock == pytest.approx(0.0)
    stock = now.free - ahead.free
    assert (stock > planned - 1e-9).all() and np.isclose(stock, planned).mean() > 0.5 and (stock > planned + 1).mean() > 0.05


@pytest.mark.parametrize(
    ("scheme", "currency", "start", "months"),
    [
        ("uk-2025", "GBP", "january", (3, 10)),  # to 5 April, taken as March; 31 January
        ("uk-2025", "GBP", "april", (12, 10)),
        ("uk-2025", "GBP", "october", (6, 10)),
        ("ie-2025", "EUR", "january", (12, 10)),  # 31 October
        ("ie-2025", "EUR", "december", (1, 10)),
        ("us-2025", "USD", "june", (7, 4)),  # 15 April
        (None, "GBP", "june", (12, 0)),
    ],
)
def test_tax_days(tiny, scheme, currency, start, months):
    """Tax years end and are paid by the days of the tax table; without one, when twelve months are over (sources in `taxes.toml`)."""
    named = ('tax = "uk-2025"\n', "" if scheme is None else f'tax = "{scheme}"\n')
    kit = tiny(named, ("GBP", currency), ('"october"', f'"{start}"'))

    assert tax_months(kit) == months


def test_set_aside_leaves_on_its_day_and_is_never_free(tiny):
    """From October: what the months to March owe leaves in the January after next, month 16, and is set aside until then."""
    kit = tiny()
    answer = cash_draws(kit)
    lines = lines_table(answer, NO_PAY)
    paid, aside = lines["tax paid"].to_numpy(), lines["set aside for tax"].to_numpy()

    assert np.flatnonzero(paid).tolist() == [16] and -paid[16] == pytest.approx(aside[6])
    assert (aside[6:16] >= aside[6] - 1e-9).all()
    second = (lines.received + lines.paid)[7:17].sum() - 10 * 300 / 4 / 12
    assert aside[16] == pytest.approx(0.25 * second) and paid[6] == 0.0
    assert lines.free.to_numpy() == pytest.approx(lines.balance - lines["set aside for tax"])
    assert "leaves the bank in January, 10 months after the tax year ends with March" in assumed_sentence(kit, answer)


def test_words_where_chance_is_in_and_where_it_is_not(tiny):
    """Months: the bands hold what chance brings, and nothing says that it comes on top; in rates that is said as before."""
    text = {}
    for variation in ("months", "rates"):
        kit = tiny(('variation = "months"', f'variation = "{variation}"'))
        answer = cash_draws(kit)
        text[variation] = " ".join([assumed_sentence(kit, answer), reserve_sentence(kit, answer, NO_PAY), limits_sentence(kit)])
        assert path_table(answer).shape == (25, 6)

    assert "the bands hold what chance brings" in text["months"] and "left to chance" in text["months"]
    assert not re.search("scatter more|comes on top|sells alike", text["months"]) and "  " not in text["months"]
    assert "scatter" in text["rates"] and "comes on top" in text["rates"]


def test_lowest_point_that_moves_from_draw_to_draw(tiny):
    """Where no month is the lowest in half of the draws, the time is told as a span, not as one month that is seldom right."""
    kit = tiny()
    answer = cash_draws(kit)
    free = np.full((1000, 25), 100.0)
    free[np.arange(1000), 1 + np.arange(1000) % 20] = -50.0
    spread = replace(answer, cases={NO_PAY: replace(answer.cases[NO_PAY], free=free)})
    one = np.where(np.arange(25) == 7, -50.0, 100.0) * np.ones((1000, 1))
    same = replace(answer, cases={NO_PAY: replace(answer.cases[NO_PAY], free=one)})

    assert "between the end of month 2 (November) and the end of month 18 (March)" in reserve_sentence(kit, spread, NO_PAY)
    assert "lowest at the end of month 7 (April);" in reserve_sentence(kit, same, NO_PAY)
