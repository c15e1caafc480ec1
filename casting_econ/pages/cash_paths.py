"""Cash by month of a study: paths on its draws, when start-up money is back, what the path is worth."""

from dataclasses import dataclass, replace

import numpy as np

from ..draws import chance
from ..evidence import season_weights
from ..kit import OpenStudy
from ..models import cash, evaluate, practised_between
from ..models.cash import MONTHS_IN_YEAR, CashFlows, CashPath, from_start
from ..models.checks import share_of
from ..models.flows import bought_ahead, flows_of, level, one_after_other, starting_in
from ..models.money import worn_in_all
from ..reference import taxes
from ..study.fields import MONTHS

NO_PAY, TARGET_PAY, STATED_PAY = "no pay taken", "pay at the target", "pay as stated"
MOST_DRAWS = 65_536  # paths of more would not fit an ordinary memory, and say no more
BAND = (0.1, 0.5, 0.9)
MID_MONTH = 15
_BY_DRAW = ("free", "back", "back_untaxed", "dips", "worth")


@dataclass(frozen=True, kw_only=True)
class CashCase:
    """Paths of cash under one rule of pay. Months run from 0, the start."""

    name: str
    pay: float  # that leaves the bank, at the point, on average; of the target what its set-aside leaves [money/month]
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
        """Chance that free money falls below nothing in some month, with its error. [-]"""
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
    by_chance: bool = False  # whether months come as chance has them, else all alike but for the season

    @property
    def months(self) -> int:
        """How many months the paths have."""
        return len(self.calendar)


def cash_draws(kit: OpenStudy, draws=None, seed=None, *, chunk: int = 4_096, workers: int = 1) -> CashAnswer:
    """Cash by month on the draws of the year, at most 65,536; arguments are those of `OpenStudy.by_draw`, StudyError as of `season_weights`.

    Of a study whose months vary each draw is a path of its own: its numbers stay, and orders, sizes and rare events come anew in every
    month of every year. Else a draw is one year's numbers, held through all months: chance from month to month is left out, so real
    paths are rougher.
    What the path is worth, and its rate of return, count what is left of the outlays at the end: equipment written down evenly to its
    resale, and what the first moulds have not worn, as far as the path paid for them. Stock, and what buyers owe then, are left out.
    """
    draws, seed = kit.plan_of_draws(min(draws or kit.study.file.study.draws, MOST_DRAWS), seed)
    stated, season, by_month = kit.study.file.cash, season_weights(kit.study), kit.variation == "months"
    names = [NO_PAY, TARGET_PAY] + ([STATED_PAY] if stated.pay_taken > 0 else [])
    a, years = kit.inputs(), -(-stated.months // MONTHS_IN_YEAR) if by_month else 1
    planned = None
    if by_month:
        planned = _years(kit, [a] * -(-(stated.months + stated.material_lead) // MONTHS_IN_YEAR)).material

    def ruled(*each):
        """Path, payback and worth under each rule of pay, of workshops alike in all but the luck of their years."""
        flows, hours = _by_month(kit, each, season, planned)
        return {name: _case(kit, each[0], flows, hours, name) for name in names}

    def work(*each):
        found = {(name, key): case[key] for name, case in ruled(*each).items() for key in _BY_DRAW}
        return {key: np.atleast_2d(value) if key[1] == "free" else value for key, value in found.items()}

    found, cases = kit.by_draw(work, draws, seed, years=years, chunk=chunk, workers=workers), {}
    for name, point in ruled(*[a] * years).items():
        monthly = cash.irr(point["valued"]) if np.any(point["valued"]) else ()
        cases[name] = CashCase(
            name=name,
            pay=float(np.mean(point["path"].pay[1:])),
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
    told = {"reserve": stated.reserve, "interest": float(a.interest), "by_chance": by_month}
    return CashAnswer(cases=cases, outlay=outlay, calendar=calendar, **told)


def practice_of(kit, a, outcome):
    """Sales of each month against the mean of the first year, where learning hands are what limits; shape (..., months + lead). [-]

    Each month is a year at the minutes of its own pieces, which follow those of the months before.
    """
    stated = kit.study.file.cash
    months = stated.months + stated.material_lead
    if not any(step.first_minutes is not None for p in a.products for step in p.steps):
        return np.ones(months)
    casts = {name: np.asarray(p["casts_per_year"]) / MONTHS_IN_YEAR for name, p in outcome.products.items()}
    done, usual, share = {name: 0.0 for name in casts}, outcome.totals["revenue_per_year"], []
    for _ in range(months):
        # a window of nothing has no mean; where nothing is made its minutes do not matter
        products = tuple(practised_between(p, done[p.name], np.maximum(casts[p.name], 1e-9)) for p in a.products)
        month = evaluate(replace(a, products=products))
        share.append(share_of(month.totals["revenue_per_year"], usual, 1.0))
        casts = {name: np.asarray(p["casts_per_year"]) / MONTHS_IN_YEAR for name, p in month.products.items()}
        done = {name: done[name] + casts[name] for name in casts}
    return np.stack(np.broadcast_arrays(*share), axis=-1)


def _case(kit, a, flows, hours, name):
    """Path, payback and worth under one rule of pay, for one point or many draws; `hours` are by month, at the pace of a year."""
    if name == STATED_PAY:
        pay = gross = from_start(np.full(kit.study.file.cash.months, kit.study.file.cash.pay_taken))
    else:
        gross = np.asarray(a.target_per_hour)[..., None] * hours / MONTHS_IN_YEAR if name == TARGET_PAY else 0.0 * hours
        # the target is before set-aside, which the path takes of the whole surplus; she gets what is left of her pay
        pay = gross * (1.0 - np.asarray(a.set_aside_share)[..., None])
    path, left = cash.cash_path(replace(flows, pay=pay, set_aside=a.set_aside_share)), _left(kit, a, flows)
    untaxed = cash.cash_path(replace(flows, pay=gross))
    gains = _gains(kit, path)
    back, back_untaxed = cash.payback(gains), cash.payback(_gains(kit, untaxed))
    valued = gains + np.asarray(left)[..., None] * (np.arange(gains.shape[-1]) == gains.shape[-1] - 1)
    worth = cash.npv(cash.rate_per_month(a.interest), valued)
    return {
        "left": left,
        "valued": valued,
        "path": path,
        "free": path.free,
        "back": back,
        "back_untaxed": back_untaxed,
        "dips": np.isfinite(back) & (cash.payback(gains, for_good=True) > back),
        "worth": worth,
    }


def _gains(kit, path):
    """What free money gains in each month, the outlay at the start among it."""
    return np.diff(path.free, prepend=kit.study.file.cash.reserve, axis=-1)


def _outlay(kit, a):
    """Money put in at the start, by what it is for: as stated, else the equipment and a first set of moulds a product."""
    stated = kit.study.file.cash.outlay
    return _at_start(a) if stated is None else dict(stated)


def _at_start(a):
    """What equipment and a first set of moulds a product cost, by name. [money]"""
    moulds = {f"moulds for {p.name}": p.mould.material_cost for p in a.products if p.mould is not None}
    return {e.name: e.price for e in a.equipment} | moulds


def _outlays(kit, a):
    """What is put in at the start, and for equipment that is worn out then; shape (..., months + 1). [money]"""
    months = kit.study.file.cash.months
    at = np.arange(months + 1.0)
    outlays = np.asarray(sum(_outlay(kit, a).values(), 0.0), float)[..., None] * (at == 0)
    for e in a.equipment:
        cost = np.asarray(worn_in_all(e.price, e.resale))[..., None]
        outlays = outlays + cost * np.diff(_bought_anew(e, at, months), prepend=0.0, axis=-1)
    return outlays


def _level_year(kit, a, season):
    """One year's outcome as the flows of all months, those that material is bought ahead for among them."""
    stated, outcome = kit.study.file.cash, evaluate(a)
    when = {"season": season, "first_month": 1 + MONTHS.index(stated.start_month)}
    months = stated.months + stated.material_lead
    share = cash.sales_share(months, ramp_months=stated.ramp_months, **when)
    return level(flows_of(a, outcome), practice_of(kit, a, outcome) * share, cash.sales_share(months, **when), share)


def _years(kit, each):
    """Flows of one year after the other from the month in which the path starts, of workshops that differ in their luck alone.

    Demand grows as the ramp has it, and hands keep what they have learnt. Nobody waits at the start, with a full shelf; every further
    year begins with the orders that wait, and with the shelf, that the one before it leaves.
    """
    stated, made, before, found = kit.study.file.cash, {}, ({}, {}), []
    full = cash.sales_share(MONTHS_IN_YEAR * len(each), ramp_months=stated.ramp_months) * MONTHS_IN_YEAR
    for grown, a in zip(full.reshape(len(each), -1), each, strict=True):
        months = replace(starting_in(a.months, MONTHS.index(stated.start_month)), grown=grown, before=before)
        products = tuple(replace(p, made_before=p.made_before + made.get(p.name, 0.0)) for p in a.products)
        a = replace(a, months=months, products=products)
        outcome = evaluate(a)
        made = {p.name: made.get(p.name, 0.0) + outcome.products[p.name]["made_per_year"] for p in a.products}
        before = outcome.months[-1].late, outcome.months[-1].shelf
        found.append(flows_of(a, outcome))
    return one_after_other(found)


def _by_month(kit, each, season, planned):
    """Flows of months, and the hours of each at the pace of a year, of one year held through all of them or of years as they come.

    Of those nobody knows which orders will come: material is kept for the expected sales of so many months as it is bought ahead, `planned`,
    and what is used is bought again.
    """
    stated, (ends, later) = kit.study.file.cash, tax_months(kit) if planned is not None else (MONTHS_IN_YEAR, 0)
    flows = _level_year(kit, each[0], season) if planned is None else _years(kit, each)

    def of_path(values):
        return from_start(values[..., : stated.months])

    used = flows.material[..., : stated.months]
    bought = bought_ahead(used, flows.material if planned is None else planned, stated.material_lead)
    return CashFlows(
        outlays=_outlays(kit, each[0]),
        opening=stated.reserve,
        receipts=tuple((of_path(money), stated.payment_delay.get(c, 0)) for c, money in flows.receipts.items()),
        paid=bought + of_path(flows.with_sales + flows.stalls + flows.overhead),
        stocked=bought - from_start(used),
        moulds=tuple((of_path(flows.moulds[p.name]), p.mould.material_cost) for p in each[0].products if p.mould is not None),
        wear=of_path(flows.wear),
        tax_year_ends=ends,
        tax_later=later,
    ), MONTHS_IN_YEAR * of_path(flows.hours)


def tax_months(kit: OpenStudy) -> tuple[int, int]:
    """First month of the path with which a tax year ends, and how many later what is set aside is paid: by the days of the tax table that
    the study names, else when twelve months are over. [month]"""
    scheme = taxes().get(kit.study.file.target.tax)
    if scheme is None or scheme.paid_on is None:
        return MONTHS_IN_YEAR, 0
    starts = scheme.valid_from
    # a year that starts in the first half of a month is taken to start with it
    ends = (starts.month - 1 + (starts.day > MID_MONTH)) % MONTHS_IN_YEAR or MONTHS_IN_YEAR
    first = (ends - 1 - MONTHS.index(kit.study.file.cash.start_month)) % MONTHS_IN_YEAR + 1
    return first, (int(scheme.paid_on[:2]) - ends) % MONTHS_IN_YEAR


def _bought_anew(e, month, months):
    """How often a piece of equipment was bought anew by the end of a month; what would be on the last day serves later months."""
    return np.floor(np.minimum(month, months - 1) / np.asarray(e.life_years * MONTHS_IN_YEAR, float)[..., None] + 1e-9)


def _left(kit, a, flows):
    """What equipment, written down evenly, and the moulds of the start are still worth at the end, as far as the path paid for them. [money]

    What was there before a stated outlay is no gain of the path: an outlay of a quarter of it all counts for a quarter.
    """
    months, left = kit.study.file.cash.months, 0.0
    paid = np.minimum(share_of(sum(_outlay(kit, a).values(), 0.0), sum(_at_start(a).values(), 0.0), 1.0), 1.0)
    for e in a.equipment:
        life, anew = np.asarray(e.life_years * MONTHS_IN_YEAR, float), _bought_anew(e, months, months)[..., 0]
        worth = e.price - worn_in_all(e.price, e.resale) * np.minimum((months - anew * life) / life, 1.0)
        left = left + worth * np.where(anew > 0, 1.0, paid)
    return left + paid * sum((np.maximum(there - np.sum(worn, axis=-1), 0.0) for worn, there in flows.moulds), 0.0)


def ends_of(values):
    """Value that one draw in ten, half, and nine in ten stay at or below; infinite where they reach none."""
    return tuple(float(q) for q in np.quantile(values, BAND, axis=0, method="inverted_cdf"))
