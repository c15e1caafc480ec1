"""Every key of the study file in words, from its one declaration in `schema` and `commissions`."""

import datetime as dt
from functools import cache
from typing import Literal, get_args, get_origin

from ..faults import close_match, refusal
from ..reference import kit_folder
from .fields import Node, Reads
from .schema import StudyFile
from .text import lines_of

_KINDS = {str: "text", bool: "true or false", int: "a whole number", float: "a number", dt.date: "a day such as 2026-12-24"}


def _parts(annotation):
    """A type and all that it is made of."""
    return [annotation, *(part for inner in get_args(annotation) for part in _parts(inner))]


@cache
def keys_of(table=StudyFile, path=""):
    """Every key of a table and of those in it, dotted, with NAME where the file has names of its own; each with its FieldInfo."""
    found = {}
    for name, field in table.model_fields.items():
        place, parts = f"{path}{field.alias or name}", _parts(field.annotation)
        names = ".NAME" * sum(get_origin(part) is dict for part in parts)
        inner = next((part for part in parts if isinstance(part, type) and issubclass(part, Node)), None)
        found |= {place: field} | (keys_of(inner, f"{place}{names}.") if inner else {})
    return found


def names_at(path: list[str]) -> list[str]:
    """Names of the keys that the table at a path of keys may have."""
    return [key.rpartition(".")[2] for key in keys_of() if _fits(key.split(".")[:-1], path)]


def explained(asked: str = "") -> list[str]:
    """A key of the study file in lines: what it is, takes and is if not given, and a demo's line; a table with its keys; or all tables.

    StudyError for an unknown key, with the nearest.
    """
    if not asked:
        return [f"{key}: {field.description}" for key, field in keys_of().items() if "." not in key]
    path = asked.split(".")
    place = next((key for cut in (path, path[:-1]) for key in keys_of() if _fits(key.split("."), cut)), None)
    if place is None:
        right = f"a dotted key such as channels.NAME.orders{close_match(asked, keys_of(), None)}; explain alone lists the tables"
        raise refusal("explain", "unknown key", right, found=repr(asked))
    own, start = keys_of()[place], f"{place}."
    inner = {key: field for key, field in keys_of().items() if key.startswith(start)}
    inner = {key: field for key, field in inner.items() if "." not in key.removeprefix(start).removeprefix("NAME.")}
    lines = [f"{place}: {own.description}", "  " + "; ".join(filter(None, ["" if inner else kind_of(own), left_out(own)]))]
    lines += [f"  {key}: {field.description}; {left_out(field)}" for key, field in inner.items()]
    return lines + example_of(place.split("."))


def _fits(key, asked):
    return len(key) == len(asked) and all(part in ("NAME", other) for part, other in zip(key, asked))


def kind_of(field):
    """What a key takes, in words; '' where its line says it."""
    parts = [*_parts(field.annotation), *field.metadata]
    reads = [part.func.quantity.in_words("EUR") for part in parts if isinstance(getattr(part, "func", None), Reads)]
    choices = [f"one of {', '.join(get_args(part))}" for part in parts if get_origin(part) is Literal]
    if not reads and get_origin(field.annotation) is dict:
        return "names, each with its own"
    return next(iter([*reads, *choices, *(_KINDS[part] for part in parts if part in _KINDS)]), "")


def left_out(field):
    """What a key is if it is not given."""
    default = getattr(field.default, "value", field.default)
    said = str(default).lower().removesuffix(".0") if isinstance(default, str | int | float) else ""
    return "needed" if field.is_required() else f"{said} if not given" if said else "may be left out"


def example_of(key):
    """The first line of a demo that has a key, by itself, under a name of the demo's or within braces."""
    for path in ([*key, "NAME"], *(key[:count] for count in range(len(key), 0, -1))):
        for demo, lines in _demo_lines().items():
            for keys, line in lines:
                if (len(path) >= len(key) or f"{key[-1]} = " in line) and _fits(path, keys):
                    return [f"  as in {demo}: {line}"]
    return []


@cache
def _demo_lines():
    """The first line of each key of each demo, with its dotted names."""
    found = {}
    for demo in sorted(kit_folder("data").glob("*/study.toml")):
        text = demo.read_text(encoding="utf-8")
        rows, lines = lines_of(text).items(), text.splitlines()
        found[demo.parent.name] = [([part for part in keys if not part.isdigit()], lines[row - 1].strip()) for keys, row in rows]
    return found
