"""What an order leaves after its fees, against worked examples of card sales."""

import pytest
from printed import printed

from casting_econ.models import order_contribution

LUMEN = "Lumen Learning, Financial Accounting, Record Sales and Purchases by Credit Card, net method"
CARD = "Calculate Credit Card Fee, worked example of 2.9 % and .30 (cal18.calculator.city)"


@pytest.mark.parametrize(
    ("price", "share", "fixed", "fees", "left", "source"),
    [(1_000, 0.03, 0.0, "30", "970", LUMEN), (100, 0.029, 0.30, "3.20", "96.80", CARD)],
)
def test_order_money_published(price, share, fixed, fees, left, source):
    """A share of the price, and a fixed fee beside it."""
    order = order_contribution(price, fee_share=share, fee_fixed=fixed)

    assert (order["fees"], order["net"]) == (printed(fees), printed(left)), source
