"""What may be asked of an order, how it is read, and that any craft takes one."""

import re
from dataclasses import replace
from datetime import date
from math import sqrt

import pytest
from order_plans import TODAY, demo, first_commission, study

from casting_econ.faults import StudyError
from casting_econ.kit import format_of, open_study
from casting_econ.orders import open_order, order_lines, order_results, price_of, tables, wording
from casting_econ.orders.spec import order_of
from casting_econ.running.results import as_json


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


def test_orders_without_a_name_have_one_of_their_own():
    one = order_of(demo("kelpmoor-handles"), today=TODAY, pieces=28, due=date(2027, 3, 1))
    other = order_of(demo("kelpmoor-handles"), today=TODAY, pieces=29, due=date(2027, 3, 1))
    assert one.name == "knob 28 by 2027-03-01" != other.name
