"""One order afterwards: hand arithmetic of what it paid, parts that add up, and a new study of what it taught."""

import json
import re
import tomllib
from dataclasses import replace
from datetime import date
from decimal import Decimal

import numpy as np
import pytest
from commands import DATA, command, hashes
from one_project import LOGS, NOTHING, STUDY, told, with_logs, write

from casting_econ.evidence import material_table
from casting_econ.faults import StudyError
from casting_econ.kit import format_of, open_study
from casting_econ.ledger.logs import NUMBERS
from casting_econ.models.money import part_of_year
from casting_econ.orders import open_order, price_of
from casting_econ.projects import tables, wording
from casting_econ.projects.account import CAUSES, DIGITS, causes_of, parts_of
from casting_econ.projects.learnt import write_learnt
from casting_econ.projects.lessons import Lessons, look_back
from casting_econ.projects.logged import MOULDS, ONE_OFF, ORDERS, WEEKLY
from casting_econ.projects.tables import project_results
from casting_econ.running.results import as_json


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write(tmp_path_factory.mktemp("whole") / "hooks")


@pytest.fixture(scope="module")
def whole(folder):
    """The order with all its rows."""
    return told(folder)


# ------------------------------------------------------------------ hours as logged

SUMS = "date,step,minutes,days,order\n" + "".join(
    f"2026-03-{day:02d},{step},{hours} h,{days},first\n"
    for day, step, hours, days in [(3, "pour", 5, 5), (3, "cure", 10, 5), (4, "take-out", 20, 5), (6, "sand", 40, 9), (9, "polish", 40, 9), (2, "mould", 45, 9)]
)  # fmt: skip


def test_a_stated_total_is_set_against_the_sum_of_its_parts(tmp_path):
    """5, 10, 20, 40, 40 and 45 h add up to 160, not to the stated 155 (common practice, no source); by a row or by the study."""
    said, study = [], STUDY.replace('price = "600 EUR"\n"""', "") + 'stated_hours = "155 h"\n'
    for at, (text, file) in enumerate([(SUMS + "Total,,155 h,,\n", STUDY), (SUMS, study)]):
        project = told(with_logs(tmp_path / str(at), file, timesheet=text))
        assert sum(project.logged_hours.values()) == pytest.approx(160) and project.log.stated_total == 155
        said.append(wording.hours_sentence(project, format_of(project.kit, year=False)))
        results = project_results(Lessons(project=project))
        assert results["hours"]["stated_total"] == 155
        assert sum(h for step, h in results["hours"].items() if step != "stated_total") == pytest.approx(160)
    assert all("add up to 160 h" in text and "says 155 h" in text and "The rows count here" in text for text in said)
    agreed = told(with_logs(tmp_path / "agreed", timesheet=SUMS + "Total,,160 h,,\n"))
    assert "as the stated total says" in wording.hours_sentence(agreed, format_of(agreed.kit))


def test_a_stated_total_alone_is_the_hours_of_the_order(tmp_path):
    """No row of hours: the total is parted as the plan's hours are, and nothing is said to be in no log."""
    study = STUDY + 'stated_hours = "31 h"\n'
    project = told(with_logs(tmp_path, study, timesheet=None))
    assert project.actual.total_hours == pytest.approx(31) and project.not_logged == {}
    parts = {name: hours / project.planned.total_hours for name, hours in project.planned.hours.items()}
    assert {name: hours / 31 for name, hours in project.actual.hours.items()} == pytest.approx(parts)
    assert "No row has hours; the stated total of 31.0 h" in wording.hours_sentence(project, format_of(project.kit))


def test_hours_in_the_plan_and_in_no_log_count_as_planned(whole):
    """Talking, posting and weekly hours are named with their hours, and pay without them would seem higher."""
    assert list(whole.not_logged) == [ORDERS, WEEKLY]
    assert whole.not_logged == pytest.approx({name: whole.planned.hours[name] for name in (ORDERS, WEEKLY)})
    assert whole.actual.hours[ORDERS] == whole.planned.hours[ORDERS]
    fmt = format_of(whole.kit, year=False)
    hours = fmt.number(sum(whole.planned.hours[name] for name in (ORDERS, WEEKLY)), 2)
    told = f"{hours} h of enquiry, packing and posting, weekly hours are in the plan and in no log**; they count as planned. Log them."
    assert told in wording.hours_sentence(whole, fmt)


def test_work_done_once_only_counts_as_the_commission_says(tmp_path, whole):
    """Two hours of photographs: in all hours, or out of them; the sentence names the other pay."""
    out = told(with_logs(tmp_path, STUDY + 'one_off = "left out"\n'))
    assert whole.actual.total_hours - out.actual.total_hours == pytest.approx(2) and ONE_OFF not in out.actual.hours
    assert out.actual.pay() == pytest.approx(whole.actual.pay() * whole.actual.total_hours / out.actual.total_hours)
    fmt = format_of(whole.kit, year=False)
    assert "are included; without them an hour would pay " + fmt.money(out.actual.pay()) in wording.one_off_sentence(whole, fmt)
    assert "are left out; with them an hour would pay " + fmt.money(whole.actual.pay()) in wording.one_off_sentence(out, fmt)
    assert project_results(Lessons(project=out))["order"]["one_off"] == "left out"


def test_rows_that_name_no_order_count_where_nothing_else_was_poured(tmp_path):
    """Unnamed hours in the days of the order are of it, until a load of something else is poured in them; then they are left out and said."""
    unnamed = LOGS["timesheet"].replace(",5,first", ",5,")
    alone = told(with_logs(tmp_path / "alone", timesheet=unnamed))
    assert alone.logged_hours["sand"] == 9 and alone.log.unnamed["timesheet"] == 4
    other = LOGS["batches"] + "X1,2026-03-10,hook,pot,12,11,2026-03-12,\n"
    beside = told(with_logs(tmp_path / "beside", timesheet=unnamed, batches=other))
    assert "sand" not in beside.logged_hours and beside.logged_hours["polish"] == 2.5 and beside.actual.casts == 56
    fmt = format_of(alone.kit)
    assert "counted, as nothing else was poured" in wording.rows_sentence(alone, fmt)
    assert "left out, as loads that do not name it were poured" in wording.rows_sentence(beside, fmt)
    before = LOGS["batches"] + "X0,2026-01-10,hook,pot,12,11,2026-01-12,\n"  # long before: no doubt about its days
    assert told(with_logs(tmp_path / "before", timesheet=unnamed, batches=before)).logged_hours["sand"] == 9


# ------------------------------------------------------------------ planned and actual


def test_the_plan_is_that_of_the_day_before_any_row(tmp_path, whole):
    """With all its rows, without any, and with other rows after its start the plan is the same; rows before it are in it."""
    bare = told(with_logs(tmp_path / "bare", **NOTHING))
    assert bare.planned == whole.planned and bare.actual is None and bare.log.nothing
    late = LOGS["batches"] + "Z1,2026-04-20,hook,pot,12,2,2026-04-22,\n"
    assert told(with_logs(tmp_path / "late", batches=late)).planned == whole.planned
    study = STUDY.replace('pass_share = "90 %"', 'pass_share = { value = "90 %", from = "records" }')
    early = LOGS["batches"] + "".join(f"Y{n},2026-01-{n + 10},hook,pot,12,6,2026-01-{n + 12},\n" for n in range(6))
    known = told(with_logs(tmp_path / "early", study, batches=early))
    assert known.planned.entering["sand"] / known.planned.casts < 0.75 < whole.planned.entering["sand"] / whole.planned.casts


def test_what_it_was_by_hand(whole):
    """Counts of the logs, hours of the rows, materials used at the price paid: 56 x 20 g at 50/2000 g, 49 sheets at 0.05, all the silicone."""
    actual = whole.actual
    assert (actual.casts, actual.loads, actual.pieces, actual.paid, actual.days) == (56, 5, 47, 40, 26)  # 27 February to 24 March
    assert actual.entering == {"pour": 56, "cure": 56, "take-out": 56, "sand": 49, "polish": 49}
    assert (actual.lost["take-out"], actual.lost["polish"]) == (7, 2)
    hours = {"pour": 1.25, "cure": 65 / 60, "take-out": 3, "sand": 9, "polish": 2.5, MOULDS: 3, ONE_OFF: 2}
    assert {name: actual.hours[name] for name in hours} == pytest.approx(hours)
    assert actual.spent == pytest.approx(56 * 20 * 0.025 + 49 * 0.05 + 32 + 5)
    assert (actual.gross, actual.receipts) == (600, pytest.approx(600 * 0.97 - 12 - 6))
    # rejects at the wage of 15: all the minutes and material that they had; polish bears that of sanding too
    minutes = [60 * hours[step] / entering for step, entering in actual.entering.items()]
    before = sum(minutes[:3]) / 4 + 0.5
    assert actual.lost_money(15)["take-out"] == pytest.approx(7 * before)
    assert actual.lost_money(15)["polish"] == pytest.approx(2 * (before + sum(minutes[3:]) / 4 + 0.05))


def test_what_was_bought_for_moulds_is_used_once_whatever_their_steps(tmp_path):
    """1,000 g for 32 that no log of moulds parts: halves and lids of 30 and 20 g share it, on the page of the logs too (own arithmetic)."""
    mould = """[products.hook.mould]
cavities = 4
masters = 4
life = 30
[products.hook.mould.steps.bottom-half]
minutes = "35 min"
materials.silicone = { quantity = "30 g", price = "0.03 EUR/g" }
[products.hook.mould.steps.lid]
minutes = "25 min"
materials.silicone = { quantity = "0.02 kg", price = "30 EUR/kg" }
"""
    start, end = STUDY.index("[products.hook.mould]"), STUDY.index("[channels.direct]")
    study = STUDY[:start] + mould + STUDY[end:]
    project = told(with_logs(tmp_path, study))
    silicone = next(row for row in project.items if row.item == "silicone")
    assert (silicone.bought, silicone.paid, project.actual.mould_money) == pytest.approx((1000, 32, 32))
    project = told(with_logs(tmp_path / "one unit", study.replace("0.02 kg", "20 g").replace("30 EUR/kg", "0.03 EUR/g")))
    silicone = next(row for row in project.items if row.item == "silicone")
    assert (silicone.used, silicone.bought, project.actual.mould_money) == pytest.approx((1000, 1000, 32))
    table = material_table(project.kit.study).set_index("material")
    assert table.index.is_unique and (table.loc["silicone", "purchases"], table.loc["silicone", "paid"]) == (1, 32)


def test_pay_an_hour_on_three_bases_by_hand(whole):
    """A pot of 260 that brings 40: 5 of its 400 loads, 26 of its days in 5 years, or all of it; the rest of the sum is the same."""
    actual = whole.actual
    charges = {"by_use": 220 * 5 / 400, "by_time": 220 / 5 * 26 / 365.25, "at_once": 260.0}
    left = actual.receipts - actual.spent - actual.overhead
    for basis, charge in charges.items():
        assert actual.equipment(basis) == pytest.approx(charge)
        assert actual.pay(basis) == pytest.approx((left - charge) / actual.total_hours)
    results = project_results(Lessons(project=whole))
    assert results["pay_per_hour"] == pytest.approx(
        {basis: (left - charge) / actual.total_hours for basis, charge in charges.items()}
    )


@pytest.mark.parametrize(
    ("item", "remark"),
    [("Pressure pot", ""), ("Pot, pressure", "'Pot, pressure' of the purchases taken for pressure-pot")],
)
def test_equipment_bought_under_nearly_its_name_is_charged_once(item, remark, tmp_path):
    """However the log writes the pot of the study: 220 x 5 / 400 by use, 260 at once, not 240 more (own arithmetic); the table says so."""
    bought = LOGS["purchases"].replace("pressure-pot", f'"{item}"')
    project = told(with_logs(tmp_path, purchases=bought))
    charges = [project.actual.equipment(basis) for basis in ("by_use", "by_time", "at_once")]
    assert charges == pytest.approx([220 * 5 / 400, 220 / 5 * 26 / 365.25, 260.0])
    assert remark in tables.project_table(project).set_index("what").loc["equipment by use", "remark"]


def test_two_receipts_of_one_piece_of_equipment_are_both_of_it(tmp_path):
    """A pot and its lid on two receipts, 180 and 80: 260 at once, 220 x 5 / 400 by use, its resale of 40 once (own arithmetic)."""
    bought = LOGS["purchases"].replace(
        "2026-02-26,pressure-pot,equipment,1,,260,first",
        "2026-02-26,pressure pots,equipment,1,,180,first\n2026-02-27,pressure pot lid,equipment,1,,80,first",
    )
    project = told(with_logs(tmp_path, purchases=bought))
    charges = [project.actual.equipment(basis) for basis in ("by_use", "at_once")]
    assert charges == pytest.approx([220 * 5 / 400, 260.0])
    remark = tables.project_table(project).set_index("what").loc["equipment by use", "remark"]
    assert remark == "'pressure pots' and 'pressure pot lid' of the purchases taken for pressure-pot"


def test_an_order_that_was_never_paid_has_a_word_for_it(tmp_path):
    """All of it in `refund`, as the manual's table of columns says: delivered, not paid, and nothing of the price is left."""
    sale = "date,order,channel,product,pieces,price,refund\n2026-03-25,first,direct,hook,40,600,600\n"
    folder = with_logs(tmp_path, sales=sale)
    _, out, _ = command("order", folder, "--answer-only")
    said = " ".join(out.split())
    assert "Delivered by the sales log on Wed 25 Mar 2026, €600.00 of it paid back or never paid" in said
    assert told(folder).actual.receipts == pytest.approx(-600 * 0.03 - 12 - 6) and NUMBERS["refund"].words.endswith("never paid")


def test_equipment_that_a_purchase_names_leaves_one_like_it_alone(tmp_path):
    """Two pots in the study, of which the order bought the first by its own name: the other, of 100, stays beside it."""
    pot = '[equipment.pressure-pot-2]\nprice = "100 EUR"\nlife = "5 year"\nlife_loads = 400\n[orders]\n'
    project = told(with_logs(tmp_path, STUDY.replace("[orders]\n", pot)))
    assert project.actual.equipment("at_once") == pytest.approx(360) and len(project.actual.tools) == 2


YEARS = STUDY.replace("life_loads = 400\n", "")  # the life of its pot is known in years alone


@pytest.mark.parametrize(
    ("orders", "weeks", "changes", "days"),
    [
        (1, 46, {}, 26),  # the only order of its year: never the whole of it
        (6, 46, {}, 26),
        (6, 23, {}, 26),  # of fewer weeks at work each is more of the year
        (60, 46, {}, 26),  # so many that the hours say less than the days
        (1, 46, {"batches": None, "faults": None, "timesheet": "date,step,minutes,order\n2026-03-03,sand,9 h,first\n"}, 1),
        (1, 46, {"timesheet": LOGS["timesheet"].replace("03-23,photo", "06-23,photo")}, 117),  # much longer than planned
    ],
)
def test_the_part_of_the_year_that_falls_on_an_order(orders, weeks, changes, days, tmp_path):
    """120 a year of overheads and 220 / 5 of the pot, by hours of making as they were, at most by days as they were in the weeks at work of
    a year (own arithmetic); an order of a day bears a day."""
    study = YEARS.replace("6 orders/year", f"{orders} orders/year").replace("46 week/year", f"{weeks} week/year")
    actual = told(with_logs(tmp_path, study, **changes)).actual
    making = sum(hours for name, hours in actual.hours.items() if name in actual.entering or name == MOULDS)
    by_days, by_hours = days / (7 * weeks), making / actual.year_hours
    assert (by_hours < by_days) == (orders == 60) and actual.days == days
    assert actual.overhead == pytest.approx(120 * min(by_days, by_hours))
    assert actual.equipment("by_use") == pytest.approx(220 / 5 * min(by_days, by_hours))
    assert actual.equipment("by_time") == pytest.approx(220 / 5 * days / 365.25)


def test_an_order_never_bears_more_than_a_year():
    """Two years at it, of which it is all the making: overheads and equipment of one (own arithmetic); each draw by itself; of a year
    that makes nothing the days say it alone."""
    assert part_of_year(500.0, 100.0, 730, 46) == 1.0
    assert part_of_year(np.array([5.0, 50.0]), 100.0, np.array([161, 161]), 46) == pytest.approx([0.05, 0.5])
    assert part_of_year(5.0, 0.0, 161, 46) == pytest.approx(0.5)
    for wrong in ((-1, 1, 1, 46), (1, 1, -1, 46), (1, 1, 1, 0)):
        with pytest.raises(ValueError, match="must be"):
            part_of_year(*wrong)


@pytest.mark.parametrize(("orders", "within"), [(1, 1.0), (60, 1e-9)])
def test_the_account_of_a_plan_carries_what_its_quote_carries(orders, within, tmp_path):
    """Without moulds, which one counts in full, and with certain minutes: the same by the hours, and to a day by the days, which it counts whole."""
    start, end = YEARS.index("[products.hook.mould]"), YEARS.index("[channels")
    slow = 'hours = "15 h', 'hours = "6 h'  # so that of many orders no draw runs for so few days that these say less
    study = (YEARS[:start] + YEARS[end:]).replace("6 orders/year", f"{orders} orders/year").replace(*slow)
    study = study.replace('minutes = "10 %"', 'minutes = "0 %"').replace(
        '{ low = "4 min", likely = "6 min", high = "9 min" }', '"6 min"'
    )
    project = told(with_logs(tmp_path, study, **NOTHING))
    planned = project.planned
    carried = planned.overhead + planned.equipment("by_use")
    assert project.actual is None and carried > 1
    assert carried == pytest.approx(float(project.quoted.carried.mean()), abs=within * (120 + 40) / (7 * 46))


def test_days_that_no_log_tells_are_those_of_the_plan(tmp_path):
    """A sale alone says nothing of days: the year is not all charged to it, and the table says that they are planned."""
    sale = "date,order,channel,product,pieces,price\n2026-03-25,first,direct,hook,40,600\n"
    project = told(with_logs(tmp_path, YEARS.replace("6 orders/year", "1 orders/year"), **NOTHING | {"sales": sale}))
    assert project.actual.days == project.planned.days and project.actual.overhead == project.planned.overhead < 30
    row = tables.project_table(project).set_index("what").loc["days, first to last"]
    assert (row.actual, row.remark) == (project.planned.days, "in no log: as planned")


def test_a_longer_run_is_with_the_materials(tmp_path):
    """Of one order a year, twice the days alone bear twice the year: that cause has all of it (own arithmetic); of many orders it moves nothing."""
    for orders, moved in (1, True), (60, False):
        study = YEARS.replace("6 orders/year", f"{orders} orders/year")
        planned = told(with_logs(tmp_path / str(orders), study, **NOTHING)).planned
        found = causes_of(planned, replace(planned, days=2 * planned.days))
        more = (120 + 200 / 5) * planned.days / (7 * 46) / planned.total_hours if moved else 0.0
        assert found.pop("materials") == pytest.approx(-more, abs=1e-4) and set(found.values()) == {0.0}


def test_equipment_whose_life_is_loads_or_hours_wears_by_these(tmp_path):
    """With `life_hours` by the hours of making, however few orders come; none at all charges nothing."""
    by_hours = told(with_logs(tmp_path / "hours", STUDY.replace("life_loads = 400", 'life_hours = "500 h"')))
    making = sum(by_hours.actual.hours[name] for name in (*by_hours.actual.entering, MOULDS))
    assert by_hours.actual.equipment("by_use") == pytest.approx(220 * making / 500)
    bought = LOGS["purchases"].replace("2026-02-26,pressure-pot,equipment,1,,260,first\n", "")
    none = told(
        with_logs(tmp_path / "none", STUDY[: STUDY.index("[equipment")] + STUDY[STUDY.index("[orders]") :], purchases=bought)
    )
    assert {none.actual.equipment(basis) for basis in ("by_use", "by_time", "at_once")} == {0.0}
    assert len({none.actual.pay(basis) for basis in ("by_use", "by_time", "at_once")}) == 1


def test_the_parts_of_the_bridge_add_up_exactly(whole):
    """In the file, in the table in whole cents, and for 200 accounts with every number moved; price moves nothing where it is the same."""
    results = json.loads(as_json(project_results(Lessons(project=whole))), parse_float=Decimal)
    parts = results["bridge"]
    total = parts.pop("total")
    assert set(parts) == set(CAUSES) and sum(parts.values()) == total
    assert results["actual"]["pay_per_hour"] - results["planned"]["pay_per_hour"] == total and parts["price"] == 0
    cents = tables.bridge_table(whole).set_index("cause")["money an hour"].map(lambda value: Decimal(repr(value)))
    assert cents["planned"] + sum(cents[cause] for cause in CAUSES) == cents["actual"]
    rng = np.random.default_rng(9)
    for _ in range(200):
        moved = _moved(whole.actual, rng)
        found, raw = causes_of(whole.planned, moved), parts_of(whole.planned, moved)
        assert sum(raw.values()) == pytest.approx(moved.pay() - whole.planned.pay(), abs=1e-10)  # before anything is rounded
        ends = [Decimal(repr(round(pay, DIGITS))) for pay in (whole.planned.pay(), moved.pay())]
        assert sum(Decimal(repr(part)) for part in found.values()) == ends[1] - ends[0]


def _moved(account, rng):
    """An account with every number moved by itself."""

    def some(values):
        return {name: value * rng.uniform(0.3, 3) for name, value in values.items()}

    alone = {
        name: getattr(account, name) * rng.uniform(0.5, 2)
        for name in ("pieces", "paid", "loads", "receipts", "parts", "mould_money", "other", "days")
    }
    tools = tuple(replace(tool, price=tool.price * rng.uniform(1, 3)) for tool in account.tools)
    return replace(
        account,
        **alone,
        hours=some(account.hours),
        entering=some(account.entering),
        materials=some(account.materials),
        tools=tools,
    )


def test_each_cause_alone_takes_the_whole_difference(whole):
    """Where only one thing went otherwise, its cause has all of it and the others nothing."""
    planned = whole.planned
    steps = {name: hours * 1.5 if name == "sand" else hours for name, hours in planned.hours.items()}
    for cause, change in {
        "minutes": {"hours": steps},
        "price": {"receipts": planned.receipts * 0.9},
        "materials": {"materials": {step: money * 2 for step, money in planned.materials.items()}},
        "hours not planned": {"hours": planned.hours | {ONE_OFF: 4.0}},
    }.items():
        other = replace(planned, **change)
        found = causes_of(planned, other)
        assert found[cause] == pytest.approx(other.pay() - planned.pay(), abs=2e-4) and abs(found[cause]) > 0.05
        assert {part for name, part in found.items() if name != cause} == {0.0}
    scale = {
        "entering": {step: count * 2 for step, count in planned.entering.items()},
        "casts": planned.casts * 2,
        "loads": planned.loads * 2,
    }
    scale |= {"materials": {step: money * 2 for step, money in planned.materials.items()}}
    scale["hours"] = {name: hours * (2 if name in planned.entering else 1) for name, hours in planned.hours.items()}
    found = causes_of(planned, replace(planned, **scale))  # twice as much enters for the same good pieces
    assert found["scrap"] < -5 and {part for name, part in found.items() if name != "scrap"} == {0.0}


# ------------------------------------------------------------------ next time


def test_a_new_study_rests_on_the_records_of_the_order(folder, tmp_path):
    """Each number that the order measured is in force there as the table says; comments stay, nothing is counted twice, the old study too."""
    lessons, before = Lessons(project=told(folder)), hashes(folder)
    made = write_learnt(lessons, tmp_path / "new")
    numbers = open_study(made).assumed.numbers
    keys = {row.key for row in lessons.rows}
    assert {
        "products.hook.steps.sand.minutes",
        "products.hook.steps.take-out.pass_share",
        "products.hook.steps.pour.materials.resin.price",
    } <= keys
    shown = tables.lesson_table(lessons).set_index("number")
    assert shown.unit["hook: pass share of take out"] == "share" and shown.unit["hook: price of resin"] == "EUR/kg"
    assert shown.old["hook: price of resin"] == pytest.approx(20.0)  # stated as 0.02 EUR/g
    for row in lessons.rows:
        assert numbers[row.key].value == pytest.approx(row.new, rel=1e-9) and numbers[row.key].basis == "measured"
        assert lessons.taught.assumed.numbers[row.key].value == pytest.approx(
            row.new, rel=5e-4
        )  # which is written with four digits
    text = (made / "study.toml").read_text(encoding="utf-8")
    assert (
        "# mixing in it" in text
        and 'worth = "49"' in text
        and tomllib.loads(text)["products"]["hook"]["steps"]["sand"]["minutes"]["from"] == "records"
    )
    assert hashes(folder) == before and hashes(made) != before
    assert {path.name for path in (made / "records").iterdir()} == {path.name for path in (folder / "records").iterdir()}


def test_hours_of_making_moulds_one_by_one_are_in_the_new_study_of_the_demo(tmp_path):
    """No log tells the steps of a mould: its minutes by the hours logged over the moulds made stand there as measured, with the rest."""
    lessons = look_back(open_study(DATA / "samphire-hooks"), "first-order")
    made = write_learnt(lessons, tmp_path / "new")
    sheet = open_study(made).study.records["timesheet"]
    minutes = sheet.minutes[sheet.step == "bottom-half"].sum() / len(open_study(made).study.records["moulds"])
    numbers = open_study(made).assumed.numbers
    assert numbers["products.hook.mould.steps.bottom-half.minutes"].value == pytest.approx(minutes, rel=5e-4)
    assert all(numbers[row.key].value == pytest.approx(row.new, rel=1e-9) for row in lessons.rows)
    assert all(numbers[row.key].basis == "measured" for row in lessons.rows)


def test_what_rows_with_a_count_measure_is_asked_of_the_records(tmp_path):
    """Pieces beside the hours: the guess stays as it was and asks for records, so that later rows count beside these."""
    sheet = LOGS["timesheet"].replace("sand,9 h,hook,,", "sand,9 h,hook,49,")
    lessons = Lessons(project=told(with_logs(tmp_path, timesheet=sheet)))
    [sand] = [row for row in lessons.rows if row.key.endswith("sand.minutes")]
    made = write_learnt(lessons, "new")
    raw = tomllib.loads((made / "study.toml").read_text(encoding="utf-8"))["products"]["hook"]["steps"]
    assert made == (tmp_path / "new").resolve() and sand.counted is None
    assert raw["sand"]["minutes"] == {"low": "4 min", "likely": "6 min", "high": "9 min", "from": "records"}
    assert raw["take-out"]["minutes"]["basis"] == "measured"
    assert open_study(made).assumed.numbers[sand.key].value == pytest.approx(sand.new)


def test_a_number_beside_guess_and_measurement_says_why(tmp_path, whole):
    """A price of 18 to 45, likely 28, counts by its middle (18 + 4 x 28 + 45) / 6 = 29.2 (own arithmetic), so a receipt at 26 leaves more than
    28, and the table says it; every other lesson lies between the two, or says why not."""
    wide = STUDY.replace('price = "0.03 EUR/g"', 'price = { low = "18 EUR/kg", likely = "28 EUR/kg", high = "45 EUR/kg" }')
    receipts = LOGS["purchases"].replace("silicone,material,1000,g,32", "silicone,material,1000,g,26")
    shown = tables.lesson_table(Lessons(project=told(with_logs(tmp_path, wide, purchases=receipts)))).set_index("number")
    silicone = shown.loc["hook: price of silicone"]
    assert (silicone.old, silicone.measured) == pytest.approx((28.0, 26.0)) and 28.0 < silicone.new < 29.2
    assert silicone["from"] == "1 purchase; a range counts by its middle, 29.2"

    for row in Lessons(project=whole).rows:
        low, high = sorted((row.old, row.measured))
        assert bool(row.beside) == (not low * 0.9995 <= row.new <= high * 1.0005)


def test_receipts_that_move_no_price_of_the_plan_are_named(tmp_path):
    """Paper by the kg says nothing of a sheet, mixing cups are no material of the study: both are paid, and the table says why beside them."""
    paper = LOGS["purchases"] + "2026-02-26,paper,consumable,1,kg,9,first\n"
    remarks = tables.project_table(told(with_logs(tmp_path, purchases=paper))).set_index("what").remark
    assert remarks["paper: paid"] == "bought by another unit than piece: at the price of the plan"
    assert remarks["bought beside the plan"] == "mixing cups" and remarks["resin: paid"] == ""


def test_loads_of_another_size_than_planned_say_so(tmp_path, whole):
    """56 casts in 14 loads of 4, where loads of 12 were planned: nine loads more are no more casts (own arithmetic); 12 and 11 are as good as alike."""
    rows = "".join(
        f"B{n},2026-03-{n + 2:02},hook,pot,4,4,2026-03-24,first / {'teal' if n < 8 else 'sand'}\n" for n in range(1, 15)
    )
    small = told(with_logs(tmp_path, batches=LOGS["batches"].splitlines()[0] + "\n" + rows, faults=None))
    here, alike = (tables.project_table(one).set_index("what").loc["loads"] for one in (small, whole))
    assert here.actual == 14 and here.difference == pytest.approx(14 - here.planned) and 5 <= here.planned < 6
    assert (here.remark, alike.remark) == ("casts a load: 12 planned, 4 poured", "")


def test_an_order_that_is_over_says_first_what_it_paid(tmp_path, whole):
    """Its first line is what an hour of it paid by its rows, and no other line begins with a pay an hour of the study's minutes."""
    sale = "date,order,channel,product,pieces,price,refund\n2026-03-25,first,direct,hook,40,600,150\n"
    folder = with_logs(tmp_path, sales=sale)
    code, out, _ = command("order", folder, "--answer-only")
    project = told(folder)
    lines = out.replace("\n", " ")
    pay = format_of(project.kit, year=False).money(project.actual.pay())
    assert code == 0 and lines.index(f"An hour of it paid {pay}") < lines.index(
        "600.00 was for 40 pieces: what an hour of it pays is in"
    )
    assert not re.search(r"^€600.00: an hour", out, re.MULTILINE) and "€150.00 of it paid back" in lines


def test_an_order_runs_from_the_first_hour_that_is_logged_for_it(tmp_path):
    """Its moulds were made on 27 February, its first load poured on 3 March: four more days of rent and weekly hours (own arithmetic), and no
    row without a pour begins it."""
    half = "".join(LOGS["batches"].splitlines(keepends=True)[:3])
    unnamed = re.sub(",first$", ",", LOGS["timesheet"], flags=re.MULTILINE)
    found = {}
    for name, sheet in ("named", LOGS["timesheet"]), ("unnamed", unnamed):
        kit = open_study(with_logs(tmp_path / name, batches=half, faults=None, timesheet=sheet))
        plan = open_order(kit, "first")
        found[name] = plan.order.begun, float(price_of(plan).hidden_hours.max())
    assert [begun for begun, _ in found.values()] == [date(2026, 2, 27), date(2026, 3, 3)]
    assert found["named"][1] - found["unnamed"][1] == pytest.approx(2 * 4 / 7)
    kit = open_study(with_logs(tmp_path / "no pour", batches=None, faults=None))
    assert open_order(kit, "first").order.begun is None


def test_the_first_table_of_a_project_is_short(whole):
    """Thirteen rows of the whole order at most, pay an hour the last; those by step, check and material are in the whole table alone."""
    frame = tables.project_table(whole)
    short = frame[frame.what.isin(tables.SHORT)]
    assert len(short) <= 13 < len(frame) and list(short.what)[-1] == "pay an hour" and "hours in all" in set(short.what)
    assert not short.what.str.contains(": ").any()


def test_the_next_time_is_taken_from_the_learning_curve(tmp_path, whole):
    """Eight rows along an 80 % curve say what as many pieces again take (own arithmetic: the curve summed); one row a step says nothing."""
    each = [10 * (sum(n ** np.log2(0.8) for n in range(6 * k + 1, 6 * k + 7))) for k in range(8)]
    rows = "".join(f"2026-03-{k + 4:02d},sand,{minutes:.3f},hook,6,,,first\n" for k, minutes in enumerate(each))
    head = LOGS["timesheet"].splitlines(keepends=True)[0]
    lessons = Lessons(project=told(with_logs(tmp_path, timesheet=head + rows)))
    sand = tables.practice_table(lessons).set_index("step").loc["sand"]
    then = sum(10 * n ** np.log2(0.8) for n in range(49, 97)) / sum(each)
    assert sand["left after twice as many"] == pytest.approx(0.8, abs=0.01) and sand["next time"] / sand[
        "minutes a piece"
    ] == pytest.approx(then, rel=0.01)
    fmt = format_of(whole.kit)
    said, silent = wording.practice_sentence(lessons, fmt), wording.practice_sentence(Lessons(project=whole), fmt)
    assert fmt.percent(then) in said and "in the timesheet minutes a piece fell from row to row at sand" in said
    assert silent.startswith("**Plan the next one with the same minutes a piece**: in the timesheet no step got clearly faster")
    assert "'" not in said + silent  # nobody's words are quoted


def test_the_same_order_again_begins_after_the_last_day(whole):
    """On what is known now it takes longer and costs more, as sanding does; the pot, the resin that is over and the moulds stay."""
    lessons = Lessons(project=whole)
    plan, quoted = lessons.again
    assert plan.order.start == date(2026, 3, 25) and plan.order.items == whole.order.items and plan.order.good == 0
    assert quoted.full_cost > whole.quoted.full_cost * 1.2 and quoted.hours.mean() > whole.planned.total_hours * 1.2
    kept = {what: worth for what, _, worth in tables.kept_table(lessons).itertuples(index=False)}
    assert kept["resin"] == pytest.approx(880 * 0.025) and 250 < kept["pressure-pot"] < 260 and kept["moulds"] > 0


# ------------------------------------------------------------------ commands


def test_an_order_that_is_over_has_its_page_and_its_numbers(folder, tmp_path):
    """The command says what it paid, and writes the page and project.json beside the plan; the page has the chart and every table."""
    code, said, _ = command("order", folder, "first", "--out", tmp_path / "out")
    assert code == 0 and "An hour of it would pay" in said and "project.html" in said
    page = (tmp_path / "out" / "project.html").read_text(encoding="utf-8")
    for other in (
        "The plan itself said",
        "By the logged hours alone an hour would seem to bring",
    ):  # a maker asks which of them counts
        assert other in page and other not in said.replace("\n", " ")
    content = json.loads((tmp_path / "out" / "project.json").read_text(encoding="utf-8"))
    assert {"planned", "actual", "bridge", "pay_per_hour", "hours"} <= set(content) and (
        tmp_path / "out" / "order.json"
    ).is_file()
    page = (tmp_path / "out" / "project.html").read_text(encoding="utf-8")
    names = (
        "project",
        "project-pay",
        "project-bridge",
        "project-cost",
        "project-lessons",
        "project-practice",
        "project-kept",
        "project-again",
    )
    assert {path.stem for path in (tmp_path / "out" / "tables").iterdir()} >= set(names)
    assert 'alt="From planned to actual pay an hour' in page and "Planned and actual" in page
    assert not re.search(r"(hour|it|first) paid", page)  # as none of it is sold yet


def test_finished_needs_an_order_of_the_study(folder):
    """An order made of options alone has no rows to look back on: refused with the remedy."""
    for words in (["--pieces", "4", "--by", "2099-05-01"], ["nobody"]):
        code, _, said = command("order", folder, *words, "--finished", "--answer-only")
        assert code == 2 and "NAME" in said and "Traceback" not in said


def test_learn_never_writes_over_anything(folder, tmp_path):
    """A folder that is there, one within the study, an unknown order, and one that teaches nothing are refused; nothing is left behind."""
    (tmp_path / "there").mkdir()
    bare = with_logs(tmp_path, **NOTHING)
    for study, order, target, said in [
        (folder, "first", tmp_path / "there", "is there already"),
        (folder, "first", folder / "inside", "is within the study itself"),
        (folder, "second", tmp_path / "new", "no order of the study file"),
        (bare, "first", tmp_path / "new", "nothing to learn from"),
        (folder, "first", tmp_path / "no" / "such" / "place", "cannot be made"),
    ]:
        before = hashes(study)
        code, _, errors = command("learn", study, order, "--to", target)
        assert code == 2 and said in errors and "Traceback" not in errors, errors
        assert hashes(study) == before
    assert {path.name for path in tmp_path.iterdir()} == {"there", "hooks"} and not any((tmp_path / "there").iterdir())
    code, said, _ = command("learn", folder, "first", "--to", tmp_path / "new")
    assert code == 0 and "minutes of sand" in said and (tmp_path / "new" / "study.toml").is_file()
    assert said.count("price of resin: 20.0 before") == 1 and "[EUR/kg]" in said  # in the unit of the page


def test_a_study_that_cannot_be_written_whole_is_not_written(folder, tmp_path, monkeypatch):
    """Where the changed file would not be read, nothing is at the target and nothing beside it."""
    from casting_econ.projects import learnt

    monkeypatch.setattr(learnt, "study_learnt", lambda text, rows, name: text + "\n[nonsense]\nx = 1\n")
    with pytest.raises(StudyError):
        write_learnt(Lessons(project=told(folder)), tmp_path / "new")
    assert not any(tmp_path.iterdir())
