"""
What comes next in practice: Leitner's boxes.

A card is a stage on a kind of tree, or an item of exercises. What went right moves its card a box
up, what went wrong moves it to the first box, and a card of box n comes up again after 2^(n-1)
trees: the boxes are Leitner's [1]_, this spacing is our choice. Phones count the same way in
``static/js/practice/schedule.js``; a test keeps both together.

References
----------
.. [1] S. Leitner, So lernt man lernen, Herder, 1972.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from audits.practice.levels import level_of
from audits.practice.model import TreeKind
from audits.vocabulary import PracticeLevel, Stage

MOST_BOX: Final = 6
EXERCISE_EVERY: Final = 3


@dataclass(frozen=True, slots=True)
class Card:
    """
    Something to learn, as far as it has come.

    Parameters
    ----------
    box : int
        From 1 to `MOST_BOX`.
    due : int
        Number of trees done from which on it is due again.
    """

    box: int
    due: int


@dataclass(frozen=True, slots=True)
class Progress:
    """
    How far a learner is.

    Parameters
    ----------
    done : int, optional
        Trees and exercises done.
    cards : Mapping of str to Card, optional
        Cards that came up at least once, by name.
    runs : Mapping of Stage to int, optional
        How often in a row each stage was right.
    """

    done: int = 0
    cards: Mapping[str, Card] = field(default_factory=dict)
    runs: Mapping[Stage, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Offer:
    """
    What there is to practise on.

    Parameters
    ----------
    order : tuple of Stage
        Stages in use, from the top of the tree down.
    trees : tuple of tuple
        Name and kind of each tree.
    exercises : tuple of tuple
        Name and item of each exercise.
    """

    order: tuple[Stage, ...]
    trees: tuple[tuple[str, TreeKind], ...]
    exercises: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Next:
    """
    What comes next.

    Parameters
    ----------
    id : str
        Name of the tree or of the exercise.
    level : PracticeLevel or None
        How many stages of the tree at once; None for an exercise.
    stages : tuple of Stage
        The stages; empty for an exercise.
    """

    id: str
    level: PracticeLevel | None = None
    stages: tuple[Stage, ...] = ()


def stage_card(stage: Stage, kind: TreeKind) -> str:
    """
    Name the card of a stage on a kind of tree.

    Parameters
    ----------
    stage : Stage
        The stage.
    kind : TreeKind
        The kind.

    Returns
    -------
    str
        The name.

    Examples
    --------
    >>> stage_card(Stage.TOP, TreeKind.NOT_DUE)
    'top/not_due'
    """
    return f"{stage}/{kind}"


def item_card(item: str) -> str:
    """
    Name the card of an item of exercises.

    Parameters
    ----------
    item : str
        The item.

    Returns
    -------
    str
        The name.
    """
    return f"item/{item}"


def moved(card: Card | None, done: int, *, is_right: bool) -> Card:
    """
    Move a card to its next box.

    Parameters
    ----------
    card : Card or None
        The card; None where it came up for the first time, out of the first box.
    done : int
        Trees and exercises done, this one included.
    is_right : bool
        Whether it went right.

    Returns
    -------
    Card
        In the next box, or back in the first.

    Examples
    --------
    >>> moved(Card(3, 10), 10, is_right=True), moved(Card(3, 10), 10, is_right=False)
    (Card(box=4, due=18), Card(box=1, due=11))
    """
    box = min((card.box if card else 1) + 1, MOST_BOX) if is_right else 1
    return Card(box, done + 2 ** (box - 1))


def next_card(names: Sequence[str], progress: Progress) -> str:
    """
    Choose the card whose turn it is.

    Parameters
    ----------
    names : sequence of str
        All cards there are, at least one.
    progress : Progress
        How far the learner is.

    Returns
    -------
    str
        Of the cards that are due, the one that is due longest, so that what went wrong comes before
        what is new; else the first that never came up; else the one that is due soonest.
    """

    def turn(name: str) -> tuple[int, int]:
        card = progress.cards.get(name)
        if card is None:
            return (1, 0)
        return (0 if card.due <= progress.done else 2, card.due)

    return min(names, key=turn)


def next_task(offer: Offer, progress: Progress) -> Next:
    """
    Choose what a learner does next.

    Parameters
    ----------
    offer : Offer
        What there is.
    progress : Progress
        How far the learner is.

    Returns
    -------
    Next
        Every third time an exercise, where there are any; else a tree of the kind of the card
        whose turn it is, with as many stages as its runs allow.
    """
    if offer.exercises and progress.done % EXERCISE_EVERY == EXERCISE_EVERY - 1:
        items = dict.fromkeys(item for _, item in offer.exercises)
        name = next_card([item_card(item) for item in items], progress)
        found = [one for one, item in offer.exercises if item_card(item) == name]
        return Next(found[progress.done % len(found)])
    kinds = dict.fromkeys(kind for _, kind in offer.trees)
    cards = {stage_card(stage, kind): (stage, kind) for kind in kinds for stage in offer.order}
    stage, kind = cards[next_card(list(cards), progress)]
    trees = [one for one, its_kind in offer.trees if its_kind is kind]
    level, stages = level_of(offer.order, stage, progress.runs)
    return Next(trees[progress.done % len(trees)], level, stages)


def after_tree(progress: Progress, kind: TreeKind, right: Mapping[Stage, bool]) -> Progress:
    """
    Move the cards of a tree that was pruned.

    Parameters
    ----------
    progress : Progress
        How far the learner was.
    kind : TreeKind
        Kind of the tree.
    right : Mapping of Stage to bool
        Whether each stage that was practised went right; leaving alone what was not due is right.

    Returns
    -------
    Progress
        How far the learner is.
    """
    done = progress.done + 1
    cards, runs = dict(progress.cards), dict(progress.runs)
    for stage, is_right in right.items():
        name = stage_card(stage, kind)
        cards[name] = moved(cards.get(name), done, is_right=is_right)
        runs[stage] = runs.get(stage, 0) + 1 if is_right else 0
    return Progress(done, cards, runs)


def after_exercise(progress: Progress, item: str, *, is_right: bool) -> Progress:
    """
    Move the card of an exercise that was answered.

    Parameters
    ----------
    progress : Progress
        How far the learner was.
    item : str
        Its item.
    is_right : bool
        Whether the answer was right.

    Returns
    -------
    Progress
        How far the learner is.
    """
    done = progress.done + 1
    name = item_card(item)
    card = moved(progress.cards.get(name), done, is_right=is_right)
    return Progress(done, {**progress.cards, name: card}, progress.runs)
