"""The channels page: from sales to pay, what each channel and each order leaves, the year without a channel, prices, and what to bring to a stall."""

from dataclasses import replace

import numpy as np
import pandas as pd
import scipy

from ..draws import summarise
from ..formatting import Format
from ..kit import OpenStudy, format_of
from ..models import Workshop, beyond_target, evaluate, newsvendor_quantity
from .change import SURE
from .conditions import MOST_PRICE, break_even_prices
from .cost import CARRIED
from .mix import activities, the_mix
from .table import shown

_ENOUGH = 0.95  # chance of having enough pieces on a day, in the table beside what pays best


@shown(
    "channels-left-an-hour",
    "Each channel a year, as many orders as can be made, before overhead, equipment and weekly hours",
    "channel: text; left an hour: money; orders a year: 0; pieces a year: 0; sales a year: money0; kept of sales: percent; "
    "left after material: money0; hours a year: 0",
)
def channel_table(kit: OpenStudy) -> pd.DataFrame:
    """What each channel brings a year, and what is left for an hour before shared costs. [order, piece, money and hour a year; money/hour]"""
    found, rows = activities(kit), []
    for n, (name, channel) in enumerate(kit.point().channels.items()):
        orders, sales = float(channel["orders"]), float(channel["revenue"])
        left = float(found.left[n] * orders - channel["stall_fees"])
        hours = float(found.hours[n] * orders + channel["stall_hours"])
        kept, hourly = (part / whole if whole else np.nan for part, whole in ((float(channel["net"]), sales), (left, hours)))
        rows.append((name, hourly, orders, float(channel["pieces"]), sales, kept, left, hours))
    return rows


@shown(
    "channels-orders",
    "What one order leaves: by order, by hour, by load, and after its own hours at the target",
    "channel: text; left an order: money; hours: 1; left an hour: money; loads: kept; left a load: money; after the target: money",
)
def order_table(kit: OpenStudy) -> pd.DataFrame:
    """What one order of each channel leaves: by order, by hour, by load, and by the hours it takes. [money/order, hour/order, money/hour, load/order, money/load]

    Left is price and postage charged less fees, postage, packaging, refunds, the material of all pieces made for it and its part
    of the fees of stall days; hours hold its part of those days.
    """
    found = activities(kit)
    left, hours = found.left - found.stall_fees, found.hours + found.stall_hours
    an_hour, a_load = (left / np.where(each > 0, each, np.nan) for each in (hours, found.loads))
    return list(zip(found.names, left, hours, an_hour, found.loads, a_load, left - hours * found.target))


@shown(
    "channels-floors",
    "Floors of the price a piece: what an extra order must bring, the same while something is full, and what carries the workshop",
    "channel: text; price a piece: money; extra cost: money; while full: money; full cost: money",
)
def price_floors(kit: OpenStudy) -> pd.DataFrame:
    """Floors of the price a piece by channel, beside the price: extra cost, extra cost while something is full, and full cost. [money/piece]

    Of an order: extra cost = price - (left - hours x target) / kept, kept being the share of a price that fees and refunds leave;
    there an extra order pays its fees, postage, packaging, refunds, material and own hours at the target, and nothing else.
    While full adds what the order takes of full resources at their worth in the best mix, over kept: it
    pays for the orders it displaces too. Full cost = extra cost + ((overheads + equipment + weekly hours at the target)
    a piece made / (1 - unsold share) + stall fees and hours a piece sold) / kept: with every channel at it, and as many sold, the
    year pays just the target for every hour (ruined loads, which must not set a price, apart).
    """
    a, point = kit.inputs(), kit.point()
    found, mix = the_mix(kit)
    displaced, rows = mix.worth_of_resource @ found.use, []
    for n, c in enumerate(a.channels):
        product, unsold, kept = point.products[c.product], a.product(c.product).unsold_share, float(c.kept_share)
        carried = sum(product["cost_by_kind"][kind] for kind in CARRIED) / (1.0 - unsold)
        met = float(point.channels[c.name]["orders"])
        stall = float(point.channels[c.name]["stall_fees"] + point.channels[c.name]["stall_hours"] * found.target)
        stall = 0.0 if stall == 0.0 else stall / (met * found.pieces[n]) if met > 0 else np.inf
        lower = found.after_target[n] / kept if kept > 0 else -np.inf
        extra = float(c.price - lower) / found.pieces[n]
        full = float(extra + (carried + stall) / kept) if kept > 0 else np.inf
        busy = float(extra + displaced[n] / found.pieces[n] / kept) if kept > 0 else np.inf
        rows.append((c.name, float(c.price) / found.pieces[n], extra, busy, full))
    return rows


@shown("channels-from-sales-to-pay", "From sales to what is left for every hour, a year", "step: text; money a year: money0")
def money_steps(kit: OpenStudy) -> pd.DataFrame:
    """From sales down to what is left for the maker's hours. [money/year]"""
    totals = kit.point().totals
    kinds = ("fees", "postage", "packaging", "refunds", "stall_fees", "material", "ruined_loss", "overhead", "equipment")
    rows = [("sales and postage charged", float(totals["revenue_per_year"]))]
    said = {kind: kind.replace("_", " ") for kind in kinds} | {"ruined_loss": "freak loss"}
    rows += [(said[kind], -float(totals[f"{kind}_per_year"])) for kind in kinds if totals[f"{kind}_per_year"]]
    return [*rows, ("left for every hour", float(totals["residual_pay_per_year"]))]


@shown(
    "channels-prices-seen-{product}",
    "Asking prices seen, a piece, beside what a {product} sells for",
    "asking prices: text; seen: 0; 1 in 4 below: money; half below: money; 1 in 4 above: money; ours: money; below ours: percent",
    fold=True,
)
def price_place(kit: OpenStudy, product: str) -> pd.DataFrame:
    """Our price a piece among asking prices seen: quantiles and the share of asking prices below ours. [money/piece]"""
    seen = kit.study.records.get("prices_seen")
    if seen is None:
        return pd.DataFrame()
    each, ours = seen.price / seen.pieces, float(kit.point().products[product]["mean_price_per_piece"])
    rows = {"all seen": each, "known to have sold": each[seen.sold == "yes"]}
    return [(name, len(v), *v.quantile([0.25, 0.5, 0.75]), ours, float((v < ours).mean())) for name, v in rows.items() if len(v)]


def hidden_hours(kit: OpenStudy) -> str:
    """Share of hours that no bench sees, and what the bench alone would have promised."""
    fmt, totals = format_of(kit), kit.point().totals
    hidden = float(1 - totals["make_hours_per_year"] / totals["hours_per_year"])
    stalls = "stalls, " if any(np.any(channel.days_per_year) for channel in kit.inputs().channels) else ""
    said = f"{fmt.percent(hidden)} of the {fmt.number(totals['hours_per_year'])} hours of the year are not making: orders, {stalls}books, cleaning."
    if totals["make_hours_per_year"] <= 0:
        return f"{said} Over every hour the year brings **{fmt.money(float(totals['pay_per_hour']))}** an hour."
    naive = float(totals["residual_pay_per_year"] / totals["make_hours_per_year"])
    return f"{said} Over the making hours alone the same money would look like {fmt.money(naive)} an hour; over every hour it is **{fmt.money(float(totals['pay_per_hour']))}**."


def price_sentences(kit: OpenStudy) -> str:
    """Price now against both break-even prices, by product; of several products, that each moves alone."""
    fmt, products, rows = format_of(kit), kit.point().products, []
    if len(products) > 1:
        rows.append(
            "One product's prices move at a time, while the others bring what they bring now: so each alone carries the whole workshop."
        )
    for name, found in products.items():
        now, (target, cash) = float(found["mean_price_per_piece"]), map(float, break_even_prices(kit, name).values())
        sells, factor = f"A **{name}** sells for {fmt.money(now)} on average", target / now if now else np.inf
        start = "With the orders that a price brings, every hour just" if name in kit.inputs().elastic else "Every hour"
        side = f"{fmt.percent(abs(factor - 1))} {'above' if factor > 1 else 'below'}"
        side = "about the same as" if abs(factor - 1) < 0.005 else side
        none = f"No price up to {fmt.number(MOST_PRICE)} times today's"
        earns = f"{none} lets every hour earn the target"
        earns = earns if factor > MOST_PRICE else f"{start} earns the target at {fmt.money(target)}, {side} that"
        paid = f"at {fmt.money(cash)} the bills are paid and the hours earn nothing"
        paid = paid if cash > 0 else "the bills are paid whatever it sells for"
        if not now and np.isfinite(target):
            sells, earns, now = (
                f"A **{name}** has no price yet",
                f"{start} earns the target at {fmt.money(target)} a piece",
                np.inf,
            )
        told = f"{none} pays the bills, let alone the hours" if cash > MOST_PRICE * now else f"{earns}; {paid}"
        rows.append(f"{sells}. {told}." if target > 0 else f"{sells}; the rest of the studio earns the target without it.")
    return "\n\n".join(rows)


@shown(
    "channels-without",
    "What the year would gain or lose without each channel, its fixed hours shared by the others: means over the draws; the gain a year is after "
    "paying every hour the target",
    "without: text; pay without: kept; change in pay an hour: money; change in pay a year: money0; change in hours a year: kept; "
    "at the point: kept; change beyond the target: money0; error: kept; low: money0; high: money0; chance better: chance",
)
def drop_table(kit: OpenStudy, draws: int | None = None, seed: int | None = None) -> pd.DataFrame:
    """The year without each channel, on the draws of the study: change in pay with its band, and the chance that it is better. [money/hour, money/year, hour/year]

    The others keep their demand and carry the overheads and weekly hours; the dropped one's days at stalls and their fees go with it. Change
    beyond the target is pay a year less the target for every hour; 'pay without' and 'at the point' are at the point, all else means over draws.
    """
    names = list(kit.study.file.channels)
    if len(names) < 2:
        return []

    found = kit.by_draw(lambda a: {(name, of): value for name in names for of, value in _without(a, name).items()}, draws, seed)
    now, rows = kit.monte_carlo(draws, seed).draws, []
    for name in names:
        point = _without(kit.inputs(), name)
        changes = [found[name, of] - now[of] for of in point]
        beyond, means = changes[-1], [float(np.mean(change[~np.isnan(change)])) for change in changes]
        at_point = float(point["beyond_target"] - beyond_target(kit.inputs(), kit.point()))
        ends, better = np.quantile(beyond, [0.1, 0.9]), float((beyond > 0).mean())
        error = summarise(beyond)["mean_error"]
        rows.append((name, float(point["pay_per_hour"]), *means[:3], at_point, means[3], error, *ends, better))
    return rows


def _without(a: Workshop, name: str):
    """A year without one channel; what no other sells is not made, so no load of it is ruined either."""
    channels = tuple(c for c in a.channels if c.name != name)
    sold = {c.product for c in channels}
    outcome = evaluate(replace(a, channels=channels, products=tuple(p for p in a.products if p.name in sold)))
    totals = {of: outcome.totals[of] for of in ("pay_per_hour", "residual_pay_per_year", "hours_per_year")}
    return totals | {"beyond_target": beyond_target(a, outcome)}


def drop_sentence(frame: pd.DataFrame, fmt: Format) -> str:
    """Which channel, if any, is better dropped; claims no more than its chance and the error of its mean."""
    if frame.empty:
        return "With one channel there is none to drop."
    best = frame.loc[frame["change beyond the target"].idxmax()]
    name, gain, chance = best.without.replace("-", " "), best["change beyond the target"], best["chance better"]
    size, often, known = fmt.money(abs(gain), 0), fmt.chance(chance), abs(gain) > 2.0 * best["error"]
    if gain > 0 and known and chance >= SURE:
        sure = "" if fmt.certain else f", with a chance of {often}"
        return f"**Dropping {name} would be better** by about {size} a year, every hour paid the target{sure}."
    if gain > 0 and chance < 0.5:
        text = f"No channel is clearly better dropped: without {name}, which costs least to lose, a year is better with a chance of only {often}"
        return f"{text}, though the few large gains make {size} more on average."
    if gain > 0:
        return f"Dropping {name} might be better ({size} a year on average), but only with a chance of {often}."
    if abs(gain) < 0.5 and chance == 0:
        return f"No channel is better dropped; without {name} a year would be as it is."
    text = f"No channel is better dropped: even without {name}, which costs least to lose, a year brings {size} less, every hour paid the target"
    return text + (f" on average; with a chance of {often} it would bring more." if chance >= 1.0 - SURE else ".")


@shown(
    "channels-stall",
    "Pieces to bring to a day, over the draws; lost is the mean of a day by too few and too many",
    "channel: text; wanted: 0; short: money; over: money; bring: 0; enough: percent; lost: money; to be sure: 0",
)
def stall_table(kit: OpenStudy, draws: int | None = None, seed: int | None = None) -> pd.DataFrame:
    """What to bring to a day of each channel that has days: enough on most days, and what pays best. [piece, money, -]

    Mean pieces `wanted` a day; `bring` loses least if a piece brought home again is never sold, and is `enough` with that chance; `short` and
    `over` are what a piece missing and a piece left loses, `lost` the mean of a day; `to be sure` is enough on 95 of 100 days.

    Buyers of a day are Poisson about the mean of the draw, each taking the mean number of pieces; the draws are mixed. A piece
    missing loses what a sold one leaves after its hours at the target; a piece left loses its material and hours at most.
    """
    found, a, point = activities(kit), kit.inputs(), kit.point()
    stalls = {n: c for n, c in enumerate(a.channels) if np.any(np.asarray(c.days_per_year) > 0)}
    if not stalls:
        return []
    drawn = kit.by_draw(lambda a: {n: a.channels[n].asked / a.channels[n].days_per_year for n in stalls}, draws, seed)
    rows = []
    for n, c in stalls.items():
        buyers, chances = _buyers(drawn[n])
        size = float(c.pieces_per_order)
        pieces = np.ceil(buyers * size - 1e-9)
        short = float(found.after_target[n] / found.pieces[n])
        kinds = point.products[c.product]["cost_by_kind"]
        over = float(sum(cost for kind, cost in kinds.items() if kind not in CARRIED))
        enough = np.cumsum(chances)
        best = (0.0, float(enough[0]), np.nan) if short <= 0 else (pieces[-1], 1.0, np.nan)
        if short > 0 and over > 0:
            bring, lost = newsvendor_quantity(buyers * size, chances, short, over)
            index = int(np.searchsorted(buyers * size, bring))
            best = pieces[index], float(enough[index]), lost
        sure = pieces[int(np.searchsorted(enough, _ENOUGH))]
        rows.append((c.name, float(chances @ buyers * size), short, over, *best, sure))
    return rows


def _buyers(mean):
    """Numbers of buyers a day and the chance of each, mixed over the draws of their mean."""
    counts = np.arange(int(scipy.stats.poisson.ppf(1.0 - 1e-9, mean.max())) + 1)
    # equal steps of the mean instead of every draw: many draws and counts would fill the memory
    means = np.quantile(mean, (np.arange(256) + 0.5) / 256)
    chances = scipy.stats.poisson.pmf(counts[:, None], means).mean(axis=1)
    return counts, chances / chances.sum()


def stall_sentences(frame: pd.DataFrame, fmt: Format) -> str:
    """What to bring, in words; nothing where there is no stall."""
    text = []
    for row in frame.to_dict("records"):
        name = row["channel"].replace("-", " ")
        name = name[:1].upper() + name[1:]
        if row["short"] <= 0:
            text.append(f"**{name}: a sold piece leaves nothing after its hours at the target**, so bringing more loses more.")
            continue
        text.append(
            f"**{name}: bring about {fmt.count(row['bring'], 'piece')}** to a day on which {fmt.number(row['wanted'])} are "
            f"wanted on average: a piece missing loses {fmt.money(row['short'])}, one left over {fmt.money(row['over'])} at most, and that is "
            f"enough on {fmt.percent(row['enough'])} of days. {fmt.number(row['to be sure'])} are enough on {fmt.percent(_ENOUGH)}. "
            "What keeps can be brought again, so rather more than less; weather and season make days differ more than this."
        )
    return " ".join(text)
