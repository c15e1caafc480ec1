"""Workshop logs to distributions."""

from .learn import Evidence, channel_summary, could_learn, learn, loads_of_mould, orders_by_month, scrap_table
from .posteriors import mean_posterior, mould_life_posterior, rate_posterior, share_posterior

__all__ = [
    "Evidence",
    "channel_summary",
    "could_learn",
    "learn",
    "loads_of_mould",
    "mean_posterior",
    "mould_life_posterior",
    "orders_by_month",
    "rate_posterior",
    "scrap_table",
    "share_posterior",
]
