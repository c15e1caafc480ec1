"""Dated reference tables that travel with the kit, and where the kit keeps its files."""

from functools import cache
from pathlib import Path

import pandas as pd

__all__ = ["cautions", "kit_folder", "wages"]


def kit_folder(name: str) -> Path:
    """Folder `notebooks` or `data` of the kit: beside the package in a clone, inside it when installed."""
    package = Path(__file__).resolve().parent
    for place in (package / "_kit" / name, package.parent / name):
        if place.is_dir():
            return place
    raise FileNotFoundError(f"the kit's {name} folder is missing; reinstall casting_econ")


@cache
def wages() -> pd.DataFrame:
    """Published wages by id: place, what it is, validity, amount an hour, paid hours a year, source."""
    return pd.read_csv(kit_folder("data") / "reference" / "wages.csv", comment="#").set_index("id")


@cache
def cautions() -> pd.DataFrame:
    """Cautions by craft and hazard, each with the authority behind it."""
    return pd.read_csv(kit_folder("data") / "reference" / "cautions.csv", comment="#", keep_default_na=False)
