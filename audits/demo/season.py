"""The winter of the simulated farm, day by day, through the services that people use."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from audits.demo.cast import (
    BENCH_CREW,
    CREW_NAMES,
    FARM_NAME,
    FEET,
    HARD_BLOCK,
    MEASURED_BLOCK,
    OWNER,
    RIVER_CREW,
    SECOND_SUPERVISOR,
    SUPERVISOR,
    TIME_ZONE,
    WORKER,
)
from audits.demo.learning import BRIEFING_DAYS, DemoLearning, LearningCrew
from audits.demo.lessons import Lessons
from audits.demo.trees import TRAINED_AT, DemoBlock, DemoTrees
from audits.messages import Units
from audits.records import Actor, Lot, StageScoreRow
from audits.scoring import measured_value, read_answers, score_tree
from audits.seasons import season_of
from audits.services import (
    accounts,
    auditing,
    farms,
    passes,
    reworking,
    sealing,
    standards,
    start_checks,
)
from audits.services.auditing import AuditView, Device, TreeEntry
from audits.services.planning import the_lot
from audits.services.scorebook import stage_standings
from audits.standard import Standard, read_standard
from audits.storage.database import Database
from audits.storage.queries import passes as pass_queries
from audits.vocabulary import (
    BearingHabit,
    HeadingRule,
    LotState,
    Method,
    Outcome,
    PassKind,
    PlantingKind,
    Role,
    Side,
    Stage,
)

WORKING_DAYS: Final = 54
_DAYS_NOT_AUDITED: Final = 2
_HARD_DAYS: Final = 1
_HARD_BLOCK_CREW: Final = 6
# When, as a share of the season, auditors walk check trees together, and what learners do.
_WALKS_AT: Final = (0.42, 0.76)
_SIGNED_OFF_AT: Final = 0.6
_LEARNER_CAME_AT: Final = 0.7


@dataclass(frozen=True)
class SignIn:
    """
    A sign-in of the simulated farm.

    Parameters
    ----------
    role : Role
        What the person may see and do.
    name, password : str
        As typed on the sign-in page.
    """

    role: Role
    name: str
    password: str


@dataclass(frozen=True)
class Demo:
    """
    The simulated farm.

    Parameters
    ----------
    farm_id : int
        The farm.
    sign_ins : tuple of SignIn
        At least one for each role.
    true_rates : Mapping of int to Mapping of Stage to float
        By worker: the true share of due trees left with a fault in each stage, as a fair auditor
        finds them in an ordinary block; the two whose rate changes aside.
    drifting, trained : int
        The worker whose tops drift high, and the one who was shown the limbs in mid-season.
    strict_auditor : int
        The supervisor who calls more faults than there are.
    audits : int
        Audits sealed.
    trees : int
        Trees scored.
    """

    farm_id: int
    sign_ins: tuple[SignIn, ...]
    true_rates: Mapping[int, Mapping[Stage, float]]
    drifting: int
    trained: int
    strict_auditor: int
    audits: int
    trees: int


@dataclass(frozen=True)
class _Crew:
    id: int
    worker_ids: tuple[int, ...]
    method: Method
    lot_by: str
    rows_a_lot: int


def make_demo(
    database: Database,
    now: datetime,
    *,
    seed: int = 20,
    working_days: int = WORKING_DAYS,
    progress: Callable[[int, int], None] = lambda _done, _all: None,
) -> Demo:
    """
    Simulate a season up to the present.

    Every pass, audit, verdict and rework goes through the services that people use. One worker's
    tops drift high during the season, and another's limbs get better once somebody shows him;
    everyone else is steady, some steadier than others. One block is hard, one auditor strict.

    Parameters
    ----------
    database : Database
        An empty, migrated database.
    now : datetime
        The present; the season ends today.
    seed : int, optional
        Seed of the simulation.
    working_days : int, optional
        Length of the season so far.
    progress : callable, optional
        Called with the working days done and the working days in all.

    Returns
    -------
    Demo
        The farm, its sign-ins and the true rates behind the audits.
    """
    random = Random(seed)  # noqa: S311 - a simulation, repeatable by its seed
    return _Season(database, now, random, working_days, seed).simulate(progress)


class _Season:
    def __init__(
        self, database: Database, now: datetime, random: Random, days: int, seed: int
    ) -> None:
        self.database = database
        self.seed = seed
        self.now = now
        self.random = random
        self.zone = ZoneInfo(TIME_ZONE)
        self.days = _working_days(now.astimezone(self.zone).date(), days)
        self.trees = DemoTrees(random)
        self.audits = 0
        self.trees_scored = 0

    def simulate(self, progress: Callable[[int, int], None]) -> Demo:
        farm_id, sign_ins, crews = self._found_farm()
        places = self._plant_blocks()
        walks = [
            self._season_of_crew(crew, blocks) for crew, blocks in zip(crews, places, strict=True)
        ]
        for done in range(len(self.days)):
            for walk in walks:
                next(walk, None)
            self._beside_the_audits(crews, done)
            progress(done + 1, len(self.days))
        self._disagree(crews[0])
        self._learn(crews, [blocks[0] for blocks in places])
        return Demo(
            farm_id=farm_id,
            sign_ins=sign_ins,
            true_rates=self.trees.rates,
            drifting=self.trees.drifting,
            trained=self.trees.trained,
            strict_auditor=self.trees.strict,
            audits=self.audits,
            trees=self.trees_scored,
        )

    # --- people and places -----------------------------------------------------------------

    def _found_farm(self) -> tuple[int, tuple[SignIn, ...], list[_Crew]]:
        farm_id = farms.create_farm(
            self.database,
            name=FARM_NAME,
            units=Units.IMPERIAL,
            region="US",
            language="en",
            time_zone=TIME_ZONE,
            season_start_month=self.days[0].month,
            row_word="hilera",
            emergency_location="East gate, 40 Bench Lane",
            first_aider="Hollis Tarrant",
            briefing_days=BRIEFING_DAYS,
        )
        self.owner = self._add_user(farm_id, Role.OWNER, *OWNER)
        self.supervisor = self._add_user(farm_id, Role.SUPERVISOR, *SUPERVISOR)
        second = self._add_user(farm_id, Role.SUPERVISOR, *SECOND_SUPERVISOR)
        self.auditors = (self.supervisor, second)
        self.lessons = Lessons(
            self.database, self.owner, self.auditors, self.trees, self._client_id
        )
        self.trees.strict = second.user_id
        crews = [
            self._add_crew(CREW_NAMES[0], BENCH_CREW, Method.LADDER, passes.LOT_BY_ROW, 1),
            self._add_crew(CREW_NAMES[1], RIVER_CREW, Method.PLATFORM, passes.LOT_BY_HALF_DAY, 3),
        ]
        self.worker = self._add_user(
            farm_id, Role.WORKER, *WORKER, worker_id=crews[0].worker_ids[0]
        )
        self.trees.trained = crews[0].worker_ids[4]
        self.trees.drifting = crews[1].worker_ids[4]
        sign_ins = (
            SignIn(Role.OWNER, *OWNER),
            SignIn(Role.SUPERVISOR, *SUPERVISOR),
            SignIn(Role.SUPERVISOR, *SECOND_SUPERVISOR),
            SignIn(Role.WORKER, *WORKER),
        )
        return farm_id, sign_ins, crews

    def _add_user(
        self, farm_id: int, role: Role, name: str, password: str, *, worker_id: int | None = None
    ) -> Actor:
        user_id = accounts.add_user(
            self.database,
            farm_id,
            name=name,
            password=password,
            role=role,
            language="es" if role is Role.WORKER else "en",
            now=self.now,
            worker_id=worker_id,
        )
        return Actor(user_id, farm_id, name, role, "en", worker_id)

    def _add_crew(
        self,
        name: str,
        people: Sequence[tuple[str, str, str]],
        method: Method,
        lot_by: str,
        rows_a_lot: int,
    ) -> _Crew:
        crew_id = farms.add_crew(self.database, self.owner, name=name)
        worker_ids = []
        for code, full_name, language in people:
            worker_id = farms.add_worker(
                self.database,
                self.owner,
                code=code,
                name=full_name,
                language=language,
                crew_id=crew_id,
                started_on=self.days[0],
            )
            self.trees.add_worker(worker_id)
            worker_ids.append(worker_id)
        return _Crew(crew_id, tuple(worker_ids), method, lot_by, rows_a_lot)

    def _plant_blocks(self) -> list[list[DemoBlock]]:
        rows = len(self.days) * 2
        bench = [
            self._plant("Upper Bench", "Saltgrass Red", BearingHabit.STANDARD, 11, 3, rows // 2),
            self._plant("Windbreak", "Ember Tip", BearingHabit.TIP, 12, 3.5, rows - rows // 2),
        ]
        rows *= 3
        river = [
            self._plant("River Bend", "Saltgrass Red", BearingHabit.STANDARD, 11, 3, rows // 3),
            self._plant(MEASURED_BLOCK, "Juniper Gold", BearingHabit.SPUR, 12, 3, rows // 3),
            self._plant(HARD_BLOCK, "Saltgrass Red", BearingHabit.STANDARD, 11, 3, rows // 2),
        ]
        return [bench, river]

    def _plant(
        self,
        name: str,
        cultivar: str,
        habit: BearingHabit,
        row_feet: float,
        tree_feet: float,
        rows: int,
    ) -> DemoBlock:
        year = self.days[0].year - self.random.randint(6, 11)
        block_id = farms.add_block(
            self.database,
            self.owner,
            name=name,
            cultivar=cultivar,
            habit=habit,
            rootstock="M.9",
            row_spacing_mm=row_feet * FEET,
            tree_spacing_mm=tree_feet * FEET,
            top_wire_mm=10 * FEET,
            planting_year=year,
            emergency_location=f"{name} gate",
        )
        tree_count = self.random.randrange(240, 330, 10)
        row_ids = farms.add_rows(
            self.database,
            self.owner,
            block_id,
            first_number=1,
            last_number=rows,
            start_end="north",
            tree_count=tree_count,
            since=date(year, 4, 15),
            posts=tree_count // 10 + 1,
            trees_per_panel=10,
        )
        for row_id in self.random.sample(row_ids, k=rows // 6):
            position = self.random.randint(1, tree_count)
            farms.add_planting(
                self.database,
                self.owner,
                row_id,
                first_position=position,
                last_position=position,
                kind=self.random.choice((PlantingKind.DEAD, PlantingKind.REPLANT)),
                since=self.days[0] - timedelta(days=200),
            )
        return DemoBlock(block_id, name, tuple(row_ids), self._write_standard(block_id))

    def _write_standard(self, block_id: int) -> Standard:
        with self.database.read() as connection:
            block = farms.the_block(connection, self.owner.farm_id, block_id)
        payload = standards.propose_standard(block).model_dump(mode="json")
        payload["top"]["measured"] = block.name == MEASURED_BLOCK
        # The farm tries on one block to leave lots of a good crew without an audit.
        payload["sampling"]["skip_lots"] = block.name == "Windbreak"
        if block.cultivar == "Saltgrass Red":
            payload["heading"]["rule"] = HeadingRule.REQUIRED
        standards.write_standard(
            self.database,
            self.owner,
            block_id,
            payload=payload,
            in_force_from=self.days[0] - timedelta(days=7),
            now=self.now,
        )
        return read_standard(payload)

    def _learn(self, crews: Sequence[_Crew], blocks: Sequence[DemoBlock]) -> None:
        people = (BENCH_CREW, RIVER_CREW)
        DemoLearning(
            self.database,
            self.supervisor,
            self.worker,
            self.trees.rates,
            self.days,
            self._at,
            # A chance of its own, so that audits stay what they are without it.
            Random(self.seed),  # noqa: S311 - a simulation, repeatable by its seed
        ).learn(
            [
                LearningCrew(
                    {
                        worker_id: language
                        for worker_id, (_, _, language) in zip(
                            crew.worker_ids, cast_of_crew, strict=True
                        )
                    },
                    crew.method,
                    block,
                )
                for crew, cast_of_crew, block in zip(crews, people, blocks, strict=True)
            ]
        )

    # --- the season ------------------------------------------------------------------------

    def _season_of_crew(self, crew: _Crew, blocks: Sequence[DemoBlock]) -> Iterator[None]:
        """Work through the blocks, one working day a step."""
        days = iter(enumerate(self.days))
        for block in blocks:
            rows = iter(block.row_ids)
            pass_id: int | None = None
            while True:
                todays = [list(_take(rows, crew.rows_a_lot)) for _ in range(2)]
                if not todays[0]:
                    break
                number, day = next(days, (None, None))
                if number is None or day is None:
                    return
                if pass_id is None:
                    pass_id = self._begin_pass(crew, block, day)
                for half, lot_rows in enumerate(todays):
                    if lot_rows:
                        self._half_day(crew, block, pass_id, lot_rows, number, half)
                if crew.lot_by == passes.LOT_BY_HALF_DAY and number in map(self._day_at, _WALKS_AT):
                    self.lessons.walk_check_trees(
                        block, pass_id, number / len(self.days), self._at(day, 16, 0)
                    )
                yield
            if pass_id is not None:
                self._end_pass(pass_id, self.days[number or 0], len(block.row_ids))

    def _beside_the_audits(self, crews: Sequence[_Crew], number: int) -> None:
        """One is shown the limbs; one learner is signed off and goes on, another comes late."""
        day, moment = self.days[number], self._at(self.days[number], 17, 0)
        if moment > self.now:
            return
        signed_off, late = crews[1].worker_ids[-2:]
        if number == 0:
            self.lessons.begin_learning(signed_off, Stage.LIMBS, day, moment)
        if number == self._day_at(TRAINED_AT):
            self.lessons.show_limbs(self.trees.trained, day, moment)
        if number == self._day_at(_SIGNED_OFF_AT) and self.lessons.sign_off(
            signed_off, Stage.LIMBS, moment
        ):
            self.lessons.begin_learning(signed_off, Stage.COLUMNS, day, moment)
        if number == self._day_at(_LEARNER_CAME_AT):
            self.lessons.begin_learning(late, Stage.COLUMNS, day, moment)

    def _disagree(self, crew: _Crew) -> None:
        """Let whoever can sign in disagree with a score, and somebody else have had an answer."""
        season = season_of(self.days[-1], self.days[0].month)
        for_another = crew.worker_ids[1]
        self.lessons.disagree(self.supervisor, for_another, season, self.now, answered=True)
        self.lessons.disagree(self.worker, crew.worker_ids[0], season, self.now, answered=False)

    def _day_at(self, share: float) -> int:
        return int(share * len(self.days))

    def _begin_pass(self, crew: _Crew, block: DemoBlock, day: date) -> int:
        pass_id = passes.begin_pass(
            self.database,
            self.supervisor,
            block_id=block.id,
            crew_id=crew.id,
            kind=PassKind.DORMANT,
            method=crew.method,
            row_ids=block.row_ids,
            started_at=self._at(day, 7, 30),
            lot_by=crew.lot_by,
        )
        for worker_id in self.random.sample(crew.worker_ids, k=3):
            self._start_check(pass_id, block, worker_id, day)
        return pass_id

    def _end_pass(self, pass_id: int, day: date, rows: int) -> None:
        passes.end_pass(
            self.database,
            self.supervisor,
            pass_id,
            ended_at=self._at(day, 16, 30),
            hours=round(rows * self.random.uniform(3.4, 4.2), 1),
        )

    def _start_check(self, pass_id: int, block: DemoBlock, worker_id: int, day: date) -> None:
        moment = self._at(day, 8, 10)
        audit_id = start_checks.begin_start_check(
            self.database,
            self.supervisor,
            pass_id,
            worker_id=worker_id,
            client_id=self._client_id(),
            device=self._device(),
            now=moment,
        )
        position = self.random.randint(5, 40)
        for step in range(3):
            view = auditing.view_audit(self.database, self.supervisor, audit_id)
            stages = view.book.draw.stages
            start_checks.score_start_tree(
                self.database,
                self.supervisor,
                audit_id,
                row_id=block.row_ids[0],
                position=position + step,
                side=Side.LEFT,
                answers=self.trees.answers(
                    block, dict.fromkeys(stages, worker_id), 0.0, 1.5, self.supervisor
                ),
                client_id=self._client_id(),
                device=self._device(),
                now=moment + timedelta(minutes=2 * step),
            )
        start_checks.close_start_check(
            self.database, self.supervisor, audit_id, moment + timedelta(minutes=8)
        )

    def _half_day(
        self,
        crew: _Crew,
        block: DemoBlock,
        pass_id: int,
        row_ids: Sequence[int],
        number: int,
        half: int,
    ) -> None:
        day = self.days[number]
        finished = self._at(day, 11 if half == 0 else 15, self.random.randint(0, 45))
        if finished > self.now:
            return
        lot_id = 0
        for row_id in row_ids:
            # One row in ten goes unnamed: its results are the crew's.
            if self.random.random() > 0.1:  # noqa: PLR2004
                self._assign(crew, block, pass_id, row_id)
            lot_id = passes.finish_row(
                self.database,
                self.supervisor,
                pass_id,
                row_id,
                finished,
                chance=self.random.random,
            )
        days_left = len(self.days) - number
        if days_left <= _DAYS_NOT_AUDITED:
            return
        if self._lot(lot_id).state is LotState.NOT_CHOSEN:
            return
        # A hard frost just before the last days: cuts went wrong, and rework waits.
        factor = 3.0 if days_left <= _DAYS_NOT_AUDITED + _HARD_DAYS else 1.0
        self._audit(block, lot_id, number, finished + timedelta(minutes=40), factor)
        self._mend(crew, block, lot_id, number, finished + timedelta(hours=3))

    def _lot(self, lot_id: int) -> Lot:
        with self.database.read() as connection:
            return the_lot(connection, self.owner.farm_id, lot_id)

    def _assign(self, crew: _Crew, block: DemoBlock, pass_id: int, row_id: int) -> None:
        """Two people face each tree; one of them also does the tops and calls the limbs."""
        people = crew.worker_ids
        if block.name == HARD_BLOCK:
            people = (self.trees.drifting, *people[-_HARD_BLOCK_CREW:])
        left, right = self.random.sample(people, k=2)
        work = (
            (left, (Stage.TOP, Stage.LIMBS), Side.BOTH),
            (left, (Stage.COLUMNS, Stage.HEADING), Side.LEFT),
            (right, (Stage.COLUMNS, Stage.HEADING), Side.RIGHT),
        )
        for worker_id, stages, side in work:
            passes.assign(
                self.database,
                self.supervisor,
                pass_id,
                worker_id=worker_id,
                row_id=row_id,
                stages=stages,
                side=side,
            )

    def _audit(
        self, block: DemoBlock, lot_id: int, number: int, begun: datetime, factor: float
    ) -> None:
        auditor = self.random.choice(self.auditors)
        audit_id = auditing.begin_audit(
            self.database,
            auditor,
            lot_id,
            seed=self.random.getrandbits(48),
            client_id=self._client_id(),
            device=self._device(),
            now=begun,
        )
        view = auditing.view_audit(self.database, auditor, audit_id)
        season_share = number / len(self.days)
        left = {
            tree.id: self.trees.tree(
                block,
                {stage: view.book.worker_of(stage, tree) for stage in view.book.draw.stages},
                season_share,
                factor,
            )
            for tree in view.walk
        }
        entries = [
            TreeEntry(
                draw_tree_id=tree.id,
                client_id=self._client_id(),
                answers=self.trees.as_called(left[tree.id], auditor),
                device=self._device(),
            )
            for tree in view.walk
        ]
        view = self._walk(auditor, view, entries, begun)
        sealing.seal_audit(self.database, auditor, audit_id, begun + timedelta(minutes=35))
        self.lessons.audit_again(auditor, left, begun + timedelta(minutes=40))
        self.audits += 1
        self.trees_scored += len(view.answers)

    def _walk(
        self, auditor: Actor, view: AuditView, entries: Sequence[TreeEntry], begun: datetime
    ) -> AuditView:
        """Score until every stage is decided, as an auditor in the row would, and no further."""
        needed = _trees_needed(view, entries)
        return auditing.record_trees(
            self.database, auditor, view.book.audit.id, entries[:needed], begun
        )

    def _mend(
        self, crew: _Crew, block: DemoBlock, lot_id: int, number: int, moment: datetime
    ) -> None:
        """Send the lot back until it is accepted; leave the last days' rework for the visitor."""
        if moment > self.now - timedelta(days=3):
            return
        if self._lot(lot_id).state is not LotState.REWORK:
            return
        with self.database.read() as connection:
            orders = pass_queries.rework_orders_of_lot(connection, self.owner.farm_id, lot_id)
        hours = round(self.random.uniform(1.5, 5.0), 1)
        reworking.record_rework(
            self.database,
            self.supervisor,
            orders[-1].id,
            crew_id=crew.id,
            method=crew.method,
            started_at=moment,
            ended_at=moment + timedelta(hours=1),
            hours=hours,
        )
        self._audit(block, lot_id, number, moment + timedelta(hours=2), 0.25)

    def _at(self, day: date, hour: int, minute: int) -> datetime:
        return datetime.combine(day, time(hour, minute), tzinfo=self.zone)

    def _client_id(self) -> str:
        return str(UUID(int=self.random.getrandbits(128), version=4))

    def _device(self) -> Device:
        return Device("simulated phone")


def _trees_needed(view: AuditView, entries: Sequence[TreeEntry]) -> int:
    """Return after how many of these trees no stage is open any more."""
    book = view.book
    waves = {tree.id: tree.wave for tree in view.walk}
    rows: list[StageScoreRow] = []
    values: dict[tuple[int, Stage], float] = {}
    for number, entry in enumerate(entries, start=1):
        answers = read_answers(entry.answers)
        score = score_tree(
            book.standard,
            answers,
            method=book.crew_pass.method,
            stages=book.draw.stages,
        )
        for stage, part in score.stages.items():
            wave = waves[entry.draw_tree_id]
            rows.append(StageScoreRow(number, stage, part.result, part.faults, None, None, wave))
            value = measured_value(stage, answers)
            if value is not None:
                values[number, stage] = value
        standings = stage_standings(book, rows, values)
        if all(each.outcome is not Outcome.OPEN for each in standings):
            return number
    return len(entries)


def _working_days(last: date, count: int) -> list[date]:
    """Return the last working days up to a day, Sundays free."""
    days: list[date] = []
    day = last
    while len(days) < count:
        if day.weekday() < 6:  # noqa: PLR2004 - Sunday
            days.append(day)
        day -= timedelta(days=1)
    return days[::-1]


def _take(rows: Iterator[int], count: int) -> Iterator[int]:
    for _, row in zip(range(count), rows, strict=False):
        yield row
