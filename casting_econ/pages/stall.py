"""How many pieces to bring to a market day."""

import numpy as np
import pandas as pd
import scipy

from ..formatting import Format
from ..kit import OpenStudy
from ..models import newsvendor_quantity, orders_at_price
from .cost import CARRIED
from .mix import activities
from .table import shown

_SURE = 0.95  # of having enough, in the table beside what pays best


@shown(
    "channels-stall",
    "Pieces to bring to a day, over the draws; lost is the mean of a day by too few and too many",
    "channel: text; wanted: 0; short: money; over: money; bring: 0; enough: percent; lost: money; to be sure: 0",
)
def stall_table(kit: OpenStudy, draws: int | None = None, seed: int | None = None) -> pd.DataFrame:
    """What to bring to a day of each channel that has days: enough on most days, and what pays best. [piece, money, -]

    Mean pieces `wanted` a day; `bring` loses least if a piece brought home again is never sold, and is `enough` with that chance; `short` and
    `over` are what a piece missing and a piece left loses, `lost` the mean of a day; `to be sure` is enough on 95 of 100 days.

    Buyers of a day are Poisson about the mean of the draw, each taking the mean number of pieces; the draws are mixed. A piece
    missing loses what a sold one leaves after its hours at the target; a piece left loses its material and hours at most.
    """
    found, a, point = activities(kit), kit.inputs(), kit.point()
    stalls = {n: c for n, c in enumerate(a.channels) if np.any(np.asarray(c.days_per_year) > 0)}
    if not stalls:
        return []
    drawn = kit.by_draw(lambda a: {n: _orders_a_day(a.channels[n]) for n in stalls}, draws, seed)
    rows = []
    for n, c in stalls.items():
        buyers, chances = _buyers(drawn[n])
        size = float(c.pieces_per_order)
        pieces = np.ceil(buyers * size - 1e-9)
        short = float(found.after_target[n] / found.pieces[n])
        kinds = point.products[c.product]["cost_by_kind"]
        over = float(sum(cost for kind, cost in kinds.items() if kind not in CARRIED))
        enough = np.cumsum(chances)
        best = (0.0, float(enough[0]), np.nan) if short <= 0 else (pieces[-1], 1.0, np.nan)
        if short > 0 and over > 0:
            bring, lost = newsvendor_quantity(buyers * size, chances, short, over)
            index = int(np.searchsorted(buyers * size, bring))
            best = pieces[index], float(enough[index]), lost
        sure = pieces[int(np.searchsorted(enough, _SURE))]
        rows.append((c.name, float(chances @ buyers * size), short, over, *best, sure))
    return rows


def _orders_a_day(channel):
    """Orders of a day at a stall. [order/day]"""
    asked = orders_at_price(channel.orders_per_year, channel.price, channel.reference_price, channel.elasticity)
    return asked / channel.days_per_year


def _buyers(mean):
    """Numbers of buyers a day and the chance of each, mixed over the draws of their mean."""
    counts = np.arange(int(scipy.stats.poisson.ppf(1.0 - 1e-9, mean.max())) + 1)
    # equal steps of the mean instead of every draw: many draws and counts would fill the memory
    means = np.quantile(mean, (np.arange(256) + 0.5) / 256)
    chances = scipy.stats.poisson.pmf(counts[:, None], means).mean(axis=1)
    return counts, chances / chances.sum()


def stall_sentences(frame: pd.DataFrame, fmt: Format) -> str:
    """What to bring, in words; nothing where there is no stall."""
    text = []
    for row in frame.to_dict("records"):
        name = row["channel"].replace("-", " ")
        name = name[:1].upper() + name[1:]
        if row["short"] <= 0:
            text.append(f"**{name}: a sold piece leaves nothing after its hours at the target**, so bringing more loses more.")
            continue
        text.append(
            f"**{name}: bring about {fmt.number(row['bring'])} pieces** to a day on which {fmt.number(row['wanted'])} are "
            f"wanted on average: a piece missing loses {fmt.money(row['short'])}, one left over {fmt.money(row['over'])} at most, and that is "
            f"enough on {fmt.percent(row['enough'])} of days. {fmt.number(row['to be sure'])} are enough on {fmt.percent(_SURE)}. "
            "What keeps can be brought again, so rather more than less; weather and season make days differ more than this."
        )
    return " ".join(text)
