"""Equipment that there is."""

import re
from collections import Counter
from difflib import get_close_matches

import pandas as pd

from ..ledger import place_of
from ..ledger.logs import plain
from ..study import STUDY_FILE


def owned(study, last, *, alike=False):
    """Equipment that a study had by a day: purchases first, then what only the study file has; with `alike` purchases of nearly the name of
    what the study file has are that, have its name, and share what the file says that it brings.

    Yields item, where it stands, day it was bought (None: not known), cost and resale [money], useful life [year] (None: not
    known), and a note that begins with a semicolon or is empty.
    """
    stated = {plain(name): (name, entry) for name, entry in study.file.equipment.items()}
    same = {plain(item): plain(name) for name in study.file.equipment if alike for item in bought_as(study, name)}
    parts = Counter(same.values())
    frame, seen = study.records.get("purchases"), set()
    for label, row in frame[frame.kind == "equipment"].iterrows() if frame is not None else ():
        name, bought = same.get(plain(row["item"]), plain(row["item"])), row.date.date()
        seen.add(name)
        if bought > last:
            continue
        known, entry = stated.get(name, (row["item"], None))
        life = row.useful_years if pd.notna(row.useful_years) else entry.life.value if entry else None
        resale = row.resale if pd.notna(row.resale) else entry.resale.value / max(parts[name], 1) if entry else 0.0
        file, at = place_of(study.reading, "purchases", label)
        note = "; resale above cost" if resale > row.paid else ""
        yield known if alike else row["item"], f"{file} row {at}", bought, row.paid, resale, life, note
    for key, (name, entry) in stated.items():
        if key not in seen and (entry.bought is None or entry.bought <= last):
            note = "; resale above cost" if entry.resale.value > entry.price.value else ""
            yield name, STUDY_FILE, entry.bought, entry.price.value, entry.resale.value, entry.life.value, note


def doubt_of(study, name):
    """Why what the study file says of a piece of equipment proves no purchase, nothing where it states a price as paid and no purchase has nearly
    its name: words with the remedy."""
    entry, stated = study.file.equipment[name], study.raw["equipment"][name]["price"]
    guess = entry.price.distribution is not None or (isinstance(stated, dict) and stated.get("basis") == "guess")
    doubts = ["a guess, not what was paid"] if guess else []
    if like := bought_as(study, name):
        right = "give both one name, or say when this one was bought (bought = 2026-03-01)"
        doubts.append(f"like {' and '.join(map(repr, like))} of the purchases: {right}")
    return "; ".join(doubts)


def bought_as(study, name):
    """Purchases that have nearly the name of a piece of equipment without a day of its own, nearer than that of any other, and the name of none."""
    frame, named = study.records.get("purchases"), {plain(one) for one in study.file.equipment}
    words = [_words(one) for one, entry in study.file.equipment.items() if not entry.bought]
    items = [] if frame is None else dict.fromkeys(frame["item"][frame.kind == "equipment"])
    return [item for item in items if plain(item) not in named and get_close_matches(_words(item), words, n=1) == [_words(name)]]


def _words(name):
    """Words of a name in one order."""
    return " ".join(sorted(set(re.findall(r"\w+", plain(name).replace("_", " "))) - {"and"}))
