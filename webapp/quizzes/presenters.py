"""A quiz as its pages show it: questions without a key, then the result with everything."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from flask import url_for
from markupsafe import Markup

from audits.questions import Picture
from audits.records import QuizAttempt
from audits.services.quiz_results import AttemptLine, JudgedQuestion, ResultView
from audits.services.quiz_sittings import OpenSitting, SittingView
from printables.answer_sheet import LETTERS
from printables.drawing.svg import to_svg
from printables.question_pictures import choice_picture, question_picture
from webapp.coaching.papers import name_of
from webapp.quizzes.chances import guessing_words
from webapp.reading import words


@dataclass(frozen=True)
class ChoiceTile:
    """A choice to press: its place, its letter, and what it says."""

    place: int
    letter: str
    words: str
    picture: Markup | None
    is_chosen: bool


@dataclass(frozen=True)
class QuestionScreen:
    """One question on the screen, and where it stands among the others."""

    number: int
    total: int
    stem: str
    picture: Markup | None
    choices: list[ChoiceTile]
    steps: list[bool]

    @property
    def is_last(self) -> bool:
        """Whether no question comes after it."""
        return self.number == self.total


@dataclass(frozen=True)
class Step:
    """A question as a square to press, before the quiz is handed in."""

    number: int
    is_answered: bool
    url: str


@dataclass(frozen=True)
class WaitingQuiz:
    """A quiz that was begun: whose it is, what it asks about, and how far it is."""

    person: str
    block: str
    answered: int
    total: int
    url: str


@dataclass(frozen=True)
class AttemptRow:
    """A quiz that was taken, as a line of a list."""

    url: str
    attempt: QuizAttempt
    block: str
    is_passed: bool | None


@dataclass(frozen=True)
class ExplainedQuestion:
    """A question with the answer that was given, the right one and the reason."""

    number: int
    stem: str
    picture: Markup | None
    answer: str | None
    answer_picture: Markup | None
    right_answer: str
    right_picture: Markup | None
    why: str
    is_right: bool


def question_screen(view: SittingView, number: int) -> QuestionScreen:
    """Return one question of a quiz that is being taken."""
    question = view.questions[number - 1]
    chosen = view.sitting.answers[number - 1]
    return QuestionScreen(
        number=number,
        total=len(view.questions),
        stem=words().say(question.stem),
        picture=_drawn(question.picture, "question"),
        choices=[
            ChoiceTile(
                place,
                LETTERS[place],
                words().say(choice),
                _choice_picture(question.choice_pictures, place, f"choice-{place}"),
                place == chosen,
            )
            for place, choice in enumerate(question.choices)
        ],
        steps=[answer is not None for answer in view.sitting.answers],
    )


def steps(view: SittingView) -> list[Step]:
    """Return each question of a quiz as a square that leads to it."""
    return [
        Step(number, answer is not None, question_url(view.sitting.uid, number))
        for number, answer in enumerate(view.sitting.answers, start=1)
    ]


def waiting_quizzes(found: Sequence[OpenSitting]) -> list[WaitingQuiz]:
    """Return quizzes that were begun, each with the way to its next question."""
    return [
        WaitingQuiz(
            person=name_of(each.worker),
            block=each.block.name,
            answered=sum(answer is not None for answer in each.sitting.answers),
            total=len(each.sitting.answers),
            url=check_url(each.sitting.uid)
            if each.next_place is None
            else question_url(each.sitting.uid, each.next_place),
        )
        for each in found
    ]


def attempt_rows(lines: Sequence[AttemptLine]) -> list[AttemptRow]:
    """Return quizzes that were taken, each with the way to its result."""
    return [
        AttemptRow(
            url=url_for("quizzes.result", attempt_id=line.attempt.id),
            attempt=line.attempt,
            block=line.block,
            is_passed=line.is_passed,
        )
        for line in lines
    ]


def explained(questions: Sequence[JudgedQuestion]) -> list[ExplainedQuestion]:
    """Return questions of a quiz that was taken, with their right answers and reasons."""
    return [_explained(each) for each in questions]


def chance_sentence(result: ResultView) -> str | None:
    """Return what guessing alone would have come to; None where nothing tells."""
    return None if result.chance_by_guessing is None else guessing_words(result.chance_by_guessing)


def question_url(uid: str, number: int) -> str:
    """Return the address of a question on the screen."""
    return url_for("quizzes.question", quiz=UUID(uid), number=number)


def check_url(uid: str) -> str:
    """Return the address of the page on which a quiz is handed in."""
    return url_for("quizzes.check", quiz=UUID(uid))


def _explained(each: JudgedQuestion) -> ExplainedQuestion:
    question, given = each.question, each.answer
    pictures = question.choice_pictures
    return ExplainedQuestion(
        number=each.number,
        stem=words().say(question.stem),
        picture=_drawn(question.picture, f"question-{each.number}"),
        answer=None if given is None else words().say(question.choices[given]),
        answer_picture=_choice_picture(pictures, given, f"answer-{each.number}"),
        right_answer=words().say(question.answer),
        right_picture=_choice_picture(pictures, question.key, f"right-{each.number}"),
        why=words().say(question.why),
        is_right=each.is_right,
    )


def _choice_picture(pictures: Sequence[Picture], place: int | None, prefix: str) -> Markup | None:
    """Return the picture of a choice; its words are said beside it."""
    if not pictures or place is None:
        return None
    svg = to_svg(choice_picture(pictures[place], words()), id_prefix=prefix, decorative=True)
    return Markup(svg)  # noqa: S704 - escaped there


def _drawn(picture: Picture | None, prefix: str) -> Markup | None:
    if picture is None:
        return None
    svg = to_svg(question_picture(picture, words()), id_prefix=prefix)
    return Markup(svg)  # noqa: S704 - escaped there
