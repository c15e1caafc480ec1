"""Pots that differ in size: the long run against an event simulation, the year against hand arithmetic, the study file."""

from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from commands import DATA, without_chance
from curing_events import KINDS, WEEKDAYS, MouldShop, hours, random_mould_case

from casting_econ.evidence.loads import loads_poured, usual_load
from casting_econ.faults import StudyError
from casting_econ.kit import format_of, open_study
from casting_econ.models import InMoulds, loads_per_week
from casting_econ.models.counts import loads_for
from casting_econ.orders import open_order, order_results, price_of
from casting_econ.orders.pots import pools, slots_of
from casting_econ.orders.tables import day_table, load_table
from casting_econ.orders.topping import in_loads
from casting_econ.pages.curing import load_wait, stair_sentence, stair_table
from casting_econ.pages.records import pot_table
from casting_econ.study import study_with
from casting_econ.study.stations import StationEntry


@pytest.mark.parametrize("kind", KINDS)
def test_pots_of_several_sizes_equal_event_simulation(kind):
    """60 random workshops of each kind of calendar, pots of 4 to 30 places: exact loads a week, and the mean load that of the pots."""
    rng, repeats = np.random.default_rng(77 + KINDS.index(kind)), 0
    for _ in range(60):
        turnaround, cure, _, sets, steps, rest, windows = random_mould_case(rng, kind)
        places = [int(n) for n in rng.integers(4, 31, int(rng.integers(2, 4)))]
        steps = tuple((int(work / 3600 * rng.integers(2, 60)), in_one_go, wait) for work, in_one_go, wait in steps)  # a piece [s]
        shop = MouldShop(turnaround, cure, len(places), sets, steps, rest, windows, places)
        expected, mean = shop.rate(), np.mean(places)
        # all loads are poured in turn, so whole rounds of the pots hold the mean
        assert abs(shop.cast - mean * shop.number) < sum(places)
        use = InMoulds(
            sets=sets,
            steps=tuple((work * mean / 3600, g, wait / 3600) for work, g, wait in steps),
            rest_hours=rest / 3600,
            shares=tuple(n / mean for n in places),
        )
        if expected is not None:
            repeats += 1
            actual = float(loads_per_week(cure / 3600, turnaround / 3600, len(places), hours(windows), use))
            assert float(expected) == pytest.approx(actual, rel=1e-14), (places, sets, steps, windows)
    assert repeats >= 45


def test_two_pots_and_their_nights_on_paper():
    """Pots of 12 and 20, one set of moulds, an hour's pour, cured by the next morning, 25 min a piece to take out, 9 to 17: own arithmetic.

    Tue 9-14 the 12 are out, 14-15 the 20 are poured; Wed 9-17 and Thu 9-9:20 these are out, 9:20-10:20 the 12 are poured, and so on:
    two loads in three working days. Two pots of 16 would give one a day: out 9-15:40, poured 15:40-16:40.
    """
    steps = ((16 * 25 / 60, False, 0.0),)
    rates = [
        loads_per_week(12.0, 1.0, 2, WEEKDAYS, InMoulds(steps=steps, shares=shares)) for shares in ((0.75, 1.25), (1.0, 1.0))
    ]
    assert rates == pytest.approx([10 / 3, 5.0], rel=1e-14)


def kit_of(tmp_path, places, casts=14, more=""):
    """A demo with other places in its pot, and other loads; without its logs and without chance."""
    text = without_chance((DATA / "kelpmoor-handles" / "study.toml").read_text(encoding="utf-8"))
    text = text.replace("count = 1\nplaces = 14\n", f"{places}\n").replace(
        "casts_per_load = { value = 14,", f"casts_per_load = {{ value = {casts},"
    )
    tmp_path.mkdir(exist_ok=True)
    (tmp_path / "study.toml").write_text(text + more, encoding="utf-8")
    return open_study(tmp_path, with_records=False)


@pytest.mark.parametrize(("listed", "plain"), [("places = [14, 14]", "count = 2\nplaces = 14"), ("places = [14]", "places = 14")])
def test_a_list_of_pots_that_are_alike_is_a_count(tmp_path, listed, plain):
    """The same tables, numbers and year, whichever way they are written."""
    one, other = kit_of(tmp_path / "one", listed), kit_of(tmp_path / "other", plain)
    assert one.study.file.stations == other.study.file.stations
    assert one.study.numbers.keys() == other.study.numbers.keys()
    assert one.point().totals == other.point().totals and one.point().utilisation == other.point().utilisation


def test_a_load_is_as_large_as_its_pot(tmp_path):
    """Pots of 12 and 20: loads of 16 on average in labour, hands and pot nights; a set of moulds fills the largest: own arithmetic."""
    kit, alike = kit_of(tmp_path / "one", "places = [12, 20]", 20), kit_of(tmp_path / "other", "count = 2\nplaces = 16", 16)
    product = kit.inputs().products[0]
    assert (product.casts_per_load, product.pots, product.largest_load) == (16.0, (12.0, 20.0), 20.0)
    ours, theirs = (k.point().products["knob"]["piece"] for k in (kit, alike))
    assert [s.minutes for s in ours.steps] == [s.minutes for s in theirs.steps]
    assert ours.mould_minutes == pytest.approx(
        theirs.mould_minutes * 16 / 20, rel=1e-12
    )  # as much work for 20 casts a turn of life
    capped = kit_of(tmp_path / "capped", "places = [12, 20]", 15).inputs().products[0]
    assert (capped.casts_per_load, capped.pots) == (13.5, (12.0, 15.0))  # never more than is cast at once


def test_the_staircase_of_two_pots_that_differ(tmp_path):
    """What is full is reckoned at the loads that both let through, and the page says how large they are."""
    kit = kit_of(tmp_path, "places = [12, 20]", 20)
    wait, use = load_wait(kit), kit.point().utilisation_at_demand
    assert wait.sizes == (12.0, 20.0) and "12 and 20 pieces in turn, 16 on average" in stair_sentence(kit, wait)
    there = next(s for s in kit.inputs().stations if s.name == "pressure-pot")
    assert int(there.count) == 2
    p = kit.point().products["knob"]
    wanted = kit.inputs().channels  # casts a week that demand asks for, in loads of 16, over what passes
    pieces = sum(c.orders_per_year * c.pieces_per_order for c in wanted)
    loads = pieces / (1 - kit.inputs().products[0].unsold_share) * p["casts_per_good_piece"] / 16 / kit.inputs().weeks_per_year
    loads += kit.inputs().products[0].ruined_loads_per_year / kit.inputs().weeks_per_year
    assert use[wait.resource] == pytest.approx(loads / wait.loads(kit.study.windows), rel=1e-9)
    frame = stair_table(kit, wait)
    assert list(frame.columns[1:]) == [f"{n} in use" for n in range(wait.count, wait.count + 3)]


LARGER = """
[scenarios.larger-pot]
what = "a second, larger pot"
change.stations.pressure-pot.places = [14, 20]
change.products.knob.casts_per_load = 20
"""


def test_a_second_larger_pot_is_a_scenario(tmp_path):
    """A list in a scenario says how many there are, whatever count the file has."""
    kit = kit_of(tmp_path, "count = 1\nplaces = 14", 14, LARGER)
    changed, _ = study_with(kit.study, {"": kit.study.file.scenarios["larger-pot"]})
    station = changed.file.stations["pressure-pot"]
    assert (station.count.value, station.sizes) == (2, (14, 20))


@pytest.mark.parametrize(
    ("places", "casts", "place", "wrong", "right"),
    [
        ("places = [12, 20]\ncount = 3", 14, "stations.pressure-pot.count", "is not as many as the places", "2, or no count"),
        ("places = [14, 14]\ncount = 3", 14, "stations.pressure-pot.count", "is not as many as the places", "2, or no count"),
        (
            "places = [12, 20]",
            21,
            "products.knob.steps.pot.wait_in",
            "load larger than the station",
            "at most 20, as products.knob.casts_per_load, or more",
        ),
        ("places = []", 14, "stations.pressure-pot.places", "a list of nothing", "such as [12, 20]"),
        ("places = [12, 0]", 12, "stations.pressure-pot.places", "outside the limits", "a whole number above 0"),
        ("places = [12, 'large']", 12, "stations.pressure-pot.places", "not a number", "a whole number above 0"),
        ("places = [12.5, 20]", 12, "stations.pressure-pot.places", "outside the limits", "a whole number above 0"),
    ],
)
def test_places_that_cannot_be(tmp_path, places, casts, place, wrong, right):
    """Each fault at its key, with what stands there and what would be right."""
    with pytest.raises(StudyError) as raised:
        kit_of(tmp_path, places, casts)
    found = [fault for fault in raised.value.faults if fault.column == place]
    assert found and wrong in found[0].wrong and right in found[0].right


def test_a_load_that_is_there_already_must_fit_any_oven(tmp_path):
    """Only for the pot that it is cast for can a load be made smaller: in an oven later on the smallest decides."""
    more = '\n[stations.oven]\nplaces = [9, 30]\n[products.knob.steps.bake]\nwait = "2 h"\nwait_in = "oven"\nload_minutes = "5 min"\n'
    with pytest.raises(StudyError) as raised:
        kit_of(tmp_path, "places = 14", 14, more)
    assert [(f.column, f.right) for f in raised.value.faults] == [
        ("products.knob.steps.bake.wait_in", "at most 9, as products.knob.casts_per_load, or more places")
    ]


def test_pots_take_turns():
    """Formed for 20 and 12 in turn, the rest to the smallest that holds it and has had fewest; own arithmetic."""
    assert loads_for(69, (20, 12)) == (20, 12, 20, 12, 5) and loads_for(64, (20, 12)) == (20, 12, 20, 12)
    pot = StationEntry.model_validate({"places": [12, 20]}, context={"currency": "EUR"})
    oven = StationEntry.model_validate({"count": 2}, context={"currency": "EUR"})
    slots = slots_of("pot", pot) | slots_of("oven", oven)
    assert slots == {"pot 1": 1, "pot 2": 1, "oven": 2}
    found = pools(["pot", None, "oven"], [20, 12, 20, 12, 5, 0, 8, 8], slots, {"pot": pot, "oven": oven})
    assert found[:, 0].tolist() == [1, 0, 1, 0, 0, 1, 1, 0]  # one of nothing takes no turn
    assert found[:, 1].tolist() == [-1] * 8 and found[:, 2].tolist() == [2] * 8
    more = slots_of("pot", pot, more=1)
    assert more == {"pot 1": 1, "pot 2": 1, "pot 3": 1}
    assert pools(["pot"], [20, 20, 12], more, {"pot": pot})[:, 0].tolist() == [1, 2, 0]
    # a tumbler that takes 40, or 24 of them in the smaller one, holds loads of 12 three or two at a time
    tumbler = StationEntry.model_validate({"places": [24, 60]}, context={"currency": "EUR"})
    assert slots_of("tumbler", tumbler, load_size=40, casts=12) == {"tumbler 1": 2, "tumbler 2": 3}


@pytest.mark.parametrize("apart", [False, True])
def test_rounds_are_cast_in_loads_of_the_pots_in_turn(apart):
    """Loads of 20 and 12 in turn hold the colours one after the other, or each its own where what must match may not be parted."""
    loads = in_loads(np.array([[25, 10], [0, 3]]), (20, 12), apart=apart)
    first = [[20, 0], [5, 0], [0, 10]] if apart else [[20, 0], [5, 7], [0, 3]]
    assert loads[0].tolist() == first and loads[1].tolist()[0] == [0, 3]
    assert loads.sum(axis=1).tolist() == [[25, 10], [0, 3]] and (loads.sum(axis=2) <= [20, 12, 20]).all()


def test_an_order_goes_through_both_pots(tmp_path):
    """Loads of 20 and 12 in turn, no pot holds two at once, and both together are quicker than either alone."""
    kit = kit_of(tmp_path / "both", "places = [12, 20]", 20)
    plan = open_order(kit, "kitchen")
    course, loads = plan.typical, plan.loads
    sizes = loads.size[loads.new].tolist()
    assert tuple(sizes) == loads_for(plan.casts, (20, 12)) and len(sizes) > 1
    names = list(course.plan.slots)
    busy = {}
    for load, stage, begin, end in sorted(course.schedule.segments, key=lambda segment: segment[2]):
        if stage == 0:
            pot = names[course.plan.pool[load, 0]]
            assert course.plan.pool[load, 0] >= 0 and loads.size[load] <= {"pressure-pot 1": 12, "pressure-pot 2": 20}[pot]
            assert begin >= busy.get(pot, 0)
            busy[pot] = end + int(course.plan.wait[0, load, 0])
    assert set(busy) == {"pressure-pot 1", "pressure-pot 2"}
    alone = open_order(kit_of(tmp_path / "one", "places = 20", 20), "kitchen")
    assert plan.course.finish_at(0.95) <= alone.course.finish_at(0.95)


def test_an_order_with_pots_alike_is_that_of_a_count(tmp_path):
    """Whichever way two pots of 14 are written, the same numbers come out to the last digit."""
    both = [
        open_order(kit_of(tmp_path / n, places), "kitchen")
        for n, places in (("a", "places = [14, 14]"), ("b", "count = 2\nplaces = 14"))
    ]
    one, other = (order_results(plan, price_of(plan)) for plan in both)
    assert one == other


def test_the_schedule_says_what_each_load_does_when(tmp_path):
    """Every load from its pour to its last check in local time, in its own pot, one thing in a pot at a time; nothing by two hands."""
    plan = open_order(kit_of(tmp_path, "places = [12, 20]", 20), "kitchen")
    rows = order_results(plan, price_of(plan))["schedule"]
    assert {row["load"] for row in rows} == set(range(1, plan.loads.planned + 1))
    assert [row["start"] for row in rows] == sorted(row["start"] for row in rows)
    pours = {row["load"]: row["start"] for row in rows if row["step"] == "casting"}
    in_turn = sorted(plan.typical.opened.moment(begin) for begin in plan.pours.values())
    assert pours == dict(enumerate(in_turn, 1))  # numbered as they are poured, as a maker counts them
    table, days = load_table(plan, format_of(plan.planner.kit)), day_table(plan, format_of(plan.planner.kit))
    assert table.load.tolist() == list(range(1, len(table) + 1))
    told = [int(load) for cell in days["loads poured"] for load in cell.split(", ") if load]
    assert told == sorted(told) == list(pours)
    for pot in ("pressure-pot 1", "pressure-pot 2"):
        spans = [(row["start"], row["end"]) for row in rows if row["station"] == pot]
        assert len(spans) > 1 and all(end <= begin for (_, end), (begin, _) in pairwise(spans))
    of_load = {load: [row for row in rows if row["load"] == load] for load in pours}
    assert all(a["end"] <= b["start"] for mine in of_load.values() for a, b in pairwise(mine))
    done = max(row["end"] for row in rows)
    assert done >= plan.typical.opened.moment(plan.typical.schedule.complete[0])
    kinds = load_table(plan, format_of(plan.planner.kit)).kind.tolist()
    assert {"new, pressure-pot 1", "new, pressure-pot 2"} <= set(kinds)


LOGGED = """batch,date,product,station,casts,good,order
A1,2026-01-05,knob,Pressure-Pot 1,11,9,
A2,2026-01-06,knob,pressure pot 2,19,17,
A3,2026-01-07,knob,pressure-pot 2,20,18,
A4,2026-01-08,knob,pressure-pot 1,8,,kitchen / sea green
"""


def test_the_log_names_the_pot(tmp_path):
    """Loads by pot of the batches, the mean load of the hours, and a load under way in its own pot, though the other has more turns."""
    kit_of(tmp_path, "places = [12, 20]", 20)
    (tmp_path / "records").mkdir()
    (tmp_path / "records" / "batches.csv").write_text(LOGGED.replace(" / sea green", ""), encoding="utf-8")
    kit = open_study(tmp_path)
    table = pot_table(kit)
    assert table.station.tolist() == ["pressure-pot 1", "pressure-pot 2"] and table["casts a load"].tolist() == [11.0, 19.5]
    assert table.loads.tolist() == [1, 2] and table.good.tolist() == pytest.approx([9 / 11, 35 / 39], rel=1e-12)
    assert usual_load(kit.study, "knob") == pytest.approx(50 / 3, rel=1e-12)
    assert usual_load(kit_of(tmp_path / "guess", "places = [12, 20]", 20).study, "knob") == 16.0
    plan = open_order(kit, "kitchen", today=date(2026, 1, 8), start="2026-01-08")
    assert [under.station for under in plan.order.under_way] == ["pressure-pot 1"]
    assert plan.typical.pot(plan.loads.promised) == "pressure-pot 1"


def test_a_pot_that_is_not_there_is_named(tmp_path):
    """There are two; a row that names a third is a fault of its own, with those there are."""
    kit_of(tmp_path, "places = [12, 20]", 20)
    (tmp_path / "records").mkdir()
    (tmp_path / "records" / "batches.csv").write_text(LOGGED.replace("Pressure-Pot 1", "pressure-pot 3"), encoding="utf-8")
    with pytest.raises(StudyError) as raised:
        open_study(tmp_path)
    assert [(f.column, f.wrong) for f in raised.value.faults if f.column == "station"] == [("station", "unknown station")]
    assert "pressure-pot 1, pressure-pot 2" in next(f.right for f in raised.value.faults if f.column == "station")


def test_colours_that_share_a_pot_are_one_load():
    """Own count of the demo's batches: rows of one day, one pot and different colours of the order were one load; twice a colour is two."""
    kit = open_study(DATA / "samphire-hooks")
    batches = kit.study.records["batches"]
    pots = [(row.date, row.station) for row in batches.itertuples()]
    assert loads_poured(kit.study, batches) == len(set(pots)) < len(batches)
    pair = batches[batches.batch.isin(["S28a", "S28b"])]
    assert len(pair) == 2 and loads_poured(kit.study, pair) == 1
    assert loads_poured(kit.study, pair.assign(order="first-order / slate")) == 2
    assert loads_poured(kit.study, pair.assign(station="elsewhere")) == 2
