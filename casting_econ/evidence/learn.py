"""What the workshop logs say about each number that asks for records."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import special

from ..study import Number, Study
from ..study.numbers import ratio_of_units
from .posteriors import mean_posterior, mould_life_posterior, rate_posterior, share_posterior

__all__ = ["Evidence", "channel_summary", "could_learn", "learn", "loads_of_mould", "orders_by_month", "scrap_table"]

MONTHS = 12.0  # in a year
DAYS_PER_MONTH = 365.2425 / MONTHS
LEAST_WEEKS = 3.0  # of timesheet, before it says anything about weekly hours
DEFAULT_WORTH = 10.0  # pieces, rows, orders or months that a guess counts for when the study does not say


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """One number after the logs have spoken."""

    key: str
    number: Number  # measured, with its posterior
    observed: float  # what the logs alone say, in the unit of the number
    data: str  # from what, in words


def learn(study: Study) -> dict[str, Evidence]:
    """Posterior of every number that says `from = "records"` and that the logs know something about.

    Parameters
    ----------
    study : Study
        Study with its logs.

    Returns
    -------
    dict of str to Evidence
        By dotted key; numbers without data are left out and stay guesses.
    """
    found: dict[str, Evidence] = {}
    for key, number in study.numbers.items():
        if number.from_records:
            answer = _ask(study, key.split("."), number)
            if answer is not None:
                posterior, observed, data, prior_share = answer
                measured = replace(
                    number, value=posterior.middle, distribution=posterior, basis="measured", prior_share=prior_share
                )
                found[key] = Evidence(key=key, number=measured, observed=float(observed), data=data)
    return found


def could_learn(study: Study) -> list[str]:
    """Keys of guesses that do not ask for records though the logs alone differ from them by more than 5 %."""
    keys = [key for key, number in study.numbers.items() if not number.from_records and number.basis == "guess"]
    found = {key: _ask(study, key.split("."), study.numbers[key]) for key in keys}
    return [
        key
        for key, answer in found.items()
        if answer and abs(answer[1] - study.numbers[key].value) > 0.05 * abs(study.numbers[key].value)
    ]


def _worth_in(number, worth, unit):
    """A worth given in time, in months or weeks; a bare number is in them already."""
    try:
        return worth * (ratio_of_units(number.worth_unit, unit, "EUR") if number.worth_unit else 1.0)
    except ValueError:
        return worth


def _prior_share(worth, units):
    """Part of the stated guess in a mean of guess and data."""
    return worth / (worth + units)


def _ask(study, path, number):
    """Posterior, observed value, words and share of the guess for one number, or None when the logs are silent."""
    worth = number.worth or DEFAULT_WORTH
    match path:
        case ["products", product, "steps", step, "pass_share"]:
            table = scrap_table(study, product)
            if table is None or table.entering[step] <= 0:
                return None
            lost, entering = table.lost[step], table.entering[step]
            data = f"{entering:.0f} pieces entered, {lost:.0f} lost"
            posterior = share_posterior(number.value, worth, entering - lost, lost)
            return posterior, 1 - lost / entering, data, _prior_share(worth, entering)
        case ["products", product, "steps", step, "minutes" | "load_minutes" as kind]:
            return _minutes(study, product, step, kind, number, worth)
        case ["products", product, "mould", "life"]:
            return _mould_life(study, product, number, worth)
        case ["products", product, *rest, item, "price"]:
            node = study.file.products[product]
            entries = (
                node.parts if rest == ["parts"] else node.mould.materials if rest[0] == "mould" else node.steps[rest[1]].materials
            )
            return _price(study, item, entries[item], number, worth)
        case ["channels", channel, kind]:
            return _channel(study, channel, kind, number, worth)
        case ["time", "fixed_hours"]:
            return _fixed_hours(study, number, worth)
    return None


def scrap_table(study: Study, product: str) -> pd.DataFrame | None:
    """Pieces entering, and lost at, each step of a product over all batches.

    Parameters
    ----------
    study : Study
        Study with its logs.
    product : str
        Key of the product.

    Returns
    -------
    DataFrame or None
        Index: steps in routing order; columns `entering`, `lost`. [piece] None without batches.

    Notes
    -----
    Seconds count as lost: they cannot be sold at full price. Losses that batches show but faults do
    not explain are booked to the first step with a check.
    """
    batches, faults = study.records.get("batches"), study.records.get("faults")
    if batches is None or not (batches["product"] == product).any():
        return None
    mine, steps = batches[batches["product"] == product], study.file.products[product].steps
    lost = pd.Series(0.0, index=list(steps))
    if faults is not None:
        unnamed = faults.batch.isna() & faults["product"].isna() & (len(study.file.products) == 1)
        own = faults.batch.isin(mine.batch) | (faults["product"] == product) | unnamed
        scrap = faults[own & (faults.fate != "rework") & faults.step.isin(lost.index)]
        lost = lost.add(scrap.groupby("step").pieces.sum(), fill_value=0.0).reindex(lost.index)
    first_check = next((s for s, step in steps.items() if step.pass_share.value < 1.0), next(iter(steps)))
    lost[first_check] += max((mine.casts - mine.good).sum() - lost.sum(), 0.0)
    entering = mine.casts.sum() - lost.cumsum().shift(fill_value=0.0)
    return pd.DataFrame({"entering": entering, "lost": lost})


def _minutes(study, product, step, kind, number, worth):
    """Minutes from timesheet rows that say how many pieces were handled."""
    sheet = study.records.get("timesheet")
    entry = study.file.products[product]
    if sheet is None:
        return None
    others = [name for name, p in study.file.products.items() if step in p.steps and name != product]
    rows = sheet[(sheet.step == step) & (sheet.pieces_handled > 0)]
    rows = rows[(rows["product"] == product) | (rows["product"].isna() & (not others))]
    if rows.empty:
        return None
    minutes, pieces = rows.minutes.to_numpy(float), rows.pieces_handled.to_numpy(float)
    step_entry = entry.steps[step]
    each, whole = step_entry.minutes, step_entry.load_minutes
    loads = np.maximum(np.rint(pieces / (step_entry.load_size or entry.casts_per_load).value), 1.0)
    units, name = (pieces, "pieces") if kind == "minutes" else (loads, "loads")
    data = f"{len(rows)} timesheet rows, {units.sum():.0f} {name}"
    if each.from_records and whole.from_records and each.value > 0 and whole.value > 0:
        # one row tells the sum only: both move by what it took against what they would have made of it
        weights = (each.value * pieces + whole.value * loads) / number.value
    else:
        minutes = np.maximum(minutes - (whole.value * loads if kind == "minutes" else each.value * pieces), 0.0)
        weights = units
    if minutes.sum() <= 0:
        return None
    worth = worth * weights.sum() / units.sum()
    posterior = mean_posterior(number.value, worth, minutes, weights)
    return posterior, minutes.sum() / weights.sum(), data, _prior_share(worth, weights.sum())


def loads_of_mould(study: Study) -> pd.Series:
    """Loads poured in each mould, by mould id; a load gives each cavity one cast."""
    batches = study.records.get("batches")
    if batches is None:
        return pd.Series(dtype=float)
    ids = batches.moulds.dropna().str.split(r"[\s;,]+", regex=True).explode()
    return ids[ids != ""].value_counts()


def _mould_life(study, product, number, worth):
    moulds = study.records.get("moulds")
    if moulds is None or not (moulds["product"] == product).any():
        return None
    mine, loads, entry = moulds[moulds["product"] == product], loads_of_mould(study), study.file.products[product].mould
    gone = mine.casts_at_retirement[mine.retired.notna()].to_numpy(float)
    # a mould replaced by plan was still good: it counts like one in use
    planned = gone >= entry.replace_at.value if entry.replace_at is not None else np.zeros(gone.shape, dtype=bool)
    live = np.concatenate([mine.mould[mine.retired.isna()].map(loads).fillna(0.0).to_numpy(float), gone[planned]])
    worn, shape = gone[~planned & (gone > 0)], entry.life_shape.value
    if worn.size == 0 and live.sum() == 0:
        return None
    posterior = mould_life_posterior(number.value, worth, shape, worn, live)
    said = f"{worn.size} worn out" if worn.size else "none worn out yet, so still mostly a guess"
    scale = (np.sum(np.concatenate([worn, live]) ** shape) / worn.size) ** (1 / shape) if worn.size else np.nan
    observed = scale * special.gamma(1 + 1 / shape)
    return (
        posterior,
        observed,
        f"{said}, {live.size} still good after {live.sum():.0f} casts a cavity",
        _prior_share(worth, worn.size),
    )


def _price(study, item, entry, number, worth):
    """Money a unit from purchases of the same name."""
    bought = study.records.get("purchases")
    if bought is None or not (bought["item"] == item).any():
        return None
    rows, base = bought[bought["item"] == item], number.unit.partition("/")[2] or "dimensionless"
    amounts = np.array([_amount(q, unit, base, entry, study.currency) for q, unit in zip(rows.quantity, rows.unit.fillna(""))])
    known = np.isfinite(amounts)
    if not known.any():
        return None
    if number.worth_unit:
        counted = _amount(worth, number.worth_unit, base, entry, study.currency)
        worth = counted if np.isfinite(counted) else worth
    paid, amounts = rows.paid.to_numpy(float)[known], amounts[known]
    data = f"{known.sum()} purchases" + (f", {(~known).sum()} in another unit left out" if not known.all() else "")
    return (
        mean_posterior(number.value, worth, paid, amounts),
        paid.sum() / amounts.sum(),
        data,
        _prior_share(worth, amounts.sum()),
    )


def _amount(quantity, unit, base, entry, currency):
    """A bought quantity in the unit of the price; through the density where that is mass and it was bought by volume."""
    for given, factor in ((unit, 1.0), (f"{unit} * gram / milliliter", entry.density.value if entry.density else np.nan)):
        try:
            return quantity * factor * ratio_of_units(given or "dimensionless", base, currency)
        except ValueError:
            continue
    return np.nan


def _open_months(sales):
    """Months that the sales log stands for: from first to last sale, and the usual gap at either end."""
    orders = max(sales.order.nunique() + sales.order.isna().sum(), 2)
    days = max((sales.date.max() - sales.date.min()).days, 1)
    return days * (orders + 1) / (orders - 1) / DAYS_PER_MONTH


def _channel(study, channel, kind, number, worth):
    sales, sheet = study.records.get("sales"), study.records.get("timesheet")
    if kind == "minutes_per_order":
        rows = None if sheet is None else sheet[(sheet.step == channel) & (sheet.pieces_handled > 0)]
        if rows is None or rows.empty:
            return None
        minutes, orders = rows.minutes, rows.pieces_handled
        data = f"{len(rows)} timesheet rows, {orders.sum():.0f} orders"
        posterior = mean_posterior(number.value, worth, minutes, orders)
        return posterior, minutes.sum() / orders.sum(), data, _prior_share(worth, orders.sum())
    entry = study.file.channels[channel]
    mine = _orders(sales, channel, entry.product)
    count = 0 if mine is None else len(mine)
    if count == 0 and (kind != "orders" or sales is None):
        return None
    if kind == "orders":
        months = _open_months(sales)
        worth = _worth_in(number, worth, "month")
        posterior = rate_posterior(number.value / MONTHS, worth, count, months)
        yearly = replace(posterior, quantile=lambda p, q=posterior.quantile: q(p) * MONTHS, middle=posterior.middle * MONTHS)
        return yearly, count / months * MONTHS, f"{count} orders in {months:.1f} months", _prior_share(worth, months)
    if kind == "refund_share":
        charged = (mine.price + mine.postage_charged.fillna(0.0)).where(lambda amount: amount > 0)
        back = float((mine.refund.fillna(0.0) / charged).clip(upper=1.0).sum())
        data = f"{back:.1f} orders' worth paid back of {count}"
        return share_posterior(number.value, worth, back, count - back), back / max(count, 1), data, _prior_share(worth, count)
    if kind in ("price", "pieces_per_order", "postage_charged", "postage_paid", "packaging"):
        seen = mine[kind.replace("pieces_per_order", "pieces")].dropna().astype(float)
        if seen.sum() <= 0:
            return None
        scale, weights = 1.0, np.ones(len(seen))
        if kind == "price":  # by the piece, as orders differ in size; then for an order of the size in force
            asked = entry.pieces_per_order
            size = _ask(study, ["channels", channel, "pieces_per_order"], asked) if asked.from_records else None
            scale, weights = (size[0].middle if size else asked.value), mine.pieces[seen.index].to_numpy(float)
        each = mean_posterior(number.value / scale, worth * scale, seen, weights)
        order = replace(each, quantile=lambda p, q=each.quantile: q(p) * scale, middle=each.middle * scale)
        return order, seen.sum() / weights.sum() * scale, f"{len(seen)} orders", _prior_share(worth, len(seen))
    return None


def _orders(sales, channel, product):
    """Real sales of a product in a channel, one row an order."""
    if sales is None or not ((sales.channel == channel) & (sales["product"] == product)).any():
        return None
    mine = sales[(sales.channel == channel) & (sales["product"] == product) & sales.kind.fillna("sale").eq("sale")].reset_index(
        names="row"
    )
    order = mine.order.where(mine.order.notna(), "row " + mine.row.astype(str))
    sums = ["pieces", "price", "postage_charged", "postage_paid", "packaging", "fees", "refund"]
    mine[sums] = mine[sums].apply(pd.to_numeric)
    return mine.groupby(order).agg({"date": "min", **{name: lambda s: s.sum(min_count=1) for name in sums}})


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
    posterior = mean_posterior(number.value, worth, hours, weights)
    return posterior, hours.sum() / weights.sum(), data, _prior_share(worth, weights.sum())


def orders_by_month(study: Study) -> pd.DataFrame:
    """Real orders by month and channel, zero where a month has none."""
    sales = study.records.get("sales")
    if sales is None:
        return pd.DataFrame()
    parts = {c: _orders(sales, c, entry.product) for c, entry in study.file.channels.items()}
    months = pd.period_range(sales.date.min(), sales.date.max(), freq="M")
    return pd.DataFrame(
        {c: p.date.dt.to_period("M").value_counts().reindex(months, fill_value=0) for c, p in parts.items() if p is not None}
    )


def channel_summary(study: Study) -> pd.DataFrame:
    """What an order really brought in each channel, on average. [money/order]"""
    rows = {}
    for channel, entry in study.file.channels.items():
        mine = _orders(study.records.get("sales"), channel, entry.product)
        if mine is not None:
            mean = mine.drop(columns="date").astype(float).fillna(0.0).mean()
            net = mean.price + mean.postage_charged - mean.fees - mean.postage_paid - mean.packaging - mean.refund
            rows[channel] = {"orders": len(mine), **mean.to_dict(), "net": net}
    return pd.DataFrame(rows).T
