"""How a page shows a frame: the name it is kept under, its caption, and a style for each column."""

import inspect
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps

import pandas as pd

NOTHING = "nothing"  # mark on a sentence that only says that there is nothing to show: a report leaves it out
SVG = "image/svg+xml"  # kind of the charts that a page keeps
_KEY = "shown"


@dataclass(frozen=True, kw_only=True)
class Shown:
    """What a frame carries with it to the page, also through a selection of its rows."""

    name: str  # of the CSV file
    caption: str
    columns: dict[str, str | None]  # column to style, * for every other; columns without one are kept, but not shown
    fold: bool  # whether it opens at a click on its caption

    def __deepcopy__(self, memo) -> "Shown":
        """Itself, as it never changes: pandas copies what a frame carries with every column that is looked at."""
        return self


def shown(name: str, caption: str, columns: str, *, fold: bool = False) -> Callable:
    """Let the frame that a function returns carry how a page shows it, as `Shown` in its `attrs`; a function may return its rows alone, as
    tuples with their cells in the order of the columns.

    `name` and `caption` may hold arguments of the function in braces, such as {product}. `columns` are columns and their styles, such as
    'step: text; money a year: money0; *: 2', where * is every other column. Styles are money, money0, percent, percent1, chance, sure,
    significant, figure, weeks, months, weeks1, text or a number of digits; a column that is kept, but not shown, has the style kept. With `fold` the table opens
    at a click on its caption.

    >>> @shown("steps", "Steps of {product}", "step: text; minutes: 1; key: kept")
    ... def steps(product):
    ...     return [("pour", 6.0, "a")]
    >>> frame = steps("knob")
    >>> list(frame), shown_as(frame).caption, shown_as(frame).columns["key"]
    (['step', 'minutes', 'key'], 'Steps of knob', None)
    """
    styles = styles_of(columns)

    def decorate(function):
        signature = inspect.signature(function)

        @wraps(function)
        def table(*args, **kwargs) -> pd.DataFrame:
            given = signature.bind(*args, **kwargs)
            given.apply_defaults()
            frame = function(*args, **kwargs)
            if not isinstance(frame, pd.DataFrame):
                frame = pd.DataFrame(frame, columns=list(styles))
            kept = name.format(**given.arguments).replace(" ", "-")
            frame.attrs[_KEY] = Shown(name=kept, caption=caption.format(**given.arguments), columns=styles, fold=fold)
            return frame

        return table

    return decorate


def styles_of(columns: str) -> dict[str, str | None]:
    """Style by column, from 'step: text; *: 2'; None for what is kept, but not shown."""
    found = dict(part.strip().rsplit(": ", 1) for part in columns.split(";"))
    return {column: None if style == "kept" else style for column, style in found.items()}


def shown_as(frame: pd.DataFrame, **other: object) -> Shown:
    """How a page shows this frame: as its function said, or otherwise where something else is given."""
    told = vars(frame.attrs[_KEY]) if _KEY in frame.attrs else {"fold": False}
    return Shown(**told | {key: value for key, value in other.items() if value is not None})
