"""Event simulations of loads a week, written from the rules alone, and random workshops for them."""

from fractions import Fraction

import numpy as np
import simpy
from order_events import Settled

WEEK = 168 * 3600  # [s]
LOADS = 4000  # of a trace, before a repeat is given up
WEEKDAYS = tuple((24 * day + 9, 24 * day + 17) for day in range(5))
KINDS = ("one window a day", "split days", "to midnight and on", "all day but an hour", "never closed")  # of calendars


class Workshop:
    """Event simulation of the rules: one process a station, one pair of hands asked for in order of being ready.

    Written from the rules alone, in whole seconds: a turnaround takes the hands, lies within one working
    window, and the next cure starts at its end; cures run through nights and days off.
    """

    def __init__(self, cure, turnaround, stations, windows):
        self.cure, self.turnaround, self.starts = cure, turnaround, []
        open_spans = []  # the calendar of four weeks, touching windows joined
        for start, end in sorted((a + week * WEEK, b + week * WEEK) for a, b in windows for week in range(4)):
            if open_spans and open_spans[-1][1] == start:
                open_spans[-1][1] = end
            else:
                open_spans.append([start, end])
        self.always = len(open_spans) == 1
        self.open_spans = open_spans
        self.env = simpy.Environment(initial_time=min(a for a, _ in windows))
        self.hands = simpy.PriorityResource(self.env, capacity=1)
        for _ in range(stations):
            self.env.process(self.station())

    def station(self):
        """One pot: ready, then turned round when the hands come and the calendar allows, then curing."""
        while True:
            with self.hands.request(priority=self.env.now) as hands:
                yield hands
                yield self.env.timeout(self.until_it_fits())
                self.starts.append(self.env.now)
                yield self.env.timeout(self.turnaround)
            yield self.env.timeout(self.cure)

    def until_it_fits(self):
        """Seconds until a turnaround can be done within one window."""
        if self.always:
            return 0
        now = self.env.now % WEEK + WEEK  # in the second week, so that windows over the end of a week are whole
        for start, end in self.open_spans:
            begin = max(now, start)
            if begin + self.turnaround <= end:
                return begin - now
        raise AssertionError("a turnaround that fits no window was simulated")

    def run(self, loads):
        """Starts of the first turnarounds."""
        while len(self.starts) < loads:
            self.env.step()
        return self.starts


def simulated_rate(cure, turnaround, stations, windows, loads=LOADS):
    """Exact loads a week as a Fraction from the first repeated state of the trace, or None, and the starts."""
    workshop, seen = Workshop(cure, turnaround, stations, windows), {}
    for k in range(loads):
        starts = workshop.run(k + 1)
        if k + 1 < stations:
            continue
        gaps = tuple(starts[k] - starts[k - back] for back in range(1, stations))
        state = gaps if workshop.always else (starts[k] % WEEK, gaps)  # a calendar that never closes has no phase
        if state in seen and starts[k] > starts[seen[state]]:
            return Fraction((k - seen[state]) * WEEK, starts[k] - starts[seen[state]]), starts
        seen.setdefault(state, k)
    return None, workshop.starts


def random_windows(rng, kind):
    """Working windows of one kind of calendar on some days of the week, on quarters of an hour. [s]"""
    days = np.sort(rng.choice(7, size=rng.integers(1, 8), replace=False))
    windows = []
    for day in range(7) if kind == "never closed" else days:
        cuts = np.sort(rng.choice(97, size=4, replace=False))
        early, late, gap, first = rng.integers(4, 40), rng.integers(56, 92), rng.integers(1, 91), rng.integers(0, 72)
        of_day = {
            "one window a day": [(first, min(first + rng.integers(13, 96), 96))],
            "split days": [(cuts[0], cuts[1]), (cuts[2], cuts[3])],
            "to midnight and on": [(0, early), (late, 96)],
            "all day but an hour": [(0, gap), (gap + 4, 96)],
            "never closed": [(0, 96)],
        }[kind]
        windows += [(int(day) * 86400 + int(a) * 900, int(day) * 86400 + int(b) * 900) for a, b in of_day]
    return windows


def random_case(rng, kind):
    """Cure and turnaround, stations, windows that hold a turnaround; half the times on round figures. [s]"""
    while True:
        windows = random_windows(rng, kind)
        cure = int(rng.integers(0, 201)) * 3600 if rng.random() < 0.5 else int(rng.integers(0, 200 * 3600 + 1))
        turnaround = int(rng.integers(1, 13)) * 900 if rng.random() < 0.5 else int(rng.integers(180, 3 * 3600 + 1))
        if any(end - start >= turnaround for start, end in windows):
            return cure, turnaround, int(rng.integers(1, 6)), windows


def hours(windows):
    """Windows in hours."""
    return tuple((a / 3600, b / 3600) for a, b in windows)


class MouldShop:
    """Event simulation of a workshop whose moulds must be emptied: a process for each load, one for the hands.

    Written from the rule alone, in whole seconds. A load takes a set of moulds, and a pot where there are pots, when its pour
    begins; the pour lies within one window. The cure begins at its end and frees the pot at its own. Then each step in `steps`, hand work and a
    wait in the moulds, until the pieces are out; the moulds rest, and the set is free. Of what may begin, work in one go that ends in this window
    goes first, the earliest load before the others; other work is put down whenever anything changes, and at closing time.
    With `places` the pots differ: the one longest free is filled, with as many pieces as it holds, and hand work is by the piece.
    """

    def __init__(self, turnaround, cure, pots, sets, steps, rest, windows, places=()):
        self.free, self.size, self.cast = list(places), {}, 0  # places of free pots, pieces by load, pieces cast
        self.held = len(places) + sets  # loads that may be in pots or moulds
        self.turnaround, self.cure, self.steps, self.rest = turnaround, cure, steps, rest
        self.windows = Workshop(cure, turnaround, 0, windows).open_spans
        longest = max(b - a for a, b in self.windows)
        self.longest = longest
        self.pots, self.sets, self.jobs, self.pours, self.number = pots or 10**6, sets, [], [], 0
        self.due = {}  # what happens by itself: when, by load and what
        self.env = simpy.Environment(initial_time=min(a for a, _ in windows))
        self.change = self.env.event()
        self.env.process(self.hands())

    def stir(self):
        """Something changed."""
        self.change.succeed()
        self.change = self.env.event()

    def waiting(self, load, what, seconds):
        """A wait that the hands have no part in."""
        self.due[load, what] = self.env.now + seconds
        yield self.env.timeout(seconds)
        del self.due[load, what]

    def load(self, load):
        """One load from the end of its pour until its moulds have rested."""
        yield from self.waiting(load, "cure", self.cure)
        self.pots += 1
        self.free += [self.size[load]] if load in self.size else []
        self.stir()
        for number, (work, in_one_go, wait) in enumerate(self.steps):
            work = round(work * self.size[load]) if load in self.size else work
            in_one_go = in_one_go and work <= self.longest
            if work:
                job = {"load": load, "step": number, "in one go": in_one_go, "left": work, "done": self.env.event()}
                self.jobs.append(job)
                self.stir()
                yield job["done"]
            yield from self.waiting(load, f"wait {number}", wait)
        yield from self.waiting(load, "rest", self.rest)
        self.sets += 1
        self.stir()

    def state(self):
        """What the future depends on when a pour begins, the week's phase apart; empty sets that rest are alike."""
        due = sorted(
            (0 if what == "rest" else load - self.number, what, at - self.env.now) for (load, what), at in self.due.items()
        )
        jobs = sorted((job["load"] - self.number, job["step"], job["left"]) for job in self.jobs)
        return *due, *jobs, tuple(self.free), tuple(self.size[load] for load in sorted(self.size)[-self.held :])

    def open_now(self):
        """Start and end of the window this moment lies in or that comes next, counted from now."""
        now = self.env.now % WEEK + WEEK  # in the second week, so that windows over the end of a week are whole
        start, end = next((a, b) for a, b in self.windows if b > now)
        return max(start - now, 0), end - now

    def hands(self):
        """One pair of hands."""
        while True:
            yield Settled(self.env)
            opens, closes = self.open_now()
            if opens > 0:
                yield self.env.timeout(opens)
                continue
            pour = {"load": self.number, "in one go": True, "left": self.turnaround, "done": None}
            able = self.jobs + [pour] * (self.pots > 0 and self.sets > 0)
            able = [job for job in able if not job["in one go"] or job["left"] <= closes]
            if not able:
                yield self.change | self.env.timeout(closes)
                continue
            job, begin = min(able, key=lambda job: (not job["in one go"], job["load"])), self.env.now
            if job is pour:
                self.pours.append((begin, self.state()))
                if self.free:
                    self.size[self.number] = self.free.pop(0)
                    self.cast += self.size[self.number]
                self.pots, self.sets, self.number = self.pots - 1, self.sets - 1, self.number + 1
            if job["in one go"]:
                yield self.env.timeout(job["left"])
            else:
                yield self.change | self.env.timeout(min(job["left"], closes))
            job["left"] -= self.env.now - begin
            if job is pour:
                self.env.process(self.load(job["load"]))
            elif job["left"] == 0:
                self.jobs.remove(job)
                job["done"].succeed()

    def rate(self, loads=600):
        """Exact loads a week as a Fraction from the first repeated state, or None and the mean rate."""
        seen = {}
        while len(self.pours) < loads:
            self.env.step()
            if len(self.pours) > len(seen):
                start, state = self.pours[-1]
                key = len(self.windows) > 1 and start % WEEK, state  # a calendar that never closes has no phase
                if key in seen:
                    before = seen[key]
                    return Fraction((len(self.pours) - 1 - before) * WEEK, start - self.pours[before][0])
                seen[key] = len(self.pours) - 1
        return None


def random_mould_case(rng, kind):
    """Turnaround, cure, pots (0: none), sets, steps in the moulds, rest and windows; half the times on quarters of an hour. [s]"""
    cure, turnaround, _, windows = random_case(rng, kind)
    grid = 900 if rng.random() < 0.7 else 60

    def seconds(most):
        return int(rng.integers(0, most * 3600 // grid + 1)) * grid

    turnaround, cure = -(-turnaround // grid) * grid, -(-min(cure, seconds(60)) // grid) * grid
    if not any(end - start >= turnaround for start, end in windows):
        return random_mould_case(rng, kind)
    steps = tuple(
        (seconds(int(rng.choice([1, 3, 9]))), bool(rng.random() < 0.3), seconds(20)) for _ in range(rng.choice([1, 1, 2]))
    )
    steps = (*steps[:-1], (*steps[-1][:2], 0))  # once the pieces are out nothing waits in the moulds
    return turnaround, cure, int(rng.integers(0, 3)), int(rng.integers(1, 5)), steps, int(rng.choice([0, seconds(24)])), windows
