"""Prior guess and rows to posterior: what a unit takes, where rows are log-normal and several kinds of unit may share a total."""

from dataclasses import dataclass

import numpy as np
from scipy import optimize

from ..draws.distributions import Distribution
from .posteriors import PRIOR_SPREAD, stated_range, weighed

# log sd of that scatter itself: between 0.11 and 0.80 in 95 of 100 workshops, common practice, no source
PRIOR_SPREAD_FACTOR = 0.50


def rows_prior(stated, prior_weight, spread=None, scatter=PRIOR_SPREAD):
    """Median of a mean of rows and its prior weight [row of usual scatter]; `scatter` is that usual one, as a log sd [-]."""
    if spread is None:
        return stated, prior_weight
    middle, sd = stated_range(spread, logarithms=True)
    return float(np.exp(middle)), max(prior_weight, (scatter / sd) ** 2)


@dataclass(frozen=True, kw_only=True)
class Rows:
    """Posterior of what a unit takes, from rows in which several kinds of unit may share one total."""

    means: tuple[Distribution, ...]  # of each kind
    correlation: np.ndarray  # of their logarithms, shape (kinds, kinds) [-]
    scatter: float  # between rows, as a share: log standard deviation, posterior mean [-]
    to_halve: tuple[float, ...]  # times as many rows, beside these, that would halve the width of each; infinite where none do


def rows_posterior(stated, prior_weight, totals, units, fixed=0.0, spread=PRIOR_SPREAD):
    """Posterior of the means of several kinds of unit, as `Rows`, from rows of totals, such as minutes a piece and minutes a load.

    The stated mean of each kind of unit, shape (kinds,), above 0, counts for so many rows of usual scatter. `totals`, shape (rows,), are
    what each row took, above 0, for its `units`, shape (rows, kinds), beside a `fixed` part that is known; `spread` is the usual scatter
    between rows, as a share [-].

    A total is log-normal about fixed + units @ means, with one scatter for all rows, whose prior is log-normal about
    `spread`; a stated mean is log-normal with log variance spread² / weight. Given the scatter the means are log-normal:
    exactly when each row has one kind, by Laplace's method otherwise; the scatter is integrated out.

    >>> round(rows_posterior([2.0], [1.0], [30.0, 50.0], [[10], [20]]).means[0].middle, 2)
    2.6
    """
    stated, firm = np.log(np.asarray(stated, float)), np.asarray(prior_weight, float) / spread**2
    logs, units = np.log(np.asarray(totals, float)), np.asarray(units, float)
    fixed, kinds = np.broadcast_to(np.asarray(fixed, float), logs.shape), stated.size
    scatters = np.exp(np.linspace(np.log(spread) - 4 * PRIOR_SPREAD_FACTOR, np.log(spread) + 4 * PRIOR_SPREAD_FACTOR, 41))
    means, covariances, chances = _given_scatter(scatters, stated, firm, logs, units, fixed)
    widths = np.sqrt(np.diagonal(covariances, axis1=1, axis2=2))
    chances = chances - np.log(scatters / spread) ** 2 / (2 * PRIOR_SPREAD_FACTOR**2)
    chances = np.exp(chances - chances.max())
    chances /= chances.sum()
    found = tuple(_log_normals(means[:, j], widths[:, j], chances) for j in range(kinds))
    covariance = np.tensordot(chances, covariances, axes=1)
    sd = np.sqrt(np.diag(covariance))
    likely = np.exp(chances @ means)
    slope = units * likely / (fixed + units @ likely)[:, None]
    told = slope.T @ slope / (chances @ scatters) ** 2
    return Rows(
        means=found,
        correlation=covariance / np.outer(sd, sd),
        scatter=float(chances @ scatters),
        to_halve=tuple(_times_to_halve(told, firm, j) for j in range(kinds)),
    )


def _times_to_halve(told, firm, at):
    """Times as much again of this information that halves one width: rows that tell a sum only may never do."""

    def variance(times):
        return np.linalg.inv((1 + times) * told + np.diag(firm))[at, at]

    wanted = variance(0.0) / 4
    if not told[at, at] > 0 or variance(1e6) > wanted:
        return np.inf
    return float(optimize.brentq(lambda times: variance(times) - wanted, 0.0, 1e6))


def _given_scatter(scatters, stated, firm, logs, units, fixed):
    """Most likely log means, their covariances and the log evidence, all for each scatter, by damped Gauss-Newton from the stated log means, of
    which `firm` is the precision.
    """
    kinds, weight, rows = stated.size, scatters[:, None] ** -2, units[:, :, None] * units[:, None, :]

    def misfit(theta):
        expected = fixed + np.exp(theta) @ units.T
        apart = logs - np.log(expected) + scatters[:, None] ** 2 / 2
        return expected, apart, (weight[:, 0] * np.sum(apart**2, axis=1) + (theta - stated) ** 2 @ firm) / 2

    def precision(theta, expected):
        told = (weight * expected**-2 @ rows.reshape(-1, kinds**2)).reshape(-1, kinds, kinds)
        return told * np.exp(theta[:, :, None] + theta[:, None, :]) + np.diag(firm)

    theta = np.tile(stated, (scatters.size, 1))
    expected, apart, lack = misfit(theta)
    for _ in range(60):
        pull = np.exp(theta) * (weight * apart / expected @ units) - firm * (theta - stated)
        step = np.linalg.solve(precision(theta, expected), pull[:, :, None])[:, :, 0]
        while True:
            tried = misfit(theta + step)
            worse = ~(tried[2] <= lack + 1e-12 * abs(lack)) & (np.abs(step).max(axis=1) >= 1e-10)
            if not worse.any():
                break
            step = np.where(worse[:, None], step / 2, step)
        theta, (expected, apart, lack) = theta + step, tried
        if np.abs(step).max() < 1e-9:
            break
    found = precision(theta, expected)
    return theta, np.linalg.inv(found), -lack - logs.size * np.log(scatters) - np.linalg.slogdet(found)[1] / 2


def _log_normals(means, widths, chances):
    """Mixture of log-normals as one distribution; its middle is the median."""
    seen = chances > 1e-12
    means, widths, chances = means[seen], widths[seen], chances[seen]
    line = np.linspace((means - 8 * widths).min(), (means + 8 * widths).max(), 801)
    scores = (line - means[:, None]) / widths[:, None]
    density = (chances / widths) @ np.exp(-(scores**2) / 2) / np.exp(line)  # of the value, not of its logarithm
    return weighed(np.exp(line), density, "median")
