"""The long run of a workshop whose moulds are emptied by hand: its hands followed piece of work by piece of work."""

from functools import lru_cache

import numpy as np

from .windows import WEEK, OpenWeek

_NEVER = 1 << 40  # [s]
_KEPT = 1 << 16  # draws whose rate is remembered


def mould_rates(table, spans, most_loads, sizes=1):
    """Loads a week with moulds, equal draws once.

    Parameters
    ----------
    table : ndarray of int64, shape (rows, draws)
        Cure, turnaround [s], stations (0: none limit), sets of moulds, rest [s]; then for each step in the moulds the wait after it [s],
        and for each of `sizes` loads in turn its hand work [s] and whether that is in one go.
    spans : tuple of (int, int)
        Working windows, as `merged_windows` gives them. [s]
    most_loads, sizes : int

    Returns
    -------
    ndarray, shape (draws,)
        [load/week]
    """
    known, rows = _followed(spans, most_loads, sizes), len(table)
    draws = np.ascontiguousarray(table.T).view(f"V{8 * rows}").ravel().tolist()
    if len(known) > _KEPT:  # others may be reading it, so it is left to them
        _followed.cache_clear()
        known = _followed(spans, most_loads, sizes)
    new = [draw for draw in dict.fromkeys(draws) if draw not in known]
    unlike = np.frombuffer(b"".join(new), np.int64).reshape(-1, rows).T
    rates = np.empty(len(new))
    for pots, sets in {tuple(pair) for pair in unlike[2:4].T.tolist()}:
        chosen = (unlike[2] == pots) & (unlike[3] == sets)
        rates[chosen] = _follow(unlike[:, chosen], pots, sets, OpenWeek(spans), most_loads, sizes)
    known.update(zip(new, rates.tolist(), strict=True))
    return np.array([known[draw] for draw in draws])


@lru_cache(maxsize=8)
def _followed(spans, most_loads, sizes):
    """Rates by the bytes of a draw: the same draws are often asked about again from one question to the next."""
    return {}


def _follow(table, pots, sets, hours, most_loads, sizes):
    """Follow the hands of every draw, one piece of work at a time, until what is in the moulds repeats.

    Rows of `loads` are the loads in the moulds: number, step they are at (-1: moulds empty), moment they are ready for it (empty:
    free from), hand work left. The draws are compared with a state of their own that moves on as in `_repeat_rates`.
    """
    rates = np.zeros(table.shape[1])
    live = np.flatnonzero(table[1] <= max(end - start for start, end in hours.spans))
    if not live.size:
        return rates
    cure, turn, _, _, rest, *steps = table[:, live]
    steps = np.array(steps or np.zeros((1 + 2 * sizes, live.size), np.int64)).reshape(-1, 1 + 2 * sizes, live.size)
    wait, work, whole = steps[:, 0], steps[:, 1::2].swapaxes(0, 1), steps[:, 2::2].swapaxes(0, 1)  # by load in turn, then step
    whole = (whole > 0) & (work <= max(end - start for start, end in hours.spans))
    last, content, size = len(wait) - 1, turn + work.sum(axis=1).mean(axis=0), live.size
    now, poured = np.full(size, hours.spans[0][0]), np.zeros(size, np.int64)
    number, at, ready, left = (np.full((sets, size), fill, np.int64) for fill in (0, -1, 0, 0))
    pot = np.zeros((max(pots, 1), size), np.int64)
    state = [now, poured, number, at, ready, left, pot]
    mark, next_mark, warm = [a.copy() for a in state], np.full(size, 2 * sets), np.zeros((2, size))
    given = [cure, turn, rest, work, whole, wait, content]
    while live.size:
        cure, turn, rest, work, whole, wait, content = given
        now, poured, number, at, ready, left, pot = state
        column, which = np.arange(live.size), number % sizes
        # what could begin next and when: the loads in the moulds, and last the pour
        free_from, step = np.where(at < 0, ready, _NEVER), np.maximum(at, 0)
        moulds_free, in_one_go, nothing = free_from.min(axis=0), whole[which, step, column] & (at >= 0), left == 0
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
        number[row[pours], column[pours]] = poured[pours]
        r, c, k = row[on], column[on], after[on]
        ready[r, c] = end[on] + np.where(pours[on], cure[on], wait[k - 1, c])
        at[r, c], left[r, c] = k, work[number[r, c] % sizes, k, c]
        if pots:
            pot[pot.argmin(axis=0)[pours], column[pours]] = (end + cure)[pours]
        poured = poured + pours
        state[:2] = now, poured

        shift = now - mark[0]
        maybe = np.flatnonzero(pours & (shift % (1 if hours.always else WEEK) == 0) & (mark[1] > 0))
        done = np.zeros(live.size, bool)
        if maybe.size:
            same = (_picture(state, maybe, sizes) == _picture(mark, maybe, sizes)).all(axis=0)
            done[maybe[same]] = True
            rates[live[done]] = (poured - mark[1])[done] / (shift[done] / WEEK)
        # all work done, counted in loads, against the open hours that passed: steadier than a count of pours
        early, late = poured <= max(16, 2 * sets), (poured >= max(most_loads, 4 * sets)) & ~done
        if early.any() or late.any():
            which = number % sizes
            later = sum(np.where(at < k, work[which, k, column], 0) for k in range(1, last + 1))
            behind = np.where(at < 0, 0, left + later).sum(axis=0)
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


def _picture(state, columns, sizes):
    """What the future of these draws depends on, the week's phase apart; sets and stations that are alike in order."""
    now, poured, number, at, ready, left, pot = (a[..., columns] for a in state)
    empty, ahead = at < 0, np.maximum(ready - now, 0)
    order = np.argsort(np.where(empty, -_NEVER - ahead, number - poured), axis=0)
    rows = np.where(empty, 0, number - poured), at, ahead, np.where(empty, 0, left)
    loads = [np.take_along_axis(row, order, 0) for row in rows]
    return np.concatenate([*loads, np.sort(np.maximum(pot - now, 0), axis=0), [poured % sizes]])
