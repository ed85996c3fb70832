"""
How a stage went over a season, week by week: the farm, and crews large enough to be shown.

Weeks are sums of all first audits, people's and the crews' together; nobody is named.
"""

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from audits.comparison.reasons import NO_FIT_SENTENCES
from audits.comparison.trend_tests import mann_kendall, mann_kendall_exact, pettitt, sen_slope
from audits.estimates import (
    LEAST_TREES_FOR_A_RANGE,
    LEAST_TREES_TO_COMPARE,
    newcombe_difference,
)
from audits.messages import Message, Rounded, say, say_n
from audits.services.trends import LEAST_PEOPLE_OF_A_CREW
from audits.storage.queries.comparing import ComparedLine

_LEAST_WEEKS: Final = 3
_LEAST_RANKED_WEEKS: Final = 5
# Below so many different figures the law of ranks is counted instead of approximated.
_EXACT_BELOW: Final = 10
_CHANCE: Final = 0.05
# Beyond this, odds say nothing to anybody.
_LARGEST_LOGIT: Final = 7.0


@dataclass(frozen=True)
class Week:
    """
    A week's sums.

    Parameters
    ----------
    monday : date
        Its first day.
    nonconforming, due : int
        Nonconforming and due trees.
    """

    monday: date
    nonconforming: int
    due: int


@dataclass(frozen=True)
class WeeklyCourse:
    """
    How the farm or a crew went.

    Parameters
    ----------
    name : str
        The crew; empty for the whole farm.
    weeks : tuple of Week
        Weeks with due trees, in order; empty for a crew of fewer than 5 people.
    sentences : tuple of Message
        What may be said.
    """

    name: str
    weeks: tuple[Week, ...]
    sentences: tuple[Message, ...]


def courses_of_season(
    lines: Sequence[ComparedLine], crews: Mapping[int, tuple[str, int]]
) -> tuple[WeeklyCourse, ...]:
    """
    Say how the farm and its crews went.

    Parameters
    ----------
    lines : Sequence of ComparedLine
        Lines of one stage, people's and crews'.
    crews : Mapping of int to (str, int)
        Name and number of people of each crew, by its id, in order of name.

    Returns
    -------
    tuple of WeeklyCourse
        The farm, then each crew by name if there are several.
    """
    if not lines:
        return ()
    by_crew: dict[int, list[ComparedLine]] = defaultdict(list)
    for line in lines:
        by_crew[line.crew_id].append(line)
    courses = [_course("", lines)]
    if len(by_crew) > 1:
        for crew_id, (name, people) in crews.items():
            if crew_id not in by_crew:
                continue
            if people < LEAST_PEOPLE_OF_A_CREW:
                few = say("The crew has fewer than 5 people, so its figures are not shown.")
                courses.append(WeeklyCourse(name, (), (few,)))
            else:
                courses.append(_course(name, by_crew[crew_id]))
    return tuple(courses)


def weeks_of(lines: Iterable[ComparedLine]) -> tuple[Week, ...]:
    """
    Add lines up by week.

    Parameters
    ----------
    lines : Iterable of ComparedLine
        The lines.

    Returns
    -------
    tuple of Week
        Weeks with due trees, in order.
    """
    sums: dict[date, list[int]] = defaultdict(lambda: [0, 0])
    for line in lines:
        week = sums[line.scored_on - timedelta(days=line.scored_on.weekday())]
        week[0] += line.nonconforming
        week[1] += line.due
    return tuple(Week(monday, *sums[monday]) for monday in sorted(sums))


def _course(name: str, lines: Iterable[ComparedLine]) -> WeeklyCourse:
    weeks = weeks_of(lines)
    return WeeklyCourse(name, weeks, tuple(_sentences(weeks)))


def _sentences(weeks: Sequence[Week]) -> list[Message]:
    due = sum(week.due for week in weeks)
    nonconforming = sum(week.nonconforming for week in weeks)
    if due < LEAST_TREES_TO_COMPARE or len(weeks) < _LEAST_WEEKS:
        return [
            say_n(
                "%(trees)s trees in %(count)s week: too few to see a course.",
                "%(trees)s trees in %(count)s weeks: too few to see a course.",
                len(weeks),
                trees=due,
            )
        ]
    if nonconforming in {0, due}:
        text = say("No fault was found.") if not nonconforming else say("Every tree had a fault.")
        return [text, say("So there is no course to see (%(trees)s trees).", trees=due)]
    # Weeks of few trees swing by chance; their trees count in the first sentence only.
    full = [week for week in weeks if week.due >= LEAST_TREES_FOR_A_RANGE]
    found = [_odds(weeks, due)]
    if len(full) < _LEAST_RANKED_WEEKS:
        few = say_n(
            "%(count)s week of at least 10 trees: too few to look for a steady course.",
            "%(count)s weeks of at least 10 trees: too few to look for a steady course.",
            len(full),
        )
        return [*found, few]
    return [*found, _slope(full), _change(full)]


def _odds(weeks: Sequence[Week], due: int) -> Message:
    """Compare the end of the season with its beginning, by a regression on the week."""
    from audits.comparison.regression import (  # noqa: PLC0415 - loads numpy
        BinomialRegression,
        binomial_regression,
    )

    fit = binomial_regression(
        [week.nonconforming for week in weeks],
        [week.due for week in weeks],
        {"week": _numbers(weeks)},
    )
    if not isinstance(fit, BinomialRegression):
        return NO_FIT_SENTENCES[fit]
    span = _numbers(weeks)[-1]
    a_week = fit.coefficients[1]
    lower, upper = (math.exp(_within(limit * span)) for limit in a_week.interval())
    values = {
        "times": _two_figures(math.exp(_within(a_week.value * span)), round),
        "lower": _two_figures(lower, math.floor),
        "upper": _two_figures(upper, math.ceil),
        "trees": due,
        "weeks": len(weeks),
    }
    if lower > 1:
        return say(
            "Faults became more common: their odds at the end were about %(times)s times those at "
            "the beginning, could be %(lower)s to %(upper)s times (%(trees)s trees in %(weeks)s "
            "weeks).",
            **values,
        )
    if upper < 1:
        return say(
            "Faults became rarer: their odds at the end were about %(times)s times those at the "
            "beginning, could be %(lower)s to %(upper)s times (%(trees)s trees in %(weeks)s "
            "weeks).",
            **values,
        )
    return say(
        "From beginning to end nothing beyond chance: at the end the odds of a fault were about "
        "%(times)s times those at the beginning, could be %(lower)s to %(upper)s times (%(trees)s "
        "trees in %(weeks)s weeks).",
        **values,
    )


def _two_figures(value: float, towards: Callable[[float], int]) -> Rounded:
    """Keep the two leading figures of a ratio; more would promise what no range holds."""
    decimals = min(max(0, 1 - math.floor(math.log10(value))), 2)
    return Rounded(towards(value * 10**decimals) / 10**decimals, decimals)


def _slope(weeks: Sequence[Week]) -> Message:
    """Say how the rate goes from week to week, whatever a few wild weeks do."""
    rates = [100 * week.nonconforming / week.due for week in weeks]
    trend, line = mann_kendall(rates), sen_slope(rates, _numbers(weeks))
    if trend is None or line is None or trend.p_value is None:
        return say_n(
            "All %(count)s week had the same rate.",
            "All %(count)s weeks had the same rate.",
            len(weeks),
        )
    p_value = trend.p_value
    if len(set(rates)) == len(rates) < _EXACT_BELOW:
        p_value = min(1.0, 2 * mann_kendall_exact(len(rates), abs(trend.s)))
    if p_value >= _CHANCE or line.interval.lower <= 0 <= line.interval.upper:
        return say(
            "Week by week nothing beyond chance: the rate changes by about %(change)s in 100 a "
            "week, could be %(lower)s to %(upper)s (%(weeks)s weeks).",
            **_rounded(line.slope, *line.interval),
            weeks=len(weeks),
        )
    if line.slope > 0:
        return say(
            "Week by week the rate rose: about %(change)s in 100 more each week, could be "
            "%(lower)s to %(upper)s more (%(weeks)s weeks).",
            **_rounded(line.slope, *line.interval),
            weeks=len(weeks),
        )
    return say(
        "Week by week the rate fell: about %(change)s in 100 fewer each week, could be "
        "%(lower)s to %(upper)s fewer (%(weeks)s weeks).",
        **_rounded(-line.slope, -line.interval.upper, -line.interval.lower),
        weeks=len(weeks),
    )


def _rounded(change: float, lower: float, upper: float) -> dict[str, Rounded]:
    """Round to tenths, the limits outwards."""
    return {
        "change": Rounded(change),
        "lower": Rounded(math.floor(10 * lower) / 10),
        "upper": Rounded(math.ceil(10 * upper) / 10),
    }


def _change(weeks: Sequence[Week]) -> Message:
    """Say whether the rate changed its level at one week."""
    change = pettitt([week.nonconforming / week.due for week in weeks])
    if change is None or change.p_value >= _CHANCE:
        return say_n(
            "No week stands out at which the rate changed (%(count)s week).",
            "No week stands out at which the rate changed (%(count)s weeks).",
            len(weeks),
        )
    before, after = weeks[: change.after], weeks[change.after :]
    found, due = _sums(after)
    found_before, due_before = _sums(before)
    difference = newcombe_difference(found, due, found_before, due_before)
    return say(
        "The rate changed from the week of %(monday)s on: from %(before)s in 100 (%(due_before)s "
        "trees) to %(after)s in 100 (%(due)s trees), a difference of %(lower)s to %(upper)s.",
        monday=after[0].monday,
        before=Rounded(100 * found_before / due_before),
        due_before=due_before,
        after=Rounded(100 * found / due),
        due=due,
        lower=Rounded(math.floor(1000 * difference.lower) / 10),
        upper=Rounded(math.ceil(1000 * difference.upper) / 10),
    )


def _sums(weeks: Sequence[Week]) -> tuple[int, int]:
    return sum(week.nonconforming for week in weeks), sum(week.due for week in weeks)


def _numbers(weeks: Sequence[Week]) -> list[float]:
    """Count weeks from the first on; weeks without work leave a gap."""
    return [(week.monday - weeks[0].monday).days / 7 for week in weeks]


def _within(logit: float) -> float:
    return min(max(logit, -_LARGEST_LOGIT), _LARGEST_LOGIT)
