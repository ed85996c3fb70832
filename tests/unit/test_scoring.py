"""
The scoring engine: each stage, each fault, each rule of what is due.

The criteria under test are those of the written standard: the defaults are the published or
customary ones named in audits/standard.py; the guard band follows ISO 14253-1 (the uncertainty
counts against the one who claims a fault), the points Derringer and Suich (1980). Every expected
value here is worked out by hand from these rules.
"""

import pytest

from audits.errors import InvalidInput
from audits.scoring import (
    ClassAnswer,
    ColumnsMeasure,
    HeadingMeasure,
    LimbsMeasure,
    Missed,
    StageScore,
    Tap,
    TopMeasure,
    TreeAnswers,
    desirability,
    judged_side,
    measured_limits,
    measured_value,
    possible_faults,
    read_answers,
    score_tree,
)
from audits.standard import (
    ColumnsRule,
    HeadingStageRule,
    LimbsRule,
    Standard,
    TopRule,
)
from audits.vocabulary import (
    STAGE_FAULTS,
    Fault,
    HeadingRule,
    Method,
    Result,
    Side,
    Stage,
)

TARGET_MM = 3000.0
CONFORMING = Result.CONFORMING
NONCONFORMING = Result.NONCONFORMING


def written_standard(**changes) -> Standard:
    """Target 3,000 +/- 150 mm, outer limit 450; 2 or 3 limbs; heading 6 to 9 mm."""
    parts = {
        "top": TopRule(target_mm=TARGET_MM),
        "limbs": LimbsRule(least=2, most=3),
        "columns": ColumnsRule(),
        "heading": HeadingStageRule(rule=HeadingRule.REQUIRED),
        "row_spacing_mm": 3350.0,
    }
    return Standard(**(parts | changes))


def scored(answer, stage: Stage, standard: Standard | None = None, method=Method.LADDER):
    answers = TreeAnswers(stages={stage: answer})
    tree = score_tree(standard or written_standard(), answers, method=method, stages=(stage,))
    return tree.stages[stage]


def top(height_mm: float, method=Method.LADDER, **details) -> StageScore:
    return scored(TopMeasure(height_mm=height_mm, **details), Stage.TOP, method=method)


def limbs(cut_mm, standing_mm=(), faults=(), standard=None) -> StageScore:
    measure = LimbsMeasure(cut_mm=cut_mm, standing_mm=standing_mm, faults=faults)
    return scored(measure, Stage.LIMBS, standard)


def columns(looked_at: int, single: int, *faults: Fault) -> StageScore:
    measure = ColumnsMeasure(looked_at=looked_at, single=single, faults=faults)
    return scored(measure, Stage.COLUMNS)


def heading(*diameters_mm: float, left_long: int = 0, standard=None) -> StageScore:
    measure = HeadingMeasure(diameters_mm=diameters_mm, left_long=left_long)
    return scored(measure, Stage.HEADING, standard)


class TestTop:
    @pytest.mark.parametrize("height_mm", [2850.0, 2999.9, 3000.0, 3150.0])
    def test_inside_the_band_and_on_its_limits_a_top_conforms(self, height_mm):
        assert top(height_mm) == StageScore(CONFORMING, (), 100.0)

    @pytest.mark.parametrize(
        ("height_mm", "fault"), [(3150.01, Fault.HIGH), (2849.99, Fault.LOW), (3600.0, Fault.HIGH)]
    )
    def test_beyond_the_band_it_does_not(self, height_mm, fault):
        result = top(height_mm)
        assert (result.result, result.faults) == (NONCONFORMING, (fault,))

    @pytest.mark.parametrize(
        ("height_mm", "points"),
        # 300 mm lie between the band (150) and the outer limit (450).
        [(3225.0, 75.0), (3300.0, 50.0), (2700.0, 50.0), (3450.0, 0.0), (2300.0, 0.0)],
    )
    def test_points_fall_in_a_straight_line_to_the_outer_limit(self, height_mm, points):
        assert top(height_mm).points == pytest.approx(points, abs=1e-9)

    def test_a_cut_without_a_side_branch_is_blunt_and_gives_no_points(self):
        assert top(3000, to_side_branch=False) == StageScore(NONCONFORMING, (Fault.BLUNT,), 0.0)

    def test_a_leader_taken_too_young_gives_no_points(self):
        assert top(3000, leader_young=True) == StageScore(NONCONFORMING, (Fault.LEADER_YOUNG,), 0.0)

    def test_several_faults_stand_in_the_vocabularys_order(self):
        result = top(3300, to_side_branch=False)
        assert result == StageScore(NONCONFORMING, (Fault.HIGH, Fault.BLUNT), 0.0)

    def test_machine_topped_rows_are_not_asked_for_a_side_branch(self):
        assert top(3000, Method.MACHINE_TOPPED, to_side_branch=False).result is CONFORMING

    def test_a_standard_may_not_ask_for_a_side_branch(self):
        standard = written_standard(top=TopRule(target_mm=TARGET_MM, to_side_branch=False))
        measure = TopMeasure(height_mm=3000, to_side_branch=False)
        assert scored(measure, Stage.TOP, standard).result is CONFORMING

    def test_an_untopped_tree_below_the_target_is_not_due(self):
        assert top(2999.99, topped=False) == StageScore(Result.NOT_DUE)

    def test_an_old_or_storm_broken_low_top_is_not_due(self):
        assert top(1500, topped=False) == StageScore(Result.NOT_DUE)

    def test_an_untopped_tree_within_the_tolerance_conforms(self):
        assert top(3100, topped=False, to_side_branch=False).result is CONFORMING

    def test_an_untopped_tree_above_the_band_is_too_high(self):
        result = top(3200, topped=False, to_side_branch=False)
        assert result.faults == (Fault.HIGH,)

    def test_a_leader_that_was_not_cut_was_not_taken_too_young(self):
        assert top(3000, topped=False, leader_young=True).result is CONFORMING


class TestLimbs:
    @pytest.mark.parametrize("cuts", [(25, 25), (25, 30, 40)])
    def test_removals_in_range_conform(self, cuts):
        assert limbs(cuts, (25,)) == StageScore(CONFORMING, (), 100.0)

    def test_fewer_conform_when_no_large_limb_is_left(self):
        assert limbs((25,), (15,)).result is CONFORMING
        assert limbs((), ()).result is CONFORMING

    def test_fewer_with_a_large_limb_left_are_too_few(self):
        result = limbs((25,), (26,))
        # One short of two, and two short would be worth nothing.
        assert result == StageScore(NONCONFORMING, (Fault.TOO_FEW,), 50.0)

    def test_more_than_the_range_are_too_many(self):
        assert limbs((25, 25, 25, 25)) == StageScore(NONCONFORMING, (Fault.TOO_MANY,), 50.0)

    def test_points_end_where_two_removals_are_beyond_the_range(self):
        assert limbs((25,) * 5).points == 0.0

    def test_small_cuts_do_not_count_as_removals(self):
        assert limbs((25, 25, 25, 10, 10, 10)).result is CONFORMING

    @pytest.mark.parametrize("diameter_mm", [18.01, 19.0, 19.99])
    def test_a_cut_on_the_line_counts_whichever_way_helps(self, diameter_mm):
        # Large is 19 mm or more; within 1 mm a diameter is on the line.
        assert limbs((25, 25, 25, diameter_mm)).result is CONFORMING
        assert limbs((25, diameter_mm), (20.5,)).result is CONFORMING

    def test_beyond_the_guard_band_a_cut_counts_as_what_it_is(self):
        assert limbs((25, 25, 25, 20.0)).faults == (Fault.TOO_MANY,)
        assert limbs((25, 18.0), (20.5,)).faults == (Fault.TOO_FEW,)

    def test_a_standing_limb_on_the_line_is_not_held_against_anyone(self):
        assert limbs((25,), (19.99,)).result is CONFORMING
        assert limbs((25,), (20.0,)).faults == (Fault.TOO_FEW,)

    @pytest.mark.parametrize(
        ("standing_mm", "result"), [(28.0, NONCONFORMING), (27.99, CONFORMING), (27.0, CONFORMING)]
    )
    def test_the_wrong_limb_came_out_when_one_standing_is_3_mm_thicker(self, standing_mm, result):
        assert limbs((25, 30), (standing_mm,)).result is result

    def test_the_limit_holds_for_hundredths_of_a_millimetre(self):
        # As binary fractions 32.01 - 29.01 comes to a little less than 3.
        assert limbs((29.01, 40), (32.01,)).faults == (Fault.WRONG_LIMB,)

    def test_a_shoot_cut_off_the_trunk_was_no_limb_and_so_not_the_wrong_one(self):
        assert limbs((25, 30, 10), (26,)).result is CONFORMING
        assert limbs((12,), (13,)).result is CONFORMING

    def test_the_wrong_limb_is_named_and_gives_no_points(self):
        assert limbs((25, 30), (40,)) == StageScore(NONCONFORMING, (Fault.WRONG_LIMB,), 0.0)

    @pytest.mark.parametrize(
        "fault", [Fault.FLUSH_CUT, Fault.LOW_STUB, Fault.LONG_STUB, Fault.TORN_BARK]
    )
    def test_a_fault_of_a_cut_fails_a_tree_whose_counts_are_right(self, fault):
        assert limbs((25, 25), faults=(fault,)) == StageScore(NONCONFORMING, (fault,), 0.0)

    def test_where_none_need_come_out_none_is_right(self):
        light = written_standard(limbs=LimbsRule(least=0, most=1))
        assert limbs((), (40,), standard=light).result is CONFORMING
        assert limbs((25, 25), standard=light).faults == (Fault.TOO_MANY,)

    @pytest.mark.parametrize(
        ("removed", "faults"),
        [(1, (Fault.TOO_FEW,)), (2, ()), (3, ()), (4, (Fault.TOO_MANY,))],
    )
    def test_a_tapped_count_is_judged_by_the_range(self, removed, faults):
        result = scored(ClassAnswer(tap=Tap.RIGHT, removed=removed), Stage.LIMBS)
        assert result.faults == faults

    def test_fewer_none_left_conforms(self):
        assert scored(ClassAnswer(tap=Tap.FEWER_NONE_LEFT), Stage.LIMBS).result is CONFORMING

    def test_nothing_due_is_no_answer_for_limbs(self):
        with pytest.raises(InvalidInput, match="how many limbs"):
            scored(ClassAnswer(tap=Tap.NOTHING_DUE), Stage.LIMBS)


class TestOnTheLimit:
    """
    Lengths are kept to 0.01 mm; sums of such numbers are not always the number written down.

    The inch values are whole inches of 25.4 mm, rounded as they are stored.
    """

    @pytest.mark.parametrize(("target_mm", "height_mm"), [(4013.2, 4165.6), (4165.6, 4013.2)])
    def test_a_height_on_the_limit_is_right(self, target_mm, height_mm):
        # 158 in and 164 in are 6 in apart. In doubles 4013.2 + 152.4 < 4165.6.
        standard = written_standard(top=TopRule(target_mm=target_mm, tolerance_mm=152.4))
        score = scored(TopMeasure(height_mm=height_mm), Stage.TOP, standard)
        assert score == StageScore(CONFORMING, (), 100.0)

    def test_a_limb_at_the_end_of_the_guard_band_is_large(self):
        # In doubles 15.06 + 1.0 > 16.06.
        standard = written_standard(limbs=LimbsRule(least=0, most=0, large_mm=15.06))
        assert limbs((16.06,), standard=standard).faults == (Fault.TOO_MANY,)

    @pytest.mark.parametrize("thickest_mm", [7.03, 7.04])
    def test_a_cut_at_the_end_of_the_guard_band_is_a_fault_and_loses_points(self, thickest_mm):
        # In doubles 7.03 + 1.0 > 8.03, and 8.04 - 7.04 < 1.0.
        rule = HeadingStageRule(rule=HeadingRule.REQUIRED, thickest_mm=thickest_mm)
        score = heading(round(thickest_mm + 1, 2), standard=written_standard(heading=rule))
        assert score == StageScore(NONCONFORMING, (Fault.THICK,), 75.0)


class TestColumns:
    @pytest.mark.parametrize("single", [4, 5])
    def test_four_of_five_single_columns_conform(self, single):
        assert columns(5, single) == StageScore(CONFORMING, (), 100.0)

    @pytest.mark.parametrize(
        ("single", "points"),
        # Three columns lie between the four asked for and the outer limit of one.
        [(3, 66.6666666667), (2, 33.3333333333), (1, 0.0), (0, 0.0)],
    )
    def test_fewer_fail_with_their_faults_and_falling_points(self, single, points):
        result = columns(5, single, Fault.FORK)
        assert (result.result, result.faults) == (NONCONFORMING, (Fault.FORK,))
        assert result.points == pytest.approx(points)

    @pytest.mark.parametrize(
        ("looked_at", "least_single"), [(4, 4), (3, 3), (2, 2), (1, 1), (10, 8)]
    )
    def test_with_another_number_of_branches_the_same_share_is_asked_for(
        self, looked_at, least_single
    ):
        assert columns(looked_at, least_single).result is CONFORMING
        assert columns(looked_at, least_single - 1, Fault.UPRIGHT).result is NONCONFORMING

    def test_no_branch_on_the_side_is_not_due(self):
        assert columns(0, 0) == StageScore(Result.NOT_DUE)

    def test_a_fault_on_the_branch_that_may_be_wrong_is_worth_no_result(self):
        assert columns(5, 4, Fault.SPURS_STRIPPED) == StageScore(CONFORMING, (), 100.0)

    def test_a_failed_tree_needs_a_named_fault(self):
        with pytest.raises(InvalidInput, match="Name the fault"):
            columns(5, 3)

    def test_more_single_columns_than_branches_cannot_be(self):
        with pytest.raises(InvalidInput, match="more single columns"):
            columns(3, 4)


class TestHeading:
    @pytest.mark.parametrize("diameter_mm", [6.0, 7.5, 9.0])
    def test_in_the_band_a_cut_conforms(self, diameter_mm):
        assert heading(diameter_mm) == StageScore(CONFORMING, (), 100.0)

    @pytest.mark.parametrize("diameter_mm", [9.99, 5.01])
    def test_within_the_guard_band_it_is_on_the_line(self, diameter_mm):
        assert heading(diameter_mm) == StageScore(CONFORMING, (), 100.0)

    @pytest.mark.parametrize(
        ("diameter_mm", "fault", "points"),
        # 4 mm beyond the band nothing is left: 1 mm beyond leaves 3/4 of the points.
        [(10.0, Fault.THICK, 75.0), (5.0, Fault.THIN, 75.0), (11.0, Fault.THICK, 50.0)],
    )
    def test_beyond_the_guard_band_it_is_a_fault(self, diameter_mm, fault, points):
        assert heading(diameter_mm) == StageScore(NONCONFORMING, (fault,), points)

    def test_one_of_three_may_be_wrong(self):
        assert heading(7, 8, 12).result is CONFORMING

    def test_that_one_still_costs_points(self):
        # 12 mm lies 3 mm beyond the band: a quarter of its points is left.
        assert heading(7, 8, 12).points == pytest.approx(100 * (1 + 1 + 0.25) / 3)

    def test_two_of_five_may_not(self):
        result = heading(7, 8, 8, 12, 4)
        assert (result.result, result.faults) == (NONCONFORMING, (Fault.THICK, Fault.THIN))

    def test_of_fewer_than_three_none_may_be_wrong(self):
        assert heading(7, 12).result is NONCONFORMING

    def test_a_due_branch_left_long_counts_as_wrong(self):
        assert heading(7, 7, left_long=1).result is CONFORMING
        assert heading(7, left_long=1).faults == (Fault.LEFT_LONG,)
        assert heading(left_long=1) == StageScore(NONCONFORMING, (Fault.LEFT_LONG,), 0.0)

    def test_nothing_thin_enough_is_not_due(self):
        assert heading() == StageScore(Result.NOT_DUE)

    def test_no_more_than_five_are_looked_at(self):
        assert heading(*[7] * 5).result is CONFORMING
        with pytest.raises(InvalidInput, match="no more than 5"):
            heading(*[7] * 5, left_long=1)

    def test_where_it_is_forbidden_any_heading_is_a_fault(self):
        forbidden = written_standard(heading=HeadingStageRule(rule=HeadingRule.FORBIDDEN))
        assert heading(7, standard=forbidden) == StageScore(NONCONFORMING, (Fault.FORBIDDEN,), 0.0)
        assert heading(left_long=3, standard=forbidden).result is CONFORMING

    def test_where_it_is_forbidden_nothing_due_is_right(self):
        forbidden = written_standard(heading=HeadingStageRule(rule=HeadingRule.FORBIDDEN))
        answer = ClassAnswer(tap=Tap.NOTHING_DUE)
        assert scored(answer, Stage.HEADING, forbidden).result is CONFORMING

    def test_off_it_is_no_stage_at_all(self):
        off = written_standard(heading=HeadingStageRule(rule=HeadingRule.OFF))
        tree = score_tree(off, TreeAnswers(), method=Method.LADDER)
        assert Stage.HEADING not in tree.stages

    def test_a_wider_guard_band_reaches_every_diameter(self):
        wide = written_standard(diameter_guard_mm=2.0)
        assert heading(10.9, standard=wide).result is CONFORMING
        assert limbs((25, 25, 25, 20.9), standard=wide).result is CONFORMING


class TestOneTap:
    @pytest.mark.parametrize("stage", [Stage.TOP, Stage.COLUMNS, Stage.HEADING])
    def test_right_and_nothing_due(self, stage):
        assert scored(ClassAnswer(tap=Tap.RIGHT), stage) == StageScore(CONFORMING, (), 100.0)
        assert scored(ClassAnswer(tap=Tap.NOTHING_DUE), stage) == StageScore(Result.NOT_DUE)

    @pytest.mark.parametrize(
        ("stage", "fault"),
        [
            (stage, fault)
            for stage, faults in STAGE_FAULTS.items()
            for fault in faults
            if fault is not Fault.FORBIDDEN
        ],
    )
    def test_every_fault_can_be_tapped(self, stage, fault):
        result = scored(ClassAnswer(tap=Tap.FAULT, faults=(fault,)), stage)
        assert result == StageScore(NONCONFORMING, (fault,), 0.0)

    def test_a_fault_needs_its_name(self):
        with pytest.raises(InvalidInput, match="Name the fault"):
            scored(ClassAnswer(tap=Tap.FAULT), Stage.TOP)

    def test_a_fault_of_another_stage_is_refused(self):
        with pytest.raises(InvalidInput, match="another stage"):
            scored(ClassAnswer(tap=Tap.FAULT, faults=(Fault.HIGH,)), Stage.LIMBS)

    def test_right_with_a_fault_is_refused(self):
        with pytest.raises(InvalidInput, match="cannot be right as well"):
            scored(ClassAnswer(tap=Tap.RIGHT, faults=(Fault.HIGH,)), Stage.TOP)

    def test_fewer_none_left_is_for_limbs_only(self):
        with pytest.raises(InvalidInput, match="limbs only"):
            scored(ClassAnswer(tap=Tap.FEWER_NONE_LEFT), Stage.TOP)

    def test_a_measure_of_another_stage_is_refused(self):
        with pytest.raises(InvalidInput, match="another stage"):
            scored(TopMeasure(height_mm=3000), Stage.LIMBS)

    def test_a_blunt_cut_is_no_fault_on_a_machine_topped_row(self):
        blunt = ClassAnswer(tap=Tap.FAULT, faults=(Fault.BLUNT,))
        with pytest.raises(InvalidInput, match="no fault here"):
            scored(blunt, Stage.TOP, method=Method.MACHINE_TOPPED)

    def test_headings_that_are_forbidden_have_no_diameters_to_be_wrong(self):
        forbidden = written_standard(heading=HeadingStageRule(rule=HeadingRule.FORBIDDEN))
        with pytest.raises(InvalidInput, match="no fault here"):
            scored(ClassAnswer(tap=Tap.FAULT, faults=(Fault.THICK,)), Stage.HEADING, forbidden)

    def test_the_faults_offered_are_those_that_can_be(self):
        forbidden = written_standard(
            heading=HeadingStageRule(rule=HeadingRule.FORBIDDEN), limbs=LimbsRule(least=0, most=1)
        )
        assert possible_faults(forbidden, Stage.HEADING, Method.LADDER) == (Fault.FORBIDDEN,)
        assert Fault.TOO_FEW not in possible_faults(forbidden, Stage.LIMBS, Method.LADDER)
        assert Fault.FORBIDDEN not in possible_faults(
            written_standard(), Stage.HEADING, Method.LADDER
        )
        assert Fault.BLUNT not in possible_faults(
            written_standard(), Stage.TOP, Method.MACHINE_TOPPED
        )

    @pytest.mark.parametrize(
        ("stage", "tapped", "measured"),
        [
            (Stage.TOP, Tap.RIGHT, TopMeasure(height_mm=3100)),
            (Stage.TOP, Tap.NOTHING_DUE, TopMeasure(height_mm=2000, topped=False)),
            (Stage.TOP, Fault.HIGH, TopMeasure(height_mm=3400)),
            (Stage.TOP, Fault.LOW, TopMeasure(height_mm=2500)),
            (Stage.TOP, Fault.BLUNT, TopMeasure(height_mm=3000, to_side_branch=False)),
            (Stage.TOP, Fault.LEADER_YOUNG, TopMeasure(height_mm=3000, leader_young=True)),
            (Stage.LIMBS, Tap.FEWER_NONE_LEFT, LimbsMeasure(cut_mm=(25,), standing_mm=(12,))),
            (Stage.LIMBS, Fault.TOO_FEW, LimbsMeasure(cut_mm=(30,), standing_mm=(25,))),
            (Stage.LIMBS, Fault.TOO_MANY, LimbsMeasure(cut_mm=(30,) * 4)),
            (Stage.LIMBS, Fault.WRONG_LIMB, LimbsMeasure(cut_mm=(25, 25), standing_mm=(35,))),
            (
                Stage.LIMBS,
                Fault.FLUSH_CUT,
                LimbsMeasure(cut_mm=(25, 25), faults=(Fault.FLUSH_CUT,)),
            ),
            (Stage.COLUMNS, Tap.RIGHT, ColumnsMeasure(looked_at=5, single=4)),
            (Stage.COLUMNS, Tap.NOTHING_DUE, ColumnsMeasure(looked_at=0, single=0)),
            (
                Stage.COLUMNS,
                Fault.FORK,
                ColumnsMeasure(looked_at=5, single=3, faults=(Fault.FORK,)),
            ),
            (Stage.HEADING, Tap.RIGHT, HeadingMeasure(diameters_mm=(7, 8))),
            (Stage.HEADING, Tap.NOTHING_DUE, HeadingMeasure()),
            (Stage.HEADING, Fault.THICK, HeadingMeasure(diameters_mm=(11, 7))),
            (Stage.HEADING, Fault.THIN, HeadingMeasure(diameters_mm=(4, 7))),
            (Stage.HEADING, Fault.LEFT_LONG, HeadingMeasure(diameters_mm=(7,), left_long=1)),
        ],
    )
    def test_a_tap_and_a_measure_give_the_same_result(self, stage, tapped, measured):
        by_tap = (
            ClassAnswer(tap=Tap.FAULT, faults=(tapped,))
            if isinstance(tapped, Fault)
            else ClassAnswer(tap=tapped)
        )
        one, other = scored(by_tap, stage), scored(measured, stage)
        assert (one.result, one.faults) == (other.result, other.faults)


class TestMissed:
    def test_a_missed_tree_fails_every_stage(self):
        tree = score_tree(written_standard(), TreeAnswers(missed=Missed.TREE), method=Method.LADDER)
        assert set(tree.stages.values()) == {StageScore(NONCONFORMING, (Fault.TREE_MISSED,), 0.0)}
        assert tree.points == 0.0

    def test_a_missed_side_fails_what_is_judged_on_the_side(self):
        answers = TreeAnswers(
            missed=Missed.SIDE,
            stages={
                Stage.TOP: ClassAnswer(tap=Tap.RIGHT),
                Stage.LIMBS: ClassAnswer(tap=Tap.FEWER_NONE_LEFT),
            },
        )
        stages = score_tree(written_standard(), answers, method=Method.LADDER).stages
        missed = StageScore(NONCONFORMING, (Fault.SIDE_MISSED,), 0.0)
        assert stages[Stage.COLUMNS] == stages[Stage.HEADING] == missed
        assert stages[Stage.TOP].result is stages[Stage.LIMBS].result is CONFORMING

    @pytest.mark.parametrize("missed", list(Missed))
    def test_nobody_headed_a_tree_that_was_missed(self, missed):
        forbidden = written_standard(heading=HeadingStageRule(rule=HeadingRule.FORBIDDEN))
        stages = score_tree(
            forbidden,
            TreeAnswers(missed=missed),
            method=Method.LADDER,
            stages=(Stage.HEADING,),
        ).stages
        assert stages[Stage.HEADING].result is CONFORMING

    @pytest.mark.parametrize(
        ("stage", "side"),
        [
            (Stage.TOP, Side.BOTH),
            (Stage.LIMBS, Side.BOTH),
            (Stage.COLUMNS, Side.LEFT),
            (Stage.HEADING, Side.LEFT),
        ],
    )
    def test_tops_and_limbs_are_judged_on_the_whole_tree(self, stage, side):
        assert judged_side(stage, Side.LEFT) is side


class TestTree:
    def test_a_stage_without_an_answer_is_not_scored_and_has_no_points(self):
        answers = TreeAnswers(stages={Stage.TOP: ClassAnswer(tap=Tap.RIGHT)})
        tree = score_tree(written_standard(), answers, method=Method.LADDER)
        assert tree.stages[Stage.LIMBS] == StageScore(Result.NOT_SCORED)
        assert tree.points == 100.0

    def test_points_are_the_weighted_mean_over_the_stages_that_were_due(self):
        standard = written_standard(
            top=TopRule(target_mm=TARGET_MM, weight=3.0), limbs=LimbsRule(weight=1.0)
        )
        answers = TreeAnswers(
            stages={
                Stage.TOP: TopMeasure(height_mm=3300),
                Stage.LIMBS: ClassAnswer(tap=Tap.RIGHT, removed=2),
                Stage.COLUMNS: ClassAnswer(tap=Tap.NOTHING_DUE),
            }
        )
        tree = score_tree(standard, answers, method=Method.LADDER)
        assert tree.points == pytest.approx((3 * 50 + 1 * 100) / 4)

    def test_a_tree_on_which_nothing_was_due_has_no_points(self):
        answers = TreeAnswers(stages={Stage.TOP: ClassAnswer(tap=Tap.NOTHING_DUE)})
        tree = score_tree(written_standard(), answers, method=Method.LADDER, stages=(Stage.TOP,))
        assert tree.points is None

    def test_every_stage_at_fault_is_named_at_once(self):
        answers = TreeAnswers(
            stages={
                Stage.TOP: ClassAnswer(tap=Tap.FAULT),
                Stage.COLUMNS: ColumnsMeasure(looked_at=2, single=3),
            }
        )
        with pytest.raises(InvalidInput) as refusal:
            score_tree(written_standard(), answers, method=Method.LADDER)
        assert set(refusal.value.problems) == {"top", "columns"}


class TestReading:
    @pytest.mark.parametrize(
        ("payload", "where"),
        [
            ({"stages": {"top": {"kind": "top", "height_mm": -5}}}, "top"),
            ({"stages": {"top": {"kind": "top", "height_mm": 99_000}}}, "top"),
            ({"stages": {"limbs": {"kind": "limbs", "cut_mm": [0]}}}, "limbs"),
            ({"stages": {"columns": {"kind": "columns", "looked_at": 5}}}, "columns"),
            ({"stages": {"heading": {"kind": "heading", "left_long": 99}}}, "heading"),
            ({"stages": {"top": {"kind": "class", "tap": "perhaps"}}}, "top"),
            ({"stages": {"top": {"kind": "song"}}}, "top"),
            ({"stages": {"roots": {"kind": "class", "tap": "right"}}}, "roots"),
            ({"stages": []}, "stages"),
            ({"missed": "both"}, "stages"),
            ([], "stages"),
        ],
    )
    def test_what_cannot_be_read_is_refused_at_its_stage(self, payload, where):
        with pytest.raises(InvalidInput) as refusal:
            read_answers(payload)
        assert where in refusal.value.problems

    def test_answers_read_back_from_what_is_stored(self):
        answers = TreeAnswers(
            missed=Missed.SIDE,
            stages={
                Stage.TOP: TopMeasure(height_mm=3000, leader_young=True),
                Stage.LIMBS: ClassAnswer(tap=Tap.FAULT, faults=(Fault.TOO_FEW, Fault.TORN_BARK)),
            },
        )
        assert read_answers(answers.model_dump(mode="json")) == answers


class TestDesirability:
    @pytest.mark.parametrize(
        ("distance", "share"), [(-1.0, 1.0), (0.0, 1.0), (100.0, 0.75), (400.0, 0.0), (401.0, 0.0)]
    )
    def test_it_falls_from_1_to_0_and_stays_there(self, distance, share):
        # Derringer and Suich 1980, one-sided case with exponent 1.
        assert desirability(distance, 400.0) == share


class TestMeasuredLengths:
    @pytest.mark.parametrize(
        ("stage", "answer", "value"),
        [
            (Stage.TOP, TopMeasure(height_mm=2_990), 2_990),
            (Stage.TOP, ClassAnswer(tap=Tap.RIGHT), None),
            (Stage.HEADING, HeadingMeasure(diameters_mm=(7.5,)), 7.5),
            (Stage.HEADING, HeadingMeasure(diameters_mm=(7.5, 8.0)), None),
            (Stage.HEADING, HeadingMeasure(diameters_mm=(7.5,), left_long=1), None),
            (Stage.HEADING, HeadingMeasure(left_long=1), None),
            (Stage.LIMBS, LimbsMeasure(cut_mm=(25.0,)), None),
        ],
    )
    def test_a_stage_has_one_only_where_one_length_decides(self, stage, answer, value):
        assert measured_value(stage, TreeAnswers(stages={stage: answer})) == value

    @pytest.mark.parametrize(
        ("missed", "stage", "value"),
        [
            (Missed.TREE, Stage.TOP, None),
            (Missed.SIDE, Stage.TOP, 2_990),
            (Missed.SIDE, Stage.HEADING, None),
        ],
    )
    def test_what_was_missed_has_none(self, missed, stage, value):
        answers = {
            Stage.TOP: TopMeasure(height_mm=2_990),
            Stage.HEADING: HeadingMeasure(diameters_mm=(7.5,)),
        }
        assert measured_value(stage, TreeAnswers(missed=missed, stages=answers)) == value

    def test_a_stage_without_an_answer_has_none(self):
        assert measured_value(Stage.TOP, TreeAnswers()) is None

    @pytest.mark.parametrize(
        ("stage", "within", "beyond"),
        [
            (Stage.TOP, (2_850.0, 3_150.0), (2_849.9, 3_150.1)),
            (Stage.HEADING, (5.1, 9.9), (5.0, 10.0)),
        ],
    )
    def test_the_limits_are_those_by_which_a_tree_fails(self, stage, within, beyond):
        heading = HeadingStageRule(rule=HeadingRule.REQUIRED, looked_at=1, most_wrong=0)
        standard = written_standard(heading=heading)

        def result(value):
            measure = (
                TopMeasure(height_mm=value)
                if stage is Stage.TOP
                else HeadingMeasure(diameters_mm=(value,))
            )
            answers = TreeAnswers(stages={stage: measure})
            return score_tree(standard, answers, method=Method.LADDER).stages[stage].result

        lower, upper = measured_limits(standard, stage)
        assert beyond[0] <= lower <= within[0]
        assert within[1] <= upper <= beyond[1]
        assert {result(value) for value in within} == {CONFORMING}
        assert {result(value) for value in beyond} == {NONCONFORMING}

    @pytest.mark.parametrize("stage", [Stage.LIMBS, Stage.COLUMNS])
    def test_other_stages_have_no_one_length(self, stage):
        with pytest.raises(ValueError, match="no single length"):
            measured_limits(written_standard(), stage)
