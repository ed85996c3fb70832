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
    PassRow,
    Row,
    StandardVersion,
)
from audits.sampling import DrawnTree, Place, walk_ranks
from audits.services.access import require_crew_lead
from audits.services.ahead import ahead_draw_to_take, draw_row_ahead
from audits.services.effort import Chance
from audits.services.farms import the_block, the_crew
from audits.services.lots import ranges_with_rows
from audits.services.passes import LOT_BY_ROW, choose_ahead, is_chosen_ahead
from audits.services.planning import draw_lot, plan_lot_audit, set_lot_state, the_lot
from audits.services.standards import standard_of
from audits.standard import Standard
from audits.storage.database import Database
from audits.storage.queries import audits as queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import LotState, PassKind, Strictness

# Of each pass: more than the fastest crew finishes before somebody is in the office again.
_ROWS_AHEAD = 12

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
    lot : Lot or None
        The lot; None for a row that is still being pruned.
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
    chosen : bool
        Whether the lot is to be audited; one in three of a good crew's are.
    """

    lot: Lot | None
    block: Block
    crew: Crew
    crew_pass: CrewPass
    version: StandardVersion
    ranges: Sequence[tuple[LotRange, Row]]
    draw: Draw
    plans: Sequence[DrawStage]
    trees: Sequence[DrawTree]
    chosen: bool = True

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
    Return what is drawn and that no sealed audit has decided.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.

    Returns
    -------
    list of PreparedLot
        Lots, the longest finished first; then rows that are still being pruned.
    """
    require_crew_lead(actor)
    farm_id = actor.farm_id
    with database.read() as connection:
        drawn = pass_queries.lots_in_state(connection, farm_id, LotState.IN_AUDIT)
        return [
            *(prepared_lot(connection, farm_id, found) for found in drawn),
            *(
                _prepared_row(
                    connection,
                    farm_id,
                    crew_pass,
                    part,
                    drawn_ahead,
                    chosen=is_chosen_ahead(connection, farm_id, crew_pass, part),
                )
                for crew_pass, part in _rows_to_come(connection, farm_id)
                if (drawn_ahead := ahead_draw_to_take(connection, farm_id, crew_pass, part))
            ),
        ]


def prepare_rows(
    database: Database,
    actor: Actor,
    *,
    new_seed: Callable[[], int],
    chance: Chance,
    now: datetime,
) -> Preparation:
    """
    Draw the trees of the next rows that crews are still pruning.

    A phone without signal shows them as soon as its person says that the crew is through. Where
    rows go together by half-days there is nothing to draw before the half-day is over.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    new_seed : Callable
        Returns the seed of a new draw, kept with it.
    chance : Callable
        Returns another random number in [0, 1) each time; by it one in three lots is chosen.
    now : datetime
        The present.

    Returns
    -------
    Preparation
        The rows drawn now or before, and the others, each with the reason.
    """
    require_crew_lead(actor)
    farm_id = actor.farm_id
    with database.read() as connection:
        to_come = _rows_to_come(connection, farm_id)
    prepared = []
    problems = []
    for crew_pass, part in to_come:
        try:
            with database.write() as connection:
                found = _drawn_ahead(connection, actor, crew_pass, part, new_seed(), chance, now)
                if found is not None:
                    prepared.append(found)
        except (Conflict, InvalidInput, NotFound) as error:
            with database.read() as connection:
                ranges = _row_range(connection, farm_id, part)
            problems.append(Unprepared(0, ranges, error.message))
    return Preparation(prepared, problems)


def _drawn_ahead(
    connection: sa.Connection,
    actor: Actor,
    crew_pass: CrewPass,
    part: PassRow,
    seed: int,
    chance: Chance,
    now: datetime,
) -> PreparedLot | None:
    """Draw one row; nothing where it has been finished since."""
    farm_id = actor.farm_id
    current = pass_queries.pass_row_of(connection, farm_id, crew_pass.id, part.orchard_row_id)
    if current is None or current.finished_at is not None:
        return None
    draw_id = draw_row_ahead(connection, actor, crew_pass, current, seed=seed, now=now)
    chosen = choose_ahead(connection, farm_id, crew_pass, current, chance)
    drawn = queries.draw_by_id(connection, farm_id, draw_id)
    if drawn is None:
        return None
    return _prepared_row(connection, farm_id, crew_pass, current, drawn, chosen=chosen)


def _prepared_row(
    connection: sa.Connection,
    farm_id: int,
    crew_pass: CrewPass,
    part: PassRow,
    drawn: Draw,
    *,
    chosen: bool,
) -> PreparedLot:
    return _loaded(
        connection,
        farm_id,
        crew_pass,
        drawn,
        lot=None,
        ranges=_row_range(connection, farm_id, part),
        chosen=chosen,
    )


def _row_range(
    connection: sa.Connection, farm_id: int, part: PassRow
) -> list[tuple[LotRange, Row]]:
    row = farm_queries.row_by_id(connection, farm_id, part.orchard_row_id)
    if row is None:
        return []
    return [(LotRange(0, row.id, part.first_position, part.last_position), row)]


def _rows_to_come(connection: sa.Connection, farm_id: int) -> list[tuple[CrewPass, PassRow]]:
    """Return the next rows of every pass that is under way and whose rows are lots."""
    return [
        (crew_pass, part)
        for crew_pass in pass_queries.passes_under_way(connection, farm_id)
        if crew_pass.lot_by == LOT_BY_ROW and crew_pass.kind is not PassKind.REWORK
        for part in [
            part
            for part in pass_queries.pass_rows(connection, farm_id, crew_pass.id)
            if part.finished_at is None
        ][:_ROWS_AHEAD]
    ]


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
    draws = queries.draws_of_lot(connection, farm_id, found.id)
    if not draws:
        raise NotFound(say("There is no such lot."))
    return _loaded(
        connection,
        farm_id,
        crew_pass,
        draws[-1],
        lot=found,
        ranges=ranges_with_rows(connection, farm_id, found.id, crew_pass.block_id),
    )


def _loaded(
    connection: sa.Connection,
    farm_id: int,
    crew_pass: CrewPass,
    drawn: Draw,
    *,
    lot: Lot | None,
    ranges: Sequence[tuple[LotRange, Row]],
    chosen: bool = True,
) -> PreparedLot:
    version = standard_queries.standard_by_id(connection, farm_id, crew_pass.standard_version_id)
    if version is None:
        raise NotFound(say("There is no such standard."))
    return PreparedLot(
        lot=lot,
        block=the_block(connection, farm_id, crew_pass.block_id),
        crew=the_crew(connection, farm_id, crew_pass.crew_id),
        crew_pass=crew_pass,
        version=version,
        ranges=ranges,
        draw=drawn,
        plans=queries.draw_stages(connection, farm_id, drawn.id),
        trees=[
            tree
            for tree in queries.draw_trees(connection, farm_id, drawn.id)
            if tree.found_kind is None
        ],
        chosen=chosen,
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
