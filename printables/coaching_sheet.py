"""The coaching sheet of one worker: one stage, what was seen, what right looks like; one page."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from audits.coaching_words import (
    FAULT_WORDS,
    REASON_WORDS,
    CoachingReason,
    card_words,
    practice_words,
)
from audits.messages import Message, Words, say, say_n
from audits.plain_words import stage_words
from audits.standard import Standard
from audits.vocabulary import (
    FAULT_NAMES,
    STAGE_NAMES,
    TRAINING_KIND_NAMES,
    Fault,
    Method,
    Result,
    Stage,
    TrainingKind,
)
from printables.document import Document
from printables.drawing.inks import Ink
from printables.drawing.pictograms import SIZE_MM as PICTOGRAM_MM
from printables.drawing.pictograms import result_tile, stage_pictogram
from printables.drawing.primitives import Drawing, Line, Rect, Shape
from printables.fault_pictures import fault_picture
from printables.flow import content_height, content_width, paged, titled
from printables.fonts import require_letters
from printables.paragraphs import Run, paragraph, stacked
from printables.sheet import Page
from printables.stage_pictures import stage_picture

TITLE_PT: Final = 18.0
STAGE_PT: Final = 22.0
LEAD_PT: Final = 14.0
TEXT_PT: Final = 12.0

GAP_MM: Final = 3.0

# Widths of the picture of right work, the largest first; letters in it stay above 12 points.
_PICTURES_MM: Final = (66.0, 56.0, 47.0)
_FRAME_MM: Final = 3.0
_TILE_MM: Final = 7.4
_TILE_STEP_MM: Final = 8.6
_PICTOGRAM_MM: Final = 20.0


@dataclass(frozen=True)
class SeenOnSheet:
    """
    A fault, and on how many trees it was seen.

    Parameters
    ----------
    fault : Fault
        The fault.
    trees : int or None
        Trees on which it was named; None where no figure may be shown.
    """

    fault: Fault
    trees: int | None


@dataclass(frozen=True)
class SinceLast:
    """
    Trees before and after the latest training.

    Parameters
    ----------
    held_on : date
        Its day.
    kind : TrainingKind
        Its kind.
    before, after : tuple of int and int
        Nonconforming and due trees.
    """

    held_on: date
    kind: TrainingKind
    before: tuple[int, int]
    after: tuple[int, int]


@dataclass(frozen=True)
class CoachingSheet:
    """
    A coaching sheet, ready to be printed.

    Parameters
    ----------
    farm, worker : str
        Their names.
    issued_on : date
        The day of the sheet.
    reason : CoachingReason
        Why this stage, or none.
    stage : Stage or None
        The stage to work on, or the one that went well; None if there are too few trees.
    block : str, optional
        The block whose standard is drawn.
    version : int or None, optional
        Number of that standard's version.
    standard : Standard or None, optional
        The standard; without it no picture of right work is drawn.
    method : Method, optional
        How the crew works.
    reading : Message or None, optional
        What may be said of the stage's trees.
    faults : tuple of SeenOnSheet, optional
        The faults seen most often, at most two.
    latest : tuple of bool, optional
        The latest due trees in scoring order, at most 20: whether each is nonconforming.
    since : SinceLast or None, optional
        Before and after the latest training.
    trained : tuple of tuple of date and TrainingKind, optional
        The latest trainings in this stage.
    notes : tuple of Message, optional
        What stands beside the reading: contested trees, and trees that do not count.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    """

    farm: str
    worker: str
    issued_on: date
    reason: CoachingReason
    stage: Stage | None
    block: str = ""
    version: int | None = None
    standard: Standard | None = None
    method: Method = Method.LADDER
    reading: Message | None = None
    faults: tuple[SeenOnSheet, ...] = ()
    latest: tuple[bool, ...] = ()
    since: SinceLast | None = None
    trained: tuple[tuple[date, TrainingKind], ...] = ()
    notes: tuple[Message, ...] = ()

    def __post_init__(self) -> None:
        require_letters({"farm": self.farm, "worker": self.worker, "block": self.block})

    @property
    def works_on_it(self) -> bool:
        """Whether there is something to work on."""
        return self.reason not in {CoachingReason.NOTHING, CoachingReason.TOO_FEW}


def coaching_sheet(sheet: CoachingSheet, words: Words, *, page: Page = Page.LETTER) -> Document:
    """
    Print a coaching sheet on one page.

    Parameters
    ----------
    sheet : CoachingSheet
        What it says.
    words : Words
        The worker's language and the farm's units.
    page : Page, optional
        The paper.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    width = content_width(page)
    title = say("Coaching sheet: %(name)s", name=sheet.worker)
    return paged(
        [titled(sheet_pieces(sheet, words, width, content_height(page)))],
        lambda _number, _count: _footer(words, width),
        page=page,
        title=words.say(title),
        author=sheet.farm,
        language=words.language,
        gap_mm=GAP_MM,
    )


def sheet_pieces(
    sheet: CoachingSheet, words: Words, width_mm: float, room_mm: float
) -> list[Drawing]:
    """
    Set what stands on a coaching sheet, with pictures as large as one page has room for.

    Parameters
    ----------
    sheet : CoachingSheet
        What it says.
    words : Words
        The worker's language and the farm's units.
    width_mm : float
        Width between the margins.
    room_mm : float
        Height between the margins.

    Returns
    -------
    list of Drawing
        The pieces, from top to bottom.
    """
    # Trainings give way before anything else does, the earlier ones first.
    for trainings in (len(sheet.trained), 1, 0):
        told = replace(sheet, trained=sheet.trained[:trainings])
        for picture_mm in _PICTURES_MM:
            pieces = _pieces(told, words, width_mm, picture_mm)
            if sum(piece.height_mm + GAP_MM for piece in pieces) - GAP_MM <= room_mm:
                return pieces
    return pieces


def _pieces(
    sheet: CoachingSheet, words: Words, width_mm: float, picture_mm: float
) -> list[Drawing]:
    pieces = [_head(sheet, words, width_mm)]
    if sheet.stage is None:
        return [
            *pieces,
            _lines([[Run(words.say(REASON_WORDS[sheet.reason]), bold=True)]], width_mm, LEAD_PT),
            *(paragraph([Run(words.say(note))], width_mm, TEXT_PT) for note in sheet.notes),
            *_every_stage(sheet, words, width_mm),
        ]
    return [
        *pieces,
        _stage_head(sheet, sheet.stage, words, width_mm),
        *_pictures(sheet, sheet.stage, words, (width_mm, picture_mm)),
        *_to_do(sheet, sheet.stage, words, width_mm),
        *_trend(sheet, words, width_mm),
    ]


def _head(sheet: CoachingSheet, words: Words, width_mm: float) -> Drawing:
    title = words.say(say("Coaching sheet: %(name)s", name=sheet.worker))
    below = [words.show(sheet.issued_on), sheet.farm]
    if sheet.version is not None:
        below.append(
            words.say(
                say(
                    "%(block)s, standard %(version)s",
                    block=sheet.block,
                    version=str(sheet.version),
                )
            )
        )
    parts = [
        paragraph([Run(title, bold=True)], width_mm, TITLE_PT),
        paragraph([Run(". ".join(below) + ".")], width_mm, TEXT_PT),
    ]
    return stacked(parts, width_mm, 1.0, title)


def _stage_head(sheet: CoachingSheet, stage: Stage, words: Words, width_mm: float) -> Drawing:
    name = words.say(STAGE_NAMES[stage])
    heading = say("Work on one thing: %(stage)s", stage=say(STAGE_NAMES[stage]))
    if not sheet.works_on_it:
        heading = say(STAGE_NAMES[stage])
    left = _PICTOGRAM_MM + 5.0
    room = width_mm - left
    said = [Run(words.say(REASON_WORDS[sheet.reason]))]
    if sheet.reading is not None:
        said.append(Run(words.say(sheet.reading)))
    said += [Run(words.say(note)) for note in sheet.notes]
    letters = stacked(
        [
            paragraph([Run(words.say(heading), bold=True)], room, STAGE_PT, leading=1.15),
            paragraph(said, room, TEXT_PT),
        ],
        room,
        1.2,
    )
    height = max(letters.height_mm + 2.0, _PICTOGRAM_MM) + 2.5
    return Drawing(
        width_mm,
        height,
        (
            Line((0.0, 0.0), (width_mm, 0.0), Ink.HEAVY_LINE),
            stage_pictogram(stage, name).at(0.5, 2.5, _PICTOGRAM_MM / PICTOGRAM_MM),
            letters.at(left, 2.5),
        ),
        name,
    )


def _pictures(
    sheet: CoachingSheet, stage: Stage, words: Words, sizes_mm: tuple[float, float]
) -> list[Drawing]:
    """Set what was seen beside what is right, each as large as there is room for."""
    width_mm, picture_mm = sizes_mm
    if sheet.standard is None:
        return []
    seen = sheet.faults if sheet.works_on_it else ()
    if not seen:
        right = _right(sheet, stage, words, sizes_mm)
        framed = (*_frame(0.0, width_mm, right.height_mm), right.at(0.0, 0.0))
        return [Drawing(width_mm, right.height_mm, framed, right.title)]
    gap = 4.0
    # Two pictures with letters of their own, which must not come out below 12 points.
    left_width = (width_mm - gap) * 0.6
    left = _seen(seen, sheet.standard, words, left_width)
    right = _right(sheet, stage, words, (width_mm - gap - left_width, picture_mm))
    height = max(left.height_mm, right.height_mm)
    return [
        Drawing(
            width_mm,
            height,
            (
                *_frame(0.0, left_width, height),
                left.at(0.0, 0.0),
                *_frame(left_width + gap, width_mm - gap - left_width, height),
                right.at(left_width + gap, 0.0),
            ),
            f"{left.title}. {right.title}",
        )
    ]


def _frame(left_mm: float, width_mm: float, height_mm: float) -> tuple[Shape, ...]:
    return (Rect(left_mm + 0.2, 0.2, width_mm - 0.4, height_mm - 0.4, Ink.FRAME, 1.2),)


def _seen(
    seen: Sequence[SeenOnSheet], standard: Standard, words: Words, width_mm: float
) -> Drawing:
    inner = width_mm - 2 * _FRAME_MM
    gap = 4.0
    column = (inner - gap * (len(seen) - 1)) / len(seen)
    side = min(column, 62.0)
    columns = []
    for each in seen:
        drawn = fault_picture(standard, each.fault, words)
        scale = side / drawn.width_mm if len(seen) > 1 else min(side, 62.0) / drawn.height_mm
        picture = Drawing(column, drawn.height_mm * scale, (drawn.at(0.0, 0.0, scale),), "")
        columns.append(
            stacked(
                [
                    picture,
                    paragraph(
                        [Run(words.say(FAULT_NAMES[each.fault]), bold=True)], column, LEAD_PT
                    ),
                    *_on_trees(each, words, column),
                    paragraph([Run(words.say(FAULT_WORDS[each.fault].why))], column, TEXT_PT),
                ],
                column,
                1.2,
            )
        )
    heading = words.say(say("Seen"))
    return _titled(Result.NONCONFORMING, heading, columns, (column + gap, width_mm))


def _on_trees(each: SeenOnSheet, words: Words, width_mm: float) -> list[Drawing]:
    if each.trees is None:
        return []
    said = say_n("on %(count)s tree", "on %(count)s trees", each.trees)
    return [paragraph([Run(words.say(said))], width_mm, TEXT_PT)]


def _right(
    sheet: CoachingSheet, stage: Stage, words: Words, sizes_mm: tuple[float, float]
) -> Drawing:
    width_mm, picture_mm = sizes_mm
    standard = sheet.standard
    if standard is None:
        return Drawing(width_mm, 0.0, (), "")
    inner = width_mm - 2 * _FRAME_MM
    drawn = stage_picture(standard, stage, words, method=sheet.method)
    scale = min(inner, picture_mm) / drawn.width_mm
    picture = Drawing(inner, drawn.height_mm * scale, (drawn.at(0.0, 0.0, scale),), "")
    said = stage_words(standard, stage, method=sheet.method)
    headline = paragraph([Run(words.say(said.headline), bold=True)], inner, LEAD_PT)
    column = stacked([picture, headline], inner, 1.6)
    return _titled(Result.CONFORMING, words.say(say("Right")), [column], (inner, width_mm))


def _titled(
    result: Result, heading: str, columns: Sequence[Drawing], steps_mm: tuple[float, float]
) -> Drawing:
    """Put a tile and its word above columns that stand side by side."""
    step, width_mm = steps_mm
    tile = 8.0
    head = paragraph([Run(heading, bold=True)], width_mm - 2 * _FRAME_MM - tile - 2.0, LEAD_PT)
    top = _FRAME_MM + tile + 2.0
    shapes: list[Shape] = [
        result_tile(result, heading).at(_FRAME_MM, _FRAME_MM, tile / PICTOGRAM_MM),
        head.at(_FRAME_MM + tile + 2.0, _FRAME_MM + (tile - head.height_mm) / 2),
    ]
    shapes += [column.at(_FRAME_MM + number * step, top) for number, column in enumerate(columns)]
    height = top + max(column.height_mm for column in columns) + _FRAME_MM
    return Drawing(width_mm, height, tuple(shapes), heading)


def _to_do(sheet: CoachingSheet, stage: Stage, words: Words, width_mm: float) -> list[Drawing]:
    if not sheet.works_on_it:
        return []
    steps = [[Run(words.say(FAULT_WORDS[each.fault].instead), bold=True)] for each in sheet.faults]
    return [
        _lines(
            [
                *steps,
                [
                    Run(words.say(say("Take:")), bold=True),
                    Run(words.say(card_words(stage))),
                ],
                [
                    Run(words.say(say("Practice:")), bold=True),
                    Run(words.say(practice_words())),
                ],
            ],
            width_mm,
            LEAD_PT,
        )
    ]


def _lines(lines: Sequence[Sequence[Run]], width_mm: float, size_pt: float) -> Drawing:
    return stacked([paragraph(line, width_mm, size_pt) for line in lines], width_mm, 1.4)


def _trend(sheet: CoachingSheet, words: Words, width_mm: float) -> list[Drawing]:
    if not sheet.latest:
        return []
    heading = say_n(
        "The last %(count)s tree, the newest on the right",
        "The last %(count)s trees, the newest on the right",
        len(sheet.latest),
    )
    names = {True: words.say(say("Fault")), False: words.say(say("Right"))}
    tiles = tuple(
        result_tile(
            Result.NONCONFORMING if nonconforming else Result.CONFORMING, names[nonconforming]
        ).at(number * _TILE_STEP_MM, 0.0, _TILE_MM / PICTOGRAM_MM)
        for number, nonconforming in enumerate(sheet.latest)
    )
    parts = [
        paragraph([Run(words.say(heading), bold=True)], width_mm, TEXT_PT),
        Drawing(width_mm, _TILE_MM, tiles, words.say(heading)),
        *(
            paragraph([Run(words.say(said))], width_mm, TEXT_PT)
            for said in (*_since(sheet), *_trained(sheet, words))
        ),
    ]
    return [stacked(parts, width_mm, 1.6, words.say(heading))]


def _since(sheet: CoachingSheet) -> list[Message]:
    if sheet.since is None:
        return []
    before, after = sheet.since.before, sheet.since.after
    return [
        say(
            "Before %(day)s: %(wrong_before)s of %(before)s trees wrong. "
            "Since then: %(wrong_after)s of %(after)s.",
            day=sheet.since.held_on,
            wrong_before=before[0],
            before=before[1],
            wrong_after=after[0],
            after=after[1],
        )
    ]


def _trained(sheet: CoachingSheet, words: Words) -> list[Message]:
    if not sheet.trained:
        return []
    shown = "; ".join(
        f"{words.show(day)}, {words.say(TRAINING_KIND_NAMES[kind])}" for day, kind in sheet.trained
    )
    return [say("Training: %(trainings)s.", trainings=shown)]


def _every_stage(sheet: CoachingSheet, words: Words, width_mm: float) -> list[Drawing]:
    """Show what right looks like in each stage, two in a row."""
    if sheet.standard is None:
        return []
    half = (width_mm - 4.0) / 2
    panels = []
    for stage in sheet.standard.stages_in_use:
        drawn = stage_picture(sheet.standard, stage, words, method=sheet.method)
        scale = 64.0 / drawn.height_mm
        headline = stage_words(sheet.standard, stage, method=sheet.method).headline
        panels.append(
            stacked(
                [
                    paragraph([Run(words.say(STAGE_NAMES[stage]), bold=True)], half, LEAD_PT),
                    Drawing(half, 64.0, (drawn.at(0.0, 0.0, scale),), drawn.title),
                    paragraph([Run(words.say(headline))], half, LEAD_PT),
                ],
                half,
                1.2,
            )
        )
    rows = [panels[place : place + 2] for place in range(0, len(panels), 2)]
    return [
        Drawing(
            width_mm,
            max(panel.height_mm for panel in row),
            tuple(panel.at(number * (half + 4.0), 0.0) for number, panel in enumerate(row)),
            "",
        )
        for row in rows
    ]


def _footer(words: Words, width_mm: float) -> Drawing:
    said = words.say(say("Do you see it differently? Say so. A score can be looked at again."))
    return paragraph([Run(said, ink=Ink.SOFT)], width_mm, TEXT_PT)
