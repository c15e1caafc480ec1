"""An order's calendar as an event simulation, written from the rules alone, and random orders: what the planner must equal.

All times in whole seconds from midnight of day 0.
"""

from collections import Counter
from itertools import pairwise

import numpy as np
import simpy

from casting_econ.models.schedule import NEVER, Calendar, Plan, Stage

DAY, HOUR, QUARTER = 86400, 3600, 900  # [s]
MOULDS = ("moulds", None)  # kind and name of what is taken, as ("slot", station) and ("places", rack)


class Settled(simpy.Event):
    """Comes after everything else of the same second."""

    def __init__(self, env):
        super().__init__(env)
        self._ok, self._value = True, None
        env.schedule(self, priority=2)  # events and timeouts go with 0 and 1


class Job:
    """Hand work on one stage of one load."""

    def __init__(self, env, load, number, stage, work, needs):
        self.load, self.number, self.stage, self.left, self.needs = load, number, stage, work, needs
        self.begun, self.worked = False, env.event()


class Order:
    """One draw of a plan: a process for each load, one for the hands, one for each thing on its way back.

    `seen` counts what happened and what was turned down and why, so that tests can tell which rules the cases reached.
    """

    def __init__(self, plan, calendar, draw):
        self.stages, self.planned, self.slots, self.places_in = plan.stages, plan.planned, plan.slots, plan.places_in
        self.work, self.wait, self.places = (table[draw].tolist() for table in (plan.work, plan.wait, plan.places))
        self.credit, self.short = plan.credit[draw].tolist(), (plan.needed - plan.in_hand).tolist()
        self.mould_rest, self.mould_stage, self.first, self.after = plan.mould_rest, plan.mould_stage, plan.first, plan.after
        self.mould_use = np.broadcast_to(plan.mould_use, plan.work.shape[:2])[draw].tolist()
        self.mould_gain, names = plan.mould_gain.tolist(), [*plan.slots, None]  # the last at -1
        self.pots = [[names[pool] for pool in row] for row in plan.pool]
        self.start, self.pack, self.under_way = int(plan.start[draw]), int(plan.pack[draw]), plan.under_way
        self.windows, self.warmth = calendar.windows.tolist(), calendar.warmth.tolist()
        self.day_caps, self.sanding_cap = np.atleast_1d(calendar.day_cap).tolist(), calendar.sanding_cap

        earliest = min([self.start] + [ready for _, ready, _, _ in self.under_way.values()])
        self.env, self.seen, self.segments = simpy.Environment(initial_time=earliest), Counter(), []
        self.change, self.jobs, self.worked, self.sanded = self.env.event(), [], Counter(), Counter()
        self.finished = [self.env.event() for _ in self.work]
        self.done, self.complete = [NEVER] * len(self.work), NEVER
        self.free = Counter({MOULDS: int(plan.moulds[draw])})
        self.free.update({("slot", name): count for name, count in self.slots.items()})
        self.free.update({("places", name): count for name, count in self.places_in.items()})

    def run(self):
        """Done of each load, completion, and the end of packing; NEVER for what the calendar does not reach."""
        for number in range(len(self.work)):
            self.env.process(self.load(number))
        self.env.process(self.hands())
        self.check_complete()  # pieces in hand may do
        last = self.windows[-1][1]
        while self.env.peek() <= min(last, self.complete):  # all that happens at the second of completion still does
            self.env.step()
        self.segments = [(a, b, begin, min(end, self.complete)) for a, b, begin, end in self.segments if begin < self.complete]
        return self.done, self.complete, self.packed()

    def check_complete(self):
        """Note the first moment at which nothing is short."""
        if self.complete == NEVER and max(self.short) <= 0:
            self.complete = max(self.env.now, self.start)

    def stir(self):
        """Tell the hands that something changed."""
        self.change.succeed()
        self.change = self.env.event()

    def needs(self, number, k):
        """What a stage takes when its hand work begins."""
        stage, needs = self.stages[k], {}
        if k == self.first[number] and self.mould_use[number]:
            needs[MOULDS] = self.mould_use[number]
        if self.pots[number][k] is not None:
            needs["slot", self.pots[number][k]] = 1
        if stage.rack is not None:
            needs["places", stage.rack] = min(self.places[number][k], self.places_in[stage.rack])
        return needs

    def give_back(self, what, count, moment):
        """Something on its way back, free again from a moment on."""
        yield self.env.timeout(moment - self.env.now)
        self.free[what] += count
        self.stir()

    def load(self, number):
        """One load on its way through the stages."""
        first, ready, holds_moulds, mine = self.first[number], self.start, False, self.mould_use[number]
        if number in self.after:
            yield self.env.all_of([self.finished[other] for other in self.after[number]])
            self.seen["load held up by others"] += self.env.now > self.start
        if number >= self.planned:
            yield self.env.all_of(self.finished[:number])
            if self.complete != NEVER:
                return
            self.seen["extra load released"] += 1
        if number in self.under_way:
            first, ready, station, moulds_out = self.under_way[number]
            self.seen["load under way"] += 1
            self.seen["load in its last wait"] += first == len(self.stages)
            self.seen["ready before the start"] += ready < self.start
            if station is not None:
                self.free["slot", station] -= 1
                self.env.process(self.give_back(("slot", station), 1, ready))
            if moulds_out and mine:
                self.free[MOULDS] -= mine
                holds_moulds = True  # given back as of any other load
        yield self.env.timeout(max(ready - self.env.now, 0))  # an extra load: at once
        self.seen["nothing of a load"] += first < len(self.stages) and self.work[number][first] == 0
        for k in range(first, len(self.stages)):
            stage, work = self.stages[k], self.work[number][k]
            if work == 0:
                self.seen["nothing left"] += 1
                break
            job = Job(self.env, number, k, stage, work, self.needs(number, k))
            self.jobs.append(job)
            self.stir()
            yield job.worked
            holds_moulds = holds_moulds or MOULDS in job.needs
            if holds_moulds and k == self.mould_stage:  # the pieces are out
                holds_moulds = False
                self.seen["moulds back, the load goes on"] += k + 1 < len(self.stages)
                self.env.process(self.give_back(MOULDS, mine, self.env.now + self.mould_rest))
            wait = self.wait[number][k]
            if stage.follows_temperature:
                day = min(self.env.now // DAY, len(self.warmth) - 1)
                self.seen["wait that ties between two seconds"] += wait * self.warmth[day] % 1 == 0.5
                wait = round(wait * self.warmth[day])
            yield self.env.timeout(wait)
            for what, count in job.needs.items():
                if what != MOULDS:
                    self.free[what] += count
            self.stir()
        if holds_moulds:
            self.seen["moulds back at the end of a load"] += 1
            self.env.process(self.give_back(MOULDS, mine, self.env.now + self.mould_rest))
        if self.mould_gain[number] and self.work[number][self.first[number]]:  # of nothing no mould is made
            self.free[MOULDS] += self.mould_gain[number]
            self.seen["moulds made"] += 1
            self.stir()
        self.done[number] = self.env.now
        self.short = [short - credit for short, credit in zip(self.short, self.credit[number], strict=True)]
        self.check_complete()
        self.finished[number].succeed()

    def day_cap(self, day):
        """Most hand work of a day; the last given goes on."""
        return self.day_caps[min(day, len(self.day_caps) - 1)]

    def may_work(self, job, closes, day):
        """Whether a job may begin or go on now, in a window that closes then."""
        work = job.left if job.stage.block else 1  # a block needs room for all of it, other work for a second
        cap = self.day_cap(day)
        in_day = self.worked[day] + work <= cap or (job.stage.block and self.worked[day] == 0 and cap > 0)
        in_sanding = self.sanded[day] + work <= self.sanding_cap or (job.stage.block and self.sanded[day] == 0)
        reasons = [f"no {kind}" for (kind, name), count in job.needs.items() if not job.begun and self.free[kind, name] < count]
        if self.env.now + work > closes:
            reasons.append("block does not fit")
        if not in_day:
            reasons.append(
                "day off by its cap" if cap == 0 else "block over the day's cap" if job.stage.block else "day's cap reached"
            )
        if job.stage.sanding and not in_sanding:
            reasons.append("sanding block over its cap" if job.stage.block else "sanding cap reached")
        if len(reasons) == 1:  # the only thing in the way: the rule decides
            self.seen[reasons[0]] += 1
        return not reasons

    def hands(self):
        """One pair of hands, window by window."""
        last = None
        for opens, closes in self.windows:
            day = opens // DAY
            if last is not None and day != last:  # what a block took beyond the cap of its day
                self.worked[day] += max(self.worked[last] - self.day_cap(last), 0)
                self.seen["hours owed to the day before"] += self.worked[day] > 0
            last = day
            if closes <= max(self.env.now, self.start):
                continue
            yield self.env.timeout(max(opens, self.start) - self.env.now)
            while self.env.now < closes:
                yield Settled(self.env)
                able = [job for job in self.jobs if self.may_work(job, closes, opens // DAY)]
                if able:
                    best = min(able, key=lambda job: (not job.stage.block, job.load))
                    self.seen["begun work put off"] += not best.begun and any(job.begun for job in able)
                    yield from self.at_work(best, closes, opens // DAY)
                else:
                    yield self.change | self.env.timeout(closes - self.env.now)

    def at_work(self, job, closes, day):
        """Work on a job until its end, its window's or a cap's, or, unless it is a block, until anything changes."""
        if not job.begun:
            job.begun = True
            self.free.subtract(job.needs)
        span, begin = job.left, self.env.now
        if job.stage.block:
            if span > self.day_cap(day) or (job.stage.sanding and span > self.sanding_cap):
                self.seen["block longer than a cap"] += 1
            self.segments.append((job.load, job.number, begin, begin + span))
            yield self.env.timeout(span)
        else:
            span = min(span, closes - begin, self.day_cap(day) - self.worked[day])
            if job.stage.sanding:
                span = min(span, self.sanding_cap - self.sanded[day])
            yield self.change | self.env.timeout(span)
            self.segments.append((job.load, job.number, begin, self.env.now))
        spent = self.env.now - begin
        job.left -= spent
        self.worked[day] += spent
        self.sanded[day] += spent * job.stage.sanding
        if job.left == 0:
            self.jobs.remove(job)
            job.worked.succeed()

    def packed(self):
        """End of packing, which is hand work of its days like any other."""
        self.packing = []
        if self.pack == 0 or self.complete == NEVER:
            return self.complete
        left, worked, last = self.pack, Counter(), None
        for opens, closes in self.windows:
            day = opens // DAY
            if last is not None and day != last:  # what a block took beyond the cap of its day
                worked[day] += max(worked[last] - self.day_cap(last), 0)
            last = day
            worked[day] += sum(min(end, closes) - begin for _, _, begin, end in self.segments if opens <= begin < closes)
            begin = max(opens, self.complete)
            span = max(min(closes - begin, self.day_cap(day) - worked[day]), 0)
            self.seen["packing that a cap put off"] += begin < closes and span < min(left, closes - begin)
            span = min(span, left)
            self.packing += [(begin, begin + span)] if span else []
            left, worked[day] = left - span, worked[day] + span
            if not left:
                return begin + span
        return NEVER


def events(plan, calendar, draw):
    """Done of each load, completion and finish of one draw, by event simulation."""
    return Order(plan, calendar, draw).run()


def joined(segments):
    """Segments of hand work in order of time, those that go on without a break made one."""
    result = []
    for load, stage, begin, end in sorted(segments, key=lambda segment: segment[2]):
        if result and result[-1][:2] == (load, stage) and result[-1][3] == begin:
            result[-1] = (load, stage, result[-1][2], end)
        else:
            result.append((load, stage, begin, end))
    return [tuple(map(int, segment)) for segment in result]


def random_windows(rng, days):
    """Sorted windows that do not touch, of one kind of workshop. [s]"""
    kind, windows = rng.integers(7), []
    first = rng.integers(24, 44) * QUARTER
    for day in range(days):
        if kind < 4 and day % 7 >= 5 and rng.random() < 0.8:
            continue
        cuts = np.sort(rng.choice(95, size=4, replace=False)) * QUARTER
        windows += [
            (day * DAY + begin, day * DAY + end)
            for begin, end in [
                [(first, first + 8 * HOUR)],  # the working day
                [(first, first + 3 * HOUR), (first + 4 * HOUR, first + 8 * HOUR)],  # with a lunch break
                [(cuts[0], cuts[1]), (cuts[2], cuts[3])],  # a split day
                [(20 * HOUR, 20 * HOUR + 6 * HOUR)],  # nights across midnight
                [(7 * HOUR, 9 * HOUR), (22 * HOUR, 28 * HOUR)],  # mornings, and nights across midnight
                [
                    (cuts[0] + rng.integers(600), cuts[1] - rng.integers(1, 600)),
                    (cuts[3] + 700, DAY),
                ],  # odd seconds, up to midnight
                [(cuts[0], cuts[0] + 41 * HOUR)] if day % 2 == 0 else [],  # over days on end, one cap for all of a window
            ][kind]
        ]
    kept = [window for window in windows if window[0] < window[1] and rng.random() < 0.95] or windows[:1]
    apart = [kept[0]] + [later for earlier, later in pairwise(kept) if later[0] > earlier[1]]
    return np.array(apart, dtype=np.int64)


def random_stages(rng, count):
    """Stages with every mark somewhere, and the slots and places there are."""
    slots = {name: int(rng.integers(1, 3)) for name in ("pot", "oven")}
    places_in = {name: int(rng.integers(1, 31)) for name in ("shelf", "trolley")}
    stages = tuple(
        Stage(
            name=f"stage {k}",
            block=bool(rng.random() < 0.4),
            station=str(rng.choice(list(slots))) if rng.random() < 0.4 else None,
            rack=str(rng.choice(list(places_in))) if rng.random() < 0.4 else None,
            sanding=bool(rng.random() < 0.4),
            follows_temperature=bool(rng.random() < 0.4),
        )
        for k in range(count)
    )
    return stages, slots, places_in


def random_marks(rng, stages, slots, loads, planned):
    """First stage, pot by stage, earlier loads and moulds made, of each load."""
    count, turns = len(stages), rng.permutation(planned).tolist()  # so that no two wait for each other
    first = rng.integers(0, count, loads) * (rng.random(loads) < 0.3)
    pool = np.array(
        [[-1 if s.station is None or rng.random() < 0.1 else rng.integers(len(slots)) for s in stages] for _ in range(loads)]
    )
    after = {
        turns[n]: tuple(map(int, rng.choice(turns[:n], rng.integers(1, n + 1), replace=False)))
        for n in range(1, planned)
        if rng.random() < 0.4
    }
    return first, pool, after, rng.integers(1, 5, loads) * (rng.random(loads) < 0.4)


def random_case(seed, draws=2):
    """A random order and calendar with every rule in reach; half the times on quarters of an hour, so that moments meet.

    Parameters
    ----------
    seed : int
    draws : int

    Returns
    -------
    plan : Plan
    calendar : Calendar
    """
    rng = np.random.default_rng(seed)
    loads, count, items, days = (int(rng.integers(a, b)) for a, b in [(1, 7), (1, 6), (1, 4), (3, 22)])
    grid = QUARTER if rng.random() < 0.5 else 1

    def seconds(low, high, size=None):
        return rng.integers(low // grid, high // grid + 1, size=size) * grid

    windows = random_windows(rng, days)
    by_day = seconds(HOUR, 8 * HOUR, rng.integers(1, days + 4))
    by_day = np.where(rng.random(by_day.shape) < 0.15, 0, by_day)  # days off
    calendar = Calendar(
        windows=windows,
        day_cap=[2 * DAY, int(seconds(HOUR, 8 * HOUR)), by_day][rng.integers(3)],
        sanding_cap=int(seconds(HOUR, 4 * HOUR)) if rng.random() < 0.7 else 2 * DAY,
        warmth=rng.choice([0.5, 0.75, 1.0, 1.5, 1.1, 1.37], size=rng.integers(1, days + 4)),
    )
    stages, slots, places_in = random_stages(rng, count)

    shape = (draws, loads, count)
    work = np.maximum(seconds(0, int(rng.choice([HOUR, 3 * HOUR, 6 * HOUR])), shape), grid)
    work = np.where(rng.random(shape) < rng.choice([0, 0.1]), 0, work)  # nothing left from there, whatever comes after
    wait = seconds(0, int(rng.choice([2 * HOUR, 10 * HOUR, 40 * HOUR])), shape) * (rng.random(shape) < 0.8)
    credit = rng.integers(0, 6, (draws, loads, items))
    planned = int(rng.integers(max(loads - 2, 1), loads + 1))
    typical = credit[:, :planned].sum(axis=1).min(axis=0)
    needed = np.maximum(typical + rng.integers(-1, 4, items), 1)
    in_hand = rng.integers(0, 3, items) if rng.random() < 0.95 else needed + 1

    first, pool, after, mould_gain = (
        (None, None, {}, None) if rng.random() < 0.5 else random_marks(rng, stages, slots, loads, planned)
    )
    mould_use = rng.choice([0, 1, 1, 1], (draws, 1)) * np.ones((1, loads), np.int64)  # none limit in a draw, or one set a load
    if rng.random() < 0.5:
        mould_use = rng.integers(0, 5, (1, loads) if rng.random() < 0.5 else (draws, loads)) * mould_use
    moulds, mould_stage = rng.choice([1, 1, 2], draws) * mould_use.max(), int(rng.integers(count + 1))
    if mould_gain is not None and rng.random() < 0.5:
        moulds = moulds * 0  # to be made first
    start = seconds(0, int(rng.choice([DAY, 3 * DAY])), draws)
    under_way, held = {}, Counter()
    for load in range(planned):
        if first is None and rng.random() < 0.2:
            stage = int(
                rng.choice([rng.integers(1, count + 1), min(max(mould_stage, 1), count)])
            )  # the last wait, if past all stages
            station = stages[stage - 1].station
            holds_station = station is not None and held[station] < slots[station] and rng.random() < 0.8
            holds_moulds = stage <= mould_stage and bool(rng.random() < 0.7)
            held.update({station: holds_station, MOULDS: holds_moulds * mould_use[:, load].max()})
            ready = start.max() + seconds(0, DAY)
            if rng.random() < 0.3:  # waiting for hands since before the start, or done by then
                ready = max(start.min() - seconds(0, HOUR), 0)
            under_way[load] = (stage, int(ready), station if holds_station else None, holds_moulds)
    plan = Plan(
        stages=stages,
        work=work,
        wait=wait,
        credit=credit,
        needed=needed,
        in_hand=in_hand,
        planned=planned,
        first=first,
        after=after,
        slots=slots,
        pool=pool,
        places_in=places_in,
        places=rng.integers(0, 21, shape),
        moulds=np.maximum(moulds, held[MOULDS]),  # none out that there are not
        mould_use=mould_use,
        mould_gain=mould_gain,
        mould_rest=int(seconds(0, 12 * HOUR)) if rng.random() < 0.6 else 0,
        mould_stage=mould_stage,
        start=start,
        pack=seconds(0, 12 * HOUR, draws) * (rng.random(draws) < 0.6),
        under_way=under_way,
    )
    return plan, calendar


def random_project(seed, draws=2):
    """An order that begins with next to no moulds: generations of them, copies as masters, pots of two sizes, lots, top-ups.

    Parameters
    ----------
    seed : int
    draws : int

    Returns
    -------
    plan : Plan
    calendar : Calendar
    """
    rng = np.random.default_rng([seed, 7])
    _, calendar = random_case(seed)
    windows = np.concatenate([calendar.windows + n * (calendar.windows[-1, 1] // DAY + 2) * DAY for n in range(3)])
    calendar = Calendar(windows=windows, day_cap=calendar.day_cap, sanding_cap=calendar.sanding_cap, warmth=calendar.warmth)
    own = (
        Stage(name="cast", block=True, station="large pot"),
        Stage(name="take out"),
        Stage(name="sand", sanding=True),
        Stage(name="paint", rack="shelf"),
    )[: rng.integers(2, 5)]
    making = (
        Stage(name="bottom half", block=bool(rng.random() < 0.5), station="large pot"),
        Stage(name="lid", station="large pot"),
    )
    stages, count = own + making, len(own) + 2

    generations, colours, rounds = (int(rng.integers(a, b)) for a, b in [(1, 3), (1, 5), (1, 4)])
    kinds, after = [], {}  # of each load: making moulds, copies or a lot
    for generation in range(generations):
        if generation:  # copies from the first moulds are the masters of the next
            kinds.append("copies")
            after[len(kinds) - 1] = tuple(n for n, kind in enumerate(kinds) if kind == "moulds")
        pours = range(len(kinds), len(kinds) + int(rng.integers(1, 3)))
        kinds += ["moulds"] * len(pours)
        after |= dict.fromkeys(pours, (pours[0] - 1,)) if generation else {}
    for turn in range(rounds):
        former = tuple(n for n in range(len(kinds) - colours, len(kinds))) if turn else ()
        after |= {n: former for n in range(len(kinds), len(kinds) + colours) if former}
        kinds += ["lot"] * colours
    loads = len(kinds)
    makes = np.array([kind == "moulds" for kind in kinds])
    is_own = np.arange(count) < len(own)
    work = rng.integers(1, 8, (draws, loads, count)) * rng.choice([QUARTER, 1000])
    work = np.where(is_own == makes[:, None], 0, work)
    in_lot = np.array([kind == "lot" for kind in kinds]) & (np.arange(loads) >= loads - colours * (rounds - 1))
    work[(rng.random((draws, loads)) < 0.4) & in_lot] = 0  # this colour is not short
    work[(rng.random((draws, loads)) < 0.1)] *= rng.random(count) < 0.7  # or nothing is left of it
    pots = rng.integers(0, 2, loads)
    has_pot = np.array([stage.station is not None for stage in stages])
    gain = np.where(makes, rng.integers(1, 5, loads), 0)
    use = np.where(makes, 0, np.minimum(rng.integers(1, 5, (draws, loads)), gain[0]))
    credit = np.where(np.array([kind == "lot" for kind in kinds])[:, None], rng.integers(0, 6, (draws, loads, 1)), 0)
    plan = Plan(
        stages=stages,
        work=work,
        wait=rng.integers(0, 20, work.shape) * HOUR * has_pot,
        credit=credit * np.eye(colours, dtype=np.int64)[np.arange(loads) % colours],
        needed=np.full(colours, rng.integers(1, 8)),
        in_hand=np.zeros(colours, np.int64),
        planned=loads - int(rng.integers(0, 2)) * (rounds == 1),
        first=np.where(makes, len(own), 0),
        after=after,
        slots={"large pot": int(rng.integers(1, 3)), "small pot": 1},
        pool=np.where(has_pot, pots[:, None], -1),
        places_in={"shelf": 10},
        places=rng.integers(0, 12, work.shape),
        moulds=rng.choice([0, 0, 1, 3], draws),
        mould_use=use,
        mould_gain=gain,
        mould_rest=int(rng.integers(0, 3)) * HOUR,
        mould_stage=1,
        start=rng.integers(0, 20, draws) * HOUR,
        pack=rng.integers(0, 3, draws) * HOUR,
    )
    return plan, calendar
