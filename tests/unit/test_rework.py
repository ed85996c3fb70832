"""What goes back: only mendable faults, to the people who did them where the sample can tell."""

from audits.rework import FailedTree, ReworkLine, Stretch, rework_lines
from audits.vocabulary import MENDABLE_FAULTS, Fault, Stage

ROW, NEXT_ROW = 7, 8
ANA, BETO = 1, 2
WHOLE_ROW = Stretch(ROW, 1, 310)


def tree(*faults, worker_id=None, position=10, row_id=ROW):
    return FailedTree(row_id, position, faults, worker_id)


def redo(stage, stretch, worker_id, *faults):
    return ReworkLine(stage, mendable=True, faults=faults, stretch=stretch, worker_id=worker_id)


def lines(failed, stretches=(WHOLE_ROW,), assigned=None):
    assigned = assigned or {}
    return rework_lines(failed, stretches, lambda stage, worker: assigned.get((stage, worker), ()))


def test_without_failed_trees_nothing_goes_back():
    assert lines({}) == []
    assert lines({Stage.TOP: []}) == []


def test_a_shared_result_sends_the_whole_lot_back_to_the_crew():
    found = lines({Stage.TOP: [tree(Fault.HIGH)]}, (WHOLE_ROW, Stretch(NEXT_ROW, 5, 20)))
    assert found == [
        redo(Stage.TOP, WHOLE_ROW, None, Fault.HIGH),
        redo(Stage.TOP, Stretch(NEXT_ROW, 5, 20), None, Fault.HIGH),
    ]


def test_a_lasting_fault_is_told_apart_and_comes_after_what_can_be_mended():
    found = lines({Stage.TOP: [tree(Fault.LOW), tree(Fault.HIGH, Fault.LEADER_YOUNG)]})
    assert [(line.mendable, line.faults) for line in found] == [
        (True, (Fault.HIGH,)),
        (False, (Fault.LOW, Fault.LEADER_YOUNG)),
    ]


def test_lasting_faults_alone_ask_for_no_cut():
    found = lines({Stage.LIMBS: [tree(Fault.FLUSH_CUT)]})
    assert [line.mendable for line in found] == [False]


def test_stages_come_from_the_top_of_the_tree_down():
    found = lines(
        {
            Stage.HEADING: [tree(Fault.LEFT_LONG)],
            Stage.TOP: [tree(Fault.BLUNT)],
            Stage.COLUMNS: [tree(Fault.FORK)],
        }
    )
    assert [line.stage for line in found] == [Stage.TOP, Stage.COLUMNS, Stage.HEADING]


def test_named_people_get_the_stretches_they_did():
    found = lines(
        {
            Stage.COLUMNS: [
                tree(Fault.FORK, worker_id=ANA),
                tree(Fault.UPRIGHT, worker_id=BETO, position=200),
            ]
        },
        assigned={
            (Stage.COLUMNS, ANA): [Stretch(ROW, 1, 150)],
            (Stage.COLUMNS, BETO): [Stretch(ROW, 151, 310)],
        },
    )
    assert found == [
        redo(Stage.COLUMNS, Stretch(ROW, 1, 150), ANA, Fault.FORK),
        redo(Stage.COLUMNS, Stretch(ROW, 151, 310), BETO, Fault.UPRIGHT),
    ]


def test_stretches_of_a_person_that_meet_are_one_line():
    """Both sides assigned apart, stretches that overlap and neighbours are one way along a row."""
    found = lines(
        {Stage.TOP: [tree(Fault.HIGH, worker_id=ANA)]},
        (WHOLE_ROW, Stretch(NEXT_ROW, 1, 310)),
        {
            (Stage.TOP, ANA): [
                Stretch(NEXT_ROW, 5, 9),
                Stretch(ROW, 101, 150),
                Stretch(ROW, 1, 100),
                Stretch(ROW, 1, 100),
                Stretch(ROW, 40, 60),
                Stretch(ROW, 200, 210),
            ]
        },
    )
    assert found == [
        redo(Stage.TOP, Stretch(ROW, 1, 150), ANA, Fault.HIGH),
        redo(Stage.TOP, Stretch(ROW, 200, 210), ANA, Fault.HIGH),
        redo(Stage.TOP, Stretch(NEXT_ROW, 5, 9), ANA, Fault.HIGH),
    ]


def test_one_unnamed_failure_sends_the_stage_back_to_the_crew():
    found = lines(
        {Stage.COLUMNS: [tree(Fault.FORK, worker_id=ANA), tree(Fault.UPRIGHT)]},
        assigned={(Stage.COLUMNS, ANA): [Stretch(ROW, 1, 150)]},
    )
    assert [(line.worker_id, line.stretch) for line in found] == [(None, WHOLE_ROW)]
    assert found[0].faults == (Fault.FORK, Fault.UPRIGHT)


def test_a_persons_stretch_is_cut_to_the_lot():
    found = lines(
        {Stage.TOP: [tree(Fault.HIGH, worker_id=ANA)]},
        (Stretch(ROW, 50, 100),),
        assigned={
            (Stage.TOP, ANA): [
                Stretch(ROW, 1, 60),
                Stretch(ROW, 90, 200),
                Stretch(ROW, 101, 150),
                Stretch(NEXT_ROW, 50, 100),
            ]
        },
    )
    assert [line.stretch for line in found] == [Stretch(ROW, 50, 60), Stretch(ROW, 90, 100)]


def test_nobody_is_asked_to_redo_what_another_person_did():
    found = lines(
        {
            Stage.TOP: [
                tree(Fault.HIGH, worker_id=ANA),
                tree(Fault.LOW, worker_id=BETO),
            ]
        },
        assigned={
            (Stage.TOP, ANA): [Stretch(ROW, 1, 150)],
            (Stage.TOP, BETO): [Stretch(ROW, 151, 310)],
        },
    )
    assert [(line.worker_id, line.mendable, line.faults) for line in found] == [
        (ANA, True, (Fault.HIGH,)),
        (BETO, False, (Fault.LOW,)),
    ]


def test_the_faults_that_a_cut_can_mend_are_those_of_the_written_concept():
    # Too low, a leader too young, too many limbs, a flush cut, stripped spurs, headed thick or
    # where forbidden cannot be mended; nor can a wrong limb, torn bark or a shortened tip.
    lasting = set(Fault) - MENDABLE_FAULTS
    assert lasting == {
        Fault.LOW,
        Fault.LEADER_YOUNG,
        Fault.TOO_MANY,
        Fault.WRONG_LIMB,
        Fault.FLUSH_CUT,
        Fault.TORN_BARK,
        Fault.TIP_SHORTENED,
        Fault.SPURS_STRIPPED,
        Fault.THICK,
        Fault.FORBIDDEN,
    }
