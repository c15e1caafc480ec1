"""What the logs say about one number, and what its guess counts for beside them."""

from dataclasses import dataclass, field

from ..draws.distributions import Distribution
from ..study import Number

BEYOND = ", beyond the stated range"  # said where the logs contradict it
DEFAULT_PRIOR_WEIGHT = 10.0  # pieces or loads that a guess counts for when the study does not say


@dataclass(frozen=True, kw_only=True)
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


def prior_weight_of(number: Number) -> float:
    """What a guess counts for against records, in the unit of its `worth` in the study file.

    0 for a range that states none: its width says it.
    """
    return number.prior_weight or (DEFAULT_PRIOR_WEIGHT if number.distribution is None else 0.0)
