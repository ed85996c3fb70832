"""Whose result is whose: worked out anew when names are put on or taken off a pass."""

import sqlalchemy as sa

from audits.services.scorebook import open_scorebook, write_rollups
from audits.services.walking import trees_by_id
from audits.storage.queries import audits as queries
from audits.storage.tables import stage_score


def reattribute(connection: sa.Connection, farm_id: int, pass_id: int, row_id: int) -> None:
    """
    Attribute the scores of a row of a pass anew, and let the roll-ups of its audits follow.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    farm_id, pass_id, row_id : int
        The row of the pass.
    """
    for audit in queries.audits_in_row(connection, farm_id, pass_id, row_id):
        book = open_scorebook(connection, farm_id, audit.id)
        trees = trees_by_id(connection, book)
        drawn = {
            score.id: trees[score.draw_tree_id]
            for score in queries.current_scores(connection, farm_id, audit.id)
        }
        for score in queries.current_stage_scores(connection, farm_id, audit.id):
            worker_id = book.worker_of(score.stage, drawn[score.tree_score_id])
            if worker_id != score.worker_id:
                connection.execute(
                    stage_score.update()
                    .where(
                        stage_score.c.farm_id == farm_id,
                        stage_score.c.tree_score_id == score.tree_score_id,
                        stage_score.c.stage == score.stage,
                    )
                    .values(worker_id=worker_id)
                )
        if audit.sealed_at is not None:
            write_rollups(connection, book)
