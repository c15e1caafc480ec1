"""Sales and prices seen to orders by month and season, what an order brings, and where our price stands."""

import numpy as np
import pandas as pd
from scipy import stats

from ..study import Study

__all__ = ["channel_summary", "open_months", "orders_by_month", "orders_of", "season_table"]

DAYS_PER_MONTH = 365.2425 / 12.0
FULL_YEAR = 12  # months of sales before a season can be told from a trend


def orders_of(sales, channel, product):
    """Real sales of a product in a channel, one row an order; None where there are none."""
    if sales is None:
        return None
    mine = sales[(sales.channel == channel) & (sales["product"] == product) & sales.kind.fillna("sale").eq("sale")]
    if mine.empty:
        return None
    mine = mine.reset_index(names="row")
    order = mine.order.where(mine.order.notna(), "row " + mine.row.astype(str))
    sums = ["pieces", "price", "postage_charged", "postage_paid", "packaging", "fees", "refund"]
    mine[sums] = mine[sums].apply(pd.to_numeric)
    groups = mine.groupby(order)
    return groups[sums].sum(min_count=1).assign(date=groups.date.min())


def open_months(sales) -> float:
    """Months that the sales log stands for: from first to last sale, and the usual gap at either end."""
    orders = max(sales.order.nunique() + sales.order.isna().sum(), 2)
    days = max((sales.date.max() - sales.date.min()).days, 1)
    return days * (orders + 1) / (orders - 1) / DAYS_PER_MONTH


def orders_by_month(study: Study) -> pd.DataFrame:
    """Real orders by month and channel, zero where a month has none."""
    sales = study.records.get("sales")
    if sales is None:
        return pd.DataFrame()
    parts = {c: orders_of(sales, c, entry.product) for c, entry in study.file.channels.items()}
    months = pd.period_range(sales.date.min(), sales.date.max(), freq="M")
    return pd.DataFrame(
        {c: p.date.dt.to_period("M").value_counts().reindex(months, fill_value=0) for c, p in parts.items() if p is not None}
    )


def season_table(study: Study) -> pd.DataFrame:
    """Orders of each calendar month against the average one, all channels, with the middle eight in ten.

    Empty with less than a year of sales, when a season cannot be told from a trend.

    Notes
    -----
    A month's index is its orders a day over the orders a day of the whole, with the gamma posterior of a Poisson rate
    (prior worth one order at the average rate).
    """
    sales = study.records.get("sales")
    months = orders_by_month(study)
    if len(months) < FULL_YEAR or months.empty:
        return pd.DataFrame()
    days = pd.Series([period.days_in_month for period in months.index], index=months.index, dtype=float)
    first, last = sales.date.min(), sales.date.max()
    days.iloc[0] -= first.day - 1
    days.iloc[-1] -= last.days_in_month - last.day
    counts = months.sum(axis=1).groupby(months.index.month).sum()
    exposure = days.groupby(months.index.month).sum() * counts.sum() / days.sum()  # orders the average rate would bring
    low, high = (stats.gamma.ppf(p, counts + 1.0) / (exposure + 1.0) for p in (0.1, 0.9))
    index = (counts + 1.0) / (exposure + 1.0)
    return pd.DataFrame({"month": counts.index, "orders": counts.values, "index": index.values, "low": low, "high": high})


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
    """Slope of log unit price on log quantity over purchases, with its standard error; not-a-number below three sizes. [-]"""
    sizes, paid = np.asarray(sizes, float), np.asarray(paid, float)
    if np.unique(sizes).size < 3:
        return np.nan, np.nan
    fit = stats.linregress(np.log(sizes), np.log(paid / sizes))
    return float(fit.slope), float(fit.stderr)
