"""Forms of coaching: a training, and the stage that somebody begins."""

from collections.abc import Iterable
from datetime import date
from typing import Any, Final, cast

from flask_babel import lazy_gettext
from wtforms import RadioField, SelectMultipleField, TextAreaField
from wtforms.validators import InputRequired
from wtforms.widgets import CheckboxInput, ListWidget

from audits.records import Worker
from audits.vocabulary import STAGE_NAMES, TRAINING_KIND_NAMES, Stage, TrainingKind
from webapp.coaching.papers import name_of
from webapp.forms import BaseForm, DayField, as_choices, choices_of

_CHOOSE: Final = lazy_gettext("Choose one.")


class PeopleField(SelectMultipleField):
    """Several people, ticked."""

    widget = ListWidget(prefix_label=False)
    option_widget = CheckboxInput()


class TrainingForm(BaseForm):
    """A training of one person or several."""

    worker_ids = PeopleField(
        lazy_gettext("Who was there"),
        [InputRequired(lazy_gettext("Choose who was there."))],
        coerce=int,
    )
    stage = RadioField(lazy_gettext("Stage"), [InputRequired(_CHOOSE)], coerce=Stage)
    kind = RadioField(lazy_gettext("How"), [InputRequired(_CHOOSE)], coerce=TrainingKind)
    held_on = DayField(lazy_gettext("Day"))
    note = TextAreaField(lazy_gettext("Note"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - handed on
        super().__init__(*args, **kwargs)
        self.stage.choices = as_choices(STAGE_NAMES)
        self.kind.choices = as_choices(TRAINING_KIND_NAMES)

    def offer(self, workers: Iterable[Worker]) -> None:
        """Offer these people."""
        self.worker_ids.choices = choices_of((worker.id, name_of(worker)) for worker in workers)


class BeginForm(BaseForm):
    """The stage that somebody learns next."""

    stage = RadioField(lazy_gettext("Stage"), [InputRequired(_CHOOSE)], coerce=Stage)
    begun_on = DayField(lazy_gettext("Trees count from"))

    def offer(self, stages: Iterable[Stage]) -> None:
        """Offer these stages."""
        self.stage.choices = as_choices({stage: STAGE_NAMES[stage] for stage in stages})

    def first_day(self) -> date:
        """Return the first day whose trees count."""
        return cast("date", self.begun_on.data)
