"""Which of its stations a load goes into, and how large it is, where they differ in size."""

import numpy as np

__all__ = ["load_sizes", "pools", "slots_of"]


def load_sizes(file, product: str, most: int | None = None) -> tuple[int, ...]:
    """Casts of full loads in turn, the largest first: each as many as its pot holds, at most those of a load. [cast/load]

    `most` limits them further, as where fewer moulds are there; one size where all pots are alike.
    """
    entry = file.products[product]
    most = int(entry.casts_per_load.value) if most is None else most
    step = entry.steps.get(entry.first_wait)
    station = None if step is None or step.load_size is not None else file.stations.get(step.wait_in)
    sizes = () if station is None else station.sizes
    return tuple(sorted((min(most, size) for size in sizes), reverse=True)) or (most,)


def slots_of(name: str, entry, load_size: float | None = None, casts: int = 1, more: int = 0) -> dict[str, int]:
    """Loads that each pot of a station holds at once where pots differ, or the station as a whole; `more` are as large as the largest.

    A step that puts more pieces together than a load has holds several loads.
    """

    def loads(places=np.inf):
        return 1 if load_size is None else max(int(min(load_size, places) // casts), 1)

    if not entry.sizes:
        return {name: int(entry.count.value) * loads() + more}
    return {f"{name} {n}": loads(places) for n, places in enumerate(_places(entry, more), 1)}


def pools(stations: list[str | None], sizes, slots: dict[str, int], entries) -> np.ndarray:
    """Which of `slots` each load takes at each stage, -1 none; shape (L, K).

    Parameters
    ----------
    stations : list of str or None
        Station of each stage.
    sizes : sequence of int
        Pieces that each load puts into it; one without any is left out of the turns. [piece]
    slots : dict of str to int
        As `slots_of` gives them, of all stations.
    entries : dict of str to StationEntry
        Stations of the study.

    Returns
    -------
    ndarray
        Of the pots that hold a load, the one that has had the fewest; the smallest of several.
    """
    names, columns = list(slots), []
    for name in stations:
        if name is None or name in slots:
            columns.append([-1 if name is None else names.index(name)] * len(sizes))
            continue
        here = [names.index(slot) for slot in names if slot.rpartition(" ")[0] == name]
        rooms = _places(entries[name], len(here) - len(entries[name].sizes))
        columns.append([here[pot] for pot in _in_turn(sizes, rooms)])
    return np.array(columns, np.int64).reshape(len(stations), len(sizes)).T


def _places(entry, more):
    return (*entry.sizes, *(max(entry.sizes),) * more)


def _in_turn(sizes, rooms):
    had, found = [0] * len(rooms), []
    for size in sizes:
        fits = [pot for pot, room in enumerate(rooms) if room >= size] or [rooms.index(max(rooms))]
        pot = min(fits, key=lambda pot: (had[pot], rooms[pot]))
        had[pot] += bool(size)
        found.append(pot)
    return found
