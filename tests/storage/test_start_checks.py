"""Start checks through the services, on both databases: for coaching, never for a verdict."""

from datetime import UTC, datetime, timedelta
from itertools import count

import pytest
import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.services import auditing, farms, passes, sealing, start_checks
from audits.services.auditing import Device
from audits.storage import tables
from audits.storage.queries import audits as audit_queries
from audits.vocabulary import Fault, Method, PassKind, Result, Side, Stage
from tests.orchard import TREES_IN_ROW, Orchard, plant_orchard

NOW = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)
ALL_RIGHT = {"stages": {stage: {"kind": "class", "tap": "right"} for stage in Stage}}
TOO_HIGH = {
    "stages": ALL_RIGHT["stages"]
    | {Stage.TOP: {"kind": "class", "tap": "fault", "faults": [Fault.HIGH]}}
}


@pytest.fixture
def database(migrated_database):
    return migrated_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, NOW)


@pytest.fixture
def pass_id(database, orchard) -> int:
    return begin_pass(database, orchard)


@pytest.fixture
def ids():
    numbers = count(1)
    return lambda: f"id-{next(numbers)}"


@pytest.fixture
def begin(database, orchard, pass_id, ids):
    """Begin the start check of a worker, by default the first."""

    def begun(worker: int = 0, client_id: str | None = None) -> int:
        return start_checks.begin_start_check(
            database,
            orchard.supervisor,
            pass_id,
            worker_id=orchard.worker_ids[worker],
            client_id=client_id or ids(),
            device=Device("desk"),
            now=NOW,
        )

    return begun


@pytest.fixture
def score(database, orchard, ids):
    """Score a tree of a start check."""

    def scored(audit_id: int, position: int = 1, **changes):
        entered = {
            "row_id": orchard.row_ids[0],
            "position": position,
            "side": Side.LEFT,
            "answers": ALL_RIGHT,
            "client_id": ids(),
            "device": Device("desk"),
        }
        return start_checks.score_start_tree(
            database, orchard.supervisor, audit_id, now=NOW, **(entered | changes)
        )

    return scored


@pytest.fixture
def see(database, orchard):
    """Return a start check as it stands."""
    return lambda audit_id: start_checks.view_start_check(database, orchard.supervisor, audit_id)


def begin_pass(database, orchard) -> int:
    return passes.begin_pass(
        database,
        orchard.supervisor,
        block_id=orchard.block_id,
        crew_id=orchard.crew_id,
        kind=PassKind.DORMANT,
        method=Method.LADDER,
        row_ids=orchard.row_ids[:2],
        started_at=NOW - timedelta(minutes=30),
    )


def rows_of(database, table) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


# --- beginning ---------------------------------------------------------------------------------


def test_a_start_check_asks_for_the_stages_in_use_and_decides_nothing(begin, see, orchard):
    found = see(begin())
    assert found.view.book.draw.stages == tuple(Stage)
    assert found.view.standings == []
    assert found.worker.id == orchard.worker_ids[0]
    assert [row.id for row in found.rows] == orchard.row_ids[:2]


def test_beginning_twice_goes_on_with_the_same_start_check(begin):
    first = begin(client_id="phone-1")
    assert begin(client_id="phone-1") == first
    # Another phone finds the one that is still open.
    assert begin(client_id="phone-2") == first


def test_an_id_that_was_used_for_another_worker_is_refused(begin):
    begin(0, client_id="phone-1")
    with pytest.raises(Conflict, match="This page was used already"):
        begin(1, client_id="phone-1")


def test_each_worker_has_a_start_check_of_their_own(begin):
    assert begin(0) != begin(1)


def test_after_one_is_closed_a_worker_may_be_checked_again(begin, score, database, orchard):
    first = begin()
    for position in range(1, 4):
        score(first, position)
    start_checks.close_start_check(database, orchard.supervisor, first, NOW)
    assert begin() != first


def test_only_a_worker_of_the_crew_is_checked(database, orchard, pass_id):
    elsewhere = farms.add_crew(database, orchard.supervisor, name="Crew B")
    stranger = farms.add_worker(
        database, orchard.supervisor, code="B1", name="Ilse Morán", language="es", crew_id=elsewhere
    )
    with pytest.raises(InvalidInput) as refusal:
        start_checks.begin_start_check(
            database,
            orchard.supervisor,
            pass_id,
            worker_id=stranger,
            client_id="phone-1",
            device=Device("desk"),
            now=NOW,
        )
    assert {field: str(words) for field, words in refusal.value.problems.items()} == {
        "worker_id": "This worker is not in the crew of this pass."
    }
    assert rows_of(database, tables.draw) == rows_of(database, tables.audit) == 0


def test_other_farms_and_workers_stay_out(database, orchard, begin):
    audit_id = begin()
    other = plant_orchard(database, NOW, name="Cold Spring")
    with pytest.raises(NotFound):
        start_checks.view_start_check(database, other.supervisor, audit_id)
    with pytest.raises(NotAllowed):
        start_checks.view_start_check(database, orchard.worker, audit_id)
    with pytest.raises(NotFound):
        start_checks.close_start_check(database, other.supervisor, audit_id, NOW)


def test_an_audit_of_a_lot_is_no_start_check(database, orchard, pass_id, score):
    lot_id = passes.finish_row(database, orchard.supervisor, pass_id, orchard.row_ids[0], NOW)
    audit_id = auditing.begin_audit(
        database,
        orchard.supervisor,
        lot_id,
        seed=7,
        client_id="audit-1",
        device=Device("desk"),
        now=NOW,
    )
    with pytest.raises(NotFound):
        start_checks.view_start_check(database, orchard.supervisor, audit_id)
    with pytest.raises(NotFound):
        score(audit_id)


# --- trees -------------------------------------------------------------------------------------


def test_a_tree_belongs_to_the_worker_who_is_checked(begin, score, orchard):
    standing = score(begin(), answers=TOO_HIGH)
    assert {found.worker_id for found in standing.scores} == {orchard.worker_ids[0]}
    (top,) = [found for found in standing.scores if found.stage is Stage.TOP]
    assert (top.result, top.faults) == (Result.NONCONFORMING, (Fault.HIGH,))


def test_a_tree_entered_again_replaces_its_answers_and_its_side(begin, score):
    audit_id = begin()
    score(audit_id, answers=TOO_HIGH)
    standing = score(audit_id, side=Side.RIGHT)
    assert [(tree.position, tree.side) for tree in standing.walk] == [(1, Side.RIGHT)]
    assert {found.result for found in standing.scores} == {Result.CONFORMING}


def test_a_corrected_place_moves_the_tree(begin, score, orchard):
    audit_id = begin()
    wrong = score(audit_id, 7).walk[0].id
    standing = score(audit_id, 8, was=wrong, row_id=orchard.row_ids[1])
    assert [(tree.orchard_row_id, tree.position) for tree in standing.walk] == [
        (orchard.row_ids[1], 8)
    ]
    assert len(standing.answers) == 1


def test_a_correction_that_leaves_the_place_keeps_the_tree(begin, score):
    audit_id = begin()
    tree_id = score(audit_id, 7, answers=TOO_HIGH).walk[0].id
    score(audit_id, 8)
    standing = score(audit_id, 7, was=tree_id)
    # It stays the first of the two.
    assert [tree.position for tree in standing.walk] == [7, 8]
    assert standing.walk[0].id == tree_id
    assert {found.result for found in standing.scores} == {Result.CONFORMING}


def test_a_tree_taken_out_leaves_nothing_behind(begin, score, database, orchard):
    audit_id = begin()
    tree_id = score(audit_id).walk[0].id
    start_checks.take_out_start_tree(database, orchard.supervisor, audit_id, tree_id)
    for table in (tables.draw_tree, tables.tree_score, tables.stage_score):
        assert rows_of(database, table) == 0


def test_a_tree_of_another_start_check_cannot_be_taken_out(begin, score, database, orchard):
    tree_id = score(begin(0)).walk[0].id
    with pytest.raises(NotFound):
        start_checks.take_out_start_tree(database, orchard.supervisor, begin(1), tree_id)


@pytest.mark.parametrize(
    ("changes", "problems"),
    [
        ({"row_id": 0}, {"row_id": "Choose a row of this pass."}),
        ({"position": 0}, {"position": "Row 1 has trees 1 to 310 in this pass."}),
        (
            {"position": TREES_IN_ROW + 1},
            {"position": "Row 1 has trees 1 to 310 in this pass."},
        ),
    ],
)
def test_a_tree_outside_the_pass_is_refused(begin, score, database, changes, problems):
    audit_id = begin()
    with pytest.raises(InvalidInput) as refusal:
        score(audit_id, **changes)
    assert {field: str(words) for field, words in refusal.value.problems.items()} == problems
    assert rows_of(database, tables.draw_tree) == 0


def test_a_row_of_the_block_that_the_pass_leaves_out_is_refused(begin, score, orchard):
    with pytest.raises(InvalidInput, match="Choose a row of this pass"):
        score(begin(), row_id=orchard.row_ids[5])


def test_an_answer_that_cannot_be_taken_leaves_no_tree(begin, score, database):
    with pytest.raises(InvalidInput):
        score(begin(), answers={"stages": {Stage.TOP: {"kind": "class", "tap": "perhaps"}}})
    assert rows_of(database, tables.draw_tree) == 0


def test_five_trees_are_enough(begin, score, see):
    audit_id = begin()
    for position in range(1, 6):
        score(audit_id, position)
    assert not see(audit_id).takes_more
    with pytest.raises(Conflict, match="takes 5 trees at most"):
        score(audit_id, 6)
    # Correcting one of the five is no sixth.
    score(audit_id, 5, answers=TOO_HIGH)
    assert len(see(audit_id).view.answers) == 5


# --- closing -----------------------------------------------------------------------------------


def test_it_closes_from_three_trees_on(begin, score, see, database, orchard):
    audit_id = begin()
    for position in (1, 2):
        score(audit_id, position)
    assert not see(audit_id).may_close
    with pytest.raises(Conflict, match="Look at 3 trees at least"):
        start_checks.close_start_check(database, orchard.supervisor, audit_id, NOW)
    score(audit_id, 3)
    assert see(audit_id).may_close
    start_checks.close_start_check(database, orchard.supervisor, audit_id, NOW)
    assert see(audit_id).is_closed


def test_a_closed_start_check_changes_no_more(begin, score, database, orchard):
    audit_id = begin()
    for position in range(1, 4):
        tree_id = score(audit_id, position).walk[0].id
    start_checks.close_start_check(database, orchard.supervisor, audit_id, NOW)
    for use_case in (
        lambda: score(audit_id, 1, answers=TOO_HIGH),
        lambda: start_checks.take_out_start_tree(database, orchard.supervisor, audit_id, tree_id),
        lambda: start_checks.close_start_check(database, orchard.supervisor, audit_id, NOW),
    ):
        with pytest.raises(Conflict, match="closed already"):
            use_case()


def test_a_start_check_is_not_sealed_as_an_audit_is(begin, database, orchard):
    with pytest.raises(NotFound):
        sealing.seal_audit(database, orchard.supervisor, begin(), NOW)
    assert rows_of(database, tables.decision) == 0


def test_a_start_check_feeds_neither_verdicts_nor_trends(begin, score, database, orchard, pass_id):
    audit_id = begin()
    for position in range(1, 4):
        score(audit_id, position, answers=TOO_HIGH)
    start_checks.close_start_check(database, orchard.supervisor, audit_id, NOW)
    # Names on the row attribute its scores anew, and even then nothing is summed up.
    passes.assign(
        database,
        orchard.supervisor,
        pass_id,
        worker_id=orchard.worker_ids[1],
        row_id=orchard.row_ids[0],
        stages=list(Stage),
    )
    assert rows_of(database, tables.rollup) == rows_of(database, tables.decision) == 0
    with database.read() as connection:
        scores = audit_queries.current_stage_scores(connection, orchard.farm_id, audit_id)
    assert {found.worker_id for found in scores} == {orchard.worker_ids[0]}
