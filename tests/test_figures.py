"""Every chart in its place on a phone: letters that can be read, nothing covered, nothing cut, and what each must show."""

from functools import cache

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from commands import DATA
from matplotlib.cbook import STEP_LOOKUP_MAP
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from casting_econ import charts
from casting_econ.kit import format_of, main_wait, open_study
from casting_econ.orders import figures, open_order, tables
from casting_econ.pages import (
    cash,
    cash_paths,
    channels,
    conditions,
    cost,
    curing,
    record_charts,
    records,
    records_work,
    scrap,
    sensitivity,
    towards,
)

PHONE = 358  # CSS pixels a figure has: a phone of 390 less a margin of 16 at each side
LEAST = 11  # CSS pixels that a letter must measure (its size in points, as type is measured)


@pytest.fixture(autouse=True, scope="module")
def none_left_open():
    """No figure of other tests stands beside these, which the kit would warn of."""
    plt.close("all")
    with plt.rc_context({"figure.max_open_warning": 0}):  # all of them are drawn once, for every test
        yield
    plt.close("all")


@cache
def kit():
    return open_study(DATA / "kelpmoor-handles")


@cache
def drawn():
    """Every figure of the report of one demo, by name."""
    fmt, now = format_of(kit()), kit().point()
    year, waiting = kit().monte_carlo(512, 20), curing.load_wait(kit())
    step, hours = main_wait(kit(), "knob")
    pay = sensitivity.grid_table(kit(), [0.0, 0.1, 0.2, 0.4], curing.waits_around(hours), product="knob")
    curve = scrap.scrap_curve(kit(), "knob", np.linspace(0.0, 0.5, 11))
    lost, each = cost.scrap_money(kit(), "knob"), channels.channel_table(kit())
    seen, life, shape = records_work.mould_survival(kit(), "knob")
    ages, cold = np.linspace(0.0, 2.0 * life, 50), ("January", 20.8, 5.0)
    answer = cash_paths.cash_draws(kit(), 512, 20)
    paths = {name: cash.path_table(answer, name) for name in answer.cases}
    told = {"level": float(now.products["knob"]["mean_price_per_piece"]), "level_label": "price now", "at": 0.187}
    prices = "break-even price", "cash break-even price"
    both = {"xlabel": f"hours waiting at {step}", "target": year.target}
    made = {
        "hour": charts.pay_histogram(year.draws["pay_per_hour"], year.target, fmt),
        "hour at the target": charts.pay_histogram(year.draws["pay_per_hour"], year.draws["pay_per_hour"].mean(), fmt),
        "year": charts.pay_histogram(year.draws["residual_pay_per_year"], year.living, fmt, unit="a year"),
        "cost": cost.cost_bars(cost.cost_table(kit(), "knob"), fmt),
        "lost": charts.bars(lost, "cause", "money a year", "lost a year, labour at the target", lambda v: fmt.money(v, 0)),
        "channels": charts.bars(
            each, "channel", "left an hour", "left for an hour before shared costs and weekly hours", fmt.money
        ),
        "resources": charts.resource_bars(curing.resource_table(kit(), year), fmt),
        "price by scrap": charts.lines(
            curve, "scrap rate", [*prices], "scrapped", "price a knob", fmt.percent, fmt.money, **told
        ),
        "stairs": charts.stairs(
            curing.stair_table(kit(), waiting),
            now_hours=waiting.wait_hours,
            needed=curing.loads_needed(kit(), waiting),
            xlabel=f"hours of waiting at {waiting.step}",
            coldest=cold,
        ),
        "money": charts.money_staircase(channels.money_steps(kit()), fmt),
        "swings": charts.swing_bars(sensitivity.swing_table(kit()), 19.0, fmt),
        "heat": charts.heat_map(pay, fmt, **both),
        "cash": charts.cash_paths(paths, fmt),
        "logs": record_charts.guess_and_logs(records.evidence_curves(kit())[:8], fmt),
        "loads": record_charts.load_control(records_work.load_chart(kit(), "knob"), fmt),
        "loads of every sign": record_charts.load_control(
            records_work.load_chart(open_study(DATA / "gannet-lane-figures"), "figure"), fmt
        ),
        "moulds": record_charts.mould_curve(seen, ages, records_work.still_good(ages, life, shape), fmt),
        "months": record_charts.monthly_bars(records.monthly_orders(kit())),
    }
    plt.close("all")  # they stay drawable; only their windows end
    for x in ("buyers", "bench"):
        frame = conditions.frontier(kit(), x, "price", points=21, product="knob")
        made[f"{x} and price"] = charts.frontier(frame, x, "price", x, "price", fmt.percent, fmt.percent)
    for study in (kit(), open_study(DATA / "samphire-hooks")):  # today on the frontier's chart, and far from it
        line, (does, _) = towards.towards_frontier(study, towards.towards(study)), towards.chart_words(study)
        words = "orders", "price", "orders a year", "price, as a share of now", fmt.number, fmt.percent
        made[f"{does}, {study.study.currency}"] = charts.frontier(line, *words, does=does)
    plt.close("all")
    return made


@cache
def of_an_order():
    """Every figure of the plan of an order, by name."""
    fmt, plan = format_of(kit(), year=False), open_order(kit(), "dressers")
    once = plan.policies["all at once"]
    curve, rules = tables.curve_table(once), tables.rule_table(once)
    casts = figures.chance_chart(curve, rules, plan.order.confidence, fmt)
    made = {"casts": casts, "calendar": figures.calendar_chart(plan, fmt), "date": figures.date_chart(plan, fmt)}
    plt.close("all")
    return made


def words_of(figure):
    """Words of a figure that are drawn, with their boxes in pixels; labels of ticks beyond the axes are not."""
    unseen = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            slack = 1e-6 * (high - low)
            for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
                if not low - slack <= tick.get_loc() <= high + slack:
                    unseen |= {tick.label1, tick.label2}
    shown = (text for text in figure.findobj(Text) if text.get_visible() and text.get_text().strip() and text not in unseen)
    return [(text, text.get_window_extent()) for text in shown if text.axes is None or text.axes.get_visible()]


def covered(axes, box):
    """Lines and bars of some axes that a box of words touches, where they are drawn at all."""
    room, found = axes.get_window_extent(), []
    for line in axes.lines:
        x, y = (np.asarray(part, float) for part in line.get_data())
        x, y = STEP_LOOKUP_MAP[line.get_drawstyle()](x, y)
        points = line.get_transform().transform(np.column_stack([x, y]))
        seen = Bbox.intersection(box, room) if line.get_clip_on() else box
        if seen is None or seen.width <= 0 or seen.height <= 0:
            continue
        stroke = line.get_linestyle() != "None" and len(points) > 1 and Path(points).intersects_bbox(seen, filled=False)
        marked = line.get_marker() not in (None, "None", "") and any(seen.contains(*point) for point in points)
        found += [line] if stroke or marked else []
    bars = [bar for bar in axes.patches if bar.get_alpha() is None and bar.get_facecolor()[:3] != mpl.colors.to_rgb("#EDEDED")]
    return found + [bar for bar in bars if Bbox.intersection(bar.get_window_extent().padded(-1), box.padded(-1)) is not None]


@pytest.mark.parametrize("drawn_by", [drawn, of_an_order])
def test_on_a_phone(drawn_by):
    """At a phone's width every letter measures eleven CSS pixels, no words touch each other, a line or a bar, and none are cut."""
    faults = []
    for name, figure in drawn_by().items():
        box = charts.laid_out(figure)
        figure.draw_without_rendering()  # as every file made of it is drawn, which puts words in their places
        saved, words = Bbox(box.get_points() * figure.dpi), words_of(figure)
        assert len(words) > 3, name
        faults += [(name, "key cut") for key in figure.legends if not saved.contains(*key.get_window_extent().min)]
        for place, (text, extent) in enumerate(words):
            if text.get_fontsize() / 72 * PHONE / box.width < LEAST:
                faults.append((name, "small", text.get_text(), round(box.width, 2)))
            if not (saved.contains(extent.x0, extent.y0) and saved.contains(extent.x1, extent.y1)):
                faults.append((name, "cut", text.get_text()))
            for other, beyond in words[place + 1 :]:
                if Bbox.intersection(extent.padded(-1), beyond.padded(-1)) is not None:
                    faults.append((name, "on other words", text.get_text(), other.get_text()))
            if any(covered(axes, extent.padded(-1)) for axes in figure.axes):
                faults.append((name, "on a line", text.get_text()))
    assert faults == []


def contrast(colour, other):
    """Contrast of two colours by the definition of WCAG 2.2, 'contrast ratio' and 'relative luminance'."""
    light = []
    for one in (colour, other):
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in mpl.colors.to_rgb(one)]
        light.append(0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2] + 0.05)
    return max(light) / min(light)


def test_words_on_cells_can_be_read():
    """Words on the cells of a heat map have a contrast of 4.5 to 1 (WCAG 2.2, 1.4.3), each on its own cell and on any colour."""
    axes = drawn()["heat"].axes[0]
    cells = axes.collections[0].get_facecolors()
    assert len(cells) == len([t for t in axes.texts if t.get_text() != "now"]) == 28
    written = [text for text in axes.texts if text.get_text() != "now"]
    assert min(contrast(text.get_color(), cell) for text, cell in zip(written, cells, strict=True)) >= 4.5
    any_colour = np.random.default_rng(1).uniform(size=(2000, 3))
    assert min(contrast(charts.readable_on(colour), colour) for colour in any_colour) >= 4.5


def test_a_map_of_one_direction_is_a_line():
    """Pay that only scrap moves, or only waiting, is drawn as a line over that one, with the target and where the study is."""
    fmt, hours = format_of(kit()), [9.0, 18.0, 36.0]
    for way in (0, 1):
        values = np.tile([[20.0], [18.0], [15.0]], (1, 3))
        frame = pd.DataFrame(values if way == 0 else values.T, index=[0.0, 0.1, 0.3], columns=hours)
        frame.attrs["now"] = 0.05, 18.0
        axes = charts.heat_map(frame, fmt, xlabel="hours", target=16.0).axes[0]
        assert axes.get_xlabel() == ("scrap rate", "hours")[way]
        assert axes.lines[0].get_ydata() == pytest.approx([20.0, 18.0, 15.0])
        assert list(axes.lines[0].get_xdata()) == [[0.0, 0.1, 0.3], hours][way]
        assert {"now", "target"} <= {text.get_text() for text in axes.texts}
        assert axes.lines[-1].get_xdata()[0] == (0.05, 18.0)[way]
    plt.close("all")


def test_where_the_study_is():
    """Frontiers and the heat map mark the study's own numbers: its scrap of the records, its wait, and 100 % of price and buyers."""
    rate, hours = 1.0 - float(kit().point().products["knob"]["yield"]), main_wait(kit(), "knob")[1]
    for name, place in {"buyers and price": (1.0, 1.0), "bench and price": (1.0, 1.0)}.items():
        mark = next(line for line in drawn()[name].axes[0].lines if line.get_label() == "now")
        assert (mark.get_xdata()[0], mark.get_ydata()[0]) == pytest.approx(place), name
    top, right = drawn()["heat"].axes[0].lines  # rates 0, 10, 20, 40 %: own arithmetic
    assert top.get_xdata()[0] == curing.waits_around(hours).index(hours) + 0.5
    assert right.get_ydata()[0] == pytest.approx(10 * rate + 0.5)


def test_beyond_its_ends_a_heat_map_has_no_mark():
    """Scrap of 55 % on a map that ends at 40 % is marked nowhere; the wait within it is."""
    frame = pd.DataFrame([[21.0, 20.0], [15.0, 13.0]], index=[0.0, 0.4], columns=[9.0, 45.0])
    frame.attrs["now"] = 0.55, 18.0
    top, right = charts.heat_map(frame, format_of(kit()), xlabel="hours", target=16.0).axes[0].lines
    assert top.get_xdata()[0] == 0.75 and np.isnan(right.get_ydata()[0])  # a quarter of the way from 9 to 45


def test_a_loss_is_no_green_bar_and_many_months_keep_a_figure():
    """What is left below nothing has the colour of what is taken off; of three years of months the largest is told, by channel."""
    steps = pd.DataFrame({"step": ["sales", "fees", "left"], "money a year": [10.0, -15.0, -5.0]})
    *_, left = charts.money_staircase(steps, format_of(kit())).axes[0].patches
    months = pd.DataFrame({"month": [f"m{n}" for n in range(36)], "online": range(36), "shop": 2})
    told = [[text.get_text() for text in axes.texts] for axes in record_charts.monthly_bars(months).axes]
    assert mpl.colors.to_hex(left.get_facecolor()) == charts.ORANGE.lower()
    assert told == [["35"], ["2"]]
    plt.close("all")


def test_a_year_is_told_in_whole_money():
    """A year of 957.29 beside a target of 22,425 has no cents."""
    figure = charts.pay_histogram(np.linspace(900.0, 1000.0, 101), 22425.0, format_of(kit()), unit="a year")
    assert {text.get_text() for text in figure.axes[0].texts} == {"target €22,425", "half above €950"}
    plt.close("all")


def test_small_charts_on_one_scale():
    """A channel of three orders is not drawn as tall as one of thirty."""
    heights = {axes.get_ylim() for axes in drawn()["months"].axes}
    assert len(heights) == 1


def test_bars_in_order_of_size():
    """Bars fall from the top, each with its own colour and figure, whatever order the rows come in."""
    frame = pd.DataFrame({"what": ["small", "large", "none", "middle"], "sum": [1.0, 9.0, np.nan, 4.0]})
    figure = charts.bars(frame, "what", "sum", "sum", lambda v: f"{v:g}", colours=["red", "green", "blue", "black"])
    axes = figure.axes[0]
    assert [bar.get_width() for bar in axes.patches] == [9.0, 4.0, 1.0]
    assert [mpl.colors.to_hex(bar.get_facecolor()) for bar in axes.patches] == ["#008000", "#000000", "#ff0000"]
    assert [label.get_text() for label in axes.get_yticklabels()] == ["large", "middle", "small"]
    plt.close(figure)


def test_pooled_tails_are_said():
    """A histogram says from where on its end bars hold all draws beyond: the inner ends of the first and the last bar."""
    pay = np.linspace(10.0, 20.0, 1001)
    axes = charts.pay_histogram(np.append(pay, [-500.0]), 12.0, format_of(kit())).axes[0]
    first, last = axes.patches[0], axes.patches[35]
    inner, outer = first.get_x() + first.get_width(), last.get_x()
    assert f"below €{inner:.2f} or above €{outer:.2f}" in axes.get_xlabel().replace("\n", " ")
    plt.close("all")


def test_runs_are_marked():
    """Loads that a rule of runs names have a ring in the chart of loads: a ruined one between them moves no mark."""
    frame = records_work.load_chart(kit(), "knob")
    frame.attrs["signals"] = [3, 7]
    axes = record_charts.load_control(frame, format_of(kit())).axes[0]
    ring = next(line for line in axes.lines if line.get_label() == "seldom by chance")
    assert ring.get_ydata() == pytest.approx(frame.share.loc[[3, 7]])
    plt.close("all")


def test_every_chart_says_its_message():
    """The words of a chart for those who do not see it hold its figures: what is largest, where the study stands, what is asked."""
    said = {name: figure.get_label().replace("\u00a0", " ") for name, figure in (drawn() | of_an_order()).items()}
    needed = {
        "hour": ("half above €", "eight in ten", "target €16.00"),
        "cost": ("weekly hours €", "and 11 smaller"),
        # 96.4 % of a year without illness (0.2 x 3 of 46 weeks) and breakdown (0.15 x 1.5): 0.964 / (45.4 / 46) / (45.775 / 46)
        "resources": ("pressure pot 99 %",),
        "price by scrap": ("break-even price €", "at 0 %", "at 50 %", "price now €", "now at 19 %"),
        "stairs": ("now 5 loads a week at 18 hours", "demand needs 4.9"),
        "money": ("fees \u2212€", "left for every hour €"),
        "heat": ("cells meet the target",),
        "cash": ("half of the draws end above €",),
        "buyers and price": ("anything above 8", "now at 100 % and 100 %, which does"),
        "brings a living, EUR": ("at 298 anything above 1", "brings a living", "now at 298 and 100 %"),
        "brings a living, GBP": ("now at 1 and 100 %, where nothing within the chart brings a living",),
        "casts": ("this plan 36 casts",),
        "date": ("packed in time: ", "wanted 95 %"),
    }
    assert all(said.values())
    assert {(name, part) for name, parts in needed.items() for part in parts if part not in said[name]} == set()
