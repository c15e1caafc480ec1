"""Draws of one product, loads of an order, and what happens to these in each draw."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from ..models.costs import hands_on_minutes
from ..models.schedule import DAY, Plan, Schedule
from ..models.workshop import Channel, Product
from ..models.yields import rolled_yield, surviving_share
from .dates import Opening
from .making import Making, MakingLoad


@dataclass(frozen=True, kw_only=True)
class Draws:
    """One product of K steps in D possible worlds, or in one."""

    minutes: np.ndarray  # for a piece entering each step, rework in it; shape (D, K) [min/piece]
    load_minutes: np.ndarray  # shape (D, K) [min/load]
    lot_minutes: np.ndarray  # shape (D, K) [min/lot]
    wait: np.ndarray  # shape (D, K) [hour]
    shares: np.ndarray  # passing each step; shape (D, K) [-]
    load_correlation: np.ndarray  # shape (D,) [-]
    ruined: np.ndarray  # chance that a load is lost as a whole; shape (D,) [-]
    order_minutes: np.ndarray  # shape (D,) [min/order]
    mould_steps: np.ndarray  # making moulds: each one, a pour of several [min], and the wait [hour]; shape (D, steps, 3)
    rows: np.ndarray | None = None  # which of all draws these are; None: all of them

    @property
    def good_share(self) -> np.ndarray:
        """Share of casts that end good; shape (D,). [-]"""
        return rolled_yield(self.shares.T)

    def part(self, size: int) -> "Draws":
        """So many of the draws, evenly spread over all; all of them where there are no more."""
        return self.at(np.linspace(0, self.load_correlation.size - 1, min(size, self.load_correlation.size)).round().astype(int))

    def at(self, rows: np.ndarray) -> "Draws":
        """Some of the draws, in this order, any of them more than once."""
        return replace(self, **{name: values[rows] for name, values in vars(self).items() if name != "rows"}, rows=rows)


@dataclass(frozen=True, kw_only=True)
class Loads:
    """Loads of a plan in the order in which they are poured."""

    by_draw: np.ndarray  # casts of each load and item in each draw, one row where all are alike; shape (D or 1, L, I) [cast]
    promised: int  # loads of earlier promises, which come first
    started: int  # loads of the order under way, which come next
    planned: int  # all but the extra ones
    promised_products: tuple[str, ...] = ()  # of each promised load
    making: Making | None = None  # whose loads come between those under way and the new ones; None where moulds come in sets
    # of a plan that is topped up: the round of each load, what `fates` gives in every draw, and which draw is typical
    rounds: tuple[int, ...] = ()
    fate: tuple[np.ndarray, np.ndarray] | None = None
    typical: int = 0

    @property
    def casts(self) -> np.ndarray:
        """Those of the typical draw; shape (L, I). [cast]"""
        return self.by_draw[self.typical]

    def of(self, draws: Draws) -> np.ndarray:
        """Those of some of the draws; shape (D or 1, L, I). [cast]"""
        return self.by_draw if len(self.by_draw) == 1 or draws.rows is None else self.by_draw[draws.rows]

    def of_a_typical_course(self) -> "Loads":
        """Those of the typical draw alone, without the extra ones."""
        fate = self.fate and tuple(part[[self.typical]] for part in self.fate)
        return replace(self, by_draw=self.by_draw[[self.typical], : self.planned], fate=fate, typical=0)

    @property
    def after(self) -> dict[int, tuple[int, ...]]:
        """By load of a later round: those of the order before it, which must be counted first."""
        own = [load for load in range(self.promised, len(self.rounds)) if load not in self.made]
        return {n: tuple(m for m in own if self.rounds[m] < self.rounds[n]) for n in own if self.rounds[n] > 1}

    @property
    def size(self) -> np.ndarray:
        """Casts of each load. [cast]"""
        return self.casts.sum(axis=1)

    @property
    def made(self) -> dict[int, MakingLoad]:
        """Pours of moulds and loads of copies, by number of the load."""
        return {} if self.making is None else dict(enumerate(self.making.loads, self.promised + self.started))

    @property
    def own(self) -> slice:
        """Loads of the order, under way and new, with those of mould making, which give no piece of it."""
        return slice(self.promised, self.planned)

    def poured(self, good: np.ndarray, order) -> np.ndarray:
        """Which loads of an order are poured by what comes of them: those planned, an extra one where all before it fall short; shape (D, L)."""
        credit, number = good // order.matched, np.arange(good.shape[1])
        credit[:, : self.promised] = 0
        short = (np.cumsum(credit, axis=1) - credit < np.array(list(order.needed.values()))).any(axis=2)
        return (number >= self.promised) & ((number < self.planned) | short)

    @property
    def new(self) -> slice:
        """Loads of the order still to pour, extra ones apart."""
        return slice(self.promised + self.started + len(self.made), self.planned)


@dataclass(frozen=True, kw_only=True)
class SimulatedOrder:
    """What happens to L loads of I items through K steps in each of D draws."""

    entering: np.ndarray  # pieces of each load that enter each step; shape (D, L, K) [piece]
    good: np.ndarray  # shape (D, L, I) [piece]
    plan: Plan
    schedule: Schedule
    opened: Opening
    deadline: int  # packed before this, it arrives in time [s]
    weights: np.ndarray  # of the draws, so that planned loads are enough just as often as the formula says; shape (D,), sum 1 [-]

    def pot(self, load: int, stage: int = 0) -> str | None:
        """Station that a load takes at a stage: which one of them where they differ in size; None where it takes none."""
        return [*self.plan.slots, None][self.plan.pool[load, stage]]

    def waited(self, load: int, stage: int, moment: int) -> int:
        """Length of the wait after a stage, in the first draw, that begins then. [s]"""
        wait, warmth = int(self.plan.wait[0, load, stage]), self.opened.calendar.warmth
        longer = warmth[min(moment // DAY, warmth.size - 1)] if self.plan.stages[stage].follows_temperature else 1.0
        return round(wait * longer)

    def by_day(self) -> Iterator[tuple[int, int, int, int, float]]:
        """Hand work parted at midnight: day, load, stage, moment it begins [s], and the hours of it on that day [hour].

        Packing is a stage behind the last, of no load: -1.
        """
        packing = [(-1, len(self.plan.stages), *span) for span in self.schedule.packing]
        for load, stage, start, end in (*self.schedule.segments, *packing):
            for day in range(start // DAY, (end - 1) // DAY + 1):
                yield day, load, stage, start, (min(end, (day + 1) * DAY) - max(start, day * DAY)) / 3600

    def sands(self, stage: int) -> bool:
        """Whether a stage is sanding by hand."""
        return stage < len(self.plan.stages) and self.plan.stages[stage].sanding

    @cached_property
    def sanding_by_day(self) -> dict[int, float]:
        """Hours of sanding by hand on each day that has any. [hour]"""
        by_day: dict[int, float] = {}
        for day, _, stage, _, hours in self.by_day():
            if self.sands(stage):
                by_day[day] = by_day.get(day, 0.0) + hours
        return by_day

    def split(self, count: int) -> list["SimulatedOrder"]:
        """The courses of several first days or sets of moulds apart; only their ends."""
        parts = np.split(self.schedule.finish, count)  # each with all draws, so with the same weights
        return [replace(self, schedule=replace(self.schedule, finish=part)) for part in parts]

    @property
    def in_time(self) -> float:
        """Chance that the parcel arrives by the due date. [-]"""
        return float(self.weights @ (self.schedule.finish < self.deadline))

    @property
    def error(self) -> float:
        """Standard error of `in_time` from the number of draws; what the formula says adds none. [-]"""
        met, total = self.schedule.finish < self.deadline, 0.0
        for weight in np.unique(self.weights):  # draws whose planned loads are enough, and the others
            own = self.weights == weight
            count, share = own.sum(), met[own].mean()
            total += (weight * count) ** 2 * max(share * (1 - share), 0.25 / count) / count
        return float(np.sqrt(total))

    def promise(self, chance: float) -> tuple[date, date] | None:
        """Dates of posting and arrival that hold with a chance; None within the calendar."""
        return self.opened.arrival(self.finish_at(chance))

    def finish_at(self, chance: float) -> int:
        """Moment by which the order is packed with a chance; NEVER where it is not. [s]"""
        order = np.argsort(self.schedule.finish, kind="stable")
        reached = np.cumsum(self.weights[order])
        return int(self.schedule.finish[order][min(int(np.searchsorted(reached, chance - 1e-9)), order.size - 1)])


def draws_of(product: Product, channel: Channel | None, size: int, alike, *, casts: float, loads_per_year: float) -> Draws:
    """Draws of one product in so many possible worlds, from its numbers at a point or by draw.

    The channel gives the minutes of an order, none without it; `alike` is the intra-load correlation, shape (D,) [-]; learning is averaged
    over `casts` [cast]; loads that are ruined as a whole are among the `loads_per_year` [load/year].
    """
    steps, making = product.steps, product.mould.steps if product.mould else ()
    entering = zip(steps, surviving_share([step.pass_share for step in steps]), strict=True)

    def full(values):
        columns = [np.broadcast_to(np.asarray(value, float), (size,)) for value in values]
        return np.stack(columns, axis=-1) if columns else np.empty((size, 0))

    return Draws(
        minutes=full(hands_on_minutes(step, product.made_before, casts * np.asarray(share)) for step, share in entering),
        load_minutes=full(step.load_minutes for step in steps),
        lot_minutes=full(step.lot_minutes for step in steps),
        wait=full(step.wait_hours for step in steps),
        shares=full(step.pass_share for step in steps),
        load_correlation=full([alike])[:, 0],
        ruined=full([np.minimum(product.ruined_loads_per_year / loads_per_year, 0.9)])[:, 0],
        order_minutes=full([0.0 if channel is None else channel.minutes_per_order])[:, 0],
        mould_steps=full(one for s in making for one in (s.minutes, s.load_minutes, s.wait_hours)).reshape(size, -1, 3),
    )


def fates(loads: Loads, draws: Draws, seed: tuple[int, int] | None) -> tuple[np.ndarray, np.ndarray]:
    """What becomes of L loads of I items in D draws of K steps: at random, or as rounded means for a typical course, without a seed.

    Pieces of each load that enter each step, shape (D, L, K), and its good pieces of each item, shape (D, L, I). [piece]
    """
    if loads.fate is not None:
        return loads.fate if draws.rows is None else tuple(part[draws.rows] for part in loads.fate)
    if seed is None:
        surviving = np.array(surviving_share(draws.shares[0]))
        entering = np.ceil(loads.size[None, :, None] * surviving - 1e-9).astype(np.int64)
        total = np.cumsum(loads.casts * float(draws.good_share[0]), axis=0)
        good = np.diff(np.floor(total + 1e-9), axis=0, prepend=0)[None].astype(np.int64)
        return entering, np.minimum(good, loads.casts)
    rng = np.random.default_rng(seed)
    good = good_of(loads.by_draw, draws, rng)
    return entering_of(loads.by_draw, good, draws, rng), good


def good_of(casts: np.ndarray, draws: Draws, rng: np.random.Generator) -> np.ndarray:
    """Good pieces of loads, by chance; shape (D, L, I).

    `casts` are those of each load and item, of every draw or of one row for all; shape (D or 1, L, I). [cast]
    """
    shape = (draws.load_correlation.size, casts.shape[1])
    share, alike = draws.good_share[:, None], draws.load_correlation[:, None]
    strength = (1.0 - alike) / np.maximum(alike, 1e-12)
    drawn = rng.beta(np.maximum(share * strength, 1e-9), np.maximum((1 - share) * strength, 1e-9), shape)
    own = np.where(alike > 1e-9, drawn, share)
    return rng.binomial(casts, own[..., None]) * (rng.random(shape) >= draws.ruined[:, None])[..., None]


def entering_of(casts: np.ndarray, good: np.ndarray, draws: Draws, rng: np.random.Generator) -> np.ndarray:
    """Pieces of each load that enter each step, scrap falling on the steps in proportion to what each rejects; shape (D, L, K)."""
    size, count = casts.sum(axis=2), draws.shares.shape[1]
    left = size - good.sum(axis=2)
    rejects = [np.asarray(s * (1 - y)) for s, y in zip(surviving_share(draws.shares.T), draws.shares.T, strict=True)]
    remaining = np.cumsum(rejects[::-1], axis=0)[::-1]
    gone = np.zeros(left.shape, np.int64)
    entering = np.empty((*left.shape, count), np.int64)
    for k in range(count):
        entering[..., k] = size - gone
        chance = np.where(remaining[k] > 0, rejects[k] / np.maximum(remaining[k], 1e-300), 0.0)
        here = rng.binomial(left, np.clip(chance, 0, 1)[:, None]) if k < count - 1 else left
        gone, left = gone + here, left - here
    return entering


def repeated(plan: Plan, starts: list[int], sets: list[int]) -> Plan:
    """A plan whose draws are repeated for each first moment [s], or for each number of sets of moulds."""
    times, size = max(len(starts), len(sets)), plan.start.size
    many = {name: np.concatenate([getattr(plan, name)] * times) for name in ("work", "wait", "credit", "places", "pack")}
    begins = np.repeat(starts, size) if starts else np.tile(plan.start, times)
    if np.ndim(plan.mould_use) == 2:
        many["mould_use"] = np.tile(plan.mould_use, (times, 1))
    return replace(plan, **many, start=begins, moulds=np.repeat(sets, size) if sets else np.tile(plan.moulds, times))
