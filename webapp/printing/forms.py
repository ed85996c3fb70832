"""What is printed, in which language and on which paper."""

from collections.abc import Iterable

from flask_babel import lazy_gettext
from wtforms import RadioField, SelectField
from wtforms.validators import InputRequired

from audits.learning import VARIANTS
from audits.records import Block
from audits.vocabulary import METHOD_NAMES
from printables.card import CARD_FORMAT_NAMES, CardFormat
from printables.sheet import Page
from webapp.forms import BaseForm, WholeNumberField, as_choices, choices_of
from webapp.reading import LANGUAGE_NAMES

BOTH_LANGUAGES = "both"
PAPER_NAMES = {
    Page.LETTER: lazy_gettext("Letter, 8 1/2 x 11 in"),
    Page.A4: lazy_gettext("A4, 210 x 297 mm"),
}


class _PaperForm(BaseForm):
    """Entries that every printed thing has. The form is sent by GET: printing changes nothing."""

    class Meta:
        """Nothing is written, so that no token is needed."""

        csrf = False

    block_id = SelectField(lazy_gettext("Block"), [InputRequired()], coerce=int)
    method = SelectField(lazy_gettext("The crew works"), [InputRequired()])
    page = RadioField(lazy_gettext("Paper"), [InputRequired()], default=str(Page.LETTER))

    def offer(self, blocks: Iterable[Block]) -> None:
        """Fill the choices."""
        self.block_id.choices = choices_of((block.id, block.name) for block in blocks)
        self.method.choices = as_choices(METHOD_NAMES)
        self.page.choices = choices_of(PAPER_NAMES.items())


class SheetForm(BaseForm):
    """A coaching sheet of a worker, or a crew leader's sheet. Sent by GET as well."""

    class Meta:
        """Nothing is written, so that no token is needed."""

        csrf = False

    of_id = SelectField(lazy_gettext("Whose sheet"), [InputRequired()], coerce=int)
    page = RadioField(lazy_gettext("Paper"), [InputRequired()], default=str(Page.LETTER))

    def offer(self, names: Iterable[tuple[int, str]]) -> None:
        """Fill the choices."""
        self.of_id.choices = choices_of(names)
        self.page.choices = choices_of(PAPER_NAMES.items())


class CardForm(_PaperForm):
    """A sheet of pocket cards."""

    language = RadioField(lazy_gettext("Language"), [InputRequired()], default=BOTH_LANGUAGES)
    card_format = RadioField(lazy_gettext("Card"), [InputRequired()], default=str(CardFormat.A7))
    copies = WholeNumberField(lazy_gettext("Cards of each language"), optional=True)

    def offer(self, blocks: Iterable[Block]) -> None:
        """Fill the choices."""
        super().offer(blocks)
        both = (BOTH_LANGUAGES, lazy_gettext("Both"))
        self.language.choices = choices_of((*LANGUAGE_NAMES, both))
        self.card_format.choices = as_choices(CARD_FORMAT_NAMES)


class QuizForm(_PaperForm):
    """A quiz with its key."""

    language = RadioField(lazy_gettext("Language"), [InputRequired()], default="en")
    variant = SelectField(lazy_gettext("Variant"), [InputRequired()])
    seed = WholeNumberField(lazy_gettext("Seed"))

    def offer(self, blocks: Iterable[Block]) -> None:
        """Fill the choices."""
        super().offer(blocks)
        self.language.choices = choices_of(LANGUAGE_NAMES)
        self.variant.choices = choices_of((variant, variant) for variant in VARIANTS)
