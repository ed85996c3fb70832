"""
Scores of drawn trees against a judge of our own, who goes by the written rule.

The judge (`tests/judge.py`) shares no code with the scoring engine or with the program's reading of
pruned trees; the source of both is the project's written rule. 10,000 trees in the long run.
"""

import ast
from collections import Counter
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from audits.practice.grow import grow_tree
from audits.practice.growth import Growth
from audits.practice.ideal import ideal_pruning
from audits.practice.mistakes import mistakes
from audits.practice.model import TreeKind, Vigour
from audits.practice.pruning import NOTHING_CUT, Pruning, answers_of
from audits.scoring import score_tree
from audits.standard import preset, read_standard
from audits.vocabulary import BearingHabit, Fault, HeadingRule, Method, Result, Side, Stage
from tests import judge
from tests.judge import Judge, Verdict


def _standard(**stages):
    payload = preset(BearingHabit.STANDARD, 3_353.0).model_dump()
    for stage, fields in stages.items():
        payload[stage] = {**payload[stage], **fields} if isinstance(fields, dict) else fields
    return read_standard(payload)


STANDARDS = (
    _standard(),
    _standard(heading={"rule": HeadingRule.REQUIRED}),
    _standard(heading={"rule": HeadingRule.FORBIDDEN}),
    _standard(limbs={"least": 0, "most": 1}, columns={"branches": 4, "least_single": 2}),
    _standard(
        limbs={"least": 1, "most": 3, "large_mm": 16.0},
        columns={"branches": 8, "least_single": 7, "side_branch_mm": 250.0},
        heading={"rule": HeadingRule.REQUIRED, "looked_at": 3, "most_wrong": 0},
        diameter_guard_mm=2.0,
    ),
    _standard(top={"to_side_branch": False, "tolerance_mm": 60.0, "outer_mm": 200.0}),
)


def _grown(number: int, standard):
    draw = Random(number)  # noqa: S311 - trees, no secret
    growth = Growth(
        standard.top.target_mm,
        kind=draw.choice(tuple(TreeKind)),
        habit=draw.choice(tuple(BearingHabit)),
        age_years=draw.randrange(2, 13),
        vigour=draw.choice(tuple(Vigour)),
        large_mm=standard.limbs.large_mm,
        # Some side branches are shorter than the rule's limit.
        side_branch_mm=standard.columns.side_branch_mm * draw.choice((0.6, 1.0)),
        pencil_mm=(standard.heading.thinnest_mm, standard.heading.thickest_mm),
    )
    return grow_tree(number, growth)


def _some(draw: Random, names, share: float) -> frozenset[str]:
    return frozenset(name for name in names if draw.random() < share)


def _at_random(tree, draw: Random) -> Pruning:
    """Cut anywhere."""
    top = draw.choice(
        (
            None,
            draw.uniform(0.5, 1.0) * tree.height_mm,
            draw.choice(tree.limbs).union_mm + draw.uniform(0.0, 80.0),
        )
    )
    sides = [side.key for limb in tree.limbs for side in limb.side_branches]
    headed = {
        limb.key: draw.uniform(0.05, 1.0 if limb.end is None else 1.95)
        for limb in tree.limbs
        if draw.random() < draw.choice((0.0, 0.1, 0.6))
    }
    return Pruning(
        top,
        _some(draw, [limb.key for limb in tree.limbs], draw.choice((0.0, 0.1, 0.3))),
        _some(draw, sides, draw.choice((0.0, 0.5, 1.0))),
        headed,
    )


def _shaken(tree, standard, draw: Random) -> Pruning:
    """Do what is right, but for a few things."""
    right = ideal_pruning(tree, standard)
    wild = _at_random(tree, draw)
    return replace(
        right,
        top_mm=right.top_mm if draw.random() < 0.7 else wild.top_mm,
        limbs_out=right.limbs_out if draw.random() < 0.5 else right.limbs_out ^ wild.limbs_out,
        sides_off=right.sides_off if draw.random() < 0.5 else wild.sides_off,
        headed=right.headed if draw.random() < 0.5 else {**right.headed, **wild.headed},
    )


def _pruned(tree, standard, draw: Random) -> Pruning:
    way = draw.randrange(8)
    if way == 0:
        return NOTHING_CUT
    if way == 1:
        return ideal_pruning(tree, standard)
    if way == 2:
        made = mistakes(tree, standard, Side.BOTH)
        return draw.choice(made).pruning if made else NOTHING_CUT
    return _shaken(tree, standard, draw) if way < 6 else _at_random(tree, draw)


def _engine(tree, cuts, standard, side, method):
    scores = score_tree(standard, answers_of(tree, cuts, standard, side), method=method).stages
    return {
        stage: Verdict(score.result, frozenset(score.faults)) for stage, score in scores.items()
    }


def _compared(count: int, first: int = 0):
    """Judge trees twice; yield each stage's number, stage and both verdicts."""
    for number in range(first, first + count):
        standard = STANDARDS[number % len(STANDARDS)]
        draw = Random(f"cuts {number}")  # noqa: S311 - cuts, no secret
        tree = _grown(number, standard)
        cuts = _pruned(tree, standard, draw)
        side, method = draw.choice(tuple(Side)), draw.choice(tuple(Method))
        engine = _engine(tree, cuts, standard, side, method)
        judged = Judge(tree, cuts, standard, side, method).verdicts()
        assert judged.keys() == engine.keys()
        for stage, verdict in judged.items():
            yield number, stage, engine[stage], verdict


def test_the_engine_and_the_judge_agree_on_every_tree(volume):
    results, faults, on_the_line, total = Counter(), Counter(), 0, 0
    for number, stage, engine, judged in _compared(volume(short=300, long=10_000)):
        total += 1
        if judged is None:
            on_the_line += 1
            continue
        assert engine == judged, f"tree {number}, {stage}"
        results[stage, engine.result] += 1
        faults.update(engine.faults)
    # The judge skips only what lies on a line, and what it judged was no easy choice.
    assert on_the_line < 0.04 * total
    for stage in Stage:
        assert results[stage, Result.CONFORMING] > 0.02 * total / 4
        assert results[stage, Result.NONCONFORMING] > 0.05 * total / 4
    shown_by_a_tree = set(Fault) - {
        *(Fault.FLUSH_CUT, Fault.LOW_STUB, Fault.LONG_STUB, Fault.TORN_BARK),
        *(Fault.SPURS_STRIPPED, Fault.TREE_MISSED, Fault.SIDE_MISSED),
    }
    assert set(faults) == shown_by_a_tree


def test_the_judge_shares_nothing_with_what_it_judges():
    source = ast.parse(Path(judge.__file__).read_text())
    imported = {node.module for node in ast.walk(source) if isinstance(node, ast.ImportFrom)} | {
        name.name
        for node in ast.walk(source)
        if isinstance(node, ast.Import)
        for name in node.names
    }
    assert {name for name in imported if name.startswith("audits")} == {"audits.vocabulary"}


# Each of these turns one rule of the engine's side wrong: the judge must then disagree.


def _without_guard(standard):
    return standard.model_copy(update={"diameter_guard_mm": 0.0})


def _higher_band(standard):
    top = standard.top.model_copy(update={"tolerance_mm": standard.top.tolerance_mm + 40.0})
    return standard.model_copy(update={"top": top})


def _one_single_less(standard):
    least = max(1, standard.columns.least_single - 1)
    columns = standard.columns.model_copy(update={"least_single": least, "outer_single": 0})
    return standard.model_copy(update={"columns": columns})


def _limb_limit_off(standard):
    limbs = standard.limbs.model_copy(update={"large_mm": standard.limbs.large_mm + 3.0})
    return standard.model_copy(update={"limbs": limbs})


def _wider_pencil(standard):
    band = {"thinnest_mm": 4.0, "thickest_mm": standard.heading.thickest_mm}
    heading = standard.heading.model_copy(update=band)
    return standard.model_copy(update={"heading": heading})


@pytest.mark.parametrize(
    "spoiled", [_higher_band, _one_single_less, _limb_limit_off, _wider_pencil, _without_guard]
)
def test_the_judge_disagrees_with_an_engine_that_goes_by_another_rule(monkeypatch, spoiled):
    spoilt = _engine
    monkeypatch.setattr(
        "tests.reference.test_brute_force_judge._engine",
        lambda tree, cuts, standard, side, method: spoilt(
            tree, cuts, spoiled(standard), side, method
        ),
    )
    assert any(judged is not None and engine != judged for _, _, engine, judged in _compared(300))


def test_the_judge_disagrees_with_a_reading_that_forgets_a_limb(monkeypatch):
    from audits.practice import pruning

    whole = pruning.limbs_left
    monkeypatch.setattr(pruning, "limbs_left", lambda tree, cuts: whole(tree, cuts)[:-1])
    assert any(judged is not None and engine != judged for _, _, engine, judged in _compared(60))
