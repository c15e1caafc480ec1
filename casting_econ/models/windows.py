"""Open time: when the workshop is open, and when so much of it has passed."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

__all__ = ["DAY", "NEVER", "Calendar", "open_seconds_after"]

DAY = 86_400  # [s]
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
