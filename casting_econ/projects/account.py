"""What an order takes and brings, planned or as it was, in one form; and what it pays an hour."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from ..models import piece_cost
from ..models.money import YEAR, charged_by_use, part_of_year, straight_line
from ..models.projects import bridge, in_digits
from ..models.workshop import Material, Product, Step
from .logged import MOULDS

BASES = ("by_use", "by_time", "at_once")
CAUSES = ("volume", "minutes", "scrap", "materials", "price", "hours not planned")
DIGITS = 4  # of money an hour after the point in the bridge, in which its parts add up exactly


@dataclass(frozen=True, kw_only=True)
class Tool:
    """A piece of equipment."""

    name: str
    price: float  # [money]
    resale: float  # [money]
    life_years: float | None  # None where nobody knows: it is then used up by the order
    life_loads: float | None = None
    life_hours: float | None = None


@dataclass(frozen=True, kw_only=True)
class Account:
    """One order; steps in the order of the routing."""

    casts: float  # [cast]
    loads: float  # [load]
    lots: float  # colours or mixes in them [lot]
    pieces: float  # good ones made [piece]
    paid: float  # of them paid for [piece]
    days: float | None  # from the first day to the last [day]
    moulds: float  # made, one by one or in sets as the study counts them [mould or set]
    entering: dict[str, float]  # by step [piece]
    lost: dict[str, float]  # by check [piece]
    hours: dict[str, float]  # by step, then by kind [hour]
    gross: float | None  # price, with postage charged; None where no price is known [money]
    receipts: float | None  # what is left of it after fees, refunds, packing and postage [money]
    materials: dict[str, float] = field(default_factory=dict)  # by step, less what rejects give back [money]
    parts: float = 0.0  # [money]
    mould_money: float = 0.0  # [money]
    other: float = 0.0  # bought for it and in no plan [money]
    year_overhead: float  # [money/year]
    year_hours: float  # of making in the study's year [hour]
    year_weeks: float  # at work in it [week]
    tools: tuple[Tool, ...]

    @property
    def making(self) -> float:
        """Hours at the bench and of making moulds. [hour]"""
        return sum(self.hours.get(name, 0.0) for name in (*self.entering, MOULDS))

    @property
    def total_hours(self) -> float:
        """Every hour that counts. [hour]"""
        return sum(self.hours.values())

    def minutes_each(self, step: str) -> float | None:
        """Minutes of a step for each piece that enters it; None where none does. [min/piece]"""
        return self.hours.get(step, 0.0) * 60 / self.entering[step] if self.entering[step] else None

    @cached_property
    def spent(self) -> float:
        """Materials, parts, moulds, and what was bought beside them. [money]"""
        return sum(self.materials.values()) + self.parts + self.mould_money + self.other

    def of_year(self, making: float, days: float | None) -> float:
        """Part of the study's year that so many hours of making in so many days are; by the hours alone where nobody knows the days. [-]"""
        return float(part_of_year(making, self.year_hours, 7 * self.year_weeks if days is None else days, self.year_weeks))

    @property
    def overhead(self) -> float:
        """[money]"""
        return self.year_overhead * self.of_year(self.making, self.days)

    def equipment(self, basis: str, tools: tuple[Tool, ...] | None = None) -> float:
        """Charge of equipment, its own or other, on one of the bases. [money]"""
        used = {"loads": self.loads, "making": self.making, "year": self.of_year(self.making, self.days)}
        return equipment(self.tools if tools is None else tools, basis, days=self.days or 0.0, **used)

    def pay(self, basis: str = "by_use") -> float | None:
        """Pay an hour; None without a price or without hours. [money/hour]"""
        if self.receipts is None or self.total_hours <= 0:
            return None
        return (self.receipts - self.spent - self.overhead - self.equipment(basis)) / self.total_hours

    def product(self, name: str) -> Product:
        """The order's own routing, load minutes and materials spread over what enters, for the cost of what is lost."""
        steps = []
        for step, entering in self.entering.items():
            each = 1.0 / entering if entering > 0 else 0.0
            share = max(1.0 - self.lost.get(step, 0.0) * each, 1e-6)
            used = (Material(name=step, cost=max(self.materials.get(step, 0.0), 0.0) * each),)
            steps.append(Step(name=step, minutes=self.hours.get(step, 0.0) * 60 * each, pass_share=share, materials=used))
        return Product(name=name, casts_per_load=max(self.casts / max(self.loads, 1.0), 1.0), steps=tuple(steps))

    def lost_money(self, wage: float) -> dict[str, float]:
        """What the rejects of each check had cost, an hour at the wage. [money]"""
        cost = piece_cost(self.product("piece"), wage)
        return {step.name: self.lost.get(step.name, 0.0) * step.spent_when_found for step in cost.steps}


def equipment(tools, basis: str, *, days=0.0, loads=0.0, making=0.0, year=0.0) -> float:
    """Charge of equipment for an order: by the share of its life in loads or hours of making that it took, by time, or all at once. [money]

    A life in years alone passes with the part of the year that falls on the order; equipment of unknown life is used up.
    """
    total = 0.0
    for tool in tools:
        if basis == "at_once" or tool.life_years is None:
            total += tool.price
        elif basis == "by_time":
            total += straight_line(tool.price, tool.resale, tool.life_years, days / YEAR)
        elif tool.life_loads is not None:
            total += charged_by_use(tool.price, tool.resale, tool.life_loads, loads)
        elif tool.life_hours is not None:
            total += charged_by_use(tool.price, tool.resale, tool.life_hours, making)
        else:
            total += straight_line(tool.price, tool.resale, tool.life_years, year)
    return total


def _parted(account: Account, planned: Account) -> dict[str, object]:
    """An account by cause; a kind of hours that the plan has none of is not planned."""
    known = {name for name, hours in planned.hours.items() if hours > 0}
    each, extra = {}, {}
    for name, hours in account.hours.items():
        at = account.entering.get(name)
        if name not in known or (at is not None and at <= 0):
            extra[name] = hours
        else:
            each[name] = hours if at is None else hours / at
    return {
        "volume": (account.pieces, account.paid, account.loads / next(iter(account.entering.values()))),
        "minutes": each,
        "scrap": {step: entering / account.pieces for step, entering in account.entering.items()},
        "materials": (
            {step: money / account.entering[step] for step, money in account.materials.items() if account.entering[step] > 0},
            account.parts / account.paid,
            account.mould_money + account.other + account.equipment("by_use") - account.equipment("by_use", planned.tools),
            account.days,
        ),
        "price": account.receipts / account.paid,
        "hours not planned": extra,
    }


def causes_of(planned: Account, actual: Account) -> dict[str, float] | None:
    """From planned to actual pay an hour by cause, exact in `DIGITS` digits; None where one of them has no pay, or nothing came of it. [money/hour]"""
    parts = parts_of(planned, actual)
    if parts is None:
        return None
    total = round(actual.pay(), DIGITS) - round(planned.pay(), DIGITS)
    return in_digits({cause: parts[cause] for cause in CAUSES}, total, DIGITS)


def parts_of(planned: Account, actual: Account) -> dict[str, float] | None:
    """The same with all digits, as the bridge has it. [money/hour]

    Equipment counts by use, overheads by the part of the year. What equipment cost beyond the plan, and what of the year falls on it as it
    ran for other days than planned, is with the materials.
    """
    if planned.pay() is None or actual.pay() is None or min(planned.pieces, planned.paid, actual.pieces, actual.paid) <= 0:
        return None
    steps = list(planned.entering)

    def pay(value: Mapping[str, object]) -> float:
        (pieces, paid, loads), (materials, parts, rest, days) = value["volume"], value["materials"]
        entering = {step: pieces * value["scrap"].get(step, 0.0) for step in steps}
        hours = {name: each * entering.get(name, 1.0) for name, each in value["minutes"].items()}
        for name, more in value["hours not planned"].items():
            hours[name] = hours.get(name, 0.0) + more
        making = sum(hours.get(name, 0.0) for name in (*steps, MOULDS))
        year = planned.of_year(making, days)
        charge = equipment(planned.tools, "by_use", loads=entering[steps[0]] * loads, making=making, year=year)
        charge += planned.year_overhead * year
        spent = sum(entering[step] * each for step, each in materials.items()) + paid * parts + rest
        return (paid * value["price"] - spent - charge) / sum(hours.values())

    try:
        return bridge(pay, _parted(planned, planned), _parted(actual, planned))
    except ZeroDivisionError:  # no hours are left where some causes alone are changed
        return None
