"""`casting-econ order`: plan, quote and numbers of one commission in one folder."""

from collections.abc import Callable, Sequence
from datetime import date
from io import StringIO
from pathlib import Path
from shutil import get_terminal_size

from ..faults import StudyError
from ..kit import format_of, known_day, open_copy, open_study
from ..orders import open_order, order_lines, order_results, price_of, quote_of
from ..orders.scenarios import scenario_results, scenario_table, under_scenarios
from ..orders.tables import day
from ..orders.timetable import days_gone
from ..pages.table import shown_as

PAGE, PROJECT = "order", "project"


def run_order(
    folder: Path | str,
    name: str | None = None,
    *,
    today: date,
    out: Path | str | None = None,
    files: bool = True,
    as_of: str | None = None,
    scenarios: Sequence[str] = (),
    finished: bool = False,
    say: Callable[[str], None] = print,
    **asked,
) -> Path | None:
    """Plan an order, say the answer, and write its folder: `plan.html`, `quote.html`, `order.json`, the notebook, tables and figures; of an order
    that is over `project.html` and `project.json` too.

    `name`, `today` and what is `asked` are as `orders.order_of` takes them. Written is `out`, if not given `folder/orders/NAME`, as of a day
    `folder/orders/NAME-as-of-DAY`, and nothing else in the study folder; nothing at all, and None is returned, without `files`. After the
    evening of the day `as_of`, which then is today too, no row of the logs is read. The order is put under `scenarios` of the study, side by
    side; one that is `finished`, complete or not, is looked back on; `say` takes a line.

    StudyError for faults in the study or in what is asked for, NotebookError if the notebook fails.
    """
    folder, kit, today = Path(folder), open_study(folder, as_of=as_of), known_day(as_of) or today
    plan = open_order(kit, name, today=today, finished=finished, **asked)
    name = plan.order.name if plan.order.name in kit.study.file.commissions else None  # the only one needs none
    quoted, gone = price_of(plan), days_gone(plan, today, format_of(kit))
    lines, back = [*([gone, ""] if gone else []), *order_lines(plan, quoted)], None
    if finished or (name and plan.order.complete):
        from ..projects.lessons import look_back  # late: most orders are to come
        from ..projects.wording import project_lines

        back = look_back(kit, name, finished=finished, **asked)
        paid, *account = project_lines(back)
        lines = [paid, *lines, *account]  # what it paid comes first: all that the plan can say of it is by the study's minutes
    beside = under_scenarios(plan, quoted, scenarios, name, today=today, finished=finished, **asked) if scenarios else []
    for line in lines:
        say(line)
    if beside:
        fmt = format_of(kit, year=False)
        say("")
        say(table_text(scenario_table(beside, fmt), fmt))
    if not files:
        return None
    quote, due = _quote(plan, quoted, today, say), plan.order.due
    to_send = quote and not (plan.order.closed or plan.order.begun)  # once work has begun it was sent, and is a record
    if to_send and (promised := quote.arrives_by or quote.posted_by) > due:
        late, fmt = (promised - due).days, format_of(kit)
        say("")
        say(
            f"The quote promises {day(fmt, promised)}, {fmt.count(late, 'day')} after the date asked for: send it as it is, or change the plan first."
        )
    if to_send and not quote.maker.strip():
        say("")
        say('The quote does not say who offers: write maker = "your name or the workshop\'s" under [quote] in study.toml.')
    seen = f"{plan.order.name}-as-of-{kit.study.as_of}" if kit.study.as_of else plan.order.name
    if kit.study.as_of and not out:
        say("")
        say(
            f"This is {plan.order.name} as of {kit.study.as_of}, in a folder of its own: no plan and no quote of today is replaced."
        )
    return _write(
        kit, plan, quoted, quote, beside, back, folder, name, Path(out) if out else folder / "orders" / seen, asked, say
    )


def _quote(plan, quoted, today, say):
    """The quote of an order; None, said, where there is no price or date to quote."""
    try:
        return quote_of(plan, quoted, today)
    except StudyError as error:
        fault, *_ = error.faults
        if fault.column:  # of what the study says in its quotes
            raise
        say(f"\nThere is no quote: {fault.wrong}; right would be {fault.right}.")
        return None


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
        table.add_row(*(fmt.styled(cell, style) for cell, style in zip(row, told.columns.values(), strict=True)))
    console = Console(file=StringIO(), width=min(get_terminal_size().columns, 100))
    console.print(table)
    return console.file.getvalue()


def _write(kit, plan, quoted, quote, beside, back, folder, name, out, asked, say):
    """The folder of an order; what only this needs is imported here, since the answer alone is asked for far more often."""
    from ..orders.quote import quote_html
    from ..projects.tables import project_results
    from ..reference import kit_folder
    from ..study.inputs import copy_inputs
    from .folders import manifest, replace_folder, work_key, working_folder, write_manifest
    from .notebooks import Job, check_parameters, from_there, run_jobs
    from .report import build_report
    from .results import as_json

    content = order_results(plan, quoted)
    content |= {"scenarios": scenario_results(beside)} if beside else {}
    out = out.resolve()
    # as they were understood, however written, and the first day too, so that a rerun on another day gives the same
    fields = {key: "due" if key == "by" else key for key, value in asked.items() if value not in (None, "", {})}
    given = {key: getattr(plan.order, field) for key, field in (fields | {"start": "start"}).items()}
    given = {key: value.isoformat() if isinstance(value, date) else value for key, value in given.items()}
    given |= {"in_hand": given["in_hand"].get("", given["in_hand"])} if "in_hand" in given else {}
    given |= {"as_of": kit.study.as_of.isoformat()} if kit.study.as_of else {}
    given |= {"finished": True} if plan.order.finished else {}
    given |= {"scenarios": [one.name for one in beside[1:]]} if beside else {}
    part = working_folder(out, folder, work_key(folder, "order", name, given))
    inner = part / "order"
    copy_inputs(folder, part / "study")
    jobs, asks = [], {PAGE: given}
    if back:
        asks[PROJECT] = {key: value for key, value in given.items() if key != "scenarios"} | {"finished": plan.order.finished}
    for page, asks_for in asks.items():
        source, target = kit_folder("notebooks") / f"{page}.ipynb", inner / "notebooks" / f"{page}.ipynb"
        parameters = check_parameters(source, {"study": "study", "order": name or "", "out": "order", **asks_for})
        jobs.append(Job(source=source, target=target, parameters=parameters, again=from_there(folder, out)))

    def ready():  # the notebook finds the plan that is worked out already
        open_copy(kit, Path("study"))
        kit.kept.update({type(one): one for one in (plan, back) if one})

    errors = run_jobs(jobs, 1, lambda _: None, part, ready=ready)
    if errors:
        raise errors[0]
    (inner / "order.json").write_text(as_json(content), encoding="utf-8", newline="\n")
    about = kit.study.file.study.name
    build_report(kit, [jobs[0].target], inner / "plan.html", title=f"{about}: plan for {plan.order.name}")
    if back:
        build_report(kit, [jobs[1].target], inner / "project.html", title=f"{about}: {plan.order.name} looked back on")
        (inner / "project.json").write_text(as_json(project_results(back)), encoding="utf-8", newline="\n")
    if quote:
        (inner / "quote.html").write_text(quote_html(quote), encoding="utf-8", newline="\n")
    write_manifest(inner, manifest(kit, part / "study") | {"order": {"name": name, **given}})
    replace_folder(inner, out, part, say)
    return out
