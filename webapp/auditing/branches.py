"""What an audit says of branches, in the words of its page."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from audits.branches import RIGHT_BRANCH_NAMES, BranchReading
from webapp.reading import words


@dataclass(frozen=True)
class BranchLine:
    """What may be said of the branches of one stage."""

    name: str
    sentence: str
    has_range: bool


def branch_lines(readings: Iterable[BranchReading]) -> Sequence[BranchLine]:
    """Return what may be said of branches, stage by stage."""
    return [
        BranchLine(
            name=words().say(RIGHT_BRANCH_NAMES[reading.stage]),
            sentence=words().say(reading.sentence),
            has_range=reading.interval is not None,
        )
        for reading in readings
    ]
