"""A new study from a dozen plain answers, and the first answer it gives."""

from .answers import Answers, read_answers
from .crafts import Craft, crafts
from .questions import QUESTIONS, Question

__all__ = ["QUESTIONS", "Answers", "Craft", "Question", "crafts", "read_answers"]  # `first` imports all models, so late
