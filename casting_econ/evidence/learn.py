"""What the workshop logs say about each number that asks for records."""

from dataclasses import dataclass, field, replace

from ..draws.distributions import Distribution
from ..study import Number, Study
from .cases import ask, labour_finding
from .labour import minutes_posteriors

__all__ = ["Evidence", "could_learn", "learn"]


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """One number after the logs have spoken."""

    key: str
    number: Number  # with its posterior; its basis stays 'guess' where the logs bound it but never saw it happen
    prior: Distribution  # the guess, worth what the study says
    observed: float  # what the logs alone say, in the unit of the number
    data: str  # from what, in words
    worth: float  # that the guess counts for, in `counted`
    amount: float  # that the logs have, in `counted`
    counted: str  # what is counted: pieces, timesheet rows, months, ...
    tied: dict[str, float] = field(default_factory=dict)  # normal correlation with other numbers of the same rows, by key
    to_halve: float | None = None  # where it is not as below

    @property
    def more_to_halve(self) -> float:
        """How much more of what is counted would halve the width; infinite where more of the same cannot.

        A width falls with the root of guess and data, unless rows tell only the sum of several numbers.
        """
        return 3.0 * (self.worth + self.amount) if self.to_halve is None else self.to_halve


def learn(study: Study, keys: list[str] | None = None) -> dict[str, Evidence]:
    """Posterior of every number that says `from = "records"`, or of those named, and that the logs know something about.

    Parameters
    ----------
    study : Study
        Study with its logs.
    keys : list of str, optional
        Dotted keys of numbers, whether they ask for records or not.

    Returns
    -------
    dict of str to Evidence
        By dotted key; numbers without data are left out and stay guesses.
    """
    asking = [key for key, number in study.numbers.items() if number.from_records] if keys is None else keys
    found = _findings(study, asking)
    result = {}
    for key, finding in found.items():
        parts = {name: value for name, value in vars(finding).items() if name not in ("posterior", "seen")}
        number = replace(
            study.numbers[key],
            value=finding.posterior.middle,
            distribution=finding.posterior,
            basis="measured" if finding.seen else "guess",
        )
        result[key] = Evidence(key=key, number=number, **parts)
    return result


def could_learn(study: Study) -> list[str]:
    """Keys of guesses that do not ask for records though the logs alone differ from them by more than 5 %."""
    keys = [key for key, number in study.numbers.items() if not number.from_records and number.basis == "guess"]
    found = _findings(study, keys)
    return [
        key for key, told in found.items() if abs(told.observed - study.numbers[key].value) > 0.05 * abs(study.numbers[key].value)
    ]


def _findings(study, keys):
    """What the logs say about these numbers, in the order of the keys."""
    minutes = [
        key for key in keys if key.startswith("products.") and key.endswith((".minutes", ".load_minutes")) and ".steps." in key
    ]
    labour = minutes_posteriors(study, {key for key in minutes if study.numbers[key].value > 0})
    found = {}
    for key in keys:
        told = (
            labour_finding(key, labour[key])
            if key in labour
            else None
            if key in minutes
            else ask(study, key.split("."), study.numbers[key])
        )
        if told is not None:
            found[key] = told
    return found
