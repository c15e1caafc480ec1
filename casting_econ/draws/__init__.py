"""Draws, their summaries, and which numbers move the result most."""

from .distributions import DISTRIBUTIONS, Distribution, distribution
from .sampling import REPLICATES, copula_matrix, correlate, in_chunks, points, round_up_draws
from .summary import QUANTILES, chance, summarise
