"""From what was chosen for a batch to its pages; the same choices give the same pages."""

from collections.abc import Mapping

from audits.errors import InvalidInput, NotFound
from audits.messages import say
from audits.records import PrintBatch, Worker
from audits.services.standards import standard_of
from audits.standard import Standard
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import standards as standard_queries
from printables.cards import Card, CardRequest, card_faces, personal, placed, sheet_of_cards
from printables.document import Document, Progress
from printables.drawing.primitives import Drawing
from printables.gauge_sheet import gauge_sheet
from printables.imposition import Correction, impose
from webapp.printing.addresses import block_address
from webapp.printing.choices import BatchChoices, CardChoices, GaugeChoices, read_choices


def document_of_batch(
    database: Database, farm_id: int, batch: PrintBatch, progress: Progress | None = None
) -> Document:
    """Lay a stored batch out."""
    choices = read_choices(batch.choices)
    return batch_document(
        database,
        farm_id,
        batch.standard_version_id,
        choices,
        number=batch.number,
        progress=progress,
    )


def batch_document(
    database: Database,
    farm_id: int,
    standard_version_id: int,
    choices: BatchChoices,
    *,
    number: int | None,
    progress: Progress | None = None,
) -> Document:
    """Lay choices out; without a number they are only looked at."""
    with database.read() as connection:
        version = standard_queries.standard_by_id(connection, farm_id, standard_version_id)
        workers = farm_queries.workers(connection, farm_id, with_retired=True)
    if version is None:
        raise NotFound(say("There is no such standard."))
    standard = standard_of(version)
    if isinstance(choices, GaugeChoices):
        return _gauges(choices, standard, number)
    return _cards(choices, standard, {worker.id: worker for worker in workers}, number, progress)


def _gauges(choices: GaugeChoices, standard: Standard, number: int | None) -> Document:
    return gauge_sheet(
        choices.subject.subject,
        standard,
        choices.paper.words(choices.language),
        page=choices.paper.page,
        batch=number,
        printed_on=choices.printed_on,
        copies=choices.copies,
    )


def _cards(
    choices: CardChoices,
    standard: Standard,
    workers: Mapping[int, Worker],
    number: int | None,
    progress: Progress | None,
) -> Document:
    """Draw each language's card once, and a name on it for each person who reads it."""
    request = CardRequest(
        subject=choices.subject.subject,
        standard=standard,
        card_format=choices.card_format,
        style=choices.style,
        stage=choices.stage,
        batch=number,
        printed_on=choices.printed_on,
        address=block_address(choices.address, choices.subject.block_id, number),
    )
    cards = {
        language: card_faces(request, choices.paper.words(language)) for language in choices.spoken
    }
    faces = [
        *(placed(cards[language]) for language in choices.languages),
        *(
            placed(cards[each.language], _person(workers.get(each.worker_id), cards[each.language]))
            for each in choices.people
        ),
    ]
    first = choices.paper.words(choices.spoken[0])
    title = say("Pocket card: %(block)s", block=choices.subject.block)
    leaves = impose(
        sheet_of_cards(choices.paper.page, choices.card_format),
        [each for each in faces for _ in range(choices.copies)],
        title,
        first,
        turned_over=choices.paper.turned_over,
        correction=Correction(choices.paper.back_right_mm, choices.paper.back_down_mm),
        progress=progress,
    )
    return Document(first.say(title), choices.subject.farm, first.language, leaves)


def _person(worker: Worker | None, card: Card) -> Drawing:
    """Write a person's name and code; once the name is erased, the code alone."""
    if worker is None:
        raise InvalidInput({"crew_id": say("There is no such worker.")})
    return personal(worker.name or "", worker.code, card)
