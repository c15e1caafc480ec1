"""Sliders, fields and buttons of a page, as the browser has them of its own: a name tied to each, and what is said is what is shown."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import anywidget
from traitlets import Dict, List


def choice(key: str, label: str, options: dict[str, str], **more: Any) -> dict[str, Any]:
    """One of a few, by what is kept and what is shown; `radio` shows them all."""
    return {"kind": "choice", "key": key, "label": label, "options": list(options.items()), **more}


def slider(key: str, label: str, words: list[str], now: int) -> dict[str, Any]:
    """A slider over places, each with what is shown and said there; its value is the number of the place."""
    return {"kind": "slider", "key": key, "label": label, "words": words, "now": now}


def text(key: str, label: str, hint: str = "") -> dict[str, Any]:
    """A line to write in, with a hint that stays in sight."""
    return {"kind": "text", "key": key, "label": label, "hint": hint}


def group(title: str, *parts: dict[str, Any], folded: bool = False, wide: bool = False) -> dict[str, Any]:
    """Parts under a title, folded or not; a `wide` page shows the group beside the others."""
    return {"kind": "group", "title": title, "parts": list(parts), "folded": folded, "wide": wide}


def button(key: str, label: str) -> dict[str, Any]:
    """A button; `pressed` gets its key."""
    return {"kind": "button", "key": key, "label": label}


def words(key: str, *, live: bool = False, top: bool = False) -> dict[str, Any]:
    """A place for what `said` has under that key, as HTML; read out as it changes if `live`, and always in sight at the `top`."""
    return {"kind": "words", "key": key, "live": live, "top": top}


class Controls(anywidget.AnyWidget):
    """A page of parts; `values`, `faults`, `hints` that change and `said` are by the keys of the parts."""

    _esm = Path(__file__).with_name("controls.js")
    _css = Path(__file__).with_name("controls.css")
    parts = List().tag(sync=True)
    values = Dict().tag(sync=True)
    faults = Dict().tag(sync=True)
    hints = Dict().tag(sync=True)
    said = Dict().tag(sync=True)

    def __init__(self, pressed: dict[str, Callable[[], None]], **traits: Any) -> None:
        super().__init__(**traits)
        self.pressed = pressed
        self.on_msg(lambda _, message, __: self.press(message["pressed"], message["values"]))

    def press(self, key: str, values: dict[str, Any] | None = None) -> None:
        """What a button does, with the values that its page has by then."""
        if values is not None:
            self.values = values
        self.pressed[key]()

    def say(self, **said: str) -> None:
        """Show other words at some places."""
        self.said = {**self.said, **said}
