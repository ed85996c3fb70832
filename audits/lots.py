"""Lots: which rows are accepted together, by what plan, and where a lot goes after its audit."""

from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

from audits.sampling import (
    SinglePlan,
    design_single,
    stage_producer_risk,
)
from audits.standard import Promise, Standard
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


def plan_lot(standard: Standard, lot_size: int, stages: Iterable[Stage]) -> dict[Stage, SinglePlan]:
    """
    Plan the sample of a lot.

    Every stage is scored on the same trees, so all plans take the same sample size: the least
    for which each stage keeps both its promises. The lot's producer's risk is shared over the
    stages.

    Parameters
    ----------
    standard : Standard
        The version in force.
    lot_size : int
        Bearing trees of the standard in the lot.
    stages : Iterable of Stage
        The stages to decide.

    Returns
    -------
    dict of Stage to SinglePlan
        One plan a stage, all of one sample size.

    Raises
    ------
    InvalidInput
        If the lot is so small that even all its trees cannot keep the promises.
    """
    ordered = tuple(stages)
    promises = tuple(standard.rule(stage).promise for stage in ordered)
    plans = _plans(promises, lot_size, standard.producer_risk, standard.consumer_risk)
    return dict(zip(ordered, plans, strict=True))


@lru_cache(maxsize=1024)
def _plans(
    promises: tuple[Promise, ...], lot_size: int, lot_risk: float, consumer_risk: float
) -> tuple[SinglePlan, ...]:
    producer_risk = stage_producer_risk(lot_risk, len(promises))
    least = 1
    while True:
        plans = tuple(
            design_single(
                promise.acceptable_fraction,
                producer_risk,
                promise.rejectable_fraction,
                consumer_risk,
                lot_size=lot_size,
                least_sample=least,
            )
            for promise in promises
        )
        largest = max(plan.sample_size for plan in plans)
        if all(plan.sample_size == largest for plan in plans):
            return plans
        least = largest


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
