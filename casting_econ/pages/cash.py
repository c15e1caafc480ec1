"""The cash page: tables and sentences of the paths of cash."""

import numpy as np
import pandas as pd

from ..evidence import season_told
from ..faults import counted
from ..kit import OpenStudy, format_of
from ..study.fields import MONTHS
from .cash_paths import BAND, NO_PAY, TARGET_PAY, CashAnswer, ends_of, practice_of, tax_months
from .table import shown

# a year, twice the money: beyond that a rate says only that little was put in, and beyond half of it that little comes back
_MEANINGLESS = 1.0


def _by_month(answer, columns):
    """Amounts at the start and at the end of each month, as a frame that names them."""
    return pd.DataFrame({"month": range(answer.months + 1), "calendar": ("at the start", *answer.calendar)} | columns)


@shown("cash-outlay", "What goes in at the start", "for: text; money: money0", fold=True)
def outlay_table(answer: CashAnswer) -> pd.DataFrame:
    """What is put in at the start. [money]"""
    return list(answer.outlay.items())


@shown(
    "cash-path-{case}",
    "Free money by month, {case}",
    "month: 0; calendar: text; 1 in 10 below: money0; half below: money0; 1 in 10 above: money0",
    fold=True,
)
def path_table(answer: CashAnswer, case: str = NO_PAY) -> pd.DataFrame:
    """Free money at the start and at the end of each month, with its band. [money]"""
    found = answer.cases[case]
    band = dict(zip(("1 in 10 below", "half below", "1 in 10 above"), np.quantile(found.free, BAND, axis=0), strict=True))
    return _by_month(answer, {"at the point": found.path.free} | band)


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
    goes = {"paid": path.paid, "outlay": path.outlays, "pay taken": path.pay, "tax paid": path.tax}
    columns = {"received": path.received} | {name: -values for name, values in goes.items()}
    columns |= {"balance": path.balance, "set aside for tax": path.set_aside, "free": path.free}
    columns |= {"owed by buyers": path.owed, "material bought ahead": path.in_stock}
    return _by_month(answer, {name: values + 0.0 for name, values in columns.items()})


def assumed_sentence(kit: OpenStudy, answer: CashAnswer) -> str:
    """What the paths take for granted."""
    fmt, stated = format_of(kit), kit.study.file.cash
    ramp = f"demand grows evenly to its full size over {fmt.number(stated.ramp_months, 1)} months"
    season = f"months follow the season {'of the sales log' if stated.season == 'records' else 'stated'}"
    level = "no month can expect more buyers than another" if answer.by_chance else "every month sells alike"
    if stated.season == "records" and (told := season_told(kit.study)) < 1:
        season += f", drawn towards level ones as only {fmt.number(12 * told)} of twelve months are known"
    late = [f"{name} after {counted(delay, 'month')}" for name, delay in stated.payment_delay.items() if delay]
    parts = [
        f"The path runs {answer.months} months from {answer.calendar[0]}",
        ramp if stated.ramp_months else "demand is full from the first day",
        level if stated.season is None else season,
        f"buyers pay late: {', '.join(late)}" if late else "buyers pay in the month of the sale",
    ]
    if stated.material_lead:
        parts.append(f"material is bought {counted(stated.material_lead, 'month')} ahead")
    if any(p.mould is not None for p in kit.inputs().products):
        parts.append("a first set of moulds is there at the start, later ones are paid as they wear")
    practice = 1.0 if answer.by_chance else practice_of(kit, kit.inputs(), kit.point())
    if not np.allclose(practice, 1.0, rtol=1e-3):
        first, last = fmt.percent(practice[0]), fmt.percent(practice[answer.months - 1])
        parts.append(
            f"while the hands learn, sales are {first} of the first year's mean in the first month and {last} in the last"
        )
    share = float(kit.inputs().set_aside_share)
    aside = f"{fmt.percent(share)} of the surplus is set aside for contributions and tax"
    parts.append(aside + _paid_words(kit, answer) if share else "nothing is set aside")
    if answer.by_chance:
        months = "Each draw keeps its numbers and has months of its own: how many orders come and how large, and what goes wrong, is left to chance"
        return f"{'; '.join(parts)}. {months} in each of them, so **the bands hold what chance brings** as well as what is not known."
    bands = "no month scatters here; **real months do.**" if kit.certain else "**real months scatter more than these bands.**"
    return f"{'; '.join(parts)}. Each draw holds one year's numbers through all months; {bands}"


def _paid_words(kit, answer):
    """When what is set aside leaves the bank, where a tax table says so."""
    ends, later = tax_months(kit)
    if not (answer.by_chance and later):
        return ""
    before = MONTHS.index(kit.study.file.cash.start_month) - 1
    year, paid = (MONTHS[(before + month) % 12].capitalize() for month in (ends, ends + later))
    return f" and leaves the bank in {paid}, {later} months after the tax year ends with {year} (payments on account are not counted)"


def limits_sentence(kit: OpenStudy) -> str:
    """What the paths leave out."""
    learns = any(step.first_minutes is not None for p in kit.inputs().products for step in p.steps)
    months = "Hands that learn count at their mean over twelve months. " if learns else ""
    months += "Tastes that change, and buyers who come because others did, are not foreseen."
    alike = "A draw keeps one year's numbers through all its months, so real months scatter more."
    first = months if kit.variation == "months" else alike
    return f"{first} Money set aside is not free to spend, but lies in the account until it is paid. What is free is an estimate."


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
        text = f"{start} **may be back** within {answer.months} months: the chance is {fmt.chance(share)}"
        return f"{text}, and one draw in ten has it back within {month(low)} months."
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
    place, rough = _lowest_place(answer, found, low, fmt), "" if answer.by_chance else " Chance from month to month comes on top."
    if answer.reserve <= 0 <= low:
        return f"With **{case}** the path needs no money of its own{'' if kit.certain else ' in nine of ten draws'}.{rough}"
    if answer.reserve <= 0:
        half, tenth = fmt.money(max(-middle, 0.0), 0), f"**{fmt.money(-low, 0)}**"
        needs = f"half of the draws need {half} or more at the start, and one in ten needs {tenth} or more"
        needs = f"{tenth} are needed at the start" if kit.certain else needs
        return f"With **{case}**, {needs}; free money is lowest {place}.{rough} The study states no reserve to hold against it."
    risk = found.runs_out["chance"]
    start = f"With **{case}** the reserve of {fmt.money(answer.reserve, 0)}"
    if kit.certain:
        lasts = f"**{'runs out** within' if risk else 'lasts**'} the {answer.months} months"
        return f"{start} {lasts}; free money is lowest {place}, at {fmt.money(low, 0)}.{rough}"
    rungs = ((0.9, "runs out"), (0.5, "probably runs out"), (0.1, "may run out"), (0.0, "probably lasts"))
    words = next(word for least, word in rungs if risk >= least)
    text = f"{start} **{words}**: the chance that it does not last {answer.months} months is {fmt.chance(risk)}. "
    return text + f"Free money is lowest {place}; one draw in ten falls to {fmt.money(low, 0)} or below.{rough}"


def _lowest_place(answer, found, low, fmt):
    """Where free money is lowest, in how many draws if not nearly all, and where in the tenth that falls lowest."""

    def place(month):
        return "at the start" if month == 0 else f"at the end of month {month} ({answer.calendar[month - 1]})"

    month, share = found.lowest_month()
    if answer.by_chance and share < 0.5:
        first, last = (int(month) for month in np.quantile(found.free.argmin(axis=1), [0.1, 0.9], method="inverted_cdf"))
        return f"at no one time: in eight draws of ten between {place(first).removeprefix('at ')} and {place(last).removeprefix('at ')}"
    worst, _ = found.lowest_month(found.lowest <= low)
    text = place(month) if share >= 0.9 else f"{place(month)} in {fmt.percent(share)} of the draws"
    return text if worst == month else f"{text}, but {place(worst)} in the tenth that falls lowest"


def worth_sentence(kit: OpenStudy, answer: CashAnswer) -> str:
    """What the path with pay at the target is worth today, and its rate of return."""
    fmt, found = format_of(kit), answer.cases[TARGET_PAY]
    low, middle, high = ends_of(found.worth)
    side = "more than is put in" if low > 0 else "less than is put in" if high < 0 else "either side of what is put in"
    leave = f"half of the draws leave {fmt.money(middle, 0)} or more, eight in ten between {fmt.money(low, 0)} and {fmt.money(high, 0)}"
    left = f", what equipment and first moulds are still worth at the end counted in ({fmt.money(found.left, 0)}),"
    text = (
        f"With **{TARGET_PAY}**, at {fmt.percent(answer.interest, 1)} interest a year above rising prices, {answer.months} months"
        f"{left if found.left >= 0.5 else ''} are worth **{side}**: {f'they leave {fmt.money(middle, 0)}' if kit.certain else leave}."
    )
    rates = [fmt.percent(rate, 1) for rate in found.rates]
    if not rates:
        return text + " No rate of return balances it."
    if len(rates) > 1:
        return f"{text} More than one rate of return balances it ({', '.join(rates)} a year), so none of them may be relied on."
    if found.rates[0] > _MEANINGLESS:
        return text + f" Its rate of return is beyond {fmt.percent(_MEANINGLESS)} a year, which says only that little is put in."
    if found.rates[0] < 1.0 / (1.0 + _MEANINGLESS) - 1.0:
        half = fmt.percent(1.0 / (1.0 + _MEANINGLESS) - 1.0)
        return (
            text + f" Its rate of return is below {half} a year, which says only that most of what is put in does not come back."
        )
    return text + f" Its rate of return, with every number at its middle, is {rates[0]} a year."
