"""Disagreement on both databases: once a score, within its days, answered by a second person."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from uuid import uuid4

import pytest

from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.services import accounts, contesting
from audits.services.agreement import WhoCounts
from audits.services.amending import amend_tree
from audits.services.own_trees import own_contests, view_own_trees
from audits.services.rescoring import check_scores
from audits.storage.queries import audits as queries
from audits.storage.tables import stage_score
from audits.vocabulary import ContestAnswer, Fault, Result, Role, Stage
from tests.orchard import PASSWORD, Orchard, plant_orchard
from tests.row_audit import (
    AUDITED,
    PHONE,
    assign_halves,
    begin,
    fault,
    fill,
    first_trees,
    prune,
    right,
    seal,
)

SEASON = 2025
HIGH = {"top": fault(Fault.HIGH)}
LATER = AUDITED + timedelta(days=1)


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    return plant_orchard(database, AUDITED)


@pytest.fixture
def audit_id(database, orchard) -> int:
    """A sealed audit by the supervisor; the first trees, of the first worker, are too high."""
    pruned = prune(database, orchard)
    assign_halves(database, orchard, pruned)
    found = begin(database, orchard, pruned.lot_ids[0])
    fill(database, orchard, found, first_trees(3, **HIGH))
    seal(database, orchard, found)
    return found


def own(database, orchard, *, now=AUDITED, **options):
    return view_own_trees(
        database, orchard.worker, orchard.worker_ids[0], SEASON, now=now, **options
    )


@pytest.fixture
def high_tree(database, orchard, audit_id) -> int:
    """A tree of the first worker that is too high."""
    tree = own(database, orchard, faults_only=True).trees[0].tree
    assert tree.audit_id == audit_id
    return tree.draw_tree_id


def disagree(database, orchard, audit_id, tree_id, *, actor=None, stage=Stage.TOP, now=LATER):
    return contesting.raise_contest(
        database, actor or orchard.worker, audit_id, tree_id, stage, now=now
    )


def answer(database, contest_id, actor, *, answers=None, reason="Measured it again", now=LATER):
    contesting.answer_contest(
        database,
        actor,
        contest_id,
        reason=reason,
        now=now,
        answers=answers,
        client_id=str(uuid4()),
        device=PHONE,
    )


def person(database, orchard, name, role=Role.SUPERVISOR, worker_id=None):
    user_id = accounts.add_user(
        database,
        orchard.farm_id,
        name=name,
        password=PASSWORD,
        role=role,
        language="en",
        now=AUDITED,
        worker_id=worker_id,
    )
    return replace(orchard.supervisor, user_id=user_id, name=name, role=role, worker_id=worker_id)


@pytest.fixture
def second(database, orchard):
    """Another supervisor, who did not score the row."""
    return person(database, orchard, "Lena Ashgrove")


def only_contest(database, orchard):
    (found,) = own_contests(database, orchard.worker, orchard.worker_ids[0], SEASON)
    return found


# --- raising -------------------------------------------------------------------------------------


def test_two_taps_at_once_are_one_contest(database, orchard, audit_id, high_tree):
    with ThreadPoolExecutor(4) as pool:
        ids = list(
            pool.map(lambda _tap: disagree(database, orchard, audit_id, high_tree), range(4))
        )
    assert len(set(ids)) == 1
    assert only_contest(database, orchard).id == ids[0]
    with database.read() as connection:
        found = contesting.contested_scores(connection, orchard.farm_id)
    assert found == {(audit_id, high_tree, Stage.TOP)}


def test_a_score_can_be_contested_until_the_fourteenth_day_ends(
    database, orchard, audit_id, high_tree
):
    # Sealed on 20 January in New York; 4 February begins there at 5:00 UTC.
    ends = AUDITED.replace(month=2, day=4, hour=5, minute=0)
    with pytest.raises(Conflict, match="You could disagree until Feb 3, 2026"):
        disagree(database, orchard, audit_id, high_tree, now=ends)
    assert not own(database, orchard, now=ends).trees[0].scores[0].may_disagree
    assert disagree(database, orchard, audit_id, high_tree, now=ends - timedelta(seconds=1))


def test_nobody_contests_the_score_of_somebody_else(database, orchard, audit_id, high_tree):
    other = person(database, orchard, "Nélida", Role.WORKER, worker_id=orchard.worker_ids[1])
    nobody = replace(other, worker_id=None)
    for actor in (other, nobody):
        with pytest.raises(NotFound):
            disagree(database, orchard, audit_id, high_tree, actor=actor)
    contest_id = disagree(database, orchard, audit_id, high_tree)
    for actor in (other, nobody, orchard.supervisor):
        with pytest.raises(NotFound):
            contesting.add_words(database, actor, contest_id, "Mine")
        with pytest.raises(NotFound):
            contesting.take_back(database, actor, contest_id, now=LATER)
    with pytest.raises(NotFound):
        contesting.view_own_contest(database, other, contest_id, LATER)


def test_a_score_of_the_crew_or_of_nothing_cannot_be_contested(
    database, orchard, audit_id, high_tree
):
    with pytest.raises(NotFound):
        disagree(database, orchard, audit_id, 999_999, actor=orchard.supervisor)
    with database.write() as connection:
        connection.execute(stage_score.update().values(worker_id=None))
    with pytest.raises(Conflict, match="counts for the crew"):
        disagree(database, orchard, audit_id, high_tree, actor=orchard.supervisor)
    with pytest.raises(NotFound):
        disagree(database, orchard, audit_id, high_tree)


def test_words_may_follow_and_all_may_be_taken_back(database, orchard, audit_id, high_tree):
    contest_id = disagree(database, orchard, audit_id, high_tree)
    contesting.add_words(database, orchard.worker, contest_id, " The pole stood\0 in a hole. ")
    assert only_contest(database, orchard).words == "The pole stood in a hole."
    with pytest.raises(InvalidInput):
        contesting.add_words(database, orchard.worker, contest_id, "x" * 1_001)

    contesting.take_back(database, orchard.worker, contest_id, now=LATER)
    taken_back = only_contest(database, orchard)
    assert (taken_back.answer, taken_back.answered_at) == (None, LATER)
    with pytest.raises(Conflict, match="taken back"):
        contesting.add_words(database, orchard.worker, contest_id, "No")
    with database.read() as connection:
        assert not contesting.contested_scores(connection, orchard.farm_id)
    assert disagree(database, orchard, audit_id, high_tree) != contest_id


# --- answering -----------------------------------------------------------------------------------


def test_it_takes_a_second_person(database, orchard, audit_id, high_tree, second):
    contest_id = disagree(database, orchard, audit_id, high_tree)
    with pytest.raises(NotAllowed, match="You gave this score"):
        answer(database, contest_id, orchard.supervisor)
    with pytest.raises(NotAllowed):
        answer(database, contest_id, orchard.worker)

    for amender in (second, orchard.owner):
        amend_tree(
            database,
            amender,
            audit_id,
            high_tree,
            answers=right(**HIGH),
            reason="Typed again",
            client_id=str(uuid4()),
            device=PHONE,
            now=LATER,
        )
    with pytest.raises(NotAllowed, match="You amended this score"):
        answer(database, contest_id, second)
    answer(database, contest_id, orchard.owner)
    assert only_contest(database, orchard).answer is ContestAnswer.STANDS


def test_an_owner_who_scored_is_no_second_person(database, orchard, audit_id, high_tree):
    contest_id = disagree(database, orchard, audit_id, high_tree)
    scorer = replace(orchard.supervisor, role=Role.OWNER)
    with pytest.raises(NotAllowed, match="You gave this score"):
        answer(database, contest_id, scorer)


def test_whoever_disagreed_for_a_worker_does_not_answer(
    database, orchard, audit_id, high_tree, second
):
    contest_id = disagree(database, orchard, audit_id, high_tree, actor=second)
    assert only_contest(database, orchard).raised_by_name == second.name
    with pytest.raises(NotAllowed, match="on the worker's behalf"):
        answer(database, contest_id, second)


def test_a_changed_score_is_an_amendment_with_the_reason(
    database, orchard, audit_id, high_tree, second
):
    contest_id = disagree(database, orchard, audit_id, high_tree)
    with pytest.raises(InvalidInput, match="the score as it is"):
        answer(database, contest_id, second, answers=right(**HIGH))
    answer(database, contest_id, second, answers=right(), reason="The pole stood in a hole")

    found = only_contest(database, orchard)
    assert (found.answer, found.reason) == (ContestAnswer.CHANGED, "The pole stood in a hole")
    assert found.answered_by_name == second.name
    with database.read() as connection:
        versions = queries.score_versions(connection, orchard.farm_id, audit_id, high_tree)
    assert [version.reason for version in versions] == [None, "The pole stood in a hole"]
    tree = next(
        tree
        for tree in own(database, orchard, now=LATER).trees
        if tree.tree.draw_tree_id == high_tree
    )
    top = tree.scores[0]
    assert (top.result, top.first.result) == (Result.CONFORMING, Result.NONCONFORMING)
    assert not top.is_contested
    assert not top.may_disagree, "it was answered"
    assert not check_scores(database, orchard.farm_id).differences


def test_a_refused_change_leaves_no_answer(database, orchard, audit_id, high_tree, second):
    contest_id = disagree(database, orchard, audit_id, high_tree)
    lacking = {"stages": {"top": right()["stages"]["top"]}}
    with pytest.raises(InvalidInput):
        answer(database, contest_id, second, answers=lacking)
    with pytest.raises(InvalidInput, match="Write a reason"):
        answer(database, contest_id, second, reason="  ")
    assert only_contest(database, orchard).answered_at is None


def test_of_two_answers_at_once_one_wins_and_the_other_is_told(
    database, orchard, audit_id, high_tree, second
):
    contest_id = disagree(database, orchard, audit_id, high_tree)

    def attempt(step):
        actor, answers = step
        try:
            answer(database, contest_id, actor, answers=answers)
        except Conflict as error:
            return str(error)
        return "answered"

    with ThreadPoolExecutor(2) as pool:
        said = list(pool.map(attempt, [(second, None), (orchard.owner, right())]))
    assert said.count("answered") == 1
    winner = only_contest(database, orchard)
    assert f"{winner.answered_by_name} has answered this already." in said
    with database.read() as connection:
        versions = queries.score_versions(connection, orchard.farm_id, audit_id, high_tree)
    # The loser's amendment went with the loser's answer.
    assert len(versions) == (2 if winner.answer is ContestAnswer.CHANGED else 1)


def test_an_answered_score_opens_again_only_when_it_is_amended(
    database, orchard, audit_id, high_tree, second
):
    answer(database, disagree(database, orchard, audit_id, high_tree), second)
    with pytest.raises(Conflict, match="answered this already"):
        disagree(database, orchard, audit_id, high_tree)
    month_later = LATER + timedelta(days=30)
    amend_tree(
        database,
        orchard.supervisor,
        audit_id,
        high_tree,
        answers=right(top=fault(Fault.BLUNT)),
        reason="Looked again",
        client_id=str(uuid4()),
        device=PHONE,
        now=month_later,
    )
    assert disagree(database, orchard, audit_id, high_tree, now=month_later + timedelta(days=13))


def test_those_that_wait_beyond_seven_days_are_late(database, orchard, audit_id, high_tree):
    disagree(database, orchard, audit_id, high_tree)
    for days, late in ((7, False), (7.01, True)):
        now = LATER + timedelta(days=days)
        listed = contesting.list_contests(database, orchard.owner, now)
        assert [view.is_late for view in listed.waiting] == [late]


def test_contested_due_trees_are_counted_beside_the_rates_they_are_in(
    database, orchard, audit_id, high_tree, second, monkeypatch
):
    def counted():
        with database.read() as connection:
            return contesting.contested_trees(
                connection, orchard.farm_id, SEASON, orchard.worker_ids[0]
            )

    assert counted() == {}
    contest_id = disagree(database, orchard, audit_id, high_tree)
    assert counted() == {Stage.TOP: 1}
    left_out = WhoCounts(frozenset({(orchard.supervisor.user_id, Stage.TOP)}), frozenset())
    with monkeypatch.context() as patched:
        patched.setattr(contesting, "who_counts", lambda *_asked: left_out)
        assert counted() == {}
    answer(database, contest_id, second)
    assert counted() == {}
