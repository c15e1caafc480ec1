"""Change one thing in a workshop, by its place: scrap, the longest wait, prices, demand."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from .checks import checked
from .labour import practised_minutes
from .workshop import Workshop
from .yields import at_scrap_rate


def moved_at(a, place: str, move: Callable):
    """The same workshop, or group of its numbers, with what stands at a place moved; nothing where the place is empty.

    `place` is dotted names from there on, * for every one, such as 'products.knob.steps.*.minutes'; `move` takes what stands
    there and gives what shall.

    >>> from casting_econ.models import Product, Step
    >>> knob = Product(name="knob", casts_per_load=10, steps=(Step(name="pour", minutes=6.0), Step(name="sand", minutes=3.0)))
    >>> [step.minutes for step in moved_at(knob, "steps.sand.minutes", lambda minutes: minutes / 2).steps]
    [6.0, 1.5]
    """
    if not place or a is None:
        return a if a is None else move(a)
    name, _, rest = place.partition(".")
    if isinstance(a, tuple):
        return tuple(moved_at(one, rest, move) if name in ("*", one.name) else one for one in a)
    return replace(a, **{name: moved_at(getattr(a, name), rest, move)})


def longest_wait(a: Workshop, product=None):
    """The wait that studies over cure time change: the product's `cure_step`, or the step that waits longest.

    Its name, None when nothing waits, and its hours, the mean over draws [hour]. `product` is a name; None takes the first.
    """
    chosen = a.product(product)
    named = [s for s in chosen.steps if s.name == chosen.cure_step]
    step = max(named or chosen.steps, key=lambda s: np.mean(s.wait_hours))
    hours = float(np.mean(step.wait_hours))
    return (step.name, hours) if hours > 0 else (None, 0.0)


def with_levers(a: Workshop, *, product=None, scrap=None, cure_hours=None, price=None, demand=None) -> Workshop:
    """The same workshop with some levers moved.

    `scrap` is the overall share of casts scrapped, in [0, 1) [-], `cure_hours` the length of the longest wait [hour], and `price` a factor
    on every price [-], all of one product, the first if none is named; `demand` is a factor on every channel's orders [-]. Each may
    be an array. ValueError if a lever is outside its range or has nothing to act on.
    """
    name = a.product(product).name
    own = f"products.{name}.steps"
    if scrap is not None:

        def scrapped(steps):
            shares = at_scrap_rate([s.pass_share for s in steps], scrap)
            return tuple(replace(s, pass_share=share) for s, share in zip(steps, shares, strict=True))

        a = moved_at(a, own, scrapped)
    if cure_hours is not None:
        waiting, _ = longest_wait(a, name)
        if waiting is None:
            raise ValueError(f"cure hours need a step that waits; {name!r} has none")
        cure_hours = checked("cure hours", cure_hours, low=0.0)
        a = moved_at(a, f"{own}.{waiting}.wait_hours", lambda _: cure_hours)
    if price is not None:
        price = checked("price factor", price, above=0.0)

        def priced(c):
            if c.product != name:
                return c
            return replace(c, price=c.price * price, reference_price=c.price if c.reference_price is None else c.reference_price)

        a = moved_at(a, "channels.*", priced)
    if demand is not None:
        demand = checked("demand factor", demand, low=0.0)
        a = moved_at(a, "channels.*", lambda c: replace(c, orders_per_year=c.orders_per_year * demand))
    return a


def practised_between(product, done, casts):
    """A product whose steps take the minutes they take on average over some of its casts, instead of learning over a year.

    `done` casts were made since the start, beside the pieces made before; `casts` follow, above zero or ValueError. [cast]
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
