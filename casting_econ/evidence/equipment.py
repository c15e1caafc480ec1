"""Equipment: what there is, and what of its cost falls on a period."""

import pandas as pd

from ..ledger import place_of
from ..ledger.logs import plain
from ..models.money import yearly_charge


def straight_line(price, resale, life_years, months):
    """What equipment has been charged after some months in use, straight line; never more than price - resale. [money]

    `price` and `resale` are what it cost and what it still brings at the end [money], `life_years` is above zero [year], and
    `months` counts those begun since it was bought, the month of purchase in them [month]. ValueError for a price, resale or
    life out of range.

    A patent of 5,100 over 17 years, bought in April of a calendar year, is charged 225 in the first and 300 in the
    next (IRS Publication 946, from memory):

    >>> straight_line(5100, 0, 17, 9), straight_line(5100, 0, 17, 21) - straight_line(5100, 0, 17, 9)
    (225.0, 300.0)
    """
    return float(yearly_charge(price, resale, life_years)) * min(max(months, 0) / 12, life_years)


def owned(study, last):
    """Equipment that a study had by a day: purchases first, then what only the study file has.

    Yields item, where it stands, day it was bought (None: not known), cost and resale [money], useful life [year] (None: not
    known), and a note that begins with a semicolon or is empty.
    """
    stated = {plain(name): (name, entry) for name, entry in study.file.equipment.items()}
    frame, seen = study.records.get("purchases"), set()
    for label, row in frame[frame.kind == "equipment"].iterrows() if frame is not None else ():
        name, bought = plain(row["item"]), row.date.date()
        seen.add(name)
        if bought > last:
            continue
        entry = stated.get(name, (None, None))[1]
        life = row.useful_years if pd.notna(row.useful_years) else entry.life.value if entry else None
        resale = row.resale if pd.notna(row.resale) else entry.resale.value if entry else 0.0
        file, at = place_of(study.reading, "purchases", label)
        note = "; resale above cost" if resale > row.paid else ""
        yield row["item"], f"{file} row {at}", bought, row.paid, resale, life, note
    for key, (name, entry) in stated.items():
        if key not in seen and (entry.bought is None or entry.bought <= last):
            note = "; resale above cost" if entry.resale.value > entry.price.value else ""
            yield name, "study.toml", entry.bought, entry.price.value, entry.resale.value, entry.life.value, note
