"""What is said of two auditors' agreement, and what follows."""

from itertools import pairwise

import pytest

from audits.agreement import (
    AGREEMENT_LEVEL_NAMES,
    AgreementLevel,
    cohen_kappa,
    gwet_ac1_of_table,
    read_agreement,
)


def test_below_thirty_trees_only_counts_are_given():
    found = read_agreement([[20, 2], [1, 6]])
    assert found.level is AgreementLevel.TOO_FEW
    assert (found.pairs, found.agreed) == (29, 26)
    assert (found.kappa, found.interval, found.ac1) == (None, None, None)
    assert str(found.sentence) == "The same answer on 26 of 29 trees. Too few to judge."
    assert str(found.follows) == "Score 1 more check tree, unseen by each other."
    assert found.counts


def test_from_thirty_trees_kappa_is_given():
    found = read_agreement([[20, 2], [1, 7]])
    assert found.level is AgreementLevel.GOOD
    assert found.kappa == cohen_kappa([[20, 2], [1, 7]]).kappa


def test_without_a_tree_nothing_is_counted():
    found = read_agreement([[0, 0], [0, 0]])
    assert found.level is AgreementLevel.TOO_FEW
    assert str(found.sentence) == "No tree was scored by both yet."
    assert str(found.follows) == "Score 30 more check trees, unseen by each other."


def test_a_kappa_on_the_limit_is_on_its_good_side():
    # By hand: 28 of 32 agree, chance gives half, (28 / 32 - 1 / 2) / (1 / 2).
    exactly_good = [[14, 2], [2, 14]]
    assert cohen_kappa(exactly_good).kappa == pytest.approx(0.75, abs=1e-15)
    assert read_agreement(exactly_good).level is AgreementLevel.GOOD
    exactly_poor = [[14, 6], [6, 14]]
    assert cohen_kappa(exactly_poor).kappa == pytest.approx(0.4, abs=1e-15)
    assert read_agreement(exactly_poor).level is AgreementLevel.RECALIBRATE


@pytest.mark.parametrize(
    ("table", "level", "sentence", "follows"),
    [
        (
            [[40, 2], [1, 12]],
            AgreementLevel.GOOD,
            "Kappa 0.85, could be 0.64 to 0.99 (55 trees).",
            "The scores count.",
        ),
        (
            [[20, 8], [8, 20]],
            AgreementLevel.RECALIBRATE,
            "Middling agreement: kappa 0.43, could be 0.18 to 0.65 (56 trees).",
            "Recalibrate: walk trees together and talk over those that differ.",
        ),
        (
            [[30, 0], [10, 0]],
            AgreementLevel.NOT_USED,
            "Poor agreement: kappa 0.00, could be -0.14 to 0.23 (40 trees).",
            "The scores are not used to compare workers until recalibrated.",
        ),
    ],
)
def test_kappa_decides_and_its_range_stands_beside_it(table, level, sentence, follows):
    found = read_agreement(table)
    assert found.level is level
    assert str(found.sentence) == sentence
    assert str(found.follows) == follows
    assert found.counts == (level is not AgreementLevel.NOT_USED)


def test_complete_agreement_still_has_a_range():
    found = read_agreement([[25, 0], [0, 5]])
    assert found.kappa == 1
    assert 0.5 < found.interval.lower < 0.75
    assert found.interval.upper == 1


def test_two_who_pass_every_tree_are_not_judged():
    found = read_agreement([[40, 0], [0, 0]])
    assert found.level is AgreementLevel.NO_FAULTS
    assert (found.kappa, found.interval, found.ac1) == (None, None, 1)
    assert "the same faults" in str(found.sentence)
    assert found.counts


def test_two_who_fail_every_tree_are_not_judged_either():
    assert read_agreement([[0, 0], [0, 40]]).level is AgreementLevel.NO_FAULTS


def test_few_faults_are_read_by_ac1_and_that_is_said():
    # Kappa would be 0 here, and 1 with one tree judged otherwise.
    table = [[39, 1], [0, 0]]
    found = read_agreement(table)
    assert found.level is AgreementLevel.NO_FAULTS
    assert found.ac1 == gwet_ac1_of_table(table).value
    assert str(found.sentence) == (
        "The same answer on 39 of 40 trees (AC1 0.97), but only 1 tree got any other answer than "
        "the usual one: too few to judge by kappa."
    )


def test_someone_who_misses_every_fault_of_many_is_not_saved_by_their_rarity():
    assert read_agreement([[90, 5], [0, 0]]).level is AgreementLevel.NOT_USED


@pytest.mark.parametrize("unusual", [5, 6, 8])
def test_no_single_tree_of_the_few_takes_anyone_from_good_to_poor(unusual):
    # The reason for the floor of 5: with 4 such trees a single one could move kappa by over 0.35.
    kappas = [
        cohen_kappa([[400, apart], [0, unusual - apart]]).kappa for apart in range(unusual + 1)
    ]
    steps = [before - after for before, after in pairwise(kappas)]
    assert max(steps) < 0.35


def test_with_fewer_such_trees_one_could():
    kappas = [cohen_kappa([[400, apart], [0, 4 - apart]]).kappa for apart in range(5)]
    assert max(a - b for a, b in pairwise(kappas)) > 0.35


def test_every_level_has_a_name():
    assert AGREEMENT_LEVEL_NAMES.keys() == set(AgreementLevel)


@pytest.mark.parametrize("table", [[[3]], [], [[1, 2]], [[1, 2], [3]], [[1, -1], [0, 4]]])
def test_what_is_no_table_is_refused(table):
    with pytest.raises(ValueError, match="table must"):
        read_agreement(table)
