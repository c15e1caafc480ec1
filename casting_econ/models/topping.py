"""Count, then top up: cast a round, count what is good, cast what is short, again until nothing is."""

from dataclasses import dataclass

import numpy as np

from .checks import checked, checked_share, checked_whole

MOST_ROUNDS = 12  # what is short after them stays short, which hardly any draw has where half of the casts are good


@dataclass(frozen=True, kw_only=True)
class ToppedUp:
    """Casts of R rounds of I colours in D draws."""

    casts: np.ndarray  # shape (R, D, I) [cast]
    short: np.ndarray  # after the last round; shape (D, I) [piece or set]

    @property
    def total(self) -> np.ndarray:
        """Casts of all rounds; shape (D,). [cast]"""
        return self.casts.sum(axis=(0, 2))

    @property
    def rounds(self) -> np.ndarray:
        """Rounds in which anything is cast; shape (D,). [round]"""
        return self.casts.any(axis=2).sum(axis=0)

    def total_at(self, chance: float) -> int:
        """Casts that are enough with a chance. [cast]"""
        return int(np.quantile(self.total, chance, method="inverted_cdf"))

    def within(self, rounds: int) -> float:
        """Chance that nothing is short after so many rounds. [-]"""
        return float(((self.rounds <= rounds) & ~self.short.any(axis=1)).mean())


def top_up_casts(short, good_share, set_size=1):
    """Casts of a round that tops up: what is short over the good share, and one more where a cast can fail. [cast]

    `short` are good pieces, or full sets where `set_size` is above 1, still wanted; at or below zero none are [piece or set]. The share
    of casts that ends good, as far as the maker knows, is above 0 [-]; pieces of a set must match, so come from one load [piece/set].
    ValueError outside these ranges.

    >>> top_up_casts([4, 1, 0], 0.86).tolist(), int(top_up_casts(4, 1.0))
    ([6, 3, 0], 4)
    """
    share = checked_share("good share", good_share, above=0.0)
    pieces = np.asarray(short) * checked_whole("set size", set_size, low=1)
    return np.where(pieces > 0, np.ceil(pieces / share - 1e-9).astype(int) + (share < 1.0), 0)


def first_casts(short, casts_per_load, good_share, set_size=1):
    """Casts of the first round: as many full loads as the pieces need, but not more than would be topped up. [cast]

    `casts_per_load` is that of a full load [cast/load], the others as in `top_up_casts`; ValueError if one is outside its range.

    One load of 36 for thirty, two of 20 for 35, and for three no more than they are likely to take.

    >>> [int(first_casts(n, load, 0.86)) for n, load in ((30, 36), (35, 20), (3, 36))]
    [36, 40, 5]
    """
    full, size = checked_whole("casts per load", casts_per_load, low=1), checked_whole("set size", set_size, low=1)
    whole = checked("sets in a load", full // size, low=1)
    loads = np.ceil(np.maximum(short, 0) / whole).astype(int)
    return np.minimum(loads * full, top_up_casts(short, good_share, size))


def top_up(short, now, outcome, good_share, set_size=1):
    """Follow the rule until nothing is short; ValueError if an input is outside its range.

    `short` are good pieces or sets wanted before the first round, what loads under way will give taken off, shape (draws, colours)
    [piece or set]; `now` the casts of the first round, shape (colours,), the same in every draw since nothing is counted yet [cast].
    `outcome` takes the casts of a round, shape (draws, colours), and gives the good pieces or sets that come of them. The others are
    those of `top_up_casts`.

    Every second cast is good, and the maker knows it: four wanted, eight cast, and so on.

    >>> found = top_up([[4]], [6], lambda casts: casts // 2, 0.5)
    >>> found.casts[:, 0, 0].tolist(), found.within(1), found.within(2)
    ([6, 3], 0.0, 1.0)
    """
    short = np.asarray(short)
    due, rounds = np.broadcast_to(np.asarray(now), short.shape), []
    while not rounds or (due.any() and len(rounds) < MOST_ROUNDS):
        short = np.maximum(short - (outcome(due) if due.any() else 0), 0)
        rounds.append(due)
        due = top_up_casts(short, good_share, set_size)
    return ToppedUp(casts=np.stack(rounds), short=short)
