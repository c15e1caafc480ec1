"""The sensitivity page: which numbers move pay most."""

from functools import lru_cache, partial

import numpy as np
import pandas as pd
from scipy.sparse.csgraph import connected_components

from ..assumptions import as_shown, drawn_at, label, quantile_of, spread_values, workshop_at
from ..draws import round_up_draws
from ..draws.sobol import Indices, sobol_indices
from ..formatting import Format
from ..kit import OpenStudy, format_of, grid, main_wait
from ..models import beyond_target, evaluate
from .table import shown

ROWS = 2048  # of each base sample of the indices
STILL = 0.005  # money an hour that moves nothing
STEADY = 0.05  # most that a total index may move from half of the rows to all before numbers are ranked


def groups_of(kit: OpenStudy) -> list[list[int]]:
    """Columns of the uncertain numbers that depend on each other, as groups."""
    root, count = kit.assumed.root, len(kit.assumed.uncertain)
    _, group = connected_components(np.eye(count) if root is None else np.abs(root @ root.T) > 1e-12)
    return [np.flatnonzero(group == one).tolist() for one in dict.fromkeys(group.tolist())]


def sobol_table(kit: OpenStudy, rows: int = ROWS, seed: int | None = None) -> tuple[pd.DataFrame, Indices]:
    """Sobol indices by number, or by numbers that depend on each other, of what the hour and the year owe to each. [-]

    `alone` is the first-order and `total` the total index of pay an hour, with the ends `low` and `high` of its middle 90 %; `on the year` the
    total of the benefit of going on, its ends `on the year low` and `on the year high`. Largest `on the year` first: that is the decision's own
    scale. The indices behind it are in the order of `groups_of`; outputs pay an hour, benefit a year.
    A base sample has so many rows, rounded up to sixteen times a power of two.
    """
    seed = kit.plan_of_draws(seed=seed)[1]
    uncertain, groups = kit.assumed.uncertain, groups_of(kit)

    def model(drawn):
        a = workshop_at(kit.study, spread_values(kit.assumed, dict(zip(uncertain, drawn.T, strict=True))))
        outcome = evaluate(a)
        outputs = (outcome.totals["pay_per_hour"], beyond_target(a, outcome))
        return np.column_stack([np.broadcast_to(x, drawn.shape[:1]) for x in outputs])

    found = sobol_indices(model, len(uncertain), round_up_draws(rows), seed, groups, partial(drawn_at, kit.assumed))
    columns = {"number": [names_of([uncertain[n] for n in group]) for group in groups]}
    columns |= {"alone": found.first[:, 0], "alone low": found.first_low[:, 0], "alone high": found.first_high[:, 0]}
    for output, name, of in ((0, "total", ""), (1, "on the year", "on the year ")):
        ends = {f"{of}low": found.total_low[:, output], f"{of}high": found.total_high[:, output]}
        columns |= {name: found.total[:, output]} | ends
    frame = pd.DataFrame(columns).sort_values("on the year", ascending=False, ignore_index=True)
    return frame.assign(**frame.drop(columns="number").clip(upper=1.0)), found  # what an estimate has beyond all is its error


@shown(
    "sensitivity-shares",
    "Shares of the scatter of pay an hour (alone, total with its middle 90 %), and total share of what a year brings over its hours at the target; "
    "the twelve largest",
    "number: text; alone: percent; total: percent; low: percent; high: percent; on the year: percent",
)
def largest_shares(shares: pd.DataFrame) -> pd.DataFrame:
    """The twelve largest shares of `sobol_table`. [-]"""
    return shares.head(12)


def sensitivity_sentence(frame: pd.DataFrame, found: Indices, fmt: Format) -> str:
    """What moves the year most, as far as the indices of `sobol_table` can tell."""
    if frame.empty or not found.variance[1]:
        return "Nothing that is uncertain moves the year."
    if found.half[1] > STEADY:
        return "These indices have not settled: **more rows are needed** before the numbers can be ranked."
    first = frame.iloc[0]
    share = f"{fmt.percent(first['on the year low'])} to {fmt.percent(first['on the year high'])} of how far the years lie apart"
    level = frame[frame["on the year high"] >= first["on the year low"]]
    if len(level) == 1:
        return f"**The year moves most with {first.number}**: it accounts for {share}."
    others = " or ".join(level.number.iloc[1:])
    return f"**{first.number}** accounts for {share}; these draws cannot tell whether {others} accounts for as much or more."


def names_of(keys):
    """Labels of a group; a long one by its first and how many more."""
    return label(keys[0]) + (f" and {len(keys) - 1} tied to it" if len(keys) > 1 else "")


@lru_cache(maxsize=4)  # several pages ask for it
@shown(
    "sensitivity-swings",
    "Pay an hour with one number at its low and high value (one time in ten beyond it)",
    "label: text; pay low: money; pay high: money; swing: money; low: significant; high: significant; unit: text",
)
def swing_table(kit: OpenStudy) -> pd.DataFrame:
    """What each uncertain number alone does to pay an hour, tried where one time in ten is below, and above, the others at their point; largest
    swing first. [money/hour]"""
    assumed, rows, drawn = kit.assumed, [], {}
    # row 2 i tries number i low, row 2 i + 1 tries it high: one evaluation for all
    size = 2 * len(assumed.uncertain)
    for i, key in enumerate(assumed.uncertain):
        number, tried = assumed.numbers[key], quantile_of(assumed, key, np.array([0.1, 0.9]))
        shared = key.startswith("spread.")  # moves all numbers of a kind
        unit, factor = ("of its middle", 1.0) if shared else as_shown(key, number.unit, kit.study.currency)
        drawn[key] = np.full(size, 1.0 if shared else number.value)
        drawn[key][2 * i : 2 * i + 2] = tried
        rows.append((label(key), *(tried * factor), unit, key))
    frame = pd.DataFrame(rows, columns=["label", "low", "high", "unit", "key"])
    pay = evaluate(workshop_at(kit.study, spread_values(assumed, drawn))).totals["pay_per_hour"] if rows else ()
    less, more = np.broadcast_to(pay, (size,)).reshape(-1, 2).T
    # where a number leaves no hour to be paid, from the point to its other end
    swing = np.abs(np.subtract(*(np.where(np.isnan(end), kit.point().totals["pay_per_hour"], end) for end in (more, less))))
    frame = frame.assign(pay_low=less, pay_high=more, swing=swing)
    frame = frame[["label", "pay_low", "pay_high", "swing", "low", "high", "unit", "key"]]
    return frame.sort_values("swing", ascending=False, kind="stable", ignore_index=True)


@shown(
    "sensitivity-scrap-and-cure-{product}",
    "Pay an hour by scrap rate (rows) and hours of cure (columns)",
    "scrap rate: percent; *: money",
)
def grid_table(kit: OpenStudy, scrap, cure_hours, *, product: str) -> pd.DataFrame:
    """Pay an hour over scrap rates (rows) and cure hours (columns). [money/hour]"""
    waiting, hours = main_wait(kit, product)
    pay = grid(kit, scrap, cure_hours if waiting else None, product=product).totals["pay_per_hour"]
    pay = np.broadcast_to(np.reshape(pay, (len(scrap), -1)), (len(scrap), len(cure_hours)))
    frame = pd.DataFrame(pay, index=pd.Index(scrap, name="scrap rate"), columns=pd.Index(cure_hours, name="cure hours"))
    frame.attrs["now"] = 1.0 - float(kit.point().products[product]["yield"]), hours  # for its chart
    return frame


def three_numbers(kit: OpenStudy, tornado) -> str:
    """The three uncertain numbers with the largest swing, and what each rests on."""
    if not len(tornado):
        return f"Every number of this study is stated as certain, so none can move the result{'' if kit.certain else '; chance can'}."
    fmt, rows = format_of(kit), []
    for place, row in enumerate(tornado.head(3).itertuples(), start=1):
        number = kit.assumed.numbers.get(row.key)
        rests = "" if number is None or row.key.startswith("spread.") else f" ({number.basis})"
        rows.append(f"{place}. **{row.label}**{rests}: from low to high it moves pay an hour by {fmt.money(row.swing)}.")
    return "\n".join(rows)


def grid_still(kit: OpenStudy, pay: pd.DataFrame, waiting: str | None) -> str:
    """The sentence that stands for a grid in which waiting moves nothing; nothing where it does."""
    fmt, values = format_of(kit), pay.to_numpy(float)
    if (np.ptp(values, axis=1) >= STILL).any():
        return ""
    ends = f"from {fmt.number(pay.columns[0])} to {fmt.number(pay.columns[-1])} hours at **{waiting}**"
    text = f"**Waiting moves nothing here:** an hour brings the same {ends}" if waiting else "No step of this product waits"
    none, most = values[[0, -1], 0]
    if abs(none - most) < STILL:
        return f"{text}, and scrap moves nothing either: an hour brings {fmt.money(none)}."
    scrap = f"{fmt.money(none)} with no scrap, {fmt.money(most)} with {fmt.percent(pay.index[-1])} of the casts scrapped"
    return f"{text}; only scrap matters: {scrap}."


def grid_sentence(kit: OpenStudy, waiting, hours) -> str:
    """What the grid moves and what it holds still."""
    fmt = format_of(kit)
    return (
        f"The longest wait of this product is {fmt.wait(hours)} at **{waiting}**. Cells in bold meet the target. "
        f"Where a row does not change, waiting is not what limits. The check at each step keeps its part of the losses."
    )
