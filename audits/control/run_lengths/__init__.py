"""How long charts run before they signal, by chance and when something has changed."""

from audits.control.run_lengths.seasons import (
    bernoulli_median,
    bernoulli_season_design,
    bernoulli_signal_chance,
    season_block_limits,
)

__all__ = [
    "bernoulli_median",
    "bernoulli_season_design",
    "bernoulli_signal_chance",
    "season_block_limits",
]
