"""One function a chart. Each takes frames from `tables` or draws, and returns a matplotlib Figure."""

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from .formatting import Format
from .palette import BLUE, GREEN, GREY, INK, ORANGE, SERIES, SKY, WORDS

WIDTH = 5.6  # inches: narrow, so that the lettering stays readable on a phone
DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))
_PAPER = {"facecolor": "white", "edgecolor": "none", "pad": 1}  # under words that lie on lines


def theme():
    """The look of every chart; names inside an SVG are the same each time."""
    sns.set_theme(
        style="whitegrid", rc={"axes.edgecolor": GREY, "grid.color": "#E3E3E3", "font.size": 10, "svg.hashsalt": "casting_econ"}
    )


def new_axes(height: float = 3.4, *, rows: int = 1, columns: int = 1, **shape):
    """A figure in the look of every chart, with one set of axes or several; `shape` as of matplotlib's subplots. [inch]"""
    theme()
    figure, axes = plt.subplots(rows, columns, figsize=(WIDTH, height), layout="constrained", **shape)
    for part in np.ravel(axes):
        sns.despine(ax=part, left=True)
    return figure, axes


def laid_out(figure: Figure):
    """Lay a chart out once, for every file made of it, at the resolution of pictures; the box around all that is drawn. [inch]"""
    figure.set_dpi(130)
    figure.draw_without_rendering()
    figure.set_layout_engine(None)
    return figure.get_tightbbox().padded(0.1)


def beside(axes, text: str, place, offset=(4, 0), **look):
    """Words beside a place of a chart, so many points away."""
    axes.annotate(text, place, xytext=offset, textcoords="offset points", **look)


def ticks(axis, write):
    """Let a function write the figures along an axis."""
    axis.set_major_formatter(FuncFormatter(lambda value, _: write(value)))


def _rows(names, height: float):
    """A figure with a row for each name, and the rows' places from the top."""
    figure, axes = new_axes(height)
    places = np.arange(len(names))[::-1]
    axes.set_yticks(places, [str(name) for name in names])
    axes.grid(axis="y", visible=False)
    return figure, axes, places


def _series(axes, x: pd.Series, frame: pd.DataFrame, **look):
    """Each column over x in a colour and dash of its own; where they end, for `_end_labels`."""
    ends = []
    for name, colour, dash in zip(frame, SERIES, DASHES, strict=False):
        known = frame[name][np.isfinite(frame[name].to_numpy(float))]
        axes.plot(x[known.index], known, color=colour, linestyle=dash, linewidth=2, **look)
        ends += [(float(known.iloc[-1]), name, colour)] if len(known) else []
    return ends


def _end_labels(axes, x, ends):
    """Labels at the right end of lines, pushed apart so that none covers another."""
    low, high = axes.get_ylim()
    gap, last = 0.075 * (high - low), -np.inf
    for value, text, colour in sorted(ends, key=lambda end: end[0]):
        last = max(min(value, high), last + gap)
        beside(axes, text, (x, last), (6, 0), color=WORDS[colour], va="center", annotation_clip=False)


def pay_histogram(pay, target: float, fmt: Format, *, unit: str = "an hour") -> Figure:
    """Histogram of draws with the middle eight in ten shaded and the target marked."""
    figure, axes = new_axes(3.3)
    pay = np.asarray(pay)
    low, middle, high = np.quantile(pay, [0.1, 0.5, 0.9])
    edges = np.linspace(*np.quantile(pay, [0.001, 0.999]), 46)
    if np.ptp(edges) <= 1e-9 * max(1.0, abs(middle)):  # all draws alike: one bar that can be seen
        low, high = (middle + side * 0.02 * max(abs(target - middle), abs(middle), 1.0) for side in (-1.0, 1.0))
        edges = np.array([low, high])
    shown = np.clip(pay, edges[0], edges[-1])
    heights, _ = np.histogram(shown, edges)
    inside = (edges[:-1] >= low) & (edges[1:] <= high)
    colours = {"color": np.where(inside, BLUE, SKY), "edgecolor": np.where(inside, "white", BLUE)}
    axes.bar(edges[:-1], heights / heights.sum(), np.diff(edges), align="edge", linewidth=0.4, **colours)
    top = heights.max() / heights.sum()
    digits = 2 if middle < 1000 else 0
    axes.axvline(target, color=ORANGE, linestyle="--", linewidth=2)
    left = target < middle
    words, side = f"target {fmt.money(target, digits)}", {"ha": "right" if left else "left"}
    beside(axes, words, (target, top * 1.12), (-6 if left else 6, 0), color=WORDS[ORANGE], weight="bold", **side)
    words, paper = f"{'half above' if edges.size > 2 else 'certain:'} {fmt.money(middle, digits)}", _PAPER | {"pad": 1.5}
    axes.annotate(words, (middle, top * 1.02), ha="center", color=BLUE, weight="bold", bbox=paper, zorder=5)
    span = max(edges[-1], target) - min(edges[0], target)
    room = 0.32 * span  # for the words
    axes.set_xlim(min(edges[0], target - room, middle - room), max(edges[-1], target + room))
    below = f"left for the maker, {unit}" + (" (dark: middle eight in ten)" if edges.size > 2 else "")
    axes.set(ylim=(0, top * 1.25), xlabel=below, ylabel="share of draws")
    axes.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    whole = np.allclose(axes.get_xticks() % 1, 0)
    ticks(axes.xaxis, lambda v: fmt.money(v, 0 if whole else 2))
    ticks(axes.yaxis, lambda v: fmt.percent(v))
    return figure


def bars(frame: pd.DataFrame, name: str, value: str, xlabel: str, write, *, colours=None) -> Figure:
    """Horizontal bars with their value written at the end; rows without one are left out."""
    frame = frame[np.isfinite(frame[value].to_numpy(float))] if colours is None else frame
    figure, axes, places = _rows(frame[name], 0.9 + 0.34 * len(frame))
    values = frame[value].to_numpy(float)
    axes.barh(places, values, color=BLUE if colours is None else colours, height=0.68)
    reach = max(np.abs(values).max(), 1e-12)
    for place, number in zip(places, values, strict=True):
        offset, side = ((-4, 0), "right") if number < 0 else ((4, 0), "left")
        beside(axes, write(number), (number, place), offset, va="center", ha=side, fontsize=9, bbox=_PAPER, zorder=4)
    axes.set_xlim(min(values.min() - 0.18 * reach, 0) if values.min() < 0 else 0, max(values.max(), 0) + 0.2 * reach)
    axes.set_xlabel(xlabel)
    ticks(axes.xaxis, write)
    axes.xaxis.set_major_locator(MaxNLocator(6))
    return figure


def lines(
    frame: pd.DataFrame, x: str, ys: list[str], xlabel: str, ylabel: str, write_x, write_y, *, level=None, level_label="", at=None
) -> Figure:
    """Lines labelled at their right end, with a level to compare with and a mark for today."""
    figure, axes = new_axes(3.8)
    ends = _series(axes, frame[x], frame[ys])
    if level is not None:
        # it ends with the lines, else it strikes out its own label
        axes.hlines(level, frame[x].iloc[0], frame[x].iloc[-1], color=GREY, linewidth=1.2)
        ends.append((level, level_label, GREY))
    low, high = axes.get_ylim()
    _end_labels(axes, frame[x].iloc[-1], ends)
    if at is not None:
        axes.axvline(at, color=GREY, linestyle=":", linewidth=1.2)
        beside(axes, "now", (at, high), (4, -10), color=GREY)
    axes.set(ylim=(low, high), xlabel=xlabel, ylabel=ylabel)
    ticks(axes.xaxis, write_x)
    ticks(axes.yaxis, write_y)
    return figure


def cash_paths(paths: dict[str, pd.DataFrame], fmt: Format) -> Figure:
    """Free money by month for each rule of pay: half of the draws below the line, eight in ten within the band."""
    figure, axes = new_axes(3.8)
    for frame, colour in zip(paths.values(), SERIES, strict=False):
        axes.fill_between(frame.month, frame["1 in 10 below"], frame["1 in 10 above"], color=colour, alpha=0.18, linewidth=0)
    ends = _series(axes, frame.month, pd.DataFrame({name: path["half below"] for name, path in paths.items()}))
    axes.axhline(0.0, color=INK, linewidth=1.2)
    _end_labels(axes, frame.month.iloc[-1], ends)
    axes.set(xlabel="months from the start", ylabel="free money")
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=8))
    ticks(axes.yaxis, lambda value: fmt.money(value, 0))
    return figure


def frontier(frame: pd.DataFrame, x: str, y: str, xlabel: str, ylabel: str, write_x, write_y, *, pays_above: bool) -> Figure:
    """Line on which an hour just earns the target, with the side that pays shaded and a dot where we are (1, 1) for factors."""
    figure, axes = new_axes(3.4)
    known = frame[np.isfinite(frame[y])]
    axes.plot(known[x], known[y], color=BLUE, linewidth=2)
    low, high = axes.get_ylim()
    low, high = (min(low, 0.8), max(high, 1.2)) if high < 20 else (0.0, high * 1.15)
    edge = high if pays_above else low
    axes.fill_between(known[x], known[y], edge, color=SKY, alpha=0.3, linewidth=0)
    if len(known):
        side, level = known[[x, y]].iloc[int(0.6 * len(known))]
        axes.annotate("pays the target", (side, (level + edge) / 2), color=INK, ha="center", va="center")
    if x in ("buyers", "bench"):
        axes.plot([1.0], [1.0], "o", color=INK, markersize=9, zorder=5)
        beside(axes, "now", (1.0, 1.0), (8, -12), color=INK, weight="bold")
    axes.set(ylim=(low, high), xlabel=xlabel, ylabel=ylabel)
    axes.xaxis.set_major_locator(MaxNLocator(7))
    ticks(axes.xaxis, write_x)
    ticks(axes.yaxis, write_y)
    return figure


def stairs(
    frame: pd.DataFrame, *, now_hours: float, needed: float, xlabel: str, coldest: tuple[str, float, float] | None = None
) -> Figure:
    """Loads a week over cure hours for several numbers of stations, with a dot where the study is and one for its coldest month."""
    figure, axes = new_axes(3.8)
    hours, rates = frame["cure hours"], frame.drop(columns="cure hours")
    now_rate = float(rates.iloc[(hours - now_hours).abs().argmin(), 0])
    ends = _series(axes, hours, rates, drawstyle="steps-post")
    axes.axhline(needed, color=GREY, linewidth=1.2)
    axes.set_ylim(0, 4.2 * max(now_rate, needed))
    _end_labels(axes, hours.iloc[-1], [*ends, (needed, f"demand: {needed:.1f}", GREY)])
    axes.plot([now_hours], [now_rate], "o", color=INK, markersize=9, zorder=5)
    paper = _PAPER | {"alpha": 0.8}
    beside(axes, f"now: {now_rate:g} loads", (now_hours, now_rate), (-6, -16), color=INK, weight="bold", bbox=paper)
    if coldest is not None:
        month, cold_hours, cold_rate = coldest
        axes.plot([cold_hours], [cold_rate], "D", color=SKY, markeredgecolor=INK, markersize=8, zorder=5)
        beside(axes, f"{month}: {cold_rate:g}", (cold_hours, cold_rate), (-2, 9), ha="right", color=INK, bbox=paper)
    axes.set(xlim=(0, hours.iloc[-1]), xlabel=xlabel, ylabel="loads a week")
    return figure


def resource_bars(frame: pd.DataFrame, fmt: Format) -> Figure:
    """Share of each resource that full demand would need, with the line where it is full."""
    frame = frame[frame.resource != "demand"].sort_values("needed at full demand", ascending=False)
    full = frame["needed at full demand"].to_numpy(float) > 1.0
    value, below = "needed at full demand", "share of the resource that expected demand needs"
    figure = bars(frame, "resource", value, below, fmt.percent, colours=np.where(full, ORANGE, BLUE))
    axes = figure.axes[0]
    axes.axvline(1.0, color=INK, linewidth=1.5)
    beside(axes, "full", (1.0, len(frame) - 0.5), (4, -2), color=INK, va="bottom", annotation_clip=False)
    axes.set_xlim(0, max(axes.get_xlim()[1], 1.2))
    return figure


def money_staircase(frame: pd.DataFrame, fmt: Format, *, per: str = "a year", digits: int = 0) -> Figure:
    """From the first sum to the last, such as from sales down to what is left; each step between hangs from the one before."""
    figure, axes, places = _rows(frame.step, 1.0 + 0.36 * len(frame))
    values = frame[f"money {per}"].to_numpy(float)
    starts = np.concatenate([[0.0], np.cumsum(values[:-1])])
    starts[-1] = 0.0
    colours = [BLUE, *[ORANGE] * (len(frame) - 2), GREEN]
    axes.barh(places, values, left=starts, color=colours, height=0.66)
    for place, value, start in zip(places, values, starts, strict=True):
        beside(axes, fmt.money(value, digits), (max(start, start + value), place), va="center", fontsize=9)
    axes.set_xlim(min(0, *(starts + values)) * 1.1, max(*(starts + values), 1e-9) * 1.16)
    axes.axvline(0, color=GREY, linewidth=1)
    axes.set_xlabel(f"{fmt.currency} {per}")
    ticks(axes.xaxis, lambda v: fmt.money(v, digits))
    axes.xaxis.set_major_locator(MaxNLocator(4))
    return figure


def swing_bars(frame: pd.DataFrame, middle: float, fmt: Format, most: int = 10) -> Figure:
    """Pay an hour with each number low and high alone, largest swing on top."""
    frame = frame.head(most)
    figure, axes, places = _rows(frame.label, 1.0 + 0.42 * len(frame))
    axes.hlines(places, frame.pay_low, frame.pay_high, color="#BBBBBB", linewidth=5)
    axes.plot(frame.pay_low, places, "o", color=ORANGE, label="number low")
    axes.plot(frame.pay_high, places, "D", color=BLUE, label="number high")
    axes.axvline(middle, color=GREY, linewidth=1.2)
    axes.set_xlabel("pay an hour (grey line: nothing moved)")
    ticks(axes.xaxis, fmt.money)
    axes.xaxis.set_major_locator(MaxNLocator(3))  # long names leave little room
    axes.legend(loc="lower center", bbox_to_anchor=(0.4, 1.0), frameon=False, ncols=2)
    return figure


def heat_map(
    frame: pd.DataFrame,
    fmt: Format,
    *,
    xlabel: str,
    target: float,
    chance: bool = False,
    ylabel: str = "scrap rate",
    write_rows=None,
) -> Figure:
    """Pay an hour, or chance, over scrap rate and cure time, every cell written; bold where the target is met."""
    figure, axes = new_axes(1.5 + 0.42 * len(frame))
    values = frame.to_numpy(float)
    write = fmt.percent if chance else fmt.money
    sns.heatmap(frame, ax=axes, cmap="cividis", cbar=False, linewidths=0.5)
    low, high = np.nanmin(values), np.nanmax(values)
    for (row, column), value in np.ndenumerate(values):
        if np.isnan(value):  # not worked out yet
            continue
        light = (value - low) / (high - low or 1.0) > 0.55
        weight = "bold" if value >= target else "normal"
        look = {"fontsize": 8.5, "color": "black" if light else "white", "weight": weight}
        axes.text(column + 0.5, row + 0.5, write(value), ha="center", va="center", **look)
    axes.set_yticklabels([(write_rows or fmt.percent)(row) for row in frame.index], rotation=0)
    axes.set_xticklabels([fmt.number(hours, 0 if float(hours).is_integer() else 1) for hours in frame.columns], rotation=0)
    axes.set(ylabel=ylabel, xlabel=xlabel)
    return figure
