"""What an order uses up, and the cheapest packs that cover it."""

from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from ..models.supplies import cheapest_packs, mixed_masses
from ..study.numbers import Amount

__all__ = ["Purchase", "buying_list"]

SURE = 0.95  # share of draws in which the amount is enough


@dataclass(frozen=True, kw_only=True)
class Purchase:
    """One thing to buy."""

    item: str
    needed: float  # for the planned loads, loss in it [unit]
    stock: float  # there already [unit]
    unit: str
    packs: tuple[tuple[float, int], ...]  # size of a pack [unit] and how many
    cost: float  # [money]
    priced: bool  # by packs of the study; otherwise by its price a unit
    goes_into: str = "piece"  # what one amount of it is for, where it has no unit of its own: piece, load, lot or set

    @property
    def bought(self) -> float:
        """What the packs hold. [unit]"""
        return sum(size * count for size, count in self.packs) if self.packs else max(self.needed - self.stock, 0.0)

    @property
    def left(self) -> float:
        """What is over afterwards. [unit]"""
        return self.stock + self.bought - self.needed


def buying_list(plan) -> list[Purchase]:
    """Everything the new loads of an order use, in the order of the routing.

    Parameters
    ----------
    plan : OrderPlan
        Amounts of a step are for as many pieces as enter it in 95 of 100 draws; parts are for the pieces ordered.

    Returns
    -------
    list of Purchase
        Mixed materials by component.
    """
    kit, order, loads = plan.planner.kit, plan.order, plan.loads
    entry, supplies = plan.planner.entry, kit.study.file.supplies
    entering = np.quantile(plan.course.entering[:, loads.new].sum(axis=1), SURE, axis=0, method="higher")
    lots = float(np.quantile(plan.planner.lots(loads, plan.planner.draws)[:, loads.new].sum(axis=1), SURE, method="higher"))
    values = {key: number.value for key, number in kit.assumed.numbers.items()}
    amounts: dict[str, list[float | str]] = {}

    goes_into: dict[str, str] = {}

    def add(path, entries, pieces, loads=0.0, kind="piece"):
        for name, m in entries.items():
            quantity = values.get(f"{path}.{name}.quantity", m.quantity.value)
            loss = values.get(f"{path}.{name}.loss", m.loss.value)
            count = {"load": loads, "lot": lots}.get(m.per, pieces)
            goes_into.setdefault(name, m.per if m.per in ("load", "lot") else kind)
            price = values.get(f"{path}.{name}.price", m.price.value)
            amount = amounts.setdefault(name, [0.0, m.quantity.unit, price])
            amount[0] += quantity * count / (1.0 - loss)

    for k, (name, step) in enumerate(entry.steps.items()):
        again = values.get(f"products.{order.product}.steps.{name}.rework_share", step.rework_share.value)
        pieces = float(entering[k])
        turns = plan.new_loads if step.load_size is None else ceil(pieces / step.load_size.value)
        add(f"products.{order.product}.steps.{name}.materials", step.materials, pieces * (1.0 + again), float(turns))
    if plan.new_loads:
        add(f"products.{order.product}.parts", entry.parts, float(sum(plan.planner.needed(order).values()) * order.set_of))
    sets = plan.moulds_to_make
    if sets and entry.mould is not None:
        add(f"products.{order.product}.mould.materials", entry.mould.materials, float(sets), kind="set")
    found = []
    for name, (amount, unit, price) in amounts.items():
        rows = _purchases(name, amount, unit, price, supplies.get(name), kit.study.currency)
        found += [replace(row, goes_into=goes_into[name]) for row in rows]
    return found


def _purchases(name, amount, unit, price, supply, currency):
    """An item by its packs; a mix by the packs of its components, or as kits of the whole."""
    if amount <= 0:
        return []
    if supply is None:
        return [_bought(name, amount, unit, None, (), None, price, currency)]

    if supply.mix and not supply.packs:
        parts = [part.parts for part in supply.mix.values()]
        densities = [part.density or 1.0 for part in supply.mix.values()]  # one is stated wherever it counts
        as_mixed = "milliliter" if supply.mix_by == "volume" else "gram"
        mixed = Amount(amount, unit).in_unit(as_mixed, currency, supply.whole_density)
        masses, volumes = mixed_masses(mixed, parts, densities, supply.mix_by)
        rows = []
        for (part_name, part), mass, volume in zip(supply.mix.items(), masses, volumes, strict=True):
            own = part.packs[0].quantity.unit if part.packs else unit
            own = own if own in ("gram", "milliliter") else as_mixed
            wanted = float(volume if own == "milliliter" else mass)
            share = part.parts / sum(parts) * amount / wanted if wanted else 0.0  # of the price of the mix, by its ratio
            rows.append(
                _bought(f"{name}: {part_name}", wanted, own, part.stock, part.packs, part.density, price * share, currency)
            )
        return rows
    return [_bought(name, amount, unit, supply.stock, supply.packs, supply.whole_density, price, currency)]


def _bought(name, amount, unit, stock, packs, density, price, currency):
    """One item by the cheapest packs, or by its price a unit where the study has none."""
    there = 0.0 if stock is None else stock.in_unit(unit, currency, density)
    missing = max(amount - there, 0.0)
    if not packs:
        return Purchase(item=name, needed=amount, stock=there, unit=unit, packs=(), cost=missing * price, priced=False)
    sizes = [pack.quantity.in_unit(unit, currency, density) for pack in packs]
    counts, cost = cheapest_packs(missing, sizes, [pack.price for pack in packs])
    chosen = tuple((size, int(n)) for size, n in zip(sizes, counts, strict=True) if n)
    return Purchase(item=name, needed=amount, stock=there, unit=unit, packs=chosen, cost=float(cost), priced=True)
