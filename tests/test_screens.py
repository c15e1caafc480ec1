"""What people see: the answer on one screen of a phone, the report in twenty and on fifteen sheets, the rest one tap away."""

import re
from urllib.parse import unquote
from xml.etree import ElementTree

import matplotlib.pyplot as plt
import nbformat
import numpy as np
import pandas as pd
import pytest
from commands import DATA, command
from IPython.core.interactiveshell import InteractiveShell
from IPython.utils.capture import capture_output
from screens import PHONE, printed, screens

from casting_econ.formatting import Format
from casting_econ.kit import open_study
from casting_econ.pages.page import Page
from casting_econ.running.report import build_report

KELPMOOR = DATA / "kelpmoor-handles"
AWKWARD = (
    "without a spread",
    "in force",
    "beyond the target",
    "Little's law",
    ">of now<",
    "odds of passing",
    "living-wage-20",
    "±€0.00",
)


@pytest.fixture(scope="module")
def report(whole_run):
    """Report of the first demo."""
    return whole_run[2] / "report.html"


@pytest.fixture
def phone(report, browser):
    """The report on a phone."""
    page = browser.new_page(viewport={"width": PHONE[0], "height": PHONE[1]})
    page.goto(report.as_uri())
    yield page
    page.close()


@pytest.fixture
def built(tmp_path):
    """Builds the report of a page of these cells; markdown as text, code with its outputs."""
    kit = open_study(KELPMOOR, with_records=False)

    def build(*cells, tags=()):
        book = nbformat.v4.new_notebook()
        for cell in cells:
            if isinstance(cell, str):
                book.cells.append(nbformat.v4.new_markdown_cell(cell, metadata={"tags": list(tags)}))
            else:
                book.cells.append(nbformat.v4.new_code_cell("page.say(x)", outputs=list(cell), metadata={"tags": list(tags)}))
        nbformat.write(book, tmp_path / "page.ipynb")
        build_report(kit, [tmp_path / "page.ipynb"], tmp_path / "report.html")
        return (tmp_path / "report.html").read_text(encoding="utf-8")

    return build


def said(text, nothing=False):
    """An output with a sentence."""
    return nbformat.v4.new_output("display_data", {"text/markdown": text}, metadata={"nothing": True} if nothing else {})


# Counts -----------------------------------------------------------------------------------------------------------------


@pytest.mark.browser
def test_report_takes_twenty_screens_and_fifteen_sheets(report, browser):
    """With everything folded that the report folds: 20 screens of 390 x 844 and 15 sheets of A4 at most."""
    assert 10 < screens(browser, report) <= 20
    assert 5 < printed(browser, report) <= 15


@pytest.mark.browser
def test_first_screen_holds_the_answer_in_three_lines(phone):
    """An hour, a year and what to do, then the picture and the next things, begin on the first screen, in that order."""
    lines = phone.locator("main ul").first.locator("li")
    words = lines.all_inner_texts()
    boxes = [phone.locator(what).first.bounding_box() for what in ("main figure", "main ol")]

    assert [
        bool(re.match(what, text))
        for what, text in zip(("An hour ", "Worth |Not worth |Probably |A living", "Go on"), words, strict=True)
    ] == [True] * 3
    assert lines.last.bounding_box()["y"] + lines.last.bounding_box()["height"] < boxes[0]["y"]
    assert boxes[0]["y"] + boxes[0]["height"] < boxes[1]["y"] < PHONE[1]


@pytest.mark.browser
def test_what_is_folded_is_left_out_of_print_in_words(phone):
    """On paper a closed fold keeps its heading and says that it is left out; the foot says how to have it printed."""
    phone.emulate_media(media="print")
    told = phone.evaluate("getComputedStyle(document.querySelector('details.more > summary'), '::after').content")

    assert "left out" in told
    assert phone.locator("p.paper").is_visible() and "open it before printing" in phone.locator("p.paper").inner_text()
    assert phone.locator("ul.paper").is_visible() and "safety data sheet" in phone.locator("ul.paper").inner_text()


@pytest.mark.browser
def test_tables_on_a_phone_keep_their_first_column(phone):
    """Scrolled to the right, the name of each row still stands at the left; only what scrolls is a stop of the tab key."""
    phone.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
    phone.wait_for_timeout(50)
    found = phone.evaluate(
        """[...document.querySelectorAll('.scroll')].filter(box => box.checkVisibility()).map(box => {
            box.scrollLeft = 1000;
            const head = box.querySelector('tbody th');
            return [box.scrollWidth > box.clientWidth, box.tabIndex === 0, !head || Math.abs(head.getBoundingClientRect().left - box.getBoundingClientRect().left) < 2];
        })"""
    )

    assert any(scrolls for scrolls, *_ in found) and not all(scrolls for scrolls, *_ in found)
    assert all(scrolls == stop and kept for scrolls, stop, kept in found)


def test_figures_are_drawn_and_slim(whole_run):
    """Each figure of the report is an SVG of its own that any parser reads, its names unique and used; all of them take less than two
    thirds of the bytes that were drawn."""
    out = whole_run[2]
    found = re.findall(r"<img alt=\"[^\"]+\" src='data:image/([^']+)'", (out / "report.html").read_text(encoding="utf-8"))
    assert len(found) > 15
    for picture in found:
        kind, _, text = picture.partition(",")
        drawn = ElementTree.fromstring(unquote(text))
        names = [part.get("id") for part in drawn.iter() if part.get("id")]
        assert kind == "svg+xml" and len(names) == len(set(names)) > 3
        assert set(re.findall(r'(?:href="|url\()#([^")]+)', unquote(text))) == set(names)
        assert {part.tag.partition("}")[2] for part in drawn.iter()} <= {
            "svg",
            "g",
            "path",
            "use",
            "defs",
            "style",
            "clipPath",
            "rect",
        }
    assert sum(map(len, found)) < sum(path.stat().st_size for path in (out / "figures").glob("*.svg")) * 2 / 3


# Words ------------------------------------------------------------------------------------------------------------------


def test_run_and_check_end_with_the_lines_of_the_first_page(whole_run):
    """What the report begins with is what `run` and `check` say last, word for word."""
    study, _, out, _, told, _ = whole_run
    book = nbformat.read(out / "notebooks" / "01_answer.ipynb", as_version=4)
    first = next(output for cell in book.cells for output in cell.get("outputs", []) if "text/markdown" in output.get("data", {}))
    lines = " ".join(first["data"]["text/markdown"].replace("- ", " ").replace("**", "").split())
    code, checked, _ = command("check", study)

    assert code == 0 and lines.count("chance") == 2
    assert lines in " ".join(told.split()) and " ".join(checked.split()).endswith(lines)


def test_no_awkward_word_is_in_the_report(report):
    """Words that say nothing to a maker, names of rows of tables and an error of nothing are not in the report."""
    text = re.sub("<pre.*?</pre>|<script.*?</script>", "", report.read_text(encoding="utf-8"), flags=re.DOTALL)

    assert [word for word in AWKWARD if word in text] == []
    assert text.count("tax advice") <= 2 and not re.search(r">[^<]*(?<![\w-])-[€£$]?\d", text.partition("</style>")[2])


def test_one_sign_stands_for_less_than_nothing():
    """Money, numbers and shares below nothing carry the minus of print in every locale (Unicode U+2212, Mathematical Operators)."""
    for locale in ("en_GB", "de_DE", "sv_SE"):
        fmt = Format("EUR", locale)
        for text in (fmt.money(-2.5), fmt.number(-2.5, 1), fmt.percent(-0.25)):
            assert "\u2212" in text and "-" not in text


# How a page becomes a part of the report ---------------------------------------------------------------------------------


def test_limits_are_gathered_at_the_end(built):
    """What a page calls its limits stands once, after every page, under its name."""
    text = built("# A page\n\nLead.", [said("Found.")], "## Limits\n\nNot the weather.")

    assert text.count("Not the weather.") == 1
    assert text.index('id="limits"') < text.index("Not the weather.") < text.index('id="cautions"')


def test_a_heading_with_nothing_under_it_is_dropped(built):
    """Where cells have nothing to show, or only say so, their heading goes; one with prose alone stays."""
    cells = "# A page", "## Stall", [said("No channel has days at a stall.", nothing=True)], "## Empty", [], "## Prose\n\nWords."
    text = built(*cells)

    assert not any(words in text for words in ("<h3>Stall", "No channel has", "<h3>Empty"))
    assert "<h3>Prose</h3>" in text and "Words." in text


def test_what_is_tagged_is_folded_or_left_out(built):
    """A heading tagged `fold` opens at a click; outputs of a cell tagged `again` stand on an earlier page and nowhere else."""
    folded = built("# A page", "## More\n\nWords.", tags=["fold"])
    again = built("# A page", "## Hour", [said("An hour pays.")], tags=["again"])

    assert re.search(r'<details class="more"><summary><h3>More</h3></summary>\s*<p>Words', folded)
    assert "An hour pays." not in again and "<h3>Hour</h3>" not in again


def test_keys_of_the_study_file_are_spoken():
    """`fit-and-check` is said as words in sentences, tables, charts and what stands for charts, and stays a key within backticks."""
    figure, axes = plt.subplots()
    axes.set_title("labour: fit-and-check")
    axes.set_yticks([0.0, 1.0], ["labour: fit-and-\ncheck", "sand"])
    figure.set_label("fit-and-check 3")
    InteractiveShell.instance()
    page = Page(open_study(KELPMOOR, with_records=False))
    with capture_output() as shown:
        page.say("At fit-and-check; write `fit-and-check`, not pre-fit-and-check.")
        page.table(pd.DataFrame({"step": ["fit-and-check"]}), "t", "Steps, fit-and-check too", "step: text")
        page.chart(figure, "c", "Labour")
    said, table, chart = shown.outputs

    assert said.data["text/markdown"] == "At fit and check; write `fit-and-check`, not pre-fit-and-check."
    assert table.data["text/html"].count("fit and check") == 2 and "fit-and" not in table.data["text/html"]
    assert [text.get_text() for text in axes.get_yticklabels()] == ["labour: fit and\ncheck", "sand"]
    assert axes.get_title() == "labour: fit and check" and chart.metadata["image/png"]["alt"] == "Labour: fit and check 3"


def test_what_stands_still_is_kept_and_not_shown(tmp_path):
    """A table that a sentence stands for, and a column with nothing in it, are in the CSV only."""
    InteractiveShell.instance()
    page, frame = (
        Page(open_study(KELPMOOR, with_records=False), str(tmp_path)),
        pd.DataFrame({"a": [1.0], "why": [""], "none": [np.nan]}),
    )
    with capture_output() as shown:
        page.table(frame, "still", "Still", "*: 1", still=True)
        page.table(frame, "some", "Some", "*: 1; why: text")

    assert len(shown.outputs) == 1 and shown.outputs[0].data["text/html"].count("<th ") == 2
    assert [pd.read_csv(tmp_path / "tables" / f"{name}.csv").shape for name in ("still", "some")] == [(1, 3)] * 2


def test_a_long_caption_is_called_by_its_first_part(built):
    """A folded table opens under the first part of a long caption, which stands whole above it; a short one is said once."""
    for caption, short, whole in (
        ("Loads: poured and through in a typical course; and the chance that the order is not complete before", "Loads", True),
        ("Loads: poured and through", "Loads: poured and through", False),
    ):
        table = f"<details><summary>x</summary><table><caption>{caption}</caption></table></details>"
        text = built("# A page", [nbformat.v4.new_output("display_data", {"text/html": table})])

        assert f"<summary>{short}</summary>" in text and f'aria-label="{caption}"' in text
        assert (f'<caption class="whole">{caption}</caption>' in text) == whole


def test_no_line_ends_between_a_minus_and_its_figure(built):
    """A word joiner (U+2060) keeps the sign with its figure in sentences, and joins nothing twice."""
    text = built("# A page", [said("It falls to \u2212€62 or \u2212\u2060€70.")])

    assert "falls to \u2212\u2060€62 or \u2212\u2060€70" in text


def test_shares_are_shown_in_per_cent():
    """A table whose unit is a share shows 0.09 as 9.0 %, and keeps other units as they are."""
    InteractiveShell.instance()
    frame = pd.DataFrame({"number": ["loss", "wait"], "value": [0.09, 18.0], "unit": ["share", "hour"]})
    with capture_output() as shown:
        Page(open_study(KELPMOOR, with_records=False)).table(frame, "t", "Some", "number: text; value: significant; unit: text")
    text = shown.outputs[0].data["text/html"]

    assert "9.0\u00a0%" in text and "18.0" in text and "0.09" not in text
