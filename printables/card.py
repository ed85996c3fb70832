"""The pocket card of a block's standard: four stages in front, gauges and safety behind."""

from collections.abc import Sequence
from enum import StrEnum
from typing import Final

from audits.errors import InvalidInput
from audits.messages import Message, Words, mark, say
from audits.plain_words import Band, StageWords, sick_wood, standard_words
from audits.safety import SIGNAL_WORD_NAMES, SafetyNote, card_notes
from audits.standard import Standard
from audits.units import Length, LengthKind
from audits.vocabulary import STAGE_NAMES, Stage
from printables.document import Document
from printables.drawing.gauge import GaugeLabels, length_bar, limb_gauge, pencil_gauge
from printables.drawing.inks import Ink
from printables.drawing.lettering import balanced, largest_size, text_width
from printables.drawing.pictograms import SIZE_MM as PICTOGRAM_MM
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.primitives import Anchor, Drawing, Line, Shape, Text
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.sheet import Page, card_leaves, card_sheet
from printables.stage_pictures import stage_picture
from printables.subject import StandardSubject


class CardFormat(StrEnum):
    """The size of a card."""

    ID_1 = "id_1"
    A7 = "a7"


# ID-1 is the size of bank cards (ISO/IEC 7810), lying; A7 is 74 by 105 mm (ISO 216), standing.
CARD_SIZES_MM: Final = {
    CardFormat.ID_1: (85.60, 53.98),
    CardFormat.A7: (74.0, 105.0),
}

CARD_FORMAT_NAMES: Final = {
    CardFormat.ID_1: mark("Bank card size, 85.6 x 54 mm"),
    CardFormat.A7: mark("A7, 74 x 105 mm"),
}

# Twelve points for what a person must find at a glance, nine for all else (legibility at arm's
# length outdoors; common practice).
KEY_PT: Final = 12.0
SMALL_PT: Final = 9.0

_KEY_MM: Final = KEY_PT * POINT_MM
_SMALL_MM: Final = SMALL_PT * POINT_MM
_MARGIN_MM: Final = 3.0
_BAR_MM: Final = 50.0
_HINT_LINES: Final = 2
MOST_COPIES: Final = 500


def pocket_cards(
    subject: StandardSubject,
    standard: Standard,
    languages: Sequence[Words],
    *,
    page: Page = Page.LETTER,
    card_format: CardFormat = CardFormat.A7,
    copies: int | None = None,
) -> Document:
    """
    Print pocket cards, several on a sheet, to be printed on both sides and cut.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    standard : Standard
        The block's rule.
    languages : sequence of Words
        The reader's words; with several, each language gets its copies.
    page : Page, optional
        The paper.
    card_format : CardFormat, optional
        Size of the cards.
    copies : int or None, optional
        Cards of each language; by default one sheet, shared by the languages.

    Returns
    -------
    Document
        Fronts and backs in turn, the same for the same input.

    Raises
    ------
    InvalidInput
        If no language or an impossible number of copies is asked for, or if a name is too long
        for the card.

    References
    ----------
    .. [1] ISO/IEC 7810, Identification cards - Physical characteristics: ID-1, 85.60 x 53.98 mm.
    .. [2] ISO 216, Writing paper: A7, 74 x 105 mm.
    """
    if not languages:
        raise InvalidInput({"language": say("Choose at least one language.")})
    sheet = card_sheet(page, CARD_SIZES_MM[card_format])
    if copies is None:
        copies = max(1, sheet.count // len(languages))
    if not 1 <= copies <= MOST_COPIES:
        raise InvalidInput({"copies": say("Print between 1 and %(most)s cards.", most=MOST_COPIES)})
    cards = [
        card
        for words in languages
        for card in [
            (
                card_front(subject, standard, words, card_format),
                card_back(subject, standard, words, card_format),
            )
        ]
        * copies
    ]
    first = languages[0]
    title = say("Pocket card: %(block)s", block=subject.block)
    leaves = card_leaves(sheet, cards, title, first)
    return Document(first.say(title), subject.farm, first.language, leaves)


def card_front(
    subject: StandardSubject, standard: Standard, words: Words, card_format: CardFormat
) -> Drawing:
    """
    Draw the front of a card: the stages with the block's own numbers.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    standard : Standard
        The block's rule.
    words : Words
        The reader's language and units.
    card_format : CardFormat
        Size of the card.

    Returns
    -------
    Drawing
        True to size at scale 1.

    Raises
    ------
    InvalidInput
        If the block's name is too long for the card.
    """
    width, height = CARD_SIZES_MM[card_format]
    stages = standard_words(standard, method=subject.method, low_bloom=subject.low_bloom)
    cell = _small_cell if card_format is CardFormat.ID_1 else _large_cell
    header = _header(subject, words, width)
    shapes: list[Shape] = [*header.shapes]
    side = _side_margin(card_format)
    column_mm = (width - 2 * side) / 2
    row_mm = (height - header.height_mm - side) / 2
    for place, stage in enumerate(stages):
        row, column = divmod(place, 2)
        drawn = cell(subject, standard, stage, words, (column_mm, row_mm))
        shapes.append(drawn.at(side + column * column_mm, header.height_mm + row * row_mm))
    return Drawing(width, height, tuple(shapes), subject.block)


def _side_margin(card_format: CardFormat) -> float:
    # Two pictures of 35 mm fill the width of A7 but for this.
    return 2.0 if card_format is CardFormat.A7 else _MARGIN_MM


# Lower edge of the header, with the block's name in one line and in two.
_HEADER_MM: Final = 6.9
_HIGH_HEADER_MM: Final = 8.0


def _header(subject: StandardSubject, words: Words, width_mm: float) -> Drawing:
    """
    Write the block's name beside the version, or alone, or in two lines, as it fits.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    words : Words
        The reader's language.
    width_mm : float
        Width of the card.

    Returns
    -------
    Drawing
        The header.

    Raises
    ------
    InvalidInput
        If the name does not fit even so.
    """
    name = subject.block
    inner = width_mm - 2 * _MARGIN_MM
    version = words.say(say("Version %(version)s", version=subject.version))
    beside = inner - text_width(version, _SMALL_MM) - 2.0
    for room in (beside, inner):
        size = largest_size(name, room, _KEY_MM, _SMALL_MM, bold=True)
        if text_width(name, size, bold=True) <= room:
            shapes: list[Shape] = [Text(_MARGIN_MM, 5.6, name, size, bold=True)]
            if room == beside:
                right = width_mm - _MARGIN_MM
                shapes.append(Text(right, 5.6, version, _SMALL_MM, Ink.SOFT, anchor=Anchor.END))
            return Drawing(width_mm, _HEADER_MM, tuple(shapes), name)
    lines = balanced(name, inner, _SMALL_MM, bold=True)
    if len(lines) > _HINT_LINES or any(
        text_width(line, _SMALL_MM, bold=True) > inner for line in lines
    ):
        raise InvalidInput({"block": say('"%(name)s" is too long for a card.', name=name)})
    return Drawing(
        width_mm,
        _HIGH_HEADER_MM,
        tuple(
            Text(_MARGIN_MM, 3.9 + 3.4 * row, line, _SMALL_MM, bold=True)
            for row, line in enumerate(lines)
        ),
        name,
    )


def _large_cell(
    subject: StandardSubject,
    standard: Standard,
    stage: StageWords,
    words: Words,
    size_mm: tuple[float, float],
) -> Drawing:
    """Draw a stage's picture below its figure and a few words."""
    width = size_mm[0]
    picture = stage_picture(standard, stage.stage, words, method=subject.method)
    strip = _strip(stage, words, width)
    return Drawing(
        width,
        _STRIP_MM + picture.height_mm,
        (*strip, picture.at((width - picture.width_mm) / 2, _STRIP_MM)),
        picture.title,
    )


_STRIP_MM: Final = 7.4
_STRIP_LEFT_MM: Final = 1.0


def _strip(stage: StageWords, words: Words, width_mm: float) -> list[Shape]:
    """Write the figure and, where there is room, a few words beside it."""
    # The picture of the top has the height in it, as large as this line.
    is_top = stage.stage is Stage.TOP
    key = words.say(STAGE_NAMES[stage.stage] if is_top else stage.figure)
    size = largest_size(key, width_mm - 1.5, _KEY_MM, _SMALL_MM, bold=True)
    figure = Text(_STRIP_LEFT_MM, 5.2, key, size, bold=True)
    if stage.hint is None:
        return [figure]
    hint = words.say(stage.hint)
    left = _STRIP_LEFT_MM + text_width(key, size, bold=True) + 1.8
    beside = _hint_lines(hint, left, width_mm - left)
    if beside:
        return [figure, *beside]
    # Without the wire the height is only a number, so that the wire goes before the name.
    alone = _hint_lines(hint, _STRIP_LEFT_MM, width_mm - 1.5) if is_top else []
    return alone or [figure]


def _hint_lines(hint: str, left_mm: float, width_mm: float) -> list[Shape]:
    """Set a hint in at most two lines, or not at all."""
    lines = balanced(hint, width_mm, _SMALL_MM)
    if len(lines) > _HINT_LINES or any(text_width(line, _SMALL_MM) > width_mm for line in lines):
        return []
    first = 5.2 if len(lines) == 1 else 3.3
    return [Text(left_mm, first + 3.6 * row, line, _SMALL_MM) for row, line in enumerate(lines)]


def _small_cell(
    _subject: StandardSubject,
    _standard: Standard,
    stage: StageWords,
    words: Words,
    size_mm: tuple[float, float],
) -> Drawing:
    """Draw a stage's pictogram beside its figure and as many words as there is room for."""
    width, height = size_mm
    scale = 1.25
    name = words.say(STAGE_NAMES[stage.stage])
    left = PICTOGRAM_MM * scale + 2.0
    room = width - left - 1.0
    above = [paragraph([Run(name, ink=Ink.SOFT)], room, SMALL_PT, leading=1.15)]
    figure = words.say(stage.figure)
    # A word too long for twelve points is set smaller rather than broken.
    key_pt = min(largest_size(word, room, _KEY_MM, _SMALL_MM, bold=True) for word in figure.split())
    key = [paragraph([Run(figure, bold=True)], room, key_pt / POINT_MM, leading=1.1)]
    below = (
        []
        if stage.limit is None
        else [paragraph([Run(words.say(stage.limit))], room, SMALL_PT, leading=1.12)]
    )
    choices = [
        stacked(parts, room)
        for parts in ((*above, *key, *below), (*key, *below), (*above, *key), key)
    ]
    letters = next((drawn for drawn in choices if drawn.height_mm <= height), choices[-1])
    picture = stage_pictogram(stage.stage, name)
    return Drawing(
        width,
        height,
        (picture.at(0.5, 1.2, scale), letters.at(left, 0.0)),
        name,
    )


def card_back(
    subject: StandardSubject, standard: Standard, words: Words, card_format: CardFormat
) -> Drawing:
    """
    Draw the back of a card: gauges on its upper edge, when to leave the wood, safety.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    standard : Standard
        The block's rule.
    words : Words
        The reader's language and units.
    card_format : CardFormat
        Size of the card.

    Returns
    -------
    Drawing
        True to size at scale 1.

    Raises
    ------
    InvalidInput
        If what must be said does not fit on the card.
    """
    width, height = CARD_SIZES_MM[card_format]
    inner = width - 2 * _MARGIN_MM
    gauges = _gauges(standard, words, width)
    bar = _bar(words)
    foot = paragraph([Run(words.say(subject.version_words()), ink=Ink.SOFT)], inner, SMALL_PT)
    bar_top = gauges.height_mm + 0.8
    text_top = bar_top + bar.height_mm + 1.6
    foot_top = height - 2.2 - foot.height_mm
    letters = _fitting(
        _back_runs(subject, standard, words, card_format), inner, foot_top - 1.2 - text_top
    )
    return Drawing(
        width,
        height,
        (
            *gauges.shapes,
            bar.at(_MARGIN_MM, bar_top),
            letters.at(_MARGIN_MM, text_top),
            Line((_MARGIN_MM, foot_top - 0.4), (width - _MARGIN_MM, foot_top - 0.4), Ink.HAIRLINE),
            foot.at(_MARGIN_MM, foot_top),
        ),
        words.say(say("Gauges and safety")),
    )


def _bar(words: Words) -> Drawing:
    """Draw the bar that shows whether this card was printed to scale."""
    bar = length_bar(_BAR_MM, words.say(say("Bar of 50 mm")), "")
    lines_mm = 3.0
    label = Text(_BAR_MM + 1.6, lines_mm - 0.3, "50 mm", _SMALL_MM)
    return Drawing(_BAR_MM + 16.0, lines_mm, (*bar.shapes, label), bar.title)


def _gauges(standard: Standard, words: Words, width_mm: float) -> Drawing:
    """Put both gauges on the upper edge, with how to hold them."""
    heading, limbs = standard.heading, standard.limbs
    pencil = pencil_gauge(
        heading.thinnest_mm,
        heading.thickest_mm,
        GaugeLabels(
            words.say(say("Pencil gauge")),
            words.say(say("Lay the wood at the stop. Its other side must end in the band.")),
            words.show(Band(heading.thinnest_mm, heading.thickest_mm)),
        ),
    )
    limb = limb_gauge(
        limbs.large_mm,
        GaugeLabels(
            words.say(say("Limb gauge")),
            words.say(say("Lay the limb at the stop. If it reaches the block, it is large.")),
            words.show(Length(limbs.large_mm, LengthKind.DIAMETER)),
        ),
    )
    height = max(pencil.height_mm, limb.height_mm)
    limb_left = 1.0 + pencil.width_mm + 1.5
    beside = limb_left + limb.width_mm + 1.0
    how = [Run(words.say(say("Hold this edge on the wood.")))]
    hint = paragraph(how, max(width_mm - _MARGIN_MM - beside, 1.0), SMALL_PT, leading=1.15)
    place = (beside, 1.0)
    if hint.height_mm > height - 1.0:
        hint = paragraph(how, width_mm - 2 * _MARGIN_MM, SMALL_PT)
        place = (_MARGIN_MM, height)
        height += hint.height_mm
    return Drawing(
        width_mm,
        height,
        (pencil.at(1.0, 0.0), limb.at(limb_left, 0.0), hint.at(*place)),
        words.say(say("Gauges")),
    )


def _back_runs(
    subject: StandardSubject, standard: Standard, words: Words, card_format: CardFormat
) -> list[list[Run]]:
    """List what the back says, in order; what comes last may be left out on a small card."""
    notes = card_notes(subject.method)
    small = card_format is CardFormat.ID_1
    return [
        *(_note_runs(note, words) for note in (notes[:2] if small else notes)),
        [Run(words.say(say("Local rules come first.")))],
        *_help_runs(subject, words),
        [Run(words.say(sick_wood()), bold=True)],
        *([Run(words.say(message))] for message in _leave(standard, subject)),
    ]


def _note_runs(note: SafetyNote, words: Words) -> list[Run]:
    runs = [Run(words.say(note.short))]
    if note.signal is not None:
        runs.insert(0, Run(words.say(SIGNAL_WORD_NAMES[note.signal]), bold=True))
    return runs


def _help_runs(subject: StandardSubject, words: Words) -> list[list[Run]]:
    runs = []
    if subject.emergency_location.strip():
        place = subject.emergency_location.strip()
        runs.append([Run(words.say(say("Help comes to: %(place)s", place=place)), bold=True)])
    if subject.first_aider.strip():
        name = subject.first_aider.strip()
        runs.append([Run(words.say(say("First aid: %(name)s", name=name)), bold=True)])
    return runs


def _leave(standard: Standard, subject: StandardSubject) -> list[Message]:
    stages = standard_words(standard, method=subject.method, low_bloom=subject.low_bloom)
    return [
        message
        for stage in stages
        if stage.stage in {Stage.TOP, Stage.LIMBS}
        for message in (stage.leave if stage.stage is Stage.LIMBS else stage.leave[:1])
    ]


# What a card cannot do without: two notes and whose rules come first.
_LEAST_PARAGRAPHS: Final = 3
_MOST_GAP_MM: Final = 1.6


def _fitting(paragraphs: Sequence[Sequence[Run]], width_mm: float, room_mm: float) -> Drawing:
    """
    Set all paragraphs as large as there is room for, or as many as fit at the smallest size.

    Parameters
    ----------
    paragraphs : sequence of sequence of Run
        What to say, the most important first.
    width_mm, room_mm : float
        Width and height to fit.

    Returns
    -------
    Drawing
        The text.

    Raises
    ------
    InvalidInput
        If not even the most important paragraphs fit.
    """
    sizes = [(len(paragraphs), size_pt) for size_pt in (10.5, 10.0, 9.5)]
    fewer = [(count, SMALL_PT) for count in range(len(paragraphs), _LEAST_PARAGRAPHS - 1, -1)]
    for count, size_pt in (*sizes, *fewer):
        chosen = [paragraph(runs, width_mm, size_pt, leading=1.18) for runs in paragraphs[:count]]
        spare = room_mm - sum(drawing.height_mm for drawing in chosen)
        if spare >= 0:
            return stacked(chosen, width_mm, min(_MOST_GAP_MM, spare / max(count - 1, 1)))
    raise InvalidInput({"block": say("There is more to say than the card has room for.")})
