"""One order afterwards, at its beginnings and ends: no log, one log, nothing sold, ended short, one piece, a day gone by."""

import json
from dataclasses import replace

import pytest
from one_project import LOGS, NOTHING, STUDY, told, with_logs

from casting_econ.kit import format_of
from casting_econ.projects import tables, wording
from casting_econ.projects.lessons import Lessons
from casting_econ.projects.logged import ORDERS, WEEKLY
from casting_econ.projects.tables import project_results
from casting_econ.running.results import as_json


def test_from_the_plan_alone(tmp_path):
    """Nothing logged: there is the plan, it is said, and every table and number is still there."""
    project = told(with_logs(tmp_path, **NOTHING), finished=True)
    lessons, fmt = Lessons(project=project), format_of(project.kit)
    assert "nothing of it is logged, so there is only the plan" in wording.headline(project, fmt)
    nameless = replace(project.order, product="piece")
    assert "pieces of piece" not in wording.headline(replace(project, order=nameless), fmt)
    results = project_results(lessons)
    assert results["actual"] is None and results["bridge"] is None and results["lessons"] == {} and results["hours"] == {}
    assert results["planned"]["pay_per_hour"] > 0 and set(results["pay_per_hour"].values()) == {None}
    frame = tables.project_table(project)
    assert frame.actual.isna().all() and tables.bridge_table(project).empty and tables.lesson_table(lessons).empty
    assert "paid out" not in " ".join(wording.project_lines(lessons))  # as nothing was
    assert len(wording.project_lines(lessons)) > 2 and "nan" not in as_json(results)


def test_from_the_logs_alone(tmp_path):
    """A study that knows no minutes: the hours of the logs are there, all of them not planned, and what they teach is new."""
    study = "".join(
        line
        for line in STUDY.splitlines(keepends=True)
        if not line.startswith(("minutes = ", "minutes_per_order")) or "mould" in line
    )
    study = study.replace("[products.hook.mould]", '[products.hook.mould]\nminutes = "120 min"').replace(
        'minutes = "120 min"\nlife', "life"
    )
    study = study.replace("[spread]\n", '[spread]\nminutes = "10 %"\n')
    project = told(with_logs(tmp_path, study))
    assert project.planned.hours.keys() == {"cure", WEEKLY} and project.actual.hours["sand"] == 9
    assert project.causes["hours not planned"] < -1 and project.causes["minutes"] != 0
    rows = {row.key: row for row in Lessons(project=project).rows}
    sand = rows["products.hook.steps.sand.minutes"]
    assert (sand.old, sand.measured) == (0, pytest.approx(9 * 60 / 49, rel=1e-3))


def test_hours_alone_take_the_plan_for_what_no_load_says(tmp_path):
    """Only a timesheet, and the maker says it is over: as many pieces as ordered, casts and rejects as planned for them."""
    project = told(with_logs(tmp_path, batches=None, faults=None), finished=True)
    assert project.actual.pieces == project.actual.paid == 40 and project.causes["scrap"] == 0
    assert project.actual.casts / 40 == pytest.approx(project.planned.casts / project.planned.pieces)
    assert project.actual.hours["sand"] == 9


def test_loads_alone_take_the_hours_of_the_plan(tmp_path):
    """No timesheet: every hour counts as planned for what was made, and that is said."""
    project = told(with_logs(tmp_path, timesheet=None))
    assert project.not_logged["sand"] == pytest.approx(project.planned.hours["sand"] * 49 / project.planned.entering["sand"])
    assert project.actual.total_hours == pytest.approx(sum(project.not_logged.values())) and project.causes["minutes"] == 0
    said = wording.hours_sentence(project, format_of(project.kit))
    assert (
        "No hours of it are logged." in said and "Log them, or, if you did without a step, take it out of `study.toml`." in said
    )


def test_a_row_of_several_steps_is_parted_by_their_minutes_of_a_load_too(tmp_path):
    """Pouring 1 min a piece, loading 12 min a load of 12: half of 2 h each (own arithmetic); the total stays."""
    sheet = "date,step,minutes,product,pieces_handled,order\n2026-03-02,pour + cure,120,hook,12,first\n"
    hours = told(with_logs(tmp_path, timesheet=sheet)).log.hours
    assert hours == {"pour": pytest.approx(1.0), "cure": pytest.approx(1.0)}


def test_an_order_without_a_price_has_no_pay_and_says_what_to_state(tmp_path):
    """Costs and hours are there; pay, bridge and chart are not."""
    head, tail = STUDY.split("[commissions.first]")
    project = told(with_logs(tmp_path, head + "[commissions.first]" + tail.replace('price = "600 EUR"\n', "")))
    assert project.actual.pay() is None and project.causes is None and project.actual.total_hours > 20
    assert "give the `price` of the order" in wording.headline(project, format_of(project.kit))
    assert "cannot be compared" in wording.bridge_sentence(project, format_of(project.kit))
    assert json.loads(as_json(project_results(Lessons(project=project))))["pay_per_hour"]["by_use"] is None


def test_an_order_of_which_more_was_sold_than_ordered_is_paid_for_that(tmp_path):
    """All 47 good ones of 40 ordered went out for 700: none is left over, and the price a piece is of 47 (own arithmetic)."""
    sale = "date,order,channel,product,pieces,price\n2026-03-25,first,direct,hook,47,700\n"
    actual = told(with_logs(tmp_path, sales=sale)).actual
    assert (actual.pieces, actual.paid, actual.gross) == (47, 47, 700)


def test_an_order_that_ended_short_is_paid_for_what_was_delivered(tmp_path):
    """Three loads are 29 good pieces of 24 and 16: 19 and 10 delivered of 40, said to be over, paid in proportion."""
    batches = "\n".join(LOGS["batches"].splitlines()[:4]) + "\n"
    faults = "\n".join(line for line in LOGS["faults"].splitlines() if "B4" not in line and "B5" not in line) + "\n"
    project = told(with_logs(tmp_path, batches=batches, faults=faults), finished=True)
    assert (project.actual.pieces, project.actual.paid, project.order.complete) == (29, 29, False)
    assert project.actual.gross == pytest.approx(600 * 29 / 40)
    said = wording.headline(project, format_of(project.kit))
    assert "said to be over" in said and "11 short" in said


def test_one_piece_never_shipped_and_rows_after_the_date(tmp_path):
    """One good piece of one load, poured after the due date, no sale, no hours beyond it: every number is there."""
    head, tail = STUDY.split("[commissions.first]")
    tail = tail.replace("pieces = 40\nvariants = { teal = 24, sand = 16 }", "pieces = 1").replace(
        "due = 2026-04-17", "due = 2026-03-06"
    )
    batches = "batch,date,product,casts,good,order\nB1,2026-03-09,hook,2,1,first\n"
    sheet = "date,step,minutes,product,order\n2026-03-10,sand,30,hook,first\n2026-03-11,direct,20,,first\n"
    project = told(
        with_logs(tmp_path, head + "[commissions.first]" + tail, batches=batches, faults=None, timesheet=sheet, purchases=None)
    )
    lessons = Lessons(project=project)
    assert (project.actual.pieces, project.actual.paid, project.actual.days) == (1, 1, 3)
    assert project.logged_hours == pytest.approx({"sand": 0.5, ORDERS: 1 / 3})
    results = json.loads(as_json(project_results(lessons)))
    assert (
        results["actual"]["minutes_per_piece"]["sand"] == 30
    )  # no fault is told: what is missing failed at taking out, the first check
    assert len(wording.project_lines(lessons)) > 4


def test_sales_that_name_the_order_say_what_came_in(tmp_path):
    """The price, fees and postage of the sale stand in the place of the plan's; blanks leave the plan's."""
    sale = "date,order,channel,product,pieces,price,postage_charged,postage_paid,packaging,fees\n2026-03-25,first,direct,hook,40,580,,14,,20\n"
    actual = told(with_logs(tmp_path, sales=sale)).actual
    assert (actual.gross, actual.receipts) == (580, pytest.approx(580 - 20 - 14 - 6))


def test_a_sale_says_how_many_were_delivered(tmp_path):
    """A load booked to the wrong colour leaves one teal missing; the sale of all 40 counts, and nothing is called short."""
    mixed = LOGS["batches"].replace(
        "B4,2026-03-12,hook,pot,12,11,2026-03-24,first / teal", "B4,2026-03-12,hook,pot,12,11,2026-03-24,first / sand"
    )
    sale = "date,order,channel,product,pieces,price\n2026-03-25,first,direct,hook,40,600\n"
    before, after = (
        told(with_logs(tmp_path / name, batches=mixed, sales=one), finished=True) for name, one in (("a", None), ("b", sale))
    )
    assert before.actual.paid < 40 and "short" in wording.headline(before, format_of(before.kit))
    assert after.actual.paid == 40 and "short" not in wording.headline(after, format_of(after.kit))


@pytest.mark.parametrize(
    ("row", "finished", "paid", "gross", "receipts", "said", "state"),
    [
        # 300 so far and what is left of 600 at the plan's 3 % of fees, 14 of postage, 6 of packing
        ("25,300,14", False, 40, 600, 600 * 0.97 - 14 - 6, "more than were ordered.", "complete"),
        ("0,150,", False, 40, 600, None, "more than were ordered.", "complete"),  # a deposit
        ("0,150,", True, 40, 600, None, "more than were delivered.", "complete"),  # and its sale is not written yet
        # said to be over: no more comes
        ("25,300,14", True, 25, 300, 300 * 0.97 - 14 - 6, "more than were delivered, 15 short.", "said to be over"),
        ("40,580,14", False, 40, 580, 580 * 0.97 - 14 - 6, "more than were delivered.", "complete"),
    ],
)
def test_what_is_still_to_post_counts_at_what_is_left_of_the_price(row, finished, paid, gross, receipts, said, state, tmp_path):
    """With all made and part of it sold the price of the rest is to come, as all of it is where none is sold (own arithmetic); an hour
    of it has paid only what no piece is left to bring."""
    sale = "date,order,channel,product,pieces,price,postage_paid\n2026-03-25,first,direct,hook," + row + "\n"
    project = told(with_logs(tmp_path, sales=sale), finished=finished)
    told_of_it = wording.headline(project, format_of(project.kit))
    assert (project.actual.paid, project.actual.gross) == (paid, pytest.approx(gross)) and said in told_of_it
    assert receipts is None or project.actual.receipts == pytest.approx(receipts)
    waiting = 40 if row[0] == "0" else 0 if finished or row[0] == "4" else 15
    assert (f"The {waiting} pieces that no sale names yet count at what is left" in told_of_it) == bool(waiting)
    assert f"**An hour of it {'would pay' if waiting else 'paid'} " in told_of_it and f": {state}, 47 good pieces" in told_of_it


def test_casts_that_no_load_says_are_told_as_planned(tmp_path):
    """An order entered with its sale alone: its casts are the plan's, and are not told as if they were logged."""
    sale = "date,order,channel,product,pieces,price\n2026-03-25,first,direct,hook,40,600\n"
    alone, logged = (
        wording.headline(project, format_of(project.kit))
        for project in (
            told(with_logs(tmp_path / "a", **NOTHING | {"sales": sale})),
            told(with_logs(tmp_path / "b", sales=sale)),
        )
    )
    assert ", as planned, as no load of it is counted" in alone and "as planned, as no" not in logged


def test_a_refund_counts_where_the_fees_are_not_known(tmp_path):
    """100 paid back and no fees in the row: 580 less the plan's 3 %, 14 of postage, 6 of packing and the 100 (own arithmetic)."""
    sale = "date,order,channel,product,pieces,price,postage_paid,refund\n2026-03-25,first,direct,hook,40,580,14,100\n"
    assert told(with_logs(tmp_path, sales=sale)).actual.receipts == pytest.approx(580 * 0.97 - 14 - 6 - 100)


def test_loads_that_name_no_order_are_told(tmp_path):
    """A load of the order's own product in its days, without its name: counted nowhere, said with the rows that are left out for it."""
    header, first, *rest = LOGS["batches"].splitlines()
    at = header.split(",").index("order")
    nameless = first.split(",")
    nameless[at] = ""
    named = told(with_logs(tmp_path / "a"))
    project = told(with_logs(tmp_path / "b", batches="\n".join([header, *rest, ",".join(nameless)]) + "\n"))
    assert named.log.unnamed["batches"] == 0 and project.log.unnamed["batches"] == 1 and project.log.loads == named.log.loads - 1
    said = wording.rows_sentence(project, format_of(project.kit))
    assert said.startswith("1 row of the batches in its days name") and "left out" in said
