"""
The common odds ratio of Mantel and Haenszel against statsmodels' StratifiedTable.
"""

import math

import numpy as np
import pytest
from statsmodels.stats.contingency_tables import StratifiedTable

from audits.learning.language_gap import TwoByTwo, common_odds


@pytest.mark.parametrize("seed", range(6))
def test_ratio_interval_and_chance_are_those_of_statsmodels(seed):
    chances = np.random.default_rng(seed)
    tables = chances.integers(1, 15, size=(4, 2, 2))
    found = common_odds([TwoByTwo(a, b, c, d) for ((a, b), (c, d)) in tables.tolist()])
    expected = StratifiedTable([table.astype(float) for table in tables])
    assert found.ratio == pytest.approx(expected.oddsratio_pooled, rel=1e-12)
    assert found.interval == pytest.approx(expected.oddsratio_pooled_confint(), rel=1e-9)
    test = expected.test_null_odds(correction=False)
    assert found.p_value == pytest.approx(test.pvalue, rel=1e-9)


def test_groups_that_say_nothing_change_nothing():
    told = TwoByTwo(8, 2, 5, 5)
    silent = [TwoByTwo(9, 1, 0, 0), TwoByTwo(4, 0, 6, 0), TwoByTwo(0, 3, 0, 5)]
    assert common_odds([told, *silent]) == common_odds([told])


def test_plain_shares_would_blame_the_wording_for_what_people_know():
    # Spanish readers know less here, equally in either group; the wording is innocent.
    groups = [TwoByTwo(18, 2, 9, 1), TwoByTwo(2, 8, 8, 32)]
    assert common_odds(groups).ratio == pytest.approx(1)
    summed = TwoByTwo(*(sum(column) for column in zip(*groups, strict=True)))
    assert common_odds([summed]).ratio > 3


def test_what_points_one_way_has_no_range_but_is_told_apart_from_chance():
    # A wording that all of one language get wrong is the clearest case, not a missing one.
    groups = [TwoByTwo(12, 0, 2, 10), TwoByTwo(9, 0, 1, 8)]
    found = common_odds(groups)
    assert (found.ratio, found.interval) == (math.inf, None)
    tables = [np.array([[a, b], [c, d]], dtype=float) for a, b, c, d in groups]
    expected = StratifiedTable(tables).test_null_odds(correction=False)
    assert found.p_value == pytest.approx(expected.pvalue, rel=1e-9)
    turned = common_odds([TwoByTwo(c, d, a, b) for a, b, c, d in groups])
    assert (turned.ratio, turned.interval) == (0.0, None)
    assert turned.p_value == pytest.approx(found.p_value)


def test_nothing_to_compare_has_no_ratio():
    assert common_odds([]) is None
    assert common_odds([TwoByTwo(5, 0, 3, 0)]) is None
    with pytest.raises(ValueError, match="negative"):
        common_odds([TwoByTwo(-1, 2, 3, 4)])
