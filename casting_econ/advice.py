"""The decision that a study ends in, and the next three things to do."""

import numpy as np
import pandas as pd

from .analysis import Kit
from .conditions import moved_words, needed_table, pay_over_target
from .formatting import Format
from .scenarios import Changed
from .sensitivity import Decision, decision_sentence

__all__ = ["next_things", "the_decision"]


def the_decision(decision: Decision, rows: list[Changed], fmt: Format) -> str:
    """Go on, stop, or change what; with the chance of being right."""
    text = decision_sentence(decision, fmt)
    good = [row for row in rows if row.clearly_better]
    if not good:
        return text + (" No scenario of the study is clearly better." if rows else "")
    best = max(good, key=lambda row: row.gain.mean())
    after = best.over_target
    text += f" **Change: {best.what}**, better than now with a chance of {fmt.chance(best.better)}"
    if not decision.goes:
        enough = float((after > 0).mean())
        return text + (
            f"; with it a year brings more than its hours at the target with a chance of {fmt.chance(enough)}."
            if enough >= 0.5
            else f", but with it alone the target is still reached in only {fmt.chance(enough)} of cases."
        )
    return text + "."


def next_things(kit: Kit, decision: Decision, information: pd.DataFrame, rows: list[Changed], fmt: Format) -> list[str]:
    """At most three things to do next, each with its reason."""
    things = []
    good = sorted((r for r in rows if r.clearly_better), key=lambda r: -float(r.gain.mean()))
    if good:
        cost = f" for {fmt.money(good[0].first_cost, 0)}" if good[0].first_cost else ""
        things.append(
            f"**Do: {good[0].what}**{cost}; it brings about {fmt.money(float(good[0].gain.mean()), 0)} a year beyond the target."
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
            f"**Find out about: {row.what}**; it would bring {fmt.money(float(row.gain.mean()), 0)} on average, but with a chance of only {fmt.chance(row.better)}."
        )
    needed = needed_table(kit)
    nearest = needed[needed.needed.notna() & np.isfinite(needed.change)].head(1)
    if len(nearest) and len(things) < 3:
        row, pays = nearest.iloc[0], float(pay_over_target(kit.inputs())) >= 0
        words = f"{row.lever} {moved_words(row, fmt)}"
        things.append(
            f"**Watch: {row.lever}**; with {words} the target is only just reached, all else at its middle."
            if pays
            else f"**Aim at: {words}**; that alone would reach the target, all else at its middle."
        )
    return things
