"""Numbers as a new study file writes them, each with where it comes from."""

from ..study.numbers import written
from .answers import Answers
from .crafts import Guess

# how many pieces, rows, loads, weeks or months a guess is worth against the logs
WORTH = {"minutes": "10 pieces", "load_minutes": "5 loads", "pass_share": "20 pieces", "life": "3 moulds"}


def read_figure(value: float, kind: str = "P") -> str:
    """A figure as the study file writes it: an answer as it was given, a guess without digits that say nothing."""
    return written(value, 4 if kind else 12)


class Writer:
    """Numbers of one new study, each with where it comes from."""

    def __init__(self, answers: Answers) -> None:
        self.answers = answers
        self.defaults: list[str] = []  # what was not answered, in words

    def known(self, key: str, guess: Guess, what: str) -> Guess:
        """An answer, or else a guess, which is then a default, in words `what`."""
        if key in self.answers.figures:
            return Guess(*self.answers.figures[key], "")
        return self.guessed(guess, what)

    def guessed(self, guess, what: str):
        """A guess that nothing stands beside, as it is; a default, in words `what`."""
        self.defaults.append(what)
        return guess

    def number(self, key: str, unit: str, what: str, *, factor: float = 1.0, worth: str = "") -> str:
        """An answer, or the craft's guess, as a value of the study file."""
        return self.value(self.known(key, self.answers.guess(key), what), unit, factor=factor, worth=worth)

    def one(self, answered: bool, figure: float, what: str, note: str = "your answer") -> str:
        """A figure without a range, answered or not."""
        said = f'note = "{note}"' if answered else self.guessed('basis = "guess", note = "trade default (P)"', what)
        return f"{{ value = {written(figure)}, {said} }}"

    def value(self, guess: Guess, unit: str, *, factor: float = 1.0, worth: str = "", note: str = "your answer") -> str:
        """A range, or one figure where there is none."""
        guess, unit = guess.times(factor), f" {unit}" if unit else ""
        note = f'basis = "guess", note = "trade default ({guess.kind})"' if guess.kind else f'note = "{note}"'
        tail = f', from = "records", worth = "{worth}"' if worth else ""
        if guess.low == guess.high:
            return f'{{ value = "{read_figure(guess.likely, guess.kind)}{unit}"{tail}, {note} }}'
        likely = min(max(guess.likely, guess.low), guess.high)
        ends = ", ".join(
            f'{name} = "{read_figure(figure, guess.kind)}{unit}"'
            for name, figure in (("low", guess.low), ("likely", likely), ("high", guess.high))
        )
        return f"{{ {ends}{tail}, {note} }}"

    def money(self, row: list, unit: str) -> str:
        """A craft's money guess in the study's currency."""
        return self.value(self.answers.in_money(Guess.of(row)), unit)
