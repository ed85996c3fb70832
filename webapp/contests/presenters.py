"""Own trees and disagreements as their pages show them."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from flask import url_for
from flask_babel import gettext
from markupsafe import Markup

from audits.scoring import judged_side
from audits.services.contesting import ContestView
from audits.services.own_trees import OwnScore, OwnTree
from audits.storage.queries.contests import ContestRow
from audits.storage.queries.photos import PhotoRow
from audits.vocabulary import Result, Side, Stage
from webapp.access import actor
from webapp.contests.score_words import (
    contest_place,
    contest_state,
    day_of,
    fault_words,
    long_day,
    measured_words,
    pictogram,
    result_words,
    row_place,
    score_words,
    side_words,
    stage_words,
    tree_place,
    worker_words,
)
from webapp.reading import words

# A right answer needs no key: nobody asks to be scored worse.
_WORTH_A_KEY = frozenset({Result.NONCONFORMING, Result.NOT_DUE})


@dataclass(frozen=True)
class Photo:
    """A photo, and what a person who cannot see it hears."""

    url: str
    alt: str


@dataclass(frozen=True)
class ContestNote:
    """A disagreement as the worker reads it."""

    id: int
    state: str
    is_open: bool
    is_mine: bool
    sentences: list[str]


@dataclass(frozen=True)
class ScoreView:
    """One stage of one tree."""

    id: str
    stage: Stage
    name: str
    side: str
    result: Result
    result_words: str
    faults: str
    measured: str
    change: list[str]
    contests: list[ContestNote]
    disagree_url: str | None


@dataclass(frozen=True)
class TreeView:
    """One tree."""

    place: str
    scores: list[ScoreView]
    photos: list[Photo]


@dataclass(frozen=True)
class GroupView:
    """The trees of one row in one audit."""

    heading: str
    notes: list[str]
    trees: list[TreeView]


@dataclass(frozen=True)
class OpenLine:
    """A disagreement in the crew lead's list."""

    id: int
    place: str
    stage: Stage
    name: str
    side: str
    picture: Markup
    result: Result | None
    result_words: str
    faults: str
    measured: str
    worker: str
    worker_url: str
    audit_url: str
    scored: str
    raised: str
    words: str
    is_late: bool
    hindrance: str
    photos: list[Photo]


@dataclass(frozen=True)
class AnsweredLine:
    """A disagreement that was answered."""

    place: str
    name: str
    worker: str
    state: str
    reason: str
    answered: str


def group_views(trees: Iterable[OwnTree]) -> list[GroupView]:
    """Return the trees by audit and row, in the order given."""
    groups = groupby(trees, key=lambda own: (own.tree.audit_id, own.tree.row_number))
    return [_group(list(found)) for _, found in groups]


def stage_pictures() -> dict[Stage, Markup]:
    """Return each stage's picture, to be drawn once and shown wherever the stage is named."""
    return {stage: pictogram(stage, f"drawn-{stage}") for stage in Stage}


def contest_notes(rows: Iterable[ContestRow]) -> list[tuple[str, str, ContestNote]]:
    """Return a worker's disagreements with place and stage."""
    return [(contest_place(row), stage_words(row.stage), _note(row)) for row in rows]


def open_line(view: ContestView) -> OpenLine:
    """Return a disagreement as crew leads see it."""
    row = view.row
    return OpenLine(
        id=row.id,
        place=contest_place(row),
        stage=row.stage,
        name=stage_words(row.stage),
        side=side_words(judged_side(row.stage, row.side)),
        picture=pictogram(row.stage, f"contest-{row.id}"),
        result=row.result,
        result_words=result_words(row.result) if row.result else "",
        faults=fault_words(row.faults or ()),
        measured=measured_words(row.stage, row.measured_mm or ()),
        worker=worker_words(row),
        worker_url=url_for("contests.trees_of_worker", worker_id=row.worker_id),
        audit_url=url_for("auditing.trees", audit_id=row.audit_id),
        scored=gettext(
            "Scored by %(name)s on %(day)s", name=row.auditor, day=day_of(row.sealed_at)
        ),
        raised=_raised(row),
        words=row.words,
        is_late=view.is_late,
        hindrance="" if view.hindrance is None else words().say(view.hindrance),
        photos=[_photo(photo, contest_place(row)) for photo in view.photos],
    )


def answered_line(row: ContestRow) -> AnsweredLine:
    """Return a disagreement with its answer."""
    answered = ""
    if row.answered_at is not None:
        answered = gettext(
            "Answered by %(name)s on %(day)s",
            name=row.answered_by_name or "",
            day=day_of(row.answered_at),
        )
    return AnsweredLine(
        place=contest_place(row),
        name=stage_words(row.stage),
        worker=worker_words(row),
        state=contest_state(row),
        reason=row.reason or "",
        answered=answered,
    )


def _group(trees: list[OwnTree]) -> GroupView:
    first = trees[0]
    notes = [
        gettext("Scored by %(name)s.", name=first.tree.auditor),
        gettext("Standard: version %(number)s.", number=first.tree.standard_version),
    ]
    if not first.counts:
        notes.append(gettext("Start check: for learning. It counts in no figure."))
    else:
        # An amendment gives a tree more days than its neighbours have.
        last = min(tree.disagree_until for tree in trees)
        if any(score.may_disagree for tree in trees for score in tree.scores):
            notes.append(gettext("You can disagree until %(day)s.", day=long_day(last)))
    row = row_place(first.tree.block, first.tree.row_number)
    return GroupView(
        heading=f"{long_day(first.scored_on)}: {row}",
        notes=notes,
        trees=[_tree(tree) for tree in trees],
    )


def _tree(own: OwnTree) -> TreeView:
    place = tree_place(own.tree.position, own.tree.trees_per_panel)
    return TreeView(
        place=f"{place[:1].upper()}{place[1:]}",
        scores=[_score(own, score) for score in own.scores],
        photos=[_photo(photo, place) for photo in own.photos],
    )


def _score(own: OwnTree, score: OwnScore) -> ScoreView:
    tree = own.tree
    key = f"score-{tree.audit_id}-{tree.draw_tree_id}-{score.stage}"
    disagrees = score.may_disagree and score.result in _WORTH_A_KEY
    return ScoreView(
        id=key,
        stage=score.stage,
        name=stage_words(score.stage),
        side="" if score.side is Side.BOTH else side_words(score.side),
        result=score.result,
        result_words=result_words(score.result),
        faults=fault_words(score.faults),
        measured=measured_words(score.stage, score.measured_mm),
        change=_change(own, score),
        contests=[_note(row) for row in score.contests],
        disagree_url=url_for(
            "contests.disagree",
            audit_id=tree.audit_id,
            tree_id=tree.draw_tree_id,
            stage=score.stage,
        )
        if disagrees
        else None,
    )


def _change(own: OwnTree, score: OwnScore) -> list[str]:
    if score.first is None:
        return []
    return [
        gettext(
            "As first scored: %(before)s.",
            before=score_words(score.first.result, score.first.faults),
        ),
        gettext("Now: %(now)s.", now=score_words(score.result, score.faults)),
        gettext(
            "Changed by %(name)s. Reason: %(reason)s",
            name=own.tree.amended_by or "",
            reason=own.tree.reason or "",
        ),
    ]


def _note(row: ContestRow) -> ContestNote:
    sentences = [_raised(row)]
    if row.words:
        sentences.append(gettext("Your words: %(words)s", words=row.words))
    if row.answer is not None and row.answered_at is not None:
        sentences.append(
            gettext(
                "%(name)s answered on %(day)s: %(reason)s",
                name=row.answered_by_name or "",
                day=day_of(row.answered_at),
                reason=row.reason or "",
            )
        )
    return ContestNote(
        id=row.id,
        state=contest_state(row),
        is_open=row.answered_at is None,
        # Whoever disagreed, or for whom somebody did, may say more or take it back.
        is_mine=actor().user_id == row.raised_by or actor().worker_id == row.worker_id,
        sentences=sentences,
    )


def _raised(row: ContestRow) -> str:
    return str(
        gettext(
            "Disagreed on %(day)s: %(name)s.", day=day_of(row.raised_at), name=row.raised_by_name
        )
    )


def _photo(photo: PhotoRow, place: str) -> Photo:
    if photo.stage is None:
        alt = gettext("Photo: %(place)s", place=place)
    else:
        alt = gettext("Photo: %(place)s, %(stage)s", place=place, stage=stage_words(photo.stage))
    return Photo(url=url_for("contests.photo", photo_id=photo.id), alt=str(alt))
