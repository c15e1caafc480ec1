"""The explorer's sliders, sentence and charts in JupyterLab."""

import base64
import html
import io

import ipywidgets as widgets
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from ..faults import StudyError
from ..kit import format_of, open_study
from ..palette import BLUE, GREY, INK, ORANGE
from .explorer import Explorer, View, save_scenario, view_sentence

_TITLES = {
    "scrap": "Scrap found at each check",
    "waiting": "Waiting",
    "minutes": "Minutes by hand",
    "stations": "Stations and moulds",
    "price": "Price",
    "buyers": "Buyers",
    "hours": "Hours",
}
_WORDS = {"description_width": "13em"}
_WIDE = widgets.Layout(width="98%", max_width="46em")
_FITS = widgets.Layout(width="max-content")


class ExplorerView(widgets.Box):
    """Sliders of one product of a study, and at once what comes of them."""

    def __init__(self, explorer: Explorer) -> None:
        self.explorer, self.fmt = explorer, format_of(explorer.kit)
        self.sliders = {lever.key: self._slider(lever) for lever in explorer.levers}
        self.said = widgets.HTML()
        self.chart = widgets.HTML()
        self.limits = widgets.HTML()
        self.again = widgets.Button(description="Back to the study", icon="undo", layout=_FITS)
        look, words = {"style": _WORDS, "layout": _WIDE}, "a new folder; a name alone is made beside the study"
        self.folder = widgets.Text(description="Copy of the study", placeholder=words, **look)
        self.name = widgets.Text(value="as-explored", description="Name of the scenario", **look)
        self.keep = widgets.Button(description="Keep as a scenario", icon="save", layout=_FITS)
        self.kept = widgets.HTML()
        self.read_figure, self._quiet = self._axes(), False
        for slider in self.sliders.values():
            slider.observe(lambda _: self.show(), names="value")
        self.again.on_click(lambda _: self.back())
        self.keep.on_click(lambda _: self.save())
        groups = [self._group(group, title) for group, title in _TITLES.items()]
        shown = [group for group in groups if group is not None]
        # what comes of it stays in sight while the sliders scroll; on a narrow screen it stands above them
        outcome = [self.said, self.chart, self.limits, self.again, widgets.HTML("<h3>Keep it</h3>")]
        outcome += [self.folder, self.name, self.keep, self.kept]
        right = widgets.VBox(outcome, layout=widgets.Layout(flex="1 1 26em", min_width="22em", padding="0 0 0 1em"))
        left = widgets.VBox(shown, layout=widgets.Layout(flex="1 1 26em", min_width="22em", height="44em", overflow="auto"))
        super().__init__([left, right], layout=widgets.Layout(flex_flow="row wrap-reverse", align_items="flex-start"))
        self.show()

    @property
    def state(self) -> dict[str, float]:
        """What was moved, by key."""
        return {key: slider.value for key, slider in self.sliders.items() if slider.value != slider.start}

    def _slider(self, lever):
        words = f"{lever.label} [{lever.unit}]" if lever.unit else lever.label
        look = {"description": words, "tooltip": words, "continuous_update": False, "style": _WORDS, "layout": _WIDE}
        if lever.is_whole:
            now, low, high = (int(value) for value in (lever.now, lever.low, lever.high))
            slider = widgets.IntSlider(value=now, min=low, max=high, step=1, readout_format="d", **look)
        else:
            digits = f".{max(0, int(np.ceil(-np.log10(lever.step))))}f"
            ends = {"min": lever.low, "max": lever.high, "step": lever.step}
            slider = widgets.FloatSlider(value=lever.now, **ends, readout_format=digits, **look)
        slider.start = slider.value  # what counts as unmoved
        return slider

    def _group(self, group, title):
        own = [self.sliders[lever.key] for lever in self.explorer.levers if lever.group == group]
        return widgets.VBox([widgets.HTML(f"<h3>{title}</h3>"), *own], layout=widgets.Layout(flex="0 0 auto")) if own else None

    def back(self) -> None:
        """Every slider as the study has it."""
        self._quiet = True
        for slider in self.sliders.values():
            slider.value = slider.start
        self._quiet = False
        self.show()

    def show(self) -> None:
        """Work out the state and show it; a state that cannot be is said."""
        if self._quiet:
            return
        try:
            view = self.explorer.look(self.state)
        except StudyError as error:
            why = "; ".join(f"{fault.wrong} {fault.found}" for fault in error.faults)
            self.said.value = _status(f"Cannot be worked out: {why}")
            return
        self.said.value = _status(view_sentence(view, self.fmt))
        self.chart.value = self._picture(view)
        rows = sorted(view.limits.items(), key=lambda item: -item[1])
        row = "<tr><th scope='row'>{}</th><td>{}</td></tr>"
        cells = "".join(row.format(html.escape(name.replace("-", " ")), self.fmt.percent(share)) for name, share in rows)
        self.limits.value = f"<table><caption style='white-space:nowrap'>What limits, share of the draws</caption>{cells}</table>"

    def _axes(self):
        """One figure for all looks, with what moves in it: drawing a new one would take longer than the numbers."""
        figure = Figure(figsize=(7.2, 2.9), dpi=96)
        FigureCanvasAgg(figure)
        pay, stairs = figure.subplots(1, 2)
        for axes, title, below in ((pay, "pay an hour", "scrap, %"), (stairs, "loads a week", "")):
            axes.spines[["top", "right"]].set_visible(False)
            axes.grid(color="#E3E3E3")
            axes.set_title(title, fontsize=10, loc="left")
            axes.set_xlabel(below)
        figure.subplots_adjust(left=0.08, right=0.98, bottom=0.18, top=0.9, wspace=0.2)
        pay.set_xlim(0, 60)
        looks = {"band": (ORANGE, 4, ""), "curve": (BLUE, 2, ""), "target": (GREY, 1.2, ""), "place": (INK, 0, "o")}
        self._moving = {
            name: pay.plot([], [], color=colour, linewidth=width, marker=mark, markersize=8)[0]
            for name, (colour, width, mark) in looks.items()
        }
        self._moving["steps"] = stairs.step([], [], where="post", color=BLUE, linewidth=2)[0]
        self._moving["here"] = stairs.plot([], [], "o", color=INK, markersize=8)[0]
        self._moving["word"] = pay.text(60, 0, "target ", color=INK, ha="right", va="bottom", fontsize=9)
        for artist in self._moving.values():
            artist.set_animated(True)
        self._still = None
        return figure

    def _room(self, axes, low, high) -> None:
        """Keep the scale while what is shown fits it and fills it by half; a new scale has to be drawn."""
        bottom, top = axes.get_ylim()
        if self._still is None or low < bottom or high > top or high - low < 0.4 * (top - bottom):
            axes.set_ylim(low - 0.08 * (high - low), high + 0.12 * (high - low) + 1e-9)
            self._still = None

    def _picture(self, view: View) -> str:
        """Both charts as one picture, with their words."""
        (pay, stairs), moving = self.read_figure.axes, self._moving
        at = 100.0 * view.scrap
        moving["curve"].set_data(100.0 * view.rates, view.curve)
        moving["target"].set_data([0, 60], [view.target] * 2)
        moving["band"].set_data([at, at], [view.pay[0], view.pay[2]])
        moving["place"].set_data([at], [view.point])
        moving["word"].set_y(view.target)
        ends = [*view.curve, view.target, view.pay[0], view.pay[2]]
        self._room(pay, min(ends), max(ends))
        words = f"Pay an hour falls with scrap; at {self.fmt.percent(view.scrap)} it is {self.fmt.money(view.point)} at the middle of every number."
        if stairs.get_visible() != (view.wait is not None):
            stairs.set_visible(view.wait is not None)
            self._still = None
        if view.wait is not None:
            hours, loads = view.stairs["cure hours"], view.stairs["loads a week"]
            moving["steps"].set_data(hours, loads)
            moving["here"].set_data([view.wait.wait_hours], [view.loads])
            below, right = f"hours of waiting at {view.wait.step.replace('-', ' ')}", max(hours.iloc[-1], view.wait.wait_hours)
            if (stairs.get_xlabel(), stairs.get_xlim()[1]) != (below, right):
                stairs.set(xlabel=below, xlim=(0, right))
                self._still = None
            self._room(stairs, 0.0, max(loads[hours >= 0.1 * hours.iloc[-1]].max(), view.loads))
            words += f" Waiting {self.fmt.number(view.wait.wait_hours, 1)} hours lets {self.fmt.number(view.loads, 2)} loads a week through."
        canvas = self.read_figure.canvas
        if self._still is None:
            canvas.draw()
            self._still = canvas.copy_from_bbox(self.read_figure.bbox)
        canvas.restore_region(self._still)
        for artist in moving.values():
            if artist.axes.get_visible():
                artist.axes.draw_artist(artist)
        picture = io.BytesIO()
        Image.fromarray(np.asarray(canvas.buffer_rgba())).save(picture, format="png", compress_level=1)
        text = base64.b64encode(picture.getvalue()).decode()
        return f'<img alt="{html.escape(words)}" style="max-width:100%" src="data:image/png;base64,{text}">'

    def save(self) -> None:
        """Write the state as a scenario into a copy of the study, or say why not."""
        own = self.explorer
        try:
            folder = save_scenario(own.kit, own.levers, self.state, self.folder.value, self.name.value.strip())
        except StudyError as error:
            self.kept.value = _status("Not kept: " + "; ".join(map(str, error.faults)))
        else:
            self.kept.value = _status(f"Kept in {folder}: casting-econ run shows it on the page 'What to change'.")


def _status(text: str) -> str:
    """Words that a screen reader says when they change."""
    look = "font-size:1.1em;line-height:1.4;max-width:46em"
    return f'<div role="status" aria-live="polite" style="{look}">{html.escape(text)}</div>'


def explore(study: str, draws: int = 4000, seed: int | None = None, product: str = "") -> widgets.Widget:
    """The explorer of a study folder; with several products one view each, in tabs."""
    kit = open_study(study)
    products = [product] if product else list(kit.study.file.products)
    views = [ExplorerView(Explorer(kit, name, draws, seed)) for name in products]
    if len(views) == 1:
        return views[0]
    return widgets.Tab(views, titles=[name.replace("-", " ") for name in products])
