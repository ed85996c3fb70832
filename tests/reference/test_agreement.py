"""
Agreement of auditors beside published and independently computed figures.

``data/agreement.json`` names the source of every case, and its tolerance: tables of Cohen, Fleiss,
Krippendorff, Shrout and Fleiss, Gwet, Bland and Altman, gauge studies, and packages of R and Python
with their versions.
"""

import json
import math
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from statsmodels.stats import inter_rater

from audits.agreement import (
    against_reference,
    agreeing_pairs,
    bland_altman,
    brennan_prediger,
    cohen_kappa,
    conger_kappa,
    early_errors,
    fleiss_kappa,
    fleiss_of_ratings,
    gauge_rr,
    gauge_rr_range,
    gwet_ac1,
    gwet_ac1_of_table,
    gwet_ac2,
    gwet_ac2_of_table,
    intraclass_correlation,
    krippendorff_alpha,
    repeatability,
    steady_interval,
    weighted_kappa,
    weights_of_disagreement,
)

DATA = json.loads((Path(__file__).parent / "data" / "agreement.json").read_text())

KAPPA_FIELDS = {
    "po": "observed",
    "pe": "expected",
    "kappa": "kappa",
    "se": "standard_error",
    "ci95": "interval",
    "se_null": "standard_error_null",
    "z": "z",
}


def kappa_figures(found):
    return {name: getattr(found, field) for name, field in KAPPA_FIELDS.items()}


def of_table(given):
    found = kappa_figures(cohen_kappa(given["table"]))
    ac1 = gwet_ac1_of_table(given["table"])
    return found | {"ac1": ac1.value, "ac1_pe": ac1.expected, "ac1_se": ac1.standard_error}


def of_weighted_table(given):
    table = given["table"]
    return {
        "linear": kappa_figures(weighted_kappa(table, "linear")),
        "quadratic": kappa_figures(weighted_kappa(table, "quadratic")),
        "ac2_quadratic": gwet_ac2_of_table(table, "quadratic").value,
    }


def of_costs(given):
    weights = weights_of_disagreement(given["disagreement_weights"])
    return kappa_figures(weighted_kappa(given["table"], weights))


def of_early_errors(given):
    found = early_errors(given["table"])
    return {
        "se": found.standard_error,
        "ci95": found.interval,
        "se_null": found.standard_error_null,
    }


def of_counts(given):
    found = fleiss_kappa(given["counts"])
    return {
        "p_agree": found.observed,
        "p_chance": found.expected,
        "kappa": found.kappa,
        "se_null": found.standard_error_null,
        "z": found.z,
        "kappa_by_category": found.kappa_by_category,
        "p_by_item": found.agreement_by_tree,
        "category_share": found.category_shares,
    }


def of_alpha(given):
    ratings = given["ratings_unit_by_rater"]
    levels = ("nominal", "ordinal", "interval", "ratio")
    found = {level: krippendorff_alpha(ratings, level) for level in levels}
    (pairable,) = {alpha.pairable_values for alpha in found.values()}
    return {level: alpha.value for level, alpha in found.items()} | {"pairable_values": pairable}


def of_missing_ratings(given):
    ratings = given["ratings_unit_by_rater"]
    ac1, alpha = gwet_ac1(ratings), krippendorff_alpha(ratings)
    linear, quadratic = gwet_ac2(ratings, "linear"), gwet_ac2(ratings, "quadratic")
    fleiss, conger = fleiss_of_ratings(ratings), conger_kappa(ratings)
    alike = brennan_prediger(ratings)
    return {
        "p_agree": agreeing_pairs(ratings),
        "ac1": ac1.value,
        "ac1_se": ac1.standard_error,
        "ac1_pe": ac1.expected,
        "ac2_linear": linear.value,
        "ac2_linear_se": linear.standard_error,
        "ac2_quadratic": quadratic.value,
        "ac2_quadratic_se": quadratic.standard_error,
        "fleiss_kappa": fleiss.value,
        "fleiss_se": fleiss.standard_error,
        "conger_kappa": conger.value,
        "conger_se": conger.standard_error,
        "brennan_prediger": alike.value,
        "brennan_prediger_se": alike.standard_error,
        "alpha_nominal": alpha.value,
        "alpha_se": alpha.standard_error,
    }


def of_judges(given):
    found = intraclass_correlation(given["ratings_target_by_judge"])
    figures = {
        "BMS": found.between_trees,
        "WMS": found.within_trees,
        "JMS": found.between_people,
        "EMS": found.residual,
        "F_between_rows": found.f_between_trees,
        "F_oneway": found.f_one_way,
    }
    for name in ("1_1", "2_1", "3_1", "1_k", "2_k", "3_k"):
        form, short = getattr(found, f"icc_{name}"), name.replace("_", "")
        figures |= {f"icc{short}": form.value, f"ci_icc{short}": form.interval}
    return figures


def of_pairs(given):
    found = bland_altman(given["a"], given["b"], given["multiplier"])
    return {
        "n": found.pairs,
        "bias": found.bias,
        "sd": found.standard_deviation,
        "lower": found.lower,
        "upper": found.upper,
        "se_bias": found.standard_error_bias,
        "ci_bias": found.interval_bias,
        "se_limit_sqrt3": found.early_standard_error_limit,
        "ci_lower_sqrt3": found.early_interval_lower,
        "ci_upper_sqrt3": found.early_interval_upper,
        "se_limit": found.standard_error_limit,
        "ci_lower": found.interval_lower,
        "ci_upper": found.interval_upper,
    }


def of_repeats(given):
    figures = {}
    for name, (first, second) in given.items():
        found = repeatability(first, second)
        figures[name] = {
            "sd_diff": found.standard_deviation,
            "coefficient": found.coefficient,
            "within_sd": found.within_standard_deviation,
        }
    return figures


PARTS = {
    "total_gage": "gauge",
    "repeatability": "repeatability",
    "reproducibility": "reproducibility",
    "operator": "people",
    "interaction": "interaction",
    "part": "trees",
    "total": "total",
}


def of_crossed_gauge(given):
    found = gauge_rr(given["y_part_operator_trial"])
    figures = {"anova": {}}
    for name in ("part", "operator", "interaction", "repeatability", "total"):
        row = getattr(found.anova, PARTS[name])
        figures["anova"][name] = {
            "df": row.degrees_of_freedom,
            "ss": row.squares,
            "ms": row.mean_square,
            "F": row.f,
            "p": row.p,
        }
    for name in ("with_interaction", "without_interaction"):
        model = getattr(found, name)
        figures[name] = {"ndc": model.categories, "ndc_raw": model.categories_raw}
        for kind, parts, scale in (
            ("varcomp", model.variances, 1),
            ("pct_contribution", model.contributions, 100),
            ("pct_study_variation", model.study_variations, 100),
        ):
            figures[name][kind] = {
                part: scale * getattr(parts, field) for part, field in PARTS.items()
            }
    return figures


def of_gauge_by_ranges(given):
    found = gauge_rr_range(
        given["y_part_operator_trial"], k1=given["K1"], k2=given["K2"], k3=given["K3"]
    )
    return {
        "r_bar": found.mean_range,
        "x_diff": found.range_of_people,
        "r_part": found.range_of_trees,
        "EV": found.repeatability,
        "AV": found.reproducibility,
        "GRR": found.gauge,
        "PV": found.tree_variation,
        "TV": found.total,
        "pct_EV": 100 * found.repeatability_share,
        "pct_AV": 100 * found.reproducibility_share,
        "pct_GRR": 100 * found.gauge_share,
        "pct_PV": 100 * found.tree_share,
        "ndc": found.categories,
    }


def of_reference(given):
    found = against_reference(
        given["true_fault_called_fault"],
        given["true_fault_called_ok"],
        given["true_ok_called_fault"],
        given["true_ok_called_ok"],
    )
    return {
        "sensitivity": found.sensitivity.share,
        "specificity": found.specificity.share,
        "miss_rate": found.miss_rate,
        "false_alarm_rate": found.false_alarm_rate,
        "accuracy": found.accuracy,
        "sensitivity_wilson95": found.sensitivity.interval,
        "sensitivity_exact95": found.sensitivity.exact_interval,
        "specificity_wilson95": found.specificity.interval,
        "kappa": found.kappa.kappa,
    }


KINDS = {
    "auditor_vs_reference": of_reference,
    "bland_altman": of_pairs,
    "cohen_kappa": of_table,
    "cohen_kappa_1960_se": of_early_errors,
    "cohen_kappa_degenerate": of_table,
    "fleiss_kappa": of_counts,
    "gauge_rr_crossed": of_crossed_gauge,
    "gauge_rr_range": of_gauge_by_ranges,
    "icc": of_judges,
    "krippendorff_alpha": of_alpha,
    "multi_rater_missing": of_missing_ratings,
    "repeatability": of_repeats,
    "weighted_kappa": of_weighted_table,
    "weighted_kappa_custom": of_costs,
}


def compare(found, expected, tolerance, path=""):
    """Compare every figure that is expected, however deep, and leave none out."""
    if isinstance(expected, dict):
        for name, value in expected.items():
            compare(found[name], value, tolerance, f"{path}/{name}")
    elif isinstance(expected, list):
        assert len(found) == len(expected), path
        for place, value in enumerate(expected):
            compare(found[place], value, tolerance, f"{path}/{place}")
    elif expected is None:
        assert found is None, path
    else:
        allowed = tolerance.get("abs", 0) + tolerance.get("rel", 0) * abs(expected)
        assert found is not None, path
        assert abs(found - expected) <= allowed, f"{path}: {found} is not {expected}"


def printed_figures(case):
    """Yield printed figures beside the computed ones of the same name."""
    for name, printed in case.get("printed", {}).items():
        if name in case["expected"]:
            yield name, printed


@pytest.mark.parametrize("case", [pytest.param(case, id=case["id"]) for case in DATA["cases"]])
def test_figures_agree_with_the_data(case):
    compare(KINDS[case["kind"]](case["input"]), case["expected"], case["tolerance"])


PRINTED = [case for case in DATA["cases"] if any(printed_figures(case))]


@pytest.mark.parametrize("case", [pytest.param(case, id=case["id"]) for case in PRINTED])
def test_figures_agree_with_those_printed_in_the_source(case):
    found = KINDS[case["kind"]](case["input"])
    for name, printed in printed_figures(case):
        compare(found[name], printed, case["printed_tolerance"], name)


def test_every_kind_of_case_is_tried():
    assert Counter(case["kind"] for case in DATA["cases"]).keys() == KINDS.keys()
    assert len(DATA["cases"]) == 31


@pytest.mark.parametrize("change", [1.001, -1])
def test_a_wrong_figure_is_noticed(change):
    # The comparison itself: a figure off by a thousandth, and one with the wrong sign.
    (case,) = (case for case in DATA["cases"] if case["id"] == "kappa-cohen1960")
    found = KINDS[case["kind"]](case["input"])
    with pytest.raises(AssertionError, match="/se_null"):
        compare(found | {"se_null": found["se_null"] * change}, case["expected"], case["tolerance"])


TABLES = [
    [[12, 3], [4, 21]],
    [[40, 5, 0], [3, 22, 6], [1, 2, 9]],
    [[8, 1, 0, 2], [2, 9, 3, 0], [0, 4, 11, 1], [1, 0, 2, 6]],
]


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("weights", [None, "linear", "quadratic"])
def test_kappa_is_that_of_statsmodels(table, weights):
    theirs = inter_rater.cohens_kappa(np.array(table), wt=weights)
    ours = cohen_kappa(table) if weights is None else weighted_kappa(table, weights)
    assert ours.kappa == pytest.approx(theirs.kappa, rel=1e-12)
    assert ours.standard_error == pytest.approx(theirs.std_kappa, rel=1e-10)
    assert ours.standard_error_null == pytest.approx(theirs.std_kappa0, rel=1e-10)


def test_fleiss_kappa_is_that_of_statsmodels():
    counts = np.random.default_rng(20260118).multinomial(5, [0.5, 0.3, 0.2], size=25)
    ours = fleiss_kappa(counts)
    assert ours.kappa == pytest.approx(inter_rater.fleiss_kappa(counts), rel=1e-12)


def measured(trees, people, trials, seed):
    """Return heights in mm of trees that people measure with a bias of their own."""
    chance = np.random.default_rng(seed)
    height = 3000 + 90 * chance.standard_normal((trees, 1, 1))
    bias = 12 * chance.standard_normal((1, people, 1))
    crossed = 8 * chance.standard_normal((trees, people, 1))
    return height + bias + crossed + 10 * chance.standard_normal((trees, people, trials))


def frame(readings):
    trees, people, trials = readings.shape
    tree, person, _ = np.indices((trees, people, trials))
    return pd.DataFrame({"y": readings.ravel(), "tree": tree.ravel(), "person": person.ravel()})


@pytest.mark.parametrize(("trees", "people"), [(12, 2), (20, 4), (6, 5)])
def test_mean_squares_of_intraclass_correlation_are_those_of_statsmodels(trees, people):
    readings = measured(trees, people, 1, seed=trees)
    found = intraclass_correlation(readings[:, :, 0].tolist())
    both = sm.stats.anova_lm(smf.ols("y ~ C(tree) + C(person)", frame(readings)).fit())
    alone = sm.stats.anova_lm(smf.ols("y ~ C(tree)", frame(readings)).fit())
    assert found.between_trees == pytest.approx(both["mean_sq"]["C(tree)"], rel=1e-8)
    assert found.between_people == pytest.approx(both["mean_sq"]["C(person)"], rel=1e-8)
    assert found.residual == pytest.approx(both["mean_sq"]["Residual"], rel=1e-8)
    assert found.within_trees == pytest.approx(alone["mean_sq"]["Residual"], rel=1e-8)
    assert found.f_between_trees == pytest.approx(both["F"]["C(tree)"], rel=1e-8)
    assert found.f_one_way == pytest.approx(alone["F"]["C(tree)"], rel=1e-8)


def test_one_way_intraclass_correlation_is_that_of_a_mixed_model():
    # Shrout and Fleiss: ICC(1,1) is the trees' share of variance; REML gives the ANOVA estimates
    # when every tree has as many measures.
    readings = measured(30, 3, 1, seed=5)
    found = intraclass_correlation(readings[:, :, 0].tolist())
    fit = smf.mixedlm("y ~ 1", frame(readings), groups="tree").fit(reml=True)
    between = float(fit.cov_re.iloc[0, 0])
    assert found.icc_1_1.value == pytest.approx(between / (between + fit.scale), rel=1e-5)


@pytest.mark.parametrize(("trees", "people", "trials"), [(8, 2, 2), (10, 3, 3), (5, 4, 2)])
def test_the_analysis_of_a_gauge_study_is_that_of_statsmodels(trees, people, trials):
    readings = measured(trees, people, trials, seed=trials)
    found = gauge_rr(readings.tolist()).anova
    theirs = sm.stats.anova_lm(smf.ols("y ~ C(tree) * C(person)", frame(readings)).fit())
    for row, name in (
        (found.trees, "C(tree)"),
        (found.people, "C(person)"),
        (found.interaction, "C(tree):C(person)"),
        (found.repeatability, "Residual"),
    ):
        assert row.squares == pytest.approx(theirs["sum_sq"][name], rel=1e-8)
        assert row.degrees_of_freedom == theirs["df"][name]
    assert found.interaction.f == pytest.approx(theirs["F"]["C(tree):C(person)"], rel=1e-8)
    assert found.interaction.p == pytest.approx(theirs["PR(>F)"]["C(tree):C(person)"], rel=1e-8)


# AIAG, Measurement Systems Analysis, tables of K1, K2 and K3 with four decimals (from memory, each
# reproduced by the formulas of the constants).
PRINTED_K = {2: 0.7071, 3: 0.5231, 4: 0.4467, 5: 0.4030, 8: 0.3375, 10: 0.3146}


@pytest.mark.parametrize(("size", "printed"), PRINTED_K.items())
def test_constants_of_a_single_range_are_the_printed_ones(size, printed):
    readings = [[[0.0, 0.0], [float(tree == size), float(tree == size)]] for tree in range(size)]
    readings[0][0][0] = readings[0][0][1] = float(size)
    found = gauge_rr_range(readings)
    assert found.tree_variation / found.range_of_trees == pytest.approx(printed, abs=6e-5)


@pytest.mark.parametrize(("trials", "printed"), [(2, 0.8862), (3, 0.5908)])
def test_constants_of_a_mean_range_are_the_printed_ones(trials, printed):
    cell = [0.0] * (trials - 1) + [1.0]
    found = gauge_rr_range([[cell, cell], [cell, cell]])
    assert found.repeatability / found.mean_range == pytest.approx(printed, abs=6e-5)


def shares_of_answers(faults, found_by_each, false_alarms):
    """Return the chances of both, one or none of two equal auditors calling a tree a fault."""
    both = faults * found_by_each**2 + (1 - faults) * false_alarms**2
    one = faults * found_by_each * (1 - found_by_each) + (1 - faults) * false_alarms * (
        1 - false_alarms
    )
    return np.array([1 - both - 2 * one, one, one, both])


@pytest.mark.parametrize(
    ("faults", "found_by_each", "false_alarms"),
    [(0.2, 0.95, 0.01), (0.15, 0.5, 0.05), (0.3, 0.9, 0.05)],
)
def test_the_range_shown_holds_kappa_where_the_plain_one_does_not(
    faults, found_by_each, false_alarms
):
    # Simulated: kappa known, 30 check trees, 1,200 seasons; only tables that would be judged.
    shares = shares_of_answers(faults, found_by_each, false_alarms)
    marginal = shares[0] + shares[1]
    chance = marginal**2 + (1 - marginal) ** 2
    kappa = (shares[0] + shares[3] - chance) / (1 - chance)
    tables = np.random.default_rng(20260119).multinomial(30, shares, size=1200)
    judged = [table.reshape(2, 2).tolist() for table in tables if 30 - table[0] >= 5]
    assert len(judged) > 600
    steady = held(kappa, [steady_interval(table) for table in judged])
    plain = held(kappa, [cohen_kappa(table).interval for table in judged])
    assert steady >= 0.91
    assert plain <= steady - 0.04


def held(value, intervals):
    return math.fsum(low <= value <= high for low, high in intervals) / len(intervals)
