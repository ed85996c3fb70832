"""From the views of coaching to the sheets that are printed."""

from audits.coaching_words import CoachingReason, contested_words, left_out_words
from audits.messages import Message
from audits.records import Worker
from audits.services.coaching import CoachingView, CrewView, coaching_view, crew_view
from audits.services.coaching import SeenFault as Seen
from printables.coaching_sheet import CoachingSheet, SeenOnSheet, SinceLast, coaching_sheet
from printables.crew_sheet import CrewSheet, CrewSheetStage, crew_sheet
from printables.document import Document, to_pdf
from printables.sheet import Page
from webapp.access import actor
from webapp.extensions import database, farm, today
from webapp.reading import words, words_of_farm
from webapp.season.choice import chosen_season, season_label


def coaching_pdf(worker_id: int, page: Page) -> bytes:
    """Print a worker's coaching sheet in the worker's language."""
    return to_pdf(coaching_document(worker_id, page))


def coaching_document(worker_id: int, page: Page) -> Document:
    """Lay a worker's coaching sheet out in the worker's language."""
    view = coaching_view(database(), actor(), worker_id, chosen_season())
    return coaching_sheet(sheet_of(view), words_of_farm(farm(), view.worker.language), page=page)


def crew_pdf(crew_id: int, page: Page) -> bytes:
    """Print a crew leader's sheet in the reader's language."""
    return to_pdf(crew_document(crew_id, page))


def crew_document(crew_id: int, page: Page) -> Document:
    """Lay a crew leader's sheet out in the reader's language."""
    view = crew_view(database(), actor(), crew_id, chosen_season())
    return crew_sheet(crew_sheet_of(view), words(), page=page)


def sheet_of(view: CoachingView) -> CoachingSheet:
    """Return a worker's sheet as the printable takes it."""
    since = view.since
    works_on_it = view.choice.reason is not CoachingReason.NOTHING
    return CoachingSheet(
        farm=farm().name,
        worker=name_of(view.worker),
        issued_on=today(),
        reason=view.choice.reason,
        stage=view.choice.stage or view.choice.went_well,
        block=view.block.name if view.block else "",
        version=view.version.version if view.version else None,
        standard=view.standard,
        method=view.method,
        reading=view.reading.sentence if view.reading else None,
        faults=_seen(view.faults) if works_on_it else (),
        latest=view.latest,
        since=(
            SinceLast(since.event.held_on, since.event.kind, since.before, since.after)
            if since
            else None
        ),
        trained=tuple((event.held_on, event.kind) for event in view.trained),
        notes=tuple(sheet_notes(view)),
    )


def sheet_notes(view: CoachingView) -> list[Message]:
    """Say of which trees a worker's sheet must be read with care, and which are in no count."""
    shown = view.choice.stage or view.choice.went_well
    left_out = {stage: trees for stage, trees in view.left_out.items() if shown in {None, stage}}
    return [*contested_words(view.contested), *left_out_words(left_out)]


def crew_sheet_of(view: CrewView) -> CrewSheet:
    """Return a crew's sheet as the printable takes it; a small one without names and figures."""
    return CrewSheet(
        farm=farm().name,
        crew=view.crew.name,
        issued_on=today(),
        season=season_label(view.season),
        standard=view.standard,
        stages=tuple(
            CrewSheetStage(
                line.stage,
                line.reading.sentence if line.reading else None,
                _seen(line.faults),
                tuple(left_out_words({line.stage: view.left_out.get(line.stage, 0)})),
            )
            for line in view.stages
        ),
        next_stage=view.next_stage,
        look_at=(
            ()
            if view.is_too_small
            else tuple((name_of(worker), stages) for worker, stages in view.signals)
        ),
        block_first=(
            ()
            if view.is_too_small
            else tuple((name_of(worker), stages) for worker, stages in view.block_first)
        ),
        is_too_small=view.is_too_small,
        trained=tuple(
            (event.held_on, event.stage, event.kind, people) for event, people in view.trained
        ),
    )


def name_of(worker: Worker) -> str:
    """Return a worker's name with the code, or the code alone once the name is erased."""
    return f"{worker.name} ({worker.code})" if worker.name else worker.code


def _seen(faults: tuple[Seen, ...]) -> tuple[SeenOnSheet, ...]:
    return tuple(SeenOnSheet(each.fault, each.trees) for each in faults)
