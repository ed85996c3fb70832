"""The desk: a paper sheet typed in, one row a tree and one key a stage."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from uuid import UUID, uuid5

from flask import flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext, ngettext

from audits.errors import Conflict, InvalidInput
from audits.messages import Message
from audits.records import DrawTree
from audits.scoring import GAUGE
from audits.services.accounts import LANGUAGES
from audits.services.auditing import TreeEntry
from audits.services.desk_entry import record_sheet
from audits.services.sheet_photos import settle_photo
from audits.services.verdicts import VerdictView, view_verdict
from audits.vocabulary import FAULT_NAMES, PLANTING_KIND_NAMES, SIDE_NAMES, STAGE_NAMES, Fault
from printables.sheet import SHEET_PAGES
from printables.tally_letters import (
    SIDE_MISSED_SIGN,
    TREE_MISSED_SIGN,
    kind_letters,
)
from printables.tally_records import TallyColumn, letters_of
from webapp.access import CREW_LEADS, actor, open_to
from webapp.auditing.blueprint import blueprint
from webapp.auditing.desk_sheet import (
    AS_MEASURED,
    MISSED,
    UNCLEAR,
    DeskSheet,
    boxes_of,
    cell_name,
    keys_of,
    read_desk,
    shows_fault,
    typed_cells,
)
from webapp.auditing.device import new_client_id, posted_client_id, this_desk
from webapp.auditing.from_photo import PhotoTyping, typed_from
from webapp.auditing.gauges import GaugeQuestion, gauge_question
from webapp.auditing.places import lot_name, position_words, row_name
from webapp.auditing.samples import sample_of
from webapp.auditing.sheets_on_paper import paper_columns
from webapp.auditing.standing import Sign, lot_line, sign_of, stage_lines, tallies
from webapp.auditing.trees import settled_stages
from webapp.extensions import database, present
from webapp.forms import message_text
from webapp.ids import record_id
from webapp.printing.forms import PAPER_NAMES
from webapp.printing.papers import usual_page
from webapp.reading import LANGUAGE_NAMES, chosen_language, words


@dataclass(frozen=True)
class Cell:
    """A box of a row: its name, what was typed, and what is wrong with it."""

    name: str
    box: str
    value: str
    problem: str
    long: bool = False
    settled: bool = False
    # What has to be looked at on a photo of the sheet, and where its boxes can be seen.
    note: str = ""
    cutout: str = ""


@dataclass(frozen=True)
class DeskRow:
    """A tree as a row: `cells` by column, and the one for what was missed."""

    tree_id: int
    label: str
    place: str
    side: str
    cells: Sequence[Sequence[Cell]]
    missed: Cell
    note: str
    kept: bool
    open: bool


@dataclass(frozen=True)
class Part:
    """A wave of the walk, or the reserve."""

    title: str
    rows: Sequence[DeskRow]
    is_reserve: bool


@dataclass(frozen=True)
class Column:
    """A stage as the head of a column: its keys, where it stands, and how many faults so far."""

    key: str
    name: str
    standing: str
    letters: Sequence[tuple[str, str]]
    boxes: Sequence[str]
    answers: str
    faults: str
    faulty: int
    measured: bool


@dataclass(frozen=True)
class Shown:
    """What stands in the cells: what was typed, what is wrong with it, and what a photo says."""

    typed: Mapping[str, str]
    problems: Mapping[str, Message] = field(default_factory=dict)
    photo: PhotoTyping | None = None


@blueprint.get("/audits/<int:audit_id>/desk")
@open_to(CREW_LEADS)
def desk(audit_id: int) -> ResponseReturnValue:
    """Show the sample as rows to be typed into, filled in as far as a photo is clear."""
    verdict, sheet = _sheet(audit_id)
    photo = _photo(request.args.get("photo", type=record_id), sheet)
    if photo is not None and not _is_writable(verdict):
        # What nobody has kept is not shown where answers are only read.
        photo = None
    return _page(verdict, sheet, Shown(photo.typed if photo else {}, photo=photo), new_client_id())


@blueprint.post("/audits/<int:audit_id>/desk")
@open_to(CREW_LEADS)
def type_in(audit_id: int) -> ResponseReturnValue:
    """Keep everything that was typed, or nothing and say what is wrong with it."""
    verdict, sheet = _sheet(audit_id)
    photo = _photo(request.form.get("photo", type=record_id), sheet)
    shown = Shown(typed_cells(sheet, request.form), photo=photo)
    reading = read_desk(sheet, shown.typed, request.form.get(GAUGE, ""))
    client_id = request.form.get("client_id", "")
    if reading.problems:
        return _page(verdict, sheet, replace(shown, problems=reading.problems), client_id), 422
    if not reading.entries and not reading.replaced:
        flash(gettext("Nothing new was typed."), "message")
        return _onward(audit_id, photo)
    try:
        record_sheet(
            database(),
            actor(),
            audit_id,
            replaced=reading.replaced,
            entries=_entries(reading.entries),
            now=present(),
        )
    except InvalidInput as error:
        if "client_id" in error.problems:
            flash(message_text(error.message), "problem")
            return _page(verdict, sheet, shown, new_client_id()), 422
        problems = {
            cell if cell == GAUGE else f"t{cell}": problem
            for cell, problem in error.problems.items()
        }
        return _page(verdict, sheet, replace(shown, problems=problems), client_id), 422
    except Conflict as error:
        flash(message_text(error.message), "problem")
        verdict, sheet = _sheet(audit_id)
        return _page(verdict, sheet, shown, new_client_id()), 409
    kept = len(reading.entries)
    flash(ngettext("%(num)s tree kept.", "%(num)s trees kept.", kept), "message")
    return _onward(audit_id, photo)


def _photo(photo_id: int | None, sheet: DeskSheet) -> PhotoTyping | None:
    return None if photo_id is None else typed_from(photo_id, sheet)


def _onward(audit_id: int, photo: PhotoTyping | None) -> ResponseReturnValue:
    """Go back to the desk; a photo waits, and stays beside it, until all its rows are kept."""
    if photo is not None:
        left = typed_from(photo.photo.id, _sheet(audit_id)[1])
        if not left.is_done:
            return redirect(url_for("auditing.desk", audit_id=audit_id, photo=photo.photo.id))
        settle_photo(database(), actor(), photo.photo.id, now=present())
    return redirect(url_for("auditing.desk", audit_id=audit_id))


def _is_writable(verdict: VerdictView) -> bool:
    audit = verdict.view.book.audit
    return (
        audit.sealed_at is None
        and audit.auditor_id == actor().user_id
        and not verdict.view.given_up
    )


def _entries(payloads: Mapping[int, dict[str, object]]) -> list[TreeEntry]:
    page_id, device = UUID(posted_client_id(request.form)), this_desk()
    return [
        TreeEntry(tree_id, str(uuid5(page_id, str(tree_id))), payload, device)
        for tree_id, payload in payloads.items()
    ]


def _sheet(audit_id: int) -> tuple[VerdictView, DeskSheet]:
    verdict = view_verdict(database(), actor(), audit_id, present())
    view = verdict.view
    sample = sample_of(database(), view.book)
    return verdict, DeskSheet(view, sample, paper_columns(view), words())


def _page(
    verdict: VerdictView,
    sheet: DeskSheet,
    shown: Shown,
    client_id: str,
) -> str:
    view = verdict.view
    audit = view.book.audit
    problems = shown.problems
    parts = _parts(verdict, sheet, shown)
    rows = [row for part in parts for row in part.rows]
    sign: Sign = sign_of(view)
    stopped = sign.state == "stop"
    return render_template(
        "auditing/desk.html",
        view=verdict,
        audit=audit,
        name=lot_name(verdict.ranges),
        writable=_is_writable(verdict),
        is_own=audit.auditor_id == actor().user_id,
        sign=sign,
        lot_line=lot_line(view.standings),
        stage_lines=stage_lines(view.standings),
        columns=[_column(sheet, column, rows, at) for at, column in enumerate(sheet.columns)],
        missed_letters=_missed_letters(),
        parts=parts,
        trees_left=0 if stopped else sum(row.open for row in rows),
        problems=[
            (row, cell)
            for row in rows
            for cell in (*(cell for cells in row.cells for cell in cells), row.missed)
            if cell.problem
        ],
        focus="" if stopped else _focus(rows),
        client_id=client_id,
        as_measured=AS_MEASURED,
        shows_as_measured=any(
            cell.value == AS_MEASURED for row in rows for cells in row.cells for cell in cells
        ),
        photo=shown.photo,
        gauges=_gauges(sheet, problems),
        gauge_problem=words().say(problems[GAUGE]) if GAUGE in problems else "",
        papers=[(str(page), PAPER_NAMES[page]) for page in SHEET_PAGES],
        usual_paper=str(usual_page()),
        languages=[(code, name) for code, name in LANGUAGE_NAMES if code in LANGUAGES],
        own_language=chosen_language(),
    )


def _gauges(sheet: DeskSheet, problems: Mapping[str, Message]) -> GaugeQuestion | None:
    """Ask with what diameters were measured, where the sheet has boxes for any."""
    measured = [column.stage for column in sheet.columns if column.is_measured]
    view = sheet.view
    return gauge_question(view.book, measured, request.form, problems, before=view)


def _parts(
    verdict: VerdictView,
    sheet: DeskSheet,
    shown: Shown,
) -> list[Part]:
    """Return the rows as on paper: wave by wave as drawn, then the reserve."""
    walked = [tree for tree in sheet.rows if tree.walk_order is not None]
    reserve = [tree for tree in sheet.rows if tree.walk_order is None]
    waves = sorted({tree.wave for tree in walked})

    def rows(trees: Sequence[DrawTree]) -> list[DeskRow]:
        return [_row(verdict, sheet, tree, shown) for tree in trees]

    parts = [
        Part(
            gettext("Wave %(number)s", number=wave) if len(waves) > 1 else gettext("The walk"),
            rows([tree for tree in walked if tree.wave == wave]),
            is_reserve=False,
        )
        for wave in waves
    ]
    return [*parts, Part(gettext("Reserve"), rows(reserve), is_reserve=True)] if reserve else parts


def _row(verdict: VerdictView, sheet: DeskSheet, tree: DrawTree, shown: Shown) -> DeskRow:
    view = sheet.view
    stored = sheet.stored(tree)
    settled = set(settled_stages(view))

    def cell(name: str, *, long: bool = False, is_settled: bool = False) -> Cell:
        full = cell_name(tree, name)
        problem = shown.problems.get(full)
        note = shown.photo.notes.get(full) if shown.photo else None
        return Cell(
            name=full,
            box=name,
            value=shown.typed.get(full, stored[full]),
            problem="" if problem is None else words().say(problem),
            long=long,
            settled=is_settled,
            note="" if note is None else words().say(note),
            cutout=shown.photo.pictures.get(full, "") if shown.photo else "",
        )

    cells = [
        [
            cell(name, long=column.is_measured, is_settled=column.stage in settled)
            for name in boxes_of(column)
        ]
        for column in sheet.columns
    ]
    row = verdict.rows[tree.orchard_row_id]
    missed = cell(MISSED)
    return DeskRow(
        tree_id=tree.id,
        label=sheet.sample.labels[tree.id],
        place=f"{row_name(row)}, {position_words(row, tree.position)}",
        side=words().say(SIDE_NAMES[tree.side]),
        cells=cells,
        missed=missed,
        note=_note(sheet, tree),
        kept=tree.id in view.answered,
        open=sheet.is_in_walk(tree)
        and missed.value.strip() in {"", UNCLEAR}
        and any(not (one.value.strip() or one.settled) for boxes in cells for one in boxes[:1]),
    )


def _note(sheet: DeskSheet, tree: DrawTree) -> str:
    """Say what became of a tree that turned out to be none."""
    own = sheet.sample.own
    if tree.id not in own.replaced:
        return ""
    kind = own.by_id[tree.id].found_kind
    return "" if kind is None else words().say(PLANTING_KIND_NAMES[kind])


def _focus(rows: Sequence[DeskRow]) -> str:
    """Return the box that a typist starts at: the first that is empty in a row still open."""
    for row in rows:
        if row.open:
            for boxes in row.cells:
                for one in boxes:
                    if not one.value and not one.settled:
                        return one.name
    return ""


def _column(sheet: DeskSheet, column: TallyColumn, rows: Sequence[DeskRow], at: int) -> Column:
    reader = words()
    letters = [(letter, reader.say(name)) for letter, name in letters_of(column, reader.language)]
    counts = [
        (answer.label, str(gettext("limbs out")))
        for answer in column.answers
        if answer.label.isdecimal()
    ]
    answers, faults = keys_of(column)
    return Column(
        key=str(column.stage),
        name=reader.say(STAGE_NAMES[column.stage]),
        standing=tallies(sheet.view.standings)[column.stage],
        letters=[*counts, *letters],
        boxes=[reader.say(label) for label in boxes_of(column).values() if label],
        answers="" if column.is_measured else answers,
        faults="" if column.is_measured else faults,
        faulty=sum(
            shows_fault(column.stage, row.cells[at][0].value, row.missed.value.strip())
            for row in rows
            if not column.is_measured
        ),
        measured=column.is_measured,
    )


def _missed_letters() -> list[tuple[str, str]]:
    reader = words()
    return [
        (TREE_MISSED_SIGN, reader.say(FAULT_NAMES[Fault.TREE_MISSED])),
        (SIDE_MISSED_SIGN, reader.say(FAULT_NAMES[Fault.SIDE_MISSED])),
        *(
            (letter, reader.say(PLANTING_KIND_NAMES[kind]))
            for kind, letter in kind_letters(reader.language).items()
        ),
    ]
