"""Sales and prices seen to orders by month and season, what an order brings, and where our price stands."""

from functools import lru_cache

import numpy as np
import pandas as pd
import scipy

from ..faults import refusal
from ..ledger.logs import buyers_of
from ..models.months import season_shares
from ..study import STUDY_FILE, Study

DAYS_PER_MONTH = 365.2425 / 12.0
FULL_YEAR = 12  # months of sales before a season can be told from a trend


def _sales_of(study, channel):
    """Rows of real sales of a channel's product."""
    sales, product = study.records["sales"], study.file.channels[channel].product
    real = sales.kind.fillna("sale").eq("sale") & (sales.buyers != 0)
    return sales[(sales.channel == channel) & (sales["product"] == product) & real]


@lru_cache(maxsize=32)  # each number of a channel asks for it
def orders_of(study: Study, channel: str) -> pd.DataFrame | None:
    """Real sales of a channel's product, a row an order, or the takings of so many `buyers` [order]: pieces [piece], money [money], date; None
    without any. Rows that name the same order are one, of the same buyers."""
    if "sales" not in study.records or (mine := _sales_of(study, channel)).empty:
        return None
    mine = mine.reset_index(names="row")
    order = mine.order.where(mine.order.notna(), "row " + mine.row.astype(str))
    sums = ["pieces", "price", "postage_charged", "postage_paid", "packaging", "fees", "refund"]
    mine[sums] = mine[sums].apply(pd.to_numeric)
    groups = mine.assign(buyers=buyers_of(mine)).groupby(order)
    return groups[sums].sum(min_count=1).assign(date=groups.date.min(), buyers=groups.buyers.max())


def _offered(study, channel):
    """First and last day on which orders could have come: since it is offered, else since all logs began, until they end."""
    dates, since = study.dates, study.file.channels[channel].offered_since
    return dates.min() if since is None else pd.Timestamp(since), dates.max()


@lru_cache(maxsize=32)
def orders_seen(study: Study, channel: str):
    """Orders of a channel by month [order], how much of each they could have come in [month], and from when, in words, if not from the
    first row.

    None where nothing is told: without a sales log, with logs of one day alone, and before the channel is offered. The time goes
    from `offered_since`, else the first row of all logs, to the last row of all logs; days without an order count, also where
    rows of kind `nothing` are all the sales log has. An order that
    is itself the first row of all logs only starts the clock: orders after one of them are a Poisson process as before it.
    """
    entry = study.file.channels[channel]
    if "sales" not in study.records:
        return None
    first, last = _offered(study, channel)
    if last < first or (entry.offered_since is None and last == first):
        return None
    orders, days, since = orders_of(study, channel), _days_by_month(first, last), ""
    counts = pd.Series(0.0, index=days.index) if orders is None else _by_month(orders, days.index)
    if entry.offered_since is not None:
        since = f" since {first:%Y-%m-%d}"
    elif orders is not None and (study.dates == first).sum() == (_sales_of(study, channel).date == first).sum():
        counts.iloc[0] -= 1
        since = " after the first, with which the logs begin"
    return counts.to_numpy(float), days.to_numpy() / DAYS_PER_MONTH, since


def _days_by_month(first, last):
    """Days of each month from one day to another, both counted. [day]"""
    months = pd.period_range(first, last, freq="M")
    days = pd.Series(months.days_in_month, index=months, dtype=float)
    days.iloc[0] -= first.day - 1
    days.iloc[-1] -= last.days_in_month - last.day
    return days


def _by_month(orders, months):
    """Orders of each of some months. [order]"""
    return orders.buyers.groupby(orders.date.dt.to_period("M")).sum().reindex(months, fill_value=0)


def season_beside(study: Study, channel: str) -> np.ndarray:
    """How many times an average month each month of a channel could have sold, by the season it stands in. [-]

    As stated; from the records, by the same month of other years alone, so that no month explains itself: of a first year the
    season and orders in clusters cannot be told apart, and count as clusters.
    """
    season, months = study.file.cash.season, _days_by_month(*_offered(study, channel)).index
    if season is None:
        return np.ones(months.size)
    if season != "records":
        return season_weights(study)[months.month - 1]
    counts, days = _all_orders(study)
    expected = days * counts.sum() / days.sum()
    others = [one.groupby(one.index.month).transform("sum") - one for one in (counts, expected)]
    return ((others[0] + 1.0) / (others[1] + 1.0)).reindex(months, fill_value=1.0).to_numpy()


def orders_by_month(study: Study) -> pd.DataFrame:
    """Real orders by month (index) and channel (columns), zero where a month has none. [order]"""
    if "sales" not in study.records:
        return pd.DataFrame()
    parts = {c: orders_of(study, c) for c in study.file.channels}
    months = pd.period_range(*_time_of_sales(study), freq="M")
    return pd.DataFrame({c: _by_month(p, months) for c, p in parts.items() if p is not None})


def _time_of_sales(study):
    """First and last day on which an order could have come in any channel."""
    spans = [_offered(study, channel) for channel in study.file.channels]
    return min(study.records["sales"].date.min(), *(first for first, _ in spans)), max(last for _, last in spans)


def _all_orders(study):
    """Orders of all channels by month [order], and the days of each month in which they could have come [day]."""
    days = _days_by_month(*_time_of_sales(study))
    return orders_by_month(study).reindex(days.index, fill_value=0).sum(axis=1), days


def season_told(study: Study) -> float:
    """Share of a season in the sales log that is believed: as many twelfths as it has months, all of a year's. [-]"""
    return min(len(_all_orders(study)[0]) / FULL_YEAR, 1.0) if study.records.get("sales") is not None else 0.0


def season_table(study: Study) -> pd.DataFrame:
    """Orders of each calendar month seen [order] against the average one [-], all channels, with the middle eight in ten.

    A month's index is its orders a day over the orders a day of the whole, with the gamma posterior of a Poisson rate whose
    prior counts for one order at the average rate. With less than a year of sales a season cannot be told from a trend: what is
    beyond the average is then believed by as many twelfths as there are months. Empty then too, unless the study asks for it.
    """
    if not (counted := len(orders_by_month(study))) or (counted < FULL_YEAR and study.file.cash.season != "records"):
        return pd.DataFrame()
    months, days = _all_orders(study)
    counts, told = months.groupby(months.index.month).sum(), season_told(study)
    exposure = days.groupby(months.index.month).sum() * counts.sum() / days.sum()  # orders the average rate would bring
    parts = [scipy.stats.gamma.ppf(p, counts + 1.0) for p in (0.1, 0.9)]
    index, low, high = (1.0 + told * (part / (exposure + 1.0) - 1.0) for part in (counts + 1.0, *parts))
    return pd.DataFrame({"month": counts.index, "orders": counts.values, "index": index.values, "low": low, "high": high})


def season_weights(study: Study) -> np.ndarray:
    """Twelve weights from January that add up to 12: stated, from the sales, or level; months never seen are average ones. [-]

    StudyError if the study asks for the season of records without a sales log.
    """
    season, weights = study.file.cash.season, np.ones(FULL_YEAR)
    if season == "records":
        if study.records.get("sales") is None and study.as_of is None:  # by an early day there may be none yet
            right = "a sales log, twelve weights from January, or no season"
            raise refusal(STUDY_FILE, "season asked of records without sales", right, column="cash.season", found="no sales log")
        if len(table := season_table(study)):
            weights[table.month.to_numpy() - 1] = table["index"]
    elif season is not None:
        weights = np.asarray(season, float)
    return season_shares(weights) * FULL_YEAR


def channel_summary(study: Study) -> pd.DataFrame:
    """What an order really brought in each channel, on average, and how often it went wrong. [money/order]"""
    rows, sales = {}, study.records.get("sales")
    for channel, entry in study.file.channels.items():
        mine = orders_of(study, channel)
        if mine is not None:
            orders = mine.buyers.sum()
            mean = mine.drop(columns=["date", "buyers"]).astype(float).fillna(0.0).sum() / orders
            net = mean.price + mean.postage_charged - mean.fees - mean.postage_paid - mean.packaging - mean.refund
            kinds = sales.kind[(sales.channel == channel) & (sales["product"] == entry.product)].value_counts()
            rows[channel] = {
                "orders": orders,
                **mean.to_dict(),
                "net": net,
                "refunded": float((mine.refund.fillna(0.0) > 0).sum() / orders),
                "replaced": kinds.get("replacement", 0) / orders,
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
