"""Cuts as a phone names them, and why some cannot be scored."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Final

from pydantic import BaseModel, ConfigDict, Field

from audits.messages import Message, say

_Id = Annotated[str, Field(min_length=1, max_length=12)]


class Cuts(BaseModel):
    """
    Cuts as a phone names them: by the places that were offered.

    Parameters
    ----------
    top : str or None
        The place at which the leader is cut; None where it is left.
    limbs : tuple of str
        Names of the limbs taken out.
    sides : tuple of str
        Names of the side branches taken off.
    heads : Mapping of str to str
        The place at which a limb is shortened, by the limb's name.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    top: _Id | None = None
    limbs: tuple[_Id, ...] = Field((), max_length=80)
    sides: tuple[_Id, ...] = Field((), max_length=400)
    heads: dict[_Id, _Id] = Field({}, max_length=80)


class PackProblem(StrEnum):
    """Why cuts cannot be scored."""

    OTHER_EDITION = "other_edition"
    NO_SUCH_TREE = "no_such_tree"
    NO_SUCH_STAGES = "no_such_stages"
    NO_SUCH_PLACE = "no_such_place"
    CUT_TWICE = "cut_twice"
    OTHER_STAGE = "other_stage"
    GONE_BEFORE = "gone_before"


PROBLEM_WORDS: Final[Mapping[PackProblem, Message]] = {
    PackProblem.OTHER_EDITION: say(
        "This tree was drawn by another version of the program. It is kept, but it was not scored."
    ),
    PackProblem.NO_SUCH_TREE: say(
        "The program knows no such tree. What was done is kept, but it was not scored."
    ),
    PackProblem.NO_SUCH_STAGES: say(
        "These stages are not practised together. What was done is kept, but it was not scored."
    ),
    PackProblem.NO_SUCH_PLACE: say(
        "A cut names a place that the tree does not have. It is kept, but it was not scored."
    ),
    PackProblem.CUT_TWICE: say(
        "A place was cut twice. What was done is kept, but it was not scored."
    ),
    PackProblem.OTHER_STAGE: say(
        "A cut belongs to a stage that was not practised. It is kept, but it was not scored."
    ),
    PackProblem.GONE_BEFORE: say(
        "A cut is on wood that was gone from the start. It is kept, but it was not scored."
    ),
}


class ImpossibleCuts(Exception):  # noqa: N818 - reads as what it is at the place it is caught
    """Cuts that nobody can have made on this tree; says why."""

    def __init__(self, problem: PackProblem) -> None:
        super().__init__(problem)
        self.problem = problem
