"""Who was given which safety brief, and until when it holds."""

from collections.abc import Collection
from datetime import date

import sqlalchemy as sa

from audits.records import SafetyBriefing
from audits.storage.queries.fetch import columns_of, fetch_all, fetch_by_id
from audits.storage.tables import safety_briefing
from audits.vocabulary import Method


def briefing_by_id(
    connection: sa.Connection, farm_id: int, briefing_id: int
) -> SafetyBriefing | None:
    """Return one note of a brief, withdrawn or not; or None."""
    return fetch_by_id(connection, safety_briefing, SafetyBriefing, farm_id, briefing_id)


def briefings(
    connection: sa.Connection, farm_id: int, worker_ids: Collection[int] | None = None
) -> list[SafetyBriefing]:
    """Return the briefs that were not withdrawn, the latest first; of everybody or of some."""
    statement = _noted(farm_id)
    if worker_ids is not None:
        statement = statement.where(safety_briefing.c.worker_id.in_(list(worker_ids)))
    return fetch_all(connection, statement, SafetyBriefing)


def briefings_in_force(
    connection: sa.Connection, farm_id: int, methods: Collection[Method], day: date
) -> list[SafetyBriefing]:
    """Return the briefs of some methods that hold on a day, the latest first."""
    return fetch_all(
        connection,
        _noted(farm_id).where(
            safety_briefing.c.method.in_(list(methods)),
            safety_briefing.c.held_on <= day,
            safety_briefing.c.holds_until >= day,
        ),
        SafetyBriefing,
    )


def _noted(farm_id: int) -> sa.Select[tuple[object, ...]]:
    return (
        sa.select(*columns_of(safety_briefing, SafetyBriefing))
        .where(safety_briefing.c.farm_id == farm_id, safety_briefing.c.withdrawn_at.is_(None))
        .order_by(safety_briefing.c.held_on.desc(), safety_briefing.c.id.desc())
    )
