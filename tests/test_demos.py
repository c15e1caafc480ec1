"""The three demo studies give the results their design was worked out by hand to give."""

from dataclasses import replace

import numpy as np
import pytest
from commands import DATA, copy_of, rates_copy, without_chance

from casting_econ.assumptions import draw_values, point_values, workshop_at
from casting_econ.kit import open_study
from casting_econ.models import evaluate, with_levers
from casting_econ.running.results import as_json, results

STUDIES = ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather")
ALL = (*STUDIES, "hollin-quay-pulls", "samphire-hooks")
# Hand arithmetic of the invented workshops, printed to the digits given: pay an hour, after set-aside, make minutes and
# material a good piece, casts a good piece, loads and made a year, sales, left for the maker
EXPECTED = {
    "kelpmoor-handles": (20.84, 15.00, 14.63, 1.54, 1.2066, 221, 2568, 36112, 22310),
    "gannet-lane-figures": (4.88, 3.61, 13.99, 0.39, 1.1901, 119, 3200, 11279, 5080),
    "ninepenny-lather": (16.94, 12.70, 4.29, 1.61, 1.1241, 77, 4924, 32875, 15954),
}
DIGITS = (2, 2, 2, 2, 4, 0, 0, 0, 0)


@pytest.fixture(scope="module", params=STUDIES)
def kit(request):
    """Each demo with its logs."""
    return open_study(DATA / request.param)


def stated(name):
    """Stated result of a demo, logs, months and rare events left aside: what was worked out by hand."""
    return plain(name).point(stated=True)


def plain(name):
    """A demo without its logs, months and rare events."""
    return open_study(rates_copy(name), with_records=False)


@pytest.mark.parametrize("name", STUDIES)
def test_stated_result_equals_hand_arithmetic(name):
    """Every printed digit of the hand-worked results comes out."""
    outcome = stated(name)
    totals, product = outcome.totals, next(iter(outcome.products.values()))
    found = (
        totals["pay_per_hour"],
        totals["pay_per_hour_after_set_aside"],
        product["minutes_per_good_piece"],
        product["material_per_good_piece"],
        product["casts_per_good_piece"],
        totals["loads_per_year"],
        totals["good_pieces_per_year"],
        totals["revenue_per_year"],
        totals["residual_pay_per_year"],
    )

    assert tuple(round(float(value), digits) for value, digits in zip(found, DIGITS, strict=True)) == EXPECTED[name]


def test_scrap_costs_what_was_spent_until_it_is_found():
    """2.24, 3.73 and 4.84: minutes so far at 16.00 an hour and all materials so far.

    At demould (1.8 + 0.5 + 24/14 + 100/490 + 0.7) min x 16/60 + 0.886 + 19.80/490 = 2.238; sanding adds 5.6 min, 3.731;
    the last check 2.6 min and the 0.42 insert, 4.845.
    """
    steps = {step.name: float(step.spent_when_found) for step in stated("kelpmoor-handles").products["knob"]["piece"].steps}

    assert [steps[name] for name in ("demould", "sand", "fit-and-check")] == pytest.approx([2.238, 3.731, 4.845], abs=5e-4)


def test_insert_lost_with_rejects_would_cost_three_cents_an_hour():
    """Material of 1.54 counts one insert a good piece, while 4.84 counts one in every reject: both hold only if it is got back.

    Lost with its reject, an insert costs 0.42 / 0.97: material 1.5378 + 0.0130 = 1.5508, and pay falls by 0.013 x 2568 / 1071.
    """
    kit = plain("kelpmoor-handles")
    point = point_values(kit.assumed) | {"products.knob.steps.fit-and-check.materials.insert.recovered": 0.0}
    lost = evaluate(workshop_at(kit.study, point))

    assert lost.products["knob"]["material_per_good_piece"] == pytest.approx(1.5378 + 0.42 / 0.97 - 0.42, abs=5e-5)
    assert lost.totals["pay_per_hour"] == pytest.approx(20.836 - 0.01299 * 2568.4 / 1070.7, abs=1e-3)


def test_second_study_needs_prices_twice_as_high():
    """Prices would have to rise by a factor of 2.02, and no quantity reaches the target."""
    outcome = stated("gannet-lane-figures")
    figure = outcome.products["figure"]

    assert round(float(figure["break_even_price"] / figure["mean_price_per_piece"]), 2) == 2.02
    assert np.isinf(outcome.totals["pay_break_even_share_of_demand"])


def test_zero_scrap_adds_little():
    """Without any scrap the first study would bring 1.8 more an hour, the second 0.3."""
    for name, more in (("kelpmoor-handles", 1.8), ("gannet-lane-figures", 0.3)):
        kit = plain(name)
        without = evaluate(with_levers(kit.inputs(), scrap=0.0)).totals["pay_per_hour"]

        assert round(float(without - kit.point().totals["pay_per_hour"]), 1) == more


def test_break_even_share_of_demand():
    """Pay break-even at 61 % of expected demand in the first study and 100 % in the third."""
    shares = [float(stated(name).totals["pay_break_even_share_of_demand"]) for name in ("kelpmoor-handles", "ninepenny-lather")]

    assert [round(100 * share) for share in shares] == [61, 100]


@pytest.mark.parametrize(
    ("name", "low", "high", "chance"),
    [("kelpmoor-handles", 17.7, 23.9, 0.98), ("gannet-lane-figures", 4.0, 5.8, 0.0), ("ninepenny-lather", 13.8, 20.3, 0.47)],
)
def test_stated_band_with_room_to_spare(name, low, high, chance):
    """The hand-worked bands took demand as always met: with room for it, they come out within 0.2 and 0.02.

    They came from 8,000 plain random draws, whose 10 % and 90 % points have a standard error of about 0.05 here, and are
    rounded to 0.1: three standard errors and half a rounding step. Chances: three times sqrt(0.25 / 8000) and rounding. Of our
    scrambled points 2,048 keep within them.
    """
    kit = plain(name)
    roomy = workshop_at(kit.study, draw_values(kit.assumed, 2048, 20))
    roomy = replace(
        roomy,
        hours_per_week=100.0,
        stations=tuple(replace(s, count=9) for s in roomy.stations),
        racks=tuple(replace(r, places=1e6) for r in roomy.racks),
        products=tuple(replace(p, mould=replace(p.mould, sets=9)) for p in roomy.products),
    )
    pay = evaluate(roomy).totals["pay_per_hour"]

    assert np.quantile(pay, [0.1, 0.9]) == pytest.approx([low, high], abs=0.2)
    assert np.mean(pay >= kit.inputs().target_per_hour) == pytest.approx(chance, abs=0.02)


@pytest.mark.parametrize("name", ALL)
def test_every_demo_comes_month_by_month(name):
    """Orders one by one, weeks off, a channel that says whether buyers wait, and one or two rare events of which illness is one."""
    file = open_study(DATA / name).study.file

    assert file.study.variation == "months" and file.time.weeks_off and 1 <= len(file.risks) <= 2 and "illness" in file.risks
    assert any(channel.waits is not None for channel in file.channels.values())


@pytest.mark.parametrize("name", ALL)
def test_point_moves_by_what_months_have_alone(name, tmp_path):
    """Without weeks off, rare events and waits, a demo's point month by month is that of its year in one piece: no month is short of room.

    The mean cost of the rare events, by hand from the file, is what they take of the year where buyers wait and no month is full.
    """
    text = (DATA / name / "study.toml").read_text(encoding="utf-8")
    folder = copy_of(name, tmp_path)
    (folder / "study.toml").write_text(
        without_chance(text).replace("[study]\n", '[study]\nvariation = "months"\n'), encoding="utf-8"
    )
    months, once = open_study(folder).point().totals, open_study(rates_copy(name)).point().totals

    for quantity in ("pay_per_hour", "residual_pay_per_year", "pieces_sold_per_year", "hours_per_year"):
        assert months[quantity] == pytest.approx(once[quantity], rel=1e-9)
    if name == "samphire-hooks":  # 0.1 x 85 for the compressor
        found = open_study(DATA / name).point().totals["residual_pay_per_year"]
        assert found == pytest.approx(once["residual_pay_per_year"] - 8.5, abs=1e-6)


def test_a_first_order_does_not_come_every_year():
    """One order a year on average: e^-1 = 36.8 % of years have none, 26.4 % two or more; then only what stands is paid."""
    kit = open_study(DATA / "samphire-hooks", as_of="2026-01-05")
    answer = kit.monte_carlo()
    came = answer.draws["orders/direct"]
    three = 3 * np.sqrt(0.24 / len(came)) + 0.01  # three standard errors, and the 10 % by which demand is unsure

    assert np.mean(came == 0) == pytest.approx(np.exp(-1), abs=three) and np.mean(came >= 2) == pytest.approx(0.2642, abs=three)
    assert (answer.draws["residual_pay_per_year"][came == 0] < 0).all()


def test_results_are_the_same_bytes_for_any_chunk_and_workers(kit):
    """One seed, one answer: chunk size and workers leave no trace in results.json."""
    expected = as_json(results(kit, kit.monte_carlo(2048)))

    for chunk, workers in ((250, 1), (194, 2), (2048, 2)):
        assert as_json(results(kit, kit.monte_carlo(2048, chunk=chunk, workers=workers))) == expected


def test_every_from_records_number_is_measured(kit):
    """The demo logs have something to say about every number that asks them, but not about numbers that do not."""
    asked = {key for key, number in kit.study.numbers.items() if number.from_records}

    assert set(kit.assumed.evidence) == asked


def test_totals_equal_the_sum_of_parts(kit):
    """What is left is sales less every kind of cost, and hours are the sum of their kinds."""
    totals = kit.point().totals
    costs = ("fees", "postage", "packaging", "refunds", "stall_fees", "material", "ruined_loss", "overhead", "equipment")
    hours = ("make", "order", "stall", "fixed", "ruined")
    left = totals["revenue_per_year"] - sum(totals[f"{kind}_per_year"] for kind in costs)

    assert totals["residual_pay_per_year"] == pytest.approx(left, rel=1e-12)
    assert totals["hours_per_year"] == pytest.approx(sum(totals[f"{kind}_hours_per_year"] for kind in hours), rel=1e-12)
