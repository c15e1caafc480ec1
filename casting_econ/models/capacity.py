"""How much of what is asked for a workshop can make: month by month, with what waits, what stands ready and what stops work."""

import itertools
from dataclasses import dataclass
from functools import cached_property, partial, reduce
from operator import add
from typing import Any

import numpy as np

from .checks import checked, share_of
from .curing import ENOUGH_LOADS, WEEK_HOURS, in_moulds, loads_per_week, places_needed
from .levers import moved_at
from .months import Asked, side_by_side, weeks_lost

DEMAND, HANDS = "demand", "hands"
_KINDS = "begun", "own", "others"  # of orders: of which a part went out earlier, of the month, that wait
_NO_LOADS = 1e-12  # a week; above zero, so that what nobody wants stays zero
_NEVER = 1e-300  # in place of a month without a week to work in
_ROUNDING, _WHOLE = 1e-12, 1e-9  # share of an order, and orders, that count as none


@dataclass(frozen=True, kw_only=True)
class Month:
    """What one month brought; values are floats or arrays, and pieces are without those never sold."""

    came: dict[str, Any]  # orders of each channel [order]
    met: dict[str, Any]  # orders made and sent, those that had waited among them [order]
    pieces: dict[str, Any]  # sent in each channel [piece]
    lost: dict[str, Any]  # orders of each channel that nobody will make [order]
    waits: dict[str, Any]  # orders of each channel that wait at the end [order]
    late: dict[str, tuple]  # orders and pieces of all that wait, then what is left of the one that is begun [order, piece]
    shelf: dict[str, Any]  # of each product ready at the end [piece]
    used: dict[str, Any]  # of each resource by what was asked for [part of a year; of hands hour]
    rooms: dict[str, Any]  # of each, that there is of it [as used]
    binding: Any  # index into the resources, demand being 0, of what limits orders

    @property
    def utilisation(self) -> dict[str, Any]:
        """Share of each resource that what was asked for needed. [-]"""
        return {name: use_of(self.used[name], room) for name, room in self.rooms.items()}


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
    weeks = side_by_side(np.maximum(full - sum((lost[r.name] for r in a.risks if r.stops is None), 0.0), 0.0))
    own = checked("hours per week", a.hours_per_week, above=0.0, high=WEEK_HOURS)
    own = np.asarray(own - checked("fixed hours per week", a.fixed_hours_per_week, low=0.0, high=WEEK_HOURS))[..., None]
    stations: dict[str, Any] = {}
    for r in a.risks:
        if r.stops is not None:
            left = 1.0 - lost[r.name] / np.maximum(full, _NEVER)
            stations[r.stops] = side_by_side(np.maximum(stations.get(r.stops, 1.0) * left, 0.0))
    hours = side_by_side(own * weeks - np.asarray(stall_hours)[..., None] * a.months.season)
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
    inner = group if isinstance(group, tuple) else vars(group).values() if hasattr(group, "__dict__") else None
    return getattr(group, "ndim", 0) if inner is None else max(map(_depth, inner), default=0)


def _needs(a, plans, weeks):
    """Share of each resource that the year's demand needs, by resource and product."""
    needs: dict[str, dict[str, Any]] = {}
    stations, racks = {s.name: s for s in a.stations}, {r.name: r for r in a.racks}
    for p in a.products:
        plan, surviving, still, emptied = plans[p.name], 1.0, 1.0, None
        moulds = None if p.mould is None else in_moulds(p, [step.minutes for step in plan["piece"].steps])
        if moulds is not None and np.all(np.asarray(moulds[0]) > 0) and np.all(np.asarray(moulds[1]) > 0):
            pour, cure, held = moulds
            waiting, count = next(step for step in p.steps if np.any(np.asarray(step.wait_hours) > 0)), np.inf
            if waiting.wait_in in stations and waiting.load_size is None and np.any(held.work_hours):
                count = p.stations_for(waiting, stations[waiting.wait_in].count)
            if np.any(np.asarray(count) < held.sets):  # else a load that has moulds has a station
                counts = np.stack(np.broadcast_arrays(0, count))  # of both in one go, along a first axis
                counts = counts.reshape(2, *[1] * (_depth((cure, pour, held, count)) - np.ndim(count)), *np.shape(count))
                emptied, both = _rate(waiting.name, cure, pour, counts, a.windows, held)
            else:
                emptied = both = _rate(waiting.name, cure, pour, None, a.windows, held)
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
                    both = np.minimum(both, np.minimum(rate, emptied))
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
    What is begun is finished first: an order of which a part went out in an earlier month, from the shelf and then by making. What
    else stands on the shelf goes out next and takes packing only. Then the month's own orders are made; then others that wait,
    of a product none of whose own orders had to be cut; then what the shelf lacks. What is short at one of these is shared out
    by cutting everything in it by the same share. Of a channel the oldest order goes out first; one that is not made waits a
    month if its buyer does, and is lost then, but for one that is begun, which stays until it is done. The year begins with
    what the month before left; where that is not given, with what a last month like its own would leave, and with a full shelf if
    it ends with one: else no more stands ready than a year like it that began without leaves. What the last
    month of this year leaves is neither met nor lost. In a year in one piece nobody waits.
    """
    last, full = len(needs) - 1, {p.name: p.shelf for p in a.products}
    waited, shelf = a.months.before or ({}, {})
    late, shelf = {c.name: (0.0,) * 4 for c in a.channels} | dict(waited), full | dict(shelf)
    if last and a.months.before is None and any(c.waits for c in a.channels):
        late = _month(a, asked, plans, needs, times, last, late, full).late

    def year(shelf):
        months, waits = [], late
        for m in range(last + 1):
            months.append(_month(a, asked, plans, needs, times, m, waits, shelf))
            waits, shelf = months[-1].late, months[-1].shelf
        return tuple(months)

    if a.months.before is None and any(np.any(ready) for ready in full.values()):  # a shelf that is never filled again sells once
        ends, least = (year(begun)[-1].shelf for begun in (full, dict.fromkeys(full, 0.0)))
        shelf = {p: np.where(ends[p] < full[p] * (1.0 - _WHOLE), least[p], full[p])[()] for p in full}
    return year(shelf)


def _month(a, asked, plans, needs, times, m, late, shelf):
    """One month, in which `late` orders wait from the one before."""
    weeks = times.weeks[..., m] / a.weeks_per_year
    given = {
        "own": {c.name: (asked.orders[c.name][m], asked.pieces[c.name][m]) for c in a.channels},
        "late": late,
        "packing": {c.name: c.minutes_per_order / 60.0 for c in a.channels},
        "needs": needs[m] | {HANDS: {p: plan["make_hours"] for p, plan in plans.items()}},
        "year": {p: plan["pieces"] for p, plan in plans.items()},
        "working": a.months.working[m],
        "rooms": {name: weeks * times.open_share(name, m) for name in needs[m]} | {HANDS: np.maximum(times.hours[..., m], 0.0)},
    }
    left, hard, none = _Left(a, given), np.True_, dict.fromkeys(given["own"], 0.0)
    if not any(np.any(p.shelf) for p in a.products):  # most draws have time for all that is asked, and none who waits
        used = left.all_own[1]
        hard = [np.greater(used[name], room) for name, room in given["rooms"].items()]
        hard = reduce(np.logical_or, hard + [np.greater(orders, 0) for orders, *_ in late.values()])
    if 2 * np.count_nonzero(hard) > hard.size:
        became = _worked(a, left, shelf)
    else:
        met, pieces = ({name: one[at] for name, one in given["own"].items()} for at in (0, 1))
        late = dict.fromkeys(none, (0.0,) * 4)
        became = {"met": met, "pieces": pieces, "lost": none, "late": late, "used": used, "binding": 0}
        rows = np.flatnonzero(hard)
        if rows.size:
            some = _each(lambda one: np.broadcast_to(one, hard.shape).take(rows) if np.ndim(one) else one, given)
            became = _each(partial(_put, rows, hard.shape), became, _worked(a, _Left(a, some), shelf))
    came, waits = ({c: one[0] for c, one in of.items()} for of in (given["own"], became["late"]))
    return Month(came=came, waits=waits, rooms=given["rooms"], **{"shelf": shelf} | became)


def _each(do, group, *alike):
    """What `do` makes of each number of a group, dicts and tuples in each other, and of those in the same place of groups alike."""
    if isinstance(group, dict):
        return {name: _each(do, one, *(other[name] for other in alike)) for name, one in group.items()}
    if isinstance(group, tuple):
        return tuple(_each(do, *ones) for ones in zip(group, *alike, strict=True))
    return do(group, *alike)


def _put(rows, shape, number, some):
    """A number by draw with others in some rows."""
    whole = np.full(shape, number, np.result_type(number, some))
    whole.reshape(-1)[rows] = some
    return whole


def _worked(a, left, shelf):
    """What becomes of a month's orders by the rules of `served`."""
    kept, drawn, make = any(np.any(p.shelf) for p in a.products), a.months.luck is not None, dict(left.asked)
    if kept:
        shelf, make["begun"] = left.off_the_shelf(shelf, "begun")
    if any(np.any(orders) for orders, _ in left.orders["begun"].values()):
        left.take(make["begun"], begun=make["begun"])
    if kept:
        shelf, make["own"], make["others"] = left.off_the_shelf(shelf, "own", "others")
    done = left.take(make["own"], left.given["working"], own=make["own"])
    if any(np.any(orders) for orders, _ in left.orders["others"].values()):
        uncut = {p: np.where(done[p] < 1.0, 0.0, pieces) for p, pieces in make["others"].items()}
        left.take(uncut, others=uncut)
    used, binding = dict(left.used), left.binding
    if kept:
        lacks = {p.name: p.shelf - shelf[p.name] for p in a.products}
        done = left.take(lacks)
        shelf = {p: shelf[p] + lacks[p] * done[p] for p in lacks}
        shelf = {p: np.where(ready > _ROUNDING, ready, 0.0) for p, ready in shelf.items()}  # a trace would ask for packing
    met, pieces, lost, waits = {}, {}, {}, {}
    out = {kind: {p: share_of(_sum(left.out[kind][p]), asked, 0.0) for p, asked in of.items()} for kind, of in left.asked.items()}
    for c in a.channels:
        (begun, rest), (orders, new), (others, behind) = (left.orders[kind][c.name] for kind in _KINDS)
        sent = pieces[c.name] = _sum(left.orders[kind][c.name][1] * out[kind][c.product] for kind in _KINDS)
        first = np.minimum(sent, rest)  # the oldest order goes out first, and first of all the one that is begun
        later = sent - first
        then = np.minimum(later, behind)
        share = np.minimum(share_of(later - then, new, 1.0), 1.0)
        still, unmade = begun * (1.0 - share_of(first, rest, 1.0)), others * (1.0 - share_of(then, behind, 1.0))
        met[c.name] = orders * share + begun + others - still - unmade
        # of those that have waited a month the one that is begun stays
        over, due, waited = still + unmade, 0.0, 0.0
        if drawn:
            due = _begun(over)
            waited = np.where(still > _WHOLE, rest - first, (behind - then) * share_of(due, unmade, 0.0))
        stays, part, rest = np.where(share < 1.0 - _ROUNDING, 1.0 - share, 0.0), 0.0, 0.0
        if c.waits and a.months.season.size > 1:
            wait = orders * stays + due
            if drawn:
                part = _begun(wait)
                rest = np.where(due > 0, waited, new * share_of(part, orders, 0.0))
            lost[c.name], waits[c.name] = over - due, (wait, new * stays + waited, part, rest)
        else:
            lost[c.name], waits[c.name] = over - due + orders * stays, (due, waited, due, waited)
    return {"met": met, "pieces": pieces, "lost": lost, "late": waits, "shelf": shelf, "used": used, "binding": binding}


def _sum(parts):
    """The sum without a first pass that adds to nothing; zero of no parts."""
    parts = list(parts)
    return reduce(add, parts) if parts else 0.0


def _begun(orders):
    """What is over a whole number of orders that wait: what is left of the one that is begun."""
    orders = orders + _WHOLE
    over = orders - np.floor(orders)
    return np.where(over > 2.0 * _WHOLE, over - _WHOLE, 0.0)


class _Left:
    """What is left of a month's stations, racks, moulds and hands; and what goes out while it is being used up."""

    def __init__(self, a, given):
        self.given, self.channels = given, a.channels
        late = given["late"].items()
        others = {name: (due - part, waited - rest) for name, (due, waited, part, rest) in late}
        self.orders = {"begun": {name: of[2:] for name, of in late}, "own": given["own"], "others": others}
        self.asked = {
            kind: {p: _sum(of[c.name][1] for c in a.channels if c.product == p) for p in given["year"]}
            for kind, of in self.orders.items()
        }
        self.rooms, self.used, self.taken = dict(given["rooms"]), {}, ({}, {})  # of a year's time, hands in hours
        self.out = {kind: dict.fromkeys(given["year"], ()) for kind in _KINDS}  # pieces that go out each time, by product
        self.binding = 0  # 0 is demand

    def off_the_shelf(self, shelf, *kinds):
        """Send what stands ready to orders of these kinds in turn: the shelf then, and pieces that each kind still asks for."""
        ready, still = {}, shelf
        for kind in kinds:
            ready[kind] = {p: np.minimum(still[p], pieces) for p, pieces in self.asked[kind].items()}
            still = {p: still[p] - ready[kind][p] for p in still}
        done = self.take(dict.fromkeys(shelf, 0.0), **ready)
        make = ({p: pieces - ready[kind][p] for p, pieces in self.asked[kind].items()} for kind in kinds)
        return {p: shelf[p] - (shelf[p] - still[p]) * done[p] for p in shelf}, *make

    def wants(self, make, otherwise=0.0, **send):
        """What making pieces of each product, of one that nobody orders in the year this part of a year's work, and packing those sent
        to orders of these kinds wants of each resource: by product, and in all."""
        part = {p: share_of(pieces, self.given["year"][p], otherwise) for p, pieces in make.items()}
        wants = {name: {p: need * part[p] for p, need in shares.items()} for name, shares in self.given["needs"].items()}
        for c, (kind, pieces) in itertools.product(self.channels, send.items()):
            share = 1.0 if pieces is self.asked[kind] else share_of(pieces[c.product], self.asked[kind][c.product], 0.0)
            hours = self.orders[kind][c.name][0] * share * self.given["packing"][c.name]
            wants[HANDS][c.product] = wants[HANDS][c.product] + hours
        return wants, {name: reduce(add, want.values()) for name, want in wants.items()}

    @cached_property
    def all_own(self):
        """What all of the month's own orders want, as `wants` has it."""
        return self.wants(self.asked["own"], self.given["working"], own=self.asked["own"])

    def take(self, make, otherwise=0.0, **send):
        """Share of the work of `wants` that can be done, for each product; and what it takes is taken, once there is more to do."""
        before, part = self.taken
        for name, want in before.items():
            self.rooms[name] = np.maximum(self.rooms[name] - reduce(add, (want[p] * part[p] for p in want)), 0.0)
        wants, used = self.all_own if make is self.asked["own"] else self.wants(make, otherwise, **send)
        done, binding = _limits(wants, used, self.rooms)
        self.taken, self.used = (wants, done), {name: self.used[name] + use if self.used else use for name, use in used.items()}
        for (kind, pieces), p in itertools.product(send.items(), done):
            self.out[kind][p] += (pieces[p] * done[p],)
        self.binding = np.where(self.binding > 0, self.binding, binding)[()]
        return done


def limit_of(months: tuple[Month, ...]):
    """Index of what limits a year: what does in most of its months, demand where as many have it as something else."""
    by_month = np.stack(np.broadcast_arrays(*(month.binding for month in months)))
    counts = [(by_month == index).sum(axis=0, dtype=np.int8) for index in range(len(months[0].rooms) + 1)]
    return np.argmax(counts, axis=0)[()]


def use_of(used, room):
    """Used over room: none where nothing is used, without end where there is no room for it."""
    return np.where(np.asarray(used) > 0, share_of(used, room, np.inf), 0.0)[()]


def _limits(wants, used, rooms):
    """The share of its work that each product can have, and which resource binds: of those that are full, the most wanted."""
    scale, peak, binding = dict.fromkeys(wants[HANDS], 1.0), 1.0, 0
    short = [name for name in wants if name != HANDS and np.count_nonzero(used[name] > rooms[name])]
    # what one product alone needs first, so that what several share is shared by what is left to make
    short.sort(key=lambda name: len(wants[name]))
    for name in short:
        want = wants[name]
        part = np.minimum(share_of(rooms[name], reduce(add, (want[p] * scale[p] for p in want)), 1.0), 1.0)
        scale |= {p: scale[p] * part for p in want}
    hands = np.minimum(share_of(rooms[HANDS], reduce(add, (hours * scale[p] for p, hours in wants[HANDS].items())), 1.0), 1.0)
    # index 0 is demand; hands are last because they are shared out after everything else
    for index, name in enumerate(wants, start=1):
        if name in short:
            share = use_of(used[name], rooms[name])
            if name != short[-1]:  # of what one product is short of a part may stand idle, as something shared cuts more
                needed = reduce(add, (want * scale[p] for p, want in wants[name].items()))
                share = np.where((1.0 + _ROUNDING) * needed >= rooms[name], share, 0.0)
            binding, peak = np.where(share > peak, index, binding), np.maximum(peak, share)
    nobody = (rooms[HANDS] == 0.0) & (np.asarray(used[HANDS]) > 0)  # away: then no pot is what is full
    binding = np.where((hands < 1.0) | nobody, len(wants), binding)[()]
    return {p: scale[p] * hands for p in scale}, binding
