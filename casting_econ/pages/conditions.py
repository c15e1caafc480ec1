"""What would have to be true for every hour to earn the target: each lever alone, and two together."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..formatting import Format
from ..kit import OpenStudy
from ..models import Workshop, evaluate, longest_wait, with_levers
from ..models.yields import rolled_yield

__all__ = [
    "Lever",
    "condition_sentence",
    "frontier",
    "levers",
    "moved_words",
    "needed_table",
    "pay_over_target",
    "solve_for_target",
]

GRID = 129  # values tried between the ends before the crossing is narrowed down
STEPS = 40  # halvings: to a millionth of a millionth of the range


@dataclass(frozen=True, kw_only=True)
class Lever:
    """One thing that could be otherwise."""

    key: str
    label: str
    unit: str  # "share", "hour", "hour/week" or "" for a factor on what is stated
    now: float
    low: float
    high: float
    move: Callable[[Workshop, np.ndarray], Workshop]

    @property
    def is_factor(self) -> bool:
        """Whether it is a factor on what the study states."""
        return self.unit == ""


def levers(kit: OpenStudy, product: str | None = None) -> list[Lever]:
    """Levers of a study: price, buyers, scrap, cure, minutes by step, order minutes, weekly hours, material, overheads.

    Parameters
    ----------
    kit : OpenStudy
        Open study, taken at its point.
    product : str, optional
        Product whose scrap, cure and steps are moved; None takes the first.

    Returns
    -------
    list of Lever
    """
    a = kit.inputs()
    name = product or a.products[0].name
    own = next(p for p in a.products if p.name == name)

    def factor(key, label, move, low=0.0, high=8.0):
        return Lever(key=key, label=label, unit="", now=1.0, low=low, high=high, move=move)

    found = [
        factor("price", "every price", lambda a, x: with_levers(a, price=x), low=0.05),
        factor("buyers", "buyers of every channel", lambda a, x: with_levers(a, demand=x), low=0.02),
        Lever(
            key="scrap",
            label=f"scrap of {name}",
            unit="share",
            now=1.0 - float(rolled_yield([s.pass_share for s in own.steps])),
            low=0.0,
            high=0.97,
            move=lambda a, x: with_levers(a, product=name, scrap=x),
        ),
    ]
    waiting, hours = longest_wait(a, name)
    if waiting is not None:
        found.append(
            Lever(
                key="cure",
                label=f"wait at {waiting}",
                unit="hour",
                now=hours,
                low=0.05 * hours,
                high=12.0 * hours,
                move=lambda a, x: with_levers(a, product=name, cure_hours=x),
            )
        )
    found += [
        factor(f"minutes.{s.name}", f"minutes of {s.name}", lambda a, x, step=s.name: _steps(a, name, x, step), high=20.0)
        for s in own.steps
        if s.minutes or s.load_minutes
    ]
    found.append(factor("bench", "all minutes at the bench", lambda a, x: _steps(a, name, x, None), high=20.0))
    if any(c.minutes_per_order for c in a.channels):
        found.append(factor("orders", "minutes an order takes", lambda a, x: _channels(a, x), high=20.0))
    found.append(
        Lever(
            key="weekly",
            label="weekly hours no customer sees",
            unit="hour/week",
            now=float(a.fixed_hours_per_week),
            low=0.0,
            high=float(a.hours_per_week) * 0.999,
            move=lambda a, x: replace(a, fixed_hours_per_week=x),
        )
    )
    found.append(factor("material", "every material price", lambda a, x: _materials(a, x), high=20.0))
    if a.overheads:
        found.append(factor("overheads", "all overheads", lambda a, x: _overheads(a, x), high=20.0))
    return found


def pay_over_target(a: Workshop) -> np.ndarray:
    """Pay an hour less the target. [money/hour]"""
    return np.asarray(evaluate(a).totals["pay_per_hour"] - a.target_per_hour)


def solve_for_target(kit: OpenStudy, chosen: list[Lever], at: Lever | None = None, values=None) -> np.ndarray:
    """Value of each lever alone at which every hour just earns the target.

    Parameters
    ----------
    kit : OpenStudy
        Open study, taken at its point.
    chosen : list of Lever
        Levers to solve for.
    at : Lever, optional
        Another lever that is held at `values` meanwhile.
    values : array_like, optional
        Values of `at`.

    Returns
    -------
    ndarray
        Shape (levers,), or (levers, values); of several crossings the one nearest to what is now; not a number where no value
        between the lever's ends does.

    Notes
    -----
    All levers and values in one array: a grid finds the interval, halving narrows it down. Pay may rise and fall with a lever (a cure is a
    staircase), so it is not taken as monotone.
    """
    base, held = kit.inputs(), np.array([np.nan]) if at is None else np.asarray(values, float)
    count, width = len(chosen), held.size
    low, high, now = (np.array([getattr(lever, name) for lever in chosen]) for name in ("low", "high", "now"))

    def over(x):  # x: (levers, values, anything)
        a = base
        for row, lever in enumerate(chosen):
            column = np.full(x.shape, lever.now)
            column[row] = x[row]
            a = lever.move(a, column)
        if at is not None:
            a = at.move(a, np.broadcast_to(held[None, :, None], x.shape))
        return np.broadcast_to(pay_over_target(a), x.shape)

    share = np.linspace(0.0, 1.0, GRID)
    grid = low[:, None] + (high - low)[:, None] * share**2  # finer where levers are small
    grid = np.sort(np.concatenate([grid, now[:, None]], axis=1), axis=1)[:, None, :]
    grid = np.broadcast_to(grid, (count, width, GRID + 1)).copy()
    signs = over(grid) >= 0
    crossing = signs[..., 1:] != signs[..., :-1]
    middles = (grid[..., 1:] + grid[..., :-1]) / 2
    distance = np.where(crossing, np.abs(middles - now[:, None, None]), np.inf)
    cell = distance.argmin(axis=-1)[..., None]
    a, b = np.take_along_axis(grid[..., :-1], cell, -1), np.take_along_axis(grid[..., 1:], cell, -1)
    left = np.take_along_axis(signs[..., :-1], cell, -1)
    for _ in range(STEPS):
        middle = (a + b) / 2
        same = (over(middle) >= 0) == left
        a, b = np.where(same, middle, a), np.where(same, b, middle)
    found = np.where(crossing.any(axis=-1), np.where(left[..., 0], a[..., 0], b[..., 0]), np.nan)
    return found[:, 0] if at is None else found


def needed_table(kit: OpenStudy, product: str | None = None) -> pd.DataFrame:
    """Each lever alone: what is now, what the target needs, and the change as a share; not a number where no value does."""
    chosen = levers(kit, product)
    found = solve_for_target(kit, chosen)
    rows = [
        (lever.key, lever.label, lever.unit, lever.now, value, value / lever.now - 1.0 if lever.now else np.nan)
        for lever, value in zip(chosen, found, strict=True)
    ]
    frame = pd.DataFrame(rows, columns=["key", "lever", "unit", "now", "needed", "change"])
    return frame.sort_values("change", key=np.abs, kind="stable", ignore_index=True)


def frontier(kit: OpenStudy, along: str, needs: str, points: int = 41, product: str | None = None) -> pd.DataFrame:
    """Pairs of two levers at which every hour just earns the target.

    Parameters
    ----------
    kit : OpenStudy
        Open study.
    along, needs : str
        Keys of the lever walked along, and of the one solved for.
    points : int, optional
        Values of the first.
    product : str, optional
        As in `levers`.

    Returns
    -------
    DataFrame
        Columns named by the two keys; not a number where no value of the second does.
    """
    by_key = {lever.key: lever for lever in levers(kit, product)}
    one, other = by_key[along], by_key[needs]
    low, high = (max(one.low, 0.4), 2.0) if one.is_factor else (max(one.low, 0.0), min(one.high, max(3.0 * one.now, 0.5)))
    values = np.unique(np.append(np.linspace(low, high, points - 1), one.now))
    return pd.DataFrame({along: values, needs: solve_for_target(kit, [other], one, values)[0]})


def _steps(a, product, factor, step):
    """Minutes by piece and by load of one step, or of all, of a product."""

    def moved(s):
        if step is not None and s.name != step:
            return s
        rework = None if s.rework_minutes is None else s.rework_minutes * factor
        return replace(s, minutes=s.minutes * factor, load_minutes=_load(s.load_minutes, factor), rework_minutes=rework)

    def products(p):
        return replace(p, steps=tuple(moved(s) for s in p.steps)) if p.name == product else p

    return replace(a, products=tuple(products(p) for p in a.products))


def _load(minutes, factor):
    """Load minutes scaled, never to nothing where there are any: a station is not turned round in no time."""
    return minutes * np.maximum(factor, 0.02) if np.any(minutes) else minutes


def _channels(a, factor):
    return replace(a, channels=tuple(replace(c, minutes_per_order=c.minutes_per_order * factor) for c in a.channels))


def _overheads(a, factor):
    return replace(a, overheads=tuple(replace(o, per_year=o.per_year * factor) for o in a.overheads))


def _materials(a, factor):
    def dearer(items):
        return tuple(replace(m, cost=m.cost * factor) for m in items)

    def moved(p):
        mould = None if p.mould is None else replace(p.mould, material_cost=p.mould.material_cost * factor)
        steps = tuple(replace(s, materials=dearer(s.materials)) for s in p.steps)
        return replace(p, steps=steps, parts=dearer(p.parts), mould=mould)

    return replace(a, products=tuple(moved(p) for p in a.products))


def condition_sentence(frame: pd.DataFrame, pays: bool, fmt: Format) -> str:
    """The nearest levers in words, and those that no value of helps; `pays` says whether an hour earns the target now."""
    known, none = frame[frame.needed.notna()], frame[frame.needed.isna()]
    if known.empty:
        return "No lever alone " + (
            "could lose the target within its range." if pays else "reaches the target, whatever its value."
        )
    parts = [f"{row.lever} {moved_words(row, fmt)}" for row in known.head(4).itertuples()]
    start = (
        "Every hour would still just earn the target with any one of these"
        if pays
        else "Every hour would earn the target with any one of these"
    )
    text = f"{start}: {'; '.join(parts)}."
    if len(none) and not pays:
        text += f" **No value does** for: {', '.join(none.lever)}."
    elif len(none):
        text += f" No value within its range loses the target for: {', '.join(none.lever)}."
    return text + " All other numbers stay at their middle."


def moved_words(row, fmt):
    """From what is now to what is needed."""
    if row.unit == "":
        return f"{fmt.percent(abs(row.change))} {'up' if row.change > 0 else 'down'}"
    if row.unit == "share":
        return f"at {fmt.percent(row.needed, 1)} instead of {fmt.percent(row.now, 1)}"
    return f"at {fmt.number(row.needed, 1)} {row.unit.replace('hour', 'hours', 1)} instead of {fmt.number(row.now, 1)}"
