"""Orders that are going on: what is counted, what is left to do, and what stays as it was."""

from datetime import date
from math import ceil

import pytest
from commands import command, copy_of
from order_plans import FREE, HOURS, demo, first_commission, study

from casting_econ.faults import StudyError
from casting_econ.kit import format_of, open_study
from casting_econ.models.schedule import DAY
from casting_econ.orders import figures, open_order, order_lines, order_results, price_of, quote_of, tables, timetable, wording
from casting_econ.orders.buying import buying_list
from casting_econ.orders.spec import order_of


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
    assert plan.chance_of_enough >= 0.95 > plan.curve([0])[0]
    said = wording.progress_sentence(plan, format_of(kit))
    assert "On course" in said and "16 pieces still to come" in said and "14 casts under way" in said
    # its quote was sent before the first pour: nothing of it is left to send
    asked = wording.deposit_sentence(plan, price_of(plan), 2000.0, format_of(kit))
    assert "If no deposit is paid yet" in asked and "still be bought" in asked and "quote" not in asked
    assert "A deposit of" in wording.deposit_sentence(fresh, price_of(fresh), 2000.0, format_of(kit))
    under_way, begun_now = (
        command("order", folder, "kitchen", "--by", "2026-12-05")[1]
        for folder in (tmp_path, copy_of("kelpmoor-handles", tmp_path))
    )
    assert "The quote promises" not in under_way and "The quote promises" in begun_now
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
    assert f"Complete: all 28 pieces are in hand{over}. Pack and post them." in said and "The bills alone" not in said
    assert "an hour would have paid" in wording.price_sentence(plan, quoted, format_of(kit))
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
    assert "Complete: all 320 pieces are in hand, with 3 pieces over" in said and "$2,900.00: an hour would have paid" in said
    assert "At **$2,900.00** an hour would have paid" in wording.price_sentence(plan, quoted, fmt)
    results = order_results(plan, quoted)
    assert (results["casts"], results["complete"], results["pieces_over"]) == (0, True, 3)
    assert results["deposit"] == 0.0 and "nothing for a deposit to cover" in wording.deposit_sentence(plan, quoted, 2900.0, fmt)
    assert quote_of(plan, quoted).price == 2900.0 and quote_of(plan, quoted).deposit == 0.0
    for table in (tables.load_table(plan, fmt), tables.material_table(plan, fmt)):
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
    assert timetable.days_gone(plan, date(2026, 12, 2), fmt) == ""
    assert "--start 2026-12-05 plans from today" in timetable.days_gone(plan, date(2026, 12, 5), fmt)
    assert "has gone by. --start 2026-12-20 plans what is left" in timetable.days_gone(plan, date(2026, 12, 20), fmt)


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


def test_parts_are_bought_for_what_is_still_to_come(tmp_path):
    plan, _ = first_commission()
    some = plan.with_order(in_hand={"harbour blue": 50})
    rows = {row.item: row.needed for row in buying_list(some)}
    assert rows["cord-and-ferrule"] == 270
