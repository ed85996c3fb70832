"""`design_single` against the least work that finds the same plan, and against a first draft."""

import math
from collections.abc import Iterator

import scipy.stats

from audits.sampling import SinglePlan, design_single
from tests.benchmarks.timing import Line, at_least_faster, at_most, take_turns

PROMISES = [(0.05, 0.20), (0.02, 0.08), (0.01, 0.03), (0.05, 0.10)]
LOT_SIZES = [100, 300, 1000, 10_000]
PRODUCER_RISK, CONSUMER_RISK = 0.05, 0.10
SEARCHES_A_CALL = 10


def climb_endless(good: float, bad: float) -> SinglePlan:
    """
    Climb from plan to plan, each chance from the one before it by a few products.

    The bare recurrence without any check of what is asked or of what rounding does.
    """
    size, number = 1, 0
    good_passes = good_mass = good_rest = 1 - good
    bad_passes = bad_mass = bad_rest = 1 - bad
    good_odds, bad_odds = good / good_rest, bad / bad_rest
    while True:
        if bad_passes > CONSUMER_RISK:
            good_passes -= good * good_mass
            bad_passes -= bad * bad_mass
            size += 1
            more = size / (size - number)
            good_mass *= good_rest * more
            bad_mass *= bad_rest * more
        elif good_passes < 1 - PRODUCER_RISK:
            more = (size - number) / (number + 1)
            number += 1
            good_mass *= good_odds * more
            bad_mass *= bad_odds * more
            good_passes += good_mass
            bad_passes += bad_mass
        else:
            return SinglePlan(size, number)


def climb_lot(good: int, bad: int, lot_size: int) -> SinglePlan:
    """Climb in the same way without replacement."""
    size, number = 1, 0
    good_rest, bad_rest = lot_size - good, lot_size - bad
    good_passes = good_mass = good_rest / lot_size
    bad_passes = bad_mass = bad_rest / lot_size
    while True:
        conforming = size - number
        if bad_passes > CONSUMER_RISK:
            left = lot_size - size
            good_passes -= good_mass * (good - number) / left
            bad_passes -= bad_mass * (bad - number) / left
            size += 1
            more = size / ((conforming + 1) * left)
            good_mass *= (good_rest - conforming) * more
            bad_mass *= (bad_rest - conforming) * more
        elif good_passes < 1 - PRODUCER_RISK:
            more = conforming / (number + 1)
            good_mass *= (good - number) * more / (good_rest - conforming + 1)
            bad_mass *= (bad - number) * more / (bad_rest - conforming + 1)
            number += 1
            good_passes += good_mass
            bad_passes += bad_mass
        else:
            return SinglePlan(size, number)


def first_draft_endless(good: float, bad: float) -> SinglePlan:
    """Every sample size, every number, each chance asked of scipy.stats."""
    size = 0
    while True:
        size += 1
        for number in range(size):
            if scipy.stats.binom.cdf(number, size, bad) > CONSUMER_RISK:
                break
            if scipy.stats.binom.cdf(number, size, good) >= 1 - PRODUCER_RISK:
                return SinglePlan(size, number)


def first_draft_lot(good: int, bad: int, lot_size: int) -> SinglePlan:
    """Every sample size, every number, each chance asked of scipy.stats."""
    size = 0
    while True:
        size += 1
        for number in range(size):
            if scipy.stats.hypergeom.cdf(number, lot_size, bad, size) > CONSUMER_RISK:
                break
            if scipy.stats.hypergeom.cdf(number, lot_size, good, size) >= 1 - PRODUCER_RISK:
                return SinglePlan(size, number)


def lines() -> Iterator[Line]:
    """Search for each pair of promises in an endless row and in lots of several sizes."""
    floor = drafts = ours = 0.0
    for good, bad in PROMISES:
        times = _times(good, bad, None)
        ours, floor, drafts = ours + times[0], floor + times[1], drafts + times[2]
    yield at_most("single plan, endless row: bare recurrence", ours, floor, 1.5)
    yield at_least_faster("single plan, endless row: double loop", ours, drafts, 30)
    floor = drafts = ours = 0.0
    for lot_size in LOT_SIZES:
        for good, bad in PROMISES:
            times = _times(good, bad, lot_size)
            ours, floor, drafts = ours + times[0], floor + times[1], drafts + times[2]
    yield at_most("single plan, lots of 100-10,000: bare recurrence", ours, floor, 1.5)
    yield at_least_faster("single plan, lots of 100-10,000: double loop", ours, drafts, 30)


def _times(good: float, bad: float, lot_size: int | None) -> tuple[float, float, float]:
    def ours() -> SinglePlan:
        return design_single(good, PRODUCER_RISK, bad, CONSUMER_RISK, lot_size=lot_size)

    def floor() -> SinglePlan:
        if lot_size is None:
            return climb_endless(good, bad)
        return climb_lot(round(good * lot_size), round(bad * lot_size), lot_size)

    def draft() -> SinglePlan:
        if lot_size is None:
            return first_draft_endless(good, bad)
        return first_draft_lot(round(good * lot_size), round(bad * lot_size), lot_size)

    if not ours() == floor() == draft():
        raise AssertionError((good, bad, lot_size))
    quick = take_turns(
        {
            "ours": lambda: [ours() for _ in range(SEARCHES_A_CALL)],
            "floor": lambda: [floor() for _ in range(SEARCHES_A_CALL)],
        },
        rounds=41,
    )
    slow = take_turns({"draft": draft}, rounds=3)
    if not all(math.isfinite(taken) for taken in (*quick.values(), *slow.values())):
        raise AssertionError
    return quick["ours"] / SEARCHES_A_CALL, quick["floor"] / SEARCHES_A_CALL, slow["draft"]
