"""Moulds from nothing: masters are moulded, copies cast in the first moulds are masters for the next ones."""

import heapq
from dataclasses import dataclass
from math import ceil

import numpy as np

from .checks import checked, checked_share, checked_whole


@dataclass(frozen=True, kw_only=True)
class Round:
    """Loads that are poured side by side, and waited for together."""

    kind: str  # "moulds", or "copies" cast in the moulds that are there
    loads: tuple[int, ...]  # what each load holds [mould or cast]
    cavities: int  # of each of its moulds, fewer than wanted where masters are too few for a whole mould [cast/mould]
    gained: int  # moulds that count as made, or copies that serve as masters [mould or cast]

    @property
    def count(self) -> int:
        """Moulds poured, or copies cast. [mould or cast]"""
        return sum(self.loads)

    @property
    def pours(self) -> int:
        """Loads of it. [load]"""
        return len(self.loads)


@dataclass(frozen=True, kw_only=True)
class MouldMaking:
    """The way to so many moulds that takes the least time."""

    rounds: tuple[Round, ...]
    waiting_hours: float  # cures one after the other, so the time it takes at the least [hour]

    def of(self, kind: str) -> list[Round]:
        """Rounds of moulds, each a generation, or of copies."""
        return [one for one in self.rounds if one.kind == kind]

    def total(self, kind: str, what: str = "count") -> int:
        """Sum over the rounds of moulds, or of copies, of their count, of what is gained, or of their pours. [mould, cast or load]"""
        return sum(getattr(one, what) for one in self.of(kind))

    def hands_on_hours(self, mould_minutes=0.0, pour_minutes=0.0, cast_minutes=0.0, load_minutes=0.0):
        """Hours of hands: minutes of a mould and of a pour of several, of a copy and of a load of them. [hour]"""
        moulds = self.total("moulds") * mould_minutes + self.total("moulds", "pours") * pour_minutes
        return (moulds + self.total("copies") * cast_minutes + self.total("copies", "pours") * load_minutes) / 60.0


def moulds_for_load(casts, cavities):
    """Moulds that so many casts fill at once, the last perhaps in part; ValueError for casts or cavities not above zero. [mould]

    >>> int(moulds_for_load(20, 3))
    7
    """
    return np.ceil(checked("casts", casts, above=0.0) / checked("cavities", cavities, above=0.0) - 1e-9)


def mould_making(moulds, masters, cavities, *, in_hand=0, cure_hours=(24.0, 24.0), good_share=1.0, mould_room=(), copy_room=()):
    """The quickest way from masters to so many moulds, as `MouldMaking`.

    ValueError if an input is outside its range, if there is neither master nor mould to begin with, or no room for a mould.

    Parameters
    ----------
    moulds, in_hand : int
        Wanted in all, and there already. [mould]
    masters : int
        Masters in hand. [cast]
    cavities : int
        Of a mould; each takes one master or copy while the mould is made. [cast/mould]
    cure_hours : tuple of float, optional
        Waits of a pour of moulds, all steps together, and of a load of copies until these are out. [hour]
    good_share : float, optional
        Of copies that are fit to be moulded; parts are left off, but of each round one is. [-]
    mould_room, copy_room : sequence of int, optional
        Moulds, or casts, that find room in each station at once; empty where nothing limits them. [mould, cast]

    Notes
    -----
    A round is waited for before the next begins. Masters are free again once their moulds are made. With fewer masters than
    cavities and no mould, the first mould has as many cavities as there are masters; it gives copies and is not counted.
    Least time first, then fewest rounds, copies and moulds, by Dijkstra's search over (moulds, masters with copies): A note on
    two problems in connexion with graphs, *Numerische Mathematik* 1, 1959, 269–271.

    Examples
    --------
    Three masters, three cavities, two cures of 16 h a mould and 12 h a load of copies: one mould, three copies, two moulds,
    nine copies, and the five moulds that are left.

    >>> made = mould_making(8, 3, 3, cure_hours=(32.0, 12.0))
    >>> [(one.kind, one.count) for one in made.rounds], len(made.of("moulds")), made.total("copies"), made.waiting_hours
    ([('moulds', 1), ('copies', 3), ('moulds', 2), ('copies', 9), ('moulds', 5)], 3, 12, 120.0)
    """
    wanted, masters = checked_whole("moulds", moulds), checked_whole("masters", masters)
    size, there = checked_whole("cavities", cavities, low=1), checked_whole("moulds in hand", in_hand)
    share = checked_share("good share", good_share, above=0.0)
    mould_hours, copy_hours = (checked("cure", hours, low=0.0) for hours in cure_hours)
    rooms = {"moulds": tuple(mould_room) or (wanted,), "copies": tuple(copy_room) or (wanted * size,)}
    if there < wanted and not masters + there:
        raise ValueError("masters must be at least 1 where no mould is there to cast one from; got 0")
    if there < wanted and not sum(rooms["moulds"]):
        raise ValueError(f"the room must hold a mould of {size} cavities; got {tuple(mould_room)}")

    # a state: moulds made, masters with copies, cavities of a first mould that is too small to count
    begin = there, masters, 0
    best, queue = {begin: (0.0, 0, 0, 0)}, [((0.0, 0, 0, 0), begin, 0, 0, ())]
    while queue:
        cost, state, pours, castings, rounds = heapq.heappop(queue)
        made, patterns, first = state
        if made >= wanted:
            return MouldMaking(rounds=rounds, waiting_hours=cost[0])
        if cost > best[state]:
            continue
        for one in _next_rounds(wanted - made, made * size + first, patterns, size, first, share, rooms):
            pour = one.kind == "moulds"
            p, c = pours + pour, castings + (not pour)
            further = p * mould_hours + c * copy_hours, p + c, cost[2] + one.count * (not pour), cost[3] + one.count * pour
            small = one.cavities if pour and not one.gained else first
            after = made + one.gained * pour, patterns + one.gained * (not pour), small
            if further < best.get(after, (np.inf,)):
                best[after] = further
                heapq.heappush(queue, (further, after, p, c, (*rounds, one)))
    raise ValueError(f"no way leads to {wanted} moulds")  # copies without any room


def _next_rounds(missing, capacity, patterns, size, first, share, rooms):
    """What can be poured next: as many moulds as masters allow, or copies for each number of moulds that they would allow."""
    most = min(patterns // size, missing, sum(rooms["moulds"]))
    if most:
        yield Round(kind="moulds", loads=_loads(most, rooms["moulds"]), cavities=size, gained=most)
    elif patterns and not capacity:  # too few masters for a whole mould
        yield Round(kind="moulds", loads=(1,), cavities=patterns, gained=0)
    casts = min(capacity, sum(rooms["copies"]))
    useful = min(missing, sum(rooms["moulds"])) * size - patterns
    if casts <= 0 or useful <= 0:
        return
    good = max(int(casts * share + 1e-9), 1)
    steps = {count * size - patterns for count in range(patterns // size + 1, (patterns + good) // size + 1)}
    for gained in sorted({g for g in steps | {good} if 0 < g <= min(good, useful)} | {min(good, useful)}):
        needed = min(ceil(gained / share - 1e-9), casts)
        yield Round(kind="copies", loads=_loads(needed, rooms["copies"]), cavities=size, gained=gained)


def _loads(count, rooms):
    """So many shared out over stations, the largest first."""
    loads, left = [], count
    for room in sorted(rooms, reverse=True):
        loads.append(min(room, left))
        left -= loads[-1]
    return tuple(load for load in loads if load)
