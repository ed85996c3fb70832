"""The written standard: presets, contradictions, and what each refusal says."""

import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH
from audits.standard import (
    ColumnsRule,
    HeadingStageRule,
    LimbsRule,
    Standard,
    TopRule,
    asks_for_side_branch,
    contradictions,
    preset,
    read_standard,
)
from audits.vocabulary import BearingHabit, HeadingRule, Method, Stage

ROW_SPACING_MM = 3_352.8


def payload(**changes) -> dict:
    stored = preset(BearingHabit.STANDARD, ROW_SPACING_MM).model_dump(mode="json")
    for name, value in changes.items():
        target = stored
        *path, last = name.split("__")
        for part in path:
            target = target[part]
        target[last] = value
    return stored


class TestPreset:
    def test_the_target_is_nine_tenths_of_the_row_spacing(self):
        # Height limit 0.9 x row width: J. Clements, report of a pruning demonstration, 2009.
        assert preset(BearingHabit.SPUR, ROW_SPACING_MM).top.target_mm == pytest.approx(3_017.52)

    def test_two_limbs_come_out(self):
        limbs = preset(BearingHabit.STANDARD, ROW_SPACING_MM).limbs
        assert (limbs.least, limbs.most, limbs.large_mm) == (2, 2, 19.0)

    @pytest.mark.parametrize("why", ["young", "low_bloom"])
    def test_young_and_low_bloom_blocks_are_pruned_lighter(self, why):
        limbs = preset(BearingHabit.STANDARD, ROW_SPACING_MM, **{why: True}).limbs
        assert (limbs.least, limbs.most) == (0, 1)

    @pytest.mark.parametrize("habit", list(BearingHabit))
    def test_heading_is_off_until_asked_for_and_forbidden_on_tip_bearers(self, habit):
        rule = preset(habit, ROW_SPACING_MM).heading.rule
        expected = HeadingRule.FORBIDDEN if habit is BearingHabit.TIP else HeadingRule.OFF
        assert rule is expected

    def test_a_heading_that_is_off_is_no_stage_in_use(self):
        assert preset(BearingHabit.SPUR, ROW_SPACING_MM).stages_in_use == (
            Stage.TOP,
            Stage.LIMBS,
            Stage.COLUMNS,
        )
        assert Stage.HEADING in preset(BearingHabit.TIP, ROW_SPACING_MM).stages_in_use

    def test_it_reads_back_from_what_is_stored(self):
        proposed = preset(BearingHabit.TIP, ROW_SPACING_MM, top_wire_mm=3_050)
        assert read_standard(proposed.model_dump(mode="json")) == proposed


class TestRefusals:
    @pytest.mark.parametrize(
        ("changes", "field", "sentence"),
        [
            ({"top__target_mm": 100}, "top.target_mm", "Must be more than 20 in."),
            ({"top__tolerance_mm": -1}, "top.tolerance_mm", "Must be more than 0 in."),
            ({"limbs__large_mm": 150}, "limbs.large_mm", "Must be at most 3 15/16 in."),
            ({"limbs__least": -1}, "limbs.least", "Must be at least 0."),
            ({"heading__most_wrong": 9}, "heading.most_wrong", "Must be at most 5."),
            ({"consumer_risk": 0.5}, "consumer_risk", "Must be less than 50 %."),
            (
                {"top__promise__acceptable_fraction": 0},
                "top.promise.acceptable_fraction",
                "Must be more than 0 %.",
            ),
            ({"limb_caller": "the dog"}, "limb_caller", "This value cannot be read."),
            ({"columns__branches": "five"}, "columns.branches", "This value cannot be read."),
        ],
    )
    def test_a_value_out_of_range_says_so_at_its_field(self, changes, field, sentence):
        with pytest.raises(InvalidInput) as refusal:
            read_standard(payload(**changes))
        assert ENGLISH.say(refusal.value.problems[field]) == sentence

    def test_a_missing_value_is_asked_for(self):
        stored = payload()
        del stored["top"]["target_mm"]
        with pytest.raises(InvalidInput) as refusal:
            read_standard(stored)
        assert str(refusal.value.problems["top.target_mm"]) == "Fill in this value."

    def test_an_unknown_field_is_refused(self):
        with pytest.raises(InvalidInput) as refusal:
            read_standard(payload() | {"roots": {}})
        assert set(refusal.value.problems) == {"roots"}

    def test_all_fields_at_fault_are_named_at_once(self):
        with pytest.raises(InvalidInput) as refusal:
            read_standard(payload(top__target_mm=1, limbs__least=-1))
        assert set(refusal.value.problems) == {"top.target_mm", "limbs.least"}

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            (
                {"top__in_use": False, "limbs__in_use": False, "columns__in_use": False},
                "top.in_use",
            ),
            (
                {"top__promise__acceptable_fraction": 0.25},
                "top.promise.acceptable_fraction",
            ),
            ({"top__outer_mm": 150}, "top.outer_mm"),
            ({"limbs__most": 1}, "limbs.most"),
            ({"columns__least_single": 6}, "columns.least_single"),
            ({"columns__outer_single": 4}, "columns.outer_single"),
            ({"heading__thickest_mm": 6.0}, "heading.thickest_mm"),
            ({"heading__outer_mm": 1.0}, "heading.outer_mm"),
        ],
    )
    def test_criteria_that_cannot_hold_together_are_refused(self, changes, field):
        with pytest.raises(InvalidInput) as refusal:
            read_standard(payload(**changes))
        assert set(refusal.value.problems) == {field}

    def test_the_promise_of_a_stage_that_is_not_in_use_is_left_alone(self):
        stored = payload(heading__promise__acceptable_fraction=0.5)
        assert read_standard(stored).heading.rule is HeadingRule.OFF


class TestRules:
    def written(self, **changes) -> Standard:
        parts = {"top": TopRule(target_mm=3_000), "row_spacing_mm": 3_350.0}
        return Standard(**(parts | changes))

    def test_each_stage_has_its_rule(self):
        standard = self.written()
        kinds = {Stage.TOP: TopRule, Stage.LIMBS: LimbsRule, Stage.COLUMNS: ColumnsRule}
        for stage, kind in {**kinds, Stage.HEADING: HeadingStageRule}.items():
            assert isinstance(standard.rule(stage), kind)

    def test_the_band_of_the_top_reaches_the_tolerance_either_way(self):
        assert self.written().top.band_mm == (2_850, 3_150)

    @pytest.mark.parametrize("method", list(Method))
    def test_a_side_branch_is_asked_for_unless_a_machine_topped(self, method):
        assert asks_for_side_branch(self.written(), method) is (method is not Method.MACHINE_TOPPED)

    def test_a_standard_may_ask_for_no_side_branch(self):
        standard = self.written(top=TopRule(target_mm=3_000, to_side_branch=False))
        assert not asks_for_side_branch(standard, Method.LADDER)

    def test_a_stage_out_of_use_is_not_scored(self):
        standard = self.written(columns=ColumnsRule(in_use=False))
        assert standard.stages_in_use == (Stage.TOP, Stage.LIMBS)

    def test_a_sound_standard_has_no_contradictions(self):
        assert contradictions(self.written()) == {}

    def test_a_standard_is_frozen(self):
        with pytest.raises(ValueError, match="frozen"):
            self.written().consumer_risk = 0.2


def test_fewer_branches_may_be_wrong_than_are_looked_at():
    with pytest.raises(InvalidInput) as refused:
        Standard(
            top=TopRule(target_mm=3_000),
            heading=HeadingStageRule(looked_at=3, most_wrong=3),
            row_spacing_mm=3_353,
        )
    assert set(refused.value.problems) == {"heading.most_wrong"}


BY_MEAN = {
    "top__measured": True,
    "top__by_mean": True,
    "heading__rule": "required",
    "heading__measured": True,
    "heading__by_mean": True,
    "heading__looked_at": 1,
    "heading__most_wrong": 0,
}


class TestByMean:
    def test_no_stage_goes_by_its_mean_until_asked_to(self):
        assert preset(BearingHabit.STANDARD, ROW_SPACING_MM).stages_by_mean == ()

    def test_top_and_heading_may(self):
        standard = read_standard(payload(**BY_MEAN))
        assert standard.stages_by_mean == (Stage.TOP, Stage.HEADING)

    @pytest.mark.parametrize(
        ("changes", "stages"),
        [
            ({"heading__rule": "forbidden"}, (Stage.TOP,)),
            ({"heading__rule": "off"}, (Stage.TOP,)),
            ({"top__in_use": False}, (Stage.HEADING,)),
        ],
    )
    def test_only_where_there_is_something_to_measure(self, changes, stages):
        assert read_standard(payload(**(BY_MEAN | changes))).stages_by_mean == stages

    @pytest.mark.parametrize(
        ("changes", "field", "words"),
        [
            ({"top__measured": False}, "top.by_mean", "needs measures"),
            ({"heading__measured": False}, "heading.by_mean", "needs measures"),
            ({"heading__looked_at": 2}, "heading.by_mean", "one end on each tree"),
            ({"sampling__method": "table"}, "top.by_mean", "count trees"),
            ({"sampling__method": "table"}, "heading.by_mean", "count trees"),
        ],
    )
    def test_what_it_needs_is_said_at_its_field(self, changes, field, words):
        with pytest.raises(InvalidInput) as refusal:
            read_standard(payload(**(BY_MEAN | changes)))
        assert words in ENGLISH.say(refusal.value.problems[field])

    def test_a_standard_written_before_reads_as_counting(self):
        stored = payload()
        for stage in ("top", "heading"):
            del stored[stage]["by_mean"]
        assert read_standard(stored).stages_by_mean == ()
