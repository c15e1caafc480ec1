"""What it would be worth to know better: value of information from draws."""

from dataclasses import dataclass

import numpy as np
from scipy import stats

__all__ = ["Worth", "partial_information", "perfect_information", "unit_normal_loss"]

KNOTS = 4  # inside the range of an input, at its quantiles
RESAMPLES = 60
CHANCE_FITS = 8  # of shuffled benefits


@dataclass(frozen=True, kw_only=True)
class Worth:
    """Expected worth of knowing something before deciding."""

    value: float  # [money]
    error: float  # standard error over the draws [money]


def perfect_information(benefit) -> Worth:
    """Expected value of knowing everything.

    Parameters
    ----------
    benefit : array_like, shape (draws, actions)
        What each action brings in each draw. [money]

    Returns
    -------
    Worth
        Mean of the best action's benefit less the best mean, zero or more.

    References
    ----------
    .. [1] Raiffa & Schlaifer, *Applied Statistical Decision Theory*, 1961.

    Examples
    --------
    >>> perfect_information([[0.0, 10.0], [0.0, -6.0]]).value  # 5 knowing, 2 not knowing
    3.0
    """
    benefit = np.asarray(benefit, float)
    lost = benefit.max(axis=1) - benefit[:, benefit.mean(axis=0).argmax()]
    return Worth(value=float(lost.mean()), error=float(lost.std(ddof=1) / np.sqrt(lost.size)) if lost.size > 1 else 0.0)


def partial_information(benefit, inputs, seed: int = 0, removed: float = 1.0) -> Worth:
    """Expected value of knowing some inputs, or of knowing them better, the rest as uncertain as before.

    Parameters
    ----------
    benefit : array_like, shape (draws, actions)
        What each action brings in each draw. [money]
    inputs : array_like, shape (draws,) or (draws, inputs)
        Values of what would be known.
    seed : int, optional
        Of the resampling behind the error.
    removed : float, optional
        Share of the variance of the inputs that goes: 1 is to know them, 0.75 to halve their width. [-]

    Returns
    -------
    Worth
        Between zero and the value of knowing everything.

    Notes
    -----
    Each action's benefit is regressed on natural cubic splines of the ranks of each input, the products of the first pairs of ranks among them;
    the fit is the mean benefit given the inputs, and knowing them is worth the mean best fit less the best mean [1]_. A
    fit to as many draws as here overstates a value of nothing slightly; what fits of shuffled inputs give is taken off. To know
    the inputs better is to see the fit move by the root of the removed variance [2]_.

    References
    ----------
    .. [1] Strong, Oakley & Brennan, *Medical Decision Making* 34 (2014) 311-326.
    .. [2] Jalal & Alarid-Escudero, *Medical Decision Making* 38 (2018) 174-188 (Gaussian approximation).

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> x, noise = rng.normal(size=(2, 4000))
    >>> worth = partial_information(np.column_stack([np.zeros(4000), x + noise]), x)
    >>> abs(worth.value - 0.3989) < 4 * worth.error  # the loss function at zero: 1 / sqrt(2 pi)
    True
    """
    benefit = np.asarray(benefit, float)
    inputs = np.asarray(inputs, float)
    inputs = inputs[:, None] if inputs.ndim == 1 else inputs
    spanned = np.linalg.qr(_basis(inputs))[0]  # the same fits, and quick to repeat
    contrast = benefit - benefit[:, [0]]
    rng, draws = np.random.default_rng([seed, 3]), benefit.shape[0]
    middle = contrast.mean(axis=0)

    def fit(y):
        return spanned @ (spanned.T @ y)

    def value(fitted, mean):
        return (mean + np.sqrt(removed) * (fitted - mean)).max(axis=1).mean() - mean.max()

    fitted = fit(contrast)
    found, rest = value(fitted, middle), contrast - fitted
    by_chance = np.mean([value(fit(contrast[rng.permutation(draws)]), middle) for _ in range(CHANCE_FITS)])
    again = []
    for _ in range(RESAMPLES):  # rows drawn again, each with the residual of another
        rows = rng.integers(0, draws, draws)
        y = fitted + rest[rows]
        y = y + (fitted[rows] - fitted).mean(axis=0)
        again.append(value(fit(y)[rows], y.mean(axis=0)))
    most = perfect_information(benefit).value
    return Worth(value=float(np.clip(found - by_chance, 0.0, most)), error=float(np.std(again, ddof=1)))


def unit_normal_loss(u):
    """Expected shortfall of a standard normal below u: phi(u) - u (1 - Phi(u)).

    Examples
    --------
    >>> round(float(unit_normal_loss(0.0)), 4)
    0.3989
    """
    return stats.norm.pdf(u) - np.asarray(u) * stats.norm.sf(u)


def _basis(inputs):
    """Natural cubic splines of the ranks of each input, one intercept, and products of ranks of the first few inputs."""
    draws, count = inputs.shape
    columns = [np.ones(draws)]
    ranks = (stats.rankdata(inputs, axis=0) - 1.0) / max(draws - 1, 1)  # equal values share a rank
    moving = [n for n in range(count) if np.ptp(inputs[:, n]) > 0]
    knots = np.linspace(0.02, 0.98, KNOTS + 2)
    for n in moving:
        r = ranks[:, n]

        def bend(k, r=r):
            return (np.maximum(r - knots[k], 0.0) ** 3 - np.maximum(r - knots[-1], 0.0) ** 3) / (knots[-1] - knots[k])

        columns += [r - 0.5, *(bend(k) - bend(KNOTS) for k in range(KNOTS))]
    few = moving[:6]
    columns += [(ranks[:, i] - 0.5) * (ranks[:, j] - 0.5) for place, i in enumerate(few) for j in few[place + 1 :]]
    return np.column_stack(columns)
