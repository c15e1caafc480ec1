"""The first page: the answer, what it rests on, what to do and what to measure next."""

import numpy as np
import pandas as pd

from ..assumptions import label, point_values, workshop_at
from ..faults import counted, some_of
from ..formatting import MINUS, Format
from ..kit import Answer, OpenStudy, basis_counts, format_of
from ..models import evaluate
from .change import Changed, cost_words
from .conditions import moved_words, needed_table, pay_over_target
from .deciding import Decision, decision_sentence, decision_word
from .monte_carlo import certainty_word, living_words, year_word

REACH = 0.5  # share of now up to which moving one thing alone is advice


def first_lines(kit: OpenStudy, answer: Answer, decision: Decision, rows: list[Changed]) -> list[str]:
    """The answer in three lines: an hour, a year, what to do. Whoever reads no further has read what counts."""
    fmt, pay, year = format_of(kit), answer.summary("pay_per_hour"), answer.summary("residual_pay_per_year")
    hour_chance, year_chance = (answer.chances[f"{what}_pays_living_wage"]["chance"] for what in ("hour", "year"))
    hours = answer.summary("hours_per_year")["p50"] / float(kit.inputs().weeks_per_year)
    about = "" if kit.certain else "about "

    def sure(chance):
        return "" if kit.certain else f" (chance {fmt.chance(chance)})"

    hour = f"**An hour {certainty_word(hour_chance)}:** {about}{fmt.money(pay['p50'])}, target {fmt.money(answer.target)}{sure(hour_chance)}."
    living = f"**{year_word(year_chance, living_words(kit))}:** {about}{fmt.money(year['p50'], 0)} for {fmt.number(hours, 1)} hours a week"
    living += f", {living_words(kit)} is {fmt.money(answer.living, 0)}{sure(year_chance)}."
    best = max((row for row in rows if row.clearly_better), key=lambda row: row.gain.mean(), default=None)
    todo = f"**{decision_word(decision)}**"
    if best:
        todo += f" First: {best.what}, {about}{fmt.money(float(best.gain.mean()), 0)} more a year."
    return [hour, living, todo]


def the_decision(decision: Decision, rows: list[Changed], fmt: Format) -> str:
    """Go on, stop, or change what; with the chance of being right."""
    text = decision_sentence(decision, fmt)
    good = [row for row in rows if row.clearly_better]
    if not good:
        return text + (" No scenario of the study is clearly better." if rows else "")
    best = max(good, key=lambda row: row.gain.mean())
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
    good = sorted((r for r in rows if r.clearly_better), key=lambda r: -float(r.gain.mean()))
    if good:
        cost = f" for {cost_words(good[0], fmt)}" if good[0].first_cost else ""
        things.append(
            f"**Do: {good[0].what}**{cost}; it brings about {fmt.money(float(good[0].gain.mean()), 0)} more a year, with every hour paid the target."
        )
    sure = information[(information.kind == "number") & (information.worth > 2.0 * information.error)]
    if len(sure) and decision.all_known.value >= 0.001 * abs(float(decision.benefit.mean())):
        row = sure.iloc[0]
        takes = f"; {row.takes} would halve its width" if row.takes else ""
        things.append(f"**Measure: {row.what}**; knowing it is worth {fmt.money(row.worth, 0)} a year{takes}.")
    open_rows = [r for r in rows if r.perhaps_better]
    if open_rows and len(things) < 3:
        row = max(open_rows, key=lambda r: r.gain.mean())
        things.append(
            f"**Find out about: {row.what}**; it would bring {fmt.money(float(row.gain.mean()), 0)} on average, but the chance that it brings anything is only {fmt.chance(row.better)}."
        )
    needed = needed_table(kit)
    nearest = needed[needed.needed.notna() & np.isfinite(needed.change)].head(1)
    if len(nearest) and len(things) < 3:
        row = nearest.iloc[0]
        words = f"{row.lever} {moved_words(row, fmt)}"
        thing = f"**Try for: {words}**; that alone would reach the target"
        if abs(row.change) > REACH:
            thing = f"**No single change is enough:** the nearest would be {words}"
        if float(pay_over_target(kit.inputs())) >= 0:
            thing = f"**Watch: {row.lever}**; with {words} the target is only just reached"
        things.append(f"{thing}, every other number at its middle.")
    return things


def introduction(kit: OpenStudy) -> str:
    """Name, question and what the study is, as its file states them."""
    table = kit.study.file.study
    invented = "\n\n**Invented demo:** no person, place or business in it is real." if table.invented else ""
    parts = [f"**{table.name}.** {table.question}".strip(), table.about]
    return "\n\n".join(part for part in parts if part) + invented


_RESTS_ON = {
    "guess": "guessed",
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
    guesses = [label(key) for key in guessed]
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
    stated = point_values(kit.assumed, stated=True)
    base = float(kit.point(stated=True).totals["pay_per_hour"])
    rows = []
    for key, found in kit.assumed.evidence.items():
        pay = evaluate(workshop_at(kit.study, stated | {key: found.number.value})).totals["pay_per_hour"]
        rows.append((label(key), float(pay) - base))
    return sorted(rows, key=lambda row: -abs(row[1]))
