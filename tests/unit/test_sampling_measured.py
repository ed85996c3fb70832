"""Stages decided by mean and spread, or by counting where the measures do not allow it."""

import logging
from itertools import cycle, islice
from random import Random
from statistics import NormalDist

import pytest
from scipy import stats

from audits.errors import InvalidInput
from audits.messages import ENGLISH, Message, Units, Words, say
from audits.sampling import (
    Fallback,
    LengthLimits,
    MeasuredPlan,
    MeasuredTree,
    SinglePlan,
    StageTally,
    TreesLeft,
    VariablesPlan,
    WavePlan,
    decide,
    design_mean,
    judge_measured,
    variables_acceptance_at,
)
from audits.sampling.measured import FALLBACK_SENTENCES, reading_step
from audits.sampling.measured_design import worst_mixed_chance
from audits.sampling.stored import plan_payload, read_plan
from audits.units import LengthKind
from audits.vocabulary import Fault, Outcome, Stage

# What was simulated shows with --log-cli-level=INFO.
LOG = logging.getLogger(__name__)

TARGET_MM, TOLERANCE_MM = 3_000.0, 150.0
HEIGHTS = LengthLimits(TARGET_MM - TOLERANCE_MM, TARGET_MM + TOLERANCE_MM, LengthKind.HEIGHT)
CUTS = LengthLimits(5.0, 10.0, LengthKind.DIAMETER)
PLAN = MeasuredPlan(VariablesPlan(24, 1.05), WavePlan((24, 53), (0, 7), (6, 8)))
METRIC = Words("en", "en_US", Units.METRIC, ENGLISH.gettext, ENGLISH.ngettext)


def bell(mean: float, spread: float, count: int = 24) -> list[float]:
    law = NormalDist(mean, spread)
    return [law.inv_cdf((rank + 0.5) / count) for rank in range(count)]


def measured(values, limits=HEIGHTS, **more):
    """Judge values by the plan, the first 24 in its first wave."""
    trees = [
        value if isinstance(value, MeasuredTree) else MeasuredTree(value, other_fault=False)
        for value in values
    ]
    first, second = trees[:24], trees[24:]
    tallies = [tally(first, limits), tally(second, limits)]
    return judge_measured(more.get("plan", PLAN), limits, first, tallies)


def tally(trees, limits):
    wrong = sum(
        tree.other_fault
        or (tree.value_mm is not None and not limits.lower_mm <= tree.value_mm <= limits.upper_mm)
        for tree in trees
    )
    return StageTally(len(trees), wrong)


def read(message: Message, words: Words = METRIC) -> str:
    return words.say(message)


class TestByMean:
    @pytest.mark.parametrize(
        ("mean", "spread", "sentence"),
        [
            (
                2_980,
                60,
                "Heights average 2.98 m, spread 6 cm: about 1 % outside the band, at most",
            ),
            (3_110, 60, "Heights run high: 3.11 m on average, spread 6 cm; about 25 % outside"),
            (2_890, 60, "Heights run low: 2.89 m on average, spread 6 cm; about 25 % outside"),
            (3_000, 150, "Heights differ too much from tree to tree: 3.00 m on average, spread 15"),
        ],
    )
    def test_the_reason_tells_mean_spread_and_direction(self, mean, spread, sentence):
        standing = measured(bell(mean, spread))
        said = read(standing.reason(Stage.TOP))
        assert said.startswith(sentence)
        assert said.endswith(" allowed")
        accepted = sentence.startswith("Heights average")
        assert standing.outcome is (Outcome.ACCEPTED if accepted else Outcome.NOT_ACCEPTED)
        assert standing.decided_in == 1
        assert standing.trees_left == TreesLeft(0, 0)

    @pytest.mark.parametrize(
        ("mean", "sentence"),
        [
            (7.5, "Cuts average 7.5 mm, spread 0.8 mm: about 0 % outside the band"),
            (10.0, "Cuts run thick: 10 mm on average"),
            (5.0, "Cuts run thin: 5 mm on average"),
        ],
    )
    def test_cuts_have_sentences_of_their_own(self, mean, sentence):
        standing = measured(bell(mean, 0.8), CUTS)
        assert read(standing.reason(Stage.HEADING)).startswith(sentence)

    def test_lengths_are_told_in_the_readers_units(self):
        said = read(measured(bell(3_110, 60)).reason(Stage.TOP), ENGLISH)
        assert "10 ft 2 in on average, spread 2 in" in said

    def test_a_spread_below_the_finest_mark_is_not_told_as_none(self):
        standing = measured(bell(7.5, 0.4), CUTS)
        assert "spread under 1/16 in" in read(standing.reason(Stage.HEADING), ENGLISH)
        assert "spread 0.4 mm" in read(standing.reason(Stage.HEADING))

    def test_two_fractions_that_would_read_alike_get_more_decimals(self):
        plan = MeasuredPlan(VariablesPlan.with_largest_fraction(24, 0.0124), PLAN.counted)
        said = read(measured(bell(2_980, 60), plan=plan).reason(Stage.TOP))
        assert "about 1.20 % outside the band, at most 1.24 % allowed" in said

    @pytest.mark.parametrize(
        ("value", "limits", "place", "outcome"),
        [
            (3_000.0, HEIGHTS, "inside", Outcome.ACCEPTED),
            (3_150.0, HEIGHTS, "inside", Outcome.ACCEPTED),
            (3_160.0, HEIGHTS, "outside", Outcome.NOT_ACCEPTED),
            (7.0, CUTS, "inside", Outcome.ACCEPTED),
            (10.0, CUTS, "outside", Outcome.NOT_ACCEPTED),
        ],
    )
    def test_values_without_spread_decide_by_themselves_and_are_doubted(
        self, value, limits, place, outcome
    ):
        standing = measured([value] * 24, limits)
        said = read(standing.reason(Stage.TOP))
        assert standing.outcome is outcome
        assert f", {place} the band. Check that each" in said

    @pytest.mark.parametrize(
        ("mean", "spread", "faults"),
        [
            (3_000, 60, ()),
            (3_110, 60, (Fault.HIGH,)),
            (2_890, 60, (Fault.LOW,)),
            (3_000, 150, (Fault.HIGH, Fault.LOW)),
        ],
    )
    def test_the_direction_names_the_fault(self, mean, spread, faults):
        assert measured(bell(mean, spread)).leading_faults == faults

    def test_work_may_be_turned_down_though_no_tree_of_the_sample_is_wrong(self):
        values = bell(3_085, 42)
        assert (
            tally(
                [MeasuredTree(value, other_fault=False) for value in values], HEIGHTS
            ).nonconforming
            <= 1
        )
        strict = MeasuredPlan(VariablesPlan(24, 1.6), PLAN.counted)
        assert measured(values, plan=strict).outcome is Outcome.NOT_ACCEPTED

    def test_nothing_is_decided_before_the_last_tree_is_measured(self):
        values = bell(3_400, 60)
        for count in range(24):
            standing = measured(values[:count])
            assert standing.outcome is Outcome.OPEN
            assert standing.decided_in is None
            assert standing.most_not_lost is None
            assert standing.trees_left == TreesLeft(24 - count, 53 - count)
        assert measured(values).outcome is Outcome.NOT_ACCEPTED

    def test_an_open_stage_tells_how_many_are_measured(self):
        said = read(measured(bell(3_000, 60)[:10]).reason(Stage.TOP))
        assert said == "10 trees of 24 measured; the mean decides when all are"
        said = read(measured(bell(3_000, 60)[:1]).reason(Stage.TOP))
        assert said == "1 tree of 24 measured; the mean decides when all are"

    def test_trees_walked_for_other_stages_change_nothing(self):
        values = bell(3_000, 60)
        alone = measured(values)
        assert measured([*values, *[3_900.0] * 29]).reason(Stage.TOP) == alone.reason(Stage.TOP)


class TestFallback:
    two_humps = tuple(islice(cycle((2_880.0, 3_120.0)), 24))

    @pytest.mark.parametrize(
        ("tree", "fallback"),
        [
            (MeasuredTree(3_000.0, other_fault=True), Fallback.OTHER_FAULT),
            (MeasuredTree(None, other_fault=True), Fallback.OTHER_FAULT),
            (MeasuredTree(None, other_fault=False), Fallback.NO_VALUE),
        ],
    )
    def test_one_tree_is_enough(self, tree, fallback):
        standing = measured([*bell(3_000, 60)[:23], tree])
        assert standing.fallback is fallback
        assert standing.verdict is None

    def test_values_that_do_not_look_normal_are_counted(self):
        standing = measured([value + rank for rank, value in enumerate(self.two_humps)])
        assert standing.fallback is Fallback.SHAPE
        said = read(standing.reason(Stage.TOP))
        assert said.startswith(
            "The heights are not spread evenly enough around their mean to be judged by it, so "
            "trees are counted instead. No fault in 24 trees"
        )

    def test_the_count_says_what_it_always_says(self):
        other = MeasuredTree(None, other_fault=True)
        standing = measured([other, other, *[3_000.0] * 22, *[3_000.0] * 10])
        tallies = standing.tallies
        assert standing.outcome is decide(PLAN.counted, *tallies)
        said = read(standing.reason(Stage.TOP, {Fault.TREE_MISSED: 2}))
        assert said == (
            "Not only the height went wrong, so trees are counted instead. 2 of 34 trees missed; "
            "up to 7 of 53 allowed"
        )
        assert standing.most_not_lost == 7

    def test_the_count_decides_as_soon_as_it_is_certain(self):
        other = MeasuredTree(3_000.0, other_fault=True)
        assert measured([other] * 5).outcome is Outcome.OPEN
        lost = measured([other] * 6)
        assert lost.outcome is Outcome.NOT_ACCEPTED
        assert (lost.decided_in, lost.trees_left) == (1, TreesLeft(0, 0))

    def test_wrong_heights_alone_never_end_the_measuring_early(self):
        assert measured([3_900.0] * 10).outcome is Outcome.OPEN

    def test_every_reason_has_a_sentence_for_both_lengths(self):
        assert len(FALLBACK_SENTENCES) == len(Fallback) * len(LengthKind)
        assert len({read(say(text)) for text in FALLBACK_SENTENCES.values()}) == 6

    def test_more_trees_than_the_sample_holds_are_refused(self):
        with pytest.raises(InvalidInput):
            measured([3_000.0] * 54)


class TestPlan:
    def test_the_counting_plan_begins_with_the_measured_sample(self):
        for counted in (WavePlan((23, 53), (0, 7), (6, 8)), WavePlan((24,), (3,), (4,))):
            with pytest.raises(InvalidInput):
                MeasuredPlan(VariablesPlan(24, 1.05), counted)

    def test_it_is_walked_as_it_is_counted(self):
        assert PLAN.waves == PLAN.counted.waves
        assert (PLAN.measured_size, PLAN.sample_size) == (24, 53)

    def test_what_is_stored_reads_back(self):
        payload = plan_payload(PLAN)
        assert payload["kind"] == "measured"
        assert read_plan(payload) == PLAN
        assert read_plan(plan_payload(SinglePlan(24, 3))) == SinglePlan(24, 3)


@pytest.mark.parametrize(
    ("values", "kind", "step"),
    [
        ([2_743.2, 2_768.6, 2_844.8], LengthKind.HEIGHT, 25.4),
        ([2_980.0, 3_010.0, 3_020.0], LengthKind.HEIGHT, 10.0),
        ([2_950.0, 3_000.0, 3_100.0], LengthKind.HEIGHT, 50.0),
        ([2_981.3, 3_010.7], LengthKind.HEIGHT, 0.0),
        ([6.35, 7.94, 9.53], LengthKind.DIAMETER, 25.4 / 16),
        ([7.0, 8.0, 6.0], LengthKind.DIAMETER, 1.0),
        ([7.1, 8.4], LengthKind.DIAMETER, 0.1),
    ],
)
def test_the_step_of_reading_shows_in_the_values(values, kind, step):
    assert reading_step(values, kind) == pytest.approx(step)


class TestDesign:
    def test_the_mean_alone_keeps_its_promises(self):
        """Recomputed with scipy.stats.nct, the textbook law of one limit."""
        plan = design_mean(0.05, 0.01, 0.25, 0.08)
        size = plan.sample_size

        def passed(fraction):
            shift = -stats.norm.ppf(fraction) * size**0.5
            return stats.nct.sf(plan.k * size**0.5, size - 1, shift)

        assert 1 - passed(0.05) <= 0.01 + 1e-9
        assert passed(0.25) <= 0.08 + 1e-9

    @pytest.mark.parametrize(
        ("acceptable", "rejectable"), [(0.05, 0.25), (0.02, 0.12), (0.01, 0.1), (0.005, 0.05)]
    )
    def test_other_faults_among_the_wrong_trees_do_not_break_the_promise(
        self, acceptable, rejectable
    ):
        plan = design_mean(acceptable, 0.01, rejectable, 0.08)
        assert worst_mixed_chance(plan, rejectable) <= 0.08
        for share in (0.0, 0.3, 0.7, 1.0):
            other = share * rejectable
            by_length = (rejectable - other) / (1 - other)
            shift = -stats.norm.ppf(by_length) * plan.sample_size**0.5
            passed = (
                stats.nct.sf(plan.k * plan.sample_size**0.5, plan.sample_size - 1, shift)
                if by_length > 0
                else 1.0
            )
            assert (1 - other) ** plan.sample_size * passed <= 0.08 + 1e-9

    def test_a_shape_can_always_be_seen(self):
        assert design_mean(0.01, 0.2, 0.9, 0.2).sample_size == 8

    def test_a_larger_sample_may_be_asked_for(self):
        assert design_mean(0.05, 0.01, 0.25, 0.08, least_sample=40).sample_size == 40


class Row:
    """Trees with normal heights, a known fraction wrong, some of it by another fault."""

    def __init__(self, wrong, split, other, seed):
        self.random = Random(seed)  # noqa: S311 - a simulation
        by_length = wrong * (1 - other) / (1 - wrong * other)
        self.other = wrong * other
        if split == "both":
            self.mean = TARGET_MM
            self.spread = -TOLERANCE_MM / NormalDist().inv_cdf(by_length / 2)
        else:
            self.spread = 60.0
            self.mean = HEIGHTS.upper_mm + self.spread * NormalDist().inv_cdf(by_length)

    def standing(self):
        trees = [
            MeasuredTree(
                round(self.random.gauss(self.mean, self.spread), 1),
                self.random.random() < self.other,
            )
            for _ in range(53)
        ]
        return measured(trees, plan=SIMULATED)


# The plan of a row of 310 trees, by mean one of four stages: see tests/unit/test_lot_plans.py.
STAGE_RISK = 1 - 0.95**0.25
SIMULATED = MeasuredPlan(VariablesPlan(24, 1.052123913146819), WavePlan((24, 53), (0, 7), (6, 8)))


# So many rows take long while every line is counted.
@pytest.mark.no_cover
@pytest.mark.parametrize("split", ["one side", "both"])
@pytest.mark.parametrize("other", [0.0, 0.3], ids=["length alone", "other faults too"])
def test_promised_risks_hold_whichever_way_decides(volume, split, other):
    """
    Promised: 1.27 % for good work, 10 % for bad, the parts of mean and count together.

    Where the mean decides, the share accepted is its exact probability: whether normal values look
    normal does not depend on their mean and spread (Basu's theorem).
    """
    rows = volume(short=2_000, long=40_000)
    for wrong, most in ((0.05, STAGE_RISK), (0.25, 0.10)):
        row = Row(wrong, split, other, seed=11)
        standings = [row.standing() for _ in range(rows)]
        by_mean = [each for each in standings if each.verdict is not None]
        accepted = sum(each.outcome is Outcome.ACCEPTED for each in standings)
        accepted_by_mean = sum(each.verdict.accepted for each in by_mean)
        broken = rows - accepted if wrong < 0.1 else accepted
        LOG.info(
            "%s, %s others, %s wrong: %s of %s accepted, %s by mean, %s of those accepted",
            split, other, wrong, accepted, rows, len(by_mean), accepted_by_mean,
        )  # fmt: skip
        assert all(each.outcome is not Outcome.OPEN for each in standings)
        assert stats.binomtest(broken, rows, most, alternative="greater").pvalue > 1e-4
        if len(by_mean) < 100:
            continue
        exact = variables_acceptance_at(
            SIMULATED.variables,
            row.mean,
            row.spread,
            lower=HEIGHTS.lower_mm,
            upper=HEIGHTS.upper_mm,
        )
        assert stats.binomtest(accepted_by_mean, len(by_mean), exact).pvalue > 1e-4
