"""Loads a week that one pair of hands gets through stations whose cures run day and night.

Rules: a turnaround (unload and load) takes the one pair of hands, lies within one working window,
and the next cure starts at its end. The station ready first is served first. Moulds that must rest
obey the same rules with the rest added to the cure.
"""

import numpy as np

from .checks import checked

__all__ = ["WEEK_HOURS", "loads_per_week", "merged_windows", "places_needed"]

WEEK_HOURS = 168.0
_SECONDS = 3600  # whole seconds keep the recursion in exact integer arithmetic
_WEEK = int(WEEK_HOURS) * _SECONDS
_MOST_LOADS = 30_000  # stop looking for a repeat; the error is then below stations / 30,000 of the rate


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


def loads_per_week(cure_hours, turnaround_hours, stations, windows):
    """Long-run loads a week, exactly as an event simulation of the rules gives it.

    Parameters
    ----------
    cure_hours : float or array_like
        Time a load stays in its station, zero or more; taken to the whole second. [hour]
    turnaround_hours : float or array_like
        Hands-on time to unload and load, above zero; taken to the whole second. [hour]
    stations : int or array_like
        Stations (or sets of moulds) that work side by side. [station]
    windows : sequence of (float, float)
        Working windows of the week, Monday 0:00 being 0. [hour]

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
    Start k obeys t_k = W(max(t_{k-1} + turnaround, t_{k-S} + turnaround + cure)), W moving a start
    on to where the turnaround fits a window. The rate falls monotonically in both times, so where
    the two corners of a grid cell agree every draw in the cell has that rate; only the draws in
    cells on the edge of a stair are worked out one by one.

    Examples
    --------
    >>> weekdays = [(24 * day + 9, 24 * day + 17) for day in range(5)]
    >>> loads_per_week([6.0, 18.0, 30.0], 0.4, 1, weekdays)
    array([10.,  5.,  4.])
    """
    spans = merged_windows(windows)
    cure = np.rint(np.asarray(checked("cure hours", cure_hours, low=0.0)) * _SECONDS).astype(np.int64)
    turn = np.asarray(checked("turnaround hours", turnaround_hours, above=0.0))
    turn = np.maximum(np.rint(turn * _SECONDS), 1).astype(np.int64)
    count = np.asarray(checked("stations", stations, low=1.0))
    if np.any(count != np.rint(count)):
        raise ValueError(f"stations must be whole numbers; got {count[count != np.rint(count)].flat[0]}")
    cure, turn, count = np.broadcast_arrays(cure, turn, count.astype(np.int64))
    result = np.empty(cure.shape)
    for number in np.unique(count):
        chosen = count == number
        result[chosen] = _rates(cure[chosen], turn[chosen], int(number), spans)
    return result[()]


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
    first, last = np.array([(spans[-1][0] - _WEEK, spans[-1][1] - _WEEK), *spans, *((a + _WEEK, b + _WEEK) for a, b in spans)]).T[
        ..., None
    ]
    candidates = np.maximum(phase, first)
    fits = candidates + turn <= last
    return np.where(fits, candidates, np.iinfo(np.int64).max).min(axis=0) + (start - phase)
