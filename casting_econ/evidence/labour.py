"""Timesheet to minutes: rows that mix products and steps, learning, and what does not add up."""

from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.sparse.csgraph import connected_components

from ..study import Number, Study
from ..study.records import steps_of
from .learning import fit_learning
from .posteriors import PRIOR_SPREAD, contradicts
from .rows import rows_posterior, rows_prior

__all__ = ["hours_by_kind", "kinds_of_steps", "labour_rows", "learning_table", "minutes_posteriors", "single_rows", "worth_of"]

KINDS_OF_STEPS = ("at the bench", "orders and stalls", "weekly tasks", "other")
BEYOND = ", beyond the stated range"  # said where the logs contradict it
DEFAULT_WORTH = 10.0  # pieces or loads that a guess counts for when the study does not say


def worth_of(number: Number) -> float:
    """What a guess counts for against records, in its own unit of worth; 0 for a range that states none, whose width then says it."""
    return number.worth or (DEFAULT_WORTH if number.distribution is None else 0.0)


def labour_rows(study: Study) -> list[tuple[float, dict[tuple[str, str], tuple[float, float]], object]]:
    """Timesheet rows that say how many pieces they handled, for bench steps.

    Returns
    -------
    list of (minutes, units, row)
        Units: by (product, step), the pieces and loads of that step in the row. A row that names no product counts for
        all products with the step, by their casts in the batches log; rows without pieces are hours only, and left out.
    """
    sheet, batches = study.records.get("timesheet"), study.records.get("batches")
    if sheet is None:
        return []
    products = study.file.products
    known = {step for product in products.values() for step in product.steps}
    poured = {} if batches is None else batches.groupby("product").casts.sum().to_dict()
    named = {text: steps_of(text, known) for text in sheet.step.unique()}
    rows = []
    counted = sheet[(sheet.pieces_handled > 0) & sheet.step.map(lambda text: bool(named[text]))]
    for row, step, product, minutes, pieces in zip(
        counted.index, counted.step, counted["product"], counted.minutes, counted.pieces_handled, strict=True
    ):
        units = {}
        for name in named[step]:
            owners = [product] if isinstance(product, str) else [key for key, entry in products.items() if name in entry.steps]
            owners = [key for key in owners if name in products[key].steps]
            weights = np.array([poured.get(key, 0.0) for key in owners], float)
            weights = weights / weights.sum() if weights.sum() > 0 else np.full(len(owners), 1.0 / max(len(owners), 1))
            for key, weight in zip(owners, weights, strict=True):
                size = (products[key].steps[name].load_size or products[key].casts_per_load).value
                share = pieces * weight
                units[key, name] = (share, max(round(share / size), 1.0) if share > 0 else 0.0)
        rows.append((float(minutes), units, row))
    return rows


def minutes_posteriors(study: Study, asking: set[str]) -> dict[str, dict[str, object]]:
    """Posterior of every number of minutes by piece or by load that asks, steps that share rows together.

    Parameters
    ----------
    study : Study
        Study with its logs.
    asking : set of str
        Dotted keys ending in `.minutes` or `.load_minutes`.

    Returns
    -------
    dict
        By key: `posterior`, `prior`, `observed`, `rows`, `units`, `beyond`, `worth` and `to_halve` (in rows) and `tied` (correlation of logarithms
        with other keys, by key). Keys that no row tells about are left out.
    """
    rows = labour_rows(study)
    column = {key: at for at, key in enumerate(sorted(asking))}
    units, fixed = np.zeros((len(rows), len(column))), np.zeros(len(rows))
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
    minutes = np.array([row[0] for row in rows])
    found: dict[str, dict[str, object]] = {}
    keys = np.array(sorted(asking))
    if not rows:
        return found
    told = units > 0
    _, groups = connected_components(told.T.astype(int) @ told.astype(int))
    for group in np.unique(groups):
        here = (groups == group) & told.any(axis=0)
        lines = told[:, here].any(axis=1)
        if here.any() and lines.any():
            found |= _one_group(study, list(keys[here]), minutes[lines], units[np.ix_(lines, here)], fixed[lines])
    return found


def _one_group(study, keys, minutes, units, fixed):
    numbers = [study.numbers[key] for key in keys]
    each = units.sum(axis=0) / (units > 0).sum(axis=0)  # units in a row that has any

    def told(numbers):
        guesses = [rows_prior(n.value, worth_of(n) / some, n.distribution) for n, some in zip(numbers, each, strict=True)]
        stated, worth = np.array(guesses).T
        return stated, worth, rows_posterior(stated, worth, minutes, units, fixed)

    beyond = [False] * len(keys)
    if any(number.distribution is not None for number in numbers):
        without = [replace(number, distribution=None) for number in numbers]
        means = told(without)[2].means
        beyond = [
            n.distribution is not None and contradicts(mean, n.distribution) for n, mean in zip(numbers, means, strict=True)
        ]
        numbers = [plain if gone else number for plain, number, gone in zip(without, numbers, beyond, strict=True)]
    stated, worth, both = told(numbers)
    guess = [rows_posterior([value], [count], [], np.empty((0, 1))).means[0] for value, count in zip(stated, worth, strict=True)]
    expected = units @ stated
    # one row tells the sum only: all kinds move by what it took against what they would have made of it
    factor = np.maximum(minutes - fixed, 0.0).sum() / expected.sum()
    return {
        key: {
            "posterior": both.means[j],
            "prior": guess[j],
            "observed": stated[j] * factor,
            "rows": int((units[:, j] > 0).sum()),
            "units": float(units[:, j].sum()),
            "beyond": BEYOND if beyond[j] else "",
            "to_halve": both.to_halve[j] * int((units[:, j] > 0).sum()),
            "worth": float(worth[j] * (both.scatter / PRIOR_SPREAD) ** 2),  # in rows that scatter as these do
            "tied": {other: float(both.correlation[j, i]) for i, other in enumerate(keys) if i != j},
        }
        for j, key in enumerate(keys)
    }


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
    tasks = set(study.file.time.weekly_tasks)

    def kind(text):
        if steps_of(text, known):
            return KINDS_OF_STEPS[0]
        return KINDS_OF_STEPS[1 if text in study.file.channels else 2 if text in tasks else 3]

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
