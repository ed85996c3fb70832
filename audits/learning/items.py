"""
What answers say about the items of quizzes: how difficult each is, and whether it misleads.

Quizzes hold different items, so there is no full matrix: each item is judged among those who were
asked it, by how they did on everything else. Of each person only the first answer to an item
counts; later ones show what was remembered. Nothing is called misleading below a floor of people,
nor unless chance would explain it less than once in twenty times over all items together.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from audits.comparison.multiple import holm
from audits.estimates.intervals import Interval, normal_quantile, wilson
from audits.learning.discrimination import group_size, group_weights
from audits.learning.language_gap import CommonOdds, TwoByTwo, common_odds
from audits.learning.reliability import correlation

# The floors are this project's own.
LEAST_PEOPLE: Final = 20
LEAST_PEOPLE_BY_LANGUAGE: Final = 10
# So many other answers place a person among the others.
LEAST_OTHER_ANSWERS: Final = 5
_CHANCE: Final = 0.05
_CONFIDENCE: Final = 0.95
# People are matched across languages by how good their answers are, in at most so many groups.
_GROUPS: Final = 8


class Answer(NamedTuple):
    """
    What one person answered to one item.

    Parameters
    ----------
    person : int
        Who answered.
    item : str
        The item.
    choice : str or None
        The choice by its name in the item; None where none was marked.
    is_right : bool
        Whether it is the right one.
    language : str
        Language in which it was read.
    choices : int, optional
        How many choices there were; 0 where that is not known.
    """

    person: int
    item: str
    choice: str | None
    is_right: bool
    language: str
    choices: int = 0


class ItemFlag(StrEnum):
    """What is the matter with an item."""

    MISLEADS = "misleads"
    WRONG_CHOICE_DRAWS = "wrong choice draws"
    HARDER_IN_SPANISH = "harder in Spanish"
    HARDER_IN_ENGLISH = "harder in English"
    NOBODY_FAILS = "nobody fails"


@dataclass(frozen=True)
class ChoiceCount:
    """
    How often a choice was taken.

    Parameters
    ----------
    choice : str or None
        Its name in the item; None where nothing was marked.
    is_right : bool
        Whether it is the right one.
    people : int
        How many took it.
    upper, lower : float
        How many of the upper and the lower group; whoever ties at the edge counts in part.
    """

    choice: str | None
    is_right: bool
    people: int
    upper: float
    lower: float


@dataclass(frozen=True)
class ItemReading:
    """
    What the answers to one item say.

    Parameters
    ----------
    item : str
        The item.
    people : int
        How many were asked it for the first time.
    right : int
        How many of them got it right.
    difficulty : Interval or None
        The share right, with Wilson's interval; None below the floor.
    discrimination : float or None
        Correlation of the item with how people did on everything else, in [-1, 1]; None below the
        floor, or where all answered alike.
    discrimination_interval : tuple of float or None
        Its bounds at 95 %.
    groups : int
        People in the upper, and in the lower, group.
    choices : tuple of ChoiceCount
        Every choice that was taken, the right one first, then by name.
    unused : int
        Wrong choices that nobody takes; 0 below the floor, or where everybody is right.
    language_gap : CommonOdds or None
        English against Spanish among people who are equally good; None below the floor.
    flags : tuple of ItemFlag
        What chance does not explain.
    """

    item: str
    people: int
    right: int
    difficulty: Interval | None
    discrimination: float | None
    discrimination_interval: tuple[float, float] | None
    groups: int
    choices: tuple[ChoiceCount, ...]
    unused: int
    language_gap: CommonOdds | None
    flags: tuple[ItemFlag, ...]


def first_answers(answers: Sequence[Answer]) -> list[Answer]:
    """
    Keep each person's first answer to each item.

    Parameters
    ----------
    answers : Sequence of Answer
        In the order in which they were given.

    Returns
    -------
    list of Answer
        At most one for each person and item.
    """
    found: dict[tuple[int, str], Answer] = {}
    for answer in answers:
        found.setdefault((answer.person, answer.item), answer)
    return list(found.values())


def read_items(answers: Sequence[Answer]) -> list[ItemReading]:
    """
    Judge every item that was asked.

    Parameters
    ----------
    answers : Sequence of Answer
        All answers of some quizzes, in the order in which they were given.

    Returns
    -------
    list of ItemReading
        By the items' names.

    Notes
    -----
    Chances of all items are adjusted together by Holm's method, one question at a time: whether
    good scorers fail the item, whether they prefer a wrong choice, and whether a language matters.

    Languages are compared among people whose share of right answers is alike, the item itself
    among them [1]_. Matched by their other answers alone, those who know less would seem to meet
    harder wording.

    References
    ----------
    .. [1] P. W. Holland, D. T. Thayer, Differential item performance and the Mantel-Haenszel
       procedure, in H. Wainer, H. I. Braun (editors), Test Validity, 1988, 129-145.
    """
    first = first_answers(answers)
    by_person: dict[int, list[Answer]] = defaultdict(list)
    by_item: dict[str, list[Answer]] = defaultdict(list)
    for answer in first:
        by_person[answer.person].append(answer)
        by_item[answer.item].append(answer)
    totals = {
        person: (sum(each.is_right for each in of_person), len(of_person))
        for person, of_person in by_person.items()
    }
    cases = [_Case(item, by_item[item], totals) for item in sorted(by_item)]
    return [case.reading(flags) for case, flags in zip(cases, _flags(cases), strict=True)]


class _Case:
    """An item among those who were asked it and whose other answers place them."""

    def __init__(
        self, item: str, answers: Sequence[Answer], totals: Mapping[int, tuple[int, int]]
    ) -> None:
        self.item = item
        self.answers = answers
        self.placed: list[Answer] = []
        self.rest: list[float] = []
        self.whole: list[float] = []
        for answer in answers:
            right, asked = totals[answer.person]
            if asked - 1 >= LEAST_OTHER_ANSWERS:
                self.placed.append(answer)
                self.rest.append((right - answer.is_right) / (asked - 1))
                self.whole.append(right / asked)
        self.is_judged = len(self.placed) >= LEAST_PEOPLE
        self.size = group_size(len(self.placed)) if self.is_judged else 0
        self.upper = group_weights(self.rest, self.size) if self.is_judged else []
        self.lower = group_weights([-one for one in self.rest], self.size) if self.is_judged else []
        rights = [float(answer.is_right) for answer in self.placed]
        self.discrimination = correlation(rights, self.rest) if self.is_judged else None
        self.gap = self._language_gap()

    def failing_chance(self) -> float:
        """Return the chance of so low a discrimination if it were 0."""
        from scipy.special import ndtr  # noqa: PLC0415 - scipy is slow to load

        if self.discrimination is None:
            return 1.0
        return float(ndtr(_fisher_z(self.discrimination) * math.sqrt(len(self.placed) - 3)))

    def drawing_chance(self) -> float:
        """Return the chance that good scorers prefer the commonest wrong choice so clearly."""
        from scipy.special import bdtrc  # noqa: PLC0415 - scipy is slow to load

        if not self.is_judged:
            return 1.0
        good = [
            answer for answer, weight in zip(self.placed, self.upper, strict=True) if weight > 0
        ]
        wrong = Counter(answer.choice for answer in good if not answer.is_right)
        wrong.pop(None, None)
        if not wrong:
            return 1.0
        most = max(wrong.values())
        right = sum(answer.is_right for answer in good)
        # Of the wrong choices the commonest was picked afterwards, hence their number.
        return min(1.0, len(wrong) * float(bdtrc(most - 1, most + right, 0.5)))

    def reading(self, flags: tuple[ItemFlag, ...]) -> ItemReading:
        people = len(self.answers)
        right = sum(answer.is_right for answer in self.answers)
        return ItemReading(
            self.item,
            people,
            right,
            wilson(right, people) if people >= LEAST_PEOPLE else None,
            self.discrimination,
            _fisher_interval(self.discrimination, len(self.placed)),
            self.size,
            self._choices(),
            self._unused(),
            self.gap,
            flags,
        )

    def _choices(self) -> tuple[ChoiceCount, ...]:
        people = Counter((answer.choice, answer.is_right) for answer in self.answers)
        # A choice may be right where the tree was drawn one way, and wrong where another.
        upper: dict[tuple[str | None, bool], float] = defaultdict(float)
        lower: dict[tuple[str | None, bool], float] = defaultdict(float)
        groups = zip(self.placed, self.upper, self.lower, strict=True) if self.is_judged else ()
        for answer, above, below in groups:
            upper[answer.choice, answer.is_right] += above
            lower[answer.choice, answer.is_right] += below
        return tuple(
            ChoiceCount(choice, is_right, count, upper[choice, is_right], lower[choice, is_right])
            for (choice, is_right), count in sorted(
                people.items(), key=lambda each: (not each[0][1], each[0][0] or "")
            )
        )

    def _unused(self) -> int:
        taken = {answer.choice for answer in self.answers if not answer.is_right} - {None}
        if not self.is_judged or not taken:
            return 0
        wrong = min(answer.choices for answer in self.answers) - 1
        return max(0, wrong - len(taken))

    def _language_gap(self) -> CommonOdds | None:
        by_language = Counter(answer.language for answer in self.placed)
        if min(by_language["en"], by_language["es"]) < LEAST_PEOPLE_BY_LANGUAGE:
            return None
        groups: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
        place = _groups(self.whole)
        for answer, whole in zip(self.placed, self.whole, strict=True):
            column = {"en": 0, "es": 2}.get(answer.language)
            if column is not None:
                groups[place(whole)][column + (not answer.is_right)] += 1
        return common_odds([TwoByTwo(*group) for group in groups.values()])


def _flags(cases: Sequence[_Case]) -> list[tuple[ItemFlag, ...]]:
    failing = _beyond_chance([case.failing_chance() for case in cases])
    drawing = _beyond_chance([case.drawing_chance() for case in cases])
    gaps = _beyond_chance([case.gap.p_value if case.gap else 1.0 for case in cases])
    found = []
    for case, fails, draws, gap in zip(cases, failing, drawing, gaps, strict=True):
        flags = []
        if fails:
            flags.append(ItemFlag.MISLEADS)
        if draws:
            flags.append(ItemFlag.WRONG_CHOICE_DRAWS)
        if gap and case.gap is not None:
            easier_in_english = case.gap.ratio > 1
            flags.append(
                ItemFlag.HARDER_IN_SPANISH if easier_in_english else ItemFlag.HARDER_IN_ENGLISH
            )
        if case.is_judged and all(answer.is_right for answer in case.answers):
            flags.append(ItemFlag.NOBODY_FAILS)
        found.append(tuple(flags))
    return found


def _beyond_chance(chances: Sequence[float]) -> list[bool]:
    return [chance < _CHANCE for chance in holm(chances)]


def _groups(whole: Sequence[float]) -> Callable[[float], int]:
    """Return the function that puts a person into a group of about equally good ones."""
    ordered = sorted(whole)
    edges = [ordered[len(ordered) * number // _GROUPS] for number in range(1, _GROUPS)]
    return lambda one: sum(one >= edge for edge in edges)


def _fisher_z(coefficient: float) -> float:
    return math.atanh(max(-1 + 1e-9, min(1 - 1e-9, coefficient)))


def _fisher_interval(coefficient: float | None, people: int) -> tuple[float, float] | None:
    if coefficient is None:
        return None
    middle = _fisher_z(coefficient)
    reach = normal_quantile(_CONFIDENCE) / math.sqrt(people - 3)
    return math.tanh(middle - reach), math.tanh(middle + reach)
