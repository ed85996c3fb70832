"""How a lot is inspected in the light of its crew's history, and what people do about it."""

from dataclasses import dataclass

from flask import abort, flash, redirect, url_for
from flask.typing import ResponseReturnValue
from flask_babel import format_datetime, gettext, ngettext

from audits.errors import Conflict
from audits.messages import Message
from audits.sampling import INSPECTION_NAMES, Inspection
from audits.services.effort import audit_all_the_same, choice_made, choice_reason
from audits.services.inspections import (
    InspectionView,
    LotInspected,
    StageInspection,
    note_cause_removed,
    view_inspection,
)
from audits.vocabulary import OUTCOME_NAMES, STAGE_NAMES, LotState, Outcome, Role, Stage
from webapp.access import CREW_LEADS, OWNERS, actor, open_to
from webapp.auditing.blueprint import blueprint
from webapp.extensions import database, present
from webapp.forms import message_text
from webapp.passes.rows import rows_words
from webapp.reading import words

# Shape and tone of each, as components/state.html takes them.
_SIGNS = {
    Inspection.NORMAL: ("onward", "open"),
    Inspection.TIGHTENED: ("signal", "bad"),
    Inspection.REDUCED: ("right", "good"),
    Inspection.DISCONTINUED: ("halt", "bad"),
}


@dataclass(frozen=True)
class InspectedLine:
    """A lot that counts in a stage's history."""

    name: str
    url: str
    notes: list[str]
    outcome: Outcome
    outcome_words: str


@dataclass(frozen=True)
class InspectionStage:
    """Where one stage stands."""

    stage: Stage
    name: str
    state: str
    shape: str
    tone: str
    reason: Message
    is_stopped: bool
    lots: list[InspectedLine]
    lots_words: str


@dataclass(frozen=True)
class InspectionPart:
    """The part of a lot's page that tells how it came to be inspected as it is."""

    lot_id: int
    is_passed_over: bool
    choice: list[Message]
    stages: list[InspectionStage]
    crew: str
    may_go_on: bool

    @property
    def is_stopped(self) -> bool:
        """Whether acceptance by sampling is stopped in some stage."""
        return any(stage.is_stopped for stage in self.stages)


def inspection_of(lot_id: int) -> InspectionPart:
    """Return how a lot is inspected, in words."""
    view = view_inspection(database(), actor(), lot_id)
    return InspectionPart(
        lot_id=lot_id,
        is_passed_over=view.lot.state is LotState.NOT_CHOSEN,
        choice=_choice(view),
        stages=[_stage(line, view) for line in view.stages],
        crew=view.crew.name,
        may_go_on=actor().role is Role.OWNER,
    )


@blueprint.post("/lots/<int:lot_id>/all-the-same")
@open_to(CREW_LEADS)
def all_the_same(lot_id: int) -> ResponseReturnValue:
    """Let a lot that was passed over wait for an audit after all."""
    try:
        audit_all_the_same(database(), actor(), lot_id)
    except Conflict as error:
        flash(message_text(error.message), "problem")
    else:
        flash(gettext("The lot waits for its audit."), "message")
    return redirect(url_for("auditing.lot", lot_id=lot_id))


@blueprint.post("/lots/<int:lot_id>/cause-put-right/<stage>")
@open_to(OWNERS)
def cause_put_right(lot_id: int, stage: str) -> ResponseReturnValue:
    """Let acceptance by sampling begin again in a stage."""
    if stage not in list(Stage):
        abort(404)
    try:
        note_cause_removed(database(), actor(), lot_id, Stage(stage), present())
    except Conflict as error:
        flash(message_text(error.message), "problem")
    else:
        flash(gettext("Noted. Tightened inspection begins with the next lot."), "message")
    return redirect(url_for("auditing.lot", lot_id=lot_id))


def _choice(view: InspectionView) -> list[Message]:
    if not view.rule.passes_lots_over:
        return []
    made = choice_made(view.lot)
    return [choice_reason(view.lot), *([made] if made else [])]


def _stage(line: StageInspection, view: InspectionView) -> InspectionStage:
    shape, tone = _SIGNS[line.state.inspection]
    state = words().say(INSPECTION_NAMES[line.state.inspection])
    lots = [_lot(lot, view.rows[lot.lot_id]) for lot in line.last_lots]
    return InspectionStage(
        stage=line.stage,
        name=words().say(STAGE_NAMES[line.stage]),
        state=state[:1].upper() + state[1:],
        shape=shape,
        tone=tone,
        reason=line.state.reason,
        is_stopped=line.state.inspection is Inspection.DISCONTINUED,
        lots=lots,
        lots_words=ngettext("The last lot", "The last %(num)s lots", len(lots)),
    )


def _lot(lot: LotInspected, rows: tuple[int, ...]) -> InspectedLine:
    found = lot.original
    outcome = Outcome.ACCEPTED if found.is_accepted else Outcome.NOT_ACCEPTED
    return InspectedLine(
        name=rows_words(rows),
        url=url_for("auditing.lot", lot_id=lot.lot_id),
        notes=[
            format_datetime(lot.sealed_at, "short"),
            ngettext(
                "%(faulty)s faulty of %(num)s tree",
                "%(faulty)s faulty of %(num)s trees",
                found.trees,
                faulty=words().show(found.nonconforming),
            ),
            words().say(INSPECTION_NAMES[lot.inspection]),
        ],
        outcome=outcome,
        outcome_words=words().say(OUTCOME_NAMES[outcome]),
    )
