"""Quizzes that teach one block's standard, built from a seed so that a key never gets lost."""

import random
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, zip_longest
from typing import Final

from audits.bank.maker import Maker, Role
from audits.errors import InvalidInput
from audits.guessing import chance_of_passing
from audits.messages import say
from audits.question_bank import makers
from audits.questions import Question, reordered, solve
from audits.standard import Standard
from audits.vocabulary import Method, QuizStyle, Stage

QUESTIONS: Final = 10
LEAST_LEAVE_ALONE: Final = 3
VARIANTS: Final = ("A", "B", "C", "D")

# Draws after which a maker has no further question for this standard.
_PATIENCE: Final = 12
# The same maker may ask again with other numbers, so that one-stage standards fill a quiz too.
_ROUNDS: Final = 8


@dataclass(frozen=True)
class Quiz:
    """
    Ten questions on one standard.

    Parameters
    ----------
    seed : int
        Seed that gives these questions again, under the same standard.
    variant : str
        Which order of questions and choices; one of `VARIANTS`.
    questions : tuple of Question
        The questions in order.
    """

    seed: int
    variant: str
    questions: tuple[Question, ...]

    @property
    def key(self) -> tuple[int, ...]:
        """Places of the right answers, from 0, one for each question."""
        return tuple(question.key for question in self.questions)


def make_quiz(
    standard: Standard,
    *,
    seed: int,
    variant: str = "A",
    method: Method = Method.LADDER,
    retired: Collection[str] = (),
    style: QuizStyle = QuizStyle.WORDS,
) -> Quiz:
    """
    Make a quiz on a block's standard.

    At least three questions are right when the wood is left alone, one shows a tree on which too
    much was cut, one is on safety, and every stage in use is asked about. Every key comes from
    the scoring engine; a question that could be answered in two ways is thrown away. All variants
    of a seed ask the same questions in another order. A quiz without words has no question on
    safety: no picture of what must not be done says without words that it must not.

    Parameters
    ----------
    standard : Standard
        The block's rule; its numbers are the quiz's numbers.
    seed : int
        Seed of everything that is drawn.
    variant : str, optional
        One of `VARIANTS`.
    method : Method, optional
        How the crew works: it chooses the safety questions.
    retired : collection of str, optional
        Names of items that are not asked.
    style : QuizStyle, optional
        Whether choices are words, or pictures, numbers and signs alone.

    Returns
    -------
    Quiz
        Ten questions; the places of the right answers are balanced.

    Raises
    ------
    InvalidInput
        If the variant is not one of `VARIANTS`, or if the standard leaves too little to ask.
    """
    if variant not in VARIANTS:
        raise InvalidInput(
            {"variant": say("Choose one of the variants %(names)s.", names=", ".join(VARIANTS))}
        )
    available = [maker for maker in makers(standard, method) if maker.name not in retired]
    dice = random.Random(seed)  # noqa: S311 - no secret
    questions = _choose(_Drawing(standard, method, style, dice), available)
    shuffle = random.Random(f"{seed}/{variant}")  # noqa: S311 - no secret
    mixed = shuffle.sample(questions, len(questions))
    return Quiz(seed, variant, tuple(_balanced(mixed, shuffle)))


def marked(quiz: Quiz, answers: Sequence[int | None]) -> tuple[bool, ...]:
    """
    Hold answers against the key.

    Parameters
    ----------
    quiz : Quiz
        The quiz.
    answers : sequence of int or None
        The place of each marked choice from 0, one for each question in order; None where none
        was marked.

    Returns
    -------
    tuple of bool
        Whether each is right; what was not answered is not.

    Raises
    ------
    InvalidInput
        If there are not as many answers as questions, or a question has no such choice.
    """
    if len(answers) != len(quiz.questions):
        raise InvalidInput(
            {
                "answers": say(
                    "There are %(given)s answers to %(count)s questions.",
                    given=len(answers),
                    count=len(quiz.questions),
                )
            }
        )
    for number, (question, answer) in enumerate(zip(quiz.questions, answers, strict=True), 1):
        if answer is not None and not 0 <= answer < len(question.choices):
            raise InvalidInput(
                {"answers": say("Question %(number)s has no such choice.", number=number)}
            )
    return tuple(answer == key for answer, key in zip(answers, quiz.key, strict=True))


@dataclass(frozen=True)
class _Drawing:
    """What questions are drawn for, and from."""

    standard: Standard
    method: Method
    style: QuizStyle
    dice: random.Random


def guessing_chance(quiz: Quiz, pass_mark: int) -> float:
    """
    Return the chance that somebody who guesses every answer of a quiz passes.

    Parameters
    ----------
    quiz : Quiz
        The quiz.
    pass_mark : int
        Right answers with which it is passed.

    Returns
    -------
    float
        Probability in [0, 1], exact.

    Examples
    --------
    >>> from audits.standard import preset
    >>> from audits.vocabulary import BearingHabit
    >>> quiz = make_quiz(preset(BearingHabit.SPUR, 3353.0), seed=1)
    >>> guessing_chance(quiz, 0)
    1.0
    """
    return chance_of_passing([len(question.choices) for question in quiz.questions], pass_mark)


def exercises(
    standard: Standard, *, seed: int, count: int, method: Method = Method.LADDER
) -> tuple[Question, ...]:
    """
    Make single questions to practise with, their answers and reasons given at once.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    seed : int
        Seed of everything that is drawn.
    count : int
        How many, at least 1.
    method : Method, optional
        How the crew works: it chooses the safety questions.

    Returns
    -------
    tuple of Question
        As many as are asked for. Of each ten, at least three are right when the wood is left
        alone; an item may come again on another tree, and once all are used up on the same.

    Raises
    ------
    InvalidInput
        If the standard leaves too little to ask.
    """
    available = makers(standard, method)
    made: list[Question] = []
    for place in range(-(-count // QUESTIONS)):
        dice = random.Random(f"{seed}/exercises/{place}")  # noqa: S311 - no secret
        drawing = _Drawing(standard, method, QuizStyle.WORDS, dice)
        try:
            ten = _choose(drawing, available, made)
        except InvalidInput:
            ten = _choose(drawing, available)
        # The leave-alone trees come first from `_choose`; mixed, they give nothing away.
        made += _balanced(dice.sample(ten, len(ten)), dice)
    return tuple(made[:count])


def example_question(
    standard: Standard, item: str, method: Method = Method.LADDER
) -> Question | None:
    """
    Make a question that shows what an item asks.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    item : str
        The item.
    method : Method, optional
        How the crew works: it chooses the safety questions.

    Returns
    -------
    Question or None
        Always the same one; None where the standard has no such item, or no room for it.
    """
    dice = random.Random(item)  # noqa: S311 - no secret
    drawing = _Drawing(standard, method, QuizStyle.WORDS, dice)
    those = [maker for maker in makers(standard, method) if maker.name == item]
    return next(_drawn(those, drawing), None)


def _choose(
    drawing: _Drawing, available: Sequence[Maker], before: Sequence[Question] = ()
) -> list[Question]:
    # None of the ten is the same as one asked before.
    chosen: list[Question] = []

    def choose(those: Iterable[Maker], count: int) -> None:
        wanted = min(count, QUESTIONS - len(chosen))
        chosen.extend(_take(_drawn(list(those), drawing), wanted, [*before, *chosen]))

    def playing(role: Role) -> Iterator[Maker]:
        return (maker for maker in available if maker.role is role)

    choose(playing(Role.LEAVE), LEAST_LEAVE_ALONE)
    choose(playing(Role.TOO_MUCH), 1)
    choose(playing(Role.SAFETY), 1)
    for stage in drawing.standard.stages_in_use:
        if not any(question.stage is stage for question in chosen):
            choose((maker for maker in available if maker.stage is stage), 1)
    for role in (Role.OTHER, Role.SAFETY):
        choose(playing(role), QUESTIONS)
    # Where a standard leaves nothing else to ask, neither kind may fill the rest alone.
    rest = [_drawn(list(playing(role)), drawing) for role in (Role.TOO_MUCH, Role.LEAVE)]
    for questions in rest * QUESTIONS:
        wanted = min(1, QUESTIONS - len(chosen))
        chosen.extend(_take(questions, wanted, [*before, *chosen]))
    leave_alone = sum(question.leave_alone for question in chosen)
    if len(chosen) < QUESTIONS or leave_alone < LEAST_LEAVE_ALONE:
        raise InvalidInput(
            {"standard": say("This standard leaves too little to ask for a whole quiz.")}
        )
    return chosen


def _drawn(those: list[Maker], drawing: _Drawing) -> Iterator[Question]:
    """Yield questions of some makers, taking the stages in turn."""
    order = _stages_in_turn(those, drawing.dice)
    for _ in range(_ROUNDS):
        for maker in tuple(order):
            tries = (_attempt(maker, drawing) for _ in range(_PATIENCE))
            question = next((question for question in tries if question is not None), None)
            if question is None:
                # The standard leaves it no room, and will leave it none in the next round.
                order.remove(maker)
            else:
                yield question


def _attempt(maker: Maker, drawing: _Drawing) -> Question | None:
    standard, method = drawing.standard, drawing.method
    try:
        draft = maker.make(standard, drawing.dice, method)
    except ValueError:
        # At the ends of what a standard may say, a tree can come out that no engine would score.
        return None
    question = None if draft is None else solve(draft, standard, method, drawing.style)
    return None if question is None else replace(question, item=maker.name)


def _stages_in_turn(those: list[Maker], draw: random.Random) -> list[Maker]:
    stages = (*draw.sample(tuple(Stage), len(Stage)), None)
    by_stage = [[maker for maker in those if maker.stage is stage] for stage in stages]
    shuffled = [draw.sample(group, len(group)) for group in by_stage]
    return [maker for taken in zip_longest(*shuffled) for maker in taken if maker is not None]


def _take(questions: Iterator[Question], count: int, already: list[Question]) -> list[Question]:
    taken: list[Question] = []
    while len(taken) < count:
        question = next(questions, None)
        if question is None:
            break
        if not any(_same(question, other) for other in chain(already, taken)):
            taken.append(question)
    return taken


def _same(one: Question, other: Question) -> bool:
    return (one.stem, one.picture, one.answer) == (other.stem, other.picture, other.answer)


def _balanced(questions: Iterable[Question], shuffle: random.Random) -> Iterator[Question]:
    """Shuffle the choices so that no place is right much more often than another."""
    # Counted apart: the fourth place, which few questions have, would be due at each of them.
    used_of: defaultdict[int, Counter[int]] = defaultdict(Counter)
    for question in questions:
        places = range(len(question.choices))
        used = used_of[len(places)]
        fewest = min(used[place] for place in places)
        key = shuffle.choice([place for place in places if used[place] == fewest])
        used[key] += 1
        others = shuffle.sample(
            [place for place in places if place != question.key], len(question.choices) - 1
        )
        others.insert(key, question.key)
        yield reordered(question, tuple(others))
