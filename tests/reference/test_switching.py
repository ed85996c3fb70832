"""
Switching between kinds of inspection, against sequences written by hand and a closed form.

`data/switching-rules.json` holds the sequences and names the restatements of the standards behind
the rules; the `scheme` cases of `data/oc-check-values.json` follow Stephens and Larson (1967) and
agree with the stationary distribution of the chain of states.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from audits.sampling import SinglePlan, acceptance_probability
from audits.sampling.switching import (
    Discontinuation,
    OriginalLot,
    Reduction,
    SwitchingRules,
    long_run_acceptance,
    switching_score_gain,
    switching_states,
)
from audits.sampling.tables import (
    Inspection,
    limit_number,
    table_cell,
    table_plan,
    tighter_acceptance_number,
)

FOLDER = Path(__file__).parent / "data"
RULES = json.loads((FOLDER / "switching-rules.json").read_text())
SCHEMES = json.loads((FOLDER / "oc-check-values.json").read_text())
SCORING = RULES["iso-2859-1-1999"]["switching_score"]
SCORES = RULES["iso-2859-1-1999"]["score_sequences"]


def by_id(sequences):
    return [pytest.param(sequence, id=sequence["id"]) for sequence in sequences]


def lots_of(sequence):
    counts = sequence.get("d", [0] * len(sequence["lots"]))
    return [
        OriginalLot(
            is_accepted=mark != "R",
            nonconforming=count,
            trees=sequence.get("n", 0),
            is_in_gap=mark == "G",
        )
        for mark, count in zip(sequence["lots"], counts, strict=True)
    ]


@pytest.mark.parametrize("sequence", by_id(RULES["mil-std-105e"]["sequences"]))
def test_inspection_after_each_lot_is_as_written_by_hand(sequence):
    states = switching_states(
        lots_of(sequence), sequence.get("aql", "1.0"), start=sequence["start"]
    )
    assert states[0].inspection == sequence["start"]
    assert [state.inspection for state in states[1:]] == sequence["severity_after_each_lot"]


@pytest.mark.parametrize(
    "sequence",
    by_id([each for each in RULES["mil-std-105e"]["sequences"] if "letter" in each]),
)
def test_the_sequences_with_counts_use_plans_of_the_tables(sequence):
    plan = table_cell(sequence["letter"], sequence["aql"])
    assert plan.sample_size == sequence["n"]
    accepted = [count <= plan.acceptance_number for count in sequence["d"]]
    assert accepted == [mark == "A" for mark in sequence["lots"]]


def scored(sequence):
    plan = table_cell(sequence["letter"], sequence["aql"])
    assert plan == SinglePlan(sequence["n"], sequence["ac"])
    return [
        OriginalLot(
            is_accepted=count < plan.rejection_number,
            nonconforming=count,
            trees=plan.sample_size,
            score_gain=switching_score_gain(
                plan, count, tighter_acceptance_number=sequence["ac_one_step_tighter"]
            ),
        )
        for count in sequence["d"]
    ]


@pytest.mark.parametrize("sequence", by_id(SCORES))
def test_the_switching_score_after_each_lot_is_as_written_by_hand(sequence):
    states = switching_states(
        scored(sequence),
        sequence["aql"],
        rules=SwitchingRules(reduction=Reduction.SWITCHING_SCORE),
    )
    assert states[0].score == SCORING["start"]
    assert [state.score for state in states[1:]] == sequence["score_after_each_lot"]
    for state, score in zip(states[1:], sequence["score_after_each_lot"], strict=True):
        assert (state.inspection is Inspection.REDUCED) == (score >= SCORING["threshold"])


@pytest.mark.parametrize("sequence", by_id(SCORES))
def test_the_tables_know_the_tighter_number_of_each_sequence(sequence):
    lot_of_letter = {"F": 91, "H": 281, "J": 501}[sequence["letter"]]
    assert table_plan(lot_of_letter, sequence["aql"]).sample_size == sequence["n"]
    found = tighter_acceptance_number(lot_of_letter, sequence["aql"])
    assert found == sequence["ac_one_step_tighter"]


@pytest.mark.parametrize(
    "case",
    [pytest.param(case, id=case["id"]) for case in SCHEMES["cases"] if case["kind"] == "scheme"],
)
def test_the_long_run_of_a_scheme_agrees_with_the_data(case):
    given, expected = case["input"], case["expected"]
    normal = acceptance_probability(SinglePlan(given["n"], given["ac_normal"]), expected["p"])
    tightened = acceptance_probability(
        SinglePlan(given["n_tightened"], given["ac_tightened"]), expected["p"]
    )
    slack = SCHEMES["tolerance"]
    assert normal == pytest.approx(expected["normal"], abs=slack)
    assert tightened == pytest.approx(expected["tightened"], abs=slack)
    found = [long_run_acceptance(*chances) for chances in zip(normal, tightened, strict=True)]
    assert found == pytest.approx(expected["scheme"], abs=slack)


@pytest.mark.parametrize(
    ("normal", "tightened"), [(0.95, 0.9), (0.7, 0.5), (0.3, 0.1), (0.9, 0.2), (0.999, 0.99)]
)
def test_the_long_run_agrees_with_the_chain_of_states_itself(normal, tightened):
    # The states are those that the rules themselves reach; numpy solves for their long run.
    rules = SwitchingRules(reduction=Reduction.NEVER, discontinuation_lots=None)
    places, steps, waiting = {(Inspection.NORMAL, ()): 0}, [], [(Inspection.NORMAL, ())]
    while waiting:
        here = waiting.pop()
        inspection, seen = here
        for is_accepted in (True, False):
            lots = [OriginalLot(accepted) for accepted in (*seen, is_accepted)]
            last = switching_states(lots, 1.0, rules=rules, start=inspection)[-1]
            # Five lots back, nothing counts any more.
            there = last.inspection, tuple(lot.is_accepted for lot in last.lots)[-4:]
            if there not in places:
                places[there] = len(places)
                waiting.append(there)
            steps.append((here, there, is_accepted))
    chances = np.zeros((len(places), len(places)))
    for here, there, is_accepted in steps:
        chance = normal if here[0] is Inspection.NORMAL else tightened
        chances[places[here], places[there]] += chance if is_accepted else 1 - chance
    balance = np.vstack([chances.T - np.eye(len(places)), np.ones(len(places))])
    shares = np.linalg.lstsq(balance, np.append(np.zeros(len(places)), 1.0), rcond=None)[0]
    accepted = sum(
        shares[place] * (normal if state[0] is Inspection.NORMAL else tightened)
        for state, place in places.items()
    )
    assert long_run_acceptance(normal, tightened) == pytest.approx(accepted, abs=1e-10)


def test_the_rules_have_the_numbers_of_the_data():
    rules = {
        (rule["from"], rule["to"]): rule.get("params")
        for rule in RULES["mil-std-105e"]["transitions"]
    }
    assert rules["normal", "tightened"] == {"rejected": 2, "window": 5}
    assert rules["tightened", "normal"] == {"consecutive_accepted": 5}
    assert rules["normal", "reduced"]["lots"] == 10
    stop = rules["tightened", "discontinued"]["cumulative_not_accepted"]
    assert SwitchingRules().discontinuation_lots == stop
    assert SwitchingRules().discontinuation is Discontinuation.LOTS_NOT_ACCEPTED


def test_older_editions_stop_after_ten_lots_that_remain_on_tightened_inspection():
    # MIL-STD-105D and Z1.4 before 2003, as the data says of them.
    rules = SwitchingRules(discontinuation="lots_remaining", discontinuation_lots=10)
    lots = [OriginalLot(accepted) for accepted in [True, True, True, True, False] * 2]
    states = switching_states(lots, 1.0, rules=rules, start="tightened")
    assert [state.inspection for state in states] == ["tightened"] * 10 + ["discontinued"]
    assert limit_number(10 * 80, 1.0) == 4  # the limit of the sequences above
