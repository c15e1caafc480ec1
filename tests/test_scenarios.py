"""Scenarios on common draws, the best set within a budget, and what would have to be true."""

import tomllib
from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from commands import rates_copy

from casting_econ.faults import StudyError
from casting_econ.kit import format_of, open_study
from casting_econ.models import evaluate, yearly_charge
from casting_econ.pages.answer import next_things, the_decision
from casting_econ.pages.change import (
    best_sentence,
    best_set,
    changed,
    compared,
    scenario_sentence,
    scenario_table,
    study_with_scenarios,
    together_sentence,
)
from casting_econ.pages.conditions import condition_sentence, frontier, levers, needed_table, pay_over_target, solve_for_target
from casting_econ.pages.deciding import Decision, information_table
from casting_econ.pages.scrap import break_even_scrap


@cache
def demo(name="kelpmoor-handles", records=True):
    return open_study(rates_copy(name), with_records=records)


def with_scenarios(tmp_path, text, name="kelpmoor-handles", records=False):
    """A demo with other scenarios, without its logs."""
    head = (rates_copy(name) / "study.toml").read_text(encoding="utf-8").partition("[decision]")[0]
    (tmp_path / "study.toml").write_text(head + "\n" + text, encoding="utf-8")
    return open_study(tmp_path, with_records=records)


def money(value, digits=2):
    return round(float(value), digits)


# ------------------------------------------------------------------ scenarios


def test_changes_in_turn_are_those_changes_at_once():
    """Also on top of a scenario that scales what the logs know, and of a price that buyers follow from where the study has it."""
    kit, online, joiner = demo(), {"online": {"price": "60 EUR", "elasticity": 1.5}}, {"joiner": {"price": "300 EUR"}}
    for begun in (kit, study_with_scenarios(kit, ["more-buyers"])):
        in_turn = begun.changed({"channels": online}).changed({"channels": joiner})
        at_once = begun.changed({"channels": online | joiner})
        assert (
            in_turn.point().totals["pay_per_hour"]
            == at_once.point().totals["pay_per_hour"]
            != begun.point().totals["pay_per_hour"]
        )
        assert in_turn.assumed.evidence.keys() == at_once.assumed.evidence.keys()


def test_a_shared_factor_that_is_scaled_moves_its_numbers_as_the_same_width_stated(tmp_path):
    """Own arithmetic: twice 12 % is 24 %, so that both scenarios have the same draws, and others than the study."""
    scaled, stated = 'scale = { "spread.minutes" = 2 }', 'change.spread.minutes = "24 %"'
    kit = with_scenarios(
        tmp_path, "".join(f'[scenarios.{n}]\nwhat = "wider"\n{how}\n' for n, how in (("a", scaled), ("b", stated)))
    )
    pay = [study_with_scenarios(kit, [name]).monte_carlo(256, 3, base=kit).draws["pay_per_hour"] for name in ("a", "b")]

    assert kit.study.numbers["spread.minutes"].value == 0.12
    assert pay[0] == pytest.approx(pay[1], rel=1e-12) and not np.allclose(pay[0], kit.monte_carlo(256, 3).draws["pay_per_hour"])


def test_the_study_itself_keeps_its_numbers_beside_a_scenario():
    kit = demo()
    found = compared(kit, ["second-pot"])
    assert np.array_equal(found.base_residual, kit.monte_carlo().draws["residual_pay_per_year"])
    assert np.array_equal(found.base_pay, kit.monte_carlo().draws["pay_per_hour"])


def test_a_scenario_that_changes_nothing_gains_nothing_in_any_draw(tmp_path):
    kit = with_scenarios(tmp_path, '[scenarios.same]\nwhat = "as now"\nchange.channels.online.price = "96.00 EUR"\n')
    assert not compared(kit, ["same"]).gain.any()
    paid = with_scenarios(tmp_path, '[scenarios.same]\nwhat = "as now, but paid for"\noutlay = "600 EUR"\nlife = "4 year"\n')
    assert compared(paid, ["same"]).gain == pytest.approx(np.full(8192, -float(yearly_charge(600.0, 0.0, 4.0))))
    assert compared(paid, ["same"]).payback == np.inf and compared(paid, ["same"]).better == 0.0


def test_changed_numbers_are_as_stated_and_the_others_as_the_logs_have_them():
    kit = demo()
    other = study_with_scenarios(kit, ["tumbling"])
    sand = "products.knob.steps.sand.minutes"
    assert other.assumed.numbers[sand].value == 0.8 and sand not in other.assumed.evidence
    lap = "products.knob.steps.flat-lap.minutes"
    assert other.assumed.numbers[lap].distribution is kit.assumed.numbers[lap].distribution
    scaled = study_with_scenarios(kit, ["more-buyers"])
    for channel in ("online", "joiner", "wholesale"):
        key = f"channels.{channel}.orders"
        assert scaled.assumed.numbers[key].value == pytest.approx(1.2 * kit.assumed.numbers[key].value)
        middle = [k.assumed.numbers[key].distribution.quantile(np.array([0.3])) for k in (kit, scaled)]
        assert middle[1] == pytest.approx(1.2 * middle[0])
    assert "wholesale" not in study_with_scenarios(kit, ["no-wholesale"]).study.file.channels


def test_second_pot_facts_of_the_trade_notes(tmp_path):
    """Trade notes G1, by its rules and without the logs: worth nothing at today's demand, about 2,100 a year at +20 %, about 6,100 at +50 %."""
    text = """
[scenarios.pot]
what = "a second pot"
outlay = "320 EUR"
life = "6 year"
change.stations.pressure-pot.count = 2
"""
    for factor, worth in ((1.0, 0.0), (1.2, 2100.0), (1.5, 6100.0)):
        kit = with_scenarios(
            tmp_path, text + f'[scenarios.demand]\nwhat = "demand"\nscale = {{ "channels.*.orders" = {factor} }}\n'
        )
        alone, both = study_with_scenarios(kit, ["demand"]).point(), study_with_scenarios(kit, ["demand", "pot"]).point()
        more = both.totals["residual_pay_per_year"] - alone.totals["residual_pay_per_year"]
        hours = both.totals["hours_per_year"] - alone.totals["hours_per_year"]
        gain = more - 16.0 * hours - 320 / 6
        # the notes take a pot's week as five loads in each of 46 weeks, as the model does; they round to hundreds
        assert gain == pytest.approx(worth - (320 / 6 if factor == 1.0 else 0.0), abs=160.0)


def test_staining_facts_of_the_trade_notes(tmp_path):
    """Trade notes G2: staining lifts pay to 6.4; with consignment dropped and a quarter more for every set, 8.3. Rounded to 0.1."""
    text = """
[scenarios.stain]
what = "staining instead of painting"
change.products.figure.steps.paint.minutes = "1.5 min"
[scenarios.no-gallery]
what = "no consignment"
drop = ["channels.gallery"]
[scenarios.dearer]
what = "a quarter more"
scale = { "channels.*.price" = 1.25 }
"""
    kit = with_scenarios(tmp_path, text, "gannet-lane-figures")
    assert kit.point().totals["pay_per_hour"] == pytest.approx(4.88, abs=0.005)
    assert study_with_scenarios(kit, ["stain"]).point().totals["pay_per_hour"] == pytest.approx(6.4, abs=0.05)
    three = study_with_scenarios(kit, ["stain", "no-gallery", "dearer"]).point().totals["pay_per_hour"]
    assert three == pytest.approx(8.3, abs=0.05)


def test_market_facts_of_the_trade_notes(tmp_path):
    """Trade notes G3: 0.50 dearer at markets 18.2; a wet year of 26 buyers a day 14.6; the 24 best markets of 37 buyers 16.6."""
    text = """
[scenarios.dearer]
what = "0.50 more a bar at markets"
change.channels.markets.price = "17.85 USD"
[scenarios.wet]
what = "26 buyers a day"
change.channels.markets.orders = "936 orders/year"
[scenarios.best]
what = "only the 24 best markets"
[scenarios.best.change.channels.markets]
orders = "888 orders/year"
days = "24 day/year"
"""
    kit = with_scenarios(tmp_path, text, "ninepenny-lather")
    for name, pay in (("dearer", 18.2), ("wet", 14.6), ("best", 16.6)):
        assert study_with_scenarios(kit, [name]).point().totals["pay_per_hour"] == pytest.approx(pay, abs=0.05), name
    fewer = kit.point().totals["hours_per_year"] - study_with_scenarios(kit, ["best"]).point().totals["hours_per_year"]
    assert fewer == pytest.approx(145.0, abs=1.0)


def test_common_draws_tell_a_small_change_from_none(tmp_path):
    """A cheaper site, and little else that differs between the draws: common ones see it, draws of their own do not."""
    scenario = '[scenarios.site]\nwhat = "a cheaper site"\nchange.overheads.site = "40 EUR/year"\n'
    kit = with_scenarios(tmp_path, scenario)
    found = compared(kit, ["site"])
    one, other = compared(kit, ["site"], seed=7), compared(kit, ["site"], seed=8)
    apart = (one.pay - other.base_pay).std(ddof=1)
    assert (found.pay - found.base_pay).std(ddof=1) * 5 < apart


def test_payback_and_present_value_by_hand(tmp_path):
    """A gain that is the same in every draw: fewer overheads. Outlay 300 and 10 h at 16, 120 a year for 5 years at 10 %: (P/A, 10 %, 5) = 3.7907868."""
    text = 'interest = "10 %/year"\n'
    head = (rates_copy("kelpmoor-handles") / "study.toml").read_text(encoding="utf-8").partition("[decision]")[0]
    scenario = '[scenarios.site]\nwhat = "a cheaper site"\noutlay = "300 EUR"\nlife = "5 year"\nhours = "10 h"\nchange.overheads.site = "40 EUR/year"\n'
    (tmp_path / "study.toml").write_text(text + head + scenario, encoding="utf-8")
    found = compared(open_study(tmp_path, with_records=False), ["site"])
    assert found.set_up == pytest.approx(160 * 0.2637975, abs=1e-4)  # (A/P, 10 %, 5)
    assert found.gain + found.charge + found.set_up == pytest.approx(np.full(8192, 120.0))
    assert found.first_cost == 460.0 and found.payback == pytest.approx(460 / 120)
    assert found.present_value == pytest.approx(np.full(8192, 120 * 3.7907868 - 460), abs=1e-4)


def test_the_best_set_is_the_best_of_all_that_can_be_paid(tmp_path):
    def within(budget):
        text = (rates_copy("kelpmoor-handles") / "study.toml").read_text(encoding="utf-8")
        (tmp_path / "study.toml").write_text(text.replace('budget = "1200 EUR"', f'budget = "{budget} EUR"'), encoding="utf-8")
        return open_study(tmp_path)

    kit = within(500)
    found, tried = best_set(kit, draws=256)
    names, outlay = list(kit.study.file.scenarios), {n: e.outlay for n, e in kit.study.file.scenarios.items()}
    all_sets = [c for k in range(1, len(names) + 1) for c in combinations(names, k) if sum(outlay[n] for n in c) <= 500]
    gains = {c: compared(kit, list(c), 256).gain.mean() for c in all_sets}
    assert tried == len(all_sets) and found.names == max(gains, key=gains.get)
    assert found.outlay <= 500.0
    assert best_set(within(0), draws=256)[0].outlay == 0.0
    assert [row.gain.mean() for row in changed(kit, 256)] == sorted((row.gain.mean() for row in changed(kit, 256)), reverse=True)


def test_scenarios_that_change_the_same_key_are_not_done_together(tmp_path):
    text = "\n".join(
        f'[scenarios.{name}]\nwhat = "{name}"\nchange.channels.online.price = "{price} EUR"\n'
        for name, price in (("a", 97), ("b", 98))
    )
    found, tried = best_set(with_scenarios(tmp_path, text), draws=256)
    assert found.names == ("b",) and tried == 2


@pytest.mark.parametrize(
    ("text", "place", "told"),
    [
        ('[scenarios.x]\nwhat = "x"\ndrop = ["channels.onlin"]', "scenarios.x.drop", "no such key; found 'channels.onlin'"),
        ('[scenarios.x]\nwhat = "x"\nscale = { "channels.*.order" = 2 }', "scenarios.x.scale", "no such number"),
        ('[scenarios.x]\nwhat = "x"\nchange.channels.online.prise = "9 EUR"', "scenarios.x.channels.online.prise", "unknown key"),
        ('[scenarios.x]\nwhat = "x"\nchange.channels.online.price = "9 kg"', "scenarios.x.channels.online.price", "kg"),
        ('[scenarios.x]\nwhat = "x"\nchange.channels.online.product = "nob"', "scenarios.x.channels.online", "nob"),
        ('[scenarios.x]\noutlay = "9 EUR"', "scenarios.x.what", "is missing"),
        ('[scenarios.x]\nwhat = "x"\nlife = "0 year"', "scenarios.x.life", "0"),
    ],
)
def test_a_wrong_scenario_is_told_with_its_place(tmp_path, text, place, told):
    with pytest.raises(StudyError) as error:
        with_scenarios(tmp_path, text)
    assert len(error.value.faults) == 1
    fault = error.value.faults[0]
    assert fault.column.startswith(place) and told in str(fault) and fault.row is not None


def test_the_file_of_a_study_is_not_touched_by_its_scenarios():
    kit = demo()
    before = repr(kit.study.raw)
    compared(kit, ["tumbling", "dearer-sets", "no-wholesale"], 256)
    assert repr(kit.study.raw) == before
    assert tomllib.loads((rates_copy("kelpmoor-handles") / "study.toml").read_text(encoding="utf-8")) == kit.study.raw


# ------------------------------------------------------------------ what would have to be true


@pytest.mark.parametrize("name", ["kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather"])
def test_each_lever_at_what_it_needs_earns_exactly_the_target(name):
    kit = demo(name)
    chosen = levers(kit)
    found = solve_for_target(kit, chosen)
    assert len(found) >= 12
    for lever, value in zip(chosen, found, strict=True):
        tried = lever.move(kit.inputs(), np.linspace(lever.low, lever.high, 60))
        at_ends = np.broadcast_to(pay_over_target(tried), (60,))
        if np.isnan(value):  # no value does: the sign is the same everywhere
            assert len({x >= 0 for x in at_ends}) == 1, lever.key
        elif lever.key == "cure":  # a staircase jumps past the target: one side earns it, the other does not
            sides = [pay_over_target(lever.move(kit.inputs(), np.array([value + d])))[0] for d in (-0.01, 0.01)]
            assert min(sides) < 0 <= max(sides)
        else:
            over = pay_over_target(lever.move(kit.inputs(), np.array([value])))[0]
            assert over == pytest.approx(0.0, abs=1e-6), lever.key


def test_a_lever_alone_needs_what_it_needs_among_others():
    """Levers narrowed down together, those that no value helps left out, each need what they need alone; none where none crosses."""
    kit = demo("gannet-lane-figures")
    chosen = levers(kit)
    found = solve_for_target(kit, chosen)
    alone = [solve_for_target(kit, [lever])[0] for lever in chosen]
    assert found == pytest.approx(alone, rel=1e-11, nan_ok=True) and 0 < np.isnan(found).sum() < len(found)


def test_levers_where_they_are_leave_pay_as_it_is():
    kit = demo()
    here = float(kit.point().totals["pay_per_hour"])
    for lever in levers(kit):
        moved = evaluate(lever.move(kit.inputs(), np.array([lever.now]))).totals["pay_per_hour"]
        assert float(np.ravel(moved)[0]) == pytest.approx(here, rel=1e-12), lever.key


def test_conditions_of_the_trade_notes():
    """Trade notes G2: prices would have to rise by 2.02; the target is unreachable at any demand up to eight times. G1: break-even at 61 % of demand."""
    stated = demo("gannet-lane-figures", records=False)
    frame = needed_table(stated).set_index("key")
    assert frame.needed["price"] == pytest.approx(2.02, abs=0.005)
    assert np.isnan(frame.needed["buyers"]) and np.isnan(frame.needed["scrap"])
    kelp = needed_table(demo("kelpmoor-handles", records=False)).set_index("key")
    assert kelp.needed["buyers"] == pytest.approx(0.61, abs=0.005)
    assert kelp.needed["scrap"] == pytest.approx(break_even_scrap(demo("kelpmoor-handles", records=False), "knob"), abs=1e-5)


def test_a_frontier_passes_through_what_each_alone_needs():
    kit = demo("ninepenny-lather")
    alone = needed_table(kit).set_index("key").needed
    line = frontier(kit, "buyers", "price")
    here = line.iloc[(line.buyers - 1.0).abs().argmin()]
    assert here.buyers == 1.0 and here.price == pytest.approx(alone["price"], abs=1e-9)
    assert (np.diff(line.price) <= 1e-9).all()  # more buyers never need a higher price here
    by_key = {lever.key: lever for lever in levers(kit)}
    for row in line.iloc[::10].itertuples():
        a = by_key["price"].move(by_key["buyers"].move(kit.inputs(), np.array([row.buyers])), np.array([row.price]))
        assert pay_over_target(a)[0] == pytest.approx(0.0, abs=1e-6)


# ------------------------------------------------------------------ in words


def with_gain(gain, **fields):
    """A comparison with gains of our own, by draw."""
    found = compared(demo(), ["second-pot"], 1024)
    gain = np.asarray(gain, float)
    base = found.base_over_target[: gain.size]
    kept = {"base_over_target": base, "over_target": base + gain, "charge": 0.0, "outlay": 0.0}
    size = {name: getattr(found, name)[: gain.size] for name in ("pay", "base_pay", "residual", "base_residual")}
    return replace(found, **(size | kept | fields))


def test_a_scenario_in_words_switches_with_its_draws():
    fmt, noise = format_of(demo()), np.random.default_rng(2).normal(size=1024)
    noise = noise - noise.mean()
    said = {
        "worth it.": 500 + 100 * noise,
        "open.": 60 + 300 * noise,
        "no difference that these draws can tell": 300 * noise,
        "not worth it.": -60 + 300 * noise,
    }
    for words, gain in said.items():
        text = scenario_sentence(with_gain(gain), fmt)
        assert f": {words}" in text and not any(f": {other}" in text for other in said if other != words)
    back = scenario_sentence(with_gain(500 + 100 * noise, outlay=250.0), fmt)
    assert "are back in about 6 months" in back
    other = scenario_sentence(with_gain(500 + 100 * noise, limits={"demand": 0.1, "hands": 0.9}), fmt)
    assert "With it, your hands would be what limits, not demand" in other
    same = with_gain(-60 + 300 * noise)
    same = replace(
        same, residual=same.base_residual, limits={"demand": 0.2, "hands": 0.8}, base_limits={"demand": 0.2, "hands": 0.8}
    )
    assert "because hands are full" in scenario_sentence(same, fmt)
    assert "because" not in scenario_sentence(replace(same, residual=same.base_residual - 5000.0), fmt)
    # 1,000 more in money, and 60 short of the target: 1,060 at it are so many hours (own arithmetic)
    cash = replace(with_gain(np.full(1024, -60.0), set_up=0.0), target=10.0)
    cash = scenario_sentence(replace(cash, residual=cash.base_residual + 1000.0), fmt)
    assert "not worth it.** It brings €1,000 a year, but its 106 hours are worth €1,060 at the target." in cash
    assert "none brings more" in best_sentence(None, 7, 500.0, fmt) and "within €500" in best_sentence(None, 7, 500.0, fmt)
    assert "without a limit" in best_sentence(with_gain(500 + noise), 7, None, fmt)
    table = scenario_table([with_gain(500 + 100 * noise)])
    assert table["gain a year"][0] == pytest.approx(500.0) and table.chance[0] > 0.99


def test_what_scenarios_bring_together_beside_one_by_one():
    """More or less than the sum is said with its size, and why where what limits shows it; the sum itself, and one alone, need no word."""
    fmt, noise = format_of(demo()), np.random.default_rng(3).normal(size=1024)
    full, free = {"pot": 0.8, "demand": 0.2}, {"pot": 0.0, "demand": 1.0}

    def row(gain, limits, *names):
        return replace(with_gain(gain + 20 * (noise - noise.mean())), names=names, limits=limits)

    alone = [row(500, full, "sales"), row(300, free, "pot"), row(900, full, "other")]
    for gain, limits, words in (
        (1500, free, "€800 in all; together they bring €700 more, because one makes room where others alone fill the pot."),
        (1500, full, "€800 in all; together they bring €700 more."),
        (600, {"pot": 0.0, "demand": 0.2, "hands": 0.8}, "€200 less, because with all of them your hands limit more often."),
        (600, full, "€800 in all; together they bring €200 less."),
        (800, free, ""),
    ):
        said = together_sentence(row(gain, limits, "sales", "pot"), alone, fmt)
        assert said.endswith(words) and bool(said) == bool(words)
    assert together_sentence(row(500, full, "sales"), alone, fmt) == together_sentence(None, alone, fmt) == ""


def test_conditions_in_words_switch_with_whether_an_hour_pays():
    fmt = format_of(demo())
    frame = needed_table(demo())
    assert "would still just earn" in condition_sentence(frame, True, fmt)
    poor = needed_table(demo("gannet-lane-figures"))
    text = condition_sentence(poor, False, fmt)
    assert "would earn the target with any one" in text and "No value does** for: buyers" in text
    nothing = frame.assign(needed=np.nan)
    assert "reaches the target, whatever its value" in condition_sentence(nothing, False, fmt)
    assert "could lose the target" in condition_sentence(nothing, True, fmt)


def test_the_decision_and_the_next_things_say_what_the_draws_do():
    kit, fmt, noise = demo(), format_of(demo()), np.random.default_rng(3).normal(size=1024)
    rows = [with_gain(500 + 100 * noise), with_gain(60 + 300 * (noise - noise.mean()))]
    good = Decision(kit=kit, benefit=3000 + 200 * noise, values={})
    poor = Decision(kit=kit, benefit=-3000 + 200 * noise, values={})
    empty = information_table(Decision(kit=kit, benefit=np.full(8, 5.0), values={}))
    assert "Change: a second pressure pot" in the_decision(good, rows, fmt)
    assert "No scenario of the study is clearly better" in the_decision(good, rows[1:], fmt)
    assert "No scenario" not in the_decision(good, [], fmt)
    for after, words in (
        (-2500 + 200 * noise, "still reached with a chance of"),
        (2500 + 200 * noise, "more than its hours at the target with"),
    ):
        assert words in the_decision(poor, [replace(rows[0], over_target=after, base_over_target=after - 500 - noise)], fmt)
    things = next_things(kit, good, empty, rows, fmt)
    assert len(things) == 3
    for thing, start in zip(things, ("**Do: ", "**Find out about: ", "**Watch: "), strict=True):
        assert thing.startswith(start)
    measured = empty.reindex(range(1)).assign(kind="number", what="buyers", worth=900.0, error=10.0, takes="12 more months")
    close = Decision(kit=kit, benefit=300 + 2000 * noise, values={})
    assert any(
        "**Measure: buyers**" in thing and "12 more months would halve" in thing
        for thing in next_things(kit, close, measured, [], fmt)
    )
    sad = demo("gannet-lane-figures")
    assert next_things(sad, poor, empty, [], fmt)[0].startswith("**No change by less than half is enough alone:** ")
