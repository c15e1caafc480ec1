"""A kit of two small pages, run by the real command in a process of its own, so that it can be ended from outside."""

import hashlib
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import nbformat
import psutil

# tests that are started in the background ignore an interrupt, and so would all that they start
signal.signal(signal.SIGINT, signal.default_int_handler)

# stands in for the command: its first word is a folder of pages
COMMAND = """
import sys
from pathlib import Path
from casting_econ.cli import main
from casting_econ.telling import faults_told
pages = Path(sys.argv.pop(1))
with faults_told():  # as the imports of a command are
    from casting_econ.running import folders, panel, run, store
    real = folders.kit_folder
    folders.kit_folder = lambda name: pages if name == "notebooks" else real(name)
    run.PAGES = store.PAGES = tuple(path.stem for path in sorted(pages.glob("*.ipynb")))
    run.page_sources = store.page_sources = lambda: {page: pages / f"{page}.ipynb" for page in run.PAGES}
    panel._body_and_data = lambda *_: ("", "{}")
    main(prog_name="casting-econ")
"""
DATA = Path(__file__).parents[1] / "data"
PARAMETERS = 'study = ""  # folder\ndraws = 1  # draws\nseed = 1  # seed\nout = ""  # folder'
# a page says who it is, and stays at work until a file called go lies beside the report
HOLD = (
    "import os, time\nfrom pathlib import Path\nwith open('pids', 'a') as file:\n    print(os.getpid(), file=file)\n"
    "while not Path('../go').exists():\n    time.sleep(0.05)"
)
SHOW = "import os\nfrom pathlib import Path\nPath(out, 'PAGE.csv').write_text(f'{draws} {os.environ[\"OPENBLAS_NUM_THREADS\"]}')"
SOURCES = {"01_shows": SHOW, "02_holds": HOLD}


def small_kit(folder: Path, **more: str) -> Path:
    """Write the pages: one that writes a file, one that holds, and what else is given by name."""
    for name, source in (SOURCES | more).items():
        cells = [nbformat.v4.new_markdown_cell(f"# {name}")]
        cells += [nbformat.v4.new_code_cell(PARAMETERS, metadata={"tags": ["parameters"]})]
        cells += [nbformat.v4.new_code_cell(source.replace("PAGE", name))]
        kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
        book = nbformat.v4.new_notebook(cells=cells, metadata={"kernelspec": kernel, "language_info": {"name": "python"}})
        folder.mkdir(parents=True, exist_ok=True)
        nbformat.write(book, folder / f"{name}.ipynb")
    return folder


def small_study(folder: Path) -> Path:
    """The smallest demo with few draws."""
    made = shutil.ignore_patterns("report*", "sweep*", "orders")
    study = Path(shutil.copytree(DATA / "hollin-quay-pulls", folder, ignore=made))
    text = (study / "study.toml").read_text(encoding="utf-8")
    (study / "study.toml").write_text(re.sub(r"draws = \d+", "draws = 128", text), encoding="utf-8")
    return study


def start(kit: Path, study: Path, **machine: str) -> subprocess.Popen:
    """Begin a fresh `run` on a study, with the pages of a kit and what the machine's environment says."""
    command, pipes = (
        [sys.executable, "-c", COMMAND, str(kit), "run", str(study), "--fresh"],
        dict.fromkeys(("stdout", "stderr"), subprocess.PIPE),
    )
    return subprocess.Popen(command, text=True, encoding="utf-8", start_new_session=True, env=os.environ | machine, **pipes)


def kernel(study: Path) -> int:
    """Process of the page that holds, once it does; it is asked for once a run."""
    pids = study / "report.part" / "pids"
    for _ in range(1200):
        if pids.is_file() and pids.read_text().endswith("\n"):
            found = int(pids.read_text())
            pids.unlink()
            return found
        time.sleep(0.1)
    raise TimeoutError("no page began")


def family(process: subprocess.Popen) -> list[psutil.Process]:
    """A process's children and theirs."""
    try:
        return psutil.Process(process.pid).children(recursive=True)
    except psutil.NoSuchProcess:
        return []


def alive(processes: list[psutil.Process], seconds: float = 5.0) -> list[psutil.Process]:
    """Which of them are still there after some seconds; none is waited for longer than it takes."""
    return [left for left in psutil.wait_procs(processes, timeout=seconds)[1] if left.status() != psutil.STATUS_ZOMBIE]


def inputs(study: Path) -> dict[str, str]:
    """Content of the study file and its records."""
    return hashes(study, [study / "study.toml", *(study / "records").rglob("*")])


def hashes(folder: Path, paths=None) -> dict[str, str]:
    """Content of every file of a folder."""
    paths = folder.rglob("*") if paths is None else paths
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in paths if p.is_file()}
