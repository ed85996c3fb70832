"""Laws of table plans, switching between kinds of inspection, and sequential tests."""

import math
from itertools import pairwise, product

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from audits.sampling import acceptance_probability, average_sample_number
from audits.sampling.effort import Effort, audit_effort
from audits.sampling.sprt import SequentialTest, sequential_point, truncated_plan, wald_bound
from audits.sampling.switching import (
    CauseRemoved,
    OriginalLot,
    Reduction,
    SwitchingRules,
    long_run_acceptance,
    switching_states,
)
from audits.sampling.tables import (
    ACCEPTABLE_QUALITY_LIMITS,
    Inspection,
    InspectionLevel,
    PlanKind,
    code_letter,
    table_plan,
)

limits = st.sampled_from(ACCEPTABLE_QUALITY_LIMITS)
levels = st.sampled_from(InspectionLevel)
inspections = st.sampled_from([Inspection.NORMAL, Inspection.TIGHTENED, Inspection.REDUCED])
kinds = st.sampled_from(PlanKind)

lots = st.builds(
    OriginalLot,
    is_accepted=st.sampled_from([True, True, True, True, False]),
    nonconforming=st.integers(0, 2),
    trees=st.sampled_from([20, 50, 80]),
    score_gain=st.sampled_from([0, 2, 3, 3, 3]),
    work_is_steady=st.sampled_from([True, True, True, False]),
)
events = st.one_of(lots, lots, lots, lots, st.just(CauseRemoved()))
rules = st.builds(
    SwitchingRules,
    reduction=st.sampled_from(Reduction),
    discontinuation_lots=st.sampled_from([None, 1, 5]),
)
starts = st.sampled_from(Inspection)
chances = st.floats(0, 1)

ALLOWED_CHANGES = {
    (Inspection.NORMAL, Inspection.TIGHTENED),
    (Inspection.NORMAL, Inspection.REDUCED),
    (Inspection.TIGHTENED, Inspection.NORMAL),
    (Inspection.TIGHTENED, Inspection.DISCONTINUED),
    (Inspection.REDUCED, Inspection.NORMAL),
    (Inspection.DISCONTINUED, Inspection.TIGHTENED),
}


@st.composite
def sequential_tests(draw):
    acceptable = draw(st.floats(0.005, 0.4))
    rejectable = draw(st.floats(1.5, 8)) * acceptable
    assume(rejectable < 0.95)
    return SequentialTest(
        acceptable, draw(st.floats(0.01, 0.3)), rejectable, draw(st.floats(0.01, 0.3))
    )


@given(st.integers(2, 10**6), limits, levels, inspections, kinds)
def test_a_table_plan_never_asks_for_more_trees_than_there_are(
    lot_size, limit, level, inspection, kind
):
    plan = table_plan(lot_size, limit, level=level, inspection=inspection, kind=kind)
    assert plan.sample_size <= lot_size


@given(st.integers(2, 10**6), st.integers(2, 10**6), levels)
def test_larger_lots_never_have_an_earlier_letter(one, another, level):
    smaller, larger = sorted((one, another))
    assert code_letter(smaller, level) <= code_letter(larger, level)


@given(st.integers(2, 10**6), limits, levels, chances)
def test_tightened_inspection_never_accepts_more_than_normal(lot_size, limit, level, fraction):
    by_inspection = {
        inspection: acceptance_probability(
            table_plan(lot_size, limit, level=level, inspection=inspection),
            fraction,
            model="poisson",
        )
        for inspection in (Inspection.NORMAL, Inspection.TIGHTENED)
    }
    assert by_inspection[Inspection.TIGHTENED] <= by_inspection[Inspection.NORMAL] + 1e-12


@given(st.lists(events, max_size=40), limits, rules, starts)
def test_inspection_changes_only_in_the_ways_of_the_rules(history, limit, chosen_rules, start):
    states = switching_states(history, limit, rules=chosen_rules, start=start)
    assert len(states) == len(history) + 1
    for before, after in pairwise(states):
        if before.inspection is after.inspection:
            assert before.reason == after.reason
        else:
            assert (before.inspection, after.inspection) in ALLOWED_CHANGES
            assert after.lots == ()


@given(st.lists(events, max_size=30), st.lists(events, max_size=10), limits, rules)
def test_later_lots_never_change_what_held_before(history, later, limit, chosen_rules):
    states = switching_states(history, limit, rules=chosen_rules)
    whole = switching_states([*history, *later], limit, rules=chosen_rules)
    assert whole[: len(states)] == states


@given(st.lists(st.booleans(), max_size=40))
def test_normal_and_tightened_inspection_agree_with_a_plain_telling_of_the_rules(accepted):
    history = [OriginalLot(is_accepted) for is_accepted in accepted]
    plain = SwitchingRules(reduction=Reduction.NEVER, discontinuation_lots=None)
    is_tight, since = False, 0
    expected = [False]
    for end in range(1, len(accepted) + 1):
        lately = accepted[max(since, end - 5) : end]
        if lately == [True] * 5 if is_tight else lately.count(False) >= 2:
            is_tight, since = not is_tight, end
        expected.append(is_tight)
    states = switching_states(history, 1.0, rules=plain)
    assert [state.inspection is Inspection.TIGHTENED for state in states] == expected


@given(chances, chances)
def test_the_long_run_lies_between_the_two_plans(normal, tightened):
    found = long_run_acceptance(normal, tightened)
    assert min(normal, tightened) - 1e-12 <= found <= max(normal, tightened) + 1e-12


@given(st.lists(st.sampled_from([True, False, None]), max_size=30))
def test_effort_depends_on_the_last_five_audited_lots_alone(history):
    audited = [is_accepted for is_accepted in history if is_accepted is not None]
    few = audited[-5:] == [True] * 5
    assert (audit_effort(history).effort is Effort.ONE_IN_THREE) == few


@given(sequential_tests())
def test_the_lines_never_cross_and_never_fall(test):
    numbers = test.numbers(80)
    for _, most, fewest in numbers:
        assert most is None or fewest is None or most < fewest
    for earlier, later in pairwise(numbers):
        assert (earlier.acceptance_number or 0) <= (later.acceptance_number or 0)
        if earlier.rejection_number is not None:
            assert later.rejection_number >= earlier.rejection_number


@given(sequential_tests())
def test_walds_curves_keep_both_promises(test):
    good, bad = test.wald_point(1.0), test.wald_point(-1.0)
    assert good.fraction == pytest.approx(test.acceptable_fraction)
    assert good.acceptance == pytest.approx(1 - test.producer_risk)
    assert bad.fraction == pytest.approx(test.rejectable_fraction)
    assert bad.acceptance == pytest.approx(test.consumer_risk)


@given(sequential_tests(), st.floats(-40, 40))
def test_walds_curves_by_fraction_and_by_parameter_agree(test, exponent):
    point = test.wald_point(exponent)
    # Near 1 the fraction no longer tells the parameters apart.
    assume(point.fraction < 0.999)
    assert test.wald_point_at(point.fraction) == pytest.approx(point, rel=1e-6, abs=1e-12)


@given(sequential_tests(), st.lists(chances, min_size=2, max_size=6))
def test_worse_rows_pass_less_often_by_walds_curve(test, fractions):
    points = [test.wald_point_at(fraction) for fraction in sorted(fractions)]
    for better, worse in pairwise(points):
        assert worse.acceptance <= better.acceptance + 1e-9


@given(sequential_tests())
def test_true_averages_stay_above_the_bound_of_their_own_risks(test):
    assume(test.wald_point(0.0).trees < 200)
    good = sequential_point(test, test.acceptable_fraction)
    bad = sequential_point(test, test.rejectable_fraction)
    assume(0.0 < good.acceptance < 1.0 and 0.0 < bad.acceptance < 1.0)
    assume(1 - good.acceptance + bad.acceptance < 1)
    bound = wald_bound(
        test.acceptable_fraction, 1 - good.acceptance, test.rejectable_fraction, bad.acceptance
    )
    assert good.trees >= bound.at_acceptable * (1 - 1e-9)
    assert bad.trees >= bound.at_rejectable * (1 - 1e-9)


@given(sequential_tests(), st.integers(1, 9), st.integers(0, 8), st.floats(0.01, 0.99))
def test_truncated_tests_agree_with_every_order_of_trees(test, size, number, fraction):
    assume(number < size)
    plan = truncated_plan(test, size, number)
    accepted, trees = [], []
    for order in product((0, 1), repeat=size):
        weight = math.prod(fraction if bad else 1 - fraction for bad in order)
        for seen in range(1, size + 1):
            found = sum(order[:seen])
            # Straight from the lines; ties with them have no chance in random examples.
            in_limit = math.floor(test.slope * seen - test.acceptance_intercept)
            out_limit = math.ceil(test.slope * seen + test.rejection_intercept)
            is_in = found <= (number if seen == size else min(in_limit, number))
            if is_in or found >= min(out_limit, number + 1):
                trees.append(weight * seen)
                accepted.append(weight * is_in)
                break
    assert acceptance_probability(plan, fraction) == pytest.approx(math.fsum(accepted), abs=1e-12)
    found_trees = average_sample_number(plan, fraction, curtailed=False)
    assert found_trees == pytest.approx(math.fsum(trees), abs=1e-10)
