"""Workshop logs to distributions."""

from .control import p_chart, run_rules, trend
from .dispersion import beta_binomial_fit, binomial_limits
from .learn import Evidence, channel_summary, could_learn, learn, loads_of_mould, orders_by_month, scrap_table
from .learning import fit_learning
from .lives import kaplan_meier, remaining, weibull_fit
from .posteriors import mean_posterior, mould_life_posterior, rate_posterior, share_posterior

__all__ = [
    "Evidence",
    "beta_binomial_fit",
    "binomial_limits",
    "channel_summary",
    "could_learn",
    "fit_learning",
    "kaplan_meier",
    "learn",
    "loads_of_mould",
    "mean_posterior",
    "mould_life_posterior",
    "orders_by_month",
    "p_chart",
    "rate_posterior",
    "remaining",
    "run_rules",
    "scrap_table",
    "share_posterior",
    "trend",
    "weibull_fit",
]
