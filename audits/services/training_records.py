"""What one worker was shown, practised, was asked and briefed on, and what was learned."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from audits.records import Actor, Block, Crew, SafetyBriefing, TrainingEvent
from audits.services.quiz_results import AttemptLine, own_attempts
from audits.services.sign_offs import LearningView, view_learning
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import briefings as briefing_queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import practised as practice_queries
from audits.storage.queries import training as queries
from audits.storage.queries.practised import PractisedLine, PractisedStage


@dataclass(frozen=True)
class TrainingRecordView:
    """
    The training record of one worker.

    Parameters
    ----------
    learning : LearningView
        The worker, each stage with its trees so far, and names of those who began or signed.
    events : list of TrainingEvent
        All trainings, the latest first.
    crew : Crew or None
        The worker's crew.
    blocks : Mapping of int to Block
        The farm's blocks, by id, for the standards behind the stages.
    attempts : list of AttemptLine
        Quizzes, the latest first.
    practised : list of PractisedLine
        Drawn trees that were pruned, and single questions that were judged, by language.
    practised_stages : list of PractisedStage
        How the stages of those trees went, from the top of the tree down.
    briefings : list of SafetyBriefing
        Safety briefs that were not withdrawn, the latest first.
    people : Mapping of int to str
        Names of those who keep accounts on the farm, by account.
    """

    learning: LearningView
    events: list[TrainingEvent]
    crew: Crew | None
    blocks: Mapping[int, Block]
    attempts: Sequence[AttemptLine]
    practised: Sequence[PractisedLine]
    practised_stages: Sequence[PractisedStage]
    briefings: Sequence[SafetyBriefing]
    people: Mapping[int, str]


def view_training_record(database: Database, actor: Actor, worker_id: int) -> TrainingRecordView:
    """
    Return everything that goes into a worker's training record and certificate.

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
    TrainingRecordView
        Trainings and stages, each with the standard behind it.

    Raises
    ------
    NotAllowed
        If a worker asks for somebody else's records.
    NotFound
        If the farm has no such worker.
    """
    learning = view_learning(database, actor, worker_id)
    attempts = own_attempts(database, actor, worker_id)
    farm_id = actor.farm_id
    with database.read() as connection:
        blocks = farm_queries.blocks(connection, farm_id, with_retired=True)
        crew_id = learning.worker.crew_id
        return TrainingRecordView(
            learning=learning,
            events=queries.trainings(connection, farm_id, date.min, date.max, [worker_id]),
            crew=None if crew_id is None else farm_queries.crew_by_id(connection, farm_id, crew_id),
            blocks={block.id: block for block in blocks},
            attempts=attempts,
            practised=practice_queries.practised(connection, farm_id, worker_id),
            practised_stages=practice_queries.practised_stages(connection, farm_id, worker_id),
            briefings=briefing_queries.briefings(connection, farm_id, [worker_id]),
            people={user.id: user.name for user in account_queries.users(connection, farm_id)},
        )
