"""
Printing from the command line: the same forms as on the pages, filled from options.

A page's request is stood in for, since the makers ask it whose farm it is, in which language people
read, and under which address phones find the farm.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final

from flask import g
from werkzeug.datastructures import MultiDict
from wtforms import Field

from audits.errors import InvalidInput
from audits.messages import say
from audits.records import Actor, Farm
from audits.services.printing import make_batch_unattended
from audits.vocabulary import Role
from printables.document import to_pdf
from webapp.access import actor
from webapp.app import create_app
from webapp.config import Settings
from webapp.extensions import database, present
from webapp.forms import message_text
from webapp.printing.batch_documents import document_of_batch
from webapp.printing.batches import checked_order
from webapp.printing.choosing import fields_of, filled_form, fresh_form
from webapp.printing.forms import CREW, WORKER, PaperForm
from webapp.printing.makers import batch_choices
from webapp.printing.offers import OFFERS, Offer
from webapp.printing.stock import Named, Stock
from webapp.reading import read_in

# Options by the field of the form, where they are called otherwise.
_OPTION_OF_FIELD: Final = {
    "block_id": "block",
    "crew_id": "crew",
    "worker_id": "worker",
    "printer_id": "printer",
    "audit_id": "audit",
    "order_id": "order",
    "language": "in",
    "card_format": "format",
    "shows": "style",
}


class RefusalError(Exception):
    """Sentences that say what to change, each with its option."""

    def __init__(self, *sentences: str) -> None:
        super().__init__(*sentences)
        self.sentences = sentences


@dataclass(frozen=True)
class Printed:
    """A file, and the number of its batch where it has one."""

    content: bytes
    batch: int | None = None


@contextmanager
def as_on_a_page(settings: Settings, farm: Farm, language: str, address: str) -> Iterator[None]:
    """Let what happens inside be printed as the farm's owner would on a page."""
    app = create_app(settings)
    try:
        with app.test_request_context("/"):
            g.actor = Actor(0, farm.id, "", Role.OWNER, language, None)
            g.paper_address = address
            with read_in(language):
                yield
    finally:
        app.extensions["pruning_audit_database"].close()


def offer_named(key: str) -> Offer:
    """Return a thing by its key."""
    return next(offer for offer in OFFERS if offer.key == key)


def form_from_options(key: str, options: Mapping[str, object]) -> PaperForm:
    """
    Return a thing's form with what options say, and what is usual where they say nothing.

    Raises RefusalError where an option is missing, is not for this thing, or has no such value.
    """
    offer, stock = offer_named(key), Stock()
    given = {name: value for name, value in options.items() if value is not None}
    form = fresh_form(offer, stock, {})
    by_option = {_option(bound): bound for bound in fields_of(form)}
    given |= _answered_by(given, stock) if "answers" in by_option else {}
    _refuse_misplaced(given, by_option, stock)
    entered = MultiDict(
        (bound.name, str(bound.data)) for bound in by_option.values() if bound.data is not None
    )
    for option, value in given.items():
        name = by_option[option].name
        entered[name] = str(_id_of(option, str(value), stock) if option in _NAMED else value)
    form = filled_form(offer, stock, entered)
    if not form.validate():
        raise RefusalError(*_sentences(form))
    return form


def print_from_options(
    key: str, options: Mapping[str, object], before: Callable[[], None]
) -> Printed:
    """
    Print a thing; cards and gauges are recorded as a batch.

    `before` is called once it is certain what is printed, before anything is recorded of it.
    """
    form = form_from_options(key, options)
    offer = offer_named(key)
    try:
        if not offer.is_batch:
            document = offer.document(form)
            before()
            return Printed(to_pdf(document))
        version_id, choices = batch_choices(form)
        order = checked_order(version_id, choices, form.printer_id.data or None)
        before()
        batch = make_batch_unattended(database(), actor().farm_id, order, present())
    except InvalidInput as error:
        form.add_problems(error)
        raise RefusalError(*_sentences(form)) from error
    document = document_of_batch(database(), actor().farm_id, batch)
    return Printed(to_pdf(document), batch.number)


def _answered_by(given: dict[str, object], stock: Stock) -> dict[str, object]:
    """Take a crew or a worker for those who get answer sheets."""
    for option in (CREW, WORKER):
        if option in given:
            return {"answers": f"{option}-{_id_of(option, str(given.pop(option)), stock)}"}
    return {}


def _option(bound: Field) -> str:
    return _OPTION_OF_FIELD.get(str(bound.name), str(bound.name))


def _refuse_misplaced(
    given: Mapping[str, object], by_option: Mapping[str, Field], stock: Stock
) -> None:
    """Refuse options that this thing does not know, and ask for those that it needs."""
    sentences = [
        message_text(say("--%(option)s: this is not chosen here.", option=option))
        for option in given
        if option not in by_option
    ]
    sentences += [
        message_text(
            say(
                "--%(option)s: this must be given. There is: %(names)s.",
                option=option,
                names=_shown(_NAMED[option](stock)),
            )
        )
        for option, bound in by_option.items()
        if option in _MUST_BE_NAMED and bound.flags.required and option not in given
    ]
    if sentences:
        raise RefusalError(*sentences)


def _id_of(option: str, value: str, stock: Stock) -> int:
    """Return the id of a record that people call by a name, a code or a number."""
    records = _NAMED[option](stock)
    for number, names in records:
        if value.casefold() in {name.casefold() for name in names}:
            return number
    raise RefusalError(_no_such(option, value, _shown(records)))


def _no_such(option: str, value: str, names: str) -> str:
    return message_text(
        say(
            '--%(option)s: there is no "%(value)s". There is: %(names)s.',
            option=option,
            value=value,
            names=names,
        )
    )


def _shown(records: Iterable[tuple[int, tuple[str, ...]]]) -> str:
    return ", ".join(names[0] for _, names in records) or "-"


def _numbers(records: Named) -> list[tuple[int, tuple[str, ...]]]:
    return [(number, (str(number),)) for number, _ in records]


_NAMED: Final[dict[str, Callable[[Stock], list[tuple[int, tuple[str, ...]]]]]] = {
    "block": lambda stock: [(block.id, (block.name,)) for block in stock.blocks],
    "crew": lambda stock: [(crew.id, (crew.name,)) for crew in stock.crews],
    "worker": lambda stock: [
        (worker.id, (worker.code, worker.name or worker.code)) for worker in stock.workers
    ],
    "printer": lambda stock: [(printer.id, (printer.name,)) for printer in stock.printers],
    "audit": lambda stock: _numbers(stock.audits),
    "order": lambda stock: _numbers(stock.orders),
}
_MUST_BE_NAMED: Final = frozenset({"block", "crew", "worker", "audit", "order"})


def _sentences(form: PaperForm) -> tuple[str, ...]:
    at_fields = [_sentence(bound) for bound in fields_of(form) if bound.errors]
    return (*map(str, form.form_errors), *at_fields)


def _sentence(bound: Field) -> str:
    """Say what is wrong with an option; where it is none of some choices, which there are."""
    option, entered = _option(bound), str(bound.data)
    choices = [str(value) for value, *_ in getattr(bound, "choices", None) or ()]
    if choices and entered not in choices:
        return _no_such(option, entered, ", ".join(choices))
    return f"--{option}: {bound.errors[0]}"
