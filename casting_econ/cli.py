"""Thin commands; everything heavy is imported when a command runs, so that --help is instant."""

import atexit
import gc
import os
import sys

try:
    import click

    from .running import ONE_THREAD, WORKERS, keep_memory
    from .telling import counts_of, faults_told, figures_of, plain
except KeyboardInterrupt:  # in the first moment, before any command could answer it
    raise SystemExit(130) from None

_STUDY = click.argument("study", type=click.Path())
_OUT = click.option("--out", type=click.Path(), help="Folder to write instead of one in the study.")
_HELP_WORKERS = "Notebooks at a time; one more than processors, up to 5, if not given."
_WORKERS = click.option("--workers", type=click.IntRange(1, 8), default=WORKERS, help=_HELP_WORKERS)


def _page(command):
    """What a command that shows a page in the browser may be told."""
    silent = click.option("--no-browser", "browser", flag_value=False, default=True, help="Only say what address to open.")
    help_ip = "Address to listen at; 0.0.0.0 in a container or for another machine."
    command = click.option("--ip", default="localhost", show_default=True, help=help_ip)(silent(command))
    return click.option("--port", type=click.IntRange(1024, 65535), help="Of the page; a free one if not given.")(command)


class _Commands(click.Group):
    """Commands whose faults, failures and interrupts are told in a few words."""

    def invoke(self, ctx):
        """Run the command that was asked for."""
        with faults_told():
            return super().invoke(ctx)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="casting_econ")
def main() -> None:
    """Can casting pieces by hand pay a living wage? Works on a study folder: study.toml and records/."""
    keep_memory()
    atexit.register(gc.freeze)  # what is left goes with the process, so nobody need look through it for rubbish
    if "numpy" not in sys.modules:  # which reads this once
        os.environ.update(ONE_THREAD)


@main.command()
@_STUDY
@_OUT
@_WORKERS
@click.option("--fresh", is_flag=True, help="Run every page again, also those that nothing moved.")
def run(study: str, out: str | None, workers: int, fresh: bool) -> None:
    """Run the whole study: report, results, figures and tables."""
    from pathlib import Path

    from .running import store

    report = Path(out) if out else Path(study) / "report"
    if not fresh and store.unchanged(report, store.key_of_all(Path(study))):
        click.echo("Nothing has changed since this report was made, so it stands as it is (--fresh runs every page again).")
    else:
        from .running.run import run_study

        click.echo(f"Running {study} ...")
        report = run_study(study, out, workers=workers, say=click.echo, fresh=fresh)
    click.echo("")
    for line in store.said_first(report):
        click.echo(plain(line))
    click.echo(f"\nReport: {(report / 'report.html').resolve()}")
    click.echo(f"Numbers: {(report / 'results.json').resolve()}")


@main.command()
@click.argument("name", required=False)
@click.argument("folder", type=click.Path(), required=False)
def demo(name: str | None, folder: str | None) -> None:
    """Copy a demo study to a folder, to try or to start from; without a name, list them."""
    from .study.inputs import copy_demo, demo_names

    if name is None:
        click.echo("Invented demo studies: " + ", ".join(demo_names()))
    else:
        click.echo(f"Copied to {copy_demo(name, folder or name).resolve()}")


@main.command()
@click.argument("folder", type=click.Path())
@click.option("--craft", help="Craft, such as soap; asked for if not given.")
@click.option(
    "--answers", type=click.Path(), help='File with answers, such as: craft = "soap" and price = "6 7 9 EUR", a line each.'
)
@click.option(
    "--answer", multiple=True, metavar="KEY=ANSWER", help="One answer, such as begin=order or 'price=11 12 15 EUR'; repeatable."
)
@click.option("--currency", metavar="CODE", help="Such as EUR; that of the price if not given.")
@click.option("--locale", metavar="CODE", help="Language and country, for numbers, dates and holidays, such as de_DE.")
@click.option("--form", is_flag=True, help="Ask on a page in the browser instead.")
@_page
def new(
    folder: str,
    craft: str | None,
    answers: str | None,
    answer: tuple[str, ...],
    currency: str | None,
    locale: str | None,
    form: bool,
    **page: object,
) -> None:
    """Start a study of a first order, or of a workshop that runs, from plain questions; 'don't know' takes a guess of the trade."""
    from .starting.asking import answers_given, ask, locale_asked

    locale, given, terminal = locale_asked(locale), answers_given(answers, answer, craft), sys.stdin.isatty()
    if form:
        from .running.served import show_page
        from .starting.form import begun
        from .study.inputs import must_be_new

        must_be_new(folder)
        asked = {"study": os.path.abspath(folder), "given": begun(given, currency, locale)}
        show_page("start", asked, click.echo, **page)
        return

    def prompt(words: str, default: str) -> str:
        return click.prompt(words, default=default, show_default=bool(default))

    found = ask(given, currency, folder, terminal=terminal, say=lambda line: click.echo(plain(line)), prompt=prompt)
    from .starting.answers import understood  # and the models, while the answers are read
    from .starting.first import first_answer, new_study, what_next

    click.echo("\nAs understood:")
    for line in understood(found, locale):
        click.echo(plain(f"- {line}"))
    if terminal and not click.confirm("Write the study like this?", default=True):
        click.echo("Nothing was written.")
        return
    kit, defaults = new_study(folder, found, locale)
    for paragraph in first_answer(kit, defaults):
        click.echo(f"\n{plain(paragraph)}")
    click.echo(f"\nYour study: {click.format_filename(folder)}; edit study.toml, and see what-to-write-down.md.")
    click.echo("The whole {}: {}".format(*what_next(kit, click.format_filename(folder))))


@main.command()
@_STUDY
@click.option("--full", is_flag=True, help="Show every changed cell and every row set aside.")
def check(study: str, full: bool) -> None:
    """Only check: how the records were read, every fault, and what is guessed and what measured."""
    from datetime import date
    from pathlib import Path

    from rich.console import Console
    from rich.table import Table

    from .evidence import likeness
    from .faults import StudyError
    from .kit import format_of, open_study
    from .ledger.preview import preview
    from .pages.answer import certainty_list, first_lines
    from .pages.change import changed
    from .pages.deciding import decision_of
    from .pages.records import assumption_table, records_overview, season_sentence
    from .running import store
    from .study.records import still_to_come

    wall = (Path(study) / "what-to-write-down.md").is_file()
    try:
        kit = open_study(study)
    except StudyError as error:
        click.echo(preview(error.reading, full=full, wall=wall), nl=False)
        raise
    click.echo(preview(kit.study.reading, full=full, wall=wall), nl=False)
    fmt, console = format_of(kit), Console(markup=False)  # [channels.NAME] is no mark of style
    table = Table("number", "value", "middle eight in ten", "unit", "rests on")
    for row in assumption_table(kit).itertuples():
        band = "" if row.low is None or row.low != row.low else f"{fmt.significant(row.low)} to {fmt.significant(row.high)}"
        table.add_row(row.number, fmt.significant(row.value), band, row.unit, row._6)
    for name in kit.study.file.products:
        value, band, basis = likeness(kit.study, name)
        spread = "" if band is None else f"{fmt.number(band[0], 2)} to {fmt.number(band[1], 2)}"
        table.add_row(f"{name}: pieces of a load fail together", fmt.number(value, 2), spread, "correlation", basis)
    console.print(table)
    console.print(certainty_list(kit).replace("The page on records", "The table above"))
    console.print(records_overview(kit).replace("\n\n", "\n"))
    for said in (season_sentence(kit), *still_to_come(kit.study, date.today())):
        if said:
            console.print(said)
    console.print("No faults found.")
    click.echo("")
    report = Path(study) / "report"
    known = store.unchanged(report, store.key_of_all(Path(study)))
    for line in store.said_first(report) if known else first_lines(kit, kit.monte_carlo(), decision_of(kit), changed(kit)):
        click.echo(plain(line))


@main.command()
@click.argument("key", required=False, default="")
@click.option("--page", type=click.Path(), help="Write the whole manual to this new HTML file instead.")
def explain(key: str, page: str | None) -> None:
    """What a key of the study file is, such as channels.NAME.orders or products; without one, list the tables."""
    from .study.keys import explained

    if page is None:
        click.echo("\n".join(explained(key)))
    else:
        from .running.manual import write_manual

        write_manual(page)
        click.echo(f"Manual: {click.format_filename(page)}")


@main.command()
@_STUDY
@click.option("--scrap", help="Scrap rates, for example 5%,10%,20%.")
@click.option("--cure", help="Lengths of the longest wait, for example 12h,18h,24h.")
@click.option(
    "--vary", multiple=True, metavar="KEY=VALUES", help="Any key of the study file: KEY=80..120/9 or KEY=1,2; as often as needed."
)
@click.option("--notebook", default="07_monte_carlo", show_default=True, help="Notebook to run.")
@click.option("--product", default="", help="Product they belong to; the first if not given.")
@click.option("--draws", type=click.IntRange(128, 1_048_576), default=2048, show_default=True, help="Draws in each run.")
@_OUT
@_WORKERS
@click.option("--scheduler", metavar="ADDRESS", help="Of a Dask cluster that runs the points, such as tcp://192.0.2.7:8786.")
def sweep(study: str, scrap: str | None, cure: str | None, vary: tuple[str, ...], **asked: object) -> None:
    """Run one notebook over a grid of scrap rates, cure times and any other keys of the study file."""
    from .running.sweep import run_sweep, varied

    rates = figures_of("--scrap", scrap, "", high=0.95) if scrap else []
    hours = figures_of("--cure", cure, "hour") if cure else []
    found = run_sweep(study, rates, hours, vary=varied(vary), say=click.echo, **asked)
    click.echo(f"\nTable: {(found / 'sweep.csv').resolve()}")
    if (found / "sweep.png").is_file():
        click.echo(f"Chart: {(found / 'sweep.png').resolve()}")


@main.command()
@_STUDY
@click.argument("name", required=False)
@click.option("--product", help="Product ordered; the only one if not given.")
@click.option("--pieces", metavar="N", help="Good pieces ordered.")
@click.option("--by", metavar="DATE", help="Day on which they must have arrived, such as 2026-12-18.")
@click.option("--start", metavar="DATE", help="First day of work; today if not given.")
@click.option("--confidence", metavar="SHARE", help="Wanted certainty, such as 0.95 or 95%.")
@click.option(
    "--in-hand",
    multiple=True,
    metavar="N",
    help="Good pieces made so far, sold ones too; with variants NAME=N, as often as needed.",
)
@click.option("--set-of", metavar="N", help="Pieces that must match and so come from one load.")
@click.option("--variant", multiple=True, metavar="NAME=N", help="Pieces of one colour or form; as often as needed.")
@click.option("--price", metavar="AMOUNT", help="Price asked for the order, such as 310 or '310 EUR'.")
@click.option("--channel", metavar="NAME", help="Channel whose fees, postage and minutes an order has.")
@click.option("--as-of", metavar="DATE", help="Read the logs up to that day only, and take it as today.")
@click.option(
    "--scenario",
    multiple=True,
    metavar="NAME",
    help="Scenario of the study to put the order under; several with commas, or again.",
)
@click.option("--finished", is_flag=True, help="Look back on it, complete or not: what it took, what it paid, what it teaches.")
@click.option("--answer-only", is_flag=True, help="Only say the answer; write nothing.")
@_OUT
def order(study: str, name: str | None, answer_only: bool, scenario: tuple[str, ...], out: str | None, **asked: object) -> None:
    """Plan and quote a commission: NAME of the study file, the only one if not given, or what the options ask for."""
    from datetime import date

    from .running.order import run_order

    variants, in_hand = counts_of("--variant", asked.pop("variant")), counts_of("--in-hand", asked.pop("in_hand"), alone=True)
    found = run_order(
        study,
        name,
        today=date.today(),
        out=out,
        files=not answer_only,
        scenarios=scenario,
        say=lambda line: click.echo(plain(line)),
        variants=variants or None,
        in_hand=in_hand.get("", in_hand) if in_hand else None,
        **asked,
    )
    if found:
        for label, page in (("\nPlan", "plan"), ("Quote to print", "quote"), ("Looked back on", "project")):
            if (found / f"{page}.html").is_file():
                click.echo(f"{label}: {(found / f'{page}.html').resolve()}")


@main.command()
@_STUDY
@click.argument("order")
@click.option("--to", "target", required=True, type=click.Path(), help="New folder.")
def learn(study: str, order: str, target: str) -> None:
    """Write a new study in which what an order taught rests on its records."""
    from .projects.learnt import learn_from

    click.echo(f"\nNew study: {learn_from(study, order, os.path.abspath(target), click.echo).resolve()}")


@main.command()
@_STUDY
@_page
def explore(study: str, **page: object) -> None:
    """Open a page with sliders on a study: move a number, see at once what an hour and a year would bring. The study stays as it is."""
    from .running.served import show_page

    if ended := show_page("explore", {"study": os.path.abspath(study)}, click.echo, **page):
        sys.exit(ended)


@main.command("year-end")
@_STUDY
@click.option("--year", type=click.IntRange(2000, 2099), help="In which the tax year starts; every year with logs if not given.")
@click.option("--from", "first", metavar="DATE", help="First day of another period, such as 2025-04-06.")
@click.option("--to", "last", metavar="DATE", help="Last day of that period.")
@_OUT
def year_end(study: str, year: int | None, first: str | None, last: str | None, out: str | None) -> None:
    """Totals for the accountant: sales, expenses, equipment, stock, hours and mileage by tax year."""
    from datetime import date

    from .accounts.year_end import CAUTION, run_year_end

    made = run_year_end(study, today=date.today(), out=out, say=click.echo, year=year, first=first, last=last)
    click.echo(f"\n{CAUTION}\nWorkbook and text files: {made}")


@main.command()
@_STUDY
@click.option("--out", type=click.Path(), help="Archive to write instead of NAME-pack.zip in this folder.")
@click.option(
    "--keep-column", multiple=True, metavar="LOG.COLUMN", help="Column to keep though it may name people; as often as needed."
)
@_WORKERS
def pack(study: str, out: str | None, keep_column: tuple[str, ...], workers: int) -> None:
    """Put a study, its results and its report in one archive for a partner, without columns that name customers."""
    from .sharing.pack import pack_study

    found = pack_study(study, out, keep=keep_column, workers=workers, say=click.echo)
    name = f'"{found.name}"' if " " in found.name else found.name
    click.echo(f"\nPack: {found.resolve()}\nYour partner checks it with: casting-econ verify {name}")


@main.command()
@click.argument("page", type=click.Path())
@click.option("--out", type=click.Path(), help="PDF to write instead of NAME-page.pdf in this folder.")
def pdf(page: str, out: str | None) -> None:
    """Set a page on paper, such as my-study/report/report.html or a quote: a PDF, its contents with the sheet of each part."""
    from .running.paper import write_pdf

    click.echo(f"PDF: {write_pdf(page, out).resolve()}")


@main.command()
@click.argument("archive", type=click.Path())
@click.option(
    "--out", type=click.Path(), help="New folder for the study and the report as worked out here; none is kept otherwise."
)
@click.option("--quick", is_flag=True, help="Work out the results only, not the pages with their tables.")
@_WORKERS
def verify(archive: str, out: str | None, quick: bool, workers: int) -> None:
    """Check a pack and work it out anew: the same numbers, or each difference. Runs nothing that is in the pack."""
    from .sharing.verify import verify_pack

    found = verify_pack(archive, out, quick=quick, workers=workers, say=click.echo)
    click.echo("\n".join(found.lines()))
    if not found.same:
        sys.exit(1)


@main.command()
@click.argument("before", type=click.Path())
@click.argument("after", type=click.Path())
@click.option("--out", type=click.Path(), help="Page to write as well, such as compared.html.")
def compare(before: str, after: str, out: str | None) -> None:
    """Two studies or packs side by side: what was changed in numbers and records, and what that does to the results."""
    from rich.console import Console

    from .sharing.compare import compare_studies, comparison_page, comparison_tables

    found = compare_studies(before, after)
    if out:
        comparison_page(found, out)
    for part in comparison_tables(found):
        Console().print(part)
    if out:
        click.echo(f"\nPage: {out}")


if __name__ == "__main__":
    main(prog_name="casting-econ")
