"""Workshop logs to distributions."""

from .labour import hours_by_kind, learning_table
from .learn import Evidence, could_learn, learn, mould_lives
from .loads import LoadCounts, cause_shares, freak_loads, load_counts, loads_of_mould, mould_ages, own_faults, scrap_table
from .market import channel_summary, orders_by_month, season_table
from .materials import material_table
from .posteriors import (
    load_share_posterior,
    mean_posterior,
    mould_life_posterior,
    rate_posterior,
    rows_posterior,
    share_posterior,
)

__all__ = [
    "Evidence",
    "LoadCounts",
    "cause_shares",
    "channel_summary",
    "could_learn",
    "freak_loads",
    "hours_by_kind",
    "learn",
    "learning_table",
    "load_counts",
    "load_share_posterior",
    "loads_of_mould",
    "material_table",
    "mean_posterior",
    "mould_ages",
    "mould_life_posterior",
    "mould_lives",
    "orders_by_month",
    "own_faults",
    "rate_posterior",
    "rows_posterior",
    "scrap_table",
    "season_table",
    "share_posterior",
]
