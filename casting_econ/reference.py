"""Dated reference tables that travel with the kit, and where the kit keeps its files."""

import tomllib
from functools import cache
from pathlib import Path

import pandas as pd

from .models.tax import TaxPart, TaxScheme

__all__ = ["cautions", "kit_folder", "quote_words", "taxes", "wages", "words"]


def kit_folder(name: str) -> Path:
    """Folder `notebooks` or `data` of the kit: beside the package in a clone, inside it when installed; FileNotFoundError without one."""
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


@cache
def words(of: str) -> dict[str, dict]:
    """Words that the kit says or looks for, which are data: of a `fault`, `people`, a `quote` or a `result`."""
    return tomllib.loads((kit_folder("data") / "reference" / f"{of}-words.toml").read_text(encoding="utf-8"))


def quote_words() -> dict[str, dict[str, str]]:
    """Phrases of the quote by language code."""
    return words("quote")


@cache
def taxes() -> dict[str, TaxScheme]:
    """Contributions and income tax by id, such as 'uk-2025', each part with its source and status."""
    read = tomllib.loads((kit_folder("data") / "reference" / "taxes.toml").read_text(encoding="utf-8"))
    schemes = {}
    for name, table in read.items():
        parts = [part | {"bands": tuple(tuple(band) for band in part["bands"])} for part in table.pop("parts")]
        schemes[name] = TaxScheme(name=name, parts=tuple(TaxPart(**part) for part in parts), **table)
    return schemes
