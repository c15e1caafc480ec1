"""What would have to be true for every hour to earn the target: each lever alone, and two together."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from ..formatting import Format
from ..kit import OpenStudy
from ..models import Workshop, beyond_target, evaluate, longest_wait, moved_at, with_levers
from ..models.yields import rolled_yield
from .table import shown

GRID = 129  # values tried between the ends before the crossing is narrowed down
STEPS = 40  # halvings, to a millionth of a millionth of the range
AHEAD = (10, 8, 5, 4)  # how many of them have all their middles worked out in one go: the most that stays within
AT_ONCE = 4_096  # numbers, which take hardly longer than one
MOST_PRICE = 8.0  # of now; none beyond it is looked for


@dataclass(frozen=True, kw_only=True)
class Lever:
    """One thing that could be otherwise."""

    key: str
    label: str
    places: tuple[str, ...]  # in the workshop, as `moved_at` takes them; of scrap, the product
    unit: str = ""  # "share", "hour", "hour/week" or "" for a factor on what is stated
    now: float = 1.0
    low: float = 0.0
    high: float = 20.0

    def move(self, a: Workshop, x: np.ndarray) -> Workshop:
        """The workshop with the lever at x, in its unit; what a load takes by hand never falls to nothing."""
        if self.key == "scrap":
            return with_levers(a, product=self.places[0], scrap=x)
        for place in self.places:
            # a station is not turned round in no time
            factor = np.maximum(x, 0.02) if place.endswith("load_minutes") else x
            a = moved_at(a, place, lambda now, by=factor: x if self.unit else now * by)
        return a


def scrap_lever(kit: OpenStudy, product: str | None = None) -> Lever:
    """The scrap of one product, the first if none is named."""
    own = kit.inputs().product(product)
    now = 1.0 - float(rolled_yield([s.pass_share for s in own.steps]))
    return Lever(key="scrap", label=f"scrap of {own.name}", places=(own.name,), unit="share", now=now, high=0.97)


def levers(kit: OpenStudy, product: str | None = None) -> list[Lever]:
    """Levers of a study: price, buyers, order minutes, weekly hours, material, overheads; and scrap, cure and minutes by step of one
    product, the first if none is named."""
    a = kit.inputs()
    own = a.product(product)
    steps, (waiting, hours) = f"products.{own.name}.steps", longest_wait(a, own.name)
    weekly = {"unit": "hour/week", "now": float(a.fixed_hours_per_week), "high": float(a.hours_per_week) * 0.999}
    materials = ("products.*.steps.*.materials.*.cost", "products.*.parts.*.cost", "products.*.mould.material_cost")

    def minutes(step):
        return tuple(
            f"{steps}.{step}.{kind}" for kind in ("minutes", "load_minutes", "lot_minutes", "rework_minutes", "first_minutes")
        )

    ends = {"now": hours, "low": 0.05 * hours, "high": 12.0 * hours}
    worked = [step.name for step in own.steps if step.minutes or step.load_minutes or step.lot_minutes]
    found = [
        Lever(key="price", label="every price", places=("channels.*.price",), low=0.05, high=MOST_PRICE),
        Lever(key="buyers", label="buyers of every channel", places=("channels.*.orders_per_year",), low=0.02, high=8.0),
        scrap_lever(kit, own.name),
        Lever(key="cure", label=f"wait at {waiting}", places=(f"{steps}.{waiting}.wait_hours",), unit="hour", **ends),
        *(Lever(key=f"minutes.{name}", label=f"minutes of {name}", places=minutes(name)) for name in worked),
        Lever(key="bench", label="all minutes at the bench", places=minutes("*")),
        Lever(key="orders", label="minutes an order takes", places=("channels.*.minutes_per_order",)),
        Lever(key="weekly", label="weekly hours no customer sees", places=("fixed_hours_per_week",), **weekly),
        Lever(key="material", label="every material price", places=materials),
        Lever(key="overheads", label="all overheads", places=("overheads.*.per_year",)),
    ]
    there = {"cure": waiting is not None, "orders": any(c.minutes_per_order for c in a.channels), "overheads": bool(a.overheads)}
    return [lever for lever in found if there.get(lever.key, True)]


def pay_over_target(a: Workshop) -> np.ndarray:
    """What a year leaves beyond the target for every hour, above zero where pay an hour is; also where there are no hours. [money/year]"""
    return np.asarray(beyond_target(a, evaluate(a)))


def year_over_living(a: Workshop) -> np.ndarray:
    """What a year leaves beyond a year's living. [money/year]"""
    return year_left(a) - a.living_per_year


def year_left(a: Workshop) -> np.ndarray:
    """What a year leaves when its bills are paid. [money/year]"""
    return np.asarray(evaluate(a).totals["residual_pay_per_year"])


def solve_for_target(
    kit: OpenStudy, chosen: list[Lever], at: Lever | None = None, values=None, *, aim=pay_over_target, stated: bool = False
) -> np.ndarray:
    """Value of each lever alone at which every hour just earns the target, or another `aim` of the workshop is just zero, shape (levers,); or
    (levers, values) with another lever held at each of its `values` meanwhile; other numbers as used, or as `stated`. [each in its unit]

    Of several crossings it is the one nearest to what is now; not a number where no value between the lever's ends does. All levers and
    values are in one array: a grid finds the interval, parting it again and again narrows it down. Pay may rise and fall with a lever (a cure
    is a staircase), so it is not taken as monotone.
    """
    values = np.array([np.nan]) if at is None else np.asarray(values, float)
    which, held = np.repeat(np.arange(len(chosen)), values.size), np.tile(values, len(chosen))
    low, high, now = (np.array([getattr(lever, name) for lever in chosen])[which, None] for name in ("low", "high", "now"))

    def pays(x):  # x: (levers and values, anything)
        a = kit.inputs(stated=stated)
        for own in np.unique(which):
            a = chosen[own].move(a, np.where((which == own)[:, None], x, chosen[own].now))
        if at is not None:
            a = at.move(a, np.broadcast_to(held[:, None], x.shape))
        return np.broadcast_to(aim(a), x.shape) >= 0

    grid = low + (high - low) * np.linspace(0.0, 1.0, GRID) ** 2  # finer where levers are small
    points = np.sort(np.append(grid, now, axis=1), axis=1)
    signs = pays(points)
    crossing = signs[:, 1:] != signs[:, :-1]
    distance = np.where(crossing, np.abs((points[:, 1:] + points[:, :-1]) / 2 - now), np.inf)
    there, found = np.flatnonzero(crossing.any(axis=1)), np.full(which.size, np.nan)
    if there.size:
        row, cell = np.arange(there.size), distance.argmin(axis=1)[there]
        points, which, held, left = points[there], which[there], held[there], signs[there, cell]
        ahead = next((n for n in AHEAD if there.size << n <= AT_ONCE), AHEAD[-1])
        for _ in range(STEPS // ahead):
            points = np.linspace(points[row, cell], points[row, cell + 1], 2**ahead + 1, axis=1)
            cell = (pays(points) == left[:, None]).argmin(axis=1) - 1
        found[there] = points[row, cell + ~left]
    return found if at is None else found.reshape(len(chosen), -1)


def break_even_prices(kit: OpenStudy, product: str, scrap=None, *, stated: bool = False) -> dict[str, np.ndarray]:
    """Price of a product at which every hour earns the target, and at which the bills are paid, by their keys in `evaluate`; nothing else moves
    but, where given, its scrap rate [-]. [money/piece]

    Where buyers leave or come with the price it is the one that pays with the orders that it brings: today's mean times the factor on
    every price of the product, infinite where none up to `MOST_PRICE` does, 0 where all do.
    """
    a, at = kit.inputs(stated=stated), None if scrap is None else scrap_lever(kit, product)
    a = a if at is None else at.move(a, np.asarray(scrap, float))
    found, aims = evaluate(a).products[product], {"break_even_price": pay_over_target, "cash_break_even_price": year_left}
    if product not in a.elastic:
        return {key: found[key] for key in aims}
    places = tuple(f"channels.{c.name}.price" for c in a.channels if c.product == product)
    price, prices = Lever(key="price", label="", places=places, low=0.05, high=MOST_PRICE), {}
    for key, aim in aims.items():
        factor = solve_for_target(kit, [price], at, scrap, aim=aim, stated=stated)[0]
        none = np.where(aim(a) >= 0, 0.0, np.inf)
        prices[key] = found["mean_price_per_piece"] * np.where(np.isnan(factor), none, factor)
    return prices


@lru_cache(maxsize=4)  # several pages ask for it
@shown(
    "change-needed",
    "Value of each lever at which every hour just earns the target, the nearest first; a dash where no value does",
    "lever: text; now: significant; needed: significant; change: percent; unit: text",
    fold=True,
)
def needed_table(kit: OpenStudy, product: str | None = None) -> pd.DataFrame:
    """Each lever alone: what is now, what the target needs, and the change as a share; not a number where no value does. [each in its unit; -]"""
    chosen = levers(kit, product)
    frame = pd.DataFrame([(lever.key, lever.label, lever.now) for lever in chosen], columns=["key", "lever", "now"])
    frame["needed"] = solve_for_target(kit, chosen)
    frame["change"] = frame.needed / frame.now.replace(0.0, np.nan) - 1.0
    frame["unit"] = [lever.unit for lever in chosen]
    return frame.sort_values("change", key=np.abs, kind="stable", ignore_index=True)


def frontier(kit: OpenStudy, along: str, needs: str, points: int = 41, product: str | None = None) -> pd.DataFrame:
    """Pairs of two levers, by their keys, at which every hour just earns the target: so many values of the one walked along, from two fifths
    of now to twice, and of the other what is needed; not a number where no value does. [of now]"""
    by_key = {lever.key: lever for lever in levers(kit, product)}
    one, other = by_key[along], by_key[needs]
    values = np.unique(np.append(np.linspace(0.4, 2.0, points - 1), one.now))
    frame = pd.DataFrame({along: values, needs: solve_for_target(kit, [other], one, values)[0]})
    frame.attrs["now"] = one.now, other.now  # for its chart
    return frame


def stands_still(frame: pd.DataFrame, along: str, needs: str, write: Callable[[float], str]) -> str:
    """The sentence that stands for a frontier on which what is needed of the second lever never moves; nothing where it does."""
    needed = frame.iloc[:, 1]
    if needed.isna().any() or write(needed.min()) != write(needed.max()):
        return ""
    return f"Whatever the {along}, every hour just earns the target at the same {needs}: {write(needed.iloc[0])}."


def condition_sentence(frame: pd.DataFrame, pays: bool, fmt: Format) -> str:
    """The nearest levers in words, and those that no value of helps; `pays` says whether an hour earns the target now."""
    known, none = frame[frame.needed.notna()], frame[frame.needed.isna()]
    if known.empty:
        does = "could lose the target within its range" if pays else "reaches the target, whatever its value"
        return f"No lever alone {does}."
    parts = [f"{row.lever} {moved_words(row, fmt)}" for row in known.head(4).itertuples()]
    text = f"Every hour would {'still just ' if pays else ''}earn the target with any one of these: {'; '.join(parts)}."
    if len(none):
        without = "No value within its range loses the target" if pays else "**No value does**"
        text += f" {without} for: {', '.join(none.lever)}."
    return text + " All other numbers stay at their middle."


def beside_now(factor: float, fmt: Format) -> str:
    """A factor on what is now in words: so much up or down, from twice on so many times."""
    return (
        f"{fmt.number(factor, 1)} times today's"
        if factor >= 2.0
        else f"{fmt.percent(abs(factor - 1.0))} {'up' if factor > 1 else 'down'}"
    )


def moved_words(row, fmt):
    """From what is now to what is needed."""
    if row.unit == "":
        return beside_now(1.0 + row.change, fmt)
    if row.unit == "share":
        return f"at {fmt.percent(row.needed, 1)} instead of {fmt.percent(row.now, 1)}"
    return f"at {fmt.number(row.needed, 1)} {row.unit.replace('hour', 'hours', 1)} instead of {fmt.number(row.now, 1)}"
