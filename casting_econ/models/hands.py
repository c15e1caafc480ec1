"""The long run of a workshop whose moulds are emptied by hand: its hands followed piece of work by piece of work."""

from functools import lru_cache

import numpy as np

from .windows import WEEK

_NEVER = 1 << 40  # [s]
_KEPT = 1 << 16  # draws whose rate is remembered
_BLOCK = 8_192  # draws whose state fits a processor's cache
_BOXES = 256  # at most, that many draws are sorted into
_FEW = 1_024  # draws that are followed one by one as quickly


def mould_rates(table, hours, most_loads, sizes=1):
    """Loads a week with moulds: of whole boxes of draws where that settles it, else of each draw, equal ones once.

    Parameters
    ----------
    table : ndarray of int64, shape (rows, draws)
        Cure, turnaround [s], stations (0: none limit) and sets of moulds, the same in all draws, rest [s]; then for each step in the moulds the wait after it [s],
        and for each of `sizes` loads in turn its hand work [s] and whether that is in one go.
    hours : OpenWeek
    most_loads, sizes : int

    Returns
    -------
    ndarray, shape (draws,)
        [load/week]
    """
    rates = np.full(table.shape[1], np.nan)
    if rates.size > _FEW:
        boxes, which = _boxes(table)
        rates = _known(boxes, hours, min(_FEW // 16, most_loads), sizes)[which]
    unsure = np.flatnonzero(np.isnan(rates))
    if unsure.size:
        rates[unsure] = _known(table[None, :, unsure], hours, most_loads, sizes)
    return rates


def _known(tables, hours, most_loads, sizes):
    """Rates of draws or boxes, shape (1 or 2, rows, draws), equal ones once."""
    known, columns = _followed(hours.spans, most_loads, sizes), tables.reshape(-1, tables.shape[-1]).T
    draws = np.ascontiguousarray(columns).view(f"V{8 * columns.shape[1]}").ravel().tolist()
    if len(known) > _KEPT:  # others may be reading it, so it is left to them
        _followed.cache_clear()
        known = _followed(hours.spans, most_loads, sizes)
    new = [draw for draw in dict.fromkeys(draws) if draw not in known]
    for some in (new[at : at + _BLOCK] for at in range(0, len(new), _BLOCK)):
        unlike = np.frombuffer(b"".join(some), np.int64).reshape(len(some), *tables.shape[:2]).transpose(1, 2, 0)
        known.update(zip(some, _follow(unlike, hours, most_loads, sizes).tolist(), strict=True))
    return np.array([known[draw] for draw in draws])


@lru_cache(maxsize=8)
def _followed(spans, most_loads, sizes):
    """Rates by the bytes of a draw: the same draws are often asked about again from one question to the next."""
    return {}


def _boxes(table):
    """Least and most of each row in boxes that hold all draws, shape (2, rows, boxes), and the box of each draw.

    Their edges are multiples of powers of two, so that other draws fall into the same boxes.
    """
    least, most = table.min(axis=1), table.max(axis=1)
    width, parts = np.ones_like(least), int(_BOXES ** (1.0 / max(np.count_nonzero(most > least), 1)))
    while (wide := most // width - least // width >= parts).any():
        width[wide] *= 2
    first, counts = least // width, most // width - least // width + 1
    low = (np.array(np.unravel_index(np.arange(counts.prod()), counts)) + first[:, None]) * width[:, None]
    which = np.ravel_multi_index([row // wide - start for row, wide, start in zip(table, width, first, strict=True)], counts)
    return np.stack([low, low + width[:, None] - 1]), which


def _follow(tables, hours, most_loads, sizes):
    """Follow the hands of every draw, one piece of work at a time, until what is in the moulds repeats.

    Rows of `number`, `at`, `ready` and `left` are the loads in the moulds: number, step they are at (-1: moulds empty), moment they are
    ready for it (empty: free from), hand work left. The draws are compared with a state of their own that moves on as in `_repeat_rates`.

    `tables` is of draws, shape (1, rows, draws), or of least and most in boxes of draws, shape (2, rows, boxes). Moments and work left
    then are the soonest and the latest that they are in any draw of the box; what happens next must be the same in all of them, else the
    rate is not a number. Once all lie within those of an earlier state, whole weeks on, the same goes on for ever in every draw, and
    the rate of each is the loads since then over those weeks.
    """
    boxes, longest, (pots, sets) = len(tables) > 1, hours.longest, tables[0, 2:4, 0].tolist()
    rates = np.where(tables[0, 1] > longest, 0.0, np.nan)
    live = np.flatnonzero(tables[-1, 1] <= longest)
    if not live.size:
        return rates
    cure, turn, _, _, rest, *steps = tables[..., live].swapaxes(0, 1)
    steps = np.array(steps or np.zeros((1 + 2 * sizes, *cure.shape), np.int64)).reshape(-1, 1 + 2 * sizes, *cure.shape)
    wait, work, whole = (steps[:, own].transpose(2, 1, 0, 3) for own in (np.s_[:1], np.s_[1::2], np.s_[2::2]))  # by load, step
    whole = (whole > 0) & (work <= longest)
    sure = (whole[0] == whole[-1]).all(axis=(0, 1))
    last, content, size = work.shape[2] - 1, turn[0] + work[0].sum(axis=1).mean(axis=0), live.size
    now, poured = np.full(cure.shape, hours.spans[0][0]), np.zeros(size, np.int64)
    number, at = (np.full((sets, size), fill, np.int64) for fill in (0, -1))
    ready, left, pot = (np.zeros((len(tables), count, size), np.int64) for count in (sets, sets, max(pots, 1)))
    state = [now, poured, number, at, ready, left, pot]
    mark, next_mark, warm = [a.copy() for a in state], np.full(size, 2 * sets), np.zeros((2, size))
    given, rows = [cure, turn, rest, work, whole[0], wait, content], np.arange(sets + 1)[:, None]
    again = 1 if hours.always else WEEK
    while live.size:
        cure, turn, rest, work, whole, wait, content = given
        now, poured, number, at, ready, left, pot = state
        empty, nothing = at < 0, left[-1] == 0
        # what could begin next and when: the loads in the moulds, and last the pour
        free_from = np.where(empty, ready, _NEVER)
        moulds_free = free_from.min(axis=1)
        may_pour, soonest = np.maximum(moulds_free, pot.min(axis=1)), np.maximum(ready, now[:, None])
        begin, kind = hours.first(soonest), np.where(nothing, 0, 2 << 16)
        if whole.any():
            in_one_go = _of_step(whole, number, np.maximum(at, 0)) & ~empty
            kind[in_one_go & ~nothing] = 1 << 16
            begin = np.where(in_one_go, hours.fit(soonest, np.where(in_one_go, left, 1)), begin)
        begin = np.where(empty, _NEVER, np.where(nothing, ready, begin))  # nothing to do: no hands, at once
        pouring = np.where(moulds_free == _NEVER, _NEVER, hours.fit(np.maximum(may_pour, now), turn))
        begin = np.concatenate([begin, pouring[:, None]], axis=1)
        rank = np.concatenate([kind + np.maximum(number - poured, -(1 << 14)), np.full((1, live.size), 1 << 16)]) + (1 << 15)
        order = begin
        if boxes:  # what waits for hands begins now or later, some of it now in every draw
            at_once = (begin == now[:, None]).all(axis=0) & (np.concatenate([ready[1], may_pour[1:]]) <= now[0])
            at_once &= hours.until(now[1]) - hours.until(now[0]) == now[1] - now[0]
            hands = rank >= 1 << 16
            sure &= (hands | (begin[1] <= now[0]) | (begin[0] > now[1])).all(axis=0)
            after_now = np.array([0, 1])[:, None, None] * ~at_once  # the latest of what may have to wait
            order = np.where(hands, np.maximum(begin, now[1] + after_now), begin)
        key = (order << 20) + rank
        (chosen, least), (emptied, _) = _least(key[0]), _least(free_from[0])
        pours = chosen == sets
        mine, here = rows == chosen, rows[:-1] == np.where(pours, emptied, chosen)  # the moulds that it is about
        start, own = _picked(begin, mine) if boxes else least[None] >> 20, least & ((1 << 20) - 1)
        todo = np.where(pours, turn, _picked(left, here))
        by_hand = own > 1 << 17  # it may be put down: for work in one go, or for an earlier load
        early = pours & (poured == max(16, 2 * sets))
        if early.any() and not boxes:
            warm = np.where(early, _seen(state, given, hours), warm)
        end = np.where(by_hand, hours.end(start, np.maximum(todo, 1)), start + todo)
        sooner = np.where(rank < own, begin, _NEVER).min(axis=1)
        cut = by_hand & (sooner[-1] < end[0])
        if boxes:
            sure &= _picked(key[1], mine) < np.where(mine, _NEVER << 21, key[0]).min(axis=0)
            sure &= (empty | nothing | (left[0] > 0)).all(axis=0) & (~pours | (emptied == _least(free_from[1])[0]))
            sure &= ~by_hand | cut | (sooner[0] >= end[1])
        if cut.any():
            left -= here * np.where(cut, hours.until(sooner[::-1]) - hours.until(start), 0)[:, None]
            end = np.where(cut, sooner, end)
        by_itself = ~pours & (todo[-1] == 0)
        now = np.where(by_itself, now, end)
        after = np.where(pours, 0, _picked(at, here) + 1)
        on = here & ~cut
        out = on & (after > last)
        on ^= out
        np.copyto(at, -1, where=out)
        np.copyto(ready, np.where((rest > 0) | by_itself, end + rest, 0)[:, None], where=out)  # no wait: by now in every draw
        np.copyto(number, poured, where=here & pours)
        if on.any():
            past = np.minimum(after, last)
            waits = np.where(pours, cure, _of_step(wait, poured, np.maximum(past - 1, 0)))
            next_left = _of_step(work, number, past)
            np.copyto(left, next_left, where=on)
            np.copyto(ready, np.where(((waits > 0) | by_itself)[:, None] | (next_left == 0), (end + waits)[:, None], 0), where=on)
            np.copyto(at, after, where=on)
        if pots:
            np.copyto(pot, (end + cure)[:, None], where=(np.arange(pots)[:, None] == _least(pot)[0][:, None]) & pours)
        poured = poured + pours
        state[:2] = now, poured

        shift = (now[0] - mark[0][0]) // again * again
        maybe = np.flatnonzero(pours & (now[-1] - mark[0][-1] <= shift) & (mark[1] > 0) & sure)
        done = np.zeros(live.size, bool)
        if maybe.size:
            old, new = (_picture(one, maybe, sizes, mark[0][0] + later) for one, later in ((mark, 0), (state, shift)))
            done[maybe[((new[0] >= old[0]) & (new[-1] <= old[-1])).all(axis=0)]] = True
            rates[live[done]] = (poured - mark[1])[done] / (shift[done] / WEEK)
        late = (poured >= max(most_loads, 4 * sets)) & ~done
        if late.any() and not boxes:
            loads, weeks = (_seen(state, given, hours) - warm)[:, late]
            rates[live[late]] = loads / weeks
        moves = pours & (poured == next_mark)
        if moves.any():
            for old, new in zip(mark, state, strict=True):
                old[..., moves] = new[..., moves]
            next_mark = np.where(moves, 2 * poured, next_mark)
        keep = ~done & ~late & sure
        if not keep.all():
            live, next_mark, warm, sure = live[keep], next_mark[keep], warm[:, keep], sure[keep]
            given, state, mark = ([a[..., keep] for a in group] for group in (given, state, mark))
    return rates


def _least(rows):
    """Row that holds the least of each column, the first of them, along the last axis but one, and the least: of few far quicker than `argmin`."""
    least, at = rows[..., 0, :], np.zeros(rows[..., 0, :].shape, np.int64)
    for k in range(1, rows.shape[-2]):
        at, least = np.where(rows[..., k, :] < least, k, at), np.minimum(rows[..., k, :], least)
    return at, least


def _picked(rows, here):
    """Of each column the number in the row where `here` holds: quicker than by an index."""
    return np.where(here, rows, 0).sum(axis=-2)


def _of_step(values, number, step):
    """What loads of these numbers have at these steps, of values by load in turn, step and draw."""
    *before, turns, steps, draws = values.shape
    if turns * steps == 1:  # as nearly always
        return np.broadcast_to(values[..., 0, :] if number.ndim > 1 else values[..., 0, 0, :], (*before, *number.shape))
    place = ((number - number // turns * turns) * steps + step) * draws + np.arange(draws)
    return values.reshape(*before, -1).take(place, axis=-1)


def _seen(state, given, hours):
    """All work done, counted in loads, and the open weeks that passed: steadier than a count of pours."""
    now, poured, number, at, _, left, _ = state
    work, content = given[3], given[-1]
    later = sum(np.where(at < k, _of_step(work[0], number, k), 0) for k in range(1, work.shape[2]))
    behind = np.where(at < 0, 0, left[0] + later).sum(axis=0)
    return np.stack([poured - behind / content, hours.until(now[0]) / hours.week])


def _picture(state, columns, sizes, origin):
    """What the future of these draws depends on, moments since `origin`; sets and stations that are alike in order."""
    now, poured, number, at, ready, left, pot = (a[..., columns] for a in state)
    empty, passed = at < 0, now[:, None]
    # what needs no hands does not wait for now
    moment = np.where(~empty & (left == 0), ready, np.maximum(ready, passed)) - origin[columns]
    order = np.argsort(np.where(empty, -_NEVER - moment[0], number - poured), axis=0)
    rows = np.where(empty, 0, number - poured), at, moment, np.where(empty, 0, left)
    loads = [np.take_along_axis(*np.broadcast_arrays(row, order), -2) for row in rows]
    pots = np.sort(np.maximum(pot, passed), axis=1) - origin[columns]
    turn = np.broadcast_to(poured % sizes, (len(now), 1, columns.size))
    return np.concatenate([*(np.broadcast_to(load, moment.shape) for load in loads), pots, turn], axis=1)
