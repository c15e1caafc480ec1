"""Pure models: numbers in, numbers out; nothing here reads, prints, plots or draws at random.

Unless a docstring says otherwise a number is a float or an array, all of them broadcast together, and so does what comes back. A
ValueError names the input that is not finite or outside the range stated for it.
"""

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
from .topping import ToppedUp, first_casts, top_up, top_up_casts
from .workshop import Channel, Equipment, Material, Mould, Overhead, Product, Rack, Station, Step, Workshop
from .year import Outcome, beyond_target, evaluate
from .yields import at_scrap_rate, entering_per_good, full_sets_per_load, good_per_load, rolled_yield, scrapped_per_good
