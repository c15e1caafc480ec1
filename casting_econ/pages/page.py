"""What notebooks show: charts with alternative text, tables with captions, sentences, and results to collect."""

import html
import io
import re
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from IPython.display import HTML, Image, Markdown, display
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.legend import Legend
from matplotlib.text import Text
from matplotlib.ticker import FixedLocator

from ..charts import laid_out, wrapped
from ..formatting import nine_digits
from ..kit import OpenStudy, format_of
from .table import NOTHING, SVG, shown_as, styles_of

RECORD_MIME = "application/vnd.casting-econ.record+json"  # kind of output that a notebook leaves for a sweep to collect
WORDS_ONLY = "-"  # for a folder: of a sweep nobody looks at the pictures of every point
_SAID = {
    "in force": "used",
    "change beyond the target": "gain a year",
    "label": "number",
}  # columns of tables, as a page says them
_NAMED = "products channels stations racks equipment overheads steps parts materials time".split()  # tables whose keys are names
_PLAIN = {"count": ""}  # units that the name of a number says
_SHARES = {"share": "percent1"} | dict.fromkeys(("of now", "of today", "of its middle"), "percent")  # styles of units in per cent
_LEFT = ' style="text-align: left"'  # JupyterLab has a rule of its own, which puts words to the right
_ENDS = (
    ("1 in 10 below", "1 in 10 above", "half below", "in every draw"),
    ("lowest, 1 in 10 below", "lowest, half below", "lowest, half below", "lowest"),
    ("back, 1 in 10 sooner", "back, 1 in 10 later", "back, half sooner", "back"),
    ("low", "high", None, None),
)


class Page:
    """Shows things in a notebook and, if told where, keeps them as files.

    `out` is the folder for SVG and CSV files; "" keeps none, and "-" draws none either: what charts say is said in words. Currency
    and locale are those of the study, `year` as for `format_of`.
    """

    def __init__(self, kit: OpenStudy, out: str = "", *, year: bool = True) -> None:
        self.fmt, self.draws = format_of(kit, year=year), out != WORDS_ONLY
        self.out = Path(out) if out and self.draws else None
        self._ids = sorted(_ids(kit.study.file), key=len, reverse=True)
        for folder in ("figures", "tables") if self.out else ():
            (self.out / folder).mkdir(parents=True, exist_ok=True)

    def spoken(self, text: str) -> str:
        """Words with the keys of the study file, such as `fit-and-check`, as one says them; but not within backticks."""
        if not self._ids:
            return text
        keys = re.compile(rf"(?<![\w/-])(?:{'|'.join(map(re.escape, self._ids))})(?![\w/-])")
        parts = text.split("`")
        parts[::2] = (keys.sub(lambda key: key[0].replace("-", " ").replace("_", " "), part) for part in parts[::2])
        return "`".join(parts)

    def _row_name(self, name):
        """A name along an axis as it is spoken; a key may have been parted between its lines."""
        whole = name.replace("-\n", "-").replace("\n", " ")
        said = self.spoken(whole)
        return name if said == whole else wrapped(said)

    def chart(self, figure: Figure, name: str, alt: str) -> None:
        """Show a chart, in words as its subject and its message; drawn once, as dots, or where files are kept as the SVG that is kept."""
        alt = self.spoken(": ".join(part for part in (alt, figure.get_label()) if part))
        if not self.draws:
            plt.close(figure)
            return self.say(alt)
        for text in _words(figure):
            if (said := self.spoken(text.get_text())) != text.get_text():
                text.set_text(said)
        for axis in (axis for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)):
            if self._ids and isinstance(axis.get_major_locator(), FixedLocator):  # names, which are written anew when it is drawn
                names = [text.get_text() for text in axis.get_ticklabels()]
                if (said := [self._row_name(name) for name in names]) != names:
                    axis.set_ticks(axis.get_ticklocs(), said)
        picture, box = io.BytesIO(), laid_out(figure)
        if not self.out:
            figure.savefig(picture, format="png", dpi="figure", bbox_inches=box, metadata={"Software": None})
            display(Image(picture.getvalue(), alt=alt, width=400))
        else:
            figure.savefig(picture, format="svg", bbox_inches=box, metadata={"Date": None})
            (self.out / "figures" / f"{name}.svg").write_bytes(picture.getvalue())
            instead = f"[Chart, to be seen once the cells have run here. {alt}]"  # where a notebook from elsewhere is not trusted
            display({SVG: picture.getvalue().decode(), "text/plain": instead}, raw=True, metadata={SVG: {"alt": alt}})
        plt.close(figure)

    def table(self, frame: pd.DataFrame, name=None, caption=None, columns=None, *, fold=None, without=(), still=False) -> None:
        """Show a table as its function said (see `table.shown`), or as given here; keep its numbers as CSV, with nine digits.

        Columns named in `without`, those with nothing in them, and a table that stands `still`, as a sentence says, are kept in the CSV only;
        KeyError for a style of a column that is not there.
        """
        told = shown_as(frame, name=name, caption=caption, columns=columns and styles_of(columns), fold=fold)
        frame = frame.map(lambda cell: nine_digits(cell) if isinstance(cell, float) else cell)
        if self.out:
            frame.to_csv(self.out / "tables" / f"{told.name}.csv", index=False, lineterminator="\n")
        if still:
            return None
        frame = frame.rename(
            columns=lambda name: self.fmt.exactly(name) if isinstance(name, float) else str(name).replace("_", " ")
        )
        if "unit" in frame:
            frame = frame.assign(unit=frame.unit.replace(_PLAIN))
        styles = told.columns
        if self.fmt.certain:
            frame, styles = _without_bands(frame, styles)
        if frame.empty:
            return self.nothing(f"{told.caption}: nothing recorded.")
        unknown = set(styles) - {*frame.columns, "*"}
        if unknown:
            raise KeyError(f"table {told.name} has no column {', '.join(sorted(unknown))}; it has {', '.join(frame.columns)}")
        without = {*without, *frame.columns[(frame.isna() | (frame == "")).all()]}
        styles = {c: styles.get(c, styles.get("*")) for c in frame.columns if c not in without}
        styles = {column: style for column, style in styles.items() if style is not None}
        sides = [f' class="text"{_LEFT}' if style == "text" else "" for style in styles.values()]
        head = "".join(f'<th scope="col"{side}>{html.escape(_SAID.get(c, c))}</th>' for c, side in zip(styles, sides))
        body = ""
        for row in frame.to_dict("records"):
            unit = row.get("unit")
            of_unit = {
                "significant": _SHARES.get(unit, "significant"),
                "figure": "money" if unit == self.fmt.currency else "figure",
            }
            shown = (self.fmt.styled(row[column], of_unit.get(style, style)) for column, style in styles.items())
            first, *texts = (html.escape(self.spoken(text)) for text in shown)
            cells = "".join(f"<td{side}>{text}</td>" for text, side in zip(texts, sides[1:]))
            body += f'<tr><th scope="row"{_LEFT}>{first}</th>{cells}</tr>'
        title = html.escape(self.spoken(told.caption))
        table = f"<table><caption>{title}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        display(HTML(f"<details><summary>{title}</summary>{table}</details>" if told.fold else table))

    def say(self, text: str) -> None:
        """Show a sentence or a list in Markdown, nothing where there is no text."""
        if text:
            display(Markdown(self.spoken(text)))

    def nothing(self, text: str) -> None:
        """Say that there is nothing to show, which a report leaves out, with the heading above it where nothing else stands there."""
        display({"text/markdown": text, "text/plain": text}, raw=True, metadata={NOTHING: True})

    def record(self, **numbers: float | None) -> None:
        """Leave numbers in the notebook for a sweep to collect, those that there are."""
        rounded = {name: nine_digits(value) for name, value in numbers.items() if value is not None}
        display({RECORD_MIME: rounded, "text/plain": ", ".join(f"{k} = {v:.4g}" for k, v in rounded.items())}, raw=True)


def _words(figure):
    """Texts of a chart, but for those along its axes, which are written anew when it is drawn."""
    for part in (child for group in (figure, *figure.axes) for child in group.get_children()):
        if isinstance(part, Legend):
            yield from part.get_texts()
        elif isinstance(part, Text | Axis):
            yield part if isinstance(part, Text) else part.label


def _ids(node):
    """Keys with a hyphen or underscore that the maker gave to things of a study, but for its orders, which commands name."""
    for name, value in vars(node).items() if hasattr(node, "__dict__") else ():
        if name in _NAMED and isinstance(value, dict):
            yield from (key for key in value if "-" in key or "_" in key)
            for inner in value.values():
                yield from _ids(inner)
        elif name in ("mould", "time"):
            yield from _ids(value)


def _without_bands(frame, columns):
    """A table of a study in which nothing scatters: ends of bands that have no width go, and what lies between them has a plain name."""
    for low, high, middle, name in _ENDS:
        if not {low, high} <= set(frame.columns):
            continue
        ends = frame[[low, high]].astype(float)
        if (ends[low].isna() | np.isclose(ends[low], ends[high], rtol=1e-9)).all():
            gone, renamed = {low, high, "mean", "error of mean"} - {middle}, {middle: name} if middle in columns else {}
            frame = frame.drop(columns=list(gone & set(frame.columns))).rename(columns=renamed)
            columns = {renamed.get(key, key): style for key, style in columns.items() if key not in gone}
    return frame, columns
