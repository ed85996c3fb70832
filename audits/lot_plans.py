"""By what plans the stages of a lot are decided, all on the same trees."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise, product
from typing import Final

from audits.sampling import (
    DoublePlan,
    Plan,
    Rounding,
    SinglePlan,
    WavePlan,
    design_single,
    design_waves,
    fit_waves,
    stage_producer_risk,
    trees_at_fraction,
    trees_until_all_decided,
)
from audits.sampling.tables import Inspection, table_plan
from audits.sampling.wave_search import Lots
from audits.standard import Promise, Standard
from audits.vocabulary import PlanMethod, Stage, Strictness

# By how much a supervisor who asks for less or more changes the chance that a bad lot passes (a
# convention of this project).
_CONSUMER_RISK_TIMES: Final = {
    Strictness.LIGHTER: 2.0,
    Strictness.AS_WRITTEN: 1.0,
    Strictness.STRICTER: 0.5,
}
_LARGEST_CONSUMER_RISK: Final = 0.5

# A second sample makes a double plan larger than the single one by no more than this share.
_LARGEST_DOUBLE: Final = 2


# How far sizes that serve one stage's promises are changed to serve the others' as well.
_NEAR_SIZES: Final = range(-3, 4)


def consumer_risk(standard: Standard, strictness: Strictness) -> float:
    """
    Return the chance that a lot with the rejectable fraction in a stage passes it.

    Parameters
    ----------
    standard : Standard
        The version in force.
    strictness : Strictness
        What the supervisor asks for.

    Returns
    -------
    float
        The standard's risk, doubled or halved.
    """
    return min(_LARGEST_CONSUMER_RISK, standard.consumer_risk * _CONSUMER_RISK_TIMES[strictness])


def plan_lot(
    standard: Standard,
    lot_size: int,
    stages: Iterable[Stage],
    *,
    strictness: Strictness = Strictness.AS_WRITTEN,
    inspections: Mapping[Stage, Inspection] | None = None,
) -> dict[Stage, Plan]:
    """
    Plan the sample of a lot by the method that its standard asks for.

    Every stage is scored on the same trees. The lot's producer's risk is shared over the stages.
    Single, double and wave plans keep each stage's promises for this lot; where all stages
    promise the same, they share one plan. Plans from the published tables promise what their
    curves say.

    Parameters
    ----------
    standard : Standard
        The version in force.
    lot_size : int
        Bearing trees of the standard in the lot.
    stages : Iterable of Stage
        The stages to decide.
    strictness : Strictness, optional
        Whether bad lots may pass more or less often than the standard says; plans from the
        tables know their own tightening and take no notice of it.
    inspections : Mapping of Stage to Inspection, optional
        Where each stage stands in the tables' switching; normal if left out.

    Returns
    -------
    dict of Stage to Plan
        One plan a stage.

    Raises
    ------
    InvalidInput
        If a value lies outside its range.
    AuditError
        If the lot is so small that even all its trees cannot keep the promises.
    """
    ordered = tuple(stages)
    rule = standard.sampling
    if rule.method is PlanMethod.TABLE:
        known = inspections or {}
        return {
            stage: table_plan(
                lot_size,
                rule.acceptable_quality_limit,
                level=rule.inspection_level,
                inspection=known.get(stage, Inspection.NORMAL),
                kind=rule.table_kind,
            )
            for stage in ordered
        }
    promises = tuple(standard.rule(stage).promise for stage in ordered)
    risks = (stage_producer_risk(standard.producer_risk, len(ordered)),)
    designed = _designed(
        promises,
        lot_size,
        risks[0],
        consumer_risk(standard, strictness),
        rule.method,
        rule.most_waves,
    )
    return dict(zip(ordered, designed, strict=True))


@lru_cache(maxsize=1024)
def _designed(
    promises: tuple[Promise, ...],
    lot_size: int,
    producer_risk: float,
    consumer_risk_used: float,
    method: PlanMethod,
    most_waves: int,
) -> tuple[Plan, ...]:
    lots = [
        Lots(
            lot_size,
            trees_at_fraction(promise.acceptable_fraction, lot_size, Rounding.DOWN),
            trees_at_fraction(promise.rejectable_fraction, lot_size, Rounding.UP),
            producer_risk,
            consumer_risk_used,
        )
        for promise in promises
    ]
    singles = _same_size_singles(promises, lot_size, producer_risk, consumer_risk_used)
    if method is PlanMethod.SINGLE:
        return singles
    if method is PlanMethod.DOUBLE:
        return _doubles(lots, singles)
    return _waves(promises, lots, most_waves)


def _same_size_singles(
    promises: Sequence[Promise], lot_size: int, producer_risk: float, consumer_risk_used: float
) -> tuple[SinglePlan, ...]:
    """Return single plans of one size: the least for which every stage keeps its promises."""
    least = 1
    while True:
        plans = tuple(
            design_single(
                promise.acceptable_fraction,
                producer_risk,
                promise.rejectable_fraction,
                consumer_risk_used,
                lot_size=lot_size,
                least_sample=least,
            )
            for promise in promises
        )
        largest = max(plan.sample_size for plan in plans)
        if all(plan.sample_size == largest for plan in plans):
            return plans
        least = largest


def _doubles(lots: Sequence[Lots], singles: Sequence[SinglePlan]) -> tuple[Plan, ...]:
    """Return double plans of two equal samples, those with the fewest trees expected."""
    single = singles[0].sample_size
    largest = min(lots[0].lot_size, _LARGEST_DOUBLE * single)
    found = [
        plans
        for half in range(1, largest // 2 + 1)
        if 2 * half >= single and (plans := _fitted(lots, (half, 2 * half))) is not None
    ]
    if not found:
        return tuple(singles)
    best = min(found, key=lambda plans: _expected(plans, lots))
    return tuple(_as_double(plan) for plan in best)


def _as_double(plan: WavePlan) -> Plan:
    first, last = plan.waves
    if first.acceptance_number is None:
        return plan
    return DoublePlan(
        first.size,
        first.acceptance_number,
        first.rejection_number,
        last.size - first.size,
        last.most_accepted,
    )


def _waves(promises: Sequence[Promise], lots: Sequence[Lots], most_waves: int) -> tuple[Plan, ...]:
    """
    Return wave plans that share their sizes, those with the fewest trees expected.

    Sizes found for one stage's promises, and sizes near them, are tried on all stages. Where none
    serve them all, each stage keeps its own.
    """
    own = {
        promise: design_waves(
            promise.acceptable_fraction,
            lots[0].producer_risk,
            promise.rejectable_fraction,
            lots[0].consumer_risk,
            lot_size=lots[0].lot_size,
            stages=len(promises),
            most_waves=most_waves,
        )
        for promise in dict.fromkeys(promises)
    }
    if len(own) == 1:
        return tuple(own[promise] for promise in promises)
    found = [
        plans
        for sizes in _sizes_near(plan.sizes for plan in own.values())
        if sizes[-1] <= lots[0].lot_size and (plans := _fitted(lots, sizes)) is not None
    ]
    if not found:
        return tuple(own[promise] for promise in promises)
    return min(found, key=lambda plans: (_expected(plans, lots), plans[0].sizes))


def _sizes_near(known: Iterable[tuple[int, ...]]) -> list[tuple[int, ...]]:
    """Return sizes like those known, the first and the last a few trees more or less."""
    near = {
        (max(1, sizes[0] + first), *sizes[1:-1], sizes[-1] + last)
        for sizes in known
        for first, last in product(_NEAR_SIZES, repeat=2)
        if len(sizes) > 1
    }
    return sorted(sizes for sizes in near if all(here < there for here, there in pairwise(sizes)))


def _fitted(lots: Sequence[Lots], sizes: tuple[int, ...]) -> tuple[WavePlan, ...] | None:
    """Return the best numbers for each stage with waves of these sizes, if they serve all."""
    alike = Counter(lots)
    fitted = {each: fit_waves(sizes, each, alike[each]) for each in alike}
    plans = tuple(plan for each in lots if (plan := fitted[each]) is not None)
    return plans if len(plans) == len(lots) else None


def _expected(plans: Iterable[Plan], lots: Sequence[Lots]) -> float:
    stages = [(plan, each.good) for plan, each in zip(plans, lots, strict=True)]
    return trees_until_all_decided(stages, lots[0].lot_size)
