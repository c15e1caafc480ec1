"""`casting-econ sweep`: one notebook over a grid of scrap rates, cure times and any other keys of the study file."""

import itertools
import re
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext
from pathlib import Path

import matplotlib.pyplot as plt
import nbformat
import pandas as pd

from ..charts import heat_map, laid_out, lines
from ..draws import round_up_draws
from ..faults import one_of, refusal
from ..kit import format_of, main_wait, open_copy, open_study
from ..pages.page import RECORD_MIME, WORDS_ONLY
from ..reference import kit_folder
from ..study.inputs import copy_inputs
from ..study.numbers import split_figure
from ..study.scenarios import nested
from . import WORKERS
from .cluster import Cluster
from .folders import keep_beside, manifest, replace_folder, told_by, work_key, working_folder, write_manifest
from .notebooks import Job, check_parameters, finished, from_there, run_jobs

SCRAP, CURE = "scrap_rate", "cure_hours"  # columns of the two that are no keys of the study file
_NAMES = {SCRAP: "scrap", CURE: "cure_hours"}  # parameters of the notebook
_CHART_SECONDS = 10.0  # least time between two charts while points end
_RANGE = re.compile(r"\s*(-?[\d.]+)\s*([^\d.,/][^.,/]*?)?\s*\.\.\s*(-?[\d.]+)\s*([^\d.,/][^,/]*?)?\s*/\s*(\d{1,3})\s*")


def values_of(text: str) -> tuple[str, list[float | str]]:
    """Key and values of what is to be varied, as the study file would have them; StudyError where the text is of neither form.

    'KEY=LOW..HIGH/COUNT' gives evenly spaced ones, 'KEY=VALUE,VALUE,…' those named.

    >>> values_of("channels.online.price=80..120 EUR/3"), values_of("stations.pot.count=1,2")
    (('channels.online.price', ['80 EUR', '100 EUR', '120 EUR']), ('stations.pot.count', [1.0, 2.0]))
    """
    key, equals, stated = (part.strip() for part in text.partition("="))
    spaced = _RANGE.fullmatch(stated)
    if spaced and int(spaced[5]) > 1:
        low, unit, high, other, count = spaced.groups()
        steps = [float(low) + (float(high) - float(low)) * step / (int(count) - 1) for step in range(int(count))]
        unit = (other or unit or "").strip()
        return key, [f"{step:.10g} {unit}" if unit else step for step in steps]
    parts = [part.strip() for part in stated.split(",")]
    if not key or not equals or not all(parts) or spaced:
        right = "a dotted key of the study file with its values, such as channels.NAME.price=80..120/9 or stations.NAME.count=1,2"
        raise refusal("--vary", "cannot be read", right, found=repr(text))
    return key, [float(part) if re.fullmatch(r"-?\d+(\.\d{1,2})?", part) else part for part in parts]


def varied(texts: Sequence[str]) -> dict[str, list[float | str]]:
    """Values by key of what is to be varied; StudyError as of `values_of`, and for a key given twice."""
    found: dict[str, list[float | str]] = {}
    for key, values in map(values_of, texts):
        if key in found:
            raise refusal("--vary", "is given twice", f"{key}= once, with all its values", found=key)
        found[key] = values
    return found


def run_sweep(
    folder: Path | str,
    scrap: Sequence[float] = (),
    cure: Sequence[float] = (),
    *,
    vary: Mapping[str, Sequence[float | str]] | None = None,
    out: Path | str | None = None,
    notebook: str = "07_monte_carlo",
    product: str = "",
    draws: int = 2048,
    workers: int = WORKERS,
    scheduler: str | None = None,
    say: Callable[[str], None] = print,
) -> Path:
    """Run a notebook at every point of a grid, and collect what it records, in a folder with every executed notebook, `sweep.csv` and, of one
    or two figures that are varied, a chart; table and chart grow in the working folder beside it while points end.

    The study folder is never written to, except for `sweep/` when no `out` is given; a sweep of another grid there is kept beside it.
    `scrap` and `cure` are shares of casts scrapped, and hours of the longest wait, of the `product`, "" being the first [-, hour]; `vary` has
    dotted keys of the study file, each with values as the file would have them; the `notebook` is one of the kit with a parameter for each of
    what is given. `draws` are those of each run, `workers` notebooks run at a time, or a Dask cluster at the address `scheduler` runs them;
    `say` takes a line of progress.

    StudyError for faults in the study or the request, NotebookError for the first notebook that failed; the points that were finished are
    kept for the next run.
    """
    kit, folder = open_study(folder), Path(folder)
    out = (Path(out) if out else folder / "sweep").resolve()
    others = {key: _with_unit(kit, key, values) for key, values in (vary or {}).items()}
    axes = {name: list(values) for name, values in ((SCRAP, scrap), (CURE, cure), *others.items()) if len(values)}
    names = [path.stem for path in sorted(kit_folder("notebooks").glob("*.ipynb"))]
    if notebook not in names:
        raise refusal("--notebook", "unknown notebook", one_of(notebook, names), found=repr(notebook))
    if product and product not in kit.study.file.products:
        raise refusal("--product", "unknown product", one_of(product, kit.study.file.products), found=repr(product))
    if not axes:
        raise refusal("sweep", "nothing is varied", "--scrap 5%,10%, --cure 12h,18h, or --vary KEY=LOW..HIGH/COUNT")
    waiting, _ = main_wait(kit, product or None)
    if CURE in axes and waiting is None:
        found = product or "the first product"
        raise refusal("--cure", "no step of the product waits", "a product with a wait, or a sweep without --cure", found=found)
    points = [dict(zip(axes, point, strict=True)) for point in itertools.product(*axes.values())]
    # every fault of the values before anything runs
    seeds = [kit.changed(_changes(point)).study.file.study.seed for point in points]
    source = kit_folder("notebooks") / f"{notebook}.ipynb"
    part = working_folder(out, folder, work_key(folder, "sweep", notebook, product, draws, axes))
    inner = part / "sweep"
    copy_inputs(folder, part / "study")
    given = {"study": "study", "draws": round_up_draws(draws), "out": WORDS_ONLY}
    given |= {"product": product} if product or {SCRAP, CURE} & set(axes) else {}
    targets = [inner / "notebooks" / f"{notebook}_{_slug(point)}.ipynb" for point in points]
    parameters = (_parameters(source, given | {"seed": seed}, point) for seed, point in zip(seeds, points, strict=True))
    again = from_there(folder, out)
    jobs = [Job(source=source, target=to, parameters=own, again=again) for to, own in zip(targets, parameters, strict=True)]
    left = [job for job in jobs if not finished(job.target)]
    if len(left) < len(jobs):
        say(f"{len(jobs) - len(left)} points are kept from a sweep that was interrupted")
    rows = {job.target: _recorded(job.target) for job in jobs if job not in left}
    last = time.monotonic()

    def show(chart=True):
        """The table and the chart of the points that have ended."""
        table = pd.DataFrame([at | rows[job.target] for at, job in zip(points, jobs, strict=True) if job.target in rows])
        table.to_csv(inner / "sweep.csv", index=False, lineterminator="\n")
        figure = _chart(kit, table, axes, waiting) if chart else None
        box = laid_out(figure) if figure is not None else None
        for kind in ("png", "svg") if box else ():
            meta = {"Date": None} if kind == "svg" else {"Software": None}
            figure.savefig(inner / f"sweep.{kind}", dpi="figure", bbox_inches=box, metadata=meta)
        plt.close("all")

    def ended(job):
        nonlocal last
        rows[job.target] = _recorded(job.target)
        now = time.monotonic()
        show(chart=now - last > _CHART_SECONDS)
        last = now if now - last > _CHART_SECONDS else last

    with Cluster(scheduler, part) if scheduler else nullcontext() as cluster:
        say(f"The table as it grows: {inner / 'sweep.csv'}")
        errors = run_jobs(
            left,
            workers,
            _with_time_left(say),
            part,
            len(jobs) - len(left),
            lambda: open_copy(kit, Path("study")),
            ended=ended,
            cluster=cluster,
        )
    if errors:
        raise errors[0]
    show()
    grid = {"notebook": notebook, "product": product, "axes": axes}
    write_manifest(inner, manifest(kit, part / "study") | {"sweep": grid})
    if told_by(out).get("sweep", grid) != grid:
        keep_beside(out, "a sweep of another grid", say)
    replace_folder(inner, out, part, say)
    return out


def _with_unit(kit, key, values):
    """Values of a number that stand alone, in the unit that the study keeps it in."""
    number = kit.study.numbers.get(key)
    unit = "" if number is None else number.unit.format(money=kit.study.currency)
    return [f"{value:.10g} {unit}" if unit and isinstance(value, float) else value for value in values]


def _changes(point):
    """What a point changes in the study file."""
    return nested({name: value for name, value in point.items() if name not in _NAMES})


def _parameters(source, given, point):
    """Parameters of the notebook at a point."""
    own = {_NAMES[name]: value for name, value in point.items() if name in _NAMES}
    change = _changes(point)
    try:
        return check_parameters(source, own | ({"vary": change} if change else {}) | given)
    except ValueError as error:
        right = "a notebook with a parameter for what is varied, such as 07_monte_carlo"
        raise refusal("--notebook", str(error), right) from None


def _slug(point):
    """A point as part of a file name."""
    named = (({SCRAP: "scrap", CURE: "cure"}.get(name, name), value) for name, value in point.items())
    parts = [f"{name}-{value:g}" if isinstance(value, float) else f"{name}-{value}" for name, value in named]
    return re.sub(r"[^\w.-]+", "-", "_".join(parts))


def _with_time_left(say):
    """Lines of progress with the time that the rest takes at the pace so far."""
    begun = time.monotonic()

    def told(line):
        place = re.match(r"\[(\d+)/(\d+)\]", line)
        done, whole = (int(place[1]), int(place[2])) if place else (0, 0)
        seconds = (time.monotonic() - begun) / done * (whole - done) if done else 0.0
        say(f"{line}, about {seconds / 60:.0f} min left" if seconds > 90 else line)

    return told


def _recorded(path):
    """The numbers that one executed notebook recorded."""
    outputs = (output for cell in nbformat.read(path, as_version=4).cells for output in cell.get("outputs", ()))
    return {name: value for output in outputs for name, value in output.get("data", {}).get(RECORD_MIME, {}).items()}


def _chart(kit, table, axes, waiting):
    """A heat map over two figures, a line over one; nothing over words, single values or more."""
    fmt, target = format_of(kit), float(kit.inputs().target_per_hour)
    figures = {name: [split_figure(value)[0] for value in values] for name, values in axes.items() if len(values) > 1}
    words = {SCRAP: "share of casts scrapped", CURE: f"hours of waiting at {waiting}"}
    if len(figures) not in (1, 2) or len(figures) < len(axes) or any(None in values for values in figures.values()):
        return None
    frame = table.assign(**{name: table[name].map(lambda value: split_figure(value)[0]) for name in figures})
    first, *second = figures
    write = fmt.percent if first == SCRAP else fmt.significant
    if second:
        pivot, label = frame.pivot(index=first, columns=second[0], values="pay_p50"), words.get(second[0], second[0])
        pivot = pivot.reindex(index=sorted(figures[first]), columns=sorted(figures[second[0]]))
        xlabel = f"{label}; half of the years drawn pay more"
        return heat_map(
            pivot, fmt, xlabel=xlabel, ylabel="scrap rate" if first == SCRAP else first, write_rows=write, target=target
        )
    frame = frame.rename(columns={"pay_p10": "1 in 10 below", "pay_p50": "half below", "pay_p90": "1 in 10 above"})
    ends, label = ["half below", "1 in 10 below", "1 in 10 above"], words.get(first, first)
    return lines(frame, first, ends, label, "pay an hour", write, fmt.money, level=target, level_label="target")
