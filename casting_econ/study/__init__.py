"""A study folder as typed, frozen objects, and the faults in it."""

from .consistency import STUDY_FILE
from .load import Study, read_study, study_with
from .numbers import Number, Quantity
