"""A sweep: its table and chart, over any key, and what it refuses."""

import json
import re

import pandas as pd
import pytest
from commands import command, copy_of, hashes, lay_out, only_pages

from casting_econ.kit import open_study
from casting_econ.running import folders, run
from casting_econ.running.sweep import run_sweep

STUDIES = ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather")


def test_sweep_collects_one_table_and_one_heat_map(tmp_path):
    """Two scrap rates by two cure times: four notebooks kept, their charts in words, four rows, more scrap pays less, the study
    untouched, and nothing of another sweep that was ended."""
    study = copy_of(STUDIES[0], tmp_path)
    lay_out(folders.working_folder(tmp_path / "sweep", study, "sweep"), "sweep/notebooks/other.ipynb")
    before = hashes(study)
    code, out, err = command(
        "sweep", study, "--scrap", "10%,30%", "--cure", "18h,2 days", "--draws", 256, "--out", tmp_path / "sweep"
    )
    table = pd.read_csv(tmp_path / "sweep" / "sweep.csv")

    assert (code, err) == (0, "") and hashes(study) == before
    assert table[["scrap_rate", "cure_hours"]].to_numpy().tolist() == [[0.1, 18], [0.1, 48], [0.3, 18], [0.3, 48]]
    assert table.pay_p50[0] > table.pay_p50[2] and table.pay_p50[1] > table.pay_p50[3] and table.pay_p50[2] > table.pay_p50[3]
    points = [path.read_text(encoding="utf-8") for path in (tmp_path / "sweep" / "notebooks").glob("*.ipynb")]
    assert len(points) == 4 and all('"image/' not in text and "eight in ten draws between" in text for text in points)
    assert (tmp_path / "sweep" / "sweep.png").stat().st_size > 10_000
    assert "Chart: " in out


def test_sweep_over_any_key_of_a_study_without_a_wait(tmp_path):
    """Two prices, and two scrap rates alone, nothing waiting: a row a point, in order; more money an order pays more, more scrap less. The
    first sweep is kept when one of another grid comes in its place, once, and not when the same grid comes again."""
    study = copy_of(STUDIES[0], tmp_path)
    text = (study / "study.toml").read_text(encoding="utf-8")
    text = re.sub(r"(?m)^wait(_at|_in)? = .*$", "", text)
    (study / "study.toml").write_text(re.sub(r"(?m)^cure_step = .*$", "", text), encoding="utf-8")
    words = ("--vary", "channels.online.price=30 EUR..50 EUR/2", "--draws", 128, "--out", tmp_path / "sweep")
    code, out, err = command("sweep", study, *words)
    table = pd.read_csv(tmp_path / "sweep" / "sweep.csv")

    assert (code, err) == (0, "") and "Chart: " in out
    assert table["channels.online.price"].tolist() == ["30 EUR", "50 EUR"] and table.pay_p50[0] < table.pay_p50[1]
    code, out, err = command("sweep", study, "--scrap", "10%,30%", "--draws", 128, "--out", tmp_path / "sweep")
    table = pd.read_csv(tmp_path / "sweep" / "sweep.csv")

    assert (code, err) == (0, "") and "Chart: " in out
    assert table.scrap_rate.tolist() == [0.1, 0.3] and table.pay_p50[0] > table.pay_p50[1]
    assert "sweep held a sweep of another grid; that is kept as sweep-before beside it" in out
    kept = pd.read_csv(tmp_path / "sweep-before" / "sweep.csv")
    assert kept["channels.online.price"].tolist() == ["30 EUR", "50 EUR"]
    code, out, _ = command("sweep", study, "--scrap", "10%,30%", "--draws", 256, "--out", tmp_path / "sweep")
    assert code == 0 and "kept as" not in out and {path.name for path in tmp_path.glob("sweep*")} == {"sweep", "sweep-before"}


@pytest.mark.parametrize("command", ["run", "sweep"])
def test_a_study_edited_while_it_runs_is_not_what_its_manifest_names(command, tmp_path, monkeypatch):
    """The inputs by the hashes of what was worked out, not of what the maker saved meanwhile."""
    only_pages(monkeypatch, "03_cost")
    study, out = copy_of(STUDIES[0], tmp_path), tmp_path / "out"
    before = hashes(study)

    def say(line):
        if line.startswith("[1/1]"):
            (study / "study.toml").write_text("# edited", encoding="utf-8")

    if command == "run":
        run.run_study(study, out, say=say)
    else:
        run_sweep(study, vary={"channels.online.price": ["90 EUR"]}, draws=128, out=out, say=say)
    listed = json.loads((out / "manifest.json").read_text(encoding="utf-8"))["inputs"]
    assert (study / "study.toml").read_text(encoding="utf-8") == "# edited"
    assert listed == {path.as_posix(): own for path, own in before.items()}


def test_sweep_over_the_seed_draws_other_years(tmp_path):
    """Each seed gives what the study gives with it, so that their rows say how much is the draws' own chance."""
    study = copy_of(STUDIES[0], tmp_path)
    assert command("sweep", study, "--vary", "study.seed=1,2", "--draws", 128, "--out", tmp_path / "sweep")[0] == 0
    found = pd.read_csv(tmp_path / "sweep" / "sweep.csv").pay_p50

    own = [open_study(study).monte_carlo(128, seed).summary("pay_per_hour")["p50"] for seed in (1, 2)]
    assert found.tolist() == pytest.approx(own, rel=1e-8) and found[0] != found[1]  # nine digits are kept


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--scrap", "10%,1.2", "--cure", "18h"], "--scrap: outside the limits; found '1.2'"),
        (["--scrap", "10%", "--cure", "18"], "--cure: no unit where one is needed, such as hour; found '18'"),
        (["--scrap", "10%", "--cure", "18kg"], "--cure: a unit that cannot be read as hour; found '18kg'"),
        (["--scrap", "10%", "--cure", "18h", "--notebook", "07_monte_carl"], "did you mean '07_monte_carlo'"),
        (["--scrap", "10%", "--cure", "18h", "--notebook", "03_cost"], "03_cost.ipynb has no parameter 'scrap'"),
        (["--scrap", "10%", "--cure", "18h", "--product", "knbo"], "did you mean 'knob'"),
        ([], "sweep: nothing is varied"),
        (["--vary", "channels.online.price"], "--vary: cannot be read; found 'channels.online.price'"),
        (["--vary", "channels.online.price=24..36/1"], "--vary: cannot be read"),
        (["--vary", "channels.onlin.price=24,30"], "channels.onlin"),
        (["--vary", "time.hours=20", "--vary", "time.hours=30"], "--vary: is given twice; found time.hours"),
        (["--vary", "channels.online.fee_share=10 %,120 %"], "study.toml:channels.online.fee_share: "),
        (["--vary", "channels.online.price=24,30", "--notebook", "03_cost"], "03_cost.ipynb has no parameter 'vary'"),
    ],
)
def test_sweep_refuses_what_it_cannot_do(words, expected, tmp_path):
    """A request that makes no sense is named before anything runs."""
    study = copy_of(STUDIES[0], tmp_path)
    before = hashes(study)
    code, _, err = command("sweep", study, *words)

    assert code == 2 and expected in err and "Traceback" not in err
    assert {path: found for path, found in hashes(study).items() if "sweep" not in path.parts[0]} == before
    assert not (study / "sweep").exists()
