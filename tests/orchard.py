"""An invented farm for tests, set up through the services that a person would use."""

from dataclasses import dataclass
from datetime import date, datetime

from audits.messages import Units
from audits.records import Actor
from audits.services import accounts, farms, standards
from audits.storage.database import Database
from audits.storage.queries.standards import versions_of_block
from audits.vocabulary import BearingHabit, HeadingRule, Role

PASSWORD = "three winters of pruning"  # noqa: S105 - opens nothing but the tests' own farm

ROW_SPACING_MM = 11 * 304.8
TREE_SPACING_MM = 3 * 304.8
TREES_IN_ROW = 310
ROWS = 6

WORKERS = (
    ("W1", "Aurelio Barranco", "es"),
    ("W2", "Nélida Quintanar", "es"),
    ("W3", "Fermín Olmedo", "es"),
    ("W4", "Tess Harrowgate", "en"),
    ("W5", "Ovidio Carrizal", "es"),
    ("W6", "Maribel Sotelo", "es"),
)


@dataclass(frozen=True)
class Orchard:
    """What stands on the invented farm and who works there."""

    farm_id: int
    owner: Actor
    supervisor: Actor
    worker: Actor
    sign_ins: dict[Role, str]
    block_id: int
    row_ids: list[int]
    crew_id: int
    worker_ids: list[int]
    standard_id: int

    def actor(self, role: Role) -> Actor:
        """Return the person who signs in under a role."""
        return {
            Role.OWNER: self.owner,
            Role.SUPERVISOR: self.supervisor,
            Role.WORKER: self.worker,
        }[role]


def plant_orchard(database: Database, now: datetime, *, name: str = "Tule Hollow") -> Orchard:
    """Set up a farm with one block, one crew, and a standard that asks for heading too."""
    farm_id = farms.create_farm(
        database,
        name=name,
        units=Units.IMPERIAL,
        region="US",
        language="en",
        time_zone="America/New_York",
        season_start_month=11,
        emergency_location="Gate 2, Hollow Road",
        first_aider="Dot Merrivale",
    )
    owner = _add_user(database, farm_id, "Ina Wetherell", Role.OWNER, now)
    supervisor = _add_user(database, farm_id, "Saul Brightwater", Role.SUPERVISOR, now)
    block_id = farms.add_block(
        database,
        owner,
        name="Creek Block",
        cultivar="Hollow Red",
        habit=BearingHabit.STANDARD,
        rootstock="M.9",
        row_spacing_mm=ROW_SPACING_MM,
        tree_spacing_mm=TREE_SPACING_MM,
        top_wire_mm=10 * 304.8,
        planting_year=2018,
    )
    row_ids = farms.add_rows(
        database,
        owner,
        block_id,
        first_number=1,
        last_number=ROWS,
        start_end="north",
        tree_count=TREES_IN_ROW,
        since=date(2018, 4, 10),
        posts=TREES_IN_ROW // 10 + 1,
        trees_per_panel=10,
    )
    crew_id = farms.add_crew(database, supervisor, name="Crew A")
    worker_ids = [
        farms.add_worker(
            database, supervisor, code=code, name=full_name, language=language, crew_id=crew_id
        )
        for code, full_name, language in WORKERS
    ]
    worker = _add_user(database, farm_id, "Aurelio", Role.WORKER, now, worker_id=worker_ids[0])
    return Orchard(
        farm_id=farm_id,
        owner=owner,
        supervisor=supervisor,
        worker=worker,
        sign_ins={person.role: person.name for person in (owner, supervisor, worker)},
        block_id=block_id,
        row_ids=row_ids,
        crew_id=crew_id,
        worker_ids=worker_ids,
        standard_id=_write_standard(database, supervisor, block_id, now),
    )


def _write_standard(database: Database, actor: Actor, block_id: int, now: datetime) -> int:
    with database.read() as connection:
        proposed = standards.propose_standard(
            farms.the_block(connection, actor.farm_id, block_id)
        ).model_dump(mode="json")
    proposed["heading"]["rule"] = HeadingRule.REQUIRED
    standards.write_standard(
        database, actor, block_id, payload=proposed, in_force_from=date(2025, 11, 1), now=now
    )
    with database.read() as connection:
        return versions_of_block(connection, actor.farm_id, block_id)[0].id


def _add_user(
    database: Database,
    farm_id: int,
    name: str,
    role: Role,
    now: datetime,
    *,
    worker_id: int | None = None,
) -> Actor:
    user_id = accounts.add_user(
        database,
        farm_id,
        name=name,
        password=PASSWORD,
        role=role,
        language="en",
        now=now,
        worker_id=worker_id,
    )
    return Actor(user_id, farm_id, name, role, "en", worker_id)
