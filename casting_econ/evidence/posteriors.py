"""Prior guess and data to posterior, one function for each kind of number."""

import numpy as np
from scipy import special

from ..uncertainty.distributions import Distribution, distribution

__all__ = ["mean_posterior", "mould_life_posterior", "rate_posterior", "share_posterior"]

PRIOR_SPREAD = 0.30  # of a guess, as a share of it: scatter of minutes between rows, common practice, no source


def share_posterior(stated, worth, hits, misses) -> Distribution:
    """Beta posterior of a share.

    Parameters
    ----------
    stated : float
        Stated share, in [0, 1]. [-]
    worth : float
        Pieces the stated share counts for. [piece]
    hits, misses : float
        Pieces seen. [piece]

    Returns
    -------
    Distribution
        Beta(stated x worth + hits, (1 - stated) x worth + misses); its middle is its mean.

    Notes
    -----
    Takes pieces as independent; loads that fail together make the truth wider than this.

    Examples
    --------
    >>> posterior = share_posterior(0.8, 10, 17, 3)
    >>> [round(float(q), 2) for q in posterior.quantile(np.array([0.1, 0.9]))]
    [0.74, 0.91]
    """
    stated = min(max(stated, 1e-3), 1 - 1e-3)  # a stated 0 or 1 must still be able to learn
    total = worth + hits + misses
    return distribution("beta", mean=(stated * worth + hits) / total, worth=total)


def rate_posterior(stated, worth, events, exposure) -> Distribution:
    """Gamma posterior of an event rate.

    Parameters
    ----------
    stated : float
        Stated events a unit of exposure, above 0.
    worth : float
        Exposure the stated rate counts for.
    events, exposure : float
        Events seen, and over how much exposure.

    Returns
    -------
    Distribution
        Gamma with (stated x worth + events) events in (worth + exposure).

    Examples
    --------
    >>> round(rate_posterior(18.0, 2.0, 114, 6.0).middle, 2)
    18.75
    """
    count = stated * worth + events
    mean = count / (worth + exposure)
    return distribution("gamma", mean=mean, sd=mean / np.sqrt(count))


def mean_posterior(stated, worth, totals, weights) -> Distribution:
    """Posterior of a mean per unit, such as minutes a piece, from rows of totals and units.

    Parameters
    ----------
    stated : float
        Stated mean a unit, above 0.
    worth : float
        Units the stated mean counts for. [same unit as `weights`]
    totals, weights : array_like
        Rows: what was spent, and on how many units.

    Returns
    -------
    Distribution
        Gamma about the mean of guess and rows, each weighing by its units. Its spread joins the guess's
        own (30 %) and the standard error of the rows' ratio, by the same weights.

    Notes
    -----
    Standard error of a ratio: Cochran, *Sampling Techniques*, 3rd ed., 1977, section 2.11. The scatter
    between rows is drawn towards 30 %, which counts for two rows, so one row still has a width.

    Examples
    --------
    >>> posterior = mean_posterior(2.0, 10, [30.0, 50.0], [10, 20])
    >>> round(posterior.middle, 3)
    2.5
    """
    totals, weights = np.asarray(totals, float), np.asarray(weights, float)
    units, rows = worth + weights.sum(), totals.size
    mean = (stated * worth + totals.sum()) / units
    residuals = totals - totals.sum() / weights.sum() * weights
    usual = (PRIOR_SPREAD * mean) ** 2 * np.mean(weights**2)
    scatter = (np.sum(residuals**2) + 2 * usual) / (rows + 1)
    error = np.sqrt(scatter * rows) / units
    guess = PRIOR_SPREAD * stated * worth / units
    return distribution("gamma", mean=float(mean), sd=float(max(np.hypot(error, guess), 1e-6 * mean)))


def mould_life_posterior(stated, worth, shape, retired, live) -> Distribution:
    """Posterior of the mean life of moulds whose lives are Weibull of a stated shape.

    Parameters
    ----------
    stated : float
        Stated mean casts a cavity. [cast]
    worth : float
        Retired moulds the stated life counts for. [mould]
    shape : float
        Weibull shape. [-]
    retired, live : array_like
        Casts at retirement, and casts so far of moulds still in use (censored). [cast]

    Returns
    -------
    Distribution
        scale ** shape is inverse gamma with (worth + retired) events and the summed casts ** shape.

    References
    ----------
    .. [1] Meeker & Escobar, *Statistical Methods for Reliability Data*, 1998, ch. 14.

    Examples
    --------
    >>> round(mould_life_posterior(35.0, 1e6, 2.5, [], []).middle, 2)
    35.0
    """
    factor = float(special.gamma(1 + 1 / shape))
    events = worth + len(retired)
    # the prior is centred so that its median is the stated life
    centre = special.gammainccinv(worth, 0.5) * (stated / factor) ** shape
    exposure = centre + float(np.sum(np.asarray([*retired, *live], float) ** shape))
    return distribution("inverse gamma life", events=events, exposure=exposure, power=shape, factor=factor)
