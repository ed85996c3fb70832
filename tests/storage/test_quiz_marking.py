"""What is printed as right is what is marked as right on a screen."""

from datetime import date

import pytest

from audits.messages import ENGLISH
from audits.quizzes import VARIANTS, marked
from audits.services import quiz_attempts, quiz_results, quiz_sittings
from audits.services.quiz_attempts import QuizPaper
from audits.services.quiz_sittings import SittingChoice
from audits.vocabulary import Method
from printables.answer_sheet import LETTERS, choice_key, chosen_answers
from printables.drawing.primitives import Group, Text
from printables.quiz import quiz_paper
from printables.subject import StandardSubject
from tests.orchard import plant_orchard
from tests.row_audit import AUDITED

SUBJECT = StandardSubject("Tule Hollow", "Creek Block", 1, date(2025, 11, 1))
# Taken from the first key to the result, through the services, since each costs a few writes.
SAT = 10


@pytest.fixture
def orchard(quick_database):
    return plant_orchard(quick_database, AUDITED)


def printed_key(quiz) -> list[str]:
    """Read the letters off the printed key, in the order of its questions."""
    document = quiz_paper(SUBJECT, quiz, ENGLISH)
    rows = {}
    for piece in document.leaves[-1].pieces:
        for row in piece.drawing.shapes:
            texts = [each.text for each in getattr(row, "shapes", ()) if isinstance(each, Text)]
            if isinstance(row, Group) and len(texts) == 2 and texts[1] in LETTERS:
                rows[int(texts[0])] = texts[1]
    assert sorted(rows) == list(range(1, len(quiz.questions) + 1))
    return [rows[number] for number in sorted(rows)]


def places_of_printed_key(quiz) -> list[int | None]:
    """Mark the printed letters on an answer sheet, and read that."""
    boxes = {
        choice_key(number, LETTERS.index(letter))
        for number, letter in enumerate(printed_key(quiz), start=1)
    }
    return list(chosen_answers(boxes, quiz).places)


def turned(quiz, places) -> list[int]:
    """Choose beside the given places."""
    return [
        (place + 1) % len(question.choices)
        for place, question in zip(places, quiz.questions, strict=True)
    ]


def test_a_printed_key_is_what_a_screen_marks_as_right(quick_database, orchard, volume):
    """With --long 500 quizzes: every variant, every way of working."""
    methods = list(Method)
    with quick_database.read() as connection:
        for seed in range(volume(short=40, long=500)):
            paper = QuizPaper(
                orchard.standard_id,
                seed,
                VARIANTS[seed % len(VARIANTS)],
                methods[seed // len(VARIANTS) % len(methods)],
                "es",
            )
            quiz = quiz_attempts.quiz_in(connection, orchard.farm_id, paper)
            right = places_of_printed_key(quiz)
            assert all(marked(quiz, right)), paper
            assert not any(marked(quiz, turned(quiz, right))), paper


def test_a_quiz_on_a_screen_is_marked_by_the_printed_key(quick_database, orchard):
    for seed in range(SAT):
        sitting = quiz_sittings.begin_sitting(
            quick_database,
            orchard.supervisor,
            SittingChoice(orchard.worker_ids[0], orchard.block_id, "es"),
            uid=f"{seed:032}",
            seed=seed,
            variant=VARIANTS[seed % len(VARIANTS)],
            now=AUDITED,
        )
        quiz = quiz_attempts.quiz_of(
            quick_database,
            orchard.supervisor,
            QuizPaper(sitting.standard_version_id, seed, sitting.variant, sitting.method, "es"),
        )
        right = places_of_printed_key(quiz)
        # In each quiz another question is answered wrong, in the first none.
        wrong = turned(quiz, right)
        given = [*right[: seed - 1], wrong[seed - 1], *right[seed:]] if seed else right
        for number, choice in enumerate(given, start=1):
            quiz_sittings.answer_question(
                quick_database, orchard.supervisor, sitting.uid, number, choice
            )
        done = quiz_sittings.hand_in(quick_database, orchard.supervisor, sitting.uid, now=AUDITED)
        result = quiz_results.view_result(quick_database, orchard.owner, done.attempt.id)
        not_right = [line.number for line in result.questions if not line.is_right]
        assert not_right == ([seed] if seed else [])
