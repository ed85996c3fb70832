"""What is chosen before something is printed: few fields, each with what is usual filled in."""

from typing import Any, ClassVar, TypeAlias

from flask_babel import lazy_gettext
from wtforms import RadioField, SelectField
from wtforms.validators import InputRequired

from audits.errors import InvalidInput
from audits.quizzes import VARIANTS
from audits.records import Printer
from audits.services.briefings import BRIEFED_METHODS
from audits.vocabulary import (
    METHOD_NAMES,
    STAGE_NAMES,
    TURNED_OVER_NAMES,
    Method,
    QuizStyle,
    Stage,
)
from printables.cards import CARD_FORMAT_NAMES, CardFormat, CardStyle
from printables.sheet import Page
from webapp.coaching.papers import name_of
from webapp.forms import BaseForm, WholeNumberField, as_choices, choices_of, message_text
from webapp.printing.stock import Stock
from webapp.reading import LANGUAGE_NAMES

Offered: TypeAlias = dict[str, list[tuple[Any, Any]]]

BOTH_LANGUAGES = "both"
ONE_STAGE = "one"
ALL_VARIANTS = "all"
PAPER_NAMES = {
    Page.LETTER: lazy_gettext("Letter, 8 1/2 x 11 in"),
    Page.A4: lazy_gettext("A4, 210 x 297 mm"),
}
POSTER_PAPER_NAMES = {
    Page.TABLOID: lazy_gettext("Tabloid, 11 x 17 in"),
    Page.A3: lazy_gettext("A3, 297 x 420 mm"),
}


def _block() -> SelectField:
    return SelectField(lazy_gettext("Block"), [InputRequired()], coerce=int)


def _method() -> SelectField:
    return SelectField(
        lazy_gettext("The crew works"),
        [InputRequired()],
        choices=lambda: as_choices(METHOD_NAMES),
        default=str(Method.LADDER),
        description=lazy_gettext("It chooses the safety notes."),
    )


def _paper(names: dict[Page, Any] = PAPER_NAMES) -> RadioField:
    return RadioField(
        lazy_gettext("Paper"), [InputRequired()], choices=lambda: choices_of(names.items())
    )


def _language() -> RadioField:
    return RadioField(
        lazy_gettext("Language"), [InputRequired()], choices=lambda: choices_of(LANGUAGE_NAMES)
    )


def _printer() -> SelectField:
    return SelectField(
        lazy_gettext("Printer"),
        coerce=int,
        default=0,
        description=lazy_gettext("Its correction moves the backs so that they meet the fronts."),
    )


# What printables and services call a thing, and the fields by which a form may have chosen it.
_FIELDS_BY_NAME = {
    "block": ("block_id",),
    "stage": ("shows",),
    "style": ("style", "shows"),
    "crew": ("crew_id", "answers"),
    "worker": ("worker_id", "crew_id", "answers"),
    "name": ("worker_id", "crew_id", "answers", "printer_id"),
    "code": ("worker_id", "crew_id", "answers"),
    "printer": ("printer_id",),
}
BLANK, ON_THE_QUESTIONS, CREW, WORKER = "blank", "questions", "crew", "worker"


class PaperForm(BaseForm):
    """Choices for something that is printed. Sent by GET unless printing it is recorded."""

    # The kind of record without which there is nothing to choose from.
    needs: ClassVar[str] = ""

    def offer(self, stock: Stock) -> None:
        """Fill the choices that come from the farm's records."""
        for name, choices in self.offered(stock).items():
            self[name].choices = choices_of(choices)

    def usual(self, _stock: Stock) -> dict[str, object]:
        """Return what is chosen at first, where that is not the first choice."""
        return {}

    def add_problems(self, problems: InvalidInput) -> None:
        """Put each sentence at the field that chose what it is about."""
        super().add_problems(
            InvalidInput(
                {
                    name if name in self else self._chosen_by(name): message
                    for name, message in problems.problems.items()
                }
            )
        )

    def sentences(self) -> list[str]:
        """Return what is wrong, each with the field that it is about."""
        at_fields = [
            f"{bound.label.text}: {bound.errors[0]}"
            for bound in self
            if bound.errors and bound.name != "csrf_token"
        ]
        return [*map(str, self.form_errors), *at_fields]

    def _chosen_by(self, name: str) -> str:
        return next((field for field in _FIELDS_BY_NAME.get(name, ()) if field in self), name)

    def offered(self, stock: Stock) -> Offered:
        """Return the choices by field."""
        raise NotImplementedError


class BlockForm(PaperForm):
    """Something about one block."""

    needs = "blocks"

    block_id = _block()

    def offered(self, stock: Stock) -> Offered:
        """Offer the blocks."""
        return {"block_id": [(block.id, block.name) for block in stock.blocks]}


class _BatchForm(BlockForm):
    """Something with a gauge on it: what is printed is recorded."""

    def offered(self, stock: Stock) -> Offered:
        """Offer printers too."""
        unlisted = (0, lazy_gettext("One that is not listed: no correction"))
        printers = [(printer.id, _printer_name(printer)) for printer in stock.printers]
        return {**super().offered(stock), "printer_id": [unlisted, *printers]}


def _printer_name(printer: Printer) -> str:
    return f"{printer.name} ({message_text(TURNED_OVER_NAMES[printer.turned_over]).lower()})"


def _shown_on_cards() -> list[tuple[str, Any]]:
    single = [
        (f"{ONE_STAGE}-{stage}", lazy_gettext("One stage, large: %(stage)s", stage=_stage(stage)))
        for stage in Stage
    ]
    return [
        (str(CardStyle.ALL_STAGES), lazy_gettext("All stages")),
        (str(CardStyle.LARGE_PRINT), lazy_gettext("All stages, large print")),
        *single,
    ]


def _stage(stage: Stage) -> str:
    return message_text(STAGE_NAMES[stage])


class CardForm(_BatchForm):
    """Pocket cards: without names, or one for each person of a crew."""

    crew_id = SelectField(lazy_gettext("For whom"), coerce=int, default=0)
    copies = WholeNumberField(lazy_gettext("How many of each"), optional=True)
    language = RadioField(
        lazy_gettext("Language"),
        [InputRequired()],
        default=BOTH_LANGUAGES,
        choices=lambda: choices_of(
            [(BOTH_LANGUAGES, lazy_gettext("Both, or each person's own")), *LANGUAGE_NAMES]
        ),
    )
    card_format = RadioField(
        lazy_gettext("Card"),
        [InputRequired()],
        default=str(CardFormat.A7),
        choices=lambda: as_choices(CARD_FORMAT_NAMES),
    )
    shows = SelectField(
        lazy_gettext("What it shows"),
        [InputRequired()],
        default=str(CardStyle.ALL_STAGES),
        choices=lambda: choices_of(_shown_on_cards()),
    )
    method = _method()
    page = _paper()
    printer_id = _printer()

    def offered(self, stock: Stock) -> Offered:
        """Offer crews too."""
        nobody = (0, lazy_gettext("Nobody: cards without names"))
        crews = [
            (crew.id, lazy_gettext("%(crew)s: a card for each person", crew=crew.name))
            for crew in stock.crews
        ]
        return {**super().offered(stock), "crew_id": [nobody, *crews]}

    @property
    def style(self) -> CardStyle:
        """What the cards show."""
        chosen = str(self.shows.data)
        return CardStyle.ONE_STAGE if chosen.startswith(f"{ONE_STAGE}-") else CardStyle(chosen)

    @property
    def stage(self) -> Stage | None:
        """The stage of a card that shows one."""
        chosen = str(self.shows.data)
        return Stage(chosen.partition("-")[2]) if self.style is CardStyle.ONE_STAGE else None


class GaugeForm(_BatchForm):
    """Sheets of gauges, printed on one side."""

    copies = WholeNumberField(lazy_gettext("Sheets"), default=1)
    language = _language()
    page = _paper()
    printer_id = SelectField(
        lazy_gettext("Printer"),
        coerce=int,
        default=0,
        description=lazy_gettext("It is kept with the batch."),
    )


class QuizForm(BlockForm):
    """A quiz with its answer sheets and its key."""

    answers = SelectField(lazy_gettext("Answers are marked"), [InputRequired()], default=BLANK)
    language = _language()
    variant = SelectField(
        lazy_gettext("Variant"),
        [InputRequired()],
        choices=lambda: choices_of(
            [
                *((variant, variant) for variant in VARIANTS),
                (
                    ALL_VARIANTS,
                    lazy_gettext(
                        "All of %(first)s to %(last)s", first=VARIANTS[0], last=VARIANTS[-1]
                    ),
                ),
            ]
        ),
        description=lazy_gettext(
            "Each asks the same questions in another order. The keys come last, together."
        ),
    )
    style = RadioField(
        lazy_gettext("Answers to choose from"),
        [InputRequired()],
        default=str(QuizStyle.WORDS),
        choices=lambda: choices_of(
            [
                (str(QuizStyle.WORDS), lazy_gettext("Words and pictures")),
                (str(QuizStyle.PICTURES), lazy_gettext("Pictures alone, for reading out")),
            ]
        ),
    )
    seed = WholeNumberField(
        lazy_gettext("Seed"), description=lazy_gettext("The same seed prints the same quiz.")
    )
    method = _method()
    page = _paper()

    def offered(self, stock: Stock) -> Offered:
        """Offer a sheet for each person of a crew, or for one."""
        return {
            **super().offered(stock),
            "answers": [
                (BLANK, lazy_gettext("on a sheet without a name")),
                (ON_THE_QUESTIONS, lazy_gettext("beside the questions")),
                *(
                    (f"{CREW}-{crew.id}", lazy_gettext("%(crew)s: a sheet each", crew=crew.name))
                    for crew in stock.crews
                ),
                *(
                    (f"{WORKER}-{number}", lazy_gettext("%(name)s: one sheet", name=name))
                    for number, name in _workers(stock)
                ),
            ],
        }

    @property
    def answered_by(self) -> tuple[str, int]:
        """Whose answers are marked on sheets: a kind, and an id where it is a crew or a worker."""
        kind, _, number = str(self.answers.data).partition("-")
        return kind, int(number or 0)

    @property
    def variants(self) -> tuple[str, ...]:
        """The variants to print, in order."""
        chosen = str(self.variant.data)
        return VARIANTS if chosen == ALL_VARIANTS else (chosen,)


class ModelTreesForm(BlockForm):
    """A sheet on which model trees are counted."""

    method = _method()
    language = _language()
    page = _paper()


class PosterForm(BlockForm):
    """The standard for the wall of the shed."""

    language = _language()
    method = _method()
    page = _paper(POSTER_PAPER_NAMES)


class TallyForm(PaperForm):
    """The tally sheet of an audit that is going on."""

    needs = "audits"

    audit_id = SelectField(lazy_gettext("Audit"), [InputRequired()], coerce=int)
    language = _language()
    page = _paper()

    def offered(self, stock: Stock) -> Offered:
        """Offer the audits that are not sealed."""
        return {"audit_id": stock.audits}


class ReworkForm(PaperForm):
    """A rework order."""

    needs = "orders"

    order_id = SelectField(lazy_gettext("What went back"), [InputRequired()], coerce=int)
    language = _language()
    page = _paper()

    def offered(self, stock: Stock) -> Offered:
        """Offer the orders that wait."""
        return {"order_id": stock.orders}


class SafetyForm(PaperForm):
    """A safety brief with lines to sign."""

    block_id = SelectField(
        lazy_gettext("Block"),
        coerce=int,
        default=0,
        description=lazy_gettext("It says where help is called to."),
    )
    crew_id = SelectField(lazy_gettext("Who signs"), coerce=int, default=0)
    method = _method()
    language = _language()
    page = _paper()

    def offered(self, stock: Stock) -> Offered:
        """Offer blocks and crews."""
        everywhere = (0, lazy_gettext("The whole farm"))
        nobody = (0, lazy_gettext("Empty lines"))
        return {
            "block_id": [everywhere, *((block.id, block.name) for block in stock.blocks)],
            "crew_id": [nobody, *((crew.id, crew.name) for crew in stock.crews)],
        }


class NoStartForm(PaperForm):
    """Who may not start with a method."""

    method = SelectField(
        lazy_gettext("Method"),
        [InputRequired()],
        choices=lambda: as_choices({method: METHOD_NAMES[method] for method in BRIEFED_METHODS}),
        default=str(Method.LADDER),
    )
    crew_id = SelectField(lazy_gettext("Crew"), coerce=int, default=0)
    language = _language()
    page = _paper()

    def offered(self, stock: Stock) -> Offered:
        """Offer the crews."""
        everybody = (0, lazy_gettext("Everybody"))
        return {"crew_id": [everybody, *((crew.id, crew.name) for crew in stock.crews)]}


class WorkerForm(PaperForm):
    """A sheet of one worker, in the worker's own language."""

    needs = "workers"

    worker_id = SelectField(lazy_gettext("Worker"), [InputRequired()], coerce=int)
    page = _paper()

    def offered(self, stock: Stock) -> Offered:
        """Offer the workers."""
        return {"worker_id": _workers(stock)}


class CertificateForm(WorkerForm):
    """A certificate, for those who have learned a stage."""

    def offered(self, stock: Stock) -> Offered:
        """Say who is signed off."""
        return {
            "worker_id": [
                (
                    number,
                    lazy_gettext("%(name)s: signed off", name=name)
                    if number in stock.signed_off
                    else name,
                )
                for number, name in _workers(stock)
            ]
        }

    def usual(self, stock: Stock) -> dict[str, object]:
        """Choose the first who is signed off."""
        signed = [number for number, _ in _workers(stock) if number in stock.signed_off]
        return {"worker_id": signed[0]} if signed else {}


class CrewForm(PaperForm):
    """A crew leader's sheet."""

    needs = "crews"

    crew_id = SelectField(lazy_gettext("Crew"), [InputRequired()], coerce=int)
    language = _language()
    page = _paper()

    def offered(self, stock: Stock) -> Offered:
        """Offer the crews."""
        return {"crew_id": [(crew.id, crew.name) for crew in stock.crews]}


class SeasonForm(PaperForm):
    """The owner's review of a season."""

    season = SelectField(lazy_gettext("Season"), [InputRequired()], coerce=int)
    language = _language()
    page = _paper()

    def offered(self, stock: Stock) -> Offered:
        """Offer the seasons."""
        return {"season": stock.seasons}


class DuplexTestForm(PaperForm):
    """The test page that shows how far backs lie from fronts."""

    printer_id = _printer()
    language = _language()
    page = _paper()

    def offered(self, stock: Stock) -> Offered:
        """Offer printers."""
        unlisted = (0, lazy_gettext("One that is not listed yet"))
        printers = [(printer.id, _printer_name(printer)) for printer in stock.printers]
        return {"printer_id": [unlisted, *printers]}


def _workers(stock: Stock) -> list[tuple[int, str]]:
    return [(worker.id, name_of(worker)) for worker in stock.workers]
