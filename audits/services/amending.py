"""Amendments: a later correction of a score, beside the one that was sent first."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import say
from audits.records import Actor, Decision
from audits.scoring import TreeAnswers, read_answers, score_tree
from audits.services.access import require_crew_lead
from audits.services.auditing import Device, refuse_used_ids
from audits.services.gauges import refuse_unusable_gauges
from audits.services.scorebook import (
    Scorebook,
    StageStanding,
    measured_values,
    open_scorebook,
    refuse_undeciding,
    stage_standings,
    write_rollups,
    write_stage_scores,
)
from audits.services.sealing import write_decisions
from audits.services.walking import trees_by_id
from audits.storage.database import Database
from audits.storage.queries import audits as queries
from audits.storage.queries.fetch import insert
from audits.storage.tables import tree_score


def amend_tree(
    database: Database,
    actor: Actor,
    audit_id: int,
    draw_tree_id: int,
    *,
    answers: Mapping[str, Any],
    reason: str,
    client_id: str,
    device: Device,
    now: datetime,
) -> None:
    """
    Correct a tree of a sealed audit; the old answers stay readable.

    Roll-ups follow in the same transaction. The verdict as issued stays; where the correction
    would have changed anything, a verdict "as amended" is written beside it.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who amends.
    audit_id, draw_tree_id : int
        The tree.
    answers : Mapping of str to object
        The fields of `audits.scoring.TreeAnswers`.
    reason : str
        Why, in a few words.
    client_id : str
        Id made where the amendment was made; sending it twice changes nothing.
    device : Device
        Where it was made.
    now : datetime
        The present.

    Raises
    ------
    InvalidInput
        If an answer cannot be taken or the reason is missing.
    Conflict
        If the audit is not sealed yet, so that the answers can simply be entered again, or the
        client id was used for another tree.
    NotFound
        If the tree was not scored in this audit.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        amend_in(
            connection,
            actor,
            open_scorebook(connection, actor.farm_id, audit_id),
            draw_tree_id,
            answers=answers,
            reason=reason,
            client_id=client_id,
            device=device,
            now=now,
        )


def amend_in(
    connection: sa.Connection,
    actor: Actor,
    book: Scorebook,
    draw_tree_id: int,
    *,
    answers: Mapping[str, Any],
    reason: str,
    client_id: str,
    device: Device,
    now: datetime,
    decided: bool = False,
) -> None:
    """
    Correct a tree of a sealed audit in an open transaction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The open writer.
    actor : Actor
        Who amends.
    book : Scorebook
        The audit.
    draw_tree_id : int
        The tree.
    answers : Mapping of str to object
        The fields of `audits.scoring.TreeAnswers`.
    reason : str
        Why, in a few words.
    client_id : str
        Id made where the amendment was made.
    device : Device
        Where it was made.
    now : datetime
        The present.
    decided : bool, optional
        Whether a person has decided that measures count although their gauge may not be used.

    Raises
    ------
    InvalidInput
        If an answer cannot be taken or the reason is missing.
    Conflict
        If the audit is not sealed yet, or the client id was used for another tree.
    NotFound
        If the tree was not scored in this audit.
    """
    refuse_undeciding(book)
    if not reason.strip():
        raise InvalidInput({"reason": say("Say why the score is changed.")})
    if book.audit.sealed_at is None:
        raise Conflict(say("This audit is still open. Enter the tree again instead."))
    versions = queries.score_versions(connection, actor.farm_id, book.audit.id, draw_tree_id)
    if not versions:
        raise NotFound(say("This tree was not scored in this audit."))
    if any(version.client_id == client_id for version in versions):
        return
    refuse_used_ids(connection, book, [(client_id, draw_tree_id)])
    latest = versions[-1]
    read = read_answers(answers)
    score = score_tree(book.standard, read, method=book.crew_pass.method, stages=book.draw.stages)
    _refuse_fewer_stages(latest.answers, read)
    refuse_unusable_gauges(
        connection, book, [(read, read_answers(latest.answers))], now, decided=decided
    )
    score_id = insert(
        connection,
        tree_score,
        {
            "farm_id": actor.farm_id,
            "audit_id": book.audit.id,
            "draw_tree_id": draw_tree_id,
            "version": latest.version + 1,
            "client_id": client_id,
            "device": device.name,
            "device_counter": device.counter,
            "scoring_order": latest.scoring_order,
            "recorded_at": now,
            "device_at": device.at,
            "answers": read.model_dump(mode="json"),
            "points": score.points,
            "amended_by": actor.user_id,
            "reason": reason.strip(),
        },
    )
    tree = trees_by_id(connection, book)[draw_tree_id]
    write_stage_scores(connection, book, [(score_id, tree, read, score)])
    write_rollups(connection, book)
    _decide_as_amended(connection, book, now)


def _refuse_fewer_stages(before: Mapping[str, Any], after: TreeAnswers) -> None:
    """
    Refuse to take an answer away: an amendment says what was right instead.

    Raises
    ------
    InvalidInput
        If a stage that was answered no longer is; names each.
    """
    lacking = [] if after.missed else set(before.get("stages", ())) - set(after.stages)
    if lacking:
        raise InvalidInput({stage: say("Tap one of the answers.") for stage in sorted(lacking)})


def _decide_as_amended(connection: sa.Connection, book: Scorebook, now: datetime) -> None:
    known = queries.decisions(connection, book.farm.id, book.audit.id)
    if not known:
        return
    scores = queries.current_stage_scores(connection, book.farm.id, book.audit.id)
    answered = queries.current_scores(connection, book.farm.id, book.audit.id)
    standings = stage_standings(book, scores, measured_values(book, answered))
    version = max(verdict.version for verdict in known)
    latest = [verdict for verdict in known if verdict.version == version]
    if _differ(latest, standings):
        write_decisions(connection, book, standings, version=version + 1, now=now)


def _differ(latest: list[Decision], standings: list[StageStanding]) -> bool:
    before = {
        (
            verdict.stage,
            verdict.outcome,
            verdict.scored,
            verdict.due,
            verdict.nonconforming,
            verdict.leading_fault,
        )
        for verdict in latest
        if verdict.stage is not None
    }
    after = {
        (
            standing.stage,
            standing.outcome,
            standing.tally.scored,
            standing.due,
            standing.tally.nonconforming,
            standing.leading_fault,
        )
        for standing in standings
    }
    return before != after
