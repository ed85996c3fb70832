"""Acceptance sampling: which trees are looked at, and when a lot is decided."""

from audits.sampling.curves import (
    acceptance_probability,
    acceptance_probability_at_count,
    average_outgoing_quality,
    average_outgoing_quality_limit,
    average_sample_number,
    average_sample_number_at_count,
    average_total_inspection,
    chances_still_open,
    quality_accepted,
    trees_until_all_decided,
)
from audits.sampling.decision import (
    FEW_DUE_TREES,
    StageTally,
    StageVerdict,
    TreesLeft,
    decide,
    judge_stage,
    leading_fault,
    lot_outcome,
    lot_reason,
    stage_reason,
    trees_until_certain,
)
from audits.sampling.design import (
    LARGEST_SAMPLE,
    design_single,
    design_single_for_counts,
    stage_producer_risk,
)
from audits.sampling.draw import Draw, draw_trees
from audits.sampling.laws import Model
from audits.sampling.plans import (
    DoublePlan,
    Plan,
    Rounding,
    SinglePlan,
    Wave,
    WavePlan,
    trees_at_fraction,
)
from audits.sampling.route import insert_in_walk, walk_length, walk_lengths
from audits.sampling.trees import DrawnTree, Place
from audits.sampling.wave_design import MOST_WAVES, design_waves, fit_waves

__all__ = [
    "FEW_DUE_TREES",
    "LARGEST_SAMPLE",
    "MOST_WAVES",
    "DoublePlan",
    "Draw",
    "DrawnTree",
    "Model",
    "Place",
    "Plan",
    "Rounding",
    "SinglePlan",
    "StageTally",
    "StageVerdict",
    "TreesLeft",
    "Wave",
    "WavePlan",
    "acceptance_probability",
    "acceptance_probability_at_count",
    "average_outgoing_quality",
    "average_outgoing_quality_limit",
    "average_sample_number",
    "average_sample_number_at_count",
    "average_total_inspection",
    "chances_still_open",
    "decide",
    "design_single",
    "design_single_for_counts",
    "design_waves",
    "draw_trees",
    "fit_waves",
    "insert_in_walk",
    "judge_stage",
    "leading_fault",
    "lot_outcome",
    "lot_reason",
    "quality_accepted",
    "stage_producer_risk",
    "stage_reason",
    "trees_at_fraction",
    "trees_until_all_decided",
    "trees_until_certain",
    "walk_length",
    "walk_lengths",
]
