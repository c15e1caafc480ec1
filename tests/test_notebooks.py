"""What nbval does not see: notebooks that compare nothing, run out of order, or take no parameters."""

import ast
from pathlib import Path

import nbformat
import papermill
import pytest

from casting_econ.running.store import PAGES

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
PATHS = sorted(NOTEBOOKS.glob("*.ipynb"))
TAGS = {
    "parameters",
    "nbval-check-output",
    "nbval-ignore-output",
    "nbval-skip",
    "raises-exception",
    "remove-input",
    "fold",
    "again",
}
SHOWS = ("page.say(", "page.figure(", "page.table(", "page.record(")
LONGEST = 20  # lines of a cell


def problems(notebook) -> list[str]:
    """Everything wrong with an executed notebook."""
    found, expected = [], 1
    if notebook.metadata.get("kernelspec", {}).get("name") != "python3":
        found.append("kernel is not python3")
    if sum("parameters" in cell.metadata.get("tags", []) for cell in notebook.cells) != 1:
        found.append("not exactly one parameters cell")
    for index, cell in enumerate(notebook.cells):
        found += [f"cell {index}: unknown tag {tag}" for tag in set(cell.metadata.get("tags", [])) - TAGS]
        if cell.cell_type != "code":
            continue
        if cell.execution_count != expected:
            found.append(f"cell {index}: execution count {cell.execution_count}, not {expected}")
        expected += 1
        shows = any(line.startswith(SHOWS) for line in cell.source.splitlines())
        if shows and not cell.outputs:
            found.append(f"cell {index}: shows something but stores no output")
        if any(output.output_type == "error" or output.get("name") == "stderr" for output in cell.outputs):
            found.append(f"cell {index}: stored an error or a warning")
        if len(cell.source.splitlines()) > LONGEST:
            found.append(f"cell {index}: longer than {LONGEST} lines")
        tree = ast.parse(cell.source)
        if any(isinstance(node, ast.FunctionDef | ast.ClassDef) for node in ast.walk(tree)):
            found.append(f"cell {index}: defines a function or class, which belongs in the package")
        ignored = {"nbval-ignore-output", "nbval-skip"} & set(cell.metadata.get("tags", []))
        if ignored and "# why:" not in cell.source:
            found.append(f"cell {index}: leaves out a check without a '# why:'")
    return found


def cell(source="page.say('x')", count=1, tags=(), outputs=True):
    """A code cell as it would be stored."""
    stored = [nbformat.v4.new_output("display_data", {"text/plain": "x"})] if outputs else []
    return nbformat.v4.new_code_cell(source, execution_count=count, metadata={"tags": list(tags)}, outputs=stored)


def notebook(*cells, kernel="python3"):
    """A notebook of these cells after a parameters cell."""
    first = cell("study = ''", 1, ["parameters"], outputs=False)
    return nbformat.v4.new_notebook(cells=[first, *cells], metadata={"kernelspec": {"name": kernel, "display_name": "x"}})


@pytest.mark.parametrize(
    ("bad", "expected"),
    [
        (notebook(cell(count=None)), "execution count None"),
        (notebook(cell(count=3)), "execution count 3"),
        (notebook(cell(count=2, outputs=False)), "stores no output"),
        (notebook(cell(count=2, tags=["nbval-ignore-outputs"])), "unknown tag"),
        (notebook(cell(count=2, tags=["nbval-skip"])), "without a '# why:'"),
        (notebook(cell("def f():\n    pass", count=2)), "belongs in the package"),
        (notebook(cell("\n".join(["page"] * 21), count=2)), "longer than"),
        (notebook(cell(count=2), kernel="mine"), "kernel"),
        (notebook(cell("x = 1", 2, ["parameters"])), "exactly one parameters"),
    ],
)
def test_guard_sees_each_trap(bad, expected):
    """The guard itself fails on a notebook with the trap, and only for that reason."""
    found = problems(bad)

    assert len(found) == 1 and expected in found[0]


def test_guard_passes_a_good_notebook():
    """A notebook without traps has no problems."""
    assert problems(notebook(cell(count=2))) == []


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
def test_committed_notebook_has_no_traps(path):
    """Every committed notebook is executed in order and compares what it shows."""
    assert problems(nbformat.read(path, as_version=4)) == []


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
def test_parameters_are_plain_and_known_to_papermill(path):
    """Each parameters cell gives the study (a page's also draws, seed and out) as literals with a comment, and papermill infers them all."""
    book = nbformat.read(path, as_version=4)
    source = next(c.source for c in book.cells if "parameters" in c.metadata.get("tags", []))
    lines = [line for line in source.splitlines() if line.strip()]
    names = [node.targets[0].id for node in ast.parse(source).body]

    assert all("#" in line for line in lines)
    assert set(names) >= {"study"} | ({"out", "draws", "seed"} if path.stem in PAGES else set())
    assert set(papermill.inspect_notebook(str(path))) == set(names)


def test_run_takes_every_notebook_in_reading_order():
    """The pages of a run are the numbered notebooks of the folder; an order has its own command and page afterwards, and a study is started by hand."""
    assert [*PAGES, "explore", "order", "project", "start"] == [path.stem for path in PATHS]


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
def test_notebook_stores_no_path_of_a_machine(path):
    """Nothing in a committed notebook tells where it was run."""
    text = path.read_text(encoding="utf-8")

    assert "/home/" not in text and "/tmp/" not in text and "C:\\\\" not in text
