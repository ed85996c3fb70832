"""The caution beside a plan's chances: what they are worth where bad trees stand together."""

import re

import pytest

from audits.clustered_faults import cluster_caution, lot_caution
from audits.errors import InvalidInput
from audits.estimates import wilson
from audits.lot_figures import figures_of_standard, lot_figures
from audits.lot_plans import plan_lot
from audits.sampling import MeasuredPlan, SinglePlan, WavePlan, simulate_clusters
from audits.standard import HeadingStageRule, Promise, TopRule, preset
from audits.vocabulary import BearingHabit, HeadingRule, Stage

PLAN = WavePlan((20, 33), (2, 4), (5, 5))


def test_the_caution_gives_the_simulated_share_with_its_interval():
    text = str(cluster_caution(PLAN, 78, 310))
    found = simulate_clusters(PLAN, 78, 310, 10)
    told = re.search(r"about 10, (\d+) in 100 passed \((\d+) to (\d+)\)\.", text)
    share, lower, upper = (int(number) / 100 for number in told.groups())
    assert share == pytest.approx(found.chance, abs=0.005)
    # Rounded outwards, so that no more is claimed than was measured.
    limits = wilson(found.accepted, found.rows)
    assert lower <= limits.lower < lower + 0.01
    assert upper - 0.01 < limits.upper <= upper
    assert "Of 1,000 simulated lots with 78 of 310 trees bad" in text


def test_the_caution_says_for_what_the_chances_hold_and_what_to_do():
    text = str(cluster_caution(PLAN, 78, 310))
    assert text.startswith("These chances hold for bad trees strewn at random.")
    assert text.endswith("is a reason to send that stretch back.")


@pytest.mark.parametrize(
    ("plan", "nonconforming", "lot_size", "words"),
    [
        (SinglePlan(30, 4), 8, 100, "8 of 100 trees bad, all side by side, all passed."),
        (SinglePlan(30, 4), 80, 100, "80 of 100 trees bad, in runs of about 10, none passed."),
        (SinglePlan(30, 4), 130, 400, "less than 1 in 100 passed."),
        (PLAN, 15, 310, "more than 99 in 100 passed."),
    ],
)
def test_the_share_is_never_said_to_be_certain_unless_it_was(plan, nonconforming, lot_size, words):
    assert words in str(cluster_caution(plan, nonconforming, lot_size))


def test_a_lot_that_is_too_small_is_refused():
    with pytest.raises(InvalidInput) as refused:
        cluster_caution(PLAN, 5, 20)
    assert set(refused.value.problems) == {"lot_size"}


def test_the_caution_of_a_lot_is_about_the_stage_that_a_bad_lot_passes_most_easily():
    plans = {Stage.TOP: SinglePlan(25, 2), Stage.LIMBS: PLAN, Stage.COLUMNS: SinglePlan(40, 4)}
    figures = lot_figures(plans, dict.fromkeys(plans, Promise()), 310)
    assert max(figures.stages, key=lambda stage: stage.rejectable.chance).plan == PLAN
    assert str(lot_caution(figures)) == str(cluster_caution(PLAN, 78, 310))


def test_measured_stages_have_no_caution():
    usual = preset(BearingHabit.STANDARD, 3_350)
    measured = usual.model_copy(
        update={
            "top": TopRule(target_mm=3_000, measured=True, by_mean=True),
            "heading": HeadingStageRule(rule=HeadingRule.REQUIRED),
        }
    )
    both = plan_lot(measured, 310, [Stage.TOP, Stage.LIMBS])
    assert isinstance(both[Stage.TOP], MeasuredPlan)
    figures = figures_of_standard(measured, both, 310)
    assert str(lot_caution(figures)) == str(cluster_caution(both[Stage.LIMBS], 78, 310))
    alone = figures_of_standard(measured, {Stage.TOP: both[Stage.TOP]}, 310)
    assert lot_caution(alone) is None
