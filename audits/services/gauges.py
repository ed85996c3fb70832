"""Gauges of print batches: which may be used where a tree is scored, and why others may not."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import sqlalchemy as sa

from audits.errors import InvalidInput
from audits.gauges import BatchState, gauge_limits
from audits.messages import Message, say
from audits.records import Actor
from audits.scoring import GAUGE, TreeAnswers
from audits.services.access import require_crew_lead
from audits.services.farms import the_farm
from audits.services.printing import BatchView, batches_in, standing_of_block, usable_in
from audits.services.scorebook import Scorebook
from audits.standard import Standard
from audits.storage.database import Database

_STATE_REASONS: Final = {
    BatchState.UNCHECKED: say("its scale is not checked yet."),
    BatchState.FAILED: say("it did not pass its last check."),
    BatchState.CHECK_AGAIN: say("it is to be checked again this season."),
    BatchState.WITHDRAWN: say("it was withdrawn."),
}


class GaugeRefused(InvalidInput):
    """Answers name a gauge that may not be used; nothing was saved."""


@dataclass(frozen=True)
class UnusableGauge:
    """
    A gauge that was printed for a block and cannot be chosen.

    Parameters
    ----------
    batch : BatchView
        Its print batch.
    reason : Message
        Why not.
    """

    batch: BatchView
    reason: Message


@dataclass(frozen=True)
class GaugeChoice:
    """
    The gauges for measuring diameters on a block's trees.

    Parameters
    ----------
    usable : tuple of BatchView
        Those that can be chosen, the newest first.
    unusable : tuple of UnusableGauge
        Others that were printed for the block and that nobody has withdrawn, the newest first.
    """

    usable: tuple[BatchView, ...]
    unusable: tuple[UnusableGauge, ...] = ()


def gauge_choice(
    database: Database, actor: Actor, block_id: int, standard: Standard, now: datetime
) -> GaugeChoice:
    """
    Return which gauges can be chosen where trees of a block are scored by a standard.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        The auditor.
    block_id : int
        The block.
    standard : Standard
        The version by which its trees are scored.
    now : datetime
        The present.

    Returns
    -------
    GaugeChoice
        Checked gauges with the limits of that standard, from whatever block, and what was printed
        for this block besides.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    asked = gauge_limits(standard)
    with database.read() as connection:
        farm = the_farm(connection, actor.farm_id)
        usable = serving(usable_in(connection, farm, now), standard)
        chosen = {batch.number for batch in usable}
        return GaugeChoice(
            tuple(usable),
            tuple(
                UnusableGauge(batch, _why_not(batch, fits=batch.limits.serves(asked)))
                for batch in standing_of_block(connection, farm, block_id, now)
                if batch.number not in chosen
            ),
        )


def serving(batches: Iterable[BatchView], standard: Standard) -> list[BatchView]:
    """
    Return the batches whose gauges show the limits of a standard.

    Parameters
    ----------
    batches : Iterable of BatchView
        Those that may be used on the farm.
    standard : Standard
        The version by which trees are scored.

    Returns
    -------
    list of BatchView
        In the same order.
    """
    asked = gauge_limits(standard)
    return [batch for batch in batches if batch.limits.serves(asked)]


def refuse_unusable_gauges(
    connection: sa.Connection,
    book: Scorebook,
    entered: Iterable[tuple[TreeAnswers, TreeAnswers | None]],
    now: datetime,
    *,
    decided: bool = False,
) -> None:
    """
    Refuse answers that name a gauge which may not be used.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    book : Scorebook
        The audit.
    entered : Iterable of tuple of TreeAnswers and TreeAnswers or None
        The answers on each tree, and those kept of it before: measures that are kept as they were
        keep their gauge, whatever has become of it since.
    now : datetime
        The present.
    decided : bool, optional
        Whether a person has decided that the measures count all the same; then the gauge must only
        be one of the farm's.

    Raises
    ------
    GaugeRefused
        If a gauge may not be used; under the name of the answers' field.
    """
    named = {
        answers.gauge
        for answers, kept in entered
        if answers.gauge is not None and not _measured_before(answers, kept)
    }
    if not named:
        return
    asked = gauge_limits(book.standard)
    known = {batch.number: batch for batch in batches_in(connection, book.farm, list(named), now)}
    for number in sorted(named):
        batch = known.get(number)
        if batch is None:
            raise GaugeRefused(
                {GAUGE: say("There is no print batch %(batch)s.", batch=f"B{number}")}
            )
        fits = batch.limits.serves(asked)
        if not decided and not (batch.is_usable and fits):
            raise GaugeRefused(
                {
                    GAUGE: say(
                        "The gauge %(batch)s cannot be used here: %(reason)s Choose another, or a"
                        " caliper.",
                        batch=f"B{number}",
                        reason=_why_not(batch, fits=fits),
                    )
                }
            )


def _measured_before(answers: TreeAnswers, kept: TreeAnswers | None) -> bool:
    return (
        kept is not None
        and kept.gauge == answers.gauge
        and kept.diameters_mm == answers.diameters_mm
    )


def _why_not(batch: BatchView, *, fits: bool) -> Message:
    if not fits and batch.state is not BatchState.WITHDRAWN:
        return say(
            "it shows other limits than the standard of these trees (version %(version)s of"
            " %(block)s).",
            version=batch.version,
            block=batch.block,
        )
    return _STATE_REASONS[batch.state]
