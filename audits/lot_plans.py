"""By what plans the stages of a lot are decided, all on the same trees."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise, product, zip_longest
from math import prod
from typing import Final

from audits.sampling import (
    DoublePlan,
    MeasuredPlan,
    Plan,
    Rounding,
    SinglePlan,
    StagePlan,
    VariablesPlan,
    WavePlan,
    chances_still_open,
    design_mean,
    design_single,
    design_variables,
    design_waves,
    fit_waves,
    stage_producer_risk,
    trees_at_fraction,
    trees_until_all_decided,
)
from audits.sampling.measured_design import SHARE_OF_MEAN
from audits.sampling.tables import Inspection, table_plan
from audits.sampling.wave_design import MORE_TREES
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

# Both samples of a double plan together are at most so many times the single one.
_LARGEST_DOUBLE: Final = 2

# By the number of waves, the largest single plan for which as many are searched: beyond it the
# search takes more than some seconds, and the sample more than a day.
_LARGEST_SEARCHED: Final = {3: 100, 2: 250}

# How far sizes that serve one stage's promises are changed to serve the others' as well, the
# nearest first.
_REACHES: Final = (0, 1, 3)


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
) -> dict[Stage, StagePlan]:
    """
    Plan the sample of a lot by the method that its standard asks for.

    Every stage is scored on the same trees. The lot's producer's risk is shared over the stages.
    Single, double and wave plans keep each stage's promises for this lot; where all stages
    promise the same, they share one plan. Plans from the published tables promise what their
    curves say. Stages that the standard decides by the mean are measured, unless counting alone
    needs no more trees.

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
    dict of Stage to StagePlan
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
    by_mean = tuple(stage in standard.stages_by_mean for stage in ordered)
    designed = _designed(
        promises,
        by_mean,
        lot_size,
        stage_producer_risk(standard.producer_risk, len(ordered)),
        consumer_risk(standard, strictness),
        rule.method,
        rule.most_waves,
    )
    return dict(zip(ordered, designed, strict=True))


@lru_cache(maxsize=1024)
def _designed(
    promises: tuple[Promise, ...],
    by_mean: tuple[bool, ...],
    lot_size: int,
    producer_risk: float,
    consumer_risk_used: float,
    method: PlanMethod,
    most_waves: int,
) -> tuple[StagePlan, ...]:
    lots = _lots(promises, lot_size, producer_risk, consumer_risk_used)
    singles = _same_size_singles(promises, lot_size, producer_risk, consumer_risk_used)
    if any(by_mean):
        measured = _measured(
            [promise for promise, chosen in zip(promises, by_mean, strict=True) if chosen],
            [each for each, chosen in zip(lots, by_mean, strict=True) if chosen],
            singles[0].sample_size,
            method,
        )
        if measured:
            counting = [
                (each, single)
                for each, single, chosen in zip(lots, singles, by_mean, strict=True)
                if not chosen
            ]
            counted = iter(_beside(measured[0], counting, method))
            means = iter(measured)
            return tuple(next(means if chosen else counted) for chosen in by_mean)
    if method is PlanMethod.SINGLE:
        return singles
    if method is PlanMethod.DOUBLE:
        return _doubles(lots, singles)
    return _waves(promises, lots, _waves_worth_searching(singles[0].sample_size, most_waves))


def _waves_worth_searching(single: int, most_waves: int) -> int:
    """Return how many waves are searched: a page should not wait for what nobody walks."""
    for waves, largest in _LARGEST_SEARCHED.items():
        if waves <= most_waves and single <= largest:
            return waves
    return 1


def _lots(
    promises: Iterable[Promise], lot_size: int, producer_risk: float, consumer_risk_used: float
) -> list[Lots]:
    return [
        Lots(
            lot_size,
            trees_at_fraction(promise.acceptable_fraction, lot_size, Rounding.DOWN),
            trees_at_fraction(promise.rejectable_fraction, lot_size, Rounding.UP),
            producer_risk,
            consumer_risk_used,
        )
        for promise in promises
    ]


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


def _measured(
    promises: Sequence[Promise], lots: Sequence[Lots], single_size: int, method: PlanMethod
) -> tuple[MeasuredPlan, ...]:
    """
    Return measuring plans of one sample, each with its counting plan behind it.

    There are none where counting alone, which looks at `single_size` trees in one sample, needs no
    more trees than measuring.
    """
    lot_size = lots[0].lot_size
    producer_risk, consumer_risk_used = lots[0].producer_risk, lots[0].consumer_risk
    mean_risks = SHARE_OF_MEAN * producer_risk, SHARE_OF_MEAN * consumer_risk_used
    # One sample is walked whole for the other stages, so that measuring may as well use all of it.
    whole = method is PlanMethod.SINGLE
    means = _same_size_means(promises, mean_risks, single_size if whole else 1, single_size)
    if not means or (means[0].sample_size == single_size and not whole):
        return ()
    measured_size = means[0].sample_size
    risks = producer_risk - mean_risks[0], consumer_risk_used - mean_risks[1]
    singles = _same_size_singles(promises, lot_size, *risks)
    sizes = measured_size, singles[0].sample_size
    if sizes[0] >= sizes[1]:
        return ()
    counted = _fitted(_lots(promises, lot_size, *risks), sizes) or [
        WavePlan(sizes, (None, single.acceptance_number), (None, single.rejection_number))
        for single in singles
    ]
    return tuple(MeasuredPlan(*each) for each in zip(means, counted, strict=True))


def _same_size_means(
    promises: Sequence[Promise], risks: tuple[float, float], least: int, most: int
) -> tuple[VariablesPlan, ...]:
    """Return measured samples of one size, the least that keeps every promise; none beyond most."""
    while True:
        plans = []
        for promise in promises:
            points = promise.acceptable_fraction, risks[0], promise.rejectable_fraction, risks[1]
            # With one limit fewer trees do, and they are found much sooner.
            if design_variables(*points).sample_size > most:
                return ()
            plans.append(design_mean(*points, least_sample=least))
        largest = max(plan.sample_size for plan in plans)
        if largest > most:
            return ()
        if all(plan.sample_size == largest for plan in plans):
            return tuple(plans)
        least = largest


def _beside(
    measured: MeasuredPlan, counting: Sequence[tuple[Lots, SinglePlan]], method: PlanMethod
) -> tuple[Plan, ...]:
    """
    Return the plans of the stages that are counted on the trees of a measured sample.

    All of that sample is walked in any case, so that its end is the best place to decide.
    """
    lots = [each for each, _ in counting]
    singles = tuple(single for _, single in counting)
    first = measured.measured_size
    if not lots or method is PlanMethod.SINGLE:
        return singles
    lot_size = lots[0].lot_size
    if method is PlanMethod.DOUBLE:
        both = _fitted(lots, (first, 2 * first)) if 2 * first <= lot_size else None
        return tuple(map(_as_double, both)) if both else _doubles(lots, singles)
    largest = min(lot_size, singles[0].sample_size + MORE_TREES)
    found = [
        plans
        for last in range(first + 1, largest + 1)
        if (plans := _fitted(lots, (first, last))) is not None
    ]
    if not found:
        return singles
    return min(found, key=lambda plans: (_expected(plans, lots, walked=first), plans[0].sizes))


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
    known = [plan.sizes for plan in own.values()]
    for reach in _REACHES:
        found = [
            plans
            for sizes in _sizes_near(known, reach)
            if sizes[-1] <= lots[0].lot_size and (plans := _fitted(lots, sizes)) is not None
        ]
        if found:
            return min(found, key=lambda plans: (_expected(plans, lots), plans[0].sizes))
    return tuple(own[promise] for promise in promises)


def _sizes_near(known: Iterable[tuple[int, ...]], reach: int) -> list[tuple[int, ...]]:
    """Return sizes like those known, the first and the last up to some trees more or less."""
    near = {
        (max(1, sizes[0] + first), *sizes[1:-1], sizes[-1] + last)
        for sizes in known
        for first, last in product(range(-reach, reach + 1), repeat=2)
        if len(sizes) > 1
    }
    return sorted(sizes for sizes in near if all(here < there for here, there in pairwise(sizes)))


def _fitted(lots: Sequence[Lots], sizes: tuple[int, ...]) -> tuple[WavePlan, ...] | None:
    """Return the best numbers for each stage with waves of these sizes, if they serve all."""
    alike = Counter(lots)
    fitted = {each: fit_waves(sizes, each, alike[each]) for each in alike}
    plans = tuple(plan for each in lots if (plan := fitted[each]) is not None)
    return plans if len(plans) == len(lots) else None


def _expected(plans: Iterable[Plan], lots: Sequence[Lots], *, walked: int = 0) -> float:
    """Return the trees expected, at least those that are walked in any case."""
    stages = [(plan, each.good) for plan, each in zip(plans, lots, strict=True)]
    lot_size = lots[0].lot_size
    if not walked:
        return trees_until_all_decided(stages, lot_size)
    still_open = [chances_still_open(plan, good, lot_size)[walked:] for plan, good in stages]
    return walked + sum(
        1.0 - prod(1.0 - chance for chance in chances)
        for chances in zip_longest(*still_open, fillvalue=0.0)
    )
