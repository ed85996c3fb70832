"""Whose scores count: what a calibration walk begins anew, and what stays until a later one."""

import pytest

from audits.agreement.reading import AgreementLevel
from audits.check_trees import (
    Rating,
    SealedRound,
    added_up,
    auditors_for_floor,
    is_chosen_for_second_audit,
    standing_of,
)
from audits.vocabulary import Result, Stage

OWN, OTHER, REFERENCE = 1, 2, 3
GOOD, POOR = (15, 0, 0, 15), (5, 10, 10, 5)


def sealed(counts, *, walk=False, reference=None, with_whom=OTHER, times=1, waits=False):
    """A round in which two people share counts: both faults, own only, other's only, neither."""
    answers = [(own, theirs) for own, theirs in ((1, 1), (1, 0), (0, 1), (0, 0))]
    pairs = [
        pair for pair, count in zip(answers, counts, strict=True) for _ in range(count * times)
    ]
    ratings = {
        OWN: [_rating(number, own) for number, (own, _) in enumerate(pairs)],
        with_whom: [_rating(number, other) for number, (_, other) in enumerate(pairs)],
    }
    return SealedRound(ratings, walk, reference, waits)


def _rating(number: int, has_fault: int) -> Rating:
    result = Result.NONCONFORMING if has_fault else Result.CONFORMING
    return Rating(number, Stage.TOP, result)


def stand(*rounds):
    return standing_of(OWN, Stage.TOP, rounds)


def test_nothing_is_held_against_somebody_without_check_trees():
    assert stand().counts
    assert stand().reading.level is AgreementLevel.TOO_FEW


def test_second_audits_alone_can_show_poor_agreement():
    assert not stand(sealed(POOR)).counts
    assert stand(sealed(GOOD)).counts


def test_a_walk_with_good_agreement_brings_back():
    assert not stand(sealed(POOR), sealed((5, 0, 0, 5), walk=True)).counts
    assert stand(sealed(POOR), sealed(GOOD, walk=True)).counts


def test_second_audits_do_not_bring_back_by_themselves_but_count_against():
    assert not stand(sealed(POOR), sealed((6, 0, 0, 6))).counts
    assert not stand(sealed(GOOD, walk=True), sealed(POOR, times=2)).counts


def test_short_walks_are_added_up():
    short = sealed((5, 0, 0, 10), walk=True)
    assert not stand(sealed(POOR), short).counts
    assert stand(sealed(POOR), short, short).counts


def test_a_walk_without_faults_brings_nobody_back():
    assert not stand(sealed(POOR), sealed((0, 0, 0, 40), walk=True)).counts


def test_earlier_trees_no_longer_count_after_a_walk():
    standing = stand(sealed((10, 5, 5, 10)), sealed(GOOD, walk=True))
    assert standing.reading.pairs == 30
    assert standing.reading.level is AgreementLevel.GOOD


def test_the_reference_auditor_is_the_only_measure_of_a_walk():
    walk = sealed(POOR, walk=True, reference=REFERENCE, with_whom=REFERENCE)
    assert not stand(walk).counts
    assert stand(walk).against_reference
    assert standing_of(REFERENCE, Stage.TOP, [walk]).reading.pairs == 0
    absent = sealed(POOR, walk=True, reference=REFERENCE, waits=True)
    assert stand(absent).reading.pairs == 0
    gone = sealed(POOR, walk=True, reference=REFERENCE)
    assert stand(gone).reading.pairs == 30


@pytest.mark.parametrize(
    ("auditors", "left_out", "enough", "counted"),
    [
        ({1}, (), False, 1),
        ({1}, (), True, 2),
        ((), (), True, 0),
        ({1}, {1}, True, 0),
        ({1, 2}, {2}, False, 1),
        ([1, 1], (), False, 1),
    ],
)
def test_auditors_for_the_floor(auditors, left_out, enough, counted):
    assert auditors_for_floor(auditors, left_out, one_is_enough=enough) == counted


def test_tables_add_up_to_nothing_without_any():
    assert added_up([]) == [[0, 0], [0, 0]]


def test_the_choice_is_the_same_whoever_recomputes_it():
    """SHA-256 by sha256sum of coreutils: 001a... for seed 15, 5fe5... for 1; 5 % is 0ccc...."""
    assert is_chosen_for_second_audit("15")
    assert not is_chosen_for_second_audit("1")
    assert not is_chosen_for_second_audit("")
