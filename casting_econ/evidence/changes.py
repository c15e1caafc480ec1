"""Before and after a marked change: shares, minutes and prices, the difference with its interval, and how sure it is to be better."""

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from ..models.checks import checked
from ..study import Study
from .labour import labour_rows, single_rows
from .loads import load_counts, ruined_loads
from .market import orders_of
from .posteriors import PRIOR_LOADS, load_share_posterior, mean_posterior

_EVEN = (np.arange(500) + 0.5) / 500


@dataclass(frozen=True, kw_only=True)
class BeforeAfter:
    """One quantity on both sides of a change; nan where a side has no rows."""

    product: str
    what: str  # "pass share", "minutes" or "price"
    at: str | None  # step, or channel of a price; None for the pieces good at the end
    rows: tuple[int, int]  # loads, timesheet rows or orders on either side
    before: float  # [-, min/piece or money/piece]
    after: float
    low: float  # of after less before, the middle eight in ten
    high: float
    better: float  # chance that after is better than before [-]


def newcombe(hits, n, level=0.8):
    """Difference of two independent shares, the second less the first: low and high limit by Newcombe's hybrid score. [-]

    `hits` among `n` pieces, before and after, need not be whole, as effective counts are not [piece]; `level` is the confidence, in
    (0, 1) [-]. ValueError if hits exceed n, n is not above zero, or the level is outside its range. Newcombe, *Statistics in Medicine*
    17 (1998) 873-890, method 10.

    >>> [round(float(limit), 4) for limit in newcombe((48, 56), (80, 70), level=0.95)]
    [0.0524, 0.3339]
    """
    n = np.asarray(checked("pieces", n, above=0.0))
    hits = np.asarray(checked("hits", hits, low=0.0))
    if np.any(hits > n):
        raise ValueError("hits must be at most the pieces looked at")
    z = scipy.special.ndtri((1.0 + checked("level", level, above=0.0, high=1.0 - 1e-12)) / 2.0)
    share = hits / n
    centre = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    reach = z / (1 + z**2 / n) * np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))  # Wilson's score
    down, up = share - np.maximum(centre - reach, 0.0), np.minimum(centre + reach, 1.0) - share
    difference = share[1] - share[0]
    return difference - np.hypot(down[1], up[0]), difference + np.hypot(up[1], down[0])


def design_effect(sizes, correlation):
    """How many pieces of loads alike within themselves tell as much as one piece alone: 1 + (Σn² / Σn - 1) ρ, at least 1. [piece/piece]

    `sizes` are pieces of each load, shape (n_loads,); `correlation` is that between two pieces of a load, in [0, 1). ValueError
    otherwise. Kish, *Survey Sampling*, 1965, section 5.4, with unequal clusters, from memory.

    >>> float(design_effect([10, 10, 10], 0.05))
    1.45
    """
    sizes = np.atleast_1d(checked("sizes", sizes, above=0.0))
    return 1.0 + (np.sum(sizes**2) / np.sum(sizes) - 1.0) * checked("correlation", correlation, low=0.0, high=1.0 - 1e-9)


def share_change(before, after, correlation=None):
    """Shares before and after [-], their difference's middle eight in ten [-], and the chance that the share after is higher [-].

    `before` and `after` are pairs of arrays, hits and sizes by load [piece], each side with a piece at least. Pieces of one load are
    alike: counts are divided by the design effect, with the correlation given or, in the mean, as both sides' loads tell it. The
    chance is over Jeffreys posteriors of both shares.
    """
    sides = [tuple(np.asarray(part, float)[np.asarray(side[1], float) > 0] for part in side) for side in (before, after)]
    if correlation is None:
        # about each side's own share, so that the change itself does not look like loads that differ
        found = [load_share_posterior(hits.sum() / sizes.sum(), 1.0, hits, sizes)[1].middle for hits, sizes in sides]
        weights = [len(hits) for hits, _ in sides]
        correlation = float(np.average(found, weights=weights)) if max(weights) > 1 else PRIOR_LOADS[0] / sum(PRIOR_LOADS)
    effect = [design_effect(sizes, correlation) for _, sizes in sides]
    hits, n = (np.array([side[at].sum() / by for side, by in zip(sides, effect, strict=True)]) for at in (0, 1))
    first, second = (scipy.stats.beta(k + 0.5, m - k + 0.5) for k, m in zip(hits, n, strict=True))
    shares = (float(hits.sum() / sizes.sum()) for hits, sizes in sides)
    return (*shares, *newcombe(hits, n), float(second.sf(first.ppf(_EVEN)).mean()))


def mean_change(before, after):
    """Means a unit before and after, their difference's middle eight in ten, and the chance that the mean after is lower.

    `before` and `after` are pairs of arrays, totals and units by row, such as minutes and pieces, each side with a unit at least. A
    guess of the common mean counts for one usual row on each side, so that one row still has a width.
    """
    totals, units = (sum(float(np.sum(side[at])) for side in (before, after)) for at in (0, 1))
    found = [mean_posterior(totals / units, float(np.mean(side[1])), *side) for side in (before, after)]
    first, second = (np.asarray(one.quantile(_EVEN), float) for one in found)
    apart = second[:, None] - first[None, :]
    low, high = np.quantile(apart, [0.1, 0.9])
    means = (float(np.sum(side[0]) / np.sum(side[1])) for side in (before, after))
    return (*means, float(low), float(high), float((apart < 0).mean()))


def _window(study, entry):
    """Days from the change before this one to the change after it, of those that touch the same product and step."""

    def meets(other):
        pairs = ((other.product, entry.product), (other.step, entry.step))
        return other.date != entry.date and all(None in pair or pair[0] == pair[1] for pair in pairs)

    days = [other.date for other in study.file.changes.values() if meets(other)]
    first = max((day for day in days if day < entry.date), default=dt.date.min)
    return first, min((day for day in days if day > entry.date), default=dt.date.max)


def before_and_after(study: Study, name: str) -> list[BeforeAfter]:
    """What the logs hold on both sides of a change of the study file: pass share, minutes and price, by product and channel; KeyError for no such change.

    The day of the change counts as after. Rows beyond another change of the same product and step are left out, and so are loads
    ruined as a whole, and timesheet rows of several steps together.
    """
    entry, sheet, found = study.file.changes[name], study.records.get("timesheet"), []
    first, last = _window(study, entry)
    minutes = single_rows(labour_rows(study))

    def parted(dates, *values):
        days = pd.to_datetime(pd.Series(list(dates), dtype="datetime64[ns]")).dt.date.to_numpy()
        inside = np.array([first <= day < last for day in days], bool)
        late = np.array([day >= entry.date for day in days], bool)
        return [tuple(np.asarray(value, float)[inside & side] for value in values) for side in (~late, late)]

    def add(product, what, at, sides, compare):
        rows = tuple(int((side[1] > 0).sum()) for side in sides)
        if sum(rows):
            told = compare(*sides) if all(rows) else _one_side(sides)
            names = ("before", "after", "low", "high", "better")
            found.append(BeforeAfter(product=product, what=what, at=at, rows=rows, **dict(zip(names, told, strict=True))))

    for product, stated in study.file.products.items():
        if entry.product not in (None, product) or (entry.step is not None and entry.step not in stated.steps):
            continue
        counts = load_counts(study, product)
        if counts is not None and not (entry.step and counts.pooled[entry.step]):
            kept = ~counts.batches.index.isin(ruined_loads(counts))
            loads, alike = counts.batches[kept], stated.load_correlation
            hits, sizes = loads.good, loads.casts
            if entry.step:
                sizes = counts.entering.loc[kept, entry.step]
                hits = sizes - counts.lost.loc[kept, entry.step]
            sides = parted(loads.date, hits, sizes)
            add(product, "pass share", entry.step, sides, lambda one, other, rho=alike: share_change(one, other, rho))
        for step in [entry.step] if entry.step else stated.steps:
            if rows := minutes.get((product, step)):
                took, pieces, lines = zip(*rows, strict=True)
                add(product, "minutes", step, parted(sheet.date[list(lines)], took, pieces), mean_change)
        for channel in [] if entry.step else [name for name, one in study.file.channels.items() if one.product == product]:
            orders = orders_of(study, channel)
            if orders is not None:
                orders = orders[orders.price.notna() & (orders.pieces > 0)]
                add(product, "price", channel, parted(orders.date, orders.price, orders.pieces), _price_change)
    return found


def _price_change(before, after):
    *told, lower = mean_change(before, after)
    return (*told, 1.0 - lower)


def _one_side(sides):
    """Means where one side has no rows: no difference."""
    return (*(float(side[0].sum() / side[1].sum()) if side[1].sum() > 0 else np.nan for side in sides), *[np.nan] * 3)
