"""The panel of the report: scrap, price and wait of a product moved over a grid worked out beforehand."""

import json
from dataclasses import dataclass, replace
from importlib.util import find_spec
from itertools import product
from pathlib import Path

import numpy as np
from markupsafe import Markup
from matplotlib.ticker import MaxNLocator
from scipy import special

from ..draws import round_up_draws
from ..formatting import Format
from ..kit import OpenStudy, format_of, main_wait
from ..models import evaluate, moved_at, with_levers
from ..models.checks import share_of
from ..models.yields import rolled_yield
from ..pages.conditions import beside_now
from ..pages.curing import waits_around
from ..pages.monte_carlo import living_words
from ..palette import BLUE, INK, ORANGE, WORDS
from ..templates import write_whole
from .report import template

MOST_DRAWS = 1_024  # enough for a band that is steady to the eye, and for a grid within two seconds
CHUNK = 256  # rows a time, over the whole grid
PRICES = tuple(round(0.6 + 0.1 * step, 1) for step in range(11))  # factors on every price of the product
SCRAPS = 17  # rates tried, beside today's
LIBRARY = ("bokeh.min.js", "bokeh-api.min.js")  # draws the curve; its licence stands at the head of each file


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Results of a study over scrap rates, prices and waits of one product; arrays have shape (scrap, price, wait)."""

    product: str
    waiting: str | None  # step whose wait is moved; None: no step waits
    scrap: np.ndarray  # share of casts scrapped, rising; of the study, as each draw has its own [-]
    price: np.ndarray  # factor on every price of the product [-]
    wait: np.ndarray  # hours, of the study too, or one not-a-number where no step waits [hour]
    now: tuple[int, int, int]  # where the study stands
    draws: int
    target: float  # pay an hour aimed at [money/hour]
    living: float  # a year's living [money/year]
    mean_price: np.ndarray  # of a piece, shape (price,) [money/piece]
    low: np.ndarray  # pay an hour that nine in ten years drawn exceed [money/hour]
    middle: np.ndarray  # that half of them do [money/hour]
    high: np.ndarray  # that one in ten does [money/hour]
    chance: np.ndarray  # of an hour that pays the target [-]
    year: np.ndarray  # what half of the years leave at least [money/year]
    year_chance: np.ndarray  # of a year that brings the living [-]
    elastic: bool  # whether buyers of the product leave or come with its price
    # middle over the years drawn, or if elastic where their middle crosses; infinite: no price does, or none tried [money/piece]
    break_even_price: np.ndarray
    break_even_scrap: np.ndarray  # highest rate whose middle pays, shape (price, wait); -inf or inf: none, or all tried [-]


def panel_grid(kit: OpenStudy, product: str | None = None, workers: int = 1) -> Grid:
    """Work out the grid of a product, the first if none is named, on the study's own draws, the same at every place and for any `workers`."""
    table, point = kit.study.file.study, kit.point()
    name = product or next(iter(kit.study.file.products))
    waiting, hours = main_wait(kit, name)
    now = 1.0 - float(point.products[name]["yield"])
    scrap = np.unique(np.append(np.linspace(0.0, min(max(0.4, np.ceil(20 * now) / 10), 0.9), SCRAPS), now))
    price, wait = np.array(PRICES), np.array([np.nan] if waiting is None else waits_around(hours))
    draws, shape = round_up_draws(min(table.draws, MOST_DRAWS)), (scrap.size, price.size, wait.size)

    def work(a):
        # the same step waits in every chunk of draws, whichever is longest in it
        a = moved_at(a, f"products.{name}", lambda p: replace(p, cure_step=waiting or p.cure_step))
        # each draw keeps its own scrap and wait, moved as those of the study are
        steps = {step.name: step for step in a.product(name).steps}
        levers = {"scrap": scrap[:, None, None], "price": price[:, None]}
        if now > 0:
            power = np.log1p(-levers["scrap"]) / np.log1p(-now)  # as `at_scrap_rate` has it
            levers["scrap"] = 1.0 - rolled_yield(step.pass_share for step in steps.values()) ** power
        if waiting is not None:
            levers["cure_hours"] = steps[waiting].wait_hours * (wait / hours)
        found = evaluate(with_levers(a, product=name, **levers))
        pay, year = found.totals["pay_per_hour"], found.totals["residual_pay_per_year"]
        parts = {"pay": pay, "meets": pay >= a.target_per_hour, "price": found.products[name]["break_even_price"]}
        parts |= {"year": year, "lives": year >= a.living_per_year}
        return {key: np.broadcast_to(part, np.broadcast_shapes(np.shape(part), (1, *shape))) for key, part in parts.items()}

    found = kit.by_draw(work, draws, chunk=CHUNK, workers=workers, axes=len(shape))
    here = int(np.argmin(abs(scrap - now))), PRICES.index(1.0), 0 if waiting is None else int(np.argmin(abs(wait - hours)))
    answer, tenths = kit.monte_carlo(workers=workers), [0.1, 0.5, 0.9]

    def level(places, stands):
        """What a move changes in these draws, from where the study stands in all of its own."""
        return places + (stands - places[here])

    def chance(met, pays):
        """The same in odds, so that what always holds, or never, stays so."""
        odds = special.logit(met.mean(axis=0))
        more = special.logit(pays.mean()) - odds[here] if np.isfinite(odds[here]) else 0.0
        return special.expit(odds + (more if np.isfinite(more) else 0.0))

    pays = np.quantile(answer.draws["pay_per_hour"], tenths)
    low, middle, high = (level(*pair) for pair in zip(np.quantile(found["pay"], tenths, axis=0), pays, strict=True))
    target = float(kit.inputs().target_per_hour)
    prices = evaluate(with_levers(kit.inputs(), product=name, price=price)).products[name]["mean_price_per_piece"]
    prices, elastic = np.broadcast_to(prices, price.shape), name in kit.inputs().elastic
    # a rank, not a mean of two: infinite draws must not make the middle one not a number
    even = np.quantile(found["price"], 0.5, axis=0, method="inverted_cdf")
    if elastic:  # the lowest price whose middle pays
        even = -_crossing(-prices[::-1], np.swapaxes(middle - target, 0, 1)[::-1])[:, None] + np.zeros(middle.shape)
    return Grid(
        product=name,
        waiting=waiting,
        scrap=scrap,
        price=price,
        wait=wait,
        now=here,
        draws=draws,
        target=target,
        living=float(kit.inputs().living_per_year),
        mean_price=prices,
        low=low,
        middle=middle,
        high=high,
        chance=chance(found["meets"], answer.pays["hour"]),
        year=level(np.median(found["year"], axis=0), np.median(answer.draws["residual_pay_per_year"])),
        year_chance=chance(found["lives"], answer.pays["year"]),
        elastic=elastic,
        break_even_price=even,
        break_even_scrap=_crossing(scrap, middle - target),
    )


def _crossing(scrap, over):
    """Highest scrap rate at which a curve through `over`, shape (scrap, …), is still at or above zero."""
    enough = over >= 0
    last = scrap.size - 1 - enough[::-1].argmax(axis=0)
    after = np.minimum(last + 1, scrap.size - 1)
    here, there = (np.take_along_axis(over, at[None], 0)[0] for at in (last, after))
    rate = scrap[last] + share_of(here, here - there, 0.0) * (scrap[after] - scrap[last])
    return np.where(enough[-1], np.inf, np.where(enough.any(axis=0), rate, -np.inf))


def panel_view(kit: OpenStudy, grid: Grid) -> dict[str, object]:
    """What the page shows of a grid of a study: `controls`, `cells` (words by quantity, one a place in the order scrap, price, wait), `curve`
    (plain numbers) and `corners`, words as the report writes them.
    """
    fmt = format_of(kit)
    controls = [_control("scrap", "Scrap rate, of all casts", [fmt.percent(rate, 1) for rate in grid.scrap], grid.now[0])]
    prices = [f"{fmt.money(mean)} a piece{_factor(fmt, x)}" for mean, x in zip(grid.mean_price, grid.price, strict=True)]
    controls.append(_control("price", f"Price of {_plain(grid.product)}, on average", prices, grid.now[1]))
    if grid.waiting:
        hours = [fmt.wait(h) for h in grid.wait]
        controls.append(_control("wait", f"Waiting time at {_plain(grid.waiting)}", hours, grid.now[2]))
    scrap = np.broadcast_to(grid.break_even_scrap, grid.middle.shape)
    cells = {
        "middle": _each(fmt.money, grid.middle),
        "low": _each(fmt.money, grid.low),
        "high": _each(fmt.money, grid.high),
        "chance": _each(fmt.chance, grid.chance),
        "year": _each(lambda x: fmt.money(x, 0), grid.year),
        "year_chance": _each(fmt.chance, grid.year_chance),
        "break_even_price": _each(lambda x: _price_words(fmt, x, grid.elastic), grid.break_even_price),
        "break_even_scrap": _each(lambda x: _scrap_words(fmt, x, grid.scrap[-1]), scrap),
    }
    return {
        "product": _plain(grid.product),
        "controls": controls,
        "cells": cells,
        "target": fmt.money(grid.target),
        "living": fmt.money(grid.living, 0),
        "curve": _curve(fmt, grid),
        "corners": _corners(grid, controls, cells),
    }


def _control(key, label, values, now):
    return {"key": key, "label": label, "now": now, "values": values}


def _plain(name):
    return name.replace("-", " ").replace("_", " ")


def _each(write, values):
    return [write(float(value)) for value in values.ravel()]


def _factor(fmt: Format, factor):
    if factor == 1.0:
        return ""
    return f", {beside_now(factor, fmt)}"


def _price_words(fmt: Format, price, elastic):
    if 0 < price < float("inf"):
        return f"about {fmt.money(price)}" if elastic else fmt.money(price)
    return f"{'no' if price > 0 else 'any'} price {'tried ' if elastic else ''}does"


def _scrap_words(fmt: Format, rate, most):
    if rate == -float("inf"):
        return "none: even without scrap it stays below"
    return f"over {fmt.percent(most)}" if rate == float("inf") else f"about {fmt.percent(rate)}"


def _curve(fmt: Format, grid):
    """Numbers and ticks of pay against scrap."""
    rates = [step / 10 for step in range(int(round(grid.scrap[-1] * 10, 6)) + 1)]
    colours = {"line": BLUE, "target": ORANGE, "here": INK}
    return {
        "scrap": _rounded(grid.scrap),
        "low": _rounded(grid.low),
        "middle": _rounded(grid.middle),
        "high": _rounded(grid.high),
        "target": grid.target,
        "now": grid.now,
        "pay": [[_scale(fmt, grid, j, k) for k in range(grid.wait.size)] for j in range(grid.price.size)],
        "scrap_ticks": rates,
        "scrap_labels": [fmt.percent(rate) for rate in rates],
        "colours": colours,
        "word_colours": {key: WORDS[colour] for key, colour in colours.items()},
    }


def _scale(fmt: Format, grid, price, wait):
    """Ticks of pay and their words that hold the lines at a price and wait, those of now, and the target."""
    lines = [line[:, j, k] for line in (grid.low, grid.high) for j, k in ((price, wait), grid.now[1:])]
    low, high = min(grid.target, *map(np.min, lines)), max(grid.target, *map(np.max, lines))
    ticks = [float(tick) for tick in MaxNLocator(6, steps=[1, 2, 5, 10]).tick_values(low, high)]
    digits = 0 if all(tick.is_integer() for tick in ticks) else 2
    return {"ticks": ticks, "labels": [fmt.money(tick, digits) for tick in ticks]}


def _rounded(values):
    """Six digits after the point: beyond what a screen shows, and short enough to mail."""
    return [round(float(value), 6) for value in values.ravel()]


def _corners(grid, controls, cells):
    """Rows of the table for paper: the ends of the grid and where the study stands."""
    shape = grid.middle.shape

    def ends(axis):
        return sorted({0, grid.now[axis], shape[axis] - 1})

    def cell(*place):
        at = int(np.ravel_multi_index(place, shape))
        return {key: cells[key][at] for key in ("middle", "low", "high")} | {"meets": bool(grid.middle[place] >= grid.target)}

    columns, rows = ends(1), []
    for i, k in product(ends(0), ends(2)):
        wait = controls[2]["values"][k] if grid.waiting else None
        here = {"scrap": controls[0]["values"][i], "wait": wait, "now": (i, k) == (grid.now[0], grid.now[2])}
        rows.append(here | {"cells": [cell(i, j, k) for j in columns]})
    heads = [{"text": controls[1]["values"][j], "now": j == grid.now[1]} for j in columns]
    return {"heads": heads, "rows": rows}


def panel_parts(kit: OpenStudy, workers: int = 1, kept: Path | None = None) -> dict[str, Markup]:
    """The panel as HTML: `body`, a section of the report, and `scripts`, for the end of the page; neither needs anything from outside.

    Worked out in so many threads; what it shows is taken from the file `kept`, or kept in it where there is none.
    """
    if kept and kept.exists():
        body, data = json.loads(kept.read_text(encoding="utf-8"))
    else:
        body, data = _body_and_data(kit, workers)
        if kept:
            kept.parent.mkdir(parents=True, exist_ok=True)
            write_whole(kept, json.dumps([body, data]).encode())
    library = Path(find_spec("bokeh").origin).parent / "server" / "static" / "js"  # found without loading it
    code = [(library / name).read_text(encoding="utf-8") for name in LIBRARY]
    code.append(Path(__file__).with_name("panel.js").read_text(encoding="utf-8"))
    scripts = [f"<script>{part}</script>" for part in code]
    scripts.insert(0, f'<script type="application/json" id="panel-data">{data}</script>')
    return {"body": Markup(body), "scripts": Markup("\n".join(scripts))}


def _body_and_data(kit, workers):
    """Its part of the page, and what its script shows there as JSON."""
    grids = [panel_grid(kit, name, workers) for name in kit.study.file.products]
    views = [panel_view(kit, grid) for grid in grids]
    body = template("panel.html.j2").render(
        views=views,
        draws=format_of(kit).number(grids[0].draws),
        elastic=any(grid.elastic for grid in grids),
        several=len(views) > 1,
        certain=kit.certain,
        living=living_words(kit),
    )
    shown = [{key: view[key] for key in ("product", "controls", "cells", "target", "living", "curve")} for view in views]
    # "<" written as an escape, so that no text of a study ends the script it stands in
    return body, json.dumps(shown, ensure_ascii=False, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
