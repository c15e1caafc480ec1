"""Orders as a maker asks for them: when they are ready, what holds them up, and what is bought for their loads."""

import re
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from commands import DATA
from order_plans import ALONE, CERTAIN, FREE, HOURS, TODAY, demo, first_commission, study

from casting_econ.faults import StudyError
from casting_econ.kit import format_of, open_study
from casting_econ.models.schedule import DAY, NEVER
from casting_econ.orders import figures, open_order, order_lines, order_results, price_of, quote_of, tables, wording
from casting_econ.orders.buying import buying_list
from casting_econ.orders.dates import opening
from casting_econ.orders.mould_page import moulds_sentence
from casting_econ.pages.curing import cure_by_season, temperature_table
from casting_econ.running.results import as_json
from casting_econ.study.fields import DAYS


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


def test_more_moulds_where_they_hold_up_the_date(tmp_path):
    slow = {"rest": ('sets = { value = 2, note = "one pair in the pot, one ready to fill" }', 'sets = 1\nrest = "120 h"')}
    kit = open_study(study(tmp_path, free=FREE, hours=HOURS, **slow))
    enough = open_order(kit, "kitchen", by="2026-12-18")  # by the kit's own table (regression): a chance of 96 %, wanted 95 %
    assert enough.sets_wanted == 1 and enough.moulds_to_make == 0
    plan = open_order(kit, "kitchen", by="2026-12-17")
    assert plan.sets_wanted == 2 and plan.moulds_to_make >= plan.sets_wanted - 1
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


@pytest.mark.parametrize(
    ("posted", "days", "arrives"),
    [
        ("2027-03-10", 2, "2027-03-12"),  # Wednesday to Friday
        ("2027-03-11", 3, "2027-03-15"),  # Thursday: Friday, Saturday, Monday
        ("2027-03-12", 2, "2027-03-15"),  # never on the Sunday
        ("2027-03-25", 1, "2027-03-27"),  # Good Friday is none
        ("2027-03-24", 3, "2027-03-30"),  # Thursday, Saturday, then Easter Monday is none
        ("2027-03-13", 0, "2027-03-13"),  # handed over
    ],
)
def test_parcels_arrive_on_days_of_delivery(posted, days, arrives):
    """Neither on a Sunday nor on a public holiday, counted on a calendar by hand (common practice, no source; Easter 2027 is 28 March); a parcel
    posted a day later than the last for a date arrives after it."""
    kit = demo("kelpmoor-handles")
    orders = kit.study.file.orders.model_copy(
        update={"transit_days": days, "holidays": "GB-ENG", "posting_days": DAYS[:6], "days_off": ()}
    )
    kit = replace(kit.study, file=kit.study.file.model_copy(update={"orders": orders}))
    opened, posted, arrives = opening(kit, date(2027, 3, 1), 60, 20.0), date.fromisoformat(posted), date.fromisoformat(arrives)
    assert opened.arrival(opened.seconds(posted)) == (posted, arrives)
    for due in (arrives + timedelta(days=n) for n in range(7)):
        last = opened.last_posting(due)
        assert posted <= last and opened.delivered(last) <= due
        assert all(
            opened.delivered(last + timedelta(days=n)) > due for n in range(1, 8) if opened.posts(last + timedelta(days=n))
        )


def test_days_off_that_leave_nothing_open_are_a_fault(tmp_path):
    kit = open_study(study(tmp_path, off=("2026-12-24 to 2027-01-03", "2026-12-24 to 2029-01-03")))
    plan = open_order(kit, today=date(2027, 1, 11), pieces=10, by="2027-02-12")
    with pytest.raises(StudyError, match=r"orders\.days_off: no day is left"):
        price_of(plan)


def test_no_mould_is_made_for_a_date_that_none_can_bring(tmp_path):
    kit = open_study(study(tmp_path, hours=(HOURS[0], 'hours = "0.01 h/week"')))
    plan = open_order(kit, today=date(2027, 1, 11), pieces=10, by="2027-02-12")
    assert plan.earliest_promise is None and plan.sets_wanted == 2 and plan.moulds_to_make == 0


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
    ends, row = done[:, rare], table.set_index("load").loc[tables.load_numbers(plan)[rare]]
    assert 0 < shares[rare] < 0.5 and row.through == "complete before"
    assert "not needed" not in set(table.astype(str).values.flat)
    assert row.needed == pytest.approx(plan.course.weights[ends < NEVER].sum()) and table.needed[table.casts == 33][
        :12
    ].min() == pytest.approx(1.0)
    days = sorted(plan.typical.opened.date_of(moment) for moment in ends[ends < NEVER])
    assert row.early == tables.day(fmt, days[int(0.1 * len(days))], year=False)
    assert row.late == tables.day(fmt, days[int(0.9 * len(days))], year=False)


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
        "an hour would have paid" in lines
        and "nan" not in lines
        and '"pay_per_hour_at_price": null' not in as_json(order_results(plan, price_of(plan)))
    )
    free = open_order(kit, today=TODAY, pieces=10, in_hand=10, by="2027-02-12")
    assert quote_of(free, price_of(free)).price == price_of(free).asked > 50  # what is in hand has cost something too


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


def test_a_load_promised_before_has_no_colour_of_this_order():
    kit = demo("kelpmoor-handles")
    plan = open_order(kit, today=TODAY, by="2027-02-12", variants={"green": 14, "grey": 10})
    rows = tables.load_table(plan, format_of(kit))
    assert rows.kind[0] == "promised before" and rows["of which"][0] == ""
    poured = sum(int(n) for of in rows["of which"][1:] for n in re.findall(r"\d+", of))
    assert poured == plan.casts == rows.casts[1:].sum()
