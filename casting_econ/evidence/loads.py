"""Batches and faults to pieces entering and lost by load, step and cause."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
import scipy

from ..draws.distributions import Distribution, distribution
from ..faults import counted
from ..study import Study
from ..study.records import split_order
from ..study.stations import load_sizes, pot_name
from .control import binomial_limits
from .posteriors import PRIOR_LOADS, load_share_posterior

RUINED_SHARE = 0.10  # of a load's pieces good, at most, in a load called ruined
YIELD_PRIOR_WEIGHT = 10.0  # pieces that the stated yield counts for beside the loads: common practice, no source
RUINED_CHANCE = 1e-3  # of so few, or fewer, if it were a load like the others


@dataclass(frozen=True, kw_only=True)
class LoadCounts:
    """Pieces of one product through its steps, load by load, in order of date."""

    batches: pd.DataFrame  # rows of the log: batch, date, casts, good, ... [piece]
    entering: pd.DataFrame  # index as `batches`, columns steps [piece]
    lost: pd.DataFrame  # same shape [piece]
    pooled: dict[str, bool]  # by step, whether some of its faults name no batch, so that only sums hold
    totals: pd.DataFrame  # index steps; columns entering, lost, over all loads [piece]
    usual_load: float  # pieces of a load, on average [piece]

    def rows(self, step, without=()):
        """Pieces that passed and that entered a step: by load, or one row of sums where faults name no batch."""
        if self.pooled[step]:
            total = self.totals.loc[step]
            return np.array([total.entering - total.lost]), np.array([total.entering])
        keep = ~self.batches.index.isin(list(without)) & (self.entering[step].to_numpy() > 0)
        entering, lost = self.entering[step].to_numpy(float)[keep], self.lost[step].to_numpy(float)[keep]
        return entering - lost, entering


def rows_of(study: Study, log: str, product: str) -> pd.DataFrame | None:
    """Rows of a log that are of a product; None where it has none."""
    frame = study.records.get(log)
    mine = None if frame is None else frame[frame["product"] == product]
    return None if mine is None or mine.empty else mine


@lru_cache(maxsize=16)  # each number of a product asks for it
def load_counts(study: Study, product: str) -> LoadCounts | None:
    """Pieces entering, and lost at, each step, load by load; None without batches of the product.

    Seconds count as lost: they cannot be sold at full price. Losses that a batch shows but its faults do not explain are
    booked to the first step with a check.
    """
    mine, faults = rows_of(study, "batches", product), study.records.get("faults")
    if mine is None:
        return None
    mine = mine.sort_values("date", kind="stable")
    steps = study.file.products[product].steps
    lost, loose = pd.DataFrame(0.0, index=mine.index, columns=list(steps)), pd.Series(0.0, index=list(steps))
    if faults is not None:
        scrap = faults[own_faults(study, product, faults) & (faults.fate != "rework") & faults.step.isin(lost.columns)]
        named = scrap[scrap.batch.isin(mine.batch)]
        by_load = named.groupby(["batch", "step"]).pieces.sum().unstack(fill_value=0.0)
        by_load = by_load.reindex(index=mine.batch, columns=lost.columns, fill_value=0.0).fillna(0.0)
        lost = pd.DataFrame(by_load.to_numpy(float), index=mine.index, columns=lost.columns)
        loose = scrap[~scrap.batch.isin(mine.batch)].groupby("step").pieces.sum().reindex(lost.columns).fillna(0.0)
    checks = (name for name in steps if f"products.{product}.steps.{name}.pass_share" in study.numbers)  # 100 % stated is one too
    first = next(checks, next(iter(steps)))
    missing = (mine.casts - mine.good - lost.sum(axis=1)).clip(lower=0.0)
    if loose.sum() > 0:  # which loads the loose faults came from is not known
        loose[first] += max(missing.sum() - loose.sum(), 0.0)
    else:
        lost[first] += missing
    sums = lost.sum() + loose
    totals = pd.DataFrame({"entering": mine.casts.sum() - sums.cumsum().shift(fill_value=0.0), "lost": sums})
    entering = pd.DataFrame(mine.casts.to_numpy(float)[:, None] - lost.cumsum(axis=1).shift(axis=1, fill_value=0.0), lost.index)
    return LoadCounts(
        batches=mine,
        entering=entering,
        lost=lost,
        pooled=dict(loose.cumsum() > 0),
        totals=totals,
        usual_load=float(mine.casts.mean()),
    )


def usual_load(study: Study, product: str) -> float:
    """Casts of a load: as stated; where stations differ, the mean of the batches, or without any of loads that go to them in turn. [cast]"""
    sizes = load_sizes(study.file, product)
    mine = rows_of(study, "batches", product) if len(sizes) > 1 else None
    return float(np.mean(sizes)) if mine is None else float(mine.casts.sum()) / loads_poured(study, mine)


def loads_poured(study: Study, batches: pd.DataFrame) -> int:
    """Loads that rows of the batches log were: those of one day and one station that name different colours of an order are one. [load]"""
    stations = study.file.stations.items()
    single = {name for name, entry in stations if entry.count.value == 1}
    single |= {pot_name(name, n) for name, entry in stations for n in range(1, len(entry.sizes) + 1)}
    mine = batches[batches.station.isin(single) & batches.order.str.contains("/", na=False)]
    of = mine.order.map(lambda text: split_order(text)[0])
    again = mine.groupby(["date", "station", "product", of]).order.agg(lambda colours: colours.value_counts().max())
    return len(batches) - len(mine) + int(again.sum())


def pots_used(study: Study, product: str) -> pd.DataFrame:
    """Loads of each station that the batches log names, each of several for itself: how many, casts a load, and the share that is good."""
    batches, rows = rows_of(study, "batches", product), []
    for station, mine in () if batches is None else batches.groupby("station"):
        loads, casts = loads_poured(study, mine), mine.casts.sum()
        rows.append((station, loads, casts / loads, mine.good.sum() / casts))
    return pd.DataFrame(rows, columns=["station", "loads", "casts a load", "good"])


def own_faults(study, product, faults):
    """Which rows of the faults log are of a product, as a mask: by their batch, by name, or because there is no other."""
    batches, alone = rows_of(study, "batches", product), len(study.file.products) == 1
    mine = faults["product"] == product
    if batches is not None:
        mine |= faults.batch.isin(batches.batch)
    return mine | (faults.batch.isna() & faults["product"].isna() & alone)


def ruined_loads(counts: LoadCounts) -> list:
    """Index, in `counts.batches`, of loads ruined as a whole: hardly a piece good, far fewer than other loads would give.

    The chance of so few good pieces is beta-binomial with the other loads' share and a correlation of 0.05.
    """
    found, batches = [], counts.batches
    casts, good = batches.casts.to_numpy(float), batches.good.to_numpy(float)
    for at in np.flatnonzero(good <= RUINED_SHARE * casts):
        others = casts.sum() - casts[at]
        share = (good.sum() - good[at] + 1.0) / (others + 2.0)
        if others > 0 and scipy.stats.betabinom.cdf(good[at], casts[at], share * 19.0, (1 - share) * 19.0) < RUINED_CHANCE:
            found.append(batches.index[at])
    return found


def load_correlation(study: Study, product: str) -> Distribution:
    """Correlation between two pieces of one load of a product, good or not at the end, as its batches tell it. [-]

    A correlation that the study states is not looked at here. Good of casts, load by load, with loads ruined as a whole left
    out: `load_share_posterior`, in which the yield by the stated pass shares counts for 10 pieces. Without batches of the
    product, its prior beta(1, 19) alone. KeyError if the study has no such product.
    """
    stated = math.prod(step.pass_share.value for step in study.file.products[product].steps.values())
    loads = _usual_loads(study, product)
    if loads is None or loads.empty:
        first, second = PRIOR_LOADS
        return distribution("beta", mean=first / (first + second), worth=first + second)
    return load_share_posterior(stated, YIELD_PRIOR_WEIGHT, loads.good, loads.casts)[1]


def _usual_loads(study, product):
    """Batches of a product that were poured and not ruined as a whole; None without batches of it."""
    counts = load_counts(study, product)
    loads = None if counts is None else counts.batches.drop(index=ruined_loads(counts))
    return None if loads is None else loads[loads.casts > 0]


def likeness(study: Study, product: str) -> tuple[float, tuple[float, float] | None, str]:
    """How much pieces of one load fail together: the mean, the middle eight in ten unless stated, and what it rests on. [-]"""
    stated = study.file.products[product].load_correlation
    if stated is not None:
        return stated, None, "decided"
    found, loads = load_correlation(study, product), _usual_loads(study, product)
    low, high = found.quantile(np.array([0.1, 0.9])).tolist()
    count = 0 if loads is None else len(loads)
    basis = f"measured on {counted(count, 'load')}" if count else "guess, common practice, no source"
    return found.middle, (low, high), basis


def cause_shares(study: Study, product: str) -> pd.DataFrame:
    """Pieces lost by step and cause [piece], and their share of what entered the step with its middle eight in ten [-].

    The band is Jeffreys'; pieces of one load are taken as independent.
    """
    counts, faults = load_counts(study, product), study.records.get("faults")
    if counts is None or faults is None:
        return pd.DataFrame(columns=["step", "cause", "lost", "share", "low", "high"])
    scrap = faults[own_faults(study, product, faults) & (faults.fate != "rework")]
    sums = scrap.groupby(["step", "cause"]).pieces.sum().rename("lost").reset_index()
    entering = sums.step.map(counts.totals.entering)
    kept = (entering - sums.lost).clip(lower=0.0)
    low, high = binomial_limits(sums.lost, sums.lost + kept)
    frame = sums.assign(share=sums.lost / entering, low=low, high=high)
    return frame.sort_values("lost", ascending=False, ignore_index=True)


def _moulds_of(batches):
    """One row a batch and mould: which moulds each load was poured in."""
    rows = batches.assign(mould=batches.moulds.str.split(r"[\s;,]+", regex=True)).explode("mould")
    return rows[rows.mould.notna() & (rows.mould != "")]


def loads_of_mould(study: Study) -> pd.Series:
    """Loads poured in each mould, by mould id [load]; a load gives each cavity one cast."""
    batches = study.records.get("batches")
    return pd.Series(dtype=float) if batches is None else _moulds_of(batches).mould.value_counts()


def mould_lives(study, product):
    """Casts a cavity at wear-out, and so far of moulds good or replaced by plan [cast]; None without moulds."""
    mine, loads, entry = rows_of(study, "moulds", product), loads_of_mould(study), study.file.products[product].mould
    if mine is None:
        return None
    gone = mine.casts_at_retirement[mine.retired.notna()].to_numpy(float)
    # a mould replaced by plan was still good: it counts like one in use
    plan = None if entry is None else entry.replace_at
    planned = gone >= plan.value if plan is not None else np.zeros(gone.shape, dtype=bool)
    live = np.concatenate([mine.mould[mine.retired.isna()].map(loads).fillna(0.0).to_numpy(float), gone[planned]])
    return gone[~planned & (gone > 0)], live


def moulds_in_hand(study, product):
    """Moulds that are there, where they are counted one by one: as stated, and those of the moulds log in use; where neither says of any, as
    many as the largest load of the batches log filled. [mould]"""
    entry, mine = study.file.products[product].mould, rows_of(study, "moulds", product)
    if entry.in_hand or mine is not None:
        return entry.in_hand + (0 if mine is None else int(mine.retired.isna().sum()))
    return math.ceil(casts_poured(study, product).max() / entry.cavities)


def casts_poured(study, product):
    """Casts of each load of a product in the batches log, those still in work too; one of none where it has no load. [cast]"""
    batches = study.whole_logs.get("batches", study.in_work)
    return np.concatenate([[0], batches.casts[batches["product"] == product]])


def mould_ages(study: Study, product: str) -> pd.Series:
    """Casts that the moulds of each load had given before it, on average; index: rows of the batches log. [cast]"""
    batches = rows_of(study, "batches", product)
    if batches is None:
        return pd.Series(dtype=float)
    rows = _moulds_of(batches.sort_values("date", kind="stable"))
    return rows.groupby("mould").cumcount().groupby(level=0).mean()
