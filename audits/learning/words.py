"""What learning results come to, in one sentence each; no figure without its number and range."""

import math
from collections.abc import Mapping
from typing import Final

from audits.estimates import LEAST_TREES_FOR_A_RANGE, wilson
from audits.learning.association import LEAST_WORKERS, Bearing
from audits.learning.curves import LearningFit
from audits.learning.days_to_standard import TimeToStandard, TwoSeasons
from audits.messages import Message, Share, say, say_n
from audits.vocabulary import STAGE_NAMES, Stage

# Above this chance, two seasons are not called different.
_CHANCE: Final = 0.05
# With fewer people a median is one person's days, and the test of two seasons knows nothing.
LEAST_LEARNERS: Final = 5


def share_right(right: int, done: int) -> Message:
    """
    Say how many of some questions or drawn trees were right.

    Parameters
    ----------
    right : int
        How many were right.
    done : int
        How many were done.

    Returns
    -------
    Message
        Only the counts: what was practised was chosen from what went wrong before, so its share
        is no measure of a person.
    """
    if done == 0:
        return say("none yet")
    return say("%(right)s of %(done)s right", right=right, done=done)


def row_sentence(right: int, due: int) -> Message:
    """
    Say how many audited trees were right.

    Parameters
    ----------
    right : int
        Due trees that were right.
    due : int
        Due trees.

    Returns
    -------
    Message
        Counts, from ten trees on with Wilson's range; nothing is compared here.
    """
    if due < LEAST_TREES_FOR_A_RANGE:
        return share_right(right, due)
    wrong = wilson(due - right, due)
    return say(
        "%(right)s of %(due)s trees right, could be %(lower)s to %(upper)s in 100",
        right=right,
        due=due,
        lower=math.floor(100 * (1 - wrong.upper)),
        upper=math.ceil(100 * (1 - wrong.lower)),
    )


def curve_sentence(trees: int, faults: int, fit: LearningFit | None) -> Message:
    """
    Say how faults change with experience.

    Parameters
    ----------
    trees : int
        Due trees since the first audited one.
    faults : int
        How many of them were nonconforming.
    fit : LearningFit or None
        The curve, if there is one.

    Returns
    -------
    Message
        The rate with its range, and only beyond chance that faults get fewer or more.
    """
    if fit is None:
        return say_n(
            "%(faults)s wrong in %(count)s audited tree: too few for a learning curve.",
            "%(faults)s wrong in %(count)s audited trees: too few for a learning curve.",
            trees,
            faults=faults,
        )
    values = {
        "rate": Share(fit.rate),
        "lower": Share(fit.interval[0]),
        "upper": Share(fit.interval[1]),
        "trees": trees,
    }
    if fit.falls:
        return say(
            "Faults get fewer: after twice as many trees %(rate)s of them are left, could be "
            "%(lower)s to %(upper)s (%(trees)s audited trees).",
            **values,
        )
    if fit.rises:
        return say(
            "Faults get more with the trees: after twice as many %(rate)s, could be %(lower)s to "
            "%(upper)s (%(trees)s audited trees).",
            **values,
        )
    return say(
        "Chance alone could explain any change with the trees: after twice as many %(rate)s of "
        "the faults, could be %(lower)s to %(upper)s (%(trees)s audited trees).",
        **values,
    )


def bearing_sentences(found: Mapping[Stage, Bearing]) -> list[Message]:
    """
    Say for which stages a learning result goes with the row.

    Parameters
    ----------
    found : Mapping of Stage to Bearing
        What was found, by stage.

    Returns
    -------
    list of Message
        One or more sentences, over all stages together.
    """
    same, other, unknown = (
        [say(STAGE_NAMES[stage]) for stage, bearing in found.items() if bearing is wanted]
        for wanted in (Bearing.SAME_WAY, Bearing.OTHER_WAY, Bearing.UNKNOWN)
    )
    if not same and not other:
        return [
            say(
                "So far it says nothing certain about the row: it takes at least %(workers)s "
                "people, and more where few questions and trees stand behind each.",
                workers=LEAST_WORKERS,
            )
        ]
    parts = []
    if same:
        parts.append(
            say(
                "Who does better here also leaves fewer faults in the row: %(stages)s.",
                stages=listed(same),
            )
        )
    if other:
        parts.append(
            say(
                "Who does better here leaves more faults in the row: %(stages)s. Look at the "
                "questions.",
                stages=listed(other),
            )
        )
    if unknown:
        parts.append(say("It says nothing certain about: %(stages)s.", stages=listed(unknown)))
    return parts


def days_sentence(found: TimeToStandard) -> Message:
    """
    Say how long learners took.

    Parameters
    ----------
    found : TimeToStandard
        The estimate of one season.

    Returns
    -------
    Message
        The median with its range, or the counts where people are few or less than half arrived.
    """
    if found.people == 0:
        return say("Nobody began to learn this stage.")
    if found.people < LEAST_LEARNERS or found.median is None:
        return say_n(
            "%(arrived)s of %(count)s learner met the rule so far.",
            "%(arrived)s of %(count)s learners met the rule so far.",
            found.people,
            arrived=found.arrived,
        )
    lower, upper = found.median_interval
    values = {
        "days": math.ceil(found.median),
        "arrived": found.arrived,
        "people": found.people,
        "lower": math.ceil(lower if lower is not None else found.median),
    }
    if upper is None:
        return say(
            "Half met the rule within %(days)s days, could be %(lower)s or many more "
            "(%(arrived)s of %(people)s learners so far).",
            **values,
        )
    return say(
        "Half met the rule within %(days)s days, could be %(lower)s to %(upper)s "
        "(%(arrived)s of %(people)s learners so far).",
        upper=math.ceil(upper),
        **values,
    )


def seasons_sentence(
    now: TimeToStandard, before: TimeToStandard, test: TwoSeasons | None
) -> Message:
    """
    Say whether learners are faster or slower than in the season before.

    Parameters
    ----------
    now, before : TimeToStandard
        This season's and the last one's learners.
    test : TwoSeasons or None
        The log-rank test, this season first.

    Returns
    -------
    Message
        A difference only beyond chance.
    """
    if min(now.people, before.people) < LEAST_LEARNERS or test is None:
        return say(
            "Too few learners to compare with the season before: it takes %(people)s in each.",
            people=LEAST_LEARNERS,
        )
    if test.p_value >= _CHANCE:
        return say("No difference from the season before that chance would not explain.")
    if test.seen > test.expected:
        return say("Faster than in the season before, by more than chance explains.")
    return say("Slower than in the season before, by more than chance explains.")


def listed(names: list[Message]) -> Message:
    """
    Write names one after another.

    Parameters
    ----------
    names : list of Message
        At least one.

    Returns
    -------
    Message
        The names with commas.
    """
    found = names[0]
    for name in names[1:]:
        found = say("%(before)s, %(after)s", before=found, after=name)
    return found
