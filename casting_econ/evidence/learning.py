"""Do the minutes a piece fall with practice, and by how much."""

from dataclasses import dataclass

import numpy as np
import scipy
from scipy import optimize

from ..models.checks import checked
from ..models.labour import learning_exponent, practised_minutes

LEAST_ROWS = 6  # of timesheet, below which four numbers cannot be told from scatter
RATES = np.linspace(0.5, 1.0, 51)  # steeper learning than halving is not seen in handwork; common practice, no source
TURNS = 32  # ages of the floor tried for each rate
LEAST_VARIANCE = 1e-18  # of log minutes: rows without any scatter still have a likelihood


@dataclass(frozen=True, kw_only=True)
class LearningFit:
    """Likeliest learning curve of a step, against no learning."""

    rate: float  # [-] minutes left after each doubling of pieces
    low: float  # [-] 80 % profile interval of the rate
    high: float  # [-]
    first: float  # [min] of the very first piece
    practised: float  # [min/piece] the floor reached, or the last piece's
    floor_reached: bool
    scatter: float  # [-] sd of log minutes of a row
    weight: float  # [-] approximate posterior probability of learning, both taken as equally likely before
    rows: int
    pieces: float  # on these rows


def fit_learning(minutes, pieces, before=0.0):
    """Unit (Crawford) learning curve with a floor, fitted to timesheet rows; None for fewer than six.

    Of each row, in date order: `minutes` and `pieces`, shape (n_rows,), above zero and of one length, else ValueError [min, piece];
    `before` are pieces made before the first [piece].

    Piece x takes max(floor, first x ** b) minutes, b = log2(rate), the rate in [0.5, 1]; the total of a row has
    log-normal scatter. A floor is kept only where it lowers the BIC (Kass & Raftery, *J. Am. Stat. Assoc.* 90 (1995) 773-795, also for
    the posterior probability), and is not reached within the first two rows, which it would explain alone. Without learning a piece
    always takes the same. The interval holds every rate whose best fit, with a floor or without one, is not worse than
    F(1, rows - numbers fitted) allows: the profile likelihood in its form for few rows (Bates & Watts, *Nonlinear Regression Analysis
    and Its Applications*, 1988, ch. 6). A floor reached within a few rows hides the rate, and the interval then covers less than
    its 80 %.

    >>> rows = [4.1, 3.5, 3.1, 2.9, 2.8, 2.7, 2.6]  # minutes a piece fall from row to row
    >>> fit = fit_learning([10 * m for m in rows], [10] * 7)
    >>> round(fit.rate, 2), fit.weight > 0.99
    (0.89, True)
    """
    minutes, pieces = np.atleast_1d(np.asarray(minutes, float)), np.atleast_1d(np.asarray(pieces, float))
    if minutes.shape != pieces.shape or minutes.ndim != 1:
        raise ValueError(f"minutes and pieces must be rows of one length; got {minutes.size} and {pieces.size}")
    if minutes.size < LEAST_ROWS:
        return None
    checked("minutes", minutes, above=0.0)
    checked("pieces", pieces, above=0.0)
    before = checked("pieces made before", before, low=0.0)
    rows = _Rows(minutes, pieces, before)
    without = _bic(rows.squares(1.0, np.inf), rows.count, fitted=1)
    fits = [_fit(rows, floored) for floored in (False, True)]
    bics = [_bic(found[0], rows.count, fitted=2 + floored) for floored, found in enumerate(fits)]
    floored = bics[1] < bics[0]
    bic, (squares, rate, turn, _) = bics[floored], fits[floored]
    # where no floor is kept one may still be there, so the interval allows for both
    ends = [_interval(rows, with_floor, fits[with_floor]) for with_floor in {True, floored}]
    first = float(np.exp(rows.offset(rate, turn)))
    last = before + rows.pieces.sum()
    return LearningFit(
        rate=rate,
        low=min(low for low, _ in ends),
        high=max(high for _, high in ends),
        first=first,
        practised=first * float(min(turn, last) ** learning_exponent(rate)),
        floor_reached=floored,
        scatter=float(np.sqrt(squares / (rows.count - 2 - floored))),
        weight=float(1.0 / (1.0 + np.exp(np.clip((bic - without) / 2.0, -700.0, 700.0)))),
        rows=rows.count,
        pieces=float(rows.pieces.sum()),
    )


class _Rows:
    """Timesheet rows, and how far a curve of given rate and turn lies from them."""

    def __init__(self, minutes, pieces, before):
        self.each, self.pieces, self.count = np.log(minutes / pieces), pieces, minutes.size
        self.start = before + np.concatenate([[0.0], np.cumsum(pieces)[:-1]])
        # a floor within the first two rows would explain them alone, at any rate
        self.turns = np.geomspace(max(self.start[2], 1.0), max(before + pieces.sum(), 1.0), TURNS)

    def _without(self, rate):
        """Log minutes a piece, less those of the curve without a floor and with a first piece of 1; the rows are the last axis."""
        rate = np.asarray(rate, float)[..., None]
        return self.each - np.log(practised_minutes(0.0, 1.0, rate, self.start, self.pieces))

    def _misfit(self, rate, turn, without):
        """The same with a floor, which is reached within one row; all rows before it are as they are without."""
        if np.all(np.isinf(turn)):
            return without
        rate, turn = np.asarray(rate, float)[..., None], np.asarray(turn, float)[..., None]
        floor, rows = turn ** learning_exponent(rate), np.arange(self.count)
        at = np.minimum(np.searchsorted(self.start + self.pieces, np.floor(turn)), self.count - 1)
        partly = self.each[at] - np.log(practised_minutes(floor, 1.0, rate, self.start[at], self.pieces[at]))
        return np.where(rows < at, without, np.where(rows > at, self.each - np.log(floor), partly))

    def offset(self, rate, turn):
        """Likeliest log minutes of the first piece."""
        return self._misfit(rate, turn, self._without(rate)).mean(axis=-1)

    def squares(self, rate, turn, without=None):
        """Sum of squared log errors at the likeliest first minutes."""
        misfit = self._misfit(rate, turn, self._without(rate) if without is None else without)
        return np.sum((misfit - misfit.mean(axis=-1, keepdims=True)) ** 2, axis=-1)

    def best_turn(self, rate):
        """Least squares for each rate over the age at which the floor is reached, and that age."""
        rate = np.asarray(rate, float)[..., None]
        turns, without = np.broadcast_to(self.turns, (*rate.shape[:-1], TURNS)), self._without(rate)
        for _ in range(5):
            squares = self.squares(rate, turns, without)
            best = np.argmin(squares, axis=-1)[..., None]
            least, turn = np.take_along_axis(squares, best, -1)[..., 0], np.take_along_axis(turns, best, -1)[..., 0]
            ends = [np.take_along_axis(turns, np.clip(best + step, 0, turns.shape[-1] - 1), -1) for step in (-1, 1)]
            turns = np.linspace(ends[0][..., 0], ends[1][..., 0], 13, axis=-1)
        return least, turn


def _profile(rows, floored, rate):
    return rows.best_turn(rate)[0] if floored else rows.squares(rate, np.inf)


def _fit(rows, floored):
    """Least squares, rate and age of the floor, and the squares at `RATES`."""
    squares = _profile(rows, floored, RATES)
    best = int(np.argmin(squares))
    bounds = (RATES[max(best - 1, 0)], RATES[min(best + 1, RATES.size - 1)])
    found = optimize.minimize_scalar(
        lambda rate: float(_profile(rows, floored, rate)), bounds=bounds, method="bounded", options={"xatol": 1e-10}
    )
    rate, least = (float(found.x), float(found.fun)) if found.fun < squares[best] else (float(RATES[best]), float(squares[best]))
    return least, rate, float(rows.best_turn(rate)[1]) if floored else np.inf, squares


def _bic(squares, count, fitted):
    """Bayesian information criterion with `fitted` numbers and the scatter."""
    variance = max(float(squares) / count, LEAST_VARIANCE)
    return float(count * (np.log(2.0 * np.pi * variance) + 1.0) + (fitted + 1) * np.log(count))


def _interval(rows, floored, fit):
    """Outermost rates whose fit is not too much worse than the best; 0.5 or 1 where it stays good enough."""
    least, rate, _, squares = fit
    spare = rows.count - 2 - floored
    cut = max(least, rows.count * LEAST_VARIANCE) * (1.0 + scipy.stats.f.ppf(0.8, 1, spare) / spare)
    place = np.searchsorted(RATES, rate)
    inside = np.flatnonzero(np.insert(squares <= cut, place, True))
    rates = np.insert(RATES, place, rate)

    def end(near, far):
        return optimize.brentq(lambda r: float(_profile(rows, floored, r)) - cut, near, far, xtol=1e-8)

    low = end(rates[inside[0]], rates[inside[0] - 1]) if inside[0] > 0 else RATES[0]
    high = end(rates[inside[-1]], rates[inside[-1] + 1]) if inside[-1] < rates.size - 1 else RATES[-1]
    return float(low), float(high)
