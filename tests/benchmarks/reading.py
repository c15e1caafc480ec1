"""Time the reading and checking of large logs against a bare `pandas.read_csv` of the same files, in one run.

    python tests/benchmarks/reading.py [TIMESHEET_ROWS] [BATCH_ROWS]

Seconds are processor time, so that a busy machine changes them little; compare ratios between machines.
"""

import random
import shutil
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import process_time

import pandas as pd

from casting_econ.study import read_study

DEMO = Path(__file__).resolve().parents[2] / "data" / "kelpmoor-handles"
STEPS = ("pour", "pot", "demould", "flat-lap", "sand", "polish")


def write(folder, sheets, batches, ugly):
    """Logs of an invented busy workshop: clean, or with semicolons, decimal commas, units and times."""
    rng, sep = random.Random(20), ";" if ugly else ","

    def date(i):
        day = pd.Timestamp("2015-01-01") + pd.Timedelta(days=i % 3900)
        return f"{day:%d.%m.%Y}" if ugly else f"{day:%Y-%m-%d}"

    def number(figure):
        return str(figure).replace(".", ",") if ugly else str(figure)

    def minutes(figure):
        hours = rng.random() < 0.2
        return f"{int(figure) // 60}:{int(figure) % 60:02}" if ugly and hours else number(figure)

    lines = [sep.join(("date", "step", "minutes", "product", "pieces_handled"))]
    lines += [
        sep.join((date(i), rng.choice(STEPS), minutes(round(rng.uniform(1, 90), 1)), "knob", str(rng.randint(1, 14))))
        for i in range(sheets)
    ]
    (folder / "timesheet.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    lines = [sep.join(("batch", "date", "product", "casts", "good", "mixed_mass_g", "cure_h"))]
    lines += [
        sep.join(
            (
                f"K{i}",
                date(i),
                "knob",
                "14",
                str(rng.randint(9, 14)),
                str(rng.randint(300, 400)),
                number(rng.randint(150, 300) / 10),
            )
        )
        for i in range(batches)
    ]
    (folder / "batches.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def seconds(act):
    """Processor seconds of the fastest of three."""
    found = []
    for _ in range(3):
        begun = process_time()
        act()
        found.append(process_time() - begun)
    return min(found)


def report(sheets, batches, ugly):
    """Print one line a measure."""
    with TemporaryDirectory() as name:
        study = Path(name)
        shutil.copyfile(DEMO / "study.toml", study / "study.toml")
        (study / "records").mkdir()
        write(study / "records", sheets, batches, ugly)
        files = sorted((study / "records").glob("*.csv"))
        bare = seconds(lambda: [pd.read_csv(file, sep=";" if ugly else ",") for file in files])
        alone = seconds(lambda: read_study(study, with_records=False))
        whole = seconds(lambda: read_study(study))
    print(f"{'ugly' if ugly else 'clean'}: {sheets:,} timesheet rows and {batches:,} batches")
    print(f"  pandas.read_csv          {bare:7.3f} s   1.0")
    print(f"  reading and every check  {whole - alone:7.3f} s   {(whole - alone) / bare:.1f} x pandas.read_csv")


if __name__ == "__main__":
    sizes = [int(size) for size in sys.argv[1:3]] or [100_000, 10_000]
    for kind in (False, True):
        report(*sizes, ugly=kind)
