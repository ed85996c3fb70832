"""Printed gauges: when their scale holds, and for which standards they are right."""

import pytest

from audits.errors import InvalidInput
from audits.gauges import BatchState, batch_state, gauge_limits, keeps_scale
from audits.scoring import read_answers, score_tree
from audits.standard import preset
from audits.vocabulary import BearingHabit, HeadingRule, Method

SPUR = preset(BearingHabit.STANDARD, 3_352.8)


def changed(**parts):
    """The preset with parts of its stages changed: ``changed(limbs={"large_mm": 25.0})``."""
    payload = SPUR.model_dump()
    for name, change in parts.items():
        payload[name] = payload[name] | change if isinstance(change, dict) else change
    return type(SPUR).model_validate(payload)


HEADED = changed(heading={"rule": HeadingRule.REQUIRED})


def serves(printed, asked) -> bool:
    return gauge_limits(printed).serves(gauge_limits(asked))


class TestLimits:
    def test_a_gauge_serves_for_its_own_standard(self):
        assert serves(HEADED, HEADED)

    def test_what_no_gauge_shows_may_differ(self):
        other = changed(
            heading={"rule": HeadingRule.REQUIRED, "looked_at": 3},
            top={"target_mm": 2_900.0},
            limbs={"least": 1, "most": 3},
        )
        assert serves(HEADED, other)

    @pytest.mark.parametrize(
        "change",
        [
            {"limbs": {"large_mm": 19.05}},
            {"heading": {"rule": HeadingRule.REQUIRED, "thinnest_mm": 5.5}},
            {"heading": {"rule": HeadingRule.REQUIRED, "thickest_mm": 9.5}},
            {"diameter_guard_mm": 0.5},
        ],
    )
    def test_other_limits_ask_for_another_gauge(self, change):
        asked = changed(**{"heading": {"rule": HeadingRule.REQUIRED}} | change)
        assert not serves(HEADED, asked)
        assert not serves(asked, HEADED)

    def test_the_same_guarded_limits_by_another_band_are_other_limits(self):
        """5 to 10 mm with the guard either way: the band that is printed is not the same."""
        asked = changed(
            heading={"rule": HeadingRule.REQUIRED, "thinnest_mm": 5.5, "thickest_mm": 9.5},
            diameter_guard_mm=0.5,
        )
        assert not serves(HEADED, asked)

    def test_a_band_that_nobody_asks_for_may_be_any(self):
        assert serves(HEADED, SPUR)
        assert serves(changed(heading={"rule": HeadingRule.REQUIRED, "thickest_mm": 10.0}), SPUR)
        assert not serves(SPUR, HEADED)


class TestScale:
    """The frames are this program's own; ID-1 is 85.60 x 53.98 mm (ISO/IEC 7810)."""

    @pytest.mark.parametrize("bar_mm", [99.5, 100.0, 100.5])
    def test_half_a_millimetre_is_let_pass(self, bar_mm):
        assert keeps_scale(card_fits=True, across_mm=bar_mm, down_mm=bar_mm)

    @pytest.mark.parametrize("bar_mm", [99.49, 100.51, 96.1])
    def test_one_bar_that_is_off_fails(self, bar_mm):
        assert not keeps_scale(card_fits=True, across_mm=bar_mm, down_mm=100.0)
        assert not keeps_scale(card_fits=True, across_mm=100.0, down_mm=bar_mm)

    def test_a_card_that_does_not_fit_fails_whatever_was_read(self):
        assert not keeps_scale(card_fits=False, across_mm=100.0, down_mm=100.0)


def test_a_batch_is_usable_in_one_case_only():
    cases = {
        (withdrawn, passed, checked_in): batch_state(
            withdrawn=withdrawn, passed=passed, checked_in=checked_in, season=2025
        )
        for withdrawn in (False, True)
        for passed, checked_in in (
            (None, None),
            (True, 2024),
            (True, 2025),
            (True, 2026),
            (False, 2025),
        )
    }
    usable = [case for case, state in cases.items() if state is BatchState.USABLE]
    assert usable == [(False, True, 2025)]


HEADING = {"kind": "heading", "diameters_mm": [7.0], "left_long": 0}
LIMBS = {"kind": "limbs", "cut_mm": [], "standing_mm": [30.0], "faults": []}


class TestAnswers:
    @pytest.mark.parametrize("stages", [{"heading": HEADING}, {"limbs": LIMBS}])
    def test_a_gauge_is_kept_with_diameters_and_changes_no_result(self, stages):
        plain, named = (read_answers({"stages": stages} | more) for more in ({}, {"gauge": 12}))
        assert named.gauge == 12
        assert named.model_dump(mode="json")["gauge"] == 12
        assert score_tree(HEADED, named, method=Method.LADDER) == score_tree(
            HEADED, plain, method=Method.LADDER
        )

    def test_answers_without_a_gauge_are_stored_as_before_there_were_gauges(self):
        answers = read_answers({"stages": {"heading": HEADING}})
        assert "gauge" not in answers.model_dump(mode="json")

    @pytest.mark.parametrize(
        "stages",
        [
            {},
            {"heading": {"kind": "class", "tap": "right"}},
            {"heading": {"kind": "heading", "diameters_mm": [], "left_long": 1}},
            {"top": {"kind": "top", "height_mm": 3_000.0}},
        ],
    )
    def test_a_gauge_without_a_diameter_is_refused(self, stages):
        with pytest.raises(InvalidInput) as refused:
            read_answers({"stages": stages, "gauge": 12})
        assert list(refused.value.problems) == ["gauge"]

    @pytest.mark.parametrize("gauge", [0, -1, 2**31, "12", 12.0, True, [12]])
    def test_what_is_no_number_of_a_batch_is_refused_at_the_gauge(self, gauge):
        with pytest.raises(InvalidInput) as refused:
            read_answers({"stages": {"heading": HEADING}, "gauge": gauge})
        assert list(refused.value.problems) == ["gauge"]
