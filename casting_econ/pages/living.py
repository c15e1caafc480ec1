"""A living wage as a self-employed hour, line by line, and pay before and after set-aside, contributions and tax."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..kit import Answer, OpenStudy, format_of
from ..models.checks import share_of
from ..models.tax import TaxScheme, charges, take_home
from ..reference import taxes, wages
from .monte_carlo import old_words
from .table import shown

ADVISER = "An estimate, not tax advice: ask a qualified adviser."
_ENOUGH, _SHORT = 0.9, 0.1  # of the draws, from which something holds, or does not


@dataclass(frozen=True, kw_only=True)
class Basis:
    """Pay and target counted in the same way."""

    name: str
    pay: np.ndarray  # a year, by draw [money/year]
    target: np.ndarray  # pay at the target for the same hours, by draw [money/year]


def scheme_of(kit: OpenStudy) -> TaxScheme | None:
    """The tax table that the study names, or None."""
    return taxes().get(kit.study.file.target.tax)


@shown(
    "living-target",
    "How the target comes about, line by line",
    "line: text; by: text; figure: significant; unit: text; so far: significant; so far in: text",
)
def target_lines(kit: OpenStudy) -> pd.DataFrame:
    """How a published wage becomes the target for a self-employed hour: the figures, multiplied and divided, make it; one line where it is typed."""
    a, target, money = kit.inputs(), kit.study.file.target, kit.study.currency
    if target.wage is None:
        lines = [("target stated in the study", "×", float(a.target_per_hour), f"{money}/hour", f"{money}/hour")]
    else:
        row = wages().loc[target.wage]
        share = float(kit.assumed.numbers.get("target.employer_share", target.employer_share).value)
        lines = [
            (f"{row.kind}, {row.place}, from {row.valid_from}", "×", float(row.amount), f"{money}/hour", f"{money}/hour"),
            ("hours paid in a year, holidays included", "×", float(row.paid_hours_per_year), "hour/year", f"{money}/year"),
            ("what an employer adds", "×", 1.0 + share, "of the wage", f"{money}/year"),
            ("weeks really worked", "÷", float(a.weeks_per_year), "week/year", f"{money}/week"),
            ("hours of a full week", "÷", float(target.full_week.value), "hour/week", f"{money}/hour"),
        ]
    so_far = np.cumprod([figure if by == "×" else 1.0 / figure for _, by, figure, *_ in lines])
    return [(*line, reached, of) for (*line, of), reached in zip(lines, so_far, strict=True)]


def pay_bases(kit: OpenStudy, answer: Answer) -> list[Basis]:
    """Pay of the year before set-aside and after it and, where the study names a tax table, after contributions, and after tax; each beside the
    target on the same basis."""
    scheme = scheme_of(kit)
    pay, interest = answer.draws["residual_pay_per_year"], answer.draws["interest_per_year"]
    sides = (pay, answer.draws["target_per_hour"] * answer.draws["hours_per_year"])
    share = answer.draws["set_aside_share"]
    ways = {
        "before set-aside": lambda money: np.asarray(money, float),
        "after set-aside": lambda money: money - share * np.maximum(money, 0.0),
    }
    if scheme is not None:
        ways["after contributions"] = lambda money: left_of(money, interest, scheme, kinds=("contribution",))
        ways["after contributions and tax"] = lambda money: left_of(money, interest, scheme)
    return [Basis(name=name, pay=way(sides[0]), target=way(sides[1])) for name, way in ways.items()]


def left_of(pay, interest, scheme: TaxScheme, **kinds):
    """What `take_home` leaves of a year's pay, from which interest on money of one's own in equipment is taken off: such is no expense to a tax
    office (common practice, no source). [money/year]"""
    return take_home(pay + interest, scheme, **kinds) - interest


def an_hour(money, hours):
    """Money an hour that one draw in ten, half, and nine in ten stay below, of the years in which any hour is worked. [money/hour]"""
    each = share_of(money, hours, np.nan)
    each = each[~np.isnan(each)]
    return tuple(float(value) for value in np.quantile(each, [0.1, 0.5, 0.9])) if each.size else (np.nan,) * 3


@shown(
    "living-bases",
    "Pay on each basis beside the target counted in the same way: half of the draws are below, and the ends of eight in ten",
    "basis: text; pay an hour: money; target an hour: money; target reached: chance; 1 in 10 below: money; 1 in 10 above: money; "
    "pay a year: money0; target a year: kept",
)
def bases_table(kit: OpenStudy, answer: Answer) -> pd.DataFrame:
    """Pay an hour and a year on each basis, beside the target on the same one; what half of the draws stay below, and the ends of eight in ten. [money/year, money/hour]"""
    hours, rows = answer.draws["hours_per_year"], []
    for basis in pay_bases(kit, answer):
        low, middle, high = an_hour(basis.pay, hours)
        year, target, hour = float(np.median(basis.pay)), float(np.median(basis.target)), an_hour(basis.target, hours)[1]
        rows.append((basis.name, middle, hour, float((basis.pay >= basis.target).mean()), low, high, year, target))
    return rows


@shown(
    "living-taxes",
    "Contributions and tax on the profit that half of the draws stay below, an estimate",
    "what: text; kind: text; money a year: money0; of profit: percent1; source: text; status: text; read at: kept",
)
def tax_table(kit: OpenStudy, answer: Answer) -> pd.DataFrame:
    """Each contribution and tax on the profit that half of the draws stay below, with its source and how well that is known; empty without a tax table. [money/year]"""
    scheme, year = scheme_of(kit), answer.draws
    profit = float(np.median(year["residual_pay_per_year"] + year["interest_per_year"]))
    due, share = {} if scheme is None else charges(profit, scheme), profit if profit > 0 else np.nan
    parts = () if scheme is None else scheme.parts
    return [(p.name, p.kind, float(due[p.name]), float(due[p.name]) / share, p.source, p.status, p.link) for p in parts]


def tax_sentence(kit: OpenStudy) -> str:
    """Which table the estimate rests on, what it leaves out, and how well it is known."""
    scheme = scheme_of(kit)
    if scheme is None:
        return "The study names no tax table (`tax` under [target]), so contributions and tax are only what it sets aside."
    unseen = [part.name for part in scheme.parts if part.status == "from memory"]
    text = f"Contributions and tax follow the rates of {scheme.place}, {scheme.year}, for someone with no other income"
    text += f"; {scheme.note}. " if scheme.note else ". "
    if unseen:
        text += f"**Rates to be checked before use, written down from memory: {', '.join(unseen)}.** "
    return text.rstrip() + old_words(kit, "This tax table", scheme.valid_from)


def bases_sentence(kit: OpenStudy, answer: Answer) -> str:
    """What an hour leaves on the last basis there is, against the target on the same basis, no surer than the draws are."""
    fmt, last = format_of(kit), bases_table(kit, answer).iloc[-1]
    low, middle, high, aim, reached = last[["1 in 10 below", "pay an hour", "1 in 10 above", "target an hour", "target reached"]]
    verb = "reaches" if reached >= _ENOUGH else "does not reach" if reached <= _SHORT else "may or may not reach"
    band = f" or more in half of the draws (eight in ten between {fmt.money(low)} and {fmt.money(high)})"
    sure = f"; the chance is {fmt.chance(reached)}"
    return (
        f"**{last.basis.capitalize()}**, an hour leaves {fmt.money(middle)}{'' if kit.certain else band} and **{verb} the target counted "
        f"in the same way**, {fmt.money(aim)}{'' if kit.certain else sure}. {ADVISER}"
    )


def set_aside_sentence(kit: OpenStudy, answer: Answer) -> str:
    """Whether the share set aside covers the estimate of contributions and tax, in how many of the draws."""
    fmt, scheme, share = format_of(kit), scheme_of(kit), float(kit.inputs().set_aside_share)
    if scheme is None:
        return f"Whether setting {fmt.percent(share)} aside is enough cannot be said without a tax table."
    pay = answer.draws["residual_pay_per_year"]
    profit = pay + answer.draws["interest_per_year"]
    due = profit - take_home(profit, scheme)
    enough = float((answer.draws["set_aside_share"] * np.maximum(pay, 0.0) >= due - 1e-9).mean())
    needed = np.quantile(due / np.where(profit > 0, profit, 1.0), 0.9)
    words = "**would cover**" if enough >= _ENOUGH else "**would not cover**" if enough <= _SHORT else "**may not cover**"
    takes = fmt.percent(float(needed), 1)
    spread = f"it is enough in {fmt.chance(enough)} of the draws, and nine in ten need {takes} of profit or less"
    told = f"they take {takes} of profit" if kit.certain else spread
    return f"Setting {fmt.percent(share)} aside {words} contributions and tax by this table: {told}."


def not_modelled(kit: OpenStudy) -> str:
    """What no page of the study counts, as a list."""
    year = "Seasons within the year, and stock built up for them"
    if kit.variation == "months":
        year = "Stock built up for a season beyond what is kept ready, and orders that still wait when a year ends"
    rest = "Time lost in changing from one kind of work to another", "Reliefs, other income and family in contributions and tax"
    ages = "Prices, fees and wages age. Each table of the kit says from when it is"
    return "\n".join(f"- {one}." for one in (year, *rest, ages))
