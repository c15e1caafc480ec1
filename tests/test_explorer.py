"""The explorer: every look is the one model on the changed study, and what is kept gives the same numbers."""

import re
import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from commands import DATA, rates_copy

from casting_econ.explore.explorer import Explorer, levers_of, save_scenario, scenario_of, view_sentence
from casting_econ.explore.widgets import TITLES, ExplorerView, explore
from casting_econ.faults import StudyError
from casting_econ.formatting import Format
from casting_econ.kit import format_of, open_study
from casting_econ.models import InMoulds, loads_per_week
from casting_econ.pages.answer import first_lines
from casting_econ.pages.change import changed, compared, study_with_scenarios
from casting_econ.pages.deciding import decision_of
from casting_econ.pages.scrap import pay_at_scrap
from casting_econ.starting.answers import read_answers
from casting_econ.starting.first import new_study

STUDIES = ("kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather", "hollin-quay-pulls")
DRAWS = 512
SAND, POT, ONLINE = "products.knob.steps.sand.pass_share", "products.knob.steps.pot.wait", "channels.online.price"


@pytest.fixture(scope="module")
def knobs():
    """The first demo with its logs, and its explorer."""
    return Explorer(open_study(rates_copy(STUDIES[0])), draws=DRAWS)  # whose scale a dearer set does not leave


def with_draws(kit, draws):
    """An open study that asks for so many draws by itself."""
    file = kit.study.file.model_copy(update={"study": kit.study.file.study.model_copy(update={"draws": draws})})
    study = replace(kit.study, file=file)
    return replace(kit, study=study, assumed=replace(kit.assumed, study=study))


@pytest.mark.parametrize("study", STUDIES)
def test_nothing_moved_is_the_study(study):
    """Pay, limits, break-even and the answer in lines are those of the study's own Monte Carlo and point, draw by draw."""
    kit = with_draws(open_study(DATA / study), DRAWS)
    explorer = Explorer(kit)
    view, answer = explorer.look({}), kit.monte_carlo()

    assert np.array_equal(explorer.base, answer.draws["pay_per_hour"])
    assert view.gain == (0.0, 0.0, 0.0)
    assert view.pay == pytest.approx([answer.summary("pay_per_hour")[key] for key in ("p10", "p50", "p90")])
    assert view.limits == pytest.approx({name: share for name, share in answer.bottleneck.items() if share > 0})
    assert view.point == pytest.approx(float(kit.point().totals["pay_per_hour"]))
    at_even = pay_at_scrap(kit, explorer.product, view.break_even or 0.0)[0]
    assert at_even < view.target if view.break_even is None else at_even == pytest.approx(view.target, rel=1e-6)
    assert "as much as in the study" in view_sentence(view, format_of(kit))
    assert view.lines == first_lines(kit, answer, decision_of(kit), changed(kit))


@pytest.mark.parametrize("study", STUDIES)
def test_every_lever_moves_what_it_says(study):
    """Each lever up by a fifth (or one more): the number in force is what the lever says, and half of them move pay at the point."""
    kit = open_study(DATA / study)
    explorer = Explorer(kit, draws=DRAWS)
    assert {lever.group for lever in explorer.levers} >= {"scrap", "waiting", "minutes", "price", "buyers", "hours"}
    moved, here = 0, float(kit.point().totals["pay_per_hour"])
    for lever in explorer.levers:
        value = lever.now + 1 if lever.is_whole else min(1.2 * lever.now, lever.high)
        state = {lever.key: value}
        other = explorer.moved(state)
        number = other.assumed.numbers[lever.key].value
        wanted = 1.0 - value / 100.0 if lever.is_scrap else value
        assert number == pytest.approx(wanted, rel=1e-9), lever.key
        point = float(other.point().totals["pay_per_hour"])
        moved += abs(point - here) > 1e-9
    assert moved >= len(explorer.levers) / 2  # stations and waits with room to spare move nothing


def test_a_look_equals_the_scenario_of_a_kept_copy(knobs, tmp_path):
    """Several levers at once, kept, opened anew and put beside the study: pay and gain draw by draw, to float precision."""
    state = {SAND: 12.0, POT: 30.0, ONLINE: 104.0, "stations.pressure-pot.count": 2, "time.fixed_hours": 9.0}
    view = knobs.look(state)
    folder = save_scenario(knobs.kit, knobs.levers, state, tmp_path / "copy", "longer-pot")
    kit = open_study(folder)
    row = compared(kit, ["longer-pot"], DRAWS)

    assert kit.study.file.scenarios["longer-pot"].what == "longer pot"
    assert np.quantile(row.pay, [0.1, 0.5, 0.9]) == pytest.approx(view.pay, rel=1e-9)
    assert np.quantile(row.pay - row.base_pay, [0.1, 0.5, 0.9]) == pytest.approx(view.gain, rel=1e-9)
    assert float(study_with_scenarios(kit, ["longer-pot"]).point().totals["pay_per_hour"]) == pytest.approx(view.point, rel=1e-12)
    # the study and everything else in the copy are as they were
    assert {p.name for p in (folder / "records").iterdir()} == {p.name for p in (knobs.kit.study.folder / "records").iterdir()}
    assert (
        (folder / "study.toml")
        .read_text(encoding="utf-8")
        .startswith((knobs.kit.study.folder / "study.toml").read_text(encoding="utf-8"))
    )


def test_more_scrap_pays_less_and_a_dearer_order_more(knobs):
    """Both sides of the sentence, with bands that do not cross nothing."""
    fmt, base = format_of(knobs.kit), knobs.look({})
    worse, better = knobs.look({SAND: 20.0}), knobs.look({ONLINE: 110.0})

    assert worse.pay[1] < base.pay[1] < better.pay[1] and worse.gain[2] < 0 < better.gain[0]
    assert "less than in the study" in view_sentence(worse, fmt) and "more than in the study" in view_sentence(better, fmt)
    assert worse.scrap > base.scrap == better.scrap
    assert np.all(np.diff(base.curve) < 0)
    ruinous = knobs.look({ONLINE: 20.0, "channels.joiner.price": 20.0})
    assert ruinous.break_even is None and "no scrap rate lets an hour earn the target" in view_sentence(ruinous, fmt)
    rich = knobs.look({ONLINE: 280.0, "channels.joiner.price": 600.0, "channels.wholesale.price": 570.0})
    assert rich.break_even > 0.6
    assert f"the target is earned up to a scrap rate of {fmt.percent(rich.break_even)}" in view_sentence(rich, fmt)


def test_the_dot_stands_on_the_stairs(knobs):
    """Loads a week at the wait are those of the curing model, for any wait and number of pots."""
    for hours, pots in ((18.0, 1), (26.0, 1), (12.0, 2), (53.0, 3)):
        view = knobs.look({POT: hours, "stations.pressure-pot.count": pots})
        assert (view.wait.wait_hours == pytest.approx(hours) and view.wait.count == pots) or view.wait.resource != "pressure-pot"
        pots = view.wait.count if view.wait.resource == "pressure-pot" else pots
        out = InMoulds(sets=2, steps=((view.wait.moulds.work_hours, False, 0.0),))  # demoulding, by the piece
        assert view.wait.moulds.work_hours == pytest.approx(0.17, abs=0.01)  # 14 at 0.7 min
        rate = loads_per_week(view.wait.wait_hours, view.wait.turnaround_hours, pots, knobs.kit.study.windows, out)
        assert view.loads == pytest.approx(float(rate))
        at = int(np.searchsorted(view.stairs["cure hours"], view.wait.wait_hours))
        beside = view.stairs["loads a week"].iloc[max(at - 1, 0) : at + 1]
        assert beside.min() <= view.loads <= beside.max()  # the stairs are drawn at points to the left and right of it


def test_a_product_that_waits_on_a_rack_only_has_no_stairs(tmp_path):
    """Soap cut from a slab: neither station nor mould holds it, so there is no staircase to stand on, and none is drawn."""
    kit, _ = new_study(tmp_path / "soap", read_answers({"craft": "soap"}))
    view = ExplorerView(kit, draws=DRAWS)
    assert view.explorer.look({}).stairs is None and not view.read_figure.axes[1].get_visible()
    assert "loads a week through" not in view.said["chart"]


@pytest.mark.parametrize(
    ("folder", "name", "state", "told"),
    [
        (".", "x", {POT: 20.0}, "is there already"),
        ("new", "Two words", {POT: 20.0}, "a name that cannot be used"),
        ("new", "../x", {POT: 20.0}, "a name that cannot be used"),
        ("new", "second-pot", {POT: 20.0}, "a name that is taken"),
        ("new", "x", {}, "nothing is moved"),
        ("new", "x", {POT: float("nan")}, "nothing is moved"),
        ("file/inner", "x", {POT: 20.0}, "cannot be made"),
    ],
)
def test_what_cannot_be_kept_is_told_and_nothing_is_made(knobs, tmp_path, folder, name, state, told):
    """Each with what would be right; nothing new lies about."""
    (tmp_path / "file").write_text("")
    with pytest.raises(StudyError, match=told):
        save_scenario(knobs.kit, knobs.levers, state, tmp_path / folder, name)
    assert [path.name for path in tmp_path.rglob("*")] == ["file"]


def test_the_study_itself_is_never_written_to(knobs):
    """A copy within the study would become part of it."""
    before = {path: path.read_bytes() for path in knobs.kit.study.folder.rglob("*") if path.is_file()}
    with pytest.raises(StudyError, match="within the study itself"):
        save_scenario(knobs.kit, knobs.levers, {POT: 20.0}, knobs.kit.study.folder / "copy", "x")
    assert before == {path: path.read_bytes() for path in knobs.kit.study.folder.rglob("*") if path.is_file()}


def test_values_beyond_a_lever_are_held_at_its_end(knobs):
    """A typed figure far outside counts as the end of the slider."""
    [pot] = [lever for lever in knobs.levers if lever.key == POT]
    entry = scenario_of(knobs.levers, {POT: 1e9})
    assert entry["scale"][POT] == pytest.approx(pot.high / pot.now)


# ---- the widgets ----


@pytest.fixture
def view(knobs):
    """The page of the first demo."""
    return ExplorerView(knobs.kit, draws=DRAWS)


def test_moving_a_slider_shows_the_look(knobs, view):
    """Lines, sentence, picture with words and limits follow the slider; back to the study is as in the study."""
    assert "as much as in the study" in view.said["sentence"]
    first = view.said
    view.move(ONLINE, 110.0)
    look = knobs.look({ONLINE: 110.0})
    assert view_sentence(look, view.fmt) in view.said["sentence"]
    assert [line.replace("**", "") for line in look.lines] == re.sub("<.*?>", "", view.said["lines"]).strip().splitlines()
    assert view.said["chart"] != first["chart"] and 'alt="Pay an hour falls with scrap' in view.said["chart"]
    assert "What limits, share of the years drawn</caption>" in view.said["limits"]
    view.back()
    assert view.state == {} and view.said == first


def test_what_a_scenario_brings_is_said_of_the_study_only(view):
    """The third line names the best scenario where nothing is moved, and no more once something is."""
    assert "First: " in view.said["lines"]
    view.move(ONLINE, 110.0)
    assert "First: " not in view.said["lines"] and "<strong>Go on" in view.said["lines"]


def test_a_slider_stands_where_the_study_does(knobs):
    """The number as it stands is one place of its slider, and nothing else is as near to it as half a step."""
    for lever in knobs.levers:
        assert lever.places[lever.at] == lever.now and np.all(np.diff(lever.places) >= 0.4999 * lever.step), lever.key
        assert lever.places[0] <= max(lever.low, lever.now) and lever.places[-1] >= min(lever.high - lever.step, lever.now), (
            lever.key
        )


def test_prices_and_buyers_come_first_and_minutes_are_folded(view):
    """What buyers do stands before what the bench does; the many minutes open at a click."""
    groups = [part for part in view.parts if part["kind"] == "group" and part["title"] in TITLES.values()]
    assert [part["title"] for part in groups][:2] == ["Price", "Buyers"] and groups[-1]["title"] == "Minutes by hand"
    assert [part["folded"] for part in groups] == [False] * (len(groups) - 1) + [True]


def test_a_long_wait_is_told_in_days():
    """Soap rests five weeks: 35 days, of which half a day is a step; a pot's 18 hours stay hours."""
    lathers = {lever.key: lever for lever in levers_of(open_study(DATA / STUDIES[2]))}
    knobs_, fmt = {lever.key: lever for lever in levers_of(open_study(DATA / STUDIES[0]))}, Format("EUR", "en_IE")
    rack = max((lever for lever in lathers.values() if lever.group == "waiting"), key=lambda lever: lever.now)
    assert rack.words(rack.now, fmt) == "35 days" and rack.words(rack.now + rack.step, fmt) == "35.5 days"
    assert knobs_[POT].words(18.0, fmt) == "18 hours"


def test_a_state_that_cannot_be_is_said(view):
    """A load longer than any working day: the lines say so, and the sliders go on working."""
    key = "products.knob.steps.pot.load_minutes"
    object.__setattr__(view.levers[key], "high", 600.0)
    vars(view.levers[key]).pop("places")
    view.move(key, 590.0)
    assert "Cannot be worked out" in view.said["lines"] and "must fit one working window" in view.said["lines"]
    assert not view.said["chart"] and not view.said["sentence"]
    view.back()
    assert "as much as in the study" in view.said["sentence"]


def test_keeping_says_where_or_why_not(view, tmp_path):
    """Through the button, with what the page has in its fields by then."""
    view.move(ONLINE, 110.0)
    view.press("keep")
    assert "Not kept" in view.said["kept"]
    view.press("keep", {**view.values, "folder": str(tmp_path / "kept")})
    assert "Kept in" in view.said["kept"]
    assert list(open_study(tmp_path / "kept").study.file.scenarios)[-1] == "as-explored"


def test_every_product_has_its_sliders(tmp_path):
    """Two products: the page asks which, and draws its sliders as the study has them; one can be asked for."""
    text = (DATA / "kelpmoor-handles" / "study.toml").read_text(encoding="utf-8")
    pull = text[text.index("[products.knob]") : text.index("[channels.online]")].replace("products.knob", "products.pull")
    more = pull + '[channels.stall]\nproduct = "pull"\norders = "40 orders/year"\npieces_per_order = 4\nprice = "60 EUR"\n\n'
    (tmp_path / "study.toml").write_text(text.replace("[channels.online]", more + "[channels.online]", 1), encoding="utf-8")
    kit = open_study(tmp_path, with_records=False)
    assert {lever.key for lever in levers_of(kit, "pull") if lever.group == "price"} == {"channels.stall.price"}
    page = explore(str(tmp_path), draws=DRAWS)
    page.move(ONLINE, 110.0)
    moved = page.said
    page.values = {**page.values, "product": "pull"}
    assert page.explorer.product == "pull" and page.state == {} and page.said["lines"] != moved["lines"]
    assert "channels.stall.price" in page.levers and ONLINE not in page.levers
    assert explore(str(tmp_path), "pull", draws=DRAWS).explorer.product == "pull"


def test_a_scrap_that_is_hardly_moved_hardly_moves_anything(knobs):
    """A millionth of a point more: every possible year changes next to nothing, since the number keeps its own draws."""
    [sand] = [lever for lever in knobs.levers if lever.key == SAND]
    assert knobs.look({SAND: sand.now + 1e-6}).gain == pytest.approx((0.0, 0.0, 0.0), abs=1e-5)


@pytest.mark.parametrize("study", STUDIES)
def test_every_lever_can_be_moved_to_both_ends(study, monkeypatch):
    """No scrap at all and a great deal of it, no minutes and many: each look is of the moved study, or says in words what cannot be."""
    explorer = Explorer(open_study(DATA / study), draws=64)  # the ends are those of the study, however many years are drawn
    here, moved = float(explorer.kit.point().totals["pay_per_hour"]), cache(lambda *state, of=explorer.moved: of(dict(state)))
    monkeypatch.setattr(explorer, "moved", lambda state: moved(*state.items()))
    # lines take most of a look: those of the first lever of a group stand for its others, in every other study
    in_words = set(list(dict.fromkeys(lever.group for lever in explorer.levers))[STUDIES.index(study) % 2 :: 2])
    for lever in explorer.levers:
        with monkeypatch.context() as patch:
            if lever.group not in in_words:
                patch.setattr("casting_econ.explore.explorer.first_lines", lambda *_: [])
            in_words.discard(lever.group)
            for value in (lever.low, lever.high):
                try:
                    view = explorer.look({lever.key: value})
                except StudyError as error:
                    assert lever.group in ("minutes", "stations", "hours") and error.faults[0].found, lever.key
                else:
                    assert np.isfinite(view.pay).all() and np.isfinite(view.curve).all(), lever.key
                    assert view.point == float(explorer.moved({lever.key: value}).point().totals["pay_per_hour"]), lever.key
                    if lever.is_scrap and value == 0:
                        assert view.point >= here


def test_a_study_in_which_nothing_fails_draws(tmp_path):
    """A stated pass share of 100 % takes the shared spread of odds and stays 100 %: no rounding above it."""
    text = (DATA / "kelpmoor-handles" / "study.toml").read_text(encoding="utf-8")
    share = 'pass_share = { value = "96 %", from = "records", worth = "50 pieces" }'
    assert share in text
    (tmp_path / "study.toml").write_text(text.replace(share, 'pass_share = "100 %"'), encoding="utf-8")
    kit = open_study(tmp_path, with_records=False)
    assert np.isfinite(kit.monte_carlo(DRAWS).draws["pay_per_hour"]).all()


def test_a_name_alone_is_kept_beside_the_study(knobs, tmp_path, monkeypatch):
    """Wherever the page was started; nothing of a copy that could not be finished stays."""
    study = Path(shutil.copytree(knobs.kit.study.folder, tmp_path / "mine"))
    kit = open_study(study)
    explorer = Explorer(kit, draws=DRAWS)
    assert save_scenario(kit, explorer.levers, {POT: 20.0}, "what-if", "x") == tmp_path / "what-if"
    assert (tmp_path / "what-if" / "study.toml").is_file()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "move", full)
    with pytest.raises(StudyError, match="No space left"):
        save_scenario(kit, explorer.levers, {POT: 20.0}, "other", "x")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mine", "what-if"]
    for name in ("", " ", "a\0b", "x" * 300):
        with pytest.raises(StudyError, match="no name of a folder"):
            save_scenario(kit, explorer.levers, {POT: 20.0}, name, "x")


def test_pots_that_differ_have_no_slider_of_how_many(knobs):
    """Where each has places of its own, one more of no size makes no study."""
    assert "stations.pot.count" not in {lever.key for lever in levers_of(open_study(DATA / "samphire-hooks"))}
    assert "stations.pressure-pot.count" in {lever.key for lever in knobs.levers}
