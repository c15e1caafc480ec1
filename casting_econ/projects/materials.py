"""What an order uses and buys: by the plan, and by its rows at the prices paid."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..evidence.materials import amount_in, bought_amounts, cup_rows
from ..models import piece_cost
from ..orders import OrderPlan
from ..study.consistency import items_of
from .account import Account
from .logged import Logged


@dataclass(frozen=True, kw_only=True)
class Item:
    """One material or part of the order; amounts in `unit`."""

    item: str
    unit: str
    planned: float  # used by the plan, on average
    used: float  # by what entered each step, or by the weighed mix
    bought: float  # for the order; nan where the unit of a purchase does not fit
    paid: float  # [money]
    price: float  # paid, or as planned where nothing was bought [money/unit]


@dataclass(frozen=True, kw_only=True)
class Materials:
    """Materials and parts of the product of an order."""

    plan: OrderPlan  # whose numbers say how much a piece takes
    log: Logged

    @cached_property
    def entries(self) -> list[tuple]:
        """Materials and parts of the product: (key, step or None, item, entry), those of moulds among them."""
        return [row[:1] + row[2:] for row in items_of(self.log.study.file) if row[1] == self.plan.order.product]

    @cached_property
    def _pours(self):
        """Pours for each mould of the plan; None where moulds come in sets or none is made."""
        making = self.plan.loads.making
        return making.total("moulds", "pours") / making.total("moulds") if making and making.total("moulds") else None

    @cached_property
    def _prices(self):
        """Planned price of each entry. [money/unit]"""
        return {key: self.plan.planner.values.get(f"{key}.price", entry.price.value) for key, _, _, entry in self.entries}

    def _amount(self, key, step, entry, account):
        """What an entry takes of its item for an account, in the unit of its price."""
        quantity = self.plan.planner.values.get(f"{key}.quantity", entry.quantity.value)
        loss = self.plan.planner.values.get(f"{key}.loss", entry.loss.value)
        if step is None:
            pours = account.moulds if self._pours is None else self._pours * account.moulds
            count = account.paid if ".mould." not in key else pours if entry.per == "load" else account.moulds
        else:
            name = f"products.{self.plan.order.product}.steps.{step}"
            again = self.plan.planner.values.get(f"{name}.rework_share", 0.0)
            size = self.plan.planner.entry.steps[step].load_size
            loads = account.loads if size is None else account.entering[step] / size.value
            count = {"load": loads, "lot": account.lots}.get(entry.per, account.entering[step] * (1.0 + again))
        return quantity * count / (1.0 - loss)

    def money(self, account: Account, paid: dict[tuple[str, str], float] | None = None) -> dict[str, object]:
        """Money of materials by step, of parts and of moulds: as planned, or as logged and at the prices paid, by item and unit. [money]"""
        materials, parts, moulds = dict.fromkeys(account.entering, 0.0), 0.0, 0.0
        for key, step, item, entry in self.entries:
            weighed, prices = ({}, {}) if paid is None else (self._weighed, paid)
            money = weighed.get(key, self._amount(key, step, entry, account)) * prices.get(
                (item, _unit(entry)), self._prices[key]
            )
            if step is not None:
                materials[step] += money
            elif ".mould." in key:
                moulds += money
            else:
                parts += money
        planner = self.plan.planner
        for step in piece_cost(planner.point_product, 0.0, planner.learning_casts).steps:
            materials[step.name] -= account.lost[step.name] * float(step.recovered)
        return {"materials": materials, "parts": parts, "mould_money": moulds}

    def items(self, before: Account, account: Account | None) -> list[Item]:
        """Every material and part for what was planned and for what was made: used, bought, paid."""
        rows: dict[tuple[str, str], Item] = {}
        for key, step, item, entry in self.entries:
            unit = _unit(entry)
            paid, amounts = bought_amounts(self.log.study, item, entry, unit or "dimensionless")
            known = np.isfinite(amounts) & (amounts > 0)
            price = float(paid[known].sum() / amounts[known].sum()) if known.any() else self._prices[key]
            planned = self._amount(key, step, entry, before)
            used = self._weighed.get(key, planned if account is None else self._amount(key, step, entry, account))
            own = {"bought": float(amounts.sum()), "paid": float(paid.sum()), "price": price}
            first = Item(item=item, unit=unit, planned=0.0, used=0.0, **own)
            same = rows.get((item, unit), first)  # of another step
            rows[item, unit] = replace(first, planned=same.planned + planned, used=same.used + used, bought=same.bought)
        return list(rows.values())

    @cached_property
    def _weighed(self):
        """What was mixed by the log of loads, and what was bought for moulds of which no log tells, in the unit of the price, by key; loads that say nothing as the others."""
        found, batches = {}, self.log.study.records.get("batches")
        for key, step, _, entry in self.entries:
            rows = cup_rows(self.log.study, self.plan.order.product, key) if step is not None and batches is not None else None
            grams = amount_in(1.0, "gram", _unit(entry), entry, self.log.study.currency)
            if rows is not None and rows[0].size and np.isfinite(grams):
                weighed = batches[batches.mixed_mass_g > 0]
                found[key] = float(rows[0].sum()) * grams * float(batches.casts.sum() / weighed.casts.sum())
        made: dict[
            str, list
        ] = {}  # by item: each step of mould making, what it takes for a mould, and what was bought in its unit
        for key, _, item, entry in self.entries if self.moulds_made is None else ():
            amounts = bought_amounts(self.log.study, item, entry, _unit(entry) or "dimensionless")[1]
            if ".mould." in key and np.isfinite(amounts).any() and (each := entry.quantity.value / (1.0 - entry.loss.value)):
                made.setdefault(item, []).append((key, each, float(amounts[np.isfinite(amounts)].sum())))
        for steps in made.values():  # no log of moulds: what was bought for them went into them, once, as their steps share it
            per_mould = sum(each / bought for _, each, bought in steps if bought)
            found |= {key: each / per_mould for key, each, _ in steps if per_mould}
        return found

    @cached_property
    def moulds_made(self) -> float | None:
        """Moulds, or sets of them, that the log has for the days of the order; None without such rows. [mould or set]"""
        moulds = self.log.study.records.get("moulds")
        if moulds is None:
            return None
        return float(len(moulds) if self.plan.planner.moulds else moulds.cavities.sum() / self.plan.planner.casts_per_load)


def _unit(entry):
    """The unit of which a material's price is; nothing where it is of a piece."""
    return entry.price.unit.partition("/")[2]
