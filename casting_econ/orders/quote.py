"""A quote on one printed page: what the customer needs to say yes, and no number of the study beyond that."""

import math
import unicodedata
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from numbers import Integral, Real
from pathlib import Path

from babel import Locale, UnknownLocaleError
from babel.dates import format_date
from babel.numbers import format_currency, format_decimal, get_currency_precision, list_currencies

from ..faults import Fault, StudyError
from ..reference import quote_words
from ..templates import template

_MOST = 1e12  # above every order of a workshop in any currency, below where floats lose cents


@dataclass(frozen=True, kw_only=True)
class Quote:
    """What a maker offers a customer; checked on creation: StudyError with one fault for each field that does not fit."""

    maker: str  # who offers
    what: str  # the pieces in the maker's words
    pieces: int  # of the order, above zero [piece]
    price: float  # all the customer pays, above zero; postage, if any is charged, is part of it [money]
    made_on: date
    valid_until: date  # last day on which the quote holds
    posted_by: date  # last day of posting
    currency: str  # its code
    locale: str  # in which amounts and dates are written
    contact: str = ""  # how to reach the maker, of one or several lines
    cast_together: bool = True  # whether the pieces of a set come from one load
    set_of: int = 1  # pieces that must match each other; divides `pieces` and every variant [piece/set]
    variants: dict[str, int] = field(
        default_factory=dict
    )  # by colour or kind, `pieces` in all; empty where all are alike [piece]
    postage: float | None = None  # part of the price, shown apart; 0: the price holds it, None: it does not [money]
    deposit: float = 0.0  # part of the price that is paid first [money]
    arrives_by: date | None = None  # last day on which the order is expected with the customer
    deposit_by: date | None = None  # for the deposit, or acceptance, so that the posting date holds; None: while the quote holds
    changes: str = ""  # what happens with changes and cancelling; empty: the kit's own wording
    terms: tuple[str, ...] = ()  # further ones, one a paragraph
    tax_note: str = ""  # what to say of tax beside the price
    language: str | None = None  # of the kit's phrases, which must be there in it; None: that of the locale
    invented: bool = False  # whether the page says that it is an invented example

    def __post_init__(self) -> None:
        found = vars(self) | {"language": self.language or self.locale}
        faults = [
            Fault("quote", wrong, right, column=column, found=repr(found[column]))
            for column, wrong, right in (*_kind_faults(self), *_order_faults(self))
        ]
        if faults:
            raise StudyError(faults)


def _kind_faults(quote):
    """Fields that are wrong by themselves: (field, what is wrong, what would be right)."""
    text = "empty", "a text that the customer knows it by"
    count = "not a whole number of pieces", "whole numbers above zero"
    money = "not an amount of money", f"an amount from zero, the price above it, below {_MOST:.0e}"
    day = "not a day", "a date without a time, such as 2026-03-27"
    rules = [(column, str(getattr(quote, column)).strip(), *text) for column in ("maker", "what")]
    rules += [(column, _is_count(getattr(quote, column)), *count) for column in ("pieces", "set_of")]
    rules += [("variants", all(map(_is_count, quote.variants.values())), *count)]
    rules += [("price", _is_amount(quote.price) and quote.price, *money), ("deposit", _is_amount(quote.deposit), *money)]
    rules += [("postage", quote.postage is None or _is_amount(quote.postage), *money)]
    rules += [(column, _is_day(getattr(quote, column)), *day) for column in ("made_on", "valid_until", "posted_by")]
    rules += [(c, getattr(quote, c) is None or _is_day(getattr(quote, c)), *day) for c in ("arrives_by", "deposit_by")]
    rules += [("terms", not isinstance(quote.terms, str), "one text where a list belongs", "a list of texts, one for each term")]
    known = quote.currency in list_currencies()
    rules += [("currency", known, "unknown currency", "a currency code of three capitals, such as EUR")]
    yield from ((column, wrong, right) for column, holds, wrong, right in rules if not holds)
    try:
        Locale.parse(quote.locale)
    except (UnknownLocaleError, ValueError, TypeError):
        yield "locale", "unknown locale", "a language and country such as en_IE, de_DE or en_US"
        return
    if _language(quote) not in quote_words():
        right = f'language = "en" under [quote] in study.toml, or one of {", ".join(quote_words())}'
        yield "language", "a language that the quote has no words in", right


_IN_ORDER = ("made_on", "valid_until"), ("made_on", "posted_by"), ("made_on", "deposit_by")
_IN_ORDER += ("deposit_by", "posted_by"), ("posted_by", "arrives_by")


def _order_faults(quote):
    """Fields that do not fit each other; those that are wrong by themselves are told already."""
    counts = (quote.pieces, quote.set_of, *quote.variants.values())
    if all(map(_is_count, counts)):
        if quote.variants and sum(quote.variants.values()) != quote.pieces:
            yield "variants", f"these are {sum(quote.variants.values())} pieces", f"variants that make {quote.pieces} in all"
        for column, parts in (("pieces", [quote.pieces]), ("variants", quote.variants.values())):
            if any(part % quote.set_of for part in parts):
                yield column, f"not whole sets of {quote.set_of}", f"a multiple of {quote.set_of}"
    for column in ("deposit", "postage"):
        part = getattr(quote, column)
        if _is_amount(part) and _is_amount(quote.price) and part > quote.price:
            yield column, "more than the whole price", f"at most {quote.price!r}"
    for early, late in _IN_ORDER:
        first, last = getattr(quote, early), getattr(quote, late)
        if _is_day(first) and _is_day(last) and last < first:
            yield late, f"before {early}", f"{first} or later"
    until, posted = quote.valid_until, quote.posted_by
    if quote.deposit_by is None and _is_day(until) and _is_day(posted) and until > posted:
        yield "valid_until", "an offer that may be accepted after it is posted", f"{posted} or earlier, or a deposit_by"


def _is_count(value):
    return isinstance(value, Integral) and not isinstance(value, bool) and value > 0


def _is_amount(value):
    return isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(value) and 0 <= value < _MOST


def _is_day(value):
    return isinstance(value, date) and not isinstance(value, datetime)


@dataclass(frozen=True, kw_only=True)
class QuoteAmounts:
    """Amounts of a quote as they are printed, so that what is printed adds up."""

    price: Decimal  # all the customer pays [money]
    postage: Decimal | None  # part of it [money]
    pieces: Decimal  # part of it: the price without postage [money]
    each: Decimal  # of one piece [money/piece]
    each_is_rounded: bool
    deposit: Decimal  # part of the price that is paid first [money]
    balance: Decimal  # the rest of it [money]


def quote_amounts(quote: Quote) -> QuoteAmounts:
    """Amounts of a quote in whole minor units of its currency: deposit and balance, and pieces and postage, sum to the price. [money]

    References
    ----------
    .. [1] ISO 4217, minor units of each currency, as the CLDR tables of babel hold them.

    Examples
    --------
    >>> day = date(2026, 3, 2)
    >>> amounts = quote_amounts(
    ...     Quote(maker="Anyone", what="Knobs", pieces=6, price=100.0, deposit=33.335, made_on=day, valid_until=day,
    ...           posted_by=day, currency="EUR", locale="en_IE")
    ... )
    >>> str(amounts.deposit), str(amounts.balance), str(amounts.each), amounts.each_is_rounded
    ('33.34', '66.66', '16.67', True)
    """
    unit = Decimal(1).scaleb(-get_currency_precision(quote.currency))

    def rounded(amount):
        return Decimal(repr(float(amount))).quantize(unit)  # half to even, as babel rounds

    price, deposit = rounded(quote.price), rounded(quote.deposit)
    postage = None if quote.postage is None else rounded(quote.postage)
    pieces = price - (postage or 0)
    each = (pieces / int(quote.pieces)).quantize(unit)
    return QuoteAmounts(
        price=price,
        postage=postage,
        pieces=pieces,
        each=each,
        each_is_rounded=each * int(quote.pieces) != pieces,
        deposit=deposit,
        balance=price - deposit,
    )


def quote_html(quote: Quote) -> str:
    """The quote as one page of HTML that needs nothing outside itself; it prints on one sheet of A4 or US Letter unless texts are long."""
    locale = Locale.parse(quote.locale)
    language = _language(quote)
    return template(Path(__file__).with_name("quote.html.j2"), _printable).render(
        quote=quote,
        amounts=quote_amounts(quote),
        words=quote_words()[language],
        language=language,
        direction=Locale.parse(language).text_direction,
        # amounts and dates say their own language where it is not that of the page
        values_in=str(locale).replace("_", "-") if locale.language != language else "",
        money=lambda amount: format_currency(amount, quote.currency, locale=locale),
        day=lambda day: format_date(day, "long", locale=locale),
        count=lambda number: format_decimal(int(number), locale=locale),
    )


def _language(quote):
    """Language code of the phrases: 'de' for 'de', 'de_AT' or 'DE-at'."""
    return (quote.language or quote.locale).replace("-", "_").split("_")[0].lower()


def _printable(value):
    """A text without what HTML or UTF-8 cannot hold, line ends as the page writes them; anything else as it is."""
    if not isinstance(value, str):
        return value
    lines = value.replace("\r\n", "\n").replace("\r", "\n")
    kept = "".join("\ufffd" if unicodedata.category(c) in ("Cc", "Cs") and c not in "\n\t" else c for c in lines)
    return type(value)(kept)  # markup stays markup
