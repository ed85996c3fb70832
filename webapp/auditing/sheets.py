"""The trees of an audit as lists and as strips of their rows."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from flask import url_for
from flask_babel import gettext, ngettext
from markupsafe import Markup

from audits.records import DrawTree, Row, StageScoreRow
from audits.services.verdicts import VerdictView
from audits.storage.queries.contests import ScoreKey
from audits.vocabulary import (
    FAULT_NAMES,
    RESULT_NAMES,
    SIDE_NAMES,
    STAGE_NAMES,
    Fault,
    Result,
    Stage,
)
from printables.drawing.strip import StripLabels, TreeMark, row_strip
from printables.drawing.svg import to_svg
from webapp.auditing.device import is_desk
from webapp.auditing.places import place_words, row_name
from webapp.reading import words


@dataclass(frozen=True)
class FaultyLine:
    """A stage of a tree that fails, with its faults and whose result it is."""

    place: str
    url: str
    stage: str
    faults: str
    who: str
    is_contested: bool


@dataclass(frozen=True)
class TreeLine:
    """A tree of the walk with what each stage came to, and whether somebody disagrees."""

    place: str
    url: str
    side: str
    results: Sequence[tuple[Result, str, bool]]
    at_desk: bool


@dataclass(frozen=True)
class VersionLine:
    """One version of a tree's answers."""

    number: int
    at: datetime
    by: str
    reason: str | None
    results: str


@dataclass(frozen=True)
class AmendedTree:
    """A tree with every version of its answers, as first sent first."""

    place: str
    versions: Sequence[VersionLine]


@dataclass(frozen=True)
class Strip:
    """A row of the lot as a drawing, with its words."""

    name: str
    note: str
    drawing: Markup


def faulty_lines(view: VerdictView, contested: Collection[ScoreKey]) -> list[FaultyLine]:
    """Return what fails, tree by tree in walking order."""
    return [
        FaultyLine(
            place=place_words(tree, view.rows),
            url=tree_url(view, tree),
            stage=words().say(STAGE_NAMES[score.stage]),
            faults=fault_words(score.faults),
            who=_who(view, score.worker_id),
            is_contested=(view.view.book.audit.id, tree.id, score.stage) in contested,
        )
        for tree, scores in _by_tree(view)
        for score in scores
        if score.result is Result.NONCONFORMING
    ]


def tree_lines(view: VerdictView, contested: Collection[ScoreKey]) -> list[TreeLine]:
    """Return every tree of the walk with its results, those still to score too."""
    by_stage = {
        tree.id: {score.stage: score.result for score in scores} for tree, scores in _by_tree(view)
    }
    at_desk = typed_at_desk(view)
    return [
        TreeLine(
            place=place_words(tree, view.rows),
            url=tree_url(view, tree),
            side=words().say(SIDE_NAMES[tree.side]),
            results=[
                (
                    result,
                    words().say(RESULT_NAMES[result]),
                    (view.view.book.audit.id, tree.id, stage) in contested,
                )
                for stage, result in (
                    (stage, by_stage.get(tree.id, {}).get(stage, Result.NOT_SCORED))
                    for stage in view.view.book.draw.stages
                )
            ],
            at_desk=tree.id in at_desk,
        )
        for tree in view.view.walk
    ]


def typed_at_desk(view: VerdictView) -> set[int]:
    """Return the trees whose answers were typed in from paper."""
    return {tree_id for tree_id, row in view.view.answered.items() if is_desk(row.device)}


def amended_trees(view: VerdictView) -> list[AmendedTree]:
    """Return the trees that were amended, each with all its versions."""
    return [
        AmendedTree(place_words(tree, view.rows), versions_of(view, tree))
        for tree in view.view.walk
        if tree.id in view.versions
    ]


def versions_of(view: VerdictView, tree: DrawTree) -> list[VersionLine]:
    """Return the versions of an amended tree, as first sent first; none if it never was."""
    auditor = view.view.book.audit.auditor_id
    return [
        VersionLine(
            number=row.version,
            at=row.recorded_at,
            by=view.people.get(row.amended_by or auditor, ""),
            reason=row.reason,
            results=result_words(view.version_scores.get(row.id, ())),
        )
        for row in view.versions.get(tree.id, ())
    ]


def row_strips(view: VerdictView) -> list[Strip]:
    """Return each row of the lot with its sampled and its nonconforming trees."""
    return [_strip(row, marks) for row, marks in row_marks(view)]


def row_marks(view: VerdictView) -> list[tuple[Row, list[TreeMark]]]:
    """Return each row of the lot with one mark a position."""
    marks = {
        (tree.orchard_row_id, tree.position): TreeMark.NONCONFORMING
        if any(score.result is Result.NONCONFORMING for score in scores)
        else TreeMark.CONFORMING
        for tree, scores in _by_tree(view)
    }
    return [
        (row, [_mark(view, row, position, marks) for position in _positions(row)])
        for row in _rows_in_order(view)
    ]


def tree_url(view: VerdictView, tree: DrawTree) -> str:
    """Return where a tree's answers are given, changed, or amended once the audit is sealed."""
    audit = view.view.book.audit
    endpoint = "auditing.tree" if audit.sealed_at is None else "auditing.amend"
    return url_for(endpoint, audit_id=audit.id, tree_id=tree.id)


def fault_words(faults: Iterable[Fault]) -> str:
    """Return faults by name."""
    return ", ".join(words().say(FAULT_NAMES[fault]) for fault in faults)


def result_words(scores: Iterable[StageScoreRow]) -> str:
    """Return what each stage came to, in one line."""
    return "; ".join(
        f"{words().say(STAGE_NAMES[score.stage])}: "
        f"{fault_words(score.faults) or words().say(RESULT_NAMES[score.result])}"
        for score in sorted(scores, key=lambda score: list(Stage).index(score.stage))
    )


def _by_tree(view: VerdictView) -> list[tuple[DrawTree, list[StageScoreRow]]]:
    """Return the scored trees with their scores, in walking order."""
    scores: dict[int, list[StageScoreRow]] = {}
    for score in view.view.scores:
        tree_id = view.view.tree_of_score[score.tree_score_id].id
        scores.setdefault(tree_id, []).append(score)
    return [(tree, scores[tree.id]) for tree in view.view.walk if tree.id in scores]


def _who(view: VerdictView, worker_id: int | None) -> str:
    if worker_id is None:
        return str(gettext("shared by the crew"))
    worker = view.workers[worker_id]
    return f"{worker.code} {worker.name}".strip()


def _rows_in_order(view: VerdictView) -> list[Row]:
    return sorted(view.rows.values(), key=lambda row: row.number)


def _positions(row: Row) -> range:
    return range(1, row.tree_count + 1)


def _mark(
    view: VerdictView, row: Row, position: int, marks: dict[tuple[int, int], TreeMark]
) -> TreeMark:
    in_lot = any(
        part.orchard_row_id == row.id and part.first_position <= position <= part.last_position
        for part, _ in view.ranges
    )
    if not in_lot or position not in view.bearing[row.id]:
        return TreeMark.OUTSIDE
    return marks.get((row.id, position), TreeMark.PLAIN)


def _strip(row: Row, marks: Sequence[TreeMark]) -> Strip:
    faulty = marks.count(TreeMark.NONCONFORMING)
    sampled = faulty + marks.count(TreeMark.CONFORMING)
    note = gettext(
        "%(sampled)s; %(faulty)s.",
        sampled=ngettext("%(num)s tree looked at", "%(num)s trees looked at", sampled),
        faulty=ngettext("%(num)s with a fault", "%(num)s with a fault", faulty),
    )
    labels = StripLabels(
        title=row_name(row),
        description=note,
        start=gettext("Start (%(end)s)", end=row.start_end),
        end=gettext("End"),
        plain=gettext("Not looked at"),
        conforming=gettext("Right"),
        nonconforming=gettext("Fault"),
        outside=gettext("Not in this lot"),
    )
    drawing = row_strip(marks, labels, row.trees_per_panel)
    return Strip(
        name=row_name(row),
        note=note,
        drawing=Markup(to_svg(drawing, id_prefix=f"strip-{row.id}")),  # noqa: S704 - escaped there
    )
