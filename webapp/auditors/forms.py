"""The form that opens a calibration walk."""

from collections.abc import Iterable

from flask_babel import lazy_gettext
from wtforms import RadioField, SelectField
from wtforms.validators import InputRequired

from audits.records import User
from audits.storage.queries.check_trees import WalkablePass
from webapp.forms import BaseForm, WholeNumberField, choices_of
from webapp.passes.presenters import pass_name

NOBODY = 0


class WalkForm(BaseForm):
    """Where, how many trees, and against whom."""

    pass_id = SelectField(lazy_gettext("Pass"), coerce=int, validate_choice=False)
    trees = WholeNumberField(lazy_gettext("Trees"))
    reference_id = RadioField(
        lazy_gettext("Reference auditor"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=int,
        validate_choice=False,
    )

    def offer(self, passes: Iterable[WalkablePass], people: Iterable[User], nobody: str) -> None:
        """Fill the choices in."""
        self.pass_id.choices = choices_of(
            (found.id, pass_name(found.block, found.crew)) for found in passes
        )
        named = [(person.id, person.name) for person in people]
        self.reference_id.choices = choices_of([(NOBODY, nobody), *named])
