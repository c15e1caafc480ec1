"""How long a run takes beside eleven empty notebooks run by papermill two at a time: cold, unchanged, and after one changed price.

    .venv/bin/python tests/benchmarks/run.py [STUDY ...]        # the demos if none is named

Ratios within one run, of time on the clock and, in brackets, of processor time of all processes, which a busy machine moves less; the
machine's load stands beside them.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

import nbformat
import numpy as np
import papermill
import psutil

from casting_econ.study.inputs import copy_demo, demo_names

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # whoever uses the kit compiles it once
COMMAND = [sys.executable, "-c", "from casting_econ.cli import main; main()", "run"]


def seconds(words: list[str]) -> np.ndarray:
    """Time on the clock and of the processor that a command takes with all that it starts. [s]"""
    begun, used = time.perf_counter(), {}
    process = psutil.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while process.poll() is None:
        with suppress(psutil.Error):
            for one in [process, *process.children(recursive=True)]:
                with suppress(psutil.Error):
                    used[one.pid] = sum(one.cpu_times()[:2])
        time.sleep(0.03)
    assert process.returncode == 0, words
    return np.array([time.perf_counter() - begun, sum(used.values())])


def told(ratio: np.ndarray) -> str:
    """Ratio of the clock, and that of the processor in brackets."""
    return f"{ratio[0]:.3g} ({ratio[1]:.3g})"


def empty_notebooks(folder: Path, count: int = 11) -> None:
    """Run notebooks that do nothing, two at a time, each in a kernel of its own."""
    kernel = {"kernelspec": {"name": "python3", "display_name": "python3", "language": "python"}}
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("1")], metadata=kernel)
    nbformat.write(notebook, folder / "empty.ipynb")

    def one(number):
        papermill.execute_notebook(str(folder / "empty.ipynb"), str(folder / f"{number}.ipynb"), progress_bar=False)

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(one, range(count)))


def base(folder: Path, count: int = 11) -> np.ndarray:
    """Seconds of so many empty notebooks, in a process of their own."""
    return seconds([sys.executable, __file__, "--empty", str(folder), str(count)])


def main(names: list[str]) -> None:
    """Print the ratios of each study."""
    with tempfile.TemporaryDirectory() as place:
        for name in names:
            empty = base(Path(place))
            print(
                f"eleven empty notebooks: {told(empty)} s (load {os.getloadavg()[0]:.1f}); the figures below are multiples of that"
            )
            study = copy_demo(name, Path(place) / name)
            run = [*COMMAND, str(study)]
            cold, same = seconds(run) / empty, seconds(run) / empty
            file = study / "study.toml"
            text = file.read_text(encoding="utf-8")
            text, moves = re.subn(
                r'(?m)^price = "(\d+)(?=[.\d]* [A-Z]{3})', lambda price: f'price = "{int(price[1]) + 1}', text, count=1
            )
            assert moves == 1, "no channel's price found"
            file.write_text(text, encoding="utf-8")
            moved = seconds(run) / empty
            print(f"{name}: cold {told(cold)}, unchanged {told(same)}, one price changed {told(moved)}", end="")
            print(f" (load {os.getloadavg()[0]:.1f})", flush=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--empty"]:
        empty_notebooks(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        main(sys.argv[1:] or demo_names())
