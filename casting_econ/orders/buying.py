"""What an order uses up, and the cheapest packs that cover it."""

from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from ..models.supplies import cheapest_packs, mixed_masses
from ..study.commissions import SupplyEntry
from ..study.numbers import Amount
from .making import taken_out

# dotted key of a table of materials, the table, pieces, loads and lots that it is used for, and what one of the first is
Use = tuple[str, dict, float, float, float, str]
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
    goes_into: str = "piece"  # what one amount of it is for, where it has no unit of its own: piece, load, lot, set or mould

    @property
    def bought(self) -> float:
        """What the packs hold. [unit]"""
        return sum(size * count for size, count in self.packs) if self.packs else max(self.needed - self.stock, 0.0)

    @property
    def left(self) -> float:
        """What is over afterwards. [unit]"""
        return self.stock + self.bought - self.needed


def buying_list(plan) -> list[Purchase]:
    """Everything the new loads of an order use, in the order of the routing, mixed materials by component.

    Amounts of a step are for as many pieces as enter it in 95 of 100 draws; parts are for the pieces ordered.
    """
    planner, order, loads = plan.planner, plan.order, plan.loads
    values, entry = planner.values, planner.entry
    entering = np.quantile(plan.course.entering[:, loads.new].sum(axis=1), SURE, axis=0, method="higher")
    lots = float(np.quantile(plan.planner.lots(loads, plan.planner.draws)[:, loads.new].sum(axis=1), SURE, method="higher"))
    uses: list[Use] = []
    for k, (name, step) in enumerate(entry.steps.items()):
        path = f"products.{order.product}.steps.{name}"
        again = values.get(f"{path}.rework_share", step.rework_share.value)
        pieces = float(entering[k])
        turns = plan.new_loads if step.load_size is None else ceil(pieces / step.load_size.value)
        uses.append((f"{path}.materials", step.materials, pieces * (1.0 + again), float(turns), lots, "piece"))
    if plan.new_loads:
        wanted = float(sum(order.needed.values()) * order.set_of)
        uses.append((f"products.{order.product}.parts", entry.parts, wanted, 0.0, lots, "piece"))
    return purchases(planner, uses + mould_uses(plan))


def mould_uses(plan) -> list[Use]:
    """What the moulds that an order makes take: sets, or moulds and copies of the masters."""
    planner, making, path = plan.planner, plan.loads.making, f"products.{plan.order.product}"
    mould = planner.entry.mould
    if making is None:
        return [(f"{path}.mould.materials", mould.materials, float(plan.moulds_to_make), 0.0, 0.0, "set")] if mould else []
    steps, until = planner.entry.steps.items(), taken_out(planner) + 1
    (moulds, pours), (copies, loads) = (
        [making.total(kind, what) for what in ("count", "pours")] for kind in ("moulds", "copies")
    )
    made = [(f"{path}.mould.steps.{name}", one.materials, moulds, pours, 0.0, "mould") for name, one in mould.steps.items()]
    copied = [(f"{path}.steps.{name}", one.materials, copies, loads, loads, "piece") for name, one in list(steps)[:until]]
    return [(f"{place}.materials", *use) for place, *use in made + copied]


def purchases(planner, uses: list[Use]) -> list[Purchase]:
    """What covers these uses: materials in the order of the uses, mixed ones by component."""
    values, study, amounts = planner.values, planner.kit.study, {}
    for path, entries, pieces, loads, lots, kind in uses:
        for name, m in entries.items() if pieces or loads else ():
            stated = {key: getattr(m, key).value for key in ("quantity", "loss", "price")}
            quantity, loss, price = (values.get(f"{path}.{name}.{key}", value) for key, value in stated.items())
            count, goes_into = {"load": (loads, "load"), "lot": (lots, "lot")}.get(m.per, (pieces, kind))
            amount = amounts.setdefault(name, [0.0, m.quantity.unit, price, goes_into])
            amount[0] += quantity * count / (1.0 - loss)
    found = []
    for name, (amount, unit, price, goes_into) in amounts.items():
        rows = _purchases(name, amount, unit, price, study.file.supplies.get(name) or SupplyEntry(), study.currency)
        found += [replace(row, goes_into=goes_into) for row in rows]
    return found


def _purchases(name, amount, unit, price, supply, currency):
    """An item by its packs; a mix by the packs of its components, or as kits of the whole."""
    if amount <= 0:
        return []
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
            given = part.stock, part.packs, part.density
            rows.append(_bought(f"{name}: {part_name}", wanted, own, *given, price * share, currency))
        return rows
    return [_bought(name, amount, unit, supply.stock, supply.packs, supply.whole_density, price, currency)]


def _bought(name, amount, unit, stock, packs, density, price, currency):
    """One item by the cheapest packs, or by its price a unit where the study has none."""
    there = 0.0 if stock is None else stock.in_unit(unit, currency, density)
    missing = max(amount - there, 0.0)
    chosen, cost = (), missing * price
    if packs:
        sizes = [pack.quantity.in_unit(unit, currency, density) for pack in packs]
        counts, cost = cheapest_packs(missing, sizes, [pack.price for pack in packs])
        chosen = tuple((size, int(n)) for size, n in zip(sizes, counts, strict=True) if n)
    return Purchase(item=name, needed=amount, stock=there, unit=unit, packs=chosen, cost=float(cost), priced=bool(packs))
