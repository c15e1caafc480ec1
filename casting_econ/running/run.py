"""`casting-econ run`: results, executed notebooks, figures, tables, report and manifest in one folder."""

import shutil
from collections.abc import Callable
from pathlib import Path

from ..draws import round_up_draws
from ..evidence import season_weights
from ..kit import OpenStudy, open_copy, open_study
from ..pages.change import changed
from ..pages.conditions import needed_table
from ..pages.deciding import decision_of, information_table
from ..pages.sensitivity import swing_table
from ..study.inputs import copy_inputs
from . import WORKERS, store
from .folders import manifest, replace_folder, work_key, working_folder, write_manifest
from .notebooks import Job, NotebookError, finished, from_there, run_jobs
from .store import PAGES, page_sources

_LONG = ("02_records", "09_change", "08_sensitivity", "01_answer")  # begun first, so that none is waited for at the end
_SHARE = {"01_answer", "08_sensitivity", "09_change"}  # what two of these ask for is worked out before their kernels are forked


def run_study(
    folder: Path | str,
    out: Path | str | None = None,
    *,
    workers: int = WORKERS,
    say: Callable[[str], None] = print,
    fresh: bool = False,
) -> Path:
    """Run the notebooks on a study, so many `workers` at a time, and write its report folder, `out` or `folder/report`, which comes back.

    The study folder is never written to but for that. Pages that nothing moved are taken from the report that is there, unless `fresh`
    runs every page again; `say` takes a line of progress. StudyError for faults in the study or a folder that is not ours to replace,
    NotebookError for the first notebook that failed; what was finished is kept for the next run.
    """
    out, folder = (Path(out) if out else Path(folder) / "report").resolve(), Path(folder)
    sources = page_sources()
    everything = store.key_of_all(folder)
    kit = open_study(folder)
    season_weights(kit.study)  # a season asked of records that have none is a fault before any page runs
    part = working_folder(out, folder, work_key(folder))
    table, inner = kit.study.file.study, part / "report"
    answer = kit.monte_carlo(*kit.plan_of_draws(), workers=workers)
    (inner / "notebooks").mkdir(parents=True, exist_ok=True)
    copy_inputs(folder, part / "study")
    parameters = {"study": "study", "draws": round_up_draws(table.draws), "seed": table.seed}
    again = from_there(folder, out)
    keys = store.page_keys(folder, parameters | again)
    targets = {page: part / "made" / page / "notebooks" / f"{page}.ipynb" for page in PAGES}
    kept = [page for page in PAGES if finished(targets[page])]
    if kept:
        say(f"{len(kept)} pages are kept from a run that was interrupted")
    wanted = {page: key for page, key in keys.items() if page not in kept and not fresh}
    taken = [page for page, key in wanted.items() if store.take(out, {page: key}, part / "made" / page)]
    if same := len({*taken} & {*PAGES}):
        say(f"{same} pages are as they were")
    jobs = [
        Job(source=sources[page], target=targets[page], parameters=parameters | {"out": f"made/{page}"}, again=again)
        for page in dict.fromkeys((*_LONG, *PAGES))
        if page in PAGES and page not in (*kept, *taken)
    ]
    panel: dict[str, str] = {}
    read: dict[str, dict[str, object]] = {}  # pages for the report, while others run

    def ended(job):
        from .report import read_page

        read[job.source.stem] = read_page(job.target)

    def ready():
        open_copy(kit, Path("study"))
        if len(_SHARE & {job.source.stem for job in jobs}) > 1:
            return lambda: share(kit, parameters["draws"], parameters["seed"])

    def meanwhile():
        # loaded here, while the process that starts kernels loads what they need
        from .panel import panel_parts
        from .results import as_json, results

        content = as_json(results(kit, answer))
        (inner / "results.json").write_text(content, encoding="utf-8", newline="\n")
        panel.update(panel_parts(kit, workers, part / "made" / "panel" / store.PANEL))

    errors = run_jobs(
        jobs,
        workers,
        say,
        part,
        len(PAGES) - len(jobs),
        ready,
        meanwhile,
        ended=ended,
    )
    if errors:
        first, more = errors[0], f"; {len(errors) - 1} more failed" if len(errors) > 1 else ""
        raise NotebookError(first.notebook, first.cell, first.cause + more, first.saved)
    files = {}
    for page in keys:
        made = part / "made" / page
        files[page] = sorted(path.relative_to(made).as_posix() for path in made.rglob("*") if path.is_file())
        shutil.copytree(made, inner, copy_function=shutil.copyfile, dirs_exist_ok=True)
    from .report import build_report

    pages = [read.get(page) or inner / "notebooks" / f"{page}.ipynb" for page in PAGES]
    build_report(kit, pages, inner / "report.html", panel=panel)
    write_manifest(inner, manifest(kit, part / "study"))
    store.keep(inner, everything, keys, files)
    replace_folder(inner, out, part, say)
    return out


def share(kit: OpenStudy, draws: int, seed: int) -> None:
    """Work out, and so keep, what several pages ask for."""
    information_table(decision_of(kit, draws, seed))
    changed(kit, draws, seed)
    swing_table(kit)
    needed_table(kit, next(iter(kit.study.file.products)))
