"""How many screens and printed pages a report takes: `.venv/bin/python tests/screens.py REPORT.html …`."""

import re
import sys
from pathlib import Path

PHONE, DESK = (390, 844), (1280, 800)  # CSS pixels


def screens(browser, report: Path, size: tuple[int, int] = PHONE) -> float:
    """Screens of a report as it opens, everything folded that it folds."""
    page = browser.new_page(viewport={"width": size[0], "height": size[1]})
    page.goto(report.as_uri())
    found = page.evaluate("document.documentElement.scrollHeight") / size[1]
    page.close()
    return found


def printed(browser, report: Path) -> int:
    """A4 sheets, as Chromium prints the report; its files list their pages in the open."""
    page = browser.new_page()
    page.goto(report.as_uri())
    raw = page.pdf(format="A4", prefer_css_page_size=True)
    page.close()
    return len(re.findall(rb"/Type\s*/Page\b", raw))


def words(browser, report: Path) -> int:
    """Words that are open on the page."""
    page = browser.new_page()
    page.goto(report.as_uri())
    found = len(page.evaluate("document.body.innerText").split())
    page.close()
    return found


if __name__ == "__main__":
    from conftest import CHROMIUM, FLAGS
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for path in map(Path, sys.argv[1:]):
            path = path.resolve()
            phone, desk = (screens(browser, path, size) for size in (PHONE, DESK))
            told = f"{phone:.1f} phone screens, {desk:.1f} desktop screens, {printed(browser, path)} A4 pages"
            print(f"{path.parent.name}/{path.name}: {told}, {words(browser, path)} words")
        browser.close()
