"""
What comes next in practice: Leitner's boxes.

A card is a stage on a kind of tree, or an item of exercises. What went right moves its card a box
up, what went wrong moves it to the first box: the boxes are Leitner's [1]_. The rest is our choice:

- A card of box n is due again after 2^(n-1) trees and exercises; that of an exercise after 2^(n-1)
  exercises, since only one time in three is theirs.
- While there are cards that never came up, every third tree and every third exercise is one of
  them: somebody often wrong would else never see what lies behind the cards that are due.
- The trees of a kind take turns, and so do the exercises of an item.

Phones count the same way in ``static/js/practice/schedule.js``; a test keeps both together.

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
# Every third: two in three are left for what went wrong, and 20 cards have all come up after 60.
NEW_EVERY: Final = 3


@dataclass(frozen=True, slots=True)
class Card:
    """
    Something to learn, as far as it has come.

    Parameters
    ----------
    box : int
        From 1 to `MOST_BOX`.
    due : int
        Number of trees and exercises done from which on it is due again.
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
    shown : Mapping of str to int, optional
        How often each kind of tree came up, by kind, and each item of exercises, by card. Progress
        that a phone kept before these were counted has none: they begin at 0.
    """

    done: int = 0
    cards: Mapping[str, Card] = field(default_factory=dict)
    runs: Mapping[Stage, int] = field(default_factory=dict)
    shown: Mapping[str, int] = field(default_factory=dict)


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


def moved(card: Card | None, done: int, *, is_right: bool, every: int = 1) -> Card:
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
    every : int, optional
        One time in how many is for cards of its sort: `EXERCISE_EVERY` for an exercise.

    Returns
    -------
    Card
        In the next box, or back in the first.

    Examples
    --------
    >>> moved(Card(3, 10), 10, is_right=True), moved(Card(3, 10), 10, is_right=False)
    (Card(box=4, due=18), Card(box=1, due=11))
    >>> moved(Card(3, 10), 12, is_right=True, every=EXERCISE_EVERY)
    Card(box=4, due=36)
    """
    box = min((card.box if card else 1) + 1, MOST_BOX) if is_right else 1
    return Card(box, done + every * 2 ** (box - 1))


def next_card(names: Sequence[str], progress: Progress, turn: int) -> str:
    """
    Choose the card whose turn it is.

    Parameters
    ----------
    names : sequence of str
        All cards there are, at least one.
    progress : Progress
        How far the learner is.
    turn : int
        How often one of these cards was chosen before.

    Returns
    -------
    str
        Every third time the first that never came up. Else of the cards that are due, the one that
        is due longest, so that what went wrong comes before what is new; else the first that never
        came up; else the one that is due soonest.
    """
    new = [name for name in names if name not in progress.cards]
    if new and turn % NEW_EVERY == NEW_EVERY - 1:
        return new[0]

    def rank(name: str) -> tuple[int, int]:
        card = progress.cards.get(name)
        if card is None:
            return (1, 0)
        return (0 if card.due <= progress.done else 2, card.due)

    return min(names, key=rank)


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
        whose turn it is, with as many stages as its runs allow. Of the trees of that kind, or the
        exercises of that item, the one after the last.
    """
    shown = progress.shown
    if offer.exercises and progress.done % EXERCISE_EVERY == EXERCISE_EVERY - 1:
        items = list(dict.fromkeys(item_card(item) for _, item in offer.exercises))
        name = next_card(items, progress, sum(shown.get(item, 0) for item in items))
        found = [one for one, item in offer.exercises if item_card(item) == name]
        return Next(found[shown.get(name, 0) % len(found)])
    kinds = dict.fromkeys(kind for _, kind in offer.trees)
    cards = {stage_card(stage, kind): (stage, kind) for kind in kinds for stage in offer.order}
    turn = sum(shown.get(kind, 0) for kind in kinds)
    stage, kind = cards[next_card(list(cards), progress, turn)]
    trees = [one for one, its_kind in offer.trees if its_kind is kind]
    level, stages = level_of(offer.order, stage, progress.runs)
    return Next(trees[shown.get(kind, 0) % len(trees)], level, stages)


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
    return Progress(done, cards, runs, _shown_again(progress, kind))


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
    card = moved(progress.cards.get(name), done, is_right=is_right, every=EXERCISE_EVERY)
    cards = {**progress.cards, name: card}
    return Progress(done, cards, progress.runs, _shown_again(progress, name))


def _shown_again(progress: Progress, name: str) -> dict[str, int]:
    return {**progress.shown, name: progress.shown.get(name, 0) + 1}
