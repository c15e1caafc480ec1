"""Pure models: numbers in, numbers out; nothing here reads, prints, plots or draws at random."""

from .costs import PieceCost, StepCost, piece_cost
from .curing import loads_per_week, places_needed
from .inputs import Assumptions, Channel, Equipment, Material, Mould, Overhead, Product, Rack, Station, Step
from .labour import cumulative_average_minutes, learning_exponent, practised_minutes, unit_minutes, unit_total
from .levers import longest_wait, with_levers
from .money import self_employed_target, yearly_charge
from .moulds import cheapest_replacement_age, expected_casts
from .selling import order_money, orders_at_price
from .studio import Outcome, evaluate
from .yields import (
    at_scrap_rate,
    entering_per_good,
    full_sets_per_load,
    good_per_load,
    rolled_yield,
    scrapped_per_good,
)

__all__ = [
    "Assumptions",
    "Channel",
    "Equipment",
    "Material",
    "Mould",
    "Outcome",
    "Overhead",
    "PieceCost",
    "Product",
    "Rack",
    "Station",
    "Step",
    "StepCost",
    "at_scrap_rate",
    "cheapest_replacement_age",
    "cumulative_average_minutes",
    "entering_per_good",
    "evaluate",
    "expected_casts",
    "full_sets_per_load",
    "good_per_load",
    "learning_exponent",
    "loads_per_week",
    "longest_wait",
    "order_money",
    "orders_at_price",
    "piece_cost",
    "places_needed",
    "practised_minutes",
    "rolled_yield",
    "scrapped_per_good",
    "self_employed_target",
    "unit_minutes",
    "unit_total",
    "with_levers",
    "yearly_charge",
]
