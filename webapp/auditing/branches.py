"""What an audit says of branches, in the words of its page."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from flask_babel import gettext

from audits.branches import RIGHT_BRANCH_NAMES, BranchReading
from webapp.reading import words


@dataclass(frozen=True)
class BranchLine:
    """What may be said of the branches of one stage."""

    name: str
    sentence: str
    note: str | None


def branch_lines(readings: Iterable[BranchReading]) -> Sequence[BranchLine]:
    """Return what may be said of branches, stage by stage, with what the range allows for."""
    return [
        BranchLine(
            name=words().say(RIGHT_BRANCH_NAMES[reading.stage]),
            sentence=words().say(reading.sentence),
            note=None if reading.interval is None else _note(),
        )
        for reading in readings
    ]


def _note() -> str:
    return str(
        gettext(
            "Branches of one tree are alike, so the range goes by trees as well as by branches."
        )
    )
