"""Sentences on learning claim nothing beyond chance, and carry their numbers."""

import pytest

from audits.learning.association import Bearing
from audits.learning.curves import CurveForm, LearningFit
from audits.learning.days_to_standard import TwoSeasons, Wait, time_to_standard
from audits.learning.words import (
    bearing_sentences,
    curve_sentence,
    days_sentence,
    row_sentence,
    seasons_sentence,
    share_right,
)
from audits.vocabulary import Stage


def fit(lower, upper):
    return LearningFit(CurveForm.UNIT, -0.3, 0.1, 0.5, 0.81, (lower, upper), 60)


@pytest.mark.parametrize(
    ("interval", "beginning"),
    [
        ((0.7, 0.95), "Faults get fewer: after twice as many trees 81 % of them are left"),
        ((0.7, 1.05), "Chance alone could explain any change"),
        ((1.1, 1.5), "Faults get more with the trees"),
    ],
)
def test_a_curve_is_told_only_beyond_chance(interval, beginning):
    sentence = str(curve_sentence(60, 20, fit(*interval)))
    assert sentence.startswith(beginning)
    assert "(60 audited trees)" in sentence


def test_without_a_curve_there_are_counts():
    assert str(curve_sentence(12, 3, None)) == (
        "3 wrong in 12 audited trees: too few for a learning curve."
    )
    assert str(share_right(3, 5)) == "3 of 5 right"
    assert str(share_right(0, 0)) == "none yet"
    assert str(row_sentence(8, 9)) == "8 of 9 right"
    assert str(row_sentence(36, 40)) == "36 of 40 trees right, could be 76 to 97 in 100"


def test_bearings_name_their_stages():
    sentences = bearing_sentences(
        {
            Stage.TOP: Bearing.UNKNOWN,
            Stage.LIMBS: Bearing.SAME_WAY,
            Stage.COLUMNS: Bearing.SAME_WAY,
            Stage.HEADING: Bearing.OTHER_WAY,
        }
    )
    assert [str(each) for each in sentences] == [
        "Who does better here also leaves fewer faults in the row: Limbs, Columns.",
        "Who does better here leaves more faults in the row: Heading. Look at the questions.",
        "It says nothing certain about: Top.",
    ]
    (nothing,) = bearing_sentences({Stage.TOP: Bearing.UNKNOWN})
    assert str(nothing).startswith("So far it says nothing certain about the row")


def test_days_come_with_their_range_and_people():
    waits = [Wait(days, arrived=True) for days in (5, 6, 8, 9, 12, 20)]
    # Of so few, only the last one's day bounds the median from above, which is no bound.
    assert str(days_sentence(time_to_standard(waits))) == (
        "Half met the rule within 8 days, could be 5 or many more (6 of 6 learners so far)."
    )
    assert str(days_sentence(time_to_standard([*waits, *waits]))) == (
        "Half met the rule within 8 days, could be 5 to 12 (12 of 12 learners so far)."
    )
    few = time_to_standard([*waits[:2], Wait(3, arrived=False)])
    assert str(days_sentence(few)) == "2 of 3 learners met the rule so far."


def test_seasons_differ_only_beyond_chance_and_with_enough_people():
    many = time_to_standard([Wait(day, arrived=True) for day in range(1, 9)])
    few = time_to_standard([Wait(3, arrived=True)])

    def said(p_value, seen=8, expected=4.0, before=many):
        return str(seasons_sentence(many, before, TwoSeasons(9.0, p_value, expected, seen)))

    assert said(0.01).startswith("Faster")
    assert said(0.01, seen=3).startswith("Slower")
    assert said(0.2).startswith("No difference")
    assert said(0.01, before=few).startswith("Too few learners")
