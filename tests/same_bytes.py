"""Run studies and orders with the code of two commits, and name every result and table that is not the same to the byte.

.venv/bin/python tests/same_bytes.py REV [STUDY ...]        # the work tree against REV; the demos and their twins if none is named
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
STUDIES = [
    p.parent.relative_to(ROOT)
    for p in sorted(ROOT.glob("data/*/study.toml")) + sorted(ROOT.glob("data/messy-twins/*/study.toml"))
]
ORDERS = {"kelpmoor-handles": "kitchen", "hollin-quay-pulls": "hotel-refit"}


def work_out(code: Path, study: Path, out: Path) -> None:
    """Report and, where the study has one, order plan of a study, by the code in a folder."""
    home = out / "studies" / study.name
    shutil.copytree(code / study, home, ignore=shutil.ignore_patterns("report", "orders"))
    command = [sys.executable, "-c", "from casting_econ.cli import main; main()"]
    environment = os.environ | {"PYTHONPATH": str(code)}
    subprocess.run(
        [*command, "run", home, "--out", out / "report"], cwd=code, env=environment, check=True, stdout=subprocess.DEVNULL
    )
    if study.name in ORDERS:
        subprocess.run(
            [*command, "order", home, ORDERS[study.name]], cwd=code, env=environment, check=True, stdout=subprocess.DEVNULL
        )


def kept(folder: Path) -> dict[str, bytes]:
    """Results and tables below a folder, by their place in it."""
    wanted = [*folder.rglob("results.json"), *folder.rglob("order.json"), *folder.rglob("tables/*.csv")]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in wanted}


def main(revision: str, studies: list[Path]) -> int:
    """Compare; 1 where anything differs."""
    differences = 0
    with tempfile.TemporaryDirectory() as temporary:
        there = Path(temporary) / "there"
        subprocess.run(["git", "worktree", "add", "--detach", "-q", there, revision], cwd=ROOT, check=True)
        try:
            for study in studies:
                found = {}
                for name, code in (("before", there), ("now", ROOT)):
                    out = Path(temporary) / name / study
                    work_out(code, study, out)
                    found[name] = kept(out)
                places = found["before"].keys() | found["now"].keys()
                other = sorted(place for place in places if found["before"].get(place) != found["now"].get(place))
                print(
                    f"{study}: {len(places) - len(other)} of {len(places)} the same"
                    + "".join(f"\n    other: {place}" for place in other)
                )
                differences += len(other)
        finally:
            subprocess.run(["git", "worktree", "remove", "--force", there], cwd=ROOT, check=True)
    return int(differences > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], [Path(text) for text in sys.argv[2:]] or STUDIES))
