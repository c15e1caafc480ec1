"""The channels page: from sales to pay, what each channel and each order leaves, and prices."""

import numpy as np
import pandas as pd

from ..kit import OpenStudy, format_of
from .conditions import MOST_PRICE, break_even_prices
from .cost import CARRIED
from .mix import activities, the_mix
from .table import shown


@shown(
    "channels-left-an-hour",
    "Each channel a year, as many orders as can be made, before overhead, equipment and weekly hours",
    "channel: text; orders a year: 0; pieces a year: 0; sales a year: money0; kept of sales: percent; "
    "left after material: money0; hours a year: 0; left an hour: money",
)
def channel_table(kit: OpenStudy) -> pd.DataFrame:
    """What each channel brings a year, and what is left for an hour before shared costs. [order, piece, money and hour a year; money/hour]"""
    found, rows = activities(kit), []
    for n, (name, channel) in enumerate(kit.point().channels.items()):
        orders, sales = float(channel["orders"]), float(channel["revenue"])
        left = float(found.left[n] * orders - channel["stall_fees"])
        hours = float(found.hours[n] * orders + channel["stall_hours"])
        kept, hourly = (part / whole if whole else np.nan for part, whole in ((float(channel["net"]), sales), (left, hours)))
        rows.append((name, orders, float(channel["pieces"]), sales, kept, left, hours, hourly))
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
        told = f"{none} pays the bills, let alone the hours" if cash > MOST_PRICE * now else f"{earns}; {paid}"
        rows.append(f"{sells}. {told}." if target > 0 else f"{sells}; the rest of the studio earns the target without it.")
    return "\n\n".join(rows)
