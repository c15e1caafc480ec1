"""What the records page says: each sentence and table on small records made so that the answer is known."""

import datetime as dt
import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from commands import command

from casting_econ.evidence import fit_learning, load_counts, season_table
from casting_econ.evidence.labour import labour_rows
from casting_econ.kit import format_of, open_study
from casting_econ.pages import records, records_work
from casting_econ.pages.answer import first_lines
from casting_econ.pages.deciding import decision_of
from casting_econ.study.records import still_to_come

TILE = """
[study]
name = "Tile"
currency = "EUR"
[time]
weeks = "46 week/year"
hours = "30 h/week"
fixed_hours = "5 h/week"
weekly_tasks = ["books"]
[calendar]
monday = "09:00-17:00"
[target]
per_hour = "15 EUR/h"
[products.tile]
casts_per_load = 10
[products.tile.steps.cast]
minutes = "1 min"
load_minutes = "20 min"
wait = "12 h"
materials.plaster = { quantity = "50 g", price = "4 EUR/kg", loss = { value = "5 %", from = "records", worth = "2 loads" } }
[products.tile.steps.trim]
minutes = "2 min"
pass_share = "90 %"
[products.tile.mould]
materials.rubber = { price = "200 EUR" }
minutes = "60 min"
life = { value = 40, from = "records", worth = "2 moulds" }
[channels.shop]
product = "tile"
orders = "300 orders/year"
pieces_per_order = 2
price = "24 EUR"
"""


@pytest.fixture
def kit(tmp_path):
    """Opens the tile study with logs given as CSV text or as frames."""

    def opened(text=TILE, **logs):
        (tmp_path / "records").mkdir()
        (tmp_path / "study.toml").write_text(text, encoding="utf-8")
        for name, log in logs.items():
            text = log if isinstance(log, str) else log.to_csv(index=False)
            (tmp_path / "records" / f"{name}.csv").write_text(text.strip() + "\n", encoding="utf-8")
        return open_study(tmp_path)

    return opened


def batches(good, casts=10, moulds="M1", **more):
    """One load a day."""
    days = pd.date_range("2025-01-06", periods=len(good)).strftime("%Y-%m-%d")
    return pd.DataFrame(
        {
            "batch": [f"B{i}" for i in range(len(good))],
            "date": days,
            "product": "tile",
            "moulds": moulds,
            "casts": casts,
            "good": good,
        }
        | more
    )


def test_steady_loads_are_called_steady(kit):
    """Loads that scatter by chance alone show no drift and no signal."""
    said = records_work.load_sentences(kit(batches=batches([9, 10, 8, 9, 10, 9, 8, 9, 10, 9])), "tile")

    assert "9 of 100 pieces in 10 loads were not good" in said.replace("9.0 %", "")
    assert "no clear drift" in said
    assert "stands out beyond chance" in said


def test_a_change_for_the_worse_is_flagged(kit):
    """Forty good loads and ten bad ones: the drift and the loads that begin it are named."""
    said = records_work.load_sentences(kit(batches=batches([9, 10, 10, 9, 10] * 8 + [5, 4, 5, 6, 4, 5, 5, 4, 6, 5])), "tile")

    assert "share lost rises over time" in said
    assert "B40" in said or "B41" in said


def test_a_ruined_load_is_kept_apart(kit):
    """One load of nothing among good ones is named, and the share of the others is not touched by it."""
    opened = kit(batches=batches([9] * 12 + [0] + [9] * 12))
    said = records_work.load_sentences(opened, "tile")
    chart = records_work.load_chart(opened, "tile")

    assert "24 of 240 pieces in 24 loads" in said
    assert "kept out of these figures: B12" in said
    assert "ruined_loads" in said
    assert chart.ruined.sum() == 1
    assert chart.centre.iloc[0] == pytest.approx(0.1)


def test_a_poor_load_is_not_a_ruined_one(kit):
    """Losing half of a load is bad luck, not a ruin."""
    assert not records_work.load_chart(kit(batches=batches([9] * 12 + [5] + [9] * 12)), "tile").ruined.any()


def test_causes_rank_by_money_and_by_pieces(kit):
    """More pieces are lost early, more money late, and the table says both."""
    faults = "date,batch,step,cause,pieces,fate\n2025-01-20,B0,cast,air,6,scrap\n2025-01-20,B1,trim,chip,5,scrap"
    table = records_work.cause_table(kit(batches=batches([4, 5, 10, 10]), faults=faults), "tile").set_index("cause")

    assert table.lost.to_dict() == {"air": 6, "chip": 5}
    assert table["rank by pieces"].to_dict() == {"air": 1, "chip": 2}
    assert table.share.chip == pytest.approx(5 / 34)
    assert (table.low < table.share).all() and (table.share < table.high).all()


def test_hidden_hours_and_counted_hours(kit):
    """3 h at the bench, 2 of them counted, and 1 h of books: a quarter is hidden, two thirds of the bench tell minutes."""
    sheet = "date,step,minutes,pieces_handled\n2025-01-06,trim,120,60\n2025-01-06,trim,60,\n2025-01-07,books,60,"
    said = records.hours_sentence(kit(timesheet=sheet))

    assert "holds 4 hours; 25\u00a0% of them were not at the bench" in said
    assert "67\u00a0% came with a count" in said


@pytest.mark.parametrize("rate", [1.0, 0.8])
def test_learning_is_told_from_steady_minutes(kit, rate):
    """Sixty rows of 10 pieces, at 80 % or without learning, with 8 % scatter: only the first is called learning."""
    rng, exponent = np.random.default_rng(4), np.log2(rate)
    pieces = np.full(60, 10.0)
    minutes = [
        sum(4.0 * np.arange(10 * i + 1, 10 * i + 11) ** exponent) * np.exp(0.08 * rng.standard_normal()) for i in range(60)
    ]
    days = pd.date_range("2025-01-06", periods=60).strftime("%Y-%m-%d")
    sheet = pd.DataFrame({"date": days, "step": "trim", "minutes": np.round(minutes, 2), "pieces_handled": pieces})
    said = records.learning_sentences(kit(timesheet=sheet))
    fit = fit_learning(np.array(minutes), pieces)

    assert ("each doubling of pieces leaves" in said) == (rate < 1)
    assert fit.low <= rate <= fit.high + 1e-9


def test_moulds_due_and_no_retirement_is_a_guess(kit):
    """An old mould is likelier to go than a new one; with none retired the sentence says guess."""
    moulds = "mould,product,cavities,made,retired,casts_at_retirement\nM1,tile,10,2025-01-02,,\nM2,tile,10,2025-01-02,,"
    opened = kit(batches=batches([9] * 30, moulds=["M1"] * 25 + ["M2"] * 5), moulds=moulds)
    table = records_work.mould_table(opened, "tile").set_index("mould")

    assert table["casts a cavity"].to_dict() == {"M1": 25.0, "M2": 5.0}
    assert table["chance of going"].M1 > table["chance of going"].M2 > 0
    assert table["weeks left"].M1 < table["weeks left"].M2
    assert "a guess, as no mould has been seen to wear out" in records_work.mould_sentences(opened, "tile")
    assert opened.assumed.numbers["products.tile.mould.life"].basis == "guess"


@pytest.mark.parametrize("named", [False, True])
def test_moulds_that_no_load_names_have_no_count(kit, named):
    """Where loads do not say which moulds they filled, a mould in use has no casts, no chance and no weeks, and the list says why; one that no
    load names where others are named has made none."""
    moulds = "mould,product,cavities,made,retired,casts_at_retirement\nM1,tile,10,2025-01-02,,\nM2,tile,10,2025-01-02,,\n"
    moulds += "M3,tile,10,2025-01-02,2025-02-01,30"
    opened = kit(batches=batches([9] * 5, moulds="M1" if named else ""), moulds=moulds)
    table = records_work.mould_table(opened, "tile").set_index("mould")

    state = "in use" if named else "in use; the loads do not name it"
    assert table.state["M2"] == state
    assert table["casts a cavity"].fillna(-1.0).to_dict() == {
        "M1": 5.0 if named else -1.0,
        "M2": 0.0 if named else -1.0,
        "M3": 30.0,
    }
    assert set(table.loc["M2", ["chance of going", "weeks left"]].notna()) == {named}


def test_moulds_worn_out_at_one_age_are_fitted_no_law(kit):
    """Two moulds that went at the same age tell how long moulds last, and no law of it: the sentence of the fit is left out."""
    rows = "".join(f"M{n},tile,1,2025-01-0{n},2025-02-0{n},30\n" for n in (1, 2))
    opened = kit(moulds=f"mould,product,cavities,made,retired,casts_at_retirement\n{rows}")
    said = records_work.mould_sentences(opened, "tile")

    assert "2 worn out so far" in said and "The records alone" not in said


def test_age_that_spoils_pieces_gives_a_replacement_age(kit):
    """Losses that grow with each mould's casts are found, and the cheapest age lies within its life."""
    rng, good, moulds = np.random.default_rng(2), [], []
    for mould in range(6):
        for age in range(30):
            good.append(rng.binomial(10, 1 / (1 + np.exp(-3.0 + 0.1 * age))))
            moulds.append(f"M{mould}")
    opened = kit(batches=batches(good, moulds=moulds), moulds="mould,product,cavities,made\nM0,tile,10,2025-01-02")
    slope, error = records_work.age_effects(opened, "tile")["loss"]

    assert slope == pytest.approx(0.1, abs=3 * error)
    assert slope > 3 * error
    said = records_work.mould_sentences(opened, "tile")
    assert "odds of a loss grow" in said
    assert "replace it at about" in said or "run it until worn" in said


def test_cup_loss_from_mixed_mass(kit):
    """Loads of ten 50 g pieces from 600 g mixed leave a sixth in the cup; the guess of 5 % moves towards it."""
    opened = kit(batches=batches([9] * 20, mixed_mass_g=[600.0] * 20))
    found = opened.assumed.evidence["products.tile.steps.cast.materials.plaster.loss"]

    assert found.observed == pytest.approx(1 / 6)
    assert 0.05 < found.posterior.middle < 1 / 6
    assert found.posterior.middle == pytest.approx(1 / 6, abs=0.02)


def test_one_silent_day_is_told_as_one(kit):
    """A pour on the day after the first timesheet row, and none on that day."""
    sheet = "date,step,minutes,pieces_handled,pieces_passed\n2025-01-06,trim,30,10,10\n2025-01-08,trim,30,10,10"
    said = records.unreconciled(kit(batches=batches([9, 9, 9]), timesheet=sheet))
    assert any(line.startswith("On 1 day with a pour") for line in said)


def test_what_does_not_add_up_is_said(kit):
    """Hours beyond a day, pieces beyond the batches, pours without hours, more sold than made."""
    sheet = "date,step,minutes,pieces_handled,pieces_passed\n2025-01-06,trim,1020,80,60\n2025-01-12,trim,30,10,10"
    sales = "date,channel,product,pieces,price\n2025-02-01,shop,tile,50,600"
    said = "\n".join(records.unreconciled(kit(batches=batches([9, 9, 9]), timesheet=sheet, sales=sales)))

    assert "2025-01-06 has 17.0 hours" in said
    assert "On 2 days with a pour the timesheet has no row (2025-01-07, 2025-01-08)" in said
    assert "tile, trim: the timesheet handles 90 pieces, batches and faults say that 30 reached it" in said
    assert "tile, trim: 20 pieces did not pass by the timesheet, 3 were lost" in said
    assert "50 pieces left by the sales log, 27 good ones" in said


@pytest.mark.parametrize(("bought", "told"), [("2.5 kg", False), ("1 kg", True)])
def test_more_used_than_bought_is_told(kit, bought, told):
    """30 casts of 50 g, of which 5 % stay in the cup, take 30 x 50 / 0.95 = 1,579 g (own arithmetic): more than one kilogram."""
    bill = f"date,item,kind,quantity,unit,paid\n2025-01-05,plaster,material,{bought.replace(' ', ',')},9"
    said = "\n".join(records.unreconciled(kit(batches=batches([9, 9, 9]), purchases=bill)))
    assert ("plaster: the batches used 1,579 g at the amount of the study file, 1,000 were bought." in said) == told
    assert ("a receipt is missing" in said) == told


@pytest.mark.parametrize(("packed", "told"), [(2, False), (60, True)])
def test_pieces_written_as_orders_are_told(kit, packed, told):
    """60 pieces of one order packed are 1 in the timesheet, where the sales log has one order of 60; what is counted by orders is not told."""
    sheet = f"date,step,minutes,pieces_handled\n2025-02-01,shop,180,{packed}"
    sales = "date,channel,product,pieces,price\n2025-02-01,shop,tile,60,600"
    said = "\n".join(records.unreconciled(kit(batches=batches([9, 9, 9]), timesheet=sheet, sales=sales)))
    assert ("shop: the timesheet packs 60 orders, the sales log has 1." in said) == told


@pytest.mark.parametrize(("last", "told"), [(10, False), (20, True)])
def test_a_load_in_work_may_have_been_handled(kit, last, told):
    """Ten pieces more than the counted loads are those of a load without a count; twenty more are not."""
    sheet = f"date,step,minutes,pieces_handled\n2025-01-06,trim,30,20\n2025-01-07,trim,30,10\n2025-01-08,trim,30,{last}"
    said = "\n".join(records.unreconciled(kit(batches=batches([9, 9, 9, np.nan]), timesheet=sheet)))
    assert ("tile, trim: the timesheet handles" in said) == told


def test_logs_that_agree_are_left_in_peace(kit):
    """Nothing is said where everything fits."""
    sheet = "date,step,minutes,pieces_handled,pieces_passed\n2025-01-06,trim,20,10,9\n2025-01-07,trim,20,10,9\n2025-01-08,trim,22,10,9"

    assert records.unreconciled(kit(batches=batches([9, 9, 9]), timesheet=sheet)) == []


def test_season_needs_a_year(kit):
    """Five months tell no season; two years with twice the orders every December tell December."""
    rows = []
    for month in pd.period_range("2023-01", "2024-12", freq="M"):
        count = 20 if month.month == 12 else 10
        for day in np.linspace(1, month.days_in_month, count).astype(int):
            rows.append({"date": f"{month}-{day:02d}", "channel": "shop", "product": "tile", "pieces": 2, "price": 24.0})
    sales = pd.DataFrame(rows)
    opened = kit(sales=sales)
    table = season_table(opened.study).set_index("month")

    assert table["index"].idxmax() == 12
    assert table["index"][12] == pytest.approx(2 * 12 / 13, rel=0.08)
    assert table.low[12] > 1.0
    assert season_table(replace(opened.study, records={"sales": opened.study.records["sales"].iloc[:50]})).empty


def test_nothing_recorded_is_said_plainly(kit):
    """A study without logs gets sentences, not errors."""
    opened = kit()

    assert "no batches are recorded" in records_work.load_sentences(opened, "tile")
    assert records_work.cause_table(opened, "tile").empty
    assert "no timesheet" in records.hours_sentence(opened)
    assert records_work.mould_survival(opened, "tile") is None
    assert records_work.mould_table(opened, "tile").empty
    assert records.unreconciled(opened) == []
    assert load_counts(opened.study, "tile") is None


def test_totals_that_are_not_the_sum_are_said(kit):
    """A totals row is set aside and compared: 27 stated against 26 is said, a right total is not."""
    rows = "B1,2025-01-06,tile,10,9\nB2,2025-01-07,tile,10,9\nB3,2025-01-08,tile,10,8\nTotal,,,30,27"
    opened = kit(batches=f"batch,date,product,casts,good\n{rows}")
    said = records.unreconciled(opened)

    assert len(opened.study.records["batches"]) == 3
    assert [text for text in said if "the total says" in text] == [
        "records/batches.csv, row 5: the total says 27 good, the rows above it add up to 26."
    ]


def test_a_row_of_two_steps_counts_for_both(kit):
    """`cast + trim` is read, its minutes are shared out, and it is no unknown step."""
    sheet = "date,step,minutes,pieces_handled\n2025-01-06,cast + trim,60,10\n2025-01-07,trim,21,10"
    rows = labour_rows(kit(timesheet=sheet).study)

    assert [units for _, units, _ in rows] == [
        {("tile", "cast"): (10.0, 1.0), ("tile", "trim"): (10.0, 1.0)},
        {("tile", "trim"): (10.0, 1.0)},
    ]


REMEDY = ', such as "20 g", and a price by that unit `from = "records"` in study.toml they would.'


def test_purchases_in_a_unit_that_does_not_fit_are_told(kit):
    """Plaster by the sack says nothing about its price by weight, and that is said."""
    said = records.unreconciled(kit(purchases="date,item,kind,quantity,unit,paid\n2025-01-07,plaster,material,2,sack,44"))

    assert len(said) == 1 and said[0].startswith(
        "plaster: 1 of 1 purchases are in a unit that does not turn into g, and say nothing of its"
    )
    assert "write them in g or a unit like it or, between volume and weight, its `density`" in said[0]


def test_purchases_by_the_gallon_count_by_a_density(kit):
    """A US gallon is 3,785.411784 ml (NIST SP 811), at 1.1 g/ml 4,163.95 g; the amount of a piece stays in the grams, or ounces, it is stated in."""
    text = TILE.replace(
        '{ quantity = "50 g", price = "4 EUR/kg"', '{ density = "1.1 g/ml", quantity = "2 oz", price = "4 EUR/kg"'
    )
    opened = kit(text, purchases="date,item,kind,quantity,unit,paid\n2025-01-07,plaster,material,1,US gallon,44")

    assert records.unreconciled(opened) == []
    assert opened.study.file.products["tile"].steps["cast"].materials["plaster"].quantity.value == pytest.approx(2 * 28.349523125)
    [row] = records.materials_table(opened.study).itertuples()
    assert row.bought * {"kg": 1000.0, "g": 1.0, "gram": 1.0}[row.unit] == pytest.approx(1.1 * 3785.411784)


def test_purchases_by_weight_of_what_has_a_price_a_piece_say_what_would_help(kit):
    """A price a piece without an amount cannot learn from receipts in kilograms; one sentence a material says which keys let it, for each of what and of which products."""
    text = TILE.replace('{ quantity = "50 g", price = "4 EUR/kg", loss', '{ price = "0.20 EUR", loss')
    said = records.unreconciled(kit(text, purchases="date,item,kind,quantity,unit,paid\n2025-01-07,plaster,material,2,kg,44"))

    assert len(said) == 1 and "in a unit that does not turn into pieces" in said[0]
    assert said[0].endswith(f"with its `quantity` a piece{REMEDY}")


def test_purchases_of_what_several_products_take_are_told_once(kit):
    """One sentence a material, with each product that it goes into; the rubber of moulds has its amount a set of them."""
    text = TILE.replace('{ quantity = "50 g", price = "4 EUR/kg", loss', '{ price = "0.20 EUR", loss')
    more = text[text.index("[products.tile]") :].replace("products.tile", "products.dish")
    twice = text + more.replace('"tile"', '"dish"').replace("channels.shop", "channels.fair")
    bought = "date,item,kind,quantity,unit,paid\n2025-01-07,plaster,material,2,kg,44\n2025-01-07,rubber,material,1,kg,30"
    said = [one for one in records.unreconciled(kit(twice, purchases=bought)) if "purchases" in one]
    assert [one.partition("`quantity` ")[2] for one in said] == [
        f"a piece of tile and dish{REMEDY}",
        f"a set of moulds of tile and dish{REMEDY}",
    ]


@pytest.mark.parametrize(
    ("day", "told"),
    [("2062-01-10", "13,513 days after any other row"), ("2015-01-10", "days before any other row"), ("2025-03-01", "")],
)
def test_a_day_far_from_all_others_is_told_with_its_row(kit, day, told):
    """A year typed wrong in one row is named with file and row, before and after; a pause of weeks is not."""
    days = [f"2025-01-{n:02d}" for n in range(6, 12)]
    sheet = "date,step,minutes\n" + "".join(f"{one},trim,20\n" for one in [*days[:2], day, *days[2:]])
    notes = kit(timesheet=sheet).study.reading.notes
    assert ([note.startswith(f"records/timesheet.csv:4 is dated {day}, ") and told in note for note in notes] == [True]) == bool(
        told
    )
    assert told or not notes


def test_a_tool_bought_years_before_is_no_slip(kit):
    """An early receipt stands alone as often as not: nothing is said of it."""
    sheet = "date,step,minutes\n" + "".join(f"2025-01-{n:02d},trim,20\n" for n in range(6, 12))
    assert (
        kit(timesheet=sheet, purchases="date,item,kind,quantity,unit,paid\n2019-05-01,pot,equipment,1,,300").study.reading.notes
        == ()
    )


def test_logs_that_the_guess_holds_back_are_told(kit):
    """Three loads of ten without a good piece against a firm guess of 90 %: named with both figures and what to do; nine of ten are not."""
    firm = TILE.replace(
        'pass_share = "90 %"',
        'pass_share = { low = "80 %", likely = "91 %", high = "97 %", from = "records", worth = "20 pieces" }',
    )
    rows = "".join(f"B{n},2025-01-{n:02d},tile,10,{{good}}\n" for n in range(6, 9))
    opened = kit(firm, batches="batch,date,product,casts,good\n" + rows.format(good=0))
    used = opened.assumed.evidence["products.tile.steps.trim.pass_share"].posterior.middle
    said = " ".join(records.records_overview(opened).split())
    assert used > 0.6 and f"tile: pass share of trim (0 % by the logs, {100 * used:.0f} % used)" in said
    assert "one event, not so many pieces" in said and "give it less `worth`" in said
    (opened.study.folder / "records" / "batches.csv").write_text(
        "batch,date,product,casts,good\n" + rows.format(good=9), encoding="utf-8"
    )
    assert records.far_apart(open_study(opened.study.folder)) == ""


@pytest.mark.parametrize(("last", "told"), [("2025-11-10", "No sale is in these 308 days"), ("2025-01-20", "")])
def test_months_of_logs_without_a_sale_are_told(kit, last, told):
    """Ten months of books and not one sale: orders rest on the guess, which is said with what to do; two weeks are too few."""
    said = records.records_overview(kit(timesheet=f"date,step,minutes\n2025-01-06,books,30\n{last},books,30\n"))
    assert ("No sale" in said) == bool(told) and told in said


DAYS = (
    "date,channel,product,pieces,price\n2025-02-03,shop,tile,14,182\n2025-03-03,shop,tile,12,156\n2025-04-03,shop,tile,15,202.5\n"
)


@pytest.mark.parametrize(
    ("rows", "words"),
    [(4, "3 orders in shop bring €180.17 and 13.7 pieces"), (2, "1 order in shop brings €182.00 and 14.0 pieces")],
)
def test_a_days_takings_in_one_row_are_told(kit, rows, words):
    """Three rows of 180.17 and 13.7 pieces on average, or the first alone, where an order is 24 for two: own arithmetic."""
    opened = kit(sales="\n".join(DAYS.splitlines()[:rows]))
    [note] = records.unlike_orders(opened)
    assert words in note and "€24.00 and 2.0 are stated" in note and "a day's takings" in note
    assert "in a column `buyers` of the sales log" in note and "`pieces_per_order` of [channels.shop] in study.toml" in note
    assert note in records.records_overview(opened)
    lines = first_lines(opened, opened.monte_carlo(), decision_of(opened), [])
    assert lines[0].startswith("**The sales log brings far more or less an order than the study states") and len(lines) == 4


def test_a_days_takings_count_rightly_by_the_remedy_told(kit):
    """Price and pieces both from the records: nothing more is told, and a piece is between the guess's 24 / 2 and the rows' 540.5 / 41."""
    both = TILE.replace("pieces_per_order = 2", 'pieces_per_order = { value = 2, from = "records", worth = "1 order" }')
    opened = kit(
        both.replace('price = "24 EUR"', 'price = { value = "24 EUR", from = "records", worth = "1 order" }'), sales=DAYS
    )
    price, pieces = (opened.assumed.evidence[f"channels.shop.{key}"].posterior.middle for key in ("price", "pieces_per_order"))
    assert "reckoned wrong" not in first_lines(opened, opened.monte_carlo(), decision_of(opened), [])[0]
    assert records.unlike_orders(opened) == [] and 12 <= price / pieces <= 540.5 / 41


def test_rows_of_days_to_come_are_told_by_log(kit):
    """Two of three sales after the first of March are still to come then, none on the fourth of April."""
    study = kit(sales=DAYS).study
    [told] = still_to_come(study, dt.date(2025, 3, 1))
    assert "records/sales.csv:3 is dated 2025-03-03, a day still to come, and 1 more" in told
    assert not list(still_to_come(study, dt.date(2025, 4, 4)))


def test_a_mould_that_outlives_every_plan_says_so_in_words(kit):
    """A mould for a million casts, filled some ten times a year, has no number of weeks left but words; one for a hundred has a number."""
    log = "mould,product,cavities,made\nM1,tile,10,2025-01-01\n"
    for life, orders, words in ((10**6, 50, "more than 20 years"), (100, 300, "")):
        text = TILE.replace("value = 40", f"value = {life}").replace('"300 orders', f'"{orders} orders')
        opened = kit(text, moulds=log, batches=batches([9]))
        [left] = records_work.mould_table(opened, "tile")["weeks left"]
        said = format_of(opened).styled(left, "weeks1")
        assert said == words if words else float(said) < 520
        shutil.rmtree(opened.study.folder / "records")


MOULDS = "mould,product,cavities,made,retired,casts_at_retirement\n" + "".join(
    f"M{n},tile,6,2025-01-01,2025-05-0{n},{{}}\n" for n in (1, 2, 3)
)


@pytest.mark.parametrize(
    ("casts", "loads", "words"),
    [
        (
            (230, 250, 200),
            "",
            "3 moulds of 6 cavities wore out after 230 casts, about 6 times the stated life of 40. Does `casts_at",
        ),
        ((7, 6, 8), "", "after 7 casts, and the stated life of 40 is about 6 times that. Does `life` of [products.tile.mould]"),
        ((12, 11, 13), "M1;M2;M3", "after 12 casts, about 6 times the 2 loads that name them"),
        ((50, 30, 80), "", None),
        ((2, 2, 2), "M1;M2;M3", None),
    ],
)
def test_lives_of_moulds_counted_in_pieces_are_told_once(kit, casts, loads, words):
    """Moulds of six cavities, of a life of 40 fills or of two loads that name them: 230 of them, and 7, are six times off: own arithmetic."""
    logs = {"batches": batches([9, 9], moulds=loads)} if loads else {}
    opened = kit(moulds=MOULDS.format(*casts), **logs)
    told = records.unlike_lives(opened)
    assert len(told) == (words is not None) and (words or "") in "".join(told)
    assert records.records_overview(opened).count("Does `") == len(told)


def test_check_names_the_table_that_a_remedy_is_for(kit):
    """The name of a table in square brackets comes through to the terminal."""
    code, said, _ = command("check", kit(sales=DAYS).study.folder)
    assert code == 0 and "[channels.shop] in study.toml" in " ".join(said.split())


def test_a_days_takings_with_their_buyers_are_ordinary(kit):
    """Seven, six and eight who bought two pieces each, for 24 or 27: nothing is told, and 21 orders are counted in their months."""
    rows = [f"{line},{said}" for line, said in zip(DAYS.splitlines(), ("buyers", 7, 6, 8), strict=True)]
    opened = kit(sales="\n".join(rows).replace(",15,", ",16,"))
    assert records.unlike_orders(opened) == [] and records.monthly_orders(opened).shop.tolist() == [7, 6, 8]


@pytest.mark.parametrize(("rows", "told"), [("2,24", 0), ("4,48", 0), ("6,72", 1), ("2,10", 1)])
def test_only_orders_far_from_the_stated_one_are_told(kit, rows, told):
    """Orders of twice the stated pieces or of its own are ordinary; thrice, or less than half the money, is told."""
    sales = "date,channel,product,pieces,price\n" + "".join(f"2025-0{n}-03,shop,tile,{rows}\n" for n in range(2, 6))
    notes = records.unlike_orders(kit(sales=sales))
    assert len(notes) == told and ("takings" in "".join(notes)) == (rows == "6,72")


def test_a_material_of_several_products_is_one_row(kit):
    """Plaster for 20 tiles of 50 g (5 % lost), 100 g for each of their 2 loads of trimming done in fives, and for 8 cups of 30 g of which a tenth is
    done again: 1,000 / 0.95 + 4 x 100 + 8 x 1.1 x 30 g used of the 2,000 bought once (own arithmetic)."""
    trim = "[products.tile.steps.trim]\n"
    text = TILE.replace(
        trim, f'{trim}load_size = 5\nmaterials.plaster = {{ quantity = "100 g", price = "4 EUR/kg", per = "load" }}\n'
    )
    text += '[products.cup]\ncasts_per_load = 8\n[products.cup.steps.cast]\nwait = "1 h"\nrework_share = "10 %"\n'
    text += 'materials.plaster = { quantity = "30 g", price = "4 EUR/kg" }\n[channels.cups]\nproduct = "cup"\norders = "9 orders/year"\n'
    text += 'pieces_per_order = 1\nprice = "9 EUR"\n'
    logs = pd.concat([batches([10, 10]), batches([8], casts=8).assign(batch="C", product="cup", moulds="")])
    bought = "date,item,kind,quantity,unit,paid\n2025-01-02,plaster,material,2,kg,8\n"
    [row] = records.materials_table(kit(text, batches=logs, purchases=bought).study).to_dict("records")

    assert (row["material"], row["bought"], row["paid"]) == ("plaster", 2000.0, 8.0)
    assert row["used by batches"] == pytest.approx(1000 / 0.95 + 4 * 100 + 8 * 1.1 * 30)
