"""The rework order of a lot: what goes back, what only teaches, and the record of the mending."""

from dataclasses import dataclass

from flask import flash, redirect, render_template, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext
from markupsafe import Markup

from audits.errors import Conflict, InvalidInput
from audits.records import ReworkItem, Row, Worker
from audits.services.contesting import contested_in_audits
from audits.services.lots import view_lot
from audits.services.reworking import ReworkView, record_rework, view_rework
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import LOT_STATE_NAMES, STAGE_NAMES, LotState, Stage
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.svg import to_svg
from webapp.access import CREW_LEADS, actor, open_to
from webapp.auditing.blueprint import blueprint
from webapp.auditing.forms import ReworkForm
from webapp.auditing.places import lot_name, row_name, stretch_words
from webapp.auditing.sheets import fault_words
from webapp.extensions import database, present
from webapp.forms import message_text
from webapp.navigation import way_to
from webapp.reading import words


@dataclass(frozen=True)
class OrderLine:
    """What a person, or the crew, is told about one stage on one stretch."""

    who: str
    faults: str
    where: str


@dataclass(frozen=True)
class OrderStage:
    """One stage of a rework order."""

    stage: Stage
    name: str
    lines: list[OrderLine]


@blueprint.route("/rework/<int:order_id>", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def rework(order_id: int) -> ResponseReturnValue:
    """Show a rework order, and record that it was carried out."""
    view = view_rework(database(), actor(), order_id)
    form = ReworkForm(
        crew_id=view.crew_pass.crew_id, method=view.crew_pass.method, ended_at=present()
    )
    with database().read() as connection:
        form.offer(farm_queries.crews(connection, actor().farm_id))
    if form.validate_on_submit():
        try:
            record_rework(database(), actor(), order_id, now=present(), **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        except Conflict as error:
            flash(message_text(error.message), "problem")
            return redirect(url_for("auditing.rework", order_id=order_id))
        else:
            flash(gettext("The rework is recorded. The lot waits for its re-audit."), "message")
            return redirect(url_for("auditing.lot", lot_id=view.lot.id))
    return _page(view, form), 422 if form.errors else 200


def _page(view: ReworkView, form: ReworkForm) -> str:
    lot = view_lot(database(), actor(), view.lot.id)
    with database().read() as connection:
        workers = {
            worker.id: worker
            for worker in farm_queries.workers(connection, actor().farm_id, with_retired=True)
        }
    rows = {row.id: row for _, row in lot.ranges}
    mendable = [item for item in view.items if item.mendable]
    lasting = [item for item in view.items if not item.mendable]
    return render_template(
        "auditing/rework.html",
        order=view.order,
        lot=lot,
        name=lot_name(lot.ranges),
        state_words=words().say(LOT_STATE_NAMES[lot.lot.state]),
        redo=_stages(mendable, rows, workers),
        lasting=_stages(lasting, rows, workers),
        form=form,
        asks_for_record=lot.lot.state is LotState.REWORK and view.order.done_at is None,
        print_url=way_to("printing.rework_order", order_id=view.order.id),
        pictogram=_pictogram,
        contested_count=len(contested_in_audits(database(), actor(), view.order.audit_id)),
    )


def _stages(
    items: list[ReworkItem], rows: dict[int, Row], workers: dict[int, Worker]
) -> list[OrderStage]:
    return [
        OrderStage(
            stage,
            words().say(STAGE_NAMES[stage]),
            [_line(item, rows, workers) for item in items if item.stage is stage],
        )
        for stage in Stage
        if any(item.stage is stage for item in items)
    ]


def _line(item: ReworkItem, rows: dict[int, Row], workers: dict[int, Worker]) -> OrderLine:
    row = rows[item.orchard_row_id or 0]
    worker = workers.get(item.worker_id or 0)
    first, last = item.first_position or 1, item.last_position or row.tree_count
    return OrderLine(
        where=f"{row_name(row)}: {stretch_words(row, first, last)}",
        who=f"{worker.code} {worker.name}".strip() if worker else gettext("The crew"),
        faults=fault_words(item.faults),
    )


def _pictogram(stage: Stage, name: str, place: str) -> Markup:
    drawing = stage_pictogram(stage, name)
    prefix = f"{place}-{stage}"
    return Markup(to_svg(drawing, id_prefix=prefix, decorative=True))  # noqa: S704 - escaped there
