"""The figures of a lot's plans, and the sentences made of them."""

from itertools import combinations, pairwise
from math import comb, prod

import pytest
from scipy import stats

from audits.errors import InvalidInput
from audits.lot_figures import (
    QUALITY_CHANCES,
    consequences,
    curve_points,
    curve_table,
    figures_of_standard,
    lot_figures,
)
from audits.lot_plans import plan_lot
from audits.lot_words import (
    A_LOT,
    consequence_sentence,
    goes_back_sentence,
    limit_sentence,
    numbers_in_short,
    often,
    promise_sentence,
    table_words,
    times,
    walk_words,
)
from audits.sampling import (
    DoublePlan,
    Inspection,
    InspectionLevel,
    MeasuredPlan,
    PlanKind,
    SinglePlan,
    VariablesPlan,
    WavePlan,
    walk_sizes,
)
from audits.standard import Promise, SamplingRule, preset
from audits.vocabulary import BearingHabit, PlanMethod, Stage, Strictness

FOUR = list(Stage)
USUAL = Promise()


def standard(**changes):
    return preset(BearingHabit.SPUR, 3350.0).model_copy(update=changes)


def by_table(**changes):
    return standard(sampling=SamplingRule(method=PlanMethod.TABLE, **changes))


def said(messages):
    return [str(message) for message in messages]


def slow_trees(plan, bad, lot_size):
    """Walk every placing of the bad trees among the sample, tree by tree."""
    total = 0.0
    for found in range(min(bad, plan.sample_size) + 1):
        for places in combinations(range(plan.sample_size), found):
            weight = comb(lot_size - plan.sample_size, bad - found) / comb(lot_size, bad)
            total += weight * _ends_at(plan, set(places))
    return total


def _ends_at(plan, places):
    seen = 0
    for tree in range(plan.sample_size):
        seen += tree in places
        left = plan.sample_size - tree - 1
        if seen >= plan.rejection_number or seen + left < plan.rejection_number:
            return tree + 1
    raise AssertionError


def test_chances_are_those_of_the_hypergeometric_law():
    figures = lot_figures({Stage.TOP: SinglePlan(25, 3)}, {Stage.TOP: USUAL}, 310)
    stage = figures.stages[0]
    # 5 % of 310 rounded down, 25 % rounded up.
    assert (stage.acceptable.nonconforming, stage.rejectable.nonconforming) == (15, 78)
    for point in (stage.acceptable, stage.rejectable):
        assert point.chance == pytest.approx(stats.hypergeom(310, point.nonconforming, 25).cdf(3))


def test_trees_of_a_stage_alone_are_those_of_every_walk():
    plan = SinglePlan(5, 1)
    stage = lot_figures({Stage.TOP: plan}, {Stage.TOP: USUAL}, 40).stages[0]
    assert stage.expected_trees == pytest.approx(slow_trees(plan, 2, 40))
    assert stage.expected_trees_rejectable == pytest.approx(slow_trees(plan, 10, 40))


def test_a_quality_is_accepted_as_often_as_said_and_one_more_tree_is_not():
    plan = WavePlan((20, 33), (2, 4), (5, 5))
    stage = lot_figures({Stage.TOP: plan}, {Stage.TOP: USUAL}, 310).stages[0]
    chances = [point.chance for point in curve_points(plan, 310)]
    for fraction, wanted in zip(stage.accepted_fractions, QUALITY_CHANCES, strict=True):
        count = round(fraction * 310)
        assert chances[count] >= wanted > chances[count + 1]


def test_the_curve_falls_from_always_to_never_by_whole_trees():
    points = curve_points(DoublePlan(16, 1, 4, 16, 4), 60)
    assert [point.nonconforming for point in points] == list(range(61))
    assert points[0].chance == 1.0
    assert points[-1].chance == 0.0
    assert all(later.chance <= earlier.chance + 1e-12 for earlier, later in pairwise(points))
    assert len(curve_points(SinglePlan(5, 0), 60, most=7)) == 8


def test_the_table_of_a_curve_holds_the_promised_points_and_goes_beyond():
    written = by_table()
    stage = figures_of_standard(written, plan_lot(written, 310, [Stage.TOP]), 310).stages[0]
    counts = [point.nonconforming for point in curve_table(stage)]
    assert {0, 15, 20, 78} <= set(counts)
    assert counts == sorted(set(counts))
    assert 78 < counts[-1] <= 310
    chances = {point.nonconforming: point.chance for point in curve_points(stage.plan, 310)}
    assert all(point.chance == chances[point.nonconforming] for point in curve_table(stage))


def test_a_lot_good_in_all_stages_goes_back_when_any_stage_does():
    stages = {Stage.TOP: SinglePlan(30, 4), Stage.LIMBS: SinglePlan(20, 1)}
    figures = lot_figures(stages, dict.fromkeys(stages, USUAL), 300)
    passed = [stats.hypergeom(300, 15, 30).cdf(4), stats.hypergeom(300, 15, 20).cdf(1)]
    assert figures.goes_back == pytest.approx(1 - prod(passed))
    assert figures.largest_sample == 30


def test_trees_for_all_stages_lie_between_the_slowest_alone_and_the_sample():
    figures = lot_figures(
        dict.fromkeys(FOUR, WavePlan((20, 33), (2, 4), (5, 5))), dict.fromkeys(FOUR, USUAL), 310
    )
    assert figures.stages[0].expected_trees < figures.expected_trees < 33
    assert 0 < figures.expected_trees_one_rejectable <= 33


def test_a_single_stage_alone_is_the_whole_lot():
    figures = lot_figures({Stage.TOP: SinglePlan(25, 3)}, {Stage.TOP: USUAL}, 300)
    assert figures.expected_trees == pytest.approx(figures.stages[0].expected_trees)
    assert figures.expected_trees_one_rejectable == pytest.approx(
        figures.stages[0].expected_trees_rejectable
    )
    assert figures.goes_back == pytest.approx(1 - figures.stages[0].acceptable.chance)


def test_minutes_follow_from_the_seconds_a_tree():
    figures = lot_figures(
        {Stage.TOP: SinglePlan(25, 3)}, {Stage.TOP: USUAL}, 300, seconds_a_tree=90
    )
    assert figures.expected_minutes == pytest.approx(figures.expected_trees * 1.5)
    assert figures.most_minutes == 37.5


def test_stages_are_told_together_only_where_plan_and_promise_agree():
    stricter = Promise(acceptable_fraction=0.02, rejectable_fraction=0.25)
    plan = SinglePlan(25, 3)
    figures = lot_figures(
        dict.fromkeys(FOUR, plan), dict.fromkeys(FOUR, USUAL) | {Stage.LIMBS: stricter}, 300
    )
    groups = [[each.stage for each in group] for group in figures.alike]
    assert groups == [[Stage.TOP, Stage.COLUMNS, Stage.HEADING], [Stage.LIMBS]]


def test_stages_stand_from_the_top_of_the_tree_down():
    plans = {stage: SinglePlan(25, 3) for stage in reversed(FOUR)}
    figures = lot_figures(plans, dict.fromkeys(FOUR, USUAL), 300)
    assert [each.stage for each in figures.stages] == FOUR


def test_of_a_measured_stage_the_figures_hold_whichever_way_is_taken():
    plan = MeasuredPlan(VariablesPlan(24, 1.1), WavePlan((24, 53), (1, 7), (6, 8)))
    stage = lot_figures({Stage.TOP: plan}, {Stage.TOP: USUAL}, 310).stages[0]
    counted = lot_figures({Stage.TOP: plan.counted}, {Stage.TOP: USUAL}, 310).stages[0]
    mean = curve_points(plan, 310)
    assert stage.acceptable.chance <= min(counted.acceptable.chance, mean[15].chance)
    assert stage.rejectable.chance >= max(counted.rejectable.chance, mean[78].chance)
    assert stage.expected_trees == 24
    assert "passes at least" in str(promise_sentence(stage))
    figures = lot_figures({Stage.TOP: plan}, {Stage.TOP: USUAL}, 310)
    assert "goes back at most" in str(goes_back_sentence(figures))
    assert said(walk_words(plan, 310, (24, 53)))[:3] == [
        "All of the first 24 trees are measured; then mean and spread decide.",
        "Where the measures do not allow it, the bad trees are counted.",
        "Walk out: 24 trees.",
    ]
    assert str(numbers_in_short(plan)).startswith("by mean and spread of 24 trees; if counted, ")


def test_a_stricter_choice_lets_fewer_bad_lots_pass_for_more_trees():
    found = consequences(standard(), 310, FOUR)
    assert [each.strictness for each in found] == list(Strictness)
    bad = [each.figures.stages[0].rejectable.chance for each in found]
    trees = [each.figures.expected_trees for each in found]
    assert bad[0] > bad[1] > bad[2]
    assert trees[0] < trees[1] < trees[2]
    assert bad[1] <= 0.10
    assert bad[2] <= 0.05


def test_plans_of_the_tables_know_no_stricter():
    assert [each.strictness for each in consequences(by_table(), 310, FOUR)] == [
        Strictness.AS_WRITTEN
    ]


def test_a_lot_too_small_for_the_tables_says_so():
    with pytest.raises(InvalidInput, match="2 trees or more"):
        consequences(by_table(), 1, [Stage.TOP])


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (1.0, "100 times in 100"),
        (0.9999, "more than 99 times in 100"),
        (0.9951, "more than 99 times in 100"),
        (0.9949, "99 times in 100"),
        (0.0149, "1 time in 100"),
        (0.0051, "1 time in 100"),
        (0.0049, "less than 1 time in 100"),
        (1e-300, "less than 1 time in 100"),
        (0.0, "0 times in 100"),
    ],
)
def test_rounding_makes_nothing_certain(chance, words):
    assert str(often(chance)) == words
    assert str(times(chance)) == words.removesuffix(" in 100")


def test_the_promise_reads_as_people_say_it():
    figures = lot_figures({Stage.TOP: SinglePlan(25, 3)}, {Stage.TOP: USUAL}, 300)
    # Hypergeometric law of 300 trees: 0.9725 with 15 bad trees, 0.0866 with 75 (scipy 1.16).
    assert str(promise_sentence(figures.stages[0])) == (
        "A row with 5 in 100 bad trees passes 97 times in 100; one with 25 in 100 passes 9 times."
    )
    assert str(promise_sentence(figures.stages[0], A_LOT)).startswith("A lot with 5 in 100")


def test_a_consequence_is_told_against_the_standard():
    lighter, written, stricter = consequences(standard(), 310, FOUR)
    assert "passes 20 times in 100 instead of 10; about 6 fewer trees." in str(
        consequence_sentence(lighter.strictness, lighter.figures, written.figures)
    )
    assert "passes 5 times in 100 instead of 10; about 6 more trees." in str(
        consequence_sentence(stricter.strictness, stricter.figures, written.figures)
    )
    assert "instead" not in str(
        consequence_sentence(written.strictness, written.figures, written.figures)
    )


def test_a_walk_is_told_wave_by_wave():
    plan = WavePlan((16, 21, 34), (None, 2, 4), (5, 22, 5))
    assert said(walk_words(plan, 310, walk_sizes([plan]))) == [
        "Walk out: 16 trees.",
        "No stage is accepted yet; one with 5 bad trees goes back.",
        "Else walk back: 5 more trees.",
        "A stage with up to 2 bad trees by then is accepted; none goes back.",
        "Else walk out again: 13 more trees, up to 4 of 34 allowed.",
    ]
    assert str(numbers_in_short(plan)) == (
        "accepted with up to 2 bad trees of 21, else up to 4 of 34"
    )


def test_a_stage_that_decides_elsewhere_than_the_walk_turns_is_told_by_trees():
    plans = [SinglePlan(20, 0), WavePlan((14, 30), (0, 4), (4, 5))]
    assert said(walk_words(plans[0], 310, walk_sizes(plans))) == [
        "The first 20 trees of the walk.",
        "A stage without a bad tree by then is accepted, one with 1 goes back.",
    ]
    assert said(walk_words(plans[1], 310, walk_sizes(plans)))[-1] == (
        "Else 16 more trees, up to 4 of 30 allowed."
    )


def test_a_walk_of_four_waves_goes_out_and_back_twice():
    plan = WavePlan((5, 9, 12, 20), (None, None, 0, 0), (None, 3, 2, 1))
    assert said(walk_words(plan, 310, walk_sizes([plan]))) == [
        "Walk out: 5 trees.",
        "Nothing is decided yet.",
        "Else walk back: 4 more trees.",
        "No stage is accepted yet; one with 3 bad trees goes back.",
        "Else walk out again: 3 more trees.",
        "A stage without a bad tree by then is accepted, one with 2 goes back.",
        "Else walk back: 8 more trees, none of 20 allowed.",
    ]
    assert said(walk_words(plan, 310, (5, 9, 12, 15, 20)))[2] == "Else 4 more trees."


def test_one_sample_is_a_loop_unless_it_is_the_lot():
    plan = SinglePlan(12, 1)
    assert said(walk_words(plan, 300, (12,)))[0].startswith("Walk a loop: 12 trees")
    assert said(walk_words(plan, 12, (12,)))[0] == "All 12 trees of the lot are looked at."
    assert str(numbers_in_short(SinglePlan(5, 0))) == "accepted without a bad tree among 5"


def test_the_gap_of_reduced_inspection_is_told():
    plan = SinglePlan(20, 2, 5)
    assert said(walk_words(plan, 310, (20,)))[-1] == (
        "With more than 2 and less than 5 bad trees it is still accepted, but reduced inspection "
        "ends."
    )


def test_where_a_choice_changes_no_trees_it_says_so():
    figures = lot_figures({Stage.TOP: SinglePlan(25, 3)}, {Stage.TOP: USUAL}, 300)
    sentence = str(consequence_sentence(Strictness.STRICTER, figures, figures))
    assert sentence.endswith("passes 9 times in 100 instead of 9; about as many trees.")


def test_a_lot_is_good_in_every_stage_and_goes_back_all_the_same():
    figures = lot_figures({Stage.TOP: SinglePlan(25, 3)}, {Stage.TOP: USUAL}, 300)
    # 1 - 0.9725 (scipy 1.16).
    assert str(goes_back_sentence(figures, A_LOT)) == (
        "A lot that is good in every stage goes back 3 times in 100, by chance alone."
    )


# MIL-STD-105E, Table I: a lot of 281 to 500 at level II is H, at S-2 it is C. Table II-A, AQL 0.65:
# the arrow below C leads down to F; in Table II-B, AQL 0.65 at H leads to J.
def test_the_place_in_the_tables_is_named():
    named = table_words(by_table().sampling, 310)
    assert "Table II-A" in str(named)
    assert "code letter H; AQL 6.5." in str(named)
    special = SamplingRule(
        method=PlanMethod.TABLE,
        acceptable_quality_limit=0.65,
        inspection_level=InspectionLevel.SPECIAL_2,
    )
    assert "code letter C; AQL 0.65. The arrow there leads to the plan of F." in str(
        table_words(special, 310)
    )
    double = by_table(table_kind=PlanKind.DOUBLE).sampling
    assert "Table III-B" in str(table_words(double, 310, Inspection.TIGHTENED))


def test_the_limit_of_the_tables_is_held_against_the_acceptable_fraction():
    written = by_table()
    figures = figures_of_standard(written, plan_lot(written, 300, [Stage.TOP]), 300)
    stage = figures.stages[0]
    # 6.5 % of 300 is 19.5: half a tree counts as one.
    assert stage.at_limit.nonconforming == 20
    assert stage.at_limit.chance == pytest.approx(stats.hypergeom(300, 20, 50).cdf(7))
    assert "At the AQL of 6.5 in 100 it passes" in str(limit_sentence(stage))
    plain = lot_figures({Stage.TOP: SinglePlan(25, 3)}, {Stage.TOP: USUAL}, 300).stages[0]
    with pytest.raises(InvalidInput):
        limit_sentence(plain)
