"""Questions on drawn trees: their keys held against a judge of our own, their choices fair."""

from collections import Counter
from functools import cache
from itertools import pairwise, product
from random import Random

import pytest

from audits.bank import tree_branches, tree_limbs, tree_tops
from audits.messages import ENGLISH, say
from audits.practice.pictures import TreePicture, TreeView
from audits.practice.pruning import Pruning
from audits.question_bank import makers
from audits.questions import (
    Action,
    Draft,
    FaultPicture,
    LimbsPicture,
    Question,
    SignPicture,
    TopPicture,
    solve,
)
from audits.quizzes import (
    LEAST_LEAVE_ALONE,
    QUESTIONS,
    VARIANTS,
    exercises,
    guessing_chance,
    make_quiz,
    marked,
)
from audits.scoring import TopMeasure
from audits.vocabulary import Method, QuizStyle, Side, Stage
from tests.judge import Judge
from tests.unit.test_quizzes import STANDARDS, USUAL

TREE_MAKERS = (*tree_tops.MAKERS, *tree_limbs.MAKERS, *tree_branches.MAKERS)


@cache
def drawn(name: str, count: int = 3) -> tuple[Question, ...]:
    """Draw questions of every maker of drawn trees under one standard."""
    standard, found = STANDARDS[name], []
    for maker in TREE_MAKERS:
        if maker.stage not in standard.stages_in_use:
            continue
        draw = Random(maker.name)  # noqa: S311 - trees, no secret
        for _ in range(count):
            draft = maker.make(standard, draw, Method.LADDER)
            question = draft and solve(draft, standard, Method.LADDER, QuizStyle.PICTURES)
            if question:
                found.append(question)
    return tuple(found)


every_standard = pytest.mark.parametrize("name", STANDARDS)


def _faults(picture: TreePicture, pruning: Pruning, name: str, stage: Stage) -> set[str] | None:
    """Have the judge look at a tree; a branch is judged by both stages that look at branches."""
    stages = (Stage.COLUMNS, Stage.HEADING) if picture.view is TreeView.BRANCH else (stage,)
    judge = Judge(picture.tree, pruning, STANDARDS[name], Side.BOTH, Method.LADDER)
    verdicts = judge.verdicts()
    judged = [verdicts[each] for each in stages if each in verdicts]
    if None in judged:
        return None
    return {str(fault) for verdict in judged for fault in verdict.faults}


def _after(picture: TreePicture, numbers: tuple[int, ...]) -> Pruning:
    """Cut at the numbers of a picture."""
    before = picture.pruning
    top, out, sides, headed = before.top_mm, set(before.limbs_out), set(), {}
    limb_of = {limb.key: limb for limb in picture.tree.limbs}
    for number in numbers:
        place = picture.places[number - 1]
        limb = limb_of[place.limb]
        if picture.view is TreeView.TOP:
            top = limb.wood.start[2] + 10.0
        elif picture.view is TreeView.LIMBS:
            out.add(limb.key)
        elif place.side is not None:
            sides.add(place.side)
        else:
            headed[limb.key] = min(place.along, headed.get(limb.key, 2.0))
    return Pruning(top, frozenset(out), frozenset(sides), headed)


@every_standard
def test_cuts_at_numbers_are_right_where_the_judge_finds_no_fault(name):
    for question in drawn(name):
        if not all(isinstance(choice, SignPicture) for choice in question.choice_pictures):
            continue
        for place, choice in enumerate(question.choice_pictures):
            pruning = _after(question.picture, choice.numbers)
            faults = _faults(question.picture, pruning, name, question.stage)
            if faults is None or name == "heading only":
                # A second fault lies on the line; or the tip that is lost too is no fault there.
                assert place != question.key or not faults
                continue
            assert (place == question.key) == (not faults), ENGLISH.say(question.stem)


@every_standard
def test_what_went_wrong_is_what_the_judge_finds(name):
    for question in drawn(name):
        if not all(isinstance(choice, FaultPicture) for choice in question.choice_pictures):
            continue
        faults = _faults(question.picture, question.picture.pruning, name, question.stage)
        # An end that is cut by another rule is no shortened tip as well.
        right = question.option_keys[question.key]
        if right == "nothing":
            assert faults == set()
        else:
            assert right in faults
            assert not faults & (set(question.option_keys) - {right})


@every_standard
def test_of_trees_to_choose_from_the_judge_passes_one(name):
    for question in drawn(name):
        if not all(isinstance(choice, TreePicture) for choice in question.choice_pictures):
            continue
        assert question.picture is None
        for place, choice in enumerate(question.choice_pictures):
            faults = _faults(choice, choice.pruning, name, question.stage)
            assert (place == question.key) == (faults == set())


def test_the_judge_would_see_a_wrong_key():
    """The three tests above can fail: one place further, every key is wrong to the judge."""
    for question in drawn("heading required"):
        wrong = (question.key + 1) % len(question.choices)
        choice = question.choice_pictures[wrong]
        if isinstance(choice, SignPicture):
            pruning = _after(question.picture, choice.numbers)
            faults = _faults(question.picture, pruning, "heading required", question.stage)
            assert faults is None or faults


def test_every_kind_of_drawn_item_is_there():
    made = Counter(
        (question.stage, type(choice).__name__)
        for name in STANDARDS
        for question in drawn(name)
        for choice in question.choice_pictures[:1]
    )
    for stage in Stage:
        assert made[stage, "SignPicture"]
        assert made[stage, "FaultPicture"]
        assert stage is Stage.HEADING or made[stage, "TreePicture"]


@every_standard
def test_stems_are_one_short_sentence_and_ask_for_no_number(name):
    for question in drawn(name):
        stem = ENGLISH.say(question.stem)
        assert stem.index("?") == len(stem) - 1
        assert "." not in stem
        assert len(stem.split()) <= 11
        assert not any(character.isdigit() for character in stem)
        reason = ENGLISH.say(question.why)
        assert 3 <= len(reason.split()) <= 12


@every_standard
def test_tops_are_judged_by_the_mark_and_thickness_by_gauge_or_pencil(name):
    for question in drawn(name):
        for picture in (question.picture, *question.choice_pictures):
            if not isinstance(picture, TreePicture):
                continue
            if picture.view is TreeView.TOP:
                assert picture.mark_mm == STANDARDS[name].top.target_mm
            if picture.view is TreeView.LIMBS:
                assert picture.gauge_mm == STANDARDS[name].limbs.large_mm
            if question.stage is Stage.HEADING:
                assert picture.pencil_mm is not None
                assert all(place.diameter_mm for place in picture.places)


def test_numbers_in_a_picture_stand_apart():
    for name in STANDARDS:
        for question in drawn(name):
            picture = question.picture
            if not isinstance(picture, TreePicture) or picture.view is not TreeView.BRANCH:
                continue
            along = [place.along for place in picture.places]
            assert along == sorted(along)
            assert all(other - one >= 0.06 for one, other in pairwise(along))


# Quizzes without words.

SEEDS = range(4)


@cache
def wordless(name: str, seed: int, variant: str = "A"):
    return make_quiz(STANDARDS[name], seed=seed, variant=variant, style=QuizStyle.PICTURES)


@every_standard
def test_a_quiz_without_words_shows_every_choice(name):
    for seed in SEEDS:
        quiz = wordless(name, seed)
        assert len(quiz.questions) == QUESTIONS
        for question in quiz.questions:
            assert len(question.choice_pictures) == len(question.choices)
            assert all(
                one != other
                for place, one in enumerate(question.choice_pictures)
                for other in question.choice_pictures[:place]
            )
            # Figures without mark, gauge or pencil are no pictures.
            assert not isinstance(question.picture, TopPicture | LimbsPicture)
            assert question.note is None
        assert sum(question.leave_alone for question in quiz.questions) >= LEAST_LEAVE_ALONE
        assert any(question.cut_too_much for question in quiz.questions)
        stages = {question.stage for question in quiz.questions}
        assert stages == set(STANDARDS[name].stages_in_use)


@every_standard
def test_leaving_everything_alone_passes_no_quiz(name):
    for style, seed in product(QuizStyle, SEEDS):
        quiz = make_quiz(STANDARDS[name], seed=seed, style=style)
        assert sum(question.leave_alone for question in quiz.questions) <= 7


def test_a_stop_sign_is_shown_exactly_where_leaving_is_a_choice():
    for seed in SEEDS:
        for question in wordless("usual", seed).questions:
            for key, picture in zip(question.option_keys, question.choice_pictures, strict=True):
                assert (key == "leave") == (isinstance(picture, SignPicture) and picture.leaves)


def test_retired_items_are_not_asked_in_either_style():
    for style in QuizStyle:
        quiz = make_quiz(USUAL, seed=3, style=style)
        gone = sorted({question.item for question in quiz.questions})[:3]
        again = make_quiz(USUAL, seed=3, style=style, retired=gone)
        assert not {question.item for question in again.questions} & set(gone)


def test_items_have_names_of_their_own():
    for method in Method:
        names = [maker.name for maker in makers(USUAL, method)]
        assert len(set(names)) == len(names)


def _by_meaning(quiz):
    """Name each question's right answer, whatever its place."""
    return Counter(
        (
            question.item,
            str(question.stem),
            question.option_keys[question.key],
            str(question.answer),
        )
        for question in quiz.questions
    )


def test_variants_agree_on_every_right_answer_and_with_the_marking(volume):
    """Hundreds of quizzes in four orders: the same answers are right, and they are marked right."""
    names = tuple(STANDARDS)
    for seed in range(volume(short=26, long=500)):
        standard = STANDARDS[names[seed % len(names)]]
        style = tuple(QuizStyle)[seed % 2]
        quizzes = [
            make_quiz(standard, seed=seed, variant=variant, style=style) for variant in VARIANTS
        ]
        meanings = [_by_meaning(quiz) for quiz in quizzes]
        assert all(meaning == meanings[0] for meaning in meanings)
        for quiz in quizzes:
            assert all(marked(quiz, quiz.key))
            beside = [
                (key + 1) % len(q.choices) for key, q in zip(quiz.key, quiz.questions, strict=True)
            ]
            assert not any(marked(quiz, beside))


# The solver.


def test_the_solver_discards_what_another_reading_of_the_picture_would_turn():
    target = USUAL.top.target_mm
    high = TopMeasure(height_mm=USUAL.top.band_mm[1] + 100)
    wrong = Action(say("High."), high, picture=SignPicture((2,)))

    def draft(*others):
        right = Action(
            say("Here."), TopMeasure(height_mm=target), picture=SignPicture((1,)), others=others
        )
        return Draft(say("Where?"), (right, wrong), Stage.TOP)

    assert solve(draft(), USUAL, Method.LADDER).key == 0
    assert solve(draft(TopMeasure(height_mm=target + 10)), USUAL, Method.LADDER).key == 0
    assert solve(draft(high), USUAL, Method.LADDER) is None


def test_the_solver_discards_choices_that_have_no_picture_where_words_are_left_out():
    target = USUAL.top.target_mm
    options = (
        Action(say("Here."), TopMeasure(height_mm=target)),
        Action(say("Low."), TopMeasure(height_mm=target - 500), picture=SignPicture((2,))),
    )
    draft = Draft(say("Where?"), options, Stage.TOP)
    assert solve(draft, USUAL, Method.LADDER).choice_pictures == ()
    assert solve(draft, USUAL, Method.LADDER, QuizStyle.PICTURES) is None


def test_trees_to_choose_from_are_shown_with_words_too():
    pictured = [
        question
        for seed in range(60)
        for question in make_quiz(USUAL, seed=seed).questions
        if question.choice_pictures
    ]
    assert {question.item for question in pictured} == {
        *("top_tree_which", "limbs_tree_choice", "column_tree_which")
    }


@every_standard
def test_every_question_says_why(name):
    for seed in SEEDS:
        for question in make_quiz(STANDARDS[name], seed=seed).questions:
            reason = ENGLISH.say(question.why)
            assert reason.endswith(".")
            assert len(reason.split()) <= 14


# Guessing, and exercises.


@pytest.mark.parametrize("style", QuizStyle)
def test_the_chance_of_guessing_is_that_of_all_ways_to_answer(style):
    """Counted out for a short quiz: every way to answer four of its questions."""
    whole = make_quiz(USUAL, seed=5, style=style)
    quiz = type(whole)(whole.seed, whole.variant, whole.questions[:4])
    ways = list(product(*(range(len(question.choices)) for question in quiz.questions)))
    for pass_mark in range(5):
        passing = sum(sum(marked(quiz, way)) >= pass_mark for way in ways)
        assert guessing_chance(quiz, pass_mark) == pytest.approx(passing / len(ways), abs=1e-12)


@every_standard
def test_exercises_are_as_many_as_asked_for_and_leave_enough_alone(name):
    made = exercises(STANDARDS[name], seed=4, count=35)
    assert len(made) == 35
    assert made == exercises(STANDARDS[name], seed=4, count=35)
    assert made != exercises(STANDARDS[name], seed=5, count=35)
    for start in range(0, 30, 10):
        ten = made[start : start + 10]
        assert sum(question.leave_alone for question in ten) >= LEAST_LEAVE_ALONE


def test_exercises_hardly_repeat_themselves():
    made = exercises(USUAL, seed=1, count=40)
    asked = {(q.item, str(q.stem), str(q.picture), tuple(sorted(q.option_keys))) for q in made}
    assert len(asked) >= 38
    assert len({question.item for question in made}) >= 25
