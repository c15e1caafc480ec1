"""Channels against each other: what an order takes and leaves, what is full, and which mix brings most."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..formatting import Format
from ..kit import OpenStudy
from ..models import Workshop, evaluate
from ..models.checks import share_of
from ..models.mix import Mix, best_mix
from ..models.year import HANDS
from ..models.yields import surviving_share
from .curing import moulds_for
from .job import full_words
from .table import shown


@dataclass(frozen=True, kw_only=True)
class Activities:
    """What one order of each channel brings and takes, at the study's point; n channels, m resources."""

    names: tuple[str, ...]
    demand: np.ndarray  # shape (n,) [order/year]
    pieces: np.ndarray  # sold; shape (n,) [piece/order]
    left: np.ndarray  # of an order after fees, postage, packaging, refunds and material; shape (n,) [money/order]
    hours: np.ndarray  # making, packing, talking; days at a stall apart; shape (n,) [hour/order]
    loads: np.ndarray  # shape (n,) [load/order]
    stall_hours: np.ndarray  # an order's part of the days at a stall; shape (n,) [hour/order]
    stall_fees: np.ndarray  # shape (n,) [money/order]
    resources: tuple[str, ...]  # that can be full, hands last
    units: tuple[str, ...]  # what each is counted in: load, place, hour; shape (m,)
    taken: np.ndarray  # units that one order takes: loads, places all year, hours; shape (m, n) [unit/order]
    use: np.ndarray  # share of each resource in a year that one order takes; shape (m, n) [1/order]
    capacity: np.ndarray  # share that orders can have: 1, less what ruined loads take; shape (m,) [-]
    spare_hours: float  # a year, fixed and stall hours off [hour/year]
    weeks: float  # worked [week/year]
    target: float  # [money/hour]

    @property
    def after_target(self) -> np.ndarray:
        """What is left of an order after the target for its hours; shape (n,). [money/order]"""
        return self.left - self.hours * self.target


def activities(kit: OpenStudy) -> Activities:
    """Work out one order of each channel by itself, at the point; learning and mould life as in the year.

    What a station, rack or set of moulds is used is a straight line in orders; its slopes come from the study evaluated with
    half the orders of one channel at a time. Days at a stall are there whatever is sold, so no order takes hours of them.
    """
    a, point, rows = kit.inputs(), kit.point(), []

    def of(name):
        return np.array([getattr(c, name) for c in a.channels], float)

    orders = of("asked")
    for c in a.channels:
        product, p = point.products[c.product], a.product(c.product)
        made = c.pieces_per_order / (1.0 - p.unsold_share)
        left = point.channels[c.name]["net_per_order"] - made * product["material_per_good_piece"]
        hours = (made * product["minutes_per_good_piece"] + c.minutes_per_order) / 60.0
        rows.append((left, hours, made * product["casts_per_good_piece"]))
    left, hours, casts = np.array(rows, float).T
    loads = casts / np.array([a.product(c.product).casts_per_load for c in a.channels], float)
    stall_hours, each = of("days_per_year") * of("hours_per_day"), np.where(orders > 0, orders, np.inf)
    spare = float((a.hours_per_week - a.fixed_hours_per_week) * a.weeks_per_year - stall_hours.sum())
    resources = tuple(point.utilisation_at_demand)
    use = np.vstack([_slopes(a, orders, resources[:-1]), hours / (spare if spare > 0 else 1.0)])
    at_demand = np.array([float(point.utilisation_at_demand[name]) for name in resources])  # ruined loads in it
    ruined = np.where(np.isfinite(at_demand), at_demand - use @ orders, 1.0)  # no hours at all: none for orders
    units, taken = zip(*(_taken(a, name, casts, loads, hours, row) for name, row in zip(resources, use, strict=True)))
    return Activities(
        names=tuple(c.name for c in a.channels),
        demand=orders,
        pieces=of("pieces_per_order"),
        left=left,
        hours=hours,
        loads=loads,
        stall_hours=stall_hours / each,
        stall_fees=of("days_per_year") * of("fee_per_day") / each,
        resources=resources,
        units=units,
        taken=np.array(taken),
        use=use,
        capacity=np.maximum(1.0 - np.where(np.abs(ruined) > 1e-12, ruined, 0.0), 0.0),
        spare_hours=spare,
        weeks=float(a.weeks_per_year),
        target=float(a.target_per_hour),
    )


def _slopes(a: Workshop, orders, resources):
    """Share of each resource but the hands that one more order of each channel takes; nothing where no order is wanted."""
    if not resources:
        return np.empty((0, orders.size))
    counts = np.array([c.orders_per_year for c in a.channels], float)
    fewer = counts * (1.0 - np.vstack([np.zeros(counts.size), np.eye(counts.size) / 2.0]))  # first row: all of them
    found = evaluate(replace(a, channels=tuple(replace(c, orders_per_year=fewer[:, n]) for n, c in enumerate(a.channels))))
    used = np.array([np.broadcast_to(found.utilisation_at_demand[name], counts.size + 1) for name in resources], float)
    return share_of(used[:, :1] - used[:, 1:], orders / 2.0, 0.0)


def _taken(a: Workshop, resource, casts, loads, hours, use):
    """What an order takes of a resource, in units of its own: their name, and how many."""
    if resource == HANDS:
        return "hour", hours
    rack = next((r for r in a.racks if r.name == resource), None)
    if rack is not None:
        return "place", use * float(rack.places)
    if resource in map(moulds_for, (p.name for p in a.products)):
        return "load", np.where(use > 0, loads, 0.0)
    count = []
    for c in a.channels:
        p = a.product(c.product)
        through = surviving_share([s.pass_share for s in p.steps])
        sizes = [p.casts_per_load * t if s.load_size is None else s.load_size for s, t in zip(p.steps, through, strict=True)]
        count.append(sum(t / size for s, t, size in zip(p.steps, through, sizes, strict=True) if s.wait_in == resource))
    return "load", casts * np.array(count, float)


def the_mix(kit: OpenStudy) -> tuple[Activities, Mix]:
    """The orders of each channel that bring most a year within what the workshop holds, at the point, own hours a cost at the target.

    Capacities are shares of a year of each resource, so the worth of a resource is that of one more of it as a whole.
    """
    found = activities(kit)
    return found, best_mix(found.after_target, found.use, found.capacity, found.demand)


def one_more(found: Activities, mix: Mix, resource: str) -> tuple[str, float]:
    """What one more load a week, place or hour a week of a resource is worth a year: that unit in words, and its worth. [money/year]

    The mix is worked out again, so the worth is never more than that at the edge, which holds for small changes only.
    """
    m = found.resources.index(resource)
    made = mix.amounts if found.taken[m] @ mix.amounts > 0 else found.demand
    taken, unit = float(found.taken[m] @ made), found.units[m]
    if taken <= 0.0:
        return unit, 0.0
    unit, times = (unit, 1.0) if unit == "place" else (f"{unit} a week", found.weeks)
    capacity = found.capacity.copy()
    capacity[m] += float(found.use[m] @ made) / taken * times  # by the load as it is on average
    more = best_mix(found.after_target, found.use, capacity, found.demand)
    return unit, max(more.contribution - mix.contribution, 0.0)


@shown(
    "channels-mix",
    "Orders a year in the best mix, what an order leaves after its own hours at the target, days at a stall being there anyway, and what one more "
    "order would be worth",
    "channel: text; demand: 0; best mix: 0; after the target, stall days apart: money; one more order: money; lacks: kept",
)
def mix_table(kit: OpenStudy) -> pd.DataFrame:
    """Orders a year by channel in the best mix, beside expected demand, and what one more order would be worth. [order/year, money/order]

    'Lacks' is what an order would have to leave more before another is taken; 'one more order' what one more buyer is worth.
    """
    found, mix = the_mix(kit)
    return list(zip(found.names, found.demand, mix.amounts, found.after_target, mix.worth_of_demand, mix.reduced_cost))


def mix_sentences(kit: OpenStudy, fmt: Format) -> str:
    """The best mix in words, with the worth of what is full."""
    found, mix = the_mix(kit)
    gain, lacking = found.after_target, "less than the target for its own hours"
    if found.spare_hours <= 0.0:
        return "Weekly hours and days at stalls leave no hours for orders, so no mix can be made."
    cut = [n for n in range(len(found.names)) if mix.amounts[n] < found.demand[n] - 1e-6]
    text = []
    if not cut:
        leaves = "each order leaves more than the target for its hours, and nothing is too full for all of them"
        text = [f"Every channel is worth serving in full: {leaves}."]
    elif 1 < len(cut) == len(found.names) and not mix.amounts.any() and (gain[cut] <= 0).all():
        text = [f"The best mix takes **no orders at all**: an order leaves {lacking} in every channel."]
    for n in () if text else cut:
        others, full = np.where(np.arange(len(found.names)) == n, 0.0, mix.amounts), (mix.spare <= 0.0) & (found.use[:, n] > 0)
        left = f"nothing {'more ' if mix.amounts[n] > 0.5 else ''}is left of what it takes"
        elsewhere = "what it takes is worth more elsewhere" if np.any(found.use[full] @ others > 0.0) else left
        count = f"only {fmt.number(mix.amounts[n])} of {fmt.number(found.demand[n])} orders"
        kept, why = count if mix.amounts[n] > 0.5 else "no orders", elsewhere if gain[n] > 0 else f"an order leaves {lacking}"
        text.append(f"The best mix takes **{kept} of {found.names[n].replace('-', ' ')}**, because {why}.")
    for m, name in enumerate(found.resources):
        if mix.spare[m] > 0.0:
            continue
        unit, worth = one_more(found, mix, name)
        full = full_words(name)
        brings = f": one more {unit} is worth about {fmt.money(worth, 0)} a year beyond own hours at the target."
        text.append(
            full[0].upper()
            + full[1:]
            + (brings if round(worth) > 0 else f", but one more {unit} alone would bring hardly anything.")
        )
    met = np.array([float(kit.point().channels[name]["orders"]) for name in found.names])
    if (mix.spare <= 0.0).any() and (more := mix.contribution - float(gain @ met)) >= 1.0:
        evenly = "Elsewhere in this report what is full is shared out evenly, all orders that need it cut alike"
        text.append(f"{evenly}; this mix instead would bring about {fmt.money(more, 0)} more a year, every hour paid the target.")
    if mix.others_as_good and cut:
        text.append("Other mixes bring as much.")
    if kit.variation == "months":
        whole = "This counts the year as a whole, with as many orders as expected"
        text.append(f"{whole}; in single months something may be full all the same.")
    if found.stall_hours.any():
        text.append(
            "Days at a stall are taken as given here, with their hours and fees: whether to go at all is what the year without it says."
        )
    return " ".join(text)
