"""Run lengths of charts of points with run rules, by a chain of what the rules remember."""

import math
from collections.abc import Callable, Hashable, Iterable, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Final, NamedTuple

from audits.control.run_lengths.absorbing import mean_steps
from audits.control.run_rules import RunRule
from audits.control.shewhart import finite

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

# A point is known by the whole number of sigmas that it is beyond, and by its side: -4 stands for
# beyond 3 sigma below, -1 for less than 1 sigma below, 1 for less than 1 sigma above, 4 for beyond
# 3 sigma above.
_ZONES: Final = (-4, -3, -2, -1, 1, 2, 3, 4)
_EDGES: Final = (-math.inf, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, math.inf)

# What a rule remembers after a zone, given what it remembered; None once it signals.
_Step = Callable[[Hashable, int], Hashable | None]


class _Chain(NamedTuple):
    """For each state and zone the next state, or -1 for a signal."""

    following: tuple[tuple[int, ...], ...]


def arl_run_rules(rules: Iterable[RunRule], shift: float = 0.0) -> float | None:
    """
    Return the average run length of a chart of normal points with run rules.

    Parameters
    ----------
    rules : Iterable of RunRule
        At least one rule that goes by zones of one sigma; the chart signals with the first.
    shift : float, optional
        How far the true mean lies from the centre line, in standard deviations.

    Returns
    -------
    float or None
        Mean number of points up to the signal; None if it is longer than a float can tell.

    Raises
    ------
    ValueError
        If no rule is given, or one that goes by differences between points.

    References
    ----------
    .. [1] C. W. Champ, W. H. Woodall, Exact results for Shewhart control charts with
       supplementary runs rules, Technometrics 29 (1987), 393-399.

    Examples
    --------
    >>> round(arl_run_rules([RunRule.BEYOND_3S]), 1)
    370.4
    >>> from audits.control.run_rules import WESTERN_ELECTRIC_RULES
    >>> round(arl_run_rules(WESTERN_ELECTRIC_RULES), 2)
    91.75
    """
    finite("shift", [shift])
    wanted = frozenset(map(RunRule, rules))
    if not wanted:
        raise ValueError("rules must name one at least")
    for rule in wanted:
        if rule not in _STEPS:
            raise ValueError(f"rules must go by zones, not {rule}")
    return _arl(wanted, shift)


@lru_cache(maxsize=256)
def _arl(rules: frozenset[RunRule], shift: float) -> float | None:
    import numpy as np  # noqa: PLC0415 - keeps starting the app light

    chances = _zone_chances(shift)
    following = np.array(_chain(rules).following)
    moves = np.zeros((len(following), len(following)))
    leaving = np.zeros(len(following))
    for zone, chance in enumerate(chances):
        after = following[:, zone]
        goes_on = after >= 0
        moves[np.flatnonzero(goes_on), after[goes_on]] += chance
        leaving[~goes_on] += chance
    steps: NDArray[float64] | None = mean_steps(moves, leaving)
    return None if steps is None else float(steps[0])


def _zone_chances(shift: float) -> list[float]:
    # Each zone from the tail that is nearer, so that far zones keep their places.
    def below(edge: float) -> float:
        return math.erfc((shift - edge) / math.sqrt(2)) / 2

    def above(edge: float) -> float:
        return math.erfc((edge - shift) / math.sqrt(2)) / 2

    return [
        below(high) - below(low) if low < shift else above(low) - above(high)
        for low, high in pairwise(_EDGES)
    ]


@lru_cache(maxsize=64)
def _chain(rules: frozenset[RunRule]) -> _Chain:
    """Find all that the rules can remember together, beginning with nothing."""
    steps = [_STEPS[rule] for rule in sorted(rules)]
    numbers: dict[tuple[Hashable, ...], int] = {((),) * len(steps): 0}
    waiting = list(numbers)
    following = []
    for state in waiting:
        row = []
        for zone in _ZONES:
            after = _after(steps, state, zone)
            if after is not None and after not in numbers:
                numbers[after] = len(numbers)
                waiting.append(after)
            row.append(-1 if after is None else numbers[after])
        following.append(tuple(row))
    return _Chain(_merged(following))


def _after(
    steps: Sequence[_Step], state: tuple[Hashable, ...], zone: int
) -> tuple[Hashable, ...] | None:
    parts = []
    for step, memory in zip(steps, state, strict=True):
        part = step(memory, zone)
        if part is None:
            return None
        parts.append(part)
    return tuple(parts)


def _merged(following: Sequence[tuple[int, ...]]) -> tuple[tuple[int, ...], ...]:
    """Put together states from which all goes on alike (Moore's algorithm)."""
    classes = [0] * len(following)
    while True:
        signatures = [
            (classes[state], *(after if after < 0 else classes[after] for after in row))
            for state, row in enumerate(following)
        ]
        # In order of first appearance, so that the first state stays the first.
        numbers = {signature: place for place, signature in enumerate(dict.fromkeys(signatures))}
        refined = [numbers[signature] for signature in signatures]
        if len(numbers) == len(set(classes)):
            break
        classes = refined
    first_of = {number: state for state, number in reversed(list(enumerate(classes)))}
    return tuple(
        tuple(after if after < 0 else classes[after] for after in following[first_of[number]])
        for number in range(len(first_of))
    )


def _some_of_window(needed: int, window: int, beyond: int) -> _Step:
    """Remember of the last points those beyond, on which side, and how long ago."""

    def step(memory: Hashable, zone: int) -> Hashable | None:
        past = memory if isinstance(memory, tuple) else ()
        side = (zone > beyond) - (zone < -beyond)
        recent = (*past, side)[-window:]
        if side and recent.count(side) >= needed:
            return None
        return recent[-(window - 1) :] if window > 1 else ()

    return step


def _unbroken(needed: int, side_of: Callable[[int], int]) -> _Step:
    def step(memory: Hashable, zone: int) -> Hashable | None:
        last, run = memory if isinstance(memory, tuple) and memory else (0, 0)
        side = side_of(zone)
        run = 0 if side == 0 else run + 1 if side == last else 1
        return None if run >= needed else (side, run)

    return step


def _both_sides(memory: Hashable, zone: int) -> Hashable | None:
    side, run, streak = memory if isinstance(memory, tuple) and memory else (0, 0, 0)
    if abs(zone) == 1:
        return (0, 0, 0)
    now = 1 if zone > 0 else -1
    run, streak = min(run + 1, _EIGHT), min(streak + 1 if now == side else 1, _EIGHT)
    return None if run == _EIGHT and streak < _EIGHT else (now, run, streak)


_EIGHT: Final = 8
_STEPS: Final[dict[RunRule, _Step]] = {
    RunRule.BEYOND_3S: _some_of_window(1, 1, 3),
    RunRule.TWO_OF_THREE_BEYOND_2S: _some_of_window(2, 3, 2),
    RunRule.FOUR_OF_FIVE_BEYOND_1S: _some_of_window(4, 5, 1),
    RunRule.EIGHT_SAME_SIDE: _unbroken(8, lambda zone: 1 if zone > 0 else -1),
    RunRule.NINE_SAME_SIDE: _unbroken(9, lambda zone: 1 if zone > 0 else -1),
    RunRule.FIFTEEN_WITHIN_1S: _unbroken(15, lambda zone: int(abs(zone) == 1)),
    RunRule.EIGHT_BEYOND_1S_BOTH_SIDES: _both_sides,
}
