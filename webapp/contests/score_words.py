"""A score in words: where its tree stands, what it came to, and what became of a disagreement."""

from collections.abc import Iterable
from datetime import date, datetime

from flask_babel import format_date, gettext, lazy_gettext
from markupsafe import Markup

from audits.planting import place_in_row
from audits.storage.queries.contests import ContestRow
from audits.units import Length, LengthKind
from audits.vocabulary import (
    CONTEST_ANSWER_NAMES,
    FAULT_NAMES,
    RESULT_NAMES,
    SIDE_NAMES,
    STAGE_NAMES,
    Fault,
    Result,
    Side,
    Stage,
)
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.svg import to_svg
from webapp.extensions import farm_day
from webapp.passes.rows import rows_words
from webapp.reading import words

TAKEN_BACK = lazy_gettext("Taken back")
WAITS = lazy_gettext("Contested: waits for an answer")


def long_day(day: date) -> str:
    """Return a day without abbreviations, as it is read aloud."""
    return str(format_date(day, "long", rebase=False))


def day_of(moment: datetime) -> str:
    """Return the farm's day of a moment."""
    return long_day(farm_day(moment))


def row_place(block: str, row_number: int) -> str:
    """Return block and row."""
    return f"{block}, {rows_words((row_number,))}"


def tree_place(position: int, trees_per_panel: int | None) -> str:
    """Return panel and tree, or the position where no posts are recorded."""
    if trees_per_panel is None:
        return str(gettext("tree %(position)s", position=position))
    return words().show(place_in_row(position, trees_per_panel))


def side_words(side: Side) -> str:
    """Return the side that was judged."""
    return words().say(SIDE_NAMES[side])


def stage_words(stage: Stage) -> str:
    """Return a stage's name."""
    return words().say(STAGE_NAMES[stage])


def result_words(result: Result) -> str:
    """Return a result's name."""
    return words().say(RESULT_NAMES[result])


def fault_words(faults: Iterable[Fault]) -> str:
    """Return faults by name."""
    return ", ".join(words().say(FAULT_NAMES[fault]) for fault in faults)


def score_words(result: Result, faults: Iterable[Fault]) -> str:
    """Return a result in one line: its faults where it has any."""
    named = fault_words(faults)
    return f"{result_words(result)}: {named}" if named else result_words(result)


def measured_words(stage: Stage, measured_mm: Iterable[float]) -> str:
    """Return what was measured on a tree; empty where nothing was."""
    kind = LengthKind.HEIGHT if stage is Stage.TOP else LengthKind.DIAMETER
    return "; ".join(words().show(Length(mm, kind)) for mm in measured_mm)


def contest_state(row: ContestRow) -> str:
    """Return where a disagreement stands."""
    if row.answered_at is None:
        return str(WAITS)
    if row.answer is None:
        return str(TAKEN_BACK)
    return words().say(CONTEST_ANSWER_NAMES[row.answer])


def contest_place(row: ContestRow) -> str:
    """Return where the tree of a disagreement stands."""
    return (
        f"{row_place(row.block, row.row_number)}, {tree_place(row.position, row.trees_per_panel)}"
    )


def worker_words(row: ContestRow) -> str:
    """Return code and name of the worker concerned."""
    return f"{row.worker_code} {row.worker_name}".strip()


def pictogram(stage: Stage, prefix: str) -> Markup:
    """Return a stage's picture; the stage's name must stand beside it."""
    drawing = stage_pictogram(stage, stage_words(stage))
    return Markup(to_svg(drawing, id_prefix=prefix, decorative=True))  # noqa: S704 - escaped there
