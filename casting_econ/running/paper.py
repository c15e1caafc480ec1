"""A page that was written, such as report.html or quote.html, as sheets of paper: a PDF whose contents know their sheets."""

import logging
from pathlib import Path

from ..faults import refusal
from ..templates import write_whole


def write_pdf(page: Path | str, target: Path | str | None = None) -> Path:
    """Write a page as a tagged PDF, `target` or NAME-page.pdf in this folder, and return where.

    What is folded on the page stays folded. Nothing is fetched: a page carries all that it shows.
    StudyError if the page is none, if what sets letters is not there, or if the file cannot be written.
    """
    page = Path(page)
    if page.is_dir():
        page = page / "report.html"
    named = page.resolve().parent
    named = named.parent if named.name == page.stem else named  # a study's report, or an order's quote
    target = Path(target) if target else Path(f"{named.name}-{page.stem}.pdf")
    if page.suffix.lower() != ".html" or not page.is_file():
        raise refusal(str(page), "is no page", "a page that was made, such as report/report.html or quote.html")
    if target.suffix.lower() != ".pdf":
        raise refusal(str(target), "is no name of a PDF", "a file name that ends in .pdf")
    logging.getLogger("weasyprint").setLevel(logging.CRITICAL)  # it tells of every rule that is for screens alone
    try:
        from weasyprint import HTML
        from weasyprint.urls import URLFetcher
    except (ImportError, OSError):  # the library, or what it draws letters with
        raise refusal(
            str(page),
            "needs the system's Pango, which sets letters, to become a PDF",
            "Pango from your system's packages; or print the page from a browser",
        ) from None
    made = HTML(filename=page, url_fetcher=URLFetcher(allowed_protocols=["data"])).write_pdf(pdf_tags=True)
    write_whole(target, made)
    return target
