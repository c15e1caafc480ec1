"""The wait of an order's loads as the curing page takes it."""

import numpy as np

from ..models.yields import surviving_share
from ..pages.curing import LoadWait, load_waits


def first_load_wait(planner) -> LoadWait:
    """The first wait of a load of a planner's product, with what else goes on until its moulds are empty."""
    name, step = list(planner.entry.steps.items())[planner.first_wait]
    product = planner.point_product
    entering = surviving_share([step.pass_share for step in product.steps])
    loads = [s.load_size or float(np.mean(planner.load_sizes)) * share for s, share in zip(product.steps, entering, strict=True)]
    minutes = [
        float(own[0] + product.turn_minutes(step) / size)
        for own, step, size in zip(planner.point.minutes, product.steps, loads, strict=True)
    ]
    stations = {s.name: int(s.count) for s in planner.point_inputs.stations}
    found = [w for w in load_waits(product, minutes, stations, product.mould is not None) if w.step == name]
    hours = float(planner.point.wait[planner.first_wait][0])
    nothing = LoadWait(
        product=planner.product, step=name, resource=step.wait_in or name, wait_hours=hours, turnaround_hours=1 / 60, count=1
    )
    return next((w for w in found if w.turnaround_hours > 0), nothing)
