"""Each audit walks its own way: what one person replaces changes nothing for another."""

import pytest
import sqlalchemy as sa

from audits.errors import Conflict
from audits.records import DrawTree
from audits.services import auditing, farms
from audits.services.auditing import Device
from audits.services.lots import view_lot
from audits.services.rescoring import check_scores
from audits.services.verdicts import view_verdict
from audits.storage.queries import audits as queries
from audits.storage.tables import draw_tree, replacement
from audits.vocabulary import Fault, LotState, Outcome, PlantingKind, Stage
from tests.orchard import plant_orchard
from tests.row_audit import (
    AUDITED,
    PHONE,
    PRUNED_FROM,
    begin,
    enter,
    fault,
    prune,
    right,
    seal,
    walk,
)

HIGH = {"top": fault(Fault.HIGH)}
OTHER = Device("phone-2")


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database):
    return plant_orchard(database, AUDITED)


@pytest.fixture
def lot_id(database, orchard):
    return prune(database, orchard).lot_ids[0]


@pytest.fixture
def audits(database, orchard, lot_id):
    """Two audits of one draw by one person, on two phones."""
    return [begin(database, orchard, lot_id, device=device) for device in (PHONE, OTHER)]


def view_of(database, orchard, audit_id):
    return auditing.view_audit(database, orchard.supervisor, audit_id)


def replace(database, orchard, audit_id, tree, kind=PlantingKind.DEAD) -> DrawTree | None:
    return auditing.replace_tree(database, orchard.supervisor, audit_id, tree.id, kind)


def drawn(database, orchard, audit_id):
    with database.read() as connection:
        found = queries.audit_by_id(connection, orchard.farm_id, audit_id)
        return queries.draw_trees(connection, orchard.farm_id, found.draw_id)


def test_another_audit_goes_on_with_the_walk_it_had(database, orchard, audits):
    one, other = audits
    before = view_of(database, orchard, other)
    trees = drawn(database, orchard, one)
    gone = before.walk[3]
    enter(database, orchard, other, gone.id, right(**HIGH))
    replace(database, orchard, one, gone)
    after = view_of(database, orchard, other)
    assert after.walk == before.walk
    assert after.reserve_left == before.reserve_left
    assert set(after.answers) == {gone.id}
    assert drawn(database, orchard, one) == trees
    assert gone.id not in {tree.id for tree in view_of(database, orchard, one).walk}


def test_both_may_take_the_same_reserve_tree_for_different_trees(database, orchard, audits):
    one, other = audits
    first, second = view_of(database, orchard, one).walk[:2]
    taken = [replace(database, orchard, one, first), replace(database, orchard, other, second)]
    assert taken[0].id == taken[1].id
    for audit_id, gone in ((one, first), (other, second)):
        view = walk(database, orchard, audit_id)
        assert gone.id not in view.answers
        assert seal(database, orchard, audit_id).outcome is Outcome.ACCEPTED
    assert check_scores(database, orchard.farm_id).differences == []


def test_an_audit_that_is_sealed_keeps_a_tree_that_another_finds_to_be_none(
    database, orchard, audits
):
    one, other = audits
    walk(database, orchard, one)
    sealed = seal(database, orchard, one)
    replace(database, orchard, other, view_of(database, orchard, other).walk[0])
    after = view_of(database, orchard, one)
    assert (after.walk, after.scores) == (sealed.walk, sealed.scores)
    assert view_verdict(database, orchard.supervisor, one).decisions
    assert check_scores(database, orchard.farm_id).differences == []


def test_a_tree_taken_on_the_way_back_counts_in_that_wave(database, orchard, lot_id):
    """The planted defect is the reserve tree's own wave, which is always the first."""
    audit_id = begin(database, orchard, lot_id)
    # Columns stay open after the first wave, so that the walk goes on.
    forked = right(columns=fault(Fault.FORK))
    first = sum(tree.wave == 1 for tree in view_of(database, orchard, audit_id).walk)
    walk(database, orchard, audit_id, lambda n: forked if n <= 3 else right(), most=first)
    gone = view_of(database, orchard, audit_id).next_tree
    assert gone.wave == 2
    taken = replace(database, orchard, audit_id, gone)
    again = replace(database, orchard, audit_id, taken)
    assert (taken.wave, again.wave) == (2, 2)
    view = enter(database, orchard, audit_id, again.id, right(**HIGH))
    assert [score.wave for score in view.scores][-len(Stage) :] == [2] * len(Stage)
    columns = next(at for at in view.standings if at.stage is Stage.COLUMNS)
    assert [tally.scored for tally in columns.tallies] == [first, 1]
    stored = next(tree for tree in drawn(database, orchard, audit_id) if tree.id == again.id)
    assert stored.wave == 1
    walk(database, orchard, audit_id)
    seal(database, orchard, audit_id)
    assert check_scores(database, orchard.farm_id).differences == []


def test_a_chain_of_replacements_keeps_the_size_of_the_sample(database, orchard, lot_id):
    audit_id = begin(database, orchard, lot_id)
    before = view_of(database, orchard, audit_id)
    gone = before.walk[0]
    for number in range(1, before.reserve_left + 1):
        gone = replace(database, orchard, audit_id, gone)
        view = view_of(database, orchard, audit_id)
        assert view.reserve_left == before.reserve_left - number
        assert len(view.walk) == len(before.walk)
        assert [tree.walk_order for tree in view.walk] == list(range(1, len(view.walk) + 1))
    assert not view.given_up


def test_giving_up_ends_the_draw_for_everybody(database, orchard, lot_id, audits):
    one, other = audits
    kept = view_of(database, orchard, other).walk[0]
    enter(database, orchard, other, kept.id, right())
    substitute = object()
    while substitute is not None:
        substitute = replace(database, orchard, one, view_of(database, orchard, one).walk[1])
    assert all(view_of(database, orchard, audit_id).given_up for audit_id in audits)
    with pytest.raises(Conflict, match="reserve"):
        enter(database, orchard, other, kept.id, right(**HIGH))
    lot = view_lot(database, orchard.supervisor, lot_id)
    assert lot.lot.state is LotState.WAITING
    assert lot.draws[-1].given_up
    # What was answered stays readable.
    assert set(view_of(database, orchard, other).answers) == {kept.id}


def test_a_draw_is_given_up_too_where_what_came_instead_was_none_either(
    database, orchard, lot_id, audits
):
    one, other = audits
    gone = view_of(database, orchard, one).walk[0]
    # The other audit has replaced the same tree before.
    replace(database, orchard, other, gone)
    while (instead := replace(database, orchard, one, gone)) is not None:
        gone = instead
    assert all(view_of(database, orchard, audit_id).given_up for audit_id in audits)
    lot = view_lot(database, orchard.supervisor, lot_id)
    assert (lot.lot.state, lot.draws[-1].given_up) == (LotState.WAITING, True)


def test_a_draw_on_which_a_verdict_rests_is_not_given_up(database, orchard, audits):
    one, other = audits
    walk(database, orchard, one)
    seal(database, orchard, one)
    for _ in range(view_of(database, orchard, other).reserve_left):
        replace(database, orchard, other, view_of(database, orchard, other).walk[0])
    with pytest.raises(Conflict, match="used up"):
        replace(database, orchard, other, view_of(database, orchard, other).walk[0])
    assert not view_of(database, orchard, other).given_up


def test_the_map_is_put_right_by_either_audit(database, orchard, audits):
    gone = []
    for audit_id in audits:
        tree = view_of(database, orchard, audit_id).walk[len(gone)]
        replace(database, orchard, audit_id, tree, PlantingKind.MISSING)
        gone.append(tree.position)
    with database.read() as connection:
        bearing = farms.bearing_positions(
            connection, orchard.farm_id, orchard.row_ids[0], PRUNED_FROM.date()
        )
    assert not set(gone) & set(bearing)


def test_draws_in_which_trees_were_replaced_for_everybody_stay_valid(database, orchard, audits):
    """As they were stored before walks belonged to audits."""
    trees = drawn(database, orchard, audits[0])
    gone, taken = trees[0], next(tree for tree in trees if tree.walk_order is None)
    with database.write() as connection:
        for tree, values in (
            (gone, {"found_kind": PlantingKind.DEAD}),
            (taken, {"walk_order": len(trees) + 1, "wave": 2}),
        ):
            connection.execute(draw_tree.update().where(draw_tree.c.id == tree.id).values(**values))
    for audit_id in audits:
        view = view_of(database, orchard, audit_id)
        assert not view.given_up
        assert gone.id not in {tree.id for tree in view.walk}
        assert view.walk[-1].id == taken.id
    one = audits[0]
    instead = replace(database, orchard, one, view_of(database, orchard, one).walk[0])
    view = view_of(database, orchard, one)
    assert instead.id not in {taken.id, gone.id}
    assert len(view.walk) == len(view_of(database, orchard, audits[1]).walk)
    assert not view.given_up


def test_a_replacement_is_stored_once_and_names_what_stood_there(database, orchard, audits):
    one, _ = audits
    gone = view_of(database, orchard, one).walk[0]
    taken = replace(database, orchard, one, gone, PlantingKind.POLLINIZER)
    with database.read() as connection:
        rows = queries.replacements(connection, orchard.farm_id, one)
        assert connection.scalar(sa.select(sa.func.count()).select_from(replacement)) == 1
    assert [(row.number, row.draw_tree_id, row.found_kind, row.instead_id) for row in rows] == [
        (1, gone.id, PlantingKind.POLLINIZER, taken.id)
    ]
