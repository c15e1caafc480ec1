"""What an order costs and pays, what its quote says, and every table and chart of it."""

import re
from dataclasses import replace
from datetime import date, timedelta
from html.parser import HTMLParser
from math import ceil

import numpy as np
import pytest
from commands import DATA
from one_project import STUDY as HOOKS
from one_project import write
from order_plans import ALONE, CERTAIN, TODAY, demo, first_commission, poured, study

from casting_econ.kit import format_of, open_study
from casting_econ.orders import figures, open_order, price_of, quote_of, tables, wording
from casting_econ.orders.price import mould_cost
from casting_econ.orders.quote import quote_html


def test_prices_by_hand_where_everything_is_certain(tmp_path):
    kit = open_study(study(tmp_path, spread=CERTAIN, alone=ALONE))
    plan = open_order(kit, "kitchen")
    quoted = price_of(plan)
    taken = poured(plan)  # three loads, and in some draws another, which no page may leave out of hours and money
    loads, entering = taken.sum(axis=1).mean(), (plan.course.entering * taken[..., None]).sum(axis=1).mean(axis=0)
    casts, good = entering[0], (plan.course.good[..., 0] * taken).sum(axis=1).mean()
    assert 0 < good < entering[7] and 3 < loads < 3.2 and casts == pytest.approx(plan.casts + 14 * (loads - 3))
    minutes = (1.8 + 0.5) * casts + 24 * loads + 0.7 * casts + entering[4] * (2.2 + 3.4) + entering[6] * 1.3 + entering[7] * 1.3
    moulds = casts / (14 * 35)
    bench = (minutes + 100 * moulds) / 60
    assert quoted.bench_hours.mean() == pytest.approx(bench)
    # the insert is pressed out of a reject and used again, so one is spent for each good piece
    spent = casts * (0.12 + 24 * 0.024 + 0.05 + 0.14) + good * 0.42 + moulds * 0.66 * 30 + 2.00 + 7.90 - 7.50
    assert quoted.spent.mean() == pytest.approx(spent)
    fixed = 0.25 + 0.015 * 7.50 + 0.02 * (7.50 + 7.90)
    kept = 1 - 0.015 - 0.02
    assert quoted.bills_only == pytest.approx((spent + fixed) / kept)
    assert quoted.extra_cost == pytest.approx((spent + fixed + (bench + 95 / 60) * 16) / kept)
    year = kit.point().totals
    share = bench / year["make_hours_per_year"]
    carried = share * (year["overhead_per_year"] + year["equipment_per_year"] + 6.5 * 46 * 16)
    assert quoted.full_cost == pytest.approx((spent + fixed + carried + (bench + 95 / 60) * 16) / kept)


def test_an_order_carries_the_year_of_its_own_draw(tmp_path):
    """Weekly hours of 2 to 14: what falls on the order spreads as they do, draw by draw, as all else is certain (own arithmetic)."""
    weekly = (
        'fixed_hours = { value = "6.5 h/week", from = "records", worth = "4 weeks",',
        'fixed_hours = { low = "2 h/week", likely = "6 h/week", high = "14 h/week",',
    )
    plan = open_order(open_study(study(tmp_path, spread=CERTAIN, alone=ALONE, weekly=weekly)), "kitchen")
    quoted, drawn = price_of(plan), np.asarray(plan.planner.inputs.fixed_hours_per_week)
    each = quoted.hidden_hours / quoted.bench_hours
    assert np.quantile(drawn, 0.9) > 2 * np.quantile(drawn, 0.1)
    assert each / each.mean() == pytest.approx(drawn / drawn.mean())


def test_what_an_order_wears_of_its_moulds_is_what_its_prices_carry(tmp_path):
    """Moulds of two hours and 18 of silicone, an hour at 15: 24 for each hour that the table of hours has of them, however uncertain their life.

    Divided by the likely life it would be more: a mould more often lasts longer than that here (own arithmetic).
    """
    life = HOOKS.replace("life = 30", "life = { low = 10, likely = 25, high = 80 }").replace(
        'minutes = "10 %"', 'minutes = "0 %"'
    )
    plan = open_order(open_study(write(tmp_path / "hooks", {}, life)), "first")
    hours = tables.hours_table(plan, price_of(plan)).set_index("what").hours["making moulds that wear out"]
    assert mould_cost(plan).worn == pytest.approx(hours * (15 + 18 / 2))
    middle = float(plan.planner.point_product.mould.life_casts) * 12
    assert hours < 0.95 * plan.casts_in_loads * 2 / middle


def test_more_at_hand_is_never_worse():
    """Half-way, a third pot turned the hands to later loads: the date came out later. Left unused it makes no difference, and so it is said."""
    plan = open_order(open_study(DATA / "samphire-hooks", as_of="2026-02-05"), "first-order").with_order(due=date(2026, 2, 26))
    (_, planned, arrives), *more = plan.options
    rows = {what: row for what, *row in more}
    assert rows["one more station of each kind"] == [planned, arrives] and rows["a quarter more hours a week"][0] > planned
    loads, one_more = plan.loads, plan.planner.course(plan.order, plan.loads, plan.planner.draws, stations=1)
    assert loads.planned > 3 and one_more.in_time < planned  # as the hands go


def test_a_price_pays_what_it_was_worked_out_for():
    plan, quoted = first_commission()
    assert quoted.bills_only < quoted.extra_cost < quoted.full_cost < quoted.at_chance(0.8) < quoted.at_chance(0.95)
    for price, draw in zip(quoted.each_full_cost[:5], range(5), strict=True):
        assert quoted.pay(price)[draw] == pytest.approx(quoted.target)
    assert quoted.chance(quoted.at_chance(0.8)) == pytest.approx(0.8, abs=0.01)
    table = tables.discount_table(quoted, 4000.0)
    assert list(table.discount) == [0.0, 0.05, 0.10, 0.20] and (np.diff(table["pay an hour"]) < 0).all()
    lost = 4000 * 0.2 * quoted.kept_share / quoted.hours
    assert table["change"].iloc[-1] == pytest.approx(-lost.mean())
    assert quoted.deposit(2900.0) >= quoted.at_risk and quoted.deposit(2900.0) == ceil(max(quoted.at_risk, 0.3 * 2900))
    assert quoted.deposit(100.0) == 100.0
    fmt = format_of(demo())
    short, enough = (wording.deposit_sentence(plan, quoted, price, fmt) for price in (100.0, 2900.0))
    assert "No deposit covers" in short and "even the whole price, $100.00, does not" in short and "A deposit" not in short
    assert "A deposit of" in enough and "even the whole price" not in enough


@pytest.mark.parametrize(
    ("price", "said"),
    [
        (200.0, "does not even pay the bills"),
        (1000.0, "less than its own hours"),
        (2400.0, "only while hands"),
        (5000.0, "over 99"),
    ],
)
def test_the_sentence_on_a_price_switches_with_it(price, said):
    plan = first_commission()[0].with_order(price=price)
    quoted = price_of(plan)
    text = wording.price_sentence(plan, quoted, format_of(demo()))
    others = {"does not even pay the bills", "less than its own hours", "only while hands"} - {said}
    assert said in text and not any(other in text for other in others)


def test_the_quote_says_a_day_on_which_parcels_go_off():
    """Mondays, Wednesdays and Fridays, two days on the way: for Saturday the 30th it is Wednesday the 27th."""
    plan = open_order(demo("kelpmoor-handles"), today=date(2027, 1, 11), pieces=10, by="2027-01-30")
    quote = quote_of(plan, price_of(plan))
    assert (quote.posted_by, quote.arrives_by) == (date(2027, 1, 27), date(2027, 1, 30))


def test_what_no_channel_leaves_out_is_said():
    kit, fmt = demo("kelpmoor-handles"), format_of(demo("kelpmoor-handles"))
    for channel in (None, "joiner"):
        plan = open_order(kit, "kitchen").with_order(channel=channel)
        plan = (
            replace(plan, planner=open_order(kit, today=TODAY, pieces=28, by="2026-12-18").planner) if channel is None else plan
        )
        quoted = price_of(plan)
        assert ("No channel is named" in wording.price_sentence(plan, quoted, fmt)) == (channel is None)
        assert (
            ("talking, packing" in wording.by_feel_sentence(plan, quoted, fmt))
            == (quoted.order_hours.mean() > 0)
            == (channel is not None)
        )


def test_what_is_left_over_is_said_where_it_lowers_the_price():
    plan = open_order(demo("kelpmoor-handles"), "dressers")
    quoted, fmt = price_of(plan), format_of(demo("kelpmoor-handles"))
    over = np.maximum((plan.course.good[..., 0] * poured(plan)).sum(axis=1) - 18, 0).mean() * 4.0
    assert quoted.brought.mean() == pytest.approx(over)
    assert fmt.money(over) in wording.price_sentence(plan, quoted, fmt)
    free = plan.with_order(leftover_value=0.0)
    assert "beyond the order" not in wording.price_sentence(free, price_of(free), fmt)


def test_every_table_and_chart_of_an_order():
    plan, quoted = first_commission()
    fmt = format_of(demo())
    rows = {
        "confidence": tables.confidence_table(plan, fmt),
        "loads": tables.load_table(plan, fmt),
        "days": tables.day_table(plan, fmt),
        "materials": tables.material_table(plan, fmt),
        "prices": tables.price_table(plan, quoted),
        "options": tables.option_table(plan, fmt),
        "starts": tables.start_table(plan, fmt),
    }
    assert all(len(frame) for frame in rows.values())
    assert (
        rows["confidence"].casts.is_monotonic_increasing
        and (rows["confidence"]["enough good"] >= rows["confidence"].confidence).all()
    )
    assert len(rows["loads"]) == plan.loads.planned and rows["loads"].casts.sum() == plan.casts
    cap = plan.course.opened.calendar.day_cap[0] / 3600
    assert (rows["days"].hours <= cap + 1e-9).all() and (rows["days"].sanding <= 2.5).all()
    hours = sum(end - start for _, _, start, end in plan.typical.schedule.segments) / 3600
    assert rows["days"].hours.sum() == pytest.approx(hours + 360 / 60)  # talking, packing and posting, as the study states them
    assert rows["days"].work.str.contains("talking, packing, posting").sum() >= 2  # more than a day's hours for the order
    curve = tables.curve_table(plan)
    assert (np.diff(curve.chance) >= -1e-9).all()
    for figure in (
        figures.chance_chart(curve, tables.rule_table(plan), 0.95, fmt),
        figures.calendar_chart(plan, fmt),
        figures.date_chart(plan, fmt),
    ):
        assert figure.axes


class _Text(HTMLParser):
    def __init__(self):
        super().__init__()
        self.words = []

    def handle_data(self, data):
        self.words.append(data)


def test_the_quote_shows_what_the_customer_needs_and_no_cost():
    plan, quoted = first_commission()
    fmt, page = format_of(demo()), _Text()
    page.feed(quote_html(quote_of(plan, quoted)))
    text = " ".join(" ".join(page.words).split())
    for shown in ("320", "200", "120", "$2,900.00", "$870.00", "October 19, 2026", "harbour blue"):
        assert shown in text
    numbers = [quoted.bills_only, quoted.extra_cost, quoted.full_cost, quoted.at_risk, quoted.target, quoted.at_chance(0.8)]
    hidden = [fmt.money(n) for n in numbers] + [str(plan.casts), "yield", "an hour", "cost", "scrap"]
    assert not [word for word in hidden if word in text.lower() or word in text]
    late = plan.with_order(due=date(2026, 9, 18))
    quote = quote_of(late, price_of(late))  # begins once it has run out, so later than what begins at once
    assert quote.valid_until == late.order.start + timedelta(days=demo().study.file.quote.valid_days)
    assert quote.arrives_by == late.promise_from(quote.valid_until)[1] > late.earliest_promise[1]


def test_a_quote_speaks_the_language_of_the_study(tmp_path):
    kit = open_study(study(tmp_path, locale=('locale = "en_IE"', 'locale = "de_DE"')))
    plan = open_order(kit, "kitchen")
    html = quote_html(quote_of(plan, price_of(plan)))
    assert 'lang="de"' in html and "Dezember 2026" in html and "Angebot" in html
    assert re.search(r"\d+,\d\d\s€", html)


ONE_STEP = """
[study]
name = "Plaques"
currency = "EUR"
[time]
weeks = "46 week/year"
hours = "20 h/week"
fixed_hours = "0 h/week"
[calendar]
monday = "09:00-17:00"
[target]
per_hour = "15 EUR/h"
[products.plaque]
casts_per_load = 6
[products.plaque.steps.cast]
minutes = "2 min"
load_minutes = "10 min"
wait = "4 h"
materials.plaster = { price = "0.5 EUR" }
[channels.shop]
product = "plaque"
orders = "20 orders/year"
pieces_per_order = 6
price = "40 EUR"
"""


@pytest.mark.parametrize("in_hand", [0, 6])
def test_an_order_of_pieces_that_have_one_step_by_hand(tmp_path, in_hand):
    """Twelve, half of them in hand or none: 2 loads of 10 min and 12 pieces of 2 min are 44 min at 15 an hour, and 12 x 0.5 of plaster."""
    (tmp_path / "study.toml").write_text(ONE_STEP, encoding="utf-8")
    plan = open_order(open_study(tmp_path), pieces=12, by=date(2027, 3, 1), in_hand=in_hand, today=date(2027, 1, 4))
    quoted = price_of(plan)

    assert plan.casts_in_loads == 12 - in_hand
    assert quoted.bench_hours == pytest.approx(44 / 60) and quoted.bills_only == pytest.approx(6.0)
    assert quoted.extra_cost == quoted.full_cost == pytest.approx(6.0 + 44 / 60 * 15)
