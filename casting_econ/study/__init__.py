"""A study folder as typed, frozen objects, and the faults in it."""

from .load import STUDY_FILE, Study, read_study, study_with
from .numbers import Number, Quantity
from .reading import LOGS, Reading, record_files
from .schema import StudyFile

__all__ = [
    "LOGS",
    "STUDY_FILE",
    "Number",
    "Quantity",
    "Reading",
    "Study",
    "StudyFile",
    "read_study",
    "record_files",
    "study_with",
]
