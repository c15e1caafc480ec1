"""The panel of the report: its numbers are the model's, and a reader without Python, mouse or network can use it."""

import itertools
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from colorspacious import cspace_convert, deltaE
from scipy import optimize

from casting_econ import palette
from casting_econ.assumptions import draw_values, with_luck, workshop_at
from casting_econ.formatting import Format
from casting_econ.kit import OpenStudy, open_study
from casting_econ.models import evaluate, with_levers
from casting_econ.running.panel import _crossing, panel_grid, panel_parts, panel_view

ROOT = Path(__file__).parents[1]
STUDY = ROOT / "data" / "kelpmoor-handles"
PLACES = [(0, 0, 0), (3, 4, 2), (9, 7, 5), (17, 10, 6)]


@pytest.fixture(scope="module")
def kit():
    """The first demo."""
    return open_study(STUDY)


@pytest.fixture(scope="module")
def grid(kit):
    """Its grid."""
    return panel_grid(kit)


def pay_at(kit, grid, scrap, price, wait):
    """Outcome and inputs at one place, on one-dimensional draws and without the panel's own code: every step of every draw keeps its part of the
    logarithm of the yield, as the study's own do, and the wait of every draw is as many times as long as the study's."""
    seed = kit.study.file.study.seed
    a = with_luck(workshop_at(kit.study, draw_values(kit.assumed, grid.draws, seed)), kit.study, seed, 0, grid.draws)
    part = np.log(1 - scrap) / np.log(kit.point().products[grid.product]["yield"])
    steps = [replace(step, pass_share=step.pass_share**part) for step in a.product(grid.product).steps]
    steps = [replace(s, wait_hours=s.wait_hours * wait / 18.0) if s.name == grid.waiting else s for s in steps]
    a = replace(a, products=tuple(replace(p, steps=tuple(steps)) if p.name == grid.product else p for p in a.products))
    return evaluate(with_levers(a, product=grid.product, price=price)), a


def band_at(kit, grid, scrap, price, wait):
    """Band and middle of pay at one place, and how far the same of all the study's draws lie above those where the study stands."""
    places = (scrap, price, wait), [axis[i] for axis, i in zip((grid.scrap, grid.price, grid.wait), grid.now, strict=True)]
    found, here = (np.quantile(pay_at(kit, grid, *at)[0].totals["pay_per_hour"], [0.1, 0.5, 0.9]) for at in places)
    return found, np.quantile(kit.monte_carlo().draws["pay_per_hour"], [0.1, 0.5, 0.9]) - here


@pytest.mark.parametrize("place", PLACES)
def test_grid_equals_the_model_at_each_place(kit, grid, place):
    """Band, middle, year and chances of a place are those of the study's draws, moved as far as the same of the model differ between the place
    and where the study stands (chances in odds); the break-even price is that of the model."""
    pay, year, meets, lives = [], [], [], []
    for at in (place, grid.now):
        outcome, a = pay_at(kit, grid, *(axis[i] for axis, i in zip((grid.scrap, grid.price, grid.wait), at, strict=True)))
        totals = outcome.totals
        pay.append(np.quantile(totals["pay_per_hour"], [0.1, 0.5, 0.9]))
        year.append(np.median(totals["residual_pay_per_year"]))
        meets.append(np.mean(totals["pay_per_hour"] >= a.target_per_hour))
        lives.append(np.mean(totals["residual_pay_per_year"] >= a.living_per_year))
        if at == place:
            prices = np.sort(outcome.products[grid.product]["break_even_price"])
    answer = kit.monte_carlo()
    stands = [answer.summary("pay_per_hour")[name] for name in ("p10", "p50", "p90")]

    assert [x[place] for x in (grid.low, grid.middle, grid.high)] == pytest.approx(stands + pay[0] - pay[1], rel=1e-9)
    assert grid.year[place] == pytest.approx(answer.summary("residual_pay_per_year")["p50"] + year[0] - year[1])
    for found, own, what in ((grid.chance, meets, "hour"), (grid.year_chance, lives, "year")):
        now = answer.chances[f"{what}_pays_living_wage"]["chance"]
        if {*own} & {0.0, 1.0}:  # what always holds, or never, stays so
            assert found[place] == pytest.approx(own[0], rel=1e-12)
        else:
            odds, here, there = (x / (1.0 - x) for x in (now, *own))
            assert found[place] / (1.0 - found[place]) == pytest.approx(odds * here / there, rel=1e-9)
    assert grid.break_even_price[place] == pytest.approx(prices[grid.draws // 2 - 1], rel=1e-12)


@pytest.mark.parametrize("name", ["kelpmoor-handles", "ninepenny-lather", "samphire-hooks"])
def test_where_the_study_stands_the_panel_says_what_the_first_page_does(name):
    """Before it is moved: band, middle and year of all the study's draws, and the chances unless the draws it moves are all alike in that."""
    kit = open_study(ROOT / "data" / name)
    grid = panel_grid(kit)
    answer = kit.monte_carlo()
    pay, year = (answer.summary(each) for each in ("pay_per_hour", "residual_pay_per_year"))

    found = [x[grid.now] for x in (grid.low, grid.middle, grid.high, grid.year)]
    assert found == pytest.approx([pay["p10"], pay["p50"], pay["p90"], year["p50"]], rel=1e-12)
    for own, chance in zip((grid.chance, grid.year_chance), answer.chances.values(), strict=True):
        assert own[grid.now] == pytest.approx(chance["chance"], rel=1e-9) or own[grid.now] in (0.0, 1.0)


def test_grid_does_not_depend_on_workers(kit, grid):
    """Two threads give the same numbers as one."""
    assert np.array_equal(panel_grid(kit, workers=2).middle, grid.middle)


def test_grid_holds_where_the_study_stands(kit, grid):
    """Today's scrap rate, price and wait are places of the grid, and the price there is that of the point."""
    i, j, k = grid.now
    point = kit.point().products[grid.product]

    assert grid.scrap[i] == pytest.approx(1 - point["yield"])
    assert (grid.price[j], grid.wait[k]) == (1.0, 18.0)
    assert grid.mean_price[j] == pytest.approx(point["mean_price_per_piece"])
    assert np.all(np.diff(grid.scrap) > 0)


def test_crossing_hand_worked():
    """2, 1, -1 over the target at 0, 10, 20 % scrap: zero half way between the last two, 15 %; none and all at the ends."""
    over = np.array([[2.0, -1.0, 3.0], [1.0, -2.0, 2.0], [-1.0, -3.0, 1.0]])

    assert _crossing(np.array([0.0, 0.1, 0.2]), over).tolist() == pytest.approx([0.15, -np.inf, np.inf])


@pytest.mark.parametrize(("j", "k"), [(4, 2), (3, 2), (5, 6)])
def test_break_even_scrap_is_where_the_models_middle_meets_the_target(kit, grid, j, k):
    """The rate read off the curve, shown in whole per cent, is within a quarter of one of the model solved for it."""

    def over(rate):
        (_, middle, _), (_, more, _) = band_at(kit, grid, rate, grid.price[j], grid.wait[k])
        return middle + more - grid.target

    found = grid.break_even_scrap[j, k]
    assert 0 < found < 0.4
    assert found == pytest.approx(optimize.brentq(over, found - 0.02, found + 0.02), abs=0.0025)


def test_the_axis_of_pay_fits_what_is_drawn(kit, grid):
    """At each price and wait it holds the lines there, those of now and the target, and no step of it at either end is empty."""
    scales = panel_view(kit, grid)["curve"]["pay"]
    for (j, row), k in itertools.product(enumerate(scales), range(grid.wait.size)):
        ticks, seen = row[k]["ticks"], [line[:, j, k] for line in (grid.low, grid.high)]
        seen += [line[:, grid.now[1], grid.now[2]] for line in (grid.low, grid.high)] + [[grid.target]]
        low, high = min(map(min, seen)), max(map(max, seen))
        assert ticks[0] <= low < ticks[1] and ticks[-2] < high <= ticks[-1]
    assert (
        max(row[0]["ticks"][-1] for row in scales) > 1.2 * scales[grid.now[1]][0]["ticks"][-1]
    )  # one scale for all would be flat


def test_moved_leaves_other_products_alone(kit):
    """Price, scrap and wait of one product change nothing of another."""
    a = kit.inputs()
    first = a.products[0]
    both = replace(
        a,
        products=(first, replace(first, name="other")),
        channels=(*a.channels, replace(a.channels[0], name="fair", product="other")),
    )
    found = with_levers(both, product=first.name, scrap=0.3, price=1.5, cure_hours=20.0)

    assert found.products[1] == both.products[1]
    assert found.channels[-1] == both.channels[-1]
    assert [c.price for c in found.channels[:-1]] == [1.5 * c.price for c in a.channels]
    assert evaluate(found).products[first.name]["yield"] == pytest.approx(0.7)


def test_a_product_that_never_waits_has_two_controls(kit):
    """Without a waiting step there is no control for it, and the grid has one place along it."""
    own = kit.assumed.numbers
    numbers = {key: replace(n, value=0.0, distribution=None) if key.endswith(".wait") else n for key, n in own.items()}
    still = OpenStudy(study=kit.study, assumed=replace(kit.assumed, numbers=numbers))
    grid = panel_grid(still)

    assert grid.waiting is None
    assert grid.middle.shape == (grid.scrap.size, grid.price.size, 1)
    assert [c["key"] for c in panel_view(still, grid)["controls"]] == ["scrap", "price"]


@pytest.mark.parametrize(("locale", "money", "rate"), [("de_DE", "18,80\xa0€", "18,7\xa0%"), ("en_IE", "€18.80", "18.7\xa0%")])
def test_words_are_of_the_studys_locale(kit, grid, locale, money, rate):
    """Pay and scrap are written as the report writes them: CLDR puts € behind the amount in German, before it in Irish English."""
    table = kit.study.file.study.model_copy(update={"locale": locale})
    study = replace(kit.study, file=kit.study.file.model_copy(update={"study": table}))
    view, fmt = panel_view(replace(kit, study=study), grid), Format("EUR", locale)
    here = int(np.ravel_multi_index(grid.now, grid.middle.shape))

    assert view["cells"]["middle"][here] == fmt.money(grid.middle[grid.now]) == money
    assert view["controls"][0]["values"][grid.now[0]] == rate


def test_text_of_a_study_cannot_end_the_script(kit):
    """Whatever a name holds, the panel's data have no tag in them and read back whole."""
    label = "</script><script>alert(1)</script>"
    table = kit.study.file.products
    named = {label: table["knob"]}
    channels = {key: c.model_copy(update={"product": label}) for key, c in kit.study.file.channels.items()}
    study = replace(kit.study, file=kit.study.file.model_copy(update={"products": named, "channels": channels}))
    numbers = {key.replace("products.knob.", f"products.{label}."): n for key, n in kit.assumed.numbers.items()}
    uncertain = tuple(key.replace("products.knob.", f"products.{label}.") for key in kit.assumed.uncertain)
    parts = panel_parts(OpenStudy(study=study, assumed=replace(kit.assumed, study=study, numbers=numbers, uncertain=uncertain)))
    data = re.search(r'id="panel-data">(.*?)</script>', parts["scripts"])[1]

    assert "<" not in data
    assert json.loads(data)[0]["product"] == label
    assert "<script" not in parts["body"]


# The page in a browser ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def report(whole_run):
    """Report of the demo with its panel."""
    return whole_run[2] / "report.html"


@pytest.fixture
def opened(report, browser):
    """The report from its file, with the network off; what it asks for outside, and its errors, are failures."""
    page = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True).new_page()
    wrong = []
    page.on("request", lambda request: wrong.append(request.url) if not request.url.startswith(("file:", "data:")) else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda message: wrong.append(message.text) if message.type in ("error", "warning") else None)
    page.goto(report.as_uri())
    page.wait_for_selector("#panel-chart *")
    yield page
    page.context.close()
    assert wrong == []


def shown(page, cell):
    """Text of one of the panel's cells, which is the same wherever it stands."""
    (text,) = set(page.locator(f"#panel [data-cell='{cell}']").all_text_contents())
    return text


def test_report_with_its_panel_can_be_mailed(report):
    """One file under 5 MB that names no script, style or picture outside itself."""
    text = report.read_text(encoding="utf-8")
    own = re.sub(r"<script>.*?</script>", "", text, flags=re.DOTALL)

    assert report.stat().st_size < 5_000_000
    assert not re.search(r"<script[^>]* src|<link|<iframe|src=[\"'](?!data:)|url\((?!%23)", own)


@pytest.mark.browser
def test_keys_move_the_panel_and_its_numbers_are_the_models(kit, grid, opened):
    """Three controls moved by keys alone: sentence, table and curve show what the model says at that place."""
    opened.locator("#panel-scrap").focus()
    for key in ("ArrowRight", "ArrowRight", "Tab", "ArrowLeft", "ArrowLeft", "Tab", "End", "ArrowLeft"):
        opened.keyboard.press(key)
    place = (grid.now[0] + 2, grid.now[1] - 2, grid.wait.size - 2)
    i, j, k = place
    outcome, a = pay_at(kit, grid, grid.scrap[i], grid.price[j], grid.wait[k])
    fmt, (found, more) = Format("EUR", "en_IE"), band_at(kit, grid, grid.scrap[i], grid.price[j], grid.wait[k])
    low, middle, high = (fmt.money(q) for q in found + more)

    assert [shown(opened, cell) for cell in ("low", "middle", "high")] == [low, middle, high]
    assert shown(opened, "chance") == fmt.chance(grid.chance[place])
    assert shown(opened, "break_even_price") == fmt.money(np.median(outcome.products["knob"]["break_even_price"]))
    assert opened.locator("output[for='panel-wait']").inner_text() == f"{grid.wait[k]:.0f} hours"
    assert opened.locator("#panel-price").get_attribute("aria-valuetext").endswith("20\xa0% down")
    assert shown(opened, "year") == fmt.money(grid.year[place], 0)
    assert shown(opened, "living") == fmt.money(a.living_per_year, 0)
    row = opened.locator("#panel-rows tr").nth(i)
    assert row.locator("td").all_text_contents()[:3] == [low, middle, high]
    drawn = opened.evaluate("Bokeh.documents[0].roots()[0].renderers[0].data_source.data.middle")
    assert drawn == pytest.approx(grid.middle[:, j, k], abs=1e-6)

    opened.keyboard.press("Tab")
    opened.keyboard.press("Enter")
    assert shown(opened, "middle") == fmt.money(grid.middle[grid.now])
    assert opened.locator("output[for='panel-scrap']").inner_text().endswith("(as now)")


@pytest.mark.browser
@pytest.mark.parametrize(("locale", "tag"), [("de_DE", "de-DE"), ("en_IE", "en-IE")])
def test_browser_writes_money_as_the_report_does(kit, grid, browser, locale, tag):
    """The browser's own number format gives the very words that the report and its panel show, but for the one minus sign."""
    amounts = [1234.5, -3.2, float(grid.middle[grid.now])]
    page = browser.new_page()
    script = "([tag, xs]) => xs.map(x => new Intl.NumberFormat(tag, {style: 'currency', currency: 'EUR'}).format(x))"
    told = page.evaluate(script, [tag, amounts])
    page.close()

    assert [Format("EUR", locale).money(x) for x in amounts] == [text.replace("-", "\u2212") for text in told]


@pytest.mark.browser
def test_panel_fits_a_phone(opened):
    """At 390 pixels nothing but tables is wider than the screen, and the curve is drawn within it."""
    opened.set_viewport_size({"width": 390, "height": 844})
    opened.wait_for_timeout(300)
    wide, screen = opened.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    chart = opened.locator("#panel-chart").bounding_box()

    assert wide == screen
    assert chart["x"] + chart["width"] <= 390
    assert chart["height"] > 200


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 390])
def test_tracks_stay_under_the_finger(opened, width):
    """Over every place of all three controls no track moves, however long the value above it; a mark stands where the study does."""
    opened.set_viewport_size({"width": width, "height": 844})
    opened.wait_for_timeout(100)
    tops = opened.evaluate(
        """[...document.querySelectorAll("#panel input[type=range]")].map(input => {
            const now = input.value, seen = new Set();
            for (let at = 0; at <= input.max; at++) {
                input.value = at;
                input.dispatchEvent(new Event("input"));
                seen.add(input.getBoundingClientRect().top);
            }
            input.value = now;
            input.dispatchEvent(new Event("input"));
            const mark = input.parentElement.querySelector(".mark").getBoundingClientRect(), box = input.getBoundingClientRect();
            const thumb = box.left + 8 + (now / input.max) * (box.width - 16);
            return [seen.size, Math.abs((mark.left + mark.right) / 2 - thumb) < 1];
        })"""
    )
    assert tops == [[1, True]] * 3


@pytest.mark.browser
def test_skip_link_leads_past_the_head(opened):
    """The first key stop is the skip link, and it leads to the answer."""
    opened.keyboard.press("Tab")
    first = opened.evaluate("document.activeElement.textContent")
    opened.keyboard.press("Enter")

    assert first == "Skip to the answer"
    assert opened.evaluate("document.activeElement.id") == "main"


@pytest.mark.browser
def test_without_scripts_a_table_stands_in(kit, grid, report, browser):
    """With scripts off there are no controls, and the corners show the model's numbers."""
    context = browser.new_context(java_script_enabled=False, offline=True)
    page = context.new_page()
    page.goto(report.as_uri())
    text, fmt = page.locator(".corners").inner_text(), Format("EUR", "en_IE")
    live = page.locator("#panel-live").is_visible()
    context.close()

    assert not live
    for place in itertools.product(*({0, now, -1} for now in grid.now)):
        assert fmt.money(grid.middle[place]) in text
        assert f"{fmt.money(grid.low[place])} to {fmt.money(grid.high[place])}" in text


@pytest.mark.browser
def test_panel_prints_as_its_table(opened, tmp_path):
    """On paper the controls give way to the table, which fits across A4 and Letter and on one sheet."""
    opened.emulate_media(media="print")
    for width, height in ((210 - 32, 297 - 32), (216 - 32, 279 - 32)):
        opened.set_viewport_size({"width": int(width * 96 / 25.4), "height": 900})
        table = opened.locator(".corners table").bounding_box()
        assert not opened.locator("#panel-live").is_visible()
        assert table["x"] + table["width"] <= width * 96 / 25.4 + 1
        assert table["height"] < height * 96 / 25.4


# Colours --------------------------------------------------------------------------------------------------------------


def contrast(colour):
    """Contrast with white after WCAG 2.2, "relative luminance" and "contrast ratio" (w3.org/TR/WCAG22, from memory)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 1.05 / (0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2] + 0.05)


def test_contrast_published():
    """#767676 is the lightest grey that passes AA on white, 4.54; black has 21 (WebAIM's checker, from memory)."""
    assert contrast("#767676") == pytest.approx(4.54, abs=0.005)
    assert contrast("#000000") == pytest.approx(21.0)


def test_words_and_lines_stand_out_from_white():
    """WCAG 2.2: 4.5 to 1 for words (1.4.3, AA), 3 to 1 for lines and dots (1.4.11, AA)."""
    style = (ROOT / "casting_econ" / "running" / "report.html.j2").read_text(encoding="utf-8")
    pages = dict(re.findall(r"--(ink|soft|accent): (#\w{6})", style))

    assert len(pages) == 3
    assert min(map(contrast, [*palette.WORDS.values(), *pages.values()])) >= 4.5
    assert min(map(contrast, palette.SERIES)) >= 3.0
    assert set(palette.SERIES) <= set(palette.WORDS)


@pytest.mark.parametrize("kind", [None, "deuteranomaly", "protanomaly"])
def test_series_stay_apart_for_the_colour_blind(kind):
    """Full deuteranopia and protanopia after Machado, Oliveira and Fernandes 2009 (as colorspacious has their matrices).

    At least ten units of CAM02-UCS between any two; about one is just seen (Luo, Cui and Li 2006, from memory). Ten is our own bar.
    """
    rgb = np.array([[int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)] for colour in palette.SERIES])
    space = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    seen = rgb if kind is None else np.clip(cspace_convert(rgb, space, "sRGB1"), 0, 1)
    one, other = np.transpose([*itertools.combinations(range(len(seen)), 2)])

    assert min(deltaE(seen[one], seen[other], input_space="sRGB1")) > 10
