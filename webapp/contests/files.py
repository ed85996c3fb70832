"""A worker's own trees as a file for a spreadsheet."""

import csv
from collections.abc import Iterable, Sequence
from io import StringIO
from typing import Final

from flask_babel import gettext

from audits.services.own_trees import OwnScore, OwnTree
from webapp.contests.score_words import (
    contest_state,
    fault_words,
    measured_words,
    result_words,
    score_words,
    side_words,
    stage_words,
)

# What makes a spreadsheet program read a cell as a formula (OWASP ASVS 5.0.0, 1.2.10).
_FORMULA_SIGNS: Final = ("=", "+", "-", "@", "\t", "\r", "\0")


def csv_text(rows: Iterable[Sequence[object]]) -> str:
    """
    Write rows as RFC 4180 has it: commas, quotes doubled, lines ended by CR LF.

    A cell that a spreadsheet program would take for a formula gets a quote in front.
    """
    text = StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    for row in rows:
        writer.writerow([_harmless(cell) for cell in row])
    return text.getvalue()


def own_rows(trees: Iterable[OwnTree]) -> list[list[object]]:
    """Return one row for each scored stage of each tree, under a line of headings."""
    return [_headings(), *(_row(own, score) for own in trees for score in own.scores)]


def _headings() -> list[object]:
    return [
        gettext("Day"),
        gettext("Block"),
        gettext("Row"),
        gettext("Tree"),
        gettext("Side"),
        gettext("Stage"),
        gettext("Result"),
        gettext("Faults"),
        gettext("Measured"),
        gettext("Counts in figures"),
        gettext("Auditor"),
        gettext("Version of the standard"),
        gettext("As first scored"),
        gettext("Reason of the change"),
        gettext("Disagreement"),
        gettext("Your words"),
        gettext("Reason of the answer"),
    ]


def _row(own: OwnTree, score: OwnScore) -> list[object]:
    tree = own.tree
    latest = score.contests[-1] if score.contests else None
    return [
        own.scored_on.isoformat(),
        tree.block,
        tree.row_number,
        tree.position,
        side_words(score.side),
        stage_words(score.stage),
        result_words(score.result),
        fault_words(score.faults),
        measured_words(score.stage, score.measured_mm),
        gettext("yes") if own.counts else gettext("no"),
        tree.auditor,
        tree.standard_version,
        score_words(score.first.result, score.first.faults) if score.first else "",
        (tree.reason or "") if score.first else "",
        contest_state(latest) if latest else "",
        latest.words if latest else "",
        (latest.reason or "") if latest else "",
    ]


def _harmless(cell: object) -> object:
    text = str(cell)
    # No reader of such files keeps a NUL, and Python's own refuses it.
    plain = text.replace("\0", "")
    return f"'{plain}" if text.startswith(_FORMULA_SIGNS) else plain
