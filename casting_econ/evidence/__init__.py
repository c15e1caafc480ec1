"""Workshop logs to distributions."""

from .cases import could_update, update
from .channels import SCATTERS
from .control import binomial_limits, p_chart, run_rules, trend
from .finding import Finding
from .labour import hours_by_kind, learning_table
from .learning import fit_learning
from .lives import kaplan_meier, remaining, weibull_fit
from .loads import (
    casts_poured,
    cause_shares,
    likeness,
    load_correlation,
    load_counts,
    loads_of_mould,
    loads_poured,
    mould_ages,
    mould_lives,
    moulds_in_hand,
    own_faults,
    ruined_loads,
    usual_load,
)
from .market import DAYS_PER_MONTH, channel_summary, orders_by_month, season_table, season_told, season_weights
from .materials import material_table
from .posteriors import load_share_posterior, mould_life_posterior, share_posterior
from .rows import rows_posterior
