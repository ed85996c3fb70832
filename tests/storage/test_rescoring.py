"""Stored equals recomputed, and a planted difference of each kind is found."""

import pytest

from audits.services import rescoring
from audits.storage.tables import decision, rollup, stage_score, tree_score
from audits.vocabulary import Fault, Outcome, Result, Stage
from tests.orchard import Orchard, plant_orchard
from tests.row_audit import (
    AUDITED,
    assign_halves,
    audited,
    begin,
    fault,
    first_trees,
    prune,
    right,
    walk,
)
from tests.storage.test_amending import amend, trees


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, AUDITED)


@pytest.fixture
def audit_id(database, orchard) -> int:
    """A sealed audit with names and one amendment; beside it an open one."""
    pruned = prune(database, orchard, rows=2)
    sealed = audited(
        database,
        orchard,
        pruned.lot_ids[0],
        first_trees(3, top={"kind": "top", "height_mm": 3_300}),
    )
    amend(
        database,
        orchard,
        sealed,
        trees(database, orchard, sealed)[5].id,
        right(columns=fault(Fault.FORK)),
    )
    assign_halves(database, orchard, pruned)
    walk(database, orchard, begin(database, orchard, pruned.lot_ids[1]), most=4)
    return sealed


def check(database, orchard):
    return rescoring.check_scores(database, orchard.farm_id)


def spoil(database, table, values, *conditions):
    with database.write() as connection:
        changed = connection.execute(table.update().where(*conditions).values(**values))
        assert changed.rowcount >= 1


def test_what_the_services_store_equals_its_recomputation(database, orchard, audit_id):
    report = check(database, orchard)
    assert report.differences == []
    assert (report.audits, report.trees) == (2, len(trees(database, orchard, audit_id)) + 4)


def test_progress_is_told_audit_by_audit(database, orchard, audit_id):
    told = []
    rescoring.check_scores(database, orchard.farm_id, lambda done, of: told.append((done, of)))
    assert told == [(1, 2), (2, 2)]
    assert audit_id


def planted_differences():
    is_top = stage_score.c.stage == Stage.TOP
    tops = decision.c.stage == Stage.TOP
    shared_or_named = rollup.c.stage == Stage.LIMBS
    return [
        ("result", stage_score, {"result": Result.NOT_DUE}, [is_top], "top"),
        ("faults", stage_score, {"faults": (Fault.LOW,)}, [is_top], "top"),
        ("stage points", stage_score, {"points": 1.0}, [is_top], "top"),
        ("worker", stage_score, {"worker_id": None}, [is_top], "worker"),
        ("tree points", tree_score, {"points": 12.0}, [tree_score.c.version == 1], "points"),
        ("sums", rollup, {"nonconforming": 7}, [shared_or_named], "roll-up"),
        ("verdict", decision, {"outcome": Outcome.NOT_ACCEPTED}, [tops], "verdict"),
        ("leading fault", decision, {"leading_fault": Fault.LOW}, [tops], "verdict"),
    ]


@pytest.mark.parametrize(
    ("table", "values", "conditions", "where"),
    [pytest.param(*planted[1:], id=planted[0]) for planted in planted_differences()],
)
def test_a_planted_difference_is_found(
    database, orchard, audit_id, table, values, conditions, where
):
    spoil(database, table, values, *conditions)
    found = check(database, orchard).differences
    assert any(where in difference.where for difference in found)
    assert all(difference.stored != difference.recomputed for difference in found)
    assert audit_id in {difference.audit_id for difference in found}


def test_changed_answers_are_found(database, orchard, audit_id):
    conditions = [tree_score.c.audit_id == audit_id, tree_score.c.scoring_order == 4]
    changed = right(limbs=fault(Fault.TORN_BARK))
    spoil(database, tree_score, {"answers": {"missed": None, **changed}}, *conditions)
    places = [difference.where for difference in check(database, orchard).differences]
    assert any(place.endswith("limbs") for place in places)


def test_an_amended_version_that_was_tampered_with_is_found(database, orchard, audit_id):
    """Amendments leave the old version as it was; so must everybody else."""
    with database.read() as connection:
        (old,) = connection.scalars(
            tree_score.select()
            .with_only_columns(tree_score.c.id)
            .where(
                tree_score.c.audit_id == audit_id,
                tree_score.c.version == 1,
                tree_score.c.draw_tree_id == trees(database, orchard, audit_id)[5].id,
            )
        )
    spoil(
        database,
        stage_score,
        {"result": Result.NONCONFORMING},
        stage_score.c.tree_score_id == old,
        stage_score.c.stage == Stage.COLUMNS,
    )
    assert any("version 1" in found.where for found in check(database, orchard).differences)


def test_a_lost_stage_score_is_found(database, orchard, audit_id):
    with database.write() as connection:
        connection.execute(stage_score.delete().where(stage_score.c.stage == Stage.HEADING))
    found = check(database, orchard).differences
    assert any(difference.stored == "nothing" for difference in found)
    assert audit_id


def test_a_lost_roll_up_is_found(database, orchard, audit_id):
    with database.write() as connection:
        connection.execute(rollup.delete().where(rollup.c.stage == Stage.HEADING))
    found = check(database, orchard).differences
    assert {difference.where.split()[0] for difference in found} == {"roll-up"}
    assert audit_id


def test_another_farms_audits_are_left_alone(database, audit_id):
    other = plant_orchard(database, AUDITED, name="Cold Spring")
    assert check(database, other).audits == 0
    assert audit_id
