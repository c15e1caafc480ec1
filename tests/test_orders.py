"""Orders as a maker asks for them: casts, dates, materials, prices, quote, and going on while they run."""

import re
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from html.parser import HTMLParser
from itertools import pairwise
from math import ceil, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from casting_econ.faults import StudyError
from casting_econ.kit import format_of, open_study
from casting_econ.models import rolled_yield
from casting_econ.models.schedule import DAY, NEVER
from casting_econ.orders import figures, open_order, order_lines, order_results, price_of, quote_of, tables, wording
from casting_econ.orders.buying import buying_list
from casting_econ.orders.mould_page import moulds_sentence
from casting_econ.orders.quote import quote_html
from casting_econ.orders.spec import order_of
from casting_econ.pages.curing import cure_by_season, temperature_table
from casting_econ.running.results import as_json
from casting_econ.units import ratio_of_units

DATA = Path(__file__).resolve().parent.parent / "data"
TODAY = date(2026, 11, 30)


@cache
def demo(name="hollin-quay-pulls"):
    return open_study(DATA / name)


@cache
def first_commission():
    plan = open_order(demo(), "hotel-refit")
    return plan, price_of(plan)


def study(tmp_path, name="kelpmoor-handles", records=False, **changes):
    """A demo with some of its text changed, without records unless asked for."""
    text = (DATA / name / "study.toml").read_text(encoding="utf-8")
    for old, new in changes.values():
        assert old in text, old
        text = text.replace(old, new)
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    if records:
        (tmp_path / "records").mkdir(exist_ok=True)
        for path in (DATA / name / "records").iterdir():
            (tmp_path / "records" / path.name).write_bytes(path.read_bytes())
    return tmp_path


SPREAD = 'demand = "15 %"\nminutes = "12 %"\npass_odds = "30 %"\nmaterial = "6 %"\nprice = "3 %"'
CERTAIN = (SPREAD, 'demand = "0 %"')
ALONE = ("casts_per_load = { value = 14,", 'load_correlation = "0 %"\ncasts_per_load = { value = 14,')
FREE = ('promised = [{ what = "knobs for the shop", product = "knob", casts = 14 }]', "")
HOURS = ('hours = "16 h/week"', 'hours = "40 h/week"')


# ------------------------------------------------------------------ facts of the trade


def test_a_first_commission_by_the_facts_of_the_trade():
    """Every fact here: common practice, no source."""
    kit, (plan, quoted) = demo(), first_commission()
    entry = kit.study.file.products["cord-pull"]
    steps = entry.steps
    # about 15 % rejects on a first large run, as stated and as the first three loads had it
    assert rolled_yield([s.pass_share.value for s in steps.values()]) == pytest.approx(0.85, abs=0.01)
    batches = kit.study.records["batches"]
    assert batches.good.sum() / batches.casts.sum() == pytest.approx(0.85, abs=0.01)
    # 12 h of cure
    assert steps["pot"].wait.value == 12.0
    # 10 to 12 fl oz of mixed resin for 15 to 18 pieces of about 25 mm cast with lids
    resin = steps["pour"].materials["resin"]
    each = resin.quantity.value / (1 - resin.loss.value) * ratio_of_units(resin.quantity.unit, "fluid_ounce", "USD")
    assert pytest.approx(each, abs=0.001) == 10 / 15 and 10 <= each * 16.5 <= 12
    # 1:1 by volume is not 1:1 by mass
    parts = {row.item: row for row in buying_list(plan) if row.item.startswith("resin")}
    assert parts["resin: part-A"].needed == pytest.approx(parts["resin: part-B"].needed)
    # 2 to 3 minutes to take out and clean a piece when estimated; about 3.6 when whole loads of 33 were timed
    key = "products.cord-pull.steps.demould-and-clean.minutes"
    assert 2.0 <= kit.study.numbers[key].value <= 3.0
    assert kit.assumed.evidence[key].observed == pytest.approx(3.6, abs=0.05)
    sheet = kit.study.records["timesheet"]
    assert set(sheet[sheet.step == "demould-and-clean"].pieces_handled) == {33}
    # a vibratory tumbler wants about 72 h
    assert steps["tumble"].wait.value == 72.0
    # casting a quarter more than ordered is the usual margin, and it is not enough here
    rules = tables.rule_table(plan).set_index("rule")
    margin = rules.loc["a quarter more than wanted"]
    assert margin.casts == 400 == ceil(1.25 * 320)
    assert margin.chance < 0.8 and plan.casts > margin.casts and plan.chance_of_enough >= 0.95
    assert plan.new_loads == ceil(plan.casts / 33) > margin.loads
    # what a plan by feel leaves out: taking out and finishing is several times the casting, at the measured pace
    hours = tables.hours_table(plan, quoted).set_index("what").hours
    casting, finishing = (
        hours["pour"] + hours["pot"],
        hours[["demould-and-clean", "sand-seam", "tumble", "line-and-wipe", "cord-and-check"]].sum(),
    )
    assert finishing > 4 * casting
    assert hours["demould-and-clean"] > 1.25 * plan.casts * 2.5 / 60
    assert hours["its share of the weekly hours"] > 0 and hours["enquiry, packing and posting"] > 0
    said = wording.by_feel_sentence(plan, quoted, format_of(kit))
    for part in (
        f"{plan.planner.point.good_share.size}",
        "386 casts",
        "400 casts",
        "falls short",
        "taking out, checking and finishing",
    ):
        assert part in said


# ------------------------------------------------------------------ how many


def test_casts_of_the_trade_notes_where_yield_is_known_and_pieces_fail_alone(tmp_path):
    """Trade notes, story 3 and section H (own arithmetic): 28 good at 82.9 % take 38 casts for 95 %; 34 are enough in only 64 %."""
    kit = open_study(study(tmp_path, spread=CERTAIN, alone=ALONE))
    plan = open_order(kit, "kitchen")
    assert (plan.casts, plan.new_loads) == (38, 3)
    assert plan.chance_of_enough == pytest.approx(0.95, abs=0.005)
    assert plan.planner.curve(plan.order, [34, 36, 42]) == pytest.approx([0.64, 0.85, 0.997], abs=0.005)
    rules = tables.rule_table(plan).set_index("rule")
    assert rules.casts["wanted ÷ yield"] == 34
    assert [plan.with_order(confidence=c).casts for c in (0.5, 0.9, 0.95, 0.99)] == [34, 37, 38, 41]


def test_uncertain_yield_and_alike_loads_ask_for_more(tmp_path):
    certain = open_order(open_study(study(tmp_path, spread=CERTAIN, alone=ALONE)), "kitchen").casts
    alike = open_order(
        open_study(study(tmp_path, spread=CERTAIN, alone=(ALONE[0], ALONE[1].replace("0 %", "10 %")))), "kitchen"
    ).casts
    both = open_order(open_study(study(tmp_path, alone=(ALONE[0], ALONE[1].replace("0 %", "10 %")))), "kitchen").casts
    assert certain < alike < both


@pytest.mark.parametrize(
    ("changes", "records", "said"),
    [
        ({}, False, "0.05 (0.01 to 0.11 in eight of ten): guess, common practice, no source"),
        ({"alone": (ALONE[0], ALONE[1].replace('"0 %"', '"20 %"'))}, False, "0.20: decided."),
        ({}, True, "in eight of ten): measured on "),
    ],
)
def test_what_unlike_loads_add_is_said_with_the_correlation_and_its_source(changes, records, said, tmp_path):
    """Beside the casts there is the number that would do if pieces failed one by one, here by the binomial distribution."""
    kit = open_study(study(tmp_path, records=records, spread=CERTAIN, **changes))
    plan = open_order(kit, "kitchen", pieces=60, by="2027-02-26")
    alone, fmt = plan.casts_one_by_one, format_of(kit)
    if not records:  # else the yield is uncertain
        share = 0.89 * 0.96 * 0.97
        assert alone == next(n for n in range(60, 200) if stats.binom.sf(59, n, share) >= 0.95)
    text = wording.alike_sentence(plan, fmt)
    assert text.replace("**", "").replace("`", "") in order_lines(plan, price_of(plan))
    assert said in text and f"{alone} casts if pieces failed one by one; {plan.casts} because loads differ" in text
    assert alone < plan.casts and plan.planner.curve(plan.order, [alone])[0] < 0.95
    assert order_results(plan, price_of(plan))["casts_if_pieces_failed_one_by_one"] == alone


def test_casts_of_pieces_that_fail_one_by_one_are_said_to_be_as_many(tmp_path):
    """A correlation stated as none changes nothing, and the sentence says so; nothing to cast has no sentence."""
    kit = open_study(study(tmp_path, spread=CERTAIN, alone=ALONE))
    plan, fmt = open_order(kit, "kitchen"), format_of(kit)
    assert wording.alike_sentence(plan, fmt).startswith("As many casts would do if pieces failed one by one; ")
    assert wording.alike_sentence(plan.with_order(in_hand={"": 28}), fmt) == ""


def test_the_loads_followed_through_the_calendar_give_enough_as_often_as_the_formula_says():
    plan, _ = first_commission()
    own = slice(plan.loads.promised, plan.loads.planned)
    enough = (plan.course.good[:, own].sum(axis=1) >= [200, 120]).all(axis=1).mean()
    # variants that share loads are enough together a little more often than if each had its own
    assert plan.chance_of_enough - 4 * sqrt(0.05 * 0.95 / 512) <= enough <= 1.0
    single = open_order(demo(), "hotel-refit", variants={"all": 320}, pieces=320)
    good = single.course.good[:, single.loads.promised : single.loads.planned, 0].sum(axis=1)
    assert (good >= 320).mean() == pytest.approx(
        single.chance_of_enough, abs=4 * sqrt(single.chance_of_enough * (1 - single.chance_of_enough) / 512)
    )


def test_every_cast_is_scrapped_somewhere_or_good():
    plan, _ = first_commission()
    course, loads = plan.course, plan.loads
    assert (course.entering[..., 0] == loads.size).all()
    assert (np.diff(course.entering, axis=2) <= 0).all()
    assert (course.good.sum(axis=2) <= course.entering[..., -1]).all()
    shares = [s.mean() for s in plan.planner.draws.shares.T]
    seen = course.entering[:, : loads.planned].sum(axis=(0, 1)) / loads.size[: loads.planned].sum() / 512
    assert seen == pytest.approx([np.prod(shares[:k]) for k in range(len(shares))], abs=0.01)


def test_sets_that_match_come_from_one_load():
    plan = open_order(demo("kelpmoor-handles"), "dressers")
    assert plan.order.set_of == 6 and plan.chance_of_enough >= 0.95
    table = tables.set_table(plan)
    assert table["at least"].iloc[(table.sets == 3).argmax()] == pytest.approx(plan.chance_of_enough, abs=1e-6)
    loose = plan.with_order(set_of=1)
    assert loose.casts < plan.casts
    assert (
        "full set" in wording.sets_sentence(plan, format_of(demo("kelpmoor-handles")))
        and wording.sets_sentence(loose, None) == ""
    )


# ------------------------------------------------------------------ when


def test_dates_follow_from_each_other():
    plan, _ = first_commission()
    kit, course = demo(), plan.course
    assert plan.meets_date and course.in_time >= plan.order.confidence
    assert plan.earliest_promise[1] <= plan.order.due and (plan.earliest_promise[1] - plan.earliest_promise[0]).days == 3
    last = plan.last_start
    later = next(d for d in plan._open_days() if d > last)
    starts = plan.starts([last, later])
    assert starts[last] >= 0.95 > starts[later]
    assert course.deadline == (date(2026, 10, 15) - plan.order.start).days * DAY + DAY  # a Thursday
    assert course.opened.arrival(NEVER) is None
    said = wording.headline(plan, format_of(kit))
    assert "last safe start" in said and "less than the" not in said


def test_a_date_that_cannot_be_met_is_said_with_the_earliest_that_can():
    plan, _ = first_commission()
    soon = plan.with_order(due=date(2026, 9, 18))
    assert not soon.meets_date and soon.last_start is None
    assert soon.earliest_promise[1] > soon.order.due
    said = wording.headline(soon, format_of(demo()))
    assert "less than the 95" in said and "earliest honest date" in said and "last safe start" not in said
    assert plan.with_order(due=soon.earliest_promise[1]).meets_date  # and that date holds when it is asked for
    assert not plan.with_order(due=soon.earliest_promise[1] - timedelta(days=7)).meets_date
    never = plan.with_order(due=date(2026, 9, 3))
    assert never.course.in_time == 0.0


def in_moulds(plan):
    """From when to when each load of a typical course is in the moulds, in order of pouring. [s]"""
    course, held = plan.typical, {}
    for load, stage, start, end in course.schedule.segments:
        if stage <= course.plan.mould_stage:
            held[load] = held.get(load, (start,))[0], end
    return sorted(held.values())


def test_no_load_is_poured_into_full_moulds(tmp_path):
    """One set: each load waits until the one before is out of it, two hours of work. With a later step named it is full until then."""
    plan, _ = first_commission()
    held = in_moulds(plan)
    assert len(held) == 14 and all(before[1] <= after[0] for before, after in pairwise(held))
    out = [end - start for load, stage, start, end in plan.typical.schedule.segments if (load, stage) == (2, 1)]
    assert sum(out) / 60 == pytest.approx(33 * float(plan.planner.point.minutes[0, 2]), abs=0.02) and sum(out) > 1.9 * 3600
    named = {"free": ('minutes = "260 min"\n', 'minutes = "260 min"\nfree_after = "sand-seam"\n')}
    later = open_order(open_study(study(tmp_path, "hollin-quay-pulls", **named)), "hotel-refit")
    held = in_moulds(later)
    assert later.typical.plan.mould_stage == 2 and all(a[1] <= b[0] for a, b in pairwise(held))


def test_what_is_promised_before_and_closed_days_push_the_date(tmp_path):
    changes = {"spread": CERTAIN, "alone": ALONE}
    free = open_order(open_study(study(tmp_path, free=FREE, **changes)), "kitchen").typical.finish_at(1.0)
    after = open_order(open_study(study(tmp_path, **changes)), "kitchen")
    assert after.loads.promised == 1 and after.typical.finish_at(1.0) > free
    hours = (FREE[0], 'promised = [{ what = "shop", hours = "12 h/week" }]')
    busy = open_order(open_study(study(tmp_path, free=hours, **changes)), "kitchen").typical.finish_at(1.0)
    assert busy > free
    closed = (FREE[0], "promised = []"), ('days_off = ["', 'days_off = ["2026-12-01 to 2026-12-04", "')
    away = open_order(open_study(study(tmp_path, free=closed[0], off=closed[1], **changes)), "kitchen").typical.finish_at(1.0)
    assert away >= free + 4 * DAY
    plan = open_order(demo("kelpmoor-handles"), "kitchen", by="2027-01-20", start="2026-12-22")
    worked = {plan.course.opened.date_of(s[2]) for s in plan.typical.schedule.segments}
    # 25 and 26 December and 1 January are public holidays in Ireland: Organisation of Working Time Act 1997, second schedule, from memory
    assert not worked & {date(2026, 12, 24) + timedelta(days=n) for n in range(11)}
    assert {date(2026, 12, 25), date(2026, 12, 26), date(2027, 1, 1)} <= set(plan.course.opened.closed)


TILE = """
[products.tile]
casts_per_load = 10
[products.tile.steps.pot]
minutes = "1 min"
load_minutes = "60 min"
wait = "20 h"
wait_in = "pressure-pot"
[products.tile.steps.sand]
minutes = "6 min"
[channels.tiles]
product = "tile"
orders = "1 orders/year"
pieces_per_order = 10
price = "100 EUR"

"""


def test_promised_casts_of_another_product_take_their_turn_in_the_same_pot(tmp_path):
    """35 tiles in loads of 10, a day each in the one pot: the knobs wait from Monday to Friday (own arithmetic)."""
    tiles = (FREE[0], 'promised = [{ what = "tiles", product = "tile", casts = 35 }]')
    kit = open_study(study(tmp_path, tile=("[channels.online]", TILE + "[channels.online]"), tiles=tiles))
    plan, fmt = open_order(kit, "kitchen"), format_of(kit)
    table = tables.load_table(plan, fmt)
    assert list(table.kind[:5]) == ["promised before: tile"] * 4 + ["new"] and list(table.casts[:4]) == [10, 10, 10, 5]
    pours = [plan.typical.opened.moment(moment) for moment in sorted(plan.pours.values())]
    assert [when.date() for when in pours[:5]] == [date(2026, 11, 30) + timedelta(days=n) for n in range(5)]
    days = tables.day_table(plan, fmt)
    # 70 minutes to pour ten tiles; an hour to sand them the next day, with hands that the order has not
    assert days.hours[0] == pytest.approx(70 / 60) and days.hours[1] == pytest.approx(70 / 60 + 1) and days.sanding[1] == 1.0
    assert "casting (tile)" in days.work[0] and "sand (tile)" in days.work[1]
    assert figures.calendar_chart(plan, fmt).axes and len(tables.option_table(plan, fmt)) == 5
    # the money and the casts of the order are its own
    alone = open_order(open_study(study(tmp_path, tile=("[channels.online]", TILE + "[channels.online]"), free=FREE)), "kitchen")
    assert (plan.casts_by_item, plan.chance_of_enough) == (alone.casts_by_item, alone.chance_of_enough) and price_of(
        plan
    ).bench_hours.mean() == pytest.approx(price_of(alone).bench_hours.mean(), 0.02)
    late = plan.typical.finish_at(1.0) - alone.typical.finish_at(1.0)
    assert 4 * DAY <= late <= 7 * DAY


@pytest.mark.parametrize(
    "promised",
    [
        '[{ what = "shop", product = "knob", casts = 50_000 }]',
        "[" + '{ what = "shop", product = "knob", casts = 14 },' * 101 + "]",
    ],
)
def test_more_promised_loads_than_a_calendar_follows_are_told_at_once(promised, tmp_path):
    """A hundred loads may go first; what is more is a fault of the study file with the other way of saying it."""
    with pytest.raises(
        StudyError, match=r"orders\.promised: more than the calendar.*right would be at most 100 loads.*hours a week"
    ):
        open_study(study(tmp_path, many=(FREE[0], f"promised = {promised}")))
    most = (FREE[0], 'promised = [{ what = "shop", product = "knob", casts = 1400 }]')
    assert open_study(study(tmp_path, most=most)).study.file.orders.promised[0].casts == 1400


def test_a_cold_month_makes_loads_wait_longer(tmp_path):
    text = "\n".join(f"{m} = {t}" for m, t in zip("january february march april".split(), (20, 20, 20, 21), strict=True))
    cold = open_study(study(tmp_path, climate=(text, text.replace("20", "10", 1))))
    order = {"pieces": 28, "product": "knob", "start": "2027-01-04", "by": "2027-03-01"}
    plan, warm = open_order(cold, **order), open_order(demo("kelpmoor-handles"), **order)
    assert plan.typical.finish_at(1.0) > warm.typical.finish_at(1.0)
    frame = temperature_table(cold, plan.planner.load_wait)
    # 18 h at 22 °C: 18 x 2 ** 1.2 at 10 °C
    assert frame.hours[0] == pytest.approx(18 * 2**1.2)
    assert frame["loads a week"][0] < frame["loads a week"][6]
    assert "cold months cost loads" in cure_by_season(cold, plan.planner.load_wait, frame)
    mild = temperature_table(demo("kelpmoor-handles"), plan.planner.load_wait)
    assert "cost loads" not in cure_by_season(demo("kelpmoor-handles"), plan.planner.load_wait, mild)
    assert temperature_table(open_study(DATA / "ninepenny-lather"), None).empty


# ------------------------------------------------------------------ sanding


def test_hand_sanding_is_spread_below_the_cap_and_said(tmp_path):
    changes = {
        "sand": ('minutes = { value = "3.4 min", from = "records", worth = "30 pieces" }', 'minutes = "24 min"'),
        "hours": HOURS,
    }
    kit = open_study(study(tmp_path, free=FREE, **changes))
    plan = open_order(kit, "kitchen", by="2027-02-26")
    cap = kit.study.file.orders.sanding_cap
    assert cap == 3.0 and max(plan.typical.sanding_by_day.values()) <= cap + 1e-9 < plan.sanding_uncapped
    assert "the calendar spreads it" in wording.sanding_sentence(plan, format_of(kit))
    calm, _ = first_commission()
    assert calm.sanding_uncapped <= 2.5 and "spreads" not in wording.sanding_sentence(calm, format_of(demo()))
    plain = (HOURS[0], HOURS[1] + '\nsanding_cap = "4 h/day"')
    with pytest.raises(StudyError, match=r"orders\.sanding_cap.*planning cap"):
        open_study(study(tmp_path, hours=plain))


# ------------------------------------------------------------------ moulds, materials, lots


def test_more_moulds_where_they_hold_up_the_date(tmp_path):
    slow = {"rest": ('sets = { value = 2, note = "one pair in the pot, one ready to fill" }', 'sets = 1\nrest = "120 h"')}
    kit = open_study(study(tmp_path, free=FREE, hours=HOURS, **slow))
    plan = open_order(kit, "kitchen", by="2026-12-18")
    assert plan.sets_wanted > 1 and plan.moulds_to_make >= plan.sets_wanted - 1
    assert "The date wants" in moulds_sentence(plan, format_of(kit))
    assert any(row.item == "silicone" for row in buying_list(plan))
    few = open_order(demo("kelpmoor-handles"), "kitchen")
    assert few.moulds_to_make == 0 and not any(row.item == "silicone" for row in buying_list(few))
    assert "would do" in moulds_sentence(few, format_of(kit))


def test_what_is_bought_covers_the_loads_and_stock_is_taken_off():
    plan, _ = first_commission()
    rows = {row.item: row for row in buying_list(plan)}
    supplies = demo().study.file.supplies
    # 444 casts of half a fluid ounce, a quarter of what is opened lost: 444 x 0.5 / 0.75 fl oz, half of it each part
    each = plan.casts * 0.5 / 0.75 * 29.5735295625 / 2  # US fluid ounce in ml: NIST SP 811, appendix B
    assert rows["resin: part-A"].needed == pytest.approx(each)
    assert rows["resin: part-A"].stock == pytest.approx(0.5 * 3785.411784)  # US gallon in ml: NIST SP 811, appendix B
    for row in rows.values():
        assert row.stock + row.bought >= row.needed - 1e-9
    missing = rows["resin: part-A"].needed - rows["resin: part-A"].stock
    sizes = [(p.quantity.value, p.price) for p in supplies["resin"].mix["part-A"].packs]
    tried = [
        a * sizes[0][1] + b * sizes[1][1] for a in range(9) for b in range(4) if a * sizes[0][0] + b * sizes[1][0] >= missing
    ]
    assert rows["resin: part-A"].cost == pytest.approx(min(tried))
    assert rows["cord-and-ferrule"].needed == 320 and rows["cord-and-ferrule"].packs == ((100.0, 3),)


def test_what_goes_into_a_load_of_the_tumbler_is_bought_by_its_loads(tmp_path):
    """60 pieces to a load of the tumbler, 14 to one that is cast: media for two, not for every one cast."""
    sand = '[products.knob.steps.sand]\nminutes = { value = "3.4 min", from = "records", worth = "30 pieces" }\n'
    tumble = """[stations.tumbler]
count = 1
[products.knob.steps.sand]
minutes = "0.8 min"
load_minutes = "25 min"
load_size = 60
wait = "72 h"
wait_in = "tumbler"
materials.media = { price = "1.10 EUR", per = "load", kind = "consumable" }
"""
    kit = open_study(study(tmp_path, tumble=(sand, tumble)))
    plan = open_order(kit, today=date(2027, 1, 11), pieces=60, by="2027-03-12")
    assert plan.new_loads > 4 and plan.casts <= 2 * 60
    media = next(row for row in buying_list(plan) if row.item == "media")
    assert media.needed == 2 and media.cost == pytest.approx(2.20)
    table = tables.material_table(plan, format_of(kit)).set_index("item")
    assert table.needed["media"] == table["to buy"]["media"] == "for 2 loads"
    assert table.needed["seaweed"] == f"for {plan.casts} pieces"


def test_a_dearer_shortage_asks_for_more_casts():
    plan = open_order(demo("kelpmoor-handles"), "dressers")
    dear = plan.with_order(short_penalty=400.0)
    assert plan.lots.first[0] <= dear.lots.first[0] and plan.lots.chance_met <= dear.lots.chance_met
    assert plan.with_order(short_penalty=0.0).lots is None
    fmt = format_of(demo("kelpmoor-handles"))
    free = plan.with_order(price=None, short_penalty=1.0)
    assert free.lots.first == (0,) and "no lot is advised" in wording.lots_sentence(free, fmt)
    assert "no lot is advised" not in wording.lots_sentence(plan, fmt)
    assert "Ending short costs nothing" in wording.lots_sentence(plan.with_order(short_penalty=0.0), fmt)
    assert "fewer than" in wording.lots_sentence(plan, fmt) or "more than" in wording.lots_sentence(plan, fmt)


# ------------------------------------------------------------------ price


def test_prices_by_hand_where_everything_is_certain(tmp_path):
    kit = open_study(study(tmp_path, spread=CERTAIN, alone=ALONE))
    plan = open_order(kit, "kitchen")
    quoted = price_of(plan)
    casts, entering = plan.casts, plan.course.entering[:, 1:4].sum(axis=1).mean(axis=0)
    good = plan.course.good[:, 1:4].sum(axis=(1, 2)).mean()
    assert 0 < good < entering[7]
    minutes = (1.8 + 0.5) * casts + 24 * 3 + 0.7 * casts + entering[4] * (2.2 + 3.4) + entering[6] * 1.3 + entering[7] * 1.3
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


# ------------------------------------------------------------------ while it runs


def in_progress(tmp_path, rows):
    """The first demo's kitchen order with batches of its own; yields and minutes as its logs have them."""
    folder = study(tmp_path, records=True, free=FREE)
    path = folder / "records" / "batches.csv"
    header, *body = path.read_text(encoding="utf-8-sig").splitlines()
    columns = header.split(",")
    lines = [header + ",order", *(line + "," for line in body)]
    for row in rows:
        lines.append(",".join(str(row.get(c, "")) for c in columns) + f",{row['order']}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return open_study(folder)


def test_the_plan_is_made_anew_from_what_the_batches_say(tmp_path):
    rows = [
        {"batch": "K1", "date": "2026-11-30", "product": "knob", "casts": 14, "good": 12, "order": "kitchen"},
        {"batch": "K2", "date": "2026-12-01", "product": "knob", "casts": 14, "order": "Kitchen"},
    ]
    kit = in_progress(tmp_path, rows)
    fresh = open_order(demo("kelpmoor-handles"), "kitchen")
    plan = open_order(kit, "kitchen", start="2026-12-02")
    assert plan.order.in_hand == {"": 12} and [(u.batch, u.casts) for u in plan.order.under_way] == [("K2", 14)]
    assert 0 < plan.casts < fresh.casts - 14 and plan.loads.started == 1
    assert plan.chance_of_enough >= 0.95 > plan.planner.curve(plan.order, [0])[0]
    said = wording.progress_sentence(plan, format_of(kit))
    assert "On course" in said and "16 pieces still to come" in said and "14 casts under way" in said
    late = wording.progress_sentence(plan.with_order(due=date(2026, 12, 5)), format_of(kit))
    assert "Not on course" in late and ("Tell the customer now" in late or "What would save" in late)
    assert "The pieces in hand are in all this: the casts of its batches" in wording.price_sentence(
        plan, price_of(plan), format_of(kit)
    )
    assert "pieces in hand" not in wording.price_sentence(fresh, price_of(fresh), format_of(kit))
    done = plan.with_order(in_hand={"": 28}, under_way=())
    assert done.casts == 0 and "Complete: all 28 pieces are in hand**. Pack" in wording.progress_sentence(done, format_of(kit))
    assert "Nothing of this order is cast" in wording.progress_sentence(fresh, format_of(kit))
    assert "Nothing more needs to be cast" in wording.headline(done, format_of(kit))
    # a plan by feel knows of the load under way too
    rules = tables.rule_table(plan).set_index("rule").casts
    share = float(plan.planner.point.good_share[0])
    assert rules["wanted ÷ yield"] == ceil(16 / share) - 14 and rules["a quarter more than wanted"] == 20 - 14
    # a new quote asks for the whole order, about as much as before anything was done
    assert price_of(plan).full_cost == pytest.approx(price_of(fresh).full_cost, rel=0.1)
    # what the command says is in hand is the whole count
    assert open_order(kit, "kitchen", start="2026-12-02", in_hand=20).order.in_hand == {"": 20}


def complete_from(tmp_path, *good):
    """The kitchen order of 28 with loads of 14 through their last check, a day apart."""
    rows = [
        {"batch": f"K{n}", "date": f"2026-12-0{n + 1}", "product": "knob", "casts": 14, "good": count, "order": "kitchen"}
        for n, count in enumerate(good)
    ]
    return in_progress(tmp_path, rows)


@pytest.mark.parametrize(("good", "over"), [((14, 14), ""), ((14, 13, 4), ", with 3 pieces over")])
def test_logs_that_complete_an_order_say_so_what_is_over_and_what_it_paid(good, over, tmp_path):
    """Exactly or with some over; paid by the casts of its batches, an hour of talking and packing in it."""
    kit = complete_from(tmp_path, *good)
    plan = open_order(kit, "kitchen", price=400.0)
    quoted, said = price_of(plan), " ".join(order_lines(plan, price_of(plan)))
    assert f"Complete: all 28 pieces are in hand{over}. Pack and post them." in said and "an hour paid" in said
    assert (plan.casts, plan.new_loads, plan.order.start) == (0, 0, date(2026, 12, len(good)))
    # own arithmetic: pay is what is left of the price over all hours, and what was cast has its minutes and material
    assert quoted.done_hours.mean() == pytest.approx(quoted.bench_hours.mean(), rel=0.2) and quoted.done_hours.min() > 0
    resin = 14 * len(good) * 0.0216 * 24 / 0.9
    assert quoted.spent.mean() > resin
    left = 400.0 * quoted.kept_share - quoted.fixed_fees - quoted.spent - quoted.carried
    assert quoted.pay(400.0) == pytest.approx(left / quoted.hours)


def test_an_order_all_in_hand_with_nothing_promised_has_every_page():
    """No load at all is left in its calendar: each number of order.json, table, chart and the quote are still there."""
    plan = open_order(demo(), "hotel-refit", in_hand={"harbour blue": 203, "sea glass": 120})
    quoted, fmt = price_of(plan), format_of(demo())
    said = " ".join(order_lines(plan, quoted))
    assert plan.loads.planned == 0 and plan.course.in_time == 1.0
    assert wording.sanding_sentence(plan, fmt) == "Nothing is left to sand by hand."
    assert wording.lots_sentence(plan, fmt) == "All is in hand, so no lot is left to weigh."
    assert "Complete: all 320 pieces are in hand, with 3 pieces over" in said and "At $2,900.00 an hour paid" in said
    results = order_results(plan, quoted)
    assert (results["casts"], results["complete"], results["pieces_over"]) == (0, True, 3)
    assert quote_of(plan, quoted).price == 2900.0
    for table in (tables.load_table(plan, fmt), tables.material_table(plan, fmt), tables.lot_table(plan)):
        assert table.empty
    assert tables.hours_table(plan, quoted).set_index("what").hours["what is in hand already"] > 40
    curve, rules = tables.curve_table(plan), tables.rule_table(plan)
    assert (rules.chance == 1.0).all()
    for chart in (
        figures.calendar_chart(plan, fmt),
        figures.date_chart(plan, fmt),
        figures.chance_chart(curve, rules, 0.95, fmt),
    ):
        assert chart.axes
    for table in (tables.day_table(plan, fmt), tables.start_table(plan, fmt), tables.option_table(plan, fmt)):
        assert len(table)


def test_what_is_left_begins_when_the_log_ends_and_a_late_order_is_planned(tmp_path):
    """No load is poured before the last day on which the log has one, and a due date gone by gives a new one, not a fault."""
    kit = complete_from(tmp_path, 10, 9)
    plan = open_order(kit, "kitchen")
    assert plan.order.start == date(2026, 12, 2) and 0 < plan.casts < 30
    late = open_order(kit, "kitchen", start="2026-12-20")
    assert not late.meets_date and late.earliest_promise[1] > date(2026, 12, 20)
    fmt = format_of(kit)
    assert "Tell the customer now" in wording.progress_sentence(late, fmt)
    assert wording.days_gone(plan, date(2026, 12, 2), fmt) == ""
    assert "--start 2026-12-05 plans from today" in wording.days_gone(plan, date(2026, 12, 5), fmt)
    assert "has gone by. --start 2026-12-20 plans what is left" in wording.days_gone(plan, date(2026, 12, 20), fmt)


def test_an_order_never_carries_more_than_its_weeks_nor_than_the_year(tmp_path):
    """Few orders come, so an order makes up more than a year's usual hours of making: weekly hours by its calendar weeks."""
    few = ('orders = { value = "216 orders/year"', 'orders = { value = "1 orders/year"')
    none = ('orders = { value = "44 orders/year"', 'orders = { value = "0.1 orders/year"')
    box = ('orders = { value = "22 orders/year"', 'orders = { value = "0.1 orders/year"')
    kit = open_study(study(tmp_path, few=few, none=none, box=box))
    plan = open_order(kit, "kitchen", pieces=60, by="2027-02-26")
    quoted, year = price_of(plan), kit.point().totals
    assert quoted.bench_hours.mean() > year["make_hours_per_year"]
    weeks = (plan.course.schedule.finish - plan.course.opened.seconds(plan.order.start)) / (7 * DAY)
    assert quoted.hidden_hours == pytest.approx(6.5 * weeks)
    assert quoted.hidden_hours.max() < year["fixed_hours_per_year"]
    assert quoted.carried.max() < year["overhead_per_year"] + year["equipment_per_year"]


def test_few_hours_a_week_stay_few(tmp_path):
    """2 h a week over five days, and an hour to pour a load: no plan works more than the hours and what is left of one load."""
    kit = open_study(study(tmp_path, hours=(HOURS[0], 'hours = "2 h/week"')))
    plan = open_order(kit, today=date(2027, 1, 11), pieces=30, by="2027-04-28")  # a Monday; no holiday until the 1st of February
    load = plan.planner.point.load_minutes.sum() / 60
    by_week = [0.0] * 3
    for _, stage, start, end in plan.typical.schedule.segments:
        load = max(load, (end - start) / 3600 if stage == 0 else 0.0)
        if start // (7 * DAY) < 3:
            by_week[start // (7 * DAY)] += (end - start) / 3600
    assert load > 2 / 5
    assert all(sum(by_week[:n]) <= 2 * n + load for n in (1, 2, 3)) and sum(by_week) > 5


def test_days_off_that_leave_nothing_open_are_a_fault(tmp_path):
    kit = open_study(study(tmp_path, off=("2026-12-24 to 2027-01-03", "2026-12-24 to 2029-01-03")))
    plan = open_order(kit, today=date(2027, 1, 11), pieces=10, by="2027-02-12")
    with pytest.raises(StudyError, match=r"orders\.days_off: no day is left"):
        price_of(plan)


def test_no_mould_is_made_for_a_date_that_none_can_bring(tmp_path):
    kit = open_study(study(tmp_path, hours=(HOURS[0], 'hours = "0.01 h/week"')))
    plan = open_order(kit, today=date(2027, 1, 11), pieces=10, by="2027-02-12")
    assert plan.earliest_promise is None and plan.sets_wanted == 2 and plan.moulds_to_make == 0


def test_more_in_hand_never_asks_for_more_casts():
    plan = open_order(demo("kelpmoor-handles"), "kitchen")
    casts = [plan.with_order(in_hand={"": n}).casts for n in range(0, 29, 4)]
    assert casts == sorted(casts, reverse=True) and casts[-1] == 0


def test_batches_may_name_the_variant_after_a_slash(tmp_path):
    text = 'channel = "joiner"\nwhat = "Cast drawer knobs with pressed seaweed and a brass insert"'
    folder = study(tmp_path, records=True, two=(text, text + "\nvariants = { green = 14, grey = 14 }"))
    path = folder / "records" / "batches.csv"
    header, *body = path.read_text(encoding="utf-8-sig").splitlines()
    values = {"batch": "V1", "date": "2026-11-30", "product": "knob", "casts": "14", "good": "13"}
    new = ",".join(values.get(c, "") for c in header.split(","))
    path.write_text(
        "\n".join([header + ",order", *(line + "," for line in body), new + ",kitchen / Grey"]) + "\n", encoding="utf-8"
    )
    kit = open_study(folder)
    assert order_of(kit, "kitchen").in_hand == {"grey": 13}
    assert not any("no commission" in note for note in kit.study.reading.notes)
    for said, wrong in (("kitchen / gray", "unknown variant"), ("kitchen", "does not say of which variant")):
        path.write_text(path.read_text(encoding="utf-8").replace("kitchen / Grey", said), encoding="utf-8")
        kit = open_study(folder)
        assert any(f"no commission of study.toml: {said!r}" in note for note in kit.study.reading.notes) == ("/" in said)
        with pytest.raises(StudyError, match=f"V1 {wrong}; found '{said}'; right would be kitchen / green or kitchen / grey"):
            order_of(kit, "kitchen")
        path.write_text(path.read_text(encoding="utf-8").replace(said, "kitchen / Grey"), encoding="utf-8")


def test_no_set_of_moulds_would_do_for_a_date_that_none_makes():
    """Said either way: one set is enough for the date asked for, and none makes one three days from the start."""
    fmt = format_of(demo("kelpmoor-handles"))
    said = [moulds_sentence(open_order(demo("kelpmoor-handles"), "kitchen", by=by), fmt) for by in ("2026-12-18", "2026-12-03")]
    assert "1 set would do for the date, and the order pours" in said[0] and "No number of sets" not in said[0]
    assert "No number of sets makes the date; the order pours" in said[1] and "would do" not in said[1]


def test_a_load_says_in_how_many_courses_it_is_needed_and_when_those_have_it_through():
    """The last loads are there for poor yields: where most courses are complete before one, its dates are those of the others."""
    plan = open_order(demo(), "hotel-refit", confidence=0.999)
    table, done, fmt = tables.load_table(plan, format_of(demo())), plan.course.schedule.done, format_of(demo())
    shares = (done[:, : plan.loads.planned] < NEVER).mean(axis=0)
    rare = int(shares.argmin())
    ends, row = done[:, rare], table.iloc[rare]
    assert 0 < shares[rare] < 0.5 and row.through == "complete before"
    assert "not needed" not in set(table.astype(str).values.flat)
    assert row.needed == pytest.approx(plan.course.weights[ends < NEVER].sum()) and table.needed[:12].min() == pytest.approx(1.0)
    days = sorted(plan.typical.opened.date_of(moment) for moment in ends[ends < NEVER])
    assert row.early == tables.day(fmt, days[int(0.1 * len(days))], year=False)
    assert row.late == tables.day(fmt, days[int(0.9 * len(days))], year=False)


# ------------------------------------------------------------------ what is asked, and answers


@pytest.mark.parametrize(("confidence", "said"), [(0.95, "95\u00a0%"), (0.9525, "95,25\u00a0%"), (0.9999, "99,99\u00a0%")])
def test_a_wanted_certainty_is_written_as_it_was_asked_for(confidence, said, tmp_path):
    """With the decimals that it has, in a locale with a comma too."""
    kit = open_study(study(tmp_path, locale=('locale = "en_IE"', 'locale = "de_DE"')))
    assert f"wanted certainty {said}." in wording.what_is_asked(open_order(kit, "kitchen", confidence=confidence), format_of(kit))


def test_a_sanding_cap_of_next_to_nothing_is_planned(tmp_path):
    """A tenth of a second a day is a cap, under which no date holds, and no error."""
    kit = open_study(study(tmp_path, cap=("[orders]", '[orders]\nsanding_cap = "0.1 s/day"')))
    plan = open_order(kit, "kitchen")
    assert plan.earliest_promise is None and plan.typical.opened.calendar.sanding_cap == 1


@pytest.mark.parametrize(
    ("asked", "place"),
    [
        ({"name": "kitchn"}, "NAME"),
        ({"product": "knop", "pieces": 3, "by": "2026-12-20"}, "--product"),
        ({"product": "knob", "by": "2026-12-20"}, "--pieces"),
        ({"product": "knob", "pieces": 3}, "--by"),
        ({"product": "knob", "pieces": 3, "by": "20.12.2026"}, "--by"),
        ({"product": "knob", "pieces": 3, "by": "2026-01-01"}, "--by"),
        ({"product": "knob", "pieces": 7, "by": "2026-12-20", "set_of": 6}, "--set-of"),
        ({"product": "knob", "pieces": 28, "by": "2026-12-20", "set_of": 15}, "--set-of"),
        ({"product": "knob", "pieces": 30, "by": "2026-12-20", "set_of": 15}, "--set-of"),
        ({"product": "knob", "pieces": 3, "by": "9999-12-31"}, "--by"),
        ({"product": "knob", "pieces": 3, "by": "2026-12-20", "start": "1900-01-01"}, "--start"),
        ({"product": "knob", "pieces": 3, "by": "2026-12-20", "price": float("nan")}, "--price"),
        ({"product": "knob", "pieces": 3, "by": "2026-12-20", "price": float("inf")}, "--price"),
        ({"product": "knob", "pieces": 3, "by": "2026-12-20", "price": 1e300}, "--price"),
        ({"product": "knob", "pieces": 3, "by": "2026-12-20", "in_hand": 10**23}, "--in-hand"),
        ({"product": "knob", "pieces": 3, "by": "2026-12-20", "in_hand": {"a": 2}}, "--in-hand"),
        ({"product": "knob", "by": "2026-12-20", "variants": {"a": 0, "b": 2}}, "--variant"),
        ({"product": "knob", "by": "2026-12-20", "variants": {"a/b": 2}}, "--variant"),
        ({"product": "knob", "pieces": 5, "by": "2026-12-20", "variants": {"a": 3}}, "--variant"),
        ({"product": "knob", "by": "2026-12-20", "variants": {"a": 3, "b": 2}, "in_hand": 2}, "--in-hand"),
        ({"product": "knob", "by": "2026-12-20", "variants": {"a": 3, "b": 2}, "in_hand": {"c": 2}}, "--in-hand"),
    ],
)
def test_what_cannot_be_asked_is_a_fault_with_its_place(asked, place):
    with pytest.raises(StudyError) as told:
        open_order(demo("kelpmoor-handles"), asked.pop("name", None), today=TODAY, **asked)
    assert [fault.file for fault in told.value.faults] == [place]
    assert all(fault.right for fault in told.value.faults)


def test_what_is_asked_is_read_as_the_study_file_is():
    """The same figures, units and limits as in [commissions]; only the currency of a price may be left out."""
    kit, due = demo("kelpmoor-handles"), {"today": TODAY, "by": "2027-03-01"}
    texts = {"pieces": "28 pieces", "confidence": "99 %", "price": "10 800,50", "in_hand": "3", "variants": {"a": "20", "b": 8}}
    order = order_of(kit, **texts | {"in_hand": {"a": "3"}}, **due)
    assert (order.pieces, order.confidence, order.price, order.in_hand) == (28, 0.99, 10800.5, {"a": 3})
    assert order.variants == {"a": 20, "b": 8}
    for asked, said in (
        ({"pieces": "28 loads"}, "--pieces: a number of loads where pieces are counted"),
        ({"pieces": 28, "price": "2.160"}, "--price: question: is this 2160 or 2.160?"),
        ({"pieces": 28, "set_of": 1001}, "--set-of: outside the limits; found 1001; right would be a whole number at least 1"),
        ({"pieces": 0, "confidence": 0.4}, "--confidence: outside the limits; found 0.4; right would be a number at least 0.5"),
    ):
        with pytest.raises(StudyError, match=re.escape(said)):
            order_of(kit, **asked, **due)


def test_one_piece_is_asked_for_as_one():
    plan = open_order(demo("kelpmoor-handles"), today=TODAY, pieces=1, by="2026-12-18")
    fmt = format_of(demo("kelpmoor-handles"))
    assert wording.what_is_asked(plan, fmt).startswith("**1 good piece of knob**")
    naive = tables.rule_table(plan).set_index("rule").chance["wanted ÷ yield"]
    said = wording.by_feel_sentence(plan, price_of(plan), fmt)
    assert f"enough with a chance of {fmt.chance(naive)}" in said
    assert "enough with a chance of" in wording.by_feel_sentence(*first_commission(), format_of(demo()))


def test_an_order_needs_nothing_but_pieces_and_a_date():
    plan = open_order(demo("kelpmoor-handles"), today=TODAY, pieces=28, by="2026-12-18")
    assert plan.order.product == "knob" and plan.order.channel is None and plan.casts > 28
    lines = order_lines(plan, price_of(plan))
    assert not any("**" in line for line in lines) and any("28 good pieces of knob" in line for line in lines[:5])


def test_what_is_ready_must_be_packed_before_the_last_posting_day_is_over():
    """Two days on the way to Friday 12 February: posted on Wednesday the 10th at the latest."""
    kit = demo("kelpmoor-handles")
    ready = {"pieces": 10, "in_hand": 10, "by": "2027-02-12", "price": 120.0}
    plan = open_order(kit, today=date(2027, 1, 11), **ready)
    assert plan.casts == 0 and plan.planner.draws.order_minutes.max() == 0  # no channel, so nothing is left to do
    assert plan.last_start == date(2027, 2, 10)
    assert open_order(kit, today=date(2027, 2, 10), **ready).course.in_time == 1.0
    assert open_order(kit, today=date(2027, 2, 11), **ready).course.in_time == 0.0
    lines = "\n".join(order_lines(plan, price_of(plan)))
    assert "A load more" not in lines and "0 casts" not in lines and "quarter more" not in lines and "0 sets" not in lines
    assert (
        "an hour paid" in lines
        and "nan" not in lines
        and '"pay_per_hour_at_price": null' not in as_json(order_results(plan, price_of(plan)))
    )
    free = open_order(kit, today=TODAY, pieces=10, in_hand=10, by="2027-02-12")
    assert quote_of(free, price_of(free)).price == price_of(free).asked > 50  # what is in hand has cost something too


def test_the_quote_says_a_day_on_which_parcels_go_off():
    """Mondays, Wednesdays and Fridays, two days on the way: for Saturday the 30th it is Wednesday the 27th."""
    plan = open_order(demo("kelpmoor-handles"), today=date(2027, 1, 11), pieces=10, by="2027-01-30")
    quote = quote_of(plan, price_of(plan))
    assert (quote.posted_by, quote.arrives_by) == (date(2027, 1, 27), date(2027, 1, 30))


def test_a_later_start_is_set_beside_the_first_on_the_same_draws():
    kit = demo("ninepenny-lather")
    plan = open_order(kit, today=date(2027, 1, 11), product="bar", pieces=60, by="2027-03-12")
    first, later = plan.starts([date(2027, 1, 11), date(2027, 1, 12)]).values()
    fmt = format_of(kit)
    said = wording.start_sentence(plan, fmt)
    assert fmt.chance(first) == fmt.chance(later)
    assert f"stays {fmt.chance(later)}." in said and "Jan 12" in said
    # both loads on the first day: there is no next load to wait for
    kit = demo("gannet-lane-figures")
    plan = open_order(kit, today=date(2027, 1, 11), product="figure", pieces=12, by="2027-03-12")
    assert plan.new_loads == 1 and wording.start_sentence(plan, format_of(kit)) == ""


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


def test_a_load_promised_before_has_no_colour_of_this_order():
    kit = demo("kelpmoor-handles")
    plan = open_order(kit, today=TODAY, by="2027-02-12", variants={"green": 14, "grey": 10})
    rows = tables.load_table(plan, format_of(kit))
    assert rows.kind[0] == "promised before" and rows["of which"][0] == ""
    poured = sum(int(n) for of in rows["of which"][1:] for n in re.findall(r"\d+", of))
    assert poured == plan.casts == rows.casts[1:].sum()


def test_what_is_left_over_is_said_where_it_lowers_the_price():
    plan = open_order(demo("kelpmoor-handles"), "dressers")
    quoted, fmt = price_of(plan), format_of(demo("kelpmoor-handles"))
    over = np.maximum(plan.course.good[:, 1 : plan.loads.planned].sum(axis=(1, 2)) - 18, 0).mean() * 4.0
    assert quoted.brought.mean() == pytest.approx(over)
    assert fmt.money(over) in wording.price_sentence(plan, quoted, fmt)
    free = plan.with_order(leftover_value=0.0)
    assert "beyond the order" not in wording.price_sentence(free, price_of(free), fmt)


@pytest.mark.parametrize("name", ["gannet-lane-figures", "ninepenny-lather"])
def test_any_craft_of_the_demos_takes_an_order(name):
    kit = demo(name)
    product = next(iter(kit.study.file.products))
    plan = open_order(kit, today=TODAY, pieces=60, by="2027-03-31", product=product)
    content = order_results(plan, price_of(plan))
    assert (
        content["casts"] > 60 and plan.earliest_promise and content["prices"]["full_cost"] > content["prices"]["bills_only"] > 0
    )
    # nothing is through before its waits are over
    waits = sum(step.wait.value for step in kit.study.file.products[product].steps.values())
    assert plan.course.schedule.complete.min() >= waits * 3600


def test_the_same_order_gives_the_same_numbers_and_another_seed_others(tmp_path):
    kit = demo("kelpmoor-handles")
    first, again = (as_json(order_results(p, price_of(p))) for p in (open_order(kit, "kitchen"), open_order(kit, "kitchen")))
    assert first == again
    other = open_study(study(tmp_path, records=True, seed=("seed = 20", "seed = 21")))
    differs = open_order(other, "kitchen")
    assert as_json(order_results(differs, price_of(differs))) != first
    assert differs.casts == pytest.approx(open_order(kit, "kitchen").casts, abs=2)


def test_every_table_and_chart_of_an_order():
    plan, quoted = first_commission()
    fmt = format_of(demo())
    rows = {
        "confidence": tables.confidence_table(plan, fmt),
        "loads": tables.load_table(plan, fmt),
        "days": tables.day_table(plan, fmt),
        "materials": tables.material_table(plan, fmt),
        "prices": tables.price_table(plan, quoted),
        "moulds": tables.mould_table(plan, fmt),
        "options": tables.option_table(plan, fmt),
        "starts": tables.start_table(plan, fmt),
        "variants": tables.variant_table(plan),
    }
    assert all(len(frame) for frame in rows.values())
    assert (
        rows["confidence"].casts.is_monotonic_increasing
        and (rows["confidence"]["enough good"] >= rows["confidence"].confidence).all()
    )
    assert len(rows["loads"]) == plan.loads.planned and rows["loads"].casts.sum() == plan.casts
    assert rows["variants"].casts.sum() == plan.casts and (rows["variants"]["spare casts"] > 0).all()
    cap = plan.course.opened.calendar.day_cap[0] / 3600
    assert (rows["days"].hours <= cap + 1e-9).all() and (rows["days"].sanding <= 2.5).all()
    hours = sum(end - start for _, _, start, end in plan.typical.schedule.segments) / 3600
    assert rows["days"].hours.sum() == pytest.approx(hours)
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
    assert quote.deposit_by == quote.valid_until == late.order.start + timedelta(days=demo().study.file.quote.valid_days)
    assert quote.arrives_by == late.promise_from(quote.valid_until)[1] > late.earliest_promise[1]


def test_a_quote_speaks_the_language_of_the_study(tmp_path):
    kit = open_study(study(tmp_path, locale=('locale = "en_IE"', 'locale = "de_DE"')))
    plan = open_order(kit, "kitchen")
    html = quote_html(quote_of(plan, price_of(plan)))
    assert 'lang="de"' in html and "Dezember 2026" in html and "Angebot" in html
    assert re.search(r"\d+,\d\d\s€", html)


def test_orders_are_frozen():
    plan, _ = first_commission()
    with pytest.raises(AttributeError):
        plan.order.pieces = 3
    assert replace(plan.order, pieces=3).pieces == 3


def test_ruined_loads_of_the_year_are_a_risk_of_the_order(tmp_path):
    ruined = ('unsold_share = "5 %"', 'unsold_share = "5 %"\nruined_loads = "22 load/year"')
    plan = open_order(open_study(study(tmp_path, ruined=ruined)), "kitchen")
    calm = open_order(open_study(study(tmp_path)), "kitchen")
    assert plan.casts > calm.casts
    lost = (plan.course.good[:, plan.loads.promised :].sum(axis=2) == 0).mean()
    chance = plan.planner.draws.ruined.mean()
    assert 0.05 < chance < 0.15 and lost == pytest.approx(chance, abs=4 * sqrt(chance / 512 / 3))


def test_the_date_rests_on_the_exact_chance_of_enough_whatever_the_seed(tmp_path):
    """Soap, where one more load comes five weeks too late, so that the date holds just as often as the planned casts are enough."""
    found = set()
    for seed in range(41, 47):
        text = (DATA / "ninepenny-lather" / "study.toml").read_text(encoding="utf-8")
        (tmp_path / "study.toml").write_text(re.sub(r"(?m)^seed = \d+", f"seed = {seed}", text), encoding="utf-8")
        kit = open_study(tmp_path, with_records=False)
        plan = open_order(kit, start="2027-01-11", pieces=60, by="2027-03-12", product="bar")
        course = plan.course
        assert course.weights.sum() == pytest.approx(1.0) and (course.weights > 0).all()
        own = slice(plan.loads.promised, plan.loads.planned)
        enough = course.good[:, own].sum(axis=(1, 2)) >= 60
        assert course.weights @ enough == pytest.approx(plan.chance_of_enough, abs=1e-12)
        assert course.in_time == pytest.approx(plan.chance_of_enough, abs=2 * course.error + 1e-9)
        found.add(plan.meets_date)
    assert found == {True}


def test_moments_by_a_chance_are_those_that_the_weights_reach():
    plan, _ = first_commission()
    course = plan.course
    for chance in (0.1, 0.5, 0.95):
        moment = course.finish_at(chance)
        assert course.weights @ (course.schedule.finish <= moment) >= chance - 1e-9
        assert course.weights @ (course.schedule.finish < moment) < chance


def test_orders_without_a_name_have_one_of_their_own():
    one = order_of(demo("kelpmoor-handles"), today=TODAY, pieces=28, due=date(2027, 3, 1))
    other = order_of(demo("kelpmoor-handles"), today=TODAY, pieces=29, due=date(2027, 3, 1))
    assert one.name == "knob 28 by 2027-03-01" != other.name


def test_parts_are_bought_for_what_is_still_to_come(tmp_path):
    plan, _ = first_commission()
    some = plan.with_order(in_hand={"harbour blue": 50})
    rows = {row.item: row.needed for row in buying_list(some)}
    assert rows["cord-and-ferrule"] == 270


def test_a_certainty_of_999_in_1000_can_be_asked():
    plan = open_order(demo("kelpmoor-handles"), "kitchen", confidence=99.9 / 100)
    assert plan.chance_of_enough >= 0.999 and plan.casts > open_order(demo("kelpmoor-handles"), "kitchen").casts
