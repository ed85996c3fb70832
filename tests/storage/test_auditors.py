"""An audit is one person's; what two passes cut is the crew's; an amendment takes nothing away."""

import pytest

from audits.errors import InvalidInput, NotAllowed
from audits.services import amending, auditing, farms, passes, sealing, standards
from audits.services.auditing import TreeEntry
from audits.storage.queries import audits as audit_queries
from audits.storage.queries import passes as pass_queries
from audits.vocabulary import BearingHabit, Fault, HeadingRule, PlantingKind, Stage
from tests.orchard import plant_orchard
from tests.row_audit import (
    AUDITED,
    PHONE,
    audited,
    begin,
    enter,
    fault,
    first_trees,
    mend,
    prune,
    right,
)


@pytest.fixture
def orchard(quick_database):
    return plant_orchard(quick_database, AUDITED)


@pytest.fixture
def pruned(quick_database, orchard):
    return prune(quick_database, orchard)


def test_nobody_goes_on_with_somebody_elses_audit(quick_database, orchard, pruned):
    audit_id = begin(quick_database, orchard, pruned.lot_ids[0])
    tree = auditing.view_audit(quick_database, orchard.owner, audit_id).next_tree
    entry = TreeEntry(tree.id, "another-phone", right(), PHONE)
    steps = [
        lambda: auditing.record_trees(quick_database, orchard.owner, audit_id, [entry], AUDITED),
        lambda: auditing.undo_last_tree(quick_database, orchard.owner, audit_id),
        lambda: auditing.replace_tree(
            quick_database, orchard.owner, audit_id, tree.id, PlantingKind.DEAD
        ),
        lambda: sealing.seal_audit(quick_database, orchard.owner, audit_id, AUDITED),
    ]
    for step in steps:
        with pytest.raises(NotAllowed, match="Somebody else"):
            step()
    view = auditing.view_audit(quick_database, orchard.supervisor, audit_id)
    assert view.answered == {}
    assert enter(quick_database, orchard, audit_id, tree.id, right()).answered


def test_what_a_re_audit_finds_is_the_crews(quick_database, orchard, pruned):
    passes.assign(
        quick_database,
        orchard.supervisor,
        pruned.pass_id,
        worker_id=orchard.worker_ids[0],
        row_id=orchard.row_ids[0],
        stages=[Stage.TOP],
    )
    lot_id = pruned.lot_ids[0]
    first = audited(quick_database, orchard, lot_id, first_trees(9, top=fault(Fault.HIGH)))
    with quick_database.read() as connection:
        order = pass_queries.rework_orders_of_lot(connection, orchard.farm_id, lot_id)[0]
    mend(quick_database, orchard, order.id)
    second = audited(quick_database, orchard, lot_id, lambda _number: right(Stage.TOP))
    with quick_database.read() as connection:
        workers = [
            {
                score.worker_id
                for score in audit_queries.current_stage_scores(
                    connection, orchard.farm_id, audit_id
                )
                if score.stage is Stage.TOP
            }
            for audit_id in (first, second)
        ]
    assert workers == [{orchard.worker_ids[0]}, {None}]


def test_an_amendment_takes_no_answer_away(quick_database, orchard, pruned):
    audit_id = audited(quick_database, orchard, pruned.lot_ids[0])
    tree = auditing.view_audit(quick_database, orchard.supervisor, audit_id).walk[0]
    with pytest.raises(InvalidInput) as refused:
        amending.amend_tree(
            quick_database,
            orchard.supervisor,
            audit_id,
            tree.id,
            answers=right(Stage.TOP),
            reason="the others were a slip",
            client_id="amendment",
            device=PHONE,
            now=AUDITED,
        )
    assert set(refused.value.problems) == {Stage.LIMBS, Stage.COLUMNS, Stage.HEADING}


def test_heading_cannot_be_required_of_a_tip_bearer(quick_database, orchard):
    block_id = farms.add_block(
        quick_database,
        orchard.owner,
        name="Tip Block",
        cultivar="Hollow Tip",
        habit=BearingHabit.TIP,
        rootstock="M.9",
        row_spacing_mm=3_350.0,
        tree_spacing_mm=900.0,
    )
    with quick_database.read() as connection:
        block = farms.the_block(connection, orchard.farm_id, block_id)
    payload = standards.propose_standard(block).model_dump(mode="json")
    assert payload["heading"]["rule"] == HeadingRule.FORBIDDEN
    payload["heading"]["rule"] = HeadingRule.REQUIRED
    with pytest.raises(InvalidInput) as refused:
        standards.write_standard(
            quick_database,
            orchard.owner,
            block_id,
            payload=payload,
            in_force_from=AUDITED.date(),
            now=AUDITED,
        )
    assert set(refused.value.problems) == {"heading.rule"}
