"""
How many lots of a crew are audited where plans never switch.

A wave plan keeps its promises for every lot it is used on, so that a good history can only save
whole lots: a crew with five accepted lots in a row is audited one lot in three, and every lot again
after one that was not accepted. Each lot is chosen at random on its own, so that nobody can know
beforehand which lot is passed over. The idea is that of skip-lot sampling; the numbers are this
project's own.

References
----------
.. [1] H. F. Dodge, Skip-lot sampling plan, Industrial Quality Control 11, 1955.
.. [2] ISO 2859-3, skip-lot sampling procedures, whose qualification of suppliers is stricter.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from audits.errors import InvalidInput
from audits.messages import Message, mark, say
from audits.sampling.inputs import TypedNumber
from audits.vocabulary import Effort

ACCEPTED_FOR_FEWER_AUDITS: Final = 5

EFFORT_REASONS: Final = {
    Effort.EVERY_LOT: mark("Every lot is audited until five in a row are accepted."),
    Effort.ONE_IN_THREE: mark(
        "Five lots in a row were accepted: one lot in three is audited, chosen at random."
    ),
}

_SHARE_AUDITED: Final = 1 / 3


@dataclass(frozen=True)
class EffortState:
    """
    How many of a crew's next lots are audited, and why.

    Parameters
    ----------
    effort : Effort
        Every lot, or one in three.
    reason : Message
        What brought it about, in a sentence.
    accepted_in_a_row : int
        Lots accepted since the last one that was not, counting only lots that were audited.
    """

    effort: Effort
    reason: Message
    accepted_in_a_row: int


def audit_effort(history: Iterable[bool | None]) -> EffortState:
    """
    Return how many of a crew's next lots are audited, and why.

    Parameters
    ----------
    history : iterable of bool or None
        One value per lot of the crew, oldest first: whether it was accepted at its first audit,
        None for a lot passed over. Lots passed over neither break a run nor add to it.

    Returns
    -------
    EffortState
        The effort from the next lot on.

    Examples
    --------
    >>> audit_effort([True, True, True, True, True, None, None, True]).effort
    <Effort.ONE_IN_THREE: 'one_in_three'>
    >>> str(audit_effort([True] * 5 + [False, True]).reason)
    'A lot was not accepted: every lot is audited until five in a row are accepted.'
    """
    run = 0
    any_refused = False
    for is_accepted in history:
        if is_accepted is None:
            continue
        run = run + 1 if is_accepted else 0
        any_refused = any_refused or not is_accepted
    if run >= ACCEPTED_FOR_FEWER_AUDITS:
        return EffortState(Effort.ONE_IN_THREE, say(EFFORT_REASONS[Effort.ONE_IN_THREE]), run)
    if any_refused:
        reason = say(
            "A lot was not accepted: every lot is audited until five in a row are accepted."
        )
    else:
        reason = say(EFFORT_REASONS[Effort.EVERY_LOT])
    return EffortState(Effort.EVERY_LOT, reason, run)


def is_lot_audited(effort: Effort, chance: float) -> bool:
    """
    Decide at random whether a lot is audited.

    Parameters
    ----------
    effort : Effort
        How many of the crew's lots are audited.
    chance : float
        A random number for this lot alone, every value in [0, 1) as likely as any other. Kept
        with the lot, it lets the choice be checked later.

    Returns
    -------
    bool
        Always True for every lot; True for one lot in three in the long run.

    Raises
    ------
    InvalidInput
        If the number lies outside [0, 1).

    Examples
    --------
    >>> is_lot_audited(Effort.ONE_IN_THREE, 0.2), is_lot_audited(Effort.ONE_IN_THREE, 0.5)
    (True, False)
    """
    if not 0.0 <= chance < 1.0:
        raise InvalidInput(
            {
                "chance": say(
                    "The random number must be at least 0 and below 1; %(value)s is not.",
                    value=TypedNumber(chance),
                )
            }
        )
    return effort is Effort.EVERY_LOT or chance < _SHARE_AUDITED
