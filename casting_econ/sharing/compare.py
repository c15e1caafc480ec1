"""`casting-econ compare`: two studies or packs side by side, results on common draws."""

import contextlib
import os
import re
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from ..assumptions import label
from ..draws import round_up_draws
from ..faults import Fault, StudyError, counted
from ..formatting import Format
from ..kit import OpenStudy, format_of, open_study
from ..ledger.logs import FREE, LOGS
from ..models import evaluate
from ..pages.records import assumption_table
from ..templates import template
from .pack import read_pack

__all__ = ["Comparison", "Result", "compare_studies", "comparison_page", "comparison_tables"]

# quantity -> words, and how it is written
_STUDIO = {
    "pay_per_hour": ("pay an hour", "money"),
    "residual_pay_per_year": ("pay a year", "money0"),
    "hours_per_year": ("hours a year", "number"),
    "revenue_per_year": ("sales and postage charged, a year", "money0"),
    "material_per_year": ("material a year", "money0"),
    "overhead_per_year": ("overheads a year", "money0"),
    "pieces_sold_per_year": ("pieces sold a year", "number"),
    "good_pieces_per_year": ("good pieces made a year", "number"),
    "loads_per_week": ("loads a week", "significant"),
}
_PRODUCT = {
    "yield": ("good pieces of those cast", "percent"),
    "minutes_per_good_piece": ("minutes a good piece", "significant"),
    "material_per_good_piece": ("material a good piece", "money"),
    "cost_per_good_piece": ("cost of a good piece", "money"),
    "break_even_price": ("price at which pay meets the target", "money"),
}
_CHANCES = {"hour": "chance that an hour pays the target", "year": "chance that a year pays a living"}


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
    """Compare two studies.

    Parameters
    ----------
    before, after : Path or str
        Study folder, or pack; of a pack the study in it, which is worked out here.

    Returns
    -------
    Comparison
        Results on the draws of the first study, as scenarios are compared: what both share is the same in every draw.

    Raises
    ------
    StudyError
        For faults in either, a refused archive, or two currencies.
    """
    with _opened(before) as one, _opened(after) as other:
        if one.study.currency != other.study.currency:
            raise StudyError(
                [
                    Fault(
                        file=str(after),
                        wrong="is in another currency",
                        found=f"{other.study.currency}, the first in {one.study.currency}",
                        right="two studies in one currency",
                    )
                ]
            )
        tables = [kit.study.file.study for kit in (one, other)]
        found = Comparison(
            names=(tables[0].name, tables[1].name),
            places=(Path(before).name, Path(after).name),
            fmt=format_of(one),
            stated=tuple(
                _stated(which, table) for which, table in zip(("before", "after"), tables) if table.changed_by or table.changed_on
            ),
            draws=round_up_draws(tables[0].draws),
        )
        found.numbers, found.told, found.only = (
            _changed_keys(one, other),
            _told_otherwise(one, other, found.fmt),
            _only(one, other),
        )
        found.records, found.results = _changed_rows(one, other, found.fmt), _results(one, other, found.draws)
    return found


@contextmanager
def _opened(place: Path | str) -> Iterator[OpenStudy]:
    """A study folder, or the study of a pack in a folder of its own."""
    place = Path(place)
    if not place.is_file():
        yield _open(place, place)
        return
    with tempfile.TemporaryDirectory(prefix="casting-econ-") as folder:
        read_pack(place).write_study(Path(folder))
        yield _open(Path(folder) / "study", place)


def _open(folder, place):
    """An open study; faults say in which of the two they are."""
    try:
        return open_study(folder)
    except StudyError as error:
        faults = [
            Fault(file=f"{place}: {f.file}", row=f.row, column=f.column, wrong=f.wrong, found=f.found, right=f.right)
            for f in error.faults
        ]
        raise StudyError(faults) from None


def _stated(which, table):
    by = f" by {table.changed_by}" if table.changed_by else ""
    return f"The study {which} was changed{by}{f' on {table.changed_on:%Y-%m-%d}' if table.changed_on else ''}, as it states."


def _leaves(node, path=()):
    """What a study file states, by dotted key: a number with its spread and reason is one thing."""
    for key, value in node.items():
        here = (*path, key)
        if isinstance(value, dict) and not {"value", "low", "likely", "high", "distribution"} & set(value):
            yield from _leaves(value, here)
        else:
            yield ".".join(here), value


def _changed_keys(one, other):
    """Every line of the study file that was changed, gone or new, with the reason it gives."""
    before, after = dict(_leaves(one.study.raw)), dict(_leaves(other.study.raw))
    rows = []
    for key in dict.fromkeys((*before, *after)):
        old, new = before.get(key), after.get(key)
        if (
            key in ("study.changed_by", "study.changed_on")
            or old == new
            or ((key in before) == (key in after) and _plainly(old) == _plainly(new) and _note(old) == _note(new))
        ):
            continue
        note = _note(new) or (_note(old) and f"before: {_note(old)}")
        what = label(key) if key.startswith(("products.", "channels.")) else key
        rows.append({"key": key, "what": what, "before": _plainly(old), "after": _plainly(new), "note": note or ""})
    return rows


def _note(value):
    if not isinstance(value, dict):
        return ""
    return "; ".join(str(value[key]) for key in ("note", "source") if value.get(key))


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
    if {"low", "likely", "high"} <= set(value):
        text = f"{value['low']} to {value['high']}, likely {value['likely']}"
    elif "distribution" in value:
        rest = (
            f"{key} {_plainly(figure)}"
            for key, figure in value.items()
            if key not in ("distribution", "note", "source", "basis", "from", "worth")
        )
        text = f"{value['distribution']}, {', '.join(rest)}"
    elif "value" in value:
        text = str(value["value"])
    else:
        return ", ".join(f"{key} {_plainly(inner)}" for key, inner in value.items()) or "none"
    if "from" in value:
        text += f", a guess worth {value['worth']} beside the records" if "worth" in value else ", or what the records say"
    return text + (f" ({value['basis']})" if "basis" in value else "")


def _told_otherwise(one, other, fmt):
    """Numbers that both state alike and that the records now tell otherwise."""
    old, new = (assumption_table(kit).set_index("key") for kit in (one, other))
    rows = []
    for key in old.index.intersection(new.index):
        if (
            key not in one.study.numbers
            or key not in other.study.numbers
            or one.study.numbers[key].value != other.study.numbers[key].value
        ):
            continue
        values = old.value[key], new.value[key]
        if not np.isclose(*values, rtol=1e-9, atol=0.0):
            before, after = (f"{fmt.significant(value)} {old.unit[key]}".strip() for value in values)
            rows.append(
                {
                    "key": key,
                    "what": old.number[key],
                    "before": before,
                    "after": after,
                    "note": ", then ".join(dict.fromkeys((old["rests on"][key], new["rests on"][key]))),
                }
            )
    return rows


def _only(one, other):
    """What only one of the studies has."""
    parts = {
        "product": lambda file: [*file.products],
        "step": lambda file: [f"{name}: {step}" for name, product in file.products.items() for step in product.steps],
        "channel": lambda file: [*file.channels],
        "station or rack": lambda file: [*file.stations, *file.racks],
    }
    lines = []
    for kind, names in parts.items():
        sets = names(one.study.file), names(other.study.file)
        for which, mine, yours in (("before", *sets), ("after", *reversed(sets))):
            if alone := [name for name in mine if name not in yours]:
                lines.append(f"Only {which}: {kind} {', '.join(alone)}.")
    return lines


def _changed_rows(one, other, fmt):
    """Rows that came and went, by log; a changed row is one of each. Notes are not compared: a pack may leave them out."""
    rows = []
    for log, columns in LOGS.items():
        names = [name for name, (kind, _) in columns.items() if kind != FREE]
        old, new = (_rows(kit, log, names) for kit in (one, other))
        if old == new:
            continue
        added, gone = new - old, old - new
        rows.append(
            {
                "log": log,
                "before": fmt.number(old.total()),
                "after": fmt.number(new.total()),
                "new rows": _dated(added, names, fmt),
                "rows gone": _dated(gone, names, fmt),
            }
        )
    return rows


def _rows(kit, log, names):
    """Rows of a log as they are compared: each with how often it is there."""
    frames = [
        kit.study.records.get(log),
        kit.study.in_work if log == "batches" else kit.study.in_work_faults if log == "faults" else None,
    ]
    found: Counter = Counter()
    for frame in frames:
        if frame is not None and len(frame):
            cells = frame.reindex(columns=names).astype(object)
            found.update(map(tuple, cells.where(cells.notna(), None).to_numpy().tolist()))
    return found


def _dated(rows, names, fmt):
    """How many rows, and of which days."""
    if not rows:
        return "none"
    at = names.index("date") if "date" in names else names.index("made")
    dates = sorted(pd.Timestamp(row[at]) for row in rows if row[at] is not None)
    days = list(dict.fromkeys(f"{dates[i]:%Y-%m-%d}" for i in (0, -1))) if dates else []
    return fmt.number(rows.total()) + (f" ({' to '.join(days)})" if days else "")


def _draws(kit, base, draws, seed):
    """Results by draw, on the draws of the first study."""

    def work(a):
        outcome = evaluate(a)
        found = {name: outcome.totals[name] for name in _STUDIO}
        found |= {f"{product}/{name}": result[name] for product, result in outcome.products.items() for name in _PRODUCT}
        found |= {
            "hour": np.multiply(outcome.totals["pay_per_hour"] >= a.target_per_hour, 1.0),
            "year": np.multiply(outcome.totals["residual_pay_per_year"] >= a.living_per_year, 1.0),
        }
        return found

    return kit.by_draw(work, draws, seed, base=base)


def _results(one, other, draws):
    seed = one.study.file.study.seed
    try:
        old, new = _draws(one, one, draws, seed), _draws(other, one, draws, seed)
    except ValueError as error:
        right = "a study whose year can be worked out"
        raise StudyError(
            [Fault(file="study.toml", wrong="results cannot be worked out", found=str(error), right=right)]
        ) from None
    rows = []
    for key in dict.fromkeys((*old, *new)):
        product, _, name = key.rpartition("/")
        if key in _CHANCES:
            words, style = _CHANCES[key], "chance"
        else:
            words, style = (_PRODUCT if product else _STUDIO)[name]
        rows.append(_result(f"{product}: {words}" if product else words, style, old.get(key), new.get(key)))
    return rows


def _result(what, style, old, new):
    """One result with the band of its difference, as far as every draw has one."""
    finite = [values is not None and bool(np.isfinite(values).all()) for values in (old, new)]
    before, after = (float(values.mean()) if fine else None for values, fine in zip((old, new), finite))
    if not all(finite):
        return Result(what=what, style=style, before=before, after=after)
    gap = new - old
    if style == "chance":
        none = not gap.any()
        return Result(
            what=what,
            style=style,
            before=before,
            after=after,
            difference=float(gap.mean()),
            low=0.0 if none else None,
            high=0.0 if none else None,
        )
    # what only the last bits of a sum move is no difference
    gap = np.where(np.abs(gap) <= 1e-9 * np.maximum(np.abs(old), np.abs(new)), 0.0, gap)
    low, high = np.quantile(gap, [0.1, 0.9])
    return Result(
        what=what,
        style=style,
        before=before,
        after=after,
        difference=float(gap.mean()),
        low=float(low),
        high=float(high),
        higher=float((gap > 0).mean()),
    )


def _write(fmt, value, style):
    if value is None:
        return "–"
    if style == "chance":
        return fmt.chance(value)
    if style.startswith("money"):
        return fmt.money(value, int(style[5:] or 2))
    return fmt.percent(value, 1) if style == "percent" else getattr(fmt, style)(value)


def signed(fmt, value, style):
    """A difference with its sign; shares as points of a hundred."""
    if value is None:
        return "–"
    text = f"{fmt.number(abs(value) * 100, 1)} points" if style in ("chance", "percent") else _write(fmt, abs(value), style)
    zero = re.sub(r"[^1-9]", "", text) == ""
    return text if zero else f"{'+' if value > 0 else '−'}{text}"


def _sections(found: Comparison) -> list[dict]:
    """Tables of a comparison as text: caption, heads, rows."""
    fmt = found.fmt
    changes = [[row["what"], row["before"], row["after"], row["note"]] for row in found.numbers]
    told = [[row["what"], row["before"], row["after"], row["note"]] for row in found.told]
    logs = [list(row.values()) for row in found.records]
    results, alike = [], []
    for one in found.results:
        band = "–" if one.low is None else f"{signed(fmt, one.low, one.style)} to {signed(fmt, one.high, one.style)}"
        same = one.low is not None and one.low == one.high == 0.0 == one.difference
        alike += [one.what] if same else []
        results.append(
            [one.what, _write(fmt, one.before, one.style), _write(fmt, one.after, one.style)]
            + (
                ["none", "–", "–"]
                if same
                else [signed(fmt, one.difference, one.style), band, "–" if one.higher is None else fmt.chance(one.higher)]
            )
        )
    return [
        {
            "title": "What was changed in the study file",
            "caption": "Each line that says another thing, with the reason it gives.",
            "heads": ["number or line", "before", "after", "why"],
            "rows": changes,
            "text": 4,
            "none": "The study files say the same.",
        },
        {
            "title": "Numbers that the records changed",
            "caption": "Both study files state these alike; the records tell them otherwise.",
            "heads": ["number", "before", "after", "rests on"],
            "rows": told,
            "text": 4,
            "none": "The records changed no number.",
        },
        {
            "title": "Rows of the records that came and went",
            "caption": "A corrected row is one gone and one new. Notes are not compared.",
            "heads": ["log", "rows before", "rows after", "new rows", "rows gone"],
            "rows": logs,
            "text": 1,
            "none": "The records are the same (notes are not compared).",
        },
        {
            "title": "Results",
            "caption": _method(found),
            "heads": [
                "result",
                "before",
                "after",
                "difference",
                "middle eight in ten",
                "chance higher",
            ],
            "rows": results,
            "same": alike,
            "text": 1,
            "none": "",
        },
    ]


def _summary(found: Comparison) -> list[str]:
    """The comparison in sentences."""
    pay = found.results[0]
    fmt, lines = found.fmt, []
    if found.names[0] != found.names[1]:
        lines.append(f"Two studies of different names: {found.names[0]} and {found.names[1]}.")
    if pay.before is None or pay.after is None:
        lines.append("Pay an hour cannot be worked out in every draw.")
    elif pay.low == pay.high == 0.0:
        lines.append(f"Pay an hour is the same, {fmt.money(pay.before)}.")
    else:
        lines.append(
            f"Pay an hour goes from {fmt.money(pay.before)} to {fmt.money(pay.after)}: a difference of {signed(fmt, pay.difference, 'money')}, most likely "
            f"between {signed(fmt, pay.low, 'money')} and {signed(fmt, pay.high, 'money')} (the middle eight in ten draws)."
        )
    changes = [counted(len(found.numbers), "line") + " of the study file"] + (
        [counted(len(found.records), "log")] if found.records else []
    )
    lines.append(f"Changed: {' and '.join(changes)}." if found.numbers or found.records else "Nothing was changed.")
    return [*lines, *found.stated, *found.only]


def _method(found):
    return f"Means of the same {found.fmt.number(found.draws)} draws, those of the first study, so that a difference is due to what was changed and not to chance."


def comparison_tables(found: Comparison) -> list:
    """The comparison for a terminal.

    Parameters
    ----------
    found : Comparison

    Returns
    -------
    list
        Sentences and tables that rich prints.
    """
    from rich import box
    from rich.table import Table
    from rich.text import Text

    parts: list = [Text(line) for line in _summary(found)]
    for section in _sections(found):
        if not section["rows"]:
            parts.append(Text(f"\n{section['none']}"))
            continue
        table = Table(title=section["title"], title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False)
        for at, head in enumerate(section["heads"]):
            table.add_column(head, justify="left" if at < section["text"] else "right")
        same = section.get("same", ())
        for row in section["rows"]:
            if row[0] not in same:  # a terminal is narrow and short; the page has every row
                table.add_row(*(Text(cell) for cell in row))
        if same:
            table.caption = "The same: " + ", ".join(same)
            table.caption_justify = "left"
        parts += [Text(""), table]
    return [*parts, Text(_method(found))]


def comparison_page(found: Comparison, target: Path | str) -> None:
    """Write the comparison as one page that needs nothing outside itself; StudyError if it cannot be written.

    Parameters
    ----------
    found : Comparison
    target : Path or str
        File to write or replace.
    """
    target, running = Path(target), Path(__file__).parents[1] / "running"
    if target.suffix.lower() not in (".html", ".htm") or target.is_dir():
        raise StudyError([Fault(file=str(target), wrong="is no name for a page", right="a name that ends in .html")])
    style = re.search(r"<style>(.*?)</style>", (running / "report.html.j2").read_text(encoding="utf-8"), re.DOTALL)[1]
    text = template(Path(__file__).with_name("compare.html.j2")).render(
        found=found, style=style, summary=_summary(found), sections=_sections(found)
    )
    part = target.with_name(f".{target.name}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        os.replace(part, target)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink()
        raise StudyError(
            [Fault(file=str(target), wrong="cannot be written", found=str(error.strerror), right="a file you may write to")]
        ) from None
