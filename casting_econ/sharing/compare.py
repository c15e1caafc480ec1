"""`casting-econ compare`: two studies or packs side by side, results on common draws."""

import re
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from ..assumptions import label
from ..faults import StudyError, counted, refusal
from ..formatting import Format
from ..kit import OpenStudy, format_of, open_study
from ..ledger.logs import FREE, LOGS
from ..pages.records import assumption_table
from ..reference import words
from ..study import STUDY_FILE
from ..study.scenarios import dotted
from ..templates import page_style, template, write_whole
from .form import read_pack, write_study


@dataclass(frozen=True, kw_only=True)
class Result:
    """One result in both studies; the difference draw by draw."""

    what: str
    style: str
    before: float | None  # mean; None where only the other has it, or where no value does in some draw
    after: float | None
    difference: float | None = None  # mean
    low: float | None = None  # middle eight in ten of the difference
    high: float | None = None
    higher: float | None = None  # chance that it is higher then
    middles: tuple[float, float] = (np.nan, np.nan)  # that half of the draws exceed before and after, of what both have

    @property
    def same(self) -> bool:
        """Whether it is the same in every draw."""
        return self.low == self.high == self.difference == 0.0


@dataclass(kw_only=True)
class Comparison:
    """What differs between two studies."""

    names: tuple[str, str]  # of the studies
    places: tuple[str, str]  # folder or archive
    fmt: Format
    stated: tuple[str, ...]  # who and when, where a study states it
    draws: int
    numbers: list[dict[str, str]] = field(default_factory=list)  # key, what, before, after, note
    told: list[dict[str, str]] = field(default_factory=list)  # numbers stated alike that the records tell otherwise
    records: list[dict[str, str]] = field(default_factory=list)
    results: list[Result] = field(default_factory=list)
    only: list[str] = field(default_factory=list)  # products, steps and the like that only one has


def compare_studies(before: Path | str, after: Path | str) -> Comparison:
    """Compare two study folders or packs; of a pack the study in it, which is worked out here.

    Results are on the draws of the first study, as scenarios are compared: what both share is the same in every draw.

    StudyError for faults in either, a refused archive, or two currencies.
    """
    places = Path(before), Path(after)
    with _opened(places[0]) as one, _opened(places[1]) as other:
        if one.study.currency != other.study.currency:
            found = f"{other.study.currency}, the first in {one.study.currency}"
            raise refusal(str(after), "is in another currency", "two studies in one currency", found=found)
        tables, fmt = [kit.study.file.study for kit in (one, other)], format_of(one)
        return Comparison(
            names=(tables[0].name, tables[1].name),
            places=(places[0].name, places[1].name),
            fmt=fmt,
            stated=tuple(filter(None, map(_stated, ("before", "after"), tables))),
            draws=one.plan_of_draws()[0],
            numbers=_changed_keys(one, other, any(place.is_file() for place in places)),
            told=_told_otherwise(one, other, fmt),
            records=_changed_rows(one, other, fmt),
            results=_results(one, other),
            only=_only(one, other),
        )


@contextmanager
def _opened(place: Path) -> Iterator[OpenStudy]:
    """A study folder, or the study of a pack in a folder of its own; faults say in which of the two they are."""
    with tempfile.TemporaryDirectory(prefix="casting-econ-") as folder:
        study = write_study(read_pack(place).members, Path(folder)) if place.is_file() else place
        try:
            kit = open_study(study)
        except StudyError as error:
            raise StudyError([replace(f, file=f"{place}: {f.file}") for f in error.faults]) from None
        yield kit


def _stated(which, table):
    """Who changed a study, and when, as far as it says so."""
    by = f" by {table.changed_by}" if table.changed_by else ""
    on = f" on {table.changed_on:%Y-%m-%d}" if table.changed_on else ""
    return f"The study {which} was changed{by}{on}, as it states." if by or on else ""


def _changed_keys(one, other, packed):
    """Every line of the study file that was changed, gone or new, with the reason it gives.

    Who changed a study is told apart; how records are read is compared between folders only, as a pack does not say.
    """
    lines, rows = [dict(dotted(kit.study.raw)) for kit in (one, other)], []
    for key in dict.fromkeys((*lines[0], *lines[1])):
        (_, before, why), (_, after, note) = told = [(key in own, _plainly(own.get(key)), _note(own.get(key))) for own in lines]
        if key in ("study.changed_by", "study.changed_on") or (packed and key.startswith("records.")) or told[0] == told[1]:
            continue
        what = label(key) if key.startswith(("products.", "channels.")) else key
        rows.append({"key": key, "what": what, "before": before, "after": after, "note": note or (why and f"before: {why}")})
    return rows


def _note(value):
    return "; ".join(str(value[key]) for key in ("note", "source") if value.get(key)) if isinstance(value, dict) else ""


def _plainly(value) -> str:
    """A value of a study file as a reader would say it; '–' where there is none."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_plainly(item) for item in value) or "none"
    if not isinstance(value, dict):
        return str(value)
    parts = {key: f"{key} {_plainly(inner)}" for key, inner in value.items()}
    if {"low", "likely", "high"} <= set(value):
        text = f"{value['low']} to {value['high']}, likely {value['likely']}"
    elif "distribution" in value:
        apart = ("distribution", "note", "source", "basis", "from", "worth")
        text = ", ".join([value["distribution"], *(text for key, text in parts.items() if key not in apart)])
    elif "value" in value:
        text = str(value["value"])
    else:
        return ", ".join(parts.values()) or "none"
    if "from" in value:
        text += f", a guess worth {value['worth']} beside the records" if "worth" in value else ", or what the records say"
    return text + (f" ({value['basis']})" if "basis" in value else "")


def _told_otherwise(one, other, fmt):
    """Numbers that both state alike and that the records now tell otherwise."""
    old, new = (assumption_table(kit).set_index("key") for kit in (one, other))
    stated = [{key: number.value for key, number in kit.study.numbers.items()} for kit in (one, other)]
    rows = []
    for key in old.index.intersection(new.index):
        alike = all(key in values for values in stated) and stated[0][key] == stated[1][key]
        if alike and not np.isclose(old.value[key], new.value[key], rtol=1e-9, atol=0.0):
            before, after = (f"{fmt.significant(value)} {old.unit[key]}".strip() for value in (old.value[key], new.value[key]))
            note = ", then ".join(dict.fromkeys((old["rests on"][key], new["rests on"][key])))
            rows.append({"key": key, "what": old.number[key], "before": before, "after": after, "note": note})
    return rows


def _only(one, other):
    """What only one of the studies has."""
    kinds = {
        "product": lambda file: file.products,
        "step": lambda file: [f"{name}: {step}" for name, product in file.products.items() for step in product.steps],
        "channel": lambda file: file.channels,
        "station or rack": lambda file: [*file.stations, *file.racks],
    }
    files, lines = (one.study.file, other.study.file), []
    for kind, names in kinds.items():
        for which, mine, yours in (("before", *files), ("after", *files[::-1])):
            if alone := [name for name in names(mine) if name not in names(yours)]:
                lines.append(f"Only {which}: {kind} {', '.join(alone)}.")
    return lines


def _changed_rows(one, other, fmt):
    """Rows that came and went, by log; a changed row is one of each. Notes are not compared: a pack may leave them out."""
    logs, rows = [kit.study.whole_logs for kit in (one, other)], []
    for log, columns in LOGS.items():
        names = [name for name, (kind, _) in columns.items() if kind != FREE]
        frames = [frames.get(log, pd.DataFrame()).reindex(columns=names).astype(object) for frames in logs]
        old, new = (Counter(map(tuple, f.where(f.notna(), None).to_numpy().tolist())) for f in frames)
        if old != new:
            here = {"log": log, "before": fmt.number(old.total()), "after": fmt.number(new.total())}
            rows.append(here | {"new rows": _dated(new - old, names, fmt), "rows gone": _dated(old - new, names, fmt)})
    return rows


def _dated(rows, names, fmt):
    """How many rows, and of which days."""
    at = names.index("date" if "date" in names else "made")
    dates = sorted(pd.Timestamp(row[at]) for row in rows if row[at] is not None)
    days = " to ".join(dict.fromkeys(f"{dates[i]:%Y-%m-%d}" for i in (0, -1))) if dates else ""
    return fmt.number(rows.total()) + (f" ({days})" if days else "") if rows else "none"


def _draws(kit, base):
    """Results by draw, on the draws of the first study."""
    answer = kit.monte_carlo(*base.plan_of_draws(), base=base)
    year, each = words("result")["year"], words("result")["product"]
    names = [*year, *(f"{product}/{name}" for product in kit.study.file.products for name in each)]
    return {name: answer.draws[name] for name in names} | {name: pays * 1.0 for name, pays in answer.pays.items()}


def _results(one, other):
    try:
        old, new = (_draws(kit, one) for kit in (one, other))
    except ValueError as error:
        right, wrong = "a study whose year can be worked out", "results cannot be worked out"
        raise refusal(STUDY_FILE, wrong, right, found=str(error)) from None
    rows, told = [], words("result")
    for key in dict.fromkeys((*old, *new)):
        product, _, name = key.rpartition("/")
        what, style = (told["product"] if product else told["year"] | told["chance"])[name]
        rows.append(_result(f"{product.replace('-', ' ')}: {what}" if product else what, style, old.get(key), new.get(key)))
    return rows


def _result(what, style, old, new):
    """One result with the band of its difference, as far as every draw has one; draws with nothing to compare are left out."""
    if old is not None and new is not None:
        both = ~(np.isnan(old) | np.isnan(new))
        old, new = (old[both], new[both]) if both.any() else (None, None)
    before, after = (None if v is None or not np.isfinite(v).all() else float(v.mean()) for v in (old, new))
    found = Result(what=what, style=style, before=before, after=after)
    if before is None or after is None:
        return found
    # what only the last bits of a sum move is no difference
    gap = np.where(np.abs(new - old) <= 1e-9 * np.maximum(np.abs(old), np.abs(new)), 0.0, new - old)
    found = replace(found, difference=float(gap.mean()), middles=(float(np.median(old)), float(np.median(new))))
    if style == "chance":  # a draw pays or does not: between none and all there is no band
        return found if gap.any() else replace(found, low=0.0, high=0.0)
    low, high = map(float, np.quantile(gap, [0.1, 0.9]))
    return replace(found, low=low, high=high, higher=float((gap > 0).mean()))


def _difference(fmt, value, style):
    """A difference with its sign; shares as points of a hundred."""
    if value is None:
        return "–"
    size = abs(value)
    text = f"{fmt.number(size * 100, 1)} points" if style in ("chance", "percent1") else fmt.styled(size, style)
    return text if re.search("[1-9]", text) is None else f"{'+' if value > 0 else '−'}{text}"


def _cells(one, fmt):
    """One result as it is written: before, after, difference, its band, the chance that it is higher."""
    ends = [_difference(fmt, value, one.style) for value in (one.difference, one.low, one.high)]
    change = ["none", "–", "–"] if one.same else [ends[0], "–" if one.low is None else f"{ends[1]} to {ends[2]}"]
    change += [fmt.styled(one.higher, "chance")] if not one.same else []
    return [one.what, fmt.styled(one.before, one.style), fmt.styled(one.after, one.style), *change]


def _sections(found: Comparison) -> list[dict]:
    """Tables of a comparison as text: caption, heads, rows, and how many columns from the left are words."""

    def section(title, caption, heads, rows, text, none=""):
        return {"title": title, "caption": caption, "heads": heads.split("; "), "rows": rows, "text": text, "none": none}

    numbers, told = ([[*row.values()][1:] for row in rows] for rows in (found.numbers, found.told))  # without their keys
    logs, results = [[*row.values()] for row in found.records], [_cells(one, found.fmt) for one in found.results]
    changed, why = "What was changed in the study file", "Each line that says another thing, with the reason it gives."
    moved, alike = "Numbers that the records changed", "Both study files state these alike; the records tell them otherwise."
    rows, corrected = "Rows of the records that came and went", "A corrected row is one gone and one new. Notes are not compared."
    heads, none = "log; rows before; rows after; new rows; rows gone", "The records are the same (notes are not compared)."
    return [
        section(changed, why, "number or line; before; after; why", numbers, 4, "The study files say the same."),
        section(moved, alike, "number; before; after; rests on", told, 4, "The records changed no number."),
        section(rows, corrected, heads, logs, 1, none),
        section("Results", _method(found), "result; before; after; difference; middle eight in ten; chance higher", results, 1),
    ]


def _summary(found: Comparison) -> list[str]:
    """The comparison in sentences."""
    pay, fmt, lines = found.results[0], found.fmt, []
    if found.names[0] != found.names[1]:
        lines.append(f"Two studies of different names: {found.names[0]} and {found.names[1]}.")
    if pay.before is None or pay.after is None:
        lines.append("Pay an hour cannot be worked out in every draw.")
    elif pay.same:
        lines.append(f"Pay an hour is the same, {fmt.money(pay.before)}.")
    else:
        gap, low, high = (_difference(fmt, value, "money") for value in (pay.difference, pay.low, pay.high))
        likely = f"a difference of {gap}, most likely between {low} and {high} (the middle eight in ten draws)"
        lines.append(f"Pay an hour goes from {fmt.money(pay.before)} to {fmt.money(pay.after)}: {likely}.")
    middles, means = (
        list(dict.fromkeys(fmt.styled(end, "money") for end in ends)) for ends in (pay.middles, (pay.before, pay.after))
    )
    if np.isfinite(pay.middles).all() and middles != means:
        first = "which the first page of a report says, on draws of its own"
        lines.append(f"That is the mean of the draws; half of them bring more than {', then '.join(middles)}, {first}.")
    changes = [counted(len(found.numbers), "line") + " of the study file"]
    changes += [counted(len(found.records), "log")] if found.records else []
    lines.append(f"Changed: {' and '.join(changes)}." if found.numbers or found.records else "Nothing was changed.")
    return [*lines, *found.stated, *found.only]


def _method(found):
    return f"Means of the same {found.fmt.number(found.draws)} draws, those of the first study, so that a difference is due to what was changed and not to chance."


def comparison_tables(found: Comparison) -> list:
    """The comparison for a terminal: sentences and tables that rich prints."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    parts: list = [Text(line) for line in _summary(found)]
    alike = [one.what for one in found.results if one.same]
    for section in _sections(found):
        if not section["rows"]:
            parts.append(Text(f"\n{section['none']}"))
            continue
        table = Table(title=section["title"], title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False)
        for at, head in enumerate(section["heads"]):
            table.add_column(head, justify="left" if at < section["text"] else "right")
        same = alike if section["title"] == "Results" else []
        for row in section["rows"]:
            if row[0] not in same:  # a terminal is narrow and short; the page has every row
                table.add_row(*map(Text, row))
        if same:
            table.caption, table.caption_justify = "The same: " + ", ".join(same), "left"
        parts += [Text(""), table]
    return [*parts, Text(_method(found))]


def comparison_page(found: Comparison, target: Path | str) -> None:
    """Write the comparison as one page that needs nothing outside itself, or replace it; StudyError if it cannot be written."""
    target = Path(target)
    if target.suffix.lower() not in (".html", ".htm") or target.is_dir():
        raise refusal(str(target), "is no name for a page", "a name that ends in .html")
    page = template(Path(__file__).with_name("compare.html.j2"))
    text = page.render(found=found, style=page_style(), summary=_summary(found), sections=_sections(found))
    write_whole(target, text.encode())
