"""The cash page: tables and sentences of the paths of cash."""

import numpy as np
import pandas as pd

from ..faults import counted
from ..kit import OpenStudy, format_of
from .cash_paths import BAND, NO_PAY, TARGET_PAY, CashAnswer, ends_of, practice_of
from .table import shown

_MEANINGLESS = 10.0  # a year; a rate of return beyond it says only that little was put in


@shown("cash-outlay", "What goes in at the start", "for: text; money: money0")
def outlay_table(answer: CashAnswer) -> pd.DataFrame:
    """What is put in at the start. [money]"""
    return pd.DataFrame({"for": list(answer.outlay), "money": list(answer.outlay.values())})


@shown(
    "cash-path-{case}",
    "Free money by month, {case}",
    "month: 0; calendar: text; 1 in 10 below: money0; half below: money0; 1 in 10 above: money0",
    fold=True,
)
def path_table(answer: CashAnswer, case: str = NO_PAY) -> pd.DataFrame:
    """Free money at the start and at the end of each month, with its band. [money]"""
    found = answer.cases[case]
    low, middle, high = np.quantile(found.free, BAND, axis=0)
    frame = {"month": range(answer.months + 1), "calendar": ("at the start", *answer.calendar), "at the point": found.path.free}
    return pd.DataFrame(frame | {"1 in 10 below": low, "half below": middle, "1 in 10 above": high})


@shown(
    "cash-lines",
    "Month by month with every number at its middle, {case}",
    "month: 0; calendar: text; received: money0; paid: money0; outlay: money0; pay taken: money0; tax paid: money0; "
    "balance: money0; set aside for tax: money0; free: money0",
    fold=True,
)
def lines_table(answer: CashAnswer, case: str = NO_PAY) -> pd.DataFrame:
    """Where the money of each month comes from and goes to, at the point; each balance follows from the one before. [money]"""
    path = answer.cases[case].path
    columns = {
        "received": path.received,
        "paid": -path.paid,
        "outlay": -path.outlays,
        "pay taken": -path.pay,
        "tax paid": -path.tax,
    }
    columns |= {"balance": path.balance, "set aside for tax": path.set_aside, "free": path.free}
    columns |= {"owed by buyers": path.owed, "material bought ahead": path.in_stock}
    frame = pd.DataFrame({name: values + 0.0 for name, values in columns.items()})
    frame.insert(0, "month", range(answer.months + 1))
    frame.insert(1, "calendar", ("at the start", *answer.calendar))
    return frame


@shown(
    "cash-summary",
    "Lowest money, and months until what was put in is back",
    "pay: text; pay a month: money0; lowest, 1 in 10 below: money0; lowest, half below: money0; in month: kept; back, 1 in 10 sooner: 1; "
    "back, half sooner: 1; back, 1 in 10 later: 1; back within the months: chance; back if nothing is set aside: kept; "
    "worth, 1 in 10 below: kept; worth, half below: kept; worth, 1 in 10 above: kept",
)
def cash_table(answer: CashAnswer) -> pd.DataFrame:
    """Each rule of pay: lowest money, when the outlay is back, chance that it is, what the path is worth today. [money, month]"""
    rows = []
    for case in answer.cases.values():
        lowest, untaxed = ends_of(case.lowest)[:2], ends_of(case.back_untaxed)[1]
        within = float(np.isfinite(case.back).mean())
        rows.append(
            (case.name, case.pay, *lowest, case.lowest_month()[0], *ends_of(case.back), within, untaxed, *ends_of(case.worth))
        )
    return rows


def assumed_sentence(kit: OpenStudy, answer: CashAnswer) -> str:
    """What the paths take for granted."""
    fmt, stated = format_of(kit), kit.study.file.cash
    text = f"The path runs {answer.months} months from {answer.calendar[0]}"
    text += (
        f"; demand grows evenly to its full size over {fmt.number(stated.ramp_months, 1)} months"
        if stated.ramp_months
        else "; demand is full from the first day"
    )
    if stated.season is None:
        text += "; every month sells alike"
    else:
        text += f"; months follow the season {'of the sales log' if stated.season == 'records' else 'stated'}"
    late = [f"{name} after {counted(delay, 'month')}" for name, delay in stated.payment_delay.items() if delay]
    text += f"; buyers pay late: {', '.join(late)}" if late else "; buyers pay in the month of the sale"
    if stated.material_lead:
        text += f"; material is bought {counted(stated.material_lead, 'month')} ahead"
    if any(p.mould is not None for p in kit.inputs().products):
        text += "; a first set of moulds is there at the start, later ones are paid as they wear"
    share = float(kit.inputs().set_aside_share)
    practice = practice_of(kit, kit.inputs(), kit.point())
    if not np.allclose(practice, 1.0, rtol=1e-3):
        text += f"; while the hands learn, sales are {fmt.percent(practice[0])} of the first year's mean in the first month and {fmt.percent(practice[answer.months - 1])} in the last"
    text += f"; {fmt.percent(share)} of the surplus is set aside for contributions and tax" if share else "; nothing is set aside"
    bands = "no month scatters here; **real months do.**" if kit.certain else "**real months scatter more than these bands.**"
    return f"{text}. Each draw holds one year's numbers through all months; {bands}"


def back_sentence(kit: OpenStudy, answer: CashAnswer, case: str) -> str:
    """When the money put in is back under a rule of pay, claiming no more than the draws show."""
    fmt, found, outlay = format_of(kit), answer.cases[case], sum(answer.outlay.values())
    if outlay <= 0:
        return "Nothing is put in at the start, so there is nothing to get back."
    low, middle, high = ends_of(found.back)
    share = float(np.isfinite(found.back).mean())
    start = f"With **{case}**, the {fmt.money(outlay, 0)} put in at the start"

    def month(value):
        return fmt.number(max(value, 0.1), 1)

    if share < 0.1:
        odds = "in no draw" if share == 0 else f"with a chance of {fmt.chance(share)} only"
        return f"{start} is **not back** within {answer.months} months{'' if kit.certain else f' ({odds})'}."
    if share < 0.9:
        return (
            f"{start} **may be back** within {answer.months} months: the chance is {fmt.chance(share)}, and one draw in ten has it back "
            f"within {month(low)} months."
        )
    band = "" if kit.certain else f"; eight draws in ten lie between {month(low)} and {month(high)}"
    text = f"{start} is **back after about {month(middle)} months**{band}."
    if not np.isclose(found.point_back, found.point_back_untaxed):
        untaxed = ends_of(found.back_untaxed)[1]
        text += f" Were nothing set aside it would be about {month(untaxed)}."
    again = float(found.dips.mean())
    if kit.certain:
        return text + (" It falls short again later." if again else "")
    return text + (f" In {fmt.chance(again)} of the draws it falls short again later." if again >= 0.1 else "")


def reserve_sentence(kit: OpenStudy, answer: CashAnswer, case: str) -> str:
    """Whether the money there at the start lasts, or how much would be needed."""
    fmt, found = format_of(kit), answer.cases[case]
    low, middle, _ = ends_of(found.lowest)
    place, rough = _lowest_place(answer, found, low, fmt), "Chance from month to month comes on top."
    if answer.reserve <= 0:
        if low >= 0:
            return f"With **{case}** the path needs no money of its own{'' if kit.certain else ' in nine of ten draws'}. {rough}"
        needs = (
            f"half of the draws need {fmt.money(max(-middle, 0.0), 0)} or more at the start, and one in ten needs "
            f"**{fmt.money(-low, 0)}** or more"
        )
        needs = f"**{fmt.money(-low, 0)}** are needed at the start" if kit.certain else needs
        return f"With **{case}**, {needs}; free money is lowest {place}. {rough} The study states no reserve to hold against it."
    risk = found.runs_out["chance"]
    if kit.certain:
        lasts = (
            f"**{'runs out' if risk else 'lasts'}** within the {answer.months} months"
            if risk
            else f"**lasts** the {answer.months} months"
        )
        start = f"With **{case}** the reserve of {fmt.money(answer.reserve, 0)} {lasts}"
        return f"{start}; free money is lowest {place}, at {fmt.money(low, 0)}. {rough}"
    words = (
        "runs out" if risk >= 0.9 else "probably runs out" if risk >= 0.5 else "may run out" if risk >= 0.1 else "probably lasts"
    )
    text = f"With **{case}** the reserve of {fmt.money(answer.reserve, 0)} **{words}**: the chance that it does not last {answer.months} months is {fmt.chance(risk)}. "
    return text + f"Free money is lowest {place}; one draw in ten falls to {fmt.money(low, 0)} or below. {rough}"


def _lowest_place(answer, found, low, fmt):
    """Where free money is lowest, in how many draws if not nearly all, and where in the tenth that falls lowest."""

    def place(month):
        return "at the start" if month == 0 else f"at the end of month {month} ({answer.calendar[month - 1]})"

    month, share = found.lowest_month()
    worst, _ = found.lowest_month(found.lowest <= low)
    text = place(month) if share >= 0.9 else f"{place(month)} in {fmt.percent(share)} of the draws"
    return text if worst == month else f"{text}, but {place(worst)} in the tenth that falls lowest"


def worth_sentence(kit: OpenStudy, answer: CashAnswer, case: str = TARGET_PAY) -> str:
    """What the path is worth today, and its rate of return."""
    fmt, found = format_of(kit), answer.cases[case]
    low, middle, high = ends_of(found.worth)
    side = (
        "**more than is put in**" if low > 0 else "**less than is put in**" if high < 0 else "**either side of what is put in**"
    )
    leave = f"half of the draws leave {fmt.money(middle, 0)} or more, eight in ten between {fmt.money(low, 0)} and {fmt.money(high, 0)}"
    counted_in = (
        f", what equipment and first moulds are still worth at the end counted in ({fmt.money(found.left, 0)})"
        if found.left >= 0.5
        else ""
    )
    text = (
        f"With **{case}**, at {fmt.percent(answer.interest, 1)} interest a year above rising prices, {answer.months} months{counted_in}, are worth "
        f"{side}: {f'they leave {fmt.money(middle, 0)}' if kit.certain else leave}."
    ).replace(" months, are", " months are")
    if not found.rates:
        return text + " No rate of return balances it."
    if len(found.rates) > 1:
        return (
            text
            + f" More than one rate of return balances it ({', '.join(fmt.percent(r, 1) for r in found.rates)} a year), so none of them may be relied on."
        )
    rate = found.rates[0]
    if rate > _MEANINGLESS:
        return text + f" Its rate of return is beyond {fmt.percent(_MEANINGLESS)} a year, which says only that little is put in."
    return text + f" Its rate of return, with every number at its middle, is {fmt.percent(rate, 1)} a year."
