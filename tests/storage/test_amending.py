"""Amendments on both databases: a new version beside the old one, and a verdict as amended."""

from datetime import timedelta
from uuid import uuid4

import pytest

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.services import amending, auditing, planning
from audits.services.verdicts import view_verdict
from audits.storage.queries import audits as queries
from audits.vocabulary import Fault, LotState, Outcome, Result, Stage
from tests.orchard import Orchard, plant_orchard
from tests.row_audit import (
    AUDITED,
    PHONE,
    assign_halves,
    audited,
    begin,
    fault,
    first_trees,
    prune,
    right,
    walk,
)

HIGH = {"top": fault(Fault.HIGH)}
LATER = AUDITED + timedelta(days=1)


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, AUDITED)


@pytest.fixture
def pruned(database, orchard):
    return prune(database, orchard)


@pytest.fixture
def audit_id(database, orchard, pruned) -> int:
    """A sealed, accepted audit with as many high trees as are just allowed."""
    return audited(database, orchard, pruned.lot_ids[0], first_trees(4, **HIGH))


def trees(database, orchard, audit_id):
    return auditing.view_audit(database, orchard.supervisor, audit_id).walk


def amend(database, orchard, audit_id, tree_id, answers, **details):
    amending.amend_tree(
        database,
        details.pop("actor", orchard.supervisor),
        audit_id,
        tree_id,
        answers=answers,
        reason=details.pop("reason", "Looked at the wrong pole mark"),
        client_id=details.pop("client_id", str(uuid4())),
        device=PHONE,
        now=LATER,
    )


def verdict_of(database, orchard, audit_id):
    return view_verdict(database, orchard.supervisor, audit_id)


def top_line(database, orchard, audit_id):
    with database.read() as connection:
        rows = queries.rollups(connection, orchard.farm_id, audit_id)
    return [row for row in rows if row.stage is Stage.TOP]


def test_the_old_version_stays_readable_beside_the_new_one(database, orchard, audit_id):
    tree = trees(database, orchard, audit_id)[10]
    amend(database, orchard, audit_id, tree.id, right(**HIGH))
    view = verdict_of(database, orchard, audit_id)
    first, second = view.versions[tree.id]
    assert (first.version, first.reason, first.amended_by) == (1, None, None)
    assert (second.version, second.reason, second.amended_by) == (
        2,
        "Looked at the wrong pole mark",
        orchard.supervisor.user_id,
    )
    assert first.answers["stages"]["top"]["tap"] == "right"
    assert second.recorded_at == LATER
    # Trends count trees in the order in which they were scored, whenever they were amended.
    assert second.scoring_order == first.scoring_order
    results = [
        [score.result for score in view.version_scores[row.id] if score.stage is Stage.TOP]
        for row in (first, second)
    ]
    assert results == [[Result.CONFORMING], [Result.NONCONFORMING]]


def test_the_current_result_is_the_latest_amendment(database, orchard, audit_id):
    tree = trees(database, orchard, audit_id)[0]
    for answers in (right(), right(top=fault(Fault.LOW)), right()):
        amend(database, orchard, audit_id, tree.id, answers)
    view = auditing.view_audit(database, orchard.supervisor, audit_id)
    assert view.standings[0].tally.nonconforming == 3
    assert len(view.scores) == len(view.answers) * len(Stage)
    assert len(verdict_of(database, orchard, audit_id).versions[tree.id]) == 4


def test_the_verdict_as_issued_stays_beside_the_one_as_amended(database, orchard, audit_id, pruned):
    tree = trees(database, orchard, audit_id)[10]
    amend(database, orchard, audit_id, tree.id, right(**HIGH))
    view = verdict_of(database, orchard, audit_id)
    issued, amended = (
        {verdict.stage: verdict for verdict in view.decided(version)} for version in (1, 2)
    )
    assert (issued[Stage.TOP].outcome, issued[Stage.TOP].nonconforming) == (Outcome.ACCEPTED, 4)
    assert (amended[Stage.TOP].outcome, amended[Stage.TOP].nonconforming) == (
        Outcome.NOT_ACCEPTED,
        5,
    )
    assert (issued[None].outcome, amended[None].outcome) == (
        Outcome.ACCEPTED,
        Outcome.NOT_ACCEPTED,
    )
    assert [standing.tally.nonconforming for standing in view.issued] == [4, 0, 0, 0]
    with database.read() as connection:
        lot = planning.the_lot(connection, orchard.farm_id, pruned.lot_ids[0])
    assert lot.state is LotState.ACCEPTED


def test_what_was_issued_reads_as_it_did_then(database, orchard, audit_id):
    before = [str(s.verdict.reason) for s in verdict_of(database, orchard, audit_id).issued]
    for tree in trees(database, orchard, audit_id)[:3]:
        amend(database, orchard, audit_id, tree.id, right(columns=fault(Fault.FORK)))
    after = [str(s.verdict.reason) for s in verdict_of(database, orchard, audit_id).issued]
    assert after == before


def test_roll_ups_follow_in_the_same_step(database, orchard, audit_id):
    assert [line.nonconforming for line in top_line(database, orchard, audit_id)] == [4]
    amend(database, orchard, audit_id, trees(database, orchard, audit_id)[0].id, right())
    assert [line.nonconforming for line in top_line(database, orchard, audit_id)] == [3]


def test_the_person_who_answers_for_the_tree_keeps_the_result(database, orchard, pruned):
    ana, _ = assign_halves(database, orchard, pruned)
    audit_id = audited(database, orchard, pruned.lot_ids[0])
    amend(database, orchard, audit_id, trees(database, orchard, audit_id)[0].id, right(**HIGH))
    sums = {row.worker_id: row.nonconforming for row in top_line(database, orchard, audit_id)}
    assert sums[ana] == 1


def test_an_amendment_that_changes_no_verdict_writes_none(database, orchard, audit_id):
    tree = trees(database, orchard, audit_id)[10]
    amend(
        database,
        orchard,
        audit_id,
        tree.id,
        right(top={"kind": "top", "height_mm": 3_017.0}),
    )
    view = verdict_of(database, orchard, audit_id)
    assert {verdict.version for verdict in view.decisions} == {1}
    assert len(view.versions[tree.id]) == 2


def test_a_change_of_the_leading_fault_alone_is_a_change(database, orchard, audit_id):
    for tree in trees(database, orchard, audit_id)[:3]:
        amend(database, orchard, audit_id, tree.id, right(top=fault(Fault.LOW)))
    latest = verdict_of(database, orchard, audit_id).decisions[-5]
    assert (latest.stage, latest.nonconforming, latest.leading_fault) == (Stage.TOP, 4, Fault.LOW)


def test_sending_it_twice_amends_once(database, orchard, audit_id):
    tree = trees(database, orchard, audit_id)[0]
    client_id = str(uuid4())
    amend(database, orchard, audit_id, tree.id, right(), client_id=client_id)
    amend(database, orchard, audit_id, tree.id, right(**HIGH))
    # A copy of the first one that arrives late changes nothing either.
    amend(database, orchard, audit_id, tree.id, right(), client_id=client_id)
    versions = verdict_of(database, orchard, audit_id).versions[tree.id]
    assert [row.version for row in versions] == [1, 2, 3]
    assert versions[-1].answers["stages"]["top"]["tap"] == "fault"


def test_an_id_that_was_used_for_another_tree_is_refused(database, orchard, audit_id):
    one, other = trees(database, orchard, audit_id)[:2]
    client_id = str(uuid4())
    amend(database, orchard, audit_id, one.id, right(), client_id=client_id)
    with pytest.raises(Conflict, match="another tree"):
        amend(database, orchard, audit_id, other.id, right(), client_id=client_id)


@pytest.mark.parametrize("reason", ["", "  \n "])
def test_without_a_reason_nothing_is_changed(database, orchard, audit_id, reason):
    tree = trees(database, orchard, audit_id)[0]
    with pytest.raises(InvalidInput) as refusal:
        amend(database, orchard, audit_id, tree.id, right(), reason=reason)
    assert set(refusal.value.problems) == {"reason"}
    assert verdict_of(database, orchard, audit_id).versions == {}


def test_answers_that_cannot_be_taken_change_nothing(database, orchard, audit_id):
    tree = trees(database, orchard, audit_id)[0]
    with pytest.raises(InvalidInput) as refusal:
        amend(database, orchard, audit_id, tree.id, right(top=fault(Fault.FORK)))
    assert set(refusal.value.problems) == {"top"}
    assert verdict_of(database, orchard, audit_id).versions == {}


def test_an_open_audit_is_entered_again_instead(database, orchard, pruned):
    audit_id = begin(database, orchard, pruned.lot_ids[0])
    tree = walk(database, orchard, audit_id, most=1).walk[0]
    with pytest.raises(Conflict, match="still open"):
        amend(database, orchard, audit_id, tree.id, right())


def test_a_tree_that_was_not_scored_has_nothing_to_amend(database, orchard, audit_id):
    draw_id = auditing.view_audit(database, orchard.supervisor, audit_id).book.draw.id
    with database.read() as connection:
        reserve = queries.draw_trees(connection, orchard.farm_id, draw_id)[-1]
    with pytest.raises(NotFound, match="not scored"):
        amend(database, orchard, audit_id, reserve.id, right())


def test_workers_cannot_amend(database, orchard, audit_id):
    tree = trees(database, orchard, audit_id)[0]
    with pytest.raises(NotAllowed):
        amend(database, orchard, audit_id, tree.id, right(), actor=orchard.worker)
