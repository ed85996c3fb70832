"""Printed gauges: when their scale holds, and for which standards they are right."""

from enum import StrEnum
from typing import Final, NamedTuple

from audits.messages import mark
from audits.standard import Standard
from audits.units import kept_length
from audits.vocabulary import HeadingRule, Stage

# A bar of 100 mm by a steel rule: half a percent either way.
SHORTEST_BAR_MM: Final = 99.5
LONGEST_BAR_MM: Final = 100.5


class BatchState(StrEnum):
    """Whether the gauges of a print batch may be used."""

    UNCHECKED = "unchecked"
    USABLE = "usable"
    FAILED = "failed"
    CHECK_AGAIN = "check_again"
    WITHDRAWN = "withdrawn"


BATCH_STATE_NAMES: Final = {
    BatchState.UNCHECKED: mark("Not checked yet"),
    BatchState.USABLE: mark("Checked, may be used"),
    BatchState.FAILED: mark("Did not pass its check"),
    BatchState.CHECK_AGAIN: mark("To be checked again this season"),
    BatchState.WITHDRAWN: mark("Withdrawn"),
}


class GaugeLimits(NamedTuple):
    """
    What a gauge shows of a standard, as far as diameters are judged by it.

    Parameters
    ----------
    limb_mm : float or None
        Diameter from which a limb is large; None where limbs are not scored.
    pencil_mm : tuple of float or None
        Ends of the pencil band; None where no heading cuts are asked for.
    guard_mm : float
        How far beyond a limit a diameter is held against anyone.
    """

    limb_mm: float | None
    pencil_mm: tuple[float, float] | None
    guard_mm: float

    def serves(self, asked: "GaugeLimits") -> bool:
        """
        Tell whether diameters may be judged by a gauge with these limits.

        Parameters
        ----------
        asked : GaugeLimits
            Those of the standard by which the trees are scored.

        Returns
        -------
        bool
            True if each limit that is asked for is the same, and so is the guard.
        """
        return (
            self.guard_mm == asked.guard_mm
            and asked.limb_mm in (None, self.limb_mm)
            and asked.pencil_mm in (None, self.pencil_mm)
        )


def gauge_limits(standard: Standard) -> GaugeLimits:
    """
    Return what a gauge shows of a standard.

    Parameters
    ----------
    standard : Standard
        The version.

    Returns
    -------
    GaugeLimits
        The limits of those stages in which diameters are judged.
    """
    heading = standard.heading
    asks_heading = heading.in_use and heading.rule is HeadingRule.REQUIRED
    return GaugeLimits(
        kept_length(standard.limbs.large_mm) if Stage.LIMBS in standard.stages_in_use else None,
        (kept_length(heading.thinnest_mm), kept_length(heading.thickest_mm))
        if asks_heading
        else None,
        kept_length(standard.diameter_guard_mm),
    )


def keeps_scale(
    *, card_fits: bool, across_mm: float | None = None, down_mm: float | None = None
) -> bool:
    """
    Tell whether a print kept its scale.

    Parameters
    ----------
    card_fits : bool
        Whether all four edges of a bank card lie between the two frames.
    across_mm, down_mm : float or None, optional
        The bars of 100 mm, as read off a steel rule; None where nobody read them.

    Returns
    -------
    bool
        True if the card fits and each bar that was read is right within half a millimetre.

    Notes
    -----
    A bank card is 85.60 x 53.98 mm (ISO/IEC 7810, ID-1); the frames about it are 85.20 x 53.58 and
    86.00 x 54.38 mm. That a bar may be off by half a millimetre is this program's own bound: it
    adds 0.1 mm at the limit of a large limb.

    Examples
    --------
    >>> keeps_scale(card_fits=True, across_mm=99.5), keeps_scale(card_fits=True, down_mm=100.6)
    (True, False)
    """
    read = [kept_length(bar) for bar in (across_mm, down_mm) if bar is not None]
    return card_fits and all(SHORTEST_BAR_MM <= bar <= LONGEST_BAR_MM for bar in read)


def batch_state(
    *, withdrawn: bool, passed: bool | None, checked_in: int | None, season: int
) -> BatchState:
    """
    Return whether the gauges of a print batch may be used.

    Parameters
    ----------
    withdrawn : bool
        Whether the batch was withdrawn.
    passed : bool or None
        What its latest check came to; None where there is none.
    checked_in : int or None
        The season of that check.
    season : int
        The present season.

    Returns
    -------
    BatchState
        Usable only if the latest check passed, this season, and nobody has withdrawn the batch.

    Examples
    --------
    >>> batch_state(withdrawn=False, passed=True, checked_in=2024, season=2025)
    <BatchState.CHECK_AGAIN: 'check_again'>
    """
    if withdrawn:
        return BatchState.WITHDRAWN
    if passed is None:
        return BatchState.UNCHECKED
    if not passed:
        return BatchState.FAILED
    return BatchState.USABLE if checked_in == season else BatchState.CHECK_AGAIN
