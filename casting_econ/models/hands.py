"""The long run of a workshop whose moulds are emptied by hand: its hands followed piece of work by piece of work."""

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from .windows import WEEK

_NEVER, _HANDS = 1 << 40, 1 << 18  # [s]; rank from which work needs hands, twice that if it may be put down
_KEPT = 1 << 16  # draws whose rate is remembered
_BLOCK = 8_192  # draws whose state fits a processor's cache
_BOXES = 256  # at most, that many draws are sorted into
_FEW = 1_024  # draws that are followed one by one as quickly


def rates_of_boxes(table, hours, most_loads, sizes=1):
    """Loads a week with moulds, of whole boxes of draws where they are many, shape (draws,); not a number where that does not settle it. [load/week]

    `table`, whole numbers of shape (rows, draws), has cure, turnaround [s], stations (0: none limit) and sets of moulds, the same in all draws, and
    rest [s]; then for each step in the moulds the wait after it [s], and for each of `sizes` loads in turn its hand work [s] and whether that is in
    one go. `hours` are the open hours of the week; after `most_loads` no repeat is looked for.
    """
    if table.shape[1] <= _FEW:
        return np.full(table.shape[1], np.nan)
    boxes, which = _boxes(table)
    return rates_of_draws(boxes, hours, min(_FEW // 16, most_loads), sizes)[which]


def rates_of_draws(tables, hours, most_loads, sizes):
    """Loads a week of draws or boxes, shape (1 or 2, rows, draws), as `rates_of_boxes` has them, of any stations and sets; equal ones once."""
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


class _Rule(NamedTuple):
    """What stays as it is of each draw, draws last; times are the least and the most of a box, or one of each draw. [s]"""

    held: np.ndarray  # how long a pour holds its station; long over where none limits
    waits: np.ndarray  # before each step, and before the moulds are poured again; as `_of_step` takes them, and so the next two
    work: np.ndarray  # of each step by load in turn; then something, so that empty moulds do not count as left alone
    whole: np.ndarray  # whether it is done in one go
    sets: np.ndarray


class _State(NamedTuple):
    """Where a draw stands: a row for each set of moulds, and last the next pour, which waits for moulds and station. [s]"""

    now: np.ndarray
    number: np.ndarray  # of the load; of the pour how many were poured
    at: np.ndarray  # step it is at, after all of them where moulds are empty; of the pour -1
    ready: np.ndarray  # moment it is ready for it; never of moulds that there are not
    left: np.ndarray  # hand work left
    pot: np.ndarray  # moment from which each station is free


def _begun(tables, hours, sizes):
    """Rule and first state of draws or boxes, and whether the same work is done in one go in all draws of a box."""
    cure, turn, pots, sets, rest, *steps = tables.swapaxes(0, 1)
    steps = np.array(steps or np.zeros((1 + 2 * sizes, *cure.shape), np.int64)).reshape(-1, 1 + 2 * sizes, *cure.shape)
    wait, work, whole = (steps[:, own].transpose(2, 1, 0, 3) for own in (np.s_[:1], np.s_[1::2], np.s_[2::2]))  # by load, step
    whole, last, pots, sets = (whole > 0) & (work <= hours.longest), len(steps), pots[0], sets[0]
    sure, none = (whole[0] == whole[-1]).all(axis=(0, 1)), work[:, :, :1]
    waits = np.concatenate([cure[:, None, None], wait[:, :, :-1], rest[:, None, None]], axis=2)
    work, whole = np.concatenate([work, np.ones_like(none)], axis=2), np.concatenate([whole, none > np.inf], axis=2)[0]
    rule = _Rule(np.where(pots > 0, cure, -_NEVER), waits, work, whole, sets)
    moulds, stations = np.arange(sets.max() + 1)[:, None], np.arange(max(pots.max(), 1))[:, None]
    number = np.zeros((len(moulds), sets.size), np.int64)
    at = np.where(moulds < len(moulds) - 1, last, number - 1)
    ready, pot = (np.where(rows < there, 0, _NEVER) for rows, there in ((moulds, sets), (stations, np.maximum(pots, 1))))
    ready, left, pot = (np.repeat(one[None], len(cure), axis=0) for one in (ready, number, pot))
    left[:, -1] = turn
    return rule, _State(np.full(cure.shape, hours.spans[0][0]), number, at, ready, left, pot), sure


def _follow(tables, hours, most_loads, sizes):
    """Follow the hands of every draw, one piece of work at a time, until what is in the moulds repeats: as in a state that moves on as in `_repeat_rates`.

    `tables` is of draws, shape (1, rows, draws), or of least and most in boxes of draws, shape (2, rows, boxes). Moments and work left
    then are the soonest and the latest that they are in any draw of the box; what happens next must be the same in all of them, else the
    rate is not a number. Once all lie within those of an earlier state, whole weeks on, the same goes on for ever in every draw, and
    the rate of each is the loads since then over those weeks.
    """
    boxes, again = len(tables) > 1, 1 if hours.always else WEEK
    rates = np.where(tables[0, 1] > hours.longest, 0.0, np.nan)
    live = np.flatnonzero(tables[-1, 1] <= hours.longest)
    if not live.size:
        return rates
    rule, state, sure = _begun(tables[..., live], hours, sizes)
    mark, next_mark, warm = _State(*(a.copy() for a in state)), 2 * rule.sets, np.zeros((2, live.size))
    while live.size:
        mine, *chosen = _next(state, rule, hours, sure)
        pours = mine[-1]
        early = pours & (state.number[-1] == np.maximum(16, 2 * rule.sets))
        if early.any() and not boxes:
            warm = np.where(early, _seen(state, rule, hours), warm)
        state = _done(state, rule, hours, sure, mine, *chosen)
        poured, passed = state.number[-1], state.now - mark.now
        shift = passed[0] // again * again
        maybe = np.flatnonzero(pours & (passed[-1] <= shift) & (mark.number[-1] > 0) & sure)
        keep = sure.copy()
        if maybe.size:
            old, new = (_picture(one, maybe, rule, mark.now[0] + later) for one, later in ((mark, 0), (state, shift)))
            done = maybe[((new[0] >= old[0]) & (new[-1] <= old[-1])).all(axis=0)]
            rates[live[done]] = (poured - mark.number[-1])[done] / (shift[done] / WEEK)
            keep[done] = False
        late = (poured >= np.maximum(most_loads, 4 * rule.sets)) & keep
        if late.any() and not boxes:
            loads, weeks = (_seen(state, rule, hours) - warm)[:, late]
            rates[live[late]] = loads / weeks
        moves = pours & (poured == next_mark)
        if moves.any():
            for old, new in zip(mark, state, strict=True):
                old[..., moves] = new[..., moves]
            next_mark = np.where(moves, 2 * poured, next_mark)
        if not (keep := keep & ~late).all():
            live, next_mark, warm, sure = live[keep], next_mark[keep], warm[:, keep], sure[keep]
            rule, state, mark = (type(group)(*(a[..., keep] for a in group)) for group in (rule, state, mark))
    return rates


def _next(state, rule, hours, sure):
    """What begins first, by rank: its row and moulds, when each row could and its rank, when it does and its rank; not `sure` where boxes differ."""
    now, number, at, ready, left, pot = state
    empty, nothing = at == rule.work.shape[-2] - 1, left[-1] == 0
    free = (np.where(empty, ready, _NEVER)[:, :-1] << 10) + np.arange(len(at) - 1)[:, None]
    freest = free.min(axis=1)
    ready[:, -1] = np.maximum(freest >> 10, pot.min(axis=1))
    empty[-1] = ready[0, -1] >= _NEVER  # no pour
    by_hand = np.arange(len(at))[:, None] < len(at) - 1
    if rule.whole.any():
        by_hand = by_hand & ~(_of_step(rule.whole, number, np.maximum(at, 0)) & ~empty)
    begin = hours.fit(np.maximum(ready, now[:, None]), np.where(by_hand, 1, left))
    begin = np.where(empty, _NEVER, np.where(nothing, ready, begin))  # nothing to do: no hands, at once
    rank = np.where(nothing, 0, np.where(by_hand, 2 * _HANDS, _HANDS)) + number
    order = begin
    if len(now) > 1:  # what waits for hands begins now or later, some of it now in every draw
        at_once = (begin == now[:, None]).all(axis=0) & (ready[1] <= now[0])
        at_once &= hours.until(now[1]) - hours.until(now[0]) == now[1] - now[0]
        hands = rank >= _HANDS
        sure &= (hands | (begin[1] <= now[0]) | (begin[0] > now[1])).all(axis=0)
        after_now = np.array([0, 1])[:, None, None] * ~at_once  # the latest of what may have to wait
        order = np.where(hands, np.maximum(begin, now[1] + after_now), begin)
    key = (order << 20) + rank
    least = key[0].min(axis=0)
    mine = key[0] == least
    here = mine[:-1] | ((free[0] == freest[0]) & mine[-1])
    if len(now) > 1:
        sure &= _picked(key[1], mine) < np.where(mine, np.iinfo(np.int64).max, key[0]).min(axis=0)
        sure &= (empty | nothing | (left[0] > 0)).all(axis=0) & (~here | ~mine[-1] | (free[1] == freest[1])).all(axis=0)
    start = least[None] >> 20 if len(now) == 1 else _picked(begin, mine)
    return mine, here, begin, rank, start, least & ((1 << 20) - 1)


def _done(state, rule, hours, sure, mine, here, begin, rank, start, own):
    """The state after a piece of work, or the part of it after which it is put down for what goes before it."""
    now, number, at, ready, left, pot = state
    todo, by_hand = _picked(left, mine), own >= 2 * _HANDS  # it may be put down: for work in one go, or for an earlier load
    end = np.where(by_hand, hours.end(start, np.maximum(todo, 1)), start + todo)
    sooner = np.where(rank < own, begin, _NEVER).min(axis=1)
    cut = by_hand & (sooner[-1] < end[0])
    if len(now) > 1:
        sure &= ~by_hand | cut | (sooner[0] >= end[1])
    if cut.any():
        left -= mine * np.where(cut, hours.until(sooner[::-1]) - hours.until(start), 0)[:, None]
        end = np.where(cut, sooner, end)
    alone = todo[-1] == 0
    after, load, on = _picked(at, mine) + 1, own & (_HANDS - 1), here & ~cut
    waits, next_left = _of_step(rule.waits, load, after), _of_step(rule.work, load, after)
    soon = np.where((waits > 0) | alone | (next_left == 0), end + waits, 0)  # no wait: by now in every draw
    for rows, then in zip((ready, left, at, number), (soon[:, None], next_left[:, None], after, load), strict=True):
        np.copyto(rows[..., :-1, :], then, where=on)
    first = (pot[0] << 10) + np.arange(pot.shape[1])[:, None]
    np.copyto(pot, (end + rule.held)[:, None], where=(first == first.min(axis=0)) & mine[-1])
    number[-1] += mine[-1]
    return state._replace(now=np.where(alone, now, end))


def _picked(rows, here):
    """Of each column the number in the row where `here` holds: quicker than by an index."""
    return np.where(here, rows, 0).sum(axis=-2)


def _of_step(values, number, step):
    """What loads of these numbers have at these steps, of values by load in turn, step and draw."""
    *before, turns, steps, draws = values.shape
    turn = (number - number // turns * turns) * steps if turns > 1 else 0
    return values.reshape(*before, -1).take((turn + step) * draws + np.arange(draws), axis=-1)


def _seen(state, rule, hours):
    """All work done, counted in loads, and the open weeks that passed: steadier than a count of pours."""
    number, at, left = state.number[:-1], state.at[:-1], state.left[0, :-1]
    *steps, empty = range(rule.work.shape[-2])
    later = sum(np.where(at < k, _of_step(rule.work[0], number, k), 0) for k in steps[1:])
    behind = np.where(at == empty, 0, left + later).sum(axis=0)
    content = state.left[0, -1] + rule.work[0, :, :-1].sum(axis=1).mean(axis=0)
    return np.stack([state.number[-1] - behind / content, hours.until(state.now[0]) / hours.week])


def _picture(state, columns, rule, origin):
    """What the future of these draws depends on, moments since `origin`; sets and stations that are alike in order."""
    now, number, at, ready, left, pot = (a[..., columns] for a in state)
    number, poured, at, ready, left, passed = number[:-1], number[-1], at[:-1], ready[:, :-1], left[:, :-1], now[:, None]
    *_, turns, steps, _ = rule.work.shape
    empty = at == steps - 1
    # what needs no hands does not wait for now
    moments = np.where(~empty & (left == 0), ready, np.maximum(ready, passed)), np.sort(np.maximum(pot, passed), axis=1)
    moment, pots = (np.where(one < _NEVER, one - origin[columns], _NEVER) for one in moments)
    order = np.argsort(np.where(empty, -_NEVER - moment[0], number - poured), axis=0)
    rows = np.where(empty, 0, number - poured), at, moment, np.where(empty, 0, left)
    loads = [np.take_along_axis(*np.broadcast_arrays(row, order), -2) for row in rows]
    turn = np.broadcast_to(poured % turns, (len(now), 1, columns.size))
    return np.concatenate([*(np.broadcast_to(load, moment.shape) for load in loads), pots, turn], axis=1)
