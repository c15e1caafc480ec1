"""Loads a week that one pair of hands gets through stations and moulds whose cures run day and night.

Rules: a turnaround (unload and load, the pour) takes the one pair of hands, lies within one working window,
and the cure starts at its end. The station ready first is served first; it is free at the end of the cure. A load
holds its moulds from the pour until its pieces are out, by hand work that may be spread over windows unless it is
done in one go; then they rest. A pour waits for both. Where several may begin, work done in one go that ends in
this window goes first, and the earliest load of them; other work is put down for it.
Pots of several sizes cure alike, so they are served in turn: a load is as large as its pot, the next one as the next pot.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from .checks import checked
from .hands import rates_of_boxes, rates_of_draws
from .windows import WEEK, OpenWeek, merged_windows

WEEK_HOURS = 168.0
_MOST_LOADS = 30_000  # stop looking for a repeat; the error is then below stations / 30,000 of the rate
ENOUGH_LOADS = 256  # for a study, whose draws are many; see `loads_per_week`
_WARM = 16  # loads before what a mean is taken over, where nothing repeats
_FEW, _CORNERS = 1_024, 4_096  # draws worked out one by one as quickly; corners of a grid over more of them


@dataclass(frozen=True, kw_only=True)
class InMoulds:
    """What a load's moulds go through between the end of its cure and the next pour."""

    sets: Any = 1  # each fills a load [set]
    # hand work [hour], whether it is done in one go where it fits a window, and the wait in the moulds after it [hour]
    steps: tuple[tuple[Any, Any, Any], ...] = ()
    rest_hours: Any = 0.0  # once the pieces are out [hour]
    shares: tuple[Any, ...] = (1.0,)  # hand work of the loads in turn beside that of the mean load: where pots differ in size [-]

    @property
    def work_hours(self):
        """Hand work until the pieces are out. [hour/load]"""
        return sum((work for work, _, _ in self.steps), 0.0)


def in_moulds(product, minutes):
    """How a product's loads use its moulds, as the rules above have it: load minutes up to and with the first wait, that wait [hour],
    and an `InMoulds`, emptied by the first step after that wait, or by every step up to `free_after`.

    The product has a mould; `minutes` is hand work by step, rework and the piece's part of load minutes in it [min/piece entering].
    """
    pour, cure, before, out, entering, steps = 0.0, 0.0, np.True_, np.False_, product.casts_per_load, []
    names, named = [step.name for step in product.steps], product.mould.free_after
    for k, (step, own) in enumerate(zip(product.steps, minutes, strict=True)):
        held = ~before & ~out  # each draw has its own first wait, since in some a step may not wait
        out = out | (held if named is None else k >= names.index(named))
        if np.any(held):
            wait = step.wait_hours * (held & ~out)
            steps.append((entering * own / 60.0 * held, np.asarray(product.turn_minutes(step)) > 0, wait))
        pour, cure = pour + before * product.turn_minutes(step) / 60.0, cure + before * step.wait_hours
        before, entering = before & (np.asarray(step.wait_hours) == 0.0), entering * step.pass_share
    shares = tuple(size / product.casts_per_load for size in product.pots) or (1.0,)
    return pour, cure, InMoulds(sets=product.mould.sets, steps=tuple(steps), rest_hours=product.mould.rest_hours, shares=shares)


def loads_per_week(cure_hours, turnaround_hours, stations, windows, moulds=None, most_loads=_MOST_LOADS):
    """Long-run loads a week, exactly as an event simulation of the rules gives it; zero where the turnaround fits no window. [load/week]

    ValueError if an input is outside its range.

    Parameters
    ----------
    cure_hours, turnaround_hours : float or array_like
        Time a load stays in its station, zero or more, and hands-on time to unload and load, above zero; taken to the whole second. [hour]
    stations : int or array_like or None
        Stations that work side by side; None, or with moulds 0, where moulds alone limit. [station]
    windows : sequence of (float, float)
        Working windows of the week, Monday 0:00 being 0. [hour]
    moulds : InMoulds, optional
        None where there are always moulds.
    most_loads : int, optional
        With moulds: loads after which no repeat is looked for. The answer is then the mean over them, with pieces still in
        moulds counted by the work done on them; beyond 200 loads it is within 1 % of the rate, a few in 10,000 as a rule. [load]

    Notes
    -----
    Without moulds start k obeys t_k = W(max(t_{k-1} + turnaround, t_{k-S} + turnaround + cure)), W moving a start
    on to where the turnaround fits a window. With one set of moulds S is one, and its emptying and rest follow the cure.
    The rate then falls monotonically in every time, so where
    the two corners of a grid cell agree every draw in the cell has that rate; only the draws in
    cells on the edge of a stair are worked out one by one. With more sets many draws are followed in boxes, as long as the same happens
    in every draw of a box, and the rest one by one.

    Examples
    --------
    >>> weekdays = [(24 * day + 9, 24 * day + 17) for day in range(5)]
    >>> loads_per_week([6.0, 18.0, 30.0], 0.4, 1, weekdays)
    array([10.,  5.,  4.])

    One set of moulds that takes seven hours and a half to empty: poured one day, emptied the next.

    >>> float(loads_per_week(12.0, 1.0, 1, weekdays, InMoulds(steps=((7.5, False, 0.0),))))
    2.5
    """
    hours, sizes, most_loads = OpenWeek(merged_windows(windows)), 1, _MOST_LOADS if moulds is None else int(most_loads)
    cure = _seconds("cure hours", cure_hours)
    turn = np.maximum(_seconds("turnaround hours", turnaround_hours, above=0.0), 1)
    rows = [cure, turn, 0 if stations is None else _whole("stations", stations, low=float(moulds is None)), 1, 0]
    if moulds is not None:
        if stations is None and not np.any(moulds.work_hours):  # nothing competes for the hands: all of it is one wait
            held = cure_hours + sum((wait for _, _, wait in moulds.steps), 0.0) + moulds.rest_hours
            return loads_per_week(held, turnaround_hours, moulds.sets, windows)
        rows[3:], sizes = [_whole("sets of moulds", moulds.sets), _seconds("mould rest", moulds.rest_hours)], len(moulds.shares)
        for work, in_one_go, wait in moulds.steps:
            rows.append(_seconds("wait in the moulds", wait))
            for share in moulds.shares:
                rows += [_seconds("hand work in the moulds", work * share), np.asarray(in_one_go, np.int64)]
    shape = np.broadcast_shapes(*map(np.shape, rows))
    rows = np.broadcast_arrays(*map(_once, rows))
    table = np.stack([row.ravel() for row in rows])
    steps, rates = table[5:].reshape(-1, 1 + 2 * sizes, table.shape[1]), np.empty(table.shape[1])
    whole = (steps[:, 2::2] > 0) & (steps[:, 1::2] <= hours.longest) & (table[3] == 1)
    alike, left = np.concatenate([table[2:4], whole.reshape(-1, rates.size)]), np.arange(rates.size)
    while left.size:
        kinds = alike.take(left, axis=1)
        same = (kinds == kinds[:, :1]).all(axis=0)
        chosen, left = left[same], left[~same]
        own, (pots, sets) = table.take(chosen, axis=1), kinds[:2, 0].tolist()
        if sets > 1:
            rates[chosen] = rates_of_boxes(own, hours, most_loads, sizes)
        else:
            times = np.concatenate(
                [own[[0, 1, 4]], *np.delete(own[5:].reshape(-1, 1 + 2 * sizes, chosen.size), np.s_[2::2], axis=1)]
            )
            rates[chosen] = _rates(times, pots if moulds is None else 1, whole[..., chosen[0]], hours, most_loads)
    unsure = np.flatnonzero(np.isnan(rates))
    if unsure.size:  # of any number of stations and sets together, which takes hardly longer than of one
        rates[unsure] = rates_of_draws(table[None, :, unsure], hours, most_loads, sizes)
    return np.broadcast_to(rates.reshape(rows[0].shape), shape)[()]


def _seconds(name, hours, **limits):
    """Hours as whole seconds."""
    limits = limits or {"low": 0.0}
    return np.rint(np.asarray(checked(name, hours, **limits)) * 3600).astype(np.int64)


def _once(numbers):
    """Numbers with one place along each axis that moves none of them: a lever that leaves a time alone asks for no draw twice."""
    numbers = np.asarray(numbers)
    for axis in range(numbers.ndim):
        first = numbers.take([0], axis)
        numbers = first if (numbers == first).all() else numbers
    return numbers


def _whole(name, count, low=1.0):
    """A count of so many or more, refused where it is no whole number."""
    count = np.asarray(checked(name, count, low=low))
    if np.any(count != np.rint(count)):
        raise ValueError(f"{name} must be whole numbers; got {count[count != np.rint(count)].flat[0]}")
    return count.astype(np.int64)


def places_needed(pieces_per_week, wait_hours, places_per_piece=1.0):
    """Places a wait takes up, by Little's law (Hopp & Spearman, *Factory Physics*, ch. 7): flow x time. [place]

    So many pieces start the wait [piece/week], which is so long [hour], and take so much room each [place/piece]; ValueError below zero.

    >>> places_needed(103.0, 5 * 168.0)
    515.0
    """
    flow = checked("pieces per week", pieces_per_week, low=0.0)
    return flow * checked("wait hours", wait_hours, low=0.0) / WEEK_HOURS * checked("places per piece", places_per_piece, low=0.0)


def _rates(times, *rule):
    """Rates of draws by the same rule of `_repeat_rates`, by grid cells first where there are many."""
    ends = np.stack([times.min(axis=1), times.max(axis=1)], axis=1)
    wide = np.flatnonzero(ends[:, 0] < ends[:, 1])
    (least, most), exact = _repeat_rates(ends, *rule)
    if (least == most and exact.all()) or not wide.size:  # one stair holds every draw
        return np.full(times.shape[1], least)
    if times.shape[1] <= _FEW or 4**wide.size > _CORNERS:
        return _repeat_rates(times, *rule)[0]
    axes = [np.unique(row) for row in np.append(times[:, :: times.shape[1] // _FEW], ends, axis=1)]
    room = _CORNERS
    for left, k in zip(range(wide.size, 0, -1), sorted(wide, key=lambda k: axes[k].size)):
        axes[k] = axes[k][np.linspace(0, axes[k].size - 1, min(int(room ** (1 / left)), axes[k].size)).astype(int)]
        room /= axes[k].size
    grid = np.array(np.meshgrid(*axes, indexing="ij")).reshape(len(axes), -1)
    low = high = 0
    for k in wide:
        at = np.searchsorted(axes[k], times[k], side="right") - 1
        low, high = low * axes[k].size + at, high * axes[k].size + at + (axes[k].take(at) != times[k])
    used, corners = np.zeros(grid.shape[1], bool), np.full(grid.shape[1], np.nan)
    used[low] = used[high] = True  # no others: some repeat after weeks without number
    found, exact = _repeat_rates(grid[:, used], *rule)
    corners[used] = np.where(exact, found, np.nan)
    result = corners.take(low)
    unsure = np.flatnonzero(result != corners.take(high))
    if unsure.size:
        result[unsure] = _repeat_rates(times[:, unsure], *rule)[0]
    return result


def _repeat_rates(times, stations, whole, hours, most_loads):
    """Run the recursion for every draw at once until its state repeats; loads over weeks of the repeat, and where it is exact.

    Rows of `times` are cure, turnaround and rest; then for each step in the moulds the wait after it and the hand work of each load in turn,
    which is in one go where `whole` has it, of shape (steps, loads in turn). [s]
    The state is the phase of the last start in the week and the gaps to the earlier starts still
    curing. Brent's method: compare with a checkpoint that moves on at each power of two.
    """
    rates, exact = np.zeros(times.shape[1]), np.ones(times.shape[1], bool)
    live = np.flatnonzero(times[1] <= hours.longest)
    times, sizes, again = times[:, live], whole.shape[1], 1 if hours.always else WEEK
    starts = np.zeros((stations, live.size), dtype=np.int64)  # row k % stations holds start k
    for k in range(stations):
        starts[k] = hours.fit(starts[k - 1] + times[1] if k else np.full(live.size, hours.spans[0][0]), times[1])
    origin, since, load = starts[-1].copy(), stations - 1, stations
    mark, mark_load, next_mark = starts.copy(), stations - 1, 2 * stations - 1
    while live.size and load < most_loads:
        row, previous = load % stations, (load - 1) % stations
        (cure, turn, rest), steps = times[:3], times[3:].reshape(-1, 1 + sizes, live.size)
        out = _emptied(starts[row] + turn + cure, steps, whole, (load - 1) % sizes, hours)
        if load == _WARM:
            origin, since = out, load
        starts[row] = hours.fit(np.maximum(starts[previous] + turn, out + rest), turn)
        shift = starts[row] - mark[mark_load % stations]
        same = shift // again * again == shift
        if (load - mark_load) % sizes == 0 and same.any():
            for back in range(1, stations):
                same &= starts[(load - back) % stations] - mark[(mark_load - back) % stations] == shift
            done = np.flatnonzero(same)
            rates[live[done]] = (load - mark_load) * WEEK / shift[done]
            live, origin, times, starts, mark = (a[..., ~same] for a in (live, origin, times, starts, mark))
        if load == next_mark:
            mark, mark_load, next_mark = starts.copy(), load, 2 * load + 1
        load += 1
    if live.size:  # no repeat: the mean, a load whose pieces are still in its moulds counted by the work done on it
        works = times[3:].reshape(-1, 1 + sizes, live.size)[:, 1:].sum(axis=0)
        todo = works[(load - 1) % sizes] / (times[1] + works.mean(axis=0))
        passed = hours.until(starts[(load - 1) % stations] + times[1]) - hours.until(origin)
        rates[live], exact[live] = (load - since - todo) / (passed / hours.week), False
    return rates, exact


def _emptied(moment, steps, whole, turn, hours):
    """When the pieces of a load that is cured at a moment are out of its moulds, `turn` being its place among loads in turn. [s]"""
    wait = 0
    for (after, *works), in_one_go in zip(steps, whole):
        moment, work = moment + wait, works[turn]
        done = hours.fit(moment, work) + work if in_one_go[turn] else hours.end(moment, work)
        moment, wait = np.where(work > 0, done, moment), after
    return moment
