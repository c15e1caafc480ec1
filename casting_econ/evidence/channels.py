"""What the logs say about one number of a channel: its orders, how they come, and what each brings."""

from dataclasses import replace

import numpy as np

from ..faults import counted
from .finding import MONTHS, Finding, mean_finding, prior_weight_of, rows_finding, share_finding, weight_in
from .market import orders_of, orders_seen, season_beside
from .months import PRIOR_DISPERSION, PRIOR_SIZES, counts_posterior, prior_of, sizes_posterior
from .posteriors import PRIOR_SPREAD, rate_prior, stated_range

SCATTERS = ("clustering", "size_spread")  # how orders differ; what is usual of them is known without a worth


def channel_finding(study, channel, kind, number):
    """What the logs say about one number of a channel, None when they are silent."""
    sheet, entry = study.records.get("timesheet"), study.file.channels[channel]
    if kind == "minutes_per_order":
        rows = None if sheet is None else sheet[(sheet.step == channel) & (sheet.pieces_handled > 0)]
        if rows is None or rows.empty or number.value <= 0:
            return None
        data = f"{counted(len(rows), 'timesheet row')}, {counted(round(rows.pieces_handled.sum()), 'order')}"
        handled = rows.pieces_handled.to_numpy(float)
        weight = number.prior_weight / handled.mean()
        return rows_finding(number, weight, rows.minutes.to_numpy(float), handled, data, "timesheet rows", PRIOR_SPREAD)
    if kind in ("orders", "clustering"):
        return _orders(study, channel, kind, number)
    mine = orders_of(study, channel)
    if mine is None:
        return None
    if kind == "refund_share":
        if mine.refund.isna().all():  # nothing written down is not known, which is not none
            return None
        charged = (mine.price + mine.postage_charged.fillna(0.0)).where(lambda amount: amount > 0)
        back, count = float(((mine.refund.fillna(0.0) / charged).clip(upper=1.0) * mine.buyers).sum()), mine.buyers.sum()
        return share_finding(number, back, count, f"{back:.1f} orders' worth paid back of {count}", "orders")
    if kind in ("price", "pieces_per_order", "postage_charged", "postage_paid", "packaging"):
        return _money(entry, channel, kind, number, mine)
    return _sizes(number, mine.pieces[mine.buyers == 1].dropna().astype(float)) if kind == "size_spread" else None


def _scale_prior(number, usual, rows):
    """Median of a scatter and its log standard deviation: as stated, as wide as so many rows of it would leave it, else as is usual."""
    if number.distribution is not None:
        middle, spread = stated_range(number.distribution, logarithms=True)
        return float(np.exp(middle)), spread
    return number.value or usual[0], min(usual[1], 1 / np.sqrt(rows)) if rows and number.value else usual[1]


def _scatter(prior, posterior, observed, data, amount, counted):
    """Finding for a scatter, whose log standard deviation falls with the root of what is counted."""
    left = stated_range(posterior, logarithms=True)[1]
    worth = amount * left**2 / max(prior[1] ** 2 - left**2, 1e-9)
    return Finding(posterior, prior_of(*prior[:2]), observed, data, worth, amount, counted)


def _orders(study, channel, kind, number):
    """Orders a year, or how far they come in clusters, by month; what the study states of clusters without records is taken as known."""
    seen, entry = orders_seen(study, channel), study.file.channels[channel]
    if seen is None:
        return None
    (counts, parts, since), season = seen, season_beside(study, channel)
    season = season if np.all(season[counts > 0] > 0) else np.ones(season.size)  # a month without a season that sold has one
    here = parts * season > 0
    time, counts = (parts * season)[here], counts[here]
    orders, clusters = number, study.numbers.get(f"channels.{channel}.clustering", entry.clustering)
    if kind == "clustering":
        orders, clusters = entry.orders, number
    known = "clustering" in entry.model_fields_set and not clusters.from_records and clusters.distribution is None
    # a scatter of counts is known half as well as one of sizes
    worth = weight_in(clusters, "month") / 2 if clusters.prior_weight else 0.0
    none = 0.0 if known or clusters.value or clusters.distribution else 1.0 - (1.0 - PRIOR_DISPERSION[2]) / (1.0 + worth)
    prior = *((clusters.value, 0.0) if known else _scale_prior(clusters, PRIOR_DISPERSION, worth)), none
    weight = weight_in(replace(orders, prior_weight=prior_weight_of(orders)), "month") / MONTHS
    stated, weight = rate_prior(orders.value, weight, orders.distribution)
    guess, firm = (stated / MONTHS, weight * MONTHS), orders.distribution is not None
    rate, alike, none = counts_posterior(*guess, counts, time, prior, firm=firm)
    count, mean = int(counts.sum()), counts.sum() / time.sum() * time
    if kind == "clustering":
        beyond = float(np.sum((counts - mean) ** 2 - mean) / np.sum(mean**2)) if count else 0.0
        data = f"{counted(count, 'order')} by month, {counts.min():.0f} to {counts.max():.0f}{since}"
        found = _scatter(prior, alike, max(beyond, 0.0), data, float(parts.sum()), "months")
        return replace(found, posterior=alike.or_none(none), prior=found.prior.or_none(prior[2]))
    of_year = [one.mapped(lambda rate: rate * MONTHS) for one in (rate, counts_posterior(*guess, [], [], prior, firm=firm)[0])]
    beside = (prior[0] if alike is None else alike.or_none(none).middle) * guess[0] if firm else 0.0
    months = guess[1] * (1.0 + beside)  # that the guess counts for, of such as differ like these
    posterior, prior = of_year[0], replace(of_year[1], middle=stated)
    data, observed = f"{counted(count, 'order')} in {parts.sum():.1f} months{since}", count / float(time.sum()) * MONTHS
    return Finding(posterior, prior, observed, data, months, float(parts.sum()), "months")


def _sizes(number, pieces):
    """How orders differ in pieces."""
    pieces = pieces[pieces > 0]
    if pieces.empty:
        return None
    prior = _scale_prior(number, PRIOR_SIZES, 2 * (number.prior_weight or 0.0))
    data = f"{counted(len(pieces), 'order')} of {pieces.min():g} to {pieces.max():g} pieces"
    observed = float(pieces.std(ddof=0) / pieces.mean())
    return _scatter(prior, sizes_posterior(pieces, prior), observed, data, float(len(pieces)), "orders")


def _money(entry, channel, kind, number, mine):
    """Money or pieces of an order."""
    seen = mine[kind.replace("pieces_per_order", "pieces")].dropna().astype(float)
    if seen.sum() <= 0 or number.value <= 0:
        return None
    buyers = mine.buyers[seen.index]
    data, asked = counted(buyers.sum(), "order"), entry.pieces_per_order
    if kind == "price" and not asked.from_records:  # by the piece, as orders differ in size; then for an order of the stated size
        size = asked.value
        by_piece = replace(number.scaled(1 / size, number.unit), prior_weight=number.prior_weight * size)
        found = mean_finding(by_piece, seen, mine.pieces[seen.index], data, "orders")
        posterior, prior = (one.mapped(lambda price: price * size) for one in (found.posterior, found.prior))
        weight, observed = found.prior_weight / size, found.observed * size
        return replace(
            found, posterior=posterior, prior=prior, observed=observed, prior_weight=weight, amount=float(buyers.sum())
        )
    found, pieces = mean_finding(number, seen, buyers, data, "orders"), mine.pieces[seen.index].astype(float) / buyers
    if kind == "price" and len(seen) > 2 and seen.std() > 0 and pieces.std() > 0:
        together = float(np.corrcoef(seen / buyers, pieces)[0, 1]) * len(seen) / (len(seen) + found.prior_weight)
        return replace(found, tied={f"channels.{channel}.pieces_per_order": float(np.clip(together, -0.999, 0.999))})
    return found
