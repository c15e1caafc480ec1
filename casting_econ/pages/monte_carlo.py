"""The Monte Carlo page: an hour and a year over the draws, and the target they are held against."""

import pandas as pd

from ..kit import Answer, OpenStudy, format_of, main_wait
from ..models import self_employed_target
from ..reference import over_a_year_old, wages
from ..study.scenarios import dotted
from .table import shown


@shown(
    "monte-carlo-wages",
    "Published wages in the study's currency as a self-employed hour, and the chance that an hour and a year reach them",
    "wage: kept; place: text; kind: text; from: text; published: money; self-employed hour: money; hour reached: chance; "
    "year reached: chance; source: text; read at: kept",
)
def wage_table(kit: OpenStudy, answer: Answer) -> pd.DataFrame:
    """Chance that an hour, and a full year, reaches each published wage of the study's currency as a self-employed one. [money/hour, -]"""
    a, target = kit.inputs(), kit.study.file.target
    rows = []
    for identifier, row in wages()[wages().currency == kit.study.currency].iterrows():
        needed = self_employed_target(
            row.amount, row.paid_hours_per_year, target.employer_share.value, a.weeks_per_year, target.full_week.value
        )
        living = needed * a.weeks_per_year * target.full_week.value
        held = (("pay_per_hour", needed), ("residual_pay_per_year", living))
        hour, year = (float((answer.draws[quantity] >= least).mean()) for quantity, least in held)
        rows.append(
            (identifier, row.place, row.kind, row.valid_from, row.amount, float(needed), hour, year, row.source, row.link)
        )
    return rows


def _summary_rows(answer: Answer, quantities) -> pd.DataFrame:
    rows = []
    for quantity, name in quantities.items():
        found = answer.summary(quantity)
        row = {"quantity": name, "1 in 10 below": found["p10"], "half below": found["p50"], "1 in 10 above": found["p90"]}
        rows.append(row | {"mean": found["mean"], "error of mean": found["mean_error"]})
    return pd.DataFrame(rows)


@shown(
    "answer-pay-an-hour",
    "Pay an hour over the draws",
    "quantity: text; 1 in 10 below: money; half below: money; 1 in 10 above: money",
)
def pay_table(answer: Answer) -> pd.DataFrame:
    """Pay an hour before and after what is set aside. [money/hour]"""
    return _summary_rows(answer, {"pay_per_hour": "pay an hour", "pay_per_hour_after_set_aside": "after set-aside"})


@shown(
    "monte-carlo-year",
    "The year over the draws",
    "quantity: text; unit: text; 1 in 10 below: 0; half below: 0; 1 in 10 above: 0; mean: 0; error of mean: 1",
)
def year_table(answer: Answer, currency: str) -> pd.DataFrame:
    """The year's money, hours and pieces."""
    names = {
        "revenue_per_year": "sales and postage charged",
        "residual_pay_per_year": "left for the maker",
        "hours_per_year": "hours",
        "pieces_sold_per_year": "pieces sold",
        "casts_per_year": "casts",
        "loads_per_year": "loads",
    }
    frame = _summary_rows(answer, names)
    frame.insert(1, "unit", [f"{currency}/year"] * 2 + ["hour/year", "piece/year", "cast/year", "load/year"])
    return frame


# least chance, and what may be said of an hour, and of a year, from it on
_GRADES = (
    (0.9, "pays", "The year brings {a living} too"),
    (0.75, "probably pays", "The year probably brings {a living} too"),
    (0.25, "is on the edge of paying", "Whether the year brings {a living} is open"),
    (0.1, "probably does not pay", "The year probably does not bring {a living}"),
    (0.0, "does not pay", "The year does not bring {a living}"),
)


def certainty_word(chance: float) -> str:
    """How sure a verdict may sound at this chance of reaching the target.

    Examples
    --------
    >>> [certainty_word(c) for c in (0.95, 0.8, 0.5, 0.2, 0.05)]
    ['pays', 'probably pays', 'is on the edge of paying', 'probably does not pay', 'does not pay']
    """
    return _grade(chance)[1]


def year_word(chance: float, living: str = "a living") -> str:
    """The same of a year's living, or of what `living_words` calls it.

    Examples
    --------
    >>> [year_word(c) for c in (0.95, 0.5, 0.05)]
    ['A year brings a living', 'Whether a year brings a living is open', 'A year does not bring a living']
    """
    word = _grade(chance)[2].replace("The year", "A year").replace("the year", "a year")
    return word.removesuffix(" too").replace("{a living}", living)


def _grade(chance):
    """The first of the grades that a chance reaches."""
    return next((grade for grade in _GRADES if chance >= grade[0]), _GRADES[-1])


def verdict(kit: OpenStudy, answer: Answer) -> str:
    """Whether an hour pays the target, in words no stronger than the chance allows."""
    fmt, pay = format_of(kit), answer.summary("pay_per_hour")
    chance = answer.chances["hour_pays_living_wage"]["chance"]
    low, middle, high = (fmt.money(pay[quantile]) for quantile in ("p10", "p50", "p90"))
    brings = f"half of the years drawn bring {middle} an hour or more, eight in ten lie between {low} and {high}"
    brings += f", and the chance of reaching the target is {fmt.chance(chance)}"
    if kit.certain:
        brings = f"it brings {middle}, with every number stated as certain"
    text = f"On these numbers an hour of work **{certainty_word(chance)}** the target of {fmt.money(answer.target)}: {brings}. "
    return text + "Every hour counts here, at the bench or not, and every cost."


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
    whether = _grade(chance)[2].replace("{a living}", living_words(kit))
    if answer.chances["hour_pays_living_wage"]["chance"] < 0.75:
        whether = whether.replace(" too", "")
    band = "" if kit.certain else f" ({fmt.money(year['p10'], 0)} to {fmt.money(year['p90'], 0)})"
    text = (
        f"{whether}: it leaves {fmt.money(year['p50'], 0)}{band} for {fmt.number(hours, 1)} hours a week, "
        f"where a full working year at the target would be {fmt.money(answer.living, 0)}."
    )
    return text if kit.certain else f"{text} The chance of that is {fmt.chance(chance)}."


def pay_alt(kit: OpenStudy, answer: Answer) -> str:
    """Alternative text of the histogram of pay an hour."""
    fmt, pay = format_of(kit), answer.summary("pay_per_hour")
    if kit.certain:
        return f"Pay an hour is {fmt.money(pay['p50'])} in every draw; the target is {fmt.money(answer.target)}."
    return (
        f"Histogram of pay an hour: eight in ten draws between {fmt.money(pay['p10'])} and {fmt.money(pay['p90'])}, "
        f"half above {fmt.money(pay['p50'])}; the target is {fmt.money(answer.target)}."
    )


def levers_sentence(kit: OpenStudy, product, *, scrap, cure_hours, vary=None) -> str:
    """What a sweep has set for every draw."""
    fmt, waiting = format_of(kit), main_wait(kit, product)[0]
    parts = [f"scrap set to {fmt.percent(scrap, 1)} of casts"] if scrap is not None else []
    parts += [f"the wait at {waiting} set to {fmt.number(cure_hours, 1)} hours"] if cure_hours is not None else []
    parts += [
        f"{key} set to {value:g}" if isinstance(value, float) else f"{key} set to {value}" for key, value in dotted(vary or {})
    ]
    if parts:
        return f"In every draw: {' and '.join(parts)}."
    if kit.certain:
        return "Every number is stated as certain, so all years drawn are alike."
    if not kit.assumed.uncertain:
        return "Every number is stated as certain; the years drawn differ by chance alone, as orders come one by one."
    one_by_one = "" if kit.variation == "rates" else "; orders come one by one"
    return f"All numbers are drawn as the study and its logs have them{one_by_one}."


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
    if kit.certain:
        return "All draws are alike, so they have no error of their own. **Numbers that are guesses should not be stated as certain:** give low, likely and high."
    error = 2 * pay["mean_error"]
    known = f"about ±{fmt.money(error)}" if error >= 0.005 else f"better than ±{fmt.money(0.01)}"
    return (
        f"{fmt.number(len(answer.draws['pay_per_hour']))} draws: the mean of pay an hour is known to {known}, "
        f"the chance of the target to about ±{fmt.percent(2 * chance['error'], 1)} (two standard errors, from the scatter of 16 independent sets of draws). "
        "This is the error of the arithmetic, not of the assumptions."
    )
