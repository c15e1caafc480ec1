"""What several test modules share: which tests are core, in which order modules run, and what is made once for all workers."""

import asyncio
import gc
import json
import os
import pickle
import re
import shutil
import subprocess
import threading
import time
from dataclasses import replace
from functools import partial
from hashlib import sha256
from pathlib import Path
from types import SimpleNamespace

from casting_econ.running import ONE_THREAD, keep_memory

os.environ.update(ONE_THREAD)  # as commands do, and before numpy reads it: workers need no threads of each other's cores
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # else every command that is started compiles the kit anew
# isort: split
import nbval.kernel
import pytest
from broken import first_rows
from commands import DATA, NOTEBOOKS, command, copy_of, hashes, is_rates_copy, only_pages
from hypothesis import HealthCheck, settings
from packs import with_customers
from tile_maker import tile_study

from casting_econ import kit
from casting_econ.orders import planner
from casting_econ.projects import project
from casting_econ.running import warm
from casting_econ.running.warm import CAN_FORK, Forked, Warm

settings.register_profile(
    "untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)  # on a busy machine nothing is quick
settings.load_profile("untimed")
keep_memory()  # as commands do
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# `pytest -m core`: what one runs while working, without kernels, browsers or pip; how names of tests begin
CORE = (
    "casting_econ/",  # examples in docstrings
    "tests/published/",
    "tests/test_broken_",
    "tests/test_cash.py",
    "tests/test_cash_said.py",
    "tests/test_cash_study.py",
    "tests/test_curing.py",
    "tests/test_demos.py::test_break_even_share",
    "tests/test_demos.py::test_insert_lost",
    "tests/test_demos.py::test_scrap_costs",
    "tests/test_demos.py::test_stated_result",
    "tests/test_draws.py",
    "tests/test_formatting.py",
    "tests/test_functions.py",
    "tests/test_good_pieces.py",
    "tests/test_levers.py",
    "tests/test_order_calendar.py",
    "tests/test_piece.py",
    "tests/test_reading.py",
    "tests/test_rooms.py",
    "tests/test_tax.py",
    "tests/test_wording.py",
    "tests/test_year.py",
)
# what takes longest goes first, so that all workers are at work to the end (three, so that two cores have work while one waits); all else as it is collected
SLOWEST = [
    f"tests/test_{name}.py"
    for name in (
        "fresh_environment cli sweep explorer ended_runs first_order orders_seen pack break_even certain samphire curing cluster broken_at_once "
        "served projects every_page broken_logs panel posteriors demos warm new verify explorer_browser calibration reading compare evidence "
        "information order_calendar figures screens order_under_way order_price draws hostile as_of job changes newcomers_order order_casts"
    ).split()
] + ["notebooks/order.ipynb", "notebooks/project.ipynb", "notebooks/start.ipynb"]


def pytest_collection_modifyitems(items):
    """Mark the core, and put the slowest modules first."""
    for item in items:
        if item.nodeid.startswith(CORE):
            item.add_marker("core")
    places = {name: place for place, name in enumerate(SLOWEST)}
    items.sort(key=lambda item: places.get(item.nodeid.split("::")[0], len(places)))


def pytest_ignore_collect(collection_path, config):
    """Where only the core is asked for, read none of the other files."""
    if config.option.markexpr == "core" and collection_path.is_file():
        name = collection_path.relative_to(config.rootpath).as_posix()
        return None if any(name.startswith(start.split("::")[0]) for start in CORE) else True
    return None


def pytest_collection_finish():
    """Tests and modules stay to the end: nobody need look through them for rubbish."""
    gc.freeze()


# Demos ----------------------------------------------------------------------------------------------------------------

opened, known, recent = kit._opened, {}, {}


def opened_once(folder, with_records, as_of, digest):
    """Open a study; a demo, and one of which only rates differ, are read once for all modules, and so is any other of the same files
    as one of the last few."""
    demo, how = DATA / folder.name, (with_records, as_of, digest)
    if demo.is_dir() and not folder.is_relative_to(DATA):
        kit.open_study(demo, with_records=with_records, as_of=as_of)
    found = known.get(how) or recent.get(how) or opened(folder, *how)
    kept = known if folder.is_relative_to(DATA) or is_rates_copy(folder) else recent
    kept.setdefault(how, found)
    if len(recent) > 8:
        del recent[next(iter(recent))]
    if found.study.folder == folder:
        return found
    study = replace(found.study, folder=folder)
    return replace(found, study=study, assumed=replace(found.assumed, study=study))


kit._opened = opened_once
open_order, plans = project.open_order, {}


def planned_once(of, name, **asked):
    """Plan an order as it was before its first row: once for all that look back on one of the same file, logs and day."""
    logs = {log: frame.to_csv() for log, frame in of.study.records.items()}
    key = re.sub(" at 0x[0-9a-f]+", "", repr((of.study.file, of.assumed.numbers, logs, name, asked)))
    found = plans[key] if key in plans else open_order(of, name, **asked)
    if len(plans) > 4:
        del plans[next(iter(plans))]
    plans[key] = found
    return found


project.open_order = planned_once
simulate, courses = planner.simulate, {}


def simulated_once(plan, calendar, *, record=False):
    """Follow the same loads through the same calendar once for all plans of a worker; tests of the rules call the model itself."""
    key = sha256(pickle.dumps((plan, calendar, record))).digest()
    found = courses[key] if key in courses else simulate(plan, calendar, record=record)
    if len(courses) > 128:  # what is kept of each can be large
        del courses[next(iter(courses))]
    courses[key] = found
    return found


planner.simulate = simulated_once


# Notebooks ------------------------------------------------------------------------------------------------------------


class WarmKernels(nbval.kernel.KernelManager):
    """nbval's kernels, forked as those of a run are; the outputs they are compared with come from kernels of their own."""

    warm = None

    def start_kernel(self, **options):
        """Fork; the process that does is started for the first."""
        if WarmKernels.warm is None:
            parameters = {"study": "../data/kelpmoor-handles", "draws": 2048, "seed": 20}  # as most notebooks ask for
            WarmKernels.warm = Warm(NOTEBOOKS, subprocess.DEVNULL, parameters, dict(os.environ))
        self.provisioner = Forked(kernel_spec=self.kernel_spec, parent=self, warm=WarmKernels.warm)
        super().start_kernel(**options)


def pytest_sessionstart():
    """Where kernels can be forked, nbval's are; and those of a run from the test itself, as from a command: xdist's own thread, which
    keeps a run from it, holds nothing that kernels ask for. Threads that tests leave behind may, and no kernel starts where a browser's loop runs."""
    if CAN_FORK:
        nbval.kernel.KernelManager = WarmKernels
        own = set(threading.enumerate())
        count = lambda: 1 + len({*threading.enumerate()} - own) + (asyncio._get_running_loop() is not None)  # noqa: E731
        warm.threading = SimpleNamespace(active_count=count, Lock=threading.Lock)


def pytest_sessionfinish():
    """End the process that forks them."""
    if WarmKernels.warm:
        WarmKernels.warm.close()


# Small studies --------------------------------------------------------------------------------------------------------


@pytest.fixture
def tile(tmp_path):
    """A maker of one tile; called with logs by name, rows of text under a header, it gives the study."""
    return partial(tile_study, tmp_path)


@pytest.fixture
def file_only(tmp_path):
    """A demo without its logs, to be broken."""
    shutil.copyfile(DATA / "kelpmoor-handles" / "study.toml", tmp_path / "study.toml")
    return tmp_path


@pytest.fixture
def with_logs(tmp_path):
    """A demo with the first rows of its logs: enough for every kind of fault, and quick to read."""
    return first_rows("kelpmoor-handles", tmp_path / "study")


# Packs ----------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def pack_made(tmp_path_factory):
    """A study with customers, its pack of one page, and what was said."""
    folder = tmp_path_factory.mktemp("a folder with spaces")
    study = with_customers(folder / "my study")
    with pytest.MonkeyPatch.context() as patch:
        only_pages(patch, "03_cost")
        code, out, err = command("pack", study, "--out", folder / "the pack.zip")
    assert (code, err) == (0, "")
    return study, folder / "the pack.zip", out


@pytest.fixture(scope="module")
def packed(pack_made):
    """The same, where only that page is run, so that tests are quick; tests/test_fresh_environment.py runs them all."""
    with pytest.MonkeyPatch.context() as patch:
        only_pages(patch, "03_cost")
        yield pack_made


# One run for all ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def whole_run(tmp_path_factory):
    """One whole run of the first demo, by whichever worker asks first: study, what it held before, result, exit code, output and
    error output."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "whole run"
    study, out, told = folder / "kelpmoor-handles", folder / "result", folder / "told.json"
    try:
        folder.mkdir()
    except FileExistsError:  # another worker's
        for _ in range(6000):
            if told.exists():
                break
            time.sleep(0.1)
    else:
        try:
            copy_of(study.name, folder)
            before = {path.as_posix(): mark for path, mark in hashes(study).items()}
            said = [before, *command("run", study, "--out", out)]
        except BaseException as error:
            said = repr(error)
            raise
        finally:
            told.with_suffix(".part").write_text(json.dumps(said), encoding="utf-8")
            told.with_suffix(".part").replace(told)
    found = json.loads(told.read_text(encoding="utf-8"))
    assert isinstance(found, list), f"another worker's run: {found}"
    before, *said = found
    return study, {Path(path): mark for path, mark in before.items()}, out, *said


@pytest.fixture(scope="module")
def browser():
    """Headless Chromium, an installed one."""
    if CHROMIUM is None:
        pytest.skip("no Chromium on the PATH; .ci/run installs one")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()
