"""Tables of the study file for where loads and pieces wait: ovens, kilns and the like, and racks."""

import math
from typing import Any

import numpy as np
from pydantic import model_validator

from .fields import ONE, Node, Places, PlacesOfEach, key, number


class StationEntry(Node):
    """An oven, a kiln or another place; a load waits in it as a whole."""

    count: number(above=0.0, high=200.0, basis="decided", whole=True) = key("how many there are", ONE)
    places: PlacesOfEach | None = key("pieces that find room in each; a list such as [12, 20] where they differ", None)

    @model_validator(mode="before")
    @classmethod
    def _count_of_list(cls, raw: Any) -> Any:
        """A list of places says how many stations there are; where all are alike it says what one number does."""
        places = raw.get("places") if isinstance(raw, dict) else None
        if not isinstance(places, list) or not places:
            return raw
        count = {} if len(places) == 1 else {"count": len(places)}
        alike = len(places) == 1 or (all(one == places[0] for one in places) and raw.get("count", len(places)) == len(places))
        return count | raw | ({"places": places[0]} if alike else {})

    @property
    def sizes(self) -> tuple[int, ...]:
        """Places of each station where they differ; none where they are alike or not given."""
        return self.places if isinstance(self.places, tuple) else ()

    def room(self, *, chosen: bool) -> float:
        """Pieces that find room in the largest one where a load is made for its own, else in any of them."""
        return math.inf if self.places is None else (max if chosen else min)(self.sizes or (self.places.value,))


class RackEntry(Node):
    """A shelf or rack; pieces wait in it one by one."""

    places: Places = key("pieces that find room")


def pot_name(station: str, number: int) -> str:
    """What a log and a plan call one of several that differ in size: 'kiln 2' is the second of the list."""
    return f"{station} {number}"


def whole_moulds(places: float, mould) -> float:
    """Casts that find room in so many places: a mould goes in whole, and takes a place for each of its cavities. [cast]

    >>> from types import SimpleNamespace
    >>> [int(whole_moulds(places, SimpleNamespace(cavities=4))) for places in (14, 6, 3)]
    [12, 4, 0]
    """
    cavities = (mould and mould.cavities) or 1
    return math.inf if math.isinf(places) else places // cavities * cavities


def pot_loads(file, product: str, most=None) -> tuple:
    """Casts of a full load of each pot that holds a mould, in their order; of one where they are alike. [cast/load]

    At most as many as a load has, or as `most` says.
    """
    entry = file.products[product]
    most = entry.casts_per_load.value if most is None else most
    step = entry.steps.get(entry.first_wait)
    station = None if step is None or step.load_size is not None else file.stations.get(step.wait_in)
    rooms = (math.inf,) if station is None else station.sizes or (station.room(chosen=True),)
    return tuple(np.minimum(most, room) for places in rooms if (room := whole_moulds(places, entry.mould)))


def load_sizes(file, product: str, most: int | None = None) -> tuple[int, ...]:
    """Casts of full loads in turn, the largest first: each as many as its pot holds, at most those of a load. [cast/load]

    `most` limits them further, as where fewer moulds are there; one size where all pots are alike.
    """
    return tuple(sorted(map(int, pot_loads(file, product, most)), reverse=True))
