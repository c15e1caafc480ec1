"""Equipment that there is."""

import pandas as pd

from ..ledger import place_of
from ..ledger.logs import plain


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
