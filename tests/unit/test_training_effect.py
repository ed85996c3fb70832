"""Before and after a training: floors, direction, and no more said than the trees allow."""

import random

import pytest

from audits.estimates import newcombe_difference
from audits.training_effect import EffectLevel, by_itself, compare_before_after


def said(before, after) -> str:
    effect = compare_before_after(before, after)
    return " ".join(map(str, (*effect.counts, *effect.sentences)))


@pytest.mark.parametrize("few", [(9, 9), (0, 0), (3, 9)])
@pytest.mark.parametrize("other", [(0, 500), (2, 9)])
def test_below_ten_trees_on_a_side_there_are_counts_only(few, other):
    for before, after in ((few, other), (other, few)):
        effect = compare_before_after(before, after)
        assert effect.level is EffectLevel.COUNTS
        assert effect.difference is None
        assert effect.interval is None
        assert "Of 100" not in said(before, after)


@pytest.mark.parametrize("few", [(29, 29), (0, 10)])
def test_below_thirty_it_is_too_few_to_say(few):
    for before, after in ((few, (0, 500)), ((0, 500), few)):
        effect = compare_before_after(before, after)
        assert effect.level is EffectLevel.TOO_FEW
        assert effect.difference is None
        text = said(before, after)
        assert "Too few to say whether it helped. It takes 30 due trees on each side." in text
        assert "Of 100" not in text


def test_from_thirty_on_the_difference_comes_with_its_range_and_both_counts():
    assert said((14, 40), (4, 40)) == (
        "Before: 14 of 40 trees wrong. After: 4 of 40 trees wrong. "
        "Of 100 trees, 25 fewer were wrong after it; it could be 42 fewer to 7 fewer. "
        "That is more than chance explains."
    )
    effect = compare_before_after((14, 40), (4, 40))
    assert effect.interval == newcombe_difference(4, 40, 14, 40)


def test_what_chance_may_explain_is_not_called_a_success():
    text = said((8, 40), (6, 40))
    assert "5 fewer were wrong" in text
    assert "more. Chance alone may explain it." in text


def test_a_change_for_the_worse_is_said_without_blame():
    assert "More were wrong than before, beyond chance. Look at it together." in said(
        (2, 40), (20, 40)
    )


@pytest.mark.parametrize("same", [(0, 30), (30, 30), (10, 30)])
def test_nothing_changed_reads_as_many(same):
    assert "as many were wrong" in said(same, same)


def test_a_count_above_its_trees_is_refused():
    with pytest.raises(ValueError, match="between 0 and 30, not 31"):
        compare_before_after((1, 30), (31, 30))


def test_people_trained_after_bad_luck_improve_by_themselves():
    # The reason for the sentence: nobody learns anything here, all leave 1 tree in 5 wrong.
    trees = random.Random(5)  # noqa: S311 - a simulation, no secret
    before, after = [0, 0], [0, 0]
    for _ in range(2_000):
        wrong = sum(trees.random() < 0.2 for _ in range(15))
        if wrong < 5:
            continue
        before = [before[0] + wrong, before[1] + 15]
        after = [after[0] + sum(trees.random() < 0.2 for _ in range(15)), after[1] + 15]
    effect = compare_before_after((before[0], before[1]), (after[0], after[1]))
    assert effect.interval.upper < -0.1
    assert "comes by itself" in str(by_itself()[1])
