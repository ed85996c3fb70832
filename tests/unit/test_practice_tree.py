"""Practice trees: the same for the same seed, special in the way they say, cut as the rule asks."""

from dataclasses import replace

import pytest

from audits.practice.grow import LimbPlan, grow_tree, planned_tree
from audits.practice.growth import Growth
from audits.practice.ideal import heading_cut, ideal_pruning, large_limbs_to_take
from audits.practice.model import SideKind, TreeKind, Wood
from audits.practice.pruning import (
    Pruning,
    answers_of,
    diameter_behind,
    is_due,
    limbs_left,
    pruned_tree,
    top_limb,
)
from audits.scoring import score_tree
from audits.standard import HeadingStageRule, LimbsRule, Standard, TopRule
from audits.vocabulary import BearingHabit, Fault, HeadingRule, Method, Result, Side, Stage

TARGET_MM = 3017.5
STANDARD = Standard(
    top=TopRule(target_mm=TARGET_MM),
    heading=HeadingStageRule(rule=HeadingRule.REQUIRED),
    row_spacing_mm=3352.8,
)


def grown(kind=TreeKind.USUAL, seed=7):
    return grow_tree(seed, Growth(TARGET_MM, kind=kind))


def measured(tree):
    return [limb.measured_mm() for limb in tree.limbs]


def scored(tree, pruning, standard=STANDARD, side=Side.LEFT):
    answers = answers_of(tree, pruning, standard, side)
    return score_tree(standard, answers, method=Method.LADDER).stages


# --- wood


def test_wood_thins_evenly_and_is_found_by_its_thickness():
    here = (0.0, 0.0, 1000.0)
    twig = Wood(here, (100.0, 0.0, 1000.0), (200.0, 0.0, 1000.0), (300.0, 0.0, 1000.0), 14.0, 2.0)
    assert twig.length_mm == pytest.approx(300.0)
    assert twig.diameter_at(0.5) == 8.0
    assert twig.where_thick(8.0) == 0.5
    assert twig.where_thick(1.0) is None
    part = twig.part(0.25, 0.75)
    assert (part.thick_mm, part.thin_mm) == (11.0, 5.0)
    assert part.start == pytest.approx((75.0, 0.0, 1000.0))


def test_an_arch_is_highest_at_its_bend():
    # A symmetric arch: three quarters of the controls' height, half-way along.
    arch = Wood((0.0, 0.0, 0.0), (0.0, 0.0, 80.0), (100.0, 0.0, 80.0), (100.0, 0.0, 0.0), 5.0, 2.0)
    assert arch.bend == pytest.approx(0.5)
    assert arch.highest_mm == pytest.approx(60.0)


def test_wood_that_only_rises_is_highest_at_its_end():
    twig = grown().leader
    assert twig.highest_mm == pytest.approx(twig.end[2])


# --- growing


def test_a_seed_grows_one_tree_for_ever():
    growth = Growth(TARGET_MM)
    assert grow_tree(3, growth) == grow_tree(3, growth)
    assert grow_tree(3, growth) != grow_tree(4, growth)
    # Held so that a stored practice tree never turns into another one unseen.
    tree = grow_tree(3, growth)
    assert (len(tree.limbs), round(tree.height_mm, 1)) == SEED_3


SEED_3 = (30, 3393.6)


@pytest.mark.parametrize("seed", range(12))
def test_each_kind_is_special_in_the_way_it_says(seed):
    assert grown(TreeKind.NOT_DUE, seed).height_mm < TARGET_MM
    assert grown(TreeKind.USUAL, seed).height_mm > TARGET_MM + 150
    assert sum(d >= 19.0 for d in measured(grown(TreeKind.USUAL, seed))) in {2, 3}
    assert max(measured(grown(TreeKind.NO_LARGE_LIMB, seed))) < 18.0
    assert sum(d >= 20.0 for d in measured(grown(TreeKind.TOO_MANY_LIMBS, seed))) >= 5
    assert grown(TreeKind.LOW_BLOOM, seed).flower_share < 0.5
    assert grown(TreeKind.USUAL, seed).flower_share > 0.5
    tip_bearer = grown(TreeKind.TIP_BEARER, seed)
    assert tip_bearer.habit is BearingHabit.TIP
    assert any(limb.has_tip_flower for limb in tip_bearer.limbs)
    assert not any(limb.has_tip_flower for limb in grown(TreeKind.USUAL, seed).limbs)


def test_limbs_are_named_from_the_soil_up():
    tree = grown()
    assert [limb.key for limb in tree.limbs] == [str(n + 1) for n in range(len(tree.limbs))]
    heights = [limb.union_mm for limb in tree.limbs]
    assert heights == sorted(heights)
    assert tree.limb("2") is tree.limbs[1]
    with pytest.raises(KeyError):
        tree.limb("99")


def test_a_planned_tree_has_the_limbs_that_were_planned():
    sides = ((SideKind.UPRIGHT, 0.3), (SideKind.FORK, 0.6))
    plans = [LimbPlan(900.0, 90.0, 12.0, hangs=True, sides=sides), LimbPlan(1500.0, 270.0, 22.0)]
    tree = planned_tree(Growth(TARGET_MM), 3400.0, plans)
    first, second = tree.limbs
    assert (first.side, second.side) == (Side.RIGHT, Side.LEFT)
    assert first.end is not None
    assert [(side.kind, side.along) for side in first.side_branches] == list(sides)
    assert second.measured_mm() > 21.0
    assert tree.height_mm == pytest.approx(3400.0)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("target_mm", 400.0),
        ("age_years", 1),
        ("branches", 2),
        ("reach_mm", 50.0),
        ("evenness", 1.5),
    ],
)
def test_a_figure_outside_its_range_is_named(field, value):
    with pytest.raises(ValueError, match=field):
        replace(Growth(TARGET_MM), **{field: value})


# --- what the standard asks


def test_the_top_ends_at_the_side_branch_nearest_the_target():
    tree = grown()
    pruning = ideal_pruning(tree, STANDARD)
    side = top_limb(tree, pruning)
    assert side is not None
    assert pruning.top_mm > side.union_mm
    height_mm = pruned_tree(tree, pruning).height_mm
    assert abs(height_mm - TARGET_MM) <= 150.0
    # No other side branch would have come nearer.
    for limb in tree.limbs:
        other = replace(pruning, top_mm=limb.union_mm + 8.0)
        off = abs(pruned_tree(tree, other).height_mm - TARGET_MM)
        assert off >= abs(height_mm - TARGET_MM) - 15.0


def test_a_top_below_the_band_is_left():
    tree = grown(TreeKind.NOT_DUE)
    pruning = ideal_pruning(tree, STANDARD)
    assert pruning.top_mm is None
    assert scored(tree, pruning)[Stage.TOP].result is Result.NOT_DUE


@pytest.mark.parametrize(("least", "most"), [(0, 0), (1, 1), (2, 2), (2, 3), (4, 6)])
def test_the_thickest_limbs_go_and_no_more_than_allowed(least, most):
    tree = grown(TreeKind.TOO_MANY_LIMBS)
    rule = LimbsRule(least=least, most=most)
    out = large_limbs_to_take(tree, rule, Pruning())
    large = sorted((d for d in measured(tree) if d >= 19.0), reverse=True)
    assert [limb.measured_mm() for limb in out] == large[:most]


def test_a_tree_with_few_flowers_loses_as_few_limbs_as_the_rule_asks():
    low, usual = grown(TreeKind.LOW_BLOOM), grown(TreeKind.TOO_MANY_LIMBS)
    for least, most, expected in ((0, 2, 1), (2, 3, 2), (0, 0, 0)):
        rule = LimbsRule(least=least, most=most)
        assert len(large_limbs_to_take(low, rule, Pruning())) == expected
        assert len(large_limbs_to_take(usual, rule, Pruning())) == most


def test_no_large_limb_leaves_every_limb():
    tree = grown(TreeKind.NO_LARGE_LIMB)
    pruning = ideal_pruning(tree, STANDARD)
    assert not pruning.limbs_out
    assert scored(tree, pruning)[Stage.LIMBS].result is Result.CONFORMING


def test_each_branch_that_stays_becomes_one_column_and_keeps_its_spurs():
    tree = grown()
    pruning = ideal_pruning(tree, STANDARD, {Stage.COLUMNS})
    left = pruned_tree(tree, pruning)
    assert any(limb.side_branches for limb in tree.limbs)
    assert not any(limb.side_branches for limb in left.limbs)
    assert [limb.spurs for limb in left.limbs] == [limb.spurs for limb in tree.limbs]


def test_due_ends_are_headed_in_the_middle_of_the_band():
    tree = grown()
    pruning = ideal_pruning(tree, STANDARD, {Stage.HEADING})
    due = [limb for limb in tree.limbs if is_due(limb, STANDARD.heading)]
    assert due
    assert set(pruning.headed) == {limb.key for limb in due}
    for limb in due:
        assert diameter_behind(limb, pruning.headed[limb.key]) == pytest.approx(7.5)
        # What is left no longer hangs.
        assert pruned_tree(tree, pruning).limb(limb.key).end is None


@pytest.mark.parametrize("rule", [HeadingRule.OFF, HeadingRule.FORBIDDEN])
def test_nothing_is_headed_where_heading_is_off_or_forbidden(rule):
    standard = STANDARD.model_copy(update={"heading": HeadingStageRule(rule=rule)})
    assert not ideal_pruning(grown(TreeKind.TIP_BEARER), standard).headed


def test_a_limb_that_is_nowhere_pencil_thick_cannot_be_headed():
    limb = grown().limbs[-1]
    with pytest.raises(ValueError, match="nowhere"):
        heading_cut(limb, HeadingStageRule(thinnest_mm=25, thickest_mm=29))


def test_only_the_stages_asked_for_are_pruned():
    tree = grown()
    assert ideal_pruning(tree, STANDARD, {Stage.LIMBS}).top_mm is None
    top = ideal_pruning(tree, STANDARD, {Stage.TOP})
    assert (top.limbs_out, top.sides_off, dict(top.headed)) == (frozenset(), frozenset(), {})


# --- faults are found where they were made


def faults(tree, pruning, standard=STANDARD):
    return {
        fault
        for side in (Side.LEFT, Side.RIGHT)
        for score in scored(tree, pruning, standard, side).values()
        for fault in score.faults
    }


def test_an_untouched_tree_fails_every_stage_but_for_what_is_not_due():
    tree = grown(seed=5)
    found = faults(tree, Pruning())
    assert {Fault.HIGH, Fault.TOO_FEW, Fault.LEFT_LONG} <= found


def test_cuts_beside_the_ideal_have_their_faults():
    tree = grown()
    ideal = ideal_pruning(tree, STANDARD)
    assert not faults(tree, ideal)
    assert faults(tree, replace(ideal, top_mm=ideal.top_mm + 45.0)) & {Fault.BLUNT, Fault.HIGH}
    assert Fault.LOW in faults(tree, replace(ideal, top_mm=2200.0))
    thin = min(limbs_left(tree, ideal), key=lambda limb: limb.measured_mm())
    kept = next(iter(ideal.limbs_out))
    wrong = replace(ideal, limbs_out=ideal.limbs_out - {kept} | {thin.key})
    assert Fault.TOO_FEW in faults(tree, wrong)
    many = grown(TreeKind.TOO_MANY_LIMBS)
    every = frozenset(limb.key for limb in many.limbs if limb.measured_mm() >= 20.0)
    too_many = replace(ideal_pruning(many, STANDARD), limbs_out=every)
    assert Fault.TOO_MANY in faults(many, too_many)
    assert faults(tree, replace(ideal, headed={})) == {Fault.LEFT_LONG}
    thick = {key: tree.limb(key).where_thick(11.0) or 0.1 for key in ideal.headed}
    assert faults(tree, replace(ideal, headed=thick)) == {Fault.THICK}
    tips = dict.fromkeys(ideal.headed, 1.5)
    assert faults(tree, replace(ideal, headed=tips)) == {Fault.THIN}
    shortened = {limb.key: 0.8 for limb in tree.limbs if limb.end is None}
    headed = replace(ideal, headed={**shortened, **ideal.headed})
    assert Fault.TIP_SHORTENED in faults(tree, headed)
    assert faults(tree, replace(ideal, sides_off=frozenset())) & {
        Fault.FORK,
        Fault.SIDE_BRANCH,
        Fault.UPRIGHT,
    }


def test_a_young_leader_that_was_cut_is_a_fault():
    tree = grown(TreeKind.NOT_DUE)
    assert Fault.LEADER_YOUNG in faults(tree, Pruning(top_mm=tree.height_mm - 300.0))


def test_a_headed_tip_bearer_is_a_fault_where_heading_is_forbidden():
    forbidden = HeadingStageRule(rule=HeadingRule.FORBIDDEN)
    standard = STANDARD.model_copy(update={"heading": forbidden})
    tree = grown(TreeKind.TIP_BEARER)
    ideal = ideal_pruning(tree, standard)
    assert not faults(tree, ideal, standard)
    ends = {limb.key: 1.5 for limb in limbs_left(tree, ideal) if limb.end is not None}
    assert Fault.FORBIDDEN in faults(tree, replace(ideal, headed=ends), standard)
