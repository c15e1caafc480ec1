"""What the logs say about one number, and what its guess counts for beside them."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..draws.distributions import Distribution
from ..study import Number
from ..units import ratio_of_units
from .posteriors import mean_posterior, mean_prior, rate_posterior, rate_prior, share_posterior, share_prior
from .rows import rows_posterior, rows_prior

MONTHS = 12.0  # in a year
BEYOND = ", beyond the stated range"  # said where the logs contradict it
DEFAULT_PRIOR_WEIGHT = 10.0  # pieces or loads that a guess counts for when the study does not say


_NO_ROWS = ([], np.empty((0, 1)))


@dataclass(frozen=True)
class Finding:
    """What the logs say about one number, in its unit."""

    posterior: Distribution
    prior: Distribution  # the guess, with its weight
    observed: float  # by the logs alone
    data: str  # from what, in words
    prior_weight: float  # that the guess counts for, in `counted`
    amount: float  # that the logs have, in `counted`
    counted: str  # what is counted: pieces, timesheet rows, months, ...
    tied: dict[str, float] = field(default_factory=dict)  # normal correlation with other numbers of the same rows, by key [-]
    to_halve: float | None = None  # how much more would halve the width, where guess and amount do not say it
    seen: bool = True  # whether the thing itself was seen to happen

    @property
    def more_to_halve(self) -> float:
        """How much more of what is counted would halve the width; infinite where more of the same cannot.

        A width falls with the root of guess and data, unless rows tell only the sum of several numbers.
        """
        return 3.0 * (self.prior_weight + self.amount) if self.to_halve is None else self.to_halve

    def in_place_of(self, number: Number) -> Number:
        """A number with its posterior; its basis stays where the logs bound it but never saw it happen."""
        basis = "measured" if self.seen else "answered" if number.basis == "answered" else "guess"
        return replace(number, value=self.posterior.middle, distribution=self.posterior, basis=basis)


def prior_weight_of(number: Number) -> float:
    """What a guess counts for against records, in the unit of its `worth` in the study file.

    0 for a range that states none: its width says it.
    """
    return number.prior_weight or (DEFAULT_PRIOR_WEIGHT if number.distribution is None else 0.0)


def weight_in(number, unit):
    """A prior weight given in time, in months or weeks; a bare number is in them already."""
    return number.prior_weight * (ratio_of_units(number.prior_weight_unit, unit, "EUR") if number.prior_weight_unit else 1.0)


def share_finding(number, hits, count, data, counted):
    """Finding for a share of independent things."""
    stated, weight = share_prior(number.value, number.prior_weight, number.distribution)
    posterior, prior = (share_posterior(stated, weight, *seen) for seen in ((hits, count - hits), (0, 0)))
    return Finding(posterior, prior, hits / count, data, weight, count, counted)


def guessed_rate(number):
    """Mean of a guess of events a year, and the years that it counts for. [event/year, year]"""
    weighed = replace(number, prior_weight=prior_weight_of(number))
    return rate_prior(number.value, weight_in(weighed, "month") / MONTHS, number.distribution)


def rate_finding(number, count, months, data):
    """Finding for events a year, of which so many came in so many months."""
    stated, years = guessed_rate(number)
    posterior, prior = (rate_posterior(stated, years, *seen) for seen in ((count, months / MONTHS), (0, 0)))
    return Finding(posterior, prior, count / months * MONTHS, data, years * MONTHS, months, "months")


def rows_finding(number, weight, totals, units, data, counted, spread):
    """Finding for a mean of positive rows with one kind of unit; the weight is in rows."""
    units = np.asarray(units, float)
    stated, rows = rows_prior(number.value, weight, number.distribution, spread)
    found, guess = (rows_posterior([stated], [rows], *seen, spread=spread) for seen in ((totals, units[:, None]), _NO_ROWS))
    observed = float(np.sum(totals) / units.sum())
    weight = rows * (found.scatter / spread) ** 2  # in rows that scatter as these do
    return Finding(found.means[0], guess.means[0], observed, data, weight, units.size, counted)


def mean_finding(number, totals, units, data, counted):
    """Finding for a mean whose rows may be zero; the prior weight is in their units, which are what is counted."""
    units = np.asarray(units, float)
    stated, weight, sd = mean_prior(number.value, number.prior_weight, totals, units, number.distribution)
    posterior, prior = (mean_posterior(stated, weight, *rows, sd) for rows in ((totals, units), ([], [])))
    observed, amount = float(np.sum(totals) / units.sum()), float(units.sum())
    return Finding(posterior, prior, observed, data, weight, amount, counted)
