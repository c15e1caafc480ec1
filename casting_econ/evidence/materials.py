"""Purchases and mixed mass to prices by quantity, what stays in the cup, and what was bought against what was used."""

import numpy as np
import pandas as pd

from ..study import Study
from ..study.consistency import items_of
from ..units import ratio_of_units, ratio_through
from .loads import load_counts, loads_poured
from .market import price_trend


def amount_in(quantity, unit, base, entry, currency):
    """A quantity of a `unit` in the unit `base` of the price, through the density from volume to mass; else nan."""
    try:
        return quantity * ratio_through(unit or "dimensionless", base, currency, entry.density and entry.density.value)
    except ValueError:
        return np.nan


def bought_amounts(study, item, entry, base):
    """Purchases of an item, shape (purchases,): paid [money], and the amount in a base unit, nan where that does not fit."""
    bought = study.records.get("purchases")
    rows = None if bought is None else bought[bought["item"] == item]
    if rows is None or rows.empty:
        return np.empty(0), np.empty(0)
    amounts = [amount_in(q, u, base, entry, study.currency) for q, u in zip(rows.quantity, rows.unit.fillna(""), strict=True)]
    return rows.paid.to_numpy(float), np.array(amounts, float)


def cup_rows(study: Study, product: str, item_key: str):
    """Mixed mass and the mass that should have ended in pieces, by load, for the one item that is weighed into the mix. [gram]

    None where loads have no mixed mass, or several materials with a mass are poured.
    """
    counts, batches = load_counts(study, product), study.records.get("batches")
    if counts is None or batches is None or counts.batches.mixed_mass_g.notna().sum() == 0:
        return None
    steps = study.file.products[product].steps
    poured = []
    for step, entry in steps.items():
        for item, material in entry.materials.items():
            try:
                grams = material.quantity.value * ratio_of_units(material.quantity.unit, "gram", study.currency)
            except ValueError:
                continue
            grams *= study.file.products[product].lots_per_load.value if material.per == "lot" else 1.0
            poured.append((f"products.{product}.steps.{step}.materials.{item}", grams, material.per))
        if entry.wait.value > 0:  # what is added after the first wait is not in the mix
            break
    if [key for key, _, _ in poured] != [item_key]:
        return None
    _, grams, per = poured[0]
    rows = counts.batches[counts.batches.mixed_mass_g > 0]
    needed = grams * (rows.casts.to_numpy(float) if per == "piece" else np.ones(len(rows)))
    return rows.mixed_mass_g.to_numpy(float), needed


def material_table(study: Study) -> pd.DataFrame:
    """What was bought of each material against what the batches used of it in all steps and products, and whether buying more was cheaper.

    Amounts are in the unit of the price, `paid` is money, `cheaper when doubled` a share [-]: nan where purchases cannot tell.
    """
    rows: dict[tuple[str, str], dict] = {}
    for _, product, step, item, entry in items_of(study.file):
        base = entry.price.unit.partition("/")[2]
        paid, amounts = bought_amounts(study, item, entry, base or "dimensionless")
        known = np.isfinite(amounts) & (amounts > 0)
        if not len(paid):
            continue
        used, counts = np.nan, load_counts(study, product)
        if counts is not None and step is not None:
            own, entering = study.file.products[product].steps[step], float(counts.totals.entering[step])
            loads = loads_poured(study, counts.batches) if own.load_size is None else entering / own.load_size.value
            lots = loads * study.file.products[product].lots_per_load.value
            count = {"load": loads, "lot": lots}.get(entry.per, entering * (1 + own.rework_share.value))
            used = count * entry.quantity.value / (1 - entry.loss.value)
        if (item, base) in rows:  # of another step or product, for which the same was bought
            before = rows[item, base]["used by batches"]
            rows[item, base]["used by batches"] = before if np.isnan(used) else np.nansum([before, used])
            continue
        slope, error = price_trend(amounts[known], paid[known])
        rows[item, base] = {
            "material": item,
            "purchases": len(paid),
            "unread": int((~known).sum()),
            "bought": float(amounts[known].sum()),
            "used by batches": float(used),
            "unit": base or "pieces",
            "paid": float(paid.sum()),
            "cheaper when doubled": 1 - 2**slope if np.isfinite(slope) and abs(slope) > 2 * error else np.nan,
        }
    return pd.DataFrame(rows.values())
