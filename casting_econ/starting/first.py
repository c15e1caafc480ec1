"""A new study folder, and the first answer it gives."""

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from ..faults import StudyError
from ..kit import OpenStudy, format_of, open_study
from ..study import STUDY_FILE
from ..study.inputs import made_whole, write_files
from .answers import LOCALES, Answers
from .crafts import kinds
from .writer import FIRST_ORDER, log_texts, study_text, what_to_write_down


def new_study(folder: Path | str, answers: Answers, locale: str | None = None) -> tuple[OpenStudy, list[str]]:
    """Write a study folder, where nothing may be yet, and open it; the open study, and what in it is a trade default.

    The `locale`, for numbers, dates and holidays, is that of the one country of the currency if not given. StudyError if the folder is there
    already or cannot be made, or the answers together make no study; nothing is left behind then.
    """
    target = Path(folder)
    name = re.sub("[-_]", " ", re.sub(r'["\\]', "", target.resolve().name)).strip().capitalize()
    text, defaults = study_text(answers, name or "My study", locale or LOCALES.get(answers.currency))
    texts = {STUDY_FILE: text, "what-to-write-down.md": what_to_write_down(answers, defaults)}
    texts |= {f"records/{file}": log for file, log in log_texts(answers).items()}

    def written(whole):
        write_files({place: content.encode() for place, content in texts.items()}, whole)
        return open_study(whole)

    kit = made_whole(target, written, parents=True)
    return replace(kit, study=replace(kit.study, folder=target)), defaults


def what_next(kit: OpenStudy, folder: str) -> tuple[str, str]:
    """What the whole of a study is called, and the command that makes it in a folder."""
    order, folder = next(iter(kit.study.file.commissions.items()), None), f'"{folder}"' if " " in folder else folder
    if order is None:
        return "report", f"casting-econ run {folder}"
    over = order[1].due < date.today()
    command = f"casting-econ order {folder} {order[0]}"
    return ("account of the order", f"{command} --finished") if over else ("plan and quote", command)


def first_answer(kit: OpenStudy, defaults: list[str]) -> list[str]:
    """The answer in paragraphs: pay an hour with its band, chance of the target, what matters most, what to record, what is guessed.

    Of a first order instead what `casting-econ order` says of it from today on, and its hours.
    """
    guessed = f"These rest on trade defaults, which are guesses ({kinds()['P']}, and the like): {'; '.join(defaults)}."
    if FIRST_ORDER in kit.study.file.commissions:
        return [*_order_answer(kit, date.today()), guessed]
    from ..pages.curing import limit_sentence
    from ..pages.deciding import decision_of, information_table, next_to_measure
    from ..pages.monte_carlo import verdict, year_sentence
    from ..pages.sensitivity import swing_table, three_numbers
    from ..study.told import log_of

    answer, tornado, fmt = kit.monte_carlo(), swing_table(kit), format_of(kit)
    asking = {key for key, number in kit.study.numbers.items() if number.from_records}  # no other counts a log as it stands
    logs = [(log_of(row.key), row.label) for row in tornado.itertuples() if row.key in asking and log_of(row.key)]
    decision = decision_of(kit)
    record = "Write down what you sell, buy, cast and do from the first day on."
    if logs:
        log, what = logs[0]
        others = [other for other in dict.fromkeys(name for name, _ in logs) if other != log][:2]
        record = f"**Record first: {log}**, which tells {what}, the number with a log that moves pay an hour most"
        record += f"; then {' and '.join(others)}." if others else "."
    return [
        verdict(kit, answer),
        year_sentence(kit, answer),
        limit_sentence(kit, answer),
        "The three numbers that matter most:\n\n" + three_numbers(kit, tornado),
        record + " " + next_to_measure(decision, information_table(decision), fmt),
        guessed,
    ]


def _order_answer(kit, today) -> list[str]:
    """Date, casts, price and hours of the first order, or why it cannot be planned as it stands."""
    from ..orders import open_order, order_lines, price_of
    from ..orders.price import mould_cost
    from ..orders.tables import day

    fmt, due = format_of(kit, year=False), kit.study.file.commissions[FIRST_ORDER].due
    if due < today:
        rows = f"its loads (`batches`), hours (`timesheet`) and sale (`sales`), each row with `{FIRST_ORDER}` as its order"
        return [
            f"**{day(fmt, due)} has gone by**, so nothing is planned. Write into `records/` {rows}; `casting-econ order` then says what it "
            "took and paid. Where its loads are in no log, say with `--start` when work on it began."
        ]
    try:
        plan = open_order(kit, FIRST_ORDER, today=today)
        quoted = price_of(plan)
    except StudyError as error:
        return [f"Not planned yet: {error}"]
    hours = {
        "making": quoted.bench_hours,
        "talking, packing and posting": quoted.order_hours,
        "what no buyer sees": quoted.hidden_hours,
    }
    parts = ", ".join(f"{what} {fmt.number(each.mean(), 1)}" for what, each in hours.items())
    low, high = np.quantile(quoted.hours, [0.1, 0.9])
    total = f"**{fmt.number(quoted.hours.mean())} hours in all** ({fmt.number(low)} to {fmt.number(high)}): {parts}."
    if plan.planner.moulds:
        total += f" Moulds are in it by what the order wears of them; making all of them takes {fmt.number(mould_cost(plan).hours, 1)}."
    return [*(line for line in order_lines(plan, quoted) if line), total]
