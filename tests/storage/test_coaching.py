"""Learning stage by stage and trainings, on both databases."""

from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.records import Actor
from audits.services import sign_offs, training
from audits.storage.tables import audit, stage_learning, training_event
from audits.training_effect import EffectLevel
from audits.vocabulary import Purpose, Role, Stage, TrainingKind
from tests.orchard import plant_orchard
from tests.scored_season import SEASON, add_audit, add_lot, amend_tree, day, right, trees

NOW = datetime(2026, 1, 28, 17, tzinfo=UTC)
TODAY = date(2026, 1, 28)
TOP, LIMBS = Stage.TOP, Stage.LIMBS


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database):
    return plant_orchard(database, NOW)


@pytest.fixture
def worker_id(orchard):
    return orchard.worker_ids[0]


def score(database, orchard, worker_id, number, pattern, *, stage=TOP, **options):
    with database.write() as connection:
        ids = add_audit(
            connection,
            orchard,
            trees(stage, worker_id, pattern),
            started_at=day(number),
            row=number % len(orchard.row_ids),
            **options,
        )
        if options.get("purpose") is Purpose.START_CHECK:
            of_draw = audit.c.draw_id == ids.draw_id
            connection.execute(audit.update().where(of_draw).values(worker_id=worker_id))
    return ids


def begin(database, orchard, worker_id, stage=TOP, begun_on=date(2026, 1, 5)):
    sign_offs.begin_stage(
        database, orchard.supervisor, worker_id, stage=stage, begun_on=begun_on, now=NOW
    )


def progress(database, orchard, worker_id, stage=TOP):
    view = sign_offs.view_learning(database, orchard.supervisor, worker_id)
    return next(each for each in view.stages if each.stage is stage)


def sign(database, orchard, worker_id, stage=TOP):
    sign_offs.sign_off(database, orchard.supervisor, worker_id, stage=stage, now=NOW)


def test_trees_count_since_the_day_from_closed_start_checks_and_first_audits(
    database, orchard, worker_id
):
    begin(database, orchard, worker_id)
    score(database, orchard, worker_id, 4, "xxxx")
    score(database, orchard, worker_id, 5, "xoo", purpose=Purpose.START_CHECK)
    score(database, orchard, worker_id, 6, "xxx", purpose=Purpose.START_CHECK, sealed=False)
    score(database, orchard, worker_id, 7, "xx", purpose=Purpose.RE_AUDIT)
    score(database, orchard, worker_id, 8, "o-x")
    score(database, orchard, orchard.worker_ids[1], 9, "xx")
    score(database, orchard, None, 10, "xx")
    found = progress(database, orchard, worker_id)
    assert found.outcomes == (True, False, False, False, True)
    assert (found.rule.trees, found.met_at) == (20, None)
    assert found.version.id == orchard.standard_id


def test_an_amended_tree_counts_as_it_stands_now(database, orchard, worker_id):
    begin(database, orchard, worker_id)
    ids = score(database, orchard, worker_id, 8, "oxo")
    with database.write() as connection:
        amend_tree(connection, orchard, ids, 2, {TOP: right(worker_id)})
    assert progress(database, orchard, worker_id).outcomes == (False, False, False)


def test_nothing_is_signed_before_the_rule_is_met(database, orchard, worker_id):
    begin(database, orchard, worker_id)
    score(database, orchard, worker_id, 8, "o" * 18 + "x")
    with pytest.raises(Conflict, match="not met yet"):
        sign(database, orchard, worker_id)
    assert progress(database, orchard, worker_id).is_open


def test_a_signature_keeps_its_person_trees_faults_and_standard(database, orchard, worker_id):
    begin(database, orchard, worker_id)
    score(database, orchard, worker_id, 8, "xx" + "o" * 19 + "xo")
    sign(database, orchard, worker_id)
    found = progress(database, orchard, worker_id)
    kept = found.learning
    assert (kept.signed_off_at, kept.signed_off_by) == (NOW, orchard.supervisor.user_id)
    assert (kept.trees, kept.nonconforming) == (20, 1)
    assert kept.standard_version_id == orchard.standard_id
    assert (found.met_at, found.since_met) == (21, (True, False))
    with pytest.raises(Conflict, match="not being learned now"):
        sign(database, orchard, worker_id)
    with pytest.raises(Conflict, match="not being learned now"):
        sign_offs.take_back_stage(database, orchard.supervisor, worker_id, stage=TOP)


def test_one_stage_at_a_time_and_each_once(database, orchard, worker_id):
    begin(database, orchard, worker_id)
    with pytest.raises(Conflict, match="One stage at a time: Top"):
        begin(database, orchard, worker_id, LIMBS)
    sign_offs.take_back_stage(database, orchard.supervisor, worker_id, stage=TOP)
    begin(database, orchard, worker_id, LIMBS)
    score(database, orchard, worker_id, 8, "o" * 20, stage=LIMBS)
    sign(database, orchard, worker_id, LIMBS)
    with pytest.raises(Conflict, match="begun before"):
        begin(database, orchard, worker_id, LIMBS)
    begin(database, orchard, worker_id)


@pytest.mark.parametrize("begun_on", [date(2026, 1, 29), date(2025, 12, 1)])
def test_a_day_to_come_or_long_past_is_refused(database, orchard, worker_id, begun_on):
    with pytest.raises(InvalidInput) as caught:
        begin(database, orchard, worker_id, begun_on=begun_on)
    assert set(caught.value.problems) == {"begun_on"}
    with database.read() as connection:
        assert not connection.scalar(sa.select(sa.func.count()).select_from(stage_learning))


def test_workers_see_their_own_and_sign_nothing(database, orchard, worker_id):
    begin(database, orchard, worker_id)
    assert sign_offs.view_learning(database, orchard.worker, worker_id).open_stage is TOP
    with pytest.raises(NotAllowed):
        sign_offs.view_learning(database, orchard.worker, orchard.worker_ids[1])
    with pytest.raises(NotAllowed):
        sign_offs.sign_off(database, orchard.worker, worker_id, stage=TOP, now=NOW)
    boss = orchard.supervisor
    both = Actor(boss.user_id, boss.farm_id, boss.name, Role.SUPERVISOR, "en", worker_id)
    with pytest.raises(NotAllowed, match="Somebody else"):
        sign_offs.sign_off(database, both, worker_id, stage=TOP, now=NOW)


def note(database, orchard, worker_ids, *, held_on=date(2026, 1, 10), **changes):
    entry = {"stage": TOP, "kind": TrainingKind.IN_ROW, "note": "", **changes}
    return training.note_training(
        database, orchard.supervisor, NOW, worker_ids=worker_ids, held_on=held_on, **entry
    )


def events(database):
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(training_event))


def test_several_people_are_noted_at_once_or_nobody(database, orchard):
    for _tap in range(2):
        assert note(database, orchard, orchard.worker_ids[:3] + orchard.worker_ids[:1]) == 3
    assert events(database) == 3
    for worker_ids, held_on, text, field in (
        ([], date(2026, 1, 10), "", "worker_ids"),
        ([orchard.worker_ids[0], 9_999], date(2026, 1, 10), "", "worker_ids"),
        (orchard.worker_ids, date(2026, 1, 29), "", "held_on"),
        (orchard.worker_ids, date(2026, 1, 10), "x" * 401, "note"),
    ):
        with pytest.raises(InvalidInput) as caught:
            note(database, orchard, worker_ids, held_on=held_on, note=text)
        assert set(caught.value.problems) == {field}
    assert events(database) == 3


def test_before_and_after_go_by_the_day_on_which_the_row_was_finished(database, orchard, worker_id):
    note(database, orchard, [worker_id])
    for number in (7, 8, 9):
        score(database, orchard, worker_id, number, "xxoooooooo")
    score(database, orchard, worker_id, 10, "xxxxx")
    for number in (11, 12, 13):
        score(database, orchard, worker_id, number, "xooooooooo")
    # Scored after the training, but pruned before it.
    with database.write() as connection:
        place = add_lot(connection, orchard, finished_at=day(9, 20))
    score(database, orchard, worker_id, 11, "x", lot_ids=place)
    score(database, orchard, worker_id, 14, "xxxx", purpose=Purpose.RE_AUDIT)
    found = training.list_trainings(database, orchard.supervisor, SEASON, TODAY)
    view = training.view_training(database, orchard.supervisor, found.events[0].id, TODAY)
    assert (view.effect.before, view.effect.after) == ((7, 31), (3, 30))
    assert view.effect.level is EffectLevel.DIFFERENCE
    assert found.by_kind[TrainingKind.IN_ROW].before == (7, 31)
    # As many days after as before: two days on either side.
    view = training.view_training(
        database, orchard.supervisor, found.events[0].id, date(2026, 1, 12), 14
    )
    assert (view.effect.before, view.effect.after) == ((5, 21), (2, 20))


def test_a_second_training_of_a_kind_counts_no_tree_twice(database, orchard, worker_id):
    note(database, orchard, [worker_id])
    note(database, orchard, [worker_id], held_on=date(2026, 1, 12))
    note(database, orchard, [worker_id], held_on=date(2026, 1, 9), stage=LIMBS)
    score(database, orchard, worker_id, 8, "xo")
    score(database, orchard, worker_id, 11, "ooo")
    found = training.list_trainings(database, orchard.supervisor, SEASON, TODAY)
    effect = found.by_kind[TrainingKind.IN_ROW]
    assert (effect.before, effect.after) == ((1, 2), (0, 3))
    assert (
        training.view_training(database, orchard.supervisor, found.events[0].id, TODAY).others == 1
    )


def test_a_training_can_be_taken_out_by_those_who_lead(database, orchard, worker_id):
    note(database, orchard, [worker_id])
    listed = training.list_trainings(database, orchard.supervisor, SEASON, TODAY)
    event_id = listed.events[0].id
    with pytest.raises(NotAllowed):
        training.take_out_training(database, orchard.worker, event_id)
    training.take_out_training(database, orchard.supervisor, event_id)
    with pytest.raises(NotFound):
        training.take_out_training(database, orchard.supervisor, event_id)
    assert events(database) == 0
