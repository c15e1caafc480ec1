"""An invented workshop with an order, as a study file, and the faults that reading it tells."""

import re

import pytest

from casting_econ.faults import StudyError
from casting_econ.study import read_study

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
