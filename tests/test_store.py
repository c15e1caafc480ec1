"""What a report was made from: pages that nothing moved are taken, whatever could have moved them is noticed, and nothing altered is trusted."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest

from casting_econ.assumptions import assume
from casting_econ.kit import OpenStudy, open_study
from casting_econ.running import panel, store

DEMO = Path(__file__).parents[1] / "data" / "kelpmoor-handles"
PARAMETERS = {"draws": 2048, "seed": 20}
ALL = {*store.PAGES, "panel"}


@pytest.fixture
def study(tmp_path):
    """A copy of a demo's inputs."""
    for name in ("study.toml", "records"):
        (shutil.copytree if name == "records" else shutil.copyfile)(DEMO / name, (tmp_path / name))
    return tmp_path


def edited(study, old, new):
    """The study file with a text in place of another that stands in it once or more."""
    path = study / "study.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def moved(study, change):
    """Pages whose key a change moves, and whether it moves the key of all."""
    pages, everything = store.page_keys(study, PARAMETERS), store.key_of_all(study)
    change()
    now = store.page_keys(study, PARAMETERS)
    return {page for page in pages if pages[page] != now[page]}, everything != store.key_of_all(study)


def test_a_remark_moves_no_page(study):
    """A comment in the study file moves the key of the whole, so that the hash of the inputs follows, and no page."""
    assert moved(study, lambda: (study / "study.toml").open("a").write("\n# a remark\n")) == (set(), True)


def test_a_note_moves_the_page_that_shows_it(study):
    """The note of a number moves the records page alone."""
    assert moved(study, lambda: edited(study, "books, cleaning", "books and cleaning")) == ({store.NOTES}, True)


def test_what_only_orders_need_moves_the_pages_that_name_them(study):
    """A commission is looked at by `order`, by the records page, which says which orders of the logs are none, and where one may be all of a year."""
    pages = {"01_answer", store.NOTES, "11_living"}
    assert moved(study, lambda: edited(study, "[commissions.kitchen]", "[commissions.galley]")) == (pages, True)


@pytest.mark.parametrize(
    ("change", "pages"),
    [
        (("outlay = ", 'outlay = "1 EUR" # '), {"01_answer", "09_change"}),
        (("[decision]", "[decision] # "), set()),
        (("[decision]\n", "[decision]\nbudget = 1 # "), {"01_answer", "09_change"}),
        (("[overheads]", '[cash]\nreserve = "1 EUR"\n[overheads]'), {"01_answer", "08_sensitivity", "10_cash", "11_living"}),
        (("[overheads]", "[cash]\nseason = [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 2]\n[overheads]"), ALL),
    ],
    ids=["a scenario", "a remark there", "the budget", "money at the start", "the season"],
)
def test_what_few_pages_read_moves_those(study, change, pages):
    """Scenarios and the budget, and cash but for its season, run the pages again that look at them, and no other."""
    assert moved(study, lambda: edited(study, *change)) == (pages, True)


class Trap:
    """In place of a table of the study file: nothing of it can be read but what is given."""

    def __init__(self, **given):
        self.__dict__ |= given

    def __getattr__(self, name):
        raise LookupError(f"{name} was read")

    __iter__ = __len__ = __bool__ = __getitem__ = __contains__ = lambda self, *_: self.read

    @property
    def read(self):
        """Of a table as a whole."""
        raise LookupError("it was read")


@pytest.mark.parametrize(
    ("demo", "tables", "told"),
    [
        ("kelpmoor-handles", ("scenarios", "decision"), set()),
        ("kelpmoor-handles", ("commissions", "orders", "quote", "supplies"), {store.NOTES}),  # what reading the logs said
        ("ninepenny-lather", ("cash",), set()),  # whose orders are worth knowing, if not the months that they take
    ],
    ids=["scenarios", "orders", "cash"],
)
def test_pages_look_at_no_table_that_they_are_said_not_to_read(demo, tables, told, tmp_path, monkeypatch):
    """Of a study whose table cannot be read, evidence and panel are found and every page but its readers runs to its end; those read it."""
    study = open_study(DEMO.with_name(demo)).study
    file = study.file.model_copy(update={table: Trap(season=study.file.cash.season) for table in tables})
    shut = replace(study, file=file, raw={key: node for key, node in study.raw.items() if key not in tables})
    kit, readers = OpenStudy(study=shut, assumed=assume(shut)), set()
    monkeypatch.setattr("casting_econ.kit.open_study", lambda *_: kit)
    for page, path in store.page_sources().items():
        names = {}
        try:
            for cell in nbformat.read(path, as_version=4).cells:
                if cell.cell_type == "code":
                    exec(cell.source, names)
                    names |= {"draws": 128, "out": "-"}  # which nothing is drawn for
        except LookupError as error:
            assert "was read" in str(error), (page, error)
            readers.add(page)
    assert readers | told == store.READERS[tables[0]]
    monkeypatch.setattr(panel, "MOST_DRAWS", 64)
    kept = tmp_path / store.PANEL
    worked_out = panel.panel_parts(kit, kept=kept)
    monkeypatch.delattr(panel, "panel_grid")
    assert panel.panel_parts(kit, kept=kept) == worked_out  # the same from where it was kept


@pytest.mark.parametrize(
    "change",
    [
        lambda study: edited(study, "weeks = ", "weeks = 40 # "),
        lambda study: edited(study, "[overheads]", '[overheads]\nnote = "12 EUR/year"'),  # a cost that is called so
        lambda study: (study / "records" / "sales.csv").open("a").write("\n"),
        lambda study: (study / "records" / "notes.txt").write_text("more", encoding="utf-8"),
    ],
    ids=["a number", "a cost named note", "a log", "a file more"],
)
def test_whatever_may_move_a_page_moves_all(study, change):
    """A number, a log to the byte, a file more in records: every page runs again, and the panel is worked out anew."""
    assert moved(study, lambda: change(study)) == (ALL, True)


@pytest.fixture
def report(tmp_path):
    """A finished report of two pages."""
    folder = tmp_path / "report"
    for name in ("notebooks/a.ipynb", "tables/a.csv", "notebooks/b.ipynb", "report.html"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(name, encoding="utf-8")
    store.keep(folder, "all", {"a": "one", "b": "two"}, {"a": ["notebooks/a.ipynb", "tables/a.csv"], "b": ["notebooks/b.ipynb"]})
    return folder


def test_pages_with_the_same_key_are_taken_with_their_files(report, tmp_path):
    """Of two pages the one whose key is the same comes over, whole."""
    assert store.take(report, {"a": "one", "b": "another"}, tmp_path / "new") == ["a"]
    assert sorted(p.name for p in (tmp_path / "new").rglob("*") if p.is_file()) == ["a.csv", "a.ipynb"]
    assert store.unchanged(report, "all") and not store.unchanged(report, "other")


def test_what_was_altered_is_not_trusted(report, tmp_path):
    """A file with other bytes, or gone, costs its page and the whole, and no other page."""
    (report / "tables" / "a.csv").write_text("1", encoding="utf-8")
    assert store.take(report, {"a": "one", "b": "two"}, tmp_path / "new") == ["b"] and not store.unchanged(report, "all")
    (report / "notebooks" / "b.ipynb").unlink()
    assert store.take(report, {"a": "one", "b": "two"}, tmp_path / "other") == []


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"pages": []}', '{"pages": {"a": 1}}', "[" * 100_000])
def test_a_broken_store_is_none(report, text, tmp_path):
    """What is no store of ours is ignored, and the pages run."""
    (report / store.MADE).write_text(text, encoding="utf-8")
    assert store.take(report, {"a": "one"}, tmp_path / "new") == [] and not store.unchanged(report, "all")


def test_a_store_leads_nowhere_else(report, tmp_path):
    """A page that names a file outside the report is not taken."""
    (tmp_path / "secret").write_text("secret", encoding="utf-8")
    made = json.loads((report / store.MADE).read_text(encoding="utf-8"))
    made["pages"]["a"]["files"]["../secret"] = store.file_hash(tmp_path / "secret")
    (report / store.MADE).write_text(json.dumps(made), encoding="utf-8")
    assert store.take(report, {"a": "one"}, tmp_path / "new") == []
