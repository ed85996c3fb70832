"""What one worker was shown over all seasons, and how far each stage was learned."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from audits.records import Actor, Block, Crew, TrainingEvent
from audits.services.sign_offs import LearningView, view_learning
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import training as queries


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
    """

    learning: LearningView
    events: list[TrainingEvent]
    crew: Crew | None
    blocks: Mapping[int, Block]


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
    farm_id = actor.farm_id
    with database.read() as connection:
        blocks = farm_queries.blocks(connection, farm_id, with_retired=True)
        crew_id = learning.worker.crew_id
        return TrainingRecordView(
            learning=learning,
            events=queries.trainings(connection, farm_id, date.min, date.max, [worker_id]),
            crew=None if crew_id is None else farm_queries.crew_by_id(connection, farm_id, crew_id),
            blocks={block.id: block for block in blocks},
        )
