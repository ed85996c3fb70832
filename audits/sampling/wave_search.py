"""The search for the wave plan that decides a lot with the fewest trees."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from typing import NamedTuple

from audits.sampling.laws import as_written
from audits.sampling.plans import WavePlan
from audits.sampling.walks import count_endings, exact_chance

# Sums of chances stay well within this distance of the truth; nearer to a limit, the matter is
# settled in whole numbers.
_NEAR = 1e-12

# A choice that spends less than this share of a risk is no better than one that spends nothing.
_WORTH_SPENDING = 1e-3


class Lots(NamedTuple):
    """
    The two lots that a plan must tell apart, and how sure it must be.

    Parameters
    ----------
    lot_size : int
        Trees in each.
    good, bad : int
        Nonconforming trees in the lot that should pass, and in the one that should go back.
    producer_risk, consumer_risk : float
        Chance that the good one goes back, and that the bad one passes.
    """

    lot_size: int
    good: int
    bad: int
    producer_risk: float
    consumer_risk: float


class Numbers(NamedTuple):
    """
    A plan as it is put together: a wave's size and numbers after those of earlier waves.

    Parameters
    ----------
    sizes : tuple of int
        Trees looked at by the end of each wave.
    accepted : tuple of int
        Acceptance numbers, -1 for none.
    rejected : tuple of int
        Rejection numbers.
    """

    sizes: tuple[int, ...] = ()
    accepted: tuple[int, ...] = ()
    rejected: tuple[int, ...] = ()

    def then(self, size: int, accepted: int, rejected: int) -> "Numbers":
        """
        Add a wave.

        Parameters
        ----------
        size, accepted, rejected : int
            Its size and numbers.

        Returns
        -------
        Numbers
            The plan so far.
        """
        return Numbers((*self.sizes, size), (*self.accepted, accepted), (*self.rejected, rejected))

    def as_plan(self) -> WavePlan:
        """
        Turn the numbers into a plan.

        Returns
        -------
        WavePlan
            The plan.
        """
        return WavePlan(
            self.sizes,
            tuple(None if number < 0 else number for number in self.accepted),
            self.rejected,
        )


@dataclass(frozen=True)
class _Node:
    """
    A walk at the end of a wave.

    `good` and `bad` hold the chances that it goes on from here with `lowest`, `lowest` + 1 ...
    nonconforming trees in the good and in the bad lot.
    """

    numbers: Numbers
    lowest: int
    good: Sequence[float]
    bad: Sequence[float]
    sent_back: float
    passed: float
    trees: float

    @property
    def size(self) -> int:
        return self.numbers.sizes[-1] if self.numbers.sizes else 0

    @property
    def least_rejected(self) -> int:
        return self.numbers.rejected[-1] if self.numbers.rejected else 1


class _Ahead(NamedTuple):
    """Chances of at most `lowest`, `lowest` + 1 ... nonconforming trees after more trees."""

    good: list[list[float]]
    bad: list[list[float]]


class Found(NamedTuple):
    """
    A plan that keeps both promises.

    Parameters
    ----------
    trees : float
        Trees expected in the good lot until all stages are decided.
    numbers : Numbers
        The plan.
    """

    trees: float
    numbers: Numbers


@dataclass
class Search:
    """
    A search over sizes and numbers, best first.

    Parameters
    ----------
    lots : Lots
        What the plan must tell apart.
    stages : int
        Independent stages for which the expected trees are reckoned together.
    cap : int
        Largest acceptance number considered.
    kept : int
        How many plans are remembered.
    best : list of Found, optional
        The best plans so far, the best first; those of an earlier search bound this one.
    """

    lots: Lots
    stages: int
    cap: int
    kept: int = 12
    best: list[Found] = field(default_factory=list)

    def over(self, sizes: Sequence[Sequence[int]]) -> None:
        """
        Try every plan whose waves have sizes from a list.

        Parameters
        ----------
        sizes : Sequence of Sequence of int
            For each wave the sizes that are tried, rising.
        """
        root = _Node(Numbers(), 0, [1.0], [1.0], 0.0, 0.0, 0.0)
        self._walk(root, sizes)

    def _walk(self, node: _Node, sizes: Sequence[Sequence[int]]) -> None:
        choices = [size for size in sizes[0] if size > node.size]
        if not choices:
            return
        ahead = self._ahead(node, choices[-1])
        if len(sizes) == 1:
            self._finish(node, ahead, choices)
            return
        later = max(sizes[1], default=0)
        for size in choices:
            if size >= later:
                break
            for child in self._children(node, ahead, size):
                self._walk(child, sizes[1:])

    def _ahead(self, node: _Node, furthest: int) -> _Ahead:
        """Walk on tree by tree without stopping; counts beyond the cap are left out."""
        width = self.cap + 1 - node.lowest
        return _Ahead(
            self._spread(node, node.good, self.lots.good, furthest, width),
            self._spread(node, node.bad, self.lots.bad, furthest, width),
        )

    def _spread(
        self, node: _Node, live: Sequence[float], nonconforming: int, furthest: int, width: int
    ) -> list[list[float]]:
        chances = [*live, *([0.0] * (width - len(live)))][:width]
        bad_left = [max(0, nonconforming - node.lowest - place) for place in range(width)]
        sums = [list(accumulate(chances))]
        for seen in range(node.size, furthest):
            share = 1.0 / (self.lots.lot_size - seen)
            before = 0.0
            walked = []
            for chance, bad in zip(chances, bad_left, strict=True):
                found = chance * bad * share
                walked.append(chance - found + before)
                before = found
            chances = walked
            sums.append(list(accumulate(chances)))
        return sums

    def _children(self, node: _Node, ahead: _Ahead, size: int) -> Iterator[_Node]:
        """Choose the numbers of a wave within what is left of both risks."""
        step = size - node.size
        good, bad = ahead.good[step], ahead.bad[step]
        alive = sum(node.good)
        for accepted in self._acceptance_numbers(node, bad):
            passed = node.passed + _at(bad, accepted - node.lowest)
            for rejected in self._rejection_numbers(node, good, alive, accepted):
                numbers = node.numbers.then(size, accepted, rejected)
                inside = slice(accepted + 1 - node.lowest, rejected - node.lowest)
                live = _single(good)[inside]
                trees = node.trees + self._cost(node, ahead.good, size, accepted, rejected)
                if trees + self._together(sum(live)) >= self._limit:
                    continue
                yield _Node(
                    numbers,
                    accepted + 1,
                    live,
                    _single(bad)[inside],
                    node.sent_back + alive - _at(good, rejected - 1 - node.lowest),
                    passed,
                    trees,
                )

    def _acceptance_numbers(self, node: _Node, bad: Sequence[float]) -> Iterator[int]:
        """Yield the numbers that a bad lot passes seldom enough, the largest first."""
        room = self.lots.consumer_risk - node.passed + _NEAR
        number = node.lowest - 1
        while number < self.cap - 1 and _at(bad, number + 1 - node.lowest) <= room:
            number += 1
        while number >= node.lowest:
            yield number
            if _at(bad, number - node.lowest) < _WORTH_SPENDING * self.lots.consumer_risk:
                return
            number -= 1
        yield node.lowest - 1

    def _rejection_numbers(
        self, node: _Node, good: Sequence[float], alive: float, accepted: int
    ) -> Iterator[int]:
        """Yield the numbers that send a good lot back seldom enough, the smallest first."""
        room = self.lots.producer_risk - node.sent_back + _NEAR
        for number in range(max(accepted + 2, node.least_rejected), self.cap + 2):
            spent = alive - _at(good, number - 1 - node.lowest)
            if spent > room:
                continue
            yield number
            if spent < _WORTH_SPENDING * self.lots.producer_risk:
                return

    def _finish(self, node: _Node, ahead: _Ahead, choices: Sequence[int]) -> None:
        most_passed = self.lots.consumer_risk + _NEAR - node.passed
        least_kept = node.sent_back + sum(node.good) - self.lots.producer_risk - _NEAR
        least = max(node.lowest, node.least_rejected - 1)
        for size in choices:
            step = size - node.size
            good, bad = ahead.good[step], ahead.bad[step]
            for accepted in range(least, self.cap + 1):
                if bad[accepted - node.lowest] > most_passed:
                    break
                if good[accepted - node.lowest] < least_kept:
                    continue
                trees = node.trees + self._cost(node, ahead.good, size, accepted, accepted + 1)
                if trees >= self._limit:
                    continue
                numbers = node.numbers.then(size, accepted, accepted + 1)
                is_near = (
                    bad[accepted - node.lowest] > most_passed - 2 * _NEAR
                    or good[accepted - node.lowest] < least_kept + 2 * _NEAR
                )
                if not is_near or keeps_promises(numbers.as_plan(), self.lots):
                    self._keep(Found(trees, numbers))

    @property
    def _limit(self) -> float:
        return self.best[-1].trees if len(self.best) == self.kept else math.inf

    def _keep(self, found: Found) -> None:
        self.best.append(found)
        self.best.sort()
        del self.best[self.kept :]

    def _cost(
        self, node: _Node, good: list[list[float]], size: int, accepted: int, rejected: int
    ) -> float:
        """
        Return the trees expected within a wave.

        The walk goes on to a further tree while neither the rejection number is reached nor so
        few are nonconforming that the wave is sure to end in acceptance.
        """
        most = rejected - 1 - node.lowest
        least = accepted - (size - node.size) - node.lowest
        return sum(
            self._together(_at(sums, most) - _at(sums, least + step))
            for step, sums in enumerate(good[: size - node.size])
        )

    def _together(self, still_open: float) -> float:
        """Return the chance that any of the stages is open."""
        if self.stages == 1:
            return still_open
        return 1.0 - (1.0 - still_open) ** self.stages


def keeps_promises(plan: WavePlan, lots: Lots) -> bool:
    """
    Tell in whole numbers whether a plan keeps both promises.

    Parameters
    ----------
    plan : WavePlan
        The plan.
    lots : Lots
        What it must tell apart.

    Returns
    -------
    bool
        True if neither risk is exceeded.
    """
    accepting = count_endings(plan, curtailed=False).accepted
    passed = exact_chance(accepting, lots.bad, lots.lot_size)
    sent_back = 1 - exact_chance(accepting, lots.good, lots.lot_size)
    return passed <= as_written(lots.consumer_risk) and sent_back <= as_written(lots.producer_risk)


def _single(sums: Sequence[float]) -> list[float]:
    before = 0.0
    chances = []
    for total in sums:
        chances.append(total - before)
        before = total
    return chances


def _at(sums: Sequence[float], place: int) -> float:
    return sums[place] if place >= 0 else 0.0
