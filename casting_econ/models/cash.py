"""Money by month: present worth, rates of return, payback, and the path of what is in the bank."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from .checks import checked, checked_share, checked_whole
from .months import MONTHS_IN_YEAR

_LEVEL = (1.0,) * MONTHS_IN_YEAR
_TOUCHES = 1e-7  # of a root, within which two are one: rounding parts a double root by its square root, some 1e-8


def npv(rate, flows):
    """Present worth of flows at the ends of equal periods, the first of them now. [money]

    `flows` are money in (positive) and out, shape (..., periods + 1) [money]; `rate` is above -1 [1/period] and broadcasts
    against all axes of them but the last. The result has shape (...). ValueError for rates or flows outside these ranges, or no
    periods along an axis. OpenStax, *Principles of Finance*, chapter 16.

    >>> round(float(npv(0.09, [-16_000, 2_000, 4_000, 5_000, 5_000, 5_000, 5_000])), 2)
    2835.62
    """
    return np.sum(_discounted(_flows(flows), rate), axis=-1)[()]


def irr(flows):
    """Every rate above -1 at which flows are worth nothing today, in rising order; empty where none does. [1/period]

    `flows` are money in (positive) and out, the first of it now, shape (periods + 1,) [money]; ValueError if one is not
    finite, or all are zero, so that any rate would do. OpenStax, *Principles of Finance*, chapter 16 (several rates of
    return).

    In x = 1 / (1 + rate) present worth is a polynomial, whose roots are the eigenvalues of its companion matrix. Where worth only
    touches zero two of them meet, a hair apart by rounding; such a pair is one rate.

    >>> [round(rate, 5) for rate in irr([-350, 950, -620])], irr([-100, -20])
    ([0.0918, 0.62249], ())
    """
    flows = _flows(flows)
    if flows.ndim != 1:
        raise ValueError(f"flows must be one row of numbers; got shape {flows.shape}")
    if not flows.any():
        raise ValueError("flows must not all be zero")
    roots = np.roots(np.trim_zeros(flows)[::-1])
    x = np.sort(roots[(np.abs(roots.imag) < _TOUCHES * np.abs(roots)) & (roots.real > 0.0)].real)[::-1]
    x = x[np.diff(x, prepend=np.inf) < -_TOUCHES * x]
    return tuple((1.0 / x - 1.0).tolist())


def payback(flows, rate=0.0, *, for_good=False):
    """Periods until money put in is back, with the part of the period in which that happens; infinite where it is not. [period]

    Parameters
    ----------
    flows : array_like
        Shape (..., periods + 1), the first of them now, even within a period. [money]
    rate : float or array_like, optional
        Zero for the plain payback, above it for the discounted one. [1/period]
    for_good : bool, optional
        Whether the money must stay back to the end of the flows, rather than be back once.

    Returns
    -------
    float or ndarray
        Shape (...).

    Raises
    ------
    ValueError
        If the rate is not above -1 or a flow is not finite.

    References
    ----------
    .. [1] OpenStax, *Principles of Finance*, chapter 16.

    Examples
    --------
    >>> flows = [-16_000, 2_000, 4_000, 5_000, 5_000, 5_000, 5_000]
    >>> float(payback(flows)), round(float(payback(flows, 0.09)), 2)
    (4.0, 5.05)
    """
    flows = _flows(flows)
    held = np.cumsum(_discounted(flows, rate), axis=-1)
    # sums that should be zero may miss it by rounding
    back = held >= -1e-12 * np.abs(flows).sum(axis=-1, keepdims=True)
    if for_good:
        back = np.flip(np.logical_and.accumulate(np.flip(back, axis=-1), axis=-1), axis=-1)
    index = np.argmax(back, axis=-1)[..., None]
    now, before = (np.take_along_axis(held, np.maximum(at, 0), axis=-1)[..., 0] for at in (index, index - 1))
    gained = now - before
    part = np.clip(np.where(gained > 0, -before / np.where(gained > 0, gained, 1.0), 1.0), 0.0, 1.0)
    when = np.where(index[..., 0] == 0, 0.0, index[..., 0] - 1.0 + part)
    return np.where(back.any(axis=-1), when, np.inf)[()]


def rate_per_month(rate):
    """Monthly rate that makes a yearly one, above -1 or ValueError, by compounding. [1/month]

    >>> round(float(rate_per_month(0.126825)), 6)
    0.01
    """
    return np.expm1(np.log1p(checked("rate", rate, above=-1.0)) / MONTHS_IN_YEAR)[()]


def sales_share(months, *, season=_LEVEL, first_month=1, ramp_months=0.0):
    """Share of a full year's sales that each month has, shape (months,). [year/month]

    Parameters
    ----------
    months : int
        How many, one or more. [month]
    season : sequence of float, optional
        Twelve weights from January, of zero or more, adding up to 12. [-]
    first_month : int, optional
        Calendar month of the first, 1 to 12.
    ramp_months : float, optional
        Demand grows evenly from nothing at the start to all of it after these. [month]

    Raises
    ------
    ValueError
        If an input is outside its range, or the weights do not add up to 12.

    Examples
    --------
    >>> (sales_share(4, ramp_months=2.0) * 12).tolist()
    [0.25, 0.75, 1.0, 1.0]
    """
    count, first = checked_whole("months", months, low=1), checked_whole("first month", first_month, low=1)
    weights = checked("season", season, low=0.0)
    if first > MONTHS_IN_YEAR:
        raise ValueError(f"first month must be at most 12; got {first}")
    if np.shape(weights) != (MONTHS_IN_YEAR,) or not np.isclose(np.sum(weights), MONTHS_IN_YEAR, rtol=1e-9, atol=0.0):
        raise ValueError(f"season must be twelve weights that add up to 12; got {np.size(weights)} of {np.sum(weights):g}")
    ramp, ends = checked("ramp months", ramp_months, low=0.0), np.arange(count + 1.0)
    # full months of demand sold by each month's end: the ramp is a triangle, then a rectangle
    sold = np.where(ends < ramp, ends**2 / (2.0 * max(ramp, 1e-300)), ends - ramp / 2.0)
    return weights[(first - 1 + np.arange(count)) % MONTHS_IN_YEAR] * np.diff(sold) / MONTHS_IN_YEAR


@dataclass(frozen=True, kw_only=True)
class CashPlan:
    """What a path of cash is made of. Yearly figures are those of a year at full demand; they broadcast together."""

    share: np.ndarray  # of a year's sales by month, `sales_share`, for the months and as many more as the lead; or (..., same)
    outlays: Any  # put in, at the start and at each month's end, shape (..., months + 1) [money]
    opening: Any = 0.0  # there before the outlays [money]
    receipts: tuple[
        tuple[Any, int], ...
    ] = ()  # what buyers and channels pay out, and how long after the sale [money/year, month]
    with_sales: Any = 0.0  # paid out in the month of the sale: postage, packing [money/year]
    by_season: Any = 0.0  # paid as the season goes, whether demand has grown or not: stalls [money/year]
    season_share: Any = 1.0 / MONTHS_IN_YEAR  # of it by month, shape (..., months) [year/month]
    material: Any = 0.0  # [money/year]
    material_lead: int = 0  # bought so long before the sale [month]
    moulds: tuple[
        tuple[Any, Any], ...
    ] = ()  # wear with the sales, and what of it the sets bear that the outlays paid [money/year, money]
    overhead: Any = 0.0  # the same every month [money/year]
    wear: Any = 0.0  # of equipment, no payment but deducted before tax [money/year]
    pay: Any = 0.0  # that the maker takes out, every month [money/month]
    set_aside: Any = 0.0  # share of the surplus, for contributions and tax [-]


@dataclass(frozen=True, kw_only=True)
class CashPath:
    """Money by month, at the start and at the end of each; shape (..., months + 1)."""

    received: Any  # [money/month]
    paid: Any  # to suppliers, landlord, channels, without outlays, pay and tax [money/month]
    outlays: Any  # [money/month]
    pay: Any  # [money/month]
    tax: Any  # paid at the end of each twelve months [money/month]
    balance: Any  # in the bank, with what is set aside [money]
    set_aside: Any  # of the balance, for the tax of the year so far [money]
    free: Any  # balance less what is set aside [money]
    owed: Any  # by buyers [money]
    in_stock: Any  # material bought for sales to come [money]

    @property
    def lowest(self):
        """Least free money of all months. [money]"""
        return self.free.min(axis=-1)[()]

    @property
    def lowest_month(self):
        """Month at whose end that is, 0 being the start. [month]"""
        return self.free.argmin(axis=-1)[()]


def cash_path(plan):
    """What is in the bank month by month, as a `CashPath`: months are along the last axis, all else of the plan broadcasts.

    Closing balance = opening + received - paid - outlays - pay - tax, in every month. ValueError if an input is outside its
    range, or shapes of months do not fit.

    Tax is an estimate: the share set aside of receipts less payments and wear since the last twelve months ended, nothing
    where that is a loss, which is not carried on. It leaves the bank when the twelve months end; free money is without it
    from the start, so that the date does not matter to what can be spent. Material that the lead asks for before the start is
    bought at the start. Moulds there at the start are paid in the outlays: what they wear until they are used up is deducted,
    not paid again; wear after that is paid as it comes.

    >>> path = cash_path(CashPlan(share=sales_share(3), outlays=[300, 0, 0, 0], opening=500, receipts=((2400, 1),), overhead=600))
    >>> path.balance.tolist(), float(path.lowest), int(path.lowest_month)
    ([200.0, 150.0, 300.0, 450.0], 150.0, 1)
    """
    outlays = checked("outlays", plan.outlays, low=0.0)
    lead = checked_whole("material lead", plan.material_lead)
    months = np.shape(outlays)[-1] - 1 if np.ndim(outlays) else 0
    share = checked("share of sales", plan.share, low=0.0)
    if months < 1 or np.ndim(share) == 0 or share.shape[-1] < months + lead:
        raise ValueError(
            f"share of sales must have the months of the outlays and the lead, {months + lead} in all; got {np.shape(share)}"
        )
    now = _from_start(share[..., :months])
    # a channel may cost more than it brings
    due = [
        (np.asarray(checked("receipts", money))[..., None] * now, checked_whole("delay of receipts", delay))
        for money, delay in plan.receipts
    ]
    earned = sum((money for money, _ in due), 0.0 * now)
    received = sum((_later(money, delay) for money, delay in due), 0.0 * now)
    bought = share[..., lead : lead + months]
    ahead = np.concatenate([share[..., :lead].sum(axis=-1, keepdims=True), bought], axis=-1)
    material = _column("material", plan.material)
    running = _from_start(
        np.broadcast_to(np.asarray(checked("season share", plan.season_share, low=0.0)), (*share.shape[:-1], months))
    )
    each_month = _from_start(np.ones(months))
    paid = _column("payments with sales", plan.with_sales) * now + material * ahead + _column("stalls", plan.by_season) * running
    paid = paid + _column("overhead", plan.overhead) / MONTHS_IN_YEAR * each_month
    prepaid = 0.0 * now
    for wear, there in plan.moulds:
        worn = _column("wear of moulds", wear) * now
        borne = np.diff(np.minimum(np.cumsum(worn, axis=-1), _column("moulds at the start", there)), prepend=0.0, axis=-1)
        paid, prepaid = paid + worn - borne, prepaid + borne
    pay = _column("pay", plan.pay) * each_month
    taxed = received - paid - prepaid - _column("wear", plan.wear) / MONTHS_IN_YEAR * each_month
    share_of_tax = np.asarray(checked_share("set-aside share", plan.set_aside))[..., None]
    tax, aside = _tax(taxed, share_of_tax)
    opening = np.asarray(checked("opening money", plan.opening))[..., None]
    balance = opening + np.cumsum(received - paid - outlays - pay - tax, axis=-1)
    shape = balance.shape
    parts = {"received": received, "paid": paid, "outlays": outlays, "pay": pay, "tax": tax, "set_aside": aside}
    parts |= {"owed": np.cumsum(earned - received, axis=-1), "in_stock": np.cumsum(material * (ahead - now), axis=-1)}
    whole = {name: np.broadcast_to(value, shape) for name, value in parts.items()}
    return CashPath(**whole, balance=balance, free=balance - whole["set_aside"])


def _column(name, value):
    return np.asarray(checked(name, value, low=0.0))[..., None]


def _from_start(monthly):
    """Months with a zero before them, for the start."""
    return np.concatenate([np.zeros((*monthly.shape[:-1], 1)), monthly], axis=-1)


def _later(flows, delay):
    """Flows so many months later; what would come after the last is cut off."""
    if delay == 0:
        return flows
    months = flows.shape[-1]
    empty = np.zeros((*flows.shape[:-1], min(delay, months)))
    return np.concatenate([empty, flows[..., : max(months - delay, 0)]], axis=-1)


def _tax(taxed, share):
    """Tax paid at each year's end, and what is set aside for it by then; shapes (..., months + 1)."""
    months = taxed.shape[-1] - 1
    tax, aside = [], []
    for first in range(1, months + 1, MONTHS_IN_YEAR):
        # what is bought at the start belongs to the first year
        start = 0 if first == 1 else first
        so_far = np.cumsum(taxed[..., start : first + MONTHS_IN_YEAR], axis=-1)
        due = share * np.maximum(so_far, 0.0)
        paid = np.zeros_like(due)
        if first + MONTHS_IN_YEAR - 1 <= months:
            paid[..., -1] = due[..., -1]
        tax.append(paid)
        aside.append(due - paid)
    return np.concatenate(tax, axis=-1), np.concatenate(aside, axis=-1)


def _discounted(flows, rate):
    """What each of the flows is worth now."""
    growth = np.log1p(np.asarray(checked("rate", rate, above=-1.0)))[..., None]
    return flows * np.exp(-growth * np.arange(flows.shape[-1]))


def _flows(flows):
    flows = np.asarray(checked("flows", flows))
    if flows.ndim == 0 or flows.shape[-1] < 2:
        raise ValueError(f"flows must hold a start and at least one period; got shape {flows.shape}")
    return flows
