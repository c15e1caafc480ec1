"""Runs that are killed, terminated or interrupted, and kernels that are: what stays, what is said, and the next run."""

import os
import signal
import subprocess
import sys
import time

import ended_runs
import pandas as pd
import psutil

from casting_econ.kit import open_study
from casting_econ.pages.page import Page
from casting_econ.running.tied import command


def test_runs_that_are_ended_leave_no_process_and_are_taken_up_again(tmp_path):
    """Interrupted, terminated, killed, each with a page at work: inputs as they were, every child gone within five seconds, no
    traceback, and in the end the bytes of a run that nobody ended, on a machine that sums with other threads."""
    kit, study = ended_runs.small_kit(tmp_path / "kit"), ended_runs.small_study(tmp_path / "study")
    whole = ended_runs.small_study(tmp_path / "whole")
    (whole / "go").touch()
    last = [ended_runs.start(kit, whole, OPENBLAS_NUM_THREADS="3")]  # nobody ends this one: it runs beside those that are
    before = ended_runs.inputs(study)
    for how in (signal.SIGINT, signal.SIGTERM, signal.SIGKILL):
        process = ended_runs.start(kit, study)
        kernel = ended_runs.kernel(study)
        family = ended_runs.family(process)
        assert kernel in [child.pid for child in family]
        # Ctrl-C reaches the whole group
        os.killpg(process.pid, how) if how == signal.SIGINT else os.kill(process.pid, how)
        _, said = process.communicate()

        assert process.returncode == (-9 if how == signal.SIGKILL else 130)
        assert ended_runs.alive(family) == [] and ended_runs.inputs(study) == before and not (study / "report").exists()
        assert said == "" if how == signal.SIGKILL else said.startswith("\nStopped; nothing is half written.")
    (study / "go").touch()
    last.append(ended_runs.start(kit, study, OPENBLAS_NUM_THREADS="2"))
    assert [(process.communicate()[1], process.returncode) for process in last] == [("", 0), ("", 0)]
    assert ended_runs.hashes(study / "report") == ended_runs.hashes(whole / "report")
    assert {path.name for path in study.iterdir()} == {"study.toml", "records", "report", "go"}


def test_pages_whose_process_is_killed_are_said_and_do_not_end_the_others(tmp_path):
    """Killed once, a page is tried once more and comes to its end; killed each time, it is what the run fails with, in words."""
    kit = ended_runs.small_kit(tmp_path / "kit", **{"03_dies": "import os\nos.kill(os.getpid(), 9)"})
    study = ended_runs.small_study(tmp_path / "study")
    process = ended_runs.start(kit, study)
    kernel = ended_runs.kernel(study)
    (study / "go").touch()
    os.kill(kernel, signal.SIGKILL)
    out, err = process.communicate()

    assert err.startswith("03_dies: its process was ended from outside") and "02_holds" not in err, err
    for page in ("02_holds", "03_dies"):
        assert (
            f"{page}: its process was ended from outside, as a system does that runs out of memory; it is tried once more" in out
        )
    assert "[3/3]" in out and out.count("  ok") == 2
    assert process.returncode == 1 and err.startswith("03_dies: its process was ended from outside") and "Traceback" not in err


LOST = """
import os, signal, time
from casting_econ.telling import faults_told
class Odd:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(1)
with faults_told():
    odd = Odd()
    del odd
    time.sleep(60)
"""


def test_an_interrupt_is_not_lost_where_python_cannot_raise():
    """It comes while an object is removed, where Python only prints what is raised: no traceback, and the command stops."""
    done = subprocess.run([sys.executable, "-c", LOST], capture_output=True, text=True, timeout=50)

    assert done.returncode == 130 and done.stderr.strip().startswith("Stopped; nothing is half written.")


def test_a_tied_process_ends_however_its_parent_does():
    """Also one that stands in no Python code: the other end of its standard input closes, and it is ended."""
    code = f"import subprocess, time\nsubprocess.Popen({command('timeit', '-n1', '-r1', 'sum(range(10**12))')!r}, stdin=subprocess.PIPE)\nprint(1, flush=True)\ntime.sleep(60)"
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE) as parent:
        parent.stdout.readline()
        family = ended_runs.family(parent)
        while family[0].cpu_times().user < 0.5 and family[0].status() != psutil.STATUS_ZOMBIE:
            time.sleep(0.05)
        parent.kill()

    assert len(family) == 1 and ended_runs.alive(family) == []


def test_tables_hold_nine_digits(tmp_path):
    """What only the order of a sum moves is not written: 0.1 + 0.2 is 0.3, and whole numbers and words stay."""
    page = Page(open_study(ended_runs.DATA / "kelpmoor-handles", with_records=False), str(tmp_path))
    frame = pd.DataFrame({"a": [0.1 + 0.2, 1 / 3, 1e-17], "b": [123456789012, 1, 2], "c": ["x", None, 2 / 3]})
    page.table(frame, "t", "T", "a: significant")

    assert (tmp_path / "tables" / "t.csv").read_text() == "a,b,c\n0.3,123456789012,x\n0.333333333,1,\n0.0,2,0.666666667\n"
