"""Laws of practice trees: they taper, keep within their figures, and the ideal pruning is right."""

from dataclasses import replace

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from audits.messages import ENGLISH
from audits.practice.grow import grow_tree
from audits.practice.growth import Growth
from audits.practice.ideal import ideal_pruning, top_cut_mm
from audits.practice.model import PracticeTree, TreeKind, Vigour
from audits.practice.pruning import Pruning, answers_of, child_and_parent, pruned_tree
from audits.scoring import score_tree
from audits.standard import HeadingStageRule, Standard, TopRule
from audits.vocabulary import BearingHabit, HeadingRule, Method, Result, Side, Stage
from printables.stage_pictures import leave_pictures, stage_picture, stage_thumb
from tests.drawn import assert_inside

growths = st.builds(
    Growth,
    target_mm=st.integers(1_800, 4_200).map(float),
    kind=st.sampled_from(TreeKind),
    habit=st.sampled_from(BearingHabit),
    age_years=st.integers(3, 14),
    vigour=st.sampled_from(Vigour),
    large_mm=st.sampled_from([16.0, 19.0, 25.0]),
    evenness=st.sampled_from([0.0, 0.5, 1.0]),
    is_flat=st.booleans(),
)


@st.composite
def grown(draw) -> tuple[Growth, PracticeTree]:
    growth = draw(growths)
    return growth, grow_tree(draw(st.integers(0, 10**9)), growth)


def standard_of(growth: Growth, rule: HeadingRule) -> Standard:
    standard = Standard(
        top=TopRule(target_mm=growth.target_mm),
        heading=HeadingStageRule(rule=rule),
        row_spacing_mm=growth.target_mm / 0.9,
    )
    limbs = standard.limbs.model_copy(update={"large_mm": growth.large_mm})
    return standard.model_copy(update={"limbs": limbs})


def tapers(tree: PracticeTree) -> bool:
    falls = all(0.0 < wood.thin_mm < wood.thick_mm for wood in tree.all_wood())
    return falls and all(child.thick_mm <= mm + 1e-9 for child, mm in child_and_parent(tree))


@settings(max_examples=60, deadline=None)
@given(grown())
def test_wood_tapers_outwards(made):
    _, tree = made
    assert tapers(tree)
    for limb in tree.limbs:
        assert limb.measured_mm() <= limb.wood.thick_mm + 0.05


def test_a_limb_thicker_than_its_leader_does_not_taper():
    """The law above fails on a tree that breaks it."""
    tree = grow_tree(1, Growth(3_000.0))
    limb = tree.limbs[3]
    fat = replace(limb, wood=replace(limb.wood, thick_mm=90.0))
    assert not tapers(replace(tree, limbs=(*tree.limbs[:3], fat, *tree.limbs[4:])))


@settings(max_examples=60, deadline=None)
@given(grown(), st.sampled_from(HeadingRule), st.sampled_from([Side.LEFT, Side.RIGHT]))
def test_the_ideal_pruning_scores_without_a_fault(made, rule, side):
    growth, tree = made
    standard = standard_of(growth, rule)
    pruning = ideal_pruning(tree, standard)
    answers = answers_of(tree, pruning, standard, side)
    score = score_tree(standard, answers, method=Method.LADDER)
    for stage, one in score.stages.items():
        if stage is Stage.TOP and not allows_the_band(tree, standard, pruning):
            continue
        assert one.result in {Result.CONFORMING, Result.NOT_DUE}, (stage, one.faults)


def allows_the_band(tree: PracticeTree, standard: Standard, pruning: Pruning) -> bool:
    """Try every side branch the slow way."""
    lowest, highest = standard.top.band_mm
    tops = [
        pruned_tree(tree, replace(pruning, top_mm=top_cut_mm(tree, limb))).height_mm
        for limb in tree.limbs
    ]
    return pruning.top_mm is None or any(lowest <= top <= highest for top in tops)


@settings(max_examples=40, deadline=None)
@given(grown())
def test_usual_spacing_always_offers_a_side_branch_in_the_band(made):
    growth, tree = made
    assume(growth.age_years >= 6)
    standard = standard_of(growth, HeadingRule.OFF)
    assert allows_the_band(tree, standard, ideal_pruning(tree, standard, {Stage.TOP}))


@settings(max_examples=40, deadline=None)
@given(grown())
def test_pruning_twice_finds_nothing_more_to_do(made):
    growth, tree = made
    standard = standard_of(growth, HeadingRule.REQUIRED)
    left = pruned_tree(tree, ideal_pruning(tree, standard))
    again = ideal_pruning(left, standard, {Stage.COLUMNS, Stage.HEADING})
    assert not again.sides_off
    assert not again.headed


@settings(max_examples=40, deadline=None)
@given(grown())
def test_nothing_grows_when_it_is_pruned(made):
    growth, tree = made
    left = pruned_tree(tree, ideal_pruning(tree, standard_of(growth, HeadingRule.REQUIRED)))
    assert left.height_mm <= tree.height_mm
    whole, rest = (sum(wood.length_mm for wood in one.all_wood()) for one in (tree, left))
    assert rest <= whole


@settings(max_examples=25, deadline=None)
@given(
    st.integers(900, 6_000),
    st.integers(20, 500),
    st.integers(8, 60),
    st.integers(0, 5),
    st.integers(60, 500),
    st.integers(3, 12),
    st.integers(1, 8),
    st.sampled_from(HeadingRule),
)
def test_pictures_of_any_standard_keep_inside_their_frame(
    target, tolerance, large, most, side_branch, thinnest, band, rule
):
    assume(tolerance < target / 4)
    standard = Standard.model_validate(
        {
            "top": {"target_mm": target, "tolerance_mm": tolerance, "outer_mm": tolerance + 300},
            "limbs": {"large_mm": large, "least": min(1, most), "most": most},
            "columns": {"side_branch_mm": side_branch},
            "heading": {"rule": rule, "thinnest_mm": thinnest, "thickest_mm": thinnest + band},
            "row_spacing_mm": 3_352.8,
            "top_wire_mm": target - 100,
        }
    )
    for stage in Stage:
        assert_inside(stage_picture(standard, stage, ENGLISH), slack_mm=0.6)
        for lettered in (True, False):
            thumb = stage_thumb(standard, stage, ENGLISH, lettered=lettered)
            assert_inside(thumb, slack_mm=0.6)
    for drawing in leave_pictures(standard, ENGLISH, low_bloom=True):
        assert_inside(drawing, slack_mm=0.3)
