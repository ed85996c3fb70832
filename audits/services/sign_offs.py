"""
New hires learn one stage at a time and are signed off stage by stage.

The rule stands in the standard; the trees are those that the person did alone, in closed start
checks and first audits, since the day on which learning began. A named person signs, and only once
the rule was met. Nothing follows from not being signed off: it says what to show next.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed
from audits.learning_stages import signed_off_at
from audits.messages import say
from audits.records import Actor, Farm, StageLearning, StandardVersion, Worker
from audits.services.access import require_crew_lead, require_sight_of_worker
from audits.services.agreement import WhoCounts, who_counts
from audits.services.farms import the_farm, the_worker
from audits.services.standards import standard_of
from audits.services.training import counted_trees
from audits.standard import Promise, SignOffRule
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries import training as queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import stage_learning
from audits.vocabulary import STAGE_NAMES, STAGES, Stage

# A first day that is chosen long after the fact could be chosen for its trees.
LONGEST_AGO: Final = timedelta(days=30)


@dataclass(frozen=True)
class StageProgress:
    """
    How far somebody is with one stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    learning : StageLearning or None
        Since when it is learned, and who signed it off; None if it was never begun.
    outcomes : tuple of bool
        For each due tree since then, in scoring order, whether it is nonconforming.
    rule : SignOffRule or None
        The rule of `version`; None while there is none.
    promise : Promise or None
        The stage's two fractions in that version.
    version : StandardVersion or None
        The standard of the latest tree; before the first one, that of the crew's latest pass.
    met_at : int or None
        Number of the tree with which the rule was met.
    left_out : int
        Due trees since then that do not count because of who scored them.
    """

    stage: Stage
    learning: StageLearning | None
    outcomes: tuple[bool, ...] = ()
    rule: SignOffRule | None = None
    promise: Promise | None = None
    version: StandardVersion | None = None
    met_at: int | None = None
    left_out: int = 0

    @property
    def is_open(self) -> bool:
        """Whether the stage is being learned now."""
        return self.learning is not None and self.learning.signed_off_at is None

    @property
    def window(self) -> tuple[bool, ...]:
        """The latest trees that the rule looks at."""
        return self.outcomes[-self.rule.trees :] if self.rule else ()

    @property
    def deciding(self) -> tuple[bool, ...]:
        """The trees with which the rule was met; empty while it is not."""
        if self.rule is None or self.met_at is None:
            return ()
        return self.outcomes[self.met_at - self.rule.trees : self.met_at]

    @property
    def since_met(self) -> tuple[bool, ...]:
        """What came after the rule was met."""
        return self.outcomes[self.met_at :] if self.met_at is not None else ()


@dataclass(frozen=True)
class LearningView:
    """
    What somebody learns, stage by stage.

    Parameters
    ----------
    worker : Worker
        The worker.
    stages : tuple of StageProgress
        Every stage that the crew's standard uses or that was begun, from the top of the tree down.
    people : Mapping of int to str
        Names of those who may have begun or signed, by the account's id.
    """

    worker: Worker
    stages: tuple[StageProgress, ...]
    people: Mapping[int, str]

    @property
    def open_stage(self) -> Stage | None:
        """The stage that is being learned now."""
        return next((progress.stage for progress in self.stages if progress.is_open), None)

    @property
    def may_begin(self) -> tuple[Stage, ...]:
        """The stages that may be begun next: none while one is open."""
        if self.open_stage is not None:
            return ()
        return tuple(progress.stage for progress in self.stages if progress.learning is None)


def view_learning(database: Database, actor: Actor, worker_id: int) -> LearningView:
    """
    Return what a worker learns and how far each stage is.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who looks; a worker may look at their own only.
    worker_id : int
        The worker.

    Returns
    -------
    LearningView
        Every stage with its trees so far.

    Raises
    ------
    NotAllowed
        If a worker asks for somebody else's records.
    NotFound
        If the farm has no such worker.
    """
    require_sight_of_worker(actor, worker_id)
    with database.read() as connection:
        worker = the_worker(connection, actor.farm_id, worker_id)
        users = account_queries.users(connection, actor.farm_id)
        return LearningView(
            worker,
            _stages(connection, the_farm(connection, actor.farm_id), worker),
            {user.id: user.name for user in users},
        )


def open_stages(connection: sa.Connection, farm_id: int) -> dict[int, Stage]:
    """
    Return the stage that each learner learns now.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.

    Returns
    -------
    dict of int to Stage
        One stage by the worker's id.
    """
    return {
        learning.worker_id: learning.stage
        for learning in queries.learning_of_farm(connection, farm_id)
        if learning.signed_off_at is None
    }


def begin_stage(
    database: Database,
    actor: Actor,
    worker_id: int,
    *,
    stage: Stage,
    begun_on: date,
    now: datetime,
) -> None:
    """
    Let a worker begin to learn a stage.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    worker_id : int
        The worker.
    stage : Stage
        The stage.
    begun_on : date
        The farm's day from which trees count.
    now : datetime
        The present.

    Raises
    ------
    Conflict
        If another stage is still open, or this one was begun before.
    InvalidInput
        If the day is still to come or long past, or the crew's standard does not use the stage.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such worker.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        worker = the_worker(connection, actor.farm_id, worker_id)
        farm = the_farm(connection, actor.farm_id)
        view = LearningView(worker, _stages(connection, farm, worker), {})
        if view.open_stage is not None:
            raise Conflict(
                say(
                    "One stage at a time: %(stage)s is still being learned.",
                    stage=say(STAGE_NAMES[view.open_stage]),
                )
            )
        if any(each.stage is stage and each.learning is not None for each in view.stages):
            raise Conflict(say("This stage was begun before."))
        if stage not in view.may_begin:
            raise InvalidInput(
                {"stage": say("The crew's standard does not use this stage. Choose another.")}
            )
        _check_day(begun_on, now.astimezone(ZoneInfo(farm.time_zone)).date())
        insert(
            connection,
            stage_learning,
            {
                "farm_id": actor.farm_id,
                "worker_id": worker_id,
                "stage": stage,
                "begun_on": begun_on,
                "begun_by": actor.user_id,
            },
        )


def sign_off(
    database: Database, actor: Actor, worker_id: int, *, stage: Stage, now: datetime
) -> None:
    """
    Sign a stage off; only once the rule was met, and never for oneself.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The owner or supervisor who signs.
    worker_id : int
        The worker.
    stage : Stage
        The stage.
    now : datetime
        The present.

    Raises
    ------
    Conflict
        If the stage is not being learned, or the rule is not met.
    NotAllowed
        If the person is neither owner nor supervisor, or signs for themselves.
    NotFound
        If the farm has no such worker.
    """
    require_crew_lead(actor)
    if actor.worker_id == worker_id:
        raise NotAllowed(say("Somebody else signs off your stages."))
    with database.write() as connection:
        worker = the_worker(connection, actor.farm_id, worker_id)
        progress = _open_progress(connection, the_farm(connection, actor.farm_id), worker, stage)
        if progress.met_at is None or progress.version is None:
            raise Conflict(
                say(
                    "The rule for %(stage)s is not met yet, so nothing was signed.",
                    stage=say(STAGE_NAMES[stage]),
                )
            )
        connection.execute(
            stage_learning.update()
            .where(_is(actor.farm_id, worker_id, stage))
            .values(
                signed_off_at=now,
                signed_off_by=actor.user_id,
                trees=len(progress.deciding),
                nonconforming=sum(progress.deciding),
                standard_version_id=progress.version.id,
            )
        )


def take_back_stage(database: Database, actor: Actor, worker_id: int, *, stage: Stage) -> None:
    """
    Take back that a stage is being learned, such as one begun by mistake.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    worker_id : int
        The worker.
    stage : Stage
        A stage that is not signed off.

    Raises
    ------
    Conflict
        If the stage is not being learned.
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such worker.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        worker = the_worker(connection, actor.farm_id, worker_id)
        _open_progress(connection, the_farm(connection, actor.farm_id), worker, stage)
        connection.execute(stage_learning.delete().where(_is(actor.farm_id, worker_id, stage)))


def _is(farm_id: int, worker_id: int, stage: Stage) -> sa.ColumnElement[bool]:
    return sa.and_(
        stage_learning.c.farm_id == farm_id,
        stage_learning.c.worker_id == worker_id,
        stage_learning.c.stage == stage,
        stage_learning.c.signed_off_at.is_(None),
    )


def _check_day(day: date, today: date) -> None:
    if day > today:
        raise InvalidInput({"begun_on": say("This day is still to come.")})
    if day < today - LONGEST_AGO:
        raise InvalidInput(
            {"begun_on": say("Choose a day of the last %(days)s days.", days=LONGEST_AGO.days)}
        )


def _open_progress(
    connection: sa.Connection, farm: Farm, worker: Worker, stage: Stage
) -> StageProgress:
    for progress in _stages(connection, farm, worker):
        if progress.stage is stage and progress.is_open:
            return progress
    raise Conflict(say("%(stage)s is not being learned now.", stage=say(STAGE_NAMES[stage])))


def _stages(connection: sa.Connection, farm: Farm, worker: Worker) -> tuple[StageProgress, ...]:
    begun = {
        learning.stage: learning for learning in queries.learning_of(connection, farm.id, worker.id)
    }
    latest = next(iter(queries.versions_of_crew(connection, farm.id, worker.crew_id, most=1)), None)
    used = standard_of(latest).stages_in_use if latest else STAGES
    who = who_counts(connection, farm.id)
    return tuple(
        _progress(connection, farm, stage, begun.get(stage), latest, who)
        for stage in Stage
        if stage in used or stage in begun
    )


def _progress(
    connection: sa.Connection,
    farm: Farm,
    stage: Stage,
    learning: StageLearning | None,
    usual: StandardVersion | None,
    who: WhoCounts,
) -> StageProgress:
    if learning is None:
        return StageProgress(stage, None)
    since = datetime.combine(learning.begun_on, time.min, ZoneInfo(farm.time_zone))
    counted = counted_trees(
        who,
        queries.trees_while_learning(connection, farm.id, learning.worker_id, stage, since),
    )
    trees, left_out = counted.trees, sum(counted.left_out.values())
    version = usual
    if learning.standard_version_id is not None:
        version = _version(connection, farm.id, learning.standard_version_id)
    elif trees:
        version = _version(connection, farm.id, trees[-1].standard_version_id)
    outcomes = tuple(tree.nonconforming for tree in trees)
    if version is None:
        return StageProgress(stage, learning, outcomes, left_out=left_out)
    standard = standard_of(version)
    return StageProgress(
        stage,
        learning,
        outcomes,
        standard.sign_off,
        standard.rule(stage).promise,
        version,
        signed_off_at(outcomes, standard.sign_off),
        left_out,
    )


def _version(connection: sa.Connection, farm_id: int, version_id: int) -> StandardVersion | None:
    return standard_queries.standard_by_id(connection, farm_id, version_id)
