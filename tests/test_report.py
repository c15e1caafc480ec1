"""The report, as a browser shows it: one file, readable on a phone and on paper, nothing fetched from outside."""

import re
from pathlib import Path

import nbformat
import pytest

from casting_econ.kit import open_study
from casting_econ.reference import cautions
from casting_econ.running.report import build_report, caution_rows
from casting_econ.running.store import PAGES as RUN_PAGES

ROOT = Path(__file__).parents[1]
PAGES = [ROOT / "notebooks" / f"{name}.ipynb" for name in (*RUN_PAGES, "order")]


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    """Report built from the committed notebooks."""
    target = tmp_path_factory.mktemp("report") / "report.html"
    build_report(open_study(ROOT / "data" / "kelpmoor-handles"), PAGES, target)
    return target


def test_report_is_one_file_that_needs_nothing_else(report):
    """No script, no link to a style sheet, no picture from elsewhere, and under 5 MB."""
    text = report.read_text(encoding="utf-8")

    assert not re.search(r"<script|<link|<iframe|src=[\"'](?!data:)|url\((?!%23)", text)
    assert report.stat().st_size < 5_000_000


def test_every_figure_has_alt_text_and_a_table_after_it(report):
    """A reader who cannot see a chart gets its meaning and its numbers."""
    text = report.read_text(encoding="utf-8")
    starts = [found.end() for found in re.finditer("<figure>", text)]

    assert len(starts) >= 12
    for start in starts:
        alt = re.match(r'<img alt="([^"]*)"', text[start:])[1]
        assert len(alt) > 30
        assert "<table>" in text[start : text.index("</section>", start)]


def test_every_contents_entry_leads_somewhere(report):
    """Links of the contents list point at sections that are there, one for each page, one for what it leaves out and one for cautions."""
    text = report.read_text(encoding="utf-8")
    targets = re.findall(r'<a href="#([^"]+)"', text)

    assert len(targets) == len(PAGES) + 2
    assert all(f'id="{target}"' in text for target in targets)


@pytest.mark.parametrize("craft", sorted(set(cautions().craft) - {"any"}))
def test_cautions_of_the_craft_are_shown_once(craft):
    """Each craft shows its own cautions and those for every craft, each once, each with an authority."""
    kit = open_study(ROOT / "data" / "kelpmoor-handles", with_records=False)
    table = kit.study.file.study.model_copy(update={"craft": craft})
    file = kit.study.file.model_copy(update={"study": table})
    object.__setattr__(kit.study, "file", file)
    rows = caution_rows(kit)

    assert {row["craft"] for row in rows} == {craft, "any"}
    assert len({(row["hazard"], row["caution"]) for row in rows}) == len(rows)
    assert all(row["authority"] for row in rows)


@pytest.mark.parametrize(
    ("hazard", "crafts", "kind"),
    [
        (
            "printed masters",
            {"epoxy", "polyurethane", "polyester", "gypsum", "cement", "candle"},
            "manufacturers' notes on cure inhibition",
        ),
        ("mould rubber", {"epoxy", "polyurethane", "polyester", "gypsum", "cement", "candle"}, "safety data sheet of the rubber"),
        ("demould before you mix", {"epoxy", "polyurethane", "polyester", "gypsum", "cement"}, "common practice, no source"),
    ],
)
def test_cautions_of_the_mould_and_the_mix(report, hazard, crafts, kind):
    """Fresh prints keep silicone from curing, rubber irritates, and a mix does not wait: told to the crafts it can happen to, with the kind of source."""
    rows = cautions()[cautions().hazard == hazard]

    assert set(rows.craft) == crafts and rows.authority.str.contains(kind, regex=False).all()
    assert f"<strong>{hazard}.</strong>" in report.read_text(encoding="utf-8")


def test_text_of_a_study_is_escaped(tmp_path):
    """A study is data: markup in its name or in an output never becomes markup of the report."""
    kit = open_study(ROOT / "data" / "kelpmoor-handles", with_records=False)
    table = kit.study.file.study.model_copy(update={"name": "<script>alert(1)</script>"})
    object.__setattr__(kit.study, "file", kit.study.file.model_copy(update={"study": table}))
    cell = nbformat.v4.new_code_cell("1", execution_count=1)
    cell.outputs = [nbformat.v4.new_output("display_data", {"text/markdown": "**<img src=x onerror=alert(1)>**"})]
    nbformat.write(nbformat.v4.new_notebook(cells=[cell]), tmp_path / "page.ipynb")
    build_report(kit, [tmp_path / "page.ipynb"], tmp_path / "report.html")
    text = (tmp_path / "report.html").read_text(encoding="utf-8")

    assert "<script" not in text and "<img src=x" not in text
    assert "&lt;script&gt;" in text


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 390])
def test_page_never_scrolls_sideways(report, browser, width):
    """At desktop and phone width only tables scroll sideways, inside their own frame."""
    page = browser.new_page(viewport={"width": width, "height": 844})
    outside = []
    page.on("request", lambda request: outside.append(request.url))
    page.goto(report.as_uri())
    wide, shown = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    broken = page.evaluate("[...document.images].filter(i => !i.complete || i.naturalWidth === 0).length")

    assert wide == shown
    assert broken == 0
    assert [url for url in outside if not url.startswith(("file:", "data:"))] == []


@pytest.mark.browser
def test_code_is_folded_away(report, browser):
    """No code shows until its fold is opened."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto(report.as_uri())
    visible = "[...document.querySelectorAll('.code pre')].filter(p => p.checkVisibility()).length"
    before = page.evaluate(visible)
    page.locator(".code summary").first.click()

    assert (before, page.evaluate(visible)) == (0, len(PAGES))


@pytest.mark.browser
def test_prints_without_cut_figures(report, browser, tmp_path):
    """On A4 and Letter every figure fits one sheet, and code stays off the paper."""
    for paper, height in (("A4", 297 - 32), ("Letter", 279 - 32)):
        page = browser.new_page(viewport={"width": 680, "height": 900})
        page.goto(report.as_uri())
        page.emulate_media(media="print")
        tallest = page.evaluate(
            "Math.max(...[...document.querySelectorAll('figure')].map(f => f.getBoundingClientRect().height))"
        )
        hidden = page.evaluate("getComputedStyle(document.querySelector('.code')).display")
        page.pdf(path=tmp_path / f"{paper}.pdf", format=paper)

        assert tallest < height * 96 / 25.4
        assert hidden == "none"
        assert (tmp_path / f"{paper}.pdf").stat().st_size > 50_000
