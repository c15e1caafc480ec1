"""Pure models: numbers in, numbers out; nothing here reads, prints, plots or draws at random."""

from .costs import PieceCost, StepCost, piece_cost
from .counts import chance_of, counts_from_loads, loads_for
from .curing import InMoulds, in_moulds, loads_per_week, places_needed
from .labour import learning_exponent, practised_minutes, unit_total
from .levers import longest_wait, moved_at, practised_between, with_levers
from .lots import LotPlan, cheapest_lots, load_cost
from .money import self_employed_target, yearly_charge
from .mould_making import MouldMaking, mould_making, moulds_for_load
from .moulds import cheapest_replacement_age, expected_casts, moulds_worn
from .orders import casts_by_variant, casts_for, chance_by_variant
from .selling import newsvendor_quantity, order_contribution, orders_at_price
from .supplies import cheapest_packs, hours_at_temperature, mixed_masses
from .workshop import Channel, Equipment, Material, Mould, Overhead, Product, Rack, Station, Step, Workshop
from .year import Outcome, beyond_target, evaluate
from .yields import at_scrap_rate, entering_per_good, full_sets_per_load, good_per_load, rolled_yield, scrapped_per_good

__all__ = [
    "Channel",
    "Equipment",
    "InMoulds",
    "LotPlan",
    "Material",
    "Mould",
    "MouldMaking",
    "Outcome",
    "Overhead",
    "PieceCost",
    "Product",
    "Rack",
    "Station",
    "Step",
    "StepCost",
    "Workshop",
    "at_scrap_rate",
    "beyond_target",
    "casts_by_variant",
    "casts_for",
    "chance_by_variant",
    "chance_of",
    "cheapest_lots",
    "cheapest_packs",
    "cheapest_replacement_age",
    "counts_from_loads",
    "entering_per_good",
    "evaluate",
    "expected_casts",
    "full_sets_per_load",
    "good_per_load",
    "hours_at_temperature",
    "in_moulds",
    "learning_exponent",
    "load_cost",
    "loads_for",
    "loads_per_week",
    "longest_wait",
    "mixed_masses",
    "mould_making",
    "moulds_for_load",
    "moulds_worn",
    "moved_at",
    "newsvendor_quantity",
    "order_contribution",
    "orders_at_price",
    "piece_cost",
    "places_needed",
    "practised_between",
    "practised_minutes",
    "rolled_yield",
    "scrapped_per_good",
    "self_employed_target",
    "unit_total",
    "with_levers",
    "yearly_charge",
]
