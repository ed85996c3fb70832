"""Plans as they are stored with a draw: sizes and numbers, one entry a wave."""

from collections.abc import Mapping
from typing import Any

from audits.sampling.measured import MeasuredPlan, StagePlan
from audits.sampling.plans import DoublePlan, SinglePlan, WavePlan
from audits.sampling.variables import VariablesPlan

_SINGLE = "single"
_DOUBLE = "double"
_WAVES = "waves"
_MEASURED = "measured"


def plan_payload(plan: StagePlan) -> dict[str, object]:
    """
    Return a plan as it is stored.

    Parameters
    ----------
    plan : StagePlan
        The plan.

    Returns
    -------
    dict of str to object
        A value for a JSON column: cumulative sizes and numbers, one entry a wave. A measuring
        plan has those of counting, and beside them what decides by mean and spread.

    Examples
    --------
    >>> plan_payload(SinglePlan(24, 3))
    {'kind': 'single', 'sizes': [24], 'acceptance_numbers': [3], 'rejection_numbers': [4]}
    """
    if isinstance(plan, SinglePlan):
        return _payload(
            _SINGLE, (plan.sample_size,), (plan.acceptance_number,), (plan.rejection_number,)
        )
    if isinstance(plan, DoublePlan):
        return _payload(
            _DOUBLE,
            (plan.first_sample_size, plan.sample_size),
            (plan.first_acceptance_number, plan.second_acceptance_number),
            (plan.first_rejection_number, plan.second_rejection_number),
        )
    if isinstance(plan, MeasuredPlan):
        counted, variables = plan.counted, plan.variables
        return {
            **_payload(
                _MEASURED, counted.sizes, counted.acceptance_numbers, counted.rejection_numbers
            ),
            "k": variables.k,
            "known_sigma": variables.known_sigma,
        }
    return _payload(_WAVES, plan.sizes, plan.acceptance_numbers, plan.rejection_numbers)


def read_plan(payload: Mapping[str, Any]) -> StagePlan:
    """
    Return a plan from what is stored of it.

    Parameters
    ----------
    payload : Mapping of str to object
        What `plan_payload` returned, perhaps with more beside it.

    Returns
    -------
    StagePlan
        The plan.

    Raises
    ------
    InvalidInput
        If the numbers make no plan.
    """
    sizes = payload["sizes"]
    accepted = payload["acceptance_numbers"]
    rejected = payload["rejection_numbers"]
    if payload["kind"] == _SINGLE:
        return SinglePlan(sizes[0], accepted[0], rejected[0])
    if payload["kind"] == _DOUBLE:
        first, both = sizes
        return DoublePlan(first, accepted[0], rejected[0], both - first, accepted[1], rejected[1])
    waves = WavePlan(tuple(sizes), tuple(accepted), tuple(rejected))
    if payload["kind"] == _MEASURED:
        return MeasuredPlan(VariablesPlan(sizes[0], payload["k"], payload["known_sigma"]), waves)
    return waves


def _payload(
    kind: str,
    sizes: tuple[int, ...],
    accepted: tuple[int | None, ...],
    rejected: tuple[int | None, ...],
) -> dict[str, object]:
    return {
        "kind": kind,
        "sizes": list(sizes),
        "acceptance_numbers": list(accepted),
        "rejection_numbers": list(rejected),
    }
