"""Every kind of broken input is told as a fault: where, what is wrong, what was found, what would be right."""

import random
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from babel.numbers import format_decimal, list_currencies
from commands import command

from casting_econ.assumptions import assume
from casting_econ.faults import StudyError
from casting_econ.formatting import Format
from casting_econ.kit import OpenStudy, open_study
from casting_econ.ledger.logs import LOGS
from casting_econ.starting.answers import read_answer
from casting_econ.starting.questions import Part
from casting_econ.study import Quantity, read_study
from casting_econ.units import Unclear

DATA = Path(__file__).parents[1] / "data"
STUDIES = ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather")
COMMAND = shutil.which("casting-econ", path=str(Path(sys.executable).parent))
LINE = re.compile(r"(?P<file>study\.toml|records/\w+\.\w+)(:(?P<row>\d+))?(:(?P<column>[^:;]+))?: .+; right would be .+")
STUDY = "study.toml"
# a second product, for faults that one product cannot have
HOOK = """
[products.hook]
casts_per_load = 4
[products.hook.steps.cast]
minutes = "1 min"
[channels.shop]
product = "hook"
orders = "10 orders/year"
pieces_per_order = 1
price = "9 EUR"
"""


def edit(folder, file, old, new):
    """Replace the first `old` in a file of a study; returns the row it stood in."""
    path = folder / file
    text = path.read_text(encoding="utf-8")

    assert old in text, f"{old!r} is not in {file} any more"

    path.write_text(text.replace(old, new, 1), encoding="utf-8", newline="")
    return text[: text.index(old)].count("\n") + 1


def put(folder, log, column, new):
    """Replace the first cell of a column of a log; returns its row."""
    path = folder / "records" / f"{log}.csv"
    header, first, *rows = path.read_text(encoding="utf-8").split("\n")
    cells = first.split(",")
    cells[header.split(",").index(column)] = new
    path.write_text("\n".join([header, ",".join(cells), *rows]), encoding="utf-8", newline="")
    return 2


def split(faults):
    """The first fault and the others."""
    first, *others = faults
    return first, others


def row_of(folder, file, text):
    """Row of the first line with this text."""
    before, found, _ = (folder / file).read_text(encoding="utf-8").partition(text)

    assert found, f"{text!r} is not in {file}"

    return before.count("\n") + 1


def append(folder, text):
    """Add lines to the end of the study file; returns the row of the first."""
    path = folder / STUDY
    before = path.read_text(encoding="utf-8")
    path.write_text(before + text, encoding="utf-8", newline="")
    return before.count("\n") + 1


def faults_of(folder):
    """The faults that reading a study tells, each line in the promised form."""
    with pytest.raises(StudyError) as caught:
        open_study(folder)
    lines = str(caught.value).split("\n")

    assert len(lines) == len(caught.value.faults)
    assert [line for line in lines if not LINE.fullmatch(line)] == []

    return caught.value.faults


@pytest.fixture
def file_only(tmp_path):
    """A demo without its logs."""
    shutil.copyfile(DATA / STUDIES[0] / STUDY, tmp_path / STUDY)
    return tmp_path


@pytest.fixture
def with_logs(tmp_path):
    """A demo with the first rows of its logs: enough for every kind of fault, and quick to read."""
    return first_rows(STUDIES[0], tmp_path / "study")


NOT_IN_DEMOS = {
    "stock_count": "date,item,quantity,unit,stage,note\n2025-06-30,glitter,3,jar,material,\n",
    "mileage": "date,purpose,distance_km,note\n2025-06-30,a fair and back,36,\n",
}


def first_rows(name, target, rows=10):
    """Copy a demo with the first rows of each log, faults only of batches that are kept."""
    shutil.copytree(DATA / name, target)
    for log, text in NOT_IN_DEMOS.items():
        (target / "records" / f"{log}.csv").write_text(text, encoding="utf-8", newline="")
    batches = (target / "records" / "batches.csv").read_text(encoding="utf-8").splitlines()[: rows + 1]
    kept = {line.split(",")[0] for line in batches}
    for path in (target / "records").glob("*.csv"):
        lines = path.read_text(encoding="utf-8").splitlines()
        if path.stem == "faults":
            lines = [line for line in lines if line.split(",")[1] in kept]
        path.write_text("\n".join(lines[: rows + 1]) + "\n", encoding="utf-8", newline="")
    return target


def test_copies_are_sound(tmp_path):
    """The copies that the tests below break have no fault of their own."""
    for name in STUDIES:
        assert set(read_study(first_rows(name, tmp_path / name)).records) == set(LOGS)
        # ten sales in the months of the other logs make no living
        assert np.isfinite(open_study(tmp_path / name).point().totals["pay_per_hour"])


# a wait of "18 h" that becomes: id, new text, what the line must say
WAIT = "products.knob.steps.pot.wait"
WAITS = [
    ("no unit", "18", "no unit where one is needed", "found 18", "a number at least 0", "'2 hour'"),
    ("wrong unit", '"18 g"', "a unit that cannot be read as hour", "found '18 g'", "'2 hour'"),
    ("misspelt unit", '"18 huor"', "unknown unit 'huor'", "did you mean 'hour'?"),
    ("unit that divides by zero", '"18 h/0"', "cannot be read as hour"),
    ("unit with a power of a power", '"18 h**9**9**9"', "cannot be read as hour"),
    ("unit in braces", '"18 {h}"', "cannot be read as hour"),
    ("unit that never closes", '"18 h("', "cannot be read as hour"),
    ("percentage for a unit", '"18 %"', "a percentage where a unit is needed"),
    ("a comma for a decimal or for thousands", '"1,800 h"', "question: is this 1800 or 1.800?", "'1800 h', or '1.8000 h'"),
    ("a point for thousands or for a decimal", '"1.800 h"', "question: is this 1800 or 1.800?", "found '1.800 h'"),
    ("figures that are none", '"1,80,000 h"', "not a number"),
    ("two figures", '"18 24 h"', "not a number"),
    ("hours of a hundred", '"18 hh"', "unknown unit 'hh'"),
    ("text that is no number", '"overnight"', "not a number", "found 'overnight'"),
    ("empty text", '""', "not a number", "found ''"),
    ("true", "true", "not a number", "found True"),
    ("list", '["18 h"]', "not a number"),
    ("date", "2025-01-06", "not a number"),
    ("empty table", "{}", "needs 'value', or 'low', 'likely' and 'high', or 'distribution'"),
    ("too large for a computer", '"1e999 h"', "not a finite number"),
    ("whole number of 400 digits", "9" * 400, "not a finite number"),
    ("longer than anyone waits", '"1e300 h"', "outside the limits", "at most 100000"),
    ("negative", '"-18 h"', "outside the limits", "at least 0"),
    ("misspelt value", '{ valeu = "18 h" }', "unknown 'valeu'", "did you mean 'value'?"),
    ("low above likely", '{ low = "20 h", likely = "18 h", high = "24 h" }', "a range out of order", "low <= likely <= high"),
    ("no width", '{ low = "18 h", likely = "18 h", high = "18 h" }', "a range without width", "one value"),
    ("high left out", '{ low = "16 h", likely = "18 h" }', "'low', 'likely' and 'high'"),
    ("unknown distribution", '{ distribution = "trianglar", low = "1 h" }', "'trianglar'", "did you mean 'triangular'?"),
    ("distribution that is no name", "{ distribution = [] }", "unknown distribution []", "triangular, pert"),
    ("distribution past the limits", '{ distribution = "normal", mean = "18 h", sd = "4 h" }', "outside the limits"),
    ("unknown parameter", '{ distribution = "normal", mean = "18 h", sdd = "1 h" }', "'sdd'", "did you mean 'sd'?"),
    ("parameter left out", '{ distribution = "normal", mean = "18 h" }', "normal needs mean, sd; got mean"),
    ("parameters in the wrong order", '{ distribution = "lognormal", p10 = "20 h", p90 = "18 h" }', "0 < p10 < p90"),
    ("parameter that overflows", '{ distribution = "lognormal", p10 = "1e-9 h", p90 = "9e4 h" }', "outside the limits"),
    ("list for a figure", '{ distribution = "uniform", low = ["16 h"], high = "20 h" }', "single figures"),
    ("figure for a list", '{ distribution = "discrete", values = "18 h", weights = 1 }', "lists"),
    ("weights amiss", '{ distribution = "discrete", values = ["18 h"], weights = [1, 2] }', "as many weights as values"),
    ("unknown basis", '{ value = "18 h", basis = "mesured" }', "basis must be one of", "did you mean 'measured'?"),
    ("from something else", '{ value = "18 h", from = "memory" }', "records"),
    ("worth of nothing", '{ value = "18 h", from = "records", worth = 0 }', "worth", "10 pieces"),
    ("worth in words", '{ value = "18 h", from = "records", worth = "many" }', "worth", "10 pieces"),
    ("note that is no text", '{ value = "18 h", note = 5 }', "note must be text"),
]


@pytest.mark.parametrize("case", WAITS, ids=lambda case: case[0])
def test_wrong_number_is_told(case, file_only):
    """A number that cannot be used is told by its line, its key, what it is, and what it should be."""
    _, new, *texts = case
    row = edit(file_only, STUDY, '"18 h"', new)

    [fault] = faults_of(file_only)

    assert (fault.file, fault.row, fault.column) == (STUDY, row, WAIT)
    assert [text for text in texts if text not in str(fault)] == []


KNOB = "products.knob.steps"
# id, old text, new text, dotted key, what the line must say
EDITS = [
    # keys and kinds
    ("unknown table", "[spread]", "[spreads]", "spreads", "unknown key", "did you mean 'spread'?"),
    ("unknown key of a step", "wait = ", "waits = ", f"{KNOB}.pot.waits", "did you mean 'wait'?"),
    ("unknown key of a material", "loss =", "los =", f"{KNOB}.pour.materials.resin.los", "did you mean 'loss'?"),
    ("unknown key of a channel", "fee_fixed", "fee_fix", "channels.online.fee_fix", "did you mean 'fee_fixed'?"),
    ("misspelt day", "monday =", "mondy =", "calendar.mondy", "did you mean 'monday'?"),
    ("misspelt word", '"consumable"', '"consumabel"', f"{KNOB}.pour.materials.abrasives.kind", "did you mean 'consumable'?"),
    ("neither true nor false", "invented = true", 'invented = "perhaps"', "study.invented", "true or false"),
    ("number for a text", 'name = "Kelpmoor Handles"', "name = 7", "study.name", "found 7", "text in quotes"),
    ("text for a list", "weekly_tasks = [", 'weekly_tasks = "books" # [', "time.weekly_tasks", "square brackets"),
    ("name with a dot", "[channels.wholesale]", '[channels."j.öiner"]', "channels.j.öiner", "letters, digits, spaces"),
    # single numbers of other kinds
    ("minutes in grams", '"24 min"', '"24 g"', f"{KNOB}.pot.load_minutes", "cannot be read as minute"),
    (
        "money of another country",
        '"96.00 EUR"',
        '"96.00 GBP"',
        "channels.online.price",
        "money in GBP while the study counts in EUR",
        "by hand",
    ),
    ("money of no country", '"96.00 EUR"', '"96.00 kr"', "channels.online.price", "unknown unit 'kr'", "'2 EUR'"),
    ("price for another unit", '"30.00 EUR/kg"', '"30.00 EUR/h"', "products.knob.mould.materials.silicone.price", "EUR/g"),
    ("amount in braces", '"21.6 g"', '"21.6 {g}"', f"{KNOB}.pour.materials.resin.quantity", "'24 g'"),
    ("none of a material", '"21.6 g"', '"0 g"', f"{KNOB}.pour.materials.resin.quantity", "an amount above 0"),
    ("share above one", '"89 %"', '"189 %"', f"{KNOB}.demould.pass_share", "outside the limits", "at most 1", "'25 %'"),
    ("nothing passes", '"89 %"', '"0 %"', f"{KNOB}.demould.pass_share", "outside the limits", "above 0"),
    ("negative minutes", '"24 min"', '"-24 min"', f"{KNOB}.pot.load_minutes", "outside the limits", "at least 0"),
    ("negative price", '"96.00 EUR"', '"-96.00 EUR"', "channels.online.price", "outside the limits", "at least 0"),
    ("more hours than a week has", '"34 h/week"', '"200 h/week"', "time.hours", "outside the limits", "at most 168"),
    ("not a number", "count = 1", "count = nan", "stations.pressure-pot.count", "not a finite number", "found nan"),
    ("infinity", "count = 1", "count = inf", "stations.pressure-pot.count", "not a finite number", "found inf"),
    ("half a pot", "count = 1", "count = 1.5", "stations.pressure-pot.count", "a whole number above 0"),
    ("a range of pots", "count = 1", "count = { low = 1, likely = 2, high = 3 }", "stations.pressure-pot.count", "'discrete'"),
    ("more pots than fit a town", "count = 1", "count = 1e9", "stations.pressure-pot.count", "at most 200"),
    (
        "mould emptied by no step",
        "life = {",
        'free_after = "demold"\nlife = {',
        "products.knob.mould.free_after",
        "unknown step",
        "mean 'demould'?",
    ),
    (
        "mould emptied before the pot",
        "life = {",
        'free_after = "pour"\nlife = {',
        "products.knob.mould.free_after",
        "a step before the load has waited",
        "demould, flat-lap",
    ),
    ("mould that never wears", "life = {", "life_shape = 1e5\nlife = {", "products.knob.mould.life_shape", "at most 20"),
    # what two conventions read differently, and what is for another thing than the key
    (
        "bare figure",
        "pieces_per_order = 6",
        "pieces_per_order = 6.000",
        "channels.online.pieces_per_order",
        "question: is this 6000 or 6.000?",
        "6000, or 6.0000",
    ),
    ("bare figure of a cause", "voids = 5", "voids = 1.250", f"{KNOB}.demould.causes.voids", "question: is this 1250 or 1.250?"),
    ("grams or grains", '"21.6 g"', '"21.6 gr"', f"{KNOB}.pour.materials.resin.quantity", "grams or grains"),
    ("whose ton", '"30.00 EUR/kg"', '"30.00 EUR/ton"', "products.knob.mould.materials.silicone.price", "which ton", "tonne"),
    ("hours a day", '"34 h/week"', '"7 h/day"', "time.hours", "by the calendar, or as worked?", "the figure in hour/week"),
    ("hours a year", '"34 h/week"', '"1600 h/year"', "time.hours", "by the calendar, or as worked?"),
    ("pay a month", '"16.00 EUR/h"', '"2500 EUR/month"', "target.per_hour", "by the calendar, or as worked?", "EUR/hour"),
    ("orders a day", '"216 orders/year"', '"1 order/day"', "channels.online.orders", "by the calendar, or as worked?"),
    (
        "pieces for orders",
        '"216 orders/year"',
        '"216 pieces/year"',
        "channels.online.orders",
        "a number of pieces where orders are counted",
    ),
    ("price a piece", '"96.00 EUR"', '"16.00 EUR/piece"', "channels.online.price", "for each piece where one for each order"),
    (
        "minutes a load",
        'minutes = { value = "1.8 min"',
        'minutes = { value = "25 min/load"',
        f"{KNOB}.press-weed.minutes",
        "for each load where one for each piece or cast",
    ),
    (
        "an angle for a count",
        "pieces_per_order = 6",
        'pieces_per_order = "6 mil"',
        "channels.online.pieces_per_order",
        "plain number",
    ),
    (
        "life in years",
        "value = 35,",
        'value = "2 year",',
        "products.knob.mould.life",
        "plain number",
        "the casts that a cavity gives",
    ),
    (
        "percentage without its sign",
        'unsold_share = "5 %"',
        "unsold_share = 9",
        "products.knob.unsold_share",
        "'9 %' if that is meant",
    ),
    ("all or one in a hundred", '"2.5 %"', "1", "channels.online.refund_share", "question: is this 1 % or 100 %?"),
    # study table
    ("unknown craft", '"epoxy"', '"slipcasting"', "study.craft", "unknown craft", "slip, pewter, other"),
    ("craft in capitals", '"epoxy"', '"Epoxy"', "study.craft", "did you mean 'epoxy'?"),
    ("no currency", '"EUR"', '"ERU"', "study.currency", "unknown currency", "such as EUR"),
    ("currency in words", '"EUR"', '"euro"', "study.currency", "found 'euro'", "three capitals"),
    ("unknown locale", '"en_IE"', '"en-IE"', "study.locale", "unknown locale", "en_IE, de_DE or en_US"),
    ("negative seed", "seed = 20", "seed = -1", "study.seed", "found -1", "greater than or equal to 0"),
    ("seed in words", "seed = 20", 'seed = "lucky"', "study.seed", "a whole number"),
    ("too few draws", "draws = 8192", "draws = 100", "study.draws", "found 100", "greater than or equal to 128"),
    # calendar
    (
        "hours in words",
        'monday = "09:00-17:00"',
        'monday = "nine to five"',
        "calendar.monday",
        "not working hours",
        "'09:00-12:30'",
    ),
    ("hours as a number", 'monday = "09:00-17:00"', "monday = 9", "calendar.monday", "text in quotes"),
    ("hours backwards", 'monday = "09:00-17:00"', 'monday = "17:00-09:00"', "calendar.monday", "not working hours"),
    ("seventy-five minutes", 'monday = "09:00-17:00"', 'monday = "09:75-17:00"', "calendar.monday", "not working hours"),
    # what no single key can know
    ("unknown product of a channel", 'product = "knob"', 'product = "knop"', "channels.online.product", "did you mean 'knob'?"),
    ("unknown place to wait", 'wait_in = "pressure-pot"', 'wait_in = "presure-pot"', f"{KNOB}.pot.wait_in", "'pressure-pot'?"),
    ("load larger than its station", "value = 14,", "value = 15,", f"{KNOB}.pot.wait_in", "found 15 pieces", "at most 14"),
    ("load longer than any window", '"24 min"', '"9 h"', f"{KNOB}.pot.load_minutes", "found 540 minutes", "480 minutes"),
    ("load with no minutes", '"24 min"', '"0 min"', f"{KNOB}.pot.load_minutes", "found 0 minutes", "above 0"),
    (
        "load that may outlast any window",
        'load_minutes = { value = "24 min", from = "records", worth = "10 loads" }',
        'load_minutes = { low = "24 min", likely = "60 min", high = "500 min" }',
        f"{KNOB}.pot.load_minutes",
        "does not fit a working window",
    ),
    ("negative weight of a cause", "voids = 5", "voids = -5", f"{KNOB}.demould.causes", "not weights"),
    ("weight that is no number", "voids = 5", "voids = nan", f"{KNOB}.demould.causes", "not weights"),
    ("weights all zero", "causes = { voids = 5", "causes = { voids = 0 } # {", f"{KNOB}.demould.causes", "not all zero"),
    (
        "asks the records for what no log tells",
        'unsold_share = "5 %"',
        'unsold_share = { value = "5 %", from = "records" }',
        "products.knob.unsold_share",
        "no log tells this number",
    ),
    ("no hours left", '"34 h/week"', '"6 h/week"', "time.hours", "no hours left", "found 299 fixed and stall hours"),
    ("two targets", "per_hour =", 'wage = "ie-living-wage-2024"\nper_hour =', "target", "needs one target", "found both"),
    ("unknown wage", "per_hour =", 'wage = "ie-living-wage-2O24" #', "target.wage", "did you mean 'ie-living-wage-2024'?"),
    ("wage of another currency", "per_hour =", 'wage = "uk-living-wage-2024" #', "target.wage", "found GBP", "a wage in EUR"),
    ("no target", "per_hour =", "#", "target", "needs one target", "found neither"),
]
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


def cut(folder, start, end):
    """Take out the lines of the study file from one text to just before another."""
    path = folder / STUDY
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index(start)] + text[text.index(end, text.index(start)) :], encoding="utf-8", newline="")


def tie(*pairs):
    """Lines of the study file that correlate numbers."""
    return "".join(f"\n[[correlations]]\nbetween = {list(pair[:2])}\nrank = {pair[2]}\n" for pair in pairs)


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


@pytest.mark.parametrize(
    ("written", "hours"),
    [
        ("1 800 h", 1800),
        ("1\u202f800 h", 1800),
        ("1\u00a0800,5 h", 1800.5),
        ("1'800 h", 1800),
        ("1.800,5 h", 1800.5),
        ("18,5 h", 18.5),
    ],
)
def test_a_figure_with_one_reading_is_read(written, hours, file_only):
    """Spaces, thin spaces and apostrophes between thousands, as reports print them, and marks that leave no doubt."""
    edit(file_only, STUDY, '"18 h"', f'"{written}"')
    assert read_study(file_only).numbers[WAIT].value == hours


PLACES = (
    "en_IE",
    "en_US",
    "de_DE",
    "de_CH",
    "fr_FR",
    "nb_NO",
    "sv_SE",
    "da_DK",
    "pl_PL",
    "cs_CZ",
    "it_IT",
    "es_ES",
    "pt_PT",
    "en_IN",
)


@pytest.mark.parametrize("place", PLACES)
def test_what_a_country_prints_reads_as_itself_or_is_a_question(place):
    """No figure that babel (CLDR) prints for a country is read as another one, in the study file or as an answer."""
    read_as_it_is, price = 0, Part(key="price", ask="?", unit="{money}", high=1e9)
    for value in (0.5, 0.25, 1.5, 12.25, 38, 999, 1005.25, 2160, 2160.5, 38000, 102500, 1234567.89):
        for text in (
            format_decimal(value, locale=place),
            Format("NOK", place).number(value, 2),
            Format("NOK", place).exactly(value),
        ):
            for read in (
                lambda text: Quantity("{money}").read(f"{text} NOK", "NOK").value,
                lambda text: read_answer(price, text, "NOK")[1],
            ):
                try:
                    assert read(text) == pytest.approx(value), text
                    read_as_it_is += 1
                except Unclear as error:
                    assert re.sub(r"[.,]", "", text) in str(error)  # a mark and three digits: asked, with both readings
                except ValueError:
                    assert place == "en_IN" and value > 1e5  # 1,02,500 is told, not read
    assert read_as_it_is > 40


def test_no_currency_is_read_as_another_or_as_a_unit():
    """Money of every other code of ISO 4217 (as babel has them) is refused by name, and a code counts in itself."""
    for code in list_currencies() - {"EUR"}:
        with pytest.raises(ValueError, match=f"money in {code} while the study counts in EUR"):
            Quantity("{money}").read(f"2 {code}", "EUR")
    for code in ("NOK", "CUP", "TRY"):  # a cup and a troy ounce are units
        assert Quantity("{money}/kilogram").read(f"2 {code}/g", code).value == pytest.approx(2000)


def test_all_faults_come_in_one_round(with_logs):
    """A missing table hides no unknown step or channel of the logs, no more good than casts, and no fault of a scenario."""
    cut(with_logs, "[calendar]", "[target]")
    edit(with_logs, STUDY, "[target]", "[targets]")
    edit(with_logs, STUDY, 'wait_in = "pressure-pot"', 'wait_in = "presure-pot"')
    edit(with_logs, STUDY, 'drop = ["channels.wholesale"]', 'drop = ["channels.wholesail"]')
    for log, column, new in (("batches", "good", "15"), ("timesheet", "step", "poor"), ("sales", "channel", "onlien")):
        path, (header, first, second, *rest) = (
            with_logs / "records" / f"{log}.csv",
            (with_logs / "records" / f"{log}.csv").read_text().split("\n"),
        )
        spoilt = first.replace(first.split(",")[header.split(",").index("date")], "2025-13-13", 1)
        cells = second.split(",")
        cells[header.split(",").index(column)] = new
        path.write_text("\n".join([header, spoilt, ",".join(cells), *rest]))

    found = {(fault.file.removeprefix("records/"), fault.column) for fault in faults_of(with_logs)}

    assert {
        (STUDY, "calendar"),
        (STUDY, "target"),
        (STUDY, "targets"),
        (STUDY, f"{KNOB}.pot.wait_in"),
        (STUDY, "scenarios.no-wholesale.drop"),
        *((f"{log}.csv", "date") for log in ("batches", "timesheet", "sales")),
        ("batches.csv", "good"),
        ("timesheet.csv", "step"),
        ("sales.csv", "channel"),
    } <= found
    assert len([file for file, _ in found if file == STUDY]) == 5  # and nothing that only follows


def test_a_currency_in_words_is_one_fault(file_only):
    """Money is read in the code that the file's figures have, so that none of them is told as foreign."""
    path = file_only / STUDY
    text = path.read_text(encoding="utf-8").replace('currency = "EUR"', 'currency = "kr"').replace('tax = "ie-2025"\n', "")
    path.write_text(text.replace(" EUR", " NOK"), encoding="utf-8")

    [fault] = faults_of(file_only)

    assert (fault.column, fault.found) == ("study.currency", "'kr'") and "such as NOK" in fault.right


def test_pints_and_tons_are_those_of_the_country():
    """US measures in a study in USD, and asked for elsewhere: 3.785411784 and 4.54609 l a gallon, 28.349523125 g an ounce
    (NIST SP 811, appendix B, from memory)."""
    assert Quantity("liter").read("1 gallon", "USD").value == pytest.approx(3.785411784)
    assert Quantity("liter").read("1 US gallon", "GBP").value == pytest.approx(3.785411784)
    assert Quantity("liter").read("1 imperial gallon", "GBP").value == pytest.approx(4.54609)
    assert Quantity("gram").read("1 oz", "GBP").value == pytest.approx(28.349523125)
    for unit in ("gallon", "pint", "quart", "fl oz", "cup"):
        with pytest.raises(Unclear, match=r"question: which .* -> US_.* or imperial_"):
            Quantity("liter").read(f"1 {unit}", "GBP")


def test_nothing_sold_is_told_for_every_product(file_only):
    """No order in any channel is a fault of the channels and of each product."""
    path = file_only / STUDY
    path.write_text(re.sub(r'"\d+ orders/year"', '"0 orders/year"', path.read_text(encoding="utf-8")), encoding="utf-8")

    wrong = [(fault.column, fault.wrong) for fault in faults_of(file_only)]

    assert wrong == [("channels", "nothing is sold"), ("products.knob", "is sold nowhere")]


@pytest.mark.parametrize(("name", "found"), [("nowhere", "no such folder"), ("nowhere/study.toml", "no such folder")])
def test_missing_folder_is_told(tmp_path, name, found):
    """A folder that is not there is told by the path that was given."""
    [fault] = faults_of(tmp_path / name)

    assert (fault.wrong, fault.right) == ("study file is missing", "a folder with a study.toml")
    assert found in fault.found and name in fault.found


def test_file_in_place_of_folder_is_told(file_only):
    """Naming study.toml instead of its folder is told as such."""
    [fault] = faults_of(file_only / STUDY)

    assert fault.wrong == "study file is missing" and fault.found.startswith("a file: ")


# log, id, old text, new text (in the same row), column at fault, what the line must say
LOG_EDITS = [
    (
        "sales",
        "semicolons in the header only",
        "date,order,channel",
        "date;order;channel",
        None,
        "unknown column",
        "one of date, order",
    ),
    ("sales", "unknown column", ",fees,", ",feees,", None, "unknown column", "found 'feees'", "did you mean 'fees'?"),
    ("sales", "column twice", ",fees,", ",price,", "price", "column twice", "each column once"),
    ("sales", "needed column left out", "date,order,channel,", "date,order,kind,", "channel", "column is missing", "some text"),
    ("sales", "too few cells", ",K-0001", "", None, "wrong number of cells", "found 11", "12, as in the header"),
    ("sales", "too many cells", ",K-0001", ",K-0001,x", None, "wrong number of cells", "found 13"),
    ("sales", "quote that never closes", ",K-0001", ',"K-0001', None, "wrong number of cells"),
]
# log, id, column, new content of its first cell, what the line must say
CELLS = [
    ("sales", "needed cell empty", "channel", "", "empty cell", "some text"),
    ("sales", "needed cell of spaces", "channel", "   ", "empty cell"),
    ("sales", "no such date", "date", "2025-02-30", "found '2025-02-30'", "a date such as 2025-04-03"),
    ("sales", "day first", "date", "06/01/2025", "the day or the month?", "found '06/01/2025'", 'dates = "day first"'),
    ("sales", "month 13 both ways", "date", "13/13/2025", "found '13/13/2025'", "a date such as"),
    ("sales", "date of another age", "date", "0025-01-06", "found '0025-01-06'"),
    ("sales", "date after all clocks", "date", "9999-12-31", "found '9999-12-31'"),
    ("sales", "thousands", "price", "1_128.0", "found '1_128.0'"),
    ("sales", "money of another country", "price", "£128", "money of another currency", "found '£128'", "EUR"),
    ("sales", "figures of another script", "price", "١٢٨", "found '١٢٨'"),
    ("sales", "not a number", "price", "nan", "found 'nan'", "zero or more"),
    ("sales", "infinity", "price", "inf", "found 'inf'"),
    ("sales", "negative price", "price", "-128.0", "found '-128.0'", "zero or more"),
    ("sales", "half a piece", "pieces", "8.5", "found '8.5'", "a whole number"),
    ("sales", "unknown kind", "kind", "sael", "found 'sael'", "did you mean 'sale'?"),
    ("sales", "unknown channel", "channel", "onlien", "found 'onlien'", "did you mean 'online'?", "[records.words.channel]"),
    ("sales", "unknown product", "product", "knop", "found 'knop'", "did you mean 'knob'?"),
    ("timesheet", "negative minutes", "minutes", "-6", "found '-6'", "above zero"),
    ("timesheet", "no minutes", "minutes", "0", "found '0'", "above zero"),
    ("timesheet", "more minutes than a day", "minutes", "1441", "found '1441'", "1440 of a day"),
    ("timesheet", "fractional pieces", "pieces_handled", "14.5", "found '14.5'", "a whole number"),
    ("timesheet", "unknown step", "step", "poor", "a step, channel, weekly or one-off task", "did you mean 'pour'?"),
    ("timesheet", "more passed than handled", "pieces_passed", "99", "more pieces_passed than pieces_handled", "found 99 of 14"),
    ("batches", "more good than casts", "good", "15", "found 15 of 14", "at most 14"),
    ("batches", "batch id twice", "batch", "K002", "the same id twice", "found 'K002'", "each id once"),
    ("batches", "unknown station", "station", "pot", "found 'pot'", "pressure-pot"),
    ("batches", "hotter than any room", "room_c", "170", "found '170'", "between -30 and 60"),
    ("faults", "unknown batch", "batch", "K0001", "found 'K0001'", "did you mean 'K001'?"),
    ("faults", "unknown fate", "fate", "scarp", "found 'scarp'", "did you mean 'scrap'?"),
    ("faults", "step of no product", "step", "books", "unknown step", "found 'books'"),
    ("faults", "fault before pour", "date", "2025-01-05", "batch poured 2025-01-06", "on or after the pour"),
    ("faults", "half a fault", "pieces", "0.5", "found '0.5'", "a whole number"),
    ("moulds", "mould id twice", "mould", "KM2", "the same id twice", "found 'KM2'"),
    ("moulds", "retired before made", "retired", "2024-12-31", "found retired 2024-12-31, made 2025-01-02"),
    ("moulds", "retired without casts", "casts_at_retirement", "", "found KM1", "casts a cavity"),
    (
        "moulds",
        "casts at retirement of a mould in use",
        "retired",
        "",
        "found 26 casts of KM1, and no date",
        "the date, or no casts",
    ),
    ("purchases", "nothing bought", "quantity", "0", "found '0'", "above zero"),
    ("purchases", "unknown kind", "kind", "overheads", "found 'overheads'", "did you mean 'overhead'?"),
    ("prices_seen", "sold or not", "sold", "ja", "found 'ja'", "one of yes, no, unknown"),
]


def keep(folder, log):
    """Leave only this log and the batches, which are quicker to read."""
    for path in (folder / "records").glob("*.csv"):
        if path.stem not in (log, "batches"):
            path.unlink()


def told_once(fault, more, row, column, known):
    """The fault in this row and column; it is the only one unless its kind is known to leave a second behind."""
    if not known:
        assert more == []
        return fault
    return next(one for one in (fault, *more) if one.row == row and one.column == (column or ""))


@pytest.mark.parametrize("case", LOG_EDITS, ids=lambda case: f"{case[0]}: {case[1]}")
def test_wrong_row_is_told(case, with_logs):
    """A header or row that cannot be used is told by its log and its row in the file."""
    log, kind, old, new, column, *texts = case
    keep(with_logs, log)
    row = edit(with_logs, f"records/{log}.csv", old, new)

    fault = told_once(*split(faults_of(with_logs)), row, column, kind in KNOCK_ON)

    assert (fault.file, fault.row, fault.column) == (f"records/{log}.csv", row, column or "")
    assert [text for text in texts if text not in str(fault)] == []


@pytest.mark.parametrize("case", CELLS, ids=lambda case: f"{case[0]}: {case[1]}")
def test_wrong_cell_is_told(case, with_logs):
    """A cell that cannot be used is told by its log, its row in the file and its column."""
    log, kind, column, new, *texts = case
    keep(with_logs, log)
    row = put(with_logs, log, column, new)

    fault = told_once(*split(faults_of(with_logs)), row, column, kind in KNOCK_ON)

    assert (fault.file, fault.row, fault.column) == (f"records/{log}.csv", row, column)
    assert [text for text in texts if text not in str(fault)] == []


# edits that leave a second fault behind: the column that is missing now, the other row of an id, the rows after a quote
KNOCK_ON = ("semicolons in the header only", "column twice", "needed column left out", "batch id twice", "mould id twice")


# id, what is done to the folder, file at fault, row, column, what the line must say
LOG_ACTS = [
    (
        "unknown log",
        lambda f: (f / "records/sales.csv").rename(f / "records/sale.csv"),
        "sale.csv",
        None,
        "did you mean 'sales'?",
    ),
    ("empty log", lambda f: (f / "records/sales.csv").write_text(""), "sales.csv", None, "empty log", "no header"),
    ("blank lines only", lambda f: (f / "records/sales.csv").write_text("\n , \n"), "sales.csv", None, "empty log", "no header"),
    (
        "header only, without what it needs",
        lambda f: (f / "records/sales.csv").write_text("date,channel,product,pieces\n"),
        "sales.csv",
        1,
        "price",
    ),
    (
        "folder of the name",
        lambda f: ((f / "records/sales.csv").unlink(), (f / "records/sales.csv").mkdir()),
        "sales.csv",
        None,
        "read",
    ),
    ("cell without end", lambda f: edit(f, "records/sales.csv", "K-0001", "x" * 200_000), "sales.csv", None, "is not a table"),
    (
        "no text at all",
        lambda f: (f / "records/sales.csv").write_bytes(bytes(range(256)) * 9),
        "sales.csv",
        None,
        "is not a table",
        "found no text",
    ),
    (
        "damaged workbook under the name of a text file",
        lambda f: (f / "records/sales.csv").write_bytes(b"PK\x03\x04" + bytes(90)),
        "sales.csv",
        None,
        "cannot be opened as a workbook",
        "saved anew",
    ),
    (
        "neither batch nor product",
        lambda f: (append(f, HOOK), edit(f, "records/faults.csv", ",K001,knob,", ",,,")),
        "faults.csv",
        2,
        "neither batch nor product",
    ),
    (
        "product of another batch",
        lambda f: (
            append(f, HOOK.replace("steps.cast", "steps.demould")),
            edit(f, "records/faults.csv", ",K001,knob,", ",K001,hook,"),
        ),
        "faults.csv",
        2,
        "not the product of its batch",
        "'knob', as in batches.csv",
    ),
    (
        "step of another product",
        lambda f: (append(f, HOOK), edit(f, "records/timesheet.csv", ",pour,6,knob", ",cast,6,knob")),
        "timesheet.csv",
        3,
        "unknown step",
        "found 'cast'",
    ),
    (
        "more faults than losses",
        lambda f: (f / "records/faults.csv").write_text(
            "date,batch,step,cause,pieces,fate\n2025-02-01,K001,demould,voids,1,scrap\n2025-02-01,K001,demould,air,14,second\n"
        ),
        "faults.csv",
        3,
        "more faults than losses in batch K001",
        "found 15 scrapped or seconds",
    ),
    (
        "more faults of no batch than losses",
        lambda f: (f / "records/faults.csv").write_text(
            "date,product,step,cause,pieces,fate\n2025-02-01,knob,demould,voids,10000,scrap\n"
        ),
        "faults.csv",
        2,
        "more faults than losses of knob",
    ),
]


@pytest.mark.parametrize("case", LOG_ACTS, ids=lambda case: case[0])
def test_wrong_log_is_told(case, with_logs):
    """What is wrong with a log as a whole, or between logs, is told by its name and row."""
    _, act, file, row, *texts = case
    act(with_logs)

    [fault] = faults_of(with_logs)

    assert (fault.file, fault.row) == (f"records/{file}", row)
    assert [text for text in texts if text not in str(fault)] == []


@pytest.mark.parametrize(
    "act",
    [
        lambda path: path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n")),
        lambda path: path.write_bytes(path.read_bytes().replace(b"\n", b"\r")),
        lambda path: path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes()),
        lambda path: path.write_bytes(path.read_bytes().replace(b",", b" , ")),
        lambda path: path.write_bytes(path.read_text(encoding="utf-8").encode("utf-16")),
        lambda path: path.rename(path.with_suffix(".CSV")),
        lambda path: path.write_bytes(path.read_bytes().replace(b",", b";").replace(b".", b",")),
        lambda path: path.write_bytes(path.read_bytes().replace(b",128.0,", b",\xe2\x82\xac128,")),
        lambda path: path.write_bytes(path.read_bytes().replace(b"\n", b"\n\n,,,,,,,,,,,\n")),
    ],
    ids=[
        "carriage return and line feed",
        "carriage return",
        "byte order mark",
        "spaces",
        "UTF-16",
        "capital letters",
        "semicolons and decimal commas",
        "currency sign",
        "blank rows",
    ],
)
def test_harmless_oddities_are_no_fault(act, with_logs):
    """Line ends, a byte order mark, spaces and blank rows of spreadsheet programs change nothing."""
    expected = read_study(with_logs).records["sales"]
    act(with_logs / "records" / "sales.csv")

    found = read_study(with_logs).records["sales"]

    assert found.reset_index(drop=True).equals(expected.reset_index(drop=True))


@pytest.mark.parametrize(
    ("log", "column"), [(log, column) for log, columns in LOGS.items() for column, (_, needed) in columns.items() if not needed]
)
def test_column_that_is_not_needed_may_be_left_out(log, column, with_logs):
    """A study with a column left out reads the same as with that column blank."""
    path = with_logs / "records" / f"{log}.csv"
    for other in path.parent.glob("*.csv"):
        if other.stem not in (log, "batches"):  # what others say of it is checked between logs, by batch alone
            other.unlink()
    rows = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()]
    if column not in rows[0]:  # no demo has it
        rows = [[*row, "" if n else column] for n, row in enumerate(rows)]
    at = rows[0].index(column)
    pair = {"casts_at_retirement": "retired", "retired": "casts_at_retirement"} if log == "moulds" else {}  # both or neither
    others = [at, *([rows[0].index(pair[column])] if column in pair else [])]
    read = []
    for blank in (True, False):
        kept = [
            [("" if i in others and n and (blank or i != at) else cell) for i, cell in enumerate(row) if blank or i != at]
            for n, row in enumerate(rows)
        ]
        path.write_text("\n".join(map(",".join, kept)) + "\n", encoding="utf-8", newline="")
        read.append(read_study(with_logs))

    assert read[0].numbers == read[1].numbers and read[0].records.keys() == read[1].records.keys()
    assert [name for name, frame in read[0].records.items() if not frame.equals(read[1].records[name])] == []
    kit = OpenStudy(study=read[1], assumed=assume(read[1]))
    assert np.isfinite(kit.point().totals["pay_per_hour"])


def six(folder):
    """Six faults: two in the study file, one in each of four logs; what their lines must begin with."""
    cells = {
        "sales": ("channel", "onlien"),
        "batches": ("good", "15"),
        "timesheet": ("minutes", "-6"),
        "moulds": ("retired", "2024-12-31"),
    }
    wait, draws = edit(folder, STUDY, 'wait = "18 h"', "wait = 18"), edit(folder, STUDY, "draws = 8192", "draws = 8")
    return [
        f"{STUDY}:{wait}:{WAIT}: ",
        f"{STUDY}:{draws}:study.draws: ",
        *(f"records/{log}.csv:{put(folder, log, column, new)}:{column}: " for log, (column, new) in cells.items()),
    ]


def test_all_faults_are_told_at_once(with_logs):
    """Faults of the study file do not hide those of the logs, nor one log those of another."""
    expected = six(with_logs)

    found = [str(fault) for fault in faults_of(with_logs)]

    assert len(found) == 6
    assert [start for start in expected if not any(line.startswith(start) for line in found)] == []


def told(*words):
    """Run the real command; what it printed on its error stream, and its exit code."""
    assert COMMAND, "casting-econ is not installed beside this Python"
    ended = subprocess.run(
        [COMMAND, *map(str, words)], capture_output=True, text=True, encoding="utf-8", timeout=120, check=False
    )
    assert "Traceback" not in ended.stdout + ended.stderr
    return ended.stderr, ended.returncode


@pytest.mark.parametrize("words", [("run",), ("check",), ("sweep", "--scrap", "5%", "--cure", "12h")], ids=lambda words: words[0])
def test_command_tells_every_fault_and_writes_nothing(words, with_logs):
    """Six faults in one go, exit code 2, no traceback, and nothing left behind."""
    expected = six(with_logs)
    before = sorted(with_logs.rglob("*"))
    name, *options = words

    error, code = told(name, with_logs, *options)

    assert code == 2
    assert [start for start in expected if start not in error] == []
    assert error.rstrip().endswith("6 faults found; nothing was changed.")
    assert sorted(with_logs.rglob("*")) == before


@pytest.mark.parametrize(
    ("act", "text"),
    [
        (lambda f: shutil.rmtree(f), "study file is missing"),
        (lambda f: (f / STUDY).write_text("[study", encoding="utf-8"), "is not valid TOML"),
        (lambda f: (f / "records/sales.csv").write_text("", encoding="utf-8"), "empty log"),
    ],
    ids=["no folder", "not TOML", "empty log"],
)
def test_command_tells_one_fault(act, text, with_logs):
    """One fault is one line and a count that says so."""
    act(with_logs)

    code, out, error = command("check", with_logs)

    assert code == 2 and "Traceback" not in out + error
    assert text in error and "\n1 fault found; nothing was changed." in error


# values that a slip, a paste or a spreadsheet could put anywhere
VALUES = """true|[]|[1, 2]|{}|{ a = 1 }|1e308|-1e308|inf|nan|0|-1|1|""|"x"|2025-01-01|07:32:00|"1e999 min"|"-5 min"|"5 min/0"|"5 **"
"10 %"|"200 %"|99999999999999999999|"5 EUR"|"5 GBP"|"5 min 2"|{ value = [1] }|{ value = 1, worth = [] }|{ value = 1, basis = [] }
{ low = "1 min", likely = "2 min", high = "1 min" }|{ low = 1, likely = 2, high = 3 }|{ distribution = [] }|"5 {x}"|"5 (min"
{ distribution = "discrete", values = [], weights = [] }|{ distribution = "uniform", low = [1, 2], high = 5 }|"9e9 h"|"9e9 EUR"
{ distribution = "beta", mean = 0.5, worth = 1e300 }|{ distribution = "weibull", mean = 5, shape = 1e-3 }|"0 min"|"0 EUR"|"1 year"
"""
CELLS = """|  |nan|inf|-1|1e400|1e13|x|"|1,5|"1,5"|2025-13-01|06/01/2025|0001-01-01|9999-12-31|0|1|1_0|٣|0x10|1e3|999999999|true|NA|1.5|1440"""
VALUES, CELLS = VALUES.replace("\n", "|").strip("|").split("|"), CELLS.split("|")


def slip(rng, text, toml):
    """One random slip in a text: a line lost, doubled or moved, a letter lost, a value or cell replaced."""
    lines = text.split("\n")
    at = rng.randrange(len(lines))
    kind = rng.random()
    if kind < 0.15:
        del lines[at]
    elif kind < 0.25:
        lines.insert(rng.randrange(len(lines)), lines[at])
    elif kind < 0.3 and lines[at]:
        letter = rng.randrange(len(lines[at]))
        lines[at] = lines[at][:letter] + lines[at][letter + 1 :]
    elif toml:
        at = rng.choice([i for i, line in enumerate(lines) if "=" in line and not line.startswith("#")])
        figures = list(re.finditer(r'= *("[^"]*"|[\d.]+)', lines[at]))
        where = rng.choice(figures).span(1) if figures else (lines[at].index("=") + 2, len(lines[at]))
        lines[at] = lines[at][: where[0]] + rng.choice(VALUES) + lines[at][where[1] :]
    else:
        at = rng.choice([0, at, at])
        cells = lines[at].split(",")
        cells[rng.randrange(len(cells))] = rng.choice(CELLS)
        lines[at] = ",".join(cells)
    return "\n".join(lines)


@pytest.mark.parametrize(("in_logs", "seed"), [(False, 0), (False, 1), (False, 2), (True, 0), (True, 1)])
@pytest.mark.parametrize("name", STUDIES)
def test_random_slips_end_in_a_result_or_in_faults(name, in_logs, seed, tmp_path):
    """One to three random slips in a study file, or in its logs, give a result or faults, never another error."""
    rng, folder = random.Random(f"{name} {in_logs} {seed}"), first_rows(name, tmp_path / "study", rows=8)
    logs = sorted((folder / "records").glob("*.csv"))
    files = logs if in_logs else [folder / STUDY]
    texts = {path: path.read_text(encoding="utf-8") for path in files}
    if not in_logs:
        shutil.rmtree(folder / "records")
    outcomes = set()
    for number in range(20 if in_logs else 40):
        broken = dict(texts)
        for _ in range(rng.choice([1, 1, 2, 3])):
            file = rng.choice(files)
            broken[file] = slip(rng, broken[file], not in_logs)
        for file, text in broken.items():
            file.write_text(text, encoding="utf-8", newline="")
        try:
            open_study(folder).point()
            outcomes.add("result")
        except StudyError as error:
            outcomes.add("faults")
            assert [line for line in str(error).split("\n") if "; right would be " not in line] == []
        except Exception as error:
            changed = {file.name: text for file, text in broken.items() if text != texts[file]}
            raise AssertionError(f"study {number}: {changed}") from error

    assert outcomes == {"result", "faults"}


def test_logs_of_loads_longer_than_any_window_are_told(tmp_path):
    """Load minutes that the timesheet shows to fit no working window are a fault, as they are in the study file."""
    path = first_rows(STUDIES[0], tmp_path / "study", rows=200) / "records" / "timesheet.csv"
    path.write_text(re.sub(r",pot,\d+,", ",pot,700,", path.read_text(encoding="utf-8")), encoding="utf-8")

    with pytest.raises(StudyError):
        open_study(tmp_path / "study").point()


def test_faults_of_keys_and_between_keys_come_together(file_only):
    """A wrong number or an unknown key hides no fault between keys, in its own product or elsewhere."""
    edit(file_only, STUDY, 'minutes = { value = "1.8 min"', 'minutes = { value = "-1.8 min"')
    edit(file_only, STUDY, 'wait_in = "pressure-pot"', 'wait_in = "presure-pot"')
    edit(file_only, STUDY, 'product = "knob"', 'product = "knop"')
    edit(file_only, STUDY, "set_aside =", "set_asside =")
    edit(file_only, STUDY, 'monday = "09:00-17:00"', 'monday = "9 to 5"')
    append(file_only, tie(("spread.prise", "spread.demand", 0.5)))

    found = {fault.column for fault in faults_of(file_only)}

    assert found == {
        f"{KNOB}.press-weed.minutes",
        f"{KNOB}.pot.wait_in",
        "channels.online.product",
        "target.set_asside",
        "calendar.monday",
        "correlations.0.between",
    }


def test_a_misspelt_key_is_one_fault(file_only):
    """What follows from a key that was not understood is not told as a fault of its own."""
    edit(file_only, STUDY, 'load_minutes = { value = "24 min"', 'load_minuts = { value = "24 min"')

    assert [fault.column for fault in faults_of(file_only)] == [f"{KNOB}.pot.load_minuts"]


def test_a_wide_spread_of_load_minutes_gives_a_result(file_only):
    """Draws in which a load fits no working window make nothing, instead of ending the run."""
    edit(
        file_only, STUDY, 'load_minutes = { value = "24 min", from = "records", worth = "10 loads" }', 'load_minutes = "100 min"'
    )
    edit(file_only, STUDY, 'minutes = "12 %"', 'minutes = "100 %"')

    answer = open_study(file_only).monte_carlo(draws=1024)

    made = answer.draws["good_pieces_per_year"]
    assert 0 < (made < 1e-3).mean() < 0.1
    assert (made > 100).mean() > 0.8
