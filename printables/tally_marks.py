"""
The boxes of a tally sheet's row: their keys, and what the desk would type for those marked.

A key says the tree, the question and the answer, such as ``"t12.top.R"``. Its last part is what
the desk types for that answer, so that marks become typed rows by putting letters together.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from audits.scoring import WHOLE_TREE_STAGES, Tap
from printables.tally_letters import (
    NOTHING_LETTER,
    SIDE_MISSED_SIGN,
    TREE_MISSED_SIGN,
    fault_letters,
    kind_letters,
    right_letter,
)
from printables.tally_records import MEASURE_BOXES, TallyAnswer, TallyColumn

MISSED_GROUP: Final = "missed"
NO_TREE_GROUP: Final = "notree"

# The desk has one box for what was missed and for what stands there instead of a tree.
MISSED_CELL: Final = "missed"


@dataclass(frozen=True)
class MarkGroup:
    """
    The boxes of a row that answer one question.

    Parameters
    ----------
    name : str
        The stage, `MISSED_GROUP` or `NO_TREE_GROUP`.
    answers : tuple of str
        What the desk types for each box of which one is marked, from left to right.
    faults : tuple of str
        The letters of the faults, of which several may be marked.
    written : tuple of str
        The boxes to write into, by the name that the desk has for each.
    """

    name: str
    answers: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    written: tuple[str, ...] = ()

    def key(self, tree_id: int, part: str) -> str:
        """
        Return the key of a box.

        Parameters
        ----------
        tree_id : int
            The number of the tree in the draw.
        part : str
            One of the group's letters or names.

        Returns
        -------
        str
            The key.
        """
        return f"{group_key(tree_id, self.name)}.{part}"


@dataclass(frozen=True)
class TypedRow:
    """
    A row of marks as the desk would type it.

    Parameters
    ----------
    cells : dict of str to str
        What is typed into each box of the desk, by its name; empty where nothing was marked.
        Marks that contradict each other all stand there, and the desk takes none of them.
    contradictory : tuple of str
        The groups with marks that exclude each other or another group's, from left to right.
    incomplete : tuple of str
        The stages without an answer in a row that has any. A stage that was decided before may
        stay so where the standard allows it, which only the desk can tell.
    to_type : tuple of str
        The boxes of the desk for which something was written that a person has to read.
    """

    cells: dict[str, str]
    contradictory: tuple[str, ...] = ()
    incomplete: tuple[str, ...] = ()
    to_type: tuple[str, ...] = field(default=())

    @property
    def is_empty(self) -> bool:
        """Whether the row has no mark and no writing: nobody was at this tree."""
        return not any(self.cells.values()) and not self.to_type


def group_key(tree_id: int, name: str) -> str:
    """
    Return the name of a group of boxes on its sheet.

    Parameters
    ----------
    tree_id : int
        The number of the tree in the draw.
    name : str
        The group's name.

    Returns
    -------
    str
        Such as ``"t12.top"``.
    """
    return f"t{tree_id}.{name}"


def mark_groups(columns: Sequence[TallyColumn], language: str) -> list[MarkGroup]:
    """
    Return the groups of a row from left to right.

    Parameters
    ----------
    columns : sequence of TallyColumn
        The stages of the sheet.
    language : str
        The sheet's language.

    Returns
    -------
    list of MarkGroup
        One a stage, then what was missed, then what stands there instead of a tree.
    """
    return [
        *(_stage_group(column, language) for column in columns),
        MarkGroup(MISSED_GROUP, (TREE_MISSED_SIGN, SIDE_MISSED_SIGN)),
        MarkGroup(NO_TREE_GROUP, tuple(kind_letters(language).values())),
    ]


def _stage_group(column: TallyColumn, language: str) -> MarkGroup:
    if column.is_measured:
        return MarkGroup(str(column.stage), written=MEASURE_BOXES[column.stage])
    answers = tuple(
        answer_letter(answer, language) for answer in column.answers if answer.tap is not Tap.FAULT
    )
    letters = fault_letters(column.stage, language)
    has_faults = any(answer.tap is Tap.FAULT for answer in column.answers)
    faults = tuple(letters[fault] for fault in column.faults) if has_faults else ()
    return MarkGroup(str(column.stage), answers, faults)


def answer_letter(answer: TallyAnswer, language: str) -> str:
    """
    Return what the desk types for an answer that is no fault.

    Parameters
    ----------
    answer : TallyAnswer
        The answer.
    language : str
        The sheet's language.

    Returns
    -------
    str
        A letter; a count of limbs is its own.
    """
    if answer.tap is not Tap.RIGHT:
        return NOTHING_LETTER
    return answer.label if answer.label.isdecimal() else right_letter(language)


def typed_row(
    tree_id: int,
    marked: Collection[str],
    columns: Sequence[TallyColumn],
    language: str,
    *,
    written: Collection[str] = (),
) -> TypedRow:
    """
    Turn the marks of a tree's row into what the desk types.

    Parameters
    ----------
    tree_id : int
        The number of the tree in the draw.
    marked : collection of str
        Keys of the boxes that were marked, of this tree or of a whole page.
    columns : sequence of TallyColumn
        The stages of the sheet.
    language : str
        The sheet's language.
    written : collection of str, optional
        Keys of the boxes that were written into.

    Returns
    -------
    TypedRow
        What is typed, and what does not agree or is missing.
    """
    groups = mark_groups(columns, language)
    found = {group.name: _marked_parts(tree_id, group, marked) for group in groups}
    to_type = {
        group.name: tuple(name for name in group.written if group.key(tree_id, name) in written)
        for group in groups
    }
    cells = {
        name: value for group in groups for name, value in _cells(group, found[group.name]).items()
    }
    cells[MISSED_CELL] = "".join((*found[MISSED_GROUP], *found[NO_TREE_GROUP]))
    used = [group.name for group in groups if found[group.name] or to_type[group.name]]
    wrong = {group.name for group in groups if _contradicts_itself(group, found[group.name])}
    wrong |= _contradict_each_other(used, found)
    return TypedRow(
        cells,
        tuple(group.name for group in groups if group.name in wrong),
        tuple(_unanswered(columns, used, found)),
        tuple(f"{group.name}_{name}" for group in groups for name in to_type[group.name]),
    )


def _marked_parts(tree_id: int, group: MarkGroup, marked: Collection[str]) -> tuple[str, ...]:
    """Return what was marked in a group, answers first."""
    return tuple(
        part for part in (*group.answers, *group.faults) if group.key(tree_id, part) in marked
    )


def _cells(group: MarkGroup, parts: Sequence[str]) -> dict[str, str]:
    if group.name in {MISSED_GROUP, NO_TREE_GROUP}:
        return {}
    if group.written:
        return {f"{group.name}_{name}": "" for name in group.written}
    return {group.name: "".join(parts)}


def _contradicts_itself(group: MarkGroup, parts: Sequence[str]) -> bool:
    answers = [part for part in parts if part in group.answers]
    return len(answers) > 1 or 0 < len(answers) < len(parts)


def _contradict_each_other(used: Sequence[str], found: Mapping[str, Sequence[str]]) -> set[str]:
    """Return the groups that cannot all be true: what was missed has no answer."""
    if found[NO_TREE_GROUP]:
        excluded = [name for name in used if name != NO_TREE_GROUP]
        return {NO_TREE_GROUP, *excluded} if excluded else set()
    if TREE_MISSED_SIGN in found[MISSED_GROUP]:
        excluded = [name for name in used if name != MISSED_GROUP]
    elif SIDE_MISSED_SIGN in found[MISSED_GROUP]:
        whole = {str(stage) for stage in WHOLE_TREE_STAGES}
        excluded = [name for name in used if name != MISSED_GROUP and name not in whole]
    else:
        excluded = []
    return {MISSED_GROUP, *excluded} if excluded else set()


def _unanswered(
    columns: Sequence[TallyColumn], used: Sequence[str], found: Mapping[str, Sequence[str]]
) -> Iterator[str]:
    if not used or found[NO_TREE_GROUP] or TREE_MISSED_SIGN in found[MISSED_GROUP]:
        return
    for column in columns:
        stage = column.stage
        missed = SIDE_MISSED_SIGN in found[MISSED_GROUP] and stage not in WHOLE_TREE_STAGES
        if str(stage) not in used and not missed:
            yield str(stage)
