"""The study file as typed, frozen objects."""

import math
from typing import Annotated, Any, Literal

from babel import Locale, UnknownLocaleError
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from ..faults import close_match
from .numbers import UNKNOWN, Number, Quantity, given_unit, ratio_of_units
from .reading.logs import LOGS, NUMBERS

__all__ = ["DAYS", "RecordsTable", "StudyFile"]

DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
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
            raise ValueError(f"{error} -> {right}") from None


def _q(unit: str = "", **limits: Any) -> Any:
    return Annotated[Number, BeforeValidator(_Reader(Quantity(unit, **limits)))]


Share = _q(high=1.0)
PassShare = _q(high=1.0, above=0.0)
Minutes, Hours = _q("minute"), _q("hour", high=100_000.0)
HoursPerWeek = _q("hour/week", high=168.0, basis="decided")
Money, MoneyPerYear, MoneyPerHour = _q("{money}"), _q("{money}/year"), _q("{money}/hour", basis="decided")
Price = _q("{money}", basis="decided")
OrdersPerYear, LoadsPerYear = _q("order/year"), _q("load/year")
Count = _q(above=0.0)
WholeDecided = _q(above=0.0, basis="decided", whole=True)


class _Node(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


def _read_amount(raw: Any, info: ValidationInfo) -> Number:
    """A quantity in the unit it is given in; a density turns volume into grams."""
    if raw is UNKNOWN:
        return Number(math.nan, "")
    unit, currency = given_unit(raw), info.context["currency"]
    density = info.data.get("density")
    try:
        number = Quantity(unit, above=0.0).read(raw, currency)
        if density is None:
            return number
        return number.scaled(ratio_of_units(f"{unit} * gram / milliliter", "gram", currency) * density.value, "gram")
    except ValueError as error:
        raise ValueError(f"{error} -> an amount above 0 with a unit, such as '24 g' (volume if a density is given)") from None


def _read_price(raw: Any, info: ValidationInfo) -> Number:
    """A price in money per unit of the quantity."""
    currency = info.context["currency"]
    amount = info.data.get("quantity")
    if raw is UNKNOWN or amount is None:  # a quantity that is at fault is reported there
        return Number(math.nan, currency)
    quantity = Quantity(f"{currency}/{amount.unit}" if amount.unit else currency)
    try:
        return quantity.read(raw, currency)
    except ValueError as error:
        raise ValueError(f"{error} -> {quantity.in_words(currency)}") from None


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
    load_minutes: Minutes = Number(0.0, "minute", basis="decided")
    pass_share: PassShare = Number(1.0, "", basis="decided")
    rework_share: Share = Number(0.0, "", basis="decided")
    rework_minutes: Minutes | None = None
    wait: Hours = Number(0.0, "hour", basis="decided")
    wait_in: str | None = None
    load_size: Count | None = None
    places_per_piece: Count = Number(1.0, "", basis="decided")
    first_minutes: Minutes | None = None
    learning_rate: PassShare = Number(1.0, "", basis="decided")
    materials: dict[Key, MaterialEntry] = {}
    causes: dict[str, float] = {}


class MouldEntry(_Node):
    materials: dict[Key, MaterialEntry] = {}
    minutes: Minutes
    life: _q(above=0.0, high=1e6)  # mean casts a cavity gives
    life_shape: _q(low=0.5, high=20.0) = Number(2.5, "")
    replace_at: _q(above=0.0, high=1e6, basis="decided") | None = None
    sets: _q(above=0.0, high=200.0, basis="decided", whole=True) = Number(1.0, "", basis="decided")
    rest: Hours = Number(0.0, "hour", basis="decided")


class ProductEntry(_Node):
    casts_per_load: WholeDecided
    unsold_share: _q(high=0.95) = Number(0.0, "")
    made_before: _q() = Number(0.0, "", basis="decided")
    ruined_loads: LoadsPerYear = Number(0.0, "load/year", basis="decided")
    steps: dict[Key, StepEntry] = Field(min_length=1)
    parts: dict[Key, MaterialEntry] = {}
    mould: MouldEntry | None = None
    cure_step: str | None = None  # step whose wait studies over cure time change


class ChannelEntry(_Node):
    product: str
    orders: OrdersPerYear
    pieces_per_order: Count
    price: Price
    postage_charged: Price = Number(0.0, "{money}", basis="decided")
    fee_share: _q(high=0.95, basis="agreed") = Number(0.0, "", basis="agreed")
    fee_base: Literal["price", "price and postage"] = "price and postage"
    fee_fixed: _q("{money}", basis="agreed") = Number(0.0, "{money}", basis="agreed")
    postage_paid: Money = Number(0.0, "{money}")
    packaging: Money = Number(0.0, "{money}")
    refund_share: Share = Number(0.0, "")
    minutes_per_order: Minutes = Number(0.0, "minute")
    days: _q("day/year", high=366.0, basis="decided") = Number(0.0, "day/year", basis="decided")
    hours_per_day: _q("hour/day", high=24.0) = Number(0.0, "hour/day")
    fee_per_day: _q("{money}/day", basis="agreed") = Number(0.0, "{money}/day", basis="agreed")
    elasticity: _q(high=10.0) = Number(0.0, "")
    reference_price: Price | None = None


class StationEntry(_Node):
    count: _q(above=0.0, high=200.0, basis="decided", whole=True) = Number(1.0, "", basis="decided")
    places: WholeDecided | None = None


class RackEntry(_Node):
    places: WholeDecided


class EquipmentEntry(_Node):
    price: Money
    resale: Money = Number(0.0, "{money}")
    life: _q("year", above=0.0)


def _known_locale(text: str) -> str:
    """A locale that numbers can be written in."""
    try:
        Locale.parse(text)
    except (UnknownLocaleError, ValueError):
        raise ValueError("unknown locale -> a language and country such as en_IE, de_DE or en_US") from None
    return text


class StudyTable(_Node):
    name: str = Field(min_length=1)
    question: str = ""
    about: str = ""
    craft: str = "other"
    currency: str = Field(pattern=r"^[A-Z]{3}$")
    locale: Annotated[str, AfterValidator(_known_locale)] = "en_GB"
    invented: bool = False
    draws: int = Field(8192, ge=128, le=4_194_304)
    seed: int = Field(1, ge=0, le=2**63 - 1)


class TimeTable(_Node):
    weeks: _q("week/year", above=0.0, high=53.0, basis="decided")
    hours: HoursPerWeek
    fixed_hours: _q("hour/week", high=168.0)
    weekly_tasks: list[str] = []  # steps of the timesheet that make up the fixed hours


class TargetTable(_Node):
    per_hour: MoneyPerHour | None = None  # typed, or worked out from `wage`
    wage: str | None = None  # an id of the wage table
    employer_share: Share = Number(0.0, "", basis="guess")
    full_week: _q("hour/week", above=0.0, high=100.0, basis="decided") = Number(37.5, "hour/week", basis="decided")
    set_aside: _q(high=0.95) = Number(0.0, "")


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


def _read_density(raw: Any, info: ValidationInfo) -> float | None:
    """Grams a millilitre, as a plain figure: it is no number that the study rests on by itself."""
    if raw is None:
        return None
    try:
        return Quantity("gram/milliliter", above=0.0).read(raw, info.context["currency"]).value
    except ValueError as error:
        raise ValueError(f"{error} -> a density such as '1.1 g/ml'") from None


class RecordColumn(_Node):
    """What one of her columns is."""

    column: str  # of the log, or 'ignore'
    unit: str = ""
    density: Annotated[float | None, BeforeValidator(_read_density)] = None  # [g/ml]


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
    correlations: list[CorrelationEntry] = []
    records: RecordsTable = RecordsTable()
