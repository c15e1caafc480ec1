"""The commands as a user runs them: exit codes, messages, and what they leave behind."""

import contextlib
import errno
import json
import os
import re
import shutil
import socket
import subprocess
import sys
from getpass import getuser
from pathlib import Path

import nbformat
import numpy as np
import pandas as pd
import pytest
from commands import DATA, NOTEBOOKS, ROOT, command, copy_of, edited, hashes, lay_out, only_pages

from casting_econ.faults import StudyError
from casting_econ.kit import OpenStudy, open_study
from casting_econ.running import folders, notebooks, run
from casting_econ.running.notebooks import NotebookError, check_parameters
from casting_econ.running.results import as_json, results
from casting_econ.study.keys import keys_of

STUDIES = ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather")
QUANTITIES = (
    "casts_per_year good_pieces_per_year pieces_sold_per_year loads_per_week hours_per_year revenue_per_year fees_per_year "
    "material_per_year overhead_per_year equipment_per_year residual_pay_per_year pay_per_hour pay_per_hour_after_set_aside"
).split()
BY_PRODUCT = (
    "yield casts_per_good_piece minutes_per_good_piece material_per_good_piece cost_per_good_piece scrap_cost_per_good_piece "
    "break_even_price cash_break_even_price"
).split()


def test_help_lists_the_commands():
    """The bare help names every command with a line of what it does."""
    code, out, _ = command("--help")

    assert code == 0
    assert all(re.search(rf"^  {name} +\w", out, re.M) for name in ("check", "demo", "run", "sweep"))


@pytest.mark.parametrize("study", STUDIES)
def test_check_says_what_is_guessed_and_what_measured(study, tmp_path):
    """Each demo passes its check, which writes nothing."""
    folder = copy_of(study, tmp_path)
    before = hashes(folder)
    code, out, err = command("check", folder)

    assert (code, err) == (0, "")
    assert all(word in out for word in ("guess", "measured", "No faults found."))
    assert hashes(folder) == before


def test_check_takes_the_answer_of_an_unchanged_report(whole_run, tmp_path, monkeypatch):
    """With a report of just these files a check draws no year and says what it says without; an altered report is not believed."""
    folder = copy_of(STUDIES[0], tmp_path)
    alone = command("check", folder)
    shutil.copytree(whole_run[2], folder / "report")
    monkeypatch.setattr(OpenStudy, "monte_carlo", None)

    assert command("check", folder) == alone
    (folder / "report" / "report.html").write_text("", encoding="utf-8")
    with pytest.raises(TypeError):
        command("check", folder)


def test_run_shows_progress_and_says_where_the_report_is(whole_run):
    """One line a page, then the places of report and numbers."""
    _, _, result, code, out, err = whole_run

    assert (code, err) == (0, "")
    lines = re.findall(r"^\[(\d+)/(\d+)\] (\d\d_\w+) +[\d.]+ s +ok$", out, re.M)
    assert [int(count) for count, _, _ in lines] == list(range(1, len(run.PAGES) + 1))
    assert {whole for _, whole, _ in lines} == {str(len(run.PAGES))} and {page for _, _, page in lines} == set(run.PAGES)
    assert f"Report: {result / 'report.html'}" in out


def test_run_writes_what_the_contract_names_and_nothing_to_the_study(whole_run):
    """Eight executed notebooks, report, results, manifest, tables, and every figure twice; the inputs as they were."""
    study, before, result, *_ = whole_run

    assert hashes(study) == before
    assert sorted(p.name for p in result.iterdir()) == [
        ".made.json",
        ".panel.json",
        "figures",
        "manifest.json",
        "notebooks",
        "report.html",
        "results.json",
        "tables",
    ]
    assert [p.stem for p in sorted((result / "notebooks").iterdir())] == list(run.PAGES)
    figures = list((result / "figures").iterdir())
    assert {path.suffix for path in figures} == {".svg"} and len(figures) >= 12  # each is drawn once
    assert len(list((result / "tables").glob("*.csv"))) >= 14
    assert not result.with_name("result.part").exists()


def test_results_hold_every_quantity_of_the_contract(whole_run):
    """Stated, point, draws with their summaries, chances and bottleneck, each quantity with a unit."""
    content = json.loads((whole_run[2] / "results.json").read_text())

    for part in ("stated", "point"):
        assert set(QUANTITIES) <= set(content[part]) and set(BY_PRODUCT) <= set(content[part]["products"]["knob"])
    for quantity in QUANTITIES:
        assert {"mean", "sd", "p05", "p10", "p25", "p50", "p75", "p90", "p95"} <= set(content["draws"][quantity])
        assert content["units"][quantity]
    assert set(BY_PRODUCT) <= set(content["units"]["products"])
    assert content["draws"]["n"] == 8192 and content["draws"]["seed"] == 20
    assert set(content["chances"]) == {"hour_pays_living_wage", "year_pays_living_wage", "channels"}
    assert sum(content["bottleneck"].values()) == pytest.approx(1.0)
    stated = open_study(DATA / STUDIES[0]).point(stated=True).totals["pay_per_hour"]
    assert (
        content["stated"]["pay_per_hour"] == pytest.approx(stated, rel=1e-8) and stated < 20.84
    )  # by hand, of a year that nothing stops


def test_nothing_written_tells_of_this_machine(whole_run):
    """Manifest, results, report and executed notebooks hold no absolute path, host, user or clock time."""
    _, _, result, *_ = whole_run
    texts = [result / "manifest.json", result / "results.json", result / "report.html", *(result / "notebooks").iterdir()]
    for path in texts:
        text = re.sub(r"base64,[^\"]*", "", path.read_text(encoding="utf-8"))
        assert str(result.parent) not in text and str(ROOT) not in text and socket.gethostname() not in text
        assert not re.search(r"\d\d:\d\d:\d\d", text)
        if getuser() not in ("root", "user"):  # words that a page may hold for other reasons
            assert getuser() not in text


def test_manifest_holds_what_a_rerun_needs(whole_run):
    """Seed, draws, the hash of every input and notebook, versions, the study's name, which files are the run's, and nothing else."""
    _, before, result, *_ = whole_run
    content = json.loads((result / "manifest.json").read_text())

    assert set(content) == {"study", "seed", "draws", "inputs", "notebooks", "versions", "files"}
    assert content["inputs"] == {path.as_posix(): found for path, found in before.items()}
    assert content["notebooks"] == {path.stem: found for path, found in hashes(NOTEBOOKS).items() if path.stem in run.PAGES}
    assert (content["seed"], content["draws"], content["study"]) == (20, 8192, "Kelpmoor Handles")


def test_same_study_and_seed_give_the_same_bytes(whole_run, tmp_path, monkeypatch):
    """A second run of two pages, in another folder: results, notebooks, tables and figures as in the whole run, and its manifest but for
    the pages. Reports to the byte are in test_pack, and nbval runs every page anew."""
    only_pages(monkeypatch, "01_answer", "07_monte_carlo")
    one, other = whole_run[2], tmp_path / "result"
    assert command("run", copy_of(STUDIES[0], tmp_path), "--out", other)[0] == 0

    first, second = hashes(one), hashes(other)
    assert len(second) > 10 and second.keys() <= first.keys()
    assert {str(name) for name in second if first[name] != second[name]} == {".made.json", "manifest.json", "report.html"}
    listed, listed_again = (json.loads((folder / "manifest.json").read_text(encoding="utf-8")) for folder in (one, other))
    listed["notebooks"] = {page: listed["notebooks"][page] for page in run.PAGES}
    assert set(listed_again.pop("files")) < set(listed.pop("files"))
    assert listed_again == listed


@pytest.mark.parametrize("what", ["file", "folder", "study"])
def test_folder_with_other_things_is_left_alone(what, tmp_path):
    """A report never replaces what it did not write: exit 2, a remedy, and everything as it was."""
    study, out = copy_of(STUDIES[0], tmp_path), tmp_path / "out"
    if what == "file":
        out.write_text("mine")
    elif what == "folder":
        out.mkdir()
        (out / "mine.txt").write_text("mine")
    else:
        out = study
    before = hashes(tmp_path)
    code, _, err = command("run", study, "--out", out)

    assert code == 2 and "right would be" in err and "Traceback" not in err
    assert hashes(tmp_path) == before


RESULTS = """
import sys
from casting_econ.kit import open_study
from casting_econ.running.results import as_json, results
kit = open_study(sys.argv[1])
sys.stdout.buffer.write(as_json(results(kit, kit.monte_carlo(256))).encode() + " ".join(kit.assumed.numbers).encode())
"""


def test_results_do_not_depend_on_the_process(tmp_path):
    """Two Pythons that order their sets differently, this one and another in another time zone, give the same bytes and the same order of numbers."""
    study = copy_of(STUDIES[0], tmp_path)
    text = (study / "study.toml").read_text(encoding="utf-8")
    ranges = 'quantity = { low = "20 g", likely = "21.6 g", high = "24 g" }'
    (study / "study.toml").write_text(text.replace('quantity = "21.6 g"', ranges), encoding="utf-8")
    seed = "2" if os.environ.get("PYTHONHASHSEED") == "1" else "1"
    machine = os.environ | {"PYTHONHASHSEED": seed, "TZ": "Pacific/Auckland"}
    found = [subprocess.run([sys.executable, "-c", RESULTS, study], env=machine, check=True, capture_output=True).stdout]
    kit = open_study(study)
    found.append(as_json(results(kit, kit.monte_carlo(256))).encode() + " ".join(kit.assumed.numbers).encode())

    assert b"resin.quantity" in found[0]
    assert found[0] == found[1]


@pytest.mark.parametrize(
    "names",
    [("out/manifest.json", "out/mine.txt"), ("out.part/mine.txt",), ("out.part",)],
    ids=["manifest of another program", "folder that is called .part", "file that is called .part"],
)
def test_what_only_looks_like_ours_is_left_alone(names, tmp_path):
    """A folder with some manifest.json, or one that happens to be called .part, is no earlier run of the kit."""
    lay_out(tmp_path, *names)

    with pytest.raises(StudyError):
        folders.working_folder(tmp_path / "out", DATA / STUDIES[0], "key")

    assert all((tmp_path / name).is_file() for name in names)


class Killed(BaseException):
    """The process ends here; nothing after it is done."""


@pytest.mark.parametrize("key", ["new", "other"], ids=["the same run again", "another run"])
def test_a_run_that_ends_at_any_moment_is_in_nobodys_way(key, tmp_path, monkeypatch):
    """Ended before each single step of clearing, marking and replacing: the next run puts its report there and leaves nothing else."""
    left, moment = [0], 0

    def ending(call):
        def counted(*args, **options):
            left[0] -= 1
            if left[0] == 0:
                raise Killed
            return call(*args, **options)

        return counted

    for name in ("mkdir", "unlink", "rmdir", "replace"):
        monkeypatch.setattr(os, name, ending(getattr(os, name)))
    monkeypatch.setattr(Path, "write_text", ending(Path.write_text))

    def one_run(out, key):
        part = folders.working_folder(out, DATA / STUDIES[0], key)
        lay_out(part / "report", "tables/a.csv", "tables/b.csv")
        (part / "report" / "page.html").write_text(key, encoding="utf-8")
        made = json.dumps({"inputs": {}, "notebooks": {}, "versions": {}})
        (part / "report" / "manifest.json").write_text(made, encoding="utf-8")
        folders.replace_folder(part / "report", out, part, print)

    while left[0] <= 0:  # until a run comes to its end by itself
        moment += 1
        out = tmp_path / str(moment) / "out"
        one_run(out, "old")
        lay_out(folders.working_folder(out, DATA / STUDIES[0], "cut short"), "report/tables/c.csv")
        left[0] = moment
        with contextlib.suppress(Killed):
            one_run(out, "new")
        assert not out.exists() or (out / "page.html").read_text() in ("old", "new")
        ended, left[0] = left[0] == 0, 0
        one_run(out, key)
        left[0] = 0 if ended else 1

        assert not (out / "tables" / "c.csv").exists() and (out / "page.html").read_text() == key
        assert [path.name for path in out.parent.iterdir()] == ["out"]
    assert moment > 15


@pytest.mark.skipif(folders.fcntl is None, reason="Windows has no such locks")
def test_of_two_commands_at_once_in_one_folder_the_second_is_told(tmp_path):
    """It writes nothing while the first is there, and is let in once that has ended, however it did."""
    out, asked = tmp_path / "out", (tmp_path / "out", DATA / STUDIES[0], "key")
    code = "import sys, pathlib as p; from casting_econ.running.folders import working_folder as w; w(p.Path(sys.argv[1]), p.Path(sys.argv[2]), 'key')"
    first = subprocess.Popen(
        [sys.executable, "-c", f"{code}; print('in', flush=True); input()", out, asked[1]],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    try:
        assert first.stdout.readline() == b"in\n"
        with pytest.raises(StudyError, match="is being written by another command"):
            folders.working_folder(*asked)
    finally:
        first.kill()
        first.communicate()
    assert folders.working_folder(*asked).is_dir()
    assert folders.working_folder(*asked).is_dir()  # as a run in the same process goes on


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT])
def test_full_disk_is_told_in_a_line_and_what_was_there_stays(number, tmp_path, monkeypatch):
    """A year end on a disk with no room left: a message with its remedy, exit code 2, no traceback, the workbook of before."""
    study = copy_of("samphire-hooks", tmp_path)
    assert command("year-end", study)[0] == 0
    before = hashes(study)

    def full(self, data):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(Path, "write_bytes", full)
    code, _, told = command("year-end", study)
    monkeypatch.undo()

    assert code == 2 and told.startswith(
        f"the disk: cannot be written; found {os.strerror(number)}; right would be some room on it"
    )
    assert {name: own for name, own in hashes(study).items() if name.parts[0] != "year-end.part"} == before


def test_empty_folder_that_one_stands_in_can_be_written_to(tmp_path, monkeypatch):
    """`--out .` in an empty folder means that folder."""
    monkeypatch.chdir(tmp_path)

    assert folders.working_folder(Path("."), DATA / STUDIES[0], "key").is_dir()


@pytest.fixture
def broken_kit(tmp_path, monkeypatch):
    """A kit of three notebooks: one fails, one leaves early as if all were well, one is fine."""
    kit = tmp_path / "kit"
    kit.mkdir()
    sources = {"01_fails": "raise ValueError('no such thing')", "02_leaves": "import sys\nsys.exit(0)", "03_fine": "1 + 1"}
    for name, source in sources.items():
        cells = [nbformat.v4.new_markdown_cell("# Page")]
        parameters = 'study = ""  # folder\ndraws = 1  # draws\nseed = 1  # seed\nout = ""  # folder'
        cells.append(nbformat.v4.new_code_cell(parameters, metadata={"tags": ["parameters"]}))
        cells += [nbformat.v4.new_code_cell(source), nbformat.v4.new_code_cell("2 + 2")]
        kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
        book = nbformat.v4.new_notebook(cells=cells, metadata={"kernelspec": kernel, "language_info": {"name": "python"}})
        nbformat.write(book, kit / f"{name}.ipynb")
    only_pages(monkeypatch, *sources, folder=kit)
    return kit


def test_failing_notebook_is_named_and_the_others_are_kept(broken_kit, tmp_path):
    """The failure says which notebook, cell and cause; no report appears; the next run keeps the finished page."""
    study, lines = copy_of(STUDIES[0], tmp_path), []
    with pytest.raises(NotebookError) as caught:
        run.run_study(study, workers=2, say=lines.append)

    assert re.search(r"01_fails, cell 3: ValueError: no such thing; 1 more failed", str(caught.value)) or re.search(
        r"02_leaves, cell \d: .*; 1 more failed", str(caught.value)
    )
    assert sum("FAILED" in line for line in lines) == 2 and sum(line.endswith("ok") for line in lines) == 1
    assert not (study / "report").exists()
    assert notebooks.finished(study / "report.part" / "made" / "03_fine" / "notebooks" / "03_fine.ipynb")
    assert not notebooks.finished(study / "report.part" / "made" / "02_leaves" / "notebooks" / "02_leaves.ipynb")

    code, out, err = command("run", study)

    assert code == 1 and "1 more failed" in err and "Traceback" not in err
    assert out.splitlines()[1] == "1 pages are kept from a run that was interrupted"


def test_parameters_must_be_known_and_plain():
    """A misspelt name is refused with a close match, NumPy numbers become plain ones, and a tuple is refused by name."""
    source = NOTEBOOKS / "07_monte_carlo.ipynb"

    assert check_parameters(source, {"draws": np.int64(128), "scrap": np.float64(0.2)}) == {"draws": 128, "scrap": 0.2}
    with pytest.raises(ValueError, match=r"no parameter 'drawz' \(did you mean 'draws'\?\)"):
        check_parameters(source, {"drawz": 128})
    with pytest.raises(TypeError, match=r"parameter 'draws' must be text, a number.*got tuple"):
        check_parameters(source, {"draws": (1, 2)})


def test_demo_copies_the_inputs_and_never_overwrites(tmp_path, monkeypatch):
    """A demo arrives as study file and logs alone; a second copy to the same place is refused."""
    monkeypatch.chdir(tmp_path)
    code, out, _ = command("demo", "ninepenny-lather", "mine")
    names = sorted(path.name for path in (tmp_path / "mine").rglob("*") if path.is_file())

    assert code == 0 and str(tmp_path / "mine") in out
    assert names == [
        "batches.csv",
        "faults.csv",
        "moulds.csv",
        "prices_seen.csv",
        "purchases.csv",
        "sales.csv",
        "study.toml",
        "timesheet.csv",
    ]
    assert command("demo", "ninepenny-lather", "mine")[0] == 2
    code, _, told = command("demo", "ninepenny-lather", "mine/study.toml/there")
    assert code == 2 and "cannot be made" in told and "Traceback" not in told
    assert "gannet-lane-figures" in command("demo")[1]


# ------------------------------------------------------------------ orders


@pytest.fixture(scope="module")
def ordered(tmp_path_factory):
    """One order of the first demo, planned and written: study, folder and output."""
    study = copy_of("kelpmoor-handles", tmp_path_factory.mktemp("order"))
    before = hashes(study)
    code, said, _ = command("order", study, "kitchen")
    assert code == 0
    return study, before, said


def test_an_order_is_planned_and_quoted_in_its_own_folder(ordered):
    study, before, said = ordered
    out = study / "orders" / "kitchen"
    after = {path: mark for path, mark in hashes(study).items() if path.parts[0] != "orders"}
    assert after == before
    assert "casts in 3 loads" in said.replace("\n", " ") and str(out / "quote.html") in said
    names = {path.name for path in out.iterdir()}
    assert names == {"plan.html", "quote.html", "order.json", "manifest.json", "notebooks", "tables", "figures"}
    content = json.loads((out / "order.json").read_text(encoding="utf-8"))
    assert content["casts"] > 28 and content["chance_of_enough"] >= 0.95 and content["order"]["start"] == "2026-11-30"
    table = pd.read_csv(out / "tables" / "order-loads.csv")
    assert table.casts.sum() == content["casts"] + 14  # with the load promised before
    plan = (out / "plan.html").read_text(encoding="utf-8")
    assert "plan for kitchen" in plan and "Working safely" in plan and "data:image/svg+xml" in plan
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["order"] == {"name": "kitchen", "start": "2026-11-30"}


def test_the_same_order_again_gives_the_same_bytes(ordered):
    study, _, _ = ordered
    out = study / "orders" / "kitchen"
    before = hashes(out)
    assert command("order", study, "kitchen")[0] == 0
    assert {p: m for p, m in hashes(out).items() if p.suffix != ".html"} == {
        p: m for p, m in before.items() if p.suffix != ".html"
    }
    assert hashes(out)[Path("quote.html")] == before[Path("quote.html")]


def test_an_answer_alone_writes_nothing_and_takes_what_is_asked(tmp_path):
    study = copy_of("kelpmoor-handles", tmp_path)
    before = hashes(study)
    options = "--product knob --pieces 28 --by 2027-03-31 --start 2027-02-01 --confidence 99% --in-hand 5 --answer-only".split()
    code, said, _ = command("order", study, *options)
    assert code == 0 and hashes(study) == before
    text = " ".join(said.split())
    assert "28 good pieces of knob" in text and "In hand: 5 pieces" in text and "wanted certainty 99 %" in text
    variants = "--by 2027-03-31 --start 2027-02-01 --variant green=14 --variant grey=14 --in-hand green=3 --answer-only".split()
    code, said, _ = command("order", study, *variants)
    assert code == 0 and "14 green, 14 grey" in said and "In hand: 3 pieces" in " ".join(said.split())


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ("--start 2027-02-01", "NAME: is missing; right would be one of kitchen"),
        ("--pieces 28", "--by: is missing"),
        ("--by 2027-03-31", "--pieces: is missing"),
        ("--pieces 28 --by soon", "--by: not a date; found 'soon'"),
        ("--pieces 28 --by 2027-03-31 --confidence 2", "--confidence"),
        ("--pieces 28 --by 2027-03-31 --in-hand x", "--in-hand: not a number; found 'x'"),
        ("--variant 14 --by 2027-03-31", "--variant: not a number of pieces"),
        ("ktchen", "NAME: unknown commission; found 'ktchen'"),
        ("--pieces 28.5 --by 2027-03-31", "--pieces: outside the limits; found '28.5'; right would be a whole number"),
        ("kitchen --price 10.800", "--price: question: is this 10800 or 10.800?"),
        ("kitchen --price 400USD", "--price: money in USD while the study counts in EUR"),
    ],
)
def test_a_wrong_order_is_told_and_leaves_nothing(tmp_path, options, told):
    study = copy_of("kelpmoor-handles", tmp_path)
    before = hashes(study)
    code, _, error = command("order", study, *options.split())
    assert code == 2 and told in error and "Traceback" not in error and hashes(study) == before


@pytest.mark.parametrize("columns", [60, 80, 200])
def test_an_order_is_told_in_lines_of_the_terminal_and_never_beyond_100(columns, monkeypatch):
    """Text is as wide as the terminal, at most 100 columns, and does not leave the width unused."""
    monkeypatch.setenv("COLUMNS", str(columns))
    code, said, _ = command("order", DATA / "kelpmoor-handles", "kitchen", "--answer-only", "--price", "400.50 EUR")
    longest = max(map(len, said.splitlines()))
    assert code == 0 and 0.9 * min(columns, 100) < longest <= min(columns, 100)
    assert "At €400.50 an hour pays" in " ".join(said.split())


def test_a_record_renamed_after_an_interrupted_order_is_not_read_from_the_rest(tmp_path, monkeypatch):
    """The folder an order works in holds the records of today, however an earlier one ended."""
    study, seen = copy_of("kelpmoor-handles", tmp_path), []

    def stop(jobs, workers, say, folder, **_):
        seen.append({path.name for path in (folder / "study" / "records").iterdir()})
        raise KeyboardInterrupt

    monkeypatch.setattr("casting_econ.running.notebooks.run_jobs", stop)
    for _ in range(2):
        assert command("order", study, "kitchen")[0] == 130
        (study / "records" / "sales.csv").replace(study / "records" / "sales-2026.csv") if len(seen) == 1 else None

    assert seen[1] - seen[0] == {"sales-2026.csv"} and seen[0] - seen[1] == {"sales.csv"}


def test_check_lists_how_alike_pieces_of_a_load_are_with_its_source(tmp_path, monkeypatch):
    """The correlation within loads decides how many to cast: in the list stated or not, guessed or measured."""
    monkeypatch.setenv("COLUMNS", "200")
    study = copy_of("kelpmoor-handles", tmp_path)
    rows = []
    for change in (lambda: None, lambda: shutil.rmtree(study / "records")):
        change()
        code, said, _ = command("check", study)
        assert code == 0
        rows += [line for line in said.splitlines() if "pieces of a load fail together" in line]
    assert len(rows) == 2 and "measured on" in rows[0] and "guess, common practice, no source" in rows[1] and " 0.05 " in rows[1]


def test_every_key_of_the_study_file_has_a_line_of_help():
    """Each key says what it is in one short line, in small letters and without a full stop, so that lists can be made of them."""
    told = {key: field.description for key, field in keys_of().items()}
    assert {
        "study.name",
        "channels.NAME.orders",
        "products.NAME.steps.NAME.materials.NAME.price",
        "orders.promised.from",
    } <= told.keys()
    wrong = [key for key, line in told.items() if not line or len(line) > 100 or line[-1] in ". " or "\n" in line]
    assert not wrong


@pytest.mark.parametrize(
    "key, lines",
    [
        (
            "channels.NAME.orders",
            ["orders that come in a year", "a number at least 0 with a unit such as '2 order/year'; needed", "orders = "],
        ),
        ("channels.a fair.fee_base", ["taken of", "one of price, price and postage; price and postage if not given"]),
        ("overheads.rent", ["overheads: money a year", "'2 EUR/year'; may be left out", "GBP/year"]),
        ("supplies.x.packs.quantity", ["how much is in it", "needed", "packs = [{ quantity = "]),
        (
            "products",
            ["products: ", "needed", "casts_per_load: pieces cast in a load;", "needed", "unsold_share", "0 if not given"],
        ),
        ("", ["study: ", "products: ", "cash: "]),
    ],
)
def test_explain_says_what_a_key_is(key, lines):
    """A key is explained by what it is, takes and is if not given, and as a demo has it; a table by its keys; nothing by all tables."""
    code, said, _ = command("explain", *([key] if key else []))
    assert code == 0
    at = 0
    for line in lines:  # in this order
        at = said.index(line, at)


def test_explain_names_the_nearest_key():
    """An unknown key is a fault with the key that was meant."""
    code, _, error = command("explain", "channels.NAME.ordres")
    assert code == 2 and "(did you mean 'channels.NAME.orders'?)" in error


def test_asking_and_checking_load_only_what_they_use(tmp_path):
    """The questions come before the year and any optimiser are loaded; a check, which draws the year, and an order's answer load no
    charts, panels or pages; a run loads what reports need once its kernels are on their way; nothing of what a command leaves is looked
    through when it ends."""
    ends = "; print([name for name in {} if name in sys.modules])"
    asked = "import sys, casting_econ.starting.asking" + ends.format(("casting_econ.kit", "scipy.optimize", "scipy.stats"))
    run = "import sys, casting_econ.running.run" + ends.format(("papermill", "nbformat", "mistune"))
    done = "import atexit, gc, sys; atexit.register(lambda: print(gc.get_freeze_count() > 0)); from casting_econ.cli import main"
    for first, *options in (["check"], ["order", "kitchen", "--answer-only"]):
        done += f"; main([{first!r}, sys.argv[1], *{options}], standalone_mode=False)"
    done += ends.format(("matplotlib", "bokeh", "papermill", "jinja2"))
    study = copy_of(STUDIES[0], tmp_path) / "study.toml"
    study.write_text(edited(study.read_text(encoding="utf-8"), ("draws = 8192", "draws = 256")), encoding="utf-8")
    said = [
        subprocess.run([sys.executable, "-c", code, str(study.parent)], capture_output=True, text=True, check=True).stdout
        for code in (asked, run, done)
    ]
    assert [text.splitlines()[-2:] for text in said] == [["[]"], ["[]"], ["[]", "True"]]
