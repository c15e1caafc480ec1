"""Hands-on minutes, and how they fall with practice."""

import numpy as np
from scipy import special

from .checks import checked


def learning_exponent(rate):
    """Exponent b of a learning curve, log2(rate): time for the n-th piece goes as n ** b. [-]

    `rate` is the time left after each doubling, in (0, 1] or ValueError; 1 is no learning. b at 85 % as in the documentation of
    AFIT-R/learningCurve.

    >>> round(float(learning_exponent(0.85)), 7)
    -0.2344653
    """
    return np.log2(checked("learning rate", rate, above=0.0, high=1.0))


def unit_total(pieces, rate):
    """Sum of n ** b for n = 1 to `pieces`, zero or more, at a learning rate in (0, 1]: times of the first piece. [-]

    Fractions of a piece interpolate smoothly; ValueError outside these ranges. The first 16 terms are summed as they stand,
    the rest by the Euler-Maclaurin formula, whose next term is below 1e-9 there; so a million draws cost no loop over pieces.

    >>> round(float(unit_total(100, 0.85)), 4)
    43.7539
    """
    pieces = np.asarray(checked("pieces", pieces, low=0.0))
    b = np.asarray(learning_exponent(rate))
    start = 16.0
    terms = np.arange(1.0, start + 1.0)
    whole = sum(terms.reshape(-1, *[1] * b.ndim) ** b)
    early = np.array(np.broadcast_to(whole, np.broadcast_shapes(pieces.shape, b.shape)))
    few = np.broadcast_to(pieces < start, early.shape)
    if few.any():
        own, bend = (np.broadcast_to(v, early.shape)[few] for v in (pieces, b))
        early[few] = sum(np.clip(own - (terms[:, None] - 1.0), 0.0, 1.0) * terms[:, None] ** bend)
    upper = np.maximum(pieces, start)
    stretch = np.log(upper / start)
    tail = start ** (b + 1) * stretch * special.exprel((b + 1) * stretch)  # the integral of n ** b, b = -1 among them
    high, low = upper**b, start**b
    at, slope, bend = (high / upper**k - low / start**k for k in (0, 1, 3))
    tail = tail + at / 2 + b * slope / 12 - b * (b - 1) * (b - 2) * bend / 720
    return (early + tail)[()]


def practised_minutes(floor_minutes, first_minutes, rate, made_before, pieces):
    """Mean minutes a piece over the next pieces, learning down to a practised floor: of max(floor, first x n ** b). [min/piece]

    The floor is the practised time, below which learning stops, `first_minutes` what the first piece ever took [min/piece], `rate` the
    time left after each doubling (unit model), in (0, 1] [-]; so many pieces were made before, and so many follow, above zero [piece].
    ValueError outside these ranges.

    >>> round(float(practised_minutes(0.0, 100.0, 0.85, 0, 125)) * 125, 3), float(practised_minutes(5.0, 5.0, 0.85, 0, 10))
    (5201.085, 5.0)
    """
    floor = checked("practised minutes", floor_minutes, low=0.0)
    first = checked("first minutes", first_minutes, low=0.0)
    before = checked("pieces made before", made_before, low=0.0)
    last = before + checked("pieces", pieces, above=0.0)
    b = np.asarray(learning_exponent(rate))
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        reached = np.where(np.asarray(first) <= floor, 0.0, np.where(b == 0.0, np.inf, (np.asarray(floor) / first) ** (1.0 / b)))
    # whole pieces are learning pieces; the floor starts with the next one
    turn = np.clip(np.floor(reached), before, last)
    none = unit_total(before, rate)
    if np.broadcast(last, rate).size < turn.size:  # of many floors few are reached within these pieces
        total, within = np.where(turn < last, none, unit_total(last, rate)), (turn > before) & (turn < last)
        if within.any():
            total[within] = unit_total(turn[within], np.broadcast_to(rate, turn.shape)[within])
    else:
        total = unit_total(turn, rate)
    learning = first * (total - none)
    return ((learning + floor * (last - turn)) / (last - before))[()]
