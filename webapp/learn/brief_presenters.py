"""Safety briefs as the page shows them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from flask import url_for
from flask_babel import format_date, gettext, ngettext

from audits.records import Worker
from audits.services.briefings import (
    BRIEFED_METHODS,
    BriefingList,
    BriefStanding,
    BriefState,
)
from audits.vocabulary import METHOD_NAMES, Method
from webapp.coaching.papers import name_of
from webapp.reading import LANGUAGE_NAMES, words

# What is listed of the notes; older ones stand on each person's record.
_MOST_NOTES: Final = 40
_LOOKS: Final = {
    BriefState.HOLDS: ("right", "good"),
    BriefState.LAPSES_SOON: ("signal", "open"),
    BriefState.LAPSED: ("halt", "bad"),
    BriefState.MISSING: ("barred", "bad"),
}


@dataclass(frozen=True)
class Chip:
    """A state: its shape, words and tone."""

    shape: str
    words: str
    tone: str


@dataclass(frozen=True)
class CrewPart:
    """How a crew stands with the brief of a method, and the way to note one."""

    name: str
    sentences: list[str]
    chip: Chip
    url: str | None


@dataclass(frozen=True)
class MethodPart:
    """A method that needs a brief, crew by crew."""

    method: Method
    heading: str
    crews: list[CrewPart]


@dataclass(frozen=True)
class PersonRow:
    """A person with a state for each method that needs a brief."""

    name: str
    crew: str
    chips: list[Chip]


@dataclass(frozen=True)
class NoteRow:
    """A brief that was noted."""

    id: int
    who: str
    what: str
    noted: str


def method_parts(view: BriefingList) -> list[MethodPart]:
    """Return each method with the crews, by name; whoever has no crew comes last."""
    return [
        MethodPart(
            method,
            words().say(METHOD_NAMES[method]),
            [
                _crew_part(name, crew_id, method, standings)
                for crew_id, name, standings in _by_crew(view, view.standings[method])
            ],
        )
        for method in BRIEFED_METHODS
    ]


def person_rows(view: BriefingList) -> list[PersonRow]:
    """Return everybody who works here by name, with every method."""
    columns = [view.standings[method] for method in BRIEFED_METHODS]
    return [
        PersonRow(
            name_of(standings[0].worker),
            _crew_name(view, standings[0].worker),
            [chip_of(standing) for standing in standings],
        )
        for standings in zip(*columns, strict=True)
    ]


def latest_rows(view: BriefingList) -> list[NoteRow]:
    """Return the notes, the latest first."""
    languages = dict(LANGUAGE_NAMES)
    return [
        NoteRow(
            id=briefing.id,
            who=name_of(view.workers[briefing.worker_id]),
            what=gettext(
                "%(method)s, %(day)s, in %(language)s; holds until %(until)s",
                method=words().say(METHOD_NAMES[briefing.method]),
                day=_day(briefing.held_on),
                language=languages[briefing.language],
                until=_day(briefing.holds_until),
            ),
            noted=gettext(
                "noted by %(name)s", name=view.people.get(briefing.noted_by, gettext("somebody"))
            ),
        )
        for briefing in view.latest[:_MOST_NOTES]
    ]


def chip_of(standing: BriefStanding) -> Chip:
    """Return how somebody stands with a brief."""
    shape, tone = _LOOKS[standing.state]
    if standing.briefing is None:
        return Chip(shape, gettext("None noted"), tone)
    until = _day(standing.briefing.holds_until)
    if standing.state is BriefState.LAPSED:
        return Chip(shape, gettext("Lapsed after %(day)s", day=until), tone)
    return Chip(shape, gettext("Until %(day)s", day=until), tone)


def missing_names(workers: Sequence[Worker], people: int) -> str:
    """Say who may not start; a whole crew by its number."""
    if len(workers) == people and people > 1:
        return str(ngettext("All %(num)s of the crew", "All %(num)s of the crew", len(workers)))
    return ", ".join(map(name_of, workers))


def _crew_part(
    name: str, crew_id: int | None, method: Method, standings: Sequence[BriefStanding]
) -> CrewPart:
    barred = [standing for standing in standings if not standing.may_start]
    soon = [standing for standing in standings if standing.state is BriefState.LAPSES_SOON]
    missing = [standing.worker for standing in barred if standing.state is BriefState.MISSING]
    lapsed = [standing for standing in barred if standing.state is BriefState.LAPSED]
    sentences = []
    if missing:
        who = missing_names(missing, len(standings))
        sentences.append(gettext("No brief noted: %(names)s.", names=who))
    if lapsed:
        sentences.append(gettext("Lapsed: %(names)s.", names=_with_days(lapsed)))
    if soon:
        sentences.append(gettext("Lapses soon: %(names)s.", names=_with_days(soon)))
    if barred:
        counted = gettext(
            "%(count)s of %(all)s may not start",
            count=words().show(len(barred)),
            all=words().show(len(standings)),
        )
        chip = Chip("barred", counted, "bad")
    elif soon:
        chip = Chip("signal", gettext("All may start; lapses soon"), "open")
    else:
        chip = Chip("right", gettext("All may start"), "good")
    url = url_for("learn.note_brief", method=method, crew_id=crew_id) if barred or soon else None
    return CrewPart(name, sentences, chip, url)


def _with_days(standings: Iterable[BriefStanding]) -> str:
    """Name people with the last day of their brief, those of one day together."""
    by_day: dict[date, list[str]] = {}
    for standing in standings:
        if standing.briefing is not None:
            until = standing.briefing.holds_until
            by_day.setdefault(until, []).append(name_of(standing.worker))
    return "; ".join(f"{', '.join(by_day[day])} ({_day(day)})" for day in sorted(by_day))


def _by_crew(
    view: BriefingList, standings: Sequence[BriefStanding]
) -> list[tuple[int | None, str, list[BriefStanding]]]:
    crews = sorted(view.crews.values(), key=lambda crew: crew.name.casefold())
    order: list[tuple[int | None, str]] = [
        *((crew.id, crew.name) for crew in crews),
        (None, gettext("Without a crew")),
    ]
    grouped = [
        (crew_id, name, [one for one in standings if one.worker.crew_id == crew_id])
        for crew_id, name in order
    ]
    return [group for group in grouped if group[2]]


def _crew_name(view: BriefingList, worker: Worker) -> str:
    return "" if worker.crew_id is None else view.crews[worker.crew_id].name


def _day(day: date) -> str:
    return str(format_date(day, "medium"))
