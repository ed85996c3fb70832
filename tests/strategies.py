"""Standards, answers and trees as hypothesis makes them up."""

from hypothesis import strategies as st

from audits.scoring import (
    ClassAnswer,
    ColumnsMeasure,
    HeadingMeasure,
    LimbsMeasure,
    Missed,
    Tap,
    TopMeasure,
    TreeAnswers,
    possible_faults,
)
from audits.standard import ColumnsRule, HeadingStageRule, LimbsRule, Standard, TopRule
from audits.vocabulary import STAGE_FAULTS, Fault, HeadingRule, Method, Stage

CUT_FAULTS = (Fault.FLUSH_CUT, Fault.LOW_STUB, Fault.LONG_STUB, Fault.TORN_BARK)

# To 0.01 mm, as lengths are kept.
diameters = st.integers(1, 6_000).map(lambda hundredths: hundredths / 100)
heights = st.integers(50_000, 600_000).map(lambda hundredths: hundredths / 100)


@st.composite
def standards(draw) -> Standard:
    least, range_of_removals = draw(st.integers(0, 3)), draw(st.integers(0, 2))
    branches = draw(st.integers(2, 8))
    least_single = draw(st.integers(1, branches))
    thinnest = draw(st.integers(3, 8))
    tolerance = draw(st.integers(50, 300))
    return Standard(
        top=TopRule(
            target_mm=draw(st.integers(1_500, 4_500)),
            tolerance_mm=tolerance,
            outer_mm=tolerance + draw(st.integers(1, 600)),
            to_side_branch=draw(st.booleans()),
            weight=draw(st.integers(1, 5)),
        ),
        limbs=LimbsRule(
            least=least, most=least + range_of_removals, outer_count=draw(st.integers(1, 4))
        ),
        columns=ColumnsRule(
            branches=branches,
            least_single=least_single,
            outer_single=draw(st.integers(0, least_single - 1)),
        ),
        heading=HeadingStageRule(
            rule=draw(st.sampled_from(HeadingRule)),
            thinnest_mm=thinnest,
            thickest_mm=thinnest + draw(st.integers(1, 5)),
            most_wrong=draw(st.integers(0, 2)),
        ),
        row_spacing_mm=3_350,
        diameter_guard_mm=draw(st.sampled_from([0.0, 0.5, 1.0, 2.0])),
    )


def some_of(faults, *, least: int = 0):
    most = min(3, len(faults))
    return st.lists(st.sampled_from(faults), unique=True, min_size=least, max_size=most).map(tuple)


top_measures = st.builds(
    TopMeasure,
    height_mm=heights,
    topped=st.booleans(),
    to_side_branch=st.booleans(),
    leader_young=st.booleans(),
)
limbs_measures = st.builds(
    LimbsMeasure,
    cut_mm=st.lists(diameters, max_size=6).map(tuple),
    standing_mm=st.lists(diameters, max_size=4).map(tuple),
    faults=some_of(CUT_FAULTS),
)
columns_measures = st.integers(0, 12).flatmap(
    lambda looked_at: st.builds(
        ColumnsMeasure,
        looked_at=st.just(looked_at),
        single=st.integers(0, looked_at),
        # A failed tree needs a name, so one is always given.
        faults=some_of(STAGE_FAULTS[Stage.COLUMNS], least=1),
    )
)
heading_measures = st.builds(
    HeadingMeasure,
    diameters_mm=st.lists(diameters, max_size=3).map(tuple),
    left_long=st.integers(0, 2),
)
MEASURES = {
    Stage.TOP: top_measures,
    Stage.LIMBS: limbs_measures,
    Stage.COLUMNS: columns_measures,
    Stage.HEADING: heading_measures,
}


def taps(standard: Standard, stage: Stage, method: Method):
    fault = some_of(possible_faults(standard, stage, method), least=1)
    answers = [
        st.just(ClassAnswer(tap=Tap.RIGHT)),
        fault.map(lambda faults: ClassAnswer(tap=Tap.FAULT, faults=faults)),
    ]
    if stage is Stage.LIMBS:
        answers.append(st.just(ClassAnswer(tap=Tap.FEWER_NONE_LEFT)))
        answers.append(
            st.integers(0, 6).map(lambda removed: ClassAnswer(tap=Tap.RIGHT, removed=removed))
        )
    else:
        answers.append(st.just(ClassAnswer(tap=Tap.NOTHING_DUE)))
    return st.one_of(answers)


@st.composite
def trees(draw):
    """A standard, a way of working, and answers that fit both."""
    standard = draw(standards())
    method = draw(st.sampled_from(Method))
    stages = {
        stage: draw(st.one_of(taps(standard, stage, method), MEASURES[stage]))
        for stage in standard.stages_in_use
        if draw(st.integers(0, 9))
    }
    missed = draw(st.sampled_from([None, None, None, *Missed]))
    return standard, method, TreeAnswers(missed=missed, stages=stages)
