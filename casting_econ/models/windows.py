"""Open time: when the workshop is open, and when so much of it has passed."""

from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

import numpy as np

HOUR = 3600  # [s]; whole seconds keep moments in exact integer arithmetic
DAY = 24 * HOUR  # [s]
WEEK = 7 * DAY  # [s]
NEVER = 2**62  # [s]


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


def merged_windows(windows):
    """Working windows in order, touching ones joined, as whole seconds of the week. [s]

    They are given as start and end within the week, Monday 0:00 being 0 [hour]; one that reaches the end of the week is joined to one
    that starts it by an end past 168 h. ValueError if there is none, one is empty or outside the week, or two overlap.

    >>> merged_windows([(8, 12), (12, 17)])
    ((28800, 61200),)
    """
    if not windows:
        raise ValueError("working windows must hold at least one window; got none")
    joined = []
    for start, end in sorted((round(a * HOUR), round(b * HOUR)) for a, b in windows):
        if not 0 <= start < end <= WEEK:
            raise ValueError(f"working window must lie within the week; got {start / HOUR:g} h to {end / HOUR:g} h")
        if joined and start < joined[-1][1]:
            raise ValueError(f"working windows must not overlap; got one from {start / HOUR:g} h inside another")
        if joined and start == joined[-1][1]:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    if len(joined) > 1 and joined[0][0] == 0 and joined[-1][1] == WEEK:
        joined[-1] = (joined[-1][0], WEEK + joined.pop(0)[1])
    return tuple(joined)


def fit(start, turn, spans):
    """Earliest start not before `start` at which the turnaround fits one working window."""
    phase = start - start // WEEK * WEEK  # a remainder, several times as fast
    # the last window may reach into the next week, so it is also tried as last week's
    first, last, grid, after = _around(spans)
    at = after.take(phase // grid)
    begin = np.maximum(phase, first.take(at))
    late = begin + turn > last.take(at)
    while late.any():
        at = at + late
        begin = np.where(late, first.take(at), begin)
        late = begin + turn > last.take(at)
    return begin + (start - phase)


@lru_cache
def _around(spans):
    """Starts and ends of the windows of a week, and of those before and after that reach into it or are next; by grid, how many ended."""
    first, last = np.array([(spans[-1][0] - WEEK, spans[-1][1] - WEEK), *spans, *((a + WEEK, b + WEEK) for a, b in spans)]).T
    return first, last, *_passed(last, WEEK)


def _passed(moments, end):
    """The widest grid that all of rising moments lie on, and how many of them are there or before from each of its cells up to an end.

    So that a search is a look at a table, many times as fast.
    """
    grid = int(np.gcd.reduce([*moments, end]))
    return grid, np.searchsorted(moments, np.arange(0, end, grid), side="right")


class OpenWeek:
    """Open time of a week that repeats."""

    def __init__(self, spans):
        self.spans, self.longest = spans, max(end - start for start, end in spans)  # [s]
        self.always = self.longest >= WEEK
        parts = [part for a, b in spans for part in ([(a, b)] if b <= WEEK else [(0, b - WEEK), (a, WEEK)])]
        starts, ends = np.array(sorted(parts)).T
        passed = np.cumsum(ends - starts)
        self.week = passed[-1]  # [s]
        self._begun, self._worked = _passed(starts, WEEK), _passed(passed, self.week)
        self._by_end = np.append(0, ends), np.append(0, passed)
        self._closed = ends - passed  # closed time of the week before the end of each window

    def fit(self, moment, length):
        """Earliest start at which work fits one window. [s]"""
        return moment if self.always else fit(moment, length, self.spans)

    def until(self, moment):
        """Open seconds before a moment."""
        week, (grid, begun) = moment // WEEK, self._begun
        phase = moment - week * WEEK
        ends, passed = (by_end.take(begun.take(phase // grid)) for by_end in self._by_end)
        return week * self.week + passed + np.minimum(phase - ends, 0)

    def end(self, moment, work):
        """When so many open seconds have passed since a moment. [s]"""
        last, (grid, ended) = self.until(moment) + work - 1, self._worked
        week = last // self.week
        last = last - week * self.week
        return week * WEEK + last + 1 + self._closed.take(ended.take(last // grid))
