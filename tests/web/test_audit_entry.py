"""The form of one tree: read into answers, written back, and the tiles that ask for them."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from werkzeug.datastructures import MultiDict

from audits.errors import InvalidInput
from audits.messages import ENGLISH, Units
from audits.scoring import ClassAnswer, Missed, Tap, TopMeasure, TreeAnswers, score_tree
from audits.standard import ColumnsRule, HeadingStageRule, LimbsRule, Standard, TopRule
from audits.vocabulary import Fault, HeadingRule, Method, Stage
from tests.strategies import trees
from webapp.auditing.entry import as_form, read_entry, read_missed, stage_panels
from webapp.auditing.measures import write_measure

ALL_RIGHT = {"top": "right", "limbs": "2", "columns": "right", "heading": "right"}


def written_standard(**changes) -> Standard:
    parts = {
        "top": TopRule(target_mm=3_000),
        "limbs": LimbsRule(least=2, most=3),
        "heading": HeadingStageRule(rule=HeadingRule.REQUIRED),
        "row_spacing_mm": 3_350.0,
    }
    return Standard(**(parts | changes))


def read(form: dict, standard: Standard | None = None, units=Units.IMPERIAL, **details):
    return read_entry(MultiDict(form), standard or written_standard(), units, **details)


def problems(form: dict, standard: Standard | None = None, units=Units.IMPERIAL, **details):
    with pytest.raises(InvalidInput) as refusal:
        read(form, standard, units, **details)
    return {name: str(message) for name, message in refusal.value.problems.items()}


def panels(form: dict | None = None, standard: Standard | None = None, **details):
    found = stage_panels(
        standard or written_standard(),
        details.pop("method", Method.LADDER),
        MultiDict(form or {}),
        details.pop("decided", {}),
        ENGLISH,
        **details,
    )
    return {panel.key: panel for panel in found}


class TestReading:
    def test_one_tap_a_stage_is_enough(self):
        assert read(ALL_RIGHT)["stages"] == {
            "top": {"kind": "class", "tap": "right"},
            "limbs": {"kind": "class", "tap": "right", "removed": 2},
            "columns": {"kind": "class", "tap": "right"},
            "heading": {"kind": "class", "tap": "right"},
        }

    def test_a_fault_comes_with_its_names_in_the_vocabularys_order(self):
        form = MultiDict(ALL_RIGHT | {"top": "fault"})
        form.setlist("top_faults", ["blunt", "high"])
        answer = read_entry(form, written_standard(), Units.IMPERIAL)["stages"]["top"]
        assert answer["faults"] == ["high", "blunt"]

    def test_names_left_over_from_another_answer_are_ignored(self):
        answer = read(ALL_RIGHT | {"top_faults": "high"})["stages"]["top"]
        assert answer == {"kind": "class", "tap": "right"}

    @pytest.mark.parametrize(
        ("changes", "field", "sentence"),
        [
            ({"top": ""}, "top", "Tap an answer."),
            ({"top": "perhaps"}, "top", "Tap one of the answers."),
            ({"limbs": "7"}, "limbs", "Tap one of the answers."),
            ({"columns": "fault"}, "columns", "Name the fault."),
            ({"columns": "fault", "columns_faults": "high"}, "columns", "Name the fault."),
            ({"top_height": "eleven"}, "top_height", "Cannot read"),
            ({"top_height": "11"}, "top_height", "Cannot read"),
            ({"top_height": "0 ft"}, "top_height", "too short"),
            ({"top_height": "90 ft"}, "top_height", "too long"),
            ({"limbs_cut": "3/4; x"}, "limbs_cut", "Cannot read"),
            ({"limbs_cut": "3/4 in"}, "limbs_standing", "Write 0 if there is none."),
            ({"limbs_cut": "9 in", "limbs_standing": "0"}, "limbs_cut", "too long"),
            ({"columns_looked_at": "5"}, "columns_single", "Write 0 if there is none."),
            ({"columns_looked_at": "-5", "columns_single": "4"}, "columns_looked_at", "0 to 12"),
            ({"columns_looked_at": "13", "columns_single": "4"}, "columns_looked_at", "0 to 12"),
            ({"columns_looked_at": "4.5", "columns_single": "4"}, "columns_looked_at", "0 to 12"),
            ({"columns_looked_at": "4", "columns_single": "5"}, "columns", "more single columns"),
            (
                {"heading_diameters": "0", "heading_left_long": "many"},
                "heading_left_long",
                "0 to 12",
            ),
        ],
    )
    def test_what_cannot_be_taken_says_so_where_it_was_entered(self, changes, field, sentence):
        assert sentence in problems(ALL_RIGHT | changes)[field]

    def test_every_stage_at_fault_is_named_at_once(self):
        assert set(problems({"limbs": "2"})) == {"top", "columns", "heading"}

    def test_a_decided_stage_may_stay_without_an_answer(self):
        form = {name: value for name, value in ALL_RIGHT.items() if name != "top"}
        payload = read(form, may_skip={Stage.TOP})
        assert set(payload["stages"]) == {"limbs", "columns", "heading"}

    def test_only_the_stages_asked_for_are_read(self):
        payload = read(ALL_RIGHT, stages=(Stage.COLUMNS,))
        assert set(payload["stages"]) == {"columns"}

    def test_a_heading_that_is_forbidden_needs_no_name(self):
        forbidden = written_standard(heading=HeadingStageRule(rule=HeadingRule.FORBIDDEN))
        answer = read(ALL_RIGHT | {"heading": "fault"}, forbidden)["stages"]["heading"]
        assert answer["faults"] == [Fault.FORBIDDEN]


class TestMissed:
    def test_a_missed_tree_needs_no_answers(self):
        assert read({"missed": "tree"}) == {"missed": Missed.TREE, "stages": {}}

    def test_a_missed_side_leaves_what_is_judged_on_the_whole_tree(self):
        payload = read({"missed": "side", "top": "right", "limbs": "2", "columns": "right"})
        assert payload["missed"] is Missed.SIDE
        assert set(payload["stages"]) == {"top", "limbs"}

    def test_a_missed_side_still_asks_for_top_and_limbs(self):
        found = problems({"missed": "side"})
        assert set(found) == {"top", "limbs"}
        assert "whole tree" in found["top"]

    @pytest.mark.parametrize(
        ("form", "missed"),
        [
            ({}, None),
            ({"missed": "side"}, Missed.SIDE),
            ({"kept_missed": "side"}, Missed.SIDE),
            ({"kept_missed": "side", "missed": "side"}, None),
            ({"kept_missed": "side", "missed": "tree"}, Missed.TREE),
            ({"kept_missed": "tree", "top": "right"}, None),
            ({"kept_missed": "side", "top": "right"}, Missed.SIDE),
            ({"missed": "the bus"}, None),
        ],
    )
    def test_pressing_again_takes_it_back_and_so_does_an_answer(self, form, missed):
        assert read_missed(MultiDict(form)) is missed


class TestMeasuring:
    def test_lengths_are_read_in_the_farms_units(self):
        payload = read(ALL_RIGHT | {"top_height": "9 ft 11 in"})
        assert payload["stages"]["top"]["height_mm"] == pytest.approx(3_022.6)
        metric = read(ALL_RIGHT | {"top_height": "3,02 m"}, units=Units.METRIC)
        assert metric["stages"]["top"]["height_mm"] == 3_020.0

    @pytest.mark.parametrize(
        ("units", "text", "diameters_mm"),
        [
            (Units.IMPERIAL, "3/4; 1 in; 22 mm", [19.05, 25.4, 22.0]),
            (Units.IMPERIAL, "1 1/4, 1", [31.75, 25.4]),
            (Units.METRIC, "20; 22", [20.0, 22.0]),
            (Units.METRIC, "20,5; 22", [20.5, 22.0]),
            (Units.METRIC, "20, 22", [20.0, 22.0]),
            (Units.METRIC, "0", []),
        ],
    )
    def test_several_diameters_stand_in_one_line(self, units, text, diameters_mm):
        form = ALL_RIGHT | {"limbs": "", "limbs_cut": text, "limbs_standing": "0"}
        answer = read(form, units=units)["stages"]["limbs"]
        assert answer["cut_mm"] == pytest.approx(diameters_mm)

    def test_two_numbers_run_together_are_not_taken_for_one(self):
        form = ALL_RIGHT | {"limbs": "", "limbs_cut": "20,22", "limbs_standing": "0"}
        assert "semicolon" in problems(form, units=Units.METRIC)["limbs_cut"]

    @pytest.mark.parametrize(
        ("cut", "topped", "to_side_branch"),
        [("side_branch", True, True), ("blunt", True, False), ("uncut", False, True)],
    )
    def test_the_cut_of_a_top_is_one_choice(self, cut, topped, to_side_branch):
        answer = read(ALL_RIGHT | {"top": "", "top_height": "10 ft", "top_cut": cut})
        assert answer["stages"]["top"]["topped"] is topped
        assert answer["stages"]["top"]["to_side_branch"] is to_side_branch

    def test_a_measure_that_agrees_with_the_tile_is_kept(self):
        payload = read(ALL_RIGHT | {"top_height": "9 ft 10 in"})
        assert payload["stages"]["top"]["kind"] == "top"

    def test_a_fault_that_the_measure_shows_needs_no_name(self):
        payload = read(ALL_RIGHT | {"top": "fault", "top_height": "12 ft"})
        assert payload["stages"]["top"]["kind"] == "top"

    @pytest.mark.parametrize(
        "changes",
        [
            {"top_height": "12 ft"},
            {"top": "fault", "top_faults": "high", "top_height": "9 ft 10 in"},
            {"heading_diameters": "0", "heading_left_long": "0"},
        ],
    )
    def test_a_measure_that_contradicts_the_tile_is_refused(self, changes):
        (sentence,) = problems(ALL_RIGHT | changes).values()
        assert "Put one of them right." in sentence

    def test_a_measured_stage_takes_nothing_but_measures(self):
        measured = written_standard(top=TopRule(target_mm=3_000, measured=True))
        assert problems(ALL_RIGHT, measured) == {"top": "Measure this stage."}
        payload = read(ALL_RIGHT | {"top_height": "12 ft"}, measured)
        assert payload["stages"]["top"]["kind"] == "top"

    def test_a_forbidden_heading_is_never_measured(self):
        forbidden = written_standard(
            heading=HeadingStageRule(rule=HeadingRule.FORBIDDEN, measured=True)
        )
        payload = read(ALL_RIGHT | {"heading_diameters": "nonsense"}, forbidden)
        assert payload["stages"]["heading"] == {"kind": "class", "tap": "right"}


class TestPanels:
    def test_stages_come_from_the_top_of_the_tree_down(self):
        assert list(panels()) == list(Stage)
        assert list(panels(stages=(Stage.LIMBS,))) == [Stage.LIMBS]

    def test_a_heading_that_is_off_is_not_asked_for(self):
        off = written_standard(heading=HeadingStageRule(rule=HeadingRule.OFF))
        assert Stage.HEADING not in panels(standard=off)

    @pytest.mark.parametrize(
        ("least", "most", "labels"),
        [
            (2, 2, ["2", "Fewer, none left", "Fault"]),
            (2, 3, ["2", "3", "Fewer, none left", "Fault"]),
            (1, 3, ["1-3", "Fewer, none left", "Fault"]),
            (0, 1, ["0", "1", "Fault"]),
            (0, 2, ["0", "1", "2", "Fault"]),
            (0, 3, ["0-3", "Fault"]),
        ],
    )
    def test_limb_tiles_show_the_counts_in_range_and_never_more_than_four(
        self, least, most, labels
    ):
        standard = written_standard(limbs=LimbsRule(least=least, most=most))
        assert [tile.label for tile in panels(standard=standard)[Stage.LIMBS].tiles] == labels

    def test_the_faults_offered_are_those_that_can_be(self):
        names = {fault.value for fault in panels()[Stage.HEADING].faults}
        assert names == {Fault.THICK, Fault.THIN, Fault.LEFT_LONG}
        topped = panels(method=Method.MACHINE_TOPPED)[Stage.TOP].faults
        assert Fault.BLUNT not in {fault.value for fault in topped}

    def test_a_forbidden_heading_is_right_or_headed(self):
        forbidden = written_standard(heading=HeadingStageRule(rule=HeadingRule.FORBIDDEN))
        panel = panels(standard=forbidden)[Stage.HEADING]
        assert [tile.label for tile in panel.tiles] == ["Right", "Headed where forbidden"]
        assert (panel.faults, panel.measures) == ((), [])

    def test_a_stage_that_must_be_measured_has_no_tiles(self):
        measured = written_standard(columns=ColumnsRule(measured=True))
        panel = panels(standard=measured)[Stage.COLUMNS]
        assert (panel.tiles, panel.faults) == ((), ())
        assert panel.shows_measures

    def test_what_was_entered_is_selected_again(self):
        form = MultiDict(ALL_RIGHT | {"top": "fault"})
        form.setlist("top_faults", ["high", "blunt"])
        found = panels(form)
        chosen = [tile.value for tile in found[Stage.TOP].tiles if tile.selected]
        named = [fault.value for fault in found[Stage.TOP].faults if fault.selected]
        assert (chosen, named) == (["fault"], ["high", "blunt"])
        assert [tile.value for tile in found[Stage.LIMBS].tiles if tile.selected] == ["2"]

    def test_measures_stay_shut_until_something_is_typed_there(self):
        assert not any(panel.shows_measures for panel in panels(ALL_RIGHT).values())
        assert panels({"top_height": "9 ft"})[Stage.TOP].shows_measures

    def test_a_problem_stands_at_its_stage_and_at_its_entry(self):
        with pytest.raises(InvalidInput) as refusal:
            read(ALL_RIGHT | {"top_height": "eleven"})
        panel = panels({"top_height": "eleven"}, problems=refusal.value.problems)[Stage.TOP]
        assert "eleven" in panel.error
        (height, *_) = panel.measures
        assert (height.name, height.data) == ("top_height", "eleven")
        assert height.errors == [panel.error]

    def test_decided_stages_show_their_words(self):
        panel = panels(decided={Stage.TOP: "Accepted"})[Stage.TOP]
        assert (panel.decided, panel.decided_words) == (True, "Accepted")

    def test_a_missed_side_settles_what_is_judged_on_it(self):
        found = panels({"kept_missed": "side"})
        assert [panel.decided for panel in found.values()] == [False, False, True, True]


READERS = [
    replace(ENGLISH, units=units, locale=locale)
    for units in Units
    for locale in ("en_US", "es", "es_US")
]


def without_what_the_form_leaves_out(answers: TreeAnswers, standard: Standard) -> TreeAnswers:
    """Drop answers that no tile gives: they come from other clients only."""
    stages = dict(answers.stages)
    limbs = stages.get(Stage.LIMBS)
    if isinstance(limbs, ClassAnswer) and limbs.tap is Tap.RIGHT:
        stages[Stage.LIMBS] = limbs.model_copy(update={"removed": standard.limbs.least})
    heading = stages.get(Stage.HEADING)
    if standard.heading.rule is HeadingRule.FORBIDDEN and not isinstance(heading, ClassAnswer):
        stages.pop(Stage.HEADING, None)
    if answers.missed is Missed.TREE:
        stages = {}
    return answers.model_copy(update={"stages": stages})


@given(trees(), st.sampled_from(READERS))
def test_stored_answers_come_back_from_the_form_with_the_same_score(case, reader):
    standard, method, answers = case
    given_answers = without_what_the_form_leaves_out(answers, standard)
    form = as_form(given_answers, standard, reader)
    payload = read_entry(form, standard, reader.units, method=method, may_skip=set(Stage))
    again = TreeAnswers.model_validate(payload)
    assert score_tree(standard, again, method=method) == score_tree(
        standard, given_answers, method=method
    )


def test_a_height_is_written_as_people_write_it():
    assert write_measure(TopMeasure(height_mm=3_022.6), ENGLISH)["top_height"] == "9 ft 11 in"
