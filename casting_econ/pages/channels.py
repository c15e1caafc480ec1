"""The channels page: from sales to pay, what each channel leaves, and prices."""

import numpy as np
import pandas as pd

from ..kit import OpenStudy, format_of
from .mix import activities
from .table import shown

__all__ = ["channel_table", "money_steps", "price_place"]


@shown(
    "channels-left-an-hour",
    "Each channel a year, before overhead, equipment and weekly hours",
    "channel: text; orders a year: 0; pieces a year: 0; sales a year: money0; kept of sales: percent; "
    "left after material: money0; hours a year: 0; left an hour: money",
)
def channel_table(kit: OpenStudy) -> pd.DataFrame:
    """What each channel brings a year, and what is left for an hour before shared costs."""
    found, rows = activities(kit), []
    for n, (name, channel) in enumerate(kit.point().channels.items()):
        orders, sales = float(channel["orders"]), float(channel["revenue"])
        left = float(found.left[n] * orders - channel["stall_fees"])
        hours = float(found.hours[n] * orders + channel["stall_hours"])
        kept, hourly = (part / whole if whole else np.nan for part, whole in ((float(channel["net"]), sales), (left, hours)))
        rows.append((name, orders, float(channel["pieces"]), sales, kept, left, hours, hourly))
    return rows


@shown("channels-from-sales-to-pay", "From sales to what is left for every hour, a year", "step: text; money a year: money0")
def money_steps(kit: OpenStudy) -> pd.DataFrame:
    """From sales down to what is left for the maker's hours. [money/year]"""
    totals = kit.point().totals
    kinds = ("fees", "postage", "packaging", "refunds", "stall_fees", "material", "freak_loss", "overhead", "equipment")
    rows = [("sales and postage charged", float(totals["revenue_per_year"]))]
    rows += [(kind.replace("_", " "), -float(totals[f"{kind}_per_year"])) for kind in kinds if totals[f"{kind}_per_year"]]
    return [*rows, ("left for every hour", float(totals["residual_pay_per_year"]))]


@shown(
    "channels-prices-seen-{product}",
    "Asking prices seen a piece, and {product}",
    "asking prices: text; seen: 0; 1 in 4 below: money; half below: money; 1 in 4 above: money; ours: money; below ours: percent",
)
def price_place(kit: OpenStudy, product: str) -> pd.DataFrame:
    """Our price a piece among asking prices seen: quantiles and the share of asking prices below ours."""
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
    naive = float(totals["residual_pay_per_year"] / totals["make_hours_per_year"])
    return (
        f"{fmt.percent(hidden)} of the {fmt.number(totals['hours_per_year'])} hours of the year are not making: orders, stalls, books, cleaning. "
        f"Over the making hours alone the same money would look like {fmt.money(naive)} an hour; over every hour it is **{fmt.money(float(totals['pay_per_hour']))}**."
    )


def price_sentences(kit: OpenStudy) -> str:
    """Price now against both break-even prices, by product."""
    fmt, rows = format_of(kit), []
    for name, found in kit.point().products.items():
        now, target, cash = (float(found[key]) for key in ("mean_price_per_piece", "break_even_price", "cash_break_even_price"))
        factor = target / now
        side = (
            "about the same as"
            if abs(factor - 1) < 0.005
            else f"{fmt.percent(abs(factor - 1))} {'above' if factor > 1 else 'below'}"
        )
        if target <= 0:
            rows.append(
                f"A **{name}** sells for {fmt.money(now)} on average; the rest of the studio earns the target without it."
            )
            continue
        rows.append(
            f"A **{name}** sells for {fmt.money(now)} on average. Every hour earns the target at {fmt.money(target)}, {side} that "
            f"(a factor of {fmt.number(factor, 2)}); at {fmt.money(max(cash, 0.0))} the bills are paid and the hours earn nothing."
        )
    return "\n\n".join(rows)
