"""A study folder as typed, frozen objects, and the faults in it."""

from .load import STUDY_FILE, Study, read_study
from .numbers import Number, Quantity
from .records import LOGS
from .schema import StudyFile

__all__ = ["LOGS", "STUDY_FILE", "Number", "Quantity", "Study", "StudyFile", "read_study"]
