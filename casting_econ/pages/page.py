"""Kind of output that a notebook leaves for a sweep to collect."""

import html
import io
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from IPython.display import HTML, Image, Markdown, display
from matplotlib.figure import Figure

from ..kit import OpenStudy, format_of

__all__ = ["Page"]

RECORD_MIME = "application/vnd.casting-econ.record+json"
_ENDS = (
    ("1 in 10 below", "1 in 10 above", "half below", "in every draw"),
    ("lowest, 1 in 10 below", "lowest, half below", "lowest, half below", "lowest"),
    ("back, 1 in 10 sooner", "back, 1 in 10 later", "back, half sooner", "back"),
    ("low", "high", None, None),
)


class Page:
    """Shows things in a notebook and, if told where, keeps them as files.

    Parameters
    ----------
    kit : OpenStudy
        Open study; gives currency and locale.
    out : str
        Folder for PNG, SVG and CSV files; "" keeps none.
    year : bool, optional
        As for `format_of`.
    """

    def __init__(self, kit: OpenStudy, out: str = "", *, year: bool = True) -> None:
        self.fmt, self.out = format_of(kit, year=year), Path(out) if out else None
        for folder in ("figures", "tables") if out else ():
            (self.out / folder).mkdir(parents=True, exist_ok=True)

    def figure(self, figure: Figure, name: str, alt: str) -> None:
        """Show a figure with its alternative text; keep it as PNG and SVG."""
        picture = io.BytesIO()
        figure.savefig(picture, format="png", dpi=130, bbox_inches="tight", metadata={"Software": None})
        if self.out:
            (self.out / "figures" / f"{name}.png").write_bytes(picture.getvalue())
            figure.savefig(self.out / "figures" / f"{name}.svg", bbox_inches="tight", metadata={"Date": None})
        plt.close(figure)
        display(Image(picture.getvalue(), alt=alt, width=560))

    def table(self, frame: pd.DataFrame, name: str, caption: str, *, fold: bool = False, **columns: str) -> None:
        """Show a table, each column written as asked; keep the raw numbers as CSV.

        A folded table opens at a click on its caption. Columns take 'money', 'money0', 'percent', 'percent1', 'chance', 'figure', 'text' or a number of digits.
        """
        if self.out:
            frame.to_csv(self.out / "tables" / f"{name}.csv", index=False, lineterminator="\n")
        columns = {key.replace("_", " "): str(style) for key, style in columns.items()}
        frame = frame.rename(columns=lambda name: str(name).replace("_", " "))
        if self.fmt.certain:
            frame, columns = _without_bands(frame, columns)
        if frame.empty:
            return self.say(f"{caption}: nothing recorded.")
        unknown = set(columns) - set(frame.columns)
        if unknown:
            raise KeyError(f"table {name} has no column {', '.join(sorted(unknown))}; it has {', '.join(frame.columns)}")
        shown = [column for column in frame.columns if column in columns]
        head = "".join(f'<th scope="col"{self._side(columns[c])}>{html.escape(c)}</th>' for c in shown)
        body = "".join(self._row(row, shown, columns) for _, row in frame.iterrows())
        title = html.escape(caption)
        table = f"<table><caption>{title}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        display(HTML(f"<details><summary>{title}</summary>{table}</details>" if fold else table))

    def _row(self, row, shown, columns):
        cells = []
        for place, column in enumerate(shown):
            style = columns[column]
            text = html.escape(self._write(row[column], style))
            cells.append(f'<th scope="row">{text}</th>' if place == 0 else f"<td{self._side(style)}>{text}</td>")
        return f"<tr>{''.join(cells)}</tr>"

    @staticmethod
    def _side(style) -> str:
        return ' class="text"' if style == "text" else ""

    def _write(self, value, style) -> str:
        if style == "text":
            return "" if value is None or value != value else str(value)
        if value is None or value != value:
            return "–"
        if style.startswith("money"):
            return self.fmt.money(value, int(style[5:] or 2))
        if style in ("chance", "figure"):
            return getattr(self.fmt, style)(value)
        if style.startswith("percent"):
            return self.fmt.percent(value, int(style[7:] or 0))
        return self.fmt.number(value, int(style))

    def say(self, text: str) -> None:
        """Show a sentence or a list in Markdown."""
        display(Markdown(text))

    def record(self, **numbers: float) -> None:
        """Leave numbers in the notebook for a sweep to collect."""
        rounded = {name: float(f"{value:.9g}") for name, value in numbers.items()}
        display({RECORD_MIME: rounded, "text/plain": ", ".join(f"{k} = {v:.4g}" for k, v in rounded.items())}, raw=True)


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
