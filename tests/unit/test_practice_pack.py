"""Packs of practice trees: fair trees of every kind, places to cut, and what comes next."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest

from audits.errors import InvalidInput
from audits.practice.cuts import Cuts, ImpossibleCuts, PackProblem
from audits.practice.levels import RUN_FOR_ALL, RUN_FOR_TWO, done_before, level_of, stage_sets
from audits.practice.model import TreeKind, Vigour
from audits.practice.pack import (
    cuts_of,
    edition_of,
    growth_of,
    is_fair,
    pack_tree,
    practice_trees,
    pruning_of,
    seed_of,
)
from audits.practice.places import HeadPlace
from audits.practice.pruning import (
    AT_SIDE_BRANCH_MM,
    Pruning,
    answers_of,
    is_due,
    limbs_left,
)
from audits.practice.schedule import (
    EXERCISE_EVERY,
    Card,
    Next,
    Offer,
    Progress,
    after_exercise,
    after_tree,
    item_card,
    next_card,
    next_task,
    stage_card,
)
from audits.practice.tasks import practised, tasks_of
from audits.quizzes import exercises
from audits.scoring import score_tree
from audits.standard import HeadingStageRule, LimbsRule, Standard, TopRule, preset
from audits.vocabulary import BearingHabit, HeadingRule, Method, PracticeLevel, Result, Stage

ROW_SPACING_MM = 3353.0


def standard_for(habit: BearingHabit, rule: HeadingRule) -> Standard:
    standard = preset(habit, ROW_SPACING_MM)
    heading = standard.heading.model_copy(update={"rule": rule})
    return standard.model_copy(update={"heading": heading})


USUAL = standard_for(BearingHabit.STANDARD, HeadingRule.REQUIRED)


@pytest.fixture(scope="module")
def trees():
    return practice_trees(USUAL, BearingHabit.STANDARD, seed=7)


# --- which trees ---------------------------------------------------------------------------------


def test_every_kind_that_the_standard_makes_something_of_is_there(trees):
    assert Counter(tree.kind for tree in trees) == {
        TreeKind.USUAL: 9,
        TreeKind.NOT_DUE: 3,
        TreeKind.LOW_BLOOM: 4,
        TreeKind.NO_LARGE_LIMB: 4,
        TreeKind.TOO_MANY_LIMBS: 4,
    }
    assert len({tree.side for tree in trees}) == 2
    assert len({tree.seed for tree in trees}) == len(trees)


def test_the_trees_of_a_tip_bearer_all_bear_at_their_tips():
    standard = standard_for(BearingHabit.TIP, HeadingRule.FORBIDDEN)
    trees = practice_trees(standard, BearingHabit.TIP, seed=3)
    assert TreeKind.TIP_BEARER in {tree.kind for tree in trees}
    assert {tree.tree.habit for tree in trees} == {BearingHabit.TIP}


def test_a_kind_whose_stage_is_not_in_use_is_left_out():
    limbs = USUAL.limbs.model_copy(update={"in_use": False})
    trees = practice_trees(USUAL.model_copy(update={"limbs": limbs}), BearingHabit.STANDARD, 1)
    assert {tree.kind for tree in trees} == {TreeKind.USUAL, TreeKind.NOT_DUE}


@pytest.mark.parametrize("habit", BearingHabit)
@pytest.mark.parametrize("rule", HeadingRule)
def test_every_practice_of_a_tree_has_a_right_way_at_the_places_offered(habit, rule):
    """The way is named by places, cut again, and judged by the engine."""
    standard = standard_for(habit, rule)
    for tree in practice_trees(standard, habit, seed=11, count=10):
        for task in tasks_of(tree, standard):
            pruning = practised(tree, standard, task.level, task.stages, task.ideal)
            answers = answers_of(tree.tree, pruning, standard, tree.side)
            scores = score_tree(standard, answers, method=Method.LADDER, stages=task.stages).stages
            results = {score.result for score in scores.values()}
            assert results <= {Result.CONFORMING, Result.NOT_DUE}, (tree.seed, task)


@pytest.mark.parametrize(
    "standard",
    [
        USUAL.model_copy(update={"limbs": LimbsRule(least=0, most=0)}),
        USUAL.model_copy(update={"limbs": LimbsRule(least=4, most=5, large_mm=30.0)}),
        USUAL.model_copy(update={"top": TopRule(target_mm=2100.0, tolerance_mm=60.0)}),
        USUAL.model_copy(
            update={
                "heading": HeadingStageRule(
                    rule=HeadingRule.REQUIRED, thinnest_mm=7.0, thickest_mm=7.6
                )
            }
        ),
    ],
)
def test_odd_standards_have_fair_trees_too(standard):
    trees = practice_trees(standard, BearingHabit.STANDARD, seed=5, count=8)
    assert len(trees) == 8


def test_a_standard_that_no_tree_fits_says_so():
    top = TopRule(target_mm=3000.0, tolerance_mm=0.01)
    with pytest.raises(InvalidInput, match="too narrow"):
        practice_trees(USUAL.model_copy(update={"top": top}), BearingHabit.STANDARD, 1, count=1)


def test_a_tree_without_the_right_place_is_found_unfair(trees):
    """Planted: a tree whose side branches near the target are gone cannot be topped right."""
    tree = next(tree for tree in trees if tree.kind is TreeKind.USUAL)
    target = USUAL.top.target_mm
    limbs = tuple(limb for limb in tree.tree.limbs if abs(limb.union_mm - target) > 450.0)
    assert is_fair(tree, USUAL)
    assert not is_fair(replace(tree, tree=replace(tree.tree, limbs=limbs)), USUAL)


# --- seeds ---------------------------------------------------------------------------------------


def test_a_seed_says_from_what_its_tree_grows():
    for habit in BearingHabit:
        for vigour in Vigour:
            growth = growth_of(USUAL, TreeKind.USUAL, seed_of(417, habit, vigour, 9))
            assert (growth.habit, growth.vigour, growth.age_years) == (habit, vigour, 9)


@pytest.mark.parametrize("seed", [-1, 1, 4179909, 10**15])
def test_a_seed_of_no_tree_is_told(seed):
    with pytest.raises(ImpossibleCuts) as caught:
        pack_tree(USUAL, TreeKind.USUAL, seed)
    assert caught.value.problem is PackProblem.NO_SUCH_TREE


def test_another_wording_of_a_standard_is_another_edition():
    top = USUAL.top.model_copy(update={"target_mm": USUAL.top.target_mm + 1.0})
    assert edition_of(USUAL) != edition_of(USUAL.model_copy(update={"top": top}))
    assert edition_of(USUAL) == edition_of(Standard.model_validate(USUAL.model_dump()))


# --- places --------------------------------------------------------------------------------------


def test_places_of_the_leader_stand_apart_from_the_highest_down(trees):
    for tree in trees:
        heights = [place.at_mm for place in tree.tops]
        assert 4 <= len(heights) <= 9
        assert all(upper > lower for upper, lower in pairwise(heights))


def test_a_blunt_place_is_blunt_and_any_other_is_at_a_side_branch(trees):
    for tree in trees:
        unions = {limb.key: limb.union_mm for limb in tree.tree.limbs}
        for place in tree.tops:
            below = max(union for union in unions.values() if union <= place.at_mm)
            is_blunt = place.at_mm - below > AT_SIDE_BRANCH_MM
            assert is_blunt is (place.limb is None)
            assert place.limb is None or unions[place.limb] == below


def test_ends_that_are_due_have_a_right_place_between_wrong_ones(trees):
    low, high = USUAL.heading.thinnest_mm, USUAL.heading.thickest_mm
    due = [
        tree.heads[limb.key]
        for tree in trees
        for limb in tree.tree.limbs
        if limb.side is tree.side and is_due(limb, USUAL.heading)
    ]
    assert len(due) > 20
    for places in due:
        assert [place.at for place in places] == sorted(place.at for place in places)
        assert sum(low <= place.mm <= high for place in places) == 1
        assert any(not low <= place.mm <= high for place in places)


# --- cuts ----------------------------------------------------------------------------------------


def test_cuts_named_by_places_come_back_as_they_were(trees):
    for tree in trees:
        for task in tasks_of(tree, USUAL):
            assert cuts_of(tree, pruning_of(tree, task.ideal)) == task.ideal


def test_a_right_way_goes_on_from_what_is_done(trees):
    for task in tasks_of(trees[0], USUAL):
        before, ideal = task.before, task.ideal
        assert before.top in {None, ideal.top}
        assert set(before.limbs) <= set(ideal.limbs)
        assert set(before.sides) <= set(ideal.sides)


@pytest.mark.parametrize(
    ("cuts", "problem"),
    [
        (Cuts(top="t99"), PackProblem.NO_SUCH_PLACE),
        (Cuts(limbs=("99",)), PackProblem.NO_SUCH_PLACE),
        (Cuts(sides=("1.99",)), PackProblem.NO_SUCH_PLACE),
        (Cuts(heads={"1": "h99"}), PackProblem.NO_SUCH_PLACE),
        (Cuts(heads={"99": "h1"}), PackProblem.NO_SUCH_PLACE),
        (Cuts(limbs=("1", "1")), PackProblem.CUT_TWICE),
        (Cuts(top="t1", limbs=("1",)), PackProblem.OTHER_STAGE),
    ],
)
def test_cuts_that_nobody_can_have_made_are_told(trees, cuts, problem):
    with pytest.raises(ImpossibleCuts) as caught:
        practised(trees[0], USUAL, PracticeLevel.ONE, (Stage.TOP,), cuts)
    assert caught.value.problem is problem


def test_stages_that_are_not_practised_together_are_told(trees):
    for level, stages in (
        (PracticeLevel.TWO, (Stage.TOP, Stage.COLUMNS)),
        (PracticeLevel.ONE, (Stage.TOP, Stage.LIMBS)),
        (PracticeLevel.ALL, (Stage.TOP,)),
    ):
        with pytest.raises(ImpossibleCuts) as caught:
            practised(trees[0], USUAL, level, stages, Cuts())
        assert caught.value.problem is PackProblem.NO_SUCH_STAGES


def test_a_cut_on_wood_that_was_gone_from_the_start_is_told(trees):
    """Above the top that was cut before, and on limbs that were taken out before."""
    told = []
    for tree in trees:
        for task in tasks_of(tree, USUAL):
            if task.level is not PracticeLevel.ONE:
                continue
            (stage,) = task.stages
            before = pruning_of(tree, task.before)
            left = {limb.key for limb in limbs_left(tree.tree, before)}
            gone = [limb for limb in tree.tree.limbs if limb.key not in left]
            limbs = [limb.key for limb in gone if limb.key not in task.before.limbs]
            sides = [side.key for limb in gone for side in limb.side_branches]
            heads = {
                limb.key: tree.heads[limb.key][0].id for limb in gone if limb.key in tree.heads
            }
            more = {
                Stage.LIMBS: [{"limbs": (*task.ideal.limbs, limb)} for limb in limbs],
                Stage.COLUMNS: [{"sides": (*task.ideal.sides, side)} for side in sides],
                Stage.HEADING: [
                    {"heads": {**task.ideal.heads, limb: head}} for limb, head in heads.items()
                ],
            }.get(stage, [])
            for change in more:
                cuts = task.ideal.model_copy(update=change)
                with pytest.raises(ImpossibleCuts) as caught:
                    practised(tree, USUAL, task.level, task.stages, cuts)
                assert caught.value.problem is PackProblem.GONE_BEFORE
                told.append(stage)
    assert set(told) == {Stage.LIMBS, Stage.COLUMNS, Stage.HEADING}


def test_a_cut_where_no_place_is_offered_has_no_name(trees):
    with pytest.raises(ValueError, match="no place of the leader"):
        cuts_of(trees[0], Pruning(top_mm=1.0))
    limb, places = next(iter(trees[0].heads.items()))
    assert all(isinstance(place, HeadPlace) for place in places)
    with pytest.raises(ValueError, match=f"no place of limb {limb}"):
        cuts_of(trees[0], Pruning(headed={limb: 0.001}))


# --- levels --------------------------------------------------------------------------------------


def test_stages_are_practised_alone_with_a_neighbour_and_all_together():
    assert [len(found.stages) for found in stage_sets(USUAL)] == [1, 1, 1, 1, 2, 2, 2, 4]
    top_only = USUAL.model_copy(
        update={
            name: getattr(USUAL, name).model_copy(update={"in_use": False})
            for name in ("limbs", "columns", "heading")
        }
    )
    assert {found.stages for found in stage_sets(top_only)} == {(Stage.TOP,)}


def test_nothing_is_done_before_the_top_and_all_but_heading_before_heading(trees):
    tree = trees[0].tree
    assert done_before(tree, USUAL, (Stage.TOP, Stage.LIMBS)) == Pruning()
    done = done_before(tree, USUAL, (Stage.HEADING,))
    assert done.top_mm is not None
    assert done.limbs_out
    assert done.sides_off
    assert not done.headed


def test_more_stages_come_at_once_after_a_run_and_one_again_after_a_fault():
    order = tuple(Stage)
    level = level_of(order, Stage.TOP, {Stage.TOP: RUN_FOR_TWO, Stage.LIMBS: RUN_FOR_TWO - 1})
    assert level.level is PracticeLevel.ONE
    level = level_of(order, Stage.TOP, dict.fromkeys(order, RUN_FOR_TWO))
    assert level.stages == (Stage.TOP, Stage.LIMBS)
    level = level_of(order, Stage.TOP, dict.fromkeys(order, RUN_FOR_ALL))
    assert level.level is PracticeLevel.ALL
    level = level_of(order, Stage.TOP, dict.fromkeys(order, RUN_FOR_ALL) | {Stage.TOP: 0})
    assert level.level is PracticeLevel.ONE
    assert level_of((Stage.TOP,), Stage.TOP, {Stage.TOP: 99}).level is PracticeLevel.ONE


# --- what comes next: the boxes of S. Leitner, So lernt man lernen, 1972 --------------------------


def test_what_went_wrong_comes_before_what_is_new():
    progress = Progress(5, {"b": Card(1, 5)})
    assert next_card(["a", "b"], progress, 1) == "b"
    assert next_card(["a", "b"], Progress(4, {"b": Card(1, 5)}), 1) == "a"
    assert next_card(["b", "c"], Progress(0, {"b": Card(3, 4), "c": Card(2, 2)}), 1) == "c"


def test_every_third_time_something_new_comes_before_what_went_wrong():
    progress = Progress(9, {"b": Card(1, 5)})
    assert [next_card(["b", "a"], progress, turn) for turn in range(6)] == list("bbabba")
    assert next_card(["b"], progress, 2) == "b"


def test_a_card_that_is_always_right_comes_up_half_as_often_each_time():
    offer = Offer((Stage.TOP,), (("t1", TreeKind.USUAL),))
    progress, name = Progress(), stage_card(Stage.TOP, TreeKind.USUAL)
    dues = []
    for _ in range(6):
        assert next_task(offer, progress).id == "t1"
        progress = after_tree(progress, TreeKind.USUAL, {Stage.TOP: True})
        dues.append(progress.cards[name].due - progress.done)
    assert dues == [2, 4, 8, 16, 32, 32]
    progress = after_tree(progress, TreeKind.USUAL, {Stage.TOP: False})
    assert progress.cards[name] == Card(1, progress.done + 1)
    assert progress.runs == {Stage.TOP: 0}


def test_a_weak_stage_comes_up_more_often_than_a_strong_one():
    offer = Offer(tuple(Stage), (("t1", TreeKind.USUAL), ("t2", TreeKind.NOT_DUE)))
    progress, seen = Progress(), Counter()
    for _ in range(60):
        task = next_task(offer, progress)
        kind = dict(offer.trees)[task.id]
        right = {stage: stage is not Stage.HEADING for stage in task.stages}
        progress = after_tree(progress, kind, right)
        seen.update(task.stages)
    assert seen[Stage.HEADING] > max(seen[stage] for stage in Stage if stage is not Stage.HEADING)


def test_every_third_time_is_an_exercise_where_there_are_any():
    offer = Offer((Stage.TOP,), (("t1", TreeKind.USUAL),), (("e1", "one"), ("e2", "two")))
    progress, kinds = Progress(), []
    for _ in range(6):
        task = next_task(offer, progress)
        kinds.append(task.id[0])
        if task.level is None:
            progress = after_exercise(progress, dict(offer.exercises)[task.id], is_right=True)
        else:
            progress = after_tree(progress, TreeKind.USUAL, {Stage.TOP: True})
    assert kinds == ["t", "t", "e", "t", "t", "e"]


def season(offer: Offer, right: Mapping[Stage | None, float], *, seed: int) -> list[Next]:
    """Return what comes up in 300 times, each stage (None: exercises) right with its chance."""
    chance = Random(seed)  # noqa: S311 - the same learners every time
    progress, tasks = Progress(), []
    for _ in range(300):
        task = next_task(offer, progress)
        tasks.append(task)
        if task.level is None:
            item = dict(offer.exercises)[task.id]
            progress = after_exercise(progress, item, is_right=chance.random() < right[None])
        else:
            kind = dict(offer.trees)[task.id]
            results = {stage: chance.random() < right[stage] for stage in task.stages}
            progress = after_tree(progress, kind, results)
    return tasks


@pytest.fixture(scope="module")
def pack(trees):
    """Offer what a phone gets: 24 trees and 20 exercises."""
    return Offer(
        USUAL.stages_in_use,
        tuple((f"t{number}", tree.kind) for number, tree in enumerate(trees)),
        tuple(
            (f"e{number}", question.item)
            for number, question in enumerate(exercises(USUAL, seed=7, count=20))
        ),
    )


@pytest.mark.parametrize("share", [1.0, 0.8, 0.6, 0.5, 0.0])
def test_everybody_sees_the_whole_pack(pack, share):
    """Nothing hides behind what is due: no tree, and no kind that asks for leaving it alone."""
    cards = {stage_card(stage, kind) for stage in pack.order for _, kind in pack.trees}
    for seed in range(10):
        tasks = season(pack, dict.fromkeys([*pack.order, None], share), seed=seed)
        kinds = dict(pack.trees)
        assert {task.id for task in tasks[:120]} >= kinds.keys()
        assert {task.id for task in tasks[:200]} >= dict(pack.exercises).keys()
        # Twenty of them, each third tree a new one.
        seen = {stage_card(one, kinds[task.id]) for task in tasks[:90] for one in task.stages}
        assert seen == cards


@pytest.mark.parametrize("weak", list(Stage))
def test_a_weak_stage_of_a_whole_pack_comes_up_more_often_than_the_strong_ones(pack, weak):
    seen = Counter()
    for seed in range(10):
        right = {stage: 0.4 if stage is weak else 0.9 for stage in (*pack.order, None)}
        seen.update(stage for task in season(pack, right, seed=seed) for stage in task.stages)
    assert seen[weak] > 1.2 * max(seen[stage] for stage in Stage if stage is not weak)


def test_an_exercise_waits_for_exercises_as_a_tree_waits_for_trees():
    progress, dues = Progress(), []
    for _ in range(6):
        progress = after_exercise(progress, "one", is_right=True)
        dues.append(progress.cards[item_card("one")].due - progress.done)
    assert dues == [EXERCISE_EVERY * trees for trees in (2, 4, 8, 16, 32, 32)]


def test_trees_of_a_kind_and_exercises_of_an_item_take_turns():
    offer = Offer(
        (Stage.TOP,),
        tuple((f"t{number}", TreeKind.USUAL) for number in range(4)),
        (("e0", "one"), ("e1", "one")),
    )
    names = [task.id for task in season(offer, {Stage.TOP: 1.0, None: 1.0}, seed=1)]
    assert names[:6] == names[6:12] == ["t0", "t1", "e0", "t2", "t3", "e1"]


def test_progress_kept_before_the_counts_goes_on(pack):
    """A due counts trees and exercises, then as now, and a count that is missing is 0."""
    cards = {item_card(item): Card(1, 61) for _, item in pack.exercises[:6]}
    progress = Progress(59, cards | {stage_card(Stage.TOP, TreeKind.USUAL): Card(2, 60)})
    task = next_task(pack, progress)
    assert task.level is None
    assert item_card(dict(pack.exercises)[task.id]) not in cards
    after = after_exercise(progress, dict(pack.exercises)[task.id], is_right=True)
    assert after.shown == {item_card(dict(pack.exercises)[task.id]): 1}
    assert next_task(pack, after).stages == (Stage.TOP,)
