"""Laws of the intervals and of what is said of a rate."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audits.estimates import (
    RateLevel,
    agresti_coull,
    clopper_pearson,
    describe_rate,
    exact_lower_limit,
    exact_upper_limit,
    jeffreys,
    lot_limits,
    lot_upper_limit,
    newcombe_difference,
    normal_in_lot,
    ratio_of_sums,
    sample_size_for_margin,
    sample_size_to_detect,
    sample_size_to_detect_in_lot,
    share_in_clusters,
    share_in_two_stages,
    stratified_share,
    stratified_share_in_clusters,
    wilson,
    wilson_corrected,
    wilson_in_lot,
)


@st.composite
def samples(draw, least=0, most=3000):
    total = draw(st.integers(least, most))
    return draw(st.integers(0, total)), total


confidences = st.floats(0.5, 0.9999)
intervals = st.sampled_from([wilson, wilson_corrected, clopper_pearson, jeffreys, agresti_coull])


@given(intervals, samples(), confidences)
def test_limits_are_fractions_in_order(interval, sample, confidence):
    lower, upper = interval(*sample, confidence)
    assert 0 <= lower <= upper <= 1


@given(
    st.sampled_from([wilson, wilson_corrected, clopper_pearson, agresti_coull]),
    samples(least=1),
    confidences,
)
def test_the_sample_itself_lies_inside(interval, sample, confidence):
    count, total = sample
    lower, upper = interval(count, total, confidence)
    assert lower - 1e-12 <= count / total <= upper + 1e-12


@given(intervals, samples(), confidences)
def test_right_and_wrong_trees_mirror_each_other(interval, sample, confidence):
    count, total = sample
    lower, upper = interval(count, total, confidence)
    mirrored = interval(total - count, total, confidence)
    assert [1 - upper, 1 - lower] == pytest.approx(list(mirrored), abs=1e-9)


@given(intervals, samples(least=1), confidences)
def test_one_more_nonconforming_tree_never_lowers_a_limit(interval, sample, confidence):
    count, total = sample
    before = interval(max(count - 1, 0), total, confidence)
    after = interval(count, total, confidence)
    assert before.lower <= after.lower + 1e-12
    assert before.upper <= after.upper + 1e-12


@given(intervals, samples(), st.floats(0.5, 0.99))
def test_more_confidence_never_narrows_an_interval(interval, sample, confidence):
    narrow, wide = interval(*sample, confidence), interval(*sample, (1 + confidence) / 2)
    assert wide.lower <= narrow.lower + 1e-12
    assert narrow.upper <= wide.upper + 1e-12


@given(samples(), confidences)
def test_the_correction_only_ever_widens(sample, confidence):
    plain, corrected = wilson(*sample, confidence), wilson_corrected(*sample, confidence)
    assert corrected.lower <= plain.lower + 1e-12
    assert plain.upper <= corrected.upper + 1e-12


@given(samples(least=1), confidences)
def test_an_exact_interval_is_made_of_two_one_sided_limits(sample, confidence):
    one_sided = (1 + confidence) / 2
    limits = [exact_lower_limit(*sample, one_sided), exact_upper_limit(*sample, one_sided)]
    assert limits == pytest.approx(list(clopper_pearson(*sample, confidence)), abs=1e-9)


@given(samples(least=1), samples(least=1), confidences)
def test_a_corrected_difference_is_never_narrower(one, two, confidence):
    plain = newcombe_difference(*one, *two, confidence)
    corrected = newcombe_difference(*one, *two, confidence, corrected=True)
    assert corrected.lower <= plain.lower + 1e-12
    assert plain.upper <= corrected.upper + 1e-12


@given(samples(least=1), samples(least=1), confidences)
def test_a_difference_changes_sign_with_its_sides(one, two, confidence):
    lower, upper = newcombe_difference(*one, *two, confidence)
    assert -1 <= lower <= one[0] / one[1] - two[0] / two[1] + 1e-12 <= upper + 2e-12
    swapped = newcombe_difference(*two, *one, confidence)
    assert [-upper, -lower] == pytest.approx(list(swapped), abs=1e-12)


@st.composite
def lots(draw, most=400, least_sample=1):
    lot_size = draw(st.integers(least_sample, most))
    sample_size = draw(st.integers(least_sample, lot_size))
    return draw(st.integers(0, sample_size)), sample_size, lot_size


@given(lots(), confidences)
def test_limits_in_a_lot_hold_what_was_seen_and_leave_what_can_be(lot, confidence):
    count, sample_size, lot_size = lot
    lower, upper = lot_limits(*lot, confidence)
    assert count <= lower <= upper <= lot_size - (sample_size - count)
    assert lower <= lot_size * count / sample_size + 1 - 1e-9
    assert upper >= lot_size * count / sample_size - 1 + 1e-9
    assert lot_upper_limit(*lot, (1 + confidence) / 2) in range(upper - 1, upper + 2)


@given(lots(), confidences)
def test_right_and_wrong_trees_of_a_lot_mirror_each_other(lot, confidence):
    count, sample_size, lot_size = lot
    lower, upper = lot_limits(*lot, confidence)
    mirrored = lot_limits(sample_size - count, sample_size, lot_size, confidence)
    assert mirrored == (lot_size - upper, lot_size - lower)


@given(lots(), confidences)
def test_a_finite_lot_never_leaves_more_open_than_an_endless_one(lot, confidence):
    count, sample_size, _ = lot
    finite, endless = wilson_in_lot(*lot, confidence), wilson(count, sample_size, confidence)
    assert endless.lower - 1e-12 <= finite.lower <= finite.upper <= endless.upper + 1e-12


@st.composite
def cluster_samples(draw, least_units=0):
    clusters = draw(
        st.lists(samples(least=least_units, most=12), min_size=2, max_size=30).filter(
            lambda found: any(units for _, units in found)
        )
    )
    return [(units, count) for count, units in clusters]


@given(cluster_samples(), confidences, st.one_of(st.none(), st.integers(0, 200)))
def test_intervals_over_clusters_hold_the_ratio_of_sums(clusters, confidence, more):
    population = None if more is None else len(clusters) + more
    found = share_in_clusters(clusters, clusters_in_population=population, confidence=confidence)
    assert found.value == ratio_of_sums((count, units) for units, count in clusters)
    for limits in (found.interval, found.normal_interval, found.exact_interval):
        assert limits.lower <= found.value + 1e-9
        assert found.value <= limits.upper + 1e-9
    assert 0 <= found.exact_interval.lower <= found.exact_interval.upper <= 1
    assert (found.logit_interval is None) == (found.count in (0, found.units))


@given(cluster_samples(), confidences)
def test_the_range_for_people_is_never_narrower_than_the_naive_one(clusters, confidence):
    found = share_in_clusters(clusters, confidence=confidence)
    naive = clopper_pearson(found.count, found.units, confidence)
    assert found.exact_interval.lower <= naive.lower + 1e-9
    assert naive.upper <= found.exact_interval.upper + 1e-9


@given(cluster_samples(), confidences)
def test_units_with_and_without_the_property_mirror_each_other(clusters, confidence):
    found = share_in_clusters(clusters, confidence=confidence)
    others = share_in_clusters(
        [(units, units - count) for units, count in clusters], confidence=confidence
    )
    assert others.standard_error == pytest.approx(found.standard_error, abs=1e-12)
    lower, upper = found.exact_interval
    assert [1 - upper, 1 - lower] == pytest.approx(list(others.exact_interval), abs=1e-9)


@given(cluster_samples(), st.integers(0, 100))
def test_one_stratum_is_a_sample_of_clusters(clusters, more):
    population = len(clusters) + more
    whole = share_in_clusters(clusters, clusters_in_population=population)
    stratum = stratified_share_in_clusters([(population, clusters)])
    assert stratum.value == pytest.approx(whole.value, abs=1e-12)
    # The residuals of one stratum sum to zero, so that its variance is about zero as well.
    assert stratum.standard_error == pytest.approx(whole.standard_error, abs=1e-9)


@given(cluster_samples(least_units=1), st.integers(0, 100))
def test_two_stages_with_every_unit_drawn_are_whole_clusters(clusters, more):
    population = len(clusters) + more
    whole = share_in_clusters(clusters, clusters_in_population=population)
    stages = share_in_two_stages(
        [(units, units, count) for units, count in clusters], clusters_in_population=population
    )
    assert stages.value == pytest.approx(whole.value, abs=1e-12)
    assert stages.standard_error == pytest.approx(whole.standard_error, abs=1e-9)


@given(lots(least_sample=2))
def test_a_single_stratum_is_a_sample_of_a_lot(lot):
    count, sample_size, lot_size = lot
    alone = normal_in_lot(count, sample_size, lot_size)
    found = stratified_share([(lot_size, sample_size, count)])
    assert found.value == pytest.approx(alone.fraction, abs=1e-12)
    assert found.standard_error == pytest.approx(alone.standard_error, abs=1e-12)


inner = st.floats(0.001, 0.999)


@given(inner, inner, st.integers(1, 10_000), st.floats(0.5, 0.999))
def test_a_lot_never_takes_more_trees_than_it_has_or_an_endless_row(
    fraction, margin, lot_size, confidence
):
    found = sample_size_for_margin(fraction, margin, lot_size=lot_size, confidence=confidence)
    assert 1 <= found.trees <= lot_size
    endless = sample_size_for_margin(fraction, margin, confidence=confidence)
    assert found.trees <= max(endless.trees, 1)


@given(st.integers(1, 500), st.integers(1, 500), st.floats(0.01, 0.999))
def test_no_fewer_trees_would_detect_as_surely(one, other, confidence):
    nonconforming, lot_size = sorted((one, other))
    found = sample_size_to_detect_in_lot(nonconforming, lot_size, confidence)
    assert found.miss_probability <= 1 - confidence + 1e-12
    if found.trees > 1:
        # One tree fewer leaves out the last factor of the product.
        last = (lot_size - nonconforming - found.trees + 1) / (lot_size - found.trees + 1)
        assert last == 0 or found.miss_probability / last > 1 - confidence - 1e-12
    if nonconforming < lot_size:
        endless = sample_size_to_detect(nonconforming / lot_size, confidence)
        assert found.trees <= endless.trees


@given(st.lists(samples(most=50)))
def test_a_ratio_of_sums_does_not_depend_on_where_the_audits_were_cut(parts):
    whole = (sum(count for count, _ in parts), sum(total for _, total in parts))
    assert ratio_of_sums(parts) == ratio_of_sums([whole])


@given(samples(most=400), st.integers(0, 6), st.integers(0, 6), st.integers(0, 4))
def test_no_more_is_said_than_the_sample_allows(sample, days, rows, auditors):
    nonconforming, due = sample
    reading = describe_rate(nonconforming, due, days=days, rows=rows, auditors=auditors)
    comparable = due >= 30 and days >= 3 and rows >= 3 and auditors >= 2
    assert (reading.level is RateLevel.COMPARABLE) == comparable
    assert (reading.fraction is not None) == comparable
    assert (reading.interval is not None) == (due >= 10)
    sentence = str(reading.sentence)
    assert "%" not in sentence
    assert str(due) in sentence or due == 0
    assert ("in 10" in sentence) == (due >= 10)


@given(samples(least=30, most=2000))
def test_the_range_in_words_holds_the_rate_and_the_interval(sample):
    nonconforming, due = sample
    reading = describe_rate(nonconforming, due, days=9, rows=9, auditors=9)
    pattern = r"(\d+) in (\d+) right, could be (\d+) to (\d+)"
    about, scale, lower, upper = map(int, re.search(pattern, str(reading.sentence)).groups())
    right = 1 - nonconforming / due
    assert lower / scale <= 1 - reading.interval.upper + 1e-12
    assert 1 - reading.interval.lower <= upper / scale + 1e-12
    assert lower <= about <= upper
    assert abs(about / scale - right) <= 1 / scale
