"""Cash by month of a study: paths on its draws, when start-up money is back, whether a reserve lasts; tables and sentences."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..draws import chance
from ..evidence import season_table
from ..faults import Fault, StudyError, counted
from ..kit import OpenStudy, format_of
from ..models import evaluate, practised_between
from ..models.cash import MONTHS_IN_YEAR, CashPath, CashPlan, cash_path, irr, npv, payback, rate_per_month, sales_share
from ..study import STUDY_FILE
from ..study.schema import MONTHS
from .table import shown

__all__ = [
    "NO_PAY",
    "STATED_PAY",
    "TARGET_PAY",
    "CashAnswer",
    "CashCase",
    "assumed_sentence",
    "back_sentence",
    "cash_draws",
    "cash_table",
    "lines_table",
    "outlay_table",
    "path_table",
    "reserve_sentence",
    "season_weights",
    "worth_sentence",
]

NO_PAY, TARGET_PAY, STATED_PAY = "no pay taken", "pay at the target", "pay as stated"
MOST_DRAWS = 65_536  # paths of more would not fit an ordinary memory, and say no more
_BAND = (0.1, 0.5, 0.9)
_BY_DRAW = ("free", "back", "back_untaxed", "dips", "worth")
_MEANINGLESS = 10.0  # a year; a rate of return beyond it says only that little was put in


@dataclass(frozen=True, kw_only=True)
class CashCase:
    """Paths of cash under one rule of pay. Months run from 0, the start."""

    name: str
    pay: float  # that leaves the bank, at the point; of the target what its set-aside leaves [money/month]
    free: np.ndarray  # money left after what is set aside, shape (draws, months + 1) [money]
    back: np.ndarray  # until the outlay is back, shape (draws,); infinite where it is not [month]
    back_untaxed: np.ndarray  # the same with nothing set aside [month]
    dips: np.ndarray  # whether it is back and falls short again later, shape (draws,)
    worth: np.ndarray  # present worth, shape (draws,) [money]
    path: CashPath  # at the point
    point_back: float  # [month]
    point_back_untaxed: float  # [month]
    left: float  # what equipment and first moulds are still worth at the end, at the point [money]
    rates: tuple[float, ...]  # of return at the point, every one [1/year]

    @property
    def lowest(self) -> np.ndarray:
        """Least free money of each draw. [money]"""
        return self.free.min(axis=1)

    @property
    def runs_out(self) -> dict[str, float]:
        """Chance that free money falls below nothing in some month, with its error."""
        return chance(self.lowest < -1e-9)

    def lowest_month(self, draws=slice(None)) -> tuple[int, float]:
        """Month at whose end most of some draws are lowest, 0 being the start, and their share. [month], [-]"""
        counts = np.bincount(self.free[draws].argmin(axis=1))
        return int(counts.argmax()), float(counts.max() / counts.sum())


@dataclass(frozen=True, kw_only=True)
class CashAnswer:
    """Cash by month of a study."""

    cases: dict[str, CashCase]
    outlay: dict[str, float]  # at the start, by what it is for, at the point [money]
    calendar: tuple[str, ...]  # of each month from 1 on
    reserve: float  # there before the outlay [money]
    interest: float  # at the point [1/year]

    @property
    def months(self) -> int:
        """How many months the paths have."""
        return len(self.calendar)


def season_weights(kit: OpenStudy) -> np.ndarray:
    """Twelve weights from January that add up to 12: stated, from a year of sales, or level.

    Raises
    ------
    StudyError
        If the study asks for the season of records that have no year of sales.
    """
    season = kit.study.file.cash.season
    if season is None:
        return np.ones(MONTHS_IN_YEAR)
    if season == "records":
        table = season_table(kit.study)
        if len(table) < MONTHS_IN_YEAR:
            sales = kit.study.records.get("sales")
            found = "no sales log" if sales is None else f"sales from {sales.date.min():%Y-%m-%d} to {sales.date.max():%Y-%m-%d}"
            right = "twelve months of sales or more, twelve weights from January, or no season"
            wrong = "season asked of records that do not have a year of sales"
            raise StudyError([Fault(file=STUDY_FILE, column="cash.season", wrong=wrong, found=found, right=right)])
        season = table.sort_values("month")["index"]
    weights = np.asarray(season, float)
    return weights * MONTHS_IN_YEAR / weights.sum()


def cash_draws(kit: OpenStudy, draws=None, seed=None, *, chunk: int = 2_048, workers: int = 1) -> CashAnswer:
    """Cash by month on the draws of the year.

    Parameters
    ----------
    kit : OpenStudy
        Open study.
    draws, seed : int, optional
        As the study says if not given, so that they are the draws of the year; at most 65,536 draws.
    chunk, workers : int, optional
        Rows a time and threads; the result does not depend on them.

    Returns
    -------
    CashAnswer

    Raises
    ------
    StudyError
        If the season is asked of records that have no year of sales.

    Notes
    -----
    Each draw is one year's numbers, held through all months: chance from month to month is left out, so real paths are rougher.
    What the path is worth, and its rate of return, count what is left of the outlays at the end: equipment written down evenly to its
    resale, and what the first moulds have not worn. Stock, and what buyers owe then, are left out.
    """
    draws, seed = kit.plan_of_draws(min(draws or kit.study.file.study.draws, MOST_DRAWS), seed)
    stated, season = kit.study.file.cash, season_weights(kit)
    names = [NO_PAY, TARGET_PAY] + ([STATED_PAY] if stated.pay_taken > 0 else [])

    def work(a):
        outcome, found = evaluate(a), {}
        practice = _practice(kit, a, outcome)
        for name in names:
            case = _case(kit, a, outcome, season, practice, name)
            found |= {(name, key): case[key] for key in _BY_DRAW}
        return {key: np.atleast_2d(value) if key[1] == "free" else value for key, value in found.items()}

    found, a = kit.by_draw(work, draws, seed, chunk=chunk, workers=workers), kit.inputs()
    outcome, cases = evaluate(a), {}
    practice = _practice(kit, a, outcome)
    for name in names:
        point = _case(kit, a, outcome, season, practice, name)
        monthly = irr(point["valued"]) if np.any(point["valued"]) else ()
        cases[name] = CashCase(
            name=name,
            pay=float(point["pay"]),
            **{key: found[name, key] for key in _BY_DRAW},
            path=point["path"],
            point_back=float(point["back"]),
            point_back_untaxed=float(point["back_untaxed"]),
            left=float(point["left"]),
            rates=tuple((1.0 + rate) ** MONTHS_IN_YEAR - 1.0 for rate in monthly),
        )
    first = MONTHS.index(stated.start_month)
    calendar = tuple(MONTHS[(first + month) % MONTHS_IN_YEAR].capitalize() for month in range(stated.months))
    outlay = {name: float(money) for name, money in _outlay(kit, a).items()}
    return CashAnswer(cases=cases, outlay=outlay, calendar=calendar, reserve=stated.reserve, interest=float(a.interest))


def _practice(kit, a, outcome):
    """Sales of each month against the mean of the first year, where learning hands are what limits; shape (..., months + lead).

    Each month is a year at the minutes of its own pieces, which follow those of the months before.
    """
    stated = kit.study.file.cash
    months = stated.months + stated.material_lead
    if not any(step.first_minutes is not None for p in a.products for step in p.steps):
        return np.ones(months)
    casts = {name: np.asarray(p["casts_per_year"]) / MONTHS_IN_YEAR for name, p in outcome.products.items()}
    done, usual, share = {name: 0.0 for name in casts}, np.asarray(outcome.totals["revenue_per_year"]), []
    for _ in range(months):
        # a window of nothing has no mean; where nothing is made its minutes do not matter
        products = tuple(practised_between(p, done[p.name], np.maximum(casts[p.name], 1e-9)) for p in a.products)
        month = evaluate(replace(a, products=products))
        share.append(np.where(usual > 0, month.totals["revenue_per_year"] / np.where(usual > 0, usual, 1.0), 1.0))
        casts = {name: np.asarray(p["casts_per_year"]) / MONTHS_IN_YEAR for name, p in month.products.items()}
        done = {name: done[name] + casts[name] for name in casts}
    return np.stack(np.broadcast_arrays(*share), axis=-1)


def _case(kit, a, outcome, season, practice, name):
    """Path, payback and worth under one rule of pay, for one point or many draws."""
    year = outcome.totals
    if name == STATED_PAY:
        pay = gross = kit.study.file.cash.pay_taken
    else:
        gross = a.target_per_hour * year["hours_per_year"] / MONTHS_IN_YEAR if name == TARGET_PAY else 0.0
        # the target is before set-aside, which the path takes of the whole surplus; she gets what is left of her pay
        pay = gross * (1.0 - a.set_aside_share)
    plan = _plan(kit, a, outcome, season, practice, pay, a.set_aside_share)
    path, left = cash_path(plan), _left(kit, a, plan)
    untaxed = cash_path(_plan(kit, a, outcome, season, practice, gross, 0.0))
    flows = _flows(kit, path)
    back, back_untaxed = payback(flows), payback(_flows(kit, untaxed))
    valued = flows + np.asarray(left)[..., None] * (np.arange(flows.shape[-1]) == flows.shape[-1] - 1)
    worth = npv(rate_per_month(a.interest), valued)
    return {
        "left": left,
        "valued": valued,
        "pay": pay,
        "path": path,
        "free": path.free,
        "flows": flows,
        "back": back,
        "back_untaxed": back_untaxed,
        "dips": np.isfinite(back) & (payback(flows, for_good=True) > back),
        "worth": worth,
    }


def _flows(kit, path):
    """What free money gains in each month, the outlay at the start among it."""
    return np.diff(path.free, prepend=kit.study.file.cash.reserve, axis=-1)


def _outlay(kit, a):
    """Money put in at the start, by what it is for: as stated, else the equipment and a first set of moulds a product."""
    stated = kit.study.file.cash.outlay
    if stated is not None:
        return dict(stated)
    moulds = {f"moulds for {p.name}": p.mould.material_cost for p in a.products if p.mould is not None}
    return {e.name: e.price for e in a.equipment} | moulds


def _plan(kit, a, outcome, season, practice, pay, set_aside):
    """The year's outcome as a plan of cash."""
    stated, year = kit.study.file.cash, outcome.totals
    months, lead = stated.months, stated.material_lead
    first = 1 + MONTHS.index(stated.start_month)
    at = np.arange(months + 1.0)
    outlays = np.asarray(sum(_outlay(kit, a).values(), 0.0), float)[..., None] * (at == 0)
    for e in a.equipment:
        cost = np.asarray(np.maximum(np.subtract(e.price, e.resale), 0.0))[..., None]
        outlays = outlays + cost * np.diff(_bought_anew(e, at, months), prepend=0.0, axis=-1)
    moulds = _moulds(a, outcome)
    return CashPlan(
        share=practice * sales_share(months + lead, season=season, first_month=first, ramp_months=stated.ramp_months),
        outlays=outlays,
        opening=stated.reserve,
        receipts=tuple(
            (channel["revenue"] - channel["fees"] - channel["refunds"], stated.payment_delay.get(name, 0))
            for name, channel in outcome.channels.items()
        ),
        with_sales=year["postage_per_year"] + year["packaging_per_year"],
        by_season=year["stall_fees_per_year"],
        season_share=sales_share(months, season=season, first_month=first),
        # less the moulds, which may leave next to nothing below nothing
        material=np.maximum(year["material_per_year"] + year["freak_loss_per_year"] - sum(wear for wear, _ in moulds), 0.0),
        material_lead=lead,
        moulds=moulds,
        overhead=year["overhead_per_year"],
        wear=year["equipment_per_year"],
        pay=pay,
        set_aside=set_aside,
    )


def _bought_anew(e, month, months):
    """How often a piece of equipment was bought anew by the end of a month; what would be on the last day serves later months."""
    return np.floor(np.minimum(month, months - 1) / np.asarray(e.life_years * MONTHS_IN_YEAR, float)[..., None] + 1e-9)


def _moulds(a, outcome):
    """Wear of the moulds of each product, ruined loads in it, and what of it a first set bears. [money/year], [money]"""
    made = ((p, outcome.products[p.name]) for p in a.products if p.mould is not None)
    return tuple(
        (found["piece"].mould_material * found["piece"].good_share * found["casts_per_year"], p.mould.material_cost)
        for p, found in made
    )


def _left(kit, a, plan):
    """What equipment, written down evenly, and the moulds of the start are still worth at the end. [money]"""
    months, left = kit.study.file.cash.months, 0.0
    for e in a.equipment:
        life = np.asarray(e.life_years * MONTHS_IN_YEAR, float)
        age = months - _bought_anew(e, months, months)[..., 0] * life
        left = left + e.price - np.subtract(e.price, e.resale) * np.minimum(age / life, 1.0)
    sold = np.asarray(plan.share)[..., :months].sum(axis=-1)
    return left + sum((np.maximum(there - wear * sold, 0.0) for wear, there in plan.moulds), 0.0 * sold)


def _band(values):
    """Value that one draw in ten, half, and nine in ten stay at or below; infinite where they reach none."""
    return tuple(float(q) for q in np.quantile(values, _BAND, axis=0, method="inverted_cdf"))


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
    low, middle, high = np.quantile(found.free, _BAND, axis=0)
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
    """Each rule of pay: lowest money, when the outlay is back, chance that it is, what the path is worth today."""
    rows = []
    for case in answer.cases.values():
        lowest, untaxed = _band(case.lowest)[:2], _band(case.back_untaxed)[1]
        within = float(np.isfinite(case.back).mean())
        rows.append(
            (case.name, case.pay, *lowest, case.lowest_month()[0], *_band(case.back), within, untaxed, *_band(case.worth))
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
    practice = _practice(kit, kit.inputs(), kit.point())
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
    low, middle, high = _band(found.back)
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
        untaxed = _band(found.back_untaxed)[1]
        text += f" Were nothing set aside it would be about {month(untaxed)}."
    again = float(found.dips.mean())
    if kit.certain:
        return text + (" It falls short again later." if again else "")
    return text + (f" In {fmt.chance(again)} of the draws it falls short again later." if again >= 0.1 else "")


def reserve_sentence(kit: OpenStudy, answer: CashAnswer, case: str) -> str:
    """Whether the money there at the start lasts, or how much would be needed."""
    fmt, found = format_of(kit), answer.cases[case]
    low, middle, _ = _band(found.lowest)
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
    low, middle, high = _band(found.worth)
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
