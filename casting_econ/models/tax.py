"""Contributions and income tax of a self-employed year, by band tables; always an estimate."""

import datetime as dt
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .checks import checked


@dataclass(frozen=True, kw_only=True)
class TaxPart:
    """One contribution or tax, taken of a share of the year's profit less an allowance."""

    name: str
    kind: str  # "contribution" or "tax"
    bands: tuple[tuple[float, float], ...]  # from so much on, this share of what lies above [money, -]
    share: float = 1.0  # of profit that counts [-]
    floor: float = 0.0  # counted profit below which nothing is due [money/year]
    least: float = 0.0  # due from the floor on [money/year]
    allowance: float = 0.0  # counted profit that is free [money/year]
    tapers_from: float = np.inf  # counted profit from which the allowance shrinks [money/year]
    taper: float = 0.0  # of what lies above it [-]
    credit: float = 0.0  # off the tax, never below nothing [money/year]
    deductible: float = 0.0  # share of this part taken off the profit that taxes after it count [-]
    source: str = ""
    status: str = ""
    link: str = ""  # page where it was read

    def __post_init__(self) -> None:
        starts, rates = zip(*self.bands, strict=True) if self.bands else ((), ())
        rising = all(low < high for low, high in pairwise(starts))
        if not self.bands or starts[0] < 0 or not rising or not all(0 <= rate < 1 for rate in rates):
            raise ValueError(f"bands of {self.name!r} must rise from zero or more, with shares in [0, 1); got {self.bands!r}")
        if self.kind not in ("contribution", "tax"):
            raise ValueError(f"kind of {self.name!r} must be 'contribution' or 'tax'; got {self.kind!r}")


@dataclass(frozen=True, kw_only=True)
class TaxScheme:
    """What one place takes of a self-employed profit in one year."""

    name: str  # its id in the table
    place: str
    year: str
    currency: str
    parts: tuple[TaxPart, ...]  # in the order they are worked out
    note: str = ""  # what the table leaves out
    valid_from: dt.date | None = None  # first day of its tax year
    paid_on: str | None = None  # month and day after its end by which it is due, such as '01-31'


def by_bands(base, bands):
    """Amount due on a base, zero or more, by bands: continuous and never falling. [money/year]

    `bands` are pairs: from so much on [money/year], this share of what lies above [-], up to the next. ValueError for another
    base.

    >>> round(float(by_bands(35_000, [(12_570, 0.06), (50_270, 0.02)])), 2)
    1345.8
    """
    base = np.asarray(checked("base", base, low=0.0))
    ends = [start for start, _ in bands[1:]] + [np.inf]
    parts = (rate * np.clip(base - start, 0.0, end - start) for (start, rate), end in zip(bands, ends, strict=True))
    return sum(parts, np.zeros(base.shape))[()]


def charges(profit, scheme):
    """Each contribution and tax on a year's profit, by the name of the part. [money/year]

    `profit` is before contributions, tax and own pay [money/year]; a loss owes nothing; ValueError if it is not finite.

    An estimate for someone with no other income: a question for a qualified adviser. No rounding to whole units, as some
    returns ask for. Each amount is continuous and never falls as profit rises, but for a jump where a floor is stated.

    >>> class_4 = TaxPart(name="class 4", kind="contribution", bands=((12_570, 0.06), (50_270, 0.02)))
    >>> scheme = TaxScheme(name="example", place="example", year="2024/25", currency="GBP", parts=(class_4,))
    >>> round(float(charges(51_000, scheme)["class 4"]), 2)
    2276.6
    """
    earned = np.maximum(checked("profit", profit), 0.0)
    deducted, found = 0.0, {}
    for part in scheme.parts:
        own = (earned - deducted if part.kind == "tax" else earned) * part.share
        allowance = np.maximum(part.allowance - part.taper * np.maximum(own - part.tapers_from, 0.0), 0.0)
        due = by_bands(np.maximum(own - allowance, 0.0), part.bands)
        due = np.maximum(np.maximum(due - part.credit, 0.0), part.least)
        due = np.where((own > 0.0) & (own >= part.floor), due, 0.0)[()]
        deducted = deducted + part.deductible * due
        found[part.name] = due
    return found


def take_home(profit, scheme, *, kinds=("contribution", "tax")):
    """What is left of a year's profit after its `charges` of some kinds, an estimate; a loss comes back as it is. [money/year]

    `kinds` is 'contribution', 'tax' or both; ValueError for a profit that is not finite.

    >>> tax = TaxPart(name="tax", kind="tax", bands=((0, 0.2),), allowance=12_570)
    >>> scheme = TaxScheme(name="example", place="example", year="2025/26", currency="GBP", parts=(tax,))
    >>> float(take_home(22_570, scheme))
    20570.0
    """
    due = charges(profit, scheme)
    taken = sum((due[part.name] for part in scheme.parts if part.kind in kinds), 0.0)
    return checked("profit", profit) - taken
