"""One auditor against a reference whose answers are the yardstick: faults found, false alarms."""

from dataclasses import dataclass

from audits.agreement.kappa import KappaEstimate, cohen_kappa
from audits.agreement.tables import checked_count
from audits.estimates import Interval, clopper_pearson, wilson


@dataclass(frozen=True)
class ShareOfTrees:
    """
    A share of trees with its ranges.

    Parameters
    ----------
    count : int
        Trees with the property.
    trees : int
        All trees looked at for it.
    share : float or None
        Their ratio, in [0, 1]; None without a tree.
    interval : Interval or None
        Wilson's 95 % interval; None without a tree.
    exact_interval : Interval or None
        The 95 % interval of Clopper and Pearson; None without a tree.
    """

    count: int
    trees: int
    share: float | None
    interval: Interval | None
    exact_interval: Interval | None


@dataclass(frozen=True)
class AgainstReference:
    """
    How one auditor's answers compare with the reference.

    Parameters
    ----------
    trees : int
        Trees that both scored.
    sensitivity : ShareOfTrees
        Of the trees with a true fault, those called a fault.
    specificity : ShareOfTrees
        Of the trees truly right, those called right.
    miss_rate : float or None
        Share of true faults called right, in [0, 1]; None if there was no fault to find.
    false_alarm_rate : float or None
        Share of right trees called a fault, in [0, 1]; None if there was no right tree.
    accuracy : float or None
        Share of trees with the true answer, in [0, 1]; None without a tree.
    kappa : KappaEstimate
        Agreement with the reference beyond chance.
    """

    trees: int
    sensitivity: ShareOfTrees
    specificity: ShareOfTrees
    miss_rate: float | None
    false_alarm_rate: float | None
    accuracy: float | None
    kappa: KappaEstimate


def against_reference(
    faults_found: int, faults_missed: int, false_alarms: int, passed_right: int
) -> AgainstReference:
    """
    Compare one auditor's answers with the reference.

    Parameters
    ----------
    faults_found : int
        Trees with a true fault that the auditor called a fault (true positives).
    faults_missed : int
        Trees with a true fault that the auditor called right (false negatives).
    false_alarms : int
        Trees truly right that the auditor called a fault (false positives).
    passed_right : int
        Trees truly right that the auditor called right (true negatives).

    Returns
    -------
    AgainstReference
        Shares with their ranges, and kappa. Shares of no trees are None.

    Raises
    ------
    ValueError
        If a count is no whole number of at least 0; the message names it.

    References
    ----------
    .. [1] AIAG, Measurement Systems Analysis, 4th edition, 2010, attribute studies.
    .. [2] E. B. Wilson, Journal of the American Statistical Association 22:209-212, 1927.
    .. [3] C. J. Clopper and E. S. Pearson, Biometrika 26:404-413, 1934.

    Examples
    --------
    >>> found = against_reference(18, 4, 2, 76)
    >>> round(found.sensitivity.share, 3), round(found.specificity.share, 3)
    (0.818, 0.974)
    """
    found = checked_count("faults_found", faults_found)
    missed = checked_count("faults_missed", faults_missed)
    alarms = checked_count("false_alarms", false_alarms)
    passed = checked_count("passed_right", passed_right)
    trees = found + missed + alarms + passed
    return AgainstReference(
        trees,
        _share(found, found + missed),
        _share(passed, passed + alarms),
        _ratio(missed, found + missed),
        _ratio(alarms, passed + alarms),
        _ratio(found + passed, trees),
        cohen_kappa([[found, alarms], [missed, passed]]),
    )


def _share(count: int, trees: int) -> ShareOfTrees:
    if not trees:
        return ShareOfTrees(0, 0, None, None, None)
    return ShareOfTrees(
        count, trees, count / trees, wilson(count, trees), clopper_pearson(count, trees)
    )


def _ratio(count: int, trees: int) -> float | None:
    return count / trees if trees else None
