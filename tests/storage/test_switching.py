"""Plans of the tables, switched by a crew's history, on both databases."""

from datetime import date, timedelta

import pytest
import sqlalchemy as sa

from audits.errors import Conflict, NotAllowed, NotFound
from audits.sampling import SinglePlan
from audits.sampling.stored import plan_payload
from audits.sampling.tables import Inspection, table_plan
from audits.services import farms, planning, reworking, standards
from audits.services.inspections import note_cause_removed, table_terms, view_inspection
from audits.services.lots import view_lot
from audits.standard import read_standard
from audits.storage.queries.fetch import insert
from audits.storage.queries.standards import versions_of_block
from audits.storage.tables import decision, draw_stage
from audits.vocabulary import Fault, Purpose, Stage
from tests.orchard import TREES_IN_ROW, Orchard, plant_orchard
from tests.row_audit import AUDITED, audited, fault, first_trees, mend, prune
from tests.scored_season import add_audit, add_lot, day, score_draw, trees

# Level II and 310 trees: code letter H.
NORMAL = SinglePlan(50, 7)
TIGHTENED = SinglePlan(50, 5)
REDUCED = SinglePlan(20, 3, 6)
SETTLED = (Stage.LIMBS, Stage.COLUMNS, Stage.HEADING)


@pytest.fixture
def database(quick_database):
    return quick_database


@pytest.fixture
def orchard(database) -> Orchard:
    planted = plant_orchard(database, AUDITED)
    write_standard(database, planted, method="table")
    return planted


@pytest.fixture
def lot_id(database, orchard) -> int:
    """A lot of 310 trees that waits, pruned after all that the tests add before it."""
    return prune(database, orchard).lot_ids[0]


def write_standard(database, orchard, **sampling) -> None:
    with database.read() as connection:
        payload = versions_of_block(connection, orchard.farm_id, orchard.block_id)[0].payload
    standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=payload | {"sampling": payload["sampling"] | sampling},
        in_force_from=date(2026, 1, 2),
        now=AUDITED,
    )


def rule_of(database, orchard):
    with database.read() as connection:
        version = versions_of_block(connection, orchard.farm_id, orchard.block_id)[0]
    return read_standard(version.payload).sampling


def add_lots(
    database,
    orchard,
    verdicts,
    *,
    first_day=2,
    inspection=Inspection.NORMAL,
    from_table=True,
    pattern="ooo",
    **place,
) -> list:
    """Add a lot a day whose tops were audited by a plan: + accepted, - not accepted."""
    terms = table_terms(rule_of(database, orchard), TREES_IN_ROW, inspection) if from_table else {}
    plan = table_plan(TREES_IN_ROW, 6.5, inspection=inspection)
    added = []
    with database.write() as connection:
        for number, verdict in enumerate(verdicts):
            ids = add_audit(
                connection,
                orchard,
                trees(Stage.TOP, None, pattern),
                started_at=day(first_day + number),
                refused=[Stage.TOP] if verdict == "-" else [],
                **place,
            )
            insert(
                connection,
                draw_stage,
                {
                    "farm_id": orchard.farm_id,
                    "draw_id": ids.draw_id,
                    "stage": Stage.TOP,
                    "plan": plan_payload(plan) | terms,
                    "producer_risk": 0.05,
                    "consumer_risk": 0.1,
                },
            )
            added.append(ids)
    return added


def stage_of(database, orchard, lot_id, stage=Stage.TOP):
    view = view_inspection(database, orchard.supervisor, lot_id)
    return next(line for line in view.stages if line.stage is stage)


def plans_of(database, orchard, lot_id):
    return planning.plan_audit(database, orchard.supervisor, lot_id).plans


class TestState:
    def test_inspection_begins_as_normal(self, database, orchard, lot_id):
        line = stage_of(database, orchard, lot_id)
        assert line.state.inspection is Inspection.NORMAL
        assert str(line.state.reason) == "Inspection begins as normal inspection."
        assert set(plans_of(database, orchard, lot_id).values()) == {NORMAL}

    def test_two_of_five_lots_not_accepted_tighten_that_stage_alone(
        self, database, orchard, lot_id
    ):
        add_lots(database, orchard, "+-+-")
        line = stage_of(database, orchard, lot_id)
        assert str(line.state.reason) == (
            "Two of the last three lots were not accepted: tightened inspection from the next lot."
        )
        assert plans_of(database, orchard, lot_id) == {
            Stage.TOP: TIGHTENED,
            **dict.fromkeys(SETTLED, NORMAL),
        }

    def test_ten_good_lots_bring_reduced_inspection(self, database, orchard, lot_id):
        """Limit number for 300 trees at AQL 6.5 (MIL-STD-105E, Table VIII): 8 or fewer bad ones."""
        add_lots(database, orchard, "+" * 10, pattern="o" * 30)
        assert stage_of(database, orchard, lot_id).state.inspection is Inspection.REDUCED
        assert plans_of(database, orchard, lot_id)[Stage.TOP] == REDUCED

    def test_a_lot_in_the_gap_of_a_reduced_plan_ends_reduced_inspection(
        self, database, orchard, lot_id
    ):
        add_lots(database, orchard, "+" * 10, pattern="o" * 30)
        add_lots(
            database,
            orchard,
            "+",
            first_day=12,
            inspection=Inspection.REDUCED,
            pattern="x" * 4 + "o" * 16,
        )
        line = stage_of(database, orchard, lot_id)
        assert line.lots[-1].original.is_in_gap
        assert line.state.inspection is Inspection.NORMAL
        assert "but with more nonconforming trees" in str(line.state.reason)

    def test_five_lots_in_a_row_end_tightened_inspection(self, database, orchard, lot_id):
        add_lots(database, orchard, "--+++++")
        line = stage_of(database, orchard, lot_id)
        assert line.state.inspection is Inspection.NORMAL
        assert str(line.state.reason) == (
            "Five lots in a row were accepted: normal inspection from the next lot."
        )

    def test_the_last_lots_are_told_newest_first(self, database, orchard, lot_id):
        added = add_lots(database, orchard, "+++-++", pattern="xoo")
        line = stage_of(database, orchard, lot_id)
        assert [lot.lot_id for lot in line.last_lots] == [ids.lot.lot_id for ids in added[:0:-1]]
        assert [lot.original.is_accepted for lot in line.last_lots] == [
            True,
            True,
            False,
            True,
            True,
        ]
        assert {(lot.original.nonconforming, lot.original.trees) for lot in line.lots} == {(1, 3)}
        view = view_inspection(database, orchard.supervisor, lot_id)
        assert view.rows[added[-1].lot.lot_id] == (1,)


class TestWhatCounts:
    def test_another_version_of_the_standard_goes_on_with_it(self, database, orchard):
        add_lots(database, orchard, "--")
        write_standard(database, orchard, inspection_level="I")
        lot_id = prune(database, orchard).lot_ids[0]
        assert stage_of(database, orchard, lot_id).state.inspection is Inspection.TIGHTENED

    def test_plans_of_our_own_design_never_count(self, database, orchard, lot_id):
        add_lots(database, orchard, "-----", from_table=False)
        line = stage_of(database, orchard, lot_id)
        assert (line.state.inspection, line.lots) == (Inspection.NORMAL, [])

    def test_re_audits_never_count(self, database, orchard, lot_id):
        add_lots(database, orchard, "-----", purpose=Purpose.RE_AUDIT)
        assert stage_of(database, orchard, lot_id).lots == []

    def test_second_audits_of_a_draw_never_count(self, database, orchard, lot_id):
        (ids,) = add_lots(database, orchard, "+")
        with database.write() as connection:
            score_draw(
                connection,
                orchard,
                ids,
                trees(Stage.TOP, None, "xxx"),
                started_at=day(3),
                auditor_id=orchard.owner.user_id,
                refused=[Stage.TOP],
            )
        assert [lot.original.is_accepted for lot in stage_of(database, orchard, lot_id).lots] == [
            True
        ]

    def test_start_checks_never_count(self, database, orchard, lot_id):
        add_lots(database, orchard, "-----", purpose=Purpose.START_CHECK)
        assert stage_of(database, orchard, lot_id).lots == []

    def test_another_crew_and_another_farm_begin_anew(self, database, orchard, lot_id):
        crew_id = farms.add_crew(database, orchard.supervisor, name="Crew B")
        with database.write() as connection:
            lots = [
                add_lot(connection, orchard, finished_at=day(2), crew_id=crew_id) for _ in range(2)
            ]
        for lot_ids in lots:
            add_lots(database, orchard, "-", lot_ids=lot_ids)
        other = plant_orchard(database, AUDITED, name="Cold Spring")
        write_standard(database, other, method="table")
        add_lots(database, other, "--")
        assert stage_of(database, orchard, lot_id).lots == []

    def test_an_amendment_stands_beside_the_verdict_and_moves_nothing(
        self, database, orchard, lot_id
    ):
        (ids,) = add_lots(database, orchard, "-")
        with database.write() as connection:
            issued = connection.execute(
                sa.select(decision).where(
                    decision.c.audit_id == ids.audit_id, decision.c.stage == Stage.TOP
                )
            ).mappings()
            row = {name: value for name, value in next(iter(issued)).items() if name != "id"}
            insert(connection, decision, row | {"version": 2, "outcome": "accepted"})
        (line,) = stage_of(database, orchard, lot_id).lots
        assert not line.original.is_accepted


class TestThroughAudits:
    """The same, audited through the services that a person uses."""

    def test_a_draw_keeps_how_its_plans_were_found(self, database, orchard, lot_id):
        audited(database, orchard, lot_id)
        (drawn,) = view_lot(database, orchard.supervisor, lot_id).draws
        assert {stage.stage: stage.plan["table"] for stage in drawn.plans} == {
            stage: {
                "code_letter": "H",
                "acceptable_quality_limit": 6.5,
                "level": "II",
                "inspection": "normal",
            }
            for stage in Stage
        }

    def test_an_audit_advances_every_stage_once_and_its_re_audit_none(
        self, database, orchard, lot_id
    ):
        audited(database, orchard, lot_id, first_trees(10, top=fault(Fault.HIGH)))
        order = view_lot(database, orchard.supervisor, lot_id).orders[0]
        mend(database, orchard, order.id)
        audited(database, orchard, lot_id, first_trees(10, top=fault(Fault.HIGH)))
        verdicts = {
            stage: [
                lot.original.is_accepted for lot in stage_of(database, orchard, lot_id, stage).lots
            ]
            for stage in Stage
        }
        assert verdicts == {Stage.TOP: [False]} | {stage: [True] for stage in SETTLED}

    def test_wave_plans_keep_nothing_of_the_tables(self, database, orchard):
        write_standard(database, orchard, method="waves")
        lot_id = prune(database, orchard).lot_ids[0]
        audited(database, orchard, lot_id)
        (drawn,) = view_lot(database, orchard.supervisor, lot_id).draws
        assert all("table" not in stage.plan for stage in drawn.plans)
        assert view_inspection(database, orchard.supervisor, lot_id).stages == []

    def test_a_re_audit_is_never_reduced(self, database, orchard, lot_id):
        add_lots(database, orchard, "+" * 10, pattern="o" * 30)
        audited(database, orchard, lot_id, first_trees(20, limbs=fault(Fault.TOO_FEW)))
        order = view_lot(database, orchard.supervisor, lot_id).orders[0]
        assert {
            item.stage
            for item in reworking.view_rework(database, orchard.supervisor, order.id).items
        } == {Stage.LIMBS}
        mend(database, orchard, order.id)
        assert plans_of(database, orchard, lot_id) == {Stage.LIMBS: NORMAL}


class TestStop:
    """Five lots not accepted on tightened inspection (MIL-STD-105E, 4.8)."""

    @pytest.fixture
    def stopped(self, database, orchard) -> int:
        add_lots(database, orchard, "--" + "-+-+--+-", first_day=2)
        return prune(database, orchard).lot_ids[0]

    def test_it_is_said_and_the_lot_is_planned_as_tightened(self, database, orchard, stopped):
        line = stage_of(database, orchard, stopped)
        assert line.state.inspection is Inspection.DISCONTINUED
        assert "acceptance by sampling stops" in str(line.state.reason)
        assert plans_of(database, orchard, stopped)[Stage.TOP] == TIGHTENED

    def test_the_owner_ends_it_when_the_cause_is_put_right(self, database, orchard, stopped):
        note_cause_removed(database, orchard.owner, stopped, Stage.TOP, day(20))
        line = stage_of(database, orchard, stopped)
        assert line.state.inspection is Inspection.TIGHTENED
        assert str(line.state.reason) == (
            "The cause was put right: tightened inspection from the next lot."
        )

    def test_it_can_stop_again(self, database, orchard, stopped):
        note_cause_removed(database, orchard.owner, stopped, Stage.TOP, day(18, hour=1))
        add_lots(database, orchard, "-----", first_day=18)
        assert stage_of(database, orchard, stopped).state.inspection is Inspection.DISCONTINUED

    def test_only_a_stopped_stage_can_be_let_go_on(self, database, orchard, stopped):
        with pytest.raises(Conflict, match="not stopped"):
            note_cause_removed(database, orchard.owner, stopped, Stage.LIMBS, day(20))

    def test_a_supervisor_cannot(self, database, orchard, stopped):
        with pytest.raises(NotAllowed):
            note_cause_removed(database, orchard.supervisor, stopped, Stage.TOP, day(20))

    def test_nor_the_owner_of_another_farm(self, database, stopped):
        other = plant_orchard(database, AUDITED, name="Cold Spring")
        with pytest.raises(NotFound):
            note_cause_removed(database, other.owner, stopped, Stage.TOP, day(20))


def test_workers_do_not_see_it(database, orchard, lot_id):
    with pytest.raises(NotAllowed):
        view_inspection(database, orchard.worker, lot_id)


def test_a_lot_of_another_farm_does_not_exist(database, lot_id):
    other = plant_orchard(database, AUDITED + timedelta(days=1), name="Cold Spring")
    with pytest.raises(NotFound):
        view_inspection(database, other.supervisor, lot_id)
