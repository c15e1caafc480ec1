"""The records page: whether changes that the study file marks have helped."""

import numpy as np
import pandas as pd

from ..evidence.changes import BeforeAfter, before_and_after
from ..kit import OpenStudy, format_of, grid
from ..models import beyond_target
from ..models.levers import with_levers
from .table import shown

_BETTER, _WORSE = 0.9, 0.1  # chance from which on a change is said to have helped, or not to have
_CAUTION = (
    "Before and after is no trial: whatever else changed in the same weeks, practice among it, is in these differences too."
)


@shown(
    "records-changes",
    "Before and after each change: the difference with its middle eight in ten, the chance that it is better, and what it is worth a year",
    "change: text; from: text; of: text; before: significant; after: significant; difference: significant; low: significant; "
    "high: significant; chance better: chance; money a year: money0; low a year: money0; high a year: money0; rows: text; name: kept",
)
def change_rows(kit: OpenStudy) -> pd.DataFrame:
    """Each marked change and each quantity that the logs hold on either side of it; empty where no change is marked. [-, min/piece, money/piece, money/year]"""
    rows = []
    for name, entry in kit.study.file.changes.items():
        for told in before_and_after(kit.study, name):
            worth = [yearly_worth(kit, told, by) for by in (told.after - told.before, told.low, told.high)]
            of = f"{told.product}: {told.what}" + (f" {'in' if told.what == 'price' else 'of'} {told.at}" if told.at else "")
            numbers = [told.before, told.after, told.after - told.before, told.low, told.high, told.better]
            low, high = sorted(worth[1:]) if worth[1] == worth[1] else (np.nan, np.nan)
            kept = f"{told.rows[0]} before, {told.rows[1]} after"
            rows.append((entry.what, f"{entry.date:%Y-%m-%d}", of, *numbers, worth[0], low, high, kept, name))
    return rows


def yearly_worth(kit: OpenStudy, told: BeforeAfter, by: float) -> float:
    """What a difference is worth a year at the point, own hours at the target; nan for no difference known. [money/year]

    Shares take the place of the yield, or of the step's part in it; minutes are those of all pieces that enter the step in a year; a
    price counts for all pieces sold in its channel, before fees.
    """
    if by != by:
        return float("nan")
    found, a = kit.point().products[told.product], kit.inputs()
    if told.what == "pass share":
        step = next((step for step in a.product(told.product).steps if step.name == told.at), None)
        rest = 1.0 if step is None else float(found["yield"]) / float(step.pass_share)  # of the routing, beside the step
        shares = rest * np.array([told.before, told.before + by])
        scrap = 1.0 - np.clip(shares, 0.02, 1.0)
        lost = beyond_target(with_levers(a, product=told.product, scrap=scrap), grid(kit, scrap, product=told.product))
        return float(lost[1] - lost[0])
    if told.what == "minutes":
        entering = next(step.entering for step in found["piece"].steps if step.name == told.at) * found["made_per_year"]
        return float(-by * entering * a.target_per_hour / 60.0)
    return float(by * kit.point().channels[told.at]["pieces"])


def change_sentences(kit: OpenStudy) -> str:
    """Whether each change has helped, no surer than the rows are; nothing where no change is marked."""
    table, fmt, said = change_rows(kit), format_of(kit), []
    if not kit.study.file.changes:
        return ""
    for name, entry in kit.study.file.changes.items():
        parts = [_sentence(row, fmt) for row in table[table.name == name].to_dict("records")]
        body = " ".join(parts) if parts else "The logs hold nothing on either side of it that it could have moved."
        said.append(f"**{entry.what}** ({name}, from {entry.date:%Y-%m-%d}). {body}")
    luck = f" Of {len(table)} lines about one in ten looks better, and one in ten worse, by luck alone." if len(table) > 1 else ""
    return "\n\n".join(["## Did the change help?", *said, _CAUTION + luck])


def _sentence(row, fmt):
    of, better = row["of"], row["chance better"]
    if better != better:
        return f"{of[:1].upper()}{of[1:]}: nothing to hold it against yet ({row['rows']})."
    ways = {"pass share": fmt.percent, "price": fmt.money, "minutes": lambda number: f"{fmt.significant(number)} min"}
    write = next(way for what, way in ways.items() if f": {what}" in of)
    moved = f"from {write(row['before'])} to {write(row['after'])}"
    verb = "**is better**" if better >= _BETTER else "**is worse**" if better <= _WORSE else "may be better or worse"
    worth = f"about {fmt.money(row['money a year'], 0)} a year ({fmt.money(row['low a year'], 0)} to {fmt.money(row['high a year'], 0)})"
    return f"{of[:1].upper()}{of[1:]} went {moved} and {verb}: the chance that it is better is {fmt.chance(better)}, its worth {worth} ({row['rows']})."
