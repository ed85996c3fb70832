"""Which one stage somebody works on: by signal, then by the range, and never on one odd tree."""

from dataclasses import dataclass

import pytest

from audits.coaching_words import CoachingReason
from audits.estimates import RateReading, describe_rate
from audits.services.coaching import choose_stage
from audits.vocabulary import Stage

TOP, LIMBS, COLUMNS = Stage.TOP, Stage.LIMBS, Stage.COLUMNS


@dataclass(frozen=True)
class Trend:
    """What the choice looks at in a worker's stage."""

    stage: Stage
    reading: RateReading
    accepted_fraction: float = 0.05
    has_signal: bool = False
    block_first: str | None = None


def trend(stage, wrong, due, *, signal=False, block=None, auditors=2) -> Trend:
    reading = describe_rate(wrong, due, days=4, rows=4, auditors=auditors)
    return Trend(stage, reading, has_signal=signal or block is not None, block_first=block)


def chosen(*trends):
    choice = choose_stage(trends)
    return choice.reason, choice.stage or choice.went_well


def test_a_signal_comes_before_everything_else():
    found = chosen(trend(TOP, 2, 40, signal=True), trend(LIMBS, 30, 40))
    assert found == (CoachingReason.SIGNAL, TOP)


def test_of_two_signals_it_is_the_one_further_above_the_standard():
    found = chosen(trend(TOP, 2, 40, signal=True), trend(LIMBS, 30, 40, signal=True))
    assert found == (CoachingReason.SIGNAL, LIMBS)


def test_a_signal_of_the_person_comes_before_one_of_a_hard_block():
    of_block = trend(LIMBS, 30, 40, block="Look at the block first.")
    assert chosen(trend(TOP, 2, 40, signal=True), of_block) == (CoachingReason.SIGNAL, TOP)
    assert chosen(trend(TOP, 2, 40), of_block) == (CoachingReason.HARD_BLOCK, LIMBS)


def test_the_range_counts_and_not_the_rate():
    # 5 of 30 is the higher rate, but with 60 of 400 it is surer that it lies above 5 %.
    found = chosen(trend(TOP, 5, 30), trend(LIMBS, 60, 400))
    assert found == (CoachingReason.ABOVE_STANDARD, LIMBS)


def test_between_the_two_limits_nobody_is_called_worse_than_the_standard():
    # 95 % lower limit 0.058; with 5 % as many come up 4 times in 1,000, which 99.8 % allows.
    found = chosen(trend(TOP, 12, 100))
    assert found == (CoachingReason.MOST_TO_GAIN, TOP)


@pytest.mark.parametrize(("wrong", "due"), [(29, 29), (9, 9), (2, 3)])
def test_below_the_floors_it_is_shown_as_seen(wrong, due):
    assert chosen(trend(TOP, wrong, due)) == (CoachingReason.SEEN, TOP)


def test_from_one_auditor_it_is_shown_as_seen():
    assert chosen(trend(TOP, 20, 40, auditors=1)) == (CoachingReason.SEEN, TOP)


@pytest.mark.parametrize("trends", [(), (trend(TOP, 1, 1),), (trend(TOP, 0, 9),)])
def test_one_odd_tree_is_no_reason(trends):
    assert choose_stage(trends).reason is CoachingReason.TOO_FEW
    assert choose_stage(trends).stage is None


def test_with_all_well_the_surest_stage_is_named():
    found = chosen(trend(TOP, 1, 40), trend(LIMBS, 0, 12), trend(COLUMNS, 0, 60))
    assert found == (CoachingReason.NOTHING, COLUMNS)
