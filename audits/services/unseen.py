"""Who may see an audit's answers yet: those who are still to score the same trees may not."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from audits.errors import NotAllowed
from audits.messages import Message, say
from audits.records import Actor, Audit
from audits.services.standards import standard_of
from audits.storage.queries import audits as queries
from audits.storage.queries import check_trees as check_queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.check_trees import CheckLine
from audits.vocabulary import Purpose, Role


def require_sight(
    connection: sa.Connection, actor: Actor, found: Audit, now: datetime | None = None
) -> None:
    """
    Let nobody see answers on trees that they are still to score themselves, unseen.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    actor : Actor
        The signed-in person.
    found : Audit
        The audit whose answers are asked for.
    now : datetime or None, optional
        The present, by which a second audit that comes too late keeps nobody waiting.

    Raises
    ------
    NotAllowed
        If the answers are to stay unseen yet.
    """
    if not may_see(connection, actor, found, now):
        raise NotAllowed(
            say(
                "These trees are to be scored a second time by somebody who has not seen the "
                "answers. They show once that is done; the page Auditors says how it stands."
            )
        )


def require_sight_of_audit(
    connection: sa.Connection, actor: Actor, audit_id: int, now: datetime | None = None
) -> None:
    """
    Let no crew lead see answers on trees that they are still to score themselves, unseen.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    actor : Actor
        The signed-in person. Workers score nobody, so they see their own at once.
    audit_id : int
        The audit whose answers are asked for; one that is not there hides nothing.
    now : datetime or None, optional
        The present, by which a second audit that comes too late keeps nobody waiting.

    Raises
    ------
    NotAllowed
        If the answers are to stay unseen yet.
    """
    if actor.role is Role.WORKER:
        return
    found = queries.audit_by_id(connection, actor.farm_id, audit_id)
    if found is not None:
        require_sight(connection, actor, found, now)


def unseen_audits(
    connection: sa.Connection, actor: Actor, now: datetime | None = None
) -> frozenset[int]:
    """
    Return the audits whose answers a crew lead may not see yet.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    actor : Actor
        Who looks. Workers score nobody, so they see their own at once.
    now : datetime or None, optional
        The present, by which a second audit that comes too late keeps nobody waiting.

    Returns
    -------
    frozenset of int
        First audits that this person may still make a second time, unseen.
    """
    if actor.role is Role.WORKER:
        return frozenset()
    hidden = set()
    for check_id in check_queries.waiting_checks(connection, actor.farm_id):
        check = check_queries.double_check_by_id(connection, actor.farm_id, check_id)
        found = check and queries.audit_by_id(connection, actor.farm_id, check.audit_id)
        if found and not may_see(connection, actor, found, now):
            hidden.add(found.id)
    return frozenset(hidden)


def may_see(
    connection: sa.Connection, actor: Actor, found: Audit, now: datetime | None = None
) -> bool:
    """
    Tell whether somebody may see the answers of an audit.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    actor : Actor
        The signed-in person.
    found : Audit
        The audit.
    now : datetime or None, optional
        The present, by which a second audit that comes too late keeps nobody waiting.

    Returns
    -------
    bool
        False as long as the person has to score, or may score, the same trees unseen.
    """
    drawn = queries.draw_by_id(connection, actor.farm_id, found.draw_id)
    if drawn is None:
        return True
    if drawn.purpose is Purpose.CALIBRATION:
        return _may_see_in_walk(connection, actor, found)
    if drawn.purpose is Purpose.FIRST:
        return _may_see_beside_check(connection, actor, found, now)
    return True


def _may_see_in_walk(connection: sa.Connection, actor: Actor, found: Audit) -> bool:
    own = [
        one
        for one in queries.audits_of_draw(connection, actor.farm_id, found.draw_id)
        if one.auditor_id == actor.user_id
    ]
    begun = [one for one in own if one.sealed_at is None]
    walk = check_queries.calibration_of_draw(connection, actor.farm_id, found.draw_id)
    if walk is not None and walk.closed_at is not None:
        return True
    if found.auditor_id == actor.user_id:
        # In a second round nobody looks up what they said in the first.
        return not begun or found.sealed_at is None
    return bool(own) and not begun and found.sealed_at is not None


def _may_see_beside_check(
    connection: sa.Connection, actor: Actor, found: Audit, now: datetime | None
) -> bool:
    check = check_queries.double_check_of_draw(connection, actor.farm_id, found.draw_id)
    if check is None or found.auditor_id == actor.user_id or check.waived_at is not None:
        return True
    if check.check_audit_id == found.id:
        return found.sealed_at is not None
    if check.check_audit_id is not None:
        second = queries.audit_by_id(connection, actor.farm_id, check.check_audit_id)
        return second is None or second.sealed_at is not None or second.auditor_id != actor.user_id
    line = check_queries.check_lines(connection, actor.farm_id, check_id=check.id)[0]
    return now is not None and why_too_late(connection, actor.farm_id, line, now) is not None


def why_too_late(
    connection: sa.Connection, farm_id: int, line: CheckLine, now: datetime
) -> Message | None:
    """
    Say why the trees of an audit can no longer be judged a second time.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    line : CheckLine
        The audit that was chosen.
    now : datetime
        The present.

    Returns
    -------
    Message or None
        The reason in a sentence; None while there is time.
    """
    if line.reworked:
        return say("The rework has begun, so the trees are no longer as they were.")
    version = standard_queries.standard_by_id(connection, farm_id, line.standard_version_id)
    farm = farm_queries.farm_by_id(connection, farm_id)
    if version is None or farm is None:
        return None
    zone = ZoneInfo(farm.time_zone)
    days = standard_of(version).audit_within_days
    last_day = line.finished_at.astimezone(zone).date() + timedelta(days=days)
    if now.astimezone(zone).date() > last_day:
        return say("The days are over within which a row can be judged.")
    return None
