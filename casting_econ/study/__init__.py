"""A study folder as typed, frozen objects, and the faults in it."""

from ..ledger import LOGS, Reading, record_files
from .consistency import STUDY_FILE
from .load import Study, read_study, study_with
from .numbers import Number, Quantity
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
