"""When a stage is learned, and how often the rule errs: exactly, against slow ways to find it."""

import math
import random
from datetime import UTC, date, datetime
from itertools import product

import pytest

from audits.errors import InvalidInput
from audits.learning_stages import sign_off_chance, signed_off_at
from audits.messages import ENGLISH
from audits.plain_words import chance_words, rounded_chance, sign_off_words
from audits.records import StandardVersion
from audits.services.standards import standard_digest
from audits.standard import Promise, SignOffRule, preset, read_standard
from audits.vocabulary import BearingHabit

USUAL = SignOffRule()


def outcomes(pattern: str) -> list[bool]:
    return [letter == "x" for letter in pattern]


@pytest.mark.parametrize(
    ("pattern", "tree"),
    [
        ("", None),
        ("o" * 19, None),
        ("o" * 20, 20),
        ("o" * 18 + "x" + "o", 20),
        ("xx" + "o" * 18, None),
        # The first fault leaves the window with the 21st tree.
        ("xx" + "o" * 19, 21),
        ("x" * 20 + "o" * 19, 39),
        # What comes later does not take it back.
        ("o" * 20 + "x" * 10, 20),
    ],
)
def test_a_stage_is_learned_with_the_first_tree_that_meets_the_rule(pattern, tree):
    assert signed_off_at(outcomes(pattern), USUAL) == tree


def test_without_a_fault_allowed_all_trees_must_be_right():
    rule = SignOffRule(trees=5, most_nonconforming=0)
    assert signed_off_at(outcomes("ooooxooooo"), rule) == 10


@pytest.mark.parametrize("most", [0, 1, 2])
@pytest.mark.parametrize("fraction", [0.0, 0.05, 0.25, 0.6, 1.0])
def test_the_chance_is_that_of_every_order_counted(most, fraction):
    # Brute force: every one of 2^12 orders, weighed by its chance.
    rule = SignOffRule(trees=5, most_nonconforming=most)
    expected = sum(
        fraction ** sum(order) * (1 - fraction) ** (12 - sum(order))
        for order in product((False, True), repeat=12)
        if signed_off_at(order, rule) is not None
    )
    assert sign_off_chance(fraction, rule, 12) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("fraction", [0.05, 0.25])
def test_with_as_many_trees_as_the_rule_it_is_the_binomial(fraction):
    expected = sum(
        math.comb(20, count) * fraction**count * (1 - fraction) ** (20 - count) for count in (0, 1)
    )
    assert sign_off_chance(fraction, USUAL, 20) == pytest.approx(expected, rel=1e-12)


def test_it_agrees_with_a_simulation():
    random_trees = random.Random(20_260_120)  # noqa: S311 - a simulation, no secret
    seasons = 20_000
    signed = sum(
        signed_off_at((random_trees.random() < 0.1 for _ in range(40)), USUAL) is not None
        for _ in range(seasons)
    )
    chance = sign_off_chance(0.1, USUAL, 40)
    # Four standard errors: a right chance fails once in 16,000.
    assert abs(signed / seasons - chance) < 4 * math.sqrt(chance * (1 - chance) / seasons)


def test_the_chance_rises_with_trees_and_falls_with_faults():
    by_trees = [sign_off_chance(0.1, USUAL, trees) for trees in range(0, 81, 10)]
    assert by_trees == sorted(by_trees)
    assert by_trees[:2] == [0.0, 0.0]
    by_fraction = [sign_off_chance(part / 20, USUAL, 40) for part in range(21)]
    assert by_fraction == sorted(by_fraction, reverse=True)
    assert (by_fraction[0], by_fraction[-1]) == (1.0, 0.0)


def test_a_chance_out_of_range_is_refused_by_its_name():
    with pytest.raises(ValueError, match="fraction must lie in"):
        sign_off_chance(1.1, USUAL, 20)
    with pytest.raises(ValueError, match="within_trees must be at least 0, not -1"):
        sign_off_chance(0.1, USUAL, -1)


def test_the_rule_and_its_chances_are_said_in_words():
    assert str(sign_off_words(USUAL)) == "When at most 1 of the last 20 due trees is wrong."
    assert "are all right" in str(sign_off_words(SignOffRule(most_nonconforming=0)))
    good, bad = map(str, chance_words(USUAL, Promise()))
    assert good == (
        f"Somebody who leaves 1 tree in 20 wrong is signed off within 40 trees "
        f"{round(100 * sign_off_chance(0.05, USUAL, 40))} times in 100."
    )
    assert "1 tree in 4 wrong" in bad
    odd = chance_words(USUAL, Promise(acceptable_fraction=0.065))[0]
    assert "leaves 6.5 % of trees wrong" in str(odd)


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.0, "0"), (1e-9, "less than 1"), (0.126, "13"), (0.9999, "more than 99"), (1.0, "100")],
)
def test_rounding_makes_neither_never_nor_always(chance, said):
    assert ENGLISH.say(rounded_chance(chance)) == said


def test_a_standard_stored_before_there_was_a_rule_reads_and_keeps_its_digest():
    stored = preset(BearingHabit.STANDARD, 3_352.8).model_dump(mode="json")
    del stored["sign_off"]
    record = StandardVersion(1, 1, 1, date(2025, 11, 1), stored, datetime(2025, 11, 1, tzinfo=UTC))
    before = standard_digest(record)
    assert read_standard(record.payload).sign_off == USUAL
    # The digest is of what is stored, to which reading adds nothing.
    assert standard_digest(record) == before
    assert "sign_off" not in record.payload


@pytest.mark.parametrize(
    ("field", "value"),
    [("trees", 4), ("trees", 41), ("most_nonconforming", -1), ("most_nonconforming", 3)],
)
def test_a_rule_out_of_range_is_refused_at_its_field(field, value):
    stored = preset(BearingHabit.STANDARD, 3_352.8).model_dump(mode="json")
    stored["sign_off"][field] = value
    with pytest.raises(InvalidInput) as caught:
        read_standard(stored)
    assert set(caught.value.problems) == {f"sign_off.{field}"}
