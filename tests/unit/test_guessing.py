"""The chance of passing by guessing, against counting every way of answering."""

from fractions import Fraction
from itertools import product
from math import comb

import pytest

from audits.guessing import chance_of_passing


def counted(choices, pass_mark) -> Fraction:
    """Try every way of answering; choice 0 is right."""
    ways = list(product(*map(range, choices)))
    return Fraction(sum(way.count(0) >= pass_mark for way in ways), len(ways))


@pytest.mark.parametrize("choices", [[3], [4, 3], [3, 3, 4, 4, 2], [4, 4, 4, 4, 4]])
def test_it_is_what_counting_every_way_gives(choices):
    for pass_mark in range(len(choices) + 2):
        assert chance_of_passing(choices, pass_mark) == pytest.approx(
            float(counted(choices, pass_mark)), abs=1e-15
        )


@pytest.mark.parametrize("count", [3, 4])
def test_alike_questions_follow_the_binomial_law(count):
    """The law's sum, in fractions: 8 of 10 with 4 choices is 436 in 1,048,576."""
    for pass_mark in range(11):
        tail = sum(
            Fraction(comb(10, right) * (count - 1) ** (10 - right), count**10)
            for right in range(pass_mark, 11)
        )
        assert chance_of_passing([count] * 10, pass_mark) == pytest.approx(float(tail), rel=1e-12)
    assert chance_of_passing([4] * 10, 8) == pytest.approx(436 / 4**10, rel=1e-12)


def test_it_never_rises_with_the_mark_and_stays_a_chance():
    chances = [chance_of_passing([3, 4] * 5, mark) for mark in range(-1, 12)]
    assert chances[0] == chances[1] == 1.0
    assert chances[-1] == 0.0
    assert chances == sorted(chances, reverse=True)


def test_a_question_without_a_choice_is_refused():
    with pytest.raises(ValueError, match="at least one"):
        chance_of_passing([4, 0], 1)
