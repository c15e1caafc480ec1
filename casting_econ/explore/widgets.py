"""The explorer's sliders, and beside them what comes of their state in lines, a picture and a table."""

import base64
import html
import io

import mistune
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from PIL import Image

from ..controls import Controls, button, choice, group, slider, text, words
from ..faults import StudyError
from ..kit import OpenStudy, format_of, open_study
from ..palette import BLUE, GREY, INK, ORANGE, SMALL, WIDTH, WORDS
from .explorer import RATES, Explorer, View, save_scenario, view_sentence

TITLES = {  # what buyers do first; minutes are many, so they open at a click
    "price": "Price",
    "buyers": "Buyers",
    "hours": "Hours",
    "scrap": "Scrap found at each check",
    "waiting": "Waiting",
    "stations": "Stations and moulds",
    "minutes": "Minutes by hand",
}


class ExplorerView(Controls):
    """Sliders of one product of a study at a time, and at once what comes of them."""

    def __init__(self, kit: OpenStudy, product: str = "", draws: int | None = None) -> None:
        self.kit, self.fmt, self._draws = kit, format_of(kit), draws
        self.read_figure = self._axes()
        super().__init__({"back": self.back, "keep": self.save})
        self.observe(self._moved, "values")
        self._choose(product or next(iter(kit.study.file.products)))

    def _choose(self, product):
        """The sliders of a product, as the study has them."""
        self.explorer = Explorer(self.kit, product, self._draws)
        self.levers, self._shown = {lever.key: lever for lever in self.explorer.levers}, None
        products = {name: name.replace("-", " ") for name in self.kit.study.file.products}
        asked = [choice("product", "Product", products)] if len(products) > 1 else []
        groups = [self._group(*names) for names in TITLES.items()]
        keep = group(
            "Keep these numbers",
            text("folder", "Folder for a copy of the study", "a new folder; a name alone is made beside the study"),
            text("name", "Name of the scenario in it", "small letters, figures and hyphens"),
            button("keep", "Keep as a scenario"),
            words("kept", live=True),
            folded=True,
        )
        self.parts = [
            words("lines", live=True, top=True),
            *asked,
            *(found for found in groups if found),
            button("back", "Back to the study"),
            keep,
            group("", words("sentence"), words("chart"), words("limits"), wide=True),
        ]
        self.back(product=product, folder="", name="as-explored")

    def _group(self, name, title):
        own = [
            slider(lever.key, lever.label, [lever.words(value, self.fmt) for value in lever.places], lever.at)
            for lever in self.explorer.levers
            if lever.group == name
        ]
        return group(title, *own, folded=name == "minutes") if own else None

    @property
    def state(self) -> dict[str, float]:
        """What was moved, by key."""
        places = {key: self.values[key] for key in self.levers.keys() & self.values.keys()}
        return {key: float(self.levers[key].places[at]) for key, at in places.items() if at != self.levers[key].at}

    def move(self, key: str, value: float) -> None:
        """Put a slider to the place nearest to a value."""
        self.values = {**self.values, key: int(np.argmin(abs(self.levers[key].places - value)))}

    def back(self, **others: str) -> None:
        """Every slider as the study has it; what was written stays."""
        written = {key: value for key, value in self.values.items() if key in ("product", "folder", "name")}
        self.values = written | others
        if self._shown is None:
            self.show()

    def _moved(self, change):
        product = change.new.get("product", self.explorer.product)
        if product != self.explorer.product:
            self._choose(product)
        elif self.state != self._shown:
            self.show()

    def show(self) -> None:
        """Work out the state and show it; a state that cannot be is said."""
        self._shown = self.state
        try:
            view = self.explorer.look(self._shown)
        except StudyError as error:
            why = "; ".join(f"{fault.wrong} {fault.found}" for fault in error.faults)
            self.say(lines=_paragraph(f"Cannot be worked out: {why}"), sentence="", chart="", limits="")
            return
        rows = sorted(view.limits.items(), key=lambda item: -item[1])
        row = "<tr><th scope='row'>{}</th><td>{}</td></tr>"
        cells = "".join(row.format(html.escape(name.replace("-", " ")), self.fmt.chance(share)) for name, share in rows)
        self.say(
            lines=mistune.create_markdown(escape=True)("\n".join(f"- {line}" for line in view.lines)),
            sentence=_paragraph(view_sentence(view, self.fmt)),
            chart=self._picture(view),
            limits=f"<table><caption>What limits, share of the years drawn</caption>{cells}</table>",
        )

    def _axes(self):
        """One figure for all looks, with what moves in it: drawing a new one would take longer than the numbers."""
        figure = Figure(figsize=(WIDTH, 4.4), dpi=190)
        FigureCanvasAgg(figure)
        pay, stairs = figure.subplots(2, 1)
        for axes, title, below in ((pay, f"pay an hour, {self.kit.study.currency}", "scrap, %"), (stairs, "loads a week", "")):
            axes.spines[["top", "right"]].set_visible(False)
            axes.grid(color="#E3E3E3")
            axes.tick_params(labelsize=SMALL)
            axes.set_title(title, fontsize=SMALL, loc="left")
            axes.set_xlabel(below, fontsize=SMALL)
        stairs.yaxis.set_major_locator(MaxNLocator(5, integer=True))
        figure.subplots_adjust(left=0.13, right=0.97, bottom=0.09, top=0.95, hspace=0.5)
        pay.set_xlim(0, 60)
        dot, ring = {"color": INK, "markersize": 7}, {"color": INK, "markersize": 8, "markerfacecolor": "white"}
        self._moving = {
            "band": pay.plot([], [], color=ORANGE, linewidth=4)[0],
            "curve": pay.plot([], [], color=BLUE, linewidth=2)[0],
            "target": pay.plot([], [], color=GREY, linewidth=1.2)[0],
            "steps": stairs.step([], [], where="post", color=BLUE, linewidth=2)[0],
            "study": pay.plot([], [], "o", **ring)[0],  # where the study stands: a ring that stays as the dot leaves it
            "study of loads": stairs.plot([], [], "o", **ring)[0],
            "place": pay.plot([], [], "o", **dot)[0],
            "here": stairs.plot([], [], "o", **dot)[0],
        }
        self._moving["word"] = pay.text(60, 0, "target ", color=WORDS[GREY], ha="right", va="bottom", fontsize=SMALL)
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
        """Both charts as one picture, with their words; the upper one alone where nothing waits."""
        (pay, stairs), moving = self.read_figure.axes, self._moving
        at = 100.0 * view.scrap
        moving["curve"].set_data(100.0 * RATES, view.curve)
        moving["target"].set_data([0, 60], [view.target] * 2)
        moving["band"].set_data([at, at], [view.pay[0], view.pay[2]])
        moving["place"].set_data([at], [view.point])
        if not self._shown:
            moving["study"].set_data([at], [view.point])
        moving["word"].set_y(view.target)
        ends = [*view.curve, view.target, view.pay[0], view.pay[2]]
        self._room(pay, min(ends), max(ends))
        said = f"Pay an hour falls with scrap; at {self.fmt.percent(view.scrap)} it is {self.fmt.money(view.point)} at the middle of every number."
        if stairs.get_visible() != (view.wait is not None):
            stairs.set_visible(view.wait is not None)
            self._still = None
        if view.wait is not None:
            hours, loads = view.stairs["cure hours"], view.stairs["loads a week"]
            moving["steps"].set_data(hours, loads)
            moving["here"].set_data([view.wait.wait_hours], [view.loads])
            if not self._shown:
                moving["study of loads"].set_data([view.wait.wait_hours], [view.loads])
            below, right = f"hours of waiting at {view.wait.step.replace('-', ' ')}", max(hours.iloc[-1], view.wait.wait_hours)
            if (stairs.get_xlabel(), stairs.get_xlim()[1]) != (below, right):
                stairs.set(xlim=(0, right))
                stairs.set_xlabel(below, fontsize=SMALL)
                self._still = None
            self._room(stairs, 0.0, max(loads[hours >= 0.1 * hours.iloc[-1]].max(), view.loads))
            said += f" Waiting {self.fmt.wait(view.wait.wait_hours)} lets {self.fmt.number(view.loads, 2)} loads a week through."
        canvas = self.read_figure.canvas
        if self._still is None:
            canvas.draw()
            self._still = canvas.copy_from_bbox(self.read_figure.bbox)
        canvas.restore_region(self._still)
        for artist in moving.values():
            if artist.axes.get_visible():
                artist.axes.draw_artist(artist)
        pixels = np.asarray(canvas.buffer_rgba())
        picture = io.BytesIO()
        Image.fromarray(pixels if view.wait is not None else pixels[: len(pixels) // 2]).save(picture, "png", compress_level=1)
        data = base64.b64encode(picture.getvalue()).decode()
        return f'<img alt="{html.escape(said)}" src="data:image/png;base64,{data}">'

    def save(self) -> None:
        """Write the state as a scenario into a copy of the study, or say why not."""
        try:
            folder = save_scenario(self.kit, self.explorer.levers, self.state, self.values["folder"], self.values["name"].strip())
        except StudyError as error:
            self.say(kept=_paragraph("Not kept: " + "; ".join(map(str, error.faults))))
        else:
            self.say(kept=_paragraph(f"Kept in {folder}: casting-econ run shows it on the page 'What to change'."))


def _paragraph(said):
    return f"<p>{html.escape(said)}</p>"


def explore(study: str, product: str = "", draws: int | None = None) -> ExplorerView:
    """The explorer of a study folder, on one product or, if none is named, on any; draws of the study if not given."""
    return ExplorerView(open_study(study), product, draws)
