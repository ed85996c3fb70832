"""A paper sheet typed in at a desk: many trees at once, all of them or none."""

from collections.abc import Mapping, Sequence
from datetime import datetime

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput
from audits.messages import say
from audits.records import Actor
from audits.services.access import require_crew_lead
from audits.services.auditing import (
    AuditView,
    TreeEntry,
    audit_view,
    record_in,
    replace_in,
    require_own,
)
from audits.services.scorebook import Scorebook, open_scorebook, refuse_undeciding
from audits.services.walking import audit_trees
from audits.storage.database import Database
from audits.vocabulary import Outcome, PlantingKind, Result


def record_sheet(
    database: Database,
    actor: Actor,
    audit_id: int,
    *,
    replaced: Mapping[int, PlantingKind],
    entries: Sequence[TreeEntry],
    now: datetime,
) -> AuditView:
    """
    Store what was written on a paper sheet: trees that are none, and the answers on the others.

    A stage may lack an answer on a tree only where it is decided by what is stored then. The
    order in which a sheet is typed in plays no part: a verdict is a matter of sets.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    audit_id : int
        The audit.
    replaced : Mapping of int to PlantingKind
        What stands at the positions that have no tree of the standard, by the draw tree's id, in
        the order in which reserve trees come instead.
    entries : Sequence of TreeEntry
        The trees, in the order of the sheet.
    now : datetime
        The present.

    Returns
    -------
    AuditView
        The audit as it stands afterwards.

    Raises
    ------
    InvalidInput
        If an answer cannot be taken, or one is missing in a stage that is still open; names the
        tree's id and the stage as "12-top". Nothing is stored.
    Conflict
        If the audit is sealed, or the reserve does not last.
    NotFound
        If a tree is not in the audit's walk.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = open_scorebook(connection, actor.farm_id, audit_id)
        refuse_undeciding(book)
        require_own(actor, book.audit)
        for tree_id, kind in replaced.items():
            _replace(connection, book, tree_id, kind)
        record_in(connection, book, entries, now)
        view = audit_view(connection, book)
        _refuse_gaps(view, {entry.draw_tree_id for entry in entries})
        return view


def _replace(connection: sa.Connection, book: Scorebook, tree_id: int, kind: PlantingKind) -> None:
    reserve = audit_trees(connection, book).reserve
    if not reserve:
        raise Conflict(say("The reserve is used up, so this tree cannot be replaced."))
    replace_in(connection, book, tree_id, kind, instead_id=reserve[0].id)


def _refuse_gaps(view: AuditView, entered: set[int]) -> None:
    still_open = {standing.stage for standing in view.standings if standing.outcome is Outcome.OPEN}
    problems = {}
    for score in view.scores:
        tree = view.tree_of_score[score.tree_score_id]
        if score.result is Result.NOT_SCORED and score.stage in still_open and tree.id in entered:
            problems[f"{tree.id}-{score.stage}"] = say(
                "This stage is still open, so it needs an answer."
            )
    if problems:
        raise InvalidInput(problems)
