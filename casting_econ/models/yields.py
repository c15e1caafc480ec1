"""How many pieces enter each step, pass it and are scrapped there."""

import numpy as np
from scipy import special

from .checks import checked, checked_share


def rolled_yield(pass_shares):
    """Share of casts that pass every check: the product of the shares passing each step, each in (0, 1] or ValueError. [-]

    Keller, *Six Sigma Demystified*, 2nd ed., 2011, p. 93 (rolled throughput yield).

    >>> round(rolled_yield([0.89, 0.96, 0.97]), 6)
    0.828768
    """
    result = 1.0
    for share in pass_shares:
        result = result * checked_share("pass share", share, above=0.0)
    return result


def entering_per_good(pass_shares):
    """Pieces that must enter each step for one good piece at the end, one entry a step in routing order. [piece/piece]

    1 over the product of this and all later shares passing, each in (0, 1] or ValueError; Tompkins et al., *Facilities Planning*,
    4th ed., 2010, ch. 2 (scrap chain).

    >>> [round(n) for n in (97_000 * e for e in entering_per_good([0.97, 0.99, 0.96]))]
    [105219, 102062, 101042]
    """
    needed, result = 1.0, []
    for share in reversed(list(pass_shares)):
        needed = needed / checked_share("pass share", share, above=0.0)
        result.append(needed)
    return result[::-1]


def scrapped_per_good(pass_shares):
    """Pieces scrapped at each step for one good piece at the end; their sum plus one is the casts for it. [piece/piece]

    From the shares passing each step, each in (0, 1] or ValueError.

    >>> scrapped_per_good([0.5, 1.0])
    [1.0, 0.0]
    """
    shares = [checked_share("pass share", share, above=0.0) for share in pass_shares]
    return [n * (1.0 - share) for n, share in zip(entering_per_good(shares), shares, strict=True)]


def surviving_share(pass_shares):
    """Share of casts that reach each step: 1, then the product of the earlier shares passing, each in [0, 1] or ValueError. [-]

    >>> surviving_share([0.5, 0.8, 1.0])
    [1.0, 0.5, 0.4]
    """
    result = [1.0]
    for share in list(pass_shares)[:-1]:
        result.append(result[-1] * checked_share("pass share", share))
    return result


def at_scrap_rate(pass_shares, scrap_rate):
    """Shares passing each step at another overall scrap rate, in [0, 1) or ValueError. [-]

    y_k ** g with one g, so that the steps keep their part of the logarithm of the yield; where no step scraps yet, the last
    one does.

    >>> [round(float(y), 4) for y in at_scrap_rate([0.9, 0.9], 0.36)]
    [0.8, 0.8]
    """
    scrap_rate = checked("scrap rate", scrap_rate, low=0.0, high=1.0 - 1e-9)
    total = np.log(rolled_yield(pass_shares))
    unchecked = np.asarray(total == 0.0)
    power = np.log1p(-np.asarray(scrap_rate)) / np.where(unchecked, 1.0, total)
    result = [np.asarray(share) ** power for share in pass_shares]
    result[-1] = np.where(unchecked, 1.0 - np.asarray(scrap_rate), result[-1])
    return result


def good_per_load(casts, good_share, load_correlation=0.0):
    """Chances of 0, 1, ..., `casts` good pieces in one load, one or more, shape (casts + 1,). [-]

    `good_share` is the long-run share that ends good, in [0, 1], `load_correlation` rho, in [0, 1), that between two pieces of a load:
    they fail together [-]. Beta-binomial with a = y (1 - rho) / rho, b = (1 - y)(1 - rho) / rho; binomial at rho = 0. ValueError
    outside these ranges.

    >>> good_per_load(2, 0.5).round(2).tolist()
    [0.25, 0.5, 0.25]
    """
    casts = int(checked("casts", casts, low=1))
    good_share = checked_share("good share", good_share)
    rho = checked("load correlation", load_correlation, low=0.0, high=1.0 - 1e-9)
    return np.exp(beta_binomial_logpmf(np.arange(casts + 1), casts, good_share, rho))


def beta_binomial_logpmf(k, n, share, rho):
    """Natural logarithm of the chance of k hits among n pieces of one load, minus infinity where k is not possible. [-]

    k and n are whole, n zero or more [piece]; `share` is the long-run share of hits, in [0, 1], and `rho` the correlation between two
    pieces of a load, in [0, 1), 0 being the binomial [-]; else ValueError. Skellam, *J. R. Stat. Soc. B* 10 (1948) 257-261.

    >>> [round(float(np.exp(beta_binomial_logpmf(1, 2, 0.5, rho))), 6) for rho in (0.0, 0.5)]
    [0.5, 0.25]
    """
    k, n = checked("hits", k), checked("pieces", n, low=0.0)
    share, rho = np.broadcast_arrays(checked_share("share", share), checked("load correlation", rho, low=0.0, high=1.0 - 1e-9))
    shape = np.broadcast_shapes(np.shape(k), np.shape(n), share.shape)
    k, n = np.broadcast_to(k, shape), np.broadcast_to(n, shape)
    # shares stay unbroadcast: many counts of one share need its products only once
    share, rho = (x.reshape((1,) * (len(shape) - x.ndim) + x.shape) for x in (share, rho))
    if np.any(k != np.rint(k)) or np.any(n != np.rint(n)):
        raise ValueError("hits and pieces must be whole numbers")
    possible = (k >= 0) & (k <= n)
    hits, n = np.where(possible, k, 0).astype(int), n.astype(int)
    # products of (y + i t), (1 - y + i t) and (1 + i t), t = rho / (1 - rho): at rho = 0 the binomial, with all its digits
    steps = np.arange(n.max()) * (rho / (1.0 - rho))[..., None]

    def rising(start, count):
        with np.errstate(divide="ignore"):
            logs = np.cumsum(np.log(start[..., None] + steps), axis=-1)
        logs = np.concatenate([np.zeros((*logs.shape[:-1], 1)), logs], axis=-1)
        return np.take_along_axis(logs, count[..., None], axis=-1)[..., 0]

    ways = special.gammaln(n + 1) - special.gammaln(hits + 1) - special.gammaln(n - hits + 1)
    chance = ways + rising(share, hits) + rising(1.0 - share, n - hits) - rising(np.ones(share.shape), n)
    return np.where(possible, chance, -np.inf)[()]


def full_sets_per_load(casts, good_share, set_size, load_correlation=0.0):
    """Expected full sets of `set_size` pieces when every member must come from one load, as `good_per_load` has it. [set/load]

    E floor(good / set size), never above casts x good share / set size; ValueError as there, or for a set of less than one.

    >>> round(full_sets_per_load(14, 0.828768, 6) * 6 / 14, 2)
    0.67
    """
    set_size = int(checked("set size", set_size, low=1))
    chances = good_per_load(casts, good_share, load_correlation)
    return float(chances @ (np.arange(chances.size) // set_size))
