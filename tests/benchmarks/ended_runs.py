"""Ends a run of two small pages at many moments, and prints what was left: `python tests/benchmarks/ended_runs.py [MOMENTS]`.

Killed, terminated and interrupted in turn, at moments spread evenly over the time that a run takes; each is then run again.
"""

import os
import signal
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
import ended_runs

HOWS = {"killed": signal.SIGKILL, "terminated": signal.SIGTERM, "interrupted": signal.SIGINT}


def ended(kit: Path, study: Path, how: str, after: float) -> tuple:
    """Exit code, what was said, processes left after five seconds."""
    process = ended_runs.start(kit, study)
    time.sleep(after)
    family = ended_runs.family(process)
    if process.poll() is None:
        os.killpg(process.pid, HOWS[how]) if how == "interrupted" else os.kill(process.pid, HOWS[how])
    _, said = process.communicate()
    return process.returncode, said, len(ended_runs.alive(family))


def main(moments: int) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        kit, study = ended_runs.small_kit(folder / "kit"), ended_runs.small_study(folder / "study")
        (study / "go").touch()
        begun = time.monotonic()
        ended_runs.start(kit, study).communicate()
        whole, report, before = time.monotonic() - begun, ended_runs.hashes(study / "report"), ended_runs.inputs(study)
        print(f"a whole run takes {whole:.1f} s; load {os.getloadavg()[0]:.1f}")
        print("moment  how          exit  traceback  left  inputs  rerun")
        bad = 0
        for number in range(moments):
            how, after = list(HOWS)[number % 3], 1.02 * whole * (number + 1) / moments
            code, said, left = ended(kit, study, how, after)
            same, trace = ended_runs.inputs(study) == before, "Traceback" in said
            rerun = ended_runs.start(kit, study)
            rerun.communicate()
            fine = rerun.returncode == 0 and ended_runs.hashes(study / "report") == report
            fine &= {path.name for path in study.iterdir()} == {"study.toml", "records", "report", "go"}
            bad += bool(trace or left or not same or not fine)
            print(
                f"{after:5.1f}   {how:11}  {code:4}  {trace!s:9}  {left:4}  {'same' if same else 'CHANGED':6}  {fine}", flush=True
            )
        print(f"{moments - bad} of {moments} moments left nothing")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 27)
