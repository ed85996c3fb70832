"""The letters of a quiz change with everything that it asks in words."""

from dataclasses import replace

from audits.messages import say
from audits.quiz_letters import letters_of
from audits.quizzes import QUESTIONS, make_quiz
from audits.standard import preset
from audits.vocabulary import BearingHabit

QUIZ = make_quiz(preset(BearingHabit.STANDARD, 3_350.0), seed=4711)


def with_first(**changes):
    first, *others = QUIZ.questions
    return replace(QUIZ, questions=(replace(first, **changes), *others))


def test_they_begin_with_the_key():
    key, _, check = letters_of(QUIZ).partition("-")
    assert [ord(letter) - ord("A") for letter in key] == list(QUIZ.key)
    assert (len(key), len(check)) == (QUESTIONS, 12)
    assert letters_of(QUIZ) == letters_of(replace(QUIZ))


def test_another_question_with_the_key_at_the_same_place_is_told():
    """A retired item is often followed by one whose right answer has the same letter."""
    letters = letters_of(QUIZ)
    first = QUIZ.questions[0]
    turned = tuple(reversed(first.choices))
    for changes in (
        {"item": "another"},
        {"stem": say("Something else?")},
        {"choices": turned},
        {"option_keys": tuple(reversed(first.option_keys))},
    ):
        other = letters_of(with_first(**changes))
        assert other != letters
        assert other.partition("-")[0] == letters.partition("-")[0]
    assert letters_of(with_first(key=(first.key + 1) % 3)) != letters
