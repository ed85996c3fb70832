"""The standard in plain words: the right sentences, with the block's own numbers."""

import re

import pytest

from audits.messages import ENGLISH, Message, Units, Words
from audits.plain_words import (
    Band,
    StageWords,
    against_the_wire,
    every_tree,
    limb_caller_words,
    sampling_words,
    stage_words,
    standard_words,
)
from audits.standard import (
    ColumnsRule,
    HeadingStageRule,
    LimbCaller,
    LimbsRule,
    SamplingRule,
    Standard,
    TopRule,
    preset,
)
from audits.vocabulary import BearingHabit, HeadingRule, Method, PlanMethod, Stage

METRIC = Words("en", "en_US", Units.METRIC, ENGLISH.gettext, ENGLISH.ngettext)
ROW_11_FT_MM = 11 * 304.8


def standard(**changes):
    return Standard(
        **{
            "top": TopRule(target_mm=0.9 * ROW_11_FT_MM),
            "row_spacing_mm": ROW_11_FT_MM,
            **changes,
        }
    )


def sentences(words: StageWords, reader: Words = ENGLISH) -> list[str]:
    return [reader.say(message) for message in words.steps + words.leave]


def test_the_top_is_said_in_the_units_of_the_farm():
    words = stage_words(standard(), Stage.TOP)
    assert ENGLISH.say(words.headline) == "Cut the top at 9 ft 11 in."
    assert METRIC.say(words.headline) == "Cut the top at 3.02 m."
    assert ENGLISH.say(words.figure) == "9 ft 11 in"


@pytest.mark.parametrize(
    ("target_mm", "wire_mm", "sentence"),
    [
        (3000, 3050, "5 cm below the top wire"),
        (3100, 3000, "10 cm above the top wire"),
        (3000, 3020, "level with the top wire"),
    ],
)
def test_the_top_is_said_against_the_wire(target_mm, wire_mm, sentence):
    assert METRIC.say(against_the_wire(target_mm, wire_mm)) == sentence
    words = stage_words(standard(top=TopRule(target_mm=target_mm), top_wire_mm=wire_mm), Stage.TOP)
    assert f"That is {sentence}." in sentences(words, METRIC)


def test_without_a_known_wire_none_is_mentioned():
    words = stage_words(standard(), Stage.TOP)
    assert words.hint is None
    assert not any("wire" in sentence for sentence in sentences(words))


def test_machine_topped_rows_are_not_asked_for_a_side_branch():
    asked = sentences(stage_words(standard(), Stage.TOP))
    machine = sentences(stage_words(standard(), Stage.TOP, method=Method.MACHINE_TOPPED))
    assert "Cut to a small side branch." in asked
    assert "Cut to a small side branch." not in machine


def test_a_leader_below_the_target_and_an_old_low_top_are_left():
    leave = [ENGLISH.say(message) for message in stage_words(standard(), Stage.TOP).leave]
    assert leave == [
        "Leave a leader that is below 9 ft 11 in.",
        "Leave an old or storm-broken low top.",
    ]


@pytest.mark.parametrize(
    ("least", "most", "figure", "headline"),
    [
        (2, 2, "2 limbs", "Take out the 2 largest limbs."),
        (1, 1, "1 limb", "Take out the largest limb."),
        (2, 3, "2 to 3 limbs", "Take out the 2 to 3 largest limbs."),
        (0, 1, "0 to 1 limb", "Take out one large limb or none."),
        (0, 2, "0 to 2 limbs", "Take out up to 2 large limbs."),
        (0, 0, "0 limbs", "Take out no large limb."),
    ],
)
def test_the_number_of_limbs_is_the_standards_own(least, most, figure, headline):
    words = stage_words(standard(limbs=LimbsRule(least=least, most=most)), Stage.LIMBS)
    assert ENGLISH.say(words.figure) == figure
    assert ENGLISH.say(words.headline) == headline


def test_limbs_name_size_place_and_height_of_clean_cuts():
    said = sentences(stage_words(standard(), Stage.LIMBS))
    assert "A limb counts from 3/4 in up." in said
    assert "Measure 1 in out from the trunk." in said
    assert "Below 26 in cut clean at the trunk." in said
    assert "Leave the limbs if none is 3/4 in thick." in said


def test_without_a_clean_cut_height_every_limb_keeps_a_stub():
    said = sentences(stage_words(standard(limbs=LimbsRule(clean_cut_height_mm=0)), Stage.LIMBS))
    assert "Leave a short, slanted stub." in said
    assert not any("clean" in sentence for sentence in said)


def test_where_no_limb_comes_out_nothing_is_said_of_cuts():
    none = standard(limbs=LimbsRule(least=0, most=0))
    words = stage_words(none, Stage.LIMBS, low_bloom=True)
    for said in (*sentences(words), *map(ENGLISH.say, words.beginner)):
        assert not re.search("cut|stub|thickest|less", said), said


def test_low_bloom_asks_for_less():
    low = sentences(stage_words(standard(), Stage.LIMBS, low_bloom=True))
    usual = sentences(stage_words(standard(), Stage.LIMBS))
    assert set(low) - set(usual) == {"Few flower buds this year: take out less."}


def test_columns_keep_spurs_up_to_the_standards_length():
    words = stage_words(standard(columns=ColumnsRule(side_branch_mm=203.2)), Stage.COLUMNS)
    assert "Cut off side branches longer than 8 in." in sentences(words)
    assert "Leave thin shoots up to 8 in: they are spurs." in sentences(words)


@pytest.mark.parametrize(
    ("rule", "headline"),
    [
        (HeadingRule.REQUIRED, "Cut thin ends that hang at pencil size."),
        (HeadingRule.OFF, "No heading in this block."),
        (HeadingRule.FORBIDDEN, "Do not head the branch ends."),
    ],
)
def test_heading_says_required_off_or_forbidden(rule, headline):
    words = stage_words(standard(heading=HeadingStageRule(rule=rule)), Stage.HEADING)
    assert ENGLISH.say(words.headline) == headline


def test_required_heading_gives_the_band():
    words = stage_words(
        standard(heading=HeadingStageRule(rule=HeadingRule.REQUIRED)), Stage.HEADING
    )
    assert "That is 1/4 to 3/8 in." in sentences(words)
    assert "That is 6 to 9 mm." in sentences(words, METRIC)


def test_a_language_that_joins_number_and_unit_keeps_both_units():
    joined = Words(
        "de", "de", Units.METRIC, lambda text: text.replace("s mm", "smm"), ENGLISH.ngettext
    )
    assert joined.show(Band(6.0, 9.0)) == "6mm to 9mm"


def test_stages_come_from_the_top_down_and_unused_ones_are_left_out():
    assert [words.stage for words in standard_words(standard())] == list(Stage)
    some = standard(limbs=LimbsRule(in_use=False))
    assert [words.stage for words in standard_words(some)] == [
        Stage.TOP,
        Stage.COLUMNS,
        Stage.HEADING,
    ]


def test_disease_is_marked_and_told_not_cut():
    said = [ENGLISH.say(message) for message in every_tree(standard())]
    assert said[0] == "Canker or fire blight: mark the tree. Tell the supervisor."


@pytest.mark.parametrize(
    ("caller", "who"),
    [
        (LimbCaller.LEFT, "left side"),
        (LimbCaller.RIGHT, "right side"),
        (LimbCaller.CREW_LEADER, "crew leader"),
    ],
)
def test_the_one_who_calls_the_limbs_is_named(caller, who):
    assert who in ENGLISH.say(limb_caller_words(caller))
    assert limb_caller_words(caller) in every_tree(standard(limb_caller=caller))


def test_nobody_calls_limbs_where_none_come_out():
    assert len(every_tree(standard(limbs=LimbsRule(in_use=False)))) == 1


@pytest.mark.parametrize("habit", list(BearingHabit))
def test_every_sentence_has_at_most_ten_words(habit):
    """Ten words a sentence is the bar for print that a crew reads outdoors."""
    rule = preset(habit, ROW_11_FT_MM, top_wire_mm=3048.0)
    messages: list[Message] = list(every_tree(rule))
    for words in standard_words(rule, low_bloom=True):
        messages += [words.headline, *words.steps, *words.leave]
    for message in messages:
        for sentence in re.split(r"[.:?!]\s+", ENGLISH.say(message)):
            assert len(re.findall(r"[A-Za-z][\w'-]*", sentence)) <= 10, sentence


@pytest.mark.parametrize("method", PlanMethod)
@pytest.mark.parametrize("skip_lots", [True, False])
def test_every_way_of_deciding_a_lot_is_said_in_short_sentences(method, skip_lots):
    rule = SamplingRule(method=method, skip_lots=skip_lots)
    sentences = [ENGLISH.say(sentence) for sentence in sampling_words(rule)]
    assert len(set(sentences)) == len(sentences) >= 2
    assert all(sentence.endswith(".") for sentence in sentences)
    passes_over = "one lot in three" in sentences[-1]
    # The tables have rules of their own for crews that do well.
    assert passes_over == (skip_lots and method is not PlanMethod.TABLE)


def test_the_tables_are_named_with_what_chooses_in_them():
    rule = SamplingRule(method=PlanMethod.TABLE, acceptable_quality_limit=2.5)
    assert ENGLISH.say(sampling_words(rule)[0]).endswith("(MIL-STD-105E): AQL 2.5, level II.")
