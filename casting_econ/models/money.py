"""Charges for equipment by time and by use, and the hourly target behind a living wage."""

import numpy as np

from .checks import checked, checked_share, share_of

YEAR = 365.25  # days of a year, leap years in it


def yearly_charge(price, resale, life_years, interest=0.0):
    """Yearly charge for a piece of equipment: (price - resale) x (A/P, i, n) + resale x i. [money/year]

    It cost the price and still brings the resale at the end [money] of a life above zero [year]; zero `interest` is straight line
    [1/year]. A resale above the price counts as the price, as what it wears is never below zero. ValueError outside these ranges.
    Capital recovery factor: standard compound-interest tables, (A/P, 10 %, 5) = 0.2637975.

    >>> float(yearly_charge(58_000, 10_000, 5)), round(float(yearly_charge(1, 0, 5, interest=0.10)), 7)
    (9600.0, 0.2637975)
    """
    wear = worn_in_all(price, resale)
    life, rate = checked("life", life_years, above=0.0), checked("interest", interest, low=0.0)
    if np.ndim(rate) == 0 and rate == 0.0:
        return wear / life
    rate = np.asarray(rate)
    growth = -np.expm1(-life * np.log1p(rate))
    with np.errstate(divide="ignore", invalid="ignore"):
        recovery = np.where(rate > 0, rate / growth, 1.0 / np.asarray(life))
    return (wear * recovery + (price - wear) * rate)[()]


def worn_in_all(price, resale):
    """What equipment wears in all its life: price less resale, nothing where a used one brings more than it cost. [money]

    ValueError for a price or a resale below zero.

    >>> float(worn_in_all(100, 40)), float(worn_in_all(100, 150))
    (60.0, 0.0)
    """
    price, resale = checked("price", price, low=0.0), checked("resale", resale, low=0.0)
    return np.maximum(price - resale, 0.0)


def straight_line(price, resale, life_years, years):
    """What equipment has been charged after some years in use, straight line; never more than price less resale. [money]

    `price` and `resale` are what it cost and what it still brings at the end [money], `life_years` is above zero [year].
    ValueError for a price, resale or life out of range.

    A patent of 5,100 over 17 years, bought in April of a calendar year, is charged 225 in the first and 300 in the
    next (IRS Publication 946, from memory):

    >>> straight_line(5100, 0, 17, 9 / 12), straight_line(5100, 0, 17, 21 / 12) - straight_line(5100, 0, 17, 9 / 12)
    (225.0, 300.0)
    """
    return float(yearly_charge(price, resale, life_years)) * min(max(years, 0.0), life_years)


def charged_by_use(price, resale, life, used):
    """What equipment has worn by use: the share of its life that was used up, never more than all of it. [money]

    What it cost, and still brings at the end [money]; `life`, above zero, and `used` are in the same unit, such as loads or hours.
    ValueError outside these ranges.

    >>> charged_by_use(300.0, 60.0, 600, 15)
    6.0
    """
    return float(worn_in_all(price, resale) * min(checked("use", used, low=0.0) / checked("life", life, above=0.0), 1.0))


def part_of_year(making, year_making, days, weeks):
    """Part of a year that falls on an order: of the year's hours of making, never more than that of its days, nor than the whole. [-]

    Hours of making of the order and of the year [hour]; days that the order ran [day], over the weeks at work in a year [week/year],
    above zero. Of a year without making the days alone say it. ValueError outside these ranges.

    30 of 120 hours are a quarter of the year; in 23 days of 46 weeks they are 23 / (7 x 46) of it (own arithmetic):

    >>> float(part_of_year(30, 120, 200, 46)), round(float(part_of_year(30, 120, 23, 46)), 4)
    (0.25, 0.0714)
    """
    making, whole = checked("making", making, low=0.0), checked("making of the year", year_making, low=0.0)
    run = checked("days", days, low=0.0) / 7 / checked("weeks", weeks, above=0.0)
    return np.minimum(np.minimum(share_of(making, whole, 1.0), run), 1.0)


def self_employed_target(wage, paid_hours_per_year, employer_share, weeks_worked, full_week_hours):
    """Hourly pay a self-employed maker needs to live as well as on an employed wage. [money/hour]

    A year's `wage` [money/hour], paid for so many hours, holidays included [hour/year], with what an employer would add as a share of
    it [-], over the weeks that the maker really works [week/year] of so many hours each [hour/week]; ValueError outside their ranges. An
    estimate: which contributions apply is a question for a qualified adviser.

    >>> round(self_employed_target(13.45, 1950, 0.0, 46, 37.5), 4)
    15.2043
    """
    year = checked("wage", wage, low=0.0) * checked("paid hours", paid_hours_per_year, above=0.0)
    year = year * (1.0 + checked_share("employer share", employer_share))
    return year / (checked("weeks worked", weeks_worked, above=0.0) * checked("full week", full_week_hours, above=0.0))
