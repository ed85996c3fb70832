"""
Sizes, powers, intervals and plans against stored cases.

`data/power.json` says of each case where it comes from: Fleiss 1981, Cohen 1988, Montgomery, Wald,
Newcombe 1998, Krejcie & Morgan 1970, Fisher 1935, and R, scipy or statsmodels. Each case states
its tolerance. What `audits.estimates` and `audits.sampling` do already is tried there.
"""

import json
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import NormalIndPower

from audits.comparison.multiple import (
    benjamini_hochberg,
    benjamini_yekutieli,
    bonferroni,
    holm,
)
from audits.comparison.power import (
    cohen_h,
    fisher_exact,
    one_sample_exact,
    one_sample_exact_size,
    p_chart_lower_limit_size,
    p_chart_sample_size,
    power_two_proportions,
    rule_of_three,
    sample_size_two_proportions,
)
from audits.estimates import (
    clopper_pearson,
    jeffreys,
    newcombe_difference,
    sample_size_for_margin,
    sample_size_to_detect,
    wilson,
)
from audits.sampling import (
    DoublePlan,
    SequentialTest,
    SinglePlan,
    acceptance_probability,
    average_sample_number,
)

DATA = json.loads((Path(__file__).parent / "data" / "power.json").read_text())
CASES = [pytest.param(case, id=case["id"]) for case in DATA["cases"]]


def two_proportions_size(given):
    size = sample_size_two_proportions(
        given["p1"],
        given["p2"],
        power=given["power"],
        alpha=given["alpha"],
        sides=given["sides"],
    )
    return {
        "n_normal": size.exact,
        "n_normal_ceiling": size.trees,
        "n_continuity_corrected": size.corrected,
        "cohen_h": size.effect,
        "n_arcsine": size.arcsine,
    }


def two_proportions_power(given):
    fractions = given["p1"], given["p2"]
    power = power_two_proportions(
        given["n"], *fractions, alpha=given["alpha"], sides=given["sides"]
    )
    return {"power": power}


def exact_test(given):
    test = one_sample_exact(
        given["p0"], given["p1"], given["n"], alpha=given["alpha"], side=given["side"]
    )
    return {
        "critical_count": test.critical_count,
        "actual_alpha": test.alpha,
        "power": test.power,
    }


def exact_size(given):
    size = one_sample_exact_size(
        given["p0"], given["p1"], power=given["power"], alpha=given["alpha"], side=given["side"]
    )
    return {"first_n": size.first, "n_from_which_power_stays": size.stays_from}


def zero_faults(given):
    size = sample_size_to_detect(given["p"], given["confidence"])
    return {"n": size.trees, "rule_of_three": rule_of_three(given["p"])}


def precision(given):
    size = sample_size_for_margin(
        given["p"],
        given["margin"],
        lot_size=given["population"],
        confidence=given["confidence"],
    )
    return {"n": size.exact}


def single_plan(given):
    plan = SinglePlan(given["n"], given["c"])
    return {"pa": [acceptance_probability(plan, p) for p in given["p"]]}


def double_plan(given):
    n1, n2, c1, c2 = (given[name] for name in ("n1", "n2", "c1", "c2"))
    plan = DoublePlan(n1, c1, c2 + 1, n2, c2)
    # The whole first and second sample, not stopped early: the average counts both.
    first = [acceptance_probability(SinglePlan(n1, c1), p) for p in given["p"]]
    both = [acceptance_probability(plan, p) for p in given["p"]]
    return {
        "pa_first": first,
        "pa_second": [all_of - one for all_of, one in zip(both, first, strict=True)],
        "pa": both,
        "asn": [average_sample_number(plan, p, curtailed=False) for p in given["p"]],
    }


def sequential(given):
    test = SequentialTest(given["p1"], given["alpha"], given["p2"], given["beta"])
    accepting = (n for n in range(1, 500) if test.acceptance_number(n) is not None)
    rejecting = (n for n in range(1, 500) if test.rejection_number(n) is not None)
    middle = test.wald_point(0)
    return {
        "h1": test.acceptance_intercept,
        "h2": test.rejection_intercept,
        "s": test.slope,
        "asn_at_p1": test.wald_point(1).trees,
        "asn_at_p2": test.wald_point(-1).trees,
        "asn_at_s": middle.trees,
        "pa_at_s": middle.acceptance,
        "first_n_accept_without_fault": next(accepting),
        "first_n_reject_all_faults": next(rejecting),
    }


def proportion(given):
    sample = given["x"], given["n"], given["confidence"]
    return {
        "wilson": wilson(*sample),
        "clopper_pearson": clopper_pearson(*sample),
        "jeffreys": jeffreys(*sample),
    }


def difference(given):
    samples = given["x1"], given["n1"], given["x2"], given["n2"]
    return {
        "difference": given["x1"] / given["n1"] - given["x2"] / given["n2"],
        "newcombe": newcombe_difference(*samples, given["confidence"]),
    }


def many(given):
    adjusted = {
        "bonferroni": bonferroni(given["p"]),
        "holm": holm(given["p"]),
        "bh": benjamini_hochberg(given["p"]),
        "by": benjamini_yekutieli(given["p"]),
    }
    rejected = {
        f"rejected_{name}": sum(chance <= given["q"] for chance in chances)
        for name, chances in adjusted.items()
    }
    return adjusted | rejected


def fisher(given):
    test = fisher_exact(given["table"])
    return {"p_two_sided": test.two_sided, "p_greater": test.greater, "p_less": test.less}


METHODS = {
    "sample_size_two_proportions": two_proportions_size,
    "power_two_proportions": two_proportions_power,
    "one_sample_exact_binomial": exact_test,
    "one_sample_exact_n": exact_size,
    "p_chart_sample_size": lambda given: {
        "n": p_chart_sample_size(given["p0"], given["p1"], given["k"])
    },
    "p_chart_positive_lcl": lambda given: {
        "n_exceeds": p_chart_lower_limit_size(given["p"], given["k"])
    },
    "zero_fault_sample": zero_faults,
    "sample_size_precision": precision,
    "oc_single_plan": single_plan,
    "asn_double_plan": double_plan,
    "sprt_plan": sequential,
    "proportion_ci": proportion,
    "difference_ci": difference,
    "multiple_testing": many,
    "fisher_exact": fisher,
}


def test_every_kind_of_the_data_is_tried():
    assert {case["kind"] for case in DATA["cases"]} == METHODS.keys()


@pytest.mark.parametrize("case", CASES)
def test_figures_agree_with_the_data(case):
    found, tolerance = METHODS[case["kind"]](case["input"]), case["tolerance"]
    assert case["expected"].keys() <= found.keys()
    for name, expected in case["expected"].items():
        np.testing.assert_allclose(
            found[name],
            expected,
            # The data is written with twelve digits.
            rtol=max(tolerance.get("rel", 0.0), 1e-11),
            atol=tolerance.get("abs", 0.0),
            err_msg=name,
        )


@pytest.mark.parametrize("case", [case for case in CASES if "printed" in case.values[0]])
def test_figures_agree_with_what_is_printed(case):
    found = METHODS[case["kind"]](case["input"])
    for name, printed in case["printed"].items():
        slack = case["printed_tolerance"]["abs"]
        np.testing.assert_allclose(found[name], printed, rtol=0, atol=slack + 1e-12, err_msg=name)


@pytest.mark.parametrize("side", ["greater", "less"])
@pytest.mark.parametrize("trees", [1, 5, 23, 80])
@pytest.mark.parametrize("standard", [0.05, 0.3])
def test_the_exact_test_is_the_binomial_law(standard, trees, side):
    # scipy.stats.binom, by search through all counts.
    law, other = scipy.stats.binom(trees, standard), scipy.stats.binom(trees, 0.15)
    test = one_sample_exact(standard, 0.15, trees, side=side)
    if side == "greater":
        critical = [count for count in range(trees + 1) if law.sf(count - 1) <= 0.05 + 1e-12]
        expected = critical[0] if critical else None
        power = other.sf(expected - 1) if critical else 0
    else:
        critical = [count for count in range(trees + 1) if law.cdf(count) <= 0.05 + 1e-12]
        expected = critical[-1] if critical else None
        power = other.cdf(expected) if critical else 0
    assert test.critical_count == expected
    assert test.power == pytest.approx(power)


@pytest.mark.parametrize("table", [[[3, 1], [1, 3]], [[8, 12], [1, 19]], [[0, 5], [5, 0]]])
def test_fishers_test_agrees_with_scipy(table):
    test = fisher_exact(table)
    for sided, found in (("two-sided", test.two_sided), ("greater", test.greater)):
        expected = scipy.stats.fisher_exact(table, alternative=sided).pvalue
        assert found == pytest.approx(expected)
    assert test.less == pytest.approx(scipy.stats.fisher_exact(table, "less").pvalue)


@pytest.mark.parametrize("seed", range(4))
def test_adjusted_chances_agree_with_statsmodels(seed):
    chances = np.random.default_rng(seed).uniform(0, 0.2, 12).round(2).tolist()
    for ours, name in (
        (bonferroni, "bonferroni"),
        (holm, "holm"),
        (benjamini_hochberg, "fdr_bh"),
        (benjamini_yekutieli, "fdr_by"),
    ):
        assert ours(chances) == pytest.approx(multipletests(chances, method=name)[1])


def test_the_arcsine_size_agrees_with_statsmodels():
    size = sample_size_two_proportions(0.2, 0.35, power=0.9)
    theirs = NormalIndPower().solve_power(cohen_h(0.2, 0.35), power=0.9, alpha=0.05)
    assert size.arcsine == pytest.approx(theirs, rel=1e-4)  # it counts the wrong side as well


def test_power_and_size_are_each_others_inverse():
    size = sample_size_two_proportions(0.08, 0.16, power=0.85)
    assert power_two_proportions(size.exact, 0.08, 0.16) == pytest.approx(0.85)
