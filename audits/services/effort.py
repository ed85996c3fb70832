"""How many of a crew's lots are audited: which are passed over, and which are audited anyway."""

from collections.abc import Callable
from typing import TypeAlias

import sqlalchemy as sa

from audits.errors import Conflict
from audits.messages import Message, say
from audits.records import Actor, CrewPass, Lot
from audits.sampling import Effort, EffortState, audit_effort
from audits.sampling.effort import EFFORT_REASONS
from audits.services.access import require_crew_lead
from audits.services.planning import set_lot_state, the_lot
from audits.standard import Standard
from audits.storage.database import Database
from audits.storage.queries.inspections import first_outcomes
from audits.vocabulary import LotState, Outcome, PassKind

# Every call returns another random number in [0, 1), whichever as likely as any other.
Chance: TypeAlias = Callable[[], float]


def effort_of_pass(
    connection: sa.Connection, farm_id: int, found: CrewPass, standard: Standard
) -> EffortState | None:
    """
    Return how many of the next lots of a pass are audited.

    What counts are the verdicts at first audits on the crew's lots in this block, whatever version
    of its standard they went by, as they were issued and in that order. A lot that was passed over
    and audited all the same counts like any other.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    found : CrewPass
        The pass.
    standard : Standard
        The version that its audits go by.

    Returns
    -------
    EffortState or None
        The effort with its reason; None where every lot is audited whatever the history.
    """
    if found.kind is PassKind.REWORK or not standard.sampling.passes_lots_over:
        return None
    outcomes = first_outcomes(connection, farm_id, found.crew_id, found.block_id)
    return audit_effort(outcome is Outcome.ACCEPTED for outcome in outcomes)


def choice_reason(lot: Lot) -> Message:
    """
    Say what was in force when a lot was finished.

    Parameters
    ----------
    lot : Lot
        A lot under a standard that lets lots go without an audit.

    Returns
    -------
    Message
        The effort in a sentence.
    """
    return say(EFFORT_REASONS[lot.effort])


def choice_made(lot: Lot) -> Message | None:
    """
    Say whether a lot was chosen, if that was left to chance.

    Parameters
    ----------
    lot : Lot
        The lot.

    Returns
    -------
    Message or None
        What came of it; None for a lot that was audited in any case.
    """
    if lot.effort is Effort.EVERY_LOT:
        return None
    if lot.chosen:
        return say("This lot was chosen.")
    if lot.state is LotState.NOT_CHOSEN:
        return say("This lot was not chosen.")
    return say("This lot was not chosen, but somebody wanted it audited all the same.")


def audit_all_the_same(database: Database, actor: Actor, lot_id: int) -> None:
    """
    Let a lot that was passed over wait for an audit after all.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    lot_id : int
        The lot.

    Raises
    ------
    Conflict
        If the lot was not passed over, or waits already.
    NotFound
        If the farm has no such lot.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        if the_lot(connection, actor.farm_id, lot_id).state is not LotState.NOT_CHOSEN:
            raise Conflict(say("This lot waits for its audit already, or has been audited."))
        set_lot_state(connection, actor.farm_id, lot_id, LotState.WAITING)
