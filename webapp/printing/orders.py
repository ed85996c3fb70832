"""A rework order as the printable takes it."""

from collections.abc import Sequence

from audits.records import ReworkItem, Row, Worker
from audits.services.contesting import contested_in_audits
from audits.services.reworking import view_rework
from audits.services.verdicts import VerdictView, view_verdict
from audits.storage.queries import farms as farm_queries
from printables.document import Document
from printables.drawing.strip import TreeMark
from printables.rework_order import OrderLine, OrderRow, ReworkSheet, rework_order
from printables.sheet import Page
from webapp.access import actor
from webapp.auditing.places import row_name
from webapp.auditing.sheets import row_marks
from webapp.extensions import database, farm, farm_day, present
from webapp.reading import words


def rework_document(order_id: int, page: Page) -> Document:
    """Lay a rework order out in the reader's language."""
    view = view_rework(database(), actor(), order_id)
    verdict = view_verdict(database(), actor(), view.order.audit_id, present(), for_rework=True)
    with database().read() as connection:
        workers = {
            worker.id: worker
            for worker in farm_queries.workers(connection, actor().farm_id, with_retired=True)
        }
    rows = {
        row.id: OrderRow(row_name(row), row.start_end, _shown(marks, verdict), row.trees_per_panel)
        for row, marks in row_marks(verdict)
    }
    sheet = ReworkSheet(
        farm=farm().name,
        block=verdict.block.name,
        crew=verdict.crew.name,
        lot=view.lot.number,
        issued_on=farm_day(view.order.created_at),
        issued_by=_auditor(verdict),
        rows=tuple(rows.values()),
        redo=tuple(_line(item, rows, verdict, workers) for item in view.items if item.mendable),
        stop=tuple(_line(item, rows, verdict, workers) for item in view.items if not item.mendable),
        standard=verdict.view.book.standard,
        method=verdict.view.book.crew_pass.method,
        contested=len(contested_in_audits(database(), actor(), view.order.audit_id)),
    )
    return rework_order(sheet, words(), page=page)


def _shown(marks: Sequence[TreeMark], verdict: VerdictView) -> tuple[TreeMark, ...]:
    """Return the marks of a row, without its sample for who may still score these trees unseen."""
    if verdict.shows_trees:
        return tuple(marks)
    return tuple(mark if mark is TreeMark.OUTSIDE else TreeMark.PLAIN for mark in marks)


def _auditor(verdict: VerdictView) -> str:
    return verdict.people.get(verdict.view.book.audit.auditor_id, "")


def _line(
    item: ReworkItem,
    rows: dict[int, OrderRow],
    verdict: VerdictView,
    workers: dict[int, Worker],
) -> OrderLine:
    row: Row = verdict.rows[item.orchard_row_id or 0]
    worker = workers.get(item.worker_id or 0)
    return OrderLine(
        stage=item.stage,
        faults=item.faults,
        row=rows[row.id],
        first_position=item.first_position or 1,
        last_position=item.last_position or row.tree_count,
        person=f"{worker.code} {worker.name}".strip() if worker else "",
    )
