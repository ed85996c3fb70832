"""
The plan of the standard tables for a lot.

An acceptable quality limit (AQL) of these tables is no acceptable fraction of ours: it indexes a
scheme with its own switching, and a lot exactly at it passes with a chance that changes from plan
to plan. `acceptance_probability` says what a plan found here promises.
"""

from typing import Final

from audits.sampling.plans import DoublePlan, SinglePlan
from audits.sampling.tables.cells import resolved_cell
from audits.sampling.tables.code_letters import code_letter
from audits.sampling.tables.terms import (
    ACCEPTABLE_QUALITY_LIMITS,
    Inspection,
    InspectionLevel,
    PlanKind,
    limit_column,
)

# From this acceptance number on, the switching score asks what a tighter limit would have said.
LEAST_JUDGED_TIGHTER: Final = 2


def table_plan(
    lot_size: int,
    acceptable_quality_limit: float | str,
    *,
    level: InspectionLevel | str = InspectionLevel.GENERAL_2,
    inspection: Inspection | str = Inspection.NORMAL,
    kind: PlanKind | str = PlanKind.SINGLE,
) -> SinglePlan | DoublePlan:
    """
    Return the plan of MIL-STD-105E for a lot, arrows followed.

    Where the sample, or both samples of a double plan together, would reach the lot, every tree
    is inspected: the plan is a single one for the whole lot, with the acceptance and rejection
    number of the table, in a double plan those for both samples.

    Parameters
    ----------
    lot_size : int
        Trees in the lot, at least 2 (symbol N).
    acceptable_quality_limit : float or str
        The limit of the column (symbol AQL), 0.010 to 1000 as printed: per cent nonconforming up
        to 10, faults per hundred trees throughout. Above 10 only the second reading has a
        meaning, and a plan can accept more nonconforming trees than it looks at.
    level : InspectionLevel or str, optional
        The inspection level, by default II.
    inspection : Inspection or str, optional
        Normal (the default), tightened or reduced. Plans for reduced inspection keep the gap
        between their numbers.
    kind : PlanKind or str, optional
        Single (the default) or double sampling.

    Returns
    -------
    SinglePlan or DoublePlan
        The plan; a single one also where the double table says so.

    Raises
    ------
    InvalidInput
        If the lot is too small for the tables, or they have no such limit, level, inspection or
        kind; the sentence lists what there is.

    References
    ----------
    .. [1] MIL-STD-105E, 1989, 4.9 and Tables I, II-A to II-C and III-A to III-C. The numbers of
       ISO 2859-1:1999 for single sampling under normal and tightened inspection are the same.

    Examples
    --------
    >>> table_plan(310, 4.0)
    SinglePlan(sample_size=50, acceptance_number=5, rejection_number=6)
    >>> table_plan(310, 4.0, inspection="reduced")
    SinglePlan(sample_size=20, acceptance_number=2, rejection_number=5)
    >>> table_plan(40, 0.65)
    SinglePlan(sample_size=20, acceptance_number=0, rejection_number=1)
    """
    letter = code_letter(lot_size, level)
    _, plan = resolved_cell(letter, acceptable_quality_limit, inspection=inspection, kind=kind)
    if plan.sample_size < lot_size:
        return plan
    return SinglePlan(lot_size, plan.acceptance_number, plan.waves[-1].rejection_number)


def tighter_acceptance_number(
    lot_size: int,
    acceptable_quality_limit: float | str,
    *,
    level: InspectionLevel | str = InspectionLevel.GENERAL_2,
) -> int | None:
    """
    Return the acceptance number of the same sample with the limit one step tighter.

    The switching score of ISO 2859-1 asks for it under single sampling, normal inspection.

    Parameters
    ----------
    lot_size : int
        Trees in the lot, at least 2 (symbol N).
    acceptable_quality_limit : float or str
        The limit in use (symbol AQL), as for `table_plan`.
    level : InspectionLevel or str, optional
        The inspection level, by default II.

    Returns
    -------
    int or None
        The number; None where the plan in use accepts at most one nonconforming tree, for which
        the score does not ask.

    Raises
    ------
    InvalidInput
        As for `table_plan`.

    References
    ----------
    .. [1] ISO 2859-1:1999, 9.3.3.2, from public restatements.

    Examples
    --------
    >>> tighter_acceptance_number(310, 4.0), tighter_acceptance_number(40, 4.0)
    (3, None)
    """
    letter, plan = resolved_cell(code_letter(lot_size, level), acceptable_quality_limit)
    if plan.acceptance_number < LEAST_JUDGED_TIGHTER:
        return None
    tighter = ACCEPTABLE_QUALITY_LIMITS[limit_column(acceptable_quality_limit) - 1]
    # Left of a number of 2 or more stands a smaller one in the same row, never an arrow.
    _, stricter = resolved_cell(letter, tighter)
    return stricter.acceptance_number
