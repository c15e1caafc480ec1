"""The calendar of an order: loads through their steps, one pair of hands, stations, moulds and racks.

Rules: the hands do one thing at a time, within working windows and below a cap of hours a day.
A block (mixing, pouring and loading, or turning a station round) is done in one go within one window; other
work may be interrupted. A block longer than a day's cap begins on a day without work, and what it takes beyond the cap
comes off the open days that follow. Whenever something changes the hands turn to a block that can begin, then to
the earliest load that can go on. A step begins when its station, moulds or rack places are free. Which pot a load goes into is
planned. A load holds its moulds from its first step on until its pieces are out, which ends the hand work of a later one; then
they rest. A load of mould making gives its moulds when it is done. A load may have to wait until others are done; one of which
there is nothing is done as soon as it might begin. Once the order is complete the hands pack it, below the cap of hours too.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from .in_play import InPlay
from .windows import DAY, NEVER, Calendar


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
class Plan:
    """Loads of an order, in D draws of L loads through K stages for I things that are counted."""

    stages: tuple[Stage, ...]
    work: np.ndarray  # by hand; 0 where nothing is left of the load; shape (D, L, K) [s]
    wait: np.ndarray  # after it; shape (D, L, K) [s]
    credit: np.ndarray  # good pieces or sets that a load gives; shape (D, L, I) [piece or set]
    needed: np.ndarray  # shape (I,) [piece or set]
    in_hand: np.ndarray  # shape (I,) [piece or set]
    planned: int  # loads that are poured in any case; the others follow one by one while the order is short
    first: np.ndarray = None  # stage at which a load begins; shape (L,); None: 0
    after: dict[int, tuple[int, ...]] = field(default_factory=dict)  # by load: those that must be done before it may begin
    slots: dict[str, int] = field(default_factory=dict)  # loads that a station, or each pot of its own, holds at once
    pool: np.ndarray = None  # which of `slots` a load takes at a stage, -1 none; shape (L, K); None: its station for all
    places_in: dict[str, int] = field(default_factory=dict)  # by rack [place]
    places: np.ndarray | None = None  # a load takes in the rack of a stage; shape (D, L, K) [place]
    moulds: np.ndarray  # there at the start; shape (D,) [mould or set]
    mould_use: np.ndarray | int = 0  # a load takes; 0 where none limit it; shape (L,) or (D, L) [mould or set]
    mould_gain: np.ndarray = None  # a load of mould making gives when done; shape (L,); None: 0 [mould or set]
    mould_rest: int = 0  # [s]
    mould_stage: int = 0  # whose hand work gets the pieces out; past the last: the end of the last wait does
    start: np.ndarray  # shape (D,) [s]
    pack: np.ndarray  # hand work once the order is complete; shape (D,) [s]
    under_way: dict[int, tuple[int, int, str | None, bool]] = field(default_factory=dict)
    # by load: its next stage, when it is ready for it [s], which of `slots` it holds until then, whether its pieces are in moulds

    def __post_init__(self) -> None:
        loads, names = self.work.shape[1], list(self.slots)
        of_stage = [-1 if s.station is None else names.index(s.station) for s in self.stages] if self.pool is None else []
        nothing = np.zeros(loads, np.int64)
        for name, default in (("first", nothing), ("mould_gain", nothing), ("pool", np.tile(of_stage, (loads, 1)))):
            if getattr(self, name) is None:
                object.__setattr__(self, name, default)


def through_other_stages(plan: Plan, other: Plan, loads: list[int]) -> Plan:
    """A plan some of whose loads go through the stages of another plan instead, which come behind its own.

    The `other` plan has, in as many draws, one load for each of `loads` of the plan's, which take none of its moulds. A station that both use
    holds as many loads as of the one of which it holds fewer: the cautious side.
    """
    own = len(plan.stages)
    shared = plan.slots | {name: min(count, plan.slots.get(name, count)) for name, count in other.slots.items()}
    behind, before = [(0, 0), (0, len(other.stages))], [(0, 0), (own, 0)]
    values = {}
    for name in ("work", "wait", "places"):
        values[name] = np.pad(getattr(plan, name), [(0, 0), *behind])
        values[name][:, loads] = np.pad(getattr(other, name), [(0, 0), *before])
    names = list(shared)
    theirs = np.array([*(names.index(name) for name in other.slots), -1])[other.pool]  # -1 stays -1
    values["pool"] = np.pad(plan.pool, behind, constant_values=-1)
    values["pool"][loads] = np.pad(theirs, before, constant_values=-1)
    use = np.array(np.broadcast_to(plan.mould_use, plan.work.shape[:2]))
    use[:, loads] = 0
    values["first"] = plan.first.copy()
    values["first"][loads] = own + other.first
    return replace(plan, **values, mould_use=use, stages=(*plan.stages, *other.stages), slots=shared)


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """When things happen; NEVER where they do not within the calendar."""

    done: np.ndarray  # end of each load; shape (D, L) [s]
    complete: np.ndarray  # enough good pieces; shape (D,) [s]
    finish: np.ndarray  # packed; shape (D,) [s]
    segments: tuple[tuple[int, int, int, int], ...] = ()  # load, stage, start, end of hand work, where recorded [s]
    packing: tuple[tuple[int, int], ...] = ()  # start, end of it, where recorded [s]


def simulate(plan: Plan, calendar: Calendar, *, record: bool = False) -> Schedule:
    """Follow every draw of an order through the calendar, all draws side by side; `record` keeps the segments of hand work of the first.

    Moments are seconds from midnight of day 0. Whole seconds, so an event simulation of the rules above gives the same moments to the second. No loop over draws: each
    turn of the loop takes every draw on to its own next change, and looks only at the loads in play.
    """
    windows = np.asarray(calendar.windows, np.int64)
    starts, ends = windows.T
    days, warmth = starts // DAY, np.asarray(calendar.warmth, float)
    caps = np.atleast_1d(np.asarray(calendar.day_cap, np.int64))
    is_open = np.bincount(days, minlength=days[-1] + 1) > 0
    before = np.cumsum(np.where(is_open, caps[np.minimum(np.arange(is_open.size), caps.size - 1)], 0))
    before = np.concatenate([[0], before])  # caps of the open days before each day [s]
    _, loads, count = plan.work.shape
    pool = np.pad(plan.pool, [(0, 1), (0, 1)], constant_values=-1)
    segments: list[tuple[int, int, int, int]] = []
    s, last = InPlay(plan), np.zeros((3, len(plan.work)), np.int64)

    while s.rows.size:
        w = np.searchsorted(ends, s.t, side="right")
        last[:, s.rows] = s.t, s.worked, s.day
        ended = s.enough | (w == ends.size)
        if ended.any():
            s.keep(~ended)
            continue
        s.t = np.maximum(s.t, starts[w])
        s.give_back()
        ended = s.enough
        if ended.any():
            s.keep(~ended)
            continue
        if s.crowded:
            s.stand_aside()
        closes, today = ends[w], days[w]
        # a block may be longer than a day's cap; what it took beyond comes off the open days that follow
        left_over = np.maximum(s.worked - (before[today] - before[s.day]), 0)
        s.worked, s.sanded = np.where(today != s.day, left_over, s.worked), np.where(today != s.day, 0, s.sanded)
        s.day = today
        t, cap = s.t[:, None], caps[np.minimum(today, caps.size - 1)]

        row = np.arange(s.t.size)
        at, load = np.minimum(s.stage, count - 1), np.minimum(s.load, loads - 1)
        is_block, sands = s.block[at], s.sanding[at]
        free = s.pool_free[row[:, None], pool[s.load, s.stage]] > 0
        free &= s.mould_need(row[:, None], load, at) <= s.moulds_free[:, None]
        if s.racks:
            in_rack = s.rack_of[at]
            free &= (in_rack < 0) | (s.places_wanted(row[:, None], load, at) <= s.rack_free[row[:, None], in_rack])
        worked, sanded = s.worked[:, None], s.sanded[:, None]
        whole = (t + s.left <= closes[:, None]) & (((worked == 0) & (cap[:, None] > 0)) | (worked + s.left <= cap[:, None]))
        whole &= ~sands | (sanded == 0) | (sanded + s.left <= calendar.sanding_cap)
        part = (worked < cap[:, None]) & (~sands | (sanded < calendar.sanding_cap))
        can = (s.ready <= t) & ~s.ended & (s.begun | free) & np.where(is_block, whole, part)
        rank = np.where(can, np.where(is_block, s.load, s.load + loads), 2 * loads)
        chosen = rank.argmin(axis=1)
        busy = can[row, chosen]

        # a station and rack places come free, and a load is done, when the load is ready; only moulds may rest longer
        change = np.minimum.reduce([np.where(moment > t, moment, NEVER).min(axis=1) for moment in (s.ready, s.back)])
        until = np.minimum(change, closes)
        sitting = np.minimum(until - s.t, cap - s.worked)
        sitting = np.where(sands[row, chosen], np.minimum(sitting, calendar.sanding_cap - s.sanded), sitting)
        left = s.left[row, chosen]
        spent = np.where(busy, np.where(is_block[row, chosen], left, np.minimum(left, sitting)), 0)
        if record and busy[s.rows == 0].any():
            one = int(np.flatnonzero(s.rows == 0)[0])
            which = int(chosen[one])
            segments.append((int(s.load[one, which]), int(s.stage[one, which]), int(s.t[one]), int(s.t[one] + spent[one])))
        s.left[row, chosen] -= spent
        s.worked += spent
        s.sanded += np.where(sands[row, chosen], spent, 0)
        begins, through = busy & ~s.begun[row, chosen], busy & (s.left[row, chosen] == 0)
        s.begin(row[begins], chosen[begins])
        s.t = np.where(busy, s.t + spent, until)
        here, column = row[through], chosen[through]
        k = s.stage[here, column]
        wait = plan.wait[s.rows[here], s.load[here, column], k]
        longer = np.rint(wait * warmth[np.minimum(s.t[here] // DAY, warmth.size - 1)]).astype(np.int64)
        s.through(here, column, s.t[here] + np.where(s.follows[k], longer, wait))

    done = s.all_done
    done[done > ends[-1]] = NEVER
    complete = _complete(done, plan.credit, s.short_of, plan.start)
    done[done > complete[:, None]] = NEVER
    t, worked, day = last
    worked -= np.maximum(t - complete, 0)  # of a block that the order was complete before the end of
    finish, packing = _packed(complete, plan.pack, worked, day, windows, caps, before)
    found = {"segments": _joined(segments, complete[0]), "packing": packing} if record else {}
    return Schedule(done=done, complete=complete, finish=finish, **found)


def _packed(complete, pack, worked, day, windows, caps, before):
    """When every draw is packed, and the spans of that in the first; of the day `worked` has the hand work before it. [s]"""
    (starts, ends), finish, spans = windows.T, np.where(pack > 0, NEVER, complete), []
    t, left, w = complete.copy(), pack.copy(), np.searchsorted(ends, complete, side="right")
    while (some := (left > 0) & (w < ends.size)).any():
        at = np.minimum(w, ends.size - 1)
        today, begin = starts[at] // DAY, np.maximum(t, starts[at])
        worked = np.where(today > day, np.maximum(worked - (before[today] - before[day]), 0), worked)
        room = np.maximum(caps[np.minimum(today, caps.size - 1)] - worked, 0)
        spent = np.where(some, np.minimum(np.minimum(ends[at] - begin, room), left), 0)
        if spent[0]:
            spans.append((int(begin[0]), int(begin[0] + spent[0])))
        t, day, left, worked, w = begin + spent, today, left - spent, worked + spent, w + 1
        finish = np.where(some & (left == 0), t, finish)
    return finish, tuple(spans)


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
