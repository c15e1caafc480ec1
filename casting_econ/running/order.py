"""`casting-econ order`: plan, quote and numbers of one commission in one folder."""

import json
from collections.abc import Callable, Sequence
from datetime import date
from io import StringIO
from pathlib import Path
from shutil import get_terminal_size

from ..kit import format_of, open_copy, open_study
from ..orders import open_order, order_lines, order_results, price_of, quote_of
from ..orders.answer import keep
from ..orders.scenarios import scenario_results, scenario_table, under_scenarios
from ..orders.wording import days_gone
from ..pages.table import shown_as

__all__ = ["run_order"]

PAGE = "order"


def run_order(
    folder: Path | str,
    name: str | None = None,
    *,
    today: date,
    out: Path | str | None = None,
    files: bool = True,
    scenarios: Sequence[str] = (),
    say: Callable[[str], None] = print,
    **asked,
) -> Path | None:
    """Plan an order, say the answer, and write its folder.

    Parameters
    ----------
    folder : Path or str
        Study folder; never written to, except for `orders/` when no `out` is given.
    name : str, optional
        Of a commission in the study file.
    today : date
        First day of work where nothing says one.
    out : Path or str, optional
        Folder to write; `folder/orders/NAME` if not given.
    files : bool, optional
        Whether to write anything at all.
    scenarios : sequence of str, optional
        Scenarios of the study to put the order under, side by side.
    say : callable, optional
        Takes a line.
    asked : optional
        As `orders.order_of` takes it.

    Returns
    -------
    Path or None
        The folder with `plan.html`, `quote.html`, `order.json`, the notebook, tables and figures.

    Raises
    ------
    StudyError
        For faults in the study or in what is asked for.
    NotebookError
        If the notebook fails.
    """
    folder, kit = Path(folder), open_study(folder)
    plan = open_order(kit, name, today=today, **asked)
    quoted = price_of(plan)
    gone = "" if asked.get("start") else days_gone(plan, today, format_of(kit))
    beside = under_scenarios(plan, quoted, scenarios, name, today=today, **asked) if scenarios else []
    for line in [*order_lines(plan, quoted), *(["", gone] if gone else [])]:
        say(line)
    if beside:
        fmt = format_of(kit, year=False)
        say("")
        say(table_text(scenario_table(beside, fmt), fmt))
    return _write(kit, plan, quoted, beside, folder, name, out, asked) if files else None


def table_text(frame, fmt) -> str:
    """A frame as its page shows it, in lines for a terminal."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    told = shown_as(frame)
    table = Table(title=told.caption, title_justify="left", title_style="", box=box.SIMPLE_HEAD, pad_edge=False)
    for column, style in told.columns.items():
        table.add_column(column, justify="left" if style == "text" else "right")
    for row in frame.itertuples(index=False):
        table.add_row(
            *(
                cell if style == "text" else fmt.styled(cell, style)
                for cell, style in zip(row, told.columns.values(), strict=True)
            )
        )
    console = Console(file=StringIO(), width=min(get_terminal_size().columns, 100))
    console.print(table)
    return console.file.getvalue()


def _write(kit, plan, quoted, beside, folder, name, out, asked):
    """The folder of an order; what only this needs is imported here, since the answer alone is asked for far more often."""
    from ..orders.quote import quote_html
    from ..reference import kit_folder
    from ..study.inputs import copy_inputs
    from .notebooks import Job, check_parameters, run_jobs
    from .report import build_report
    from .results import as_json
    from .run import manifest, replace_folder, work_key, working_folder

    content, quote = order_results(plan, quoted), quote_of(plan, quoted)
    content |= {"scenarios": scenario_results(beside)} if beside else {}
    out = (Path(out) if out else folder / "orders" / plan.order.name).resolve()
    # as they were understood, however written, and the first day too, so that a rerun on another day gives the same
    fields = {key: "due" if key == "by" else key for key, value in asked.items() if value not in (None, "", {})}
    given = {key: getattr(plan.order, field) for key, field in (fields | {"start": "start"}).items()}
    given = {key: value.isoformat() if isinstance(value, date) else value for key, value in given.items()}
    given |= {"in_hand": given["in_hand"].get("", given["in_hand"])} if "in_hand" in given else {}
    given |= {"scenarios": [one.name for one in beside[1:]]} if beside else {}
    part = working_folder(out, folder, work_key(folder, "order", name, given))
    inner = part / "order"
    copy_inputs(folder, part / "study")
    source, target = kit_folder("notebooks") / f"{PAGE}.ipynb", inner / "notebooks" / f"{PAGE}.ipynb"
    parameters = check_parameters(source, {"study": "study", "order": name or "", "out": "order", **given})

    def ready():  # the notebook finds the plan that is worked out already
        open_copy(kit, Path("study"))
        keep(plan)

    errors = run_jobs([Job(source=source, target=target, parameters=parameters)], 1, lambda _: None, part, ready=ready)
    if errors:
        raise errors[0]
    (inner / "order.json").write_text(as_json(content), encoding="utf-8", newline="\n")
    build_report(kit, [target], inner / "plan.html", title=f"{kit.study.file.study.name}: plan for {plan.order.name}")
    (inner / "quote.html").write_text(quote_html(quote), encoding="utf-8", newline="\n")
    listed = manifest(kit, folder) | {"order": {"name": name, **given}}
    (inner / "manifest.json").write_text(json.dumps(listed, indent=1, sort_keys=True) + "\n", encoding="utf-8", newline="\n")
    replace_folder(inner, out, part)
    return out
