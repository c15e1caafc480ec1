"""What holds of every page that the kit writes: whoever reads it, at any width, with large letters and on paper."""

import re
from datetime import date

import pytest
from commands import DATA, NOTEBOOKS, copy_of

from casting_econ.kit import open_study
from casting_econ.orders import open_order, price_of, quote_of
from casting_econ.orders.quote import quote_html
from casting_econ.running.manual import write_manual
from casting_econ.running.report import build_report
from casting_econ.sharing.compare import compare_studies, comparison_page

pytestmark = pytest.mark.browser
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
UNFOLD = "document.querySelectorAll('details').forEach(fold => fold.open = true)"
# words that stand outside the page, or are cut by a box that does not scroll; a box of a point hides words for those who listen
CUT = """[...document.querySelectorAll('body *')].filter(part => part.checkVisibility({contentVisibilityAuto: true})).flatMap(part => {
    const words = [...part.childNodes].filter(node => node.nodeType === 3 && node.data.trim());
    const box = part.closest('.scroll, pre, .skip, svg, script, style');
    if (!words.length || box) return [];
    const range = document.createRange(), wide = document.documentElement.clientWidth, found = [];
    for (const node of words) {
        range.selectNodeContents(node);
        for (const at of range.getClientRects()) {
            let right = wide, bottom = Infinity, hidden = false;
            for (let outer = part; outer; outer = outer.parentElement) {
                const look = getComputedStyle(outer), edge = outer.getBoundingClientRect();
                if (edge.width <= 1 || edge.height <= 1) hidden = true;
                if (look.overflowX !== 'visible') right = Math.min(right, edge.right);
                if (look.overflowY !== 'visible') bottom = Math.min(bottom, edge.bottom);
            }
            if (!hidden && (at.left < -1 || at.right > right + 1 || at.bottom > bottom + 1)) found.push(node.data.trim());
        }
    }
    return found;
})"""


@pytest.fixture(scope="module")
def pages(whole_run, tmp_path_factory):
    """Report, plan, quote, project page, comparison and manual."""
    folder, kit = tmp_path_factory.mktemp("pages"), open_study(DATA / "kelpmoor-handles")
    plan = open_order(kit, "kitchen", today=date(2026, 11, 2))
    build_report(kit, [NOTEBOOKS / "order.ipynb"], folder / "plan.html", title="A plan")
    build_report(kit, [NOTEBOOKS / "project.ipynb"], folder / "project.html", title="A project")
    (folder / "quote.html").write_text(quote_html(quote_of(plan, price_of(plan))), encoding="utf-8")
    one, other = copy_of("hollin-quay-pulls", folder), copy_of("hollin-quay-pulls", folder / "other")
    for study, price in ((one, "63.00"), (other, "68.00")):
        text = (study / "study.toml").read_text(encoding="utf-8").replace('price = "63.00 USD"', f'price = "{price} USD"', 1)
        (study / "study.toml").write_text(re.sub(r"draws = \d+", "draws = 256", text), encoding="utf-8")
    comparison_page(compare_studies(one, other), folder / "compared.html")
    write_manual(folder / "manual.html")
    return [whole_run[2] / "report.html", *sorted(folder.glob("*.html"))]


@pytest.fixture
def opened(pages, browser):
    """Opens each page in turn in a window of some size, folded or with everything open."""

    def open_each(width, height=844, *, unfold=False, **look):
        page = browser.new_page(viewport={"width": width, "height": height}, **look)
        for path in pages:
            page.goto(path.as_uri())
            if unfold:
                page.evaluate(UNFOLD)
            yield path.name, page
        page.close()

    return open_each


@pytest.mark.parametrize("width", [390, 1280])
def test_no_accessibility_finding(opened, width):
    """axe-core finds nothing against WCAG 2.2 A and AA or its best practices, folded and then with every fold open."""
    axe, seen = pytest.importorskip("axe_playwright_python.sync_playwright").Axe(), []
    for name, page in opened(width):
        page.add_style_tag(content=".scroll { background: none !important }")  # no colour is told before a shadow
        page.evaluate("document.querySelectorAll('tbody tr:nth-child(n+4)').forEach(row => row.remove())")  # rows are alike
        for unfold in (False, True):
            if unfold:
                page.evaluate(UNFOLD)
            rules = {"color-contrast": {"enabled": unfold and width == 1280}}  # colours do not change with the width
            options = {"runOnly": {"type": "tag", "values": TAGS}, "rules": rules, "resultTypes": ["violations"]}
            told = axe.run(page, options=options).response
            seen.append((name, unfold, len(told["passes"])))
            assert [(name, unfold, v["id"], v["nodes"][0]["html"]) for v in told["violations"]] == []
    assert len(seen) == 12 and min(passes for *_, passes in seen) > 12


@pytest.mark.parametrize(("width", "size"), [(640, "100%"), (1280, "200%"), (390, "200%")])
def test_twice_as_large_letters_lose_nothing(opened, width, size):
    """A window of 1280 at twice its size (so of 640), and letters of twice their size, also on a phone: nothing is cut and the page itself
    does not scroll sideways (WCAG 2.2, 1.4.4 and 1.4.10)."""
    for name, page in opened(width, 400, unfold=True):
        page.add_style_tag(content=f"html {{ font-size: {size} }}")
        wide, room = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
        assert (name, page.evaluate(CUT)) == (name, [])
        assert (name, wide) == (name, room)


def test_contents_on_paper_give_the_number_at_the_head_of_each_sheet(opened):
    """In print contents are open and name every section in order; a section's head, with its number, is that of a table, which browsers
    repeat on each sheet (CSS 2.2, 17.2); figures are drawn, so that no dot is in the file."""
    seen = 0
    for name, page in opened(1280):
        page.emulate_media(media="print")
        if page.locator("nav ol").count():
            seen += 1
            parts = "[...document.querySelectorAll('main > section')].map(part => part.id)"
            entries = "[...document.querySelectorAll('nav li a')].map(link => link.hash.slice(1))"
            look = "[...document.querySelectorAll('main > section > h2')].map(head => getComputedStyle(head).display)"
            assert page.locator("nav ol").is_visible()
            assert page.evaluate(entries) == page.evaluate(parts)
            assert set(page.evaluate(look)) == {"table-header-group"}
        if name == "report.html":
            assert b"/Subtype /Image" not in page.pdf(format="A4", prefer_css_page_size=True)
    assert seen == 3  # report, plan and project page
