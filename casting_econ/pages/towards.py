"""What would make it a living: price and orders at which a year does, within hands, places and moulds; and what a paid job would bring."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from babel import Locale

from ..kit import OpenStudy, format_of
from ..models import evaluate
from ..models.curing import WEEK_HOURS
from ..models.year import DEMAND, HANDS
from ..reference import wages, wages_on
from .conditions import Lever, beside_now, levers, solve_for_target, year_over_living
from .job import APART, ample_orders, ample_year, factor_for, full_of, full_words, orders_now
from .living import left_of, scheme_of
from .monte_carlo import living_words
from .table import shown

PRICES = (0.8, 1.0, 1.25, 1.5, 2.0)  # of now, that the table looks at
MOST_PRICE = 3.0  # of now; a price beyond it is no advice
_MOST_HOURS, _WEEKS_PAID = 80.0, 52.0  # [hour/week], [week/year]


@dataclass(frozen=True, kw_only=True)
class Towards:
    """From what is now to a year's living, every other number at its middle; not a number where nothing does."""

    now: float  # orders a year that come, all channels [order/year]
    left: float  # that a year leaves now [money/year]
    living: float  # [money/year]
    worked: float  # now [hour/week]
    given: float  # [hour/week]
    factor: float  # of today's orders at which a year brings a living at today's prices [-]
    hours: float  # that those take [hour/week]
    most: float  # that a year leaves when more come than can be made, at today's prices [money/year]
    full: str  # what is full then
    price: float  # of now at which it brings a living with so many, where today's does with no number [-]
    hours_needed: float  # that would do then with so many at today's prices, were they given [hour/week]

    @property
    def reached(self) -> bool:
        """Whether a year brings a living now."""
        return self.left >= self.living - 1e-9

    @property
    def possible(self) -> bool:
        """Whether some number of orders does at today's prices."""
        return bool(np.isfinite(self.factor))


def _levers(kit: OpenStudy) -> tuple[Lever, Lever]:
    """Orders of every channel, and every price."""
    return ample_orders(kit), replace(next(lever for lever in levers(kit) if lever.key == "price"), high=MOST_PRICE)


def towards(kit: OpenStudy) -> Towards | None:
    """What would make it a living, at the point; None of a study that no orders come to, or that has no price yet."""
    a, point = kit.inputs(), kit.point()
    now, left = orders_now(kit), float(point.totals["residual_pay_per_year"])
    if now <= 0 or not _priced(a):
        return None
    orders, price = _levers(kit)
    factor, ample, given = factor_for(kit), ample_year(kit), float(a.hours_per_week)
    hours = Lever(key="hours", label="", places=("hours_per_week",), unit="hour/week", now=given, low=given, high=_MOST_HOURS)
    if np.isfinite(factor):
        wanted, needed = evaluate(orders.move(a, np.asarray(factor))), (np.nan, np.nan)
    else:
        wanted, needed = ample, solve_for_target(kit, [price, hours], orders, [orders.high], aim=year_over_living)[:, 0]

    def weekly(outcome):
        return float(outcome.totals["hours_per_year"]) / float(a.weeks_per_year)

    return Towards(
        now=now,
        left=left,
        living=float(a.living_per_year),
        worked=weekly(point),
        given=given,
        factor=factor,
        hours=weekly(wanted),
        most=float(ample.totals["residual_pay_per_year"]),
        full=full_of(ample),
        price=float(needed[0]),
        hours_needed=float(needed[1]),
    )


@shown(
    "living-towards",
    "Orders a year at which a year brings a living, by price, within hands, places and moulds; a dash where no number does",
    "prices: percent; orders: 0; more than now: 0; hours a week: 1; most a year: money0",
)
def towards_table(kit: OpenStudy, found: Towards | None) -> pd.DataFrame:
    """By price: orders a year that bring a living, how many more than now, the hours they take, and the most that a year leaves however many come.
    [-, order/year, order/year, hour/week, money/year]"""
    if found is None:
        return []
    (orders, price), a = _levers(kit), kit.inputs()
    prices = np.array(PRICES)
    reached, factors = year_over_living(price.move(a, prices)) >= 0, np.empty(prices.size)
    for most, there in ((orders.high, ~reached), (1.0, reached)):  # no more than today's where those do, as in `factor_for`
        if there.any():
            most_orders = [replace(orders, high=most)]
            factors[there] = solve_for_target(kit, most_orders, price, prices[there], aim=year_over_living)[0]
    there = np.where(np.isfinite(factors), factors, orders.high)
    needed, ample = (evaluate(orders.move(price.move(a, prices), at)).totals for at in (there, np.full(prices.size, orders.high)))
    hours = np.where(np.isfinite(factors), needed["hours_per_year"] / a.weeks_per_year, np.nan)
    count = np.ceil(factors * found.now - 1e-9)
    more = np.maximum(count - found.now, 0.0)
    return list(zip(prices, count, more, hours, ample["residual_pay_per_year"] + 0.0 * prices, strict=True))


def towards_frontier(kit: OpenStudy, found: Towards | None) -> pd.DataFrame:
    """Pairs of orders a year and price beside today's at which a year just brings a living; up to where more orders change nothing. [order/year, -]"""
    if found is None:
        return pd.DataFrame(columns=["orders", "price"])
    orders, price = _levers(kit)
    use = [float(share) for share in kit.point().utilisation_at_demand.values()]
    full = 1.0 / max(*use, 1e-9) if use else orders.high
    far = min(max(1.5, 1.25 * (found.factor if found.possible else full), 1.25 * full), orders.high)
    values = np.unique(np.append(np.linspace(far / 41, far, 40), 1.0))
    needed = solve_for_target(kit, [price], orders, values, aim=year_over_living)[0]
    frame = pd.DataFrame({"orders": values * found.now, "price": needed})
    frame.attrs["now"] = found.now, 1.0
    return frame


def chart_words(kit: OpenStudy) -> tuple[str, str]:
    """What the shaded side of the chart of price and orders does, and what the chart is."""
    does = f"brings {living_words(kit)}"
    return does, f"Prices beside today's at which a year just {does}, by orders a year"


def towards_sentence(kit: OpenStudy, found: Towards | None) -> str:
    """How many more orders, how many hours, or that no number and no price does; every other number at its middle."""
    fmt, living = format_of(kit), living_words(kit)
    if found is None:
        what = "orders are" if _priced(kit.inputs()) else "price is"
        return f"No {what} stated, so nothing can be multiplied to reach {living}."
    takes = f"about {fmt.count(np.ceil(found.factor * found.now - 1e-9), 'order')} a year"
    if found.reached:
        count = takes if found.possible else "far fewer orders"
        return f"With every number at its middle a year brings {living} now; at today's prices **{count} would still do** instead of {fmt.number(found.now)}."
    if found.possible:
        more = max(np.ceil(found.factor * found.now - 1e-9) - found.now, 1.0)
        beside = f"{fmt.number(more)} more than now" if found.factor > 1.0 else "fewer than now, as more of them leave less"
        return (
            f"At today's prices {living} takes **{takes}, {beside}**, "
            f"and {fmt.number(found.hours, 1)} hours a week of the {fmt.number(found.given, 1)} given; it is {fmt.number(found.worked, 1)} now."
            f"{_each_stall_day(kit, found, fmt)}"
        )
    text = f"**At today's prices no number of orders brings {living}:** "
    more_loses = found.most < found.left - 1e-6 * abs(found.left)
    if more_loses:
        text += "more orders leave less, not more."
    else:
        why, spare = "the hours given are full", ""
        if found.full != HANDS:
            why = full_words(found.full)
            spare = f" for {fmt.number(found.hours, 1)} of the {fmt.number(found.given, 1)} hours a week given"
        text += f"once {why}, a year leaves {fmt.money(found.most, 0)} of {fmt.money(found.living, 0)}{spare}."
    if found.full == HANDS and not more_loses:
        needed = f"With orders enough it would take about {fmt.number(found.hours_needed, 1)} hours a week; {fmt.number(found.given, 1)} are given."
        text += f" {needed if found.hours_needed <= WEEK_HOURS else 'More hours alone would not do either.'}"
    if np.isfinite(found.price):
        loses = "" if kit.inputs().elastic else " The study takes it that no buyer is lost by a dearer price."
        return f"{text} With prices about {beside_now(found.price, fmt)}, and orders enough, it would.{loses}"
    return f"{text} **No price up to {fmt.number(MOST_PRICE)} times today's does {_while(kit, found.full)}.**"


def _priced(a):
    """Whether anything has a price yet."""
    return any(float(c.price) > 0 for c in a.channels)


def _each_stall_day(kit, found, fmt):
    """That the days at a stall stay as they are, so that each has to sell so much more; nothing where there are none, or no more orders."""
    if found.factor < 1.05 or not any(float(c.days_per_year) > 0 for c in kit.inputs().channels):
        return ""
    return f" **Stall days stay as many as now, so each would have to sell {fmt.number(found.factor, 1)} times as much.**"


def _while(kit, full):
    """As long as there is no more of what is full."""
    count = next((round(float(s.count)) for s in kit.inputs().stations if s.name == full), 0)
    name = full.replace("-", " ")
    if count:
        return f"while there {'is' if count == 1 else 'are'} {'one' if count == 1 else count} {name}{'' if count == 1 else 's'}"
    return {HANDS: "within the hours given", DEMAND: "while nothing else changes"}.get(
        full, f"while there is no more room in the {name}"
    )


def ramp_sentence(kit: OpenStudy, found: Towards | None) -> str:
    """Months to get there at the pace that the study states, nothing where there is nowhere to go."""
    fmt, ramp = format_of(kit), float(kit.study.file.cash.ramp_months)
    if found is None or found.reached or not found.factor > 1.0:
        return ""
    if not ramp:
        return "How long that takes cannot be said: the study states no pace (`ramp_months` under [cash])."
    about = fmt.time(np.ceil((found.factor - 1.0) * ramp), "month")
    about = about if about.startswith("more") else f"about {about}"
    return (
        f"If orders go on growing at the stated pace, {fmt.exactly(ramp)} months from none to today's, that is **{about} more**."
    )


def jobs_known(kit: OpenStudy) -> pd.DataFrame:
    """Newest published wage of each kind in the country and currency of the study on its day; none for places without one. [money/hour]"""
    table = wages_on(kit.study.day)
    place = Locale.parse(kit.study.file.study.locale).get_territory_name("en") or ""
    here = table[(table.currency == kit.study.currency) & table.place.str.startswith(place)]
    if kit.study.file.target.wage:
        here = table[(table.place == wages().place[kit.study.file.target.wage]) | table.index.isin(here.index)]
    return here.sort_values(["valid_from", "amount"]).groupby("kind", sort=True).tail(1).sort_values("amount")


@shown(
    "living-paid-job",
    "A year of paid work with the same hours, and the year of this study, by the study's tax table: estimates",
    "work: text; hours a week: 1; a year: money0; after contributions and tax: money0; source: kept",
)
def paid_job_table(kit: OpenStudy, found: Towards | None) -> pd.DataFrame:
    """What a paid job of the hours worked now, and of those a living takes, would bring beside this work; holidays paid. [hour/week, money/year]"""
    scheme, totals = scheme_of(kit), kit.point().totals
    worked = float(totals["hours_per_year"]) / float(kit.inputs().weeks_per_year)
    works = [("this work now", worked, float(totals["residual_pay_per_year"]), "this study")]
    if found is not None and found.possible and not found.reached:
        works.append(("this work at a living", found.hours, found.living, "this study"))
    for _, hours, _, _ in tuple(works):
        for row in jobs_known(kit).itertuples():
            works.append((f"{row.kind}, {row.place}, from {row.valid_from}", hours, row.amount * hours * _WEEKS_PAID, row.source))
    works.sort(key=lambda work: work[1])
    interest = {"this study": float(totals["interest_per_year"])}
    left = [np.nan if scheme is None else float(left_of(pay, interest.get(own, 0.0), scheme)) for _, _, pay, own in works]
    return [(*work[:3], after, work[3]) for work, after in zip(works, left, strict=True)]


def paid_job_sentence(kit: OpenStudy, frame: pd.DataFrame) -> str:
    """What a paid job of the same hours leaves, against this work now."""
    fmt, own = format_of(kit), frame[frame.source == "this study"].iloc[0]
    luck = "" if kit.variation == "rates" else f", {APART},"  # the year on the first page has it
    paid = frame[(frame.source != "this study") & (frame["hours a week"] == own["hours a week"])]
    if paid.empty:
        return f"The kit has no wages of this place in {kit.study.currency}, so no paid job is set beside it."
    column, after = "after contributions and tax", " after contributions and tax"
    if frame[column].isna().any():
        column, after = "a year", " before contributions and tax, as the study names no tax table"
    parts = [f"{fmt.money(row[column], 0)} at the {row.work.split(',')[0]}" for _, row in paid.iterrows()]
    return (
        f"A paid job of the same {fmt.number(own['hours a week'], 1)} hours a week, {fmt.number(_WEEKS_PAID)} weeks paid, would leave about **{' or '.join(parts)}**; "
        f"this work{luck} leaves {fmt.money(own[column], 0)}{after}. Wages are taxed here by the same table, which is for the self-employed: an employee's own contributions differ."
    )
