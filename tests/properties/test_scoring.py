"""Laws of the scoring engine that hold for every standard and every answer."""

from hypothesis import assume, given
from hypothesis import strategies as st

from audits.scoring import (
    ColumnsMeasure,
    HeadingMeasure,
    TopMeasure,
    TreeAnswers,
    desirability,
    read_answers,
    score_tree,
)
from audits.standard import Standard
from audits.vocabulary import STAGE_FAULTS, Fault, HeadingRule, Method, Result, Stage
from tests.strategies import (
    diameters,
    heading_measures,
    heights,
    limbs_measures,
    standards,
    trees,
)


@given(trees())
def test_a_stage_conforms_exactly_when_no_fault_is_named(case):
    standard, method, answers = case
    for stage, score in score_tree(standard, answers, method=method).stages.items():
        assert bool(score.faults) is (score.result is Result.NONCONFORMING)
        allowed = {*STAGE_FAULTS[stage], Fault.TREE_MISSED, Fault.SIDE_MISSED}
        assert set(score.faults) <= allowed
        assert list(score.faults) == [fault for fault in Fault if fault in score.faults]


@given(trees())
def test_points_lie_in_their_range_and_only_where_something_was_due(case):
    standard, method, answers = case
    tree = score_tree(standard, answers, method=method)
    due = {Result.CONFORMING, Result.NONCONFORMING}
    for score in tree.stages.values():
        assert (score.points is not None) is (score.result in due)
        assert score.points is None or 0 <= score.points <= 100
    points = [score.points for score in tree.stages.values() if score.points is not None]
    if points:
        assert min(points) - 1e-9 <= tree.points <= max(points) + 1e-9
    else:
        assert tree.points is None


@given(trees())
def test_scoring_what_was_stored_gives_the_same(case):
    standard, method, answers = case
    stored = read_answers(answers.model_dump(mode="json"))
    again = Standard.model_validate(standard.model_dump(mode="json"))
    assert score_tree(again, stored, method=method) == score_tree(standard, answers, method=method)


@given(trees())
def test_a_stage_is_scored_alike_alone_and_with_the_others(case):
    standard, method, answers = case
    for stage, score in score_tree(standard, answers, method=method).stages.items():
        alone = score_tree(standard, answers, method=method, stages=(stage,))
        assert alone.stages == {stage: score}


@given(standards(), heights, st.integers(0, 100_000).map(lambda hundredths: hundredths / 100))
def test_a_top_further_from_its_target_never_gets_more_points(standard, height_mm, further_mm):
    def points(height: float) -> float:
        answers = TreeAnswers(stages={Stage.TOP: TopMeasure(height_mm=height)})
        tree = score_tree(standard, answers, method=Method.LADDER, stages=(Stage.TOP,))
        return tree.stages[Stage.TOP].points

    target = standard.top.target_mm
    farther = height_mm + (further_mm if height_mm >= target else -further_mm)
    assume(farther > 0)
    assert points(farther) <= points(height_mm)


@given(
    standards(),
    st.lists(diameters, min_size=1, max_size=5),
    st.data(),
)
def test_a_heading_cut_further_from_its_band_never_gets_more_points(standard, sizes, data):
    assume(standard.heading.rule is HeadingRule.REQUIRED)
    middle = (standard.heading.thinnest_mm + standard.heading.thickest_mm) / 2
    index = data.draw(st.integers(0, len(sizes) - 1))
    further = data.draw(st.integers(0, 1_000)) / 100
    moved = list(sizes)
    moved[index] += further if sizes[index] >= middle else -further
    assume(moved[index] > 0)

    def score(values):
        answers = TreeAnswers(stages={Stage.HEADING: HeadingMeasure(diameters_mm=tuple(values))})
        tree = score_tree(standard, answers, method=Method.LADDER, stages=(Stage.HEADING,))
        return tree.stages[Stage.HEADING]

    before, after = score(sizes), score(moved)
    assert after.points <= before.points + 1e-9
    if after.result is Result.CONFORMING:
        assert before.result is Result.CONFORMING


@given(standards(), st.integers(1, 8), st.integers(0, 8))
def test_one_more_single_column_never_makes_a_tree_worse(standard, looked_at, single):
    assume(single < looked_at)

    def score(count: int):
        measure = ColumnsMeasure(looked_at=looked_at, single=count, faults=(Fault.FORK,))
        answers = TreeAnswers(stages={Stage.COLUMNS: measure})
        tree = score_tree(standard, answers, method=Method.LADDER, stages=(Stage.COLUMNS,))
        return tree.stages[Stage.COLUMNS]

    worse, better = score(single), score(single + 1)
    assert worse.points <= better.points
    if worse.result is Result.CONFORMING:
        assert better.result is Result.CONFORMING


@given(standards(), limbs_measures)
def test_a_wider_guard_band_never_makes_a_fault_of_limb_counts(standard, measure):
    def faults(guard_mm: float) -> set[Fault]:
        held = standard.model_copy(update={"diameter_guard_mm": guard_mm})
        answers = TreeAnswers(stages={Stage.LIMBS: measure})
        tree = score_tree(held, answers, method=Method.LADDER, stages=(Stage.LIMBS,))
        return set(tree.stages[Stage.LIMBS].faults) & {Fault.TOO_FEW, Fault.TOO_MANY}

    assert faults(2.0) <= faults(1.0) <= faults(0.0)


@given(standards(), heading_measures)
def test_a_wider_guard_band_never_fails_a_heading(standard, measure):
    def result(guard_mm: float) -> Result:
        held = standard.model_copy(update={"diameter_guard_mm": guard_mm})
        answers = TreeAnswers(stages={Stage.HEADING: measure})
        tree = score_tree(held, answers, method=Method.LADDER, stages=(Stage.HEADING,))
        return tree.stages[Stage.HEADING].result

    if result(0.0) is Result.CONFORMING:
        assert result(2.0) is Result.CONFORMING


@given(
    st.floats(-1e6, 1e6, allow_nan=False),
    st.floats(0, 1e6, allow_nan=False),
    st.floats(1e-3, 1e6, allow_nan=False),
)
def test_desirability_is_a_falling_share(distance, further, outer):
    near, far = desirability(distance, outer), desirability(distance + further, outer)
    assert 0 <= far <= near <= 1
