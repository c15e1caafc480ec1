"""`casting-econ sweep`: one notebook over a grid of scrap rates and cure times."""

import json
from collections.abc import Callable
from pathlib import Path

import nbformat
import pandas as pd

from ..charts import heat_map
from ..draws import round_up_draws
from ..faults import close_match, refusal
from ..kit import format_of, main_wait, open_study
from ..pages.page import RECORD_MIME
from ..reference import kit_folder
from ..study.inputs import copy_inputs
from .notebooks import Job, check_parameters, run_jobs
from .run import manifest, replace_folder, work_key, working_folder

__all__ = ["run_sweep"]


def run_sweep(
    folder: Path | str,
    scrap: list[float],
    cure: list[float],
    *,
    out: Path | str | None = None,
    notebook: str = "07_monte_carlo",
    product: str = "",
    draws: int = 2048,
    workers: int = 2,
    say: Callable[[str], None] = print,
) -> Path:
    """Run a notebook for every pair of scrap rate and cure time, and collect what it records.

    Parameters
    ----------
    folder : Path or str
        Study folder; never written to, except for `sweep/` when no `out` is given.
    scrap : list of float
        Shares of casts scrapped. [-]
    cure : list of float
        Hours of the product's longest wait. [hour]
    out : Path or str, optional
        Folder to write; `folder/sweep` if not given.
    notebook : str, optional
        Name of a notebook of the kit with parameters `scrap` and `cure_hours`.
    product : str, optional
        Product they belong to; "" takes the first.
    draws, workers : int, optional
        Draws in each run, and notebooks at a time.
    say : callable, optional
        Takes a line of progress.

    Returns
    -------
    Path
        Folder with every executed notebook, `sweep.csv` and a heat map.

    Raises
    ------
    StudyError
        For faults in the study or the request.
    NotebookError
        For the first notebook that failed.
    """
    kit, folder = open_study(folder), Path(folder)
    out = (Path(out) if out else folder / "sweep").resolve()
    names = [path.stem for path in sorted(kit_folder("notebooks").glob("*.ipynb"))]
    if notebook not in names:
        raise refusal(
            "--notebook", "unknown notebook", f"one of {', '.join(names)}{close_match(notebook, names)}", found=repr(notebook)
        )
    if product and product not in kit.study.file.products:
        known = kit.study.file.products
        raise refusal(
            "--product", "unknown product", f"one of {', '.join(known)}{close_match(product, known)}", found=repr(product)
        )
    waiting, _ = main_wait(kit, product or None)
    if waiting is None:
        raise refusal("--cure", "no step of the product waits", "a product with a wait", found=product or "the first product")
    source = kit_folder("notebooks") / f"{notebook}.ipynb"
    part = working_folder(out, folder, work_key(kit, folder, "sweep", notebook, product, draws, scrap, cure))
    inner = part / "sweep"
    copy_inputs(folder, part / "study")
    jobs = []
    for s in scrap:
        for c in cure:
            parameters = {
                "study": "study",
                "draws": round_up_draws(draws),
                "seed": kit.study.file.study.seed,
                "out": "",
                "scrap": s,
                "cure_hours": c,
                "product": product,
            }
            try:
                parameters = check_parameters(source, parameters)
            except ValueError as error:
                raise refusal("--notebook", str(error), "a notebook with scrap and cure_hours, such as 07_monte_carlo") from None
            target = inner / "notebooks" / f"{notebook}_scrap-{s:g}_cure-{c:g}.ipynb"
            jobs.append(Job(source=source, target=target, parameters=parameters))
    errors = run_jobs(jobs, workers, say, part)
    if errors:
        raise errors[0]
    table = pd.DataFrame([_collect(job) for job in jobs])
    table.to_csv(inner / "sweep.csv", index=False, lineterminator="\n")
    fmt, value = format_of(kit), "pay_p50"
    pivot = table.pivot(index="scrap_rate", columns="cure_hours", values=value)
    figure = heat_map(
        pivot,
        fmt,
        xlabel=f"hours of waiting at {waiting}; half of the years drawn pay more",
        target=float(kit.inputs().target_per_hour),
    )
    for kind in ("png", "svg"):
        figure.savefig(
            inner / f"sweep.{kind}",
            dpi=130,
            bbox_inches="tight",
            metadata={"Date": None} if kind == "svg" else {"Software": None},
        )
    (inner / "manifest.json").write_text(
        json.dumps(manifest(kit, folder), indent=1, sort_keys=True) + "\n", encoding="utf-8", newline="\n"
    )
    replace_folder(inner, out, part)
    return out


def _collect(job):
    """The numbers one executed notebook recorded, with its scrap rate and cure time."""
    row = {"scrap_rate": job.parameters["scrap"], "cure_hours": job.parameters["cure_hours"]}
    for cell in nbformat.read(job.target, as_version=4).cells:
        for output in cell.get("outputs", ()):
            row |= output.get("data", {}).get(RECORD_MIME, {})
    return row
