"""A year's money and hours month by month; they add up to the year's."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .capacity import working
from .cash import from_start
from .checks import share_of
from .months import MONTHS_IN_YEAR, risk_cost_by_month
from .workshop import Months, Workshop
from .year import Outcome, order_money, shelf_cost


@dataclass(frozen=True, kw_only=True)
class YearFlows:
    """Each month of a year: arrays whose last axis are its months."""

    receipts: dict[str, Any]  # of each channel: sales and postage charged, less fees and refunds [money/month]
    with_sales: Any  # postage and packaging [money/month]
    stalls: Any  # fees of stall days [money/month]
    material: Any  # of what is sold, what is scrapped and ruined for it included, without moulds [money/month]
    moulds: dict[str, Any]  # wear of the moulds of each product [money/month]
    overhead: Any  # with what pieces on the shelf and rare events cost [money/month]
    wear: Any  # of equipment, no payment [money/month]
    hours: Any  # [hour/month]
    busy: Any  # of those, hours of making and of orders, which go with the sales [hour/month]


def flows_of(a: Workshop, outcome: Outcome) -> YearFlows:
    """What each month of a year brings, costs and takes, of a workshop and its outcome; their sums are the year's.

    Material and making go with the sales, as the year has it: pieces on the shelf count when they are sold. What rare events cost is
    paid in the month in which they start.
    """
    count, luck, found = a.months.season.size, a.months.luck, outcome.months
    even = np.ones(count) / count

    def by_month(values):
        return np.stack(np.broadcast_arrays(*values), axis=-1)

    def of_year(value):
        return np.asarray(value)[..., None]

    orders = {c.name: [order_money(c, m.met[c.name], m.pieces[c.name]) for m in found] for c in a.channels}
    kinds = {kind: sum(by_month([m[kind] for m in orders[c.name]]) for c in a.channels) for kind in ("postage", "packaging")}
    stall_hours = sum(channel["stall_hours"] for channel in outcome.channels.values())
    standing = of_year(a.fixed_hours_per_week) * working(a, stall_hours).weeks + of_year(stall_hours) * a.months.season
    busy = sum(by_month([m.met[c.name] * c.minutes_per_order / 60.0 for m in found]) for c in a.channels)
    material, moulds = 0.0, {}
    for p in a.products:
        year = outcome.products[p.name]
        sold = [sum(m.pieces[c.name] for c in a.channels if c.product == p.name) for m in found]
        share = by_month([share_of(m, year["sold_per_year"], w) for m, w in zip(sold, a.months.working, strict=True)])
        made = year["minutes_per_good_piece"] / 60.0 * year["made_per_year"] + year["ruined_hours_per_year"]
        used = year["material_per_good_piece"] * year["made_per_year"] + year["ruined_material_per_year"]
        worn = 0.0 if p.mould is None else year["piece"].mould_material * year["yield"] * year["casts_per_year"]
        # moulds may leave next to nothing below nothing
        material = material + of_year(np.maximum(used - worn, 0.0)) * share
        busy = busy + of_year(made) * share
        moulds |= {} if p.mould is None else {p.name: of_year(worn) * share}
    overhead = [of_year(o.per_year) * even for o in a.overheads]
    overhead += [by_month([shelf_cost(p, m.shelf[p.name], count) for m in found]) for p in a.products]
    overhead += [risk_cost_by_month(r, count, None if luck is None else luck.risks[r.name]) for r in a.risks]
    return YearFlows(
        receipts={name: by_month([m["revenue"] - m["fees"] - m["refunds"] for m in months]) for name, months in orders.items()},
        with_sales=kinds["postage"] + kinds["packaging"],
        stalls=of_year(outcome.totals["stall_fees_per_year"]) * a.months.season,
        material=material,
        moulds=moulds,
        overhead=sum(overhead, 0.0 * even),
        wear=of_year(outcome.totals["equipment_per_year"]) * even,
        hours=standing + busy,
        busy=busy,
    )


def level(year: YearFlows, share, running, asked) -> YearFlows:
    """Months of years that are all as one in one piece: what goes with the sales by their share of a year, stalls by the season alone, the
    rest evenly; shapes (..., months). Hands that learn make what they can of what is `asked`, and are as busy as with all of it. [year/month]"""
    even = np.ones(share.shape[-1]) / MONTHS_IN_YEAR
    busy = year.busy * asked
    return YearFlows(
        receipts={name: money * share for name, money in year.receipts.items()},
        with_sales=year.with_sales * share,
        stalls=year.stalls * running,
        material=year.material * share,
        moulds={name: worn * share for name, worn in year.moulds.items()},
        overhead=year.overhead * even,
        wear=year.wear * even,
        hours=(year.hours - year.busy) * even + busy,
        busy=busy,
    )


def bought_ahead(used, planned, lead):
    """Material bought at the start and in each month, shape (..., months + 1), where what the next `lead` months plan is kept. [money/month]

    `used` is that of each month, shape (..., months), `planned` what it is expected to be, for so many months more [money/month].

    >>> bought_ahead(np.array([20.0, 30.0]), np.full(3, 20.0), 1).tolist()
    [20.0, 20.0, 30.0]
    """
    months, sums = used.shape[-1], from_start(np.cumsum(planned, axis=-1))
    kept = sums[..., lead : lead + months + 1] - sums[..., : months + 1]
    bought, there = [kept[..., 0] * np.ones(used.shape[:-1])], kept[..., 0]
    for month in range(months):
        bought.append(np.maximum(kept[..., month + 1] - there + used[..., month], 0.0))
        there = there - used[..., month] + bought[-1]
    return np.stack(bought, axis=-1)


def one_after_other(years: list[YearFlows]) -> YearFlows:
    """The flows of years that follow on each other, as those of one year with all their months."""

    def joined(parts):
        if isinstance(parts[0], dict):
            return {name: joined([part[name] for part in parts]) for name in parts[0]}
        return np.concatenate(parts, axis=-1)

    return YearFlows(**{name: joined([getattr(year, name) for year in years]) for name in vars(years[0])})


def starting_in(months: Months, first: int) -> Months:
    """The same year, its luck too, with its months from another one on: `first` is its index, January being 0.

    >>> starting_in(Months(season=np.array([0.5, 0.3, 0.2]), working=np.ones(3) / 3), 1).season.tolist()
    [0.3, 0.2, 0.5]
    """

    def rolled(values):
        return np.roll(values, -first, axis=-1) if np.shape(values)[-1] > 1 else values

    luck = months.luck
    if luck is not None:
        orders, sizes = ({name: rolled(one) for name, one in each.items()} for each in (luck.orders, luck.sizes))
        luck = replace(luck, orders=orders, sizes=sizes)
    slower = {place: rolled(factors) for place, factors in months.slower.items()}
    even = {key: rolled(getattr(months, key)) for key in ("working", "season", "grown")}
    return replace(months, **even, slower=slower, luck=luck)
