"""
Run lengths against stored ones, and against simulation.

`data/arl.json`: R package spc 0.6.7, whose figures an integral equation of the data's author gives
again to 1e-7; exact Markov chains; printed tables of Montgomery, Lucas and Saccucci, Lucas and
Crosier, Champ and Woodall. Tolerances are those stated in each case.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from audits.control.bernoulli import BernoulliCusum
from audits.control.limits import sigma_limits
from audits.control.run_lengths import (
    arl_bernoulli,
    arl_cusum,
    arl_ewma,
    arl_p_chart,
    arl_run_rules,
    bernoulli_median,
    bernoulli_season_design,
    bernoulli_signal_chance,
    design_cusum,
    design_ewma,
)
from audits.control.run_lengths.absorbing import mean_steps

DATA = json.loads((Path(__file__).parent / "data" / "arl.json").read_text())
CASES = [pytest.param(case, id=case["id"]) for case in DATA["cases"]]
PRINTED = [param for param in CASES if "printed" in param.values[0]]


def found_cusum(given, *, two_sided):
    return {
        "arl": [
            arl_cusum(
                given["k"], given["h"], shift, headstart=given["headstart"], two_sided=two_sided
            )
            for shift in given["shifts"]
        ]
    }


def found_ewma(given):
    varying = {"steady": False, "varying": True}[given["limits"]]
    return {
        "arl": [
            arl_ewma(given["lambda"], given["L"], shift, varying=varying)
            for shift in given["shifts"]
        ]
    }


def found_p_chart(given):
    lower, upper = sigma_limits(given["p0"], given["n"], given["k"])
    settings = {"due": given["n"], "centre": given["p0"], "sigmas": given["k"]}
    return {"ucl": upper, "lcl": lower, "arl": [arl_p_chart(p, **settings) for p in given["p"]]}


def found_bernoulli(given):
    names = ("score_fault", "score_good", "h", "start")
    design = BernoulliCusum(*(given[name] for name in names))
    return {"average_observations_to_signal": [arl_bernoulli(design, p) for p in given["p"]]}


RUN_LENGTHS = {
    "arl_cusum_two_sided": lambda given: found_cusum(given, two_sided=True),
    "arl_cusum_one_sided": lambda given: found_cusum(given, two_sided=False),
    "arl_ewma_two_sided": found_ewma,
    "arl_run_rules": lambda given: {
        "arl": [arl_run_rules(given["rules"], shift) for shift in given["shifts"]]
    },
    "arl_p_chart": found_p_chart,
    "arl_bernoulli_cusum": found_bernoulli,
    "design_cusum": lambda given: {"h": design_cusum(given["k"], given["arl0"])},
    "design_ewma": lambda given: {"L": design_ewma(given["lambda"], given["arl0"])},
}


def require_near(found, expected, tolerance):
    for name, value in expected.items():
        assert found[name] == pytest.approx(
            value, rel=tolerance.get("rel", 0), abs=tolerance.get("abs", 0)
        ), name


@pytest.mark.parametrize("case", CASES)
def test_run_lengths_agree_with_the_data(case):
    # Widening limits have a tolerance of 1e-4 in the data, for the sake of simpler methods.
    tolerance = case["tolerance"]
    tolerance |= {"rel": min(tolerance["rel"], 1e-5)} if "rel" in tolerance else {}
    require_near(RUN_LENGTHS[case["kind"]](case["input"]), case["expected"], tolerance)


@pytest.mark.parametrize("case", PRINTED)
def test_run_lengths_agree_with_what_the_source_prints(case):
    found = RUN_LENGTHS[case["kind"]](case["input"])
    if "arl" in found:
        found["arl_at_0"] = found["arl"][0]
    require_near(found, case["printed"], case["printed_tolerance"])


def test_every_kind_of_run_length_is_tried():
    assert {case["kind"] for case in DATA["cases"]} == RUN_LENGTHS.keys()
    assert len(CASES) == 23


def test_an_allowance_a_hundredth_off_would_show():
    (case,) = (case for case in DATA["cases"] if case["id"] == "arl-cusum-k0.5-h4")
    found = found_cusum(case["input"] | {"k": 0.505}, two_sided=True)
    with pytest.raises(AssertionError):
        require_near(found, case["expected"], case["tolerance"])


def test_a_headstart_on_both_sides_agrees_with_the_printed_table():
    # Lucas and Crosier (1982), Technometrics 24:199-205, table of two-sided schemes with k = 0.5,
    # h = 5 and a headstart of 2.5; recalled, not read again.
    printed = {0.0: 430, 0.5: 28.7, 1.0: 6.35}
    found = {shift: arl_cusum(0.5, 5, shift, headstart=2.5) for shift in printed}
    assert found == pytest.approx(printed, rel=0.0065)


def test_a_headstart_on_both_sides_agrees_with_simulation():
    chance = np.random.default_rng(4)
    charts = 40_000
    plus, minus, lengths = np.full(charts, 2.0), np.full(charts, 2.0), np.zeros(charts)
    going = np.ones(charts, bool)
    while going.any():
        lengths[going] += 1
        z = chance.normal(0.3, 1, charts)
        plus, minus = np.maximum(plus + z - 0.5, 0), np.maximum(minus - z - 0.5, 0)
        going &= (plus <= 4) & (minus <= 4)
    error = lengths.std() / np.sqrt(charts)
    expected = arl_cusum(0.5, 4, 0.3, headstart=2.0)
    assert lengths.mean() == pytest.approx(expected, abs=5 * error)


def test_mean_steps_are_exact_where_a_linear_system_is_not():
    # A walk that falls back to 0 with probability 1 - p and leaves after n steps up in a row:
    # (1 - p^n) / ((1 - p) p^n) steps (W. Feller, An Introduction to Probability Theory, XIII.7).
    p, n = 1e-4, 5
    moves, leaving = np.zeros((n, n)), np.zeros(n)
    moves[:, 0] = 1 - p
    moves[range(n - 1), range(1, n)] = p
    leaving[-1] = p
    expected = (1 - p**n) / ((1 - p) * p**n)
    assert mean_steps(moves, leaving)[0] == pytest.approx(expected, rel=1e-13)
    plain = np.linalg.solve(np.eye(n) - moves, np.ones(n))[0]
    assert plain != pytest.approx(expected, rel=1e-3)


def run_lengths_of_trees(design, p, charts, trees, seed):
    """Return after how many trees each chart signals, or one more than there are."""
    chance = np.random.default_rng(seed)
    sums = np.zeros(charts)
    lengths = np.full(charts, trees + 1)
    for tree in range(1, trees + 1):
        faults = chance.random(charts) < p
        sums = np.maximum(sums + np.where(faults, design.score_fault, design.score_good), 0)
        lengths[(sums >= design.threshold) & (lengths > trees)] = tree
    return lengths


@pytest.mark.parametrize(("p0", "p1"), [(0.05, 0.1), (0.05, 0.15), (0.15, 0.3)])
def test_seasons_of_single_trees_keep_what_is_promised(p0, p1):
    """A steady worker is seldom called out; a worse one within the promised number of trees."""
    trees, false_signal, charts = 400, 0.0025, 20_000
    design = bernoulli_season_design(p0, p1, trees=trees, false_signal=false_signal)
    steady = run_lengths_of_trees(design, p0, charts, trees, seed=1) <= trees
    chance = bernoulli_signal_chance(design, p0, trees)
    # Five standard errors of a simulated share.
    assert steady.mean() == pytest.approx(chance, abs=5 * np.sqrt(chance / charts))
    assert chance <= false_signal
    median = bernoulli_median(design, p1)
    worse = run_lengths_of_trees(design, p1, charts, median, seed=2) <= median
    assert worse.mean() == pytest.approx(
        bernoulli_signal_chance(design, p1, median), abs=5 * np.sqrt(0.25 / charts)
    )
    assert worse.mean() > 0.48


def test_the_false_signals_of_a_lower_threshold_would_show():
    design = bernoulli_season_design(0.05, 0.15, trees=400, false_signal=0.0025)
    lower = BernoulliCusum(design.score_fault, design.score_good, design.threshold * 0.6 // 1)
    steady = run_lengths_of_trees(lower, 0.05, 20_000, 400, seed=1) <= 400
    assert steady.mean() > 0.0025 + 5 * np.sqrt(0.0025 / 20_000)
