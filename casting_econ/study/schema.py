"""The study file as typed, frozen objects."""

import datetime as dt
import math
import re
from typing import Annotated, Any, Literal

from babel import Locale, UnknownLocaleError
from babel.numbers import list_currencies
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PlainValidator, ValidationInfo

from ..faults import close_match
from ..ledger.cells import celsius
from ..ledger.logs import LOGS, NUMBERS, plain
from ..reference import cautions, quote_words
from ..units import COUNTED, ratio_of_units
from .numbers import UNKNOWN, Amount, Number, Quantity, given_unit, split_figure, told

__all__ = [
    "DAYS",
    "MONTHS",
    "CashTable",
    "CommissionEntry",
    "DecisionTable",
    "MixPart",
    "OrdersTable",
    "Pack",
    "PromiseEntry",
    "QuoteTable",
    "RecordsTable",
    "ScenarioEntry",
    "StudyFile",
    "SupplyEntry",
    "TemperatureTable",
    "is_hand_sanding",
]

DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
MONTHS = ("january", "february", "march", "april", "may", "june")
MONTHS += ("july", "august", "september", "october", "november", "december")
# any letters, but no dots, which part the keys of a dotted name
Key = Annotated[str, Field(pattern=r"^[\p{L}\p{N}][\p{L}\p{M}\p{N} _-]*$", max_length=60)]


class _Reader:
    """Validator that reads a number of one quantity."""

    def __init__(self, quantity: Quantity) -> None:
        self.quantity = quantity

    def __call__(self, raw: Any, info: ValidationInfo) -> Any:
        if raw is None or isinstance(raw, Number):
            return raw
        if raw is UNKNOWN:
            return Number(math.nan, self.quantity.unit)
        currency = info.context["currency"]
        try:
            return self.quantity.read(raw, currency)
        except ValueError as error:
            right = "parameters for which that holds" if " needs " in str(error) else self.quantity.in_words(currency)
            raise told(error, right) from None


def _q(unit: str = "", **limits: Any) -> Any:
    return Annotated[Number, BeforeValidator(_Reader(Quantity(unit, **limits)))]


class _PlainReader:
    """Validator that reads a figure the study does not rest on as an uncertain number: decided, in one fixed unit."""

    def __init__(self, quantity: Quantity, why: str = "") -> None:
        self.quantity, self.why = quantity, why

    def __call__(self, raw: Any, info: ValidationInfo) -> Any:
        if raw is None:
            return None
        if raw is UNKNOWN:
            return math.nan
        currency = info.context["currency"]
        try:
            number = self.quantity.read(raw, currency)
            if number.distribution is not None or number.from_records:
                raise ValueError("a range, a distribution or records where one figure is needed")
        except ValueError as error:
            raise told(error, f"{self.quantity.in_words(currency)}{self.why}") from None
        return int(number.value) if self.quantity.whole else number.value


def _plain(unit: str = "", why: str = "", **limits: Any) -> Any:
    """A decided figure as a plain float in `unit` (an int where it is whole); such a figure is none of the study's numbers."""
    return Annotated[int | float, PlainValidator(_PlainReader(Quantity(unit, **limits), why))]


def _read_celsius(raw: Any) -> float | None:
    """A temperature in °C, from a plain number or a text with °C or °F."""
    if raw is None:
        return None
    if raw is UNKNOWN:
        return math.nan
    right = "degrees Celsius between -30 and 60, such as 22, '22 °C' or '72 °F'"
    try:
        figure, unit = split_figure(raw)
        if figure is None:
            raise ValueError("not a temperature")
        degrees = celsius(figure, plain(unit))
    except ValueError as error:
        raise told(error, right) from None
    if not -30.0 <= degrees <= 60.0:
        raise ValueError(f"outside the limits -> {right}")
    return degrees


Celsius = Annotated[float, PlainValidator(_read_celsius)]
PlainMoney, PlainDensity = _plain("{money}"), _plain("gram/milliliter", above=0.0, high=30.0)
PlainShare = _plain(high=1.0)
Whole = _plain(whole=True, high=100_000.0, counts="piece")


def _as_date(raw: Any) -> dt.date:
    """A day of a TOML date or an ISO text; ValueError for anything else."""
    if isinstance(raw, str):
        try:
            raw = dt.date.fromisoformat(raw.strip())
        except ValueError:
            raise ValueError("not a date") from None
    if not isinstance(raw, dt.date) or isinstance(raw, dt.datetime):
        raise ValueError("not a date")
    if not 2000 <= raw.year <= 2099:
        raise ValueError("a date of another century")
    return raw


def _read_date(raw: Any) -> dt.date | None:
    if raw is None or raw is UNKNOWN:
        return None
    try:
        return _as_date(raw)
    except ValueError as error:
        raise ValueError(f"{error} -> a day such as 2026-12-24") from None


Date = Annotated[dt.date, PlainValidator(_read_date)]
Share = _q(high=1.0)
PassShare = _q(high=1.0, above=0.0)
Minutes, MinutesALoad = _q("minute", per="piece cast"), _q("minute", per="load")
Hours = _q("hour", high=100_000.0, per="load")
HoursPerWeek = _q("hour/week", high=168.0, basis="decided")
Money, MoneyPerYear, MoneyPerHour = _q("{money}"), _q("{money}/year"), _q("{money}/hour", basis="decided")
MoneyAnOrder, Price = _q("{money}", per="order"), _q("{money}", basis="decided", per="order")
OrdersPerYear, LoadsPerYear = _q("order/year"), _q("load/year")
PiecesALoad = {"above": 0.0, "counts": "piece cast", "per": "load"}
Places = _q(above=0.0, basis="decided", whole=True, counts="place piece cast")


class _Node(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


def _read_amount(raw: Any, info: ValidationInfo) -> Number:
    """A quantity in the unit it is given in; a density turns volume into grams."""
    if raw is UNKNOWN:
        return Number(math.nan, "")
    unit, currency = given_unit(raw), info.context["currency"]
    density = info.data.get("density")
    try:
        number = Quantity(unit, above=0.0, counts=" ".join(COUNTED)).read(raw, currency)
        if density is None:
            return number
        return number.scaled(ratio_of_units(f"{unit} * gram / milliliter", "gram", currency) * density.value, "gram")
    except ValueError as error:
        raise told(error, "an amount above 0 with a unit, such as '24 g' (volume if a density is given)") from None


def _read_price(raw: Any, info: ValidationInfo) -> Number:
    """A price in money per unit of the quantity."""
    currency = info.context["currency"]
    amount = info.data.get("quantity")
    if raw is UNKNOWN or amount is None:  # a quantity that is at fault is reported there
        return Number(math.nan, currency)
    quantity = Quantity(f"{currency}/{amount.unit}" if amount.unit else currency, per=" ".join(COUNTED))
    try:
        return quantity.read(raw, currency)
    except ValueError as error:
        raise told(error, quantity.in_words(currency)) from None


class MaterialEntry(_Node):
    """Something used up: so much of it, at so much."""

    density: _q("gram/milliliter", above=0.0) | None = None  # turns a volume into a mass
    quantity: Annotated[Number, BeforeValidator(_read_amount)] = Number(1.0, "", basis="decided")
    price: Annotated[Number, BeforeValidator(_read_price)]
    loss: Share = Number(0.0, "")
    recovered: Share = Number(0.0, "")
    per: Literal["piece", "load"] = "piece"
    kind: Literal["material", "consumable"] = "material"
    note: str = ""


class StepEntry(_Node):
    minutes: Minutes = Number(0.0, "minute", basis="decided")
    load_minutes: MinutesALoad = Number(0.0, "minute", basis="decided")
    pass_share: PassShare = Number(1.0, "", basis="decided")
    rework_share: Share = Number(0.0, "", basis="decided")
    rework_minutes: Minutes | None = None
    wait: Hours = Number(0.0, "hour", basis="decided")
    wait_in: str | None = None
    wait_at: Celsius | None = None  # of the workshop, at which `wait` holds [°C]
    hand_sanding: bool | None = None  # None: by the step's name, see `is_hand_sanding`
    load_size: _q(**PiecesALoad) | None = None
    places_per_piece: _q(above=0.0, counts="place", per="piece cast") = Number(1.0, "", basis="decided")
    first_minutes: Minutes | None = None
    learning_rate: PassShare = Number(1.0, "", basis="decided")
    materials: dict[Key, MaterialEntry] = {}
    causes: dict[str, float] = {}


def is_hand_sanding(name: str, step: StepEntry) -> bool:
    """Whether a step is sanding by hand: as stated, else where its name says so.

    Examples
    --------
    >>> is_hand_sanding("wet-sand", StepEntry()), is_hand_sanding("polish", StepEntry())
    (True, False)
    """
    return "sand" in name.casefold() if step.hand_sanding is None else step.hand_sanding


# a mould wears by what is cast in it, not by years
_CASTS = {"counts": "cast piece", "per": "cavity", "such": "35, the casts that a cavity gives"}


class MouldEntry(_Node):
    materials: dict[Key, MaterialEntry] = {}
    minutes: _q("minute", per="set_of_moulds")
    life: _q(above=0.0, high=1e6, **_CASTS)  # mean casts a cavity gives
    life_shape: _q(low=0.5, high=20.0) = Number(2.5, "")
    replace_at: _q(above=0.0, high=1e6, basis="decided", **_CASTS) | None = None
    sets: _q(above=0.0, high=200.0, basis="decided", whole=True, counts="set_of_moulds") = Number(1.0, "", basis="decided")
    rest: Hours = Number(0.0, "hour", basis="decided")
    free_after: str | None = None  # step that gets the pieces out; None: the first after the load's first wait


class ProductEntry(_Node):
    casts_per_load: _q(**PiecesALoad, basis="decided", whole=True)
    unsold_share: _q(high=0.95) = Number(0.0, "")
    made_before: _q(counts="piece cast") = Number(0.0, "", basis="decided")
    ruined_loads: LoadsPerYear = Number(0.0, "load/year", basis="decided")
    steps: dict[Key, StepEntry] = Field(min_length=1)
    parts: dict[Key, MaterialEntry] = {}
    mould: MouldEntry | None = None
    cure_step: str | None = None  # step whose wait studies over cure time change
    load_correlation: _plain(high=0.95) | None = None  # pieces of one load fail together; None: learnt from the batches log


class ChannelEntry(_Node):
    product: str
    offered_since: Date | None = None  # from when on orders could come and were written down; None: since the logs began
    orders: OrdersPerYear
    pieces_per_order: _q(above=0.0, counts="piece", per="order")
    price: Price
    postage_charged: Price = Number(0.0, "{money}", basis="decided")
    fee_share: _q(high=0.95, basis="agreed") = Number(0.0, "", basis="agreed")
    fee_base: Literal["price", "price and postage"] = "price and postage"
    fee_fixed: _q("{money}", basis="agreed", per="order") = Number(0.0, "{money}", basis="agreed")
    postage_paid: MoneyAnOrder = Number(0.0, "{money}")
    packaging: MoneyAnOrder = Number(0.0, "{money}")
    refund_share: Share = Number(0.0, "")
    minutes_per_order: _q("minute", per="order") = Number(0.0, "minute")
    days: _q("day/year", high=366.0, basis="decided") = Number(0.0, "day/year", basis="decided")
    hours_per_day: _q("hour/day", high=24.0) = Number(0.0, "hour/day")
    fee_per_day: _q("{money}/day", basis="agreed") = Number(0.0, "{money}/day", basis="agreed")
    elasticity: _q(high=10.0) = Number(0.0, "")
    reference_price: Price | None = None


class StationEntry(_Node):
    count: _q(above=0.0, high=200.0, basis="decided", whole=True) = Number(1.0, "", basis="decided")
    places: Places | None = None


class RackEntry(_Node):
    places: Places


class EquipmentEntry(_Node):
    price: Money
    resale: Money = Number(0.0, "{money}")
    life: _q("year", above=0.0)
    bought: Date | None = None  # for the charge of a tax year


def _known_locale(text: str) -> str:
    """A locale that numbers can be written in."""
    try:
        Locale.parse(text)
    except (UnknownLocaleError, ValueError):
        raise ValueError("unknown locale -> a language and country such as en_IE, de_DE or en_US") from None
    return text


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


class StudyTable(_Node):
    name: str = Field(min_length=1)
    question: str = ""
    about: str = ""
    craft: Annotated[str, AfterValidator(_known_craft)] = "other"
    currency: Annotated[str, AfterValidator(_known_currency)]
    locale: Annotated[str, AfterValidator(_known_locale)] = "en_GB"
    invented: bool = False
    draws: int = Field(8192, ge=128, le=4_194_304)
    seed: int = Field(1, ge=0, le=2**63 - 1)
    changed_by: str = ""  # who changed the study last, and when: only what a comparison shows
    changed_on: Date | None = None


def _known_start(text: str) -> str:
    """Month and day on which every tax year starts."""
    try:
        if re.fullmatch(r"\d\d-\d\d", text, re.ASCII):
            dt.date.fromisoformat(f"2001-{text}")  # no leap year, so that every year has the day
            return text
    except ValueError:
        pass
    raise ValueError('not a day of every year -> month and day, such as "04-06" for 6 April')


class TimeTable(_Node):
    weeks: _q("week/year", above=0.0, high=53.0, basis="decided")
    hours: HoursPerWeek
    fixed_hours: _q("hour/week", high=168.0)
    weekly_tasks: list[str] = []  # steps of the timesheet that make up the fixed hours
    tax_year_starts: Annotated[str, AfterValidator(_known_start)] | None = None  # month and day; None: by country


class TargetTable(_Node):
    per_hour: MoneyPerHour | None = None  # typed, or worked out from `wage`
    wage: str | None = None  # an id of the wage table
    employer_share: Share = Number(0.0, "", basis="guess")
    full_week: _q("hour/week", above=0.0, high=100.0, basis="decided") = Number(37.5, "hour/week", basis="decided")
    set_aside: _q(high=0.95) = Number(0.0, "")
    tax: str | None = None  # an id of the tax table, for an estimate beside `set_aside`


class SpreadTable(_Node):
    """One log-normal factor a kind for numbers stated without a spread of their own; log standard deviations."""

    demand: Share = Number(0.0, "")
    minutes: Share = Number(0.0, "")
    pass_odds: _q(high=3.0) = Number(0.0, "")
    material: Share = Number(0.0, "")
    price: Share = Number(0.0, "")


def _known_log(name: str) -> str:
    """A log, or 'ignore'."""
    if name not in (*LOGS, "ignore"):
        raise ValueError(f"unknown log -> one of {', '.join(LOGS)}, or ignore{close_match(name, LOGS)}")
    return name


class RecordColumn(_Node):
    """What one of her columns is."""

    column: str  # of the log, or 'ignore'
    unit: str = ""
    density: PlainDensity | None = None  # [g/ml]


def _column_alone(raw: Any) -> Any:
    return {"column": raw} if isinstance(raw, str) else raw


def _known_columns(tables: dict[str, dict[str, RecordColumn]]) -> dict[str, dict[str, RecordColumn]]:
    """Columns that their log has."""
    for log, columns in tables.items():
        if log not in LOGS:
            raise ValueError(f"unknown log {log!r} -> one of {', '.join(LOGS)}{close_match(log, LOGS)}")
        for header, entry in columns.items():
            if entry.column not in (*LOGS[log], "ignore"):
                right = f"one of {', '.join(LOGS[log])}, or ignore{close_match(entry.column, LOGS[log])}"
                raise ValueError(f"unknown column {entry.column!r} for {header!r} -> {right}")
    return tables


def _known_word_columns(tables: dict[str, dict[str, str]]) -> dict[str, dict[str, str]]:
    """Columns of words that some log has."""
    texts = {name for log in LOGS.values() for name, (kind, _) in log.items() if kind not in NUMBERS and kind != "date"}
    for name in tables:
        if name not in texts:
            raise ValueError(f"unknown column {name!r} of words -> one of {', '.join(sorted(texts))}{close_match(name, texts)}")
    return tables


class RecordsTable(_Node):
    """How the files in records/ are to be read, where they do not say it themselves."""

    dates: Literal["day first", "month first", "year first"] | None = None
    decimal: Literal["comma", "point"] | None = None
    files: dict[str, Annotated[str, AfterValidator(_known_log)]] = {}  # file, or workbook/sheet -> log
    columns: Annotated[
        dict[str, dict[str, Annotated[RecordColumn, BeforeValidator(_column_alone)]]], AfterValidator(_known_columns)
    ] = {}  # log -> her column -> ours
    words: Annotated[dict[str, dict[str, str]], AfterValidator(_known_word_columns)] = {}  # column -> her word -> the study's


def _amount(above: float | None, limits: str) -> Any:
    """An amount in gram, milliliter, pieces, or the unit it is given in."""

    def read(raw: Any, info: ValidationInfo) -> Amount | None:
        if raw is None or raw is UNKNOWN:
            return None
        try:
            return Amount.read(raw, info.context["currency"], above)
        except ValueError as error:
            raise told(error, f"an amount {limits} with its unit, such as '5 kg', '750 ml' or 100 (pieces)") from None

    return Annotated[Amount, PlainValidator(read)]


PackSize, Stock = _amount(0.0, "above 0"), _amount(None, "of 0 or more")


class Pack(_Node):
    """A size something is sold in."""

    quantity: PackSize
    price: PlainMoney  # [money]


class MixPart(_Node):
    """One part of a mix."""

    parts: _plain(above=0.0, high=1e6)
    density: PlainDensity | None = None  # [g/ml]
    stock: Stock | None = None
    packs: list[Pack] = []


class SupplyEntry(_Node):
    """How an item is bought, and what is in stock."""

    stock: Stock | None = None
    density: PlainDensity | None = None  # [g/ml]
    packs: list[Pack] = []  # beside `mix`: a kit that is sold in the ratio of the mix
    mix_by: Literal["volume", "mass"] = "volume"
    mix: dict[Key, MixPart] = {}

    @property
    def whole_density(self) -> float | None:
        """Density as stated, else of the mix if its parts' densities and the ratio tell it; volumes taken to add up. [g/ml]"""
        parts = list(self.mix.values())
        if self.density is not None or not parts or any(part.density is None for part in parts):
            return self.density
        if self.mix_by == "volume":
            return sum(part.parts * part.density for part in parts) / sum(part.parts for part in parts)
        return sum(part.parts for part in parts) / sum(part.parts / part.density for part in parts)


class TemperatureTable(_Node):
    """How cures follow the temperature of the workshop."""

    factor: _plain(low=1.0, high=4.0) = 2.0  # how much faster 10 °C more make a cure
    january: Celsius | None = None  # of the workshop, through the months [°C]
    february: Celsius | None = None
    march: Celsius | None = None
    april: Celsius | None = None
    may: Celsius | None = None
    june: Celsius | None = None
    july: Celsius | None = None
    august: Celsius | None = None
    september: Celsius | None = None
    october: Celsius | None = None
    november: Celsius | None = None
    december: Celsius | None = None

    @property
    def months(self) -> tuple[float, ...]:
        """The twelve months from January on, or nothing. [°C]"""
        found = tuple(getattr(self, month) for month in MONTHS)
        return () if None in found else found


_SPAN = re.compile(r"\s*(\S+)\s+to\s+(\S+)\s*")


def _read_days_off(raw: Any) -> tuple[tuple[dt.date, dt.date], ...]:
    """Days and spans of days, each as its first and last day."""
    right = 'a list of days and spans, such as ["2026-12-24", "2027-03-01 to 2027-03-06"]'
    if raw is None or raw is UNKNOWN:
        return ()
    if not isinstance(raw, list | tuple):
        raise ValueError(f"not a list -> {right}")
    spans = []
    for one in raw:
        match = _SPAN.fullmatch(one) if isinstance(one, str) else None
        ends = match.groups() if match else tuple(one) if isinstance(one, tuple) else (one, one)
        try:
            first, last = (_as_date(end) for end in ends)
        except ValueError as error:
            raise ValueError(f"{error} in {str(one)!r} -> {right}") from None
        if first > last:
            raise ValueError(f"a span that ends before it begins, {one!r} -> {right}")
        spans.append((first, last))
    return tuple(spans)


def _known_holidays(text: str) -> str:
    """A country, or a country and region, whose public holidays are known."""
    import holidays  # a large library, for the few studies that name a country

    right = "a country such as IE, or a country and its region such as DE-BY"
    country, dash, region = text.partition("-")
    regions = holidays.list_supported_countries(include_aliases=True)
    if country not in regions:
        raise ValueError(f"unknown country {country!r} -> {right}{close_match(country.upper(), regions, len(regions))}")
    if dash and region not in regions[country]:
        known = f"; regions of {country}: {', '.join(regions[country])}" if regions[country] else f"; {country} has no regions"
        raise ValueError(f"unknown region {region!r} -> {right}{known}{close_match(region.upper(), regions[country])}")
    return text


def _read_weekdays(raw: Any) -> tuple[str, ...] | None:
    """Days of the week, in their order."""
    right = f"a list of {', '.join(DAYS)}"
    if raw is None or raw is UNKNOWN:
        return None
    if not isinstance(raw, list | tuple) or not raw:
        raise ValueError(f"not a list of weekdays -> {right}")
    for day in raw:
        if day not in DAYS:
            raise ValueError(f"unknown weekday {day!r} -> {right}{close_match(day, DAYS)}")
    return tuple(day for day in DAYS if day in raw)


class PromiseEntry(_Node):
    """What is promised already: hours a week for something else, or loads that go first."""

    what: str = Field(min_length=1)
    hours: _plain("hour/week", above=0.0, high=168.0) | None = None  # [hour/week]
    begins: Date | None = Field(None, alias="from")
    until: Date | None = None
    product: str | None = None
    casts: _plain(above=0.0, high=100_000.0, whole=True, counts="cast piece") | None = None  # [cast]


class OrdersTable(_Node):
    """What time and hands commissions have."""

    hours: _plain("hour/week", above=0.0, high=168.0) | None = None  # hands; None: weekly hours less the fixed ones
    days_off: Annotated[tuple[tuple[dt.date, dt.date], ...], PlainValidator(_read_days_off)] = ()  # first and last day of each
    holidays: Annotated[str, AfterValidator(_known_holidays)] | None = None
    sanding_cap: _plain(
        "hour/day", "; 3 h of hand sanding a day is the planning cap (common practice, no source)", above=0.0, high=3.0
    ) = 3.0  # [hour/day]
    posting_days: Annotated[tuple[str, ...], PlainValidator(_read_weekdays)] | None = None  # None: every day of the calendar
    transit_days: _plain(high=365.0, whole=True) = 0  # whole calendar days from posting to arrival [day]
    deposit_least: PlainShare = 0.3
    promised: list[PromiseEntry] = []


class CommissionEntry(_Node):
    """One order by a date."""

    product: str
    pieces: _plain(above=0.0, high=100_000.0, whole=True, counts="piece")
    due: Date
    start: Date | None = None
    confidence: _plain(low=0.5, high=0.9999) = 0.95
    set_of: _plain(low=1.0, high=1000.0, whole=True, counts="piece") = 1  # pieces that must match come from one load
    variants: dict[Key, _plain(above=0.0, high=100_000.0, whole=True, counts="piece")] = {}  # pieces of each colour or form
    channel: str | None = None
    price: _plain("{money}", per="order", high=1e9) | None = None  # offered, of the whole order [money]
    short_penalty: PlainMoney = 0.0  # once, if pieces are missing on the day [money]
    short_penalty_each: _plain("{money}", per="piece") = 0.0  # for each missing piece [money]
    leftover_value: _plain("{money}", per="piece") = 0.0  # of a good piece too many [money]
    rounds: _plain(low=1.0, high=4.0, whole=True) = 2
    in_hand: Whole = 0  # good pieces there already [piece]
    what: str = ""
    note: str = ""


class ScenarioEntry(_Node):
    """Something that could be done differently, and what it takes."""

    what: str = Field(min_length=1)
    outlay: PlainMoney = 0.0  # once [money]
    life: _plain("year", above=0.0, high=50.0) = 5.0  # of what the outlay buys [year]
    hours: _plain("hour", high=10_000.0) = 0.0  # once, to set it up [hour]
    change: dict[str, Any] = {}  # tables and keys of this file as they would be
    drop: list[str] = []  # dotted keys that would be gone
    scale: dict[
        str, _plain(above=0.0, high=100.0)
    ] = {}  # dotted keys, * for any name, to a factor; STEP.scrap is what its check does not pass


class DecisionTable(_Node):
    """What limits a choice between scenarios."""

    budget: PlainMoney | None = None  # for outlays [money]


def _known_language(text: str) -> str:
    """A language that the words of a quote are there in."""
    if re.split("[_-]", text)[0].lower() not in quote_words():
        raise ValueError(f"no words of a quote in this language -> one of {', '.join(quote_words())}")
    return text


class QuoteTable(_Node):
    """What stands in every quote."""

    maker: str = ""
    contact: str = ""
    valid_days: _plain(above=0.0, high=366.0, whole=True) = 14  # [day]
    changes: str = ""
    terms: list[str] = []
    tax_note: str = ""
    language: Annotated[str, AfterValidator(_known_language)] | None = None


def _read_season(raw: Any) -> tuple[float, ...] | str | None:
    """Twelve weights from January, or 'records'."""
    if raw is None or raw is UNKNOWN or raw == "records":
        return None if raw is UNKNOWN else raw
    right = 'twelve weights from January such as [0.8, 0.8, 1, 1, 1, 1, 0.9, 0.9, 1, 1, 1.3, 1.3], or "records"'
    if not isinstance(raw, list | tuple):
        raise ValueError(f"not a list of weights -> {right}")
    weights = [split_figure(one) for one in raw]
    if len(raw) != len(MONTHS):
        raise ValueError(f"{len(raw)} weights for the {len(MONTHS)} months -> {right}")
    for month, (figure, unit), one in zip(MONTHS, weights, raw, strict=True):
        if figure is None or unit or figure < 0:
            raise ValueError(f"a weight of {month} that is no number of 0 or more, {one!r} -> {right}")
    if not any(figure for figure, _ in weights):
        raise ValueError(f"no weight above 0 -> {right}")
    return tuple(figure for figure, _ in weights)


class CashTable(_Node):
    """How money comes and goes by month. Decided figures: none of them moves the year's result."""

    reserve: PlainMoney = 0.0  # there at the start [money]
    outlay: dict[Key, PlainMoney] | None = None  # at the start; None: the equipment and a first set of moulds a product [money]
    months: _plain(low=12.0, high=60.0, whole=True) = 24  # [month]
    ramp_months: _plain(high=60.0) = 0.0  # until demand is full, growing evenly from nothing [month]
    season: Annotated[tuple[float, ...] | str, PlainValidator(_read_season)] | None = None  # None: every month alike
    start_month: Literal[MONTHS] = MONTHS[0]
    payment_delay: dict[Key, _plain(high=24.0, whole=True)] = {}  # of channels, from the sale on [month]
    pay_taken: _plain("{money}/month") = 0.0  # that the maker means to take out, beside what is worked out [money/month]
    material_lead: _plain(high=12.0, whole=True) = 0  # bought so long before the sale [month]


class CorrelationEntry(_Node):
    between: tuple[str, str]
    rank: float = Field(gt=-1, lt=1)


class StudyFile(_Node):
    """The whole of study.toml."""

    study: StudyTable
    time: TimeTable
    calendar: dict[Literal[DAYS], str] = Field(min_length=1)
    target: TargetTable
    spread: SpreadTable = SpreadTable()
    products: dict[Key, ProductEntry] = Field(min_length=1)
    channels: dict[Key, ChannelEntry] = Field(min_length=1)
    stations: dict[Key, StationEntry] = {}
    racks: dict[Key, RackEntry] = {}
    overheads: dict[Key, MoneyPerYear] = {}
    equipment: dict[Key, EquipmentEntry] = {}
    interest: _q("1/year", high=1.0) = Number(0.0, "1/year", basis="decided")
    correlations: list[CorrelationEntry] = Field([], max_length=200)
    records: RecordsTable = RecordsTable()
    supplies: dict[Key, SupplyEntry] = {}
    temperature: TemperatureTable = TemperatureTable()
    orders: OrdersTable = OrdersTable()
    commissions: dict[Key, CommissionEntry] = {}
    quote: QuoteTable = QuoteTable()
    scenarios: dict[Key, ScenarioEntry] = Field({}, max_length=50)  # each is a study to be read again
    decision: DecisionTable = DecisionTable()
    cash: CashTable = CashTable()
