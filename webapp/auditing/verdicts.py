"""The verdict of an audit: where it stands, and the step that issues it."""

from flask import flash, redirect, render_template, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext, ngettext

from audits.errors import Conflict
from audits.services.contesting import contested_in_audits
from audits.services.photos import photos_of_audit
from audits.services.sealing import seal_audit
from audits.services.sheet_photos import photos_of_sheet
from audits.services.verdicts import VerdictView, view_verdict
from audits.vocabulary import LOT_STATE_NAMES
from webapp.access import CREW_LEADS, actor, open_to
from webapp.auditing.blueprint import blueprint
from webapp.auditing.branches import branch_lines
from webapp.auditing.gauges import used_lines
from webapp.auditing.photos import PhotoLine, photo_lines, sheet_lines
from webapp.auditing.places import lot_name
from webapp.auditing.sheets import (
    amended_trees,
    faulty_lines,
    row_strips,
    tree_lines,
    typed_at_desk,
)
from webapp.auditing.standing import lot_line, sign_of, stage_lines
from webapp.auditing.trees import next_url
from webapp.extensions import database, present
from webapp.forms import message_text
from webapp.reading import words


@blueprint.get("/audits/<int:audit_id>")
@open_to(CREW_LEADS)
def audit(audit_id: int) -> ResponseReturnValue:
    """Go on to the next tree; when nothing is left to score, show the verdict."""
    view = view_verdict(database(), actor(), audit_id, present())
    onward = next_url(view.view)
    return redirect(onward) if onward else _page(view)


@blueprint.get("/audits/<int:audit_id>/trees")
@open_to(CREW_LEADS)
def trees(audit_id: int) -> ResponseReturnValue:
    """Show where an audit stands and all its trees, finished or not."""
    return _page(view_verdict(database(), actor(), audit_id, present()))


@blueprint.post("/audits/<int:audit_id>/seal")
@open_to(CREW_LEADS)
def seal(audit_id: int) -> ResponseReturnValue:
    """Issue the verdict."""
    try:
        seal_audit(database(), actor(), audit_id, present())
    except Conflict as error:
        flash(message_text(error.message), "problem")
    else:
        flash(gettext("The verdict is given."), "message")
    return redirect(url_for("auditing.audit", audit_id=audit_id))


def _page(view: VerdictView) -> str:
    audit_view = view.view
    contested = contested_in_audits(database(), actor(), audit_view.book.audit.id)
    amended = bool(view.decisions) and view.decisions[-1].version > 1
    return render_template(
        "auditing/audit.html",
        view=view,
        audit=audit_view.book.audit,
        name=lot_name(view.ranges),
        sign=sign_of(audit_view),
        lot_words=words().say(LOT_STATE_NAMES[view.lot.state]),
        issued=lot_line(view.issued),
        issued_stages=stage_lines(view.issued),
        amended=lot_line(audit_view.standings) if amended else None,
        amended_stages=stage_lines(audit_view.standings) if amended else [],
        onward_url=next_url(audit_view),
        strips=row_strips(view),
        branches=branch_lines(view.branches),
        faulty=faulty_lines(view, contested),
        lines=tree_lines(view, contested),
        contested_count=len(contested),
        amendments=amended_trees(view),
        stage_names=[line.name for line in stage_lines(audit_view.standings)],
        desk_words=_desk_words(view),
        gauges=used_lines(audit_view),
        photos=_photos(view),
    )


def _photos(view: VerdictView) -> list[PhotoLine]:
    """Return the photos of trees, and of the paper sheet that was read."""
    audit_id = view.view.book.audit.id
    return [
        *photo_lines(view, photos_of_audit(database(), actor(), audit_id, present())),
        *sheet_lines(photos_of_sheet(database(), actor(), audit_id, now=present())),
    ]


def _desk_words(view: VerdictView) -> str:
    """Say how many trees were typed in from paper; empty where none was."""
    typed = len(typed_at_desk(view))
    if not typed:
        return ""
    return str(
        ngettext(
            "%(num)s tree was typed in at a desk, from paper.",
            "%(num)s trees were typed in at a desk, from paper.",
            typed,
        )
    )
