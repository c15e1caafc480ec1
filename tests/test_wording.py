"""Every sentence on both sides of each of its switches, and none that claims more than the draws show."""

import re
import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from commands import rates_copy

from casting_econ.kit import Answer, format_of, grid, main_wait, open_study
from casting_econ.pages.answer import certainty_list, evidence_effect, introduction
from casting_econ.pages.channels import hidden_hours, price_sentences
from casting_econ.pages.conditions import stands_still
from casting_econ.pages.cost import cost_sentence, scrap_order
from casting_econ.pages.curing import cure_by_season, limit_sentence, load_wait, months_alike, stair_sentence
from casting_econ.pages.monte_carlo import (
    certainty_word,
    error_sentence,
    levers_sentence,
    target_sentence,
    verdict,
    year_sentence,
)
from casting_econ.pages.records import records_overview
from casting_econ.pages.scrap import break_even_scrap, scrap_break_even, scrap_now
from casting_econ.pages.sensitivity import grid_sentence, grid_still, swing_table, three_numbers
from casting_econ.reference import tables

KNOBS, FIGURES, SOAP = "kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather"
NB, NNB = "\u00a0", "\u202f"  # spaces that do not break, wide and narrow
DRAWS = 1600  # sixteen sets of a hundred


@pytest.fixture(scope="module")
def demos():
    """The demos as stated, without their logs."""
    return {name: open_study(rates_copy(name), with_records=False) for name in (KNOBS, FIGURES, SOAP)}


@pytest.fixture(scope="module")
def logged():
    """A demo with its logs."""
    return open_study(rates_copy(KNOBS))


@pytest.fixture
def changed(tmp_path):
    """A demo, as stated, with some text of its study file replaced everywhere."""

    def change(*pairs, name=KNOBS):
        text = (rates_copy(name) / "study.toml").read_text(encoding="utf-8")
        for old, new in pairs:
            assert old in text
            text = text.replace(old, new)
        (tmp_path / "study.toml").write_text(text, encoding="utf-8")
        return open_study(tmp_path)

    return change


def answer(hour=1.0, year=1.0, *, binding=(("demand", 1.0),), target=16.0, living=20_000.0):
    """Draws in which an hour, and a year, reach the target in just these shares, and resources bind in just these."""
    names, shares = zip(*binding, strict=True)
    index = np.repeat(np.arange(len(names)), [round(share * DRAWS) for share in shares])
    order = np.random.default_rng(1).permutation(DRAWS)
    pay = np.where(np.arange(DRAWS) < round(hour * DRAWS), target + 4, target - 4)[order]
    residual = np.where(np.arange(DRAWS) < round(year * DRAWS), living + 1000, living - 1000)[order]
    draws = {
        "pay_per_hour": pay,
        "residual_pay_per_year": residual,
        "hours_per_year": np.full(DRAWS, 920.0),
        "binding": index[order],
    }
    draws |= {"target_per_hour": np.full(DRAWS, target), "living_per_year": np.full(DRAWS, living)}
    return Answer(draws=draws, resources=list(names), target=target, living=living)


# verdicts

WORDS = [
    (1.0, "pays"),
    (1440 / DRAWS, "pays"),
    (1439 / DRAWS, "probably pays"),
    (1200 / DRAWS, "probably pays"),
    (1199 / DRAWS, "is on the edge of paying"),
    (400 / DRAWS, "is on the edge of paying"),
    (399 / DRAWS, "probably does not pay"),
    (160 / DRAWS, "probably does not pay"),
    (159 / DRAWS, "does not pay"),
    (0.0, "does not pay"),
]


@pytest.mark.parametrize(("chance", "word"), WORDS)
def test_verdict_says_no_more_than_its_chance(demos, chance, word):
    """Flat words from nine in ten on, 'probably' from three in four, and the chance always beside them."""
    kit = demos[KNOBS]
    said = verdict(kit, answer(chance))

    assert certainty_word(chance) == word
    assert f"**{word}** the target of €16.00" in said
    assert f"the chance of reaching the target is {format_of(kit).chance(chance)}." in said


def test_verdict_gives_the_band_of_the_draws(demos):
    """Half and eight in ten are quantiles of the draws: of 0 to 1599 cents, by linear interpolation, 159.9 and 1439.1."""
    draws = answer()
    draws = replace(draws, draws=draws.draws | {"pay_per_hour": np.arange(DRAWS) / 100.0})
    said = verdict(demos[KNOBS], draws)

    assert "half of the years drawn bring €8.00 an hour or more" in said  # 799.5 cents
    assert "eight in ten lie between €1.60 and €14.39" in said


def test_verdict_where_no_hour_is_worked(demos):
    """Pay that does not exist in some draws is said as none, not as a number."""
    draws = answer(0.0)
    draws = replace(draws, draws=draws.draws | {"pay_per_hour": np.full(DRAWS, -np.inf)})
    said = verdict(demos[KNOBS], draws)

    assert "**does not pay**" in said and "between none and none" in said


@pytest.mark.parametrize(
    ("year", "hour", "beginning"),
    [
        (0.95, 0.95, "The year brings a living too: it leaves €21,000"),
        (0.8, 0.95, "The year probably brings a living too: "),
        (0.5, 0.95, "Whether the year brings a living is open: "),
        (0.2, 0.95, "The year probably does not bring a living: "),
        (0.05, 0.95, "The year does not bring a living: it leaves €19,000"),
        (0.95, 0.3, "The year brings a living: "),
        (0.8, 0.3, "The year probably brings a living: "),
    ],
)
def test_year_sentence_says_no_more_than_its_chance(demos, year, hour, beginning):
    """The year is judged by its own chance, and 'too' is said only beside an hour that pays; 920 hours in 46 weeks are 20."""
    kit = demos[KNOBS]
    said = year_sentence(kit, answer(hour, year))

    assert said.startswith(beginning)
    assert "for 20.0 hours a week, where a full working year at the target would be €20,000." in said
    assert said.endswith(f"The chance of that is {format_of(kit).chance(year)}.")


def test_year_sentence_says_too_only_if_the_hour_pays(demos):
    """Beside a verdict that an hour is on the edge of paying, 'too' would claim that it pays."""
    assert "too" not in year_sentence(demos[KNOBS], answer(0.6, 0.95))


@pytest.mark.parametrize("hour", [0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0])
def test_no_sentence_is_surer_than_nine_in_ten(demos, hour):
    """Whatever the draws, a flat 'pays' or 'brings' needs a chance of 0.9, and a flat 'does not' one below 0.1."""
    kit, draws = demos[KNOBS], answer(hour, hour)
    said = verdict(kit, draws) + year_sentence(kit, draws)

    assert ("**pays**" in said, "The year brings" in said) == (hour >= 0.9,) * 2
    assert ("**does not pay**" in said, "The year does not bring" in said) == (hour < 0.1,) * 2


@pytest.mark.parametrize(
    ("binding", "beginning", "seen"),
    [
        ((("demand", 1.0),), "What limits sales is **demand**: more room to make would not help (", "over 99"),
        ((("demand", 0.9), ("hands", 0.1)), "What limits sales is **demand**: more room to make would not help (", "hands in 10"),
        (
            (("demand", 0.89), ("hands", 0.11)),
            "What limits sales is **demand**: in most draws all that could be sold can be made (",
            "11",
        ),
        ((("demand", 0.3), ("hands", 0.7)), "What limits sales is **hands**: there are more buyers than hours", "hands in 70"),
        ((("demand", 0.3), ("pressure-pot", 0.7)), "What limits sales is **pressure pot**: it is full before", "pot in 70"),
    ],
)
def test_limit_sentence_names_what_limits_most(demos, binding, beginning, seen):
    """Demand, hands or a station, whichever limits in most draws, and how often each does."""
    said = limit_sentence(demos[KNOBS], answer(binding=binding))

    assert said.startswith(beginning)
    assert seen in said


def test_limit_sentence_leaves_out_what_hardly_limits(demos):
    """A resource that limits in fewer than five draws of a thousand is not named."""
    said = limit_sentence(demos[KNOBS], answer(binding=(("demand", 1 - 7 / DRAWS), ("hands", 7 / DRAWS))))

    assert "hands" not in said


def test_error_sentence_doubles_the_standard_error(demos):
    """Sixteen sets that agree leave no error; half of the sets at 20 and half at 12 have 2 x 4 x sqrt(16 / 15) / 4 = 2.066, to the cent 2.07."""
    kit, draws = demos[KNOBS], answer(0.5)
    sets = np.repeat(np.tile([20.0, 12.0], 8), 100)
    agree, differ = (replace(draws, draws=draws.draws | {"pay_per_hour": pay}) for pay in (np.full(DRAWS, 20.0), sets))

    assert "1,600 draws: the mean of pay an hour is known to better than ±€0.01" in error_sentence(kit, agree)
    assert "±€2.07, the chance of the target to about ±25.8" in error_sentence(kit, differ)
    assert "not of the assumptions" in error_sentence(kit, differ)


# scrap


def test_scrap_break_even_is_where_pay_meets_the_target(demos):
    """At the rate that the sentence names, an hour brings the target: to a cent, as the rate is found to a millionth."""
    for name, product, words in ((KNOBS, "knob", "may rise to"), (SOAP, "bar", "would have to fall to")):
        kit = demos[name]
        rate = break_even_scrap(kit, product)
        pay = float(grid(kit, [rate], product=product).totals["pay_per_hour"][0])

        assert pay == pytest.approx(float(kit.inputs().target_per_hour), abs=0.005)
        assert scrap_break_even(kit, product).startswith(f"Scrap {words} **{format_of(kit).percent(rate, 1)}** before")


def test_scrap_break_even_above_and_below_today(demos):
    """Room above today's rate and a lack of it are said in points; 37.8 less 17.1, and 11.0 less 10.6 before rounding."""
    assert scrap_break_even(demos[KNOBS], "knob").endswith(f": 20.7 points above today's 17.1{NB}%.")
    assert scrap_break_even(demos[SOAP], "bar").endswith(f": 0.5 points below today's 11.0{NB}%.")


def test_scrap_break_even_where_no_rate_does(demos):
    """Where even no scrap would not do, no rate is named and scrap is not blamed."""
    said = scrap_break_even(demos[FIGURES], "figure")

    assert said.startswith("**No scrap rate does:** even with none at all an hour stays below the target of £13.50.")
    assert "%" not in said


def test_scrap_break_even_where_every_rate_does(changed):
    """Knobs at fifty times their price pay at any scrap rate tried; that is no break-even at 97 %."""
    kit = changed(('"96.00 EUR"', '"9600 EUR"'), ('"217.00 EUR"', '"21700 EUR"'), ('"192.00 EUR"', '"19200 EUR"'))

    assert break_even_scrap(kit, "knob") == 0.97
    assert scrap_break_even(kit, "knob").startswith(f"Even with 97{NB}% of the casts scrapped")


def test_scrap_order_of_the_same_cause(changed):
    """With hardly any loss after demoulding, voids lead both lists of the knobs."""
    said = scrap_order(changed(('"96 %"', '"99.5 %"'), ('"97 %"', '"99.5 %"')))

    assert said.startswith("Most pieces of knob and most money are lost to **voids**: €")


def test_scrap_order_of_different_causes(demos):
    """Masts snap most often, chips are found last and cost most; voids of the knobs cost less than what sanding loses."""
    assert "are lost to **voids** (155 a year), but most money to **sand-through or chip** (€412 against €347)" in scrap_order(
        demos[KNOBS]
    )
    said = scrap_order(demos[FIGURES])

    assert said.startswith("Most pieces of figure are lost to **snapped mast** (") and "but most money to **chip** (£" in said
    assert said.endswith(" 6 of 6 causes change place when money is counted instead of pieces.")


def test_scrap_order_where_none_change_place(changed):
    """One cause alone keeps its place, and nothing is said of places."""
    kit = changed(
        ('"96 %"', '"100 %"'),
        ('"97 %"', '"100 %"'),
        ('causes = { voids = 5, "weed shifted or bled" = 4, tacky = 2 }', "causes = { voids = 5 }"),
    )

    assert re.fullmatch(r"Most pieces of knob and most money are lost to \*\*voids\*\*: €[\d,]+ a year\.", scrap_order(kit))


def test_scrap_order_names_the_step_where_no_causes_are_given(changed):
    """Two steps without causes are two: the one that rejects most and the one that costs most are named, and no 'not said'."""
    bare = [
        ('causes = { voids = 5, "weed shifted or bled" = 4, tacky = 2 }\n', ""),
        ('causes = { "sand-through or chip" = 4 }\n', ""),
        ('causes = { "scratch or skewed insert" = 3 }\n', ""),
    ]
    said = scrap_order(changed(*bare))

    assert said.startswith("Most pieces of knob and most money are lost to **demould** (no causes given): €")
    assert "not said" not in said
    alone = scrap_order(changed(*bare, ('"96 %"', '"100 %"'), ('"97 %"', '"100 %"')))
    assert alone.startswith("Most pieces of knob and most money are lost to **demould** (no causes given): €")


def test_scrap_order_where_all_rounds_to_nothing(changed):
    """One in 50,000 that fails each check costs some cents a year: no ranks of zeros, and no cause leads."""
    said = scrap_order(changed(('"89 %"', '"99.9980 %"'), ('"96 %"', '"99.9980 %"'), ('"97 %"', '"99.9980 %"')))

    assert said == "Scrap of knob takes less than €1 a year, so no cause of it stands out."


def test_scrap_order_says_whose_causes_they_are(changed):
    """Causes as the table of crafts has them were never counted; the maker's own, with any other weight, are theirs."""
    template = next(step["causes"] for step in tables("crafts")["gypsum"]["steps"] if step.get("causes"))
    told = "How its causes share the loss is a guess of the trade; a faults log counts them."
    for weight, guessed in (0, True), (1, False):
        causes = ", ".join(f'"{cause}" = {share + weight}' for cause, share in template.items())
        said = scrap_order(changed(('causes = { voids = 5, "weed shifted or bled" = 4, tacky = 2 }', f"causes = {{ {causes} }}")))
        assert said.endswith(told) == guessed


def test_scrap_order_where_nothing_is_scrapped(changed):
    """A study that passes every piece has no causes to rank."""
    kit = changed(('"89 %"', '"100 %"'), ('"96 %"', '"100 %"'), ('"97 %"', '"100 %"'))

    assert scrap_order(kit) == "Nothing of knob is scrapped in this study."


def test_scrap_now_without_and_with_more(demos):
    """As worked by hand for the knobs: 17.1 % today, 1.8 more an hour without any, and less with more."""
    said = scrap_now(demos[KNOBS], "knob")

    assert said.startswith(
        f"Today 17.1{NB}% of the casts of knob end as scrap. Without any, an hour would bring €22.66 instead of €20.84"
    )
    assert re.search(r"five points more scrap would cost €0\.\d\d\.$", said)


def test_scrap_now_where_more_scrap_helps(changed):
    """Where a full pot sells every knob for less than its postage, more scrap sells fewer and loses less."""
    kit = changed(('"216 orders/year"', '"9000 orders/year"'), ('"96.00 EUR"', '"1.00 EUR"'), ('"6.30 EUR"', '"63.00 EUR"'))
    said = scrap_now(kit, "knob")

    assert "would add €" in said


def test_scrap_now_where_nearly_all_is_scrap(changed):
    """Of a hundred casts a check passes one: there are no five points more, so nothing is said of them."""
    said = scrap_now(changed(('"89 %"', '"1 %"')), "knob")

    assert said.startswith(f"Today 99.1{NB}% of the casts of knob end as scrap.") and "five points" not in said


# prices, hours, places


def test_price_sentences_above_and_below(demos):
    """Knobs break even below their price, figures at a factor of 2.02 above it."""
    below, above = price_sentences(demos[KNOBS]), price_sentences(demos[FIGURES])

    assert f", 17{NB}% below that;" in below
    assert f", 102{NB}% above that;" in above


def test_hidden_hours_by_hand(demos):
    """Of the knobs' 1,071 hours, 2568 knobs at 14.63 minutes are 626 at the bench: 42 % are not; 22310 / 626 is 35.63."""
    said = hidden_hours(demos[KNOBS])

    assert said.startswith(f"42{NB}% of the 1,071 hours of the year are not making")
    assert "would look like €35.63 an hour; over every hour it is **€20.84**." in said


def test_cost_sentence_by_hand(demos):
    """Casts, minutes and material of a good knob as worked by hand for the demo."""
    said = cost_sentence(demos[KNOBS])

    assert said.startswith(
        "A good **knob** takes 1.21 casts and 14.6 minutes of making, mould making in it, uses €1.54 of material, consumables and moulds, and costs €"
    )


def test_places_taken_in_a_rack(demos):
    """4924 good bars a year need 4924 / (0.97 x 0.995) on the rack, in 48 weeks, each for 5: 531 places by Little's law, of 640."""
    assert demos[SOAP].point().utilisation["curing-rack"] == pytest.approx(531 / 640, abs=0.5 / 640)


def test_stair_sentence_up_and_down(demos):
    """18 hours in one pot, and ten minutes to demould: five loads a week, worse from the next morning's end on, better once two fit in a day."""
    kit = demos[KNOBS]
    said = stair_sentence(kit, load_wait(kit))

    assert said.startswith(
        "With 1 in use (pressure pot), 18 hours of waiting let **5 loads a week** through. Getting the pieces out takes 10 minutes a load, and "
        "until then the moulds are full. The next stair down comes at about "
    )
    assert "The next stair up would need " in said and "data sheet allows it" in said


def test_stair_sentence_at_the_top(changed):
    """A wait of a quarter of an hour has no shorter one to try, so no stair up is promised."""
    kit = changed(('wait = "18 h"', 'wait = "0.25 h"'))

    assert "stair up" not in stair_sentence(kit, load_wait(kit))


def test_stair_sentence_on_a_flat(changed):
    """With many pots the turnarounds fill the day whatever the wait, so there is no stair down within three days."""
    kit = changed(("count = 1\n", "count = 60\n"), ("sets = { value = 2,", "sets = { value = 60,"))

    assert "stair down" not in stair_sentence(kit, load_wait(kit))


def test_swings_are_in_the_units_of_the_page(logged):
    """Resin by the kilogram near the stated 24 EUR, shares as shares, and what is moved as a whole against now."""
    swings = swing_table(logged).set_index("label")

    assert swings.unit["knob: price of resin"] == "EUR/kg" and 20 < swings.low["knob: price of resin"] < 28
    assert swings.unit["knob: pass share of sand"] == "share" and swings.unit["what buyers will pay"] == "of its middle"


def test_grid_sentence_with_and_without_a_wait(demos):
    """A product that waits is told where and how long; a grid in which waiting moves nothing is one sentence, a cent apart or none."""
    kit = demos[KNOBS]

    assert grid_sentence(kit, *main_wait(kit)).startswith("The longest wait of this product is 18 hours at **pot**.")
    grid = pd.DataFrame([[21.0, 21.0], [15.0, 15.0]], index=[0.0, 0.4], columns=[9.0, 45.0])
    scrap = f"only scrap matters: €21.00 with no scrap, €15.00 with 40{NB}% of the casts scrapped."
    still = "**Waiting moves nothing here:** an hour brings the same from 9 to 45 hours at **pot**"
    assert grid_still(kit, grid, "pot") == f"{still}; {scrap}"
    assert grid_still(kit, grid, None) == f"No step of this product waits; {scrap}"
    assert grid_still(kit, grid * 0 + 20, "pot") == f"{still}, and scrap moves nothing either: an hour brings €20.00."
    assert grid_still(kit, grid.add([0.0, 0.01]), "pot") == ""


def test_a_frontier_that_stands_still_is_a_sentence(demos):
    """The same price at any number of buyers is said once; one that moves, or is not there, is drawn."""
    fmt, line = format_of(demos[KNOBS]), pd.DataFrame({"buyers": [0.4, 1.0, 2.0], "price": [0.9, 0.9, 0.9]})
    said = f"Whatever the buyers, every hour just earns the target at the same price: 90{NB}%."

    assert stands_still(line, "buyers", "price", fmt.percent) == said
    assert stands_still(line.add([0.0, 0.1]), "buyers", "price", fmt.percent) != said
    for other in ([0.9, 0.9, 0.95], [0.9, 0.9, np.nan]):
        assert stands_still(line.assign(price=other), "buyers", "price", fmt.percent) == ""


def test_months_that_let_as_many_loads_through_are_told_once(demos):
    """Cold and warm have their hours, all months one number of loads; where the cold costs loads each says its own."""
    kit = demos[KNOBS]
    wait = load_wait(kit)
    rows = pd.DataFrame(
        {"month": ["January", "July"], "temperature": [20, 23], "hours": [20.7, 16.8], "loads a week": [5.0, 5.0]}
    )
    alike, apart = cure_by_season(kit, wait, rows), cure_by_season(kit, wait, rows.assign(**{"loads a week": [4.0, 5.0]}))

    assert months_alike(rows) and alike.count("loads a week") == 1 and "Every month lets 5 loads a week through." in alike
    assert "takes 20.7 hours and lets 4 loads" in apart and "takes 16.8 hours and lets 5 loads" in apart


@pytest.mark.parametrize(
    ("scrap", "cure", "said"),
    [
        (None, None, "All numbers are drawn as the study and its logs have them."),
        (0.1, None, f"In every draw: scrap set to 10.0{NB}% of casts."),
        (0.0, None, f"In every draw: scrap set to 0.0{NB}% of casts."),
        (None, 12, "In every draw: the wait at pot set to 12.0 hours."),
        (0.1, 12, f"In every draw: scrap set to 10.0{NB}% of casts and the wait at pot set to 12.0 hours."),
    ],
)
def test_levers_sentence_names_what_is_set(demos, scrap, cure, said):
    """Neither, either or both levers; a scrap rate of zero is one that is set."""
    assert levers_sentence(demos[KNOBS], "knob", scrap=scrap, cure_hours=cure) == said


# what the study rests on


def test_target_sentence_of_a_stated_target(demos):
    """16 an hour over 46 weeks of 37.5 hours is 27,600."""
    assert target_sentence(demos[KNOBS]) == (
        "The target of €16.00 an hour is stated in the study. For a full year of 46 weeks at 37.5 hours that is €27,600."
    )


def test_target_sentence_of_a_published_wage(changed):
    """14.75 paid for 2028 hours is 29,913 a year; over 46 weeks of 37.5 hours 17.34 an hour. The source is named."""
    kit = changed(
        (
            'per_hour = { value = "16.00 EUR/h", note = "before anything is set aside for contributions and tax" }',
            'wage = "ie-living-wage-2024"',
        )
    )
    said = target_sentence(kit)

    assert said.startswith(
        "The target of €17.34 an hour comes from living wage €14.75, Ireland, from 2024 (Living Wage Technical Group"
    )
    assert said.endswith(
        "paid for 2,028 hours a year, with 0\u00a0% for an employer's contributions. For a full year of 46 weeks at 37.5 hours that is €29,913."
    )


def test_introduction_of_a_demo_and_of_a_study(demos, changed):
    """A demo says that it is invented; a study of one's own, with no question, does not."""
    own = changed(
        ("invented = true", "invented = false"),
        ('question = "Can cast drawer knobs with pressed seaweed pay a living wage?"', ""),
    )

    assert introduction(demos[KNOBS]).endswith("**Invented demo:** no person, place or business in it is real.")
    assert introduction(own).startswith("**Kelpmoor Handles.**\n\nEpoxy drawer knobs")
    assert "Invented" not in introduction(own)


def test_cost_sentence_and_rows_are_the_same_money(logged):
    """The sentence's material is the rows of material, consumables and mould material; labour rows are its minutes at the target."""
    from casting_econ.pages.cost import cost_table

    rows, found = cost_table(logged, "knob").set_index("kind").cost, logged.point().products["knob"]
    things = rows[["material", "consumables", "mould material"]].sum()

    assert things == pytest.approx(found["material_per_good_piece"], rel=1e-12)
    assert f"uses €{things:.2f} of material, consumables and moulds" in cost_sentence(logged)
    assert rows.filter(like="labour").sum() == pytest.approx(found["minutes_per_good_piece"] * 16 / 60, rel=1e-12)


def test_scrap_now_without_scrap(changed):
    """Nothing scrapped: no 'instead of' the same figure."""
    kit = changed(("89 %", "100 %"), ("96 %", "100 %"), ("97 %", "100 %"))
    said = scrap_now(kit, "knob")

    assert said.startswith("No cast of knob ends as scrap in this study, and an hour brings €") and "instead of" not in said


def test_three_numbers_of_a_study(demos, logged):
    """Three numbers in order of their swing, each with what it rests on."""
    stated, measured = (three_numbers(kit, swing_table(kit)).split("\n") for kit in (demos[KNOBS], logged))

    assert [line[:2] for line in stated] == ["1.", "2.", "3."]
    assert stated[0].startswith("1. **how long all work takes**: from low to high it moves pay an hour by €")
    assert any("(measured)" in line for line in measured)


def test_three_numbers_of_a_certain_study(changed):
    """Where no number has a spread, none is said to matter."""
    text = (rates_copy(KNOBS) / "study.toml").read_text(encoding="utf-8")
    kit = changed((text[text.index("[spread]") : text.index("[stations")], ""))

    assert three_numbers(kit, swing_table(kit)) == "Every number of this study is stated as certain, so none can move the result."


def test_evidence_effect_with_and_without_logs(demos, logged):
    """Without logs nothing is said to be measured; with them, what they change and three numbers behind it."""
    said = evidence_effect(logged)

    assert evidence_effect(demos[KNOBS]) == "There are no logs yet: every number is as stated."
    assert said.startswith("As stated, before the logs, an hour would bring €20.84; with what the logs measured it brings €")
    assert len(re.findall(r"\([+−]\u2060€\d+\.\d\d\)", said)) == 3


def test_certainty_list_with_and_without_logs(demos, logged):
    """Guesses that wait for logs are counted until the logs are there; counts add up to the whole."""
    waiting, measured = certainty_list(demos[KNOBS]), certainty_list(logged)

    assert "21 of the guesses ask for records that the logs do not have." in waiting and "measured" not in waiting
    assert "measured by the logs" in measured and "do not have" not in measured
    for said in (waiting, measured):
        total, *counts = map(
            int, re.findall(r"(?:^|, |numbers: )(\d+) (?:stated|guessed|measured|published|agreed|decided)", said)
        )
        assert total == sum(counts)
        assert len(said.split("Guessed: ")[1].split(" and ")[0].split(", ")) == 12


def test_records_overview_with_and_without_logs(demos, logged):
    """First and last day, rows of every log, and how many numbers they measure."""
    said = records_overview(logged)

    assert records_overview(demos[KNOBS]) == "This study has no logs: everything rests on what the study file states."
    assert said.startswith("Logs from 2025-01-06 to 2025-06-29: timesheet (1,102 rows), batches (108 rows), ")
    assert f"They measure {len(logged.assumed.evidence)} of the study's numbers." in said


def test_records_overview_tells_what_is_odd(tmp_path):
    """Losses that no fault explains are said under the overview."""
    shutil.copytree(rates_copy(KNOBS), tmp_path / "study")
    (tmp_path / "study" / "records" / "faults.csv").write_text(
        "date,batch,step,cause,pieces,fate\n2025-01-07,K001,demould,voids,2,scrap\n", encoding="utf-8"
    )
    said = records_overview(open_study(tmp_path / "study"))

    assert said.endswith(" pieces not good in batches.csv, without a row in faults.csv; booked to the first check.")
