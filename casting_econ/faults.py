"""Faults in a study: what is wrong, where, and what would be right."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from difflib import SequenceMatcher, get_close_matches
from functools import lru_cache
from itertools import islice
from typing import Any

MOST_NAMES = 100  # that a hint is looked for among, as each costs time
MOST_LISTED = 20  # that a fault lists
_NEAR = 0.6  # share of letters in common from which two words are near


@dataclass(frozen=True)
class Fault:
    """One fault, printed as `file:row:column: what is wrong; found …; right would be …`."""

    file: str
    wrong: str
    right: str
    found: str = field(default="", kw_only=True)
    row: int | None = field(default=None, kw_only=True)  # line in a text file, counted from 1
    column: str = field(default="", kw_only=True)  # column of a log, or dotted key of the study file

    def __str__(self) -> str:
        place = ":".join(str(part) for part in (self.file, self.row, self.column) if part not in (None, ""))
        found = f"; found {self.found}" if self.found else ""
        return f"{place}: {self.wrong}{found}; right would be {self.right}"


class Question(Fault):
    """What a study leaves open and nothing may guess; `right` is the line of the study file that answers it."""


def fault_of(error: Exception | str, **place: Any) -> Fault:
    """A fault from 'what is wrong -> what would be right'; a question where it begins with that word."""
    wrong, _, right = str(error).partition(" -> ")
    return (Question if wrong.startswith("question") else Fault)(wrong=wrong, right=right, **place)


class StudyError(Exception):
    """All faults found in a study, in one go."""

    def __init__(self, faults: list[Fault], reading: Any = None) -> None:
        self.reading = reading  # how the records were read, as far as they could be
        self.faults = sorted(faults, key=lambda f: (f.file, f.row or 0, f.column))
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows instead of the way through the code."""
        return ["This study cannot be worked out yet:", *(f"- {fault}" for fault in self.faults)]


def refusal(file: str, wrong: str, right: str, **where: Any) -> StudyError:
    """A single fault, to be raised; arguments as of `Fault`."""
    return StudyError([Fault(file, wrong, right, **where)])


def likeness(word: str, other: str) -> float:
    """How alike two names are: by their letters, and by words that are the same but for their endings; 0 for what is not near. [-]

    >>> [likeness(word, "demould") > 0.5 for word in ("demoulded", "Demoulding", "deburr")]
    [True, True, False]
    """
    ours, theirs, letters = _stems(word), _stems(other), SequenceMatcher(None, other.casefold(), word.casefold()).ratio()
    shared = len(ours & theirs) / max(len(ours | theirs), 1)
    return (shared + letters) / 2 if shared or letters >= _NEAR else 0.0


@lru_cache(maxsize=4096)
def _stems(text):
    """Words of a name without their usual endings."""
    found = set()
    for word in re.findall(r"[^\W\d_]{3,}", text.casefold()):
        stem = re.sub(r"(ing|ed|e?s|e)$", "", word)
        found.add(re.sub(r"(.)\1$|y$", lambda end: end[1] or "i", stem if len(stem) > 2 else word))
    return frozenset(found - {"and", "the", "for", "per"})


@contextmanager
def refusals_told(file: object, wrong: str, right: str) -> Iterator[None]:
    """StudyError, with its reason, for what the system refuses within; arguments as of `Fault`."""
    try:
        yield
    except OSError as error:
        raise refusal(str(file), wrong, right, found=error.strerror or str(error)) from None


def close_match(word, known, most: int | None = MOST_NAMES) -> str:
    """A hint ' (did you mean …?)' for an unknown word, or nothing; None looks among any number of names."""
    word, names = str(word), [str(name) for name in islice(known, most)]
    near = [name for name in names if _stems(word) & _stems(name)] + get_close_matches(word, names, n=3, cutoff=_NEAR)
    return f" (did you mean {max(near, key=lambda name: likeness(word, name))!r}?)" if near else ""


def cut(text: str, most: int = 80) -> str:
    """A text of so many characters at most, with dots where it goes on."""
    return text if len(text) <= most else f"{text[: most - 3]}..."


def some_of(names, most: int) -> str:
    """The first of some names, and how many more there are.

    >>> some_of(["pour", "sand", "paint"], 2)
    'pour, sand and 1 more'
    """
    more = len(names) - most
    return ", ".join(islice(names, most)) + (f" and {more} more" if more > 0 else "")


def one_of(word, known) -> str:
    """What an unknown word could be: the known ones, the first 20 of many, with a hint.

    >>> one_of("pots", ["pot", "vat"])
    "one of pot, vat (did you mean 'pot'?)"
    """
    return f"one of {some_of(known, MOST_LISTED)}{close_match(word, known)}"


def counted(number: int, one: str, many: str = "") -> str:
    """'1 row', '2 rows'; figures stand without marks between thousands, which two countries read differently."""
    return f"{number} {one if number == 1 else many or one + 's'}"
