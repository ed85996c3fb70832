"""Preparing: the trees of lots drawn ahead, so that they can be audited without signal."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import Message, say
from audits.records import (
    Actor,
    Block,
    Crew,
    CrewPass,
    Draw,
    DrawStage,
    DrawTree,
    Lot,
    LotRange,
    Row,
    StandardVersion,
)
from audits.sampling import DrawnTree, Place, walk_ranks
from audits.services.access import require_crew_lead
from audits.services.farms import the_block, the_crew
from audits.services.lots import ranges_with_rows
from audits.services.planning import draw_lot, plan_lot_audit, set_lot_state, the_lot
from audits.services.standards import standard_of
from audits.standard import Standard
from audits.storage.database import Database
from audits.storage.queries import audits as queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import LotState, Strictness

# States in which a lot may have trees to look at.
_OPEN_STATES = (LotState.WAITING, LotState.REWORK, LotState.IN_AUDIT)


@dataclass(frozen=True)
class LotToAudit:
    """
    A lot that somebody could audit now.

    Parameters
    ----------
    lot : Lot
        The lot.
    block : Block
        Its block.
    ranges : Sequence of tuple of LotRange and Row
        Its stretches, each with its row.
    """

    lot: Lot
    block: Block
    ranges: Sequence[tuple[LotRange, Row]]

    @property
    def is_drawn(self) -> bool:
        """Whether its trees are drawn already."""
        return self.lot.state is LotState.IN_AUDIT


@dataclass(frozen=True)
class PreparedLot:
    """
    A lot whose trees are drawn, with all that an audit of them rests on.

    Parameters
    ----------
    lot : Lot
        The lot.
    block : Block
        Its block.
    crew : Crew
        The crew that pruned it.
    crew_pass : CrewPass
        Its pass.
    version : StandardVersion
        The standard's version in force when the pass began, as stored.
    ranges : Sequence of tuple of LotRange and Row
        Its stretches, each with its row, in the order in which they are walked.
    draw : Draw
        The draw.
    plans : Sequence of DrawStage
        The plan of each stage.
    trees : Sequence of DrawTree
        The sample in walking order, then the reserve; without what is known to be no tree.
    """

    lot: Lot
    block: Block
    crew: Crew
    crew_pass: CrewPass
    version: StandardVersion
    ranges: Sequence[tuple[LotRange, Row]]
    draw: Draw
    plans: Sequence[DrawStage]
    trees: Sequence[DrawTree]

    @property
    def standard(self) -> Standard:
        """The criteria."""
        return standard_of(self.version)

    @property
    def row_ids(self) -> list[int]:
        """Its rows in the order in which they are walked."""
        return list(dict.fromkeys(row.id for _, row in self.ranges))

    def ranks(self) -> dict[int, tuple[int, ...]]:
        """
        Return where each tree comes in a walk.

        Returns
        -------
        dict of int to tuple of int
            By the tree's id; see `audits.sampling.walk_ranks`.
        """
        places = {Place(tree.orchard_row_id, tree.position): tree.id for tree in self.trees}
        ranks = walk_ranks(map(_as_drawn, self.trees), self.row_ids)
        return {places[place]: own for place, own in ranks.items()}


@dataclass(frozen=True)
class Unprepared:
    """
    A lot that could not be prepared.

    Parameters
    ----------
    lot_id : int
        The lot asked for.
    ranges : Sequence of tuple of LotRange and Row
        Its stretches, each with its row; none where the farm has no such lot.
    reason : Message
        Why not.
    """

    lot_id: int
    ranges: Sequence[tuple[LotRange, Row]]
    reason: Message


@dataclass(frozen=True)
class Preparation:
    """
    What came of preparing lots.

    Parameters
    ----------
    prepared : Sequence of PreparedLot
        Those drawn now or before.
    problems : Sequence of Unprepared
        The others.
    """

    prepared: Sequence[PreparedLot]
    problems: Sequence[Unprepared]


def lots_to_audit(database: Database, actor: Actor) -> list[LotToAudit]:
    """
    List the lots that somebody could audit now: waiting, mended, or drawn already.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.

    Returns
    -------
    list of LotToAudit
        The longest finished first.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return [
            LotToAudit(
                found,
                block := _block_of(connection, actor.farm_id, found),
                ranges_with_rows(connection, actor.farm_id, found.id, block.id),
            )
            for found in _to_audit(connection, actor.farm_id)
        ]


def prepare_lots(
    database: Database,
    actor: Actor,
    lot_ids: Collection[int] | None,
    *,
    new_seed: Callable[[], int],
    now: datetime,
) -> Preparation:
    """
    Draw the trees of lots ahead, without beginning an audit.

    Whoever prepares a lot first draws it; everybody after gets the same trees. Each lot is drawn
    in a transaction of its own, so that one that cannot be planned keeps no other back.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    lot_ids : Collection of int or None
        The lots; None for all that could be audited now.
    new_seed : Callable
        Returns the seed of a new draw, kept with it.
    now : datetime
        The present.

    Returns
    -------
    Preparation
        The lots drawn now or before, and the others, each with the reason.
    """
    require_crew_lead(actor)
    if lot_ids is None:
        with database.read() as connection:
            lot_ids = [found.id for found in _to_audit(connection, actor.farm_id)]
    prepared = []
    problems = []
    for lot_id in dict.fromkeys(lot_ids):
        try:
            prepared.append(_prepare(database, actor, lot_id, new_seed, now))
        except (Conflict, InvalidInput, NotFound) as error:
            problems.append(Unprepared(lot_id, _ranges(database, actor, lot_id), error.message))
    return Preparation(prepared, problems)


def prepared_lots(database: Database, actor: Actor) -> list[PreparedLot]:
    """
    Return the lots whose trees are drawn and that no sealed audit has decided.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.

    Returns
    -------
    list of PreparedLot
        The longest finished first.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        drawn = pass_queries.lots_in_state(connection, actor.farm_id, LotState.IN_AUDIT)
        return [prepared_lot(connection, actor.farm_id, found) for found in drawn]


def prepared_lot(connection: sa.Connection, farm_id: int, found: Lot) -> PreparedLot:
    """
    Load what an audit of a drawn lot rests on, in an open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    found : Lot
        The lot.

    Returns
    -------
    PreparedLot
        Its latest draw and what belongs to it.

    Raises
    ------
    NotFound
        If something that belongs to it is not there.
    """
    crew_pass = _pass_of(connection, farm_id, found)
    version = standard_queries.standard_by_id(connection, farm_id, crew_pass.standard_version_id)
    draws = queries.draws_of_lot(connection, farm_id, found.id)
    if version is None or not draws:
        raise NotFound(say("There is no such standard."))
    block = the_block(connection, farm_id, crew_pass.block_id)
    return PreparedLot(
        lot=found,
        block=block,
        crew=the_crew(connection, farm_id, crew_pass.crew_id),
        crew_pass=crew_pass,
        version=version,
        ranges=ranges_with_rows(connection, farm_id, found.id, block.id),
        draw=draws[-1],
        plans=queries.draw_stages(connection, farm_id, draws[-1].id),
        trees=[
            tree
            for tree in queries.draw_trees(connection, farm_id, draws[-1].id)
            if tree.found_kind is None
        ],
    )


def _prepare(
    database: Database,
    actor: Actor,
    lot_id: int,
    new_seed: Callable[[], int],
    now: datetime,
) -> PreparedLot:
    with database.read() as connection:
        found = the_lot(connection, actor.farm_id, lot_id)
        if found.state is LotState.IN_AUDIT:
            return prepared_lot(connection, actor.farm_id, found)
        # Searching for a plan takes its time and is remembered: not while others wait to write.
        plan_lot_audit(connection, actor.farm_id, lot_id, Strictness.AS_WRITTEN)
    with database.write() as connection:
        found = the_lot(connection, actor.farm_id, lot_id)
        if found.state is not LotState.IN_AUDIT:
            plan = plan_lot_audit(connection, actor.farm_id, lot_id, Strictness.AS_WRITTEN)
            draw_lot(connection, actor, plan, new_seed(), now)
            set_lot_state(connection, actor.farm_id, lot_id, LotState.IN_AUDIT)
            found = the_lot(connection, actor.farm_id, lot_id)
        return prepared_lot(connection, actor.farm_id, found)


def _to_audit(connection: sa.Connection, farm_id: int) -> list[Lot]:
    return [
        found
        for found in pass_queries.lots_in_state(connection, farm_id, *_OPEN_STATES)
        if found.state is not LotState.REWORK or _is_mended(connection, farm_id, found.id)
    ]


def _is_mended(connection: sa.Connection, farm_id: int, lot_id: int) -> bool:
    orders = pass_queries.rework_orders_of_lot(connection, farm_id, lot_id)
    return bool(orders) and orders[-1].done_at is not None


def _pass_of(connection: sa.Connection, farm_id: int, found: Lot) -> CrewPass:
    crew_pass = pass_queries.crew_pass_by_id(connection, farm_id, found.crew_pass_id)
    if crew_pass is None:
        raise NotFound(say("There is no such pass."))
    return crew_pass


def _block_of(connection: sa.Connection, farm_id: int, found: Lot) -> Block:
    return the_block(connection, farm_id, _pass_of(connection, farm_id, found).block_id)


def _ranges(database: Database, actor: Actor, lot_id: int) -> Sequence[tuple[LotRange, Row]]:
    with database.read() as connection:
        found = pass_queries.lot_by_id(connection, actor.farm_id, lot_id)
        if found is None:
            return ()
        block = _block_of(connection, actor.farm_id, found)
        return ranges_with_rows(connection, actor.farm_id, lot_id, block.id)


def _as_drawn(tree: DrawTree) -> DrawnTree:
    return DrawnTree(
        tree.walk_order,
        Place(tree.orchard_row_id, tree.position),
        tree.side,
        reserve_order=tree.reserve_order,
        wave=tree.wave,
    )
