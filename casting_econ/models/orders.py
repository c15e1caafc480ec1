"""How many casts an order takes, for one colour or form or for several together."""

import numpy as np

from .checks import checked, checked_whole
from .counts import chance_of, checked_loads, counts_from_loads, full_loads, loads_for, share_and_correlation

_MOST_CASTS = 100_000  # no search goes beyond; one pair of hands casts less in a working life
_ROUNDING = 1e-12  # of a chance: what the transforms leave, so that a chance of exactly the confidence is enough


def casts_for(needed, confidence, casts_per_load, good_share, load_correlation, *, set_size=1, started=(), ruined=0.0):
    """Fewest new casts that give enough with a wanted chance, zero where the loads already started are enough. [cast]

    One more cast in a load, or in a load of its own, never lowers the chance, so the fewest are found by halving. The
    confidence lies in (0, 1) [-]; the other arguments are those of `chance_of`. ValueError if an input is outside its range, or no number
    up to 40 times what an average draw needs (and 200 more) is enough, as when some draws hardly ever give a good piece.

    >>> casts_for(28, 0.95, 14, 0.828768, 0.0), casts_for(28, 0.95, 14, 0.828768, 0.0, started=(14, 14))
    (38, 10)
    """
    confidence = _checked_confidence(confidence)
    needed, set_size = checked_whole("needed", needed), checked_whole("set size", set_size, low=1)
    share, _ = share_and_correlation(good_share, load_correlation)

    def chance(casts):
        given = casts_per_load, good_share, load_correlation
        return chance_of(needed, casts, *given, set_size=set_size, started=started, ruined=ruined)

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
    """New casts of each colour or form of one order, so that all are enough together, and the chance of that. [cast, -]

    ValueError if an input is outside its range or no number of casts tried is enough.

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

    Notes
    -----
    Each variant begins at the fewest casts that make it alone sure enough, below which the joint chance cannot
    reach the confidence; then casts are added where they raise the joint chance most for each cast added. That is the
    fewest in all or nearly so: in sets, one more than the fewest can come out.
    Given the draw, variants are independent, as if each had loads of its own; over the draws they are not: a
    poor share is poor for all, so the joint chance is above the product of the chances.
    Own loads are the cautious side. Pieces of one load fail together, so variants that share loads, each with its casts
    split over loads as before, tend to be enough together: they are associated (Esary, Proschan & Walkup, *Ann. Math. Statist.*
    38 (1967) 1466-1474), and the chance of all is at least the product of the chances of each.

    Examples
    --------
    >>> casts, chance = casts_by_variant((12, 12, 4), 0.95, 14, 0.828768, 0.0)
    >>> casts, round(chance, 3)
    ((19, 19, 7), 0.962)
    """
    confidence, set_size = _checked_confidence(confidence), checked_whole("set size", set_size, low=1)
    sizes = full_loads(casts_per_load)
    needed = tuple(checked_whole("needed", n) for n in needed)
    share, rho = share_and_correlation(good_share, load_correlation)
    started = [()] * len(needed) if started is None else [checked_loads(loads) for loads in started]
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
        *_, last = (0, *loads_for(casts[variant], sizes))
        added = max(1, set_size - (0 if last in sizes else last))
        return (*casts[:variant], casts[variant] + added, *casts[variant + 1 :]), added

    casts = tuple(
        casts_for(n, confidence, casts_per_load, share, rho, set_size=set_size, started=loads, ruined=ruined)
        for n, loads in zip(needed, started, strict=True)
    )
    if len(needed) == 1:
        return casts, chance_by_variant(needed, casts, casts_per_load, share, rho, set_size, started, ruined)
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
    """Chance that every variant of an order is enough, as if each had loads of its own; averaged over the draws. [-]

    Good pieces (or full sets) wanted, and new casts, of each variant [piece or set, cast]; the others as in `casts_by_variant`.
    ValueError if one is outside its range.

    >>> round(chance_by_variant((12, 12, 4), (19, 19, 7), 14, 0.828768, 0.0), 3)
    0.962
    """
    share, rho = share_and_correlation(good_share, load_correlation)
    started = [()] * len(needed) if started is None else started
    if len(needed) == 1:  # much quicker
        given = {"set_size": set_size, "started": started[0], "ruined": ruined}
        return chance_of(needed[0], casts[0], casts_per_load, share, rho, **given)
    chance = np.ones(share.size)
    for wanted, count, loads in zip(needed, casts, started, strict=True):
        counts = counts_from_loads((*loads_for(count, casts_per_load), *loads), share, rho, set_size, ruined)
        chance = chance * counts[:, wanted:].sum(axis=-1)
    return float(chance.mean())


def _most_tried(needed, casts_per_load, share, set_size):
    """Where a search for enough casts gives up; an error where no number could ever be enough."""
    if (full := max(full_loads(casts_per_load))) < set_size:
        raise ValueError(f"casts per load must be at least the set size of {set_size}, whose pieces match; got {full}")
    if not share.any():
        raise ValueError("good share must be above 0 in some draw for any order; got 0 in all")
    return int(min(40 * needed * set_size / share.mean() + 200, _MOST_CASTS))


def _not_enough(needed, set_size, confidence, most, chance):
    what = "good pieces" if set_size == 1 else f"sets of {set_size}"
    return ValueError(
        f"confidence {confidence:.4g} for {needed} {what} is more than {most:,} casts can give; their chance is {chance:.4g} or less; "
        "take a lower confidence, fewer pieces or a process that is surer"
    )


def _checked_confidence(confidence):
    return checked("confidence", confidence, above=0.0, high=1.0 - 1e-9)
