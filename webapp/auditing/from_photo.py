"""
A tally sheet read from a photo, as the desk would have typed it; what is unclear is left to people.

An unclear answer stays empty, and a row without it is not kept. Where it is unclear whether the
tree was missed, empty would be an answer: a sign stands there that the desk does not take.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from flask import url_for

from audits.errors import NotFound
from audits.messages import Message, say
from audits.records import DrawTree, SheetPhoto
from audits.scoring import GAUGE, read_answers
from audits.services.sheet_photos import view_sheet_photo
from printables.marked import parse_code
from printables.tally_marks import (
    MISSED_CELL,
    MISSED_GROUP,
    NO_TREE_GROUP,
    TypedRow,
    group_key,
    typed_row,
)
from webapp.access import actor
from webapp.auditing.desk_sheet import (
    UNCLEAR,
    DeskReading,
    DeskSheet,
    boxes_of,
    cell_name,
    cell_names,
    read_desk,
)
from webapp.extensions import database, present
from webapp.papers.photos import MARKED, UNSURE, WRITTEN, Reading, reading_of

_NOT_CLEAR = say("Not clear on the photo: look and type it.")
_TWO_MARKS = say("These marks do not go together: look and type it.")
_WRITTEN = say("Written by hand: look and type it.")
_MISSED_GROUPS = frozenset({MISSED_GROUP, NO_TREE_GROUP})


@dataclass(frozen=True)
class PhotoTyping:
    """
    What a photo gives the desk.

    `language` is the sheet's; `typed` are the cells by name, in its letters; `notes` what a person
    has to look at, `pictures` where the cut-out of it is; `kept_before` counts the rows of the
    photo that were kept before, and `otherwise` names those of them that were kept with other
    answers than it shows.
    """

    photo: SheetPhoto
    language: str
    typed: dict[str, str] = field(default_factory=dict)
    notes: dict[str, Message] = field(default_factory=dict)
    pictures: dict[str, str] = field(default_factory=dict)
    kept_before: int = 0
    otherwise: tuple[str, ...] = ()

    @property
    def is_done(self) -> bool:
        """Whether everything on the photo is kept, so that nobody has to look at it again."""
        return not self.notes and not any(self.typed.values())


def typed_from(photo_id: int, sheet: DeskSheet) -> PhotoTyping:
    """Type the rows of a photo in that have no answers yet; raises NotFound for another audit's."""
    photo = view_sheet_photo(database(), actor(), photo_id, now=present())
    code = parse_code(photo.code)
    if photo.audit_id != sheet.view.book.audit.id or code is None:
        raise NotFound(say("There is no such photo."))
    language = code.fields[-1].lower()
    reading = reading_of(photo)
    typing = PhotoTyping(photo, language)
    kept_before: dict[int, TypedRow] = {}
    for tree in sheet.rows:
        row = typed_row(
            tree.id,
            reading.keys(MARKED),
            sheet.columns,
            language,
            written=reading.keys(WRITTEN),
        )
        unsure = _unsure_groups(tree, reading, sheet)
        if row.is_empty and not unsure:
            continue
        if tree.id in sheet.sample.own.replaced or any(sheet.stored(tree).values()):
            kept_before[tree.id] = row
            continue
        _type_row(typing, sheet, tree, row, unsure)
    return replace(
        typing, kept_before=len(kept_before), otherwise=tuple(_otherwise(kept_before, sheet))
    )


def _otherwise(kept: Mapping[int, TypedRow], sheet: DeskSheet) -> Iterator[str]:
    """Return the labels of rows whose clear marks say something else than what was kept."""
    rows = [tree for tree in sheet.rows if tree.id in kept and not kept[tree.id].contradictory]
    marks = {
        cell_name(tree, name): value
        for tree in rows
        for name, value in kept[tree.id].cells.items()
        if value
    }
    # Letters differ by language, so that what they stand for is compared.
    read = read_desk(sheet, marks)
    for tree in rows:
        if _is_otherwise(sheet, tree, kept[tree.id], read):
            yield sheet.sample.labels[tree.id]


def _is_otherwise(sheet: DeskSheet, tree: DrawTree, row: TypedRow, read: DeskReading) -> bool:
    answers = sheet.view.answers.get(tree.id)
    if answers is None:
        # No tree stands there, so that no stage was answered.
        return any(value for name, value in row.cells.items() if name != MISSED_CELL)
    if tree.id in read.entries:
        entered = read_answers(read.entries[tree.id])
        return entered.model_copy(update={GAUGE: answers.gauge}) != answers
    return tree.id in read.replaced or any(
        name in read.problems for name in cell_names(tree, sheet.columns)
    )


def _type_row(
    typing: PhotoTyping, sheet: DeskSheet, tree: DrawTree, row: TypedRow, unsure: set[str]
) -> None:
    for name, value in row.cells.items():
        typing.typed[cell_name(tree, name)] = value
    for group, cells in _cells_by_group(sheet).items():
        note = _note(group, cells, row, unsure)
        if note is None:
            continue
        first = cell_name(tree, cells[0])
        typing.notes.setdefault(first, note)
        if group_key(tree.id, group) in reading_of(typing.photo).groups:
            typing.pictures[first] = url_for(
                "papers.boxes", photo_id=typing.photo.id, group=group_key(tree.id, group)
            )
        if note is not _WRITTEN:
            # Nothing is taken for sure here, and nothing left as it is counts for an answer.
            left = UNCLEAR if group in _MISSED_GROUPS else ""
            typing.typed.update({cell_name(tree, name): left for name in cells})


def _note(group: str, cells: tuple[str, ...], row: TypedRow, unsure: set[str]) -> Message | None:
    if group in unsure:
        return _NOT_CLEAR
    if group in row.contradictory:
        return _TWO_MARKS
    return _WRITTEN if set(cells) & set(row.to_type) else None


def _cells_by_group(sheet: DeskSheet) -> Mapping[str, tuple[str, ...]]:
    groups = {str(column.stage): tuple(boxes_of(column)) for column in sheet.columns}
    return {**groups, MISSED_GROUP: (MISSED_CELL,), NO_TREE_GROUP: (MISSED_CELL,)}


def _unsure_groups(tree: DrawTree, reading: Reading, sheet: DeskSheet) -> set[str]:
    unsure = {key.rpartition(".")[0] for key in reading.keys(UNSURE)}
    return {group for group in _cells_by_group(sheet) if group_key(tree.id, group) in unsure}
