"""Items that mislead are found, innocent ones are not blamed, and few people say nothing."""

import random

import pytest

from audits.learning.items import (
    LEAST_PEOPLE,
    Answer,
    ItemFlag,
    first_answers,
    read_items,
)

ITEMS = [f"item {number:02}" for number in range(30)]


def quiz_bank(seed, people=80, misleading=None, harder_in_spanish=None):
    """Ten of thirty items a person, each with a true difficulty and the person's own skill."""
    chances = random.Random(seed)  # noqa: S311 - a simulation
    answers = []
    for person in range(people):
        language = "es" if person % 2 else "en"
        skill = chances.random()
        for item in chances.sample(ITEMS, 15):
            chance = 0.35 + 0.6 * skill
            if item == misleading:
                chance = 0.85 - 0.8 * skill
            if item == harder_in_spanish and language == "es":
                chance -= 0.6
            is_right = chances.random() < chance
            choice = "right" if is_right else chances.choice(["too high", "too low"])
            if item == misleading and not is_right:
                choice = "too low"
            answers.append(Answer(person, item, choice, is_right, language))
    return answers


def flags_of(answers):
    return {reading.item: reading.flags for reading in read_items(answers) if reading.flags}


def test_an_item_that_good_scorers_fail_is_pointed_out():
    answers = quiz_bank(1, people=160, misleading="item 07")
    assert ItemFlag.MISLEADS in flags_of(answers).pop("item 07")


def test_an_item_that_is_harder_in_spanish_is_pointed_out():
    found = flags_of(quiz_bank(2, people=200, harder_in_spanish="item 11"))
    assert found.pop("item 11") == (ItemFlag.HARDER_IN_SPANISH,)
    assert found == {}


def test_innocent_items_are_seldom_blamed():
    # Of 60 banks of 30 innocent items, each question asked of a bank may be wrong in 5 of 100:
    # three questions, so 9 banks expected at most; three standard deviations more are 17.
    blamed = sum(bool(flags_of(quiz_bank(seed))) for seed in range(100, 160))
    assert blamed <= 17


def test_few_people_say_nothing():
    answers = quiz_bank(3, people=LEAST_PEOPLE - 1, misleading="item 07")
    for reading in read_items(answers):
        assert reading.difficulty is None
        assert reading.discrimination is None
        assert reading.language_gap is None
        assert reading.flags == ()
        assert sum(choice.people for choice in reading.choices) == reading.people


def test_only_the_first_answer_of_a_person_counts():
    wrong = Answer(1, "a", "x", is_right=False, language="en")
    again = [wrong, wrong._replace(choice="y", is_right=True)]
    assert first_answers(again) == again[:1]
    assert read_items(again)[0].right == 0


def test_choices_are_counted_by_group_and_parts_add_up():
    reading = next(each for each in read_items(quiz_bank(4, people=120)) if each.groups)
    assert sum(choice.upper for choice in reading.choices) == pytest.approx(reading.groups)
    assert sum(choice.lower for choice in reading.choices) == pytest.approx(reading.groups)
    assert reading.choices[0].is_right
