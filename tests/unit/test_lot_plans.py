"""Plans of a lot: one for each stage, all on the same trees, by the method of the standard."""

import math

import pytest
from scipy.stats import hypergeom, nct, norm

from audits.lot_plans import consumer_risk, plan_lot
from audits.sampling import (
    DoublePlan,
    MeasuredPlan,
    SinglePlan,
    WavePlan,
    acceptance_probability_at_count,
    trees_until_all_decided,
    walk_sizes,
)
from audits.sampling.tables import Inspection, table_plan
from audits.standard import (
    HeadingStageRule,
    LimbsRule,
    Promise,
    SamplingRule,
    Standard,
    TopRule,
    preset,
)
from audits.vocabulary import BearingHabit, HeadingRule, PlanMethod, Stage, Strictness

DESIGNED = [PlanMethod.WAVES, PlanMethod.SINGLE, PlanMethod.DOUBLE]
MIXED = LimbsRule(promise=Promise(acceptable_fraction=0.02, rejectable_fraction=0.2))


def written_standard(method=PlanMethod.WAVES, sampling=None, **changes) -> Standard:
    parts = {
        "top": TopRule(target_mm=3_000),
        "heading": HeadingStageRule(rule=HeadingRule.REQUIRED),
        "row_spacing_mm": 3_350.0,
        "sampling": SamplingRule(method=method, **(sampling or {})),
    }
    return Standard(**(parts | changes))


def counts(promise, lot_size):
    acceptable = math.floor(promise.acceptable_fraction * lot_size + 1e-9)
    rejectable = math.ceil(promise.rejectable_fraction * lot_size - 1e-9)
    return acceptable, rejectable


@pytest.mark.parametrize("method", DESIGNED)
@pytest.mark.parametrize("lot_size", [40, 155, 310, 1_200])
@pytest.mark.parametrize("limbs", [LimbsRule(), MIXED], ids=["alike", "mixed"])
def test_the_risks_hold_for_the_real_lot(method, lot_size, limbs):
    standard = written_standard(method, limbs=limbs)
    plans = plan_lot(standard, lot_size, standard.stages_in_use)
    assert list(plans) == list(Stage)
    kept = 1.0
    for stage, plan in plans.items():
        acceptable, rejectable = counts(standard.rule(stage).promise, lot_size)
        kept *= acceptance_probability_at_count(plan, acceptable, lot_size)
        passed = acceptance_probability_at_count(plan, rejectable, lot_size)
        assert passed <= standard.consumer_risk + 1e-12
    assert 1 - kept <= standard.producer_risk + 1e-12


@pytest.mark.parametrize("lot_size", [40, 155, 310, 1_200])
def test_single_plans_agree_with_scipy(lot_size):
    """Both risks recomputed with scipy.stats.hypergeom, an independent implementation."""
    standard = written_standard(PlanMethod.SINGLE)
    for plan in plan_lot(standard, lot_size, standard.stages_in_use).values():
        _, rejectable = counts(standard.top.promise, lot_size)
        passed = hypergeom.cdf(plan.most_accepted, lot_size, rejectable, plan.sample_size)
        assert passed == pytest.approx(
            acceptance_probability_at_count(plan, rejectable, lot_size), rel=1e-9
        )


@pytest.mark.parametrize("method", DESIGNED)
def test_stages_that_promise_differently_are_walked_together(method):
    standard = written_standard(method, limbs=MIXED)
    plans = plan_lot(standard, 310, standard.stages_in_use)
    assert len({tuple(wave.size for wave in plan.waves) for plan in plans.values()}) == 1
    assert plans[Stage.LIMBS] != plans[Stage.TOP]


def test_a_standard_says_nothing_and_gets_waves():
    standard = preset(BearingHabit.STANDARD, 3_350.0)
    plans = plan_lot(standard, 310, standard.stages_in_use)
    assert {type(plan) for plan in plans.values()} == {WavePlan}
    assert len(walk_sizes(plans.values())) == 2


def test_waves_spare_trees_against_one_sample():
    expected = {}
    for method in DESIGNED:
        standard = written_standard(method)
        plans = plan_lot(standard, 300, standard.stages_in_use)
        expected[method] = trees_until_all_decided([(plan, 15) for plan in plans.values()], 300)
    assert expected[PlanMethod.WAVES] == pytest.approx(22.74, abs=0.01)
    assert expected[PlanMethod.WAVES] < expected[PlanMethod.DOUBLE] < expected[PlanMethod.SINGLE]


def test_a_double_plan_has_two_samples_of_one_size():
    standard = written_standard(PlanMethod.DOUBLE)
    for plan in plan_lot(standard, 310, standard.stages_in_use).values():
        assert isinstance(plan, DoublePlan)
        assert plan.first_sample_size == plan.second_sample_size


def test_plans_of_the_tables_follow_each_stages_inspection():
    sampling = {"acceptable_quality_limit": 4.0}
    standard = written_standard(PlanMethod.TABLE, sampling)
    plans = plan_lot(
        standard, 310, [Stage.TOP, Stage.LIMBS], inspections={Stage.LIMBS: Inspection.TIGHTENED}
    )
    assert plans[Stage.TOP] == table_plan(310, 4.0)
    assert plans[Stage.LIMBS] == table_plan(310, 4.0, inspection=Inspection.TIGHTENED)


@pytest.mark.parametrize("method", DESIGNED)
def test_stricter_passes_fewer_bad_lots_and_lighter_more(method):
    standard = written_standard(method)
    passed = []
    for strictness in (Strictness.STRICTER, Strictness.AS_WRITTEN, Strictness.LIGHTER):
        plan = plan_lot(standard, 310, [Stage.TOP], strictness=strictness)[Stage.TOP]
        passed.append(acceptance_probability_at_count(plan, 78, 310))
        assert passed[-1] <= consumer_risk(standard, strictness)
    assert passed == sorted(passed)
    assert len(set(passed)) == 3


def test_fewer_stages_need_no_more_trees():
    standard = written_standard(PlanMethod.SINGLE)
    one = plan_lot(standard, 310, [Stage.TOP])[Stage.TOP]
    four = plan_lot(standard, 310, standard.stages_in_use)[Stage.TOP]
    assert one.sample_size <= four.sample_size


@pytest.mark.parametrize("method", DESIGNED)
def test_the_same_question_gives_the_same_plan(method):
    standard = written_standard(method, limbs=MIXED)
    stages = standard.stages_in_use
    assert plan_lot(standard, 310, stages) == plan_lot(standard, 310, stages)


@pytest.mark.parametrize("method", DESIGNED)
@pytest.mark.parametrize("lot_size", [1, 2, 4])
def test_of_a_tiny_lot_every_tree_is_looked_at(method, lot_size):
    plan = plan_lot(written_standard(method), lot_size, [Stage.TOP])[Stage.TOP]
    assert plan.sample_size == lot_size
    assert plan.waves[-1].most_accepted == 0


def test_a_farms_usual_row_takes_a_walk_of_some_thirty_trees():
    standard = preset(BearingHabit.STANDARD, 3_350.0)
    plan = plan_lot(standard, 310, standard.stages_in_use)[Stage.TOP]
    assert isinstance(plan, WavePlan)
    assert 20 <= plan.sample_size <= 40


def test_one_sample_is_a_single_plan():
    standard = written_standard(PlanMethod.SINGLE)
    assert isinstance(plan_lot(standard, 310, [Stage.TOP])[Stage.TOP], SinglePlan)


def measuring_standard(method=PlanMethod.WAVES, *, cuts_too=False, promise=None) -> Standard:
    return written_standard(
        method,
        top=TopRule(target_mm=3_000, measured=True, by_mean=True, promise=promise or Promise()),
        heading=HeadingStageRule(
            rule=HeadingRule.REQUIRED,
            looked_at=1,
            most_wrong=0,
            measured=cuts_too,
            by_mean=cuts_too,
        ),
    )


class TestByMean:
    def test_the_usual_row_is_measured_on_24_trees_instead_of_30(self):
        standard = measuring_standard()
        plans = plan_lot(standard, 310, standard.stages_in_use)
        assert isinstance(plans[Stage.TOP], MeasuredPlan)
        assert plans[Stage.TOP].measured_size == 24
        single = plan_lot(written_standard(PlanMethod.SINGLE), 310, standard.stages_in_use)
        assert single[Stage.TOP].sample_size == 30

    @pytest.mark.parametrize("method", DESIGNED)
    @pytest.mark.parametrize("lot_size", [310, 1_200])
    def test_both_ways_together_keep_the_promises(self, method, lot_size):
        """The mean by scipy.stats.nct with all of the fraction on one side, and the count."""
        standard = measuring_standard(method)
        plan = plan_lot(standard, lot_size, standard.stages_in_use)[Stage.TOP]
        variables = plan.variables

        def passed_by_mean(fraction):
            size = variables.sample_size
            shift = -norm.ppf(fraction) * math.sqrt(size)
            return nct.sf(variables.k * math.sqrt(size), size - 1, shift)

        def passed_by_count(trees):
            return acceptance_probability_at_count(plan.counted, trees, lot_size)

        acceptable, rejectable = counts(standard.top.promise, lot_size)
        stage_risk = 1 - (1 - standard.producer_risk) ** 0.25
        sent_back = (1 - passed_by_mean(0.05)) + (1 - passed_by_count(acceptable))
        assert sent_back <= stage_risk + 1e-9
        passed = passed_by_mean(0.25) + passed_by_count(rejectable)
        assert passed <= standard.consumer_risk + 1e-9

    @pytest.mark.parametrize("method", DESIGNED)
    def test_the_other_stages_keep_their_promises_and_end_a_wave_with_the_measured_trees(
        self, method
    ):
        standard = measuring_standard(method, cuts_too=True)
        plans = plan_lot(standard, 310, standard.stages_in_use)
        first = plans[Stage.TOP].measured_size
        assert plans[Stage.HEADING].measured_size == first
        assert len(walk_sizes(plans.values())) <= 3
        for stage in (Stage.LIMBS, Stage.COLUMNS):
            assert plans[stage].waves[0].size == first
            assert acceptance_probability_at_count(plans[stage], 78, 310) <= 0.10
            kept = acceptance_probability_at_count(plans[stage], 15, 310)
            assert 1 - kept <= 1 - 0.95**0.25 + 1e-12

    @pytest.mark.parametrize("method", DESIGNED)
    @pytest.mark.parametrize("lot_size", [4, 30, 60])
    def test_small_lots_are_counted(self, method, lot_size):
        """The mean knows nothing of the lot's size, and counting does."""
        standard = measuring_standard(method)
        plans = plan_lot(standard, lot_size, standard.stages_in_use)
        assert plans == plan_lot(written_standard(method), lot_size, standard.stages_in_use)

    def test_fractions_too_close_for_the_mean_are_counted(self):
        promise = Promise(acceptable_fraction=0.05, rejectable_fraction=0.07)
        plans = plan_lot(measuring_standard(promise=promise), 310, [Stage.TOP])
        assert isinstance(plans[Stage.TOP], WavePlan)

    def test_stages_with_other_promises_are_measured_on_the_same_trees(self):
        promise = Promise(acceptable_fraction=0.02, rejectable_fraction=0.2)
        standard = measuring_standard(cuts_too=True, promise=promise)
        plans = plan_lot(standard, 310, standard.stages_in_use)
        top, heading = plans[Stage.TOP], plans[Stage.HEADING]
        assert top.measured_size == heading.measured_size
        assert top.counted.sizes == heading.counted.sizes
        assert top.variables.k > heading.variables.k

    def test_a_re_audit_of_the_measured_stage_alone_is_measured(self):
        plan = plan_lot(measuring_standard(), 310, [Stage.TOP])[Stage.TOP]
        assert isinstance(plan, MeasuredPlan)


def test_a_sample_that_nobody_walks_is_not_searched_for_waves():
    near = Promise(acceptable_fraction=0.05, rejectable_fraction=0.08)
    standard = written_standard(top=TopRule(target_mm=3_000, promise=near))
    plan = plan_lot(standard, 5_000, [Stage.TOP])[Stage.TOP]
    assert plan.sample_size > 250
    assert len(plan.waves) == 1
