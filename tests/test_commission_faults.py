"""Whatever is wrong with a commission, a station, hands or days is told by its line and its key."""

import pytest
from commands import table
from commission_files import BASE, ORDERS, faults_of, study

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

# id, old text of the study file, new text, dotted key, what the line must say
WRONG = table(r"""
# steps and products
correlation | "8 %" | "108 %" | products.tile.load_correlation | outside the limits | at most 0.95
range of a correlation | load_correlation = "8 %" | load_correlation = { low = 0, likely = 0.1, high = 0.2 } | products.tile.load_correlation | a range, a distribution or records where one figure is needed
hand_sanding | hand_sanding = true | hand_sanding = "perhaps" | products.tile.steps.buff.hand_sanding | true or false
wait_at | "72 °F" | "72 K" | products.tile.steps.pour.wait_at | 'k', that is no temperature | '22 °C'
wait_at too hot | "72 °F" | "72 °C" | products.tile.steps.pour.wait_at | outside the limits | -30 and 60
wait_at in words | "72 °F" | "warm" | products.tile.steps.pour.wait_at | not a temperature | found 'warm'
wait_at true | "72 °F" | true | products.tile.steps.pour.wait_at | not a temperature
wait_at without end | "72 °F" | inf | products.tile.steps.pour.wait_at | not a temperature
# supplies
unknown item | [supplies.hanger] | [supplies.hangar] | supplies.hangar | unknown material or part | 'hanger'?
unknown key of a supply | stock = 30 | stok = 30 | supplies.hanger.stok | did you mean 'stock'?
stock | stock = 30 | stock = -1 | supplies.hanger.stock | outside the limits | of 0 or more
share of a stock | stock = 30 | stock = "30 %" | supplies.hanger.stock | a percentage where an amount is needed
stock of a part | "2 kg" | "2 sheep" | supplies.jesmonite.mix.base.stock | unknown unit 'sheep'
density | "1.3 g/ml" | "1.3 g" | supplies.pigment.density | cannot be read as gram/milliliter
density of a part | "1.02 g/ml" | "0 g/ml" | supplies.jesmonite.mix.liquid.density | outside the limits | above 0
mix_by | mix_by = "mass" | mix_by = "weight" | supplies.jesmonite.mix_by | 'volume' or 'mass'
mix | [supplies.hanger] | [supplies.silicone]\nmix = 3\n[supplies.hanger] | supplies.silicone.mix | a [table] of keys
parts | parts = 5 | parts = 0 | supplies.jesmonite.mix.base.parts | outside the limits | above 0
no parts | parts = 5 |  | supplies.jesmonite.mix.base.parts | is missing
packs | packs = [{ quantity = "50 | packs = 5 # "50 | supplies.hanger.packs | a list in square brackets
quantity | "50 pieces" | 0 | supplies.hanger.packs.0.quantity | outside the limits | an amount above 0
range of a pack | "50 pieces" | { low = 1, likely = 2, high = 3 } | supplies.hanger.packs.0.quantity | one amount
price of a pack | "8 EUR" | "8 GBP" | supplies.hanger.packs.0.price | money in GBP while | EUR, converted
unknown key of a pack | price = "8 EUR" | prise = "8 EUR" | supplies.hanger.packs.0.prise | did you mean 'price'?
mass of a count | "50 pieces" | "50 g" | supplies.hanger.packs.0.quantity | gram cannot be turned | a plain count
count of a mass | "2 kg" | 2 | supplies.jesmonite.mix.base.stock | a unit that the routing cannot use | an amount in gram
mass of a volume without density | density = "1.3 g/ml" |  | supplies.pigment.packs.0.quantity | gram cannot be turned into ml without a density | an amount in ml, or the density beside it
volume of a part without density | density = "1.02 g/ml" |  | supplies.jesmonite.mix.liquid.packs.0.quantity | milliliter cannot be turned into gram without a density
mix by volume without density | mix_by = "mass" |  | supplies.jesmonite.mix.base.density | is missing | found a mix by volume | mix_by = "mass"
packs on both levels | mix_by = "mass" | mix_by = "mass"\npacks = [{ quantity = "7 kg", price = "50 EUR" }] | supplies.jesmonite.packs | bought both mixed and by part | beside mix.base.packs | the kit sold in this ratio
mix of something counted | [supplies.hanger]\nstock = 30 | [supplies.hanger]\nmix_by = "mass"\nmix.brass = { parts = 1 } | supplies.hanger.mix | a count cannot be turned into gram | found pieces in the routing, mixed by mass
mix by mass of a volume | [supplies.pigment]\ndensity = "1.3 g/ml" | [supplies.pigment]\nmix_by = "mass"\nmix.red = { parts = 1 } | None | milliliter cannot be turned into gram without a density | found ml in the routing, mixed by mass | density of the mix
# temperature
factor | factor = 2.2 | factor = 5 | temperature.factor | outside the limits | at least 1 and at most 4
unknown month | june = 20 | jun = 20 | None | unknown key | did you mean 'june'?
month left out | june = 20\n |  | temperature | months are missing | found no june | all twelve months, or none
# hands
hours | "12 h/week" | 12 | orders.hours | no unit where one is needed, such as hour/week
no hours | "12 h/week" | "0 h/week" | orders.hours | outside the limits | above 0 and at most 168
days_off | ["2026-12-24" | ["2026-13-24" | orders.days_off | not a date in '2026-13-24' | 2027-03-01 to 2027-03-06
days off backwards | 28 to 2027-01-02 | 28 to 2026-01-02 | orders.days_off | a span that ends before it begins
days off that are no list | days_off = [" | days_off = "2026-12-24" # [" | orders.days_off | not a list
day off of another century | ["2026-12-24" | ["1026-12-24" | orders.days_off | a date of another century
number for a day off | ["2026-12-24" | [20261224 | orders.days_off | not a date in '20261224'
holidays | "DE-BY" | "DEX" | orders.holidays | unknown country 'DEX' | did you mean 'DE'?
region | "DE-BY" | "DE-by" | orders.holidays | unknown region 'by' | (did you mean 'BY'?) | regions of DE: BB, BE, BW
no region | "DE-BY" | "DE-" | orders.holidays | unknown region ''
country without regions | "DE-BY" | "IE-D" | orders.holidays | unknown region 'D' | IE has no regions
number for holidays | "DE-BY" | 3 | orders.holidays | text in quotes
sanding_cap | "150 min/day" | "4 h/day" | orders.sanding_cap | outside the limits | 3 h of hand sanding a day is the
no sanding | "150 min/day" | "0 h/day" | orders.sanding_cap | above 0 and at most 3
posting_days | ["friday" | ["fryday" | orders.posting_days | unknown weekday 'fryday' | did you mean 'friday'?
never posted | ["friday", "tuesday"] | [] | orders.posting_days | not a list of weekdays
transit_days | transit_days = 2 | transit_days = 1.5 | orders.transit_days | outside the limits | a whole number
deposit_least | "40 %" | "140 %" | orders.deposit_least | outside the limits | at most 1
what of a promise | what = "market stock" | what = "" | orders.promised.0.what | some text
hours of a promise | "3 h/week" | "200 h/week" | orders.promised.0.hours | outside the limits | at most 168
from | from = 2026-12-01 | from = "soon" | orders.promised.0.from | not a date | 2026-12-24
until | "2027-01-31" | 2026-11-30 | orders.promised.0.until | dates out of order | until 2026-11-30
until in words | "2027-01-31" | "spring" | orders.promised.0.until | not a date
misspelt from | from = 2026 | form = 2026 | orders.promised.0.form | did you mean 'from'?
product of a promise | product = "tile"\ncasts | product = "tiel"\ncasts | orders.promised.1.product | 'tile'?
casts | casts = 24 | casts = 2.5 | orders.promised.1.casts | outside the limits | a whole number above 0
promise of nothing | hours = "3 h/week"\n |  | orders.promised.0 | promises neither hours nor loads | from, until
promise of both | casts = 24 | casts = 24\nhours = "1 h/week" | orders.promised.1 | hours, product, casts | either
promise of half a load | casts = 24\n |  | orders.promised.1 | found product | a product and its casts
# commissions
product | product = "tile"\npieces | product = "tiel"\npieces | commissions.harbour-house.product | mean 'tile'?
no product | product = "tile"\npieces | pieces | commissions.harbour-house.product | is missing
pieces | pieces = 24 | pieces = 24.5 | commissions.harbour-house.pieces | a whole number above 0
no pieces | pieces = 24 | pieces = 0 | commissions.harbour-house.pieces | outside the limits
pieces true | pieces = 24 | pieces = true | commissions.harbour-house.pieces | not a number
due | due = 2027-02-20 | due = "20.2.2027" | commissions.harbour-house.due | not a date | found '20.2.2027'
due with a time | due = 2027-02-20 | due = 2027-02-20T10:00:00 | commissions.harbour-house.due | not a date
due before start | due = 2027-02-20 | due = 2027-01-10 | commissions.harbour-house.due | start 2027-01-10, due 2027-01-10
start | "2027-01-10" | "2027-02-30" | commissions.harbour-house.start | not a date | a day such as
confidence | "90 %"\nset | "100 %"\nset | commissions.harbour-house.confidence | at least 0.5 and at most 0.999
set_of | set_of = 6 | set_of = 0 | commissions.harbour-house.set_of | outside the limits | at least 1
match_within | set_of = 6 | set_of = 6\nmatch_within = "pot" | commissions.harbour-house.match_within | 'load' or 'lot'
policy | set_of = 6 | set_of = 6\npolicy = "top up" | commissions.harbour-house.policy | 'count, then top up'
lot_minutes | load_minutes = "20 | lot_minutes = "3 min/load"\nload_minutes = "20 | products.tile.steps.pour.lot_minutes | each load
per | price = "9 EUR/kg" } | price = "9 EUR/kg", per = "pot" } | products.tile.steps.pour.materials.jesmonite.per | 'lot'
lots_per_load | casts_per_load = 12 | casts_per_load = 12\nlots_per_load = 0 | products.tile.lots_per_load | above 0
variants | sand = 6 } | sand = 0 } | commissions.harbour-house.variants.sand | outside the limits | above 0
variant name | sand = 6 } | "sa.nd" = 6 } | commissions.harbour-house.variants.sa.nd | letters, digits, spaces
not all variants | sand = 6 } | sand = 12 } | commissions.harbour-house.variants | 30 pieces in variants, 24 in all
channel | channel = "shop" | channel = "shpo" | commissions.harbour-house.channel | unknown channel | mean 'shop'?
channel of another product | channel = "shop" | channel = "fair" | commissions.harbour-house.channel | 'fair', which sells 'hook' | one of shop
price | "400 EUR" | 400 | commissions.harbour-house.price | no unit where one is needed, such as EUR
short_penalty | "50 EUR" | "-50 EUR" | commissions.harbour-house.short_penalty | outside the limits | at least 0
short_penalty_each | "5 EUR" | "5 h" | commissions.harbour-house.short_penalty_each | cannot be read as EUR
leftover_value | "3 EUR" | "3,500 EUR" | commissions.harbour-house.leftover_value | question: is this 3500 or 3.500?
rounds | rounds = 3 | rounds = 5 | commissions.harbour-house.rounds | at least 1 and at most 4
in_hand | in_hand = 2 | in_hand = -2 | commissions.harbour-house.in_hand | outside the limits | a whole number at least 0
one_off | "left out" | "maybe" | commissions.harbour-house.one_off | 'included' or 'left out'
stated_hours | "155 h" | "155 EUR" | commissions.harbour-house.stated_hours | cannot be read as hour
what | what = "24 wall tiles" | what = 24 | commissions.harbour-house.what | text in quotes
note | note = "invented" | note = [] | commissions.harbour-house.note | text in quotes
name of a commission | [commissions.harbour-house] | [commissions."harbour.house"] | None | letters, digits, spaces
misspelt key | leftover_value | leftover | commissions.harbour-house.leftover | did you mean 'leftover_value'?
# quotes
maker | maker = "Foxglove Tiles" | maker = 1 | quote.maker | text in quotes
contact | contact = "the | contact = 1 # " | quote.contact | text in quotes
valid_days | valid_days = 21 | valid_days = 0 | quote.valid_days | outside the limits | above 0 and at most 366
changes | changes = "one | changes = 1 # " | quote.changes | text in quotes
terms | terms = ["paid on delivery"] | terms = "paid" | quote.terms | a list in square brackets
tax_note | tax_note = "no | tax_note = 1 # " | quote.tax_note | text in quotes
language | language = "de" | language = "german" | quote.language | no words of a quote | en, de, fr, es, it, nl
""") + [(month, f"{month} =", f'{month} = "hot" #', f"temperature.{month}", "not a temperature") for month in MONTHS]


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
    assert column is None or len(faults) == 1, faults


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
