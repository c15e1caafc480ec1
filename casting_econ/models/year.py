"""The whole workshop for a year: composes the models for several products and channels."""

from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np

from .capacity import DEMAND, HANDS, Month, limit_of, needs_by_month, served, use_of, working
from .checks import checked, checked_share, share_of
from .costs import piece_cost
from .money import yearly_charge
from .months import asked_for, risk_cost
from .workshop import Workshop
from .yields import rolled_yield

_ORDER_KINDS = ("revenue", "fees", "postage", "packaging", "refunds")
_NO_PIECES = 1e-9  # in a year without orders, whose next piece would take as long as the last one


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """A year's result; totals equal the sum of their parts. Values are floats or arrays."""

    totals: dict[str, Any]  # totals, by quantity [unit in `running.results.UNITS`]
    products: dict[str, dict[str, Any]]  # by product, then quantity; `piece` is a PieceCost
    channels: dict[str, dict[str, Any]]  # by channel, then quantity
    utilisation_at_demand: dict[str, Any]  # share of each resource that expected demand would need [-]
    utilisation: dict[str, Any]  # share of each resource in use at what is made [-]
    binding: Any  # index into `resources` of what limits in most months
    months: tuple[Month, ...]  # of a year in one piece one

    @property
    def resources(self) -> list[str]:
        """Names that `binding` points into."""
        return [DEMAND, *self.utilisation_at_demand]


def evaluate(a: Workshop) -> Outcome:
    """Work out a year of the workshop; any of its numbers may be an array, and all arrays broadcast together.

    ValueError if an input is outside its range, a turnaround fits no working window in any draw, or no draw has any hours.

    Orders come month by month, or all in one piece, as `a.months` has it, and what is made of them month by month
    (`capacity.served`); money and hours are worked out once, from the year's sums. Pieces on the shelf are charged when they are sold.
    Products share stations by the time each takes alone. What is short is shared out by cutting all orders of the products
    that need it by the same share; hands come last. Learning is averaged over the casts that the year's demand needs. Overhead,
    equipment and weekly hours are spread over products by the making hours that the year's demand needs, or by pieces where
    nothing takes time. A ruined load is lost where it first waits, in proportion to what is poured. Break-even prices are worked out
    with as many orders, and not a number for a product whose buyers leave or come with the price.
    """
    weeks = checked("weeks per year", a.weeks_per_year, above=0.0, high=53.0)
    target = checked("target pay", a.target_per_hour, low=0.0)
    orders = {c.name: c.asked for c in a.channels}
    asked = asked_for(a, orders)
    plans = {p.name: _plan(p, a, target, asked) for p in a.products}
    stall_hours, stall_fees = _stalls(a)
    times, needs = working(a, stall_hours), needs_by_month(a, plans, weeks)
    months = served(a, asked, plans, needs, times)
    worked = sum(times.weeks[..., m] for m in range(times.weeks.shape[-1]))
    fixed_hours, spare_hours = a.fixed_hours_per_week * worked, sum(times.hours[..., m] for m in range(times.hours.shape[-1]))
    wanted = _wanted(asked, a, plans, needs)
    at_demand = _used(wanted, a, times, dict.fromkeys(plans, 1.0))
    at_demand[HANDS] = use_of(sum(plan["hours"] for plan in plans.values()), spare_hours)

    channels = {c.name: _channel_result(c, asked, months) for c in a.channels}
    scale = {p.name: _scale(p, plans[p.name], channels, months) for p in a.products}
    money = {kind: sum(channel[kind] for channel in channels.values()) for kind in _ORDER_KINDS}
    overhead = sum((checked(f"overhead {o.name}", o.per_year, low=0.0) for o in a.overheads), 0.0)
    overhead = overhead + _ready_and_rare(a, months)
    worn, equipment = (
        sum((yearly_charge(e.price, e.resale, e.life_years, rate) for e in a.equipment), 0.0) for rate in (0.0, a.interest)
    )
    made = {name: plan["made"] * scale[name] for name, plan in plans.items()}
    material = {name: plans[name]["piece"].material * made[name] for name in plans}
    make_hours = {name: plans[name]["piece"].minutes / 60.0 * made[name] for name in plans}
    order_hours = sum(channel["order_hours"] for channel in channels.values())
    ruined_material = sum(plan["ruined_material"] * scale[name] for name, plan in plans.items())
    ruined_hours = sum(plan["ruined_hours"] * scale[name] for name, plan in plans.items())
    variable_hours = sum(make_hours.values()) + order_hours + ruined_hours
    hours = checked("hours per year", variable_hours + fixed_hours + stall_hours, low=0.0)
    if a.months.luck is None:
        checked("hours per year", np.max(hours), above=0.0)  # a lever may take all of them away, a study has some
    fixed_costs = overhead + equipment + stall_fees + ruined_material
    variable = sum(channel["net"] for channel in channels.values()) - sum(material.values())
    residual = variable - fixed_costs
    pay = share_of(residual, hours, np.nan)  # of a year in which nothing is done there is none
    demand_pieces = sum(plan["pieces"] for plan in plans.values())
    sold = {name: plans[name]["pieces"] * scale[name] for name in plans}
    all_sold = sum(sold.values())
    carried = {"overhead": overhead, "equipment": equipment, "weekly hours": fixed_hours * target}
    products = {
        p.name: _product_result(p, plans, scale[p.name], channels, carried, (target * hours - residual, -residual), target)
        for p in a.products
    }
    for name in a.elastic:  # solved for instead, in pages.conditions.break_even_prices
        products[name] |= {"break_even_price": np.nan, "cash_break_even_price": np.nan}
    fixed_time = (fixed_hours + stall_hours + ruined_hours) * target
    variable_time = (variable_hours - ruined_hours) * target
    room = demand_pieces / np.maximum(reduce(np.maximum, at_demand.values()), 1e-12)
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
        "interest_per_year": equipment - worn,  # of that, on money of one's own: no expense to a tax office
        "residual_pay_per_year": residual,
        "pay_per_hour": pay,
        "pay_per_hour_after_set_aside": pay - np.maximum(pay, 0.0) * checked_share("set-aside share", a.set_aside_share),
        "pay_break_even_share_of_demand": share_of(pay_pieces, demand_pieces, np.inf),
        "cash_break_even_share_of_demand": share_of(cash_pieces, demand_pieces, np.inf),
        "pay_break_even_pieces_per_year": pay_pieces,
        "cash_break_even_pieces_per_year": cash_pieces,
    }
    utilisation = _used(wanted, a, times, scale)
    utilisation[HANDS] = use_of(variable_hours, spare_hours)
    return Outcome(
        totals=totals,
        products=products,
        channels=channels,
        utilisation_at_demand=at_demand,
        utilisation=utilisation,
        binding=limit_of(months),
        months=months,
    )


def beyond_target(a: Workshop, outcome: Outcome):
    """What the outcome of a year pays beyond its target for every hour: residual pay less target times hours. [money/year]"""
    return outcome.totals["residual_pay_per_year"] - a.target_per_hour * outcome.totals["hours_per_year"]


def _plan(p, a, target, asked):
    """What the year's demand asks of one product."""
    mine = [c.name for c in a.channels if c.product == p.name]
    late = a.months.before[0] if a.months.before else {}  # from the year before, made in this one
    orders = {name: sum(asked.orders[name]) + late.get(name, (0.0,))[0] for name in mine}
    pieces = sum((sum(asked.pieces[name]) + late.get(name, (0.0, 0.0))[1] for name in mine), 0.0)
    made = pieces / (1.0 - checked_share("unsold share", p.unsold_share, high=0.99))
    # learning needs the casts before the costs; without it one pass is enough
    learns = any(step.first_minutes is not None for step in p.steps)
    good_share = rolled_yield([step.pass_share for step in p.steps])
    piece = piece_cost(p, target, np.maximum(made, _NO_PIECES) / good_share if learns else None)
    used, minutes, still = piece.mould_material * piece.good_share, piece.mould_minutes * piece.good_share, 1.0
    for step, cost in zip(p.steps, piece.steps, strict=True):
        used, minutes = used + still * (cost.material + cost.consumables), minutes + still * cost.minutes
        still = still * (np.asarray(step.wait_hours) == 0.0)
    usual = sum((asked.usual[name] for name in mine), 0.0)
    # as many as expected orders bring, so in a year with none there is none
    loads = checked("ruined loads", p.ruined_loads_per_year, low=0.0) * share_of(pieces, usual, 1.0)
    ruined = loads * p.casts_per_load
    order_minutes = {c.name: checked("minutes per order", c.minutes_per_order, low=0.0) for c in a.channels}
    make_hours = (made * piece.minutes + ruined * minutes) / 60.0
    return {
        "orders": orders,
        "pieces": pieces,
        "made": made,
        "piece": piece,
        "make_hours": make_hours,
        "hours": make_hours + sum(orders[n] * order_minutes[n] for n in orders) / 60.0,
        "ruined_loads": loads,
        "ruined_material": ruined * used,
        "ruined_hours": ruined * minutes / 60.0,
    }


def _stalls(a):
    """Stall hours and stall fees of the year."""
    days = {c.name: checked("stall days", c.days_per_year, low=0.0, high=366.0) for c in a.channels}
    hours = sum(days[c.name] * checked("stall hours a day", c.hours_per_day, low=0.0, high=24.0) for c in a.channels)
    return hours, sum(days[c.name] * checked("stall fee", c.fee_per_day, low=0.0) for c in a.channels)


def shelf_cost(product, pieces, count):
    """What the pieces [piece] that stand ready at the end of a month cost, or their sum over months, of so many in a year. [money]"""
    return checked("cost of a piece on the shelf", product.shelf_cost, low=0.0) * pieces / count


def _ready_and_rare(a, months):
    """What pieces kept ready and rare events cost in the year."""
    luck = a.months.luck
    ready = sum(shelf_cost(p, sum(month.shelf[p.name] for month in months), len(months)) for p in a.products)
    return ready + sum((risk_cost(r, None if luck is None else luck.risks[r.name]) for r in a.risks), 0.0)


def _wanted(asked, a, plans, needs):
    """Share of the year, or of its places, of each station, rack and set of moulds that the demand for each product takes. [-]"""
    parts, months = {}, range(len(needs))
    for p in plans:
        pieces = [sum(asked.pieces[c.name][m] for c in a.channels if c.product == p) for m in months]
        parts[p] = [share_of(pieces[m], plans[p]["pieces"], a.months.working[m]) for m in months]
    return {name: {p: sum(parts[p][m] * needs[m][name][p] for m in months) for p in needs[0][name]} for name in needs[0]}


def _used(wanted, a, times, scale):
    """Share of what each station, rack and set of moulds has in the year that so much of the demand for each product takes. [-]"""
    found, months = {}, range(times.weeks.shape[-1])
    for name, by_product in wanted.items():
        used = sum((want * scale[p] for p, want in by_product.items()), 0.0) * a.weeks_per_year
        found[name] = use_of(used, sum(times.open_share(name, m) * times.weeks[..., m] for m in months))
    return found


def order_money(c, orders, pieces):
    """What so many orders of a channel with so many pieces in all bring and cost, by kind [money], and of one: its `price` and
    `net_per_order`. [money/order]"""
    # a larger order brings as much more as it has pieces
    price = c.price * share_of(pieces, orders * c.pieces_per_order, 1.0) if np.any(np.asarray(c.size_spread) > 0) else c.price
    order = c.order(price)
    return {kind: order[kind] * orders for kind in (*_ORDER_KINDS, "net")} | {"price": price, "net_per_order": order["net"]}


def _channel_result(c, asked, months):
    """A year in one channel."""
    came, met = sum(asked.orders[c.name]), sum(month.met[c.name] for month in months)
    pieces = sum(month.pieces[c.name] for month in months)
    result, kept = order_money(c, met, pieces), 1.0 - c.fee_share - c.refund_share
    return result | {
        "product": c.product,
        "came": came,
        "orders": met,
        "pieces": pieces,
        "kept_of_price": result["price"] * met * kept,
        "kept_a_piece": pieces * kept,  # of each money that every piece would bring
        "order_hours": met * c.minutes_per_order / 60.0,
        "stall_hours": c.days_per_year * c.hours_per_day,
        "stall_fees": c.days_per_year * c.fee_per_day,
    }


def _scale(p, plan, channels, months):
    """Share of what the year asks of a product that is sold."""
    sold = sum((channel["pieces"] for channel in channels.values() if channel["product"] == p.name), 0.0)
    return share_of(sold, plan["pieces"], 1.0)


def _product_result(p, plans, scale, channels, carried, missing, target):
    """A year of one product, its cost by kind and its break-even prices.

    `missing` is what the year lacks until every hour earns the target, and until the bills are paid.
    """
    plan, piece, wage = plans[p.name], plans[p.name]["piece"], target / 60.0
    making = {name: other["made"] * other["piece"].minutes for name, other in plans.items()}
    by_piece = share_of(plan["made"], sum(other["made"] for other in plans.values()), np.inf)
    share = 1.0 if len(plans) == 1 else share_of(making[p.name], sum(making.values()), by_piece)
    made, sold = plan["made"] * scale, plan["pieces"] * scale
    mine = {name: channel for name, channel in channels.items() if channel["product"] == p.name}
    kept = sum(c["kept_of_price"] for c in mine.values())
    mean_price = share_of(sum(c["price"] * plan["orders"][name] for name, c in mine.items()), plan["pieces"], np.inf)
    # with no price yet every piece would have the same; nothing kept of a price: no price does
    evenly = np.where(np.asarray(mean_price) > 0, 0.0, sum(c["kept_a_piece"] for c in mine.values()))
    to_target, to_zero = (
        np.where(np.asarray(kept) > 0, mean_price * (1.0 + share_of(money, kept, 0.0)), share_of(money, evenly, np.inf))
        for money in missing
    )
    consumables = sum(step.entering * step.consumables for step in piece.steps)
    kinds = {
        "material": piece.material - consumables - piece.mould_material,
        "consumables": consumables,
        "mould material": piece.mould_material,
        "labour: moulds": piece.mould_minutes * wage,
        **{f"labour: {step.name}": step.minutes_per_good * wage for step in piece.steps},
        **{kind: share_of(amount * share, made, np.inf) for kind, amount in carried.items()},
    }
    loads = made * piece.casts / p.casts_per_load + plan["ruined_loads"] * scale
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
        "ruined_material_per_year": plan["ruined_material"] * scale,
        "ruined_hours_per_year": plan["ruined_hours"] * scale,
    }


def _pieces_needed(fixed, contribution, sold, room):
    """Pieces at which today's contribution for each piece sold covers what is fixed; infinite if none that can be made does."""
    pieces = share_of(fixed, contribution, np.inf) * np.where(np.asarray(contribution) > 0, sold, 1.0)
    return np.where(pieces <= room * (1.0 + 1e-9), pieces, np.inf)[()]
