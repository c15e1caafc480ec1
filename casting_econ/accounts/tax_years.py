"""Tax years: where they start by country, and which of them a study's logs touch."""

import calendar
import datetime as dt
from dataclasses import dataclass, replace
from functools import cache

import pandas as pd
from babel import Locale

from ..faults import Fault, StudyError
from ..reference import kit_folder
from ..study.fields import as_date

LOGS = ("sales", "purchases", "timesheet", "mileage", "stock_count")


@dataclass(frozen=True, kw_only=True)
class Period:
    """A tax year, or a part of one."""

    first: dt.date
    last: dt.date
    starts: str = "01-01"  # month and day on which tax years start

    @property
    def after(self) -> dt.date:
        """The day after the last."""
        return self.last + dt.timedelta(days=1)

    @property
    def label(self) -> str:
        """'2025', '2025-26' for a year that ends in the next, else both days."""
        if f"{self.first:%m-%d}" != self.starts or self.after != _day(self.first.year + 1, self.starts):
            return f"{self.first}-to-{self.last}"
        return str(self.first.year) if self.first.year == self.last.year else f"{self.first.year}-{self.last.year % 100:02d}"

    def month(self, day: dt.date) -> int:
        """Number of the month a day falls in; months begin on the day of the month on which the tax year does."""
        anchor = min(int(self.starts[3:]), calendar.monthrange(day.year, day.month)[1])
        return day.year * 12 + day.month - (day.day < anchor)

    def until(self, day: dt.date) -> "Period":
        """The part of the period up to the end of the month that a day falls in."""
        days = (day + dt.timedelta(days=n) for n in range(32))
        last = next(one for one in days if self.month(one + dt.timedelta(days=1)) > self.month(day))
        return replace(self, last=min(last, self.last))


def _day(year, starts):
    return dt.date.fromisoformat(f"{year:04d}-{starts}")


@cache
def _starts():
    table = pd.read_csv(kit_folder("data") / "reference" / "tax_years.csv", comment="#", dtype=str)
    return table.set_index("country")


def tax_year_start(study) -> tuple[str, str]:
    """Month and day on which the study's tax year starts, such as '04-06', and why.

    As stated, by the country of the locale or else of the currency, or the calendar year for want of anything better.
    """
    if study.file.time.tax_year_starts:
        return study.file.time.tax_year_starts, "as study.toml says"
    locale = study.raw.get("study", {}).get("locale")
    # the first two letters of a currency code are a country (ISO 4217); EU is none that the table has
    country = Locale.parse(study.file.study.locale).territory if locale else study.currency[:2]
    if country in _starts().index:
        row, by = _starts().loc[country], "locale" if locale else "currency"
        return row.starts, f"{row.what} (source: {row.source}; {row.status}), by the {by} of the study"
    return "01-01", 'the calendar year, as no country is known; [time] tax_year_starts = "04-06" in study.toml would change it'


def periods_of(study, *, today, year=None, first=None, last=None) -> list[Period]:
    """Tax years to make up: the one asked for, else each that has a row in a log, else the one of today.

    `year` is that in which the tax year starts; `first` and `last` are days of a period of its own, both in it. StudyError
    for days that are none, in the wrong order, or given beside a year.
    """
    starts, _ = tax_year_start(study)
    if first or last:
        days, faults = {}, []
        for option, text in (("--from", first), ("--to", last)):
            try:
                days[option] = as_date(text or "")
            except ValueError:
                faults.append(Fault(option, "not a day of 2000 to 2099", "a day such as 2025-04-06", found=repr(text or "")))
        if year is not None:
            faults.append(Fault("--year", "given beside --from and --to", "either a year or two days"))
        if not faults and days["--from"] > days["--to"]:
            faults.append(Fault("--to", "is before the first day", f"a day from {first} on", found=last))
        if faults:
            raise StudyError(faults)
        return [Period(first=days["--from"], last=days["--to"], starts=starts)]
    dates = [day.date() for log in LOGS if log in study.records for day in study.records[log].date.unique()] or [today]
    years = {day.year - (f"{day:%m-%d}" < starts) for day in dates} if year is None else {year}
    ends = {_day(one, starts): _day(one + 1, starts) - dt.timedelta(days=1) for one in sorted(years)}
    return [Period(first=first, last=last, starts=starts) for first, last in ends.items()]
