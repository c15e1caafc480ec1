"""What the workshop logs say about each number that asks for records."""

from dataclasses import dataclass, replace

from ..study import Number, Study
from .cases import ask
from .finding import Finding
from .labour import minutes_posteriors


@dataclass(frozen=True, kw_only=True)
class Evidence(Finding):
    """One number after the logs have spoken."""

    key: str
    number: Number  # with its posterior; its basis stays where the logs bound it but never saw it happen

    @property
    def more_to_halve(self) -> float:
        """How much more of what is counted would halve the width; infinite where more of the same cannot.

        A width falls with the root of guess and data, unless rows tell only the sum of several numbers.
        """
        return 3.0 * (self.prior_weight + self.amount) if self.to_halve is None else self.to_halve


def update(study: Study, keys: list[str] | None = None) -> dict[str, Evidence]:
    """Posterior, by dotted key, of every number that says `from = "records"`, or of those named, that the logs know something about."""

    def measured(key, found):
        number = study.numbers[key]
        basis = "measured" if found.seen else "answered" if number.basis == "answered" else "guess"
        return replace(number, value=found.posterior.middle, distribution=found.posterior, basis=basis)

    asking = [key for key, number in study.numbers.items() if number.from_records] if keys is None else keys
    found = _findings(study, asking)
    return {key: Evidence(key=key, number=measured(key, one), **vars(one)) for key, one in found.items()}


def could_update(study: Study) -> list[str]:
    """Keys of guesses and answers that do not ask for records though the logs alone differ from them by more than 5 %."""
    keys = [key for key, number in study.numbers.items() if not number.from_records and number.basis in ("guess", "answered")]
    stated = {key: study.numbers[key].value for key in keys}
    found = _findings(study, keys)
    return [key for key, told in found.items() if abs(told.observed - stated[key]) > 0.05 * abs(stated[key])]


def _findings(study, keys):
    """What the logs say about these numbers, in the order of the keys."""
    minutes = {key for key in keys if ".steps." in key and key.endswith((".minutes", ".load_minutes"))}
    labour = minutes_posteriors(study, {key for key in minutes if study.numbers[key].value > 0})
    found = {key: labour.get(key) if key in minutes else ask(study, key.split("."), study.numbers[key]) for key in keys}
    return {key: told for key, told in found.items() if told is not None}
