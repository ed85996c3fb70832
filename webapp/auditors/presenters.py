"""Auditors as their pages show them: plain words first, figures behind them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from flask import url_for
from flask_babel import format_date, format_datetime, gettext, ngettext

from audits.agreement.reading import (
    AGREEMENT_LEVEL_NAMES,
    AgreementLevel,
    AgreementReading,
)
from audits.check_trees import Standing
from audits.messages import Rounded
from audits.records import Actor, DrawTree, StageScoreRow
from audits.services.agreement import (
    AgreementView,
    AuditorStanding,
    Discussed,
    Pair,
    PairReading,
    PairView,
    WalkFigures,
    WalkStage,
)
from audits.services.calibrating import CheckAuditView, WalkAuditor, WalkView
from audits.services.second_audits import SecondAudit
from audits.storage.queries.agreement import SealedAnswer
from audits.storage.queries.photos import PhotoRow
from audits.vocabulary import (
    FAULT_NAMES,
    RESULT_NAMES,
    SIDE_NAMES,
    STAGE_NAMES,
    Result,
    Stage,
)
from webapp.auditing.places import place_words, position_words, row_name
from webapp.passes.presenters import pass_name
from webapp.passes.rows import rows_words
from webapp.reading import words

_SHAPES = {
    AgreementLevel.GOOD: ("right", "good"),
    AgreementLevel.RECALIBRATE: ("signal", "open"),
    AgreementLevel.NOT_USED: ("barred", "bad"),
    AgreementLevel.TOO_FEW: ("waiting", "open"),
    AgreementLevel.NO_FAULTS: ("nothing_due", "idle"),
}


@dataclass(frozen=True)
class ReadingLine:
    """How well a stage is agreed on: in words, as a state, and what follows."""

    stage: str
    plain: str
    sentence: str
    follows: str
    state: str
    shape: str
    tone: str


@dataclass(frozen=True)
class AuditorLine:
    """One auditor, stage by stage."""

    name: str
    since: str
    stages: list[ReadingLine]


@dataclass(frozen=True)
class PairLine:
    """Two auditors, stage by stage."""

    title: str
    url: str | None
    stages: list[ReadingLine]


@dataclass(frozen=True)
class WalkRow:
    """A calibration walk in a list."""

    title: str
    note: str
    url: str
    state: str
    shape: str
    tone: str


@dataclass(frozen=True)
class CheckRow:
    """A second audit in a list."""

    id: int
    title: str
    note: str
    may_make: bool
    is_begun: bool
    may_give_up: bool
    state: str
    shape: str
    tone: str


@dataclass(frozen=True)
class Said:
    """What one of two auditors said of a tree, with the photos."""

    name: str
    result: Result
    words: str
    photos: list[tuple[str, str]]


@dataclass(frozen=True)
class TreeToDiscuss:
    """A stage of a tree on which two auditors differ."""

    place: str
    stage: str
    said: list[Said]


@dataclass(frozen=True)
class RoundLine:
    """A tree of a round: of each stage its name, the result and the words for it."""

    url: str | None
    place: str
    side: str
    results: list[tuple[str, Result, str]]


@dataclass(frozen=True)
class PersonLine:
    """Somebody who takes part in a walk."""

    name: str
    note: str
    state: str
    shape: str
    tone: str


def auditor_lines(view: AgreementView) -> list[AuditorLine]:
    """Return every auditor with what the check trees say, by name."""
    return [
        AuditorLine(
            one.name,
            _since(one),
            [_standing(*each) for each in one.stages.items() if each[1].reading.pairs],
        )
        for one in view.auditors
    ]


def _since(one: AuditorStanding) -> str:
    if one.since is None:
        since = gettext("No calibration walk yet: all check trees count.")
    else:
        day = format_date(one.since, "medium")
        since = gettext("Check trees since the calibration walk of %(day)s.", day=day)
    if any(standing.reading.pairs for standing in one.stages.values()):
        return str(since)
    return str(gettext("The others are held against this auditor, so nothing is said here."))


def _standing(stage: Stage, standing: Standing) -> ReadingLine:
    line = _line(stage, standing.reading, "")
    if standing.reading.level is AgreementLevel.TOO_FEW:
        return line
    against = (
        gettext("Against the reference auditor")
        if standing.against_reference
        else gettext("Against the others")
    )
    return replace(line, plain=f"{against}: {_alike(standing.reading)}")


def pair_lines(pairs: Iterable[Pair], season: int | None) -> list[PairLine]:
    """Return pairs with how they agree; with a season, each leads to its page."""
    return [
        PairLine(
            str(
                gettext("%(first)s with %(second)s", first=pair.first.name, second=pair.second.name)
            ),
            None
            if season is None
            else url_for(
                "auditors.pair", first_id=pair.first.id, second_id=pair.second.id, season=season
            ),
            reading_lines(pair),
        )
        for pair in pairs
    ]


def reading_lines(pair: Pair) -> list[ReadingLine]:
    """Return how two auditors agree, stage by stage."""
    return [_pair_line(one) for one in pair.readings]


def _pair_line(one: PairReading) -> ReadingLine:
    judged = one.reading.level not in {AgreementLevel.TOO_FEW, AgreementLevel.NO_FAULTS}
    line = _line(one.stage, one.reading, _alike(one.reading) if judged else "")
    if one.reading.level is not AgreementLevel.NOT_USED:
        return line
    # Two people who differ do not tell which of them is right.
    return replace(
        line,
        state=gettext("Poor agreement"),
        follows=gettext(
            "Talk over the trees that differ. Whose scores count is said for each auditor."
        ),
    )


def _alike(reading: AgreementReading) -> str:
    return str(
        ngettext(
            "%(agreed)s of %(num)s tree alike.",
            "%(agreed)s of %(num)s trees alike.",
            reading.pairs,
            agreed=reading.agreed,
        )
    )


def _line(stage: Stage, reading: AgreementReading, plain: str) -> ReadingLine:
    shape, tone = _SHAPES[reading.level]
    return ReadingLine(
        stage=words().say(STAGE_NAMES[stage]),
        plain=plain,
        sentence=words().say(reading.sentence),
        # Beside good agreement there is nothing to do, and the state says that it is good.
        follows="" if reading.level is AgreementLevel.GOOD else words().say(reading.follows),
        state=words().say(AGREEMENT_LEVEL_NAMES[reading.level]),
        shape=shape,
        tone=tone,
    )


def walk_lines(walks: Iterable[WalkView], reader: Actor) -> list[WalkRow]:
    """Return the calibration walks, the latest first."""
    return [_walk_row(view, reader) for view in walks]


def _walk_row(view: WalkView, reader: Actor) -> WalkRow:
    if view.is_closed:
        state, shape, tone = gettext("Closed"), "right", "good"
    elif view.may_begin:
        state, shape, tone = gettext("Waits for you"), "waiting", "open"
    elif view.own_open(reader.user_id) is not None:
        state, shape, tone = gettext("You have begun"), "begun", "open"
    else:
        state, shape, tone = gettext("You are through"), "right", "open"
    note = gettext(
        "%(trees)s in %(rows)s, opened on %(day)s",
        trees=_trees(view.line.trees),
        rows=ngettext("%(num)s row", "%(num)s rows", len(view.rows)),
        day=format_date(view.line.opened_at, "medium"),
    )
    url = url_for("auditors.walk", walk_id=view.line.id)
    return WalkRow(walk_name(view), str(note), url, str(state), shape, tone)


def walk_name(view: WalkView) -> str:
    """Return what a calibration walk is called: whose trees are scored."""
    return pass_name(view.line.block, view.line.crew)


def _trees(count: int) -> str:
    return str(ngettext("%(num)s tree", "%(num)s trees", count))


def people_of_walk(view: WalkView) -> list[PersonLine]:
    """Return who takes part in a walk, by name."""
    return [_person(view, one) for one in view.auditors]


def _person(view: WalkView, one: WalkAuditor) -> PersonLine:
    if one.open_audit is not None:
        state, shape, tone = gettext("Not closed yet"), "begun", "open"
        if view.is_closed:
            state, shape, tone = gettext("Not closed: does not count"), "passed_over", "idle"
    elif one.closed:
        state = ngettext("%(num)s round closed", "%(num)s rounds closed", one.closed)
        shape, tone = "right", "good"
    else:
        state, shape, tone = gettext("Not begun"), "waiting", "open"
    note = gettext("Reference auditor") if one.is_reference else ""
    return PersonLine(one.name, str(note), str(state), shape, tone)


def waiting_checks(checks: Iterable[SecondAudit], reader: Actor) -> list[CheckRow]:
    """Return the second audits that somebody is to make."""
    return [_check_row(one, reader) for one in checks if one.waits]


def past_checks(checks: Iterable[SecondAudit]) -> list[CheckRow]:
    """Return the second audits that were made or given up."""
    return [_check_row(one, None) for one in checks if not one.waits]


def _check_row(one: SecondAudit, reader: Actor | None) -> CheckRow:
    line = one.line
    note = gettext(
        "First audit by %(auditor)s, %(when)s",
        auditor=line.auditor,
        when=format_datetime(line.chosen_at, "short"),
    )
    if one.is_made:
        state = gettext("Made by %(auditor)s", auditor=line.check_auditor or "")
        shape, tone = "right", "good"
    elif one.ended is not None:
        state, shape, tone = words().say(one.ended), "passed_over", "idle"
    elif line.check_auditor is not None:
        state = gettext("Begun by %(auditor)s", auditor=line.check_auditor)
        shape, tone = "begun", "open"
    else:
        state, shape, tone = gettext("Waits for a second auditor"), "waiting", "open"
    may_make = reader is not None and one.may_make
    return CheckRow(
        id=line.id,
        title=f"{line.block}, {rows_words(one.rows)}",
        note=str(note),
        may_make=may_make,
        is_begun=line.check_auditor is not None,
        may_give_up=reader is not None and reader.user_id != line.auditor_id,
        state=str(state),
        shape=shape,
        tone=tone,
    )


def discussed_trees(view: PairView) -> list[TreeToDiscuss]:
    """Return where two auditors differ, with what both said and their photos."""
    return [_to_discuss(view, one) for one in view.discussed]


def _to_discuss(view: PairView, one: Discussed) -> TreeToDiscuss:
    row = view.rows[one.tree.row_id]
    block = view.blocks.get(row.block_id, "")
    place = f"{block}, {row_name(row)}, {position_words(row, one.tree.position)}"
    people = (view.pair.first, view.pair.second)
    return TreeToDiscuss(
        place=f"{place}, {words().say(SIDE_NAMES[one.tree.side])}",
        stage=words().say(STAGE_NAMES[one.stage]),
        said=[
            Said(
                person.name,
                answer.result,
                _said(answer),
                [_photo(photo, person.name, place) for photo in photos],
            )
            for person, answer, photos in zip(
                people, (one.first, one.second), one.photos, strict=True
            )
        ],
    )


def _said(answer: SealedAnswer) -> str:
    faults = ", ".join(words().say(FAULT_NAMES[fault]) for fault in answer.faults)
    return faults or words().say(RESULT_NAMES[answer.result])


def _photo(photo: PhotoRow, name: str, place: str) -> tuple[str, str]:
    url = url_for("field.show_photo", audit_id=photo.audit_id, photo_id=photo.id)
    return url, str(gettext("Photo by %(name)s: %(place)s", name=name, place=place))


def round_name(view: CheckAuditView) -> str:
    """Return what a round on check trees is called."""
    if view.walk is None:
        return str(gettext("Second audit in %(block)s", block=view.block.name))
    return str(gettext("Calibration walk in %(block)s", block=view.block.name))


def round_lines(view: CheckAuditView) -> list[RoundLine]:
    """Return the trees of a round in walking order."""
    scores: dict[int, list[StageScoreRow]] = {}
    for score in view.view.scores:
        tree = view.view.tree_of_score[score.tree_score_id]
        scores.setdefault(tree.id, []).append(score)
    return [_round_line(view, tree, scores.get(tree.id, [])) for tree in view.view.walk]


def _round_line(view: CheckAuditView, tree: DrawTree, scores: Sequence[StageScoreRow]) -> RoundLine:
    by_stage = {score.stage: score for score in scores}
    audit_id = view.view.book.audit.id
    return RoundLine(
        url=None
        if view.is_closed
        else url_for("auditors.tree", audit_id=audit_id, tree_id=tree.id),
        place=place_words(tree, view.rows),
        side=words().say(SIDE_NAMES[tree.side]),
        results=[
            (words().say(STAGE_NAMES[stage]), by_stage[stage].result, _result(by_stage[stage]))
            for stage in view.view.book.draw.stages
            if stage in by_stage
        ],
    )


def _result(score: StageScoreRow) -> str:
    faults = ", ".join(words().say(FAULT_NAMES[fault]) for fault in score.faults)
    return faults or words().say(RESULT_NAMES[score.result])


def kept(view: CheckAuditView) -> str:
    """Say how many trees are kept."""
    return str(ngettext("%(num)s tree kept", "%(num)s trees kept", len(view.view.answered)))


def left(view: CheckAuditView) -> str:
    """Say how many trees are left."""
    count = len(view.view.walk) - len(view.view.answered)
    return str(ngettext("%(num)s more tree.", "%(num)s more trees.", count))


def found_lines(figures: WalkFigures, view: WalkView) -> list[tuple[str, str, str]]:
    """Say what each auditor found of what the reference auditor found; none without one."""
    if view.line.reference_id is None:
        return []
    return [
        (pair.second.name, words().say(STAGE_NAMES[one.stage]), _found(one))
        for pair in figures.pairs
        if pair.first.id == view.line.reference_id
        for one in pair.readings
        if one.reading.pairs
    ]


def _found(one: PairReading) -> str:
    (both, missed), (alarms, right) = one.table
    faults, without = both + missed, alarms + right
    found = (
        ngettext(
            "found %(found)s of %(num)s fault",
            "found %(found)s of %(num)s faults",
            faults,
            found=both,
        )
        if faults
        else gettext("no fault to find")
    )
    false = ngettext(
        "a fault on %(alarms)s of %(num)s tree without",
        "a fault on %(alarms)s of %(num)s trees without",
        without,
        alarms=alarms,
    )
    return f"{found}; {false}"


def stage_figures(figures: WalkFigures) -> list[tuple[str, str, str, str, str]]:
    """Return stage, trees, Krippendorff's alpha, Fleiss' kappa and AC1 of all auditors together."""
    return [_stage_row(one) for one in figures.stages]


def _stage_row(one: WalkStage) -> tuple[str, str, str, str, str]:
    fleiss = one.fleiss.kappa if one.fleiss is not None else None
    return (
        words().say(STAGE_NAMES[one.stage]),
        words().show(one.trees),
        with_range(one.alpha.value, one.alpha.interval),
        with_range(fleiss, None),
        with_range(one.ac1.value, one.ac1.interval),
    )


def with_range(value: float | None, interval: tuple[float, float] | None) -> str:
    """Write a coefficient with its range, or say that it cannot be told."""
    show = words().show
    if value is None:
        return str(gettext("cannot be told: all answers are the same"))
    if interval is None:
        return show(Rounded(value, 2))
    return str(
        gettext(
            "%(value)s, could be %(lower)s to %(upper)s",
            value=show(Rounded(value, 2)),
            lower=show(Rounded(max(-1.0, interval[0]), 2)),
            upper=show(Rounded(min(1.0, interval[1]), 2)),
        )
    )
