"""Cash by month of a study: paths on its draws, when start-up money is back, what the path is worth."""

from dataclasses import dataclass, replace

import numpy as np

from ..draws import chance
from ..evidence import season_weights
from ..kit import OpenStudy
from ..models import evaluate, practised_between
from ..models.cash import MONTHS_IN_YEAR, CashPath, CashPlan, cash_path, irr, npv, payback, rate_per_month, sales_share
from ..study.fields import MONTHS

NO_PAY, TARGET_PAY, STATED_PAY = "no pay taken", "pay at the target", "pay as stated"
MOST_DRAWS = 65_536  # paths of more would not fit an ordinary memory, and say no more
BAND = (0.1, 0.5, 0.9)
_BY_DRAW = ("free", "back", "back_untaxed", "dips", "worth")


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

    @property
    def months(self) -> int:
        """How many months the paths have."""
        return len(self.calendar)


def cash_draws(kit: OpenStudy, draws=None, seed=None, *, chunk: int = 2_048, workers: int = 1) -> CashAnswer:
    """Cash by month on the draws of the year, at most 65,536; arguments are those of `OpenStudy.by_draw`, StudyError as of `season_weights`.

    Each draw is one year's numbers, held through all months: chance from month to month is left out, so real paths are rougher.
    What the path is worth, and its rate of return, count what is left of the outlays at the end: equipment written down evenly to its
    resale, and what the first moulds have not worn. Stock, and what buyers owe then, are left out.
    """
    draws, seed = kit.plan_of_draws(min(draws or kit.study.file.study.draws, MOST_DRAWS), seed)
    stated, season = kit.study.file.cash, season_weights(kit.study)
    names = [NO_PAY, TARGET_PAY] + ([STATED_PAY] if stated.pay_taken > 0 else [])

    def ruled(a):
        """Path, payback and worth under each rule of pay."""
        outcome = evaluate(a)
        practice = practice_of(kit, a, outcome)
        return {name: _case(kit, a, outcome, season, practice, name) for name in names}

    def work(a):
        found = {(name, key): case[key] for name, case in ruled(a).items() for key in _BY_DRAW}
        return {key: np.atleast_2d(value) if key[1] == "free" else value for key, value in found.items()}

    found, a, cases = kit.by_draw(work, draws, seed, chunk=chunk, workers=workers), kit.inputs(), {}
    for name, point in ruled(a).items():
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


def practice_of(kit, a, outcome):
    """Sales of each month against the mean of the first year, where learning hands are what limits; shape (..., months + lead). [-]

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
    made = ((p.mould.material_cost, outcome.products[p.name]) for p in a.products if p.mould is not None)
    # wear of the moulds of each product, ruined loads in it, and what of it a first set bears
    moulds = tuple(
        (found["piece"].mould_material * found["piece"].good_share * found["casts_per_year"], first_set)
        for first_set, found in made
    )
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
        material=np.maximum(year["material_per_year"] + year["ruined_loss_per_year"] - sum(wear for wear, _ in moulds), 0.0),
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


def _left(kit, a, plan):
    """What equipment, written down evenly, and the moulds of the start are still worth at the end. [money]"""
    months, left = kit.study.file.cash.months, 0.0
    for e in a.equipment:
        life = np.asarray(e.life_years * MONTHS_IN_YEAR, float)
        age = months - _bought_anew(e, months, months)[..., 0] * life
        left = left + e.price - np.subtract(e.price, e.resale) * np.minimum(age / life, 1.0)
    sold = np.asarray(plan.share)[..., :months].sum(axis=-1)
    return left + sum((np.maximum(there - wear * sold, 0.0) for wear, there in plan.moulds), 0.0 * sold)


def ends_of(values):
    """Value that one draw in ten, half, and nine in ten stay at or below; infinite where they reach none."""
    return tuple(float(q) for q in np.quantile(values, BAND, axis=0, method="inverted_cdf"))
