"""Items that mislead are found, innocent ones are not blamed, and few people say nothing."""

import math
import random
from statistics import fmean

import pytest

from audits.learning import items
from audits.learning.item_words import language_sentence, unused_sentence
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


def mean_log_ratio(answers):
    gaps = [reading.language_gap for reading in read_items(answers)]
    return fmean(math.log(gap.ratio) for gap in gaps if gap is not None and gap.interval)


def less_known_in_spanish(seed):
    chances = random.Random(seed)  # noqa: S311 - a simulation
    for person in range(400):
        language = "es" if person % 2 else "en"
        skill = chances.gauss(-1.0 if language == "es" else 0.0, 1.0)
        for place, item in enumerate(chances.sample(ITEMS, 10)):
            is_right = chances.random() < 1 / (1 + math.exp(-skill))
            yield Answer(person, item, f"choice{place % 3}", is_right, language)


def test_people_who_know_less_do_not_make_the_wording_look_harder(monkeypatch):
    answers = list(less_known_in_spanish(6))
    assert abs(mean_log_ratio(answers)) < 0.15

    # The planted defect: people matched by their other answers alone.
    def place_by_the_others(case, *given):
        made(case, *given)
        case.whole = case.rest
        case.gap = case._language_gap()

    made = items._Case.__init__
    monkeypatch.setattr(items._Case, "__init__", place_by_the_others)
    assert mean_log_ratio(answers) > 0.3


def test_a_wording_that_everybody_fails_in_spanish_is_pointed_out():
    answers = [
        answer._replace(is_right=answer.language == "en") if answer.item == "item 11" else answer
        for answer in quiz_bank(7, people=120)
    ]
    assert ItemFlag.HARDER_IN_SPANISH in flags_of(answers)["item 11"]
    reading = next(each for each in read_items(answers) if each.item == "item 11")
    sentence = str(language_sentence(reading))
    assert "nobody is wrong in English where anybody is right in Spanish" in sentence
    assert "inf" not in sentence


def of_choices(count, people=LEAST_PEOPLE):
    for answer in quiz_bank(8, people=people):
        yield answer._replace(choices=count)


@pytest.mark.parametrize(("offered", "unused"), [(4, 1), (3, 0), (0, 0)])
def test_choices_that_nobody_takes_are_counted(offered, unused):
    answers = list(of_choices(offered, people=160))
    # Taken are the right one, too high and too low; of 0 choices their number is not known.
    assert {reading.unused for reading in read_items(answers)} == {unused}
    said = unused_sentence(read_items(answers)[0])
    assert (said is not None) == bool(unused)


def test_of_few_people_or_where_all_are_right_no_choice_is_called_unused():
    few = list(of_choices(4, people=LEAST_PEOPLE - 1))
    right = [answer._replace(is_right=True, choice="right") for answer in of_choices(4, people=80)]
    assert {reading.unused for reading in read_items(few) + read_items(right)} == {0}


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


def test_a_choice_that_is_right_in_some_drawings_only_is_counted_apart():
    """A cut may be flush where the tree was drawn one way, and the fault where another."""
    answers = [
        answer._replace(choice="flush") if answer.choice == "too low" else answer
        for answer in quiz_bank(9, people=120)
    ]
    answers = [
        answer._replace(choice="flush") if answer.is_right and answer.person % 3 else answer
        for answer in answers
    ]
    for reading in read_items(answers):
        assert sum(choice.upper for choice in reading.choices) == pytest.approx(reading.groups)
        assert sum(choice.lower for choice in reading.choices) == pytest.approx(reading.groups)
        assert [(each.choice, each.is_right) for each in reading.choices][:2] == [
            ("flush", True),
            ("right", True),
        ]


def test_choices_are_counted_by_group_and_parts_add_up():
    reading = next(each for each in read_items(quiz_bank(4, people=120)) if each.groups)
    assert sum(choice.upper for choice in reading.choices) == pytest.approx(reading.groups)
    assert sum(choice.lower for choice in reading.choices) == pytest.approx(reading.groups)
    assert reading.choices[0].is_right
