"""Planning: which trees of a lot are looked at, and by what plan each stage is decided."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.attribution import Assignment, answerable_worker
from audits.errors import AuditError, Conflict, InvalidInput, NotFound
from audits.lot_plans import consumer_risk, plan_lot
from audits.lots import reserve_size
from audits.messages import say
from audits.records import Actor, CrewPass, DrawTree, Lot, LotRange, PassRow
from audits.sampling import Place, StagePlan, draw_trees, stage_producer_risk, walk_sizes
from audits.sampling.stored import plan_payload
from audits.sampling.tables import Inspection
from audits.services.access import require_crew_lead
from audits.services.farms import bearing_positions, the_farm
from audits.services.inspections import planned_inspections, stage_inspections, table_terms
from audits.services.scorebook import read_assignments
from audits.services.standards import standard_of
from audits.standard import Standard
from audits.storage.database import Database
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.ahead import is_drawn_ahead
from audits.storage.queries.fetch import insert, insert_many
from audits.storage.tables import draw, draw_stage, draw_tree, lot
from audits.vocabulary import LotState, PlanMethod, Purpose, Side, Stage, Strictness


@dataclass(frozen=True)
class LotPlan:
    """
    The sample planned for a lot.

    Parameters
    ----------
    lot : Lot or None
        The lot; None for a row that is still being pruned.
    crew_pass : CrewPass
        Its pass.
    standard : Standard
        The version in force when the pass began.
    places : list of Place
        Its bearing trees, row by row.
    purpose : Purpose
        First audit or re-audit.
    plans : dict of Stage to StagePlan
        The plan of each stage that is to be scored.
    strictness : Strictness
        How seldom a bad lot may pass, against what the standard says.
    inspections : Mapping of Stage to Inspection
        For plans of the published tables, the inspection of each stage; else none.
    """

    lot: Lot | None
    crew_pass: CrewPass
    standard: Standard
    places: list[Place]
    purpose: Purpose
    plans: dict[Stage, StagePlan]
    strictness: Strictness
    inspections: Mapping[Stage, Inspection] = field(default_factory=dict)

    @property
    def wave_sizes(self) -> tuple[int, ...]:
        """Trees looked at by the end of each wave of the walk."""
        return walk_sizes(self.plans.values())

    @property
    def sample_size(self) -> int:
        """Trees of the largest sample, that of all waves."""
        return self.wave_sizes[-1]

    @property
    def consumer_risk(self) -> float:
        """Chance that a lot with the rejectable fraction in a stage passes it."""
        return consumer_risk(self.standard, self.strictness)

    @property
    def stage_producer_risk(self) -> float:
        """The share of the lot's producer's risk that each stage takes."""
        return stage_producer_risk(self.standard.producer_risk, len(self.plans))


def plan_audit(
    database: Database,
    actor: Actor,
    lot_id: int,
    strictness: Strictness = Strictness.AS_WRITTEN,
) -> LotPlan:
    """
    Plan the sample of a lot's next audit, without drawing it.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    lot_id : int
        The lot.
    strictness : Strictness, optional
        How seldom a bad lot may pass.

    Returns
    -------
    LotPlan
        Plans, sample size and risks.

    Raises
    ------
    NotFound
        If the farm has no such lot.
    InvalidInput
        If the lot has no bearing trees or is too small for its promises.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return plan_lot_audit(connection, actor.farm_id, lot_id, strictness)


def plan_lot_audit(
    connection: sa.Connection,
    farm_id: int,
    lot_id: int,
    strictness: Strictness = Strictness.AS_WRITTEN,
) -> LotPlan:
    """
    Plan the sample of a lot's next audit in an open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id, lot_id : int
        The lot.
    strictness : Strictness, optional
        How seldom a bad lot may pass.

    Returns
    -------
    LotPlan
        Plans, sample size and risks.

    Raises
    ------
    NotFound
        If the farm has no such lot.
    InvalidInput
        If the lot has no bearing trees or is too small for its promises.
    """
    found = the_lot(connection, farm_id, lot_id)
    crew_pass = pass_queries.crew_pass_by_id(connection, farm_id, found.crew_pass_id)
    if crew_pass is None:
        raise NotFound(say("There is no such pass."))
    standard = _standard_of(connection, farm_id, crew_pass)
    purpose, stages = _stages_to_audit(connection, farm_id, found, standard)
    return _planned(
        connection,
        _Terms(farm_id, found, crew_pass, standard, purpose, stages),
        pass_queries.lot_ranges(connection, farm_id, lot_id),
        strictness,
    )


def plan_row_ahead(
    connection: sa.Connection, farm_id: int, crew_pass: CrewPass, part: PassRow
) -> LotPlan:
    """
    Plan the audit of a row that is still being pruned, as its lot will be planned.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    crew_pass : CrewPass
        The pass; each of its rows will be a lot of its own.
    part : PassRow
        The row.

    Returns
    -------
    LotPlan
        Plans, sample size and risks, without a lot.

    Raises
    ------
    NotFound
        If there is no such standard.
    InvalidInput
        If the row has no bearing trees or is too small for its promises.
    """
    standard = _standard_of(connection, farm_id, crew_pass)
    return _planned(
        connection,
        _Terms(farm_id, None, crew_pass, standard, Purpose.FIRST, standard.stages_in_use),
        [part],
        Strictness.AS_WRITTEN,
    )


@dataclass(frozen=True)
class _Terms:
    """What is audited, before it is planned; without a lot a row that is still being pruned."""

    farm_id: int
    lot: Lot | None
    crew_pass: CrewPass
    standard: Standard
    purpose: Purpose
    stages: tuple[Stage, ...]


def _planned(
    connection: sa.Connection,
    terms: _Terms,
    ranges: Iterable[LotRange | PassRow],
    strictness: Strictness,
) -> LotPlan:
    """
    Plan the sample of some stretches of rows.

    Raises
    ------
    InvalidInput
        If there are no bearing trees or too few for the promises.
    """
    places = bearing_places(connection, terms.farm_id, ranges, terms.crew_pass)
    if not places:
        raise InvalidInput({"lot": say("No bearing tree of the standard stands in this lot.")})
    inspections: dict[Stage, Inspection] = {}
    if terms.standard.sampling.method is PlanMethod.TABLE:
        inspections = planned_inspections(
            stage_inspections(connection, terms.farm_id, terms.crew_pass, terms.standard),
            again=terms.purpose is Purpose.RE_AUDIT,
        )
    return LotPlan(
        lot=terms.lot,
        crew_pass=terms.crew_pass,
        standard=terms.standard,
        places=places,
        purpose=terms.purpose,
        plans=plan_lot(
            terms.standard,
            len(places),
            terms.stages,
            strictness=strictness,
            inspections=inspections,
        ),
        strictness=strictness,
        inspections=inspections,
    )


def _standard_of(connection: sa.Connection, farm_id: int, crew_pass: CrewPass) -> Standard:
    version = standard_queries.standard_by_id(connection, farm_id, crew_pass.standard_version_id)
    if version is None:
        raise NotFound(say("There is no such standard."))
    return standard_of(version)


def prepare_plans(database: Database, actor: Actor, lot_ids: Iterable[int]) -> None:
    """
    Plan the next audits of lots ahead, so that their pages need not wait for the search.

    The stricter and the lighter plans are found as well, since the plan's page compares them.

    What was found is kept in the memory of this process alone. Another process of the server, or
    this one after a restart, searches again, and finds the same.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    lot_ids : iterable of int
        Lots, as they were finished. Those that no audit can be planned for are passed over: their
        own page says why.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        for lot_id in dict.fromkeys(lot_ids):
            with suppress(AuditError):
                # The one most often used first.
                for strictness in (Strictness.AS_WRITTEN, *Strictness):
                    plan_lot_audit(connection, actor.farm_id, lot_id, strictness)


def _stages_to_audit(
    connection: sa.Connection, farm_id: int, found: Lot, standard: Standard
) -> tuple[Purpose, tuple[Stage, ...]]:
    if found.state is LotState.WAITING:
        return Purpose.FIRST, standard.stages_in_use
    orders = pass_queries.rework_orders_of_lot(connection, farm_id, found.id)
    if found.state is not LotState.REWORK or not orders:
        raise Conflict(say("This lot is not waiting for an audit."))
    if orders[-1].done_at is None:
        raise Conflict(say("Record first that the rework of this lot is done."))
    items = pass_queries.rework_items(connection, farm_id, orders[-1].id)
    redone = {item.stage for item in items if item.mendable}
    return Purpose.RE_AUDIT, tuple(stage for stage in Stage if stage in redone)


def bearing_places(
    connection: sa.Connection,
    farm_id: int,
    ranges: Iterable[LotRange | PassRow],
    crew_pass: CrewPass,
) -> list[Place]:
    """
    Return the bearing trees of the standard in some stretches of rows.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    ranges : iterable of LotRange or PassRow
        The stretches.
    crew_pass : CrewPass
        Their pass, on whose day the map is read.

    Returns
    -------
    list of Place
        Row by row.

    Raises
    ------
    NotFound
        If there is no such farm.
    """
    farm = the_farm(connection, farm_id)
    day = crew_pass.started_at.astimezone(ZoneInfo(farm.time_zone)).date()
    return [
        Place(part.orchard_row_id, position)
        for part in ranges
        for position in bearing_positions(connection, farm_id, part.orchard_row_id, day)
        if part.first_position <= position <= part.last_position
    ]


def draw_lot(
    connection: sa.Connection, actor: Actor, plan: LotPlan, seed: int, now: datetime
) -> int:
    """
    Draw a lot's trees and keep the draw with its seed; one made ahead for its row is taken.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    actor : Actor
        The auditor.
    plan : LotPlan
        The plan.
    seed : int
        Seed of the draw.
    now : datetime
        The present.

    Returns
    -------
    int
        The draw's id.
    """
    ready = _ready_draw(connection, actor.farm_id, plan)
    if ready is not None:
        return ready
    drawn = draw_trees(
        plan.places,
        plan.wave_sizes,
        reserve_size(plan.sample_size),
        seed,
        workers=_workers(connection, actor.farm_id, plan),
    )
    draw_id = insert(
        connection,
        draw,
        {
            "farm_id": actor.farm_id,
            "lot_id": None if plan.lot is None else plan.lot.id,
            "crew_pass_id": plan.crew_pass.id,
            "purpose": plan.purpose,
            "stages": tuple(plan.plans),
            "seed": str(seed),
            "lot_size": len(plan.places),
            "created_at": now,
            "created_by": actor.user_id,
        },
    )
    insert_many(
        connection,
        draw_stage,
        [
            {
                "farm_id": actor.farm_id,
                "draw_id": draw_id,
                "stage": stage,
                "plan": plan_payload(stage_plan) | _table_terms(plan, stage),
                "producer_risk": plan.stage_producer_risk,
                "consumer_risk": plan.consumer_risk,
            }
            for stage, stage_plan in plan.plans.items()
        ],
    )
    insert_many(
        connection,
        draw_tree,
        [
            {
                "farm_id": actor.farm_id,
                "draw_id": draw_id,
                "orchard_row_id": tree.place.row,
                "position": tree.place.position,
                "side": tree.side,
                "wave": tree.wave,
                "walk_order": tree.order,
                "reserve_order": tree.reserve_order,
            }
            for tree in drawn.trees
        ],
    )
    return draw_id


def _ready_draw(connection: sa.Connection, farm_id: int, plan: LotPlan) -> int | None:
    """Return the draw that was made before the lot's row was finished, while nobody used it."""
    if plan.lot is None or plan.purpose is not Purpose.FIRST:
        return None
    for drawn in audit_queries.draws_of_lot(connection, farm_id, plan.lot.id):
        ahead = is_drawn_ahead(connection, farm_id, drawn.id)
        if ahead and not audit_queries.audits_of_draw(connection, farm_id, drawn.id):
            return drawn.id
    return None


def _table_terms(plan: LotPlan, stage: Stage) -> dict[str, object]:
    if stage not in plan.inspections:
        return {}
    return table_terms(plan.standard.sampling, len(plan.places), plan.inspections[stage])


def _workers(
    connection: sa.Connection, farm_id: int, plan: LotPlan
) -> dict[Place, tuple[int | None, ...]]:
    """Return who answers for what on each tree, so that everybody's trees are drawn alike."""
    assignments = read_assignments(pass_queries.assignments(connection, farm_id, plan.crew_pass.id))
    if not assignments:
        return {}
    # A pass goes through a hundred rows: each tree is held against those of its own row only.
    of_row: dict[int, list[Assignment]] = defaultdict(list)
    for assignment in assignments:
        of_row[assignment.row_id].append(assignment)
    return {
        place: tuple(
            answerable_worker(of_row[place.row], stage, place.row, place.position, side)
            for stage in plan.plans
            for side in (Side.LEFT, Side.RIGHT)
        )
        for place in plan.places
    }


def walk_of(trees: Iterable[DrawTree]) -> list[DrawTree]:
    """
    Return the trees of a draw that are walked to.

    Parameters
    ----------
    trees : Iterable of DrawTree
        The draw's trees, in walking order.

    Returns
    -------
    list of DrawTree
        Without the reserve, and without those found not to be a tree of the standard.
    """
    return [tree for tree in trees if tree.walk_order is not None and tree.found_kind is None]


def is_given_up(trees: Iterable[DrawTree], sample_size: int) -> bool:
    """
    Tell whether a draw's reserve did not last, so that nothing can be decided by it.

    Parameters
    ----------
    trees : Iterable of DrawTree
        The draw's trees.
    sample_size : int
        Trees that its plans ask for.

    Returns
    -------
    bool
        True where a tree that turned out to be none could not be replaced.
    """
    return len(walk_of(trees)) < sample_size


def the_lot(connection: sa.Connection, farm_id: int, lot_id: int) -> Lot:
    """
    Return a lot that must be there.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id, lot_id : int
        The lot.

    Returns
    -------
    Lot
        The lot.

    Raises
    ------
    NotFound
        If the farm has no such lot.
    """
    found = pass_queries.lot_by_id(connection, farm_id, lot_id)
    if found is None:
        raise NotFound(say("There is no such lot."))
    return found


def set_lot_state(
    connection: sa.Connection,
    farm_id: int,
    lot_id: int,
    state: LotState,
    *,
    closed_at: datetime | None = None,
) -> None:
    """
    Move a lot to a state.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    farm_id, lot_id : int
        The lot.
    state : LotState
        Where it stands from now on.
    closed_at : datetime or None, optional
        When it was closed; None while it is open.
    """
    connection.execute(
        lot.update()
        .where(lot.c.farm_id == farm_id, lot.c.id == lot_id)
        .values(state=state, closed_at=closed_at)
    )
