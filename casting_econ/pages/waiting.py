"""From few orders to a year: how wide the guess of demand is, what each further month of offering tells, and what waiting for it is worth."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
import scipy

from ..assumptions import label, takes_factor
from ..draws.distributions import Distribution
from ..draws.information import best_after_counting, expected_of_rate, width_left
from ..evidence.cases import ask
from ..evidence.finding import MONTHS, guessed_rate
from ..evidence.market import orders_seen
from ..evidence.posteriors import rate_posterior
from ..faults import counted, some_of
from ..formatting import Format
from ..kit import OpenStudy, format_of
from ..models import beyond_target, evaluate, with_levers
from .table import shown

MOST_MONTHS = 24
KNOTS = 33  # rates at which the year is worked out
FEW = 10.0  # orders that a guess of demand counts for, below which it is called wide
_EVEN = (np.arange(1000) + 0.5) / 1000
_SHOWN = (1, 2, 3, 6, 9, 12, 18, 24)
_WORTH = 0.01  # of what the time is about, below which waiting is worth nothing
_NEAR = 0.95  # of the best, from which fewer months do as well


@dataclass(frozen=True, kw_only=True)
class Waiting:
    """What is known of the orders of a year, and what going on for some months before deciding is worth."""

    taken: float  # at the point [order/year]
    untold: tuple[str, ...]  # channels whose guess takes nothing from the log that has them
    shape: float  # of the gamma of their rate: orders that it counts for [order]
    exposure: float  # what the guess and the log count for [year]
    seen: int | None  # orders in the log; None without a sales log
    months_seen: float  # that the log has [month]
    horizon: int  # months that are decided about [month]
    now: float  # of going on for a year, beyond its target, as expected now [money/year]
    months: np.ndarray  # of waiting [month]
    width: np.ndarray  # of the guess then, beside now [-]
    worth: np.ndarray  # of deciding then instead of now, over the horizon, the months between included [money]

    @property
    def band(self) -> tuple[float, float]:
        """Ends of eight in ten of the rate. [order/year]"""
        low, high = scipy.stats.gamma.ppf((0.1, 0.9), self.shape) / self.exposure
        return float(low), float(high)

    @property
    def wide(self) -> bool:
        """Whether the orders of a year are little more than a guess."""
        return self.shape < FEW

    @property
    def best(self) -> int | None:
        """Fewest months that are worth nearly as much as any; None where waiting is worth nothing."""
        least = max(_WORTH * abs(self.now) * self.horizon / MONTHS, 1.0)
        if self.worth.max() < least:
            return None
        return int(self.months[np.argmax(self.worth >= _NEAR * self.worth.max())])

    @property
    def trial(self) -> float:
        """What the best months of trying are expected to cost, beyond what they bring; below nothing where they earn more. [money]"""
        return -self.now * (self.best or 0) / MONTHS


@lru_cache(maxsize=16)
def waiting_of(kit: OpenStudy, now: float) -> Waiting | None:
    """Known orders and worth of waiting; None where no channel's orders are a guess, or every number is certain.

    The rate of all channels together is a gamma of the mean and variance that the sum of theirs has; theirs count for guess and log, also
    where the study does not take its orders `from` records. Orders in clusters tell less: as many months as their variance is the Poisson's.
    What a year pays at a rate is its workshop's with that many times the orders, every other number at its middle, moved so that its mean is
    `now`, the mean of the decision. [money/year]
    """
    if kit.certain:
        return None
    taken = mean = variance = noise = known = 0.0
    seen, months_seen, untold, point = None, 0.0, [], kit.point()
    for c in kit.inputs().channels:
        key = f"channels.{c.name}.orders"
        number, orders = kit.study.numbers[key], float(point.channels[c.name]["came"])
        if not _guessed(number) or orders <= 0:
            known += orders
            continue
        years, told = _years_told(kit, c.name, number)
        taken, drawn = taken + orders, kit.assumed.numbers[key]
        if drawn.distribution is not None and drawn.value > 0:  # the mean of a range is not what is likeliest
            orders *= float(drawn.distribution.quantile(_EVEN).mean()) / drawn.value
        mean, variance = mean + orders, variance + orders / years
        noise += orders * (1.0 + float(c.clustering) * orders / MONTHS)
        if told is not None:
            seen, months_seen = (seen or 0) + told[0], max(months_seen, told[1])
            untold += [] if key in kit.assumed.evidence else [c.name]
    if mean <= 0:
        return None
    shape, exposure, horizon = mean**2 / variance, mean / variance, int(kit.study.file.cash.months)
    last = scipy.stats.gamma.isf(1e-6, shape) / exposure
    rates = np.linspace(0.0, last, KNOTS)
    a = with_levers(kit.inputs(), demand=np.maximum((rates + known) / (taken + known), 1e-9))
    benefit = np.broadcast_to(np.asarray(beyond_target(a, evaluate(a)), float), rates.shape)
    benefit = benefit + now - expected_of_rate(rates, benefit, shape, exposure)
    months = np.arange(1, min(MOST_MONTHS, horizon) + 1)
    more = months / MONTHS * mean / noise
    after = np.array([best_after_counting(rates, benefit, shape, exposure, one) for one in more])
    worth = (months * now + (horizon - months) * after - horizon * max(now, 0.0)) / MONTHS
    worth = np.round(worth, 6) + 0.0  # what is less is what rounding leaves of thousands that cancel
    return Waiting(
        taken=taken,
        untold=tuple(untold),
        shape=shape,
        exposure=exposure,
        seen=seen,
        months_seen=months_seen,
        horizon=horizon,
        now=now,
        months=months,
        width=width_left(exposure, more),
        worth=worth,
    )


def known_orders(kit: OpenStudy, key: str) -> Distribution | None:
    """What guess and log make of a channel's orders that state no range, as `waiting_of` has it; None for any other number. [order/year]"""
    table, *names = key.split(".")
    if kit.certain or table != "channels" or names[-1] != "orders":
        return None
    number = kit.study.numbers.get(key)
    if number is None or not _guessed(number) or number.value <= 0:
        return None
    return rate_posterior(number.value, _years_told(kit, names[0], number)[0], 0.0, 0.0)


def _guessed(number):
    """Whether a log may still move it: neither agreed nor decided."""
    return number.basis in ("guess", "answered", "measured")


def _years_told(kit, channel, number):
    """Years that guess and log of a channel's orders count for, and orders and months of the log."""
    key, log = f"channels.{channel}.orders", orders_seen(kit.study, channel)
    told, found = log and (int(log[0].sum()), float(log[1].sum())), kit.assumed.evidence.get(key)
    in_force = kit.assumed.numbers[key].distribution
    if found is None or in_force is not found.posterior:  # the study does not ask the log, or scales what it says
        found = ask(kit.study, key.split("."), number)
    if found is not None:  # of a rate with this mean and variance
        return float(found.posterior.middle / found.posterior.quantile(_EVEN).var()), told
    (orders, years), spread = guessed_rate(number), kit.assumed.numbers.get("spread.demand")  # as a scenario may scale it
    if spread is not None and spread.value > 0 and takes_factor(kit.study.numbers, key):  # stated as wider than that
        years = min(years, 1.0 / (spread.value**2 * orders))
    return years, told


@shown(
    "living-waiting",
    "Months more of offering before deciding: how wide the orders of a year are then, beside now, and what deciding then is worth",
    "months: 0; width: percent; worth: money0",
    fold=True,
)
def waiting_table(found: Waiting | None) -> pd.DataFrame:
    """Months of waiting, the width of the guess of orders after them, and their worth over the horizon. [month, -, money]"""
    if found is None:
        return []
    rows = zip(found.months.tolist(), found.width, found.worth, strict=True)
    return [row for row in rows if row[0] in _SHOWN]


def width_sentence(kit: OpenStudy, found: Waiting | None) -> str:
    """How wide the orders of a year are, by how many in the log, and by how much each month more narrows them."""
    fmt = format_of(kit)
    if found is None:
        stated = "stated as certain" if kit.certain else "agreed or decided"
        return f"The orders of this study are {stated}, so no month more of offering could tell anything."
    low, high, takes = (fmt.number(end, 0 if found.taken >= 20 else 1) for end in (*found.band, found.taken))
    basis = "Going by the guess, as no log has orders yet,"
    if found.seen is not None:
        basis = f"Going by guess and log together, {_seen(found, fmt)},"
    text = f"{basis} **{low} to {high} orders a year** come in eight cases of ten; the study takes {takes}."
    if found.wide:
        text = f"**The orders of a year are little more than a guess.** {text}"
    if found.untold:
        text += f' The chances above rest on the guess alone: `from = "records"` beside the orders of {some_of(found.untold, 3)} lets the log count in them too.'
    told = [n for n in (1, 6, 12) if n <= len(found.width)]
    narrows = [f"{fmt.percent(1.0 - found.width[n - 1])} after {counted(n, 'month')}" for n in told]
    return f"{text} Each month more of offering narrows that: by {', '.join(narrows)}."


def _seen(found, fmt):
    """Orders of the log, and in how long."""
    return f"{counted(found.seen, 'order') if found.seen else 'no order'} in {fmt.number(found.months_seen, 1)} months"


def waiting_sentence(kit: OpenStudy, found: Waiting | None) -> str:
    """Whether to try some months before deciding, what that is worth, and what trying costs."""
    if found is None:
        return ""
    fmt, best, span = format_of(kit), found.best, f"over {found.horizon} months"
    if best is None and found.now >= 0:
        return "**Decide now:** whatever the orders of the next months show, going on brings more than its hours at the target."
    if best is None:
        return f"**Decide now:** trying for some months costs more than their orders could tell, {span}."
    worth = fmt.money(found.worth[best - 1], 0)
    if found.now >= 0:
        return (
            f"**Go on, and decide anew after {counted(best, 'month')}:** looking again then is worth about {worth} {span} against staying with it whatever comes. "
            "Waiting costs nothing here, as those months earn their hours on average."
        )
    return (
        f"**Try {counted(best, 'more month')}, then decide:** that is worth about {worth} {span} more than stopping now. The months themselves "
        f"cost about {fmt.money(found.trial, 0)} on average, hours at the target and fixed costs counted; what they tell is worth more."
    )


def worth_waiting_for(kit: OpenStudy, numbers: pd.DataFrame, now: float) -> pd.DataFrame:
    """Of numbers that are worth knowing those that are worth the months they take: no orders where waiting is worth nothing; `now` as in `waiting_of`."""
    found = waiting_of(kit, now)
    orders = [label(f"channels.{name}.orders") for name in kit.study.file.channels]
    return numbers if found is None or found.best is not None else numbers[~numbers.what.isin(orders)]


def try_words(found: Waiting | None, fmt: Format) -> str:
    """For the first page: to try some months before deciding; nothing where that is worth nothing or costs nothing."""
    if found is None or found.best is None or found.now >= 0:
        return ""
    return f"Try {counted(found.best, 'more month')}, then decide: worth about {fmt.money(found.worth[found.best - 1], 0)} over {found.horizon} months."


def guess_words(found: Waiting | None, fmt: Format) -> str:
    """For the first page: that the orders of a year are a guess; nothing where they are not."""
    if found is None or not found.wide:
        return ""
    low, high = (fmt.number(end, 1) for end in found.band)
    count = "" if found.seen is None else f" after {_seen(found, fmt)}"
    return f"Orders are a guess{count}: {low} to {high} a year in eight cases of ten."
