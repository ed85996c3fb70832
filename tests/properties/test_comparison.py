"""Laws of comparing: what must hold whatever was found."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from audits.comparison.funnel import funnel_limits, overdispersion
from audits.comparison.mixed_binomial import adjusted_chance, fit_binomial_mixed
from audits.comparison.mixed_linear import adjusted_value, fit_linear_mixed
from audits.comparison.multiple import (
    benjamini_hochberg,
    benjamini_yekutieli,
    bonferroni,
    holm,
)
from audits.comparison.power import (
    fisher_exact,
    one_sample_exact,
    power_two_proportions,
    sample_size_two_proportions,
)
from audits.comparison.reasons import NO_FIT_SENTENCES, NoFit
from audits.comparison.regression import binomial_regression
from audits.comparison.shrinkage import (
    beta_binomial_moments,
    fit_beta_binomial,
    james_stein,
    shrink_normal,
    shrunken_rates,
)
from audits.comparison.standardising import indirect_standardisation
from audits.comparison.trend_tests import (
    cochran_armitage,
    mann_kendall,
    mann_kendall_exact,
    pettitt,
    sen_slope,
)

fractions = st.floats(0.001, 0.999)

# A fit takes some hundredths of a second.
FITS = max(20, settings().max_examples // 10)


@st.composite
def samples(draw, most=60):
    due = draw(st.integers(0, most))
    return draw(st.integers(0, due)), due


@st.composite
def rows(draw, most_rows=25, most_trees=12):
    """Audits: counts with a worker, a block and an auditor each."""
    pairs = draw(st.lists(samples(most_trees), min_size=1, max_size=most_rows))
    count = len(pairs)
    factors = {
        name: draw(st.lists(st.integers(0, most), min_size=count, max_size=count))
        for name, most in (("worker", 5), ("block", 3), ("auditor", 1))
    }
    return [pair[0] for pair in pairs], [pair[1] for pair in pairs], factors


def numbers(fields):
    """Every number in a result, however deep."""
    if isinstance(fields, int | float):
        yield float(fields)
    elif isinstance(fields, dict):
        yield from itertools.chain.from_iterable(map(numbers, fields.values()))
    elif isinstance(fields, tuple | list):
        yield from itertools.chain.from_iterable(map(numbers, fields))
    elif hasattr(fields, "__dataclass_fields__"):
        yield from numbers(vars(fields))


def is_sayable(result):
    """Nothing, a reason with a sentence, or finite numbers only."""
    if result is None:
        return True
    if isinstance(result, NoFit):
        return bool(str(NO_FIT_SENTENCES[result]))
    return all(math.isfinite(number) for number in numbers(result))


def test_a_number_that_is_none_is_found_out():
    # The planted defect: what the laws below would let through if they looked at nothing.
    assert not is_sayable({"rates": [(0.1, math.nan)]})
    assert is_sayable({"rates": [(0.1, 0.2)]})


@given(st.floats(0, 1), st.integers(0, 400))
def test_funnels_hold_the_target_and_widen_with_the_level(target, due):
    inner, outer = funnel_limits(target, due)
    assert 0 <= outer.lower <= inner.lower <= inner.upper <= outer.upper <= 1
    assert outer.smallest_inside <= inner.smallest_inside <= inner.largest_inside
    assert inner.largest_inside <= outer.largest_inside <= due
    if due:
        assert outer.smallest_inside <= math.ceil(target * due)
        assert outer.largest_inside >= math.floor(target * due)


@given(fractions, st.integers(1, 200))
def test_faults_and_right_trees_have_mirrored_funnels(target, due):
    for here, there in zip(funnel_limits(target, due), funnel_limits(1 - target, due), strict=True):
        assert here.upper == pytest.approx(1 - there.lower, abs=1.001 / due)
        assert abs(here.largest_inside - (due - there.smallest_inside)) <= 1


@given(st.lists(samples(), max_size=30), st.floats(0, 1), st.floats(0, 0.49))
def test_overdispersion_is_sayable_and_pulling_in_never_adds(pairs, target, winsorise):
    found = overdispersion(*columns(pairs), target, winsorise)
    assert is_sayable(found)
    if found is not None:
        assert found.phi <= found.phi_unwinsorised + 1e-9 or winsorise > 0
        lower, upper = found.limits(30)
        assert 0 <= lower <= target <= upper <= 1


def columns(pairs):
    return [pair[0] for pair in pairs], [pair[1] for pair in pairs]


@given(rows())
def test_as_many_faults_are_expected_as_were_found(data):
    found, due, factors = data
    table = indirect_standardisation(factors["worker"], factors["block"], found, due)
    assert is_sayable(table)
    assert math.fsum(row.expected for row in table) == pytest.approx(sum(found))
    assert sum(row.observed for row in table) == sum(found)
    for row in table:
        assert 0 <= row.due_alone <= row.due
        if row.ratio is not None:
            assert row.ratio_interval.lower <= row.ratio <= row.ratio_interval.upper
            assert 0 <= row.adjusted_rate <= 1


@given(st.lists(samples(), max_size=25))
def test_shrunken_rates_lie_between_the_own_rate_and_that_of_all(pairs):
    fit = fit_beta_binomial(*columns(pairs))
    assert is_sayable(fit)
    if fit is None:
        assert not any(due for _, due in pairs)
        return
    assert 0 <= fit.mean <= 1
    for found, due in pairs:
        known = fit.posterior(found, due)
        assert is_sayable(known)
        own = found / due if due else fit.mean
        assert min(own, fit.mean) - 1e-9 <= known.mean <= max(own, fit.mean) + 1e-9
        assert 0 <= known.interval.lower <= known.interval.upper <= 1


@given(st.lists(samples(), max_size=25))
def test_ranges_that_allow_for_the_fit_are_sayable(pairs):
    rates = shrunken_rates(*columns(pairs))
    assert is_sayable(rates)
    found, due = (sum(column) for column in columns(pairs))
    assert (rates is None) == (found in {0, due})
    for rate in rates or ():
        assert 0 <= rate.interval.lower < rate.mean < rate.interval.upper <= 1
        assert 0 <= rate.weight <= 1


@given(st.lists(samples(), max_size=25))
def test_moments_are_sayable(pairs):
    assert is_sayable(beta_binomial_moments(*columns(pairs)))


@given(
    st.lists(st.tuples(st.floats(-50, 50), st.floats(0.1, 10)), max_size=15),
    st.sampled_from(["REML", "DL"]),
)
def test_figures_move_towards_their_mean(given_values, method):
    shrunken = shrink_normal(*columns(given_values), method)
    assert is_sayable(shrunken)
    if shrunken is not None:
        assert shrunken.tau2 >= 0
        for (value, _), moved in zip(given_values, shrunken.shrunken, strict=True):
            low, high = sorted((value, shrunken.mu))
            assert low - 1e-9 <= moved <= high + 1e-9


@given(st.lists(st.floats(-20, 20), max_size=12))
def test_steins_rule_keeps_the_mean(values):
    shrunken = james_stein(values)
    assert is_sayable(shrunken)
    if shrunken is not None:
        assert 0 <= shrunken.kept <= 1
        assert np.mean(shrunken.estimates) == pytest.approx(np.mean(values), abs=1e-9)


@settings(max_examples=FITS)
@given(rows())
def test_every_mixed_model_of_faults_is_sayable(data):
    found, due, factors = data
    shares = []
    fit = fit_binomial_mixed(found, due, factors, progress=shares.append)
    assert is_sayable(fit)
    assert shares == sorted(shares)
    if isinstance(fit, NoFit):
        return
    assert shares[-1] == 1
    for name, levels in fit.levels.items():
        assert fit.variances[name] >= 0
        for level in levels:
            chance, (lower, upper) = adjusted_chance(fit, name, level)
            assert 0 <= lower <= chance <= upper <= 1


@settings(max_examples=FITS // 2)
@given(rows(), st.randoms(use_true_random=False))
def test_the_order_of_audits_does_not_matter(data, random):
    found, due, factors = data
    fit = fit_binomial_mixed(found, due, factors)
    order = random.sample(range(len(found)), len(found))
    shuffled = fit_binomial_mixed(
        [found[place] for place in order],
        [due[place] for place in order],
        {name: [column[place] for place in order] for name, column in factors.items()},
    )
    if isinstance(fit, NoFit):
        assert shuffled is fit
        return
    assert shuffled.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-4)


@settings(max_examples=FITS)
@given(rows(), st.data(), st.sampled_from(["REML", "ML"]))
def test_every_mixed_model_of_heights_is_sayable(data, more, method):
    _, _, factors = data
    count = len(factors["worker"])
    heights = more.draw(st.lists(st.integers(2_800, 3_200), min_size=count, max_size=count))
    fit = fit_linear_mixed(heights, factors, method)
    assert is_sayable(fit)
    if not isinstance(fit, NoFit):
        for name, levels in fit.levels.items():
            for level in levels:
                value, (lower, upper) = adjusted_value(fit, name, level)
                assert lower <= value <= upper


def test_a_hard_block_is_not_blamed_on_its_crew():
    # Two crews of equal skill; one works in the block where everybody, its own people and the
    # other crew's visitors alike, has three times the faults.
    worker, block, found, due = [], [], [], []
    for person in range(8):
        for place in ("hard", "easy"):
            at_home = (person < 4) == (place == "hard")
            for audit in range(8 if at_home else 2):
                worker.append(person)
                block.append(place)
                due.append(20)
                found.append((6 if place == "hard" else 2) + (audit + person) % 2)
    raw = [
        sum(f for f, one in zip(found, worker, strict=True) if one == person)
        / sum(d for d, one in zip(due, worker, strict=True) if one == person)
        for person in range(8)
    ]
    assert min(raw[:4]) > 1.5 * max(raw[4:])
    fit = fit_binomial_mixed(found, due, {"worker": worker, "block": block})
    adjusted = [adjusted_chance(fit, "worker", person).chance for person in range(8)]
    assert max(adjusted) < 1.1 * min(adjusted)
    table = indirect_standardisation(worker, block, found, due)
    assert all(row.ratio == pytest.approx(1, abs=0.1) for row in table)


@given(st.lists(st.integers(-5, 5), max_size=25))
def test_a_series_turned_round_has_the_opposite_trend(series):
    trend, back = mann_kendall(series), mann_kendall(series[::-1])
    line, change = sen_slope(series), pettitt(series)
    for result in (trend, line, change):
        assert is_sayable(result)
    if trend is None:
        return
    assert back.s == -trend.s
    if trend.z is not None:
        assert back.p_value == pytest.approx(trend.p_value)
        assert -1 - 1e-12 <= trend.tau_b <= 1 + 1e-12
    assert sen_slope(series[::-1]).slope == pytest.approx(-line.slope)
    assert line.interval.lower <= line.slope <= line.interval.upper
    if change is not None:
        assert 0 < change.after < len(series)
        before, after = series[: change.after], series[change.after :]
        wins = sum((b > a) - (b < a) for a in before for b in after)
        assert (wins > 0) == change.rises


@given(st.integers(1, 12), st.integers(-70, 70))
def test_exact_chances_of_a_trend_fall(points, s):
    assert 0 <= mann_kendall_exact(points, s + 1) <= mann_kendall_exact(points, s) <= 1
    assert mann_kendall_exact(points, -points * points) == 1


@given(st.lists(st.tuples(samples(), st.integers(0, 6)), max_size=10))
def test_trends_of_fractions_are_sayable(groups):
    found, due = columns([pair for pair, _ in groups])
    scores = [score for _, score in groups]
    trend = cochran_armitage(found, due, scores)
    assert is_sayable(trend)
    if trend is not None:
        assert trend.chi2 <= trend.homogeneity_chi2 * (1 + 1e-9) + 1e-9 or len(set(scores)) < len(
            scores
        )
        mirrored = cochran_armitage(found, due, [-score for score in scores])
        assert mirrored.z == pytest.approx(-trend.z)


@given(st.lists(st.tuples(samples(), st.integers(-9, 9), st.integers(0, 1)), max_size=15))
def test_regressions_are_sayable_and_units_do_not_matter(data):
    found, due = columns([pair for pair, _, _ in data])
    given_columns = {"week": [week for _, week, _ in data], "wet": [wet for _, _, wet in data]}
    fit = binomial_regression(found, due, given_columns)
    assert is_sayable(fit)
    if isinstance(fit, NoFit):
        return
    assert all(0 <= chance <= 1 for chance in fit.fitted)
    assert sum(chance * total for chance, total in zip(fit.fitted, due, strict=True)) == (
        pytest.approx(sum(found), rel=1e-5)
    )
    in_days = {
        "week": [7 * week + 1_000 for week in given_columns["week"]],
        "wet": given_columns["wet"],
    }
    other = binomial_regression(found, due, in_days)
    assert other.deviance == pytest.approx(fit.deviance, abs=1e-6)
    assert other.coefficients[1].value == pytest.approx(
        fit.coefficients[1].value / 7, rel=1e-5, abs=1e-7
    )


@given(fractions, fractions, st.floats(0.5, 0.99), st.floats(0.001, 0.2), st.sampled_from([1, 2]))
def test_size_and_power_are_each_others_inverse(one, two, power, alpha, sides):
    assume(abs(one - two) > 0.01)
    size = sample_size_two_proportions(one, two, power=power, alpha=alpha, sides=sides)
    assert size.corrected > size.exact > 0
    if size.exact >= 1:
        found = power_two_proportions(size.exact, one, two, alpha=alpha, sides=sides)
        assert found == pytest.approx(power)


@given(fractions, fractions, st.integers(1, 80), st.sampled_from(["greater", "less"]))
def test_exact_tests_keep_their_chance_of_error(standard, fraction, trees, side):
    test = one_sample_exact(standard, fraction, trees, side=side)
    assert 0 <= test.alpha <= 0.05 * (1 + 1e-9)
    assert 0 <= test.power <= 1


@given(st.tuples(*[st.integers(0, 15)] * 4))
def test_fishers_chances_are_chances(cells):
    a, b, c, d = cells
    test = fisher_exact([[a, b], [c, d]])
    assert all(0 < chance <= 1 for chance in test)
    assert test.greater + test.less >= 1
    turned = fisher_exact([[c, d], [a, b]])
    assert (turned.greater, turned.two_sided) == pytest.approx((test.less, test.two_sided))


@given(st.lists(st.floats(0, 1), max_size=20))
def test_adjusted_chances_are_ordered_as_the_methods_promise(chances):
    by_method = [method(chances) for method in (bonferroni, holm, benjamini_hochberg)]
    by_method.append(benjamini_yekutieli(chances))
    for raw, *adjusted in zip(chances, *by_method, strict=True):
        of_all, stepwise, share, any_share = adjusted
        assert raw <= share + 1e-12
        assert share <= any_share + 1e-12
        assert share <= stepwise + 1e-12 <= of_all + 2e-12
        assert all(0 <= each <= 1 for each in adjusted)
