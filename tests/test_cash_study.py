"""The cash table of a study file, the demos' money month by month, and hands that learn."""

from dataclasses import replace

import numpy as np
import pytest
from cash_studies import DRAWS, SOAP, changed, knobs, knobs_cash

from casting_econ.evidence import season_weights
from casting_econ.faults import StudyError
from casting_econ.kit import open_study
from casting_econ.models import evaluate
from casting_econ.models.cash import npv, rate_per_month
from casting_econ.pages.cash import (
    assumed_sentence,
    lines_table,
    outlay_table,
    path_table,
)
from casting_econ.pages.cash_paths import NO_PAY, STATED_PAY, TARGET_PAY, cash_draws, practice_of
from casting_econ.study import read_study
from casting_econ.study.schema import CashTable

FULL = """
reserve = "4000 EUR"
outlay = { pot = "1780 EUR", "first stock" = "1080 EUR" }
months = 36
ramp_months = 4.5
season = [0.6, 0.6, 0.8, 0.9, 1, 1, 1, 1, 1.1, 1.2, 1.4, 1.4]
start_month = "march"
payment_delay = { wholesale = 1, joiner = 2 }
pay_taken = "900 EUR/month"
material_lead = 2
"""


def test_cash_table_is_read_as_written(tmp_path):
    """Every key arrives as plain figures; without the table there are its defaults."""
    full, bare = (read_study(changed(tmp_path, text)).file.cash for text in (FULL, ""))

    assert full.outlay == {"pot": 1780.0, "first stock": 1080.0} and full.payment_delay == {"wholesale": 1, "joiner": 2}
    assert (full.reserve, full.months, full.ramp_months, full.start_month) == (4000.0, 36, 4.5, "march")
    assert (full.pay_taken, full.material_lead, full.season[0], len(full.season)) == (900.0, 2, 0.6, 12)
    assert bare == CashTable() and (bare.months, bare.season, bare.outlay, bare.reserve) == (24, None, None, 0.0)


def test_cash_table_moves_no_number_of_the_year(tmp_path):
    """Decided figures: numbers and point result are the same with and without them, to the last bit."""
    with_, without = (open_study(changed(tmp_path, text)) for text in (FULL, ""))

    assert with_.study.numbers == without.study.numbers
    assert with_.point().totals == without.point().totals
    one, other = (kit.monte_carlo(DRAWS).draws for kit in (with_, without))
    assert [key for key in one if not np.array_equal(one[key], other[key])] == []


FAULTS = [
    ('reserve = "-1 EUR"', "cash.reserve", "outside the limits", "at least 0"),
    ("reserve = 500", "cash.reserve", "no unit where one is needed, such as EUR"),
    ('reserve = { low = "1 EUR", likely = "2 EUR", high = "3 EUR" }', "cash.reserve", "where one figure is needed"),
    ("outlay = 900", "cash.outlay", "a [table] of keys with values"),
    ('outlay = { pot = "900 GBP" }', "cash.outlay.pot", "money in GBP while the study counts in EUR"),
    ("months = 11", "cash.months", "outside the limits", "at least 12 and at most 60"),
    ("months = 24.5", "cash.months", "outside the limits", "a whole number"),
    ("ramp_months = 61", "cash.ramp_months", "outside the limits", "at most 60"),
    ('season = "record"', "cash.season", "not a list of weights", 'or "records"'),
    ("season = [1, 1, 1]", "cash.season", "3 weights for the 12 months"),
    ("season = [1, 1, 1, 1, -1, 1, 1, 1, 1, 1, 1, 1]", "cash.season", "a weight of may", "0 or more"),
    ('season = [1, 1, 1, 1, 1, "much", 1, 1, 1, 1, 1, 1]', "cash.season", "a weight of june"),
    ("season = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]", "cash.season", "no weight above 0"),
    ('start_month = "mars"', "cash.start_month", "did you mean 'march'?"),
    ("payment_delay = { wholsale = 1 }", "cash.payment_delay.wholsale", "unknown channel", "did you mean 'wholesale'?"),
    ("payment_delay = { wholesale = 0.5 }", "cash.payment_delay.wholesale", "outside the limits", "a whole number"),
    ('pay_taken = "900 EUR"', "cash.pay_taken", "EUR/month"),
    ("material_lead = 13", "cash.material_lead", "outside the limits", "at most 12"),
    ('reserv = "1 EUR"', "cash.reserv", "unknown key", "did you mean 'reserve'?"),
]


@pytest.mark.parametrize(("line", "column", "texts"), [(line, column, texts) for line, column, *texts in FAULTS])
def test_faults_of_the_cash_table(tmp_path, line, column, texts):
    """Each key that cannot be used is told once, with its line, what was found and what would be right."""
    folder = changed(tmp_path, line)
    row = (folder / "study.toml").read_text(encoding="utf-8").splitlines().index(line) + 1

    with pytest.raises(StudyError) as caught:
        read_study(folder)

    [fault] = caught.value.faults
    assert (fault.column, fault.row) == (column, row)
    assert [text for text in texts if text not in str(fault)] == [] and "right would be" in str(fault)


def test_season_is_scaled_to_a_year(tmp_path):
    """Weights tell months against each other: 12 of them in all, in their order; none stated is level."""
    twice = season_weights(open_study(changed(tmp_path, f"season = {[2] * 11 + [4]}")).study)

    assert twice.sum() == pytest.approx(12.0) and twice[11] == pytest.approx(2 * twice[0])
    assert season_weights(open_study(changed(tmp_path)).study).tolist() == [1.0] * 12


def sales_log(months):
    """Two orders in the middle of each month of 2025, ten in December."""
    lines = ["date,channel,product,pieces,price"]
    for month in range(1, months + 1):
        lines += [f"2025-{month:02d}-{day},online,knob,6,96" for day in range(10, 20 if month == 12 else 12)]
    return "\n".join(lines) + "\n"


def test_season_from_records(tmp_path):
    """A year of sales gives the weights: December, with five times the orders, weighs most, and they add up to 12."""
    weights = season_weights(open_study(changed(tmp_path, 'season = "records"', sales=sales_log(12))).study)

    assert weights.argmax() == 11 and weights.sum() == pytest.approx(12.0) and weights[11] > 3 * weights[5]


def test_season_from_records_needs_sales(tmp_path):
    """Without a sales log no season can be told: a fault with place, finding and remedy."""
    kit = open_study(changed(tmp_path, 'season = "records"'))

    with pytest.raises(StudyError, match=r"cash\.season") as caught:
        cash_draws(kit, DRAWS)

    assert "no sales log" in str(caught.value) and "twelve weights from January" in str(caught.value)


def test_season_of_a_short_log_is_said(tmp_path):
    """Seven months of sales give a season drawn towards level months, and the page of cash says how many are known."""
    kit = open_study(changed(tmp_path, 'season = "records"', sales=sales_log(7)))

    assert season_weights(kit.study).sum() == pytest.approx(12.0)
    assert "only 7 of twelve months are known" in assumed_sentence(kit, cash_draws(kit, DRAWS))


def test_draws_are_those_of_the_year():
    """After twelve level months free money is residual pay less its set-aside, plus wear, which is no payment, less the outlay.

    Draw by draw, with the outlay told by the start: so the paths rest on the same draws as the year. The first set of moulds, worn out
    by then, is in the outlay and not paid again.
    """
    year = knobs().monte_carlo(DRAWS).draws
    path = knobs_cash().cases[NO_PAY].free
    wear = knobs().point().totals["equipment_per_year"]
    left = year["residual_pay_per_year"] - 0.28 * np.maximum(year["residual_pay_per_year"], 0.0)

    first_moulds = -path[:, 0] - 1780.0
    assert first_moulds == pytest.approx(19.8, rel=0.3) and np.ptp(first_moulds) > 0
    assert path[:, 12] - path[:, 0] == pytest.approx(left + wear + first_moulds, rel=1e-10)
    target = knobs_cash().cases[TARGET_PAY].free
    pay = 0.72 * 16.0 * year["hours_per_year"]
    assert path[:, 12] - target[:, 12] == pytest.approx(pay, rel=1e-9)


def test_every_cost_of_the_year_is_paid(tmp_path):
    """Stalls, ruined loads and interest too: twelve level months leave residual pay less its set-aside, plus the charge for wear.

    Worth by hand: each month's gain, and a third of the 900 of equipment after four of its six years, over 1.06 to the power of its part of a year. The
    first liner, 95 for 150 makings, is in the outlay: its wear of the first year is not paid, and after four years it is gone.
    """
    folder = changed(
        tmp_path, "months = 48", demo=SOAP, edits=[("[products.bar]", '[products.bar]\nruined_loads = "4 load/year"')]
    )
    text = (folder / "study.toml").read_text(encoding="utf-8")
    (folder / "study.toml").write_text('interest = "6 %/year"\n' + text, encoding="utf-8")
    kit = open_study(folder)
    case, year = cash_draws(kit, DRAWS).cases[NO_PAY], kit.point().totals
    gains = np.diff(case.path.free, prepend=0.0)
    draws = np.diff(case.free, prepend=0.0, axis=1)

    assert min(year[f"{kind}_per_year"] for kind in ("stall_fees", "ruined_loss")) > 0
    liner = 95 * year["loads_per_year"] / 150
    assert 32 < liner < 95
    assert gains[1:13].sum() == pytest.approx(
        0.75 * year["residual_pay_per_year"] + year["equipment_per_year"] + liner, rel=1e-10
    )
    assert case.left == pytest.approx(300.0)
    assert case.worth == pytest.approx((draws / 1.06 ** (np.arange(49) / 12)).sum(axis=1) + 300 / 1.06**4, rel=1e-10)


def test_pay_at_the_target_is_of_hours_that_are_worked(tmp_path):
    """While demand grows over four months, making and orders take 1/8, 3/8, 5/8 and 7/8 of a full month's hours, weekly work all of its own."""
    kit = open_study(changed(tmp_path, "ramp_months = 4"), with_records=False)
    year, pay = kit.point().totals, cash_draws(kit, DRAWS).cases[TARGET_PAY].path.pay
    busy = year["hours_per_year"] - year["fixed_hours_per_year"]
    worked = [(busy * part / 8 + year["fixed_hours_per_year"]) / 12 for part in (1, 3, 5, 7, 8)]
    assert pay[1:6] == pytest.approx([0.72 * 16.0 * hours for hours in worked], rel=1e-9)


def test_reserve_lifts_every_month_and_no_payback(tmp_path):
    """3,000 at the start are there in each month, and make nothing back sooner."""
    rich = cash_draws(open_study(changed(tmp_path, 'reserve = "3000 EUR"'), with_records=False), DRAWS)

    for name, case in rich.cases.items():
        assert case.free - knobs_cash().cases[name].free == pytest.approx(3000.0)
        assert case.back == pytest.approx(knobs_cash().cases[name].back, rel=1e-9) and rich.reserve == 3000.0


def test_stalls_follow_the_season(tmp_path):
    """No sales in the first half year: then only a twelfth of 2,700 overhead goes out, and no stall fee (notes G3)."""
    kit = open_study(changed(tmp_path, f"season = {[0] * 6 + [2] * 6}", demo=SOAP), with_records=False)

    assert cash_draws(kit, DRAWS).cases[NO_PAY].path.paid[1:7] == pytest.approx(np.full(6, 2700 / 12))


def test_result_depends_neither_on_chunks_nor_on_workers():
    """Same bits however the draws are cut."""
    other = cash_draws(knobs(), DRAWS, chunk=333, workers=2)

    for name, case in knobs_cash().cases.items():
        for key in ("free", "back", "back_untaxed", "dips", "worth"):
            assert np.array_equal(getattr(case, key), getattr(other.cases[name], key))


def test_start_up_money_of_the_first_demo(tmp_path):
    """Notes G1: 2,860 over the 5,178 a year above target pay is 6.63 months, 'about 7'.

    The notes charge 297 a year of equipment beside the outlay that buys it. That charge is no payment, so the path has
    2,860 / (5,178 + 297) x 12 = 6.27 months: in the seventh month too. With 28 % of the surplus set aside, less what the
    charge saves: 2,860 / (0.72 x 5,178 + 297) x 12 = 8.53. Of either the 19.80 of the first moulds, in the 2,860 and so not paid again, is taken.
    """
    kit = open_study(changed(tmp_path, 'outlay = { "start-up" = "2860 EUR" }'), with_records=False)
    case = cash_draws(kit, DRAWS).cases[TARGET_PAY]
    year = kit.point().totals
    surplus, wear = year["residual_pay_per_year"] - 16.0 * year["hours_per_year"], year["equipment_per_year"]

    assert surplus == pytest.approx(5_178, abs=1) and 2860 / surplus * 12 == pytest.approx(6.63, abs=0.005)
    assert case.point_back_untaxed == pytest.approx((2860 - 19.8) / (5_178 + 1780 / 6) * 12, abs=0.01)
    assert np.ceil(case.point_back_untaxed) == 7
    assert case.point_back == pytest.approx((2860 - 19.8) / (0.72 * 5_178 + 1780 / 6) * 12, abs=0.01)
    assert wear == pytest.approx(1780 / 6)


def test_default_outlay_is_equipment_and_a_set_of_moulds():
    """1,780 of equipment and 660 g of silicone at 30.00 a kilogram: 19.80."""
    assert knobs_cash().outlay == pytest.approx({"pot-compressor-and-tools": 1780.0, "moulds for knob": 19.8})
    assert outlay_table(knobs_cash()).money.sum() == pytest.approx(1799.8)


def test_worn_equipment_is_bought_again(tmp_path):
    """A life of 10 months within 24: bought anew after 10 and 20, for 1,780 less the 280 it still brings; not on the last day."""
    life = 'life = "6 year"'
    short, exact = (
        cash_draws(
            open_study(changed(tmp_path, edits=[(life, f'resale = "280 EUR"\nlife = "{months} month"')]), with_records=False),
            DRAWS,
        )
        for months in (10, 12)
    )

    assert short.cases[NO_PAY].path.outlays == pytest.approx(
        np.array([1799.8] + [1500.0 * (m in (10, 20)) for m in range(1, 25)])
    )
    assert np.flatnonzero(exact.cases[NO_PAY].path.outlays).tolist() == [0, 12]


def test_ramp_delay_season_and_lead_reach_the_path(tmp_path):
    """Each makes the money scarcer at some time, and names itself in the sentence of what is assumed."""
    level = cash_draws(open_study(changed(tmp_path), with_records=False), DRAWS)
    for text, said in (
        ("ramp_months = 6", "grows evenly to its full size over 6.0 months"),
        ("payment_delay = { wholesale = 2 }", "buyers pay late: wholesale after 2 months"),
        ("material_lead = 1", "material is bought 1 month ahead"),
        (f"season = {[0.5] * 6 + [1.5] * 6}", "the season stated"),
    ):
        kit = open_study(changed(tmp_path, text), with_records=False)
        cash = cash_draws(kit, DRAWS)

        assert cash.cases[NO_PAY].path.balance[1] < level.cases[NO_PAY].path.balance[1], text
        assert said in assumed_sentence(kit, cash), text


def test_paths_are_no_rarer_with_a_longer_horizon(tmp_path):
    """Money back within 24 months is back within 48; free money of the months that both have is the same."""
    short, long = (
        cash_draws(open_study(changed(tmp_path, f"months = {n}"), with_records=False), DRAWS).cases[TARGET_PAY] for n in (24, 48)
    )

    assert np.array_equal(short.free, long.free[:, :25])
    assert (long.back <= short.back).all() and np.isfinite(long.back).mean() >= np.isfinite(short.back).mean()


def test_stated_pay_is_a_case_of_its_own(tmp_path):
    """900 a month taken beside no pay and the target."""
    cash = cash_draws(open_study(changed(tmp_path, 'pay_taken = "900 EUR/month"'), with_records=False), DRAWS)

    assert list(cash.cases) == [NO_PAY, TARGET_PAY, STATED_PAY]
    assert cash.cases[NO_PAY].free[:, 10] - cash.cases[STATED_PAY].free[:, 10] == pytest.approx(9_000.0)


def test_rate_of_return_balances_the_path():
    """At the rate found the flows of the point are worth nothing, four of the equipment's six years still counted as money at the end.

    1,780 x 4 / 6 by hand; the first moulds are worn out. At no interest the worth is what is free then, and that.
    """
    case = knobs_cash().cases[TARGET_PAY]
    flows, [rate] = np.diff(case.path.free, prepend=0.0), case.rates
    flows[-1] += 1780 * 4 / 6

    assert case.left == pytest.approx(1780 * 4 / 6)
    assert npv(rate_per_month(rate), flows) == pytest.approx(0.0, abs=1e-6)
    assert knobs_cash().interest == 0.0 and case.worth == pytest.approx(case.free[:, -1] + case.left)


def test_what_is_left_of_the_outlays(tmp_path):
    """Equipment of 1,780 with 280 of resale and a life of 12 months is worth the 280 at the end of two lives, new only where just bought.

    After 10 and 20 months anew within 24: 4 of 10 months used, 1,780 - 1,500 x 0.4 = 1,180, by hand. A mould that lasts ten thousand casts
    a cavity, about 443 of them cast in two years (2 x 3,099 / 14), still has 19.80 x (1 - 0.0443).
    """
    life, mould = (
        'life = "6 year"',
        'life = { value = 35, from = "records", worth = "4 moulds", note = "casts a cavity until worn out" }',
    )
    kits = (
        open_study(changed(tmp_path, edits=[(life, f'resale = "280 EUR"\nlife = "{months} month"')]), with_records=False)
        for months in (12, 10)
    )
    lasting = open_study(changed(tmp_path, edits=[(mould, "life = 10000")]), with_records=False)

    assert [cash_draws(kit, DRAWS).cases[NO_PAY].left for kit in kits] == pytest.approx([280.0, 1180.0])
    worn = 2 * lasting.point().totals["casts_per_year"] / 14 / 10_000
    assert worn == pytest.approx(0.0443, abs=1e-4)
    assert cash_draws(lasting, DRAWS).cases[NO_PAY].left == pytest.approx(1780 * 4 / 6 + 19.8 * (1 - worn))


def test_only_what_the_outlay_paid_is_left(tmp_path):
    """A stated outlay of 450, a quarter of 1,780 and a first set of moulds at 19.80 (own arithmetic: 449.95), leaves a quarter of 1,780 x 4 / 6;
    none leaves nothing, one beyond it all, and what the path buys anew after 20 months is left whole, as 16 of 20 months."""
    quarter, none, more = ("pot = '449.95 EUR'", "", "pot = '9000 EUR'")
    kits = [open_study(changed(tmp_path, f"outlay = {{ {text} }}"), with_records=False) for text in (quarter, none, more)]
    assert [cash_draws(kit, DRAWS).cases[NO_PAY].left for kit in kits] == pytest.approx([1780 / 6, 0.0, 1780 * 4 / 6])
    edits = [('life = "6 year"', 'life = "20 month"')]
    anew = open_study(changed(tmp_path, "outlay = {}", edits=edits), with_records=False)
    assert cash_draws(anew, DRAWS).cases[NO_PAY].left == pytest.approx(1780 * 16 / 20)


def test_tables_say_the_same_as_the_paths():
    """Rows are months, the lines add up to the balance, bands are in order."""
    lines, path = lines_table(knobs_cash()), path_table(knobs_cash(), TARGET_PAY)

    told = lines[["received", "paid", "outlay", "pay taken", "tax paid"]].sum(axis=1).cumsum()

    assert lines.balance.to_numpy() == pytest.approx(told.to_numpy())
    assert path.calendar.tolist()[:3] == ["at the start", "January", "February"] and len(path) == 25
    assert (path["1 in 10 below"] <= path["half below"]).all() and (path["half below"] <= path["1 in 10 above"]).all()
    assert list(knobs_cash().cases) == [NO_PAY, TARGET_PAY]
    # 17,132 a year at the target (notes G1: 1,071 h x 16.00), of which 28 % is set aside
    assert knobs_cash().cases[TARGET_PAY].pay == pytest.approx(0.72 * 17_132 / 12, abs=1)


LEARNS = 'minutes = "3 min"\nfirst_minutes = "12 min"\nlearning_rate = "85 %"'


@pytest.fixture
def learning(tmp_path):
    """The first demo with sanding that is learnt, and more buyers than hands can serve."""

    def make(hours="34 h/week", cash=""):
        sand = '[products.knob.steps.sand]\nminutes = { value = "3.4 min", from = "records", worth = "30 pieces" }'
        edits = [(sand, f"[products.knob.steps.sand]\n{LEARNS}"), ('hours = "34 h/week"', f'hours = "{hours}"')]
        return open_study(changed(tmp_path, cash, edits=edits), with_records=False)

    return make


def test_hands_that_learn_sell_less_at_first_and_more_later(learning):
    """Month by month against a walk by hand: pieces of a month from spare hours over minutes at that number of pieces.

    Hands limit at 16 h a week; sales of the month are spare hours / (hours a piece at its practice).
    """
    kit = learning("16 h/week")
    a, outcome = kit.inputs(), kit.point()
    assert float(outcome.totals["revenue_per_year"]) < 0.9 * float(
        evaluate(replace(a, hours_per_week=60.0)).totals["revenue_per_year"]
    )
    practice = practice_of(kit, a, outcome)
    case = cash_draws(kit, DRAWS).cases[NO_PAY]

    sand = next(s for s in a.products[0].steps if s.name == "sand")
    entering = float(np.prod([s.pass_share for s in a.products[0].steps[: list(a.products[0].steps).index(sand)]]))
    done, casts = 0.0, float(outcome.products["knob"]["casts_per_year"]) / 12
    for month in range(6):
        number = np.arange(1, 20_000)
        curve = np.maximum(3.0, 12.0 * number ** np.log2(0.85))
        total = np.concatenate([[0.0], np.cumsum(curve)])
        first, last = done * entering, (done + casts) * entering
        minutes = (np.interp(last, np.arange(total.size), total) - np.interp(first, np.arange(total.size), total)) / (
            last - first
        )
        steps = tuple(replace(s, minutes=minutes, first_minutes=None) if s is sand else s for s in a.products[0].steps)
        year = evaluate(replace(a, products=(replace(a.products[0], steps=steps),)))
        assert practice[month] == pytest.approx(
            float(year.totals["revenue_per_year"] / outcome.totals["revenue_per_year"]), rel=2e-3
        ), month
        casts = float(year.products["knob"]["casts_per_year"]) / 12
        done += casts
    assert practice[0] < 0.95 < 1.0 < practice[12] and np.all(np.diff(practice) >= -1e-9)
    assert case.path.received[1:] == pytest.approx(case.path.received[1] * practice / practice[0], rel=1e-9)
    assert "while the hands learn, sales are" in assumed_sentence(kit, cash_draws(kit, DRAWS))


def test_learning_moves_no_sales_where_buyers_are_what_limits(learning):
    """With hours to spare every month sells what is wanted; so does a study in which nothing is learnt."""
    kit = learning("60 h/week")
    assert practice_of(kit, kit.inputs(), kit.point()) == pytest.approx(np.ones(24), rel=1e-12)
    assert "learn" not in assumed_sentence(kit, cash_draws(kit, DRAWS))
