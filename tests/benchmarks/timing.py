"""Times of several ways of doing the same, taken in turn so that a busy moment hits all alike."""

import time
from collections.abc import Callable, Hashable, Mapping
from typing import NamedTuple, TypeVar

Name = TypeVar("Name", bound=Hashable)


class Line(NamedTuple):
    """One line of the table: ours against a baseline, and the ratio that is wanted."""

    what: str
    ours_s: float
    baseline_s: float
    wanted: str
    is_met: bool

    @property
    def ratio(self) -> float:
        return self.ours_s / self.baseline_s


def at_most(what: str, ours_s: float, baseline_s: float, times: float) -> Line:
    """Ours may take so many times as long as the baseline."""
    return Line(what, ours_s, baseline_s, f"<= {times:g}", ours_s <= times * baseline_s)


def at_least_faster(what: str, ours_s: float, baseline_s: float, times: float) -> Line:
    """Ours must be so many times as fast as the baseline."""
    return Line(what, ours_s, baseline_s, f"<= 1/{times:g}", ours_s * times <= baseline_s)


def for_the_record(what: str, ours_s: float, baseline_s: float) -> Line:
    """A ratio that nothing depends on."""
    return Line(what, ours_s, baseline_s, "", is_met=True)


def take_turns(
    ways: Mapping[Name, Callable[[], object]],
    *,
    rounds: int,
    before_each: Callable[[], object] = lambda: None,
) -> dict[Name, float]:
    """
    Return the least time of each way in seconds, one call a round.

    Whatever a call takes above its least time is the machine's doing, not its own.
    `before_each` is called, untimed, ahead of every call, such as to empty caches.
    """
    times: dict[Name, list[float]] = {name: [] for name in ways}
    for _ in range(rounds):
        for name, way in ways.items():
            before_each()
            start = time.perf_counter()
            way()
            times[name].append(time.perf_counter() - start)
    return {name: min(taken) for name, taken in times.items()}
