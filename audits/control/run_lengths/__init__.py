"""
How long charts run before they signal, by chance and when something has changed.

`seasons` answers for a season of so many trees, in plain Python; the others give averages: `counts`
for charts of nonconforming trees, `normal` for CUSUM and EWMA charts of measured values, `rules`
for charts of points with run rules.
"""

from audits.control.run_lengths.counts import arl_bernoulli, arl_of_limits, arl_p_chart
from audits.control.run_lengths.normal import arl_cusum, arl_ewma, design_cusum, design_ewma
from audits.control.run_lengths.rules import arl_run_rules
from audits.control.run_lengths.seasons import (
    bernoulli_median,
    bernoulli_season_design,
    bernoulli_signal_chance,
    season_block_limits,
)

__all__ = [
    "arl_bernoulli",
    "arl_cusum",
    "arl_ewma",
    "arl_of_limits",
    "arl_p_chart",
    "arl_run_rules",
    "bernoulli_median",
    "bernoulli_season_design",
    "bernoulli_signal_chance",
    "design_cusum",
    "design_ewma",
    "season_block_limits",
]
