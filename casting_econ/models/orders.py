"""How many casts an order takes, how sure they make it, and the moulds it wears out.

A draw is one possible workshop: a long-run share of good casts and a correlation within a load. Given
the draw, loads are independent and the good pieces of a load beta-binomial; chances are averages over draws.
"""

from collections import Counter
from functools import lru_cache
from math import ceil

import numpy as np
from scipy import fft

from .checks import checked, checked_share, checked_whole
from .moulds import mean_to_scale
from .yields import beta_binomial_logpmf

__all__ = [
    "casts_by_variant",
    "casts_for",
    "chance_by_variant",
    "chance_of",
    "counts_from_loads",
    "loads_for",
    "moulds_worn",
]

_MOST_CASTS = 100_000  # no search goes beyond; one pair of hands casts less in a working life
_ROUNDING = 1e-12  # of a chance: what the transforms leave, so that a chance of exactly the confidence is enough
_MOST_NUMBERS = 2**20  # a table of draws is worked through in parts of so many complex numbers


def loads_for(casts, casts_per_load):
    """Loads that so many casts are poured in: full ones, then the rest.

    Parameters
    ----------
    casts : int
        Zero or more. [cast]
    casts_per_load : int
        Casts of a full load. [cast/load]

    Returns
    -------
    tuple of int
        Size of each load. [cast]

    Raises
    ------
    ValueError
        If a number is not whole or out of range.

    Examples
    --------
    >>> loads_for(36, 14)
    (14, 14, 8)
    """
    casts, full = checked_whole("casts", casts), checked_whole("casts per load", casts_per_load, low=1)
    rest = casts % full
    return (full,) * (casts // full) + ((rest,) if rest else ())


def counts_from_loads(loads, good_share, load_correlation, set_size=1, ruined=0.0):
    """Distribution of the good pieces, or full sets, of several loads, draw by draw.

    Parameters
    ----------
    loads : sequence of int
        Size of each load; none gives no piece for certain. [cast]
    good_share : float or array_like, shape (draws,)
        Long-run share that ends good, in [0, 1]. [-]
    load_correlation : float or array_like, shape (draws,)
        Intra-load correlation, in [0, 1). [-]
    set_size : int, optional
        Pieces that must match, so come from one load; 1 counts single pieces. [piece/set]
    ruined : float or array_like, shape (draws,), optional
        Chance that a load is lost as a whole, whatever its pieces, below 1. [-]

    Returns
    -------
    ndarray, shape (draws, most + 1) or (most + 1,)
        Chance of 0, 1, ... pieces or sets up to the most that the loads hold; the second shape for scalars. [-]

    Raises
    ------
    ValueError
        If an input is outside its range.

    Notes
    -----
    Loads are independent given the draw, so their distributions are convolved, by the discrete Fourier transform.

    Examples
    --------
    >>> counts_from_loads((1, 1), 0.5, 0.0).round(2).tolist()
    [0.25, 0.5, 0.25]
    >>> counts_from_loads((4, 1), 0.5, 0.0, set_size=2).tolist()  # of the four: 0 or 1, 2 or 3, all
    [0.3125, 0.625, 0.0625]
    """
    loads, set_size = _checked_loads(loads), checked_whole("set size", set_size, low=1)
    share, rho = _draws(good_share, load_correlation)
    most = _most_counted(loads, set_size)
    size = fft.next_fast_len(most + 1, real=True)
    chances = np.clip(
        fft.irfft(_spectra(loads, share, rho, set_size, size, _checked_ruined(ruined, share)), size)[:, : most + 1], 0.0, None
    )
    chances /= chances.sum(axis=-1, keepdims=True)
    return chances[0] if np.ndim(good_share) == np.ndim(load_correlation) == 0 else chances


def chance_of(needed, casts, casts_per_load, good_share, load_correlation, *, set_size=1, started=(), weights=None, ruined=0.0):
    """Chance that so many casts, with the loads already started, give enough.

    Parameters
    ----------
    needed : int
        Good pieces wanted, or full sets where `set_size` is above 1. [piece or set]
    casts : int
        New casts, poured in full loads and one for the rest. [cast]
    casts_per_load : int
        Casts of a full load. [cast/load]
    good_share : float or array_like, shape (draws,)
        Long-run share that ends good, in [0, 1]. [-]
    load_correlation : float or array_like, shape (draws,)
        Intra-load correlation, in [0, 1). [-]
    set_size : int, optional
        Pieces that must match, so come from one load. [piece/set]
    started : sequence of int, optional
        Sizes of the loads already poured, whose pieces can still end either way. [cast]
    weights : array_like, shape (draws,), optional
        Weight of each draw; None weighs all alike. [-]
    ruined : float or array_like, shape (draws,), optional
        Chance that a load is lost as a whole, whatever its pieces, below 1. [-]

    Returns
    -------
    float
        Average over the draws, in [0, 1]. [-]

    Raises
    ------
    ValueError
        If an input is outside its range.

    Notes
    -----
    The average of convolutions is taken before the one inverse transform, which is the same and much quicker.

    Examples
    --------
    >>> round(chance_of(28, 38, 14, 0.828768, 0.0), 2)
    0.95
    >>> round(chance_of(1, 1, 14, [0.5, 0.9], 0.0), 6)
    0.7
    """
    needed, set_size = checked_whole("needed", needed), checked_whole("set size", set_size, low=1)
    loads = loads_for(casts, casts_per_load) + _checked_loads(started)
    share, rho = _draws(good_share, load_correlation)
    weights = _checked_weights(weights, share.size)
    if not 0 < needed <= _most_counted(loads, set_size):
        return float(needed <= _most_counted(loads, set_size))
    return _chance_of(needed, loads, set_size, *(a.tobytes() for a in (share, rho, _checked_ruined(ruined, share), weights)))


@lru_cache(maxsize=64)  # searches for several confidences begin alike
def _chance_of(needed, loads, set_size, *draws):
    """Average chance of enough, from the bytes of share, correlation, chance of ruin and weight of the draws."""
    share, rho, lost, weights = map(np.frombuffer, draws)
    most = _most_counted(loads, set_size)
    size = fft.next_fast_len(most + 1, real=True)
    rows = max(_MOST_NUMBERS // size, 1)
    parts = [slice(first, first + rows) for first in range(0, share.size, rows)]
    mean = sum(weights[part] @ _spectra(loads, share[part], rho[part], set_size, size, lost[part]) for part in parts)
    return float(np.clip(fft.irfft(mean, size)[needed : most + 1].sum(), 0.0, 1.0))


def casts_for(needed, confidence, casts_per_load, good_share, load_correlation, *, set_size=1, started=(), ruined=0.0):
    """Fewest new casts that give enough with a wanted chance.

    Parameters
    ----------
    needed : int
        Good pieces wanted, or full sets where `set_size` is above 1. [piece or set]
    confidence : float
        Chance wanted, in (0, 1). [-]
    casts_per_load, good_share, load_correlation, set_size, started, ruined
        As in `chance_of`.

    Returns
    -------
    int
        Zero where the loads already started are enough. [cast]

    Raises
    ------
    ValueError
        If an input is outside its range, or no number up to 40 times what an average draw needs (and 200 more)
        is enough, as when some draws hardly ever give a good piece.

    Notes
    -----
    One more cast in a load, or in a load of its own, never lowers the chance, so the fewest are found by halving.

    Examples
    --------
    >>> casts_for(28, 0.95, 14, 0.828768, 0.0)
    38
    >>> casts_for(28, 0.95, 14, 0.828768, 0.0, started=(14, 14))
    10
    """
    confidence = _checked_confidence(confidence)
    needed, set_size = checked_whole("needed", needed), checked_whole("set size", set_size, low=1)
    share, _ = _draws(good_share, load_correlation)

    def chance(casts):
        return chance_of(
            needed, casts, casts_per_load, good_share, load_correlation, set_size=set_size, started=started, ruined=ruined
        )

    def enough(casts):
        return chance(casts) >= confidence - _ROUNDING

    if enough(0):
        return 0
    most = _most_tried(needed, casts_per_load, share, set_size)
    # good pieces are at least what is needed with a chance of at most their mean / needed (Markov), also with those started
    at_best = np.minimum(share * (most + sum(started)) / (needed * set_size), 1.0).mean()
    if at_best < confidence - _ROUNDING:
        raise _not_enough(f"{needed:,}", set_size, confidence, most, at_best)
    short, high = 0, min(1 + int(needed * set_size / share.mean()), most)
    while not enough(high):
        if high == most:
            raise _not_enough(f"{needed:,}", set_size, confidence, most, chance(most))
        short, high = high, min(high + high // 2 + 1, most)
    while high - short > 1:
        middle = (short + high) // 2
        short, high = (short, middle) if enough(middle) else (middle, high)
    return high


def casts_by_variant(needed, confidence, casts_per_load, good_share, load_correlation, set_size=1, started=None, ruined=0.0):
    """Casts of each colour or form of one order, so that all are enough together.

    Parameters
    ----------
    needed : sequence of int
        Good pieces of each variant, or full sets where `set_size` is above 1. [piece or set]
    confidence : float
        Chance wanted that no variant is short, in (0, 1). [-]
    casts_per_load, good_share, load_correlation, set_size, ruined
        As in `chance_of`; the same for every variant.
    started : sequence of sequence of int, optional
        Casts of each load already started, by variant. [cast/load]

    Returns
    -------
    casts : tuple of int
        New casts of each variant. [cast]
    chance : float
        Chance that every variant is enough, at least the confidence. [-]

    Raises
    ------
    ValueError
        If an input is outside its range or no number of casts tried is enough.

    Notes
    -----
    Each variant begins at the fewest casts that make it alone sure enough, below which the joint chance cannot
    reach the confidence; then casts are added where they raise the joint chance most for each cast added. That is the
    fewest in all or nearly so: in sets, one more than the fewest can come out.
    Given the draw, variants are independent, as if each had loads of its own; over the draws they are not: a
    poor share is poor for all, so the joint chance is above the product of the chances.
    Own loads are the cautious side. Pieces of one load fail together, so variants that share loads, each with its casts
    split over loads as before, tend to be enough together: they are associated [1]_, and the chance of all
    is at least the product of the chances of each.

    References
    ----------
    .. [1] Esary, Proschan & Walkup, *Ann. Math. Statist.* 38 (1967) 1466-1474.

    Examples
    --------
    >>> casts, chance = casts_by_variant((12, 12, 4), 0.95, 14, 0.828768, 0.0)
    >>> casts, round(chance, 3)
    ((19, 19, 7), 0.962)
    """
    confidence, set_size = _checked_confidence(confidence), checked_whole("set size", set_size, low=1)
    casts_per_load = checked_whole("casts per load", casts_per_load, low=1)
    needed = tuple(checked_whole("needed", n) for n in needed)
    share, rho = _draws(good_share, load_correlation)
    started = [()] * len(needed) if started is None else [_checked_loads(loads) for loads in started]
    tails = {}

    def by_draw(variant, casts):
        key = needed[variant], casts, started[variant]
        if key not in tails:
            counts = counts_from_loads((*loads_for(casts, casts_per_load), *started[variant]), share, rho, set_size, ruined)
            tails[key] = counts[:, needed[variant] :].sum(axis=-1)
        return tails[key]

    def joint(casts):
        return float(np.mean(np.prod([by_draw(*pair) for pair in enumerate(casts)], axis=0)))

    def one_more(casts, variant):
        # in sets, a load too small for one more set raises nothing until it is filled so far
        added = max(1, set_size - casts[variant] % casts_per_load)
        return (*casts[:variant], casts[variant] + added, *casts[variant + 1 :]), added

    casts = tuple(
        casts_for(n, confidence, casts_per_load, share, rho, set_size=set_size, started=loads, ruined=ruined)
        for n, loads in zip(needed, started, strict=True)
    )
    most = [_most_tried(n, casts_per_load, share, set_size) if n else 0 for n in needed]
    chance = joint(casts)
    while chance < confidence - _ROUNDING:
        if any(n > m for n, m in zip(casts, most, strict=True)):
            raise _not_enough(" + ".join(f"{n:,}" for n in needed), set_size, confidence, sum(most), chance)
        options = [one_more(casts, v) for v, n in enumerate(needed) if n]
        gains = [round((joint(option) - chance) / added, 12) for option, added in options]  # ties go to the first variant
        casts = options[gains.index(max(gains))][0]
        chance = joint(casts)
    return casts, chance


def chance_by_variant(needed, casts, casts_per_load, good_share, load_correlation, set_size=1, started=None, ruined=0.0):
    """Chance that every variant of an order is enough.

    Parameters
    ----------
    needed, casts : sequence of int
        Good pieces (or full sets) wanted, and new casts, of each variant. [piece or set], [cast]
    casts_per_load, good_share, load_correlation, set_size, started, ruined
        As in `casts_by_variant`.

    Returns
    -------
    float
        Variants as if each had loads of its own; averaged over the draws. [-]

    Raises
    ------
    ValueError
        If an input is outside its range.

    Examples
    --------
    >>> round(chance_by_variant((12, 12, 4), (19, 19, 7), 14, 0.828768, 0.0), 3)
    0.962
    """
    share, rho = _draws(good_share, load_correlation)
    started = [()] * len(needed) if started is None else started
    chance = np.ones(share.size)
    for wanted, count, loads in zip(needed, casts, started, strict=True):
        counts = counts_from_loads((*loads_for(count, casts_per_load), *loads), share, rho, set_size, ruined)
        chance = chance * counts[:, wanted:].sum(axis=-1)
    return float(chance.mean())


def moulds_worn(loads, sets, life_casts, life_shape, age=0.0, replace_at=None):
    """Expected sets of moulds that an order uses up.

    Parameters
    ----------
    loads : int
        Loads, shared round over the sets; each gives every cavity of its set one cast. [load]
    sets : int
        Sets of moulds in use, one or more. [set]
    life_casts : float or array_like
        Mean casts until a set is worn out. [cast]
    life_shape : float or array_like
        Weibull shape. [-]
    age : int or array_like, shape (sets,), optional
        Casts each set has given before; parts of a cast are rounded. [cast]
    replace_at : float, optional
        Age at which a set is replaced anyway, rounded up to whole casts; None or infinity runs it until worn out. [cast]

    Returns
    -------
    float or ndarray
        Sets worn out or replaced during the loads, a fresh one taking the place of each; shape of the two lives. [set]

    Raises
    ------
    ValueError
        If an input is outside its range.

    Notes
    -----
    The renewal function M of the equation M(t) = F(t) + integral of M(t - x) dF(x), F the distribution of the life [1]_.
    The integral is summed over whole casts with the mean of M over each, its error falling with the square of
    1 / mean life; where replacements are planned F and M jump, and the jumps are kept apart. A set of age a
    begins with the distribution of the life it has left.

    References
    ----------
    .. [1] Tijms, *A First Course in Stochastic Models*, 2003, ch. 8.

    Examples
    --------
    >>> round(moulds_worn(70, 2, life_casts=35.0, life_shape=1.0), 3)  # no memory: casts / mean life
    2.0
    >>> round(moulds_worn(70, 2, life_casts=1e6, life_shape=2.5, age=[0, 30], replace_at=35), 3)  # each once
    2.0
    """
    loads, sets = checked_whole("loads", loads), checked_whole("sets of moulds", sets, low=1)
    mean, shape = np.broadcast_arrays(checked("mean life", life_casts, above=0.0), checked("life shape", life_shape, above=0.0))
    scale = mean_to_scale(mean, shape)
    never = replace_at is None or replace_at == np.inf
    ages = np.asarray(checked("age", age, low=0.0))
    limit = loads + ceil(ages.max()) + 1 if never else ceil(checked("replacement age", replace_at, above=0.0))
    if ages.shape not in ((), (sets,)):
        raise ValueError(f"age must be one number or one for each of {sets} sets; got shape {ages.shape}")
    each, more = divmod(loads, sets)

    def worn_by(casts, age):
        """Chance of being worn out within 0, 1, ... casts from this age on, where nothing is replaced."""
        ages = np.reshape(age + np.arange(casts + 1.0), (-1,) + (1,) * mean.ndim)
        return -np.expm1((age / scale) ** shape - (ages / scale) ** shape)

    most = each + (more > 0)
    worn = worn_by(most, 0)
    steps = np.diff(worn, axis=0)
    spared = 1.0 - worn[limit] if limit <= most else 0.0  # alive when its replacement is due
    worn_sets = np.zeros((most + 1, *mean.shape))  # M after 0, 1, ... casts
    before = np.zeros_like(worn_sets)  # M just before the replacements then due
    within = np.zeros((most, *mean.shape))  # its mean over each cast
    for i in range(1, most + 1):
        reach = min(i, limit)
        known = (within[i - reach : i - 1] * steps[1:reach][::-1]).sum(axis=0) + 0.5 * steps[0] * worn_sets[i - 1]
        renewed = 1.0 + spared * before[i - limit] if i > limit else worn[i]
        before[i] = (renewed + known) / (1.0 - 0.5 * steps[0])
        worn_sets[i] = before[i] + (spared ** (i // limit) if i % limit == 0 else 0.0)
        within[i - 1] = 0.5 * (worn_sets[i - 1] + before[i])
    total = np.zeros(mean.shape)
    shared = [(each + (i < more), round(a)) for i, a in enumerate(np.broadcast_to(ages, sets).tolist())]
    for (casts, old), count in Counter(shared).items():
        first, left = worn_by(casts, old), max(limit - old, 0)
        used = (within[max(casts - left, 0) : casts] * np.diff(first, axis=0)[:left][::-1]).sum(axis=0)
        used = used + (1.0 + (1.0 - first[left]) * worn_sets[casts - left] if left <= casts else first[casts])
        total = total + count * used * (casts > 0)  # what no load uses is not replaced
    return total[()] if mean.ndim else float(total)


def _draws(good_share, load_correlation):
    """Share and correlation as arrays of shape (draws,)."""
    share, rho = np.broadcast_arrays(
        checked_share("good share", good_share),
        checked("load correlation", load_correlation, low=0.0, high=1.0 - 1e-9),
    )
    if share.ndim > 1:
        raise ValueError(f"good share and load correlation must be numbers or one array of draws; got shape {share.shape}")
    return np.atleast_1d(share).astype(float), np.atleast_1d(rho).astype(float)


def _spectra(loads, share, rho, set_size, size, ruined):
    """Transforms, of length `size`, of what all loads give together; shape (draws, size // 2 + 1)."""
    result = np.ones((share.size, 1))
    for load, count in Counter(loads).items():
        one = _one_load(load, set_size, share.tobytes(), rho.tobytes(), ruined.tobytes())
        result = result * fft.rfft(one, size) ** count
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


def _most_tried(needed, casts_per_load, share, set_size):
    """Where a search for enough casts gives up; an error where no number could ever be enough."""
    if casts_per_load < set_size:
        raise ValueError(f"casts per load must be at least the set size of {set_size}, whose pieces match; got {casts_per_load}")
    if not share.any():
        raise ValueError("good share must be above 0 in some draw for any order; got 0 in all")
    return int(min(40 * needed * set_size / share.mean() + 200, _MOST_CASTS))


def _not_enough(needed, set_size, confidence, most, chance):
    what = "good pieces" if set_size == 1 else f"sets of {set_size}"
    return ValueError(
        f"confidence {confidence:.4g} for {needed} {what} is more than {most:,} casts can give; their chance is {chance:.4g} or less; "
        "take a lower confidence, fewer pieces or a process that is surer"
    )


def _checked_ruined(ruined, share):
    return np.broadcast_to(checked("chance of a ruined load", ruined, low=0.0, high=1.0 - 1e-9), share.shape).astype(float)


def _checked_loads(loads):
    return tuple(checked_whole("load", load) for load in loads)


def _checked_confidence(confidence):
    return checked("confidence", confidence, above=0.0, high=1.0 - 1e-9)


def _checked_weights(weights, draws):
    if weights is None:
        return np.full(draws, 1.0 / draws)
    weights = np.asarray(checked("weights", weights, low=0.0))
    if weights.shape != (draws,) or not weights.sum() > 0.0:
        raise ValueError(f"weights must be one for each of {draws} draws, not all zero; got shape {weights.shape}")
    return weights / weights.sum()
