"""Run the committed notebooks in place with their default parameters: python tests/refresh_notebooks.py [NAME ...]."""

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient

NOTEBOOKS = Path(__file__).resolve().parent.parent / "notebooks"
WIDGET = "application/vnd.jupyter.widget-view+json"
METADATA = {
    "kernelspec": {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}


def refresh(path: Path) -> None:
    """Execute one notebook and keep its outputs, without clock times or random cell names."""
    notebook = nbformat.read(path, as_version=4)
    notebook.metadata = nbformat.from_dict(METADATA)
    NotebookClient(notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(NOTEBOOKS)}}).execute()
    notebook.metadata = nbformat.from_dict(METADATA)
    for index, cell in enumerate(notebook.cells):
        cell["id"] = f"cell-{index}"
        cell.metadata.pop("execution", None)
        cell.metadata.pop("lines_to_next_cell", None)
        if cell.cell_type == "code":  # a widget is named anew each time, and shows nothing without its kernel
            cell.outputs = [output for output in cell.outputs if WIDGET not in output.get("data", {})]
    nbformat.write(notebook, path)


if __name__ == "__main__":
    for chosen in sorted(NOTEBOOKS.glob("*.ipynb")):
        if len(sys.argv) == 1 or chosen.stem in sys.argv[1:]:
            refresh(chosen)
            print(chosen.name)
