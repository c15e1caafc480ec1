"""A quote on one printed page: what the customer needs to say yes, and no number of the study beyond that."""

import unicodedata
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from pathlib import Path

from babel import Locale
from babel.dates import format_date
from babel.numbers import format_currency, format_decimal, get_currency_precision

from ..faults import Fault, StudyError
from ..reference import quote_words


@dataclass(frozen=True, kw_only=True)
class Quote:
    """What a maker offers a customer, from a plan of a study that was read without faults.

    StudyError where the pieces have no name, or the language no words.
    """

    maker: str  # who offers; empty: the page does not say
    what: str  # the pieces in the maker's words
    pieces: int  # of the order, above zero [piece]
    price: float  # all the customer pays, above zero; postage, if any is charged, is part of it [money]
    made_on: date
    valid_until: date  # last day on which the quote holds, and for the deposit, or acceptance, so that the posting date does
    posted_by: date  # last day of posting
    currency: str  # its code
    locale: str  # in which amounts and dates are written
    contact: str = ""  # how to reach the maker, of one or several lines
    cast_together: bool = True  # whether the pieces of a set come from one load
    set_of: int = 1  # pieces that must match each other; divides `pieces` and every variant [piece/set]
    variants: dict[str, int] = field(default_factory=dict)  # by colour or kind, `pieces` in all; empty: all alike [piece]
    postage: float | None = None  # part of the price, shown apart; 0: the price holds it, None: it does not [money]
    deposit: float = 0.0  # part of the price that is paid first [money]
    arrives_by: date | None = None  # last day on which the order is expected with the customer
    changes: str = ""  # what happens with changes and cancelling; empty: the kit's own wording
    terms: tuple[str, ...] = ()  # further ones, one a paragraph
    tax_note: str = ""  # what to say of tax beside the price
    language: str | None = None  # of the kit's phrases, which must be there in it; None: that of the locale
    invented: bool = False  # whether the page says that it is an invented example

    def __post_init__(self) -> None:
        blank = "empty", "a text that the customer knows it by"
        no_words = "a language that the quote has no words in"
        right = f'language = "en" under [quote] in study.toml, or one of {", ".join(quote_words())}'
        rules = [("what", self.what.strip(), *blank), ("language", _language(self) in quote_words(), no_words, right)]
        found = vars(self) | {"language": self.language or self.locale}
        faults = [Fault("quote", wrong, r, column=name, found=repr(found[name])) for name, fits, wrong, r in rules if not fits]
        if faults:
            raise StudyError(faults)


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

    Minor units of each currency are those of ISO 4217, as the CLDR tables of babel hold them.

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
    from ..templates import template  # late: an answer needs no page

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
