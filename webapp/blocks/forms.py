"""Forms of blocks, rows and the planting map."""

from typing import Any

from flask_babel import lazy_gettext
from wtforms import BooleanField, RadioField, StringField
from wtforms.validators import DataRequired, InputRequired

from audits.vocabulary import (
    BEARING_HABIT_NAMES,
    PLANTING_KIND_NAMES,
    BearingHabit,
    PlantingKind,
)
from webapp.forms import BaseForm, DayField, LengthField, WholeNumberField, as_choices


class BlockForm(BaseForm):
    """A block: what grows there and how it is spaced."""

    name = StringField(
        lazy_gettext("Name of the block"), [DataRequired(lazy_gettext("Give the block a name."))]
    )
    cultivar = StringField(
        lazy_gettext("Cultivar"), [DataRequired(lazy_gettext("Name the cultivar."))]
    )
    rootstock = StringField(lazy_gettext("Rootstock"))
    planting_year = WholeNumberField(lazy_gettext("Year of planting"), optional=True)
    habit = RadioField(
        lazy_gettext("Where it bears"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=BearingHabit,
    )
    row_spacing_mm = LengthField(lazy_gettext("From row to row"))
    tree_spacing_mm = LengthField(lazy_gettext("From tree to tree"))
    top_wire_mm = LengthField(lazy_gettext("Height of the top wire"), optional=True)
    young = BooleanField(lazy_gettext("Young: still filling its space"))
    low_bloom = BooleanField(lazy_gettext("Low bloom: few flower buds this year"))
    emergency_location = StringField(lazy_gettext("Where an ambulance is sent"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - handed on
        super().__init__(*args, **kwargs)
        self.habit.choices = as_choices(BEARING_HABIT_NAMES)


class ChangedBlockForm(BlockForm):
    """A block that is there already."""

    retired = BooleanField(lazy_gettext("No longer pruned: keep its records, offer it no more"))


class RowShape(BaseForm):
    """What one row and rows that are alike have in common."""

    start_end = StringField(
        lazy_gettext("End where the row starts"),
        [DataRequired(lazy_gettext("Say at which end the row starts, such as north or road."))],
    )
    tree_count = WholeNumberField(lazy_gettext("Positions in the row"))
    trees_per_panel = WholeNumberField(lazy_gettext("Trees from post to post"), optional=True)
    posts = WholeNumberField(lazy_gettext("Posts"), optional=True)


class RowsForm(RowShape):
    """Rows that are alike."""

    first_number = WholeNumberField(lazy_gettext("First row"))
    last_number = WholeNumberField(lazy_gettext("Last row"), optional=True)
    since = DayField(lazy_gettext("The trees stand there since"))


class RowForm(RowShape):
    """One row that is there already."""

    number = WholeNumberField(lazy_gettext("Number of the row"))


class PlantingForm(BaseForm):
    """What stands on a stretch of a row from a day on."""

    first_position = WholeNumberField(lazy_gettext("From position"))
    last_position = WholeNumberField(lazy_gettext("To position"), optional=True)
    kind = RadioField(
        lazy_gettext("What stands there"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=PlantingKind,
    )
    since = DayField(lazy_gettext("Since"))
    cultivar = StringField(lazy_gettext("Cultivar"))
    year = WholeNumberField(lazy_gettext("Year of planting"), optional=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - handed on
        super().__init__(*args, **kwargs)
        self.kind.choices = as_choices(PLANTING_KIND_NAMES)
