"""
Trainings: who was shown which stage, and whether it helped.

Trees are told apart by the day on which their row was finished, since a training can only change
what is pruned after it; trees of the training's own day are on neither side.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final, TypedDict, Unpack
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import NotFound
from audits.messages import say
from audits.records import Actor, Farm, TrainingEvent, Worker
from audits.seasons import season_days, season_of
from audits.services.access import require_crew_lead
from audits.services.agreement import WhoCounts, who_counts
from audits.services.attendance import people_there
from audits.services.entries import LONGEST_TEXT, Entries
from audits.services.farms import the_farm, the_worker
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import training as queries
from audits.storage.queries import trends as trend_queries
from audits.storage.queries.fetch import insert_many
from audits.storage.queries.training import ScoredTree
from audits.storage.tables import training_event
from audits.training_effect import BeforeAfter, compare_before_after
from audits.vocabulary import Stage, TrainingKind

# Days on either side that may be asked for; None is all of the season.
WINDOWS: Final = (None, 14, 28)


class TrainingEntry(TypedDict):
    """What is entered for a training of one person or several."""

    worker_ids: Sequence[int]
    stage: Stage
    kind: TrainingKind
    held_on: date
    note: str


@dataclass(frozen=True)
class TrainingList:
    """
    The trainings of a season.

    Parameters
    ----------
    season : int
        Calendar year in which the season began.
    seasons : list of int
        Seasons for which the farm has results, the latest first.
    events : list of TrainingEvent
        The trainings, the latest first.
    workers : Mapping of int to Worker
        Everybody who ever worked here, by id.
    by_kind : Mapping of TrainingKind to BeforeAfter
        Before and after, over the first training of a kind that each person had in each stage.
    left_out : Mapping of Stage to int
        Due trees of these people in these stages that do not count because of who scored them.
    """

    season: int
    seasons: list[int]
    events: list[TrainingEvent]
    workers: Mapping[int, Worker]
    by_kind: Mapping[TrainingKind, BeforeAfter]
    left_out: Mapping[Stage, int]


@dataclass(frozen=True)
class TrainingView:
    """
    One training and what the trees say.

    Parameters
    ----------
    event : TrainingEvent
        The training.
    worker : Worker
        Who was trained.
    noted_by : str
        Who wrote it down.
    effect : BeforeAfter
        The person's due trees of that stage before and after.
    days : int or None
        Days that count on either side; None for all of the season.
    others : int
        Other trainings of this person in this stage in the same season.
    left_out : Mapping of Stage to int
        Due trees of that stage that do not count because of who scored them.
    """

    event: TrainingEvent
    worker: Worker
    noted_by: str
    effect: BeforeAfter
    days: int | None
    others: int
    left_out: Mapping[Stage, int]


@dataclass(frozen=True)
class CountedTrees:
    """
    Due trees, without those of auditors who are to be recalibrated first.

    Parameters
    ----------
    trees : list of ScoredTree
        The trees that count, in scoring order.
    left_out : Mapping of tuple of int and Stage to int
        How many are left out, by worker and stage.
    """

    trees: list[ScoredTree]
    left_out: Mapping[tuple[int, Stage], int]

    def by_stage(self, of: Collection[tuple[int, Stage]]) -> dict[Stage, int]:
        """
        Add up what is left out.

        Parameters
        ----------
        of : Collection of tuple of int and Stage
            Workers with their stages.

        Returns
        -------
        dict of Stage to int
            Only stages with any.
        """
        sums: Counter[Stage] = Counter()
        for key in of:
            if key in self.left_out:
                sums[key[1]] += self.left_out[key]
        return dict(sums)


def counted_trees(who: WhoCounts, trees: Iterable[ScoredTree]) -> CountedTrees:
    """
    Leave out the trees of auditors whose scores do not count.

    Parameters
    ----------
    who : WhoCounts
        Whose scores count.
    trees : Iterable of ScoredTree
        Due trees in scoring order.

    Returns
    -------
    CountedTrees
        Those that count, and how many do not.
    """
    kept: list[ScoredTree] = []
    left_out: Counter[tuple[int, Stage]] = Counter()
    for tree in trees:
        if who.counts(tree.auditor_id, tree.stage):
            kept.append(tree)
        else:
            left_out[tree.worker_id, tree.stage] += 1
    return CountedTrees(kept, left_out)


def note_training(
    database: Database, actor: Actor, now: datetime, **entry: Unpack[TrainingEntry]
) -> int:
    """
    Note a training, for everybody who was there at once; sending it twice changes nothing.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    now : datetime
        The present.
    **entry : Unpack[TrainingEntry]
        What is entered.

    Returns
    -------
    int
        The number of people for whom it is noted.

    Raises
    ------
    InvalidInput
        If an entry cannot be taken; nothing is noted then.
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        farm = the_farm(connection, actor.farm_id)
        here = {worker.id for worker in farm_queries.workers(connection, farm.id)}
        entries = Entries()
        worker_ids = people_there(entries, farm, entry["worker_ids"], here, entry["held_on"], now)
        note = entries.text("note", entry["note"], longest=LONGEST_TEXT)
        entries.stop_if_any()
        day = entry["held_on"]
        noted = {
            event.worker_id
            for event in queries.trainings(connection, farm.id, day, day, worker_ids)
            if (event.stage, event.kind, event.note) == (entry["stage"], entry["kind"], note)
        }
        insert_many(
            connection,
            training_event,
            [
                {
                    "farm_id": farm.id,
                    "worker_id": worker_id,
                    "stage": entry["stage"],
                    "kind": entry["kind"],
                    "held_on": entry["held_on"],
                    "noted_at": now,
                    "noted_by": actor.user_id,
                    "note": note,
                }
                for worker_id in worker_ids
                if worker_id not in noted
            ],
        )
        return len(worker_ids)


def take_out_training(database: Database, actor: Actor, event_id: int) -> None:
    """
    Take out a training that was noted by mistake.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    event_id : int
        The training.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such training.
    """
    require_crew_lead(actor)
    with database.write() as connection:
        event = _the_training(connection, actor.farm_id, event_id)
        connection.execute(
            training_event.delete().where(
                training_event.c.farm_id == actor.farm_id, training_event.c.id == event.id
            )
        )


def list_trainings(
    database: Database, actor: Actor, season: int, today: date, days: int | None = None
) -> TrainingList:
    """
    Return the trainings of a season, and whether each kind helped.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    season : int
        Calendar year in which the season began.
    today : date
        The farm's day, for windows of the same length on both sides.
    days : int or None, optional
        Days that count on either side; None for all of the season.

    Returns
    -------
    TrainingList
        The trainings, the latest first.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        workers = farm_queries.workers(connection, farm.id, with_retired=True)
        events = _events(connection, farm, season)
        trained = {event.worker_id for event in events}
        counted = counted_trees(
            who_counts(connection, farm.id),
            queries.trees_of_season(connection, farm.id, season, trained),
        )
        trees = _by_person(counted.trees)
        return TrainingList(
            season=season,
            seasons=trend_queries.seasons_with_results(connection, farm.id),
            events=events,
            workers={worker.id: worker for worker in workers},
            by_kind=_effects_by_kind(events, trees, farm.time_zone, Window(today, days)),
            left_out=counted.by_stage({(event.worker_id, event.stage) for event in events}),
        )


def view_training(
    database: Database, actor: Actor, event_id: int, today: date, days: int | None = None
) -> TrainingView:
    """
    Return a training with the person's trees before and after it.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    event_id : int
        The training.
    today : date
        The farm's day, for windows of the same length on both sides.
    days : int or None, optional
        Days that count on either side; None for all of the season.

    Returns
    -------
    TrainingView
        What may be said of it.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    NotFound
        If the farm has no such training.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        event = _the_training(connection, farm.id, event_id)
        season = season_of(event.held_on, farm.season_start_month)
        counted = counted_trees(
            who_counts(connection, farm.id),
            queries.trees_of_season(connection, farm.id, season, [event.worker_id]),
        )
        of_person = (event.worker_id, event.stage)
        trees = _by_person(counted.trees)[of_person]
        noted_by = account_queries.user_by_id(connection, farm.id, event.noted_by)
        same = [
            each
            for each in _events(connection, farm, season, event.worker_id)
            if each.stage is event.stage
        ]
        sides = split_trees(trees, event.held_on, farm.time_zone, Window(today, days))
        return TrainingView(
            event=event,
            worker=the_worker(connection, farm.id, event.worker_id),
            noted_by=noted_by.name if noted_by else "",
            effect=compare_before_after(*sides),
            days=days,
            others=len(same) - 1,
            left_out=counted.by_stage({of_person}),
        )


@dataclass(frozen=True)
class Window:
    """
    How many days count on either side of a training.

    Parameters
    ----------
    today : date
        The farm's day: of more days than have passed since the training, only these count.
    days : int or None, optional
        Days on either side; None for all of the season.
    """

    today: date
    days: int | None = None

    def holds(self, day: date, held_on: date) -> bool:
        """
        Tell whether a tree's day counts.

        Parameters
        ----------
        day : date
            The day on which its row was finished.
        held_on : date
            The day of the training.

        Returns
        -------
        bool
            Whether it is near enough.
        """
        if self.days is None:
            return True
        days = min(timedelta(days=self.days), self.today - held_on)
        return abs(day - held_on) <= days


def split_trees(
    trees: Iterable[ScoredTree], held_on: date, time_zone: str, window: Window | None = None
) -> tuple[tuple[int, int], tuple[int, int]]:
    """
    Sum a person's trees before a day and after it.

    Parameters
    ----------
    trees : Iterable of ScoredTree
        Due trees of one stage in first audits.
    held_on : date
        The farm's day; trees whose row was finished on it are on neither side.
    time_zone : str
        The farm's time zone.
    window : Window or None, optional
        How many days count on either side; None for all.

    Returns
    -------
    tuple of tuple of int
        Nonconforming and due trees before, then after.
    """
    zone = ZoneInfo(time_zone)
    sums = [[0, 0], [0, 0]]
    for tree in trees:
        day = (tree.finished_at or tree.scored_at).astimezone(zone).date()
        if day == held_on or (window is not None and not window.holds(day, held_on)):
            continue
        side = sums[day > held_on]
        side[0] += tree.nonconforming
        side[1] += 1
    return (sums[0][0], sums[0][1]), (sums[1][0], sums[1][1])


def _effects_by_kind(
    events: Iterable[TrainingEvent],
    trees: Mapping[tuple[int, Stage], Sequence[ScoredTree]],
    time_zone: str,
    window: Window,
) -> dict[TrainingKind, BeforeAfter]:
    firsts: dict[tuple[TrainingKind, int, Stage], TrainingEvent] = {}
    # A second training of one person would count the same trees again.
    for event in sorted(events, key=lambda each: (each.held_on, each.id)):
        firsts.setdefault((event.kind, event.worker_id, event.stage), event)
    sums: dict[TrainingKind, list[int]] = {}
    for event in firsts.values():
        own = trees[event.worker_id, event.stage]
        before, after = split_trees(own, event.held_on, time_zone, window)
        kind = sums.setdefault(event.kind, [0, 0, 0, 0])
        for place, number in enumerate((*before, *after)):
            kind[place] += number
    return {
        kind: compare_before_after((sums[kind][0], sums[kind][1]), (sums[kind][2], sums[kind][3]))
        for kind in TrainingKind
        if kind in sums
    }


def _by_person(trees: Iterable[ScoredTree]) -> dict[tuple[int, Stage], list[ScoredTree]]:
    by_person: dict[tuple[int, Stage], list[ScoredTree]] = defaultdict(list)
    for tree in trees:
        by_person[tree.worker_id, tree.stage].append(tree)
    return by_person


def _events(
    connection: sa.Connection, farm: Farm, season: int, worker_id: int | None = None
) -> list[TrainingEvent]:
    days = season_days(season, farm.season_start_month)
    people = None if worker_id is None else [worker_id]
    return queries.trainings(connection, farm.id, days.first_day, days.last_day, people)


def _the_training(connection: sa.Connection, farm_id: int, event_id: int) -> TrainingEvent:
    event = queries.training_by_id(connection, farm_id, event_id)
    if event is None:
        raise NotFound(say("There is no such training."))
    return event
