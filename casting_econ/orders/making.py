"""Moulds that an order needs made: in which loads, of which copies, where in the calendar, and what they take."""

from bisect import bisect_left
from copy import copy
from dataclasses import dataclass, replace
from itertools import accumulate

import numpy as np

from ..evidence import casts_poured, mould_lives, moulds_in_hand
from ..models.counts import loads_for
from ..models.mould_making import MouldMaking, mould_making, moulds_for_load
from ..models.moulds import moulds_worn
from ..models.schedule import Plan, Stage, through_other_stages
from ..models.yields import rolled_yield
from ..study.stations import load_sizes, pot_loads
from .pots import pools, slots_of


@dataclass(frozen=True, kw_only=True)
class MouldsInUse:
    """Moulds of a product that counts them one by one."""

    in_hand: int  # [mould]
    in_use: int  # once those that an order makes are there [mould]
    masters: int  # [cast]
    cavities: int  # [cast/mould]
    life: tuple[float, float, float | None]  # casts a cavity, its shape, and the age of replacement [cast, -, cast]
    age: float  # casts a cavity that those in hand have given [cast]
    unlogged: bool = False  # whether those in hand are neither stated nor logged, but must be there by the loads that were poured
    early: tuple[int, ...] = ()  # loads poured first, in moulds that are there while others are made [cast]

    @classmethod
    def of(cls, study, product: str, mould) -> "MouldsInUse | None":
        """Those of a study, as many in use as are in hand, or as fill a load; None where it has none or counts them in sets."""
        entry = study.file.products[product].mould
        if entry is None or not entry.steps:
            return None
        full = int(moulds_for_load(load_sizes(study.file, product)[0], entry.cavities))
        in_sets = "sets" in entry.model_fields_set
        there = int(entry.sets.value) * full if in_sets else moulds_in_hand(study, product)
        age = mean_age(study, product)
        unlogged = age is None and bool(there) and not (in_sets or entry.in_hand)
        if unlogged:
            age = float(casts_poured(study, product).sum()) / (there * entry.cavities)
        return cls(
            in_hand=there,
            in_use=there or full,
            masters=entry.masters,
            cavities=entry.cavities,
            life=(float(mould.life_casts), float(mould.life_shape), mould.replace_at),
            age=age or 0.0,
            unlogged=unlogged,
        )

    def in_loads(self, casts: int, sizes: tuple[int, ...]) -> tuple[int, ...]:
        """Loads of so many casts: the early ones, then full ones of these sizes in turn. [cast]"""
        ends = np.minimum(np.cumsum((0, *self.early)), casts)
        return (*(int(size) for size in np.diff(ends) if size), *loads_for(casts - int(ends[-1]), sizes))

    def fills(self, casts: int) -> int:
        """Moulds that so many casts fill. [mould]"""
        return -(-int(casts) // self.cavities)

    def worn(self, uses: int) -> float:
        """Moulds worn out when so many have been filled, all in turn. [mould]"""
        old = min(self.in_hand, self.in_use)
        ages, (mean, shape, replace_at) = np.repeat([self.age, 0.0], [old, self.in_use - old]), self.life
        return float(moulds_worn(uses, self.in_use, mean, shape, ages, replace_at))


def mean_age(study, product: str) -> float | None:
    """Casts a cavity that the moulds in use have given on average; None without mould records. [cast]"""
    lives = mould_lives(study, product)
    return float(lives[1].mean()) if lives and lives[1].size else None


@dataclass(frozen=True, kw_only=True)
class MakingLoad:
    """A pour of moulds, or a load of copies of the masters."""

    kind: str  # "moulds" or "copies"
    count: int  # [mould or cast]
    gain: int  # moulds that there are more of once it is done [mould]
    use: int  # moulds that a load of copies fills [mould]
    after: tuple[int, ...]  # loads that must be done first


@dataclass(frozen=True, kw_only=True)
class Making:
    """The moulds of an order that counts them one by one."""

    found: tuple[MouldMaking, ...] = ()  # the way to those in use, then to those that take the place of worn ones
    loads: tuple[MakingLoad, ...] = ()
    worn: float = 0.0  # out by the order, on average [mould]

    def total(self, kind: str, what: str = "count") -> int:
        """Sum over all ways, as of each. [mould, cast or load]"""
        return sum(way.total(kind, what) for way in self.found)

    @property
    def generations(self) -> int:
        """Rounds in which moulds are poured."""
        return sum(len(way.of("moulds")) for way in self.found)

    @property
    def to_make(self) -> int:
        """Moulds that count; a first one of fewer cavities is made besides. [mould]"""
        return self.total("moulds", "gained")


def taken_out(planner) -> int:
    """Index of the step whose hand work gets the pieces out of the moulds; past the last where the last wait does."""
    named = planner.entry.mould and planner.entry.mould.free_after
    waits = any(step.wait.value > 0 for step in planner.entry.steps.values())
    return list(planner.entry.steps).index(named) if named else planner.first_wait + waits


def room_in(planner, station: str | None, places: int) -> tuple[int, ...]:
    """Moulds of so many places that each of the places of a station takes at once; empty where nothing limits them. [mould]"""
    entry = planner.kit.study.file.stations.get(station)
    if entry is None or entry.places is None:
        return ()
    return tuple(size // places for size in entry.sizes or (int(entry.places.value),) * int(entry.count.value))


def casting_rooms(planner) -> list[int]:
    """Casts of a full load of each station there is, whole moulds and at most those of a load. [cast]"""
    file, step = planner.kit.study.file, list(planner.entry.steps.values())[planner.first_wait]
    station = file.stations.get(step.wait_in)
    alike = 1 if station is None or station.sizes else int(station.count.value)
    return [int(load) for load in pot_loads(file, planner.product)] * alike


def making_of(planner, sizes: list[int], begin: int) -> Making:
    """How the moulds of a plan come about, where they are counted one by one; those that wear out before the last load are made anew, in time.

    `sizes` are the casts of each load of the order that is to be poured [cast], `begin` the number of the first load of mould making; those
    of the order follow on the last.
    """
    moulds = planner.moulds
    have, wanted = moulds.in_hand, moulds.in_use
    if not (sizes and have + moulds.masters):  # with neither mould nor master none of it comes about
        return Making()
    first = _way(planner, wanted, moulds.masters, have)
    copied = sum(moulds.fills(load) for one in first.of("copies") for load in one.loads)
    used = accumulate((moulds.fills(size) for size in sizes), initial=copied)
    *worn, last = (moulds.worn(uses) for uses in used)  # when so many loads are poured
    anew = int(worn[-1] + 0.5)
    again = _way(planner, wanted + anew, moulds.masters + first.total("copies", "gained"), wanted)
    loads, before = [], ()
    for way in (first, again):
        small = 0
        if way is again and again.rounds:  # once the first are worn, which load of the order that may be
            count = sum(len(one.loads) for both in (first, again) for one in both.rounds)
            before = (*before, begin + count + max(bisect_left(worn, 0.5) - 1, 0))
        for one in way.rounds:
            pour, here = one.kind == "moulds", begin + len(loads)
            for load in one.loads:
                gain = load if pour and one.gained and way is first else 0  # those made anew replace others
                use = 0 if pour else moulds.fills(max(load - small, 0))
                loads.append(MakingLoad(kind=one.kind, count=load, gain=gain, use=use, after=before))
            small = one.cavities if pour and not one.gained else small
            before = tuple(range(here, begin + len(loads)))
    return Making(found=(first, again), loads=tuple(loads), worn=last)


def _way(planner, wanted, masters, have):
    """The quickest way to so many moulds, with the waits, checks and places of the study."""
    cavities = planner.moulds.cavities
    steps, out = planner.point_product.steps, taken_out(planner)
    rooms = [room_in(planner, step.wait_in, cavities) for step in planner.entry.mould.steps.values()]
    waits = planner.point_product.mould.steps, steps[:out]
    return mould_making(
        wanted,
        masters,
        cavities,
        in_hand=have,
        cure_hours=tuple(float(sum(step.wait_hours for step in part)) for part in waits),
        good_share=float(rolled_yield([step.pass_share for step in steps[: out + 1]])),
        mould_room=min(filter(None, rooms), key=sum, default=()),
        copy_room=casting_rooms(planner),
    )


def planner_with(planner, in_use: int, early: tuple[int, ...] = ()):
    """The planner with so many moulds in use [mould], and smaller loads while they are made [cast], on the same draws."""
    other = copy(planner)
    other.__dict__.pop("casts_per_load", None)
    other.moulds = replace(planner.moulds, in_use=in_use, early=early)
    return other


def early_loads(planner) -> tuple[int, ...]:
    """Loads that moulds already there can give, a cure each, while others are made. [cast]

    Where they hold at least half of a full load, but not all of it, and a pot is free.
    """
    moulds, full = planner.moulds, planner.casts_per_load
    station = planner.point_product.steps[planner.first_wait].wait_in
    entry, there, sizes = planner.kit.study.file.stations.get(station), moulds.in_hand, []
    cures = [step.wait_in for step in planner.entry.mould.steps.values() if step.wait.value > 0]
    for one in _way(planner, moulds.in_use, moulds.masters, there).rounds:
        pour = one.kind == "moulds"
        filled = 0 if pour else sum(moulds.fills(load) for load in one.loads)
        taken = len(one.loads) if not pour or station in cures else 0
        most = (there - filled) * moulds.cavities
        if full <= 2 * most < 2 * full and (entry is None or taken < int(entry.count.value)):
            sizes += [most] * (len(cures) if pour else 1)
        there += one.gained if pour else 0
    return tuple(sizes)


def with_making(planner, loads):
    """Loads of an order with those that make its moulds before the new ones; as they are where moulds come in sets."""
    if planner.moulds is None:
        return loads
    at = loads.promised + loads.started
    making = making_of(planner, loads.size[at : loads.planned].tolist(), at)
    places = [at] * len(making.loads)
    by_draw, *fate = (np.insert(part, places, 0, axis=1) for part in (loads.by_draw, *(loads.fate or ())))
    rounds = loads.rounds and (*loads.rounds[:at], *(0 for _ in places), *loads.rounds[at:])
    planned = loads.planned + len(places)
    return replace(loads, by_draw=by_draw, fate=tuple(fate) or None, rounds=rounds, planned=planned, making=making)


def with_copies(planner, entering: np.ndarray, lots: np.ndarray, loads) -> tuple[np.ndarray, np.ndarray]:
    """Pieces entering each step, and lots, with copies of the masters, a lot a load, until they are out of their moulds.

    Shapes (D, L, K) and (D or 1, L). [piece, lot]
    """
    entering, lots = entering.copy(), lots.copy()
    for load, one in loads.made.items():
        if one.kind == "copies":
            entering[:, load, : taken_out(planner) + 1], lots[:, load] = one.count, 1.0
    return entering, lots


def in_calendar(planner, plan: Plan, loads, draws, opened) -> Plan:
    """The plan with its pours of moulds in stages of their own, and with the moulds that each load takes and gives."""
    moulds = planner.moulds
    use = -(-loads.of(draws).sum(axis=2) // moulds.cavities)
    use[:, [load for load, name in enumerate(loads.promised_products) if name != planner.product]] = 0
    gain, pours = np.zeros(use.shape[1], int), []
    for load, one in loads.made.items():
        use[:, load], gain[load] = one.use, one.gain
        pours += [load] if one.kind == "moulds" else []
    if pours:
        counts, longest = [loads.made[load].count for load in pours], int(np.diff(opened.calendar.windows).max())
        plan = through_other_stages(plan, _pours(planner, plan, counts, draws, longest), pours)
    after = {load: one.after for load, one in loads.made.items() if one.after}
    return replace(
        plan,
        moulds=np.full(plan.start.size, moulds.in_hand),
        mould_use=use if len(use) > 1 else use[0],
        mould_gain=gain,
        after=plan.after | after,
    )


def _pours(planner, plan, counts, draws, longest):
    """Pours of so many moulds each, as a plan of their own."""
    stages, work, wait = [], [], []
    for n, (name, step) in enumerate(planner.entry.mould.steps.items()):
        each, pour, hours = draws.mould_steps[:, n].T[..., None]
        work.append(np.rint((each * counts + pour) * 60))
        wait.append(np.broadcast_to(np.rint(hours * 3600), work[-1].shape))
        stages.append(Stage(name=f"{name} of moulds", block=bool(work[-1].max() <= longest), station=step.wait_in))
    work, wait = (np.stack(part, axis=-1).astype(np.int64) for part in (work, wait))
    stations, slots = planner.kit.study.file.stations, {}
    for name in {one.station: None for one in stages if one.station}:
        there = slots_of(name, stations[name])
        slots |= {slot: plan.slots.get(slot, loads) for slot, loads in there.items()}
    takes = [count * planner.moulds.cavities for count in counts]
    pool = pools([one.station for one in stages], takes, slots, stations)
    own = {"first": None, "pool": pool, "mould_gain": None}
    return replace(plan, stages=tuple(stages), work=work, wait=wait, places=np.zeros_like(work), slots=slots, **own)
