"""Commissions: how many to cast, by when, at what price."""

from .answer import open_order, order_lines, order_results, quote_of
from .plan import OrderPlan
from .planner import Planner
from .price import Quoted, price_of
from .spec import Order, UnderWay, order_of
