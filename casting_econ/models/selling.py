"""What an order brings in each channel, and the hours it takes."""

import numpy as np

from .checks import checked, checked_share

__all__ = ["order_money", "orders_at_price"]


def orders_at_price(orders_per_year, price, reference_price=None, elasticity=0.0):
    """Orders a year at a price, by constant elasticity.

    Parameters
    ----------
    orders_per_year : float or array_like
        Orders expected at the reference price. [order/year]
    price : float or array_like
        Price asked. [money/order]
    reference_price : float or array_like, optional
        Price the orders were counted or guessed at; None means the price itself. [money/order]
    elasticity : float or array_like, optional
        Zero or more; 1.5 means one per cent dearer loses about 1.5 per cent of orders. [-]

    Returns
    -------
    float or ndarray
        orders x (price / reference) ** -elasticity. [order/year]

    Raises
    ------
    ValueError
        If an input is outside its range.

    Examples
    --------
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


def order_money(
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
    """What one order brings and costs, kind by kind.

    Parameters
    ----------
    price : float or array_like
        Price of the order without postage. [money/order]
    postage_charged, postage_paid, packaging, fee_fixed : float or array_like, optional
        [money/order]
    fee_share : float or array_like, optional
        Share taken of the price, and of postage charged too unless `fee_on_postage` is false. [-]
    fee_on_postage : bool, optional
        Base of the fee share.
    refund_share : float or array_like, optional
        Share of orders paid back, postage both ways lost with them. [-]

    Returns
    -------
    dict of str to float or ndarray
        `revenue`, `fees`, `postage`, `packaging`, `refunds` and `net`, the first less the others. [money/order]

    Raises
    ------
    ValueError
        If an input is outside its range.

    Notes
    -----
    A refunded piece is taken as lost and not replaced.

    Examples
    --------
    >>> order = order_money(96.0, postage_charged=5.9, fee_share=0.135, fee_fixed=0.48, postage_paid=6.3)
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
