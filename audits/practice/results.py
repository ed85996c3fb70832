"""What phones send of practice: read without trusting any of it, and scored by the engine."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from audits.phone_items import canonical_text, instant
from audits.practice.cuts import Cuts, ImpossibleCuts, PackProblem
from audits.practice.model import TreeKind
from audits.practice.pack import edition_of, pack_tree
from audits.practice.pruning import answers_of
from audits.practice.tasks import practised
from audits.scoring import StageScore, score_tree
from audits.standard import Standard
from audits.vocabulary import Method, PracticeLevel, Stage

# What columns of whole numbers hold on both databases.
_LARGEST: Final = 2**31 - 1
_LARGEST_SEED: Final = 2**63 - 1
# Every cut on the largest tree takes less.
_MOST_TEXT: Final = 20_000

_Uid = Annotated[str, Field(pattern=r"^[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}$")]
_Number = Annotated[int, Field(strict=True, ge=0, le=_LARGEST)]
_Name = Annotated[str, Field(pattern=r"^[\w.:/ -]{1,40}$")]


class Unreadable(Exception):  # noqa: N818 - reads as what it is at the place it is caught
    """Something that is no result of practice."""


class _Item(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore")

    uid: _Uid
    worker_id: _Number
    standard_version_id: _Number
    language: Annotated[str, Field(min_length=2, max_length=5)]
    done_at: str

    @property
    def claimed_at(self) -> datetime | None:
        """When it was done by the phone's clock; None where that is no moment."""
        return instant(self.done_at)


class TreeItem(_Item):
    """
    A tree that somebody pruned.

    Parameters
    ----------
    uid : str
        Made on the phone; the same result has the same one for ever.
    worker_id : int
        Who pruned it.
    standard_version_id : int
        The version of the standard that it was pruned by.
    language : str
        The language chosen on the phone.
    done_at : str
        The phone's clock, as claimed.
    kind : str
        What it is.
    method : Method
        How the crew works.
    edition : int
        The way in which the tree grew; see `audits.practice.pack.edition_of`.
    tree_seed : int
        Its seed.
    tree_kind : TreeKind
        Its kind.
    level : PracticeLevel
        How many stages at once.
    stages : tuple of Stage
        The stages that were practised.
    cuts : dict
        As sent; read by `audits.practice.cuts.Cuts` when it is scored.
    """

    kind: Literal["tree"]
    method: Method
    edition: _Number
    # Text, since scripts do not count so far in whole numbers.
    tree_seed: Annotated[int, Field(ge=0, le=_LARGEST_SEED)]
    tree_kind: TreeKind
    level: PracticeLevel
    stages: Annotated[tuple[Stage, ...], Field(min_length=1, max_length=4)]
    cuts: dict[str, Any]


class ExerciseItem(_Item):
    """
    A question that somebody answered.

    Parameters
    ----------
    uid : str
        Made on the phone; the same result has the same one for ever.
    worker_id : int
        Who answered it.
    standard_version_id : int
        The version of the standard that it asks about.
    language : str
        The language chosen on the phone.
    done_at : str
        The phone's clock, as claimed.
    kind : str
        What it is.
    item : str
        Name of the question's maker.
    stage : Stage or None
        The stage it asks about.
    choice : str
        Name of the choice.
    right : bool
        Whether it was right, as the phone says: it has the key, since this is no exam.
    """

    kind: Literal["exercise"]
    item: _Name
    stage: Stage | None
    choice: _Name
    right: Annotated[bool, Field(strict=True)]


PracticeItem: TypeAlias = TreeItem | ExerciseItem

_ITEMS: Final[TypeAdapter[PracticeItem]] = TypeAdapter(
    Annotated[PracticeItem, Field(discriminator="kind")]
)


def read_item(value: object) -> PracticeItem:
    """
    Read a result.

    Parameters
    ----------
    value : object
        A parsed JSON value. Fields that are not known here are passed over.

    Returns
    -------
    TreeItem or ExerciseItem
        The result. Whether its cuts can be made is not looked at.

    Raises
    ------
    Unreadable
        If a field is missing or is not what it should be.
    """
    if len(canonical_text(value)) > _MOST_TEXT:
        raise Unreadable
    try:
        return _ITEMS.validate_python(value)
    except (ValidationError, RecursionError) as error:
        raise Unreadable from error


@dataclass(frozen=True, slots=True)
class Scored:
    """
    What the engine made of a tree.

    Parameters
    ----------
    stages : Mapping of Stage to StageScore
        The stages that were practised; empty where nothing could be scored.
    problem : PackProblem or None
        Why nothing could.
    """

    stages: Mapping[Stage, StageScore]
    problem: PackProblem | None = None


def score_item(standard: Standard, item: TreeItem) -> Scored:
    """
    Grow the tree of a result again, cut it, and let the scoring engine judge it.

    Parameters
    ----------
    standard : Standard
        The version that the result names.
    item : TreeItem
        The result.

    Returns
    -------
    Scored
        Result and faults of each stage that was practised, or why there are none.
    """
    try:
        return Scored(_scores(standard, item))
    except ImpossibleCuts as error:
        return Scored({}, error.problem)


def _scores(standard: Standard, item: TreeItem) -> Mapping[Stage, StageScore]:
    if item.edition != edition_of(standard):
        raise ImpossibleCuts(PackProblem.OTHER_EDITION)
    tree = pack_tree(standard, item.tree_kind, item.tree_seed)
    try:
        cuts = Cuts.model_validate(item.cuts)
    except ValidationError as error:
        raise ImpossibleCuts(PackProblem.NO_SUCH_PLACE) from error
    pruning = practised(tree, standard, item.level, item.stages, cuts)
    answers = answers_of(tree.tree, pruning, standard, tree.side)
    return score_tree(standard, answers, method=item.method, stages=item.stages).stages
