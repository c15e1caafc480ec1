"""The first demo with another cash table or other numbers, and flows of a stated year, for tests of cash."""

from functools import cache

import numpy as np
from commands import edited, rates_copy

from casting_econ.kit import open_study
from casting_econ.models.cash import CashFlows, from_start
from casting_econ.models.flows import YearFlows, bought_ahead, level
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


def level_flows(*, share, outlays, receipts=(), moulds=(), material_lead=0, season_share=0.0, pay=0.0, **stated):
    """Flows of months that are shares of one year: what `stated` names is of the year, receipts are with their delay, wear of moulds with what
    the first set bears."""
    months, kinds = np.shape(outlays)[-1] - 1, ("with_sales", "stalls", "material", "overhead", "wear")

    def of_year(money):
        return np.asarray(money, float)[..., None]

    def of_path(values):
        return from_start(values[..., :months])

    sums = {kind: of_year(stated.pop(kind, 0.0)) for kind in kinds}
    parts = {"receipts": receipts, "moulds": moulds}
    named = {kind: {at: of_year(money) for at, (money, _) in enumerate(each)} for kind, each in parts.items()}
    flows = level(YearFlows(**sums, **named, hours=np.zeros(1), busy=np.zeros(1)), share, season_share, share)
    used = flows.material[..., :months]
    bought = bought_ahead(used, flows.material, material_lead)
    return CashFlows(
        outlays=outlays,
        receipts=tuple((of_path(flows.receipts[at]), delay) for at, (_, delay) in enumerate(receipts)),
        paid=bought + of_path(flows.with_sales + flows.stalls + flows.overhead),
        stocked=bought - from_start(used),
        moulds=tuple((of_path(flows.moulds[at]), there) for at, (_, there) in enumerate(moulds)),
        wear=of_path(flows.wear),
        pay=of_path(of_year(pay) * np.ones(months)),
        **stated,
    )
