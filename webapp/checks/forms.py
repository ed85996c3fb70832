"""Forms of start checks: whose it is, and which tree comes next."""

from collections.abc import Iterable, Mapping

from flask_babel import lazy_gettext
from wtforms import RadioField, SelectField
from wtforms.validators import InputRequired

from audits.records import Row, Worker
from audits.vocabulary import SIDE_NAMES, Side
from webapp.forms import BaseForm, WholeNumberField, as_choices, choices_of
from webapp.passes.people import worker_words
from webapp.passes.rows import row_words


class WorkerChoiceForm(BaseForm):
    """Whose trees are looked at."""

    # Whether the worker is of the crew is the service's to say, in words.
    worker_id = RadioField(
        lazy_gettext("Whose trees?"),
        [InputRequired(lazy_gettext("Choose a worker."))],
        coerce=int,
        validate_choice=False,
    )

    def offer(self, workers: Iterable[Worker]) -> None:
        """Fill the choices in."""
        self.worker_id.choices = choices_of((one.id, worker_words(one)) for one in workers)


class TreeForm(BaseForm):
    """Where a tree stands; its answers are read as on the tree screen."""

    row_id = SelectField(lazy_gettext("Row"), coerce=int, validate_choice=False)
    position = WholeNumberField(lazy_gettext("Tree"))
    side = RadioField(
        lazy_gettext("Side"), [InputRequired(lazy_gettext("Choose one."))], coerce=Side
    )

    def offer(self, rows: Iterable[Row]) -> None:
        """Fill the choices in."""
        self.row_id.choices = choices_of((row.id, row_words(row.number)) for row in rows)
        names: Mapping[Side, str] = {side: SIDE_NAMES[side] for side in (Side.LEFT, Side.RIGHT)}
        self.side.choices = as_choices(dict(names))
