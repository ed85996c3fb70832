"""What a supervisor should know of bad stretches before trusting the chances of a plan."""

import math
from typing import Final

from audits.estimates import wilson
from audits.lot_figures import LotFigures
from audits.messages import Message, say, say_n
from audits.sampling import ClusteredRows, MeasuredPlan, Plan, simulate_clusters

# The length of stretch that the caution speaks of: about what stands between two posts (a
# convention of this project).
_RUN_LENGTH: Final = 10

_A_HUNDRED: Final = 100


def lot_caution(figures: LotFigures) -> Message | None:
    """
    Say what the chances of a lot's plans are worth where bad trees stand together.

    Parameters
    ----------
    figures : LotFigures
        What the plans of the lot promise.

    Returns
    -------
    Message or None
        The caution for the stage that a bad lot passes most easily, of those decided by counting
        trees; None where every stage is measured.

    Raises
    ------
    InvalidInput
        If the lot is smaller than the sample.
    """
    counted = [
        (stage.rejectable, plan)
        for stage in figures.stages
        if not isinstance(plan := stage.plan, MeasuredPlan)
    ]
    if not counted:
        return None
    bad_lot, plan = max(counted, key=lambda of_stage: of_stage[0].chance)
    return cluster_caution(plan, bad_lot.nonconforming, bad_lot.lot_size)


def cluster_caution(plan: Plan, nonconforming: int, lot_size: int) -> Message:
    """
    Say what a plan's chances are worth where bad trees stand together.

    Parameters
    ----------
    plan : SinglePlan or DoublePlan or WavePlan
        The stage's plan.
    nonconforming : int
        Nonconforming trees of the lot to simulate, such as a rejectable one, from 0 to `lot_size`.
    lot_size : int
        Trees in the lot, at least the sample.

    Returns
    -------
    Message
        For what the chances hold, how many of the simulated lots passed, and what to do. The share
        is given in whole hundredths, with the limits of its 95 % interval rounded outwards.

    Raises
    ------
    InvalidInput
        If the lot is smaller than the sample or than the bad trees.

    References
    ----------
    .. [1] E. B. Wilson, Journal of the American Statistical Association 22:209-212, 1927.

    Examples
    --------
    >>> from audits.sampling import WavePlan
    >>> print(cluster_caution(WavePlan((20, 33), (2, 4), (5, 5)), 78, 310))
    These chances hold for bad trees strewn at random. Of 1,000 simulated lots with 78 of 310 \
trees bad, in runs of about 10, 7 in 100 passed (5 to 9). Look at the whole row as you walk: a \
short bad stretch can pass, and is a reason to send that stretch back.
    """
    found = simulate_clusters(plan, nonconforming, lot_size, _RUN_LENGTH)
    values = {
        "lots": found.rows,
        "bad": nonconforming,
        "trees": lot_size,
        "passed": _passed(found),
    }
    if nonconforming > _RUN_LENGTH:
        figures = say(
            "Of %(lots)s simulated lots with %(bad)s of %(trees)s trees bad, in runs of about "
            "%(run)s, %(passed)s.",
            run=_RUN_LENGTH,
            **values,
        )
    else:
        figures = say(
            "Of %(lots)s simulated lots with %(bad)s of %(trees)s trees bad, all side by side, "
            "%(passed)s.",
            **values,
        )
    return say(
        "These chances hold for bad trees strewn at random. %(figures)s Look at the whole row as "
        "you walk: a short bad stretch can pass, and is a reason to send that stretch back.",
        figures=figures,
    )


def _passed(found: ClusteredRows) -> Message:
    if found.accepted == 0:
        return say("none passed")
    if found.accepted == found.rows:
        return say("all passed")
    in_hundred = math.floor(_A_HUNDRED * found.chance + 0.5)
    if in_hundred == 0:
        return say("less than 1 in 100 passed")
    if in_hundred == _A_HUNDRED:
        return say("more than 99 in 100 passed")
    limits = wilson(found.accepted, found.rows)
    return say_n(
        "%(count)s in 100 passed (%(lower)s to %(upper)s)",
        "%(count)s in 100 passed (%(lower)s to %(upper)s)",
        in_hundred,
        lower=math.floor(_A_HUNDRED * limits.lower),
        upper=math.ceil(_A_HUNDRED * limits.upper),
    )
