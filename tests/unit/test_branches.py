"""What may be said of branches, and which answers tell of them."""

import pytest

from audits.branches import branch_readings, describe_branches
from audits.estimates import Cluster, clopper_pearson, share_in_clusters
from audits.scoring import Missed, read_answers
from audits.standard import ColumnsRule, HeadingStageRule, Standard, TopRule
from audits.vocabulary import HeadingRule, Stage

REQUIRED = HeadingStageRule(rule=HeadingRule.REQUIRED)


def written_standard(**rules) -> Standard:
    """Heading 6 to 9 mm with a guard of 1 mm, unless it says otherwise."""
    parts = {"top": TopRule(target_mm=3000.0), "heading": REQUIRED, "row_spacing_mm": 3350.0}
    return Standard(**(parts | rules))


def columns(looked_at, single):
    faults = ["fork"] if single < looked_at else []
    return {"kind": "columns", "looked_at": looked_at, "single": single, "faults": faults}


def heading(*diameters_mm, left_long=0):
    return {"kind": "heading", "diameters_mm": diameters_mm, "left_long": left_long}


def tree(missed=None, **stages):
    return read_answers({"missed": missed, "stages": stages})


def only_reading(trees, **rules):
    (reading,) = branch_readings(written_standard(**rules), trees)
    return reading


class TestSentence:
    @pytest.mark.parametrize(
        ("trees", "sentence"),
        [
            ([(1, 1)], "1 of 1 branch on 1 tree. Too few for a rate."),
            ([(5, 4)] * 9, "36 of 45 branches on 9 trees. Too few for a rate."),
        ],
    )
    def test_below_ten_trees_only_counts_are_given(self, trees, sentence):
        reading = describe_branches(Stage.COLUMNS, [Cluster(*tree) for tree in trees])
        assert str(reading.sentence) == sentence
        assert reading.estimate is None
        assert reading.interval is None

    def test_many_branches_on_few_trees_are_still_few(self):
        reading = describe_branches(Stage.COLUMNS, [Cluster(12, 9)] * 9)
        assert str(reading.sentence).endswith("Too few for a rate.")

    @pytest.mark.parametrize("trees", [10, 29])
    def test_below_thirty_trees_only_a_range_is_given(self, trees):
        found = [Cluster(5, 5), Cluster(5, 3)] * (trees // 2) + [Cluster(5, 4)] * (trees % 2)
        reading = describe_branches(Stage.COLUMNS, found)
        counted = f"({5 * trees} branches on {trees} trees)."
        assert str(reading.sentence).endswith(f"in 10 {counted}")
        assert "About" not in str(reading.sentence)

    def test_from_thirty_trees_a_rate_is_given_with_its_range(self):
        reading = describe_branches(Stage.HEADING, [Cluster(5, 5), Cluster(5, 3)] * 15)
        assert str(reading.sentence) == (
            "About 8 in 10, could be 7 to 9 (150 branches on 30 trees)."
        )

    def test_rounding_hides_neither_a_wrong_branch_nor_a_right_one(self):
        nearly = [Cluster(5, 5)] * 39 + [Cluster(5, 4)]
        assert str(describe_branches(Stage.COLUMNS, nearly).sentence).startswith("More than 9 in")
        hardly = [Cluster(5, 0)] * 39 + [Cluster(5, 1)]
        assert str(describe_branches(Stage.COLUMNS, hardly).sentence).startswith("Fewer than 1 in")
        every = [Cluster(5, 5)] * 40
        assert str(describe_branches(Stage.COLUMNS, every).sentence) == (
            "About 10 in 10, could be 9 to 10 (200 branches on 40 trees)."
        )
        none = [Cluster(5, 0)] * 40
        assert str(describe_branches(Stage.COLUMNS, none).sentence) == (
            "About 0 in 10, could be 0 to 1 (200 branches on 40 trees)."
        )

    def test_trees_that_differ_widen_the_range_beyond_counting_branches(self):
        # 19 trees all single and 6 without one: 95 of 125 branches, but only 25 trees.
        trees = [Cluster(5, 5)] * 19 + [Cluster(5, 0)] * 6
        reading = describe_branches(Stage.COLUMNS, trees)
        naive = clopper_pearson(95, 125)
        assert reading.interval == share_in_clusters(trees).exact_interval
        width, narrow = (upper - lower for lower, upper in (reading.interval, naive))
        assert width > 2 * narrow
        assert str(reading.sentence) == "5 to 10 in 10 (125 branches on 25 trees)."


class TestAnswers:
    def test_counted_columns_are_added_up_over_trees(self):
        reading = only_reading([tree(columns=columns(5, 4)), tree(columns=columns(3, 3))])
        assert reading.stage is Stage.COLUMNS
        assert (reading.trees, reading.branches, reading.right) == (2, 8, 7)

    def test_measured_ends_are_right_within_the_guarded_band(self):
        # Band 6 to 9 mm, guard 1 mm: 5.1 and 9.9 are on the line, 5 and 10 are faults.
        answers = tree(heading=heading(5.0, 5.1, 7.5, 9.9, 10.0))
        reading = only_reading([answers])
        assert reading.stage is Stage.HEADING
        assert (reading.branches, reading.right) == (5, 3)

    def test_a_due_branch_left_long_is_not_right(self):
        reading = only_reading([tree(heading=heading(7.0, left_long=2))])
        assert (reading.branches, reading.right) == (3, 1)

    def test_stages_follow_each_other_down_the_tree(self):
        answers = tree(heading=heading(7.0), columns=columns(5, 5))
        readings = branch_readings(written_standard(), [answers])
        assert [reading.stage for reading in readings] == [Stage.COLUMNS, Stage.HEADING]

    @pytest.mark.parametrize(
        "answers",
        [
            tree(columns={"kind": "class", "tap": "right"}),
            tree(columns=columns(0, 0)),
            tree(heading=heading()),
            tree(top={"kind": "top", "height_mm": 3200.0}),
            tree(columns=columns(5, 5), missed=Missed.SIDE),
            tree(columns=columns(5, 5), missed=Missed.TREE),
        ],
    )
    def test_a_tree_whose_branches_nobody_counted_tells_nothing(self, answers):
        assert branch_readings(written_standard(), [answers]) == []

    def test_such_trees_are_not_counted_among_the_others(self):
        looked_at = tree(columns={"kind": "class", "tap": "right"})
        reading = only_reading([looked_at, tree(columns=columns(5, 4))])
        assert (reading.trees, reading.branches) == (1, 5)

    @pytest.mark.parametrize("rule", [HeadingRule.FORBIDDEN, HeadingRule.OFF])
    def test_where_no_heading_is_asked_for_no_end_is_right_or_wrong(self, rule):
        standard = written_standard(heading=HeadingStageRule(rule=rule))
        assert branch_readings(standard, [tree(heading=heading(7.0))]) == []

    def test_a_stage_that_is_not_in_use_tells_nothing(self):
        standard = written_standard(columns=ColumnsRule(in_use=False))
        assert branch_readings(standard, [tree(columns=columns(5, 5))]) == []
