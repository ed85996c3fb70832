"""What waits today as the page shows it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from flask_babel import format_date, format_datetime, format_time, gettext, ngettext

from audits.records import Farm, Worker
from audits.services.contesting import ContestView
from audits.services.today import (
    BegunLot,
    ReworkLot,
    StartChecksOfPass,
    TodayView,
    WaitingLot,
)
from audits.services.trends import WorkerSignal
from audits.storage.queries.today import OpenAudit, OpenLot, PassAtWork
from audits.vocabulary import METHOD_NAMES, PASS_KIND_NAMES, STAGE_NAMES, Method
from webapp.contests.score_words import contest_place, stage_words
from webapp.contests.score_words import worker_words as contesting_worker
from webapp.navigation import way_to
from webapp.passes.people import worker_words
from webapp.passes.presenters import Fact, pass_name
from webapp.passes.rows import rows_words
from webapp.reading import words
from webapp.safety.presenters import Brief, brief_of

# What is in sight at once; the rest opens on demand.
_MOST_IN_SIGHT: Final = 10


@dataclass(frozen=True)
class Line:
    """Something that waits: what it is, where to go, and how it stands."""

    title: str
    note: str
    url: str | None
    state: str
    shape: str
    tone: str


@dataclass(frozen=True)
class Part:
    """What waits of one kind: what is in sight, and the rest."""

    lines: list[Line]
    more: list[Line]


@dataclass(frozen=True)
class BriefLine:
    """A pass in which somebody may not start yet, and the way to note the brief."""

    title: str
    missing: str
    state: str
    url: str | None
    pass_url: str | None


@dataclass(frozen=True)
class CheckLine:
    """A pass begun today in which start checks are missing."""

    title: str
    missing: str
    state: str
    in_time: bool
    url: str | None
    pass_url: str | None


def figures_of(view: TodayView) -> list[Fact]:
    """Return how much waits, kind by kind; empty when nothing does."""
    waiting = len(view.waiting)
    late = sum(lot.days_late > 0 for lot in view.waiting)
    redo = sum(not lot.is_done for lot in view.rework)
    begun = sum(bool(lot.audits) for lot in view.begun)
    # Mended and waiting, or drawn ahead for the re-audit.
    again = len(view.rework) - redo + len(view.begun) - begun
    late_words = ngettext("%(num)s of them is late", "%(num)s of them are late", late)
    figures: list[tuple[int, str, str]] = [
        (waiting, ngettext("lot to audit", "lots to audit", waiting), late_words if late else ""),
        (
            begun,
            ngettext("audit begun", "audits begun", begun),
            "",
        ),
        (redo, ngettext("lot to mend", "lots to mend", redo), ""),
        (again, ngettext("lot to audit again", "lots to audit again", again), ""),
        (
            len(view.signals),
            ngettext("worker with a signal", "workers with a signal", len(view.signals)),
            "",
        ),
    ]
    return [(words().show(count), name, note) for count, name, note in figures if count]


def waiting_part(view: TodayView) -> Part:
    """Return the lots that still can be audited in time."""
    return _part(_waiting_line(lot, view.day) for lot in view.waiting if lot.days_late <= 0)


def late_part(view: TodayView) -> Part:
    """Return the lots whose days have passed, the latest of them first."""
    late = [lot for lot in view.waiting if lot.days_late > 0]
    return _part(_waiting_line(lot, view.day) for lot in reversed(late))


def _waiting_line(waiting: WaitingLot, day: date) -> Line:
    if waiting.days_late > 0:
        state, shape, tone = (
            gettext("Late since %(day)s", day=_day(waiting.audit_by)),
            "halt",
            "bad",
        )
    elif waiting.audit_by == day:
        state, shape, tone = gettext("Audit today"), "signal", "open"
    else:
        state, shape, tone = (
            gettext("Audit by %(day)s", day=_day(waiting.audit_by)),
            "waiting",
            "open",
        )
    note = gettext(
        "%(crew)s, finished %(when)s (%(age)s)",
        crew=waiting.lot.crew,
        when=format_datetime(waiting.lot.finished_at, "short"),
        age=_age(waiting.finished_on, day),
    )
    if waiting.is_drawn:
        note = gettext("%(note)s; drawn ahead", note=note)
    return Line(
        title=_lot_title(waiting.lot, waiting.row_numbers),
        note=str(note),
        url=way_to("auditing.lot", lot_id=waiting.lot.id),
        state=str(state),
        shape=shape,
        tone=tone,
    )


def _age(finished_on: date, day: date) -> str:
    days = (day - finished_on).days
    if days <= 0:
        return str(gettext("today"))
    if days == 1:
        return str(gettext("yesterday"))
    return str(ngettext("%(num)s day ago", "%(num)s days ago", days))


def begun_part(view: TodayView) -> Part:
    """Return the audits that are begun."""
    return _part(line for lot in view.begun for line in _begun_lines(lot))


def _begun_lines(begun: BegunLot) -> list[Line]:
    if begun.audits:
        return [_begun_line(begun, audit) for audit in begun.audits]
    return [
        Line(
            title=_lot_title(begun.lot, begun.row_numbers),
            note=begun.lot.crew,
            url=way_to("auditing.lot", lot_id=begun.lot.id),
            state=gettext("Drawn ahead"),
            shape="waiting",
            tone="open",
        )
    ]


def _begun_line(begun: BegunLot, audit: OpenAudit) -> Line:
    return Line(
        title=_lot_title(begun.lot, begun.row_numbers),
        note=gettext(
            "%(auditor)s, begun %(when)s",
            auditor=audit.auditor,
            when=format_datetime(audit.started_at, "short"),
        ),
        url=way_to("auditing.audit", audit_id=audit.id),
        state=gettext(
            "%(scored)s of %(trees)s trees scored", scored=audit.scored, trees=audit.trees
        ),
        shape="begun",
        tone="open",
    )


def rework_part(view: TodayView) -> Part:
    """Return the lots that went back, those to be mended first."""
    return _part(map(_rework_line, sorted(view.rework, key=lambda lot: lot.is_done)))


def _rework_line(rework: ReworkLot) -> Line:
    order = rework.order
    if rework.is_done:
        url = way_to("auditing.lot", lot_id=rework.lot.id)
        state, shape = gettext("Mended: audit it again"), "waiting"
        moment = order.done_at or order.created_at
        note = gettext("mended %(when)s", when=format_datetime(moment, "short"))
    else:
        url = way_to("auditing.rework", order_id=order.id)
        state, shape = gettext("Waits for rework"), "back"
        note = gettext("sent back %(when)s", when=format_datetime(order.created_at, "short"))
    return Line(
        title=_lot_title(rework.lot, rework.row_numbers),
        note=f"{rework.lot.crew}, {note}",
        url=url,
        state=str(state),
        shape=shape,
        tone="open" if rework.is_done else "bad",
    )


def signal_part(view: TodayView) -> Part:
    """Return the workers whose latest trees need a look, by name."""
    return _part(map(_signal_line, view.signals))


def _signal_line(signal: WorkerSignal) -> Line:
    reader = words()
    sentences = [
        reader.say(one.sentence if one.block_first is None else one.block_first)
        for one in signal.signals
    ]
    code = [f"{signal.worker.code}."] if signal.worker.name else []
    own = [one.stage for one in signal.signals if one.block_first is None]
    stages = ", ".join(reader.say(STAGE_NAMES[stage]) for stage in own or signal.stages)
    return Line(
        title=signal.worker.name or signal.worker.code,
        note=" ".join([*code, *sentences]),
        url=way_to("workers.show", worker_id=signal.worker.id),
        state=gettext("Block first: %(stages)s", stages=stages)
        if not own
        else gettext("Look together at: %(stages)s", stages=stages),
        shape="signal",
        tone="bad" if own else "open",
    )


def contest_part(waiting: Iterable[ContestView]) -> Part:
    """Return the scores that somebody disagrees with, the oldest disagreement first."""
    return _part(map(_contest_line, waiting))


def _contest_line(contest: ContestView) -> Line:
    row = contest.row
    return Line(
        title=f"{stage_words(row.stage)}: {contest_place(row)}",
        note=contesting_worker(row),
        url=way_to("contests.show", contest_id=row.id),
        state=gettext("Late: answer it") if contest.is_late else gettext("contested"),
        shape="halt" if contest.is_late else "contested",
        tone="bad" if contest.is_late else "open",
    )


def check_lines(view: TodayView, now: datetime) -> list[CheckLine]:
    """Return the passes begun today in which somebody's start check is missing."""
    return [_check_line(checks, now) for checks in view.start_checks]


def _check_line(checks: StartChecksOfPass, now: datetime) -> CheckLine:
    found = checks.crew_pass
    in_time = now <= checks.first_hour_ends
    until = format_time(checks.first_hour_ends, "short")
    return CheckLine(
        title=pass_name(found.block, found.crew),
        missing=", ".join(worker_words(worker) for worker in checks.missing),
        state=gettext("First hour: until %(time)s", time=until)
        if in_time
        else gettext("The first hour ended at %(time)s", time=until),
        in_time=in_time,
        url=way_to("checks.begin", pass_id=found.id),
        pass_url=way_to("passes.show", pass_id=found.id),
    )


def brief_lines(
    view: TodayView, missing: Mapping[tuple[int, Method], Sequence[Worker]]
) -> list[BriefLine]:
    """Return the passes whose people lack a brief for the method in which they work."""
    return [
        BriefLine(
            title=pass_name(found.block, found.crew),
            missing=", ".join(map(worker_words, missing[found.crew_id, found.method])),
            state=gettext(
                "No brief in force: %(method)s", method=words().say(METHOD_NAMES[found.method])
            ),
            url=way_to("learn.note_brief", method=found.method, crew_id=found.crew_id),
            pass_url=way_to("passes.show", pass_id=found.id),
        )
        for found in _open_passes(view)
        if (found.crew_id, found.method) in missing
    ]


def work_today(view: TodayView) -> set[tuple[int, Method]]:
    """Return which crews work today, each with its method."""
    return {(found.crew_id, found.method) for found in _open_passes(view)}


def _open_passes(view: TodayView) -> list[PassAtWork]:
    return [found for found in view.at_work if found.ended_at is None]


def pass_part(view: TodayView) -> Part:
    """Return the passes that somebody works in."""
    return _part(map(_pass_line, view.at_work))


def _pass_line(found: PassAtWork) -> Line:
    finished = found.rows_finished
    return Line(
        title=pass_name(found.block, found.crew),
        note="; ".join(
            (
                words().say(PASS_KIND_NAMES[found.kind]),
                words().say(METHOD_NAMES[found.method]),
                gettext("begun %(when)s", when=format_datetime(found.started_at, "short")),
            )
        ),
        url=way_to("passes.show", pass_id=found.id),
        state=gettext(
            "%(finished)s of %(rows)s finished",
            finished=words().show(finished),
            rows=ngettext("%(num)s row", "%(num)s rows", found.rows),
        ),
        shape="right" if finished == found.rows else "begun",
        tone="good" if finished == found.rows else "open",
    )


def briefs_of(view: TodayView, farm: Farm) -> list[Brief]:
    """Return a brief for each method in use today."""
    return [
        brief_of(
            method,
            {
                found.block: found.emergency_location
                for found in view.at_work
                if found.method is method
            },
            farm,
        )
        for method in Method
        if any(found.method is method for found in view.at_work)
    ]


def day_words(day: date) -> str:
    """Return the day as people say it."""
    return str(format_date(day, "full"))


def _part(lines: Iterable[Line]) -> Part:
    listed = list(lines)
    return Part(listed[:_MOST_IN_SIGHT], listed[_MOST_IN_SIGHT:])


def _lot_title(lot: OpenLot, row_numbers: tuple[int, ...]) -> str:
    return str(gettext("%(block)s, %(rows)s", block=lot.block, rows=rows_words(row_numbers)))


def _day(day: date) -> str:
    return str(format_date(day, "medium"))
