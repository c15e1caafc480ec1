"""What it would be worth to know better: value of information from draws."""

from dataclasses import dataclass
from functools import lru_cache, reduce
from itertools import combinations

import numpy as np
import scipy
from scipy import special

KNOTS = (-2.0, -1.0, 0.0, 1.0, 2.0)  # of the splines, in normal scores
CROSSED = 6  # inputs whose products are fitted
PARTS = 10  # of the draws, each decided by the others
LEAST_DRAWS = 100


@dataclass(frozen=True, kw_only=True)
class InformationValue:
    """Expected worth of knowing something before deciding."""

    value: float  # [money]
    error: float  # standard error over the draws [money]


def perfect_information(benefit) -> InformationValue:
    """Expected value of knowing everything: mean of the best action's benefit less the best mean, zero or more. [money]

    `benefit` is what each action brings in each draw, shape (draws, actions) [money]; Raiffa & Schlaifer, *Applied
    Statistical Decision Theory*, 1961.

    >>> perfect_information([[0.0, 10.0], [0.0, -6.0]]).value  # 5 knowing, 2 not knowing
    3.0
    """
    benefit = np.asarray(benefit, float)
    lost = reduce(np.maximum, benefit.T) - benefit[:, benefit.mean(axis=0).argmax()]
    error = float(lost.std(ddof=1) / np.sqrt(lost.size)) if lost.size > 1 else 0.0
    return InformationValue(value=float(lost.mean()), error=error)


def partial_information(benefit, inputs, removed=1.0) -> InformationValue:
    """Expected value of knowing some inputs, or of knowing them better, the rest as uncertain as before; at most that of knowing everything.

    `benefit`, shape (draws, actions), is what each action brings in each draw [money]; `inputs`, shape (draws,) or (draws, inputs), are values
    of what would be known; `removed`, one number or shape (inputs,), is the share of the variance of each input that goes: 1 is to know it,
    0.75 to halve its width, 0 to learn nothing [-]. ValueError if a number is not finite, lengths differ, there are fewer than 100 draws, or a
    share lies outside 0 to 1.

    The benefits are regressed on natural cubic splines of the normal scores of each input and products of the first pairs of scores
    (Strong, Oakley & Brennan, *Medical Decision Making* 34 (2014) 311-326); splines, because a Gaussian process takes the cube of the
    draws. Each of ten parts of the draws is decided by the fit to the other nine, and what those choices bring beyond the best single
    action is the value. So the fit never profits from the noise it was made from: a poor or needless fit makes wrong choices and lowers
    the value. The error is that of a mean over the draws.

    Part of the knowledge moves each spline by the root of the removed variance (Jalal & Alarid-Escudero, *Medical Decision Making* 38
    (2018) 174-188, Gaussian approximation, from memory), a product by that of both.

    >>> rng = np.random.default_rng(1)
    >>> x, noise = rng.normal(size=(2, 4000))
    >>> worth = partial_information(np.column_stack([np.zeros(4000), x + noise]), x)
    >>> abs(worth.value - 0.3989) < 4 * worth.error  # the loss function at zero: 1 / sqrt(2 pi)
    True
    """
    benefit, inputs = _finite(benefit, "benefit"), np.asarray(inputs, float)
    inputs = _finite(inputs[:, None] if inputs.ndim == 1 else inputs, "inputs")
    draws, removed = benefit.shape[0], np.broadcast_to(np.asarray(removed, float), inputs.shape[1:])
    if inputs.shape[0] != draws or draws < LEAST_DRAWS:
        raise ValueError(f"as many inputs as benefits and at least {LEAST_DRAWS}; got {inputs.shape[0]} and {draws}")
    if not ((removed >= 0) & (removed <= 1)).all():
        raise ValueError(f"removed must lie in 0 to 1; got {removed}")
    basis, made_of, weights, left = _fitted(inputs.tobytes(), benefit.tobytes(), draws)
    kept = np.array([np.prod(np.sqrt(removed)[list(which)]) for which in made_of])[:, None]
    means, most = benefit.mean(axis=0), perfect_information(benefit).value
    believed = np.concatenate([part @ (kept * own) for part, own in zip(np.array_split(basis, PARTS), weights)]) + means
    # what is not learned stays in the benefit, without moving the choice
    seen = left + believed
    gained = np.take_along_axis(seen, believed.argmax(axis=1)[:, None], 1)[:, 0] - seen[:, means.argmax()]
    return InformationValue(value=float(np.clip(gained.mean(), 0.0, most)), error=float(gained.std(ddof=1) / np.sqrt(draws)))


def expected_of_rate(rates, benefit, shape, exposure):
    """What a choice brings on average where its benefit follows a rate with a gamma distribution, of the shape of its two numbers. [money]

    `rates` and `benefit`, shape (knots,), are rising rates and the benefit at each, straight lines between them, and beyond the ends as
    in the last part [1/exposure, money]; `shape` is the events that the gamma counts for, above zero, in how much `exposure`. ValueError
    if there are fewer than two rates, or they do not rise.

    Exact: with a = shape and b = exposure, E[max(x - k, 0)] = a / b P(a + 1, bk) - k P(a, bk), P being what lies above in a gamma of unit
    scale (partial expectation; Raiffa & Schlaifer, *Applied Statistical Decision Theory*, 1961, from memory).

    >>> float(expected_of_rate([0.0, 1.0], [-300.0, 500.0], shape=2.0, exposure=4.0))  # a line: 800 x 1/2 - 300
    100.0
    """
    rates, benefit = _finite(rates, "rates"), _finite(benefit, "benefit")
    if rates.ndim != 1 or rates.shape != benefit.shape or rates.size < 2 or np.any(np.diff(rates) <= 0):
        raise ValueError(
            f"rates must be two or more that rise, each with its benefit; got shapes {rates.shape} and {benefit.shape}"
        )
    a, b = (np.asarray(one, float)[..., None] for one in (shape, exposure))
    slopes, bends = np.diff(benefit) / np.diff(rates), rates[1:-1]
    over = a / b * special.gammaincc(a + 1.0, b * bends) - bends * special.gammaincc(a, b * bends)
    line = benefit[0] + slopes[0] * (a[..., 0] / b[..., 0] - rates[0])
    return (line + over @ np.diff(slopes))[()]


def best_after_counting(rates, benefit, shape, exposure, more) -> float:
    """What the better of going on and stopping, which brings nothing, brings on average once events were counted for so much longer. [money]

    What going on brings at each rate, and what is known of the rate now, are as in `expected_of_rate`; `more` is the exposure to come,
    zero or more.

    Events to come are negative binomial (a Poisson count at a gamma rate), each count n leaves a gamma of
    shape + n and exposure + more, and what is better on average then is chosen: Raiffa & Schlaifer, *Applied Statistical Decision
    Theory*, 1961 (from memory). It lies between max(0, what is expected now) and what knowing the rate would bring. Where more than
    400 counts are likely, the belief is taken as straight between 400 of them.

    Benefit 800 x - 500 with two events in four. Counted once more, two events or more change the choice: all counts bring -100, those of none
    and of one .64 (-180) + .256 (-20) = -120.32, the rest 20.32. Known for ever: 800 (.5 x .5438 - .625 x .2873) = 73.9.

    >>> [round(best_after_counting([0.0, 1.0], [-500.0, 300.0], 2.0, 4.0, more), 2) for more in (0.0, 1.0, 1e5)]
    [0.0, 20.32, 73.87]
    """
    to_come, law = scipy.stats.nbinom, (shape, exposure / (exposure + more))
    counts = np.arange(max(float(to_come.ppf(1e-10, *law)), 0.0), float(to_come.isf(1e-10, *law)) + 1.0)
    at = counts if counts.size <= 400 else np.unique(np.linspace(counts[0], counts[-1], 400).round())
    believed = np.interp(counts, at, expected_of_rate(rates, benefit, shape + at, exposure + more))
    chances = to_come.pmf(counts, *law)
    return float(np.maximum(believed, 0.0) @ chances / chances.sum())


def width_left(exposure, more):
    """Standard deviation of a gamma rate after so much more exposure, on average, as a share of what it is now. [-]

    `exposure` is what it counts for now, above zero, `more` what comes; the expected variance is shape / (exposure (exposure + more)).

    >>> float(width_left(6.0, 18.0))
    0.5
    """
    return np.sqrt(exposure / (exposure + np.asarray(more)))[()]


def _finite(values, name):
    values = np.asarray(values, float)
    if not np.isfinite(values).all():
        raise ValueError(f"{name} must be finite; got {values[~np.isfinite(values)][0]}")
    return values


@lru_cache(maxsize=1)  # knowing some inputs, and knowing them better, are asked about in turn
def _fitted(inputs, benefit, draws):
    """The fit that `partial_information` moves, draws in order of their parts: columns, which inputs each is made of, the weights of
    columns in each part by the fit to the others, and what the fit leaves of each benefit beside its mean."""
    benefit = np.frombuffer(benefit).reshape(draws, -1)
    order = np.random.default_rng([0, 3]).permutation(draws)
    basis, made_of = _columns(np.frombuffer(inputs).reshape(draws, -1))
    basis, contrast = basis[order], (benefit - benefit.mean(axis=0))[order]
    spanned, size, turn = np.linalg.svd(basis, full_matrices=False)
    kept = size > 1e-9 * size[0]  # an input of two values has no bends
    spanned, turn = spanned[:, kept], turn[kept].T / size[kept]
    projected, squares, weights = spanned.T @ contrast, np.eye(spanned.shape[1]) * (1.0 + 1e-9), []
    for x, y in zip(np.array_split(spanned, PARTS), np.array_split(contrast, PARTS)):
        # the normal equations of all draws less those of the part; a hair more where one part holds all that moves a column
        weights.append(np.linalg.solve(squares - x.T @ x, projected - x.T @ y))
        y -= x @ weights[-1]
    return basis, made_of, [turn @ own for own in weights], contrast


def _columns(inputs):
    """Columns to fit, and which inputs each is made of: an intercept, natural cubic splines of the normal scores of each input, and
    products of scores of the first few inputs."""
    draws = len(inputs)
    scores = special.ndtri((scipy.stats.rankdata(inputs, axis=0) - 0.5) / draws)  # equal values share a rank
    moving = [n for n in range(inputs.shape[1]) if np.ptp(inputs[:, n]) > 0]
    columns, made_of = [np.ones(draws)], [()]
    for n in moving:
        z = np.ascontiguousarray(scores[:, n])
        past = [over * over * over for over in (np.maximum(z - knot, 0.0) for knot in KNOTS)]
        bends = [(bend - past[-1]) / (KNOTS[-1] - knot) for bend, knot in zip(past[:-1], KNOTS)]
        columns += [z, *(bend - bends[-1] for bend in bends[:-1])]
        made_of += [(n,)] * len(bends)
    for i, j in combinations(moving[:CROSSED], 2):
        columns.append(scores[:, i] * scores[:, j])
        made_of.append((i, j))
    basis = np.column_stack(columns)
    basis[:, 1:] -= basis[:, 1:].mean(axis=0)
    return basis, made_of
