"""Invented workshops whose truth is known, drawn from the priors that the evidence assumes about its stated guesses.

A workshop is made in three steps: what is stated and how it is recorded (`_Design`), the truth about the stated figures, and
the logs that a year with that truth leaves. Nothing here calls the evidence code.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import special
from scipy.sparse.csgraph import connected_components

from casting_econ.ledger.logs import LOGS
from casting_econ.study import Study
from casting_econ.study.scenarios import numbers_of
from casting_econ.study.schema import StudyFile

STEPS = ("pour", "trim", "sand", "coat", "check")
PRODUCTS = ("tile", "hook")
CHANNELS = ("shop", "fair", "post")
START = pd.Timestamp("2025-01-06")
DAYS_A_MONTH = 365.2425 / 12
SCATTER, SCATTER_FACTOR, SHAPE_FACTOR, ALIKE = 0.30, 0.50, 0.30, (1.0, 19.0)  # the priors, written out a second time
BUNCHED = (
    0.3,
    1.0,
    0.5,
)  # orders of a month beyond a Poisson's: median of the dispersion, its log standard deviation, chance of none


@dataclass(frozen=True, kw_only=True)
class Size:
    """How much a workshop has recorded."""

    name: str
    casts: int  # poured of each product
    moulds: int  # about so many in the log, of each product
    rows: int  # of timesheet, for each product
    months: float  # of sales


FEW = Size(name="few", casts=20, moulds=3, rows=6, months=2.0)
MANY = Size(name="many", casts=330, moulds=12, rows=45, months=12.0)


@dataclass(frozen=True, kw_only=True)
class Twist:
    """Where a workshop is not as the evidence assumes; the default is as assumed."""

    noise: str = "log-normal"  # of timesheet rows, or "gamma" with the same coefficient of variation
    shrinking: bool = False  # whether the scatter of a row falls with the root of its pieces
    alike: float | None = None  # correlation within a load, the same for all; None draws it
    visit: float = 1.0  # orders that come together, on average
    off: float = 0.0  # share by which the stated figures miss the middle of the truths, either way
    unsplit: bool = False  # whether a row that names no product was all of one of them


AS_ASSUMED = Twist()


@dataclass(frozen=True, kw_only=True)
class Workshop:
    """A study with its logs, and the truth about its numbers."""

    study: Study
    stated: dict  # contents of the study file
    truth: dict[str, float]  # by dotted key
    kinds: dict[str, str] = field(default_factory=dict)  # by dotted key, what kind of number it is


def workshop(seed, size, twist=AS_ASSUMED, *, few_orders=False, mixed=True) -> Workshop:
    """One random workshop.

    Parameters
    ----------
    seed : int or sequence of int
        The same seed gives the same workshop.
    size : Size
    twist : Twist, optional
    few_orders : bool, optional
        Whether channels sell an order in some months only.
    mixed : bool, optional
        Whether rows of the timesheet may name two steps.

    Returns
    -------
    Workshop
    """
    rng = np.random.default_rng(seed)
    stated = _stated(rng, size, few_orders)
    truth, kinds = {}, {}
    batches, faults = _pour(rng, size, twist, stated, truth, kinds)
    moulds = _wear(rng, twist, stated, batches, truth, kinds)
    sheet = _bench(rng, size, twist, stated, batches, truth, kinds, mixed)
    # the logs are kept to the end of the months or of the work, whether or not anything is sold by then
    days = max(int(size.months * DAYS_A_MONTH), *((row["date"] - START).days for row in (*batches, *faults, *sheet)))
    sheet.append({"date": START + pd.Timedelta(days=days), "step": "pour", "minutes": 5.0})
    sales = _sell(rng, days + 1, twist, stated, truth, kinds)
    logs = {"batches": batches, "faults": faults, "moulds": moulds, "timesheet": sheet, "sales": sales}
    records = {name: frame(name, rows) for name, rows in sorted(logs.items()) if rows}
    return Workshop(study=study_of(stated, records), stated=stated, truth=truth, kinds=kinds)


def study_of(stated, records) -> Study:
    """A study as the reader gives it, without files."""
    file = StudyFile.model_validate(stated, context={"currency": stated["study"]["currency"]})
    return Study(folder=Path(), file=file, numbers=dict(numbers_of(file, ())), windows=((9.0, 17.0),), records=records)


def frame(log, rows):
    """Rows as the typed frame that the reader makes of a log; index: lines of the file."""
    made = pd.DataFrame(index=range(2, len(rows) + 2))
    for name, (kind, _) in LOGS[log].items():
        cells = [row.get(name) for row in rows]
        if kind == "date":
            made[name] = pd.Series(pd.to_datetime(cells), index=made.index, dtype="datetime64[ns]")
        elif kind in ("text", "id", "free") or isinstance(kind, tuple):
            made[name] = pd.Series(cells, index=made.index, dtype=object)
        else:
            whole = all(isinstance(cell, int) for cell in cells)
            made[name] = pd.Series(cells, index=made.index, dtype="int64" if whole else float)
    return made


def write(made: Workshop, folder: Path) -> None:
    """The study folder of a workshop, to be read by the reader."""
    (folder / "records").mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text("\n".join(_toml(made.stated)) + "\n", encoding="utf-8")
    for name, log in made.study.records.items():
        log.to_csv(folder / "records" / f"{name}.csv", index=False, date_format="%Y-%m-%d")


def _toml(table, path=()):
    """Lines of a table, its figures first; a table with a value is a number with its worth."""
    inner = {key: one for key, one in table.items() if isinstance(one, dict) and "value" not in one}
    lines = [f"[{'.'.join(path)}]"] if path else []
    for key in table.keys() - inner.keys():
        one = table[key]
        parts = ", ".join(f"{name} = {_cell(part)}" for name, part in one.items()) if isinstance(one, dict) else ""
        lines.append(f"{key} = {'{ ' + parts + ' }' if parts else _cell(one)}")
    return lines + [line for key, one in inner.items() for line in _toml(one, (*path, key))]


def _cell(one):
    return f'"{one}"' if isinstance(one, str) else repr(one).lower()


# what is stated


def _asks(value, worth, unit=""):
    """A guess that asks for records."""
    return {"value": f"{value!r} {unit}" if unit else value, "from": "records", "worth": worth}


def read_figure(stated, path):
    """Value and worth of a stated number that asks for records; None where it does not ask."""
    for key in path.split("."):
        stated = stated.get(key, {})
    if not isinstance(stated, dict) or "worth" not in stated:
        return None
    value = stated["value"]
    return float(str(value).split()[0]), float(str(stated["worth"]).split()[0])


def _between(rng, low, high, digits=2):
    """A figure as people state it, even in its logarithm."""
    return float(f"{np.exp(rng.uniform(np.log(low), np.log(high))):.{digits}g}")


def _stated(rng, size, few_orders):
    names = PRODUCTS[: rng.integers(1, 3)]
    products = {name: _product(rng, size) for name in names}
    channels = {}
    for at, name in enumerate(CHANNELS[: rng.integers(len(names), 4)]):
        orders = _between(rng, 5, 24) if few_orders else _between(rng, 30, 240)
        channels[name] = {
            "product": names[at % len(names)],
            "orders": _asks(orders, f"{int(rng.integers(1, 7))} months", "orders/year"),
            "pieces_per_order": 1,
            "price": "12 EUR",
        }
    return {
        "study": {"name": "Made up", "currency": "EUR", "invented": True},
        "time": {"weeks": "46 week/year", "hours": "40 h/week", "fixed_hours": "2 h/week"},
        "calendar": {"monday": "09:00-17:00"},
        "target": {"per_hour": "15 EUR/h"},
        "products": products,
        "channels": channels,
    }


def _product(rng, size):
    slots, cavities = int(rng.integers(2, 4)), int(rng.integers(1, 3))
    loads = size.casts / (slots * cavities)
    steps = {}
    for at, name in enumerate(STEPS[: rng.integers(3, 6)]):
        entry = steps[name] = {}
        kind = rng.choice(["both", "load"]) if at == 0 else rng.choice(["piece", "both", "known"], p=[0.6, 0.25, 0.15])
        minutes = f"{_between(rng, 0.5, 4)!r} min"
        if kind in ("both", "piece"):
            minutes = _asks(float(minutes.split()[0]), f"{int(rng.integers(5, 41))} pieces", "min")
        if kind != "load":
            entry["minutes"] = minutes
        if kind in ("both", "load"):
            entry["load_minutes"] = _asks(_between(rng, 5, 25), f"{int(rng.integers(1, 6))} loads", "min")
        if at == 1 or (at > 1 and rng.random() < 0.6):
            entry["pass_share"] = _asks(round(float(rng.uniform(0.7, 0.97)), 2), f"{int(rng.integers(5, 31))} pieces")
    steps["pour"]["wait"] = "12 h"
    life = _between(rng, 8, 30) if size.moulds < 6 else loads * slots / size.moulds * _between(rng, 0.7, 1.4)
    mould = {
        "minutes": "60 min",
        "life": _asks(round(float(life), 1), f"{int(rng.integers(1, 5))} moulds"),
        "life_shape": _asks(_between(rng, 1.5, 4), "1 mould"),
        "sets": 1,
    }
    if rng.random() < 0.2:  # moulds replaced by plan, worn or not
        mould["replace_at"] = max(round(1.2 * float(life)), 4)
    return {"casts_per_load": slots * cavities, "steps": steps, "mould": mould | {"cavities": cavities, "slots": slots}}


def _centre(rng, value, twist):
    """Middle of the truths about a stated figure."""
    return value * (1 + twist.off) ** rng.choice([-1, 1]) if twist.off else value


# what happens


def _pour(rng, size, twist, stated, truth, kinds):
    """Batches and faults; losses of the first check need not be in the faults."""
    batches, faults, alone = [], [], len(stated["products"]) == 1
    by_batch, told = rng.choice([1.0, 0.0, 0.5], p=[0.6, 0.25, 0.15]), rng.choice([1.0, 0.6], p=[0.7, 0.3])
    for name, product in stated["products"].items():
        slots, cavities = product["mould"].pop("slots"), product["mould"].pop("cavities")
        checks = [(step, read_figure(product, f"steps.{step}.pass_share")) for step in product["steps"]]
        passing = {}
        for step, (share, worth) in [(step, one) for step, one in checks if one]:
            key = f"products.{name}.steps.{step}.pass_share"
            middle = share if not twist.off else 1 - (1 - share) * (1 + twist.off * rng.choice([-1, 1]))
            alike = rng.beta(*ALIKE) if twist.alike is None else twist.alike
            truth[key] = rng.beta(middle * worth, (1 - middle) * worth)
            kinds[key] = "pass share by load" if by_batch == 1.0 else "pass share pooled"
            passing[step] = (truth[key], alike)
        day, poured = START, 0
        while poured < size.casts:
            used = [True] * slots if rng.random() < 0.8 else list(rng.permutation(slots) > 0)  # a load may leave one out
            casts = int(sum(used)) * cavities
            good, batch = casts, f"{name[0].upper()}{len(batches) + 1}"
            for at, (step, (share, alike)) in enumerate(passing.items()):
                if alike > 0:
                    strength = (1 - alike) / alike
                    share = rng.beta(max(share * strength, 1e-12), max((1 - share) * strength, 1e-12))
                lost = good - int(rng.binomial(good, share))
                good -= lost
                if lost and (at > 0 or rng.random() < told):
                    split = int(rng.integers(0, lost + 1)) if rng.random() < 0.3 else 0
                    named = batch if rng.random() < by_batch else None
                    for pieces, fate in ((lost - split, "scrap"), (split, "second")):
                        row = {"date": day + pd.Timedelta(days=2), "batch": named, "step": step, "cause": "air", "fate": fate}
                        row["product"] = None if named or (alone and rng.random() < 0.5) else name
                        if pieces:
                            faults.append(row | {"pieces": pieces})
            row = {"batch": batch, "date": day, "product": name, "casts": casts, "good": good}
            batches.append(row | {"used": used, "mould": None})
            poured, day = poured + casts, day + pd.Timedelta(days=int(rng.integers(1, 6)))
    return batches, faults


def _wear(rng, twist, stated, batches, truth, kinds):
    """Moulds that wear out or are replaced, each in its place; the last of a place is still in use."""
    moulds = []
    for name, product in stated["products"].items():
        at = f"products.{name}.mould"
        life, worth = read_figure(product, "mould.life")
        said, _ = read_figure(product, "mould.life_shape")
        plan = product["mould"].get("replace_at", np.inf)
        shape = said * np.exp(SHAPE_FACTOR * rng.standard_normal())
        middle = special.gammainccinv(worth, 0.5) * (_centre(rng, life, twist) / special.gamma(1 + 1 / shape)) ** shape
        scale = (middle / rng.gamma(worth)) ** (1 / shape)
        truth[f"{at}.life"], truth[f"{at}.life_shape"] = scale * special.gamma(1 + 1 / shape), shape
        kinds[f"{at}.life"], kinds[f"{at}.life_shape"] = "mould life", "mould life shape"
        mine = [row for row in batches if row["product"] == name]
        for row in mine:
            row["moulds"] = []
        for place in range(len(mine[0]["used"])):
            mould, made, age, wears = None, START, 0, 0.0
            for row in (row for row in mine if row["used"][place]):
                if mould is None:
                    mould, made, age = f"{name}{len(moulds) + 1}", row["date"], 0
                    wears = scale * rng.weibull(shape)
                    moulds.append({"mould": mould, "product": name, "cavities": 1, "made": made})
                row["moulds"].append(mould)
                age += 1
                if wears <= age or age >= plan:
                    worn = max(round(wears), 1) if wears <= age else age
                    worn = int(min(worn, plan - 1)) if wears <= age and np.isfinite(plan) else int(worn)
                    moulds[-1] |= {"retired": row["date"], "casts_at_retirement": worn}
                    mould = None
    for row in batches:
        row["moulds"] = ";".join(row["moulds"]) or None
    return moulds


def _bench(rng, size, twist, stated, batches, truth, kinds, mixed):
    """Timesheet rows of one to three loads; minutes by piece and by load share what a row took."""
    products, drafts = stated["products"], []
    mixed, forgetful = mixed and rng.random() < 0.5, rng.random() < 0.5  # habits of a workshop, not of a row
    poured = {name: sum(row["casts"] for row in batches if row["product"] == name) for name in products}
    for name, product in products.items():
        steps = list(product["steps"])
        for _ in range(size.rows):
            named = [steps[at] for at in np.sort(rng.permutation(len(steps))[: 2 if mixed and rng.random() < 0.25 else 1])]
            loads, least = int(rng.integers(1, 4)), int(rng.random() < 0.3)
            pieces = max(loads * product["casts_per_load"] - least, 1)
            both = len(products) > 1 and all(step in one["steps"] for step in named for one in products.values())
            blank = both and forgetful and rng.random() < 0.15
            owners = {name: 1.0} if not blank else {one: poured[one] / sum(poured.values()) for one in products}
            drafts.append((name, named, pieces, owners, rng.random() < 0.1, blank))
    keys = [
        f"products.{name}.steps.{step}.{part}"
        for name, product in products.items()
        for step in product["steps"]
        for part in ("minutes", "load_minutes")
        if read_figure(product, f"steps.{step}.{part}")
    ]
    told = np.zeros((len(drafts), len(keys)))  # as the study has to take a row
    done, fixed = np.zeros_like(told), np.zeros(len(drafts))  # and as it was
    several = np.array([len(named) * len(owners) > 1 for _, named, _, owners, _, _ in drafts])
    counted = np.array([not uncounted for *_, uncounted, _ in drafts])
    for line, (name, named, pieces, owners, _, _) in enumerate(drafts):
        for step in named:
            fixed[line] += _row_units(products, keys, step, pieces, owners, told[line])
            _row_units(products, keys, step, pieces, {name: 1.0} if twist.unsplit else owners, done[line])
    linked = (told[counted] > 0).astype(int)
    _, groups = connected_components(linked.T @ linked)
    scatter = {one: SCATTER * np.exp(SCATTER_FACTOR * rng.standard_normal()) for one in np.unique(groups)}
    means = np.zeros(len(keys))
    for at, key in enumerate(keys):
        value, worth = read_figure(products, key.removeprefix("products."))
        mine = told[counted, at]
        if not (mine > 0).any():
            means[at] = value
            continue
        worth /= mine[mine > 0].mean()  # pieces or loads, in rows
        log_mean = np.log(_centre(rng, value, twist)) + SCATTER / np.sqrt(worth) * rng.standard_normal()
        means[at] = truth[key] = float(np.exp(log_mean))
        shared = several[counted] & (told[counted][:, groups == groups[at]] > 0).any(axis=1)
        alone = "minutes a load" if key.endswith("load_minutes") else "minutes a piece"
        kinds[key] = "minutes in shared rows" if shared.any() else alone
    rows, usual = [], np.mean([pieces for _, _, pieces, *_ in drafts])
    for line, (name, named, pieces, _, uncounted, blank) in enumerate(drafts):
        seen = np.flatnonzero(told[line])
        spread = scatter[groups[seen[0]]] if seen.size else SCATTER
        if twist.shrinking:
            spread *= np.sqrt(usual / pieces)
        expected = fixed[line] + done[line] @ means
        if expected <= 0:
            continue
        if twist.noise == "gamma":
            bumps = 1 / np.expm1(spread**2)
            factor = rng.gamma(bumps) / bumps
        else:
            factor = np.exp(spread * rng.standard_normal() - spread**2 / 2)
        row = {"date": START + pd.Timedelta(days=line), "step": " + ".join(named), "minutes": float(expected * factor)}
        rows.append(row | {"product": None if blank else name, "pieces_handled": None if uncounted else float(pieces)})
    return rows


def _row_units(products, keys, step, pieces, owners, units):
    """Add pieces and loads of one step to the units of a row; the minutes of parts that do not ask."""
    known = 0.0
    for name, weight in owners.items():
        share, entry = pieces * weight, products[name]["steps"][step]
        loads = max(round(share / products[name]["casts_per_load"]), 1)
        for part, amount in (("minutes", share), ("load_minutes", loads)):
            key = f"products.{name}.steps.{step}.{part}"
            if key in keys:
                units[keys.index(key)] += amount
            elif part in entry:
                known += float(entry[part].split()[0]) * amount
    return known


def _sell(rng, days, twist, stated, truth, kinds):
    """Orders of each channel at any time of the days that the logs are kept."""
    sales = []
    for name, channel in stated["channels"].items():
        value, worth = read_figure(channel, "orders")
        stated_rate = value / 12
        bunched = 0.0 if rng.random() < BUNCHED[2] else BUNCHED[0] * np.exp(BUNCHED[1] * rng.standard_normal())
        if twist.visit > 1:  # what visits of a geometric number of orders make of it
            bunched = 2 * (twist.visit - 1) / stated_rate
        sure = 1 + bunched * stated_rate  # a guess is worth months like these
        rate = rng.gamma(stated_rate * worth / sure) * sure / worth
        if twist.off:
            rate *= _centre(rng, 1.0, twist)
        truth[f"channels.{name}.orders"], kinds[f"channels.{name}.orders"] = rate * 12, "orders a year"
        whens = []
        for month in pd.period_range(START, START + pd.Timedelta(days=days - 1), freq="M"):
            first, last = (max((month.start_time - START).days, 0), min((month.end_time - START).days + 1, days))
            mean = rate * (last - first) / DAYS_A_MONTH
            if twist.visit > 1:
                visits = rng.uniform(first, last, rng.poisson(mean / twist.visit))
                whens += list(np.repeat(visits, rng.geometric(1 / twist.visit, visits.size)))
            else:
                often = rng.gamma(1 / bunched) * bunched if bunched else 1.0
                whens += list(rng.uniform(first, last, rng.poisson(often * mean)))
        for when in whens:
            day = START + pd.Timedelta(days=int(when))
            row = {"date": day, "channel": name, "product": channel["product"], "pieces": 1, "price": 12.0}
            sales.append(row | {"order": None if rng.random() < 0.5 else f"O{len(sales) + 1}", "kind": "sale"})
            if rng.random() < 0.05:
                sales.append(row | {"order": None, "kind": "gift"})
    return sorted(sales, key=lambda row: row["date"])
