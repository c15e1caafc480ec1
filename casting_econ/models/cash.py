"""Money by month: present worth, rates of return, payback, and the path of what is in the bank."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from .checks import checked, checked_share, checked_whole, share_of
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

    `flows` have shape (..., periods + 1), the first of them now, even within a period [money]; a `rate` above zero discounts them
    [1/period]. `for_good` asks that the money stays back to the end of the flows, rather than be back once. The result has shape
    (...). ValueError if the rate is not above -1 or a flow is not finite. OpenStax, *Principles of Finance*, chapter 16.

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
    part = np.clip(share_of(-before, now - before, 1.0), 0.0, 1.0)
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

    `season` are twelve weights from January, of zero or more, adding up to 12 [-]; the first month is the calendar's `first_month`,
    1 to 12; demand grows evenly from nothing at the start to all of it after `ramp_months` [month]. ValueError for less than a month,
    another input outside its range, or weights that do not add up to 12.

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
class CashFlows:
    """Money of each month, the start before them; last axis months + 1 where not said otherwise, and all broadcast together."""

    outlays: Any  # [money/month]
    opening: Any = 0.0  # there before the outlays, shape (...) [money]
    receipts: tuple[tuple[Any, int], ...] = ()  # earned from buyers, and how long after the sale they pay [money/month, month]
    paid: Any = 0.0  # to suppliers, landlord, channels, without the moulds [money/month]
    stocked: Any = 0.0  # material bought less material used [money/month]
    # wear, and what of it the sets bear that the outlays paid, shape (...) [money/month, money]
    moulds: tuple[tuple[Any, Any], ...] = ()
    wear: Any = 0.0  # of equipment, no payment but deducted before tax [money/month]
    pay: Any = 0.0  # that the maker takes out [money/month]
    set_aside: Any = 0.0  # share of the surplus, for contributions and tax, shape (...) [-]
    tax_year_ends: int = MONTHS_IN_YEAR  # first month with which a tax year ends, at most 12 [month]
    tax_later: int = 0  # months from then until what is set aside is paid [month]


@dataclass(frozen=True, kw_only=True)
class CashPath:
    """Money by month, at the start and at the end of each; shape (..., months + 1)."""

    received: Any  # [money/month]
    paid: Any  # to suppliers, landlord, channels, without outlays, pay and tax [money/month]
    outlays: Any  # [money/month]
    pay: Any  # [money/month]
    tax: Any  # paid when a tax year has ended [money/month]
    balance: Any  # in the bank, with what is set aside [money]
    set_aside: Any  # of the balance, for tax not yet paid [money]
    free: Any  # balance less what is set aside [money]
    owed: Any  # by buyers [money]
    in_stock: Any  # material bought for sales to come [money]


def cash_path(flows: CashFlows) -> CashPath:
    """What is in the bank month by month: months are along the last axis.

    Closing balance = opening + received - paid - outlays - pay - tax, in every month. ValueError if an input is outside its
    range, or shapes of months do not fit.

    Tax is an estimate: the share set aside of receipts less payments and wear since the last tax year ended, nothing where that
    is a loss, which is not carried on. It leaves the bank when the tax year ends, or so much later; free money is without it
    from the start, so that the date does not matter to what can be spent. Moulds there at the start are paid in the outlays:
    what they wear until they are used up is deducted, not paid again; wear after that is paid as it comes.

    >>> earned, rent = [0, 200, 200, 200], [0, 50, 50, 50]
    >>> cash_path(CashFlows(outlays=[300, 0, 0, 0], opening=500, receipts=((earned, 1),), paid=rent)).balance.tolist()
    [200.0, 150.0, 300.0, 450.0]
    """
    outlays = checked("outlays", flows.outlays, low=0.0)
    none = 0.0 * outlays
    due = [(np.asarray(checked("receipts", money)), checked_whole("delay of receipts", delay)) for money, delay in flows.receipts]
    earned = sum((money for money, _ in due), none)
    received = sum((_later(money, delay) for money, delay in due), none)
    paid, prepaid, pay = checked("payments", flows.paid), none, checked("pay", flows.pay, low=0.0)
    for worn, there in flows.moulds:
        worn = checked("wear of moulds", worn, low=0.0)
        there = np.asarray(checked("moulds at the start", there, low=0.0))[..., None]
        borne = np.diff(np.minimum(np.cumsum(worn, axis=-1), there), prepend=0.0, axis=-1)
        paid, prepaid = paid + worn - borne, prepaid + borne
    taxed = received - paid - prepaid - checked("wear", flows.wear, low=0.0)
    share_of_tax = np.asarray(checked_share("set-aside share", flows.set_aside))[..., None]
    tax, aside = _tax(taxed, share_of_tax, checked_whole("end of the tax year", flows.tax_year_ends, low=1), flows.tax_later)
    opening = np.asarray(checked("opening money", flows.opening))[..., None]
    balance = opening + np.cumsum(received - paid - outlays - pay - tax, axis=-1)
    shape = balance.shape
    parts = {"received": received, "paid": paid, "outlays": outlays, "pay": pay, "tax": tax, "set_aside": aside}
    parts |= {"owed": np.cumsum(earned - received, axis=-1), "in_stock": np.cumsum(flows.stocked + none, axis=-1)}
    whole = {name: np.broadcast_to(value, shape) for name, value in parts.items()}
    return CashPath(**whole, balance=balance, free=balance - whole["set_aside"])


def from_start(monthly):
    """Months with the start before them, at which there is nothing."""
    return np.concatenate([np.zeros((*monthly.shape[:-1], 1)), monthly], axis=-1)


def _later(flows, delay):
    """Flows so many months later; what would come after the last is cut off."""
    if delay == 0:
        return flows
    months = flows.shape[-1]
    empty = np.zeros((*flows.shape[:-1], min(delay, months)))
    return np.concatenate([empty, flows[..., : max(months - delay, 0)]], axis=-1)


def _tax(taxed, share, ends, later):
    """Tax of each year paid so long after its end, and what is set aside for it by then; shapes (..., months + 1)."""
    months, first = taxed.shape[-1] - 1, 0
    tax, aside = np.zeros((2, *np.broadcast_shapes(taxed.shape, share.shape)))
    # what is bought at the start belongs to the first year
    for last in range(ends, months + MONTHS_IN_YEAR, MONTHS_IN_YEAR):
        so_far = share * np.maximum(np.cumsum(taxed[..., first : last + 1], axis=-1), 0.0)
        aside[..., first : last + 1] += so_far
        if last < months:
            aside[..., last + 1 : last + later] += so_far[..., -1:]
        if last + later <= months:
            tax[..., last + later] += so_far[..., -1]
            if later == 0:
                aside[..., last] -= so_far[..., -1]
        first = last + 1
    return tax, aside


def _discounted(flows, rate):
    """What each of the flows is worth now."""
    growth = np.log1p(np.asarray(checked("rate", rate, above=-1.0)))[..., None]
    return flows * np.exp(-growth * np.arange(flows.shape[-1]))


def _flows(flows):
    flows = np.asarray(checked("flows", flows))
    if flows.ndim == 0 or flows.shape[-1] < 2:
        raise ValueError(f"flows must hold a start and at least one period; got shape {flows.shape}")
    return flows
