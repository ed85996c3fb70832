"""A worker's own trees: every score that counts for this person alone, and what became of it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import NotFound
from audits.messages import say
from audits.records import Actor, Farm, Worker
from audits.scoring import judged_side
from audits.services.access import require_sight_of_worker
from audits.services.contesting import last_day_to_disagree
from audits.services.farms import the_farm, the_worker
from audits.services.unseen import require_sight_of_audit, unseen_audits
from audits.storage.database import Database
from audits.storage.queries import contests as queries
from audits.storage.queries import photos as photo_queries
from audits.storage.queries import trends as trend_queries
from audits.storage.queries.contests import ContestRow, ScoreKey, StageShown, TreeShown
from audits.storage.queries.photos import PhotoRow
from audits.vocabulary import Fault, Purpose, Result, Role, Side, Stage

TREES_ON_A_PAGE: Final = 20
# Beyond any season of one person: what one file holds.
_MOST_IN_A_FILE: Final = 100_000
_SHOWN_AT_ONCE: Final = 500


@dataclass(frozen=True)
class OwnScore:
    """
    One stage of one tree, as it stands and as it was.

    Parameters
    ----------
    stage : Stage
        The stage.
    side : Side
        The side judged; both for the whole tree.
    result : Result
        What it came to, as it stands.
    faults : tuple of Fault
        The named faults.
    measured_mm : tuple of float
        What was measured, in mm: a height, or diameters of cuts. Empty where nothing was.
    first : StageShown or None
        What it came to at first, where an amendment changed it.
    contests : tuple of ContestRow
        Disagreements with it, the oldest first.
    may_disagree : bool
        Whether it can be contested now.
    """

    stage: Stage
    side: Side
    result: Result
    faults: tuple[Fault, ...]
    measured_mm: tuple[float, ...]
    first: StageShown | None
    contests: tuple[ContestRow, ...]
    may_disagree: bool

    @property
    def is_contested(self) -> bool:
        """Whether a disagreement waits for its answer."""
        return any(row.answered_at is None for row in self.contests)


@dataclass(frozen=True)
class OwnTree:
    """
    One tree with the scores that count for one person.

    Parameters
    ----------
    tree : TreeShown
        The tree, its audit and its latest version.
    scored_on : date
        The farm's day on which its audit began.
    disagree_until : date
        The last day on which its scores can be contested.
    scores : tuple of OwnScore
        From the top of the tree down.
    photos : tuple of PhotoRow
        Its photos, those of other people's stages left out.
    """

    tree: TreeShown
    scored_on: date
    disagree_until: date
    scores: tuple[OwnScore, ...]
    photos: tuple[PhotoRow, ...]

    @property
    def counts(self) -> bool:
        """Whether it stands in the worker's figures: a start check does not."""
        return self.tree.purpose is Purpose.FIRST


@dataclass(frozen=True)
class OwnTrees:
    """
    A page of a worker's trees.

    Parameters
    ----------
    worker : Worker
        The worker.
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons for which the farm has results, the latest first.
    total : int
        Trees of this season, or only those with a fault.
    page, pages : int
        Which page this is, from 1, and how many there are.
    trees : list of OwnTree
        The latest audit first.
    """

    worker: Worker
    season: int
    seasons: list[int]
    total: int
    page: int
    pages: int
    trees: list[OwnTree]


def view_own_trees(
    database: Database,
    actor: Actor,
    worker_id: int,
    season: int,
    *,
    now: datetime,
    page: int = 1,
    faults_only: bool = False,
) -> OwnTrees:
    """
    Return a page of the trees that count for one person alone.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who looks; a worker may look at their own only.
    worker_id : int
        Whose trees.
    season : int
        Calendar year in which the season began.
    now : datetime
        The present.
    page : int, optional
        The page, from 1; beyond the last one it is the last.
    faults_only : bool, optional
        Whether only trees with a fault are wanted.

    Returns
    -------
    OwnTrees
        At most 20 trees, read in a fixed number of statements.
    """
    require_sight_of_worker(actor, worker_id)
    with database.read() as connection:
        farm, worker = _farm_and_worker(connection, actor, worker_id)
        unseen = unseen_audits(connection, actor, now)
        total = queries.count_own_trees(
            connection, farm.id, worker_id, season, faults_only=faults_only, unseen=unseen
        )
        pages = max(1, -(-total // TREES_ON_A_PAGE))
        page = min(max(1, page), pages)
        shown = queries.own_trees(
            connection,
            farm.id,
            worker_id,
            season,
            faults_only=faults_only,
            most=TREES_ON_A_PAGE,
            skip=(page - 1) * TREES_ON_A_PAGE,
            unseen=unseen,
        )
        contests = queries.contests_of_worker(connection, farm.id, worker_id, season)
        return OwnTrees(
            worker=worker,
            season=season,
            seasons=trend_queries.seasons_with_results(connection, farm.id),
            total=total,
            page=page,
            pages=pages,
            trees=_own_trees(connection, farm, worker_id, shown, contests, now),
        )


def every_own_tree(
    database: Database, actor: Actor, worker_id: int, season: int, *, now: datetime
) -> list[OwnTree]:
    """
    Return all trees of a season that count for one person alone, for a file.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who asks; a worker may ask for their own only.
    worker_id : int
        Whose trees.
    season : int
        Calendar year in which the season began.
    now : datetime
        The present.

    Returns
    -------
    list of OwnTree
        The latest audit first.
    """
    require_sight_of_worker(actor, worker_id)
    with database.read() as connection:
        farm, _ = _farm_and_worker(connection, actor, worker_id)
        shown = queries.own_trees(
            connection,
            farm.id,
            worker_id,
            season,
            faults_only=False,
            most=_MOST_IN_A_FILE,
            unseen=unseen_audits(connection, actor, now),
        )
        contests = queries.contests_of_worker(connection, farm.id, worker_id, season)
        # In parts, since databases take only so many values in one statement.
        return [
            tree
            for begin in range(0, len(shown), _SHOWN_AT_ONCE)
            for tree in _own_trees(
                connection, farm, worker_id, shown[begin : begin + _SHOWN_AT_ONCE], contests, now
            )
        ]


def own_contests(database: Database, actor: Actor, worker_id: int, season: int) -> list[ContestRow]:
    """
    Return what a worker disagreed with in a season, and the answers.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who looks; a worker may look at their own only.
    worker_id : int
        Whose disagreements.
    season : int
        Calendar year in which the season began.

    Returns
    -------
    list of ContestRow
        The latest first.
    """
    require_sight_of_worker(actor, worker_id)
    with database.read() as connection:
        return queries.contests_of_worker(connection, actor.farm_id, worker_id, season)


def own_photo(database: Database, actor: Actor, photo_id: int, *, now: datetime) -> bytes:
    """
    Return a photo to whoever may see it: crew leads, and the worker whose score it shows.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        Who looks.
    photo_id : int
        The photo.
    now : datetime
        The present.

    Returns
    -------
    bytes
        A JPEG.

    Raises
    ------
    NotFound
        If there is no such photo for this person.
    """
    with database.read() as connection:
        found = queries.photo_by_id(connection, actor.farm_id, photo_id)
        if found is None or not _may_see(connection, actor, found):
            raise NotFound(say("There is no such photo."))
        require_sight_of_audit(connection, actor, found.audit_id, now)
        content = photo_queries.photo_content(connection, actor.farm_id, found.audit_id, found.id)
    if content is None:
        raise NotFound(say("There is no such photo."))
    return content


def _may_see(connection: sa.Connection, actor: Actor, found: PhotoRow) -> bool:
    if actor.role is not Role.WORKER:
        return True
    return actor.worker_id is not None and queries.worker_has_score(
        connection,
        actor.farm_id,
        actor.worker_id,
        audit_id=found.audit_id,
        draw_tree_id=found.draw_tree_id,
        stage=found.stage,
    )


def _farm_and_worker(
    connection: sa.Connection, actor: Actor, worker_id: int
) -> tuple[Farm, Worker]:
    """
    Return the farm and one of its workers.

    Raises
    ------
    NotFound
        If the farm has no such worker.
    """
    return the_farm(connection, actor.farm_id), the_worker(connection, actor.farm_id, worker_id)


def _own_trees(
    connection: sa.Connection,
    farm: Farm,
    worker_id: int,
    shown: Sequence[TreeShown],
    contests: Iterable[ContestRow],
    now: datetime,
) -> list[OwnTree]:
    stages = _by_tree(
        queries.own_stages(connection, farm.id, worker_id, [tree.tree_score_id for tree in shown])
    )
    amended = [tree for tree in shown if tree.version > 1]
    first = {
        (score.audit_id, score.draw_tree_id, score.stage): score
        for score in (queries.first_stages(connection, farm.id, amended) if amended else ())
    }
    photos: dict[tuple[int, int], list[PhotoRow]] = defaultdict(list)
    trees = {(tree.audit_id, tree.draw_tree_id) for tree in shown}
    for photo in queries.photos_of_trees(connection, farm.id, trees):
        photos[photo.audit_id, photo.draw_tree_id].append(photo)
    raised: dict[ScoreKey, list[ContestRow]] = defaultdict(list)
    for row in contests:
        raised[row.audit_id, row.draw_tree_id, row.stage].insert(0, row)
    today = now.astimezone(ZoneInfo(farm.time_zone)).date()
    return [
        _own_tree(
            tree,
            stages[tree.audit_id, tree.draw_tree_id],
            first,
            raised,
            photos[tree.audit_id, tree.draw_tree_id],
            farm,
            today,
        )
        for tree in shown
    ]


def _own_tree(
    tree: TreeShown,
    stages: Sequence[StageShown],
    first: dict[ScoreKey, StageShown],
    raised: dict[ScoreKey, list[ContestRow]],
    photos: Sequence[PhotoRow],
    farm: Farm,
    today: date,
) -> OwnTree:
    amended_at = tree.recorded_at if tree.version > 1 else None
    until = last_day_to_disagree(tree.sealed_at, amended_at, farm)
    is_open = tree.purpose is Purpose.FIRST and today <= until
    scores = []
    for score in stages:
        key = (tree.audit_id, tree.draw_tree_id, score.stage)
        contests = raised.get(key, [])
        scores.append(
            OwnScore(
                stage=score.stage,
                side=judged_side(score.stage, tree.side),
                result=score.result,
                faults=score.faults,
                measured_mm=tuple(score.measured_mm or ()),
                first=_changed(first.get(key), score) if tree.version > 1 else None,
                contests=tuple(contests),
                may_disagree=is_open and not _is_settled(contests, tree.recorded_at),
            )
        )
    own = {score.stage for score in stages}
    return OwnTree(
        tree=tree,
        scored_on=tree.started_at.astimezone(ZoneInfo(farm.time_zone)).date(),
        disagree_until=until,
        scores=tuple(scores),
        photos=tuple(photo for photo in photos if photo.stage is None or photo.stage in own),
    )


def _is_settled(contests: Iterable[ContestRow], recorded_at: datetime) -> bool:
    """Tell whether a score waits for an answer, or has one and was not amended since."""
    return any(
        row.answered_at is None or (row.answer is not None and recorded_at <= row.answered_at)
        for row in contests
    )


def _changed(first: StageShown | None, now: StageShown) -> StageShown | None:
    if first is None:
        return None
    before = (first.result, first.faults, first.measured_mm)
    return first if before != (now.result, now.faults, now.measured_mm) else None


def _by_tree(scores: Iterable[StageShown]) -> dict[tuple[int, int], list[StageShown]]:
    order = list(Stage)
    by_tree: dict[tuple[int, int], list[StageShown]] = defaultdict(list)
    for score in sorted(scores, key=lambda score: order.index(score.stage)):
        by_tree[score.audit_id, score.draw_tree_id].append(score)
    return by_tree
