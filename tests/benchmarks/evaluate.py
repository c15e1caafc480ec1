"""Time a million draws of a whole study against plain random numbers and against a loop, in one run.

    python tests/benchmarks/evaluate.py [STUDY] [DRAWS]

Seconds are processor time, so that a busy machine changes them little; compare ratios between machines.
"""

import sys
from pathlib import Path
from time import process_time

import numpy as np

from casting_econ.assumptions import assume, draw_values, workshop_at
from casting_econ.models import evaluate
from casting_econ.running import keep_memory
from casting_econ.study import read_study

STUDY = Path(__file__).resolve().parents[2] / "data" / "kelpmoor-handles"
CHUNK, LOOP, SEED = 8_192, 300, 20


def chunks(draws):
    """Rows of each chunk."""
    return [(start, min(start + CHUNK, draws)) for start in range(0, draws, CHUNK)]


def plain_seconds(draws, numbers):
    """Seconds for as many plain random numbers, in the same chunks."""
    rng, begun = np.random.default_rng(SEED), process_time()
    for start, stop in chunks(draws):
        rng.random((stop - start, numbers))
    return process_time() - begun


def study_seconds(assumed, draws):
    """Seconds for drawing, and for evaluating, all draws."""
    drawing = evaluating = 0.0
    for start, stop in chunks(draws):
        begun = process_time()
        values = draw_values(assumed, draws, SEED, start, stop)
        drawn = process_time()
        evaluate(workshop_at(assumed.study, values))
        drawing, evaluating = drawing + drawn - begun, evaluating + process_time() - drawn
    return drawing, evaluating


def loop_seconds(assumed, draws):
    """Seconds that a loop over single draws would take, from some of them."""
    values = draw_values(assumed, draws, SEED, 0, LOOP)
    rows = [{key: float(v[i]) if np.ndim(v) else v for key, v in values.items()} for i in range(LOOP)]
    begun = process_time()
    for row in rows:
        evaluate(workshop_at(assumed.study, row))
    return (process_time() - begun) / LOOP * draws


def report(folder, draws, with_records):
    """Print one line a measure for one study."""
    assumed = assume(read_study(folder, with_records=with_records))
    numbers = len(assumed.uncertain)
    study_seconds(assumed, CHUNK)  # warm
    plain = min(plain_seconds(draws, numbers) for _ in range(3))
    drawing, evaluating = study_seconds(assumed, draws)
    loop = loop_seconds(assumed, draws)
    print(f"{folder.name}, {'with' if with_records else 'without'} records: {draws:,} draws of {numbers} uncertain numbers")
    print(f"  plain random numbers   {plain:8.3f} s   1.0")
    print(f"  drawing                {drawing:8.3f} s   {drawing / plain:.1f} x plain")
    print(f"  evaluating             {evaluating:8.3f} s   {evaluating / plain:.1f} x plain")
    print(f"  both                   {drawing + evaluating:8.3f} s   {(drawing + evaluating) / plain:.1f} x plain")
    print(f"  loop over single draws {loop:8.0f} s   {loop / evaluating:,.0f} x evaluating at once")


if __name__ == "__main__":
    keep_memory()  # as commands do
    chosen = Path(sys.argv[1]) if len(sys.argv) > 1 else STUDY
    for records in (False, True):
        report(chosen, int(sys.argv[2]) if len(sys.argv) > 2 else 1_000_000, records)
