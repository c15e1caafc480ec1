"""Which of its stations a load goes into, where they differ in size."""

import numpy as np

from ..study.stations import pot_name


def slots_of(name: str, entry, load_size: float | None = None, casts: int = 1, more: int = 0) -> dict[str, int]:
    """Loads that each pot of a station holds at once where pots differ, or the station as a whole; `more` are as large as the largest.

    A step that puts more pieces together than a load has holds several loads.
    """

    def loads(places=np.inf):
        return 1 if load_size is None else max(int(min(load_size, places) // casts), 1)

    if not entry.sizes:
        return {name: int(entry.count.value) * loads() + more}
    return {pot_name(name, n): loads(places) for n, places in enumerate(_places(entry, more), 1)}


def pools(stations: list[str | None], sizes, slots: dict[str, int], entries, known=None) -> np.ndarray:
    """Which of `slots` (as `slots_of` gives them, of all stations) each load takes at each stage, -1 none; shape (L, K).

    `stations` has that of each stage, `sizes` the places that each load takes, shape (L,), or at each stage, shape (K, L) [place]; one that
    takes none is left out of the turns. `entries` has the stations of the study, `known` by load the pot that it is in, as the log has it.
    Of the pots that hold a load it is the one that has had the fewest; the smallest of several.
    """
    names, columns = list(slots), []
    for name, takes in zip(stations, np.broadcast_to(sizes, (len(stations), np.shape(sizes)[-1])).tolist(), strict=True):
        if name is None or name in slots:
            columns.append([-1 if name is None else names.index(name)] * len(takes))
            continue
        here = [names.index(slot) for slot in names if slot.rpartition(" ")[0] == name]
        rooms = _places(entries[name], len(here) - len(entries[name].sizes))
        ours = [names[place] for place in here]
        fixed = {load: ours.index(slot) for load, slot in (known or {}).items() if slot in ours}
        columns.append([here[pot] for pot in _in_turn(takes, rooms, fixed)])
    return np.array(columns, np.int64).reshape(len(stations), np.shape(sizes)[-1]).T


def _places(entry, more):
    return (*entry.sizes, *(max(entry.sizes),) * more)


def _in_turn(sizes, rooms, fixed):
    had, found = [0] * len(rooms), []
    for load, size in enumerate(sizes):
        fits = [pot for pot, room in enumerate(rooms) if room >= size] or [rooms.index(max(rooms))]
        pot = fixed.get(load, min(fits, key=lambda pot: (had[pot], rooms[pot])))
        had[pot] += bool(size)
        found.append(pot)
    return found
