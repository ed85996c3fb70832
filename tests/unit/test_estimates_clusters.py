"""Edges of shares in clusters and strata, and of sample sizes."""

import math

import pytest

from audits.errors import InvalidInput
from audits.estimates import (
    Interval,
    sample_size_for_margin,
    sample_size_to_detect,
    sample_size_to_detect_in_lot,
    share_in_clusters,
    share_in_two_stages,
    stratified_mean,
    stratified_share,
    stratified_share_in_clusters,
    stratified_total,
)


def refused_fields(function, *given, **named):
    with pytest.raises(InvalidInput) as refused:
        function(*given, **named)
    return list(refused.value.problems)


@pytest.mark.parametrize(
    ("clusters", "field"),
    [
        ([], "clusters"),
        ([(5, 4)], "clusters"),
        ([(0, 0), (0, 0)], "clusters"),
        ([(5, 4), (5, 6)], "clusters.1.found"),
        ([(5, 4), (5, -1)], "clusters.1.found"),
        ([(-1, 0), (5, 1)], "clusters.0.units"),
        ([(5, 4), (5.5, 1)], "clusters.1.units"),
    ],
)
def test_impossible_clusters_are_refused_by_name(clusters, field):
    assert refused_fields(share_in_clusters, clusters) == [field]


def test_a_population_holds_at_least_its_sample():
    trees = [(5, 4), (5, 3), (4, 4)]
    assert refused_fields(share_in_clusters, trees, clusters_in_population=2) == [
        "clusters_in_population"
    ]
    rows = [(30, 10, 2), (42, 14, 1)]
    assert refused_fields(share_in_two_stages, rows, clusters_in_population=1) == [
        "clusters_in_population"
    ]


@pytest.mark.parametrize("confidence", [0, 1, math.nan])
def test_confidence_is_refused_by_name(confidence):
    for function, given in (
        (share_in_clusters, [(5, 4), (5, 3)]),
        (share_in_two_stages, [(30, 10, 2), (42, 14, 1)]),
        (stratified_share, [(30, 10, 2)]),
        (stratified_mean, [(30, [1.0, 2.0])]),
        (stratified_share_in_clusters, [(30, [(5, 4), (5, 3)])]),
    ):
        assert refused_fields(function, given, confidence=confidence) == ["confidence"]
    assert refused_fields(sample_size_to_detect, 0.1, confidence) == ["confidence"]
    assert refused_fields(sample_size_to_detect_in_lot, 1, 10, confidence) == ["confidence"]
    assert refused_fields(sample_size_for_margin, 0.1, 0.1, confidence=confidence) == ["confidence"]


@pytest.mark.parametrize(
    ("clusters", "field"),
    [
        ([(30, 10, 2)], "clusters"),
        ([(30, 10, 2), (0, 0, 0)], "clusters.1.units"),
        ([(30, 10, 2), (5, 6, 1)], "clusters.1.sampled"),
        ([(30, 10, 2), (5, 1, 1)], "clusters.1.sampled"),
        ([(30, 10, 2), (5, 3, 4)], "clusters.1.found"),
    ],
)
def test_impossible_stages_are_refused_by_name(clusters, field):
    assert refused_fields(share_in_two_stages, clusters) == [field]


def test_a_row_of_one_tree_may_be_drawn_whole():
    found = share_in_two_stages([(1, 1, 1), (10, 5, 1)], clusters_in_population=2)
    assert found.value == pytest.approx(3 / 11)


@pytest.mark.parametrize(
    ("strata", "field"),
    [
        ([], "strata"),
        ([(0, 0, 0)], "strata.0.size"),
        ([(20, 5, 1), (20, 1, 0)], "strata.1.sampled"),
        ([(20, 5, 1), (20, 21, 0)], "strata.1.sampled"),
        ([(20, 5, 6)], "strata.0.found"),
    ],
)
def test_impossible_strata_are_refused_by_name(strata, field):
    assert refused_fields(stratified_share, strata) == [field]


@pytest.mark.parametrize(
    ("strata", "field"),
    [
        ([], "strata"),
        ([(20, [1.0])], "strata.0.values"),
        ([(2, [1.0, 2.0, 3.0])], "strata.0.values"),
        ([(20, [1.0, math.nan])], "strata.0.values"),
        ([(20, [1.0, math.inf])], "strata.0.values"),
    ],
)
def test_impossible_measures_are_refused_by_name(strata, field):
    assert refused_fields(stratified_mean, strata) == [field]
    assert refused_fields(stratified_total, strata) == [field]


@pytest.mark.parametrize(
    ("strata", "field"),
    [
        ([], "strata"),
        ([(30, [(5, 4)])], "strata.0.clusters"),
        ([(1, [(5, 4), (5, 3)])], "strata.0.clusters_in_stratum"),
        ([(30, [(5, 4), (5, 6)])], "strata.0.clusters.1.found"),
    ],
)
def test_impossible_strata_of_clusters_are_refused_by_name(strata, field):
    assert refused_fields(stratified_share_in_clusters, strata) == [field]


def test_a_whole_looked_at_in_full_leaves_nothing_open():
    found = stratified_share([(1, 1, 1), (1, 1, 0)])
    assert found.standard_error == 0
    assert found.interval == Interval(0.5, 0.5)
    clusters = share_in_clusters([(5, 4), (5, 2)], clusters_in_population=2)
    assert clusters.standard_error == 0
    assert clusters.exact_interval == clusters.beta_interval == Interval(0.6, 0.6)


def test_trees_that_are_all_alike_in_the_middle_are_held_to_counting_branches():
    """Nothing shows how far trees differ, yet the range is not a point."""
    found = share_in_clusters([(5, 4)] * 20)
    assert found.standard_error == 0
    assert found.beta_interval == Interval(0.8, 0.8)
    assert found.exact_interval.lower < 0.75
    assert found.exact_interval.upper > 0.85


@pytest.mark.parametrize("single", [0, 5])
def test_a_share_of_none_or_all_shows_no_design_effect(single):
    found = share_in_clusters([(5, single)] * 20)
    assert found.design_effect is None
    assert found.logit_interval is None
    assert found.exact_interval.upper - found.exact_interval.lower > 0.15


def test_a_tree_without_a_branch_adds_none():
    assert share_in_clusters([(5, 4), (5, 3), (0, 0)]).value == 0.7
    two = share_in_clusters([(5, 5), (5, 5)])
    assert share_in_clusters([(5, 5), (5, 5), (0, 0)]).exact_interval == two.exact_interval


def test_an_estimate_in_other_units_keeps_its_doubt():
    share = stratified_share([(200, 20, 3), (100, 20, 1)])
    trees = share.times(300)
    assert trees.value == pytest.approx(35)
    assert trees.standard_error == pytest.approx(300 * share.standard_error)
    assert list(trees.interval) == pytest.approx([300 * limit for limit in share.interval])


@pytest.mark.parametrize("value", [0, 1, -0.1, 1.5, math.nan])
def test_sizes_for_no_fraction_are_refused(value):
    assert refused_fields(sample_size_for_margin, value, 0.05) == ["fraction"]
    assert refused_fields(sample_size_for_margin, 0.5, value) == ["margin"]
    assert refused_fields(sample_size_to_detect, value) == ["fraction"]


def test_sizes_for_no_lot_are_refused():
    assert refused_fields(sample_size_for_margin, 0.5, 0.05, lot_size=0) == ["lot_size"]
    assert refused_fields(sample_size_to_detect_in_lot, 1, 0) == ["lot_size"]
    assert refused_fields(sample_size_to_detect_in_lot, 0, 10) == ["nonconforming"]
    assert refused_fields(sample_size_to_detect_in_lot, 11, 10) == ["nonconforming"]


@pytest.mark.parametrize("standard_errors", [0, -1, math.inf, math.nan])
def test_a_margin_spans_some_standard_errors(standard_errors):
    assert refused_fields(sample_size_for_margin, 0.5, 0.05, standard_errors=standard_errors) == [
        "standard_errors"
    ]
