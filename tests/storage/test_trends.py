"""What the records of a season say of workers, on both databases."""

from datetime import UTC, datetime

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from audits.control.choice import ChartKind, DueTree
from audits.control.limits import Signal
from audits.control.signals import stage_charts
from audits.errors import NotAllowed, NotFound
from audits.estimates import RateLevel, wilson
from audits.services import trends
from audits.services.agreement import WhoCounts
from audits.services.trends import (
    _may_signal,
    crew_trend,
    list_workers,
    worker_trend,
    workers_with_signal,
)
from audits.standard import preset, read_standard
from audits.storage.queries.farms import farm_by_id
from audits.storage.queries.fetch import insert
from audits.storage.queries.trends import (
    TrendLine,
    due_outcomes,
    standard_versions,
    trend_lines,
)
from audits.storage.tables import block, orchard_row, worker
from audits.vocabulary import BearingHabit, Fault, Purpose, Result, Side, Stage
from tests.orchard import plant_orchard
from tests.scored_season import (
    SEASON,
    BlockIds,
    Scored,
    add_audit,
    add_lot,
    amend_tree,
    day,
    right,
    score_draw,
    trees,
    wrong,
)
from tests.statements import statements_of

NOW = datetime(2026, 1, 20, 17, tzinfo=UTC)
TOP = Stage.TOP


@pytest.fixture
def database(migrated_database):
    return migrated_database


@pytest.fixture
def orchard(database):
    return plant_orchard(database, NOW)


@pytest.fixture
def worker_id(orchard):
    return orchard.worker_ids[0]


def season_of_trees(database, orchard, worker_id, patterns, *, stage=TOP):
    """Add an audit a day, each in the next row, by two auditors in turn."""
    auditors = (orchard.supervisor.user_id, orchard.owner.user_id)
    with database.write() as connection:
        return [
            add_audit(
                connection,
                orchard,
                trees(stage, worker_id, pattern),
                started_at=day(number),
                row=number % len(orchard.row_ids),
                auditor_id=auditors[number % 2],
            )
            for number, pattern in enumerate(patterns, start=1)
        ]


def retire(database, worker_id):
    with database.write() as connection:
        connection.execute(worker.update().where(worker.c.id == worker_id).values(retired=True))


def trend_of(database, orchard, worker_id, season=SEASON):
    return worker_trend(database, orchard.supervisor, worker_id, season)


def only_stage(database, orchard, worker_id):
    (trend,) = trend_of(database, orchard, worker_id).stages
    return trend


def test_due_trees_are_counted_and_what_was_not_due_or_not_scored_is_left_out(
    database, orchard, worker_id
):
    with database.write() as connection:
        add_audit(
            connection,
            orchard,
            [*trees(TOP, worker_id, "oxo--"), {TOP: Scored(worker_id, Result.NOT_SCORED)}],
            started_at=day(1),
        )
    reading = only_stage(database, orchard, worker_id).reading
    assert (reading.nonconforming, reading.due) == (1, 3)


def test_outcomes_come_in_scoring_order_whatever_the_order_of_entry(database, orchard, worker_id):
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, worker_id, "xxo"), started_at=day(9))
        add_audit(connection, orchard, trees(TOP, worker_id, "oox"), started_at=day(2), row=1)
    with database.read() as connection:
        outcomes = due_outcomes(connection, orchard.farm_id, SEASON, [worker_id])
    assert [outcome.nonconforming for outcome in outcomes] == [0, 0, 1, 1, 1, 0]


def test_nine_due_trees_give_counts_and_neither_rate_nor_chart(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, ["oox", "oox", "oox"])
    trend = only_stage(database, orchard, worker_id)
    assert trend.reading.level is RateLevel.COUNTS
    assert trend.reading.interval is None
    assert trend.reading.fraction is None
    assert trend.chart is None


def test_29_due_trees_give_a_range_and_nothing_to_compare(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, ["x" * 10, "x" * 10, "x" * 9])
    trend = only_stage(database, orchard, worker_id)
    assert trend.reading.level is RateLevel.RANGE
    assert trend.reading.interval == wilson(29, 29)
    assert trend.reading.fraction is None
    assert trend.chart is None
    assert not trend.has_signal
    assert not trend.is_beyond_standard


def test_thirty_trees_of_three_days_three_rows_and_two_auditors_stand_beside_the_standard(
    database, orchard, worker_id
):
    season_of_trees(database, orchard, worker_id, ["ooooooooox"] * 3)
    trend = only_stage(database, orchard, worker_id)
    assert trend.reading.level is RateLevel.COMPARABLE
    assert trend.reading.fraction == pytest.approx(0.1)
    assert trend.accepted_fraction == 0.05
    assert trend.beside_standard
    assert trend.chart.centre == 0.05


def test_thirty_trees_scored_by_one_auditor_are_charted_against_the_worker_alone(
    database, orchard, worker_id
):
    with database.write() as connection:
        for number in (1, 2, 3):
            add_audit(
                connection,
                orchard,
                trees(TOP, worker_id, "ooooooooox"),
                started_at=day(number),
                row=number,
            )
    trend = only_stage(database, orchard, worker_id)
    assert trend.reading.level is RateLevel.RANGE
    assert not trend.beside_standard
    assert trend.chart.centre == pytest.approx(0.1)
    assert trend.promise is None, "the own rate moves along with the faults"


def test_a_block_of_trees_runs_over_the_end_of_an_audit(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, ["oooooox", "xoooooo", "o" * 14, "xxx"])
    chart = only_stage(database, orchard, worker_id).chart
    assert [(point.due, point.nonconforming) for point in chart.points] == [
        (10, 2),
        (10, 0),
        (10, 2),
    ]
    assert (chart.waiting.due, chart.waiting.nonconforming) == (1, 1)


def test_shared_results_never_count_for_a_person(database, orchard, worker_id):
    with database.write() as connection:
        add_audit(
            connection,
            orchard,
            [*trees(TOP, worker_id, "oo"), *trees(TOP, None, "xxxxxxxxxx")],
            started_at=day(1),
        )
    trend = trend_of(database, orchard, worker_id)
    (stage,) = trend.stages
    assert (stage.reading.nonconforming, stage.reading.due) == (0, 2)
    assert (trend.shared.readings[TOP].nonconforming, trend.shared.readings[TOP].due) == (10, 10)
    assert trend.shared.crew == "Crew A"


def test_shared_results_of_a_crew_of_four_are_held_back(database, orchard, worker_id):
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, None, "oooo"), started_at=day(1))
    for gone in orchard.worker_ids[-2:]:
        retire(database, gone)
    shared = trend_of(database, orchard, worker_id).shared
    assert shared.is_too_small
    assert not shared.readings


def test_an_amended_tree_counts_once_and_by_its_latest_version(database, orchard, worker_id):
    with database.write() as connection:
        ids = add_audit(connection, orchard, trees(TOP, worker_id, "xxo"), started_at=day(1))
        amend_tree(connection, orchard, ids, 1, {TOP: right(worker_id)})
    trend = only_stage(database, orchard, worker_id)
    assert (trend.reading.nonconforming, trend.reading.due) == (1, 3)
    assert [fault.position for fault in trend.faults] == [14]
    with database.read() as connection:
        outcomes = due_outcomes(connection, orchard.farm_id, SEASON, [worker_id])
    assert [outcome.nonconforming for outcome in outcomes] == [0, 1, 0]


@pytest.mark.parametrize("purpose", [Purpose.RE_AUDIT, Purpose.START_CHECK])
def test_only_first_audits_count(database, orchard, worker_id, purpose):
    with database.write() as connection:
        add_audit(
            connection, orchard, trees(TOP, worker_id, "xxx"), started_at=day(1), purpose=purpose
        )
    assert trend_of(database, orchard, worker_id).stages == ()


def test_an_audit_counts_once_it_is_sealed(database, orchard, worker_id):
    with database.write() as connection:
        add_audit(
            connection, orchard, trees(TOP, worker_id, "xxx"), started_at=day(1), sealed=False
        )
    assert trend_of(database, orchard, worker_id).stages == ()


def test_trees_of_open_audits_and_other_seasons_are_not_even_read(database, orchard, worker_id):
    with database.write() as connection:
        scored = trees(TOP, worker_id, "xx")
        add_audit(connection, orchard, scored, started_at=day(1), sealed=False)
        add_audit(connection, orchard, scored, started_at=day(-400), row=1)
        add_audit(connection, orchard, trees(TOP, worker_id, "x"), started_at=day(2), row=2)
    with database.read() as connection:
        assert len(due_outcomes(connection, orchard.farm_id, SEASON, [worker_id])) == 1
    assert [fault.row_number for fault in only_stage(database, orchard, worker_id).faults] == [3]


def test_a_second_auditors_scores_of_the_same_trees_do_not_count_again(
    database, orchard, worker_id
):
    scored = trees(TOP, worker_id, "oox")
    with database.write() as connection:
        first = add_audit(connection, orchard, scored, started_at=day(1))
        score_draw(
            connection,
            orchard,
            first,
            trees(TOP, worker_id, "xxx"),
            started_at=day(1, 16),
            auditor_id=orchard.owner.user_id,
        )
    reading = only_stage(database, orchard, worker_id).reading
    assert (reading.nonconforming, reading.due) == (1, 3)


def test_last_faults_tell_day_place_and_side_the_latest_first(database, orchard, worker_id):
    fork = wrong(worker_id, Fault.FORK, Fault.UPRIGHT)
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, worker_id, "ox"), started_at=day(3), row=3)
        add_audit(connection, orchard, [{Stage.COLUMNS: fork}], started_at=day(5, 2), row=1)
    top, columns = trend_of(database, orchard, worker_id).stages
    (high,), (forked,) = top.faults, columns.faults
    assert (high.row_number, high.position, high.side) == (4, 14, Side.BOTH)
    assert high.block == "Creek Block"
    assert high.faults == (Fault.HIGH,)
    assert (forked.position, forked.side) == (7, Side.LEFT)
    assert forked.faults == (Fault.FORK, Fault.UPRIGHT)
    # Two in the morning in Greenwich is still the evening before on the farm.
    assert forked.scored_on == day(4).date()


def test_at_most_five_faults_of_a_stage_are_listed_and_they_are_the_latest(
    database, orchard, worker_id
):
    season_of_trees(database, orchard, worker_id, ["xxxx", "xxxx"])
    faults = only_stage(database, orchard, worker_id).faults
    assert [(fault.scored_on.day, fault.position) for fault in faults] == [
        (2, 28),
        (2, 21),
        (2, 14),
        (2, 7),
        (1, 28),
    ]


def test_another_season_is_kept_apart(database, orchard, worker_id):
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, worker_id, "xx"), started_at=day(-400))
        add_audit(connection, orchard, trees(TOP, worker_id, "o"), started_at=day(1), row=1)
    trend = trend_of(database, orchard, worker_id)
    assert trend.stages[0].reading.due == 1
    assert trend.seasons == [2025, 2024]
    assert trend_of(database, orchard, worker_id, season=2024).stages[0].reading.due == 2


def test_a_worker_is_shown_their_own_records_only(database, orchard):
    own, other = orchard.worker_ids[:2]
    assert worker_trend(database, orchard.worker, own, SEASON).worker.id == own
    with pytest.raises(NotAllowed):
        worker_trend(database, orchard.worker, other, SEASON)
    # Nor may a worker learn which records exist.
    with pytest.raises(NotAllowed):
        worker_trend(database, orchard.worker, 9999, SEASON)
    with pytest.raises(NotAllowed):
        list_workers(database, orchard.worker, SEASON)


def test_another_farms_data_stay_out_of_sight(database, orchard, worker_id):
    other = plant_orchard(database, NOW, name="Far Slope")
    season_of_trees(database, other, other.worker_ids[0], ["x" * 20] * 3)
    season_of_trees(database, orchard, worker_id, ["oo"])
    with pytest.raises(NotFound):
        trend_of(database, orchard, other.worker_ids[0])
    listed = list_workers(database, orchard.supervisor, SEASON)
    assert {line.worker.id for line in listed.lines} == set(orchard.worker_ids)
    assert sum(sum(line.due.values()) for line in listed.lines) == 2
    with database.read() as connection:
        farm = farm_by_id(connection, orchard.farm_id)
        assert workers_with_signal(connection, farm, SEASON) == []
        assert due_outcomes(connection, orchard.farm_id, SEASON, other.worker_ids) == []


def test_workers_stand_in_the_order_of_their_names_and_not_of_their_results(database, orchard):
    for worker_id, pattern in zip(orchard.worker_ids, ["x", "o", "xx", "o", "x", "o"], strict=True):
        season_of_trees(database, orchard, worker_id, [pattern])
    with database.write() as connection:
        connection.execute(
            sa.text("update worker_name set name = 'Ángela Real' where worker_id = :worker_id"),
            {"worker_id": orchard.worker_ids[5]},
        )
    names = [line.worker.name for line in list_workers(database, orchard.supervisor, SEASON).lines]
    # Accents aside: Ángela stands among the A's, before Aurelio.
    assert names == [
        "Ángela Real",
        "Aurelio Barranco",
        "Fermín Olmedo",
        "Nélida Quintanar",
        "Ovidio Carrizal",
        "Tess Harrowgate",
    ]


def test_a_worker_who_left_is_listed_for_a_season_with_results_only(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, ["oo"])
    for gone in orchard.worker_ids[:2]:
        retire(database, gone)
    listed = {line.worker.id for line in list_workers(database, orchard.supervisor, SEASON).lines}
    assert worker_id in listed
    assert orchard.worker_ids[1] not in listed


SLIPPED = ["o" * 10, "o" * 10, "o" * 10, "ooooxxxxxx"]


def test_a_worker_whose_latest_ten_trees_slipped_has_a_signal(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, SLIPPED)
    trend = only_stage(database, orchard, worker_id)
    # With the accepted 5 %, up to 5 of 10 are explained by chance in a season of 40 blocks.
    assert [point.signal for point in trend.chart.points] == [None, None, None, Signal.ABOVE]
    assert signals(database, orchard) == {worker_id: (TOP,)}
    assert str(trend.signal.sentence).startswith("Tops run high since January 4: check")
    assert (trend.signal.nonconforming, trend.signal.due) == (6, 10)


def test_slow_faults_signal_by_their_sum_since_the_first_of_the_run(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, ["o" * 10] * 3 + ["oooxooooxx"] * 6)
    trend = only_stage(database, orchard, worker_id)
    assert not any(point.signal for point in trend.chart.points)
    assert trend.charts.total.has_signal
    assert trend.signal.since == day(4).date()
    assert (trend.signal.due, trend.signal.nonconforming) == (57, 18)


def test_measured_heights_say_how_far_off(database, orchard, worker_id):
    standard_mm = 2743.2
    with database.write() as connection:
        for number in range(1, 7):
            off = 0 if number <= 3 else 200
            measured = [
                {
                    TOP: Scored(
                        worker_id,
                        Result.NONCONFORMING if off else Result.CONFORMING,
                        (Fault.HIGH,) if off else (),
                        (standard_mm + off + 20 * (order % 3 - 1),),
                    )
                }
                for order in range(10)
            ]
            add_audit(connection, orchard, measured, started_at=day(number), row=number % 3)
    target = target_of(database, orchard)
    trend = only_stage(database, orchard, worker_id)
    assert trend.charts.choice.kind is ChartKind.HEIGHTS
    means = [point.mean_mm for point in trend.charts.heights.points]
    assert means == pytest.approx([standard_mm - target - 2] * 3 + [standard_mm - target + 198] * 3)
    assert trend.measures.trees == 60
    assert trend.measures.mean_mm == pytest.approx(standard_mm - target + 98)


@pytest.mark.parametrize(("others", "counts"), [(5, " (90 of 180 trees)"), (4, "")])
def test_a_block_that_is_worse_for_everybody_is_looked_at_first(
    database, orchard, worker_id, others, counts
):
    """
    Others fail there as often; elsewhere the same faults would be the worker's.

    The counts of fewer than five others would be figures of persons, so they are not told.
    """
    other = add_block(database, orchard)
    colleagues = orchard.worker_ids[1 : 1 + others]
    with database.write() as connection:
        for number in range(1, 7):
            lot = add_lot(connection, orchard, finished_at=day(number), block=other, row=0)
            mixed = [tree for who in colleagues for tree in trees(TOP, who, "xxooxo")]
            add_audit(connection, orchard, mixed, started_at=day(number), lot_ids=lot)
    easy = ["o" * 10] * 3
    season_of_trees(database, orchard, worker_id, easy)
    season_of_trees(database, orchard, colleagues[0], ["o" * 10] * 6)
    with database.write() as connection:
        for number in range(4, 8):
            lot = add_lot(connection, orchard, finished_at=day(number), block=other, row=0)
            own = trees(TOP, worker_id, "xoxoxooxox")
            add_audit(connection, orchard, own, started_at=day(number), lot_ids=lot)
    trend = only_stage(database, orchard, worker_id)
    assert trend.has_signal
    assert str(trend.block_first) == (
        f"Look at Steep Block first: others' tops are wrong there too{counts}."
    )
    with database.read() as connection:
        farm = farm_by_id(connection, orchard.farm_id)
        found = workers_with_signal(connection, farm, SEASON)
    (own_signal,) = [signal for signal in found if signal.worker.id == worker_id]
    assert own_signal.signals[0].block_first == trend.block_first


def leave_out(monkeypatch, auditor_id):
    who = WhoCounts(left_out=frozenset({(auditor_id, TOP)}), one_is_enough=frozenset({TOP}))
    monkeypatch.setattr(trends, "who_counts", lambda *_: who)


def test_a_block_is_not_called_hard_by_an_auditor_who_does_not_count(
    database, orchard, worker_id, monkeypatch
):
    """Nobody else works there: the faults that do not count for the worker are nobody else's."""
    other = add_block(database, orchard)
    owner = orchard.owner.user_id
    with database.write() as connection:
        for number in range(8, 15):
            lot = add_lot(connection, orchard, finished_at=day(number), block=other)
            add_audit(
                connection,
                orchard,
                trees(TOP, worker_id, "x" * 10 if number < 12 else "xoxoxxxoxx"),
                started_at=day(number),
                lot_ids=lot,
                auditor_id=owner if number < 12 else None,
            )
    season_of_trees(database, orchard, worker_id, ["o" * 10] * 6)
    leave_out(monkeypatch, owner)
    trend = only_stage(database, orchard, worker_id)
    assert trend.has_signal
    assert trend.block_first is None


def test_shared_results_leave_out_what_the_crews_page_leaves_out(
    database, orchard, worker_id, monkeypatch
):
    season_of_trees(database, orchard, None, ["x" * 10, "o" * 10] * 4)
    leave_out(monkeypatch, orchard.owner.user_id)
    crew = crew_trend(database, orchard.supervisor, orchard.crew_id, SEASON)
    assert crew.left_out == {TOP: 40}
    assert trend_of(database, orchard, worker_id).shared.readings == {TOP: crew.stages[0].reading}
    assert (crew.stages[0].reading.nonconforming, crew.stages[0].reading.due) == (0, 40)


def test_a_crews_chart_is_made_of_shared_trees_alone(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, ["x" * 10] * 3)
    season_of_trees(database, orchard, None, ["o" * 10] * 4)
    trend = crew_trend(database, orchard.supervisor, orchard.crew_id, SEASON)
    (stage,) = trend.stages
    assert (stage.reading.nonconforming, stage.reading.due) == (0, 40)
    assert len(stage.chart.points) == 4
    assert not stage.faults


def test_a_crew_of_four_shows_nothing(database, orchard):
    season_of_trees(database, orchard, None, ["o" * 10] * 4)
    for gone in orchard.worker_ids[-2:]:
        retire(database, gone)
    trend = crew_trend(database, orchard.supervisor, orchard.crew_id, SEASON)
    assert trend.is_too_small
    assert trend.stages == ()


def test_a_crews_season_is_for_those_who_lead_crews_of_the_farm(database, orchard):
    other = plant_orchard(database, NOW, name="Far Slope")
    with pytest.raises(NotAllowed):
        crew_trend(database, orchard.worker, orchard.crew_id, SEASON)
    with pytest.raises(NotFound):
        crew_trend(database, orchard.supervisor, other.crew_id, SEASON)


def test_a_signal_is_over_when_the_next_ten_trees_are_right(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, ["o" * 10, "o" * 10, "xxxxxxoooo", "o" * 10])
    assert only_stage(database, orchard, worker_id).chart.points[2].signal is Signal.ABOVE
    assert signals(database, orchard) == {}


def test_a_stable_worker_at_the_limit_has_no_signal(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, ["o" * 10, "o" * 10, "o" * 10, "oooooxxxxx"])
    assert signals(database, orchard) == {}


def test_a_worker_who_left_has_no_signal(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, SLIPPED)
    assert signals(database, orchard) == {worker_id: (TOP,)}
    retire(database, worker_id)
    assert signals(database, orchard) == {}


def test_signals_found_from_sums_first_are_those_of_every_workers_whole_chart(database, orchard):
    """The shortcut over the roll-ups must leave no signal out and add none."""
    patterns = ["o" * 13, "oxoooo" * 2, "xxoxo" * 2, "ooooxxx", "xxoo" * 3, "oxoxoxo", "o" * 31]
    for shift, worker_id in enumerate(orchard.worker_ids):
        turned = patterns[shift:] + patterns[:shift]
        season_of_trees(database, orchard, worker_id, turned, stage=list(Stage)[shift % 4])
    expected = {}
    for worker_id in orchard.worker_ids:
        trend = only_stage(database, orchard, worker_id)
        if trend.has_signal:
            expected[worker_id] = (trend.stage,)
    assert 0 < len(expected) < len(orchard.worker_ids)
    assert signals(database, orchard) == expected


@settings(
    max_examples=30,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    st.lists(st.tuples(st.integers(1, 20), st.floats(0, 1)), min_size=2, max_size=8),
    st.randoms(use_true_random=False),
)
def test_the_shortcut_over_sums_lets_no_signal_slip(audits, random):
    """In memory: what `_may_signal` refuses, no order of the trees turns into a signal."""
    lines, found = [], []
    for number, (size, rate) in enumerate(audits, start=1):
        outcomes = [random.random() < rate for _ in range(size)]
        on = day(number).date()
        lines.append(TrendLine(1, TOP, number, size, sum(outcomes), on, number % 2, 1))
        found += [DueTree(bad, on, 1, (Fault.HIGH,) if bad else ()) for bad in outcomes]
    standard = preset(BearingHabit.SPUR, 3300)
    for beside_standard in (True, False):
        charts = stage_charts(TOP, found, accepted=0.05, beside_standard=beside_standard)
        if charts.signal:
            assert _may_signal(lines, {1: standard})


def test_rates_of_roll_ups_agree_with_the_trees(database, orchard, worker_id):
    season_of_trees(database, orchard, worker_id, ["oxo-", "xxooo", "--o"])
    with database.read() as connection:
        lines = trend_lines(connection, orchard.farm_id, SEASON, worker_id)
        outcomes = due_outcomes(connection, orchard.farm_id, SEASON, [worker_id])
    assert sum(line.due for line in lines) == len(outcomes) == 9
    assert sum(line.nonconforming for line in lines) == sum(o.nonconforming for o in outcomes) == 3


@pytest.mark.parametrize("audits", [1, 12])
def test_a_page_takes_as_many_statements_for_few_trees_as_for_many(
    database, orchard, worker_id, audits
):
    season_of_trees(database, orchard, worker_id, ["ooooooxxxx"] * audits)
    with statements_of(database) as seen:
        trend_of(database, orchard, worker_id)
    # One more holds a signal against its block.
    assert len(seen) == (9 if audits < 3 else 10)
    with statements_of(database) as seen:
        list_workers(database, orchard.supervisor, SEASON)
    assert len(seen) <= 9
    with database.read() as connection, statements_of(database) as seen:
        workers_with_signal(connection, farm_by_id(connection, orchard.farm_id), SEASON)
    assert len(seen) <= 1 + 7


def add_block(database, orchard):
    """Add a block of one row with the same standard, which is all that trends look at."""
    with database.write() as connection:
        farm = {"farm_id": orchard.farm_id}
        pattern = connection.execute(sa.select(block).where(block.c.id == orchard.block_id))
        copied = dict(pattern.mappings().one()) | {"name": "Steep Block"}
        del copied["id"]
        block_id = insert(connection, block, copied)
        rows = connection.execute(
            sa.select(orchard_row).where(orchard_row.c.id == orchard.row_ids[0])
        )
        row = dict(rows.mappings().one()) | farm | {"block_id": block_id}
        del row["id"]
        return BlockIds(block_id, [insert(connection, orchard_row, row)], orchard.standard_id)


def target_of(database, orchard):
    with database.read() as connection:
        (version,) = standard_versions(connection, orchard.farm_id, [orchard.standard_id])
    return read_standard(version.payload).top.target_mm


def signals(database, orchard):
    with database.read() as connection:
        farm = farm_by_id(connection, orchard.farm_id)
        found = workers_with_signal(connection, farm, SEASON)
    listed = list_workers(database, orchard.supervisor, SEASON)
    by_worker = {signal.worker.id: signal.stages for signal in found}
    shown = {line.worker.id: line.signals for line in listed.lines if not line.worker.retired}
    assert {who: stages for who, stages in shown.items() if stages} == by_worker
    return by_worker
