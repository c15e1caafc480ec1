"""Equipment that there is."""

import re
from difflib import get_close_matches

import pandas as pd

from ..ledger import place_of
from ..ledger.logs import plain
from ..study import STUDY_FILE


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
            yield name, STUDY_FILE, entry.bought, entry.price.value, entry.resale.value, entry.life.value, note


def doubt_of(study, name):
    """Why what the study file says of a piece of equipment proves no purchase, nothing where it states a price as paid and no purchase has nearly
    its name: words with the remedy."""
    entry, stated, frame = study.file.equipment[name], study.raw["equipment"][name]["price"], study.records.get("purchases")
    guess = entry.price.distribution is not None or (isinstance(stated, dict) and stated.get("basis") == "guess")
    doubts = ["a guess, not what was paid"] if guess else []
    bought = {} if frame is None else {_words(item): item for item in frame["item"][frame.kind == "equipment"]}
    for like in get_close_matches(_words(name), bought, n=1) if entry.bought is None else ():
        right = "give both one name, or say when this one was bought (bought = 2026-03-01)"
        doubts.append(f"like {bought[like]!r} of the purchases: {right}")
    return "; ".join(doubts)


def _words(name):
    """Words of a name in one order."""
    return " ".join(sorted(set(re.findall(r"\w+", plain(name).replace("_", " "))) - {"and"}))
