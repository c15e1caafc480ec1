"""Studies to be broken, ways to break them, and the faults that reading them tells."""

import re
import shutil

import pytest
from commands import DATA

from casting_econ.faults import StudyError
from casting_econ.kit import open_study

STUDIES = ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather")
LINE = re.compile(r"(?P<file>study\.toml|records/\w+\.\w+)(:(?P<row>\d+))?(:(?P<column>[^:;]+))?: .+; right would be .+")
STUDY = "study.toml"
KNOB = "products.knob.steps"
WAIT = f"{KNOB}.pot.wait"
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


def cut(folder, start, end):
    """Take out the lines of the study file from one text to just before another."""
    path = folder / STUDY
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index(start)] + text[text.index(end, text.index(start)) :], encoding="utf-8", newline="")


def tie(*pairs):
    """Lines of the study file that correlate numbers."""
    return "".join(f"\n[[correlations]]\nbetween = {list(pair[:2])}\nrank = {pair[2]}\n" for pair in pairs)
