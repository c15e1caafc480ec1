"""results.json: the numbers of a study in a form that is the same bytes for the same study and seed."""

import json
import math
from datetime import date

import numpy as np

from ..formatting import nine_digits
from ..kit import PRODUCT_UNITS, Answer, OpenStudy
from ..models import Outcome
from ..pages.conditions import break_even_prices

_OF_YEAR = {  # results of a year by unit
    "cast/year": "casts_per_year",
    "piece/year": "good_pieces_per_year pieces_sold_per_year pay_break_even_pieces_per_year cash_break_even_pieces_per_year",
    "load/year": "loads_per_year",
    "load/week": "loads_per_week",
    "hour/year": "hours_per_year make_hours_per_year order_hours_per_year stall_hours_per_year fixed_hours_per_year ruined_hours_per_year",
    "{money}/year": "revenue_per_year fees_per_year postage_per_year packaging_per_year refunds_per_year stall_fees_per_year "
    "material_per_year ruined_loss_per_year overhead_per_year equipment_per_year residual_pay_per_year",
    "{money}/hour": "pay_per_hour pay_per_hour_after_set_aside",
    "share": "pay_break_even_share_of_demand cash_break_even_share_of_demand",
}
TOTAL_UNITS = {name: unit for unit, names in _OF_YEAR.items() for name in names.split()}
_WRITTEN = {"ruined_hours_per_year": "freak_hours_per_year", "ruined_loss_per_year": "freak_loss_per_year"}  # keys of the file


def results(kit: OpenStudy, answer: Answer) -> dict[str, object]:
    """Everything results.json holds, of a study and its Monte Carlo; None stands for 'no value does' (infinite), and
    for break-even prices over the draws where buyers leave or come with the price: those are solved for at the point alone."""
    money, products, channels = kit.study.currency, kit.study.file.products, kit.study.file.channels
    units = {name: unit.format(money=money) for name, unit in TOTAL_UNITS.items()}
    units["products"] = {name: unit.format(money=money) for name, unit in PRODUCT_UNITS.items()}
    units["channels"] = {"orders_per_year": "order/year"}
    draws: dict[str, object] = {name: answer.summary(name) for name in TOTAL_UNITS}
    draws |= {"n": len(answer.draws["pay_per_hour"]), "seed": kit.study.file.study.seed}
    draws["products"] = {one: {name: answer.summary(f"{one}/{name}") for name in PRODUCT_UNITS} for one in products}
    draws["channels"] = {name: {"orders_per_year": answer.summary(f"orders/{name}")} for name in channels}
    chances = answer.chances
    no_order = {name: {"no_order": float(np.mean(answer.draws[f"orders/{name}"] == 0))} for name in channels}
    return {
        "variation": kit.variation,
        "units": units,
        "stated": _point(kit, stated=True),
        "point": _point(kit, stated=False),
        "draws": draws,
        "chances": {name: found["chance"] for name, found in chances.items()} | {"channels": no_order},
        "chance_errors": {name: found["error"] for name, found in chances.items()},
        "bottleneck": answer.bottleneck,
        "target": {"per_hour": answer.target, "living_per_year": answer.living},
        "measured": sorted(kit.assumed.evidence),
        "scrap_found": _scrap(kit.point(stated=True)),
    }


def _point(kit: OpenStudy, *, stated: bool) -> dict[str, object]:
    outcome = kit.point(stated=stated)
    products = {name: found | break_even_prices(kit, name, stated=stated) for name, found in outcome.products.items()}
    point: dict[str, object] = {name: outcome.totals[name] for name in TOTAL_UNITS}
    point["products"] = {name: {key: found[key] for key in PRODUCT_UNITS} for name, found in products.items()}
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
