"""Lots: which rows are accepted together, and where a lot goes after its audit."""

from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from audits.vocabulary import MENDABLE_FAULTS, Fault, LotState, Outcome, Stage

# With more people on the crew, a row is done in minutes and a half-day is the better lot.
MOST_WORKERS_FOR_ROW_LOTS: Final = 8
_NOON: Final = 12


def half_day(moment: datetime, time_zone: str) -> tuple[date, bool]:
    """
    Return the half-day in which a row was finished.

    Parameters
    ----------
    moment : datetime
        The instant, with its zone.
    time_zone : str
        Name of the farm's time zone, such as ``"America/New_York"``.

    Returns
    -------
    tuple of date and bool
        The farm's day, and whether it was noon or later.

    Examples
    --------
    >>> from datetime import UTC
    >>> half_day(datetime(2026, 1, 20, 18, 0, tzinfo=UTC), "America/New_York")
    (datetime.date(2026, 1, 20), True)
    """
    local = moment.astimezone(ZoneInfo(time_zone))
    return local.date(), local.hour >= _NOON


def reserve_size(sample_size: int) -> int:
    """
    Return how many reserve trees a draw keeps for positions that turn out not to be a tree.

    Parameters
    ----------
    sample_size : int
        Trees of the sample.

    Returns
    -------
    int
        A quarter of the sample, at least 6 (common practice, no source).
    """
    return max(6, sample_size // 4)


def state_after_audit(
    outcomes: Mapping[Stage, Outcome], faults: Mapping[Stage, Collection[Fault]]
) -> LotState:
    """
    Return where a lot goes once every stage is decided.

    Parameters
    ----------
    outcomes : Mapping of Stage to Outcome
        The latest verdict on each stage.
    faults : Mapping of Stage to collection of Fault
        The faults seen in each stage that was scored this time.

    Returns
    -------
    LotState
        Accepted; back for rework while another cut can mend something; or closed.
    """
    lost = [stage for stage, outcome in outcomes.items() if outcome is Outcome.NOT_ACCEPTED]
    if not lost:
        return LotState.ACCEPTED
    if any(not MENDABLE_FAULTS.isdisjoint(faults.get(stage, ())) for stage in lost):
        return LotState.REWORK
    return LotState.CLOSED_NOT_ACCEPTED
