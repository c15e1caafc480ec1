"""Whatever is wrong with an entry of the study file, or with the file, is told: where, what, and what would be right."""

import re

import pytest
from broken import HOOK, KNOB, STUDY, append, cut, edit, faults_of, row_of, tie
from commands import table

from casting_econ.study.faulty import validated

# id, old text, new text, dotted key, what the line must say
EDITS = table(r"""
# keys and kinds
unknown table | [spread] | [spreads] | spreads | unknown key | did you mean 'spread'?
unknown key of a step | wait =  | waits =  | products.knob.steps.pot.waits | did you mean 'wait'?
unknown key of a material | loss = | los = | products.knob.steps.pour.materials.resin.los | did you mean 'loss'?
unknown key of a channel | fee_fixed | fee_fix | channels.online.fee_fix | did you mean 'fee_fixed'?
misspelt day | monday = | mondy = | calendar.mondy | did you mean 'monday'?
misspelt word | "consumable" | "consumabel" | products.knob.steps.pour.materials.abrasives.kind | did you mean 'consumable'?
neither true nor false | invented = true | invented = "perhaps" | study.invented | true or false
number for a text | name = "Kelpmoor Handles" | name = 7 | study.name | found 7 | text in quotes
text for a list | weekly_tasks = [ | weekly_tasks = "books" # [ | time.weekly_tasks | square brackets
name with a dot | [channels.wholesale] | [channels."j.öiner"] | channels.j.öiner | letters, digits, spaces
# single numbers of other kinds
minutes in grams | "24 min" | "24 g" | products.knob.steps.pot.load_minutes | cannot be read as minute
money of another country | "96.00 EUR" | "96.00 GBP" | channels.online.price | money in GBP while the study counts in EUR | by hand
money of no country | "96.00 EUR" | "96.00 kr" | channels.online.price | unknown unit 'kr' | '2 EUR'
price for another unit | "30.00 EUR/kg" | "30.00 EUR/h" | products.knob.mould.materials.silicone.price | EUR/g
amount in braces | "21.6 g" | "21.6 {g}" | products.knob.steps.pour.materials.resin.quantity | '24 g'
none of a material | "21.6 g" | "0 g" | products.knob.steps.pour.materials.resin.quantity | an amount above 0
share above one | "89 %" | "189 %" | products.knob.steps.demould.pass_share | outside the limits | at most 1 | '25 %'
nothing passes | "89 %" | "0 %" | products.knob.steps.demould.pass_share | outside the limits | above 0
negative minutes | "24 min" | "-24 min" | products.knob.steps.pot.load_minutes | outside the limits | at least 0
negative price | "96.00 EUR" | "-96.00 EUR" | channels.online.price | outside the limits | at least 0
more hours than a week has | "34 h/week" | "200 h/week" | time.hours | outside the limits | at most 168
not a number | count = 1 | count = nan | stations.pressure-pot.count | not a finite number | found nan
infinity | count = 1 | count = inf | stations.pressure-pot.count | not a finite number | found inf
half a pot | count = 1 | count = 1.5 | stations.pressure-pot.count | a whole number above 0
a range of pots | count = 1 | count = { low = 1, likely = 2, high = 3 } | stations.pressure-pot.count | 'discrete'
more pots than fit a town | count = 1 | count = 1e9 | stations.pressure-pot.count | at most 200
mould emptied by no step | life = { | free_after = "demold"\nlife = { | products.knob.mould.free_after | unknown step | mean 'demould'?
mould emptied before the pot | life = { | free_after = "pour"\nlife = { | products.knob.mould.free_after | a step before the load has waited | demould, flat-lap
mould that never wears | life = { | life_shape = 1e5\nlife = { | products.knob.mould.life_shape | at most 20
# what two conventions read differently, and what is for another thing than the key
interest of no unit | [study] | interest = 0.05\n[study] | interest | no unit where one is needed, such as % | such as '5 %', the percentage of a year
grams or grains | "21.6 g" | "21.6 gr" | products.knob.steps.pour.materials.resin.quantity | grams or grains
whose ton | "30.00 EUR/kg" | "30.00 EUR/ton" | products.knob.mould.materials.silicone.price | which ton | tonne
hours a day | "34 h/week" | "7 h/day" | time.hours | by the calendar, or as worked? | the figure in hour/week
hours a year | "34 h/week" | "1600 h/year" | time.hours | by the calendar, or as worked?
pay a month | "16.00 EUR/h" | "2500 EUR/month" | target.per_hour | by the calendar, or as worked? | EUR/hour
orders a day | "216 orders/year" | "1 order/day" | channels.online.orders | by the calendar, or as worked?
pieces for orders | "216 orders/year" | "216 pieces/year" | channels.online.orders | a number of pieces where orders are counted
price a piece | "96.00 EUR" | "16.00 EUR/piece" | channels.online.price | for each piece where one for each order
minutes a load | minutes = { value = "1.8 min" | minutes = { value = "25 min/load" | products.knob.steps.press-weed.minutes | for each load where one for each piece or cast
an angle for a count | pieces_per_order = 6 | pieces_per_order = "6 mil" | channels.online.pieces_per_order | plain number
life in years | value = 35, | value = "2 year", | products.knob.mould.life | plain number | the casts that a cavity gives
percentage without its sign | unsold_share = "5 %" | unsold_share = 9 | products.knob.unsold_share | '9 %' if that is meant
all or one in a hundred | "2.5 %" | 1 | channels.online.refund_share | question: is this 1 % or 100 %?
# study table
unknown craft | "epoxy" | "slipcasting" | study.craft | unknown craft | slip, pewter, other
craft in capitals | "epoxy" | "Epoxy" | study.craft | did you mean 'epoxy'?
no currency | "EUR" | "ERU" | study.currency | unknown currency | such as EUR
currency in words | "EUR" | "euro" | study.currency | found 'euro' | three capitals
unknown locale | "en_IE" | "en-IE" | study.locale | unknown locale | en_IE, de_DE or en_US
negative seed | seed = 20 | seed = -1 | study.seed | found -1 | greater than or equal to 0
seed in words | seed = 20 | seed = "lucky" | study.seed | a whole number
too few draws | draws = 8192 | draws = 100 | study.draws | found 100 | greater than or equal to 128
# calendar
hours in words | monday = "09:00-17:00" | monday = "nine to five" | calendar.monday | not working hours | '09:00-12:30'
hours as a number | monday = "09:00-17:00" | monday = 9 | calendar.monday | text in quotes
hours backwards | monday = "09:00-17:00" | monday = "17:00-09:00" | calendar.monday | not working hours
seventy-five minutes | monday = "09:00-17:00" | monday = "09:75-17:00" | calendar.monday | not working hours
# what no single key can know
unknown product of a channel | product = "knob" | product = "knop" | channels.online.product | did you mean 'knob'?
unknown place to wait | wait_in = "pressure-pot" | wait_in = "presure-pot" | products.knob.steps.pot.wait_in | 'pressure-pot'?
load larger than its station | value = 14, | value = 15, | products.knob.steps.pot.wait_in | found 15 pieces | at most 14
load longer than any window | "24 min" | "9 h" | products.knob.steps.pot.load_minutes | found 540 minutes | 480 minutes
load with no minutes | "24 min" | "0 min" | products.knob.steps.pot.load_minutes | found 0 minutes | above 0
load that may outlast any window | load_minutes = { value = "24 min", from = "records", worth = "10 loads" } | load_minutes = { low = "24 min", likely = "60 min", high = "500 min" } | products.knob.steps.pot.load_minutes | does not fit a working window
negative weight of a cause | voids = 5 | voids = -5 | products.knob.steps.demould.causes | not weights
weight that is no number | voids = 5 | voids = nan | products.knob.steps.demould.causes | not weights
weights all zero | causes = { voids = 5 | causes = { voids = 0 } # { | products.knob.steps.demould.causes | not all zero
asks the records for what no log tells | unsold_share = "5 %" | unsold_share = { value = "5 %", from = "records" } | products.knob.unsold_share | no log tells this number
no hours left | "34 h/week" | "6 h/week" | time.hours | no hours left | found 299 fixed and stall hours
two targets | per_hour = | wage = "ie-living-wage-2024"\nper_hour = | target | needs one target | found both
unknown wage | per_hour = | wage = "ie-living-wage-2O24" # | target.wage | did you mean 'ie-living-wage-2024'?
wage of another currency | per_hour = | wage = "uk-living-wage-2024" # | target.wage | found GBP | a wage in EUR
no target | per_hour = | # | target | needs one target | found neither
""")
# where the fault of some edits stands, if not in the edited line
ELSEWHERE = {
    "load larger than its station": 'wait_in = "pressure-pot"',
    "mould that never wears": "life_shape =",
    "two targets": "[target]",
    "no target": "[target]",
}


@pytest.mark.parametrize("case", EDITS, ids=lambda case: case[0])
def test_wrong_entry_is_told(case, file_only):
    """An entry that cannot be used is told by its line and its key."""
    _, old, new, column, *texts = case
    row = edit(file_only, STUDY, old, new)
    if case[0] in ELSEWHERE:
        row = row_of(file_only, STUDY, ELSEWHERE[case[0]])

    [fault] = faults_of(file_only)

    assert (fault.file, fault.row, fault.column) == (STUDY, row, column)
    assert [text for text in texts if text not in str(fault)] == []


# id, what is done to the folder, text of the row at fault or None, key, what the line must say
ACTS = [
    ("needed key left out", lambda f: edit(f, STUDY, "weeks =", "# weeks ="), "[time]", "time.weeks", "is missing"),
    ("needed table left out", lambda f: cut(f, "[target]", "[spread]"), None, "target", "is missing", 'per_hour = "16 EUR/h"'),
    ("no calendar", lambda f: cut(f, "[calendar]", "[target]"), None, "calendar", "is missing", 'monday = "09:00-17:00"'),
    ("calendar without days", lambda f: cut(f, "monday =", "[target]"), "[calendar]", "calendar", "at least one entry"),
    (
        "calendar without hours",
        lambda f: (cut(f, "monday =", "[target]"), edit(f, STUDY, "[calendar]", '[calendar]\nmonday = ""')),
        "[calendar]",
        "calendar",
        "no working hours at all",
        "09:00-12:30",
    ),
    (
        "windows that overlap",
        lambda f: edit(f, STUDY, '"09:00-17:00"', '"09:00-12:00, 11:00-17:00"'),
        "[calendar]",
        "calendar",
        "must not overlap",
        "11 h",
    ),
    ("product sold nowhere", lambda f: append(f, HOOK.replace('"hook"', '"knob"')), "[products.hook]", "products.hook", "'hook'"),
    ("unknown number", lambda f: append(f, tie(("spread.demandd", "spread.price", 0.5))), "between", None, "'spread.demand'?"),
    (
        "second of two pairs",
        lambda f: append(f, tie(("spread.minutes", "spread.price", 0.5), ("spread.prise", "spread.demand", 0.5))),
        "between = ['spread.prise'",
        "correlations.1.between",
        "'spread.price'?",
    ),
    (
        "number that never varies",
        lambda f: (
            append(f, tie(("interest", "spread.price", 0.5))) and edit(f, STUDY, "[study]", 'interest = "3 %/year"\n[study]')
        ),
        "between",
        "correlations.0.between",
        "never varies",
        "found 'interest'",
    ),
    ("number with itself", lambda f: append(f, tie(("spread.price", "spread.price", 0.5))), "between", None, "two different"),
    (
        "pair twice",
        lambda f: append(f, tie(("spread.minutes", "spread.price", 0.5), ("spread.price", "spread.minutes", 0.1))),
        "between = ['spread.price'",
        "correlations.1.between",
        "pair twice",
    ),
    (
        "correlations that contradict",
        lambda f: append(
            f,
            tie(
                ("spread.demand", "spread.price", 0.9),
                ("spread.demand", "spread.minutes", 0.9),
                ("spread.minutes", "spread.price", -0.9),
            ),
        ),
        "[[correlations]]",
        "correlations.0",
        "cannot all hold at once",
    ),
    (
        "perfect correlation",
        lambda f: append(f, tie(("spread.demand", "spread.price", 1.0))),
        "rank",
        "correlations.0.rank",
        "less than 1",
    ),
    (
        "station and rack of one name",
        lambda f: append(f, "\n[racks.pressure-pot]\nplaces = 9\n"),
        "[racks.pressure-pot]",
        "racks.pressure-pot",
        "same name as a station",
    ),
    (
        "load of a mould longer than any window",
        lambda f: (edit(f, STUDY, 'wait_in = "pressure-pot"', ""), edit(f, STUDY, '"24 min"', '"9 h"')),
        "load_minutes",
        f"{KNOB}.pot.load_minutes",
        "540 minutes",
    ),
    ("not TOML", lambda f: edit(f, STUDY, "seed = 20", "seed 20"), "seed 20", None, "is not valid TOML", "key = value"),
    (
        "a step named twice",
        lambda f: edit(f, STUDY, f"[{KNOB}.polish]", f"[{KNOB}.pour]"),
        88,
        None,
        "is not valid TOML",
        "each name once: products.knob.steps.pour stands in line 63 already",
    ),
    (
        "curly quotes",
        lambda f: edit(f, STUDY, '"34 h/week"', "“34 h/week”"),
        "34 h/week",
        None,
        "not valid TOML",
        "straight quotes",
    ),
    ("bare decimal comma", lambda f: edit(f, STUDY, "value = 14,", "value = 14,5,"), "14,5", None, "not valid TOML", "14.5"),
    ("TOML cut short", lambda f: append(f, "\n[overheads"), None, None, "is not valid TOML"),
    ("brackets without end", lambda f: append(f, "\nx = " + "[" * 9999), None, None, "at most 20 levels"),
    ("figure of 5000 digits", lambda f: append(f, "\nx = " + "9" * 5000), None, None, "is not valid TOML"),
    (
        "not UTF-8",
        lambda f: (f / STUDY).write_bytes('[study]\nname = "Möwe"'.encode("latin-1")),
        2,
        None,
        "cannot be read as text",
        "the file saved as UTF-8",
    ),
    (
        "a price of nothing that buyers follow",
        lambda f: edit(f, STUDY, 'price = "96.00 EUR"', 'price = "0 EUR"\nelasticity = 1'),
        'price = "0 EUR"',
        "channels.online.price",
        "nothing where buyers follow it",
        "or no elasticity",
    ),
    ("no study file", lambda f: (f / STUDY).unlink(), None, None, "study file is missing", "folder without it"),
]


@pytest.mark.parametrize("case", ACTS, ids=lambda case: case[0])
def test_wrong_study_file_is_told(case, file_only):
    """What is wrong with the file as a whole, or with two entries together, is told where it can best be seen."""
    _, act, at, column, *texts = case
    act(file_only)

    [fault] = faults_of(file_only)

    assert fault.file == STUDY
    assert fault.row == (row_of(file_only, STUDY, at) if isinstance(at, str) else at)
    assert column is None or fault.column == column
    assert [text for text in texts if text not in str(fault)] == []


def test_nothing_sold_is_told_for_every_product(file_only):
    """No order in any channel is a fault of the channels and of each product."""
    path = file_only / STUDY
    path.write_text(re.sub(r'"\d+ orders/year"', '"0 orders/year"', path.read_text(encoding="utf-8")), encoding="utf-8")

    wrong = [(fault.column, fault.wrong) for fault in faults_of(file_only)]

    assert wrong == [("channels", "nothing is sold"), ("products.knob", "is sold nowhere")]


def test_an_everyday_word_for_a_key_is_told_with_the_key():
    """`by` for `due`, `note` for `what`: each is named, and a scenario that lacks its words is told what they look like."""
    file = {"scenarios": {"stall": {"note": "a second day"}}, "commissions": {"first": {"by": "2027-02-20"}}}
    told = "\n".join(str(fault) for fault in validated(file, "EUR")[1])
    assert told.count("scenarios.stall") == 1  # the key that is missing and the one that is wrong are one fault
    for part in ("(did you mean 'what'?)", "(did you mean 'due'?)", 'such as what = "a second stall day a month"'):
        assert part in told
