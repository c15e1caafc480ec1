"""How long a run takes beside eleven empty notebooks run by papermill two at a time: cold, unchanged, and after one changed price.

    .venv/bin/python tests/benchmarks/run.py [STUDY ...]        # the demos if none is named

Ratios within one run; the machine's load stands beside them.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import nbformat
import papermill

from casting_econ.reference import kit_folder
from casting_econ.running.run import copy_demo, demo_names

COMMAND = [sys.executable, "-c", "from casting_econ.cli import main; main()", "run"]


def seconds(work) -> float:
    """Time on the clock that some work takes. [s]"""
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def empty_notebooks(folder: Path, count: int = 11) -> None:
    """Run notebooks that do nothing, two at a time, each in a kernel of its own."""
    kernel = {"kernelspec": {"name": "python3", "display_name": "python3", "language": "python"}}
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("1")], metadata=kernel)
    nbformat.write(notebook, folder / "empty.ipynb")

    def one(number):
        papermill.execute_notebook(str(folder / "empty.ipynb"), str(folder / f"{number}.ipynb"), progress_bar=False)

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(one, range(count)))


def main(names: list[str]) -> None:
    """Print the ratios of each study."""
    with tempfile.TemporaryDirectory() as place:
        base = seconds(lambda: empty_notebooks(Path(place)))
        print(f"eleven empty notebooks: {base:.1f} s (load {os.getloadavg()[0]:.1f}); every figure below is a multiple of that")
        for name in names:
            study = copy_demo(name, Path(place) / name)
            run = [*COMMAND, str(study)]
            cold = seconds(lambda run=run: subprocess.run(run, check=True, stdout=subprocess.DEVNULL))
            same = seconds(lambda run=run: subprocess.run(run, check=True, stdout=subprocess.DEVNULL))
            file = study / "study.toml"
            text = file.read_text(encoding="utf-8")
            file.write_text(
                re.sub(r"(?m)^price = (.*?)(\d+)", lambda found: f"price = {found[1]}{int(found[2]) + 1}", text, count=1),
                encoding="utf-8",
            )
            moved = seconds(lambda run=run: subprocess.run(run, check=True, stdout=subprocess.DEVNULL))
            print(
                f"{name}: cold {cold / base:.2f}, unchanged {same / base:.3f}, one price changed {moved / base:.2f} (load {os.getloadavg()[0]:.1f})"
            )


if __name__ == "__main__":
    assert kit_folder("notebooks").is_dir()
    main(sys.argv[1:] or demo_names())
