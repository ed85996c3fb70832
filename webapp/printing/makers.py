"""From what was chosen on a form to the pages of what is printed."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import cycle
from typing import Final

from audits.errors import InvalidInput
from audits.messages import say
from audits.quizzes import Quiz
from audits.records import Block, Printer, StandardVersion, Worker
from audits.services.farms import the_block, the_crew, the_worker
from audits.services.printers import the_printer
from audits.services.quiz_attempts import QuizPaper, paper_now, quiz_of
from audits.services.standards import standard_of
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import Method, QuizStyle, TurnedOver
from printables.answer_sheet import AnswerSheet
from printables.cards import MOST_COPIES, CardFormat, sheet_of_cards
from printables.document import Document
from printables.duplex_test import duplex_test as duplex_test_page
from printables.imposition import Correction
from printables.poster import poster as poster_of
from printables.quiz import quiz_papers
from printables.sheet import Page
from webapp.access import actor
from webapp.auditing.sheets_on_paper import tally_document
from webapp.coaching.papers import coaching_document, crew_document
from webapp.extensions import database, farm, today
from webapp.printing import forms, records
from webapp.printing.addresses import asked_address, block_address
from webapp.printing.batch_documents import batch_document
from webapp.printing.choices import (
    BatchChoices,
    CardChoices,
    GaugeChoices,
    NamedCard,
    PaperChoice,
    SubjectChoice,
)
from webapp.printing.forms import BOTH_LANGUAGES
from webapp.printing.orders import rework_document
from webapp.printing.sheets import block_in_force
from webapp.reading import LANGUAGE_NAMES, read_in, words_of_farm

MOST_SHEETS: Final = 50


def cards(form: forms.CardForm) -> Document:
    """Lay cards out to be looked at; their number comes with the batch."""
    version_id, choices = card_choices(form)
    return batch_document(database(), actor().farm_id, version_id, choices, number=None)


def gauges(form: forms.GaugeForm) -> Document:
    """Lay gauges out to be looked at."""
    version_id, choices = gauge_choices(form)
    return batch_document(database(), actor().farm_id, version_id, choices, number=None)


def batch_choices(form: forms.CardForm | forms.GaugeForm) -> tuple[int, BatchChoices]:
    """Return the version of the standard and all that was chosen for a batch."""
    if isinstance(form, forms.CardForm):
        return card_choices(form)
    return gauge_choices(form)


def card_choices(form: forms.CardForm) -> tuple[int, CardChoices]:
    """Return the version of the standard and what was chosen for cards."""
    method, page = Method(form.method.data), Page(form.page.data)
    block, version = _standard(form.block_id.data)
    people = _people(form.crew_id.data, form.language.data) if form.crew_id.data else ()
    languages = () if people else _languages(form.language.data)
    copies = form.copies.data
    if copies is None:
        copies = 1 if people else sheets_full(form.card_format.data, page, len(languages))
    most = MOST_COPIES // len(people or languages)
    if not 1 <= copies <= most:
        raise InvalidInput({"copies": say("Print between 1 and %(most)s of each.", most=most)})
    return version.id, CardChoices(
        subject=SubjectChoice.of(farm(), block, version, method),
        paper=_paper(page, form.printer_id.data),
        card_format=CardFormat(form.card_format.data),
        style=form.style,
        stage=form.stage,
        languages=languages,
        people=people,
        copies=copies,
        printed_on=today(),
        address=asked_address(),
    )


def sheets_full(card_format: str, page: Page, languages: int) -> int:
    """Return how many cards of each language fill one sheet."""
    return max(1, sheet_of_cards(page, CardFormat(card_format)).count // languages)


def gauge_choices(form: forms.GaugeForm) -> tuple[int, GaugeChoices]:
    """Return the version of the standard and what was chosen for gauges."""
    block, version = _standard(form.block_id.data)
    copies = form.copies.data or 0
    if not 1 <= copies <= MOST_SHEETS:
        raise InvalidInput(
            {"copies": say("Print between 1 and %(most)s sheets.", most=MOST_SHEETS)}
        )
    return version.id, GaugeChoices(
        # Gauges are the same however the crew works.
        subject=SubjectChoice.of(farm(), block, version, Method.GROUND),
        paper=_paper(Page(form.page.data), form.printer_id.data),
        language=form.language.data,
        copies=copies,
        printed_on=today(),
    )


def quiz(form: forms.QuizForm) -> Document:
    """Print variants of a quiz with their answer sheets and their keys."""
    block, version = _standard(form.block_id.data)
    method, style = Method(form.method.data), QuizStyle(form.style.data)
    papers = [
        paper_now(
            database(),
            actor(),
            QuizPaper(version.id, form.seed.data or 0, variant, method, form.language.data, style),
        )
        for variant in form.variants
    ]
    made = [quiz_of(database(), actor(), paper) for paper in papers]
    subject = SubjectChoice.of(farm(), block, version, method).subject
    blank = AnswerSheet(subject, version.id, made[0], style=style)
    return quiz_papers(
        subject,
        made,
        words_of_farm(farm(), form.language.data),
        page=Page(form.page.data),
        answer_sheets=_answer_sheets(form, blank, made),
        style=style,
        pass_mark=farm().quiz_pass_mark,
    )


def _answer_sheets(
    form: forms.QuizForm, blank: AnswerSheet, made: Sequence[Quiz]
) -> list[AnswerSheet]:
    """Return the sheets: one of each variant, or one for each person, variants taking turns."""
    people = _answering(*form.answered_by)
    if people == [None]:
        return [replace(blank, quiz=quiz) for quiz in made]
    return [
        replace(
            blank,
            quiz=quiz,
            worker_id=worker.id,
            worker_name=worker.name or "",
            worker_code=worker.code,
        )
        for worker, quiz in zip(people, cycle(made), strict=False)
        if worker is not None
    ]


def _answering(kind: str, number: int) -> list[Worker | None]:
    """Return for whom answer sheets are printed, None for one without a name."""
    if kind == forms.BLANK:
        return [None]
    if kind == forms.CREW:
        return [*_people_of(number)]
    if kind == forms.WORKER:
        with database().read() as connection:
            return [the_worker(connection, actor().farm_id, number)]
    return []


def tally(form: forms.TallyForm) -> Document:
    """Print the drawn trees of an audit."""
    return tally_document(
        database(),
        actor(),
        form.audit_id.data,
        page=Page(form.page.data),
        language=form.language.data,
    )


def rework(form: forms.ReworkForm) -> Document:
    """Print a rework order."""
    with read_in(form.language.data):
        return rework_document(form.order_id.data, Page(form.page.data))


def model_trees(form: forms.ModelTreesForm) -> Document:
    """Print the sheet of the model trees."""
    return records.model_tree_document(
        database(),
        farm(),
        form.block_id.data,
        day=today(),
        language=form.language.data,
        method=Method(form.method.data),
        page=Page(form.page.data),
    )


def safety(form: forms.SafetyForm) -> Document:
    """Print a safety brief with lines to sign."""
    return records.safety_brief_document(
        database(),
        farm(),
        Method(form.method.data),
        form.crew_id.data or None,
        language=form.language.data,
        block_id=form.block_id.data or None,
        page=Page(form.page.data),
    )


def no_start(form: forms.NoStartForm) -> Document:
    """Print who may not start with a method."""
    return records.no_start_document(
        database(),
        farm(),
        actor(),
        Method(form.method.data),
        day=today(),
        language=form.language.data,
        crew_id=form.crew_id.data or None,
        page=Page(form.page.data),
    )


def coaching(form: forms.WorkerForm) -> Document:
    """Print a worker's coaching sheet in the worker's language."""
    return coaching_document(form.worker_id.data, Page(form.page.data))


def crew(form: forms.CrewForm) -> Document:
    """Print a crew leader's sheet."""
    with read_in(form.language.data):
        return crew_document(form.crew_id.data, Page(form.page.data))


def training(form: forms.WorkerForm) -> Document:
    """Print a worker's training record in the worker's language."""
    return records.training_record_document(
        database(),
        farm(),
        actor(),
        form.worker_id.data,
        day=today(),
        page=Page(form.page.data),
    )


def certificate(form: forms.WorkerForm) -> Document:
    """Print a worker's certificate in the worker's language."""
    return records.certificate_document(
        database(),
        farm(),
        actor(),
        form.worker_id.data,
        day=today(),
        page=Page(form.page.data),
    )


def poster(form: forms.PosterForm) -> Document:
    """Print the standard of a block for the wall."""
    block, version = _standard(form.block_id.data)
    return poster_of(
        SubjectChoice.of(farm(), block, version, Method(form.method.data)).subject,
        standard_of(version),
        words_of_farm(farm(), form.language.data),
        page=Page(form.page.data),
        address=block_address(asked_address(), block.id),
        printed_on=today(),
    )


def season(form: forms.SeasonForm) -> Document:
    """Print the owner's report of a season."""
    return records.season_report_document(
        database(),
        farm(),
        actor(),
        form.season.data,
        day=today(),
        language=form.language.data,
        page=Page(form.page.data),
    )


def duplex_test(form: forms.DuplexTestForm) -> Document:
    """Print the test page of a printer."""
    printer = _printer(form.printer_id.data)
    return duplex_test_page(
        farm().name,
        printer.name if printer else "",
        words_of_farm(farm(), form.language.data),
        page=Page(form.page.data),
        turned_over=printer.turned_over if printer else TurnedOver.LONG_EDGE,
        correction=(
            Correction(printer.back_right_mm, printer.back_down_mm) if printer else Correction()
        ),
    )


def _standard(block_id: int) -> tuple[Block, StandardVersion]:
    with database().read() as connection:
        block = the_block(connection, actor().farm_id, block_id)
    return block, block_in_force(database(), farm(), block, today())


def _printer(printer_id: int) -> Printer | None:
    if not printer_id:
        return None
    with database().read() as connection:
        return the_printer(connection, actor().farm_id, printer_id)


def _paper(page: Page, printer_id: int) -> PaperChoice:
    printer = _printer(printer_id)
    return PaperChoice(
        page=page,
        turned_over=printer.turned_over if printer else TurnedOver.LONG_EDGE,
        back_right_mm=printer.back_right_mm if printer else 0.0,
        back_down_mm=printer.back_down_mm if printer else 0.0,
        region=farm().region,
        units=farm().units,
    )


def _languages(chosen: str) -> tuple[str, ...]:
    if chosen == BOTH_LANGUAGES:
        return tuple(language for language, _ in LANGUAGE_NAMES)
    return (chosen,)


def _people(crew_id: int, language: str) -> tuple[NamedCard, ...]:
    """Return a crew's people by code, each with the language chosen or with their own."""
    return tuple(
        NamedCard(
            worker_id=worker.id,
            language=worker.language if language == BOTH_LANGUAGES else language,
        )
        for worker in _people_of(crew_id)
    )


def _people_of(crew_id: int) -> list[Worker]:
    with database().read() as connection:
        crew_of = the_crew(connection, actor().farm_id, crew_id)
        workers = farm_queries.workers_of_crew(connection, actor().farm_id, crew_id)
    if not workers:
        raise InvalidInput({"crew": say("Nobody is in %(crew)s.", crew=crew_of.name)})
    return workers
