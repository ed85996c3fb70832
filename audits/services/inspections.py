"""
How strictly the stages of a crew's lots are inspected under plans of the published tables.

Each stage is switched on its own, by the verdicts at first audits on the crew's lots in one block,
whatever version of its standard they went by. Re-audits, second audits of a draw, start checks and
lots decided by plans of our own design never count.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import sqlalchemy as sa

from audits.errors import Conflict, NotFound
from audits.messages import say
from audits.records import Actor, Crew, CrewPass, Lot
from audits.sampling import (
    CauseRemoved,
    Inspection,
    OriginalLot,
    SwitchingState,
    code_letter,
    switching_states,
)
from audits.services.access import require_crew_lead, require_role
from audits.services.farms import the_crew
from audits.services.standards import standard_of
from audits.standard import SamplingRule, Standard
from audits.storage.database import Database
from audits.storage.queries import passes as pass_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert
from audits.storage.queries.inspections import (
    StageInspected,
    causes_removed,
    row_numbers_of_lots,
    stages_inspected,
)
from audits.storage.tables import cause_removed
from audits.vocabulary import Outcome, PlanMethod, Role, Stage

# As far back as the rules look for two lots that were not accepted.
_LOTS_SHOWN: Final = 5
_TABLE: Final = "table"


@dataclass(frozen=True)
class LotInspected:
    """
    What the first audit of a lot came to in one stage.

    Parameters
    ----------
    lot_id : int
        The lot.
    sealed_at : datetime
        When the verdict was issued.
    inspection : Inspection
        Normal, tightened or reduced, as it was then.
    original : OriginalLot
        The verdict with its figures.
    """

    lot_id: int
    sealed_at: datetime
    inspection: Inspection
    original: OriginalLot


@dataclass(frozen=True)
class StageInspection:
    """
    How strictly one stage of a crew's next lot is inspected.

    Parameters
    ----------
    stage : Stage
        The stage.
    state : SwitchingState
        Where switching stands, and why.
    lots : Sequence of LotInspected
        The lots that count, oldest first.
    """

    stage: Stage
    state: SwitchingState
    lots: Sequence[LotInspected]

    @property
    def planned(self) -> Inspection:
        """
        The inspection by which a lot is planned.

        Where acceptance by sampling is stopped a lot can still be looked at, and no rule is
        stricter than tightened inspection.
        """
        if self.state.inspection is Inspection.DISCONTINUED:
            return Inspection.TIGHTENED
        return self.state.inspection

    @property
    def last_lots(self) -> list[LotInspected]:
        """The latest lots, the newest first."""
        return list(self.lots[: -_LOTS_SHOWN - 1 : -1])


@dataclass(frozen=True)
class InspectionView:
    """
    How a lot is inspected in the light of its crew's history.

    Parameters
    ----------
    lot : Lot
        The lot.
    crew : Crew
        The crew that pruned it.
    rule : SamplingRule
        What its standard says of sampling.
    stages : Sequence of StageInspection
        Under plans of the tables, where each stage stands now; else none.
    rows : Mapping of int to tuple of int
        Numbers of the rows of the lots named there.
    """

    lot: Lot
    crew: Crew
    rule: SamplingRule
    stages: Sequence[StageInspection]
    rows: Mapping[int, tuple[int, ...]]


def view_inspection(database: Database, actor: Actor, lot_id: int) -> InspectionView:
    """
    Return how a lot is inspected in the light of its crew's history.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The supervisor.
    lot_id : int
        The lot.

    Returns
    -------
    InspectionView
        Whether it was chosen, and where each stage stands now.

    Raises
    ------
    NotFound
        If the farm has no such lot.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        found, crew_pass, standard = _lot_with_standard(connection, actor.farm_id, lot_id)
        stages: list[StageInspection] = []
        if standard.sampling.method is PlanMethod.TABLE:
            stages = stage_inspections(connection, actor.farm_id, crew_pass, standard)
        shown = {line.lot_id for stage in stages for line in stage.last_lots}
        return InspectionView(
            lot=found,
            crew=the_crew(connection, actor.farm_id, crew_pass.crew_id),
            rule=standard.sampling,
            stages=stages,
            rows=row_numbers_of_lots(connection, actor.farm_id, shown) if shown else {},
        )


def stage_inspections(
    connection: sa.Connection, farm_id: int, crew_pass: CrewPass, standard: Standard
) -> list[StageInspection]:
    """
    Return where switching stands in each stage in use, after all that was audited so far.

    The rules are those of MIL-STD-105E. That work goes on at a steady rate, which reduced
    inspection asks for, is taken for granted as long as no lot is turned down.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    crew_pass : CrewPass
        A pass of the crew in the block.
    standard : Standard
        The version in force, whose limit (AQL) the rules use.

    Returns
    -------
    list of StageInspection
        One a stage, from the top of the tree down.
    """
    crew_id, block_id = crew_pass.crew_id, crew_pass.block_id
    lines = [
        line
        for line in stages_inspected(connection, farm_id, crew_id, block_id)
        if _TABLE in line.plan
    ]
    causes = causes_removed(connection, farm_id, crew_id, block_id)
    limit = standard.sampling.acceptable_quality_limit
    return [
        _stage_inspection(
            stage,
            [_inspected(line) for line in lines if line.stage is stage],
            [cause.noted_at for cause in causes if cause.stage is stage],
            limit,
        )
        for stage in standard.stages_in_use
    ]


def _stage_inspection(
    stage: Stage, lots: Sequence[LotInspected], causes: Iterable[datetime], limit: float
) -> StageInspection:
    events = sorted(
        [(line.sealed_at, line.original) for line in lots]
        + [(noted_at, CauseRemoved()) for noted_at in causes],
        key=lambda event: event[0],
    )
    state = switching_states([event for _, event in events], limit)[-1]
    return StageInspection(stage, state, lots)


def _inspected(line: StageInspected) -> LotInspected:
    inspection = Inspection(line.plan[_TABLE]["inspection"])
    accepted = line.outcome is Outcome.ACCEPTED
    # As the table prints it: a plan's own waves accept up to the rejection number.
    acceptance_number = line.plan["acceptance_numbers"][-1]
    return LotInspected(
        line.lot_id,
        line.sealed_at,
        inspection,
        OriginalLot(
            accepted,
            nonconforming=line.nonconforming,
            trees=line.scored,
            is_in_gap=accepted and line.nonconforming > acceptance_number,
        ),
    )


def planned_inspections(
    stages: Iterable[StageInspection], *, again: bool
) -> dict[Stage, Inspection]:
    """
    Return by what inspection each stage of a lot is planned.

    Parameters
    ----------
    stages : iterable of StageInspection
        Where switching stands.
    again : bool
        Whether the lot was not accepted before and comes again after rework: reduced inspection
        is then out of place.

    Returns
    -------
    dict of Stage to Inspection
        Normal, tightened or reduced.

    References
    ----------
    .. [1] MIL-STD-105E, 1989, on resubmitted lots: normal or tightened inspection (from memory).
    """
    planned = {}
    for stage in stages:
        gentle = again and stage.planned is Inspection.REDUCED
        planned[stage.stage] = Inspection.NORMAL if gentle else stage.planned
    return planned


def table_terms(rule: SamplingRule, lot_size: int, inspection: Inspection) -> dict[str, object]:
    """
    Return how a plan of the tables was found, to be stored with it.

    Parameters
    ----------
    rule : SamplingRule
        What the standard says of sampling.
    lot_size : int
        Trees of the lot.
    inspection : Inspection
        The inspection by which it is planned.

    Returns
    -------
    dict of str to object
        Code letter, limit, level and inspection under one key; a stored plan without it is none
        of the tables and never advances switching.
    """
    return {
        _TABLE: {
            "code_letter": code_letter(lot_size, rule.inspection_level),
            "acceptable_quality_limit": rule.acceptable_quality_limit,
            "level": rule.inspection_level,
            "inspection": inspection,
        }
    }


def note_cause_removed(
    database: Database, actor: Actor, lot_id: int, stage: Stage, now: datetime
) -> None:
    """
    Note that the cause of bad work was put right, which ends a stop of acceptance by sampling.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The owner.
    lot_id : int
        A lot of the crew in the block.
    stage : Stage
        The stage.
    now : datetime
        The present.

    Raises
    ------
    Conflict
        If the stage is not stopped.
    NotFound
        If the farm has no such lot.
    """
    require_role(actor, Role.OWNER)
    with database.write() as connection:
        _, crew_pass, standard = _lot_with_standard(connection, actor.farm_id, lot_id)
        stopped = {
            line.stage
            for line in stage_inspections(connection, actor.farm_id, crew_pass, standard)
            if line.state.inspection is Inspection.DISCONTINUED
        }
        if standard.sampling.method is not PlanMethod.TABLE or stage not in stopped:
            raise Conflict(say("Acceptance by sampling is not stopped in this stage."))
        insert(
            connection,
            cause_removed,
            {
                "farm_id": actor.farm_id,
                "crew_id": crew_pass.crew_id,
                "block_id": crew_pass.block_id,
                "stage": stage,
                "noted_at": now,
                "noted_by": actor.user_id,
            },
        )


def _lot_with_standard(
    connection: sa.Connection, farm_id: int, lot_id: int
) -> tuple[Lot, CrewPass, Standard]:
    """
    Return a lot with its pass and the standard of its audits.

    Raises
    ------
    NotFound
        If the farm has no such lot.
    """
    found = pass_queries.lot_by_id(connection, farm_id, lot_id)
    crew_pass = (
        pass_queries.crew_pass_by_id(connection, farm_id, found.crew_pass_id) if found else None
    )
    version = (
        standard_queries.standard_by_id(connection, farm_id, crew_pass.standard_version_id)
        if crew_pass
        else None
    )
    if not (found and crew_pass and version):
        raise NotFound(say("There is no such lot."))
    return found, crew_pass, standard_of(version)
