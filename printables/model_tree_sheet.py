"""The model-tree sheet: the standard stage by stage, and a table to count the trees cut by it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from audits.messages import Message, Words, say
from audits.plain_words import Band, just, stage_words
from audits.standard import Standard
from audits.units import Length, LengthKind
from audits.vocabulary import METHOD_NAMES, RESULT_NAMES, STAGE_NAMES, HeadingRule, Result, Stage
from printables.blanks import blank_fields, tick_line
from printables.document import Document, Piece, Role
from printables.drawing.inks import Ink
from printables.drawing.lettering import largest_size
from printables.drawing.pictograms import SIZE_MM as PICTOGRAM_MM
from printables.drawing.pictograms import result_tile, stage_pictogram
from printables.drawing.primitives import Anchor, Drawing, Line, Rect, Shape, Text
from printables.flow import Block, Part, content_height, content_width, paged
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.sheet import Page
from printables.sheet_frame import HEADING_PT, TEXT_PT, section_heading, sheet_foot, sheet_head
from printables.stage_pictures import stage_picture
from printables.subject import StandardSubject

# About five trees are pruned as the pattern.
MODEL_TREES: Final = 5
MOST_TREES: Final = 8

TASK: Final = (
    say("Prune a few trees as the pattern. Count them on the next page."),
    say("The crew starts when the standard works."),
)
IT_WORKS: Final = say("Yes. The crew works by it as it is written.")
TO_CHANGE: Final = say("No. If a count is off, change the standard before the crew starts:")

_GAP_MM: Final = 3.0
_BESIDE_MM: Final = 6.0
_HEAD_PT: Final = 10.0
_PICTOGRAM_MM: Final = 9.0
_TREE_MM: Final = 23.0
_TILE_MM: Final = 5.6
# Room to write a count; a tree more takes a little from each.
_ROWS_MM: Final = (12.0, 10.5, 9.0)


@dataclass(frozen=True)
class ModelTreeSheet:
    """
    A model-tree sheet, ready to be printed.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version of its standard.
    standard : Standard
        The standard.
    trees : int, optional
        How many trees are pruned as the pattern, 3 to 8.

    Raises
    ------
    ValueError
        If there are fewer trees, or more.
    """

    subject: StandardSubject
    standard: Standard
    trees: int = MODEL_TREES

    def __post_init__(self) -> None:
        least = 3
        if not least <= self.trees <= MOST_TREES:
            raise ValueError(f"trees must lie between {least} and {MOST_TREES}, not {self.trees}")


def model_tree_sheet(sheet: ModelTreeSheet, words: Words, *, page: Page = Page.LETTER) -> Document:
    """
    Print a model-tree sheet: what the standard asks on one page, the counting on the next.

    Parameters
    ----------
    sheet : ModelTreeSheet
        The block, its standard, and how many trees.
    words : Words
        The reader's language and units.
    page : Page, optional
        The paper.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    title = words.say(say("Model trees: %(block)s", block=sheet.subject.block))
    foot = (title, words.say(sheet.subject.version_words()), sheet.subject.farm)
    width = content_width(page)
    return paged(
        [asked_parts(sheet, words, width), counted_parts(sheet, words, page)],
        lambda number, count: sheet_foot(foot, words, width, (number, count)),
        page=page,
        title=title,
        author=sheet.subject.farm,
        language=words.language,
        gap_mm=_GAP_MM,
    )


def asked_parts(sheet: ModelTreeSheet, words: Words, width_mm: float) -> list[Part]:
    """
    Set what the standard asks, stage by stage, each with its picture.

    Parameters
    ----------
    sheet : ModelTreeSheet
        The block and its standard.
    words : Words
        The reader's language and units.
    width_mm : float
        Width between the margins.

    Returns
    -------
    list of Drawing or Block
        The parts, from top to bottom.
    """
    title = words.say(say("Model trees: %(block)s", block=sheet.subject.block))
    subject = [
        Run(f"{sheet.subject.farm}."),
        Run(f"{words.say(sheet.subject.version_words())}."),
        Run(f"{words.say(METHOD_NAMES[sheet.subject.method])}."),
    ]
    task = [Run(words.say(said)) for said in TASK]
    return [
        sheet_head(title, [subject, task], width_mm),
        *(_asked(sheet, stage, words, width_mm) for stage in _stages(sheet.standard)),
    ]


def _stages(standard: Standard) -> tuple[Stage, ...]:
    """Return what is said: a crew that headed the last block must be told where it is off."""
    return tuple(stage for stage in Stage if standard.rule(stage).in_use)


def _asked(sheet: ModelTreeSheet, stage: Stage, words: Words, width_mm: float) -> Block:
    subject = sheet.subject
    said = stage_words(sheet.standard, stage, method=subject.method, low_bloom=subject.low_bloom)
    picture = stage_picture(sheet.standard, stage, words, method=subject.method)
    left = picture.width_mm + _BESIDE_MM
    room = width_mm - left
    # The first step says the headline again where both are the same sentence.
    steps = [step for step in said.steps if step != said.headline]
    letters = stacked(
        [
            paragraph([Run(words.say(STAGE_NAMES[stage]), bold=True)], room, HEADING_PT),
            paragraph([Run(words.say(said.headline), bold=True)], room, TEXT_PT),
            *_sentences(steps, words, room),
            *_leave(said.leave, words, room),
        ],
        room,
        1.0,
        words.say(STAGE_NAMES[stage]),
    )
    top = 2.0
    rule = Drawing(width_mm, 0.0, (Line((0.0, 0.0), (width_mm, 0.0), Ink.HAIRLINE),), "")
    pieces = (
        Piece(rule, 0.0, 0.0, Role.FURNITURE),
        Piece(picture, 0.0, top, Role.FIGURE),
        Piece(letters, left, top, Role.TEXT),
    )
    return Block(pieces, top + max(picture.height_mm, letters.height_mm))


def _sentences(said: Sequence[Message], words: Words, width_mm: float) -> list[Drawing]:
    if not said:
        return []
    return [paragraph([Run(words.say(each)) for each in said], width_mm, TEXT_PT)]


def _leave(said: Sequence[Message], words: Words, width_mm: float) -> list[Drawing]:
    """Set when to leave the wood alone, beside the tile of nothing due."""
    if not said:
        return []
    left = _TILE_MM + 2.2
    (letters,) = _sentences(said, words, width_mm - left)
    tile = result_tile(Result.NOT_DUE, words.say(RESULT_NAMES[Result.NOT_DUE]))
    shapes = (tile.at(0.0, 0.3, _TILE_MM / PICTOGRAM_MM), letters.at(left, 0.2))
    height = max(letters.height_mm + 0.2, _TILE_MM + 0.3)
    return [Drawing(width_mm, height, shapes, letters.title)]


@dataclass(frozen=True)
class _Counted:
    """A column to fill in: whose stage, what is counted, and what the standard asks."""

    stage: Stage
    label: Message
    asked: Message
    share: float
    cells: int = 1


def _counted(standard: Standard) -> Iterator[_Counted]:
    stages = _stages(standard)
    if Stage.TOP in stages:
        height = say(
            "%(height)s \u00b1\u00a0%(tolerance)s",
            height=Length(standard.top.target_mm),
            tolerance=Length(standard.top.tolerance_mm),
        )
        yield _Counted(Stage.TOP, say("Height left"), height, 1.35)
    if Stage.LIMBS in stages:
        yield _Counted(Stage.LIMBS, say("Large limbs out"), _limbs_asked(standard), 1.0)
        yield _Counted(
            Stage.LIMBS,
            say("Large limbs left"),
            say("from %(diameter)s", diameter=Length(standard.limbs.large_mm, LengthKind.DIAMETER)),
            1.0,
        )
    if Stage.COLUMNS in stages:
        rule = standard.columns
        yield _Counted(Stage.COLUMNS, say("Branches looked at"), just(rule.branches), 1.0)
        single = say("%(least)s or more", least=rule.least_single)
        yield _Counted(Stage.COLUMNS, say("Single columns"), single, 1.0)
    if Stage.HEADING not in stages or standard.heading.rule is HeadingRule.OFF:
        return
    if standard.heading.rule is HeadingRule.FORBIDDEN:
        yield _Counted(Stage.HEADING, say("Ends headed"), just(0), 1.5)
        return
    band = just(Band(standard.heading.thinnest_mm, standard.heading.thickest_mm))
    looked_at = standard.heading.looked_at
    yield _Counted(Stage.HEADING, say("Thickness at each cut"), band, 1.9, cells=looked_at)


def _limbs_asked(standard: Standard) -> Message:
    least, most = standard.limbs.least, standard.limbs.most
    if least == most:
        return just(most)
    return say("%(least)s to %(most)s", least=least, most=most)


def counted_parts(sheet: ModelTreeSheet, words: Words, page: Page) -> list[Part]:
    """
    Set the table to count the trees in, and room to say whether the standard works.

    Parameters
    ----------
    sheet : ModelTreeSheet
        The block and its standard.
    words : Words
        The reader's language and units.
    page : Page
        The paper.

    Returns
    -------
    list of Drawing or Block
        The parts, from top to bottom.
    """
    width = content_width(page)
    heading = words.say(say("Count each tree before the crew starts"))
    fields = [
        (words.say(say("Row and trees")), 1.5),
        (words.say(say("Pruned by")), 1.4),
        (words.say(say("Date")), 1.0),
    ]
    for row_mm in _ROWS_MM:
        parts: list[Part] = [
            section_heading(heading, width),
            blank_fields(fields, width),
            _how(sheet.standard, words, width),
            _table(sheet, words, width, row_mm),
            _decision(sheet, words, width),
        ]
        if sum(part.height_mm + _GAP_MM for part in parts) - _GAP_MM <= content_height(page):
            break
    return parts


def how_to_count(standard: Standard) -> dict[Stage, Message]:
    """
    Say how each stage of a model tree is counted.

    Parameters
    ----------
    standard : Standard
        The block's rule.

    Returns
    -------
    dict of Stage to Message
        One sentence for each stage.
    """
    return {
        Stage.TOP: say("Judge the height from the ground, by wire or marked pole."),
        Stage.LIMBS: say(
            "Measure a limb %(distance)s out from the trunk.",
            distance=Length(standard.limbs.measured_out_mm),
        ),
        Stage.COLUMNS: say("Look at branches low, in the middle and high up, on one side."),
        Stage.HEADING: say("Measure an end just behind the cut."),
    }


def _how(standard: Standard, words: Words, width_mm: float) -> Drawing:
    hints = how_to_count(standard)
    counted = {column.stage for column in _counted(standard)}
    runs = [Run(words.say(hints[stage])) for stage in Stage if stage in counted]
    return paragraph(runs, width_mm, TEXT_PT)


def _table(sheet: ModelTreeSheet, words: Words, width_mm: float, row_mm: float) -> Drawing:
    columns = list(_counted(sheet.standard))
    edges = _edges(columns, width_mm)
    labels = [_label(column.label, words, edges, place) for place, column in enumerate(columns)]
    label_mm = max(label.height_mm for label in labels)
    asked = [
        _label(column.asked, words, edges, place, bold=True) for place, column in enumerate(columns)
    ]
    asked_mm = max(each.height_mm for each in asked) + 2.6
    first = _PICTOGRAM_MM + 3.0
    body = first + label_mm + 2.0
    shapes: list[Shape] = list(_stage_heads(columns, edges, words))
    shapes += [label.at(edges[place] + 1.5, first) for place, label in enumerate(labels)]
    shapes += [
        Rect(0.0, body, width_mm, asked_mm, Ink.GROUND),
        paragraph([Run(words.say(say("Asked for")), bold=True)], _TREE_MM - 2.0, _HEAD_PT).at(
            1.0, body + 1.3
        ),
        *(each.at(edges[place] + 1.5, body + 1.3) for place, each in enumerate(asked)),
    ]
    top = body + asked_mm
    size = TEXT_PT * POINT_MM
    for tree in range(1, sheet.trees + 1):
        shapes.append(
            Text(1.0, top + row_mm / 2 + 0.36 * size, _tree(tree, words), size, bold=True)
        )
        shapes.append(Line((0.0, top), (width_mm, top), Ink.FINE_LINE))
        top += row_mm
    label = paragraph([Run(words.say(say("Trees that fit")), bold=True)], _TREE_MM - 2.0, _HEAD_PT)
    bottom = top + max(row_mm, label.height_mm + 2.0)
    shapes.append(label.at(1.0, top + (bottom - top - label.height_mm) / 2))
    shapes += _sums(sheet, columns, edges, words, bottom)
    shapes += _rules(columns, edges, (first, body, body + asked_mm, top, bottom))
    title = words.say(say("Count each tree before the crew starts"))
    return Drawing(width_mm, bottom + 0.4, tuple(shapes), title)


def _tree(number: int, words: Words) -> str:
    return words.say(say("Tree %(number)s", number=number))


def _edges(columns: Sequence[_Counted], width_mm: float) -> list[float]:
    """Return where each column begins, and where the last one ends."""
    shares = sum(column.share for column in columns)
    edges = [_TREE_MM]
    for column in columns:
        edges.append(edges[-1] + (width_mm - _TREE_MM) * column.share / shares)
    return edges


def _label(
    said: Message, words: Words, edges: Sequence[float], place: int, *, bold: bool = False
) -> Drawing:
    width = edges[place + 1] - edges[place] - 2.5
    return paragraph([Run(words.say(said), bold=bold)], width, _HEAD_PT)


def _of_stage(columns: Sequence[_Counted], stage: Stage) -> tuple[int, int]:
    places = [place for place, column in enumerate(columns) if column.stage is stage]
    return places[0], places[-1] + 1


def _stage_heads(
    columns: Sequence[_Counted], edges: Sequence[float], words: Words
) -> Iterator[Shape]:
    for stage in dict.fromkeys(column.stage for column in columns):
        first, last = _of_stage(columns, stage)
        name = words.say(STAGE_NAMES[stage])
        yield stage_pictogram(stage, name).at(edges[first] + 1.0, 1.0, _PICTOGRAM_MM / PICTOGRAM_MM)
        left = edges[first] + _PICTOGRAM_MM + 2.2
        size = largest_size(
            name, edges[last] - left - 2.0, TEXT_PT * POINT_MM, 9.0 * POINT_MM, bold=True
        )
        yield Text(left, 1.0 + _PICTOGRAM_MM / 2 + 0.36 * size, name, size, bold=True)


def _sums(
    sheet: ModelTreeSheet,
    columns: Sequence[_Counted],
    edges: Sequence[float],
    words: Words,
    bottom_mm: float,
) -> Iterator[Shape]:
    """Leave room for how many trees fit, stage by stage."""
    said = words.say(say("of %(trees)s", trees=sheet.trees))
    size = TEXT_PT * POINT_MM
    for stage in dict.fromkeys(column.stage for column in columns):
        _, last = _of_stage(columns, stage)
        yield Text(edges[last] - 2.0, bottom_mm - 2.6, said, size, anchor=Anchor.END)


def _rules(
    columns: Sequence[_Counted],
    edges: Sequence[float],
    heights_mm: tuple[float, float, float, float, float],
) -> Iterator[Shape]:
    """Rule the table below the heads' labels, what is asked for, the trees and their sums."""
    labels, body, trees, sums, bottom = heights_mm
    for height in (body, sums, bottom):
        yield Line((0.0, height), (edges[-1], height), Ink.LINE)
    for place, column in enumerate(columns):
        is_first = place == _of_stage(columns, column.stage)[0]
        top, end = (0.0, bottom) if is_first else (labels, sums)
        ink = Ink.LINE if is_first else Ink.HAIRLINE
        yield Line((edges[place], top), (edges[place], end), ink)
        # Several cuts of a tree go side by side into one cell.
        width = (edges[place + 1] - edges[place]) / column.cells
        for number in range(1, column.cells):
            x = edges[place] + number * width
            yield Line((x, trees), (x, sums), Ink.HAIRLINE)


def _decision(sheet: ModelTreeSheet, words: Words, width_mm: float) -> Drawing:
    """Ask whether the standard works, or what to change in it, and who says so."""
    heading = words.say(say("Does the standard work?"))
    stages = [words.say(STAGE_NAMES[stage]) for stage in _stages(sheet.standard)]
    pairs = [stages[place : place + 2] for place in range(0, len(stages), 2)]
    signed = [
        (words.say(say("Name")), 1.3),
        (words.say(say("Signature")), 1.6),
        (words.say(say("Date")), 0.9),
    ]
    return stacked(
        [
            section_heading(heading, width_mm),
            tick_line(words.say(IT_WORKS), width_mm),
            tick_line(words.say(TO_CHANGE), width_mm),
            *(blank_fields([(name, 1.0) for name in pair], width_mm) for pair in pairs),
            blank_fields(signed, width_mm),
        ],
        width_mm,
        2.0,
        heading,
    )
