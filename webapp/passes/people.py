"""People of a pass in words: who is named in which rows, and for what."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from flask_babel import gettext

from audits.records import AssignmentRow, Row, Worker
from audits.vocabulary import SIDE_NAMES, STAGE_NAMES, Side, Stage
from webapp.passes.rows import rows_words
from webapp.reading import words


@dataclass(frozen=True)
class NamedPerson:
    """A person named in a row, and for what."""

    worker_id: int
    name: str
    work: tuple[str, ...]


@dataclass(frozen=True)
class NamedRows:
    """Rows in which the same people did the same, and who they are."""

    row_ids: list[int]
    name: str
    people: tuple[NamedPerson, ...]


def worker_words(worker: Worker) -> str:
    """Return a worker's code and name; the code alone once the name is erased."""
    return f"{worker.code} {worker.name}".strip()


def named_rows(
    rows: Iterable[Row], assignments: Sequence[AssignmentRow], named: Mapping[int, Worker]
) -> list[NamedRows]:
    """Return the rows in which somebody is named, alike ones joined, the latest row first."""
    by_row: dict[int, list[AssignmentRow]] = {}
    for assignment in assignments:
        by_row.setdefault(assignment.orchard_row_id, []).append(assignment)
    alike: dict[tuple[NamedPerson, ...], list[Row]] = {}
    for row in reversed(list(rows)):
        if row.id in by_row:
            alike.setdefault(_people(by_row[row.id], row, named), []).append(row)
    return [
        NamedRows([row.id for row in joined], rows_words([row.number for row in joined]), people)
        for people, joined in alike.items()
    ]


def _people(
    assignments: Sequence[AssignmentRow], row: Row, named: Mapping[int, Worker]
) -> tuple[NamedPerson, ...]:
    worker_ids = dict.fromkeys(assignment.worker_id for assignment in assignments)
    people = [
        NamedPerson(
            worker_id,
            worker_words(named[worker_id]),
            _work([one for one in assignments if one.worker_id == worker_id], row),
        )
        for worker_id in worker_ids
    ]
    return tuple(sorted(people, key=lambda person: person.name.casefold()))


def _work(assignments: Iterable[AssignmentRow], row: Row) -> tuple[str, ...]:
    """Return what a person did in a row: stages of one stretch and side in one line."""
    stretches: dict[tuple[int, int, Side], list[Stage]] = {}
    for one in assignments:
        stretch = (one.first_position, one.last_position, one.side)
        stretches.setdefault(stretch, []).append(one.stage)
    return tuple(
        _line(stages, first, last, side, row) for (first, last, side), stages in stretches.items()
    )


def _line(stages: Sequence[Stage], first: int, last: int, side: Side, row: Row) -> str:
    names = ", ".join(words().say(STAGE_NAMES[stage]) for stage in Stage if stage in stages)
    parts = [] if side is Side.BOTH else [words().say(SIDE_NAMES[side])]
    if (first, last) != (1, row.tree_count):
        parts.append(gettext("trees %(first)s to %(last)s", first=first, last=last))
    return f"{names} ({', '.join(parts)})" if parts else names
