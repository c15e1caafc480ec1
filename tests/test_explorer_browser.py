"""Explorer and form as a maker meets them: pages in a real browser, already run, with no code, used by keys and read aloud."""

import os
import re
import signal
import socket
import subprocess
import sys

import pytest
from commands import DATA, ROOT, command

from casting_econ.explore.explorer import Explorer, view_sentence
from casting_econ.kit import format_of, open_study

PRICE = "channels.online.price"
SIZES = {"phone": {"width": 390, "height": 844}, "desk": {"width": 1280, "height": 800}}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def opened(browser, tmp_path_factory):
    """Both pages, each opened once from the address that its command says; always ended."""
    folder = tmp_path_factory.mktemp("pages")
    asked = {"explore": ["explore", DATA / "kelpmoor-handles"], "form": ["new", folder / "mine", "--form", "--craft", "soap"]}
    own = os.environ | {f"JUPYTER_{kind}_DIR": str(folder / kind.lower()) for kind in ("CONFIG", "DATA", "RUNTIME")}
    words = [sys.executable, "-u", "-m", "casting_econ.cli"]
    started = {
        name: subprocess.Popen([*words, *map(str, rest), "--no-browser"], stdout=subprocess.PIPE, text=True, env=own, cwd=ROOT)
        for name, rest in asked.items()
    }
    try:
        pages = {}
        for name, process in started.items():
            address = next(found[0] for line in process.stdout if (found := re.search(r"http://\S+", line)))
            page = pages[name] = browser.new_page(viewport=SIZES["phone"])
            page.wrong = []
            page.on("pageerror", lambda error, page=page: page.wrong.append(str(error)))
            page.on("console", lambda said, page=page: page.wrong.append(said.text) if said.type == "error" else None)
            page.on("request", lambda sent, page=page: None if "localhost" in sent.url else page.wrong.append(sent.url))
            page.goto(address, wait_until="commit")
        for page in pages.values():
            page.locator(".controls").wait_for(timeout=90_000)
        yield pages | {"folder": folder}
    finally:
        for process in started.values():
            process.send_signal(signal.SIGINT)
        ended = [process.wait(timeout=30) for process in started.values()]
        for process in started.values():
            process.stdout.close()
        assert ended == [0, 0]
        for page in pages.values():  # a page whose command has ended says so
            page.get_by_role("alert").filter(has_text="Start it again").wait_for(timeout=30_000)


@pytest.fixture
def explorer(opened):
    """The page with the sliders, as the study has them."""
    opened["explore"].set_viewport_size(SIZES["phone"])
    opened["explore"].get_by_role("button", name="Back to the study").click()
    opened["explore"].get_by_text("An hour brings as much as in the study").wait_for()
    return opened["explore"]


def settled(page, before):
    """The lines at the top once they are others."""
    page.wait_for_function("was => document.querySelector('.top').innerText !== was", arg=before, timeout=30_000)
    return page.locator(".top").inner_text()


@pytest.mark.browser
@pytest.mark.parametrize("name", ["explore", "form"])
def test_a_page_opens_on_the_thing_itself(opened, name):
    """No cell of code, no word of it, nothing asked for elsewhere, and no error in the browser's console."""
    page = opened[name]
    text = page.locator("body").inner_text()

    assert page.locator(".jp-InputArea, .jp-Cell, .highlight, pre").count() == 0
    assert not re.search(r"import |casting_econ|\bstudy = ", text) and "Working it out" not in text
    assert page.title() in ("What if", "Your first study") and page.locator("main h1").count() == 1
    assert page.wrong == []


@pytest.mark.browser
def test_a_slider_moved_by_keys_shows_the_numbers_of_the_model(explorer):
    """The price of an online order a step up: lines, sentence and picture are the model's, and nothing moves under the finger."""
    model = Explorer(open_study(DATA / "kelpmoor-handles"))
    lever = next(lever for lever in model.levers if lever.key == PRICE)
    slider, before = explorer.get_by_role("slider", name="price, online"), explorer.locator(".top").inner_text()
    slider.focus()
    place, top = slider.bounding_box(), explorer.locator(".top").bounding_box()
    slider.press("ArrowRight")
    after = settled(explorer, before)
    here = [model.look(state) for state in ({}, {PRICE: lever.now + lever.step})]

    assert [before.splitlines(), after.splitlines()] == [[line.replace("**", "") for line in look.lines] for look in here]
    assert explorer.get_by_text(view_sentence(here[1], format_of(model.kit))).count() == 1
    assert explorer.locator(".controls img").get_attribute("alt").startswith("Pay an hour falls with scrap")
    assert slider.bounding_box() == place and top["y"] + top["height"] < place["y"] < SIZES["phone"]["height"] - place["height"]


@pytest.mark.browser
def test_every_slider_has_a_name_and_says_what_it_shows(explorer):
    """Names are all different and shown; the value read out is the one in sight, at the study and a step from it."""
    explorer.get_by_text("Minutes by hand").click()
    sliders = explorer.get_by_role("slider")
    seen = """all => all.map(one => [one.labels[0].innerText, one.getAttribute("aria-valuetext"),
        document.querySelector(`output[for="${one.id}"]`).innerText])"""
    names, spoken, shown = zip(*sliders.evaluate_all(seen), strict=True)
    sliders.nth(3).press("ArrowLeft")
    _, then, there = zip(*sliders.evaluate_all(seen), strict=True)
    explorer.get_by_text("Minutes by hand").click()

    assert len(set(names)) == len(names) == len(Explorer(open_study(DATA / "kelpmoor-handles")).levers)
    assert names[:2] == ("price, online", "price, joiner") and all(names)
    assert spoken == shown and all(text.endswith(" (as now)") for text in shown)
    assert then == there and then[3] != spoken[3] and "(as now)" not in then[3]


@pytest.mark.browser
def test_the_answer_stays_in_sight_on_a_phone(explorer):
    """Scrolled down to the stations, the three lines still stand at the top, and a slider is as wide as the screen allows."""
    slider = explorer.get_by_role("slider", name="sets of moulds")
    slider.evaluate("node => node.scrollIntoView({block: 'end'})")
    top, box = explorer.locator(".top").bounding_box(), slider.bounding_box()

    assert top["y"] == 0 and top["y"] + top["height"] < box["y"] and box["width"] > 340 and box["height"] >= 24
    assert explorer.locator(".top li").count() == 3


@pytest.mark.browser
def test_the_form_is_filled_in_and_mended_where_it_is_wrong(opened):
    """A fault stands at its question, which gets the keys and is said to be wrong; a changed craft draws all questions anew."""
    page = opened["form"]
    wait = page.get_by_label("How long does a load wait")
    wait.fill("soon")
    page.get_by_role("button", name="Make my study").click()
    page.get_by_text("1 answer to mend").wait_for()
    fault = page.locator(f"#{wait.get_attribute('id')}-fault")

    assert "not an answer that can be read; found 'soon'" in fault.inner_text() and fault.get_attribute(
        "id"
    ) in wait.get_attribute("aria-describedby")
    assert wait.get_attribute("aria-invalid") == "true" and wait.evaluate("node => node === document.activeElement")
    assert wait.evaluate("node => node.labels[0].innerText").endswith("[day]")
    page.get_by_label("Which craft?").focus()
    page.get_by_label("Which craft?").select_option("epoxy")
    page.get_by_label("Minutes a piece at: sand?").wait_for()
    assert page.get_by_text("cut and trim").count() == 0 and not page.get_by_text("to mend").count()
    assert page.get_by_label("Which craft?").evaluate("node => node === document.activeElement")
    wait.fill("20 24 30")
    page.get_by_role("button", name="Make my study").click()
    page.get_by_text("chance of reaching the target").wait_for(timeout=60_000)
    study = (opened["folder"] / "mine" / "study.toml").read_text(encoding="utf-8")
    assert 'low = "20 h", likely = "24 h", high = "30 h"' in study


@pytest.mark.browser
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", ["explore", "form"])
def test_a_page_has_no_accessibility_finding(opened, name, size):
    """axe-core finds nothing against WCAG 2.2 A and AA or its best practices, folds open; nothing is wider than the screen, also in
    letters twice as large."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = opened[name]
    page.set_viewport_size(SIZES[size])
    page.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
    if folder := os.environ.get("EXPLORER_PICTURES"):
        page.screenshot(path=f"{folder}/{name}-{size}.png", full_page=True)
    told = axe.run(page, options={"runOnly": {"type": "tag", "values": RULES}}).response
    wide = "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    page.add_style_tag(content=":root { font-size: 200%; }")
    large = page.evaluate(wide)
    page.evaluate("document.head.lastElementChild.remove()")
    page.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = false)")

    assert len(told["passes"]) > 20 and [(v["id"], v["nodes"][0]["html"]) for v in told["violations"]] == []
    assert large[0] == large[1] and len(set(page.evaluate(wide))) == 1
    assert page.wrong == []


def test_a_port_that_is_taken_is_told():
    """Exit 2 with what would be right, and nothing is started; so is an address that is none of this machine's."""
    with socket.socket() as taken:
        taken.bind(("localhost", 0))
        taken.listen()
        code, _, error = command("explore", DATA / "kelpmoor-handles", "--port", taken.getsockname()[1], "--no-browser")
    assert code == 2 and "nothing can be shown here" in error and "another --port" in error
    code, _, error = command("explore", DATA / "kelpmoor-handles", "--ip", "192.0.2.1", "--no-browser")
    assert code == 2 and "the address of this machine" in error


def test_a_study_with_faults_opens_no_page(tmp_path):
    """Its faults are told by the command, as by any other."""
    code, said, error = command("explore", tmp_path, "--no-browser")
    assert code == 2 and "study.toml" in error and "http" not in said
