"""How often the intervals of the evidence hold the truth, over invented workshops: `python tests/calibration/calibrate.py`."""

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import special, stats

sys.path.insert(0, str(Path(__file__).parent))
from workshops import AS_ASSUMED, FEW, MANY, Twist, workshop

from casting_econ.evidence import update

TABLE = Path(__file__).with_name("coverage.csv")
LEVELS = (50, 80, 95)
BINS = 10
OUTSIDE = 2.6  # standard errors; by chance about one figure in a hundred
_SCORES = np.linspace(-6.0, 6.0, 1201)
MINUTES = ("minutes a piece", "minutes a load", "minutes in shared rows")
YIELDS = ("pass share by load", "pass share pooled")
LIVES = ("mould life", "mould life shape")
ORDERS = ("orders a year",)


@dataclass(frozen=True, kw_only=True)
class World:
    """Workshops of one make, and the kinds of number that it is about."""

    name: str
    kinds: tuple[str, ...]
    twist: Twist = AS_ASSUMED
    few_orders: bool = False


WORLDS = (
    World(name="as assumed", kinds=MINUTES + YIELDS + LIVES + ORDERS),
    World(name="as assumed, few orders", kinds=ORDERS, few_orders=True),
    World(name="not assumed: gamma rows", kinds=MINUTES, twist=Twist(noise="gamma")),
    World(name="not assumed: scatter falls with pieces", kinds=MINUTES, twist=Twist(shrinking=True)),
    World(name="not assumed: unnamed rows are of one product", kinds=MINUTES, twist=Twist(unsplit=True)),
    World(name="not assumed: orders come in twos", kinds=ORDERS, twist=Twist(visit=2.0)),
    World(name="not assumed: loads not alike", kinds=YIELDS, twist=Twist(alike=0.0)),
    World(name="not assumed: loads alike, 0.15", kinds=YIELDS, twist=Twist(alike=0.15)),
    World(name="not assumed: guesses 30 % off", kinds=MINUTES + YIELDS + LIVES + ORDERS, twist=Twist(off=0.3)),
)


def rank(spread, truth):
    """Share of a distribution below the truth."""
    values = spread.quantile(special.ndtr(_SCORES))
    return float(special.ndtr(np.interp(truth, values, _SCORES)))


def ranks(world, size, workshops, seed, *, part="posterior", most=20):
    """Ranks of the truths in their posteriors, or in the priors: one row a number, with its workshop and kind.

    Workshops are made until each kind has been seen in so many of them, or `most` times as many are made.
    """
    rows, left = [], dict.fromkeys(world.kinds, workshops)
    for at in range(most * workshops):
        wanted = {kind for kind, many in left.items() if many > 0}
        if not wanted:
            break
        made = workshop((seed, at, size is MANY), size, world.twist, few_orders=world.few_orders)
        asked = {key: made.study.numbers[key] for key, kind in made.kinds.items() if kind in wanted}
        found = update(replace(made.study, numbers=asked))
        for key, one in found.items():
            place = rank(one.posterior if part == "posterior" else one.prior, made.truth[key])
            rows.append({"workshop": at, "kind": made.kinds[key], "rank": place})
        for kind in {made.kinds[key] for key in found}:
            left[kind] -= 1
    return pd.DataFrame(rows)


def narrowed(found, factor=0.5):
    """The same ranks, had every interval been narrower by a factor; a check of coverage has to notice."""
    return found.assign(rank=special.ndtr(special.ndtri(found["rank"]) / factor))


def coverage(found):
    """Coverage of the central intervals by kind, with standard errors by workshop, and the chance of ranks so uneven.

    Notes
    -----
    Numbers of one workshop share data, so sums by workshop are what is independent. The standard error is the larger of the
    sandwich about the nominal coverage and the binomial one, so that a cell in which all is covered still has an error.
    Ranks in ten bins: the quadratic form of the summed bins in their covariance by workshop, against F.
    """
    rows = []
    for kind, mine in found.groupby("kind", sort=False):
        group, of = mine.groupby("workshop"), {"kind": kind}
        counts = group.size().to_numpy(float)
        total, clusters = counts.sum(), len(counts)
        of |= {"workshops": clusters, "numbers": int(total)}
        for level in LEVELS:
            nominal = level / 100
            inside = (mine["rank"] - 0.5).abs() < nominal / 2
            apart = inside.groupby(mine.workshop).sum().to_numpy(float) - nominal * counts
            error = np.sqrt(clusters / (clusters - 1) * np.sum(apart**2)) / total
            of |= {f"cover{level}": inside.mean(), f"se{level}": max(error, np.sqrt(nominal * (1 - nominal) / total))}
        place = np.minimum((mine["rank"] * BINS).astype(int), BINS - 1)
        bins = pd.crosstab(mine.workshop, place).reindex(columns=range(BINS), fill_value=0).to_numpy(float)
        bins = (bins - counts[:, None] / BINS)[:, :-1]
        free = BINS - 1
        squared = bins.sum(axis=0) @ np.linalg.pinv(bins.T @ bins) @ bins.sum(axis=0)
        of["uniform_p"] = stats.f.sf(squared * (clusters - free) / (free * (clusters - 1)), free, clusters - free)
        rows.append(of)
    return pd.DataFrame(rows)


def outside(table, errors=OUTSIDE):
    """Cells whose coverage is further from the nominal than so many standard errors, in words."""
    return [
        f"{row['kind']}, {row['size']} records, {row.world}: {level} % intervals hold {row[f'cover{level}']:.3f} ± {row[f'se{level}']:.3f}"
        for _, row in table.iterrows()
        for level in LEVELS
        if abs(row[f"cover{level}"] - level / 100) > errors * row[f"se{level}"]
    ]


def calibrate(worlds, workshops, seed, sizes=(FEW, MANY)):
    """Coverage of every kind in every world and size; worlds that are not as assumed get a fifth of the workshops."""
    parts = []
    for world in worlds:
        for size in sizes:
            wanted = workshops if world.name.startswith("as assumed") else max(workshops // 5, 20)
            part = coverage(ranks(world, size, wanted, seed))
            part.insert(0, "world", world.name)
            part.insert(2, "size", size.name)
            parts.append(part)
    return pd.concat(parts, ignore_index=True)


def main():
    """Write and print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--workshops", type=int, default=500, help="workshops in each world and size")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--worlds", default="", help="only worlds whose name has this in it; writes no table")
    given = asked.parse_args()
    worlds = [world for world in WORLDS if given.worlds in world.name]
    table = calibrate(worlds, given.workshops, given.seed)
    print(table.round(3).to_string(index=False))
    assumed = table[table.world.str.startswith("as assumed")]
    cells = len(assumed) * len(LEVELS)
    print(
        f"\nBeyond {OUTSIDE} standard errors where all is as assumed; by chance {2 * stats.norm.sf(OUTSIDE) * cells:.1f} of {cells}:"
    )
    print("\n".join(outside(assumed)) or "none")
    if not given.worlds:
        table.round(5).to_csv(TABLE, index=False)


if __name__ == "__main__":
    main()
