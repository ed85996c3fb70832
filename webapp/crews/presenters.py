"""Crews and workers as their pages list them: by code or by name, never by result."""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from audits.records import Crew, Worker
from webapp.navigation import way_to
from webapp.reading import LANGUAGE_NAMES

_DIGITS: Final = re.compile(r"([0-9]+)")


class Order(StrEnum):
    """How workers are listed."""

    CODE = "code"
    NAME = "name"


@dataclass(frozen=True)
class WorkerLine:
    """A worker in the list of a crew."""

    id: int
    code: str
    name: str
    language: str
    results_url: str | None


@dataclass(frozen=True)
class CrewPart:
    """A crew with its workers; no id is the part of those without a crew."""

    id: int | None
    name: str
    retired: bool
    workers: list[WorkerLine]


def crew_parts(
    crews: Iterable[Crew], workers: Sequence[Worker], order: Order, *, without_crew: str
) -> list[CrewPart]:
    """Return each crew with its workers, then those who are in none."""
    here = [worker for worker in workers if not worker.retired]
    parts = [
        CrewPart(crew.id, crew.name, crew.retired, _lines(here, crew.id, order)) for crew in crews
    ]
    parts.sort(key=lambda part: part.retired)
    loose = _lines(here, None, order)
    return [*parts, CrewPart(None, without_crew, retired=False, workers=loose)] if loose else parts


def those_who_left(workers: Iterable[Worker], order: Order) -> list[WorkerLine]:
    """Return the workers who are no longer here."""
    return sorted(map(_line, (worker for worker in workers if worker.retired)), key=_key(order))


def _lines(workers: Iterable[Worker], crew_id: int | None, order: Order) -> list[WorkerLine]:
    return sorted(
        (_line(worker) for worker in workers if worker.crew_id == crew_id), key=_key(order)
    )


def _line(worker: Worker) -> WorkerLine:
    language = dict(LANGUAGE_NAMES).get(worker.language, worker.language)
    results_url = way_to("workers.show", worker_id=worker.id)
    return WorkerLine(worker.id, worker.code, worker.name, language, results_url)


def _key(order: Order) -> Callable[[WorkerLine], tuple[Any, ...]]:
    return _by_name if order is Order.NAME else _by_code


def _by_code(line: WorkerLine) -> tuple[Any, ...]:
    # W2 comes before W10: digits compare as numbers.
    return tuple(
        (int(part), "") if part.isdecimal() else (-1, part.casefold())
        for part in _DIGITS.split(line.code)
    )


def _by_name(line: WorkerLine) -> tuple[Any, ...]:
    # Those whose names were erased come last.
    return (not line.name, line.name.casefold(), _by_code(line))
