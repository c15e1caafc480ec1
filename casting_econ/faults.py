"""Faults in a study: what is wrong, where, and what would be right."""

from dataclasses import dataclass
from difflib import get_close_matches

__all__ = ["Fault", "StudyError", "close_match"]


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One fault, printed as `file:row:column: what is wrong; found …; right would be …`."""

    file: str
    wrong: str
    right: str
    found: str = ""
    row: int | None = None  # line in a text file, counted from 1
    column: str = ""  # column of a log, or dotted key of the study file

    def __str__(self) -> str:
        place = ":".join(str(part) for part in (self.file, self.row, self.column) if part not in (None, ""))
        found = f"; found {self.found}" if self.found else ""
        return f"{place}: {self.wrong}{found}; right would be {self.right}"


class StudyError(Exception):
    """All faults found in a study, in one go."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = sorted(faults, key=lambda f: (f.file, f.row or 0, f.column))
        super().__init__("\n".join(str(fault) for fault in self.faults))


def close_match(word, known) -> str:
    """A hint ' (did you mean …?)' for an unknown word, or nothing."""
    near = get_close_matches(str(word), [str(k) for k in known], n=1, cutoff=0.6)
    return f" (did you mean {near[0]!r}?)" if near else ""
