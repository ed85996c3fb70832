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
    jeffreys,
    newcombe_difference,
    ratio_of_sums,
    wilson,
    wilson_corrected,
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


@given(samples(least=1), samples(least=1), confidences)
def test_a_difference_changes_sign_with_its_sides(one, two, confidence):
    lower, upper = newcombe_difference(*one, *two, confidence)
    assert -1 <= lower <= one[0] / one[1] - two[0] / two[1] + 1e-12 <= upper + 2e-12
    swapped = newcombe_difference(*two, *one, confidence)
    assert [-upper, -lower] == pytest.approx(list(swapped), abs=1e-12)


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
