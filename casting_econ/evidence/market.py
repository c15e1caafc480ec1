"""Sales and prices seen to orders by month and season, what an order brings, and where our price stands."""

import numpy as np
import pandas as pd
import scipy

from ..faults import refusal
from ..study import STUDY_FILE, Study

DAYS_PER_MONTH = 365.2425 / 12.0
FULL_YEAR = 12  # months of sales before a season can be told from a trend


def _sales_of(sales, channel, product):
    """Rows of real sales of a product in a channel."""
    return sales[(sales.channel == channel) & (sales["product"] == product) & sales.kind.fillna("sale").eq("sale")]


def orders_of(sales, channel, product):
    """Real sales of a product in a channel, a row an order: pieces [piece], money [money/order], date; None without any."""
    mine = None if sales is None else _sales_of(sales, channel, product)
    if mine is None or mine.empty:
        return None
    mine = mine.reset_index(names="row")
    order = mine.order.where(mine.order.notna(), "row " + mine.row.astype(str))
    sums = ["pieces", "price", "postage_charged", "postage_paid", "packaging", "fees", "refund"]
    mine[sums] = mine[sums].apply(pd.to_numeric)
    groups = mine.groupby(order)
    return groups[sums].sum(min_count=1).assign(date=groups.date.min())


def _dates(study):
    """Days of every row of every log. What a log says beside its date, such as when a mould was made, may be older than it."""
    return pd.concat([log.date for log in (*study.records.values(), study.in_work) if len(log) and "date" in log])


def _offered(study, channel):
    """First and last day on which orders could have come: since it is offered, else since all logs began, until they end."""
    dates, since = _dates(study), study.file.channels[channel].offered_since
    return dates.min() if since is None else pd.Timestamp(since), dates.max()


def orders_seen(study: Study, channel: str):
    """Orders of a channel, the months in which they could have come, and from when, in words, if not from the first row.

    None where nothing is told: without a sales log, with logs of one day alone, and before the channel is offered. The time goes
    from `offered_since`, else the first row of all logs, to the last row of all logs; days without an order count. An order that
    is itself the first row of all logs only starts the clock: orders after one of them are a Poisson process as before it.
    """
    sales, entry = study.records.get("sales"), study.file.channels[channel]
    if sales is None:
        return None
    mine, (first, last) = _sales_of(sales, channel, entry.product), _offered(study, channel)
    orders = orders_of(sales, channel, entry.product)
    count, days, since = 0 if orders is None else len(orders), (last - first).days + 1, ""
    if entry.offered_since is not None:
        since = f" since {first:%Y-%m-%d}"
    elif days == 1:
        return None
    elif count and (_dates(study) == first).sum() == (mine.date == first).sum():
        count, since = count - 1, " after the first, with which the logs begin"
    return (count, days / DAYS_PER_MONTH, since) if days > 0 else None


def orders_by_month(study: Study) -> pd.DataFrame:
    """Real orders by month (index) and channel (columns), zero where a month has none. [order]"""
    sales = study.records.get("sales")
    if sales is None:
        return pd.DataFrame()
    parts = {c: orders_of(sales, c, entry.product) for c, entry in study.file.channels.items()}
    months = pd.period_range(*_time_of_sales(study), freq="M")
    return pd.DataFrame(
        {c: p.date.dt.to_period("M").value_counts().reindex(months, fill_value=0) for c, p in parts.items() if p is not None}
    )


def _time_of_sales(study):
    """First and last day on which an order could have come in any channel."""
    spans = [_offered(study, channel) for channel in study.file.channels]
    return min(study.records["sales"].date.min(), *(first for first, _ in spans)), max(last for _, last in spans)


def season_table(study: Study) -> pd.DataFrame:
    """Orders of each calendar month [order] against the average one [-], all channels, with the middle eight in ten.

    A month's index is its orders a day over the orders a day of the whole, with the gamma posterior of a Poisson rate whose
    prior counts for one order at the average rate. Empty with less than a year of sales, when a season cannot be told from a
    trend.
    """
    months = orders_by_month(study)
    if len(months) < FULL_YEAR or months.empty:
        return pd.DataFrame()
    days = pd.Series([period.days_in_month for period in months.index], index=months.index, dtype=float)
    first, last = _time_of_sales(study)
    days.iloc[0] -= first.day - 1
    days.iloc[-1] -= last.days_in_month - last.day
    counts = months.sum(axis=1).groupby(months.index.month).sum()
    exposure = days.groupby(months.index.month).sum() * counts.sum() / days.sum()  # orders the average rate would bring
    low, high = (scipy.stats.gamma.ppf(p, counts + 1.0) / (exposure + 1.0) for p in (0.1, 0.9))
    index = (counts + 1.0) / (exposure + 1.0)
    return pd.DataFrame({"month": counts.index, "orders": counts.values, "index": index.values, "low": low, "high": high})


def season_weights(study: Study) -> np.ndarray:
    """Twelve weights from January that add up to 12: stated, from the sales, or level. [-]

    StudyError if the study asks for the season of records that have no year of sales.
    """
    season = study.file.cash.season
    if season is None:
        return np.ones(FULL_YEAR)
    if season == "records":
        table = season_table(study)
        if len(table) < FULL_YEAR:
            sales = study.records.get("sales")
            found = "no sales log" if sales is None else f"sales from {sales.date.min():%Y-%m-%d} to {sales.date.max():%Y-%m-%d}"
            right = "twelve months of sales or more, twelve weights from January, or no season"
            wrong = "season asked of records that do not have a year of sales"
            raise refusal(STUDY_FILE, wrong, right, column="cash.season", found=found)
        season = table.sort_values("month")["index"]
    weights = np.asarray(season, float)
    return weights * FULL_YEAR / weights.sum()


def channel_summary(study: Study) -> pd.DataFrame:
    """What an order really brought in each channel, on average, and how often it went wrong. [money/order]"""
    rows, sales = {}, study.records.get("sales")
    for channel, entry in study.file.channels.items():
        mine = orders_of(sales, channel, entry.product)
        if mine is not None:
            mean = mine.drop(columns="date").astype(float).fillna(0.0).mean()
            net = mean.price + mean.postage_charged - mean.fees - mean.postage_paid - mean.packaging - mean.refund
            kinds = sales.kind[(sales.channel == channel) & (sales["product"] == entry.product)].value_counts()
            rows[channel] = {
                "orders": len(mine),
                **mean.to_dict(),
                "net": net,
                "refunded": float((mine.refund.fillna(0.0) > 0).mean()),
                "replaced": kinds.get("replacement", 0) / len(mine),
                "given": int(kinds.get("sample", 0) + kinds.get("gift", 0)),
            }
    return pd.DataFrame(rows).T


def price_trend(sizes, paid):
    """Slope of log unit price on log quantity over purchases, with its standard error [-]; both nan below three sizes.

    `sizes` and `paid` have shape (purchases,) and are above zero. [unit of the price, money]
    """
    sizes, paid = np.asarray(sizes, float), np.asarray(paid, float)
    if np.unique(sizes).size < 3:
        return np.nan, np.nan
    fit = scipy.stats.linregress(np.log(sizes), np.log(paid / sizes))
    return float(fit.slope), float(fit.stderr)
