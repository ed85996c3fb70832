"""Measuring plans: verdicts in words, values without spread, and what is refused."""

import math
import subprocess
import sys

import pytest

from audits.errors import AuditError, InvalidInput
from audits.sampling.variables import (
    LARGEST_MEASURED_SAMPLE,
    Leaning,
    VariablesPlan,
    check_normality,
    design_variables,
    fraction_beyond,
    index_of_fraction,
    judge_measurements,
    variables_acceptance_at,
    variables_acceptance_probability,
    variables_acceptance_range,
    variables_table_plan,
)
from audits.units import LengthKind

PLAN = VariablesPlan(10, 1.2)

# Ten heights around 3000 mm that look normal, with a standard deviation of 60 mm.
AROUND = [2905.0, 2940.0, 2962.0, 2980.0, 2994.0, 3008.0, 3022.0, 3038.0, 3059.0, 3092.0]


def heights(mean=3000.0, deviation=60.0):
    return [mean + (height - 3000.0) * deviation / 56.57 for height in AROUND]


def problems_of(call, *given, **named):
    with pytest.raises(InvalidInput) as caught:
        call(*given, **named)
    return {field: str(message) for field, message in caught.value.problems.items()}


def test_heights_well_inside_are_accepted():
    verdict = judge_measurements(PLAN, heights(), lower=2850.0, upper=3150.0)
    assert verdict.accepted
    assert verdict.leaning is None
    assert verdict.outside == 0
    assert not verdict.falls_back
    assert verdict.warnings == ()
    # Both figures by hand: I(4, 4) is the chance of 4 or more in 7, here with x = 0.0580 at either
    # limit (0.0003 twice) and x = 0.2892 at k (0.1124).
    assert str(verdict.message) == (
        "By the measurements about 0.1 % of the trees lie outside the limits; "
        "up to 11.2 % is accepted."
    )


@pytest.mark.parametrize(
    ("mean", "deviation", "leaning", "sentence"),
    [
        (3090.0, 60.0, Leaning.HIGH, "The heights run high."),
        (2910.0, 60.0, Leaning.LOW, "The heights run low."),
        (3000.0, 150.0, Leaning.UNEVEN, "The heights differ too much from tree to tree."),
        # Too uneven as well, but first of all in the wrong place.
        (3200.0, 150.0, Leaning.HIGH, "The heights run high."),
        (2800.0, 150.0, Leaning.LOW, "The heights run low."),
    ],
)
def test_the_verdict_says_which_way_the_heights_lean(mean, deviation, leaning, sentence):
    verdict = judge_measurements(PLAN, heights(mean, deviation), lower=2850.0, upper=3150.0)
    assert not verdict.accepted
    assert verdict.leaning is leaning
    assert str(verdict.message).startswith(sentence + " By the measurements about")
    assert str(verdict.message).endswith("no more than 11.2 % is accepted.")


def test_uneven_heights_are_not_called_high_for_a_mean_a_little_high():
    verdict = judge_measurements(PLAN, heights(3001.0, 150.0), lower=2850.0, upper=3150.0)
    assert verdict.fraction_above > verdict.fraction_below
    assert verdict.leaning is Leaning.UNEVEN


def test_with_one_limit_there_is_one_way_to_lean():
    above = judge_measurements(PLAN, heights(3000.0), upper=3050.0)
    below = judge_measurements(PLAN, heights(3000.0), lower=2950.0)
    assert (above.leaning, below.leaning) == (Leaning.HIGH, Leaning.LOW)
    assert (above.index_below, below.index_above) == (None, None)
    assert (above.fraction_below, below.fraction_above) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("mean", "deviation", "sentence"),
    [
        (10.0, 0.5, "The cuts run thick."),
        (5.0, 0.5, "The cuts run thin."),
        (7.5, 3.0, "The cuts differ too much in thickness."),
    ],
)
def test_diameters_have_their_own_words(mean, deviation, sentence):
    values = [mean + (height - 3000.0) * deviation / 56.57 for height in AROUND]
    verdict = judge_measurements(PLAN, values, lower=5.0, upper=10.0, kind=LengthKind.DIAMETER)
    assert str(verdict.message).startswith(sentence)


def test_a_known_standard_deviation_takes_the_place_of_the_samples():
    plan = VariablesPlan(10, 1.2, known_sigma=True)
    verdict = judge_measurements(plan, heights(), lower=2850.0, upper=3150.0, sigma=100.0)
    assert verdict.index_below == pytest.approx((verdict.mean - 2850.0) / 100.0)
    assert verdict.deviation == pytest.approx(60.0, rel=0.01)
    # Normal tail beyond 1.5 * sqrt(10/9).
    tail = math.erfc(verdict.index_below * math.sqrt(10 / 9) / math.sqrt(2)) / 2
    assert verdict.fraction_below == pytest.approx(tail, rel=1e-12)
    assert verdict.warnings == ()


def test_a_spread_beyond_the_known_one_is_warned_of():
    plan = VariablesPlan(10, 1.2, known_sigma=True)
    # Chi-square of 9 degrees of freedom: 9 * 4 = 36 is exceeded 4 times in 100,000.
    verdict = judge_measurements(plan, heights(), lower=2850.0, upper=3150.0, sigma=30.0)
    (warning,) = map(str, verdict.warnings)
    assert warning.startswith("The values differ more than the known standard deviation allows.")


@pytest.mark.parametrize(
    ("value", "accepted", "leaning"),
    [
        (3000.0, True, None),
        (3150.0, True, None),
        (2850.0, True, None),
        (3150.01, False, Leaning.HIGH),
        (2849.99, False, Leaning.LOW),
    ],
)
def test_equal_heights_are_accepted_if_they_are_right(value, accepted, leaning):
    verdict = judge_measurements(PLAN, [value] * 10, lower=2850.0, upper=3150.0)
    assert (verdict.accepted, verdict.leaning) == (accepted, leaning)
    assert verdict.outside == (0 if accepted else 10)
    assert verdict.fraction_outside == (0.0 if accepted else 1.0)
    assert (verdict.mean, verdict.deviation) == (value, 0.0)
    assert verdict.normality is None
    assert not verdict.falls_back
    assert "All values are equal." in str(verdict.warnings[0])


@pytest.mark.parametrize(
    ("value", "leaning"),
    [(9.99, None), (10.0, Leaning.HIGH), (5.01, None), (5.0, Leaning.LOW)],
)
def test_a_diameter_at_the_end_of_its_guard_band_is_wrong(value, leaning):
    # Scoring holds a diameter against the crew from 1 mm beyond the band of 6 to 9 mm on.
    verdict = judge_measurements(
        PLAN, [value] * 10, lower=5.0, upper=10.0, kind=LengthKind.DIAMETER
    )
    assert verdict.leaning is leaning
    assert verdict.accepted is (leaning is None)


def test_equal_values_with_one_limit():
    assert judge_measurements(PLAN, [3.0] * 10, lower=2.0).accepted
    assert judge_measurements(PLAN, [3.0] * 10, upper=2.0).leaning is Leaning.HIGH


def test_equal_values_with_a_known_standard_deviation_are_judged_by_it():
    plan = VariablesPlan(10, 1.2, known_sigma=True)
    assert judge_measurements(plan, [3000.0] * 10, upper=3150.0, sigma=60.0).accepted
    assert not judge_measurements(plan, [3100.0] * 10, upper=3150.0, sigma=60.0).accepted


def test_values_that_differ_by_next_to_nothing_are_judged():
    values = [5e-324, *[1e-323] * 9]
    assert judge_measurements(PLAN, values, lower=0.0, upper=1.0).accepted


def test_skewed_heights_fall_back_to_counting():
    values = [2900.0 + 10 * 1.5**step for step in range(10)]
    verdict = judge_measurements(PLAN, values, upper=3500.0)
    assert verdict.falls_back
    assert verdict.warnings == (verdict.normality.warning,)
    assert str(verdict.warnings[0]) == (
        "These heights do not follow the bell curve that this plan relies on. Do not decide by "
        "their mean: count the trees outside the limits instead."
    )


def test_few_values_are_said_to_show_no_shape():
    verdict = judge_measurements(VariablesPlan(4, 1.1), [1.0, 2.0, 3.0, 4.0], upper=9.0)
    assert verdict.normality is None
    assert "cannot show whether they do" in str(verdict.warnings[0])


def test_three_values_of_a_strict_plan_need_their_distance_all_the_same():
    # From (n - 1)/sqrt(n) = 1.15 on nothing is estimated outside, and so M is 0; but k asks more.
    plan = VariablesPlan(3, 1.5)
    assert plan.largest_fraction == 0.0
    assert not plan.accepts(1.3, 1.3)
    assert plan.accepts(1.6, 1.6)
    assert variables_acceptance_at(plan, 0.0, 1.0, lower=-2.0, upper=2.0) < 0.8


def test_both_forms_of_a_plan_agree():
    plan = VariablesPlan(30, 1.86)
    assert VariablesPlan.with_largest_fraction(30, plan.largest_fraction).k == pytest.approx(1.86)
    known = VariablesPlan.with_largest_fraction(10, 0.03, known_sigma=True)
    assert known.known_sigma
    assert known.largest_fraction == pytest.approx(0.03)


def test_the_ends_of_the_curve():
    for known_sigma in (False, True):
        plan = VariablesPlan(10, 1.2, known_sigma)
        assert variables_acceptance_probability(plan, [0.0, 1.0]) == [1.0, 0.0]
        assert variables_acceptance_range(plan, 0.0) == (1.0, 1.0)
        assert variables_acceptance_range(plan, 1.0) == (0.0, 0.0)


def test_a_spread_too_wide_for_both_limits_never_passes():
    plan = VariablesPlan(10, 1.2, known_sigma=True)
    assert variables_acceptance_at(plan, 0.0, 1.0, lower=-1.0, upper=1.0) == 0.0


def test_far_away_limits_are_no_limits():
    plan = VariablesPlan(10, 1.2)
    near = variables_acceptance_at(plan, 0.0, 1.0, upper=1.5)
    assert variables_acceptance_at(plan, 0.0, 1.0, lower=-1e300, upper=1.5) == pytest.approx(near)
    assert variables_acceptance_at(plan, 0.0, 1e-300, lower=-1e300, upper=1e300) == 1.0
    assert variables_acceptance_at(plan, 1e300, 1e-300, lower=-1.0, upper=1.0) == 0.0


def test_a_design_takes_the_sample_of_another_stage():
    plan = design_variables(0.05, 0.05, 0.25, 0.10, least_sample=25)
    assert plan.sample_size == 25
    assert variables_acceptance_probability(plan, 0.05) == pytest.approx(0.95)
    assert design_variables(0.05, 0.05, 0.25, 0.10).sample_size == 16


def test_the_least_plans_of_lax_promises():
    # The limits of what is estimated: three values, or two with a known standard deviation.
    assert design_variables(0.01, 0.5, 0.9, 0.5).sample_size == 3
    assert design_variables(0.01, 0.5, 0.9, 0.5, known_sigma=True).sample_size == 2
    assert design_variables(0.4, 0.3, 0.9, 0.3, limits=2).sample_size == 3


def test_a_lot_just_large_enough_is_measured_whole():
    assert design_variables(0.05, 0.05, 0.25, 0.10, lot_size=16).sample_size == 16
    with pytest.raises(AuditError) as caught:
        design_variables(0.05, 0.05, 0.25, 0.10, lot_size=15)
    assert str(caught.value) == (
        "Measuring all 15 trees cannot promise this: it takes 16. Set the two fractions further "
        "apart, or count the trees outside the limits instead."
    )
    with pytest.raises(AuditError, match="the one tree of this lot"):
        design_variables(0.05, 0.05, 0.25, 0.10, lot_size=1)


@pytest.mark.parametrize("limits", [1, 2])
def test_fractions_too_close_for_any_sample(limits):
    with pytest.raises(AuditError, match=f"Even {LARGEST_MEASURED_SAMPLE:,} trees cannot tell"):
        design_variables(0.05, 0.05, 0.0501, 0.05, limits=limits)


@pytest.mark.parametrize(
    ("changed", "field", "part"),
    [
        ({"acceptable_fraction": 0.0}, "acceptable_fraction", "above 0"),
        ({"acceptable_fraction": -0.1}, "acceptable_fraction", "between 0 and 1"),
        ({"acceptable_fraction": math.nan}, "acceptable_fraction", "between 0 and 1"),
        ({"rejectable_fraction": 0.05}, "rejectable_fraction", "must be larger"),
        ({"rejectable_fraction": 0.01}, "rejectable_fraction", "must be larger"),
        ({"rejectable_fraction": 1.0}, "rejectable_fraction", "between 0 and 1"),
        ({"producer_risk": 0.0}, "producer_risk", "above 0 and below 1"),
        ({"consumer_risk": 1.0}, "consumer_risk", "above 0 and below 1"),
        ({"consumer_risk": math.nan}, "consumer_risk", "above 0 and below 1"),
        ({"limits": 3}, "limits", "one or two limits"),
        ({"least_sample": 0}, "least_sample", "at least 1"),
        ({"lot_size": 2.5}, "lot_size", "at least 1"),
    ],
)
def test_a_design_refuses_what_makes_no_sense(changed, field, part):
    given = {
        "acceptable_fraction": 0.05,
        "producer_risk": 0.05,
        "rejectable_fraction": 0.25,
        "consumer_risk": 0.10,
    }
    problems = problems_of(design_variables, **(given | changed))
    assert list(problems) == [field]
    assert part in problems[field]


def test_a_design_names_every_field_at_fault():
    assert set(problems_of(design_variables, 0.0, 0.0, 2.0, 1.0, limits=0, lot_size=0)) == {
        "acceptable_fraction",
        "producer_risk",
        "rejectable_fraction",
        "consumer_risk",
        "limits",
        "lot_size",
    }


def test_plans_refuse_samples_too_small_to_estimate_from():
    assert "at least 3" in problems_of(VariablesPlan, 2, 1.0)["sample_size"]
    assert "at least 2" in problems_of(VariablesPlan, 1, 1.0, known_sigma=True)["sample_size"]
    assert set(problems_of(VariablesPlan, 2.5, math.inf)) == {"sample_size", "k"}
    for fraction in (0.0, 1.0, math.nan):
        assert "largest_fraction" in problems_of(VariablesPlan.with_largest_fraction, 9, fraction)


def test_estimates_refuse_what_they_are_not_defined_for():
    assert "sample_size" in problems_of(fraction_beyond, 1.0, 2)
    assert "index" in problems_of(fraction_beyond, math.nan, 9)
    assert "fraction" in problems_of(index_of_fraction, 1.5, 9)
    assert "fraction" in problems_of(index_of_fraction, 0.0, 9, known_sigma=True)
    assert index_of_fraction(0.0, 9) == pytest.approx(8 / 3)


@pytest.mark.parametrize(
    ("changed", "field", "part"),
    [
        ({"values": AROUND[:9]}, "values", "there are 9. Measure the others too"),
        ({"values": AROUND[:1]}, "values", "there is 1. Measure the others too"),
        ({"values": [*AROUND, 3000.0]}, "values", "Take the first 10 drawn, or a plan for 11"),
        ({"values": [*AROUND[:9], math.nan]}, "values", "must be a number"),
        ({"lower": None, "upper": None}, "lower", "Give a lower limit"),
        ({"lower": 3150.0, "upper": 2850.0}, "upper", "above the lower one"),
        ({"lower": 3150.0}, "upper", "above the lower one"),
        ({"upper": math.inf}, "upper", "must be a number"),
        ({"sigma": 60.0}, "sigma", "leave the known one out"),
        ({"plan": VariablesPlan(10, 1.2, known_sigma=True)}, "sigma", "needs the known"),
        ({"plan": VariablesPlan(10, 1.2, known_sigma=True), "sigma": 0.0}, "sigma", "above 0"),
        ({"plan": VariablesPlan(10, 1.2, known_sigma=True), "sigma": -1.0}, "sigma", "above 0"),
        ({"plan": VariablesPlan(10, 1.2, known_sigma=True), "sigma": math.nan}, "sigma", "above"),
        ({"plan": VariablesPlan(10, -3.0)}, "k", "any sample would pass"),
        ({"resolution": -1.0}, "resolution", "0 or more"),
    ],
)
def test_a_verdict_refuses_what_makes_no_sense(changed, field, part):
    given = {"plan": PLAN, "values": AROUND, "lower": 2850.0, "upper": 3150.0}
    problems = problems_of(judge_measurements, **(given | changed))
    assert list(problems) == [field]
    assert part in problems[field]


def test_curves_refuse_what_makes_no_sense():
    at = variables_acceptance_at
    assert set(problems_of(at, PLAN, math.nan, 0.0, upper=1.0)) == {"mean", "sigma"}
    assert set(problems_of(at, PLAN, 0.0, 1.0)) == {"lower"}
    assert set(problems_of(at, PLAN, 0.0, 1.0, lower=1.0, upper=1.0)) == {"upper"}
    assert set(problems_of(at, VariablesPlan(4, -2.0), 0.0, 1.0, lower=0.0, upper=1.0)) == {"k"}
    assert set(problems_of(variables_acceptance_probability, PLAN, 1.01)) == {"fraction_outside"}
    assert set(problems_of(variables_acceptance_range, PLAN, -0.1)) == {"fraction_outside"}


def test_equal_values_are_spread_over_the_step_they_were_rounded_to():
    # Four readings of 7 mm and four of 8 mm stand for 6.625, 6.875, 7.125 ... 8.375 mm.
    rounded = check_normality([7.0, 8.0] * 4, resolution=1.0)
    even = check_normality([6.625 + 0.25 * step for step in range(8)])
    assert rounded.statistic == pytest.approx(even.statistic, rel=1e-12)
    assert rounded.is_normal
    assert not check_normality([7.0, 8.0] * 4).is_normal


def test_a_value_far_off_leaves_no_chance():
    check = check_normality([*range(100), 1e6])
    assert check.p_value == 0.0
    assert not check.is_normal


def test_a_lower_significance_warns_later():
    values = [2900.0 + 10 * 1.5**step for step in range(10)]
    check = check_normality(values)
    assert 0.001 < check.p_value < 0.05
    assert check_normality(values, significance=0.001).is_normal


def test_diameters_have_their_own_warning():
    check = check_normality([1.0] * 8 + [9.0], kind=LengthKind.DIAMETER)
    assert str(check.warning).startswith("These diameters do not follow")


@pytest.mark.parametrize(
    ("values", "named", "field"),
    [
        ([1.0] * 6 + [2.0], {}, "values"),
        ([3.0] * 9, {}, "values"),
        ([1.0] * 8 + [math.inf], {}, "values"),
        (AROUND, {"resolution": math.nan}, "resolution"),
        (AROUND, {"significance": 0.0}, "significance"),
    ],
)
def test_the_check_of_the_shape_refuses_what_has_none(values, named, field):
    assert set(problems_of(check_normality, values, **named)) == {field}


@pytest.mark.parametrize(
    ("changed", "field", "part"),
    [
        ({"lot_size": 2}, "lot_size", "at least 3"),
        ({"acceptable_quality_limit": 1.1}, "acceptable_quality_limit", "choose one of 0.04"),
        ({"level": "II "}, "level", "choose one of I, II, III, IV, V"),
        ({"inspection": "reduced"}, "inspection", "normal, tightened"),
        ({"standard": "another"}, "standard", "MIL-STD-414"),
        (
            {"acceptable_quality_limit": 0.04, "inspection": "tightened"},
            "acceptable_quality_limit",
            "no tightened plan at AQL 0.04",
        ),
    ],
)
def test_tables_refuse_what_they_do_not_have(changed, field, part):
    given = {"lot_size": 300, "acceptable_quality_limit": 1.0}
    problems = problems_of(variables_table_plan, **(given | changed))
    assert list(problems) == [field]
    assert part in problems[field]


def test_a_table_plan_larger_than_the_lot_is_refused():
    # Letter B at 0.25 leads down to seven trees.
    assert variables_table_plan(7, 0.25).plan.sample_size == 7
    with pytest.raises(AuditError, match="measures 7 trees, and the lot has 6"):
        variables_table_plan(6, 0.25)


def test_loading_the_plans_loads_no_numerics():
    code = (
        "import sys, audits.sampling.variables; "
        "sys.exit(bool({'scipy', 'numpy'} & sys.modules.keys()))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
