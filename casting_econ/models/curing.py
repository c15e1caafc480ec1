"""Loads a week that one pair of hands gets through stations and moulds whose cures run day and night.

Rules: a turnaround (unload and load, the pour) takes the one pair of hands, lies within one working window,
and the cure starts at its end. The station ready first is served first; it is free at the end of the cure. A load
holds its moulds from the pour until its pieces are out, by hand work that may be spread over windows unless it is
done in one go; then they rest. A pour waits for both. Where several may begin, work done in one go that ends in
this window goes first, and the earliest load of them; other work is put down for it.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from .checks import checked

__all__ = ["ENOUGH_LOADS", "WEEK_HOURS", "InMoulds", "in_moulds", "loads_per_week", "merged_windows", "places_needed"]

WEEK_HOURS = 168.0
_SECONDS = 3600  # whole seconds keep the recursion in exact integer arithmetic
_WEEK = int(WEEK_HOURS) * _SECONDS
_MOST_LOADS = 30_000  # stop looking for a repeat; the error is then below stations / 30,000 of the rate
ENOUGH_LOADS = 256  # for a study, whose draws are many; see `loads_per_week`
_KEPT = 1 << 16  # draws with moulds whose rate is remembered
_NEVER = 1 << 40  # [s]


@dataclass(frozen=True, kw_only=True)
class InMoulds:
    """What a load's moulds go through between the end of its cure and the next pour."""

    sets: Any = 1  # each fills a load [set]
    # hand work [hour], whether it is done in one go where it fits a window, and the wait in the moulds after it [hour]
    steps: tuple[tuple[Any, Any, Any], ...] = ()
    rest_hours: Any = 0.0  # once the pieces are out [hour]

    @property
    def work_hours(self):
        """Hand work until the pieces are out. [hour/load]"""
        return sum((work for work, _, _ in self.steps), 0.0)


def in_moulds(product, minutes):
    """How a product's loads use its moulds, as the rules above have it.

    Parameters
    ----------
    product : Product
        With a mould.
    minutes : sequence of (float or array_like)
        Hand work by step, rework and the piece's part of load minutes in it. [min/piece entering]

    Returns
    -------
    pour, cure : float or ndarray
        Load minutes up to and with the first wait, and that wait. [hour]
    use : InMoulds
        Emptied by the first step after that wait, or by every step up to `free_after`.
    """
    pour, cure, before, out, entering, steps = 0.0, 0.0, np.True_, np.False_, product.casts_per_load, []
    names, named = [step.name for step in product.steps], product.mould.free_after
    for k, (step, own) in enumerate(zip(product.steps, minutes, strict=True)):
        held = ~before & ~out  # each draw has its own first wait, since in some a step may not wait
        out = out | (held if named is None else k >= names.index(named))
        if np.any(held):
            wait = step.wait_hours * (held & ~out)
            steps.append((entering * own / 60.0 * held, np.asarray(step.load_minutes) > 0, wait))
        pour, cure = pour + before * step.load_minutes / 60.0, cure + before * step.wait_hours
        before, entering = before & (np.asarray(step.wait_hours) == 0.0), entering * step.pass_share
    return pour, cure, InMoulds(sets=product.mould.sets, steps=tuple(steps), rest_hours=product.mould.rest_hours)


def merged_windows(windows):
    """Working windows in order, touching ones joined, as whole seconds of the week.

    Parameters
    ----------
    windows : sequence of (float, float)
        Start and end within the week, Monday 0:00 being 0. [hour]

    Returns
    -------
    tuple of (int, int)
        [s]; a window reaching the end of the week is joined to one that starts it by a end past 168 h.

    Raises
    ------
    ValueError
        If there is no window, one is empty or outside the week, or two overlap.

    Examples
    --------
    >>> merged_windows([(8, 12), (12, 17)])
    ((28800, 61200),)
    """
    if not windows:
        raise ValueError("working windows must hold at least one window; got none")
    joined = []
    for start, end in sorted((round(a * _SECONDS), round(b * _SECONDS)) for a, b in windows):
        if not 0 <= start < end <= _WEEK:
            raise ValueError(f"working window must lie within the week; got {start / 3600:g} h to {end / 3600:g} h")
        if joined and start < joined[-1][1]:
            raise ValueError(f"working windows must not overlap; got one from {start / 3600:g} h inside another")
        if joined and start == joined[-1][1]:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    if len(joined) > 1 and joined[0][0] == 0 and joined[-1][1] == _WEEK:
        joined[-1] = (joined[-1][0], _WEEK + joined.pop(0)[1])
    return tuple(joined)


def loads_per_week(cure_hours, turnaround_hours, stations, windows, moulds=None, most_loads=_MOST_LOADS):
    """Long-run loads a week, exactly as an event simulation of the rules gives it.

    Parameters
    ----------
    cure_hours : float or array_like
        Time a load stays in its station, zero or more; taken to the whole second. [hour]
    turnaround_hours : float or array_like
        Hands-on time to unload and load, above zero; taken to the whole second. [hour]
    stations : int or array_like or None
        Stations that work side by side; None where moulds alone limit. [station]
    windows : sequence of (float, float)
        Working windows of the week, Monday 0:00 being 0. [hour]
    moulds : InMoulds, optional
        None where there are always moulds.
    most_loads : int, optional
        With moulds: loads after which no repeat is looked for. The answer is then the mean over them, with pieces still in
        moulds counted by the work done on them; beyond 200 loads it is within 1 % of the rate, a few in 10,000 as a rule. [load]

    Returns
    -------
    float or ndarray
        Zero where the turnaround fits no window. [load/week]

    Raises
    ------
    ValueError
        If an input is outside its range.

    Notes
    -----
    Without moulds start k obeys t_k = W(max(t_{k-1} + turnaround, t_{k-S} + turnaround + cure)), W moving a start
    on to where the turnaround fits a window. The rate falls monotonically in both times, so where
    the two corners of a grid cell agree every draw in the cell has that rate; only the draws in
    cells on the edge of a stair are worked out one by one. With moulds every distinct draw is followed by itself.

    Examples
    --------
    >>> weekdays = [(24 * day + 9, 24 * day + 17) for day in range(5)]
    >>> loads_per_week([6.0, 18.0, 30.0], 0.4, 1, weekdays)
    array([10.,  5.,  4.])

    One set of moulds that takes seven hours and a half to empty: poured one day, emptied the next.

    >>> float(loads_per_week(12.0, 1.0, 1, weekdays, InMoulds(steps=((7.5, False, 0.0),))))
    2.5
    """
    spans = merged_windows(windows)
    cure = _seconds("cure hours", cure_hours)
    turn = np.maximum(_seconds("turnaround hours", turnaround_hours, above=0.0), 1)
    count = 0 if stations is None else _whole("stations", stations)
    if moulds is None:
        cure, turn, count = np.broadcast_arrays(cure, turn, count)
        result = np.empty(cure.shape)
        for number in np.unique(count):
            chosen = count == number
            result[chosen] = _rates(cure[chosen], turn[chosen], int(number), spans)
        return result[()]
    if stations is None and not np.any(moulds.work_hours):  # nothing competes for the hands: all of it is one wait
        held = cure_hours + sum((wait for _, _, wait in moulds.steps), 0.0) + moulds.rest_hours
        return loads_per_week(held, turnaround_hours, moulds.sets, windows)
    rows = [cure, turn, count, _whole("sets of moulds", moulds.sets), _seconds("mould rest", moulds.rest_hours)]
    for work, in_one_go, wait in moulds.steps:
        rows += [_seconds("hand work in the moulds", work), np.asarray(in_one_go, np.int64), _seconds("wait in the moulds", wait)]
    rows = np.broadcast_arrays(*rows)
    shape, table = rows[0].shape, np.stack([row.ravel() for row in rows])
    return _mould_rates(table, spans, int(most_loads)).reshape(shape)[()]


def _seconds(name, hours, **limits):
    """Hours as whole seconds."""
    limits = limits or {"low": 0.0}
    return np.rint(np.asarray(checked(name, hours, **limits)) * _SECONDS).astype(np.int64)


def _whole(name, count):
    """A count of one or more, refused where it is no whole number."""
    count = np.asarray(checked(name, count, low=1.0))
    if np.any(count != np.rint(count)):
        raise ValueError(f"{name} must be whole numbers; got {count[count != np.rint(count)].flat[0]}")
    return count.astype(np.int64)


def places_needed(pieces_per_week, wait_hours, places_per_piece=1.0):
    """Places a wait takes up, by Little's law: flow x time.

    Parameters
    ----------
    pieces_per_week : float or array_like
        Pieces that start the wait. [piece/week]
    wait_hours : float or array_like
        Length of the wait. [hour]
    places_per_piece : float or array_like, optional
        Room one piece takes. [place/piece]

    Returns
    -------
    float or ndarray
        [place]

    References
    ----------
    .. [1] Hopp & Spearman, *Factory Physics*, ch. 7 (Little's law).

    Examples
    --------
    >>> places_needed(103.0, 5 * 168.0)
    515.0
    """
    flow = checked("pieces per week", pieces_per_week, low=0.0)
    return flow * checked("wait hours", wait_hours, low=0.0) / WEEK_HOURS * checked("places per piece", places_per_piece, low=0.0)


def _rates(cure, turn, stations, spans, cells=64):
    """Rates for flat integer arrays, by grid cells first where there are many draws."""
    longest = max(end - start for start, end in spans)
    if longest >= _WEEK:  # never closed: nothing waits for a window
        return _WEEK / np.maximum(turn, (turn + cure) / stations)
    ends = np.array([[cure.min(), cure.max()], [turn.min(), turn.max()]])
    least, most = _repeat_rates(*ends, stations, spans)[::-1]
    if least == most:  # one stair holds every draw
        return np.full(cure.shape, least)
    if cure.size <= 4096:
        return _each(cure, turn, stations, spans)
    axes = [np.unique(np.linspace(v.min(), v.max(), cells + 1).astype(np.int64)) for v in (cure, turn)]
    corners = _repeat_rates(*(g.ravel() for g in np.meshgrid(*axes, indexing="ij")), stations, spans)
    corners = corners.reshape(axes[0].size, axes[1].size)
    low = [np.searchsorted(a, v, side="right") - 1 for a, v in zip(axes, (cure, turn))]
    high = [np.searchsorted(a, v, side="left") for a, v in zip(axes, (cure, turn))]
    result = corners[tuple(low)]
    unsure = np.flatnonzero(result != corners[tuple(high)])
    if unsure.size:
        result[unsure] = _each(cure[unsure], turn[unsure], stations, spans)
    return result


def _each(cure, turn, stations, spans):
    """Rates worked out pair by pair, equal pairs once."""
    pairs, where = np.unique(np.stack([cure, turn]), axis=1, return_inverse=True)
    return _repeat_rates(pairs[0], pairs[1], stations, spans)[where.reshape(-1)]


def _repeat_rates(cure, turn, stations, spans):
    """Run the recursion for every draw at once until its state repeats; loads over weeks of the repeat.

    The state is the phase of the last start in the week and the gaps to the earlier starts still
    curing. Brent's method: compare with a checkpoint that moves on at each power of two.
    """
    rates = np.zeros(cure.size)
    live = np.flatnonzero(turn <= max(end - start for start, end in spans))
    cure, turn = cure[live], turn[live]
    starts = np.zeros((stations, live.size), dtype=np.int64)  # row k % stations holds start k
    for k in range(stations):
        starts[k] = _fit(starts[k - 1] + turn if k else np.full(live.size, spans[0][0]), turn, spans)
    origin, mark, mark_load, next_mark, load = starts[-1].copy(), starts.copy(), stations - 1, 2 * stations, stations
    while live.size and load < _MOST_LOADS:
        row, previous = load % stations, (load - 1) % stations
        starts[row] = _fit(np.maximum(starts[previous], starts[row] + cure) + turn, turn, spans)
        shift = starts[row] - mark[mark_load % stations]
        same = shift % _WEEK == 0
        if same.any():
            for back in range(1, stations):
                same &= starts[(load - back) % stations] - mark[(mark_load - back) % stations] == shift
            done = np.flatnonzero(same)
            rates[live[done]] = (load - mark_load) / (shift[done] // _WEEK)
            keep = ~same
            live, cure, turn, origin = live[keep], cure[keep], turn[keep], origin[keep]
            starts, mark = starts[:, keep], mark[:, keep]
        if load == next_mark:
            mark, mark_load, next_mark = starts.copy(), load, 2 * load
        load += 1
    if live.size:  # no repeat: the mean over the whole run, off by less than a load a station
        rates[live] = (load - stations) / ((starts[(load - 1) % stations] - origin) / _WEEK)
    return rates


def _fit(start, turn, spans):
    """Earliest start not before `start` at which the turnaround fits one working window."""
    phase = start % _WEEK
    # the last window may reach into the next week, so it is also tried as last week's
    first, last = _around(spans)
    at = np.searchsorted(last, phase, side="right")
    begin = np.maximum(phase, first[at])
    late = begin + turn > last[at]
    while late.any():
        at = at + late
        begin = np.where(late, first[at], begin)
        late = begin + turn > last[at]
    return begin + (start - phase)


@lru_cache
def _around(spans):
    """Starts and ends of the windows of a week, and of those before and after that reach into it or are next."""
    return np.array([(spans[-1][0] - _WEEK, spans[-1][1] - _WEEK), *spans, *((a + _WEEK, b + _WEEK) for a, b in spans)]).T


class _Open:
    """Open time of a week that repeats."""

    def __init__(self, spans):
        self.spans, self.always = spans, spans[0][1] - spans[0][0] >= _WEEK
        parts = [part for a, b in spans for part in ([(a, b)] if b <= _WEEK else [(0, b - _WEEK), (a, _WEEK)])]
        self.starts, self.ends = np.array(sorted(parts)).T
        self.passed = np.cumsum(self.ends - self.starts)
        self.week = self.passed[-1]  # [s]

    def fit(self, moment, length):
        """Earliest start at which work fits one window. [s]"""
        return moment if self.always else _fit(moment, length, self.spans)

    def first(self, moment):
        """First open moment, not before. [s]"""
        week, phase = np.divmod(moment, _WEEK)
        at = np.searchsorted(self.ends, phase, side="right")
        late = at == self.ends.size
        at = np.where(late, 0, at)
        return (week + late) * _WEEK + np.maximum(np.where(late, 0, phase), self.starts[at])

    def until(self, moment):
        """Open seconds before a moment."""
        week, phase = np.divmod(moment, _WEEK)
        at = np.searchsorted(self.starts, phase, side="right") - 1
        return week * self.week + np.where(at < 0, 0, self.passed[at] - np.maximum(self.ends[at] - phase, 0))

    def end(self, moment, work):
        """When so many open seconds have passed since a moment. [s]"""
        week, left = np.divmod(self.until(moment) + work - 1, self.week)
        at = np.searchsorted(self.passed, left + 1)
        return week * _WEEK + self.ends[at] - (self.passed[at] - left - 1)


@lru_cache(maxsize=8)
def _followed(spans, most_loads):
    """Rates by the bytes of a draw; the same draws are often asked about again from one question to the next."""
    return {}


def _mould_rates(table, spans, most_loads):
    """Rates with moulds, equal draws once; `table` holds the rows of `loads_per_week`, draws across."""
    known, rows = _followed(spans, most_loads), len(table)
    draws = np.ascontiguousarray(table.T).view(f"V{8 * rows}").ravel().tolist()
    if len(known) > _KEPT:
        known.clear()
    new = [draw for draw in dict.fromkeys(draws) if draw not in known]
    unlike = np.frombuffer(b"".join(new), np.int64).reshape(-1, rows).T
    rates = np.empty(len(new))
    for pots, sets in {tuple(pair) for pair in unlike[2:4].T.tolist()}:
        chosen = (unlike[2] == pots) & (unlike[3] == sets)
        rates[chosen] = _follow(unlike[:, chosen], pots, sets, _Open(spans), most_loads)
    known.update(zip(new, rates.tolist(), strict=True))
    return np.array([known[draw] for draw in draws])


def _follow(table, pots, sets, hours, most_loads):
    """Follow the hands of every draw, one piece of work at a time, until what is in the moulds repeats.

    Rows of `loads` are the loads in the moulds: number, step they are at (-1: moulds empty), moment they are ready for it (empty:
    free from), hand work left. The draws are compared with a state of their own that moves on as in `_repeat_rates`.
    """
    rates = np.zeros(table.shape[1])
    live = np.flatnonzero(table[1] <= max(end - start for start, end in hours.spans))
    if not live.size:
        return rates
    cure, turn, _, _, rest, *steps = table[:, live]
    work, whole, wait = (np.array(steps[part::3]).reshape(-1, live.size) for part in range(3))
    if not len(work):
        work = whole = wait = np.zeros((1, live.size), np.int64)
    whole = (whole > 0) & (work <= max(end - start for start, end in hours.spans))
    last, content, size = len(work) - 1, turn + work.sum(axis=0), live.size
    now, poured = np.full(size, hours.spans[0][0]), np.zeros(size, np.int64)
    number, at, ready, left = (np.full((sets, size), fill, np.int64) for fill in (0, -1, 0, 0))
    pot = np.zeros((max(pots, 1), size), np.int64)
    state = [now, poured, number, at, ready, left, pot]
    mark, next_mark, warm = [a.copy() for a in state], np.full(size, 2 * sets), np.zeros((2, size))
    given = [cure, turn, rest, work, whole, wait, content]
    while live.size:
        cure, turn, rest, work, whole, wait, content = given
        now, poured, number, at, ready, left, pot = state
        column = np.arange(live.size)
        # what could begin next and when: the loads in the moulds, and last the pour
        free_from, step = np.where(at < 0, ready, _NEVER), np.maximum(at, 0)
        moulds_free, in_one_go, nothing = free_from.min(axis=0), np.take_along_axis(whole, step, 0) & (at >= 0), left == 0
        begin = hours.first(np.maximum(now, ready))
        if in_one_go.any():
            length = np.where(in_one_go, left, 1)
            begin = np.where(in_one_go, hours.fit(np.maximum(now, ready), length), begin)
        begin = np.where(at < 0, _NEVER, np.where(nothing, ready, begin))  # nothing to do: no hands, at once
        pouring = hours.fit(np.maximum(np.maximum(now, moulds_free), pot.min(axis=0)), turn)
        begin = np.concatenate([begin, np.where(moulds_free == _NEVER, _NEVER, pouring)[None]])
        kind = np.where(nothing, 0, np.where(in_one_go, 1, 2))
        rank = np.concatenate([(kind << 16) + np.maximum(number - poured, -(1 << 14)), np.full((1, live.size), 1 << 16)])
        chosen = ((begin - now << 20) + rank + (1 << 15)).argmin(axis=0)
        start, own = begin[chosen, column], rank[chosen, column]
        pours = chosen == sets
        row = np.where(pours, free_from.argmin(axis=0), chosen)
        todo = np.where(pours, turn, left[row, column])
        by_hand = own > 3 << 15  # it may be put down: for work in one go, or for an earlier load
        end = np.where(by_hand, hours.end(start, np.maximum(todo, 1)), start + todo)
        sooner = np.where(rank < own, begin, _NEVER).min(axis=0)
        cut = by_hand & (sooner < end)
        if cut.any():
            left[row[cut], column[cut]] -= (hours.until(sooner) - hours.until(start))[cut]
            end = np.where(cut, sooner, end)
        now = np.where(~pours & (todo == 0), now, end)
        after = np.where(pours, 0, at[row, column] + 1)
        out, on = ~cut & (after > last), ~cut & (after <= last)
        at[row[out], column[out]] = -1
        ready[row[out], column[out]] = (end + rest)[out]
        r, c, k = row[on], column[on], after[on]
        ready[r, c] = end[on] + np.where(pours[on], cure[on], wait[k - 1, c])
        at[r, c], left[r, c] = k, work[k, c]
        number[row[pours], column[pours]] = poured[pours]
        if pots:
            pot[pot.argmin(axis=0)[pours], column[pours]] = (end + cure)[pours]
        poured = poured + pours
        state[:2] = now, poured

        shift = now - mark[0]
        maybe = np.flatnonzero(pours & (shift % (1 if hours.always else _WEEK) == 0) & (mark[1] > 0))
        done = np.zeros(live.size, bool)
        if maybe.size:
            same = (_picture(state, maybe) == _picture(mark, maybe)).all(axis=0)
            done[maybe[same]] = True
            rates[live[done]] = (poured - mark[1])[done] / (shift[done] / _WEEK)
        # all work done, counted in loads, against the open hours that passed: steadier than a count of pours
        early, late = poured <= max(16, 2 * sets), (poured >= max(most_loads, 4 * sets)) & ~done
        if early.any() or late.any():
            behind = np.where(at < 0, 0, left + sum(np.where(at < k, work[k], 0) for k in range(1, last + 1))).sum(axis=0)
            seen = np.stack([poured - behind / content, hours.until(now) / hours.week])
            warm = np.where(early, seen, warm)
            loads, weeks = (seen - warm)[:, late]
            rates[live[late]] = loads / weeks
        moves = pours & (poured == next_mark)
        if moves.any():
            for old, new in zip(mark, state, strict=True):
                old[..., moves] = new[..., moves]
            next_mark = np.where(moves, 2 * poured, next_mark)
        if done.any() or late.any():
            keep = ~(done | late)
            live, next_mark, warm = live[keep], next_mark[keep], warm[:, keep]
            given, state, mark = ([a[..., keep] for a in group] for group in (given, state, mark))
    return rates


def _picture(state, columns):
    """What the future of these draws depends on, the week's phase apart; sets and stations that are alike in order."""
    now, poured, number, at, ready, left, pot = (a[..., columns] for a in state)
    empty, ahead = at < 0, np.maximum(ready - now, 0)
    order = np.argsort(np.where(empty, -_NEVER - ahead, number - poured), axis=0)
    rows = np.where(empty, 0, number - poured), at, ahead, np.where(empty, 0, left)
    loads = [np.take_along_axis(row, order, 0) for row in rows]
    return np.concatenate([*loads, np.sort(np.maximum(pot - now, 0), axis=0)])
