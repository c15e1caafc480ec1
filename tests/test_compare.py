"""Two studies or packs side by side: changed lines, rows and results, on common draws."""

import re
import shutil
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from commands import DATA, only_pages

from casting_econ.cli import main
from casting_econ.faults import StudyError
from casting_econ.formatting import Format
from casting_econ.kit import open_study
from casting_econ.models import evaluate
from casting_econ.pages.change import compared
from casting_econ.sharing.compare import Comparison, _result, compare_studies, comparison_page
from casting_econ.sharing.compare import _summary as comparison_lines
from casting_econ.sharing.pack import pack_study


def command(*words):
    """Run casting-econ in this process; its exit code, output and error output."""
    done = CliRunner().invoke(main, [str(word) for word in words], prog_name="casting-econ", env={"COLUMNS": "140"})
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.stdout, done.stderr


def copy_of(demo, folder, *changes, more=""):
    """A demo with lines of its study file changed; each change must be found."""
    study = Path(shutil.copytree(DATA / demo, folder))
    text = re.sub(r"draws = \d+", "draws = 512", (study / "study.toml").read_text(encoding="utf-8"))
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (study / "study.toml").write_text(text + more, encoding="utf-8")
    return study


def result(found, what):
    return next(one for one in found.results if one.what == what)


def test_a_study_beside_itself_has_no_difference(tmp_path):
    """Every line, row and draw is the same, exactly."""
    study = copy_of("kelpmoor-handles", tmp_path / "a")
    found = compare_studies(study, study)

    assert (found.numbers, found.told, found.records, found.only) == ([], [], [], [])
    assert all(one.difference == one.low == one.high == 0.0 for one in found.results if one.difference is not None)
    assert result(found, "pay an hour").before == result(found, "pay an hour").after


def test_the_first_line_of_a_comparison_says_what_the_first_page_of_a_report_does(tmp_path):
    """A skewed year, as of one order: its mean beside what half of the draws exceed, which is the headline of its report."""
    study = copy_of("samphire-hooks", tmp_path / "a")
    mean, _, half = (open_study(study).monte_carlo().summary("pay_per_hour")[key] for key in ("mean", "sd", "p50"))
    said = comparison_lines(compare_studies(study, study))

    assert said[0] == f"Pay an hour is the same, £{mean:.2f}." and f"half of them bring more than £{half:.2f}, which" in said[1]
    assert half > 2 * mean  # a reader who saw one of the two alone would not find it in the other


def test_a_change_in_few_draws_is_no_sameness():
    """Where nine in ten draws are the same but their mean is not, the middle eight in ten do not stand for all."""
    old = np.zeros(100)
    few = _result("pay an hour", "money", old, np.where(np.arange(100) < 5, 20.0, old))

    assert (few.low, few.high, few.difference, few.same) == (0.0, 0.0, 1.0, False)
    kept = {"places": ("", ""), "fmt": Format("EUR", "en_IE"), "stated": (), "draws": 100}
    assert "the same" not in comparison_lines(Comparison(names=("a", "a"), results=[few], **kept))[0]


def test_comparing_loads_nothing_that_runs_notebooks():
    """Half of the time before the first number was spent on loading what only a run needs."""
    code = "import sys, casting_econ.sharing.compare; sys.exit('papermill' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", code]).returncode == 0


def test_results_fit_a_terminal_of_80_columns(tmp_path):
    """The last column, the chance of more, is not cut off."""
    before = copy_of("kelpmoor-handles", tmp_path / "a")
    after = copy_of("kelpmoor-handles", tmp_path / "b", ('\nprice = "96.00 EUR"', '\nprice = "106.00 EUR"'))
    done = CliRunner().invoke(main, ["compare", str(before), str(after)], env={"COLUMNS": "80"})
    lines = done.stdout.replace("\xa0", " ").splitlines()

    assert done.exit_code == 0 and max(map(len, lines)) <= 80
    assert any(line.startswith(" pay an hour") and line.rstrip().endswith("over 99 %") for line in lines)
    assert any(line.startswith("The same: ") for line in lines)


def test_a_change_from_or_to_nothing_is_no_sameness(tmp_path):
    """A list that becomes empty, and a log with rows gone and none new, stand in the terminal as on the page."""
    before = copy_of("hollin-quay-pulls", tmp_path / "a")
    after = copy_of("hollin-quay-pulls", tmp_path / "b", ('days_off = ["2026-09-25 to 2026-09-27"]', "days_off = []"))
    log = after / "records" / "timesheet.csv"
    lines = log.read_text(encoding="utf-8").splitlines(keepends=True)
    log.write_text("".join(lines[:-2]), encoding="utf-8")
    _, out, _ = command("compare", before, after)
    told = [" ".join(line.split()) for line in out.splitlines()]

    assert any(line.endswith("days_off 2026-09-25 to 2026-09-27 none") for line in told)
    assert any(re.match(r"timesheet \d+ \d+ none 2 \(", line) for line in told)
    assert all("days_off" not in line and "timesheet" not in line for line in told if line.startswith("The same"))


def test_a_changed_price_is_told_with_old_new_note_and_what_it_does(tmp_path):
    """A dearer set: the line with its reason, who and when as stated, and a rise by hand: 10.00 a set, less its share of fees."""
    before = copy_of("kelpmoor-handles", tmp_path / "a")
    after = copy_of(
        "kelpmoor-handles",
        tmp_path / "b",
        ('\nprice = "96.00 EUR"', '\nprice = { value = "106.00 EUR", note = "as two others ask" }'),
        ("seed = 20", 'seed = 20\nchanged_by = "the elder sister"\nchanged_on = 2026-03-01'),
    )
    found = compare_studies(before, after)
    kit = open_study(after)

    assert [(row["key"], row["before"], row["after"], row["note"]) for row in found.numbers] == [
        ("channels.online.price", "96.00 EUR", "106.00 EUR", "as two others ask")
    ]
    assert found.stated == ("The study after was changed by the elder sister on 2026-03-01, as it states.",)
    assert result(found, "pay an hour").low > 0 and result(found, "pay an hour").higher == 1.0
    # sales rise by 10.00 in 106.00 of every order that is made and sent, which some draws have no room for
    sold = kit.by_draw(lambda a: {"money": evaluate(a).channels["online"]["orders"] * a.channels[0].price})["money"]
    assert result(found, "sales and postage charged, a year").difference == pytest.approx(sold.mean() / 10.6, rel=1e-9)
    assert result(found, "knob: minutes a good piece").difference == 0.0


def test_results_are_on_the_draws_that_scenarios_use(tmp_path):
    """A study changed as a scenario of another changes it differs from it by what that scenario brings, to rounding."""
    more = '\n[scenarios.dearer]\nwhat = "dearer sets"\nchange = { channels.online.price = "106.00 EUR" }\n'
    before = copy_of("hollin-quay-pulls", tmp_path / "a", more=more.replace("online", "shop").replace("EUR", "USD"))
    after = copy_of("hollin-quay-pulls", tmp_path / "b", ('price = "63.00 USD"', 'price = "106.00 USD"'))
    row = compared(open_study(before), ["dearer"])
    gap = row.residual - row.base_residual
    found = result(compare_studies(before, after), "pay a year")

    assert found.difference == pytest.approx(gap.mean(), rel=1e-9)
    assert (found.low, found.high) == pytest.approx(tuple(np.quantile(gap, [0.1, 0.9])), rel=1e-9)


def test_rows_that_came_and_went_are_counted_by_log(tmp_path):
    """Two rows added and one gone, with their days; a changed note is no changed row."""
    before, after = copy_of("hollin-quay-pulls", tmp_path / "a"), copy_of("hollin-quay-pulls", tmp_path / "b")
    path = after / "records" / "timesheet.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[1] = lines[1].replace("whole load, timed", "timed")
    gone = lines.pop(3)
    lines += ["2026-09-01,sand-seam,50,cord-pull,31,", "2026-09-03,sand-seam,51,cord-pull,31,"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = compare_studies(before, after)

    assert found.records == [
        {
            "log": "timesheet",
            "before": str(len(lines) - 2),
            "after": str(len(lines) - 1),
            "new rows": "2 (2026-09-01 to 2026-09-03)",
            "rows gone": f"1 ({gone[:10]})",
        }
    ]
    assert "products.cord-pull.steps.demould-and-clean.minutes" in {row["key"] for row in found.told}
    assert found.numbers == []


@pytest.mark.parametrize("demo", ["hollin-quay-pulls", "messy-twins/kelpmoor-handles"])
def test_a_pack_and_its_folder_differ_in_nothing(demo, tmp_path, monkeypatch):
    """An earlier pack beside the folder it came from: notes left out and how its own files are read are no difference."""
    only_pages(monkeypatch)  # a comparison looks at no page
    study = copy_of(demo, tmp_path / "a study")
    pack_study(study, tmp_path / "p.zip", say=lambda _: None)
    found = compare_studies(tmp_path / "p.zip", study)

    assert (found.numbers, found.told, found.records) == ([], [], [])


def test_products_and_steps_that_only_one_has_are_named(tmp_path):
    """A product more, a step and a channel renamed: said, and results of each side shown alone."""
    before = copy_of("hollin-quay-pulls", tmp_path / "a")
    text = (before / "study.toml").read_text(encoding="utf-8")
    after = Path(shutil.copytree(before, tmp_path / "b"))
    shutil.rmtree(after / "records")
    (after / "study.toml").write_text(
        text.replace("cord-pull", "bell-pull").replace("hotels", "inns").replace("steps.sand-seam", "steps.file-seam"),
        encoding="utf-8",
    )
    found = compare_studies(before, after)

    assert "Only before: product cord-pull." in found.only and "Only after: product bell-pull." in found.only
    assert "Only before: channel hotels." in found.only and "Only after: channel inns." in found.only
    assert any(line.startswith("Only after: step ") and "bell-pull: file-seam" in line for line in found.only)
    alone = result(found, "bell pull: minutes a good piece")  # a result is named in words, a key of the file as it stands there
    assert alone.before is None and alone.after > 0 and alone.difference is None
    assert {row["log"] for row in found.records} == {"batches", "faults", "timesheet"}


@pytest.mark.parametrize("one,other", [("hollin-quay-pulls", "ninepenny-lather"), ("gannet-lane-figures", "hollin-quay-pulls")])
def test_different_workshops_are_compared_or_refused_in_words(one, other, tmp_path):
    """Two workshops of one currency are compared; of two, that is said."""
    a, b = copy_of(one, tmp_path / "a"), copy_of(other, tmp_path / "b")
    currencies = [open_study(study, with_records=False).study.currency for study in (a, b)]
    code, out, err = command("compare", a, b)

    if currencies[0] == currencies[1]:
        assert code == 0 and "Two studies of different names" in out
    else:
        assert code == 2 and "is in another currency" in err


def test_the_page_says_what_the_terminal_says(tmp_path):
    """One page with nothing fetched and no script; every cell of the terminal stands in it, names of the study as text."""
    before = copy_of("hollin-quay-pulls", tmp_path / "a")
    after = copy_of(
        "hollin-quay-pulls",
        tmp_path / "b",
        ('price = "63.00 USD"', """price = { value = "66.00 USD", note = "<script>alert(1)</script> & more" }"""),
    )
    code, out, err = command("compare", before, after, "--out", tmp_path / "page.html")
    assert (code, err) == (0, "")
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    words = []

    class Text(HTMLParser):
        def handle_data(self, data):
            words.append(data)

        def handle_starttag(self, tag, attrs):
            assert tag not in ("script", "link", "iframe", "img", "object", "form")
            assert not any(name.startswith("on") or name in ("src", "href") for name, _ in attrs)

    Text().feed(page)
    text = " ".join(words)
    for said in ("66.00 USD", "63.00 USD", "<script>alert(1)</script> & more", "pay an hour", "same 512 draws"):
        assert said in text
    assert "Pay an hour goes from" in out and "Pay an hour goes from" in text
    assert not re.search(r"url\(|@import", page)


def test_what_cannot_be_compared_is_told(tmp_path):
    """A missing folder, a study with faults and a page of no name: by place, exit code 2, nothing written."""
    study = copy_of("hollin-quay-pulls", tmp_path / "a")
    bad = copy_of("hollin-quay-pulls", tmp_path / "b", ('price = "63.00 USD"', 'price = "63.00"'))
    for words, says in (
        ((study, tmp_path / "none"), "study file is missing"),
        ((study, bad), "channels.shop.price"),
        ((study, study, "--out", tmp_path / "page.txt"), "ends in .html"),
        ((study, study, "--out", tmp_path / "no" / "page.html"), "cannot be written"),
        ((bad / "study.toml", study), "is no archive"),
    ):
        code, _, err = command("compare", *words)
        assert code == 2 and says in err, err
    assert {path.name for path in tmp_path.iterdir()} == {"a", "b"}


def test_a_page_is_replaced_whole_or_not_at_all(tmp_path):
    """A page that cannot be written leaves the one before."""
    study = copy_of("hollin-quay-pulls", tmp_path / "a")
    found = compare_studies(study, study)
    comparison_page(found, tmp_path / "page.html")
    first = (tmp_path / "page.html").read_bytes()
    with pytest.raises(StudyError):
        comparison_page(found, tmp_path / "page.html" / "x.html")

    assert (tmp_path / "page.html").read_bytes() == first
