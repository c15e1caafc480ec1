"""How much of what is asked for a workshop can make: month by month, with what waits, what stands ready and what stops work."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from .checks import checked
from .curing import ENOUGH_LOADS, WEEK_HOURS, in_moulds, loads_per_week, places_needed
from .levers import moved_at
from .months import orders_at, pieces_at, weeks_lost

DEMAND, HANDS = "demand", "hands"
_NO_LOADS = 1e-12  # a week; above zero, so that what nobody wants stays zero
_NEVER = 1e-300  # in place of a month without a week to work in


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What buyers ask of a year: by channel, then month. Values are floats or arrays."""

    orders: dict[str, list]  # [order/month]
    pieces: dict[str, list]  # [piece/month]


@dataclass(frozen=True, kw_only=True)
class Month:
    """What one month brought; values are floats or arrays, and pieces are without those never sold."""

    came: dict[str, Any]  # orders of each channel [order]
    met: dict[str, Any]  # orders made and sent, those that had waited among them [order]
    pieces: dict[str, Any]  # sent in each channel [piece]
    lost: dict[str, Any]  # orders of each channel that nobody will make [order]
    shelf: dict[str, Any]  # of each product ready at the end [piece]
    utilisation: dict[str, Any]  # share of each resource that what was asked for needed [-]
    binding: Any  # index into the resources, demand being 0, of what limits


def asked_for(a, orders) -> Asked:
    """What comes each month: as luck has it, else as expected. `orders` by channel are those of a year at its price. [order/year]"""
    luck, months, came, pieces = a.months.luck, range(a.months.season.size), {}, {}
    for c in a.channels:
        mean = np.asarray(orders[c.name])[..., None] * a.months.season * a.months.grown
        size = np.asarray(checked("pieces per order", c.pieces_per_order, above=0.0))[..., None]
        if luck is None:
            found = mean, mean * size
        else:
            number = orders_at(luck.orders[c.name], mean, np.asarray(c.clustering)[..., None])
            found = number, pieces_at(luck.sizes[c.name], number, size, size * np.asarray(c.size_spread)[..., None])
        came[c.name], pieces[c.name] = ([one[..., m][()] for m in months] for one in found)
    return Asked(orders=came, pieces=pieces)


@dataclass(frozen=True, kw_only=True)
class Working:
    """When there is work: a month each, arrays with the months last."""

    weeks: Any  # worked [week/month]
    hours: Any  # left for making and orders; below zero where weekly work and stalls take more than there is [hour/month]
    stations: dict[str, Any]  # share of those weeks that a station works, where something may stop it [-]

    def open_share(self, station, month):
        """Share of a month's weeks that a station works. [-]"""
        return self.stations[station][..., month] if station in self.stations else 1.0


def working(a, stall_hours) -> Working:
    """The months' weeks and hours, less what rare events take; `stall_hours` are those of the year. [hour/year]"""
    full = np.asarray(checked("weeks per year", a.weeks_per_year, above=0.0, high=53.0))[..., None] * a.months.working
    lost = {r.name: weeks_lost(r, full, None if a.months.luck is None else a.months.luck.risks[r.name]) for r in a.risks}
    weeks = np.maximum(full - sum((lost[r.name] for r in a.risks if r.stops is None), 0.0), 0.0)
    own = checked("hours per week", a.hours_per_week, above=0.0, high=WEEK_HOURS)
    own = np.asarray(own - checked("fixed hours per week", a.fixed_hours_per_week, low=0.0, high=WEEK_HOURS))[..., None]
    stations: dict[str, Any] = {}
    for r in a.risks:
        if r.stops is not None:
            left = 1.0 - lost[r.name] / np.maximum(full, _NEVER)
            stations[r.stops] = np.maximum(stations.get(r.stops, 1.0) * left, 0.0)
    return Working(weeks=weeks, hours=own * weeks - np.asarray(stall_hours)[..., None] * a.months.season, stations=stations)


def needs_by_month(a, plans, weeks) -> list[dict]:
    """Of each month, the share of each resource that the year's demand would need if every month were as warm as that one. [-]"""
    known: dict[tuple, dict] = {}
    found = []
    for m in range(a.months.season.size):
        slower = {place: float(by_month[m]) for place, by_month in a.months.slower.items()}
        if tuple(slower.values()) not in known:
            cold = a
            for (product, step), factor in slower.items():
                place = f"products.{product}.steps.{step}.wait_hours"
                cold = moved_at(cold, place, lambda hours, factor=factor: hours * factor)
            known[tuple(slower.values())] = _needs(cold, plans, weeks)
        found.append(known[tuple(slower.values())])
    return found


def _needs(a, plans, weeks):
    """Share of each resource that the year's demand needs, by resource and product."""
    needs: dict[str, dict[str, Any]] = {}
    stations, racks = {s.name: s for s in a.stations}, {r.name: r for r in a.racks}
    for p in a.products:
        plan, surviving, still, emptied = plans[p.name], 1.0, 1.0, None
        moulds = None if p.mould is None else in_moulds(p, [step.minutes for step in plan["piece"].steps])
        if moulds is not None and np.all(np.asarray(moulds[0]) > 0) and np.all(np.asarray(moulds[1]) > 0):
            pour, cure, held = moulds
            waiting = next(step.name for step in p.steps if np.any(np.asarray(step.wait_hours) > 0))
            emptied = _rate(waiting, cure, pour, None, a.windows, held)
        casts_a_week = plan["made"] / plan["piece"].good_share / weeks
        for step in p.steps:
            flow = casts_a_week * surviving
            load = p.casts_per_load * surviving if step.load_size is None else step.load_size
            if step.wait_in in stations:
                turnaround, count = p.turn_minutes(step) / 60.0, stations[step.wait_in].count
                rate = _rate(step.name, step.wait_hours, turnaround, count, a.windows)
                first = np.all(still * step.wait_hours > 0)
                if emptied is not None and first and step.load_size is None and np.any(held.work_hours):
                    # a pour waits for both: what that costs falls on the one that lets less through
                    both = np.minimum(_rate(step.name, cure, pour, count, a.windows, held), np.minimum(rate, emptied))
                    rate, emptied = np.where(rate <= emptied, both, rate), np.where(rate <= emptied, emptied, both)
                spoilt = still * p.ruined_loads_per_year / weeks
                _add(needs, step.wait_in, p.name, (flow / load + spoilt) / rate)
            elif step.wait_in in racks:
                places = places_needed(flow, step.wait_hours, step.places_per_piece)
                _add(needs, step.wait_in, p.name, places / checked("rack places", racks[step.wait_in].places, above=0))
            surviving, still = surviving * step.pass_share, still * (np.asarray(step.wait_hours) == 0.0)
        if emptied is not None:
            loads = casts_a_week / p.casts_per_load + p.ruined_loads_per_year / weeks
            _add(needs, f"moulds for {p.name}", p.name, loads / emptied)
    return needs


def _rate(step, cure, turnaround, count, windows, moulds=None):
    """Loads a week; next to none in draws whose turnaround fits no window, and refused where none fits."""
    rate = loads_per_week(cure, turnaround, count, windows, moulds, ENOUGH_LOADS)
    if np.all(rate == 0.0):
        shortest = np.min(np.asarray(turnaround))
        raise ValueError(f"load minutes of {step!r} must fit one working window; got {shortest:g} h")
    return np.maximum(rate, _NO_LOADS)


def _add(needs, resource, product, share):
    needs.setdefault(resource, {})
    needs[resource][product] = needs[resource].get(product, 0.0) + share


def served(a, asked: Asked, plans, needs, times: Working) -> tuple[Month, ...]:
    """The months one after the other; arguments as the functions above give them, `plans` as `year.evaluate` has it.

    Notes
    -----
    What is short is shared out by cutting everything that needs it by the same share: orders, and what the shelf lacks. An
    order that is cut waits a month if its buyer does, and is lost then. The shelf is full at the start.
    """
    left = {c.name: (0.0, 0.0) for c in a.channels}  # orders that wait, and their pieces
    shelf, months, last = {p.name: p.shelf for p in a.products}, [], a.months.season.size - 1
    for m, needed in enumerate(needs):
        came = {c.name: (asked.orders[c.name][m], asked.pieces[c.name][m]) for c in a.channels}
        there = {name: tuple(new + old for new, old in zip(came[name], left[name], strict=True)) for name in came}
        wanted = {p.name: sum(there[c.name][1] for c in a.channels if c.product == p.name) for p in a.products}
        # what is to be made, beside what the year asks of the product
        part = {
            p.name: share_of(
                np.maximum(wanted[p.name] + p.shelf - shelf[p.name], 0.0), plans[p.name]["pieces"], a.months.working[m]
            )
            for p in a.products
        }
        weeks = times.weeks[..., m]
        pace = a.weeks_per_year / np.maximum(weeks, _NEVER)
        here = {
            name: {p: need * part[p] * pace / np.maximum(times.open_share(name, m), _NEVER) for p, need in shares.items()}
            for name, shares in needed.items()
        }
        hours = {p.name: plans[p.name]["make_hours"] * part[p.name] for p in a.products}
        for c in a.channels:
            hours[c.product] = hours[c.product] + there[c.name][0] * c.minutes_per_order / 60.0
        utilisation, scale, hands, binding = _limits(here, hours, times.hours[..., m])
        share = dict(scale)
        for p in (p for p in a.products if np.any(np.asarray(p.shelf) > 0)):
            ready = shelf[p.name] + plans[p.name]["pieces"] * part[p.name] * scale[p.name]
            # packing takes hands, however full the shelf
            share[p.name] = np.minimum(share_of(ready, np.maximum(wanted[p.name], ready), 1.0), hands)
            shelf[p.name] = np.maximum(ready - wanted[p.name] * share[p.name], 0.0)
        met = {c.name: tuple(one * share[c.product] for one in there[c.name]) for c in a.channels}
        left = {
            c.name: tuple(
                np.minimum(new, all_ - sent) if c.waits and m < last else 0.0
                for new, all_, sent in zip(came[c.name], there[c.name], met[c.name], strict=True)
            )
            for c in a.channels
        }
        months.append(
            Month(
                came={name: one[0] for name, one in came.items()},
                met={name: one[0] for name, one in met.items()},
                pieces={name: one[1] for name, one in met.items()},
                lost={name: there[name][0] - met[name][0] - left[name][0] for name in came},
                shelf=dict(shelf),
                utilisation=utilisation,
                binding=binding,
            )
        )
    return tuple(months)


def limit_of(months: tuple[Month, ...]):
    """Index of what limits a year: what does in most of its months, demand where as many have it as something else."""
    by_month = np.stack(np.broadcast_arrays(*(month.binding for month in months)))
    counts = [(by_month == index).sum(axis=0) for index in range(len(months[0].utilisation) + 1)]
    return np.argmax(counts, axis=0)[()]


def share_of(part, whole, otherwise):
    """Part over whole, and something else where the whole is zero."""
    whole = np.asarray(whole)
    return np.where(whole > 0, part / np.where(whole > 0, whole, 1.0), otherwise)[()]


def _limits(needs, hours, spare_hours):
    """Use, the share of its work that each product can have, what hands leave of it, and which resource binds."""
    utilisation = {name: sum(need.values()) for name, need in needs.items()}
    scale = dict.fromkeys(hours, 1.0)
    # what one product alone needs first, so that what several share is shared by what is left to make
    for need in sorted(needs.values(), key=len):
        short = 1.0 / np.maximum(sum(need[name] * scale[name] for name in need), 1.0)
        scale |= {name: scale[name] * short for name in need}
    possible = sum(hours[name] * scale[name] for name in hours)
    has_time = np.asarray(spare_hours) > 0
    safe = np.where(has_time, spare_hours, 1.0)
    hands_left = np.where(has_time, np.minimum(1.0, safe / np.maximum(possible, 1e-300)), 0.0)[()]
    # index 0 is demand; hands are last because they are shared out after everything else
    peak, binding = 1.0, np.zeros(np.shape(hands_left), dtype=int)
    for index, share in enumerate(utilisation.values(), start=1):
        binding = np.where(share > peak, index, binding)
        peak = np.maximum(peak, share)
    binding = np.where(hands_left < 1.0, len(utilisation) + 1, binding)[()]
    utilisation[HANDS] = np.where(has_time, sum(hours.values()) / safe, np.inf)[()]
    return utilisation, {name: scale[name] * hands_left for name in scale}, hands_left, binding
