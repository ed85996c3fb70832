"""
A season in which some people work mostly in a hard block, and one of two auditors is strict.

Nobody is better or worse than anybody: what differs is the block and the auditor, by numbers that
are written down here. So whoever is blamed for a rate of this season is blamed wrongly.
"""

from typing import NamedTuple

import sqlalchemy as sa

from audits.services import farms
from audits.storage.database import Database
from audits.vocabulary import BearingHabit, Stage
from tests.orchard import ROW_SPACING_MM, TREE_SPACING_MM, Orchard
from tests.scored_season import BlockIds, add_audit, add_lot, day, trees

STAGE = Stage.TOP
TREES = 20
# Trees with a fault among 20, by block and auditor; two numbers take turns.
FAULTS = {
    ("easy", "mild"): (0, 1),
    ("easy", "strict"): (2, 2),
    ("hard", "mild"): (4, 4),
    ("hard", "strict"): (9, 9),
}
AUDITS = 12
# Audits in the hard block: of those who are mostly there, and of the others.
MOSTLY_THERE, MOSTLY_ELSEWHERE = 8, 2


class FairSeason(NamedTuple):
    """Who works where; the first three workers mostly in the hard block."""

    hard: BlockIds
    in_hard_block: list[int]
    in_easy_block: list[int]


def add_fair_season(
    database: Database, orchard: Orchard, *, strict: str = "strict", hard: str = "hard"
) -> FairSeason:
    """
    Score twelve audits a worker, half by each auditor.

    With ``strict="mild"`` the second auditor is no stricter, with ``hard="easy"`` the second
    block no harder.
    """
    block = second_block(database, orchard)
    easy = BlockIds(orchard.block_id, orchard.row_ids, orchard.standard_id)
    mostly_hard, mostly_easy = orchard.worker_ids[:3], orchard.worker_ids[3:]
    with database.write() as connection:
        for worker_id in orchard.worker_ids:
            in_hard = MOSTLY_THERE if worker_id in mostly_hard else MOSTLY_ELSEWHERE
            for number in range(AUDITS):
                is_hard, is_strict = number < in_hard, number % 2 == 1
                kind = (hard if is_hard else "easy", strict if is_strict else "mild")
                _audit(
                    connection,
                    orchard,
                    block if is_hard else easy,
                    worker_id,
                    number,
                    faults=FAULTS[kind][number // 2 % 2],
                    auditor_id=(orchard.supervisor, orchard.owner)[is_strict].user_id,
                )
    return FairSeason(block, mostly_hard, mostly_easy)


def _audit(
    connection: sa.Connection,
    orchard: Orchard,
    block: BlockIds,
    worker_id: int,
    number: int,
    *,
    faults: int,
    auditor_id: int,
) -> None:
    lot = add_lot(
        connection,
        orchard,
        finished_at=day(1 + number, 14),
        row=number % len(block.row_ids),
        block=block,
    )
    add_audit(
        connection,
        orchard,
        trees(STAGE, worker_id, "x" * faults + "o" * (TREES - faults)),
        started_at=day(1 + number),
        lot_ids=lot,
        auditor_id=auditor_id,
    )


def second_block(database: Database, orchard: Orchard) -> BlockIds:
    """Plant a second block; it has the standard of the first."""
    block_id = farms.add_block(
        database,
        orchard.supervisor,
        name="Gravel Block",
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
        orchard.supervisor,
        block_id,
        first_number=1,
        last_number=4,
        start_end="north",
        tree_count=310,
        since=day(1).date().replace(year=2018),
        posts=32,
        trees_per_panel=10,
    )
    return BlockIds(block_id, row_ids, orchard.standard_id)
