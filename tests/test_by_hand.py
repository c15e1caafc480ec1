"""What a maker does in JupyterLab with the notebooks of a report: they run again where they lie, and nothing done to them is lost."""

import json
import shutil

import nbformat
from IPython.core.interactiveshell import InteractiveShell
from IPython.utils.capture import capture_output
from nbclient import NotebookClient

from casting_econ.faults import refusal
from casting_econ.running import folders, run
from casting_econ.running.notebooks import from_there
from casting_econ.running.store import cells_hash


def said(notebook):
    """Sentences that a notebook shows, in its order."""
    outputs = (output for cell in notebook.cells for output in cell.get("outputs", []))
    return [output.data["text/markdown"] for output in outputs if "text/markdown" in output.get("data", {})]


def test_a_notebook_of_a_report_runs_again_where_it_lies(whole_run):
    """As JupyterLab runs it: the study of the report, the same sentences, charts as dots, and no file beside it."""
    folder = whole_run[2] / "notebooks"
    before, notebook = sorted(folder.iterdir()), nbformat.read(folder / "03_cost.ipynb", as_version=4)
    first = said(notebook)
    NotebookClient(notebook, kernel_name="python3", resources={"metadata": {"path": str(folder)}}).execute()

    assert said(notebook) == first != []
    assert any("image/png" in output.get("data", {}) for cell in notebook.cells for output in cell.get("outputs", []))
    assert sorted(folder.iterdir()) == before


def test_every_notebook_says_which_study_it_is_of(whole_run):
    """In the last cell that sets parameters, seen from the notebook; a chart that is not trusted is told in words."""
    study, _, result, *_ = whole_run
    for page in run.PAGES:
        cells = nbformat.read(result / "notebooks" / f"{page}.ipynb", as_version=4).cells
        names = {}
        exec(next(cell.source for cell in cells if "injected-parameters" in cell.metadata.get("tags", [])), names)
        assert (result / "notebooks" / names["study"]).resolve() == study.resolve() and names["out"] == ""
        pictures = [
            output.data for cell in cells for output in cell.get("outputs", []) if "image/svg+xml" in output.get("data", {})
        ]
        assert all(data["text/plain"].startswith("[Chart, ") for data in pictures)


def test_a_report_in_its_study_can_be_moved_with_it(tmp_path):
    """The way from its notebooks to the study is the same wherever both lie."""
    assert from_there(tmp_path / "a", tmp_path / "a" / "report") == {"study": "../..", "out": ""}
    assert from_there(tmp_path / "a", tmp_path / "b") == {"study": "../../a", "out": ""}


def test_a_report_elsewhere_names_no_folder_but_the_study(tmp_path):
    """Notebooks are handed on: of the way to the study they show its name alone."""
    assert from_there(tmp_path / "anna" / "a", tmp_path / "b") == {"study": "a", "out": ""}


def test_a_fault_in_a_notebook_is_told_without_the_way_through_the_code():
    """Place, finding and remedy, and no line of code of the kit."""
    shell = InteractiveShell()
    shell.push({"fault": refusal("study.toml", "has no products", "[products.NAME]", found="nothing")})
    with capture_output() as captured:
        shell.run_cell("raise fault")

    assert (
        captured.stdout.split()
        == (
            "This study cannot be worked out yet: - study.toml: has no products; found nothing; right would be [products.NAME]"
        ).split()
    )


def rewritten(place, page="as run"):
    """Put a folder as a run writes it in the place of the last one; what is said of it."""
    said = []
    folders.replace_folder(*written(place, page), said.append)
    return said


def written(place, page="as run"):
    """A folder as a run writes it, with one executed notebook that says `page` and a table; where a run works, and the folder's place."""
    part, out = place / "report.part", place / "report"
    new = part / "report"
    (new / "notebooks").mkdir(parents=True)
    (part / "key.txt").write_text("key", encoding="utf-8")
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(page, id="one")])
    notebook.metadata["casting_econ"] = {"finished": True, "cells": cells_hash(notebook)}
    nbformat.write(notebook, new / "notebooks" / "03_cost.ipynb")
    (new / "cost.csv").write_text("1\n", encoding="utf-8")
    folders.write_manifest(new, {"inputs": {}, "notebooks": {}, "versions": {}})
    return new, out, part


def held(out):
    """Files of a folder and what they say, cells of notebooks."""
    return {
        path.relative_to(out).as_posix(): "".join(nbformat.read(path, as_version=4).cells[0].source)
        if path.suffix == ".ipynb"
        else path.read_text(encoding="utf-8")
        for path in sorted(out.rglob("*"))
        if path.is_file() and path.name != "manifest.json"
    }


def changed(path, source=None):
    """Save a notebook as JupyterLab does, with other outputs, and with another cell if given."""
    notebook = json.loads(path.read_text(encoding="utf-8"))
    notebook["cells"][0] |= {"execution_count": 7} | ({"source": source} if source else {})
    path.write_text(json.dumps(notebook), encoding="utf-8")


def test_what_was_put_into_a_report_or_changed_in_it_outlives_the_next_run(tmp_path):
    """A changed notebook under another name, a second one beside the first, own files as they were; what was only run again, checkpoints
    and what earlier runs wrote go."""
    assert rewritten(tmp_path) == []
    out = tmp_path / "report"
    page = out / "notebooks" / "03_cost.ipynb"
    changed(page)
    shutil.copytree(page.parent, page.parent / ".ipynb_checkpoints")
    assert rewritten(tmp_path, "run anew") == []
    assert held(out) == {"cost.csv": "1\n", "notebooks/03_cost.ipynb": "run anew"}

    (out / "mine.txt").write_text("kept", encoding="utf-8")
    (out / "cost.csv").write_text("9\n", encoding="utf-8")
    changed(page, ["mine\n", "too"])
    assert rewritten(tmp_path) == [
        "cost.csv was changed by hand; that is kept as cost-changed.csv beside it",
        "notebooks/03_cost.ipynb was changed by hand; that is kept as 03_cost-changed.ipynb beside it",
    ]
    mine = {
        "cost.csv": "1\n",
        "cost-changed.csv": "9\n",
        "mine.txt": "kept",
        "notebooks/03_cost.ipynb": "as run",
        "notebooks/03_cost-changed.ipynb": "mine\ntoo",
    }
    assert held(out) == mine

    assert rewritten(tmp_path) == [] and held(out) == mine
    changed(page, "second")
    assert "03_cost-changed-2.ipynb" in rewritten(tmp_path)[0]
    assert held(out) == mine | {"notebooks/03_cost-changed-2.ipynb": "second"}


def test_a_notebook_that_cannot_be_read_is_kept_too(tmp_path):
    """Cut short by hand: nobody can tell whether it was changed."""
    rewritten(tmp_path)
    page = tmp_path / "report" / "notebooks" / "03_cost.ipynb"
    page.write_text(page.read_text(encoding="utf-8")[:40], encoding="utf-8")

    assert len(rewritten(tmp_path)) == 1
    assert page.with_stem("03_cost-changed").stat().st_size == 40


def test_a_folder_that_does_not_say_which_files_are_its_own_is_replaced(tmp_path):
    """As earlier versions wrote it: what is in it is theirs."""
    new, out, part = written(tmp_path)
    folders.replace_folder(new, out, part, print)
    told = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    del told["files"]
    (out / "manifest.json").write_text(json.dumps(told), encoding="utf-8")
    (out / "old.csv").write_text("2\n", encoding="utf-8")

    assert rewritten(tmp_path) == [] and "old.csv" not in held(out)
