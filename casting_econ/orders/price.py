"""What an order costs, what it must bring, and what a price would pay an hour."""

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from math import ceil

import numpy as np

from ..models import piece_cost
from ..models.costs import material_cost, mould_per_cast
from ..models.counts import loads_for
from ..models.money import part_of_year
from ..models.schedule import DAY
from ..models.yields import surviving_share
from ..study.stations import load_sizes
from .buying import buying_list, mould_uses, purchases
from .making import taken_out
from .plan import OrderPlan

SAFE = 0.8  # chance of the target at the price that a quote asks where none is stated


@dataclass(frozen=True, kw_only=True)
class MouldCost:
    """What the moulds of an order take, on average."""

    hours: float  # of hands, to make moulds and copies [hour]
    material: float  # bought for it, in packs [money]
    now: float  # that and the hours at the target: what must be paid before they serve [money]
    worn: float  # of all moulds by the casts of the order, hours at the target in it [money]


@lru_cache(maxsize=16)  # its price, its page and the choice among several ask for it
def mould_cost(plan: OrderPlan) -> MouldCost:
    """What an order's moulds cost, paid now and by what it wears."""
    planner, product = plan.planner, plan.planner.inputs.product(plan.order.product)
    target = float(planner.point_inputs.target_per_hour) / 60.0
    if product.mould is None:
        return MouldCost(hours=0.0, material=0.0, now=0.0, worn=0.0)
    making, material = plan.loads.making, sum(row.cost for row in purchases(planner, mould_uses(plan)))
    if making is None:
        hours = plan.moulds_to_make * float(np.mean(product.mould.minutes)) / 60.0
    else:
        draws, until = planner.draws, taken_out(planner) + 1
        each = draws.mould_steps[..., :2].sum(axis=1).T
        copying = (kind[:, :until].sum(axis=1) for kind in (draws.minutes, draws.load_minutes + draws.lot_minutes))
        minutes = [float(value.mean()) for value in (*each, *copying)]
        hours = sum(way.hands_on_hours(*minutes) for way in making.found)
    each, used = mould_per_cast(product)
    worn = float((plan.casts_by_draw.sum(axis=(1, 2)) * (each * target + used)).mean())  # as the prices carry it
    return MouldCost(hours=hours, material=float(material), now=float(material + hours * 60.0 * target), worn=worn)


@dataclass(frozen=True, kw_only=True)
class Quoted:
    """Money and hours of one order, in D draws; each price is of the whole order without postage charged."""

    plan: OrderPlan
    bench_hours: np.ndarray  # casting and finishing the whole order, moulds worn in it; shape (D,) [hour]
    done_hours: np.ndarray  # of these in what is in hand already; shape (D,) [hour]
    order_hours: np.ndarray  # talking, packing, posting; shape (D,) [hour]
    hidden_hours: np.ndarray  # its share of the weekly hours that no customer sees; shape (D,) [hour]
    spent: np.ndarray  # materials, moulds, packaging, postage, less what scrap and left over pieces bring; shape (D,) [money]
    brought: np.ndarray  # by what is good beyond the order; shape (D,) [money]
    carried: np.ndarray  # its share of overheads and equipment; shape (D,) [money]
    kept_share: np.ndarray  # of the price, after fees and refunds; shape (D,) [-]
    fixed_fees: np.ndarray  # that do not follow the price; shape (D,) [money]
    target: float  # [money/hour]
    moulds_unworn: float = 0.0  # paid now for moulds, hours at the target in it, less what the order wears of all [money]

    @cached_property
    def hours(self) -> np.ndarray:
        """Every hour, hidden ones too. [hour]"""
        return self.bench_hours + self.order_hours + self.hidden_hours

    @property
    def shared(self) -> float:
        """What the year lays on it: overheads, equipment, and weekly hours at the target. [money]"""
        return float((self.carried + self.hidden_hours * self.target).mean())

    def needed(self, money) -> np.ndarray:
        """Price that leaves so much after fees and refunds. [money]"""
        return (money + self.fixed_fees) / self.kept_share

    @cached_property
    def bills_only(self) -> float:
        """Price that pays the bills of the order; its hours earn nothing. [money]"""
        return float(self.needed(self.spent).mean())

    @cached_property
    def extra_cost(self) -> float:
        """Price that also pays the order's own hours the target, and nothing of what the workshop costs anyway. [money]"""
        return float(self.needed(self.spent + (self.bench_hours + self.order_hours) * self.target).mean())

    @cached_property
    def each_full_cost(self) -> np.ndarray:
        """Price at which every hour earns the target, draw by draw. [money]"""
        return self.needed(self.spent + self.carried + self.hours * self.target)

    @cached_property
    def full_cost(self) -> float:
        """Price that on average pays overheads, equipment and every hour the target. [money]"""
        return float(self.each_full_cost.mean())

    @cached_property
    def moulds_paid(self) -> float:
        """Full cost with all moulds made for the order paid by it, and none that were there before. [money]"""
        return self.full_cost + float((self.moulds_unworn / self.kept_share).mean())

    def at_chance(self, chance: float) -> float:
        """Price at which every hour earns the target with a chance. [money]"""
        return float(np.quantile(self.each_full_cost, chance))

    def pay(self, price: float) -> np.ndarray:
        """Pay an hour that a price brings, draw by draw; not a number where no hours are left. [money/hour]"""
        kept = price * self.kept_share - self.fixed_fees - self.spent - self.carried
        return np.divide(kept, self.hours, out=np.full_like(self.hours, np.nan), where=self.hours > 0)

    def chance(self, price: float) -> float:
        """Chance that a price earns every hour the target. [-]"""
        met = np.where(self.hours > 0, self.pay(price) >= self.target, price >= self.each_full_cost)
        return float(met.mean())

    @property
    def asked(self) -> float:
        """The price of the order, or the one that earns the target in eight cases of ten, in whole money. [money]"""
        stated = self.plan.order.price
        return float(ceil(self.at_chance(SAFE) - 1e-9)) if stated is None else stated

    def deposit(self, price: float) -> float:
        """Deposit that covers what must be bought and the hours of the first load, in whole money; never above the price. [money]

        Nothing where nothing is left to make, as it would cover nothing.
        """
        if self.plan.order.closed:
            return 0.0
        least = self.plan.planner.kit.study.file.orders.deposit_least * price
        wanted = max(self.at_risk, least)
        return float(min(ceil(wanted - 1e-9), price))

    @cached_property
    def at_risk(self) -> float:
        """Money for what must be bought, and the target for making moulds one by one and casting the first load. [money]"""
        bought = sum(row.cost for row in buying_list(self.plan))
        bought += mould_cost(self.plan).hours * self.target if self.plan.planner.moulds else 0.0
        planner, loads = self.plan.planner, self.plan.loads
        typical = self.plan.typical_loads
        first = planner.step_minutes(planner.point, self.plan.typical.entering, planner.lots(typical, planner.point))[0]
        new = min(loads.new.start, loads.planned - 1)
        return float(bought + (first[new].sum() / 60 * self.target if self.plan.new_loads else 0.0))


@lru_cache(maxsize=16)  # its page, its numbers, the ways of casting and the choice of moulds ask for it
def price_of(plan: OrderPlan, days: str = "course") -> Quoted:
    """Hours and money of an order for every draw.

    Its loads are all taken as cast and finished, with an extra one in each draw that needs it; what is good beyond the order is worth its
    leftover value. What is in hand counts with the casts that the log books to it, or as many as the yield asks for, at the study's minutes and prices.
    Its `days` are those of its "course", or "tried" in some of the draws; with "none" the year lays nothing on it.
    """
    planner, order, loads = plan.planner, plan.order, plan.loads
    inputs, poured = planner.inputs, plan.poured
    product = inputs.product(order.product)
    channel = planner.channel_in(inputs)
    target = float(planner.point_inputs.target_per_hour)
    size = planner.draws.load_correlation.size
    lots = (planner.lots(loads, planner.draws) * poured).sum(axis=1)
    cost = piece_cost(replace(product, lots_per_load=0.0), target, planner.learning_casts)  # what lots take is counted by lots
    past, past_minutes, past_lots = _past(plan)
    entering, good = planner.fate(loads, planner.draws)
    entering = (entering * poured[..., None]).sum(axis=1) + past[:, :-1]
    casts = plan.casts_by_draw.sum(axis=(1, 2)) + past[:, 0]
    minutes = plan.step_minutes.sum(axis=(1, 2)) + past_minutes
    spent = sum(entering[:, k] * (step.material + step.consumables) for k, step in enumerate(cost.steps))
    a_lot = [material_cost(m.cost, m.loss_share) for step in product.steps for m in step.materials if m.per == "lot"]
    spent = spent + order.pieces * cost.parts + (lots + past_lots) * sum(a_lot, 0.0)
    mould_minutes, mould_material = mould_per_cast(product)
    minutes, spent = minutes + casts * mould_minutes, spent + casts * mould_material
    good = (good * poured[..., None]).sum(axis=(1, 2))
    through = np.concatenate([entering[:, 1:], (good + past[:, -1])[:, None]], axis=1)
    spent = spent - sum((entering - through)[:, k] * step.recovered for k, step in enumerate(cost.steps))
    brought = np.maximum(good + order.good - order.pieces, 0) * order.leftover_value
    spent = spent - brought

    def of(value):
        return np.broadcast_to(np.asarray(value, float), (size,))

    kept, fixed = 1.0, 0.0
    if channel is not None:  # what does not follow the price is what an order costs that brings nothing
        free, kept = channel.order(0.0), channel.kept_share
        fixed = free["fees"] + free["refunds"]
        spent = spent + free["packaging"] + (free["postage"] - free["revenue"])
    bench, orders = of(minutes) / 60.0, of(planner.draws.order_minutes) / 60.0
    overhead, hidden = _shared(plan, bench, days) if days != "none" else (of(0.0), of(0.0))
    moulds = mould_cost(plan)
    return Quoted(
        plan=plan,
        bench_hours=bench,
        done_hours=of(past_minutes) / 60.0,
        order_hours=orders,
        hidden_hours=hidden,
        spent=of(spent),
        brought=of(brought),
        carried=overhead,
        kept_share=of(kept),
        fixed_fees=of(fixed),
        target=target,
        moulds_unworn=0.0 if plan.planner.moulds is None else moulds.now - moulds.worn,
    )


def _past(plan):
    """Pieces entering each step and good in the end, of what is in hand, shape (D, K + 1); its minutes, shape (D,); its lots."""
    planner, order, draws = plan.planner, plan.order, plan.planner.draws
    unbooked = max(order.good - sum(good for _, good in order.checked), 0)
    casts = ceil(unbooked / float(planner.point.good_share[0]) - 1e-9)
    full = load_sizes(planner.kit.study.file, planner.product)  # whatever moulds what is left takes
    sizes = np.array([*(casts for casts, _ in order.checked), *loads_for(casts, full)])
    surviving = np.stack(np.broadcast_arrays(*surviving_share(draws.shares.T), draws.good_share), axis=-1)
    through = sizes[:, None] * surviving[:, None, :]
    named, whole = sum(count > 0 for count in order.in_hand.values()), len(sizes) - len(order.checked)
    lots = np.array([1.0] * len(order.checked) + [max(named / max(whole, 1), 1.0)] * whole)  # a booked load is of one lot
    return through.sum(axis=1), planner.step_minutes(draws, through[..., :-1], lots).sum(axis=(1, 2)), lots.sum()


def _shared(plan, bench, days):
    """Overheads and equipment, and weekly hours, that fall on an order, each draw by its own year. [money, hour]"""
    order, inputs, year = plan.order, plan.planner.inputs, plan.planner.year
    if order.good > sum(good for _, good in order.checked):  # no log says since when: as long as from nothing
        plan = plan.with_order(in_hand={}, under_way=(), finished=False)
    course = getattr(plan, days)
    ran = course.schedule.finish - course.opened.seconds(min(order.start, order.begun or order.start))
    ran = ran[np.arange(bench.size) * ran.size // bench.size]
    share = part_of_year(bench, year["make_hours_per_year"], ran / DAY, inputs.weeks_per_year)
    # the weekly hours of weeks at work: illness takes none of an order's own
    fixed = inputs.fixed_hours_per_week * inputs.weeks_per_year
    return share * (year["overhead_per_year"] + year["equipment_per_year"]), share * fixed
