"""Whether recording as much more as the evidence says halves a width: `python tests/calibration/halving.py`."""

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import special

sys.path.insert(0, str(Path(__file__).parent))
from workshops import ALIKE, DAYS_A_MONTH, SCATTER, SCATTER_FACTOR, SHAPE_FACTOR, START, frame, study_of

from casting_econ.evidence import update

TABLE = Path(__file__).with_name("halving.csv")
STEP = "products.tile.steps"
STATED = {
    "study": {"name": "Tile", "currency": "EUR", "invented": True},
    "time": {"weeks": "46 week/year", "hours": "40 h/week", "fixed_hours": "2 h/week"},
    "calendar": {"monday": "09:00-17:00"},
    "target": {"per_hour": "15 EUR/h"},
    "products": {"tile": {"casts_per_load": 8}},
    "channels": {"shop": {"product": "tile", "orders": "120 orders/year", "pieces_per_order": 1, "price": "12 EUR"}},
}


def _tile(steps, mould=None, **shop):
    """A study of tiles with these steps, moulds and figures of the shop."""
    product = {"casts_per_load": 8, "steps": steps} | ({"mould": mould} if mould else {})
    return STATED | {"products": {"tile": product}, "channels": {"shop": STATED["channels"]["shop"] | shop}}


def _day(at):
    return START + pd.Timedelta(days=int(at))


class Yield:
    """A pass share from loads of eight."""

    key, start = f"{STEP}.trim.pass_share", 8  # loads
    stated = _tile({"trim": {"pass_share": {"value": 0.8, "from": "records", "worth": "20 pieces"}}})

    def __init__(self, rng):
        alike = rng.beta(*ALIKE)
        strength, share = (1 - alike) / alike, rng.beta(16, 4)
        self.good = rng.binomial(8, rng.beta(share * strength, (1 - share) * strength, 4000))

    def logs(self, loads):
        loads = min(round(loads), self.good.size)
        rows = [
            {"batch": f"T{at}", "date": _day(at), "product": "tile", "casts": 8, "good": int(self.good[at])}
            for at in range(loads)
        ]
        return {"batches": rows}

    def further(self, amount, more):
        return (amount + more) / 8


class Minutes:
    """Minutes a piece from rows of sixteen."""

    key, start = f"{STEP}.trim.minutes", 8  # rows
    stated = _tile({"trim": {"minutes": {"value": "2 min", "from": "records", "worth": "20 pieces"}}})

    def __init__(self, rng):
        scatter = SCATTER * np.exp(SCATTER_FACTOR * rng.standard_normal())
        mean = 2 * np.exp(SCATTER / np.sqrt(20 / 16) * rng.standard_normal())
        self.minutes = 16 * mean * np.exp(scatter * rng.standard_normal(2000) - scatter**2 / 2)

    def logs(self, rows):
        row = {"step": "trim", "product": "tile", "pieces_handled": 16.0}
        return {
            "timesheet": [row | {"date": _day(at), "minutes": float(one)} for at, one in enumerate(self.minutes[: round(rows)])]
        }

    def further(self, amount, more):
        return amount + more


class LoadMinutes(Minutes):
    """Minutes a load from rows of one load, full or not, that take minutes a piece as well."""

    key, start = f"{STEP}.pour.load_minutes", 10  # rows
    stated = _tile(
        {
            "pour": {
                "minutes": {"value": "1 min", "from": "records", "worth": "32 pieces"},
                "load_minutes": {"value": "15 min", "from": "records", "worth": "4 loads"},
            }
        }
    )

    def __init__(self, rng):
        scatter = SCATTER * np.exp(SCATTER_FACTOR * rng.standard_normal())
        self.pieces = 1.0 + rng.integers(8, size=2000)
        piece, load = np.array([1, 15]) * np.exp(SCATTER / np.sqrt(2) * rng.standard_normal(2))  # worth two rows each
        expected = self.pieces * piece + load
        self.minutes = expected * np.exp(scatter * rng.standard_normal(expected.size) - scatter**2 / 2)

    def logs(self, rows):
        row = {"step": "pour", "product": "tile"}
        return {
            "timesheet": [
                row | {"date": _day(at), "minutes": float(self.minutes[at]), "pieces_handled": self.pieces[at]}
                for at in range(round(rows))
            ]
        }


class Life:
    """Mould life from two places, each with one mould after the other."""

    key, start = "products.tile.mould.life", 3  # moulds worn out
    stated = _tile(
        {"pour": {"minutes": "1 min"}},
        {
            "minutes": "60 min",
            "life": {"value": 30.0, "from": "records", "worth": "2 moulds"},
            "life_shape": {"value": 2.5, "from": "records", "worth": "1 mould"},
        },
    )

    def __init__(self, rng):
        shape = 2.5 * np.exp(SHAPE_FACTOR * rng.standard_normal())
        middle = special.gammainccinv(2, 0.5) * (30 / special.gamma(1 + 1 / shape)) ** shape
        self.lives = (middle / rng.gamma(2)) ** (1 / shape) * rng.weibull(shape, (2, 200))
        self.ends = np.cumsum(np.ceil(self.lives), axis=1)

    def logs(self, worn):
        last = np.sort(self.ends.ravel())[round(worn) - 1]  # the load at which the last of them wears out
        moulds, named = [], [[] for _ in range(int(last))]
        for place in range(2):
            for at, (end, life) in enumerate(zip(self.ends[place], self.lives[place], strict=True)):
                begin = self.ends[place, at - 1] if at else 0
                row = {"mould": f"M{place}{at}", "product": "tile", "cavities": 4, "made": _day(begin)}
                if end <= last:
                    row |= {"retired": _day(end), "casts_at_retirement": max(round(life), 1)}
                if begin < last:
                    moulds.append(row)
                    for load in named[int(begin) : int(end)]:
                        load.append(row["mould"])
        rows = [
            {"batch": f"T{at}", "date": _day(at), "product": "tile", "moulds": ";".join(one), "casts": 8, "good": 8}
            for at, one in enumerate(named)
        ]
        return {"batches": rows, "moulds": moulds}

    def further(self, amount, more):
        return amount + more


class Orders:
    """Orders a year from three months of sales."""

    key, start = "channels.shop.orders", 3.0  # months
    stated = _tile({"pour": {"minutes": "1 min"}}, orders={"value": "60 orders/year", "from": "records", "worth": "3 months"})

    def __init__(self, rng):
        rate = rng.gamma(5 * 3) / 3
        self.months = np.cumsum(rng.exponential(1 / rate, 4000))

    def logs(self, months):
        row = {"channel": "shop", "product": "tile", "pieces": 1, "price": 12.0, "kind": "sale"}
        return {"sales": [row | {"date": _day(when * DAYS_A_MONTH)} for when in self.months if when < months]}

    def further(self, amount, more):
        return self.start + more


KINDS = {
    "pass share by load": Yield,
    "minutes a piece": Minutes,
    "minutes a load": LoadMinutes,
    "mould life": Life,
    "orders a year": Orders,
}


def ratios(kind, trials, seed):
    """Width of the middle eight in ten after as much more recording as the evidence asks for, over the width before."""
    found = []
    for at in range(trials):
        made = KINDS[kind](np.random.default_rng((seed, at)))
        before = _learnt(made, made.start)
        after = _learnt(made, made.further(before.amount, before.more_to_halve))
        found.append(_width(after) / _width(before))
    return np.array(found)


def _learnt(made, amount):
    records = {name: frame(name, rows) for name, rows in made.logs(amount).items()}
    return update(study_of(made.stated, records))[made.key]


def _width(found):
    return float(np.diff(found.posterior.quantile(np.array([0.1, 0.9])))[0])


def main():
    """Write and print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--trials", type=int, default=500, help="workshops for each kind")
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    rows = []
    for kind in KINDS:
        found = ratios(kind, given.trials, given.seed)
        middle, low, high = found.mean(), *np.quantile(found, [0.1, 0.9])
        rows.append(
            {"kind": kind, "workshops": found.size, "ratio": middle, "se": found.std(ddof=1) / np.sqrt(found.size)}
            | {"low": low, "high": high}
        )
    table = pd.DataFrame(rows)
    print(table.round(3).to_string(index=False))
    table.round(5).to_csv(TABLE, index=False)


if __name__ == "__main__":
    main()
