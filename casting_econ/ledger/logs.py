"""The logs, their columns, and what a cell of each kind may hold."""

import re
import unicodedata
from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache
from typing import Any


@dataclass(frozen=True, kw_only=True)
class Kind:
    """What a number in a column may be; limits far beyond any workshop, so that no figure overflows."""

    words: str
    low: float = 0.0
    high: float = 1e9
    unit: str = ""  # that the frame holds; "" for counts and money
    whole: bool = False
    money: bool = False


NUMBERS = {
    "whole": Kind(words="a whole number of zero or more", whole=True),
    "positive": Kind(words="a number above zero", low=1e-9),
    "quantity": Kind(words="a number above zero, with or without a unit", low=1e-9),
    "minutes": Kind(
        words="minutes above zero and at most the 1440 of a day; a row of several days says `until` or `days`",
        low=1e-9,
        high=1440.0,
        unit="minute",
    ),
    "days": Kind(words="whole days from 1 to 366", low=1.0, high=366.0, whole=True),
    "more_minutes": Kind(words="minutes, zero or more", unit="minute"),
    "hours": Kind(words="hours, zero or more", unit="hour"),
    "mass": Kind(words="a mass of zero or more, in grams if no unit is given", unit="gram"),
    "temperature": Kind(words="degrees Celsius between -30 and 60", low=-30.0, high=60.0, unit="degC"),
    "distance": Kind(words="a distance above zero, in km if no unit is given", low=1e-9, unit="kilometer"),
    "years": Kind(words="years above zero", low=1e-9, unit="year"),
    "money": Kind(words="money of zero or more", money=True),
    "price": Kind(words="money above zero", low=1e-9, money=True),
    "refund": Kind(words="money paid back, or owed and never paid", money=True),
}
_WORDS = {
    "fate": ("scrap", "rework", "second"),
    "sale": ("sale", "replacement", "sample", "gift", "nothing"),  # the last says that by its day none came
    "purchase": ("material", "consumable", "equipment", "overhead"),
    "yes_no": ("yes", "no"),
    "sold": ("yes", "no", "unknown"),
}
FREE = "free"  # text that nothing is looked up by
# log -> its columns, each with its kind; ! marks the ones it needs
_COLUMNS = {
    "timesheet": "date!:date step!:text minutes!:minutes product:text pieces_handled:whole pieces_passed:whole "
    "until:date days:days order:id note:free",
    "batches": "batch!:id date!:date product!:text station:text moulds:id casts!:whole good!:whole mixed_mass_g:mass "
    "checked:date room_c:temperature cure_h:hours order:id note:free",
    "faults": "date!:date batch:id product:text step!:text cause!:text pieces!:whole fate!:fate extra_minutes:more_minutes",
    "moulds": "mould!:id product!:text cavities!:whole made!:date material_g:mass minutes:more_minutes retired:date "
    "casts_at_retirement:whole reason:free",
    "purchases": "date!:date item!:text kind!:purchase quantity!:quantity unit:text paid!:money tax_included:yes_no "
    "useful_years:years resale:money order:id",
    "sales": "date!:date order:id channel!:text product!:text pieces!:whole price!:money postage_charged:money "
    "postage_paid:money packaging:money fees:money refund:refund kind:sale buyers:whole",
    "prices_seen": "date!:date place!:text description!:free pieces!:positive price!:price sold:sold",
    "stock_count": "date!:date item!:text quantity!:quantity unit:text stage:text note:free",
    "mileage": "date!:date purpose!:free distance_km!:distance note:free",
}
UNIQUE = {"batches": "batch", "moulds": "mould"}
OPEN = {"batches": "good"}  # needed column that stays blank until an event is over
IDS = {"batches": "batch", "moulds": "mould", "sales": "order"}  # what makes two rows the same event


LOGS: dict[str, dict[str, tuple[str | tuple[str, ...], bool]]] = {
    log: {name.rstrip("!"): (_WORDS.get(kind, kind), name.endswith("!")) for name, kind in re.findall(r"(\S+):(\S+)", columns)}
    for log, columns in _COLUMNS.items()
}


def days_of(frame: Any) -> Any:
    """Days that each row of a timesheet is about: as stated, else from its date to the day until which it runs, else one. [day]"""
    if not frame.until.notna().any() and not frame.days.notna().any():  # as in most
        return frame.days.fillna(1.0)
    return frame.days.fillna((frame.until - frame.date).dt.days + 1.0).fillna(1.0).clip(lower=1.0)


def last_day_of(frame: Any) -> Any:
    """Day on which what each row of a timesheet is about was over."""
    return frame.until.fillna(frame.date + (days_of(frame) - 1.0) * timedelta(days=1))


def buyers_of(frame: Any) -> Any:
    """Buyers, each with an order, that a row of the sales log stands for: as stated, else one. [order]"""
    buyers = frame.buyers.fillna(1.0)
    return buyers if (buyers % 1 != 0).any() else buyers.astype("int64")


def in_words(kind: str | tuple[str, ...]) -> str:
    """What a cell of a kind should be, for a fault."""
    if isinstance(kind, tuple):
        return f"one of {', '.join(kind)}"
    return {"date": "a date such as 2025-04-03"}.get(kind) or (NUMBERS[kind].words if kind in NUMBERS else "some text")


@lru_cache(maxsize=8192, typed=True)  # of every cell that may be a header, for every log
def plain(name: object) -> str:
    """A name as it is compared: small letters, spaces and underscores alike, accents in one form."""
    text = unicodedata.normalize("NFC", str(name)).strip().casefold()
    return re.sub(r"[\s_\u00a0]+", "_", re.sub(r"[?.:°*]", " ", text)).strip("_")


def log_named(name: str) -> str | None:
    """The log that a file or sheet of this name is: the same name, or beginning with it."""
    text = plain(name)
    return next((log for log in LOGS if text.startswith(log) and not text[len(log) :][:1].isalpha()), None)
