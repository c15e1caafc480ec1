"""Charts of the records page."""

import numpy as np
import pandas as pd
from matplotlib.dates import DateFormatter
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ..charts import beside, key, new_axes, says, ticks, wrapped
from ..formatting import Format
from ..palette import BLUE, GREY, INK, ORANGE, SKY


def guess_and_logs(curves: list[dict], fmt: Format) -> Figure:
    """Guess, logs alone and number in force, one small chart a number: all within one set of axes, as each set takes long to draw."""
    rows = -(-len(curves) // 2)
    titles = [told["label"] + ("" if told["unit"] in ("share", "count") else f" [{told['unit']}]") for told in curves]
    titles = [wrapped(title, 24) for title in titles]
    tall = 0.68 - 0.115 * (1 + max(title.count("\n") for title in titles))  # of a row, between its title and the figures below
    figure, axes = new_axes(0.5 + 1.45 * rows)
    axes.axis("off")
    axes.set(xlim=(-0.06, 2.36), ylim=(0.78 - rows, 0.78))
    for place, (told, title) in enumerate(zip(curves, titles, strict=True)):
        guess, force, (row, column) = told["guess"], told["in force"], divmod(place, 2)
        left, base = 1.26 * column, -row
        # the guess's far tails would squeeze what matters
        low, high = min(guess[0][20], force[0][5], told["logs alone"]), max(guess[0][-21], force[0][-6], told["logs alone"])
        low, high = low - 0.03 * (high - low), high + 0.03 * (high - low)
        width = (high - low) or 1.0
        shown = []
        for values, density in (guess, force):
            within = values[(values > low) & (values < high)]
            x = np.concatenate([[max(low, values[0])], within, [min(high, values[-1])]])
            shown.append((left + (x - low) / width, base + tall * np.interp(x, values, density) / density.max()))
        names = [None] * 3 if place else ["guess", "both together", "logs alone"]
        axes.plot(*shown[0], color=GREY, linestyle="--", linewidth=1.2, label=names[0])
        axes.fill_between(*shown[1], base, color=BLUE, alpha=0.45, linewidth=0, label=names[1])
        axes.hlines(base, left, left + 1.0, color=GREY, linewidth=1.25)
        axes.plot([left + (told["logs alone"] - low) / width], [base], "D", color=ORANGE, markersize=6, label=names[2], zorder=5)
        beside(axes, title, (left, base + tall), (0, 12), va="bottom", in_layout=False)
        write = fmt.percent if told["unit"] == "share" else fmt.exactly
        for value in MaxNLocator(3).tick_values(low, high):
            if low <= value <= high:
                at = left + (value - low) / width, base
                beside(axes, write(value), at, (0, -9.5), ha="center", va="top", in_layout=False)
    key(figure, columns=3)

    def written(told, name):
        unit = "" if told["unit"] == "count" else told["unit"]
        return fmt.percent(told[name], 1) if unit == "share" else f"{fmt.significant(told[name])} {unit}".rstrip()

    return says(figure, *(f"{told['label']} {written(told, 'stated')}, used {written(told, 'used')}" for told in curves))


def load_control(frame: pd.DataFrame, fmt: Format) -> Figure:
    """Share not good by load, with centre and limits; ruined loads are crosses."""
    figure, axes = new_axes(3.2)
    kept = frame[~frame.ruined]
    axes.fill_between(kept.date, kept.lower, kept.upper, color=SKY, alpha=0.25, linewidth=0, step="mid", label="usual")
    axes.plot(kept.date, kept.centre, color=BLUE, linewidth=1.4, label="centre")
    axes.plot(kept.date, kept.share, "o", color=INK, markersize=3.5, label="a load")
    outside = kept[(kept.share > kept.upper) | (kept.share < kept.lower)]
    if len(outside):
        axes.plot(outside.date, outside.share, "D", color=ORANGE, markersize=7, label="beyond the limits")
    runs = frame.loc[frame.attrs.get("signals", [])]
    if len(runs):
        axes.plot(runs.date, runs.share, "o", color=ORANGE, markersize=12, fillstyle="none", label="seldom by chance")
    if frame.ruined.any():
        axes.plot(frame.date[frame.ruined], frame.share[frame.ruined], "x", color=ORANGE, markersize=8, label="ruined load")
    axes.set(ylabel="share of the load not good", ylim=(0, max(frame.share.max(), kept.upper.max()) * 1.12))
    axes.xaxis.set_major_locator(MaxNLocator(3))
    axes.xaxis.set_major_formatter(DateFormatter("%Y-%m-%d"))
    signs = f"{len(outside)} beyond the limits, {len(runs)} seldom by chance"
    says(figure, f"{len(kept)} loads about {fmt.percent(kept.centre.mean())}", signs)
    return _shares(figure, axes, fmt)


def mould_curve(frame: pd.DataFrame, ages: np.ndarray, model: np.ndarray, fmt: Format) -> Figure:
    """Share of moulds still good by casts, from the records and as the study now takes it."""
    figure, axes = new_axes(3.0)
    times, survival = ([start, *column] for start, column in ((0.0, frame.time), (1.0, frame.survival)))
    axes.step(times, survival, where="post", color=BLUE, linewidth=2, label="seen")
    live = frame[frame.still_good > 0]
    axes.plot(live.time, live.survival, "|", color=BLUE, markersize=12, label="still good at")
    axes.plot(ages, model, color=ORANGE, linestyle="--", label="as the study takes it")
    axes.set(xlabel="casts a cavity", ylabel="moulds still good", xlim=(0, ages[-1]), ylim=(0, 1.03))
    says(figure, f"half of the moulds are good for {fmt.number(np.interp(0.5, model[::-1], ages[::-1]))} casts a cavity")
    return _shares(figure, axes, fmt)


def _shares(figure, axes, fmt):
    """Shares from below to above, with a legend over them."""
    ticks(axes.yaxis, fmt.percent)
    signs = len(figure.axes[0].get_legend_handles_labels()[0])
    key(figure, columns=2 if signs > 4 else 3)  # long names beside each other would stand beyond the edge
    return figure


def monthly_bars(frame: pd.DataFrame) -> Figure:
    """Orders by month, one row of bars a channel, all on one scale."""
    channels, places = [c for c in frame.columns if c != "month"], np.arange(len(frame))
    figure, axes = new_axes(0.7 + 1.0 * len(channels), rows=len(channels), sharex=True, squeeze=False)
    for row, channel in zip(axes[:, 0], channels, strict=True):
        row.bar(places, frame[channel], color=BLUE, width=0.6)
        told = places if len(frame) <= 12 else [frame[channel].to_numpy().argmax()]  # more would run together
        for place in told:
            look = {"ha": "center", "va": "bottom", "in_layout": False}
            row.annotate(f"{frame[channel].iloc[place]:g}", (place, frame[channel].iloc[place]), **look)
        row.set_ylim(0, max(frame[channels].max(axis=None), 1) * 1.4)
        row.set_title(channel, loc="left")
        row.set_yticks([])
        row.grid(visible=False)
    step = -(-len(frame) // 4)
    axes[-1, 0].set_xticks(places[::step], frame.month[::step])
    axes[-1, 0].set_xlabel("orders a month")
    return says(figure, *(f"{name}: {frame[name].min():g} to {frame[name].max():g} orders a month" for name in channels))
