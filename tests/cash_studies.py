"""The first demo with another cash table or other numbers, for tests of its cash."""

from functools import cache

from commands import edited, rates_copy

from casting_econ.kit import open_study
from casting_econ.pages.cash_paths import cash_draws

KNOBS, FIGURES, SOAP = "kelpmoor-handles", "gannet-lane-figures", "ninepenny-lather"
DRAWS = 1600  # sixteen sets of a hundred


def changed(folder, cash="", *, demo=KNOBS, sales="", edits=()):
    """A demo as stated, with lines of a [cash] table and other text replaced, in a folder; the folder."""
    text = edited((rates_copy(demo) / "study.toml").read_text(encoding="utf-8"), *edits)
    (folder / "study.toml").write_text(text + (f"\n[cash]\n{cash}\n" if cash else ""), encoding="utf-8")
    if sales:
        (folder / "records").mkdir(exist_ok=True)
        (folder / "records" / "sales.csv").write_text(sales, encoding="utf-8")
    return folder


@cache
def knobs():
    """The first demo as stated."""
    return open_study(rates_copy(KNOBS), with_records=False)


@cache
def knobs_cash():
    """Its cash."""
    return cash_draws(knobs(), DRAWS)
