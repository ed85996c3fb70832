"""Laws of signals: more faults never make less of one, and limits only rise with the centre."""

from datetime import date, timedelta
from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from audits.control.choice import DueTree
from audits.control.heights import heights_chart
from audits.control.signals import season_charts, stage_charts, sum_of_faults
from audits.vocabulary import Fault, Stage

OUTCOMES = st.lists(st.booleans(), max_size=120)
DESIGN = season_charts(0.05).design


def trees_of(outcomes):
    begin = date(2026, 1, 5)
    return [
        DueTree(bad, begin + timedelta(days=place // 20), 1, (Fault.HIGH,) if bad else ())
        for place, bad in enumerate(outcomes)
    ]


@given(OUTCOMES, st.data())
def test_one_fault_more_never_ends_a_signal_of_the_sum(outcomes, data):
    before = sum_of_faults(outcomes, DESIGN)
    worse = list(outcomes)
    if worse:
        worse[data.draw(st.integers(0, len(worse) - 1))] = True
    after = sum_of_faults(worse, DESIGN)
    assert all(old <= new for old, new in zip(before.sums, after.sums, strict=True))
    assert set(before.out) <= set(after.out)


@given(OUTCOMES)
def test_the_sum_stays_between_nothing_and_its_threshold(outcomes):
    found = sum_of_faults(outcomes, DESIGN)
    assert all(0 <= total <= found.threshold for total in found.sums)
    if found.since is not None:
        assert outcomes[found.since - 1]
        assert found.since <= found.out[-1]


@given(OUTCOMES, st.booleans())
def test_a_signal_tells_of_trees_that_there_are(outcomes, beside_standard):
    trees = trees_of(outcomes)
    charts = stage_charts(Stage.TOP, trees, accepted=0.05, beside_standard=beside_standard)
    assert (charts.blocks is None) is (len(trees) < 30)
    if charts.signal:
        assert 0 < charts.signal.nonconforming <= charts.signal.due <= len(trees)
        assert charts.signal.run == tuple(trees[-charts.signal.due :])
        assert charts.signal.since == charts.signal.run[0].day


def test_limits_rise_with_the_centre():
    """
    So that a worker's own higher rate makes no signal that the standard would not make.

    In faults, thresholds may fall by a tenth, because scores are whole numbers; the shortcut in
    `audits.services.trends` leaves room for more.
    """
    charts = [season_charts(centre) for centre in (0.05, 0.055, 0.06, 0.08, 0.1, 0.15, 0.25, 0.5)]
    for before, after in combinations(charts, 2):
        assert before.largest_inside <= after.largest_inside
        faults = [one.design.threshold / one.design.score_fault for one in (before, after)]
        assert faults[1] >= faults[0] * 0.89
        lost = [-one.design.score_good / one.design.score_fault for one in (before, after)]
        assert lost[1] >= lost[0]


@given(st.lists(st.floats(-400, 400), min_size=30, max_size=60), st.floats(-300, 300))
def test_heights_turned_upside_down_turn_their_signals(heights, shift):
    def chart(sign):
        off = [sign * (height / 10 + shift) for height in heights]
        trees = [
            DueTree(abs(height) > 150, date(2026, 1, 5), 1, (), height, 150.0) for height in off
        ]
        return heights_chart(trees, 0.05, 0.00125)

    turned = {"high": "low", "low": "high", "uneven": "uneven", None: None}
    for one, other in zip(chart(1).points, chart(-1).points, strict=True):
        assert turned[one.signal] == other.signal
        assert one.lower_mm <= 0 <= one.upper_mm
