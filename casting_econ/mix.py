"""Channels against each other: what an order leaves, what is full, which mix brings most, and what dropping one does."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from .analysis import Kit
from .assumptions import assumptions_at, draw_values
from .formatting import Format
from .models import evaluate
from .models.mix import Mix, best_mix
from .models.studio import HANDS
from .uncertainty import in_chunks, round_up_draws

__all__ = [
    "Activities",
    "activities",
    "alone",
    "drop_sentence",
    "drop_table",
    "floors",
    "mix_sentences",
    "mix_table",
    "order_table",
    "the_mix",
]


@dataclass(frozen=True, kw_only=True)
class Activities:
    """What one order of each channel brings and takes, at the study's point."""

    names: tuple[str, ...]
    demand: np.ndarray  # [order/year]
    pieces: np.ndarray  # sold [piece/order]
    left: np.ndarray  # of an order after fees, postage, packaging, refunds and material [money/order]
    hours: np.ndarray  # making, packing, talking; days at a stall apart [hour/order]
    loads: np.ndarray  # [load/order]
    resources: tuple[str, ...]  # that can be full, hands last
    use: np.ndarray  # share of each resource in a year that one order takes; shape (resources, channels) [1/order]
    spare_hours: float  # a year, fixed and stall hours off [hour/year]
    target: float  # [money/hour]

    @property
    def after_target(self) -> np.ndarray:
        """What is left of an order after the target for its hours. [money/order]"""
        return self.left - self.hours * self.target


def activities(kit: Kit, *, stated: bool = False) -> Activities:
    """Work out one order of each channel by itself; learning and mould life as in the year."""
    a = kit.inputs(stated=stated)
    point, names = evaluate(a), tuple(c.name for c in a.channels)
    orders = np.array([float(np.asarray(c.orders_per_year)) for c in a.channels])
    each = np.eye(len(names)) * orders
    # every channel alone in its own row of one evaluation: what it takes of each resource
    single = evaluate(replace(a, channels=tuple(replace(c, orders_per_year=each[:, n]) for n, c in enumerate(a.channels))))
    resources = tuple(single.use_at_demand)
    wanted = np.where(orders > 0, orders, 1.0)
    use = np.array([np.broadcast_to(single.use_at_demand[name], orders.shape) for name in resources]) / wanted
    rows = []
    for c in a.channels:
        product, channel = point.products[c.product], point.channels[c.name]
        made = c.pieces_per_order / (1.0 - next(p for p in a.products if p.name == c.product).unsold_share)
        left = channel["net_per_order"] - made * product["material_per_good_piece"]
        hours = (made * product["minutes_per_good_piece"] + c.minutes_per_order) / 60.0
        casts = next(p for p in a.products if p.name == c.product).casts_per_load
        rows.append((c.pieces_per_order, left, hours, made * product["casts_per_good_piece"] / casts))
    pieces, left, hours, loads = np.array(rows, float).T
    stall = sum(c.days_per_year * c.hours_per_day for c in a.channels)
    spare = (a.hours_per_week - a.fixed_hours_per_week) * a.weeks_per_year - stall
    return Activities(
        names=names,
        demand=orders,
        pieces=pieces,
        left=left,
        hours=hours,
        loads=loads,
        resources=resources,
        use=use,
        spare_hours=float(spare),
        target=float(a.target_per_hour),
    )


def order_table(kit: Kit) -> pd.DataFrame:
    """What one order of each channel leaves: by order, by hour, by load, and by the hours it takes."""
    found = activities(kit)
    return pd.DataFrame(
        {
            "channel": found.names,
            "left an order": found.left,
            "hours": found.hours,
            "left an hour": found.left / np.where(found.hours > 0, found.hours, np.nan),
            "loads": found.loads,
            "left a load": found.left / np.where(found.loads > 0, found.loads, np.nan),
            "after the target": found.after_target,
        }
    )


def floors(kit: Kit, *, stated: bool = False) -> pd.DataFrame:
    """Two floors of the price a piece by channel: extra cost and full cost, beside the price.

    Notes
    -----
    Extra cost: the price at which an order, fees, postage, packaging, refunds, material and its own hours at the target paid, leaves
    nothing. Full cost: the same with the share of overheads, equipment and weekly hours that a good piece carries.
    """
    a, point = kit.inputs(stated=stated), kit.point(stated=stated)
    found, rows = activities(kit, stated=stated), []
    for n, c in enumerate(a.channels):
        product = point.products[c.product]
        kept = 1.0 - float(np.asarray(c.fee_share)) - float(np.asarray(c.refund_share))
        carried = sum(product["cost_by_kind"][kind] for kind in ("overhead", "equipment", "weekly hours"))
        lower = found.after_target[n] / kept
        extra = (c.price - lower) / c.pieces_per_order if kept > 0 else np.inf
        full = extra + carried / kept if kept > 0 else np.inf
        rows.append((c.name, float(c.price / c.pieces_per_order), float(extra), float(full)))
    return pd.DataFrame(rows, columns=["channel", "price a piece", "extra cost", "full cost"])


def the_mix(kit: Kit, least: dict[str, float] | None = None, *, at_target: bool = True) -> tuple[Activities, Mix]:
    """The orders of each channel that bring most a year within what the workshop holds.

    Parameters
    ----------
    kit : Kit
        Open study, taken at its point.
    least : dict of str to float, optional
        Orders a year that must be met, by channel.
    at_target : bool, optional
        Whether own hours are a cost at the target; otherwise they only limit.

    Returns
    -------
    Activities, Mix
        Capacities are a year of each resource, so the worth of a resource is that of one more of it as a whole.
    """
    found = activities(kit)
    least = np.array([min((least or {}).get(name, 0.0), most) for name, most in zip(found.names, found.demand, strict=True)])
    gain = found.after_target if at_target else found.left
    return found, best_mix(gain, found.use, np.ones(len(found.resources)), found.demand, least)


def mix_table(kit: Kit) -> pd.DataFrame:
    """Orders a year by channel in the best mix, beside expected demand, and what one more order would be worth."""
    found, mix = the_mix(kit)
    return pd.DataFrame(
        {
            "channel": found.names,
            "demand": found.demand,
            "best mix": mix.amounts,
            "after the target": found.after_target,
            "one more order": mix.worth_of_demand,
        }
    )


def mix_sentences(kit: Kit, fmt: Format) -> str:
    """The best mix in words, with the worth of what is full."""
    found, mix = the_mix(kit)
    cut = [n for n in range(len(found.names)) if mix.amounts[n] < found.demand[n] - 1e-6]
    text = []
    if not cut:
        text.append(
            "Every channel is worth serving in full: each order leaves more than the target for its hours, and nothing is too full for all of them."
        )
    for n in cut:
        why = (
            "an order leaves less than the target for its own hours"
            if found.after_target[n] <= 0
            else "what it takes is worth more elsewhere"
        )
        kept = (
            f"only {fmt.number(mix.amounts[n])} of {fmt.number(found.demand[n])} orders" if mix.amounts[n] > 0.5 else "no orders"
        )
        text.append(f"The best mix takes **{kept} of {found.names[n].replace('-', ' ')}**, because {why}.")
    weeks = float(kit.inputs().weeks_per_year)
    for name, worth in zip(found.resources, mix.worth_of_resource, strict=True):
        if worth <= 1e-6:
            continue
        if name == HANDS:
            text.append(
                f"Hands are full: one more hour a week is worth about {fmt.money(worth * weeks / found.spare_hours, 0)} a year beyond its own pay at the target."
            )
        else:
            row = found.use[found.resources.index(name)] * mix.amounts
            loads = float((found.loads * mix.amounts)[row > 0].sum())
            if loads > 0:
                each = worth / loads * weeks  # the resource holds as many loads as are made in it now
                text.append(
                    f"The {name.replace('-', ' ')} is full: one more load a week is worth about {fmt.money(each, 0)} a year beyond own hours at the target."
                )
            else:
                text.append(f"The {name.replace('-', ' ')} is full.")
    return " ".join(text)


def alone(kit: Kit, name: str, orders: float | None = None, *, stated: bool = False) -> dict[str, float]:
    """The year with one channel only, all fixed hours and costs on it."""
    a = kit.inputs(stated=stated)
    channels = tuple(
        replace(c, orders_per_year=c.orders_per_year if orders is None else orders) for c in a.channels if c.name == name
    )
    return {key: float(value) for key, value in evaluate(replace(a, channels=channels)).studio.items()}


def drop_table(kit: Kit, draws: int | None = None, seed: int | None = None) -> pd.DataFrame:
    """The year without each channel, on the draws of the study: change in pay with its band, and the chance that it is better."""
    draws = round_up_draws(draws or kit.study.file.study.draws)
    seed = kit.study.file.study.seed if seed is None else seed
    names = list(kit.study.file.channels)

    def work(start, stop):
        a = assumptions_at(kit.study, draw_values(kit.assumed, draws, seed, start, stop))
        found = {}
        for name in (None, *names):
            left = tuple(c for c in a.channels if c.name != name)
            if not left:
                continue
            studio = evaluate(replace(a, channels=left)).studio
            over = studio["residual_pay_per_year"] - a.target_per_hour * studio["hours_per_year"]
            found |= {
                (name, "pay"): studio["pay_per_hour"],
                (name, "residual"): studio["residual_pay_per_year"],
                (name, "over"): over,
            }
        return {key: np.broadcast_to(np.asarray(value, float), (stop - start,)) for key, value in found.items()}

    found = in_chunks(work, draws)
    rows = []
    for name in names:
        if (name, "pay") not in found:
            continue
        change = found[name, "over"] - found[None, "over"]
        low, high = np.quantile(change, [0.1, 0.9])
        rows.append(
            {
                "without": name,
                "pay an hour": float((found[name, "pay"] - found[None, "pay"]).mean()),
                "pay a year": float((found[name, "residual"] - found[None, "residual"]).mean()),
                "change beyond the target": float(change.mean()),
                "low": float(low),
                "high": float(high),
                "chance better": float((change > 0).mean()),
            }
        )
    return pd.DataFrame(rows)


def drop_sentence(frame: pd.DataFrame, fmt: Format) -> str:
    """Which channel, if any, is better dropped; claims no more than its chance."""
    if frame.empty:
        return "With one channel there is none to drop."
    best = frame.loc[frame["change beyond the target"].idxmax()]
    name = best.without.replace("-", " ")
    gain = best["change beyond the target"]
    if gain > 0 and best["chance better"] >= 0.8:
        return f"**Dropping {name} would be better** by about {fmt.money(gain, 0)} a year beyond the target, with a chance of {fmt.chance(best['chance better'])}."
    if gain > 0:
        return f"Dropping {name} might be better ({fmt.money(gain, 0)} a year on average), but only with a chance of {fmt.chance(best['chance better'])}."
    return f"No channel is better dropped: even without {name}, which costs least to lose, a year brings {fmt.money(-gain, 0)} less beyond the target."
