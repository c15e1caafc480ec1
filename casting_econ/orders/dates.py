"""Calendar dates to open seconds, and back."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil

import numpy as np
from babel import Locale

from ..faults import refusal
from ..models.schedule import DAY, NEVER, Calendar
from ..models.supplies import hours_at_temperature
from ..models.windows import merged_windows
from ..study import STUDY_FILE, Study
from ..study.fields import DAYS

REFERENCE_C = 20.0  # that waits are counted at before the month's temperature makes them longer [degC]


@dataclass(frozen=True, kw_only=True)
class Opening:
    """The calendar of a study from its first day on, for one order: dates to seconds since then, and back; and the post."""

    first: date
    calendar: Calendar
    closed: dict[date, str]  # days off and holidays, with what they are
    holidays: frozenset[date]
    posting: frozenset[str]  # weekdays on which parcels go off
    transit: int  # days of delivery from posting to arrival [day]

    def seconds(self, day: date) -> int:
        """Midnight at which a date begins. [s]"""
        return (day - self.first).days * DAY

    def date_of(self, seconds: int) -> date:
        """Date of a moment [s]."""
        return self.first + timedelta(days=int(seconds) // DAY)

    def moment(self, seconds: int) -> datetime:
        """Date and time of a moment [s]."""
        return datetime.combine(self.first, datetime.min.time()) + timedelta(seconds=int(seconds))

    def day_open(self, day: date) -> bool:
        """Whether the workshop is open on a date."""
        begin = self.seconds(day)
        starts = self.calendar.windows[:, 0]
        return bool(((starts >= begin) & (starts < begin + DAY)).any())

    def posts(self, day: date) -> bool:
        """Whether parcels go off on a date, which must be no day off."""
        return DAYS[day.weekday()] in self.posting and day not in self.closed

    def last_posting(self, due: date) -> date:
        """Last date on which a parcel can go off to arrive on time; before the first day where none is left."""
        day = due
        while day >= self.first and not (self.posts(day) and self.delivered(day) <= due):
            day -= timedelta(days=1)
        return day

    def delivered(self, posted: date) -> date:
        """Date on which a parcel of that date arrives: neither Sundays nor public holidays are days of delivery (common practice, no source)."""
        day, left = posted, self.transit
        while left:
            day += timedelta(days=1)
            left -= day.weekday() < 6 and day not in self.holidays
        return day

    def arrival(self, finish: int) -> tuple[date, date] | None:
        """Dates on which a parcel that is packed then [s] is posted and arrives; None where it never is."""
        if finish >= NEVER:
            return None
        day = self.date_of(finish)
        while not self.posts(day):
            day += timedelta(days=1)
        return day, self.delivered(day)


def closed_days(study: Study, first: date, last: date) -> dict[date, str]:
    """Days off and public holidays from one date to another, with what they are."""
    orders, found = study.file.orders, _holidays_of(study, first, last)
    for begin, end in orders.days_off:
        days = (end - begin).days + 1
        found |= {begin + timedelta(days=n): "day off" for n in range(days)}
    return {day: name for day, name in found.items() if first <= day <= last}


def _holidays_of(study, first, last):
    """Public holidays that the study observes, of the years of two dates, with their names."""
    country, _, region = (study.file.orders.holidays or "").partition("-")
    return _public(country, region, first, last) if country else {}


def _public(country, region, first, last):
    """Public holidays of the years of two dates; NotImplementedError for a country whose are not known."""
    import holidays  # a large table, read only where it is asked for

    return dict(holidays.country_holidays(country, subdiv=region or None, years=range(first.year, last.year + 1)))


def days_off_unsaid(study: Study, worked: list[date]) -> tuple[list[date], str]:
    """Of some days, those that most people have off, where a study says of none that it is; and the country whose days these are.

    The country is that of the locale; without one that is known they are 25 and 26 December and 1 January.
    """
    if study.file.orders.holidays or study.file.orders.days_off or not worked:
        return [], ""
    stated = "locale" in study.file.study.model_fields_set
    country = (Locale.parse(study.file.study.locale).territory if stated else None) or ""
    try:
        off = _public(country, "", min(worked), max(worked))
    except NotImplementedError:
        off, country = [one for one in worked if (one.month, one.day) in ((12, 25), (12, 26), (1, 1))], ""
    return [one for one in worked if one in off], country


def opening(study: Study, first: date, days: int, hours_per_week: float) -> Opening:
    """Open windows, hours a day for the order, and how the season stretches waits, for so many days from day 0 on.

    `hours_per_week` are those of hands that commissions can have, other promises not yet taken off. [hour/week]

    StudyError if days off and holidays leave no day open.
    """
    closed = closed_days(study, first, first + timedelta(days=days))
    # touching windows are joined in the week, one that runs on past Sunday too
    week = merged_windows(study.windows)
    open_days = {start // DAY for start, _ in week}
    monday = first - timedelta(days=first.weekday())
    ahead = (first - monday).days
    windows = [
        (start + base, end + base)
        for base in range(-ahead * DAY, days * DAY, 7 * DAY)
        for start, end in week
        if 0 <= start + base < days * DAY and first + timedelta(days=(start + base) // DAY) not in closed
    ]
    if not windows:
        found = f"nothing open from {first} to {first + timedelta(days=days - 1)}"
        right = "days off and holidays that leave days of the calendar open"
        raise refusal(STUDY_FILE, "no day is left", right, column="orders.days_off", found=found)

    def cap(day):
        promised = sum(p.hours for p in study.file.orders.promised if p.hours and (p.begins or day) <= day <= (p.until or day))
        return max(round((hours_per_week - promised) * 3600 / len(open_days)), 0)

    caps = np.array([cap(first + timedelta(days=n)) for n in range(days)], np.int64)
    sanding = ceil(study.file.orders.sanding_cap * 3600)  # a cap of next to nothing is not none
    orders, windows = study.file.orders, np.array(windows, np.int64)
    return Opening(
        first=first,
        calendar=Calendar(windows=windows, day_cap=caps, sanding_cap=sanding, warmth=_warmth(study, first, days)),
        closed=closed,
        posting=frozenset(orders.posting_days or study.file.calendar),
        holidays=frozenset(_holidays_of(study, first, first + timedelta(days=days))),
        transit=orders.transit_days,
    )


def _warmth(study, first, days):
    """Length of a wait beside the same at the reference temperature, by day. [-]"""
    temperature = study.file.temperature
    if not temperature.months:
        return np.ones(1)
    by_month = np.array([hours_at_temperature(1.0, REFERENCE_C, degrees, temperature.factor) for degrees in temperature.months])
    return by_month[[(first + timedelta(days=n)).month - 1 for n in range(days)]]
