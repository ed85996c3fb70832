"""Passes as their pages show them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from flask_babel import format_datetime, gettext, ngettext
from markupsafe import Markup

from audits.messages import say
from audits.records import Lot, PassRow, Row
from audits.services.pass_views import LotOfPass, NewPass, PassList, PassView
from audits.services.passes import LOT_BY_HALF_DAY, usual_lot
from audits.storage.queries.pass_lists import PassLine, StartCheck
from audits.vocabulary import LOT_STATE_NAMES, METHOD_NAMES, PASS_KIND_NAMES, LotState, PassKind
from webapp.navigation import way_to
from webapp.passes.people import worker_words
from webapp.passes.rows import number_ranges, row_words, rows_words
from webapp.reading import words

Fact = tuple[str, str] | tuple[str, str, str]

# With a platform crew that is about a half-day; more would push the rest of the page away.
_NEXT_ROWS: Final = 6
_OPEN: Final = (LotState.REWORK, LotState.IN_AUDIT, LotState.WAITING)
_COUNTED: Final = (
    LotState.WAITING,
    LotState.IN_AUDIT,
    LotState.REWORK,
    LotState.ACCEPTED,
    LotState.NOT_CHOSEN,
)
# Nobody has begun to audit them, so that a row that was finished by a slip can be taken back.
_NOT_BEGUN: Final = frozenset({LotState.WAITING, LotState.NOT_CHOSEN})


@dataclass(frozen=True)
class PassEntryLine:
    """A pass in the list of passes."""

    id: int
    name: str
    notes: list[str]
    state: str
    at_work: bool


@dataclass(frozen=True)
class RowLine:
    """A row of a pass."""

    id: int
    number: str
    name: str
    finished: str | None
    lot: str | None
    lot_url: str | None
    may_take_back: bool


@dataclass(frozen=True)
class LotLine:
    """A lot of a pass."""

    name: str
    note: str
    url: str | None
    state: LotState
    state_words: str


@dataclass(frozen=True)
class LastFinished:
    """The rows finished last, as long as they can be taken back."""

    words: str
    row_ids: list[int]


@dataclass(frozen=True)
class StartCheckLine:
    """A start check of a pass."""

    name: str
    note: str
    audit_id: int
    closed: bool


def pass_lines(listed: PassList, *, rework: bool) -> list[PassEntryLine]:
    """Return the passes of a season that prune, or those that mend."""
    return [
        _pass_line(line, listed.lots.get(line.id, {}))
        for line in listed.lines
        if (line.kind is PassKind.REWORK) is rework
    ]


def _pass_line(line: PassLine, lots: Mapping[LotState, int]) -> PassEntryLine:
    method = words().say(METHOD_NAMES[line.method])
    if line.kind is PassKind.REWORK:
        return PassEntryLine(
            line.id,
            pass_name(line.block, line.crew),
            [
                format_datetime(line.started_at, "short"),
                method,
                ngettext("%(num)s row", "%(num)s rows", line.rows),
            ],
            gettext("Mended"),
            at_work=False,
        )
    finished = gettext(
        "%(finished)s of %(rows)s finished",
        finished=line.rows_finished,
        rows=ngettext("%(num)s row", "%(num)s rows", line.rows),
    )
    notes = [
        words().say(PASS_KIND_NAMES[line.kind]),
        method,
        gettext("begun %(when)s", when=format_datetime(line.started_at, "short")),
        finished,
    ]
    notes += [
        f"{words().say(LOT_STATE_NAMES[state])}: {words().show(lots[state])}"
        for state in LotState
        if state in lots
    ]
    at_work = line.ended_at is None
    return PassEntryLine(
        line.id,
        pass_name(line.block, line.crew),
        notes,
        gettext("At work") if at_work else gettext("Ended"),
        at_work=at_work,
    )


def pass_name(block: str, crew: str) -> str:
    """Return what a pass is called."""
    return str(gettext("%(block)s, %(crew)s", block=block, crew=crew))


def facts_of(view: PassView) -> list[Fact]:
    """Return rows finished and where the lots stand, as far as there are any."""
    finished = sum(part.finished_at is not None for part, _ in view.rows)
    figures: list[Fact] = [
        (
            words().show(finished),
            ngettext("row finished", "rows finished", finished),
            gettext("of %(rows)s", rows=words().show(len(view.rows))),
        )
    ]
    for state in _COUNTED:
        lots = sum(made.lot.state is state for made in view.lots)
        if lots:
            figures.append(
                (
                    words().show(lots),
                    words().say(LOT_STATE_NAMES[state]),
                    ngettext("lot", "lots", lots),
                )
            )
    return figures


def particulars_of(view: PassView, standard: Markup) -> list[tuple[str, str]]:
    """Return everything else that is known of a pass."""
    found = view.crew_pass
    lines: list[tuple[str, str]] = [
        (gettext("Kind"), words().say(PASS_KIND_NAMES[found.kind])),
        (gettext("Method"), words().say(METHOD_NAMES[found.method])),
        (gettext("Standard"), standard),
        (gettext("Begun"), format_datetime(found.started_at, "short")),
    ]
    if found.ended_at is not None:
        lines.append((gettext("Ended"), format_datetime(found.ended_at, "short")))
    if found.hours is not None:
        lines.append((gettext("Hours of all people together"), words().show(found.hours)))
    if found.kind is not PassKind.REWORK:
        lots = gettext("Each row")
        if found.lot_by == LOT_BY_HALF_DAY:
            lots = gettext("The rows of a half-day")
        lines.append((gettext("Accepted or not together"), lots))
    return lines


def unfinished_rows(view: PassView) -> list[Row]:
    """Return the rows still to be finished, in the order of pruning."""
    return [row for part, row in view.rows if part.finished_at is None]


def next_rows(view: PassView) -> list[RowLine]:
    """Return the rows that come next."""
    waiting = [line for line in row_lines(view) if line.finished is None]
    return waiting[:_NEXT_ROWS]


def row_lines(view: PassView) -> list[RowLine]:
    """Return every row: unfinished ones first, then those finished, the latest first."""
    lot_of = {row_id: made.lot for made in view.lots for row_id in made.row_ids}
    unfinished = [(part, row) for part, row in view.rows if part.finished_at is None]
    finished = sorted(
        ((part, row) for part, row in view.rows if part.finished_at is not None),
        key=lambda both: (both[0].finished_at, both[0].id),
        reverse=True,
    )
    return [_row_line(part, row, lot_of.get(row.id)) for part, row in [*unfinished, *finished]]


def _row_line(part: PassRow, row: Row, lot: Lot | None) -> RowLine:
    moment = part.finished_at
    return RowLine(
        id=row.id,
        number=str(row.number),
        name=row_words(row.number),
        finished=None if moment is None else format_datetime(moment, "short"),
        lot=None if lot is None else _lot_words(lot),
        lot_url=None if lot is None else way_to("auditing.lot", lot_id=lot.id),
        may_take_back=lot is not None and lot.state in _NOT_BEGUN,
    )


def _lot_words(lot: Lot) -> str:
    return str(gettext("Lot %(number)s", number=lot.number))


def open_lots(view: PassView) -> list[LotLine]:
    """Return the lots that somebody has to do something about, the longest finished first."""
    lots = [made for made in view.lots if made.lot.state in _OPEN]
    lots.sort(key=lambda made: (_OPEN.index(made.lot.state), made.lot.finished_at, made.lot.id))
    return _lot_lines(lots, view)


def closed_lots(view: PassView) -> list[LotLine]:
    """Return the lots that are done with, the latest first."""
    lots = [made for made in view.lots if made.lot.state not in _OPEN]
    return _lot_lines(lots[::-1], view)


def _lot_lines(lots: Sequence[LotOfPass], view: PassView) -> list[LotLine]:
    numbers = {row.id: row.number for _, row in view.rows}
    return [
        LotLine(
            name=rows_words([numbers[row_id] for row_id in made.row_ids]),
            note=gettext(
                "%(lot)s, finished %(when)s",
                lot=_lot_words(made.lot),
                when=format_datetime(made.lot.finished_at, "short"),
            ),
            url=way_to("auditing.lot", lot_id=made.lot.id),
            state=made.lot.state,
            state_words=words().say(LOT_STATE_NAMES[made.lot.state]),
        )
        for made in lots
    ]


def last_finished(view: PassView) -> LastFinished | None:
    """Return the rows finished last, unless an audit of one has begun."""
    moments = [part.finished_at for part, _ in view.rows if part.finished_at is not None]
    if not moments:
        return None
    last = [row for part, row in view.rows if part.finished_at == max(moments)]
    may_go = {line.id for line in row_lines(view) if line.may_take_back}
    if not {row.id for row in last} <= may_go:
        return None
    return LastFinished(
        gettext(
            "%(rows)s, finished %(when)s",
            rows=rows_words([row.number for row in last]),
            when=format_datetime(max(moments), "short"),
        ),
        [row.id for row in last],
    )


def start_check_lines(view: PassView) -> list[StartCheckLine]:
    """Return the start checks, by the worker's code."""
    lines = [
        StartCheckLine(
            name=worker_words(view.named[check.worker_id]),
            note=_start_check_note(check),
            audit_id=check.audit_id,
            closed=check.sealed_at is not None,
        )
        for check in view.start_checks
    ]
    return sorted(lines, key=lambda line: line.name.casefold())


def _start_check_note(check: StartCheck) -> str:
    return words().say(
        say(
            "%(trees)s, begun %(when)s",
            trees=ngettext("%(num)s tree", "%(num)s trees", check.trees),
            when=format_datetime(check.started_at, "short"),
        )
    )


def unchecked(view: PassView) -> list[str]:
    """Return the people of the crew for whom no start check was begun in this pass."""
    checked = {check.worker_id for check in view.start_checks}
    return [worker_words(person) for person in view.people if person.id not in checked]


def named_words(view: PassView) -> str:
    """Say in how many rows somebody is named."""
    rows = len({assignment.orchard_row_id for assignment in view.assignments})
    if not rows:
        return str(gettext("The crew together, no names."))
    return str(
        gettext(
            "Names are noted in %(named)s of %(rows)s; the rest is the crew's.",
            named=rows,
            rows=ngettext("%(num)s row", "%(num)s rows", len(view.rows)),
        )
    )


def crew_notes(offered: NewPass) -> dict[str, str]:
    """Return for each crew how large it is and what its lots usually are."""
    notes = {}
    for crew, people in offered.crews:
        lots = gettext("each row is a lot")
        if usual_lot(people) == LOT_BY_HALF_DAY:
            lots = gettext("a half-day is a lot")
        size = ngettext("%(num)s worker", "%(num)s workers", people)
        notes[str(crew.id)] = f"{size}; {lots}"
    return notes


def marked_rows(offered: NewPass) -> frozenset[str]:
    """Return the rows that a pass of this season goes through, unless all of them are."""
    done = frozenset(str(row_id) for row_id in offered.done)
    return done if len(done) < len(offered.rows) else frozenset()


def rows_left_words(offered: NewPass) -> str | None:
    """Say which rows no pass of this season goes through yet, once some do."""
    left = [row.number for row in offered.rows if row.id not in offered.done]
    if not offered.done:
        return None
    if not left:
        return str(gettext("Every row is in a pass of this season already."))
    return str(gettext("Not yet in a pass this season: %(rows)s.", rows=number_ranges(left)))
