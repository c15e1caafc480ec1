"""Within what limits a share lies, is it steady from load to load, and does it drift."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy
from scipy import optimize, special

from ..models.checks import checked

D2 = 2.0 / np.sqrt(np.pi)  # mean range of two standard normals, 1.128 in the handbooks' tables
# name in plain words, of the range between the limits at 3 sigma: (points in a row, how many of them, beyond how many sigma on one side)
RULES = {
    "one load beyond the usual range": (1, 1, 3.0),
    "2 of 3 loads beyond two thirds of it on one side": (3, 2, 2.0),
    "4 of 5 loads beyond a third of it on one side": (5, 4, 1.0),
    "8 loads in a row on one side of the middle": (8, 8, 0.0),
}


def _counts_and_sizes(counts, sizes):
    """Counts of loads and their sizes as arrays of one shape (n_loads,); ValueError if below zero, or above its size. [piece]"""
    counts, sizes = np.broadcast_arrays(np.atleast_1d(np.asarray(counts, float)), np.asarray(sizes, float))
    if counts.size:
        checked("counts", counts, low=0.0)
        checked("sizes", sizes, low=0.0)
    over = np.flatnonzero(counts > sizes)
    if over.size:
        first = over[0]
        raise ValueError(f"counts must be at most the sizes; got {counts[first]:g} of {sizes[first]:g} at index {first}")
    return counts, sizes


def binomial_limits(hits, n, level=0.8):
    """Limits of a share from hits among n independent pieces: quantiles of Beta(hits + 1/2, misses + 1/2), after Jeffreys. [-]

    `hits` and `n` are pieces [piece], `level` is the confidence, in (0, 1) [-]. The lower limit is 0 at no hits, the upper 1
    at no misses. ValueError if hits exceed n, or the level is outside its range. Brown, Cai & DasGupta, *Statistical Science*
    16 (2001) 101-133.

    >>> [round(float(limit), 3) for limit in binomial_limits(4, 20)]
    [0.108, 0.33]
    """
    tail = (1.0 - checked("level", level, above=0.0, high=1.0 - 1e-12)) / 2.0
    hits, n = np.broadcast_arrays(np.asarray(checked("hits", hits, low=0.0)), np.asarray(checked("pieces", n, low=0.0)))
    if np.any(hits > n):
        raise ValueError("hits must be at most the pieces looked at")
    shape = hits + 0.5, n - hits + 0.5
    low, high = scipy.stats.beta.ppf(tail, *shape), scipy.stats.beta.isf(tail, *shape)
    return np.where(hits == 0, 0.0, low)[()], np.where(hits == n, 1.0, high)[()]


def p_chart(counts, sizes, *, laney=True):
    """Control chart of a share that may differ in load size and scatter more than independent pieces would.

    Of each load, in date order: `counts`, shape (n_loads,), pieces lost, and `sizes` pieces in it; one of zero has no share and no
    limits [piece]. `laney` widens (or narrows) the limits by the scatter seen from load to load (p′ chart: Laney, *Quality Engineering*
    14 (2002) 531-537); without it it is the classical p chart (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2). ValueError if
    a count is below zero or above its size.

    Index: loads from 0. Columns `share`, `centre`, `lower`, `upper` [-], `z` (sigmas from the centre, by the chart's own sigma) and
    `sigma_z` (seen over binomial scatter, 1 for the classical chart) [-]. The centre is all lost over all pieces; limits are 3 sigma,
    cut to [0, 1]. sigma_z is the mean moving range of the binomial z over d2 = 1.128. Where fewer than two loads have pieces, or none
    or all are lost, it is 1: the scatter between loads cannot be told. From a few loads it is itself uncertain, by about
    .9 / sqrt(loads) of its value.

    >>> chart = p_chart([12, 15, 8, 10, 4, 7], 50, laney=False)
    >>> chart.loc[0, ["share", "centre", "lower", "upper"]].round(3).tolist()
    [0.24, 0.187, 0.021, 0.352]
    """
    counts, sizes = _counts_and_sizes(counts, sizes)
    centre = counts.sum() / sizes.sum() if sizes.sum() > 0 else np.nan
    with np.errstate(divide="ignore", invalid="ignore"):
        share = counts / sizes
        sigma = np.where(sizes > 0, np.sqrt(centre * (1.0 - centre) / sizes), np.nan)
        z = np.where(sigma > 0, (share - centre) / sigma, np.where(sizes > 0, 0.0, np.nan))
    ranges = np.abs(np.diff(z[sizes > 0]))
    told = laney and ranges.size > 0 and 0.0 < centre < 1.0
    sigma_z = float(ranges.mean() / D2) if told else 1.0
    reach = 3.0 * sigma * sigma_z
    return pd.DataFrame(
        {
            "share": share,
            "centre": centre,
            "lower": np.clip(centre - reach, 0.0, 1.0),
            "upper": np.clip(centre + reach, 0.0, 1.0),
            # all ranges zero means all z zero, since they balance about the centre
            "z": z / sigma_z if sigma_z > 0 else np.zeros_like(z) * z,
            "sigma_z": sigma_z,
        },
        index=pd.RangeIndex(counts.size, name="load"),
    )


def run_rules(z):
    """Signals of the Western Electric zone rules: rule in words and index of the load that completes it, by load, then rule.

    `z` are sigmas from the centre in date order, shape (n_loads,); nan is left out as if the load had not been [-]. A load
    signals only if it lies in the zone itself. Steady loads give a false alarm once in 91.75 by all four together, once in
    370 by the first alone (Champ & Woodall, *Technometrics* 29 (1987) 393-399).

    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2; Western Electric, *Statistical Quality Control Handbook*, 1956.

    >>> run_rules([0.1, 3.2, -0.4])
    [('one load beyond the usual range', 1)]
    """
    z = np.atleast_1d(np.asarray(z, float))
    index = np.flatnonzero(~np.isnan(z))
    found = set()
    for order, (name, (window, needed, beyond)) in enumerate(RULES.items()):
        for side in (z[index], -z[index]):
            outside = side > beyond
            so_far = np.concatenate([np.zeros(window, int), np.cumsum(outside)])
            hit = outside & (so_far[window:] - so_far[:-window] >= needed)
            found |= {(int(at), order, name) for at in index[hit]}
    return [(name, at) for at, _, name in sorted(found)]


@dataclass(frozen=True, kw_only=True)
class Trend:
    """Drift of a share, as a straight line in its log-odds; nan where the loads cannot tell."""

    slope: float  # change of log-odds a unit of `when`
    error: float  # its standard error
    p_value: float  # [-] two-sided, chance of a slope as steep without a drift
    dispersion: float  # [-] scatter between loads over that of independent pieces, 1 when they are
    loads: int  # with any pieces


def trend(counts, sizes, when):
    """Drift of the share lost over time, as a `Trend`, by quasi-binomial logistic regression.

    Of each load: `counts`, shape (n_loads,), pieces lost, and `sizes` pieces in it, those of zero being left out [piece]; `when`, or which
    load: any number that grows with time. ValueError if a count is below zero or above its size, or `when` has another length or is not
    finite. Slope and the rest are nan with fewer than three loads, all at one time, nothing or everything lost, or all losses on one
    side of all good pieces (the slope would be infinite).

    Maximum likelihood; the scale is Pearson's chi-square over loads - 2, the p-value from Student's t with as many degrees of
    freedom: McCullagh & Nelder, *Generalized Linear Models*, 2nd ed., 1989, sections 4.4-4.5.

    >>> drift = trend([1, 2, 2, 4, 5, 7], 20, range(6))
    >>> round(drift.slope, 3), drift.p_value < 0.01
    (0.444, True)
    """
    counts, sizes = _counts_and_sizes(counts, sizes)
    when = np.atleast_1d(np.asarray(when, float))
    if when.shape != counts.shape or not np.all(np.isfinite(when)):
        raise ValueError("when must be one finite number for each load")
    counts, when, sizes = counts[sizes > 0], when[sizes > 0], sizes[sizes > 0]
    loads = int(sizes.size)
    untold = Trend(slope=np.nan, error=np.nan, p_value=np.nan, dispersion=np.nan, loads=loads)
    lost, good = when[counts > 0], when[counts < sizes]
    # a finite slope needs losses and good pieces to overlap in time, which also rules out one time only
    if loads < 3 or not (lost.size and good.size and lost.min() < good.max() and good.min() < lost.max()):
        return untold
    design = np.column_stack([np.ones(loads), (when - when.mean()) / when.std()])

    def score(coefficients):
        return design.T @ (counts - sizes * special.expit(design @ coefficients))

    def variances(coefficients):
        share = special.expit(design @ coefficients)
        return sizes * share * (1.0 - share)

    def information(coefficients):
        return design.T @ (design * variances(coefficients)[:, None])

    start = [special.logit(counts.sum() / sizes.sum()), 0.0]
    found = optimize.root(score, start, jac=lambda at: -information(at), options={"xtol": 1e-11})
    variance, slope = variances(found.x), found.x[1]
    # where no slope is the likeliest, no step goes further from where it begins
    flat = np.allclose(found.fun, 0.0, rtol=0.0, atol=1e-9)
    if not (found.success or flat) or not variance.all():
        return untold
    dispersion = np.sum((counts - sizes * special.expit(design @ found.x)) ** 2 / variance) / (loads - 2)
    error = np.sqrt(dispersion * np.linalg.inv(information(found.x))[1, 1])
    # loads without any scatter leave nothing to compare a slope with
    p_value = 2.0 * scipy.stats.t.sf(abs(slope / error), loads - 2) if dispersion > 1e-12 else np.nan
    slope, error = slope / when.std(), error / when.std()
    told = {"slope": slope, "error": error, "p_value": p_value, "dispersion": dispersion}
    return Trend(**{name: float(value) for name, value in told.items()}, loads=loads)
