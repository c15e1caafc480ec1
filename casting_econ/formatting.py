"""Numbers as the study's locale writes them."""

from functools import cache, lru_cache
from math import isfinite

from babel import Locale
from babel.numbers import format_currency, format_decimal, format_percent, get_currency_precision

_MOST = 1e15  # beyond which a figure has no units left, and no one to read it
_MOST_YEARS, _PER_YEAR = 20, {"week": 52, "month": 12}  # that anybody plans for; of each time that is told
MINUS = "\u2212"  # the one sign of what is below nothing, whatever the locale writes


class Format:
    """Money, numbers and shares as the study's locale writes them; `certain` where nothing scatters, so that a chance is all or none."""

    def __init__(self, currency: str, locale: str, certain: bool = False) -> None:
        self.currency, self.locale, self.certain = currency, locale, certain

    def _rounded(self, value, digits, unit=""):
        if value is None or not isfinite(value):
            return "none"
        if abs(value) > _MOST:
            return f"{'over' if value > 0 else 'under'} {self._rounded(_MOST if value > 0 else -_MOST, 0, unit)}"
        return _written(round(float(value), digits + 2 * (unit == "%")) + 0.0, digits, self.locale, unit)

    def money(self, amount, digits: int = 2) -> str:
        """An amount with its currency sign; 'none' where no amount does."""
        digits = min(digits, get_currency_precision(self.currency)) if digits <= 2 else digits
        return self._rounded(amount, digits, self.currency)

    def number(self, value, digits: int = 0) -> str:
        """A plain number, rounded; 'none' where no number does.

        >>> [Format("EUR", "en_IE").number(value) for value in (1e6, 1e27)]
        ['1,000,000', 'over 1,000,000,000,000,000']
        """
        return self._rounded(value, digits)

    def count(self, number, one: str) -> str:
        """'1 piece', '2 pieces', the number as the study writes it."""
        return f"{self.number(number)} {one if number == 1 else one + 's'}"

    def exactly(self, value) -> str:
        """A number with all its digits, up to six after the decimal mark."""
        if abs(value) > _MOST:
            return self.number(value)
        return format_decimal(round(float(value), 6) + 0.0, "#,##0.######", locale=self.locale)

    def significant(self, value, most: int = 4) -> str:
        """A number with about three figures that count, however large or small, and at most so many decimals."""
        size = abs(value) if value == value else 0.0
        digits = 0 if size >= 100 or size == 0 else 1 if size >= 10 else 2 if size >= 1 else 3 if size >= 0.1 else 4
        return self.number(value, min(digits, most))

    def percent(self, share, digits: int = 0) -> str:
        """A share as a percentage, rounded; 'none' where there is none."""
        return self._rounded(share, digits, "%")

    def time(self, count, unit: str, digits: int = 0) -> str:
        """So many weeks or months, in words where they are longer than anybody plans, or never come at this pace.

        >>> [Format("EUR", "en_IE").time(count, "week") for count in (1, 30, 10_873, float("inf"))]
        ['1 week', '30 weeks', 'more than 20 years', 'never at this pace']
        """
        if too_long(count, unit):
            return f"more than {_MOST_YEARS} years" if isfinite(count) else "never at this pace"
        said = self.number(count, digits)
        return f"{said} {unit}{'' if said == '1' else 's'}"

    def wait(self, hours) -> str:
        """A wait in hours, in days where there are many, in minutes where there is none.

        >>> [Format("EUR", "en_IE").wait(hours) for hours in (0.75, 1, 18, 60, 840)]
        ['45 minutes', '1 hour', '18 hours', '2.5 days', '35 days']
        """
        count, unit = (hours / 24, "day") if hours >= 48 else (hours, "hour") if hours >= 1 else (60 * hours, "minute")
        whole = unit == "minute" and count >= 5  # nobody times a wait to seconds
        text = self.exactly(round(float(count), 0 if whole else 1 if count >= 1 else 2))
        return f"{text} {unit}{'' if text == '1' else 's'}"

    def sure(self, share) -> str:
        """A wanted certainty with the decimals that it was stated with, two at most: 95 %, 99.5 %, 99.99 %."""
        return self.percent(share, next((digits for digits in (0, 1) if abs(round(share, digits + 2) - share) < 1e-9), 2))

    def chance(self, share) -> str:
        """A chance seen in draws, which never show that something is certain; unless every number is."""
        if self.certain and share in (0.0, 1.0):
            return self.percent(share)
        if share <= 0.005:
            return f"under {self.percent(0.01)}"
        return f"over {self.percent(0.99)}" if share >= 0.995 else self.percent(share)

    def styled(self, value, style: str) -> str:
        """A value as the column of a table says: text, money, money0, percent, percent1, chance, sure, significant, figure (that or
        whole, two decimals at most), weeks, months, weeks1 (without the word, but where they are too many), or digits; – for none."""
        if value is None or value != value:
            return "" if style == "text" else "–"
        if style == "text":
            return str(value)
        if style.startswith("money"):
            return self.money(value, int(style[5:] or 2))
        if style.startswith("percent"):
            return self.percent(value, int(style[7:] or 0))
        if style.startswith(("week", "month")):
            unit, digits = style.rstrip("s1"), 1 if style.endswith("1") else 0
            return self.time(value, unit, digits).removesuffix(f" {unit}").removesuffix(f" {unit}s")
        if style == "figure":
            return self.significant(value, 0 if value == round(value) else 2)
        return getattr(self, style)(value) if style in ("chance", "significant", "sure") else self.number(value, int(style))


_locale = cache(Locale.parse)


@lru_cache(maxsize=16_384)  # a panel and its charts write the same figures again and again
def _written(value, digits, locale, unit=""):
    """A rounded number with so many digits after the decimal mark: plain, in per cent, or of a currency."""
    locale, cents = _locale(locale), "." + "0" * digits if digits else ""
    if unit == "%":
        text = format_percent(value, f"#,##0{cents}\u00a0%", locale=locale)
    elif unit:
        pattern = locale.currency_formats["standard"].pattern.replace(".00", cents)
        text = format_currency(value, unit, pattern, locale=locale, currency_digits=False)
    else:
        text = format_decimal(value, "#,##0" + cents, locale=locale)
    return text.replace("-", MINUS)


def too_long(count: float, counted: str) -> bool:
    """Whether so many weeks or months are more than anybody plans for; never of anything else that is counted."""
    return count > _MOST_YEARS * _PER_YEAR.get(counted.removesuffix("s"), float("inf"))


def nine_digits(value: float) -> float:
    """A number as it is kept: what the order of a sum or a processor moves is beyond the digits, or next to nothing.

    >>> nine_digits(0.1 + 0.2), nine_digits(0.1 + 0.2 - 0.3)
    (0.3, 0.0)
    """
    return 0.0 if abs(value) < 1e-12 else float(f"{value:.9g}")
