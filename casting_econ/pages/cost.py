"""The cost page: what a good piece costs, and where scrap costs most."""

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from ..charts import bars
from ..evidence import own_faults
from ..formatting import Format
from ..kit import OpenStudy, format_of
from ..palette import BLUE, GREY, ORANGE
from ..reference import tables
from .table import shown

CARRIED = ("overhead", "equipment", "weekly hours")  # kinds of cost that the whole year bears
NOT_SAID = "not said"  # cause of what a step without causes does not pass


def cost_bars(frame: pd.DataFrame, fmt: Format) -> Figure:
    """Cost of one good piece by kind."""
    labour = frame.kind.str.startswith("labour")
    colours = np.where(labour, ORANGE, np.where(frame.kind.isin(CARRIED), GREY, BLUE))
    below = f"{fmt.currency} a good piece (blue: things; orange: making; grey: the year)"
    return bars(frame, "kind", "cost", below, fmt.money, colours=colours)


@shown("cost-{product}", "Cost of one good {product}, labour at the target", "kind: text; cost: money; share: percent")
def cost_table(kit: OpenStudy, product: str) -> pd.DataFrame:
    """Cost of one good piece by kind, labour at the target. [money/piece]"""
    kinds = kit.point().products[product]["cost_by_kind"]
    frame = pd.DataFrame({"kind": list(kinds), "cost": [float(value) for value in kinds.values()]})
    return frame.assign(share=frame.cost / frame.cost.sum())


@shown(
    "scrap-money-{product}",
    "Scrap of {product} by the step that finds it",
    "found at: text; cause: text; money a year: money0; pieces a year: 0; spent by then: money; got back: money; rank by pieces: 0",
)
def scrap_money(kit: OpenStudy, product: str) -> pd.DataFrame:
    """Pieces and money lost a year by step and cause; causes share their step's loss by their weights. [piece/year, money/piece, money/year]

    Weights come from the faults log where it has this step, from the study file otherwise.
    """
    found, faults = kit.point().products[product], kit.study.records.get("faults")
    steps = {step.name: step for step in kit.inputs().product(product).steps}
    ours = None if faults is None else own_faults(kit.study, product, faults)
    rows = []
    for step in found["piece"].steps:
        if step.scrapped <= 0:
            continue
        weights = dict(steps[step.name].causes) or {NOT_SAID: 1.0}
        if faults is not None:
            mine = faults[(faults.step == step.name) & (faults.fate != "rework") & ours]
            weights = mine.groupby("cause").pieces.sum().to_dict() or weights
        for cause, weight in weights.items():
            pieces = found["made_per_year"] * step.scrapped * weight / sum(weights.values())
            spent, back = float(step.spent_when_found), float(step.recovered)
            rows.append((step.name, cause, float(pieces * (spent - back)), float(pieces), spent, back))
    frame = pd.DataFrame(rows, columns=["found at", "cause", "money a year", "pieces a year", "spent by then", "got back"])
    frame["rank by pieces"] = frame["pieces a year"].rank(ascending=False, method="min").astype(int)
    return frame.sort_values("money a year", ascending=False, ignore_index=True)


def cost_sentence(kit: OpenStudy) -> str:
    """Cost, casts and minutes of a good piece, by product."""
    fmt, rows = format_of(kit), []
    for name, found in kit.point().products.items():
        rows.append(
            f"A good **{name}** takes {fmt.number(found['casts_per_good_piece'], 2)} casts and {fmt.number(found['minutes_per_good_piece'], 1)} minutes "
            f"of making, mould making in it, uses {fmt.money(found['material_per_good_piece'])} of material, consumables and moulds, and costs "
            f"{fmt.money(found['cost_per_good_piece'])} in all before it is sold; {fmt.money(found['scrap_cost_per_good_piece'])} of that is scrap."
        )
    return "\n\n".join(rows)


def _lost_by(row, lost):
    """A cause of scrap, with its step where several find it, or the step where no causes are given."""
    if row.cause == NOT_SAID:
        return f"**{row['found at']}** (no causes given)"
    return f"**{row.cause}**" + (f" at {row['found at']}" if (lost.cause == row.cause).sum() > 1 else "")


def _guessed(kit, name):
    """That how causes share a step's loss is a template's, where any are and no log counts them."""
    crafts = [table for table in tables("crafts").values() if isinstance(table, dict)]
    known = [step.get("causes") for craft in crafts for step in craft.get("steps", ())]
    faults, steps = kit.study.records.get("faults"), kit.study.file.products[name].steps.items()
    counted = set() if faults is None else set(faults.step[own_faults(kit.study, name, faults) & (faults.fate != "rework")])
    taken = any(step.causes and step.causes in known and key not in counted for key, step in steps)
    return " How its causes share the loss is a guess of the trade; a faults log counts them." if taken else ""


def scrap_order(kit: OpenStudy) -> str:
    """Whether money ranks the causes of scrap as their count does."""
    fmt, rows = format_of(kit), []
    for name in kit.study.file.products:
        lost = scrap_money(kit, name)
        if lost.empty:
            rows.append(f"Nothing of {name} is scrapped in this study.")
            continue
        if lost["money a year"].max() < 0.5:  # a rank of what is all written as nothing
            rows.append(f"Scrap of {name} takes less than {fmt.money(1, 0)} a year, so no cause of it stands out.")
            continue
        first, most = lost.iloc[0], lost.sort_values("pieces a year", ascending=False, kind="stable").iloc[0]
        if first.name == most.name:
            text = f"Most pieces of {name} and most money are lost to {_lost_by(first, lost)}: {fmt.money(first['money a year'], 0)} a year."
        else:
            text = (
                f"Most pieces of {name} are lost to {_lost_by(most, lost)} ({fmt.number(most['pieces a year'])} a year), but most money to {_lost_by(first, lost)} "
                f"({fmt.money(first['money a year'], 0)} against {fmt.money(most['money a year'], 0)}), because it is found later."
            )
        moved = (lost["rank by pieces"].to_numpy() != lost["money a year"].rank(ascending=False, method="min").to_numpy()).sum()
        place = f" {moved} of {len(lost)} causes change place when money is counted instead of pieces."
        rows.append(text + (place if moved else "") + _guessed(kit, name))
    return "\n\n".join(rows)
