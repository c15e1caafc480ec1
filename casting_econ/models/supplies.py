"""What a job needs of mixes and packs, and what temperature does to a cure."""

import math
from fractions import Fraction

import numpy as np
import scipy

from .checks import checked

_TOLERANCE = 1e-6  # to which HiGHS keeps a condition


def mixed_masses(amount, parts, densities, by):
    """Mass [g] and volume [ml] of each component of a mix, shape (components, ...).

    `amount` is the mix wanted, losses included [ml] by volume, [g] by mass; `parts` is the ratio of the components, each above zero: 2:1
    is (2, 1) [-]; `densities` are those of each component, in the same order [g/ml]; `by` says what ratio and amount count,
    'volume' or 'mass'. ValueError if an input is outside its range or parts and densities do not pair up.

    Volumes are added up as if mixing changed them little, as it does in casting resins and rubbers. A ratio by volume is
    not one by mass unless the densities are equal: follow the data sheet of what is used.

    >>> masses, volumes = mixed_masses(300.0, (2, 1), (1.13, 0.98), by="volume")
    >>> masses.round(2).tolist(), volumes.round(2).tolist()  # 2:1 by volume is 2.31:1 by mass
    ([226.0, 98.0], [200.0, 100.0])
    """
    if by not in ("volume", "mass"):
        raise ValueError(f"a mix is by 'volume' or by 'mass'; got {by!r}")
    amount, parts = np.asarray(checked("amount", amount, low=0.0)), np.atleast_1d(checked("parts", parts, above=0.0))
    shares = np.multiply.outer(parts / parts.sum(), amount)
    densities = np.atleast_1d(checked("densities", densities, above=0.0))
    if parts.ndim != 1 or densities.shape != parts.shape:
        raise ValueError(f"parts and densities must be one of each a component; got {parts.size} and {densities.size}")
    densities = densities.reshape((-1,) + (1,) * amount.ndim)
    return (shares * densities, shares) if by == "volume" else (shares, shares / densities)


def cheapest_packs(needed, sizes, prices):
    """Packs of each kind that hold enough for the least money, and that money. [pack, money]

    `needed` is the amount to cover, zero or more, in any unit; `sizes` what each kind of pack holds, above zero, in the same; `prices`
    those of a pack of each kind, zero or more [money/pack]. ValueError if an input is outside its range or sizes and prices do not pair up.

    An integer programme, solved to the end by HiGHS. Sizes are counted in their greatest common measure, taken of
    their first twelve digits, and the need is rounded up to it, so that the solver's tolerance leaves nothing
    short; where that measure is finer than the tolerance, a result that is short is found anew for two millionths more.

    >>> cheapest_packs(1234.0, (250.0, 1000.0, 5000.0), (9.0, 24.0, 99.0))
    ((1, 1, 0), 33.0)
    """
    sizes, prices = np.atleast_1d(checked("sizes", sizes, above=0.0)), np.atleast_1d(checked("prices", prices, low=0.0))
    if sizes.ndim != 1 or sizes.shape != prices.shape:
        raise ValueError(f"sizes and prices must be one of each a kind of pack; got {sizes.size} and {prices.size}")
    need, *held = (Fraction(f"{x:.12g}") for x in (checked("needed", needed, low=0.0), *sizes))
    if not need:
        return (0,) * sizes.size, 0.0
    most_parts = math.lcm(*(size.denominator for size in held))
    measure = Fraction(math.gcd(*(int(size * most_parts) for size in held)), most_parts)
    units = math.ceil(need / measure)
    row = np.array([float(size / measure / units) for size in held])
    # half a unit less than needed admits no other whole number of units, and is more than the tolerance up to 500,000 units
    for least in (1.0 - 0.5 / units, 1.0 + 2.0 * _TOLERANCE):
        found = scipy.optimize.milp(
            prices,
            integrality=1,
            bounds=scipy.optimize.Bounds(0.0, np.ceil((1.0 + 2.0 * _TOLERANCE) / row)),
            constraints=scipy.optimize.LinearConstraint(row, least, np.inf),
            options={"mip_rel_gap": 0.0},
        )
        counts = tuple(round(count) for count in found.x)
        if sum(count * size for count, size in zip(counts, held, strict=True)) >= need:
            break
    return counts, float(np.dot(counts, prices))


def hours_at_temperature(hours, stated_at, temperature, factor=2.0):
    """Hours a cure takes at another temperature than its stated one: hours x factor ** ((stated - workshop) / 10). [h]

    `hours` hold at the temperature `stated_at`, zero or more [h]; `temperature` is that of the workshop [degC]; `factor`, how
    many times quicker for each 10 degrees warmer, is one or more [-]. ValueError outside these ranges.

    A rule of thumb for some ten degrees either way: supplier notes say 1.5 to 2.5. Below the least
    temperature of its data sheet a mix may never cure, and warmer makes big pours hotter: the data sheet comes first.

    >>> hours_at_temperature(24.0, stated_at=23.0, temperature=13.0)
    48.0
    """
    cooler = checked("stated temperature", stated_at, low=-273.15) - checked("temperature", temperature, low=-273.15)
    return checked("hours", hours, low=0.0) * checked("factor", factor, low=1.0) ** (cooler / 10.0)
