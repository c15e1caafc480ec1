"""What the logs say of pieces, minutes and moulds, each number from a small study."""

import re

import numpy as np
import pytest
from commands import DATA
from scipy import stats
from tile_maker import BATCHES, STEPS, TILE

from casting_econ.assumptions import assume, draw_values
from casting_econ.evidence import (
    could_update,
    load_counts,
    load_share_posterior,
    mould_life_posterior,
    rows_posterior,
    share_posterior,
    update,
)
from casting_econ.evidence.months import counts_posterior, sizes_posterior
from casting_econ.evidence.posteriors import mean_posterior, rate_posterior
from casting_econ.faults import StudyError
from casting_econ.kit import open_study
from casting_econ.study import read_study
from casting_econ.study.records import steps_of

STUDIES = ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather")
FAULTS = """
date,batch,step,cause,pieces,fate
2025-01-08,B1,trim,air,1,scrap
2025-01-08,B1,glaze,pinhole,1,second
2025-01-08,B2,glaze,pinhole,3,rework
"""


def test_load_counts_by_hand(tile):
    """Of 5 lost, 1 is scrap at trim and 1 a second at glaze; 3 unexplained go to trim, the first check; rework is no loss."""
    table = load_counts(tile(batches=BATCHES, faults=FAULTS), "tile").totals

    assert table.lost.to_dict() == {"cast": 0.0, "trim": 4.0, "glaze": 1.0}
    assert table.entering.to_dict() == {"cast": 20.0, "trim": 20.0, "glaze": 16.0}


def test_load_counts_without_faults(tile):
    """With batches alone every loss is booked to the first check."""
    table = load_counts(tile(batches=BATCHES), "tile").totals

    assert table.lost.to_dict() == {"cast": 0.0, "trim": 5.0, "glaze": 0.0}


def test_rejects_move_a_stated_share_of_all(tile):
    """Checks that none fails at, by the maker: 6 rejects of 36 go to the first, whose share falls to about 50 of 56, guess and log together.

    Own arithmetic; a little wider, as pieces of a load are alike. Without `from = "records"` it stays all, and is named as contradicted.
    """
    one = "batch,date,product,casts,good\nB1,2025-01-06,tile,12,10\nB2,2025-01-07,tile,12,11\nB3,2025-01-08,tile,12,9"
    every = re.sub(r"pass_share = .*", 'pass_share = { value = "100 %", from = "records", worth = "20 pieces" }', TILE)
    study = tile(every, batches=one)
    assert load_counts(study, "tile").totals.lost.to_dict() == {"cast": 0.0, "trim": 6.0, "glaze": 0.0}
    found = update(study)
    trim, glaze = found[f"{STEPS}.trim.pass_share"], found[f"{STEPS}.glaze.pass_share"]
    assert trim.posterior.middle == pytest.approx(50 / 56, abs=0.02) and "the stated 100 % counts for 20 pieces" in trim.data
    assert 0.99 < glaze.posterior.middle < 1.0  # 30 of 30 more, and still no certainty

    stays = tile(re.sub(r"pass_share = .*", 'pass_share = "100 %"', TILE), batches=one)
    assert f"{STEPS}.trim.pass_share" not in update(stays) and f"{STEPS}.trim.pass_share" in could_update(stays)


def test_load_counts_without_batches(tile):
    """Faults alone do not say how many pieces passed, so there is no table and the guess stays."""
    study = tile(faults="date,product,step,cause,pieces,fate\n2025-01-08,tile,trim,air,1,scrap")

    assert load_counts(study, "tile") is None
    assert update(study) == {}


def test_pass_share_by_hand(tile):
    """9 of 10 guessed, 16 of 20 seen to pass the trim and 15 of 16 the glaze; loads that share their luck tell a little less."""
    found = update(tile(batches=BATCHES, faults=FAULTS))

    assert found[f"{STEPS}.trim.pass_share"].observed == pytest.approx(16 / 20)
    assert found[f"{STEPS}.trim.pass_share"].posterior.middle == pytest.approx(25 / 30, abs=0.002)
    assert found[f"{STEPS}.glaze.pass_share"].observed == pytest.approx(15 / 16)
    assert 15 / 16 < found[f"{STEPS}.glaze.pass_share"].posterior.middle < 0.95
    assert found[f"{STEPS}.glaze.pass_share"].seen


@pytest.mark.parametrize(
    ("hits", "sizes", "pooled"),
    [([6, 8], [10, 10], 0), ([3], [4], 0), ([14, 9, 13, 0], [14, 14, 14, 14], 0), ([24, 9], [40, 30], 5), ([30], [40], 2)],
)
def test_load_share_posterior_equals_a_sum_over_both_numbers(hits, sizes, pooled):
    """Mean and 80 % band equal a plain sum over 4,000 shares and 400 correlations of scipy's beta-binomial.

    A row of T pieces that stands for loads of n is one load with (n - 1) / (T - 1) of the correlation.
    """
    y, rho = (np.arange(4000) + 0.5)[:, None] / 4000, ((np.arange(400) + 0.5) / 400)[None, :] ** 2
    weight = stats.beta.pdf(y, 9, 1) * stats.beta.pdf(rho, 1, 19) * 2 * np.sqrt(rho)
    for k, n in zip(hits, sizes, strict=True):
        within = rho * (pooled - 1) / (n - 1) if pooled else rho
        weight = weight * stats.betabinom.pmf(k, n, y * (1 - within) / within, (1 - y) * (1 - within) / within)
    share, alike = load_share_posterior(0.9, 10, hits, sizes, pooled)
    over_y, over_rho = weight.sum(axis=1) / weight.sum(), weight.sum(axis=0) / weight.sum()

    assert share.middle == pytest.approx(float(over_y @ y[:, 0]), abs=2e-4)
    assert alike.middle == pytest.approx(float(over_rho @ rho[0]), abs=1e-3)
    assert np.interp(share.quantile(np.array([0.1, 0.9])), y[:, 0], np.cumsum(over_y)) == pytest.approx([0.1, 0.9], abs=2e-3)


def test_loose_faults_are_pooled_and_widen(tile):
    """Without batch numbers only sums are known: the middle hardly moves, and the band is no narrower."""
    loose = FAULTS.replace("B1,", ",").replace("B2,", ",")
    by_load, pooled = (update(tile(batches=BATCHES, faults=text))[f"{STEPS}.trim.pass_share"] for text in (FAULTS, loose))

    assert pooled.observed == by_load.observed
    widths = [float(np.diff(one.posterior.quantile(np.array([0.1, 0.9])))[0]) for one in (by_load, pooled)]
    assert widths[1] > 0.95 * widths[0]
    assert pooled.posterior.middle == pytest.approx(by_load.posterior.middle, abs=0.01)


def test_ruined_load_counts_apart_when_asked(tile):
    """A load with no good piece among ten that passed is a ruined load a year, not a pass share, where the study asks for it."""
    rows = "\n".join(f"B{i},2025-01-{6 + i:02d},tile,M1,10,9" for i in range(12)) + "\nB99,2025-01-25,tile,M1,10,0"
    batches = f"batch,date,product,moulds,casts,good\n{rows}"
    asked = TILE.replace(
        "casts_per_load = 10",
        'casts_per_load = 10\nruined_loads = { value = "2 load/year", from = "records", worth = "12 months" }',
    )
    plain, apart = (update(tile(text, batches=batches)) for text in (TILE, asked))

    assert plain[f"{STEPS}.trim.pass_share"].observed == pytest.approx(108 / 130)
    assert apart[f"{STEPS}.trim.pass_share"].observed == pytest.approx(0.9)
    assert "1 ruined loads apart" in apart[f"{STEPS}.trim.pass_share"].data
    # one in 20 days, beside 2 in a year guessed: 3 in 1 + 20 / 365.2425 years
    assert apart["products.tile.ruined_loads"].posterior.middle == pytest.approx(3 / (1 + 20 / 365.2425))


def test_faults_without_batch_belong_to_the_only_product(tile):
    """Where there is one product, a fault that names neither it nor a batch is one of its own."""
    faults = "date,step,cause,pieces,fate\n2025-01-08,glaze,pinhole,5,scrap"

    assert load_counts(tile(batches=BATCHES, faults=faults), "tile").totals.lost.glaze == 5


@pytest.mark.parametrize(
    ("step", "row", "key", "observed"),
    [
        ("trim", "30,tile,10", "trim.minutes", 3.0),  # no load minutes: all of it is by the piece
        ("trim", "30,,10", "trim.minutes", 3.0),  # one product: no need to name it
        # both are learned: 70 min for what 20 x 1 + 2 x 20 = 60 were expected
        ("cast", "70,tile,20", "cast.minutes", 70 / 60),
        ("cast", "70,tile,20", "cast.load_minutes", 20 * 70 / 60),
        ("cast", "19,tile,4", "cast.load_minutes", 20 * 19 / 24),  # a load of 4 is a load
        ("shop", "48,,4", None, 12.0),  # minutes of an order
    ],
)
def test_minutes_by_hand(tile, step, row, key, observed):
    """What one row says alone, and a number in force between it and the guess."""
    sheet = f"date,step,minutes,product,pieces_handled\n2025-01-06,{step},{row}"
    study = tile(timesheet=sheet)
    key = "channels.shop.minutes_per_order" if key is None else f"{STEPS}.{key}"
    found, stated = update(study)[key], study.numbers[key].value

    assert found.observed == pytest.approx(observed)
    assert min(stated, observed) < found.posterior.middle < max(stated, observed)


@pytest.mark.parametrize("rows", [1, 6])
def test_rows_posterior_equals_a_sum_over_both_numbers(rows):
    """Median and band of one kind of unit equal a plain sum over 3,000 means and 300 scatters of scipy's log-normal."""
    rng = np.random.default_rng(rows)
    units, worth, stated = rng.integers(5, 30, rows).astype(float), 1.5, 2.0
    totals = units * 2.6 * np.exp(0.4 * rng.standard_normal(rows))
    eta = np.linspace(np.log(0.4), np.log(12.0), 3000)[:, None]
    scatter = 0.3 * np.exp(0.5 * np.linspace(-4, 4, 300))[None, :]
    weight = stats.norm.pdf(eta, np.log(stated), 0.3 / np.sqrt(worth)) * stats.norm.pdf(np.log(scatter / 0.3) / 0.5)
    for total, unit in zip(totals, units, strict=True):
        weight = weight * stats.norm.pdf(np.log(total / unit), eta - scatter**2 / 2, scatter)
    over = weight.sum(axis=1) / weight.sum()
    found = rows_posterior([stated], [worth], totals, units[:, None]).means[0]

    assert np.interp(np.log(found.quantile(np.array([0.1, 0.5, 0.9]))), eta[:, 0], np.cumsum(over) - over / 2) == pytest.approx(
        [0.1, 0.5, 0.9], abs=2e-3
    )
    assert found.middle == pytest.approx(float(found.quantile(np.array([0.5]))[0]), rel=1e-4)


def test_rows_that_mix_steps_and_products_are_shared_out():
    """Totals of a + b, and of each alone: the means that made them come back, and a mixed row ties them the other way."""
    rng = np.random.default_rng(3)
    units = np.repeat([[10.0, 10.0], [10.0, 0.0], [0.0, 10.0]], 60, axis=0)
    totals = units @ [2.0, 5.0] * np.exp(0.05 * rng.standard_normal(180))
    found = rows_posterior([3.0, 3.0], [1.0, 1.0], totals, units, spread=0.05)

    assert [one.middle for one in found.means] == pytest.approx([2.0, 5.0], rel=0.03)
    assert found.correlation[0, 1] < -0.05
    assert found.scatter == pytest.approx(0.05, rel=0.2)


def test_mixed_cells_name_their_steps(tile):
    """`trim + glaze` is one row of two steps; a cell with an unknown part is none."""
    assert steps_of("trim + glaze", {"trim", "glaze"}) == ["trim", "glaze"]
    assert steps_of("trim and glaze, cast", {"trim", "glaze", "cast"}) == ["trim", "glaze", "cast"]
    assert steps_of("trim + lunch", {"trim", "glaze"}) == []


def test_what_a_row_measured_is_never_more_than_the_row(tile):
    """Cast and trim in one row of 60 minutes where 50 were expected, trim alone in another of 60 instead of 20 (own arithmetic): a load is
    measured by its own row, 20 x 60 / 50, and trimming by both, 2 x 120 / 70."""
    sheet = "date,step,minutes,product,pieces_handled\n2025-01-06,cast+trim,60,tile,10\n2025-01-07,trim,60,tile,10"
    found = update(tile(timesheet=sheet))
    assert found[f"{STEPS}.cast.load_minutes"].observed == pytest.approx(24.0)
    assert found[f"{STEPS}.trim.minutes"].observed == pytest.approx(2 * 120 / 70)


@pytest.mark.parametrize(
    ("bought", "item", "observed", "value"),
    [
        # 44 + 12 paid for 2.5 kg; the guess of 0.004 EUR/g is worth a gram
        (("2,kg,44", "500,g,12"), "plaster", 56 / 2500, 56.004 / 2501),
        (("1,lb,3.20",), "plaster", 3.20 / 453.59237, 3.204 / 454.59237),  # international pound, exact
        (("1,lb,3.20",), "oil", 0.20, (1.20 + 3.20) / 20),  # 16 oz a pound; 4 oz at 0.30 guessed
        (("0.5,kg,4.41",), "oil", 4.41 / 17.6369810, (1.20 + 4.41) / 21.6369810),  # 28.349523125 g an ounce, exact
    ],
)
def test_price_by_hand(tile, bought, item, observed, value):
    """Purchases in any unit of weight give the price in the unit the amount is stated in."""
    rows = "\n".join(f"2025-01-06,{item},material,{row}" for row in bought)
    step = "cast.materials"
    found = update(tile(purchases=f"date,item,kind,quantity,unit,paid\n{rows}"))[f"{STEPS}.{step}.{item}.price"]

    assert found.observed == pytest.approx(observed, rel=1e-8)
    assert found.posterior.middle == pytest.approx(value, rel=1e-8)


def test_rows_without_pieces_are_left_out(tile):
    """A timesheet row that does not say how many pieces it was for says nothing about minutes a piece."""
    sheet = "date,step,minutes,product,pieces_handled\n2025-01-06,trim,30,tile,10\n2025-01-07,trim,500,tile,\n2025-01-08,trim,9,tile,0"

    assert update(tile(timesheet=sheet))[f"{STEPS}.trim.minutes"].observed == 3.0


def test_fixed_hours_with_weeks_off_by_hand(tile):
    """Mondays of five weeks: 2 h and 4 h of weekly tasks, a week at the bench alone, a week off, then 6 h on the
    only day of a fifth: 12 h in 3 1/7 weeks worked."""
    sheet = """
date,step,minutes
2025-01-06,books,120
2025-01-13,books,180
2025-01-14,cleaning,60
2025-01-20,trim,300
2025-02-03,books,360
"""
    found = update(tile(timesheet=sheet))["time.fixed_hours"]

    assert found.observed == pytest.approx(12 / (22 / 7))
    assert found.posterior.middle == pytest.approx((5 * 2 + 12) / (2 + 22 / 7))


def test_fixed_hours_of_weeks_that_begin_on_thursday(tile):
    """From a Thursday to the Wednesday three weeks later, 2 + 4 + 2 + 4 h are 12 h in three weeks."""
    sheet = "date,step,minutes\n2025-01-02,books,120\n2025-01-08,books,240\n2025-01-15,books,120\n2025-01-22,books,240"

    assert update(tile(timesheet=sheet))["time.fixed_hours"].observed == pytest.approx(4.0)


def test_mould_life_by_hand(tile):
    """M1 worn out after 25, M2 in use after the one load that names it: as worked for lives of shape 1."""
    moulds = (
        "mould,product,cavities,made,retired,casts_at_retirement\nM1,tile,10,2025-01-02,2025-01-07,25\nM2,tile,10,2025-01-02,,"
    )
    found = update(tile(batches=BATCHES, moulds=moulds))["products.tile.mould.life"]

    assert found.observed == pytest.approx(26.0)
    assert 26.0 < found.posterior.middle < 30.0  # (30 log 2 + 26) / 1.678347 = 27.9 for a shape known to be 1
    assert (found.amount, found.counted, found.seen) == (1, "moulds worn out", True)
    none_gone = update(tile(batches=BATCHES, moulds=moulds.replace("2025-01-07,25", ",")))["products.tile.mould.life"]
    assert not none_gone.seen
    assert "still a guess" in none_gone.data


@pytest.mark.parametrize(("moulds", "cavities", "minutes"), [(33, 1, 11.0), (3, 11, 121.0), (1, 33, 363.0)])
def test_minutes_of_a_set_of_moulds_by_their_cavities(tile, moulds, cavities, minutes):
    """33 moulds of one cavity at 11 min each, or fewer larger ones at 11 min a cavity, make a set of 33 in 363 min: own arithmetic."""
    text = TILE.replace("casts_per_load = 10", "casts_per_load = 33").replace(
        'minutes = "60 min"', 'minutes = { value = "200 min", from = "records", worth = "1 mould" }'
    )
    rows = "\n".join(f"M{i},tile,{cavities},2025-01-02,{minutes}" for i in range(moulds))
    found = update(tile(text, moulds=f"mould,product,cavities,made,minutes\n{rows}"))["products.tile.mould.minutes"]

    assert found.observed == pytest.approx(363.0)
    assert 200.0 < found.posterior.middle < 363.5
    assert moulds < 33 or found.posterior.middle == pytest.approx(363.0, rel=0.01)  # 33 that agree leave little of the guess
    assert found.data == f"{moulds} mould{'s' if moulds > 1 else ''} made, 33 cavities"


def test_refunds_of_no_orders_are_not_measured(tile):
    """A gift is no order, so it says nothing about the share of orders paid back."""
    found = update(tile(sales="date,channel,product,pieces,price,kind\n2025-01-06,shop,tile,1,12,gift"))

    assert "channels.shop.refund_share" not in found


def test_number_that_no_log_knows_may_not_ask(tile):
    """Asking the records for a number that no log holds is a fault, not a guess that looks measured."""
    text = TILE.replace("casts_per_load = 10", 'casts_per_load = 10\nunsold_share = { value = "5 %", from = "records" }')

    with pytest.raises(StudyError, match=r"products\.tile\.unsold_share: no log tells this number"):
        tile(text, batches=BATCHES, faults=FAULTS)


@pytest.mark.parametrize("name", STUDIES)
def test_stated_equals_point_without_records(name):
    """Without logs the stated result and the point result are the same to the last bit."""
    kit = open_study(DATA / name, with_records=False)
    stated, point = kit.point(stated=True), kit.point()

    assert kit.assumed.evidence == {}
    assert stated.totals == point.totals
    assert stated.utilisation == point.utilisation


@pytest.mark.parametrize("name", STUDIES)
def test_evidence_of_the_demos_lies_between_guess_and_logs(name):
    """Every measured number lies between what was guessed and what the logs alone say, and says from how much.

    A mould's life is left out: its middle is a median, which need not lie between two means; how orders differ too, of which a
    study that does not state it guesses nothing. Of minutes, pass shares and
    orders the middle eight in ten must: their rows, loads and months count more alike than all minutes over all pieces do.
    """
    study = read_study(DATA / name)
    apart = ("mould.life", "clustering", "size_spread")
    found = {key: one for key, one in update(study).items() if not key.endswith(apart)}
    outside = []
    for key, one in found.items():
        low, high = one.posterior.middle, one.posterior.middle
        if "minutes" in key or key.endswith(("pass_share", ".orders")):
            low, high = one.posterior.quantile(np.array([0.1, 0.9]))
        ends = sorted((study.numbers[key].value, one.observed))
        if low > ends[1] or high < ends[0]:
            outside.append(key)

    assert len(found) >= 10
    assert outside == []
    assert all(any(letter.isdigit() for letter in one.data) for one in found.values())


def halves_and_mean(spread):
    """Median and mean of a distribution, from its quantiles at even normal scores."""
    scores = np.linspace(-6.0, 6.0, 4001)
    values, weights = spread.quantile(stats.norm.cdf(scores)), stats.norm.pdf(scores)
    return values[2000], values @ weights / weights.sum()


@pytest.mark.parametrize("name", STUDIES)
def test_numbers_used_are_the_mean_or_the_median_of_their_draws(name):
    """Pass shares, minutes, orders, baskets, prices, losses, refunds, moulds: no number used is anything but what its own draws centre on."""
    for key, one in update(read_study(DATA / name)).items():
        median, mean = halves_and_mean(one.posterior)
        kind = (
            "median"
            if key.endswith(("minutes", "minutes_per_order", "wait", "loss", "life", "life_shape", "size_spread"))
            else "mean"
        )
        assert one.posterior.middle == pytest.approx({"median": median, "mean": mean}[kind], rel=5e-3), (key, kind)


def test_posteriors_of_any_guess_and_log_lie_where_their_draws_do():
    """Thirty random guesses, from a tenth of to ten times what the rows say, of each kind of evidence: the middle is the mean or the median."""
    rng = np.random.default_rng(11)
    for _ in range(30):
        worth, off, n = rng.choice([0.5, 2.0, 10.0, 60.0]), np.exp(rng.uniform(-2.3, 2.3)), int(rng.integers(1, 15))
        rows, sizes, share = rng.lognormal(1.0, 0.4, n), np.full(n, 12.0), rng.uniform(0.05, 0.99)
        hits = rng.binomial(12, share, n).astype(float)
        means = [
            share_posterior(rng.uniform(0.02, 0.98), worth, hits.sum(), (sizes - hits).sum()),
            load_share_posterior(rng.uniform(0.02, 0.98), worth, hits, sizes)[0],
            rate_posterior(off * 3.0, worth, rng.poisson(3.0 * n), n),
            counts_posterior(off * 3.0, worth, rng.poisson(3.0 * rng.gamma(1.0, 1.0, n)))[0],
            mean_posterior(off * rows.mean(), worth, rows, np.ones(n)),
        ]
        medians = [
            rows_posterior([off * rows.mean()], [worth], rows, np.ones((n, 1))).means[0],
            mould_life_posterior(off * 30.0, worth, 2.5, 30.0 * rng.weibull(2.5, n), [10.0], 0.3)[0],
            sizes_posterior(rows),
        ]
        for at, kind in ((1, means), (0, medians)):
            for one in kind:
                assert one.middle == pytest.approx(halves_and_mean(one)[at], rel=5e-3)


def test_mould_replaced_by_plan_counts_as_still_good(tile):
    """Three moulds taken out at the planned 20 casts have not worn out: the life can only be longer than guessed."""
    text = TILE.replace("life_shape = 1", "life_shape = 1\nreplace_at = 20")
    rows = "\n".join(f"M{i},tile,10,2025-01-02,2025-03-07,20" for i in range(3))
    moulds = f"mould,product,cavities,made,retired,casts_at_retirement\n{rows}"
    found = update(tile(text, moulds=moulds))["products.tile.mould.life"]

    # 150 for a shape known to be 1: (30 log 2 + 60) / log 2, the median of Gamma(1) being log 2; less where it may be higher
    assert 30.0 < found.posterior.middle < 120.0
    assert np.isnan(found.observed)


def test_numbers_of_the_same_rows_are_drawn_together(tile):
    """Minutes by the piece and by the load of one step, told by the same rows, go against each other in the draws."""
    rows = "\n".join(
        f"2025-01-{day:02d},cast,{minutes},tile,{pieces}"
        for day, (minutes, pieces) in enumerate([(31, 10), (52, 20), (27, 5), (48, 20), (30, 10), (24, 5), (75, 30), (26, 8)], 6)
    )
    assumed = assume(tile(timesheet=f"date,step,minutes,product,pieces_handled\n{rows}"))
    values = draw_values(assumed, 2048, 1)
    told = assumed.evidence[f"{STEPS}.cast.minutes"].tied[f"{STEPS}.cast.load_minutes"]

    seen = np.corrcoef(np.log(values[f"{STEPS}.cast.minutes"]), np.log(values[f"{STEPS}.cast.load_minutes"]))[0, 1]
    assert told < -0.1
    assert seen == pytest.approx(told, abs=0.05)
