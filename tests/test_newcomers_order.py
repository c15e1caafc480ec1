"""What a newcomer who has one order reads in its plan: moulds that go in whole, answers that agree, dates in their order, days off, ends."""

from datetime import date

import numpy as np
import pytest
from test_mould_making import order, study

from casting_econ.evidence.loads import usual_load
from casting_econ.kit import format_of, open_study
from casting_econ.orders import order_results, price_of, wording
from casting_econ.orders.making import planner_with
from casting_econ.orders.plan import OrderPlan
from casting_econ.orders.topping import in_loads
from casting_econ.study.stations import load_sizes, pot_loads

# moulds of four, and two pots whose places they do not fill
POTS = (
    ("count = 1\nplaces = 12", "places = [14, 6]"),
    ("casts_per_load = 12", "casts_per_load = 14"),
    ("cavities = 3", "cavities = 4"),
    ("masters = 3", "masters = 4"),
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """24 pieces from four moulds of four casts in pots of 14 and 6 places."""
    plan = order(tmp_path_factory.mktemp("whole"), *POTS)
    return OrderPlan(planner=planner_with(plan.planner, 4), order=plan.order)


def test_a_mould_goes_into_a_pot_whole(tmp_path):
    """Own arithmetic: into 14 and 6 places go three moulds of four and one: 12 and 4 casts, in the year, the records and an order alike."""
    kit = open_study(study(tmp_path, *POTS))
    file, product = kit.study.file, kit.inputs().product("peg")
    assert load_sizes(file, "peg") == (12, 4) and load_sizes(file, "peg", 8) == (8, 4)
    assert tuple(map(int, product.pots)) == pot_loads(file, "peg") == (12, 4)
    assert float(product.casts_per_load) == usual_load(kit.study, "peg") == 8.0
    assert float(product.mould.minutes) == 3 * (25 + 15) + 5  # of the three that fill the larger pot


@pytest.mark.parametrize(
    ("places", "casts", "cavities", "loads"),
    [
        ("[14, 6]", 14, 4, (12, 4)),
        ("[14, 3]", 14, 4, (12,)),
        ("14", 14, 4, (12,)),
        ("[12, 8]", 12, 4, (12, 8)),
        ("[20, 16]", 14, 4, (14, 14)),
    ],
)
def test_cavities_may_stay_empty_and_half_a_mould_does_not_go_in(tmp_path, places, casts, cavities, loads):
    """Own arithmetic; a pot that holds no mould takes no load, and 14 casts fill four moulds of four where 16 places are there."""
    changes = [("count = 1\nplaces = 12", f"places = {places}"), ("casts_per_load = 12", f"casts_per_load = {casts}")]
    kit = open_study(study(tmp_path, *changes, ("cavities = 3", f"cavities = {cavities}")))
    assert load_sizes(kit.study.file, "peg") == loads and float(kit.point().totals["hours_per_year"]) > 0


def test_no_load_of_a_plan_takes_more_places_than_its_pot(whole):
    """Every load, those of moulds and copies too, in whole moulds, all at once and topped up; loads of two moulds never go into the small pot."""
    assert [load["station"] for load in order_results(whole, price_of(whole))["schedule"]].count("pot 1") > 2
    for plan in whole.policies.values():
        loads, places = plan.loads, {"pot 1": 14, "pot 2": 6}
        for load in range(loads.planned):
            made = loads.made.get(load)
            moulds = (
                made.count
                if made and made.kind == "moulds"
                else -(-(made.count if made else int(loads.by_draw[:, load].sum(axis=1).max())) // 4)
            )
            stage = int(plan.course.plan.first[load])
            assert 4 * moulds <= places[plan.course.pot(load, stage)], (load, moulds)
    assert whole.planner.load_sizes == (12, 4)
    assert in_loads(np.array([[16]]), whole.planner.load_sizes, apart=False).sum(axis=2).tolist() == [[12, 4]]


def test_a_load_of_two_moulds_waits_for_the_pot_that_holds_both(whole):
    """Own arithmetic: 5 casts fill two moulds of four, so take 8 places: of 14 and 6 only the larger pot holds them."""
    loads = whole.planner.loads(whole.order, {"": 17}, extra=0)
    course = whole.planner.course(whole.order, loads, whole.planner.point, record=True)
    assert [(int(loads.size[load]), course.pot(load)) for load in range(loads.new.start, loads.planned)] == [
        (12, "pot 1"),
        (4, "pot 2"),
        (1, "pot 2"),
    ]
    five = whole.planner.loads(whole.order, {"": 21}, extra=0)
    course = whole.planner.course(whole.order, five, whole.planner.point, record=True)
    assert (int(five.size[-1]), course.pot(five.planned - 1)) == (5, "pot 1")


def test_the_plan_says_how_many_moulds_go_into_a_pot(whole):
    """Where places stay empty it says so, and nothing where moulds fill them."""
    fmt = format_of(whole.planner.kit)
    assert "moulds go into a pot whole, 3 into 14 places, 1 into 6 places" in wording.moulds_sentence(whole, fmt)


def test_nothing_is_said_of_places_that_moulds_fill(tmp_path):
    """Four moulds of three in a pot of twelve; of three a load of ten leaves two cavities empty."""
    plan = order(tmp_path)
    assert "whole" not in wording.moulds_sentence(plan, format_of(plan.planner.kit))
    (tmp_path / "ten").mkdir()
    plan = order(tmp_path / "ten", ("casts_per_load = 12", "casts_per_load = 10"))
    assert "10 casts fill 4 moulds, one in part" in wording.moulds_sentence(plan, format_of(plan.planner.kit))
