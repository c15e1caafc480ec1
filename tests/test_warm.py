"""Kernels forked from one warm process give what kernels of their own give, and leave nothing behind."""

import os
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest

from casting_econ.kit import open_copy, open_study
from casting_econ.reference import kit_folder
from casting_econ.running import ONE_THREAD, notebooks, warm
from casting_econ.running.notebooks import Job, run_jobs
from casting_econ.study.inputs import copy_inputs

pytestmark = pytest.mark.skipif(not warm.CAN_FORK, reason="kernels are forked on Linux only")


def page(folder, ready=None):
    """Run a page on a demo in a folder; the bytes of everything it wrote, by place."""
    folder.mkdir()
    copy_inputs(kit_folder("data") / "kelpmoor-handles", folder / "study")
    given = {"study": "study", "draws": 128, "seed": 20, "out": "out"}
    name = "03_cost.ipynb"
    job = Job(source=kit_folder("notebooks") / name, target=folder / "done" / name, parameters=given)
    assert not run_jobs([job], 1, lambda _: None, folder, ready=ready)
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.suffix in (".ipynb", ".csv", ".png", ".svg")
    }


@pytest.fixture(scope="module")
def forked(tmp_path_factory):
    """What a page writes whose kernel is a fork of a process that has opened the study."""
    return page(tmp_path_factory.mktemp("pages") / "forked")


def test_forked_kernels_give_the_same_bytes(forked, tmp_path, monkeypatch):
    """A notebook, its tables and figures are the same to the byte with a kernel of its own; nbval compares every page so."""
    monkeypatch.setattr(notebooks, "CAN_FORK", False)
    assert forked == page(tmp_path / "alone") and len(forked) > 2


def test_a_forked_kernel_knows_nothing_of_another(tmp_path):
    """What one kernel sets is not there in the next, each has a process of its own, and none writes down what was asked of it."""
    import nbformat

    seen = []
    for name in ("first", "second"):
        cell = nbformat.v4.new_code_cell(
            "import os, casting_econ\nassert not get_ipython().history_manager.enabled\nwas = hasattr(casting_econ, 'touched')\ncasting_econ.touched = True\nprint(was, os.getpid())"
        )
        notebook = nbformat.v4.new_notebook(
            cells=[cell], metadata={"kernelspec": {"name": "python3", "display_name": "x", "language": "python"}}
        )
        nbformat.write(notebook, tmp_path / f"{name}.ipynb")
    jobs = [
        Job(source=tmp_path / f"{name}.ipynb", target=tmp_path / "done" / f"{name}.ipynb", parameters={"study": ""})
        for name in ("first", "second")
    ]
    assert not run_jobs(jobs, 1, lambda _: None, tmp_path)
    for job in jobs:
        done = nbformat.read(job.target, as_version=4)
        seen.append(done.cells[-1].outputs[0].text.split())
    assert [was for was, _ in seen] == ["False", "False"] and len({pid for _, pid in seen}) == 2
    assert not any(os.path.exists(f"/proc/{pid}") for _, pid in seen) and str(os.getpid()) not in {pid for _, pid in seen}


@pytest.mark.parametrize("forks", [True, False])
def test_kernels_take_no_port_and_leave_no_file(tmp_path, monkeypatch, forks):
    """They listen by a name of their own, so two cannot meet at a port that both took for free, and nothing of them stays."""
    import nbformat

    cell = nbformat.v4.new_code_cell(
        "import ipykernel.connect\nprint(ipykernel.connect.get_connection_info(unpack=True)['transport'])"
    )
    kernel = {"name": "python3", "display_name": "x", "language": "python"}
    nbformat.write(nbformat.v4.new_notebook(cells=[cell], metadata={"kernelspec": kernel}), tmp_path / "asks.ipynb")
    job = Job(source=tmp_path / "asks.ipynb", target=tmp_path / "done.ipynb", parameters={"study": ""})
    monkeypatch.setattr(notebooks, "CAN_FORK", forks)
    assert not run_jobs([job], 1, lambda _: None, tmp_path)
    assert nbformat.read(job.target, as_version=4).cells[-1].outputs[0].text == "ipc\n"
    assert {path.name for path in tmp_path.iterdir()} == {"asks.ipynb", "done.ipynb", "kernels.log"}


def test_a_page_finds_what_the_run_has_worked_out_and_gives_the_same_bytes(forked, tmp_path, monkeypatch):
    """Kernels are then forks of the run itself: the study is not read again, and figures and tables are the same to the byte."""
    monkeypatch.setattr(
        "threading.active_count", lambda: 1
    )  # other tests may have left threads, none of which holds anything here
    for name, value in ONE_THREAD.items():
        monkeypatch.setenv(name, value)
    kit, read = open_study(kit_folder("data") / "kelpmoor-handles"), tmp_path / "read"

    def ready():
        open_copy(kit, Path("study"))
        monkeypatch.setattr("casting_econ.kit.read_study", lambda *_, **__: read.touch())

    assert page(tmp_path / "known", ready=ready) == forked and not read.exists()


ALONE = """
import asyncio, sys
from pathlib import Path

import casting_econ
from casting_econ.running.notebooks import Job, run_jobs

asyncio.set_event_loop(asyncio.new_event_loop())
place, given = Path(sys.argv[1]), {"study": ""}
jobs = [Job(source=place / "asks.ipynb", target=place / f"{n}.ipynb", parameters=given) for n in range(4)]
assert not run_jobs(jobs, 4, lambda _: None, place, ready=lambda: lambda: setattr(casting_econ, "shared", True))
assert not hasattr(casting_econ, "shared")
"""


def test_the_first_kernel_is_forked_before_what_the_others_share_is_worked_out(tmp_path):
    """What the warm process does later is not there in the first kernel, and is in every other, however many start at a time;
    an event loop that the process forked from has set is none of a kernel's. In a process of its own: other tests leave threads."""
    cell = nbformat.v4.new_code_cell("import casting_econ\nprint(hasattr(casting_econ, 'shared'))")
    kernel = {"name": "python3", "display_name": "x", "language": "python"}
    nbformat.write(nbformat.v4.new_notebook(cells=[cell], metadata={"kernelspec": kernel}), tmp_path / "asks.ipynb")

    subprocess.run([sys.executable, "-c", ALONE, str(tmp_path)], env=os.environ | ONE_THREAD, check=True)
    cells = (nbformat.read(tmp_path / f"{n}.ipynb", as_version=4).cells[-1] for n in range(4))
    assert [cell.outputs[0].text.strip() for cell in cells] == ["False", "True", "True", "True"]


def test_where_the_warm_process_is_gone_kernels_start_alone(tmp_path, monkeypatch):
    """A warm process that ends at once costs nothing but its warmth."""
    start = warm.Warm.__init__

    def ended(self, *given):
        start(self, *given)
        self.process.kill()
        self.process.wait()

    monkeypatch.setattr(warm.Warm, "__init__", ended)
    assert len(page(tmp_path / "one")) > 2
