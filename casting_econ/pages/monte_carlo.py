"""The Monte Carlo page: an hour and a year over the draws, and the target they are held against."""

from functools import lru_cache

import numpy as np
import pandas as pd

from ..assumptions import with_luck
from ..kit import Answer, OpenStudy, format_of, main_wait
from ..models import evaluate, self_employed_target, with_levers
from ..models.checks import share_of
from ..reference import over_a_year_old, wages, wages_on
from ..study.scenarios import dotted
from .table import shown

_LUCKY_YEARS = 2_048  # enough for ends that are said with two figures


@shown(
    "monte-carlo-wages",
    "Published wages in the study's currency as a self-employed hour, and the chance that an hour and a year reach them",
    "wage: text; self-employed hour: money; hour reached: chance; year reached: chance; published: money; source: text; read at: kept; "
    "key: kept",
)
def wage_table(kit: OpenStudy, answer: Answer) -> pd.DataFrame:
    """Chance that an hour, and a full year, reaches each published wage of the study's currency and day as a self-employed one. [money/hour, -]"""
    a, target, draws, rows = kit.inputs(), kit.study.file.target, answer.draws, []
    # beside the point, a wage by the year, and the hours of a full year under it, move in the draws as those of the target do
    by_year = draws["living_per_year"] / answer.living if target.wage else 1.0
    by_hour = by_year * share_of(draws["target_per_hour"] * answer.living, draws["living_per_year"] * answer.target, 1.0)
    kept = wages().index.isin([*wages_on(kit.study.day).index, target.wage]) & (wages().currency == kit.study.currency)
    for identifier, row in wages()[kept].iterrows():
        own = target.employer_share.value, a.weeks_per_year, target.full_week.value
        needed = self_employed_target(row.amount, row.paid_hours_per_year, *own)
        hour = float((draws["pay_per_hour"] >= needed * by_hour).mean())
        year = float((draws["residual_pay_per_year"] >= needed * a.weeks_per_year * target.full_week.value * by_year).mean())
        named = f"{row.kind}, {row.place}, from {row.valid_from}"
        rows.append((named, float(needed), hour, year, row.amount, row.source, row.link, identifier))
    return rows


def _summed_up(answer, quantity):
    """What one draw in ten, half, and nine in ten stay below, the mean and its error."""
    found = answer.summary(quantity)
    return tuple(found[name] for name in ("p10", "p50", "p90", "mean", "mean_error"))


@shown(
    "answer-pay-an-hour",
    "Pay an hour over the draws",
    "quantity: text; 1 in 10 below: money; half below: money; 1 in 10 above: money; mean: kept; error of mean: kept",
)
def pay_table(answer: Answer) -> pd.DataFrame:
    """Pay an hour before and after what is set aside. [money/hour]"""
    names = {"pay_per_hour": "pay an hour", "pay_per_hour_after_set_aside": "after set-aside"}
    return [(name, *_summed_up(answer, quantity)) for quantity, name in names.items()]


@shown(
    "monte-carlo-year",
    "The year over the draws",
    "quantity: text; unit: text; 1 in 10 below: 0; half below: 0; 1 in 10 above: 0; mean: 0; error of mean: significant",
)
def year_table(answer: Answer, currency: str) -> pd.DataFrame:
    """The year's money, hours and pieces."""
    named = {
        "revenue": ("sales and postage charged", currency),
        "residual_pay": ("left for the maker", currency),
        "hours": ("hours", "hour"),
        "pieces_sold": ("pieces sold", "piece"),
        "casts": ("casts", "cast"),
        "loads": ("loads", "load"),
    }
    return [(name, f"{unit}/year", *_summed_up(answer, f"{key}_per_year")) for key, (name, unit) in named.items()]


def draw_words(kit: OpenStudy) -> str:
    """What a draw is, where chance has a part in it; nothing where rates alone differ."""
    if kit.variation == "rates":
        return ""
    whole = "with a number of orders of its own, as chance has it about what is expected"
    months = "with months of its own: how many orders come in each, how large they are, and what goes wrong, is left to chance"
    return f"Each draw is one possible year, {months if kit.variation == 'months' else whole}."


def without_luck(kit: OpenStudy, where: str = "Where this page does not speak of draws") -> str:
    """That a page, or part of it, leaves chance out; nothing where rates alone differ."""
    if kit.variation == "rates":
        return ""
    each = "every month has as many orders" if kit.variation == "months" else "the year has as many orders"
    return f"{where}, {each} as are expected: what chance brings on top is on the page on Monte Carlo."


@shown(
    "monte-carlo-orders",
    "Orders that come in a year, over the draws, and the chance of a year without any and of one with fewer than half as many as expected",
    "channel: text; expected: figure; 1 in 10 below: 0; half below: 0; 1 in 10 above: 0; none: chance; fewer than half: chance",
    fold=True,
)
def orders_table(kit: OpenStudy, answer: Answer) -> pd.DataFrame:
    """Orders of a year by channel, and in all where there are several: expected, and as the draws have them. [order/year, -]"""
    expected = {name: float(channel["came"]) for name, channel in kit.point().channels.items()}
    came = {name: answer.draws[f"orders/{name}"] for name in expected}
    if len(came) > 1:
        expected, came = expected | {"all channels": sum(expected.values())}, came | {"all channels": sum(came.values())}
    rows = []
    for name, orders in came.items():
        low, middle, high = np.quantile(orders, [0.1, 0.5, 0.9])
        few = float((orders < expected[name] / 2).mean())
        rows.append((name.replace("-", " "), expected[name], low, middle, high, float((orders == 0).mean()), few))
    return rows


def orders_sentence(kit: OpenStudy, answer: Answer) -> str:
    """How far apart the years are in their orders, and what a year without any leaves."""
    fmt, table = format_of(kit), orders_table(kit, answer)
    every = table.iloc[-1]
    if every.none >= 0.005:
        none = sum(answer.draws[f"orders/{name}"] for name in kit.study.file.channels) == 0
        left = float(answer.draws["residual_pay_per_year"][none].mean())
        ends = f"such a year {'leaves' if left >= 0 else 'loses'} {fmt.money(abs(left), 0)} on average"
        text = f"In **{fmt.chance(every.none)} of the years drawn not one order comes**: nothing is sold, and what costs money anyway is paid all the same; {ends}."
    elif (table.none >= 0.05).any():
        seldom = [f"by {row.channel} in {fmt.chance(row.none)}" for row in table.itertuples() if row.none >= 0.05]
        text = f"Years without one order: {', '.join(seldom)} of those drawn."
    else:
        text = f"{'Every channel has' if len(table) > 1 else 'There are'} orders in nearly every year drawn."
    few = every["fewer than half"]
    if few - every.none < 0.005:
        return text
    return f"{text} Fewer than half of the {fmt.styled(every.expected, 'figure')} expected come in {fmt.chance(few)}."


def luck_of(kit: OpenStudy, draws=None, seed=None, *, base: OpenStudy | None = None, **levers) -> float | None:
    """How much of the variance of what a year leaves chance has in it, the rest being what is not known; None where nothing scatters. [-]

    Two years of the same draw have the same numbers and each its own luck, so that their covariance is the variance of what is expected
    of the numbers; the mean variance about that is luck's (law of total variance). Arguments as of `OpenStudy.monte_carlo`.
    """

    def work(_, again):
        return {"again": evaluate(with_levers(again, **levers)).totals["residual_pay_per_year"]}

    one = kit.monte_carlo(draws, seed, base=base, **levers).draws["residual_pay_per_year"]
    if np.ptp(one) <= 1e-9 * max(1.0, float(np.abs(one).max())):
        return None
    if not kit.assumed.uncertain:
        return 1.0
    other = kit.by_draw(work, draws, seed, base=base, years=2)["again"]
    apart = (one - one.mean()) * (other - other.mean())
    known = float(apart.mean() / ((one.var() + other.var()) / 2.0))  # a correlation of two that are alike in law
    return min(max(1.0 - known, 0.0), 1.0)


@lru_cache(maxsize=16)  # the explorer looks at one study after the other
def by_luck_alone(kit: OpenStudy) -> tuple[float, float] | None:
    """Ends of what eight years in ten leave with every number at its middle, as far as chance alone goes, to two figures of the width; None where
    nothing is left to chance. [money/year]"""
    years = evaluate(with_luck(kit.inputs(), kit.study, kit.plan_of_draws()[1], 0, _LUCKY_YEARS)).totals["residual_pay_per_year"]
    low, high = np.quantile(years, [0.1, 0.9])
    if not high > low:
        return None
    digits = 1 - int(np.floor(np.log10(high - low)))
    return round(float(low), digits), round(float(high), digits)


def luck_sentence(kit: OpenStudy, luck: float | None) -> str:
    """How much of the spread no record can take away."""
    fmt = format_of(kit)
    if luck is None:
        return ""
    size = fmt.chance(luck) if kit.assumed.uncertain else "all"
    size = f"{'about ' if size[0].isdigit() else ''}**{size} is luck**: how many orders come, how large they are, and what goes wrong"
    text = f"Of the spread of what a year leaves (its variance) {size}. No record takes that away, only a reserve, or more and steadier buyers."
    if not kit.assumed.uncertain:
        return f"{text} The numbers themselves are all stated as certain, which guesses should not be."
    return f"{text} The rest is what you do not know yet, which records make smaller."


# least chance, and from it on a word, and what may be said of an hour, and of a year
_GRADES = (
    (0.9, "yes", "pays", "The year brings {a living} too"),
    (0.75, "probably", "probably pays", "The year probably brings {a living} too"),
    (0.25, "open", "is on the edge of paying", "Whether the year brings {a living} is open"),
    (0.1, "probably not", "probably does not pay", "The year probably does not bring {a living}"),
    (0.0, "no", "does not pay", "The year does not bring {a living}"),
)


# said where pay an hour is below nothing
LOSS = "**Below nothing an hour misleads:** the same loss over fewer hours looks worse an hour, so compare the money as a whole."


def certainty_word(chance: float) -> str:
    """How sure a verdict may sound at this chance of reaching the target.

    >>> [certainty_word(c) for c in (0.95, 0.8, 0.5, 0.2, 0.05)]
    ['pays', 'probably pays', 'is on the edge of paying', 'probably does not pay', 'does not pay']
    """
    return grade(chance)[1]


def grade(chance: float) -> tuple[str, str, str]:
    """A word for a chance, from yes to no, and what may be said at it of an hour, and of a year."""
    return next((said for least, *said in _GRADES if chance >= least), _GRADES[-1][1:])


def verdict(kit: OpenStudy, answer: Answer) -> str:
    """Whether an hour pays the target, in words no stronger than the chance allows."""
    fmt, pay = format_of(kit), answer.summary("pay_per_hour")
    chance = answer.chances["hour_pays_living_wage"]["chance"]
    low, middle, high = (fmt.money(pay[quantile]) for quantile in ("p10", "p50", "p90"))
    idle = float(np.isnan(answer.draws["pay_per_hour"]).mean())
    years = "years drawn with any work" if idle >= 0.005 else "years drawn"
    brings = f"half of the {years} bring {middle} an hour or more, eight in ten lie between {low} and {high}"
    brings += f", and the chance of reaching the target is {fmt.chance(chance)}"
    if kit.certain:
        brings = f"it brings {middle}, with every number stated as certain"
    text = f"On these numbers an hour of work **{certainty_word(chance)}** the target of {fmt.money(answer.target)}: {brings}. "
    text += f"Every hour counts here, at the bench or not, and every cost.{f' {LOSS}' if (pay['p50'] or 0) < 0 else ''}"
    if idle >= 0.005:
        text += f" In {fmt.chance(idle)} of the years drawn no hour is worked at all; they count as years that do not reach the target."
    return text


def living_words(kit: OpenStudy) -> str:
    """What a full year at the target is called: a living, but never where the target is a legal minimum."""
    wage = kit.study.file.target.wage
    return "a full year at the legal minimum" if wage and wages().kind[wage] != "living wage" else "a living"


def old_words(kit: OpenStudy, what: str, valid_from) -> str:
    """A warning of the age of a reference figure or table, if it was more than a year old on the day that the study speaks of; else nothing."""
    day = kit.study.day
    if not over_a_year_old(valid_from, day):
        return ""
    return f" **{what} holds from {valid_from}, more than a year before {day}, the day that this study goes up to:** a later one may be in force."


def year_sentence(kit: OpenStudy, answer: Answer) -> str:
    """Whether the hours that can be sold make a year's living."""
    fmt, year = format_of(kit), answer.summary("residual_pay_per_year")
    hours = answer.summary("hours_per_year")["p50"] / float(kit.inputs().weeks_per_year)
    chance = answer.chances["year_pays_living_wage"]["chance"]
    whether = grade(chance)[2].replace("{a living}", living_words(kit))
    if answer.chances["hour_pays_living_wage"]["chance"] < 0.75:
        whether = whether.replace(" too", "")
    band = "" if kit.certain else f" ({fmt.money(year['p10'], 0)} to {fmt.money(year['p90'], 0)})"
    text = (
        f"{whether}: it leaves {fmt.money(year['p50'], 0)}{band} for {fmt.number(hours, 1)} hours a week, "
        f"where a full working year at the target would be {fmt.money(answer.living, 0)}."
    )
    return text if kit.certain else f"{text} The chance of that is {fmt.chance(chance)}."


def levers_sentence(kit: OpenStudy, product, *, scrap, cure_hours, vary=None) -> str:
    """What a sweep has set for every draw."""
    fmt, waiting = format_of(kit), main_wait(kit, product)[0]
    parts = [f"scrap set to {fmt.percent(scrap, 1)} of casts"] if scrap is not None else []
    parts += [f"the wait at {waiting} set to {fmt.number(cure_hours, 1)} hours"] if cure_hours is not None else []
    varied = ((key, f"{value:g}" if isinstance(value, float) else value) for key, value in dotted(vary or {}))
    parts += [f"{key} set to {value}" for key, value in varied]
    if parts:
        return f"In every draw: {' and '.join(parts)}."
    if kit.certain:
        return "Every number is stated as certain, so all years drawn are alike."
    if not kit.assumed.uncertain:
        return "Every number is stated as certain; the years drawn differ by chance alone, as orders come one by one."
    one_by_one = "" if kit.variation == "rates" else "; orders come one by one"
    return f"All numbers are drawn as the study and its logs have them{one_by_one}."


def limits_sentence(kit: OpenStudy) -> str:
    """What the draws leave out."""
    text = "Numbers stated as one figure move together by kind: if one stated time is optimistic, they all are. Numbers measured by the logs move by themselves."
    risks = [name.replace("-", " ") for name in kit.study.file.risks]
    if not risks:
        return f"{text} Nothing here knows of illness, a breakdown, or a fashion that ends."
    how = "on average" if kit.variation == "rates" else "as chance has it"
    return f"{text} Of what may go wrong only {' and '.join(risks)} count, {how}, once a year at most; nothing here knows of a fashion that ends."


def target_sentence(kit: OpenStudy) -> str:
    """Where the target comes from."""
    fmt, target, a = format_of(kit), kit.study.file.target, kit.inputs()
    year = f"For a full year of {fmt.number(a.weeks_per_year)} weeks at {fmt.number(target.full_week.value, 1)} hours that is {fmt.money(a.living_per_year, 0)}."
    if target.wage is None:
        return f"The target of {fmt.money(a.target_per_hour)} an hour is stated in the study. {year}"
    row = wages().loc[target.wage]
    return (
        f"The target of {fmt.money(a.target_per_hour)} an hour comes from {row.kind} {fmt.money(row.amount)}, {row.place}, from {row.valid_from} ({row.source}), "
        f"paid for {fmt.number(row.paid_hours_per_year)} hours a year, with {fmt.percent(target.employer_share.value)} for an employer's contributions. {year}{old_words(kit, 'This wage', row.valid_from)}"
    )


def error_sentence(kit: OpenStudy, answer: Answer) -> str:
    """Monte Carlo error of the two main results."""
    fmt, pay = format_of(kit), answer.summary("pay_per_hour")
    chance = answer.chances["hour_pays_living_wage"]
    if pay["mean_error"] is None:
        return "Pay an hour has no mean over these draws, so that there is no error of it to tell."
    if kit.certain:
        return "All draws are alike, so they have no error of their own. **Numbers that are guesses should not be stated as certain:** give low, likely and high."
    error = 2 * pay["mean_error"]
    known = f"about ±{fmt.money(error)}" if error >= 0.005 else f"better than ±{fmt.money(0.01)}"
    wide = 2 * chance["error"]
    sure = f"about ±{fmt.percent(wide, 1)}" if wide >= 0.0005 else f"better than ±{fmt.percent(0.001, 1)}"
    return (
        f"{fmt.number(len(answer.draws['pay_per_hour']))} draws: the mean of pay an hour is known to {known}, "
        f"the chance of the target to {sure} (two standard errors, from the scatter of 16 independent sets of draws). "
        "This is the error of the arithmetic, not of the assumptions."
    )
