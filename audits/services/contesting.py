"""
Disagreement with a score: raised in one step, answered by a second person with a reason.

Nothing here judges whoever disagrees: a contest has no consequence but a second look.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.messages import Message, say
from audits.records import Actor, Farm, TreeScoreRow
from audits.scoring import TreeAnswers, read_answers
from audits.services.access import require_crew_lead, require_sight_of_worker
from audits.services.agreement import who_counts
from audits.services.amending import amend_in
from audits.services.auditing import Device
from audits.services.scorebook import Scorebook, open_scorebook
from audits.services.unseen import require_sight, require_sight_of_audit, unseen_audits
from audits.storage.database import Database
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import contests as queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries.contests import ContestRow, ScoreKey, ScoreNow
from audits.storage.queries.fetch import insert
from audits.storage.queries.photos import PhotoRow
from audits.storage.tables import contest
from audits.vocabulary import ContestAnswer, Purpose, Role, Stage

# Both from common practice in monitoring at work, without a binding source; the farm promises them
# to its workers on the notice page.
DAYS_TO_DISAGREE: Final = 14
DAYS_TO_ANSWER: Final = 7
MOST_LETTERS: Final = 1_000
_MOST_ANSWERED_SHOWN: Final = 10


@dataclass(frozen=True)
class ContestView:
    """
    A disagreement as a crew lead sees it.

    Parameters
    ----------
    row : ContestRow
        The disagreement, its score and its tree.
    is_late : bool
        Whether it has waited longer than an answer may take.
    hindrance : Message or None
        Why the person who looks may not answer it; None if they may, or it is answered.
    photos : tuple of PhotoRow
        Photos of the tree in this audit.
    """

    row: ContestRow
    is_late: bool
    hindrance: Message | None
    photos: tuple[PhotoRow, ...]


@dataclass(frozen=True)
class ContestList:
    """
    What waits for an answer, and what was answered last.

    Parameters
    ----------
    waiting : list of ContestView
        The oldest first; those left out whose trees the person may still score unseen.
    unseen : int
        How many that wait are left out for that reason.
    answered : list of ContestRow
        The latest first, with the same left out.
    """

    waiting: list[ContestView]
    unseen: int
    answered: list[ContestRow]


@dataclass(frozen=True)
class ContestToAnswer:
    """
    One disagreement with what it takes to answer it.

    Parameters
    ----------
    contest : ContestView
        The disagreement.
    book : Scorebook
        Its audit.
    answers : TreeAnswers
        The tree's answers as they stand.
    version : int
        Which version of the tree's answers that is.
    """

    contest: ContestView
    book: Scorebook
    answers: TreeAnswers
    version: int


@dataclass(frozen=True)
class WorkerContests:
    """
    What a worker disagrees with and nobody has answered, beside their figures.

    Parameters
    ----------
    scores : frozenset of tuple of int, int and Stage
        Audit, draw tree and stage of each contested score that the rates count.
    due : Mapping of Stage to int
        How many due trees behind the rates are contested; only stages with at least one.
    """

    scores: frozenset[ScoreKey]
    due: Mapping[Stage, int]


def last_day_to_disagree(sealed_at: datetime, amended_at: datetime | None, farm: Farm) -> date:
    """
    Return the last day, on the farm's calendar, on which a score can be contested.

    Parameters
    ----------
    sealed_at : datetime
        When the verdict was given.
    amended_at : datetime or None
        When the score was last amended; then the days begin anew.
    farm : Farm
        The farm.

    Returns
    -------
    date
        The day 14 days later, whole, so that at least 14 times 24 hours are left.
    """
    begin = max(sealed_at, amended_at or sealed_at)
    return begin.astimezone(ZoneInfo(farm.time_zone)).date() + timedelta(days=DAYS_TO_DISAGREE)


def raise_contest(
    database: Database,
    actor: Actor,
    audit_id: int,
    draw_tree_id: int,
    stage: Stage,
    *,
    now: datetime,
) -> int:
    """
    Disagree with a score, once; pressing twice is the same disagreement.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The worker for whom the score counts, or a crew lead on that worker's behalf.
    audit_id, draw_tree_id : int
        The tree.
    stage : Stage
        Its stage.
    now : datetime
        The present.

    Returns
    -------
    int
        The contest, new or already open.

    Raises
    ------
    NotFound
        If there is no such score for this person.
    Conflict
        If the score counts for nobody alone, the days have passed, or it was answered already.
    NotAllowed
        If a crew lead is still to score the tree unseen.
    """
    with database.write() as connection:
        require_sight_of_audit(connection, actor, audit_id, now)
        score = _score_for(connection, actor, audit_id, draw_tree_id, stage)
        known = queries.contests_of_score(connection, actor.farm_id, audit_id, draw_tree_id, stage)
        waiting = [contest_id for contest_id, answered_at, _ in known if answered_at is None]
        if waiting:
            return waiting[0]
        if score.purpose is Purpose.START_CHECK:
            raise Conflict(
                say("A start check is for learning and counts in no figure. Talk about it instead.")
            )
        if score.worker_id is None:
            raise Conflict(say("This score counts for the crew, not for one person."))
        answered = [at for _, at, answer in known if at is not None and answer is not None]
        if answered and score.recorded_at <= answered[-1]:
            raise Conflict(say("A second person has answered this already."))
        _refuse_late(connection, actor.farm_id, score, now)
        return insert(
            connection,
            contest,
            {
                "farm_id": actor.farm_id,
                "audit_id": audit_id,
                "draw_tree_id": draw_tree_id,
                "stage": stage,
                "worker_id": score.worker_id,
                "raised_at": now,
                "raised_by": actor.user_id,
                "words": "",
            },
        )


def add_words(database: Database, actor: Actor, contest_id: int, words: str) -> None:
    """
    Say why, in free words, as long as nobody has answered; the last words count.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The worker concerned, or who disagreed on their behalf.
    contest_id : int
        The contest.
    words : str
        The words; may be empty.

    Raises
    ------
    NotFound
        If there is no such contest for this person.
    Conflict
        If it is answered.
    InvalidInput
        If the words are too many.
    """
    # PostgreSQL keeps no NUL in texts.
    text = words.replace("\0", "").strip()
    if len(text) > MOST_LETTERS:
        raise InvalidInput({"words": say("Use at most %(most)s letters.", most=MOST_LETTERS)})
    with database.write() as connection:
        _own_open(connection, actor, contest_id)
        connection.execute(
            contest.update()
            .where(contest.c.farm_id == actor.farm_id, contest.c.id == contest_id)
            .values(words=text)
        )


def take_back(database: Database, actor: Actor, contest_id: int, *, now: datetime) -> None:
    """
    Take a disagreement back as long as nobody has answered; it stays on record as taken back.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The worker concerned, or who disagreed on their behalf.
    contest_id : int
        The contest.
    now : datetime
        The present.

    Raises
    ------
    NotFound
        If there is no such contest for this person.
    Conflict
        If it is answered.
    """
    with database.write() as connection:
        _own_open(connection, actor, contest_id)
        # An end without an answer: that is what taken back means.
        _close(connection, actor, contest_id, now, answer=None, reason=None)


def answer_contest(
    database: Database,
    actor: Actor,
    contest_id: int,
    *,
    reason: str,
    now: datetime,
    answers: Mapping[str, Any] | None = None,
    version: int | None = None,
    client_id: str = "",
    device: Device | None = None,
) -> None:
    """
    Answer a disagreement: the score stands, or it is changed by an amendment with this reason.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead who neither gave the score nor amended it; an owner may have amended it.
    contest_id : int
        The contest.
    reason : str
        Why, in words that the worker reads.
    now : datetime
        The present.
    answers : Mapping of str to object or None, optional
        The tree's answers as they should have been; None where the score stands.
    version : int or None, optional
        Which version of the tree's answers the person has seen; None if that is not known.
    client_id : str, optional
        Id of the amendment, where there is one.
    device : Device or None, optional
        Where the amendment is made.

    Raises
    ------
    NotFound
        If there is no such contest.
    NotAllowed
        If the person gave the score, amended it, or disagreed with it themselves.
    Conflict
        If somebody else has answered, or amended the tree, meanwhile.
    InvalidInput
        If the reason is missing or too long, or the answers cannot be taken or change nothing.
    """
    require_crew_lead(actor)
    reason = _reason(reason)
    with database.write() as connection:
        found = _the_contest(connection, actor.farm_id, contest_id)
        if found.answered_at is not None:
            raise Conflict(_answered_already(found))
        amenders = _amenders(connection, actor.farm_id, [found])
        hindrance = _hindrance(actor, found, amenders)
        if hindrance is not None:
            raise NotAllowed(hindrance)
        book = open_scorebook(connection, actor.farm_id, found.audit_id)
        require_sight(connection, actor, book.audit, now)
        latest = _latest_answers(connection, actor.farm_id, found.audit_id, found.draw_tree_id)
        if version not in {None, latest.version}:
            raise Conflict(say("This tree was amended meanwhile. Look at it again, then answer."))
        if answers is not None:
            _refuse_no_change(latest, answers)
            amend_in(
                connection,
                actor,
                book,
                found.draw_tree_id,
                answers=answers,
                reason=reason,
                client_id=client_id,
                device=device or Device("office"),
                now=now,
            )
        _close(
            connection,
            actor,
            contest_id,
            now,
            answer=ContestAnswer.STANDS if answers is None else ContestAnswer.CHANGED,
            reason=reason,
        )


def list_contests(database: Database, actor: Actor, now: datetime) -> ContestList:
    """
    Return what waits for an answer, and what was answered last.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead.
    now : datetime
        The present.

    Returns
    -------
    ContestList
        The oldest first; a fixed number of statements, however many there are.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        waiting = queries.open_contests(connection, actor.farm_id)
        hidden = unseen_audits(connection, actor, now)
        seen = [row for row in waiting if row.audit_id not in hidden]
        return ContestList(
            waiting=_views(connection, actor, seen, now),
            unseen=len(waiting) - len(seen),
            answered=[
                row
                for row in queries.answered_contests(
                    connection, actor.farm_id, most=_MOST_ANSWERED_SHOWN
                )
                if row.audit_id not in hidden
            ],
        )


def view_contest(
    database: Database, actor: Actor, contest_id: int, now: datetime
) -> ContestToAnswer:
    """
    Return one disagreement with the tree's answers as they stand.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead.
    contest_id : int
        The contest.
    now : datetime
        The present.

    Returns
    -------
    ContestToAnswer
        The disagreement, answered or not.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        found = _the_contest(connection, actor.farm_id, contest_id)
        latest = _latest_answers(connection, actor.farm_id, found.audit_id, found.draw_tree_id)
        book = open_scorebook(connection, actor.farm_id, found.audit_id)
        require_sight(connection, actor, book.audit, now)
        return ContestToAnswer(
            contest=_views(connection, actor, [found], now)[0],
            book=book,
            answers=read_answers(latest.answers),
            version=latest.version,
        )


def view_own_contest(
    database: Database, actor: Actor, contest_id: int, now: datetime
) -> ContestRow:
    """
    Return a disagreement to the worker concerned, or to a crew lead.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who looks.
    contest_id : int
        The contest.
    now : datetime
        The present.

    Returns
    -------
    ContestRow
        The disagreement.

    Raises
    ------
    NotAllowed
        If a crew lead is still to score the tree unseen.
    NotFound
        If there is no such contest for this person.
    """
    with database.read() as connection:
        found = _the_contest(connection, actor.farm_id, contest_id)
        require_sight_of_audit(connection, actor, found.audit_id, now)
    if actor.role is Role.WORKER and found.worker_id != actor.worker_id:
        raise NotFound(_no_contest())
    return found


def contested_in_audits(database: Database, actor: Actor, *audit_ids: int) -> set[ScoreKey]:
    """
    Return the scores of some audits that are contested and not answered.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead.
    *audit_ids : int
        The audits.

    Returns
    -------
    set of tuple of int, int and Stage
        Audit, draw tree and stage of each.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return queries.contested_scores(connection, actor.farm_id, audit_ids=audit_ids)


def contests_beside_figures(
    database: Database, actor: Actor, worker_id: int, season: int
) -> WorkerContests:
    """
    Return what is contested among a worker's scores of a season.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who looks; a worker may look at their own only.
    worker_id : int
        The worker.
    season : int
        Calendar year in which the season began.

    Returns
    -------
    WorkerContests
        Contested scores, and their number beside each rate.
    """
    require_sight_of_worker(actor, worker_id)
    with database.read() as connection:
        scores = _contested_counted(connection, actor.farm_id, season, worker_id)
        return WorkerContests(frozenset(scores), _by_stage(scores))


def contested_scores(
    connection: sa.Connection,
    farm_id: int,
    *,
    worker_id: int | None = None,
    season: int | None = None,
) -> set[ScoreKey]:
    """
    Return the scores that are contested and not answered.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    worker_id : int or None, optional
        Only those of one worker.
    season : int or None, optional
        Only those of one season.

    Returns
    -------
    set of tuple of int, int and Stage
        Audit, draw tree and stage of each.
    """
    return queries.contested_scores(connection, farm_id, worker_id=worker_id, season=season)


def contested_trees(
    connection: sa.Connection, farm_id: int, season: int, worker_id: int
) -> dict[Stage, int]:
    """
    Return how many due trees behind a worker's rates are contested.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    season : int
        Calendar year in which the season began.
    worker_id : int
        The worker.

    Returns
    -------
    dict of Stage to int
        Only stages with at least one.
    """
    return _by_stage(_contested_counted(connection, farm_id, season, worker_id))


def _contested_counted(
    connection: sa.Connection, farm_id: int, season: int, worker_id: int | None = None
) -> list[ScoreKey]:
    """Return the contested scores behind rates, which leave out auditors who do not count."""
    scores = queries.contested_due(connection, farm_id, season, worker_id)
    if not scores:
        return []
    who = who_counts(connection, farm_id)
    return [key for key, auditor_id in scores.items() if who.counts(auditor_id, key[2])]


def _by_stage(scores: Iterable[ScoreKey]) -> dict[Stage, int]:
    counts = Counter(stage for _, _, stage in scores)
    return {stage: counts[stage] for stage in Stage if counts[stage]}


def contested_in_season(
    database: Database, actor: Actor, season: int, stage: Stage | None = None
) -> int:
    """
    Return how many due trees behind a season's figures are contested.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        A crew lead.
    season : int
        Calendar year in which the season began.
    stage : Stage or None, optional
        Only this stage, and only scores that fair comparison counts.

    Returns
    -------
    int
        Stages of trees of first audits, whoever did them.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        if stage is None:
            return len(queries.contested_due(connection, actor.farm_id, season))
        counted = _contested_counted(connection, actor.farm_id, season)
        return _by_stage(counted).get(stage, 0)


def contested_sentence(count: int) -> Message | None:
    """
    Return what is said beside a figure whose trees are contested.

    Parameters
    ----------
    count : int
        How many of the figure's trees are contested.

    Returns
    -------
    Message or None
        None where there are none.
    """
    if not count:
        return None
    # Not say_n: in English both forms are the same, and "them" are the trees of the figure.
    return say("%(count)s of them contested", count=count)


def _score_for(
    connection: sa.Connection, actor: Actor, audit_id: int, draw_tree_id: int, stage: Stage
) -> ScoreNow:
    """
    Return a score to those who may disagree with it.

    Raises
    ------
    NotFound
        If there is none, or it is not a worker's own.
    """
    score = queries.score_now(connection, actor.farm_id, audit_id, draw_tree_id, stage)
    is_own = actor.role is not Role.WORKER or (
        score is not None and score.worker_id is not None and score.worker_id == actor.worker_id
    )
    if score is None or not is_own:
        raise NotFound(say("There is no such score."))
    return score


def _refuse_late(connection: sa.Connection, farm_id: int, score: ScoreNow, now: datetime) -> None:
    """
    Refuse a disagreement after its days.

    Raises
    ------
    Conflict
        If the days have passed.
    NotFound
        If the farm is gone, or the score is not sealed.
    """
    farm = farm_queries.farm_by_id(connection, farm_id)
    if farm is None or score.sealed_at is None:
        raise NotFound(say("There is no such score."))
    amended_at = score.recorded_at if score.version > 1 else None
    last = last_day_to_disagree(score.sealed_at, amended_at, farm)
    if now.astimezone(ZoneInfo(farm.time_zone)).date() > last:
        raise Conflict(
            say("You could disagree until %(day)s. Talk with your crew leader about it.", day=last)
        )


def _the_contest(connection: sa.Connection, farm_id: int, contest_id: int) -> ContestRow:
    """
    Return a contest.

    Raises
    ------
    NotFound
        If the farm has no such contest.
    """
    found = queries.contest_by_id(connection, farm_id, contest_id)
    if found is None:
        raise NotFound(_no_contest())
    return found


def _own_open(connection: sa.Connection, actor: Actor, contest_id: int) -> ContestRow:
    """
    Return a contest to those whose it is, while it waits for an answer.

    Raises
    ------
    NotFound
        If there is none for this person.
    Conflict
        If it is answered.
    """
    found = _the_contest(connection, actor.farm_id, contest_id)
    is_own = (
        found.worker_id == actor.worker_id
        if actor.role is Role.WORKER
        else found.raised_by == actor.user_id
    )
    if not is_own:
        raise NotFound(_no_contest())
    if found.answered_at is not None:
        raise Conflict(_answered_already(found))
    return found


def _no_contest() -> Message:
    return say("There is no such disagreement.")


def _answered_already(found: ContestRow) -> Message:
    if found.answer is None:
        return say("This disagreement was taken back.")
    return say("%(name)s has answered this already.", name=found.answered_by_name or "")


def _reason(reason: str) -> str:
    """
    Return a reason as it is kept.

    Raises
    ------
    InvalidInput
        If it is empty or too long.
    """
    text = reason.replace("\0", "").strip()
    if not text:
        raise InvalidInput({"reason": say("Write a reason. The worker reads it.")})
    if len(text) > MOST_LETTERS:
        raise InvalidInput({"reason": say("Use at most %(most)s letters.", most=MOST_LETTERS)})
    return text


def _hindrance(
    actor: Actor, found: ContestRow, amenders: Mapping[tuple[int, int], set[int]]
) -> Message | None:
    """Say why a person may not answer: it takes a second one."""
    if actor.user_id == found.auditor_id:
        return say("You gave this score. A second person has to answer.")
    if actor.role is Role.OWNER:
        return None
    if actor.user_id in amenders[found.audit_id, found.draw_tree_id]:
        return say("You amended this score. A second person has to answer.")
    if actor.user_id == found.raised_by:
        return say("You disagreed on the worker's behalf. A second person has to answer.")
    return None


def _amenders(
    connection: sa.Connection, farm_id: int, found: list[ContestRow]
) -> dict[tuple[int, int], set[int]]:
    trees = {(row.audit_id, row.draw_tree_id) for row in found}
    return queries.amenders_of_trees(connection, farm_id, trees)


def _views(
    connection: sa.Connection, actor: Actor, found: list[ContestRow], now: datetime
) -> list[ContestView]:
    amenders = _amenders(connection, actor.farm_id, found)
    photos: dict[tuple[int, int], list[PhotoRow]] = {tree: [] for tree in amenders}
    for photo in queries.photos_of_trees(connection, actor.farm_id, amenders):
        if (photo.audit_id, photo.draw_tree_id) in photos:
            photos[photo.audit_id, photo.draw_tree_id].append(photo)
    return [
        ContestView(
            row=row,
            is_late=is_late(row, now),
            hindrance=_hindrance(actor, row, amenders) if row.answered_at is None else None,
            photos=tuple(
                photo
                for photo in photos[row.audit_id, row.draw_tree_id]
                if photo.stage in (None, row.stage)
            ),
        )
        for row in found
    ]


def is_late(row: ContestRow, now: datetime) -> bool:
    """
    Tell whether a disagreement has waited longer than an answer may take.

    Parameters
    ----------
    row : ContestRow
        The disagreement.
    now : datetime
        The present.

    Returns
    -------
    bool
        True beyond 7 times 24 hours without an answer.
    """
    return row.answered_at is None and now - row.raised_at > timedelta(days=DAYS_TO_ANSWER)


def _latest_answers(
    connection: sa.Connection, farm_id: int, audit_id: int, draw_tree_id: int
) -> TreeScoreRow:
    return audit_queries.score_versions(connection, farm_id, audit_id, draw_tree_id)[-1]


def _refuse_no_change(latest: TreeScoreRow, answers: Mapping[str, Any]) -> None:
    """
    Refuse to call a score changed that is the same as before.

    Raises
    ------
    InvalidInput
        If the answers are those that are there.
    """
    if read_answers(answers) == read_answers(latest.answers):
        raise InvalidInput(
            {"answers": say("This is the score as it is. Change it, or say that it stands.")}
        )


def _close(
    connection: sa.Connection,
    actor: Actor,
    contest_id: int,
    now: datetime,
    *,
    answer: ContestAnswer | None,
    reason: str | None,
) -> None:
    connection.execute(
        contest.update()
        .where(
            contest.c.farm_id == actor.farm_id,
            contest.c.id == contest_id,
            contest.c.answered_at.is_(None),
        )
        .values(answered_at=now, answered_by=actor.user_id, answer=answer, reason=reason)
    )
