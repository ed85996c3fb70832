"""
The farm's quiz items: what the answers say of each, and which of them are retired.

An item that misleads is taken out by an owner with a reason, and can be brought back. Quizzes that
were made with it stay as they are; the list in force when a quiz is made goes with the quiz.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import product
from typing import Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotFound
from audits.learning.items import LEAST_PEOPLE, Answer, ItemReading, read_items
from audits.learning.reliability import Reliability, kr21, reliability
from audits.messages import say
from audits.question_bank import makers
from audits.quizzes import QUESTIONS, make_quiz
from audits.records import Actor, Farm, RetiredItem, StandardVersion
from audits.seasons import season_days
from audits.services.access import require_crew_lead, require_role
from audits.services.entries import LONGEST_TEXT, Entries
from audits.services.farms import the_farm
from audits.services.standards import standard_of
from audits.standard import Standard
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import items as queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert
from audits.storage.queries.items import ItemAnswer
from audits.storage.tables import retired_item
from audits.vocabulary import Method, QuizStyle, Role, Stage

# One seed is enough to see what is left to ask.
_ANY_SEED: Final = 1
_NO_SUCH_ITEM: Final = say("There is no such item.")


@dataclass(frozen=True)
class ItemLine:
    """
    One item of the bank.

    Parameters
    ----------
    item : str
        Its name.
    stage : Stage or None
        The stage it asks about; None for what holds everywhere and for safety.
    reading : ItemReading or None
        What its answers say; None where nobody was asked it.
    retired : RetiredItem or None
        Since when it is not asked any more, by whom and why.
    """

    item: str
    stage: Stage | None
    reading: ItemReading | None
    retired: RetiredItem | None


@dataclass(frozen=True)
class QuizReliability:
    """
    How far the totals of quizzes can be relied on.

    Parameters
    ----------
    people : int
        People whose first quiz counts.
    questions : int
        Questions of a quiz; quizzes of another length are left out.
    mean, spread : float or None
        Mean and standard deviation of the right answers; None below the floor.
    kr21 : float or None
        KR-21 of the first quiz of each person, which asks for totals alone and so holds for
        quizzes that drew different items; None below the floor or where all totals are alike.
    same_quiz : Reliability or None
        KR-20 of the quiz that most people sat as their first, question by question; None where
        fewer than the floor sat the same one.
    """

    people: int
    questions: int
    mean: float | None
    spread: float | None
    kr21: float | None
    same_quiz: Reliability | None


@dataclass(frozen=True)
class ItemReport:
    """
    The farm's items and what the answers say of them.

    Parameters
    ----------
    lines : tuple of ItemLine
        Those that something is the matter with first, then by stage and name.
    quizzes : QuizReliability
        How far totals can be relied on.
    answers : int
        Answers that count: the first of each person to each item.
    people : Mapping of int to str
        Names of those who retired items, by the account's id.
    may_retire : bool
        Whether whoever looks may retire and restore.
    """

    lines: tuple[ItemLine, ...]
    quizzes: QuizReliability
    answers: int
    people: Mapping[int, str]
    may_retire: bool


def item_report(
    database: Database, actor: Actor, now: datetime, season: int | None = None
) -> ItemReport:
    """
    Return the farm's quiz items with what the answers say of each.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    now : datetime
        The present.
    season : int or None, optional
        Only quizzes of that season; None for all.

    Returns
    -------
    ItemReport
        Every item of the standards in force, and every one that was ever asked.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        days = None if season is None else season_days(season, farm.season_start_month)[1:]
        answers = queries.answers(connection, farm.id, days)
        retired = _retired(connection, farm.id)
        stages = _stages_of_items(_standards(connection, farm, now))
        people = {user.id: user.name for user in account_queries.users(connection, farm.id)}
    stages |= {answer.item: answer.stage for answer in answers}
    readings = {
        reading.item: reading
        for reading in read_items(
            [
                Answer(
                    each.worker_id,
                    each.item,
                    each.choice,
                    each.is_right,
                    each.language,
                    each.choices,
                )
                for each in answers
            ]
        )
    }
    lines = [
        ItemLine(item, stage, readings.get(item), retired.get(item))
        for item, stage in (stages | dict.fromkeys(retired.keys() - stages.keys())).items()
    ]
    return ItemReport(
        tuple(sorted(lines, key=_order)),
        _quizzes(answers),
        sum(reading.people for reading in readings.values()),
        people,
        actor.role is Role.OWNER,
    )


def retire_item(database: Database, actor: Actor, item: str, *, reason: str, now: datetime) -> None:
    """
    Take an item out of the quizzes that will be made.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner.
    item : str
        The item.
    reason : str
        Why.
    now : datetime
        The present.

    Raises
    ------
    Conflict
        If it is retired already, or if a standard in force would have too little left to ask, or
        nothing on a stage, on safety, or on cutting too much; the message names the block.
    InvalidInput
        If no reason is given.
    NotAllowed
        If the person is no owner.
    NotFound
        If no quiz of the farm has such an item.
    """
    require_role(actor, Role.OWNER)
    entries = Entries()
    checked = entries.text(
        "reason", reason, missing=say("Say why, in a few words."), longest=LONGEST_TEXT
    )
    entries.stop_if_any()
    with database.write() as connection:
        retired = _retired(connection, actor.farm_id)
        if item in retired:
            raise Conflict(say("This item is retired already."))
        farm = the_farm(connection, actor.farm_id)
        versions = _standards(connection, farm, now)
        if item not in _stages_of_items(versions):
            raise NotFound(_NO_SUCH_ITEM)
        _check_enough_is_left(connection, farm, versions, {*retired, item})
        insert(
            connection,
            retired_item,
            {
                "farm_id": actor.farm_id,
                "item": item,
                "reason": checked,
                "retired_at": now,
                "retired_by": actor.user_id,
            },
        )


def restore_item(database: Database, actor: Actor, item: str, *, now: datetime) -> None:
    """
    Bring a retired item back.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner.
    item : str
        The item.
    now : datetime
        The present.

    Raises
    ------
    NotAllowed
        If the person is no owner.
    NotFound
        If it is not retired.
    """
    require_role(actor, Role.OWNER)
    with database.write() as connection:
        restored = connection.execute(
            retired_item.update()
            .where(
                retired_item.c.farm_id == actor.farm_id,
                retired_item.c.item == item,
                retired_item.c.restored_at.is_(None),
            )
            .values(restored_at=now, restored_by=actor.user_id)
        )
        if restored.rowcount == 0:
            raise NotFound(_NO_SUCH_ITEM)


def retired_now(connection: sa.Connection, farm_id: int) -> tuple[str, ...]:
    """
    Return the items that no new quiz asks.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.

    Returns
    -------
    tuple of str
        In order of their names.
    """
    return tuple(sorted(_retired(connection, farm_id)))


def retired_sets(connection: sa.Connection, farm_id: int) -> list[tuple[str, ...]]:
    """
    Return every list of retired items that was ever in force.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.

    Returns
    -------
    list of tuple of str
        The present one first, back to the empty one of the beginning: a paper was made under one
        of them.
    """
    changes: list[tuple[datetime, str, bool]] = []
    for each in queries.retirements(connection, farm_id):
        changes.append((each.retired_at, each.item, True))
        if each.restored_at is not None:
            changes.append((each.restored_at, each.item, False))
    in_force: set[str] = set()
    found: list[tuple[str, ...]] = [()]
    for _, item, is_retired in sorted(changes):
        (in_force.add if is_retired else in_force.discard)(item)
        found.append(tuple(sorted(in_force)))
    return list(dict.fromkeys(reversed(found)))


def _retired(connection: sa.Connection, farm_id: int) -> dict[str, RetiredItem]:
    return {
        each.item: each
        for each in queries.retirements(connection, farm_id)
        if each.restored_at is None
    }


def _standards(connection: sa.Connection, farm: Farm, now: datetime) -> list[StandardVersion]:
    today = now.astimezone(ZoneInfo(farm.time_zone)).date()
    return list(standard_queries.standards_in_force(connection, farm.id, today).values())


def _stages_of_items(versions: Iterable[StandardVersion]) -> dict[str, Stage | None]:
    """Return the items that can be asked on some standards, with the stage of each."""
    return {
        maker.name: maker.stage
        for version in versions
        for method in Method
        for maker in makers(standard_of(version), method)
    }


def _check_enough_is_left(
    connection: sa.Connection,
    farm: Farm,
    versions: Iterable[StandardVersion],
    retired: Collection[str],
) -> None:
    names = standard_queries.block_names_by_version(connection, farm.id)
    for version in versions:
        standard = standard_of(version)
        for method, style in product(Method, QuizStyle):
            # What could not be asked before either is not missed.
            if _asked_about(standard, method, style, ()) - _asked_about(
                standard, method, style, retired
            ):
                raise Conflict(
                    say(
                        "Without this item %(block)s would have too little left to ask in a quiz.",
                        block=names[version.id],
                    )
                )


def _asked_about(
    standard: Standard, method: Method, style: QuizStyle, retired: Collection[str]
) -> frozenset[Stage | str | None]:
    """Return what a quiz asks about: stages, safety (None), cutting too much; empty without one."""
    try:
        quiz = make_quiz(standard, seed=_ANY_SEED, method=method, style=style, retired=retired)
    except InvalidInput:
        return frozenset()
    stages: frozenset[Stage | str | None] = frozenset(each.stage for each in quiz.questions)
    return stages | {"too much" for each in quiz.questions if each.cut_too_much}


def _order(line: ItemLine) -> tuple[bool, bool, int, str]:
    """Put items that need a look first, retired ones last; else by stage and name."""
    flagged = line.reading is not None and bool(line.reading.flags)
    stage = tuple(Stage).index(line.stage) if line.stage else len(Stage)
    return line.retired is not None, not flagged, stage, line.item


def _quizzes(answers: Sequence[ItemAnswer]) -> QuizReliability:
    first: dict[int, int] = {}
    by_attempt: dict[int, list[ItemAnswer]] = defaultdict(list)
    for answer in answers:
        first.setdefault(answer.worker_id, answer.attempt_id)
        by_attempt[answer.attempt_id].append(answer)
    quizzes = [
        by_attempt[attempt_id]
        for attempt_id in first.values()
        if len(by_attempt[attempt_id]) == QUESTIONS
    ]
    totals = [sum(answer.is_right for answer in quiz) for quiz in quizzes]
    people = len(totals)
    if people < LEAST_PEOPLE:
        return QuizReliability(people, QUESTIONS, None, None, None, None)
    mean = sum(totals) / people
    variance = sum((total - mean) ** 2 for total in totals) / people
    return QuizReliability(
        people,
        QUESTIONS,
        mean,
        variance**0.5,
        kr21(QUESTIONS, mean, variance) if variance > 0 else None,
        _same_quiz(quizzes),
    )


def _same_quiz(quizzes: Sequence[Sequence[ItemAnswer]]) -> Reliability | None:
    """Return the reliability of the quiz that most people sat; variants ask the same items."""
    by_quiz: dict[tuple[object, ...], list[list[int]]] = defaultdict(list)
    for quiz in quizzes:
        by_item = sorted(quiz, key=lambda answer: answer.item)
        which = (
            quiz[0].standard_version_id,
            quiz[0].seed,
            quiz[0].method,
            quiz[0].style,
            tuple(answer.item for answer in by_item),
        )
        by_quiz[which].append([int(answer.is_right) for answer in by_item])
    most = max(by_quiz.values(), key=len)
    return reliability(most) if len(most) >= LEAST_PEOPLE else None
