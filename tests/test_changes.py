"""Did the change help? Differences against published examples, and the page on records made so that the answer is known."""

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.proportion import confint_proportions_2indep
from test_records_page import TILE

from casting_econ.evidence.changes import before_and_after, design_effect, mean_change, newcombe, share_change
from casting_econ.faults import StudyError
from casting_econ.kit import grid, open_study
from casting_econ.models import beyond_target, with_levers
from casting_econ.pages.records_work import change_rows, change_sentences, yearly_worth

PAPER = "Newcombe, Statistics in Medicine 17 (1998) 873-890, table II, method 10"
READ = f"{PAPER}, digits read in a public test that quotes it"
RECALLED = f"{PAPER}, from memory"
CHANGE = '\n[changes.spray]\nwhat = "another release spray"\ndate = 2025-03-01\n'


@pytest.mark.parametrize(
    ("one", "other", "limits", "source"),
    [
        ((56, 70), (48, 80), (0.0524, 0.3339), READ),
        ((9, 10), (3, 10), (0.1705, 0.8090), READ),
        ((6, 7), (2, 7), (0.0582, 0.8062), RECALLED),
        ((5, 56), (0, 29), (-0.0381, 0.1926), RECALLED),
        ((0, 10), (0, 20), (-0.1611, 0.2775), RECALLED),
        ((10, 10), (0, 10), (0.6075, 1.0), RECALLED),
    ],
)
def test_newcombe_published(one, other, limits, source):
    """The paper's own examples, first share less second, which is here the second side less the first; all and none among them."""
    found = newcombe((other[0], one[0]), (other[1], one[1]), level=0.95)

    assert found == pytest.approx(limits, abs=5.1e-5), source


def test_newcombe_as_another_library_has_it():
    """60 random pairs of counts equal the interval of a general statistics library."""
    rng = np.random.default_rng(4)
    for _ in range(60):
        n = rng.integers(1, 60, 2)
        hits, level = rng.binomial(n, rng.random(2)), rng.choice([0.8, 0.95])
        expected = confint_proportions_2indep(hits[1], n[1], hits[0], n[0], method="newcomb", alpha=1 - level)

        assert newcombe(hits, n, level) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("hits", "n", "said"), [((3, 1), (2, 2), "hits must be"), ((0, 0), (0, 1), "pieces must be above 0")])
def test_newcombe_refuses(hits, n, said):
    """More hits than pieces, and a side without pieces, are refused by name."""
    with pytest.raises(ValueError, match=said):
        newcombe(hits, n)


def test_design_effect_of_loads():
    """Own arithmetic: loads of m alike give 1 + (m - 1) rho; independent pieces, or loads of one, give 1."""
    assert design_effect([10] * 7, 0.3) == pytest.approx(1 + 9 * 0.3)
    assert design_effect([5, 9], 0.0) == design_effect([1, 1, 1], 0.4) == 1.0
    assert design_effect([4, 12], 0.1) == pytest.approx(1 + (160 / 16 - 1) * 0.1)


def test_loads_alike_make_the_difference_less_sure():
    """The same pieces in loads that share their luck: a wider interval about the same difference, and a chance nearer to a half."""
    one, other = (np.full(8, 16.0), np.full(8, 20.0)), (np.full(8, 18.0), np.full(8, 20.0))
    apart, alike = (share_change(one, other, rho) for rho in (0.0, 0.3))

    assert apart[:2] == pytest.approx((0.8, 0.9)) and alike[:2] == pytest.approx((0.8, 0.9))
    assert alike[2] < apart[2] < 0.1 < apart[3] < alike[3]
    assert 0.5 < alike[4] < apart[4]


def test_chance_of_better_is_calibrated():
    """Where nothing changed, loads alike: the chance of better is above 0.9 in about a tenth of 400 invented workshops, and the interval holds 0 in about 80 %.

    Three standard errors of 400 are 4.5 and 6 points. Taken as independent pieces, the same loads would cry out far more often.
    """
    rng, sure, holds, naive = np.random.default_rng(8), [], [], []
    for _ in range(400):
        share, rho = rng.uniform(0.7, 0.95), 0.15
        a, b = share * (1 - rho) / rho, (1 - share) * (1 - rho) / rho
        sides = [(rng.binomial(14, rng.beta(a, b, 12)).astype(float), np.full(12, 14.0)) for _ in range(2)]
        *_, low, high, better = share_change(*sides, rho)
        sure.append(better > 0.9)
        holds.append(low <= 0 <= high)
        naive.append(share_change(*sides, 0.0)[4] > 0.9)

    assert np.mean(sure) == pytest.approx(0.1, abs=0.045)
    assert np.mean(holds) == pytest.approx(0.8, abs=0.06)
    assert np.mean(naive) > 0.16


def test_minutes_before_and_after():
    """Equal rows are as likely better as worse; clearly shorter ones are better; one row on each side still has a width."""
    rows = (np.array([30.0, 44.0, 28.0, 41.0]), np.array([10.0, 14.0, 10.0, 13.0]))
    same, half = mean_change(rows, rows), mean_change(rows, (rows[0] / 2, rows[1]))
    single = mean_change(([30.0], [10.0]), ([20.0], [10.0]))

    assert same[0] == same[1] == pytest.approx(143 / 47) and same[4] == pytest.approx(0.5, abs=0.002)
    assert same[2] == pytest.approx(-same[3], rel=1e-6)
    assert half[1] == pytest.approx(143 / 94) and half[3] < 0 and half[4] > 0.97
    assert single[2] < single[3] and 0.5 < single[4] < 0.99


@pytest.fixture
def kit(tmp_path):
    """Opens the tile study with changes marked and logs given as frames."""

    def opened(marked, **logs):
        (tmp_path / "records").mkdir()
        (tmp_path / "study.toml").write_text(TILE + marked, encoding="utf-8")
        for name, log in logs.items():
            log.to_csv(tmp_path / "records" / f"{name}.csv", index=False)
        return open_study(tmp_path)

    return opened


def loads(good, start="2025-01-06"):
    """One load of ten tiles a week."""
    days = pd.date_range(start, periods=len(good), freq="7D").strftime("%Y-%m-%d")
    return pd.DataFrame(
        {"batch": [f"b{i}" for i in range(len(good))], "date": days, "product": "tile", "casts": 10, "good": good}
    )


def test_page_before_and_after(kit):
    """8 loads of 7 good, then 8 of 9: 70 and 90 %, better for sure, worth what the year at 90 less the year at 70 brings."""
    found = kit(CHANGE, batches=loads([7] * 8 + [9] * 8))
    [row] = change_rows(found).to_dict("records")

    assert (row["before"], row["after"], row["rows"]) == (0.7, 0.9, "8 before, 8 after")
    assert row["chance better"] > 0.9 and 0 < row["low"] < 0.2 < row["high"]
    money = [beyond_target(with_levers(found.inputs(), scrap=scrap), grid(found, scrap)) for scrap in (0.3, 0.1)]
    assert row["money a year"] == pytest.approx(float(money[1] - money[0]))
    assert 0 < row["low a year"] < row["money a year"] < row["high a year"]
    text = change_sentences(found)
    assert "another release spray" in text and "**is better**" in text and "no trial" in text
    assert "by luck" not in text  # one line only
    assert "went from 70\N{NO-BREAK SPACE}% to 90\N{NO-BREAK SPACE}%" in text


@pytest.mark.parametrize(
    ("good", "word"),
    [
        ([9] * 8 + [7] * 8, "**is worse**"),
        ([9] * 16, "may be better or worse"),
        ([10] * 16, "may be better or worse"),
        ([7, 8] * 8, "may be better or worse"),
    ],
)
def test_words_on_each_side(kit, good, word):
    """A change for the worse is called so; all alike, and all good, leave it open."""
    assert word in change_sentences(kit(CHANGE, batches=loads(good)))


def test_no_change_marked_shows_nothing(kit):
    """Without a marked change the page says and tabulates nothing."""
    found = kit("", batches=loads([7] * 4))

    assert change_sentences(found) == "" and change_rows(found).empty


@pytest.mark.parametrize("day", ["2024-06-01", "2025-01-06", "2026-01-01"])
def test_one_side_alone(kit, day):
    """Before the first load, on its very day (which is after), and when nothing has come after: nothing to hold it against."""
    found = kit(CHANGE.replace("2025-03-01", day), batches=loads([7] * 4))
    [row] = change_rows(found).to_dict("records")

    assert row["chance better"] != row["chance better"] and row["money a year"] != row["money a year"]
    assert row["rows"] == ("4 before, 0 after" if day > "2026" else "0 before, 4 after")
    assert "nothing to hold it against yet" in change_sentences(found)


def test_no_logs_at_all(kit):
    """A change of a study without logs says that they hold nothing of it."""
    assert "The logs hold nothing" in change_sentences(kit(CHANGE))


def test_one_load_on_each_side(kit):
    """One load before and one after: a difference, and far from sure."""
    found = kit(CHANGE, batches=loads([7] * 8 + [9] * 8).iloc[[7, 8]])
    [row] = change_rows(found).to_dict("records")

    assert row["rows"] == "1 before, 1 after" and row["low"] < 0 < row["high"] and 0.5 < row["chance better"] < 0.95


def test_rows_beyond_another_change_stay_out(kit):
    """Between an earlier and a later change of the same step only their loads count; a change of another step bounds nothing."""
    marked = "".join(
        f'\n[changes.{name}]\nwhat = "{name}"\ndate = {day}\nstep = "{step}"\n'
        for name, day, step in [
            ("first", "2025-02-03", "trim"),
            ("second", "2025-03-03", "trim"),
            ("other", "2025-03-17", "cast"),
        ]
    )
    found = kit(marked, batches=loads([9] * 16))

    assert {name: before_and_after(found.study, name)[0].rows for name in ("first", "second", "other")} == {
        "first": (4, 4),
        "second": (4, 8),
        "other": (10, 6),
    }


def test_minutes_and_price_of_a_change(kit):
    """Trimming from 2 to 1.5 minutes a tile is better, and worth half a minute of the target for each tile that gets there; a dearer tile its difference."""
    days = pd.date_range("2025-01-06", periods=16, freq="7D").strftime("%Y-%m-%d")
    sheet = pd.DataFrame({"date": days, "step": "trim", "minutes": [20] * 8 + [15] * 8, "product": "tile", "pieces_handled": 10})
    sales = pd.DataFrame({"date": days, "channel": "shop", "product": "tile", "pieces": 2, "price": [24.0] * 8 + [30.0] * 8})
    found = kit(CHANGE, timesheet=sheet, sales=sales)
    minutes, price = change_rows(found).to_dict("records")
    year = found.point().products["tile"]

    assert (minutes["before"], minutes["after"], price["before"], price["after"]) == (2.0, 1.5, 12.0, 15.0)
    assert minutes["chance better"] > 0.8 and price["chance better"] > 0.8
    entering = next(step.entering for step in year["piece"].steps if step.name == "trim") * year["made_per_year"]
    assert minutes["money a year"] == pytest.approx(0.5 * entering * 15 / 60)
    assert price["money a year"] == pytest.approx(3.0 * year["sold_per_year"])  # the shop is the only channel
    said = change_sentences(found)
    assert price["of"] == "tile: price in shop" and "Of 2 lines" in said
    assert (
        "Tile: price in shop went from €12.00 to €15.00" in said
        and "Tile: minutes of trim went from 2.00 min to 1.50 min" in said
    )


def test_share_of_one_step_moves_its_part_of_the_yield(kit):
    """A change of a step from 80 to 90 % of those that enter it is worth the year at such shares there, the other steps as stated."""
    marked = CHANGE + 'step = "trim"\n'
    found = kit(marked, batches=loads([8] * 8 + [9] * 8))
    [told] = before_and_after(found.study, "spray")
    money = [beyond_target(with_levers(found.inputs(), scrap=scrap), grid(found, scrap)) for scrap in (0.2, 0.1)]

    assert (told.at, told.before, told.after) == ("trim", 0.8, 0.9)  # the first step has no check, so trimming has them all
    assert yearly_worth(found, told, 0.1) == pytest.approx(float(money[1] - money[0]))


def test_worth_of_no_difference_is_nothing(kit):
    """No difference is worth nothing, and an unknown one is not known."""
    found = kit(CHANGE, batches=loads([9] * 16))
    [told] = before_and_after(found.study, "spray")

    assert yearly_worth(found, told, 0.0) == 0.0
    assert np.isnan(yearly_worth(found, told, float("nan")))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('product = "tiles"', ["changes.spray.product", "unknown product", "tile"]),
        ('step = "trm"', ["changes.spray.step", "unknown step", "trim"]),
        ("dat = 2025-03-01", ["changes.spray"]),
    ],
)
def test_faults_of_a_change(kit, line, said):
    """An unknown product, step or key of a change is told with its place."""
    with pytest.raises(StudyError) as caught:
        kit(CHANGE + line + "\n")

    assert [text for text in said if text not in str(caught.value)] == []
