"""The tally sheet of an audit's sample; for the pages and the command line."""

from collections.abc import Iterator, Mapping
from zoneinfo import ZoneInfo

from flask import Response, request
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from audits.errors import InvalidInput, NotFound
from audits.messages import say
from audits.records import Actor, DrawTree, Row, StandardVersion
from audits.sampling import MeasuredPlan, Plan, StagePlan, StageTally, decide
from audits.scoring import Tap, possible_faults
from audits.services.accounts import LANGUAGES
from audits.services.auditing import AuditView
from audits.services.verdicts import VerdictView, view_verdict
from audits.storage.database import Database
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import SIDE_NAMES, Outcome, SheetKind, Stage
from printables.document import Document, to_pdf
from printables.marked import PAPER_LETTERS, MarkedPage, SheetCode
from printables.sheet import SHEET_PAGES, Page
from printables.tally_records import (
    TallyAnswer,
    TallyColumn,
    TallySheet,
    TallyTree,
    TallyWave,
    WaveNumbers,
)
from printables.tally_sheet import tally_marked_pages, tally_sheet
from webapp.access import CREW_LEADS, actor, open_to
from webapp.auditing.blueprint import blueprint
from webapp.auditing.entry import StagePanel, stage_panels
from webapp.auditing.places import lot_name, position_words, row_name, tree_place
from webapp.auditing.samples import Sample, sample_of
from webapp.extensions import database, present
from webapp.printing.papers import usual_page
from webapp.reading import chosen_language, read_in, words

_MOST_DIGITS = 9
_NO_SUCH_SHEET = say("There is no such page of a tally sheet.")


@blueprint.get("/audits/<int:audit_id>/sheet.pdf")
@open_to(CREW_LEADS)
def sheet(audit_id: int) -> ResponseReturnValue:
    """Print the sample of an audit as a tally sheet."""
    document = tally_sheet_pdf(
        database(),
        actor(),
        audit_id,
        page=_page(request.args.get("page")),
        language=_language(request.args.get("language")),
    )
    return Response(
        document,
        mimetype="application/pdf",
        headers={"Content-Disposition": f'inline; filename="tally-sheet-{audit_id}.pdf"'},
    )


def tally_sheet_pdf(
    source: Database, reader: Actor, audit_id: int, *, page: Page, language: str
) -> bytes:
    """Print the sample of an audit in a language; needs an application context, no request."""
    return to_pdf(tally_document(source, reader, audit_id, page=page, language=language))


def tally_document(
    source: Database, reader: Actor, audit_id: int, *, page: Page, language: str
) -> Document:
    """Lay the sample of an audit out in a language; needs an application context, no request."""
    view = view_verdict(source, reader, audit_id, present())
    version = _version(source, view)
    sample = sample_of(source, view.view.book)
    with read_in(language):
        return tally_sheet(_sheet(view, version, sample), words(), page=page)


def tally_marked_page(source: Database, reader: Actor, code: SheetCode) -> MarkedPage:
    """
    Return the page of a tally sheet that a code stands on, as it was when it was printed.

    Trees may have been replaced since, on this very sheet: the walks before each replacement are
    tried until the boxes lie as the code says. If none do, the page is returned as it would be
    printed now, and its own code differs.
    """
    audit_id, page, language = _fields(code)
    view = view_verdict(source, reader, audit_id, present())
    version = _version(source, view)
    pages: list[MarkedPage] = []
    latest = sample_of(source, view.view.book)
    for known in range(len(latest.own.replaced), -1, -1):
        sample = sample_of(source, view.view.book, replacements=known)
        with read_in(language):
            printed = tally_marked_pages(_sheet(view, version, sample), words(), page)
        pages += printed[code.page_number - 1 : code.page_number]
        if pages and pages[-1].code == code:
            return pages[-1]
    if not pages:
        raise NotFound(_NO_SUCH_SHEET)
    return pages[0]


def _fields(code: SheetCode) -> tuple[int, Page, str]:
    """Return audit, paper and language."""
    papers = {letter: page for page, letter in PAPER_LETTERS.items()}
    languages = {language.upper(): language for language in LANGUAGES}
    match code.fields:
        case (audit, paper, language) if (
            code.kind is SheetKind.TALLY
            and audit.isdecimal()
            # Codes are not signed; nine digits are within what a database numbers.
            and len(audit) <= _MOST_DIGITS
            and paper in papers
            and language in languages
            and code.page_number >= 1
        ):
            return int(audit), papers[paper], languages[language]
        case _:
            raise NotFound(_NO_SUCH_SHEET)


def _version(source: Database, view: VerdictView) -> StandardVersion:
    book = view.view.book
    with source.read() as connection:
        version = standard_queries.standard_by_id(
            connection, book.farm.id, book.crew_pass.standard_version_id
        )
    if version is None:
        raise NotFound(say("There is no such audit."))
    return version


def paper_columns(view: AuditView) -> list[TallyColumn]:
    """Return the stages of an audit as the sheet and the desk ask for them."""
    book = view.book
    panels = stage_panels(
        book.standard, book.crew_pass.method, MultiDict(), {}, words(), stages=book.draw.stages
    )
    return [
        TallyColumn(
            stage=Stage(panel.key),
            answers=tuple(_answers(panel)),
            faults=possible_faults(book.standard, Stage(panel.key), book.crew_pass.method),
        )
        for panel in panels
    ]


def _answers(panel: StagePanel) -> Iterator[TallyAnswer]:
    """Return the tiles of the phone as boxes."""
    for tile in panel.tiles:
        if tile.shape == "count":
            yield TallyAnswer(Tap.RIGHT, tile.label)
        else:
            yield TallyAnswer(Tap(tile.value))


def _sheet(view: VerdictView, version: StandardVersion, sample: Sample) -> TallySheet:
    book = view.view.book
    day = book.draw.created_at.astimezone(ZoneInfo(book.farm.time_zone)).date()
    return TallySheet(
        audit=book.audit.id,
        farm=book.farm.name,
        block=view.block.name,
        crew=view.crew.name,
        lot=lot_name(view.ranges),
        auditor=view.people.get(book.audit.auditor_id, ""),
        standard_version=version.version,
        draw=book.draw.id,
        drawn_on=day,
        purpose=book.draw.purpose,
        columns=tuple(paper_columns(view.view)),
        waves=tuple(_waves(view, sample)),
        reserve=tuple(_paper_tree(tree, view.rows, sample) for tree in sample.reserve),
        skips_decided=book.standard.skip_decided,
        seed=book.draw.seed,
    )


def _waves(view: VerdictView, sample: Sample) -> Iterator[TallyWave]:
    walk = sample.own.walk
    plans = view.view.book.plans
    for wave, size in enumerate(view.view.book.wave_sizes, start=1):
        yield TallyWave(
            tuple(
                _paper_tree(
                    tree, view.rows, sample, tree_place(walk, tree, view.rows).direction_words
                )
                for tree in walk
                if tree.wave == wave
            ),
            tuple(wave_numbers(stage, plans[stage], size) for stage in view.view.book.draw.stages),
        )


def wave_numbers(stage: Stage, plan: StagePlan, size: int) -> WaveNumbers:
    """
    Return with how many faults a stage is decided when so many trees were looked at.

    Asked of the rule that decides on screens, so that paper also stops where the outcome is
    certain although the stage's own plan has no wave that ends there.
    """
    by_mean = isinstance(plan, MeasuredPlan)
    counting = plan.counted if isinstance(plan, MeasuredPlan) else plan
    if size > counting.sample_size:
        # Nothing is left to decide: the stage's own sample was smaller.
        return WaveNumbers(stage, None, None, by_mean=by_mean)
    outcomes = [decide(counting, *_still_open(counting, size, found)) for found in range(size + 1)]
    accepted = [found for found, outcome in enumerate(outcomes) if outcome is Outcome.ACCEPTED]
    rejected = [found for found, outcome in enumerate(outcomes) if outcome is Outcome.NOT_ACCEPTED]
    return WaveNumbers(
        stage, max(accepted, default=None), min(rejected, default=None), by_mean=by_mean
    )


def _still_open(plan: Plan, size: int, found: int) -> list[StageTally]:
    """Spread faults over the waves so that, where it can be, none of the earlier ones decided."""
    tallies = []
    walked = so_far = 0
    for wave in plan.waves:
        end = min(wave.size, size)
        trees, left = end - walked, size - end
        most = found if end == size else min(found, wave.rejection_number - 1)
        faults = min(max(most, found - left) - so_far, trees)
        tallies.append(StageTally(trees, faults))
        walked, so_far = end, so_far + faults
        if end == size:
            break
    return tallies


def _paper_tree(
    tree: DrawTree, rows: Mapping[int, Row], sample: Sample, way: str = ""
) -> TallyTree:
    row = rows[tree.orchard_row_id]
    return TallyTree(
        tree_id=tree.id,
        label=sample.labels[tree.id],
        place=position_words(row, tree.position),
        row=row_name(row),
        side=words().say(SIDE_NAMES[tree.side]),
        way=way,
    )


def _page(text: str | None) -> Page:
    if not text:
        return usual_page()
    if text not in set(SHEET_PAGES):
        raise InvalidInput({"page": say("Choose Letter or A4.")})
    return Page(text)


def _language(text: str | None) -> str:
    if not text:
        return chosen_language()
    if text not in LANGUAGES:
        raise InvalidInput({"language": say("Choose one of the languages offered.")})
    return text
