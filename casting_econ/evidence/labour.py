"""Timesheet to minutes: rows that mix products and steps, learning, and what does not add up."""

from dataclasses import replace
from functools import cache, lru_cache
from itertools import compress

import numpy as np
import pandas as pd
from scipy.sparse.csgraph import connected_components

from ..faults import counted
from ..ledger.logs import days_of
from ..study import Study
from ..study.records import MOULD, ONE_OFF, steps_of
from .finding import BEYOND, Finding, prior_weight_of
from .learning import fit_learning
from .loads import usual_load
from .posteriors import PRIOR_SPREAD, contradicts
from .rows import rows_posterior, rows_prior

KINDS_OF_STEPS = ("at the bench", "mould making", "orders and stalls", "weekly tasks", "one-off work", "other")


def by_day(sheet: pd.DataFrame) -> pd.DataFrame:
    """The timesheet with a row of several days parted evenly over its first so many days; its label stands at each part."""
    days = days_of(sheet).astype(int)
    if (days == 1).all():
        return sheet
    parted, count = sheet.loc[sheet.index.repeat(days)], np.repeat(days.to_numpy(), days)
    nth = np.concatenate([np.arange(one) for one in days])
    return parted.assign(date=parted.date + pd.to_timedelta(nth, unit="D"), minutes=parted.minutes / count)


@lru_cache(maxsize=16)  # several pages ask
def labour_rows(study: Study) -> list[tuple[float, dict[tuple[str, str], tuple[float, float]], object]]:
    """Timesheet rows that say how many pieces they handled, for bench steps: minutes [min], units and row of the log.

    Units: by (product, step), the pieces and loads of that step in the row. A row that names no product counts for
    all products with the step, by their casts in the batches log; rows without pieces are hours only, and left out.
    """
    sheet, batches = study.records.get("timesheet"), study.records.get("batches")
    if sheet is None:
        return []
    products = study.file.products
    known = {step for product in products.values() for step in product.steps}
    poured = {} if batches is None else batches.groupby("product").casts.sum().to_dict()
    usual = {key: usual_load(study, key) for key in products}

    @cache
    def parts(step, product):
        """Product and step, share of the pieces, and pieces of a load, of each bench step that such a row is about."""
        found = []
        for name in steps_of(step, known):
            owners = [key for key, entry in products.items() if name in entry.steps and product in (None, key)]
            weights = np.array([poured.get(key, 0.0) for key in owners], float)
            weights = weights / weights.sum() if weights.sum() > 0 else np.full(len(owners), 1.0 / max(len(owners), 1))
            sizes = [products[key].steps[name].load_size for key in owners]
            sizes = [usual[key] if size is None else size.value for key, size in zip(owners, sizes)]
            found += [((key, name), weight, size) for key, weight, size in zip(owners, weights, sizes)]
        return found

    def units(step, product, pieces):
        shares = ((key, pieces * weight, size) for key, weight, size in parts(step, product))
        return {key: (share, max(round(share / size), 1.0) if share > 0 else 0.0) for key, share, size in shares}

    bench = {text for text in sheet.step.unique() if steps_of(text, known)}
    counted = sheet[(sheet.pieces_handled > 0) & sheet.step.isin(bench)]
    columns = (counted[name] for name in ("step", "product", "minutes", "pieces_handled"))
    return [(float(minutes), units(step, of, pieces), row) for row, step, of, minutes, pieces in zip(counted.index, *columns)]


def minutes_posteriors(study: Study, asking: set[str]) -> dict[str, Finding]:
    """What the timesheet says of minutes by piece or by load, by key; steps that share rows together.

    `asking` holds dotted keys ending in `.minutes` or `.load_minutes`; those that no row tells about are left out. Amounts
    are in rows; `tied` is the correlation of logarithms.
    """
    rows, keys = labour_rows(study), sorted(asking)
    if not rows:
        return {}
    column = {key: at for at, key in enumerate(keys)}
    units, fixed = np.zeros((len(rows), len(keys))), np.zeros(len(rows))
    for line, (_, parts, _) in enumerate(rows):
        for (product, step), (pieces, loads) in parts.items():
            entry, lots = study.file.products[product].steps[step], study.file.products[product].lots_per_load.value
            fixed[line] += entry.lot_minutes.value * lots * loads
            for name, number, amount in (("minutes", entry.minutes, pieces), ("load_minutes", entry.load_minutes, loads)):
                at = column.get(f"products.{product}.steps.{step}.{name}")
                if at is None or number.value <= 0:
                    fixed[line] += number.value * amount
                else:
                    units[line, at] += amount
    minutes, told = np.array([row[0] for row in rows]), units > 0
    _, groups = connected_components(told.T.astype(int) @ told.astype(int))
    found = {}
    for group in np.unique(groups):
        here = (groups == group) & told.any(axis=0)
        lines = told[:, here].any(axis=1)
        if here.any():
            found |= _one_group(study, list(compress(keys, here)), minutes[lines], units[np.ix_(lines, here)], fixed[lines])
    return found


def _one_group(study, keys, minutes, units, fixed):
    numbers = [study.numbers[key] for key in keys]
    rows = (units > 0).sum(axis=0)
    each = units.sum(axis=0) / rows  # units in a row that has any

    def told(numbers):
        guesses = [rows_prior(n.value, prior_weight_of(n) / some, n.distribution) for n, some in zip(numbers, each, strict=True)]
        stated, weight = np.array(guesses).T
        return stated, weight, rows_posterior(stated, weight, minutes, units, fixed)

    beyond = [False] * len(keys)
    if any(number.distribution is not None for number in numbers):
        without = [replace(number, distribution=None) for number in numbers]
        stated = [number.distribution for number in numbers]
        means = zip(told(without)[2].means, stated, strict=True)
        beyond = [spread is not None and contradicts(mean, spread) for mean, spread in means]
        numbers = [plain if gone else number for plain, number, gone in zip(without, numbers, beyond, strict=True)]
    stated, weight, both = told(numbers)
    expected = units @ stated
    # one row tells the sum only: all kinds in it move by what it took against what they would have made of it
    factors = [np.maximum(minutes - fixed, 0.0)[has].sum() / expected[has].sum() for has in (units > 0).T]

    def finding(j, key):
        name = "load" if key.endswith("load_minutes") else "piece"
        seen = f"{counted(int(rows[j]), 'timesheet row')}, {counted(round(units[:, j].sum()), name)}"
        guess = rows_posterior([stated[j]], [weight[j]], [], np.empty((0, 1))).means[0]
        firm = float(weight[j] * (both.scatter / PRIOR_SPREAD) ** 2)  # in rows that scatter as these do
        told = both.means[j], guess, stated[j] * factors[j], seen + BEYOND * beyond[j], firm, int(rows[j]), "timesheet rows"
        tied = {other: float(both.correlation[j, i]) for i, other in enumerate(keys) if i != j}
        return Finding(*told, tied=tied, to_halve=both.to_halve[j] * int(rows[j]))

    return {key: finding(j, key) for j, key in enumerate(keys)}


def learning_table(study: Study) -> pd.DataFrame:
    """Whether minutes a piece fell with practice: a row a product and step, with the fields of `LearningFit` and their units.

    From rows of one product and one step in order of date; steps with minutes by the load and fewer than six rows are left out.
    """
    sheet, rows = study.records.get("timesheet"), []
    if sheet is None:
        return pd.DataFrame()
    for (product, step), group in single_rows(labour_rows(study)).items():
        entry = study.file.products[product].steps[step]
        if entry.load_minutes.value + entry.lot_minutes.value > 0:  # set-up is not learnt by the piece
            continue
        dates = sheet.date[[row for _, _, row in group]].to_numpy()
        order = np.argsort(dates, kind="stable")
        minutes, pieces = (np.array([line[at] for line in group])[order] for at in (0, 1))
        fit = fit_learning(minutes, pieces, study.file.products[product].made_before.value)
        if fit is not None:
            rows.append({"product": product, "step": step, **vars(fit)})
    return pd.DataFrame(rows)


def single_rows(rows):
    """Rows of `labour_rows` with one product and one step, as (minutes [min], pieces [piece], row), by (product, step)."""
    found: dict[tuple[str, str], list[tuple[float, float, object]]] = {}
    for minutes, units, row in rows:
        if len(units) == 1:
            [(key, (pieces, _))] = units.items()
            found.setdefault(key, []).append((minutes, pieces, row))
    return found


def kinds_of_steps(study: Study, steps) -> dict[str, str]:
    """Kind of each step of the timesheet, one of `KINDS_OF_STEPS`, by the step as it is written."""
    known = {step for product in study.file.products.values() for step in product.steps}
    moulds = {step for product in study.file.products.values() for step in getattr(product.mould, "steps", ())}
    time = study.file.time
    named = known, moulds | {MOULD}, study.file.channels, time.weekly_tasks, {*time.one_off_tasks, ONE_OFF}

    def kind(text):
        return next((kind for kind, names in zip(KINDS_OF_STEPS, named) if steps_of(text, names)), KINDS_OF_STEPS[-1])

    return {text: kind(text) for text in steps}


def hours_by_kind(study: Study) -> pd.DataFrame:
    """Hours of the timesheet by kind of step [hour], how many came with a count of pieces [hour], and the share of all [-]."""
    sheet = study.records.get("timesheet")
    if sheet is None:
        return pd.DataFrame()
    frame = sheet.assign(kind=sheet.step.map(kinds_of_steps(study, sheet.step.unique())), hours=sheet.minutes / 60.0)
    counted = frame.hours.where(frame.pieces_handled > 0, 0.0)
    table = frame.assign(counted=counted).groupby("kind")[["hours", "counted"]].sum().reset_index()
    return table.assign(share=table.hours / table.hours.sum())
