"""The scrap page: break-even over scrap rates."""

import numpy as np
import pandas as pd

from ..kit import OpenStudy, format_of, grid
from .conditions import break_even_prices, scrap_lever, solve_for_target
from .monte_carlo import LOSS
from .table import shown


def pay_at_scrap(kit: OpenStudy, product: str, *rates: float) -> list[float]:
    """Pay an hour at the point, with so much of the casts of a product scrapped, for each rate [-]. [money/hour]"""
    return np.broadcast_to(grid(kit, rates, product=product).totals["pay_per_hour"], len(rates)).tolist()


def break_even_scrap(kit: OpenStudy, product: str) -> float | None:
    """Scrap rate at which an hour pays the target, at most what the lever reaches; None when even none at all does not. [-]"""
    if pay_at_scrap(kit, product, 0.0)[0] < float(kit.inputs().target_per_hour):
        return None
    lever = scrap_lever(kit, product)
    found = float(solve_for_target(kit, [lever])[0])
    return lever.high if np.isnan(found) else found


@shown(
    "scrap-{product}",
    "Break-even of {product} over scrap rates; the share is the part of expected demand that must be sold before every hour earns the target, "
    "none where no quantity does: each piece brings less than its own time and material, or the workshop is full before",
    "scrap rate: percent; casts a good piece: 2; cost a good piece: money; scrap cost a good piece: money; break-"
    "even price: money; cash break-even price: money; pay an hour: money; *: money0; break-even share of demand: percent",
)
def scrap_curve(kit: OpenStudy, product: str, rates) -> pd.DataFrame:
    """Cost, break-even prices and pay over scrap rates of one product. [money/piece, money/hour]"""
    outcome = grid(kit, rates, product=product)
    found = outcome.products[product] | break_even_prices(kit, product, rates)
    columns = {
        "scrap rate": np.asarray(rates),
        "break-even price": found["break_even_price"],
        "cash break-even price": found["cash_break_even_price"],
        "pay an hour": outcome.totals["pay_per_hour"],
        "casts a good piece": found["casts_per_good_piece"],
        "cost a good piece": found["cost_per_good_piece"],
        "scrap cost a good piece": found["scrap_cost_per_good_piece"],
        "break-even share of demand": outcome.totals["pay_break_even_share_of_demand"],
    }
    if float(kit.point().totals["pay_per_hour"]) < 0:  # where an hour looks the better for more scrap
        columns["left a year"] = outcome.totals["residual_pay_per_year"]
    return pd.DataFrame({name: np.broadcast_to(value, np.shape(rates)) for name, value in columns.items()})


def what_scrap_moves(kit: OpenStudy, curve: pd.DataFrame) -> tuple[str, float, str]:
    """Column of the curve to draw, pay an hour or, where that is below nothing and misleads, the year; the level that is aimed at, and its name."""
    if "left a year" in curve:
        return "left a year", 0.0, "bills paid"
    return "pay an hour", float(kit.inputs().target_per_hour), "target"


def scrap_now(kit: OpenStudy, product: str) -> str:
    """Today's scrap rate and what none at all would add: to an hour, or to the year where an hour is below nothing."""
    fmt, scrap, year = format_of(kit), 1 - float(kit.point().products[product]["yield"]), kit.point().totals
    # below nothing an hour misleads, so there it is the year that is spoken of
    loss = float(year["pay_per_hour"]) < 0
    of, what, verb = ("residual_pay_per_year", "the year", "leave") if loss else ("pay_per_hour", "an hour", "bring")
    now = float(year[of])
    none, more = grid(kit, (0.0, scrap + 0.05 if scrap < 0.95 else scrap), product=product).totals[of]
    start = f"Today {fmt.percent(scrap, 1)} of the casts of {product} end as scrap. Without any, {what} would {verb} {fmt.money(none)} instead of {fmt.money(now)}"
    if scrap == 0:
        start = f"No cast of {product} ends as scrap in this study, and {what} {verb}s {fmt.money(now)}"
    moved = f"{'add' if more > now else 'cost'} {fmt.money(abs(more - now))}"
    change = f"; five points more scrap would {moved}" if scrap < 0.95 else ""
    return f"{start}{change}.{f' {LOSS}' if loss else ''}"


def scrap_break_even(kit: OpenStudy, product: str) -> str:
    """The scrap rate at which an hour pays the target, or that none does."""
    fmt, rate = format_of(kit), break_even_scrap(kit, product)
    now = 1 - float(kit.point().products[product]["yield"])
    target = fmt.money(float(kit.inputs().target_per_hour))
    if rate is None:
        return f"**No scrap rate does:** even with none at all an hour stays below the target of {target}. Less scrap alone is not enough."
    if rate == scrap_lever(kit, product).high:
        return f"Even with {fmt.percent(rate)} of the casts scrapped an hour would pay the target of {target}."
    verb, side = ("may rise to", "above") if rate > now else ("would have to fall to", "below")
    room = f"{fmt.percent(abs(rate - now), 1)[:-2]} points {side} today's {fmt.percent(now, 1)}"
    return f"Scrap {verb} **{fmt.percent(rate, 1)}** before an hour pays just the target of {target}: {room}."
