"""The crew leader's sheet: where the crew stands by stage, what to show and why; one page."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from audits.coaching_words import FAULT_WORDS
from audits.messages import Message, Words, say, say_n
from audits.standard import Standard
from audits.vocabulary import (
    FAULT_NAMES,
    STAGE_NAMES,
    TRAINING_KIND_NAMES,
    Stage,
    TrainingKind,
)
from printables.coaching_sheet import LEAD_PT, TEXT_PT, TITLE_PT, SeenOnSheet
from printables.document import Document
from printables.drawing.inks import Ink
from printables.drawing.pictograms import SIZE_MM as PICTOGRAM_MM
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.primitives import Drawing, Line, Shape
from printables.fault_pictures import fault_picture
from printables.flow import content_height, content_width, paged, titled
from printables.fonts import require_letters
from printables.paragraphs import Run, paragraph, stacked
from printables.sheet import Page

_PICTOGRAM_MM: Final = 13.0
_PICTURE_MM: Final = 27.0
_TOP_MM: Final = 2.2
_GAP_MM: Final = 2.5
# Faults of a stage and trainings that are told; the first pair for which there is room is taken.
_LENGTHS: Final = ((2, 3), (1, 3), (1, 1), (1, 0))


@dataclass(frozen=True)
class CrewSheetStage:
    """
    A stage of the crew.

    Parameters
    ----------
    stage : Stage
        The stage.
    reading : Message or None
        What may be said of its trees; None where figures are held back.
    faults : tuple of SeenOnSheet
        The faults seen most often, the first with its picture.
    notes : tuple of Message, optional
        What stands beside the reading: trees that do not count.
    """

    stage: Stage
    reading: Message | None
    faults: tuple[SeenOnSheet, ...]
    notes: tuple[Message, ...] = ()


@dataclass(frozen=True)
class CrewSheet:
    """
    A crew leader's sheet, ready to be printed.

    Parameters
    ----------
    farm, crew : str
        Their names.
    issued_on : date
        The day of the sheet.
    season : str
        The season, as people call it.
    standard : Standard or None
        The standard to whose numbers faults are drawn; None if there was no pass yet.
    stages : tuple of CrewSheetStage
        Stages with due trees, from the top of the tree down.
    next_stage : Stage or None
        What the whole crew is shown next.
    look_at : tuple of tuple of str and tuple of Stage, optional
        People with a signal, by name, and where; left out in a small crew.
    block_first : tuple of tuple of str and tuple of Stage, optional
        The same where a block that is worse for everybody is to be looked at first.
    is_too_small : bool, optional
        Whether figures and names are held back because the crew has fewer than 5 people.
    trained : tuple of tuple of date, Stage, TrainingKind and int, optional
        The latest trainings, each with the number of people who were there.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    ValueError
        If a small crew comes with names or figures.
    """

    farm: str
    crew: str
    issued_on: date
    season: str
    standard: Standard | None
    stages: tuple[CrewSheetStage, ...]
    next_stage: Stage | None = None
    look_at: tuple[tuple[str, tuple[Stage, ...]], ...] = ()
    block_first: tuple[tuple[str, tuple[Stage, ...]], ...] = ()
    is_too_small: bool = False
    trained: tuple[tuple[date, Stage, TrainingKind, int], ...] = ()

    def __post_init__(self) -> None:
        names = " ".join(name for name, _ in (*self.look_at, *self.block_first))
        require_letters({"farm": self.farm, "crew": self.crew, "worker": names})
        told = any(stage.reading is not None for stage in self.stages)
        if self.is_too_small and (self.look_at or self.block_first or told):
            raise ValueError("is_too_small: neither names nor figures go on paper")


def crew_sheet(sheet: CrewSheet, words: Words, *, page: Page = Page.LETTER) -> Document:
    """
    Print a crew leader's sheet, on one page unless very many people have a signal.

    Parameters
    ----------
    sheet : CrewSheet
        What it says.
    words : Words
        The reader's language and the farm's units.
    page : Page, optional
        The paper.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    width = content_width(page)
    title = say("Crew leader's sheet: %(crew)s", crew=sheet.crew)
    return paged(
        [titled(crew_pieces(sheet, words, width, content_height(page)))],
        lambda _number, _count: _footer(words, width),
        page=page,
        title=words.say(title),
        author=sheet.farm,
        language=words.language,
        gap_mm=_GAP_MM,
    )


def crew_pieces(sheet: CrewSheet, words: Words, width_mm: float, room_mm: float) -> list[Drawing]:
    """
    Set what stands on a crew leader's sheet, shortened where one page has no room for all.

    Parameters
    ----------
    sheet : CrewSheet
        What it says.
    words : Words
        The reader's language and the farm's units.
    width_mm : float
        Width between the margins.
    room_mm : float
        Height between the margins.

    Returns
    -------
    list of Drawing
        The pieces, from top to bottom.
    """
    for further, trainings in _LENGTHS:
        shorter = replace(
            sheet,
            stages=tuple(replace(line, faults=line.faults[:further]) for line in sheet.stages),
            trained=sheet.trained[:trainings],
        )
        pieces = [
            _head(shorter, words, width_mm),
            *(_stage(line, shorter.standard, words, width_mm) for line in shorter.stages),
            _next(shorter, words, width_mm),
        ]
        if sum(piece.height_mm + _GAP_MM for piece in pieces) - _GAP_MM <= room_mm:
            break
    return pieces


def _head(sheet: CrewSheet, words: Words, width_mm: float) -> Drawing:
    title = words.say(say("Crew leader's sheet: %(crew)s", crew=sheet.crew))
    below = [
        say("%(day)s, %(farm)s.", day=sheet.issued_on, farm=sheet.farm),
        say("Season %(season)s.", season=sheet.season),
    ]
    if sheet.is_too_small:
        below.append(say("The crew has fewer than 5 people, so its figures are not shown."))
    elif sheet.stages:
        below.append(say("All trees of the crew, whoever did them."))
    else:
        below.append(say("No tree of this season was due yet."))
    parts = [
        paragraph([Run(title, bold=True)], width_mm, TITLE_PT),
        paragraph([Run(words.say(sentence)) for sentence in below], width_mm, TEXT_PT),
    ]
    return stacked(parts, width_mm, 1.0, title)


def _stage(
    line: CrewSheetStage, standard: Standard | None, words: Words, width_mm: float
) -> Drawing:
    name = words.say(STAGE_NAMES[line.stage])
    left = _PICTOGRAM_MM + 3.0
    middle = width_mm * 0.45
    letters = [paragraph([Run(name, bold=True)], middle - left, LEAD_PT)]
    if line.reading is not None:
        reading = [Run(words.say(message)) for message in (line.reading, *line.notes)]
        letters.append(paragraph(reading, middle - left, TEXT_PT))
    letters += _further(line.faults[1:], words, middle - left)
    said = stacked(letters, middle - left, 1.0)
    shapes: list[Shape] = [
        Line((0.0, 0.0), (width_mm, 0.0), Ink.HAIRLINE),
        stage_pictogram(line.stage, name).at(0.5, _TOP_MM, _PICTOGRAM_MM / PICTOGRAM_MM),
        said.at(left, _TOP_MM),
    ]
    height = max(said.height_mm, _PICTOGRAM_MM)
    if line.faults:
        shown = _to_show(line.faults[0], standard, words, width_mm - middle - 4.0)
    else:
        shown = _nothing_seen(words, width_mm - middle - 4.0)
    shapes.append(shown.at(middle + 4.0, _TOP_MM))
    return Drawing(width_mm, max(height, shown.height_mm) + _TOP_MM + 1.0, tuple(shapes), name)


def _further(faults: Sequence[SeenOnSheet], words: Words, width_mm: float) -> list[Drawing]:
    return [
        paragraph([Run(words.say(say("Also: %(fault)s", fault=_fault(each))))], width_mm, TEXT_PT)
        for each in faults
    ]


def _fault(each: SeenOnSheet) -> Message:
    name = say(FAULT_NAMES[each.fault])
    if each.trees is None:
        return name
    return say_n(
        "%(fault)s (%(count)s tree)", "%(fault)s (%(count)s trees)", each.trees, fault=name
    )


def _to_show(
    each: SeenOnSheet, standard: Standard | None, words: Words, width_mm: float
) -> Drawing:
    """Set the picture of a fault beside its name, why it matters and what to show."""
    shapes: list[Shape] = []
    left = 0.0
    height = 0.0
    if standard is not None:
        drawn = fault_picture(standard, each.fault, words, lettered=False)
        scale = _PICTURE_MM / drawn.height_mm
        shapes.append(drawn.at(0.0, 0.0, scale))
        left, height = _PICTURE_MM + 3.0, _PICTURE_MM
    room = width_mm - left
    letters = stacked(
        [
            paragraph([Run(words.say(_fault(each)), bold=True)], room, TEXT_PT),
            paragraph([Run(words.say(FAULT_WORDS[each.fault].why))], room, TEXT_PT),
            paragraph(
                [
                    Run(words.say(say("Show:")), bold=True),
                    Run(words.say(FAULT_WORDS[each.fault].instead)),
                ],
                room,
                TEXT_PT,
            ),
        ],
        room,
        1.0,
    )
    shapes.append(letters.at(left, 0.0))
    return Drawing(width_mm, max(height, letters.height_mm), tuple(shapes), "")


def _nothing_seen(words: Words, width_mm: float) -> Drawing:
    return paragraph(
        [Run(words.say(say("No fault was seen. Tell the crew so.")))], width_mm, TEXT_PT
    )


def _next(sheet: CrewSheet, words: Words, width_mm: float) -> Drawing:
    lines = [_runs(words, say("Next training:"), _next_training(sheet.next_stage))]
    if not sheet.is_too_small:
        lines.insert(0, _runs(words, say("Go and look with:"), *_looked_at(sheet, words)))
        if sheet.block_first:
            people = _people(sheet.block_first, words)
            lines.insert(1, _runs(words, say("Look at the block first:"), *people))
    if sheet.trained:
        lines.append(_runs(words, say("Training so far:"), *_trainings(sheet)))
    pieces = [paragraph(line, width_mm, TEXT_PT) for line in lines]
    rule = Drawing(width_mm, 1.6, (Line((0.0, 0.4), (width_mm, 0.4), Ink.HEAVY_LINE),), "")
    return stacked([rule, *pieces], width_mm, 1.4, words.say(say("Next training:")))


def _runs(words: Words, lead: Message, *said: Message) -> list[Run]:
    return [Run(words.say(lead), bold=True), *(Run(words.say(each)) for each in said)]


def _next_training(stage: Stage | None) -> Message:
    if stage is None:
        return say("nothing stands out. Tell the crew what went well.")
    return say(
        "%(stage)s, with the whole crew. Prune 5 trees together.", stage=say(STAGE_NAMES[stage])
    )


def _looked_at(sheet: CrewSheet, words: Words) -> list[Message]:
    if sheet.look_at:
        return _people(sheet.look_at, words)
    if sheet.block_first:
        return [say("nobody has a signal that no block explains.")]
    return [say("nobody has a signal.")]


def _people(named: Iterable[tuple[str, tuple[Stage, ...]]], words: Words) -> list[Message]:
    return [
        say(
            "%(name)s: %(stages)s.",
            name=name,
            stages=", ".join(words.say(STAGE_NAMES[stage]) for stage in stages),
        )
        for name, stages in named
    ]


def _trainings(sheet: CrewSheet) -> list[Message]:
    return [
        say_n(
            "%(day)s, %(stage)s: %(kind)s (%(count)s person).",
            "%(day)s, %(stage)s: %(kind)s (%(count)s people).",
            people,
            day=held_on,
            stage=say(STAGE_NAMES[stage]),
            kind=say(TRAINING_KIND_NAMES[kind]),
        )
        for held_on, stage, kind, people in sheet.trained
    ]


def _footer(words: Words, width_mm: float) -> Drawing:
    said = say("People are named by the alphabet, never by result. A signal asks for a look.")
    return paragraph([Run(words.say(said), ink=Ink.SOFT)], width_mm, TEXT_PT)
