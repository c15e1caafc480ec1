"""results.json: the numbers of a study in a form that is the same bytes for the same study and seed."""

import json
import math
from datetime import date

import numpy as np

from ..formatting import nine_digits
from ..kit import Answer, OpenStudy
from ..models import Outcome

TOTAL_UNITS = {
    "casts_per_year": "cast/year",
    "good_pieces_per_year": "piece/year",
    "pieces_sold_per_year": "piece/year",
    "loads_per_year": "load/year",
    "loads_per_week": "load/week",
    "hours_per_year": "hour/year",
    "make_hours_per_year": "hour/year",
    "order_hours_per_year": "hour/year",
    "stall_hours_per_year": "hour/year",
    "fixed_hours_per_year": "hour/year",
    "ruined_hours_per_year": "hour/year",
    "revenue_per_year": "{money}/year",
    "fees_per_year": "{money}/year",
    "postage_per_year": "{money}/year",
    "packaging_per_year": "{money}/year",
    "refunds_per_year": "{money}/year",
    "stall_fees_per_year": "{money}/year",
    "material_per_year": "{money}/year",
    "ruined_loss_per_year": "{money}/year",
    "overhead_per_year": "{money}/year",
    "equipment_per_year": "{money}/year",
    "residual_pay_per_year": "{money}/year",
    "pay_per_hour": "{money}/hour",
    "pay_per_hour_after_set_aside": "{money}/hour",
    "pay_break_even_share_of_demand": "share",
    "cash_break_even_share_of_demand": "share",
    "pay_break_even_pieces_per_year": "piece/year",
    "cash_break_even_pieces_per_year": "piece/year",
}
_WRITTEN = {"ruined_hours_per_year": "freak_hours_per_year", "ruined_loss_per_year": "freak_loss_per_year"}  # keys of the file
PRODUCT_UNITS = {
    "yield": "share",
    "casts_per_good_piece": "cast/piece",
    "minutes_per_good_piece": "minute/piece",
    "material_per_good_piece": "{money}/piece",
    "cost_per_good_piece": "{money}/piece",
    "scrap_cost_per_good_piece": "{money}/piece",
    "break_even_price": "{money}/piece",
    "cash_break_even_price": "{money}/piece",
}


def results(kit: OpenStudy, answer: Answer) -> dict[str, object]:
    """Everything results.json holds, of a study and its Monte Carlo; None stands for 'no value does' (infinite)."""
    money = kit.study.currency
    units = {name: unit.format(money=money) for name, unit in TOTAL_UNITS.items()}
    units["products"] = {name: unit.format(money=money) for name, unit in PRODUCT_UNITS.items()}
    draws: dict[str, object] = {"n": len(answer.draws["pay_per_hour"]), "seed": kit.study.file.study.seed}
    draws |= {name: answer.summary(name) for name in TOTAL_UNITS}
    draws["products"] = {
        product: {name: answer.summary(f"{product}/{name}") for name in PRODUCT_UNITS} for product in kit.study.file.products
    }
    chances = answer.chances
    came = {name: answer.draws[f"orders/{name}"] for name in kit.study.file.channels}
    units["channels"] = {"orders_per_year": "order/year"}
    draws["channels"] = {name: {"orders_per_year": answer.summary(f"orders/{name}")} for name in came}
    no_order = {name: {"no_order": float(np.mean(orders == 0))} for name, orders in came.items()}
    return {
        "variation": kit.variation,
        "units": units,
        "stated": _point(kit.point(stated=True)),
        "point": _point(kit.point()),
        "draws": draws,
        "chances": {name: found["chance"] for name, found in chances.items()} | {"channels": no_order},
        "chance_errors": {name: found["error"] for name, found in chances.items()},
        "bottleneck": answer.bottleneck,
        "target": {"per_hour": answer.target, "living_per_year": answer.living},
        "measured": sorted(kit.assumed.evidence),
        "scrap_found": _scrap(kit.point(stated=True)),
    }


def _point(outcome: Outcome) -> dict[str, object]:
    point: dict[str, object] = {name: outcome.totals[name] for name in TOTAL_UNITS}
    point["products"] = {name: {key: found[key] for key in PRODUCT_UNITS} for name, found in outcome.products.items()}
    point["bottleneck"] = outcome.resources[int(outcome.binding)]
    point["use_at_demand"] = dict(outcome.utilisation_at_demand)
    return point


def _scrap(outcome: Outcome) -> dict[str, object]:
    """Stated cost of a piece rejected at each step that rejects any."""
    return {
        name: {
            step.name: {"spent_when_found": step.spent_when_found, "recovered": step.recovered, "per_good_piece": step.scrapped}
            for step in found["piece"].steps
            if step.scrapped > 0
        }
        for name, found in outcome.products.items()
    }


def as_json(content: object) -> str:
    """JSON with sorted keys and nine significant digits, so that the last bits of a processor do not show."""
    return json.dumps(_plain(content), indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(value):
    if isinstance(value, dict):
        return {str(_WRITTEN.get(key, key)): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, bool | str) or value is None:
        return value
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | np.integer):
        return int(value)
    figure = float(value)
    return nine_digits(figure) if math.isfinite(figure) else None
