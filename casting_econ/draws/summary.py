"""Summaries of draws with their Monte Carlo error."""

import numpy as np

from .sampling import REPLICATES

QUANTILES = {"p05": 0.05, "p10": 0.10, "p25": 0.25, "p50": 0.50, "p75": 0.75, "p90": 0.90, "p95": 0.95}


def _by_replicate(values):
    values = np.asarray(values, dtype=float)
    return values.reshape(REPLICATES, -1) if values.size % REPLICATES == 0 and values.size else None


def summarise(values) -> dict[str, float]:
    """Mean, spread and quantiles of draws, and the standard error of the mean and of the median, in the unit of the values.

    `values` are finite, or not a number where a draw has none, which is left out, else ValueError; and in the order they were
    made, so that replicates lie one after the other. Gives
    `mean`, `sd`, `p05` to `p95`, `mean_error` and `p50_error`: the scatter between independent scrambles over the root of
    their number.
    """
    values = np.asarray(values, dtype=float)
    if np.isinf(values).any() or np.isnan(values).all():
        raise ValueError(
            f"draws must be finite; got {values[~np.isfinite(values)][0]} at {np.flatnonzero(~np.isfinite(values))[0]}"
        )
    there = values[~np.isnan(values)]
    quantiles = np.quantile(there, list(QUANTILES.values()))
    result = {"mean": float(there.mean()), "sd": float(there.std(ddof=1)) if there.size > 1 else 0.0}
    result |= {name: float(q) for name, q in zip(QUANTILES, quantiles, strict=True)}
    split = _by_replicate(values)
    if split is not None:
        root = np.sqrt(REPLICATES)
        result["mean_error"] = float(np.nanmean(split, axis=1).std(ddof=1) / root)
        result["p50_error"] = float(np.nanmedian(split, axis=1).std(ddof=1) / root)
    return result


def chance(hits) -> dict[str, float]:
    """Share of draws, in the order they were made, for which something holds: `chance`, with its standard `error`. [-]"""
    hits = np.asarray(hits, dtype=float)
    split = _by_replicate(hits)
    error = 0.0 if split is None else float(split.mean(axis=1).std(ddof=1) / np.sqrt(REPLICATES))
    return {"chance": float(hits.mean()), "error": error}
