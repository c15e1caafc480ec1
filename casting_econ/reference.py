"""Dated reference tables that travel with the kit, and where the kit keeps its files."""

import datetime as dt
import tomllib
from functools import cache
from pathlib import Path

import pandas as pd

from .models.tax import TaxPart, TaxScheme


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


def wages_on(day: dt.date | None) -> pd.DataFrame:
    """Newest published wage of each place and kind that holds from a day or earlier; the newest of all without a day."""
    begun = wages()[wages().valid_from.astype(str) <= str(day or "9999")]
    newest = begun.sort_values("valid_from").groupby(["place", "kind"]).tail(1)
    return begun[begun.index.isin(newest.index)]


def over_a_year_old(valid_from: str | dt.date, today: dt.date | None) -> bool:
    """Whether what holds from a day on, or from some day of a year, is more than a year old on another day; False for no such day.

    Where only the year is known, its last day is taken, so that nothing is called old before it is.

    >>> [over_a_year_old(start, dt.date(2026, 11, 2)) for start in ("2025", "2025-11-01", "2025-11-02")]
    [False, True, False]
    """
    if today is None:
        return False
    start = valid_from if isinstance(valid_from, dt.date) else dt.date.fromisoformat(f"{valid_from}-12-31"[:10])
    return (today.year - start.year, today.month, today.day) > (1, start.month, start.day)


@cache
def cautions() -> pd.DataFrame:
    """Cautions by craft and hazard, each with the authority behind it."""
    return pd.read_csv(kit_folder("data") / "reference" / "cautions.csv", comment="#", keep_default_na=False)


@cache
def tables(name: str) -> dict[str, dict]:
    """Tables of a reference file, such as 'crafts'."""
    return tomllib.loads((kit_folder("data") / "reference" / f"{name}.toml").read_text(encoding="utf-8"))


def words(of: str) -> dict[str, dict]:
    """Words that the kit says or looks for, which are data: of a `column`, a `fault`, `people`, a `quote` or a `result`."""
    return tables(f"{of}-words")


def quote_words() -> dict[str, dict[str, str]]:
    """Phrases of the quote by language code."""
    return words("quote")


@cache
def taxes() -> dict[str, TaxScheme]:
    """Contributions and income tax by id, such as 'uk-2025', each part with its source and status."""
    schemes = {}
    for name, table in tables("taxes").items():
        parts = (TaxPart(**part | {"bands": tuple(tuple(band) for band in part["bands"])}) for part in table["parts"])
        schemes[name] = TaxScheme(name=name, **table | {"parts": tuple(parts)})
    return schemes
