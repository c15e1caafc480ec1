"""How processor time and memory grow: ten times the draws, rows of the logs, products and points of a sweep: python tests/benchmarks/growth.py.

Each is a ratio within one run, at most 11 where growth is linear; draws are powers of two, so that of eight times as many is scaled to ten.
Memory is the peak of what one chunk after another takes, results left aside. `--no-sweep` leaves out the points, which take longest.
"""

import os
import sys
import tomllib
import tracemalloc
from pathlib import Path
from tempfile import TemporaryDirectory
from time import process_time

import tomlkit
from evaluate import STUDY, study_seconds
from reading import write
from run import COMMAND, seconds

from casting_econ.assumptions import assume
from casting_econ.evidence.labour import learning_table
from casting_econ.kit import open_study
from casting_econ.study import read_study


def of_draws(count):
    """Seconds of drawing and evaluating eight hundredths of so many thousand draws, and the peak of memory. [s], [byte]"""
    assumed = assume(read_study(STUDY))
    study_seconds(assumed, 1 << 13)  # warm
    taken = sum(study_seconds(assumed, count))
    tracemalloc.start()
    study_seconds(assumed, count)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return taken, peak


def of_rows(folder, count):
    """Seconds of reading logs of so many rows, of every check, and of what they say. [s]"""
    (folder / "records").mkdir(parents=True)
    (folder / "study.toml").write_bytes((STUDY / "study.toml").read_bytes())
    write(folder / "records", count, count // 10, ugly=False)
    begun = process_time()
    learning_table(open_study(folder).study)
    return process_time() - begun


def of_products(folder, count):
    """Seconds of opening a study of so many products, each with the channels of the first, and of a year drawn. [s]"""
    raw = tomllib.loads((STUDY / "study.toml").read_text(encoding="utf-8"))
    (first, product), channels = next(iter(raw["products"].items())), raw["channels"]
    names = [first] + [f"{first}-{n}" for n in range(1, count)]
    raw["products"] = dict.fromkeys(names, product)
    # as many orders in all, so that the same hands have the same to do
    raw["channels"] |= {
        f"{channel}-{n}": entry | {"product": f"{first}-{n}", "orders": "1 order/year"}
        for n in range(1, count)
        for channel, entry in list(channels.items())
        if not {"stalls", "days"} & set(entry)
    }
    kept = {"study", "calendar", "products", "channels", "stations", "equipment", "overheads", "time", "target", "spread"}
    folder.mkdir()
    (folder / "study.toml").write_text(tomlkit.dumps({k: v for k, v in raw.items() if k in kept}), encoding="utf-8")
    begun = process_time()
    open_study(folder).monte_carlo(2048)
    return process_time() - begun


def of_points(folder, count):
    """Seconds of a sweep of so many points, all processes counted. [s]"""
    words = [*COMMAND[:-1], "sweep", str(STUDY), "--vary", f"channels.online.price=20 EUR..60 EUR/{count}"]
    return seconds([*words, "--draws", "128", "--out", str(folder)])[1]


def told(what, few, many, scale=1.0):
    """Print a ratio with the load of the machine."""
    print(f"10 x the {what}: {scale * many / few:.1f} x the time (load {os.getloadavg()[0]:.1f})", flush=True)


if __name__ == "__main__":
    open_study(STUDY).monte_carlo(2048)  # warm
    (few, low), (many, high) = (of_draws(1 << power) for power in (14, 17))
    told("draws", few, many, 10 / 8)
    print(f"  and 8 x: {high / low:.2f} x the memory of {low / 1e6:.0f} MB")
    with TemporaryDirectory() as place:
        kinds = {"rows of the logs": (of_rows, 5_000), "products": (of_products, 2), "points of a sweep": (of_points, 6)}
        for what, (work, count) in list(kinds.items())[: 2 if "--no-sweep" in sys.argv else 3]:
            few, many = (work(Path(place) / f"{work.__name__}-{size}", size) for size in (count, 10 * count))
            told(what, few, many)
