"""The year without a channel."""

from dataclasses import replace

import numpy as np
import pandas as pd

from ..draws import summarise
from ..formatting import Format
from ..kit import OpenStudy
from ..models import Workshop, beyond_target, evaluate
from .change import SURE
from .table import shown


@shown(
    "channels-without",
    "What the year would gain or lose without each channel, its fixed hours shared by the others: means over the draws; the gain a year is after "
    "paying every hour the target",
    "without: text; pay without: kept; change in pay an hour: money; change in pay a year: money0; change in hours a year: kept; "
    "at the point: kept; change beyond the target: money0; error: kept; low: money0; high: money0; chance better: chance",
)
def drop_table(kit: OpenStudy, draws: int | None = None, seed: int | None = None) -> pd.DataFrame:
    """The year without each channel, on the draws of the study: change in pay with its band, and the chance that it is better. [money/hour, money/year, hour/year]

    The others keep their demand and carry the overheads and weekly hours; the dropped one's days at stalls and their fees go with it. Change
    beyond the target is pay a year less the target for every hour; 'pay without' and 'at the point' are at the point, all else means over draws.
    """
    names = list(kit.study.file.channels)
    if len(names) < 2:
        return []

    found = kit.by_draw(lambda a: {(name, of): value for name in names for of, value in _without(a, name).items()}, draws, seed)
    now, rows = kit.monte_carlo(draws, seed).draws, []
    for name in names:
        point = _without(kit.inputs(), name)
        changes = [found[name, of] - now[of] for of in point]
        beyond, means = changes[-1], [float(np.mean(change[~np.isnan(change)])) for change in changes]
        at_point = float(point["beyond_target"] - beyond_target(kit.inputs(), kit.point()))
        ends, better = np.quantile(beyond, [0.1, 0.9]), float((beyond > 0).mean())
        error = summarise(beyond)["mean_error"]
        rows.append((name, float(point["pay_per_hour"]), *means[:3], at_point, means[3], error, *ends, better))
    return rows


def _without(a: Workshop, name: str):
    """A year without one channel; what no other sells is not made, so no load of it is ruined either."""
    channels = tuple(c for c in a.channels if c.name != name)
    sold = {c.product for c in channels}
    outcome = evaluate(replace(a, channels=channels, products=tuple(p for p in a.products if p.name in sold)))
    totals = {of: outcome.totals[of] for of in ("pay_per_hour", "residual_pay_per_year", "hours_per_year")}
    return totals | {"beyond_target": beyond_target(a, outcome)}


def drop_sentence(frame: pd.DataFrame, fmt: Format) -> str:
    """Which channel, if any, is better dropped; claims no more than its chance and the error of its mean."""
    if frame.empty:
        return "With one channel there is none to drop."
    best = frame.loc[frame["change beyond the target"].idxmax()]
    name, gain, chance = best.without.replace("-", " "), best["change beyond the target"], best["chance better"]
    size, often, known = fmt.money(abs(gain), 0), fmt.chance(chance), abs(gain) > 2.0 * best["error"]
    if gain > 0 and known and chance >= SURE:
        sure = "" if fmt.certain else f", with a chance of {often}"
        return f"**Dropping {name} would be better** by about {size} a year, every hour paid the target{sure}."
    if gain > 0 and chance < 0.5:
        text = f"No channel is clearly better dropped: without {name}, which costs least to lose, a year is better with a chance of only {often}"
        return f"{text}, though the few large gains make {size} more on average."
    if gain > 0:
        return f"Dropping {name} might be better ({size} a year on average), but only with a chance of {often}."
    if abs(gain) < 0.5 and chance == 0:
        return f"No channel is better dropped; without {name} a year would be as it is."
    text = f"No channel is better dropped: even without {name}, which costs least to lose, a year brings {size} less, every hour paid the target"
    return text + (f" on average; with a chance of {often} it would bring more." if chance >= 1.0 - SURE else ".")
