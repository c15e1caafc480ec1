"""Many faults come in one round, whatever the slip, by the command too, and what only follows is not told."""

import random
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from broken import KNOB, STUDIES, STUDY, WAIT, append, cut, edit, faults_of, first_rows, put, tie
from commands import command

from casting_econ.faults import StudyError
from casting_econ.kit import open_study
from casting_econ.ledger.logs import LOGS
from casting_econ.study import read_study

COMMAND = shutil.which("casting-econ", path=str(Path(sys.executable).parent))


def test_copies_are_sound(tmp_path):
    """The copies that the tests below break have no fault of their own."""
    for name in STUDIES:
        assert set(read_study(first_rows(name, tmp_path / name)).records) == set(LOGS)
        # ten sales in the months of the other logs make no living
        assert np.isfinite(open_study(tmp_path / name).point().totals["pay_per_hour"])


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
        (STUDY, "targets"),
        (STUDY, f"{KNOB}.pot.wait_in"),
        (STUDY, "scenarios.no-wholesale.drop"),
        *((f"{log}.csv", "date") for log in ("batches", "timesheet", "sales")),
        ("batches.csv", "good"),
        ("timesheet.csv", "step"),
        ("sales.csv", "channel"),
    } <= found
    assert len([file for file, _ in found if file == STUDY]) == 4  # and nothing that only follows


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


def installed(*words):
    """Run the command as it is installed beside this Python, in a process of its own."""
    ended = subprocess.run([COMMAND, *map(str, words)], capture_output=True, text=True, encoding="utf-8", check=False)
    return ended.returncode, ended.stdout, ended.stderr


@pytest.mark.parametrize("words", [("run",), ("check",), ("sweep", "--scrap", "5%", "--cure", "12h")], ids=lambda words: words[0])
def test_command_tells_every_fault_and_writes_nothing(words, with_logs):
    """Six faults in one go, exit code 2, no traceback, and nothing left behind, the installed command and others."""
    expected = six(with_logs)
    before = sorted(with_logs.rglob("*"))
    name, *options = words

    code, out, error = (installed if name == "check" else command)(name, with_logs, *options)

    assert code == 2 and "Traceback" not in out + error
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
IN_FILE = """true|[]|[1, 2]|{}|{ a = 1 }|1e308|-1e308|inf|nan|0|-1|1|""|"x"|2025-01-01|07:32:00|"1e999 min"|"-5 min"|"5 min/0"|"5 **"
"10 %"|"200 %"|99999999999999999999|"5 EUR"|"5 GBP"|"5 min 2"|{ value = [1] }|{ value = 1, worth = [] }|{ value = 1, basis = [] }
{ low = "1 min", likely = "2 min", high = "1 min" }|{ low = 1, likely = 2, high = 3 }|{ distribution = [] }|"5 {x}"|"5 (min"
{ distribution = "discrete", values = [], weights = [] }|{ distribution = "uniform", low = [1, 2], high = 5 }|"9e9 h"|"9e9 EUR"
{ distribution = "beta", mean = 0.5, worth = 1e300 }|{ distribution = "weibull", mean = 5, shape = 1e-3 }|"0 min"|"0 EUR"|"1 year"
"""
IN_CELL = """|  |nan|inf|-1|1e400|1e13|x|"|1,5|"1,5"|2025-13-01|06/01/2025|0001-01-01|9999-12-31|0|1|1_0|٣|0x10|1e3|999999999|true|NA|1.5|1440"""
IN_FILE, IN_CELL = IN_FILE.replace("\n", "|").strip("|").split("|"), IN_CELL.split("|")


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
        lines[at] = lines[at][: where[0]] + rng.choice(IN_FILE) + lines[at][where[1] :]
    else:
        at = rng.choice([0, at, at])
        cells = lines[at].split(",")
        cells[rng.randrange(len(cells))] = rng.choice(IN_CELL)
        lines[at] = ",".join(cells)
    return "\n".join(lines)


@pytest.mark.parametrize(("in_logs", "seed"), [(False, 0), (False, 1), (False, 2), (True, 0), (True, 1)])
@pytest.mark.parametrize("name", STUDIES)
def test_random_slips_end_in_a_result_or_in_faults(name, in_logs, seed, tmp_path):
    """One to three random slips in a study file, or in its logs, give a result or faults, never another error."""
    rng, folder = random.Random(f"{name} {in_logs} {seed}"), first_rows(name, tmp_path / "study", rows=8)
    logs = sorted((folder / "records").glob("*.csv"))
    files = [path for path in rng.sample(logs, 4) if path.stem != "batches"] if in_logs else []  # no more than is quick to read
    for path in logs:
        if path not in files and not (in_logs and path.stem == "batches"):
            path.unlink()
    files = [folder / "records" / "batches.csv", *files] if in_logs else [folder / STUDY]
    texts = {path: path.read_text(encoding="utf-8") for path in files}
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
