"""The plan of one order: casts, loads, dates and their chances, on draws of everything uncertain."""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from ..models import piece_cost
from ..models.counts import counts_from_loads, loads_for
from ..models.lots import LotPlan, cheapest_lots, load_cost
from ..models.moulds import moulds_worn
from ..models.schedule import DAY, NEVER
from ..models.topping import ToppedUp
from .making import mean_age, with_making
from .planner import Planner
from .simulated import Loads, SimulatedOrder
from .spec import AT_ONCE, TOP_UP, Order
from .topping import cast_now, topped_loads, topped_often

MOST_LOTS = 400  # pieces up to which the cheapest lots are searched
TRIES = 128  # draws of a trial of another number of moulds
LOT_DRAWS = 48  # yields that stand for all draws in that search


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderPlan:
    """The answer for one order, each part worked out when it is first asked for."""

    planner: Planner
    order: Order
    choices: tuple = ()  # numbers of moulds that were weighed against each other, where they are counted one by one

    @property
    def tops_up(self) -> bool:
        """Whether what is short is cast once what went before is counted."""
        return self.order.policy == TOP_UP

    @cached_property
    def _found(self) -> tuple[dict[str, int], float]:
        if not self.tops_up:
            return self.planner.casts(self.order)
        now = cast_now(self.planner, self.order)
        return now, self.planner.chance(self.order, list(now.values()))

    @property
    def casts_by_item(self) -> dict[str, int]:
        """New casts to start by item; ValueError where none give the confidence. [cast]"""
        return self._found[0]

    @property
    def chance_of_enough(self) -> float:
        """Chance that these, with what is under way, give enough good pieces. [-]"""
        return self._found[1]

    @property
    def casts(self) -> int:
        """New casts to start, of all items. [cast]"""
        return sum(self.casts_by_item.values())

    @cached_property
    def casts_one_by_one(self) -> int:
        """New casts that would do if pieces of one load failed one by one. [cast]"""
        return sum(self.planner.casts(self.order, alike=False)[0].values())

    def curve(self, casts) -> np.ndarray:
        """Chance of enough good pieces by number of new casts, shared out over variants as their pieces are; as the plan does where loads under
        way give some of them more than others. [-]"""
        as_planned = self.order.under_way and self.casts
        wanted = np.array(list((self.casts_by_item if as_planned else self.order.needed).values()))
        shares = np.cumsum(wanted / max(wanted.sum(), 1))
        split = [np.diff(np.floor(shares * n + 0.5), prepend=0).astype(int).tolist() for n in casts]
        return np.array([self.planner.chance(self.order, part) for part in split])

    @cached_property
    def loads(self) -> Loads:
        """Loads of the plan."""
        if self.tops_up:
            return with_making(self.planner, topped_loads(self.planner, self.order, self.casts_by_item))
        return self.planner.loads(self.order, self.casts_by_item)

    @property
    def new_loads(self) -> int:
        """Loads to pour now, extra ones and those of later rounds apart. [load]"""
        return self.loads.rounds[self.loads.new].count(1) if self.tops_up else self.loads.planned - self.loads.new.start

    @cached_property
    def poured(self) -> np.ndarray:
        """Which loads of the order are poured in each draw, extra ones where they are needed; shape (D, L)."""
        return self.loads.poured(self.planner.fate(self.loads, self.planner.draws)[1], self.order)

    @cached_property
    def casts_by_draw(self) -> np.ndarray:
        """Casts of the order's loads as they are poured; shape (D, L, I). [cast]"""
        return self.loads.by_draw * self.poured[..., None]

    @cached_property
    def loads_in_all(self) -> float:
        """Loads still to pour, those of later rounds and extra ones too, on average. [load]"""
        return float(self.casts_by_draw[:, self.loads.new.start :].any(axis=2).sum(axis=1).mean())

    @property
    def casts_in_loads(self) -> float:
        """Casts under way and still to pour, those of later rounds and extra loads too, on average. [cast]"""
        return float(self.casts_by_draw.sum(axis=(1, 2)).mean())

    @cached_property
    def typical_loads(self) -> Loads:
        """Loads of a typical course."""
        return self.loads.of_a_typical_course()

    @cached_property
    def course(self) -> SimulatedOrder:
        """What happens to the loads of the plan in all draws."""
        return self.planner.course(self.order, self.loads, self.planner.draws)

    @cached_property
    def tried(self) -> SimulatedOrder:
        """That in so many of the draws as weigh plans against each other."""
        return self.planner.course(self.order, self.loads, self.planner.draws.part(TRIES))

    @cached_property
    def typical(self) -> SimulatedOrder:
        """One course with everything at its middle."""
        return self.planner.course(self.order, self.typical_loads, self.planner.point, record=True)

    @cached_property
    def topped(self) -> ToppedUp:
        """Casts that counting and topping up takes, round by round, in many draws."""
        return topped_often(self.planner, self.order, self.casts_by_item)

    @property
    def casts_in_all(self) -> float:
        """Casts still to start, those of later rounds and extra loads too, on average. [cast]"""
        return sum(map(self.casts_of, self.casts_by_item))

    def casts_of(self, item: str) -> float:
        """Those of one colour or form. [cast]"""
        number = list(self.casts_by_item).index(item)
        if not self.tops_up:
            return float(self.casts_by_draw[:, self.loads.new.start :, number].sum(axis=1).mean())
        return float(self.topped.casts[..., number].sum(axis=0).mean())

    @property
    def casts_surely(self) -> int:
        """Casts that are enough with the wanted certainty. [cast]"""
        return self.topped.total_at(self.order.confidence) if self.tops_up else self.casts

    @property
    def rounds_in_all(self) -> float:
        """Rounds still to cast, on average. [round]"""
        return float(self.topped.rounds.mean()) if self.tops_up else float(self.casts > 0)

    @property
    def within_two(self) -> float:
        """Chance of enough within two rounds, or in the one. [-]"""
        return self.topped.within(2) if self.tops_up else self.chance_of_enough

    @cached_property
    def policies(self) -> dict[str, "OrderPlan"]:
        """The plan all at once, and the one that counts and tops up, on the same draws."""
        stated = self.order.policy or AT_ONCE
        return {policy: self if policy == stated else self.with_order(policy=policy) for policy in (AT_ONCE, TOP_UP)}

    def with_order(self, **changes) -> "OrderPlan":
        """The plan of the order with some of its fields changed, on the same draws."""
        return OrderPlan(planner=self.planner, order=replace(self.order, **changes))

    @cached_property
    def stage_names(self) -> list[str]:
        """Names of the stages of the calendar: casting, then the steps after the first wait; so for each product promised; packing."""
        return ["casting", *(stage.name for stage in self.typical.plan.stages[1:]), "talking, packing, posting"]

    @cached_property
    def casting_stages(self) -> set[int]:
        """Which stages pour a load: the first of each product."""
        return set(self.typical.plan.first.tolist())

    @cached_property
    def sanding_uncapped(self) -> float:
        """Most hours of sanding on one day of a typical course if nothing capped them. [hour]"""
        free = self.planner.course(self.order, self.typical_loads, self.planner.point, record=True, capped=False)
        return max(free.sanding_by_day.values(), default=0.0)

    @cached_property
    def meets_date(self) -> bool:
        """Whether the chance of the date is at least the confidence, within what the draws can tell."""
        return self.course.in_time >= self.order.confidence

    @property
    def earliest_promise(self) -> tuple[date, date] | None:
        """Dates of posting and arrival that hold with the confidence; None within the calendar looked at."""
        return self.course.promise(self.order.confidence)

    def promise_from(self, start: date) -> tuple[date, date] | None:
        """Those of the plan where work begins on a day."""
        course = self.planner.course(self.order, self.loads, self.planner.draws, starts=(start,))
        return course.promise(self.order.confidence)

    def arrives_in(self, course: SimulatedOrder) -> date | None:
        """Date of arrival that holds with the confidence in a course; None within the calendar looked at."""
        return (course.promise(self.order.confidence) or (None, None))[1]

    @property
    def arrives(self) -> date | None:
        """That of the plan."""
        return self.arrives_in(self.course)

    @cached_property
    def last_start(self) -> date | None:
        """The latest first day on which the date still holds with the confidence; None where today is too late."""
        if not self.meets_date:
            return None
        days = [d for d in self._open_days() if d <= self.order.due]
        spare = max(self.course.deadline - self.course.finish_at(self.order.confidence), 0) // DAY
        at = max(sum(d <= self.order.start + timedelta(days=spare) for d in days) - 1, 0)

        def holds(n):
            if days[n] not in self._starts:
                self.starts(days[n : n + 2])  # with the next one, which is likely to be asked for
            return self._starts[days[n]] >= self.order.confidence

        while at + 1 < len(days) and holds(at) and holds(at + 1):
            at += 1
        while at > 0 and not holds(at):
            at -= 1
        return days[at] if at else self.order.start

    @cached_property
    def start_days(self) -> list[date]:
        """First days to try: the planned one, those of one to three loads later, and the last safe one."""
        later = [self.course.opened.date_of(begin) for begin in sorted(self.pours.values())[1:4]]
        last = self.last_start
        after = [next((d for d in self._open_days() if d > last), last + timedelta(days=1))] if last else []
        return sorted({self.order.start, *later, *after, last or self.order.start})

    @cached_property
    def next_start(self) -> date | None:
        """First day after that of the first work on which a load is poured in a typical course; None where there is none."""
        days = (self.course.opened.date_of(begin) for begin in sorted(self.pours.values()))
        return next((day for day in days if day > self.begins), None)

    @cached_property
    def begins(self) -> date:
        """Day of the first work on it in a typical course, the first open one as a rule; the order's first day where nothing is worked on."""
        promised = self.typical_loads.promised
        own = [start for load, _, start, _ in self.typical.schedule.segments if load >= promised]
        return self.typical.opened.date_of(min(own)) if own else self.order.start

    @cached_property
    def pours(self) -> dict[int, int]:
        """Beginnings of the loads of a typical course, by load. [s]"""
        segments = self.typical.schedule.segments
        return {load: start for load, stage, start, _ in reversed(segments) if stage in self.casting_stages}

    @cached_property
    def step_minutes(self) -> np.ndarray:
        """Hand work on each load of the order as it is poured, at each step; shape (D, L, K). [min]"""
        planner, draws = self.planner, self.planner.draws
        entering, _ = planner.fate(self.loads, draws)
        return planner.step_minutes(draws, entering, planner.lots(self.loads, draws)) * self.poured[..., None]

    def starts(self, days: list[date]) -> dict[date, float]:
        """The chance of the date [-] with other first days; each day worked out once."""
        if new := [day for day in dict.fromkeys(days) if day not in self._starts]:
            course = self.planner.course(self.order, self.loads, self.planner.draws, starts=tuple(new))
            self._starts.update({day: part.in_time for day, part in zip(new, course.split(len(new)), strict=True)})
        return {day: self._starts[day] for day in days}

    @cached_property
    def _starts(self) -> dict[date, float]:
        return {self.order.start: self.course.in_time}

    @cached_property
    def mould_choices(self) -> list[tuple[int, float, date | None]]:
        """Sets of moulds in use [set], chance of the date [-], and the date that holds; up to where more change nothing, none without moulds."""
        have, rows = self.planner.mould_sets, []
        for tried in (tuple(range(1, have + 2)), (have + 2, have + 3)) if have else ():
            course = self.planner.course(self.order, self.loads, self.planner.draws, sets=tried)
            for sets, part in zip(tried, course.split(len(tried)), strict=True):
                found = part.in_time, self.arrives_in(part)
                found = _no_worse(found, rows[-1][1:]) if rows else found
                same = sets > have and rows and rows[-1][2] == found[1]
                rows.append((sets, *found))
                if same:  # more change nothing
                    return rows
        return rows

    @cached_property
    def sets_wanted(self) -> int:
        """Fewest sets of moulds that hold the date, or else are earliest. [set]"""
        if not (rows := self.mould_choices):
            return 0
        # too late anyhow: as early as they make it, but none is made where no number makes a date
        late = min((row for row in rows if row[2]), key=lambda row: row[2], default=(self.planner.mould_sets,))
        return next((row for row in rows if row[1] >= self.order.confidence), late)[0]

    @cached_property
    def sets_worn(self) -> float:
        """Sets of moulds that the planned loads wear out, on average; none where moulds are counted one by one. [set]"""
        mould, sets = self.planner.point_product.mould, max(self.sets_wanted, 1)
        if mould is None or self.planner.moulds or not self.loads_in_all:
            return 0.0
        life, age = (float(mould.life_casts), float(mould.life_shape)), mean_age(self.planner.kit.study, self.order.product)
        return moulds_worn(round(self.loads_in_all), sets, *life, age or 0.0, mould.replace_at)

    @property
    def moulds_to_make(self) -> int:
        """Sets to make: what the date wants beyond those in use, and what the order wears out. [set]"""
        return max(self.sets_wanted - self.planner.mould_sets, 0) + int(self.sets_worn + 0.5)

    @cached_property
    def options(self) -> list[tuple[str, float, date | None]]:
        """What a change of the plan would do to the date, on the same draws: what, chance [-], the date that holds."""
        planner, order, tried = self.planner, self.order, []
        more = dict(self.casts_by_item)
        first = max(more, key=more.get)
        more[first] += planner.casts_per_load
        if not self.tops_up:
            tried.append(("one more load from the start", {"loads": planner.loads(order, more)}))
        tried.append(("a quarter more hours a week", {"hours_share": 1.25}))
        if planner.mould_sets:
            tried.append(("one more set of moulds", {"sets": (planner.mould_sets + 1,)}))
        if any(step.wait_in in planner.kit.study.file.stations for step in planner.entry.steps.values()):
            tried.append(("one more station of each kind", {"stations": 1}))
        rows = [("as planned", self.course.in_time, self.arrives)]
        for what, change in tried:
            course = planner.course(order=order, draws=planner.draws, **{"loads": self.loads} | change)
            found = course.in_time, self.arrives_in(course)
            rows.append((what, *(found if "loads" in change else _no_worse(found, rows[0][1:]))))
        return rows

    @cached_property
    def saved_by(self) -> tuple[str, float] | None:
        """What holds the date where the plan as it stands does not, and its chance [-]: the other way of casting, else the first of the options."""
        if self.meets_date or self.order.closed:
            return None
        said = {AT_ONCE: "all cast at once", TOP_UP: "counting and topping up"}
        ways = [(said[name], one.course.in_time) for name, one in self.policies.items() if one.meets_date]
        return next(iter(ways or [row[:2] for row in self.options[1:] if row[1] >= self.order.confidence]), None)

    @cached_property
    def lots(self) -> LotPlan | None:
        """Cheapest first and later lots where ending short costs something; None where no penalty is stated. [cast, money]"""
        order, planner = self.order, self.planner
        needed = sum(order.needed.values())
        if not (order.short_penalty or order.short_penalty_each) or not needed or needed > MOST_LOTS:
            return None
        target = float(planner.point_inputs.target_per_hour)
        in_a_load = planner.lots(self.loads, planner.draws)[:, self.loads.new]
        product = replace(planner.point_product, lots_per_load=float(in_a_load[in_a_load > 0].mean()) if in_a_load.any() else 1.0)

        def each(steps):  # cost of a cast, whatever becomes of it
            cost = piece_cost(replace(product, steps=tuple(steps)), target, planner.learning_casts)
            return float((cost.minutes / 60.0 * target + cost.material - cost.parts) * cost.good_share)

        unit = each(
            replace(s, load_minutes=0.0, lot_minutes=0.0, materials=tuple(m for m in s.materials if m.per == "piece"))
            for s in product.steps
        )
        setup = max(each(product.steps) - unit, 0.0) * float(np.mean(planner.load_sizes))
        unpaid = (order.price or 0.0) / order.pieces  # what is missing is not paid for
        d = planner.draws
        by_share = np.argsort(d.good_share, kind="stable")
        rows = by_share[((np.arange(LOT_DRAWS) + 0.5) / LOT_DRAWS * by_share.size).astype(int)]
        share, alike, ruined = d.good_share[rows], d.load_correlation[rows], d.ruined[rows]

        def outcome(count):
            counts = counts_from_loads(loads_for(count, planner.load_sizes), share, alike, order.matched, ruined).mean(axis=0)
            return np.pad(counts, (0, count + 1 - counts.size)) / counts.sum()

        return cheapest_lots(
            needed,
            self.rounds,
            outcome,
            load_cost(setup, unit, planner.load_sizes),
            lambda short: order.short_penalty * (short > 0) + (order.short_penalty_each + unpaid) * order.matched * short,
            min(order.leftover_value * order.matched, 0.99 * unit),  # else ever more casts would pay
        )

    @cached_property
    def rounds(self) -> int:
        """Lots that the time allows one after the other, at most as many as the order says. [lot]"""
        done = np.delete(self.typical.schedule.done[0], list(self.loads.made))
        if not self.new_loads or done.min() >= NEVER:
            return 1
        once = int(done.min()) - self.course.opened.seconds(self.order.start)  # through all steps, for one load
        spare = self.course.deadline - self.typical.finish_at(1.0)
        return max(1, min(self.order.rounds, 1 + spare // max(once, 1)))

    def _open_days(self):
        opened = self.course.opened
        span = range((self.order.due - self.order.start).days + 1)
        days = [self.order.start + timedelta(days=n) for n in span]
        return [self.order.start, *(d for d in days[1:] if opened.day_open(d))]


def _no_worse(found, without):
    """Chance of the date and the date that holds with more at hand, or without it: as hands go, it can come out later, but may stay unused."""
    return max(found[0], without[0]), min(filter(None, (found[1], without[1])), default=None)
