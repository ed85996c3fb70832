"""
Printed variants and their keys agree with each other and with what is marked.

The printed key is read as an independent reader finds it in the file, the quiz is found again by
the code on its answer sheet, and answers are held together by the names of the choices, which are
the same in every order. 20 quizzes in short, 500 with --long, all variants of each.
"""

import re
from dataclasses import replace
from datetime import date

import pytest

from audits.messages import ENGLISH
from audits.questions import reordered
from audits.quizzes import VARIANTS, Quiz, marked
from audits.services import quiz_attempts
from audits.services.quiz_attempts import QuizPaper
from audits.vocabulary import Method, QuizStyle
from printables.answer_sheet import (
    LETTERS,
    METHOD_LETTERS,
    STYLE_LETTERS,
    AnswerSheet,
    answer_marked_pages,
    choice_key,
    chosen_answers,
)
from printables.marked import MarkedPage, parse_code
from printables.quiz import quiz_papers
from printables.sheet import SHEET_PAGES
from printables.subject import StandardSubject
from tests.orchard import plant_orchard
from tests.paper import page_texts
from tests.row_audit import AUDITED

SUBJECT = StandardSubject("Tule Hollow", "Creek Block", 1, date(2025, 11, 1))
ROW = re.compile(r"(?<![\d.])(\d{1,2}) ([A-D]) (?:Top|Limbs|Columns|Heading|Safety)")


@pytest.fixture
def orchard(quick_database):
    return plant_orchard(quick_database, AUDITED)


def printed_keys(quizzes, style) -> list[list[int]]:
    """Read the places of the right answers off the last pages of the file."""
    sheets = [AnswerSheet(SUBJECT, 1, quiz, style=style) for quiz in quizzes]
    document = quiz_papers(SUBJECT, quizzes, ENGLISH, answer_sheets=sheets, style=style)
    keys = []
    for quiz, text in zip(quizzes, page_texts(document)[-len(quizzes) :], strict=True):
        assert f"variant {quiz.variant}" in text
        rows = {int(number): letter for number, letter in ROW.findall(text)}
        assert sorted(rows) == list(range(1, len(quiz.questions) + 1)), text
        keys.append([LETTERS.index(rows[number]) for number in sorted(rows)])
    return keys


def paper_on(page: MarkedPage) -> QuizPaper:
    """Return what the code on an answer sheet tells of its quiz."""
    code = parse_code(page.code.text)
    version, seed, variant, way, _, language, _ = code.fields
    (method,) = [each for each in Method if METHOD_LETTERS[each] == way[0]]
    (style,) = [each for each in QuizStyle if STYLE_LETTERS[each] == way[1]]
    return QuizPaper(int(version), int(seed), variant, method, language.lower(), style)


def right_choices(quiz: Quiz, places) -> set[tuple[str, str, str]]:
    """Return each question with the name of the choice at a place, whatever their order."""
    return {
        (question.item, ENGLISH.say(question.choices[place]), question.option_keys[place])
        for question, place in zip(quiz.questions, places, strict=True)
    }


def disagreements(quizzes, keys) -> list[str]:
    """Name variants whose printed key is not what is marked, or not that of the first variant."""
    first = right_choices(quizzes[0], keys[0])
    return [
        quiz.variant
        for quiz, key in zip(quizzes, keys, strict=True)
        if not all(marked(quiz, key)) or right_choices(quiz, key) != first
    ]


def test_printed_keys_agree_with_each_other_and_with_marking(quick_database, orchard, volume):
    database, lead = quick_database, orchard.supervisor
    methods, styles = list(Method), list(QuizStyle)
    for seed in range(volume(short=20, long=500)):
        style = styles[seed % len(styles)]
        method = methods[seed // len(styles) % len(methods)]
        subject = replace(SUBJECT, method=method)
        asked = [
            QuizPaper(orchard.standard_id, seed, variant, method, "en", style)
            for variant in VARIANTS
        ]
        quizzes = [quiz_attempts.quiz_of(database, lead, paper) for paper in asked]
        keys = printed_keys(quizzes, style)
        assert disagreements(quizzes, keys) == [], (seed, style, method)
        for quiz, key in zip(quizzes, keys, strict=True):
            sheet = AnswerSheet(subject, orchard.standard_id, quiz, style=style)
            paper = SHEET_PAGES[seed % len(SHEET_PAGES)]
            (page,) = answer_marked_pages(sheet, ENGLISH, paper)
            found = quiz_attempts.find_paper(
                database,
                lead,
                paper_on(page),
                lambda made, sheet=sheet, paper=paper, page=page: (
                    answer_marked_pages(replace(sheet, quiz=made), ENGLISH, paper)[0].code
                    == page.code
                ),
            )
            again = quiz_attempts.quiz_of(database, lead, found)
            boxes = {choice_key(number, place) for number, place in enumerate(key, start=1)}
            assert boxes <= {box.key for box in page.boxes}
            answers = chosen_answers(boxes, again).places
            assert all(marked(again, answers)), (seed, quiz.variant)
            beside = [
                (place + 1) % len(question.choices)
                for place, question in zip(answers, again.questions, strict=True)
            ]
            assert not any(marked(again, beside)), (seed, quiz.variant)


def test_a_key_that_is_off_by_one_place_is_noticed(quick_database, orchard):
    """The comparison can fail: one variant's question is put into another order after printing."""
    papers = [
        QuizPaper(orchard.standard_id, 3, variant, Method.LADDER, "en") for variant in VARIANTS
    ]
    quizzes = [quiz_attempts.quiz_of(quick_database, orchard.supervisor, each) for each in papers]
    keys = printed_keys(quizzes, QuizStyle.WORDS)
    first, *others = quizzes[2].questions
    order = (*range(1, len(first.choices)), 0)
    quizzes[2] = replace(quizzes[2], questions=(reordered(first, order), *others))
    assert disagreements(quizzes, keys) == ["C"]
