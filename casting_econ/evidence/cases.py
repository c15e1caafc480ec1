"""What the workshop logs say about each number that asks for records: a case for each kind."""

from dataclasses import replace

import numpy as np
from scipy import special

from ..faults import counted
from ..study import Study
from ..study.consistency import items_of
from .channels import SCATTERS, channel_finding
from .finding import BEYOND, Finding, mean_finding, prior_weight_of, rate_finding, rows_finding, share_finding, weight_in
from .labour import by_day, minutes_posteriors
from .loads import load_counts, mould_lives, own_faults, rows_of, ruined_loads
from .market import DAYS_PER_MONTH
from .materials import amount_in, bought_amounts, cup_rows
from .posteriors import (
    PRIOR_SHAPE_FACTOR,
    PRIOR_SPREAD,
    contradicts,
    life_prior,
    load_share_posterior,
    mould_life_posterior,
    share_posterior,
    share_prior,
    stated_range,
)

LEAST_WEEKS = 3.0  # of timesheet, before it says anything about weekly hours
WAIT_SPREAD = 0.15  # of cure hours and mixed mass between loads, as a share: common practice, no source


def update(study: Study, keys: list[str] | None = None) -> dict[str, Finding]:
    """What the logs say, by dotted key, of every number that says `from = "records"`, or of those named, that they know something about."""
    asking = [key for key, number in study.numbers.items() if number.from_records] if keys is None else keys
    minutes = {key for key in asking if ".steps." in key and key.endswith((".minutes", ".load_minutes"))}
    labour = minutes_posteriors(study, {key for key in minutes if study.numbers[key].value > 0})
    found = {key: labour.get(key) if key in minutes else ask(study, key.split("."), study.numbers[key]) for key in asking}
    return {key: told for key, told in found.items() if told is not None}


def could_update(study: Study) -> list[str]:
    """Keys of guesses and answers that do not ask for records though the logs alone differ from them by more than 5 %."""
    stated = {key: n.value for key, n in study.numbers.items() if not n.from_records and n.basis in ("guess", "answered")}
    found = update(study, list(stated))
    return [key for key, told in found.items() if abs(told.observed - stated[key]) > 0.05 * abs(stated[key])]


def ask(study, path, number):
    """What the logs say about one number, None when they are silent; a range they contradict gives way to the prior weight.

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
    if path[-1] not in SCATTERS:
        number = replace(number, prior_weight=prior_weight_of(number))
    match path:
        case ["products", product, "steps", step, "pass_share"]:
            return _pass_share(study, product, step, number)
        case ["products", product, "steps", step, "rework_share" | "rework_minutes" as kind]:
            return _rework(study, product, step, kind, number)
        case ["products", product, "steps", step, "wait"]:
            return _wait(study, product, step, number)
        case ["products", product, "ruined_loads"]:
            return _ruined(study, product, number)
        case ["products", product, "mould", "life" | "life_shape" as kind]:
            return _mould_life(study, product, kind, number)
        case ["products", product, "mould", "minutes"]:
            return _mould_minutes(study, product, number)
        case ["products", product, *_, item, "loss"]:
            return _loss(study, product, ".".join(path[:-1]), number)
        case ["products", *_, item, "price"]:
            entry = next(entry for key, *_, entry in items_of(study.file) if key == ".".join(path[:-1]))
            return _price(study, item, entry, number)
        case ["channels", channel, kind]:
            return channel_finding(study, channel, kind, number)
        case ["time", "fixed_hours"]:
            return _fixed_hours(study, number)
    return None


def _pass_share(study, product, step, number):
    counts = load_counts(study, product)
    if counts is None or counts.totals.entering[step] <= 0:
        return None
    apart = study.numbers.get(f"products.{product}.ruined_loads")
    ruined = ruined_loads(counts) if apart is not None and apart.from_records else []
    hits, sizes = counts.rows(step, ruined)
    if sizes.sum() <= 0:
        return None
    pooled = counts.usual_load if counts.pooled[step] else 0.0
    stated, weight = share_prior(number.value, number.prior_weight, number.distribution)
    posterior, alike = load_share_posterior(stated, weight, hits, sizes, pooled)
    data = f"{sizes.sum():.0f} pieces entered, {sizes.sum() - hits.sum():.0f} lost"
    data += f", {len(ruined)} ruined loads apart" if ruined else ""
    data += f"; the stated 100 % counts for {weight:g} pieces that passed" if number.value == 1.0 else ""
    # pieces of a load that are alike tell less than as many from different loads
    usual = max((sizes**2).sum() / sizes.sum(), 1.0)
    told = sizes.sum() / (1 + (usual - 1) * alike.middle) if not counts.pooled[step] else sizes.sum()
    prior, entered = share_posterior(stated, weight, 0, 0), float(sizes.sum())
    return Finding(posterior, prior, float(hits.sum() / sizes.sum()), data, weight * sizes.sum() / told, entered, "pieces")


def _rework(study, product, step, kind, number):
    counts, faults = load_counts(study, product), study.records.get("faults")
    if counts is None or faults is None:
        return None
    again = faults[own_faults(study, product, faults) & (faults.fate == "rework") & (faults.step == step)]
    entering = float(counts.totals.entering[step])
    if kind == "rework_share":
        pieces = min(float(again.pieces.sum()), entering)
        data = f"{pieces:.0f} of {entering:.0f} pieces done again"
        return share_finding(number, pieces, entering, data, "pieces") if entering > 0 else None
    told = again[again.extra_minutes.notna() & (again.pieces > 0)]
    if told.empty or told.extra_minutes.sum() <= 0 or number.value <= 0:
        return None
    data = f"{len(told)} rows of rework with minutes, {told.pieces.sum():.0f} pieces"
    return mean_finding(number, told.extra_minutes, told.pieces, data, "pieces")


def _wait(study, product, step, number):
    counts, entry = load_counts(study, product), study.file.products[product]
    cure = entry.cure_step or max(entry.steps, key=lambda name: entry.steps[name].wait.value)
    hours = np.empty(0) if counts is None else counts.batches.cure_h.dropna().to_numpy(float)
    hours = hours[hours > 0]
    if step != cure or not hours.size or number.value <= 0:
        return None
    data = f"{counted(hours.size, 'load')} with cure hours"
    return rows_finding(number, number.prior_weight, hours, np.ones(hours.size), data, "loads", WAIT_SPREAD)


def _ruined(study, product, number):
    counts = load_counts(study, product)
    if counts is None:
        return None
    months = max((counts.batches.date.max() - counts.batches.date.min()).days + 1, 1) / DAYS_PER_MONTH
    ruined = len(ruined_loads(counts))
    return rate_finding(number, ruined, months, f"{ruined} ruined of {len(counts.batches)} loads in {months:.1f} months")


def _mould_life(study, product, kind, number):
    lives, entry = mould_lives(study, product), study.file.products[product].mould
    if lives is None or (lives[0].size == 0 and lives[1].sum() == 0):
        return None
    life, form = (number if kind == name else getattr(entry, name) for name in ("life", "life_shape"))
    (worn, live), shape, wide = lives, form.value, PRIOR_SHAPE_FACTOR
    if form.from_records and form.distribution is not None:
        middle, wide = stated_range(form.distribution, logarithms=True)
        shape = float(np.exp(middle))
    stated, weight = life_prior(life.value, prior_weight_of(life), shape, wide, life.distribution)
    both, guess = (mould_life_posterior(stated, weight, shape, *seen, wide) for seen in ((worn, live), ([], [])))
    at = ("life", "life_shape").index(kind)
    said = f"{worn.size} worn out" if worn.size else "none worn out yet, so still a guess"
    scale = (np.sum(np.concatenate([worn, live]) ** shape) / worn.size) ** (1 / shape) if worn.size else np.nan
    observed = float(scale * special.gamma(1 + 1 / shape)) if kind == "life" else both[at].middle
    data, count = f"{said}, {live.size} still good after {live.sum():.0f} casts a cavity", float(worn.size)
    return Finding(both[at], guess[at], observed, data, weight, count, "moulds worn out", seen=worn.size > 0)


def _mould_minutes(study, product, number):
    moulds = rows_of(study, "moulds", product)
    rows = None if moulds is None else moulds[(moulds.minutes > 0) & (moulds.cavities > 0)]
    if rows is None or rows.empty or number.value <= 0:
        return None
    # the study's minutes are those of a set, which fills one load; a row of the log is one mould with so many of its cavities
    sets = rows.cavities.to_numpy(float) / study.file.products[product].casts_per_load.value
    data = f"{counted(len(rows), 'mould')} made, {counted(int(rows.cavities.sum()), 'cavity', 'cavities')}"
    return rows_finding(number, number.prior_weight, rows.minutes.to_numpy(float), sets, data, "moulds", PRIOR_SPREAD)


def _price(study, item, entry, number):
    """Money a unit from purchases of the same name."""
    base = number.unit.partition("/")[2] or "dimensionless"
    paid, amounts = bought_amounts(study, item, entry, base)
    known = np.isfinite(amounts)
    if not known.any():
        return None
    if number.prior_weight_unit:
        weight = amount_in(number.prior_weight, number.prior_weight_unit, base, entry, study.currency)
        number = replace(number, prior_weight=weight)
    data = counted(int(known.sum()), "purchase") + (f", {(~known).sum()} in another unit left out" if not known.all() else "")
    found = mean_finding(number, paid[known], amounts[known], data, base)
    usual = amounts[known].mean()  # people buy, they do not weigh
    return replace(found, prior_weight=found.prior_weight / usual, amount=float(known.sum()), counted="purchases")


def _loss(study, product, item_key, number):
    """What stays in the cup: mixed mass against what the pieces hold, by load."""
    rows = cup_rows(study, product, item_key)
    if rows is None:
        return None
    mixed, needed = rows
    # the mix is 1 / (1 - loss) times what the pieces hold; a mix below it counts as no loss
    spread = number.distribution and number.distribution.mapped(lambda loss: 1 / (1 - loss))
    factor = replace(number, value=1 / (1 - number.value), distribution=spread)
    data = f"{counted(mixed.size, 'load')} with mixed mass"
    found = rows_finding(factor, number.prior_weight, mixed, needed, data, "loads", WAIT_SPREAD)
    posterior, prior = (one.mapped(lambda mix: np.clip(1 - 1 / mix, 0.0, 1.0)) for one in (found.posterior, found.prior))
    weight = number.prior_weight or found.prior_weight
    return replace(found, posterior=posterior, prior=prior, observed=1 - 1 / found.observed, prior_weight=weight)


def _fixed_hours(study, number):
    """Weekly hours from timesheet rows of the weekly tasks."""
    sheet, tasks = study.records.get("timesheet"), study.file.time.weekly_tasks
    if sheet is None or not sheet.step.isin(tasks).any():
        return None
    count, sheet = int(sheet.step.isin(tasks).sum()), by_day(sheet).reset_index(drop=True)
    rows = sheet[sheet.step.isin(tasks)]
    # calendar weeks with any row of the timesheet count as worked, the first and last by their days within the log
    first, last, week = sheet.date.min(), sheet.date.max(), sheet.date.dt.to_period("W")
    starts = week.drop_duplicates().sort_values()
    inside = [(min(w.end_time.normalize(), last) - max(w.start_time, first)).days + 1 for w in starts]
    weights = np.array(inside) / 7.0
    hours = rows.groupby(week[rows.index]).minutes.sum().reindex(starts, fill_value=0.0).to_numpy(float) / 60.0
    if weights.sum() < LEAST_WEEKS - 1e-9:  # a week without books is common; too few weeks say nothing about a year
        return None
    data = f"{counted(round(weights.sum()), 'week')}, {counted(count, 'timesheet row')}"
    return mean_finding(replace(number, prior_weight=weight_in(number, "week")), hours, weights, data, "weeks")
