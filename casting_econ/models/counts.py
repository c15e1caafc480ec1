"""Good pieces, or full sets, that loads give: their distribution draw by draw, and the chance of enough.

A draw is one possible workshop: a long-run share of good casts and a correlation within a load. Given
the draw, loads are independent and the good pieces of a load beta-binomial; chances are averages over draws.
"""

from collections import Counter
from functools import lru_cache

import numpy as np
import scipy

from .checks import checked, checked_share, checked_whole
from .yields import beta_binomial_logpmf

_MOST_NUMBERS = 2**20  # a table of draws is worked through in parts of so many complex numbers


def loads_for(casts, casts_per_load):
    """Size of each load that so many casts, zero or more, are poured in: full ones, in turn where they differ, then the rest. [cast]

    `casts_per_load` is that of a full load, or of full loads in turn [cast/load]. ValueError if a number is not whole or out of range.

    >>> loads_for(36, 14), loads_for(40, (20, 12))
    ((14, 14, 8), (20, 12, 8))
    """
    sizes = full_loads(casts_per_load)
    turns, left = divmod(checked_whole("casts", casts), sum(sizes))
    ends = np.minimum(np.cumsum((0, *sizes)), left)
    return sizes * turns + tuple(size for size in np.diff(ends).tolist() if size)


def full_loads(casts_per_load):
    """Casts of full loads in turn, checked: of one number, or of several where stations differ in size. [cast/load]"""
    sizes = casts_per_load if isinstance(casts_per_load, tuple | list) else (casts_per_load,)
    return tuple(checked_whole("casts per load", size, low=1) for size in sizes)


def counts_from_loads(loads, good_share, load_correlation, set_size=1, ruined=0.0):
    """Distribution of the good pieces, or full sets, of several loads, draw by draw; shape (draws, most + 1), or (most + 1,) for scalars.

    The chance of 0, 1, ... pieces or sets up to the most that the loads hold [-]. Given the draw loads are independent, so their
    distributions are convolved, by the discrete Fourier transform.

    `loads` are the sizes of the loads, whole numbers; none gives no piece for certain [cast]. Numbers or arrays of shape (draws,) are the
    long-run share that ends good, in [0, 1], the correlation within a load, in [0, 1), and the chance that a load is lost as a whole,
    whatever its pieces, below 1 [-]. So many pieces must match, so come from one load; 1 counts single pieces [piece/set]. ValueError if
    an input is outside its range.

    >>> counts_from_loads((1, 1), 0.5, 0.0).round(2).tolist()
    [0.25, 0.5, 0.25]
    >>> counts_from_loads((4, 1), 0.5, 0.0, set_size=2).tolist()  # of the four: 0 or 1, 2 or 3, all
    [0.3125, 0.625, 0.0625]
    """
    loads, set_size = checked_loads(loads), checked_whole("set size", set_size, low=1)
    share, rho = share_and_correlation(good_share, load_correlation)
    most = _most_counted(loads, set_size)
    size = scipy.fft.next_fast_len(most + 1, real=True)
    together = _spectra(loads, share, rho, set_size, size, _checked_ruined(ruined, share))
    chances = np.clip(scipy.fft.irfft(together, size)[:, : most + 1], 0.0, None)
    chances /= chances.sum(axis=-1, keepdims=True)
    return chances[0] if np.ndim(good_share) == np.ndim(load_correlation) == 0 else chances


def chance_of(needed, casts, casts_per_load, good_share, load_correlation, *, set_size=1, started=(), ruined=0.0):
    """Chance that so many casts, with the loads already started, give enough, averaged over the draws. [-]

    The average of convolutions is taken before the one inverse transform, which is the same and much quicker.

    `needed` are good pieces, or full sets where `set_size` is above 1 [piece or set]; `casts` are new ones, poured in full loads and one for
    the rest [cast, cast/load]; `started` the sizes of the loads already poured, whose pieces can still end either way [cast]; the others
    as in `counts_from_loads`. ValueError if an input is outside its range.

    >>> round(chance_of(28, 38, 14, 0.828768, 0.0), 2), round(chance_of(1, 1, 14, [0.5, 0.9], 0.0), 6)
    (0.95, 0.7)
    """
    needed, set_size = checked_whole("needed", needed), checked_whole("set size", set_size, low=1)
    loads = loads_for(casts, casts_per_load) + checked_loads(started)
    share, rho = share_and_correlation(good_share, load_correlation)
    if not 0 < needed <= _most_counted(loads, set_size):
        return float(needed <= _most_counted(loads, set_size))
    return _chance_of(needed, loads, set_size, *(a.tobytes() for a in (share, rho, _checked_ruined(ruined, share))))


@lru_cache(maxsize=64)  # searches for several confidences begin alike
def _chance_of(needed, loads, set_size, *draws):
    """Average chance of enough, from the bytes of share, correlation and chance of ruin of the draws."""
    share, rho, lost = map(np.frombuffer, draws)
    most = _most_counted(loads, set_size)
    size = scipy.fft.next_fast_len(most + 1, real=True)
    rows = max(_MOST_NUMBERS // size, 1)
    parts = [slice(first, first + rows) for first in range(0, share.size, rows)]
    weights = np.full(share.size, 1.0 / share.size)
    mean = sum(weights[part] @ _spectra(loads, share[part], rho[part], set_size, size, lost[part]) for part in parts)
    return float(np.clip(scipy.fft.irfft(mean, size)[needed : most + 1].sum(), 0.0, 1.0))


def share_and_correlation(good_share, load_correlation):
    """Share and correlation as arrays of shape (draws,); ValueError where they are outside their range or differ in length."""
    share = checked_share("good share", good_share)
    share, rho = np.broadcast_arrays(share, checked("load correlation", load_correlation, low=0.0, high=1.0 - 1e-9))
    if share.ndim > 1:
        raise ValueError(f"good share and load correlation must be numbers or one array of draws; got shape {share.shape}")
    return np.atleast_1d(share).astype(float), np.atleast_1d(rho).astype(float)


def _spectra(loads, share, rho, set_size, size, ruined):
    """Transforms, of length `size`, of what all loads give together; shape (draws, size // 2 + 1)."""
    result = np.ones((share.size, 1))
    for load, count in Counter(loads).items():
        one = _one_load(load, set_size, share.tobytes(), rho.tobytes(), ruined.tobytes())
        result = result * scipy.fft.rfft(one, size) ** count
    return result


@lru_cache(maxsize=64)  # a search for enough casts asks for the same few loads again and again
def _one_load(load, set_size, share, rho, ruined):
    """Distribution of the pieces or sets of one load by draw, from the bytes of the draws; shape (draws, load // set_size + 1)."""
    share, rho, ruined = (np.frombuffer(raw) for raw in (share, rho, ruined))
    chances = np.exp(beta_binomial_logpmf(np.arange(load + 1), load, share[:, None], rho[:, None]))
    in_sets = np.add.reduceat(chances, np.arange(0, load + 1, set_size), axis=-1) * (1.0 - ruined)[:, None]
    in_sets[:, 0] += ruined
    in_sets.flags.writeable = False
    return in_sets


def _most_counted(loads, set_size):
    return sum(load // set_size for load in loads)


def _checked_ruined(ruined, share):
    return np.broadcast_to(checked("chance of a ruined load", ruined, low=0.0, high=1.0 - 1e-9), share.shape).astype(float)


def checked_loads(loads):
    """Casts of each load as whole numbers; ValueError otherwise. [cast]"""
    return tuple(checked_whole("load", load) for load in loads)
