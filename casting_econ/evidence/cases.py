"""What the logs say about one number: a case for each kind."""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy import special

from ..draws.distributions import Distribution
from ..faults import counted
from ..units import ratio_of_units
from .labour import BEYOND, worth_of
from .loads import load_counts, mould_lives, own_faults, ruined_loads
from .market import DAYS_PER_MONTH, orders_of, orders_seen
from .materials import amount_in, bought_amounts, cup_rows
from .posteriors import (
    PRIOR_SHAPE_FACTOR,
    PRIOR_SPREAD,
    contradicts,
    life_prior,
    load_share_posterior,
    mean_posterior,
    mean_prior,
    mould_life_posterior,
    rate_posterior,
    rate_prior,
    share_posterior,
    share_prior,
    stated_range,
)
from .rows import rows_posterior, rows_prior

__all__ = ["Finding", "ask", "labour_finding"]

MONTHS = 12.0  # in a year
LEAST_WEEKS = 3.0  # of timesheet, before it says anything about weekly hours
WAIT_SPREAD = 0.15  # of cure hours and mixed mass between loads, as a share: common practice, no source
_NO_ROWS = ([], np.empty((0, 1)))


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What the logs say about one number, in its unit."""

    posterior: Distribution
    prior: Distribution  # the guess, worth what the study says
    observed: float  # by the logs alone
    data: str  # from what, in words
    worth: float  # that the guess counts for, in `counted`
    amount: float  # that the logs have, in `counted`
    counted: str  # what is counted
    tied: dict[str, float] = field(default_factory=dict)  # correlation with other numbers of the same rows, by key [-]
    to_halve: float | None = None  # how much more would halve the width, where guess and amount do not say it
    seen: bool = True  # whether the thing itself was seen to happen


def labour_finding(key, told):
    """Finding for minutes by piece or by load, from what `minutes_posteriors` told of its key. [min]"""
    name = "loads" if key.endswith("load_minutes") else "pieces"
    data = f"{told['rows']} timesheet rows, {told['units']:.0f} {name}{told['beyond']}"
    plain = {part: told[part] for part in ("posterior", "prior", "observed", "worth", "tied", "to_halve")}
    return Finding(**plain, data=data, amount=told["rows"], counted="timesheet rows")


def _worth_in(number, worth, unit):
    """A worth given in time, in months or weeks; a bare number is in them already."""
    try:
        return worth * (ratio_of_units(number.worth_unit, unit, "EUR") if number.worth_unit else 1.0)
    except ValueError:
        return worth


def ask(study, path, number):
    """What the logs say about one number, or None when they are silent; a range that they contradict gives way to the worth.

    `path` is the dotted key, split; `number` is the study's own, or one in its place.
    """
    found, spread = _ask(study, path, number), number.distribution
    if found is None or spread is None:
        return found
    without = _ask(study, path, replace(number, distribution=None))
    if without is None or not contradicts(without.posterior, spread):
        return found
    return replace(without, data=without.data + BEYOND)


def _ask(study, path, number):
    worth = worth_of(number)
    match path:
        case ["products", product, "steps", step, "pass_share"]:
            return _pass_share(study, product, step, number, worth)
        case ["products", product, "steps", step, "rework_share" | "rework_minutes" as kind]:
            return _rework(study, product, step, kind, number, worth)
        case ["products", product, "steps", step, "wait"]:
            return _wait(study, product, step, number, worth)
        case ["products", product, "ruined_loads"]:
            return _ruined(study, product, number, worth)
        case ["products", product, "mould", "life" | "life_shape" as kind]:
            return _mould_life(study, product, kind, number)
        case ["products", product, "mould", "minutes"]:
            return _mould_minutes(study, product, number, worth)
        case ["products", product, *rest, item, "price" | "loss" as kind]:
            node = study.file.products[product]
            if rest[0] == "mould":
                node, rest = node.mould, rest[1:]
            entries = getattr(node.steps[rest[1]], rest[2]) if rest[0] == "steps" else getattr(node, rest[0])
            if kind == "price":
                return _price(study, item, entries[item], number, worth)
            return _loss(study, product, ".".join(path[:-1]), number, worth)
        case ["channels", channel, kind]:
            return _channel(study, channel, kind, number, worth)
        case ["time", "fixed_hours"]:
            return _fixed_hours(study, number, worth)
    return None


def _share(number, worth, hits, count, observed, data, counted):
    """Finding for a share of independent things."""
    stated, worth = share_prior(number.value, worth, number.distribution)
    return Finding(
        posterior=share_posterior(stated, worth, hits, count - hits),
        prior=share_posterior(stated, worth, 0, 0),
        observed=observed,
        data=data,
        worth=worth,
        amount=count,
        counted=counted,
    )


def _rows(number, worth, totals, units, data, counted, spread):
    """Finding for a mean of positive rows with one kind of unit."""
    units = np.asarray(units, float)
    stated, rows = rows_prior(number.value, worth / units.mean(), number.distribution, spread)
    found = rows_posterior([stated], [rows], totals, units[:, None], spread=spread)
    return Finding(
        posterior=found.means[0],
        prior=rows_posterior([stated], [rows], *_NO_ROWS, spread=spread).means[0],
        observed=float(np.sum(totals) / units.sum()),
        data=data,
        worth=rows * (found.scatter / spread) ** 2,  # in rows that scatter as these do
        amount=units.size,
        counted=counted,
    )


def _mean(number, worth, totals, weights, data, counted, scale=1.0):
    """Finding for a mean whose rows may be zero; the worth and the weights are in what is counted."""
    weights, spread = np.asarray(weights, float), number.distribution
    stated, worth, sd = mean_prior(number.value / scale, worth, totals, weights, spread and _scaled(spread, 1 / scale))
    posterior, prior = (mean_posterior(stated, worth, *rows, sd) for rows in ((totals, weights), ([], [])))
    observed = float(np.sum(totals) / weights.sum()) * scale
    return Finding(
        posterior=_scaled(posterior, scale),
        prior=_scaled(prior, scale),
        observed=observed,
        data=data,
        worth=worth,
        amount=float(weights.sum()),
        counted=counted,
    )


def _scaled(spread, scale):
    """A distribution in another unit."""
    return (
        spread if scale == 1.0 else replace(spread, quantile=lambda p: spread.quantile(p) * scale, middle=spread.middle * scale)
    )


def _pass_share(study, product, step, number, worth):
    counts = load_counts(study, product)
    if counts is None or counts.totals.entering[step] <= 0:
        return None
    apart = study.numbers.get(f"products.{product}.ruined_loads")
    ruined = ruined_loads(counts) if apart is not None and apart.from_records else []
    hits, sizes = counts.rows(step, ruined)
    if sizes.sum() <= 0:
        return None
    pooled = counts.usual_load if counts.pooled[step] else 0.0
    stated, worth = share_prior(number.value, worth, number.distribution)
    posterior, alike = load_share_posterior(stated, worth, hits, sizes, pooled)
    data = f"{sizes.sum():.0f} pieces entered, {sizes.sum() - hits.sum():.0f} lost"
    data += f", {len(ruined)} ruined loads apart" if ruined else ""
    # pieces of a load that are alike tell less than as many from different loads
    usual = max((sizes**2).sum() / sizes.sum(), 1.0)
    told = sizes.sum() / (1 + (usual - 1) * alike.middle) if not counts.pooled[step] else sizes.sum()
    return Finding(
        posterior=posterior,
        prior=share_posterior(stated, worth, 0, 0),
        observed=float(hits.sum() / sizes.sum()),
        data=data,
        worth=worth * sizes.sum() / told,
        amount=float(sizes.sum()),
        counted="pieces",
    )


def _rework(study, product, step, kind, number, worth):
    counts, faults = load_counts(study, product), study.records.get("faults")
    if counts is None or faults is None:
        return None
    again = faults[own_faults(study, product, faults) & (faults.fate == "rework") & (faults.step == step)]
    entering = float(counts.totals.entering[step])
    if kind == "rework_share":
        pieces = min(float(again.pieces.sum()), entering)
        data = f"{pieces:.0f} of {entering:.0f} pieces done again"
        return _share(number, worth, pieces, entering, pieces / entering, data, "pieces") if entering > 0 else None
    told = again[again.extra_minutes.notna() & (again.pieces > 0)]
    if told.empty or told.extra_minutes.sum() <= 0 or number.value <= 0:
        return None
    data = f"{len(told)} rows of rework with minutes, {told.pieces.sum():.0f} pieces"
    return _mean(number, worth, told.extra_minutes, told.pieces, data, "pieces")


def _wait(study, product, step, number, worth):
    counts, entry = load_counts(study, product), study.file.products[product]
    cure = entry.cure_step or max(entry.steps, key=lambda name: entry.steps[name].wait.value)
    hours = np.empty(0) if counts is None else counts.batches.cure_h.dropna().to_numpy(float)
    hours = hours[hours > 0]
    if step != cure or not hours.size or number.value <= 0:
        return None
    return _rows(number, worth, hours, np.ones(hours.size), f"{hours.size} loads with cure hours", "loads", WAIT_SPREAD)


def _ruined(study, product, number, worth):
    counts = load_counts(study, product)
    if counts is None:
        return None
    days = (counts.batches.date.max() - counts.batches.date.min()).days + 1
    years, freak = max(days, 1) / (MONTHS * DAYS_PER_MONTH), len(ruined_loads(counts))
    stated, worth = rate_prior(number.value, _worth_in(number, worth, "month") / MONTHS, number.distribution)
    data = f"{freak} ruined of {len(counts.batches)} loads in {years * MONTHS:.1f} months"
    return Finding(
        posterior=rate_posterior(stated, worth, freak, years),
        prior=rate_posterior(stated, worth, 0, 0),
        observed=freak / years,
        data=data,
        worth=worth * MONTHS,
        amount=years * MONTHS,
        counted="months",
    )


def _mould_life(study, product, kind, number):
    lives, entry = mould_lives(study, product), study.file.products[product].mould
    if lives is None or (lives[0].size == 0 and lives[1].sum() == 0):
        return None
    life, form = (number if kind == name else getattr(entry, name) for name in ("life", "life_shape"))
    (worn, live), shape, wide = lives, form.value, PRIOR_SHAPE_FACTOR
    if form.from_records and form.distribution is not None:
        middle, wide = stated_range(form.distribution, logarithms=True)
        shape = float(np.exp(middle))
    stated, worth = life_prior(life.value, worth_of(life), shape, wide, life.distribution)
    both, guess = (mould_life_posterior(stated, worth, shape, *seen, wide) for seen in ((worn, live), ([], [])))
    at = ("life", "life_shape").index(kind)
    said = f"{worn.size} worn out" if worn.size else "none worn out yet, so still a guess"
    scale = (np.sum(np.concatenate([worn, live]) ** shape) / worn.size) ** (1 / shape) if worn.size else np.nan
    return Finding(
        posterior=both[at],
        prior=guess[at],
        observed=float(scale * special.gamma(1 + 1 / shape)) if kind == "life" else both[at].middle,
        data=f"{said}, {live.size} still good after {live.sum():.0f} casts a cavity",
        worth=worth,
        amount=float(worn.size),
        counted="moulds worn out",
        seen=worn.size > 0,
    )


def _mould_minutes(study, product, number, worth):
    moulds = study.records.get("moulds")
    rows = None if moulds is None else moulds[(moulds["product"] == product) & (moulds.minutes > 0) & (moulds.cavities > 0)]
    if rows is None or rows.empty or number.value <= 0:
        return None
    # the study's minutes are those of a set, which fills one load; a row of the log is one mould with so many of its cavities
    sets = rows.cavities.to_numpy(float) / study.file.products[product].casts_per_load.value
    data = f"{counted(len(rows), 'mould')} made, {counted(int(rows.cavities.sum()), 'cavity', 'cavities')}"
    return _rows(number, worth * sets.mean(), rows.minutes.to_numpy(float), sets, data, "moulds", PRIOR_SPREAD)


def _price(study, item, entry, number, worth):
    """Money a unit from purchases of the same name."""
    base = number.unit.partition("/")[2] or "dimensionless"
    paid, amounts = bought_amounts(study, item, entry, base)
    known = np.isfinite(amounts)
    if not known.any():
        return None
    if number.worth_unit:
        counted = amount_in(worth, number.worth_unit, base, entry, study.currency)
        worth = counted if np.isfinite(counted) else worth
    data = f"{known.sum()} purchases" + (f", {(~known).sum()} in another unit left out" if not known.all() else "")
    found = _mean(number, worth, paid[known], amounts[known], data, base)
    usual = amounts[known].mean()  # people buy, they do not weigh
    return replace(found, worth=found.worth / usual, amount=float(known.sum()), counted="purchases")


def _loss(study, product, item_key, number, worth):
    """What stays in the cup: mixed mass against what the pieces hold, by load."""
    rows = cup_rows(study, product, item_key)
    if rows is None:
        return None
    mixed, needed = rows
    spread = number.distribution
    if spread is not None:
        spread = replace(spread, quantile=lambda p: 1 / (1 - number.distribution.quantile(p)))
    factor = replace(number, value=1 / (1 - number.value), distribution=spread)
    found = _rows(factor, worth * needed.mean(), mixed, needed, f"{mixed.size} loads with mixed mass", "loads", WAIT_SPREAD)

    def share(spread):  # the mix is 1 / (1 - loss) times what the pieces hold; a mix below it counts as no loss
        return replace(
            spread, quantile=lambda p: np.clip(1 - 1 / spread.quantile(p), 0.0, 1.0), middle=max(1 - 1 / spread.middle, 0.0)
        )

    return replace(
        found,
        posterior=share(found.posterior),
        prior=share(found.prior),
        observed=1 - 1 / found.observed,
        worth=worth or found.worth,
    )


def _channel(study, channel, kind, number, worth):
    sales, sheet, entry = study.records.get("sales"), study.records.get("timesheet"), study.file.channels[channel]
    if kind == "minutes_per_order":
        rows = None if sheet is None else sheet[(sheet.step == channel) & (sheet.pieces_handled > 0)]
        if rows is None or rows.empty or number.value <= 0:
            return None
        data = f"{len(rows)} timesheet rows, {rows.pieces_handled.sum():.0f} orders"
        return _rows(number, worth, rows.minutes.to_numpy(float), rows.pieces_handled, data, "timesheet rows", PRIOR_SPREAD)
    mine = orders_of(sales, channel, entry.product)
    count = 0 if mine is None else len(mine)
    if kind == "orders":
        seen = orders_seen(study, channel)
        return None if seen is None else _orders(number, _worth_in(number, worth, "month"), *seen)
    if count == 0:
        return None
    if kind == "refund_share":
        if mine.refund.isna().all():  # nothing written down is not known, which is not none
            return None
        charged = (mine.price + mine.postage_charged.fillna(0.0)).where(lambda amount: amount > 0)
        back = float((mine.refund.fillna(0.0) / charged).clip(upper=1.0).sum())
        return _share(number, worth, back, count, back / count, f"{back:.1f} orders' worth paid back of {count}", "orders")
    if kind in ("price", "pieces_per_order", "postage_charged", "postage_paid", "packaging"):
        return _money(entry, channel, kind, number, worth, mine)
    return None


def _orders(number, worth, count, months, since):
    """Orders a year from orders over the months in which they could have come."""
    yearly, years = rate_prior(number.value, worth / MONTHS, number.distribution)
    stated, worth = yearly / MONTHS, years * MONTHS
    return Finding(
        posterior=_scaled(rate_posterior(stated, worth, count, months), MONTHS),
        prior=_scaled(rate_posterior(stated, worth, 0, 0), MONTHS),
        observed=count / months * MONTHS,
        data=f"{counted(count, 'order')} in {months:.1f} months{since}",
        worth=worth,
        amount=months,
        counted="months",
    )


def _money(entry, channel, kind, number, worth, mine):
    """Money or pieces of an order."""
    seen = mine[kind.replace("pieces_per_order", "pieces")].dropna().astype(float)
    if seen.sum() <= 0 or number.value <= 0:
        return None
    data, asked = f"{len(seen)} orders", entry.pieces_per_order
    if kind == "price" and not asked.from_records:  # by the piece, as orders differ in size; then for an order of the stated size
        size = asked.value
        found = _mean(number, worth * size, seen, mine.pieces[seen.index], data, "orders", scale=size)
        return replace(found, worth=found.worth / size, amount=float(len(seen)))
    found = _mean(number, worth, seen, np.ones(len(seen)), data, "orders")
    if kind == "price" and len(seen) > 2 and seen.std() > 0 and mine.pieces[seen.index].std() > 0:
        together = float(np.corrcoef(seen, mine.pieces[seen.index].astype(float))[0, 1]) * len(seen) / (len(seen) + found.worth)
        return replace(found, tied={f"channels.{channel}.pieces_per_order": float(np.clip(together, -0.999, 0.999))})
    return found


def _fixed_hours(study, number, worth):
    """Weekly hours from timesheet rows of the weekly tasks."""
    sheet, tasks = study.records.get("timesheet"), study.file.time.weekly_tasks
    rows = None if sheet is None else sheet[sheet.step.isin(tasks)]
    if rows is None or rows.empty:
        return None
    # calendar weeks with any row of the timesheet count as worked, the first and last by their days within the log
    first, last, week = sheet.date.min(), sheet.date.max(), sheet.date.dt.to_period("W")
    starts = week.drop_duplicates().sort_values()
    inside = [(min(w.end_time.normalize(), last) - max(w.start_time, first)).days + 1 for w in starts]
    weights = np.array(inside) / 7.0
    hours = rows.groupby(week[rows.index]).minutes.sum().reindex(starts, fill_value=0.0).to_numpy(float) / 60.0
    if weights.sum() < LEAST_WEEKS - 1e-9:  # a week without books is common; too few weeks say nothing about a year
        return None
    data = f"{weights.sum():.0f} weeks, {len(rows)} timesheet rows"
    worth = _worth_in(number, worth, "week")
    return _mean(number, worth, hours, weights, data, "weeks")
