"""Workshop logs to distributions."""

from .control import p_chart, run_rules, trend
from .dispersion import binomial_limits
from .labour import hours_by_kind, learning_table
from .learn import Evidence, could_learn, learn
from .learning import fit_learning
from .lives import kaplan_meier, remaining, weibull_fit
from .loads import (
    LoadCounts,
    cause_shares,
    likeness,
    load_correlation,
    load_counts,
    loads_of_mould,
    mould_ages,
    mould_lives,
    moulds_in_hand,
    own_faults,
    ruined_loads,
    scrap_table,
)
from .market import channel_summary, orders_by_month, season_table
from .materials import material_table
from .posteriors import (
    load_share_posterior,
    mean_posterior,
    mould_life_posterior,
    rate_posterior,
    share_posterior,
)
from .rows import rows_posterior

__all__ = [
    "Evidence",
    "LoadCounts",
    "binomial_limits",
    "cause_shares",
    "channel_summary",
    "could_learn",
    "fit_learning",
    "hours_by_kind",
    "kaplan_meier",
    "learn",
    "learning_table",
    "likeness",
    "load_correlation",
    "load_counts",
    "load_share_posterior",
    "loads_of_mould",
    "material_table",
    "mean_posterior",
    "mould_ages",
    "mould_life_posterior",
    "mould_lives",
    "moulds_in_hand",
    "orders_by_month",
    "own_faults",
    "p_chart",
    "rate_posterior",
    "remaining",
    "rows_posterior",
    "ruined_loads",
    "run_rules",
    "scrap_table",
    "season_table",
    "share_posterior",
    "trend",
    "weibull_fit",
]
