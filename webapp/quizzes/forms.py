"""Forms of a quiz: what it is to ask about and who takes it."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from flask_babel import lazy_gettext
from wtforms import HiddenField, RadioField, SelectField
from wtforms.validators import InputRequired

from audits.records import Block, Worker
from audits.services.quiz_sittings import SittingChoice
from audits.vocabulary import QuizStyle
from webapp.coaching.papers import name_of
from webapp.forms import BaseForm, choices_of
from webapp.reading import LANGUAGE_NAMES

STYLE_NAMES = {
    QuizStyle.WORDS: lazy_gettext("Words and pictures"),
    QuizStyle.PICTURES: lazy_gettext("Pictures and sound, hardly any words"),
}


class BeginForm(BaseForm):
    """The block, how the quiz is read, and for a crew lead who takes it."""

    # Names the quiz before it begins, so that a key pressed twice begins one.
    quiz = HiddenField()
    worker_id = SelectField(
        lazy_gettext("Who takes the quiz?"),
        [InputRequired(lazy_gettext("Choose who takes the quiz."))],
        coerce=lambda text: int(text) if text else None,
    )
    block_id = SelectField(
        lazy_gettext("Block"), [InputRequired(lazy_gettext("Choose a block."))], coerce=int
    )
    language = RadioField(
        lazy_gettext("Language"),
        [InputRequired(lazy_gettext("Choose one."))],
        choices=choices_of(LANGUAGE_NAMES),
    )
    style = RadioField(
        lazy_gettext("The answers are"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=QuizStyle,
        default=str(QuizStyle.WORDS),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - handed on
        super().__init__(*args, **kwargs)
        self.style.choices = choices_of(
            (str(style), str(name)) for style, name in STYLE_NAMES.items()
        )

    def offer(self, blocks: Sequence[Block], workers: Sequence[Worker] | None) -> None:
        """Fill the choices in; without workers it is one's own quiz and nobody is asked for."""
        self.block_id.choices = choices_of((block.id, block.name) for block in blocks)
        if workers is None:
            del self.worker_id
        else:
            self.worker_id.choices = choices_of(
                [("", "-"), *((worker.id, name_of(worker)) for worker in workers)]
            )

    def choice(self, own_worker_id: int | None) -> SittingChoice:
        """Return what was chosen."""
        worker_id = self.worker_id.data if "worker_id" in self else own_worker_id
        return SittingChoice(
            worker_id=worker_id or 0,
            block_id=self.block_id.data,
            language=self.language.data,
            style=self.style.data,
        )

    def uid(self) -> str | None:
        """Return the name of the quiz to begin; None where the form came without one."""
        try:
            return UUID(self.quiz.data or "").hex
        except ValueError:
            return None
