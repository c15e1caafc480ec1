"""Checks, and a division, that model functions share."""

import numpy as np


def checked(name, value, *, low=-np.inf, high=np.inf, above=None):
    """`value` as float (a scalar) or float array, refusing what is not finite or out of range.

    `low` and `high` are inclusive limits, `above` an exclusive lower one, in the unit of the value; the ValueError gives the
    `name`, the requirement, what arrived and where.
    """
    array = np.asarray(value, dtype=float)
    if array.size == 0:
        raise ValueError(f"{name} must hold at least one number; got an empty array")
    least, most = (array.item(),) * 2 if array.ndim == 0 else (array.min(), array.max())
    # written so that not-a-number fails every comparison
    fits = least >= low and most <= high and (above is None or least > above)
    if not (fits and np.isfinite(least) and np.isfinite(most)):
        bad = ~((array >= low) & (array <= high) & np.isfinite(array))
        if above is not None:
            bad |= ~(array > above)
        index = int(np.flatnonzero(bad)[0])
        where = "" if array.ndim == 0 else f" at index {index}"
        raise ValueError(f"{name} must be {_range_in_words(low, high, above)}; got {array.flat[index]!s}{where}")
    return array.item() if array.ndim == 0 else array


def checked_share(name, value, *, above=None, high=1.0):
    """A share of a whole, in [0, 1] unless narrowed, else ValueError. [-]"""
    return checked(name, value, low=0.0, high=high, above=above)


def checked_whole(name, value, *, low=0):
    """One whole number of at least `low` as int; ValueError for arrays, parts and what is not finite."""
    if np.ndim(value) != 0:
        raise ValueError(f"{name} must be one whole number; got an array of shape {np.shape(value)}")
    number = checked(name, value, low=low)
    if number != int(number):
        raise ValueError(f"{name} must be a whole number; got {value!s}")
    return int(number)


def share_of(part, whole, otherwise):
    """Part over whole, and something else where the whole is zero."""
    if isinstance(whole, float):  # as at a point, or where none is begun: in a tenth of the time
        return part / whole if whole > 0 else otherwise
    if isinstance(part, float) and part == 0.0 and np.ndim(otherwise) == 0 and otherwise == 0.0:
        return 0.0
    there = np.greater(whole, 0)
    if np.count_nonzero(there) == there.size:
        return np.divide(part, whole)[()]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(there, np.divide(part, whole), otherwise)[()]


def _range_in_words(low, high, above):
    lower = f"above {above:g}" if above is not None else (f"at least {low:g}" if np.isfinite(low) else "")
    upper = f"at most {high:g}" if np.isfinite(high) else ""
    return " and ".join(part for part in (lower, upper) if part) or "finite"
