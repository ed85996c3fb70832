"""The p chart at its edges."""

import pytest

from audits.control.p_chart import FractionChart, p_chart


def test_no_samples_give_a_chart_without_points():
    assert p_chart([], []) == FractionChart((), None)
    assert p_chart([], [], centre=0.2) == FractionChart((), 0.2)


@pytest.mark.parametrize("fraction", [0, 1])
def test_work_that_is_always_the_same_gives_no_signal(fraction):
    due = [5, 20, 300]
    chart = p_chart([fraction * trees for trees in due], due)
    assert chart.centre == fraction
    assert [point.signal for point in chart.points] == [None] * 3


def test_limits_widen_for_small_samples():
    small, large = p_chart([1, 10], [10, 100]).points
    assert small.upper > large.upper


def test_a_given_centre_replaces_the_average():
    chart = p_chart([30], [100], centre=0.1)
    assert chart.centre == 0.1
    assert chart.points[0].signal == "above"


def test_a_good_sample_of_poor_work_signals_below():
    assert p_chart([5], [100], centre=0.5).points[0].signal == "below"


def test_a_point_on_its_limit_is_inside():
    # 0.5 + 3 * sqrt(0.25 / 36) = 0.75 = 27 / 36.
    above, on = p_chart([28, 27], [36, 36], centre=0.5).points
    assert (above.signal, on.signal) == ("above", None)


def test_impossible_samples_are_refused():
    with pytest.raises(ValueError, match="argument 2 is shorter"):
        p_chart([1, 2], [10])
    with pytest.raises(ValueError, match="count"):
        p_chart([11], [10])
    with pytest.raises(ValueError, match="due must be at least 1"):
        p_chart([0, 1], [0, 10])
