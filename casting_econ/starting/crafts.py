"""Dated starting guesses by craft, as the kit's reference table has them."""

from dataclasses import dataclass
from functools import cache
from typing import Any

from ..reference import tables


@dataclass(frozen=True)
class Guess:
    """A starting guess, and what kind of source is behind it."""

    low: float
    likely: float
    high: float
    kind: str  # a key of `kinds`

    @classmethod
    def of(cls, row: list[Any]) -> "Guess":
        """From a row of the table: low, likely, high, kind."""
        return cls(*(float(figure) for figure in row[:3]), row[3])

    def times(self, factor: float) -> "Guess":
        """The same guess in another unit or currency."""
        return Guess(self.low * factor, self.likely * factor, self.high * factor, self.kind)


@dataclass(frozen=True)
class Craft:
    """One craft: its routing and starting guesses; figures of `table` as the file has them, money in euros."""

    id: str
    name: str
    table: dict[str, Any]

    def guess(self, key: str) -> Guess:
        """The craft's own guess of a key, or the one common to all."""
        return Guess.of(self.table[key])

    @property
    def steps(self) -> list[dict[str, Any]]:
        """The routing of a workshop that runs."""
        return [step for step in self.table["steps"] if not step.get("order")]

    @property
    def mould_steps(self) -> list[dict[str, Any]]:
        """How a mould is made; none where the craft makes none."""
        return self.table.get("mould", {}).get("steps", [])

    @property
    def pots(self) -> str | None:
        """Station that a load cures in, if any."""
        held = next((step.get("wait_in") for step in self.steps if step.get("cure")), None)
        return held if held in self.table.get("stations", {}) else None


@cache
def crafts() -> dict[str, Craft]:
    """Every craft by the name that `craft` of a study has."""
    read = tables("crafts")
    named = {key: table for key, table in read.items() if isinstance(table, dict) and "steps" in table}
    return {key: Craft(id=key, name=table["name"], table=read["common"] | table) for key, table in named.items()}


def kinds() -> dict[str, str]:
    """Kinds of sources, in words, with the date of the table."""
    return {kind: f"{words}, {tables('crafts')['date']}" for kind, words in tables("crafts")["kinds"].items()}


def rough_rates() -> dict[str, float]:
    """Euros to one unit of a currency, rounded. [EUR]"""
    return dict(tables("crafts")["rough_rates"])
