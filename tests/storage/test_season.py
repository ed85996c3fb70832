"""The owner's review of a season, on both databases."""

from datetime import UTC, date, datetime

import pytest

from audits.control.blocks import block_chart
from audits.errors import NotAllowed, NotFound
from audits.estimates import RateLevel, wilson
from audits.services import farms
from audits.services.season import describe_acceptance, review_season
from audits.storage.queries.fetch import insert
from audits.storage.tables import decision
from audits.vocabulary import Fault, LotState, Outcome, PassKind, Purpose, Stage
from tests.orchard import plant_orchard
from tests.scored_season import (
    SEASON,
    BlockIds,
    add_audit,
    add_lot,
    add_pass,
    add_rework_order,
    day,
    score_draw,
    trees,
)
from tests.statements import statements_of

NOW = datetime(2026, 1, 20, 17, tzinfo=UTC)
TOP, LIMBS = Stage.TOP, Stage.LIMBS


@pytest.fixture
def database(migrated_database):
    return migrated_database


@pytest.fixture
def orchard(database):
    return plant_orchard(database, NOW)


def review(database, orchard, **options):
    return review_season(database, orchard.owner, SEASON, **options)


def audited_lot(connection, orchard, pattern, *, at, state=LotState.ACCEPTED, refused=(), **place):
    lot_ids = add_lot(connection, orchard, finished_at=at, state=state, **place)
    return add_audit(
        connection,
        orchard,
        trees(TOP, None, pattern),
        started_at=at,
        lot_ids=lot_ids,
        refused=refused,
    )


def small_crew(database, orchard):
    """A crew of four."""
    crew_id = farms.add_crew(database, orchard.supervisor, name="Crew B")
    for number in range(4):
        farms.add_worker(
            database,
            orchard.supervisor,
            code=f"B{number}",
            name=f"Person {number}",
            language="es",
            crew_id=crew_id,
        )
    return crew_id


def test_lots_are_told_apart_by_how_they_stand(database, orchard):
    with database.write() as connection:
        audited_lot(connection, orchard, "oo", at=day(1))
        for number, state in enumerate(
            (
                LotState.ACCEPTED,
                LotState.REWORK,
                LotState.IN_AUDIT,
                LotState.CLOSED_NOT_ACCEPTED,
            )
        ):
            audited_lot(connection, orchard, "xx", at=day(2 + number), state=state, refused=[TOP])
        add_lot(connection, orchard, finished_at=day(9), state=LotState.WAITING)
        add_lot(connection, orchard, finished_at=day(9), state=LotState.IN_AUDIT)
    sums = review(database, orchard).lots
    assert sums.lots == 7
    assert sums.first_accepted == 1
    assert sums.accepted_after_rework == 1
    assert sums.in_rework == 2
    assert sums.closed == 1
    assert sums.not_audited == 2
    assert (sums.acceptance.accepted, sums.acceptance.audited) == (1, 5)


def test_lots_of_another_season_are_left_out(database, orchard):
    with database.write() as connection:
        audited_lot(connection, orchard, "oo", at=datetime(2025, 11, 1, 3, 59, tzinfo=UTC))
        audited_lot(connection, orchard, "oo", at=datetime(2025, 11, 1, 4, 1, tzinfo=UTC))
    found = review(database, orchard)
    # The farm lies in New York: the season begins at 4 o'clock in Greenwich.
    assert found.lots.lots == 1
    assert found.season.first_day == date(2025, 11, 1)


def test_a_lot_counts_by_its_first_audit_and_not_by_a_re_audit_or_a_check(database, orchard):
    with database.write() as connection:
        first = audited_lot(connection, orchard, "xxo", at=day(1), refused=[TOP])
        add_audit(
            connection,
            orchard,
            trees(TOP, None, "ooo"),
            started_at=day(3),
            lot_ids=first.lot,
            purpose=Purpose.RE_AUDIT,
        )
        score_draw(
            connection,
            orchard,
            first,
            trees(TOP, None, "ooo"),
            started_at=day(1, 20),
            auditor_id=orchard.owner.user_id,
        )
    found = review(database, orchard)
    assert found.lots.lots == 1
    assert (found.lots.acceptance.accepted, found.lots.acceptance.audited) == (0, 1)
    assert found.trees_audited == 3
    (stage,) = found.stages
    assert (stage.rate.nonconforming, stage.rate.due) == (2, 3)
    assert stage.acceptance.audited == 1


def test_the_verdict_as_issued_counts_and_one_that_reads_otherwise_as_amended_is_told(
    database, orchard
):
    with database.write() as connection:
        ids = audited_lot(
            connection, orchard, "xx", at=day(1), state=LotState.REWORK, refused=[TOP]
        )
        for stage in (TOP, None):
            insert(
                connection,
                decision,
                {
                    "farm_id": orchard.farm_id,
                    "audit_id": ids.audit_id,
                    "stage": stage,
                    "version": 2,
                    "outcome": Outcome.ACCEPTED,
                    "scored": 2,
                    "due": 2,
                    "nonconforming": 0,
                    "decided_at": day(2),
                },
            )
    found = review(database, orchard)
    assert found.lots.first_accepted == 0
    assert found.lots.in_rework == 1
    assert found.lots.read_otherwise == 1
    assert found.stages[0].acceptance.accepted == 0


def test_blocks_and_crews_stand_by_name(database, orchard):
    other = second_block(database, orchard)
    crew_b = small_crew(database, orchard)
    with database.write() as connection:
        audited_lot(connection, orchard, "o", at=day(1))
        audited_lot(connection, orchard, "x", at=day(1), refused=[TOP], block=other)
        audited_lot(connection, orchard, "o", at=day(2), block=other, crew_id=crew_b)
    found = review(database, orchard)
    assert [(line.name, line.sums.lots) for line in found.blocks] == [
        ("Alder Block", 2),
        ("Creek Block", 1),
    ]
    assert [line.name for line in found.crews] == ["Crew A", "Crew B"]


def test_a_crew_of_four_is_named_without_figures_and_cannot_be_charted(database, orchard):
    crew_b = small_crew(database, orchard)
    with database.write() as connection:
        audited_lot(connection, orchard, "o", at=day(1))
        audited_lot(connection, orchard, "x", at=day(2), crew_id=crew_b, refused=[TOP])
    found = review(database, orchard)
    assert [line.sums is None for line in found.crews] == [False, True]
    assert found.chartable_crews == {orchard.crew_id: "Crew A"}
    with pytest.raises(NotFound):
        review(database, orchard, crew_id=crew_b)


def test_a_crew_of_five_is_shown(database, orchard):
    crew_b = small_crew(database, orchard)
    farms.add_worker(
        database, orchard.supervisor, code="B9", name="One More", language="en", crew_id=crew_b
    )
    with database.write() as connection:
        audited_lot(connection, orchard, "x", at=day(2), crew_id=crew_b, refused=[TOP])
        audited_lot(connection, orchard, "oo", at=day(3))
    found = review(database, orchard, crew_id=crew_b)
    assert [line.sums.lots for line in found.crews] == [1, 1]
    (stage,) = found.stages
    assert (stage.rate.nonconforming, stage.rate.due) == (1, 1)
    assert (stage.acceptance.accepted, stage.acceptance.audited) == (0, 1)
    assert found.trees_audited == 3


def test_stages_tell_rework_and_the_fault_that_led(database, orchard):
    with database.write() as connection:
        for number, fault in enumerate((Fault.LOW, Fault.HIGH, Fault.HIGH), start=1):
            ids = add_audit(
                connection,
                orchard,
                trees(TOP, None, "xx", fault),
                started_at=day(number),
                refused=[TOP],
            )
            if fault is Fault.HIGH:
                add_rework_order(connection, orchard, ids, {TOP: fault}, created_at=day(number))
        # What was accepted all the same leads nothing, however often it was seen.
        for number in range(5, 9):
            add_audit(
                connection, orchard, trees(TOP, None, "xo", Fault.BLUNT), started_at=day(number)
            )
        add_audit(connection, orchard, trees(LIMBS, None, "oo"), started_at=day(9))
    top, limbs = review(database, orchard).stages
    assert top.leading_fault is Fault.HIGH
    assert top.reworked == 2
    assert (top.acceptance.accepted, top.acceptance.audited) == (4, 7)
    assert limbs.leading_fault is None
    assert limbs.reworked == 0


def test_people_and_the_shared_line_add_up_in_the_farms_rate(database, orchard):
    with database.write() as connection:
        add_audit(
            connection,
            orchard,
            [
                *trees(TOP, orchard.worker_ids[0], "oox"),
                *trees(TOP, orchard.worker_ids[1], "oo-"),
                *trees(TOP, None, "xo"),
            ],
            started_at=day(1),
        )
    found = review(database, orchard)
    (stage,) = found.stages
    assert (stage.rate.nonconforming, stage.rate.due) == (2, 7)
    assert found.trees_audited == 8


def test_a_tree_scored_in_four_stages_is_one_tree(database, orchard):
    with database.write() as connection:
        add_audit(
            connection,
            orchard,
            [
                {stage: scored for one in stages for stage, scored in one.items()}
                for stages in zip(*(trees(stage, None, "oxo") for stage in Stage), strict=True)
            ],
            started_at=day(1),
        )
    assert review(database, orchard).trees_audited == 3


def test_the_chart_from_sums_and_a_few_audits_is_the_chart_of_every_tree(database, orchard):
    """Audits within one block add only their sums; only those over an edge are read in order."""
    patterns = ["xoo", "oooxoo", "ooooooox", "xxoooooooooo", "oox", "o" * 9, "oxoxo", "xoooooooo"]
    with database.write() as connection:
        for number, pattern in enumerate(patterns * 2, start=1):
            add_audit(connection, orchard, trees(TOP, None, pattern), started_at=day(number))
    (stage,) = review(database, orchard).stages
    outcomes = [letter == "x" for pattern in patterns * 2 for letter in pattern]
    assert len(outcomes) == 110
    assert stage.block_size == 10
    assert stage.chart == block_chart(outcomes)
    assert len({point.nonconforming for point in stage.chart.points}) > 1


def test_a_long_season_has_larger_blocks_instead_of_more_points(database, orchard):
    with database.write() as connection:
        for number in range(1, 11):
            add_audit(connection, orchard, trees(TOP, None, "ooooox" * 5), started_at=day(number))
    (stage,) = review(database, orchard).stages
    assert stage.block_size == 20
    assert len(stage.chart.points) == 15
    assert {point.nonconforming for point in stage.chart.points} <= {3, 4}


def test_29_due_trees_give_no_chart_and_nothing_to_compare(database, orchard):
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, None, "x" * 29), started_at=day(1))
    (stage,) = review(database, orchard).stages
    assert stage.chart is None
    assert stage.rate.level is RateLevel.RANGE
    assert stage.rate.fraction is None


def test_hours_of_rework_stand_apart_and_passes_without_hours_are_told(database, orchard):
    place = BlockIds(orchard.block_id, orchard.row_ids, orchard.standard_id)
    with database.write() as connection:
        for hours, kind in (
            (40.5, PassKind.DORMANT),
            (12.0, PassKind.SUMMER),
            (None, PassKind.DORMANT),
            (6.25, PassKind.REWORK),
            (None, PassKind.REWORK),
            (None, PassKind.REWORK),
        ):
            add_pass(
                connection,
                orchard,
                place,
                crew_id=orchard.crew_id,
                ended_at=day(3),
                hours=hours,
                kind=kind,
            )
    effort = review(database, orchard).effort
    assert (effort.passes, effort.hours, effort.passes_without_hours) == (3, 52.5, 1)
    assert (effort.rework_passes, effort.rework_hours, effort.rework_without_hours) == (3, 6.25, 2)


def test_a_season_without_any_work_is_empty(database, orchard):
    found = review(database, orchard)
    assert found.lots.lots == found.trees_audited == found.effort.passes == 0
    assert found.blocks == found.crews == found.stages == found.seasons == []


def test_only_the_owner_reviews_a_season(database, orchard):
    for actor in (orchard.supervisor, orchard.worker):
        with pytest.raises(NotAllowed):
            review_season(database, actor, SEASON)


def test_another_farms_season_is_invisible(database, orchard):
    other = plant_orchard(database, NOW, name="Far Slope")
    place = BlockIds(other.block_id, other.row_ids, other.standard_id)
    with database.write() as connection:
        ids = audited_lot(connection, other, "xxx" * 12, at=day(1), refused=[TOP])
        add_rework_order(connection, other, ids, {TOP: Fault.HIGH}, created_at=day(1))
        add_pass(
            connection,
            other,
            place,
            crew_id=other.crew_id,
            ended_at=day(2),
            hours=8,
            kind=PassKind.REWORK,
        )
        audited_lot(connection, orchard, "oo", at=day(1))
    found = review(database, orchard)
    assert found.lots.lots == 1
    assert found.effort.rework_passes == 0
    assert found.trees_audited == 2
    assert [line.name for line in found.crews] == ["Crew A"]
    (stage,) = found.stages
    assert (stage.rate.due, stage.reworked) == (2, 0)
    with pytest.raises(NotFound):
        review(database, orchard, crew_id=other.crew_id)


@pytest.mark.parametrize("audits", [3, 14])
def test_the_review_takes_as_many_statements_for_few_audits_as_for_many(database, orchard, audits):
    with database.write() as connection:
        for number in range(1, audits + 1):
            add_audit(connection, orchard, trees(TOP, None, "oooox" * 3), started_at=day(number))
    with statements_of(database) as seen:
        review(database, orchard)
    assert len(seen) == 10


@pytest.mark.parametrize("audited", [0, 1, 9])
def test_few_lots_give_counts_only(audited):
    reading = describe_acceptance(audited, audited)
    assert reading.fraction is None
    assert reading.interval is None
    assert "in 10" not in str(reading.sentence)


@pytest.mark.parametrize("audited", [10, 29])
def test_up_to_29_lots_give_a_range_only(audited):
    reading = describe_acceptance(audited - 2, audited)
    assert reading.fraction is None
    assert reading.interval == wilson(audited - 2, audited)
    assert "Too few to compare" in str(reading.sentence)


def test_thirty_lots_give_a_share_with_its_range():
    reading = describe_acceptance(24, 30)
    assert reading.fraction == pytest.approx(0.8)
    # statsmodels 0.14 proportion_confint(24, 30, method="wilson") gives 0.6269 to 0.9049.
    assert reading.interval == pytest.approx((0.6269, 0.9049), abs=5e-5)
    assert str(reading.sentence) == (
        "About 8 in 10 lots accepted at the first audit, could be 6 to 10 (30 lots)."
    )


def test_a_single_refusal_is_never_rounded_away():
    assert str(describe_acceptance(59, 60).sentence).startswith("More than 9 in 10")
    assert str(describe_acceptance(60, 60).sentence).startswith("About 10 in 10")
    assert str(describe_acceptance(1, 60).sentence).startswith("Fewer than 1 in 10")
    assert str(describe_acceptance(0, 60).sentence).startswith("About 0 in 10")
    assert str(describe_acceptance(299, 300).sentence).startswith("More than 99 in 100")


@pytest.mark.parametrize(("accepted", "audited"), [(-1, 3), (4, 3)])
def test_a_count_outside_its_range_is_refused(accepted, audited):
    with pytest.raises(ValueError, match="accepted must lie between 0 and 3"):
        describe_acceptance(accepted, audited)


def second_block(database, orchard):
    """Another block with rows and a standard of its own."""
    block_id = farms.add_block(
        database,
        orchard.owner,
        name="Alder Block",
        cultivar="Hollow Red",
        habit="standard",
        rootstock="M.9",
        row_spacing_mm=3_352.8,
        tree_spacing_mm=914.4,
        top_wire_mm=3_048.0,
        planting_year=2018,
    )
    row_ids = farms.add_rows(
        database,
        orchard.owner,
        block_id,
        first_number=1,
        last_number=2,
        start_end="south",
        tree_count=310,
        since=date(2018, 4, 10),
        posts=None,
        trees_per_panel=None,
    )
    return BlockIds(block_id, row_ids, orchard.standard_id)
