"""Check trees: calibration walks, and how they and blind second audits are scored and closed."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final
from uuid import NAMESPACE_OID, uuid5

import sqlalchemy as sa

from audits.check_trees import FEWEST_TREES, MOST_TREES, USUAL_TREES
from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.messages import say
from audits.records import Actor, Audit, Block, Calibration, CrewPass, Row
from audits.sampling import draw_trees
from audits.services.access import may_keep_phones, require_crew_lead
from audits.services.auditing import (
    AuditView,
    Device,
    TreeEntry,
    add_audit,
    audit_view,
    record_in,
)
from audits.services.entries import Entries
from audits.services.farms import the_block
from audits.services.planning import bearing_places
from audits.services.scorebook import Scorebook, open_scorebook
from audits.services.standards import standard_of
from audits.services.unseen import require_sight
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import audits as queries
from audits.storage.queries import check_trees as check_queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.check_trees import WalkablePass, WalkLine
from audits.storage.queries.fetch import insert, insert_many
from audits.storage.tables import audit, calibration, draw, draw_tree
from audits.vocabulary import PassKind, Purpose

# A second round of the same person is an audit of its own, which the device's name sets apart.
_AGAIN: Final = "again:"
_LONGEST_NAME: Final = 64
_NO_WALK: Final = say("There is no such calibration walk.")
_WALK_CLOSED: Final = say("This calibration walk is closed.")


@dataclass(frozen=True)
class WalkAuditor:
    """
    Somebody who scores, or has scored, the trees of a calibration walk.

    Parameters
    ----------
    user_id : int
        The auditor.
    name : str
        The auditor's name.
    audits : tuple of Audit
        The rounds, oldest first.
    is_reference : bool
        Whether the others are held against this one.
    """

    user_id: int
    name: str
    audits: tuple[Audit, ...]
    is_reference: bool

    @property
    def closed(self) -> int:
        """How many rounds are closed."""
        return sum(one.sealed_at is not None for one in self.audits)

    @property
    def open_audit(self) -> Audit | None:
        """The round that is not closed."""
        return next((one for one in self.audits if one.sealed_at is None), None)


@dataclass(frozen=True)
class WalkView:
    """
    A calibration walk.

    Parameters
    ----------
    line : WalkLine
        The walk with its place.
    rows : list of int
        Numbers of the rows in which its trees stand.
    auditors : list of WalkAuditor
        Those who have begun, by name; the reference auditor even before.
    shows_answers : bool
        Whether the person who asks may see what was answered.
    may_begin : bool
        Whether the person who asks has still to begin.
    """

    line: WalkLine
    rows: list[int]
    auditors: list[WalkAuditor]
    shows_answers: bool
    may_begin: bool

    @property
    def is_closed(self) -> bool:
        """Whether nobody scores its trees any more."""
        return self.line.closed_at is not None

    @property
    def may_close(self) -> bool:
        """Whether it has what it was opened for: two people's answers."""
        return not self.is_closed and sum(one.closed > 0 for one in self.auditors) > 1

    def own_open(self, user_id: int) -> Audit | None:
        """
        Return somebody's round that is not closed.

        Parameters
        ----------
        user_id : int
            The auditor.

        Returns
        -------
        Audit or None
            The round, None where none is open or the walk is closed.
        """
        if self.is_closed:
            return None
        return next((one.open_audit for one in self.auditors if one.user_id == user_id), None)


@dataclass(frozen=True)
class CheckAuditView:
    """
    One auditor's round on check trees.

    Parameters
    ----------
    view : AuditView
        Its trees, answers and scores.
    walk : Calibration or None
        Its calibration walk; None for a blind second audit.
    block : Block
        The block.
    rows : Mapping of int to Row
        The rows of the block, by id.
    """

    view: AuditView
    walk: Calibration | None
    block: Block
    rows: Mapping[int, Row]

    @property
    def is_closed(self) -> bool:
        """Whether it takes no more answers."""
        walk_closed = self.walk is not None and self.walk.closed_at is not None
        return self.view.book.audit.sealed_at is not None or walk_closed


def passes_to_walk(database: Database, actor: Actor, begin: datetime) -> list[WalkablePass]:
    """
    List the passes in which a calibration walk may be opened.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    begin : datetime
        Passes begun earlier are left out.

    Returns
    -------
    list of WalkablePass
        Those with finished rows, the latest first.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return check_queries.walkable_passes(connection, actor.farm_id, begin)


def open_walk(
    database: Database,
    actor: Actor,
    pass_id: int,
    *,
    seed: int,
    now: datetime,
    trees: int = USUAL_TREES,
    reference_id: int | None = None,
) -> int:
    """
    Draw trees of the finished rows of a pass that every auditor scores unseen by the others.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    pass_id : int
        The pass.
    seed : int
        Seed of the draw; kept with it.
    now : datetime
        The present.
    trees : int, optional
        How many trees.
    reference_id : int or None, optional
        The auditor against whom the others are held.

    Returns
    -------
    int
        The walk's id.

    Raises
    ------
    InvalidInput
        If the number of trees or the reference auditor will not do, or the finished rows have too
        few trees.
    NotFound
        If the farm has no such pass, or it is a rework.
    """
    require_crew_lead(actor)
    farm_id = actor.farm_id
    with database.write() as connection:
        crew_pass = pass_queries.crew_pass_by_id(connection, farm_id, pass_id)
        version = (
            standard_queries.standard_by_id(connection, farm_id, crew_pass.standard_version_id)
            if crew_pass
            else None
        )
        if crew_pass is None or version is None or crew_pass.kind is PassKind.REWORK:
            raise NotFound(say("There is no such pass."))
        _check_entries(connection, farm_id, trees, reference_id)
        among, values = _draw(connection, farm_id, crew_pass, trees, seed)
        draw_id = insert(
            connection,
            draw,
            {
                "farm_id": farm_id,
                "lot_id": None,
                "crew_pass_id": pass_id,
                "purpose": Purpose.CALIBRATION,
                "stages": standard_of(version).stages_in_use,
                "seed": str(seed),
                "lot_size": among,
                "created_at": now,
                "created_by": actor.user_id,
            },
        )
        insert_many(connection, draw_tree, [one | {"draw_id": draw_id} for one in values])
        return insert(
            connection,
            calibration,
            {
                "farm_id": farm_id,
                "draw_id": draw_id,
                "reference_id": reference_id,
                "opened_at": now,
            },
        )


def _check_entries(
    connection: sa.Connection, farm_id: int, trees: int, reference_id: int | None
) -> None:
    entries = Entries()
    if not FEWEST_TREES <= trees <= MOST_TREES:
        entries.add(
            "trees",
            say(
                "A calibration walk has %(fewest)s to %(most)s trees.",
                fewest=FEWEST_TREES,
                most=MOST_TREES,
            ),
        )
    if reference_id is not None and reference_id not in {
        user.id for user in account_queries.users(connection, farm_id) if may_keep_phones(user)
    }:
        entries.add("reference_id", say("Choose somebody who leads crews."))
    entries.stop_if_any()


def _draw(
    connection: sa.Connection, farm_id: int, crew_pass: CrewPass, trees: int, seed: int
) -> tuple[int, list[dict[str, object]]]:
    """
    Return among how many trees was drawn, and the drawn ones in walking order.

    Raises
    ------
    InvalidInput
        If the finished rows have too few trees.
    """
    finished = [
        part
        for part in pass_queries.pass_rows(connection, farm_id, crew_pass.id)
        if part.finished_at is not None
    ]
    places = bearing_places(connection, farm_id, finished, crew_pass)
    if len(places) < trees:
        raise InvalidInput(
            {
                "trees": say(
                    "The finished rows of this pass have %(trees)s trees for the standard only.",
                    trees=len(places),
                )
            }
        )
    drawn = draw_trees(places, trees, 0, seed)
    return len(places), [
        {
            "farm_id": farm_id,
            "orchard_row_id": tree.place.row,
            "position": tree.place.position,
            "side": tree.side,
            "wave": tree.wave,
            "walk_order": tree.order,
        }
        for tree in drawn.walk
    ]


def list_walks(database: Database, actor: Actor) -> list[WalkView]:
    """
    List the calibration walks.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.

    Returns
    -------
    list of WalkView
        The latest first.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return [
            _walk_view(connection, actor, line)
            for line in check_queries.walk_lines(connection, actor.farm_id)
        ]


def view_walk(database: Database, actor: Actor, calibration_id: int) -> WalkView:
    """
    Return one calibration walk.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    calibration_id : int
        The walk.

    Returns
    -------
    WalkView
        Who takes part, and whether answers show.

    Raises
    ------
    NotFound
        If the farm has no such walk.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        for line in check_queries.walk_lines(connection, actor.farm_id):
            if line.id == calibration_id:
                return _walk_view(connection, actor, line)
    raise NotFound(_NO_WALK)


def _walk_view(connection: sa.Connection, actor: Actor, line: WalkLine) -> WalkView:
    audits = queries.audits_of_draw(connection, actor.farm_id, line.draw_id)
    names = {user.id: user.name for user in account_queries.users(connection, actor.farm_id)}
    people = {one.auditor_id for one in audits}
    if line.reference_id is not None:
        people.add(line.reference_id)
    auditors = [
        WalkAuditor(
            user_id,
            names.get(user_id, ""),
            tuple(one for one in audits if one.auditor_id == user_id),
            is_reference=user_id == line.reference_id,
        )
        for user_id in people
    ]
    own = [one for one in audits if one.auditor_id == actor.user_id]
    done = bool(own) and all(one.sealed_at is not None for one in own)
    return WalkView(
        line=line,
        rows=check_queries.row_numbers_of_draw(connection, actor.farm_id, line.draw_id),
        auditors=sorted(auditors, key=lambda one: (one.name.casefold(), one.user_id)),
        shows_answers=done or line.closed_at is not None,
        may_begin=not own and line.closed_at is None,
    )


def begin_round(
    database: Database,
    actor: Actor,
    calibration_id: int,
    *,
    client_id: str,
    device: Device,
    now: datetime,
) -> int:
    """
    Begin one's own round of a calibration walk, or go on with it.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    calibration_id : int
        The walk.
    client_id : str
        Id made by the device; beginning twice with the same one returns the same audit.
    device : Device
        The auditor's device.
    now : datetime
        The present.

    Returns
    -------
    int
        The audit's id.

    Raises
    ------
    Conflict
        If the walk is closed, or the auditor has closed the round; or if the id was used.
    NotFound
        If the farm has no such walk.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        walk = check_queries.calibration_by_id(connection, actor.farm_id, calibration_id)
        if walk is None:
            raise NotFound(_NO_WALK)
        own = [
            one
            for one in queries.audits_of_draw(connection, actor.farm_id, walk.draw_id)
            if one.auditor_id == actor.user_id
        ]
        begun = next((one for one in own if one.sealed_at is None), None)
        if begun is not None and walk.closed_at is None:
            return begun.id
        if walk.closed_at is not None:
            raise Conflict(_WALK_CLOSED)
        if own:
            raise Conflict(
                say("You have closed your round: the answers of the others show to you.")
            )
        if queries.audit_by_client_id(connection, actor.farm_id, client_id) is not None:
            raise Conflict(say("This page was used already. Load it again."))
        return add_audit(
            connection, actor, walk.draw_id, client_id=client_id, device=device, now=now
        )


def close_walk(database: Database, actor: Actor, calibration_id: int, now: datetime) -> None:
    """
    Close a calibration walk; rounds that are still open no longer count.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    calibration_id : int
        The walk.
    now : datetime
        The present.

    Raises
    ------
    Conflict
        If it is closed already, or fewer than two people have closed a round.
    NotFound
        If the farm has no such walk.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        walk = check_queries.calibration_by_id(connection, actor.farm_id, calibration_id)
        if walk is None:
            raise NotFound(_NO_WALK)
        if walk.closed_at is not None:
            raise Conflict(_WALK_CLOSED)
        audits = queries.audits_of_draw(connection, actor.farm_id, walk.draw_id)
        if len({one.auditor_id for one in audits if one.sealed_at is not None}) < 2:  # noqa: PLR2004 - a pair
            raise Conflict(say("Two people must have closed their round first."))
        connection.execute(
            calibration.update()
            .where(calibration.c.farm_id == actor.farm_id, calibration.c.id == walk.id)
            .values(closed_at=now)
        )


def view_check_audit(database: Database, actor: Actor, audit_id: int) -> CheckAuditView:
    """
    Return one's own round on check trees, or another's once that may be seen.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    audit_id : int
        The audit.

    Returns
    -------
    CheckAuditView
        Trees, answers and scores.

    Raises
    ------
    NotAllowed
        If its answers are to stay unseen yet.
    NotFound
        If the farm has no such audit of check trees.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        book, walk = _check_book(connection, actor.farm_id, audit_id)
        require_sight(connection, actor, book.audit)
        view = audit_view(connection, book)
        if walk is None:
            # Without a plan nothing ends at a wave: all trees are one.
            view = replace(view, walk=[replace(tree, wave=1) for tree in view.walk])
        rows = farm_queries.rows_of_block(connection, actor.farm_id, book.crew_pass.block_id)
        return CheckAuditView(
            view=view,
            walk=walk,
            block=the_block(connection, actor.farm_id, book.crew_pass.block_id),
            rows={row.id: row for row in rows},
        )


def score_check_tree(
    database: Database, actor: Actor, audit_id: int, entry: TreeEntry, now: datetime
) -> None:
    """
    Score a check tree; until the round is closed, entering it again replaces the answers.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    audit_id : int
        The audit.
    entry : TreeEntry
        The tree.
    now : datetime
        The present.

    Raises
    ------
    InvalidInput
        If an answer cannot be taken or a stage has none.
    Conflict
        If the round or the walk is closed.
    NotFound
        If there is no such audit or tree.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = _own_open_book(connection, actor, audit_id)
        record_in(connection, book, [entry], now)


def leave_tree_out(
    database: Database,
    actor: Actor,
    audit_id: int,
    draw_tree_id: int,
    *,
    client_id: str,
    device: Device,
    now: datetime,
) -> None:
    """
    Leave out a check tree that is none, or that cannot be judged; the map stays as it is.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    audit_id, draw_tree_id : int
        The tree.
    client_id : str
        Id made by the device.
    device : Device
        The auditor's device.
    now : datetime
        The present.

    Raises
    ------
    Conflict
        If the round or the walk is closed.
    NotFound
        If there is no such audit or tree.
    """
    nothing: Mapping[str, Any] = {"missed": None, "stages": {}}
    entry = TreeEntry(draw_tree_id, client_id, nothing, device)
    score_check_tree(database, actor, audit_id, entry, now)


def close_round(
    database: Database, actor: Actor, audit_id: int, now: datetime, *, again: bool = False
) -> int:
    """
    Close one's round on check trees; only then the answers of others show.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    audit_id : int
        The audit.
    now : datetime
        The present.
    again : bool, optional
        Whether to walk the same trees once more, before seeing anything: it tells how far one's
        own measures differ. In a calibration walk only, and once.

    Returns
    -------
    int
        The audit's id, or that of the second round.

    Raises
    ------
    Conflict
        If a tree lacks answers, or the round or the walk is closed already.
    NotFound
        If there is no such audit of check trees.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        book = _own_open_book(connection, actor, audit_id)
        if audit_view(connection, book).next_tree is not None:
            raise Conflict(say("Score the remaining trees first, or leave them out."))
        connection.execute(
            audit.update()
            .where(audit.c.farm_id == actor.farm_id, audit.c.id == audit_id)
            .values(sealed_at=now)
        )
        name = book.audit.device
        if not again or name.startswith(_AGAIN) or book.check_of is not None:
            return audit_id
        return add_audit(
            connection,
            actor,
            book.draw.id,
            client_id=_second_id(book.audit),
            device=Device(f"{_AGAIN}{name}"[:_LONGEST_NAME]),
            now=now,
        )


def may_walk_again(found: Audit) -> bool:
    """
    Tell whether a round may be followed by a second one.

    Parameters
    ----------
    found : Audit
        A round of a calibration walk.

    Returns
    -------
    bool
        True for a first round.
    """
    return not found.device.startswith(_AGAIN)


def _second_id(first: Audit) -> str:
    """Return an id for a second round that only the first one can lead to."""
    return str(uuid5(NAMESPACE_OID, first.client_id))


def _check_book(
    connection: sa.Connection, farm_id: int, audit_id: int
) -> tuple[Scorebook, Calibration | None]:
    """
    Load what a round on check trees is scored with, and its calibration walk.

    Raises
    ------
    NotFound
        If there is no such audit of check trees.
    """
    book = open_scorebook(connection, farm_id, audit_id)
    walk = None
    if book.draw.purpose is Purpose.CALIBRATION:
        walk = check_queries.calibration_of_draw(connection, farm_id, book.draw.id)
    if walk is None and book.check_of is None:
        raise NotFound(say("There is no such audit."))
    return book, walk


def _own_open_book(connection: sa.Connection, actor: Actor, audit_id: int) -> Scorebook:
    """
    Load a round that its auditor goes on with.

    Raises
    ------
    Conflict
        If the round or the walk is closed, or the second audit was given up.
    NotAllowed
        If somebody else began it.
    """
    book, walk = _check_book(connection, actor.farm_id, audit_id)
    if book.audit.auditor_id != actor.user_id:
        raise NotAllowed(say("Somebody else scores these trees. Begin your own round instead."))
    if book.audit.sealed_at is not None:
        raise Conflict(say("This round is closed: others have seen it."))
    if walk is not None and walk.closed_at is not None:
        raise Conflict(_WALK_CLOSED)
    check = check_queries.double_check_of_draw(connection, actor.farm_id, book.draw.id)
    if walk is None and check is not None and check.waived_at is not None:
        raise Conflict(say("This second audit was given up."))
    return book
