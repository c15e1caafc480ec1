"""A new study from a dozen plain answers, and the first answer it gives."""

from .answers import Answers, read_answers
from .crafts import Craft, crafts
from .questions import QUESTIONS, Question
