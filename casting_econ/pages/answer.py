"""The first page: the answer, what it rests on, what to do and what to measure next."""

import numpy as np
import pandas as pd

from ..assumptions import label, point_values, workshop_at
from ..faults import counted, some_of
from ..formatting import MINUS, Format
from ..kit import Answer, OpenStudy, basis_counts, format_of
from ..models import evaluate
from .change import Changed, best_of, cost_words
from .conditions import moved_words, needed_table
from .deciding import Decision, brings_words, decision_sentence, decision_word
from .job import Job, counted_orders, hour_words, job_line, job_of, only_order, todo_words
from .monte_carlo import by_luck_alone, certainty_word
from .records import unlike_orders
from .sensitivity import swing_table
from .waiting import guess_words, try_words, waiting_of, worth_waiting_for

REACH = 0.5  # share of now up to which moving one thing alone is advice


def first_lines(kit: OpenStudy, answer: Answer, decision: Decision, rows: list[Changed]) -> list[str]:
    """The answer in three lines: an hour, whether it is a job, what to do. Whoever reads no further has read what counts.

    Of a study whose year is one order alone a line before them says where to read what that order pays, and what the year then is.
    """
    fmt, job = format_of(kit), job_of(kit, answer)
    about, sure = ("", "") if kit.certain else ("about ", f" (chance {fmt.chance(job.hour)})")
    alone = "**if this order were all you sold in it**"
    if by_luck_alone(kit):  # some years drawn have none, so that it is no year of this order
        alone = f"**of {counted_orders(job.orders, fmt)} such as this on average, in some years none, and of nothing else**"
    lead = f"**What {job.alone} pays by itself, planned or done, is said by** `casting-econ order`. What follows is a year {alone}, with the weekly hours and overheads of the whole year on it."
    hour = f"**An hour {'of such a year ' if job.alone else ''}{certainty_word(job.hour)}:** {about}{hour_words(kit, answer)}, target {fmt.money(answer.target)}{sure}."
    todo = f"**{advice(kit, job, decision)}**"
    if best := best_of(rows):
        todo += f" First: {best.what}, {about}{fmt.money(float(best.gain.mean()), 0)} more a year."
    guess = guess_words(waiting_of(kit, float(decision.benefit.mean())), fmt)
    wrong = "**The sales log brings far more or less an order than the study states, so that what follows is reckoned wrong:** the page on records says what to write."
    lines = [lead] * bool(job.alone) + [wrong] * bool(unlike_orders(kit))
    return [*lines, hour, job_line(kit, answer, job), f"{todo} {guess}".rstrip()]


def advice(kit: OpenStudy, job: Job, decision: Decision) -> str:
    """Go on, stop or try first, in a few words."""
    fmt = format_of(kit)
    return try_words(waiting_of(kit, float(decision.benefit.mean())), fmt) or todo_words(job, decision, fmt)


def the_decision(decision: Decision, rows: list[Changed], fmt: Format, word: str = "") -> str:
    """Go on, stop, or change what; with the chance of being right. `word` is the `advice` of the page, if it has one."""
    text = decision_sentence(decision, fmt)
    plain = decision_word(decision)
    if word.startswith(("Go on", "Stop", "Rather", "Find")) and word.startswith("Go on") == plain.startswith("Go on"):
        text = text.replace(f"**{plain}**", f"**{word}**")
    elif word and word != plain:
        text = f"**{word}** {brings_words(decision, fmt)}."
    best = best_of(rows)
    if not best:
        return text + (" No scenario of the study is clearly better." if rows else "")
    by, often = f"by {fmt.money(float(best.gain.mean()), 0)} a year", f"with a chance of {fmt.chance(best.better)}"
    text += f" **Change: {best.what}**, better than now {by if best.certain else often}"
    enough = float((best.over_target > 0).mean())
    if decision.goes:
        return f"{text}."
    if best.certain and enough in (0.0, 1.0):
        then = "; with it every hour earns the target" if enough else ", but with it alone the target is still not reached"
    elif enough >= 0.5:
        then = f"; with it a year brings more than its hours at the target with a chance of {fmt.chance(enough)}"
    else:
        then = f", but with it alone the target is still reached with a chance of {fmt.chance(enough)}"
    return f"{text}{then}."


def next_things(kit: OpenStudy, decision: Decision, information: pd.DataFrame, rows: list[Changed], fmt: Format) -> list[str]:
    """At most three things to do next, each with its reason."""
    things = []
    if row := best_of(rows):
        cost, gain = f" for {cost_words(row, fmt)}" if row.first_cost else "", fmt.money(float(row.gain.mean()), 0)
        things.append(f"**Do: {row.what}**{cost}; about {gain} more a year, its own hours paid the target.")
    sure = information[(information.kind == "number") & (information.worth > 2.0 * information.error)]
    sure = worth_waiting_for(kit, sure, float(decision.benefit.mean()))
    if len(sure) and decision.all_known.value >= 0.001 * abs(float(decision.benefit.mean())):
        row = sure.iloc[0]
        takes = f"; {row.takes} would halve its width" if row.takes else ""
        things.append(f"**Measure: {row.what}**; knowing it is worth {fmt.money(row.worth, 0)} a year{takes}.")
    if len(things) < 3 and (row := best_of(rows, sure=False)):
        brings = f"{fmt.money(float(row.gain.mean()), 0)} on average, but the chance that it brings anything is only {fmt.chance(row.better)}"
        things.append(f"**Find out about: {row.what}**; it would bring {brings}.")
    pays = kit.point().totals["pay_per_hour"] >= kit.inputs().target_per_hour
    if (order := only_order(kit)) and not pays:  # a price that carries a whole year by one order is no advice
        return [*things, *_order_things(kit, order)][:3]
    needed = needed_table(kit, next(iter(kit.study.file.products)))
    nearest = needed[needed.needed.notna() & np.isfinite(needed.change)].head(1)
    if len(nearest) and len(things) < 3:
        row = nearest.iloc[0]
        words = f"{row.lever} {moved_words(row, fmt)}"
        thing = f"**Try for: {words}**; that alone would reach the target"
        if abs(row.change) > REACH:
            thing = f"**No change by less than half is enough alone:** the nearest would be {words}"
        if pays:
            thing = f"**Watch: {row.lever}**; with {words} the target is only just reached"
        things.append(f"{thing}, every other number at its middle.")
    return things


def _order_things(kit, order):
    """What to do where the year is one order: see it through or look back on it, and mend the guess that moves such a year most."""
    day, learn = kit.study.day, "`casting-econ learn` begins the next study from that"
    if day and kit.study.file.commissions[order].due < day:
        things = [f"**Look back on {order}:** `casting-econ order` with `--finished` says what it paid; {learn}."]
    else:
        done = "with its hours, loads and receipts written down it says afterwards what it paid"
        things = [f"**First see {order} through:** `casting-econ order` plans and quotes it; {done}, and {learn}."]
    if kit.study.file.commissions[order].price is None:
        things.append("**Ask the price that it names:** none is stated yet, so the year here goes by a guess.")
    bases = {key: number.basis for key, number in kit.assumed.numbers.items()}
    if guess := next((row.label for row in swing_table(kit).itertuples() if bases.get(row.key) == "guess"), None):
        things.append(f"**Write down what is so with you: {guess}**; of all guesses it moves such a year most.")
    return things


def introduction(kit: OpenStudy) -> str:
    """Name, question and what the study is, as its file states them."""
    table = kit.study.file.study
    invented = "\n\n**Invented demo:** no person, place or business in it is real." if table.invented else ""
    parts = [f"**{table.name}.** {table.question}".strip(), table.about]
    return "\n\n".join(part for part in parts if part) + invented


_RESTS_ON = {
    "guess": "guessed",
    "answered": "answered by the maker",
    "measured": "measured by the logs",
    "published": "published",
    "agreed": "agreed or bought",
    "decided": "decided by the maker",
}


def counts_words(kit: OpenStudy) -> str:
    """How many numbers are guessed, measured, published, agreed and decided."""
    groups = basis_counts(kit)
    counts = [f"{len(groups[basis])} {words}" for basis, words in _RESTS_ON.items() if groups.get(basis)]
    return f"{counted(sum(map(len, groups.values())), 'stated number')}: {', '.join(counts)}."


def certainty_list(kit: OpenStudy) -> str:
    """How many numbers are guessed, measured, published, agreed and decided, and which are guesses."""
    text, guessed = counts_words(kit), basis_counts(kit).get("guess", [])
    waiting = [key for key in guessed if kit.assumed.numbers[key].from_records]
    if waiting:
        text += f" {len(waiting)} of the guesses ask for records that the logs do not have."
    guesses = list(dict.fromkeys(label(key, each=False) for key in guessed))  # one material may be stated at several steps
    if guesses:
        text += f" Guessed: {some_of(guesses, 12)}."
    return text + " The page on records lists every one."


def evidence_effect(kit: OpenStudy) -> str:
    """What the logs change in the point result, and the numbers behind most of it."""
    if not kit.assumed.evidence:
        silent = "The logs measure none of the study's numbers" if kit.study.records else "There are no logs yet"
        return f"{silent}: every number is as stated."

    fmt = format_of(kit)
    stated, point = (float(kit.point(stated=s).totals["pay_per_hour"]) for s in (True, False))
    moved = "; ".join(f"{name} ({signed(fmt, change)})" for name, change in evidence_steps(kit)[:3])
    return (
        f"As stated, before the logs, an hour would bring {fmt.money(stated)}; with what the logs measured it brings {fmt.money(point)}, "
        "both with every number at its middle. "
        f"The measured numbers that change it most, each alone: {moved}."
    )


def signed(fmt: Format, amount: float) -> str:
    """An amount with its sign, which no line break parts from it."""
    return ("+" if amount >= 0 else MINUS) + "\u2060" + fmt.money(abs(amount))


def evidence_steps(kit: OpenStudy) -> list[tuple[str, float]]:
    """What each measured number, by its label, alone changes in the stated pay an hour, largest first. [money/hour]"""
    stated, found = point_values(kit.assumed, stated=True), kit.assumed.evidence
    alone = np.eye(len(found), dtype=bool)  # a row for each, in which only that one is as measured
    values = {key: np.where(one, found[key].posterior.middle, stated[key]) for key, one in zip(found, alone, strict=True)}
    change = evaluate(workshop_at(kit.study, stated | values)).totals["pay_per_hour"]
    change = np.broadcast_to(change, len(found)) - float(kit.point(stated=True).totals["pay_per_hour"])
    return sorted(zip(map(label, found), change.tolist(), strict=True), key=lambda row: -abs(row[1]))
