"""Time twelve months, drawn order by order, against the year in one piece: at most four times as much is aimed at.

    python tests/benchmarks/months.py [DRAWS]

Two studies: Kelpmoor, whose pot cures slower in cold months, and an invented one of three products, each with moulds of its own, that
share pots and a rack. A time
is of drawing and of working out every year; each repetition has draws of its own, so that nothing is remembered. Seconds are
processor time, so that a busy machine changes them little; compare ratios between machines.
"""

import os
import re
import shutil
import sys
import tempfile
from itertools import product
from pathlib import Path
from time import process_time

from casting_econ.kit import open_study

KELPMOOR = Path(__file__).resolve().parents[2] / "data" / "kelpmoor-handles"
THREE = """
[study]
variation = "months"
name = "Three"
question = "Invented, to be timed."
craft = "epoxy"
currency = "EUR"
invented = true
[time]
weeks = "46 week/year"
hours = { low = "24 h/week", likely = "30 h/week", high = "34 h/week" }
fixed_hours = "4 h/week"
[calendar]
monday = "09:00-17:00"
wednesday = "09:00-17:00"
friday = "09:00-13:00"
[target]
per_hour = "15 EUR/h"
full_week = "37.5 h/week"
[spread]
demand = "25 %"
minutes = "15 %"
pass_odds = "30 %"
[stations.pot]
count = 2
[racks.shelf]
places = 300
"""
PRODUCT = """
[products.NAME]
casts_per_load = 12
[products.NAME.steps.pour]
minutes = "1.5 min"
load_minutes = { low = "15 min", likely = "20 min", high = "40 min" }
wait = { low = "14 h", likely = "18 h", high = "30 h" }
wait_in = "pot"
pass_share = "92 %"
[products.NAME.steps.sand]
minutes = "6 min"
pass_share = "96 %"
[products.NAME.steps.dry]
wait = "96 h"
wait_in = "shelf"
[products.NAME.mould]
life = { low = 18, likely = 28, high = 45 }
minutes = "40 min"
materials.silicone = { quantity = "300 g", price = "24 EUR/kg" }
[channels.NAME]
product = "NAME"
orders = "110 order/year"
pieces_per_order = 6
price = "90 EUR"
minutes_per_order = "20 min"
clustering = 0.4
size_spread = 0.5
"""
REPEATS = 15


def studies(folder):
    """Folders of both studies, by name and variation."""
    found = {}
    products = "".join(PRODUCT.replace("NAME", name) for name in ("bowl", "tile", "bead"))
    texts = {"Kelpmoor": (KELPMOOR / "study.toml").read_text(encoding="utf-8"), "three products": THREE + products}
    for (name, text), variation in product(texts.items(), ("rates", "months")):
        study = folder / f"{name}-{variation}"
        study.mkdir()
        if name == "Kelpmoor":
            shutil.copytree(KELPMOOR / "records", study / "records")
        text = re.sub(r'^variation = "\w+"', f'variation = "{variation}"', text, count=1, flags=re.MULTILINE)
        (study / "study.toml").write_text(text, encoding="utf-8")
        found[name, variation] = study
    return found


def seconds(folder, draws, seeds):
    """Processor time of the years drawn, each with a seed of its own; the least of a few repetitions."""
    kit, times = open_study(folder), []
    for seed in seeds:
        kit.monte_carlo(128, 1_000 + seed)  # warm
        begun = process_time()
        kit.monte_carlo(draws, seed)
        times.append(process_time() - begun)
    return min(times)


if __name__ == "__main__":
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 8_192
    with tempfile.TemporaryDirectory() as folder:
        found = {}
        for at, (key, study) in enumerate(studies(Path(folder)).items()):
            found[key] = seconds(study, draws, range(at * REPEATS, (at + 1) * REPEATS))
    for name in dict.fromkeys(name for name, _ in found):
        once, months = found[name, "rates"], found[name, "months"]
        load = f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
        print(
            f"{name}, {draws:,} draws: year at once {once:.3f} s, twelve months {months:.3f} s: {months / once:.1f} times   {load}"
        )
