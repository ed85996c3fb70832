"""
Measuring plans against stored values, printed tables, scipy and statsmodels.

`data/variables-plans.json` and `data/variables-tables.json` say of each case where it comes from.
Their curves are integrals in 25 digits that agree with scipy's and R's noncentral t to 1e-9.
"""

import itertools
import json
import math
import random
import warnings
from pathlib import Path

import numpy as np
import pytest
import scipy.integrate
import scipy.optimize
import scipy.stats
import statsmodels.stats.diagnostic

from audits.sampling.variables import (
    VariablesPlan,
    VariablesStandard,
    check_normality,
    design_variables,
    fraction_beyond,
    index_of_fraction,
    judge_measurements,
    normality,
    variables_acceptance_at,
    variables_acceptance_probability,
    variables_table_plan,
)

FOLDER = Path(__file__).parent / "data"
PLANS = json.loads((FOLDER / "variables-plans.json").read_text())
TABLES = json.loads((FOLDER / "variables-tables.json").read_text())
MIL_STD_414, Z1_9 = TABLES["mil-std-414"], TABLES["ansi-asq-z1.9"]


def cases(*kinds):
    return [pytest.param(case, id=case["id"]) for case in PLANS["cases"] if case["kind"] in kinds]


def seeded(seed):
    return random.Random(seed)  # noqa: S311 - simulated measurements, no secret


def distance(fraction):
    """Return the upper normal point of a fraction."""
    return scipy.stats.norm.isf(fraction)


@pytest.mark.parametrize("case", cases("oc-s", "oc-sigma"))
def test_curves_agree_with_the_data(case):
    given = case["input"]
    plan = VariablesPlan(given["n"], given["k"], known_sigma=case["kind"] == "oc-sigma")
    found = variables_acceptance_probability(plan, given["p"])
    assert found == pytest.approx(case["expected"]["pa"], abs=1e-12)


def test_the_curve_agrees_with_printed_figures():
    (case,) = [case for case in PLANS["cases"] if "pa_7sig" in case.get("published", {})]
    published = case["published"]
    plan = VariablesPlan(case["input"]["n"], case["input"]["k"])
    found = variables_acceptance_probability(plan, published["p"])
    # Printed to seven digits.
    assert found == pytest.approx(published["pa_7sig"], rel=5e-7)
    # ISO 3951:1989, Table V-J-1: 1 in 100 passes at 10.95 %, printed to two decimals.
    assert variables_acceptance_probability(plan, 0.10945) > 0.01
    assert variables_acceptance_probability(plan, 0.10955) < 0.01


@pytest.mark.parametrize("size", [3, 4, 7, 20, 100, 1000])
@pytest.mark.parametrize("k", [-0.5, 0.3, 1.2, 2.5])
def test_curves_agree_with_the_noncentral_t_of_scipy(size, k):
    plan = VariablesPlan(size, k)
    for fraction in (1e-6, 0.001, 0.02, 0.1, 0.4, 0.9):
        place, shift = k * math.sqrt(size), distance(fraction) * math.sqrt(size)
        found = variables_acceptance_probability(plan, fraction)
        assert found == pytest.approx(scipy.stats.nct.sf(place, size - 1, shift), abs=1e-10)


@pytest.mark.parametrize("case", cases("design"))
def test_designs_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    points = (given["p1"], given["alpha"], given["p2"], given["beta"])
    plan = design_variables(*points, known_sigma=given["sigma"] == "known")
    assert plan.sample_size == expected["n"]
    # The data print nine decimals.
    assert plan.k == pytest.approx(expected["k"], abs=1e-8)
    found = variables_acceptance_probability(plan, [given["p1"], given["p2"]])
    assert found == pytest.approx([expected["pa_p1"], expected["pa_p2"]], abs=1e-8)
    if "published" in case:
        published = case["published"]
        assert plan.sample_size == published["n"]
        assert plan.k == pytest.approx(published["k"], abs=published["tolerance_k"])


@pytest.mark.parametrize("case", cases("estimate"))
def test_estimates_and_decisions_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    size, mean, deviation = expected["n"], expected["mean"], expected["sd"]
    below = (mean - given["lower"]) / deviation if "lower" in given else None
    above = (given["upper"] - mean) / deviation if "upper" in given else None
    plan = VariablesPlan(size, given.get("k", 1.0))
    for index, distances, fraction in ((below, "Q_L", "p_L"), (above, "Q_U", "p_U")):
        assert (index is None) == (distances not in expected)
        if index is not None:
            assert index == pytest.approx(expected[distances], rel=1e-12)
            assert fraction_beyond(index, size) == pytest.approx(expected[fraction], abs=1e-11)
    indices = [index for index in (below, above) if index is not None]
    assert plan.fraction_outside(*indices) == pytest.approx(expected["p_total"], abs=1e-11)
    if "accept_k" in expected:
        assert plan.accepts(below, above) is expected["accept_k"]
    if "accept_M" in expected:
        by_fraction = VariablesPlan.with_largest_fraction(size, given["M_percent"] / 100)
        assert by_fraction.accepts(below, above) is expected["accept_M"]


@pytest.mark.parametrize("case", [case for case in cases("estimate") if "sample" in str(case)])
def test_verdicts_on_samples_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    if "M_percent" in given:
        plan = VariablesPlan.with_largest_fraction(expected["n"], given["M_percent"] / 100)
    else:
        plan = VariablesPlan(expected["n"], given["k"])
    limits = {name: given[name] for name in ("lower", "upper") if name in given}
    verdict = judge_measurements(plan, given["sample"], **limits)
    assert verdict.accepted is expected.get("accept_M", expected.get("accept_k"))
    assert verdict.mean == pytest.approx(expected["mean"], rel=1e-12)
    assert verdict.deviation == pytest.approx(expected["sd"], rel=1e-12)
    assert verdict.fraction_below == pytest.approx(expected.get("p_L", 0), abs=1e-11)
    assert verdict.fraction_above == pytest.approx(expected.get("p_U", 0), abs=1e-11)
    assert verdict.fraction_outside == pytest.approx(expected["p_total"], abs=1e-11)


def test_the_largest_fraction_agrees_with_a_package():
    # R AQLSchemes, MPn(k = 1.905285, n = 42), as stored.
    (case,) = [case for case in PLANS["cases"] if case["id"] == "est-lawson-42"]
    plan = VariablesPlan(case["input"]["n"], case["input"]["k"])
    assert plan.largest_fraction == pytest.approx(case["published"]["M"], abs=1e-11)


@pytest.mark.parametrize("case", cases("lookup"))
def test_look_ups_agree_with_the_data(case):
    given, expected = case["input"], case["expected"]
    found = variables_table_plan(
        given["lot"],
        float(given["aql"]),
        standard=given["standard"],
        level=given["level"],
        inspection=given["inspection"],
    )
    assert found.code_letter == expected["letter"]
    assert found.plan == VariablesPlan(expected["n"], expected["k"])


@pytest.mark.parametrize(
    ("standard", "table"),
    [(VariablesStandard.MIL_STD_414, MIL_STD_414), (VariablesStandard.Z1_9, Z1_9)],
    ids=str,
)
def test_every_code_letter_agrees_with_the_table(standard, table):
    largest_limit = float(table["aql"][-1])
    for row in table["code_letters"]:
        # The smallest lots are smaller than a sample of some of their letters.
        for lot_size in {max(row["lot_min"], 5), row["lot_max"] or 10**7}:
            for level, letter in row["letters"].items():
                found = variables_table_plan(
                    lot_size, largest_limit, standard=standard, level=level
                )
                assert found.code_letter == letter
    default = variables_table_plan(1000, largest_limit, standard=standard)
    assert default == variables_table_plan(
        1000, largest_limit, standard=standard, level=table["default_level"]
    )


def lots_by_letter(table):
    """Return a lot size and level for each letter, with a lot that is larger than any sample."""
    return {
        letter: ((row["lot_max"] or 10**7), level)
        for row in reversed(table["code_letters"])
        for level, letter in row["letters"].items()
        if row["lot_min"] > 150
    }


def test_every_cell_of_mil_std_414_agrees_with_the_table():
    plans, limits = MIL_STD_414["plans"], MIL_STD_414["aql"]
    letters, lots = list(plans), lots_by_letter(MIL_STD_414)
    assert set(lots) == set(letters)
    for letter, (lot_size, level) in lots.items():
        for column, limit in enumerate(limits):
            below = letters[letters.index(letter) :]
            row = next(row for row in below if plans[row]["k"][limit] != "down")
            expected = VariablesPlan(plans[row]["n"], plans[row]["k"][limit])
            found = variables_table_plan(lot_size, float(limit), level=level)
            assert (found.code_letter, found.plan) == (letter, expected)
            if column + 1 < len(limits):
                tightened = variables_table_plan(
                    lot_size, float(limits[column + 1]), level=level, inspection="tightened"
                )
                assert tightened.plan == expected


@pytest.mark.parametrize("inspection", ["normal", "tightened"])
def test_every_cell_of_z1_9_agrees_with_the_table(inspection):
    lots = lots_by_letter(Z1_9)
    assert set(lots) == set(Z1_9["n_by_letter"])
    for letter, (lot_size, level) in lots.items():
        for limit, expected in Z1_9["plans"][inspection][letter].items():
            found = variables_table_plan(
                lot_size, float(limit), standard="ANSI/ASQ Z1.9", level=level, inspection=inspection
            )
            assert found.code_letter == letter
            assert found.plan.sample_size == expected["n"]
            assert found.plan.largest_fraction == pytest.approx(
                expected["M_percent"] / 100, abs=1e-9
            )
            # The table's k is rounded to three decimals.
            assert found.plan.k == pytest.approx(expected["k"], abs=6e-4)


@pytest.mark.parametrize("size", [3, 4, 5, 12, 40])
@pytest.mark.parametrize("fraction", [0.005, 0.08, 0.3])
def test_the_estimated_fraction_is_unbiased(size, fraction):
    """Lieberman and Resnikoff's estimates have the true fraction as their mean."""
    z, root = distance(fraction), math.sqrt(size)
    half, largest = size / 2 - 1, (size - 1) / root
    estimate = scipy.stats.beta(half, half, loc=-largest, scale=2 * largest)
    for level in (0.01, 0.4, 0.97):
        assert fraction_beyond(estimate.ppf(level), size) == pytest.approx(1 - level, abs=1e-12)
    # The estimate is a beta tail, so that its mean is, by parts, a beta average of P(Q <= q); and
    # Q <= q where the normal mean lies below q spreads of the sample.
    spread = scipy.stats.chi(size - 1, scale=1 / math.sqrt(size - 1))
    places, weights = np.polynomial.legendre.leggauss(400)
    levels, shares = (places + 1) / 2, weights / 2
    chances = scipy.stats.norm.cdf(root * (np.outer(estimate.ppf(levels), spread.ppf(levels)) - z))
    assert shares @ chances @ shares == pytest.approx(fraction, rel=1e-4)
    known = scipy.stats.norm(z, 1 / root)
    assert known.expect(lambda q: fraction_beyond(q, size, known_sigma=True)) == pytest.approx(
        fraction, abs=1e-8
    )


@pytest.mark.parametrize("known_sigma", [False, True])
def test_fractions_and_distances_agree_with_scipy_there_and_back(known_sigma):
    for size in (3, 5, 30):
        for index in (-0.9, 0.0, 0.7, 1.1):
            found = fraction_beyond(index, size, known_sigma=known_sigma)
            if known_sigma:
                expected = scipy.stats.norm.sf(index * math.sqrt(size / (size - 1)))
            else:
                half = size / 2 - 1
                place = (1 - index * math.sqrt(size) / (size - 1)) / 2
                expected = scipy.stats.beta.cdf(place, half, half)
            assert found == pytest.approx(expected, rel=1e-12)
            back = index_of_fraction(found, size, known_sigma=known_sigma)
            assert back == pytest.approx(index, abs=1e-9)


def slow_chance(plan, below, above):
    """Return the chance with two limits the plain way: for each spread, look for the means."""
    root, freedom = math.sqrt(plan.sample_size), plan.sample_size - 1
    width = below + above

    def accepted_share(spread):
        # The rule is symmetric about the middle, where the estimate of n >= 5 values is least.
        furthest = width / spread - plan.k

        def surplus(index):
            return plan.fraction_outside(index, width / spread - index) - plan.largest_fraction

        if surplus(width / spread / 2) > 0:
            return 0.0
        if surplus(furthest) > 0:
            furthest = scipy.optimize.brentq(surplus, width / spread / 2, furthest, xtol=1e-13)
        ends = [spread * furthest - below, width - spread * furthest - below]
        return scipy.stats.norm.cdf(root * ends[0]) - scipy.stats.norm.cdf(root * ends[1])

    law = scipy.stats.chi(freedom, scale=1 / math.sqrt(freedom))
    edges = [*law.ppf([1e-13, 0.01, 0.2, 0.4, 0.6, 0.8, 0.99]), law.isf(1e-13)]
    # Where the accepted means vanish, and where only one limit counts, the curve has corners.
    vanishes = width / (2 * index_of_fraction(plan.largest_fraction / 2, plan.sample_size))
    edges = sorted([*edges, vanishes, width / (freedom / root + plan.k)])
    return sum(
        scipy.integrate.quad(
            lambda spread: law.pdf(spread) * accepted_share(spread), *piece, epsabs=1e-10
        )[0]
        for piece in itertools.pairwise(edges)
    )


@pytest.mark.parametrize(
    ("size", "k", "below", "above"),
    [(5, 1.1, 1.7, 2.2), (8, 1.4, 3.0, 1.5), (16, 1.12, 1.3, 1.6), (40, 1.6, 2.0, 2.0)],
)
def test_the_chance_with_two_limits_agrees_with_a_slow_integral(size, k, below, above):
    plan = VariablesPlan(size, k)
    found = variables_acceptance_at(plan, 0.0, 1.0, lower=-below, upper=above)
    assert 0.01 < found < 0.999
    assert found == pytest.approx(slow_chance(plan, below, above), abs=1e-8)


@pytest.mark.parametrize(
    ("size", "k", "known_sigma"),
    [(3, 0.958, False), (4, 1.1, False), (5, 1.3, False), (20, 1.6, False), (9, 1.4, True)],
)
def test_the_chance_with_two_limits_agrees_with_simulated_verdicts(size, k, known_sigma):
    plan, source, rounds = VariablesPlan(size, k, known_sigma), seeded(20), 4000
    lower, upper, sigma = 2850.0, 3150.0, 80.0
    accepted = sum(
        judge_measurements(
            plan,
            [source.gauss(3010.0, sigma) for _ in range(size)],
            lower=lower,
            upper=upper,
            sigma=sigma if known_sigma else None,
        ).accepted
        for _ in range(rounds)
    )
    chance = variables_acceptance_at(plan, 3010.0, sigma, lower=lower, upper=upper)
    # Four standard errors of a share: a sound program fails once in 15,000 seeds.
    assert accepted / rounds == pytest.approx(
        chance, abs=4 * math.sqrt(chance * (1 - chance) / rounds)
    )
    assert 0.1 < chance < 0.9


@pytest.mark.parametrize(
    ("statistic", "p_value"),
    # D'Agostino and Stephens 1986, table 4.7, case 3, from memory.
    [(0.631, 0.10), (0.752, 0.05), (0.873, 0.025), (1.035, 0.01)],
)
def test_the_p_value_passes_through_the_printed_critical_values(statistic, p_value):
    # The formulas of table 4.9 miss the printed points by up to 1 in 100 of the level.
    assert normality._p_value(statistic) == pytest.approx(p_value, rel=0.015)


SHAPES = {
    "normal": lambda source: source.gauss(3000, 60),
    "skewed": lambda source: source.expovariate(1),
    "flat": lambda source: source.uniform(0, 1),
    "far-off values": lambda source: source.gauss(0, 20 if source.random() < 0.05 else 1),
}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("size", [8, 15, 30, 60])
def test_the_check_of_the_shape_agrees_with_statsmodels_and_scipy(shape, size):
    source = seeded(size)
    for _ in range(10):
        values = [SHAPES[shape](source) for _ in range(size)]
        found = check_normality(values)
        factor = 1 + 0.75 / size + 2.25 / size**2
        with warnings.catch_warnings():
            # Newer releases of scipy announce other critical values; only the statistic is used.
            warnings.simplefilter("ignore")
            by_scipy = scipy.stats.anderson(values).statistic
        assert found.statistic == pytest.approx(by_scipy * factor, rel=1e-9, abs=1e-12)
        by_statsmodels, p_value = statsmodels.stats.diagnostic.normal_ad(np.array(values))
        # It takes the logarithm of 1 less a probability, which costs digits far out.
        assert found.statistic == pytest.approx(by_statsmodels * factor, rel=1e-5)
        assert found.p_value == pytest.approx(p_value, rel=1e-4, abs=1e-20)


@pytest.mark.parametrize("size", [10, 25, 60])
def test_normal_measurements_are_warned_of_as_often_as_promised(size):
    source, rounds = seeded(7), 4000
    warned = sum(
        not check_normality([source.gauss(3000, 60) for _ in range(size)]).is_normal
        for _ in range(rounds)
    )
    # Four standard errors of 0.05.
    assert warned / rounds == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / rounds))


def test_rounding_is_not_taken_for_a_shape():
    """Diameters read to the millimetre, with a standard deviation of 1.25 mm."""
    source, rounds = seeded(7), 1000
    untreated = spread_out = 0
    for _ in range(rounds):
        values = [float(round(source.gauss(7.4, 1.25))) for _ in range(25)]
        untreated += not check_normality(values).is_normal
        spread_out += not check_normality(values, resolution=1.0).is_normal
    assert untreated / rounds > 0.6
    assert spread_out / rounds < 0.05


def test_skewed_measurements_are_warned_of():
    source, rounds = seeded(7), 500
    warned = sum(
        not check_normality([source.expovariate(1) for _ in range(25)]).is_normal
        for _ in range(rounds)
    )
    # 86 in 100 in a simulation of 4000 in numpy.
    assert warned / rounds > 0.8
