"""A start check as its pages show it: trees, and what to show the worker."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from flask_babel import format_datetime, gettext, ngettext

from audits.plain_words import stage_words
from audits.records import DrawTree, Row, StageScoreRow, Worker
from audits.services.pass_views import PassView
from audits.services.start_checks import StartCheckView
from audits.vocabulary import FAULT_NAMES, RESULT_NAMES, SIDE_NAMES, STAGE_NAMES, Result, Stage
from webapp.auditing.places import place_words
from webapp.reading import words


@dataclass(frozen=True)
class StageResult:
    """What one stage of a tree came to."""

    stage: str
    result: Result
    words: str


@dataclass(frozen=True)
class TreeLine:
    """A tree that was looked at."""

    id: int
    place: str
    side: str
    results: list[StageResult]


@dataclass(frozen=True)
class ToShow:
    """A stage to show the worker once more."""

    stage: str
    count: str
    faults: str
    rule: str


def tree_lines(check: StartCheckView) -> list[TreeLine]:
    """Return the trees in the order in which they were looked at."""
    rows = {row.id: row for row in check.rows}
    scores = _scores_by_tree(check)
    return [
        _tree_line(tree, scores.get(tree.id, []), rows)
        for tree in check.view.tree_of_score.values()
    ]


def _tree_line(
    tree: DrawTree, scores: Iterable[StageScoreRow], rows: Mapping[int, Row]
) -> TreeLine:
    return TreeLine(
        id=tree.id,
        place=place_words(tree, rows),
        side=words().say(SIDE_NAMES[tree.side]),
        results=[
            StageResult(words().say(STAGE_NAMES[score.stage]), score.result, _result_words(score))
            for score in sorted(scores, key=lambda score: list(Stage).index(score.stage))
        ],
    )


def _result_words(score: StageScoreRow) -> str:
    faults = ", ".join(words().say(FAULT_NAMES[fault]) for fault in score.faults)
    return faults or words().say(RESULT_NAMES[score.result])


def to_show(check: StartCheckView) -> list[ToShow]:
    """Return the stages in which a tree had a fault, with what the standard asks there."""
    book = check.view.book
    lines = []
    for stage in book.draw.stages:
        wrong = [
            score
            for score in check.view.scores
            if score.stage is stage and score.result is Result.NONCONFORMING
        ]
        if wrong:
            faults = dict.fromkeys(fault for score in wrong for fault in score.faults)
            rule = stage_words(
                book.standard,
                stage,
                method=book.crew_pass.method,
                low_bloom=check.block.low_bloom,
            )
            looked_at = len(check.view.answers)
            lines.append(
                ToShow(
                    stage=words().say(STAGE_NAMES[stage]),
                    count=ngettext(
                        "%(num)s of %(trees)s trees",
                        "%(num)s of %(trees)s trees",
                        len(wrong),
                        trees=looked_at,
                    ),
                    faults=", ".join(words().say(FAULT_NAMES[fault]) for fault in faults),
                    rule=words().say(rule.headline),
                )
            )
    return lines


def right_stages(check: StartCheckView) -> list[str]:
    """Return the stages that had no fault on any tree and were due on one at least."""
    names = []
    for stage in check.view.book.draw.stages:
        results = {score.result for score in check.view.scores if score.stage is stage}
        if Result.CONFORMING in results and Result.NONCONFORMING not in results:
            names.append(words().say(STAGE_NAMES[stage]))
    return names


def people_to_check(view: PassView) -> list[Worker]:
    """Return the workers of the crew, those without a start check first."""
    checked = {check.worker_id for check in view.start_checks}
    return sorted(view.people, key=lambda worker: worker.id in checked)


def worker_notes(view: PassView) -> dict[str, str]:
    """Return for each worker who was looked at already when that was."""
    return {
        str(check.worker_id): gettext(
            "Looked at: %(trees)s, %(when)s",
            trees=ngettext("%(num)s tree", "%(num)s trees", check.trees),
            when=format_datetime(check.started_at, "short"),
        )
        if check.sealed_at is not None
        else gettext("Begun and not closed: goes on")
        for check in view.start_checks
    }


def _scores_by_tree(check: StartCheckView) -> dict[int, list[StageScoreRow]]:
    scores: dict[int, list[StageScoreRow]] = {}
    for score in check.view.scores:
        tree = check.view.tree_of_score[score.tree_score_id]
        scores.setdefault(tree.id, []).append(score)
    return scores
