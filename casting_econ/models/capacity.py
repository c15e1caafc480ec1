"""How much of what is asked for a workshop can make: month by month, with what waits, what stands ready and what stops work."""

from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from .checks import checked
from .curing import ENOUGH_LOADS, WEEK_HOURS, in_moulds, loads_per_week, places_needed
from .levers import moved_at
from .months import orders_at, pieces_at, weeks_lost

DEMAND, HANDS = "demand", "hands"
_NO_LOADS = 1e-12  # a week; above zero, so that what nobody wants stays zero
_NEVER = 1e-300  # in place of a month without a week to work in
_ROUNDING, _WHOLE = 1e-12, 1e-9  # share of an order, and orders, that count as none


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What buyers ask of a year: by channel, then month. Values are floats or arrays."""

    orders: dict[str, list]  # [order/month]
    pieces: dict[str, list]  # [piece/month]
    usual: dict[str, Any]  # pieces by channel that are expected of the year [piece/year]


@dataclass(frozen=True, kw_only=True)
class Month:
    """What one month brought; values are floats or arrays, and pieces are without those never sold."""

    came: dict[str, Any]  # orders of each channel [order]
    met: dict[str, Any]  # orders made and sent, those that had waited among them [order]
    pieces: dict[str, Any]  # sent in each channel [piece]
    lost: dict[str, Any]  # orders of each channel that nobody will make [order]
    waits: dict[str, Any]  # orders of each channel that wait at the end [order]
    late: dict[str, tuple]  # orders and pieces of all that wait, then of the one that is begun and over its month [order, piece]
    shelf: dict[str, Any]  # of each product ready at the end [piece]
    utilisation: dict[str, Any]  # share of each resource that what was asked for needed [-]
    binding: Any  # index into the resources, demand being 0, of what limits orders


def _kept(work: Callable) -> Callable:
    """The same work, done once for inputs that are alike to the last bit: scenarios leave most channels as they are."""

    @lru_cache(maxsize=8)
    def done(*inputs):
        return work(*(np.frombuffer(data).reshape(shape) for data, shape in inputs))

    return lambda *inputs: done(*((one.tobytes(), one.shape) for one in (np.asarray(one, float) for one in inputs)))


_orders_at, _pieces_at = _kept(orders_at), _kept(pieces_at)


def asked_for(a, orders) -> Asked:
    """What comes each month: as luck has it, else as expected. `orders` by channel are those of a year at its price. [order/year]"""
    luck, months, came, pieces, usual = a.months.luck, range(a.months.season.size), {}, {}, {}
    for c in a.channels:
        mean = np.asarray(orders[c.name])[..., None] * a.months.season * a.months.grown
        size = np.asarray(checked("pieces per order", c.pieces_per_order, above=0.0))[..., None]
        if luck is None:
            found = mean, mean * size
        else:
            number = _orders_at(luck.orders[c.name], mean, np.asarray(c.clustering)[..., None])
            found = number, _pieces_at(luck.sizes[c.name], number, size, size * np.asarray(c.size_spread)[..., None])
        usual[c.name] = orders[c.name] * size[..., 0]
        came[c.name], pieces[c.name] = ([one[..., m][()] for m in months] for one in map(_side_by_side, found))
    return Asked(orders=came, pieces=pieces, usual=usual)


def _side_by_side(numbers):
    """The same numbers, last axis months, each month's next to each other in memory: they are asked for month by month."""
    return np.moveaxis(np.ascontiguousarray(np.moveaxis(numbers, -1, 0)), 0, -1)


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
    weeks = _side_by_side(np.maximum(full - sum((lost[r.name] for r in a.risks if r.stops is None), 0.0), 0.0))
    own = checked("hours per week", a.hours_per_week, above=0.0, high=WEEK_HOURS)
    own = np.asarray(own - checked("fixed hours per week", a.fixed_hours_per_week, low=0.0, high=WEEK_HOURS))[..., None]
    stations: dict[str, Any] = {}
    for r in a.risks:
        if r.stops is not None:
            left = 1.0 - lost[r.name] / np.maximum(full, _NEVER)
            stations[r.stops] = _side_by_side(np.maximum(stations.get(r.stops, 1.0) * left, 0.0))
    hours = _side_by_side(own * weeks - np.asarray(stall_hours)[..., None] * a.months.season)
    return Working(weeks=weeks, hours=hours, stations=stations)


def needs_by_month(a, plans, weeks) -> list[dict]:
    """Of each month, the share of each resource that the year's demand would need if every month were as warm as that one. [-]"""
    if not a.months.slower:
        return [_needs(a, plans, weeks)] * a.months.season.size
    warmths, which = np.unique([*a.months.slower.values()], axis=1, return_inverse=True)
    depth = max(map(_depth, (weeks, a.products, a.stations, a.racks, *(plan["made"] for plan in plans.values()))))
    cold = a  # at every warmth at once, along a first axis
    for (product, step), factor in zip(a.months.slower, warmths, strict=True):
        along = factor.reshape(-1, *[1] * depth)
        cold = moved_at(cold, f"products.{product}.steps.{step}.wait_hours", lambda hours, along=along: hours * along)
    needs = _needs(cold, plans, weeks)

    def at(warmth):
        return {
            name: {p: need[warmth] if np.ndim(need) > depth else need for p, need in shares.items()}
            for name, shares in needs.items()
        }

    found = [at(warmth) for warmth in range(warmths.shape[1])]
    return [found[warmth] for warmth in np.ravel(which)]


def _depth(group):
    """Most axes of a number in a group of them."""
    if is_dataclass(group):
        group = tuple(getattr(group, one.name) for one in fields(group))
    return max(map(_depth, group), default=0) if isinstance(group, tuple) else np.ndim(group)


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
                turnaround, count = p.turn_minutes(step) / 60.0, p.stations_for(step, stations[step.wait_in].count)
                rate = _rate(step.name, step.wait_hours, turnaround, count, a.windows)
                first = np.all(still * step.wait_hours > 0)
                if emptied is not None and first and step.load_size is None and np.any(held.work_hours):
                    # a pour waits for both: what that costs falls on the one that lets less through
                    both = np.minimum(rate, emptied)
                    if np.any(np.asarray(count) < held.sets):  # else a load that has moulds has a station
                        both = np.minimum(_rate(step.name, cure, pour, count, a.windows, held), both)
                    rate, emptied = np.where(rate <= emptied, both, rate), np.where(rate <= emptied, emptied, both)
                spoilt = still * plan["ruined_loads"] / weeks
                _add(needs, step.wait_in, p.name, (flow / load + spoilt) / rate)
            elif step.wait_in in racks:
                places = places_needed(flow, step.wait_hours, step.places_per_piece)
                _add(needs, step.wait_in, p.name, places / checked("rack places", racks[step.wait_in].places, above=0))
            surviving, still = surviving * step.pass_share, still * (np.asarray(step.wait_hours) == 0.0)
        if emptied is not None:
            loads = casts_a_week / p.casts_per_load + plan["ruined_loads"] / weeks
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
    What stands on the shelf goes out first and takes packing only. Then the month's own orders are made; then those that wait,
    of a product none of whose own orders had to be cut; then what the shelf lacks. What is short at one of these is shared out
    by cutting everything in it by the same share. Of a channel the oldest order goes out first; one that is not made waits a
    month if its buyer does, and is lost then, but for one that is begun: it is gone on with until it is done. The year begins with
    what the month before left; where that is not given, with a full shelf and what a last month like its own would leave. What the last
    month of this year leaves is neither met nor lost. In a year in one piece nobody waits.
    """
    last, full = len(needs) - 1, {p.name: p.shelf for p in a.products}
    waited, shelf = a.months.before or ({}, {})
    late, shelf, months = {c.name: (0.0,) * 4 for c in a.channels} | dict(waited), full | dict(shelf), []
    if last and a.months.before is None and any(c.waits for c in a.channels):
        late = _month(a, asked, plans, needs, times, last, late, full)[1]
    for m in range(last + 1):
        month, late = _month(a, asked, plans, needs, times, m, late, shelf)
        shelf = month.shelf
        months.append(month)
    return tuple(months)


def _month(a, asked, plans, needs, times, m, late, shelf):
    """One month, in which `late` orders wait from the one before; and those that wait at its end, as `Month.late`."""
    came = {c.name: (asked.orders[c.name][m], asked.pieces[c.name][m]) for c in a.channels}
    own, old = (
        {p.name: sum(of[c.name][1] for c in a.channels if c.product == p.name) for p in a.products} for of in (came, late)
    )
    left = _Left(a, plans, needs[m], times, m, came, late)
    kept, make, whole = any(np.any(p.shelf) for p in a.products), own, dict.fromkeys(own, 1.0)
    first = dict.fromkeys(own, 0.0)  # ready for those that wait
    if kept:
        ready = {p: np.minimum(shelf[p], own[p]) for p in own}
        first = {p: np.minimum(shelf[p] - ready[p], old[p]) for p in own}
        done = left.take(dict.fromkeys(own, 0.0), _parts(ready, own), _parts(first, old))
        sent = {p: (ready[p] + first[p]) * done[p] for p in own}
        make = {p: own[p] - ready[p] for p in own}
        whole = _parts(make, own, 1.0)
    done = left.take(make, whole, otherwise=a.months.working[m])
    if any(np.any(orders) for orders, *_ in late.values()):
        make = {p: np.where(done[p] < 1.0, 0.0, old[p] - first[p]) for p in own}
        left.take(make, waited=_parts(make, old))
    utilisation, binding = left.utilisation(), left.binding
    if kept:
        lacks = {p.name: p.shelf - shelf[p.name] + sent[p.name] for p in a.products}
        done = left.take(lacks)
        shelf = {p: shelf[p] - sent[p] + lacks[p] * done[p] for p in own}
        shelf = {p: np.where(ready > _ROUNDING, ready, 0.0) for p, ready in shelf.items()}  # a trace would ask for packing
    met, pieces, lost, waits = {}, {}, {}, {}
    for c in a.channels:
        (orders, new), (due, waited, begun, rest), share = came[c.name], late[c.name], left.new[c.product]
        pieces[c.name] = new * share + waited * left.waited[c.product]
        oldest = np.minimum(pieces[c.name], waited)  # the oldest order goes out first, and first of all the one that is begun
        share = np.where(waited > 0, np.minimum(share_of(pieces[c.name] - oldest, new, 1.0), 1.0), share)
        first = np.minimum(oldest, rest)
        still = begun * (1.0 - share_of(first, rest, 1.0))
        others = (due - begun) * (1.0 - share_of(oldest - first, waited - rest, 1.0))
        met[c.name] = orders * share + due - still - others
        stays = np.where(share < 1.0 - _ROUNDING, 1.0 - share, 0.0)
        stay, go = (stays, 0.0) if c.waits and len(needs) > 1 else (0.0, stays)
        # of whole orders, what is over a whole number of them is the rest of the one that is begun
        part = np.maximum((others + _WHOLE) % 1.0 - _WHOLE, 0.0) if a.months.luck is not None else 0.0
        begun = np.where(still > _WHOLE, still, part)
        rest = np.where(still > _WHOLE, rest - first, (waited - rest - oldest + first) * share_of(part, others, 0.0))
        waits[c.name] = (orders * stay + begun, new * stay + rest, begun, rest)
        lost[c.name] = still + others - begun + orders * go
    month = Month(
        came={name: one[0] for name, one in came.items()},
        met=met,
        pieces=pieces,
        lost=lost,
        waits={name: one[0] for name, one in waits.items()},
        late=waits,
        shelf=shelf,
        utilisation=utilisation,
        binding=binding,
    )
    return month, waits


class _Left:
    """What is left of a month's stations, racks, moulds and hands; and what goes out while it is being used up."""

    def __init__(self, a, plans, needs, times, m, came, late):
        self.channels, self.plans, self.needs, self.came, self.late = a.channels, plans, needs, came, late
        weeks = times.weeks[..., m] / a.weeks_per_year
        self.whole = {name: weeks * times.open_share(name, m) for name in needs} | {HANDS: times.hours[..., m]}
        self.rooms, self.used = dict(self.whole), dict.fromkeys(self.whole, 0.0)  # of a year's time, hands in hours
        self.new, self.waited = (dict.fromkeys(plans, 0.0) for _ in range(2))  # share of the orders that go out, by product
        self.binding = 0  # 0 is demand

    def take(self, made, new=None, waited=None, otherwise=0.0):
        """Share of some work that can be done: making pieces of each product and packing shares of its orders, new and waiting.

        `otherwise` is the part of a year's work in a month of a product that nobody orders in the year.
        """
        packs = [one for one in ((self.came, new, self.new), (self.late, waited, self.waited)) if one[1] is not None]
        part = {p: share_of(pieces, self.plans[p]["pieces"], otherwise) for p, pieces in made.items()}
        hours = {p: self.plans[p]["make_hours"] * part[p] for p in part}
        for orders, share, _ in packs:
            for c in self.channels:
                hours[c.product] = hours[c.product] + orders[c.name][0] * share[c.product] * c.minutes_per_order / 60.0
        wants = {name: {p: need * part[p] for p, need in shares.items()} for name, shares in self.needs.items()}
        done, binding = _limits(wants, hours, self.rooms)
        for name, want in (wants | {HANDS: hours}).items():
            self.used[name] = self.used[name] + sum(want.values())
            self.rooms[name] = np.maximum(self.rooms[name] - sum(want[p] * done[p] for p in want), 0.0)
        for _, share, out in packs:
            out |= {p: out[p] + share[p] * done[p] for p in done}
        self.binding = np.where(self.binding > 0, self.binding, binding)[()]
        return done

    def utilisation(self):
        """Share of the month's time of each resource that the work so far needed. [-]"""
        return {name: use_of(used, self.whole[name]) for name, used in self.used.items()}


def limit_of(months: tuple[Month, ...]):
    """Index of what limits a year: what does in most of its months, demand where as many have it as something else."""
    by_month = np.stack(np.broadcast_arrays(*(month.binding for month in months)))
    counts = [(by_month == index).sum(axis=0) for index in range(len(months[0].utilisation) + 1)]
    return np.argmax(counts, axis=0)[()]


def share_of(part, whole, otherwise):
    """Part over whole, and something else where the whole is zero."""
    whole = np.asarray(whole)
    there = whole > 0
    if there.all():
        return (part / whole)[()]
    return np.where(there, part / np.where(there, whole, 1.0), otherwise)[()]


def use_of(used, room):
    """Used over room: none where nothing is used, without end where there is no room for it."""
    return np.where(np.asarray(used) > 0, share_of(used, room, np.inf), 0.0)[()]


def _parts(some, of, otherwise=0.0):
    """`share_of` by product."""
    return {p: share_of(some[p], of[p], otherwise) for p in some}


def _limits(wants, hours, rooms):
    """The share of its work that each product can have, and which resource binds."""
    scale = dict.fromkeys(hours, 1.0)
    # what one product alone needs first, so that what several share is shared by what is left to make
    for name, want in sorted(wants.items(), key=lambda one: len(one[1])):
        short = np.minimum(share_of(rooms[name], sum(want[p] * scale[p] for p in want), 1.0), 1.0)
        scale |= {p: scale[p] * short for p in want}
    room = np.maximum(rooms[HANDS], 0.0)
    hands = np.minimum(share_of(room, sum(hours[p] * scale[p] for p in hours), 1.0), 1.0)
    # index 0 is demand; hands are last because they are shared out after everything else
    peak, binding = 1.0, np.zeros(np.shape(hands), dtype=int)
    for index, (name, want) in enumerate(wants.items(), start=1):
        share = use_of(sum(want.values()), rooms[name])
        binding = np.where(share > peak, index, binding)
        peak = np.maximum(peak, share)
    nobody = (room == 0.0) & (np.asarray(sum(hours.values())) > 0)  # away: then no pot is what is full
    binding = np.where((hands < 1.0) | nobody, len(wants) + 1, binding)[()]
    return {p: scale[p] * hands for p in scale}, binding
