"""One function a chart. Each takes frames from `tables` or draws, and returns a matplotlib Figure."""

import textwrap
from functools import cache

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from .formatting import Format
from .palette import BLUE, GREEN, GREY, INK, ORANGE, SERIES, SKY, SMALL, WIDTH, WORDS

DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))
_NOW = {"color": GREY, "linestyle": ":", "linewidth": 1.2}  # where the study stands, in every chart


def theme():
    """The look of every chart; names inside an SVG are the same each time."""
    sizes = "font.size axes.labelsize axes.titlesize xtick.labelsize ytick.labelsize legend.fontsize".split()
    look = dict.fromkeys(sizes, SMALL) | {"axes.edgecolor": GREY, "axes.linewidth": 1.25}
    look |= {"grid.color": "#E3E3E3", "grid.linewidth": 1.0, "legend.frameon": True}
    look |= {"patch.linewidth": 0.0, "patch.edgecolor": "w", "patch.force_edgecolor": True}
    # words stand as far from the axes as marks would take
    look |= {"xtick.bottom": False, "ytick.left": False, "xtick.major.size": 6.0, "ytick.major.size": 6.0}
    look |= dict.fromkeys(("axes.spines.left", "axes.spines.right", "axes.spines.top"), False)
    # a sign of money is no mark of mathematics; titles stand over nothing that they would have to be moved from
    fixed = {"svg.hashsalt": "casting_econ", "text.parse_math": False, "axes.titley": 1.0}
    # the font comes with the library, so is found at once
    plt.style.use(["seaborn-v0_8-whitegrid", look | fixed | {"font.family": ["DejaVu Sans"]}])


def new_axes(height: float = 3.4, *, rows: int = 1, columns: int = 1, **shape):
    """A figure in the look of every chart, with one set of axes or several; `shape` as of matplotlib's subplots. [inch]"""
    theme()
    return plt.subplots(rows, columns, figsize=(WIDTH, height), layout="constrained", **shape)


def laid_out(figure: Figure):
    """Lay a chart out once, for every file made of it, at the resolution of pictures; the box around all that is drawn. [inch]"""
    figure.set_dpi(190)
    if engine := figure.get_layout_engine():
        engine.execute(figure)
    figure.set_layout_engine(None)
    return figure.bbox_inches.padded(0.06)  # within which the layout keeps everything


def beside(axes, text: str, place, offset=(4, 0), **look):
    """Words beside a place of a chart, so many points away."""
    axes.annotate(text, place, xytext=offset, textcoords="offset points", **look)


def over(axes, text: str, x, **look):
    """Words over the upper edge of a chart at a place along it, where no line is."""
    look = {"ha": "center", "va": "bottom", "color": INK, "annotation_clip": False, "xytext": (0, 3)} | look
    axes.annotate(text, (x, 1.0), textcoords="offset points", xycoords=axes.get_xaxis_transform(), **look)


def key(figure: Figure, handles=None, columns: int = 2):
    """What colours and marks mean, above the axes, where it covers nothing."""
    handles = handles or [h for axes in figure.axes for h in axes.get_legend_handles_labels()[0]]
    figure.legend(handles=handles, loc="outside upper center", ncols=columns, frameon=False, columnspacing=1.2)


def says(figure: Figure, *parts: str) -> Figure:
    """A chart with its message in words, for those who do not see it: the label of the figure, behind what a page says it shows."""
    figure.set_label("; ".join(part for part in parts if part))
    return figure


def wrapped(name, width: int = 20) -> str:
    """A name in lines of so many letters."""
    return "\n".join(textwrap.wrap(str(name), width))


def ticks(axis, write, most: int | None = None):
    """Let a function write the figures along an axis, and put at most so many spaces between them."""
    write = cache(write)  # the same few figures are asked for again and again while a chart is laid out
    axis.set_major_formatter(FuncFormatter(lambda value, _: write(value)))
    if most is not None:
        axis.set_major_locator(MaxNLocator(most))


def _rows(names, height: float):
    """A figure with a row for each name, and the rows' places from the top."""
    names = [wrapped(name) for name in names]
    figure, axes = new_axes(height + 0.1 * sum(name.count("\n") for name in names))
    places = np.arange(len(names))[::-1]
    axes.set_yticks(places, names)
    axes.grid(axis="y", visible=False)
    return figure, axes, places


def _figures(axes, places, words):
    """A column of figures right of the rows, where they cover no bar and no line."""
    longest = max(map(len, words), default=0)
    for place, text in zip(places, words, strict=True):
        look = {"xycoords": axes.get_yaxis_transform(), "ha": "right", "va": "center", "annotation_clip": False}
        look["in_layout"] = len(text) == longest  # all end at one place
        axes.annotate(text, (1.0, place), xytext=(5.2 * longest + 6, 0), textcoords="offset points", **look)


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
    line, top = 0.075 * (high - low), -np.inf  # height of a line of words, end of the last label
    for value, text, colour in sorted(ends, key=lambda end: end[0]):
        text = wrapped(text, 11)
        half = 0.5 * line * (text.count("\n") + 1)
        place = max(min(value, high), top + half)
        top = place + half
        beside(axes, text, (x, place), (6, 0), color=WORDS[colour], va="center", annotation_clip=False)


def pay_histogram(pay, target: float, fmt: Format, *, unit: str = "an hour") -> Figure:
    """Histogram of draws with the middle eight in ten shaded and the target marked."""
    figure, axes = new_axes(3.3)
    pay = np.asarray(pay)[~np.isnan(pay)]  # a year without an hour of work has none
    if not pay.size:
        axes.set(xticks=[], yticks=[], xlabel="no hour is worked in any draw")
        return says(figure, "no hour is worked in any draw")
    low, middle, high = np.quantile(pay, [0.1, 0.5, 0.9])
    edges = np.linspace(*np.quantile(pay, [0.001, 0.999]), 37)
    if np.ptp(edges) <= 1e-9 * max(1.0, abs(middle)):  # all draws alike: one bar that can be seen
        low, high = (middle + side * 0.02 * max(abs(target - middle), abs(middle), 1.0) for side in (-1.0, 1.0))
        edges = np.array([low, high])
    shown = np.clip(pay, edges[0], edges[-1])
    heights, _ = np.histogram(shown, edges)
    inside = (edges[:-1] >= low) & (edges[1:] <= high)
    axes.bar(edges[:-1], heights / heights.sum(), np.diff(edges), align="edge", linewidth=0, color=np.where(inside, BLUE, SKY))
    if edges.size > 2:
        axes.stairs(heights / heights.sum(), edges, color=BLUE, linewidth=0.8)
    top = heights.max() / heights.sum()
    digits = 2 if max(abs(middle), abs(target)) < 1000 else 0
    axes.axvline(target, color=ORANGE, linestyle="--", linewidth=2)
    side = {"ha": "right" if target >= middle else "left", "weight": "bold"}
    over(axes, f"target {fmt.money(target, digits)}", target, color=WORDS[ORANGE], **side)
    words = f"{'half above' if edges.size > 2 else 'certain:'} {fmt.money(middle, digits)}"
    over(axes, words, middle, xytext=(0, 15), color=BLUE, weight="bold")
    axes.plot([middle], [top * 1.05], "v", color=BLUE, zorder=5)
    span = max(edges[-1], target) - min(edges[0], target)
    room = 0.3 * span  # for the words
    axes.set_xlim(min(edges[0], target - 0.05 * span, middle - room), max(edges[-1], target + 0.05 * span, middle + room))
    below = f"left for the maker, {unit}"
    if edges.size > 2:
        ends = f"{fmt.money(edges[1], digits)} or above {fmt.money(edges[-2], digits)}"
        below += f" (dark: middle eight in ten; the end bars hold all below {ends})"
    axes.set(ylim=(0, top * 1.08), xlabel=wrapped(below, 46), ylabel="share of draws")
    axes.xaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
    whole = np.allclose(axes.get_xticks() % 1, 0)
    ticks(axes.xaxis, lambda v: fmt.money(v, 0 if whole else 2))
    ticks(axes.yaxis, fmt.percent)
    band = f"eight in ten draws between {fmt.money(low, digits)} and {fmt.money(high, digits)}" if edges.size > 2 else ""
    return says(figure, words, band, f"target {fmt.money(target, digits)}")


def bars(frame: pd.DataFrame, name: str, value: str, xlabel: str, write, *, colours=None) -> Figure:
    """Horizontal bars in order of size with their value at the right; rows without one are left out."""
    colours = pd.Series(BLUE if colours is None else colours, frame.index)
    frame = frame[np.isfinite(frame[value].to_numpy(float))].sort_values(value, ascending=False, kind="stable")
    figure, axes, places = _rows(frame[name], 0.9 + 0.3 * len(frame))
    values = frame[value].to_numpy(float)
    axes.barh(places, values, color=colours[frame.index], height=0.68)
    _figures(axes, places, [write(number) for number in values])
    axes.set_xlim(min(values.min(initial=0.0), 0.0) * 1.05, max(values.max(initial=0.0), 1e-12) * 1.05)
    axes.set_xlabel(wrapped(xlabel, 40))
    ticks(axes.xaxis, write, 3)
    return says(figure, *(f"{row[name]} {write(row[value])}" for _, row in frame.head(4).iterrows()), _more(frame, 4))


def _more(frame, said):
    return f"and {len(frame) - said} smaller" if len(frame) > said else ""


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
        axes.axvline(at, **_NOW)
        over(axes, "now", at, color=GREY)
    axes.set(ylim=(low, high), xlabel=wrapped(xlabel, 40), ylabel=ylabel)
    ticks(axes.xaxis, write_x, 5)
    ticks(axes.yaxis, write_y)
    (first, last), spans = frame[x].iloc[[0, -1]], []
    for name in ys:
        begin, end = frame[name].iloc[[0, -1]]
        spans.append(f"{name} {write_y(begin)} at {write_x(first)} and {write_y(end)} at {write_x(last)}")
    return says(figure, *spans, level_label and f"{level_label} {write_y(level)}", "" if at is None else f"now at {write_x(at)}")


def cash_paths(paths: dict[str, pd.DataFrame], fmt: Format) -> Figure:
    """Free money by month for each rule of pay: half of the draws below the line, eight in ten within the band."""
    figure, axes = new_axes(3.8)
    for frame, colour in zip(paths.values(), SERIES, strict=False):
        axes.fill_between(frame.month, frame["1 in 10 below"], frame["1 in 10 above"], color=colour, alpha=0.18, linewidth=0)
    ends = _series(axes, frame.month, pd.DataFrame({name: path["half below"] for name, path in paths.items()}))
    axes.axhline(0.0, color=INK, linewidth=1.2)
    _end_labels(axes, frame.month.iloc[-1], ends)
    axes.set(xlabel="months from the start", ylabel="free money")
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=5))
    ticks(axes.yaxis, lambda value: fmt.money(value, 0))
    ended = (f"{name}: half of the draws end above {fmt.money(path['half below'].iloc[-1], 0)}" for name, path in paths.items())
    return says(figure, *ended)


def frontier(
    frame: pd.DataFrame, x: str, y: str, xlabel: str, ylabel: str, write_x, write_y, *, does: str = "pays the target"
) -> Figure:
    """Line on which an hour just earns the target, or a year `does` something else, with the side above that does shaded and a dot where the
    study is (`frame.attrs["now"]`)."""
    figure, axes = new_axes(3.4)
    known, now = frame[np.isfinite(frame[y])], frame.attrs.get("now")
    axes.plot(known[x], known[y], color=BLUE, linewidth=2)
    if now:
        axes.plot(*([part] for part in now), "o", color=INK, markersize=8, zorder=5, linestyle="", label="now", clip_on=False)
    low, high = axes.get_ylim()
    axes.fill_between(known[x], known[y], high, color=SKY, alpha=0.3, linewidth=0, label=does)
    key(figure)
    axes.set(ylim=(low, high), xlabel=xlabel, ylabel=ylabel)
    ticks(axes.xaxis, write_x, 5)
    ticks(axes.yaxis, write_y)
    if not now or known.empty:
        return figure
    here = f"now at {write_x(now[0])} and {write_y(now[1])}"
    if not known[x].min() <= now[0] <= known[x].max():
        return says(figure, f"{here}, where nothing within the chart {does}")
    edge = np.interp(now[0], known[x], known[y])
    meets = "which does" if now[1] >= edge else "which does not"
    return says(figure, f"at {write_x(now[0])} anything above {write_y(edge)} {does}; {here}, {meets}")


def stairs(
    frame: pd.DataFrame, *, now_hours: float, needed: float, xlabel: str, coldest: tuple[str, float, float] | None = None
) -> Figure:
    """Loads a week over cure hours for several numbers of stations, with a dot where the study is and one for its coldest month."""
    figure, axes = new_axes(3.8)
    hours, rates = frame["cure hours"], frame.drop(columns="cure hours")
    two, three = rates.columns[-2:]
    if np.allclose(rates[two], rates[three]):  # one line, which has both names
        rates = rates.drop(columns=three).rename(columns={two: f"{two.split()[0]} or {three}"})
    now_rate = float(rates.iloc[(hours - now_hours).abs().argmin(), 0])
    ends = _series(axes, hours, rates, drawstyle="steps-post")
    axes.axhline(needed, color=GREY, linewidth=1.2)
    at_half = rates[hours >= 0.5 * now_hours].max(axis=None)  # shorter waits would squeeze what matters
    axes.set_ylim(0, 1.1 * max(at_half, needed))
    _end_labels(axes, hours.iloc[-1], [*ends, (needed, f"demand: {needed:.1f}", GREY)])
    axes.plot([now_hours], [now_rate], "o", color=INK, markersize=9, zorder=5, label=f"now: {now_rate:g} loads")
    if coldest is not None:
        month, *place = coldest
        look = {"color": SKY, "markeredgecolor": INK, "markersize": 8, "zorder": 5, "label": f"{month}: {place[1]:g}"}
        axes.plot(*([part] for part in place), "D", **look)
    key(figure)
    axes.set(xlim=(0, hours.iloc[-1]), xlabel=xlabel, ylabel="loads a week")
    here = f"now {now_rate:g} loads a week at {now_hours:g} hour{'' if now_hours == 1 else 's'}"
    return says(figure, here, f"demand needs {needed:.1f}")


def resource_bars(frame: pd.DataFrame, fmt: Format) -> Figure:
    """Share of each resource that full demand would need, with the line where it is full."""
    frame = frame[frame.resource != "demand"].sort_values("needed at full demand", ascending=False)
    full = frame["needed at full demand"].to_numpy(float) > 1.0
    value, below = "needed at full demand", "share of the resource that expected demand needs"
    figure = bars(frame, "resource", value, below, fmt.percent, colours=np.where(full, ORANGE, BLUE))
    axes = figure.axes[0]
    axes.axvline(1.0, color=INK, linewidth=1.5)
    over(axes, "full", 1.0)
    axes.set_xlim(0, max(axes.get_xlim()[1], 1.05))
    return figure


def money_staircase(frame: pd.DataFrame, fmt: Format, *, per: str = "a year", digits: int = 0) -> Figure:
    """From the first sum to the last, such as from sales down to what is left; each step between hangs from the one before."""
    figure, axes, places = _rows(frame.step, 1.0 + 0.36 * len(frame))
    values = frame[f"money {per}"].to_numpy(float)
    starts = np.concatenate([[0.0], np.cumsum(values[:-1])])
    starts[-1] = 0.0
    colours = [BLUE, *np.where(values[1:-1] < 0, ORANGE, SKY), ORANGE if values[-1] < 0 else GREEN]
    axes.barh(places, values, left=starts, color=colours, height=0.66)
    _figures(axes, places, [fmt.money(value, digits) for value in values])
    axes.set_xlim(min(0, *(starts + values)) * 1.1, max(*(starts + values), 1e-9) * 1.05)
    axes.axvline(0, color=GREY, linewidth=1)
    axes.set_xlabel(f"{fmt.currency} {per}")
    ticks(axes.xaxis, lambda v: fmt.money(v, digits), 3)
    return says(figure, *(f"{step} {fmt.money(value, digits)}" for step, value in zip(frame.step, values, strict=True)))


def swing_bars(frame: pd.DataFrame, middle: float, fmt: Format) -> Figure:
    """Pay an hour with each number low and high alone, largest swing on top."""
    frame = frame.head(10)
    figure, axes, places = _rows(frame.label, 1.0 + 0.42 * len(frame))
    axes.hlines(places, frame.pay_low, frame.pay_high, color="#BBBBBB", linewidth=5)
    axes.plot(frame.pay_low, places, "o", color=ORANGE, label="number low")
    axes.plot(frame.pay_high, places, "D", color=BLUE, label="number high")
    axes.axvline(middle, **_NOW)
    over(axes, "now", middle, color=GREY)
    axes.set_xlabel("pay an hour")
    ticks(axes.xaxis, fmt.money, 3)  # long names leave little room
    key(figure)
    rows = (f"{row.label} from {fmt.money(row.pay_low)} to {fmt.money(row.pay_high)}" for row in frame.head(3).itertuples())
    return says(figure, *rows, _more(frame, 3))


def heat_map(frame: pd.DataFrame, fmt: Format, *, xlabel: str, target: float, ylabel="scrap rate", write_rows=None) -> Figure:
    """Pay an hour over scrap rate and cure time: every cell written, bold where the target is met, and a mark at each edge
    where the study is (`frame.attrs["now"]`). Where only one of the two moves anything, a line."""
    import seaborn  # here, so that only who draws a map waits for it

    values, write_rows, now, what = frame.to_numpy(float), write_rows or fmt.percent, frame.attrs.get("now"), "pay an hour"

    def write_column(hours):
        return fmt.number(hours, 0 if float(hours).is_integer() else 1)

    flat = [bool((np.ptp(values, axis=way) < 0.005).all()) for way in (1, 0)]
    if any(flat) and min(frame.shape) > 1:
        way, label, write_x = (0, ylabel, write_rows) if flat[0] else (1, xlabel, write_column)
        line = pd.DataFrame({"x": (frame.index, frame.columns)[way], what: values[:, 0] if flat[0] else values[0]})
        look = {"level": target, "level_label": "target", "at": now and now[way]}
        return lines(line, "x", [what], label, what, write_x, fmt.money, **look)
    figure, axes = new_axes(1.5 + 0.36 * len(frame))
    seaborn.heatmap(frame, ax=axes, cmap="cividis", cbar=False, linewidths=0.5)
    paint = axes.collections[0]
    digits = 2 if np.nanmax(np.abs(values), initial=0.0) < 100 else 0
    for (row, column), value in np.ndenumerate(values):
        if np.isnan(value):  # not worked out yet
            continue
        look = {"color": readable_on(paint.to_rgba(value)), "weight": "bold" if value >= target else "normal"}
        axes.text(column + 0.5, row + 0.5, fmt.number(value, digits), ha="center", va="center", in_layout=False, **look)
    axes.set_yticklabels([write_rows(row) for row in frame.index], rotation=0)
    axes.set_xticklabels([write_column(hours) for hours in frame.columns], rotation=0)
    axes.set(ylabel=ylabel, xlabel=wrapped(xlabel, 40))
    axes.set_title(f"{what}, {fmt.currency} (bold: the target is met)", loc="left", pad=22)
    if now:
        ends = {"left": np.nan, "right": np.nan}  # beyond its ends a map has no place for it
        row, column = (np.interp(at, by, np.arange(len(by)) + 0.5, **ends) for at, by in zip(now, frame.axes, strict=True))
        axes.plot([column], [0], "v", [len(frame.columns)], [row], "<", color=INK, markersize=7, clip_on=False, zorder=5)
        if np.isfinite(column):
            over(axes, "now", column, xytext=(0, 5))
    met, known = int((values >= target).sum()), values[~np.isnan(values)]
    reach = f"{what} from {fmt.money(known.min())} to {fmt.money(known.max())}" if known.size else ""
    return says(figure, reach, f"{met} of {values.size} cells meet the target")


def readable_on(colour) -> str:
    """Black or white, whichever reads better on a colour: at least 4.5 to 1 (contrast of WCAG 2.2, where both are equal at 0.179)."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour[:3]]
    return "black" if np.dot(linear, (0.2126, 0.7152, 0.0722)) > 0.179 else "white"
