"""Which loads of an order are looked at: those whose turn could be next, and those on their way through a wait.

A load that waits behind an earlier one at the same stage, and needs no less than that one, cannot begin before it. It stands
aside until the earlier one begins, so that a turn of the calendar costs by the loads in play and not by all there are.
"""

import numpy as np

from .windows import NEVER

# of each load in play, in no order; a place in the table is empty where the load is L and no moulds are held
_COLUMNS = {
    "load": None,
    "stage": 0,
    "ready": NEVER,  # [s]
    "left": 0,  # hand work at its stage [s]
    "begun": False,
    "ended": False,
    "held_pool": -1,  # given back when ready
    "held_rack": -1,
    "held_places": 0,
    "held_moulds": 0,  # given back at `back` [mould]
    "back": NEVER,  # [s]
}
# of each draw that still runs
_ROWS = "rows t worked sanded day pool_free rack_free moulds_free short owed known".split()


class InPlay:
    """Draws that still run, with their loads in play; rows go as draws end.

    The plan has D draws of L loads through K stages for I counted things. `all_*` have a row for every draw of the plan, the rest for the draws that still run: `rows` has their numbers.
    """

    def __init__(self, plan) -> None:
        draws, loads, stages = plan.work.shape
        self.plan, self.loads, self.stages = plan, loads, stages
        self.racks, self.pools = list(plan.places_in), list(plan.slots)
        self.room = np.array([*plan.places_in.values(), 0], np.int64)
        self.rack_of = np.array([-1 if s.rack is None else self.racks.index(s.rack) for s in plan.stages])
        kinds = [(s.block, s.sanding, s.follows_temperature) for s in plan.stages]
        self.block, self.sanding, self.follows = np.array(kinds).T
        self.use = np.broadcast_to(plan.mould_use, (draws, loads))
        self.short_of = np.maximum(np.asarray(plan.needed) - plan.in_hand, 0)
        self.limited = bool(self.use.any())
        self.later = np.array(sorted(plan.after), np.int64)  # loads that wait for others to be done, and which
        self.earlier = np.array([np.isin(np.arange(loads), plan.after[load]) for load in self.later]).reshape(
            len(self.later), loads
        )

        self.all_done = np.full((draws, loads), NEVER)
        self.all_released = np.zeros((draws, loads), bool)
        self.all_pending = np.tile(self.earlier.sum(axis=1), (draws, 1))  # of `later`: those not done
        # of loads that stand aside: the last behind each, and behind the same as it before it (-1: none); their stage, moulds held
        self.all_behind, self.all_beside = np.full((draws, loads), -1), np.full((draws, loads), -1)
        self.all_stage, self.all_moulds = np.zeros((draws, loads), np.int64), np.zeros((draws, loads), np.int64)

        self.rows = np.arange(draws)
        self.t = plan.start.astype(np.int64)
        self.worked, self.sanded, self.day = (np.zeros(draws, np.int64) for _ in range(3))
        self.pool_free = np.tile([*plan.slots.values(), 1], (draws, 1))  # the last: no station
        self.rack_free = np.tile(self.room, (draws, 1))
        self.moulds_free = plan.moulds.astype(np.int64)
        self.short = np.tile(self.short_of, (draws, 1))  # of what is counted, after the loads done by now
        self.owed = self.short.copy()  # after all loads whose end is known
        self.known = np.zeros(draws, np.int64)  # how many these are
        for name, fill in _COLUMNS.items():
            setattr(self, name, np.full((draws, 2), loads if fill is None else fill))
        self.crowded = True
        self._begin_under_way()
        free = np.setdiff1d(np.arange(plan.planned), [*plan.under_way, *plan.after])
        self._release(np.repeat(self.rows, free.size), np.tile(free, draws), np.repeat(self.t, free.size))

    @property
    def enough(self) -> np.ndarray:
        """Draws in which nothing is short any more."""
        return (self.short <= 0).all(axis=1)

    def keep(self, rows: np.ndarray) -> None:
        """Drop the draws that have ended."""
        for name in (*_ROWS, *_COLUMNS):
            setattr(self, name, getattr(self, name)[rows])

    def give_back(self) -> None:
        """Give back what is free by now, and count what is done by now."""
        t = self.t[:, None]
        over = (self.ready <= t) & ~self.begun
        for held, free in ((self.held_pool, self.pool_free), (self.held_rack, self.rack_free)):
            row, column = np.nonzero(over & (held >= 0))
            what = held[row, column]
            np.add.at(free, (row, what), 1 if held is self.held_pool else self.held_places[row, column])
            held[row, column] = -1
        if self.limited:
            row, column = np.nonzero(self.back <= t)
            np.add.at(self.moulds_free, row, self.held_moulds[row, column])
            self.held_moulds[row, column], self.back[row, column] = 0, NEVER
        row, column = np.nonzero(over & self.ended)
        if not row.size:
            return
        draw, load = self.rows[row], self.load[row, column]
        np.subtract.at(self.short, row, self.plan.credit[draw, load])
        made = self.plan.work[draw, load, self.plan.first[load]] > 0
        np.add.at(self.moulds_free, row, np.where(made, self.plan.mould_gain[load], 0))
        self.load[row, column], self.ready[row, column], self.ended[row, column] = self.loads, NEVER, False

    def begin(self, row, column) -> None:
        """Loads begin their stage: they take station, rack places and moulds; the next one behind each comes into play."""
        load, stage = self.load[row, column], self.stage[row, column]
        self.begun[row, column] = True
        pool, rack, moulds = self.plan.pool[load, stage], self.rack_of[stage], self.mould_need(row, load, stage)
        in_pool, in_rack, in_moulds = pool >= 0, rack >= 0, moulds > 0
        self.held_pool[row[in_pool], column[in_pool]] = pool[in_pool]
        self.pool_free[row[in_pool], pool[in_pool]] -= 1
        if in_rack.any():
            places = self.places_wanted(row, load, stage)[in_rack]
            row_, column_ = row[in_rack], column[in_rack]
            self.held_rack[row_, column_], self.held_places[row_, column_] = rack[in_rack], places
            self.rack_free[row_, rack[in_rack]] -= places
        self.held_moulds[row[in_moulds], column[in_moulds]] = moulds[in_moulds]
        self.moulds_free[row[in_moulds]] -= moulds[in_moulds]
        behind = self.all_behind[self.rows[row], load]
        self.all_behind[self.rows[row], load] = -1
        while (some := behind >= 0).any():
            row, behind = row[some], behind[some]
            draw = self.rows[row]
            self._enter(row, behind, self.all_stage[draw, behind], self.t[row], self.all_moulds[draw, behind])
            behind = self.all_beside[draw, behind]

    def through(self, row, column, over) -> None:
        """Loads are through the hand work of their stage, and ready for the next when its wait is over [s]."""
        plan, draw, load, stage = self.plan, self.rows[row], self.load[row, column], self.stage[row, column]
        self.begun[row, column], self.ready[row, column], self.stage[row, column] = False, over, stage + 1
        left = np.where(stage + 1 < self.stages, plan.work[draw, load, np.minimum(stage + 1, self.stages - 1)], 0)
        self.left[row, column] = left
        ends, out = left == 0, stage == plan.mould_stage
        released = (self.held_moulds[row, column] > 0) & (self.back[row, column] == NEVER) & (ends | out)
        moment = np.where(out, self.t[row], over) + plan.mould_rest
        self.back[row[released], column[released]] = moment[released]
        self.ended[row[ends], column[ends]] = True
        self._end(row[ends], load[ends], over[ends])

    def mould_need(self, row, load, stage):
        """Moulds that loads take when they begin a stage: all at their first. [mould]"""
        if not self.limited:
            return np.zeros_like(load)
        return np.where(stage == self.plan.first[load], self.use[self.rows[row], load], 0)

    def places_wanted(self, row, load, stage):
        """Rack places that loads take at a stage, at most all there are. [place]"""
        return np.minimum(self.plan.places[self.rows[row], load, stage], self.room[self.rack_of[stage]])

    def stand_aside(self) -> None:
        """Take out of play each load that is ready, not begun, and behind an earlier one that needs no more; narrow the table."""
        waits = (self.load < self.loads) & (self.ready <= self.t[:, None]) & ~self.begun & ~self.ended & (self.back == NEVER)
        last = self.loads * self.stages
        key = np.where(waits, self.stage * self.loads + self.load, last)
        order = np.argsort(key, axis=1, kind="stable")
        key = np.take_along_axis(key, order, 1)
        row, place = np.nonzero((key[:, 1:] < last) & (key[:, 1:] // self.loads == key[:, :-1] // self.loads))
        column, front = order[row, place + 1], self.load[row, order[row, place]]
        load, stage = self.load[row, column], self.stage[row, column]
        aside = self._cannot_pass(row, load, front, stage)
        row, column, load, front, stage = (a[aside] for a in (row, column, load, front, stage))
        self._put_behind(row, load, front, stage, self.held_moulds[row, column])
        self.load[row, column], self.ready[row, column], self.held_moulds[row, column] = self.loads, NEVER, 0
        empty = self._empty()
        order = np.argsort(empty, axis=1, kind="stable")[:, : max(int((~empty).sum(axis=1).max(initial=0)) + 2, 2)]
        for name in _COLUMNS:
            setattr(self, name, np.take_along_axis(getattr(self, name), order, 1))
        self.crowded = False

    def _put_behind(self, row, load, front, stage, moulds=0):
        """Loads stand aside until the one in front begins, one a load in front at a time."""
        draw = self.rows[row]
        self.all_beside[draw, load], self.all_behind[draw, front] = self.all_behind[draw, front], load
        self.all_stage[draw, load], self.all_moulds[draw, load] = stage, moulds

    def _cannot_pass(self, row, load, front, stage):
        """Whether a load needs no less than the one in front of it at the same stage, so cannot begin before it."""
        work, pool, draw = self.plan.work, self.plan.pool, self.rows[row]
        fits = pool[front, stage] == pool[load, stage]
        fits &= ~self.block[stage] | (work[draw, front, stage] <= work[draw, load, stage])
        if self.racks:
            fits &= (self.rack_of[stage] < 0) | (self.places_wanted(row, front, stage) <= self.places_wanted(row, load, stage))
        return fits & (self.mould_need(row, front, stage) <= self.mould_need(row, load, stage))

    def _empty(self):
        return (self.load == self.loads) & (self.held_moulds == 0)

    def _enter(self, row, load, stage, ready, moulds=0, **more):
        """Loads come into play, each at a stage and ready from a moment on [s]."""
        work = self.plan.work[self.rows[row], load, np.minimum(stage, self.stages - 1)]
        values = {"load": load, "stage": stage, "ready": ready, "left": work, "held_moulds": moulds, **more}
        values = {name: np.broadcast_to(value, row.shape) for name, value in values.items()}
        while row.size:
            now = np.append(True, row[1:] != row[:-1])  # one of each draw at a time
            empty = self._empty()[row[now]]
            if not empty.any(axis=1).all():
                self.crowded, wider = True, np.maximum(4, self.load.shape[1])
                for name, fill in _COLUMNS.items():
                    pad = {"constant_values": self.loads if fill is None else fill}
                    setattr(self, name, np.pad(getattr(self, name), [(0, 0), (0, wider)], **pad))
                empty = self._empty()[row[now]]
            column = empty.argmax(axis=1)
            for name, fill in _COLUMNS.items():
                getattr(self, name)[row[now], column] = values[name][now] if name in values else fill
            row, values = row[~now], {name: value[~now] for name, value in values.items()}

    def _begin_under_way(self):
        """Bring the loads under way into play where they are, with what they hold."""
        plan = self.plan
        self.all_released[:, list(plan.under_way)] = True
        for load, (stage, ready, pool, in_moulds) in plan.under_way.items():
            moulds = self.use[:, load] if in_moulds and stage <= plan.mould_stage else 0
            self.moulds_free -= moulds
            held = -1
            if pool is not None:
                held = self.pools.index(pool)
                self.pool_free[:, held] -= 1
            ends = (stage == self.stages) | (plan.work[:, load, min(stage, self.stages - 1)] == 0)
            where = np.full(self.rows.size, load)
            back = np.where(ends & (np.asarray(moulds) > 0), ready + plan.mould_rest, NEVER)
            self._enter(self.rows, where, stage, ready, moulds, held_pool=held, ended=ends, back=back)
            self._end(self.rows[ends], where[ends], np.full(ends.sum(), ready))

    def _end(self, row, load, moment):
        """Note when loads end, at most one of a draw, and release those that may begin then."""
        if not row.size:
            return
        plan, draw = self.plan, self.rows[row]
        self.all_done[draw, load] = moment
        self.known[row] += 1
        self.owed[row] -= plan.credit[draw, load]
        known = self.known[row]
        extra = (known >= plan.planned) & (known < self.loads) & (self.owed[row] > 0).any(axis=1)
        if extra.any():  # all before it have ended, and the order is short
            latest = np.where(self.all_done[draw] < NEVER, self.all_done[draw], 0).max(axis=1)
            self._release(row[extra], known[extra], latest[extra])
        if self.later.size:
            self.all_pending[draw] -= self.earlier.T[load]
            which, one = np.nonzero((self.all_pending[draw] == 0) & ~self.all_released[draw][:, self.later])
            latest = np.where(self.earlier[one], self.all_done[draw[which]], 0).max(axis=1, initial=0)
            self._release(row[which], self.later[one], latest)

    def _release(self, row, load, moment):
        """Loads may begin from a moment on [s]; empty ones end at once, and those that cannot pass the one before them stand aside."""
        plan, draw, first = self.plan, self.rows[row], self.plan.first[load]
        self.all_released[draw, load] = True
        moment = np.maximum(moment, plan.start[draw])
        empty = plan.work[draw, load, first] == 0
        front, aside = np.roll(load, 1), ~empty & ~np.roll(empty, 1)
        for value in (row, first, moment):  # of the same draw, and begins at the same stage from the same moment on
            aside &= value == np.roll(value, 1)
        aside[:1] = False
        aside[aside] = self._cannot_pass(row[aside], load[aside], front[aside], first[aside])
        self._put_behind(row[aside], load[aside], front[aside], first[aside])
        now = ~aside
        self._enter(row[now], load[now], first[now], moment[now], ended=empty[now])
        row, load, moment = row[empty], load[empty], moment[empty]
        while row.size:
            now = np.append(True, row[1:] != row[:-1])
            self._end(row[now], load[now], moment[now])
            row, load, moment = row[~now], load[~now], moment[~now]
