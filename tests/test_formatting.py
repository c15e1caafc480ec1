"""Numbers, money and chances as the locale writes them."""

import re

import pytest

from casting_econ.formatting import Format

NB, NNB = "\u00a0", "\u202f"  # spaces that do not break, wide and narrow


@pytest.mark.parametrize(
    ("locale", "currency", "plus", "minus"),
    [
        ("en_IE", "EUR", "€1,234.50", "−€1,234.50"),
        ("en_GB", "GBP", "£1,234.50", "−£1,234.50"),
        ("en_US", "USD", "$1,234.50", "−$1,234.50"),
        ("de_DE", "EUR", f"1.234,50{NB}€", f"−1.234,50{NB}€"),
        ("fr_FR", "EUR", f"1{NNB}234,50{NB}€", f"−1{NNB}234,50{NB}€"),
        ("en_US", "JPY", "¥1,234", "−¥1,234"),  # no minor unit; 1234.5 to the even yen
    ],
)
def test_money_by_locale(locale, currency, plus, minus):
    """Separators and places of sign and currency follow the locale (Unicode CLDR); the sign is the minus of print, U+2212, in all."""
    fmt = Format(currency, locale)

    assert (fmt.money(1234.5), fmt.money(-1234.5)) == (plus, minus)


@pytest.mark.parametrize(
    ("locale", "number", "share"),
    [
        ("en_IE", "−1,234.57", f"12.5{NB}%"),
        ("en_US", "−1,234.57", f"12.5{NB}%"),
        ("de_DE", "−1.234,57", f"12,5{NB}%"),
        ("fr_FR", f"−1{NNB}234,57", f"12,5{NB}%"),
    ],
)
def test_numbers_and_shares_by_locale(locale, number, share):
    """Separators follow the locale; a share is a percentage everywhere, with a space that does not break."""
    fmt = Format("EUR", locale)

    assert (fmt.number(-1234.567, 2), fmt.percent(0.125, 1)) == (number, share)


@pytest.mark.parametrize("value", [None, float("nan"), float("inf"), -float("inf")])
def test_what_no_value_does_is_none(value):
    """Money, numbers and shares that do not exist are said as 'none', whatever the digits."""
    fmt = Format("EUR", "en_IE")

    assert {fmt.money(value), fmt.money(value, 0), fmt.number(value, 1), fmt.percent(value)} == {"none"}


@pytest.mark.parametrize(
    ("value", "text"),
    [(1234.6, "1,235"), (99.96, "100.0"), (12.34, "12.3"), (1.234, "1.23"), (0.1234, "0.123"), (0.01234, "0.0123"), (0, "0")],
)
def test_figure_keeps_about_three_figures(value, text):
    """Large numbers lose their decimals and small ones keep four."""
    fmt = Format("EUR", "en_IE")

    assert fmt.significant(value) == text
    assert fmt.significant(-value) == (f"−{text}" if value else text)


def test_number_has_no_negative_zero():
    """What rounds to nothing has no sign."""
    assert Format("EUR", "en_IE").number(-0.001, 1) == "0.0"


def test_money_and_percent_have_no_negative_zero():
    """A loss of a tenth of a cent is no loss worth a sign."""
    fmt = Format("EUR", "en_IE")

    assert (fmt.money(-0.001), fmt.money(-0.2, 0), fmt.percent(-0.0001)) == ("€0.00", "€0", f"0{NB}%")


@pytest.mark.parametrize("locale", ["de_DE", "fr_FR"])
def test_money_without_cents_keeps_the_place_of_the_currency(locale):
    """A locale that writes the currency last does so with and without cents."""
    fmt = Format("EUR", locale)

    assert fmt.money(5, 0) == f"5{NB}€"


def test_chance_never_says_never_or_always():
    """No share that 8192 draws can show is said as 0 % or 100 %, and each is said to within one point."""
    fmt = Format("EUR", "en_IE")
    for hits in range(8193):
        said = fmt.chance(hits / 8192)

        assert said not in (f"0{NB}%", f"100{NB}%")
        assert abs(int(re.search(r"\d+", said)[0]) - 100 * hits / 8192) <= 1

    assert (fmt.chance(0), fmt.chance(1)) == (f"under 1{NB}%", f"over 99{NB}%")


@pytest.mark.parametrize("share", [0.005, 0.995])
def test_chance_at_half_a_percent(share):
    """The edges of 'under' and 'over' are no exception."""
    assert Format("EUR", "en_IE").chance(share) not in (f"0{NB}%", f"100{NB}%")
