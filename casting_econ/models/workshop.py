"""What `year.evaluate` takes: frozen groups of numbers that travel together.

Every number is a float or an array; arrays broadcast against each other, so one set of inputs is a
point, a grid or a million draws. Shares lie in [0, 1]; money is in the study's currency.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import reduce
from typing import Any

import numpy as np

from .selling import order_contribution, orders_at_price

Value = float | np.ndarray


@dataclass(frozen=True, kw_only=True)
class Material:
    """Something used up at a step."""

    name: str
    cost: Value  # of what ends in the piece, before loss [money/piece, money/load or money/lot]
    loss_share: Value = 0.0  # of what is opened, left in cups and drips [-]
    recovered_share: Value = 0.0  # of the cost got back from a scrapped piece [-]
    per: str = "piece"  # "piece" entering the step, "load", or "lot" in a load
    kind: str = "material"  # "material" or "consumable"


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step of the routing, ending in its check."""

    name: str
    minutes: Value = 0.0  # hands-on, for a piece entering [min/piece]
    load_minutes: Value = 0.0  # hands-on, for a whole load [min/load]
    lot_minutes: Value = 0.0  # hands-on, for each lot in a load besides those [min/lot]
    pass_share: Value = 1.0  # of the pieces entering [-]
    rework_share: Value = 0.0  # of the pieces entering, done again once [-]
    rework_minutes: Value | None = None  # for a piece done again; None: as the first time [min/piece]
    wait_hours: Value = 0.0  # after the hands-on work [hour]
    wait_in: str | None = None  # name of a station or rack
    load_size: Value | None = None  # pieces in a load; None: the product's load, less what was lost [piece/load]
    places_per_piece: Value = 1.0  # in the rack [place/piece]
    first_minutes: Value | None = None  # the first piece ever took; None: no learning [min/piece]
    learning_rate: Value = 1.0  # time left after each doubling [-]
    materials: tuple[Material, ...] = ()
    causes: tuple[tuple[str, float], ...] = ()  # of scrap found here, with weights


@dataclass(frozen=True, kw_only=True)
class Mould:
    """The moulds that fill one load."""

    material_cost: Value  # of one set of moulds [money/set]
    minutes: Value  # hands-on, to make one set [min/set]
    life_casts: Value  # mean casts a cavity gives until worn out [cast]
    life_shape: Value = 2.5  # Weibull [-]
    replace_at: Value | None = None  # age at which it is replaced anyway [cast]
    sets: Value = 1.0  # sets in use, each filling a load [set]
    rest_hours: Value = 0.0  # once the pieces are out, before the next pour [hour]
    free_after: str | None = None  # step whose hand work gets the pieces out; None: the first after the load's first wait
    steps: tuple[Step, ...] = ()  # of making moulds one by one: a piece of a step is a mould, a load a pour of several


@dataclass(frozen=True, kw_only=True)
class Product:
    """A piece and the way it is made."""

    name: str
    casts_per_load: Value  # on average where pots differ in size [cast/load]
    steps: tuple[Step, ...]
    lots_per_load: Value = 1.0  # colours or mixes in a load [lot/load]
    unsold_share: Value = 0.0  # of the good pieces: samples, gifts, dead colours [-]
    made_before: Value = 0.0  # pieces made before this year, for learning [piece]
    ruined_loads_per_year: Value = 0.0  # lost whole, apart from normal scrap [load/year]
    parts: tuple[Material, ...] = ()  # for each good piece, after the last check
    mould: Mould | None = None
    cure_step: str | None = None  # step whose wait is 'the cure'; None: the longest wait
    pots: tuple[Value, ...] = ()  # loads in turn, each as large as its pot, where these differ in size [cast/load]
    shelf: Value = 0.0  # good pieces that are kept ready [piece]
    shelf_cost: Value = 0.0  # of keeping a piece ready [money/(piece year)]

    @property
    def first_wait(self) -> int | None:
        """Index of the first step that waits: up to there a load is cast in one go; None where none does."""
        return next((at for at, step in enumerate(self.steps) if np.any(np.asarray(step.wait_hours) > 0)), None)

    @property
    def largest_load(self) -> Value:
        """Casts of the largest load, which a set of moulds fills. [cast/load]"""
        return reduce(np.maximum, self.pots, self.casts_per_load)

    def stations_for(self, step: Step, count: Value) -> Value:
        """Of so many stations, those that a load of it goes into: a pot that holds no mould takes none. [station]"""
        return np.minimum(count, len(self.pots)) if self.pots and step is self.steps[self.first_wait] else count

    def turn_minutes(self, step: Step) -> Value:
        """Hands-on minutes of a step for a whole load and its lots. [min/load]"""
        return step.load_minutes + step.lot_minutes * self.lots_per_load


@dataclass(frozen=True, kw_only=True)
class Channel:
    """One way of selling one product."""

    name: str
    product: str
    orders_per_year: Value  # at the reference price [order/year]
    pieces_per_order: Value  # [piece/order]
    price: Value  # [money/order]
    postage_charged: Value = 0.0  # [money/order]
    fee_share: Value = 0.0  # [-]
    fee_on_postage: bool = True  # whether the share is taken of postage charged too
    fee_fixed: Value = 0.0  # [money/order]
    postage_paid: Value = 0.0  # [money/order]
    packaging: Value = 0.0  # [money/order]
    refund_share: Value = 0.0  # of orders [-]
    minutes_per_order: Value = 0.0  # [min/order]
    days_per_year: Value = 0.0  # stall days [day/year]
    hours_per_day: Value = 0.0  # at the stall, driving included [hour/day]
    fee_per_day: Value = 0.0  # [money/day]
    elasticity: Value = 0.0  # share of orders lost for a share of price, as a power [-]
    reference_price: Value | None = None  # None: the price itself [money/order]
    clustering: Value = 0.0  # of the orders of a month, as the dispersion of `months.orders_at` [-]
    size_spread: Value = 0.0  # standard deviation of the pieces between orders, over their mean [-]
    waits: bool = False  # whether an order that cannot be made in its month waits for the next one; else it is lost

    @property
    def kept_share(self) -> Value:
        """Of the price, after fees and refunds. [-]"""
        return 1.0 - self.fee_share - self.refund_share

    @property
    def elastic(self) -> bool:
        """Whether buyers leave or come with the price."""
        return bool(np.any(np.asarray(self.elasticity) > 0))

    @property
    def asked(self) -> Value:
        """Orders that come at the price, as `orders_at_price` has them. [order/year]"""
        return orders_at_price(self.orders_per_year, self.price, self.reference_price, self.elasticity)

    def order(self, price: Value | None = None) -> dict[str, Value]:
        """What one order brings and costs, as `order_contribution` has it, at its price or at another one. [money/order]"""
        kinds = ("postage_charged", "fee_share", "fee_on_postage", "fee_fixed", "postage_paid", "packaging", "refund_share")
        return order_contribution(self.price if price is None else price, **{kind: getattr(self, kind) for kind in kinds})


@dataclass(frozen=True, kw_only=True)
class Overhead:
    """A cost of the year that no piece causes."""

    name: str
    per_year: Value  # [money/year]


@dataclass(frozen=True, kw_only=True)
class Equipment:
    """Something bought once and used for years."""

    name: str
    price: Value  # [money]
    life_years: Value  # [year]
    resale: Value = 0.0  # [money]


@dataclass(frozen=True, kw_only=True)
class Station:
    """Pots, ovens or kilns that each cure one load at a time."""

    name: str
    count: Value = 1.0  # [station]


@dataclass(frozen=True, kw_only=True)
class Rack:
    """Places where pieces wait one by one."""

    name: str
    places: Value  # [place]


@dataclass(frozen=True, kw_only=True)
class Risk:
    """Something rare that stops work: illness, a pump that breaks."""

    name: str
    chance: Value  # that a year has it; once at most [-]
    weeks: Value = 0.0  # lost [week]
    cost: Value = 0.0  # paid then [money]
    stops: str | None = None  # station; None: all work


@dataclass(frozen=True, kw_only=True)
class Luck:
    """What chance decides in each year drawn, as uniform numbers in [0, 1)."""

    orders: Mapping[str, np.ndarray]  # by channel, last axis months
    sizes: Mapping[str, np.ndarray]  # by channel, last axis months
    risks: Mapping[str, np.ndarray]  # by risk


@dataclass(frozen=True, kw_only=True)
class Months:
    """How a year comes month by month, or in one piece; arrays of one length, the number of its months."""

    working: np.ndarray = field(default_factory=lambda: np.ones(1))  # share of the weeks worked; adds up to one [-]
    season: np.ndarray = field(default_factory=lambda: np.ones(1))  # share of the orders; adds up to one [-]
    grown: np.ndarray = field(default_factory=lambda: np.ones(1))  # share of the full demand that is there yet [-]
    # what the month before left, `Month.late` by channel and the shelf by product; of what is not named nothing waits and the shelf is full;
    # None: as many wait as the year's own last month leaves, and as much stands ready as such years leave again
    before: tuple[Mapping[str, tuple], Mapping[str, Any]] | None = None
    # by product and step: its wait beside the stated [-]
    slower: Mapping[tuple[str, str], np.ndarray] = field(default_factory=dict)
    luck: Luck | None = None  # None: as many orders as expected, and the mean of the rare events


@dataclass(frozen=True, kw_only=True)
class Workshop:
    """A whole workshop for a year."""

    weeks_per_year: Value  # worked [week/year]
    hours_per_week: Value  # that the maker can give [hour/week]
    fixed_hours_per_week: Value  # books, cleaning, upkeep, enquiries [hour/week]
    windows: tuple[tuple[float, float], ...]  # working windows, Monday 0:00 being 0 [hour]
    target_per_hour: Value  # pay wanted for every hour [money/hour]
    living_per_year: Value  # pay that makes a year's living [money/year]
    set_aside_share: Value  # of residual pay, for contributions and tax [-]
    interest: Value = 0.0  # on equipment [1/year]
    products: tuple[Product, ...]
    channels: tuple[Channel, ...]
    overheads: tuple[Overhead, ...] = ()
    equipment: tuple[Equipment, ...] = ()
    stations: tuple[Station, ...] = ()
    racks: tuple[Rack, ...] = ()
    risks: tuple[Risk, ...] = ()
    months: Months = field(default_factory=Months)

    @property
    def elastic(self) -> set[str]:
        """Products whose buyers leave or come with a price."""
        return {channel.product for channel in self.channels if channel.elastic}

    def product(self, name: str | None = None) -> Product:
        """A product by its name, the first if none is given; ValueError for one there is not."""
        found = next((p for p in self.products if p.name == name), self.products[0] if name is None else None)
        if found is None:
            raise ValueError(f"product must be one of {', '.join(p.name for p in self.products)}; got {name!r}")
        return found

    def __post_init__(self) -> None:
        known: dict[str, Any] = {product.name: product for product in self.products}
        places = {place.name for place in (*self.stations, *self.racks)}
        for channel in self.channels:
            if channel.product not in known:
                raise ValueError(f"channel {channel.name!r} must sell a known product; got {channel.product!r}")
        for product in self.products:
            for step in product.steps:
                if step.wait_in is not None and step.wait_in not in places:
                    raise ValueError(f"step {step.name!r} must wait in a known station or rack; got {step.wait_in!r}")
