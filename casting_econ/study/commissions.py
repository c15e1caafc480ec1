"""The tables of commissions: what is bought and in stock, the warmth of the workshop, hands and days, orders by a date, quotes."""

import datetime as dt
import re
from typing import Annotated, Literal

from pydantic import AfterValidator, create_model

from ..faults import close_match
from ..reference import quote_words
from .fields import (
    DAYS,
    MONTHS,
    Celsius,
    Date,
    Key,
    Node,
    PackSize,
    PlainDensity,
    PlainMoney,
    PlainShare,
    Stock,
    as_date,
    decided,
    key,
    reads,
)


class Pack(Node):
    """A size something is sold in."""

    quantity: PackSize = key("how much is in it")
    price: PlainMoney = key("what it costs")


class MixPart(Node):
    """One part of a mix."""

    parts: decided(above=0.0, high=1e6) = key("parts of it in the mix")
    density: PlainDensity | None = key("between its volume and mass", None)
    stock: Stock | None = key("what is there of it", None)
    packs: list[Pack] = key("sizes it is sold in", [])


class SupplyEntry(Node):
    """How an item is bought, and what is in stock."""

    stock: Stock | None = key("what is there", None)
    density: PlainDensity | None = key("between its volume and mass", None)
    packs: list[Pack] = key("sizes it is sold in; beside a mix, those of a kit in its ratio", [])
    mix_by: Literal["volume", "mass"] = key("what the parts of a mix are measured by", "volume")
    mix: dict[Key, MixPart] = key("parts that it is mixed of", {})

    @property
    def whole_density(self) -> float | None:
        """Density as stated, else of the mix if its parts' densities and the ratio tell it; volumes taken to add up. [g/ml]"""
        parts = list(self.mix.values())
        if self.density is not None or not parts or any(part.density is None for part in parts):
            return self.density
        if self.mix_by == "volume":
            return sum(part.parts * part.density for part in parts) / sum(part.parts for part in parts)
        return sum(part.parts for part in parts) / sum(part.parts / part.density for part in parts)


_FIRST, _OTHER = "temperature of the workshop in this month; all twelve or none", "as january"
_MONTHS = {month: (Celsius | None, key(_OTHER if month != MONTHS[0] else _FIRST, None)) for month in MONTHS}


class TemperatureTable(create_model("_Temperatures", __base__=Node, **_MONTHS)):
    """How cures follow the temperature of the workshop."""

    factor: decided(low=1.0, high=4.0) = key("how much faster 10 °C more make a cure", 2.0)

    @property
    def months(self) -> tuple[float, ...]:
        """The twelve months from January on, or nothing. [°C]"""
        found = tuple(getattr(self, month) for month in MONTHS)
        return () if None in found else found


_SPAN = re.compile(r"\s*(\S+)\s+to\s+(\S+)\s*")


def _days_off(raw, _):
    """Days and spans of days, each as its first and last day."""
    if not isinstance(raw, list | tuple):
        raise ValueError("not a list")
    spans = []
    for one in raw:
        match = _SPAN.fullmatch(one) if isinstance(one, str) else None
        ends = match.groups() if match else tuple(one) if isinstance(one, tuple) else (one, one)
        try:
            first, last = (as_date(end) for end in ends)
        except ValueError as error:
            raise ValueError(f"{error} in {str(one)!r}") from None
        if first > last:
            raise ValueError(f"a span that ends before it begins, {one!r}")
        spans.append((first, last))
    return tuple(spans)


_SPANS = reads(_days_off, 'a list of days and spans, such as ["2026-12-24", "2027-03-01 to 2027-03-06"]', ())


def _known_holidays(text: str) -> str:
    """A country, or a country and region, whose public holidays are known."""
    import holidays  # a large library, for the few studies that name a country
    from holidays.registry import EntityLoader

    right = "a country such as IE, or a country and its region such as DE-BY"
    country, dash, region = text.partition("-")
    countries = list(EntityLoader.get_country_codes())
    if country not in countries:
        raise ValueError(f"unknown country {country!r} -> {right}{close_match(country.upper(), countries, None)}")
    regions = getattr(holidays, country).subdivisions if dash else ()  # which load every country
    if dash and region not in regions:
        known = f"; regions of {country}: {', '.join(regions)}" if regions else f"; {country} has no regions"
        raise ValueError(f"unknown region {region!r} -> {right}{known}{close_match(region.upper(), regions)}")
    return text


def _weekdays(raw, _):
    """Days of the week, in their order."""
    if not isinstance(raw, list | tuple) or not raw:
        raise ValueError("not a list of weekdays")
    for day in raw:
        if day not in DAYS:
            raise ValueError(f"unknown weekday {day!r} -> a list of {', '.join(DAYS)}{close_match(day, DAYS)}")
    return tuple(day for day in DAYS if day in raw)


class PromiseEntry(Node):
    """What is promised already: hours a week for something else, or loads that go first."""

    what: str = key("what is promised, in words", min_length=1)
    hours: decided("hour/week", above=0.0, high=168.0) | None = key("hours a week it takes; or give product and casts", None)
    begins: Date | None = key("first day of those hours", None, alias="from")
    until: Date | None = key("last day of those hours", None)
    product: str | None = key("product of the loads that go first", None)
    casts: decided(above=0.0, high=100_000.0, whole=True, counts="cast piece") | None = key("casts of it", None)


class OrdersTable(Node):
    """What time and hands commissions have."""

    hours: decided("hour/week", above=0.0, high=168.0) | None = key("hours a week; all but the fixed ones if not given", None)
    days_off: Annotated[tuple[tuple[dt.date, dt.date], ...], _SPANS] = key("days and spans off", ())
    holidays: Annotated[str, AfterValidator(_known_holidays)] | None = key(
        "country, or country and region, of the holidays", None
    )
    sanding_cap: decided(
        "hour/day", "; 3 h of hand sanding a day is the planning cap (common practice, no source)", above=0.0, high=3.0
    ) = key("hours of sanding by hand in a day, at most", 3.0)
    posting_days: Annotated[tuple[str, ...], reads(_weekdays, f"a list of {', '.join(DAYS)}")] | None = key(
        "weekdays on which parcels are posted; every day of the calendar if not given", None
    )
    transit_days: decided(high=365.0, whole=True) = key(
        "days of delivery from posting to arrival, Sundays and public holidays none", 0
    )
    deposit_least: PlainShare = key("least share of the price asked as a deposit", 0.3)
    promised: list[PromiseEntry] = key("what is promised already", [])


class CommissionEntry(Node):
    """One order by a date."""

    product: str = key("product ordered")
    pieces: decided(above=0.0, high=100_000.0, whole=True, counts="piece") = key("good pieces ordered")
    due: Date = key("day on which they must have arrived")
    start: Date | None = key("first day of work; today if not given", None)
    confidence: decided(low=0.5, high=0.9999, such="0.95 or '95 %'") = key("wanted certainty of being on time and complete", 0.95)
    set_of: decided(low=1.0, high=1000.0, whole=True, counts="piece") = key("pieces that must match; see match_within", 1)
    match_within: Literal["load", "lot"] = key("what a set must come from: one load, or one lot over any loads", "load")
    variants: dict[Key, decided(above=0.0, high=100_000.0, whole=True, counts="piece")] = key("pieces of each colour or form", {})
    channel: str | None = key("channel whose fees, postage and minutes it has", None)
    price: decided("{money}", per="order", high=1e9) | None = key("offered for the whole order", None)
    short_penalty: PlainMoney = key("taken off once if pieces are missing on the day", 0.0)
    short_penalty_each: decided("{money}", per="piece") = key("taken off for each missing piece", 0.0)
    leftover_value: decided("{money}", per="piece") = key("what a good piece too many is worth", 0.0)
    rounds: decided(low=1.0, high=4.0, whole=True) = key("rounds of casting that there is time for, at most", 2)
    in_hand: decided(whole=True, high=100_000.0, counts="piece") = key("good pieces there already", 0)
    one_off: Literal["included", "left out"] = key("whether work done once only counts in what the order paid", "included")
    stated_hours: decided("hour", high=100_000.0, per="order") | None = key("hours that you say it took in all", None)
    policy: Literal["all at once", "count, then top up"] | None = key("how it is cast; compared if not given", None)
    what: str = key("what the order is, in words", "")
    note: str = key("for yourself", "")


def _known_language(text: str) -> str:
    """A language that the words of a quote are there in."""
    if re.split("[_-]", text)[0].lower() not in quote_words():
        raise ValueError(f"no words of a quote in this language -> one of {', '.join(quote_words())}")
    return text


class QuoteTable(Node):
    """What stands in every quote."""

    maker: str = key("your name or the workshop's", "")
    contact: str = key("how you are reached", "")
    valid_days: decided(above=0.0, high=366.0, whole=True) = key("days that a quote holds", 14)
    changes: str = key("what changes after the order cost or mean", "")
    terms: list[str] = key("your terms, a sentence each", [])
    tax_note: str = key("what is said about tax", "")
    language: Annotated[str, AfterValidator(_known_language)] | None = key("of the quote; that of the locale if not given", None)
