"""The form of a new study asks, tells and makes what the questions in writing do."""

import html

import pytest
from commands import command

from casting_econ.starting.answers import read_answers
from casting_econ.starting.crafts import crafts
from casting_econ.starting.first import new_study
from casting_econ.starting.form import StartForm, begun
from casting_econ.starting.questions import QUESTIONS, parts_of


def typed(form, **values):
    """What somebody types, as the page sends it; keys with __ for the dot."""
    form.values = {**form.values, **{key.replace("__", ".").replace("_or_", "-"): value for key, value in values.items()}}


def test_the_form_asks_the_same_and_makes_the_same(tmp_path):
    """Fields by craft, what was typed stays when the craft is changed, and the study is the one that answers in writing make."""
    form = StartForm(str(tmp_path / "by-form"))
    asked = {part.key for q in QUESTIONS for part in parts_of(q, crafts()["epoxy"])}
    assert form.asked.keys() == asked | {"begin"}
    typed(form, price="6 7 9 GBP")
    typed(form, craft="soap")
    assert form.values["price"] == "6 7 9 GBP" and "minutes.cut-and-trim" in form.asked and "minutes.sand" not in form.asked
    typed(form, **{"yield": "ninety"})
    form.press("make")
    assert form.faults.keys() == {"yield"} and "not an answer that can be read; found 'ninety'" in form.faults["yield"]
    assert "1 answer to mend" in form.said["made"] and html.escape(form.asked["yield"]) in form.said["made"]
    assert not (tmp_path / "by-form").exists()
    form.press("make", {**form.values, "yield": "80 90 95"})
    new_study(tmp_path / "by-file", read_answers({"craft": "soap", "price": "6 7 9 GBP", "yield": "80 90 95"}))

    texts = [(tmp_path / name / "study.toml").read_text(encoding="utf-8") for name in ("by-form", "by-file")]
    assert texts[0].replace("By form", "By file") == texts[1]
    assert form.faults == {} and "the chance of reaching the target is" in form.said["made"]


def test_the_form_names_each_fault_at_its_question(tmp_path):
    """A first order with nothing answered: what is needed is said where it is asked; a folder that is there, at the folder."""
    form = StartForm(str(tmp_path / "mine"), begun({"begin": "order", "craft": "gypsum plaster"}))
    assert form.values["craft"] == "gypsum" and form.asked["pieces"].startswith("3. ")
    form.press("make")
    assert form.faults.keys() == {"pieces", "due"} and "is needed" in form.faults["due"]
    (tmp_path / "mine").mkdir()
    form.press("make", {**form.values, "begin": "workshop"})
    assert form.faults.keys() == {"folder"} and "is there already" in form.faults["folder"]
    typed(form, folder="other")
    form.press("make")
    assert (tmp_path / "other" / "study.toml").is_file()


def test_the_form_is_drawn_whole_when_the_craft_changes(tmp_path):
    """Old faults and answers go with the old questions."""
    form = StartForm(str(tmp_path / "s"))
    typed(form, cure="soon")
    form.press("make")
    assert form.faults and form.said["made"]
    typed(form, craft="pewter")
    assert form.faults == {} and not form.said.get("made")


@pytest.mark.parametrize(("options", "told"), [(["--craft", "resin"], "one of epoxy"), (["--currency", "USD"], "no --currency")])
def test_a_form_that_cannot_begin_is_told_before_it_opens(options, told, tmp_path):
    """A craft that is none, and a currency apart from the price: exit 2, no page."""
    code, _, err = command("new", tmp_path / "s", "--form", *options)
    assert code == 2 and told in err
