"""Break-even prices where buyers leave or come with the price: put back with the orders they bring, they pay what they say."""

import json
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from commands import DATA, rates_copy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize
from workshops_by_hand import VALUES, two_products

from casting_econ.explore.explorer import Explorer
from casting_econ.kit import format_of, open_study
from casting_econ.models import evaluate, moved_at, with_levers
from casting_econ.pages.change import study_with_scenarios
from casting_econ.pages.channels import price_sentences
from casting_econ.pages.conditions import MOST_PRICE, break_even_prices, levers, solve_for_target
from casting_econ.pages.scrap import scrap_curve
from casting_econ.running.panel import _price_words, panel_grid, panel_parts
from casting_econ.running.results import as_json, results
from casting_econ.running.sweep import _changes, values_of

DEMOS = "gannet-lane-figures hollin-quay-pulls kelpmoor-handles ninepenny-lather samphire-hooks".split()
KEYS = "break_even_price", "cash_break_even_price"
TRAY = """
[products.tray]
casts_per_load = 4
[products.tray.steps.pour]
minutes = "20 min"
pass_share = "90 %"
[channels.fair]
product = "tray"
orders = "20 orders/year"
pieces_per_order = 1
price = "16.00 EUR"
"""


@cache
def elastic(demo, power):
    """A demo in whose every channel buyers leave or come with the price."""
    kit = open_study(DATA / demo)
    return kit.changed({"channels": {name: {"elasticity": power} for name in kit.study.file.channels}})


def edited_demo(folder, *edits, more=""):
    """The first demo without its logs, with some text of its file replaced once and some put behind it."""
    text = (rates_copy("kelpmoor-handles") / "study.toml").read_text(encoding="utf-8")
    for old, new in edits:
        assert old in text
        text = text.replace(old, new, 1)
    (folder / "study.toml").write_text(text + more, encoding="utf-8")
    return open_study(folder, with_records=False)


def test_half_of_all_minutes_is_half_of_them_where_hands_learn(tmp_path):
    """What the first piece took is halved with what a practised hand takes, so the mean between them is too: own arithmetic. What hands
    have learnt is as in a study whose minutes are all stated as half."""
    learns = ('minutes = { value = "3.4 min"', 'first_minutes = "9 min"\nlearning_rate = "80 %"\nminutes = { value = "3.4 min"')
    kit = edited_demo(tmp_path, learns)
    for key, steps in {"bench": None, "minutes.sand": ["sand"]}.items():
        lever = next(lever for lever in levers(kit) if lever.key == key)
        now, half = (evaluate(lever.move(kit.inputs(), np.asarray(x))).products["knob"]["piece"].steps for x in (1.0, 0.5))
        for before, after in zip(now, half, strict=True):
            part = 0.5 if steps is None or before.name in steps else 1.0
            assert after.minutes == pytest.approx(part * before.minutes), before.name


def beyond(a, key):
    """What a year pays an hour beyond the target, or leaves when the bills are paid. [money/hour, money/year]"""
    totals = evaluate(a).totals
    return totals["pay_per_hour"] - a.target_per_hour if key == KEYS[0] else totals["residual_pay_per_year"]


def put_back(a, product, factor):
    """The workshop with every price of a product so many times what it is, and the orders those bring."""
    for c in a.channels:
        if c.product == product:
            a = moved_at(a, f"channels.{c.name}.price", lambda now: now * factor)
    return a


def check_put_back(a, product, prices):
    """Each price pays what it says, with the orders it brings; where none does, or any does, neither end nor today's says otherwise."""
    mean = evaluate(a).products[product]["mean_price_per_piece"]
    for key, price in prices.items():
        if 0 < price < np.inf:
            assert beyond(put_back(a, product, float(price / mean)), key) == pytest.approx(0.0, abs=1e-6)
        else:
            ends = beyond(put_back(a, product, np.array([0.05, 1.0, MOST_PRICE])), key)
            assert (ends >= 0).tolist() == [price == 0] * 3


@pytest.mark.parametrize("power", [0.0, 0.5, 1.0, 1.5])
@pytest.mark.parametrize("demo", DEMOS)
def test_break_even_prices_put_back_pay_what_they_say(demo, power):
    """Of every demo, with its logs and as stated; and the price that pays the target is that of the conditions page."""
    kit = elastic(demo, power)
    (product,) = kit.study.file.products
    for stated in (False, True):
        check_put_back(kit.inputs(stated=stated), product, break_even_prices(kit, product, stated=stated))
    factor = solve_for_target(kit, [next(lever for lever in levers(kit) if lever.key == "price")])[0]
    price = factor * kit.point().products[product]["mean_price_per_piece"]

    assert break_even_prices(kit, product)[KEYS[0]] == pytest.approx(np.inf if np.isnan(price) else price, rel=1e-9)


@settings(deadline=None, max_examples=60)
@given(VALUES, st.integers(1, 3), st.floats(0, 3))
def test_break_even_prices_put_back_in_any_workshop(v, kilns, ruined):
    """Of two products, some of whose buyers leave with the price of one, from whatever price they were counted at."""
    a = two_products(v | {"elasticity": max(v["elasticity"], 0.05)}, kilns=kilns, ruined=ruined)
    kit = SimpleNamespace(inputs=lambda stated: a)
    check_put_back(a, "bowl", break_even_prices(kit, "bowl"))
    tile = evaluate(a).products["tile"]

    assert break_even_prices(kit, "tile") == {key: tile[key] for key in KEYS}  # nobody leaves with its price


def test_break_even_prices_over_scrap_are_put_back_at_each_rate():
    """Every row of the table and the chart of the scrap page."""
    kit, rates = elastic("gannet-lane-figures", 0.5), np.array([0.0, 0.2, 0.4])
    table = scrap_curve(kit, "figure", rates)
    for rate, *prices in zip(rates, table["break-even price"], table["cash break-even price"], strict=True):
        check_put_back(with_levers(kit.inputs(), scrap=rate), "figure", dict(zip(KEYS, prices, strict=True)))


def test_results_hold_the_price_that_pays_with_its_orders():
    """At the point and as stated; over the draws, for which it is not solved, nothing; all as it was where no buyer leaves."""
    kit = elastic("gannet-lane-figures", 1.0)
    told = json.loads(as_json(results(kit, kit.monte_carlo(64))))
    for way, stated in (("point", False), ("stated", True)):
        prices = break_even_prices(kit, "figure", stated=stated)
        assert {key: told[way]["products"]["figure"][key] for key in KEYS} == pytest.approx(prices, rel=1e-8)
    assert {value for key in KEYS for value in told["draws"]["products"]["figure"][key].values()} == {None}
    still = elastic("gannet-lane-figures", 0.0)
    found = still.point().products["figure"]
    assert break_even_prices(still, "figure") == {key: found[key] for key in KEYS}


def test_the_panel_reads_the_price_off_where_buyers_leave(monkeypatch):
    """Where the middle over the draws crosses the target, within a hundredth; where no price tried does, it says so."""
    monkeypatch.setattr("casting_econ.running.panel.MOST_DRAWS", 256)
    kit = elastic("hollin-quay-pulls", 0.5)
    grid = panel_grid(kit)
    i, j, k = grid.now

    def middle(*draws, **price):
        return np.median(kit.monte_carlo(*draws, **price).draws["pay_per_hour"])

    def over(factor):  # from where the study stands in all of its draws
        return middle(grid.draws, price=factor) + middle() - middle(grid.draws) - grid.target

    found = grid.break_even_price[i, j, k] / grid.mean_price[j]
    assert 1.0 < found < 1.6 and found == pytest.approx(optimize.brentq(over, 1.0, 1.6), rel=0.01)
    assert (grid.break_even_price == grid.break_even_price[:, :1]).all()  # wherever the price stands
    assert grid.break_even_price[-1, 0, k] == np.inf and over(1.6) > 0 > over(1.0)
    fmt = format_of(kit)
    told = [_price_words(fmt, price, True) for price in (12.3, np.inf, -np.inf)]
    assert told == [f"about {fmt.money(12.3)}", "no price tried does", "any price tried does"]
    assert _price_words(fmt, np.inf, False) == "no price does" and _price_words(fmt, -1.0, False) == "any price does"
    body = str(panel_parts(kit)["body"])
    assert "and the price that does, where buyers leave or come with it" in body and "as many buy as now" not in body


# ------------------------------------------------------------------ whose price the orders hold at


def came(kit):
    """Orders a year that come online."""
    return float(kit.point().channels["online"]["came"])


def test_every_way_of_changing_a_price_brings_the_same_orders(tmp_path):
    """216 orders at 96, elasticity 2: a tenth dearer brings 216 / 1.21, by scale, change, sweep, explorer and lever, together and in draws too."""
    ways = """
[scenarios.scaled]
what = "a tenth dearer"
scale = { "channels.online.price" = 1.1 }
[scenarios.stated]
what = "105.60 instead of 96"
change.channels.online.price = "105.60 EUR"
[scenarios.ranged]
what = "about 105.60 instead of 96"
change.channels.online.price = { low = "100 EUR", likely = "105.60 EUR", high = "110 EUR" }
[scenarios.back]
what = "a tenth dearer, and back"
scale = { "channels.online.price" = 0.9090909090909091 }
[scenarios.counted]
what = "216 orders come at 105.60"
change.channels.online = { price = "105.60 EUR", reference_price = "105.60 EUR" }
[scenarios.new]
what = "a fair beside it"
[scenarios.new.change.channels.fair]
product = "knob"
orders = "30 orders/year"
pieces_per_order = 1
price = "20 EUR"
elasticity = 2
"""
    kit = edited_demo(tmp_path, ('price = "96.00 EUR"\n', 'price = "96.00 EUR"\nelasticity = 2\n'), more=ways)
    fewer = pytest.approx(216 / 1.21)
    key, values = values_of("channels.online.price=96,105.60 EUR")
    explorer = Explorer(kit, draws=64)
    lever = next(lever for lever in levers(kit) if lever.key == "price")

    assert came(kit) == 216 and came(study_with_scenarios(kit, ["scaled"])) == fewer
    assert came(study_with_scenarios(kit, ["stated"])) == fewer
    assert came(kit.changed(_changes({key: values[1]}))) == fewer
    assert came(explorer.moved({"channels.online.price": 105.6})) == fewer
    assert float(evaluate(lever.move(kit.inputs(), np.asarray(1.1))).channels["online"]["came"]) == fewer
    assert came(study_with_scenarios(kit, ["stated", "back"])) == pytest.approx(216)
    assert came(study_with_scenarios(kit, ["counted"])) == 216
    assert float(study_with_scenarios(kit, ["new"]).point().channels["fair"]["came"]) == 30
    ranged = study_with_scenarios(kit, ["ranged"])
    assert came(ranged) == pytest.approx(216 * (float(ranged.inputs().channels[0].price) / 96) ** -2)
    before = kit.monte_carlo(64).draws["orders/online"]
    for name in ("scaled", "stated"):
        drawn = study_with_scenarios(kit, [name]).monte_carlo(64, base=kit).draws["orders/online"]
        assert drawn == pytest.approx(before / 1.21)


def test_a_price_edited_in_the_file_is_one_at_which_the_orders_were_counted(tmp_path):
    """216 orders come at 105.60 where the file says so; with the old price as the reference it brings 216 / 1.21."""
    dearer = 'price = "105.60 EUR"\nelasticity = 2\n'
    for more, orders in (("", 216), ('reference_price = "96.00 EUR"\n', 216 / 1.21)):
        kit = edited_demo(tmp_path, ('price = "96.00 EUR"\n', dearer + more))
        assert came(kit) == pytest.approx(orders)


# ------------------------------------------------------------------ words


def test_price_sentences_of_several_products_say_that_each_moves_alone(tmp_path):
    """A tray sold twenty times a year cannot carry a workshop: no price up to eight times today's does, and it is said whose price moves."""
    cheap = ('price = "96.00 EUR"', 'price = "36.00 EUR"'), ("217.00 EUR", "50.00 EUR"), ("192.00 EUR", "50.00 EUR")
    for power in ("0", "0.5"):
        said = price_sentences(edited_demo(tmp_path, *cheap, more=f"{TRAY}elasticity = {power}\n")).split("\n\n")
        assert said[0].startswith("One product's prices move at a time") and len(said) == 3
        end = "No price up to 8 times today's lets every hour earn the target; the bills are paid whatever it sells for."
        assert said[2].endswith(end) and "A **tray** sells for €16.00 on average." in said[2]


def test_the_panel_of_several_products_says_whose_price_it_is(tmp_path):
    """Of one product that alone moves; of a study that has one only there is nothing to say."""
    for more, said in ((TRAY, True), ("", False)):
        kit = edited_demo(tmp_path, ("draws = 8192", "draws = 128"), more=more)
        assert ("are of this product alone, what half of the years" in panel_parts(kit)["body"]) is said


def test_price_sentences_where_no_price_pays_the_bills(tmp_path):
    """Of a tray beside knobs that are given away nearly for nothing."""
    nothing = ('price = "96.00 EUR"', 'price = "1.00 EUR"'), ("217.00 EUR", "1.00 EUR"), ("192.00 EUR", "1.00 EUR")
    said = price_sentences(edited_demo(tmp_path, *nothing, more=TRAY)).split("\n\n")[2]

    assert said == "A **tray** sells for €16.00 on average. No price up to 8 times today's pays the bills, let alone the hours."


def test_price_sentences_where_no_price_is_stated_yet(tmp_path):
    """At a price of nothing both are said all the same: put in place for each piece of an order, an hour earns the target, then nothing."""
    free = [(f'price = "{price}.00 EUR"', 'price = "0 EUR"') for price in (96, 217, 192)]
    kit = edited_demo(tmp_path, *free)
    found = evaluate(kit.inputs()).products["knob"]
    for key, pay in zip(KEYS, (float(kit.inputs().target_per_hour), 0.0)):
        put = tuple(replace(c, price=c.pieces_per_order * found[key]) for c in kit.inputs().channels)
        assert evaluate(replace(kit.inputs(), channels=put)).totals["pay_per_hour"] == pytest.approx(pay, abs=1e-9)
    target, cash = (format_of(kit).money(float(found[key])) for key in KEYS)

    assert price_sentences(kit) == (
        f"A **knob** has no price yet. Every hour earns the target at {target} a piece; at {cash} the bills are paid and the hours earn nothing."
    )


def test_price_sentences_say_when_orders_move_with_the_price():
    """Of one product, whose price alone there is."""
    said, still = (price_sentences(elastic("gannet-lane-figures", power)) for power in (0.5, 0.0))

    assert ". With the orders that a price brings, every hour just earns the target at £9.42, " in said
    assert ". Every hour earns the target at £8.04, " in still and "One product's" not in said + still
