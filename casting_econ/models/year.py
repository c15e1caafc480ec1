"""The whole workshop for a year: composes the models for several products and channels."""

from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np

from .checks import checked, checked_share
from .costs import piece_cost
from .curing import ENOUGH_LOADS, WEEK_HOURS, in_moulds, loads_per_week, places_needed
from .money import yearly_charge
from .selling import orders_at_price
from .workshop import Workshop
from .yields import rolled_yield

DEMAND, HANDS = "demand", "hands"
_NO_LOADS = 1e-12  # a week; above zero, so that what nobody wants stays zero
_ORDER_KINDS = ("revenue", "fees", "postage", "packaging", "refunds")


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """A year's result; totals equal the sum of their parts. Values are floats or arrays."""

    totals: dict[str, Any]  # totals, by quantity [unit in `running.results.UNITS`]
    products: dict[str, dict[str, Any]]  # by product, then quantity; `piece` is a PieceCost
    channels: dict[str, dict[str, Any]]  # by channel, then quantity
    utilisation_at_demand: dict[str, Any]  # share of each resource that expected demand would need [-]
    utilisation: dict[str, Any]  # share of each resource in use at what is made [-]
    binding: Any  # index into `resources` of what limits

    @property
    def resources(self) -> list[str]:
        """Names that `binding` points into."""
        return [DEMAND, *self.utilisation_at_demand]


def evaluate(a: Workshop) -> Outcome:
    """Work out a year of the workshop; any of its numbers may be an array, and all arrays broadcast together.

    Raises
    ------
    ValueError
        If an input is outside its range, a turnaround fits no working window in any draw, or a year has no hours.

    Notes
    -----
    Products share stations by the time each takes alone. What is short is shared out by cutting all orders of the products
    that need it by the same share; hands come last. Learning is averaged over the casts that expected demand needs. Overhead,
    equipment and weekly hours are spread over products by the making hours that expected demand needs, or by pieces where
    nothing takes time. A ruined load is lost where it first waits, in proportion to what is poured.
    """
    weeks = checked("weeks per year", a.weeks_per_year, above=0.0, high=53.0)
    target = checked("target pay", a.target_per_hour, low=0.0)
    plans = {p.name: _plan(p, a, target) for p in a.products}
    fixed_hours, stall_hours, stall_fees = _fixed(a, weeks)
    spare_hours = checked("hours per week", a.hours_per_week, above=0.0, high=WEEK_HOURS) * weeks
    spare_hours = spare_hours - fixed_hours - stall_hours
    needs = _needs(a, plans, weeks)
    utilisation_at_demand, scale, binding = _limits(a, plans, needs, spare_hours)

    channels = {c.name: _channel_result(c, plans[c.product]["orders"][c.name], scale[c.product]) for c in a.channels}
    money = {kind: sum(channel[kind] for channel in channels.values()) for kind in _ORDER_KINDS}
    overhead = sum((checked(f"overhead {o.name}", o.per_year, low=0.0) for o in a.overheads), 0.0)
    equipment = sum((yearly_charge(e.price, e.resale, e.life_years, a.interest) for e in a.equipment), 0.0)
    made = {name: plan["made"] * scale[name] for name, plan in plans.items()}
    material = {name: plans[name]["piece"].material * made[name] for name in plans}
    make_hours = {name: plans[name]["piece"].minutes / 60.0 * made[name] for name in plans}
    order_hours = sum(channel["order_hours"] for channel in channels.values())
    ruined_material = sum(plan["ruined_material"] * scale[name] for name, plan in plans.items())
    ruined_hours = sum(plan["ruined_hours"] * scale[name] for name, plan in plans.items())
    variable_hours = sum(make_hours.values()) + order_hours + ruined_hours
    hours = checked("hours per year", variable_hours + fixed_hours + stall_hours, above=0.0)
    fixed_costs = overhead + equipment + stall_fees + ruined_material
    variable = sum(channel["net"] for channel in channels.values()) - sum(material.values())
    residual = variable - fixed_costs
    pay = residual / hours
    demand_pieces = sum(plan["pieces"] for plan in plans.values())
    sold = {name: plans[name]["pieces"] * scale[name] for name in plans}
    all_sold = sum(sold.values())
    carried = {"overhead": overhead, "equipment": equipment, "weekly hours": fixed_hours * target}
    products = {
        p.name: _product_result(p, plans, scale[p.name], channels, carried, (target * hours - residual, -residual), target)
        for p in a.products
    }
    fixed_time = (fixed_hours + stall_hours + ruined_hours) * target
    variable_time = (variable_hours - ruined_hours) * target
    room = demand_pieces / np.maximum(reduce(np.maximum, utilisation_at_demand.values()), 1e-12)
    pay_pieces = _pieces_needed(fixed_costs + fixed_time, variable - variable_time, all_sold, room)
    cash_pieces = _pieces_needed(fixed_costs, variable, all_sold, room)
    totals = {
        "casts_per_year": sum(products[p]["casts_per_year"] for p in products),
        "good_pieces_per_year": sum(made.values()),
        "pieces_sold_per_year": all_sold,
        "loads_per_year": sum(products[p]["loads_per_year"] for p in products),
        "loads_per_week": sum(products[p]["loads_per_year"] for p in products) / weeks,
        "hours_per_year": hours,
        "make_hours_per_year": sum(make_hours.values()),
        "order_hours_per_year": order_hours,
        "stall_hours_per_year": stall_hours,
        "fixed_hours_per_year": fixed_hours,
        "ruined_hours_per_year": ruined_hours,
        **{f"{kind}_per_year": money[kind] for kind in _ORDER_KINDS},
        "stall_fees_per_year": stall_fees,
        "material_per_year": sum(material.values()),
        "ruined_loss_per_year": ruined_material,
        "overhead_per_year": overhead,
        "equipment_per_year": equipment,
        "residual_pay_per_year": residual,
        "pay_per_hour": pay,
        "pay_per_hour_after_set_aside": pay - np.maximum(pay, 0.0) * checked_share("set-aside share", a.set_aside_share),
        "pay_break_even_share_of_demand": _ratio(pay_pieces, demand_pieces),
        "cash_break_even_share_of_demand": _ratio(cash_pieces, demand_pieces),
        "pay_break_even_pieces_per_year": pay_pieces,
        "cash_break_even_pieces_per_year": cash_pieces,
    }
    utilisation = {name: sum(need[p] * scale[p] for p in need) for name, need in needs.items()}
    utilisation[HANDS] = np.where(np.asarray(spare_hours) > 0, _ratio(variable_hours, spare_hours), np.inf)[()]
    return Outcome(
        totals=totals,
        products=products,
        channels=channels,
        utilisation_at_demand=utilisation_at_demand,
        utilisation=utilisation,
        binding=binding,
    )


def beyond_target(a: Workshop, outcome: Outcome):
    """What the outcome of a year pays beyond its target for every hour: residual pay less target times hours. [money/year]"""
    return outcome.totals["residual_pay_per_year"] - a.target_per_hour * outcome.totals["hours_per_year"]


def _plan(p, a, target):
    """What expected demand asks of one product."""
    orders = {
        c.name: orders_at_price(c.orders_per_year, c.price, c.reference_price, c.elasticity)
        for c in a.channels
        if c.product == p.name
    }
    sizes = {c.name: checked("pieces per order", c.pieces_per_order, above=0.0) for c in a.channels}
    pieces = sum((orders[name] * sizes[name] for name in orders), 0.0)
    made = pieces / (1.0 - checked_share("unsold share", p.unsold_share, high=0.99))
    # learning needs the casts before the costs; without it one pass is enough
    learns = any(step.first_minutes is not None for step in p.steps)
    good_share = rolled_yield([step.pass_share for step in p.steps])
    piece = piece_cost(p, target, made / good_share if learns else None)
    used, minutes, still = piece.mould_material * piece.good_share, piece.mould_minutes * piece.good_share, 1.0
    for step, cost in zip(p.steps, piece.steps, strict=True):
        used, minutes = used + still * (cost.material + cost.consumables), minutes + still * cost.minutes
        still = still * (np.asarray(step.wait_hours) == 0.0)
    ruined = checked("ruined loads", p.ruined_loads_per_year, low=0.0) * p.casts_per_load
    order_minutes = {c.name: checked("minutes per order", c.minutes_per_order, low=0.0) for c in a.channels}
    return {
        "orders": orders,
        "pieces": pieces,
        "made": made,
        "piece": piece,
        "hours": (made * piece.minutes + ruined * minutes + sum(orders[n] * order_minutes[n] for n in orders)) / 60.0,
        "ruined_material": ruined * used,
        "ruined_hours": ruined * minutes / 60.0,
    }


def _fixed(a, weeks):
    """Weekly hours, stall hours and stall fees of the year."""
    fixed = checked("fixed hours per week", a.fixed_hours_per_week, low=0.0, high=WEEK_HOURS) * weeks
    days = {c.name: checked("stall days", c.days_per_year, low=0.0, high=366.0) for c in a.channels}
    hours = sum(days[c.name] * checked("stall hours a day", c.hours_per_day, low=0.0, high=24.0) for c in a.channels)
    fees = sum(days[c.name] * checked("stall fee", c.fee_per_day, low=0.0) for c in a.channels)
    return fixed, hours, fees


def _needs(a, plans, weeks):
    """Share of each resource that expected demand needs, by resource and product."""
    needs: dict[str, dict[str, Any]] = {}
    stations, racks = {s.name: s for s in a.stations}, {r.name: r for r in a.racks}
    for p in a.products:
        plan, surviving, still, emptied = plans[p.name], 1.0, 1.0, None
        moulds = None if p.mould is None else in_moulds(p, [step.minutes for step in plan["piece"].steps])
        if moulds is not None and np.all(np.asarray(moulds[0]) > 0) and np.all(np.asarray(moulds[1]) > 0):
            pour, cure, held = moulds
            waiting = next(step.name for step in p.steps if np.any(np.asarray(step.wait_hours) > 0))
            emptied = _rate(waiting, cure, pour, None, a.windows, held)
        casts_a_week = plan["made"] / plan["piece"].good_share / weeks
        for step in p.steps:
            flow = casts_a_week * surviving
            load = p.casts_per_load * surviving if step.load_size is None else step.load_size
            if step.wait_in in stations:
                turnaround, count = p.turn_minutes(step) / 60.0, stations[step.wait_in].count
                rate = _rate(step.name, step.wait_hours, turnaround, count, a.windows)
                first = np.all(still * step.wait_hours > 0)
                if emptied is not None and first and step.load_size is None and np.any(held.work_hours):
                    # a pour waits for both: what that costs falls on the one that lets less through
                    both = np.minimum(_rate(step.name, cure, pour, count, a.windows, held), np.minimum(rate, emptied))
                    rate, emptied = np.where(rate <= emptied, both, rate), np.where(rate <= emptied, emptied, both)
                spoilt = still * p.ruined_loads_per_year / weeks
                _add(needs, step.wait_in, p.name, (flow / load + spoilt) / rate)
            elif step.wait_in in racks:
                places = places_needed(flow, step.wait_hours, step.places_per_piece)
                _add(needs, step.wait_in, p.name, places / checked("rack places", racks[step.wait_in].places, above=0))
            surviving, still = surviving * step.pass_share, still * (np.asarray(step.wait_hours) == 0.0)
        if emptied is not None:
            loads = casts_a_week / p.casts_per_load + p.ruined_loads_per_year / weeks
            _add(needs, f"moulds for {p.name}", p.name, loads / emptied)
    return needs


def _rate(step, cure, turnaround, count, windows, moulds=None):
    """Loads a week; next to none in draws whose turnaround fits no window, and refused where none fits."""
    rate = loads_per_week(cure, turnaround, count, windows, moulds, ENOUGH_LOADS)
    if np.all(rate == 0.0):
        shortest = np.min(np.asarray(turnaround))
        raise ValueError(f"load minutes of {step!r} must fit one working window; got {shortest:g} h")
    return np.maximum(rate, _NO_LOADS)


def _add(needs, resource, product, share):
    needs.setdefault(resource, {})
    needs[resource][product] = needs[resource].get(product, 0.0) + share


def _limits(a, plans, needs, spare_hours):
    """Use at full demand, the share of demand each product can meet, and which resource binds."""
    utilisation = {name: sum(need.values()) for name, need in needs.items()}
    scale = {p.name: 1.0 for p in a.products}
    # what one product alone needs first, so that what several share is shared by what is left to make
    for need in sorted(needs.values(), key=len):
        short = 1.0 / np.maximum(sum(need[name] * scale[name] for name in need), 1.0)
        scale |= {name: scale[name] * short for name in need}
    wanted = sum(plan["hours"] for plan in plans.values())
    possible = sum(plans[name]["hours"] * scale[name] for name in plans)
    has_time = np.asarray(spare_hours) > 0
    safe = np.where(has_time, spare_hours, 1.0)
    hands_left = np.where(has_time, np.minimum(1.0, safe / np.maximum(possible, 1e-300)), 0.0)[()]
    # index 0 is demand; hands are last because they are shared out after everything else
    peak, binding = 1.0, np.zeros(np.shape(hands_left), dtype=int)
    for index, share in enumerate(utilisation.values(), start=1):
        binding = np.where(share > peak, index, binding)
        peak = np.maximum(peak, share)
    binding = np.where(hands_left < 1.0, len(utilisation) + 1, binding)[()]
    utilisation[HANDS] = np.where(has_time, wanted / safe, np.inf)[()]
    return utilisation, {name: scale[name] * hands_left for name in scale}, binding


def _channel_result(c, orders, scale):
    """A year in one channel."""
    order = c.order()
    met = orders * scale
    result = {kind: order[kind] * met for kind in (*_ORDER_KINDS, "net")}
    return result | {
        "product": c.product,
        "price": c.price,
        "orders": met,
        "pieces": met * c.pieces_per_order,
        "kept_of_price": c.price * met * (1.0 - c.fee_share - c.refund_share),
        "net_per_order": order["net"],
        "order_hours": met * c.minutes_per_order / 60.0,
        "stall_hours": c.days_per_year * c.hours_per_day,
        "stall_fees": c.days_per_year * c.fee_per_day,
    }


def _product_result(p, plans, scale, channels, carried, missing, target):
    """A year of one product, its cost by kind and its break-even prices.

    `missing` is what the year lacks until every hour earns the target, and until the bills are paid.
    """
    plan, piece, wage = plans[p.name], plans[p.name]["piece"], target / 60.0
    making = {name: other["made"] * other["piece"].minutes for name, other in plans.items()}
    total = np.asarray(sum(making.values()))
    by_piece = _ratio(plan["made"], sum(other["made"] for other in plans.values()))
    share = 1.0 if len(plans) == 1 else np.where(total > 0, making[p.name] / np.where(total > 0, total, 1.0), by_piece)
    made, sold = plan["made"] * scale, plan["pieces"] * scale
    mine = {name: channel for name, channel in channels.items() if channel["product"] == p.name}
    kept = sum(c["kept_of_price"] for c in mine.values())
    mean_price = _ratio(sum(c["price"] * plan["orders"][name] for name, c in mine.items()), plan["pieces"])
    priced = np.asarray(kept) > 0  # nothing kept of a price: no price does
    to_target, to_zero = (
        np.where(priced, mean_price * (1.0 + np.where(priced, _ratio(money, kept), 0.0)), np.inf) for money in missing
    )
    consumables = sum(step.entering * step.consumables for step in piece.steps)
    kinds = {
        "material": piece.material - consumables - piece.mould_material,
        "consumables": consumables,
        "mould material": piece.mould_material,
        "labour: moulds": piece.mould_minutes * wage,
        **{f"labour: {step.name}": step.minutes_per_good * wage for step in piece.steps},
        **{kind: _ratio(amount * share, made) for kind, amount in carried.items()},
    }
    loads = made * piece.casts / p.casts_per_load + p.ruined_loads_per_year * scale
    return {
        "piece": piece,
        "yield": piece.good_share,
        "casts_per_good_piece": piece.casts,
        "minutes_per_good_piece": piece.minutes,
        "material_per_good_piece": piece.material,
        "cost_per_good_piece": sum(kinds.values()),
        "scrap_cost_per_good_piece": piece.scrap_cost,
        "break_even_price": to_target[()],
        "cash_break_even_price": to_zero[()],
        "mean_price_per_piece": mean_price,
        "made_per_year": made,
        "sold_per_year": sold,
        "casts_per_year": loads * p.casts_per_load,
        "loads_per_year": loads,
        "cost_by_kind": kinds,
        "ruined_loss_per_year": (plan["ruined_material"] + plan["ruined_hours"] * target) * scale,
    }


def _ratio(part, whole):
    """Part over whole, infinite (never not-a-number) where the whole is zero."""
    whole = np.asarray(whole)
    return np.where(whole != 0, part / np.where(whole != 0, whole, 1.0), np.inf)[()]


def _pieces_needed(fixed, contribution, sold, room):
    """Pieces at which today's contribution for each piece sold covers what is fixed; infinite if none that can be made does."""
    contribution = np.asarray(contribution)
    pieces = np.where(contribution > 0, _ratio(fixed, contribution) * np.where(contribution > 0, sold, 1.0), np.inf)
    return np.where(pieces <= room * (1.0 + 1e-9), pieces, np.inf)[()]
