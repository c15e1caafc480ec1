"""A new study from a dozen plain answers, and the first answer it gives."""

from .answers import Answers, read_answers
from .crafts import Craft, crafts
from .first import first_answer, new_study
from .questions import QUESTIONS, Question

__all__ = ["QUESTIONS", "Answers", "Craft", "Question", "crafts", "first_answer", "new_study", "read_answers"]
