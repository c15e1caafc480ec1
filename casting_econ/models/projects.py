"""What one order paid: causes of a difference that add up, and a stated wage over pieces."""

from collections.abc import Callable, Mapping
from decimal import Decimal
from itertools import combinations
from math import factorial

from .checks import checked


def piece_by_division(outlay, hours, wage, pieces):
    """(Outlay + hours x wage) over pieces, as makers often count. [money/piece]

    `outlay` is what was paid [money], `wage` what an hour should bring [money/hour], over `pieces` above zero; ValueError else.

    155 hours at 7.25 and 850 of outlay over 280 pieces, and 160 hours (common practice, no source):

    >>> round(piece_by_division(850, 155, 7.25, 280), 2), round(piece_by_division(850, 160, 7.25, 280), 2)
    (7.05, 7.18)
    """
    whole = checked("outlay", outlay, low=0.0) + checked("hours", hours, low=0.0) * checked("wage", wage, low=0.0)
    return float(whole / checked("pieces", pieces, above=0.0))


def bridge(work: Callable[[Mapping[str, object]], float], planned: Mapping[str, object], actual: Mapping[str, object]) -> dict:
    """Part a difference by cause, each cause averaged over all orders in which the causes could have been changed.

    `work` takes one value a cause and returns what they bring; `planned` and `actual` are values by the same causes, else ValueError.
    The parts are in the unit of `work`, and sum to work(actual) - work(planned). Shapley, in *Contributions to the Theory of Games
    II*, 1953 (from memory): the only shares that treat causes alike, give nothing to a cause without effect, and add up.

    Two hours at 3 become five at 7: of the 29 more, 15 for the hours and 14 for the rate (own arithmetic):

    >>> bridge(lambda v: v["hours"] * v["rate"], {"hours": 2.0, "rate": 3.0}, {"hours": 5.0, "rate": 7.0})
    {'hours': 15.0, 'rate': 14.0}
    """
    causes = list(planned)
    if set(causes) != set(actual):
        raise ValueError(f"causes must be the same in both; got {sorted(set(causes) ^ set(actual))}")
    count = len(causes)
    value = {
        frozenset(changed): float(work({cause: (actual if cause in changed else planned)[cause] for cause in causes}))
        for size in range(count + 1)
        for changed in combinations(causes, size)
    }
    weight = [factorial(size) * factorial(count - size - 1) / factorial(count) for size in range(count)]
    return {
        cause: sum(weight[len(before)] * (value[before | {cause}] - value[before]) for before in value if cause not in before)
        for cause in causes
    }


def in_digits(parts: Mapping[str, float], total: float, digits: int) -> dict[str, float]:
    """Parts in so many digits after the point that add up to the total in as many: the largest part takes what rounding leaves.

    >>> in_digits({"a": 1.004, "b": 2.004, "c": -0.5}, 2.508, 2)
    {'a': 1.0, 'b': 2.01, 'c': -0.5}
    """
    unit = Decimal(1).scaleb(-digits)
    rounded = {name: Decimal(repr(float(part))).quantize(unit) for name, part in parts.items()}
    left = Decimal(repr(float(total))).quantize(unit) - sum(rounded.values())
    if rounded:
        rounded[max(parts, key=lambda name: abs(parts[name]))] += left
    return {name: float(part) + 0.0 for name, part in rounded.items()}
