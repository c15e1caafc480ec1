"""Pages as sheets of paper: a PDF that a partner prints, whose contents know their sheets."""

import re
import sys
from pathlib import Path

import pytest
from commands import command

from casting_econ.faults import StudyError
from casting_econ.kit import open_study
from casting_econ.running.paper import write_pdf
from casting_econ.running.report import build_report
from casting_econ.running.store import PAGES

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A report of the committed notebooks, as a run lays it out."""
    folder = tmp_path_factory.mktemp("study") / "report"
    folder.mkdir()
    pages = [ROOT / "notebooks" / f"{name}.ipynb" for name in PAGES]
    build_report(open_study(ROOT / "data" / "kelpmoor-handles"), pages, folder / "report.html")
    return folder


@pytest.fixture(scope="module")
def sheets(folder):
    """The text of each sheet."""
    pytest.importorskip("weasyprint", reason="draws letters with Pango", exc_type=(ImportError, OSError))
    from pypdfium2 import PdfDocument

    with PdfDocument(write_pdf(folder, folder.parent / "report.pdf")) as found:
        return [page.get_textpage().get_text_bounded().replace("\r\n", "\n") for page in found]


def test_contents_name_the_sheet_on_which_each_part_begins(sheets):
    """Each entry of the contents ends in the number of the first sheet under that heading."""
    contents = re.search(r"^Contents$(.*?)^Does an hour pay", sheets[0], re.MULTILINE | re.DOTALL)[1]
    told = re.findall(r"\s*(.*?)\s*\.{2,}\s*(\d+)$", contents, re.MULTILINE | re.DOTALL)

    assert len(told) == len(PAGES) + 2
    for at, (title, sheet) in enumerate(told, 1):
        heading = re.compile(rf"^{at}\s+{re.escape(' '.join(title.split())[:20])}", re.MULTILINE)
        found = [number for number, text in enumerate(sheets, 1) if heading.search(text)]
        assert (min(found) if at > 1 else 1) == int(sheet), title  # the first stands under the name of the study


def test_what_is_folded_is_named_and_left_out(sheets):
    """The sheets are as few as printed from a browser; a folded part is a line; no code is on paper; each sheet has its number."""
    text = "\n".join(sheets)

    assert len(sheets) <= 15
    assert "The decision (folded, left out here)" in text and "How each page was worked out" not in text
    assert all(f"{at} / {len(sheets)}" in sheet for at, sheet in enumerate(sheets, 1))


def test_nothing_is_fetched(tmp_path, monkeypatch):
    """A picture from elsewhere, or from another file of this computer, is not looked for."""
    pytest.importorskip("weasyprint", exc_type=(ImportError, OSError))
    asked = []
    monkeypatch.setattr(
        "urllib.request.OpenerDirector.open", lambda self, *a, **k: asked.append(a) or (_ for _ in ()).throw(OSError())
    )
    (tmp_path / "secret.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>')
    page = tmp_path / "quote.html"
    page.write_text('<p>Quote</p><img src="http://192.0.2.7/a.png"><img src="secret.svg">')

    assert write_pdf(page, tmp_path / "quote.pdf").read_bytes().startswith(b"%PDF-")
    assert asked == []


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (("none.html",), "is no page"),
        (("study.toml",), "is no page"),
        (("empty",), "is no page"),
        (("page.html", "--out", "page.html"), "ends in .pdf"),
        (("page.html", "--out", "no folder/page.pdf"), "cannot be written"),
    ],
)
def test_says_what_it_cannot_set(asked, said, tmp_path, monkeypatch):
    """One message, exit code 2, nothing written."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty").mkdir()
    for name in ("page.html", "study.toml"):
        (tmp_path / name).write_text("<p>A page</p>")
    code, out, err = command("pdf", *asked)

    assert (code, out) == (2, "") and said in err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "page.html", "study.toml"]
    assert (tmp_path / "page.html").read_text() == "<p>A page</p>"


def test_without_pango_the_other_way_onto_paper_is_told(folder, monkeypatch):
    """Where nothing sets letters, a browser still prints."""
    monkeypatch.setitem(sys.modules, "weasyprint", None)

    with pytest.raises(StudyError, match=r"Pango.*print the page from a browser"):
        write_pdf(folder, folder.parent / "none.pdf")
    assert not (folder.parent / "none.pdf").exists()
