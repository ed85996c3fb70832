"""The page of a lot: what will be sampled, and what has happened so far."""

import secrets
from collections import Counter

from flask import flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext

from audits.errors import Conflict, InvalidInput
from audits.messages import say
from audits.services import auditing
from audits.services.contesting import contested_in_audits
from audits.services.lots import LotView, view_lot
from audits.services.standards import standard_of
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import LOT_STATE_NAMES, LotState, Purpose, Strictness
from webapp.access import CREW_LEADS, actor, open_to
from webapp.auditing.blueprint import blueprint
from webapp.auditing.device import new_client_id, posted_client_id, this_device
from webapp.auditing.forms import BeginForm
from webapp.auditing.histories import history_of, plan_of
from webapp.auditing.inspections import inspection_of
from webapp.auditing.places import lot_name
from webapp.auditing.plan_page import PlanSurety, drawn_plan, next_plan
from webapp.extensions import database, present
from webapp.forms import message_text
from webapp.navigation import way_to
from webapp.reading import words

_SEED_BITS = 63


@blueprint.get("/lots/<int:lot_id>")
@open_to(CREW_LEADS)
def lot(lot_id: int) -> ResponseReturnValue:
    """Show the plan of a lot's next audit and the lot's history."""
    view = view_lot(database(), actor(), lot_id)
    return render_template(
        "auditing/lot.html",
        view=view,
        name=lot_name(view.ranges),
        plan=plan_of(view.plan) if view.plan else None,
        history=history_of(view, _contested(view)),
        inspection=inspection_of(lot_id),
        own_audit=view.open_audit_of(actor().user_id),
        state_words=gettext("Drawn ahead")
        if view.drawn_ahead_at
        else words().say(LOT_STATE_NAMES[view.lot.state]),
        counts_both=view.plan is not None and view.plan.purpose is Purpose.RE_AUDIT,
        order_url=_open_order_url(view),
        plan_url=url_for("auditing.plan", lot_id=lot_id) if view.plan or view.draws else None,
        client_id=new_client_id(),
        pass_url=way_to("passes.show", pass_id=view.crew_pass.id),
    )


@blueprint.get("/lots/<int:lot_id>/plan")
@open_to(CREW_LEADS)
def plan(lot_id: int) -> ResponseReturnValue:
    """Show how sure the plan of a lot is, and what asking for more or less would lead to."""
    view = view_lot(database(), actor(), lot_id)
    surety = _surety(view, _strictness(request.args.get("strictness")))
    form = BeginForm(formdata=None, data={"client_id": new_client_id()})
    if surety is not None and surety.choices:
        form.offer([choice.value for choice in surety.choices])
        form.strictness.data = next(choice.value for choice in surety.choices if choice.shown)
    return render_template(
        "auditing/plan.html",
        view=view,
        name=lot_name(view.ranges),
        surety=surety,
        form=form,
        drawn=view.plan is None,
        pass_url=way_to("passes.show", pass_id=view.crew_pass.id),
    )


def _contested(view: LotView) -> Counter[int]:
    """Count the scores that wait for a second person's answer, by audit."""
    audit_ids = [line.audit.id for drawn in view.draws for line in drawn.audits]
    found = contested_in_audits(database(), actor(), *audit_ids) if audit_ids else ()
    return Counter(audit_id for audit_id, _, _ in found)


def _surety(view: LotView, strictness: Strictness) -> PlanSurety | None:
    """Return the plan of the lot's next audit, else that of its latest; none without either."""
    if view.plan is not None:
        return next_plan(view, view.plan, strictness)
    if not view.draws:
        return None
    with database().read() as connection:
        version = standard_queries.standard_by_id(
            connection, actor().farm_id, view.crew_pass.standard_version_id
        )
    return None if version is None else drawn_plan(view, view.draws[-1], standard_of(version))


def _strictness(text: str | None) -> Strictness:
    if text is None:
        return Strictness.AS_WRITTEN
    try:
        return Strictness(text)
    except ValueError:
        raise InvalidInput(
            {"strictness": say("Choose lighter, as the standard says, or stricter.")}
        ) from None


def _open_order_url(view: LotView) -> str | None:
    """Return the page of the rework order that the lot waits for."""
    waiting = [order for order in view.orders if order.done_at is None]
    if view.lot.state is not LotState.REWORK or not waiting:
        return None
    return url_for("auditing.rework", order_id=waiting[-1].id)


@blueprint.post("/lots/<int:lot_id>/audit")
@open_to(CREW_LEADS)
def begin(lot_id: int) -> ResponseReturnValue:
    """Draw the trees of a lot, or join the draw that is open, and go to the first tree."""
    try:
        audit_id = auditing.begin_audit(
            database(),
            actor(),
            lot_id,
            seed=secrets.randbits(_SEED_BITS),
            client_id=posted_client_id(request.form),
            device=this_device(),
            now=present(),
            strictness=_strictness(request.form.get("strictness")),
        )
    except (Conflict, InvalidInput) as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("auditing.lot", lot_id=lot_id))
    return redirect(url_for("auditing.audit", audit_id=audit_id))
