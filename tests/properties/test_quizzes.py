"""Laws of quizzes: whatever the standard, a quiz is fair, or is refused with a sentence."""

from hypothesis import given, settings
from hypothesis import strategies as st

from audits.errors import InvalidInput
from audits.quizzes import LEAST_LEAVE_ALONE, QUESTIONS, VARIANTS, make_quiz
from audits.standard import (
    ColumnsRule,
    HeadingStageRule,
    LimbsRule,
    Standard,
    TopRule,
)
from audits.vocabulary import HeadingRule, Method, QuizStyle


def lengths(low, high):
    return st.floats(low, high).map(lambda mm: round(mm, 2))


@st.composite
def top_rules(draw):
    tolerance = draw(lengths(10, 1_000))
    return TopRule(
        in_use=draw(st.booleans()),
        target_mm=draw(lengths(501, 10_000)),
        tolerance_mm=tolerance,
        outer_mm=tolerance + draw(lengths(10, 2_000)),
        to_side_branch=draw(st.booleans()),
    )


@st.composite
def limbs_rules(draw):
    least = draw(st.integers(0, 8))
    return LimbsRule(
        in_use=draw(st.booleans()),
        large_mm=draw(lengths(1, 100)),
        least=least,
        most=draw(st.integers(least, 8)),
        wrong_limb_mm=draw(lengths(2.01, 20)),
        clean_cut_height_mm=draw(lengths(0, 2_000)),
    )


@st.composite
def columns_rules(draw):
    branches = draw(st.integers(1, 12))
    least = draw(st.integers(1, branches))
    return ColumnsRule(
        in_use=draw(st.booleans()),
        branches=branches,
        least_single=least,
        outer_single=draw(st.integers(0, least - 1)),
        side_branch_mm=draw(lengths(1, 600)),
    )


@st.composite
def heading_rules(draw):
    thinnest = draw(lengths(1, 28))
    looked_at = draw(st.integers(1, 12))
    return HeadingStageRule(
        in_use=draw(st.booleans()),
        rule=draw(st.sampled_from(HeadingRule)),
        thinnest_mm=thinnest,
        thickest_mm=draw(lengths(thinnest + 0.5, 30)),
        outer_mm=draw(lengths(3.5, 20)),
        looked_at=looked_at,
        most_wrong=draw(st.integers(0, min(5, looked_at - 1))),
        few=draw(st.integers(0, 5)),
    )


@st.composite
def standards(draw):
    rules = {
        "top": draw(top_rules()),
        "limbs": draw(limbs_rules()),
        "columns": draw(columns_rules()),
        "heading": draw(heading_rules()),
    }
    unused = not any(rules[name].in_use for name in ("top", "limbs", "columns"))
    if unused and (not rules["heading"].in_use or rules["heading"].rule is HeadingRule.OFF):
        rules["top"] = rules["top"].model_copy(update={"in_use": True})
    return Standard(
        **rules,
        row_spacing_mm=3_353.0,
        top_wire_mm=draw(st.none() | lengths(501, 10_000)),
        diameter_guard_mm=draw(lengths(0, 3)),
    )


@settings(max_examples=150, deadline=None)
@given(
    standard=standards(),
    seed=st.integers(0, 2**31),
    variant=st.sampled_from(VARIANTS),
    method=st.sampled_from(Method),
    style=st.sampled_from(QuizStyle),
)
def test_every_quiz_is_fair_or_refused(standard, seed, variant, method, style):
    try:
        quiz = make_quiz(standard, seed=seed, variant=variant, method=method, style=style)
    except InvalidInput as refused:
        problems = refused.problems
        assert set(problems) == {"standard"}
        return
    assert len(quiz.questions) == QUESTIONS
    assert sum(question.leave_alone for question in quiz.questions) >= LEAST_LEAVE_ALONE
    assert any(question.note for question in quiz.questions) == (style is QuizStyle.WORDS)
    for question in quiz.questions:
        assert question.stage is None or question.stage in standard.stages_in_use
        texts = [str(choice) for choice in question.choices]
        assert len(set(texts)) == len(texts)
        assert question.key < len(texts)
        assert question.why.text
        assert len(question.choice_pictures) in {0, len(texts)}
        assert style is QuizStyle.WORDS or question.choice_pictures
    assert quiz == make_quiz(standard, seed=seed, variant=variant, method=method, style=style)
