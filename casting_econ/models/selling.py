"""What an order brings in each channel, and the hours it takes."""

import numpy as np

from .checks import checked, checked_share


def orders_at_price(orders_per_year, price, reference_price=None, elasticity=0.0):
    """Orders a year at a price, by constant elasticity: orders x (price / reference) ** -elasticity. [order/year]

    The orders are those expected at the reference price, at which they were counted or guessed; None means the price itself
    [money/order]. `elasticity` is zero or more: 1.5 means one per cent dearer loses about 1.5 per cent of orders [-]. ValueError
    outside these ranges.

    >>> orders_at_price(100, price=20.0, reference_price=10.0, elasticity=1.0)
    50.0
    """
    orders = checked("orders per year", orders_per_year, low=0.0)
    if reference_price is None:
        return orders
    power = checked("elasticity", elasticity, low=0.0)
    asked, reference = checked("price", price, low=0.0), checked("reference price", reference_price, low=0.0)
    if np.ndim(power) == 0 and power == 0.0:
        return orders
    ratio = checked("price", asked, above=0.0) / checked("reference price", reference, above=0.0)
    return orders * ratio**-power


def order_contribution(
    price,
    *,
    postage_charged=0.0,
    fee_share=0.0,
    fee_on_postage=True,
    fee_fixed=0.0,
    postage_paid=0.0,
    packaging=0.0,
    refund_share=0.0,
):
    """What one order brings and costs: `revenue`, `fees`, `postage`, `packaging`, `refunds`, and `net`, the first less the others. [money/order]

    `price` is without postage, and it, postage, packaging and the fixed fee are by the order [money/order]; `fee_share` is taken of the
    price, and of postage charged too unless `fee_on_postage` is false [-]; `refund_share` of the orders is paid back, postage both ways
    lost with them, the piece taken as lost and not replaced [-]. ValueError if an input is outside its range.

    >>> order = order_contribution(96.0, postage_charged=5.9, fee_share=0.135, fee_fixed=0.48, postage_paid=6.3)
    >>> round(order["fees"], 4)
    14.2365
    """
    price, charged = checked("price", price, low=0.0), checked("postage charged", postage_charged, low=0.0)
    paid, packing = checked("postage paid", postage_paid, low=0.0), checked("packaging", packaging, low=0.0)
    share, refund = checked_share("fee share", fee_share), checked_share("refund share", refund_share)
    revenue = price + charged
    fees = share * (revenue if fee_on_postage else price) + checked("fixed fee", fee_fixed, low=0.0)
    refunds = refund * (revenue + paid)
    return {
        "revenue": revenue,
        "fees": fees,
        "postage": paid,
        "packaging": packing,
        "refunds": refunds,
        "net": revenue - fees - paid - packing - refunds,
    }


def newsvendor_quantity(demand, chances, short_cost, over_cost):
    """How much to bring to a day of unsure demand [piece], and what doing so loses on average by too few and too many [money].

    `demand`, shape (n,), are rising values that demand may take, the only ones considered as stock [piece], with `chances` that add up
    to one [-]. A piece wanted and not there loses `short_cost`, one brought and not sold `over_cost`, above zero [money/piece]. It is
    the smallest value that is enough with a chance of short / (short + over). ValueError outside these ranges. Snyder & Shen,
    *Fundamentals of Supply Chain Theory*, chapter 4 (critical ratio).

    >>> newsvendor_quantity([0, 1, 2, 3], [0.1, 0.3, 0.4, 0.2], short_cost=5.0, over_cost=2.5)
    (2.0, 2.25)
    """
    demand, chances = np.asarray(checked("demand", demand, low=0.0)), np.asarray(checked_share("chances", chances))
    short, over = checked("short cost", short_cost, above=0.0), checked("over cost", over_cost, above=0.0)
    if demand.ndim != 1 or demand.shape != chances.shape or np.any(np.diff(demand) <= 0):
        raise ValueError(f"demand must be rising values, each with its chance; got shapes {demand.shape} and {chances.shape}")
    if not np.isclose(chances.sum(), 1.0, rtol=0.0, atol=1e-9):
        raise ValueError(f"chances must add up to 1; got {chances.sum():g}")
    # a hair less, so that a ratio that is reached exactly counts as reached
    stock = demand[min(int(np.searchsorted(np.cumsum(chances), short / (short + over) - 1e-12)), demand.size - 1)]
    lost = short * np.maximum(demand - stock, 0.0) + over * np.maximum(stock - demand, 0.0)
    return float(stock), float(chances @ lost)
