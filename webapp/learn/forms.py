"""Forms of learning: who holds the phone next, and the password that takes it back."""

from collections.abc import Iterable
from typing import cast

from flask_babel import lazy_gettext
from wtforms import PasswordField, SelectField
from wtforms.validators import DataRequired

from audits.records import Worker
from webapp.coaching.papers import name_of
from webapp.forms import BaseForm, choices_of


class HandOverForm(BaseForm):
    """Who holds the phone next."""

    worker_id = SelectField(lazy_gettext("Hand it to"), coerce=int)

    def offer(self, workers: Iterable[Worker]) -> None:
        """Offer these people."""
        self.worker_id.choices = choices_of((worker.id, name_of(worker)) for worker in workers)

    def chosen(self) -> int:
        """Return the person's id."""
        return cast("int", self.worker_id.data)


class GiveBackForm(BaseForm):
    """The crew lead's password."""

    password = PasswordField(
        lazy_gettext("Password"), [DataRequired()], render_kw={"autocomplete": "current-password"}
    )
