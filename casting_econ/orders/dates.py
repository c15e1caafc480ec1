"""Calendar dates to open seconds, and back."""

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


class Opening:
    """The calendar of a study from its first day on, for one order: dates to seconds since then, and back."""

    def __init__(self, first: date, calendar: Calendar, closed: dict[date, str]) -> None:
        self.first, self.calendar, self.closed = first, calendar, closed

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


def closed_days(study: Study, first: date, last: date) -> dict[date, str]:
    """Days off and public holidays from one date to another, with what they are."""
    orders, found = study.file.orders, {}
    if orders.holidays:
        country, _, region = orders.holidays.partition("-")
        found |= _public(country, region, first, last)
    for begin, end in orders.days_off:
        days = (end - begin).days + 1
        found |= {begin + timedelta(days=n): "day off" for n in range(days)}
    return {day: name for day, name in found.items() if first <= day <= last}


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
    caps = np.empty(days, np.int64)
    for n in range(days):
        day = first + timedelta(days=n)
        promised = sum(p.hours for p in study.file.orders.promised if p.hours and (p.begins or day) <= day <= (p.until or day))
        caps[n] = max(round((hours_per_week - promised) * 3600 / len(open_days)), 0)
    sanding = ceil(study.file.orders.sanding_cap * 3600)  # a cap of next to nothing is not none
    return Opening(
        first,
        Calendar(windows=np.array(windows, np.int64), day_cap=caps, sanding_cap=sanding, warmth=_warmth(study, first, days)),
        closed,
    )


def _warmth(study, first, days):
    """Length of a wait beside the same at the reference temperature, by day. [-]"""
    temperature = study.file.temperature
    if not temperature.months:
        return np.ones(1)
    by_month = np.array([hours_at_temperature(1.0, REFERENCE_C, degrees, temperature.factor) for degrees in temperature.months])
    return by_month[[(first + timedelta(days=n)).month - 1 for n in range(days)]]


def last_posting(study: Study, opened: Opening, due: date) -> date:
    """Last day on which a parcel can go off to arrive on time; before the first day where no posting day is left."""
    day = due - timedelta(days=study.file.orders.transit_days)
    while day >= opened.first and not _posts(study, opened, day):
        day -= timedelta(days=1)
    return day


def last_moment(study: Study, opened: Opening, due: date) -> int:
    """Midnight before which a parcel must be packed to arrive on time; zero or less where no posting day is left. [s]"""
    return opened.seconds(last_posting(study, opened, due)) + DAY


def arrival(study: Study, opened: Opening, finish: int) -> tuple[date, date] | None:
    """Dates on which a parcel that is packed then [s] is posted and arrives; None where it never is."""
    if finish >= NEVER:
        return None
    day = opened.date_of(finish)
    while not _posts(study, opened, day):
        day += timedelta(days=1)
    return day, day + timedelta(days=study.file.orders.transit_days)


def _posts(study, opened, day):
    """Whether parcels go off on a day: one of the posting days if any are named, and no day off."""
    days = study.file.orders.posting_days or study.file.calendar
    return DAYS[day.weekday()] in days and day not in opened.closed
