"""Change one thing in a workshop: scrap, the longest wait, prices, demand."""

from dataclasses import replace

import numpy as np

from .checks import checked
from .labour import practised_minutes
from .workshop import Workshop
from .yields import at_scrap_rate

__all__ = ["longest_wait", "practised_between", "with_levers"]


def longest_wait(a: Workshop, product=None):
    """The wait that studies over cure time change: the product's `cure_step`, or the step that waits longest.

    Parameters
    ----------
    a : Workshop
        The workshop.
    product : str, optional
        Name of the product; None takes the first.

    Returns
    -------
    step : str or None
        Name of the step, or None when nothing waits.
    hours : float
        Its wait, the mean over draws if it is an array. [hour]
    """
    chosen = next(p for p in a.products if p.name == _known(a, product))
    named = [s for s in chosen.steps if s.name == chosen.cure_step]
    step = max(named or chosen.steps, key=lambda s: np.mean(s.wait_hours))
    hours = float(np.mean(step.wait_hours))
    return (step.name, hours) if hours > 0 else (None, 0.0)


def _known(a, product):
    """The product's name, the first if none is given; ValueError for one there is not."""
    names = [p.name for p in a.products]
    if product is not None and product not in names:
        raise ValueError(f"product must be one of {', '.join(names)}; got {product!r}")
    return product or names[0]


def with_levers(a: Workshop, *, product=None, scrap=None, cure_hours=None, price=None, demand=None) -> Workshop:
    """The same workshop with some levers moved.

    Parameters
    ----------
    a : Workshop
        The workshop; left as it is.
    product : str, optional
        Product that scrap and cure belong to; None takes the first.
    scrap : float or array_like, optional
        Overall share of casts scrapped, in [0, 1). [-]
    cure_hours : float or array_like, optional
        Length of the product's longest wait. [hour]
    price, demand : float or array_like, optional
        Factors on every price and on every channel's orders. [-]

    Returns
    -------
    Workshop

    Raises
    ------
    ValueError
        If a lever is outside its range or has nothing to act on.
    """
    name = _known(a, product)
    products = []
    for p in a.products:
        steps = p.steps
        if p.name == name and scrap is not None:
            shares = at_scrap_rate([s.pass_share for s in steps], scrap)
            steps = tuple(replace(s, pass_share=y) for s, y in zip(steps, shares, strict=True))
        if p.name == name and cure_hours is not None:
            waiting, _ = longest_wait(a, name)
            if waiting is None:
                raise ValueError(f"cure hours need a step that waits; {name!r} has none")
            cure_hours = checked("cure hours", cure_hours, low=0.0)
            steps = tuple(replace(s, wait_hours=cure_hours) if s.name == waiting else s for s in steps)
        products.append(replace(p, steps=steps))
    channels = a.channels
    if price is not None:
        price = checked("price factor", price, above=0.0)
        channels = tuple(
            replace(c, price=c.price * price, reference_price=c.price if c.reference_price is None else c.reference_price)
            for c in channels
        )
    if demand is not None:
        demand = checked("demand factor", demand, low=0.0)
        channels = tuple(replace(c, orders_per_year=c.orders_per_year * demand) for c in channels)
    return replace(a, products=tuple(products), channels=channels)


def practised_between(product, done, casts):
    """A product whose steps take the minutes they take on average over some of its casts, instead of learning over a year.

    Parameters
    ----------
    product : Product
        With steps that learn, or none.
    done : float or array_like
        Casts made since the start, beside the pieces made before. [cast]
    casts : float or array_like
        Casts that follow, above zero. [cast]

    Returns
    -------
    Product
    """
    steps, entering = [], 1.0
    for step in product.steps:
        if step.first_minutes is not None:
            before = product.made_before + done * entering
            minutes = practised_minutes(step.minutes, step.first_minutes, step.learning_rate, before, casts * entering)
            step = replace(step, minutes=minutes, first_minutes=None)
        steps.append(step)
        entering = entering * step.pass_share
    return replace(product, steps=tuple(steps))
