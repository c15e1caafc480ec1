"""A study whose every number is certain: every page works, and no sentence speaks of chances, bands or draws that differ."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from commands import without_chance

from casting_econ.charts import pay_histogram
from casting_econ.explore.explorer import Explorer, view_sentence
from casting_econ.faults import StudyError
from casting_econ.formatting import Format
from casting_econ.kit import format_of, open_study
from casting_econ.pages import page as show
from casting_econ.pages.answer import next_things, the_decision
from casting_econ.pages.change import best_sentence, best_set, changed, scenario_sentence
from casting_econ.pages.conditions import needed_table
from casting_econ.pages.deciding import decision_of, information_table
from casting_econ.pages.monte_carlo import error_sentence, verdict, year_sentence
from casting_econ.pages.sensitivity import sobol_table
from casting_econ.running.panel import panel_parts
from casting_econ.running.store import PAGES

ROOT = Path(__file__).parents[1]
NOTEBOOKS = ROOT / "notebooks"
DRAWS = 256
EMPTY = ": nothing recorded."  # after the caption of a table that would have had bands
UNSURE = re.compile(
    r"half of the|eight (draws )?in ten|eight in ten|over 99|under 1|a chance of|On average|the chance|in no draw|nan|inf\b"
)


def made_certain(folder, edit=lambda text: text, plain=without_chance):
    """The first demo with every number certain and no logs, its orders not one by one."""
    text = plain((ROOT / "data" / "kelpmoor-handles" / "study.toml").read_text(encoding="utf-8"))
    text = re.sub(r', from = "records", worth = "[^"]*"', "", text)
    text = re.sub(r"\[spread\].*?\n\n", "", text, flags=re.S)
    text = re.sub(r"elasticity = \{[^}]*\}", "elasticity = 1.2", text)
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(edit(text), encoding="utf-8")
    return folder


SMALL = """
[study]
name = "Small"
question = "Does one thing pay?"
currency = "EUR"
locale = "en_IE"
[time]
weeks = "40 week/year"
hours = "20 h/week"
fixed_hours = "2 h/week"
[calendar]
monday = "09:00-17:00"
[target]
per_hour = "15 EUR/h"
full_week = "35 h/week"
[products.knob]
casts_per_load = 10
[products.knob.steps.pour]
minutes = "3 min"
load_minutes = "20 min"
[channels.fair]
product = "knob"
orders = "300 orders/year"
pieces_per_order = 1
price = "12 EUR"
"""


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """The demo; the smallest study: one product in one step, one channel, no logs, no outlay, no reserve; and that with a channel nobody buys in."""
    base = tmp_path_factory.mktemp("certain")
    small = base / "small"
    small.mkdir()
    (small / "study.toml").write_text(SMALL, encoding="utf-8")
    empty = base / "empty"
    empty.mkdir()
    channel = '[channels.shop]\nproduct = "knob"\norders = "0 orders/year"\npieces_per_order = 2\nprice = "20 EUR"\n'
    (empty / "study.toml").write_text(SMALL + channel, encoding="utf-8")
    return {"demo": made_certain(base / "demo"), "small": small, "empty": empty}


def pages(folder, monkeypatch, out=show.WORDS_ONLY):
    """What each page says and shows, its code run here instead of in a kernel; sentences by page, and tables. With `out` "" charts are drawn, else
    said in words."""
    said, tables = {}, []
    for name in PAGES:
        spoken = said.setdefault(name, [])
        monkeypatch.setattr(show.Page, "say", lambda self, text, spoken=spoken: spoken.append(text.replace("\u00a0", " ")))
        monkeypatch.setattr(
            show, "display", lambda shown, raw=False, metadata=None: tables.append(getattr(shown, "data", "") or "")
        )
        around = {"__name__": "__main__"}
        for cell in json.loads((NOTEBOOKS / f"{name}.ipynb").read_text(encoding="utf-8"))["cells"]:
            if cell["cell_type"] != "code":
                continue
            exec("".join(cell["source"]), around)  # our own notebooks
            if "parameters" in cell["metadata"].get("tags", []):
                around |= {"study": str(folder), "draws": DRAWS, "out": out}
    return said, [table for table in tables if isinstance(table, str)]


@pytest.mark.parametrize("name", ["demo", "small", "empty"])
def test_certain_numbers_leave_chance(folders, name, tmp_path, monkeypatch):
    """Month by month the same studies have bands, of chance alone: no page fails, says that years are alike, or asks to measure."""
    text = (folders[name] / "study.toml").read_text(encoding="utf-8")
    (tmp_path / "study.toml").write_text(text.replace("[study]\n", '[study]\nvariation = "months"\n'), encoding="utf-8")
    said, tables = pages(tmp_path, monkeypatch)
    every, kit = " ".join(text for texts in said.values() for text in texts), open_study(tmp_path)

    assert list(said) == list(PAGES) and all(said.values()) and not kit.certain and not kit.assumed.uncertain
    assert not re.search(r"(years drawn|draws) are alike|in every draw|no error of their own|\bnan\b", every)
    assert (
        "the years drawn differ by chance alone" in every and "nothing is left to measure" in every and "; chance can." in every
    )
    assert {"1 in 10 below", "half below", "1 in 10 above"} <= set(
        re.findall(r'<th scope="col"[^>]*>([^<]*)</th>', "".join(tables))
    )
    answer = kit.monte_carlo(DRAWS)
    assert np.ptp(answer.draws["pay_per_hour"]) > 0 and "eight in ten lie between" in verdict(kit, answer)


@pytest.mark.parametrize("name", ["demo", "small", "empty"])
def test_every_page_works_and_claims_no_chance(folders, name, monkeypatch):
    """No page fails, no sentence speaks of chance, and no table has a band without width or a not-a-number in it."""
    said, tables = pages(folders[name], monkeypatch, out="")

    assert list(said) == list(PAGES) and all(said.values())
    assert [
        (page, text) for page, texts in said.items() for text in texts if UNSURE.search(text) and not text.endswith(EMPTY)
    ] == []
    heads = set(re.findall(r'<th scope="col"[^>]*>([^<]*)</th>', "".join(tables)))
    assert not heads & {"1 in 10 below", "half below", "1 in 10 above", "error of mean"} and "in every draw" in heads
    assert not re.search(r">(nan|-?inf|over 99[^<]*|under 1[^<]*)<", "".join(tables))


_HOURS = {"bench": 'minutes = "3 min"', "loads": 'load_minutes = "20 min"', "weekly": 'fixed_hours = "2 h/week"'}
_HOURS["orders"] = 'minutes_per_order = "9 min"'
POT = '[equipment.pot]\nprice = "100 EUR"\nresale = "150 EUR"\nlife = "5 year"\n'  # bought used and cheap


@pytest.mark.parametrize("only", _HOURS)
def test_one_kind_of_hours_and_a_bargain_pot_leave_every_page(only, tmp_path, monkeypatch):
    """All hours in one lever, which alone takes them to nothing, and equipment that brings more than it cost: every page works, what wears is
    nothing (5 years at 100 - 150 would be -10 a year), and no lever needs an hour without end."""
    text = SMALL.replace('price = "12 EUR"\n', 'price = "12 EUR"\nminutes_per_order = "9 min"\n') + POT
    for other in _HOURS.values():
        text = text if other == _HOURS[only] else re.sub(rf"\n{other}", "\n" + re.sub(r"\d+", "0", other), text)
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    said, tables = pages(tmp_path, monkeypatch)
    kit = open_study(tmp_path)

    assert list(said) == list(PAGES) and all(said.values()) and not re.search(r">(nan|-?inf)<|-inf", "".join(tables))
    assert kit.point().totals["equipment_per_year"] == 0.0 < kit.point().totals["hours_per_year"]
    needed = needed_table(kit).set_index("key").needed
    assert needed.notna().any() and (needed.dropna() > 0).all()


def test_a_study_without_any_time_is_refused(tmp_path):
    """Nothing to pay an hour for: told as a fault, not as a failure of a page."""
    text = SMALL
    for hours in _HOURS.values():
        text = re.sub(rf"\n{hours}", "", text) if "fixed" not in hours else text.replace(hours, 'fixed_hours = "0 h/week"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")

    with pytest.raises(StudyError, match=r"nothing takes time.*the minutes that a step or an order takes"):
        open_study(tmp_path)


def test_sentences_of_a_certain_study(folders):
    """Hand arithmetic of the notes, G1: 20.84 an hour, 22,310 a year, 5,178 beyond the target; said once, not as a band."""
    kit = open_study(folders["demo"])
    fmt, decision, rows = format_of(kit), decision_of(kit, DRAWS), changed(kit, DRAWS)
    answer = kit.monte_carlo(DRAWS)
    assert "**pays** the target of €16.00: it brings €20.84, with every number stated as certain." in verdict(kit, answer)
    assert year_sentence(kit, answer).startswith("The year does not bring a living: it leaves €22,310 for 23.3 hours")
    assert "no error of their own" in error_sentence(kit, answer)
    assert the_decision(decision, rows, fmt).startswith("**Go on.** A year brings €5,178 more than its hours at the target.")
    assert next_things(kit, decision, information_table(decision), rows, fmt)[0].startswith("**Do: tumbling")
    shares, indices = sobol_table(kit, 512)
    assert shares.empty and indices.variance.max() < 1e-12 and not indices.half.any()


def test_scenarios_of_a_certain_study(folders):
    """A better one is worth it without a chance; one that adds nothing pays nothing back; cost is said as the table has it."""
    kit = open_study(folders["demo"])
    fmt, rows = format_of(kit), {row.names[0]: row for row in changed(kit, DRAWS)}
    tumbling = scenario_sentence(rows["tumbling"], fmt)
    best, tried = best_set(kit, draws=DRAWS)

    assert (
        "€260 of outlays and 20 hours to set it up are back in" in tumbling and "chance" not in tumbling and "580" not in tumbling
    )
    assert scenario_sentence(rows["second-pot"], fmt).endswith(
        "It costs €46 a year more than it brings, because buyers limit already and it hardly changes what is sold."
    )
    assert np.isinf(rows["second-pot"].payback)
    said = best_sentence(best, tried, 1200.0, fmt)
    assert "chance" not in said and "of outlays and 50 hours to set it up" in said


def test_histogram_of_one_value_is_not_blank():
    """All draws alike: one bar of all of them, about its value, as wide as can be seen."""
    figure = pay_histogram(np.full(256, 20.84), 16.0, format_of_euros())
    [bar] = figure.axes[0].patches

    assert bar.get_height() == 1.0 and bar.get_x() < 20.84 < bar.get_x() + bar.get_width() and bar.get_width() > 0.2
    assert any(text.get_text() == "certain: €20.84" for text in figure.axes[0].texts)


def format_of_euros():
    """Euros as the demo writes them."""
    return Format("EUR", "en_IE", certain=True)


def test_chance_is_all_or_none_only_where_nothing_scatters():
    """1 of 1 in draws is 'over 99 %'; of a certain study it is 100 %, and a share between stays what it is."""
    certain, drawn = format_of_euros(), Format("EUR", "en_IE")

    assert [certain.chance(x).replace("\u00a0", " ") for x in (1.0, 0.0, 0.998)] == ["100 %", "0 %", "over 99 %"]
    assert [drawn.chance(x).replace("\u00a0", " ") for x in (1.0, 0.0)] == ["over 99 %", "under 1 %"]


def test_explorer_and_panel_of_a_certain_study(folders):
    """One figure, whether it reaches the target, and what a move changes; the panel draws no band."""
    kit = open_study(folders["demo"])
    explorer = Explorer(kit, draws=DRAWS)
    dearer = next(lever for lever in explorer.levers if lever.group == "price")
    looks = [explorer.look(state) for state in ({}, {dearer.key: 1.1 * dearer.now})]
    still, moved = (view_sentence(look, format_of(kit)) for look in looks)

    assert looks[0].lines[0] == "**An hour pays:** €20.84, target €16.00."
    assert still.startswith("An hour brings as much as in the study. Scrap is")
    assert " more than in the study. Scrap" in moved and "(" not in moved
    body = str(panel_parts(kit)["body"])
    assert "every number being stated as certain" in body and 'data-cell="low"' not in body and "eight in ten from" in body
    assert 'A year leaves <strong data-cell="year">' in body and 'data-cell="year_chance"' not in body
