"""
Wave plans against the yardsticks of their design, and against exhaustive searches.

The yardsticks for a row of 300 trees were found by an exhaustive search outside this project; the
search below is written anew for this file and shares nothing with the one under test.
"""

import math

import pytest
import scipy.stats

from audits.errors import AuditError, InvalidInput
from audits.sampling import (
    MOST_WAVES,
    Rounding,
    SinglePlan,
    WavePlan,
    acceptance_probability_at_count,
    average_sample_number_at_count,
    design_single,
    design_waves,
    stage_producer_risk,
    trees_at_fraction,
    trees_until_all_decided,
)
from audits.sampling.wave_search import Lots, Search

# The issue of the project: expected trees within 3 % of the best achievable.
SLACK = 1.03

STAGE_RISK = stage_producer_risk(0.05, 4)


def expected_trees(plan, acceptable, lot_size, stages=1):
    good = trees_at_fraction(acceptable, lot_size, Rounding.DOWN)
    return trees_until_all_decided([(plan, good)] * stages, lot_size)


class ExhaustiveSearch:
    """
    The fewest trees below `beat` with which any plan at all keeps both promises.

    Every size of every wave, every acceptance and every rejection number is tried, wave by wave;
    left out is only what breaks a promise already or has no fewer trees than the best so far.
    """

    def __init__(self, lots, stages, largest, beat):
        self.lots, self.stages, self.largest, self.best = lots, stages, largest, beat

    def over(self, waves):
        self.walk(0, {0: 1.0}, {0: 1.0}, (0.0, 0.0, 0.0), waves)
        return self.best

    def any_open(self, chance):
        return 1 - (1 - chance) ** self.stages

    def one_tree_on(self, live, seen, nonconforming):
        walked = {}
        for found, chance in live.items():
            share = (nonconforming - found) / (self.lots.lot_size - seen)
            walked[found] = walked.get(found, 0) + chance * (1 - share)
            walked[found + 1] = walked.get(found + 1, 0) + chance * share
        return {found: chance for found, chance in walked.items() if chance > 0}

    def within(self, good_by_step, accepted, rejected):
        # Curtailed inside the wave: open while neither number is sure to be met.
        last = len(good_by_step) - 1
        return sum(
            self.any_open(
                sum(
                    chance
                    for found, chance in live.items()
                    if found < rejected and found + last - step > accepted
                )
            )
            for step, live in enumerate(good_by_step[:-1])
        )

    def walk(self, size, good, bad, spent, waves):
        lowest, by_step = min(good), [good]
        sent_back, passed, trees = spent
        while size < self.largest:
            bad = self.one_tree_on(bad, size, self.lots.bad)
            by_step.append(self.one_tree_on(by_step[-1], size, self.lots.good))
            size += 1
            for accepted in range(lowest - 1, max(*by_step[-1], *bad) + 1):
                passed_now = passed + sum(bad[found] for found in bad if found <= accepted)
                if passed_now > self.lots.consumer_risk + 1e-12:
                    break
                above = sum(by_step[-1][found] for found in by_step[-1] if found > accepted)
                if accepted >= 0 and sent_back + above <= self.lots.producer_risk + 1e-12:
                    whole = trees + self.within(by_step, accepted, accepted + 1)
                    self.best = min(self.best, whole)
                if waves > 1:
                    now = (sent_back, passed_now, trees)
                    self.go_on(size, by_step, bad, now, accepted, waves - 1)

    def go_on(self, size, by_step, bad, spent, accepted, waves):
        sent_back, passed, trees = spent
        good = by_step[-1]
        for rejected in range(max(*good, *bad) + 1, accepted + 1, -1):
            sent_now = sent_back + sum(good[found] for found in good if found >= rejected)
            if sent_now > self.lots.producer_risk + 1e-12:
                break
            on = {found: good[found] for found in good if accepted < found < rejected}
            bad_on = {found: bad[found] for found in bad if accepted < found < rejected}
            trees_now = trees + self.within(by_step, accepted, rejected)
            # At least one more tree for whatever is still open.
            if on and bad_on and trees_now + self.any_open(sum(on.values())) < self.best:
                self.walk(size, on, bad_on, (sent_now, passed, trees_now), waves)


def test_the_best_two_waves_of_a_row_of_300_expect_15_75_trees():
    plan = design_waves(0.05, 0.05, 0.25, 0.10, lot_size=300, largest_sample=33)
    assert len(plan.sizes) == 2
    assert plan.sample_size <= 33
    assert expected_trees(plan, 0.05, 300) == pytest.approx(15.75, abs=0.005)
    # The default allows no more: eight trees above the single plan's 25.
    assert design_waves(0.05, 0.05, 0.25, 0.10, lot_size=300) == plan


def test_the_best_three_waves_of_a_row_of_300_expect_14_14_trees():
    plan = design_waves(0.05, 0.05, 0.25, 0.10, lot_size=300, most_waves=3)
    assert len(plan.sizes) == 3
    assert plan.sample_size <= 33
    assert expected_trees(plan, 0.05, 300) == pytest.approx(14.14, abs=0.005)


def test_the_single_plan_of_that_row_needs_25_trees():
    assert design_single(0.05, 0.05, 0.25, 0.10, lot_size=300) == SinglePlan(25, 3)
    one_wave = design_waves(0.05, 0.05, 0.25, 0.10, lot_size=300, most_waves=1)
    assert len(one_wave.sizes) == 1
    assert expected_trees(one_wave, 0.05, 300) <= expected_trees(SinglePlan(25, 3), 0.05, 300)


@pytest.mark.no_cover
def test_no_endless_row_is_decided_with_fewer_trees_than_walds_bound():
    # A. Wald, Sequential Analysis (1947), A:71-73: the expected sample of any test with these
    # risks is at least [(1-a) ln(b/(1-a)) + a ln((1-b)/a)] / [p ln(r/p) + (1-p) ln((1-r)/(1-p))],
    # taken with both signs turned.
    acceptable, rejectable, producer, consumer = 0.05, 0.25, 0.05, 0.10
    evidence = (1 - producer) * math.log((1 - producer) / consumer) + producer * math.log(
        producer / (1 - consumer)
    )
    per_tree = acceptable * math.log(acceptable / rejectable) + (1 - acceptable) * math.log(
        (1 - acceptable) / (1 - rejectable)
    )
    bound = evidence / per_tree
    assert bound == pytest.approx(13.8, abs=0.05)
    # A lot of 300 may do with a little less than an endless row: what was seen is out of it.
    for waves in (1, 2, 3, 4):
        plan = design_waves(0.05, 0.05, 0.25, 0.10, lot_size=300, most_waves=waves)
        assert expected_trees(plan, 0.05, 300) > 0.98 * bound


@pytest.mark.no_cover
@pytest.mark.parametrize(("waves", "trees"), [(2, 22.7), (3, 22.1)])
def test_four_stages_together_expect_the_trees_of_the_yardstick(waves, trees):
    plan = design_waves(
        0.05,
        STAGE_RISK,
        0.25,
        0.10,
        lot_size=300,
        stages=4,
        most_waves=waves,
        largest_sample=40,
    )
    assert len(plan.sizes) == waves
    assert plan.sample_size <= 40
    assert expected_trees(plan, 0.05, 300, stages=4) == pytest.approx(trees, abs=0.05)
    assert design_single(0.05, STAGE_RISK, 0.25, 0.10, lot_size=300) == SinglePlan(30, 4)
    assert acceptance_probability_at_count(plan, 15, 300) ** 4 >= 0.95
    assert acceptance_probability_at_count(plan, 75, 300) <= 0.10


# Lot, acceptable and rejectable fraction, both risks, stages, waves.
SMALL_CASES = [
    (40, 0.10, 0.40, 0.05, 0.10, 1, 2),
    (60, 0.05, 0.25, 0.05, 0.10, 1, 2),
    (60, 0.05, 0.25, 0.05, 0.10, 2, 2),
    (60, 0.05, 0.25, 0.0127, 0.10, 4, 2),
    (80, 0.10, 0.20, 0.20, 0.20, 2, 2),
    (80, 0.0, 0.15, 0.05, 0.05, 1, 2),
    (100, 0.05, 0.25, 0.05, 0.10, 1, 1),
    (100, 0.02, 0.20, 0.05, 0.05, 4, 2),
    (120, 0.08, 0.25, 0.025, 0.20, 2, 2),
    (150, 0.10, 0.30, 0.05, 0.10, 1, 2),
    (150, 0.03, 0.25, 0.0127, 0.10, 4, 2),
    (40, 0.10, 0.40, 0.05, 0.10, 1, 3),
    (60, 0.05, 0.40, 0.05, 0.10, 2, 3),
    (100, 0.02, 0.25, 0.05, 0.10, 4, 3),
    (150, 0.05, 0.40, 0.0127, 0.05, 1, 3),
    # Risks that no single plan uses up: the best last wave has fewer trees than that plan.
    (100, 0.01, 0.15, 0.20, 0.02, 1, 2),
    (120, 0.02, 0.10, 0.20, 0.20, 3, 2),
    (120, 0.05, 0.20, 0.10, 0.30, 4, 2),
]


@pytest.mark.no_cover
@pytest.mark.parametrize(
    ("lot_size", "acceptable", "rejectable", "producer", "consumer", "stages", "waves"),
    SMALL_CASES,
)
def test_no_plan_at_all_has_clearly_fewer_trees(
    lot_size, acceptable, rejectable, producer, consumer, stages, waves
):
    single = design_single(acceptable, producer, rejectable, consumer, lot_size=lot_size)
    largest = min(lot_size, single.sample_size + 8)
    plan = design_waves(
        acceptable,
        producer,
        rejectable,
        consumer,
        lot_size=lot_size,
        stages=stages,
        most_waves=waves,
    )
    assert plan.sample_size <= largest
    trees = expected_trees(plan, acceptable, lot_size, stages)
    lots = Lots(
        lot_size,
        trees_at_fraction(acceptable, lot_size, Rounding.DOWN),
        trees_at_fraction(rejectable, lot_size, Rounding.UP),
        producer,
        consumer,
    )
    # It is found when it may be found, and nothing else is: the plan is the best there is.
    search = ExhaustiveSearch(lots, stages, largest, trees + 1e-6)
    assert search.over(waves) == pytest.approx(trees, abs=1e-9)


# Large samples; with more than 128 trees, in the last three, not every size of a wave is tried.
# They are the hardest of 330 random ones: looking around fewer plans was 2 to 4 % from the best.
LARGE_CASES = [
    (300, 0.05, 0.12, 0.05, 0.10, 1),
    (400, 0.10, 0.20, 0.0127, 0.10, 1),
    (200, 0.03, 0.06, 0.10, 0.20, 4),
    (400, 0.08, 0.136, 0.05, 0.10, 1),
    (300, 0.08, 0.16, 0.0127, 0.05, 1),
    (400, 0.10, 0.17, 0.05, 0.10, 2),
]


# Searches of many seconds take minutes while every line is counted.
@pytest.mark.no_cover
@pytest.mark.slow
@pytest.mark.parametrize(
    ("lot_size", "acceptable", "rejectable", "producer", "consumer", "stages"), LARGE_CASES
)
def test_two_waves_of_large_samples_are_near_the_best_of_all_sizes(
    lot_size, acceptable, rejectable, producer, consumer, stages
):
    single = design_single(acceptable, producer, rejectable, consumer, lot_size=lot_size)
    assert 80 <= single.sample_size <= 160
    lots = Lots(
        lot_size,
        trees_at_fraction(acceptable, lot_size, Rounding.DOWN),
        trees_at_fraction(rejectable, lot_size, Rounding.UP),
        producer,
        consumer,
    )
    sizes = range(1, min(lot_size, single.sample_size + 8) + 1)
    every = Search(lots, stages, single.acceptance_number + 4)
    every.over([sizes])
    every.over([sizes, sizes])
    plan = design_waves(
        acceptable, producer, rejectable, consumer, lot_size=lot_size, stages=stages
    )
    trees = expected_trees(plan, acceptable, lot_size, stages)
    assert every.best[0].trees - 1e-9 <= trees <= SLACK * every.best[0].trees


@pytest.mark.parametrize("waves", [2, 3])
@pytest.mark.parametrize(
    ("lot_size", "acceptable", "rejectable", "producer", "consumer"),
    [
        (300, 0.05, 0.25, 0.05, 0.10),
        (310, 0.05, 0.25, STAGE_RISK, 0.10),
        (97, 0.03, 0.2, 0.1, 0.05),
        (45, 0.1, 0.35, 0.05, 0.1),
    ],
)
def test_both_promises_hold_by_sums_over_scipy(
    lot_size, acceptable, rejectable, producer, consumer, waves
):
    plan = design_waves(
        acceptable, producer, rejectable, consumer, lot_size=lot_size, most_waves=waves
    )
    good = math.floor(acceptable * lot_size + 1e-9)
    bad = math.ceil(rejectable * lot_size - 1e-9)

    def accepted(nonconforming):
        chance, live, seen = 0.0, {0: 1.0}, 0
        for size, accepts, rejects in plan.waves:
            walked = {}
            for found, mass in live.items():
                law = scipy.stats.hypergeom(lot_size - seen, nonconforming - found, size - seen)
                for more in range(size - seen + 1):
                    walked[found + more] = walked.get(found + more, 0) + mass * law.pmf(more)
            least = -1 if accepts is None else accepts
            chance += sum(mass for found, mass in walked.items() if found <= least)
            live = {
                found: mass
                for found, mass in walked.items()
                if least < found < rejects and found <= nonconforming
            }
            seen = size
        return chance

    assert accepted(good) == pytest.approx(
        acceptance_probability_at_count(plan, good, lot_size), abs=1e-10
    )
    assert accepted(good) >= 1 - producer - 1e-10
    assert accepted(bad) <= consumer + 1e-10


def test_one_wave_of_a_whole_lot_is_the_last_resort():
    # 11 against 12 of 12 trees can only be told apart by looking at all of them.
    plan = design_waves(11 / 12, 0.01, 0.9999, 0.01, lot_size=12, most_waves=1)
    assert plan == WavePlan((12,), (11,), (12,))


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"producer_risk": 0.0}, "producer_risk", "above 0 and below 1; 0 does not"),
        ({"producer_risk": 1.0}, "producer_risk", "above 0 and below 1; 1 does not"),
        ({"consumer_risk": -0.1}, "consumer_risk", "above 0 and below 1; -0.1 does not"),
        ({"consumer_risk": 1.5}, "consumer_risk", "above 0 and below 1; 1.5 does not"),
        ({"acceptable_fraction": -0.01}, "acceptable_fraction", "between 0 and 1; -0.01 does"),
        ({"rejectable_fraction": 1.2}, "rejectable_fraction", "between 0 and 1; 1.2 does not"),
        (
            {"acceptable_fraction": 0.25},
            "rejectable_fraction",
            "0.25, must be larger than the acceptable one, 0.25",
        ),
        (
            {"acceptable_fraction": 0.3},
            "rejectable_fraction",
            "0.25, must be larger than the acceptable one, 0.3",
        ),
        ({"lot_size": 0}, "lot_size", "at least 1; it is 0"),
        ({"lot_size": 30.5}, "lot_size", "at least 1; it is 30.5"),
        ({"stages": 0}, "stages", "at least 1; it is 0"),
        ({"most_waves": 0}, "most_waves", "at least 1; it is 0"),
        ({"most_waves": MOST_WAVES + 1}, "most_waves", "at most 5; it is 6"),
        ({"largest_sample": 0}, "largest_sample", "at least 1; it is 0"),
        ({"largest_sample": 301}, "largest_sample", "at most 300; it is 301"),
    ],
)
def test_values_outside_their_range_are_refused_by_name(changes, field, words):
    asked = {
        "acceptable_fraction": 0.05,
        "producer_risk": 0.05,
        "rejectable_fraction": 0.25,
        "consumer_risk": 0.10,
        "lot_size": 300,
    }
    with pytest.raises(InvalidInput) as refusal:
        design_waves(**(asked | changes))
    assert list(refusal.value.problems) == [field]
    assert words in str(refusal.value.problems[field])


def test_fractions_that_come_to_the_same_trees_say_what_to_change():
    # Both are 3 of 12 trees, as far as a fraction can be typed.
    with pytest.raises(AuditError, match="Even all 12 trees cannot promise this") as refusal:
        design_waves(0.25, 0.05, 0.2500000000001, 0.10, lot_size=12)
    assert "with 3 nonconforming the lot should pass, with 3 go back" in str(refusal.value)
    assert "Set the two fractions further apart" in str(refusal.value)


def test_a_largest_sample_too_small_says_how_many_trees_are_needed():
    with pytest.raises(AuditError) as refusal:
        design_waves(0.05, 0.05, 0.25, 0.10, lot_size=300, largest_sample=15)
    assert str(refusal.value) == (
        "15 trees are too few to promise this: one sample needs 25. Allow more trees, set the "
        "two fractions further apart, or allow larger risks."
    )
    with pytest.raises(AuditError, match="1 tree is too few to promise this"):
        design_waves(0.05, 0.05, 0.25, 0.10, lot_size=300, largest_sample=1)


def test_a_designed_plan_is_kept_for_the_next_page():
    first = design_waves(0.05, STAGE_RISK, 0.25, 0.10, lot_size=300, stages=4)
    assert design_waves(0.05, STAGE_RISK, 0.25, 0.10, lot_size=300, stages=4) is first


@pytest.mark.no_cover
def test_waves_never_need_more_trees_than_one_sample():
    for lot_size in (25, 60, 130, 310):
        one, two, three = (
            design_waves(0.05, 0.05, 0.25, 0.10, lot_size=lot_size, most_waves=waves)
            for waves in (1, 2, 3)
        )
        good = trees_at_fraction(0.05, lot_size, Rounding.DOWN)
        means = [average_sample_number_at_count(plan, good, lot_size) for plan in (one, two, three)]
        assert means[0] >= means[1] - 1e-9
        assert means[1] >= means[2] - 1e-9
