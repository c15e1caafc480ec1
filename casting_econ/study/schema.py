"""The study file as typed, frozen objects: the year's workshop. `commissions` has the tables of orders by a date."""

import datetime as dt
import math
import re
from typing import Annotated, Any, Literal

from babel.numbers import list_currencies
from pydantic import AfterValidator, ValidationInfo

from ..faults import close_match
from ..reference import cautions
from .commissions import CommissionEntry, OrdersTable, QuoteTable, SupplyEntry, TemperatureTable
from .fields import (
    DAYS,
    MONTHS,
    ONE,
    PIECES_A_LOAD,
    ZERO,
    Celsius,
    Date,
    Given,
    Hours,
    Key,
    Minutes,
    Money,
    MoneyAnOrder,
    Node,
    PassShare,
    PlainMoney,
    Price,
    PriceOfUnit,
    Share,
    decided,
    key,
    known_locale,
    number,
    reads,
)
from .numbers import Number, split_figure
from .reading import RecordsTable
from .stations import RackEntry, StationEntry


class MaterialEntry(Node):
    """Something used up: so much of it, at so much."""

    density: number("gram/milliliter", above=0.0) | None = key("turns a quantity by volume into a mass", None)
    quantity: Given = key("how much a piece takes, or a load or lot with per", ONE)
    price: PriceOfUnit = key("of a unit of the quantity")
    loss: Share = key("share that stays in cups and on tools, on top of the quantity", ZERO)
    recovered: Share = key("share that comes back from rejects", ZERO)
    per: Literal["piece", "load", "lot"] = key("whether the quantity is of a piece, of a load, or of each lot in a load", "piece")
    kind: Literal["material", "consumable"] = key("a consumable does not stay in the piece", "material")
    note: str = key("why; shown beside the price", "")


class StepEntry(Node):
    """One step of the routing."""

    minutes: Minutes = key("hands-on minutes for each piece that enters", ZERO)
    load_minutes: number("minute", per="load") = key("hands-on minutes for a whole load", ZERO)
    lot_minutes: number("minute", per="lot") = key("hands-on minutes besides, for each lot (a colour) in a load", ZERO)
    pass_share: PassShare = key("share of the pieces that pass the check here", ONE)
    rework_share: Share = key("share of the pieces that are done again here", ZERO)
    rework_minutes: Minutes | None = key("minutes to do a piece again; those of the step if not given", None)
    wait: Hours = key("hours that a load cures, sets or rests here, by night too", ZERO)
    wait_in: str | None = key("station or rack it waits in; without one a load's first wait is in its mould", None)
    wait_at: Celsius | None = key("temperature of the workshop at which the wait holds", None)
    hand_sanding: bool | None = key("whether this is sanding by hand; by the step's name if not given", None)
    load_size: number(**PIECES_A_LOAD) | None = key("pieces that go in together; the casts of a load if not given", None)
    places_per_piece: number(above=0.0, counts="place", per="piece cast") = key("places that a piece takes where it waits", ONE)
    first_minutes: Minutes | None = key("minutes the first piece ever took, from which learning starts", None)
    learning_rate: PassShare = key("minutes after twice as many pieces, as a share of those before", ONE)
    materials: dict[Key, MaterialEntry] = key("what every piece that enters uses up", {})
    causes: dict[str, float] = key("why pieces fail here, each with its weight", {})


def is_hand_sanding(name: str, step: StepEntry) -> bool:
    """Whether a step is sanding by hand: as stated, else where its name says so.

    >>> is_hand_sanding("wet-sand", StepEntry()), is_hand_sanding("polish", StepEntry())
    (True, False)
    """
    return "sand" in name.casefold() if step.hand_sanding is None else step.hand_sanding


Cavities = decided(above=0.0, high=1000.0, whole=True, counts="cavity cast piece", per="mould")
# a mould wears by what is cast in it, not by years
_CASTS = {"counts": "cast piece", "per": "cavity", "such": "35, the casts that a cavity gives"}


class MouldStepEntry(Node):
    """One step of making moulds; what it takes is of one mould, load_minutes of one pour of several."""

    minutes: number("minute", per="mould") = key("hands-on minutes for each mould", ZERO)
    load_minutes: number("minute", per="load") = key("hands-on minutes for a whole pour", ZERO)
    wait: Hours = key("hours that a pour cures here, by night too", ZERO)
    wait_in: str | None = key("station it cures in; a mould takes a place there for each of its cavities", None)
    materials: dict[Key, MaterialEntry] = key("what each mould takes", {})


class MouldEntry(Node):
    """The moulds of a product: counted in sets, each filling a load, or one by one where the steps of making them are given."""

    materials: dict[Key, MaterialEntry] = key("what a set is made of; with steps they stand there", {})
    minutes: number("minute", per="set_of_moulds") | None = key(
        "minutes to make a set; or give the steps of making a mould", None
    )
    steps: dict[Key, MouldStepEntry] = key("making moulds, step by step in order", {})
    cavities: Cavities | None = key("casts that one mould gives at once; needed with steps", None)
    in_hand: decided(whole=True, high=1000.0, counts="mould") = key("moulds there now; those of the moulds log count besides", 0)
    masters: decided(whole=True, high=1000.0, counts="piece cast") = key("masters there now, which moulds are poured over", 0)
    life: number(above=0.0, high=1e6, **_CASTS) = key("mean casts that a cavity gives until it is worn out")
    life_shape: number(low=0.5, high=20.0) = key("how alike lives are: 1 by chance, higher by wear", Number(2.5, ""))
    replace_at: number(above=0.0, high=1e6, basis="decided", **_CASTS) | None = key(
        "casts after which a mould is replaced, worn out or not", None
    )
    sets: number(above=0.0, high=200.0, basis="decided", whole=True, counts="set_of_moulds") = key("sets in use", ONE)
    rest: Hours = key("hours that a mould rests before it is filled again", ZERO)
    free_after: str | None = key("step that gets the pieces out; the first after the load's first wait if not given", None)


class ProductEntry(Node):
    """What is cast, and how."""

    casts_per_load: number(**PIECES_A_LOAD, basis="decided", whole=True) = key(
        "pieces cast in a load; at most what its station holds in whole moulds"
    )
    lots_per_load: number(above=0.0, counts="lot", per="load") = key("lots in a load of the year; an order has its own", ONE)
    unsold_share: number(high=0.95) = key("share of the good pieces that is never sold: samples, gifts", ZERO)
    made_before: number(counts="piece cast") = key("pieces made before the study, from which learning goes on", ZERO)
    ruined_loads: number("load/year") = key("whole loads lost a year, beside what the checks find", ZERO)
    steps: dict[Key, StepEntry] = key("the routing, step by step in order", min_length=1)
    parts: dict[Key, MaterialEntry] = key("what goes into good pieces only", {})
    mould: MouldEntry | None = key("the moulds of the product", None)
    cure_step: str | None = key("step whose wait cure studies change; the longest if not given", None)
    shelf: number(high=1e6, basis="decided", counts="piece") = key("good pieces kept ready for orders to come", ZERO)
    shelf_cost: number("{money}/year", per="piece") = key(
        "what keeping a piece ready costs, with its share of room and interest", ZERO
    )
    load_correlation: decided(high=0.95) | None = key("how much pieces of a load fail together; learnt if not given", None)

    @property
    def first_wait(self) -> str | None:
        """The first step that may wait: up to there a load is cast in one go."""
        return next((name for name, step in self.steps.items() if step.wait.most > 0), None)


class ChannelEntry(Node):
    """A way of selling a product."""

    product: str = key("product that is sold here")
    offered_since: Date | None = key("day from when on orders could come; since the first row of all logs if not given", None)
    orders: number("order/year") = key("orders that come in a year")
    pieces_per_order: number(above=0.0, counts="piece", per="order") = key("pieces in an order")
    price: Price = key("what the buyer pays for an order, without postage")
    postage_charged: Price = key("what the buyer pays for postage, an order", ZERO)
    fee_share: number(high=0.95, basis="agreed") = key("share that marketplace, card and adverts take", ZERO)
    fee_base: Literal["price", "price and postage"] = key("what the share is taken of", "price and postage")
    fee_fixed: number("{money}", basis="agreed", per="order") = key("fixed fee of an order", ZERO)
    postage_paid: MoneyAnOrder = key("what postage costs you, an order", ZERO)
    packaging: MoneyAnOrder = key("what packing costs, an order", ZERO)
    refund_share: Share = key("share of the orders that is paid back, with their postage", ZERO)
    minutes_per_order: number("minute", per="order") = key("minutes to answer, pack and post an order", ZERO)
    days: number("day/year", high=366.0, basis="decided") = key("days of a stall in a year", ZERO)
    hours_per_day: number("hour/day", high=24.0) = key("hours that a day of the stall takes, all in", ZERO)
    fee_per_day: number("{money}/day", basis="agreed") = key("what a day of the stall costs", ZERO)
    elasticity: number(high=10.0) = key("percent of orders lost for each percent on the price", ZERO)
    reference_price: Price | None = key("price at which the orders were counted or guessed; the price if not given", None)
    clustering: number(high=20.0) = key(
        "how bunched orders come: 0 by chance alone, 1 and more in clusters; learnt if not given", ZERO
    )
    size_spread: number(high=5.0) = key("how orders differ in pieces: their scatter over their mean; learnt if not given", ZERO)
    waits: bool | None = key(
        "whether buyers wait a month for what is not ready, longer if begun; yes, but at stalls, if not given", None
    )


class RiskEntry(Node):
    """Something rare that stops work."""

    chance: Share = key("chance that a year has it; it comes once at most")
    weeks: number("week", high=53.0) = key("weeks of work that it takes", ZERO)
    cost: Money = key("what it costs then", ZERO)
    stops: str | None = key("station that stands still; all work if not given", None)


class EquipmentEntry(Node):
    """Something bought for years."""

    price: Money = key("what it cost")
    resale: Money = key("what it will still bring at the end of its life", ZERO)
    life: number("year", above=0.0) = key("years that it lasts")
    life_loads: decided(above=0.0, high=1e7, counts="load") | None = key("loads that it lasts; what a project took by use", None)
    life_hours: decided("hour", above=0.0, high=1e7) | None = key("hours of making that it lasts; or loads", None)
    bought: Date | None = key("day from when on it counts for the charge of a tax year", None)


def _known_currency(text: str, info: ValidationInfo) -> str:
    """A currency of ISO 4217."""
    if text not in list_currencies():
        raise ValueError(f"unknown currency -> a currency code of three capitals, such as {info.context['currency']}")
    return text


def _known_craft(text: str) -> str:
    """A craft with reminders of its own, or 'other'."""
    known = [*dict.fromkeys(name for name in cautions().craft if name != "any"), "other"]
    if text not in known:
        right = f"one of {', '.join(known)}; other has the general reminders only"
        raise ValueError(f"unknown craft -> {right}{close_match(text.casefold(), known)}")
    return text


class StudyTable(Node):
    """What the study is."""

    name: str = key("name of the study", min_length=1)
    question: str = key("what it asks", "")
    about: str = key("what it is about, in a sentence", "")
    craft: Annotated[str, AfterValidator(_known_craft)] = key("craft whose safety reminders the report has", "other")
    currency: Annotated[str, AfterValidator(_known_currency)] = key("code of the money that everything is counted in")
    locale: Annotated[str, AfterValidator(known_locale)] = key("how the report writes numbers and dates", "en_GB")
    invented: bool = key("whether its numbers are made up, which the report then says", False)
    variation: Literal["rates", "counts", "months"] = key(
        "what differs between years: what you do not know alone, the number of orders too, or month by month", "rates"
    )
    draws: int = key("possible years that are worked out", 8192, ge=128, le=4_194_304)
    seed: int = key("where the draws start; the same seed gives the same results", 1, ge=0, le=2**63 - 1)
    changed_by: str = key("who changed the study last; only a comparison shows it", "")
    changed_on: Date | None = key("day of that change", None)


def _known_start(text: str) -> str:
    """Month and day on which every tax year starts."""
    try:
        if re.fullmatch(r"\d\d-\d\d", text, re.ASCII):
            dt.date.fromisoformat(f"2001-{text}")  # no leap year, so that every year has the day
            return text
    except ValueError:
        pass
    raise ValueError('not a day of every year -> month and day, such as "04-06" for 6 April')


class TimeTable(Node):
    """Hours that there are."""

    weeks: number("week/year", above=0.0, high=53.0, basis="decided") = key("weeks worked a year")
    weeks_off: dict[Literal[MONTHS], decided("week", high=4.5)] = key("by month, weeks without work; evenly if not given", {})
    hours: number("hour/week", high=168.0, basis="decided") = key("hours a week that you can give, all in")
    fixed_hours: number("hour/week", high=168.0) = key("hours a week that no customer sees")
    weekly_tasks: list[str] = key("names that the fixed hours have in the timesheet", [])
    one_off_tasks: list[str] = key("names that work done once only has in the timesheet, such as photographs", [])
    tax_year_starts: Annotated[str, AfterValidator(_known_start)] | None = key(
        "month and day on which the tax year starts; by the country of the locale if not given", None
    )


class TargetTable(Node):
    """What an hour should bring: typed, or worked out from a wage."""

    per_hour: number("{money}/hour", basis="decided") | None = key("what an hour should bring; or give a wage", None)
    wage: str | None = key("id of the wage table, such as an employee's living wage", None)
    employer_share: Share = key("what an employer pays on top of that wage", ZERO)
    full_week: number("hour/week", above=0.0, high=100.0, basis="decided") = key(
        "hours of a full week, for a year's living", Number(37.5, "hour/week", basis="decided")
    )
    set_aside: number(high=0.95) = key("share of pay kept for contributions and tax; an estimate", ZERO)
    tax: str | None = key("id of the tax table, for an estimate beside the set-aside", None)
    floor: decided("{money}/year", above=0.0) | None = key(
        "money a year that you must not fall below; half of a year's living if not given", None
    )


class SpreadTable(Node):
    """One log-normal factor a kind for numbers stated without a spread of their own; log standard deviations."""

    demand: Share = key("how far orders of all channels move together", ZERO)
    minutes: Share = key("how far all minutes move together", ZERO)
    pass_odds: number(high=3.0) = key("how far all pass shares move together", ZERO)
    material: Share = key("how far prices of materials move together", ZERO)
    price: Share = key("how far your own prices move together", ZERO)


class ScenarioEntry(Node):
    """Something that could be done differently, and what it takes."""

    what: str = key("what is done differently, in words", min_length=1)
    outlay: PlainMoney = key("money it takes once", 0.0)
    life: decided("year", above=0.0, high=50.0) = key("years that the outlay serves", 5.0)
    hours: decided("hour", high=10_000.0) = key("hours to set it up, once", 0.0)
    change: dict[str, Any] = key("tables and keys of this file as they would be, new ones too", {})
    drop: list[str] = key("dotted keys that would be gone", [])
    scale: dict[str, decided(above=0.0, high=100.0)] = key(
        "dotted keys, * for any name, each to a factor; STEP.scrap is what its check does not pass", {}
    )


class ChangeEntry(Node):
    """Something that was done differently from a day on; the logs before and after it are compared."""

    what: str = key("what was done differently, in words", min_length=1)
    date: Date = key("first day on which it was so")
    product: str | None = key("product that it was done to; every one if not given", None)
    step: str | None = key("step that it was done to; the whole routing if not given", None)


class DecisionTable(Node):
    """What limits a choice between scenarios."""

    budget: PlainMoney | None = key("money for outlays of scenarios done together", None)


def _season(raw, _):
    """Twelve weights from January, or 'records'."""
    if raw == "records":
        return raw
    if not isinstance(raw, list | tuple):
        raise ValueError("not a list of weights")
    weights = [split_figure(one) for one in raw]
    if len(raw) != len(MONTHS):
        raise ValueError(f"{len(raw)} weights for the {len(MONTHS)} months")
    for month, (figure, unit), one in zip(MONTHS, weights, raw, strict=True):
        if figure is None or unit or not 0 <= figure < math.inf:
            raise ValueError(f"a weight of {month} that is no number of 0 or more, {one!r}")
    if not any(figure for figure, _ in weights):
        raise ValueError("no weight above 0")
    return tuple(figure for figure, _ in weights)


_WEIGHTS = 'twelve weights from January such as [0.8, 0.8, 1, 1, 1, 1, 0.9, 0.9, 1, 1, 1.3, 1.3], or "records"'


class CashTable(Node):
    """How money comes and goes by month. Decided figures; of them the season alone reaches the year, where it varies by months."""

    reserve: PlainMoney = key("money there at the start", 0.0)
    outlay: dict[Key, PlainMoney] | None = key("paid at the start, by what for; equipment and first moulds if not given", None)
    months: decided(low=12.0, high=60.0, whole=True) = key("months that are followed", 24)
    ramp_months: decided(high=60.0) = key("months until demand is full, growing evenly from nothing", 0.0)
    season: Annotated[tuple[float, ...] | str, reads(_season, _WEIGHTS)] | None = key(
        'how demand comes by month: twelve weights from January, or "records"; every month alike if not given', None
    )
    start_month: Literal[MONTHS] = key("month it starts in", MONTHS[0])
    payment_delay: dict[Key, decided(high=24.0, whole=True)] = key("by channel: months from a sale to its money", {})
    pay_taken: decided("{money}/month") = key("money a month that you mean to take out", 0.0)
    material_lead: decided(high=12.0, whole=True) = key("months that materials are bought before the sale", 0)


class CorrelationEntry(Node):
    """Two numbers that move together."""

    between: tuple[str, str] = key("dotted keys of the two")
    rank: float = key("rank correlation, between -1 and 1", gt=-1, lt=1)


class StudyFile(Node):
    """The whole of study.toml."""

    study: StudyTable = key("what the study is")
    time: TimeTable = key("weeks and hours that there are")
    calendar: dict[Literal[DAYS], str] = key("working hours by day; cures run on outside them", min_length=1)
    target: TargetTable = key("what an hour should bring")
    spread: SpreadTable = key("how uncertain numbers without a spread of their own are, by kind", SpreadTable())
    products: dict[Key, ProductEntry] = key("what is cast, and how", min_length=1)
    channels: dict[Key, ChannelEntry] = key("ways of selling", min_length=1)
    stations: dict[Key, StationEntry] = key("ovens, kilns and the like; a load waits in one as a whole", {})
    racks: dict[Key, RackEntry] = key("shelves and racks; pieces wait in them one by one", {})
    overheads: dict[Key, number("{money}/year")] = key("money a year, whatever is made", {})
    equipment: dict[Key, EquipmentEntry] = key("what was bought for years", {})
    risks: dict[Key, RiskEntry] = key("rare events that stop work", {})
    interest: number("1/year", high=1.0, such="'5 %', the percentage of a year") = key(
        "interest a year on money in equipment; a percentage is a year's", ZERO
    )
    correlations: list[CorrelationEntry] = key("numbers that move together", [], max_length=200)
    records: RecordsTable = key("how your own files are to be read", RecordsTable())
    supplies: dict[Key, SupplyEntry] = key("how materials and parts are bought, and what is in stock", {})
    temperature: TemperatureTable = key("of the workshop, which cures follow", TemperatureTable())
    orders: OrdersTable = key("time and hands that commissions have", OrdersTable())
    commissions: dict[Key, CommissionEntry] = key("orders by a date", {})
    quote: QuoteTable = key("what stands in every quote", QuoteTable())
    # each is a study to be read again
    scenarios: dict[Key, ScenarioEntry] = key("what could be done differently", {}, max_length=50)
    changes: dict[Key, ChangeEntry] = key("what was done differently from a day on", {}, max_length=50)
    decision: DecisionTable = key("what limits a choice between scenarios", DecisionTable())
    cash: CashTable = key("money by month", CashTable())
