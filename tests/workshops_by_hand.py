"""A workshop that is worked out by hand, and one with two products at any values."""

from dataclasses import fields, replace

import numpy as np
from hypothesis import strategies as st

from casting_econ.models import (
    Channel,
    Equipment,
    Material,
    Mould,
    Overhead,
    Product,
    Rack,
    Station,
    Step,
    Workshop,
)

WEEKDAYS = tuple((24 * day + 9, 24 * day + 17) for day in range(5))

# the workshop that is worked out by hand below: 0.4 good, 2.5 casts a good piece
KNOB = Product(
    name="knob",
    casts_per_load=10,
    unsold_share=0.2,
    steps=(
        Step(
            name="pour",
            minutes=1.0,
            load_minutes=20.0,
            pass_share=0.8,
            wait_hours=18.0,
            wait_in="pot",
            materials=(Material(name="resin", cost=0.9, loss_share=0.1),),
        ),
        Step(
            name="sand",
            minutes=4.0,
            pass_share=0.5,
            rework_share=0.5,
            rework_minutes=2.0,
            materials=(Material(name="paper", cost=0.2, kind="consumable"),),
        ),
        Step(name="fit", minutes=2.0, materials=(Material(name="insert", cost=0.5, recovered_share=1.0),)),
    ),
    parts=(Material(name="box", cost=0.25),),
    mould=Mould(material_cost=60.0, minutes=100.0, life_casts=20.0),
)

SHOP = Channel(
    name="shop",
    product="knob",
    orders_per_year=100.0,
    pieces_per_order=2.0,
    price=60.0,
    postage_charged=5.0,
    fee_share=0.1,
    fee_fixed=0.5,
    postage_paid=6.0,
    packaging=1.0,
    refund_share=0.04,
    minutes_per_order=30.0,
    days_per_year=10.0,
    hours_per_day=6.0,
    fee_per_day=20.0,
)

BY_HAND = Workshop(
    weeks_per_year=50.0,
    hours_per_week=30.0,
    fixed_hours_per_week=4.0,
    windows=WEEKDAYS,
    target_per_hour=12.0,
    living_per_year=22_500.0,
    set_aside_share=0.25,
    products=(KNOB,),
    channels=(SHOP,),
    overheads=(Overhead(name="rent", per_year=500.0),),
    equipment=(Equipment(name="pot", price=1200.0, life_years=5.0, resale=200.0),),
    stations=(Station(name="pot"),),
)


def with_product(a=BY_HAND, **changes):
    """The workshop with its one product changed."""
    return replace(a, products=(replace(a.products[0], **changes),))


def with_channel(a=BY_HAND, **changes):
    """The workshop with its one channel changed."""
    return replace(a, channels=(replace(a.channels[0], **changes),))


def with_step(index, product=KNOB, **changes):
    """The product with one step changed."""
    steps = list(product.steps)
    steps[index] = replace(steps[index], **changes)
    return replace(product, steps=tuple(steps))


# a workshop with two products that share a kiln, a rack, learning, rework, ruined loads and three channels
RANGES = {
    "weeks": (40, 50), "hours": (10, 60), "fixed": (0.5, 5), "target": (5, 25), "interest": (0, 0.1), "set_aside": (0, 0.4),
    "pass_1": (0.5, 1), "pass_2": (0.5, 1), "pass_3": (0.5, 1), "minutes": (0.1, 5), "load_minutes": (10, 60),
    "rework": (0, 0.5), "rework_minutes": (0, 5), "cure": (0.5, 60), "rest": (0, 24), "dry": (1, 300), "resin": (0.1, 5),
    "loss": (0, 0.3), "recovered": (0, 1), "paper": (0, 1), "firing": (0, 20), "mould_cost": (5, 100), "mould_minutes": (0, 200),
    "life": (5, 100), "shape": (1, 4), "replace_at": (5, 100), "unsold": (0, 0.3), "before": (0, 500), "first": (1, 20),
    "rate": (0.7, 1), "orders_1": (1, 300), "orders_2": (1, 100), "orders_3": (1, 300), "pieces_1": (1, 6), "pieces_2": (1, 30),
    "price_1": (5, 100), "price_2": (5, 300), "price_3": (5, 60), "charged": (0, 8), "fee": (0, 0.4), "fee_fixed": (0, 1),
    "paid": (0, 10), "packing": (0, 3), "refund": (0, 0.2), "order_minutes": (0, 60), "days": (0, 10), "day_hours": (4, 12),
    "day_fee": (0, 80), "overhead": (0, 3000), "tool": (0, 3000), "resale": (0, 100), "tool_life": (1, 10), "places": (20, 2000),
    "elasticity": (0, 2), "reference": (5, 100),
}  # fmt: skip

VALUES = st.fixed_dictionaries({key: st.floats(*limits) for key, limits in RANGES.items()})

SEEDED = [{key: rng.uniform(*limits) for key, limits in RANGES.items()} for rng in map(np.random.default_rng, range(12))]


def two_products(v, kilns=1, ruined=0.0):
    """Workshop at these values, scalars or arrays."""
    mould = Mould(
        material_cost=v["mould_cost"],
        minutes=v["mould_minutes"],
        life_casts=v["life"],
        life_shape=v["shape"],
        replace_at=v["replace_at"],
        sets=2,
        rest_hours=v["rest"],
    )
    resin = Material(name="resin", cost=v["resin"], loss_share=v["loss"], recovered_share=v["recovered"])
    fuel = Material(name="fuel", cost=v["firing"], per="load", kind="consumable")
    bowl = Product(
        name="bowl",
        casts_per_load=12,
        unsold_share=v["unsold"],
        made_before=v["before"],
        ruined_loads_per_year=ruined,
        mould=mould,
        parts=(Material(name="box", cost=v["packing"]),),
        steps=(
            Step(name="pour", minutes=v["minutes"], materials=(resin,)),
            Step(
                name="fire",
                load_minutes=v["load_minutes"],
                wait_hours=v["cure"],
                wait_in="kiln",
                pass_share=v["pass_1"],
                materials=(fuel,),
            ),
            Step(name="dry", pass_share=v["pass_2"], wait_hours=v["dry"], wait_in="rack"),
            Step(
                name="paint",
                minutes=v["minutes"],
                first_minutes=v["first"],
                learning_rate=v["rate"],
                pass_share=v["pass_3"],
                rework_share=v["rework"],
                rework_minutes=v["rework_minutes"],
                materials=(Material(name="paper", cost=v["paper"], kind="consumable", recovered_share=v["recovered"]),),
            ),
        ),
    )
    tile = Product(
        name="tile",
        casts_per_load=20,
        steps=(
            Step(name="press", minutes=1.5, pass_share=v["pass_2"], materials=(resin,)),
            Step(name="fire", load_minutes=20.0, wait_hours=9.0, wait_in="kiln", pass_share=v["pass_1"], load_size=16.0),
        ),
    )
    selling = {"fee_share": v["fee"], "fee_fixed": v["fee_fixed"], "postage_paid": v["paid"], "refund_share": v["refund"]}
    return Workshop(
        weeks_per_year=v["weeks"],
        hours_per_week=v["hours"],
        fixed_hours_per_week=v["fixed"],
        windows=WEEKDAYS,
        target_per_hour=v["target"],
        living_per_year=20_000.0,
        set_aside_share=v["set_aside"],
        interest=v["interest"],
        products=(bowl, tile),
        channels=(
            Channel(
                name="online",
                product="bowl",
                orders_per_year=v["orders_1"],
                pieces_per_order=v["pieces_1"],
                price=v["price_1"],
                postage_charged=v["charged"],
                packaging=v["packing"],
                minutes_per_order=v["order_minutes"],
                elasticity=v["elasticity"],
                reference_price=v["reference"],
                **selling,
            ),
            Channel(
                name="shops",
                product="bowl",
                orders_per_year=v["orders_2"],
                pieces_per_order=v["pieces_2"],
                price=v["price_2"],
                fee_on_postage=False,
                postage_charged=v["charged"],
                **selling,
            ),
            Channel(
                name="fair",
                product="tile",
                orders_per_year=v["orders_3"],
                pieces_per_order=2,
                price=v["price_3"],
                days_per_year=v["days"],
                hours_per_day=v["day_hours"],
                fee_per_day=v["day_fee"],
            ),
        ),
        overheads=(Overhead(name="rent", per_year=v["overhead"]), Overhead(name="site", per_year=100)),
        equipment=(Equipment(name="tools", price=v["tool"], life_years=v["tool_life"], resale=v["resale"]),),
        stations=(Station(name="kiln", count=kilns),),
        racks=(Rack(name="rack", places=v["places"]),),
    )


def flat(outcome):
    """Every number of an outcome by a path, the parts of the piece cost among them."""
    groups = {
        "totals": outcome.totals,
        "use": outcome.utilisation,
        "use at demand": outcome.utilisation_at_demand,
        "": {"binding": outcome.binding},
    }
    groups |= {f"channel {name}": channel for name, channel in outcome.channels.items()}
    result = {}
    for name, product in outcome.products.items():
        groups[f"product {name}"] = {k: v for k, v in product.items() if k not in ("piece", "cost_by_kind")}
        groups[f"kinds {name}"] = product["cost_by_kind"]
        for step in product["piece"].steps:
            groups[f"step {name} {step.name}"] = {f.name: getattr(step, f.name) for f in fields(step) if f.name != "name"}
    for group, entries in groups.items():
        result |= {f"{group}: {key}": value for key, value in entries.items() if key != "product"}
    return result


def unlearnt(a):
    """The workshop with everything learnt: minutes that do not depend on how much is made."""
    steps = tuple(replace(step, first_minutes=None) for step in a.products[0].steps)
    return replace(a, products=(replace(a.products[0], steps=steps), *a.products[1:]))
