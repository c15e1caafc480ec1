"""What the study file and the logs say about commissions: every key right and wrong, loads in work, order names."""

import datetime as dt
import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from casting_econ.evidence import load_correlation, load_counts, ruined_loads
from casting_econ.faults import StudyError
from casting_econ.kit import open_study
from casting_econ.ledger.logs import LOGS
from casting_econ.ledger.preview import preview
from casting_econ.study import read_study
from casting_econ.study.commissions import (
    CommissionEntry,
    MixPart,
    OrdersTable,
    Pack,
    PromiseEntry,
    QuoteTable,
    SupplyEntry,
    TemperatureTable,
)
from casting_econ.study.fields import MONTHS
from casting_econ.study.numbers import Amount
from casting_econ.study.schema import StepEntry, is_hand_sanding

DATA = Path(__file__).parents[1] / "data"
DEMOS = ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather")
LINE = re.compile(r"(study\.toml|records/[\w-]+\.csv)(:\d+)?(:[^:;]+)?: .+; right would be .+")
# an invented workshop
BASE = """
[study]
name = "Foxglove Tiles"
currency = "EUR"
invented = true
[time]
weeks = "46 week/year"
hours = "30 h/week"
fixed_hours = "5 h/week"
[calendar]
monday = "09:00-17:00"
tuesday = "09:00-17:00"
[target]
per_hour = "15 EUR/h"
[products.tile]
casts_per_load = 12
load_correlation = "8 %"
[products.tile.steps.pour]
minutes = "2 min"
load_minutes = "20 min"
wait = "16 h"
wait_at = "72 °F"
materials.jesmonite = { quantity = "80 g", price = "9 EUR/kg" }
materials.pigment = { quantity = "2 ml", price = "0.05 EUR/ml" }
[products.tile.steps.sand]
minutes = "3 min"
pass_share = { value = "90 %", from = "records", worth = "20 pieces" }
[products.tile.steps.buff]
minutes = "1 min"
hand_sanding = true
pass_share = "80 %"
[products.tile.parts]
hanger = { price = "0.20 EUR" }
[products.tile.mould]
minutes = "60 min"
life = 40
materials.silicone = { quantity = "500 g", price = "25 EUR/kg" }
[products.hook]
casts_per_load = 4
[products.hook.steps.cast]
minutes = "1 min"
[channels.shop]
product = "tile"
orders = "100 orders/year"
pieces_per_order = 4
price = "60 EUR"
[channels.fair]
product = "hook"
orders = "10 orders/year"
pieces_per_order = 1
price = "9 EUR"
"""
ORDERS = """
[supplies.jesmonite]
mix_by = "mass"
[supplies.jesmonite.mix.base]
parts = 5
stock = "2 kg"
packs = [{ quantity = "5 kg", price = "40 EUR" }, { quantity = "1 lb", price = "6 EUR" }]
[supplies.jesmonite.mix.liquid]
parts = 2
density = "1.02 g/ml"
packs = [{ quantity = "1 L", price = "11 EUR" }]
[supplies.pigment]
density = "1.3 g/ml"
packs = [{ quantity = "100 g", price = "7 EUR" }]
[supplies.hanger]
stock = 30
packs = [{ quantity = "50 pieces", price = "8 EUR" }]
[temperature]
factor = 2.2
january = 14
february = "14 °C"
march = "59 °F"
april = 16
may = 18
june = 20
july = 21
august = 21
september = 19
october = 17
november = 15
december = "14 degC"
[orders]
hours = "12 h/week"
days_off = ["2026-12-24", "2026-12-28 to 2027-01-02", 2027-02-01]
holidays = "DE-BY"
sanding_cap = "150 min/day"
posting_days = ["friday", "tuesday"]
transit_days = 2
deposit_least = "40 %"
[[orders.promised]]
what = "market stock"
hours = "3 h/week"
from = 2026-12-01
until = "2027-01-31"
[[orders.promised]]
what = "shop orders"
product = "tile"
casts = 24
[commissions.harbour-house]
product = "tile"
pieces = 24
due = 2027-02-20
start = "2027-01-10"
confidence = "90 %"
set_of = 6
variants = { sea-green = 18, sand = 6 }
channel = "shop"
price = "400 EUR"
short_penalty = "50 EUR"
short_penalty_each = "5 EUR"
leftover_value = "3 EUR"
rounds = 3
in_hand = 2
one_off = "left out"
stated_hours = "155 h"
what = "24 wall tiles"
note = "invented"
[quote]
maker = "Foxglove Tiles"
contact = "the workshop by the weir"
valid_days = 21
changes = "one round of changes"
terms = ["paid on delivery"]
tax_note = "no tax is charged"
language = "de"
"""


def study(folder, extra="", **logs):
    """A study folder: the base, more lines, and logs as text; file names with _ for -."""
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(BASE + extra, encoding="utf-8")
    if logs:
        (folder / "records").mkdir(exist_ok=True)
    for name, text in logs.items():
        (folder / "records" / f"{name.replace('__', '-')}.csv").write_text(text, encoding="utf-8")
    return folder


def faults_of(folder):
    """Every fault of a study, each line in the promised form."""
    with pytest.raises(StudyError) as caught:
        read_study(folder)

    assert [line for line in str(caught.value).split("\n") if not LINE.fullmatch(line)] == []

    return caught.value.faults


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    """The study file with every new key, read."""
    return read_study(study(tmp_path_factory.mktemp("full"), ORDERS)).file


def test_commission_is_read_as_written(full):
    """Every key of a commission arrives in its plain unit; dates as TOML dates or as text."""
    assert full.commissions["harbour-house"].model_dump() == {
        "product": "tile",
        "pieces": 24,
        "due": dt.date(2027, 2, 20),
        "start": dt.date(2027, 1, 10),
        "confidence": 0.9,
        "set_of": 6,
        "match_within": "load",
        "variants": {"sea-green": 18, "sand": 6},
        "channel": "shop",
        "price": 400.0,
        "short_penalty": 50.0,
        "short_penalty_each": 5.0,
        "leftover_value": 3.0,
        "rounds": 3,
        "in_hand": 2,
        "one_off": "left out",
        "stated_hours": 155.0,
        "policy": None,
        "what": "24 wall tiles",
        "note": "invented",
    }


def test_defaults_are_as_the_table_says(tmp_path):
    """A commission needs product, pieces and a day; without the other tables there is nothing in them."""
    read = read_study(study(tmp_path, '[commissions.one]\nproduct = "tile"\npieces = 5\ndue = 2027-02-20\n'))
    order = read.file.commissions["one"]

    assert (order.confidence, order.set_of, order.rounds, order.in_hand) == (0.95, 1, 2, 0)
    assert (order.price, order.start, order.channel, order.variants) == (None, None, None, {})
    assert (order.short_penalty, order.short_penalty_each, order.leftover_value) == (0.0, 0.0, 0.0)
    assert read.file.orders == OrdersTable() and read.file.supplies == {} and read.file.temperature.months == ()
    assert (read.file.orders.sanding_cap, read.file.orders.deposit_least, read.file.orders.transit_days) == (3.0, 0.3, 0)
    assert (read.file.temperature.factor, read.file.quote.valid_days, read.file.orders.posting_days) == (2.0, 14, None)


def test_hands_and_days_are_read_as_written(full):
    """Hours of commissions, days off as spans, weekdays in the order of the week, promises of both kinds."""
    orders, day = full.orders, dt.date

    assert (orders.hours, orders.sanding_cap, orders.transit_days, orders.deposit_least) == (12.0, 2.5, 2, 0.4)
    assert orders.days_off == (
        (day(2026, 12, 24), day(2026, 12, 24)),
        (day(2026, 12, 28), day(2027, 1, 2)),
        (day(2027, 2, 1), day(2027, 2, 1)),
    )
    assert (orders.holidays, orders.posting_days) == ("DE-BY", ("tuesday", "friday"))
    first, second = orders.promised
    assert (first.hours, first.begins, first.until, first.product) == (3.0, day(2026, 12, 1), day(2027, 1, 31), None)
    assert (second.hours, second.product, second.casts) == (None, "tile", 24)


def test_temperatures_are_read_as_celsius(full):
    """72 °F is 22.2 °C and 59 °F is 15 °C: t/°C = (t/°F - 32)/1.8 (NIST SP 811, appendix B; from memory)."""
    assert full.products["tile"].steps["pour"].wait_at == pytest.approx(40 / 1.8, rel=1e-12)
    assert full.temperature.months == (14, 14, pytest.approx(15.0, rel=1e-12), 16, 18, 20, 21, 21, 19, 17, 15, 14)
    assert full.temperature.factor == 2.2 and full.products["tile"].load_correlation == pytest.approx(0.08)


def test_amounts_are_kept_in_their_own_kind(full):
    """Mass in gram, volume in millilitre, pieces as a count; a pound is 453.59237 g (NIST SP 811)."""
    parts, hanger = full.supplies["jesmonite"].mix, full.supplies["hanger"]

    assert parts["base"].stock == Amount(2000.0, "gram")
    assert parts["base"].packs[0].quantity == Amount(5000.0, "gram")
    assert parts["base"].packs[1].quantity.value == pytest.approx(453.59237, rel=1e-9)
    assert parts["liquid"].packs[0].quantity == Amount(1000.0, "milliliter") and parts["liquid"].packs[0].price == 11.0
    assert (hanger.stock, hanger.packs[0].quantity, hanger.packs[0].price) == (Amount(30.0, ""), Amount(50.0, ""), 8.0)
    assert Amount.read("3 m", "EUR") == Amount(3.0, "m")


def test_amount_in_another_unit():
    """1 US fluid ounce is 29.5735295625 ml (NIST SP 811); a litre at 1.1 g/ml weighs 1.1 kg; without density it is refused."""
    ounce, litre = Amount.read("1 fl oz", "USD"), Amount.read("1 L", "EUR")

    assert ounce.in_unit("ml", "EUR") == pytest.approx(29.5735295625, rel=1e-9)
    assert litre.in_unit("kg", "EUR", 1.1) == pytest.approx(1.1)
    assert Amount.read("1.1 kg", "EUR").in_unit("L", "EUR", 1.1) == pytest.approx(1.0)
    assert Amount.read("2 m", "EUR").in_unit("cm", "EUR") == pytest.approx(200.0)
    for amount, unit, said in ((litre, "g", "without a density"), (litre, "", "turned"), (Amount(3.0, ""), "g", "turned")):
        with pytest.raises(ValueError, match=said):
            amount.in_unit(unit, "EUR", None if "density" in said else 1.1)


def test_density_of_a_mix_follows_from_its_parts():
    """100 ml at 1.13 and 83 ml at 0.98 g/ml weigh 194.34 g in 183 ml; 100 g and 83 g of them fill 173.19 ml (volumes add up)."""
    parts = {"a": {"parts": 100, "density": "1.13 g/ml"}, "b": {"parts": 83, "density": "0.98 g/ml"}}
    by_volume, by_mass, stated = (
        SupplyEntry.model_validate({"mix_by": by, "mix": parts} | more, context={"currency": "EUR"})
        for by, more in (("volume", {}), ("mass", {}), ("mass", {"density": "1.05 g/ml"}))
    )

    assert by_volume.whole_density == pytest.approx(194.34 / 183)
    assert by_mass.whole_density == pytest.approx(183 / (100 / 1.13 + 83 / 0.98))
    assert stated.whole_density == pytest.approx(1.05)
    assert SupplyEntry().whole_density is None


@pytest.mark.parametrize(
    ("name", "stated", "sanding"),
    [("sand", None, True), ("Wet-SANDING", None, True), ("polish", None, False), ("polish", True, True), ("sand", False, False)],
)
def test_hand_sanding_goes_by_the_name_unless_stated(name, stated, sanding):
    """A step is hand sanding where its name says sand, or where the file says so."""
    assert is_hand_sanding(name, StepEntry(hand_sanding=stated)) is sanding


def test_new_tables_are_no_numbers_of_the_study(tmp_path):
    """Decided figures are no assumptions: the numbers and the point result are the same with and without them."""
    bare, full = study(tmp_path / "bare"), study(tmp_path / "full", ORDERS)

    assert read_study(bare).numbers == read_study(full).numbers
    assert open_study(bare).point().totals == open_study(full).point().totals


# id, old text of the study file, new text, dotted key, what the line must say
WRONG = [
    # steps and products
    ("correlation", '"8 %"', '"108 %"', "products.tile.load_correlation", "outside the limits", "at most 0.95"),
    (
        "range of a correlation",
        'load_correlation = "8 %"',
        "load_correlation = { low = 0, likely = 0.1, high = 0.2 }",
        "products.tile.load_correlation",
        "a range, a distribution or records where one figure is needed",
    ),
    ("hand_sanding", "hand_sanding = true", 'hand_sanding = "perhaps"', "products.tile.steps.buff.hand_sanding", "true or false"),
    ("wait_at", '"72 °F"', '"72 K"', "products.tile.steps.pour.wait_at", "'k', that is no temperature", "'22 °C'"),
    ("wait_at too hot", '"72 °F"', '"72 °C"', "products.tile.steps.pour.wait_at", "outside the limits", "-30 and 60"),
    ("wait_at in words", '"72 °F"', '"warm"', "products.tile.steps.pour.wait_at", "not a temperature", "found 'warm'"),
    ("wait_at true", '"72 °F"', "true", "products.tile.steps.pour.wait_at", "not a temperature"),
    ("wait_at without end", '"72 °F"', "inf", "products.tile.steps.pour.wait_at", "not a temperature"),
    # supplies
    ("unknown item", "[supplies.hanger]", "[supplies.hangar]", "supplies.hangar", "unknown material or part", "'hanger'?"),
    ("unknown key of a supply", "stock = 30", "stok = 30", "supplies.hanger.stok", "did you mean 'stock'?"),
    ("stock", "stock = 30", "stock = -1", "supplies.hanger.stock", "outside the limits", "of 0 or more"),
    ("share of a stock", "stock = 30", 'stock = "30 %"', "supplies.hanger.stock", "a percentage where an amount is needed"),
    ("stock of a part", '"2 kg"', '"2 sheep"', "supplies.jesmonite.mix.base.stock", "unknown unit 'sheep'"),
    ("density", '"1.3 g/ml"', '"1.3 g"', "supplies.pigment.density", "cannot be read as gram/milliliter"),
    ("density of a part", '"1.02 g/ml"', '"0 g/ml"', "supplies.jesmonite.mix.liquid.density", "outside the limits", "above 0"),
    ("mix_by", 'mix_by = "mass"', 'mix_by = "weight"', "supplies.jesmonite.mix_by", "'volume' or 'mass'"),
    ("mix", "[supplies.hanger]", "[supplies.silicone]\nmix = 3\n[supplies.hanger]", "supplies.silicone.mix", "a [table] of keys"),
    ("parts", "parts = 5", "parts = 0", "supplies.jesmonite.mix.base.parts", "outside the limits", "above 0"),
    ("no parts", "parts = 5", "", "supplies.jesmonite.mix.base.parts", "is missing"),
    ("packs", 'packs = [{ quantity = "50', 'packs = 5 # "50', "supplies.hanger.packs", "a list in square brackets"),
    ("quantity", '"50 pieces"', "0", "supplies.hanger.packs.0.quantity", "outside the limits", "an amount above 0"),
    ("range of a pack", '"50 pieces"', "{ low = 1, likely = 2, high = 3 }", "supplies.hanger.packs.0.quantity", "one amount"),
    ("price of a pack", '"8 EUR"', '"8 GBP"', "supplies.hanger.packs.0.price", "money in GBP while", "EUR, converted"),
    ("unknown key of a pack", 'price = "8 EUR"', 'prise = "8 EUR"', "supplies.hanger.packs.0.prise", "did you mean 'price'?"),
    ("mass of a count", '"50 pieces"', '"50 g"', "supplies.hanger.packs.0.quantity", "gram cannot be turned", "a plain count"),
    (
        "count of a mass",
        '"2 kg"',
        "2",
        "supplies.jesmonite.mix.base.stock",
        "a unit that the routing cannot use",
        "an amount in gram",
    ),
    (
        "mass of a volume without density",
        'density = "1.3 g/ml"',
        "",
        "supplies.pigment.packs.0.quantity",
        "gram cannot be turned into ml without a density",
        "an amount in ml, or the density beside it",
    ),
    (
        "volume of a part without density",
        'density = "1.02 g/ml"',
        "",
        "supplies.jesmonite.mix.liquid.packs.0.quantity",
        "milliliter cannot be turned into gram without a density",
    ),
    (
        "mix by volume without density",
        'mix_by = "mass"',
        "",
        "supplies.jesmonite.mix.base.density",
        "is missing",
        "found a mix by volume",
        'mix_by = "mass"',
    ),
    (
        "packs on both levels",
        'mix_by = "mass"',
        'mix_by = "mass"\npacks = [{ quantity = "7 kg", price = "50 EUR" }]',
        "supplies.jesmonite.packs",
        "bought both mixed and by part",
        "beside mix.base.packs",
        "the kit sold in this ratio",
    ),
    (
        "mix of something counted",
        "[supplies.hanger]\nstock = 30",
        '[supplies.hanger]\nmix_by = "mass"\nmix.brass = { parts = 1 }',
        "supplies.hanger.mix",
        "a count cannot be turned into gram",
        "found pieces in the routing, mixed by mass",
    ),
    (
        "mix by mass of a volume",
        '[supplies.pigment]\ndensity = "1.3 g/ml"',
        '[supplies.pigment]\nmix_by = "mass"\nmix.red = { parts = 1 }',
        None,
        "milliliter cannot be turned into gram without a density",
        "found ml in the routing, mixed by mass",
        "density of the mix",
    ),
    # temperature
    ("factor", "factor = 2.2", "factor = 5", "temperature.factor", "outside the limits", "at least 1 and at most 4"),
    ("unknown month", "june = 20", "jun = 20", None, "unknown key", "did you mean 'june'?"),
    ("month left out", "june = 20\n", "", "temperature", "months are missing", "found no june", "all twelve months, or none"),
    *((month, f"{month} =", f'{month} = "hot" #', f"temperature.{month}", "not a temperature") for month in MONTHS),
    # hands
    ("hours", '"12 h/week"', "12", "orders.hours", "no unit where one is needed, such as hour/week"),
    ("no hours", '"12 h/week"', '"0 h/week"', "orders.hours", "outside the limits", "above 0 and at most 168"),
    ("days_off", '["2026-12-24"', '["2026-13-24"', "orders.days_off", "not a date in '2026-13-24'", "2027-03-01 to 2027-03-06"),
    ("days off backwards", "28 to 2027-01-02", "28 to 2026-01-02", "orders.days_off", "a span that ends before it begins"),
    ("days off that are no list", 'days_off = ["', 'days_off = "2026-12-24" # ["', "orders.days_off", "not a list"),
    ("day off of another century", '["2026-12-24"', '["1026-12-24"', "orders.days_off", "a date of another century"),
    ("number for a day off", '["2026-12-24"', "[20261224", "orders.days_off", "not a date in '20261224'"),
    ("holidays", '"DE-BY"', '"DEX"', "orders.holidays", "unknown country 'DEX'", "did you mean 'DE'?"),
    (
        "region",
        '"DE-BY"',
        '"DE-by"',
        "orders.holidays",
        "unknown region 'by'",
        "(did you mean 'BY'?)",
        "regions of DE: BB, BE, BW",
    ),
    ("no region", '"DE-BY"', '"DE-"', "orders.holidays", "unknown region ''"),
    ("country without regions", '"DE-BY"', '"IE-D"', "orders.holidays", "unknown region 'D'", "IE has no regions"),
    ("number for holidays", '"DE-BY"', "3", "orders.holidays", "text in quotes"),
    ("sanding_cap", '"150 min/day"', '"4 h/day"', "orders.sanding_cap", "outside the limits", "3 h of hand sanding a day is the"),
    ("no sanding", '"150 min/day"', '"0 h/day"', "orders.sanding_cap", "above 0 and at most 3"),
    ("posting_days", '["friday"', '["fryday"', "orders.posting_days", "unknown weekday 'fryday'", "did you mean 'friday'?"),
    ("never posted", '["friday", "tuesday"]', "[]", "orders.posting_days", "not a list of weekdays"),
    ("transit_days", "transit_days = 2", "transit_days = 1.5", "orders.transit_days", "outside the limits", "a whole number"),
    ("deposit_least", '"40 %"', '"140 %"', "orders.deposit_least", "outside the limits", "at most 1"),
    ("what of a promise", 'what = "market stock"', 'what = ""', "orders.promised.0.what", "some text"),
    ("hours of a promise", '"3 h/week"', '"200 h/week"', "orders.promised.0.hours", "outside the limits", "at most 168"),
    ("from", "from = 2026-12-01", 'from = "soon"', "orders.promised.0.from", "not a date", "2026-12-24"),
    ("until", '"2027-01-31"', "2026-11-30", "orders.promised.0.until", "dates out of order", "until 2026-11-30"),
    ("until in words", '"2027-01-31"', '"spring"', "orders.promised.0.until", "not a date"),
    ("misspelt from", "from = 2026", "form = 2026", "orders.promised.0.form", "did you mean 'from'?"),
    ("product of a promise", 'product = "tile"\ncasts', 'product = "tiel"\ncasts', "orders.promised.1.product", "'tile'?"),
    ("casts", "casts = 24", "casts = 2.5", "orders.promised.1.casts", "outside the limits", "a whole number above 0"),
    ("promise of nothing", 'hours = "3 h/week"\n', "", "orders.promised.0", "promises neither hours nor loads", "from, until"),
    ("promise of both", "casts = 24", 'casts = 24\nhours = "1 h/week"', "orders.promised.1", "hours, product, casts", "either"),
    ("promise of half a load", "casts = 24\n", "", "orders.promised.1", "found product", "a product and its casts"),
    # commissions
    ("product", 'product = "tile"\npieces', 'product = "tiel"\npieces', "commissions.harbour-house.product", "mean 'tile'?"),
    ("no product", 'product = "tile"\npieces', "pieces", "commissions.harbour-house.product", "is missing"),
    ("pieces", "pieces = 24", "pieces = 24.5", "commissions.harbour-house.pieces", "a whole number above 0"),
    ("no pieces", "pieces = 24", "pieces = 0", "commissions.harbour-house.pieces", "outside the limits"),
    ("pieces true", "pieces = 24", "pieces = true", "commissions.harbour-house.pieces", "not a number"),
    ("due", "due = 2027-02-20", 'due = "20.2.2027"', "commissions.harbour-house.due", "not a date", "found '20.2.2027'"),
    ("due with a time", "due = 2027-02-20", "due = 2027-02-20T10:00:00", "commissions.harbour-house.due", "not a date"),
    (
        "due before start",
        "due = 2027-02-20",
        "due = 2027-01-10",
        "commissions.harbour-house.due",
        "start 2027-01-10, due 2027-01-10",
    ),
    ("start", '"2027-01-10"', '"2027-02-30"', "commissions.harbour-house.start", "not a date", "a day such as"),
    ("confidence", '"90 %"\nset', '"100 %"\nset', "commissions.harbour-house.confidence", "at least 0.5 and at most 0.999"),
    ("set_of", "set_of = 6", "set_of = 0", "commissions.harbour-house.set_of", "outside the limits", "at least 1"),
    (
        "match_within",
        "set_of = 6",
        'set_of = 6\nmatch_within = "pot"',
        "commissions.harbour-house.match_within",
        "'load' or 'lot'",
    ),
    ("policy", "set_of = 6", 'set_of = 6\npolicy = "top up"', "commissions.harbour-house.policy", "'count, then top up'"),
    (
        "lot_minutes",
        'load_minutes = "20',
        'lot_minutes = "3 min/load"\nload_minutes = "20',
        "products.tile.steps.pour.lot_minutes",
        "each load",
    ),
    (
        "per",
        'price = "9 EUR/kg" }',
        'price = "9 EUR/kg", per = "pot" }',
        "products.tile.steps.pour.materials.jesmonite.per",
        "'lot'",
    ),
    ("lots_per_load", "casts_per_load = 12", "casts_per_load = 12\nlots_per_load = 0", "products.tile.lots_per_load", "above 0"),
    ("variants", "sand = 6 }", "sand = 0 }", "commissions.harbour-house.variants.sand", "outside the limits", "above 0"),
    ("variant name", "sand = 6 }", '"sa.nd" = 6 }', "commissions.harbour-house.variants.sa.nd", "letters, digits, spaces"),
    ("not all variants", "sand = 6 }", "sand = 12 }", "commissions.harbour-house.variants", "30 pieces in variants, 24 in all"),
    ("channel", 'channel = "shop"', 'channel = "shpo"', "commissions.harbour-house.channel", "unknown channel", "mean 'shop'?"),
    (
        "channel of another product",
        'channel = "shop"',
        'channel = "fair"',
        "commissions.harbour-house.channel",
        "'fair', which sells 'hook'",
        "one of shop",
    ),
    ("price", '"400 EUR"', "400", "commissions.harbour-house.price", "no unit where one is needed, such as EUR"),
    ("short_penalty", '"50 EUR"', '"-50 EUR"', "commissions.harbour-house.short_penalty", "outside the limits", "at least 0"),
    ("short_penalty_each", '"5 EUR"', '"5 h"', "commissions.harbour-house.short_penalty_each", "cannot be read as EUR"),
    ("leftover_value", '"3 EUR"', '"3,500 EUR"', "commissions.harbour-house.leftover_value", "question: is this 3500 or 3.500?"),
    ("rounds", "rounds = 3", "rounds = 5", "commissions.harbour-house.rounds", "at least 1 and at most 4"),
    (
        "in_hand",
        "in_hand = 2",
        "in_hand = -2",
        "commissions.harbour-house.in_hand",
        "outside the limits",
        "a whole number at least 0",
    ),
    ("one_off", '"left out"', '"maybe"', "commissions.harbour-house.one_off", "'included' or 'left out'"),
    ("stated_hours", '"155 h"', '"155 EUR"', "commissions.harbour-house.stated_hours", "cannot be read as hour"),
    ("what", 'what = "24 wall tiles"', "what = 24", "commissions.harbour-house.what", "text in quotes"),
    ("note", 'note = "invented"', "note = []", "commissions.harbour-house.note", "text in quotes"),
    ("name of a commission", "[commissions.harbour-house]", '[commissions."harbour.house"]', None, "letters, digits, spaces"),
    ("misspelt key", "leftover_value", "leftover", "commissions.harbour-house.leftover", "did you mean 'leftover_value'?"),
    # quotes
    ("maker", 'maker = "Foxglove Tiles"', "maker = 1", "quote.maker", "text in quotes"),
    ("contact", 'contact = "the', 'contact = 1 # "', "quote.contact", "text in quotes"),
    ("valid_days", "valid_days = 21", "valid_days = 0", "quote.valid_days", "outside the limits", "above 0 and at most 366"),
    ("changes", 'changes = "one', 'changes = 1 # "', "quote.changes", "text in quotes"),
    ("terms", 'terms = ["paid on delivery"]', 'terms = "paid"', "quote.terms", "a list in square brackets"),
    ("tax_note", 'tax_note = "no', 'tax_note = 1 # "', "quote.tax_note", "text in quotes"),
    ("language", 'language = "de"', 'language = "german"', "quote.language", "no words of a quote", "en, de, fr, es, it, nl"),
]


# what leaves a second fault behind: the key that is missing now
KNOCK_ON = ("unknown key of a pack",)


@pytest.mark.parametrize("case", WRONG, ids=lambda case: case[0])
def test_wrong_entry_is_told(case, tmp_path):
    """What cannot be used is told by its line and key, with what was found and what would be right."""
    _, old, new, column, *texts = case
    text = BASE + ORDERS
    assert old in text
    folder = study(tmp_path)
    (folder / "study.toml").write_text(text.replace(old, new, 1), encoding="utf-8")

    faults = faults_of(folder)

    said = [fault for fault in faults if column in (None, fault.column)]
    assert said, faults
    assert any(all(one in str(fault) for one in texts) and fault.row is not None for fault in said), faults
    assert column is None or len(faults) == (2 if case[0] in KNOCK_ON else 1), faults


def test_every_new_key_has_a_wrong_case():
    """No key of the new tables is without a test of a wrong entry."""
    tables = (SupplyEntry, MixPart, Pack, TemperatureTable, OrdersTable, PromiseEntry, CommissionEntry, QuoteTable)
    keys = {field.alias or name for table in tables for name, field in table.model_fields.items()}
    tested = {case[3].split(".")[-1] for case in WRONG if case[3]} | {case[0] for case in WRONG}

    assert sorted(keys - tested - {"promised"}) == []


def test_promises_that_are_no_list_are_told(tmp_path):
    """A number for the promises is told as what they are."""
    [fault] = faults_of(study(tmp_path, "[orders]\npromised = 3\n"))

    assert (fault.column, fault.right) == ("orders.promised", "a list in square brackets")


def test_line_of_a_fault_is_the_line_of_its_key(tmp_path):
    """A fault in the second of two promises points at its own line, not at the first."""
    folder = study(tmp_path, ORDERS.replace("casts = 24", "casts = 2.5"))
    [fault] = faults_of(folder)
    lines = (folder / "study.toml").read_text(encoding="utf-8").splitlines()

    assert lines[fault.row - 1] == "casts = 2.5"


def test_a_wrong_figure_trips_no_other_check(tmp_path):
    """Pieces that cannot be read are one fault: sets and variants are not told on top; other faults are still found."""
    folder = study(tmp_path, ORDERS.replace("pieces = 24", 'pieces = "many"').replace('channel = "shop"', 'channel = "shpo"'))

    assert [fault.column for fault in faults_of(folder)] == [
        "commissions.harbour-house.pieces",
        "commissions.harbour-house.channel",
    ]


def test_pieces_not_in_whole_sets_are_told(tmp_path):
    """24 pieces in sets of 5, and a variant of 18 in sets of 5, are told each by its key."""
    faults = faults_of(study(tmp_path, ORDERS.replace("set_of = 6", "set_of = 5")))

    assert [fault.column.rpartition("harbour-house.")[2] for fault in faults] == ["pieces", "variants.sand", "variants.sea-green"]
    assert {fault.right for fault in faults} == {"a multiple of 5"}


def test_kit_sold_mixed_has_packs_beside_the_mix(tmp_path):
    """Packs beside the mix are a kit; its volume turns into the routing's grams by the parts' densities."""
    kit = """
[supplies.jesmonite]
packs = [{ quantity = "1 L", price = "20 EUR" }]
mix.a = { parts = 2, density = "1.1 g/ml" }
mix.b = { parts = 1, density = "1.0 g/ml" }
"""
    entry = read_study(study(tmp_path, kit)).file.supplies["jesmonite"]

    assert (entry.mix_by, len(entry.packs), entry.whole_density) == ("volume", 1, pytest.approx(3.2 / 3))


words = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=20)
money = st.decimals(0, 9999, places=2).map(float)
days = st.dates(dt.date(2026, 1, 1), dt.date(2090, 1, 1))


@st.composite
def commissions(draw):
    """A valid commission of tiles, as keys and plain values."""
    set_of = draw(st.integers(1, 9))
    counts = draw(st.lists(st.integers(1, 50), min_size=1, max_size=4))
    start = draw(days)
    entry = {
        "product": "tile",
        "pieces": sum(counts) * set_of,
        "due": start + dt.timedelta(days=draw(st.integers(1, 400))),
        "start": start,
        "confidence": draw(st.floats(0.5, 0.999)),
        "set_of": set_of,
        "variants": {f"v{at}": count * set_of for at, count in enumerate(counts)},
        "channel": "shop",
        "price": draw(money),
        "short_penalty": draw(money),
        "short_penalty_each": draw(money),
        "leftover_value": draw(money),
        "rounds": draw(st.integers(1, 4)),
        "in_hand": draw(st.integers(0, 500)),
        "what": draw(words),
        "note": draw(words),
    }
    left_out = draw(st.sets(st.sampled_from([key for key in entry if key not in ("product", "pieces", "due")])))
    return {key: value for key, value in entry.items() if key not in left_out}


def toml(value):
    """A value in TOML."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml(one)}" for key, one in value.items()) + " }"
    return value.isoformat() if isinstance(value, dt.date) else json.dumps(value, ensure_ascii=False)


@settings(max_examples=60, deadline=None)
@given(commissions())
def test_valid_commission_round_trips(entry):
    """What is written is what is read, and what is read can be read again."""
    written = {
        key: f"{value:.2f} EUR" if isinstance(value, float) and key != "confidence" else value for key, value in entry.items()
    }
    text = "\n".join(f"{key} = {toml(value)}" for key, value in written.items())
    context = {"currency": "EUR"}

    read = CommissionEntry.model_validate(tomllib.loads(text), context=context)

    assert {key: getattr(read, key) for key in entry} == entry
    again = {
        key: f"{value} EUR" if key in PLAIN_MONEY and value is not None else value for key, value in read.model_dump().items()
    }
    assert CommissionEntry.model_validate(again, context=context) == read


PLAIN_MONEY = ("price", "short_penalty", "short_penalty_each", "leftover_value")


HEADER = "batch,date,product,casts,good,cure_h,order,note\n"
COUNTED = "T1,2026-01-05,tile,12,10,16.5,,\nT2,2026-01-06,tile,12,11,17,,\nT3,2026-01-07,tile,12,7,17,,\n"
IN_WORK = "T4,2026-01-08,tile,12,,,harbour-house,in the mould\nT5,2026-01-09,tile,12,?,,harbour-house,\n"
FAULTS = "date,batch,product,step,cause,pieces,fate,extra_minutes\n2026-01-06,T1,tile,sand,chip,2,scrap,\n"
OF_WORK = "2026-01-09,T4,tile,sand,chip,3,scrap,\n2026-01-09,T4,,buff,dull,1,rework,4\n"


def test_loads_without_a_count_are_in_work(tmp_path):
    """A blank in good leaves the batches log and is kept apart, in the same columns, and said by name."""
    read = read_study(study(tmp_path, ORDERS, batches=HEADER + COUNTED + IN_WORK, faults=FAULTS + OF_WORK))

    assert list(read.records["batches"].batch) == ["T1", "T2", "T3"]
    assert list(read.in_work.batch) == ["T4", "T5"] and list(read.in_work.order) == ["harbour-house"] * 2
    assert list(read.in_work.columns) == list(read.records["batches"].columns) == list(LOGS["batches"])
    assert list(read.records["faults"].batch) == ["T1"] and list(read.in_work_faults.pieces) == [3, 1]
    assert list(read.in_work_faults.columns) == list(LOGS["faults"])
    assert read.reading.notes[0] == (
        "2 loads of batches.csv have no count of good pieces yet; they count as in work, with their 2 rows of faults.csv."
    )
    [file] = [file for file in read.reading.files if file.log == "batches"]
    assert (file.read, file.used, file.set_aside) == (5, 5, [])
    assert "2 loads without a count in good, still in work: rows 5, 6" in preview(read.reading)


def test_one_load_in_work_is_said_in_the_singular(tmp_path):
    """One load has no count; it counts as in work."""
    read = read_study(study(tmp_path, ORDERS, batches=HEADER + COUNTED + IN_WORK.splitlines()[0] + "\n"))

    assert read.reading.notes == ("1 load of batches.csv has no count of good pieces yet; it counts as in work.",)


def test_evidence_is_as_before_loads_in_work(tmp_path):
    """Loads in work and their faults change no number: logs with and without them give the same evidence and point."""
    with_them = study(tmp_path / "with", ORDERS, batches=HEADER + COUNTED + IN_WORK, faults=FAULTS + OF_WORK)
    without = study(tmp_path / "without", ORDERS, batches=HEADER + COUNTED, faults=FAULTS)
    kits = [open_study(folder) for folder in (with_them, without)]

    for log in ("batches", "faults"):
        pd.testing.assert_frame_equal(*(kit.study.records[log] for kit in kits), check_dtype=log == "batches")
    assert kits[0].assumed.evidence and kits[0].assumed.evidence == kits[1].assumed.evidence
    assert kits[0].point().totals == kits[1].point().totals


def test_study_with_loads_in_work_only_has_no_batches(tmp_path):
    """Where no load was counted yet there is no log of batches, and the study rests on its guesses."""
    kit = open_study(study(tmp_path, ORDERS, batches=HEADER + IN_WORK, faults=FAULTS.replace("01-06,T1", "01-09,T4")))

    assert kit.study.records == {} and len(kit.study.in_work) == 2 and len(kit.study.in_work_faults) == 1
    assert kit.point().totals["pay_per_hour"] == open_study(study(tmp_path / "bare")).point().totals["pay_per_hour"]


@pytest.mark.parametrize("demo", DEMOS)
def test_demos_have_nothing_in_work(demo):
    """The demos' logs name no order and every load is counted: their frames of loads in work are empty, with all columns."""
    read = read_study(DATA / demo)

    assert read.in_work.empty and list(read.in_work.columns) == list(LOGS["batches"])
    assert read.in_work_faults.empty and read.records["batches"].order.isna().all()


def test_study_without_logs_has_nothing_in_work(tmp_path):
    """Without logs the frames are there all the same."""
    read = read_study(study(tmp_path))

    assert list(read.in_work.columns) == list(LOGS["batches"]) and read.in_work.empty
    assert list(read.in_work_faults.columns) == list(LOGS["faults"]) and read.in_work_faults.empty


# id, batches, faults, column, row, what the line must say
BROKEN = [
    (
        "header of good missing",
        HEADER.replace("good,", "") + "T1,2026-01-05,tile,12,16,,\n",
        None,
        "good",
        1,
        "column is missing",
    ),
    ("unknown product in work", HEADER + "T4,2026-01-08,tiel,12,,,,\n", None, "product", 2, "did you mean 'tile'?"),
    ("no casts in work", HEADER + "T4,2026-01-08,tile,,,,,\n", None, "casts", 2, "empty cell"),
    ("more lost than cast", HEADER + IN_WORK, OF_WORK.replace(",3,", ",13,"), "pieces", 2, "13 scrapped or seconds, 12 cast"),
    ("lost before the pour", HEADER + IN_WORK, OF_WORK.replace("01-09,T4,tile", "01-07,T4,tile"), "date", 2, "out of order"),
    ("unknown batch", HEADER + IN_WORK, OF_WORK.replace("T4,tile", "T9,tile"), "batch", 2, "unknown batch"),
    (
        "more lost than counted loads lost",
        HEADER + COUNTED + IN_WORK,
        "2026-01-09,,tile,sand,chip,9,scrap,\n2026-01-09,T4,tile,sand,chip,3,scrap,\n",
        "pieces",
        2,
        "room for 8",
    ),
]


@pytest.mark.parametrize("case", BROKEN, ids=lambda case: case[0])
def test_what_is_wrong_with_a_load_in_work_is_told(case, tmp_path):
    """A load in work needs all but its count, and its faults are checked like others."""
    _, batches, faults, column, row, said = case
    logs = {"batches": batches} | ({"faults": FAULTS.splitlines()[0] + "\n" + faults} if faults else {})

    [fault] = faults_of(study(tmp_path, ORDERS, **logs))

    assert (fault.file, fault.column, fault.row) == (f"records/{'faults' if faults else 'batches'}.csv", column, row)
    assert said in str(fault)


def test_unknown_order_is_a_note(tmp_path):
    """An order that is no commission is no fault; one in other capitals is read as its name."""
    rows = COUNTED.replace("16.5,,\n", "16.5,HARBOUR-HOUSE,\n").replace("17,,\n", "17,harbour-hose,\n")
    read = read_study(study(tmp_path, ORDERS, batches=HEADER + rows))

    assert list(read.records["batches"].order) == ["harbour-house", "harbour-hose", "harbour-hose"]
    assert read.reading.notes == (
        "batches.csv names orders that are no commission of study.toml: 'harbour-hose' (did you mean 'harbour-house'?). "
        "An order that is over may stay.",
    )


OPEN_ROW, CLOSED_ROW = "T4,2026-01-08,tile,12,,,harbour-house,in the mould\n", "T4,2026-01-08,tile,12,9,16.5,harbour-house,\n"


@pytest.mark.parametrize("first", ["batches__1", "batches__2"])
def test_row_exported_again_with_its_count_replaces_the_open_one(first, tmp_path):
    """Of the same batch, date, product and casts the counted row counts, whichever file comes first."""
    second = "batches__2" if first == "batches__1" else "batches__1"
    read = read_study(study(tmp_path, ORDERS, **{first: HEADER + COUNTED + OPEN_ROW, second: HEADER + COUNTED + CLOSED_ROW}))

    assert sorted(read.records["batches"].batch) == ["T1", "T2", "T3", "T4"] and read.in_work.empty and read.reading.notes == ()
    assert read.records["batches"].set_index("batch").good["T4"] == 9
    files = {file.place: file for file in read.reading.files}
    old = files[f"records/{first.replace('__', '-')}.csv"]
    assert [one.reason for one in old.set_aside if one.row == 5] == [
        f"counted since, in row 5 of records/{second.replace('__', '-')}.csv"
    ]
    assert all(file.read == file.used + len(file.set_aside) for file in files.values())


def test_row_counted_further_down_the_same_file_replaces_the_open_one(tmp_path):
    """A line written anew below is told as such, and the open one is set aside."""
    read = read_study(study(tmp_path, ORDERS, batches=HEADER + OPEN_ROW + COUNTED + CLOSED_ROW))

    [file] = read.reading.files
    assert [(one.row, one.reason) for one in file.set_aside] == [(2, "counted since, in row 6")]
    assert list(read.records["batches"].batch) == ["T1", "T2", "T3", "T4"]


def test_open_row_that_says_more_replaces_one_that_says_less(tmp_path):
    """Exported again with its cure hours, but not yet counted: the fuller row counts as in work, once."""
    fuller = OPEN_ROW.replace(",,,harbour", ",,16,harbour")
    read = read_study(study(tmp_path, ORDERS, batches__1=HEADER + OPEN_ROW, batches__2=HEADER + fuller))

    assert list(read.in_work.cure_h) == [16.0]
    assert [one.reason for one in read.reading.files[0].set_aside] == ["said again with more in row 2 of records/batches-2.csv"]


@pytest.mark.parametrize(
    ("old", "new", "columns"),
    [
        (OPEN_ROW, CLOSED_ROW.replace("01-08", "01-09"), ["batch", "batch"]),
        (OPEN_ROW, CLOSED_ROW.replace(",12,9", ",11,9"), ["batch", "batch"]),
        (OPEN_ROW, OPEN_ROW.replace("in the mould", "out of it"), ["batch", "batch"]),
        (CLOSED_ROW, CLOSED_ROW.replace(",9,", ",8,"), ["batch", "batch"]),
    ],
    ids=["another date", "other casts", "two open rows that disagree", "two counts"],
)
def test_rows_that_disagree_are_still_the_same_id_twice(old, new, columns, tmp_path):
    """Nothing is guessed where rows of one batch are not the same load, or say different things."""
    faults = faults_of(study(tmp_path, ORDERS, batches__1=HEADER + old, batches__2=HEADER + new))

    assert [fault.column for fault in faults] == columns
    assert {fault.wrong for fault in faults} == {"the same id twice"}


def test_correlation_without_batches_is_the_prior(tmp_path):
    """Beta(1, 19), whose q-quantile is 1 - (1 - q)^(1/19) by its distribution function 1 - (1 - x)^19; mean 0.05."""
    found, chances = load_correlation(read_study(study(tmp_path)), "tile"), np.array([0.1, 0.5, 0.9])

    assert found.middle == pytest.approx(0.05)
    assert found.quantile(chances) == pytest.approx(1 - (1 - chances) ** (1 / 19), rel=1e-6)


def batches_of(counts):
    """A batches log of loads of 12 with these good."""
    days = [dt.date(2026, 1, 1) + dt.timedelta(days=at) for at in range(len(counts))]
    return HEADER + "".join(f"T{at},{day},tile,12,{good},,,\n" for at, (day, good) in enumerate(zip(days, counts)))


def mean_by_plain_sum(counts):
    """Posterior mean of the correlation by a sum over a grid of share and correlation, with scipy's beta-binomial.

    Share beta(7.2, 2.8): 0.9 x 0.8 stated, worth 10; correlation beta(1, 19).
    """
    shares, alike = (np.arange(300) + 0.5) / 300, (np.arange(300) + 0.5)[:, None] / 300 * 0.9
    strength = (1 - alike) / alike
    logs = stats.beta(7.2, 2.8).logpdf(shares) + stats.beta(1, 19).logpdf(alike)
    for good in counts:
        logs = logs + stats.betabinom.logpmf(good, 12, shares * strength, (1 - shares) * strength)
    weights = np.exp(logs - logs.max())
    return float((weights * alike).sum() / weights.sum())


@pytest.mark.parametrize("counts", [[10, 11, 9, 10, 12, 8], [12, 4, 12, 6, 12, 12, 3], [10]])
def test_correlation_equals_a_plain_sum(counts, tmp_path):
    """The posterior mean is that of a plain sum, which is good to 0.001 of it, and up to 1.2 % above.

    Its density is joined by straight lines between 71 points 0.15 apart in log-odds: at a correlation of 0.1, where the prior
    falls by 19 x 0.0135 = 26 % from point to point, a line lies 0.26²/12 = 0.6 % above the curve, and more further out.
    """
    found = load_correlation(read_study(study(tmp_path, batches=batches_of(counts))), "tile")

    assert 0.999 < found.middle / mean_by_plain_sum(counts) < 1.012


def test_correlation_leaves_out_ruined_loads(tmp_path):
    """A load with nothing good among good ones is ruined, not correlated: it is as if it were not there."""
    usual = [10, 11, 9, 10, 12, 10, 11, 10]
    with_it = read_study(study(tmp_path / "a", batches=batches_of([*usual, 0])))
    without = read_study(study(tmp_path / "b", batches=batches_of(usual)))

    assert len(ruined_loads(load_counts(with_it, "tile"))) == 1
    assert load_correlation(with_it, "tile") == load_correlation(without, "tile")
    assert (
        load_correlation(with_it, "tile").middle
        < 0.05
        < load_correlation(read_study(study(tmp_path / "c", batches=batches_of([12, 2, 12, 3, 12, 2, 12, 12]))), "tile").middle
    )


def test_correlation_of_an_unknown_product_is_refused(tmp_path):
    """A product that the study has not is a programming error, told as such."""
    with pytest.raises(KeyError, match="tiel"):
        load_correlation(read_study(study(tmp_path)), "tiel")
