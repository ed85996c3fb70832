"""Forms of passes: a new one, rows that are finished, people who are named, the end."""

from collections.abc import Iterable, Sequence
from typing import Any

from flask_babel import gettext, lazy_gettext
from wtforms import RadioField, SelectField, SelectMultipleField
from wtforms.validators import InputRequired, ValidationError
from wtforms.widgets import CheckboxInput, ListWidget

from audits.records import Block, Crew, Row, Worker
from audits.services.passes import LOT_BY_HALF_DAY, LOT_BY_ROW
from audits.vocabulary import (
    METHOD_NAMES,
    PASS_KIND_NAMES,
    SIDE_NAMES,
    STAGE_NAMES,
    Method,
    PassKind,
    Side,
    Stage,
)
from webapp.forms import (
    BaseForm,
    MomentField,
    NumberField,
    WholeNumberField,
    as_choices,
    choices_of,
)
from webapp.passes.people import worker_words
from webapp.passes.rows import (
    RowNumbersField,
    RowTilesField,
    chosen_row_ids,
    number_ranges,
    unknown_row_numbers,
)


class RowsForm(BaseForm):
    """Rows that are typed by number, ticked, or both."""

    row_numbers = RowNumbersField(
        lazy_gettext("Rows by number"), render_kw={"autocomplete": "off", "inputmode": "text"}
    )
    row_ids = RowTilesField(lazy_gettext("Or tick them"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - handed on
        super().__init__(*args, **kwargs)
        self.rows: Sequence[Row] = ()

    def offer_rows(self, rows: Iterable[Row]) -> None:
        """Offer these rows."""
        self.rows = list(rows)
        self.row_ids.choices = choices_of((row.id, str(row.number)) for row in self.rows)

    def validate_row_numbers(self, field: RowNumbersField) -> None:
        """Refuse numbers that no row on offer has."""
        unknown = unknown_row_numbers(field.data, self.rows)
        if unknown:
            raise ValidationError(self.no_such_row_words(number_ranges(unknown)))

    def no_such_row_words(self, numbers: str) -> str:
        """Say which numbers are none of these rows."""
        return str(gettext("There is no row %(numbers)s here.", numbers=numbers))

    def chosen(self) -> list[int]:
        """Return the ids of the rows, those typed first."""
        return chosen_row_ids(self.row_numbers.data, self.row_ids.data or [], self.rows)


class PassForm(RowsForm):
    """A new pass of a block; a pass of rework comes of its rework order instead."""

    crew_id = RadioField(
        lazy_gettext("Crew"), [InputRequired(lazy_gettext("Choose a crew."))], coerce=int
    )
    kind = RadioField(
        lazy_gettext("Kind"), [InputRequired(lazy_gettext("Choose one."))], coerce=PassKind
    )
    method = RadioField(
        lazy_gettext("Method"), [InputRequired(lazy_gettext("Choose one."))], coerce=Method
    )
    started_at = MomentField(lazy_gettext("Begun"))
    lot_by = RadioField(lazy_gettext("One lot is"))

    def offer(self, block: Block, rows: Iterable[Row], crews: Iterable[tuple[Crew, int]]) -> None:
        """Fill the choices in."""
        self.block = block
        self.offer_rows(rows)
        self.crew_id.choices = choices_of((crew.id, crew.name) for crew, _ in crews)
        self.kind.choices = as_choices(
            {kind: name for kind, name in PASS_KIND_NAMES.items() if kind is not PassKind.REWORK}
        )
        self.method.choices = as_choices(METHOD_NAMES)
        self.lot_by.choices = choices_of(
            [
                ("", gettext("As usual for the crew's size")),
                (LOT_BY_ROW, gettext("Each row")),
                (LOT_BY_HALF_DAY, gettext("The rows of a half-day")),
            ]
        )

    def no_such_row_words(self, numbers: str) -> str:
        """Say which numbers are no rows of the block."""
        return str(
            gettext("%(block)s has no row %(numbers)s.", block=self.block.name, numbers=numbers)
        )


class FinishForm(RowsForm):
    """Rows that are finished, and when."""

    finished_at = MomentField(lazy_gettext("Finished"))

    def no_such_row_words(self, numbers: str) -> str:
        """Say which numbers are no unfinished rows of the pass."""
        return str(
            gettext("No unfinished row of this pass has the number %(numbers)s.", numbers=numbers)
        )


class _StagesField(SelectMultipleField):
    widget = ListWidget(prefix_label=False)
    option_widget = CheckboxInput()


class NamingForm(RowsForm):
    """Who did which stages in which rows, or on a stretch or side of them."""

    # Whether the worker is of the crew is the service's to say, in words.
    worker_id = SelectField(
        lazy_gettext("Worker"),
        [InputRequired(lazy_gettext("Choose a worker."))],
        coerce=lambda text: int(text) if text else None,
        validate_choice=False,
    )
    stages = _StagesField(lazy_gettext("Stages"), coerce=Stage)
    side = RadioField(
        lazy_gettext("Side"), [InputRequired(lazy_gettext("Choose one."))], coerce=Side
    )
    first_position = WholeNumberField(lazy_gettext("From tree"), optional=True)
    last_position = WholeNumberField(lazy_gettext("To tree"), optional=True)

    def offer(
        self, rows: Iterable[Row], workers: Iterable[Worker], stages: Iterable[Stage]
    ) -> None:
        """Fill the choices in."""
        self.offer_rows(rows)
        self.worker_id.choices = choices_of(
            [("", gettext("Choose")), *((one.id, worker_words(one)) for one in workers)]
        )
        self.stages.choices = as_choices({stage: STAGE_NAMES[stage] for stage in stages})
        self.side.choices = as_choices(SIDE_NAMES)

    def no_such_row_words(self, numbers: str) -> str:
        """Say which numbers are no rows of the pass."""
        return str(gettext("This pass does not go through row %(numbers)s.", numbers=numbers))


class EndForm(BaseForm):
    """When a pass ended, and the hours of all people."""

    ended_at = MomentField(lazy_gettext("Ended"))
    hours = NumberField(lazy_gettext("Hours of all people together"), optional=True)
