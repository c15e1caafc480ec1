"""What the workshop logs say about each number that asks for records."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..study import Number, Study
from .posteriors import mean_posterior, mould_life_posterior, rate_posterior, share_posterior

__all__ = ["Evidence", "channel_summary", "learn", "loads_of_mould", "orders_by_month", "scrap_table"]

MONTHS, WEEKS = 12.0, 52.1775  # in a year
DAYS_PER_MONTH = 365.2425 / MONTHS
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
                posterior, observed, data = answer
                measured = replace(number, value=posterior.middle, distribution=posterior, basis="measured")
                found[key] = Evidence(key=key, number=measured, observed=float(observed), data=data)
    return found


def _ask(study, path, number):
    """Posterior, observed value and words for one number, or None when the logs are silent."""
    worth = number.worth or DEFAULT_WORTH
    match path:
        case ["products", product, "steps", step, "pass_share"]:
            table = scrap_table(study, product)
            if table is None or table.entering[step] <= 0:
                return None
            lost, entering = table.lost[step], table.entering[step]
            data = f"{entering:.0f} pieces entered, {lost:.0f} lost"
            return share_posterior(number.value, worth, entering - lost, lost), 1 - lost / entering, data
        case ["products", product, "steps", step, "minutes" | "load_minutes" as kind]:
            return _minutes(study, product, step, kind, number, worth)
        case ["products", product, "mould", "life"]:
            return _mould_life(study, product, number, worth)
        case (
            ["products", _, "steps", _, "materials", item, "price"]
            | ["products", _, "parts", item, "price"]
            | ["products", _, "mould", "materials", item, "price"]
        ):
            return _price(study, item, number, worth)
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
        own = faults.batch.isin(mine.batch) | (faults["product"] == product)
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
    data = f"{len(rows)} timesheet rows, {pieces.sum():.0f} pieces"
    size = (entry.steps[step].load_size or entry.casts_per_load).value
    if kind == "load_minutes":  # a load however full takes the load minutes; pieces only count the loads
        if entry.steps[step].minutes.value > 0:
            minutes = np.maximum(minutes - entry.steps[step].minutes.value * pieces, 0.0)
        pieces = np.maximum(np.rint(pieces / size), 1.0)
        data = f"{len(rows)} timesheet rows, {pieces.sum():.0f} loads"
    elif entry.steps[step].load_minutes.value > 0:
        minutes = np.maximum(minutes - entry.steps[step].load_minutes.value * pieces / size, 0.0)
    if minutes.sum() <= 0:
        return None
    return mean_posterior(number.value, worth, minutes, pieces), minutes.sum() / pieces.sum(), data


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
    mine, loads = moulds[moulds["product"] == product], loads_of_mould(study)
    retired = mine.casts_at_retirement[mine.retired.notna()].to_numpy(float)
    live = mine.mould[mine.retired.isna()].map(loads).fillna(0.0).to_numpy(float)
    shape = study.file.products[product].mould.life_shape.value
    if retired.size == 0 and live.sum() == 0:
        return None
    posterior = mould_life_posterior(number.value, worth, shape, retired[retired > 0], live)
    worn = f"{retired.size} worn out" if retired.size else "none worn out yet, so still mostly a guess"
    observed = (retired.sum() + live.sum()) / retired.size if retired.size else np.nan
    return posterior, observed, f"{worn}, {live.size} in use after {live.sum():.0f} casts a cavity"


def _price(study, item, number, worth):
    """Money a unit from purchases of the same name."""
    from ..study.numbers import ratio_of_units

    bought = study.records.get("purchases")
    if bought is None or not (bought["item"] == item).any():
        return None
    rows = bought[bought["item"] == item]
    base = number.unit.partition("/")[2] or "dimensionless"
    try:
        amounts = [
            q * ratio_of_units(unit or "dimensionless", base, study.currency)
            for q, unit in zip(rows.quantity, rows.unit.fillna(""))
        ]
    except ValueError:
        return None
    scale = ratio_of_units("kilogram", base, study.currency) if base == "gram" else 1.0
    posterior = mean_posterior(number.value, worth * scale, rows.paid, amounts)
    return posterior, rows.paid.sum() / np.sum(amounts), f"{len(rows)} purchases"


def _span(dates, unit_days):
    """Length of a log from its first to its last day."""
    return ((dates.max() - dates.min()).days + 1) / unit_days


def _channel(study, channel, kind, number, worth):
    sales, sheet = study.records.get("sales"), study.records.get("timesheet")
    if kind == "minutes_per_order":
        rows = None if sheet is None else sheet[(sheet.step == channel) & (sheet.pieces_handled > 0)]
        if rows is None or rows.empty:
            return None
        minutes, orders = rows.minutes, rows.pieces_handled
        return (
            mean_posterior(number.value, worth, minutes, orders),
            minutes.sum() / orders.sum(),
            f"{len(rows)} timesheet rows, {orders.sum():.0f} orders",
        )
    mine = _orders(sales, channel)
    if mine is None:
        return None
    count = len(mine)
    if kind == "orders":
        # days on which sales could have been written down: the timesheet shows the shop was open before the first sale
        days = pd.concat([sales.date, *([] if sheet is None else [sheet.date])])
        months = _span(days, DAYS_PER_MONTH)
        posterior = rate_posterior(number.value / MONTHS, worth, count, months)
        yearly = replace(posterior, quantile=lambda p, q=posterior.quantile: q(p) * MONTHS, middle=posterior.middle * MONTHS)
        return yearly, count / months * MONTHS, f"{count} orders in {months:.1f} months"
    if kind == "refund_share":
        refunded = int((mine.refund.fillna(0) > 0).sum())
        return (
            share_posterior(number.value, worth, refunded, count - refunded),
            refunded / max(count, 1),
            f"{refunded} of {count} orders paid back",
        )
    if kind in ("price", "postage_charged", "postage_paid", "packaging"):
        seen = mine[kind].dropna().astype(float)
        if seen.sum() <= 0:
            return None
        return mean_posterior(number.value, worth, seen, np.ones(len(seen))), seen.mean(), f"{len(seen)} orders"
    return None


def _orders(sales, channel):
    """Real sales of a channel, one row an order."""
    if sales is None or not (sales.channel == channel).any():
        return None
    mine = sales[(sales.channel == channel) & sales.kind.fillna("sale").eq("sale")].reset_index(names="row")
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
    weeks = rows.groupby(rows.date.dt.to_period("W")).minutes.sum() / 60.0
    # weeks without a row count as none done, from the first to the last week of the timesheet
    span = int(np.ceil(_span(sheet.date, 7.0)))
    hours = np.concatenate([weeks.to_numpy(float), np.zeros(max(span - len(weeks), 0))])
    # a study counts weeks worked, so the weeks off in the log are taken out again
    worked = min(span, sheet.date.dt.to_period("W").nunique())
    hours = hours[:worked] if worked < hours.size else hours
    return (
        mean_posterior(number.value, worth, hours, np.ones(hours.size)),
        hours.mean(),
        f"{hours.size} weeks, {len(rows)} timesheet rows",
    )


def orders_by_month(study: Study) -> pd.DataFrame:
    """Real orders by month and channel, zero where a month has none."""
    sales = study.records.get("sales")
    if sales is None:
        return pd.DataFrame()
    parts = {c: _orders(sales, c) for c in study.file.channels}
    months = pd.period_range(sales.date.min(), sales.date.max(), freq="M")
    return pd.DataFrame(
        {c: p.date.dt.to_period("M").value_counts().reindex(months, fill_value=0) for c, p in parts.items() if p is not None}
    )


def channel_summary(study: Study) -> pd.DataFrame:
    """What an order really brought in each channel, on average. [money/order]"""
    rows = {}
    for channel in study.file.channels:
        mine = _orders(study.records.get("sales"), channel)
        if mine is not None:
            mean = mine.drop(columns="date").astype(float).fillna(0.0).mean()
            net = mean.price + mean.postage_charged - mean.fees - mean.postage_paid - mean.packaging - mean.refund
            rows[channel] = {"orders": len(mine), **mean.to_dict(), "net": net}
    return pd.DataFrame(rows).T
