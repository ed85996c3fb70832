"""Forms of the area: photos of sheets, and the answers read off one."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, cast

from flask_babel import gettext, lazy_gettext
from flask_wtf.file import FileRequired, MultipleFileField
from wtforms import BooleanField, RadioField, SelectField
from wtforms.fields.choices import SelectChoice
from wtforms.validators import InputRequired, NumberRange

from audits.quizzes import Quiz
from audits.records import Worker
from printables.answer_sheet import LETTERS
from webapp.coaching.papers import name_of
from webapp.forms import BaseForm, DayField, choices_of

# What stands for nobody yet, and for a question that was left open.
NOBODY = 0
OPEN = "open"


class PhotosForm(BaseForm):
    """Photos of sheets, each of one page."""

    photos = MultipleFileField(
        lazy_gettext("Photos of the sheet"),
        [FileRequired(lazy_gettext("Choose a photo first."))],
        render_kw={"accept": "image/*"},
    )


class AnswersForm(BaseForm):
    """Who took a quiz and when; the answers are fields added for its questions."""

    worker_id = SelectField(
        lazy_gettext("Whose answers"),
        [InputRequired(), NumberRange(min=1, message=lazy_gettext("Choose a person."))],
        coerce=int,
    )
    taken_on = DayField(lazy_gettext("Day of the quiz"))
    # Asked only where other answers of that person to the same quiz on that day are kept.
    taken_again = BooleanField(
        lazy_gettext("It is another sheet: this person took the quiz again that day")
    )

    def offer(self, workers: Iterable[Worker]) -> None:
        """Offer these people; nobody is chosen for a sheet without a name."""
        people = [(worker.id, name_of(worker)) for worker in workers]
        self.worker_id.choices = choices_of(
            [
                (NOBODY, gettext("Choose a person")),
                *sorted(people, key=lambda one: one[1].casefold()),
            ]
        )

    def day(self) -> date:
        """Return the day of the quiz."""
        return cast("date", self.taken_on.data)

    def questions(self, quiz: Quiz) -> list[Any]:
        """Return the fields of the questions in order."""
        return [self[question_name(number)] for number, _ in enumerate(quiz.questions, start=1)]

    def answers(self, quiz: Quiz) -> list[int | None]:
        """Return the place of each chosen answer from 0; None where it was left open."""
        return [
            None if field.data == OPEN else LETTERS.index(field.data)
            for field in self.questions(quiz)
        ]


def answers_form(quiz: Quiz, workers: Iterable[Worker], **options: Any) -> AnswersForm:  # noqa: ANN401 - handed on
    """Return the form of a quiz, one group of choices a question."""
    fields = {
        question_name(number): RadioField(
            lazy_gettext("Question %(number)s", number=number),
            [InputRequired(lazy_gettext("Look at the photo and choose."))],
            choices=_choices(LETTERS[: len(question.choices)]),
        )
        for number, question in enumerate(quiz.questions, start=1)
    }
    form: AnswersForm = type("AnswersOfQuizForm", (AnswersForm,), fields)(**options)
    form.offer(workers)
    return form


def question_name(number: int) -> str:
    """Return the name of a question's field."""
    return f"q{number}"


def _choices(letters: Sequence[str]) -> list[SelectChoice]:
    return choices_of([*((letter, letter) for letter in letters), (OPEN, gettext("left open"))])
