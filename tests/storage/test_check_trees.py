"""Check trees: who sees them when, what they do not feed, which are made twice, and who counts."""

from collections.abc import Callable
from datetime import timedelta
from uuid import uuid4

import pytest
import sqlalchemy as sa

from audits import check_trees
from audits.agreement.reading import AgreementLevel
from audits.check_trees import is_chosen_for_second_audit
from audits.errors import Conflict, InvalidInput, NotAllowed, NotFound
from audits.services import (
    accounts,
    agreement,
    amending,
    auditing,
    calibrating,
    coaching,
    passes,
    photos,
    rescoring,
    second_audits,
    sign_offs,
    training,
    verdicts,
)
from audits.services.auditing import Device, TreeEntry
from audits.services.lots import view_lot
from audits.services.season import review_season
from audits.services.today import view_today
from audits.services.trends import list_workers, worker_trend
from audits.storage import tables
from audits.storage.queries import audits as audit_queries
from audits.vocabulary import Fault, Purpose, Result, Role, Side, Stage, TrainingKind
from tests.orchard import PASSWORD, plant_orchard
from tests.row_audit import (
    AUDITED,
    PHONE,
    assign_halves,
    audited,
    begin,
    fault,
    fill,
    first_trees,
    mend,
    prune,
    right,
    seal,
)

# The first seed that the rule chooses, and one that it does not.
CHOSEN, OTHER = 15, 1
LATER = AUDITED + timedelta(hours=1)
SEASON = 2025


@pytest.fixture
def orchard(quick_database):
    return plant_orchard(quick_database, AUDITED)


@pytest.fixture
def pruned(quick_database, orchard):
    return prune(quick_database, orchard)


@pytest.fixture
def third(quick_database, orchard):
    """Another supervisor."""
    user_id = accounts.add_user(
        quick_database,
        orchard.farm_id,
        name="Perpetua Lindqvist",
        password=PASSWORD,
        role=Role.SUPERVISOR,
        language="en",
        now=AUDITED,
    )
    return accounts_actor(orchard, user_id)


def accounts_actor(orchard, user_id):
    return orchard.supervisor.__class__(
        user_id, orchard.farm_id, "Perpetua Lindqvist", Role.SUPERVISOR, "en", None
    )


def open_walk(database, orchard, pruned, **entered) -> int:
    return calibrating.open_walk(
        database, orchard.supervisor, pruned.pass_id, **{"seed": 5, "now": AUDITED} | entered
    )


def begin_round(database, actor, walk_id) -> int:
    return calibrating.begin_round(
        database,
        actor,
        walk_id,
        client_id=str(uuid4()),
        device=Device(f"phone of {actor.user_id}"),
        now=AUDITED,
    )


def answer_all(database, actor, audit_id, answers_of: Callable[[int], dict]) -> None:
    view = calibrating.view_check_audit(database, actor, audit_id).view
    for number, tree in enumerate(view.walk, start=1):
        entry = TreeEntry(tree.id, str(uuid4()), answers_of(number), PHONE)
        calibrating.score_check_tree(database, actor, audit_id, entry, AUDITED)


def walked(database, actor, walk_id, answers_of=lambda _number: right(), *, again=False) -> int:
    """Score and close a round."""
    audit_id = begin_round(database, actor, walk_id)
    answer_all(database, actor, audit_id, answers_of)
    return calibrating.close_round(database, actor, audit_id, AUDITED, again=again)


def high_every(step: int, shift: int = 0) -> Callable[[int], dict]:
    """Answer too high on every so-manyth tree, else right."""
    return lambda number: right(top=fault(Fault.HIGH)) if (number + shift) % step == 0 else right()


def chosen_audit(database, orchard, pruned) -> int:
    """An audit of the first lot that is to be made a second time."""
    audit_id = begin(database, orchard, pruned.lot_ids[0], seed=CHOSEN)
    fill(database, orchard, audit_id)
    seal(database, orchard, audit_id)
    return audit_id


def only_check(database, actor, now=AUDITED):
    (check,) = second_audits.second_audits(database, actor, now)
    return check


def begin_second(database, actor, check_id, now=AUDITED) -> int:
    return second_audits.begin_second_audit(
        database, actor, check_id, client_id=str(uuid4()), device=PHONE, now=now
    )


def count(database, table) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


# --- the walk --------------------------------------------------------------------------------


def test_a_walk_draws_trees_of_finished_rows_on_both_sides(quick_database, orchard, pruned):
    walk = calibrating.view_walk(
        quick_database, orchard.owner, open_walk(quick_database, orchard, pruned)
    )
    with quick_database.read() as connection:
        drawn = audit_queries.draw_by_id(connection, orchard.farm_id, walk.line.draw_id)
        trees = audit_queries.draw_trees(connection, orchard.farm_id, walk.line.draw_id)
    assert (drawn.purpose, drawn.lot_id, drawn.seed, drawn.lot_size) == (
        Purpose.CALIBRATION,
        None,
        "5",
        310,
    )
    assert [tree.walk_order for tree in trees] == list(range(1, 21))
    assert sum(tree.side is Side.LEFT for tree in trees) == 10
    assert {tree.orchard_row_id for tree in trees} == {orchard.row_ids[0]}


@pytest.mark.parametrize(
    ("entered", "field"),
    [
        ({"trees": 9}, "trees"),
        ({"trees": 61}, "trees"),
        ({"reference_id": 999}, "reference_id"),
    ],
)
def test_a_walk_that_will_not_do_is_refused(quick_database, orchard, pruned, entered, field):
    with pytest.raises(InvalidInput) as refused:
        open_walk(quick_database, orchard, pruned, **entered)
    assert list(refused.value.problems) == [field]
    assert count(quick_database, tables.calibration) == 0


def test_rows_that_are_not_finished_take_no_part(quick_database, orchard, pruned):
    passes.take_back_rows(quick_database, orchard.supervisor, pruned.pass_id, [orchard.row_ids[0]])
    with pytest.raises(InvalidInput):
        open_walk(quick_database, orchard, pruned)


def test_a_pass_with_a_walk_is_not_taken_back(quick_database, orchard, pruned):
    open_walk(quick_database, orchard, pruned)
    passes.take_back_rows(quick_database, orchard.supervisor, pruned.pass_id, [orchard.row_ids[0]])
    with pytest.raises(Conflict, match="calibration walk"):
        passes.take_back_pass(quick_database, orchard.supervisor, pruned.pass_id)


def test_answers_stay_unseen_until_ones_own_round_is_closed(quick_database, orchard, pruned):
    walk_id = open_walk(quick_database, orchard, pruned)
    first = walked(quick_database, orchard.supervisor, walk_id, high_every(4))
    own = begin_round(quick_database, orchard.owner, walk_id)

    ways = [
        lambda: calibrating.view_check_audit(quick_database, orchard.owner, first),
        lambda: auditing.view_audit(quick_database, orchard.owner, first),
        lambda: photos.photos_of_audit(quick_database, orchard.owner, first),
        lambda: photos.photo_content(quick_database, orchard.owner, first, 1),
    ]
    for way in ways:
        with pytest.raises(NotAllowed):
            way()
    assert not calibrating.view_walk(quick_database, orchard.owner, walk_id).shows_answers
    assert agreement.figures_of_walk(quick_database, orchard.owner, walk_id, LATER) is None

    answer_all(quick_database, orchard.owner, own, high_every(4))
    with pytest.raises(NotAllowed):
        ways[0]()
    calibrating.close_round(quick_database, orchard.owner, own, AUDITED)
    assert len(ways[0]().view.answered) == 20
    assert agreement.figures_of_walk(quick_database, orchard.owner, walk_id, LATER) is not None


def test_who_has_still_to_begin_sees_nothing_before_the_walk_is_closed(
    quick_database, orchard, pruned, third
):
    walk_id = open_walk(quick_database, orchard, pruned)
    walked(quick_database, orchard.supervisor, walk_id)
    walked(quick_database, orchard.owner, walk_id, high_every(4))
    season = 2025
    ids = (orchard.owner.user_id, orchard.supervisor.user_id, season, LATER)
    assert agreement.view_agreement(quick_database, third, season, LATER).pairs == []
    with pytest.raises(NotFound):
        agreement.view_pair(quick_database, third, *ids)
    calibrating.close_walk(quick_database, orchard.owner, walk_id, AUDITED)
    assert len(agreement.view_pair(quick_database, third, *ids).discussed) == 5
    with pytest.raises(Conflict):
        begin_round(quick_database, third, walk_id)


def test_in_a_second_round_not_even_ones_own_answers_show(quick_database, orchard, pruned):
    walk_id = open_walk(quick_database, orchard, pruned)
    walked(quick_database, orchard.owner, walk_id)
    again = walked(quick_database, orchard.supervisor, walk_id, again=True)
    rounds = next(
        one.audits
        for one in calibrating.view_walk(quick_database, orchard.supervisor, walk_id).auditors
        if one.user_id == orchard.supervisor.user_id
    )
    assert [one.id for one in rounds] == [rounds[0].id, again]
    with pytest.raises(NotAllowed):
        calibrating.view_check_audit(quick_database, orchard.supervisor, rounds[0].id)
    assert agreement.figures_of_walk(quick_database, orchard.supervisor, walk_id, LATER) is None
    answer_all(quick_database, orchard.supervisor, again, high_every(4))
    assert (
        calibrating.close_round(quick_database, orchard.supervisor, again, AUDITED, again=True)
        == again
    )
    calibrating.view_check_audit(quick_database, orchard.supervisor, rounds[0].id)


def test_a_round_is_scored_whole_and_by_one_person(quick_database, orchard, pruned):
    walk_id = open_walk(quick_database, orchard, pruned)
    audit_id = begin_round(quick_database, orchard.supervisor, walk_id)
    assert begin_round(quick_database, orchard.supervisor, walk_id) == audit_id
    view = calibrating.view_check_audit(quick_database, orchard.supervisor, audit_id).view
    tree = view.walk[0]
    entry = TreeEntry(tree.id, str(uuid4()), right(), PHONE)
    with pytest.raises(NotAllowed):
        calibrating.score_check_tree(quick_database, orchard.owner, audit_id, entry, AUDITED)
    with pytest.raises(Conflict, match="remaining"):
        calibrating.close_round(quick_database, orchard.supervisor, audit_id, AUDITED)
    answer_all(quick_database, orchard.supervisor, audit_id, lambda _number: right())
    calibrating.leave_tree_out(
        quick_database,
        orchard.supervisor,
        audit_id,
        tree.id,
        client_id=str(uuid4()),
        device=Device(PHONE.name, 9),
        now=AUDITED,
    )
    calibrating.close_round(quick_database, orchard.supervisor, audit_id, AUDITED)
    with pytest.raises(Conflict):
        calibrating.score_check_tree(quick_database, orchard.supervisor, audit_id, entry, AUDITED)
    walked(quick_database, orchard.owner, walk_id)
    pair = agreement.view_pair(
        quick_database,
        orchard.owner,
        orchard.owner.user_id,
        orchard.supervisor.user_id,
        2025,
        LATER,
    ).pair
    assert {one.reading.pairs for one in pair.readings} == {19}


def test_check_trees_feed_nothing(quick_database, orchard, pruned):
    audited(quick_database, orchard, pruned.lot_ids[0])

    def everything():
        return (
            view_today(quick_database, orchard.owner, LATER),
            review_season(quick_database, orchard.owner, 2025),
            view_lot(quick_database, orchard.owner, pruned.lot_ids[0]),
            [count(quick_database, one) for one in FED],
        )

    before = everything()
    walk_id = open_walk(quick_database, orchard, pruned)
    for actor in (orchard.supervisor, orchard.owner):
        walked(quick_database, actor, walk_id, lambda _number: right(top=fault(Fault.HIGH)))
    calibrating.close_walk(quick_database, orchard.owner, walk_id, AUDITED)
    assert everything() == before
    assert rescoring.check_scores(quick_database, orchard.farm_id).differences == []
    with quick_database.read() as connection:
        named = sa.select(sa.func.count()).where(
            tables.stage_score.c.worker_id.is_not(None),
            tables.stage_score.c.tree_score_id == tables.tree_score.c.id,
            tables.tree_score.c.audit_id == tables.audit.c.id,
            tables.audit.c.draw_id == tables.calibration.c.draw_id,
        )
        assert connection.scalar(named) == 0


FED = (tables.rollup, tables.decision, tables.rework_order, tables.lot)


def test_check_trees_are_no_audits(quick_database, orchard, pruned):
    walk_id = open_walk(quick_database, orchard, pruned)
    audit_id = walked(quick_database, orchard.supervisor, walk_id)
    view = calibrating.view_check_audit(quick_database, orchard.supervisor, audit_id).view
    entry = TreeEntry(view.walk[0].id, str(uuid4()), right(), PHONE)
    steps = [
        lambda: verdicts.view_verdict(quick_database, orchard.supervisor, audit_id),
        lambda: seal(quick_database, orchard, audit_id),
        lambda: auditing.undo_last_tree(quick_database, orchard.supervisor, audit_id),
        lambda: auditing.record_trees(
            quick_database, orchard.supervisor, audit_id, [entry], AUDITED
        ),
        lambda: amending.amend_tree(
            quick_database,
            orchard.supervisor,
            audit_id,
            view.walk[0].id,
            answers=right(),
            reason="seen the others'",
            client_id=str(uuid4()),
            device=PHONE,
            now=LATER,
        ),
    ]
    for step in steps:
        with pytest.raises(NotFound):
            step()


# --- blind second audits ---------------------------------------------------------------------


def test_one_seed_in_twenty_is_chosen():
    """Counts in 100,000 seeds lie within five standard deviations of the binomial law."""
    seeds = 100_000
    chosen = sum(is_chosen_for_second_audit(str(seed)) for seed in range(seeds))
    assert abs(chosen - seeds * 0.05) < 5 * (seeds * 0.05 * 0.95) ** 0.5


def test_the_seed_decides_which_audit_is_made_twice(quick_database, orchard, pruned):
    audited(quick_database, orchard, pruned.lot_ids[0])
    assert count(quick_database, tables.double_check) == 0


def test_the_first_answers_stay_unseen_until_the_second_audit_is_closed(
    quick_database, orchard, pruned, third
):
    first = chosen_audit(quick_database, orchard, pruned)
    check = only_check(quick_database, orchard.owner)
    ways = [
        lambda actor: verdicts.view_verdict(quick_database, actor, first, AUDITED),
        lambda actor: auditing.view_audit(quick_database, actor, first),
        lambda actor: photos.photos_of_audit(quick_database, actor, first, AUDITED),
    ]
    for way in ways:
        way(orchard.supervisor)
        with pytest.raises(NotAllowed):
            way(orchard.owner)
    assert not only_check(quick_database, orchard.supervisor).may_make
    with pytest.raises(NotAllowed):
        begin_second(quick_database, orchard.supervisor, check.line.id)

    second = begin_second(quick_database, orchard.owner, check.line.id)
    assert begin_second(quick_database, orchard.owner, check.line.id) == second
    with pytest.raises(Conflict):
        begin_second(quick_database, third, check.line.id)
    trees = calibrating.view_check_audit(quick_database, orchard.owner, second).view
    scored = auditing.view_audit(quick_database, orchard.supervisor, first)
    assert {tree.id for tree in trees.walk} == set(scored.answered)
    answer_all(quick_database, orchard.owner, second, high_every(4))
    for way in ways:
        with pytest.raises(NotAllowed):
            way(orchard.owner)
    with pytest.raises(NotAllowed):
        calibrating.view_check_audit(quick_database, orchard.supervisor, second)

    before = [count(quick_database, one) for one in FED]
    calibrating.close_round(quick_database, orchard.owner, second, AUDITED)
    assert [count(quick_database, one) for one in FED] == before
    assert rescoring.check_scores(quick_database, orchard.farm_id).differences == []
    for way in ways:
        way(orchard.owner)
    calibrating.view_check_audit(quick_database, orchard.supervisor, second)
    (drawn,) = view_lot(quick_database, orchard.owner, pruned.lot_ids[0]).draws
    assert [line.audit.id for line in drawn.audits] == [first]
    (pair,) = agreement.view_agreement(quick_database, third, 2025, LATER).pairs
    top = pair.readings[0]
    assert top.reading.pairs == len(trees.walk)
    assert top.apart == len(trees.walk) // 4


def test_a_second_audit_goes_to_the_trees_that_came_instead(quick_database, orchard, pruned):
    first = begin(quick_database, orchard, pruned.lot_ids[0], seed=CHOSEN)
    view = auditing.view_audit(quick_database, orchard.supervisor, first)
    gone = view.walk[0]
    auditing.replace_tree(
        quick_database, orchard.supervisor, first, gone.id, tables.PlantingKind.DEAD
    )
    fill(quick_database, orchard, first)
    seal(quick_database, orchard, first)
    second = begin_second(
        quick_database, orchard.owner, only_check(quick_database, orchard.owner).line.id
    )
    trees = calibrating.view_check_audit(quick_database, orchard.owner, second).view.walk
    walk = auditing.view_audit(quick_database, orchard.supervisor, first).walk
    assert gone.id not in {tree.id for tree in trees}
    assert [tree.id for tree in trees] == [tree.id for tree in walk]


def test_a_second_audit_that_comes_too_late_is_given_up(quick_database, orchard, pruned):
    first = chosen_audit(quick_database, orchard, pruned)
    late = AUDITED + timedelta(days=3)
    check = only_check(quick_database, orchard.owner, late)
    assert not check.waits
    assert "days are over" in str(check.ended)
    with pytest.raises(Conflict, match="days are over"):
        begin_second(quick_database, orchard.owner, check.line.id, late)
    verdicts.view_verdict(quick_database, orchard.owner, first, late)
    with quick_database.write() as connection:
        second_audits.give_up_late_ones(connection, orchard.farm_id, late)
    given_up = only_check(quick_database, orchard.owner, late)
    assert (given_up.line.waived_at, given_up.line.waived_by) == (late, None)
    assert "days are over" in str(given_up.ended)


def test_a_second_audit_ends_with_the_rework(quick_database, orchard, pruned):
    audit_id = begin(quick_database, orchard, pruned.lot_ids[0], seed=CHOSEN)
    fill(quick_database, orchard, audit_id, lambda _number: right(top=fault(Fault.HIGH)))
    seal(quick_database, orchard, audit_id)
    assert only_check(quick_database, orchard.owner).waits
    order = verdicts.view_verdict(quick_database, orchard.supervisor, audit_id).order
    verdicts.view_verdict(quick_database, orchard.owner, audit_id, for_rework=True)
    mend(quick_database, orchard, order.id)
    check = only_check(quick_database, orchard.owner)
    assert not check.waits
    assert "rework" in str(check.ended)


def test_somebody_else_may_give_a_second_audit_up(quick_database, orchard, pruned):
    first = chosen_audit(quick_database, orchard, pruned)
    check_id = only_check(quick_database, orchard.owner).line.id
    with pytest.raises(NotAllowed):
        second_audits.give_up_second_audit(quick_database, orchard.supervisor, check_id, AUDITED)
    second_audits.give_up_second_audit(quick_database, orchard.owner, check_id, AUDITED)
    assert "Ina Wetherell" in str(only_check(quick_database, orchard.owner).ended)
    verdicts.view_verdict(quick_database, orchard.owner, first, AUDITED)


# --- who counts ------------------------------------------------------------------------------


def not_counted(database, orchard, now=LATER):
    with database.read() as connection:
        return agreement.who_counts(connection, orchard.farm_id, now).left_out


def is_enough(database, orchard, stage=Stage.TOP):
    with database.read() as connection:
        return stage in agreement.who_counts(connection, orchard.farm_id, LATER).one_is_enough


def reference_walk(database, orchard, pruned, answers_of, trees=40) -> None:
    walk_id = open_walk(database, orchard, pruned, trees=trees, reference_id=orchard.owner.user_id)
    walked(database, orchard.owner, walk_id, high_every(4))
    walked(database, orchard.supervisor, walk_id, answers_of)


def test_poor_agreement_with_the_reference_counts_until_a_later_walk(
    quick_database, orchard, pruned
):
    reference_walk(quick_database, orchard, pruned, high_every(4, shift=1))
    poor = {(orchard.supervisor.user_id, Stage.TOP)}
    assert not_counted(quick_database, orchard) == poor
    assert not is_enough(quick_database, orchard)
    # Twenty trees are too few to come back by.
    reference_walk(quick_database, orchard, pruned, high_every(4), trees=20)
    assert not_counted(quick_database, orchard) == poor
    reference_walk(quick_database, orchard, pruned, high_every(4), trees=20)
    assert not_counted(quick_database, orchard) == frozenset()
    assert is_enough(quick_database, orchard)


def test_what_a_poorly_agreeing_auditor_scored_is_left_out_of_trends(
    quick_database, orchard, pruned
):
    first, _ = assign_halves(quick_database, orchard, pruned)
    audited(quick_database, orchard, pruned.lot_ids[0])

    def seen():
        trend = worker_trend(quick_database, orchard.owner, first, SEASON)
        (line,) = (
            line
            for line in list_workers(quick_database, orchard.owner, SEASON).lines
            if line.worker.id == first
        )
        return {stage.stage: stage.reading.due for stage in trend.stages}, trend.left_out, line.due

    due, left_out, listed = seen()
    assert not left_out
    assert Stage.TOP in due
    reference_walk(quick_database, orchard, pruned, high_every(4, shift=1))
    assert seen() == (
        {stage: trees for stage, trees in due.items() if stage is not Stage.TOP},
        {Stage.TOP: due[Stage.TOP]},
        listed,
    )
    reference_walk(quick_database, orchard, pruned, high_every(4))
    assert seen() == (due, {}, listed)


def test_what_a_poorly_agreeing_auditor_scored_is_left_out_of_coaching(
    quick_database, orchard, pruned
):
    first, _ = assign_halves(quick_database, orchard, pruned)
    audited(quick_database, orchard, pruned.lot_ids[0], first_trees(9, top=fault(Fault.HIGH)))
    day = AUDITED.date() - timedelta(days=3)
    sign_offs.begin_stage(
        quick_database, orchard.owner, first, stage=Stage.TOP, begun_on=day, now=AUDITED
    )
    entry = {"stage": Stage.TOP, "kind": TrainingKind.CARD, "held_on": day, "note": ""}
    training.note_training(quick_database, orchard.owner, AUDITED, worker_ids=[first], **entry)

    def counted():
        sheet = coaching.coaching_view(quick_database, orchard.owner, first, SEASON)
        learned = sign_offs.view_learning(quick_database, orchard.owner, first).stages[0]
        crew = coaching.crew_view(quick_database, orchard.owner, orchard.crew_id, SEASON)
        found = training.list_trainings(quick_database, orchard.owner, SEASON, AUDITED.date())
        one = training.view_training(
            quick_database, orchard.owner, found.events[0].id, AUDITED.date()
        )
        return {
            "sheet": (sum(sheet.latest), sheet.left_out),
            "learned": (sum(learned.outcomes), learned.left_out),
            "crew": (
                sum(line.reading.nonconforming for line in crew.stages if line.stage is Stage.TOP),
                crew.left_out,
            ),
            "kind": (found.by_kind[TrainingKind.CARD].after[0], found.left_out),
            "training": (one.effect.after[0], one.left_out),
        }

    before = counted()
    wrong = before["sheet"][0]
    assert wrong
    assert all(faults and not left_out for faults, left_out in before.values())
    reference_walk(quick_database, orchard, pruned, high_every(4, shift=1))
    after = counted()
    assert all(faults == 0 and left_out for faults, left_out in after.values())
    trees = after["sheet"][1][Stage.TOP]
    assert after["learned"][1] == trees >= wrong
    assert after["training"][1] == after["kind"][1] == {Stage.TOP: trees}
    assert after["crew"][1][Stage.TOP] > trees


def test_the_reference_auditor_is_the_measure(quick_database, orchard, pruned, third):
    walk_id = open_walk(
        quick_database, orchard, pruned, trees=40, reference_id=orchard.owner.user_id
    )
    for actor, answers_of in (
        (orchard.supervisor, high_every(4)),
        (third, high_every(4, shift=1)),
        (orchard.owner, high_every(4)),
    ):
        walked(quick_database, actor, walk_id, answers_of)
    assert not_counted(quick_database, orchard) == {(third.user_id, Stage.TOP)}


def test_one_calibrated_supervisor_is_enough_on_a_farm_with_one(
    quick_database, orchard, pruned, request
):
    supervisor = [orchard.supervisor.user_id]

    def claimed():
        with quick_database.read() as connection:
            who = agreement.who_counts(connection, orchard.farm_id, LATER)
            return who.for_floor(Stage.TOP, supervisor)

    assert claimed() == 1
    reference_walk(quick_database, orchard, pruned, high_every(4))
    assert claimed() == 2
    # Nobody saw a fault on the other stages, so nothing can be said of them.
    assert not is_enough(quick_database, orchard, Stage.LIMBS)
    request.getfixturevalue("third")
    assert claimed() == 1


def test_amendments_after_seeing_the_others_make_no_agreement(quick_database, orchard, pruned):
    first = chosen_audit(quick_database, orchard, pruned)
    second = begin_second(
        quick_database, orchard.owner, only_check(quick_database, orchard.owner).line.id
    )
    answer_all(quick_database, orchard.owner, second, high_every(4))
    calibrating.close_round(quick_database, orchard.owner, second, AUDITED)
    (before,) = agreement.view_agreement(quick_database, orchard.owner, 2025, LATER).pairs
    tree = auditing.view_audit(quick_database, orchard.supervisor, first).walk[3]
    amending.amend_tree(
        quick_database,
        orchard.supervisor,
        first,
        tree.id,
        answers=right(top=fault(Fault.HIGH)),
        reason="looked again",
        client_id=str(uuid4()),
        device=PHONE,
        now=LATER,
    )
    (after,) = agreement.view_agreement(quick_database, orchard.owner, 2025, LATER).pairs
    assert after == before


def test_trees_without_any_fault_say_so_and_count(quick_database, orchard, pruned):
    reference_walk(quick_database, orchard, pruned, high_every(4))
    view = agreement.view_agreement(quick_database, orchard.owner, 2025, LATER)
    (own,) = [one for one in view.auditors if one.user_id == orchard.supervisor.user_id]
    assert own.stages[Stage.TOP].reading.level is AgreementLevel.GOOD
    assert own.stages[Stage.LIMBS].reading.level is AgreementLevel.NO_FAULTS
    assert own.stages[Stage.LIMBS].counts


def test_measures_and_repeats_of_a_walk(quick_database, orchard, pruned):
    walk_id = open_walk(quick_database, orchard, pruned, trees=12)

    def heights(shift: float) -> Callable[[int], dict]:
        def answers(number: int) -> dict:
            measured = {
                "kind": "top",
                "height_mm": 3000 + 7 * number + shift * (1 + number % 2),
            }
            return right(top=measured)

        return answers

    for actor, shift in ((orchard.owner, 0.0), (orchard.supervisor, 30.0)):
        audit_id = walked(quick_database, actor, walk_id, heights(shift), again=True)
        answer_all(quick_database, actor, audit_id, heights(shift + 5.0))
        calibrating.close_round(quick_database, actor, audit_id, AUDITED)
    figures = agreement.figures_of_walk(quick_database, orchard.owner, walk_id, LATER)
    top = next(one for one in figures.measures if one.stage is Stage.TOP)
    assert (top.gauge.people, top.gauge.trials, top.ranges) == (2, 2, None)
    assert top.trees == top.intraclass.trees == 12
    view = agreement.view_pair(
        quick_database,
        orchard.owner,
        orchard.owner.user_id,
        orchard.supervisor.user_id,
        2025,
        LATER,
    )
    (measured,) = [one for one in view.measured if one.stage is Stage.TOP]
    assert measured.limits.bias == pytest.approx(-45.0)


def test_poor_agreement_is_what_leaves_an_auditor_out(monkeypatch, quick_database, orchard, pruned):
    """Planted: without the rule that a poor reading stays, twenty good trees would be enough."""
    reference_walk(quick_database, orchard, pruned, high_every(4, shift=1))
    reference_walk(quick_database, orchard, pruned, high_every(4), trees=20)
    assert not_counted(quick_database, orchard) != frozenset()
    monkeypatch.setattr(check_trees, "_TELLING", frozenset())
    assert not_counted(quick_database, orchard) == frozenset()


def test_not_scored_is_left_out_of_pairs():
    rating = check_trees.Rating
    answers = [rating(1, Stage.TOP, Result.NOT_SCORED), rating(2, Stage.TOP, Result.NOT_DUE)]
    others = [rating(1, Stage.TOP, Result.NONCONFORMING), rating(2, Stage.TOP, Result.CONFORMING)]
    assert check_trees.fault_table(answers, others, Stage.TOP) == [[0, 0], [0, 1]]
