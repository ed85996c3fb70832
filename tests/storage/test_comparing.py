"""Fair comparison: hard blocks and strict auditors are found, and nobody is blamed for them."""

from datetime import timedelta

import pytest
import sqlalchemy as sa

from audits.errors import Busy, NotAllowed
from audits.messages import say
from audits.services import counted, fitting
from audits.services.agreement import WhoCounts
from audits.services.comparing import Around, Place, compare
from audits.services.fitting import Factor, ask_for_fits, pending_fits, run_fit
from audits.storage.database import Database
from audits.storage.tables import mixed_fit
from audits.vocabulary import FitKind, FitState, Stage
from tests.fair_season import add_fair_season, second_block
from tests.orchard import ROW_SPACING_MM, plant_orchard
from tests.scored_season import SEASON, Scored, add_audit, add_lot, amend_tree, day, trees

NOW = day(30)
TOP = Stage.TOP


@pytest.fixture
def database(migrated_sqlite_url):
    """SQLite, where only what is said matters; what databases do is tried on both."""
    database = Database(migrated_sqlite_url, durable=False)
    yield database
    database.close()


@pytest.fixture
def orchard(request):
    name = "quick_database" if "quick_database" in request.fixturenames else "database"
    return plant_orchard(request.getfixturevalue(name), now=day(1))


def worked_out(database, orchard, *, now=NOW):
    """Fit what is asked for, as the background process does."""
    return [
        run_fit(database, orchard.farm_id, fit_id, lambda: now)
        for fit_id in ask_for_fits(database, orchard.supervisor, SEASON, TOP, now)
    ]


def compared(database, orchard, **options):
    return compare(database, orchard.supervisor, SEASON, NOW, stage=TOP, **options)


def test_a_hard_block_blames_nobody_and_a_strict_auditor_shows(quick_database, orchard):
    season = add_fair_season(quick_database, orchard)
    crude = {line.worker.id: line for line in compared(quick_database, orchard).lines}
    worked_out(quick_database, orchard)
    found = compared(quick_database, orchard)
    fair = {line.worker.id: line for line in found.lines}

    assert {worker_id for worker_id, line in crude.items() if line.needs_a_look} == set(
        season.in_hard_block
    ), "the rate as counted alone sends people to whoever works in the hard block"
    assert [line.needs_a_look for line in fair.values()] == [False] * 6
    for worker_id in season.in_hard_block:
        assert str(fair[worker_id].words[0]) == (
            "Most of this comes from Gravel Block, where everybody has more faults."
        )
    strict = found.fit.result.level(Factor.AUDITOR, orchard.owner.user_id)
    assert strict.effect - 1.96 * strict.sd > 0
    assert [(line.name, line.side) for line in found.auditors] == [
        ("Ina Wetherell", 1),
        ("Saul Brightwater", -1),
    ]
    assert [(line.name, line.side) for line in found.blocks] == [
        ("Creek Block", -1),
        ("Gravel Block", 1),
    ]


def test_where_block_and_auditor_are_alike_none_stands_out(database, orchard):
    """The defect that the test above must see: the same season without its two causes."""
    add_fair_season(database, orchard, strict="mild", hard="easy")
    worked_out(database, orchard)
    found = compared(database, orchard)
    assert [line.side for line in (*found.auditors, *found.blocks)] == [0, 0, 0, 0]
    assert not any(line.words for line in found.lines)
    assert {point.place for point in found.funnel.points} <= {Place.INSIDE, Place.FEWER}


def test_somebody_who_stands_out_in_easy_blocks_too_is_looked_at(database, orchard):
    add_fair_season(database, orchard)
    careless = orchard.worker_ids[5]
    with database.write() as connection:
        for number in range(6):
            add_audit(
                connection,
                orchard,
                trees(TOP, careless, "x" * 14 + "o" * 6),
                started_at=day(14 + number),
                auditor_id=(orchard.supervisor, orchard.owner)[number % 2].user_id,
            )
    worked_out(database, orchard)
    looked_at = [line.worker.id for line in compared(database, orchard).lines if line.needs_a_look]
    assert looked_at == [careless]


def test_around_the_farms_own_rate_the_funnel_stands_elsewhere(database, orchard):
    add_fair_season(database, orchard)
    standard = compared(database, orchard).funnel
    farm = compared(database, orchard, around=Around.FARM).funnel
    assert standard.centre == 0.05
    assert farm.centre == pytest.approx(sum(p.reading.nonconforming for p in farm.points) / 1440)
    assert farm.is_widened, "two groups of people that differ by their block alone"


def test_people_of_few_trees_are_counted_and_never_listed(database, orchard):
    with database.write() as connection:
        for number, worker_id in enumerate(orchard.worker_ids[:2]):
            for audit in range(3):
                add_audit(
                    connection,
                    orchard,
                    trees(TOP, worker_id, "o" * (10 if number else 9) + "x"),
                    started_at=day(1 + audit),
                    row=audit,
                    auditor_id=(orchard.supervisor, orchard.owner)[audit % 2].user_id,
                )
    found = compared(database, orchard)
    assert (found.people, found.set_beside) == (2, 2)
    with database.write() as connection:
        connection.execute(
            sa.text("update rollup set due = 9 where worker_id = :w"), {"w": orchard.worker_ids[0]}
        )
    found = compared(database, orchard)
    assert (found.people, found.set_beside) == (2, 1)
    assert [line.worker.id for line in found.lines] == [orchard.worker_ids[1]]


@pytest.mark.parametrize("pattern", ["o" * 12, "x" * 12])
def test_one_person_one_auditor_and_no_difference_end_in_sentences(database, orchard, pattern):
    with database.write() as connection:
        for number in range(4):
            add_audit(
                connection,
                orchard,
                trees(TOP, orchard.worker_ids[0], pattern),
                started_at=day(1 + number),
                row=number,
            )
    (fit,) = worked_out(database, orchard)
    found = compared(database, orchard)
    assert fit.state is FitState.FAILED
    assert str(found.fit.problem) in {
        "No fault was found, so nobody differs from anybody.",
        "Every tree shows the fault, so nobody differs from anybody.",
    }
    assert not found.lines
    assert found.funnel is None


def test_one_auditor_cannot_be_called_strict(database, orchard):
    with database.write() as connection:
        for number in range(4):
            for worker_id in orchard.worker_ids[:2]:
                add_audit(
                    connection,
                    orchard,
                    trees(TOP, worker_id, "ooooooooox"),
                    started_at=day(1 + number),
                    row=number,
                )
    (fit,) = worked_out(database, orchard)
    found = compared(database, orchard)
    assert fit.state is FitState.DONE
    assert str(found.auditors[0].reading) == (
        "One auditor scored all trees: whether they are strict cannot be told."
    )
    assert str(found.blocks[0].reading) == (
        "All trees stand in one block, so it is compared with none."
    )


# --- the work in the background ------------------------------------------------------------------


def test_a_fit_keeps_its_date_and_counts_what_came_since(quick_database, orchard):
    add_fair_season(quick_database, orchard)
    (fit,) = worked_out(quick_database, orchard, now=day(20))
    with quick_database.write() as connection:
        add_audit(connection, orchard, trees(TOP, orchard.worker_ids[0], "oo"), started_at=day(21))
    status = compared(quick_database, orchard).fit
    assert (fit.state, fit.progress, fit.begun_at) == (FitState.DONE, 1.0, day(20))
    assert (status.result.audits, status.result.trees, status.newer_audits) == (72, 1440, 1)


def test_a_fit_says_so_once_its_scores_were_amended(database, orchard):
    add_fair_season(database, orchard)
    with database.write() as connection:
        scored = trees(TOP, orchard.worker_ids[0], "o" * 5)
        ids = add_audit(connection, orchard, scored, started_at=day(13))
    worked_out(database, orchard)
    assert not compared(database, orchard).fit.is_outdated
    with database.write() as connection:
        (amended,) = trees(TOP, orchard.worker_ids[0], "x")
        amend_tree(connection, orchard, ids, 2, amended)
    status = compared(database, orchard).fit
    assert (status.is_outdated, status.newer_audits) == (True, 0)
    worked_out(database, orchard)
    assert not compared(database, orchard).fit.is_outdated


def test_a_fit_says_so_once_an_auditor_in_it_does_not_count(database, orchard, monkeypatch):
    add_fair_season(database, orchard)
    worked_out(database, orchard)
    who = WhoCounts(frozenset({(orchard.owner.user_id, TOP)}), frozenset({TOP}))
    monkeypatch.setattr(counted, "who_counts", lambda *_: who)
    assert compared(database, orchard).fit.is_outdated


def test_a_fit_that_knew_few_trees_of_somebody_gives_no_rate(database, orchard):
    """By now the person has enough to be compared; 29 trees have no rate, then as now."""
    somebody = orchard.worker_ids[0]
    auditors = (orchard.supervisor.user_id, orchard.owner.user_id)
    with database.write() as connection:
        for number in range(12):
            mixed = [*trees(TOP, somebody, "ox"), *trees(TOP, orchard.worker_ids[1], "oooox")]
            add_audit(
                connection,
                orchard,
                mixed,
                started_at=day(1 + number),
                row=number % 4,
                auditor_id=auditors[number % 2],
            )
    worked_out(database, orchard, now=day(14))
    with database.write() as connection:
        for number in range(3):
            more = trees(TOP, somebody, "o" * 5)
            add_audit(connection, orchard, more, started_at=day(20 + number), row=number)
    fair = {line.worker.id: line.fair for line in compared(database, orchard).lines}
    assert fair[somebody] is None
    assert fair[orchard.worker_ids[1]] is not None


def test_a_busy_database_stops_no_fit(database, orchard, monkeypatch):
    """How far the work is may be told a second later."""
    add_fair_season(database, orchard)
    told = []

    def busy(*_arguments):
        told.append(True)
        raise Busy(say("The database is busy. Try again in a moment."))

    write_down = fitting._fitted_faults

    def with_busy_database(*arguments, tell, **options):
        with monkeypatch.context() as patched:
            patched.setattr(database, "write", busy)
            return write_down(*arguments, tell=tell, **options)

    monkeypatch.setattr(fitting, "_fitted_faults", with_busy_database)
    (fit,) = worked_out(database, orchard)
    assert told
    assert fit.state is FitState.DONE


def test_what_is_being_worked_out_is_not_asked_for_twice(database, orchard):
    add_fair_season(database, orchard)
    (fit_id,) = ask_for_fits(database, orchard.supervisor, SEASON, TOP, NOW)
    assert ask_for_fits(database, orchard.owner, SEASON, TOP, NOW) == []
    assert [fit.id for fit in pending_fits(database, orchard.owner, SEASON, TOP, NOW)] == [fit_id]
    run_fit(database, orchard.farm_id, fit_id, lambda: NOW)
    assert pending_fits(database, orchard.owner, SEASON, TOP, NOW) == []


def test_a_fit_whose_process_died_is_found_and_can_be_asked_for_again(database, orchard):
    add_fair_season(database, orchard)
    (fit_id,) = ask_for_fits(database, orchard.supervisor, SEASON, TOP, NOW)
    with database.write() as connection:
        connection.execute(mixed_fit.update().values(state=FitState.RUNNING, begun_at=NOW))
    later = NOW + fitting.GIVEN_UP_AFTER
    assert pending_fits(database, orchard.owner, SEASON, TOP, later - timedelta(seconds=1))
    assert not pending_fits(database, orchard.owner, SEASON, TOP, later)

    (again,) = ask_for_fits(database, orchard.supervisor, SEASON, TOP, later)
    assert again != fit_id
    with database.read() as connection:
        states = dict(connection.execute(sa.select(mixed_fit.c.id, mixed_fit.c.state)).all())
    assert states == {fit_id: FitState.FAILED, again: FitState.ASKED}
    # A process that was only slow finds its row closed and leaves no result there.
    assert run_fit(database, orchard.farm_id, fit_id, lambda: later).state is FitState.FAILED


def test_an_error_in_the_program_leaves_no_fit_at_work(database, orchard, monkeypatch, caplog):
    add_fair_season(database, orchard)

    def broken(*_arguments, **_options):
        raise ZeroDivisionError

    monkeypatch.setattr(fitting, "_fitted_faults", broken)
    (fit,) = worked_out(database, orchard)
    assert (fit.state, fit.problem) == (FitState.FAILED, "program error")
    assert "could not be fitted" in caplog.text


def test_progress_is_written_while_the_work_goes_on(database, orchard, monkeypatch):
    add_fair_season(database, orchard)
    seen = []
    ticks = (NOW + timedelta(seconds=second) for second in range(1_000))
    write_down = fitting._fitted_faults

    def watched(*arguments, tell, **options):
        def and_look(done):
            tell(done)
            (fit,) = pending_fits(database, orchard.owner, SEASON, TOP, NOW)
            seen.append((fit.state, fit.progress))

        return write_down(*arguments, tell=and_look, **options)

    monkeypatch.setattr(fitting, "_fitted_faults", watched)
    (fit_id,) = ask_for_fits(database, orchard.supervisor, SEASON, TOP, NOW)
    run_fit(database, orchard.farm_id, fit_id, lambda: next(ticks))
    assert {state for state, _ in seen} == {FitState.RUNNING}
    shares = [share for _, share in seen]
    assert shares == sorted(shares)
    assert len(set(shares)) > 2


def test_workers_compare_nobody(database, orchard):
    with pytest.raises(NotAllowed):
        compare(database, orchard.worker, SEASON, NOW)
    with pytest.raises(NotAllowed):
        ask_for_fits(database, orchard.worker, SEASON, TOP, NOW)
    with pytest.raises(NotAllowed):
        pending_fits(database, orchard.worker, SEASON, TOP, NOW)


def test_measured_heights_tell_a_high_pole_from_high_tops(database, orchard):
    """One auditor measures 50 mm higher; one worker leaves 100 mm more."""
    high, others = orchard.worker_ids[1], orchard.worker_ids[0]
    target = 0.9 * ROW_SPACING_MM
    with database.write() as connection:
        for worker_id in orchard.worker_ids[:4]:
            for number in range(4):
                auditor = (orchard.supervisor, orchard.owner)[number % 2]
                middle = target + 100 * (worker_id == high) + 50 * (auditor is orchard.owner)
                add_audit(
                    connection,
                    orchard,
                    [
                        {TOP: Scored(worker_id, measured_mm=(middle + 7 * (tree - 4.5),))}
                        for tree in range(10)
                    ],
                    started_at=day(1 + number),
                    row=number,
                    auditor_id=auditor.user_id,
                )
    fits = worked_out(database, orchard)
    assert [fit.kind for fit in fits] == [FitKind.FAULTS, FitKind.HEIGHTS]
    heights = compared(database, orchard).heights
    people = {each.id: each for each in heights.fit.result.levels[Factor.WORKER]}
    assert people[high].value - people[others].value == pytest.approx(100, abs=5)
    auditors = {each.id: each for each in heights.fit.result.levels[Factor.AUDITOR]}
    owner, supervisor = orchard.owner.user_id, orchard.supervisor.user_id
    assert auditors[owner].value - auditors[supervisor].value == pytest.approx(50, abs=3)
    assert [(group.name, str(group.words)) for group in heights.groups] == [
        ("Ina Wetherell", "Higher than the others, beyond chance."),
        ("Saul Brightwater", "Lower than the others, beyond chance."),
    ]
    assert [line.worker.name for line in heights.lines] == [
        "Aurelio Barranco",
        "Fermín Olmedo",
        "Nélida Quintanar",
        "Tess Harrowgate",
    ]


def test_an_auditor_who_does_not_count_is_left_out_and_named(database, orchard, monkeypatch):
    """Whose scores compare workers is told by their agreement on check trees."""
    add_fair_season(database, orchard)
    owner = orchard.owner.user_id
    who = WhoCounts(left_out=frozenset({(owner, TOP)}), one_is_enough=frozenset())
    monkeypatch.setattr(counted, "who_counts", lambda *_: who)
    found = compared(database, orchard)
    assert (found.left_out, found.left_out_trees) == (("Ina Wetherell",), 720)
    assert [line.name for line in found.auditors] == ["Saul Brightwater"]
    assert (found.people, found.set_beside) == (6, 0), "one auditor is left, and it takes two"

    who = WhoCounts(left_out=frozenset({(owner, TOP)}), one_is_enough=frozenset({TOP}))
    monkeypatch.setattr(counted, "who_counts", lambda *_: who)
    assert compared(database, orchard).set_beside == 6


def test_where_everybody_has_a_block_of_their_own_nothing_tells_them_apart(database, orchard):
    hard = second_block(database, orchard)
    with database.write() as connection:
        for number in range(6):
            auditor_id = (orchard.supervisor, orchard.owner)[number % 2].user_id
            for worker_id, block, pattern in (
                (orchard.worker_ids[0], None, "o" * 19 + "x"),
                (orchard.worker_ids[1], hard, "o" * 10 + "x" * 10),
            ):
                lot = add_lot(
                    connection, orchard, finished_at=day(number, 14), row=number % 4, block=block
                )
                add_audit(
                    connection,
                    orchard,
                    trees(TOP, worker_id, pattern),
                    started_at=day(number),
                    lot_ids=lot,
                    auditor_id=auditor_id,
                )
    worked_out(database, orchard)
    found = compared(database, orchard)
    assert found.fit.result.confounded == ((Factor.WORKER, Factor.BLOCK),)
    (line,) = [line for line in found.lines if line.worker.id == orchard.worker_ids[1]]
    assert (
        "120 of 120 trees stand where nobody else pruned: there block and person cannot be told "
        "apart."
    ) in [str(sentence) for sentence in line.words]
