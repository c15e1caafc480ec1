"""The calendar of an order: loads through their steps, one pair of hands, stations, moulds and racks.

Rules: the hands do one thing at a time, within working windows and below a cap of hours a day.
A block (mixing, pouring and loading, or turning a station round) is done in one go within one window; other
work may be interrupted. A block longer than a day's cap begins on a day without work, and what it takes beyond the cap
comes off the open days that follow. Whenever something changes the hands turn to a block that can begin, then to
the earliest load that can go on. A step begins when its station, moulds or rack places are free. A load holds its moulds from
its first step on until its pieces are out, which ends the hand work of a later one; then they rest.
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

__all__ = ["DAY", "NEVER", "Calendar", "Plan", "Schedule", "Stage", "open_seconds_after", "simulate"]

DAY = 86_400  # [s]
NEVER = 2**62  # [s]


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One step as the calendar sees it: hand work, then a wait."""

    name: str
    block: bool = False  # done in one go
    station: str | None = None  # taken from the beginning of the work to the end of the wait
    rack: str | None = None
    sanding: bool = False  # by hand, under the cap of its own
    follows_temperature: bool = False  # whether the wait does


@dataclass(frozen=True, kw_only=True)
class Calendar:
    """When the workshop is open, from midnight of day 0."""

    windows: np.ndarray  # open times, sorted, not touching; shape (windows, 2) [s]
    day_cap: int | np.ndarray = DAY  # hand work a day; by day, the last beyond the end [s]
    sanding_cap: int = DAY  # sanding by hand a day [s]
    warmth: np.ndarray = field(default_factory=lambda: np.ones(1))  # length of waits that follow temperature, by day [-]

    def __post_init__(self) -> None:
        windows = np.asarray(self.windows)
        if windows.ndim != 2 or windows.shape[1:] != (2,) or not windows.size:
            raise ValueError("windows must be rows of start and end; got none")
        if (windows[:, 1] <= windows[:, 0]).any() or any(a[1] >= b[0] for a, b in pairwise(windows.tolist())):
            raise ValueError("windows must be sorted, neither empty nor touching")
        if np.min(self.day_cap) < 0 or self.sanding_cap <= 0:
            raise ValueError(f"caps of a day must not be below 0; got {np.min(self.day_cap)} and {self.sanding_cap}")


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Loads of an order, in D draws of L loads through K stages for I things that are counted."""

    stages: tuple[Stage, ...]
    work: np.ndarray  # by hand; 0 where nothing is left of the load; shape (D, L, K) [s]
    wait: np.ndarray  # after it; shape (D, L, K) [s]
    credit: np.ndarray  # good pieces or sets that a load gives; shape (D, L, I) [piece or set]
    needed: np.ndarray  # shape (I,) [piece or set]
    in_hand: np.ndarray  # shape (I,) [piece or set]
    planned: int  # loads that are poured in any case; the others follow one by one while the order is short
    slots: dict[str, int] = field(default_factory=dict)  # by station
    places_in: dict[str, int] = field(default_factory=dict)  # by rack [place]
    places: np.ndarray | None = None  # a load takes in the rack of a stage; shape (D, L, K) [place]
    mould_sets: np.ndarray  # 0 where no moulds limit; shape (D,) [set]
    mould_rest: int = 0  # [s]
    mould_stage: int = 0  # whose hand work gets the pieces out; past the last: the end of the last wait does
    start: np.ndarray  # shape (D,) [s]
    pack: np.ndarray  # hand work once the order is complete; shape (D,) [s]
    under_way: dict[int, tuple[int, int, str | None, bool]] = field(default_factory=dict)

    # by load: its next stage, when it is ready for it [s], station it holds until then, whether its pieces are in moulds


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """When things happen; NEVER where they do not within the calendar."""

    done: np.ndarray  # end of each load; shape (D, L) [s]
    complete: np.ndarray  # enough good pieces; shape (D,) [s]
    finish: np.ndarray  # packed; shape (D,) [s]
    segments: tuple[tuple[int, int, int, int], ...] = ()  # load, stage, start, end of hand work, where recorded [s]


class _State:
    """Where each load of each draw that still runs is; rows go as draws end."""

    def __init__(self, plan: Plan) -> None:
        draws, loads, _ = plan.work.shape
        self.rows = np.arange(draws)
        self.t = plan.start.astype(np.int64)
        self.stage = np.zeros((draws, loads), np.int64)
        self.ready = np.full((draws, loads), NEVER)
        self.ready[:, : plan.planned] = self.t[:, None]
        self.begun = np.zeros((draws, loads), bool)
        self.done = np.full((draws, loads), NEVER)
        self.station_until, self.mould_until, self.rack_until = (np.zeros((draws, loads), np.int64) for _ in range(3))
        self.held_station = np.full((draws, loads), -1)
        self.held_places, self.held_rack = np.zeros((draws, loads), np.int64), np.full((draws, loads), -1)
        self.worked, self.sanded, self.day = (np.zeros(draws, np.int64) for _ in range(3))
        self.through, self.enough = np.full(draws, -1), np.zeros(draws, bool)
        for load, (stage, ready, station, moulds) in plan.under_way.items():
            self.stage[:, load], self.ready[:, load] = stage, ready
            if station is not None:
                self.held_station[:, load], self.station_until[:, load] = list(plan.slots).index(station), ready
            if moulds and stage <= plan.mould_stage:
                self.mould_until[:, load] = NEVER if stage < plan.work.shape[2] else ready + plan.mould_rest
            if stage == plan.work.shape[2]:
                self.done[:, load] = ready
        at = np.minimum(self.stage, plan.work.shape[2] - 1)
        self.left = np.take_along_axis(plan.work, at[..., None], 2)[..., 0]

    def keep(self, rows: np.ndarray) -> None:
        """Drop the draws that have ended."""
        for name, value in vars(self).items():
            setattr(self, name, value[rows])


def simulate(plan: Plan, calendar: Calendar, *, record: bool = False) -> Schedule:
    """Follow every draw of an order through the calendar, all draws side by side.

    Parameters
    ----------
    plan : Plan
        Loads; arrays of draws D, loads L, stages K and counted things I.
    calendar : Calendar
        Open windows and caps.
    record : bool, optional
        Keep the segments of hand work of the first draw.

    Returns
    -------
    Schedule
        `done` (D, L), `complete` (D,) and `finish` (D,) in seconds from midnight of day 0.

    Notes
    -----
    Whole seconds, so an event simulation of the rules above gives the same moments to the second. No loop over draws: each
    turn of the loop takes every draw on to its own next change.
    """
    windows = np.asarray(calendar.windows, np.int64)
    starts, ends = windows.T
    days, warmth = starts // DAY, np.asarray(calendar.warmth, float)
    caps = np.atleast_1d(np.asarray(calendar.day_cap, np.int64))
    is_open = np.bincount(days, minlength=days[-1] + 1) > 0
    before = np.cumsum(np.where(is_open, caps[np.minimum(np.arange(is_open.size), caps.size - 1)], 0))
    before = np.concatenate([[0], before])  # caps of the open days before each day [s]
    stages = plan.stages
    block, sanding, follows = (
        np.array([getattr(s, name) for s in stages]) for name in ("block", "sanding", "follows_temperature")
    )
    stations, racks = list(plan.slots), list(plan.places_in)
    station_of = np.array([-1 if s.station is None else stations.index(s.station) for s in stages])
    rack_of = np.array([-1 if s.rack is None else racks.index(s.rack) for s in stages])
    room = np.array([plan.places_in[name] for name in racks], np.int64)
    draws, loads, count = plan.work.shape
    done = np.full((draws, loads), NEVER)
    segments: list[tuple[int, int, int, int]] = []
    order = np.arange(loads)
    short_of = np.maximum(np.asarray(plan.needed) - plan.in_hand, 0)
    state = _State(plan)
    _wipe(state, plan, np.repeat(state.rows, loads), np.tile(order, draws))

    while state.rows.size:
        s = state
        ended = _settle(s, plan, short_of)
        w = np.searchsorted(ends, s.t, side="right")
        ended |= w == ends.size
        if ended.any():
            done[s.rows[ended]] = s.done[ended]
            s.keep(~ended)
            continue
        s.t = np.maximum(s.t, starts[w])
        closes, today = ends[w], days[w]
        # a block may be longer than a day's cap; what it took beyond comes off the open days that follow
        left_over = np.maximum(s.worked - (before[today] - before[s.day]), 0)
        s.worked, s.sanded = np.where(today != s.day, left_over, s.worked), np.where(today != s.day, 0, s.sanded)
        s.day = today
        t, cap = s.t[:, None], caps[np.minimum(today, caps.size - 1)]

        at = np.minimum(s.stage, count - 1)
        is_block, sands, in_station, in_rack = block[at], sanding[at], station_of[at], rack_of[at]
        free = np.ones(at.shape, bool)
        for index, name in enumerate(stations):
            taken = ((s.held_station == index) & (s.station_until > t)).sum(axis=1)
            free &= (in_station != index) | (taken < plan.slots[name])[:, None]
        if racks:
            wanted = np.minimum(np.take_along_axis(plan.places[s.rows], at[..., None], 2)[..., 0], room[in_rack])
            for index in range(len(racks)):
                taken = np.where((s.held_rack == index) & (s.rack_until > t), s.held_places, 0).sum(axis=1)
                free &= (in_rack != index) | (taken[:, None] + wanted <= room[index])
        sets = plan.mould_sets[s.rows]
        moulds_free = (sets == 0) | ((s.mould_until > t).sum(axis=1) < sets)
        free &= (s.stage > 0) | moulds_free[:, None]
        worked, sanded = s.worked[:, None], s.sanded[:, None]
        whole = (t + s.left <= closes[:, None]) & (((worked == 0) & (cap[:, None] > 0)) | (worked + s.left <= cap[:, None]))
        whole &= ~sands | (sanded == 0) | (sanded + s.left <= calendar.sanding_cap)
        part = (worked < cap[:, None]) & (~sands | (sanded < calendar.sanding_cap))
        can = (s.done == NEVER) & (s.ready <= t) & (s.begun | free) & np.where(is_block, whole, part)
        rank = np.where(can, np.where(is_block, order, order + loads), 2 * loads)
        chosen = rank.argmin(axis=1)
        row = np.arange(s.t.size)
        busy = can[row, chosen]

        # a station and rack places come free, and a load is done, when the load is ready; only moulds may rest longer
        moments = (s.ready, s.mould_until) if sets.any() else (s.ready,)
        change = np.minimum.reduce([np.where(moment > t, moment, NEVER).min(axis=1) for moment in moments])
        until = np.minimum(change, closes)
        sitting = np.minimum(until - s.t, cap - s.worked)
        sitting = np.where(sands[row, chosen], np.minimum(sitting, calendar.sanding_cap - s.sanded), sitting)
        left = s.left[row, chosen]
        spent = np.where(busy, np.where(is_block[row, chosen], left, np.minimum(left, sitting)), 0)
        here, load = row[busy], chosen[busy]
        begins = ~s.begun[here, load]
        _take(s, plan, here[begins], load[begins], in_station, in_rack, wanted if racks else None)
        if record and busy[s.rows == 0].any():
            first = int(np.flatnonzero(s.rows == 0)[0])
            which = int(chosen[first])
            segments.append((which, int(s.stage[first, which]), int(s.t[first]), int(s.t[first] + spent[first])))
        s.left[row, chosen] -= spent
        s.worked += spent
        s.sanded += np.where(sands[row, chosen], spent, 0)
        s.t = np.where(busy, s.t + spent, until)
        through = busy & (s.left[row, chosen] == 0)
        here, load = row[through], chosen[through]
        k = s.stage[here, load]
        wait = plan.wait[s.rows[here], load, k]
        longer = np.rint(wait * warmth[np.minimum(s.t[here] // DAY, warmth.size - 1)]).astype(np.int64)
        over = s.t[here] + np.where(follows[k], longer, wait)
        s.ready[here, load] = over
        s.begun[here, load] = False
        s.stage[here, load] = k + 1
        s.station_until[here, load] = np.where(station_of[k] >= 0, over, s.station_until[here, load])
        s.rack_until[here, load] = np.where(rack_of[k] >= 0, over, s.rack_until[here, load])
        last = k + 1 == count
        held = s.mould_until[here, load] == NEVER
        free = np.where(k == plan.mould_stage, s.t[here], over) + plan.mould_rest
        released = held & ((k == plan.mould_stage) | last)
        s.mould_until[here[released], load[released]] = free[released]
        s.done[here[last], load[last]] = over[last]
        here, load, k = here[~last], load[~last], k[~last]
        s.left[here, load] = plan.work[s.rows[here], load, k + 1]
        _wipe(s, plan, here, load)

    done[done > ends[-1]] = NEVER
    complete = _complete(done, plan.credit, short_of, plan.start)
    done[done > complete[:, None]] = NEVER
    return Schedule(
        done=done,
        complete=complete,
        finish=open_seconds_after(complete, plan.pack, windows),
        segments=_joined(segments, complete[0]),
    )


def open_seconds_after(moment, seconds, windows):
    """When so much open time has passed after a moment.

    Parameters
    ----------
    moment : array_like of int
        NEVER stays never. [s]
    seconds : array_like of int
        Open time that must pass; with none the moment itself. [s]
    windows : ndarray of int
        Open times, shape (windows, 2). [s]

    Returns
    -------
    ndarray of int
        NEVER where the windows end before. [s]

    Examples
    --------
    >>> open_seconds_after(50, 20, np.array([[0, 60], [100, 160]])).item()
    110
    """
    moment, seconds = np.asarray(moment, np.int64), np.asarray(seconds, np.int64)
    starts, ends = np.asarray(windows, np.int64).T
    passed = np.cumsum(ends - starts)
    w = np.minimum(np.searchsorted(ends, moment, side="right"), ends.size - 1)
    before = passed[w] - (ends[w] - starts[w]) + np.clip(moment - starts[w], 0, ends[w] - starts[w])
    target = before + seconds
    last = np.minimum(np.searchsorted(passed, target, side="left"), ends.size - 1)
    found = np.where(target > passed[-1], NEVER, ends[last] - (passed[last] - target))
    return np.where(moment == NEVER, NEVER, np.where(seconds == 0, moment, found))


def _take(s, plan, here, load, in_station, in_rack, wanted):
    """A load begins a stage: it takes its station, rack places and moulds until their ends are known."""
    s.begun[here, load] = True
    for index, until, held in ((in_station, s.station_until, s.held_station), (in_rack, s.rack_until, s.held_rack)):
        takes = index[here, load] >= 0
        held[here[takes], load[takes]] = index[here[takes], load[takes]]
        until[here[takes], load[takes]] = NEVER
    if wanted is not None:
        s.held_places[here, load] = np.where(in_rack[here, load] >= 0, wanted[here, load], s.held_places[here, load])
    first = (s.stage[here, load] == 0) & (plan.mould_sets[s.rows[here]] > 0)
    s.mould_until[here[first], load[first]] = NEVER


def _wipe(s, plan, here, load):
    """End the loads of which nothing is left; released loads only."""
    gone = (s.left[here, load] == 0) & (s.ready[here, load] < NEVER) & (s.done[here, load] == NEVER)
    here, load = here[gone], load[gone]
    s.done[here, load] = s.ready[here, load]
    held = s.mould_until[here, load] == NEVER
    s.mould_until[here[held], load[held]] = s.done[here[held], load[held]] + plan.mould_rest


def _settle(s, plan, short_of):
    """Draws whose order is complete; where more loads are through than before, extra ones may be released."""
    known, over = s.done < NEVER, s.done <= s.t[:, None]
    through = known.sum(axis=1) + over.sum(axis=1)
    changed = np.flatnonzero(through != s.through)
    if changed.size:
        s.through[changed] = through[changed]
        _release(s, plan, short_of, changed, known[changed])
        s.enough[changed] = _credits(plan.credit[s.rows[changed]], over[changed], short_of)
    return s.enough.copy()


def _release(s, plan, short_of, rows, known):
    """Release the next extra load of those draws that are through all earlier ones and still short."""
    for load in range(plan.planned, known.shape[1]):
        due = rows[known[:, :load].all(axis=1) & (s.ready[rows, load] == NEVER)]
        if not due.size:
            continue
        earlier = s.done[due, :load]
        short = ~_credits(plan.credit[s.rows[due], :load], np.ones_like(earlier, bool), short_of)
        due, earlier = due[short], earlier[short]
        s.ready[due, load] = np.maximum(earlier.max(axis=1, initial=0), plan.start[s.rows[due]])
        _wipe(s, plan, due, np.full(due.size, load))


def _credits(credit, counts, short_of):
    """Whether the loads that count give all that is short."""
    return ((credit * counts[..., None]).sum(axis=1) >= short_of).all(axis=1)


def _complete(done, credit, short_of, start):
    """The first moment at which the loads done give all that is short."""
    by_time = np.argsort(done, axis=1, kind="stable")
    times = np.column_stack([start, np.take_along_axis(done, by_time, 1)])  # at the start nothing is through yet
    total = np.cumsum(np.take_along_axis(credit, by_time[..., None], 1), axis=1)
    enough = (np.pad(total, ((0, 0), (1, 0), (0, 0))) >= short_of).all(axis=2)
    found = np.where(enough.any(axis=1), np.take_along_axis(times, enough.argmax(axis=1)[:, None], 1)[:, 0], NEVER)
    return np.maximum(found, start)


def _joined(segments, complete):
    """Segments up to the completion of the order; those of the same work that follow without a break, as one."""
    joined: list[tuple[int, int, int, int]] = []
    for load, stage, start, end in ((*s[:3], min(s[3], complete)) for s in segments if s[2] < complete):
        if joined and joined[-1][:2] == (load, stage) and joined[-1][3] == start:
            joined[-1] = (load, stage, joined[-1][2], end)
        else:
            joined.append((load, stage, start, end))
    return tuple(joined)
