"""README and manual: what they show can be used as written, and no key is missing."""

import re
from pathlib import Path

from click.testing import CliRunner
from refresh_manual import manual_tables, parts

from casting_econ.cli import main
from casting_econ.kit import open_study
from casting_econ.ledger.logs import LOGS
from casting_econ.study.keys import keys_of

ROOT = Path(__file__).parents[1]


def test_the_manual_holds_every_key_as_declared():
    """The committed tables are those that the declarations make, with each key and each column of each log."""
    before, tables, _ = parts()
    assert tables.strip() == manual_tables().strip(), "run python tests/refresh_manual.py"
    for key in keys_of():
        table, _, rest = key.partition(".")
        assert f"`{rest or table}`" in tables
    assert all(f"| `{log}` | `{column}` |" in tables for log, columns in LOGS.items() for column in columns)
    assert before.startswith("# Manual")


def test_the_study_file_of_the_readme_is_complete(tmp_path):
    """The file shown in the README opens as it stands, and an hour of it brings a finite sum."""
    text = re.search(r"```toml\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)[1]
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    pay = float(open_study(tmp_path).point().totals["pay_per_hour"])
    assert -100 < pay < 100 and pay != 0


def test_a_notebook_of_ones_own_as_the_manual_shows_it(tmp_path, monkeypatch):
    """On the README's study: a dearer hook brings more, and an open study is shown in a line."""
    study, code = (
        re.search(rf"```{kind}\n(.*?)```", (ROOT / name).read_text(encoding="utf-8"), re.DOTALL)[1]
        for kind, name in (("toml", "README.md"), ("python", "data/manual.md"))
    )
    (tmp_path / "my-study").mkdir()
    (tmp_path / "my-study" / "study.toml").write_text(study, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    exec(code, names := {})

    before, after = (kit.monte_carlo().summary("pay_per_hour")["p50"] for kit in (names["kit"], names["dearer"]))
    assert after > before and len(repr(names["year"])) < 300
    assert repr(names["kit"]).startswith("Tidewrack hooks: €") and "\n" not in repr(names["kit"])


def test_readme_and_manual_name_only_commands_and_options_there_are():
    """Every command and long option that follows `casting-econ` in README and manual exists."""
    for name in ("README.md", "data/manual.md"):
        for command, rest in re.findall(r"casting-econ ([a-z-]+)([^`\n]*)", (ROOT / name).read_text(encoding="utf-8")):
            assert command in main.commands, command
            options = {option for parameter in main.commands[command].params for option in parameter.opts}
            assert set(re.findall(r"--[a-z-]+", rest)) <= options, (command, rest)


def test_the_manual_as_a_page(tmp_path):
    """`explain --page` writes the manual as HTML with its tables; an existing file is not replaced."""
    page = tmp_path / "manual.html"
    assert CliRunner().invoke(main, ["explain", "--page", str(page)]).exit_code == 0
    text = page.read_text(encoding="utf-8")
    assert text.count("<table>") > 20 and "fee_base" in text and "<h2" in text and "<script" not in text
    again = CliRunner().invoke(main, ["explain", "--page", str(page)])
    assert again.exit_code == 2 and "is there already" in again.output
