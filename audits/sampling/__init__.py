"""Acceptance sampling: which trees are looked at, and when a lot is decided."""

from audits.sampling.curves import (
    acceptance_probability,
    acceptance_probability_at_count,
    average_sample_number,
    average_sample_number_at_count,
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
from audits.sampling.draw import (
    Draw,
    DrawnTree,
    Place,
    draw_trees,
    insert_in_walk,
    walk_length,
)
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

__all__ = [
    "FEW_DUE_TREES",
    "LARGEST_SAMPLE",
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
    "average_sample_number",
    "average_sample_number_at_count",
    "decide",
    "design_single",
    "design_single_for_counts",
    "draw_trees",
    "insert_in_walk",
    "judge_stage",
    "leading_fault",
    "lot_outcome",
    "lot_reason",
    "stage_producer_risk",
    "stage_reason",
    "trees_at_fraction",
    "trees_until_certain",
    "walk_length",
]
